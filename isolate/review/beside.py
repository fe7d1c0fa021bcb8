"""A defect's cases beside each other, from their trails: what each asked, did and left open, and who was right.

Nothing is worked out anew: beliefs are those on the trails. Only what other checks would have told, and titles, come
from the knowledge that is here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast, get_args

from isolate.case.case import CaseState, Evidence, fold
from isolate.case.events import Event
from isolate.case.parts import FINDINGS
from isolate.kb.figures import Apart
from isolate.kb.fit import instance, split
from isolate.kb.model import HEALTHY, Condition
from isolate.reasoning.explain import strength
from isolate.review.evidence import PREVAILS
from isolate.review.intervals import percent
from isolate.review.parts import folded
from isolate.review.repeats import (
    LEFT_OPEN,
    Asked,
    Confirmed,
    Done,
    Left,
    NoCure,
    Repeat,
    Turned,
    Unasked,
    Visit,
    between,
    elapsed,
    engine_of,
)
from isolate.review.verdicts import SURE, by_the_shop, cleared, verdicts

if TYPE_CHECKING:
    from isolate.case.brief import Brief, Fitted, Named
    from isolate.review.named import Names

LISTED = 0.01
"""What a trail does not list of a belief is below this, or not among the eight most likely."""
TELLS = 1.0
"""Bits from which a check would have told two faults apart: odds of two to one where they were even."""
MOST_UNASKED = 4
"""Checks that nobody did that are named."""
SOON = 30.0
"""Days within which a defect that is back says something of a fault that was put right: our judgement."""
MOST_READ = 12
"""Visits of one defect whose trails are read, the latest."""
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def beside(
    repeat: Repeat,
    briefs: Mapping[str, Brief],
    events: Callable[[str], Sequence[Event]],
    names: Callable[[str], Names],
) -> Repeat:
    """Return a defect with what the trails of its cases say. ``names``: engine type → titles, with its knowledge.

    A trail that cannot be read leaves its visit as it was, with a note.
    """
    notes: list[str] = []
    courses: list[_Course] = []
    visits: list[Visit] = []
    shown = repeat.visits[-MOST_READ:]
    older = len(repeat.visits) - len(shown)
    for number, visit in enumerate(shown, start=older + 1):
        try:
            course = _Course(number, visit, briefs[visit.case], tuple(events(visit.case)), names(visit.engine))
            visits.append(course.visit())
            courses.append(course)
        except Exception as error:
            # A case that came from elsewhere may hold anything; the others are shown all the same.
            why = str(error).rstrip(".") or type(error).__name__
            notes.append(f"Case {visit.case} cannot be read, only listed: {why}.")
            visits.append(visit)
    if older:
        notes.append(
            f"{older} older {'visit is' if older == 1 else 'visits are'} not shown; the latest {MOST_READ} are."
        )
    confirmed = tuple(_confirmed(courses))
    apart = _Aparts(names)
    title = names(repeat.engine).engine(repeat.engine)
    return replace(
        repeat,
        visits=tuple(visits),
        read=True,
        engine_title=title,
        confirmed=confirmed,
        unasked=tuple(_unasked(courses, apart)),
        no_cure=tuple(_no_cure(courses)),
        turned=tuple(_bearing(courses, apart)),
        doubts=tuple(_doubts(courses)),
        # Of what came back between visits that one part ties together, the engine's own group tells.
        follows=tuple(_follows(courses)) if repeat.about == "engine" else (),
        notes=(*repeat.notes, *notes),
        older=older,
    )


def day(time: str) -> str:
    """Return the day of a time on the trail, as it is read out: 18 Jan 2030."""
    year, month, number = time[:10].split("-")
    return f"{int(number)} {_MONTHS[int(month) - 1]} {year}"


@dataclass(frozen=True)
class _Step:
    """A belief on the trail and what came before it, in words."""

    seq: int
    after: str
    chances: Mapping[str, float]


class _Course:
    """One case, read: its state, and its beliefs in order."""

    def __init__(self, number: int, light: Visit, brief: Brief, events: Sequence[Event], names: Names) -> None:
        self.number, self.light, self.names = number, light, names
        self.state: CaseState = fold(events)
        if self.state.intake is None:
            raise ValueError("it does not begin with its opening")
        self.intake = self.state.intake
        self.words = _words(self.state)
        # A brief that an earlier version kept does not say which words disagree.
        disputed = {repair for repair, said in self.words.items() if len({finding for finding, *_ in said}) > 1}
        repairs = tuple(replace(item, disputed=item.disputed or item.repair in disputed) for item in brief.repairs)
        self.brief = replace(brief, repairs=repairs)
        self.events = events
        self.steps = tuple(self._steps())

    @property
    def called(self) -> str:
        return f"visit {self.number} ({day(self.light.opened)})"

    @property
    def engine(self) -> tuple[str, str, str]:
        """The engine that it was on, as engines are compared."""
        return engine_of(self.light.aircraft, self.light.position, self.light.engine)

    def _steps(self) -> Iterable[_Step]:
        after = "at its opening"
        for event in self.events:
            body = event.body
            if event.kind == "answered":
                after = f"after '{self.names.answer(str(body['check']), str(body.get('outcome') or ''))}'"
            elif event.kind == "repaired":
                after = f"after '{self.names.repair(str(body['repair']))}' was done"
            elif event.kind == "swapped":
                after = f"after parts changed places ({self.names.swapped(str(body['key']))})"
            elif event.kind == "told":
                after = "after more was told"
            elif event.kind == "corrected":
                after = "after something was taken back"
            elif event.kind == "belief":
                yield _Step(event.seq, after, {str(mode): float(p) for mode, p in body.get("faults", [])})

    def visit(self) -> Visit:
        """Return the visit with what the trail says."""
        names, intake, brief = self.names, self.intake, self.brief
        told = [f"{'channel ' if len(s.channel) < 3 else ''}{s.channel} {'lit' if s.lit else 'did not light'}"
                for s in intake.starts[-8:]]  # fmt: skip
        if intake.engine_starts is not None:
            told.append(f"{intake.engine_starts:,.0f} engine starts at its opening")
        return replace(
            self.light,
            read=True,
            complaint_title=names.complaint(intake.complaint),
            told=tuple(told),
            signs=tuple(f"{names.sign(s.sign)}{f', channel {s.channel}' if s.channel else ''}" for s in intake.signs),
            asked=tuple(self._asked()),
            done=tuple(self._done()),
            left=tuple(self._left()),
            turned=tuple(
                Turned(
                    t.seq,
                    t.move,
                    names.move(t.kind, t.move),
                    t.reason,
                    names.move(*t.instead.split(" ", 1)) if " " in t.instead else "",
                )
                for t in brief.turned
            ),
            signed=tuple(dict.fromkeys(name for name, _ in brief.signed)),
            remaining=brief.remaining,
        )

    def _asked(self) -> Iterable[Asked]:
        repairs = [item.seq for item in self.brief.repairs]
        held = {item.seq: self._held(item) for item in self.state.evidence if item.kind == "answer"}
        for event in self.events:
            if event.kind == "answered" and event.seq not in self.state.void:
                check, outcome = str(event.body["check"]), str(event.body.get("outcome") or "")
                said = self.names.outcome(check, outcome)
                within, done = str(event.body.get("within", "")), sum(seq < event.seq for seq in repairs)
                yield Asked(
                    event.seq, check, self.names.check(check), said, within, held.get(event.seq, ""),
                    "before" if not done else "after" if done == len(repairs) else "between",
                )  # fmt: skip

    def _held(self, item: Evidence) -> str:
        """Return the condition that prevailed at a check that depends on it, as a review of the case tells it."""
        check = self.names.fitted.checks.get(item.key) if self.names.fitted is not None else None
        if item.condition == "steady" or item.strength < PREVAILS or check is None or not check.functional:
            return ""
        return item.condition

    def _done(self) -> Iterable[Done]:
        for item, named in verdicts(self.brief):
            off, on = (_part(item.part, how) for how in ("off", "on"))
            found = "; ".join(
                f"{self.names.mode(n.mode)} ({percent(n.probability)})" if not n.in_vain else
                f"{self.names.mode(n.mode)} ({percent(n.probability)}): it put nothing right"
                for n in named
            )  # fmt: skip
            finding = self.shop(item)
            yield Done(item.seq, item.time, item.repair, self.names.repair(item.repair), off, on, finding, found)

    def _left(self) -> Iterable[Left]:
        """Yield what was open at the end, and what else was possible when the last repair was chosen."""
        end = self.at_end()
        for mode, chance in end.items():
            if chance >= LEFT_OPEN:
                yield Left(mode, self.names.mode(mode), chance, "end")
        if not self.brief.repairs:
            return
        last = self.brief.repairs[-1]
        before = [s for s in self.steps if s.seq < last.seq]
        named = {n.mode for n in self.brief.named}
        gone = self._cleared()
        for mode, chance in (before[-1].chances if before else {}).items():
            if chance >= LEFT_OPEN and mode not in named and mode not in gone and end.get(mode, 0.0) < LEFT_OPEN:
                yield Left(mode, self.names.mode(mode), chance, "repair")

    def _cleared(self) -> set[str]:
        """Return the modes that the repairs of the case clear, as far as they are known here."""
        fitted = self.names.fitted
        found: set[str] = set()
        for done in self.brief.repairs:
            repair = fitted.repairs.get(done.repair) if fitted is not None else None
            for zone, states in (repair.clears if repair is not None else {}).items():
                found |= {instance(state, split(zone)[1]) for state in states}
        return found

    def shop(self, item: Fitted) -> str:
        """Return what the shop said of a part that came off, in words; all of it where that disagrees."""
        said = self.words.get(item.repair, [])
        words: list[str] = []
        for finding, mode, more in said:
            named = f"'{self.names.mode(mode)}'" if mode else ""
            about = "; ".join(filter(None, [named, more]))
            words.append(FINDINGS.get(finding, finding) + (f" ({about})" if about else ""))
        words = list(dict.fromkeys(words))
        if item.disputed:
            return f"two words of the shop disagree: {'; then: '.join(words)}"
        return words[-1] if words else FINDINGS.get(item.finding, item.finding)

    def blamed(self) -> Iterable[tuple[Fitted, tuple[Named, ...]]]:
        """Yield each repair with what was at fault by its end, the fault that the shop named in place of the end's."""
        for item, named in verdicts(self.brief):
            yield item, by_the_shop(item, named) if not item.disputed else named

    def disputed(self, mode: str) -> bool:
        """Return whether two words of the shop disagree on the part that the end calls at fault for a mode."""
        return any(item.disputed and any(n.mode == mode for n in named) for item, named in self.blamed())

    def at_end(self) -> Mapping[str, float]:
        """Return the faults as they were last believed."""
        return self.steps[-1].chances if self.steps else {}

    def found(self) -> dict[str, tuple[str, float]]:
        """Return what the case found to be at fault, as mode → (who says so, its chance)."""
        found: dict[str, tuple[str, float]] = {}
        done = {item.repair for item in self.brief.repairs}
        for item, named in self.blamed():
            for n in named:
                if n.in_vain or cleared(item):
                    continue
                if item.finding == "confirmed" and not item.disputed:
                    found[n.mode] = "the shop", n.probability
                elif n.probability >= SURE:
                    found.setdefault(n.mode, ("the end of the case", n.probability))
        for n in self.brief.named:
            if n.repair not in done and not n.in_vain and n.probability >= SURE:
                found.setdefault(n.mode, ("the end of the case", n.probability))
        return found

    def thought(self) -> str:
        """Return the mode that the case acted on last; empty where it named none."""
        named = [n for n in self.brief.named if n.mode.partition("/")[0] != HEALTHY]
        return named[-1].mode if named else ""

    def checked(self) -> set[str]:
        """Return the checks that gave an answer."""
        return {item.key for item in self.state.evidence if item.kind == "answer" and item.outcome}


def _part(told: Mapping[str, object], how: str) -> str:
    number, serial = (str(told.get(f"{n}-{how}") or "").strip() for n in ("pn", "sn"))
    said = [f"P/N {number}" if folded(number) else "", f"S/N {serial}" if folded(serial) else ""]
    return " ".join(filter(None, said))


def _words(state: CaseState) -> dict[str, list[tuple[str, str, str]]]:
    """Return repair → what the shop said of its part, in turn, as (finding, the fault it named, what it wrote)."""
    found: dict[str, list[tuple[str, str, str]]] = {}
    for told in state.findings:
        said = str(told["finding"]), str(told.get("mode") or ""), str(told.get("text") or "").strip()
        found.setdefault(str(told["repair"]), []).append(said)
    return found


# -- who was right ---------------------------------------------------------------------------------


def _confirmed(courses: Sequence[_Course]) -> Iterable[Confirmed]:
    """Yield how each earlier case had what a later one found."""
    for at, later in enumerate(courses):
        for mode, (by, sure) in later.found().items():
            for earlier in courses[:at]:
                if earlier.engine == later.engine:
                    yield _had(earlier, later, mode, by, sure)


def _had(earlier: _Course, later: _Course, mode: str, by: str, sure: float) -> Confirmed:
    title = later.names.mode(mode)
    steps = earlier.steps
    chances = [s.chances.get(mode, 0.0) for s in steps]
    highest = max(chances, default=0.0)
    peak = chances.index(highest) if chances and highest > 0 else -1
    at_end = chances[-1] if chances else 0.0
    falls = [(chances[i] - chances[i + 1], i + 1) for i in range(max(peak, 0), len(chances) - 1)]
    fall = max(falls, default=(0.0, 0))
    dropped = steps[fall[1]].after.removeprefix("after ") if peak >= 0 and fall[0] >= LISTED else ""
    now = f"{later.called} {_found(later, mode, by, sure)}"
    was = _upper(earlier.called)
    named = mode in {n.mode for n in earlier.brief.named}
    if named:
        had = earlier.found().get(mode)
        good = any(cleared(item) and any(n.mode == mode for n in names) for item, names in earlier.blamed())
        how = _found(earlier, mode, *had) if had else f"named it{', and the shop found nothing' if good else ''}"
        said = f"{title}: {earlier.called} {how}, and {now}: put right and come back, or not put right then."
    elif at_end >= LEFT_OPEN:
        said = f"{was} left '{title}' open at {percent(at_end)}; {now}."
    elif highest >= LEFT_OPEN:
        down = f" {dropped[:1].upper()}{dropped[1:]} took it down most;" if dropped else ""
        end = percent(at_end or LISTED / 10)
        said = f"{was} had '{title}' at {percent(highest)} at most, {steps[peak].after};{down} {end} at its end. " + (
            f"{_upper(now)}."
        )
    else:
        most = f"above {percent(highest or LISTED)}"
        said = f"{was} never had '{title}' {most}; {now}."
    return Confirmed(
        mode, title, earlier.brief.case, later.brief.case, "the shop" if by == "the shop" else "the end of the case",
        sure, at_end, highest, steps[peak].after if peak >= 0 else "", dropped, not named and at_end >= LEFT_OPEN, said,
    )  # fmt: skip


def _found(course: _Course, mode: str, by: str, sure: float) -> str:
    """Return how a visit has a fault for found: by the shop, or named by its end alone."""
    if by == "the shop":
        return "found it (the shop confirmed it)"
    doubt = "; two words of the shop disagree on it" if course.disputed(mode) else ""
    return f"named it ({percent(sure)} by its end{doubt})"


class _Aparts:
    """What checks tell apart, by engine and condition, worked out when it is asked for."""

    def __init__(self, names: Callable[[str], Names]) -> None:
        self.names = names
        self.made: dict[tuple[str, str], Apart] = {}

    def bits(self, engine: str, condition: str, one: str, other: str) -> Mapping[str, float]:
        """Return check → bits; nothing where the knowledge does not have the engine or one of the faults."""
        fitted = self.names(engine).fitted
        if fitted is None or condition not in get_args(Condition):
            return {}
        key = engine, condition
        if key not in self.made:
            self.made[key] = Apart(fitted, cast(Condition, condition))
        try:
            return self.made[key].bits(one, other)
        except KeyError:
            return {}


def _unasked(courses: Sequence[_Course], apart: _Aparts) -> Iterable[Unasked]:
    """Yield checks that no visit did and that would have told what was thought from what was found later.

    Where the shop confirmed what was thought, both were there: then those that would have shown the other besides. Each
    check once, at most :data:`MOST_UNASKED`: first what tells two faults apart, then the most bits a minute.
    """
    checked: set[str] = set().union(*(c.checked() for c in courses)) if courses else set()
    found: dict[str, dict[str, Unasked]] = {}
    for at, later in enumerate(courses):
        for mode in later.found():
            for earlier in courses[:at]:
                if earlier.engine != later.engine or mode in {n.mode for n in earlier.brief.named}:
                    continue
                for one in _would_tell(earlier, later, mode, checked, apart):
                    had = found.setdefault(one.check, {}).get(mode)
                    if had is None or (bool(one.one), one.bits) > (bool(had.one), had.bits):
                        found[one.check][mode] = one
    once = []
    for ones in found.values():
        best, *others = sorted(ones.values(), key=lambda u: (not u.one, -u.bits))
        tells = " and ".join([best.said, *(u.said for u in others)])
        said = f"Nobody did: {best.title} ({best.minutes:.0f} min). It {tells}."
        once.append(replace(best, said=said))
    yield from sorted(once, key=lambda u: (not u.one, -u.bits / max(u.minutes, 1.0), u.check))[:MOST_UNASKED]


def _would_tell(earlier: _Course, later: _Course, mode: str, checked: set[str], apart: _Aparts) -> Iterable[Unasked]:
    """Yield the checks, each with what it tells in place of a sentence."""
    fitted, names, condition = later.names.fitted, later.names, later.intake.condition
    thought = earlier.thought()
    if earlier.found().get(thought, ("", 0.0))[0] == "the shop":
        thought = ""
    if fitted is None:
        return
    for key, bits in apart.bits(later.light.engine, condition, thought, mode).items():
        if bits < TELLS or key in checked:
            continue
        check = fitted.checks[key]
        how = strength(bits).partition(" for")[0]
        tells = f"tells '{names.mode(thought)}' from '{names.mode(mode)}'" if thought else f"shows '{names.mode(mode)}'"
        said = f"{tells} {how} (about {bits:.1f} bits)"
        yield Unasked(key, check.title, thought, mode, bits, check.minutes, condition, said)


def _after(courses: Sequence[_Course], course: _Course) -> list[_Course]:
    """Return the later visits of the same engine."""
    at = next(i for i, one in enumerate(courses) if one is course)
    return [one for one in courses[at + 1 :] if one.engine == course.engine]


def _came_back(courses: Sequence[_Course], course: _Course) -> bool:
    """Return whether the defect came back on the same engine after a visit had ended."""
    return any(one.light.returned for one in _after(courses, course)[:1])


def _no_cure(courses: Sequence[_Course]) -> Iterable[NoCure]:
    """Yield repairs that were done more than once on one engine."""
    did: dict[tuple[tuple[str, str, str], str], list[tuple[_Course, str]]] = {}
    for course in courses:
        for item in course.brief.repairs:
            did.setdefault((course.engine, item.repair), []).append((course, _part(item.part, "on")))
    for (_, repair), done in did.items():
        if len(done) < 2:
            continue
        parts = tuple(part for _, part in done)
        title, last = done[0][0].names.repair(repair), done[-1][0]
        when = _listed(
            [f"visit {c.number} ({'; '.join(filter(None, [day(c.light.opened), part]))})" for c, part in done]
        )
        cure = ""
        if _came_back(courses, last):
            cure = ", and the defect came back each time"
        elif done[0][0] is not last:
            cure = ", and the defect had come back before the last of them"
        said = f"{title}: done {len(done)} times, at {when}{cure}."
        yield NoCure(repair, title, tuple(c.brief.case for c, _ in done), parts, said)


def _doubts(courses: Sequence[_Course]) -> Iterable[str]:
    """Yield where the shop disagrees with a visit or with itself, and what came back though no shop confirmed it."""
    for course in courses:
        was, back = _upper(course.called), _came_back(courses, course)
        for item, named in verdicts(course.brief):
            modes = [n for n in named if not n.in_vain]
            off = _part(item.part, "off")
            part = f"the part that came off{f' ({off})' if off else ''}"
            said = _listed([f"'{course.names.mode(n.mode)}' ({percent(n.probability)} by its end)" for n in modes])
            so = " The defect came back." if back else ""
            if item.disputed:
                words = course.shop(item).partition(": ")[2]
                named_it = f" named {said};" if modes else ":"
                yield f"{was}{named_it} two words of the shop on {part} disagree: {words}. Ask which stands.{so}"
            elif cleared(item) and modes:
                yield f"{was} named {said}, but the shop found nothing wrong with {part}.{so}"
            elif item.finding == "other" and modes:
                yield f"{was} named {said}, but of {part}: {course.shop(item)}.{so}"
            elif item.finding == "confirmed" and named and not modes:
                yield f"{was} took {part} for good, but the shop found the fault in it.{so}"
            elif item.finding == "confirmed" and item.mode and item.mode not in {n.mode for n in modes}:
                yield f"{was} named {said}, but the shop found '{course.names.mode(item.mode)}' in {part}.{so}"
            elif modes and not item.finding and back:
                ask = f": ask the shop about {part}" if item.price > 0 else ""
                yield f"{was} named {said}; the defect came back and no shop has confirmed it{ask}."


def _follows(courses: Sequence[_Course]) -> Iterable[str]:
    """Yield what follows where the shop confirmed a fault and the defect was soon back all the same."""
    for course in courses:
        later = _after(courses, course)
        if not _came_back(courses, course) or between(course.brief, later[0].brief) > SOON:
            continue
        days = elapsed(between(course.brief, later[0].brief))
        for mode, (by, _) in course.found().items():
            if by != "the shop":
                continue
            begin = (
                f"{_upper(course.called)} put right '{course.names.mode(mode)}', which the shop confirmed, and the "
                f"defect was back {days} later"
            )
            same = [c for c in later if c.found().get(mode, ("", 0.0))[0] == "the shop"]
            if same:
                yield (
                    f"{begin}; {same[0].called} found the same again, confirmed as well: look for what brings it "
                    "about before another part is fitted."
                )
                continue
            others = [(c, m, who) for c in later for m, (who, _) in c.found().items() if m != mode]
            others.sort(key=lambda o: o[2] == "the shop")
            known = ","
            if others:
                after, other, who = others[-1]
                how = "found" if who == "the shop" else "named"
                known = f", perhaps '{after.names.mode(other)}', which {after.called} {how},"
            yield (
                f"{begin}: either a second fault was there besides{known} or something wears out or damages what "
                "was replaced."
            )


def _upper(said: str) -> str:
    return said[:1].upper() + said[1:]


def _listed(items: Sequence[str]) -> str:
    return f"{', '.join(items[:-1])} and {items[-1]}" if len(items) > 1 else "".join(items)


# -- advice that was turned down -------------------------------------------------------------------


def _bearing(courses: Sequence[_Course], apart: _Aparts) -> Iterable[tuple[str, str]]:
    """Yield advice that was turned down before the last visit and bears on what was found, as (case, sentence).

    Where nothing was found since, all of it, for whether it bears on it is not known yet.
    """
    for at, course in enumerate(courses[:-1]):
        later = [(c, mode) for c in courses[at + 1 :] if c.engine == course.engine for mode in c.found()]
        for turned in course.brief.turned:
            names = course.names
            title = names.move(turned.kind, turned.move)
            why = f", since {turned.reason}" if turned.reason else ""
            if turned.instead and " " in turned.instead:
                why = f" for '{names.move(*turned.instead.split(' ', 1))}'"
            begin = f"{_upper(course.called)} turned down '{title}'{why}"
            if not later:
                yield (
                    course.brief.case,
                    f"{begin}. Whether it bears on the defect is not known: nothing was found since.",
                )
                continue
            for after, mode in later:
                said = _bears(course, turned.kind, turned.move, mode, apart)
                if said:
                    yield course.brief.case, f"{begin}. {said} '{names.mode(mode)}', which {after.called} found."
                    break


def _bears(course: _Course, kind: str, move: str, mode: str, apart: _Aparts) -> str:
    fitted = course.names.fitted
    repair = fitted.repairs.get(move) if fitted is not None else None
    if repair is not None:
        cleared = {instance(s, split(zone)[1]) for zone, states in repair.clears.items() for s in states}
        return "It would have put right" if mode in cleared else ""
    if kind not in ("check", ""):
        return ""
    engine, condition = course.light.engine, course.intake.condition
    bits = max(
        apart.bits(engine, condition, "", mode).get(move, 0.0),
        apart.bits(engine, condition, course.thought(), mode).get(move, 0.0) if course.thought() != mode else 0.0,
    )
    return f"It speaks {strength(bits).partition(' for')[0]} (about {bits:.1f} bits) of" if bits >= TELLS else ""

"""A defect's cases beside each other, from their trails: what each asked, did and left open, and who was right.

Nothing is worked out anew: beliefs are those on the trails. Only what other checks would have told, and titles, come
from the knowledge that is here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast, get_args

from isolate.case.case import CaseState, fold
from isolate.case.events import Event
from isolate.case.parts import FINDINGS
from isolate.kb.figures import Apart
from isolate.kb.fit import instance, split
from isolate.kb.model import HEALTHY, Condition
from isolate.reasoning.explain import strength
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
    engine_of,
)
from isolate.review.verdicts import SURE, verdicts

if TYPE_CHECKING:
    from isolate.case.brief import Brief
    from isolate.review.named import Names

LISTED = 0.01
"""What a trail does not list of a belief is below this, or not among the eight most likely."""
TELLS = 1.0
"""Bits from which a check would have told two faults apart: odds of two to one where they were even."""
MOST_UNASKED = 3
"""Checks that nobody did that are named for two faults."""
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
        self.number, self.light, self.brief, self.names = number, light, brief, names
        self.state: CaseState = fold(events)
        if self.state.intake is None:
            raise ValueError("it does not begin with its opening")
        self.intake = self.state.intake
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
        for event in self.events:
            if event.kind == "answered" and event.seq not in self.state.void:
                check, outcome = str(event.body["check"]), str(event.body.get("outcome") or "")
                said = self.names.outcome(check, outcome)
                yield Asked(event.seq, check, self.names.check(check), said, str(event.body.get("within", "")))

    def _done(self) -> Iterable[Done]:
        for item, named in verdicts(self.brief):
            off, on = (_part(item.part, how) for how in ("off", "on"))
            found = "; ".join(
                f"{self.names.mode(n.mode)} ({n.probability:.0%})" if not n.in_vain else
                f"{self.names.mode(n.mode)} ({n.probability:.0%}): it put nothing right"
                for n in named
            )  # fmt: skip
            finding = FINDINGS.get(item.finding, item.finding)
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

    def at_end(self) -> Mapping[str, float]:
        """Return the faults as they were last believed."""
        return self.steps[-1].chances if self.steps else {}

    def found(self) -> dict[str, tuple[str, float]]:
        """Return what the case found to be at fault, as mode → (who says so, its chance)."""
        found: dict[str, tuple[str, float]] = {}
        done = {item.repair for item in self.brief.repairs}
        for item, named in verdicts(self.brief):
            for n in named:
                if n.in_vain or item.finding == "not-confirmed":
                    continue
                if item.finding == "confirmed":
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
    says = "the shop confirmed it" if by == "the shop" else f"{percent(sure)} by its end"
    now = f"{later.called} found it ({says})"
    was = earlier.called[:1].upper() + earlier.called[1:]
    named = mode in {n.mode for n in earlier.brief.named}
    if named:
        found = earlier.found().get(mode)
        how = "found the same" if found else "named it, and was not confirmed"
        said = f"{title}: {earlier.called} {how}, and {now}: put right and come back, or not put right then."
    elif at_end >= LEFT_OPEN:
        said = f"{was} left '{title}' open at {percent(at_end)}; {now}."
    elif highest >= LEFT_OPEN:
        down = f" {dropped[:1].upper()}{dropped[1:]} took it down most;" if dropped else ""
        end = percent(at_end) if at_end else "under 1 %"
        said = f"{was} had '{title}' at {percent(highest)} at most, {steps[peak].after};{down} {end} at its end. " + (
            f"{now[:1].upper()}{now[1:]}."
        )
    else:
        most = f"above {percent(highest)}" if highest else "above 1 %"
        said = f"{was} never had '{title}' {most}; {now}."
    return Confirmed(
        mode, title, earlier.brief.case, later.brief.case, "the shop" if by == "the shop" else "the end of the case",
        sure, at_end, highest, steps[peak].after if peak >= 0 else "", dropped, not named and at_end >= LEFT_OPEN, said,
    )  # fmt: skip


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
    check once for each fault found, at most :data:`MOST_UNASKED`, the most bits a minute first.
    """
    checked: set[str] = set().union(*(c.checked() for c in courses)) if courses else set()
    found: dict[str, dict[str, Unasked]] = {}
    for at, later in enumerate(courses):
        for mode in later.found():
            for earlier in courses[:at]:
                if earlier.engine != later.engine or mode in {n.mode for n in earlier.brief.named}:
                    continue
                for one in _would_tell(earlier, later, mode, checked, apart):
                    had = found.setdefault(mode, {}).get(one.check)
                    if had is None or one.bits > had.bits:
                        found[mode][one.check] = one
    for ones in found.values():
        yield from sorted(ones.values(), key=lambda u: (-u.bits / max(u.minutes, 1.0), u.check))[:MOST_UNASKED]


def _would_tell(earlier: _Course, later: _Course, mode: str, checked: set[str], apart: _Aparts) -> Iterable[Unasked]:
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
        said = f"Nobody did: {check.title} ({check.minutes:.0f} min). It {tells} {how} (about {bits:.1f} bits)."
        yield Unasked(key, check.title, thought, mode, bits, check.minutes, condition, said)


def _no_cure(courses: Sequence[_Course]) -> Iterable[NoCure]:
    """Yield repairs that were done more than once."""
    did: dict[tuple[tuple[str, str, str], str], list[tuple[_Course, str]]] = {}
    for course in courses:
        for item in course.brief.repairs:
            did.setdefault((course.engine, item.repair), []).append((course, _part(item.part, "on")))
    last = courses[-1] if courses else None
    for (_, repair), done in did.items():
        if len(done) < 2:
            continue
        parts = tuple(part for _, part in done)
        title = done[0][0].names.repair(repair)
        when = _listed(
            [f"visit {c.number} ({'; '.join(filter(None, [day(c.light.opened), part]))})" for c, part in done]
        )
        after = done[-1][0] is not last
        cure = "and the defect came back each time" if after else "and the defect had come back before the last of them"
        said = f"{title}: done {len(done)} times, at {when}, {cure}."
        yield NoCure(repair, title, tuple(c.brief.case for c, _ in done), parts, said)


def _doubts(courses: Sequence[_Course]) -> Iterable[str]:
    """Yield what an earlier visit named and replaced though no shop confirmed it, and the defect came back."""
    for at, course in enumerate(courses[:-1]):
        after = courses[at + 1]
        if after.engine != course.engine:
            continue
        was = course.called[:1].upper() + course.called[1:]
        for item, named in verdicts(course.brief):
            modes = [n for n in named if not n.in_vain]
            if not modes or item.finding == "confirmed" or after.light.open_before:
                continue
            off = _part(item.part, "off")
            what = f"{was} named '{course.names.mode(modes[-1].mode)}' ({percent(modes[-1].probability)} by its end)"
            if item.finding == "not-confirmed":
                yield f"{what}, but the shop found nothing wrong with the part{f' ({off})' if off else ''}."
            elif item.price > 0 and not item.finding:
                ask = f": ask the shop about the part that came off{f' ({off})' if off else ''}"
                yield f"{what}; the defect came back and no shop has confirmed it{ask}."


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
            was = course.called[:1].upper() + course.called[1:]
            begin = f"{was} turned down '{title}'{why}"
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

"""What was believed over time, and what each answer says for and against the suspects.

Over time: the belief as it stood after each thing said, with what was taken back later still in it. Weights: how the
log odds of each suspect changed when the answer came, by all that was known before it. So they are the moves between
those beliefs, and add up to the change from the opening, or from the last work, to where one stops adding.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2
from typing import TYPE_CHECKING, Any

import numpy as np

from isolate.case import measured
from isolate.case.believed import believed, further, heeds_answers, known, told_belief
from isolate.case.case import CaseState, Evidence, Intake, apply, fold
from isolate.case.swaps import known as known_swap
from isolate.kb.fit import split
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.explain import strength
from isolate.review.firm import runner_up
from isolate.review.named import Names
from isolate.review.shapes import Answered, Point, Suspect
from isolate.review.story import SAID

if TYPE_CHECKING:
    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.kb.fit import Fitted

MOST = 6
"""So many suspects are followed."""
LED = 0.05
"""Whoever leads with less than this does not count as a suspect that led."""
FEW, NOTABLE = 3, 0.05
"""Where fewer suspects than this led, those that ever reached such a probability are followed besides."""
PREVAILS = 0.5
"""A condition that prevails less than this is not told with an answer."""
MOST_CARRIED = 60
"""Answers of earlier cases that are weighed at most, those of the latest cases first."""
SAME = 1e-9
LEAST = 1e-12
"""Log odds are taken of no less than this, so that they stay finite."""


@dataclass(frozen=True)
class Weighing:
    """What was worked out of the evidence. ``anew``: worked with the knowledge, not only as the trail has it.

    ``idle``: answers, by seq, that said nothing new. ``left_out``: what the knowledge at hand does not have.
    """

    suspects: tuple[Suspect, ...] = ()
    points: tuple[Point, ...] = ()
    answers: tuple[Answered, ...] = ()
    anew: bool = False
    idle: frozenset[int] = frozenset()
    left_out: tuple[str, ...] = ()


# -- worked anew -------------------------------------------------------------------------------------


def weighed(kit: Kit, events: Sequence[Event], names: Names, said: Mapping[int, str]) -> Weighing:
    """Return the belief over time and the weights, worked anew with this knowledge.

    ``said``: seq → what was said there, for the points. Raises KeyError and the like for a body that cannot be read,
    UnknownName or ValueError for a complaint that the knowledge does not have.
    """
    return _Weighing(kit, events, names, said).weighed()


@dataclass(frozen=True)
class _Stood:
    """The belief after an event. ``before``: the one that it came upon, None at the opening; ``idle``: nothing new."""

    event: Event
    worked: float
    belief: Belief
    before: Belief | None
    idle: bool


def _moments(model: Model, events: Sequence[Event], lost: dict[str, None]) -> Iterator[_Stood]:
    """Yield the belief after each thing said that it heeds; what the knowledge does not have is noted as lost."""
    state = CaseState()
    had: tuple[Intake, tuple[Evidence, ...], Belief] | None = None
    for place, event in enumerate(events):
        if event.kind == "corrected":
            state = fold(events[: place + 1])
            following = events[place + 1] if place + 1 < len(events) else None
            if following is not None and following.kind == "corrected" and following.time == event.time:
                # Taken back in one go.
                continue
        else:
            apply(state, event)
        unsure = event.kind == "answered" and not event.body.get("outcome")
        if event.kind not in SAID or unsure or state.intake is None:
            continue
        intake, evidence = state.intake, _known(model.fitted, state.evidence, lost)
        before = had[2] if had is not None else None
        if (
            had is not None
            and had[0] == intake
            and evidence[: len(had[1])] == had[1]
            and not heeds_answers(intake, evidence[len(had[1]) :])
        ):
            belief = further(had[2], intake, evidence[len(had[1]) :])
        else:
            belief = believed(model, intake, evidence)
        had = intake, evidence, belief
        answered = event.kind == "answered" and before is not None
        idle = answered and before is not None and belief.told == before.told
        yield _Stood(event, state.book_minutes, belief, before, idle and any(e.seq == event.seq for e in evidence))


def _known(fitted: Fitted, evidence: Sequence[Evidence], lost: dict[str, None]) -> tuple[Evidence, ...]:
    """Return the evidence that this knowledge knows; the rest is noted as lost."""
    found = []
    for item in evidence:
        if knows(fitted, item):
            found.append(item)
        else:
            lost.setdefault(item.key)
    return tuple(found)


class _Weighing:
    def __init__(self, kit: Kit, events: Sequence[Event], names: Names, said: Mapping[int, str]) -> None:
        self.kit, self.model, self.fitted = kit, kit.model, kit.fitted
        self.events, self.names, self.said = events, names, said
        self.lost: dict[str, None] = {}
        self.moved: dict[int, float] = {}
        self.idle: set[int] = set()
        self.readings = {seq: measured.line_of(events, seq, one) for seq, one in measured.behind(events, ()).items()}

    def weighed(self) -> Weighing:
        stood = self._over_time()
        suspects = self._suspects(stood)
        points = self._points(stood, suspects)
        last = fold(self.events)
        modes, about = [s.mode for s in suspects], _about(suspects, points)
        answers = self._answers(last, {p.seq: p.bits for p in points}, modes, about)
        carried = self._carried(last, modes, about)
        idle = frozenset(self.idle - last.void)
        return Weighing(suspects, points, (*carried, *answers), True, idle, tuple(self.lost))

    # -- over time -------------------------------------------------------------------------------------

    def _over_time(self) -> list[_Stood]:
        """Return the belief after each thing that was said and that the belief heeds."""
        found: list[_Stood] = []
        for one in _moments(self.model, self.events, self.lost):
            seq, kind, before = one.event.seq, one.event.kind, one.before
            if kind == "answered" and before is not None:
                self.moved[seq] = entropy(before) - entropy(one.belief)
            if one.idle:
                self.idle.add(seq)
            if kind in ("told", "corrected") and before is not None and _alike(before, one.belief):
                continue
            # What came upon it is the point before; it need not be kept twice.
            found.append(replace(one, before=None))
        return found

    def _points(self, stood: Sequence[_Stood], suspects: Sequence[Suspect]) -> tuple[Point, ...]:
        unexplained = _unexplained(self.events)
        found: list[Point] = []
        had: list[float] = []
        for one in stood:
            seq, kind = one.event.seq, one.event.kind
            said = self.said.get(seq, kind)
            odds = [self._log_odds(one.belief, s.mode) for s in suspects]
            evidence = bool(found) and kind in ("answered", "told", "corrected")
            found.append(
                Point(
                    seq=seq,
                    at=round(one.worked, 2),
                    after=_after(kind, said),
                    chances=tuple(round(self._chance(one.belief, s.mode), 6) for s in suspects),
                    none=round(one.belief.healthy(), 6),
                    unexplained=round(unexplained.get(seq, 0.0), 3),
                    bits=tuple(round(o - h, 4) for o, h in zip(odds, had, strict=True)) if evidence else (),
                )
            )
            had = odds
        return tuple(found)

    def _chance(self, belief: Belief, mode: str) -> float:
        zone, state = self._place(mode)
        return float(belief.zone(zone)[self.fitted.zones[zone].states.index(state)])

    def _log_odds(self, belief: Belief, mode: str) -> float:
        """Return the log odds of a mode against the rest, in bits."""
        zone, state = self._place(mode)
        at, chances = self.fitted.zones[zone].states.index(state), belief.zone(zone)
        return _log_odds(float(chances[at]), float(np.delete(chances, at).sum()))

    def _place(self, mode: str) -> tuple[str, str]:
        return self.fitted.mode_zone[mode], split(mode)[0]

    def _suspects(self, stood: Sequence[_Stood]) -> tuple[Suspect, ...]:
        """Return the suspects that are followed: those that the end names, then those that led, then the likeliest.

        Whoever comes next to the verdict is always among them.
        """
        at_end = [mode for mode in named(self.events) if mode in self.fitted.mode_zone]
        led: dict[str, float] = {}
        peak: dict[str, float] = {}
        for one in stood:
            faults = one.belief.faults(LED)
            for number, m in enumerate(faults):
                peak[m.mode] = max(peak.get(m.mode, 0.0), m.probability)
                if number == 0:
                    led[m.mode] = peak[m.mode]
        order = [*at_end, *sorted(led, key=lambda m: (-peak[m], m))]
        if len(set(order)) < FEW:
            notable = [m for m in sorted(peak, key=lambda m: (-peak[m], m)) if peak[m] >= NOTABLE and m not in order]
            order += notable[: FEW - len(set(order))]
        return _suspects(order, self.events, self.names, runner_up(self.kit, self.events) or "")

    # -- weights ---------------------------------------------------------------------------------------

    def _answers(
        self, last: CaseState, bits: Mapping[int, tuple[float, ...]], modes: Sequence[str], about: Sequence[str]
    ) -> tuple[Answered, ...]:
        """Return the answers that stand at the end, weighed; ``bits``: seq → how each suspect's log odds moved."""
        standing = [item for item in _known(self.fitted, last.evidence, self.lost) if item.kind == "answer"]
        nothing = (0.0,) * len(modes)
        found = [self._answered(item, bits.get(item.seq) or nothing, modes, about) for item in standing]
        return tuple(sorted(found, key=lambda a: a.seq))

    def _answered(
        self, item: Evidence, bits: tuple[float, ...], modes: Sequence[str], about: Sequence[str], carried: str = ""
    ) -> Answered:
        check = self.fitted.check(item.key)
        held = check.functional and item.condition != "steady" and item.strength >= PREVAILS
        return Answered(
            seq=item.seq,
            check=item.key,
            title=check.title,
            outcome=item.outcome,
            said=check.said(item.outcome),
            condition=item.condition if held else "",
            bits=bits,
            moved=0.0 if carried else round(self.moved.get(item.seq, 0.0), 3),
            words=_words(bits, modes, about),
            carried=carried,
            reading="" if carried else self.readings.get(item.seq, ""),
        )

    def _carried(self, last: CaseState, modes: Sequence[str], about: Sequence[str]) -> tuple[Answered, ...]:
        """Return the answers of earlier cases: what each still says at the opening, weighed by leaving it out.

        The weight is how much lower the log odds of a suspect at the opening would be without it, all others being
        known and what is forgotten since being forgotten. So these do not add up, unlike those of the case itself.
        """
        intake = Intake.from_dict(self.events[0].body["intake"])
        if not intake.earlier or not modes:
            return ()
        whole = told_belief(self.model, intake)
        odds = [self._log_odds(whole, mode) for mode in modes]
        found: list[Answered] = []
        for number in sorted(range(len(intake.earlier)), key=lambda i: intake.earlier[i].days):
            case = intake.earlier[number]
            for item in known(self.fitted, case)[1]:
                if item.kind != "answer" or len(found) >= MOST_CARRIED:
                    continue
                less = replace(case, evidence=tuple(e for e in case.evidence if e.seq != item.seq))
                earlier = (*intake.earlier[:number], less, *intake.earlier[number + 1 :])
                without = told_belief(self.model, replace(intake, earlier=earlier))
                bits = tuple(round(o - self._log_odds(without, m), 4) for o, m in zip(odds, modes, strict=True))
                found.append(self._answered(item, bits, modes, about, case.case))
        return tuple(sorted(found, key=lambda a: (-self._days(intake, a.carried), a.seq)))

    @staticmethod
    def _days(intake: Intake, case: str) -> float:
        return next(e.days for e in intake.earlier if e.case == case)


def weights_for(kit: Kit, state: CaseState, modes: Sequence[str]) -> dict[int, float]:
    """Return seq of each answer before the first repair that clears one of these modes → bits for all of them at once.

    The bits are how the log odds that all of them are there changed when it came, as in :func:`weighed`.
    """
    fitted = kit.fitted
    at = {fitted.mode_zone[mode]: split(mode)[0] for mode in modes}
    mask = np.ones([1] * len(kit.model.zones))
    for zone, name in at.items():
        mask = mask * kit.model.along(zone, [1.0 if s == name else 0.0 for s in fitted.zones[zone].states])
    standing = {item.seq for item in state.evidence if item.kind == "answer" and knows(fitted, item)}
    found: dict[int, float] = {}
    had = 0.0
    for one in _moments(kit.model, state.events, {}):
        event = one.event
        if event.kind == "repaired" and event.seq not in state.void and clears(fitted, str(event.body["repair"]), at):
            break
        odds = _log_odds(*(float((one.belief.joint * part).sum()) for part in (mask, 1 - mask)))
        if event.seq in standing:
            found[event.seq] = odds - had
        had = odds
    return found


def clears(fitted: Fitted, repair: str, at: Mapping[str, str]) -> bool:
    """Return whether a repair clears one of these states; ``at``: zone → state."""
    fit = fitted.repairs.get(repair)
    return fit is not None and any(at.get(zone) in states for zone, states in fit.clears.items())


def knows(fitted: Fitted, item: Evidence) -> bool:
    """Return whether the knowledge has what an item of evidence names."""
    if item.kind == "answer":
        return item.key in fitted.checks and item.outcome in fitted.checks[item.key].outcomes
    return item.key in fitted.repairs if item.kind == "repair" else known_swap(fitted, item.key)


def entropy(belief: Belief) -> float:
    """Return the doubt about the joint state, in bits."""
    p = belief.joint[belief.joint > 0]
    return float(-(p * np.log2(p)).sum())


def _alike(one: Belief, other: Belief) -> bool:
    return one.joint.shape == other.joint.shape and bool(np.allclose(one.joint, other.joint, rtol=0, atol=SAME))


def _log_odds(chance: float, against: float) -> float:
    return log2(max(chance, LEAST)) - log2(max(against, LEAST))


# -- as the trail has it -----------------------------------------------------------------------------


def recorded(events: Sequence[Event], names: Names, said: Mapping[int, str]) -> Weighing:
    """Return the belief over time as the trail has it: suspects that it does not list at a point have 0 there."""
    points: list[tuple[Event, float, Mapping[str, Any]]] = []
    last: Event | None = None
    worked = 0.0
    for event in events:
        minutes = event.body.get("minutes")
        if event.kind in ("answered", "access", "repaired", "swapped") and isinstance(minutes, int | float):
            worked += float(minutes)
        if event.kind in SAID:
            last = event
        elif event.kind == "belief" and last is not None and isinstance(event.body.get("faults"), list):
            points.append((last, worked, event.body))
    peak: dict[str, float] = {}
    led: dict[str, None] = {}
    listed = []
    for event, worked, body in points:
        chances = {
            str(f[0]): float(f[1])
            for f in body["faults"]
            if isinstance(f, list) and len(f) == 2 and isinstance(f[1], int | float)
        }
        listed.append((event, worked, body, chances))
        for mode, p in chances.items():
            peak[mode] = max(peak.get(mode, 0.0), p)
        if chances and max(chances.values()) >= LED:
            led.setdefault(max(sorted(chances), key=lambda m: chances[m]))
    at_end = named(events)
    suspects = _suspects([*at_end, *sorted(led, key=lambda m: (-peak[m], m))], events, names)
    found = tuple(
        Point(
            seq=event.seq,
            at=round(worked, 2),
            after=_after(event.kind, said.get(event.seq, event.kind)),
            chances=tuple(chances.get(s.mode, 0.0) for s in suspects),
            none=_number(body.get("none")),
            unexplained=_number(body.get("unexplained")),
        )
        for event, worked, body, chances in listed
    )
    answers = tuple(
        Answered(
            seq=event.seq,
            check=str(event.body["check"]),
            title=names.check(str(event.body["check"])),
            outcome=str(event.body["outcome"]),
            said=names.outcome(str(event.body["check"]), str(event.body["outcome"])),
            condition="",
            bits=(),
            moved=0.0,
            words="not weighed",
        )
        for event in events
        if event.kind == "answered" and event.body.get("outcome") and event.seq not in _void(events)
    )
    return Weighing(suspects, found, answers)


def named(events: Sequence[Event]) -> list[str]:
    """Return the fault modes that the end names, in its order."""
    return list(_at_end(events))


def _at_end(events: Sequence[Event]) -> dict[str, float | None]:
    """Return the fault modes that the end names → the probability that it has of each, None where it tells none."""
    end = next((e for e in reversed(events) if e.kind == "closed"), None)
    told = end.body.get("found") if end is not None else None
    found: dict[str, float | None] = {}
    for one in told if isinstance(told, list | tuple) else ():
        if not isinstance(one, Mapping) or "mode" not in one or split(str(one["mode"]))[0] == HEALTHY:
            continue
        mode, chance = str(one["mode"]), one.get("probability")
        chance = float(chance) if isinstance(chance, int | float) else None
        had = found.get(mode)
        found[mode] = chance if had is None or (chance is not None and chance > had) else had
    return found


def _suspects(order: Sequence[str], events: Sequence[Event], names: Names, second: str = "") -> tuple[Suspect, ...]:
    at_end = _at_end(events)
    some = list(dict.fromkeys(order))[:MOST]
    if second and second not in some:
        some = [*some[: MOST - 1], second]
    return tuple(Suspect(mode, names.mode(mode), mode in at_end, at_end.get(mode)) for mode in some)


def _about(suspects: Sequence[Suspect], points: Sequence[Point]) -> list[str]:
    """Return whom the words are about: those that the end names, else whoever leads at the end of the trail."""
    if found := [s.mode for s in suspects if s.named]:
        return found
    if not suspects or not points:
        return []
    last = points[-1].chances
    return [suspects[max(range(len(suspects)), key=lambda i: last[i])].mode]


def _words(bits: Sequence[float], modes: Sequence[str], about: Sequence[str]) -> str:
    """Return in words what an answer says of whom it is about; of several of those it speaks of most."""
    of = [bits[modes.index(mode)] for mode in about if mode in modes]
    return strength(max(of, key=abs)) if of else ""


def _after(kind: str, said: str) -> str:
    if kind == "opened":
        return "What was told at the opening"
    return f"{said}; what it puts right is taken as gone" if kind == "repaired" else said


def _unexplained(events: Sequence[Event]) -> dict[int, float]:
    """Return seq of what was said → the bits by which the answers surprise, as the trail has it then."""
    found: dict[int, float] = {}
    last, bits = 0, 0.0
    for event in events:
        if event.kind in SAID:
            last = event.seq
            found[last] = bits
        elif event.kind == "belief" and last:
            found[last] = bits = _number(event.body.get("unexplained"))
    return found


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


def _void(events: Sequence[Event]) -> set[int]:
    return {seq for e in events if e.kind == "corrected" and isinstance(seq := e.body.get("seq"), int)}

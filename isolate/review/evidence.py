"""What was believed over time, and what each answer says for and against the suspects.

Over time: the belief as it stood after each thing said, with what was taken back later still in it. Weights: of the
answers that stand at the end, each at the end of its stretch, that is before the next repair or exchange of parts,
where it still speaks of the state that it was got in.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2
from typing import TYPE_CHECKING, Any

import numpy as np

from isolate.case.believed import believed, further, heeds_answers, known, told_belief
from isolate.case.case import CaseState, Evidence, Intake, apply, fold
from isolate.case.swaps import known as known_swap
from isolate.kb.fit import split
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Belief, Told
from isolate.reasoning.explain import strength
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
    """The belief after an event."""

    event: Event
    worked: float
    belief: Belief
    unexplained: float


class _Weighing:
    def __init__(self, kit: Kit, events: Sequence[Event], names: Names, said: Mapping[int, str]) -> None:
        self.model, self.fitted = kit.model, kit.fitted
        self.events, self.names, self.said = events, names, said
        self.lost: dict[str, None] = {}
        self.moved: dict[int, float] = {}

    def weighed(self) -> Weighing:
        stood = self._over_time()
        suspects = self._suspects(stood)
        points = tuple(self._point(one, suspects) for one in stood)
        last = fold(self.events)
        answers, idle = self._answers(last, [s.mode for s in suspects], _about(suspects, points))
        carried = self._carried(last, [s.mode for s in suspects], _about(suspects, points))
        return Weighing(suspects, points, (*carried, *answers), True, idle, tuple(self.lost))

    # -- over time -------------------------------------------------------------------------------------

    def _over_time(self) -> list[_Stood]:
        """Return the belief after each thing that was said and that the belief heeds."""
        found: list[_Stood] = []
        state = CaseState()
        had: tuple[Intake, tuple[Evidence, ...], Belief] | None = None
        unexplained = _unexplained(self.events)
        for place, event in enumerate(self.events):
            if event.kind == "corrected":
                state = fold(self.events[: place + 1])
                following = self.events[place + 1] if place + 1 < len(self.events) else None
                if following is not None and following.kind == "corrected" and following.time == event.time:
                    # Taken back in one go.
                    continue
            else:
                apply(state, event)
            unsure = event.kind == "answered" and not event.body.get("outcome")
            if event.kind not in SAID or unsure or state.intake is None:
                continue
            intake, evidence = state.intake, self._known(state.evidence)
            before = had[2] if had is not None else None
            if (
                had is not None
                and had[0] == intake
                and evidence[: len(had[1])] == had[1]
                and not heeds_answers(intake, evidence[len(had[1]) :])
            ):
                belief = further(had[2], intake, evidence[len(had[1]) :])
            else:
                belief = believed(self.model, intake, evidence)
            had = intake, evidence, belief
            if event.kind == "answered" and before is not None:
                self.moved[event.seq] = entropy(before) - entropy(belief)
            if event.kind in ("told", "corrected") and before is not None and _alike(before, belief):
                continue
            found.append(_Stood(event, state.book_minutes, belief, unexplained.get(event.seq, 0.0)))
        return found

    def _known(self, evidence: Sequence[Evidence]) -> tuple[Evidence, ...]:
        """Return the evidence that this knowledge knows; the rest is noted as lost."""
        found = []
        for item in evidence:
            if knows(self.fitted, item):
                found.append(item)
            else:
                self.lost.setdefault(item.key)
        return tuple(found)

    def _point(self, one: _Stood, suspects: Sequence[Suspect]) -> Point:
        said = self.said.get(one.event.seq, one.event.kind)
        return Point(
            seq=one.event.seq,
            at=round(one.worked, 2),
            after=_after(one.event.kind, said),
            chances=tuple(round(self._chance(one.belief, s.mode), 6) for s in suspects),
            none=round(one.belief.healthy(), 6),
            unexplained=round(one.unexplained, 3),
        )

    def _chance(self, belief: Belief, mode: str) -> float:
        zone, state = self._place(mode)
        return float(belief.zone(zone)[self.fitted.zones[zone].states.index(state)])

    def _place(self, mode: str) -> tuple[str, str]:
        return self.fitted.mode_zone[mode], split(mode)[0]

    def _suspects(self, stood: Sequence[_Stood]) -> tuple[Suspect, ...]:
        """Return the suspects that are followed: those that the end names, then those that led, then the likeliest."""
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
        return _suspects(order, at_end, self.names)

    # -- weights ---------------------------------------------------------------------------------------

    def _answers(
        self, last: CaseState, modes: Sequence[str], about: Sequence[str]
    ) -> tuple[tuple[Answered, ...], frozenset[int]]:
        """Return the answers that stand at the end, weighed, and those that said nothing new."""
        assert last.intake is not None
        evidence = self._known(last.evidence)
        answered = frozenset(item.key for item in _until_work(evidence))
        belief = told_belief(self.model, last.intake, answered)
        within: list[tuple[Evidence, Told | None]] = []
        found: list[Answered] = []
        idle: set[int] = set()

        def weigh() -> None:
            bits = {mode: _by_told(belief, {self._place(mode)[0]: self._place(mode)[1]}) for mode in modes}
            for item, told in within:
                each = tuple(round(bits[mode].get(id(told), 0.0), 3) for mode in modes)
                found.append(self._answered(item, each, modes, about))
            within.clear()

        for item in evidence:
            if item.kind != "answer":
                weigh()
                belief = further(belief, last.intake, [item])
                continue
            before = len(belief.told)
            belief = further(belief, last.intake, [item])
            new = len(belief.told) > before
            if not new:
                idle.add(item.seq)
            within.append((item, belief.told[-1] if new else None))
        weigh()
        return tuple(sorted(found, key=lambda a: a.seq)), frozenset(idle)

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
        )

    def _carried(self, last: CaseState, modes: Sequence[str], about: Sequence[str]) -> tuple[Answered, ...]:
        """Return the answers of earlier cases: what each still says at the opening, weighed by leaving it out.

        The weight is the change of the log odds of a suspect that the answer makes, after what is forgotten since.
        """
        intake = Intake.from_dict(self.events[0].body["intake"])
        if not intake.earlier or not modes:
            return ()
        whole = told_belief(self.model, intake)
        odds = [_log_odds(self._chance(whole, mode)) for mode in modes]
        found: list[Answered] = []
        for number in sorted(range(len(intake.earlier)), key=lambda i: intake.earlier[i].days):
            case = intake.earlier[number]
            for item in known(self.fitted, case)[1]:
                if item.kind != "answer" or len(found) >= MOST_CARRIED:
                    continue
                less = replace(case, evidence=tuple(e for e in case.evidence if e.seq != item.seq))
                earlier = (*intake.earlier[:number], less, *intake.earlier[number + 1 :])
                without = told_belief(self.model, replace(intake, earlier=earlier))
                bits = tuple(
                    round(o - _log_odds(self._chance(without, mode)), 3) for o, mode in zip(odds, modes, strict=True)
                )
                found.append(self._answered(item, bits, modes, about, case.case))
        return tuple(sorted(found, key=lambda a: (-self._days(intake, a.carried), a.seq)))

    @staticmethod
    def _days(intake: Intake, case: str) -> float:
        return next(e.days for e in intake.earlier if e.case == case)


def weights_for(kit: Kit, state: CaseState, modes: Sequence[str]) -> dict[int, float]:
    """Return seq of each answer before the first repair that clears one of these modes → bits for all of them at once.

    Answers that stood at an earlier repair are weighed there; one that said nothing new is worth 0 bits.
    """
    assert state.intake is not None
    fitted, model = kit.fitted, kit.model
    at = {fitted.mode_zone[mode]: split(mode)[0] for mode in modes}
    evidence = [item for item in state.evidence if knows(fitted, item)]
    belief = told_belief(model, state.intake, frozenset(item.key for item in _until_work(evidence)))
    found: dict[int, float] = {}
    within: list[tuple[int, Told | None]] = []

    def weigh() -> None:
        bits = _by_told(belief, at)
        found.update({seq: bits.get(id(told), 0.0) for seq, told in within})
        within.clear()

    for item in evidence:
        if item.kind != "answer":
            weigh()
            if item.kind == "repair" and clears(fitted, item.key, at):
                return found
        before = len(belief.told)
        belief = further(belief, state.intake, [item])
        if item.kind == "answer":
            within.append((item.seq, belief.told[-1] if len(belief.told) > before else None))
    weigh()
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


def _by_told(belief: Belief, at: Mapping[str, str]) -> dict[int, float]:
    """Return id of each standing answer → its bits for these zone states."""
    return {id(told): bits for told, bits in belief.weights(at)}


def _until_work(evidence: Sequence[Evidence]) -> list[Evidence]:
    found = []
    for item in evidence:
        if item.kind != "answer":
            break
        found.append(item)
    return found


def _alike(one: Belief, other: Belief) -> bool:
    return one.joint.shape == other.joint.shape and bool(np.allclose(one.joint, other.joint, rtol=0, atol=SAME))


def _log_odds(p: float) -> float:
    p = min(max(p, 1e-12), 1 - 1e-12)
    return log2(p / (1 - p))


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
    suspects = _suspects([*at_end, *sorted(led, key=lambda m: (-peak[m], m))], at_end, names)
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
    end = next((e for e in reversed(events) if e.kind == "closed"), None)
    found = end.body.get("found") if end is not None else None
    modes = [str(f["mode"]) for f in found or () if isinstance(f, Mapping) and "mode" in f]
    return list(dict.fromkeys(mode for mode in modes if split(mode)[0] != HEALTHY))


def _suspects(order: Sequence[str], at_end: Collection[str], names: Names) -> tuple[Suspect, ...]:
    return tuple(Suspect(mode, names.mode(mode), mode in at_end) for mode in list(dict.fromkeys(order))[:MOST])


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

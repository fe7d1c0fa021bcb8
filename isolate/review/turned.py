"""Whether turning advice down was right, seen from the end of the case and from what the shop said since.

What was at fault is what :func:`isolate.review.verdicts.faults` says. A repair was rightly declined where it clears
nothing of that. A check was rightly declined where, with that at fault, it was to be expected to tell less than it
cost: its expected bits for the truth, as things were believed when it was put forward, at
:data:`isolate.reasoning.explain.MINUTES_A_BIT` minutes a bit, against its minutes beyond those that the way to the
repair of it and the closing up after took anyway (:func:`beyond`). Where something else was done instead, that was
right where it was a repair of what was at fault or a check worth no less. Nothing is judged of an open case, of one
that names nothing, or with names that the knowledge here does not have.

A share of advice rightly turned down says little by itself: seen from the end, much of what was done told nothing of
what it then was. So what was taken is judged in the same way (:meth:`Hindsight.taken`), to be told beside it.

That is hindsight on what was chosen, not on who chose: somebody may have declined for a reason that no figure holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from isolate.case.believed import believed
from isolate.case.brief import Brief, Turned
from isolate.case.case import Evidence, Intake, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.now import condition_now, setting
from isolate.kb.fit import instance, split
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.explain import MINUTES_A_BIT
from isolate.reasoning.pose import Poser
from isolate.review.fleet import Judged
from isolate.review.intervals import Share
from isolate.review.verdicts import Fault, faults, in_vain, verdicts

MOST_JUDGED = 1_000
"""Pieces of advice for which what was believed is worked out, some hundredths of a second each."""
MOST_TAKEN = 300
"""So many checks that were taken, for what turning down is told beside: enough for a share to within 6 in 100."""


class Then(NamedTuple):
    """How things stood when advice was put forward. ``minutes``: of a move, with the way to it.

    ``opened``: what stood open, as a mask of ``poser``; ``repairs``: those to come that put right what was at fault.
    """

    belief: Belief
    setting: Setting
    minutes: Mapping[str, float]
    poser: Poser
    opened: int
    repairs: tuple[str, ...]


RIGHT = (
    "Whether that was right is said in hindsight, from what the shop or the end of the case found: right was declining "
    "a repair of what was not at fault, or a check that would have told less, at 20 min a bit of doubt, than it took "
    "beyond the way to the repair itself. Seen from the end most checks tell little: so what was taken in the same "
    "cases is judged alike beside it, and only a higher share than that speaks for declining. "
    "Not judged: cases that are open, that name nothing surely or whose part the shop found good; names unknown here."
)
"""What is said above figures of advice that was turned down."""


def beside(of_taken: Share) -> str:
    """Return what is said beside the share of advice rightly turned down, of what was taken; empty for nothing.

    ``of_taken``: the share of what :meth:`Hindsight.taken` gives that is "right", of one kind.
    """
    return f"of those taken in these cases, by the same measure {of_taken.said}" if of_taken.of else ""


class _Left:
    """For how many pieces of advice what was believed may still be worked out; ``over``: how many came after them."""

    def __init__(self, most: int) -> None:
        self.most, self.over = most, 0

    def one(self) -> bool:
        """Take one of them; return whether there was one."""
        self.over += self.most <= 0
        self.most -= 1
        return self.most >= 0


class Hindsight:
    """Judges advice that was turned down. ``kit``: engine type → its kit; ``events``: case → its trail.

    ``most``: for so many pieces of advice what was believed then is worked out; ``left`` counts those after them, which
    are not judged. ``most_taken``: the same for advice that was taken.
    """

    def __init__(
        self,
        kit: Callable[[str], Kit],
        events: Callable[[str], Sequence[Event]],
        most: int = MOST_JUDGED,
        most_taken: int = MOST_TAKEN,
    ) -> None:
        self._kit, self._events = kit, events
        self._down, self._taken = _Left(most), _Left(most_taken)
        self._trail: tuple[str, Sequence[Event]] = "", ()

    @property
    def left(self) -> int:
        """How many pieces of advice that were turned down were not judged because there were too many."""
        return self._down.over

    def __call__(self, brief: Brief, turned: Turned) -> Judged:
        """Return whether turning it down was right; empty where that cannot be told."""
        return self._said(brief, turned, self._down)

    def taken(self, brief: Brief) -> tuple[tuple[str, Judged], ...]:
        """Return (kind, whether turning it down instead would have been right) of advice that was taken as it was put.

        By the same measure, of each check and repair of which that can be told: what turning down is to be compared
        with. Nothing of a case in which nothing was turned down, so that it is about the same cases.
        """
        if not brief.closed or not brief.turned or self._taken.most <= 0 or not faults(brief):
            return ()
        told = ((had.kind, self._said(brief, had, self._taken)) for had in taken(self._of(brief.case)))
        return tuple((kind, verdict) for kind, verdict in told if verdict)

    def _said(self, brief: Brief, turned: Turned, left: _Left) -> Judged:
        if not brief.closed:
            return ""
        later = [in_vain(i, n) for i, n in verdicts(brief) if i.repair == turned.move and i.seq > turned.seq]
        if turned.kind == "repair" and later and later[0]:
            # It was done in the end, and the part was good.
            return "right"
        if not (truth := faults(brief)):
            return ""
        try:
            return self._judged(brief, turned, truth, left)
        except Exception:
            # A case from elsewhere may hold anything, names that are not known here above all.
            return ""

    def _judged(self, brief: Brief, turned: Turned, truth: Sequence[Fault], left: _Left) -> Judged:
        kit = self._kit(brief.engine)
        still = [fault for fault in truth if fault.until > turned.seq]
        kind, _, move = turned.instead.partition(" ")
        hit = _hits(kit, move, still) if kind == "repair" else None
        if turned.kind == "repair":
            return "right" if hit or not _hits(kit, turned.move, still) else "wrong"
        if turned.kind != "check" or not still:
            return ""
        if hit is not None:
            return "right" if hit else "wrong"
        if not left.one():
            return ""
        ends = {fault.until for fault in still}
        then = self._then(kit, brief.case, turned.seq, [item.repair for item in brief.repairs if item.seq in ends])
        modes = [fault.mode for fault in still]
        other = _worth(kit, then, move, modes) if kind == "check" else 0.0
        return "right" if _worth(kit, then, turned.move, modes) <= other else "wrong"

    def _of(self, case: str) -> Sequence[Event]:
        if self._trail[0] != case:
            self._trail = case, tuple(self._events(case))
        return self._trail[1]

    def _then(self, kit: Kit, case: str, seq: int, repairs: Sequence[str]) -> Then:
        before = [event for event in self._of(case) if event.seq < seq]
        state = fold(before)
        assert state.intake is not None
        starts = [key for key, check in kit.fitted.checks.items() if check.entry.starts]
        offered: Mapping[str, Any] = next((e.body for e in reversed(before) if e.kind == "offered"), {})
        put = {str(m["move"]): float(m["now"]) for m in (*offered.get("alternatives", ()), offered) if "now" in m}
        poser = kit.poser(state.intake.place, condition_now(state.intake), "minutes", state.intake.hands)
        # Whose aircraft it is changes no belief; without it, cases that began alike share one.
        intake = replace(state.intake, aircraft="", position="", operator="", people=(), engine_starts=None)
        evidence = tuple(replace(item, seq=i) for i, item in enumerate(state.evidence))
        belief = _believed(kit.model, intake, evidence)
        return Then(belief, setting(state, starts), put, poser, poser.mask(state.open), tuple(repairs))


def taken(events: Sequence[Event]) -> Iterator[Turned]:
    """Yield the checks and repairs that were taken up as they were put forward, in the form of what is turned down."""
    void = fold(events).void
    offered = ""
    for event in events:
        if event.kind == "offered":
            offered = str(event.body["move"])
        elif event.kind == "accepted" and event.seq not in void and event.body["move"] == offered:
            kind = event.body["kind"]
            if kind in ("check", "repair"):
                yield Turned(event.seq, event.time, kind, offered, "")


@lru_cache(maxsize=32)
def _believed(model: Model, intake: Intake, evidence: tuple[Evidence, ...]) -> Belief:
    return believed(model, intake, evidence)


def _hits(kit: Kit, repair: str, truth: Sequence[Fault]) -> bool:
    """Return whether a repair clears any of what was at fault. Raises UnknownName."""
    clears = kit.fitted.repair(repair).clears
    cleared = {instance(state, split(zone)[1]) for zone, states in clears.items() for state in states}
    return any(fault.mode in cleared for fault in truth)


def _worth(kit: Kit, then: Then, check: str, modes: Sequence[str]) -> float:
    """Return what a check was worth with the truth known, in minutes: what it tells of it less what it costs."""
    return MINUTES_A_BIT * expected_bits(then.belief, check, then.setting, modes) - beyond(kit, then, check)


def beyond(kit: Kit, then: Then, check: str) -> float:
    """Return the minutes of a check beyond those that the repairs to come take anyway, the way there and back included.

    What it opens on the way to them is not its own, nor what it shuts that they want shut.
    """
    fit, poser = kit.fitted.check(check), then.poser
    minutes, opened, _ = poser.crossings.go(then.opened, poser.mask(fit.needs), poser.mask(fit.shut))
    minutes = then.minutes.get(check, fit.minutes + minutes)
    opened &= ~poser.mask(fit.spoils)
    return max(0.0, minutes + _on(kit, then, opened) - _on(kit, then, then.opened))


def _on(kit: Kit, then: Then, opened: int) -> float:
    """Return the minutes of the way from what stands open over the repairs to come until all is closed up."""
    found, ways, mask = 0.0, then.poser.crossings, then.poser.mask
    for repair in map(kit.fitted.repair, then.repairs):
        minutes, opened, _ = ways.go(opened, mask(repair.needs), mask(repair.shut))
        opened &= ~mask(repair.spoils)
        found += minutes
    return found + ways.close_all(opened)[0]


def expected_bits(belief: Belief, check: str, setting: Setting, modes: Sequence[str]) -> float:
    """Return the bits that a check is expected to tell for the modes that are at fault, were it asked now.

    With t the truth, the sum over the outcomes o of P(o | t) log2 P(o | t) / P(o). Raises KeyError for a mode that is
    none of this engine.
    """
    zones = belief.model.fitted.zones
    where = {instance(state, split(key)[1]): (key, state) for key, zone in zones.items() for state in zone.states}
    mask = np.ones([1] * belief.joint.ndim)
    for zone, state in (where[mode] for mode in modes):
        mask = mask * belief.model.along(zone, [1.0 if s == state else 0.0 for s in zones[zone].states])
    given = belief.weighed(mask).predicted(check, *setting)
    expected = belief.predicted(check, *setting)
    return float((given * np.log2(given / expected)).sum())

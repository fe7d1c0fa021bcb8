"""Whether turning advice down was right, seen from the end of the case and from what the shop said since.

What was at fault is what :func:`isolate.review.verdicts.faults` says. A repair was rightly declined where it clears
nothing of that. A check was rightly declined where, with that at fault, it was to be expected to tell less than it
cost: its expected bits for the truth, as things were believed when it was put forward, at
:data:`isolate.reasoning.explain.MINUTES_A_BIT` minutes a bit, against its minutes with the way to it. Where something
else was done instead, that was right where it was a repair of what was at fault or a check worth no less. Nothing is
judged of an open case, of one that names nothing, or with names that the knowledge here does not have.

That is hindsight on what was chosen, not on who chose: somebody may have declined for a reason that no figure holds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from isolate.case.believed import believed
from isolate.case.brief import Brief, Turned
from isolate.case.case import Evidence, Intake, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.now import setting
from isolate.kb.fit import instance, split
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.explain import MINUTES_A_BIT
from isolate.review.fleet import Judged
from isolate.review.verdicts import Fault, faults, in_vain, verdicts

MOST_JUDGED = 1_000
"""Pieces of advice for which what was believed is worked out, some hundredths of a second each."""


class Then(NamedTuple):
    """How things stood when advice was put forward. ``minutes``: of a move, with the way to it."""

    belief: Belief
    setting: Setting
    minutes: Mapping[str, float]


class Hindsight:
    """Judges advice that was turned down. ``kit``: engine type → its kit; ``events``: case → its trail.

    ``most``: for so many pieces of advice what was believed then is worked out; ``left`` counts those after them, which
    are not judged.
    """

    def __init__(
        self, kit: Callable[[str], Kit], events: Callable[[str], Sequence[Event]], most: int = MOST_JUDGED
    ) -> None:
        self._kit, self._events, self._most = kit, events, most
        self._trail: tuple[str, Sequence[Event]] = "", ()
        self.left = 0

    def __call__(self, brief: Brief, turned: Turned) -> Judged:
        """Return whether turning it down was right; empty where that cannot be told."""
        if not brief.closed:
            return ""
        later = [in_vain(i, n) for i, n in verdicts(brief) if i.repair == turned.move and i.seq > turned.seq]
        if turned.kind == "repair" and later and later[0]:
            # It was done in the end, and the part was good.
            return "right"
        if not (truth := faults(brief)):
            return ""
        try:
            return self._judged(brief, turned, truth)
        except Exception:
            # A case from elsewhere may hold anything, names that are not known here above all.
            return ""

    def _judged(self, brief: Brief, turned: Turned, truth: Sequence[Fault]) -> Judged:
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
        if self._most <= 0:
            self.left += 1
            return ""
        self._most -= 1
        then = self._then(kit, brief.case, turned.seq)
        modes = [fault.mode for fault in still]
        other = _worth(kit, then, move, modes) if kind == "check" else 0.0
        return "right" if _worth(kit, then, turned.move, modes) <= other else "wrong"

    def _then(self, kit: Kit, case: str, seq: int) -> Then:
        if self._trail[0] != case:
            self._trail = case, tuple(self._events(case))
        before = [event for event in self._trail[1] if event.seq < seq]
        state = fold(before)
        assert state.intake is not None
        starts = [key for key, check in kit.fitted.checks.items() if check.entry.starts]
        offered: Mapping[str, Any] = next((e.body for e in reversed(before) if e.kind == "offered"), {})
        put = {str(m["move"]): float(m["now"]) for m in (*offered.get("alternatives", ()), offered) if "now" in m}
        # Whose aircraft it is changes no belief; without it, cases that began alike share one.
        intake = replace(state.intake, aircraft="", position="", operator="", people=(), engine_starts=None)
        evidence = tuple(replace(item, seq=i) for i, item in enumerate(state.evidence))
        return Then(_believed(kit.model, intake, evidence), setting(state, starts), put)


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
    minutes = then.minutes.get(check, kit.fitted.check(check).minutes)
    return MINUTES_A_BIT * expected_bits(then.belief, check, then.setting, modes) - minutes


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

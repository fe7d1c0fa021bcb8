"""Poses the decision problem of a case: what is believed, what is open, what may be done now."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck, FitRepair, Fitted, FitZone, instance
from isolate.kb.model import Condition, Place, Weights
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.lookahead import Objective
from isolate.reasoning.occasion import Occasion, columns
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way, Ways, packed

Index = NDArray[np.int64]

NOW = Setting()
"""As it is where nothing was told."""
KEPT = 0.998
"""Share of the probability that planning keeps; belief itself stays exact."""
MOST = 160
"""No more joint states than this are planned over, before the states that repairs lead to are added."""
SURE_REPAIR = 0.85
"""A repair with less success than this is no cure to repeat."""
MOST_PROOFS = 2
"""Verifications that are planned for after one repair: one may fail though nothing is wrong any more."""
RARE = 1e-6
"""States rarer than this share of the likeliest are only gone through where there are too few others."""
ESCALATE = "escalate"
"""End: given to somebody with other means."""
WATCH = "watch"
"""End: verified as far as the complaint asks, but with more doubt left than the profile allows; to be watched."""


@dataclass(frozen=True, eq=False)
class Posed:
    """A problem with the names behind its indices. ``kept``: the share of the probability planned over."""

    problem: Problem
    joint: tuple[tuple[int, ...], ...]
    kept: float
    access: tuple[str, ...]
    verification: tuple[str, ...]

    def mask(self, names: Collection[str]) -> int:
        """Return the bit mask of access instance names."""
        return sum(1 << i for i, name in enumerate(self.access) if name in names)


class Poser:
    """Poses problems for one fitted profile at one place; what does not change is worked out once.

    ``condition``: it sets the waits, e.g. until a hot engine can be touched. ``objective``: "cost" counts the labour
    of everybody a step takes and its parts, and no waiting; the others count equivalent minutes. ``hands``: people
    who work side by side.
    """

    def __init__(
        self,
        model: Model,
        place: Place,
        condition: Condition = "steady",
        objective: Objective = "minutes",
        hands: int = 1,
    ) -> None:
        self.model, self.fitted, self.place, self.condition = model, model.fitted, place, condition
        # Labour is paid for whoever stands beside it: two people save time, and nothing else.
        self.objective, self.hands = objective, hands if objective != "cost" else 1
        self.weights: Weights = weights(self.fitted, place)
        self.access = tuple(self.fitted.access)
        self._bit = {name: 1 << i for i, name in enumerate(self.access)}
        waits = objective != "cost"
        self.ways = tuple(
            Way(
                name=a.key,
                open=self._labour(a.open.minutes, a.entry.people) + waits * a.open.waits(condition),
                close=self._labour(a.close.minutes, a.entry.people) + waits * a.close.waits(condition),
                people=a.entry.people,
                needs=self.mask(a.needs),
                shut=self.mask(a.shut),
                lasting=a.entry.lasting,
            )
            for a in self.fitted.access.values()
        )
        self.crossings = Ways(self.ways, self.hands)
        self._place = np.cumprod([1, *model.shape[:-1]])

    def _labour(self, minutes: float, people: int) -> float:
        """Return what a step's work counts for."""
        return self.weights.labour * minutes * (people if self.objective == "cost" else 1)

    def mask(self, names: Collection[str]) -> int:
        """Return the bit mask of access instance names; a name given twice counts once."""
        return sum(self._bit[n] for n in set(names))

    def pose(
        self,
        belief: Belief,
        verification: Sequence[str],
        setting: Setting = NOW,
        barred: Collection[str] = (),
        again: bool = False,
        done: Mapping[str, int] | None = None,
        later: Mapping[str, float] | None = None,
        opened: Collection[str] = (),
        most: int = MOST,
    ) -> Posed:
        """Return the problem; ``barred`` names checks, repairs and access that may not be used now.

        ``verification``: the checks that verify the complaint, in order. ``setting``: how it is now.
        ``again``: it has passed since the last
        repair, so another one repeats it. ``done``: how often each repair was done. ``later``: minutes until a check,
        a repair or an access state can be had, since something it takes is on its way, and ``opened`` what stands open:
        a wait runs while things are opened. ``most``: joint states.
        """
        wait = self._waiting(later or {}, self.mask(opened))
        barred = frozenset(barred)
        done = done or {}
        joint, kept = self._states(belief, most)
        table = np.array(joint, dtype=np.int64)
        at = tuple(table[:, axis] for axis in range(len(self.model.zones)))
        p = belief.joint[at]
        p = p / p.sum()
        clear = np.asarray(~table.any(axis=1))
        codes = table @ self._place
        coded = codes, np.argsort(codes)
        stories: dict[Any, Occasion] = {}
        checks = tuple(
            self._check(belief, check, setting, at, stories, wait)
            for check in self.fitted.checks.values()
            if check.key not in barred and not self.fitted.needed(check.needs) & barred
        )
        present = [self._number[check.name] for check in checks]
        problem = Problem(
            states=tuple(self._label(state) for state in joint),
            p=p,
            clear=clear,
            access=self.ways,
            crossings=self.crossings,
            hands=self.hands,
            checks=checks,
            repairs=tuple(
                RepairMove(
                    name=repair.key,
                    cost=self._labour(repair.entry.minutes, repair.entry.people)
                    + self.weights.parts * repair.entry.parts
                    + wait(repair),
                    minutes=repair.entry.minutes + wait(repair),
                    to=self._targets(repair.clears, table, coded),
                    success=repair.entry.success,
                    needs=self.mask(repair.needs),
                    shut=self.mask(repair.shut),
                    spoils=self.mask(repair.spoils),
                    most=max(1, may_do(repair) - done.get(repair.key, 0)),
                    renews=packed(self._renewed[repair.key][present]),
                )
                for repair in self.fitted.repairs.values()
                if not repair.hand_over and repair.key not in barred and not self.fitted.needed(repair.needs) & barred
            ),
            verify=self._verify(belief if again else belief.afresh(), verification, setting, at),
            ends=self._ends(joint, barred),
            proven=again,
            sound=True,
            missed=self.weights.missed,
            remaining=self.fitted.profile.remaining,
        )
        return Posed(problem=problem, joint=joint, kept=kept, access=self.access, verification=tuple(verification))

    @cached_property
    def _number(self) -> dict[str, int]:
        """The place of each check in the profile."""
        return {key: i for i, key in enumerate(self.fitted.checks)}

    @cached_property
    def _renewed(self) -> dict[str, NDArray[np.bool_]]:
        """For each repair a mark for each check that looks at what it may change, those about the past left out."""
        found: dict[str, NDArray[np.bool_]] = {}
        for repair in self.fitted.repairs.values():
            touched = set(repair.clears) | set(repair.disturbs)
            found[repair.key] = np.array(
                [c.entry.kind != "history" and bool(touched & set(c.given)) for c in self.fitted.checks.values()]
            )
        return found

    def _check(
        self,
        belief: Belief,
        check: FitCheck,
        setting: Setting,
        at: tuple[Index, ...],
        stories: dict[Any, Occasion],
        wait: Callable[[FitCheck | FitRepair], float],
    ) -> CheckMove:
        repeats = check.repeats
        before = tuple(check.outcomes.index(o) for o in belief.had(check.key, *setting))
        waits = wait(check)
        first = columns(self.model.likelihood(check.key, setting.condition, setting.strength), at)
        following = belief.following(check.key, *setting, at, stories)
        as_new = not before and np.array_equal(following, first)
        return CheckMove(
            name=check.key,
            cost=self._labour(check.minutes, check.entry.people) + waits,
            minutes=check.minutes + waits,
            likelihood=first if as_new else following,
            needs=self.mask(check.needs),
            shut=self.mask(check.shut),
            spoils=self.mask(check.spoils),
            past=check.entry.kind == "history",
            most=repeats.most if repeats is not None else 1 + len(before),
            same=repeats.same if repeats is not None else 0.0,
            first=None if as_new else first,
            before=before,
        )

    def _waiting(self, later: Mapping[str, float], opened: int) -> Callable[[FitCheck | FitRepair], float]:
        """Return what gives the minutes that are waited until a step can be had, behind what is crossed meanwhile."""

        def wait(step: FitCheck | FitRepair) -> float:
            until = max((later.get(k, 0.0) for k in (step.key, *self.fitted.needed(step.needs))), default=0.0)
            if not until:
                return 0.0
            return max(until - self.crossings.go(opened, self.mask(step.needs), self.mask(step.shut))[0], 0.0)

        return wait if later else lambda step: 0.0

    def _label(self, state: tuple[int, ...]) -> str:
        names = []
        for axis, i in enumerate(state):
            if i:
                zone: FitZone = self.fitted.zones[self.model.zones[axis]]
                names.append(instance(zone.states[i], zone.channel))
        return " + ".join(names) or "no fault"

    def _states(self, belief: Belief, most: int) -> tuple[tuple[tuple[int, ...], ...], float]:
        """Return the joint states planned over: those that carry ``KEPT``, and what repairs make of them."""
        flat = belief.joint.ravel()
        count = min(most, flat.size)
        # Nearly all are far too unlikely to be looked at.
        likely = np.flatnonzero(flat > RARE * float(flat.max()))
        if len(likely) < count:
            likely = np.arange(flat.size)
        top = likely[np.lexsort((likely, -flat[likely]))][:count]
        upto = int(np.searchsorted(np.cumsum(flat[top]), KEPT)) + 1
        top = top[:upto]
        found: dict[tuple[int, ...], None] = {}
        for state in zip(*(axis.tolist() for axis in np.unravel_index(top, belief.joint.shape)), strict=True):
            found[state] = None
        for state in list(found):
            faulty = [axis for axis, i in enumerate(state) if i]
            for keep in range(1 << len(faulty)):
                cleared = list(state)
                for k, axis in enumerate(faulty):
                    if not keep >> k & 1:
                        cleared[axis] = 0
                found[tuple(cleared)] = None
        return tuple(found), float(flat[top].sum())

    def _targets(self, clears: Mapping[str, frozenset[str]], table: Index, coded: tuple[Index, Index]) -> Index:
        """Return, for each state (a row of zone states), the row that it is once these states are cleared.

        ``coded``: each row as one number, zone by zone in mixed radix, and the order of those numbers.
        """
        codes, order = coded
        after = codes
        for zone, states in clears.items():
            axis = self.model.axis[zone]
            names = self.fitted.zones[zone].states
            off = np.array([i * self._place[axis] if s in states else 0 for i, s in enumerate(names)])
            after = after - off[table[:, axis]]
        return np.asarray(order[np.searchsorted(codes, after, sorter=order)])

    def _verify(
        self, belief: Belief, keys: Sequence[str], setting: Setting, at: tuple[Index, ...]
    ) -> CheckMove:
        """Make one move of the verification: passed, failed on one channel alone (each), failed on several.

        It mostly follows a repair, which ends the occasion: then as asked for the first time. All of it is done on
        one occasion, so that a fault that sleeps through one part of it mostly sleeps through the rest.
        """
        groups: dict[str, list[str]] = {}
        needs, shut, spoils, cost, minutes = 0, 0, 0, 0.0, 0.0
        for key in keys:
            check = self.fitted.check(key)
            groups.setdefault(check.channel, []).append(key)
            needs |= self.mask(check.needs)
            shut |= self.mask(check.shut)
            spoils |= self.mask(check.spoils)
            cost += self._labour(check.minutes, check.entry.people)
            minutes += check.minutes
        if not groups:
            # All of it stands already: passing is sure and costs nothing.
            return CheckMove("verification", 0.0, np.stack([np.ones(len(at[0])), np.zeros(len(at[0]))]))
        passed = belief.passing(keys, setting, at)
        rows = [passed]
        if len(groups) > 1:
            for channel in groups:
                others = [key for c, own in groups.items() if c != channel for key in own]
                rows.append(np.clip(belief.passing(others, setting, at) - passed, 0.0, 1.0))
        rows.append(np.clip(1 - np.sum(np.stack(rows), axis=0), 0.0, 1.0))
        return CheckMove(
            "verification", cost, np.stack(rows), needs & ~shut, shut, spoils, minutes=minutes, most=MOST_PROOFS
        )

    def _ends(self, joint: Sequence[tuple[int, ...]], barred: frozenset[str]) -> tuple[EndMove, ...]:
        w = self.weights
        ends = [EndMove(ESCALATE, np.full(len(joint), w.escalate))]
        faulty_states = np.array([any(state) for state in joint])
        ends.append(EndMove(WATCH, w.hand_over + w.missed * faulty_states, proven=True))
        table = np.array(joint, dtype=np.int64)
        faulty = (table > 0).sum(axis=1)
        for repair in self.fitted.repairs.values():
            if not repair.hand_over or repair.key in barred:
                continue
            right = np.zeros(len(joint), dtype=np.int64)
            for zone, states in repair.clears.items():
                names = self.fitted.zones[zone].states
                right += np.array([n in states for n in names])[table[:, self.model.axis[zone]]]
            # Handing over with another fault still aboard leaves that one behind.
            left = np.where(right == 0, w.missed, 0.5 * w.missed * (faulty > right))
            ends.append(EndMove(repair.key, w.hand_over + left))
        return tuple(ends)


def may_do(repair: FitRepair) -> int:
    """Return how often a repair may be done: one that often leaves the fault in is no cure to repeat."""
    return 2 if repair.entry.success >= SURE_REPAIR else 1


def weights(fitted: Fitted, place: Place) -> Weights:
    """Return the profile's weights at a place, or any it has."""
    return fitted.profile.weights.get(place) or next(iter(fitted.profile.weights.values()))

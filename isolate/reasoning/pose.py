"""Poses the decision problem of a case: what is believed, what is open, what may be done now."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import Fitted, FitZone, instance
from isolate.kb.model import Condition, Place, Weights
from isolate.reasoning.belief import Belief, Model, Table
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way, Ways

Index = NDArray[np.int64]

KEPT = 0.998
"""Share of the probability that planning keeps; belief itself stays exact."""
MOST = 160
"""No more joint states than this are planned over, before the states that repairs lead to are added."""
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

    ``condition``: it sets the waits, e.g. until a hot engine can be touched.
    """

    def __init__(self, model: Model, place: Place, condition: Condition = "steady") -> None:
        self.model, self.fitted, self.place, self.condition = model, model.fitted, place, condition
        self.weights: Weights = weights(self.fitted, place)
        self.access = tuple(self.fitted.access)
        self._bit = {name: 1 << i for i, name in enumerate(self.access)}
        labour = self.weights.labour
        self.ways = tuple(
            Way(
                name=a.key,
                open=labour * a.open.minutes + a.open.waits(condition),
                close=labour * a.close.minutes + a.close.waits(condition),
                needs=self.mask(a.needs),
                shut=self.mask(a.shut),
                lasting=a.entry.lasting,
            )
            for a in self.fitted.access.values()
        )
        self.crossings = Ways(self.ways)
        self._place = np.cumprod([1, *model.shape[:-1]])

    def mask(self, names: Collection[str]) -> int:
        """Return the bit mask of access instance names; a name given twice counts once."""
        return sum(self._bit[n] for n in set(names))

    def pose(
        self,
        belief: Belief,
        verification: Sequence[str],
        condition: Condition = "steady",
        barred: Collection[str] = (),
        again: bool = False,
    ) -> Posed:
        """Return the problem; ``barred`` names checks, repairs and access that may not be used now.

        ``verification``: the checks that verify the complaint, in order.
        ``again``: the verification has passed since the last repair, so another one repeats it.
        """
        barred = frozenset(barred)
        joint, kept = self._states(belief)
        table = np.array(joint, dtype=np.int64)
        at = tuple(table[:, axis] for axis in range(len(self.model.zones)))
        p = belief.joint[at]
        p = p / p.sum()
        clear = np.asarray(~table.any(axis=1))
        codes = table @ self._place
        coded = codes, np.argsort(codes)
        problem = Problem(
            states=tuple(self._label(state) for state in joint),
            p=p,
            clear=clear,
            access=self.ways,
            crossings=self.crossings,
            checks=tuple(
                CheckMove(
                    name=check.key,
                    cost=self.weights.labour * check.minutes,
                    likelihood=_columns(belief.next_likelihood(check.key, condition), at),
                    needs=self.mask(check.needs),
                    shut=self.mask(check.shut),
                    spoils=self.mask(check.spoils),
                    past=check.entry.kind == "history",
                )
                for check in self.fitted.checks.values()
                if check.key not in barred and not self.fitted.needed(check.needs) & barred
            ),
            repairs=tuple(
                RepairMove(
                    name=repair.key,
                    cost=self.weights.labour * repair.entry.minutes + self.weights.parts * repair.entry.parts,
                    to=self._targets(repair.clears, table, coded),
                    success=repair.entry.success,
                    needs=self.mask(repair.needs),
                    shut=self.mask(repair.shut),
                    spoils=self.mask(repair.spoils),
                )
                for repair in self.fitted.repairs.values()
                if not repair.hand_over and repair.key not in barred and not self.fitted.needed(repair.needs) & barred
            ),
            verify=self._verify(belief if again else None, verification, condition, at),
            ends=self._ends(joint, barred, watch=again),
            missed=self.weights.missed,
            remaining=self.fitted.profile.remaining,
        )
        return Posed(problem=problem, joint=joint, kept=kept, access=self.access, verification=tuple(verification))

    def _label(self, state: tuple[int, ...]) -> str:
        names = []
        for axis, i in enumerate(state):
            if i:
                zone: FitZone = self.fitted.zones[self.model.zones[axis]]
                names.append(instance(zone.states[i], zone.channel))
        return " + ".join(names) or "no fault"

    def _states(self, belief: Belief) -> tuple[tuple[tuple[int, ...], ...], float]:
        """Return the joint states planned over: those that carry ``KEPT``, and what repairs make of them."""
        flat = belief.joint.ravel()
        count = min(MOST, flat.size)
        top = np.argpartition(-flat, count - 1)[:count]
        top = top[np.lexsort((top, -flat[top]))]
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
        self, belief: Belief | None, keys: Sequence[str], condition: Condition, at: tuple[Index, ...]
    ) -> CheckMove:
        """Make one move of the verification: passed, failed on one channel alone (each), failed on several."""
        groups: dict[str, Table] = {}
        needs, shut, spoils, cost = 0, 0, 0, 0.0
        for key in keys:
            check = self.fitted.check(key)
            # It mostly follows a repair, which ends the occasion: then as asked for the first time.
            likelihood = belief.next_likelihood(key, condition) if belief else self.model.likelihood(key, condition)
            passes = _columns(likelihood, at)[0]
            groups[check.channel] = groups.get(check.channel, np.ones_like(passes)) * passes
            needs |= self.mask(check.needs)
            shut |= self.mask(check.shut)
            spoils |= self.mask(check.spoils)
            cost += self.weights.labour * check.minutes
        if not groups:
            # All of it stands already: passing is sure and costs nothing.
            return CheckMove("verification", 0.0, np.stack([np.ones(len(at[0])), np.zeros(len(at[0]))]))
        passed = np.prod(np.stack(list(groups.values())), axis=0)
        rows = [passed]
        if len(groups) > 1:
            for channel, own in groups.items():
                others = [g for c, g in groups.items() if c != channel]
                rows.append((1 - own) * np.prod(np.stack(others), axis=0))
        rows.append(np.clip(1 - np.sum(np.stack(rows), axis=0), 0.0, 1.0))
        return CheckMove("verification", cost, np.stack(rows), needs & ~shut, shut, spoils)

    def _ends(self, joint: Sequence[tuple[int, ...]], barred: frozenset[str], watch: bool) -> tuple[EndMove, ...]:
        w = self.weights
        ends = [EndMove(ESCALATE, np.full(len(joint), w.escalate))]
        if watch:
            faulty_states = np.array([any(state) for state in joint])
            ends.append(EndMove(WATCH, w.hand_over + w.missed * faulty_states))
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


def weights(fitted: Fitted, place: Place) -> Weights:
    """Return the profile's weights at a place, or any it has."""
    return fitted.profile.weights.get(place) or next(iter(fitted.profile.weights.values()))


def _columns(table: Table, at: tuple[Index, ...]) -> Table:
    """Return the table (outcomes, zones…) at these joint states, shape (outcomes, states)."""
    index = [np.zeros_like(i) if n == 1 else i for n, i in zip(table.shape[1:], at, strict=True)]
    everything: Any = (slice(None), *index)
    return np.asarray(table[everything])

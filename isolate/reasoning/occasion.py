"""What answers say together that were got on one occasion: one place, one condition, within the hour.

A fault that comes and goes is either there or not there while somebody stands at the aircraft. So what functional
checks say of it on one occasion is one story told several times: for each zone a hidden switch says whether its fault
shows on this occasion, P(shows | state) being the state's activity in the condition, and given states and switches the
answers are independent. A mode that ``flickers`` has no such switch: it is drawn anew at each answer.

An engine start shakes and heats everything: it is no part of this, each one is drawn anew.

On top of that a check that repeats gives the same answer again with share ``same`` (one ear, one meter, one way of
holding it): P(r1..rk) = same * [all equal] * P(r1) + (1 - same) * product.

The sum over the switches is exact. Only zones that two answers or more have looked at need one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.model import Condition

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]
Index = NDArray[np.int64]
At = tuple[Index, ...]
"""Joint states to look at: one array of state indices a zone."""
Got = Mapping[str, tuple[int, ...]]
"""Check instance → its outcomes by index, in the order they were got."""
Makes = tuple[Condition, float] | None
"""The condition that a check brings with it, with how far it prevails."""
Shown = frozenset[tuple[str, bool]]
"""Zone → whether its fault shows, for the zones that a switch was thrown for."""


def run(likelihood: Table, outcomes: Sequence[int], same: float) -> Table:
    """Return P(these outcomes in turn | joint) of one check; ``likelihood``: (outcomes, ...)."""
    if len(outcomes) == 1:
        return np.asarray(likelihood[outcomes[0]])
    independent = np.prod(likelihood[list(outcomes)], axis=0)
    alike = len(set(outcomes)) == 1
    return np.asarray(same * likelihood[outcomes[0]] * alike + (1 - same) * independent)


def following(likelihood: Table, before: Sequence[int], same: float) -> Table:
    """Return P(these outcomes and then outcome k | joint) for each k, shape (outcomes, ...)."""
    return np.stack([run(likelihood, (*before, k), same) for k in range(len(likelihood))])


def columns(table: Table, at: At) -> Table:
    """Return the table (outcomes, zones…) at these joint states, shape (outcomes, states)."""
    index = [np.zeros_like(i) if n == 1 else i for n, i in zip(table.shape[1:], at, strict=True)]
    everything: Any = (slice(None), *index)
    return np.asarray(table[everything])


class Occasion:
    """The answers of functional checks on one occasion; ``at``: only at these joint states, else over the joint.

    Tables have one axis a zone (length 1 where it says nothing), or one axis of states where ``at`` is given.
    """

    def __init__(
        self,
        model: Model,
        got: Got,
        condition: Condition,
        strength: float = 1.0,
        makes: Makes = None,
        at: At | None = None,
    ) -> None:
        self.model, self.got, self.at = model, got, at
        self.how = (condition, strength, makes)
        looked = Counter(z for check, outcomes in got.items() for z in self._zones(check) for _ in outcomes)
        self._looked = frozenset(looked)
        self._often = frozenset(z for z in self._looked if looked[z] > 1)
        self._thrown: dict[frozenset[str], list[tuple[Shown, Table]]] = {}
        self._summed: dict[frozenset[str], Mapping[Shown, Table]] = {}
        self._places: dict[tuple[int, ...], Index] = {}

    def _zones(self, check: str) -> frozenset[str]:
        """Return the zones whose switch makes a difference to a check."""
        return self.model.switches(check, *self.how)

    def _same(self, check: str) -> float:
        repeats = self.model.fitted.check(check).repeats
        return repeats.same if repeats is not None else 0.0

    def weight(self) -> Table:
        """Return P(the answers got | joint)."""
        return self._sum(self._cases(self._often))

    def following(self, check: str) -> Table:
        """Return P(next outcome of the check | joint, the answers got), shape (outcomes, ...)."""
        before = self.got.get(check, ())
        met = self._looked & self._zones(check)
        if not before and not met:
            return self._table(check, frozenset())
        rest = {c: o for c, o in self.got.items() if c != check}
        # Its own earlier answers are one run with the next.
        others = Occasion(self.model, rest, *self.how, self.at) if before else self
        cases = others._by(self._zones(check) if before else met)
        same = self._same(check)
        found: Table | None = None
        for shown, weight in cases.items():
            added = weight * following(self._table(check, shown), before, same)
            found = added if found is None else found + added
        assert found is not None
        return np.asarray(found / found.sum(axis=0, keepdims=True))

    def _by(self, zones: frozenset[str]) -> Mapping[Shown, Table]:
        """Return P(these switches, the answers got | joint) for each setting of the switches of these zones."""
        if zones not in self._summed:
            found: dict[Shown, Table] = {}
            for shown, weight in self._cases(self._often | zones):
                own = frozenset(s for s in shown if s[0] in zones)
                found[own] = found[own] + weight if own in found else weight
            self._summed[zones] = found
        return self._summed[zones]

    def _cases(self, switched: frozenset[str]) -> list[tuple[Shown, Table]]:
        """Return each setting of the switches with P(setting, the answers got | joint)."""
        if switched not in self._thrown:
            zones = sorted(switched)
            found = []
            for thrown in product((True, False), repeat=len(zones)):
                shown: Shown = frozenset(zip(zones, thrown, strict=True))
                weight: Table = (
                    np.ones(len(self.at[0])) if self.at is not None else np.ones([1] * len(self.model.zones))
                )
                for zone, shows in shown:
                    chance = self.model.showing(zone, *self.how)
                    weight = weight * self._along(zone, chance if shows else 1 - chance)
                for check, outcomes in self.got.items():
                    weight = weight * run(self._table(check, shown), outcomes, self._same(check))
                found.append((shown, weight))
            self._thrown[switched] = found
        return self._thrown[switched]

    @staticmethod
    def _sum(cases: Sequence[tuple[Shown, Table]]) -> Table:
        total = cases[0][1]
        for _, weight in cases[1:]:
            total = total + weight
        return total

    def _along(self, zone: str, values: Table) -> Table:
        if self.at is None:
            return self.model.along(zone, values)
        return np.asarray(values[self.at[self.model.axis[zone]]])

    def _table(self, check: str, shown: Shown) -> Table:
        zones = self._zones(check)
        condition, strength, _ = self.how
        table = self.model.likelihood(check, condition, strength, frozenset(s for s in shown if s[0] in zones))
        if self.at is None:
            return table
        shape = table.shape[1:]
        if shape not in self._places:
            looked = [i for i, n in enumerate(shape) if n > 1]
            self._places[shape] = np.ravel_multi_index([self.at[i] for i in looked], [shape[i] for i in looked])
        return np.asarray(table.reshape(len(table), -1)[:, self._places[shape]])

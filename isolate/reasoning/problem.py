"""The decision problem, stated apart from knowledge and screen.

A problem has joint states with probabilities, access that checks and repairs share, checks with noisy outcomes,
repairs that map states to states, one verification, and ways to end. Whatever builds one can be planned for
(:mod:`isolate.reasoning.plan`). Costs are equivalent minutes. Sets of access states are bit masks: bit i stands for
``access[i]``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


class Crossed(NamedTuple):
    """One crossing: the access state's index and whether it is opened or shut."""

    access: int
    opening: bool


@dataclass(frozen=True)
class Way:
    """An access state. Its needs must be open while it is; what it wants shut must be shut as it is opened."""

    name: str
    open: float
    close: float
    needs: int = 0
    shut: int = 0
    lasting: bool = True


@dataclass(frozen=True, eq=False)
class CheckMove:
    """A check; ``likelihood`` has shape (outcomes, states), each column summing to one.

    ``past``: it speaks of the time before any repair, so it tells nothing new after one.
    """

    name: str
    cost: float
    likelihood: Vector
    needs: int = 0
    shut: int = 0
    spoils: int = 0
    past: bool = False


@dataclass(frozen=True, eq=False)
class RepairMove:
    """A repair; ``to[h]`` is the state that state h becomes with probability ``success`` (h itself: no effect)."""

    name: str
    cost: float
    to: NDArray[np.int64]
    success: float
    needs: int = 0
    shut: int = 0
    spoils: int = 0


@dataclass(frozen=True, eq=False)
class EndMove:
    """A way to stop without verification; ``cost[h]`` is what it costs in state h, closing up apart."""

    name: str
    cost: Vector


@dataclass(frozen=True, eq=False)
class Problem:
    """A decision problem. ``clear[h]`` says that state h has no fault; ``verify``'s first outcome is the pass.

    ``missed`` is the cost of ending, verified, with a fault left; a verification that passes ends the case once the
    probability of that is less than ``remaining``. Raises ValueError where the parts do not fit.
    """

    states: tuple[str, ...]
    p: Vector
    clear: NDArray[np.bool_]
    access: tuple[Way, ...]
    checks: tuple[CheckMove, ...]
    repairs: tuple[RepairMove, ...]
    verify: CheckMove
    ends: tuple[EndMove, ...]
    missed: float
    remaining: float = 0.05
    open: int = 0
    crossings: Ways | None = field(default=None, repr=False)
    """What it takes to cross ``access``, where somebody keeps it from problem to problem; else worked out here."""

    def __post_init__(self) -> None:
        n = len(self.states)
        if n == 0 or self.p.shape != (n,) or not np.isclose(self.p.sum(), 1.0):
            raise ValueError("a problem needs at least one state, and its probabilities must sum to 1")
        for check in (*self.checks, self.verify):
            if check.likelihood.ndim != 2 or check.likelihood.shape[1] != n or check.cost < 0:
                raise ValueError(f"check {check.name}: likelihood must have one column a state, and cost >= 0")
        for repair in self.repairs:
            if repair.to.shape != (n,) or not 0 < repair.success <= 1 or repair.cost < 0:
                raise ValueError(f"repair {repair.name}: one target a state, success in (0, 1], cost >= 0")
        if not self.ends:
            raise ValueError("a problem needs at least one way to end besides verification")
        if self.crossings is not None and self.crossings.access != self.access:
            raise ValueError("the crossings given are those of other access states")

    @cached_property
    def ways(self) -> Ways:
        """What it takes to get from one set of open access states to another."""
        return self.crossings if self.crossings is not None else Ways(self.access)

    @cached_property
    def padded(self) -> Vector:
        """Likelihoods of all checks, shape (checks, most outcomes, states), padded with zero."""
        most = max((c.likelihood.shape[0] for c in self.checks), default=1)
        table = np.zeros((len(self.checks), most, len(self.states)))
        for i, check in enumerate(self.checks):
            table[i, : check.likelihood.shape[0]] = check.likelihood
        return table


class Ways:
    """What it takes to get from one set of open access states to another; remembered, since it is asked often."""

    def __init__(self, access: Sequence[Way]) -> None:
        self.access = tuple(access)
        self._along: dict[tuple[int, tuple[tuple[int, int, int], ...]], float] = {}
        self._go: dict[tuple[int, int, int], tuple[float, int, tuple[Crossed, ...]]] = {}
        n = len(self.access)
        self.order = self._topological()
        # closure[i]: i and everything it needs; above[i]: i and everything that needs it.
        self.closure = [1 << i for i in range(n)]
        for i in self.order:
            for j in bits(self.access[i].needs):
                self.closure[i] |= self.closure[j]
        self.above = [sum(1 << j for j in range(n) if self.closure[j] >> i & 1) for i in range(n)]

    def _topological(self) -> tuple[int, ...]:
        done: list[int] = []
        placed = 0
        while len(done) < len(self.access):
            ready = [i for i, w in enumerate(self.access) if not placed >> i & 1 and w.needs & ~placed == 0]
            if not ready:
                raise ValueError("the access states need each other in a circle")
            for i in ready:
                done.append(i)
                placed |= 1 << i
        return tuple(done)

    def closed_under(self, needs: int) -> int:
        """Return the set with everything it needs."""
        found = 0
        for i in bits(needs):
            found |= self.closure[i]
        return found

    def go(self, start: int, needs: int, shut: int) -> tuple[float, int, tuple[Crossed, ...]]:
        """Return (cost, open set after, crossings in order) of having ``needs`` open and ``shut`` shut."""
        key = (start, needs, shut)
        found = self._go.get(key)
        if found is None:
            found = self._go[key] = self._cross(start, needs, shut)
        return found

    def _cross(self, start: int, needs: int, shut: int) -> tuple[float, int, tuple[Crossed, ...]]:
        wanted = self.closed_under(needs)
        opening = wanted & ~start
        closing = shut & start
        for i in bits(opening):
            closing |= self.access[i].shut & start
        for i in bits(closing):
            closing |= self.above[i] & start
        opening |= wanted & closing & ~shut
        cost = 0.0
        crossings: list[Crossed] = []
        now = start
        for i in reversed(self.order):
            if closing >> i & 1:
                way = self.access[i]
                cost += way.close if way.lasting else 0.0
                crossings.append(Crossed(i, False))
                now &= ~(1 << i)
        for i in self.order:
            if opening >> i & 1:
                cost += self.access[i].open
                crossings.append(Crossed(i, True))
                now |= 1 << i
        return cost, now, tuple(crossings)

    def along(self, start: int, steps: tuple[tuple[int, int, int], ...]) -> float:
        """Return the cost of the crossings of steps (needs, shut, spoils) in turn and of closing up."""
        key = (start, steps)
        found = self._along.get(key)
        if found is None:
            if steps:
                needs, shut, spoils = steps[0]
                cost, opened, _ = self.go(start, needs, shut)
                found = cost + self.along(opened & ~spoils, steps[1:])
            else:
                found = self.close_all(start)[0]
            self._along[key] = found
        return found

    def close_all(self, start: int) -> tuple[float, int, tuple[Crossed, ...]]:
        """Return (cost, 0, crossings in order) of closing up."""
        return self.go(start, 0, start)


def bits(mask: int) -> tuple[int, ...]:
    """Return the indices of the bits set."""
    return tuple(i for i in range(mask.bit_length()) if mask >> i & 1)

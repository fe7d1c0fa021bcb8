"""What it costs from here, roughly: the values that the search for the next move ends on.

:mod:`isolate.reasoning.lookahead` looks some moves ahead; what follows after those is valued here as the least of

- *asking*: hindsight (the cost if the state were told now: access, repairs, one verification, closing) plus the price
  of the doubt left, bits times minutes a bit. The price is that of the best check on offer now, counting only
  what it costs beyond what hindsight pays anyway, times ``DEARER``, since bits grow dearer as they grow fewer.
- *trying*: repairs by probability per minute, each verified, until one passes.
- *stopping*: the cheapest end for this belief.

States that are cleared by the same repairs are no doubt at all. These are estimates, not bounds; for bounds see
:mod:`isolate.reasoning.search`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.problem import CheckMove, Crossed, Kind, Position, Problem, RepairMove, Vector

DEARER = 1.5
"""How much dearer a bit of doubt is taken to be than the best check on offer sells it; measured in ``tests/bench``."""
LEAST_PRICE, MOST_PRICE = 2.0, 400.0
"""Equivalent minutes a bit between which the price is kept."""
NO_CHECKS = 25.0
"""Price of a bit where no check tells anything any more."""
TELLS = 0.01
"""A check that tells less than this many bits does not set the price."""
NEVER = 1e9
"""What an end that is not there costs."""


@dataclass(frozen=True)
class Valued:
    """A move with its figures, in equivalent minutes.

    ``expected``: to the end of the case if this is done next. ``now``: the crossings and the move itself.
    ``told``: bits of doubt it is expected to remove. ``outcomes``: probability of each outcome (checks, verify), or
    of clearing something (repairs). With a time to be done by: ``chance`` of an end by then, verified or rightly
    handed over, and ``late``, the minutes expected beyond it, both under the plan that ``expected`` is of.
    """

    kind: Kind
    name: str
    expected: float
    now: float
    told: float
    outcomes: tuple[float, ...]
    crossings: tuple[Crossed, ...]
    chance: float | None = None
    late: float | None = None


class Beliefs(NamedTuple):
    """Beliefs as they are valued; the leading axes are free."""

    groups: Vector
    """Probability of each group of states with one route, last axis."""
    extra: Vector
    """Expected cost of failing repairs and of ends, which no access changes."""
    stop: Vector
    """Cost of the cheapest end, closing up apart."""


class Reach(NamedTuple):
    """Costs by group from one set of open access states."""

    hindsight: Vector
    first: Vector
    """Trying the group's repairs with one verification, from here; infinite where the route is an end."""
    again: Vector
    """The same after a verification has failed."""
    closing: float
    """Closing up after a verification."""
    closing_now: float
    """Closing up from here."""


class Leaf(NamedTuple):
    """Values of beliefs: of going on, with all of the price on doubt and with a part of it, and of stopping."""

    going_on: Vector
    lower: Vector
    stop: Vector
    chance: Vector
    late: Vector


class Planner:
    """Values beliefs in one problem; the belief and what is open may change, the rest may not."""

    def __init__(self, problem: Problem, dearer: float = DEARER) -> None:
        self.problem, self.dearer = problem, dearer
        self.ways = problem.ways
        self._paths, self.group, self._extra = self._routes()
        self.members = np.zeros((len(problem.states), len(self._paths)))
        self.members[np.arange(len(problem.states)), self.group] = 1.0
        ends = np.stack([end.cost for end in problem.ends], axis=1)
        self._ends = ends[:, [not end.proven for end in problem.ends]]
        self._give_up = float(self._ends.max(axis=0).min())
        self._reached: dict[int, Reach] = {}
        self._is_end = np.array([end >= 0 for _, end in self._paths])
        self._steps: list[tuple[tuple[int, int, int], ...]] = []
        own: list[float] = []
        parts: list[float] = []
        for repairs, end in self._paths:
            made: list[RepairMove | CheckMove] = [problem.repairs[i] for i in repairs]
            made += [problem.verify] if end < 0 else []
            self._steps.append(tuple((m.needs, m.shut, m.spoils) for m in made))
            own.append(sum(m.cost for m in made))
            parts.append(sum(m.cost - m.minutes for m in made))
        self._own = np.array(own)
        self._parts = np.array(parts)

    # -- hindsight -----------------------------------------------------------------------------------

    def _routes(self) -> tuple[list[tuple[tuple[int, ...], int]], NDArray[np.int64], Vector]:
        """Give each state its route: the repairs that clear it, and the end after them (-1: verified).

        The cheapest by each repair's own cost and its access from nothing open. Returns (routes, route of each state,
        what failing repairs and the end are expected to add in each state). A repair that failed is not simply done
        again: what else clears the state is done after it.
        """
        problem = self.problem
        reach, verifying, _ = self.ways.go(0, problem.verify.needs, problem.verify.shut)
        again = problem.verify.cost + reach + self.ways.close_all(verifying)[0]
        solo = []
        for repair in problem.repairs:
            cost, opened, _ = self.ways.go(0, repair.needs, repair.shut)
            solo.append(repair.cost + cost + self.ways.close_all(opened)[0])
        tos = [repair.to.tolist() for repair in problem.repairs]
        ends = np.stack([end.cost + NEVER * end.proven for end in problem.ends], axis=1).tolist()
        n = len(problem.states)
        changed = np.array([r.to for r in problem.repairs]).reshape(-1, n) != np.arange(n)
        works_of = [np.flatnonzero(column).tolist() for column in changed.T]
        best: dict[int, tuple[float, tuple[int, ...], int, float]] = {}

        def route(h: int) -> tuple[float, tuple[int, ...], int, float]:
            """Return (cost, repairs, end, what is added) of a state."""
            if h in best:
                return best[h]
            found: list[tuple[float, tuple[int, ...], int, float]] = []
            if problem.clear[h]:
                found.append((0.0, (), -1, 0.0))
            for i, cost in enumerate(ends[h]):
                found.append((cost, (), i, cost))
            works = works_of[h]
            for i in works:
                repair = problem.repairs[i]
                to = tos[i][h]
                others = [solo[j] for j in works if j != i and tos[j][h] == to]
                failing = (1 - repair.success) * (again + min(others, default=solo[i]))
                cost, rest, end_index, extra = route(to)
                found.append((solo[i] + failing + cost, (i, *rest), end_index, failing + extra))
            best[h] = min(found)
            return best[h]

        paths: dict[tuple[tuple[int, ...], int], int] = {}
        group = np.zeros(len(problem.states), dtype=np.int64)
        extra = np.zeros(len(problem.states))
        for h in range(len(problem.states)):
            _, repairs, end, extra[h] = route(h)
            group[h] = paths.setdefault((tuple(sorted(repairs)), end), len(paths))
        return list(paths), group, extra

    def routes(self) -> list[tuple[tuple[int, ...], int]]:
        """Return the routes by group: (repairs, end after them or -1 for verified)."""
        return self._paths

    def _followed(self, opened: int) -> Vector:
        """Return the cost of each route from here, closing up included."""
        along = self.ways.along
        return np.asarray(self._own + np.array([along(opened, steps) for steps in self._steps]))

    def reach(self, opened: int) -> Reach:
        """Return the costs by group from here."""
        found = self._reached.get(opened)
        if found is None:
            verify = self.problem.verify
            _, after, _ = self.ways.go(opened, verify.needs, verify.shut)
            after &= ~verify.spoils
            closing = self.ways.close_all(after)[0]
            here, later, ends = self._followed(opened), self._followed(after), self._is_end
            found = self._reached[opened] = Reach(
                hindsight=here,
                first=np.where(ends, np.inf, here - closing),
                again=np.where(ends, np.inf, later - closing),
                closing=closing,
                closing_now=self.ways.close_all(opened)[0],
            )
        return found

    def hindsight(self, opened: int) -> Vector:
        """Return, for each state, the cost from here if the state were known, with ``opened`` open."""
        return np.asarray(self.reach(opened).hindsight[self.group] + self._extra)

    # -- value ---------------------------------------------------------------------------------------

    def beliefs(self, p: Vector) -> Beliefs:
        """Return beliefs (…, states) as they are valued."""
        return Beliefs(p @ self.members, p @ self._extra, (p @ self._ends).min(axis=-1))

    def entropy(self, p: Vector) -> Vector:
        """Return the bits of doubt over what is to be repaired; the last axis of p runs over states."""
        return entropy(p @ self.members)

    def told_cost(self, b: Beliefs, opened: int) -> Vector:
        """Return the expected cost from each belief if the state were told now."""
        return np.asarray(b.groups @ self.reach(opened).hindsight + b.extra)

    def price(self, now: Vector, told: Vector, beyond: Vector) -> float:
        """Return the price of a bit of doubt, equivalent minutes, by the checks on offer: (checks,) each.

        ``beyond``: what a check costs beyond what hindsight pays anyway; ``told``: bits.
        """
        telling = told > TELLS
        if not telling.any():
            return NO_CHECKS
        least = float((np.maximum(beyond[telling], 0.0) / told[telling]).min())
        return min(max(self.dearer * least, LEAST_PRICE), MOST_PRICE)

    def leaf(self, b: Beliefs, opened: int, price: float, part: float, left: Vector | None) -> Leaf:
        """Return the values of beliefs with ``opened`` open. ``part``: of the price, for the lower value.

        ``left``: minutes left at each belief, None where nobody waits; then chance and lateness are empty.
        """
        reach = self.reach(opened)
        told = np.asarray(b.groups @ reach.hindsight + b.extra)
        doubt = price * entropy(b.groups)
        trying, chance, late = self._trying(b, opened, left)
        asking = told + doubt
        if left is not None:
            # What the plan is, decides by when it is done: asking takes as long as it is valued at.
            minutes = reach.hindsight - self._parts + doubt[..., None] - np.expand_dims(left, -1)
            asked = asking < trying
            chance = np.where(asked, (b.groups * (minutes <= 0)).sum(axis=-1), chance)
            late = np.where(asked, (b.groups * np.maximum(minutes, 0.0)).sum(axis=-1), late)
        return Leaf(
            np.minimum(asking, trying),
            np.minimum(told + part * doubt, trying),
            b.stop + reach.closing_now,
            chance,
            late,
        )

    def _trying(self, b: Beliefs, opened: int, left: Vector | None) -> tuple[Vector, Vector, Vector]:
        """Return what trying repairs by probability per minute until one verifies costs, with chance and lateness.

        The verification is taken at its word; what is not worth trying any more is given up.
        """
        reach = self.reach(opened)
        finite = np.isfinite(reach.first)
        shape = b.groups.shape[:-1]
        nothing = np.zeros(shape)
        if not finite.any():
            return np.full(shape, np.inf), nothing, nothing
        mass = b.groups[..., finite]
        first, again = np.maximum(reach.first[finite], 1e-9), np.maximum(reach.again[finite], 1e-9)
        rate = mass / again
        lead = np.argmax(mass / first, axis=-1)[..., None]
        np.put_along_axis(rate, lead, np.inf, axis=-1)
        order = np.argsort(-rate, axis=-1, kind="stable")
        mass = np.take_along_axis(mass, order, axis=-1)
        after = 1.0 - np.cumsum(mass, axis=-1)
        cost = again[order]
        cost[..., 0] = first[lead[..., 0]]
        spent = np.cumsum((after + mass) * cost, axis=-1)
        value = np.asarray((spent + after * self._give_up).min(axis=-1) + reach.closing + b.extra)
        if left is None:
            return value, nothing, nothing
        minutes = np.cumsum(cost - self._parts[finite][order], axis=-1) + reach.closing - left[..., None]
        over = mass * np.maximum(minutes, 0.0)
        late = over.sum(axis=-1) + (1 - mass.sum(axis=-1)) * np.maximum(minutes[..., -1], 0.0)
        return value, (mass * (minutes <= 0)).sum(axis=-1), late

    # -- moves ---------------------------------------------------------------------------------------

    def moves(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> tuple[Valued, ...]:
        """Return every move valued one step ahead, least expected cost first, ties by kind and name.

        ``usable``: indices of the checks that may be asked now; default all.
        """
        from isolate.reasoning.lookahead import Lookahead

        asked = {} if usable is None else {i: None for i in range(len(self.problem.checks)) if i not in set(usable)}
        start = self.problem.start()
        position = Position(p, opened, asked, proofs=start.proofs, proven=start.proven)
        return Lookahead(self.problem, position, planner=self).run(1).moves()

    def best(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> Valued:
        """Return the move to make next."""
        return self.moves(p, opened, usable)[0]

    def repaired(self, p: Vector, repair: int) -> Vector:
        """Return the belief after a repair."""
        move = self.problem.repairs[repair]
        after = np.array(p * (1 - move.success))
        np.add.at(after, move.to, p * move.success)
        return after


def entropy(groups: Vector) -> Vector:
    """Return the entropy in bits along the last axis."""
    logs = np.log2(groups, out=np.zeros_like(groups), where=groups > 0)
    return np.asarray(-(groups * logs).sum(axis=-1))

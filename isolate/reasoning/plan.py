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


class Rows(NamedTuple):
    """Beliefs as they are valued, one a row."""

    groups: Vector
    """Probability of each group of states with one route, shape (rows, groups)."""
    extra: Vector
    """Expected cost of failing repairs and of ends, which no access changes."""
    stop: Vector
    """Cost of the cheapest end, closing up apart."""


class Reach(NamedTuple):
    """Costs by group from some sets of open access states, shape (sets, groups); ``at``: the set of each row."""

    at: NDArray[np.int64]
    hindsight: Vector
    first: Vector
    """Trying the group's repairs with one verification, from here; infinite where the route is an end."""
    again: Vector
    """The same after a verification has failed."""
    closing: Vector
    """Closing up after a verification, (sets,)."""
    closing_now: Vector
    """Closing up from here, (sets,)."""


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
        ends = np.stack([end.cost for end in problem.ends if not end.proven], axis=1)
        self._give_up = float(ends.max(axis=0).min())
        self._columns = np.concatenate([self.members, self._extra[:, None], ends], axis=1)
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
        self._routed = self.ways.routes.columns(self._steps)

    # -- hindsight -----------------------------------------------------------------------------------

    def _routes(self) -> tuple[list[tuple[tuple[int, ...], int]], NDArray[np.int64], Vector]:
        """Give each state its route: the repairs that clear it, and the end after them (-1: verified).

        The cheapest by each repair's own cost and its access from nothing open. Returns (routes, route of each state,
        what failing repairs and the end are expected to add in each state). A repair that failed is not simply done
        again: what else clears the state is done after it.
        """
        problem = self.problem
        n = len(problem.states)
        reach, verifying, _ = self.ways.go(0, problem.verify.needs, problem.verify.shut)
        again = problem.verify.cost + reach + self.ways.close_all(verifying)[0]
        solo = np.zeros(len(problem.repairs))
        for i, repair in enumerate(problem.repairs):
            cost, opened, _ = self.ways.go(0, repair.needs, repair.shut)
            solo[i] = repair.cost + cost + self.ways.close_all(opened)[0]
        success = np.array([repair.success for repair in problem.repairs])
        ends = np.stack([end.cost + NEVER * end.proven for end in problem.ends])
        end = np.where(problem.clear, -1, ends.argmin(axis=0))
        least = np.where(problem.clear, 0.0, ends.min(axis=0))

        # What each repair does in each state it changes, by state, target and cost; the first two of a state and
        # target tell what else leads there.
        made, state = np.nonzero(problem.targets != np.arange(n))
        target = problem.targets[made, state]
        order = np.lexsort((made, solo[made], target, state))
        made, state, target = made[order], state[order], target[order]
        own = solo[made]
        start = np.flatnonzero(np.diff(state * n + target, prepend=-1))
        size = np.diff(np.append(start, len(made)))
        place = np.arange(len(made)) - np.repeat(start, size)
        cheapest = np.repeat(own[start], size)
        second = np.repeat(own[start + (size > 1)] if len(start) else own, size)
        failing = (1 - success[made]) * (again + np.where(place == 0, second, cheapest))

        # The cheapest chain of repairs, as many rounds as there are faults at once.
        firsts = np.flatnonzero(np.diff(state, prepend=-1))
        value, chosen = least, np.full(n, -1)
        while len(made):
            ahead = own + failing + value[target]
            lowest = np.minimum.reduceat(ahead, firsts)
            better = least.copy()
            better[state[firsts]] = np.minimum(least[state[firsts]], lowest)
            is_lowest = np.flatnonzero(ahead <= np.repeat(lowest, np.diff(np.append(firsts, len(made)))))
            chosen = np.full(n, -1)
            chosen[state[is_lowest[::-1]]] = is_lowest[::-1]
            chosen[better >= least] = -1
            if np.array_equal(better, value):
                break
            value = better

        paths: dict[tuple[tuple[int, ...], int], int] = {}
        group = np.zeros(n, dtype=np.int64)
        extra = np.zeros(n)
        picks, targets, repairs = chosen.tolist(), target.tolist(), made.tolist()
        fails, last, closes = failing.tolist(), end.tolist(), least.tolist()
        for h in range(n):
            chain: list[int] = []
            added, at = 0.0, h
            while (pick := picks[at]) >= 0:
                chain.append(repairs[pick])
                added += fails[pick]
                at = targets[pick]
            extra[h] = added + closes[at]
            group[h] = paths.setdefault((tuple(sorted(chain)), last[at]), len(paths))
        return list(paths), group, extra

    def routes(self) -> list[tuple[tuple[int, ...], int]]:
        """Return the routes by group: (repairs, end after them or -1 for verified)."""
        return self._paths

    def reach(self, opened: Sequence[int]) -> Reach:
        """Return the costs by group from each of these sets of open access states; equal ones are worked out once."""
        index: dict[int, int] = {}
        at = np.array([index.setdefault(state, len(index)) for state in opened], dtype=np.int64)
        sets = list(index)
        verify, ways = self.problem.verify, self.ways
        after = [ways.go(state, verify.needs, verify.shut)[1] & ~verify.spoils for state in sets]
        costs = self._own + ways.routes.costs([*sets, *after], self._routed)
        here, later = costs[: len(sets)], costs[len(sets) :]
        closing = np.array([ways.close_all(state)[0] for state in after])
        return Reach(
            at,
            here,
            np.where(self._is_end, np.inf, here - closing[:, None]),
            np.where(self._is_end, np.inf, later - closing[:, None]),
            closing,
            np.array([ways.close_all(state)[0] for state in sets]),
        )

    def hindsight(self, opened: int) -> Vector:
        """Return, for each state, the cost from here if the state were known, with ``opened`` open."""
        return np.asarray(self.reach([opened]).hindsight[0, self.group] + self._extra)

    # -- value ---------------------------------------------------------------------------------------

    def rows(self, p: Vector) -> Rows:
        """Return beliefs (rows, states) as they are valued."""
        made = p @ self._columns
        count = len(self._paths)
        return Rows(made[:, :count], made[:, count], made[:, count + 1 :].min(axis=1))

    def entropy(self, p: Vector) -> Vector:
        """Return the bits of doubt over what is to be repaired; the last axis of p runs over states."""
        return entropy(p @ self.members)

    def told_cost(self, b: Rows, reach: Reach) -> Vector:
        """Return the expected cost from each belief if the state were told now."""
        return np.asarray((b.groups * reach.hindsight[reach.at]).sum(axis=1) + b.extra)

    def price(self, told: Vector, beyond: Vector) -> float:
        """Return the price of a bit of doubt, equivalent minutes, by the checks on offer: (checks,) each.

        ``beyond``: what a check costs beyond what hindsight pays anyway; ``told``: bits.
        """
        telling = told > TELLS
        if not telling.any():
            return NO_CHECKS
        least = float((np.maximum(beyond[telling], 0.0) / told[telling]).min())
        return min(max(self.dearer * least, LEAST_PRICE), MOST_PRICE)

    def leaf(self, b: Rows, reach: Reach, bits: Vector, price: float, part: float, left: Vector | None) -> Leaf:
        """Return the values of beliefs, each from its own open set. ``part``: of the price, for the lower value.

        ``bits``: of doubt in each. ``left``: minutes left at each, None where nobody waits; then chance and lateness
        are zero.
        """
        told = self.told_cost(b, reach)
        doubt = price * bits
        trying, chance, late = self._trying(b, reach, left)
        asking = told + doubt
        if left is not None:
            # What the plan is, decides by when it is done. Asking is valued at its mean: it may take anything from
            # nothing to twice as long.
            spread = np.maximum(2 * doubt, 1e-9)[:, None]
            slack = left[:, None] - (reach.hindsight[reach.at] - self._parts)
            in_time = np.clip(slack / spread, 0.0, 1.0)
            beyond = np.where(slack <= 0, spread / 2 - slack, np.maximum(spread - slack, 0.0) ** 2 / (2 * spread))
            asked = asking < trying
            chance = np.where(asked, (b.groups * in_time).sum(axis=1), chance)
            late = np.where(asked, (b.groups * beyond).sum(axis=1), late)
        return Leaf(
            np.minimum(asking, trying),
            np.minimum(told + part * doubt, trying),
            b.stop + reach.closing_now[reach.at],
            chance,
            late,
        )

    def _trying(self, b: Rows, reach: Reach, left: Vector | None) -> tuple[Vector, Vector, Vector]:
        """Return what trying repairs by probability per minute until one verifies costs, with chance and lateness.

        The verification is taken at its word; what is not worth trying any more is given up.
        """
        finite = ~self._is_end
        count = len(b.extra)
        nothing = np.zeros(count)
        if not finite.any():
            return np.full(count, np.inf), nothing, nothing
        mass = b.groups[:, finite]
        first = np.maximum(reach.first[:, finite], 1e-9)[reach.at]
        again = np.maximum(reach.again[:, finite], 1e-9)[reach.at]
        rate = mass / again
        each = np.arange(count)
        lead = np.argmax(mass / first, axis=1)
        rate[each, lead] = np.inf
        order = np.argsort(-rate, axis=1, kind="stable")
        row = each[:, None]
        mass = mass[row, order]
        after = 1.0 - np.cumsum(mass, axis=1)
        cost = again[row, order]
        cost[:, 0] = first[each, lead]
        spent = np.cumsum((after + mass) * cost, axis=1)
        closing = reach.closing[reach.at]
        value = np.asarray((spent + after * self._give_up).min(axis=1) + closing + b.extra)
        if left is None:
            return value, nothing, nothing
        minutes = np.cumsum(cost - self._parts[finite][order], axis=1) + (closing - left)[:, None]
        late = (mass * np.maximum(minutes, 0.0)).sum(axis=1)
        late += (1 - mass.sum(axis=1)) * np.maximum(minutes[:, -1], 0.0)
        return value, (mass * (minutes <= 0)).sum(axis=1), late

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
    return np.asarray(-(groups * np.log2(np.maximum(groups, 1e-300))).sum(axis=-1))

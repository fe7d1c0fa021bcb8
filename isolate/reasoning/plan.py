"""The next move: the one after which the expected cost to a verified, closed-up aircraft is least.

One step is looked ahead: each check with all its outcomes, each repair with and without the verification right
behind it, verifying now, and each way to end. What follows is valued by hindsight plus doubt: the expected cost if
the state were told now (access, repairs, one verification, closing), plus ``DOUBT`` minutes for each bit of entropy
left over what is to be repaired. Two states cleared by the same repairs are no doubt at all.

On random problems of realistic size this came to about two thirds of the minutes of "most information per minute"
(``tests/bench``). The expected minutes are an estimate, not a bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.problem import Crossed, Problem, Vector

DOUBT = 25.0
"""Equivalent minutes for each bit of entropy left; flat within about 1 % from 20 to 30 (``tests/bench``)."""

Kind = Literal["check", "repair", "verify", "end"]
ORDER: dict[Kind, int] = {"check": 0, "verify": 1, "repair": 2, "end": 3}


@dataclass(frozen=True)
class Valued:
    """A move with its figures, in equivalent minutes.

    ``expected``: to the end of the case if this is done next. ``now``: the crossings and the move itself.
    ``told``: bits of doubt it is expected to remove. ``outcomes``: probability of each outcome (checks, verify).
    """

    kind: Kind
    name: str
    expected: float
    now: float
    told: float
    outcomes: tuple[float, ...]
    crossings: tuple[Crossed, ...]


class Planner:
    """Values moves in one problem; the belief and what is open may change, the rest may not."""

    def __init__(self, problem: Problem, doubt: float = DOUBT) -> None:
        self.problem, self.doubt = problem, doubt
        self.ways = problem.ways
        self._paths, self.group = self._routes()
        self.members = np.zeros((len(problem.states), len(self._paths)))
        self.members[np.arange(len(problem.states)), self.group] = 1.0
        self._hindsight: dict[int, Vector] = {}
        self._attempts: dict[int, tuple[Vector, Vector, float]] = {}

    # -- hindsight -----------------------------------------------------------------------------------

    def _routes(self) -> tuple[list[tuple[tuple[int, ...], int]], NDArray[np.int64]]:
        """Give each state the repairs that clear it, and the end after them (-1: verified, else an end's index).

        The cheapest by each repair's own cost and its access from nothing open; states with one route are a group.
        """
        problem = self.problem
        _, verifying, _ = self.ways.go(0, problem.verify.needs, problem.verify.shut)
        again = problem.verify.cost + self.ways.go(0, problem.verify.needs, problem.verify.shut)[0]
        again += self.ways.close_all(verifying)[0]
        solo = []
        for repair in problem.repairs:
            cost, opened, _ = self.ways.go(0, repair.needs, repair.shut)
            solo.append(repair.cost + cost + self.ways.close_all(opened)[0])
        best: dict[int, tuple[float, tuple[int, ...], int, float]] = {}

        def route(h: int) -> tuple[float, tuple[int, ...], int, float]:
            """Return (cost, repairs, end, what failing repairs are expected to add) of a state."""
            if h in best:
                return best[h]
            found: list[tuple[float, tuple[int, ...], int, float]] = []
            if problem.clear[h]:
                found.append((0.0, (), -1, 0.0))
            found += [(float(end.cost[h]), (), i, 0.0) for i, end in enumerate(problem.ends)]
            works = [i for i, repair in enumerate(problem.repairs) if int(repair.to[h]) != h]
            for i in works:
                repair = problem.repairs[i]
                to = int(repair.to[h])
                # A repair that failed is not simply done again: what else clears the state is done after it.
                others = [solo[j] for j in works if j != i and int(problem.repairs[j].to[h]) == to]
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
        self._extra = extra + np.array([self._ending(h, paths, group) for h in range(len(problem.states))])
        return list(paths), group

    def _ending(self, h: int, paths: dict[tuple[tuple[int, ...], int], int], group: NDArray[np.int64]) -> float:
        end = list(paths)[int(group[h])][1]
        return 0.0 if end < 0 else float(self.problem.ends[end].cost[h])

    def hindsight(self, opened: int) -> Vector:
        """Return, for each state, the cost from here if the state were known, with ``opened`` open."""
        found = self._hindsight.get(opened)
        if found is None:
            costs = np.array([self._follow(repairs, end, opened) for repairs, end in self._paths])
            found = self._hindsight[opened] = costs[self.group] + self._extra
        return found

    def _follow(self, repairs: Sequence[int], end: int, opened: int) -> float:
        cost = 0.0
        for i in repairs:
            repair = self.problem.repairs[i]
            step, opened, _ = self.ways.go(opened, repair.needs, repair.shut)
            opened &= ~repair.spoils
            cost += step + repair.cost
        if end < 0:
            verify = self.problem.verify
            step, opened, _ = self.ways.go(opened, verify.needs, verify.shut)
            opened &= ~verify.spoils
            cost += step + verify.cost
        return cost + self.ways.close_all(opened)[0]

    def entropy(self, p: Vector) -> Vector:
        """Return the bits of doubt over what is to be repaired; the last axis of p runs over states."""
        groups = p @ self.members
        with np.errstate(divide="ignore", invalid="ignore"):
            terms = np.where(groups > 0, groups * np.log2(groups), 0.0)
        return np.asarray(-terms.sum(axis=-1))

    def attempts(self, opened: int) -> tuple[Vector, Vector, float]:
        """Return each group's cost of trying it: from here, and again after a failed verification; and of closing up.

        Trying is the group's repairs and one verification. Groups that end otherwise cost infinitely much.
        """
        found = self._attempts.get(opened)
        if found is None:
            problem = self.problem
            _, after, _ = self.ways.go(opened, problem.verify.needs, problem.verify.shut)
            after &= ~problem.verify.spoils
            closing = self.ways.close_all(after)[0]
            first, again = (
                np.array(
                    [
                        np.inf if end >= 0 else self._follow(repairs, end, state) - closing
                        for repairs, end in self._paths
                    ]
                )
                for state in (opened, after)
            )
            found = self._attempts[opened] = (first, again, closing)
        return found

    def trying(self, p: Vector, opened: int) -> Vector:
        """Return the expected cost of trying repairs by probability per minute until one verifies, asking nothing.

        p: (..., states). The verification is taken at its word; what nothing cures is escalated at the end.
        """
        first, again, closing = self.attempts(opened)
        groups = p @ self.members
        finite = np.isfinite(first)
        if not finite.any():
            return np.full(groups.shape[:-1], np.inf)
        mass = groups[..., finite]
        first, again = first[finite], again[finite]
        rate = mass / again
        lead = np.argmax(mass / first, axis=-1)
        np.put_along_axis(rate, lead[..., None], np.inf, axis=-1)
        order = np.argsort(-rate, axis=-1, kind="stable")
        sorted_mass = np.take_along_axis(mass, order, axis=-1)
        left = 1.0 - np.cumsum(sorted_mass, axis=-1) + sorted_mass
        cost = np.take(again, order)
        cost[..., 0] = np.take(first, lead)
        # Trying stops where giving up costs less than going on for what is left.
        give_up = min(float(end.cost.max()) for end in self.problem.ends)
        spent = np.cumsum(left * cost, axis=-1)
        after = left - sorted_mass
        stopping = spent + after * give_up
        return np.asarray(stopping.min(axis=-1) + closing)

    def value(self, p: Vector, opened: int) -> float:
        """Return the estimated cost from belief p (normalised) with ``opened`` open."""
        return float(self.values(p, opened))

    def values(self, p: Vector, opened: int) -> Vector:
        """Return the estimated cost from each belief p[..., states] (normalised) with ``opened`` open."""
        asking = p @ self.hindsight(opened) + self.doubt * self.entropy(p)
        closing = self.ways.close_all(opened)[0]
        stop = np.stack([p @ end.cost for end in self.problem.ends]).min(axis=0) + closing
        return np.asarray(np.minimum(np.minimum(asking, self.trying(p, opened)), stop))

    # -- moves ---------------------------------------------------------------------------------------

    def moves(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> tuple[Valued, ...]:
        """Return every move valued, least expected cost first, ties by kind and name.

        ``usable``: indices of the checks that may be asked now; default all.
        """
        found = [*self._checks(p, opened, usable), *self._repairs(p, opened), self._verify(p, opened)]
        closing, _, crossings = self.ways.close_all(opened)
        for end in self.problem.ends:
            cost = closing + float(p @ end.cost)
            found.append(Valued("end", end.name, cost, closing, 0.0, (), crossings))
        return tuple(sorted(found, key=lambda m: (round(m.expected, 9), ORDER[m.kind], m.name)))

    def best(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> Valued:
        """Return the move to make next."""
        return self.moves(p, opened, usable)[0]

    def _checks(self, p: Vector, opened: int, usable: Sequence[int] | None) -> list[Valued]:
        problem = self.problem
        which = list(range(len(problem.checks)) if usable is None else usable)
        if not which:
            return []
        went = [self.ways.go(opened, problem.checks[i].needs, problem.checks[i].shut) for i in which]
        after = [state & ~problem.checks[i].spoils for i, (_, state, _) in zip(which, went, strict=True)]
        joint = problem.padded[which] * p  # (checks, outcomes, states)
        chance = joint.sum(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            posterior = np.where(chance[..., None] > 0, joint / chance[..., None], 0.0)
        doubt = self.entropy(posterior)
        ahead = np.empty(chance.shape)
        for state in set(after):
            rows = [k for k, other in enumerate(after) if other == state]
            ahead[rows] = self.values(posterior[rows], state)
        now = np.array([cost for cost, _, _ in went]) + np.array([problem.checks[i].cost for i in which])
        expected = now + (chance * ahead).sum(axis=1)
        told = float(self.entropy(p)) - (chance * doubt).sum(axis=1)
        return [
            Valued(
                "check",
                problem.checks[i].name,
                float(expected[k]),
                float(now[k]),
                float(told[k]),
                tuple(float(x) for x in chance[k, : problem.checks[i].likelihood.shape[0]]),
                went[k][2],
            )
            for k, i in enumerate(which)
        ]

    def _verified(self, p: Vector, opened: int) -> tuple[float, float, float, tuple[float, ...], tuple[Crossed, ...]]:
        """Return (expected, now, told, outcome probabilities, crossings) of verifying."""
        verify = self.problem.verify
        cost, state, crossings = self.ways.go(opened, verify.needs, verify.shut)
        state &= ~verify.spoils
        joint = verify.likelihood * p
        chance = joint.sum(axis=1)
        closing = self.ways.close_all(state)[0]
        left = float(joint[0] @ ~self.problem.clear)
        expected = cost + verify.cost + chance[0] * closing + left * self.problem.missed
        doubt = 0.0
        for k in range(len(chance)):
            if chance[k] > 0:
                posterior = joint[k] / chance[k]
                doubt += float(chance[k]) * float(self.entropy(posterior))
                if k:
                    expected += float(chance[k]) * self.value(posterior, state)
        told = float(self.entropy(p)) - doubt
        return float(expected), cost + verify.cost, told, tuple(float(x) for x in chance), crossings

    def _verify(self, p: Vector, opened: int) -> Valued:
        expected, now, told, chance, crossings = self._verified(p, opened)
        return Valued("verify", self.problem.verify.name, expected, now, told, chance, crossings)

    def repaired(self, p: Vector, repair: int) -> Vector:
        """Return the belief after a repair."""
        move = self.problem.repairs[repair]
        after = np.array(p * (1 - move.success))
        np.add.at(after, move.to, p * move.success)
        return after

    def _repairs(self, p: Vector, opened: int) -> list[Valued]:
        found = []
        for i, repair in enumerate(self.problem.repairs):
            cleared = float(p[repair.to != np.arange(len(p))].sum())
            if cleared < 1e-3:
                continue
            cost, state, crossings = self.ways.go(opened, repair.needs, repair.shut)
            state &= ~repair.spoils
            after = self.repaired(p, i)
            now = cost + repair.cost
            ahead = min(self.value(after, state), self._verified(after, state)[0])
            found.append(Valued("repair", repair.name, now + ahead, now, 0.0, (cleared,), crossings))
        return found

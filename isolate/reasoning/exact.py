"""The optimum of small problems, by dynamic programming over everything that may have been seen and done.

It serves problems in which the belief follows from the answers and the repairs tried, in whatever order they came:
single faults, each repair making its states clear, each followed at once by a verification that shows for sure
whether the state is clear, and checks that are asked once. Then a position is (answers, repairs tried, access open,
whether a verification has failed), and all of them are valued, last first: test sequencing (Pattipati & Alexandridis
1990) with repairs and shared access. Exponential in checks and repairs; :mod:`isolate.reasoning.search` takes the rest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.problem import Move, Problem, Vector

MOST_POSITIONS = 60_000_000
"""A table of more positions than this is not made."""

Index = NDArray[np.int64]


class Table:
    """The least expected cost from every position of a problem. Raises ValueError where it is not such a problem."""

    def __init__(self, problem: Problem) -> None:
        why = misfit(problem)
        if why:
            raise ValueError(f"no exact table: {why}")
        self.problem = problem
        self.ways = problem.ways
        self.opens = self._reachable()
        self._place = {opened: i for i, opened in enumerate(self.opens)}
        self._radix = [len(c.likelihood) + 1 for c in problem.checks]
        self._stride = [int(np.prod(self._radix[i + 1 :])) for i in range(len(self._radix))]
        self.size = int(np.prod(self._radix)) if self._radix else 1
        total = self.size * len(self.opens) * ((1 << len(problem.repairs)) + 1)
        if total > MOST_POSITIONS:
            raise ValueError(f"no exact table: {total:,} positions, more than {MOST_POSITIONS:,}")
        self._weight = self._weights()
        self._layers = self._asked_layers()
        self._cost, self._first = self._solved()

    def cost(self) -> float:
        """Return the least expected cost, equivalent minutes."""
        return self._cost

    def best(self) -> tuple[float, Move]:
        """Return the least expected cost and the first move, ties by kind and name."""
        return self._cost, self._first

    # -- laying it out -------------------------------------------------------------------------------

    def _reachable(self) -> tuple[int, ...]:
        problem, go = self.problem, self.ways.go
        moves = (*problem.checks, problem.verify)
        found, todo = {problem.open: None}, [problem.open]
        while todo:
            opened = todo.pop()
            after = [go(opened, m.needs, m.shut)[1] & ~m.spoils for m in moves]
            for r in problem.repairs:
                mended = go(opened, r.needs, r.shut)[1] & ~r.spoils
                after.append(go(mended, problem.verify.needs, problem.verify.shut)[1] & ~problem.verify.spoils)
            for state in after:
                if state not in found:
                    found[state] = None
                    todo.append(state)
        return tuple(found)

    def _weights(self) -> Vector:
        """Return P(answers | state) for all combinations of answers, shape (combinations, states)."""
        table = np.ones((1, len(self.problem.states)))
        for check in self.problem.checks:
            rows = np.concatenate([np.ones((1, table.shape[1])), check.likelihood])
            table = (table[:, None, :] * rows[None, :, :]).reshape(-1, table.shape[1])
        return table

    def _asked_layers(self) -> list[Index]:
        """Return the combinations of answers by how many were given."""
        number = np.arange(self.size)
        asked = np.zeros(self.size, dtype=np.int64)
        for radix, stride in zip(self._radix, self._stride, strict=True):
            asked += number // stride % radix > 0
        return [np.flatnonzero(asked == a) for a in range(len(self._radix) + 1)]

    def _going(self, needs: int, shut: int, spoils: int) -> tuple[Vector, Index]:
        """Return the cost of a move's crossings from each open set, and the place of the set after it."""
        went = [self.ways.go(opened, needs, shut) for opened in self.opens]
        after = [self._place.get(state & ~spoils, -1) for _, state, _ in went]
        return np.array([cost for cost, _, _ in went]), np.array(after)

    # -- solving -------------------------------------------------------------------------------------

    def _solved(self) -> tuple[float, Move]:
        """Value all positions, most repairs first and most answers first; return the start's value and move."""
        problem = self.problem
        count = len(problem.repairs)
        closing = np.array([self.ways.close_all(opened)[0] for opened in self.opens])
        ends = np.stack([e.cost for e in problem.ends if not e.proven])
        checks = [(self._going(c.needs, c.shut, c.spoils), c.cost) for c in problem.checks]
        proof = self._going(problem.verify.needs, problem.verify.shut, problem.verify.spoils)
        mended = []
        for r in problem.repairs:
            costs: list[float] = []
            after: list[int] = []
            for opened in self.opens:
                cost, state, _ = self.ways.go(opened, r.needs, r.shut)
                more, state, _ = self.ways.go(state & ~r.spoils, problem.verify.needs, problem.verify.shut)
                costs.append(cost + more + r.cost + problem.verify.cost)
                after.append(self._place[state & ~problem.verify.spoils])
            mended.append((np.array(costs), np.array(after)))
        may_verify = problem.proofs < problem.verify.most
        clear = self._weight[:, problem.clear] @ problem.p[problem.clear]
        groups: list[list[int]] = [[] for _ in range(count + 1)]
        for done in range(1 << count):
            groups[done.bit_count()].append(done)
        upper: dict[int, Vector] = {}
        value = np.zeros((self.size, len(self.opens)))
        moves: list[tuple[float, Move]] = []
        for level in range(count, -1, -1):
            here: dict[int, Vector] = {}
            for done in groups[level]:
                here[done] = self._valued(done, True, upper, closing, ends, checks, mended, clear)
            if level == 0:
                verified = None
                start = self._place[problem.open]
                if may_verify:
                    # Verifying first: what passes is clear, the rest goes on as after a failed verification.
                    going, places = proof
                    mass = self._weight @ problem.p
                    verified = (going + problem.verify.cost) * mass[:, None] + clear[:, None] * closing[places]
                    verified = verified + here[0][:, places]
                    moves.append((float(verified[0, start]), Move("verify", problem.verify.name)))
                value = self._valued(0, False, upper, closing, ends, checks, mended, clear, verified)
                moves += self._moves(value, upper, closing, ends, checks, mended)
            upper = here
        order = {"check": 0, "verify": 1, "repair": 2, "end": 3}
        cost, move = min(moves, key=lambda m: (round(m[0], 9), order[m[1].kind], m[1].name))
        return cost, move

    def _masses(self, done: int, ruled_out: bool) -> Vector:
        """Return the unnormalised belief after each combination of answers with these repairs tried and failed."""
        problem = self.problem
        p = problem.p.copy()
        for i, repair in enumerate(problem.repairs):
            if done >> i & 1:
                p = np.where(repair.to != np.arange(len(p)), p * (1 - repair.success), p)
        if ruled_out:
            p = np.where(problem.clear, 0.0, p)
        return np.asarray(self._weight * p)

    def _valued(
        self,
        done: int,
        ruled_out: bool,
        upper: dict[int, Vector],
        closing: Vector,
        ends: Vector,
        checks: list[tuple[tuple[Vector, Index], float]],
        mended: list[tuple[Vector, Index]],
        clear: Vector,
        verified: Vector | None = None,
    ) -> Vector:
        problem = self.problem
        belief = self._masses(done, ruled_out)
        mass = belief.sum(axis=1)
        value = closing[None, :] * mass[:, None] + (belief @ ends.T).min(axis=1)[:, None]
        if verified is not None:
            np.minimum(value, verified, out=value)
        for i, repair in enumerate(problem.repairs):
            if done >> i & 1:
                continue
            cost, after = mended[i]
            passed = repair.success * belief[:, repair.to != np.arange(belief.shape[1])].sum(axis=1)
            if not ruled_out:
                passed = passed + clear
            tried = cost * mass[:, None] + passed[:, None] * closing[after] + upper[done | 1 << i][:, after]
            np.minimum(value, tried, out=value)
        for layer in reversed(self._layers[:-1]):
            for i, ((cost, after), own) in enumerate(checks):
                rows = layer[layer // self._stride[i] % self._radix[i] == 0]
                asked = (cost + own) * mass[rows, None]
                for outcome in range(1, self._radix[i]):
                    asked += value[rows + outcome * self._stride[i]][:, after]
                value[rows] = np.minimum(value[rows], asked)
        return np.asarray(value)

    def _moves(
        self,
        value: Vector,
        upper: dict[int, Vector],
        closing: Vector,
        ends: Vector,
        checks: list[tuple[tuple[Vector, Index], float]],
        mended: list[tuple[Vector, Index]],
    ) -> list[tuple[float, Move]]:
        """Return the moves at the start with their costs, verifying apart."""
        problem, at = self.problem, self._place[self.problem.open]
        found: list[tuple[float, Move]] = []
        for end, cost in zip([e for e in problem.ends if not e.proven], (ends @ problem.p).tolist(), strict=True):
            found.append((float(closing[at]) + cost, Move("end", end.name)))
        for i, ((going, after), own) in enumerate(checks):
            ahead = sum(value[k * self._stride[i], after[at]] for k in range(1, self._radix[i]))
            found.append((float(going[at] + own + ahead), Move("check", problem.checks[i].name)))
        for i, repair in enumerate(problem.repairs):
            going, after = mended[i]
            passed = repair.success * problem.p[repair.to != np.arange(len(problem.p))].sum()
            passed += problem.p[problem.clear].sum()
            ahead = passed * closing[after[at]] + upper[1 << i][0, after[at]]
            found.append((float(going[at] + ahead), Move("repair", repair.name)))
        return found


def misfit(problem: Problem) -> str:
    """Return why a problem is not of the kind that :class:`Table` solves, empty where it is."""
    if problem.repairs and not problem.prove_each:
        return "the verification need not follow each repair at once"
    if any(c.most > 1 for c in problem.checks):
        return "a check may be asked more than once"
    if any(r.most > 1 or r.renews for r in problem.repairs):
        return "a repair may be done more than once, or makes checks as new"
    if problem.remaining <= 0:
        return "no pass ever ends it"
    if problem.unproved:
        return "a repair waits for its verification"
    if problem.proven:
        return "a verification has passed already"
    if problem.repairs and not np.array_equal(problem.verify.likelihood[0] > 0.5, problem.clear):
        return "the verification does not show whether the state is clear"
    if problem.repairs and not np.isin(problem.verify.likelihood[0], (0.0, 1.0)).all():
        return "the verification is not sure"
    if not problem.repairs and problem.proofs < problem.verify.most:
        sure = np.isin(problem.verify.likelihood[0], (0.0, 1.0)).all()
        if not sure or not np.array_equal(problem.verify.likelihood[0] > 0.5, problem.clear):
            return "the verification is not sure"
    for repair in problem.repairs:
        moved = repair.to != np.arange(len(problem.p))
        if (problem.clear & moved).any() or not problem.clear[repair.to[moved]].all():
            return f"repair {repair.name} leaves a fault"
    return ""


__all__ = ["MOST_POSITIONS", "Table", "misfit"]

"""The optimum of small problems that are all asking: checks and ends, nothing to repair and nothing to open.

Test sequencing (Pattipati & Alexandridis 1990) by dynamic programming over what has been answered: every order of
checks is tried, each belief is solved once. Exponential in the number of checks; for problems with repairs or access
:mod:`isolate.reasoning.plan` looks ahead instead.
"""

from __future__ import annotations

import numpy as np

from isolate.reasoning.problem import Problem, Vector

MOST_CHECKS = 12


class Sequencing:
    """Optimal test sequencing in one problem. Raises ValueError where it is not such a problem."""

    def __init__(self, problem: Problem) -> None:
        if problem.repairs or problem.access:
            raise ValueError("exact sequencing is for problems without repairs and access")
        if len(problem.checks) > MOST_CHECKS:
            raise ValueError(f"exact sequencing is for at most {MOST_CHECKS} checks, not {len(problem.checks)}")
        self.problem = problem
        self._known: dict[tuple[tuple[int, int], ...], tuple[float, int]] = {}

    def best(self) -> tuple[float, str]:
        """Return the least expected cost (equivalent minutes) and the first move's name."""
        cost, move = self._solve((), self.problem.p)
        return cost, self._name(move)

    def cost(self) -> float:
        """Return the least expected cost, equivalent minutes."""
        return self._solve((), self.problem.p)[0]

    def _name(self, move: int) -> str:
        count = len(self.problem.checks)
        return self.problem.checks[move].name if move < count else self.problem.ends[move - count].name

    def _solve(self, told: tuple[tuple[int, int], ...], p: Vector) -> tuple[float, int]:
        """Return (cost, move) after these (check, outcome) pairs, sorted; p is not normalised, nor is the cost."""
        found = self._known.get(told)
        if found is not None:
            return found
        problem = self.problem
        count = len(problem.checks)
        best = min((float(p @ end.cost), count + i) for i, end in enumerate(problem.ends))
        asked = {check for check, _ in told}
        mass = float(p.sum())
        for i, check in enumerate(problem.checks):
            if i in asked:
                continue
            cost = check.cost * mass
            for outcome, likelihood in enumerate(check.likelihood):
                if cost >= best[0]:
                    break
                after = p * likelihood
                if after.sum() > 0:
                    cost += self._solve(tuple(sorted((*told, (i, outcome)))), np.asarray(after))[0]
            best = min(best, (cost, i))
        self._known[told] = best
        return best

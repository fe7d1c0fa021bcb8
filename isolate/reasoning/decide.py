"""The next move of a case: what is likely enough is looked at, and as far ahead as the budget goes.

Where so few states are left that bounds close in, the move is that of :mod:`isolate.reasoning.search`; a problem small
enough for :mod:`isolate.reasoning.exact` is solved; all else is :mod:`isolate.reasoning.lookahead`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

from isolate.reasoning.bound import lower_bound
from isolate.reasoning.exact import Table, misfit
from isolate.reasoning.lookahead import ORDER, Lookahead, Objective
from isolate.reasoning.plan import Valued
from isolate.reasoning.problem import Move, Position, Problem
from isolate.reasoning.search import CLOSE as CLOSE_UP
from isolate.reasoning.search import Search

KEPT, LEAST = 0.998, 1e-5
"""Share of the probability that is planned over, and the least that a state has to have."""
ALL = 12
"""With so few states none is left out."""
DEEP = 8
"""From this budget on there is time for bounds as well."""
FEW = 8
"""So few states, and the optimum is searched for."""
EACH = 12
"""Expansions of the search with bounds for one of the budget: they are so much quicker."""
CLOSE = 1.1
"""Bounds as close as this decide; further apart, looking ahead does."""
TABLE = 400_000
"""Positions up to which a table is made at once."""


@dataclass(frozen=True)
class Decision:
    """What was decided. ``first``: the move to make, with its figures.

    ``bound``: no plan can be expected to cost less, equivalent minutes; 0 where unknown. ``exact``: what the first
    move is expected to cost is the optimum of what was planned over. ``kept``: the share of the probability planned
    over. ``together``: checks worth doing while things stand open, before any of it is shut.
    """

    first: Valued
    bound: float
    exact: bool
    kept: float
    budget: int
    ahead: Lookahead = field(repr=False, compare=False)
    problem: Problem = field(repr=False, compare=False)
    position: Position = field(repr=False, compare=False)

    @property
    def move(self) -> Move:
        """The move to make."""
        return Move(self.first.kind, self.first.name)

    @cached_property
    def moves(self) -> tuple[Valued, ...]:
        """All moves, the best first; none of the others promises less than the first is known to cost.

        Checks that tell nothing of what was planned over are among them: somebody may want to do one all the same, and
        it costs its minutes.
        """
        rest = [m for m in self.ahead.moves() if (m.kind, m.name) != self.move]
        if self.ahead.objective != "chance":
            least = self.first.expected
            rest = [m if m.expected >= least else replace(m, expected=least) for m in rest]
        idle = self._idle({m.name for m in (self.first, *rest)})
        if self.ahead.objective == "chance":
            return (self.first, *rest, *idle)
        return (self.first, *sorted([*rest, *idle], key=lambda m: (round(m.expected, 9), ORDER[m.kind], m.name)))

    def _idle(self, listed: set[str]) -> list[Valued]:
        found = []
        for i, check in enumerate(self.problem.checks):
            made = None if check.name in listed else self.problem.check(self.position, i)
            if made is None:
                continue
            crossing, _, crossings = self.problem.ways.go(self.position.open, made.needs, made.shut)
            now = crossing + made.cost
            outcomes = tuple((made.likelihood @ self.position.p).tolist())
            expected = now + self.first.expected
            found.append(replace(
                self.first, kind="check", name=check.name, expected=expected, now=now, told=0.0, outcomes=outcomes,
                crossings=crossings,
            ))  # fmt: skip
        return sorted(found, key=lambda m: (m.now, m.name))

    @cached_property
    def together(self) -> tuple[str, ...]:
        return self.ahead.while_open() if self.ahead.first().name == self.first.name else ()


def decide(
    problem: Problem,
    position: Position | None = None,
    budget: int = 1,
    left: float | None = None,
    objective: Objective = "minutes",
    stopped: Callable[[], bool] = lambda: False,
) -> Decision:
    """Return the next move of a problem at a position (default: its start).

    ``budget``: expansions. ``left``: minutes until the time to be done by. ``stopped``: asked between expansions; a
    decision that was stopped is only as good as it got. Raises ValueError for a budget under one.
    """
    if budget < 1:
        raise ValueError(f"looking ahead needs a budget of at least 1 expansion, not {budget}")
    at = position if position is not None else problem.start()
    small = len(problem.states) <= ALL
    narrow, kept = problem.narrowed(at, 1.0 if small else KEPT, 0.0 if small else LEAST)
    ahead = Lookahead(narrow, left=left, objective=objective).run(1)
    while ahead.expansions < budget and not ahead.settled and not stopped():
        ahead.run(ahead.expansions + 1)
    first = ahead.first()
    if objective == "chance":
        return Decision(first, 0.0, False, kept, budget, ahead, problem, at)
    if not misfit(narrow) and _positions(narrow) <= TABLE:
        cost, move = Table(narrow).best()
        return Decision(_found(ahead, move, cost), kept * cost, kept > 1 - 1e-9, kept, budget, ahead, problem, at)
    if budget < DEEP:
        return Decision(first, 0.0, False, kept, budget, ahead, problem, at)
    exact = False
    if len(narrow.states) <= FEW:
        search = Search(narrow)
        found = search.run(1)
        while found.expansions < budget * EACH and not found.exact and not stopped():
            found = search.run(found.expansions + EACH)
        exact = found.exact
        if found.expected <= CLOSE * found.bound and found.move.name != CLOSE_UP:
            first = _found(ahead, found.move, found.expected)
    bound = lower_bound(narrow, budget=budget, stopped=stopped)
    return Decision(first, kept * bound, exact, kept, budget, ahead, problem, at)


def _positions(problem: Problem) -> int:
    """Return how many positions there are at most: answers, repairs tried, what may stand open."""
    size = (1 << len(problem.repairs)) + 1
    for check in problem.checks:
        size *= len(check.likelihood) + 1
        if size > TABLE:
            break
    return size << min(len(problem.access), 20)


def _found(ahead: Lookahead, move: Move, expected: float) -> Valued:
    """Return a move with its figures and what it is known to cost."""
    first = next((m for m in ahead.moves() if (m.kind, m.name) == move), None)
    return replace(first, expected=expected) if first is not None else ahead.first()

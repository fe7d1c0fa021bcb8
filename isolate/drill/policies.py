"""Ways of going on with a case, for the trial to measure against one another.

Each answers one question, ``move(problem, position)``: what is done next. What is done alone decides nothing here; how
a case goes on is the problem's own affair (:mod:`isolate.reasoning.problem`).

``ours``: what the tool offers. ``information``: the check that tells most bits a minute, access counted, the greedy
policy that the literature on sequential diagnosis compares with. ``cheapest``: the check that costs least now, of
those that tell anything. ``probable``: asks nothing, does the repair of what is likeliest and verifies it. ``book``:
the fixed order of the engine's profile. ``hindsight``: told what is wrong; no policy, but what none can beat on
average.

All but ``ours`` act by the same rules, so that they differ in what they ask alone. A *route* is what deals with a
state: the repairs that clear it, or the people it is handed to. Once one route holds ``SURE`` of the belief, or there
is nothing left to ask, it is followed; a repair is verified right behind it, a verification that failed is believed as
far as the problem says, and whatever is not worth its minutes any more is given up (:meth:`_Acting.act`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from isolate.kb.names import UnknownName, near
from isolate.reasoning.decide import decide
from isolate.reasoning.problem import CheckMove, Move, Position, Problem, RepairMove, Vector

Index = NDArray[np.int64]

SURE = 0.8
"""Probability of one route at which it is followed; practice, ours: four in five."""
TELLS = 0.01
"""A check that tells less than this many bits tells nothing."""
NEVER = 1e9
"""Minutes that keep an end out of a comparison."""
LIVE = 0.99
"""Share of the belief over which checks are weighed."""


class Policy(Protocol):
    """Says what is done next."""

    def move(self, problem: Problem, position: Position) -> Move:
        """Return the move to make; one that the problem allows there."""
        ...


class Ours:
    """What the tool itself would offer. ``budget``: expansions for a decision; one is the answer given at once."""

    def __init__(self, budget: int = 1) -> None:
        self.budget = budget

    def move(self, problem: Problem, position: Position) -> Move:
        return decide(problem, position, self.budget).move


class _Acting:
    """What the simple policies share: routes, what a check tells, and how they act once they stop asking.

    One object is for one problem; what does not change is worked out once.
    """

    def __init__(self) -> None:
        self._problem: Problem | None = None

    def _take(self, problem: Problem) -> None:
        if self._problem is problem:
            return
        self._problem = problem
        self.routes, self.route = _routes(problem)
        self.members = np.zeros((len(problem.states), len(self.routes)))
        self.members[np.arange(len(problem.states)), self.route] = 1.0
        self.ends = np.stack([end.cost for end in problem.ends])

    def likely(self, p: Vector) -> float:
        """Return the probability of the likeliest route."""
        return float((p @ self.members).max())

    def telling(self, problem: Problem, position: Position) -> list[tuple[int, float, float]]:
        """Return (check, bits about the route, minutes now with the access) of each check that tells something."""
        p = position.p
        live = _live(p)
        # Where the belief has narrowed to a few states most of the table is dead weight.
        weight, members = p[live] / p[live].sum(), self.members[live]
        members = members[:, members.any(axis=0)]
        which = [i for i in range(len(problem.checks)) if problem.check(position, i) is not None]
        if not which:
            return []
        table = problem.padded[which][:, :, live]
        made = []
        for k, i in enumerate(which):
            check = problem.check(position, i)
            assert check is not None
            made.append(check)
            if check.before:
                table[k, : len(check.likelihood)] = check.likelihood[:, live]
        joint = table * weight
        chance = joint.sum(axis=2)
        # Entropy of the routes now, less that to be expected after the answer.
        after = _plogp(joint @ members).sum(axis=(1, 2)) - _plogp(chance).sum(axis=1)
        bits = _plogp(weight @ members).sum() - after
        found = []
        for k, (i, check) in enumerate(zip(which, made, strict=True)):
            if bits[k] > TELLS:
                crossing = problem.ways.go(position.open, check.needs, check.shut)[0]
                found.append((i, float(bits[k]), crossing + check.cost))
        return found

    def act(self, problem: Problem, position: Position, by_minutes: bool = True) -> Move:
        """Return what is done when nothing is asked.

        A repair that is not verified yet is verified. Then routes are tried, the likeliest first, or (``by_minutes``)
        the likeliest for its minutes: repairs, or the verification where there may be nothing wrong, as long as what
        they cost is less than their chance of saving the cheapest end. An end that is itself the route is taken.
        """
        verify = Move("verify", problem.verify.name)
        if position.done and not position.proven and position.proofs == 0 and problem.may_verify(position):
            return verify
        mass = position.p @ self.members
        expected = self.ends @ position.p
        expected[[not problem.may_end(position, k) for k in range(len(expected))]] = np.inf
        end = int(expected.argmin())
        proof = problem.verify.cost
        ranked: list[tuple[float, int, Move]] = []
        for k, (repairs, ending) in enumerate(self.routes):
            if mass[k] < 1e-3:
                continue
            able = [i for i in repairs if problem.may_repair(position, i)]
            if able:
                i = able[0]
                repair = problem.repairs[i]
                cost = problem.ways.go(position.open, repair.needs, repair.shut)[0] + repair.cost + proof
                move = Move("repair", repair.name)
            elif not repairs and ending < 0 and problem.may_verify(position):
                crossing = problem.ways.go(position.open, problem.verify.needs, problem.verify.shut)[0]
                cost, move = crossing + proof, verify
            elif not repairs and ending >= 0:
                cost, move = 1.0, Move("end", problem.ends[ending].name)
                if expected[ending] > expected[end] + 1e-9:
                    continue
            else:
                continue
            if cost >= mass[k] * expected[end] and move.kind != "end":
                continue
            ranked.append((float(mass[k] / max(cost, 1e-9) if by_minutes else mass[k]), -k, move))
        # What nothing is worth trying for any more is given up, or handed to whom it most probably belongs.
        return max(ranked)[2] if ranked else Move("end", problem.ends[end].name)


class MostInformation(_Acting):
    """Asks what tells most bits a minute until one route is sure."""

    def move(self, problem: Problem, position: Position) -> Move:
        self._take(problem)
        if self.likely(position.p) < SURE and (asked := self.telling(problem, position)):
            best = max(asked, key=lambda c: (c[1] / max(c[2], 1e-9), problem.checks[c[0]].name))
            return Move("check", problem.checks[best[0]].name)
        return self.act(problem, position)


class CheapestFirst(_Acting):
    """Asks what costs least now, of what tells anything, until one route is sure."""

    def move(self, problem: Problem, position: Position) -> Move:
        self._take(problem)
        if self.likely(position.p) < SURE and (asked := self.telling(problem, position)):
            best = min(asked, key=lambda c: (c[2], problem.checks[c[0]].name))
            return Move("check", problem.checks[best[0]].name)
        return self.act(problem, position)


class MostProbableFirst(_Acting):
    """Asks nothing: repairs what is likeliest and verifies, again and again."""

    def move(self, problem: Problem, position: Position) -> Move:
        self._take(problem)
        return self.act(problem, position, by_minutes=False)


class Book(_Acting):
    """Asks down a list in its order until one route is sure; at its end repairs down the other list, verifying each.

    ``checks``, ``repairs``: names without channel; where there is one a channel, each channel in turn.
    """

    def __init__(self, checks: Sequence[str], repairs: Sequence[str]) -> None:
        super().__init__()
        self.checks, self.repairs = tuple(checks), tuple(repairs)
        self._listed: tuple[list[int], list[int]] = ([], [])

    def _take(self, problem: Problem) -> None:
        if self._problem is not problem:
            self._listed = (_in_order(self.checks, problem.checks), _in_order(self.repairs, problem.repairs))
        super()._take(problem)

    def move(self, problem: Problem, position: Position) -> Move:
        self._take(problem)
        if position.done and not position.proven and position.proofs == 0 and problem.may_verify(position):
            return Move("verify", problem.verify.name)
        checks, repairs = self._listed
        if self.likely(position.p) < SURE:
            for i in checks:
                # A list is gone down once: what a repair makes worth asking again, it does not ask again.
                if i not in position.asked and problem.check(position, i) is not None:
                    return Move("check", problem.checks[i].name)
            for i in repairs:
                if i not in position.done and problem.may_repair(position, i):
                    return Move("repair", problem.repairs[i].name)
        return self.act(problem, position, by_minutes=False)


def _in_order(names: Sequence[str], moves: Sequence[CheckMove | RepairMove]) -> list[int]:
    """Return the indices of the moves that the names mean, ``name`` or ``name/channel``, name by name."""
    return [i for name in names for i, move in enumerate(moves) if move.name.partition("/")[0] == name]


def told(problem: Problem, states: Iterable[int] | None = None) -> dict[int, float]:
    """Return state → the least expected minutes to the end if it is told now and after every repair; default all.

    Access, repairs, one verification and closing are paid, nobody has to ask. No policy does better on average.
    """
    ways, verify = problem.ways, problem.verify
    ends: dict[bool, list[float]] = {
        passed: np.stack([end.cost for end in problem.ends if passed or not end.proven]).min(axis=0).tolist()
        for passed in (False, True)
    }
    tos = [repair.to.tolist() for repair in problem.repairs]
    clear = problem.clear.tolist()
    known: dict[tuple[int, int, bool, tuple[tuple[int, int], ...]], float] = {}

    def least(h: int, opened: int, proven: bool, done: tuple[tuple[int, int], ...]) -> float:
        key = (h, opened, proven, done)
        if key in known:
            return known[key]
        closing, missed = ways.close_all(opened)[0], 0.0 if clear[h] else problem.missed
        best: float = closing + ends[proven][h]
        if proven:
            best = min(best, closing + missed)
        crossing, after, _ = ways.go(opened, verify.needs, verify.shut)
        best = min(best, crossing + verify.cost + ways.close_all(after & ~verify.spoils)[0] + missed)
        times = dict(done)
        able: list[tuple[float, int, int]] = []
        for i, to in enumerate(tos):
            repair = problem.repairs[i]
            if to[h] != h and times.get(i, 0) < repair.most:
                crossing, after, _ = ways.go(opened, repair.needs, repair.shut)
                able.append((crossing + repair.cost, i, after & ~repair.spoils))
        # The cheap ones first: what costs more than the best known is not followed any further.
        for cost, i, after in sorted(able):
            if cost >= best:
                break
            repair, to = problem.repairs[i], tos[i][h]
            # Only what works here counts for what may still be done; elsewhere it would be another memory of the same.
            cost += repair.success * least(to, after, False, _kept(done, tos, to))
            if repair.success < 1 and cost < best:
                more = tuple(sorted({**times, i: times.get(i, 0) + 1}.items()))
                cost += (1 - repair.success) * least(h, after, False, more)
            best = min(best, cost)
        known[key] = best
        return best

    chosen = range(len(problem.states)) if states is None else states
    return {h: least(h, problem.open, problem.proven, ()) for h in chosen}


def _kept(done: tuple[tuple[int, int], ...], tos: Sequence[Sequence[int]], h: int) -> tuple[tuple[int, int], ...]:
    return tuple((i, times) for i, times in done if tos[i][h] != h)


def _routes(problem: Problem) -> tuple[list[tuple[tuple[int, ...], int]], Index]:
    """Return the routes, (repairs in the order done, end or -1 for verified) each, and the route of each state.

    Of the repairs that work on a state the one of least own cost is taken, with its access from nothing open and what
    its failing costs, then that of the state it leaves; or the cheapest end where that is cheaper.
    """
    ways, n = problem.ways, len(problem.states)
    alone = []
    for repair in problem.repairs:
        cost, opened, _ = ways.go(0, repair.needs, repair.shut)
        cost += repair.cost + ways.close_all(opened)[0]
        alone.append(cost / repair.success)
    tos = [repair.to.tolist() for repair in problem.repairs]
    # One that waits for a pass is no way to deal with a state that is known.
    ends = np.stack([end.cost + (NEVER if end.proven else 0.0) for end in problem.ends], axis=1)
    cheapest = ends.argmin(axis=1)
    best: dict[int, tuple[float, tuple[int, ...], int]] = {}

    def way(h: int, busy: frozenset[int]) -> tuple[float, tuple[int, ...], int]:
        if h in best:
            return best[h]
        found: list[tuple[float, tuple[int, ...], int]] = [(float(ends[h, cheapest[h]]), (), int(cheapest[h]))]
        if problem.clear[h]:
            found.append((0.0, (), -1))
        for i, to in enumerate(tos):
            if to[h] != h and to[h] not in busy:
                cost, rest, ending = way(to[h], busy | {h})
                found.append((alone[i] + cost, (i, *rest), ending))
        best[h] = min(found)
        return best[h]

    index: dict[tuple[tuple[int, ...], int], int] = {}
    which = np.zeros(n, dtype=np.int64)
    for h in range(n):
        _, repairs, ending = way(h, frozenset((h,)))
        which[h] = index.setdefault((tuple(sorted(repairs)), ending), len(index))
    return list(index), which


def _live(p: Vector) -> Index:
    """Return the indices of the likeliest states that carry ``LIVE`` of the belief."""
    order = np.argsort(-p, kind="stable")
    count = int(np.searchsorted(np.cumsum(p[order]), LIVE * float(p.sum()))) + 1
    return np.sort(order[:count])


def _plogp(table: Vector) -> Vector:
    """Return -x log2 x, nought at nought."""
    return np.asarray(-table * np.log2(table, out=np.zeros_like(table), where=table > 0))


OURS, HINDSIGHT = "ours", "hindsight"

POLICIES: Mapping[str, str] = {
    OURS: "what the tool offers",
    "information": "most information a minute",
    "cheapest": "cheapest check first",
    "probable": "most probable repair first",
    "book": "fixed order of the book",
    HINDSIGHT: "told what is wrong",
}
"""Name → what it is, in the order in which they are shown."""


def policy(name: str, book: tuple[Sequence[str], Sequence[str]], budget: int = 1) -> Policy:
    """Return a policy by name, for one problem. ``book``: checks and repairs in the engine's fixed order.

    Raises UnknownName. ``hindsight`` is no policy that could be followed: see :func:`told`.
    """
    made: dict[str, Callable[[], Policy]] = {
        OURS: lambda: Ours(budget),
        "information": MostInformation,
        "cheapest": CheapestFirst,
        "probable": MostProbableFirst,
        "book": lambda: Book(*book),
    }
    if name not in made:
        raise UnknownName(f"no policy is called {name!r}{near(name, POLICIES)}")
    return made[name]()

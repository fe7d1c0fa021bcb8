"""The next move: the one after which the expected cost to a verified, closed-up aircraft is least.

One step is looked ahead: each check with all its outcomes, each repair with and without the verification right
behind it, verifying now, and each way to end. What follows is valued as the least of

- *asking*: hindsight (the cost if the state were told now: access, repairs, one verification, closing) plus the price
  of the doubt left, bits times minutes a bit. The price is that of the best check on offer now, counting only
  what it costs beyond what hindsight pays anyway, times ``DEARER``, since bits grow dearer as they grow fewer.
- *trying*: repairs by probability per minute, each verified, until one passes.
- *stopping*: the cheapest end for this belief.

States that are cleared by the same repairs are no doubt at all. The expected minutes are an estimate, not a bound.
How the policy compares with "most information per minute" is measured in ``tests/bench``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.problem import CheckMove, Crossed, Problem, RepairMove, Vector

DEARER = 1.5
"""How much dearer a bit of doubt is taken to be than the best check on offer sells it; measured in ``tests/bench``."""
LEAST_PRICE, MOST_PRICE = 2.0, 400.0
"""Equivalent minutes a bit between which the price is kept."""
NO_CHECKS = 25.0
"""Price of a bit where no check tells anything any more."""
TELLS = 0.01
"""A check that tells less than this many bits does not set the price."""

Kind = Literal["check", "repair", "verify", "end"]
ORDER: dict[Kind, int] = {"check": 0, "verify": 1, "repair": 2, "end": 3}


@dataclass(frozen=True)
class Valued:
    """A move with its figures, in equivalent minutes.

    ``expected``: to the end of the case if this is done next. ``now``: the crossings and the move itself.
    ``told``: bits of doubt it is expected to remove. ``outcomes``: probability of each outcome (checks, verify), or
    of clearing something (repairs).
    """

    kind: Kind
    name: str
    expected: float
    now: float
    told: float
    outcomes: tuple[float, ...]
    crossings: tuple[Crossed, ...]
    guessed: float = 0.0
    """The part of ``expected`` that is an estimate of what follows; the rest is paid for sure."""


class _Beliefs(NamedTuple):
    """Beliefs as the planner values them; the leading axes are free."""

    groups: Vector
    """Probability of each group of states with one route, last axis."""
    extra: Vector
    """Expected cost of failing repairs and of ends, which no access changes."""
    stop: Vector
    """Cost of the cheapest end, closing up apart."""


class _Reach(NamedTuple):
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


class _Proofs(NamedTuple):
    """Verifying, valued from several beliefs at once: (moves,), chance and doubt (moves, outcomes)."""

    expected: Vector
    now: Vector
    guessed: Vector
    chance: Vector
    doubt: Vector


class Planner:
    """Values moves in one problem; the belief and what is open may change, the rest may not."""

    def __init__(self, problem: Problem, dearer: float = DEARER) -> None:
        self.problem, self.dearer = problem, dearer
        self.ways = problem.ways
        self._paths, self.group, self._extra = self._routes()
        self.members = np.zeros((len(problem.states), len(self._paths)))
        self.members[np.arange(len(problem.states)), self.group] = 1.0
        self._ends = np.stack([end.cost for end in problem.ends], axis=1)
        self._give_up = float(self._ends.max(axis=0).min())
        self._reached: dict[int, _Reach] = {}
        self._follows: dict[int, Vector] = {}
        self._is_end = np.array([end >= 0 for _, end in self._paths])
        self._steps: list[tuple[tuple[int, int, int], ...]] = []
        own: list[float] = []
        for repairs, end in self._paths:
            made: list[RepairMove | CheckMove] = [problem.repairs[i] for i in repairs]
            made += [problem.verify] if end < 0 else []
            self._steps.append(tuple((m.needs, m.shut, m.spoils) for m in made))
            own.append(sum(m.cost for m in made))
        self._own = np.array(own)

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
        ends = np.stack([end.cost for end in problem.ends], axis=1).tolist()
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

    def _followed(self, opened: int) -> Vector:
        """Return the cost of each route from here, closing up included."""
        found = self._follows.get(opened)
        if found is None:
            along = self.ways.along
            found = self._follows[opened] = self._own + np.array([along(opened, steps) for steps in self._steps])
        return found

    def _reach(self, opened: int) -> _Reach:
        found = self._reached.get(opened)
        if found is None:
            verify = self.problem.verify
            _, after, _ = self.ways.go(opened, verify.needs, verify.shut)
            after &= ~verify.spoils
            closing = self.ways.close_all(after)[0]
            here, later, ends = self._followed(opened), self._followed(after), self._is_end
            found = self._reached[opened] = _Reach(
                hindsight=here,
                first=np.where(ends, np.inf, here - closing),
                again=np.where(ends, np.inf, later - closing),
                closing=closing,
                closing_now=self.ways.close_all(opened)[0],
            )
        return found

    def hindsight(self, opened: int) -> Vector:
        """Return, for each state, the cost from here if the state were known, with ``opened`` open."""
        return np.asarray(self._reach(opened).hindsight[self.group] + self._extra)

    # -- value ---------------------------------------------------------------------------------------

    def _beliefs(self, p: Vector) -> _Beliefs:
        return _Beliefs(p @ self.members, p @ self._extra, (p @ self._ends).min(axis=-1))

    def entropy(self, p: Vector) -> Vector:
        """Return the bits of doubt over what is to be repaired; the last axis of p runs over states."""
        return _entropy(p @ self.members)

    def _hindsight(self, b: _Beliefs, opened: int) -> Vector:
        return np.asarray(b.groups @ self._reach(opened).hindsight + b.extra)

    def _trying(self, b: _Beliefs, opened: int) -> Vector:
        """Return the expected cost of trying repairs by probability per minute until one verifies, asking nothing.

        The verification is taken at its word; what is not worth trying any more is given up.
        """
        reach = self._reach(opened)
        finite = np.isfinite(reach.first)
        if not finite.any():
            return np.full(b.groups.shape[:-1], np.inf)
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
        return np.asarray((spent + after * self._give_up).min(axis=-1) + reach.closing + b.extra)

    def _values(self, b: _Beliefs, opened: int, price: float) -> Vector:
        """Return the estimated cost from each belief with ``opened`` open."""
        asking = self._hindsight(b, opened) + price * _entropy(b.groups)
        stopping = b.stop + self._reach(opened).closing_now
        return np.asarray(np.minimum(np.minimum(asking, self._trying(b, opened)), stopping))

    # -- moves ---------------------------------------------------------------------------------------

    def moves(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> tuple[Valued, ...]:
        """Return every move valued, least expected cost first, ties by kind and name.

        ``usable``: indices of the checks that may be asked now; default all.
        """
        which = list(range(len(self.problem.checks)) if usable is None else usable)
        found, price = self._checks(p, opened, which)
        found += self._repairs(p, opened, price)
        found.append(self._verify(p, opened, price))
        closing, _, crossings = self.ways.close_all(opened)
        for end in self.problem.ends:
            found.append(Valued("end", end.name, closing + float(p @ end.cost), closing, 0.0, (), crossings))
        found = self._settled(found, float(self._values(self._beliefs(p), opened, price)))
        return tuple(sorted(found, key=lambda m: (round(m.expected, 9), ORDER[m.kind], m.name)))

    @staticmethod
    def _settled(found: list[Valued], value: float) -> list[Valued]:
        """Make the value of staying put agree with the moves there are.

        The estimate may promise less than any move delivers; then a move that changes nothing would look best, since
        it keeps the promise for the price of a trifle. Say that the estimate is short by a share D of itself, here and
        after every move. Then D is the least of (cost of the move + estimate after it - estimate here) over (estimate
        here - estimate after it), and a move that brings the end no nearer is never chosen.
        """
        gains = [(m.expected - value, value - m.guessed) for m in found]
        short = min((loss / gain for loss, gain in gains if gain > 1e-9), default=0.0)
        if short <= 0:
            return found
        return [replace(m, expected=m.expected + short * m.guessed) for m in found]

    def best(self, p: Vector, opened: int, usable: Sequence[int] | None = None) -> Valued:
        """Return the move to make next."""
        return self.moves(p, opened, usable)[0]

    def _checks(self, p: Vector, opened: int, which: Sequence[int]) -> tuple[list[Valued], float]:
        """Return the checks valued, and the price of a bit of doubt."""
        problem = self.problem
        if not which:
            return [], NO_CHECKS
        went = [self.ways.go(opened, problem.checks[i].needs, problem.checks[i].shut) for i in which]
        after = [state & ~problem.checks[i].spoils for i, (_, state, _) in zip(which, went, strict=True)]
        joint = problem.padded[list(which)] * p  # (checks, outcomes, states)
        chance = joint.sum(axis=-1)
        posterior = joint / np.where(chance > 0, chance, 1.0)[..., None]
        b = self._beliefs(posterior)
        now = np.array([cost for cost, _, _ in went]) + np.array([problem.checks[i].cost for i in which])
        told = float(self.entropy(p)) - (chance * _entropy(b.groups)).sum(axis=1)
        here = self._beliefs(p)
        beyond = now - float(self._hindsight(here, opened))
        for ks, state, part in _by_state(b, after):
            beyond[ks] += (chance[ks] * self._hindsight(part, state)).sum(axis=1)
        prices = [max(beyond[k], 0.0) / told[k] for k in range(len(which)) if told[k] > TELLS]
        price = float(np.clip(self.dearer * min(prices), LEAST_PRICE, MOST_PRICE)) if prices else NO_CHECKS
        expected = now + (chance * self._grouped(b, after, price)).sum(axis=1)
        return [
            Valued(
                "check",
                problem.checks[i].name,
                float(expected[k]),
                float(now[k]),
                float(told[k]),
                tuple(float(x) for x in chance[k, : problem.checks[i].likelihood.shape[0]]),
                went[k][2],
                float(expected[k] - now[k]),
            )
            for k, i in enumerate(which)
        ], price

    def _verify(self, p: Vector, opened: int, price: float) -> Valued:
        proof = self._proofs(p[None], [opened], price)
        told = float(self.entropy(p)) - float(proof.chance[0] @ proof.doubt[0])
        return Valued(
            "verify",
            self.problem.verify.name,
            float(proof.expected[0]),
            float(proof.now[0]),
            told,
            tuple(float(x) for x in proof.chance[0]),
            self.ways.go(opened, self.problem.verify.needs, self.problem.verify.shut)[2],
            float(proof.guessed[0]),
        )

    def _proofs(self, p: Vector, opened: Sequence[int], price: float) -> _Proofs:
        """Value verifying from beliefs p (moves, states), each with its own open set."""
        problem, verify = self.problem, self.problem.verify
        went = [self.ways.go(state, verify.needs, verify.shut) for state in opened]
        states = [state & ~verify.spoils for _, state, _ in went]
        joint = verify.likelihood * p[:, None, :]
        chance = joint.sum(axis=2)
        posterior = joint / np.where(chance > 0, chance, 1.0)[..., None]
        b = self._beliefs(posterior)
        ahead = self._grouped(b, states, price)
        guessed = (chance * ahead).sum(axis=1)
        # Passed, and little enough is left: the case ends there, with whatever fault is left missed.
        left = posterior[:, 0] @ ~problem.clear
        ends = left < problem.remaining
        guessed -= np.where(ends, chance[:, 0] * ahead[:, 0], 0.0)
        closing = np.array([self.ways.close_all(state)[0] for state in states])
        ahead[:, 0] = np.where(ends, closing + left * problem.missed, ahead[:, 0])
        now = np.array([cost for cost, _, _ in went]) + verify.cost
        return _Proofs(now + (chance * ahead).sum(axis=1), now, guessed, chance, _entropy(b.groups))

    def repaired(self, p: Vector, repair: int) -> Vector:
        """Return the belief after a repair."""
        move = self.problem.repairs[repair]
        after = np.array(p * (1 - move.success))
        np.add.at(after, move.to, p * move.success)
        return after

    def _repairs(self, p: Vector, opened: int, price: float) -> list[Valued]:
        repairs = self.problem.repairs
        cleared = [float(p[repair.to != np.arange(len(p))].sum()) for repair in repairs]
        which = [i for i, chance in enumerate(cleared) if chance >= 1e-3]
        if not which:
            return []
        went = [self.ways.go(opened, repairs[i].needs, repairs[i].shut) for i in which]
        states = [state & ~repairs[i].spoils for i, (_, state, _) in zip(which, went, strict=True)]
        after = np.stack([self.repaired(p, i) for i in which])
        going_on = self._grouped(self._beliefs(after), states, price)
        proof = self._proofs(after, states, price)
        found = []
        for k, i in enumerate(which):
            now = went[k][0] + repairs[i].cost
            on = float(going_on[k])
            ahead, guessed = min((on, on), (float(proof.expected[k]), float(proof.guessed[k])))
            found.append(
                Valued("repair", repairs[i].name, now + ahead, now, 0.0, (cleared[i],), went[k][2], guessed)
            )
        return found

    def _grouped(self, b: _Beliefs, states: Sequence[int], price: float) -> Vector:
        """Return the values of beliefs whose first axis runs over moves, each with its own open set."""
        found = np.empty(b.extra.shape)
        for ks, state, part in _by_state(b, states):
            found[ks] = self._values(part, state, price)
        return found


def _by_state(b: _Beliefs, states: Sequence[int]) -> list[tuple[list[int], int, _Beliefs]]:
    """Return the beliefs that share an open set together: (their places, the open set, they themselves)."""
    rows: dict[int, list[int]] = {}
    for k, state in enumerate(states):
        rows.setdefault(state, []).append(k)
    return [(ks, state, _Beliefs(b.groups[ks], b.extra[ks], b.stop[ks])) for state, ks in rows.items()]


def _entropy(groups: Vector) -> Vector:
    logs = np.log2(groups, out=np.zeros_like(groups), where=groups > 0)
    return np.asarray(-(groups * logs).sum(axis=-1))

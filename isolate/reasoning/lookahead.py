"""The next move in problems too large to be solved: some moves ahead, best first, on estimated values.

An AND/OR tree of positions. An expansion values every move of one position at once, each answer by
:meth:`Planner.leaf <isolate.reasoning.plan.Planner.leaf>`, twice: with the whole price on the doubt left and with
a part of it. The next to be expanded lies down the move that would be best if doubt were cheap, at the answer with the
largest share of what the two values differ in. The move to make is the best by the whole price.

The estimates promise less than any move delivers; taken at their word, a move that changes nothing would look best,
since it keeps the promise for the price of a trifle. So what is still an estimate is raised by a share of itself,
everywhere alike, until the value of staying put agrees with the best move (:meth:`Lookahead._settle`).

A budget is a number of expansions: the same problem and budget give the same answer everywhere. With ``left``, the
minutes until somebody waits no longer, every move also has a chance of an end by then, and may be chosen by it.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.plan import TELLS, Leaf, Planner, Valued, entropy
from isolate.reasoning.problem import CheckMove, Kind, Position, Problem, RepairMove, Vector

PART = 0.5
"""Share of the price of doubt in the lower value, by which the search finds its way; measured in ``tests/bench``."""
HARDLY = 1e-3
"""A repair that clears nothing at least so probable is no move."""
ORDER: dict[Kind, int] = {"check": 0, "verify": 1, "repair": 2, "end": 3}
MOST_SHORT = 1.0
"""Nobody gives up because estimates fall short by more than this share of themselves: where little is told by anything
that is near, going on would else seem never to end."""
SETTLING = 24
"""Halvings in which the shortfall is found."""

Objective = Literal["minutes", "chance", "cost"]
"""Fewest expected equivalent minutes; the best chance by the time; cheapest in labour and parts, whatever it lasts.

The last differs from the first in how a problem is posed, not in how it is searched.
"""
Mask = NDArray[np.bool_]


class Taken(NamedTuple):
    """A move at a node: what it is, what it costs, and what is open after it."""

    kind: Kind
    number: int
    now: float
    minutes: float
    after: int


class Node:
    """A position in the tree. ``moves`` is None until it is expanded.

    The tables have a row a move and a column an outcome: ``chances``, and for what follows the value of going on, the
    lower one, that of stopping, the chance of being in time and the lateness. Where an outcome has a node of its own
    that was expanded, that node's figures stand in their place.
    """

    __slots__ = (
        "best", "chance", "chances", "going_on", "kids", "late", "later", "left", "lower", "lowers", "moves", "now",
        "on_time", "position", "steered", "stop", "told", "value",
    )  # fmt: skip

    def __init__(self, position: Position, left: float | None) -> None:
        self.position, self.left = position, left
        self.moves: list[Taken] | None = None
        self.kids: dict[tuple[int, int], Node] = {}
        self.value = self.lower = 0.0
        self.chance = self.late = 0.0
        self.best = self.steered = 0
        self.now = self.told = np.zeros(0)
        self.chances = self.going_on = self.lowers = self.stop = self.on_time = self.later = np.zeros((0, 0))


class Lookahead:
    """Looks ahead from a position of a problem; :meth:`run` may be called again to go on.

    ``left``: minutes until the time to be done by. Raises ValueError for the objective ``chance`` without it.
    """

    def __init__(
        self,
        problem: Problem,
        position: Position | None = None,
        planner: Planner | None = None,
        left: float | None = None,
        objective: Objective = "minutes",
    ) -> None:
        if objective == "chance" and left is None:
            raise ValueError("the best chance by a time needs the minutes that are left")
        self.problem, self.objective = problem, objective
        self.planner = planner if planner is not None else Planner(problem)
        self.ways = problem.ways
        self.expansions = 0
        self.short = 0.0
        """How far the estimates fall short, as a share of themselves."""
        self.settled = False
        """Whether nothing is left to look at."""
        self._changes = problem.targets != np.arange(len(problem.states))
        watching = [end.cost for end in problem.ends if end.proven]
        self._watch = np.stack(watching, axis=1) if watching else None
        self._faulty = ~problem.clear
        self._price = 0.0
        self.root = Node(position if position is not None else problem.start(), left)

    # -- searching -----------------------------------------------------------------------------------

    def run(self, budget: int) -> Lookahead:
        """Go on until so many expansions were made in all. Raises ValueError for a budget under one."""
        if budget < 1:
            raise ValueError(f"looking ahead needs a budget of at least 1 expansion, not {budget}")
        while self.expansions < budget and not self.settled:
            self._step()
        return self

    def _step(self) -> None:
        path: list[tuple[Node, int, int]] = []
        node = self.root
        while node.moves is not None:
            move = node.steered
            value = np.minimum(node.going_on[move] * (1 + self.short), node.stop[move])
            gaps = node.chances[move] * (value - np.minimum(node.lowers[move], node.stop[move]))
            outcome = int(gaps.argmax())
            if gaps[outcome] <= 1e-6:
                self.settled = True
                return
            path.append((node, move, outcome))
            kid = node.kids.get((move, outcome))
            if kid is None:
                kid = node.kids[move, outcome] = self._child(node, node.moves[move], outcome)
            node = kid
        self._expand(node)
        for parent, move, outcome in reversed(path):
            kid = parent.kids[move, outcome]
            parent.going_on[move, outcome] = NOTHING
            parent.stop[move, outcome], parent.lowers[move, outcome] = kid.value, kid.lower
            parent.on_time[move, outcome], parent.later[move, outcome] = kid.chance, kid.late
            self._back_up(parent)

    def _child(self, node: Node, move: Taken, outcome: int) -> Node:
        problem, at = self.problem, node.position
        if move.kind == "check":
            position = problem.told(at, move.number, outcome)
        elif move.kind == "verify":
            position = problem.verified(at, outcome)
        else:
            position = problem.repaired(at, move.number)
        return Node(position, None if node.left is None else node.left - move.minutes)

    # -- values --------------------------------------------------------------------------------------

    def _values(self, node: Node) -> Vector:
        """Return the expected cost of each move, what it costs now included."""
        ahead = np.minimum(node.going_on * (1 + self.short), node.stop)
        return np.asarray(node.now + (node.chances * ahead).sum(axis=1))

    def _back_up(self, node: Node) -> None:
        values = self._values(node)
        lower = node.now + (node.chances * np.minimum(node.lowers, node.stop)).sum(axis=1)
        node.steered, node.best = int(lower.argmin()), int(values.argmin())
        if node.left is not None:
            chances = (node.chances * node.on_time).sum(axis=1)
            if self.objective == "chance":
                node.best = int(np.lexsort((values, -chances.round(3)))[0])
            node.chance = float(chances[node.best])
            node.late = float(node.chances[node.best] @ node.later[node.best])
        node.value, node.lower = float(values[node.best]), float(lower[node.steered])

    def _settle(self, node: Node, going_on: float, stop: float) -> None:
        """Raise the estimate until the value of staying put is that of the best move (see above)."""

        def short(by: float) -> bool:
            """Whether staying put promises less than any move delivers."""
            ahead = np.minimum(node.going_on * (1 + by), node.stop)
            best = (node.now + (node.chances * ahead).sum(axis=1)).min()
            return bool(best > min(going_on * (1 + by), stop) + 1e-9)

        if not short(0.0):
            return
        low, high = 0.0, max(stop / max(going_on, 1e-9) - 1.0, 0.0)
        for _ in range(SETTLING):
            middle = (low + high) / 2
            low, high = (middle, high) if short(middle) else (low, middle)
        self.short = high
        ahead = np.minimum(node.going_on * (1 + high), node.stop)
        best = int((node.now + (node.chances * ahead).sum(axis=1)).argmin())
        if node.moves is not None and node.moves[best].kind == "end":
            self.short = min(high, MOST_SHORT)

    # -- expanding -----------------------------------------------------------------------------------

    def _expand(self, node: Node) -> None:
        self.expansions += 1
        problem, at, go = self.problem, node.position, self.ways.go
        first = self.expansions == 1
        # Whoever asks at the start wants a move: that it has not ended is known better there than here, where
        # unlikely states may have been left out.
        over = not first and problem.settled(at)
        taken: list[Taken] = []
        which: list[int] = []
        made: list[CheckMove] = []
        mended: list[int] = []
        if not over:
            for i, check in enumerate(problem.checks):
                asked = at.asked.get(i, check)
                if asked is not None:
                    which.append(i)
                    made.append(asked)
            cleared = (self._changes @ at.p).tolist()
            mended = [i for i, c in enumerate(cleared) if c >= HARDLY and problem.may_repair(at, i)]
        for i, check in zip(which, made, strict=True):
            cost, state, _ = go(at.open, check.needs, check.shut)
            taken.append(Taken("check", i, cost + check.cost, cost + check.minutes, state & ~check.spoils))
        for i in mended:
            repair = problem.repairs[i]
            cost, state, _ = go(at.open, repair.needs, repair.shut)
            taken.append(Taken("repair", i, cost + repair.cost, cost + repair.minutes, state & ~repair.spoils))
        proofs: list[Taken] = [self._proof(move.after) for move in taken[len(which) :]]
        proving = not over and problem.may_verify(at)
        if proving:
            taken.append(self._proof(at.open))

        # Beliefs after every outcome, a row each: of the checks, the repairs, of proving after each, of proving now.
        tables = problem.padded[which]
        for k, (i, check) in enumerate(zip(which, made, strict=True)):
            if check is not problem.checks[i]:
                tables[k, : len(check.likelihood)] = check.likelihood
        asking = _weighed(tables, at.p[None])
        repaired = np.stack([self.planner.repaired(at.p, i) for i in mended]) if mended else np.zeros((0, len(at.p)))
        verify = problem.verify.likelihood[None]
        proven_after = _weighed(verify, repaired)
        proven_now = _weighed(verify, at.p[None] if proving else at.p[None][:0])
        outcomes, ways_out = tables.shape[1], verify.shape[1]
        opened = [move.after for move in taken[: len(which)] for _ in range(outcomes)]
        opened += [move.after for move in taken[len(which) : len(which) + len(mended)]]
        opened += [move.after for move in proofs for _ in range(ways_out)]
        opened += [move.after for move in taken[len(which) + len(mended) :] for _ in range(ways_out)]
        here = len(opened)
        p = np.concatenate([asking.p, repaired, proven_after.p, proven_now.p, at.p[None]])
        opened.append(at.open)
        left = None
        if node.left is not None:
            spent = [move.minutes for move in taken[: len(which)] for _ in range(outcomes)]
            spent += [move.minutes for move in taken[len(which) : len(which) + len(mended)]]
            for move, proof in zip(taken[len(which) :], proofs, strict=False):
                spent += [move.minutes + proof.minutes] * ways_out
            spent += [move.minutes for move in taken[len(which) + len(mended) :] for _ in range(ways_out)]
            left = node.left - np.array([*spent, 0.0])
        planner = self.planner
        rows, reach = planner.rows(p), planner.reach(opened)
        bits = entropy(rows.groups)
        told = np.zeros(len(taken))
        told[: len(which)] = bits[here] - (asking.chance * bits[: len(asking.p)].reshape(asking.chance.shape)).sum(
            axis=1
        )
        if proving:
            told[-1] = bits[here] - float(proven_now.chance[0] @ bits[here - ways_out : here])
        if first:
            ahead = planner.told_cost(rows, reach)
            expected = (asking.chance * ahead[: len(asking.p)].reshape(asking.chance.shape)).sum(axis=1)
            now = np.array([move.now for move in taken[: len(which)]])
            self._price = planner.price(told[: len(which)], now + expected - ahead[here])
        leaf = planner.leaf(rows, reach, bits, self._price, PART, left)
        passed = np.zeros(len(p), dtype=bool)
        start = len(asking.p) + len(mended)
        passed[start:here:ways_out] = True
        if at.proven:
            passed[: len(asking.p)] = passed[here] = True
        leaf = self._passed(p, passed, opened, leaf, left)

        # Into tables, a row a move.
        ends = [] if over else [i for i in range(len(problem.ends)) if problem.may_end(at, i)]
        closing = self.ways.close_all(at.open)[0]
        taken += [Taken("end", i, closing, closing, 0) for i in (ends if not over else [-1])]
        wide = max(outcomes if which else 1, ways_out, 1)
        shape = (len(taken), wide)
        node.chances, node.going_on = np.zeros(shape), np.full(shape, NOTHING)
        node.lowers, node.stop = np.full(shape, NOTHING), np.zeros(shape)
        node.on_time, node.later = np.zeros(shape), np.zeros(shape)
        fields = (node.going_on, node.lowers, node.stop, node.on_time, node.later)
        asked_rows = len(asking.p)
        if which:
            node.chances[: len(which), :outcomes] = asking.chance
            for field, values in zip(fields, leaf, strict=True):
                field[: len(which), :outcomes] = values[:asked_rows].reshape(-1, outcomes)
        if mended:
            rowed = slice(len(which), len(which) + len(mended))
            node.chances[rowed, 0] = 1.0
            for field, values in zip(fields, self._mended(leaf, asked_rows, proofs, proven_after), strict=True):
                field[rowed, 0] = values
        if proving:
            row = len(which) + len(mended)
            node.chances[row, :ways_out] = proven_now.chance[0]
            for field, values in zip(fields, leaf, strict=True):
                field[row, :ways_out] = values[here - ways_out : here]
        for row, move in enumerate(taken):
            if move.kind != "end":
                continue
            node.chances[row, 0] = 1.0
            if over:
                node.stop[row, 0] = float(at.p @ self._faulty) * problem.missed
                dealt = 1.0
            else:
                ending = problem.ends[move.number].cost
                node.stop[row, 0] = float(at.p @ ending)
                # Giving it up is no end by the time: what is wrong is not found.
                dealt = float(at.p @ (ending < problem.missed / 2)) if ending.min() < ending.max() else 0.0
            if node.left is not None:
                node.on_time[row, 0] = dealt * (closing <= node.left)
                node.later[row, 0] = max(closing - node.left, 0.0)
        node.moves, node.now, node.told = taken, np.array([move.now for move in taken]), told
        if first:
            self._settle(node, float(leaf.going_on[here]), float(leaf.stop[here]))
        self._back_up(node)

    def _proof(self, before: int) -> Taken:
        verify = self.problem.verify
        cost, state, _ = self.ways.go(before, verify.needs, verify.shut)
        return Taken("verify", 0, cost + verify.cost, cost + verify.minutes, state & ~verify.spoils)

    def _mended(self, leaf: Leaf, start: int, proofs: list[Taken], proven: _Weighed) -> Leaf:
        """Return the values after repairs: going on as it may be, or with the verification right behind."""
        count, outcomes = proven.chance.shape
        direct = Leaf(*(x[start : start + count] for x in leaf))
        after = Leaf(*(x[start + count : start + count * (1 + outcomes)].reshape(count, outcomes) for x in leaf))
        now = np.array([move.now for move in proofs])
        c = proven.chance
        value = now + (c * np.minimum(after.going_on * (1 + self.short), after.stop)).sum(axis=1)
        lower = now + (c * np.minimum(after.lower, after.stop)).sum(axis=1)
        proves = value < np.minimum(direct.going_on, direct.stop)
        return Leaf(
            np.where(proves, value, direct.going_on),
            np.minimum(lower, direct.lower),
            direct.stop,
            np.where(proves, (c * after.chance).sum(axis=1), direct.chance),
            np.where(proves, (c * after.late).sum(axis=1), direct.late),
        )

    def _passed(self, p: Vector, rows: Mask, opened: list[int], leaf: Leaf, left: Vector | None) -> Leaf:
        """Return the values where a pass stands in some rows: some end there, some may be watched."""
        at = np.flatnonzero(rows)
        if not len(at):
            return leaf
        held = p[at]
        missed = held @ self._faulty
        ends = missed < self.problem.remaining * held.sum(axis=1)
        closing = np.array([self.ways.close_all(opened[i])[0] for i in at.tolist()])
        watch = closing + (held @ self._watch).min(axis=1) if self._watch is not None else np.full(len(at), np.inf)
        stop = np.where(ends, closing + missed * self.problem.missed, np.minimum(leaf.stop[at], watch))
        found = Leaf(*(x.copy() for x in leaf))
        if left is not None:
            over = ends | (watch < np.minimum(leaf.going_on[at], leaf.stop[at]))
            found.chance[at] = np.where(over, closing <= left[at], leaf.chance[at])
            found.late[at] = np.where(over, np.maximum(closing - left[at], 0.0), leaf.late[at])
        found.stop[at] = stop
        found.going_on[at] = np.where(ends, NOTHING, leaf.going_on[at])
        found.lower[at] = np.where(ends, NOTHING, leaf.lower[at])
        return found

    # -- what was found ------------------------------------------------------------------------------

    def first(self) -> Valued:
        """Return the move to make, ties by kind and name."""
        root = self._looked()
        values = self._values(root)
        if self.objective == "chance":
            return self.moves()[0]
        rows = np.flatnonzero(values <= values.min() + 1e-9).tolist()
        return min((self._valued(root, row, values) for row in rows), key=lambda m: (ORDER[m.kind], m.name))

    def moves(self) -> tuple[Valued, ...]:
        """Return every move, the best first; ties by kind and name."""
        root = self._looked()
        values = self._values(root)
        found = [self._valued(root, row, values) for row in range(len(values))]
        if self.objective == "chance":
            return tuple(
                sorted(found, key=lambda m: (-round(m.chance or 0.0, 3), round(m.expected, 9), ORDER[m.kind], m.name))
            )
        return tuple(sorted(found, key=lambda m: (round(m.expected, 9), ORDER[m.kind], m.name)))

    def _looked(self) -> Node:
        if self.root.moves is None:
            self.run(1)
        return self.root

    def name(self, move: Taken) -> str:
        """Return the name of a move."""
        problem = self.problem
        if move.kind == "check":
            return problem.checks[move.number].name
        if move.kind == "repair":
            return problem.repairs[move.number].name
        return problem.verify.name if move.kind == "verify" else problem.ends[move.number].name

    def _valued(self, node: Node, row: int, values: Vector) -> Valued:
        problem, at = self.problem, node.position
        assert node.moves is not None
        move = node.moves[row]
        made: CheckMove | RepairMove | None = None
        outcomes: tuple[float, ...] = ()
        if move.kind == "check":
            made = at.asked.get(move.number) or problem.checks[move.number]
            outcomes = tuple(node.chances[row, : len(made.likelihood)].tolist())
        elif move.kind == "verify":
            made = problem.verify
            outcomes = tuple(node.chances[row, : len(made.likelihood)].tolist())
        elif move.kind == "repair":
            made = problem.repairs[move.number]
            outcomes = (float(at.p[self._changes[move.number]].sum()),)
        crossed = self.ways.close_all(at.open) if made is None else self.ways.go(at.open, made.needs, made.shut)
        timed = node.left is not None
        return Valued(
            move.kind,
            self.name(move),
            float(values[row]),
            move.now,
            float(node.told[row]) if row < len(node.told) else 0.0,
            outcomes,
            crossed[2],
            min(float(node.chances[row] @ node.on_time[row]), 1.0) if timed else None,
            float(node.chances[row] @ node.later[row]) if timed else None,
        )

    def while_open(self, most: int = 4) -> tuple[str, ...]:
        """Return the checks worth doing while things stand as they do, before any of it is shut, dearest tellers first.

        Such a check needs something open that somebody has to shut again; it needs nothing opened or shut beyond what
        the first move leaves open, or, where that shuts something, beyond what is open now; and what it tells is worth
        more at the price of doubt than its own minutes. The first move itself is not among them.
        """
        root = self._looked()
        assert root.moves is not None
        first = self.first()
        problem, at = self.problem, root.position
        lasting = sum(1 << i for i, way in enumerate(problem.access) if way.lasting)
        row = next(k for k, m in enumerate(root.moves) if (m.kind, self.name(m)) == (first.kind, first.name))
        shuts = any(not crossed.opening and problem.access[crossed.access].lasting for crossed in first.crossings)
        opened = at.open if shuts or first.kind == "end" else root.moves[row].after
        found = []
        for k, move in enumerate(root.moves):
            if move.kind != "check" or k == row:
                continue
            made = at.asked.get(move.number) or problem.checks[move.number]
            worth = float(root.told[k]) * self._price
            stays = not self.ways.go(opened, made.needs, made.shut)[2]
            if stays and made.needs & lasting and worth > made.cost and root.told[k] > TELLS:
                found.append((-worth / max(made.cost, 1e-9), self.name(move)))
        return tuple(name for _, name in sorted(found)[:most])


class _Weighed(NamedTuple):
    """Beliefs after outcomes, (moves · outcomes, states), and the outcomes' chances, (moves, outcomes)."""

    p: Vector
    chance: Vector


def _weighed(tables: Vector, p: Vector) -> _Weighed:
    """Weigh beliefs, one for each table or for all, by tables (moves, outcomes, states), one for each or for all."""
    joint = tables * p[:, None, :]
    chance = joint.sum(axis=2)
    after = joint / np.where(chance > 0, chance, 1.0)[..., None]
    return _Weighed(after.reshape(-1, joint.shape[2]), chance)


NOTHING = 1e15
"""Going on where the case has ended: it is always the end that counts."""

__all__ = ["PART", "Lookahead", "Objective"]

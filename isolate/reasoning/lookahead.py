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

from isolate.reasoning.plan import Leaf, Planner, Valued, entropy
from isolate.reasoning.problem import CheckMove, Kind, Position, Problem, Vector

PART = 0.5
"""Share of the price of doubt in the lower value, by which the search finds its way; measured in ``tests/bench``."""
HARDLY = 1e-3
"""A repair that clears nothing at least so probable is no move."""
ORDER: dict[Kind, int] = {"check": 0, "verify": 1, "repair": 2, "end": 3}
SETTLING = 24
"""Halvings in which the shortfall is found."""

Objective = Literal["minutes", "chance", "cost"]
"""Fewest expected equivalent minutes; the best chance by the time; cheapest in labour and parts, whatever it lasts.

The last differs from the first in how a problem is posed, not in how it is searched.
"""
Mask = NDArray[np.bool_]


class Way(NamedTuple):
    """A move at a node: what it costs, and for each outcome its chance and what follows."""

    kind: Kind
    number: int
    now: float
    minutes: float
    after: int
    chances: Vector
    going_on: Vector
    lower: Vector
    stop: Vector
    on_time: Vector
    late: Vector
    kids: dict[int, Node]


class Node:
    """A position in the tree. ``ways`` is None until it is expanded."""

    __slots__ = ("best", "chance", "ends", "late", "left", "lower", "position", "steered", "value", "ways")

    def __init__(self, position: Position, left: float | None) -> None:
        self.position, self.left = position, left
        self.ways: list[Way] | None = None
        self.value = self.lower = 0.0
        self.chance = self.late = 0.0
        self.best = self.steered = 0
        self.ends = False


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
        path: list[tuple[Node, Way, int]] = []
        node = self.root
        while node.ways is not None:
            way = node.ways[node.steered]
            gaps = way.chances * (self._value(way) - self._lower(way))
            for outcome, kid in way.kids.items():
                gaps[outcome] = way.chances[outcome] * (kid.value - kid.lower)
            outcome = int(gaps.argmax())
            if gaps[outcome] <= 1e-6:
                self.settled = True
                return
            path.append((node, way, outcome))
            if outcome not in way.kids:
                way.kids[outcome] = self._child(node, way, outcome)
            node = way.kids[outcome]
        self._expand(node)
        for parent, _, _ in reversed(path):
            self._back_up(parent)

    def _child(self, node: Node, way: Way, outcome: int) -> Node:
        problem, at = self.problem, node.position
        if way.kind == "check":
            position = problem.told(at, way.number, outcome)
        elif way.kind == "verify":
            position = problem.verified(at, outcome)
        else:
            position = problem.repaired(at, way.number)
        kid = Node(position, None if node.left is None else node.left - way.minutes)
        kid.value, kid.lower = float(self._value(way)[outcome]), float(self._lower(way)[outcome])
        return kid

    # -- values --------------------------------------------------------------------------------------

    def _value(self, way: Way) -> Vector:
        return np.asarray(np.minimum(way.going_on * (1 + self.short), way.stop))

    def _lower(self, way: Way) -> Vector:
        return np.asarray(np.minimum(way.lower, way.stop))

    def _ahead(self, way: Way) -> tuple[float, float, float, float]:
        """Return (value, lower value, chance, lateness) of a move, what it costs now included."""
        value, lower = self._value(way), self._lower(way)
        on_time, late = way.on_time, way.late
        if way.kids:
            on_time, late = on_time.copy(), late.copy()
            for outcome, kid in way.kids.items():
                if kid.ways is not None:
                    value[outcome], lower[outcome] = kid.value, kid.lower
                    on_time[outcome], late[outcome] = kid.chance, kid.late
        c = way.chances
        return way.now + float(c @ value), way.now + float(c @ lower), float(c @ on_time), float(c @ late)

    def _back_up(self, node: Node) -> None:
        assert node.ways is not None
        figures = [self._ahead(way) for way in node.ways]
        node.steered = min(range(len(figures)), key=lambda i: figures[i][1])
        if self.objective == "chance" and node.left is not None:
            node.best = min(range(len(figures)), key=lambda i: (-round(figures[i][2], 3), figures[i][0]))
        else:
            node.best = min(range(len(figures)), key=lambda i: figures[i][0])
        node.value, node.lower = figures[node.best][0], figures[node.steered][1]
        node.chance, node.late = figures[node.best][2], figures[node.best][3]

    def _settle(self, node: Node) -> None:
        """Raise the estimate until the value of staying put is that of the best move (see above)."""
        assert node.ways is not None
        here = self._leaf(node.position.p[None], [node.position.open], None)
        going_on, stop = float(here.going_on[0]), float(here.stop[0])
        if node.position.proven and self._watch is not None:
            closing = self.ways.close_all(node.position.open)[0]
            stop = min(stop, closing + float((node.position.p @ self._watch).min()))
        most = max(len(way.chances) for way in node.ways)
        table = np.zeros((3, len(node.ways), most))
        for k, way in enumerate(node.ways):
            outcomes = len(way.chances)
            table[0, k, :outcomes], table[1, k, :outcomes], table[2, k, :outcomes] = way.chances, way.going_on, way.stop
        now = np.array([way.now for way in node.ways])

        def short(by: float) -> bool:
            """Whether staying put promises less than any move delivers."""
            best = (now + (table[0] * np.minimum(table[1] * (1 + by), table[2])).sum(axis=1)).min()
            return bool(best > min(going_on * (1 + by), stop) + 1e-9)

        if not short(0.0):
            return
        low, high = 0.0, max(stop / max(going_on, 1e-9) - 1.0, 0.0)
        for _ in range(SETTLING):
            middle = (low + high) / 2
            low, high = (middle, high) if short(middle) else (low, middle)
        self.short = high

    # -- expanding -----------------------------------------------------------------------------------

    def _leaf(self, p: Vector, opened: list[int], left: Vector | None) -> Leaf:
        """Return the values of beliefs (moves, …, states), each move with its own open set and minutes left."""
        b = self.planner.beliefs(p)
        shape = b.extra.shape
        found = Leaf(*(np.empty(shape) for _ in Leaf._fields))
        rows: dict[int, list[int]] = {}
        for k, state in enumerate(opened):
            rows.setdefault(state, []).append(k)
        for state, ks in rows.items():
            part = type(b)(b.groups[ks], b.extra[ks], b.stop[ks])
            times = None
            if left is not None:
                times = np.broadcast_to(left[ks].reshape((-1,) + (1,) * (len(shape) - 1)), part.extra.shape)
            for whole, some in zip(found, self.planner.leaf(part, state, self._price, PART, times), strict=True):
                whole[ks] = some
        return found

    def _passed(self, p: Vector, opened: list[int], leaf: Leaf, left: Vector | None) -> Leaf:
        """Return the values of beliefs (moves, states) at which a pass stands: some end here, some may be watched."""
        missed = p @ self._faulty
        ends = missed < self.problem.remaining * p.sum(axis=1)
        closing = np.array([self.ways.close_all(state)[0] for state in opened])
        over = closing + missed * self.problem.missed
        watch = closing + (p @ self._watch).min(axis=1) if self._watch is not None else np.full(len(p), np.inf)
        stop = np.where(ends, over, np.minimum(leaf.stop, watch))
        going_on = np.where(ends, NOTHING, leaf.going_on)
        chance, late = leaf.chance, leaf.late
        if left is not None:
            stops = ends | (watch < np.minimum(leaf.going_on, leaf.stop))
            chance = np.where(stops, closing <= left, chance)
            late = np.where(stops, np.maximum(closing - left, 0.0), late)
        return Leaf(going_on, np.where(ends, NOTHING, leaf.lower), stop, chance, late)

    def _expand(self, node: Node) -> None:
        self.expansions += 1
        ways: list[Way] = []
        at = node.position
        first = self.expansions == 1
        # Whoever asks at the start wants a move: that it has not ended is known better there than here, where
        # unlikely states may have been left out.
        over = not first and self.problem.settled(at)
        if not over:
            ways += self._checks(node, first)
            ways += self._repairs(node)
            if self.problem.may_verify(at):
                ways.append(self._verify(node))
        closing = self.ways.close_all(at.open)[0]
        nobody = np.zeros(1)
        in_time = nobody if node.left is None else np.array([float(closing <= node.left)])
        late = nobody if node.left is None else np.array([max(closing - node.left, 0.0)])
        for i, end in enumerate(self.problem.ends):
            if self.problem.may_end(at, i):
                # Giving it up is no end by the time: what is wrong is not found.
                cost = np.array([float(at.p @ end.cost)])
                dealt = float(at.p @ (end.cost < self.problem.missed / 2)) if end.cost.min() < end.cost.max() else 0.0
                ways.append(Way("end", i, closing, closing, 0, np.ones(1), FAR, FAR, cost, in_time * dealt, late, {}))
        if over:
            cost = np.array([float(at.p @ self._faulty) * self.problem.missed])
            ways = [Way("end", -1, closing, closing, 0, np.ones(1), FAR, FAR, cost, in_time, late, {})]
        node.ways = ways
        if first:
            self._settle(node)
        self._back_up(node)

    def _checks(self, node: Node, first: bool) -> list[Way]:
        problem, at = self.problem, node.position
        which: list[int] = []
        made: list[CheckMove] = []
        for i, check in enumerate(problem.checks):
            now_asked = at.asked.get(i, check)
            if now_asked is not None:
                which.append(i)
                made.append(now_asked)
        if not which:
            if first:
                self._price = self.planner.price(np.zeros(0), np.zeros(0), np.zeros(0))
            return []
        tables = problem.padded[which]
        for k, (i, check) in enumerate(zip(which, made, strict=True)):
            if check is not problem.checks[i]:
                tables[k, : len(check.likelihood)] = check.likelihood
        went = [self.ways.go(at.open, check.needs, check.shut) for check in made]
        opened = [state & ~check.spoils for check, (_, state, _) in zip(made, went, strict=True)]
        crossing = np.array([cost for cost, _, _ in went])
        now = crossing + np.array([check.cost for check in made])
        minutes = crossing + np.array([check.minutes for check in made])
        joint = tables * at.p
        chance = joint.sum(axis=-1)
        after = joint / np.where(chance > 0, chance, 1.0)[..., None]
        if first:
            self._price = self._priced(at, after, chance, now, opened)
        left = None if node.left is None else node.left - minutes
        leaf = self._leaf(after, opened, left)
        if at.proven:
            for k in range(chance.shape[1]):
                part = Leaf(*(x[:, k] for x in leaf))
                for whole, some in zip(leaf, self._passed(after[:, k], opened, part, left), strict=True):
                    whole[:, k] = some
        return [
            _way("check", i, float(now[k]), float(minutes[k]), opened[k], chance[k], Leaf(*(x[k] for x in leaf)))
            for k, i in enumerate(which)
        ]

    def _priced(self, at: Position, after: Vector, chance: Vector, now: Vector, opened: list[int]) -> float:
        planner = self.planner
        b = planner.beliefs(after)
        told = float(planner.entropy(at.p)) - (chance * entropy(b.groups)).sum(axis=1)
        beyond = now - float(planner.told_cost(planner.beliefs(at.p), at.open))
        for k, state in enumerate(opened):
            beyond[k] += float(chance[k] @ planner.told_cost(type(b)(b.groups[k], b.extra[k], b.stop[k]), state))
        return planner.price(now, told, beyond)

    def _repairs(self, node: Node) -> list[Way]:
        problem, at = self.problem, node.position
        cleared = self._changes @ at.p
        which = [i for i, chance in enumerate(cleared.tolist()) if chance >= HARDLY and problem.may_repair(at, i)]
        if not which:
            return []
        made = [problem.repairs[i] for i in which]
        went = [self.ways.go(at.open, r.needs, r.shut) for r in made]
        opened = [state & ~r.spoils for r, (_, state, _) in zip(made, went, strict=True)]
        crossing = np.array([cost for cost, _, _ in went])
        now = crossing + np.array([r.cost for r in made])
        minutes = crossing + np.array([r.minutes for r in made])
        after = np.stack([self.planner.repaired(at.p, i) for i in which])
        left = None if node.left is None else node.left - minutes
        leaf = self._leaf(after, opened, left)
        # With the verification right behind it, which is what mostly comes next.
        proof = self._proved(after, opened, left)
        proved = np.array([p.now for p in proof])
        value = proved + np.array([float(p.chances @ self._value(p)) for p in proof])
        lower = proved + np.array([float(p.chances @ self._lower(p)) for p in proof])
        by_proof = value < np.minimum(leaf.going_on, leaf.stop)
        going_on = np.where(by_proof, value, leaf.going_on)
        lower = np.minimum(lower, leaf.lower)
        on_time = np.where(by_proof, [float(p.chances @ p.on_time) for p in proof], leaf.chance)
        late = np.where(by_proof, [float(p.chances @ p.late) for p in proof], leaf.late)
        return [
            Way("repair", i, float(now[k]), float(minutes[k]), opened[k], np.ones(1), going_on[k : k + 1],
                lower[k : k + 1], leaf.stop[k : k + 1], on_time[k : k + 1], late[k : k + 1], {})
            for k, i in enumerate(which)
        ]  # fmt: skip

    def _verify(self, node: Node) -> Way:
        left = None if node.left is None else np.array([node.left])
        return self._proved(node.position.p[None], [node.position.open], left)[0]

    def _proved(self, p: Vector, before: list[int], left: Vector | None) -> list[Way]:
        """Value verifying from beliefs (moves, states), each with its own open set."""
        verify = self.problem.verify
        went = [self.ways.go(state, verify.needs, verify.shut) for state in before]
        opened = [state & ~verify.spoils for _, state, _ in went]
        crossing = np.array([cost for cost, _, _ in went])
        times = None if left is None else left - crossing - verify.minutes
        joint = verify.likelihood * p[:, None, :]
        chance = joint.sum(axis=2)
        after = joint / np.where(chance > 0, chance, 1.0)[..., None]
        leaf = self._leaf(after, opened, times)
        passed = self._passed(after[:, 0], opened, Leaf(*(x[:, 0] for x in leaf)), times)
        for whole, some in zip(leaf, passed, strict=True):
            whole[:, 0] = some
        return [
            _way(
                "verify",
                0,
                float(crossing[k] + verify.cost),
                float(crossing[k] + verify.minutes),
                opened[k],
                chance[k],
                Leaf(*(x[k] for x in leaf)),
            )
            for k in range(len(p))
        ]

    # -- what was found ------------------------------------------------------------------------------

    def moves(self) -> tuple[Valued, ...]:
        """Return every move, the best first; ties by kind and name."""
        root = self.root
        if root.ways is None:
            self.run(1)
        assert root.ways is not None
        found = [self._valued(root, way) for way in root.ways if way.number >= 0]
        if self.objective == "chance":
            return tuple(
                sorted(found, key=lambda m: (-round(m.chance or 0.0, 3), round(m.expected, 9), ORDER[m.kind], m.name))
            )
        return tuple(sorted(found, key=lambda m: (round(m.expected, 9), ORDER[m.kind], m.name)))

    def name(self, way: Way) -> str:
        """Return the name of a move."""
        problem = self.problem
        if way.kind == "check":
            return problem.checks[way.number].name
        if way.kind == "repair":
            return problem.repairs[way.number].name
        return problem.verify.name if way.kind == "verify" else problem.ends[way.number].name

    def _valued(self, node: Node, way: Way) -> Valued:
        problem, at = self.problem, node.position
        expected, _, chance, late = self._ahead(way)
        told, outcomes = 0.0, tuple(float(c) for c in way.chances)
        if way.kind in ("check", "verify"):
            made = problem.verify if way.kind == "verify" else at.asked.get(way.number, problem.checks[way.number])
            assert made is not None
            outcomes = outcomes[: len(made.likelihood)]
            joint = made.likelihood * at.p
            after = joint / np.maximum(joint.sum(axis=1), 1e-300)[:, None]
            planner = self.planner
            told = float(planner.entropy(at.p)) - float(joint.sum(axis=1) @ planner.entropy(after))
            crossings = self.ways.go(at.open, made.needs, made.shut)[2]
        elif way.kind == "repair":
            repair = problem.repairs[way.number]
            outcomes = (float(at.p[self._changes[way.number]].sum()),)
            crossings = self.ways.go(at.open, repair.needs, repair.shut)[2]
        else:
            outcomes = ()
            crossings = self.ways.close_all(at.open)[2]
        timed = node.left is not None
        return Valued(
            way.kind, self.name(way), expected, way.now, told, outcomes, crossings,
            chance if timed else None, late if timed else None,
        )  # fmt: skip

    def before_closing(self, least: float = 0.4) -> tuple[str, ...]:
        """Return the checks that the plan goes on to ask, after its first move, before it shuts anything.

        Those it comes to in at least this share of cases, in their order; only as far as was looked ahead.
        """
        found: dict[str, float] = {}
        root = self.root
        if root.ways is None:
            return ()

        def follow(node: Node, share: float, opened: int, depth: int) -> None:
            if node.ways is None or share < 0.02 or depth > 6:
                return
            way = node.ways[node.best]
            if way.kind != "check":
                return
            made = node.position.asked.get(way.number, self.problem.checks[way.number])
            assert made is not None
            crossed = self.ways.go(node.position.open, made.needs, made.shut)[2]
            if depth and crossed:
                return
            if depth:
                found[self.name(way)] = found.get(self.name(way), 0.0) + share
            for outcome, kid in way.kids.items():
                follow(kid, share * float(way.chances[outcome]), way.after, depth + 1)

        follow(root, 1.0, root.position.open, 0)
        return tuple(name for name, share in found.items() if share >= least)


def _way(kind: Kind, number: int, now: float, minutes: float, after: int, chances: Vector, leaf: Leaf) -> Way:
    return Way(kind, number, now, minutes, after, chances, *leaf, kids={})


NOTHING = 1e15
"""Going on where the case has ended: it is always the end that counts."""
FAR = np.array([NOTHING])

__all__ = ["PART", "Lookahead", "Objective"]

"""The least expected cost of a decision problem, by best-first search that only gets better.

An AND/OR graph of positions (:class:`~isolate.reasoning.problem.Position`), in which what leads to the same place is
one node. Every node carries a lower and an upper bound. The lower bound is hindsight: the cost if the state were told
now, so that nobody has to ask (access, repairs, one verification and closing up are still paid). The upper bound is
the cost of a plan that can be followed: repairs by probability per minute, each verified, given up where that is
cheaper. An expansion values every move of one node at once; it is always the node that matters most: down the move
of the least lower bound, to the answer with the largest share of what is uncertain (AO*: Martelli & Montanari 1978;
bounds on both sides: Smith & Simmons 2005, heuristic search value iteration). Where the bounds meet, the optimum is
known and said to be exact.

Neither bound ever gets worse, and the same problem with the same budget (a number of expansions) gives the same
answer on every machine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from isolate.reasoning.problem import CheckMove, Kind, Move, Problem, Vector, Ways, bits

CLOSED = 1e-7
"""Bounds this close together, relative to the cost, count as met."""
NEVER = 1e9
"""What an end that is not there costs."""
CLOSE = "close up"
"""The end of a case in which a pass stands and little enough is left: it needs no move of its own."""
ROUND = 11
"""Beliefs that agree to so many decimals are one node."""


Asked = tuple[tuple[int, ...], ...]
"""For each check the answers had on this occasion."""
Done = tuple[int, ...]
"""For each repair how often it was done."""


class Found(NamedTuple):
    """What a search found: the move to make, what it is known to cost at most, and what no plan can beat."""

    move: Move
    expected: float
    bound: float
    exact: bool
    expansions: int


class _Action:
    """A move at a node: what it costs now, and the nodes it may lead to with their chances."""

    __slots__ = ("chances", "children", "kind", "lower", "move", "now", "upper")

    def __init__(self, kind: Kind, move: int, now: float, lower: float, upper: float = np.inf) -> None:
        self.kind, self.move, self.now, self.lower, self.upper = kind, move, now, lower, upper
        self.chances: list[float] = []
        self.children: list[_Node] | None = None


class _Node:
    """A position with bounds. ``actions`` is None until it is expanded; empty where the case ends here."""

    __slots__ = ("actions", "asked", "done", "lower", "open", "p", "plan", "proofs", "proven", "upper")

    def __init__(
        self,
        p: Vector,
        opened: int,
        asked: Asked,
        done: Done,
        proofs: int,
        proven: bool,
    ) -> None:
        self.p, self.open, self.asked, self.done = p, opened, asked, done
        self.proofs, self.proven = proofs, proven
        self.lower, self.upper = 0.0, np.inf
        self.actions: list[_Action] | None = None
        self.plan: tuple[Kind, int] = ("end", 0)


class Search:
    """Searches one problem from where it starts; :meth:`run` may be called again to go on."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.ways = problem.ways
        self._eased = self._ease()
        self.n = len(problem.states)
        self.expansions = 0
        self._nodes: dict[tuple[object, ...], _Node] = {}
        self._hindsight: dict[tuple[int, bool, Done, bool], Vector] = {}
        self._told: dict[tuple[int, int, bool, Done, bool], float] = {}
        self._tables: dict[Asked, tuple[list[int], list[CheckMove], Vector]] = {}
        self._reach: dict[tuple[object, ...], tuple[Vector, Vector]] = {}
        self._faulty = ~problem.clear
        ends = np.stack([e.cost for e in problem.ends])
        unproven = np.array([[NEVER if e.proven else 0.0] for e in problem.ends])
        self._ends = {True: ends, False: ends + unproven}
        identity = np.arange(self.n)
        self._changes = np.array([r.to for r in problem.repairs]).reshape(-1, self.n) != identity
        self._works = [np.flatnonzero(column).tolist() for column in self._changes.T]
        self._most = [r.most for r in problem.repairs]
        self._pass = problem.verify.likelihood[0]
        self._least_end = {proven: table.min(axis=0).tolist() for proven, table in self._ends.items()}
        self._tos = [r.to.tolist() for r in problem.repairs]
        self._clear = problem.clear.tolist()
        asked = tuple(() for _ in problem.checks)
        done = (0,) * len(problem.repairs)
        self.root = self._node(problem.p, problem.open, asked, done, problem.proofs, problem.proven)

    # -- hindsight -----------------------------------------------------------------------------------

    def _ease(self) -> Ways:
        """Return the ways in which what some move undoes, and what needs that, is shut for nothing.

        A check that undoes access can be cheaper than shutting it, so hindsight must not count on paying for that.
        """
        problem = self.problem
        undone = problem.verify.spoils
        for spoils in [c.spoils for c in problem.checks] + [r.spoils for r in problem.repairs]:
            undone |= spoils
        free = 0
        for i in bits(undone):
            free |= self.ways.above[i]
        if not free:
            return self.ways
        access = [replace(way, lasting=False) if free >> i & 1 else way for i, way in enumerate(problem.access)]
        return Ways(access, problem.hands)

    def _told_cost(self, h: int, opened: int, proven: bool, done: Done, spent: bool = False) -> float:
        """Return the least cost from here in state h if it is told, after every repair as well: never too much.

        ``spent``: no verification may be done before the next repair, be that in vain.
        """
        works = range(len(done)) if spent else self._works[h]
        key = (h, opened, proven, tuple(done[i] for i in works), spent)
        found = self._told.get(key)
        if found is not None:
            return found
        go, close = self._eased.go, self._eased.close_all
        closing = close(opened)[0]
        best = closing + float(self._least_end[proven][h])
        missed = 0.0 if self._clear[h] else self.problem.missed
        if proven:
            best = min(best, closing + missed)
        if not spent:
            verify = self.problem.verify
            cost, after, _ = go(opened, verify.needs, verify.shut)
            # A pass settles it, or an end that is there only while a pass stands does.
            passed = min(missed, float(self._least_end[True][h]))
            best = min(best, cost + verify.cost + close(after & ~verify.spoils)[0] + passed)
        able: list[tuple[float, int, int]] = []
        for i in works:
            if done[i] < self._most[i]:
                repair = self.problem.repairs[i]
                cost, after, _ = go(opened, repair.needs, repair.shut)
                able.append((cost + repair.cost, i, after & ~repair.spoils))
        # The cheap ones first: what costs more than the best known is not followed any further.
        for cost, i, after in sorted(able):
            if cost >= best:
                break
            s, to, more = self.problem.repairs[i].success, self._tos[i][h], (*done[:i], done[i] + 1, *done[i + 1 :])
            cost += s * self._told_cost(to, after, False, more)
            if s < 1 and cost < best:
                cost += (1 - s) * self._told_cost(h, after, False, more)
            best = min(best, cost)
        self._told[key] = best
        return best

    def _spent(self, proofs: int, proven: bool) -> bool:
        """Return whether a repair has to come before the next verification, and no pass stands."""
        return not proven and proofs >= self.problem.verify.most

    def hindsight(self, opened: int, proven: bool, done: Done, spent: bool = False) -> Vector:
        """Return, for each state, the cost from here if the states were told from now on."""
        key = (opened, proven, done, spent)
        found = self._hindsight.get(key)
        if found is None:
            costs = [self._told_cost(h, opened, proven, done, spent) for h in range(self.n)]
            found = self._hindsight[key] = np.array(costs)
        return found

    def _repaired(self, p: Vector, repair: int) -> Vector:
        """Return the belief after a repair. No table of states by states is kept: of 600 by 400 repairs it is 1 GB."""
        made = self.problem.repairs[repair]
        moved = np.bincount(made.to, weights=p * made.success, minlength=self.n)
        return np.asarray(p * (1 - made.success) + moved)

    # -- nodes ---------------------------------------------------------------------------------------

    def _node(self, p: Vector, opened: int, asked: Asked, done: Done, proofs: int, proven: bool) -> _Node:
        key = (p.round(ROUND).tobytes(), opened, asked, done, proofs, proven)
        node = self._nodes.get(key)
        if node is None:
            node = self._nodes[key] = _Node(p, opened, asked, done, proofs, proven)
            self._value(node)
        return node

    def _value(self, node: _Node) -> None:
        """Give a new node its bounds."""
        p, opened = node.p, node.open
        closing = self.ways.close_all(opened)[0]
        if node.proven and (left := float(p @ self._faulty)) < self.problem.remaining:
            node.lower = node.upper = closing + left * self.problem.missed
            node.actions = []
            node.plan = ("end", -1)
            return
        if self.problem.prove_each and node.proofs == 0 and (self.problem.unproved or any(node.done)):
            # Nothing else may come now; it is one move with the repair.
            node.plan = ("verify", 0)
            action = self._proof(node)
            node.actions = [action]
            self._reached(node, action)
            self._back_up(node)
            return
        node.upper, node.plan = self._try(node)
        told = self.hindsight(opened, node.proven, node.done, self._spent(node.proofs, node.proven))
        node.lower = min(float(p @ told), node.upper)

    def _try(self, node: _Node) -> tuple[float, tuple[Kind, int]]:
        """Return what trying repairs by probability per minute costs from here, and its first move."""
        problem, go, close_all = self.problem, self.ways.go, self.ways.close_all
        verify = problem.verify
        p, opened, done = node.p, node.open, list(node.done)
        stops: list[float] = []
        paid: list[float] = []
        first: list[tuple[Kind, int]] = []
        proofs, proven = node.proofs, node.proven
        mass = 1.0
        while True:
            ending = self._ends[proven] @ p
            end = int(ending.argmin())
            closing = close_all(opened)[0]
            stops.append(closing * mass + float(ending[end]))
            if not first:
                first.append(("end", end))
            if mass < 1e-9:
                break
            best, which = 0.0, -1
            cleared = self._changes @ p
            for i, gain in enumerate(cleared.tolist()):
                if gain < 1e-12 or done[i] >= self._most[i]:
                    continue
                repair = problem.repairs[i]
                cost = go(opened, repair.needs, repair.shut)[0] + repair.cost + verify.cost
                rate = gain * repair.success / max(cost, 1e-9)
                if rate > best:
                    best, which = rate, i
            cost = 0.0
            if proofs < verify.most and not proven:
                cost = go(opened, verify.needs, verify.shut)[0]
                clear = float(p @ problem.clear)
                if clear > 0 and clear / max(cost + verify.cost, 1e-9) >= best:
                    which = -2
            if which == -1:
                break
            cost = 0.0
            if which >= 0:
                repair = problem.repairs[which]
                crossing, opened, _ = go(opened, repair.needs, repair.shut)
                opened &= ~repair.spoils
                cost += crossing + repair.cost
                p = self._repaired(p, which)
                done[which] += 1
                proofs = 0
            crossing, opened, _ = go(opened, verify.needs, verify.shut)
            opened &= ~verify.spoils
            cost = (cost + crossing + verify.cost) * mass
            proofs += 1
            proven = False
            passed = p * self._pass
            left, total = float(passed @ self._faulty), float(passed.sum())
            closing = close_all(opened)[0]
            if left < problem.remaining * total:
                cost += closing * total + left * problem.missed
            else:
                cost += closing * total + float((self._ends[True] @ passed).min())
            paid.append(cost)
            if len(first) == 1:
                first.append(("repair", which) if which >= 0 else ("verify", 0))
            p = p - passed
            mass = float(p.sum())
        value = stops[-1]
        stopping = True
        for i in range(len(paid) - 1, -1, -1):
            on = paid[i] + value
            stopping = stops[i] <= on
            value = min(stops[i], on)
        return value, first[0] if stopping or len(first) == 1 else first[1]

    # -- expanding -----------------------------------------------------------------------------------

    def _usable(self, asked: Asked) -> tuple[list[int], list[CheckMove], Vector]:
        """Return the checks that may be asked after these answers, and their likelihoods (checks, outcomes, states)."""
        found = self._tables.get(asked)
        if found is None:
            which: list[int] = []
            made: list[CheckMove] = []
            for i, before in enumerate(asked):
                check: CheckMove | None = self.problem.checks[i]
                for outcome in before:
                    check = check.again(outcome) if check is not None else None
                if check is not None:
                    which.append(i)
                    made.append(check)
            most = max((len(c.likelihood) for c in made), default=1)
            table = np.zeros((len(made), most, self.n))
            for k, check in enumerate(made):
                table[k, : len(check.likelihood)] = check.likelihood
            found = self._tables[asked] = (which, made, table)
        return found

    def _expand(self, node: _Node) -> None:
        problem, go = self.problem, self.ways.go
        p, opened, done = node.p, node.open, node.done
        actions: list[_Action] = []
        self.expansions += 1
        which, made, _ = self._usable(node.asked)
        if which:
            spent = self._spent(node.proofs, node.proven)
            key = (node.asked, opened, node.proven, done, spent)
            reach = self._reach.get(key)
            if reach is None:
                costs, hind = [], []
                for check in made:
                    cost, after, _ = go(opened, check.needs, check.shut)
                    costs.append(cost + check.cost)
                    hind.append(self.hindsight(after & ~check.spoils, node.proven, done, spent))
                reach = self._reach[key] = (np.array(costs), np.array(hind))
            now = reach[0]
            lower = (now + reach[1] @ p).tolist()
            for k, i in enumerate(which):
                if lower[k] < node.upper:
                    actions.append(_Action("check", i, float(now[k]), lower[k]))
        for i, gain in enumerate((self._changes @ p).tolist()):
            if gain < 1e-12 or done[i] >= self._most[i]:
                continue
            repair = problem.repairs[i]
            cost, after, _ = go(opened, repair.needs, repair.shut)
            cost += repair.cost
            more = (*done[:i], done[i] + 1, *done[i + 1 :])
            told = self.hindsight(after & ~repair.spoils, False, more)
            bound = cost + float(p @ ((1 - repair.success) * told + repair.success * told[repair.to]))
            if bound < node.upper:
                actions.append(_Action("repair", i, cost, bound))
        if node.proofs < problem.verify.most:
            proof = self._proof(node)
            if proof.lower < node.upper:
                actions.append(proof)
        node.actions = actions
        self._back_up(node)

    def _proof(self, node: _Node) -> _Action:
        verify = self.problem.verify
        cost, after, _ = self.ways.go(node.open, verify.needs, verify.shut)
        cost += verify.cost
        after &= ~verify.spoils
        failed = self.hindsight(after, False, node.done, self._spent(node.proofs + 1, False))
        passed = self.hindsight(after, True, node.done)
        first = self._pass
        told = first * passed + (1 - first) * failed
        return _Action("verify", 0, cost, cost + float(node.p @ told))

    def _reached(self, node: _Node, action: _Action) -> list[_Node]:
        """Return the nodes a move may lead to, made now if this is the first time that it is followed."""
        if action.children is not None:
            return action.children
        problem, go = self.problem, self.ways.go
        p = node.p
        children = []
        if action.kind == "repair":
            repair = problem.repairs[action.move]
            _, after, _ = go(node.open, repair.needs, repair.shut)
            done = node.done
            more = (*done[: action.move], done[action.move] + 1, *done[action.move + 1 :])
            asked = node.asked
            if repair.renews:
                renewed = set(bits(repair.renews))
                asked = tuple(() if i in renewed else before for i, before in enumerate(asked))
            children.append(self._node(self._repaired(p, action.move), after & ~repair.spoils, asked, more, 0, False))
            action.chances = [1.0]
        else:
            if action.kind == "check":
                which, made, _ = self._usable(node.asked)
                check = made[which.index(action.move)]
            else:
                check = problem.verify
            _, after, _ = go(node.open, check.needs, check.shut)
            after &= ~check.spoils
            joint = check.likelihood * p
            for outcome, chance in enumerate(joint.sum(axis=1).tolist()):
                if chance <= 1e-15:
                    continue
                action.chances.append(chance)
                after_p = joint[outcome] / chance
                if action.kind == "check":
                    i = action.move
                    asked = (*node.asked[:i], (*node.asked[i], outcome), *node.asked[i + 1 :])
                    children.append(self._node(after_p, after, asked, node.done, node.proofs, node.proven))
                else:
                    proven = outcome == 0
                    children.append(self._node(after_p, after, node.asked, node.done, node.proofs + 1, proven))
        action.children = children
        return children

    def _back_up(self, node: _Node) -> None:
        """Take a node's bounds from its moves; they never get worse."""
        lower, upper = node.upper, node.upper
        for action in node.actions or ():
            if action.children is not None:
                low = up = action.now
                for chance, child in zip(action.chances, action.children, strict=True):
                    low += chance * child.lower
                    up += chance * child.upper
                action.lower, action.upper = max(action.lower, low), min(action.upper, up)
                if action.upper < upper:
                    upper = action.upper
                    node.plan = (action.kind, action.move)
            if action.lower < lower:
                lower = action.lower
        node.upper = upper
        node.lower = min(max(node.lower, lower), upper)

    # -- searching -----------------------------------------------------------------------------------

    def run(self, budget: int) -> Found:
        """Go on searching until so many expansions were made in all, or the optimum is known.

        Raises ValueError for a budget under one expansion.
        """
        if budget < 1:
            raise ValueError(f"a search needs a budget of at least 1 expansion, not {budget}")
        root = self.root
        while self.expansions < budget and not self._closed(root, root.upper):
            self._step()
        return self.found()

    @staticmethod
    def _closed(node: _Node, scale: float) -> bool:
        return node.upper - node.lower <= CLOSED * max(scale, 1.0)

    def _step(self) -> None:
        path = [self.root]
        node = self.root
        while node.actions is not None:
            action = min(node.actions, key=lambda a: a.lower, default=None)
            if action is None or action.lower >= node.upper:
                break
            children = self._reached(node, action)
            best, following = -1.0, None
            for chance, child in zip(action.chances, children, strict=True):
                gap = chance * (child.upper - child.lower)
                if gap > best and not (child.upper - child.lower <= 1e-12):
                    best, following = gap, child
            if following is None:
                break
            path.append(following)
            node = following
        if node.actions is None:
            self._expand(node)
            path.pop()
        for passed in reversed(path):
            self._back_up(passed)

    def found(self) -> Found:
        """Return the best that is known now."""
        root = self.root
        exact = self._closed(root, root.upper)
        return Found(self._named(*root.plan), root.upper, root.lower, exact, self.expansions)

    def _named(self, kind: Kind, index: int) -> Move:
        problem = self.problem
        if kind == "check":
            return Move(kind, problem.checks[index].name)
        if kind == "repair":
            return Move(kind, problem.repairs[index].name)
        if kind == "verify":
            return Move(kind, problem.verify.name)
        return Move(kind, problem.ends[index].name if index >= 0 else CLOSE)


def solve(problem: Problem, budget: int) -> Found:
    """Search a problem with a budget of expansions."""
    return Search(problem).run(budget)


__all__ = ["Found", "Search", "solve"]

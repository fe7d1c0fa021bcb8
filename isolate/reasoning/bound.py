"""What no plan can be expected to beat: a lower bound for problems too large to be searched to the end.

Three bounds, each a floor under the least expected cost V of a problem as :mod:`isolate.reasoning.problem` defines it;
:func:`lower_bound` returns the highest. All are worked out on a problem that is relaxed first, so that it costs no more
than the real one whatever is done: what some move undoes is shut for nothing; nothing has to be shut for another to be
opened; two people share the crossings as if none had to wait (work through hands); a pass *may* end the case for the
cost of what is missed, instead of ending it by force once little is left; and no verification is owed to a repair.

*Told* (hindsight): the state is known from now on. Access, repairs, one verification and closing are paid.

*Pieces*: in the relaxed problem V is concave in the belief and grows in step with its mass, so the beliefs of any
partition of the states cost less together than the whole: being told the part can only help. Each part, a few states,
is searched (:mod:`isolate.reasoning.search`). Repairs that change nothing in a part are left out of it; what they may
do for it, make checks as new and begin an occasion for the verification, it has for nothing.

*Doubt*: what has to be found out has to be paid for. Let m be the masses of the states and H(m) = -sum m log2(m/|m|).
For a price of L minutes a bit, the function

    F(m) = sum over states of m[h] (told[h] - free[h] - L slack[h] - early[h]) + L (H(m) - ends |m|)

is at most V(m), because no move takes more from it than the move costs, and no end costs less than it; so it holds by
induction from the last move back. For each kind of move that is one inequality:

- A *check* k takes J(m) = sum m[h] KL(likelihood of h || mixture) from H. For any distribution r of answers that is at
  most sum m[h] KL(likelihood of h || r) (the mixture is the r that makes it least). What it takes in state h beyond its
  cost, max(0, L KL - cost), is granted beforehand in ``free``, once for each time that it may be asked. Its cost counts
  crossings, too: access that no repair of h needs costs h what the checks behind it are worth to it at most, once.
- A *repair* lets states run together, which takes from H. Told apart later or not, a state h that it moves to g must
  have paid for being mistaken for g, and g paid for a repair in vain. By Kraft's inequality sum 2**-y <= 1 over what
  runs together in g (y: bits that each has paid) is enough: h pays in ``slack``, g by the repair.
- A *verification* is a check, but told[h] counts one already. ``early`` is what a clear state pays for being known by
  it; a state with a fault pays by the verification in vain, and by part of the repair in vain before it.
- An *end* leaves doubt for which nobody paid: those h for which it costs hardly more than told[h]. Kraft again:
  ``ends`` = log2 of sum 2**-(what the end costs h beyond told, in bits). Once a repair of h has failed, told[h] may be
  near an end; ``slack`` pays for that share beforehand.

Sources: concavity of the optimal cost in the belief, Astrom 1965 [memory]; potentials of this kind are subsolutions of
the optimality equation (Bertsekas 2012, vol. 1) [memory]; data processing, chain rule, Kraft: Cover & Thomas 2006,
ch. 2 and 5 [memory]; entropy as a bound on the cost of test sequences: Pattipati & Alexandridis 1990 [memory]. That
they may be put together as above is our own argument, held against a brute force in ``tests/reasoning/test_bound.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from isolate.reasoning.problem import EndMove, Position, Problem, Vector, Way, Ways, bits
from isolate.reasoning.search import Search

Mask = NDArray[np.bool_]
Done = tuple[tuple[int, int], ...]

FEW = 8
"""States up to which the whole problem is one piece."""
PIECE = 4
"""States of a part otherwise."""
STEP = 5
"""Expansions that a part gets at a time."""
ACCEPT = "close up all the same"
"""The end that a relaxed problem has while a pass stands."""
PRICES = tuple(2.0 ** (k / 2) for k in range(-2, 13))
"""Minutes a bit that are tried."""
STEPS = (2.0**0.25, 2.0**0.125, 2.0**0.0625, 2.0**0.03, 2.0**0.015)
"""Factors by which the best of them is neared."""
KEEPING = (0.0, 0.25, 0.5, 1.0, 2.0, 3.0)
"""Bits' worth of a repair in vain that are kept for the verification behind it, of which the best are taken."""
MIXTURES = 129
"""Mixtures of what the verification shows that are tried."""
RARE = 1e-4
"""What a state is taken to be at least worth in sharing out what states pay that run together."""
TRACE = 1e-9
"""Share that any answer has in a mixture."""
ROUNDS, FINE = 12, 60
"""Steps in which the mixtures of answers are neared, while prices are tried and for the best of them."""
SAFE = 1e-9
"""Share by which a bound is lowered for rounding."""


def lower_bound(
    problem: Problem,
    position: Position | None = None,
    budget: int = 100,
    stopped: Callable[[], bool] = lambda: False,
) -> float:
    """Return equivalent minutes that no plan can be expected to beat from a position (default: the start).

    ``budget``: expansions spent on pieces; the same problem and budget give the same figure. ``stopped``: asked now
    and then; a bound that was stopped is one, and no more than hindsight perhaps. Raises ValueError for a budget
    under one.
    """
    if budget < 1:
        raise ValueError(f"a bound needs a budget of at least 1 expansion, not {budget}")
    at = position if position is not None else problem.start()
    if problem.settled(at):
        left = float(at.p @ ~problem.clear)
        return problem.ways.close_all(at.open)[0] + left * problem.missed
    relaxed = Relaxed(problem, at)
    best = relaxed.told_bound()
    if not stopped():
        best = max(best, Doubt(relaxed, stopped).best())
    if not stopped():
        best = max(best, pieces(relaxed, budget, stopped))
    return max(0.0, best * (1 - SAFE))


def pieces(relaxed: Relaxed, budget: int, stopped: Callable[[], bool] = lambda: False) -> float:
    """Return the bound *pieces*: the whole where few states are possible, else parts of :data:`PIECE` states.

    Parts hold what is dear to confuse: by the least mass of two states and what a repair in vain costs.
    """
    p = relaxed.p
    possible = np.flatnonzero(p > 0).tolist()
    parts = [possible] if len(possible) <= FEW else _parts(relaxed, possible)
    searches = [(float(p[part].sum()), Search(relaxed.piece(part))) for part in parts]
    found = [search.found() for _, search in searches]
    left = budget
    while left > 0 and not stopped():
        # Where the bounds are furthest apart, weighed by mass, there is most to be had.
        gaps = [mass * (f.expected - f.bound) for (mass, _), f in zip(searches, found, strict=True)]
        k = int(np.argmax(gaps))
        if gaps[k] <= 1e-9:
            break
        search = searches[k][1]
        spent = min(STEP, left)
        found[k] = search.run(search.expansions + spent)
        left -= spent
    return sum(mass * f.bound for (mass, _), f in zip(searches, found, strict=True))


def _parts(relaxed: Relaxed, possible: Sequence[int]) -> list[list[int]]:
    """Return the states in parts: the pair that costs most to confuse first, parts joined up to their size."""
    p, problem = relaxed.p, relaxed.problem
    vain = []
    for h in possible:
        costs = [problem.repairs[i].cost for i in relaxed.works[h]]
        vain.append(min(costs, default=0.0) + problem.verify.cost)
    pairs = []
    for a, g in enumerate(possible):
        for b in range(a + 1, len(possible)):
            h = possible[b]
            if relaxed.works[g] != relaxed.works[h]:
                pairs.append((-min(p[g] * vain[b], p[h] * vain[a]), g, h))
    part = {h: [h] for h in possible}
    for _, g, h in sorted(pairs):
        if part[g] is not part[h] and len(part[g]) + len(part[h]) <= PIECE:
            joined = part[g] + part[h]
            for x in joined:
                part[x] = joined
    return [list(x) for x in {tuple(sorted(x)): None for x in part.values()}]


class Relaxed:
    """A problem at a position, relaxed; the cost if the state were told is worked out here."""

    def __init__(self, problem: Problem, at: Position) -> None:
        self.problem, self.at = problem, at
        self.p = at.p / float(at.p.sum())
        n = len(self.p)
        self.n = n
        access = _eased(problem)
        self.ways = problem.ways if access == problem.access and problem.hands == 1 else Ways(access)
        self.access = access
        self.most = [max(0, r.most - at.done.get(i, 0)) for i, r in enumerate(problem.repairs)]
        self.tos = [r.to.tolist() for r in problem.repairs]
        changes = problem.targets != np.arange(n)
        changes &= np.array(self.most, dtype=int)[:, None] > 0
        self.changes = changes
        self.works: list[list[int]] = [np.flatnonzero(column).tolist() for column in changes.T]
        # later[h]: the repairs that work on what may become of state h.
        self.later: list[set[int]] = [set(w) for w in self.works]
        self.live = self.p > 0
        changed = True
        while changed:
            changed = False
            for h, works in enumerate(self.works):
                for i in works:
                    to = self.tos[i][h]
                    if not self.later[to] <= self.later[h] or (self.live[h] and not self.live[to]):
                        self.later[h] |= self.later[to]
                        self.live[to] |= self.live[h]
                        changed = True
        accept = np.where(problem.clear, 0.0, problem.missed)
        self.before = np.stack([e.cost for e in problem.ends if not e.proven])
        self.after = np.stack([*(e.cost for e in problem.ends), accept])
        self._ends = {False: self.before.min(axis=0).tolist(), True: self.after.min(axis=0).tolist()}
        self._known: dict[tuple[int, int, bool, Done], float] = {}

    def told(self, h: int, opened: int, proven: bool, done: Done = ()) -> float:
        """Return the least expected cost in state h if it is told now and after every repair."""
        key = (h, opened, proven, done)
        found = self._known.get(key)
        if found is not None:
            return found
        problem, go = self.problem, self.ways.go
        best: float = self.ways.close_all(opened)[0] + self._ends[proven][h]
        if not proven:
            verify = problem.verify
            crossing, after, _ = go(opened, verify.needs, verify.shut)
            closing = self.ways.close_all(after & ~verify.spoils)[0]
            best = min(best, crossing + verify.cost + closing + self._ends[True][h])
        times = dict(done)
        able = []
        for i in self.works[h]:
            if times.get(i, 0) < self.most[i]:
                repair = problem.repairs[i]
                crossing, after, _ = go(opened, repair.needs, repair.shut)
                able.append((crossing + repair.cost, i, after & ~repair.spoils))
        # The cheap ones first: what costs more than the best known is not followed any further.
        for cost, i, after in sorted(able):
            if cost >= best:
                break
            to, s = self.tos[i][h], problem.repairs[i].success
            more = tuple(sorted({**times, i: times.get(i, 0) + 1}.items()))
            # Only what may work from there on counts for what may still be done; else it is a memory of the same.
            cost += s * self.told(to, after, False, tuple(x for x in more if x[0] in self.later[to]))
            if s < 1 and cost < best:
                cost += (1 - s) * self.told(h, after, False, more)
            best = min(best, cost)
        self._known[key] = best
        return best

    def told_all(self) -> Vector:
        """Return the cost if told, from here, of the states that are possible now; 0 elsewhere."""
        at = self.at
        return np.array([self.told(h, at.open, at.proven) if self.p[h] > 0 else 0.0 for h in range(self.n)])

    def told_bound(self) -> float:
        """Return the bound *told*."""
        return float(self.p @ self.told_all())

    def piece(self, part: Sequence[int]) -> Problem:
        """Return the relaxed problem in which only these states are possible."""
        problem, at = self.problem, self.at
        p = np.zeros(self.n)
        p[list(part)] = self.p[list(part)]
        left, _ = problem.narrowed(replace(at, p=p / p.sum()))
        kept = {r.name for r in left.repairs}
        dropped = [i for i, r in enumerate(problem.repairs) if r.name not in kept and self.most[i] > 0]
        occasions = 1 + sum(self.most[i] for i in dropped)
        again = {
            check.name: sum(self.most[i] for i in dropped if problem.repairs[i].renews >> k & 1)
            for k, check in enumerate(problem.checks)
        }
        checks = []
        for check in left.checks:
            checks.append(check)
            if again[check.name]:
                fresh = replace(check.new, name=f"{check.name} anew", most=check.most * again[check.name], same=0.0)
                checks.append(fresh)
        index = {check.name: k for k, check in enumerate(checks)}
        bit = [1 << index[check.name] for check in left.checks]
        repairs = [replace(r, renews=sum(bit[k] for k in bits(r.renews))) for r in left.repairs]
        accept = EndMove(ACCEPT, np.where(left.clear, 0.0, left.missed), proven=True)
        return replace(
            left,
            access=self.access,
            crossings=self.ways,
            hands=1,
            checks=tuple(checks),
            repairs=tuple(repairs),
            verify=replace(left.verify, most=left.verify.most * occasions),
            ends=(*left.ends, accept),
            remaining=0.0,
            prove_each=False,
            unproved=False,
        )


def _eased(problem: Problem) -> tuple[Way, ...]:
    """Return the access states, relaxed as the module says."""
    undone = problem.verify.spoils
    for spoils in [c.spoils for c in problem.checks] + [r.spoils for r in problem.repairs]:
        undone |= spoils
    free = 0
    for i in bits(undone):
        free |= problem.ways.above[i]
    eased = []
    for i, way in enumerate(problem.access):
        share = min(way.people, problem.hands) / problem.hands
        eased.append(
            replace(
                way,
                open=way.open * share,
                close=way.close * share,
                shut=0,
                lasting=way.lasting and not free >> i & 1,
            )
        )
    return tuple(eased)


@dataclass(frozen=True)
class _Asked:
    """A check as the bound *doubt* counts it: a likelihood, what it costs, how often it may be had, what it needs."""

    likelihood: Vector
    cost: float
    times: int
    needs: int


class Doubt:
    """The bound *doubt* of a relaxed problem; see the module."""

    def __init__(self, relaxed: Relaxed, stopped: Callable[[], bool] = lambda: False) -> None:
        self.relaxed, self._stopped = relaxed, stopped
        p = relaxed.p
        self.told = relaxed.told_all()
        some = p[p > 0]
        self.bits = float(-(some * np.log2(some)).sum())
        self.high = np.array([relaxed.told(h, 0, False) if relaxed.live[h] else 0.0 for h in range(relaxed.n)])
        self.asked = self._asked()
        if self.asked is not None:
            self._lay_out(self.asked)
        live = np.flatnonzero(relaxed.live).tolist()
        self._order = self._leaves_first(live)
        self._proof = self._told_apart()

    def _asked(self) -> list[_Asked] | None:
        """Return the checks, as often as they may be had; None where what they tell cannot be bounded."""
        problem, at = self.relaxed.problem, self.relaxed.at
        found = []
        for k, check in enumerate(problem.checks):
            now = at.asked.get(k, check)
            needs = self.relaxed.ways.closed_under(check.needs)
            again = sum(self.relaxed.most[i] for i, r in enumerate(problem.repairs) if r.renews >> k & 1)
            left = 0 if now is None else now.most - len(now.before)
            if now is not None and left and (left == 1 or now.first is not None):
                # What was seen on the occasion may make the next answer tell more than a fresh one.
                found.append(_Asked(now.likelihood, check.cost, 1, needs))
                left -= 1
                if left and len(now.before) > 1:
                    return None
            elif now is not None and len(now.before) > 1:
                # Whether it repeats itself then depends on the state: the answers are no fresh trials made worse.
                return None
            if left or again:
                # A repeat is a fresh trial, or a copy by the toss of a coin: it tells no more than a fresh trial does.
                found.append(_Asked(check.new.likelihood, check.cost, left + check.most * again, needs))
        return found

    def _lay_out(self, asked: Sequence[_Asked]) -> None:
        relaxed, n = self.relaxed, self.relaxed.n
        most = max((len(a.likelihood) for a in asked), default=1)
        self._table = np.zeros((len(asked), most, n))
        for k, a in enumerate(asked):
            self._table[k, : len(a.likelihood)] = a.likelihood
        logs = np.log2(self._table, out=np.zeros_like(self._table), where=self._table > 0)
        self._own = (self._table * logs).sum(axis=1)
        self._cost = np.array([a.cost for a in asked])[:, None]
        self._times = np.array([float(a.times) for a in asked])[:, None]
        access = relaxed.access
        # budget[i, h]: what opening and shutting i costs in state h beyond what its repairs open anyway.
        self._budget = np.zeros((len(access), n))
        needed = self._needed()
        for i, way in enumerate(access):
            if not relaxed.at.open >> i & 1:
                both = way.open + (way.close if way.lasting else 0.0)
                self._budget[i] = [0.0 if mask >> i & 1 else both for mask in needed]
        self._behind = [[k for k, a in enumerate(asked) if a.needs >> i & 1] for i in range(len(access))]

    def _needed(self) -> list[int]:
        """Return for each state what any repair on its way, or the verification, needs open."""
        problem, ways = self.relaxed.problem, self.relaxed.ways
        found = []
        for later in self.relaxed.later:
            needed = problem.verify.needs
            for i in later:
                needed |= problem.repairs[i].needs
            found.append(ways.closed_under(needed))
        return found

    def _leaves_first(self, live: Sequence[int]) -> list[int] | None:
        """Return the live states, each behind those that repairs make of it; None where they go in a circle."""
        order: list[int] = []
        placed: set[int] = set()
        left = list(live)
        while left:
            ready = [h for h in left if all(self.relaxed.tos[i][h] in placed for i in self.relaxed.works[h])]
            if not ready:
                return None
            order += ready
            placed.update(ready)
            left = [h for h in left if h not in placed]
        return order

    # -- the inequalities ----------------------------------------------------------------------------

    def best(self) -> float:
        """Return the best bound of all prices tried; minus infinity where there is none."""
        if self.asked is None or self._order is None:
            return -np.inf
        best, price = max((self.at_price(price), price) for price in PRICES)
        if not np.isfinite(best):
            return best
        for step in STEPS:
            if self._stopped():
                return best
            for near in (price / step, price * step):
                best, price = max((best, price), (self.at_price(near), near))
        return max(best, self.at_price(price, FINE))

    def at_price(self, price: float, rounds: int = ROUNDS) -> float:
        """Return the bound for a price, minutes a bit; minus infinity where the inequalities cannot be met."""
        p, clear = self.relaxed.p, self.relaxed.problem.clear
        lost = [np.inf]
        for keeping in KEEPING:
            early = self._early(price, keeping)
            if early is not None:
                slack, ends = self._slack(price, *early[1:])
                due = 0.0 if self.relaxed.at.proven else early[0] * float(p[clear].sum())
                lost.append(price * (float(p @ slack) + ends) + due)
        if not np.isfinite(min(lost)):
            return -np.inf
        return float(p @ (self.told - self._free(price, rounds))) + price * self.bits - min(lost)

    def _free(self, price: float, rounds: int = ROUNDS) -> Vector:
        """Return, for each state, the minutes' worth of telling that checks give beyond what they cost.

        The mixtures of answers that make it least are those of the masses to which the checks give something; they are
        neared from the whole belief, a smaller step at a time (Frank & Wolfe 1956 [memory]).
        """
        p, table = self.relaxed.p, self._table
        least, free = np.inf, np.zeros(len(p))
        if not len(table):
            return free
        shown = table.max(axis=2) > 0
        weight = np.broadcast_to(p, self._own.shape)
        for step in range(rounds):
            mixed = np.where(shown, (table @ weight[:, :, None])[:, :, 0] + TRACE, 0.0)
            mixed /= mixed.sum(axis=1, keepdims=True)
            logs = np.log2(mixed, out=np.zeros_like(mixed), where=shown)
            left = self._unpaid(np.maximum(price * (self._own - (logs[:, None, :] @ table)[:, 0]) - self._cost, 0.0))
            given = left.sum(axis=0)
            if (total := float(given @ p)) < least:
                least, free = total, given
            share = 2.0 / (step + 3)
            weight = (1 - share) * weight + share * p * (left > 0)
        return free

    def _unpaid(self, over: Vector) -> Vector:
        """Return (checks, states) of what is told beyond its cost less what access costs each state on top of that."""
        left = over * self._times
        for i in reversed(self.relaxed.ways.order):
            behind = self._behind[i]
            if len(behind):
                rows = left[behind]
                sums = rows.sum(axis=0)
                left[behind] = rows * np.where(
                    sums > self._budget[i], 1 - self._budget[i] / np.maximum(sums, 1e-300), 0.0
                )
        return np.asarray(left)

    def _told_apart(self) -> tuple[Vector, Vector, Vector]:
        """Return KL of the verification's likelihood from mixtures of it, bits, (mixtures, states), and the chances

        of no pass and of a pass. Between what a clear state and what a fault shows lies the mixture that is wanted.
        """
        problem, live = self.relaxed.problem, self.relaxed.live
        table = problem.verify.likelihood
        clear, faulty = live & problem.clear, live & ~problem.clear
        if clear.any() and faulty.any():
            one, other = table[:, clear].mean(axis=1), table[:, faulty].mean(axis=1)
            share = np.linspace(0.0, 1.0, MIXTURES)[:, None]
            mixed = (1 - share) * one + share * other
        else:
            mixed = table[:, live].mean(axis=1)[None]
        mixed = (mixed + TRACE) / (1 + TRACE * mixed.shape[1])
        own = (table * np.log2(table, out=np.zeros_like(table), where=table > 0)).sum(axis=0)
        return np.asarray(own - np.log2(mixed) @ table), 1.0 - table[0], table[0]

    def _early(self, price: float, keeping: float) -> tuple[float, list[float], list[float]] | None:
        """Return what a clear state pays for being known by a verification, before any repair and after each, and what

        of each repair in vain is kept for that; equivalent minutes. None where no such payment is enough.
        """
        problem, live = self.relaxed.problem, self.relaxed.live
        verify = problem.verify
        many = verify.most > 1
        telling, fail, passed = self._proof
        short = price * telling - fail * verify.cost
        clear, faulty = live & problem.clear, live & ~problem.clear
        # For each mixture what faults would have to have kept, and what clear states would have to pay; one that does
        # not pass has to pay again.
        keep = short[:, faulty].max(axis=1, initial=0.0)
        pay = (short[:, clear] / np.maximum(passed[clear], TRACE)).max(axis=1, initial=0.0)
        if many:
            # Verified again while a pass stands, a clear state may lose what it had got back.
            spent = price * telling[:, clear] + fail[clear] * pay[:, None]
            pay = np.where((spent > verify.cost).any(axis=1), np.inf, pay)

        def pays(kept: float) -> float:
            return float(pay[keep <= kept].min(initial=np.inf))

        first = pays(0.0)
        if not np.isfinite(first):
            return None
        kept = [0.0 if many else min(r.cost / 2, keeping * price) for r in problem.repairs]
        if not many:
            pay = np.minimum(pay, (short[:, clear] + fail[clear] * first).max(axis=1, initial=0.0))
        return first, [pays(x) for x in kept], kept

    def _slack(self, price: float, early: list[float], kept: list[float]) -> tuple[Vector, float]:
        """Return the bits that each state pays for repairs letting it run together with others, and those for ends."""
        relaxed = self.relaxed
        problem, p = relaxed.problem, relaxed.p
        n = relaxed.n
        assert self._order is not None
        clear = problem.clear.tolist()
        guess = np.maximum(p, RARE)
        guess = guess / guess[relaxed.live].sum()
        stuck = np.zeros(n)
        slack = np.zeros(n)
        # A repair after a pass makes the verification due again, or an end that costs something.
        owed = float(min(problem.verify.cost, relaxed.before[:, relaxed.live].min()))
        after_pass = [r.cost + owed - early[i] for i, r in enumerate(problem.repairs)]
        if min((x for x, most in zip(after_pass, relaxed.most, strict=True) if most), default=0.0) < 0:
            return slack, np.inf
        runs: dict[tuple[int, int], list[int]] = {}
        for h in self._order:
            for i in relaxed.works[h]:
                runs.setdefault((i, relaxed.tos[i][h]), []).append(h)
        for h in self._order:
            needs = float(-np.log2(guess[h])) if relaxed.works[h] else 0.0
            for i in relaxed.works[h]:
                g = relaxed.tos[i][h]
                if relaxed.works[g]:
                    needs = max(needs, stuck[g])
            stuck[h] = needs
            pays = 0.0
            for i in relaxed.works[h]:
                repair, g = problem.repairs[i], relaxed.tos[i][h]
                held = early[i] if clear[g] else kept[i]
                if i in relaxed.works[g]:
                    taken = 0.5
                else:
                    vain = min(repair.cost, after_pass[i]) if clear[g] else repair.cost - kept[i]
                    taken = 2.0 ** (-vain / price) if vain > 0 else 1.0
                if taken >= 1.0:
                    return slack, np.inf
                mine = guess[h] / sum(guess[x] for x in runs[i, g])
                apart = -np.log2((1 - taken) * mine)
                failed = (stuck[h] + (kept[i] if not clear[h] else early[i]) / price) + ((i, h) in runs)
                on = slack[g] + (0.0 if set(relaxed.works[g]) <= set(relaxed.works[h]) - {i} else stuck[g])
                pays = max(pays, on + held / price + apart + (1 - repair.success) / repair.success * failed)
            slack[h] = pays
        live = relaxed.live
        least = relaxed.before.min(axis=0)
        most = 0.0
        for cost in (*relaxed.before, *relaxed.after):
            fresh = np.maximum(cost - self.high, 0.0) / price
            late = np.maximum(cost - least, 0.0) / price + stuck
            worth = np.where([bool(w) for w in relaxed.works], np.minimum(fresh, late), fresh) + slack
            most = max(most, float((2.0 ** -worth[live]).sum()))
        return slack, max(0.0, float(np.log2(most)))

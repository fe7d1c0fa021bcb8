"""The decision problem, stated apart from knowledge and screen.

A problem has joint states with probabilities, access that checks and repairs share, checks with noisy outcomes,
repairs that map states to states, one verification, and ways to end. Whatever builds one can be planned for
(:mod:`isolate.reasoning.plan`, :mod:`isolate.reasoning.search`). Costs are equivalent minutes; minutes are what the
clock shows. Sets of access states are bit masks: bit i stands for ``access[i]``.

Where a case stands is a :class:`Position`; how it goes on, a move at a time:

- A check is asked at most ``most`` times on one occasion; its answer weighs the belief.
- A repair is done at most ``most`` times. It moves the belief, makes the checks in ``renews`` as new, and begins a new
  occasion for the verification.
- The verification is done at most ``verify.most`` times on one occasion; its first outcome is the pass. While a pass
  stands and the chance of a fault left is under ``remaining``, the case ends by itself: closed up, with what is left
  missed.
- An end closes up and stops.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


Kind = Literal["check", "repair", "swap", "verify", "end"]
"""What a move is. No plan looks for a ``swap``, parts changed over between channels: it mends nothing by itself."""


class Move(NamedTuple):
    """A move by kind and name."""

    kind: Kind
    name: str


class Crossed(NamedTuple):
    """One crossing: the access state's index and whether it is opened or shut."""

    access: int
    opening: bool


@dataclass(frozen=True)
class Way:
    """An access state. Its needs must be open while it is; what it wants shut must be shut as it is opened."""

    name: str
    open: float
    close: float
    needs: int = 0
    shut: int = 0
    lasting: bool = True
    people: int = 1
    """How many people it takes; two people cross what takes one each at the same time."""


@dataclass(frozen=True, eq=False)
class CheckMove:
    """A check; ``likelihood`` has shape (outcomes, states), each column summing to one, and is of the next answer.

    ``past``: it speaks of the time before any repair, so it tells nothing new after one. ``most``: how often it may
    be asked on one occasion. Asked again it repeats itself with share ``same``, else it is a fresh trial:
    P(r1..rk) = same * [all equal] * P(r1) + (1 - same) * product; ``first`` is then the likelihood of a first answer
    and ``before`` the answers had on this occasion. ``minutes``: by the clock, default the cost.
    """

    name: str
    cost: float
    likelihood: Vector
    needs: int = 0
    shut: int = 0
    spoils: int = 0
    past: bool = False
    most: int = 1
    same: float = 0.0
    first: Vector | None = None
    before: tuple[int, ...] = ()
    minutes: float = -1.0

    def __post_init__(self) -> None:
        if self.minutes < 0:
            object.__setattr__(self, "minutes", self.cost)

    def again(self, outcome: int) -> CheckMove | None:
        """Return the check as it is asked once more after this answer; None where it may not be."""
        before = (*self.before, outcome)
        if len(before) >= self.most:
            return None
        first = self.likelihood if self.first is None else self.first
        ran = _run(first, before, self.same)
        following = np.stack([_run(first, (*before, k), self.same) for k in range(len(first))])
        return replace(self, likelihood=following / np.where(ran > 0, ran, 1.0), first=first, before=before)

    @cached_property
    def new(self) -> CheckMove:
        """The check as it is asked for the first time on an occasion."""
        return self if self.first is None else replace(self, likelihood=self.first, before=())


def _run(likelihood: Vector, outcomes: tuple[int, ...], same: float) -> Vector:
    """Return P(these outcomes in turn | state)."""
    alike = len(set(outcomes)) == 1
    independent = np.prod(likelihood[list(outcomes)], axis=0)
    return np.asarray(same * likelihood[outcomes[0]] * alike + (1 - same) * independent)


@dataclass(frozen=True, eq=False)
class RepairMove:
    """A repair; ``to[h]`` is the state that state h becomes with probability ``success`` (h itself: no effect).

    ``most``: how often it may be done. ``renews``: the checks (bit i: check i) that are as new after it.
    """

    name: str
    cost: float
    to: NDArray[np.int64]
    success: float
    needs: int = 0
    shut: int = 0
    spoils: int = 0
    most: int = 1
    renews: int = 0
    minutes: float = -1.0

    def __post_init__(self) -> None:
        if self.minutes < 0:
            object.__setattr__(self, "minutes", self.cost)


@dataclass(frozen=True, eq=False)
class EndMove:
    """A way to stop without verification; ``cost[h]`` is what it costs in state h, closing up apart.

    ``proven``: it is there only while a pass stands.
    """

    name: str
    cost: Vector
    proven: bool = False


@dataclass(frozen=True, eq=False)
class Problem:
    """A decision problem. ``clear[h]`` says that state h has no fault; ``verify``'s first outcome is the pass.

    ``missed`` is the cost of ending, verified, with a fault left; a verification that passes ends the case once the
    probability of that is less than ``remaining``. ``proven``: a pass stands already, ``proofs``: verifications done
    on this occasion. ``hands``: people working side by side. ``prove_each``: the verification follows every repair at
    once; ``unproved``: it is what has to come now. ``sound``: whoever made the problem vouches for its parts, which
    then are not gone through again. Raises ValueError, in a sentence, where the parts do not fit.
    """

    states: tuple[str, ...]
    p: Vector
    clear: NDArray[np.bool_]
    access: tuple[Way, ...]
    checks: tuple[CheckMove, ...]
    repairs: tuple[RepairMove, ...]
    verify: CheckMove
    ends: tuple[EndMove, ...]
    missed: float
    remaining: float = 0.05
    open: int = 0
    crossings: Ways | None = field(default=None, repr=False)
    """What it takes to cross ``access``, where somebody keeps it from problem to problem; else worked out here."""
    proven: bool = False
    proofs: int = 0
    hands: int = 1
    prove_each: bool = False
    unproved: bool = False
    sound: bool = field(default=False, repr=False)

    def __post_init__(self) -> None:
        if not self.sound:
            self._go_through()

    def _go_through(self) -> None:
        """Raise ValueError where the parts do not fit."""
        n = len(self.states)
        if n == 0:
            raise ValueError("a problem needs at least one state")
        if self.p.shape != (n,) or self.clear.shape != (n,):
            raise ValueError(f"{n} states need one probability and one mark of being clear each")
        if not np.all(np.isfinite(self.p)) or (self.p < 0).any() or not np.isclose(self.p.sum(), 1.0):
            raise ValueError("the probabilities of the states must be numbers from 0 up and sum to 1")
        everything = (1 << len(self.access)) - 1
        moves: list[tuple[str, CheckMove | RepairMove]] = [("check", c) for c in self.checks]
        moves += [("verification", self.verify), *(("repair", r) for r in self.repairs)]
        for what, move in moves:
            if not np.isfinite(move.cost) or move.cost < 0:
                raise ValueError(f"{what} {move.name}: its cost must be a number of minutes from 0 up, not {move.cost}")
            if (move.needs | move.shut | move.spoils) & ~everything:
                raise ValueError(f"{what} {move.name} names access that the problem does not have")
            if move.most < 1:
                raise ValueError(f"{what} {move.name} may be done {move.most} times: leave it out instead")
        for check in (*self.checks, self.verify):
            table = check.likelihood
            if table.ndim != 2 or len(table) == 0 or table.shape[1] != n:
                raise ValueError(f"check {check.name}: its likelihood needs outcomes, and one column a state")
            if (table < 0).any() or not np.allclose(table.sum(axis=0), 1.0, atol=1e-6):
                raise ValueError(f"check {check.name}: in each state its outcomes must sum to 1")
        for repair in self.repairs:
            if repair.to.shape != (n,) or ((repair.to < 0) | (repair.to >= n)).any() or not 0 < repair.success <= 1:
                raise ValueError(f"repair {repair.name}: it needs a target for each state and a success in (0, 1]")
        for way in self.access:
            if not (np.isfinite(way.open) and np.isfinite(way.close)) or way.open < 0 or way.close < 0:
                raise ValueError(f"access {way.name}: opening and closing take 0 minutes or more")
            if (way.needs | way.shut) & ~everything:
                raise ValueError(f"access {way.name} names access that the problem does not have")
        names = [c.name for c in self.checks] + [r.name for r in self.repairs] + [e.name for e in self.ends]
        if len(set(names)) != len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise ValueError(f"two moves are called {twice}")
        if all(end.proven for end in self.ends):
            raise ValueError("a problem needs at least one way to end besides verification")
        for end in self.ends:
            if end.cost.shape != (n,) or not np.all(np.isfinite(end.cost)) or (end.cost < 0).any():
                raise ValueError(f"end {end.name}: it needs a cost from 0 up for each state")
        if self.missed < 0 or not 0 <= self.remaining <= 1:
            raise ValueError("a fault missed costs 0 minutes or more, and what may remain is a share from 0 to 1")
        if self.hands not in (1, 2):
            raise ValueError(f"one or two people work side by side, not {self.hands}")
        if self.crossings is not None and (self.crossings.access, self.crossings.hands) != (self.access, self.hands):
            raise ValueError("the crossings given are those of other access states")
        ways = self.ways
        for what, move in moves:
            wanted = ways.closed_under(move.needs)
            torn = wanted & (move.shut | ways.wants_shut(wanted))
            if torn:
                both = ", ".join(self.access[i].name for i in bits(torn))
                raise ValueError(f"{what} {move.name} needs open and shut at once: {both}")

    @cached_property
    def ways(self) -> Ways:
        """What it takes to get from one set of open access states to another."""
        return self.crossings if self.crossings is not None else Ways(self.access, self.hands)

    @cached_property
    def padded(self) -> Vector:
        """Likelihoods of all checks, shape (checks, most outcomes, states), padded with zero."""
        most = max((c.likelihood.shape[0] for c in self.checks), default=1)
        table = np.zeros((len(self.checks), most, len(self.states)))
        for i, check in enumerate(self.checks):
            table[i, : check.likelihood.shape[0]] = check.likelihood
        return table

    def shortcomings(self) -> tuple[str, ...]:
        """Return, a sentence each, what makes a problem poorer than it need be, though it can be planned for."""
        found = []
        if stuck := self.unrepaired():
            found.append(f"no repair changes {', '.join(stuck)}: only an end deals with that")
        if not self.checks:
            found.append("there is nothing to ask: only repairs, the verification and the ends are left")
        costs = [(c.name, c.cost) for c in self.checks] + [(r.name, r.cost) for r in self.repairs]
        found += [f"{name} costs nothing: is that meant?" for name, cost in costs if cost == 0]
        return tuple(found)

    def unrepaired(self) -> tuple[str, ...]:
        """Return the states that no repair changes and that are not clear: only an end deals with them."""
        changed = np.zeros(len(self.states), dtype=bool)
        for repair in self.repairs:
            changed |= repair.to != np.arange(len(self.states))
        return tuple(s for s, c, k in zip(self.states, changed, self.clear, strict=True) if not c and not k)

    def narrowed(self, position: Position, kept: float = 1.0, least: float = 0.0) -> tuple[Problem, float]:
        """Return the problem that is left at a position, and the share of the probability that it keeps.

        It has the likeliest states that carry ``kept``, none under ``least`` among them, and what repairs make of
        these; the checks that may still be asked and tell them apart, the repairs that may still be done and change
        one of them. It begins where the position stands.
        """
        p = position.p
        order = np.argsort(-p, kind="stable")
        count = int(np.searchsorted(np.cumsum(p[order]), kept * float(p.sum()) - 1e-15)) + 1
        keep = np.zeros(len(p), dtype=bool)
        keep[order[:count]] = True
        keep &= p > min(least, float(p.max()) / 2)
        share = float(p[keep].sum())
        able = [i for i in range(len(self.repairs)) if self.may_repair(position, i)]
        targets = self.targets[able]
        while able:
            had = int(keep.sum())
            keep[targets[:, keep].ravel()] = True
            if keep.sum() == had:
                break
        at = np.flatnonzero(keep)
        place = np.full(len(p), -1)
        place[at] = np.arange(len(at))
        moved = place[targets[:, at]]
        changing = np.flatnonzero((moved != np.arange(len(at))).any(axis=1)).tolist()
        tables = self.padded[:, :, at]
        telling = np.flatnonzero((tables.max(axis=2) - tables.min(axis=2)).max(axis=1, initial=0.0) > 1e-9)
        checks: list[CheckMove] = []
        kept_checks: list[int] = []
        for i in telling.tolist():
            now = position.asked.get(i, self.checks[i])
            if now is None:
                continue
            first = None if now.first is None else now.first[:, at]
            asked = now is not self.checks[i]
            likelihood = now.likelihood[:, at] if asked else tables[i, : len(now.likelihood)]
            if asked:
                tables[i, : len(now.likelihood)] = likelihood
            kept_checks.append(i)
            checks.append(
                CheckMove(
                    now.name, now.cost, likelihood, now.needs, now.shut, now.spoils, now.past, now.most, now.same,
                    first, now.before, now.minutes,
                )
            )  # fmt: skip
        repairs = []
        for k in changing:
            r, most = self.repairs[able[k]], self.repairs[able[k]].most - position.done.get(able[k], 0)
            renews = packed(self._renewing[able[k], kept_checks])
            repairs.append(
                RepairMove(r.name, r.cost, moved[k], r.success, r.needs, r.shut, r.spoils, most, renews, r.minutes)
            )
        left = Problem(
            states=tuple(self.states[h] for h in at.tolist()),
            p=p[at] / float(p[at].sum()),
            clear=self.clear[at],
            access=self.access,
            checks=tuple(checks),
            repairs=tuple(repairs),
            verify=replace(self.verify, likelihood=self.verify.likelihood[:, at]),
            ends=tuple(EndMove(end.name, end.cost[at], end.proven) for end in self.ends),
            missed=self.missed,
            remaining=self.remaining,
            open=position.open,
            crossings=self.ways,
            proven=position.proven,
            proofs=position.proofs,
            hands=self.hands,
            prove_each=self.prove_each,
            unproved=self.prove_each and position.proofs == 0 and (bool(position.done) or self.unproved),
            sound=True,
        )
        left.__dict__["padded"] = tables[kept_checks]
        return left, share

    @cached_property
    def _renewing(self) -> NDArray[np.bool_]:
        """Whether a repair makes a check as new, shape (repairs, checks)."""
        found = np.zeros((len(self.repairs), len(self.checks)), dtype=bool)
        for i, repair in enumerate(self.repairs):
            found[i, list(bits(repair.renews))] = True
        return found

    @cached_property
    def targets(self) -> NDArray[np.int64]:
        """``to`` of every repair, shape (repairs, states)."""
        return np.array([r.to for r in self.repairs], dtype=np.int64).reshape(-1, len(self.states))

    # -- how a case goes on --------------------------------------------------------------------------

    def start(self) -> Position:
        """Return where the case stands as the problem is posed."""
        return Position(self.p, self.open, proofs=self.proofs, proven=self.proven)

    def check(self, position: Position, check: int) -> CheckMove | None:
        """Return the check as it would be asked there; None where it has been asked as often as it may."""
        return position.asked.get(check, self.checks[check])

    def may_repair(self, position: Position, repair: int) -> bool:
        """Return whether the repair may be done there once more."""
        return position.done.get(repair, 0) < self.repairs[repair].most

    def may_verify(self, position: Position) -> bool:
        """Return whether the verification may be done there once more on this occasion."""
        return position.proofs < self.verify.most

    def may_end(self, position: Position, end: int) -> bool:
        """Return whether this end is there."""
        return position.proven or not self.ends[end].proven

    def settled(self, position: Position) -> bool:
        """Return whether the case ends here by itself: a pass stands, and little enough is left."""
        return position.proven and float(position.p @ ~self.clear) < self.remaining * float(position.p.sum())

    def told(self, position: Position, check: int, outcome: int) -> Position:
        """Return where the case stands after a check's answer. Raises ValueError for one that may not be asked."""
        made = self.check(position, check)
        if made is None:
            raise ValueError(f"check {self.checks[check].name} has been asked as often as it may be")
        _, opened, _ = self.ways.go(position.open, made.needs, made.shut)
        return Position(
            _weighed(position.p, made.likelihood[outcome]),
            opened & ~made.spoils,
            {**position.asked, check: made.again(outcome)},
            position.done,
            position.proofs,
            position.proven,
        )

    def repaired(self, position: Position, repair: int) -> Position:
        """Return where the case stands after a repair. Raises ValueError for one that may not be done."""
        if not self.may_repair(position, repair):
            raise ValueError(f"repair {self.repairs[repair].name} has been done as often as it may be")
        made = self.repairs[repair]
        _, opened, _ = self.ways.go(position.open, made.needs, made.shut)
        p = position.p * (1 - made.success)
        np.add.at(p, made.to, position.p * made.success)
        asked = dict(position.asked)
        for i in bits(made.renews):
            if i in asked or self.checks[i].first is not None:
                asked[i] = self.checks[i].new
        done = {**position.done, repair: position.done.get(repair, 0) + 1}
        return Position(p, opened & ~made.spoils, asked, done)

    def verified(self, position: Position, outcome: int) -> Position:
        """Return where the case stands after a verification. Raises ValueError where it may not be done."""
        if not self.may_verify(position):
            raise ValueError("the verification has been done as often as it may be")
        made = self.verify
        _, opened, _ = self.ways.go(position.open, made.needs, made.shut)
        return Position(
            _weighed(position.p, made.likelihood[outcome]),
            opened & ~made.spoils,
            position.asked,
            position.done,
            position.proofs + 1,
            outcome == 0,
        )


@dataclass(frozen=True, eq=False)
class Position:
    """Where a case stands. ``p``: the belief. ``asked``: checks asked, as they would be asked again (None: not).

    ``done``: how often each repair was done. ``proofs``: verifications on this occasion. ``proven``: the last passed.
    """

    p: Vector
    open: int = 0
    asked: Mapping[int, CheckMove | None] = field(default_factory=dict)
    done: Mapping[int, int] = field(default_factory=dict)
    proofs: int = 0
    proven: bool = False


def packed(marks: NDArray[np.bool_]) -> int:
    """Return marks as a bit mask."""
    return int.from_bytes(np.packbits(marks, bitorder="little").tobytes(), "little")


def _weighed(p: Vector, likelihood: Vector) -> Vector:
    after = p * likelihood
    total = after.sum()
    if total <= 0:
        raise ValueError("an answer that no state allows")
    return np.asarray(after / total)


class Ways:
    """What it takes to get from one set of open access states to another; remembered, since it is asked often.

    ``hands``: with two people, crossings that take one each and do not wait for one another go on side by side, and a
    cost is that of the time they take together.
    """

    def __init__(self, access: Sequence[Way], hands: int = 1) -> None:
        self.access = tuple(access)
        self.hands = hands
        self._along: dict[tuple[int, tuple[tuple[int, int, int], ...]], float] = {}
        self._go: dict[tuple[int, int, int], tuple[float, int, tuple[Crossed, ...]]] = {}
        n = len(self.access)
        self.order = self._topological()
        self._rank = {i: place for place, i in enumerate(self.order)}
        # closure[i]: i and everything it needs; above[i]: i and everything that needs it.
        self.closure = [1 << i for i in range(n)]
        for i in self.order:
            for j in bits(self.access[i].needs):
                self.closure[i] |= self.closure[j]
        self.above = [sum(1 << j for j in range(n) if self.closure[j] >> i & 1) for i in range(n)]

    def _topological(self) -> tuple[int, ...]:
        done: list[int] = []
        placed = 0
        while len(done) < len(self.access):
            ready = [i for i, w in enumerate(self.access) if not placed >> i & 1 and w.needs & ~placed == 0]
            if not ready:
                raise ValueError("the access states need each other in a circle")
            for i in ready:
                done.append(i)
                placed |= 1 << i
        return tuple(done)

    @cached_property
    def routes(self) -> Routes:
        """What rows of steps cost from sets of open access states."""
        return Routes(self)

    def wants_shut(self, opened: int) -> int:
        """Return what has to be shut, by what is said of each, while these are opened."""
        found = 0
        for i in bits(opened):
            found |= self.access[i].shut
        return found

    def closed_under(self, needs: int) -> int:
        """Return the set with everything it needs."""
        found = 0
        for i in bits(needs):
            found |= self.closure[i]
        return found

    def go(self, start: int, needs: int, shut: int) -> tuple[float, int, tuple[Crossed, ...]]:
        """Return (cost, open set after, crossings in order) of having ``needs`` open and ``shut`` shut."""
        key = (start, needs, shut)
        found = self._go.get(key)
        if found is None:
            found = self._go[key] = self._cross(start, needs, shut)
        return found

    def _cross(self, start: int, needs: int, shut: int) -> tuple[float, int, tuple[Crossed, ...]]:
        wanted = self.closed_under(needs)
        opening = wanted & ~start
        closing = shut & start
        for i in bits(opening):
            closing |= self.access[i].shut & start
        for i in bits(closing):
            closing |= self.above[i] & start
        opening |= wanted & closing & ~shut
        cost = 0.0
        crossings: list[Crossed] = []
        now = start
        for i in sorted(bits(closing), key=self._rank.__getitem__, reverse=True):
            way = self.access[i]
            cost += way.close if way.lasting else 0.0
            crossings.append(Crossed(i, False))
            now &= ~(1 << i)
        for i in sorted(bits(opening), key=self._rank.__getitem__):
            cost += self.access[i].open
            crossings.append(Crossed(i, True))
            now |= 1 << i
        if self.hands > 1 and len(crossings) > 1:
            cost = self._side_by_side(crossings)
        return cost, now, tuple(crossings)

    def _side_by_side(self, crossings: Sequence[Crossed]) -> float:
        """Return the minutes that two people take: each crossing begins as soon as what it waits for is done.

        In the order given, to whoever is free first (list scheduling); all shutting comes before all opening.
        """
        free = [0.0] * self.hands
        over: dict[int, float] = {}
        phase, begun = False, 0.0
        for access, opening in crossings:
            way = self.access[access]
            if opening and not phase:
                # Opening may wait for anything that was shut.
                phase, begun = True, max(free)
                over = {}
            before = self.closure[access] if opening else self.above[access]
            ready = max([begun, *(over[i] for i in bits(before) if i in over)])
            minutes = way.open if opening else way.close if way.lasting else 0.0
            free.sort()
            taken = free[: min(way.people, self.hands)]
            end = max(ready, *taken) + minutes
            free[: len(taken)] = [end] * len(taken)
            over[access] = end
        return max(free)

    def along(self, start: int, steps: tuple[tuple[int, int, int], ...]) -> float:
        """Return the cost of the crossings of steps (needs, shut, spoils) in turn and of closing up."""
        key = (start, steps)
        found = self._along.get(key)
        if found is None:
            if steps:
                needs, shut, spoils = steps[0]
                cost, opened, _ = self.go(start, needs, shut)
                found = cost + self.along(opened & ~spoils, steps[1:])
            else:
                found = self.close_all(start)[0]
            self._along[key] = found
        return found

    def close_all(self, start: int) -> tuple[float, int, tuple[Crossed, ...]]:
        """Return (cost, 0, crossings in order) of closing up."""
        return self.go(start, 0, start)


class Routes:
    """Costs of the crossings of rows of steps, closing up included, from sets of open access states.

    A table that is filled as it is asked, since every decision asks for much the same.
    """

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self._steps: dict[tuple[tuple[int, int, int], ...], int] = {}
        self._rows: list[tuple[tuple[int, int, int], ...]] = []
        self._opens: dict[int, int] = {}
        self._table = np.full((64, 64), np.nan)

    def columns(self, steps: Sequence[tuple[tuple[int, int, int], ...]]) -> NDArray[np.int64]:
        """Return the columns of these rows of steps (needs, shut, spoils)."""
        for row in steps:
            if row not in self._steps:
                self._steps[row] = len(self._rows)
                self._rows.append(row)
        return np.array([self._steps[row] for row in steps], dtype=np.int64)

    def costs(self, opened: Sequence[int], columns: NDArray[np.int64]) -> Vector:
        """Return the costs, shape (open sets, columns)."""
        rows = np.array([self._opens.setdefault(state, len(self._opens)) for state in opened], dtype=np.int64)
        tall, wide = self._table.shape
        if len(self._opens) > tall or len(self._rows) > wide:
            table = np.full((max(tall, 2 * len(self._opens)), max(wide, 2 * len(self._rows))), np.nan)
            table[:tall, :wide] = self._table
            self._table = table
        found = self._table[rows[:, None], columns]
        for i, j in np.argwhere(np.isnan(found)).tolist():
            cost = self._ways.along(opened[i], self._rows[columns[j]])
            found[i, j] = self._table[rows[i], columns[j]] = cost
        return np.asarray(found)


def bits(mask: int) -> tuple[int, ...]:
    """Return the indices of the bits set."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return tuple(found)

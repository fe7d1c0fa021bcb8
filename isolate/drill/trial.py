"""Plays many sampled cases against policies and counts what they cost and what went wrong.

A case: a complaint, a truth drawn from the belief after that complaint, and answers drawn from the likelihoods of the
decision problem, which is posed once for each complaint as a chase would pose it. Complaints are taken in turn, each as
often as any other. Every draw comes from a numpy Generator seeded by (seed, engine, complaint, case), and the n-th draw
of each move stands before anybody plays: so every policy meets the same truths, the same check asked first gives the
same answer under each, and nothing depends on how the work was spread over processes.

How a case goes on is the problem's affair. What has happened so far is a path down a tree whose nodes keep position and
decision: a decision is made once, however many cases come by.

A block of cases is a value that pickles, :func:`play` is a function that pickles, and whatever runs them is an Executor
of ``concurrent.futures``: processes here, or the workers of a Dask cluster.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import import_module
from logging import CRITICAL, getLogger
from multiprocessing import active_children, get_context
from pathlib import Path
from signal import SIG_IGN, SIGINT, signal
from socket import create_connection
from typing import NamedTuple
from zlib import crc32

import numpy as np

from isolate.case.believed import told_belief
from isolate.case.case import Intake
from isolate.case.chase import Kit
from isolate.drill.policies import HINDSIGHT, POLICIES, Policy, policy, told
from isolate.drill.watch import Watch
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import Knowledge, Place
from isolate.kb.names import UnknownName, near
from isolate.reasoning.pose import ESCALATE, Posed
from isolate.reasoning.problem import Crossed, Kind, Move, Position, Problem, Vector

MOST = 200
"""Moves after which a case is broken off as given up; the problem's own limits end it long before."""
STATES = 600
"""Joint states that truths are drawn from, before those that repairs make of them; a decision looks at fewer."""
ANSWERS = 5
"""Seconds within which a cluster has to answer."""
PIECE = 50
"""A problem's cases are not split into blocks of fewer than this, since every block makes its decisions anew."""


class TrialError(Exception):
    """A sentence for the user: what was asked cannot be tried."""


# -- one case --------------------------------------------------------------------------------------


class Played(NamedTuple):
    """One case. ``minutes``: equivalent minutes to the end. ``vain``: repairs that took parts and changed nothing."""

    case: int
    minutes: float
    end: str
    checks: int = 0
    repairs: int = 0
    vain: int = 0
    unsafe: tuple[str, ...] = ()


VERIFIED, WATCHED, HANDED = "verified", "verified, to be watched", "handed over rightly"
MISSED, WRONG, GAVE_UP, TOLD = "verified, fault left", "handed over wrongly", "gave up", "told"
LEFT, WATCHED_LEFT = "right, another fault left", "to be watched, fault left"
ENDS = (VERIFIED, WATCHED, HANDED, LEFT, WATCHED_LEFT, MISSED, WRONG, GAVE_UP, TOLD)
LEFT_ENDS = (LEFT, WATCHED_LEFT)
"""Ends that say nothing false and leave a fault: part of it was found, or the doubt that is left was told."""
"""How a case may end; ``told`` is hindsight's."""
WRONG_ENDS = (MISSED, WRONG)
"""The ends with a wrong verdict."""


class Draws:
    """The chance of one case: the truth, and what each move shows the n-th time that it is made."""

    def __init__(self, seed: int, engine: str, complaint: str, case: int, width: int) -> None:
        names = crc32(engine.encode()), crc32(complaint.encode())
        self._rng = np.random.default_rng((seed, *names, case))
        self.truth = float(self._rng.random())
        self.width = width
        self._rows: list[Vector] = []

    def of(self, move: int, time: int) -> float:
        """Return the draw in [0, 1) of a move, by its number, the time-th time (from 0)."""
        while len(self._rows) <= time:
            self._rows.append(self._rng.random(self.width))
        return float(self._rows[time][move])


class _Node:
    """Where a case stands, what is done there and where that leads; decided when the first case comes by."""

    __slots__ = ("below", "children", "index", "kind", "likelihood", "now", "opened", "position", "unsafe")

    def __init__(self, position: Position, opened: frozenset[str]) -> None:
        self.position, self.opened = position, opened
        self.kind: Kind | None = None
        self.index = -1
        self.now = 0.0
        self.likelihood: Vector | None = None
        self.children: dict[int, _Node] = {}
        self.below: frozenset[str] = frozenset()
        self.unsafe: tuple[str, ...] = ()


_CLOSE = -2
"""Index of the end that comes by itself once a pass stands."""


class Tree:
    """All that one policy did in one problem, as far as cases have come by.

    ``parts``: what each repair takes in parts; one that is not named takes some. ``watch``: looks at every move, where
    there is one. ``deals``: by the name of an end, state by state whether those it hands over to deal with all that is
    wrong; of one that is not named the costs tell.
    """

    def __init__(
        self,
        problem: Problem,
        policy: Policy,
        parts: Mapping[str, float] | None = None,
        watch: Watch | None = None,
        deals: Mapping[str, Sequence[bool]] | None = None,
    ) -> None:
        self.problem, self.policy, self.watch = problem, policy, watch
        self.decisions = 0
        opened = frozenset(w.name for i, w in enumerate(problem.access) if problem.open >> i & 1)
        self.root = _Node(problem.start(), opened)
        self._check = {c.name: i for i, c in enumerate(problem.checks)}
        self._repair = {r.name: i for i, r in enumerate(problem.repairs)}
        self._end = {e.name: i for i, e in enumerate(problem.ends)}
        self._bit = {way.name: 1 << i for i, way in enumerate(problem.access)}
        self._tos = [r.to.tolist() for r in problem.repairs]
        self._clear = problem.clear.tolist()
        self._upto = np.cumsum(problem.p)
        self._deals = {e.name: (e.cost <= float(e.cost.min()) + 1e-9).tolist() for e in problem.ends} | dict(
            deals or {}
        )
        self._parts = [True if parts is None else parts.get(r.name, 1.0) > 0 for r in problem.repairs]
        self.width = len(problem.checks) + len(problem.repairs) + 1

    def truth(self, draws: Draws) -> int:
        """Return the case's true state."""
        found = int(np.searchsorted(self._upto, draws.truth * self._upto[-1], side="right"))
        return min(found, len(self._upto) - 1)

    def play(self, case: int, draws: Draws) -> Played:
        """Play one case to its end."""
        problem = self.problem
        h = true = self.truth(draws)
        node, minutes = self.root, 0.0
        made: dict[int, int] = {}
        checks = repairs = vain = 0
        unsafe: list[str] = []
        for _ in range(MOST):
            if node.kind is None:
                self._decide(node)
            minutes += node.now
            unsafe += node.unsafe
            if node.kind == "end":
                end, more = self._ended(node.index, h, true)
                return Played(case, minutes + more, end, checks, repairs, vain, tuple(unsafe))
            number = self._number(node)
            time = made.get(number, 0)
            made[number] = time + 1
            draw = draws.of(number, time)
            if node.kind == "repair":
                repairs += 1
                to = self._tos[node.index][h]
                if to == h:
                    vain += self._parts[node.index]
                elif draw < problem.repairs[node.index].success:
                    h = to
                outcome = 0
            else:
                checks += node.kind == "check"
                assert node.likelihood is not None
                outcome = int(np.searchsorted(node.likelihood[:, h], draw, side="right"))
                outcome = min(outcome, len(node.likelihood) - 1)
            child = node.children.get(outcome)
            if child is None:
                child = node.children[outcome] = _Node(self._after(node, outcome), node.below)
            node = child
        up = (
            problem.ends[self._end[ESCALATE]]
            if ESCALATE in self._end
            else max(problem.ends, key=lambda e: float(e.cost[h]))
        )
        minutes += problem.ways.close_all(node.position.open)[0] + float(up.cost[h])
        return Played(case, minutes, GAVE_UP, checks, repairs, vain, tuple(unsafe))

    def _number(self, node: _Node) -> int:
        """Return the number by which a move's draws go."""
        checks = len(self.problem.checks)
        return {"check": node.index, "repair": checks + node.index, "verify": self.width - 1}[node.kind or ""]

    def _after(self, node: _Node, outcome: int) -> Position:
        if node.kind == "check":
            return self.problem.told(node.position, node.index, outcome)
        if node.kind == "repair":
            return self.problem.repaired(node.position, node.index)
        return self.problem.verified(node.position, outcome)

    def _ended(self, end: int, h: int, true: int) -> tuple[str, float]:
        """Return how the case ended, and what that costs besides closing up; ``true``: the state at its beginning."""
        if end == _CLOSE:
            if self._clear[h]:
                return VERIFIED, 0.0
            return (LEFT if h != true else MISSED), self.problem.missed
        made = self.problem.ends[end]
        cost = float(made.cost[h])
        if made.proven:
            return (WATCHED if self._clear[h] else WATCHED_LEFT), cost
        if made.name == ESCALATE:
            return GAVE_UP, cost
        # Whoever it is handed to deals with all of the true state, or the verdict is wrong.
        if self._deals[made.name][h]:
            return HANDED, cost
        return (LEFT if cost < float(made.cost.max()) - 1e-9 else WRONG), cost

    def _decide(self, node: _Node) -> None:
        """Fill in what is done at a node."""
        problem, position = self.problem, node.position
        self.decisions += 1
        if problem.settled(position):
            move = Move("end", "closed up")
            node.kind, node.index = "end", _CLOSE
        else:
            move = self.policy.move(problem, position)
            node.kind = move.kind
        if move.kind == "end":
            if node.index != _CLOSE:
                node.index = self._end[move.name]
            node.now, _, crossings = problem.ways.close_all(position.open)
        elif move.kind == "repair":
            node.index = self._repair[move.name]
            repair = problem.repairs[node.index]
            cost, _, crossings = problem.ways.go(position.open, repair.needs, repair.shut)
            node.now = cost + repair.cost
        else:
            node.index = self._check[move.name] if move.kind == "check" else 0
            check = problem.check(position, node.index) if move.kind == "check" else problem.verify
            if check is None:
                raise ValueError(f"{move.name} was asked more often than it may be")
            cost, _, crossings = problem.ways.go(position.open, check.needs, check.shut)
            node.now = cost + check.cost
            node.likelihood = np.cumsum(check.likelihood, axis=0)
        if self.watch is not None:
            node.below, node.unsafe = self._watched(self.watch, node, crossings, move)

    def _watched(
        self, watch: Watch, node: _Node, crossings: Iterable[Crossed], move: Move
    ) -> tuple[frozenset[str], tuple[str, ...]]:
        """Return what is open after the move by the watch's own account, and what was unsafe about it."""
        if move.kind == "verify":
            return self._verified(watch, node)
        opened, found = watch.crossed(node.opened, self._named(crossings))
        if move.kind == "end":
            return opened, found + watch.closed(opened)
        opened, more = watch.made(opened, move.name)
        return opened, found + more

    def _verified(self, watch: Watch, node: _Node) -> tuple[frozenset[str], tuple[str, ...]]:
        """The same for the verification, which is several checks, each with crossings of its own.

        The problem counts them as one move; where one needs open what another wants shut, it is put back between them.
        """
        ways, verify = self.problem.ways, self.problem.verify
        now, opened = node.position.open, node.opened
        found: list[str] = []
        for key in watch.verification:
            check = watch.what(key)
            _, now, crossings = ways.go(now, self._mask(check.needs), self._mask(check.shut))
            opened, unsafe = watch.crossed(opened, self._named(crossings))
            found += unsafe
            opened, unsafe = watch.made(opened, key)
            found += unsafe
            now &= ~self._mask(check.spoils)
        left = ways.go(node.position.open, verify.needs, verify.shut)[1] & ~verify.spoils
        _, _, crossings = ways.go(now, left, now & ~left)
        opened, unsafe = watch.crossed(opened, self._named(crossings))
        return opened, (*found, *unsafe)

    def _mask(self, names: Collection[str]) -> int:
        return sum(self._bit[name] for name in names)

    def _named(self, crossings: Iterable[Crossed]) -> Iterator[tuple[str, bool]]:
        for crossed in crossings:
            yield self.problem.access[crossed.access].name, crossed.opening


# -- blocks of cases -------------------------------------------------------------------------------


class Block(NamedTuple):
    """Cases of one complaint under one policy: the ``part``-th of ``parts`` of them; it pickles.

    ``folder``: the knowledge, None for what the worker's own package carries; ``digest``: what it has to be.
    """

    folder: str | None
    digest: str
    engine: str
    place: Place
    complaint: str
    policy: str
    cases: tuple[int, ...]
    part: int = 0
    parts: int = 1
    seed: int = 0
    budget: int = 1


@dataclass(frozen=True)
class Stand:
    """A complaint ready to be played: the problem with the names behind it."""

    posed: Posed
    watch: Watch
    parts: Mapping[str, float]
    deals: Mapping[str, Sequence[bool]]
    book: tuple[Sequence[str], Sequence[str]]


@lru_cache(maxsize=2)
def knowledge(folder: str | None) -> Knowledge:
    return load(None if folder is None else Path(folder)).knowledge


@lru_cache(maxsize=8)
def _kit(folder: str | None, engine: str) -> Kit:
    return Kit(fit(knowledge(folder), engine))


@lru_cache(maxsize=8)
def stand(folder: str | None, engine: str, place: Place, complaint: str) -> Stand:
    """Return a complaint posed as a chase that opens with it does; about the first channel where it is about one."""
    kit = _kit(folder, engine)
    fitted = kit.fitted
    entry = fitted.complaints[complaint]
    channel = fitted.channels[0] if entry.asks_channel else ""
    belief = told_belief(kit.model, Intake("", "", engine, complaint, channel, place=place))
    verification = fitted.verification(complaint, channel)
    posed = kit.poser(place).pose(belief, verification, most=STATES)
    meant = (k for k, a in fitted.access.items() if a.name in entry.found_open and a.channel in ("", channel))
    found_open = posed.mask(fitted.needed(meant))
    posed = replace(posed, problem=replace(posed.problem, open=found_open))
    book = fitted.profile.book
    return Stand(
        posed,
        Watch(fitted, verification),
        {key: repair.entry.parts for key, repair in fitted.repairs.items()},
        {key: _deals(kit, key, posed) for key, repair in fitted.repairs.items() if repair.hand_over},
        ((), ()) if book is None else (book.checks, book.repairs),
    )


def _deals(kit: Kit, key: str, posed: Posed) -> list[bool]:
    """Return, for each state, whether a hand-over clears all that is wrong in it; where nothing is, it is wrong."""
    clears = kit.fitted.repair(key).clears
    zones = [(kit.fitted.zones[name].states, clears.get(name, frozenset())) for name in kit.model.zones]
    faults = ([(i, zone) for i, zone in zip(state, zones, strict=True) if i] for state in posed.joint)
    return [bool(wrong) and all(states[i] in cleared for i, (states, cleared) in wrong) for wrong in faults]


class Done(NamedTuple):
    """What came of a block. ``kept``: the share of the belief that was drawn from; ``decisions``: those made."""

    block: Block
    played: tuple[Played, ...]
    kept: float
    decisions: int


def play(block: Block) -> Done:
    """Play a block of cases. Raises TrialError where the knowledge at hand is other than the block's."""
    if knowledge(block.folder).digest != block.digest:
        raise TrialError("a worker has other knowledge than was asked for: let every worker see the same folder")
    here = stand(block.folder, block.engine, block.place, block.complaint)
    problem = here.posed.problem
    known = block.policy != HINDSIGHT
    made = policy(block.policy, here.book, block.budget) if known else policy("probable", here.book)
    tree = Tree(problem, made, here.parts, here.watch, here.deals)
    chance = [(c, Draws(block.seed, block.engine, block.complaint, c, tree.width)) for c in block.cases]
    # Cases of one truth take much the same way: they go into one part.
    chance.sort(key=lambda drawn: (tree.truth(drawn[1]), drawn[0]))
    size = len(chance)
    mine = chance[size * block.part // block.parts : size * (block.part + 1) // block.parts]
    if known:
        played = [tree.play(case, draws) for case, draws in mine]
    else:
        truths = {case: tree.truth(draws) for case, draws in mine}
        least = told(problem, sorted(set(truths.values())))
        played = [Played(case, least[truths[case]], TOLD) for case, _ in mine]
    return Done(block, tuple(played), here.posed.kept, tree.decisions)


class Asked(NamedTuple):
    """What is to be tried. ``cases``: for each engine. ``folder``: the knowledge, None: the shipped."""

    cases: int
    engines: tuple[str, ...]
    complaints: tuple[str, ...]
    policies: tuple[str, ...]
    place: Place = "gate"
    seed: int = 1
    budget: int = 1
    folder: str | None = None


def ask(
    cases: int,
    engine: str | None = None,
    complaint: str | None = None,
    policies: Sequence[str] = (),
    place: Place = "gate",
    seed: int = 1,
    budget: int = 1,
    folder: Path | None = None,
) -> Asked:
    """Return what is to be tried; none: all of them. Raises TrialError and UnknownName for what cannot be."""
    if cases < 1:
        raise TrialError(f"a trial needs at least 1 case, not {cases}")
    if budget < 1:
        raise TrialError(f"a decision needs a budget of at least 1 expansion, not {budget}")
    if seed < 0:
        raise TrialError(f"a seed is a whole number from 0 up, not {seed}")
    where = None if folder is None else str(folder.resolve())
    known = knowledge(where)
    for word in policies:
        if word not in POLICIES:
            raise UnknownName(f"no policy is called {word!r}{near(word, POLICIES)}")
    engines = (engine,) if engine is not None else tuple(known.engines)
    # Raises for an engine that is not there.
    had = {name: _kit(where, name).fitted.complaints for name in engines}
    if complaint is not None and complaint not in known.complaints:
        raise UnknownName(f"no complaint is called {complaint!r}{near(complaint, known.complaints)}")
    if complaint is not None:
        engines = tuple(name for name in engines if complaint in had[name])
        if not engines:
            raise TrialError(f"{engine or 'no engine'} does not have the complaint {complaint}")
    chosen = tuple(name for name in POLICIES if not policies or name in policies)
    if "book" in chosen and (lacking := [n for n in engines if known.engines[n].book is None]):
        if "book" in policies:
            raise TrialError(f"the profile {lacking[0]} has no book: its checks and repairs in a fixed order")
        chosen = tuple(name for name in chosen if name != "book")
    complaints = (complaint,) if complaint is not None else ()
    return Asked(cases, engines, complaints, chosen, place, seed, budget, where)


def blocks(asked: Asked, workers: int = 1) -> list[Block]:
    """Return the work, the slowest policy first. More workers than problems split problems."""
    digest = knowledge(asked.folder).digest
    problems: list[tuple[str, str, tuple[int, ...]]] = []
    for engine in asked.engines:
        names = asked.complaints or tuple(sorted(_kit(asked.folder, engine).fitted.complaints))
        # Taken in turn: each complaint as often as any other, give or take one.
        for k, name in enumerate(names):
            if cases := tuple(range(k, asked.cases, len(names))):
                problems.append((engine, name, cases))
    wanted = math.ceil(2 * workers / len(problems)) if workers > 1 else 1
    found = []
    for name in asked.policies:
        for engine, complaint, cases in problems:
            parts = max(1, min(wanted, len(cases) // PIECE))
            for part in range(parts):
                found.append(
                    Block(
                        *(asked.folder, digest, engine, asked.place, complaint, name, cases),
                        *(part, parts, asked.seed, asked.budget),
                    )
                )
    return found


def processors() -> int:
    """Return how many processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


class By(NamedTuple):
    """What plays blocks, and how many of them side by side. ``executor`` None: here and now."""

    executor: Executor | None = None
    workers: int = 1


@contextmanager
def players(workers: int = 1, address: str | None = None) -> Iterator[By]:
    """Give what plays blocks: this process, as many processes as workers, or the Dask cluster at an address.

    Raises TrialError where no cluster answers at the address, or Dask is not installed.
    """
    if address is not None:
        with _cluster(address) as by:
            yield by
    elif workers == 1:
        yield By()
    else:
        # Read by the numeric library as it is loaded: one thread in each process, the processes run side by side.
        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
            os.environ.setdefault(name, "1")
        others = set(active_children())
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_quiet) as pool:
            try:
                yield By(pool, workers)
            except (KeyboardInterrupt, SystemExit):
                # Nobody waits for what was begun.
                for process in set(active_children()) - others:
                    process.terminate()
                raise


@contextmanager
def _cluster(address: str) -> Iterator[By]:
    where = re.fullmatch(r"(?:(tcp|tls)://)?([^\s/:]+):(\d{1,5})", address)
    if where is None:
        raise TrialError(f"{address!r} is no address of a Dask scheduler; one is written like tcp://somewhere:8786")
    try:
        distributed = import_module("distributed")
    except ImportError:
        raise TrialError("--dask needs the extra that brings it: pip install 'ignition-isolate[dask]'") from None
    # What it logs of a connection that fails is said below, in a sentence.
    getLogger("distributed").setLevel(CRITICAL)
    try:
        _greeted(where[2], int(where[3]), where[1] == "tls")
        client = distributed.Client(address, timeout=ANSWERS, set_as_default=False)
    except (OSError, ValueError, OverflowError) as error:
        raise TrialError(f"no Dask scheduler answers at {address} ({type(error).__name__})") from None
    with client:
        try:
            client.wait_for_workers(1, timeout=ANSWERS)
        except OSError:
            raise TrialError(f"the Dask scheduler at {address} has no workers") from None
        yield By(client.get_executor(), len(client.nthreads()))


def _greeted(host: str, port: int, sealed: bool) -> None:
    """Raise OSError unless something at this port speaks first, as a scheduler does, with the length of what it says.

    Dask itself would go on trying where nobody listens, and wait for ever for the end of what another service says.
    """
    with create_connection((host, port), ANSWERS) as line:
        # What is sealed says nothing before it knows the other side.
        if not sealed and int.from_bytes(line.recv(8) or b"\xff" * 8, "little") > 1 << 20:
            raise ConnectionError("another service")


def _quiet() -> None:
    """Leave Ctrl-C, which a terminal sends to every process, to the one that started this."""
    signal(SIGINT, SIG_IGN)


def run(work: Sequence[Block], by: By = By(), tell: Callable[[Done], None] | None = None) -> list[Done]:  # noqa: B008
    """Play all blocks and return what came of them, in their order. ``tell`` hears of each as it is done."""
    found: dict[Block, Done] = {}
    if by.executor is None:
        for block in work:
            found[block] = play(block)
            if tell is not None:
                tell(found[block])
    else:
        waiting = [by.executor.submit(play, block) for block in work]
        try:
            for future in as_completed(waiting):
                done = future.result()
                found[done.block] = done
                if tell is not None:
                    tell(done)
        except BrokenExecutor:
            raise TrialError(
                "a process that played cases ended before its time; fewer --workers need less memory"
            ) from None
        except Exception:
            for future in waiting:
                future.cancel()
            raise
    return [found[block] for block in work]

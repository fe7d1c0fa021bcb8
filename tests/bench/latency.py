"""How long a technician waits from an answer to the next offer. Run: python -m tests.bench.latency

Played are the shipped scenarios against the simulated aircraft of a drill, and sessions where every check gets an
outcome drawn at random (one in ten: could not tell), seeds from 0, with the complaints in turn, broken off after
``--answers`` answers. As at the screen, a check on offer that needs nothing opened is answered at once, which takes it
up as well; any other is taken up first. Each session has a kit of its own and a new SQLite store on disk.

``recorded``: the whole of Chase.answer, where the next offer is on disk when it returns (answers inside a verification
or a repair that lead to no offer are not counted): belief, rules, posing, planning, trail.
``shown``: the same and the Chase.now after it, which gives the screen what it shows.
``other steps``: taking up, confirming, crossing, mending; those that end in no offer as well.
``processor``: processor time of this process in ``shown``; it leaves out waiting for the disk and for other programs.

The reference is numpy sorting 100,000 seeded figures, done right before every answer; the ratio is that of a quantile
to the median of the reference. ``--profile N`` adds the N dearest functions by cProfile.

Where the time goes is measured in a second pass over the same sessions, by a clock around the functions named, each
less what it calls of the others; calls are counted for each answer. Peak memory is that of a process which plays one
scenario and does nothing else (getrusage), beside a bare Python and one that has made the kit.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import random
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

if TYPE_CHECKING:
    from isolate.case.chase import Chase
    from isolate.case.play import Clock
    from isolate.drill.simulate import Aircraft
    from isolate.kb.fit import Fitted

ROOT = Path(__file__).parents[2]
AIM = 100.0
"""ms that nine in ten and a half answers should stay under."""
MOST_STEPS = 1000


# -- memory: before anything heavy is loaded, since a child inherits its parent's peak -----------------------


def peak(what: str) -> int:
    """Play one scenario here (``chase``), only make its kit (``kit``), or do nothing; return the peak in KiB."""
    import resource

    if what != "bare":
        fitted = shipped()
        if what == "chase":
            for _ in played(scenarios(fitted)[:1], 200):
                pass
        else:
            from isolate.case.chase import Kit

            Kit(fitted).poser("gate")
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used // 1024 if sys.platform == "darwin" else used


def memory() -> list[list[str]]:
    rows = []
    for what, said in (("bare", "python alone"), ("kit", "knowledge and tables"), ("chase", "one chase")):
        command = [sys.executable, "-m", "tests.bench.latency", "--peak", what]
        ran = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
        rows.append([said, f"{int(ran.stdout) / 1024:.0f}"])
    return rows


# -- sessions ----------------------------------------------------------------------------------------------


Session = tuple[str, Callable[[Any], "Aircraft"], Any]
"""A name, what makes the player for a model, and the intake."""


def shipped() -> Fitted:
    from isolate.kb.fit import fit
    from isolate.kb.load import load

    return fit(load().knowledge, "halden-hf-3")


def scenarios(fitted: Fitted) -> list[Session]:
    from isolate.case.written import read
    from isolate.drill.scenario import Scenario, names
    from isolate.drill.simulate import Aircraft
    from isolate.kb.load import shipped_scenarios

    def made(path: Path) -> Session:
        told = read(path, Scenario, fitted)
        people = [p.name for p in told.case.people]

        def player(model: Any) -> Aircraft:
            return Aircraft(model, told.truth, told.answers, told.case.condition, told.cannot, people)

        return path.stem, player, told.case.intake()

    folder = shipped_scenarios()
    paths = [folder / f"{name}.yaml" for name in names(folder)]
    return [made(path) for path in paths if read(path, Scenario).case.engine == fitted.name]


def at_random(fitted: Fitted, seeds: int) -> list[Session]:
    from isolate.case.case import Intake, Person
    from isolate.drill.simulate import Aircraft

    class Anything(Aircraft):
        """Answers whatever comes."""

        def __init__(self, model: Any, seed: int) -> None:
            super().__init__(model, [])
            self.rng = random.Random(seed)

        def outcome(self, check: str, within: str) -> str | None:
            return None if self.rng.random() < 0.1 else self.rng.choice(self.fitted.check(check).outcomes)

    complaints = sorted(fitted.complaints)
    everything = ("licensed", "motoring", "engine-run")
    people = (Person("the technician", everything), Person("a second"), Person("the headset"))

    def made(seed: int) -> Session:
        complaint = complaints[seed % len(complaints)]
        channel = "A" if fitted.complaints[complaint].asks_channel else ""
        intake = Intake("104", "2", fitted.name, complaint, channel, people=people)
        return f"random {seed}", lambda model: Anything(model, seed), intake

    return [made(seed) for seed in range(seeds)]


def played(sessions: list[Session], answers: int) -> Iterator[tuple[Chase, Callable[[], None], bool]]:
    """Play the sessions; yield before each step (chase, what does it, whether it is an answer)."""
    from isolate.case.chase import Chase, Kit
    from isolate.case.play import Clock
    from isolate.case.steps import Ask, Done
    from isolate.case.store import open_store

    fitted = shipped()
    for _, player_of, intake in sessions:
        kit, clock = Kit(fitted), Clock()
        player = player_of(kit.model)
        with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "cases.db") as store:
            chase = Chase.begin(kit, store, "bench", intake, clock)
            had = 0
            for _ in range(MOST_STEPS):
                step = chase.now()
                if isinstance(step, Done) or had >= answers:
                    break
                answering = isinstance(step, Ask) or (getattr(step, "direct", False) and not player.refuses(step.key))
                had += answering
                yield chase, doing(chase, player, clock, step), answering


def doing(chase: Chase, player: Aircraft, clock: Clock, step: Any) -> Callable[[], None]:
    """Return what does a step, with everything decided that the player decides."""
    from isolate.case import play
    from isolate.case.steps import Ask, Offer

    if isinstance(step, Ask):
        outcome = player.outcome(step.key, step.within)
        clock.pass_minutes(step.minutes)
        return lambda: chase.answer(outcome)
    if isinstance(step, Offer) and step.direct and not player.refuses(step.key):
        outcome = player.outcome(step.key, "check")
        clock.pass_minutes(step.own_minutes)
        return lambda: chase.answer(outcome)
    return lambda: void(play._take(chase, step, player, clock))


def void(_: object) -> None:
    """Throw a result away."""


# -- where the time goes -------------------------------------------------------------------------------------


class Shares:
    """A clock around functions: time in each, less what it calls of the others, and how often it was called."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = defaultdict(float)
        self.calls: dict[str, int] = defaultdict(int)
        self._inner = [0.0]
        self.on = False

    def around(self, name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*args: Any, **kwargs: Any) -> Any:
            if not self.on:
                return function(*args, **kwargs)
            began = time.perf_counter()
            self._inner.append(0.0)
            try:
                return function(*args, **kwargs)
            finally:
                whole = time.perf_counter() - began
                self.spent[name] += whole - self._inner.pop()
                self.calls[name] += 1
                self._inner[-1] += whole

        return timed

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Put the clock around what an answer is made of."""
        from isolate.case import chase, facts
        from isolate.case.store import Store
        from isolate.reasoning import explain
        from isolate.reasoning.belief import Belief
        from isolate.reasoning.lookahead import Lookahead
        from isolate.reasoning.plan import Planner
        from isolate.reasoning.pose import Poser
        from isolate.reasoning.problem import Problem
        from isolate.reasoning.rules import RuleBook
        from isolate.reasoning.search import Search

        watched: list[tuple[Any, str, str]] = [
            (chase, "believed", "belief: fold of the evidence"),
            (Belief, "surprise", "belief: surprise"),
            (Belief, "faults", "belief: marginals"),
            (facts, "standing", "rules: facts"),
            (RuleBook, "run", "rules: run"),
            (chase.Chase, "barred", "what is barred"),
            (Poser, "pose", "pose"),
            (Planner, "__init__", "plan: routes"),
            (Problem, "narrowed", "plan: narrowing"),
            (Lookahead, "run", "plan: looking ahead"),
            (Lookahead, "moves", "plan: moves"),
            (Search, "run", "plan: bounds"),
            (explain, "shifts", "explain: what each outcome would do"),
            (Store, "append_all", "store"),
        ]
        with ExitStack() as stack:
            for owner, attribute, name in watched:
                function = getattr(owner, attribute)
                stack.enter_context(mock.patch.object(owner, attribute, self.around(name, function)))
            yield


# -- the run -------------------------------------------------------------------------------------------------


def measured(sessions: list[Session], answers: int) -> tuple[dict[str, list[float]], int]:
    """Return ms by what was timed, and how many sessions ended by themselves."""
    from tests.bench.figures import reference_ms

    found: dict[str, list[float]] = defaultdict(list)
    ended = 0
    for chase, do, answering in played(sessions, answers):
        if answering:
            found["reference"].append(reference_ms())
        cpu, began = time.process_time(), time.perf_counter()
        do()
        recorded = time.perf_counter() - began
        chase.now()
        shown, cpu = time.perf_counter() - began, time.process_time() - cpu
        ended += bool(chase.state.ended)
        if not answering:
            found["other"].append(1000 * shown)
        elif chase.state.move is None and not chase.state.ended:
            found["recorded"].append(1000 * recorded)
            found["shown"].append(1000 * shown)
            found["processor"].append(1000 * cpu)
        print(f"\r{len(found['recorded'])} answers", end="", file=sys.stderr, flush=True)
    print("\r             \r", end="", file=sys.stderr)
    return found, ended


def shares(sessions: list[Session], answers: int) -> list[list[str]]:
    """Return the rows of where the time goes, over the answers that led to an offer and over their slowest tenth."""
    clock = Shares()
    found: list[tuple[float, dict[str, float], dict[str, int]]] = []
    with clock.watching():
        for chase, do, answering in played(sessions, answers):
            clock.spent, clock.calls, clock.on = defaultdict(float), defaultdict(int), True
            began = time.perf_counter()
            do()
            chase.now()
            whole = time.perf_counter() - began
            clock.on = False
            if answering and chase.state.move is None and not chase.state.ended:
                clock.spent["the rest"] = whole - sum(clock.spent.values())
                found.append((whole, clock.spent, clock.calls))
    found.sort(key=lambda one: -one[0])
    slowest = found[: max(1, len(found) // 10)]

    def mean(some: list[tuple[float, dict[str, float], dict[str, int]]], name: str) -> float:
        return 1000 * sum(spent.get(name, 0.0) for _, spent, _ in some) / len(some)

    names = sorted({name for _, spent, _ in found for name in spent}, key=lambda name: -mean(found, name))
    total = sum(mean(found, name) for name in names)
    calls = {name: sum(one.get(name, 0) for _, _, one in found) / len(found) for name in names}
    return [
        [
            name,
            f"{mean(found, name) / total:.1%}",
            f"{mean(found, name):.1f}",
            f"{calls[name]:.1f}" if calls[name] else "",
            f"{mean(slowest, name):.1f}",
        ]
        for name in names
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=10, help="random sessions, seeds 0 to n-1 (10)")
    parser.add_argument("--answers", type=int, default=25, help="answers after which a session is broken off (25)")
    parser.add_argument("--profile", type=int, default=0, metavar="N", help="print the N dearest functions as well")
    parser.add_argument("--peak", choices=("bare", "kit", "chase"), help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.peak:
        print(peak(arguments.peak))
        return
    peaks = memory()
    from tests.bench.figures import quantile, quiet, table

    print(quiet())
    fitted = shipped()
    sessions = scenarios(fitted) + at_random(fitted, max(0, arguments.n))
    found, ended = measured(sessions, arguments.answers)
    unit = quantile(found["reference"], 0.5)
    rows = []
    for name, said in (
        ("recorded", "answer to offer recorded"),
        ("shown", "answer to offer shown"),
        ("processor", "processor time of that"),
        ("other", "other steps"),
    ):
        values = found[name]
        p50, p95 = quantile(values, 0.5), quantile(values, 0.95)
        rows.append([said, len(values), *(f"{v:.1f}" for v in (p50, p95, max(values), p50 / unit, p95 / unit))])
    table(["latency", "n", "p50 ms", "p95 ms", "most ms", "p50 / ref", "p95 / ref"], rows)
    p95 = quantile(found["recorded"], 0.95)
    print(f"reference {unit:.2f} ms (median); p95 recorded / aim of {AIM:.0f} ms: {p95 / AIM:.2f}")
    print(f"{len(sessions)} sessions, {ended} of them played to their end")
    print()
    heading = ["where it goes (answer to shown)", "share", "ms", "calls", "ms, slowest tenth"]
    table(heading, shares(sessions, arguments.answers))
    print()
    table(["peak memory", "MiB"], peaks)
    if arguments.profile:
        profile = cProfile.Profile()
        for chase, do, answering in played(sessions, arguments.answers):
            if answering:
                profile.enable()
                do()
                chase.now()
                profile.disable()
            else:
                do()
        pstats.Stats(profile).strip_dirs().sort_stats("tottime").print_stats(arguments.profile)


if __name__ == "__main__":
    main()

"""What a policy costs to the end of the case, beside most information per minute. Run: python -m tests.bench.policies

Cases are sampled from the belief of a decision problem and played to their end (tests/bench/trial.py) by four policies:

``ours``: the planner. ``most information per minute``: see trial.py; what the others are compared with.
``cheapest first``: the check that costs least now, crossings counted, of those that tell a hundredth of a bit; it
repairs as most information per minute does, once one route holds 0.8 or no check tells anything.
``most probable repair first``: asks nothing; does the repair of what is most probable, verifies it, and so on; hands
over where the most probable cause is one to hand over.

Problems: ``generated`` are random ones of realistic size (trial.generated, seeds 0 to 5). ``shipped`` are the shipped
knowledge posed as a chase poses it after each complaint, at the gate (or --place hangar), with what is found open.
What somebody may not do and what rules hold back is not played: every check and repair is to be had throughout.

Case i of a problem has the same true state and the same seed under every policy. Costs are equivalent minutes, the cost
of faults left and of giving up included. Printed are the mean with its standard error, the ratio of the means to that
of most information per minute with a 95 % interval (paired bootstrap over cases, within each problem), checks and
repairs a case, the share of cases that ended as verified or watched with a fault left, and how the cases ended.
Nothing printed depends on the clock.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from functools import cache
from multiprocessing import get_context
from typing import TYPE_CHECKING, get_args

if TYPE_CHECKING:
    from tests.bench.trial import Played, Policy

# One thread for numpy in each process, said before numpy is loaded: the processes are what runs side by side.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.kb.model import Place  # noqa: E402
from isolate.reasoning.plan import Planner, Valued  # noqa: E402
from isolate.reasoning.problem import Problem  # noqa: E402
from tests.bench import trial  # noqa: E402
from tests.bench.figures import table  # noqa: E402

BASE = "most information per minute"
RESAMPLES = 4000
GENERATED = 6
"""Generated problems, seeds from 0."""
BLOCK = 10
"""Cases that one task plays."""
TELLS, SURE = 0.01, 0.8
"""Bits that a check has to tell, and probability of one route at which to repair: those of the policy compared with."""


# -- policies ------------------------------------------------------------------------------------------------


def cheapest_first(planner: Planner, p: np.ndarray, opened: int, usable: Sequence[int]) -> Valued:
    """Ask what costs least now; repair once a route is 0.8 likely, as that rival does."""
    checks = [m for m in planner.moves(p, opened, usable) if m.kind == "check" and m.told > TELLS]
    if checks and (p @ planner.members).max() < SURE:
        return min(checks, key=lambda m: (m.now, m.name))
    return trial.information_until_likely(planner, p, opened, usable)


class MostProbableRepairFirst:
    """Repair what is most probable, verify, go on. One object plays one case, since it remembers what it did."""

    def __init__(self) -> None:
        self.unproven = False

    def __call__(self, planner: Planner, p: np.ndarray, opened: int, usable: Sequence[int]) -> Valued:
        moves = {(m.kind, m.name): m for m in planner.moves(p, opened, ())}
        verify = moves["verify", planner.problem.verify.name]
        if self.unproven:
            self.unproven = False
            return verify
        for route in np.argsort(-(p @ planner.members), kind="stable"):
            repairs, end = planner._paths[route]
            names = [planner.problem.repairs[i].name for i in repairs]
            able = [name for name in names if ("repair", name) in moves]
            if able:
                self.unproven = True
                return moves["repair", able[0]]
            if not names:
                return verify if end < 0 else moves["end", planner.problem.ends[end].name]
        return min((m for m in moves.values() if m.kind == "end"), key=lambda m: (m.expected, m.name))


POLICIES: dict[str, Callable[[], Policy]] = {
    BASE: lambda: trial.most_information_per_minute,
    "the same until 0.8 likely": lambda: trial.information_until_likely,
    "ours": lambda: trial.ours,
    "cheapest first": lambda: cheapest_first,
    "most probable repair first": MostProbableRepairFirst,
}
"""Name → what makes the policy for one case."""


# -- problems ------------------------------------------------------------------------------------------------


@cache
def shipped(place: Place) -> dict[str, Problem]:
    """Return the shipped knowledge posed after each complaint, as a chase that opens with it does."""
    from isolate.case.case import Intake, Person
    from isolate.case.chase import Chase, Kit
    from isolate.case.memory import Memory
    from isolate.case.play import Clock
    from isolate.kb.fit import fit
    from isolate.kb.load import load
    from isolate.reasoning.belief import Start

    kit = Kit(fit(load().knowledge, "halden-hf-3"))
    everything = (Person("the technician", ("licensed", "motoring", "engine-run")), Person("a second"))
    taking_turns = tuple(Start(channel, lit) for channel, lit in (("A", False), ("B", True)) * 2)
    told: list[tuple[str, tuple[Start, ...]]] = [(name, ()) for name in sorted(kit.fitted.complaints)]
    told.append(("intermittent-no-ignite", taking_turns))
    found: dict[str, Problem] = {}
    for complaint, starts in told:
        channel = "A" if kit.fitted.complaints[complaint].asks_channel else ""
        intake = Intake("104", "2", kit.fitted.name, complaint, channel, starts=starts, people=everything, place=place)
        chase = Chase.begin(kit, Memory(), "bench", intake, Clock())
        posed = kit.poser(place).pose(chase.belief, chase.verification)
        name = f"{complaint}{', starts told' if starts else ''}"
        found[name] = replace(posed.problem, open=posed.mask(chase.state.open))
    return found


def names(kind: str) -> list[str]:
    """Return the problems of a kind: ``generated``, or the place of the shipped ones."""
    return list(shipped(kind)) if kind in get_args(Place) else [f"seed {i}" for i in range(GENERATED)]


@cache
def planner(kind: str, name: str) -> Planner:
    return Planner(shipped(kind)[name] if kind in get_args(Place) else trial.generated(int(name.removeprefix("seed "))))


# -- the run -------------------------------------------------------------------------------------------------


Task = tuple[str, str, int, str, int, int]
"""Kind, problem, its number, policy, first case, last case + 1."""


def run(task: Task) -> list[Played]:
    """Play a block of cases."""
    kind, name, number, policy, first, last = task
    made = planner(kind, name)
    seeds = ((number, kind != "generated", case) for case in range(first, last))
    return [trial.play(made.problem, made, POLICIES[policy](), np.random.default_rng(seed)) for seed in seeds]


def all_played(tasks: Sequence[Task], workers: int) -> dict[Task, list[Played]]:
    found: dict[Task, list[Played]] = {}
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting = {pool.submit(run, task): task for task in tasks}
        for i, done in enumerate(as_completed(waiting), start=1):
            found[waiting[done]] = done.result()
            print(f"\r{i} of {len(tasks)} blocks", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def interval(ours: Sequence[np.ndarray], base: Sequence[np.ndarray]) -> tuple[float, float]:
    """Return a 95 % interval of the ratio of means: cases resampled in pairs within each problem, seeded."""
    rng = np.random.default_rng(0)
    above, below = np.zeros(RESAMPLES), np.zeros(RESAMPLES)
    for a, b in zip(ours, base, strict=True):
        picks = rng.integers(0, len(a), (RESAMPLES, len(a)))
        above += a[picks].sum(axis=1)
        below += b[picks].sum(axis=1)
    low, high = np.quantile(above / below, [0.025, 0.975])
    return float(low), float(high)


def error(costs: Sequence[np.ndarray]) -> float:
    """Return the standard error of the mean over all problems, each with the same number of cases."""
    if len(costs[0]) < 2:
        return float("nan")
    return float(np.sqrt(sum(c.var(ddof=1) / len(c) for c in costs)) / len(costs))


def report(kind: str, found: dict[str, dict[str, list[Played]]], each: bool) -> None:
    """Print the table of one kind of problem; ``found``: policy → problem → cases."""
    costs = {
        policy: [np.array([c.cost for c in cases]) for cases in by_name.values()] for policy, by_name in found.items()
    }
    base = float(np.concatenate(costs[BASE]).mean())
    rows = []
    for policy, by_name in found.items():
        cases = [case for some in by_name.values() for case in some]
        mean = float(np.mean([c.cost for c in cases]))
        low, high = interval(costs[policy], costs[BASE])
        rows.append(
            [
                policy,
                f"{mean:.1f}",
                f"{error(costs[policy]):.1f}",
                f"{mean / base:.3f}",
                f"{low:.3f}-{high:.3f}",
                f"{np.mean([c.checks for c in cases]):.1f}",
                f"{np.mean([c.repairs for c in cases]):.2f}",
                f"{np.mean([c.left and c.ended in ('verified', 'watched') for c in cases]):.1%}",
                _ended(cases),
            ]
        )
    n = len(next(iter(found[BASE].values())))
    print(f"\n{kind if kind == 'generated' else f'shipped, {kind}'}: {len(found[BASE])} problems, {n} cases each")
    heading = ["policy", "mean", "s.e.", "ratio", "95 %", "checks", "repairs", "left", "ended"]
    table(heading, rows)
    estimates = float(np.mean([c.estimate for some in found["ours"].values() for c in some]))
    print(f"the planner's own estimate at the start: {estimates:.1f}")
    if each:
        others = [policy for policy in found if policy != BASE]
        lines = []
        for i, name in enumerate(found[BASE]):
            ratios = [f"{costs[o][i].mean() / costs[BASE][i].mean():.3f}" for o in others]
            lines.append([name, f"{costs[BASE][i].mean():.1f}", *ratios])
        print()
        table([f"{kind}, each", BASE, *others], lines)


def _ended(cases: Iterable[Played]) -> str:
    return ", ".join(f"{how} {count}" for how, count in Counter(c.ended for c in cases).most_common())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=16, help="cases of each problem (16)")
    parser.add_argument("-w", type=int, default=2, help="processes (2)")
    parser.add_argument("--only", choices=("generated", "shipped"), help="one kind of problem only")
    parser.add_argument("--place", choices=get_args(Place), default="gate", help="of the shipped problems (gate)")
    parser.add_argument("--each", action="store_true", help="a table of the single problems as well")
    arguments = parser.parse_args()
    n = max(1, arguments.n)
    kinds = [k for k in ("generated", "shipped") if arguments.only in (None, k)]
    kinds = [arguments.place if k == "shipped" else k for k in kinds]
    tasks: list[Task] = [
        (kind, name, number, policy, first, min(first + BLOCK, n))
        for first in range(0, n, BLOCK)
        for kind in kinds
        for number, name in enumerate(names(kind))
        for policy in POLICIES
    ]
    played = all_played(tasks, max(1, arguments.w))
    for kind in kinds:
        found: dict[str, dict[str, list[Played]]] = {policy: defaultdict(list) for policy in POLICIES}
        for task in tasks:
            if task[0] == kind:
                found[task[3]][task[1]] += played[task]
        report(kind, found, arguments.each)


if __name__ == "__main__":
    main()

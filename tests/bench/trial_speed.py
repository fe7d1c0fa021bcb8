"""How long trials take, and where the time goes. Run: python -m tests.bench.trial_speed [-n 1000] [--profile]

Printed for each policy: seconds for N cases of one engine on all processors, spawning and loading included, decisions
made and cases a second; with ``--profile`` the functions of one process that take most of it, policy ``ours``.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
from collections.abc import Sequence
from time import perf_counter

from isolate.drill import trial
from isolate.drill.policies import OURS, POLICIES
from tests.bench.figures import table


def timed(asked: trial.Asked, workers: int) -> tuple[float, int, int]:
    """Return (seconds, decisions, cases) of a trial."""
    begun = perf_counter()
    with trial.players(workers) as by:
        done = trial.run(trial.blocks(asked, by.workers), by)
    return perf_counter() - begun, sum(d.decisions for d in done), sum(len(d.played) for d in done)


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=1000, help="cases of each policy (1000)")
    parser.add_argument("--engine", default="halden-hf-3", help="engine (halden-hf-3)")
    parser.add_argument("--policy", action="append", choices=list(POLICIES), help="a policy; none: each")
    parser.add_argument("--workers", type=int, default=trial.processors(), help="processes (one a processor)")
    parser.add_argument("--budget", type=int, default=1, help="expansions that ours spends on a decision (1)")
    parser.add_argument("--profile", action="store_true", help="where the time of ours goes, in one process")
    given = parser.parse_args(argv)
    rows = []
    for name in given.policy or POLICIES:
        asked = trial.ask(max(1, given.n), given.engine, policies=(name,), budget=given.budget)
        seconds, decisions, cases = timed(asked, max(1, given.workers))
        rows.append([name, f"{cases}", f"{seconds:.1f}", f"{decisions}", f"{cases / seconds:.0f}"])
    print(f"{given.engine}, {given.workers} processes")
    table(["policy", "cases", "seconds", "decisions", "cases/s"], rows)
    if given.profile:
        asked = trial.ask(max(1, given.n), given.engine, policies=(OURS,), budget=given.budget)
        profile = cProfile.Profile()
        profile.enable()
        trial.run(trial.blocks(asked))
        profile.disable()
        pstats.Stats(profile).sort_stats("tottime").print_stats(25)


if __name__ == "__main__":
    main()

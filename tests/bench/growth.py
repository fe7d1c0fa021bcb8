"""How the time of one decision grows with the size of the problem. Run: python -m tests.bench.growth

Problems: those of :func:`tests.bench.generated.generated` with faults, pairs of faults, checks and access states scaled
alike from its own size (1x: 60 states, 70 checks, 15 access states, 40 repairs). A decision is that of
:func:`isolate.reasoning.decide.decide` from the start with a budget of one expansion: what is likely enough is looked
at (``planned over``), so time follows that more than the whole. ``posed``: making the problem from its parts, with what
it keeps from then on worked out. ``bound``: :func:`isolate.reasoning.bound.lower_bound`, up to ``--bound`` times.

Two times of a decision: ``cold``, with nothing kept from before, and ``warm``, the same again with the crossings known
by then, as they are kept from problem to problem in a chase. Printed are medians of several problems, each decided
``--times`` times, and the ratio of ``warm`` to that of 1x; the exponent is that of time against size from the size
before. With ``--access 15`` it is an aircraft of the same panels with ever more behind them. Sizes end where one
decision would take longer than ``--longest``, by the growth so far. ``--picture`` draws it where matplotlib is
installed. Times are of this machine, one thread, other programs included.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

# One thread for numpy, said before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.reasoning.bound import lower_bound  # noqa: E402
from isolate.reasoning.decide import KEPT, LEAST, decide  # noqa: E402
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way  # noqa: E402
from tests.bench.figures import quantile, quiet, table  # noqa: E402

SIZES = (1, 2, 5, 10, 20, 50, 100)
FAULTS, DOUBLES, CHECKS, ACCESS, ROOTS = 40, 19, 70, 15, 3


class Grown(NamedTuple):
    """What one size took, medians in ms; ``over``: states planned over; ``bound`` is None where it was left out."""

    size: int
    states: int
    over: int
    posed: float
    cold: float
    warm: float
    bound: float | None


def problem_of(size: int, seed: int, panels: int = 10**9) -> Problem:
    """Return a problem by the recipe of ``generated``, worked out in tables; the draws come in another order.

    ``panels``: access states at most.
    """
    rng = np.random.default_rng([size, seed])
    faults, doubles, checks, access = (size * k for k in (FAULTS, DOUBLES, CHECKS, ACCESS))
    access = min(access, panels)
    pairs = np.unique(np.sort(rng.permuted(np.tile(np.arange(faults), (doubles, 1)), axis=1)[:, :2], axis=1), axis=0)
    n = 1 + faults + len(pairs)
    p = np.concatenate(
        [[0.03], rng.dirichlet(np.full(faults, 0.5)) * 0.9, rng.dirichlet(np.ones(len(pairs))) * 0.07],
    )
    ways = []
    for i in range(access):
        needs = 0 if i < ROOTS * access // ACCESS else 1 << int(rng.integers(0, i))
        ways.append(Way(f"a{i}", float(rng.uniform(2, 15)), float(rng.uniform(2, 15)), needs))
    made = []
    for k in range(checks):
        about = rng.random(faults) < rng.uniform(0.05, 0.5)
        hit, miss = rng.uniform(0.7, 0.98), rng.uniform(0.01, 0.15)
        quiet_fault = np.where(about, 1 - hit, 1.0)
        bad = 1 - (1 - miss) * np.concatenate([[1.0], quiet_fault, quiet_fault[pairs].prod(axis=1)])
        needs = 0 if rng.random() < 0.3 else 1 << int(rng.integers(0, access))
        made.append(CheckMove(f"c{k}", float(rng.uniform(2, 20)), np.stack([1 - bad, bad]), needs))
    repairs = []
    for f in range(faults):
        to = np.arange(n)
        to[1 + f] = 0
        for k in np.flatnonzero((pairs == f).any(axis=1)):
            to[1 + faults + k] = 1 + int(pairs[k].sum()) - f
        needs = 1 << int(rng.integers(0, access))
        repairs.append(RepairMove(f"r{f}", float(rng.uniform(10, 80)), to, float(rng.uniform(0.9, 0.99)), needs))
    clear = np.arange(n) == 0
    passes = np.where(clear, 0.98, 0.04)
    verify = CheckMove("verify", 15.0, np.stack([passes, 1 - passes]), 0, (1 << access) - 1)
    ends = (EndMove("escalate", np.full(n, 600.0)),)
    states = tuple(f"h{h}" for h in range(n))
    return Problem(states, p / p.sum(), clear, tuple(ways), tuple(made), tuple(repairs), verify, ends, 900.0)


def measured(size: int, seeds: int, times: int, bound: bool, panels: int) -> Grown:
    """Return what problems of this size take; the first decision, which loads code, is not counted."""
    states: list[float] = []
    over: list[float] = []
    taken: dict[str, list[float]] = {name: [] for name in ("posed", "cold", "warm", "bound")}
    for seed in range(seeds):
        whole = problem_of(size, seed, panels)
        states.append(len(whole.states))
        over.append(len(whole.narrowed(whole.start(), KEPT, LEAST)[0].states))
        for again in range(times + (size == 1)):
            begun = time.perf_counter()
            # A new object, so that nothing that the last one kept is found again.
            problem = replace(whole, crossings=None)
            _ = problem.ways, problem.padded, problem.targets
            posed = time.perf_counter()
            decide(problem, None, 1)
            cold = time.perf_counter()
            decide(problem, None, 1)
            warm = time.perf_counter()
            if again or size > 1:
                taken["posed"].append(1000 * (posed - begun))
                taken["cold"].append(1000 * (cold - posed))
                taken["warm"].append(1000 * (warm - cold))
        if bound:
            begun = time.perf_counter()
            lower_bound(whole, None, 1)
            taken["bound"].append(1000 * (time.perf_counter() - begun))
    posed, cold, warm = (quantile(taken[name], 0.5) for name in ("posed", "cold", "warm"))
    bounded = quantile(taken["bound"], 0.5) if bound else None
    return Grown(size, int(quantile(states, 0.5)), int(quantile(over, 0.5)), posed, cold, warm, bounded)


def draw(grown: Sequence[Grown], path: Path) -> str:
    """Draw time against size, both logarithmic; return a sentence on what became of it."""
    try:
        import matplotlib
    except ImportError:
        return "no picture: matplotlib is not installed"
    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(7, 4.5))
    sizes = [g.size for g in grown]
    first = grown[0].warm
    axes.loglog(sizes, [g.cold for g in grown], "o-", label="decided cold")
    axes.loglog(sizes, [g.warm for g in grown], "o-", label="decided warm (crossings known)")
    axes.loglog(sizes, [g.posed for g in grown], "s-", label="posed")
    bounded = [(g.size, g.bound) for g in grown if g.bound is not None]
    if bounded:
        axes.loglog(*zip(*bounded, strict=True), "^-", label="bound")
    axes.loglog(sizes, [first * k for k in sizes], ":", color="grey", label="in proportion to size")
    axes.loglog(sizes, [first * k**2 for k in sizes], "--", color="grey", label="to its square")
    axes.set_xticks(sizes, [f"{k}x" for k in sizes])
    axes.set_xticks([], minor=True)
    axes.set_xlabel(f"size (1x: {grown[0].states} states, {CHECKS} checks, {ACCESS} access states, {FAULTS} repairs)")
    axes.set_ylabel("ms, median")
    axes.grid(True, which="major", alpha=0.3)
    axes.legend()
    figure.tight_layout()
    figure.savefig(path, dpi=120)
    return f"drawn: {path}"


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--most", type=int, default=100, help="largest size, times the first (100)")
    parser.add_argument("--seeds", type=int, default=3, help="problems of each size (3)")
    parser.add_argument("--times", type=int, default=3, help="decisions on each (3)")
    parser.add_argument("--longest", type=float, default=60.0, help="seconds that one decision may take (60)")
    parser.add_argument("--access", type=int, default=10**9, help="access states at most (as many as the size makes)")
    parser.add_argument("--bound", type=int, default=0, help="largest size whose bound is worked out too (0: none)")
    parser.add_argument("--picture", type=Path, help="file to draw to")
    given = parser.parse_args(argv)
    panels = max(ROOTS, given.access)
    print(quiet())
    grown: list[Grown] = []
    rows = []
    for size in (k for k in SIZES if k <= max(1, given.most)):
        if len(grown) > 1:
            last, before = grown[-1], grown[-2]
            grows = np.log(last.cold / before.cold) / np.log(last.size / before.size)
            if (next_ms := last.cold * (size / last.size) ** grows) > 1000 * given.longest:
                print(f"{size}x and larger left out: one decision would take some {next_ms / 1000:.0f} s cold")
                break
        now = measured(size, max(1, given.seeds), max(1, given.times), size <= given.bound, panels)
        print(f"{size}x done", file=sys.stderr, flush=True)
        exponent = ""
        if grown:
            exponent = f"{np.log(now.warm / grown[-1].warm) / np.log(size / grown[-1].size):.2f}"
        grown.append(now)
        bound = "" if now.bound is None else f"{now.bound:.0f}"
        ratio = f"{now.warm / grown[0].warm:.1f}"
        counts = [now.states, now.over, CHECKS * size, min(ACCESS * size, panels), FAULTS * size]
        rows.append(
            [f"{size}x", *counts, f"{now.posed:.1f}", f"{now.cold:.0f}", f"{now.warm:.1f}", ratio, exponent, bound]
        )
    heading = ["size", "states", "planned over", "checks", "access", "repairs"]
    table([*heading, "posed ms", "cold ms", "warm ms", "ratio", "exponent", "bound ms"], rows)
    if given.picture:
        print(draw(grown, given.picture))


if __name__ == "__main__":
    main()

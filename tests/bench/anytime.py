"""How good the search is when it is broken off. Run: python -m tests.bench.anytime

Problems: :func:`tests.reasoning.random_problems.small`, seeds from 0 (5 faults, 5 checks, 3 access states). The optimum
is that of the exact table, which ``tests/reasoning/test_exact.py`` holds against a brute force. A policy is played to
its exact expected cost: every answer and every verification is followed with its probability, no case is drawn. Printed
is that cost over the optimum, mean and worst of all seeds.

- *search*: at each position the move that a search of what is left finds with a fixed budget of expansions; the
  budgets are a tenth of what closed that problem from its start, and some that are the same for all.
- *most information per minute*: ask what tells most bits about the state per minute, crossings included, while any
  check tells more than 0.01 bit; then as the next.
- *repairs by probability per minute*: each verified, until one passes; given up where that costs less than going on.

Expansions are the same everywhere; milliseconds are of this machine, one thread, other programs included.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Sequence

# One thread for numpy, said before numpy is loaded: what is measured is the solver.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.reasoning.exact import Table  # noqa: E402
from isolate.reasoning.problem import CheckMove, Move, Position, Problem, Vector  # noqa: E402
from isolate.reasoning.search import solve  # noqa: E402
from tests.bench.figures import quantile, quiet, table  # noqa: E402
from tests.reasoning.random_problems import small  # noqa: E402

TELLS = 0.01
"""Bits that a check has to tell to be asked by the policy of most information per minute."""
TO_CLOSE = 100_000
"""Expansions after which a search that has not closed is given up."""
BUDGETS = (1, 5, 20, 100)

Choose = Callable[[Problem], Move]
"""A policy: the move to make at the start of the problem that is left."""


def played(problem: Problem, choose: Choose) -> float:
    """Return the exact expected cost of a policy, equivalent minutes, every outcome followed.

    The policy is asked anew at each position reached, for the problem left there. Where the problem has each repair
    proven at once, its verification is made without asking.
    """
    known: dict[object, float] = {}
    checks = {c.name: i for i, c in enumerate(problem.checks)}
    repairs = {r.name: i for i, r in enumerate(problem.repairs)}
    ends = {e.name: e for e in problem.ends}
    go, close_all = problem.ways.go, problem.ways.close_all

    def seen(now: float, made: CheckMove, at: Position, then: Callable[[int], Position]) -> float:
        total = now + go(at.open, made.needs, made.shut)[0] + made.cost
        for outcome, chance in enumerate((made.likelihood @ at.p).tolist()):
            if chance > 0:
                total += chance * cost(then(outcome))
        return total

    def proof(now: float, at: Position) -> float:
        return seen(now, problem.verify, at, lambda outcome: problem.verified(at, outcome))

    def cost(at: Position) -> float:
        asked = tuple(sorted((i, () if c is None else c.before) for i, c in at.asked.items()))
        key = (at.p.round(10).tobytes(), at.open, asked, tuple(sorted(at.done.items())), at.proofs, at.proven)
        if key not in known:
            known[key] = _cost(at)
        return known[key]

    def _cost(at: Position) -> float:
        if problem.settled(at):
            return close_all(at.open)[0] + float(at.p @ ~problem.clear) * problem.missed
        kind, name = choose(problem.narrowed(at)[0])
        if kind == "check":
            i = checks[name]
            made = problem.check(at, i)
            assert made is not None, f"{name} was asked before"
            return seen(0.0, made, at, lambda outcome: problem.told(at, i, outcome))
        if kind == "verify":
            return proof(0.0, at)
        if kind == "repair":
            repair = problem.repairs[repairs[name]]
            now = go(at.open, repair.needs, repair.shut)[0] + repair.cost
            after = problem.repaired(at, repairs[name])
            return proof(now, after) if problem.prove_each else now + cost(after)
        return close_all(at.open)[0] + float(at.p @ ends[name].cost)

    return cost(problem.start())


# -- policies ------------------------------------------------------------------------------------------------


def searching(budget: int) -> Choose:
    """Return the policy that searches with this budget at each position."""
    return lambda problem: solve(problem, budget).move


def most_information(problem: Problem) -> Move:
    """Ask what tells most bits a minute; where no check tells anything, repair by probability per minute."""
    doubt, best = _bits(problem.p), (0.0, "")
    for check in problem.checks:
        joint = check.likelihood * problem.p
        told = doubt - sum(float(row.sum()) * _bits(row / row.sum()) for row in joint if row.sum() > 0)
        now = problem.ways.go(problem.open, check.needs, check.shut)[0] + check.cost
        if told > TELLS:
            best = max(best, (told / max(now, 1e-9), check.name))
    return Move("check", best[1]) if best[1] else by_probability(problem)


def by_probability(problem: Problem) -> Move:
    """Repair, or verify, what is likeliest to end it per minute; end where that costs less than going on so.

    For problems in which a verification is sure: what passes is clear.
    """
    go, verify = problem.ways.go, problem.verify
    p, opened, proofs = problem.p.copy(), problem.open, problem.proofs
    left = list(range(len(problem.repairs)))
    stops: list[float] = []
    paid: list[float] = []
    first: Move | None = None
    while True:
        closing = problem.ways.close_all(opened)[0]
        stops.append(closing * float(p.sum()) + min(float(p @ e.cost) for e in problem.ends if not e.proven))
        tries: list[tuple[float, str, int, float, Vector, int]] = []
        clear = float(p[problem.clear].sum())
        if proofs < verify.most and clear > 0:
            cost, after, _ = go(opened, verify.needs, verify.shut)
            now = cost + verify.cost
            tries.append((clear / max(now, 1e-9), verify.name, -1, now, p, after & ~verify.spoils))
        for i in left:
            repair = problem.repairs[i]
            cost, after, _ = go(opened, repair.needs, repair.shut)
            more, after, _ = go(after & ~repair.spoils, verify.needs, verify.shut)
            now = cost + repair.cost + more + verify.cost
            mended = p * (1 - repair.success)
            np.add.at(mended, repair.to, p * repair.success)
            gain = float(mended[problem.clear].sum())
            tries.append((gain / max(now, 1e-9), repair.name, i, now, mended, after & ~verify.spoils))
        best = max(tries, key=lambda t: t[:2], default=None)
        if best is None or best[0] <= 1e-12:
            break
        _, name, which, now, after_p, opened = best
        passed = float(after_p[problem.clear].sum())
        paid.append(now * float(p.sum()) + passed * problem.ways.close_all(opened)[0])
        p, proofs = np.where(problem.clear, 0.0, after_p), 1
        if which >= 0:
            left.remove(which)
        first = first or Move("repair" if which >= 0 else "verify", name)
    value = stops[-1]
    for stop, spent in zip(reversed(stops[:-1]), reversed(paid), strict=True):
        value = min(stop, spent + value)
    if first is None or value >= stops[0]:
        return Move("end", min((float(problem.p @ e.cost), e.name) for e in problem.ends if not e.proven)[1])
    return first


def _bits(p: Vector) -> float:
    live = p[p > 0]
    return float(-(live * np.log2(live)).sum())


# -- the run -------------------------------------------------------------------------------------------------


def timed(make: Callable[[], object]) -> float:
    """Return the milliseconds that a call takes."""
    began = time.perf_counter()
    make()
    return 1000 * (time.perf_counter() - began)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=40, help="seeds 0 to n-1 (40)")
    parser.add_argument("--large", type=int, default=10, help="problems of 8 faults, 8 checks, 4 access (10)")
    arguments = parser.parse_args()
    seeds = range(max(1, arguments.n))
    print(quiet())
    ratios: dict[str, list[float]] = {}
    needed: list[int] = []
    budgets: list[int] = []
    open_still = 0
    times: dict[str, list[float]] = {"table, 5 faults 5 checks 3 access": []}
    for seed in seeds:
        problem = small(seed)
        times["table, 5 faults 5 checks 3 access"].append(timed(lambda problem=problem: Table(problem)))  # type: ignore[misc]
        optimum = Table(problem).cost()
        found = solve(problem, TO_CLOSE)
        open_still += not found.exact
        needed.append(found.expansions)
        budgets.append(max(1, round(found.expansions / 10)))
        policies: list[tuple[str, Choose]] = [("search, a tenth of what closes it", searching(budgets[-1]))]
        policies += [(f"search, {b} expansion{'s' * (b > 1)}", searching(b)) for b in BUDGETS]
        policies += [("most information per minute", most_information)]
        policies += [("repairs by probability per minute", by_probability)]
        for name, choose in policies:
            ratios.setdefault(name, []).append(played(problem, choose) / optimum)
        print(f"\r{seed + 1} of {len(seeds)} problems", end="", file=sys.stderr, flush=True)
    print("\r" + " " * 30 + "\r", end="", file=sys.stderr)
    rows: list[Sequence[object]] = []
    for name, values in ratios.items():
        rows.append([name, f"{np.mean(values):.4f}", f"{max(values):.4f}"])
    table(["expected cost / optimum", "mean", "worst"], rows)
    print()
    table(
        ["expansions", "mean", "median", "most"],
        [
            ["to close", f"{np.mean(needed):.0f}", f"{np.median(needed):.0f}", max(needed)],
            ["a tenth of that", f"{np.mean(budgets):.0f}", f"{np.median(budgets):.0f}", max(budgets)],
        ],
    )
    if open_still:
        print(f"{open_still} not closed after {TO_CLOSE:,} expansions; their count is what was spent")
    print()
    for seed in range(arguments.large):
        problem = small(seed, 8, 8, 4)
        times.setdefault("table, 8 faults 8 checks 4 access", []).append(timed(lambda problem=problem: Table(problem)))  # type: ignore[misc]
        print(f"\r{seed + 1} of {arguments.large} large ones", end="", file=sys.stderr, flush=True)
    print("\r" + " " * 30 + "\r", end="", file=sys.stderr)
    table(
        ["exact solver, ms", "n", "median", "worst"],
        [[name, len(ms), f"{quantile(ms, 0.5):.0f}", f"{max(ms):.0f}"] for name, ms in times.items()],
    )


if __name__ == "__main__":
    main()

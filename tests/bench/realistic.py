"""How the plan fares at realistic size, beside simple policies. Run: python -m tests.bench.realistic

Problems: :mod:`tests.bench.generated`, seeds 0 to 5 (60 states, 70 checks, 15 access states, 40 repairs). Cases
are drawn from the belief and played to their end by :class:`~isolate.reasoning.problem.Position`; case i of a problem
has the same true state under every policy, and the same answer wherever two policies ask the same thing for the same
time in the same state. The cost of faults left is counted by its expectation under the belief at the end, not by what
was drawn, which has the same mean and varies less.

- ``ours 1``, ``ours 10``: :func:`isolate.reasoning.decide.decide` with so many expansions.
- ``ours 2 s``: with the number of expansions that take ``--seconds`` for the first move of a problem on this machine
  (the median of the problems); it is measured first, printed, and then the same everywhere. It plays the first
  ``--long`` cases only and is compared on these.
- ``most information``: asks what tells most bits a minute, crossings counted, while any check tells more than 0.01 bit;
  then makes the best move that is no check.
- ``rollout``: one step ahead, valued by trying repairs by probability per minute, each verified, until one passes.

Printed: mean cost in equivalent minutes, and the ratio of the means to that of ``most information`` and of ``rollout``
over the same cases with a 95 % interval (paired bootstrap over cases within each problem). But for the number of
expansions nothing printed depends on the clock.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Sequence

# One thread for numpy, said before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.reasoning.decide import KEPT, LEAST, decide  # noqa: E402
from isolate.reasoning.lookahead import Lookahead  # noqa: E402
from isolate.reasoning.plan import Planner, Valued  # noqa: E402
from isolate.reasoning.problem import Kind, Move, Position, Problem, Vector  # noqa: E402
from tests.bench.figures import quiet, table  # noqa: E402
from tests.bench.generated import generated  # noqa: E402

SEEDS = range(6)
TELLS = 0.01
"""Bits that a check has to tell to be asked by ``most information``."""
DEAR = 1e9
"""Minutes a bit at which no doubt is put up with: what is left of a leaf's value is trying repairs."""
LONGEST = 1000
"""Moves after which a case counts as going on for ever, which is an error."""
RESAMPLES = 2000

Policy = Callable[[Problem, Position], Move]


def valued(problem: Problem, position: Position, budget: int) -> tuple[Valued, ...]:
    """Return the moves as :func:`decide` values them. Without its least likely states a case may have ended."""
    return decide(problem, position, budget).moves or Lookahead(problem, position).run(budget).moves()


def ours(budget: int) -> Policy:
    def policy(problem: Problem, position: Position) -> Move:
        best = valued(problem, position, budget)[0]
        return Move(best.kind, best.name)

    return policy


def most_information(problem: Problem, position: Position) -> Move:
    moves = valued(problem, position, 1)
    checks = [m for m in moves if m.kind == "check" and m.told > TELLS]
    if checks:
        best = max(checks, key=lambda m: (m.told / max(m.now, 1e-9), m.name))
    else:
        best = next(m for m in moves if m.kind != "check")
    return Move(best.kind, best.name)


class Trying:
    """What it costs to try repairs by probability per minute, each verified, until one passes or it is given up."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        planner = Planner(problem)
        routes = planner.routes()
        self.members = (planner.group[:, None] == np.arange(len(routes))).astype(float)
        self.moves = [
            None if end >= 0 else [*(problem.repairs[i] for i in repairs), problem.verify] for repairs, end in routes
        ]
        self.give_up = min(float(end.cost.max()) for end in problem.ends if not end.proven)
        self.known: dict[int, Vector] = {}

    def costs(self, opened: int) -> Vector:
        """Return what each route costs from here, up to its verification; infinite where it is an end."""
        if opened not in self.known:
            found = []
            for moves in self.moves:
                cost, now = 0.0 if moves else np.inf, opened
                for move in moves or ():
                    crossing, now, _ = self.problem.ways.go(now, move.needs, move.shut)
                    cost, now = cost + crossing + move.cost, now & ~move.spoils
                found.append(cost)
            self.known[opened] = np.array(found)
        return self.known[opened]

    def value(self, p: Vector, opened: int) -> Vector:
        """Return the value of beliefs (…, states) with ``opened`` open, in proportion to what they sum to."""
        ways, verify = self.problem.ways, self.problem.verify
        after = ways.go(opened, verify.needs, verify.shut)[1] & ~verify.spoils
        first, again = np.maximum(self.costs(opened), 1e-9), np.maximum(self.costs(after), 1e-9)
        mass = p @ self.members
        total = mass.sum(axis=-1)
        rate = mass / again
        np.put_along_axis(rate, np.argmax(mass / first, axis=-1)[..., None], np.inf, axis=-1)
        order = np.argsort(-rate, axis=-1, kind="stable")
        mass = np.take_along_axis(mass, order, axis=-1)
        cost = again[order]
        cost[..., 0] = first[order[..., 0]]
        left = np.maximum(total[..., None] - np.cumsum(mass, axis=-1), 0.0)
        spent = np.cumsum(np.where(left + mass > 0, (left + mass) * cost, 0.0), axis=-1)
        tried = (spent + left * self.give_up).min(axis=-1) + ways.close_all(after)[0] * total
        ends = np.stack([end.cost for end in self.problem.ends if not end.proven], axis=1)
        return np.asarray(np.minimum(tried, (p @ ends).min(axis=-1) + ways.close_all(opened)[0] * total))


def rollout(whole: Problem, whole_position: Position) -> Move:
    problem, _ = whole.narrowed(whole_position, KEPT, LEAST)
    position = problem.start()
    if problem.settled(position):
        problem, position = whole, whole_position
    trying = Trying(problem).value
    go, close_all = problem.ways.go, problem.ways.close_all
    p, opened = position.p, position.open
    found: list[tuple[float, Kind, str]] = []
    for i in range(len(problem.checks)):
        check = problem.check(position, i)
        if check is not None:
            cost, after, _ = go(opened, check.needs, check.shut)
            value = float(trying(p * check.likelihood, after & ~check.spoils).sum())
            found.append((cost + check.cost + value, "check", check.name))
    for i, repair in enumerate(problem.repairs):
        if problem.may_repair(position, i) and float(p[repair.to != np.arange(len(p))].sum()) > 1e-3:
            cost, after, _ = go(opened, repair.needs, repair.shut)
            value = float(trying(problem.repaired(position, i).p, after & ~repair.spoils))
            found.append((cost + repair.cost + value, "repair", repair.name))
    if problem.may_verify(position):
        verify = problem.verify
        cost, after, _ = go(opened, verify.needs, verify.shut)
        after &= ~verify.spoils
        joint = p * verify.likelihood
        values = trying(joint, after)
        left = float(joint[0] @ ~problem.clear)
        if left < problem.remaining * float(joint[0].sum()):
            values[0] = close_all(after)[0] * float(joint[0].sum()) + left * problem.missed
        found.append((cost + verify.cost + float(values.sum()), "verify", verify.name))
    for k, end in enumerate(problem.ends):
        if problem.may_end(position, k):
            found.append((close_all(opened)[0] + float(p @ end.cost), "end", end.name))
    _, kind, name = min(found)
    return Move(kind, name)


def play(problem: Problem, policy: Policy, seed: int, case: int) -> float:
    """Return what a case costs, equivalent minutes. Raises RuntimeError for one that does not end."""

    def chance(*what: int) -> float:
        """Return a number from 0 to 1 that is the same whenever the same is asked."""
        return float(np.random.default_rng([seed, case, *what]).random())

    index = {m.name: i for i, m in enumerate((*problem.checks, *problem.repairs))}
    h = min(int(np.searchsorted(np.cumsum(problem.p), chance(0))), len(problem.p) - 1)
    times: dict[str, int] = {}
    position, cost = problem.start(), 0.0
    for _ in range(LONGEST):
        closing = problem.ways.close_all(position.open)[0]
        if problem.settled(position):
            return cost + closing + problem.missed * float(position.p @ ~problem.clear)
        move = policy(problem, position)
        if move.kind == "end":
            end = next(e for e in problem.ends if e.name == move.name)
            return cost + closing + float(position.p @ end.cost)
        time_of_it = times[move.name] = times.get(move.name, 0) + 1
        i = index.get(move.name, len(index))
        drawn = chance(1, i, time_of_it, h)
        if move.kind == "repair":
            repair = problem.repairs[i - len(problem.checks)]
            cost += problem.ways.go(position.open, repair.needs, repair.shut)[0] + repair.cost
            position = problem.repaired(position, i - len(problem.checks))
            h = int(repair.to[h]) if drawn < repair.success else h
            continue
        made = problem.verify if move.kind == "verify" else problem.check(position, i)
        assert made is not None
        cost += problem.ways.go(position.open, made.needs, made.shut)[0] + made.cost
        outcome = min(int(np.searchsorted(np.cumsum(made.likelihood[:, h]), drawn)), len(made.likelihood) - 1)
        verifying = move.kind == "verify"
        position = problem.verified(position, outcome) if verifying else problem.told(position, i, outcome)
    raise RuntimeError(f"seed {seed}, case {case}: not over after {LONGEST} moves")


def expansions(seconds: float) -> int:
    """Return the expansions that take so long for the first move, the median of the problems."""
    counts = []
    for seed in SEEDS:
        begun = time.perf_counter()
        counts.append(0)

        def over(begun: float = begun) -> bool:
            counts[-1] += 1
            return time.perf_counter() - begun > seconds

        decide(generated(seed), None, 1_000_000, stopped=over)
    return max(1, int(np.median(counts)))


def ratio(one: Vector, other: Vector) -> str:
    """Return the ratio of the means with its interval; costs are (problems, cases)."""
    rng = np.random.default_rng(0)
    cases = one.shape[1]
    found = []
    for _ in range(RESAMPLES):
        drawn = rng.integers(0, cases, one.shape)
        found.append(np.take_along_axis(one, drawn, 1).mean() / np.take_along_axis(other, drawn, 1).mean())
    low, high = np.quantile(found, [0.025, 0.975])
    return f"{one.mean() / other.mean():.3f} [{low:.3f}, {high:.3f}]"


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=40, help="cases of each problem (40)")
    parser.add_argument("--long", type=int, default=4, help="cases of each played with the longest budget (4); 0: none")
    parser.add_argument("--seconds", type=float, default=2.0, help="what the longest budget takes for a first move (2)")
    given = parser.parse_args(argv)
    n, long = max(1, given.n), min(max(0, given.long), max(1, given.n))
    print(f"{len(SEEDS)} problems, {n} cases each; {quiet()}")
    policies: dict[str, tuple[Policy, int]] = {
        "most information": (most_information, n),
        "rollout": (rollout, n),
        "ours 1": (ours(1), n),
        "ours 10": (ours(10), n),
    }
    if long:
        budget = expansions(given.seconds)
        print(f"{given.seconds:g} s are {budget} expansions here")
        policies[f"ours {given.seconds:g} s"] = (ours(budget), long)
    problems = {seed: generated(seed) for seed in SEEDS}
    costs: dict[str, Vector] = {}
    rows = []
    for name, (policy, cases) in policies.items():
        begun = time.perf_counter()
        costs[name] = np.array([[play(p, policy, seed, case) for case in range(cases)] for seed, p in problems.items()])
        print(f"{name}: {time.perf_counter() - begun:.0f} s", file=sys.stderr, flush=True)
        beside = [ratio(costs[name], costs[other][:, :cases]) for other in list(costs)[:2]]
        rows.append([name, cases * len(SEEDS), f"{costs[name].mean():.1f}", *beside, *[""] * (2 - len(beside))])
    table(["policy", "cases", "mean cost", "to most information", "to rollout"], rows)
    if long:
        shorter = list(policies)[:-1]
        longest = costs[list(policies)[-1]]
        short = {name: costs[name][:, :long] for name in shorter}
        rows = [[name, f"{cost.mean():.1f}", ratio(longest, cost)] for name, cost in short.items()]
        print(f"\nThe longest budget on its {longest.size} cases: {longest.mean():.1f}")
        table(["beside", "mean cost", "ratio to it"], rows)


if __name__ == "__main__":
    main()

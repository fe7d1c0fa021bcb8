"""Plays sampled cases of a decision problem with a policy and counts the minutes. Used by the benchmarks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from isolate.reasoning.plan import Planner, Valued
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way

MOST = 80
"""Moves after which a case is broken off."""

Policy = Callable[[Planner, np.ndarray, int, Sequence[int]], Valued]


def ours(planner: Planner, p: np.ndarray, opened: int, usable: Sequence[int]) -> Valued:
    return planner.best(p, opened, usable)


def most_information_per_minute(planner: Planner, p: np.ndarray, opened: int, usable: Sequence[int]) -> Valued:
    """The greedy policy that the literature compares with: the check of most bits a minute, access included.

    It asks while any check tells a hundredth of a bit, then makes the best move that is no check.
    """
    moves = planner.moves(p, opened, usable)
    checks = [m for m in moves if m.kind == "check" and m.told > 0.01]
    if checks:
        return max(checks, key=lambda m: (m.told / max(m.now, 1e-9), m.name))
    return next(m for m in moves if m.kind != "check")


def information_until_likely(planner: Planner, p: np.ndarray, opened: int, usable: Sequence[int]) -> Valued:
    """The same with a stopping rule tuned by hand, a harder rival: it repairs once one route holds 0.8.

    A route is a set of repairs that clears a state. Repairs go by probability per minute.
    """
    moves = planner.moves(p, opened, usable)
    groups = p @ planner.members
    checks = [m for m in moves if m.kind == "check" and m.told > 0.01]
    acts = [m for m in moves if m.kind in ("repair", "verify", "end")]
    if groups.max() < 0.8 and checks:
        return max(checks, key=lambda m: (m.told / max(m.now, 1e-9), m.name))
    repairs = [m for m in acts if m.kind == "repair" and m.outcomes[0] > 0.02]
    clear = float(p[planner.problem.clear].sum())
    if clear >= 0.5 or not repairs:
        ends = [m for m in acts if m.kind in ("verify", "end")]
        return min(ends, key=lambda m: (m.expected, m.name))
    end = min((m for m in acts if m.kind == "end"), key=lambda m: (m.expected, m.name))
    best = max(repairs, key=lambda m: (m.outcomes[0] / max(m.now, 1e-9), m.name))
    return end if end.expected < best.expected else best


@dataclass
class Played:
    """One case: its cost in equivalent minutes, checks and repairs made, and whether a fault was left."""

    cost: float
    estimate: float
    checks: int
    repairs: int
    left: bool
    ended: str


def play(problem: Problem, planner: Planner, policy: Policy, rng: np.random.Generator) -> Played:
    """Play one sampled case. A verification passed with less than 5 % left ends it; so does any end chosen."""
    p = problem.p.copy()
    h = int(rng.choice(len(p), p=p))
    opened, cost, estimate = problem.open, 0.0, float("nan")
    used: set[int] = set()
    checks = repairs = 0
    passes = 0
    trace: list[str] = []
    tried: list[str] = []
    index = {c.name: i for i, c in enumerate(problem.checks)}
    every = {r.name: i for i, r in enumerate(problem.repairs)}
    first, whole = planner, problem
    # A repair brings back the checks that look at what it changes, but not those about the past.
    again = [
        {
            i
            for i, c in enumerate(problem.checks)
            if not c.past and not np.allclose(c.likelihood, c.likelihood[:, r.to])
        }
        for r in problem.repairs
    ]
    for step in range(MOST):
        usable = [i for i in range(len(problem.checks)) if i not in used]
        planner = spared(first, frozenset(n for n in tried if _worn_out(n, tried, whole, every)))
        problem = planner.problem
        rindex = {r.name: i for i, r in enumerate(problem.repairs)}
        move = policy(planner, p, opened, usable)
        if step == 0:
            estimate = planner.best(p, opened, usable).expected
        if move.kind == "verify" and passes >= 3:
            # As in a chase: enough verified; what doubt is left is watched.
            cost += planner.ways.close_all(opened)[0] + (0.0 if problem.clear[h] else problem.missed)
            return Played(cost, estimate, checks, repairs, not problem.clear[h], "watched")
        if move.kind == "end":
            end = next(e for e in problem.ends if e.name == move.name)
            cost += planner.ways.close_all(opened)[0] + float(end.cost[h])
            return Played(cost, estimate, checks, repairs, not problem.clear[h], move.name)
        made: CheckMove | RepairMove
        if move.kind == "verify":
            made = problem.verify
        elif move.kind == "check":
            made = problem.checks[index[move.name]]
        else:
            made = problem.repairs[rindex[move.name]]
        step_cost, opened, _ = planner.ways.go(opened, made.needs, made.shut)
        opened &= ~made.spoils
        cost += step_cost + made.cost
        if isinstance(made, RepairMove):
            repairs += 1
            if made.to[h] != h and rng.random() < made.success:
                h = int(made.to[h])
            p = planner.repaired(p, rindex[move.name])
            used -= again[every[move.name]]
            tried.append(move.name)
            passes = 0
            trace.append(move.name)
            continue
        column = made.likelihood[:, h]
        outcome = int(rng.choice(len(column), p=column / column.sum()))
        p = p * made.likelihood[outcome]
        p = p / p.sum()
        if move.kind == "check":
            checks += 1
            used.add(index[move.name])
        else:
            passes += outcome == 0
            if outcome == 0 and float(p[~problem.clear].sum()) < problem.remaining:
                cost += planner.ways.close_all(opened)[0] + (0.0 if problem.clear[h] else problem.missed)
                return Played(cost, estimate, checks, repairs, not problem.clear[h], "verified")
        trace.append(move.name)
    # It went on too long: whoever plays so has to give up in the end.
    cost += planner.ways.close_all(opened)[0] + float(min(e.cost[h] for e in problem.ends[:1]))
    return Played(cost, estimate, checks, repairs, not problem.clear[h], "too long")


def spared(planner: Planner, gone: frozenset[str]) -> Planner:
    """Return a planner of the same problem without the repairs that may not be done again; remembered on the first."""
    if not gone:
        return planner
    known: dict[frozenset[str], Planner] = planner.__dict__.setdefault("spared", {})
    if gone not in known:
        problem = planner.problem
        left = tuple(r for r in problem.repairs if r.name not in gone)
        known[gone] = Planner(replace(problem, repairs=left), planner.dearer)
    return known[gone]


def _worn_out(name: str, tried: Sequence[str], problem: Problem, index: dict[str, int]) -> bool:
    return tried.count(name) >= (2 if problem.repairs[index[name]].success >= 0.85 else 1)


def generated(seed: int, faults: int = 40, doubles: int = 19, checks: int = 70, access: int = 15) -> Problem:
    """A random problem of realistic size: shared access in a tree, noisy checks, a repair for each fault."""
    rng = np.random.default_rng(seed)
    pairs = [tuple(sorted(rng.choice(faults, 2, replace=False).tolist())) for _ in range(doubles)]
    sets: list[tuple[int, ...]] = [()]
    sets += [(i,) for i in range(faults)]
    sets += list(dict.fromkeys(pairs))
    n = len(sets)
    p = np.append(rng.dirichlet(np.full(faults, 0.5)) * 0.9, rng.dirichlet(np.ones(n - 1 - faults)) * 0.07)
    p = np.append(0.03, p)
    p = p / p.sum()
    ways = []
    for i in range(access):
        needs = 0 if i < 3 else 1 << int(rng.integers(0, i))
        ways.append(Way(f"a{i:02}", float(rng.uniform(2, 15)), float(rng.uniform(2, 15)), needs))
    made = []
    for k in range(checks):
        about = rng.random(faults) < rng.uniform(0.05, 0.5)
        hit, miss = rng.uniform(0.7, 0.98), rng.uniform(0.01, 0.15)
        bad = np.array([1 - (1 - miss) * np.prod([1 - hit if about[f] else 1.0 for f in s]) for s in sets])
        needs = 0 if rng.random() < 0.3 else 1 << int(rng.integers(0, access))
        made.append(CheckMove(f"c{k:02}", float(rng.uniform(2, 20)), np.stack([1 - bad, bad]), needs))
    index = {s: i for i, s in enumerate(sets)}
    repairs = []
    for f in range(faults):
        to = []
        for i, s in enumerate(sets):
            rest = tuple(x for x in s if x != f)
            to.append(index[rest] if f in s else i)
        repairs.append(
            RepairMove(
                f"r{f:02}",
                float(rng.uniform(10, 80)),
                np.array(to),
                float(rng.uniform(0.9, 0.99)),
                1 << int(rng.integers(0, access)),
            )
        )
    clear = np.array([not s for s in sets])
    passes = np.where(clear, 0.98, 0.04)
    verify = CheckMove("verify", 15.0, np.stack([passes, 1 - passes]), 0, (1 << access) - 1)
    ends = (EndMove("escalate", np.full(n, 600.0)),)
    return Problem(tuple(map(str, sets)), p, clear, tuple(ways), tuple(made), tuple(repairs), verify, ends, 900.0)

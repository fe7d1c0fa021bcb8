"""Random decision problems of realistic size, for the benchmarks."""

from __future__ import annotations

import numpy as np

from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way


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

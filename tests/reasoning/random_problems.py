"""Random decision problems from a seed, for the solvers to be compared with the brute force on.

Two kinds. :func:`small` is the kind that the exact solver takes: one fault at most, a repair of its own for each, a
verification right behind each repair that shows surely whether anything is left. :func:`general` has what a case has
besides: faults side by side, checks that repeat themselves and come back after a repair, a verification that errs.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np

from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way


def _tree(rng: np.random.Generator, access: int) -> list[Way]:
    """Return access states of which each may be behind an earlier one, and some want another shut."""
    ways: list[Way] = []
    behind: list[int] = []
    for i in range(access):
        needs = 1 << int(rng.integers(0, i)) if i and rng.random() < 0.6 else 0
        behind.append(needs | (behind[needs.bit_length() - 1] if needs else 0))
        apart = [j for j in range(i) if not behind[i] >> j & 1]
        shut = 1 << int(rng.choice(apart)) if apart and rng.random() < 0.2 else 0
        lasting = bool(rng.random() < 0.85)
        ways.append(Way(f"a{i}", float(rng.uniform(2, 15)), float(rng.uniform(2, 15)), needs, shut, lasting))
    return ways


def _left_open(rng: np.random.Generator, ways: list[Way]) -> int:
    """Return what somebody left open, which is nothing four times in five."""
    opened = 0
    if ways and rng.random() < 0.2:
        behind = 1 << int(rng.integers(0, len(ways)))
        while behind:
            opened |= behind
            behind = ways[behind.bit_length() - 1].needs
    return opened


def _noisy(rng: np.random.Generator, shows: np.ndarray, outcomes: int) -> np.ndarray:
    """Return a likelihood in which each state shows its outcome but for 1-30 % noise, shape (outcomes, states)."""
    table = np.zeros((outcomes, len(shows)))
    for h, shown in enumerate(shows):
        noise = float(rng.uniform(0.01, 0.3))
        spread = rng.dirichlet(np.ones(outcomes - 1)) * noise
        table[:, h] = np.insert(spread, int(shown), 1 - noise)
    return table


def _somewhere(rng: np.random.Generator, access: int, share: float) -> int:
    """Return the need of one access state with this probability, else none."""
    return 1 << int(rng.integers(0, access)) if access and rng.random() < share else 0


def small(seed: int, faults: int = 5, checks: int = 5, access: int = 3) -> Problem:
    """Return a problem of the kind that is solved exactly: state 0 is clear, state i + 1 has fault i."""
    rng = np.random.default_rng(seed)
    n = faults + 1
    p = np.append(rng.uniform(0.02, 0.2), rng.dirichlet(np.full(faults, 0.8)))
    p[1:] *= 1 - p[0]
    ways = _tree(rng, access)
    made = []
    for k in range(checks):
        outcomes = 3 if rng.random() < 0.25 else 2
        shows = np.append(0, np.where(rng.random(faults) < rng.uniform(0.2, 0.6), rng.integers(1, outcomes, faults), 0))
        needs = _somewhere(rng, access, 0.7)
        spoils = needs if rng.random() < 0.1 else 0
        made.append(CheckMove(f"c{k}", float(rng.uniform(2, 20)), _noisy(rng, shows, outcomes), needs, 0, spoils))
    repairs = []
    for i in range(faults):
        to = np.arange(n)
        to[i + 1] = 0
        needs = _somewhere(rng, access, 0.85)
        repairs.append(RepairMove(f"r{i}", float(rng.uniform(10, 80)), to, float(rng.uniform(0.9, 0.99)), needs))
    clear = np.arange(n) == 0
    shut = (1 << access) - 1 if rng.random() < 0.5 else 0
    verify = CheckMove("verify", float(rng.uniform(5, 20)), np.stack([clear * 1.0, ~clear * 1.0]), 0, shut)
    ends = (
        EndMove("escalate", np.full(n, float(rng.uniform(150, 600)))),
        EndMove("hand over", np.append(rng.uniform(5, 60), rng.uniform(100, 600, faults))),
    )
    return Problem(
        states=("clear", *(f"f{i}" for i in range(faults))),
        p=p,
        clear=clear,
        access=tuple(ways),
        checks=tuple(made),
        repairs=tuple(repairs),
        verify=verify,
        ends=ends[: 1 + int(rng.random() < 0.5)],
        missed=900.0,
        open=_left_open(rng, ways),
        prove_each=True,
    )


def general(seed: int) -> Problem:
    """Return a problem of what the exact solver does not take, of one of four kinds in turn.

    0: two faults, one check that repeats itself in part and comes back after a repair; 1: two faults, checks that come
    back, a verification that may be repeated; 2: three faults, two pairs of them; 3: two faults, a repair that may be
    repeated. In all of them two faults may be there together, and the verification errs both ways.
    """
    rng = np.random.default_rng(seed)
    kind = seed % 4
    faults, access = (3 if kind == 2 else 2), int(rng.integers(0, 3))
    checks = 2 if kind < 3 else int(rng.integers(2, 4))
    sets: list[tuple[int, ...]] = [(), *((i,) for i in range(faults)), *list(combinations(range(faults), 2))[:2]]
    n, index = len(sets), {s: h for h, s in enumerate(sets)}
    p = np.concatenate([[0.06], rng.dirichlet(np.ones(faults)) * 0.8, rng.dirichlet(np.ones(n - 1 - faults)) * 0.14])
    ways = _tree(rng, access)
    made = []
    for k in range(checks):
        about = rng.random(faults) < 0.6
        shows = np.array([int(any(about[i] for i in s)) for s in sets])
        again = kind == 0 and k == 0
        made.append(
            CheckMove(
                f"c{k}",
                float(rng.uniform(2, 15)),
                _noisy(rng, shows, 2),
                _somewhere(rng, access, 0.6),
                most=2 if again else 1,
                same=float(rng.uniform(0, 0.8)) if again else 0.0,
            )
        )
    repairs = []
    for i in range(faults):
        to = np.array([index.get(tuple(x for x in s if x != i), h) if i in s else h for h, s in enumerate(sets)])
        repairs.append(
            RepairMove(
                f"r{i}",
                float(rng.uniform(10, 60)),
                to,
                float(rng.uniform(0.8, 1.0)),
                _somewhere(rng, access, 0.6),
                most=2 if kind == 3 and i == 0 else 1,
                renews=(1, int(rng.integers(1, 1 << checks)), 0, 2 * (i == 1))[kind],
            )
        )
    clear = np.array([not s for s in sets])
    passes = np.where(clear, rng.uniform(0.9, 0.99), rng.uniform(0.02, 0.1, n))
    shut = (1 << access) - 1 if rng.random() < 0.5 else 0
    ending = np.stack([passes, 1 - passes])
    missed = float(rng.uniform(200, 900))
    ends = (
        EndMove("escalate", np.full(n, float(rng.uniform(80, 400)))),
        EndMove("watch", 20.0 + np.where(clear, 0.0, 0.7 * missed), proven=True),
    )
    return Problem(
        states=tuple(" ".join(f"f{i}" for i in s) or "clear" for s in sets),
        p=p / p.sum(),
        clear=clear,
        access=tuple(ways),
        checks=tuple(made),
        repairs=tuple(repairs),
        verify=CheckMove("verify", float(rng.uniform(5, 15)), ending, shut=shut, most=2 if kind == 1 else 1),
        ends=ends[: 1 + int(rng.random() < 0.5)],
        missed=missed,
        open=_left_open(rng, ways),
    )


def spoiling(seed: int) -> Problem:
    """Return a small problem in which shutting is dear and asking, which is cheap, often undoes what it needed."""
    problem = small(seed, faults=3, checks=3, access=3)
    rng = np.random.default_rng(1000 + seed)
    checks = [
        replace(c, cost=float(rng.uniform(0.5, 3)), minutes=1.0, spoils=c.needs if rng.random() < 0.6 else 0)
        for c in problem.checks
    ]
    dear = [replace(way, close=4 * way.close, lasting=True) for way in problem.access]
    return replace(problem, access=tuple(dear), checks=tuple(checks))


def spoiling_all_over(seed: int) -> Problem:
    """Return a general problem in which repairs and the verification undo access as well."""
    problem = general(seed)
    rng = np.random.default_rng(2000 + seed)
    repairs = [replace(r, spoils=r.needs if rng.random() < 0.5 else 0) for r in problem.repairs]
    spoils = (1 << len(problem.access)) - 1 if rng.random() < 0.5 else 0
    return replace(problem, repairs=tuple(repairs), verify=replace(problem.verify, spoils=spoils))


def watched(seed: int) -> Problem:
    """Return a general problem with a cheap way to end while a pass stands, and a pass that hardly ever settles it."""
    problem = general(seed)
    watch = EndMove("watch", np.where(problem.clear, 5.0, 30.0), proven=True)
    verify = replace(problem.verify, cost=2.0, minutes=2.0)
    return replace(problem, ends=(problem.ends[0], watch), verify=verify, remaining=0.001)

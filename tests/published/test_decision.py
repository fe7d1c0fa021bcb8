"""The decision against results from outside the project."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest

from isolate.reasoning.exact import Sequencing
from isolate.reasoning.plan import Planner
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove


def sequencing(p: Sequence[float], tests: Sequence[tuple[str, Sequence[int]]]) -> Problem:
    """State a test-sequencing problem: unit costs, naming the state right is free, naming it wrong is ruinous."""
    n = len(p)
    checks = []
    for name, outcomes in tests:
        likelihood = np.zeros((max(outcomes) + 1, n))
        likelihood[np.array(outcomes), np.arange(n)] = 1.0
        checks.append(CheckMove(name, 1.0, likelihood))
    ends = tuple(EndMove(f"state {i}", np.where(np.arange(n) == i, 0.0, 1000.0)) for i in range(n))
    never = CheckMove("verify", 1e6, np.stack([np.ones(n), np.zeros(n)]))
    return Problem(
        states=tuple(f"s{i}" for i in range(n)),
        p=np.array(p) / sum(p),
        clear=np.zeros(n, dtype=bool),
        access=(),
        checks=tuple(checks),
        repairs=(),
        verify=never,
        ends=ends,
        missed=0.0,
    )


def test_published_test_sequencing_example_costs_2_18() -> None:
    # Pattipati & Alexandridis, "Application of heuristic search and information theory to sequential fault
    # diagnosis", IEEE Trans. SMC 20(4), 1990, worked example [memory; recomputed by dynamic programming].
    p = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12]
    rows = ["00000", "01001", "00110", "10011", "11000", "11110"]
    problem = sequencing(p, [(f"t{k + 1}", [int(row[k]) for row in rows]) for k in range(5)])
    assert Sequencing(problem).cost() == pytest.approx(2.18, abs=1e-9)


def test_twelve_coins_take_three_weighings() -> None:
    # Folklore puzzle [memory]: twelve coins, one false, heavier or lighter: 24 states, three outcomes a weighing.
    # 3 weighings suffice, and 2 cannot do: 3**2 < 24. The planner has every weighing of equal numbers to choose from.
    coins = range(12)
    states = [(coin, sign) for coin in coins for sign in (1, -1)]
    weighings = [
        (left, right)
        for size in range(1, 7)
        for left in itertools.combinations(coins, size)
        for right in itertools.combinations([c for c in coins if c not in left], size)
        if left < right
    ]
    # Outcomes: 0 balanced, 1 left down, 2 right down.
    tests = []
    for left, right in weighings:
        outcomes = [
            0 if coin not in left and coin not in right else 1 if (coin in left) == (sign > 0) else 2
            for coin, sign in states
        ]
        tests.append((f"{left} against {right}", outcomes))
    problem = sequencing([1 / 24] * 24, tests)
    planner = Planner(problem)
    index = {check.name: i for i, check in enumerate(problem.checks)}

    def depths(p: np.ndarray, depth: int) -> list[tuple[int, np.ndarray]]:
        move = planner.best(p, 0)
        if move.kind == "end":
            return [(depth, p)]
        found = []
        for likelihood in problem.checks[index[move.name]].likelihood:
            joint = p * likelihood
            if joint.sum() > 0:
                found += depths(joint / joint.sum(), depth + 1)
        return found

    ends = depths(problem.p, 0)
    assert max(depth for depth, _ in ends) == 3
    assert all(p.max() == pytest.approx(1.0) for _, p in ends), "every end knows the coin and whether it is heavy"
    assert len(ends) == 24


@pytest.mark.parametrize("seed", range(12))
def test_all_binary_tests_at_unit_cost_reach_huffman(seed: int) -> None:
    # Huffman 1952 [published theorem]: with every binary test at unit cost the optimum is the Huffman code length,
    # which is no less than the entropy in bits and less than one bit above it.
    rng = np.random.default_rng(seed)
    n = 4
    p = rng.dirichlet(np.ones(n))
    subsets = [s for size in range(1, n // 2 + 1) for s in itertools.combinations(range(n), size)]
    problem = sequencing(p.tolist(), [(str(s), [int(i in s) for i in range(n)]) for s in subsets])
    weights = sorted(p.tolist())
    huffman = 0.0
    while len(weights) > 1:
        merged = weights[0] + weights[1]
        huffman += merged
        weights = sorted([*weights[2:], merged])
    assert Sequencing(problem).cost() == pytest.approx(huffman, abs=1e-9)
    entropy = -sum(x * math.log2(x) for x in p)
    assert entropy - 1e-9 <= huffman < entropy + 1


@pytest.mark.parametrize("seed", range(8))
def test_sure_repairs_without_checks_go_by_probability_per_cost(seed: int) -> None:
    # Kadane & Simon 1977 [published theorem]: one fault, independent sure repairs, no checks, no shared access:
    # descending probability per cost is optimal. Verification is free and certain here.
    rng = np.random.default_rng(seed)
    n = 4
    p = rng.dirichlet(np.ones(n))
    costs = rng.uniform(5, 40, n)
    states = n + 1
    to = [np.array([n if h == i else h for h in range(states)]) for i in range(n)]
    likelihood = np.zeros((2, states))
    likelihood[0, n] = 1.0
    likelihood[1, :n] = 1.0
    problem = Problem(
        states=tuple(str(h) for h in range(states)),
        p=np.append(p, 0.0),
        clear=np.arange(states) == n,
        access=(),
        checks=(),
        repairs=tuple(RepairMove(f"r{i}", float(costs[i]), to[i], 1.0) for i in range(n)),
        verify=CheckMove("verify", 0.0, likelihood),
        ends=(EndMove("give up", np.full(states, 1e6)),),
        missed=1e6,
    )
    # With no doubt added, hindsight plus the move's own cost must still pick the theorem's first repair or one
    # that costs no more in the long run; the long run is worked out by trying every order.

    def order_cost(order: Sequence[int]) -> float:
        return sum(costs[i] * sum(p[j] for j in order[k:]) for k, i in enumerate(order))

    best = min(itertools.permutations(range(n)), key=order_cost)
    assert list(best) == sorted(range(n), key=lambda i: -p[i] / costs[i])
    # The planner's own sequence: repair, verify, condition on failure, again.
    planner = Planner(problem)
    q, taken = problem.p, []
    while len(taken) < n - 1:
        move = next(m for m in planner.moves(q, 0) if m.kind == "repair")
        i = int(move.name[1:])
        taken.append(i)
        q = planner.repaired(q, i) * likelihood[1]
        q = q / q.sum()
    rest = [i for i in range(n) if i not in taken]
    assert order_cost([*taken, *rest]) <= 1.15 * order_cost(best)

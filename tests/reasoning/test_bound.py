"""No plan may beat the bound: it is held against the least expected cost of problems small enough to try everything.

The source of truth is ``tests/reasoning/brute.py``, which shares no line with what it checks; where that would take too
long, a search whose bounds have met. What the bound is made of is held against textbook figures beside the checks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from isolate.reasoning.bound import FEW, Doubt, Relaxed, lower_bound, pieces
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way
from isolate.reasoning.search import Search
from tests.bench.generated import generated
from tests.reasoning.brute import optimum, optimum_of_any
from tests.reasoning.random_problems import general, small, spoiling, spoiling_all_over, watched

Make = Callable[[int], Problem]
ROUNDING = 1 + 1e-7


def _few(seed: int) -> Problem:
    return small(seed, 4, 4, 2)


def _each(problem: Problem) -> dict[str, float]:
    """Return every bound by itself: the highest of them hides one that is wrong."""
    relaxed = Relaxed(problem, problem.start())
    return {"told": relaxed.told_bound(), "doubt": Doubt(relaxed).best(), "pieces": pieces(relaxed, 40)}


@pytest.mark.parametrize(
    ("make", "best", "seeds"),
    [
        (_few, optimum, range(8)),
        (spoiling, optimum, range(8)),
        (general, optimum_of_any, (0, 1, 3, 4, 5, 7)),
        (watched, optimum_of_any, (0, 1, 3, 4)),
        (spoiling_all_over, optimum_of_any, (1, 4, 5)),
    ],
)
def test_no_plan_beats_it(make: Make, best: Callable[[Problem], float], seeds: range) -> None:
    for seed in seeds:
        problem = make(seed)
        least = best(problem)
        for name, bound in _each(problem).items():
            assert bound <= least * ROUNDING, f"{make.__name__} {seed}: {name} {bound} over the optimum {least}"


def _skewed(seed: int) -> Problem:
    """Return a random problem with its costs far from their proportions and its belief flattened."""
    rng = np.random.default_rng(9000 + seed)
    problem = (_few, general, watched, spoiling)[seed % 4](seed)

    def times(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    asking, mending, proving, crossing = times(0.1, 10), times(0.02, 1), times(0.02, 1), times(0.01, 1)
    p = problem.p ** rng.uniform(0, 1)
    return replace(
        problem,
        p=p / p.sum(),
        checks=tuple(replace(c, cost=c.cost * asking, minutes=-1.0) for c in problem.checks),
        repairs=tuple(replace(r, cost=r.cost * mending, minutes=-1.0) for r in problem.repairs),
        verify=replace(problem.verify, cost=problem.verify.cost * proving, minutes=-1.0),
        access=tuple(replace(w, open=w.open * crossing, close=w.close * crossing) for w in problem.access),
        ends=tuple(replace(e, cost=e.cost * times(0.3, 1.5)) for e in problem.ends),
        remaining=float(rng.choice([0.001, 0.05, 0.2])),
    )


def test_no_plan_beats_it_where_costs_are_out_of_proportion() -> None:
    """Where repairs and verifying cost little, doubt is most of the cost and a bound on it is put to the test."""
    closed = beyond = 0
    for seed in range(60):
        problem = _skewed(seed)
        found = Search(problem).run(400)
        # The cost of a plan that can be followed: no bound may be over it, whether or not it is the best.
        bounds = _each(problem)
        for name, bound in bounds.items():
            assert bound <= found.expected * ROUNDING, f"seed {seed}: {name} {bound} over {found.expected}"
        closed += found.exact
        beyond += bounds["doubt"] > bounds["told"] * 1.02
    assert closed >= 20, "too few optima are known for this to say much"
    assert beyond >= 20, "the bound on doubt hardly ever says more than hindsight: nothing is put to the test"


def test_no_plan_beats_it_on_the_way() -> None:
    """At positions after answers, a repair and a verification; two people; what was left open."""
    for seed in range(12):
        problem = general(seed)
        at = problem.told(problem.start(), 0, 1)
        at = problem.repaired(at, seed % len(problem.repairs))
        if seed % 2:
            at = problem.verified(at, seed % 4 // 2)
        if problem.settled(at):
            continue
        left, share = problem.narrowed(at)
        assert share == pytest.approx(1)
        found = Search(left).run(2000)
        bound = lower_bound(problem, at, 40)
        assert bound <= found.expected * ROUNDING, f"seed {seed}"
        two = replace(problem, hands=2, crossings=None)
        assert lower_bound(two, at, 40) <= lower_bound(problem, at, 4000) * ROUNDING


@pytest.mark.parametrize("seed", range(2))
def test_it_says_more_than_hindsight_and_always_the_same(seed: int) -> None:
    problem = generated(seed)
    told = float(problem.p @ Search(problem).hindsight(problem.open, False, (0,) * len(problem.repairs)))
    bound = lower_bound(problem, None, 20)
    assert bound > 1.15 * told
    assert lower_bound(generated(seed), None, 20) == bound


def test_few_states_are_searched_whole() -> None:
    """With enough expansions the bound is the optimum itself, but for what is relaxed: here nothing is."""
    problem = replace(small(3, 3, 3, 2), remaining=1e-9, prove_each=False)
    problem = replace(problem, access=tuple(replace(w, shut=0, lasting=True) for w in problem.access))
    problem = replace(problem, checks=tuple(replace(c, spoils=0) for c in problem.checks))
    assert len(problem.states) <= FEW
    least = optimum_of_any(problem)
    assert lower_bound(problem, None, 20_000) == pytest.approx(least, rel=1e-6)
    assert lower_bound(problem, None, 1) < least


def test_more_expansions_are_no_worse() -> None:
    problem = generated(1, faults=12, doubles=4, checks=12, access=4)
    relaxed = Relaxed(problem, problem.start())
    bounds = [pieces(relaxed, budget) for budget in (1, 20, 100)]
    assert bounds == sorted(bounds) and bounds[0] < bounds[-1]


def _naming(n: int, cost: float, wrong: float) -> Problem:
    """Return a problem of pure asking: n equally likely causes, each dealt with by naming it, yes-no questions on all.

    There is a question for each set of causes; naming the wrong one costs so much. Nothing is repaired or verified.
    """
    checks = []
    for k in range(1, 2 ** (n - 1)):
        yes = np.array([float(k >> h & 1) for h in range(n)])
        checks.append(CheckMove(f"q{k}", cost, np.stack([1 - yes, yes])))
    ends = tuple(EndMove(f"name {h}", np.where(np.arange(n) == h, 0.0, wrong)) for h in range(n))
    verify = CheckMove("verify", wrong, np.ones((1, n)))
    clear = np.zeros(n, dtype=bool)
    return Problem(
        tuple(f"h{h}" for h in range(n)), np.full(n, 1 / n), clear, (), tuple(checks), (), verify, ends, wrong
    )


@pytest.mark.parametrize("n", [2, 4, 8])
def test_pure_asking_costs_its_entropy(n: int) -> None:
    """A question of yes and no tells a bit at most, so naming one of n takes log2 n of them (Shannon 1948; Huffman

    1952 attains it for n a power of two). With a dear mistake the bound comes within three hundredths of that.
    """
    bound = Doubt(Relaxed(problem := _naming(n, 3.0, 1e5), problem.start())).best()
    assert 0.97 * 3 * np.log2(n) <= bound <= 3 * np.log2(n) * ROUNDING


def test_access_that_only_asking_needs_is_paid() -> None:
    """Two questions, both wanted, behind a panel that no end needs: opening and shutting it once is in the bound."""
    free = _naming(4, 3.0, 1e5)
    halves = [c for c in free.checks if c.likelihood[1].sum() == 2][:2]
    checks = tuple(replace(c, needs=1) for c in halves)
    behind = replace(free, access=(Way("panel", 4.0, 6.0),), checks=checks, crossings=None)
    bound = Doubt(Relaxed(behind, behind.start())).best()
    assert 0.99 * (3 * 2 + 10) <= bound <= (3 * 2 + 10) * ROUNDING


def test_the_end_of_a_case_costs_what_it_costs() -> None:
    problem = generated(0, faults=3, doubles=1, checks=3, access=2)
    p = np.where(problem.clear, 0.99, 0.01 / (len(problem.states) - 1))
    at = replace(problem.start(), p=p, proven=True)
    assert problem.settled(at)
    assert lower_bound(problem, at) == pytest.approx(0.01 * problem.missed)


def test_repairs_in_a_circle_still_have_a_bound() -> None:
    """A repair that brings a fault which another clears by bringing the first: hindsight and pieces remain."""
    one, other = np.array([0, 2, 2]), np.array([0, 1, 1])
    verify = CheckMove("verify", 5.0, np.array([[1.0, 0.1, 0.1], [0.0, 0.9, 0.9]]))
    problem = Problem(
        ("clear", "a", "b"),
        np.array([0.2, 0.4, 0.4]),
        np.array([True, False, False]),
        (),
        (CheckMove("look", 2.0, np.array([[0.9, 0.9, 0.2], [0.1, 0.1, 0.8]])),),
        (RepairMove("r", 10.0, one, 0.9), RepairMove("s", 10.0, other, 0.9)),
        verify,
        (EndMove("escalate", np.full(3, 100.0)),),
        500.0,
    )
    assert 0 < lower_bound(problem, None, 50) <= optimum_of_any(problem) * ROUNDING


@pytest.mark.parametrize("budget", [0, -3])
def test_no_budget_is_refused_in_a_sentence(budget: int) -> None:
    with pytest.raises(ValueError, match=f"a bound needs a budget of at least 1 expansion, not {budget}"):
        lower_bound(small(0), None, budget)

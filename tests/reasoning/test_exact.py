"""The exact table and the anytime search against a brute force that shares nothing with them (``brute.py``).

The brute force is the source of every figure here: it tries all there is to do, a crossing at a time. It is itself held
against a second one, which goes by beliefs where the first goes by what was seen, and against cases worked by hand.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from isolate.reasoning.exact import Table
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way
from isolate.reasoning.search import Found, Search, solve
from tests.bench.anytime import by_probability, most_information, played, searching
from tests.reasoning.brute import cross, optimum, optimum_of_any
from tests.reasoning.random_problems import general, small, spoiling, spoiling_all_over, watched

NEAR = 1e-6
"""Equivalent minutes within which two solvers agree."""
BUDGETS = (1, 5, 20, 100)
CHUNKS = [range(first, first + 10) for first in range(0, 200, 10)]
"""Seeds of the problems, ten a test, so that they can be shared out."""
LARGE = 30_000
"""Expansions that close any problem of the size used here."""


def bounded(problem: Problem, least: float, seed: int) -> None:
    """Assert that the search brackets the least cost, better and better, and says it is exact only when it is."""
    before: Found | None = None
    searching_on = Search(problem)
    # Beginning anew takes as long again; every third problem shows whether it is the same.
    anew = seed % 3 == 0
    for budget in BUDGETS:
        found = searching_on.run(budget)
        assert found.bound <= least + NEAR, f"seed {seed}, {budget} expansions: the bound is above the optimum"
        assert least <= found.expected + NEAR, f"seed {seed}, {budget} expansions: a plan cheaper than the optimum"
        assert found.bound <= found.expected
        assert found.expansions <= budget
        if before is not None:
            assert found.bound >= before.bound, f"seed {seed}: the bound got worse with {budget} expansions"
            assert found.expected <= before.expected, f"seed {seed}: the plan got worse with {budget} expansions"
        if found.exact:
            assert found.expected == pytest.approx(least, abs=1e-4), f"seed {seed} is said to be exact"
        if anew:
            assert solve(problem, budget) == found, f"seed {seed}: going on is not the same as beginning anew"
        before = found
    if anew:
        assert solve(problem, BUDGETS[-1]) == before, f"seed {seed}: asked twice, answered differently"


@cache
def least_of_general(seed: int) -> float:
    """Return the least expected cost of a general problem, for all that ask for it."""
    return optimum_of_any(general(seed))


@cache
def thousand(seed: int) -> Found:
    """Return what a thousand expansions find of a general problem, for all that ask for it."""
    return solve(general(seed), 1000)


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds.start}-{seeds.stop - 1}")
def test_the_table_is_the_optimum_and_the_search_brackets_it(seeds: range) -> None:
    for seed in seeds:
        problem = small(seed)
        least = optimum(problem)
        exact = Table(problem)
        assert exact.cost() == pytest.approx(least, abs=NEAR), f"seed {seed}"
        assert exact.best()[0] == exact.cost()
        bounded(problem, least, seed)


@pytest.mark.parametrize("seeds", [range(first, first + 3) for first in range(0, 15, 3)], ids=str)
def test_with_time_enough_the_search_is_exact(seeds: range) -> None:
    for seed in seeds:
        problem = small(seed)
        found = solve(problem, LARGE)
        assert found.exact and found.expansions < LARGE, f"seed {seed}"
        assert found.expected == pytest.approx(optimum(problem), abs=1e-4)
        assert found.bound == pytest.approx(found.expected, abs=1e-4)
        assert solve(problem, LARGE) == found


@pytest.mark.parametrize("seed", range(6))
def test_the_moves_found_play_to_what_was_said(seed: int) -> None:
    # The policy that makes the move named at each position has to cost what its solver said: the optimum where that
    # was exact. Simple policies cost no less, which would be a fault in how a policy is played.
    problem = small(seed, faults=3, checks=3, access=2)
    least = optimum(problem)
    assert played(problem, lambda left: Table(left).best()[1]) == pytest.approx(least, abs=1e-4)
    assert played(problem, searching(LARGE)) == pytest.approx(least, abs=1e-4)
    assert played(problem, most_information) >= least - NEAR
    assert played(problem, by_probability) >= least - NEAR
    for budget in BUDGETS:
        assert played(problem, searching(budget)) >= least - NEAR


def test_the_first_move_of_the_search_is_that_of_the_table_where_no_other_is_as_good() -> None:
    for seed in range(20):
        problem = small(seed, faults=4, checks=3, access=2)
        least, move = Table(problem).best()
        found = solve(problem, LARGE)
        assert found.exact and found.expected == pytest.approx(least, abs=1e-4)
        if found.move != move:
            # Two moves may be as good as one another: then the search's first move leads to the same cost.
            assert played(problem, searching(LARGE)) == pytest.approx(least, abs=1e-4)


@pytest.mark.parametrize("seeds", [range(first, first + 4) for first in range(0, 24, 4)], ids=str)
def test_renewed_repeated_double_and_noisy_problems_are_bracketed(seeds: range) -> None:
    for seed in seeds:
        problem = general(seed)
        least = least_of_general(seed)
        bounded(problem, least, seed)
        found = thousand(seed)
        assert found.bound <= least + NEAR and least <= found.expected + NEAR, f"seed {seed}"
        if found.exact:
            assert found.expected == pytest.approx(least, abs=1e-4), f"seed {seed}"


def test_most_of_those_are_closed_so_the_brackets_are_not_empty_talk() -> None:
    assert sum(thousand(seed).exact for seed in range(24)) >= 18


@pytest.mark.parametrize("seed", range(8))
def test_what_has_to_be_proven_at_once_is_bracketed_where_the_verification_errs(seed: int) -> None:
    problem = replace(general(seed), prove_each=True)
    least = optimum_of_any(problem)
    bounded(problem, least, seed)
    assert least >= least_of_general(seed) - NEAR, "having to prove each repair can only cost more"


def test_undoing_access_for_nothing_is_bracketed() -> None:
    for seed in range(40):
        problem = spoiling(seed)
        least = optimum(problem)
        assert Table(problem).cost() == pytest.approx(least, abs=NEAR), f"seed {seed}"
        bounded(problem, least, seed)


@pytest.mark.parametrize("seeds", [range(first, first + 4) for first in range(0, 8, 4)], ids=str)
def test_repairs_and_verifications_that_undo_access_are_bracketed(seeds: range) -> None:
    for seed in seeds:
        problem = spoiling_all_over(seed)
        bounded(problem, optimum_of_any(problem), seed)


def test_an_end_that_is_there_only_while_a_pass_stands_is_bracketed() -> None:
    for seed in (1, 8, 13):
        problem = watched(seed)
        bounded(problem, optimum_of_any(problem), seed)


@pytest.mark.parametrize("seed", range(4))
def test_where_a_pass_stands_from_the_start_is_bracketed(seed: int) -> None:
    problem = replace(general(seed), proven=True, proofs=1)
    bounded(problem, optimum_of_any(problem), seed)


def test_what_has_to_be_proven_at_once_is_so_in_the_problem_that_is_left() -> None:
    # Somebody has just made the repair: as the problem defines it, there is only the verification to go on with.
    problem = small(0, faults=3, checks=3, access=2)
    position = problem.repaired(problem.start(), 0)
    left, _ = problem.narrowed(position)
    assert solve(left, LARGE).move == ("verify", problem.verify.name)


# -- the brute force itself ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_both_brute_forces_agree_where_both_apply(seed: int) -> None:
    problem = small(seed, faults=3, checks=3, access=2)
    assert optimum(problem) == pytest.approx(optimum_of_any(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_the_problem_crosses_as_the_brute_force_does(seed: int) -> None:
    problem = small(seed, faults=3, checks=3, access=4)
    todo, met = [problem.open], set()
    while todo:
        opened = todo.pop()
        if opened in met:
            continue
        met.add(opened)
        for move in (*problem.checks, *problem.repairs, problem.verify):
            cost, after, _ = problem.ways.go(opened, move.needs, move.shut)
            assert (pytest.approx(cost), after) == cross(problem.access, opened, move.needs, move.shut)
            todo.append(after & ~move.spoils)
        assert problem.ways.close_all(opened)[0] == pytest.approx(cross(problem.access, opened, 0, opened)[0])
    assert len(met) > 1


def by_hand(checks: tuple[CheckMove, ...] = (), end: float = 500.0) -> Problem:
    """Two faults, 0.6 and 0.4, behind one cowl (10 to open, 5 to close); repairs of 20 and 30, verification of 4."""
    states = 3
    return Problem(
        states=("clear", "first", "second"),
        p=np.array([0.0, 0.6, 0.4]),
        clear=np.array([True, False, False]),
        access=(Way("cowl", 10.0, 5.0),),
        checks=checks,
        repairs=(
            RepairMove("first", 20.0, np.array([0, 0, 2]), 1.0, needs=1),
            RepairMove("second", 30.0, np.array([0, 1, 0]), 1.0, needs=1),
        ),
        verify=CheckMove("verify", 4.0, np.array([[1.0, 0, 0], [0, 1, 1]]), shut=1),
        ends=(EndMove("give up", np.full(states, end)),),
        missed=900.0,
        prove_each=True,
    )


def solved(problem: Problem) -> list[float]:
    found = solve(problem, 200)
    assert found.exact
    return [optimum(problem), optimum_of_any(problem), Table(problem).cost(), found.expected]


def test_a_case_worked_by_hand_without_checks() -> None:
    # First then second: each round opens, repairs, shuts and verifies: 10+20+5+4 = 39, then 10+30+5+4 = 49 for 0.4.
    # The other way round: 49 + 0.6 * 39 = 72.4.
    assert solved(by_hand()) == pytest.approx([39 + 0.4 * 49] * 4, abs=1e-4)


def test_a_case_worked_by_hand_with_a_check() -> None:
    # A look behind the cowl for 3 that never errs: 10 + 3, then 20 or 30, then 5 + 4: less than trying for 58.6.
    look = CheckMove("look", 3.0, np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), needs=1)
    asked = 13 + 0.6 * 20 + 0.4 * 30 + 9
    assert solved(by_hand((look,))) == pytest.approx([asked] * 4, abs=1e-4)
    # For 30 minutes it is not worth it: asking costs 73, trying 58.6.
    dear = replace(look, cost=30.0)
    assert solved(by_hand((dear,))) == pytest.approx([58.6] * 4, abs=1e-4)


def test_a_case_worked_by_hand_that_is_given_up() -> None:
    # An end for 40: the first repair and giving up then cost 39 + 0.4 * 40 = 55, trying both 58.6.
    assert solved(by_hand(end=40.0)) == pytest.approx([40.0] * 4, abs=1e-4)
    # For 58: giving up at once costs 58, the first repair and giving up then 39 + 0.4 * 58 = 62.2, both 58.6.
    assert solved(by_hand(end=58.0)) == pytest.approx([58.0] * 4, abs=1e-4)


# -- what is refused -----------------------------------------------------------------------------------------


def test_the_table_refuses_what_it_cannot_solve() -> None:
    for seed in range(8):
        with pytest.raises(ValueError, match="exact"):
            Table(general(seed))


def test_a_search_without_a_budget_is_refused() -> None:
    with pytest.raises(ValueError, match="budget"):
        solve(small(0, 2, 2, 1), 0)

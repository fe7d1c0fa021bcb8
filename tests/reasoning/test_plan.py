"""The planner: which move comes first in problems small enough to be worked out by hand, and what its figures are."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from isolate.reasoning.plan import Planner, Valued
from isolate.reasoning.problem import CheckMove, EndMove, Problem, RepairMove, Way


def table(*columns: tuple[float, ...]) -> np.ndarray:
    return np.array(columns).T


def parts(n: int = 3, **changes: Any) -> Problem:
    """State 0 is fine; states 1 to n-1 are each cleared by their own repair, so sure that it is never in doubt."""
    p = np.array([0.1, *[0.9 / (n - 1)] * (n - 1)])
    likelihood = np.array([[1.0, *[1e-4] * (n - 1)], [0.0, *[1 - 1e-4] * (n - 1)]])
    given: dict[str, Any] = {
        "states": tuple("fine" if h == 0 else f"fault {h}" for h in range(n)),
        "p": p,
        "clear": np.arange(n) == 0,
        "access": (),
        "checks": (),
        "repairs": tuple(
            RepairMove(f"mend {i}", 40.0, np.array([0 if h == i else h for h in range(n)]), 0.999) for i in range(1, n)
        ),
        "verify": CheckMove("verify", 5.0, likelihood),
        "ends": (EndMove("give up", np.full(n, 2000.0)),),
        "missed": 2000.0,
    }
    return Problem(**{**given, **changes})


def tells(name: str, cost: float, n: int, state: int, good: float = 0.98, **more: Any) -> CheckMove:
    """A check that tells one state from the others."""
    bad = [good if h == state else 1 - good for h in range(n)]
    return CheckMove(name, cost, np.array([[1 - x for x in bad], bad]), **more)


def useless(name: str, cost: float, n: int, **more: Any) -> CheckMove:
    return CheckMove(name, cost, np.full((2, n), 0.5), **more)


def first(problem: Problem, opened: int = 0) -> Valued:
    return Planner(problem).best(problem.p, opened)


def anything(seed: int) -> Problem:
    """A random problem with shared access, noisy checks and repairs."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 7))
    access = (Way("cowl", 8.0, 12.0), Way("half", 15.0, 18.0, 1), Way("lead", 6.0, 7.0, 3))
    checks = [
        CheckMove(
            f"check {i}",
            float(rng.uniform(1, 25)),
            rng.dirichlet(np.full(int(rng.integers(2, 4)), 0.4), size=n).T,
            needs=int(rng.choice([0, 1, 2, 4])),
        )
        for i in range(6)
    ]
    repairs = [
        RepairMove(
            f"mend {i}",
            float(rng.uniform(5, 90)),
            np.array([0 if h == i else h for h in range(n)]),
            float(rng.uniform(0.6, 0.99)),
            needs=int(rng.choice([0, 1, 4])),
        )
        for i in range(1, n)
    ]
    pass_given = np.where(np.arange(n) == 0, 0.99, rng.uniform(0.01, 0.4, n))
    return Problem(
        states=tuple(str(h) for h in range(n)),
        p=rng.dirichlet(np.full(n, 0.7)),
        clear=np.arange(n) == 0,
        access=access,
        checks=tuple(checks),
        repairs=tuple(repairs),
        verify=CheckMove("verify", float(rng.uniform(2, 20)), np.stack([pass_given, 1 - pass_given]), shut=4),
        ends=(EndMove("give up", np.full(n, float(rng.uniform(200, 1500)))),),
        missed=1500.0,
    )


@pytest.mark.parametrize("seed", range(25))
def test_a_check_that_tells_nothing_is_never_best(seed: int) -> None:
    problem = anything(seed)
    n = len(problem.states)
    for cost in (0.5, 5.0):
        idle = tuple(useless(f"a useless {needs}", cost, n, needs=needs) for needs in (0, 1, 4))
        planner = Planner(replace(problem, checks=(*idle, *problem.checks)))
        for opened in (0, 7):
            best = planner.best(problem.p, opened)
            assert not best.name.startswith("a useless"), (cost, opened)
            assert best.name == Planner(problem).best(problem.p, opened).name, "what tells nothing changes nothing"


def test_a_check_behind_open_access_comes_before_the_same_behind_closed() -> None:
    near_and_far = (Way("near", 10.0, 10.0), Way("far", 10.0, 10.0))
    checks = (tells("a far", 5.0, 3, 1, needs=2), tells("b near", 5.0, 3, 1, needs=1))
    problem = parts(access=near_and_far, checks=checks)
    moves = {m.name: m for m in Planner(problem).moves(problem.p, 1)}
    assert moves["b near"].now == 5.0
    assert moves["a far"].now == 15.0
    assert moves["b near"].expected < moves["a far"].expected
    assert first(problem, opened=1).name == "b near"
    assert first(problem, opened=2).name == "a far"
    asked = [m.name for m in Planner(problem).moves(problem.p, 0) if m.kind == "check"]
    assert asked == ["a far", "b near"], "a tie goes by name"


@pytest.mark.parametrize("seed", range(12))
def test_the_same_input_gives_the_same_moves_in_any_order_of_entry(seed: int) -> None:
    problem = anything(seed)
    moves = Planner(problem).moves(problem.p, 1)
    assert moves == Planner(problem).moves(problem.p, 1)
    rng = random.Random(seed)
    shuffled = replace(
        problem,
        checks=tuple(rng.sample(problem.checks, len(problem.checks))),
        repairs=tuple(rng.sample(problem.repairs, len(problem.repairs))),
    )
    others = Planner(shuffled).moves(problem.p, 1)
    assert [m.name for m in others] == [m.name for m in moves]
    assert [m.expected for m in others] == pytest.approx([m.expected for m in moves])


def test_ties_go_by_kind_and_name_whatever_the_order_of_entry() -> None:
    checks = [tells(name, 5.0, 3, 1) for name in ("c", "a", "b")]
    for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0)):
        problem = parts(checks=tuple(checks[i] for i in order))
        names = [m.name for m in Planner(problem).moves(problem.p, 0) if m.kind == "check"]
        assert names == ["a", "b", "c"]


def test_repairing_straight_away_beats_a_check_that_costs_as_much() -> None:
    # One suspect with 0.9: repair and verify cost 45. Asking for 38 first saves at most the repair in a case in ten.
    problem = parts(2, p=np.array([0.1, 0.9]), checks=(tells("ask", 38.0, 2, 1),))
    move = first(problem)
    assert (move.kind, move.name) == ("repair", "mend 1")
    # By hand: 40 + 5, and one in a thousand of the 0.9 goes round again.
    assert move.expected == pytest.approx(45.0, abs=1.0)


def test_asking_beats_repairing_where_it_is_cheap_and_parts_two_dear_repairs() -> None:
    # Two suspects alike, each 200 to repair: a wrong guess costs 200 every other time; the check costs 5.
    p = np.array([0.02, 0.49, 0.49])
    dear = tuple(replace(r, cost=200.0) for r in parts().repairs)
    problem = parts(3, p=p, repairs=dear, checks=(tells("ask", 5.0, 3, 1, good=0.99),))
    move = first(problem)
    assert (move.kind, move.name) == ("check", "ask")
    repair = next(m for m in Planner(problem).moves(p, 0) if m.kind == "repair")
    # By hand: after asking one repair and one verification, about 5 + 0.98 * 200 + 5; guessing adds half of 200.
    assert move.expected == pytest.approx(5 + 0.98 * 200 + 5, rel=0.08)
    assert repair.expected > move.expected + 60


def test_the_cheaper_of_two_checks_that_tell_the_same_is_asked() -> None:
    problem = parts(checks=(tells("a dear", 9.0, 3, 1), tells("b cheap", 3.0, 3, 1)))
    assert first(problem).name == "b cheap"


def test_a_check_is_worth_its_access_where_the_repair_lies_behind_the_same() -> None:
    # Opening costs 30 either way; the check behind it tells all for 2, the one outside half as much for 20.
    access = (Way("cowl", 15.0, 15.0),)
    repairs = tuple(replace(r, needs=1) for r in parts().repairs)
    checks = (tells("inside", 2.0, 3, 1, good=0.99, needs=1), tells("outside", 20.0, 3, 1, good=0.8))
    assert first(parts(p=np.array([0.02, 0.49, 0.49]), access=access, repairs=repairs, checks=checks)).name == "inside"


def verified(remaining: float, p_fault: float = 0.1) -> Valued:
    """Verify now, where a pass leaves about half of the fault's probability."""
    half = CheckMove("verify", 3.0, table((1.0, 0.0), (0.5, 0.5)))
    problem = parts(
        2, p=np.array([1 - p_fault, p_fault]), verify=half, remaining=remaining, missed=60.0,
        ends=(EndMove("give up", np.full(2, 1e6)),),
    )  # fmt: skip
    return next(m for m in Planner(problem).moves(problem.p, 0) if m.kind == "verify")


def test_a_pass_ends_the_case_only_under_the_limit() -> None:
    left = 0.05 / 0.95  # of the fault after a pass
    ends, goes_on = verified(left + 1e-6), verified(left - 1e-6)
    assert ends.outcomes == pytest.approx((0.95, 0.05))
    # By hand: 3, a pass that misses the fault at 60, and after a fail 40 and one more verification.
    # The planner adds its estimate's shortfall to the last part.
    by_hand = 3 + 0.05 * 60 + 0.05 * (40 + 3)
    assert by_hand <= ends.expected < 1.1 * by_hand
    assert goes_on.expected > ends.expected, "above the limit a pass does not end it: more is to come"


def test_verifying_now_is_best_where_nothing_is_suspected() -> None:
    problem = parts(p=np.array([0.98, 0.01, 0.01]), checks=(tells("ask", 5.0, 3, 1),))
    assert first(problem).kind == "verify"


def test_the_cheapest_end_is_chosen_when_it_is_cheapest() -> None:
    n = 3
    dear = EndMove("a dear end", np.full(n, 150.0))
    assert first(parts(ends=(dear,))).kind != "end"
    cheap = EndMove("hand over", np.array([30.0, 10.0, 10.0]))
    move = first(parts(ends=(dear, cheap)))
    assert (move.kind, move.name) == ("end", "hand over")
    assert move.expected == pytest.approx(0.1 * 30 + 0.9 * 10)
    # What is open is closed at the end, and paid for.
    opened = parts(access=(Way("cowl", 8.0, 12.0),), ends=(dear, cheap))
    found = next(m for m in Planner(opened).moves(opened.p, 1) if m.name == "hand over")
    assert (found.now, found.expected) == (12.0, pytest.approx(12 + 0.1 * 30 + 0.9 * 10))


@pytest.mark.parametrize("seed", range(25))
def test_figures_are_finite_and_no_less_than_what_is_paid_now(seed: int) -> None:
    problem = anything(seed)
    rng = np.random.default_rng(1000 + seed)
    planner = Planner(problem)
    for p in (problem.p, *rng.dirichlet(np.full(len(problem.states), 0.2), size=4)):
        for opened in (0, 1, 3, 7):
            moves = planner.moves(p, opened)
            assert [m.expected for m in moves] == sorted(m.expected for m in moves)
            assert {m.kind for m in moves} >= {"verify", "end"}
            for m in moves:
                assert math.isfinite(m.expected) and math.isfinite(m.told), m.name
                assert m.expected >= m.now - 1e-9 and m.now >= 0, m.name
                assert m.told >= -1e-9, m.name
                if m.kind in ("check", "verify"):
                    assert sum(m.outcomes) == pytest.approx(1.0), m.name
                crossed, after = m.now, opened
                for access, opening in m.crossings:
                    way = problem.access[access]
                    crossed -= way.open if opening else way.close
                    after = after | 1 << access if opening else after & ~(1 << access)
                own = {c.name: c.cost for c in (*problem.checks, *problem.repairs, problem.verify)}
                assert crossed == pytest.approx(own.get(m.name, 0.0)), "now is the crossings and the move itself"


def test_an_outcome_that_cannot_happen_breaks_nothing() -> None:
    sure = CheckMove("sure", 2.0, table((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 1.0, 0.0)))
    problem = parts(checks=(sure,))
    for move in Planner(problem).moves(np.array([1.0, 0.0, 0.0]), 0):
        assert math.isfinite(move.expected) and math.isfinite(move.told)


def test_a_repair_that_clears_nothing_suspected_is_not_offered() -> None:
    problem = parts(p=np.array([0.5, 0.5, 0.0]))
    names = [m.name for m in Planner(problem).moves(problem.p, 0)]
    assert "mend 1" in names and "mend 2" not in names


def test_only_the_usable_checks_are_valued() -> None:
    problem = parts(checks=(tells("a", 5.0, 3, 1), tells("b", 6.0, 3, 2)))
    names = [m.name for m in Planner(problem).moves(problem.p, 0, usable=[1]) if m.kind == "check"]
    assert names == ["b"]
    assert not [m for m in Planner(problem).moves(problem.p, 0, usable=[]) if m.kind == "check"]


def test_what_is_repaired_moves_as_sure_as_the_repair() -> None:
    problem = parts()
    after = Planner(problem).repaired(problem.p, 0)
    assert after == pytest.approx([0.1 + 0.45 * 0.999, 0.45 * 0.001, 0.45])


def test_hindsight_pays_the_repair_the_verification_and_the_access_both_ways() -> None:
    access = (Way("cowl", 8.0, 12.0),)
    problem = parts(2, access=access, repairs=(replace(parts(2).repairs[0], needs=1, success=1.0),))
    assert Planner(problem).hindsight(0) == pytest.approx([5.0, 8 + 40 + 12 + 5.0])
    assert Planner(problem).hindsight(1) == pytest.approx([12 + 5.0, 40 + 12 + 5.0])

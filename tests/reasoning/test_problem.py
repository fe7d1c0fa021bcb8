"""The problem: what it takes to cross from one set of open access states to another, against a shortest-path search."""

from __future__ import annotations

import heapq
import random
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.reasoning.problem import CheckMove, Crossed, EndMove, Problem, RepairMove, Way, Ways, bits


def needed_by(ways: Sequence[Way], opened: int, i: int) -> bool:
    """True when something open needs access i."""
    return any(opened >> j & 1 and way.needs >> i & 1 for j, way in enumerate(ways))


def steps(ways: Sequence[Way], opened: int) -> list[tuple[float, int]]:
    """Every single crossing that is allowed from here, as (cost, open set after)."""
    found = []
    for i, way in enumerate(ways):
        if opened >> i & 1:
            if not needed_by(ways, opened, i):
                found.append((way.close if way.lasting else 0.0, opened & ~(1 << i)))
        elif not way.needs & ~opened and not way.shut & opened:
            found.append((way.open, opened | 1 << i))
    return found


def cheapest(ways: Sequence[Way], start: int, needs: int, shut: int) -> float | None:
    """Least cost of any legal order of crossings that ends with ``needs`` open and ``shut`` shut (Dijkstra 1959)."""
    best = {start: 0.0}
    heap = [(0.0, start)]
    while heap:
        cost, opened = heapq.heappop(heap)
        if cost > best[opened]:
            continue
        if not needs & ~opened and not shut & opened:
            return cost
        for more, after in steps(ways, opened):
            if cost + more < best.get(after, float("inf")):
                best[after] = cost + more
                heapq.heappush(heap, (cost + more, after))
    return None


def walk(ways: Sequence[Way], start: int, crossings: Sequence[Crossed]) -> int:
    """Walk the crossings; assert that each is allowed where it comes."""
    opened = start
    for i, opening in crossings:
        way = ways[i]
        if opening:
            assert not opened >> i & 1, f"{way.name} opened twice"
            assert not way.needs & ~opened, f"{way.name} opened before what it needs"
            assert not way.shut & opened, f"{way.name} opened before what it wants shut is shut"
            opened |= 1 << i
        else:
            assert opened >> i & 1, f"{way.name} shut twice"
            assert not needed_by(ways, opened, i), f"{way.name} shut under what needs it"
            opened &= ~(1 << i)
    return opened


def tree(rng: random.Random) -> list[Way]:
    """Random access states, some needing others, some wanting others shut, in a random order."""
    n = rng.randint(2, 6)
    places = rng.sample(range(n), n)
    needs = [sum(1 << places[j] for j in range(i) if rng.random() < 0.3) for i in range(n)]
    ways = [
        Way(f"a{p}", rng.randint(1, 20), rng.randint(0, 20), need, 0, rng.random() < 0.85)
        for p, need in sorted(zip(places, needs, strict=True))
    ]
    closure = Ways(ways).closure
    shuts = [sum(1 << j for j in range(n) if not closure[i] >> j & 1 and rng.random() < 0.12) for i in range(n)]
    return [Way(w.name, w.open, w.close, w.needs, s, w.lasting) for w, s in zip(ways, shuts, strict=True)]


def reachable(ways: Sequence[Way]) -> list[int]:
    found, todo = {0}, [0]
    while todo:
        for _, after in steps(ways, todo.pop()):
            if after not in found:
                found.add(after)
                todo.append(after)
    return sorted(found)


@pytest.mark.parametrize("seed", range(60))
def test_crossings_are_legal_and_as_cheap_as_any(seed: int) -> None:
    rng = random.Random(seed)
    ways = tree(rng)
    n = len(ways)
    crossing = Ways(ways)
    for start in rng.choices(reachable(ways), k=12):
        needs = sum(1 << i for i in range(n) if rng.random() < 0.35)
        wanted = crossing.closed_under(needs)
        if any(ways[i].shut & wanted for i in bits(wanted)):
            continue  # The loader refuses a step that needs open what another of its needs wants shut.
        shut = sum(1 << i for i in range(n) if rng.random() < 0.25 and not wanted >> i & 1)
        cost, opened, crossings = crossing.go(start, needs, shut)
        assert walk(ways, start, crossings) == opened
        assert not wanted & ~opened and not shut & opened
        assert cost == sum(
            ways[i].open if opening else ways[i].close if ways[i].lasting else 0.0 for i, opening in crossings
        )
        assert cost == cheapest(ways, start, wanted, shut)
        assert crossing.go(start, needs, shut) == (cost, opened, crossings)


@pytest.mark.parametrize("seed", range(20))
def test_closing_up_shuts_everything_once_and_puts_back_only_what_lasts(seed: int) -> None:
    rng = random.Random(seed)
    ways = tree(rng)
    for start in reachable(ways):
        cost, opened, crossings = Ways(ways).close_all(start)
        assert opened == 0 and walk(ways, start, crossings) == 0
        assert sorted(i for i, _ in crossings) == list(bits(start)), "nothing is opened to close up"
        assert cost == sum(ways[i].close for i in bits(start) if ways[i].lasting)


def test_a_nacelle_opens_outside_in_and_shuts_inside_out() -> None:
    notices, cowl, half, lead = 1, 2, 4, 8
    ways = Ways([Way("notices", 2, 3), Way("cowl", 8, 12, notices), Way("half", 15, 18, cowl), Way("lead", 6, 7, half)])
    cost, opened, crossings = ways.go(0, lead, 0)
    assert cost == 2 + 8 + 15 + 6
    assert opened == notices | cowl | half | lead
    assert crossings == (Crossed(0, True), Crossed(1, True), Crossed(2, True), Crossed(3, True))
    cost, opened, crossings = ways.go(opened, 0, cowl)
    assert (cost, opened) == (7 + 18 + 12, notices), "to shut the cowl what is behind it is shut first"
    assert crossings == (Crossed(3, False), Crossed(2, False), Crossed(1, False))
    assert ways.go(opened, notices, half) == (0.0, notices, ())


def test_what_is_in_the_way_is_shut_before_and_opened_again_after() -> None:
    # A dry motor wants the half shut; the lead behind the half is wanted again, so it is paid for again.
    half, lead, motor = 1, 2, 4
    ways = Ways([Way("half", 15, 18), Way("lead", 6, 7, half), Way("motor", 8, 0, 0, half, lasting=False)])
    cost, opened, crossings = ways.go(half | lead, motor, 0)
    assert (cost, opened) == (7 + 18 + 8, motor)
    assert crossings == (Crossed(1, False), Crossed(0, False), Crossed(2, True))
    assert ways.go(motor, lead, 0)[0] == 15 + 6, "what does not last costs nothing to end"


def test_the_shipped_access_is_walked_legally_between_any_two_steps(kit: Kit) -> None:
    poser = kit.poser("hangar")
    fitted = kit.fitted
    targets = [(poser.mask(s.needs), poser.mask(s.shut)) for s in (*fitted.checks.values(), *fitted.repairs.values())]
    rng = random.Random(7)
    opened = 0
    for needs, shut in rng.choices(targets, k=400):
        cost, after, crossings = poser.crossings.go(opened, needs, shut)
        assert walk(poser.ways, opened, crossings) == after
        assert not needs & ~after and not shut & after
        assert cost >= 0
        opened = after
    assert walk(poser.ways, opened, poser.crossings.close_all(opened)[2]) == 0


def test_needs_in_a_circle_are_refused() -> None:
    with pytest.raises(ValueError, match="circle"):
        Ways([Way("a", 1, 1, 2), Way("b", 1, 1, 1)])


def test_bits() -> None:
    assert bits(0) == ()
    assert bits(0b101001) == (0, 3, 5)


def stated(**changes: Any) -> Problem:
    two = np.array([0.5, 0.5])
    parts: dict[str, Any] = {
        "states": ("fine", "broken"),
        "p": two,
        "clear": np.array([True, False]),
        "access": (),
        "checks": (CheckMove("look", 1.0, np.array([[0.9, 0.2], [0.1, 0.8]])),),
        "repairs": (RepairMove("mend", 5.0, np.array([0, 0]), 0.9),),
        "verify": CheckMove("verify", 3.0, np.array([[0.99, 0.05], [0.01, 0.95]])),
        "ends": (EndMove("give up", two * 100),),
        "missed": 100.0,
    }
    return Problem(**{**parts, **changes})


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"p": np.array([0.5, 0.4])}, "sum to 1"),
        ({"states": (), "p": np.array([])}, "at least one state"),
        ({"states": ("one",)}, "one probability"),
        ({"checks": (CheckMove("look", 1.0, np.array([[1.0], [0.0]])),)}, "look"),
        ({"checks": (CheckMove("look", -1.0, np.array([[0.9, 0.2], [0.1, 0.8]])),)}, "look"),
        ({"repairs": (RepairMove("mend", 5.0, np.array([0]), 0.9),)}, "mend"),
        ({"repairs": (RepairMove("mend", 5.0, np.array([0, 0]), 0.0),)}, "mend"),
        ({"repairs": (RepairMove("mend", -5.0, np.array([0, 0]), 0.9),)}, "mend"),
        ({"ends": ()}, "way to end"),
    ],
)
def test_parts_that_do_not_fit_are_refused(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        stated(**changes)


def test_likelihoods_are_padded_with_nothing() -> None:
    three = CheckMove("three", 1.0, np.array([[0.5, 0.2], [0.3, 0.2], [0.2, 0.6]]))
    problem = stated(checks=(*stated().checks, three))
    assert problem.padded.shape == (2, 3, 2)
    assert np.array_equal(problem.padded[0, :2], problem.checks[0].likelihood)
    assert not problem.padded[0, 2].any()
    assert np.array_equal(problem.padded[1], three.likelihood)
    assert stated(checks=()).padded.shape == (0, 1, 2)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"access": (Way("cowl", -1.0, 2.0),)}, "access cowl: opening and closing take 0 minutes or more"),
        ({"access": (Way("a", 1.0, 1.0, needs=2), Way("b", 1.0, 1.0, needs=1))}, "need each other in a circle"),
        (
            {
                "access": (Way("a", 1.0, 1.0), Way("b", 1.0, 1.0, shut=1)),
                "checks": (CheckMove("look", 1.0, np.array([[0.9, 0.2], [0.1, 0.8]]), needs=3),),
            },
            "check look needs open and shut at once: a",
        ),
        ({"checks": (CheckMove("look", 1.0, np.array([[0.9, 0.2], [0.1, 0.8]]), needs=1),)}, "names access"),
        ({"checks": (CheckMove("look", 1.0, np.zeros((0, 2))),)}, "look: its likelihood needs outcomes"),
        ({"checks": (CheckMove("look", 1.0, np.array([[0.9, 0.2], [0.2, 0.8]])),)}, "in each state"),
        ({"checks": (CheckMove("look", float("nan"), np.array([[0.9, 0.2], [0.1, 0.8]])),)}, "a number of minutes"),
        ({"checks": (CheckMove("look", 1.0, np.array([[0.9, 0.2], [0.1, 0.8]]), most=0),)}, "leave it out"),
        ({"p": np.array([1.4, -0.4])}, "numbers from 0 up"),
        ({"repairs": (RepairMove("mend", 5.0, np.array([0, 7]), 0.9),)}, "a target for each state"),
        ({"ends": (EndMove("give up", np.full(2, -3.0)),)}, "end give up"),
        ({"ends": (EndMove("mend", np.full(2, 3.0)),)}, "two moves are called mend"),
        ({"ends": (EndMove("watch", np.full(2, 3.0), proven=True),)}, "way to end besides verification"),
        ({"remaining": 1.5}, "a share from 0 to 1"),
        ({"hands": 3}, "one or two people"),
    ],
)
def test_what_makes_no_problem_is_refused_in_a_sentence(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        stated(**changes)


def test_what_makes_a_problem_poorer_is_told() -> None:
    assert stated().shortcomings() == ()
    stuck = stated(repairs=()).shortcomings()
    assert len(stuck) == 1 and stuck[0].startswith("no repair changes ") and "only an end deals with that" in stuck[0]
    assert stated(checks=()).shortcomings() == (
        "there is nothing to ask: only repairs, the verification and the ends are left",
    )
    free = stated(checks=(CheckMove("look", 0.0, np.array([[0.9, 0.2], [0.1, 0.8]])),)).shortcomings()
    assert free == ("look costs nothing: is that meant?",)


def test_what_may_not_be_done_there_is_refused() -> None:
    problem = stated()
    start = problem.start()
    asked = problem.told(start, 0, 0)
    with pytest.raises(ValueError, match="asked as often as it may"):
        problem.told(asked, 0, 1)
    mended = problem.repaired(start, 0)
    with pytest.raises(ValueError, match="done as often as it may"):
        problem.repaired(mended, 0)
    with pytest.raises(ValueError, match="verification has been done"):
        problem.verified(problem.verified(start, 1), 0)
    assert problem.may_verify(problem.repaired(problem.verified(start, 1), 0)), "a repair begins a new occasion"


def test_a_check_asked_again_repeats_itself_with_its_share() -> None:
    first = np.array([[0.8, 0.3], [0.2, 0.7]])
    check = CheckMove("listen", 2.0, first, most=3, same=0.4)
    again = check.again(0)
    assert again is not None
    # By hand: P(0, 0) = 0.4 * 0.8 + 0.6 * 0.64 over P(0) = 0.8, and the same for 0.3.
    assert again.likelihood[0] == pytest.approx([(0.4 * 0.8 + 0.6 * 0.64) / 0.8, (0.4 * 0.3 + 0.6 * 0.09) / 0.3])
    assert again.likelihood.sum(axis=0) == pytest.approx([1.0, 1.0])
    third = again.again(1)
    assert third is not None and third.again(0) is None
    assert third.new.likelihood is first

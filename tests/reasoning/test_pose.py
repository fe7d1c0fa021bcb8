"""How a case is posed as a decision problem: what is kept, what is barred, what verification and ends come to."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted
from isolate.reasoning.belief import Belief
from isolate.reasoning.plan import Planner
from isolate.reasoning.pose import ESCALATE, KEPT, MOST, WATCH, Posed, Poser, weights
from isolate.reasoning.starts import Start


@pytest.fixture(scope="module")
def poser(kit: Kit) -> Poser:
    return kit.poser("hangar")


@pytest.fixture(scope="module")
def silent(kit: Kit) -> Belief:
    """One channel silent, the engine otherwise lighting."""
    return Belief.before(kit.model).starts([Start("both", True)] * 3).answer("spark-test/A", "silent")


@pytest.fixture(scope="module")
def dark(kit: Kit) -> Belief:
    """Starts that failed on both channels, doubts everywhere."""
    return Belief.before(kit.model).starts([Start("unknown", False), Start("unknown", False)])


VERIFY = ("spark-test/A", "spark-test/B", "start-alone/A", "start-alone/B")


def at(posed: Posed, belief: Belief) -> np.ndarray:
    """The belief's probability of each posed state."""
    return np.array([belief.joint[state] for state in posed.joint])


def test_what_is_kept_is_said_and_is_the_most_probable(poser: Poser, silent: Belief, dark: Belief) -> None:
    for belief in (silent, dark):
        posed = poser.pose(belief, VERIFY)
        kept = at(posed, belief)
        assert posed.problem.p == pytest.approx(kept / kept.sum())
        # States are added because repairs lead to them: they may only add to what is said to be kept.
        assert posed.kept <= kept.sum() + 1e-12 <= 1 + 1e-9
        top = np.sort(belief.joint.ravel())[::-1][:MOST]
        assert posed.kept >= min(KEPT, top.sum()) - 1e-12
        assert kept.max() == pytest.approx(belief.joint.max())
        assert len(set(posed.joint)) == len(posed.joint) == len(posed.problem.states)
        assert posed.problem.clear.sum() == 1
        assert posed.problem.states[int(posed.problem.clear.argmax())] == "no fault"


def test_the_bound_on_states_holds_however_flat_the_belief_is(poser: Poser, kit: Kit) -> None:
    flat = Belief(kit.model, np.full(kit.model.shape, 1 / np.prod(kit.model.shape)), occasion={})
    posed = poser.pose(flat, VERIFY)
    assert posed.kept == pytest.approx(MOST / flat.joint.size)
    assert len(posed.joint) <= 16 * MOST


def test_repairs_lead_from_state_to_state_as_they_clear(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    posed = poser.pose(dark, VERIFY)
    zones = list(hf3.zones)
    for move in posed.problem.repairs:
        repair = hf3.repairs[move.name]
        for before, to in zip(posed.joint, move.to, strict=True):
            expected = []
            for zone, i in zip(zones, before, strict=True):
                cleared = hf3.zones[zone].states[i] in repair.clears.get(zone, ())
                expected.append(0 if cleared else i)
            assert posed.joint[to] == tuple(expected), move.name
        assert move.success == repair.entry.success


def test_every_move_the_aircraft_has_is_posed_and_hand_overs_are_ends(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    problem = poser.pose(dark, VERIFY).problem
    assert {c.name for c in problem.checks} == set(hf3.checks)
    ends = {k for k, r in hf3.repairs.items() if r.hand_over}
    assert {r.name for r in problem.repairs} == set(hf3.repairs) - ends
    assert {e.name for e in problem.ends} == ends | {ESCALATE, WATCH}


@pytest.mark.parametrize("seed", range(6))
def test_what_is_barred_or_lies_behind_it_is_no_move(poser: Poser, hf3: Fitted, dark: Belief, seed: int) -> None:
    rng = random.Random(seed)
    barred = {*rng.sample(sorted(hf3.checks), 8), *rng.sample(sorted(hf3.repairs), 5), rng.choice(sorted(hf3.access))}

    def behind(needs: tuple[str, ...]) -> set[str]:
        found, todo = set(), list(needs)
        while todo:
            name = todo.pop()
            found.add(name)
            todo += hf3.access[name].needs
        return found

    problem = poser.pose(dark, VERIFY, barred=barred).problem
    names = {m.name for m in Planner(problem).moves(problem.p, 0)}
    assert names.isdisjoint(barred)
    for kind in (hf3.checks, hf3.repairs):
        for key, step in kind.items():
            open_to = key not in barred and (behind(step.needs).isdisjoint(barred) or getattr(step, "hand_over", False))
            posed = {m.name for m in (*problem.checks, *problem.repairs, *problem.ends)}
            assert (key in posed) == open_to, key


def test_escalating_cannot_be_barred(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    problem = poser.pose(dark, VERIFY, barred=[*hf3.checks, *hf3.repairs, *hf3.access]).problem
    moves = Planner(problem).moves(problem.p, 0)
    assert not problem.checks and not problem.repairs
    assert {m.name for m in moves} == {ESCALATE, problem.verify.name}


def test_the_verification_passes_when_all_of_it_passes(poser: Poser, hf3: Fitted, kit: Kit, dark: Belief) -> None:
    posed = poser.pose(dark, VERIFY)
    verify = posed.problem.verify
    assert posed.verification == VERIFY
    assert verify.likelihood.shape == (4, len(posed.joint)), "passed, failed on A, failed on B, failed on both"
    assert np.allclose(verify.likelihood.sum(axis=0), 1.0)

    def passes(keys: list[str], state: tuple[int, ...]) -> float:
        """The starts are drawn anew; what the spark tests hear is one occasion, on which each fault shows or not."""
        at = dict(zip(kit.model.zones, state, strict=True))
        zones = [z for z in kit.model.zones if z != "engine"]
        total = 0.0
        for shows in itertools.product((True, False), repeat=len(zones)):
            weight = 1.0
            for zone, on in zip(zones, shows, strict=True):
                # What flickers has no switch: it is drawn anew at each answer, and its row holds that.
                flickers = hf3.zones[zone].flickers[at[zone]]
                active = 1.0 if flickers else hf3.zones[zone].active("steady")[at[zone]]
                weight *= active if on else 1 - active
            seen = tuple(
                i if dict(zip(zones, shows, strict=True)).get(z, True) else 0
                for z, i in zip(kit.model.zones, state, strict=True)
            )
            for key in keys:
                if key.startswith("spark"):
                    # A fault that does not show answers as health does; one that shows, as itself.
                    table = kit.model.likelihood(key, "steady", 1.0, frozenset((z, True) for z in zones))[0]
                    weight *= float(table[tuple(0 if n == 1 else k for n, k in zip(table.shape, seen, strict=True))])
            total += weight
        for key in keys:
            if key.startswith("start"):
                table = kit.model.likelihood(key)[0]
                total *= float(table[tuple(0 if n == 1 else k for n, k in zip(table.shape, state, strict=True))])
        return total

    for h, state in enumerate(posed.joint):
        own = {c: [f"spark-test/{c}", f"start-alone/{c}"] for c in "AB"}
        both, a, b = passes([*own["A"], *own["B"]], state), passes(own["A"], state), passes(own["B"], state)
        expected = [both, b - both, a - both, 1 - a - b + both]
        assert verify.likelihood[:, h] == pytest.approx(expected, abs=1e-8)


def test_nothing_left_to_verify_is_sure_and_free(poser: Poser, dark: Belief) -> None:
    verify = poser.pose(dark, ()).problem.verify
    assert verify.cost == 0.0
    assert (verify.likelihood[0] == 1.0).all() and not verify.likelihood[1:].any()


def test_a_verification_again_is_worth_less_than_the_first(poser: Poser, kit: Kit, dark: Belief) -> None:
    belief = dark
    for key in VERIFY:
        belief = belief.answer(key, belief.model.fitted.check(key).outcomes[0])
    once = poser.pose(belief, VERIFY).problem
    again = poser.pose(belief, VERIFY, again=True).problem
    faulty = ~again.clear
    told = [
        Planner(problem).entropy(problem.p)
        - sum(
            float((row * problem.p).sum()) * Planner(problem).entropy(row * problem.p / (row * problem.p).sum())
            for row in problem.verify.likelihood
        )
        for problem in (once, again)
    ]
    assert told[1] < told[0]
    assert (again.verify.likelihood[0][faulty] >= once.verify.likelihood[0][faulty]).all(), "it repeats its pass"


def test_an_end_costs_what_it_leaves_behind(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    posed = poser.pose(dark, VERIFY)
    w = hf3.profile.weights["hangar"]
    zones = list(hf3.zones)
    for end in posed.problem.ends:
        if end.name == ESCALATE:
            assert (end.cost == w.escalate).all()
            continue
        if end.name == WATCH:
            continue
        clears = hf3.repairs[end.name].clears
        for state, cost in zip(posed.joint, end.cost, strict=True):
            faulty = {zone: hf3.zones[zone].states[i] for zone, i in zip(zones, state, strict=True) if i}
            meant = {zone for zone, mode in faulty.items() if mode in clears.get(zone, ())}
            if not meant:
                assert cost == w.hand_over + w.missed, "a wrong hand-over leaves the fault, or accuses a sound part"
            elif len(faulty) == 1:
                assert cost == w.hand_over
            else:
                assert w.hand_over < cost < w.hand_over + w.missed


def test_watching_is_an_end_only_after_a_verification_that_passed(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    w = hf3.profile.weights["hangar"]
    problem = poser.pose(dark, VERIFY).problem
    assert not problem.may_end(problem.start(), [e.name for e in problem.ends].index(WATCH))
    assert WATCH not in {m.name for m in Planner(problem).moves(problem.p, 0)}
    again = poser.pose(dark, VERIFY, again=True).problem
    watch = next(e for e in again.ends if e.name == WATCH)
    assert np.array_equal(watch.cost, np.where(again.clear, w.hand_over, w.hand_over + w.missed))


def test_minutes_weigh_as_the_place_says(kit: Kit, hf3: Fitted, dark: Belief) -> None:
    for place in ("gate", "hangar"):
        w = hf3.profile.weights[place]
        problem = kit.poser(place).pose(dark, VERIFY).problem
        lead = next(r for r in problem.repairs if r.name == "replace-lead/A")
        entry = hf3.repairs["replace-lead/A"].entry
        assert lead.cost == pytest.approx(w.labour * entry.minutes + w.parts * entry.parts)
        assert problem.missed == w.missed
        assert weights(hf3, place) == w
    assert kit.poser("gate") is kit.poser("gate")


def test_a_repeated_check_is_posed_with_what_it_has_shown(poser: Poser, silent: Belief) -> None:
    posed = poser.pose(silent, VERIFY)
    move = next(c for c in posed.problem.checks if c.name == "spark-test/A")
    fresh = next(c for c in poser.pose(Belief(silent.model, silent.joint, occasion={}), VERIFY).problem.checks
                 if c.name == "spark-test/A")  # fmt: skip
    last = silent.model.fitted.check("spark-test/A").outcomes.index("silent")
    assert (move.likelihood[last] >= fresh.likelihood[last] - 1e-12).all(), "it tends to repeat itself"
    assert np.allclose(move.likelihood.sum(axis=0), 1.0)


def test_access_by_name(poser: Poser, hf3: Fitted, dark: Belief) -> None:
    posed = poser.pose(dark, VERIFY)
    assert posed.access == tuple(hf3.access)
    mask = posed.mask(["notices", "lead-off/B"])
    assert mask == 1 << posed.access.index("notices") | 1 << posed.access.index("lead-off/B")
    behind = poser.fitted.needed(["lead-off/B"])
    assert behind >= {"lead-off/B", "input-off/B", "reverser-open", "breakers-pulled", "notices"}
    assert "input-off/A" not in behind

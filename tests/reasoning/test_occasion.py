"""What answers of one occasion say together, how hot it is after shutdown, and what the screen makes of both."""

from __future__ import annotations

import itertools
from typing import get_args

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted
from isolate.kb.model import Condition
from isolate.reasoning import explain
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.heat import PEAK, soak
from isolate.reasoning.occasion import Occasion

COLD = Setting("cold")


def at(model: Model, **states: str) -> tuple[int, ...]:
    """Return one joint state: zone → state, the others healthy; channel zones as ``a`` and ``b``."""
    named = {"a": "channel/A", "b": "channel/B"}
    told = {named.get(zone, zone): state for zone, state in states.items()}
    return tuple(model.fitted.zones[z].states.index(told.get(z, "healthy")) for z in model.zones)


def chance(model: Model, check: str, outcome: str, state: tuple[int, ...], shows: dict[str, bool]) -> float:
    """P(outcome | state, which faults show), from the rows: the worst that any zone yields is seen."""
    fit = model.fitted.check(check)
    upto = np.ones(len(fit.outcomes))
    for zone, rows in fit.given.items():
        i = state[model.axis[zone]]
        upto = upto * np.cumsum(rows[i] if shows.get(zone, True) else rows[0])
    found = np.maximum(np.diff(upto, prepend=0.0), 1e-4)
    return float(found[fit.outcomes.index(outcome)] / found.sum())


@pytest.mark.parametrize("condition", ["steady", "vibrating"])
def test_answers_of_one_occasion_by_enumeration_of_what_shows(hf3: Fitted, kit: Kit, condition: Condition) -> None:
    model = kit.model
    got = [("spark-test/A", "snaps"), ("spark-count/A", "gaps"), ("feeder-volts/A", "present")]
    got.append(("spark-test/B", "weak"))
    belief = Belief.before(model)
    for check, outcome in got:
        belief = belief.answer(check, outcome, condition)
    prior = Belief.before(model).joint
    zones = ["channel/A", "channel/B", "shared"]
    for state in (
        at(model),
        at(model, a="lead-chafed"),
        at(model, a="exciter-fails-hot", b="lead-unclipped"),
        at(model, shared="connector-wet", a="igniter-wet"),
        at(model, a="switch-failed"),
    ):
        total = 0.0
        for shown in itertools.product((True, False), repeat=3):
            shows = dict(zip(zones, shown, strict=True))
            weight = 1.0
            for zone in zones:
                active = hf3.zones[zone].active(condition)[state[model.axis[zone]]]
                weight *= active if shows[zone] else 1 - active
            for check, outcome in got:
                weight *= chance(model, check, outcome, state, shows)
            total += weight
        if hf3.zones["channel/A"].states[state[0]] == "switch-failed":
            # Drawn anew for each answer, so no such sum: each answer by itself.
            assert belief.joint[state] / prior[state] * np.exp(belief.log_evidence) != pytest.approx(total, rel=1e-3)
            continue
        assert belief.joint[state] / prior[state] * np.exp(belief.log_evidence) == pytest.approx(total, rel=1e-9)


def test_passes_of_one_occasion_clear_a_sleeping_fault_less_than_passes_of_two(kit: Kit) -> None:
    index = kit.model.fitted.zones["channel/A"].states.index("lead-chafed")

    def left(occasions: tuple[int, int, int]) -> float:
        belief = Belief.before(kit.model)
        for check, occasion in zip(("spark-test/A", "spark-count/A", "spark-test/A"), occasions, strict=True):
            belief = belief.answer(check, belief.model.fitted.check(check).outcomes[0], occasion=occasion)
        return float(belief.zone("channel/A")[index])

    assert left((0, 1, 2)) < left((0, 0, 1)) < left((0, 0, 0)) < Belief.before(kit.model).zone("channel/A")[index]


def test_a_start_is_drawn_anew_and_a_repair_ends_the_occasion(kit: Kit) -> None:
    model = kit.model
    before = Belief.before(model).answer("spark-test/A", "snaps")
    # What the spark test saw of the occasion changes nothing about what a start would show in a given state.
    assert np.array_equal(before.next_likelihood("start-alone/A"), model.likelihood("start-alone/A"))
    assert not np.allclose(before.next_likelihood("spark-count/A"), model.likelihood("spark-count/A"))
    # Work elsewhere takes its time: what is looked at afterwards is another occasion.
    after = before.answer("command-read/A", "commanded").repair("replace-igniter/B")
    # It looks at channel A and what both share, so it stands; the spark test listened for the other one as well.
    assert after.occasion == {"command-read/A": ("commanded",)}
    assert after.next_likelihood("spark-count/A") == pytest.approx(model.likelihood("spark-count/A"))
    assert after.had("command-read/A") == ()


def test_a_repeat_counts_within_its_occasion_and_condition(kit: Kit) -> None:
    belief = Belief.before(kit.model).answer("spark-test/A", "snaps", "cold", occasion=3)
    assert belief.had("spark-test/A", "cold", 1.0, 3) == ("snaps",)
    assert belief.had("spark-test/A", "cold", 1.0, 4) == belief.had("spark-test/A", "hot", 1.0, 3) == ()
    # One that does not repeat may be asked again where the condition is another, and not before.
    once = belief.answer("feeder-volts/A", "present", "cold")
    assert once.in_condition("feeder-volts/A", COLD) and not once.in_condition("feeder-volts/A", Setting("wet"))
    assert once.answer("feeder-volts/A", "absent", "wet").joint[0, 0, 0, 0] < once.joint[0, 0, 0, 0]


def test_the_next_answer_at_some_joint_states_is_that_of_the_whole_joint(kit: Kit) -> None:
    model = kit.model
    belief = Belief.before(model)
    for check, outcome in [("spark-test/A", "snaps"), ("command-read/A", "commanded"), ("spark-test/B", "silent")]:
        belief = belief.answer(check, outcome, "wet")
    rng = np.random.default_rng(5)
    some = tuple(rng.integers(0, n, 60) for n in model.shape)
    kept: dict[object, Occasion] = {}
    for check in ("spark-test/A", "spark-count/B", "current-draw/A", "start-alone/A", "lead-continuity/A"):
        whole = np.broadcast_to(
            full := belief.next_likelihood(check, "wet"), (len(full), *model.shape)
        )[(slice(None), *some)]
        assert belief.following(check, "wet", at=some, kept=kept) == pytest.approx(whole, abs=1e-12), check


def test_a_check_that_makes_a_condition_has_that_besides_the_day(kit: Kit) -> None:
    model, check = kit.model, kit.fitted.checks["spark-turning/A"]
    assert check.makes == ("vibrating", 0.6) and check.still
    states = kit.fitted.zones["channel/A"].states
    chafed, wet = states.index("lead-chafed"), states.index("igniter-wet")
    active = model.active("channel/A", *model.setting("spark-turning/A", "wet", 1.0))
    assert active[chafed] == pytest.approx(0.6 * 0.8 + 0.4 * 0.35)
    # Cranking dries nothing.
    assert active[wet] == kit.fitted.zones["channel/A"].active("wet")[wet]
    shaken, rest = (
        Belief.before(model).answer(c, "snaps").zone("channel/A")[chafed] for c in ("spark-turning/A", "spark-test/A")
    )
    assert shaken < rest
    # What shows while it shakes is another occasion than what shows at rest.
    before = Belief.before(model).answer("spark-test/A", "snaps")
    assert before.next_likelihood("spark-turning/A") == pytest.approx(model.likelihood("spark-turning/A"))


def test_the_strength_of_a_condition_mixes_it_with_no_condition(hf3: Fitted) -> None:
    zone = hf3.zones["channel/A"]
    i = zone.states.index("exciter-fails-hot")
    usual, hot = zone.active("steady")[i], zone.active("hot")[i]
    assert zone.active("hot", 0.25)[i] == pytest.approx(0.25 * hot + 0.75 * usual)
    assert zone.active("hot", 0.0) == zone.active("steady")


def test_heat_soaks_after_shutdown_and_then_falls() -> None:
    """[practice] A nacelle is hottest some while after shutdown, when no air moves in it any more."""
    assert 10 < PEAK < 45
    assert soak(PEAK) == pytest.approx(1.0) and soak(0) < 0.8 and soak(-5) == soak(0)
    rising = [soak(t) for t in np.linspace(0, PEAK, 20)]
    falling = [soak(t) for t in np.linspace(PEAK, 600, 50)]
    assert rising == sorted(rising) and falling == sorted(falling, reverse=True)
    assert soak(8 * 60) < 0.05


# -- what the screen says of it ----------------------------------------------------------------------


def suspicious(kit: Kit) -> Belief:
    belief = Belief.before(kit.model)
    zone = kit.model.along("channel/B", [20.0 if s == "exciter-fails-hot" else 1.0 for s in
                                         kit.fitted.zones["channel/B"].states])
    return belief.weighed(zone).answer("heard-at-start/B", "not-heard")


def test_a_pass_in_the_wrong_condition_is_said_to_say_little(kit: Kit) -> None:
    belief = suspicious(kit)
    (found, *_) = explain.hidden(belief, "spark-test/B", COLD)
    assert (found.suspect.mode, found.condition) == ("exciter-fails-hot/B", "hot")
    assert found.now == pytest.approx(0.03) and found.then == pytest.approx(0.85)
    assert "exciter-fails-hot/B" not in [h.suspect.mode for h in explain.hidden(belief, "spark-test/B", Setting("hot"))]
    # Half an hour's heat left is not the heat at its peak.
    assert explain.hidden(belief, "spark-test/B", Setting("hot", 0.2))
    # A look does not care; nor does a check that looks elsewhere.
    assert explain.hidden(belief, "exciter-mount-look/B", COLD) == ()
    assert explain.hidden(belief, "spark-count/A", COLD) == ()


def test_tries_add_less_and_less_and_the_stopping_point_follows(kit: Kit) -> None:
    belief = suspicious(kit)
    likely = np.argsort(-belief.joint.ravel())[:200]
    some = np.unravel_index(likely, belief.joint.shape)
    found = explain.tries(belief, "spark-test/B", some, COLD)
    assert found is not None and found.had == 0
    assert len(found.bits) == kit.fitted.checks["spark-test/B"].repeats.most  # type: ignore[union-attr]
    assert list(found.bits) == sorted(found.bits, reverse=True) and found.bits[4] < 0.1 * found.bits[0]
    assert 1 <= found.worth < len(found.bits)
    # By hand: what the second try says once the first has passed.
    after = belief.answer("spark-test/B", "snaps", *COLD)
    p = after.joint[some] / after.joint[some].sum()
    table = after.following("spark-test/B", *COLD, some)
    joint = table * p
    outcomes = joint.sum(axis=1, keepdims=True)
    assert found.bits[1] == pytest.approx(float((joint * np.log2(joint / (outcomes * p))).sum()), abs=1e-9)
    more = explain.tries(after, "spark-test/B", some, COLD)
    assert more is not None and more.had == 1 and more.bits[0] == pytest.approx(found.bits[1], rel=1e-6)
    assert explain.tries(belief, "spark-count/B", some, COLD) is None


def test_every_condition_can_be_told_and_makes_a_difference_to_some_fault(hf3: Fitted) -> None:
    for condition in get_args(Condition):
        if condition != "steady":
            assert any(z.active(condition) != z.active("steady") for z in hf3.zones.values()), condition

"""The belief: what evidence, starts and repairs do to the joint; the references are sums over a small aircraft."""

from __future__ import annotations

import itertools
import random
from math import log2
from typing import Any, get_args

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted, UnknownName, fit
from isolate.kb.model import FLOOR, Condition, Knowledge
from isolate.reasoning import belief
from isolate.reasoning.belief import Belief, Model, enumerate_states
from isolate.reasoning.starts import Start
from tests.reasoning.history import weigh

CONDITIONS: tuple[Condition, ...] = get_args(Condition)


def small(selection: str = "alternate", channel_modes: tuple[str, ...] = ("dead", "weak"), **zones: Any) -> Fitted:
    """Two channels with a fault or two each and one shared part, small enough to be summed by hand."""
    source = {"source": ["bench"]}
    modes = {
        "dead": {"title": "Dead {channel}", "part": "exciter", "prior": 0.04, "lights": 0.03, "tells": "-", **source},
        "weak": {
            "title": "Weak {channel}",
            "part": "exciter",
            "prior": 0.09,
            "lights": 0.4,
            "active": {"steady": 0.3, "hot": 0.9},
            "tells": "-",
            **source,
        },
    }
    off_mode = {"title": "Off", "part": "supply", "prior": 0.02, "lights": 0.05, "tells": "-", **source}

    def check(per: str | None, kind: str, given: dict[str, Any], **more: Any) -> dict[str, Any]:
        outcomes = {o: {"title": o, "means": o} for o in ("good", "poor", "bad")}
        return {
            "title": "T",
            "purpose": "P",
            "per": per,
            "kind": kind,
            "minutes": 5.0,
            "outcomes": outcomes,
            "given": given,
            **source,
            **more,
        }

    healthy = {"modes": ["healthy"], "gives": {"good": 0.9, "poor": 0.07, "bad": 0.03}}
    faulty = {"modes": list(channel_modes), "gives": {"good": 0.2, "poor": 0.3, "bad": 0.5}}
    off = {"modes": ["off"], "gives": {"good": 0.1, "poor": 0.2, "bad": 0.7}}
    data = {
        "sources": {"bench": {"title": "B", "kind": "judgement"}},
        "zones": {
            "channel": {
                "title": "Channel {channel}",
                "per": "channel",
                "lights": 0.99,
                "modes": {m: modes[m] for m in channel_modes},
                **source,
            },
            "shared": {
                "title": "Shared",
                "lights": 0.998,
                "modes": {"off": off_mode},
                **source,
            },
        },
        "checks": {
            "look": check("channel", "visual", {"channel": [healthy, faulty]}),
            "ear": check("channel", "functional", {"channel": [healthy, faulty], "shared": [healthy, off]}),
            "meter": check("channel", "measurement", {"channel": [healthy, faulty]}, repeats={"most": 4, "same": 0.6}),
        },
        "repairs": {
            "change": {
                "title": "Change {channel}",
                "per": "channel",
                "minutes": 10.0,
                "clears": {"channel": ["dead"]},
                "success": 0.8,
                "disturbs": [{"mode": channel_modes[-1], "chance": 0.05}] if len(channel_modes) > 1 else [],
                "record": "Changed",
                **source,
            }
        },
        "complaints": {"dark": {"title": "Dark", "says": ["dark"], "verify": ["ear"], **source}},
        "engines": {
            "bench": {
                "title": "Bench",
                "channels": ["A", "B"],
                "selection": selection,
                "zones": ["channel", "shared"],
                "weights": {"hangar": {"hand_over": 10.0, "escalate": 500.0, "missed": 500.0}},
                **source,
            }
        },
    }
    return fit(Knowledge.model_validate(data), "bench")


def posterior(model: Model, weight: dict[tuple[str, ...], float]) -> np.ndarray:
    """Prior times weight, over the joint, normalised; built state by state."""
    joint = np.zeros(model.shape)
    for states in enumerate_states(model):
        at, prior = [], 1.0
        for key in model.zones:
            zone = model.fitted.zones[key]
            i = zone.states.index(states[key])
            at.append(i)
            prior *= zone.prior[i]
        joint[tuple(at)] = prior * weight[tuple(states.values())]
    return np.asarray(joint / joint.sum())


# -- evidence -------------------------------------------------------------------------------------


def test_no_answer_is_impossible_in_any_state(hf3: Fitted, kit: Kit) -> None:
    for key, check in hf3.checks.items():
        for condition in CONDITIONS if check.functional else CONDITIONS[:1]:
            table = kit.model.likelihood(key, condition)
            assert table.min() >= FLOOR / (1 + FLOOR * len(check.outcomes)), key
            assert np.allclose(table.sum(axis=0), 1.0), key


def test_evidence_never_zeroes_a_state_and_it_can_come_back(hf3: Fitted, kit: Kit) -> None:
    belief = Belief.before(kit.model)
    against = [("lead-continuity/A", "continuous"), ("lead-insulation/A", "high"), ("spark-test/A", "snaps"),
               ("start-alone/A", "lights"), ("lead-route-look/A", "good"), ("light-time-compare/A", "alike"),
               ("spark-count/A", "even"), ("lead-wiggle/A", "steady")]
    for check, outcome in against:
        belief = belief.answer(check, outcome)
    assert (belief.joint > 0).all()
    index = hf3.zones["channel/A"].states.index("lead-open")
    low = belief.zone("channel/A")[index]
    assert 0 < low < 1e-6
    # The same checks found the other way round, on another day as it were, bring it back.
    back = Belief(kit.model, belief.joint, occasion={})
    for check, outcome in [("lead-continuity/A", "open"), ("lead-wiggle/A", "jumps"), ("spark-test/A", "silent"),
                           ("start-alone/A", "no-light"), ("spark-count/A", "nothing-to-count")]:
        back = back.answer(check, outcome)
    assert back.zone("channel/A")[index] > 0.01


def test_every_check_answered_the_worst_way_leaves_every_state_possible(hf3: Fitted, kit: Kit) -> None:
    belief = Belief.before(kit.model)
    for key, check in hf3.checks.items():
        belief = belief.answer(key, check.outcomes[-1])
    assert (belief.joint > 0).all()
    assert np.isfinite(belief.log_evidence)
    assert belief.joint.sum() == pytest.approx(1.0)


def test_a_check_that_does_not_repeat_says_nothing_when_asked_again(hf3: Fitted, kit: Kit) -> None:
    once = Belief.before(kit.model).answer("lead-continuity/A", "open")
    for outcome in hf3.checks["lead-continuity/A"].outcomes:
        again = once.answer("lead-continuity/A", outcome)
        assert np.array_equal(again.joint, once.joint), outcome
        assert again.log_evidence == once.log_evidence
        assert again.told == once.told


def test_a_check_that_repeats_says_little_more_and_follows_its_shared_disposition() -> None:
    fitted = small()
    model = Model(fitted)
    same = 0.6
    row = {"healthy": (0.9, 0.07, 0.03), "faulty": (0.2, 0.3, 0.5)}
    for outcomes in (["bad"], ["bad", "bad"], ["bad", "bad", "bad"], ["good", "bad", "bad"], ["poor", "good"]):
        belief = Belief.before(model)
        for outcome in outcomes:
            belief = belief.answer("meter/A", outcome)
        index = [("good", "poor", "bad").index(o) for o in outcomes]

        def run(table: tuple[float, ...], index: list[int] = index) -> float:
            product = float(np.prod([table[i] for i in index]))
            return same * (len(set(index)) == 1) * table[index[0]] + (1 - same) * product

        weight = {
            tuple(s.values()): run(row["healthy" if s["channel/A"] == "healthy" else "faulty"])
            for s in enumerate_states(model)
        }
        assert belief.joint == pytest.approx(posterior(model, weight), abs=1e-12), outcomes
    steps = [Belief.before(model)]
    for _ in range(3):
        steps.append(steps[-1].answer("meter/A", "bad"))
    odds = [log2((1 - b.zone("channel/A")[0]) / b.zone("channel/A")[0]) for b in steps]
    gains = np.diff(odds)
    assert gains[0] == pytest.approx(log2(0.5 / 0.03))
    # Three fresh trials would have said three times as much.
    assert (np.abs(gains[1:]) < 0.25 * gains[0]).all()


def test_the_next_likelihood_is_that_of_the_answers_so_far_and_one_more() -> None:
    model = Model(small())
    belief = Belief.before(model).answer("meter/A", "bad").answer("meter/A", "poor")
    table = belief.next_likelihood("meter/A")
    assert table.sum(axis=0) == pytest.approx(np.ones(table.shape[1:]))
    for k, outcome in enumerate(("good", "poor", "bad")):
        assert belief.answer("meter/A", outcome).joint == pytest.approx(belief.weighed(table[k]).joint, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_evidence_does_not_matter(hf3: Fitted, kit: Kit, seed: int) -> None:
    rng = random.Random(seed)
    steps: list[Any] = []
    for key in rng.sample(sorted(hf3.checks), 9):
        steps += [(key, rng.choice(hf3.checks[key].outcomes), rng.choice(CONDITIONS))]
    # The trials of one check are one story; their condition is that of one occasion.
    steps += [("spark-test/B", "silent", "wet"), ("spark-test/B", "weak", "wet")]
    starts = tuple(Start(rng.choice(["A", "B", "both", "unknown"]), rng.random() < 0.6) for _ in range(4))

    def taken(order: list[Any]) -> Belief:
        belief = Belief.before(kit.model)
        for step in order:
            belief = belief.starts(step) if isinstance(step[0], Start) else belief.answer(*step)
        return belief

    one = taken([starts, *steps])
    for _ in range(3):
        rng.shuffle(steps)
        at = rng.randrange(len(steps) + 1)
        other = taken([*steps[:at], starts, *steps[at:]])
        assert np.allclose(other.joint, one.joint, rtol=1e-9, atol=0.0)
        assert other.log_evidence == pytest.approx(one.log_evidence)


def test_names_that_do_not_exist_are_refused(kit: Kit) -> None:
    belief = Belief.before(kit.model)
    with pytest.raises(UnknownName, match="spark-test/A"):
        belief.answer("spark-tset/A", "silent")
    with pytest.raises(ValueError, match="snaps"):
        belief.answer("spark-test/A", "snap")
    with pytest.raises(UnknownName, match="replace-igniter/A"):
        belief.repair("replace-ignitor/A")


# -- activity -------------------------------------------------------------------------------------


def test_a_passed_functional_check_says_less_in_the_wrong_condition(hf3: Fitted, kit: Kit) -> None:
    index = hf3.zones["channel/A"].states.index("exciter-fails-hot")
    hot, cold = (
        Belief.before(kit.model).answer("spark-test/A", "snaps", condition).zone("channel/A")[index]
        for condition in ("hot", "cold")
    )
    before = Belief.before(kit.model).zone("channel/A")[index]
    assert hot < cold < before
    # A look does not care whether the fault is showing.
    seen = [
        Belief.before(kit.model).answer("exciter-mount-look/A", "poor", condition).joint
        for condition in ("hot", "cold")
    ]
    assert np.array_equal(*seen)


def test_activity_mixes_the_row_of_the_fault_with_that_of_health() -> None:
    model = Model(small())
    zone = model.fitted.zones["channel/A"]
    weak = zone.states.index("weak")
    table = model.likelihood("ear/A", "hot")[:, weak, 0, 0]
    healthy, faulty = np.array([0.9, 0.07, 0.03]), np.array([0.2, 0.3, 0.5])
    own = 0.9 * faulty + 0.1 * healthy
    # Two zones: the worse of what each would yield is seen; the shared part is healthy here.
    worst = np.zeros(3)
    for i, j in itertools.product(range(3), range(3)):
        worst[max(i, j)] += own[i] * healthy[j]
    assert table == pytest.approx(worst, abs=1e-9)


# -- starts ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("results", ["0", "01", "0101", "1101", "00", "10010"])
def test_unknown_channels_under_alternation_are_summed_over_the_phases(results: str) -> None:
    model = Model(small("alternate"))
    told = [Start("unknown", r == "1", "hot") for r in results]
    weight = {tuple(s.values()): weigh(model.fitted, s, told) for s in enumerate_states(model)}
    assert Belief.before(model).starts(told).joint == pytest.approx(posterior(model, weight), abs=1e-12)


def test_one_known_channel_settles_the_phase() -> None:
    model = Model(small("alternate"))
    told = [Start("unknown", False), Start("B", True), Start("unknown", False), Start("unknown", True)]
    belief = Belief.before(model).starts(told)
    # Counted from the one that is known: A failed, B lit, A failed, B lit.
    assert 1 - belief.zone("channel/A")[0] > 10 * (1 - belief.zone("channel/B")[0])
    # Two known ones that do not alternate leave no phase; then nothing breaks and nobody is cleared for sure.
    stray = Belief.before(model).starts([Start("A", True), Start("A", True), Start("unknown", False)])
    assert (stray.joint > 0).all()


def test_unknown_by_hand_is_one_channel_or_both_each_time_and_unknown_on_both_is_both() -> None:
    told = [Start("unknown", False), Start("unknown", True)]
    for selection in ("by-hand", "both"):
        model = Model(small(selection))
        weight = {tuple(s.values()): weigh(model.fitted, s, told) for s in enumerate_states(model)}
        assert Belief.before(model).starts(told).joint == pytest.approx(posterior(model, weight), abs=1e-9)


def test_a_start_on_both_channels_hides_a_dead_one() -> None:
    model = Model(small())
    weight = {tuple(s.values()): weigh(model.fitted, s, [Start("both", True)]) for s in enumerate_states(model)}
    both = Belief.before(model).starts([Start("both", True)])
    assert both.joint == pytest.approx(posterior(model, weight), abs=1e-9)
    alone = Belief.before(model).starts([Start("A", True)])
    dead = model.fitted.zones["channel/A"].states.index("dead")
    assert alone.zone("channel/A")[dead] < 0.1 * both.zone("channel/A")[dead]


def test_no_starts_say_nothing(kit: Kit) -> None:
    belief = Belief.before(kit.model)
    assert belief.starts([]) is belief


def test_a_hidden_first_fault_and_a_new_one_are_found_together(kit: Kit) -> None:
    belief = Belief.before(kit.model).starts([Start("both", True)] * 1 + [Start("both", False)] * 2)
    for check, outcome in [
        ("fuel-flow-look", "fuel-seen"),
        ("crank-speed-read", "as-ever"),
        ("crew-ask", "by-the-book"),
        ("indication-compare", "agree"),
        ("supply-read", "right"),
        ("command-read/A", "commanded"),
        ("command-read/B", "commanded"),
        ("common-connector-look", "dry"),
        ("spark-test/A", "silent"),
        ("spark-test/B", "silent"),
    ]:
        belief = belief.answer(check, outcome)
    shared = 1 - float(belief.zone("shared")[0])
    either = belief.joint[0].sum() + belief.joint[:, 0].sum() - belief.joint[0, 0].sum()
    assert shared > 1 - float(either) > 0.2, "a shared cause leads, and two dead channels are not forgotten"
    for check, outcome in [
        ("lane-test", "both-pass"),
        ("feeder-volts/A", "present"),
        ("lead-continuity/A", "open"),
        ("feeder-load/B", "holds"),
        ("lead-continuity/B", "continuous"),
        ("lead-insulation/B", "high"),
        ("lead-wiggle/B", "steady"),
        ("plug-tip-look/B", "good"),
        ("plug-well-look/B", "clean"),
    ]:
        belief = belief.answer(check, outcome)
    (states, p), (_, second), *_ = belief.joint_states(3)
    assert states == {"channel/A": "lead-open", "channel/B": "exciter-dead"}
    assert p > 1.5 * second


# -- repairs --------------------------------------------------------------------------------------


def test_a_repair_moves_probability_as_its_success_says_and_keeps_the_rest() -> None:
    model = Model(small())
    belief = Belief.before(model).starts([Start("A", False)]).answer("look/B", "bad")
    healthy, dead, weak = 0, 1, 2
    expected = belief.joint.copy()
    moved = 0.8 * belief.joint[dead]
    expected[dead] -= moved
    expected[healthy] += moved
    # What is healthy after it, made so or so already, may be disturbed: 5 in 100.
    for before in (belief.joint[healthy], moved):
        expected[healthy] -= 0.05 * before
        expected[weak] += 0.05 * before
    after = belief.repair("change/A")
    # The dead one that was not cleared stays dead, undisturbed; so does the weak one.
    assert after.joint == pytest.approx(expected, abs=1e-12)
    assert after.joint.sum() == pytest.approx(1.0)
    for zone in ("channel/B", "shared"):
        assert after.zone(zone) == pytest.approx(belief.zone(zone), abs=1e-12)
    assert after.log_evidence == belief.log_evidence


def test_a_repair_makes_checks_of_its_zone_fresh_and_leaves_the_others_answered() -> None:
    model = Model(small())
    belief = Belief.before(model).answer("look/A", "bad").answer("look/B", "bad").repair("change/A")
    assert [t.check for t in belief.told] == ["look/B"]
    assert set(belief.occasion) == {"look/B"}
    assert belief.answer("look/A", "good").zone("channel/A")[0] > belief.zone("channel/A")[0]
    assert belief.answer("look/B", "good") is belief


@pytest.mark.parametrize("key", ["replace-igniter/A", "correct-connections", "replace-connector", "clean-seat/B"])
def test_a_shipped_repair_keeps_the_sum_and_clears_what_it_says(hf3: Fitted, kit: Kit, key: str) -> None:
    belief = Belief.before(kit.model).answer("spark-test/A", "silent").answer("spark-test/B", "weak")
    after = belief.repair(key)
    assert after.joint.sum() == pytest.approx(1.0)
    repair = hf3.repairs[key]
    for zone, states in repair.clears.items():
        names = hf3.zones[zone].states
        disturbed = {state for state, _ in repair.disturbs.get(zone, ())}
        for state in states - disturbed:
            i = names.index(state)
            left = belief.zone(zone)[i] * (1 - repair.entry.success)
            assert after.zone(zone)[i] == pytest.approx(left, rel=1e-9), state
    assert np.array_equal(belief.joint, Belief(kit.model, belief.joint, occasion={}).joint), "beliefs are not changed"


# -- weight of evidence ---------------------------------------------------------------------------


def test_weights_are_positive_for_and_negative_against() -> None:
    model = Model(small())
    belief = Belief.before(model).answer("look/A", "bad").answer("meter/A", "good")
    weights = {told.check: bits for told, bits in belief.weights({"channel/A": "dead"})}
    assert weights["look/A"] > 0 > weights["meter/A"]
    for_health = {told.check: bits for told, bits in belief.weights({"channel/A": "healthy"})}
    assert for_health["look/A"] < 0 < for_health["meter/A"]


def test_weights_add_up_to_the_shift_of_the_log_odds() -> None:
    # Good 1950 [memory]: with one alternative, the weights of independent answers add up to log2 of posterior odds over
    # prior odds. One fault mode a channel makes the alternative simple; both checks look at channel A alone.
    model = Model(small(channel_modes=("dead",)))
    before = Belief.before(model)
    after = before.answer("look/A", "bad").answer("meter/A", "poor").answer("look/B", "good")

    def bits(belief: Belief) -> float:
        p = float(belief.zone("channel/A")[1])
        return log2(p / (1 - p))

    found = after.weights({"channel/A": "dead"})
    assert sum(b for _, b in found) == pytest.approx(bits(after) - bits(before), abs=1e-9)
    each = {told.check: b for told, b in found}
    assert each["look/B"] == pytest.approx(0.0, abs=1e-9)
    assert each["look/A"] == pytest.approx(log2(0.5 / 0.03), abs=1e-9)


def test_weights_of_repeated_trials_add_up_too() -> None:
    model = Model(small(channel_modes=("dead",)))
    before = Belief.before(model)
    after = before.answer("meter/A", "bad").answer("meter/A", "bad").answer("meter/A", "bad")
    p0, p1 = float(before.zone("channel/A")[1]), float(after.zone("channel/A")[1])
    shift = log2(p1 / (1 - p1)) - log2(p0 / (1 - p0))
    assert sum(b for _, b in after.weights({"channel/A": "dead"})) == pytest.approx(shift, abs=1e-9)


# -- surprise and reading -------------------------------------------------------------------------


def test_conflict_is_what_the_definition_says(kit: Kit) -> None:
    # From memory: Jensen, Bayesian Networks and Decision Graphs: log of prod P(e_i) over P(e).
    told = [("spark-test/A", "silent"), ("spark-test/A", "snaps"), ("feeder-volts/A", "absent")]
    told.append(("start-alone/B", "late"))
    belief = before = Belief.before(kit.model).starts([Start("A", False)])
    apart, seen = 0.0, before
    for check, outcome in told:
        belief = belief.answer(check, outcome)
    for check, outcome in told:
        # A repeated trial is weighed as what it adds after the one before; the others stand alone.
        likelihood = seen.next_likelihood(check)[kit.fitted.checks[check].outcomes.index(outcome)]
        apart += np.log2((likelihood * before.joint).sum())
        seen = seen.answer(check, outcome)
    together = (belief.log_evidence - before.log_evidence) / np.log(2)
    assert belief.conflict() == pytest.approx(apart - together, abs=1e-9)
    alone = before.answer("lead-continuity/A", "open")
    assert alone.conflict() == pytest.approx(0.0, abs=1e-9), "one answer speaks against no other"


def test_surprise_rises_when_answers_contradict(kit: Kit) -> None:
    agreeing = Belief.before(kit.model)
    for check, outcome in [("spark-test/A", "silent"), ("feeder-volts/A", "absent"), ("breakers-look/A", "one-out"),
                           ("start-alone/A", "no-light"), ("start-alone/B", "lights"), ("spark-test/B", "snaps")]:
        agreeing = agreeing.answer(check, outcome)
    contradicting = Belief.before(kit.model)
    for check, outcome in [("lead-continuity/A", "open"), ("lead-wiggle/A", "steady"), ("spark-test/A", "snaps"),
                           ("start-alone/A", "lights"), ("spark-count/A", "even"), ("light-time-compare/A", "alike")]:
        contradicting = contradicting.answer(check, outcome)
    assert agreeing.conflict() < 0 < 1 < contradicting.conflict()
    assert Belief.before(kit.model).conflict() == 0.0
    assert Belief.before(kit.model).surprise() == 0.0
    assert agreeing.surprise() < 1.0
    assert contradicting.surprise() > max(3.0, agreeing.surprise() + 2)


def test_faults_and_joint_states_come_most_probable_first(hf3: Fitted, kit: Kit) -> None:
    belief = Belief.before(kit.model).answer("spark-test/B", "silent")
    faults = belief.faults()
    # Chances that differ by less than rounding are a tie, and ties go by name.
    order = [(-round(f.probability, 12), f.mode) for f in faults]
    assert order == sorted(order)
    assert len(faults) == len(hf3.mode_zone)
    for f in faults[:3]:
        i = hf3.zones[f.zone].states.index(f.state)
        assert belief.zone(f.zone)[i] == pytest.approx(f.probability)
    states = belief.joint_states(5)
    assert [p for _, p in states] == sorted((p for _, p in states), reverse=True)
    none = next(p for s, p in belief.joint_states(belief.joint.size) if not s)
    assert none == belief.healthy()


def test_predicted_chances_are_those_of_the_answers(hf3: Fitted, kit: Kit) -> None:
    belief = Belief.before(kit.model).answer("spark-test/A", "silent")
    for key in ("feeder-volts/A", "start-alone/B", "crew-ask"):
        chances = belief.predicted(key, "hot")
        assert chances.sum() == pytest.approx(1.0)
        for outcome, chance in zip(hf3.checks[key].outcomes, chances, strict=True):
            gained = belief.answer(key, outcome, "hot").log_evidence - belief.log_evidence
            assert np.exp(gained) == pytest.approx(chance, rel=1e-9)


def held(model: Model) -> int:
    return sum(table.nbytes for table in model._likelihoods.values())


def test_tables_kept_stay_within_their_bytes_and_say_the_same(hf3: Fitted, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(belief, "MOST_BYTES", 3_000_000)
    small, large = Model(hf3), Model(hf3)
    for check in [key for key, c in hf3.checks.items() if c.functional][:12]:
        for condition in ("cold", "hot"):
            table = small.likelihood(check, condition, 0.6)  # type: ignore[arg-type]
            assert held(small) <= 3_000_000
            monkeypatch.setattr(belief, "MOST_BYTES", 10**9)
            assert np.array_equal(table, large.likelihood(check, condition, 0.6))  # type: ignore[arg-type]
            monkeypatch.setattr(belief, "MOST_BYTES", 3_000_000)
    assert held(small) < held(large)

"""Long start histories: what is rounded off, what is left out, and that nothing runs out of numbers."""

from __future__ import annotations

import random

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.reasoning import starts as history
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.starts import NEWEST, Start, by_lane, onset, weight
from tests.published.test_starts import bench, told
from tests.reasoning.history import weigh


def test_trying_only_some_starts_as_a_faults_first_changes_little(monkeypatch: pytest.MonkeyPatch) -> None:
    model = Model(bench())
    rng = random.Random(4)
    for first in (5, 20, 33):
        starts = [Start("AB"[i % 2], not (i % 2 == 0 and i >= first and rng.random() < 0.9)) for i in range(40)]
        few = Belief.before(model).starts(starts).joint
        with monkeypatch.context() as patch:
            patch.setattr(history, "EXACT", 10_000)
            all_of_them = Belief.before(model).weighed(history._Chain(model, tuple(starts)).over_joint()).joint
        assert few == pytest.approx(all_of_them, abs=0.01), first
        # The fault is dated all the same, by each start; one that showed so early may have been there before.
        dated = onset(model, starts, few, "channel/A")
        assert dated.sum() == pytest.approx(1)
        assert first == 5 or abs(int(dated.argmax()) - first) <= 2


def test_only_the_newest_are_weighed() -> None:
    model = Model(bench())
    newest = [Start("AB"[i % 2], i % 2 == 1) for i in range(NEWEST)]
    assert weight(model, [*([Start("A", True)] * 50), *newest]) == pytest.approx(weight(model, newest))


@pytest.mark.parametrize("channel", ["A", "both", "unknown"])
def test_a_long_log_that_nothing_explains_leaves_every_state_possible(kit: Kit, channel: str) -> None:
    rng = random.Random(7)
    starts = [Start(channel, rng.random() < 0.5, rng.choice(["hot", "cold"])) for _ in range(NEWEST)]
    found = weight(kit.model, starts)
    assert np.isfinite(found).all() and (found > 0).all()
    belief = Belief.before(kit.model).starts(starts)
    assert np.isfinite(belief.log_evidence) and belief.joint.sum() == pytest.approx(1)


def test_what_is_kept_is_what_would_be_worked_out_again_and_nobody_changes_it() -> None:
    model = Model(bench())
    histories = [told("A0 B1"), told("A0 B1 A0"), told("?0"), told("?1 ?0"), told("*1"), told("A0 B1")]
    first = [np.array(weight(model, starts)) for starts in histories]
    again = [weight(model, starts) for starts in reversed(histories)]
    for one, other in zip(first, reversed(again), strict=True):
        assert np.array_equal(one, other)
    with pytest.raises(ValueError, match="read-only"):
        again[0] *= 2


def test_an_igniter_that_changes_after_two_starts_has_its_own_turn() -> None:
    # A A B B: two dark and two that lit are one channel then, and every other start is no channel's turn.
    two = Model(bench(**{"igniter-every": 2}))
    one = Model(bench())
    pairs, every = told("?0 ?0 ?1 ?1 ?0 ?0 ?1 ?1"), told("?0 ?1 ?0 ?1 ?0 ?1 ?0 ?1")

    def one_channel(model: Model, starts: list[Start]) -> float:
        joint = Belief.before(model).starts(starts).joint.sum(axis=model.axis["shared"])
        return float(joint[0, 1:].sum() + joint[1:, 0].sum())

    assert one_channel(two, pairs) > 0.9 > one_channel(one, pairs)
    assert one_channel(one, every) > 0.9 > one_channel(two, every)


def test_which_lane_failed_is_told_where_lanes_are() -> None:
    model = Model(bench(lanes=True))
    starts = told("A0:1 B0:1 A1:2 B1:2 A0:1 B0:1 A1:2 B1:2")
    found = by_lane(model, starts, model.prior())
    belief = Belief.before(model).starts(starts)
    assert found["1"] > 0.9 > 0.01 > found["2"]
    assert sum(found.values()) == pytest.approx(float(belief.zone("shared")[1]), rel=1e-9)
    assert by_lane(model, told("A0 B0"), model.prior()) == {}, "no lane told, none named"
    assert by_lane(Model(bench()), told("A0:1 B0:1"), Model(bench()).prior()) == {}, "no such fault on this engine"


def test_a_dead_channel_hides_behind_the_other_and_its_onset_shows_nothing() -> None:
    model = Model(bench("by-hand"))
    starts = told("*1 *1 A1 *1 A1 A1")
    belief = Belief.before(model).starts(starts)
    before = Belief.before(model).zone("channel/B")[1]
    assert float(belief.zone("channel/B")[1]) == pytest.approx(float(before), rel=0.05)
    assert float(belief.zone("channel/A")[1]) < 0.4 * float(before)
    # It may have come at any of them; by far the most likely is that it was there before them all.
    assert onset(model, starts, belief.joint, "channel/B")[0] > 0.9
    states = {"channel/A": "healthy", "channel/B": "dead", "shared": "healthy"}
    healthy = {**states, "channel/B": "healthy"}
    assert weigh(model.fitted, states, starts) == pytest.approx(weigh(model.fitted, healthy, starts), rel=0.1)


def test_dating_a_fault_keeps_the_tables_of_one_start_only() -> None:
    model = Model(bench())
    chain = history._Chain(model, tuple(Start("unknown", i % 3 > 0) for i in range(40)), dated="channel/A")
    chain.run()
    assert {key[0] for key in chain._results} == {39}

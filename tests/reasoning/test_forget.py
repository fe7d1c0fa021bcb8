"""Forgetting: one step of a Markov chain along each zone, held against a sum written out over every pair of states."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.forget import forget, share_kept
from tests.reasoning.test_belief import small


@pytest.fixture(scope="module")
def model() -> Model:
    return Model(small())


@pytest.fixture(scope="module")
def joint(model: Model) -> np.ndarray:
    belief = Belief.before(model).answer("look/A", "bad").answer("ear/B", "poor").repair("change/A")
    return belief.answer("look/A", "poor").joint


def by_pairs(model: Model, joint: np.ndarray, kept: dict[str, float]) -> np.ndarray:
    """Sum over what each zone was: it stays with its share, else it is drawn from its prior."""
    found = np.zeros_like(joint)
    for was in itertools.product(*(range(n) for n in joint.shape)):
        for now in itertools.product(*(range(n) for n in joint.shape)):
            step = 1.0
            for key, i, j in zip(model.zones, was, now, strict=True):
                share = kept.get(key, 1.0)
                step *= share * (i == j) + (1 - share) * model.fitted.zones[key].prior[j]
            found[now] += joint[was] * step
    return found


def test_it_is_a_step_of_a_chain_along_each_zone(model: Model, joint: np.ndarray) -> None:
    for kept in (dict.fromkeys(model.zones, 0.7), {"channel/A": 0.0, "shared": 0.4}, {"channel/B": 1.0}, {}):
        assert forget(joint, model, kept) == pytest.approx(by_pairs(model, joint, kept), abs=1e-14)


def test_nothing_forgotten_leaves_it_and_all_forgotten_is_the_prior(model: Model, joint: np.ndarray) -> None:
    assert np.array_equal(forget(joint, model, dict.fromkeys(model.zones, 1.0)), joint)
    assert forget(joint, model, dict.fromkeys(model.zones, 0.0)) == pytest.approx(model.prior(), abs=1e-14)


def test_two_gaps_are_one_gap_of_both(model: Model, joint: np.ndarray) -> None:
    one, two = (dict.fromkeys(model.zones, share_kept(days, 60.0)) for days in (12.0, 33.0))
    both = dict.fromkeys(reversed(model.zones), share_kept(45.0, 60.0))
    assert forget(forget(joint, model, one), model, two) == pytest.approx(forget(joint, model, both), abs=1e-14)
    assert forget(joint, model, one) != pytest.approx(forget(joint, model, both), abs=1e-6)


def test_what_it_is_given_stays_as_it_was(model: Model, joint: np.ndarray) -> None:
    before = joint.copy()
    forget(joint, model, dict.fromkeys(model.zones, 0.5))
    assert np.array_equal(joint, before)


def test_half_is_kept_after_the_half_life() -> None:
    assert share_kept(60.0, 60.0) == pytest.approx(0.5)
    assert share_kept(0.0, 60.0) == 1.0 == share_kept(-3.0, 60.0)
    # Twelve days of a half-life of sixty: 2 ** -0.2.
    assert share_kept(12.0, 60.0) == pytest.approx(0.8706, abs=5e-5)


@pytest.mark.parametrize("kept", [{"channel/C": 0.5}, {"shared": 1.01}, {"shared": -0.1}, {"shared": float("nan")}])
def test_a_zone_or_share_that_is_none_is_refused(model: Model, joint: np.ndarray, kept: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="zone"):
        forget(joint, model, kept)

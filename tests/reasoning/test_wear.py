"""What ages do to the joint: unknown ages change nothing, one age ties its zones, no age rules anything in or out.

The integrals themselves are checked in tests/published/test_wear.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from isolate.kb.fit import Fitted
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.wear import MOST, STRAY, Age, parts, relative, shifts, weight
from tests.reasoning.wearing import engine

PLUGS = Age("plug", together=True)


@pytest.fixture(scope="module")
def small() -> Model:
    return Model(engine())


@pytest.fixture(scope="module")
def boxed() -> Model:
    return Model(engine(box=True))


def after(model: Model, *ages: Age) -> np.ndarray:
    return np.asarray(model.prior() * weight(model, ages))


def of(model: Model, joint: np.ndarray, **states: str) -> float:
    """P(these states), zones by their letter, or `shared`."""
    at: list[object] = []
    for key in model.zones:
        zone = model.fitted.zones[key]
        wanted = states.get(zone.channel or "shared")
        at.append(slice(None) if wanted is None else zone.states.index(wanted))
    return float(joint[tuple(at)].sum())


def test_nothing_told_is_exactly_the_prior(small: Model) -> None:
    assert (after(small) == small.prior()).all()


@pytest.mark.parametrize("least", [None, 0.0])
@pytest.mark.parametrize("most", [3000.0, 25_000.0])
def test_limits_that_hold_every_age_in_service_say_nothing(small: Model, least: float | None, most: float) -> None:
    joint = after(small, Age("plug", "A", "starts", least, most))
    assert joint == pytest.approx(small.prior(), rel=1e-9)


def test_plugs_fitted_at_once_at_an_unknown_age_are_tied_and_each_is_as_likely_as_before(small: Model) -> None:
    prior, joint = small.prior(), after(small, PLUGS)
    for axis in range(joint.ndim):
        others = tuple(i for i in range(joint.ndim) if i != axis)
        assert joint.sum(axis=others) == pytest.approx(prior.sum(axis=others), rel=1e-12)
    assert of(small, joint, A="worn", B="worn") > 1.5 * of(small, prior, A="worn", B="worn")
    # What does not come with age is not tied.
    assert of(small, joint, A="wet", B="wet") == pytest.approx(of(small, prior, A="wet", B="wet"), rel=1e-12)
    # So finding one worn speaks for the other.
    a = small.fitted.zones["channel/A"].states.index("worn")
    belief = Belief.before(small).weighed(weight(small, [PLUGS])).weighed(small.along("channel/A", np.eye(5)[a]))
    assert belief.zone("channel/B")[a] > 1.5 * small.fitted.zones["channel/B"].prior[a]


def test_one_age_within_narrow_limits_ties_nothing(small: Model) -> None:
    joint = after(small, Age("plug", "", "starts", 2500.0, 2500.0, True))
    both, one = of(small, joint, A="worn", B="worn"), of(small, joint, A="worn")
    assert both == pytest.approx(one * of(small, joint, B="worn"), rel=1e-12)
    alone = after(small, Age("plug", "A", "starts", 2500.0, 2500.0))
    assert one == pytest.approx(of(small, alone, A="worn"), rel=1e-9)
    assert of(small, alone, B="worn") == pytest.approx(of(small, small.prior(), B="worn"), rel=1e-12)


def test_the_older_the_likelier_and_other_parts_stay_as_they_are(small: Model) -> None:
    found = [after(small, Age("plug", "A", "starts", a, a)) for a in (0.0, 500.0, 1500.0, 2900.0, 6000.0)]
    for joint in found:
        assert joint.sum() == pytest.approx(1, abs=1e-12) and (joint > 0).all()
        assert of(small, joint, A="wet") == pytest.approx(0.03, rel=1e-12)
        assert of(small, joint, A="aged") == pytest.approx(0.01, rel=1e-12)
    worn = [of(small, joint, A="worn") for joint in found]
    assert worn == sorted(worn) and len(set(worn)) == 5
    assert worn[0] == pytest.approx(0.02 * STRAY, rel=1e-12), "a new plug is hardly ever worn, and not never"


def test_the_factor_is_the_hazard_over_its_mean_but_for_ages_of_another_part(small: Model) -> None:
    part = parts(small.fitted)["plug"]
    times = relative(part, np.array([2000.0]))["worn"][0]
    joint = after(small, Age("plug", "B", "starts", 2000.0, 2000.0))
    assert of(small, joint, B="worn") == pytest.approx(0.02 * (STRAY + (1 - STRAY) * times), rel=1e-12)


def test_ages_of_several_parts_are_taken_together(small: Model) -> None:
    ages = [PLUGS, Age("lead", "A", "hours", 20_000.0, 22_000.0), Age("lead", "B", "hours", None, 100.0)]
    joint = after(small, *ages)
    assert joint.sum() == pytest.approx(1, abs=1e-12)
    for channel, lead in (("A", ages[1]), ("B", ages[2])):
        alone = after(small, lead)
        assert of(small, joint, **{channel: "aged"}) == pytest.approx(of(small, alone, **{channel: "aged"}), rel=1e-9)
    assert after(small, *reversed(ages)) == pytest.approx(joint, rel=1e-12)


def test_one_box_for_both_channels_has_one_age_for_all_its_faults(boxed: Model) -> None:
    assert parts(boxed.fitted)["exciter"].shared and not parts(boxed.fitted)["plug"].shared
    prior, joint = boxed.prior(), after(boxed, Age("exciter", "", "hours", 5000.0, None))
    assert joint.shape == boxed.shape and joint.sum() == pytest.approx(1, abs=1e-12)
    one = of(boxed, joint, A="output-dead")
    assert one > of(boxed, prior, A="output-dead")
    assert of(boxed, joint, A="output-dead", B="output-dead") > one**2
    assert of(boxed, joint, A="output-dead", shared="box-weak") > one * of(boxed, joint, shared="box-weak")


def test_plugs_leads_and_box_at_once_are_summed_as_point_by_point(boxed: Model) -> None:
    """By brute force over the same points: products of the zones' rows, added up in a loop."""
    from isolate.reasoning.wear import spread

    ages = [PLUGS, Age("exciter", "", "hours", 8000.0, None)]
    found = after(boxed, *ages)
    fitted, wearing = boxed.fitted, parts(boxed.fitted)
    grids = [spread(wearing[a.part], a.least, a.most) for a in ages]
    times = [relative(wearing[a.part], grid[0]) for a, grid in zip(ages, grids, strict=True)]
    joint = np.zeros(boxed.shape)
    for i, wi in enumerate(grids[0][1]):
        plug = {s: STRAY + (1 - STRAY) * t[i] / (t @ grids[0][1]) for s, t in times[0].items()}
        for j, wj in enumerate(grids[1][1]):
            box = {s: STRAY + (1 - STRAY) * t[j] for s, t in times[1].items()}
            rows = []
            for zone in fitted.zones.values():
                row = [p * (plug | box).get(s, 1.0) for s, p in zip(zone.states, zone.prior, strict=True)]
                rows.append(np.array([1 - sum(row[1:]), *row[1:]]))
            joint += wi * wj * np.einsum("a,b,c->abc", *rows)
    assert found == pytest.approx(joint, rel=1e-9)


def test_however_old_the_faults_of_a_zone_stay_below_their_bound_and_it_is_said() -> None:
    fitted = engine(worn=0.2)
    model = Model(fitted)
    for age in (2000.0, 6000.0, 29_000.0):
        told = [Age("plug", "", "starts", age, age, True), Age("lead", "A", "hours", 100_000.0, 110_000.0)]
        joint = after(model, *told)
        assert joint.sum() == pytest.approx(1, abs=1e-12) and (joint > 0).all()
        assert 1 - of(model, joint, A="healthy") < MOST + 1e-12
    (worn,) = (s for s in shifts(fitted, Age("plug", "A", "starts", 29_000.0, 29_000.0)) if s.mode == "worn/A")
    (seized,) = (s for s in shifts(fitted, Age("plug", "A", "starts", 29_000.0, 29_000.0)) if s.mode == "seized/A")
    assert worn.held and seized.held and worn.times > seized.times > 1
    assert not any(s.held for s in shifts(fitted, Age("plug", "A", "starts", 1500.0, 1500.0)))


def test_parts_left_in_beyond_their_renewal_are_weighed_by_who_is_left(small: Model) -> None:
    """Past the renewal the survival goes on: at least 4,000 starts is not four thousand for ever."""
    part = parts(small.fitted)["plug"]
    at_least = after(small, Age("plug", "A", "starts", 4000.0, None))
    at_once = after(small, Age("plug", "A", "starts", 4000.0, 4000.0))
    assert of(small, at_least, A="worn") > of(small, at_once, A="worn")
    assert np.isfinite(at_least).all() and part.absurd == 30_000


def test_the_table_is_kept_and_cannot_be_changed(small: Model) -> None:
    table = weight(small, [PLUGS])
    assert weight(small, (PLUGS,)) is table
    with pytest.raises(ValueError):
        table[...] = 0


def test_what_a_shift_says_is_what_the_joint_does(boxed: Model) -> None:
    fitted: Fitted = boxed.fitted
    for age in (PLUGS, Age("plug", "", "starts", 500.0, 2800.0, True), Age("exciter", "", "hours", None, 9000.0)):
        joint, prior = after(boxed, age), boxed.prior()
        found = {s.mode: s for s in shifts(fitted, age)}
        for mode, shift in found.items():
            zone = fitted.zones[fitted.mode_zone[mode]]
            where = {zone.channel or "shared": mode.partition("/")[0]}
            assert of(boxed, joint, **where) / of(boxed, prior, **where) == pytest.approx(shift.times, rel=1e-9)
        a = "worn" if age.part == "plug" else "output-dead"
        one = of(boxed, joint, A=a)
        assert of(boxed, joint, A=a, B=a) / one**2 == pytest.approx(found[f"{a}/A"].tied, rel=1e-9)

"""One figure changed: the profile is the one that the changed YAML gives, and nothing else of it moves."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted, UnknownName, fit
from isolate.kb.load import load, shipped
from isolate.kb.model import FLOOR
from isolate.review.altered import Likelihood, Prior, altered, bounds, checks_of, figures_of, row_with, value_of

SNAPS = Likelihood("spark-test", "snaps", "channel", "igniter-worn")


@given(
    st.lists(st.floats(0.001, 1.0), min_size=2, max_size=6),
    st.integers(0, 5),
    st.floats(FLOOR, 0.999),
)
def test_a_row_with_a_figure_set_sums_to_one_and_keeps_its_floor(weights: list[float], at: int, value: float) -> None:
    total = sum(weights)
    row, at = [w / total for w in weights], at % len(weights)
    found = row_with(row, at, value)
    assert sum(found) == pytest.approx(1.0) and min(found) >= FLOOR * (1 - 1e-9)
    assert found[at] == pytest.approx(value, abs=1e-12)
    others = [(a, b) for i, (a, b) in enumerate(zip(row, found, strict=True)) if i != at and b > 1.1 * FLOOR]
    # What is well above the floor keeps its proportions, but for what the floor took.
    for (a, b), (c, d) in pairwise(others):
        assert b / d == pytest.approx(a / c, rel=0.05) or min(found) < 3 * FLOOR


def test_a_prior_changed_is_the_one_of_changed_yaml(hf3: Fitted, tmp_path: Path) -> None:
    # Outside check: the same figure changed in the file, and read from there.
    folder = tmp_path / "knowledge"
    for path in shipped().rglob("*.yaml"):
        target = folder / path.relative_to(shipped())
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())
    zones = folder / "zones" / "channel.yaml"
    text = zones.read_text(encoding="utf-8")
    begun = text.index("      igniter-worn:")
    changed = text[:begun] + re.sub(r"prior: [0-9.e-]+", "prior: 0.0123", text[begun:], count=1)
    zones.write_text(changed, encoding="utf-8")
    written = fit(load(folder).knowledge, "halden-hf-3")
    found = altered(hf3, Prior("igniter-worn"), 0.0123)
    for key, zone in written.zones.items():
        assert found.zones[key].prior == pytest.approx(zone.prior)
    assert found.checks == hf3.checks


def test_only_the_figure_and_its_row_move(hf3: Fitted) -> None:
    found = altered(hf3, SNAPS, 0.8)
    at = hf3.zones["channel/A"].states.index("igniter-worn")
    for key, check in hf3.checks.items():
        for zone, rows in check.given.items():
            new = found.checks[key].given[zone]
            own = check.name == "spark-test" and hf3.zones[zone].channel == check.channel
            for i, (before, after) in enumerate(zip(rows, new, strict=True)):
                if own and i == at:
                    assert after[check.outcomes.index("snaps")] == pytest.approx(0.8)
                    assert sum(after) == pytest.approx(1.0)
                else:
                    assert after == before, (key, zone, i)
    assert found.zones == hf3.zones
    assert value_of(found, SNAPS) == pytest.approx(0.8)


def test_one_channel_by_itself(hf3: Fitted) -> None:
    one = Likelihood("spark-test", "snaps", "channel", "igniter-worn", "B")
    found = altered(hf3, one, 0.8)
    assert checks_of(hf3, one) == ("spark-test/B",)
    assert found.checks["spark-test/A"] == hf3.checks["spark-test/A"]
    assert found.checks["spark-test/B"] != hf3.checks["spark-test/B"]
    prior = altered(hf3, Prior("igniter-worn", "B"), 0.02)
    assert prior.zones["channel/A"] == hf3.zones["channel/A"] and sum(prior.zones["channel/B"].prior) == pytest.approx(
        1
    )


def test_a_figure_stays_within_its_bounds(hf3: Fitted) -> None:
    for figure in (SNAPS, Prior("igniter-worn")):
        least, most = bounds(hf3, figure)
        for asked, got in ((0.0, least), (1.0, most)):
            assert value_of(altered(hf3, figure, asked), figure) == pytest.approx(got, rel=1e-6)
    assert min(altered(hf3, Prior("igniter-worn"), 1.0).zones["channel/A"].prior) > 0


@pytest.mark.parametrize(
    ("figure", "says"),
    [
        (Likelihood("spark-tset", "snaps", "channel", "healthy"), "did you mean spark-test"),
        (Likelihood("spark-test", "snap", "channel", "healthy"), "did you mean snaps"),
        (Likelihood("spark-test", "snaps", "channel", "healthy", "C"), "not for 'C'"),
        (Likelihood("spark-test", "snaps", "engine", "igniter-worn"), "does not look at igniter-worn"),
        (Prior("igniter-wron"), "did you mean igniter-worn"),
        (Prior("igniter-worn", "C"), "igniter-worn/A, igniter-worn/B"),
        (Prior("healthy"), "no fault mode"),
    ],
)
def test_what_there_is_not_gets_a_sentence(hf3: Fitted, figure: Likelihood | Prior, says: str) -> None:
    with pytest.raises(UnknownName, match=says):
        value_of(hf3, figure)


def test_the_model_of_a_changed_figure_is_the_one_made_anew(kit: Kit) -> None:
    """What is kept from the model before is only what the change leaves as it was."""
    for check, condition in (("spark-test/B", "hot"), ("lead-continuity/B", "steady"), ("spark-count/B", "hot")):
        kit.model.likelihood(check, condition)  # type: ignore[arg-type]
    got = {"spark-test/B": (0,), "spark-count/B": (0,)}
    kit.model.together(got, "hot", 1.0, None)
    changed = altered(kit.fitted, SNAPS, 0.8)
    model, anew = kit.model.altered(changed, checks_of(kit.fitted, SNAPS)), Kit(changed).model
    assert np.array_equal(model.likelihood("spark-test/B", "hot"), anew.likelihood("spark-test/B", "hot"))
    assert not np.array_equal(model.likelihood("spark-test/B", "hot"), kit.model.likelihood("spark-test/B", "hot"))
    assert np.allclose(model.together(got, "hot", 1.0, None), anew.together(got, "hot", 1.0, None))
    assert not np.allclose(model.together(got, "hot", 1.0, None), kit.model.together(got, "hot", 1.0, None))
    assert model.likelihood("lead-continuity/B") is kit.model.likelihood("lead-continuity/B")


def test_the_figures_of_an_answer_are_those_of_all_that_it_looks_at(hf3: Fitted) -> None:
    found = figures_of(hf3, {"spark-test/B": ["snaps"]})
    assert SNAPS in found and {f.zone for f in found} == set(load().knowledge.checks["spark-test"].given)
    assert all(f.outcome == "snaps" for f in found) and len(set(found)) == len(found)

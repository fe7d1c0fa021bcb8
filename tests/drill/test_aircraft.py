"""The aircraft of a drill: what it shows comes as often as the knowledge says, and it is the same for everybody."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from scipy.stats import chisquare

from isolate.case.chase import Kit
from isolate.drill.aircraft import Simulated
from isolate.kb.fit import UnknownName
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Setting

SEEDS = range(1500)
UNLIKELY = 1e-3
"""A p-value below this is no chance; the seeds are fixed, so a test that passes passes always."""


def chances(kit: Kit, check: str, truth: dict[str, str], condition: str, strength: float) -> np.ndarray:
    """Return P(outcome | truth) from the knowledge's own table, the switch of an intermittent not known."""
    where = kit.model.setting(check, condition, strength)  # type: ignore[arg-type]
    table = kit.model.likelihood(check, *where[:2])
    at = [
        0 if n == 1 else kit.fitted.zones[z].states.index(truth.get(z, HEALTHY))
        for z, n in zip(kit.model.zones, table.shape[1:], strict=True)
    ]
    return np.array([float(outcome[tuple(at)]) for outcome in table])


def fits(counts: Counter[str | None], outcomes: tuple[str, ...], p: np.ndarray) -> float:
    """Return the p-value of counts by chi-squared (Pearson 1900), outcomes expected under 5 times taken together."""
    n = sum(counts.values())
    had = np.array([counts[o] for o in outcomes], dtype=float)
    rare = p * n < 5
    if rare.any() and not rare.all():
        had = np.append(had[~rare], had[rare].sum())
        p = np.append(p[~rare], p[rare].sum())
        if p[-1] * n < 0.05:
            assert had[-1] <= 3
            had, p = had[:-1], p[:-1]
    return float(chisquare(had, n * p / p.sum() * had.sum() / n).pvalue) if len(p) > 1 else 1.0


CASES = [
    ("spark-test/A", "igniter-worn/A", "steady", 1.0),
    ("spark-test/A", "lead-chafed/A", "vibrating", 1.0),
    ("spark-test/A", "exciter-fails-hot/A", "hot", 0.6),
    ("spark-test/A", "lead-cavity-wet/A", "wet", 1.0),
    ("lead-insulation/A", "lead-tracked/A", "cold", 1.0),
    ("plug-tip-look/A", "igniter-worn/A", "steady", 1.0),
    ("plug-age-read/A", "igniter-worn/A", "steady", 1.0),
    ("light-time-told", "fuel-late", "steady", 1.0),
    ("crank-speed-read", "cranking-slow", "steady", 1.0),
    ("feeder-volts/A", "feeder-resistive/A", "steady", 1.0),
]


@pytest.mark.parametrize(("check", "mode", "condition", "strength"), CASES)
def test_answers_are_as_frequent_as_the_knowledge_says(
    kit: Kit, check: str, mode: str, condition: str, strength: float
) -> None:
    zone = kit.fitted.mode_zone[mode]
    counts: Counter[str | None] = Counter()
    for seed in SEEDS:
        aircraft = Simulated(kit.model, [mode], seed)
        aircraft.where = lambda: Setting(condition, strength)  # type: ignore[arg-type]
        counts[aircraft.outcome(check, "check")] += 1
    p = chances(kit, check, {zone: mode.partition("/")[0]}, condition, strength)
    outcomes = tuple(kit.fitted.check(check).outcomes)
    assert fits(counts, outcomes, p) > UNLIKELY, (counts, p)
    # And the test would see it if they were not: the same counts against the figures of a sound aircraft.
    sound = chances(kit, check, {}, condition, strength)
    assert fits(counts, outcomes, sound) < UNLIKELY


def test_a_repair_clears_and_disturbs_as_often_as_the_knowledge_says(kit: Kit) -> None:
    repair = "replace-igniter/A"
    fit = kit.fitted.repair(repair)
    zone = kit.fitted.zones["channel/A"]
    after: Counter[str | None] = Counter()
    for seed in SEEDS:
        aircraft = Simulated(kit.model, ["igniter-worn/A"], seed)
        aircraft.repaired(repair)
        after[aircraft.truth["channel/A"]] += 1
    p = kit.model.transition(fit, "channel/A")[zone.states.index("igniter-worn")]
    assert fits(after, zone.states, np.asarray(p)) > UNLIKELY


def test_it_is_the_same_aircraft_whatever_was_asked_before(kit: Kit) -> None:
    for seed in range(40):
        one, other = (Simulated(kit.model, ["lead-chafed/A"], seed) for _ in range(2))
        asked = ["spark-test/A", "lead-continuity/A", "crew-ask", "plug-tip-look/A", "spark-test/B"]
        first = {check: one.outcome(check, "check") for check in asked}
        assert {check: other.outcome(check, "check") for check in reversed(asked)} == first
    shown = {tuple(Simulated(kit.model, ["lead-chafed/A"], s).outcome(c, "") for c in asked) for s in range(40)}
    assert len(shown) > 10, "another seed is another aircraft"


def test_what_shows_shows_for_the_occasion_and_may_sleep_on_another(kit: Kit) -> None:
    agree: Counter[bool] = Counter()
    again: Counter[bool] = Counter()
    for seed in range(400):
        aircraft = Simulated(kit.model, ["lead-chafed/A"], seed)
        heard = []
        for occasion in (0, 0, 1):
            aircraft.where = lambda o=occasion: Setting("vibrating", 1.0, o)  # type: ignore[misc]
            heard.append(aircraft.outcome("spark-test/A", "check"))
        agree[heard[0] == heard[1]] += 1
        again[heard[0] == heard[2]] += 1
    assert agree[True] > again[True] + 40, "just shaken it shows again; another hour may be another thing"


def test_a_scripted_answer_comes_first_until_a_repair_changes_what_it_looks_at(kit: Kit) -> None:
    outcomes = kit.fitted.check("plug-tip-look/A").outcomes
    aircraft = Simulated(kit.model, ["igniter-worn/A"], 3, {"plug-tip-look/A": [None, outcomes[0]], "crew-ask": None})
    assert aircraft.outcome("plug-tip-look/A", "check") is None
    assert aircraft.outcome("plug-tip-look/A", "check") == outcomes[0]
    assert aircraft.outcome("plug-tip-look/A", "check") == outcomes[0]
    aircraft.repaired("replace-igniter/A")
    assert "plug-tip-look/A" not in aircraft.script


def test_a_truth_that_cannot_be_is_refused(kit: Kit) -> None:
    with pytest.raises(UnknownName, match="igniter-warn"):
        Simulated(kit.model, ["igniter-warn/A"], 1)
    with pytest.raises(ValueError, match="two faults of one zone"):
        Simulated(kit.model, ["igniter-worn/A", "lead-open/A"], 1)

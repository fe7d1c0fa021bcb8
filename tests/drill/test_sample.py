"""Cases drawn forwards from the model: what shows, what is said again, how far beliefs about them can be trusted."""

from __future__ import annotations

import math

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.drill.sample import Drawn
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Belief, Setting
from tests.bench.calibration import block, table


def drawn(kit: Kit, seed: int, **truth: str) -> Drawn:
    zones = {"a": "channel/A", "b": "channel/B"}
    told = dict.fromkeys(kit.fitted.zones, HEALTHY) | {zones.get(z, z): s for z, s in truth.items()}
    return Drawn(kit.model, told, np.random.default_rng(seed))


def test_answers_come_as_often_as_the_knowledge_says(kit: Kit) -> None:
    n = 3000
    for check, setting in (("spark-test/A", Setting("vibrating")), ("lead-insulation/A", Setting("hot"))):
        aircraft = drawn(kit, 7, a="lead-chafed")
        index = kit.fitted.zones["channel/A"].states.index("lead-chafed")
        model = kit.model.likelihood(check, *setting[:2])
        chances = model[(slice(None), *(index if z == "channel/A" and k > 1 else 0 for z, k in
                                        zip(kit.model.zones, model.shape[1:], strict=True)))]
        counts = dict.fromkeys(kit.fitted.checks[check].outcomes, 0)
        for occasion in range(n):
            aircraft.worked({"channel/A"})
            counts[aircraft.outcome(check, setting._replace(occasion=occasion))] += 1
        for outcome, chance in zip(counts, chances, strict=True):
            spread = math.sqrt(chance * (1 - chance) / n)
            assert counts[outcome] / n == pytest.approx(chance, abs=4 * spread + 1e-3), (check, outcome)


def test_what_sleeps_sleeps_for_the_occasion_and_what_flickers_does_not(kit: Kit) -> None:
    def agree(mode: str, same: bool) -> float:
        found = 0
        for seed in range(600):
            aircraft = drawn(kit, seed, a=mode)
            one = aircraft.shows("channel/A", ("steady", 1.0, None), 0)
            found += one == aircraft.shows("channel/A", ("steady", 1.0, None), 0 if same else 1)
        return found / 600

    assert agree("lead-chafed", same=True) == 1.0
    assert agree("lead-chafed", same=False) == pytest.approx(0.35**2 + 0.65**2, abs=0.08)
    # It has no switch: each answer is drawn anew.
    assert agree("switch-failed", same=False) == 1.0


def test_a_check_that_does_not_repeat_says_the_same_until_something_is_done(kit: Kit) -> None:
    aircraft = drawn(kit, 3, a="igniter-worn")
    said = {aircraft.outcome("plug-tip-look/A", Setting()) for _ in range(30)}
    assert len(said) == 1
    found = set()
    for _ in range(60):
        aircraft.worked({"channel/A"})
        found.add(aircraft.outcome("plug-tip-look/A", Setting()))
    assert len(found) > 1


def test_starts_light_as_often_as_the_belief_expects(kit: Kit) -> None:
    aircraft = drawn(kit, 11, a="igniter-worn")
    lit = sum(aircraft.lights("A", "steady") for _ in range(2000)) / 2000
    zones = kit.fitted.zones
    expected = 0.25 * zones["shared"].lights[0] * zones["engine"].lights[0]
    assert lit == pytest.approx(expected, abs=0.04)
    assert all(aircraft.lights("B", "steady") for _ in range(50)) or expected < 1


def test_what_is_believed_of_drawn_cases_is_so_about_as_often() -> None:
    """The whole run is ``python -m tests.bench.calibration``; here so few cases that only a gross fault shows."""
    found = block("halden-hf-3", 1, range(60), 1.0)
    said, so = sum(p for p, _, _ in found), sum(s for _, s, _ in found)
    spread = math.sqrt(sum(p * (1 - p) for p, _, _ in found))
    assert so == pytest.approx(said, abs=3.5 * spread)
    rows, error = table(found)
    assert sum(count for count, _, _ in rows) == len(found) and error < 0.05


def test_a_belief_with_activity_off_is_another_one(kit: Kit) -> None:
    from isolate.reasoning.belief import Model

    always = Model(kit.fitted, activity=False)
    index = kit.fitted.zones["channel/A"].states.index("exciter-fails-hot")
    slept, dead = (Belief.before(m).answer("spark-test/A", "snaps", "cold").zone("channel/A")[index]
                   for m in (kit.model, always))
    assert slept > 5 * dead

"""Torque and preload against published tables and the mechanics of a screw.

Sources: T = K·D·F with K about .20 dry or zinc-plated, .15 lightly oiled, .12 with an anti-seize compound, several
engineering tables after Shigley and Machinery's Handbook [published]; K from the friction of thread and bearing face,
Shigley, *Mechanical Engineering Design*, with its remark that f = .15 gives about .20 whatever the size [memory];
metric thread geometry, ISO 68-1 and ISO 261 [memory].
"""

from __future__ import annotations

import math

import pytest

from isolate.calc.given import read
from isolate.calc.preload import CALCULATION, FACTORS, preload


def test_the_factors_are_the_tables() -> None:
    assert FACTORS == {"dry": 0.20, "oiled": 0.15, "compound": 0.12}


def test_compound_gives_about_two_thirds_more_than_dry() -> None:
    found = CALCULATION.work(read(CALCULATION, {"torque": "25 N·m", "found": "compound", "called": "dry"}))
    ratio = next(f for f in found.figures if f.name == "ratio")
    assert ratio.value == pytest.approx(1 + 2 / 3, abs=0.01)
    assert found.judged[""].verdict == "overloads"


def screw(diameter_mm: float, pitch_mm: float, friction: float) -> float:
    """Return K from friction: (dm/2d)·(tan λ + f·sec α)/(1 − f·tan λ·sec α) + 0.625·f, α half the thread's angle."""
    mean = diameter_mm - 0.6495 * pitch_mm
    lead, secant = math.tan(math.atan(pitch_mm / (math.pi * mean))), 1 / math.cos(math.radians(30))
    thread = (lead + friction * secant) / (1 - friction * lead * secant)
    return mean / (2 * diameter_mm) * thread + 0.625 * friction


@pytest.mark.parametrize(("diameter", "pitch"), [(10, 1.0), (12, 1.25), (14, 1.25), (18, 1.5), (24, 2.0)])
def test_the_dry_factor_is_that_of_a_screw_with_a_friction_of_015(diameter: float, pitch: float) -> None:
    force = 40.0 / (screw(diameter, pitch, 0.15) * diameter / 1000)
    assert preload(40.0, diameter / 1000, FACTORS["dry"]) == pytest.approx(force, rel=0.06)


@pytest.mark.parametrize(("diameter", "pitch"), [(12, 1.25), (18, 1.5)])
def test_less_friction_works_the_way_of_the_table(diameter: float, pitch: float) -> None:
    """Oiled and compound lie where a friction between .08 and .12 puts a screw."""
    low, high = screw(diameter, pitch, 0.08), screw(diameter, pitch, 0.12)
    assert low - 0.01 <= FACTORS["compound"] < FACTORS["oiled"] <= high

"""Breakdown of air against figures outside the project, each with its source."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from isolate.calc.gap import FAR, JOIN, KIND, LEAST_AT, TORR_CM, A, B, breakdown


def at(torr_cm: float) -> float:
    return float(breakdown(torr_cm * TORR_CM, 1.0))


def test_the_least_breakdown_voltage_of_air() -> None:
    """[memory] Paschen's minimum for air: about 327 V at about 0.567 Torr·cm."""
    products = np.geomspace(0.05, 20, 4000)
    volts = breakdown(products * TORR_CM, 1.0)
    assert float(volts.min()) == pytest.approx(327, abs=1)
    # [published law] With Townsend's coefficients the least lies at V/B, whatever γ: with 365 that is 0.90, not 0.567.
    assert pytest.approx(327 / B, rel=1e-3) == LEAST_AT
    assert 0.5 < LEAST_AT / 0.567 < 2


def test_the_field_where_the_coefficients_end() -> None:
    """[memory] A = 15 and B = 365 per Torr·cm are given for air at 100 to 800 V/(cm·Torr)."""
    assert (A, B) == (15, 365)
    assert at(JOIN) / JOIN == pytest.approx(100, rel=0.08)
    assert 100 <= at(2.0) / 2.0 <= 800


@pytest.mark.parametrize("torr_cm", [20.0, 76.0, 228.0, 760.0, 2000.0])
def test_a_second_fit_to_measurements_in_an_even_field(torr_cm: float) -> None:
    """[memory] Another that is commonly given: V = 24.22·δd + 6.08·√(δd) kV, δ relative to 760 Torr at 20 °C, d cm."""
    density = torr_cm / 760
    assert at(torr_cm) == pytest.approx(1000 * (24.22 * density + 6.08 * sqrt(density)), rel=0.08)


def test_thirty_kilovolts_a_centimetre() -> None:
    """[common practice] Air at ground level breaks down at about 30 kV over a centimetre; over a millimetre at more for
    its length, some 4.5 kV [memory of the usual curves]."""
    assert float(breakdown(101325.0, 0.01)) == pytest.approx(30_000, rel=0.06)
    assert float(breakdown(101325.0, 0.001)) == pytest.approx(4_500, rel=0.06)


def test_what_is_assumed_covers_how_far_the_sources_are_apart() -> None:
    """Townsend's coefficients carried on beyond their range, as often done, and the two fits above lie within it."""
    for torr_cm in np.geomspace(20, FAR, 30):
        carried = B * torr_cm / (np.log(A * torr_cm) - np.log(327 * A / (np.e * B)))
        assert abs(float(carried) / at(float(torr_cm)) - 1) < KIND


def test_colder_and_denser_air_holds_more() -> None:
    """[gas law] At constant pressure the density goes as 1/T: half the absolute temperature is twice the pressure."""
    assert float(breakdown(1e5, 1.5e-3, 293.15 / 2)) == pytest.approx(float(breakdown(2e5, 1.5e-3)), rel=1e-12)

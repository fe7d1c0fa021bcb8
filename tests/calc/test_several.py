"""Several readings of one thing: the mean's standard deviation, and two that show the same."""

from __future__ import annotations

import numpy as np
import pytest

from isolate.calc.several import BEHIND, of_mean
from isolate.calc.units import Quantity, read
from tests.bench.electric_coverage import alike


def ohms(*typed: str) -> list[Quantity]:
    return [read(one, "resistance") for one in typed]


def test_the_standard_deviation_of_a_mean() -> None:
    """By hand: 1, 2, 3, 4 have s = sqrt(5/3); over sqrt(4)."""
    assert of_mean(ohms("1 Ω", "2 Ω", "3 Ω", "4 Ω")) == pytest.approx((5 / 3) ** 0.5 / 2)
    assert of_mean(ohms("3 Ω")) == 0
    assert of_mean(ohms("3 Ω", "3 Ω", "3 Ω")) == 0


def test_two_that_show_the_same_may_differ_behind_their_last_digit() -> None:
    assert of_mean(ohms("0.85 Ω", "0.85 Ω")) == pytest.approx(BEHIND * 0.01 / 2)
    # Where they do differ, or what they may be off by was told, they stand as they are.
    assert of_mean(ohms("0.85 Ω", "0.86 Ω")) == pytest.approx(0.005)
    assert of_mean(ohms("0.85 ± 0.01 Ω", "0.85 ± 0.01 Ω")) == 0


@pytest.mark.parametrize("noise", [0.5, 1.0, 3.0])
def test_two_readings_of_a_display_hold_the_truth(noise: float) -> None:
    """Noise in digits. Without the quarter of a digit they held 85 to 88 of 100 at half a digit to one and a half."""
    assert alike(noise, 400, np.random.default_rng(5)) >= 0.93

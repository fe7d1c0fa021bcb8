"""The interval that readings' errors give a result, against what can be worked out without drawing.

Published: JCGM 100:2008, 4.3.7 (a rectangular distribution has the variance a²/3) and JCGM 101:2008 (the method).
Worked out here: the sum of two like rectangular errors is triangular, that of many close to normal.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc.shape import Unfit
from isolate.calc.spread import spread
from isolate.calc.units import Quantity, read


def test_one_reading_loses_a_twentieth_of_its_width() -> None:
    found = spread(lambda x: 2 * x, read("10.0 V", "voltage"))
    assert found.value == 20 and (found.low, found.high) == pytest.approx((19.905, 20.095), abs=1e-4)


def test_two_like_readings_make_a_triangle() -> None:
    # P(|sum| <= c) = 1 - (2 - c)²/4 for errors within ±1: 95 % lies within 2 - 2·√0.05.
    half = 2 - 2 * sqrt(0.05)
    found = spread(lambda a, b: a - b, Quantity("voltage", 5, 1, "V"), Quantity("voltage", 3, 1, "V"))
    assert (found.low, found.high) == pytest.approx((2 - half, 2 + half), abs=0.02)


def test_many_like_readings_come_near_the_normal_law() -> None:
    readings = [Quantity("voltage", 0, 1, "V")] * 12  # their sum has the variance 12/3 = 4
    found = spread(lambda *x: sum(x), *readings)
    assert (found.low, found.high) == pytest.approx((-1.96 * 2, 1.96 * 2), rel=0.02)


def test_what_is_exact_adds_nothing_and_the_same_gives_the_same() -> None:
    reading = read("12 V ± 1 %", "voltage")
    assert spread(lambda v, r: v / r, reading, 4.0) == spread(lambda v, r: v / r, reading, 4.0)
    assert spread(lambda v: v**2, 3.0) == (9, 9, 9)


def test_nothing_is_drawn_below_what_exists() -> None:
    found = spread(lambda ohm: ohm, read("0.0 Ω", "resistance"))
    assert found.low == 0 and found.high == pytest.approx(0.05 * 0.975, abs=1e-4)


def test_a_bound_leaves_one_end_open() -> None:
    over, ohms = read(">500 MΩ", "resistance", beyond=True), read("100 Ω ± 10", "resistance")
    assert spread(lambda r: r / 2, over) == (2.5e8, 2.5e8, float("inf"))
    low, high = spread(lambda r: 1 / r, over)[1:]
    assert (low, high) == (0, pytest.approx(2e-9))
    both = spread(lambda a, b: a + b, over, ohms)
    assert both.low == pytest.approx(5e8 + 90, abs=1) and both.high == float("inf")
    assert spread(lambda r: r, read("OL", "resistance", beyond=True)).low == float("inf")


def test_no_figure_is_a_sentence() -> None:
    with pytest.raises(Unfit, match="gives no figure"):
        spread(np.sqrt, Quantity("voltage", 0, 1, "V"))


@given(
    st.floats(-1e6, 1e6, allow_subnormal=False),
    st.floats(0, 1e5, allow_subnormal=False),
    st.sampled_from([lambda x: x, lambda x: -x, lambda x: x * x, np.abs, np.cos, lambda x: np.exp(-x * x)]),
)
@settings(max_examples=60, deadline=None)
def test_the_result_lies_in_its_interval(value: float, within: float, work: object) -> None:
    found = spread(work, Quantity("voltage", value, within, "V"))  # type: ignore[arg-type]
    assert found.low <= found.value <= found.high


def test_coverage_in_miniature() -> None:
    """95 of 100, give or take what 400 cases leave to chance; measured in full by tests/bench/spread_coverage.py."""
    chance = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        truth = chance.uniform(10, 20, 2)
        a, b = (Quantity("voltage", t + chance.uniform(-1, 1), 1, "V") for t in truth)
        low, high = spread(lambda x, y: x / y, a, b)[1:]
        held += bool(low <= truth[0] / truth[1] <= high)
    # Binomial, 400 at 0.95: 99.9 % of counts lie within 366 to 393 (scipy.stats.binom).
    assert 366 <= held <= 393

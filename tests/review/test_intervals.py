"""Shares and spreads with their intervals, and when they say that the cases are too few.

Sources: Wilson, *Probable inference, the law of succession, and statistical inference*, JASA 22 (1927), through
``statsmodels`` [reference library]; Campbell and Gardner, *Calculating confidence intervals for some non-parametric
analyses*, BMJ 296 (1988): ranks 2 and 9 of ten, 6 and 15 of twenty for the median [memory, recomputed here from the
binomial].
"""

from __future__ import annotations

from math import comb
from statistics import quantiles

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from isolate.review.intervals import LEAST, around, percent, share, spread


@given(st.integers(1, 5000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_a_share_has_wilsons_interval(counted: tuple[int, int]) -> None:
    found = share(*counted)
    low, high = proportion_confint(*counted, alpha=0.05, method="wilson")
    assert found.low == pytest.approx(max(0.0, low), abs=1e-6)
    assert found.high == pytest.approx(min(1.0, high), abs=1e-6)
    assert found.few == (counted[1] < LEAST)


def test_wilsons_interval_by_hand() -> None:
    """3 of 10: (p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n) with z = 1.959964."""
    z, n, p = 1.959963985, 10, 0.3
    middle, half = p + z * z / (2 * n), z * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
    found = share(3, 10)
    assert found.low == pytest.approx((middle - half) / (1 + z * z / n), abs=1e-6)
    assert found.high == pytest.approx((middle + half) / (1 + z * z / n), abs=1e-6)
    assert found.said == "3 of 10: 30% (11 to 60%)"


@pytest.mark.parametrize(("n", "low", "high"), [(10, 2, 9), (20, 6, 15), (6, 1, 6)])
def test_the_median_lies_between_two_ranks(n: int, low: int, high: int) -> None:
    found = spread([float(rank) for rank in range(1, n + 1)])
    assert (found.low, found.high) == (low, high)
    # The two ranks hold it with 95% at least, and with the next ones in they would not.
    outside = [2 * sum(comb(n, k) for k in range(rank)) / 2**n for rank in (low, low + 1)]
    assert outside[0] <= 0.05 < outside[1]


def test_below_the_least_no_two_ranks_hold_the_median() -> None:
    assert 2 / 2**LEAST <= 0.05 < 2 / 2 ** (LEAST - 1)
    found = spread([1.0, 2, 3, 4, 100])
    assert (found.median, found.low, found.high, found.few) == (3, None, None, True)
    assert "too few to say" in found.said and "too few to say" in share(2, LEAST - 1).said


@given(st.lists(st.floats(0, 1e5), min_size=2, max_size=200))
def test_quartiles_are_those_of_the_standard_library(figures: list[float]) -> None:
    found = spread(figures)
    lower, middle, upper = quantiles(figures, n=4, method="inclusive")
    assert (found.lower, found.upper) == (round(lower, 2), round(upper, 2))
    assert found.median == pytest.approx(middle, abs=0.006)
    assert found.least == round(min(figures), 2) and found.most == round(max(figures), 2)


def test_nothing_says_so_and_more_than_all_is_refused() -> None:
    assert share(0, 0).share is None and spread([]).median is None
    assert share(0, 0).said == spread([]).said == "no case to say it of"
    with pytest.raises(ValueError, match="no share"):
        share(3, 2)


def test_a_share_short_of_all_is_not_shown_as_all() -> None:
    assert [percent(v) for v in (0, 0.001, 0.5, 0.999, 1)] == ["0%", "under 1%", "50%", "over 99%", "100%"]
    assert around(0.25, 0.1, 0.4) == "25% (10 to 40%)"
    assert around(0.2412, 0.2361, 0.2449) == "24.1% (23.6 to 24.5%)"

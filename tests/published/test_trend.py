"""Trend and rate against what stands outside the project: a handbook's worked example, and reference libraries."""

from __future__ import annotations

from math import comb, factorial

import pytest
from scipy.stats import chi2, norm, poisson
from statsmodels.stats.rates import confint_poisson

from isolate.review import trend
from isolate.review.trend import laplace

NIST = (5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0)
"""[memory] NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4: ten repair times of a system, watched to 1500."""


def test_the_handbooks_example() -> None:
    z, chance = laplace(NIST, 1500)
    assert z == pytest.approx(-1.33, abs=0.005), "[memory] as the handbook gives it"
    assert chance == pytest.approx(2 * norm.cdf(-1.33), abs=0.003), "[reference library] scipy"


def test_reversals_point_the_same_way() -> None:
    """[memory] The same page counts 33 of 45 reversals for the same times: improving, as the sign of z says."""
    gaps = [b - a for a, b in zip((0.0, *NIST), NIST, strict=False)]
    count = sum(gaps[i] < gaps[j] for i in range(len(gaps)) for j in range(i + 1, len(gaps)))
    assert (count, comb(len(gaps), 2)) == (33, 45)
    assert laplace(NIST, 1500)[0] < 0


@pytest.mark.parametrize("times", [(9.0, 9.5, 9.9, 8.7), (1.0, 2.0, 0.5, 3.0), (1.0, 4.0, 6.0, 9.0)])
def test_the_normal_figure_is_near_the_exact_one_for_the_fewest_times_spoken_of(times: tuple[float, ...]) -> None:
    """The sum of r times is Irwin-Hall where nothing changes [published: e.g. Johnson, Kotz & Balakrishnan, vol. 2]."""
    assert len(times) == trend.LEAST
    r, x = len(times), sum(times) / 10
    lower = sum((-1) ** k * comb(r, k) * (x - k) ** r for k in range(int(x) + 1)) / factorial(r)
    exact = 2 * min(lower, 1 - lower)
    assert laplace(times, 10)[1] == pytest.approx(exact, abs=0.015)


@pytest.mark.parametrize("count", [0, 1, 2, 7, 43, 900])
@pytest.mark.parametrize("exposure", [0.25, 61.0, 12_345.0])
def test_the_interval_of_a_rate(count: int, exposure: float) -> None:
    """[reference library] statsmodels, the exact method (Garwood); scipy, by the definition."""
    rate, low, high = trend.poisson(count, exposure)
    theirs = confint_poisson(count, exposure, method="exact-c", alpha=0.05)
    assert rate == pytest.approx(count / exposure)
    assert (low, high) == pytest.approx(theirs, rel=1e-9)
    assert high * exposure == pytest.approx(chi2.ppf(0.975, 2 * count + 2) / 2, rel=1e-9)
    # No rate outside would leave so few, or so many, in one of forty.
    assert poisson.cdf(count, high * exposure) == pytest.approx(0.025, rel=1e-6)
    if count:
        assert poisson.sf(count - 1, low * exposure) == pytest.approx(0.025, rel=1e-6)

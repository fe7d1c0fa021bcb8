"""A recorded start against sources outside the project: another library's change-points, textbook intervals."""

from __future__ import annotations

import numpy as np
import pytest
import ruptures
from scipy import stats

from isolate.calc.start_find import level, noise, value_at
from isolate.calc.start_onset import STEP_S, onset, rise_shapes
from tests.calc.recorded import Run, recorded


@pytest.mark.parametrize("seed", range(4))
def test_light_off_beside_ruptures(seed: int) -> None:
    """[reference library] ruptures (Truong, Oudre and Vayatis, Signal Processing 167, 2020): its exact search for one
    change of slope (``clinear``, continuous piecewise linear) finds the same instant to within a row or two, and ours
    is no further from the truth."""
    made = recorded(Run(ends_s=60, temperature_noise=1.0), np.random.default_rng(seed))
    assert made.light_s
    here = (made.time_s > made.light_s - 12) & (made.time_s < made.light_s + 1.6)
    t, y = made.time_s[here], made.temperature[here]
    theirs = ruptures.Dynp(model="clinear", min_size=2, jump=1).fit(y).predict(n_bkps=1)[0]
    ours = onset(t, y, float(t[4]), float(t[-2]), rise_shapes(), (1,), ramp=True)
    assert ours
    assert abs(ours.value - t[theirs]) < 2.5 * 0.25
    assert abs(ours.value - made.light_s) <= abs(t[theirs] - made.light_s) + 0.05


@pytest.mark.parametrize("seed", range(4))
def test_fuel_on_beside_ruptures(seed: int) -> None:
    """[reference library] ruptures' exact search for one change of the mean (``l2``): fuel comes on between the row it
    names and the one before, or a row away where the meter lags."""
    made = recorded(Run(ends_s=60, flow_lag_s=0.05, rate_hz=4), np.random.default_rng(seed))
    assert made.fuel_s
    here = (made.time_s > made.fuel_s - 10) & (made.time_s < made.fuel_s + 5)
    t, y = made.time_s[here], made.fuel[here]
    theirs = ruptures.Dynp(model="l2", min_size=2, jump=1).fit(y).predict(n_bkps=1)[0]
    ours = onset(t, y, float(t[2]), float(t[-3]), [(p, 0.0, False) for p in STEP_S], (0,), finer=False)
    assert ours and t[theirs - 1] - 0.25 <= ours.value <= t[theirs]


def test_no_change_where_ruptures_finds_none() -> None:
    """[reference library] ruptures' PELT with the usual penalty (Killick, Fearnhead and Eckley 2012) finds nothing in
    noise, and neither is the gain of a rise there what a light has."""
    from isolate.calc.start_find import SURE_GAIN

    for seed in range(6):
        y = np.random.default_rng(seed).normal(20, 1, 120)
        t = np.arange(120) / 4
        assert ruptures.Pelt(model="l2", min_size=5, jump=1).fit(y).predict(pen=3 * np.log(120)) == [120]
        found = onset(t, y, 4.0, 26.0, rise_shapes(), (1, 2), ramp=True)
        assert found is None or found.gain < SURE_GAIN


def test_levels_are_students() -> None:
    """[reference library] Without repeats among the readings a level is scipy's t interval of a mean."""
    y = np.random.default_rng(3).normal(90, 2, 25)
    found = level(np.arange(25.0), y, 0, 30)
    assert found
    low, high = stats.t.interval(0.95, 24, loc=y.mean(), scale=stats.sem(y))
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)


def test_noise_is_the_spread_about_a_smooth_course() -> None:
    """[published theorem] Second differences of white noise have six times its variance (Gasser, Sroka and
    Jennen-Steinmetz, Biometrika 73, 1986), and a straight course falls out of them."""
    chance = np.random.default_rng(4)
    y = 3 * np.arange(4000.0) + chance.normal(0, 2, 4000)
    assert noise(y) == pytest.approx(2, rel=0.05)


def test_a_reading_at_an_instant_is_least_squares() -> None:
    """[reference library] At an instant known exactly, value and interval are numpy's parabola with scipy's t."""
    t = np.arange(-2, 2.01, 0.25) + 50
    y = 20 + 0.5 * (t - 50) - 0.1 * (t - 50) ** 2 + np.random.default_rng(5).normal(0, 0.05, t.size)
    sharp = onset(t, np.where(t > 50, 1.0, 0.0), 49.0, 51.0, [(0.0, 0.0, False)], (0,))
    assert sharp
    from dataclasses import replace

    exact = replace(sharp, value=50.0, low=50.0, high=50.0, draws=np.full(4000, 50.0))
    found = value_at(t, y, exact)
    assert found
    fit, cov = np.polyfit(t - 50, y, 2, cov=True)
    half = stats.t.ppf(0.975, t.size - 3) * np.sqrt(cov[2, 2])
    assert found.value == pytest.approx(fit[2], abs=1e-9)
    assert (found.high - found.low) / 2 == pytest.approx(half, rel=0.06)

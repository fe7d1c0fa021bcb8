"""Discharges beside second opinions from reference libraries: SciPy's peak finder and autocorrelation, statsmodels.

Also beside what is commonly said of igniters, from memory: 0.5 to 4 sparks a second.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.signal import butter as low_pass
from scipy.signal import correlate, find_peaks, sosfiltfilt

from isolate.calc.spark_count import count
from isolate.calc.spark_hearing import hear
from isolate.calc.spark_pace import pace
from isolate.calc.spark_train import FASTEST, SLOWEST
from isolate.calc.spark_uneven import mean_rate
from tests.calc import clips


def envelope(made: clips.Made) -> np.ndarray:
    """Return the power above 1 kHz, a thousand a second of a clip of 48,000: a plain onset curve."""
    high = sosfiltfilt(low_pass(4, 1000, "highpass", fs=made.rate, output="sos"), made.samples)
    step = made.rate // 1000
    return np.asarray((high[: high.size // step * step] ** 2).reshape(-1, step).mean(axis=1))


@pytest.mark.parametrize(("kind", "sound"), [("white", "crack"), ("wind", "ring"), ("apu", "pulse"), ("fan", "dull")])
def test_the_peak_finder_finds_the_same_discharges(kind: str, sound: str) -> None:
    # scipy.signal.find_peaks: peaks 6 times over the median, 200 ms apart. It needs a loud clip; so be it.
    chance = np.random.default_rng(31)
    made = clips.clip(clips.beats(15, 0.6, chance), 20, kind, 15, chance, sound=sound, rate=48_000)
    curve = envelope(made)
    peaks = find_peaks(curve, height=6 * np.median(curve), distance=200)[0] / 1000
    heard = count(hear([made.samples.astype(np.float32)], made.rate)).trains[0].heard
    assert heard.size == pytest.approx(made.instants.size, abs=1)
    near = np.abs(heard[:, None] - peaks[None, :]).min(axis=1)
    assert np.median(near) < 0.004
    assert (near < 0.03).mean() > 0.95


@pytest.mark.parametrize("period", [0.26, 0.5, 1.0, 1.9])
def test_the_pace_is_that_of_the_autocorrelation(period: float) -> None:
    # From 0.5 to 4 sparks a second, as igniters are commonly quoted (from memory). scipy.signal.correlate.
    chance = np.random.default_rng(32)
    seconds = 12 * period + 4
    made = clips.clip(clips.beats(seconds, period, chance, jitter=0.005), 15, "apu", seconds, chance, rate=48_000)
    curve = np.minimum(envelope(made), 20 * np.median(envelope(made)))
    curve -= curve.mean()
    alike = correlate(curve, curve, method="fft")[curve.size - 1 :]
    low, high = int(700 * period), int(1300 * period)
    lag = (low + int(alike[low:high].argmax())) / 1000
    found = count(hear([made.samples.astype(np.float32)], made.rate)).trains[0]
    assert found.pace is not None
    assert 1 / found.pace.rate.value == pytest.approx(lag, rel=0.02)
    assert SLOWEST < 0.5
    assert FASTEST > 4


def test_the_interval_is_that_of_least_squares_in_statsmodels() -> None:
    # Steps that are each their own, none missed: ordinary least squares on (1, place), by statsmodels.
    chance = np.random.default_rng(33)
    instants = np.cumsum(0.8 * (1 + 0.04 * chance.normal(size=25)))
    ours = pace(instants, np.arange(25))
    assert ours is not None
    steps, middle = np.diff(instants), (instants[1:] + instants[:-1]) / 2
    span = instants[-1] - instants[0]
    fit = sm.OLS(steps, sm.add_constant((middle - (instants[0] + instants[-1]) / 2) / span)).fit()
    low, high = fit.conf_int(0.05)[0]
    # A small share of belief goes to a clock, which moves the ends by less than a tenth of the width.
    assert 1 / ours.rate.high == pytest.approx(low, abs=0.1 * (high - low))
    assert 1 / ours.rate.low == pytest.approx(high, abs=0.1 * (high - low))
    assert ours.scatter.value * 1 / ours.rate.value == pytest.approx(np.sqrt(fit.mse_resid), rel=0.02)


def test_the_mean_rate_is_beside_students_interval_in_statsmodels() -> None:
    # Student's interval for a mean by statsmodels; ours is on the logarithm, which moves both ends up by little.
    waits = np.random.default_rng(34).gamma(4, 0.2, 40)
    ours = mean_rate(waits)
    low, high = sm.stats.DescrStatsW(waits).tconfint_mean(0.05)
    assert 1 / ours.value == pytest.approx(waits.mean())
    assert 1 / ours.high == pytest.approx(low, abs=0.1 * (high - low))
    assert 1 / ours.low == pytest.approx(high, abs=0.1 * (high - low))

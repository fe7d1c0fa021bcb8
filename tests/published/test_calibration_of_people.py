"""The statistics of trainees' progress against scipy, printed examples and simulated people.

Sources: scipy.stats [reference library]; Brier (1950), *Verification of forecasts expressed in terms of probability*,
Monthly Weather Review 78, table 1; Newcombe (1998), *Two-sided confidence intervals for the single proportion*,
Statistics in Medicine 17, table I; Hollander and Wolfe, *Nonparametric Statistical Methods*, the cloud-seeding example
of Theil's slope; Murphy (1973), *A new vector partition of the probability score* [all four from memory; each figure
follows from its data by arithmetic that is redone here].
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from isolate.drill.progress import Drilled, Suspicion, calibration, mean_interval, sen, student, trend
from isolate.drill.tally import Z95, wilson


def drilled(*told: tuple[float, bool], over: float = 0.0, expected: float = 100.0) -> Drilled:
    return Drilled(
        id="d", mark="m", name="n", title="t", scenario="s", trainee="Ann", who="ann", begun="2030-01-01T00:00:00.000Z",
        seed=1, engine="", complaint="", level="", topics=(), state="ended", judged="right", right=True,
        over=over, expected=expected, suspicions=tuple(Suspicion(s, t, None) for s, t in told),
    )  # fmt: skip


# -- shares -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "of"), [(0, 1), (1, 1), (0, 20), (3, 7), (81, 263), (999, 1000)])
def test_wilson_is_scipys(count: int, of: int) -> None:
    theirs = stats.binomtest(count, of).proportion_ci(method="wilson")
    assert wilson(count, of) == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_as_newcombe_prints_it(count: int, of: int, low: float, high: float) -> None:
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)


def test_bins_carry_wilsons_interval() -> None:
    found = calibration([drilled((0.7, True), (0.7, False), (0.65, True)), drilled((0.1, False))])
    low, high = found.bins
    assert (low.interval, high.interval) == (wilson(0, 1), wilson(2, 3))
    assert high.stated == pytest.approx((0.7 + 0.7 + 0.65) / 3)


# -- Brier --------------------------------------------------------------------------------------------


def test_briers_own_example() -> None:
    """Ten forecasts of rain; he sums over rain and no rain, so that his 0.19 is twice ours."""
    stated = [0.7, 0.9, 0.8, 0.4, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1]
    rained = [False, True, True, True, False, False, False, False, False, False]
    found = calibration([drilled(*zip(stated, rained, strict=True))])
    assert found.brier == pytest.approx(0.19 / 2)


def test_murphys_parts_add_up_to_brier() -> None:
    """Reliability less resolution plus uncertainty, over the values stated: no other arithmetic than ours in common."""
    rng = np.random.default_rng(1)
    stated = rng.choice([0.1, 0.4, 0.6, 0.9], 200)
    true = rng.random(200) < stated**2
    base = true.mean()
    parts = base * (1 - base)
    for value in np.unique(stated):
        of_it = true[stated == value]
        parts += len(of_it) / 200 * ((value - of_it.mean()) ** 2 - (of_it.mean() - base) ** 2)
    told = [(float(s), bool(t)) for s, t in zip(stated, true, strict=True)]
    assert calibration([drilled(*told)]).brier == pytest.approx(parts)


# -- means --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 6, 7, 10, 11, 30, 61, 200, 1999, 2000])
def test_students_quantile_is_scipys(freedom: int) -> None:
    assert student(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-9)


def test_students_quantile_far_out_is_the_normal_one() -> None:
    assert student(2001) == Z95 == pytest.approx(stats.t.ppf(0.975, 2001), rel=2e-3)


@pytest.mark.parametrize("values", [[1.0, 2.0, 9.0], [5.0] * 4, [0.0, 3.5, 2.0, 40.0, 7.0]])
def test_the_interval_of_a_mean_is_scipys(values: list[float]) -> None:
    error = stats.sem(values)
    theirs = stats.t.interval(0.95, len(values) - 1, np.mean(values), error) if error else (values[0], values[0])
    assert mean_interval(values) == pytest.approx(theirs)
    assert mean_interval(values[:2]) is None


# -- the trend ----------------------------------------------------------------------------------------


def test_the_cloud_seeding_slope() -> None:
    slope, _ = sen([1.26, 1.27, 1.12, 1.16, 1.03])
    assert slope == pytest.approx(-0.05625)


@pytest.mark.parametrize("n", [2, 3, 5, 8, 20, 60])
def test_the_slope_is_scipys(n: int) -> None:
    values = np.random.default_rng(n).exponential(size=n).tolist()
    assert sen(values)[0] == pytest.approx(stats.theilslopes(values).slope)


@pytest.mark.parametrize("n", [5, 6, 7, 9, 13, 30])
def test_the_interval_holds_just_the_slopes_that_kendalls_exact_test_does_not_refuse(n: int) -> None:
    rng = np.random.default_rng(100 + n)
    values = (rng.exponential(size=n) + 0.1 * np.arange(n)).tolist()
    steps = np.arange(n)
    _, interval = sen(values)
    assert interval is not None
    slopes = sorted((values[j] - values[i]) / (j - i) for i, j in itertools.combinations(range(n), 2))
    # Between two neighbouring slopes, and beyond the outermost, the test gives one verdict.
    tried = [slopes[0] - 1, *((a + b) / 2 for a, b in itertools.pairwise(slopes)), slopes[-1] + 1]
    refused = 0
    for slope in tried:
        kept = stats.kendalltau(steps, np.array(values) - slope * steps, method="exact").pvalue > 0.05
        refused += not kept
        assert kept == (interval[0] < slope < interval[1]), slope
    assert 0 < refused < len(tried)


def test_four_values_have_no_interval_since_no_order_of_them_is_rare_enough() -> None:
    assert stats.kendalltau(range(4), range(4), method="exact").pvalue > 0.05
    assert sen([4.0, 3.0, 2.0, 1.0]) == (-1.0, None)


def test_people_who_do_not_change_are_seldom_said_to() -> None:
    """Costs of a skewed spread, the same from first to last: a trend is seen in no more than one of twenty."""
    rng = random.Random(4)
    played = 400
    words = [trend([drilled(over=rng.expovariate(0.02)) for _ in range(9)]).word for _ in range(played)]
    false = sum(w != "unclear" for w in words)
    assert false > 0 and wilson(false, played)[0] <= 0.05


def test_people_who_halve_their_cost_are_said_to() -> None:
    rng = random.Random(5)
    found = [trend([drilled(over=60 * 0.85**i * rng.uniform(0.6, 1.4)) for i in range(12)]).word for _ in range(100)]
    assert found.count("falls") > 90 and "rises" not in found


# -- calibration in the large -------------------------------------------------------------------------


def test_with_one_suspicion_a_drill_the_gap_is_a_plain_mean() -> None:
    told = [(0.9, True), (0.8, False), (0.3, False), (0.6, True), (0.9, False), (0.2, True), (0.7, False), (0.5, False),
            (0.9, False), (0.95, False), (0.1, True)]  # fmt: skip
    found = calibration([drilled(one) for one in told])
    theirs = stats.ttest_1samp([s - t for s, t in told], 0).confidence_interval(0.95)
    assert found.gap_interval == pytest.approx((theirs.low, theirs.high))


def people(rng: random.Random, drills: int, shift: float, together: bool) -> Sequence[Drilled]:
    """Somebody whose suspicions are true less often than stated by ``shift``.

    ``together``: those of one drill are about one part, right or wrong with each other.
    """
    made = []
    for _ in range(drills):
        lot, told = rng.random(), []
        for _ in range(rng.randint(1, 4)):
            sure = rng.choice([0.3, 0.5, 0.6, 0.8, 0.9])
            told.append((sure, (lot if together else rng.random()) < sure - shift))
        made.append(drilled(*told))
    return made


@pytest.mark.parametrize("together", [False, True])
@pytest.mark.parametrize("drills", [6, 15, 40])
def test_the_calibrated_are_seldom_called_anything_else(drills: int, together: bool) -> None:
    rng = random.Random(drills)
    played = 300
    said = [calibration(people(rng, drills, 0.0, together)).says for _ in range(played)]
    wrong = sum(s.startswith(("Too sure", "Less sure")) for s in said)
    assert wilson(wrong, played)[0] <= 0.05, wrong


@pytest.mark.parametrize(("shift", "says"), [(0.3, "Too sure"), (-0.3, "Less sure")])
def test_those_who_are_off_by_much_are_told(shift: float, says: str) -> None:
    rng = random.Random(8)
    found = [calibration(people(rng, 25, shift, False)).says for _ in range(100)]
    assert sum(s.startswith(says) for s in found) > 85

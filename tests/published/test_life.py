"""Plug life against reference libraries, two published data sets, and a fleet played out.

Each source is named beside its check. The removals that are drawn are invented.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from lifelines import KaplanMeierFitter, WeibullFitter
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import chi2, weibull_min
from statsmodels.stats.rates import confint_poisson

from isolate.calc import weibull
from isolate.calc.weibull import Fit, Lives

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from reliability.Fitters import Fit_Weibull_2P
    from reliability.Repairable_systems import optimal_replacement_time

BEARINGS = (
    *(17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88),
    *(84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40),
)
"""[memory] Lieblein and Zelen 1956, ball bearings, millions of turns to failure; 23 of them, all failed."""
ABSORBERS_FAILED = (6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490)
ABSORBERS_RUNNING = (
    *(6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040, 17540, 17890),
    *(18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100),
)
"""[memory] O'Connor 1985, in Meeker and Escobar 1998: shock absorbers, km; 38 of them, 11 failed."""


def from_new(failed: object, running: object = ()) -> Lives:
    return weibull.lives([(float(a), 0.0) for a in failed], [(float(a), 0.0) for a in running])  # type: ignore[attr-defined]


def drawn(n: int, shape: float, seed: int, late: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return ages, whether each failed, and entry ages, by scipy's law; some half still run."""
    rng = np.random.default_rng(seed)
    entries, lives = np.zeros(n), weibull_min(shape, scale=3000).rvs(n, random_state=rng)
    if late:
        entries = np.where(rng.random(n) < 0.5, rng.uniform(100, 2500, n), 0.0)
        while (gone := lives <= entries).any():
            lives[gone] = weibull_min(shape, scale=3000).rvs(gone.sum(), random_state=rng)
    watched = entries + weibull_min(shape, scale=3000).rvs(n, random_state=rng)
    return np.minimum(lives, watched), lives <= watched, entries


def of(ages: np.ndarray, failed: np.ndarray, entries: np.ndarray) -> Lives:
    return weibull.lives(
        list(zip(ages[failed], entries[failed], strict=True)), list(zip(ages[~failed], entries[~failed], strict=True))
    )


def likelihood(ages: np.ndarray, failed: np.ndarray, entries: np.ndarray, shape: float, scale: float) -> float:
    """[reference library] scipy's own densities and survival."""
    law = weibull_min(shape, scale=scale)
    return float(law.logpdf(ages[failed]).sum() + law.logsf(ages[~failed]).sum() - law.logsf(entries).sum())


def test_the_bearings() -> None:
    found = weibull.fit(from_new(BEARINGS))
    assert (found.shape, found.scale) == pytest.approx((2.10, 81.9), abs=0.05), "[memory] Lawless gives 2.10 and 81.9"
    shape, _, scale = weibull_min.fit(BEARINGS, floc=0)
    assert (found.shape, found.scale) == pytest.approx((shape, scale), rel=1e-4), "[reference library] scipy"


def test_the_shock_absorbers() -> None:
    """[memory] Meeker and Escobar print shape 3.16 and scale 27,719 km."""
    found = weibull.fit(from_new(ABSORBERS_FAILED, ABSORBERS_RUNNING))
    assert found.shape == pytest.approx(3.16, abs=0.005)
    assert found.scale == pytest.approx(27719, rel=2e-4)


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize(("n", "shape"), [(20, 1.5), (60, 3.0), (400, 0.8)])
def test_lifelines_finds_the_same(n: int, shape: float, late: bool) -> None:
    ages, failed, entries = drawn(n, shape, n, late)
    found = weibull.fit(of(ages, failed, entries))
    theirs = WeibullFitter().fit(ages, failed, entry=entries if late else None)
    assert found.shape == pytest.approx(theirs.rho_, rel=1e-5)
    assert found.scale == pytest.approx(theirs.lambda_, rel=1e-5)


def test_the_reliability_package_finds_the_same() -> None:
    ages, failed, _ = drawn(50, 2.2, 5)
    found = weibull.fit(of(ages, failed, np.zeros(50)))
    theirs = Fit_Weibull_2P(
        failures=ages[failed], right_censored=ages[~failed], show_probability_plot=False, print_results=False
    )
    assert (found.shape, found.scale) == pytest.approx((theirs.beta, theirs.alpha), rel=1e-4)
    # Its intervals are the normal ones on a logarithm: of another kind, but near with 25 failures.
    low, high = found.between(lambda k, s: k)
    assert (low, high) == pytest.approx((theirs.beta_lower, theirs.beta_upper), rel=0.08)


@pytest.mark.parametrize("late", [False, True])
def test_the_rim_lies_where_the_likelihood_says(late: bool) -> None:
    """[reference library] scipy's likelihood there is short of the greatest by χ²/2, with our factor."""
    ages, failed, entries = drawn(30, 2.0, 11, late)
    found = weibull.fit(of(ages, failed, entries))
    greatest = likelihood(ages, failed, entries, found.shape, found.scale)
    short = chi2.ppf(0.95, 1) / 2 * (1 + 1 / found.failures)
    for i in range(0, len(found.shapes), 17):
        there = likelihood(ages, failed, entries, float(found.shapes[i]), float(found.scales[i]))
        assert greatest - there == pytest.approx(short, abs=2e-3)


@pytest.mark.parametrize("late", [False, True])
def test_the_plotted_shares_are_kaplan_and_meiers(late: bool) -> None:
    """[reference library] lifelines; half-way up each step."""
    ages, failed, entries = drawn(40, 2.0, 8, late)
    entries = np.minimum(entries, 600)  # nobody's first look at an empty fleet
    entries[entries >= ages] = 0
    at, shares = weibull.plotted(of(ages, failed, entries))
    km = KaplanMeierFitter().fit(ages, failed, entry=entries if late else None)
    after = km.survival_function_at_times(at).to_numpy()
    before = km.survival_function_at_times(at - 1e-6).to_numpy()
    assert shares == pytest.approx(1 - (after + before) / 2, abs=1e-9)


@pytest.mark.parametrize("shape", [0.7, 1.0, 2.0, 4.5])
def test_chances_and_ages_are_scipys(shape: float) -> None:
    law = weibull_min(shape, scale=3000)
    for age, more in ((0.0, 100.0), (2600.0, 300.0), (5000.0, 5000.0)):
        theirs = (law.sf(age) - law.sf(age + more)) / law.sf(age)
        assert float(weibull.chance(age, more, shape, 3000.0)) == pytest.approx(theirs, rel=1e-7)
    assert float(weibull.reached(0.10, shape, 3000.0)) == pytest.approx(law.ppf(0.10), rel=1e-12)
    assert float(weibull.mean(shape, 3000.0)) == pytest.approx(law.mean(), rel=1e-9)
    assert float(weibull.mean_to(1800.0, shape, 3000.0)) == pytest.approx(quad(law.sf, 0, 1800)[0], rel=1e-9)


@pytest.mark.parametrize(("shape", "misfire"), [(1.3, 20.0), (2.0, 5.0), (2.0, 50.0), (4.0, 10.0)])
def test_the_cheapest_age_by_quadrature(shape: float, misfire: float) -> None:
    """[reference library] scipy integrates and minimises Barlow and Hunter's cost rate without our closed form."""
    law = weibull_min(shape, scale=3000)

    def cost(age: float) -> float:
        return (law.sf(age) + misfire * law.cdf(age)) / quad(law.sf, 0, age, limit=200)[0]

    theirs = minimize_scalar(cost, bounds=(20, 3000 * 2.2), method="bounded", options={"xatol": 0.01}).x
    found = float(weibull.cheapest(1.0, misfire, shape, 3000.0))
    assert found == pytest.approx(theirs, rel=1e-3)
    assert float(weibull.cost(found, 1.0, misfire, shape, 3000.0)) == pytest.approx(cost(theirs), rel=1e-6)


def test_the_cheapest_age_by_the_reliability_package() -> None:
    """Its q of 0 is a part renewed as good as new, as a new plug is."""
    theirs = optimal_replacement_time(
        cost_PM=1, cost_CM=5, weibull_alpha=1000, weibull_beta=2.5, q=0, show_time_plot=False, show_ratio_plot=False,
        print_results=False,
    )  # fmt: skip
    assert float(weibull.cheapest(1.0, 5.0, 2.5, 1000.0)) == pytest.approx(theirs.ORT, rel=5e-3)


def test_the_cost_is_what_a_fleet_pays_that_is_played_out() -> None:
    """[renewal theory] The long-run cost a start is that of a cycle over its mean length; lives drawn by scipy."""
    life = weibull_min(2.5, scale=3000).rvs(400_000, random_state=np.random.default_rng(3))
    age = 1500.0
    failed = life < age
    paid, ran = (failed * 10.0 + ~failed * 1.0).sum(), np.minimum(life, age).sum()
    # Its error is some 0.5 %, by the spread of the failures.
    assert float(weibull.cost(age, 1.0, 10.0, 2.5, 3000.0)) == pytest.approx(paid / ran, rel=0.02)


@pytest.mark.parametrize("failures", [0, 1, 4, 12])
def test_a_shape_assumed_leaves_a_poisson_count(failures: int) -> None:
    """[reference library] statsmodels, Garwood's interval. Ages to the shape's power are time at a constant rate."""
    rng = np.random.default_rng(2)
    ages = 1000 * rng.random(20) + 200
    found = weibull.assume(from_new(ages[:failures], ages[failures:]), 2.5)
    exposure = float((ages**2.5).sum())
    expected = exposure / found.scales**2.5
    if failures:
        low, high = confint_poisson(failures, 1.0, method="exact-c", alpha=0.05)
        assert sorted(expected) == pytest.approx([low, high], rel=1e-9)
        assert found.scale == pytest.approx((exposure / failures) ** (1 / 2.5), rel=1e-12)
    else:
        assert math.exp(-max(expected)) == pytest.approx(0.05), "one in twenty would show no failure"
        assert found.scale == math.inf and min(expected) == 0


def test_the_strain_is_known_of_a_true_life_and_of_a_mixture() -> None:
    """Drawn by scipy: a Weibull life is called strained about as often as said, a mixture of two nearly always."""
    rng = np.random.default_rng(17)
    ours, mixed = [], []
    for _ in range(60):
        plain = weibull_min(2.0, scale=3000).rvs(60, random_state=rng)
        early = weibull_min(0.8, scale=150).rvs(30, random_state=rng)
        late = weibull_min(6.0, scale=4000).rvs(60, random_state=rng)
        for lives, into in ((plain, ours), (np.concatenate([early, late]), mixed)):
            data = from_new(lives)
            chance = weibull.strain(data, weibull.fit(data))
            assert chance is not None
            into.append(chance)
    assert sum(p < 0.05 for p in ours) <= 8, "of 60, three are to be expected"
    assert sum(p < 0.05 for p in mixed) >= 57


def test_intervals_hold_the_truth(seed: int = 21) -> None:
    """A miniature of tests/bench/life_coverage.py: 200 fleets drawn by scipy with half running, seed fixed."""
    names = ("shape", "scale", "b10", "chance", "cheapest")
    held = dict.fromkeys(names, 0)
    truth = Fit(2.0, 3000.0, np.array([2.0]), np.array([3000.0]), 0, 0)
    for i in range(200):
        found = weibull.fit(of(*drawn(40, 2.0, seed * 1000 + i)))
        for name, work in (
            ("shape", lambda k, s: k),
            ("scale", lambda k, s: s),
            ("b10", lambda k, s: weibull.reached(0.1, k, s)),
            ("chance", lambda k, s: weibull.chance(2600.0, 300.0, k, s)),
            ("cheapest", lambda k, s: weibull.cheapest(1.0, 9.0, k, s)),
        ):
            low, high = found.between(work)
            held[name] += low <= truth.between(work)[0] <= high
    # 95 % of 200 is 190, give or take 6 for two standard deviations.
    assert all(183 <= count <= 197 for count in held.values()), held

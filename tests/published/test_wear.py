"""Wear-out against scipy, lifelines and a renewal process played out.

Sources: scipy.stats.weibull_min, scipy.integrate, lifelines.WeibullFitter and pyAgrum [reference libraries];
renewal in equilibrium, Cox, *Renewal Theory* (1962) [memory], checked here by playing a fleet for a long time, which
uses nothing of it. The lives are invented.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import dblquad, fixed_quad, quad
from scipy.stats import weibull_min

from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import Knowledge
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.wear import (
    STRAY,
    Age,
    Part,
    Worn,
    hazard,
    mean_hazards,
    parts,
    relative,
    shifts,
    spread,
    summed,
    weight,
)
from tests.reasoning.wearing import LEAD, PLUG, SEIZED, engine

SHAPES = (1.0, 1.3, 1.5, 2.0, 2.5, 4.0, 10.0)


def part(*lives: tuple[float, float], replaced_at: float | None = None) -> Part:
    worn = tuple(Worn("channel/A", f"fault-{i}", 0.01, shape, scale) for i, (shape, scale) in enumerate(lives))
    return Part("thing", "hours", replaced_at, False, worn)


def survival(of: Part) -> Callable[[float], float]:
    """Written out: scipy's own, to which it is held below, takes long for one age at a time."""
    return lambda a: math.exp(-sum((a / w.scale) ** w.shape for w in of.worn))


def rate(worn: Worn, a: float) -> float:
    return worn.shape / worn.scale * (a / worn.scale) ** (worn.shape - 1)


def test_what_is_written_out_here_is_scipys() -> None:
    for worn in (*TWO.worn, *UNENDING.worn):
        life = weibull_min(worn.shape, scale=worn.scale)
        for a in (1.0, 900.0, 3000.0, 8000.0):
            assert rate(worn, a) == pytest.approx(life.pdf(a) / life.sf(a), rel=1e-9)
    for a in (0.0, 900.0, 8000.0):
        both = [weibull_min.sf(a, w.shape, scale=w.scale) for w in TWO.worn]
        assert survival(TWO)(a) == pytest.approx(float(np.prod(both)), rel=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_hazard_and_survival_are_those_of_scipy(shape: float) -> None:
    ages, scale = np.linspace(1, 9000, 200), 4000.0
    life = weibull_min(shape, scale=scale)
    assert np.exp(-summed(ages, shape, scale)) == pytest.approx(life.sf(ages), rel=1e-9)
    ages = ages[life.sf(ages) > 1e-200]
    assert hazard(ages, shape, scale) == pytest.approx(life.pdf(ages) / life.sf(ages), rel=1e-8)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_mean_hazard_without_renewal_is_one_over_scipys_mean_life(shape: float) -> None:
    thing = part((shape, 4000.0))
    assert 1 / mean_hazards(thing)["fault-0"] == pytest.approx(weibull_min.mean(shape, scale=4000.0), rel=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("share", [0.2, 1.0, 1.7])
def test_the_mean_hazard_with_renewal_is_failures_over_time_in_service(shape: float, share: float) -> None:
    end = 4000.0 * share
    thing = part((shape, 4000.0), replaced_at=end)
    in_service, _ = quad(survival(thing), 0, end, epsabs=0, epsrel=1e-11)
    failed = weibull_min.cdf(end, shape, scale=4000.0)
    assert mean_hazards(thing)["fault-0"] == pytest.approx(failed / in_service, rel=1e-7)


TWO = part((4.0, 6500.0), (1.5, 9000.0), replaced_at=5000.0)
UNENDING = part((2.5, 6000.0), (1.3, 9000.0))


@pytest.mark.parametrize("thing", [TWO, UNENDING], ids=["renewed", "till it fails"])
@pytest.mark.parametrize(
    ("least", "most"),
    [(None, None), (2900.0, 3100.0), (None, 700.0), (3500.0, None), (4500.0, 9000.0), (6000.0, 8000.0)],
)
def test_an_age_within_limits_is_averaged_as_scipy_integrates(
    thing: Part, least: float | None, most: float | None
) -> None:
    low, end = least or 0.0, thing.replaced_at
    high = most if most is not None else 60_000.0
    if end is not None and low < end:
        high = min(high, end)
    alive = survival(thing)
    where = np.linspace(low, high, 12)

    def integral(f: Callable[[float], float], a: float, b: float) -> float:
        if b > 50_000:
            # scipy has to be told where the parts are.
            return sum(
                quad(f, x, y, epsabs=0, epsrel=1e-10)[0]
                for x, y in zip(range(int(a), 60_000, 2000), range(int(a) + 2000, 62_000, 2000), strict=False)
            )
        return float(quad(f, a, b, epsabs=0, epsrel=1e-10)[0])

    ages, weights = spread(thing, least, most)
    assert weights.sum() == pytest.approx(1) and low <= ages.min() and (most is None or ages.max() <= high)
    total = integral(alive, low, high)
    assert float(ages @ weights) == pytest.approx(integral(lambda a: a * alive(a), low, high) / total, rel=1e-6)
    whole = end if end is not None else 60_000.0
    service = integral(alive, 0.0, whole)
    for worn in thing.worn:
        usual = integral(lambda a, w=worn: rate(w, a) * alive(a) if a > 0 else 0.0, 0.0, whole) / service
        here = integral(lambda a, w=worn: rate(w, a) * alive(a) if a > 0 else 0.0, low, high) / total
        found = relative(thing, ages)[worn.state]
        assert float(found @ weights) == pytest.approx(here / usual, rel=1e-5)
        assert relative(thing, where[1:])[worn.state] == pytest.approx(
            [rate(worn, a) / usual for a in where[1:]], rel=1e-6
        )


def test_a_fleet_played_out_fails_as_often_by_age_as_the_factors_say() -> None:
    """Lives end by whichever fault comes first, or at renewal; failures are counted over time spent, by age."""
    random = np.random.default_rng(5)
    n = 400_000
    lives = np.stack([weibull_min.rvs(w.shape, scale=w.scale, size=n, random_state=random) for w in TWO.worn])
    ends = np.minimum(lives.min(axis=0), TWO.replaced_at)
    for low, high in ((0.0, 1000.0), (2000.0, 3000.0), (4000.0, 5000.0)):
        spent = np.clip(ends - low, 0, high - low).sum()
        ages, weights = spread(TWO, low, high)
        for i, worn in enumerate(TWO.worn):
            by_it = (lives.argmin(axis=0) == i) & (ends < TWO.replaced_at)
            here = (by_it & (ends >= low) & (ends < high)).sum()
            times = (here / spent) / (by_it.sum() / ends.sum())
            expected = float(relative(TWO, ages)[worn.state] @ weights)
            assert times == pytest.approx(expected, abs=5 * expected / np.sqrt(max(here, 1)) + 1e-3)


def test_lifelines_fits_our_hazard_from_lives_that_renewal_cuts_short() -> None:
    from lifelines import WeibullFitter

    shape, scale, end = 4.0, 6500.0, 5000.0
    lives = weibull_min.rvs(shape, scale=scale, size=20_000, random_state=np.random.default_rng(3))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = WeibullFitter().fit(np.minimum(lives, end), event_observed=lives < end)
        ages = np.linspace(500, 5000, 10)
        # The same formula: the fitter's own hazard and survival at the figures that it found.
        assert hazard(ages, fitted.rho_, fitted.lambda_) == pytest.approx(
            fitted.hazard_at_times(ages).to_numpy(), rel=1e-6
        )
        theirs = fitted.survival_function_at_times(ages).to_numpy()
    assert np.exp(-summed(ages, fitted.rho_, fitted.lambda_)) == pytest.approx(theirs, rel=1e-9)
    # And the figures that it found are ours.
    assert (fitted.rho_, fitted.lambda_) == (pytest.approx(shape, rel=0.05), pytest.approx(scale, rel=0.05))
    old = ages[ages >= 2000]
    assert hazard(old, fitted.rho_, fitted.lambda_) == pytest.approx(hazard(old, shape, scale), rel=0.15)


# -- the joint -------------------------------------------------------------------------------------


def density(lives: list[dict], end: float) -> Callable[[float], float]:
    def alive(a: float) -> float:
        return math.exp(-sum((a / w["scale"]) ** w["shape"] for w in lives))

    total, _ = quad(alive, 0, end, limit=200)
    return lambda a: alive(a) / total


def factor(life: dict, f: Callable[[float], float], end: float) -> Callable[[float], float]:
    """What a fault's prior is multiplied by at an age, a share of the ages told being those of another part."""

    def h(a: float) -> float:
        return life["shape"] / life["scale"] * (a / life["scale"]) ** (life["shape"] - 1)

    mean, _ = quad(lambda a: h(a) * f(a), 0, end, limit=200)
    return lambda a: STRAY + (1 - STRAY) * h(a) / mean


def test_two_ages_that_are_one_for_both_channels_are_integrated_out_together() -> None:
    """The joint by scipy's double integral over the plugs' age and the leads' age, cell by cell for some cells."""
    fitted = engine()
    model = Model(fitted)
    joint = model.prior() * weight(model, [Age("plug", together=True), Age("lead", "", "hours", None, 12_000.0, True)])
    prior = dict(zip(fitted.zones["channel/A"].states, fitted.zones["channel/A"].prior, strict=True))
    plugs = density([PLUG, SEIZED], 3000.0)
    leads_all = density([LEAD], 120_000.0)
    leads = density([LEAD], 12_000.0)
    times = {
        "worn": factor(PLUG, plugs, 3000.0),
        "seized": factor(SEIZED, plugs, 3000.0),
        "aged": factor(LEAD, leads_all, 120_000.0),
    }

    def p(state: str, plug: float, lead: float) -> float:
        if state == "healthy":
            return 1 - sum(p(s, plug, lead) for s in prior if s != "healthy")
        at = lead if state == "aged" else plug
        return prior[state] * (times[state](at) if state in times else 1.0)

    off = fitted.zones["shared"].prior[1]
    states = fitted.zones["channel/A"].states
    for a, b in (
        ("worn", "worn"),
        ("worn", "seized"),
        ("aged", "aged"),
        ("worn", "aged"),
        ("healthy", "worn"),
        ("wet", "wet"),
    ):
        value, _ = dblquad(
            lambda lead, plug, a=a, b=b: plugs(plug) * leads(lead) * p(a, plug, lead) * p(b, plug, lead),
            0,
            3000,
            0,
            12_000,
            epsabs=1e-11,
            epsrel=1e-5,
        )
        assert joint[states.index(a), states.index(b), 1] == pytest.approx(value * off, rel=1e-4), (a, b)


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load().knowledge


@pytest.mark.parametrize("name", ["halden-hf-3", "halden-hf-5", "orrin-t-9"])
def test_the_shipped_figures_average_to_one_over_the_ages_in_service(knowledge: Knowledge, name: str) -> None:
    """By scipy over the survival written out from the knowledge; the priors stay what they are by themselves."""
    fitted: Fitted = fit(knowledge, name)
    found = parts(fitted)
    assert set(found) == {"igniter", "lead", "exciter"}
    for thing in found.values():
        assert thing.replaced_at is not None
        # scipy's Gauss-Legendre on ages themselves, of another order than ours.
        alive = np.vectorize(survival(thing.one))
        total, _ = fixed_quad(alive, 0, thing.replaced_at, n=300)
        for worn in thing.one.worn:

            def weighed(ages: np.ndarray, alive=alive, thing=thing, state=worn.state) -> np.ndarray:
                return alive(ages) * relative(thing, ages)[state]

            assert fixed_quad(weighed, 0, thing.replaced_at, n=300)[0] / total == pytest.approx(1, rel=1e-5)
    channel = fitted.channels[0]
    (worn,) = (
        s
        for s in shifts(fitted, Age("igniter", channel, "starts", 3000.0, 3000.0))
        if s.mode == f"igniter-worn/{channel}"
    )
    assert 2 < worn.times < 4


def test_one_age_for_both_plugs_is_a_node_above_both_channels_in_pyagrum() -> None:
    """The age as a node of its own, its points from `spread`, the zones below it; pyAgrum sums it out with evidence."""
    import pyagrum

    fitted = engine()
    model = Model(fitted)
    thing = parts(fitted)["plug"]
    ages, weights = spread(thing, 500.0, None)
    times = relative(thing, ages)
    net = pyagrum.BayesNet("plugs of one age")
    net.add(pyagrum.RangeVariable("age", "age", 0, len(ages) - 1))
    net.cpt("age").fillWith(list(weights))
    look = fitted.check("look/A")
    for channel in "AB":
        zone = fitted.zones[f"channel/{channel}"]
        net.add(pyagrum.LabelizedVariable(channel, channel, list(zone.states)))
        net.addArc("age", channel)
        rows = []
        for i in range(len(ages)):
            row = [
                p * (STRAY + (1 - STRAY) * times[s][i] if s in times else 1.0)
                for s, p in zip(zone.states[1:], zone.prior[1:], strict=True)
            ]
            rows.append([1 - sum(row), *row])
        net.cpt(channel)[:] = rows
        net.add(pyagrum.LabelizedVariable(f"look {channel}", "look", list(look.outcomes)))
        net.addArc(channel, f"look {channel}")
        net.cpt(f"look {channel}")[:] = [list(r) for r in fitted.check(f"look/{channel}").given[f"channel/{channel}"]]
    belief = Belief.before(model).weighed(weight(model, [Age("plug", "", "starts", 500.0, None, True)]))
    for check, outcome in (("look/A", "due"), ("look/B", "young")):
        belief = belief.answer(check, outcome)
    inference = pyagrum.LazyPropagation(net)
    inference.setEvidence({"look A": "due", "look B": "young"})
    inference.makeInference()
    for channel in "AB":
        expected = inference.posterior(channel).toarray()
        assert belief.zone(f"channel/{channel}") == pytest.approx(expected, abs=1e-9)

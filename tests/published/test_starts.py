"""Start histories against references outside :mod:`isolate.reasoning.starts`.

Pattern likelihoods [published theorem]: the sum over hidden courses that a forward recursion yields (L. R. Rabiner, *A
tutorial on hidden Markov models*, Proc. IEEE 77(2), 1989, eq. 13-21; from memory) is the sum over every course written
out one by one, as :mod:`tests.reasoning.history` does.

Rank tests of the times to light [reference library]: ``scipy.stats``.
"""

from __future__ import annotations

import itertools
import random
from math import sqrt
from typing import Any

import numpy as np
import pytest
from scipy import stats

from isolate.kb.fit import Fitted, fit
from isolate.kb.model import Knowledge
from isolate.reasoning import starts as history
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.light_times import kendall, light_times, rank_sum, slope
from isolate.reasoning.starts import Start
from tests.reasoning.history import given, onsets, weigh


def bench(selection: str = "alternate", lanes: bool = False, **features: Any) -> Fitted:
    """Two channels with a fault each, one shared zone: off, or where ``lanes`` a lane's driver failed."""
    source = {"source": ["bench"]}
    shared = {"title": "Off", "part": "supply", "prior": 0.02, "lights": 0.05, "tells": "-", **source}
    driver = shared | {"title": "Lane", "lights": 0.5, "by_lane": True}
    dead = {"title": "Dead {channel}", "part": "exciter", "prior": 0.04, "lights": 0.03, "tells": "-", **source}
    dead["active"] = {"steady": 0.8, "hot": 0.95}
    if lanes:
        features |= {"lanes": "two", "lanes-alternate": True, "lane-every": 2}
    looked = {"modes": ["healthy"], "gives": {"good": 0.9, "bad": 0.1}}
    data = {
        "sources": {"bench": {"title": "B", "kind": "judgement"}},
        "zones": {
            "channel": {"title": "Channel {channel}", "per": "channel", "lights": 0.98, "modes": {"dead": dead}}
            | source,
            "shared": {"title": "S", "lights": 0.997, "modes": {"driver": driver} if lanes else {"off": shared}}
            | source,
        },
        "checks": {
            "look": {
                "title": "T",
                "purpose": "P",
                "per": "channel",
                "kind": "visual",
                "minutes": 5.0,
                "outcomes": {o: {"title": o, "means": o} for o in ("good", "bad")},
                "given": {"channel": [looked]},
                **source,
            }
        },
        "complaints": {"dark": {"title": "Dark", "says": ["dark"], "verify": ["look"], **source}},
        "engines": {
            "bench": {
                "title": "Bench",
                "channels": ["A", "B"],
                "selection": selection,
                "features": features,
                "zones": ["channel", "shared"],
                "weights": {"hangar": {"hand_over": 10.0, "escalate": 500.0, "missed": 500.0}},
                **source,
            }
        },
    }
    return fit(Knowledge.model_validate(data), "bench")


def written_out(model: Model, starts: list[Start]) -> np.ndarray:
    """The posterior over the joint, each cell by itself; and the evidence up to what is the same for all."""
    joint = np.zeros(model.shape)
    zones = [model.fitted.zones[key] for key in model.zones]
    for at in itertools.product(*(range(len(zone.states)) for zone in zones)):
        prior = np.prod([zone.prior[i] for zone, i in zip(zones, at, strict=True)])
        states = {zone.key: zone.states[i] for zone, i in zip(zones, at, strict=True)}
        joint[at] = prior * weigh(model.fitted, states, starts)
    return joint / joint.sum()


def told(text: str) -> list[Start]:
    """``A0 B1 ?0h |?1 x? *1 A0:2``: channel (? unknown, * both), lit, h hot, | after a gap, x broken off, lane."""
    found = []
    for word in text.split():
        gap, word = word.startswith("|"), word.removeprefix("|")
        aborted, word = word.startswith("x"), word.removeprefix("x")
        word, _, lane = word.partition(":")
        channel = {"?": "unknown", "*": "both"}.get(word[0], word[0])
        found.append(
            Start(channel, "1" in word[1:], "hot" if "h" in word else "steady", lane=lane, aborted=aborted, gap=gap)
        )
    return found


@pytest.mark.parametrize(
    "text",
    [
        *("?0 ?1 ?0 ?1", "?0 ?1 |?0 ?1 ?0", "?1 ?1 ?0 ?1 ?0", "A0 ?1 ?0 B1 ?0", "A1 A1 ?0", "?0h |B1 ?0h"),
        *("?1 *1 *0 ?0", "?0", "?1 ?0"),
        *("?0 x?0 ?1 ?0", "x? ?0 ?1 xB ?0", "A0 B1 A0 B1", "*1 *1 A1 B0", "A0h |B1 |A0"),
    ],
)
@pytest.mark.parametrize("counts", [True, False, None])
def test_histories_with_holes_are_the_sum_over_every_course(text: str, counts: bool | None) -> None:
    features = {} if counts is None else {"aborted-start-counts": counts}
    model = Model(bench(**features))
    found = Belief.before(model).starts(told(text)).joint
    assert found == pytest.approx(written_out(model, told(text)), rel=1e-9, abs=1e-15)


@pytest.mark.parametrize(
    "text", ["?0 ?0 ?1 ?1", "?0 |?0 ?1", "A0:1 B0:1 A1:2", "?0:2 ?1 ?1:1 ?0", "?0 x?:1 ?0 ?1", "A0:1 B1:2 *1"]
)
def test_lanes_and_igniters_in_turn_are_the_sum_over_every_course(text: str) -> None:
    model = Model(bench(lanes=True, **{"aborted-start-counts": True}))
    starts = told(text)
    if all(s.channel != "unknown" for s in starts):
        # Channels that are all told need no turn of their own; one that is out of turn says that something is missing.
        starts = [Start("unknown", *list(vars(s).values())[1:]) for s in starts]
    found = Belief.before(model).starts(starts).joint
    assert found == pytest.approx(written_out(model, starts), rel=1e-9, abs=1e-15)


def test_when_a_fault_came_is_the_sum_over_every_onset() -> None:
    # [published theorem] Bayes: P(onset i | results) is in proportion to P(onset i) P(results | onset i).
    model = Model(bench())
    starts = told("?1 ?1 |?1 ?0 ?1 ?0")
    belief = Belief.before(model).starts(starts)
    found = history.onset(model, starts, belief.joint, "channel/A")
    chances = onsets(starts)
    expected = []
    for first, chance in enumerate(chances):
        total = 0.0
        for b, s in itertools.product(("healthy", "dead"), ("healthy", "off")):
            zones = model.fitted.zones
            prior = zones["channel/B"].prior[b != "healthy"] * zones["shared"].prior[s != "healthy"]
            for came in itertools.product(
                range(len(chances)) if b != "healthy" else [0], range(len(chances)) if s != "healthy" else [0]
            ):
                weight = prior
                weight *= chances[came[0]] if b != "healthy" else 1
                weight *= chances[came[1]] if s != "healthy" else 1
                then = [
                    {
                        "channel/A": "dead" if first <= i else "healthy",
                        "channel/B": b if came[0] <= i else "healthy",
                        "shared": s if came[1] <= i else "healthy",
                    }
                    for i in range(len(starts))
                ]
                total += weight * given(model.fitted, then, starts)
        expected.append(chance * total)
    assert found == pytest.approx(np.array(expected) / sum(expected), rel=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_the_rank_tests_are_those_of_scipy(seed: int) -> None:
    # [reference library] scipy.stats.kendalltau, mannwhitneyu and theilslopes; ties in every other set.
    rng = random.Random(seed)
    size = 12 + 3 * seed
    values = [round(rng.gauss(5, 1), 1 if seed % 2 else 9) + 0.02 * i for i in range(size)]
    others = [round(rng.gauss(5.3, 1), 1 if seed % 2 else 9) for _ in range(9)]
    s, variance = kendall(values)
    found = stats.kendalltau(range(size), values, method="asymptotic")
    assert 2 * stats.norm.sf(abs(s) / sqrt(variance)) == pytest.approx(found.pvalue, rel=1e-9)
    assert (s > 0) == (found.statistic > 0)
    u, spread = rank_sum(values, others)
    reference = stats.mannwhitneyu(values, others, alternative="greater", method="asymptotic", use_continuity=False)
    assert u == pytest.approx(reference.statistic)
    z = (u - size * len(others) / 2) / sqrt(spread)
    assert stats.norm.sf(z) == pytest.approx(reference.pvalue, rel=1e-9)
    assert slope(values) == pytest.approx(stats.theilslopes(values).slope, rel=1e-9)


def timed(rng: random.Random, count: int, later: float = 0.0, rise: float = 0.0, both: float = 0.0) -> list[Start]:
    """Starts on A and B in turn, hot and cold; A later by so many seconds, or rising by so many a start; or both."""
    found = []
    for i in range(count):
        mean = 6.0 if i % 3 else 9.0
        mean += (later + rise * i if i % 2 == 0 else 0.0) + both * i
        seconds = mean * rng.lognormvariate(0, 0.08)
        found.append(Start("AB"[i % 2], True, "hot" if i % 3 else "cold", seconds=seconds))
    return found


def test_a_good_channel_is_seldom_called_slow_and_a_weak_one_mostly() -> None:
    # [our judgement, in the knowledge] a good channel is called slow 6 % of the time, so no more than that may come of
    # two tests at 2.5 % each; by the binomial 150 histories stay under 11 % then, 99 times in a hundred.
    rng = random.Random(5)
    good = [light_times(timed(rng, 40), "AB") for _ in range(75)]
    slow = sum(found[c].verdict == "longer" for found in good for c in "AB")
    assert slow <= stats.binom.ppf(0.99, 150, 0.06)
    weak = [light_times(timed(rng, 40, later=1.0), "AB") for _ in range(20)]
    assert sum(found["A"].verdict == "longer" for found in weak) >= 18
    assert not any(found["B"].verdict == "longer" for found in weak)
    rising = [light_times(timed(rng, 40, rise=0.05), "AB") for _ in range(20)]
    assert sum(found["A"].verdict == "longer" for found in rising) >= 18
    # What makes both slower, such as the season or the fuel, is no one channel.
    together = [light_times(timed(rng, 40, both=0.05), "AB") for _ in range(20)]
    assert sum(found[c].verdict == "longer" for found in together for c in "AB") <= 4

"""What earlier cases leave, against a reference library: pyAgrum, on the same story as an unrolled network.

[reference library] The zones of a small aircraft stand once for each time at which something changes: as the first
case found them, after its repair, as the second case found them, and now. Between two times a zone stays with a share
2 ** (-days / half-life) and is else drawn from its prior; the repair's figures are written here by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyagrum
import pytest

from isolate.case.believed import HALF_LIFE_DAYS, SHOP_BLAMES, SHOP_MISSES, believed
from isolate.case.case import Earlier, Evidence, Intake
from isolate.reasoning.belief import Model
from tests.reasoning.test_belief import small

STATES = {
    "channel/A": ["healthy", "dead", "weak"],
    "channel/B": ["healthy", "dead", "weak"],
    "shared": ["healthy", "off"],
}
PRIOR = {"channel/A": [0.87, 0.04, 0.09], "channel/B": [0.87, 0.04, 0.09], "shared": [0.98, 0.02]}
LOOK = {"healthy": [0.9, 0.07, 0.03], "dead": [0.2, 0.3, 0.5], "weak": [0.2, 0.3, 0.5]}
CHANGE = [[0.95, 0.0, 0.05], [0.76, 0.2, 0.04], [0.0, 0.0, 1.0]]
"""Changing clears ``dead`` in 80 of 100, not ``weak``; of what is healthy then, 5 of 100 are left weak."""
OUTCOMES = ["good", "poor", "bad"]


class Unrolled:
    def __init__(self) -> None:
        self.net = pyagrum.BayesNet("story")
        self.evidence: dict[str, str] = {}

    def node(self, name: str, states: list[str], parent: str, table: list[list[float]]) -> str:
        self.net.add(pyagrum.LabelizedVariable(name, name, states))
        if parent:
            self.net.addArc(parent, name)
            for i, row in enumerate(table):
                self.net.cpt(name)[{parent: i}] = row
        else:
            self.net.cpt(name).fillWith(table[0])
        return name

    def later(self, zone: str, was: str, name: str, days: float) -> str:
        share, prior = 2 ** (-days / HALF_LIFE_DAYS), PRIOR[zone]
        n = len(prior)
        rows = [[share * (i == j) + (1 - share) * prior[j] for j in range(n)] for i in range(n)]
        return self.node(name, STATES[zone], was, rows)

    def look(self, at: str, name: str, outcome: str) -> None:
        self.evidence[self.node(name, OUTCOMES, at, list(LOOK.values()))] = outcome


def story(first: float, second: float, shop: str = "") -> tuple[Unrolled, dict[str, str]]:
    """Return the network and the last node of each zone.

    Case one, ``first`` days ago: A looks bad, is changed, looks good; case two: B looks poor; now: A reads poor on a
    meter. The look itself, done again, would stand in place of the earlier one (tests/case/test_inherit.py).
    """
    u = Unrolled()
    at = {zone: u.node(f"{zone} 0", STATES[zone], "", [PRIOR[zone]]) for zone in STATES}
    u.look(at["channel/A"], "look A 0", "bad")
    if shop:
        # Of the part that came off both faults are its own, cleared by a change or not. The shop confirms a bad one
        # less often than it is bad, and seldom blames a good one.
        misses, blames = SHOP_MISSES, SHOP_BLAMES
        rows = {"confirmed": [blames, 1.0, 1.0], "not-confirmed": [1.0, misses, misses]}[shop]
        # Only the ratio of the likelihoods matters, so half of each keeps them probabilities.
        u.node("shop", ["said", "else"], at["channel/A"], [[0.5 * r, 1 - 0.5 * r] for r in rows])
        u.evidence["shop"] = "said"
    at["channel/A"] = u.node("channel/A 1", STATES["channel/A"], at["channel/A"], CHANGE)
    u.look(at["channel/A"], "look A 1", "good")
    at = {zone: u.later(zone, was, f"{zone} 2", first - second) for zone, was in at.items()}
    u.look(at["channel/B"], "look B 2", "poor")
    at = {zone: u.later(zone, was, f"{zone} 3", second) for zone, was in at.items()}
    u.look(at["channel/A"], "look A 3", "poor")
    return u, at


def told(**more: object) -> dict[str, object]:
    return {"aircraft": "117", "position": "2", "engine": "bench", "complaint": "dark", **more}


def answered(seq: int, key: str, outcome: str) -> Evidence:
    return Evidence(seq, "answer", key, outcome)


def earlier(first: float, second: float, shop: str) -> tuple[Earlier, ...]:
    one = (answered(2, "look/A", "bad"), Evidence(3, "repair", "change/A"), answered(4, "look/A", "good"))
    found = (("change/A", shop),) if shop else ()
    return (
        Earlier("one", first, "x", "dark", "", told(), one, found),
        Earlier("two", second, "x", "dark", "", told(), (answered(2, "look/B", "poor"),)),
    )


@pytest.mark.parametrize("shop", ["", "confirmed", "not-confirmed"])
@pytest.mark.parametrize(("first", "second"), [(0.0, 0.0), (12.0, 3.0), (45.5, 31.0), (390.0, 12.0)])
def test_earlier_cases_leave_what_the_unrolled_network_says(first: float, second: float, shop: str) -> None:
    model = Model(small())
    intake = Intake("117", "2", "bench", "dark", earlier=earlier(first, second, shop))
    belief = believed(model, intake, [answered(2, "meter/A", "poor")])
    unrolled, at = story(first, second, shop)
    inference = pyagrum.LazyPropagation(unrolled.net)
    inference.setEvidence(unrolled.evidence)
    inference.makeInference()
    for zone, node in at.items():
        assert belief.zone(zone) == pytest.approx(inference.posterior(node).toarray(), abs=1e-12), zone


def test_the_figures_written_here_are_those_of_the_aircraft() -> None:
    fitted = small()
    for zone, prior in PRIOR.items():
        assert fitted.zones[zone].prior == pytest.approx(prior) and list(fitted.zones[zone].states) == STATES[zone]
    for check in ("look/A", "meter/A"):
        assert np.asarray(fitted.check(check).given["channel/A"]) == pytest.approx(np.array(list(LOOK.values())))
    assert Model(fitted).transition(fitted.repair("change/A"), "channel/A") == pytest.approx(np.array(CHANGE))


def test_the_order_in_which_they_are_told_does_not_matter() -> None:
    model = Model(small())
    intake = Intake("117", "2", "bench", "dark", earlier=earlier(45.0, 12.0, ""))
    turned = replace(intake, earlier=tuple(reversed(intake.earlier)))
    assert np.array_equal(believed(model, intake, []).joint, believed(model, turned, []).joint)
    swapped = replace(intake, earlier=tuple(replace(e, days=57 - e.days) for e in intake.earlier))
    assert believed(model, intake, []).joint != pytest.approx(believed(model, swapped, []).joint, abs=1e-4)

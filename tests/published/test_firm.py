"""How firm a verdict is, against a reference library: pyAgrum (published), on a small aircraft written out here.

The network is built from the figures below and shares nothing with isolate but them: its own rows, its own mixture for
a fault that shows part of the time, its own worst of two zones, its own repair. Each figure is searched by halving over
really altered tables, one at a time, and the least factors have to be those that :mod:`isolate.review.firm` tells.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log

import numpy as np
import pyagrum
import pytest

from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.review.firm import ALIKE, LARGEST, firm
from isolate.review.shapes import Firm, Weak
from tests.reasoning.test_belief import small

CHANNEL, SHARED, OUTCOMES = ["healthy", "dead", "weak"], ["healthy", "off"], ["good", "poor", "bad"]
PRIORS = {"dead": 0.04, "weak": 0.09, "off": 0.02}
ROWS = {"healthy": [0.9, 0.07, 0.03], "dead": [0.2, 0.3, 0.5], "weak": [0.2, 0.3, 0.5], "off": [0.1, 0.2, 0.7]}
SHOWS = {"healthy": 1.0, "dead": 1.0, "weak": 0.3}
FLOOR = 1e-4
ANSWERS = [("look/B", "poor"), ("ear/B", "bad"), ("meter/A", "good")]
SINCE = [("look/B", "good"), ("meter/B", "good")]
Figure = tuple[str, str, str]
"""Check, zone as the check has it, state."""


def row(values: list[float], at: int, value: float) -> list[float]:
    """Set one figure of a row; the rest keeps its proportions, none below the floor."""
    rest = sum(v for i, v in enumerate(values) if i != at)
    found = [value if i == at else max(FLOOR, v * (1 - value) / rest) for i, v in enumerate(values)]
    over = sum(found) - 1
    spare = sum(v - FLOOR for i, v in enumerate(found) if i != at)
    if over > 1e-15:
        found = [v if i == at else v - over * (v - FLOOR) / spare for i, v in enumerate(found)]
    return found


class Small:
    """The aircraft as a network, with the figures that may be altered: rows of each check by themselves, and priors."""

    def __init__(self) -> None:
        self.rows = {
            (check, zone, state): list(ROWS[state])
            for check, zones in {"look": ["channel"], "meter": ["channel"], "ear": ["channel", "shared"]}.items()
            for zone in zones
            for state in (CHANNEL if zone == "channel" else SHARED)
        }
        self.priors = dict(PRIORS)

    def before(self, zone: str) -> dict[str, float]:
        """Return P(the zone's state before the repair | all the answers)."""
        net = pyagrum.BayesNet()
        for key, states in (("A", CHANNEL), ("B", CHANNEL), ("S", SHARED), ("B2", CHANNEL)):
            net.add(pyagrum.LabelizedVariable(key, key, states))
        net.addArc("B", "B2")
        p = self.priors
        for key in "AB":
            net.cpt(key).fillWith([1 - p["dead"] - p["weak"], p["dead"], p["weak"]])
        net.cpt("S").fillWith([1 - p["off"], p["off"]])
        # It clears dead in 8 of 10, and leaves what is then healthy weak in 1 of 20.
        after = np.array([[0.95, 0, 0.05], [0.8 * 0.95, 0.2, 0.8 * 0.05], [0, 0, 1]])
        for i, state in enumerate(CHANNEL):
            net.cpt("B2")[{"B": state}] = list(after[i])
        seen = {}
        for n, (check, outcome) in enumerate([*ANSWERS, *SINCE]):
            name, _, channel = check.partition("/")
            node, at = f"answer{n}", "B2" if channel == "B" and n >= len(ANSWERS) else channel
            net.add(pyagrum.LabelizedVariable(node, node, OUTCOMES))
            net.addArc(at, node)
            alone = [np.array([self.alone(name, state) for state in CHANNEL])]
            if name == "ear":
                net.addArc("S", node)
                alone.append(np.array([self.rows[name, "shared", s] for s in SHARED]))
            for i, state in enumerate(CHANNEL):
                if name != "ear":
                    net.cpt(node)[{at: state}] = list(alone[0][i])
                    continue
                for j, shared in enumerate(SHARED):
                    worst = np.zeros(3)
                    for a in range(3):
                        for b in range(3):
                            worst[max(a, b)] += alone[0][i, a] * alone[1][j, b]
                    worst = np.maximum(worst, FLOOR)
                    net.cpt(node)[{at: state, "S": shared}] = list(worst / worst.sum())
            seen[node] = outcome
        asked = pyagrum.LazyPropagation(net)
        asked.setEvidence(seen)
        asked.makeInference()
        states = SHARED if zone == "S" else CHANNEL
        found = asked.posterior(zone)
        return {state: float(found[{zone: state}]) for state in states}

    def alone(self, check: str, state: str) -> list[float]:
        own, healthy = self.rows[check, "channel", state], self.rows[check, "channel", "healthy"]
        shows = SHOWS[state] if check == "ear" else 1.0
        return [shows * a + (1 - shows) * b for a, b in zip(own, healthy, strict=True)]

    def lead(self) -> str:
        """Return what leads: dead/B, or whatever is more probable now, its own place with nothing wrong among it."""
        b, a, s = self.before("B"), self.before("A"), self.before("S")
        faults = {"weak/B": b["weak"], "dead/A": a["dead"], "weak/A": a["weak"], "off": s["off"]}
        best = max([*faults.items(), ("healthy/B", b["healthy"])], key=lambda f: f[1])
        return best[0] if best[1] > b["dead"] else "dead/B"

    def altered(self, figure: Figure | str, outcome: str, factor: float) -> Small:
        found = Small()
        if isinstance(figure, str):
            found.priors[figure] *= factor
        else:
            at = OUTCOMES.index(outcome)
            found.rows[figure] = row(found.rows[figure], at, found.rows[figure][at] * factor)
        return found


def worked() -> tuple[Event, ...]:
    log = Memory()
    intake = {"aircraft": "104", "position": "2", "engine": "bench", "complaint": "dark", "place": "hangar"}
    items: list[tuple[str, dict[str, object]]] = [("opened", {"intake": intake, "knowledge": ""})]
    items += [("answered", {"check": c, "outcome": o, "minutes": 5}) for c, o in ANSWERS]
    items.append(("repaired", {"repair": "change/B", "minutes": 10, "parts": 0}))
    items += [("answered", {"check": c, "outcome": o, "minutes": 5, "occasion": 1}) for c, o in SINCE]
    named = [{"mode": "dead/B", "repair": "change/B", "probability": 0.5}]
    items.append(("closed", {"end": "verified, fault found", "found": named, "remaining": 0.1, "record": ""}))
    return log.append_all("104-2-bench", items, "2030-01-10T06:00:00.000Z")


@pytest.fixture(scope="module")
def told() -> Firm:
    found = firm(Kit(small()), worked())
    assert found is not None
    return found


def figures() -> Iterator[tuple[Figure | str, str]]:
    """Yield each figure that an answer draws on, with the outcome that it is of, and each prior."""
    for check, outcome in dict.fromkeys((c.partition("/")[0], o) for c, o in [*ANSWERS, *SINCE]):
        for name, zone, state in Small().rows:
            if name == check:
                yield (name, zone, state), outcome
    for mode in PRIORS:
        yield mode, ""


def searched(figure: Figure | str, outcome: str) -> float | None:
    """Return the factor nearest to one at which the lead changes, by halving; None within the limits told."""
    small_ = Small()
    value = small_.priors[figure] if isinstance(figure, str) else small_.rows[figure][OUTCOMES.index(outcome)]
    most = (value + 0.8) / value if isinstance(figure, str) else (1 - 2 * FLOOR) / value
    found = []
    for limit in (min(LARGEST, most), max(1 / LARGEST, FLOOR / value)):
        if small_.altered(figure, outcome, limit).lead() == "dead/B":
            continue
        low, high = 0.0, log(limit)
        for _ in range(14):
            middle = (low + high) / 2
            if small_.altered(figure, outcome, float(np.exp(middle))).lead() == "dead/B":
                low = middle
            else:
                high = middle
        found.append(float(np.exp(high)))
    return min(found, key=lambda f: abs(log(f)), default=None)


def figure_of(weak: Weak) -> tuple[Figure | str, str]:
    if weak.what == "prior":
        return weak.key, ""
    zone, _, state = weak.state.rpartition(":")
    zone = zone or ("shared" if state == "off" else "channel")
    return (weak.key, zone, state), weak.other


def test_the_chances_are_those_of_the_network(told: Firm) -> None:
    b = Small().before("B")
    assert told.verdict == "dead/B" and told.chance == pytest.approx(b["dead"], abs=1e-9)
    second = max(("weak/B", b["weak"]), ("healthy/B", b["healthy"]), key=lambda f: f[1])
    assert told.second == second[0] and told.odds == pytest.approx(b["dead"] / second[1])


def test_each_figure_told_changes_the_lead_at_its_factor_and_not_before(told: Firm) -> None:
    weak = [w for w in told.weak if w.factor is not None]
    assert len(weak) >= 6
    for w in weak:
        assert w.factor is not None
        figure, outcome = figure_of(w)
        beyond = 1.03 if w.factor > 1 else 1 / 1.03
        assert Small().altered(figure, outcome, w.factor * beyond).lead() == w.to, w.said
        assert Small().altered(figure, outcome, w.factor / beyond).lead() == "dead/B", w.said


def test_no_figure_nearer_than_those_told_is_missing(told: Firm) -> None:
    had = {figure_of(w): w for w in told.weak if w.factor is not None}
    last = max(abs(log(w.factor)) for w in had.values() if w.factor is not None)
    kinds: dict[tuple[str, bool], int] = {}
    for (figure, _), w in had.items():
        kind = (figure if isinstance(figure, str) else figure[2], (w.factor or 0) > 1)
        kinds[kind] = kinds.get(kind, 0) + 1
    compared = 0
    for figure, outcome in figures():
        factor = searched(figure, outcome)
        w = had.get((figure, outcome))
        if w is not None and w.factor is not None:
            assert factor is not None and factor == pytest.approx(w.factor, rel=0.02), w.said
            compared += 1
        elif factor is not None and abs(log(factor)) < last - 0.02:
            # Of one state no more than so many are told.
            name = figure if isinstance(figure, str) else figure[2]
            assert kinds.get((name, factor > 1), 0) >= ALIKE, (figure, outcome, factor)
    assert compared == len(had)


def test_each_answer_told_changes_the_lead_and_no_other_does(told: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    had = {(w.seq, w.other): w for w in told.weak if w.what == "answer"}
    answers = [*ANSWERS, *SINCE]
    for n, (check, outcome) in enumerate(answers):
        # The opening is event 1, the repair stands between.
        seq = n + 2 + (n >= len(ANSWERS))
        for other in OUTCOMES:
            if other == outcome:
                continue
            changed = [*answers[:n], (check, other), *answers[n + 1 :]]
            monkeypatch.setattr("tests.published.test_firm.ANSWERS", changed[: len(ANSWERS)])
            monkeypatch.setattr("tests.published.test_firm.SINCE", changed[len(ANSWERS) :])
            lead = Small().lead()
            monkeypatch.undo()
            w = had.get((seq, other))
            assert (w.to if w is not None else "dead/B") == lead, (check, other)
    assert had

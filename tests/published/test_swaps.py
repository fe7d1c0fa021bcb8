"""Parts that changed places, against a reference library: pyAgrum, on the shipped knowledge, to 1e-9.

The network takes each channel apart into the part and the rest of it. What the exchange does is written as nodes that
copy: the part node of one channel after it is that of the other before. It shares nothing with
:mod:`isolate.reasoning.swap` but the entries.
"""

from __future__ import annotations

import random

import numpy as np
import pyagrum
import pytest

from isolate.case.believed import before, through
from isolate.case.case import Evidence, Intake
from isolate.case.chase import Kit
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import Check
from isolate.reasoning.belief import Belief

FLOOR = 1e-4
ANEW = 0.9
"""Share of the faults of fitting that end when the part is fitted anew, as isolate/reasoning/swap.py has it."""
KNOWLEDGE = load().knowledge
ZONE = KNOWLEDGE.zones["channel"]
HF3 = KNOWLEDGE.engines["halden-hf-3"]


def here(only: dict[str, object]) -> bool:
    for feature, wanted in only.items():
        value = HF3.features.get(feature)
        if value is None or (value not in wanted if isinstance(wanted, list) else value != wanted):
            return False
    return True


MODES = [name for name, mode in ZONE.modes.items() if here(mode.only) and name not in HF3.omits.modes]
STATES = ["healthy", *MODES]
LOOKS = [
    name
    for name, check in KNOWLEDGE.checks.items()
    if check.per == "channel" and set(check.given) == {"channel"} and check.kind in ("visual", "measurement")
    and check.repeats is None and here(check.only) and name not in HF3.omits.checks
]  # fmt: skip


def lights(state: str) -> float:
    mode = ZONE.modes[state]
    active = mode.active.get("steady", 1.0) if isinstance(mode.active, dict) else mode.active
    return float(active * mode.lights + (1 - active) * ZONE.lights)


def rows(check: Check) -> np.ndarray:
    """Return P(outcome | state) of a look at one channel, shape (states, outcomes)."""
    written = {mode: row.gives for row in check.given["channel"] for mode in row.modes}

    def of(state: str) -> str:
        while state not in written and state != "healthy":
            state = ZONE.modes[state].like or "healthy"
        return state

    table = np.array([[max(FLOOR, written[of(s)].get(o, 0.0)) for o in check.outcomes] for s in STATES])
    table /= table.sum(axis=1, keepdims=True)
    table = np.maximum(table, FLOOR)
    return table / table.sum(axis=1, keepdims=True)


class Exchanged:
    """Two channels before and after their parts of one name changed places, as a network."""

    def __init__(self, part: str) -> None:
        self.net = pyagrum.BayesNet("exchange")
        self.goes = ["healthy", *(m for m in MODES if ZONE.modes[m].part == part and not ZONE.modes[m].anew)]
        self.stays = ["healthy", *(m for m in MODES if m not in self.goes)]
        priors = [HF3.priors.get(m, ZONE.modes[m].prior) for m in MODES]
        for c in "AB":
            self.add(f"zone{c}", STATES, [], np.array([1 - sum(priors), *priors]))
            refitted = np.eye(len(STATES))
            for i, state in enumerate(STATES):
                if i and ZONE.modes[state].part == part and ZONE.modes[state].anew:
                    refitted[i, i], refitted[i, 0] = 1 - ANEW, ANEW
            self.add(f"refitted{c}", STATES, [f"zone{c}"], refitted)
            for name, kept in (("part", self.goes), ("place", self.stays)):
                self.add(f"{name}{c}", kept, [f"refitted{c}"], self.copy(STATES, kept))
        for c, other in ("AB", "BA"):
            self.add(f"came{c}", self.goes, [f"part{other}"], np.eye(len(self.goes)))
            table = np.zeros((len(self.goes), len(self.stays), len(STATES)))
            for i, came in enumerate(self.goes):
                for j, left in enumerate(self.stays):
                    faults = [s for s in (left, came) if s != "healthy"]
                    # Of two alike min keeps the first, which is the one that stays.
                    table[i, j, STATES.index(min(faults, key=lights) if faults else "healthy")] = 1.0
            self.add(f"after{c}", STATES, [f"came{c}", f"place{c}"], table)

    @staticmethod
    def copy(states: list[str], kept: list[str]) -> np.ndarray:
        table = np.zeros((len(states), len(kept)))
        for i, state in enumerate(states):
            table[i, kept.index(state) if state in kept else 0] = 1.0
        return table

    def add(self, node: str, states: list[str], parents: list[str], table: np.ndarray) -> None:
        self.net.add(pyagrum.LabelizedVariable(node, node, states))
        for parent in parents:
            self.net.addArc(parent, node)
        cpt = self.net.cpt(node)
        assert list(cpt.names) == [node, *parents]
        cpt[:] = np.ascontiguousarray(table.transpose([*reversed(range(len(parents))), len(parents)]))


@pytest.mark.parametrize(("part", "seed"), [("igniter", 0), ("lead", 1)])
def test_belief_and_verdict_across_an_exchange_agree_with_pyagrum(
    kit: Kit, part: str, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = random.Random(seed)
    network = Exchanged(part)
    evidence, seen = [], {}
    for when, zone in ((0, "zone"), (1, "after")):
        for key in rng.sample([f"{name}/{c}" for name in LOOKS for c in "AB"], 7):
            name, _, c = key.partition("/")
            check = KNOWLEDGE.checks[name]
            outcome = rng.choice(list(check.outcomes)[:2])
            network.add(f"{key}:{when}", list(check.outcomes), [f"{zone}{c}"], rows(check))
            seen[f"{key}:{when}"] = outcome
            evidence.append(Evidence(len(evidence), "answer", key, outcome))
        if when == 0:
            evidence.append(Evidence(len(evidence), "swap", f"{part}:A<>B"))
    inference = pyagrum.LazyPropagation(network.net)
    inference.setEvidence(seen)
    for c in "AB":
        inference.addTarget(f"after{c}")
        inference.addTarget(f"zone{c}")
    inference.makeInference()
    found = through(Belief.before(kit.model), evidence)
    for c in "AB":
        want = inference.posterior(f"after{c}").toarray()
        assert found.zone(f"channel/{c}") == pytest.approx(want, abs=1e-9), c
    # What the record says of a part: the state before the exchange, given all that was seen on both sides of it.
    monkeypatch.setattr("isolate.case.believed.told_belief", lambda model, *_: Belief.before(model))
    intake = Intake("104", "1", "halden-hf-3", "no-light-off")
    chances = before(kit.model, intake, evidence, 0, "channel/A")
    assert chances == pytest.approx(inference.posterior("zoneA").toarray(), abs=1e-9)


def test_the_engine_is_the_one_taken_here(kit: Kit) -> None:
    assert kit.model.fitted.zones["channel/A"].states == tuple(STATES)
    assert len(LOOKS) > 10
    assert fit(KNOWLEDGE, "halden-hf-3").channels == ("A", "B")

"""The posterior against a reference library: pyAgrum, on the shipped knowledge, with random evidence, to 1e-9.

The network is built here from the entries as they are written, by direct enumeration of what each zone alone would
yield, and shares nothing with :mod:`isolate.reasoning.belief` or :mod:`isolate.kb.fit` but the entries.
"""

from __future__ import annotations

import itertools
import random

import numpy as np
import pyagrum
import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted
from isolate.kb.model import Check, Row, Zone
from isolate.reasoning.belief import Belief, Start

FLOOR = 1e-4
CHANNELS = ("A", "B")


def floored(values: list[float]) -> np.ndarray:
    raised = np.maximum(np.array(values), FLOOR)
    return raised / raised.sum()


class Network:
    """The shipped zones and checks as an explicit Bayesian network."""

    def __init__(self, hf3: Fitted) -> None:
        self.kb = hf3.knowledge
        self.profile = hf3.profile
        self.net = pyagrum.BayesNet("hf3")
        self.states: dict[str, list[str]] = {}
        self.entry: dict[str, Zone] = {}
        for name in self.profile.zones:
            zone = self.kb.zones[name]
            for channel in CHANNELS if zone.per else ("",):
                key = f"{name}/{channel}" if channel else name
                modes = [m for m in zone.modes if m not in self.profile.omits.modes]
                priors = [self.profile.priors.get(m, zone.modes[m].prior) for m in modes]
                self.states[key] = ["healthy", *modes]
                self.entry[key] = zone
                self.net.add(pyagrum.LabelizedVariable(key, key, self.states[key]))
                self.net.cpt(key).fillWith([1 - sum(priors), *priors])

    def active(self, zone: str, state: str, condition: str) -> float:
        if state == "healthy":
            return 1.0
        active = self.entry[zone].modes[state].active
        return float(active.get(condition, active.get("steady", 1.0))) if isinstance(active, dict) else float(active)

    def row(self, zone: str, state: str, rows: list[Row], check: Check, condition: str) -> np.ndarray:
        def written(of: str) -> np.ndarray:
            gives = next((r.gives for r in rows if of in r.modes), None)
            if gives is None:
                gives = next(r.gives for r in rows if "healthy" in r.modes)
            return floored([gives.get(o, 0.0) for o in check.outcomes])

        if check.kind != "functional":
            return written(state)
        a = self.active(zone, state, condition)
        return a * written(state) + (1 - a) * written("healthy")

    def add_check(self, node: str, check: Check, channel: str, condition: str) -> None:
        parents: list[tuple[str, list[Row]]] = []
        for zone_name, rows in check.given.items():
            for key in self.states:
                name, _, own = key.partition("/")
                wanted = "channel" if zone_name == "others" else zone_name
                if name != wanted:
                    continue
                if zone_name == "others" and own == channel:
                    continue
                if zone_name != "others" and channel and own and own != channel:
                    continue
                parents.append((key, rows))
        outcomes = list(check.outcomes)
        self.net.add(pyagrum.LabelizedVariable(node, node, outcomes))
        for key, _ in parents:
            self.net.addArc(key, node)
        for states in itertools.product(*(self.states[key] for key, _ in parents)):
            alone = [
                self.row(key, state, rows, check, condition)
                for (key, rows), state in zip(parents, states, strict=True)
            ]
            seen = np.zeros(len(outcomes))
            for each in itertools.product(range(len(outcomes)), repeat=len(alone)):
                seen[max(each)] += np.prod([alone[i][o] for i, o in enumerate(each)])
            at = dict(zip([k for k, _ in parents], states, strict=True))
            self.net.cpt(node)[at] = floored(seen.tolist()).tolist()

    def lit(self, states: dict[str, str], channel: str, condition: str) -> float:
        light, dark = 1.0, 1.0
        for key, zone in self.entry.items():
            state = states[key]
            own = key.partition("/")[2]
            healthy = zone.lights
            value = healthy if state == "healthy" else zone.modes[state].lights
            a = self.active(key, state, condition)
            p = a * value + (1 - a) * healthy
            if not own:
                light *= p
            elif channel in ("both", own):
                dark *= 1 - p
        return float(np.clip((1 - dark) * light, FLOOR, 1 - FLOOR))

    def add_start(self, node: str, start: Start) -> None:
        keys = [k for k in self.states if not k.partition("/")[2] or start.channel in ("both", k.partition("/")[2])]
        self.net.add(pyagrum.LabelizedVariable(node, node, ["no", "yes"]))
        for key in keys:
            self.net.addArc(key, node)
        for states in itertools.product(*(self.states[k] for k in keys)):
            at = dict(zip(keys, states, strict=True))
            whole = {k: at.get(k, "healthy") for k in self.states}
            p = self.lit(whole, start.channel, start.condition)
            self.net.cpt(node)[at] = [1 - p, p]


@pytest.mark.parametrize("seed", range(6))
def test_marginals_agree_with_pyagrum(hf3: Fitted, kit: Kit, seed: int) -> None:
    rng = random.Random(seed)
    condition = rng.choice(["steady", "cold", "hot", "wet", "vibrating"])
    network = Network(hf3)
    belief = Belief.before(kit.model)
    evidence: dict[str, str] = {}
    starts = [Start(rng.choice(["A", "B"]), rng.random() < 0.5, condition) for _ in range(rng.randrange(0, 4))]  # type: ignore[arg-type]
    for i, start in enumerate(starts):
        network.add_start(f"start {i}", start)
        evidence[f"start {i}"] = "yes" if start.lit else "no"
    belief = belief.starts(starts)
    keys = rng.sample(sorted(hf3.checks), 7)
    for key in keys:
        name, _, channel = key.partition("/")
        check = hf3.knowledge.checks[name]
        network.add_check(key, check, channel, condition)
        outcome = rng.choice(list(check.outcomes))
        evidence[key] = outcome
        belief = belief.answer(key, outcome, condition)  # type: ignore[arg-type]
    inference = pyagrum.LazyPropagation(network.net)
    inference.setEvidence(evidence)
    inference.makeInference()
    for key in network.states:
        assert belief.zone(key) == pytest.approx(inference.posterior(key).toarray(), abs=1e-9), (key, evidence)
    assert belief.log_evidence == pytest.approx(np.log(inference.evidenceProbability()), abs=1e-6)


def test_the_profile_has_two_channels(hf3: Fitted) -> None:
    assert hf3.channels == CHANNELS


def test_repeated_trials_share_a_disposition(hf3: Fitted, kit: Kit) -> None:
    # The explicit network: a hidden coin "same" (share of the entry) with, under it, one trial copied k times, else
    # k independent trials.
    key = next(k for k, c in hf3.checks.items() if c.repeats is not None and c.repeats.most >= 3)
    check = hf3.checks[key]
    assert check.repeats is not None
    network = Network(hf3)
    network.net.add(pyagrum.LabelizedVariable("same", "same", ["no", "yes"]))
    network.net.cpt("same").fillWith([1 - check.repeats.same, check.repeats.same])
    channel = key.partition("/")[2]
    network.add_check("trial 0", check.entry, channel, "steady")
    parents = [network.net.variable(p).name() for p in network.net.parents("trial 0")]
    for i in (1, 2):
        node = f"trial {i}"
        network.net.add(pyagrum.LabelizedVariable(node, node, list(check.outcomes)))
        for parent in [*parents, "same", "trial 0"]:
            network.net.addArc(parent, node)
        for states in itertools.product(*(network.states[p] for p in parents)):
            at = dict(zip(parents, states, strict=True))
            fresh = network.net.cpt("trial 0")[at]
            for j, first in enumerate(check.outcomes):
                network.net.cpt(node)[{**at, "same": "no", "trial 0": first}] = list(fresh)
                copy = [1.0 if o == j else 0.0 for o in range(len(check.outcomes))]
                network.net.cpt(node)[{**at, "same": "yes", "trial 0": first}] = copy
    for outcomes in (
        [check.outcomes[-1]] * 3,
        [check.outcomes[0], check.outcomes[0], check.outcomes[-1]],
    ):
        belief = Belief.before(kit.model)
        for outcome in outcomes:
            belief = belief.answer(key, outcome)
        inference = pyagrum.LazyPropagation(network.net)
        inference.setEvidence({f"trial {i}": o for i, o in enumerate(outcomes)})
        inference.makeInference()
        for zone in network.states:
            assert belief.zone(zone) == pytest.approx(inference.posterior(zone).toarray(), abs=1e-9)

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
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import Check, Row, Zone
from isolate.reasoning.belief import Belief
from isolate.reasoning.starts import Start

FLOOR = 1e-4
ENGINES = {"halden-hf-3": ("A", "B"), "halden-hf-5": ("A", "B"), "orrin-t-9": ("1", "2")}


def floored(values: np.ndarray) -> np.ndarray:
    raised = np.maximum(values, FLOOR)
    return raised / raised.sum(axis=-1, keepdims=True)


@pytest.fixture(scope="module", params=ENGINES)
def engine(request: pytest.FixtureRequest) -> Fitted:
    return fit(load().knowledge, request.param)


class Network:
    """The shipped zones and checks as an explicit Bayesian network."""

    def __init__(self, fitted: Fitted) -> None:
        self.kb = fitted.knowledge
        self.profile = fitted.profile
        self.net = pyagrum.BayesNet("aircraft")
        self.states: dict[str, list[str]] = {}
        self.entry: dict[str, Zone] = {}
        for name in self.profile.zones:
            zone = self.kb.zones[name]
            for channel in ENGINES[fitted.name] if zone.per else ("",):
                key = f"{name}/{channel}" if channel else name
                modes = [m for m in zone.modes if m not in self.profile.omits.modes and self.here(zone.modes[m].only)]
                priors = [self.profile.priors.get(m, zone.modes[m].prior) for m in modes]
                self.states[key] = ["healthy", *modes]
                self.entry[key] = zone
                self.net.add(pyagrum.LabelizedVariable(key, key, self.states[key]))
                self.net.cpt(key).fillWith([1 - sum(priors), *priors])

    def here(self, only: dict[str, object]) -> bool:
        for feature, wanted in only.items():
            value = self.profile.features.get(feature)
            if value is None or (value not in wanted if isinstance(wanted, list) else value != wanted):
                return False
        return True

    def active(self, zone: str, state: str, condition: str) -> float:
        if state == "healthy":
            return 1.0
        active = self.entry[zone].modes[state].active
        return float(active.get(condition, active.get("steady", 1.0))) if isinstance(active, dict) else float(active)

    def row(self, zone: str, state: str, rows: list[Row], check: Check, condition: str) -> np.ndarray:
        def written(of: str) -> np.ndarray:
            for row in rows:
                if of in row.modes:
                    return floored(np.array([row.gives.get(o, 0.0) for o in check.outcomes]))
            # No row of its own: as the mode it is like, else as healthy.
            like = None if of == "healthy" else self.entry[zone].modes[of].like
            return written(like or "healthy")

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
        alone = [
            np.array([self.row(key, state, rows, check, condition) for state in self.states[key]])
            for key, rows in parents
        ]
        seen = np.zeros([*(len(a) for a in alone), len(outcomes)])
        for each in itertools.product(range(len(outcomes)), repeat=len(alone)):
            joint = np.ones([1] * len(alone))
            for axis, (of, outcome) in enumerate(zip(alone, each, strict=True)):
                joint = joint * of[:, outcome].reshape([-1 if i == axis else 1 for i in range(len(alone))])
            seen[..., max(each)] += joint
        self.fill(node, [key for key, _ in parents], floored(seen))

    def fill(self, node: str, parents: list[str], table: np.ndarray) -> None:
        """Set the CPT of a node; the table has one axis a parent, then the node's own."""
        cpt = self.net.cpt(node)
        # pyAgrum's arrays have the variables in the reverse of the order in which they were added, the node first.
        assert list(cpt.names) == [node, *parents]
        cpt[:] = np.ascontiguousarray(table.transpose([*reversed(range(len(parents))), len(parents)]))

    def lights(self, key: str, condition: str) -> np.ndarray:
        zone = self.entry[key]
        found = []
        for state in self.states[key]:
            value = zone.lights if state == "healthy" else zone.modes[state].lights
            a = self.active(key, state, condition)
            found.append(a * value + (1 - a) * zone.lights)
        return np.array(found)

    def add_start(self, node: str, start: Start) -> None:
        keys = [k for k in self.states if not k.partition("/")[2] or start.channel in ("both", k.partition("/")[2])]
        self.net.add(pyagrum.LabelizedVariable(node, node, ["no", "yes"]))
        for key in keys:
            self.net.addArc(key, node)
        light, dark = np.ones([1] * len(keys)), np.ones([1] * len(keys))
        for axis, key in enumerate(keys):
            p = self.lights(key, start.condition).reshape([-1 if i == axis else 1 for i in range(len(keys))])
            if key.partition("/")[2]:
                dark = dark * (1 - p)
            else:
                light = light * p
        lit = np.clip((1 - dark) * light, FLOOR, 1 - FLOOR)
        self.fill(node, keys, np.stack([1 - lit, lit], axis=-1))


@pytest.mark.parametrize("seed", range(4))
def test_marginals_agree_with_pyagrum(engine: Fitted, seed: int) -> None:
    kit = Kit(engine)
    channels = [*ENGINES[engine.name], "both"]
    rng = random.Random(seed)
    condition = rng.choice(["steady", "cold", "hot", "wet", "vibrating"])
    network = Network(engine)
    belief = Belief.before(kit.model)
    evidence: dict[str, str] = {}
    starts = [Start(rng.choice(channels), rng.random() < 0.5, condition) for _ in range(rng.randrange(0, 4))]  # type: ignore[arg-type]
    for i, start in enumerate(starts):
        network.add_start(f"start {i}", start)
        evidence[f"start {i}"] = "yes" if start.lit else "no"
    belief = belief.starts(starts)
    keys = rng.sample(sorted(engine.checks), 7)
    for key in keys:
        name, _, channel = key.partition("/")
        check = engine.knowledge.checks[name]
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


def test_the_engines_have_the_channels_taken_here(engine: Fitted) -> None:
    assert engine.channels == ENGINES[engine.name]


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
    parents = list(network.net.cpt("trial 0").names)[1:]
    for i in (1, 2):
        node = f"trial {i}"
        network.net.add(pyagrum.LabelizedVariable(node, node, list(check.outcomes)))
        for parent in [*parents, "same", "trial 0"]:
            network.net.addArc(parent, node)
        trial = network.net.cpt("trial 0")[:]  # parents in reverse, then the outcome
        count = len(check.outcomes)
        table = np.empty([*trial.shape[:-1], 2, count, count])
        table[..., 0, :, :] = trial[..., None, :]
        table[..., 1, :, :] = np.eye(count)
        # Axes now: parents in reverse, same, first trial, this trial.
        n = len(parents)
        network.fill(node, [*parents, "same", "trial 0"], table.transpose([*reversed(range(n)), n, n + 1, n + 2]))
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

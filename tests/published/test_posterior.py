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
from isolate.reasoning.starts import ONSET, SLIP, Start

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
        """``condition``: its name, ``name:share`` where it prevails by that share, or both of two with ``+``."""
        if state == "healthy":
            return 1.0
        active = self.entry[zone].modes[state].active
        if not isinstance(active, dict):
            return float(active)
        usual = float(active.get("steady", 1.0))
        found = []
        for told in condition.split("+"):
            name, _, share = told.partition(":")
            part = float(share or 1)
            found.append(part * float(active.get(name, usual)) + (1 - part) * usual)
        return max(found)

    def showing(self, zone: str, state: str, condition: str) -> float:
        """Return the chance that a switch is on: a state that flickers is drawn at each answer instead."""
        if state != "healthy" and self.entry[zone].modes[state].flickers:
            return 1.0
        return self.active(zone, state, condition)

    def switch(self, zone: str, condition: str, occasion: str) -> str:
        """Return the node that says whether the zone's fault shows on an occasion, made on first asking."""
        node = f"{zone} shows {condition.replace(':', ' by ').replace('+', ' and ')} {occasion}"
        if node not in self.net.names():
            self.net.add(pyagrum.LabelizedVariable(node, node, ["off", "on"]))
            self.net.addArc(zone, node)
            on = np.array([self.showing(zone, state, condition) for state in self.states[zone]])
            self.fill(node, [zone], np.stack([1 - on, on], axis=-1))
        return node

    def row(
        self, zone: str, state: str, rows: list[Row], check: Check, condition: str, on: bool | None = None
    ) -> np.ndarray:
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
        if on is not None and not (state != "healthy" and self.entry[zone].modes[state].flickers):
            a = float(on)
        return a * written(state) + (1 - a) * written("healthy")

    def add_check(self, node: str, check: Check, channel: str, condition: str, occasion: str = "0") -> None:
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
        for own, part in check.makes.items():
            condition = f"{condition}+{own}:{part}"
        self.net.add(pyagrum.LabelizedVariable(node, node, outcomes))
        for key, _ in parents:
            self.net.addArc(key, node)
        if check.kind == "functional" and not check.starts:
            self.switched(node, check, parents, condition, occasion)
            return
        alone = [
            np.array([self.row(key, state, rows, check, condition) for state in self.states[key]])
            for key, rows in parents
        ]
        self.fill(node, [key for key, _ in parents], self.worst(alone, len(outcomes)))

    def switched(
        self, node: str, check: Check, parents: list[tuple[str, list[Row]]], condition: str, occasion: str
    ) -> None:
        """Fill in a check that sees what shows on its occasion: each zone has its switch beside it."""
        switches = [self.switch(key, condition, occasion) for key, _ in parents]
        for switch in switches:
            self.net.addArc(switch, node)
        n = len(parents)
        shape = [*(len(self.states[key]) for key, _ in parents), *([2] * n), len(check.outcomes)]
        table = np.zeros(shape)
        for on in itertools.product((0, 1), repeat=n):
            alone = [
                np.array([self.row(key, state, rows, check, condition, bool(s)) for state in self.states[key]])
                for (key, rows), s in zip(parents, on, strict=True)
            ]
            table[(*[slice(None)] * n, *on)] = self.worst(alone, len(check.outcomes))
        self.fill(node, [*(key for key, _ in parents), *switches], table)

    @staticmethod
    def worst(alone: list[np.ndarray], count: int) -> np.ndarray:
        """Return P(the worst of what each zone alone would yield), one axis a zone, then the outcome."""
        seen = np.zeros([*(len(a) for a in alone), count])
        for each in itertools.product(range(count), repeat=len(alone)):
            joint = np.ones([1] * len(alone))
            for axis, (of, outcome) in enumerate(zip(alone, each, strict=True)):
                joint = joint * of[:, outcome].reshape([-1 if i == axis else 1 for i in range(len(alone))])
            seen[..., max(each)] += joint
        return floored(seen)

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

    def add_starts(self, starts: list[Start]) -> None:
        """Add starts, oldest first: at each, whether each zone's fault was there already, and where lanes stand."""
        q = ONSET / (1 + ONSET)
        for i in reversed(range(len(starts))):
            for key in self.states:
                # There at this start: with q, where it was there at the next one (after the newest: where it is now).
                node, later = f"{key} at {i}", f"{key} at {i + 1}"
                self.net.add(pyagrum.LabelizedVariable(node, node, ["no", "yes"]))
                if i + 1 == len(starts):
                    self.net.cpt(node).fillWith([1 - q, q])
                else:
                    self.net.addArc(later, node)
                    self.fill(node, [later], np.array([[1.0, 0.0], [1 - q, q]]))
        turns = self.profile.features.get("lane-every", 0)
        places = 2 * int(turns)
        for i, start in enumerate(starts):
            if turns:
                node = f"lane at {i}"
                self.net.add(pyagrum.LabelizedVariable(node, node, [str(p) for p in range(places)]))
                if i == 0:
                    self.net.cpt(node).fillWith([1 / places] * places)
                else:
                    # Out of its turn a channel says that something is missing: then the lanes are anywhere.
                    slip = SLIP if start.channel != starts[i - 1].channel else 1.0
                    self.net.addArc(f"lane at {i - 1}", node)
                    moved = np.roll(np.eye(places), 1, axis=1)
                    self.fill(node, [f"lane at {i - 1}"], (1 - slip) * moved + slip / places)
            self.add_start(i, start, places)

    def add_start(self, i: int, start: Start, places: int) -> None:
        node = f"start {i}"
        keys = [k for k in self.states if not k.partition("/")[2] or start.channel in ("both", k.partition("/")[2])]
        self.net.add(pyagrum.LabelizedVariable(node, node, ["no", "yes"]))
        parents = [name for key in keys for name in (key, f"{key} at {i}")] + ([f"lane at {i}"] if places else [])
        for parent in parents:
            self.net.addArc(parent, node)
        axes = len(parents)
        light, dark = np.ones([1] * axes), np.ones([1] * axes)
        for at, key in enumerate(keys):
            p = self.lights(key, start.condition)
            # Axes: the state, there or not, the place of the lanes.
            table = np.empty([len(p), 2, places or 1])
            table[:, 0], table[:, 1] = p[0], p[:, None]
            for state, mode in self.entry[key].modes.items():
                if places and mode.by_lane and state in self.states[key]:
                    # The mean over two lanes is given; the first one has failed, which loses nothing.
                    s = self.states[key].index(state)
                    first = np.arange(places) < places // 2
                    table[s, 1] = np.where(first, max(0.0, 2 * p[s] - p[0]), p[0])
            shape = [1] * axes
            shape[2 * at], shape[2 * at + 1] = len(p), 2
            if places:
                shape[-1] = places
            table = table.reshape(shape)
            if key.partition("/")[2]:
                dark = dark * (1 - table)
            else:
                light = light * table
        lit = np.clip((1 - dark) * light, FLOOR, 1 - FLOOR)
        self.fill(node, parents, np.stack([1 - lit, lit], axis=-1))


@pytest.mark.parametrize("seed", range(4))
def test_marginals_agree_with_pyagrum(engine: Fitted, seed: int) -> None:
    kit = Kit(engine)
    channels = list(ENGINES[engine.name])
    rng = random.Random(seed)
    condition = rng.choice(["steady", "cold", "hot", "wet", "vibrating"])
    network = Network(engine)
    belief = Belief.before(kit.model)
    evidence: dict[str, str] = {}
    starts = [Start(rng.choice(channels), rng.random() < 0.5, condition) for _ in range(rng.randrange(0, 4))]  # type: ignore[arg-type]
    network.add_starts(starts)
    for i, start in enumerate(starts):
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


def trials(hf3: Fitted, key: str) -> Network:
    """Return a network with three trials of a check: a hidden coin "same" (share of the entry), and under it one trial
    copied, or else each of them fresh."""
    check = hf3.checks[key]
    assert check.repeats is not None
    network = Network(hf3)
    network.net.add(pyagrum.LabelizedVariable("same", "same", ["no", "yes"]))
    network.net.cpt("same").fillWith([1 - check.repeats.same, check.repeats.same])
    network.add_check("trial 0", check.entry, key.partition("/")[2], "steady")
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
    return network


def test_repeated_trials_share_a_disposition(hf3: Fitted, kit: Kit) -> None:
    key = "plug-hole-borescope/A"
    check, network = hf3.checks[key], trials(hf3, key)
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


@pytest.mark.parametrize("seed", range(3))
def test_activity_and_occasions_agree_with_pyagrum(engine: Fitted, seed: int) -> None:
    """[reference library] Each occasion has, beside each zone, a node that says whether its fault shows then.

    Three occasions in two conditions; functional checks are asked on more than one, one of them twice on the same.
    """
    kit = Kit(engine)
    rng = random.Random(100 + seed)
    network = Network(engine)
    belief = Belief.before(kit.model)
    evidence: dict[str, str] = {}
    conditions = rng.sample(["steady", "cold", "hot", "wet", "vibrating", "sagging"], 2)
    # The first condition comes twice: an hour later whether a fault shows is drawn anew.
    for occasion, condition in enumerate([*conditions, conditions[0]]):
        for key in rng.sample([k for k, c in engine.checks.items() if c.functional], 3):
            name, _, channel = key.partition("/")
            check = engine.knowledge.checks[name]
            if check.repeats is None and key in belief.occasion:
                continue
            node = f"{key} {occasion}"
            network.add_check(node, check, channel, condition, str(occasion))
            outcome = rng.choice([next(iter(check.outcomes)), rng.choice(list(check.outcomes))])
            evidence[node] = outcome
            belief = belief.answer(key, outcome, condition, occasion=occasion)  # type: ignore[arg-type]
    inference = pyagrum.LazyPropagation(network.net)
    inference.setEvidence(evidence)
    inference.makeInference()
    for key in network.states:
        assert belief.zone(key) == pytest.approx(inference.posterior(key).toarray(), abs=1e-9), (key, evidence)
    assert belief.log_evidence == pytest.approx(np.log(inference.evidenceProbability()), abs=1e-6)


def test_tries_on_one_occasion_share_what_shows_and_the_ear_that_hears(hf3: Fitted, kit: Kit) -> None:
    """[reference library] Three spark tests on one occasion: a switch a zone, and a coin for repeating oneself."""
    key = "spark-test/A"
    network = trials(hf3, key)
    for outcomes in (["snaps"] * 3, ["silent"] * 3, ["snaps", "silent", "snaps"]):
        belief = Belief.before(kit.model)
        for outcome in outcomes:
            belief = belief.answer(key, outcome)
        inference = pyagrum.LazyPropagation(network.net)
        inference.setEvidence({f"trial {i}": o for i, o in enumerate(outcomes)})
        inference.makeInference()
        for zone in network.states:
            assert belief.zone(zone) == pytest.approx(inference.posterior(zone).toarray(), abs=1e-9)

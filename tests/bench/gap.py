"""How often "none of what is known explains it" is said wrongly, and how often rightly. Run: python -m tests.bench.gap

Cases of the Halden HF-3. The truth is drawn from what is believed once the complaint is told; then checks are done, in
random order, of the thirty that tell most of that complaint, between four and twelve of them on one occasion.

``from the model``: each answer is drawn as the model says. An alarm is false; it is looked for after every answer.
``rare fault``: the same, but one zone has a fault taken from all that are known with equal chances.
``mode not known``: the same fault, with the knowledge of it taken away before anything is asked.
``like none known``: to each check a channel shows a known fault, to each another one.
``two mistaken``: from the model, two of the answers replaced by another outcome of the same check at random.
``nonsense``: every outcome at random.

Printed for each kind, at the level that is used and at others: the share of cases with an alarm at the last answer, and
with one at any.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from isolate.case.believed import told_belief
from isolate.case.case import Intake
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.surprise import LEVEL, gap
from tests.bench.figures import quiet, table

COMPLAINTS = ("no-light-off", "intermittent-no-ignite", "one-channel-silent", "slow-light", "only-on-both")
KINDS = ("from the model", "rare fault", "mode not known", "like none known", "two mistaken", "nonsense")
LEVELS = (0.001, 0.003, 0.005, 0.01)
BEST = 30


def telling(belief: Belief) -> list[str]:
    """Return the checks with the most information about the joint state, most first."""
    found = {}
    for key in belief.model.fitted.checks:
        likelihood = belief.model.likelihood(key)
        idle = tuple(i for i, n in enumerate(likelihood.shape[1:]) if n == 1)
        joint = belief.joint.sum(axis=idle, keepdims=True)
        chances = (likelihood * joint).reshape(len(likelihood), -1).sum(axis=1)
        found[key] = float((likelihood * np.log2(likelihood) * joint).sum() - (chances * np.log2(chances)).sum())
    return sorted((k for k in found if k not in belief.occasion), key=lambda k: (-found[k], k))[:BEST]


def case(begun: Belief, checks: Sequence[str], kind: str, chance: np.random.Generator) -> tuple[list[float], int]:
    """Return the level after each answer of a case, or after the last, and how many answers there were."""
    model = begun.model
    flat = begun.joint.ravel()
    truth = list(np.unravel_index(int(chance.choice(flat.size, p=flat / flat.sum())), model.shape))
    if kind in ("rare fault", "mode not known"):
        axis = int(chance.integers(len(truth)))
        truth[axis] = int(chance.integers(1, model.shape[axis]))
        if kind == "mode not known":
            joint = begun.joint.copy()
            np.moveaxis(joint, axis, 0)[truth[axis]] = 0.0
            begun = replace(begun, joint=joint / joint.sum())
    order = chance.permutation(len(checks))[: int(chance.integers(4, 13))]
    mistaken = set(chance.permutation(len(order))[:2]) if kind == "two mistaken" else set()
    belief, levels = begun, list[float]()
    given = len(begun.told)
    for number, index in enumerate(order):
        check = checks[int(index)]
        outcomes = model.fitted.check(check).outcomes
        at = list(truth)
        if kind == "like none known":
            at[0] = int(chance.integers(1, model.shape[0]))
        shows = belief.following(check, at=tuple(np.array([i]) for i in at))[:, 0]
        outcome = outcomes[int(chance.choice(len(outcomes), p=shows / shows.sum()))]
        if kind == "nonsense":
            outcome = outcomes[int(chance.integers(len(outcomes)))]
        elif number in mistaken:
            outcome = str(chance.choice([o for o in outcomes if o != outcome]))
        belief = belief.answer(check, outcome)
        last = number == len(order) - 1
        if last or kind == "from the model":
            levels.append(gap(belief, belief.told[given:]).level)
    return levels, len(order)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=200, help="cases of each kind")
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()
    quiet()
    model = Model(fit(load().knowledge, "halden-hf-3"))
    begun = {}
    for name in COMPLAINTS:
        channel = "A" if model.fitted.complaints[name].asks_channel else ""
        begun[name] = told_belief(model, Intake("104", "2", model.fitted.name, name, channel=channel))
    checks = {name: telling(belief) for name, belief in begun.items()}
    rows = []
    for kind in KINDS:
        chance = np.random.default_rng(told.seed)
        began = time.perf_counter()
        found = []
        for number in range(told.n):
            name = COMPLAINTS[number % len(COMPLAINTS)]
            found.append(case(begun[name], checks[name], kind, chance))
        spent = time.perf_counter() - began
        told_of = {
            "last answer": [f[-1] for f, _ in found],
            "last, 8 answers or more": [f[-1] for f, count in found if count >= 8],
            "any answer": [min(f) for f, _ in found],
        }
        for said, levels in told_of.items():
            if said != "any answer" or kind == KINDS[0]:
                shares = [f"{np.mean(np.array(levels) < level):.3f}" for level in LEVELS]
                rows.append([f"{kind}, {said}", len(levels), *shares, f"{spent:.0f} s"])
    print(f"{told.n} cases of each kind, seed {told.seed}; share with an alarm. Level in use: {LEVEL}")
    table(["kind", "cases", *(f"p < {level}" for level in LEVELS), "took"], rows)


if __name__ == "__main__":
    main()

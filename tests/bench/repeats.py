"""What carrying an earlier case is worth when a defect comes back. Run: python -m tests.bench.repeats

A first case is sampled from the model: a true state from the belief after the complaint (one channel silent, on A), the
answers to a few checks, the part changed that clears most of what is believed then, and the answers of the
verification; only those that pass are kept, since else nobody would call it done. Then the same complaint comes back
after some days. Each history counts by how likely the model holds it to come back.

Since the carried belief is what the model says of the state now, the state need not be drawn: printed are, over the
histories, the share in which the first suspect on channel A is right, with the earlier case and without it (in the
true state's law, which is the carried belief), and the bits by which the belief without it is off (Kullback-Leibler).
It measures what is lost by opening the case afresh, not whether the model is right.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from isolate.case.believed import told_belief
from isolate.case.case import Earlier, Evidence, Intake
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.reasoning.belief import Belief, Model

DAYS = (1, 12, 60, 200)
CHECKS = ("spark-test/A", "spark-test/B", "plug-tip-look/A", "lead-continuity/A", "lead-insulation/A")
PARTS = ("replace-igniter/A", "replace-lead/A", "replace-exciter/A")
ENGINE, ZONE = "halden-hf-3", "channel/A"


def drawn(belief: Belief, rng: np.random.Generator) -> Belief:
    """Return the belief of somebody who knows the state, drawn from this one."""
    flat = belief.joint.ravel()
    state = np.zeros_like(flat)
    state[rng.choice(len(flat), p=flat / flat.sum())] = 1.0
    return replace(belief, joint=state.reshape(belief.joint.shape))


def history(model: Model, intake: Intake, rng: np.random.Generator) -> tuple[Evidence, ...] | None:
    """Return a first case that ended with its verification passed; None where that failed."""
    fitted = model.fitted
    believed = told_belief(model, intake)
    truth = drawn(believed, rng)
    evidence: list[Evidence] = []

    def ask(check: str) -> str:
        nonlocal believed, truth
        chances = truth.predicted(check)
        outcome = fitted.check(check).outcomes[rng.choice(len(chances), p=chances / chances.sum())]
        evidence.append(Evidence(len(evidence) + 3, "answer", check, outcome))
        believed, truth = believed.answer(check, outcome), truth.answer(check, outcome)
        return outcome

    for check in CHECKS:
        ask(check)
    states, chances = fitted.zones[ZONE].states, believed.zone(ZONE)
    cleared = {r: sum(chances[states.index(s)] for s in fitted.repair(r).clears[ZONE]) for r in PARTS}
    repair = max(PARTS, key=lambda r: cleared[r])
    evidence.append(Evidence(len(evidence) + 3, "repair", repair))
    believed, truth = believed.repair(repair), drawn(truth.repair(repair), rng)
    for check in fitted.verification(intake.complaint, intake.channel):
        if ask(check) != fitted.check(check).outcomes[0]:
            return None
    return tuple(evidence)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("-n", type=int, default=200, help="first cases sampled")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    rng = np.random.default_rng(arguments.seed)
    model = Model(fit(load().knowledge, ENGINE))
    intake = Intake("117", "2", ENGINE, "one-channel-silent", "A")
    told = {"aircraft": "117", "position": "2", "engine": ENGINE, "complaint": intake.complaint, "channel": "A"}
    histories = [h for _ in range(arguments.n) if (h := history(model, intake, rng)) is not None]
    print(f"{arguments.n} first cases sampled, seed {arguments.seed}; {len(histories)} passed their verification.")
    without = told_belief(model, intake).zone(ZONE)
    print(f"{'days':>5} {'first suspect right with':>25} {'without':>9} {'bits off without':>17}")
    for days in DAYS:
        rows = []
        for evidence in histories:
            one = Earlier("first", float(days), "verified", intake.complaint, "A", told, evidence)
            belief = told_belief(model, replace(intake, earlier=(one,)))
            now = belief.zone(ZONE)
            first, afresh = (int(np.argmax(p[1:])) + 1 for p in (now, without))
            off = float((now * np.log2(now / without)).sum())
            rows.append((np.exp(belief.log_evidence), now[first], now[afresh], off))
        weight, *figures = np.array(rows).T
        right, wrong, off = (float((weight * f).sum() / weight.sum()) for f in figures)
        print(f"{days:5} {right:25.1%} {wrong:9.1%} {off:17.2f}")


if __name__ == "__main__":
    main()

"""The belief of a case: what was told at its opening, then its evidence in order."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import log

import numpy as np
from numpy.typing import NDArray

from isolate.case.case import Evidence, Intake
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.starts import Start


def believed(model: Model, intake: Intake, evidence: Sequence[Evidence]) -> Belief:
    """Return the belief after the intake and the evidence in order."""
    return through(told_belief(model, intake, _answered(evidence)), evidence)


def through(belief: Belief, evidence: Sequence[Evidence]) -> Belief:
    """Return the belief after more evidence."""
    for item in evidence:
        belief = _taken(belief, item)
    return belief


def _answered(evidence: Sequence[Evidence]) -> frozenset[str]:
    """Return the checks that were answered before the first repair."""
    found = set()
    for item in evidence:
        if item.kind == "repair":
            break
        found.add(item.key)
    return frozenset(found)


def told_belief(model: Model, intake: Intake, answered: Collection[str] = ()) -> Belief:
    """Return the belief after what was told of the defect: earlier work, starts, what complaint and signs imply.

    ``answered``: checks that were done in the case itself. Where one does not repeat, its answer stands and what a
    sign says of it is left out, whenever the sign was told.
    """
    belief = Belief.before(model)
    for work in intake.done:
        belief = belief.repair(work.key)
    complaint = model.fitted.complaints[intake.complaint]
    starts = intake.starts or tuple(Start(s.channel, s.lit, intake.condition) for s in complaint.starts)
    belief = belief.starts(starts)
    for name, outcome in complaint.answers.items():
        for check in model.fitted.checks.values():
            if check.name == name and check.channel in ("", intake.channel):
                belief = belief.answer(check.key, outcome, intake.condition)
    for seen in intake.signs:
        sign = model.fitted.signs.get(seen.sign)
        for name, outcome in sign.answers.items() if sign is not None else ():
            for check in model.fitted.checks.values():
                # Complaint and signs are one witness's story: what one has said, another does not say again.
                if check.name != name or check.channel not in ("", seen.channel) or check.key in belief.occasion:
                    continue
                if check.repeats is not None or check.key not in answered:
                    belief = belief.answer(check.key, outcome, intake.condition)
    return belief


def before(
    model: Model, intake: Intake, evidence: Sequence[Evidence], position: int, zone: str
) -> NDArray[np.float64]:
    """Return P(zone's state just before evidence[position] | all the evidence), by filtering once for each state."""
    reached = through(told_belief(model, intake, _answered(evidence)), evidence[:position])
    chances = reached.zone(zone)
    logs = np.full(len(chances), -np.inf)
    for i, chance in enumerate(chances):
        if chance <= 0:
            continue
        mask = np.zeros(len(chances))
        mask[i] = 1.0
        belief = reached.weighed(model.along(zone, mask))
        start = belief.log_evidence
        for item in evidence[position:]:
            belief = _taken(belief, item)
        logs[i] = log(chance) + belief.log_evidence - start
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def _taken(belief: Belief, item: Evidence) -> Belief:
    if item.kind == "repair":
        return belief.repair(item.key)
    return belief.answer(item.key, item.outcome, item.condition)

"""Exact belief over the joint of the zones.

The joint table has one axis a zone, in the order of :attr:`Fitted.zones`; each cell is the probability that every
zone is in that state at once. Two dead channels are one cell like any other, so a hidden first fault plus a new one
is found as such. Evidence multiplies the table; a repair moves probability along its zones' axes.

Where a check looks at several zones, each zone alone would yield an outcome and the worst of them is seen (Pearl's
noisy-or carried to ordered outcomes, Diez 1993): P(outcome <= k | joint) is the product over zones of
P(outcome <= k | state of the zone).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from math import log, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck, FitRepair, Fitted, instance
from isolate.kb.model import FLOOR, HEALTHY, Condition
from isolate.reasoning import starts as start_history
from isolate.reasoning.starts import Start

Table = NDArray[np.float64]

@dataclass(frozen=True)
class Told:
    """An answer taken into the belief: check instance, outcome, condition."""

    check: str
    outcome: str
    condition: Condition = "steady"


@dataclass(frozen=True)
class Marginal:
    """A zone's state with its probability."""

    zone: str
    state: str
    probability: float

    @property
    def mode(self) -> str:
        """The state's instance name, e.g. ``lead-open/A``."""
        return instance(self.state, self.zone.partition("/")[2])


class Model:
    """The tables that a fitted profile needs for its beliefs, worked out once and shared."""

    def __init__(self, fitted: Fitted) -> None:
        self.fitted = fitted
        self.zones = tuple(fitted.zones)
        self.axis = {key: i for i, key in enumerate(self.zones)}
        self.shape = tuple(len(fitted.zones[key].states) for key in self.zones)
        self._likelihoods: dict[tuple[str, Condition], Table] = {}
        self._lights: dict[Condition, dict[str, Table]] = {}

    def along(self, zone: str, values: Sequence[float] | Table) -> Table:
        """Return values, one a state of the zone, shaped to broadcast over the joint."""
        shape = [1] * len(self.zones)
        shape[self.axis[zone]] = -1
        return np.asarray(values, dtype=float).reshape(shape)

    def prior(self) -> Table:
        """Return the joint before any evidence: the zones are independent."""
        joint = np.ones([1] * len(self.zones))
        for key, zone in self.fitted.zones.items():
            joint = joint * self.along(key, zone.prior)
        return joint

    def likelihood(self, check: str, condition: Condition = "steady") -> Table:
        """Return P(outcome | joint), shape (outcomes, one axis a zone); axes of zones not looked at have length 1."""
        cached = self._likelihoods.get((check, condition))
        if cached is None:
            cached = self._likelihoods[check, condition] = self._combine(self.fitted.check(check), condition)
        return cached

    def _combine(self, check: FitCheck, condition: Condition) -> Table:
        below: list[Table] = []
        for key, rows in check.given.items():
            table = np.asarray(rows, dtype=float)
            if check.functional:
                active = np.asarray(self.fitted.zones[key].active(condition))[:, None]
                table = active * table + (1 - active) * table[0]
            below.append(np.stack([self.along(key, column) for column in table.cumsum(axis=1).T]))
        joint = below[0]
        for other in below[1:]:
            joint = joint * other
        outcomes = np.diff(joint, axis=0, prepend=0.0)
        outcomes = np.maximum(outcomes, FLOOR)
        return np.asarray(outcomes / outcomes.sum(axis=0, keepdims=True))

    def lights(self, condition: Condition) -> Mapping[str, Table]:
        """Return, zone by zone, P(a start lights off as far as this zone goes | its state)."""
        if condition not in self._lights:
            found: dict[str, Table] = {}
            for key, zone in self.fitted.zones.items():
                lights = np.asarray(zone.lights)
                active = np.asarray(zone.active(condition))
                found[key] = self.along(key, active * lights + (1 - active) * lights[0])
            self._lights[condition] = found
        return self._lights[condition]

    def starts(self, starts: Sequence[Start]) -> Table:
        """Return P(the results of these starts | joint); see :mod:`isolate.reasoning.starts`."""
        return start_history.weight(self, starts)

    def transition(self, repair: FitRepair, zone: str) -> Table:
        """Return P(state after | state before) for a zone that the repair touches, shape (before, after)."""
        states = self.fitted.zones[zone].states
        table = np.eye(len(states))
        for state in repair.clears.get(zone, ()):
            i = states.index(state)
            table[i, i] = 1 - repair.entry.success
            table[i, 0] = repair.entry.success
        for state, chance in repair.disturbs.get(zone, ()):
            # A fault of the repair's own arises where the zone is otherwise healthy: one fault a zone.
            i = states.index(state)
            moved = table[:, 0] * chance
            table[:, i] += moved
            table[:, 0] -= moved
        return table


@dataclass(frozen=True)
class Belief:
    """What is believed now. Immutable: every method returns a new belief."""

    model: Model
    joint: Table
    told: tuple[Told, ...] = ()
    """The answers that still speak of the present state: those about zones repaired since are gone from here."""
    occasion: Mapping[str, tuple[str, ...]] = None  # type: ignore[assignment]
    log_evidence: float = 0.0

    @classmethod
    def before(cls, model: Model) -> Belief:
        """Return the belief before any evidence."""
        return cls(model=model, joint=model.prior(), occasion={})

    def weighed(self, weight: Table, **changes: Any) -> Belief:
        """Return the belief after evidence whose likelihood over the joint is ``weight``."""
        joint = self.joint * weight
        total = float(joint.sum())
        return replace(self, joint=joint / total, log_evidence=self.log_evidence + log(total), **changes)

    def starts(self, starts: Sequence[Start]) -> Belief:
        """Take in a start history, oldest first."""
        return self.weighed(self.model.starts(starts)) if starts else self

    def answer(self, check: str, outcome: str, condition: Condition = "steady") -> Belief:
        """Take in a check's outcome. Raises UnknownName for a check, ValueError for an outcome it does not have.

        A check that does not repeat says nothing new when asked again. One that does repeats itself with share
        ``same`` (one disposition an occasion), so P(r1..rk) = same * [all equal] * P(r1) + (1 - same) * product.
        """
        fit = self.model.fitted.check(check)
        if outcome not in fit.outcomes:
            raise ValueError(f"{check} has no outcome {outcome!r}; it has {', '.join(fit.outcomes)}")
        before = self.occasion.get(check, ())
        if before and fit.repeats is None:
            return self
        index = [fit.outcomes.index(o) for o in before]
        return self.weighed(
            self._next(fit, condition, index, fit.outcomes.index(outcome)),
            told=(*self.told, Told(check, outcome, condition)),
            occasion={**self.occasion, check: (*before, outcome)},
        )

    @staticmethod
    def _run(likelihood: Table, outcomes: Sequence[int], same: float) -> Table:
        independent = np.prod(likelihood[list(outcomes)], axis=0)
        alike = len(set(outcomes)) == 1
        return np.asarray(same * likelihood[outcomes[0]] * alike + (1 - same) * independent)

    def next_likelihood(self, check: str, condition: Condition = "steady") -> Table:
        """Return P(next outcome | joint) given what the check showed on this occasion; shape as Model.likelihood."""
        fit = self.model.fitted.check(check)
        before = [fit.outcomes.index(o) for o in self.occasion.get(check, ())]
        return np.stack([self._next(fit, condition, before, k) for k in range(len(fit.outcomes))])

    def _next(self, fit: FitCheck, condition: Condition, before: Sequence[int], outcome: int) -> Table:
        """Return P(this outcome | joint) after the check gave those outcomes on the same occasion."""
        likelihood = self.model.likelihood(fit.key, condition)
        if not before or fit.repeats is None:
            return np.asarray(likelihood[outcome])
        same = fit.repeats.same
        return self._run(likelihood, [*before, outcome], same) / self._run(likelihood, before, same)

    def repair(self, repair: str) -> Belief:
        """Take in that a repair was done. Evidence so far stays evidence about the states before it."""
        fit = self.model.fitted.repair(repair)
        touched = set(fit.clears) | set(fit.disturbs)
        joint = self.joint
        for zone in touched:
            axis = self.model.axis[zone]
            joint = np.moveaxis(np.tensordot(joint, self.model.transition(fit, zone), axes=(axis, 0)), -1, axis)

        def stands(check: str) -> bool:
            return not touched & set(self.model.fitted.check(check).given)

        return replace(
            self,
            joint=joint,
            told=tuple(t for t in self.told if stands(t.check)),
            occasion={check: outcomes for check, outcomes in self.occasion.items() if stands(check)},
        )

    # -- reading it --------------------------------------------------------------------------------

    def zone(self, key: str) -> Table:
        """Return the probabilities of a zone's states, in its order."""
        return self._zones[key]

    @cached_property
    def _zones(self) -> dict[str, Table]:
        found = _marginals(self.joint)
        for table in found:
            # They are kept, so nobody may change them.
            table.setflags(write=False)
        return dict(zip(self.model.zones, found, strict=True))

    def faults(self, least: float = 0.0) -> tuple[Marginal, ...]:
        """Return every fault state of at least this probability, most probable first, ties by name."""
        found = [
            Marginal(key, state, float(p))
            for key, zone in self.model.fitted.zones.items()
            for state, p in zip(zone.states, self.zone(key), strict=True)
            if state != HEALTHY and p >= least
        ]
        return tuple(sorted(found, key=lambda m: (-round(m.probability, 12), m.mode)))

    def healthy(self) -> float:
        """Return the probability that no zone is at fault."""
        return float(self.joint[(0,) * self.joint.ndim])

    def joint_states(self, most: int) -> tuple[tuple[dict[str, str], float], ...]:
        """Return the most probable joint states as ({zone: faulty state}, probability); {} is no fault at all."""
        flat = self.joint.ravel()
        order = np.argsort(-flat, kind="stable")[:most]
        found = []
        for i in order:
            index = np.unravel_index(int(i), self.joint.shape)
            states = {
                key: self.model.fitted.zones[key].states[j] for key, j in zip(self.model.zones, index, strict=True) if j
            }
            found.append((states, float(flat[i])))
        return tuple(found)

    def predicted(self, check: str, condition: Condition = "steady") -> Table:
        """Return the probability of each outcome of a check, were it asked now."""
        likelihood = self.next_likelihood(check, condition)
        return np.asarray((likelihood * self.joint).reshape(len(likelihood), -1).sum(axis=1))

    def weights(self, state: Mapping[str, str]) -> tuple[tuple[Told, float], ...]:
        """Return, for each answer, its weight of evidence for the zone states given, in bits.

        The weight is log2 P(answer | those states) / P(answer | not those states), the other zones taken as they are
        believed now; positive speaks for. Good's weight of evidence (1950), base 2.
        """
        mask = np.ones([1] * self.joint.ndim)
        for key, value in state.items():
            states = self.model.fitted.zones[key].states
            mask = mask * self.model.along(key, [1.0 if s == value else 0.0 for s in states])
        base = self.joint
        inside = base * mask
        outside = base * (1 - mask)
        found = []
        earlier: dict[str, list[int]] = {}
        for told in self.told:
            fit = self.model.fitted.check(told.check)
            outcome = fit.outcomes.index(told.outcome)
            so_far = earlier.setdefault(told.check, [])
            likelihood = self._next(fit, told.condition, so_far, outcome)
            so_far.append(outcome)
            # What is believed now already holds this answer: take it out before weighing it.
            given = _average(inside / likelihood, likelihood)
            against = _average(outside / likelihood, likelihood)
            found.append((told, log(given / against) / log(2)))
        return tuple(found)

    def surprise(self) -> float:
        """Return how far the answers are from what their best explanation would produce, in standard deviations.

        Under the most probable joint state each answer has an information content -ln P; its expectation is the
        answer's entropy under that state. The excess of the sum is divided by its standard deviation.
        """
        best = np.unravel_index(int(self.joint.argmax()), self.joint.shape)
        excess, variance = 0.0, 0.0
        for told in self.told:
            table = self.model.likelihood(told.check, told.condition)
            at = tuple(0 if n == 1 else i for n, i in zip(table.shape[1:], best, strict=True))
            p = table[(slice(None), *at)]
            content = -np.log(p)
            entropy = float((p * content).sum())
            excess += float(content[self.model.fitted.check(told.check).outcomes.index(told.outcome)]) - entropy
            variance += float((p * content**2).sum()) - entropy**2
        return excess / sqrt(variance) if variance > 0 else 0.0

    def conflict(self) -> float:
        """Return how far the answers speak against one another, in bits; zero or less where they hang together.

        log2 of the product of P(answer) over P(all the answers), each as believed before any of them: Jensen's measure
        of conflict (Bayesian Networks and Decision Graphs; from memory). One answer alone, however rare, is none.
        """
        before = self.joint
        likelihoods: list[Table] = []
        earlier: dict[str, list[int]] = {}
        for told in self.told:
            fit = self.model.fitted.check(told.check)
            outcome = fit.outcomes.index(told.outcome)
            so_far = earlier.setdefault(told.check, [])
            likelihoods.append(self._next(fit, told.condition, so_far, outcome))
            so_far.append(outcome)
            # What is believed now already holds this answer: take it out.
            before = before / likelihoods[-1]
        total = float(before.sum())
        apart = sum(log(float((before * likelihood).sum()) / total) for likelihood in likelihoods)
        return (apart + log(total)) / log(2)


def _average(weights: Table, values: Table) -> float:
    total = float(weights.sum())
    return float((weights * values).sum()) / total if total > 0 else 1.0


def enumerate_states(model: Model) -> Iterable[dict[str, str]]:
    """Yield every joint state as {zone: state}, in the order of the table."""
    for states in product(*(model.fitted.zones[key].states for key in model.zones)):
        yield dict(zip(model.zones, states, strict=True))


def _marginals(joint: Table) -> list[Table]:
    """Return the sums along each axis: of the halves of the axes first, so that the whole is gone through twice."""
    if joint.ndim == 1:
        return [joint.copy()]
    half = joint.ndim // 2
    left = joint.reshape(*joint.shape[:half], -1).sum(axis=-1)
    right = joint.reshape(-1, *joint.shape[half:]).sum(axis=0)
    return [*_marginals(left), *_marginals(right)]

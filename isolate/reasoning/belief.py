"""Exact belief over the joint of the zones.

The joint table has one axis a zone, in the order of :attr:`Fitted.zones`; each cell is the probability that every
zone is in that state at once. Two dead channels are one cell like any other, so a hidden first fault plus a new one
is found as such. Evidence multiplies the table; a repair moves probability along its zones' axes.

Where a check looks at several zones, each zone alone would yield an outcome and the worst of them is seen (Pearl's
noisy-or carried to ordered outcomes, Diez 1993): P(outcome <= k | joint) is the product over zones of
P(outcome <= k | state of the zone).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from math import log, sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck, FitRepair, Fitted, instance
from isolate.kb.model import FLOOR, HEALTHY, Condition
from isolate.reasoning import starts as start_history
from isolate.reasoning import swap
from isolate.reasoning.occasion import At, Got, Makes, Occasion, Shown, columns, following, run
from isolate.reasoning.starts import Start

Table = NDArray[np.float64]
MOST_BYTES, MOST_TOGETHER = 120_000_000, 24
"""So much is kept at once: bytes of the tables of single answers, and tables of what answers say together. One
condition takes 30 to 60 MB, as the shipped knowledge has it."""


How = tuple[Condition, float, Makes]
"""A condition, how far it prevails, and what a check makes besides."""


class Setting(NamedTuple):
    """How it is while something is checked: see :class:`Told`."""

    condition: Condition = "steady"
    strength: float = 1.0
    occasion: int = 0


@dataclass(frozen=True)
class Told:
    """An answer taken into the belief: check instance, outcome, and when and how it was got.

    ``strength``: how far the condition prevails, from 0 (as in no condition in particular) to 1. ``occasion``: answers
    of one number were got within the hour at one place. ``era``: repairs and swaps done before; each ends the occasion.
    ``makes``: the condition that the check brought besides.
    """

    check: str
    outcome: str
    condition: Condition = "steady"
    strength: float = 1.0
    occasion: int = 0
    era: int = 0
    makes: Makes = None

    @property
    def how(self) -> How:
        """How it was got."""
        return self.condition, self.strength, self.makes


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
    """The tables that a fitted profile needs for its beliefs, worked out once and shared.

    ``activity`` False takes every fault as always there, for comparison.
    """

    def __init__(self, fitted: Fitted, activity: bool = True) -> None:
        self.fitted, self.activity = fitted, activity
        self.zones = tuple(fitted.zones)
        self.axis = {key: i for i, key in enumerate(self.zones)}
        self.shape = tuple(len(fitted.zones[key].states) for key in self.zones)
        self._likelihoods: dict[tuple[Any, ...], Table] = {}
        self._together: dict[tuple[Any, ...], Table] = {}
        self._switches: dict[tuple[Any, ...], frozenset[str]] = {}
        self._lights: dict[Condition, dict[str, Table]] = {}

    def altered(self, fitted: Fitted, checks: Collection[str]) -> Model:
        """Return the model of a profile that differs from this one's in priors and in the rows of these checks alone.

        ``checks``: check instances. What was worked out for the others is kept.
        """
        model = Model(fitted, self.activity)
        model._likelihoods = {key: table for key, table in self._likelihoods.items() if key[0] not in checks}
        model._together = {k: t for k, t in self._together.items() if not any(check in checks for check, _ in k[0])}
        model._switches = {key: zones for key, zones in self._switches.items() if key[0] not in checks}
        model._lights = self._lights
        start_history.keep_from(self, model)
        return model

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

    def active(self, zone: str, condition: Condition, strength: float = 1.0, makes: Makes = None) -> Table:
        """Return, state by state, the probability that a zone's fault shows in this condition.

        ``makes``: what the check brings besides; a fault shows as in that of the two in which it shows more.
        """
        if not self.activity:
            return np.ones(len(self.fitted.zones[zone].states))
        active = np.asarray(self.fitted.zones[zone].active(condition, strength))
        return active if makes is None else np.maximum(active, self.fitted.zones[zone].active(*makes))

    def showing(self, zone: str, condition: Condition, strength: float = 1.0, makes: Makes = None) -> Table:
        """Return, state by state, the probability that the zone's switch is on for an occasion.

        A state that flickers has none: its switch is on, and what it shows is drawn anew for each answer.
        """
        return np.where(self._flickers[zone], 1.0, self.active(zone, condition, strength, makes))

    def switches(self, check: str, condition: Condition, strength: float = 1.0, makes: Makes = None) -> frozenset[str]:
        """Return the zones of which a check may see a fault on one occasion and not on another in this condition."""
        key = (check, condition, strength, makes)
        if key not in self._switches:
            fit = self.fitted.check(check)
            found = set()
            for zone, rows in fit.given.items() if fit.still else ():
                chance = self.showing(zone, condition, strength, makes)
                seen = np.array([row != rows[0] for row in rows])
                if (seen & (chance > 0) & (chance < 1)).any():
                    found.add(zone)
            self._switches[key] = frozenset(found)
        return self._switches[key]

    @cached_property
    def _flickers(self) -> dict[str, NDArray[np.bool_]]:
        return {key: np.array(zone.flickers) for key, zone in self.fitted.zones.items()}

    def setting(self, check: str, condition: Condition, strength: float) -> How:
        """Return how a check is done: the condition given, its strength, and the condition that it makes besides.

        What does not depend on activity is the same in any.
        """
        fit = self.fitted.check(check)
        if not fit.functional:
            return "steady", 1.0, None
        return condition, 1.0 if condition == "steady" else strength, fit.makes

    def likelihood(
        self, check: str, condition: Condition = "steady", strength: float = 1.0, shown: Shown = frozenset()
    ) -> Table:
        """Return P(outcome | joint), shape (outcomes, one axis a zone); axes of zones not looked at have length 1.

        ``shown``: for these zones it is given whether their fault shows on the occasion.
        """
        key = (check, *self.setting(check, condition, strength), shown)
        cached = self._likelihoods.get(key)
        if cached is None:
            fit = self.fitted.check(check)
            left = sorted(self.switches(*key[:4]) - dict(shown).keys())
            cached = self._combine(fit, *key[1:]) if not left else self._either(key, left[0])
            self._keep(key, cached)
        return cached

    def _keep(self, key: tuple[Any, ...], table: Table) -> None:
        """Keep a table; the oldest go when there is too much."""
        self._likelihoods[key] = table
        items = list(self._likelihoods.items())
        held = sum(kept.nbytes for _, kept in items)
        if held <= MOST_BYTES:
            return
        gone = 0
        while held > MOST_BYTES and gone < len(items) - 1:
            held -= items[gone][1].nbytes
            gone += 1
        # A new mapping: another thread may be going through the one before.
        self._likelihoods = dict(items[gone:])

    def _either(self, key: tuple[Any, ...], zone: str) -> Table:
        """Return a likelihood summed over whether the zone's fault shows: a switch summed out is none at all."""
        check, condition, strength, makes, shown = key
        on = self.along(zone, self.showing(zone, condition, strength, makes))
        yes, no = (self.likelihood(check, condition, strength, shown | {(zone, s)}) for s in (True, False))
        return np.asarray(on * yes + (1 - on) * no)

    def _combine(
        self,
        check: FitCheck,
        condition: Condition,
        strength: float,
        makes: Makes,
        shown: Shown,
    ) -> Table:
        given = dict(shown)
        below: list[Table] = []
        for key, rows in check.given.items():
            table = np.asarray(rows, dtype=float)
            if check.functional:
                active = self.active(key, condition, strength, makes)
                if key in given:
                    active = np.where(self._flickers[key], active, float(given[key]))
                    active[0] = 1.0
                active = active[:, None]
                table = active * table + (1 - active) * table[0]
            below.append(np.stack([self.along(key, column) for column in table.cumsum(axis=1).T]))
        joint = below[0]
        for other in below[1:]:
            joint = joint * other
        outcomes = np.diff(joint, axis=0, prepend=0.0)
        outcomes = np.maximum(outcomes, FLOOR)
        return np.asarray(outcomes / outcomes.sum(axis=0, keepdims=True))

    def together(self, got: Got, condition: Condition, strength: float, makes: Makes) -> Table:
        """Return P(these answers on one occasion | joint); see :mod:`isolate.reasoning.occasion`."""
        key = (tuple(sorted(got.items())), condition, strength, makes)
        if key not in self._together:
            if len(self._together) > MOST_TOGETHER:
                self._together.clear()
            # In the order of the key: a table kept from before is then the one that would be made now, to the last bit.
            self._together[key] = Occasion(self, dict(key[0]), condition, strength, makes).weight()
        return self._together[key]

    def lights(self, condition: Condition) -> Mapping[str, Table]:
        """Return, zone by zone, P(a start lights off as far as this zone goes | its state)."""
        if condition not in self._lights:
            found: dict[str, Table] = {}
            for key, zone in self.fitted.zones.items():
                lights = np.asarray(zone.lights)
                active = self.active(key, condition)
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
    era: int = 0
    """Repairs and swaps so far; each begins the occasions anew."""

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

    def answer(
        self, check: str, outcome: str, condition: Condition = "steady", strength: float = 1.0, occasion: int = 0
    ) -> Belief:
        """Take in a check's outcome. Raises UnknownName for a check, ValueError for an outcome it does not have.

        A check that does not repeat says nothing new when asked again, a functional one on the same occasion. What
        else was seen on the occasion is taken into account; see :mod:`isolate.reasoning.occasion`.
        """
        fit = self.model.fitted.check(check)
        if outcome not in fit.outcomes:
            raise ValueError(f"{check} has no outcome {outcome!r}; it has {', '.join(fit.outcomes)}")
        told = self._told(fit, outcome, condition, strength, occasion)
        if self.had(check, condition, strength, occasion) and fit.repeats is None:
            return self
        return self.weighed(
            self._worth((*self.told, told), told) / self._worth(self.told, told),
            told=(*self.told, told),
            occasion={**self.occasion, check: (*self.occasion.get(check, ()), outcome)},
        )

    def noted(self, check: str, outcome: str, setting: Setting) -> Belief:
        """Return the belief with an answer told and not weighed: for asking what one more would say after it."""
        told = self._told(self.model.fitted.check(check), outcome, *setting)
        return replace(self, told=(*self.told, told))

    def _told(self, fit: FitCheck, outcome: str, condition: Condition, strength: float, occasion: int) -> Told:
        condition, strength, makes = self.model.setting(fit.key, condition, strength)
        # What a fault's activity has no part in is one story through the whole case.
        when = (occasion, self.era) if fit.functional else (0, 0)
        return Told(fit.key, outcome, condition, strength, *when, makes)

    def had(
        self, check: str, condition: Condition = "steady", strength: float = 1.0, occasion: int = 0
    ) -> tuple[str, ...]:
        """Return the outcomes that a check had on this occasion, so that asking again repeats it."""
        like = self._told(self.model.fitted.check(check), "", condition, strength, occasion)
        return tuple(t.outcome for t in self.told if replace(t, outcome="") == like)

    def in_condition(self, check: str, setting: Setting) -> bool:
        """Return whether a check has an answer that stands in this condition, on whatever occasion."""
        where = self.model.setting(check, setting.condition, setting.strength)[0]
        return any(t.check == check and t.condition == where for t in self.told)

    def _got(self, told: Iterable[Told], like: Told) -> dict[str, tuple[int, ...]]:
        """Return the answers that are one story with this one: check → outcomes."""
        checks = self.model.fitted.checks
        found: dict[str, tuple[int, ...]] = {}
        own = checks[like.check]
        for t in told:
            fit = checks[t.check]
            one = _when(t) == _when(like) and (fit.still if own.still else t.check == like.check)
            if one:
                found[t.check] = (*found.get(t.check, ()), fit.outcomes.index(t.outcome))
        return found

    def _worth(self, told: Iterable[Told], like: Told) -> Table:
        """Return P(the answers among these that are one story with ``like`` | joint)."""
        got = self._got(told, like)
        if not got:
            return np.ones([1] * self.joint.ndim)
        if self.model.fitted.check(like.check).still:
            return self.model.together(got, *like.how)
        ((check, outcomes),) = got.items()
        repeats = self.model.fitted.check(check).repeats
        table = self.model.likelihood(check, like.condition, like.strength)
        return run(table, outcomes, repeats.same if repeats else 0.0)

    def next_likelihood(
        self, check: str, condition: Condition = "steady", strength: float = 1.0, occasion: int = 0
    ) -> Table:
        """Return P(next outcome | joint) given what was seen on this occasion; shape as Model.likelihood."""
        return self.following(check, condition, strength, occasion)

    def following(
        self,
        check: str,
        condition: Condition = "steady",
        strength: float = 1.0,
        occasion: int = 0,
        at: At | None = None,
        kept: dict[Any, Occasion] | None = None,
    ) -> Table:
        """Return P(next outcome | joint) given what was seen on this occasion, at these joint states only.

        ``at``: one array of indices a zone; the shape is then (outcomes, states). ``kept``: what was worked out for
        other checks at the same states, kept by the caller.
        """
        fit = self.model.fitted.check(check)
        like = self._told(fit, "", condition, strength, occasion)
        got = self._got(self.told, like)
        if fit.still and (fit.repeats is not None or check not in got):
            kept = {} if kept is None else kept
            key = _when(like)
            if key not in kept:
                kept[key] = Occasion(self.model, got, *like.how, at)
            return kept[key].following(check)
        table = self.model.likelihood(check, like.condition, like.strength)
        table = table if at is None else columns(table, at)
        if check not in got or fit.repeats is None:
            return table
        found = following(table, got[check], fit.repeats.same)
        return np.asarray(found / found.sum(axis=0, keepdims=True))

    def afresh(self) -> Belief:
        """Return the belief on a new occasion: nothing that was seen is repeated."""
        return replace(self, told=(), occasion={})

    def passing(self, checks: Iterable[str], setting: Setting, at: At) -> Table:
        """Return P(each of these checks gives its first outcome | joint state, what was seen on the occasion).

        Each is asked once. ``at``: the joint states, as for :meth:`following`; shape (states,).
        """
        found = np.ones(len(at[0]))
        together: dict[Any, tuple[Told, list[str]]] = {}
        for check in checks:
            fit = self.model.fitted.check(check)
            like = self._told(fit, "", *setting)
            if fit.still:
                together.setdefault(_when(like), (like, []))[1].append(check)
            else:
                found = found * self.following(check, *setting, at)[0]
        for like, asked in together.values():
            got = self._got(self.told, like)
            more = got | {check: (*got.get(check, ()), 0) for check in asked}
            with_them, without = (Occasion(self.model, g, *like.how, at).weight() for g in (more, got))
            found = found * with_them / without
        return np.asarray(found)

    def repair(self, repair: str) -> Belief:
        """Take in that a repair was done. Evidence so far stays evidence about the states before it."""
        fit = self.model.fitted.repair(repair)
        touched = set(fit.clears) | set(fit.disturbs)
        joint = self.joint
        for zone in touched:
            axis = self.model.axis[zone]
            joint = np.moveaxis(np.tensordot(joint, self.model.transition(fit, zone), axes=(axis, 0)), -1, axis)
        return self.changed(joint, touched)

    def changed(self, joint: Table, touched: Collection[str]) -> Belief:
        """Return the belief after work on these zones: what was seen of them speaks of the state before."""

        def stands(check: str) -> bool:
            return not set(touched) & set(self.model.fitted.check(check).given)

        return replace(
            self,
            joint=joint,
            told=tuple(t for t in self.told if stands(t.check)),
            occasion={check: outcomes for check, outcomes in self.occasion.items() if stands(check)},
            era=self.era + 1,
        )

    def swapped(self, part: str, one: str, other: str = "") -> Belief:
        """Take in that the parts of two channels changed places, or that a channel's went elsewhere for another.

        ``other``: a channel; empty for elsewhere. See :mod:`isolate.reasoning.swap`. Evidence so far stays evidence
        about the parts where they were then. Raises ValueError for what no channel has.
        """
        if other:
            joint = swap.between(self.model, self.joint, part, one, other)
        else:
            joint = swap.exchange(self.model, self.joint, part, one)
        touched = {zone for channel in (one, other) for zone in swap.zones(self.model, part, channel)}
        return self.changed(joint, touched)

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

    def predicted(self, check: str, condition: Condition = "steady", strength: float = 1.0, occasion: int = 0) -> Table:
        """Return the probability of each outcome of a check, were it asked now."""
        likelihood = self.next_likelihood(check, condition, strength, occasion)
        return np.asarray((likelihood * self.joint).reshape(len(likelihood), -1).sum(axis=1))

    def after(self, check: str, setting: Setting) -> tuple[Table, tuple[Belief, ...]]:
        """Return the probability of each outcome of a check, were it asked now, and what would be believed then.

        The beliefs are for reading only: what would have been told is not on them.
        """
        likelihood = self.next_likelihood(check, *setting)
        chances = np.asarray((likelihood * self.joint).reshape(len(likelihood), -1).sum(axis=1))
        return chances, tuple(self.weighed(row) for row in likelihood)

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
        for told, likelihood in self.shares():
            # What is believed now already holds this answer: take it out before weighing it.
            given = _average(inside / likelihood, likelihood)
            against = _average(outside / likelihood, likelihood)
            found.append((told, log(given / against) / log(2)))
        return tuple(found)

    def shares(self) -> tuple[tuple[Told, Table], ...]:
        """Return each answer that stands with P(it | joint, those before it on its occasion)."""
        found, earlier = [], list[Told]()
        for told in self.told:
            before = self._worth(earlier, told)
            earlier.append(told)
            found.append((told, self._worth(earlier, told) / before))
        return tuple(found)

    def surprise(self) -> float:
        """Return how far the answers are from what their best explanation would produce, in standard deviations.

        Under the most probable joint state each answer has an information content -ln P; its expectation is the
        answer's entropy under that state. The excess of the sum is divided by its standard deviation.
        """
        best = np.unravel_index(int(self.joint.argmax()), self.joint.shape)
        excess, variance = 0.0, 0.0
        for told in self.told:
            table = self.model.likelihood(told.check, told.condition, told.strength)
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
        for _, likelihood in self.shares():
            likelihoods.append(likelihood)
            # What is believed now already holds this answer: take it out.
            before = before / likelihood
        total = float(before.sum())
        apart = sum(log(float((before * likelihood).sum()) / total) for likelihood in likelihoods)
        return (apart + log(total)) / log(2)


def _when(told: Told) -> tuple[Any, ...]:
    """Return what answers of one occasion have in common."""
    return *told.how, told.occasion, told.era


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

"""What the ages of parts say before any evidence: Weibull wear-out over the joint of the zones.

A mode that wears has the hazard of a Weibull life, h(a) = (k/s)·(a/s)^(k-1), in the starts or hours since its part was
new. Its prior is the average over the ages of parts in service. Those have a density proportional to the share still in
service at that age, the survival S(a) up to the age at which a part still good is renewed (renewal in equilibrium: Cox,
*Renewal Theory*, 1962, from memory). So at a known age the prior is multiplied by h(a) / E[h], and an age known within
limits is averaged over that stretch of the same density. Over all of it the factor is one: nothing is guessed.

Faults of one part share its age and its survival, which is the product of theirs. Where one age governs several zones
(plugs fitted at once, one exciter box for both channels) it is one for them all: the zones' priors are multiplied at
each age and then averaged, so that where one is worn the other is likelier to be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import Fitted, instance

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]

STRAY = 0.01
"""Share of ages told that are those of another part (a label misread, a change not written up): our judgement. With it
the prior stays what it is at an age nobody knows, so that no age rules anything out."""
MOST = 0.5
"""The priors of a zone's faults never come to more than this together, however old its parts: a part that old and
still in service has shown that it outlives the figures."""
FINEST = 64
"""Points at which one age is weighed."""
POINTS = 4096
"""Points in all where several ages are weighed together."""
GONE = 50.0
"""Summed hazard beyond which a part is as good as never met: e^-50 of them are left."""


@dataclass(frozen=True)
class Age:
    """How old a part is: since new, in starts or in hours, known within ``least`` and ``most``.

    ``channel``: its channel; empty for a part that both share, or for the same part on every channel, fitted at once
    (``together``). Neither limit known: only that they were fitted at once is told.
    """

    part: str
    channel: str = ""
    unit: Literal["starts", "hours"] = "starts"
    least: float | None = None
    most: float | None = None
    together: bool = False

    @property
    def known(self) -> bool:
        """Whether a limit is told."""
        return self.least is not None or self.most is not None


@dataclass(frozen=True)
class Worn:
    """A fault that wears, of one zone: its state, its prior and its Weibull shape and scale (the part's unit)."""

    zone: str
    state: str
    prior: float
    shape: float
    scale: float

    @property
    def mode(self) -> str:
        """Its instance name, such as ``igniter-worn/A``."""
        return instance(self.state, self.zone.partition("/")[2])


@dataclass(frozen=True)
class Part:
    """A part that wears: what its age is counted in, when it is renewed while still good, and its faults.

    ``shared``: there is one of it for all channels.
    """

    name: str
    unit: Literal["starts", "hours"]
    replaced_at: float | None
    shared: bool
    worn: tuple[Worn, ...]

    @property
    def absurd(self) -> float:
        """The age that no such part reaches: ten times the longest that our figures speak of."""
        return 10 * (self.replaced_at or max(w.scale for w in self.worn))

    def of(self, channel: str) -> Part:
        """Return the part with the faults of one channel only; all of them where it is shared."""
        if self.shared or not channel:
            return self
        worn = tuple(w for w in self.worn if w.zone.partition("/")[2] == channel)
        return Part(self.name, self.unit, self.replaced_at, False, worn)

    @property
    def one(self) -> Part:
        """One such part: of the first channel where each has its own."""
        return self if self.shared else self.of(self.worn[0].zone.partition("/")[2])


def parts(fitted: Fitted) -> dict[str, Part]:
    """Return the parts of an engine that wear, by name, in the order of its zones.

    A part with faults in a zone that is not one a channel is one for all channels.
    """
    found: dict[str, list[Worn]] = {}
    kept: dict[str, tuple[Literal["starts", "hours"], float | None]] = {}
    shared: set[str] = set()
    for zone in fitted.zones.values():
        for state, prior in zip(zone.states[1:], zone.prior[1:], strict=True):
            mode = zone.modes[state]
            if not zone.channel:
                shared.add(mode.part)
            if mode.wear is not None:
                kept[mode.part] = mode.wear.unit, mode.wear.replaced_at
                found.setdefault(mode.part, []).append(Worn(zone.key, state, prior, mode.wear.shape, mode.wear.scale))
    return {name: Part(name, *kept[name], name in shared, tuple(worn)) for name, worn in found.items()}


# -- one Weibull life ------------------------------------------------------------------------------


def hazard(age: Table, shape: float, scale: float) -> Table:
    """Return the rate at which a fault comes on at these ages, per unit of age; shape as ``age``."""
    return np.asarray(shape / scale * (age / scale) ** (shape - 1))


def summed(age: Table, shape: float, scale: float) -> Table:
    """Return the hazard summed from new to these ages; the survival is e to its negative."""
    return np.asarray((age / scale) ** shape)


# -- the ages of parts in service ------------------------------------------------------------------


def spread(
    part: Part, least: float | None = None, most: float | None = None, points: int = FINEST
) -> tuple[Table, Table]:
    """Return ages of one such part in service and the weight of each, which sum to one; both of shape (points,).

    Between the limits, where there are any. An age beyond the one of renewal is that of a part that was left in: the
    survival goes on there. Equal limits: that age, at every point.
    """
    worn = part.one.worn
    low = least or 0.0
    high = _end(part, low) if most is None or (low < _end(part) < most) else most
    # The age as low + (high - low)·u²: near nought the hazard may rise as a root does, which this makes smooth.
    nodes, weights = np.polynomial.legendre.leggauss(points)
    u = (nodes + 1) / 2
    ages = low + (high - low) * u**2
    start = sum(float(summed(np.array(low), w.shape, w.scale)) for w in worn)
    total = sum((summed(ages, w.shape, w.scale) for w in worn), np.zeros(points))
    density = weights * u * np.exp(start - total)
    return ages, np.asarray(density / density.sum())


def _end(part: Part, low: float = 0.0) -> float:
    """Return the age up to which parts are in service; for one already older, up to which it may be still."""
    if part.replaced_at is not None and low < part.replaced_at:
        return part.replaced_at
    # By then the fault that comes soonest has come.
    return min(
        float((float(summed(np.array(low), w.shape, w.scale)) + GONE) ** (1 / w.shape) * w.scale) for w in part.one.worn
    )


def mean_hazards(part: Part) -> dict[str, float]:
    """Return each fault's hazard averaged over the ages of parts in service, by state, per unit of age."""
    return dict(_mean_hazards(part.one))


@lru_cache(maxsize=64)
def _mean_hazards(part: Part) -> tuple[tuple[str, float], ...]:
    ages, weights = spread(part)
    return tuple((w.state, float(hazard(ages, w.shape, w.scale) @ weights)) for w in part.worn)


def relative(part: Part, ages: Table) -> dict[str, Table]:
    """Return, by state, how many times as likely each fault is at these ages as at an age nobody knows."""
    means = mean_hazards(part)
    return {w.state: hazard(ages, w.shape, w.scale) / means[w.state] for w in part.worn}


# -- what ages do to the joint ---------------------------------------------------------------------


@dataclass(frozen=True)
class Shift:
    """What an age does to one fault: how many times as likely it is as at an age nobody knows.

    ``held``: it would be more, and is held down so that the faults of its zone do not come to more than ``MOST``.
    ``tied``: where the age is one for several zones: how many times as likely it is where the same fault is there in
    another of them; else 1.
    """

    mode: str
    times: float
    held: bool = False
    tied: float = 1.0


@dataclass(frozen=True, eq=False)
class _Clock:
    """One age: points of it with their weights, and what each fault of its part is multiplied by there."""

    weights: Table
    times: Mapping[tuple[str, str], Table]
    """(zone, state) → factors, one a point."""
    held: frozenset[tuple[str, str]]

    @property
    def zones(self) -> frozenset[str]:
        return frozenset(zone for zone, _ in self.times)


def weight(model: Model, ages: Sequence[Age]) -> Table:
    """Return what ages multiply the prior of the joint by, in the order of ``model.zones``.

    Axes of zones that no age speaks of have length 1. The product with the prior sums to one. Nothing told: ones.
    Raises KeyError for a part that does not wear; :func:`isolate.case.ages.faults` finds what else is wrong.
    """
    return _weight(model, tuple(ages))


@lru_cache(maxsize=8)
def _weight(model: Model, ages: tuple[Age, ...]) -> Table:
    fitted = model.fitted
    wearing = parts(fitted)
    governed = [len(_governs(wearing[age.part], age)) for age in ages]
    several = sum(n > 1 for n in governed)
    points = min(FINEST, int(POINTS ** (1 / max(1, several)) + 1e-9))
    clocks = [_clock(fitted, wearing, age, FINEST if n < 2 else points) for age, n in zip(ages, governed, strict=True)]
    tied = [clock for clock in clocks if len(clock.zones) > 1]
    grid = [len(clock.weights) for clock in tied]
    weights = np.ones(1)
    for clock in tied:
        weights = np.multiply.outer(weights, clock.weights).ravel()
    factor = np.ones([1] * len(model.zones))
    joined: list[str] = []
    rows: dict[str, Table] = {}
    for key in model.zones:
        zone = fitted.zones[key]
        prior = np.asarray(zone.prior)
        row = np.broadcast_to(prior, (len(weights), len(prior))).copy()
        for clock in clocks:
            for i, state in enumerate(zone.states[1:], start=1):
                times = clock.times.get((key, state))
                if times is None:
                    continue
                if clock in tied:
                    shape = [1] * len(grid)
                    at = next(n for n, other in enumerate(tied) if other is clock)
                    shape[at] = grid[at]
                    row[:, i] *= np.broadcast_to(times.reshape(shape), grid).ravel()
                else:
                    row[:, i] *= float(times @ clock.weights)
        row[:, 0] = 1 - row[:, 1:].sum(axis=1)
        if any(key in clock.zones for clock in tied):
            joined.append(key)
            rows[key] = row
        elif any(key in clock.zones for clock in clocks):
            factor = factor * model.along(key, row[0] / prior)
    if joined:
        table = _averaged([rows[key] for key in joined], weights)
        for axis, key in enumerate(joined):
            prior = np.asarray(fitted.zones[key].prior)
            table = table / prior.reshape([-1 if i == axis else 1 for i in range(len(joined))])
        shape = [1] * len(model.zones)
        for key in joined:
            shape[model.axis[key]] = len(fitted.zones[key].states)
        # The zones are gone through in the order of the axes, so no axis has to be moved.
        factor = factor * table.reshape(shape)
    factor.setflags(write=False)
    return factor


def _averaged(rows: Sequence[Table], weights: Table) -> Table:
    """Return the average over the points of the product of the rows, one axis a row; a few points at a time."""
    sizes = [row.shape[1] for row in rows]
    before, last = rows[:-1], rows[-1]
    width = int(np.prod(sizes[:-1]))
    step = max(1, 2_000_000 // width)
    found = np.zeros((width, sizes[-1]))
    for first in range(0, len(weights), step):
        some = slice(first, first + step)
        left = weights[some, None]
        for row in before:
            left = (left[:, :, None] * row[some, None, :]).reshape(len(left), -1)
        found += left.T @ last[some]
    return found.reshape(sizes)


def _governs(part: Part, age: Age) -> tuple[str, ...]:
    """Return the zones that an age speaks of."""
    return tuple(dict.fromkeys(w.zone for w in part.of(age.channel).worn))


def _clock(fitted: Fitted, wearing: Mapping[str, Part], age: Age, points: int) -> _Clock:
    whole = wearing[age.part]
    part = whole.of(age.channel)
    ages, weights = spread(part, age.least, age.most, points)
    pure = relative(part, ages)
    if not age.known:
        # Nothing but the tie is told: each fault by itself is exactly as likely as it was.
        pure = {state: times / float(times @ weights) for state, times in pure.items()}
    times: dict[tuple[str, str], Table] = {}
    held: set[tuple[str, str]] = set()
    for key in _governs(whole, age):
        own = [w for w in part.worn if w.zone == key]
        mixed = {w.state: STRAY + (1 - STRAY) * pure[w.state] for w in own}
        usual = sum(w.prior for w in own)
        more = sum((w.prior * mixed[w.state] for w in own), np.zeros(points)) - usual
        # What is too much is taken from the change, so that what is likelier with age stays likelier.
        kept = np.minimum(1.0, (_room(fitted, wearing, key, age.part) - usual) / np.maximum(more, 1e-300))
        for w in own:
            times[key, w.state] = 1 + (mixed[w.state] - 1) * kept
            if float(kept @ weights) < 1 - 1e-9:
                held.add((key, w.state))
    return _Clock(weights, times, frozenset(held))


def _room(fitted: Fitted, wearing: Mapping[str, Part], zone: str, part: str) -> float:
    """Return what the priors of a part's faults may come to in a zone: an equal share of what the rest leave."""
    faults = dict(zip(fitted.zones[zone].states[1:], fitted.zones[zone].prior[1:], strict=True))
    own = {name: {w.state for w in p.worn if w.zone == zone} for name, p in wearing.items()}
    usual = sum(faults[state] for state in own[part])
    random = sum(prior for state, prior in faults.items() if not any(state in states for states in own.values()))
    return max(usual, (MOST - random) / sum(bool(states) for states in own.values()))


def shifts(fitted: Fitted, age: Age) -> tuple[Shift, ...]:
    """Return what an age does to each fault of its part, the greatest change first, ties by name."""
    clock = _clock(fitted, parts(fitted), age, FINEST)
    found = []
    for (zone, state), times in clock.times.items():
        mean = float(times @ clock.weights)
        others = [other for (key, same), other in clock.times.items() if same == state and key != zone]
        tied = max(
            (float((times * other) @ clock.weights) / (mean * float(other @ clock.weights)) for other in others),
            default=1.0,
        )
        found.append(Shift(instance(state, fitted.zones[zone].channel), mean, (zone, state) in clock.held, tied))
    return tuple(sorted(found, key=lambda s: (-round(abs(np.log(s.times)), 9), s.mode)))

"""What the joint is after parts changed places: between two channels, or with another engine.

A part carries its state with it: if the plug of A is worn and that of B is not, the plug of B is worn once they have
changed places. What belongs to the place stays: its seat, its insert, its feed, and a fault of another part. A fault
that lies in how a part is fitted (``anew`` of :class:`isolate.kb.model.Mode`) ends mostly with the exchange, since it
is fitted anew (:data:`REMADE`).

A zone holds one state. Where a fault that comes meets one that stays, the one that lights less is kept, and where both
light alike the one that stays. So the exchange is undone by a second one in all but those states, whose share of the
probability :func:`merged` gives; and no probability is lost.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import Fitted, FitZone, split

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]

ELSEWHERE = "elsewhere"
"""In place of the other channel: the part went to another engine, and one of unknown state came for it."""
REMADE = 0.9
"""Share of the faults in how a part is fitted that are gone once it has been fitted anew: our judgement."""


def spelled(part: str, one: str, other: str = "") -> str:
    """Return the key of an exchange: ``lead:A<>B`` whichever channel is named first, or ``lead:A<>elsewhere``."""
    channels = sorted((one, other)) if other else (one, ELSEWHERE)
    return f"{part}:{'<>'.join(channels)}"


def read(key: str) -> tuple[str, str, str]:
    """Return (part, channel, other channel) of a key as :func:`spelled` writes it; the other is empty for elsewhere.

    Raises ValueError for what is no such key.
    """
    found = re.fullmatch(r"([a-z0-9-]+):([A-Z0-9]{1,3})<>([A-Z0-9]{1,3}|elsewhere)", key, re.ASCII)
    if found is None:
        raise ValueError(f"{key!r} does not say which parts changed places, such as lead:A<>B or lead:A<>{ELSEWHERE}")
    part, one, other = found.groups()
    return part, one, "" if other == ELSEWHERE else other


def zones(model: Model, part: str, channel: str) -> tuple[str, ...]:
    """Return the zones of a channel that hold a part's state; none where the channel has no such part of its own."""
    return tuple(
        key
        for key, zone in model.fitted.zones.items()
        if zone.channel == channel and any(mode.part == part for mode in zone.modes.values())
    )


def between(model: Model, joint: Table, part: str, one: str, other: str) -> Table:
    """Return the joint once a part of this name has changed places between two channels.

    ``joint``: one axis a zone, as :class:`~isolate.reasoning.belief.Belief` has it. Raises ValueError where a channel
    has no such part of its own, or where both are one.
    """
    if one == other:
        raise ValueError("parts change places between two channels, not within one")
    for key in _had(model, part, one):
        partner = next((k for k in _had(model, part, other) if split(k)[0] == split(key)[0]), None)
        if partner is None:
            raise ValueError(f"channel {other} has no {part} that the one of channel {one} could change places with")
        joint = _fitted_anew(model, joint, part, (key, partner))
        to_one, to_other = _after(model.fitted.zones[key], part)
        a, b = model.axis[key], model.axis[partner]
        flat = np.moveaxis(np.broadcast_to(joint, model.shape), (a, b), (0, 1))
        found = np.zeros_like(flat)
        np.add.at(found, (to_one, to_other), flat)
        joint = np.moveaxis(found, (0, 1), (a, b))
    return np.ascontiguousarray(joint)


def exchange(model: Model, joint: Table, part: str, channel: str) -> Table:
    """Return the joint once a channel's part has gone elsewhere and one of unknown state has come for it.

    What is known of the part goes with it; the newcomer is as likely to be at fault as any part before a complaint is
    heard, whatever is known of the rest. Raises ValueError where the channel has no such part of its own.
    """
    for key in _had(model, part, channel):
        joint = _fitted_anew(model, joint, part, (key,))
        axis = model.axis[key]
        table = newcomer(model.fitted.zones[key], part)
        joint = np.moveaxis(np.tensordot(np.broadcast_to(joint, model.shape), table, axes=(axis, 0)), -1, axis)
    return np.ascontiguousarray(joint)


def back(model: Model, weight: Table, part: str, one: str, other: str = "") -> Table:
    """Return P(what was seen since | joint before an exchange) from P(it | joint after it).

    ``other`` as in :meth:`isolate.reasoning.belief.Belief.swapped`. Raises ValueError as :func:`between` does.
    """
    weight = np.broadcast_to(weight, model.shape)
    for key in reversed(_had(model, part, one)):
        if not other:
            table = newcomer(model.fitted.zones[key], part)
            axis = model.axis[key]
            weight = np.moveaxis(np.tensordot(weight, table, axes=(axis, 1)), -1, axis)
            weight = _refitted(model, weight, part, (key,))
            continue
        partner = next(k for k in _had(model, part, other) if split(k)[0] == split(key)[0])
        to_one, to_other = _after(model.fitted.zones[key], part)
        a, b = model.axis[key], model.axis[partner]
        found = np.moveaxis(weight, (a, b), (0, 1))[to_one, to_other]
        weight = _refitted(model, np.moveaxis(found, (0, 1), (a, b)), part, (key, partner))
    return np.ascontiguousarray(weight)


def newcomer(zone: FitZone, part: str) -> Table:
    """Return P(state after | state before) of a zone that gets a part of unknown state, shape (before, after)."""
    goes = _goes(zone, part)
    table = np.zeros((len(zone.states), len(zone.states)))
    good = 1.0 - sum(zone.prior[i] for i in goes)
    for before in range(len(zone.states)):
        stays = 0 if before in goes else before
        table[before, stays] += good
        for i in goes:
            table[before, _meeting(zone, i, stays)] += zone.prior[i]
    return table


def carried(fitted: Fitted, states: Mapping[str, str], part: str, one: str, other: str) -> dict[str, str]:
    """Return the state of every zone once the parts of two channels have changed places, the state being known.

    A fault in how a part was fitted has ended, as it mostly does. ``states``: zone → state.
    """
    found = dict(states)
    for key, zone in fitted.zones.items():
        partner = f"{split(key)[0]}/{other}"
        if zone.channel != one or partner not in fitted.zones:
            continue
        at = [zone.states.index(found[k]) for k in (key, partner)]
        at = [0 if i and zone.modes[zone.states[i]].part == part and zone.modes[zone.states[i]].anew else i for i in at]
        for k, after in zip((key, partner), _after(zone, part), strict=True):
            found[k] = zone.states[after[at[0], at[1]]]
    return found


def merged(model: Model, joint: Table, part: str, one: str, other: str) -> float:
    """Return the probability of the states in which an exchange brings two faults into one zone, one of them lost."""
    total = 0.0
    for key in _had(model, part, one):
        partner = next(k for k in _had(model, part, other) if split(k)[0] == split(key)[0])
        zone = model.fitted.zones[key]
        goes = np.zeros(len(zone.states))
        goes[list(_goes(zone, part))] = 1.0
        stays = 1.0 - goes
        stays[0] = 0.0
        for comes, left in ((key, partner), (partner, key)):
            weight = model.along(comes, goes) * model.along(left, stays)
            total += float((joint * weight).sum())
    return total


def _had(model: Model, part: str, channel: str) -> tuple[str, ...]:
    found = zones(model, part, channel)
    if not found:
        raise ValueError(f"channel {channel} has no {part} of its own")
    return found


def _goes(zone: FitZone, part: str) -> frozenset[int]:
    """Return the states that go with the part."""
    return frozenset(
        i for i, state in enumerate(zone.states) if i and zone.modes[state].part == part and not zone.modes[state].anew
    )


def _meeting(zone: FitZone, comes: int, stays: int) -> int:
    """Return the state a zone is in where a fault that comes meets what stays."""
    if not stays or not comes:
        return comes or stays
    active = zone.active("steady")
    lights = [active[i] * zone.lights[i] + (1 - active[i]) * zone.lights[0] for i in (comes, stays)]
    return comes if lights[0] < lights[1] else stays


def _after(zone: FitZone, part: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return, for each pair of states of two such zones, the states after the exchange: two arrays (states, states)."""
    count, goes = len(zone.states), _goes(zone, part)
    one, other = np.zeros((count, count), dtype=np.int64), np.zeros((count, count), dtype=np.int64)
    for a in range(count):
        for b in range(count):
            part_a, part_b = (a if a in goes else 0), (b if b in goes else 0)
            one[a, b] = _meeting(zone, part_b, 0 if part_a else a)
            other[a, b] = _meeting(zone, part_a, 0 if part_b else b)
    return one, other


def _fitted_anew(model: Model, joint: Table, part: str, keys: tuple[str, ...]) -> Table:
    """Return the joint with :data:`REMADE` of the faults in how these zones' part was fitted gone."""
    for key in keys:
        axis = model.axis[key]
        table = _remade(model.fitted.zones[key], part)
        joint = np.moveaxis(np.tensordot(np.broadcast_to(joint, model.shape), table, axes=(axis, 0)), -1, axis)
    return joint


def _refitted(model: Model, weight: Table, part: str, keys: tuple[str, ...]) -> Table:
    """Return P(what was seen since | joint before these zones' part was fitted anew)."""
    for key in keys:
        axis = model.axis[key]
        weight = np.moveaxis(np.tensordot(weight, _remade(model.fitted.zones[key], part), axes=(axis, 1)), -1, axis)
    return weight


def _remade(zone: FitZone, part: str) -> Table:
    """Return P(state after | state before) of a zone whose part is fitted anew, shape (before, after)."""
    table = np.eye(len(zone.states))
    for i, state in enumerate(zone.states):
        if i and zone.modes[state].part == part and zone.modes[state].anew:
            table[i, i], table[i, 0] = 1 - REMADE, REMADE
    return table

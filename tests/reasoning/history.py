"""Starts weighed by writing every hidden course out: where each turn stood, what fault came when. For small aircraft.

Shares nothing with :mod:`isolate.reasoning.starts` but its stated figures; nothing here is clever, so that it can be
read against the words of that module.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np

from isolate.kb.fit import Fitted
from isolate.kb.model import FLOOR
from isolate.reasoning.starts import GAP, ONSET, SLIP, Start

Q = ONSET / (1 + ONSET)
MISSING = 300
"""Missing starts at a gap that are written out; what is beyond is 1e-29 of it."""


_WRITTEN: dict[tuple[Any, ...], tuple[np.ndarray, np.ndarray, np.ndarray]] = {}


def weigh(fitted: Fitted, states: dict[str, str], starts: Sequence[Start]) -> float:
    """Return P(results and channels told | every zone's state now), but for what is the same for all states."""
    faulty = [key for key, state in states.items() if state != "healthy"]
    moments = onsets(starts)
    total = 0.0
    for came in itertools.product(range(len(moments)), repeat=len(faulty)):
        chance = 1.0
        for moment in came:
            chance *= moments[moment]
        first = dict(zip(faulty, came, strict=True))
        then = [
            {k: s if k in first and first[k] <= i else "healthy" for k, s in states.items()} for i in range(len(starts))
        ]
        total += chance * given(fitted, then, starts)
    return total


def onsets(starts: Sequence[Start]) -> list[float]:
    """P(a fault was there at start i, not before) for each start, and last that it came after all of them."""
    # Starts made between one told and the next told, with their probabilities; one step is the one told itself.
    after = [[(1, 1.0)] for _ in starts]
    for i in range(1, len(starts)):
        if starts[i].gap:
            p = 1 / GAP
            after[i - 1] = [(1 + k, p * (1 - p) ** (k - 1)) for k in range(1, MISSING)]
    reach = [1.0]  # P(there already) just after the newest start, at the newest, at the one before ...
    for steps in reversed(after):
        reach.append(reach[-1] * sum(chance * Q**count for count, chance in steps))
    reach.reverse()  # oldest start first, "after all of them" last
    return [reach[0]] + [reach[i] - reach[i - 1] for i in range(1, len(reach))]


def given(fitted: Fitted, then: Sequence[dict[str, str]], starts: Sequence[Start]) -> float:
    """P(results and channels told | the states at each start), over every course of the two turns."""
    chances, channels, failing = courses(fitted, tuple(starts))
    for i, (start, states) in enumerate(zip(starts, then, strict=True)):
        table = np.empty((len(fitted.channels), 2))
        for c, channel in enumerate(fitted.channels):
            for lane_failed in (0, 1):
                said = []
                for used in may_use(fitted, start, channel):
                    p = min(max(lit(fitted, states, used, start, bool(lane_failed)), FLOOR), 1 - FLOOR)
                    said.append(p if start.lit else 1 - p)
                table[c, lane_failed] = 1.0 if start.aborted else sum(said) / len(said)
        chances = chances * table[channels[:, i], failing[:, i]]
    return float(chances.sum())


def may_use(fitted: Fitted, start: Start, due: str) -> tuple[str, ...]:
    """The channels that a start may have used, each as likely, where ``due`` is the one whose turn it is."""
    if start.channel != "unknown":
        return (start.channel,)
    return {"alternate": (due,), "both": ("both",), "by-hand": (*fitted.channels, "both")}[fitted.profile.selection]


def courses(fitted: Fitted, starts: tuple[Start, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every course that agrees with what was told: probability, channel at each start, whether its lane is the bad one.

    The last two have shape (courses, starts).
    """
    features: Any = fitted.profile.features
    every = features.get("lane-every", 0) if features.get("lanes-alternate") else 0
    key = (starts, len(fitted.channels), every, features.get("aborted-start-counts"))
    if key in _WRITTEN:
        return _WRITTEN[key]
    found: list[tuple[float, list[int], list[bool]]] = []
    for used in itertools.product(range(len(fitted.channels)), repeat=len(starts)):
        told = all(s.channel in ("unknown", "both", fitted.channels[c]) for s, c in zip(starts, used, strict=True))
        chance = turn(features, starts, used, len(fitted.channels)) if told else 0.0
        if chance == 0:
            continue
        for path in itertools.product(range(2 * every or 1), repeat=len(starts)):
            lanes = [1 + at // every % 2 if every else 1 for at in path]
            if any(s.lane and s.lane != str(lane) for s, lane in zip(starts, lanes, strict=True)):
                continue
            for failed in (1, 2):
                both = chance * turn(features, starts, path, 2 * every or 1) / 2
                found.append((both, list(used), [lane == failed for lane in lanes]))
    chances, channels, failing = zip(*found, strict=True)
    _WRITTEN[key] = np.array(chances), np.array(channels), np.array(failing, dtype=int)
    return _WRITTEN[key]


def turn(features: Any, starts: Sequence[Start], path: Sequence[int], places: int) -> float:
    """P(a turn of so many places takes this path)."""
    counts = features.get("aborted-start-counts")
    chance = 1 / places
    for i in range(1, len(starts)):
        step = 1.0 if not starts[i - 1].aborted else 0.5 if counts is None else float(counts)
        slip = 1.0 if starts[i].gap else SLIP
        moved, stayed = path[i] == (path[i - 1] + 1) % places, path[i] == path[i - 1]
        chance *= (1 - slip) * (step * moved + (1 - step) * stayed) + slip / places
    return chance


def lit(fitted: Fitted, states: dict[str, str], channel: str, start: Start, lane_failed: bool) -> float:
    """P(the start lights | every zone's state), written out from the entries."""
    spark, rest = 1.0, 1.0
    for key, state in states.items():
        zone = fitted.zones[key]
        i = zone.states.index(state)
        a = zone.active(start.condition)[i]
        value = a * zone.lights[i] + (1 - a) * zone.lights[0]
        by_lane = state != "healthy" and zone.modes[state].by_lane
        if by_lane and fitted.profile.features.get("lane-every"):
            # The mean over both lanes is given, and the other lane is well.
            value = max(0.0, 2 * value - zone.lights[0]) if lane_failed else zone.lights[0]
        if not zone.channel:
            rest *= value
        elif channel in ("both", zone.channel):
            spark *= 1 - value
    return (1 - spark) * rest

"""Time to light by channel: whether a channel lights later than the others, or later and later.

A weak spark slows before it fails, so the figures of good starts speak too. Two rank tests, both blind to what the
times are spread like and to a stray one: Mann's test for trend (H. B. Mann, *Nonparametric tests against trend*,
Econometrica 13, 1945; with ties as in M. G. Kendall, *Rank Correlation Methods*; from memory) and the rank sum test of
Mann and Whitney (1947). Starts of one condition are compared with one another alone and the sums added over the
conditions, as R. M. Hirsch, J. R. Slack and R. A. Smith (*Water Resources Research* 18, 1982) do by season.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from statistics import median
from typing import Literal

from isolate.reasoning.starts import Start

NEWEST = 40
"""Timed starts of a channel that are looked at, newest; what was slow long ago is not what is wrong now."""
LEAST = 6
"""Fewer timed starts of a channel than this say nothing."""
SURE, LIKELY = 1.96, 1.28
"""Standard deviations by which a rank test has to be off to be believed, and to be doubted: 2.5 % and 10 %."""
RISES, BEATS = 0.25, 0.65
"""What is sure may still be small. Least rank correlation of a rise, least share of pairs in which the channel is the
later one: our judgement."""

Verdict = Literal["longer", "alike", ""]


@dataclass(frozen=True)
class LightTimes:
    """One channel's times to light, oldest first, seconds, and what they come to; an empty verdict: cannot tell.

    ``rise``: seconds per ten starts of this channel (median of the slopes between all pairs, Theil and Sen).
    ``rising``, ``later``: standard deviations by which the times rise, and by which they are longer than the others'.
    """

    channel: str
    seconds: tuple[float, ...]
    rise: float
    rising: float
    later: float
    verdict: Verdict


def light_times(starts: Sequence[Start], channels: Iterable[str]) -> Mapping[str, LightTimes]:
    """Return, channel by channel, what the times to light say; a channel with none is left out.

    Only starts that lit on one channel alone, known which, are looked at.
    """
    timed: dict[str, list[tuple[str, float]]] = {}
    for channel in channels:
        known: list[tuple[str, float]] = [
            (s.condition, s.seconds)
            for s in starts
            if s.channel == channel and s.lit and not s.aborted and s.seconds is not None and s.seconds > 0
        ]
        if known:
            timed[channel] = known[-NEWEST:]
    rising = {c: _trend(_strata(own)) for c, own in timed.items()}
    found = {}
    for channel, own in timed.items():
        others = [item for c, items in timed.items() if c != channel for item in items]
        later, share = _later(_strata(own), _strata(others))
        z, tau = rising[channel]
        enough, compared = len(own) >= LEAST, len(others) >= LEAST
        # Where all rise together it is the fuel, the season or the cranking, and no one channel.
        alone = not any(rising[c][0] > LIKELY for c in timed if c != channel and len(timed[c]) >= LEAST)
        verdict: Verdict = ""
        if enough and ((compared and later > SURE and share >= BEATS) or (alone and z > SURE and tau >= RISES)):
            verdict = "longer"
        elif enough and compared and later < LIKELY and z < LIKELY:
            verdict = "alike"
        seconds = tuple(value for _, value in own)
        found[channel] = LightTimes(channel, seconds, 10 * slope(seconds), z, later, verdict)
    return found


def kendall(values: Sequence[float]) -> tuple[int, float]:
    """Return Kendall's S of values in order and its variance where there is no trend, ties allowed for."""
    n = len(values)
    s = sum((b > a) - (b < a) for a, b in combinations(values, 2))
    ties = sum(t * (t - 1) * (2 * t + 5) for t in Counter(values).values())
    return s, (n * (n - 1) * (2 * n + 5) - ties) / 18


def rank_sum(ours: Sequence[float], others: Sequence[float]) -> tuple[float, float]:
    """Return the Mann-Whitney U of ours (pairs in which ours is larger, ties a half) and its variance, with ties."""
    u = sum((a > b) + 0.5 * (a == b) for a in ours for b in others)
    m, n = len(ours), len(others)
    total = m + n
    if total < 2:
        return u, 0.0
    ties = sum(t**3 - t for t in Counter([*ours, *others]).values())
    return u, m * n / 12 * (total + 1 - ties / (total * (total - 1)))


def slope(values: Sequence[float]) -> float:
    """Return the median slope between all pairs of values, per step; nought for fewer than two."""
    found = [(b - a) / (j - i) for (i, a), (j, b) in combinations(enumerate(values), 2)]
    return median(found) if found else 0.0


def _strata(items: Iterable[tuple[str, float]]) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {}
    for condition, seconds in items:
        found.setdefault(condition, []).append(seconds)
    return found


def _trend(strata: Mapping[str, Sequence[float]]) -> tuple[float, float]:
    """Return (standard deviations of a rise, one step taken off for S being whole; rank correlation)."""
    s, variance, pairs = 0, 0.0, 0
    for values in strata.values():
        own, spread = kendall(values)
        s, variance, pairs = s + own, variance + spread, pairs + len(values) * (len(values) - 1) // 2
    if variance <= 0:
        return 0.0, 0.0
    return (s - ((s > 0) - (s < 0))) / sqrt(variance), s / pairs


def _later(ours: Mapping[str, Sequence[float]], others: Mapping[str, Sequence[float]]) -> tuple[float, float]:
    """Return (standard deviations by which ours are longer, share of pairs in which they are)."""
    u, mean, variance, pairs = 0.0, 0.0, 0.0, 0
    for condition, values in ours.items():
        against = others.get(condition, ())
        if not against:
            continue
        own, spread = rank_sum(values, against)
        u, variance, pairs = u + own, variance + spread, pairs + len(values) * len(against)
        mean += len(values) * len(against) / 2
    return ((u - mean) / sqrt(variance), u / pairs) if variance > 0 else (0.0, 0.5)

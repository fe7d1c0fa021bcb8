"""A steady beat found among what may be clicks: the best path from one to the next, by dynamic programming.

What is no louder than its surroundings says little; a train of it at a steady pace says much. Each bin of the
recording has a weight of evidence for a click (a log-likelihood ratio, from the rank of its rise among all the peaks
of this recording, so that one bang counts no more than any other of the loudest). A train is a path from bin to bin
with steps about a period; a step off the period costs what a normal spread says it costs, a bin without a peak costs
what a missed beat costs. The best path over all periods is found as local alignments are (Smith and Waterman, J. Mol.
Biol. 147, 1981, 195-197), so that it begins and ends where the firing does. Since the weights are proper likelihood
ratios, chance paths over ``n`` starts and ``m`` periods reach ``log(n·m) + x`` with a probability below ``exp(-x)``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FASTEST: Final = 6.5
"""Discharges a second that are looked for, at most."""
SLOWEST: Final = 0.28
STEADY: Final = 0.015
"""Spread of an interval about the period, as a share of it: tried first, with periods close together."""
LOOSE: Final = 0.05
APART: Final = 3
"""A peak is the greatest within so many bins to either side."""
AFTER: Final = 10
"""Bins after a peak, 60 ms, in which what rises less than half as far is its echo."""
MISSED: Final = 0.1
"""Share of beats that may be missed, before anything is seen."""
CLICK: Final = 2.0
"""How far a click's rank lies above the others', in standard normal scores."""


@dataclass(frozen=True)
class Track:
    """The best steady path of a first look. ``evidence``: its log-likelihood ratio; ``way``: which sum of bands."""

    evidence: float
    period: float
    spread: float
    way: int
    end: int


def weigh(sums: Floats, blind: NDArray[np.bool_] | None = None) -> Floats:
    """Return the weight of evidence of each bin for a click, (ways, bins), from what :func:`binned` gave.

    ``blind``: bins that count neither way, shape (bins,).
    """
    import numpy as np
    from scipy.ndimage import maximum_filter1d
    from scipy.special import ndtri

    found = np.empty_like(sums)
    for i, row in enumerate(sums):
        seen = row if blind is None else np.where(blind, -np.inf, row)
        peak = (seen >= maximum_filter1d(seen, 2 * APART + 1)) & np.isfinite(seen)
        before = maximum_filter1d(seen, AFTER, origin=AFTER // 2 - 1, mode="nearest")
        before = np.concatenate([[-np.inf], before[:-1]])
        peak &= seen - 1 >= 0.5 * (before - 1)
        many = int(peak.sum())
        bins = row.size if blind is None else int((~blind).sum())
        found[i] = log(MISSED)
        if many > 4:
            order = np.argsort(np.argsort(-row[peak]))
            z = -ndtri((order + 0.5) / many)
            raw = np.exp(CLICK * z - CLICK**2 / 2)
            # Proper: the ratio has mean one over all bins, peaks or not.
            share = many / max(bins, 1)
            scale = (1 - (1 - share) * MISSED) / share - MISSED
            found[i, peak] = np.log(MISSED + scale * raw / raw.mean())
        if blind is not None:
            found[i, blind] = 0.0
    return found


def outstanding(places: Floats, blind: NDArray[np.bool_]) -> Floats:
    """Return the weights of bins where only sounds that stand out by themselves count, all alike, shape (bins,).

    ``places``: where they are, in bins; ``blind``: bins that count neither way.
    """
    import numpy as np

    bins = blind.size
    found = np.full(bins, log(MISSED))
    at = np.clip(places.astype(np.int64), 0, bins - 1)
    at = np.unique(at[~blind[at]])
    if at.size:
        found[at] = log(MISSED + (1 - MISSED) * max(bins - int(blind.sum()), 1) / at.size)
    found[blind] = 0.0
    return found


def standing_out(row: Floats, weights: Floats, path: NDArray[np.int64]) -> Floats:
    """Return the weights with what is as loud as the beats of a path raised, by how seldom that is elsewhere.

    ``row``: what :func:`binned` gave, (bins,); ``weights``: of its bins; ``path``: bins of beats that were heard.
    """
    import numpy as np

    if path.size < 4:
        return weights
    usual = float(np.median(row[path]))
    near = np.zeros(row.size, dtype=bool)
    for off in (-1, 0, 1):
        near[np.clip(path + off, 0, row.size - 1)] = True
    found = weights.copy()
    # Nought is a bin that counts neither way.
    peaks = (weights > log(MISSED) + 1e-9) & (weights != 0)
    for share in (0.8, 0.5, 0.3):
        loud = (row - 1 >= share * (usual - 1)) & peaks
        others = int((loud & ~near).sum())
        found[loud] = np.maximum(found[loud], min(log(0.8 * row.size / (others + 1)), 9.0))
    return found


def periods(bin_seconds: float, bins: int) -> list[tuple[float, float]]:
    """Return what is tried: (period in bins, spread as a share of it)."""
    found = []
    for spread in (STEADY, LOOSE):
        period = 1 / FASTEST / bin_seconds
        while period <= min(1 / SLOWEST / bin_seconds, bins / 3):
            found.append((period, spread))
            period *= 1 + 2 * spread
    return found


def best(weights: Floats, bin_seconds: float, only: Callable[[float], bool] | None = None) -> Track | None:
    """Return the best steady path, or None where the recording is too short for any.

    ``only``: which periods, in seconds, are tried.
    """
    import numpy as np

    ways, bins = weights.shape
    weights = weights.astype(np.float32)
    found: Track | None = None
    for period, spread in periods(bin_seconds, bins):
        if only is not None and not only(period * bin_seconds):
            continue
        deviation = sqrt((spread * period) ** 2 + 0.3)
        low, high = max(1, int(period - 2.5 * deviation)), int(period + 2.5 * deviation) + 1
        steps = np.arange(high, low - 1, -1)
        cost = -0.5 * ((steps - period) / deviation) ** 2
        cost = (cost - np.log(np.exp(cost).sum())).astype(np.float32)
        best_to = np.full((ways, high + bins), -1e9, dtype=np.float32)
        # One view of it all, which what is written below shows through; steps before bins, since maxima are then quick.
        view = np.lib.stride_tricks.sliding_window_view(best_to, high - low + 1, axis=1).swapaxes(1, 2)
        # What a bin builds on lies at least ``low`` before it: so many can be worked out at once.
        for at in range(0, bins, low):
            stop = min(at + low, bins)
            step = np.add(view[:, :, at:stop], cost[:, None], order="C").max(axis=1)
            best_to[:, high + at : high + stop] = weights[:, at:stop] + np.maximum(step, 0)
        reached = best_to[:, high:]
        place = int(reached.argmax())
        way, end = divmod(place, bins)
        if found is None or reached[way, end] > found.evidence:
            found = Track(float(reached[way, end]), period, spread, way, end)
    return found


def chance_level(ways: int, bin_seconds: float, bins: int) -> float:
    """Return log of how many paths might have begun: what evidence by chance alone is measured from."""
    return log(max(ways * bins * len(periods(bin_seconds, bins)), 2))


def follow(weights: Floats, period: Floats, spread: float, jump: float) -> tuple[float, list[int]]:
    """Return the best path through one row of weights where the pace may change: (evidence, bins of its beats).

    ``weights``: (bins,); ``period``: what a step is, in bins, at each bin; ``jump``: what it costs to break off and
    begin again later, out of step.
    """
    import numpy as np

    bins = weights.size
    deviation = np.sqrt((spread * period) ** 2 + 0.3)
    reach = np.minimum(6 * deviation, 0.3 * period)
    low = max(1, int((period - reach).min()))
    high = int((period + reach).max()) + 1
    steps = np.arange(high, low - 1, -1)
    best_to = np.full(high + bins, -1e9)
    back = np.full(bins, -1, dtype=np.int64)
    top, top_at = -1e9, -1
    for at in range(0, bins, low):
        stop = min(at + low, bins)
        windows = np.lib.stride_tricks.sliding_window_view(best_to[at : stop + high - low], high - low + 1)
        here, wide = period[at:stop, None], deviation[at:stop, None]
        away = ((steps[None, :] - here) / wide) ** 2
        # One step in ten may be three times as far off: spreads of real exciters have tails.
        cost = np.log(0.9 * np.exp(-0.5 * away) + 0.1 / 3 * np.exp(-away / 18) + 1e-9) - np.log(wide * sqrt(2 * np.pi))
        total = windows + cost
        choice = total.argmax(axis=1)
        value = total[np.arange(stop - at), choice]
        place = np.arange(at, stop) - steps[choice]
        leap = top - jump
        place = np.where(leap > value, top_at, place)
        value = np.maximum(value, leap)
        back[at:stop] = np.where(value > 0, place, -1)
        best_to[high + at : high + stop] = weights[at:stop] + np.maximum(value, 0)
        i = int(best_to[high + at : high + stop].argmax())
        if best_to[high + at + i] > top:
            top, top_at = float(best_to[high + at + i]), at + i
    path, place_of = [], top_at
    while place_of >= 0:
        path.append(int(place_of))
        place_of = int(back[place_of])
    return top, path[::-1]


def locally(path: list[int], present: NDArray[np.bool_], bins: int, period: float) -> tuple[Floats, float]:
    """Return the pace a path has, in bins at each bin, and the spread of its steps as a share of it.

    A straight line through the steps from one beat that was heard to the next (Theil and Sen's, which one step in
    four may spoil), no steeper than half the period over the whole recording.
    """
    import numpy as np
    from scipy.stats import theilslopes

    at = np.array(path, dtype=float)[present]
    flat = np.full(bins, period)
    if at.size < 4:
        return flat, LOOSE
    gaps = np.diff(at)
    whole = np.maximum(np.round(gaps / period), 1)
    steps, middle = gaps / whole, (at[1:] + at[:-1]) / 2
    near = np.abs(steps / period - 1) < 0.35
    if near.sum() < 4:
        return flat, LOOSE
    steps, middle = steps[near], middle[near]
    thin = slice(None, None, max(1, steps.size // 300))
    slope, meets, _, _ = theilslopes(steps[thin], middle[thin])
    drawn = np.clip(meets + slope * np.arange(bins), 0.65 * period, 1.5 * period)
    off = steps - np.interp(middle, np.arange(bins), drawn)
    spread = 1.4826 * float(np.median(np.abs(off))) / period
    return drawn, min(max(spread, 0.008), 0.12)


def seen(rise: Floats, level: Floats, by_chance: Floats) -> tuple[Floats, float, float]:
    """Return how sure it is that each beat of a path was heard, with the loudness and share missed that this takes.

    ``rise``: greatest rise about each beat (times its surroundings, 1: none), ``level``: its surroundings,
    ``by_chance``: greatest rises about places where no beat is. A mixture of two kinds, fitted by expectation and
    maximisation: clicks of a common loudness (log-normal about it, over the surroundings that each has) and chance.
    """
    import numpy as np

    x = np.log(np.maximum(rise, 1e-3))
    null = np.log(np.maximum(by_chance, 1e-3))
    middle = float(np.median(null))
    width = max(1.4826 * float(np.median(np.abs(null - middle))), 0.02)
    # Half of it close about the middle, as found; a little far out: a clank may stand where a beat is missed.
    grid = np.sort(null)
    kernel = max(width * 0.5, 0.02)
    thin = grid[:: max(1, grid.size // 400)]

    def chance(values: Floats) -> Floats:
        near = np.exp(-0.5 * ((values[:, None] - thin[None, :]) / kernel) ** 2).mean(axis=1) / (kernel * 2.5066)
        far = np.exp(-0.5 * ((values - middle) / (6 * width + 1)) ** 2) / ((6 * width + 1) * 2.5066)
        return np.asarray(0.97 * near + 0.03 * far)

    at_chance = np.maximum(chance(x), 1e-12)
    loud = np.log(np.maximum(rise - 1, 0.05) * level)
    sure = np.where(x > np.quantile(null, 0.9), 0.95, 0.3)
    missed, mean, scatter = MISSED, 0.0, 0.5
    for _ in range(40):
        total = float(sure.sum())
        if total < 1e-6:
            break
        order = np.argsort(loud)
        share = np.cumsum(sure[order]) / total
        mean = float(loud[order][np.searchsorted(share, 0.5)])
        away = np.abs(loud - mean)
        order = np.argsort(away)
        scatter = 1.4826 * float(away[order][np.searchsorted(np.cumsum(sure[order]) / total, 0.5)])
        scatter = min(max(scatter, 0.15), 1.2)
        missed = (float((1 - sure).sum()) + 0.5) / (sure.size + 5)
        over = exp(mean) / level
        expect = np.log1p(over)
        wide = np.sqrt((scatter * over / (1 + over)) ** 2 + width**2)
        # A click softer or louder than most is still one: a broad part with the narrow.
        narrow = np.exp(-0.5 * ((x - expect) / wide) ** 2) / (wide * 2.5066)
        broad = np.exp(-0.5 * ((x - expect) / (2.5 * wide)) ** 2) / (2.5 * wide * 2.5066)
        at_click = 0.8 * narrow + 0.2 * broad
        # Louder than the usual click is never less a click for it.
        at_click = np.where(x > expect, np.maximum(at_click, at_chance), at_click)
        sure = (1 - missed) * at_click / ((1 - missed) * at_click + missed * at_chance)
    return np.asarray(sure), mean, missed

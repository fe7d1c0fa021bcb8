"""A Weibull life fitted to removals, those still running counted; and what follows from it, with intervals.

The chance that a part outlives an age t is S(t) = exp(−(t/scale)^shape). Shape and scale are those of the greatest
likelihood. A part that still runs, or came off good, adds S(age); one that is only known of from an entry age on adds
its share beyond that (left truncation). Lawless, *Statistical Models and Methods for Lifetime Data* (2003), chapters 4
and 5; Meeker and Escobar, *Statistical Methods for Reliability Data* (1998), chapter 8; from memory.

An interval of anything that follows from shape and scale is the least and the most of it over the pairs whose
likelihood is near the greatest: twice the logarithm short by no more than χ²(0.95, 1) = 3.84, times 1 + 1/failures.
That last factor is ours: played out with few failures the bare bound holds the truth too seldom (93 to 95 of 100 with
ten), the mean of that statistic is near 1 + 1/failures, and with the factor the intervals hold 95 of 100
(``tests/bench/life_coverage.py``). Ages are in one unit, starts or hours, whichever.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.shape import Unfit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LEAST_SHAPE: Final = 0.05
MOST_SHAPE: Final = 100.0
"""Where a shape is looked for."""
FEW: Final = 5
"""Failures below which intervals are shown with a warning."""
BOUND: Final = 3.841458820694124
"""χ² with one degree of freedom, 95 %."""
NEVER: Final = 50.0
"""Summed hazard beyond which an age is as good as never met: e^-50 are left."""
POINTS: Final = 241


@dataclass(frozen=True)
class Lives:
    """Removals, those of one age, end and entry put together. Arrays of one length, by age."""

    ages: Array
    """Age at which it failed, or was last known to run."""
    failed: Array
    """How many failed then."""
    running: Array
    """How many still ran, or came off good."""
    entries: Array
    """Age from which they are known of; 0: from new."""

    @property
    def failures(self) -> int:
        return int(self.failed.sum())

    @property
    def of(self) -> int:
        return int(self.failed.sum() + self.running.sum())


@dataclass(frozen=True)
class Fit:
    """Shape and scale of the greatest likelihood, and the rim of the pairs that are near it.

    ``assumed``: the shape was told, not fitted; the rim then has that shape alone.
    """

    shape: float
    scale: float
    shapes: Array
    scales: Array
    failures: int
    of: int
    assumed: bool = False

    def between(self, work: Callable[[Any, Any], Any]) -> tuple[float, float]:
        """Return the least and the most of ``work(shapes, scales)`` over the rim; infinity where it may be."""
        found = work(self.shapes, self.scales)
        return float(found.min()), float(found.max())


def lives(failed: Sequence[tuple[float, float]], running: Sequence[tuple[float, float]]) -> Lives:
    """Return removals put together, from (age, entry age) pairs. Raises Unfit: an age of nothing, or entry after it."""
    import numpy as np

    rows = [(age, entry, 1, 0) for age, entry in failed] + [(age, entry, 0, 1) for age, entry in running]
    for age, entry, *_ in rows:
        if not (age > 0 and 0 <= entry < age < 1e9):
            raise Unfit(f"an age of {age:g} known from {entry:g} on is none that a part can have")
    table = np.asarray(rows, dtype=float).reshape(-1, 4)
    keys, where = np.unique(table[:, :2], axis=0, return_inverse=True)
    where = where.reshape(-1)
    counts = [np.bincount(where, table[:, i], len(keys)).astype(float) for i in (2, 3)]
    return Lives(keys[:, 0], counts[0], counts[1], keys[:, 1])


class _Likelihood:
    """The logarithm of the likelihood, with ages relative to the greatest so that no power overflows."""

    def __init__(self, data: Lives) -> None:
        import numpy as np

        self.top = float(data.ages.max())
        self.logs = np.log(data.ages / self.top)
        late = data.entries > 0
        self.entry_logs = np.log(data.entries[late] / self.top)
        self.weights = data.failed + data.running
        self.entry_weights = self.weights[late]
        self.failures = data.failures
        self.sum_logs = float((data.failed * self.logs).sum())

    def exposure(self, shapes: Array) -> Array:
        """Return Σ (t^shape − entry^shape) for each shape."""
        import numpy as np

        found = np.array([float(self.weights @ np.exp(k * self.logs)) for k in shapes])
        if len(self.entry_logs):
            found -= np.array([float(self.entry_weights @ np.exp(k * self.entry_logs)) for k in shapes])
        return found

    def profile(self, shapes: Array) -> tuple[Array, Array]:
        """Return the greatest for each shape, over scales; and the exposure."""
        import numpy as np

        exposure, r = self.exposure(shapes), self.failures
        found: Array = r * np.log(shapes) + (shapes - 1) * self.sum_logs - r * np.log(exposure / r) - r
        return found, exposure


def fit(data: Lives) -> Fit:
    """Return the fit. Raises Unfit where the removals hold no shape: under two failures, or all at one age."""
    import numpy as np
    from scipy.optimize import brentq, minimize_scalar

    r = data.failures
    if r < 2:
        raise Unfit(f"{'no failure' if not r else 'one failure'} among {data.of}: a shape cannot be fitted to that")
    likelihood = _Likelihood(data)

    def at(log_shape: float) -> float:
        return float(likelihood.profile(np.array([exp(log_shape)]))[0][0])

    grid = np.linspace(log(LEAST_SHAPE), log(MOST_SHAPE), 161)
    values, _ = likelihood.profile(np.exp(grid))
    peak = int(values.argmax())
    if peak in (0, len(grid) - 1):
        raise Unfit(
            "the failures lie at one age, or all but, and nothing ran much longer: no shape fits that"
            if peak
            else "they do not come as a Weibull life would have them: no shape above nought fits"
        )
    found = minimize_scalar(
        lambda x: -at(x), bounds=(grid[peak - 1], grid[peak + 1]), method="bounded", options={"xatol": 1e-9}
    )
    best, greatest = float(found.x), max(-float(found.fun), float(values[peak]))
    bound = greatest - _short(r) / 2
    ends = []
    for step in (-1, 1):
        i = peak + step
        while 0 < i < len(grid) - 1 and values[i] > bound:
            i += step
        inside = values[i] > bound
        ends.append(float(grid[i]) if inside else float(brentq(lambda x: at(x) - bound, *sorted((grid[i], best)))))
    half = np.arange(POINTS) / (POINTS - 1)
    shapes = np.exp(ends[0] + (ends[1] - ends[0]) * (1 - np.cos(np.pi * half)) / 2)
    profile, exposure = likelihood.profile(shapes)
    shapes, scales = _rim(shapes, profile, exposure, bound, r, likelihood.top)
    shape = exp(best)
    scale = likelihood.top * float(likelihood.exposure(np.array([shape]))[0] / r) ** (1 / shape)
    return Fit(shape, scale, shapes, scales, r, data.of)


def assume(data: Lives, shape: float) -> Fit:
    """Return the fit of the scale alone, at a shape that is assumed. With no failure only a least scale is known.

    The number of failures then counts as drawn from a Poisson law, so the interval is the exact one for its mean
    (Garwood 1936). Raises Unfit for a shape that is none.
    """
    import numpy as np
    from scipy.stats import chi2

    if not LEAST_SHAPE <= shape <= MOST_SHAPE:
        raise Unfit(f"a shape of {shape:g} is outside {LEAST_SHAPE:g} to {MOST_SHAPE:g}", "shape")
    likelihood, r = _Likelihood(data), data.failures
    exposure = float(likelihood.exposure(np.array([shape]))[0])
    # Without a failure all of the doubt is on one side.
    most = float(chi2.ppf(0.975, 2 * r + 2) / 2) if r else -log(0.05)
    least = float(chi2.ppf(0.025, 2 * r) / 2) if r else 0.0

    def scale(expected: float) -> float:
        return likelihood.top * (exposure / expected) ** (1 / shape) if expected else float("inf")

    return Fit(
        shape, scale(r), np.array([shape, shape]), np.array([scale(most), scale(least)]), r, data.of, assumed=True
    )


def _short(failures: int) -> float:
    return BOUND * (1 + 1 / failures)


def _rim(
    shapes: Array, profile: Array, exposure: Array, bound: float, failures: int, top: float
) -> tuple[Array, Array]:
    """Return the pairs whose likelihood is at the bound: two scales for each shape.

    With w the failures expected over those that were, the likelihood falls short of the profile by r·(w − 1 − ln w);
    so −w·e^(−w) is known, and w is Lambert's function of it, on either branch.
    """
    import numpy as np
    from scipy.special import lambertw

    short = np.maximum(profile - bound, 0) / failures
    at = -np.exp(-1 - short)
    found_shapes, found_scales = [], []
    for branch in (0, -1):
        w = np.maximum(-np.real(lambertw(at, branch)), 1e-300)
        w[~np.isfinite(w)] = 1.0  # at the branch point itself
        found_shapes.append(shapes)
        found_scales.append(top * (exposure / (failures * w)) ** (1 / shapes))
    return np.concatenate(found_shapes), np.concatenate(found_scales)


def reached(share: float, shapes: Any, scales: Any) -> Any:
    """Return the age by which a share of parts has failed: B10 for 0.10."""
    return scales * (-log(1 - share)) ** (1 / shapes)


def chance(age: float, more: float, shapes: Any, scales: Any) -> Any:
    """Return the chance that a part of an age, still good, fails before it is ``more`` older."""
    import numpy as np

    # A scale with no upper bound is infinite: the chance then is nought.
    with np.errstate(over="ignore"):
        return -np.expm1((age / scales) ** shapes - ((age + more) / scales) ** shapes)


def mean_to(age: Any, shapes: Any, scales: Any) -> Any:
    """Return the mean age that parts come to that are renewed at an age, failed or not: ∫ S from 0 to it."""
    import numpy as np
    from scipy.special import gamma, gammainc

    with np.errstate(over="ignore"):
        return scales * gamma(1 + 1 / shapes) * gammainc(1 / shapes, (age / scales) ** shapes)


def mean(shapes: Any, scales: Any) -> Any:
    """Return the mean life of parts run to failure."""
    from scipy.special import gamma

    return scales * gamma(1 + 1 / shapes)


def cost(age: Any, planned: float, misfire: float, shapes: Any, scales: Any) -> Any:
    """Return the cost a start (or an hour) where plugs are renewed at an age or at a misfire, whichever is first.

    Age replacement: Barlow and Hunter, *Optimum preventive maintenance policies*, Operations Research 8 (1960), from
    memory. ``planned``, ``misfire``: cost of either, in one unit.
    """
    import numpy as np

    lost = -np.expm1(-((age / scales) ** shapes))
    return (planned + (misfire - planned) * lost) / mean_to(age, shapes, scales)


def cheapest(planned: float, misfire: float, shapes: Any, scales: Any) -> Any:
    """Return the age at which renewing costs least; infinity where none does (shape ≤ 1, or a misfire costs no more).

    The slope of :func:`cost` is nought where hazard(t)·∫S − F(t) = planned/(misfire − planned); the left side only
    rises where the shape is above 1, so halving finds it.
    """
    import numpy as np
    from scipy.special import gamma, gammainc

    shapes, scales = np.broadcast_arrays(np.asarray(shapes, dtype=float), np.asarray(scales, dtype=float))
    if misfire <= planned:
        return np.full(shapes.shape, np.inf)
    wanted = planned / (misfire - planned)
    wear = shapes > 1
    k = np.where(wear, shapes, 2.0)
    whole = gamma(1 + 1 / k)

    def left(summed: Any) -> Any:
        return k * summed ** (1 - 1 / k) * whole * gammainc(1 / k, summed) + np.expm1(-summed)

    low, high = np.full(k.shape, log(1e-14)), np.full(k.shape, log(NEVER))
    beyond = left(np.exp(high)) < wanted
    for _ in range(60):
        middle = (low + high) / 2
        under = left(np.exp(middle)) < wanted
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.where(wear & ~beyond, scales * np.exp(high / k), np.inf)


def plotted(data: Lives) -> tuple[Array, Array]:
    """Return (age, share failed by then) of each age at which parts failed, by the product limit (Kaplan and Meier).

    At each the share stands half-way up its step. Parts count from their entry age on.
    """
    import numpy as np

    ages = np.unique(data.ages[data.failed > 0])
    order, entered = np.argsort(data.ages), np.argsort(data.entries)
    weights = data.failed + data.running
    ended = np.concatenate([[0.0], np.cumsum(weights[order])])
    came = np.concatenate([[0.0], np.cumsum(weights[entered])])
    risk = (
        came[np.searchsorted(data.entries[entered], ages, side="left")]
        - ended[np.searchsorted(data.ages[order], ages, side="left")]
    )
    there = data.failed > 0
    failed = np.bincount(np.searchsorted(ages, data.ages[there]), data.failed[there], len(ages))
    after = np.cumprod(1 - failed / risk)
    before = np.concatenate([[1.0], after[:-1]])
    return ages, 1 - (before + after) / 2


def strain(data: Lives, found: Fit) -> float | None:
    """Return how often a true Weibull life would fit as badly (a p-value); None where the failures are too few.

    Against it stands a life whose hazard is that of a Weibull times a factor of its own in each of two to four
    stretches of age, parted so that failures are as many in each. Twice the gain in log likelihood has χ² with one
    degree of freedom fewer than stretches (the likelihood ratio; Lawless 2003, from memory). Below ten failures
    nothing shows.
    """
    import numpy as np
    from scipy.stats import chi2

    r = found.failures
    stretches = min(4, r // 5)
    if stretches < 2:
        return None
    times = np.repeat(data.ages, data.failed.astype(int))
    times.sort()
    inner = np.unique([(times[r * j // stretches - 1] + times[r * j // stretches]) / 2 for j in range(1, stretches)])
    edges = np.concatenate([[0.0], inner, [float("inf")]])
    top = float(data.ages.max())
    spans, counts = [], []
    for low, high in pairwise(edges):
        start = np.maximum(data.entries, low) / top
        end = np.minimum(data.ages, high) / top
        there = end > start
        spans.append((start[there], end[there], (data.failed + data.running)[there]))
        counts.append(float(data.failed[(data.ages > low) & (data.ages <= high)].sum()))
    if min(counts) == 0:
        return None
    sum_logs = float(np.log(times / top).sum())

    def freed(log_shape: float) -> float:
        k = exp(log_shape)
        total = r * log_shape + (k - 1) * sum_logs - r
        for (start, end, weight), count in zip(spans, counts, strict=True):
            total += count * log(count / float(weight @ (end**k - start**k)))
        return total

    grid = np.linspace(log(LEAST_SHAPE), log(MOST_SHAPE), 81)
    values = [freed(x) for x in grid]
    greatest = max(values)
    if 0 < (peak := int(np.argmax(values))) < len(grid) - 1:
        from scipy.optimize import minimize_scalar

        refined = minimize_scalar(lambda x: -freed(x), bounds=(grid[peak - 1], grid[peak + 1]), method="bounded")
        greatest = max(greatest, -float(refined.fun))
    likelihood = _Likelihood(data)
    plain = float(likelihood.profile(np.array([found.shape]))[0][0])
    return float(chi2.sf(max(0.0, 2 * (greatest - plain)), len(edges) - 2))

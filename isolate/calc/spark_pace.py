"""How fast a train is, how even, and whether it slows: with intervals that hold whether each discharge starts the
next one's wait or a clock sets them all.

Steps between beats at instants t with numbers k: ``t[i+1] - t[i] = (k[i+1] - k[i])·T + error``. An exciter that
charges up anew gives errors that add up (a random walk); a clock, or where the ear puts a click, gives each instant
an error of its own, which two neighbouring steps share with opposite signs. Both at once: the steps' covariance is
tridiagonal, with ``share`` of the variance from the second. Generalised least squares at each share, the shares weighed
by how well they explain the steps (restricted likelihood; Harville, JASA 72, 1977, 320-338), intervals from the
mixture of Student's distributions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.spread import COVERED, Spread

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHARES: Final = {0.0: 0.985, 0.25: 0.005, 0.5: 0.01}
"""Share of the variance that is each instant's own → how far it is believed beforehand. The first is what an exciter
that charges up anew does, and gives the widest interval; the steps have to speak clearly for a clock to narrow it."""
LEAST_STEPS: Final = 4


@dataclass(frozen=True)
class Pace:
    """``rate``: a second, in the middle of the train. ``scatter``: standard deviation of an interval as a share of it.

    ``slowing``: by what share the rate falls from the first beat to the last; below nought, it quickens.
    """

    rate: Spread
    scatter: Spread
    slowing: Spread
    steps: int


def pace(instants: Floats, numbers: NDArray[np.int64]) -> Pace | None:
    """Return the pace of beats at instants in seconds with their numbers in the train; None for too few of them."""
    import numpy as np
    from scipy.linalg import cholesky_banded, solveh_banded
    from scipy.stats import chi2
    from scipy.stats import t as student

    if instants.size <= LEAST_STEPS:
        return None
    steps, many = np.diff(instants), np.diff(numbers).astype(float)
    middle = (instants[1:] + instants[:-1]) / 2
    span = float(instants[-1] - instants[0])
    centred = (middle - (instants[0] + instants[-1]) / 2) / span
    columns = np.stack([many, many * centred], axis=1)
    free = steps.size - 2
    found: list[tuple[float, Any, Any, float]] = []
    for share in SHARES:
        band = np.zeros((2, steps.size))
        band[1] = many * (1 - 2 * share) + 2 * share
        band[0, 1:] = -share
        # A clock alone leaves the sum of the steps all but certain; a little keeps the matrix positive.
        band[1] += 1e-6
        solved = solveh_banded(band, np.column_stack([columns, steps]))
        inner = columns.T @ solved[:, :2]
        best = np.linalg.solve(inner, columns.T @ solved[:, 2])
        off = steps - columns @ best
        left = max(float(off @ solveh_banded(band, off)), 1e-12 * span**2 / steps.size)
        size = 2 * float(np.log(cholesky_banded(band)[1]).sum())
        likely = -0.5 * (size + np.linalg.slogdet(inner)[1] + free * np.log(left))
        found.append((float(likely), best, np.linalg.inv(inner) * left / free, left))
    top = max(f[0] for f in found)
    weights = np.exp([f[0] - top for f in found]) * np.array(list(SHARES.values()))
    weights /= weights.sum()
    tails = ((1 - COVERED) / 2, (1 + COVERED) / 2)

    def mixed(centres: Floats, widths: Floats) -> Spread:
        low, high = (
            _quantile(lambda x: float(weights @ student.cdf((x - centres) / widths, free)), q, centres, widths)
            for q in tails
        )
        return Spread(float(weights @ centres), low, high)

    period = mixed(np.array([f[1][0] for f in found]), np.sqrt([f[2][0, 0] for f in found]))
    # The slope over the whole, beside the period: the rate falls by as much as the period grows.
    growth = mixed(np.array([f[1][1] / f[1][0] for f in found]), np.sqrt([f[2][1, 1] for f in found]) / period.value)
    spreads = np.sqrt([f[3] / free for f in found]) / period.value
    # Steps that go together tell less of their spread (the variance of a variance, by Bartlett's formula).
    off = steps - columns @ found[0][1]
    together = float(off[1:] @ off[:-1]) / max(float(off @ off), 1e-30)
    told = free / (1 + 2 * together**2)
    edges = [float(weights @ (spreads * np.sqrt(told / chi2.ppf(1 - q, told)))) for q in tails]
    return Pace(
        Spread(1 / period.value, 1 / period.high, 1 / max(period.low, 1e-9)),
        Spread(float(weights @ spreads), edges[0], edges[1]),
        Spread(*(2 * g / (2 + g) for g in growth)),
        steps.size,
    )


def _quantile(cumulated: Any, share: float, centres: Floats, widths: Floats) -> float:
    from scipy.optimize import brentq

    reach = 60 * float(widths.max())
    low, high = float(centres.min()) - reach, float(centres.max()) + reach
    return float(brentq(lambda x: cumulated(x) - share, low, high, xtol=1e-9 * abs(float(centres.mean())) + 1e-15))


def missing(sure: Floats) -> Spread:
    """Return how many beats were not heard, from how sure it is of each that it was: the sum of as many coins.

    The distribution of the count is exact (Poisson's binomial, by convolution).
    """
    import numpy as np

    counts = np.ones(1)
    for p in sure:
        counts = np.convolve(counts, [float(p), 1 - float(p)])
    total = np.cumsum(counts)
    tail = (1 - COVERED) / 2
    low, high = int(np.searchsorted(total, tail)), int(np.searchsorted(total, 1 - tail))
    middle = int(np.searchsorted(total, 0.5))
    return Spread(float(middle), float(low), float(high))

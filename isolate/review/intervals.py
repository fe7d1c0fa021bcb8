"""A share and a spread with what is known of them: 95% intervals, on how many cases, and whether those are too few.

A share has Wilson's score interval (1927); a median the interval between the two order statistics that hold it with
95% whatever the distribution is. Below :data:`LEAST` cases no two order statistics do, so that is where both say
that they are too few; the figure itself is still there for whoever wants it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median, quantiles

LEAST = 6
"""Cases below which a figure says too few: with five, lowest and highest hold the median with 94% only."""
SURE = 0.95
"""What an interval holds."""


@dataclass(frozen=True)
class Share:
    """``count`` of ``of``. The share and its interval from 0 to 1, None where there is nothing to share."""

    count: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    few: bool
    said: str


@dataclass(frozen=True)
class Spread:
    """Figures of one kind, ``of`` so many cases, in the unit of the figures. None where there are none.

    ``low`` and ``high``: of the median, None where the cases are too few; ``lower`` and ``upper``: the quartiles;
    ``least`` and ``most``: the extremes.
    """

    of: int
    median: float | None
    low: float | None
    high: float | None
    lower: float | None
    upper: float | None
    least: float | None
    most: float | None
    few: bool
    said: str


def share(count: int, of: int) -> Share:
    """Return how large a share is. Raises ValueError where there are more than all."""
    if not 0 <= count <= of:
        raise ValueError(f"{count} of {of} is no share")
    if not of:
        return Share(0, 0, None, None, None, True, "no case to say it of")
    from scipy.stats import binomtest

    found = binomtest(count, of).proportion_ci(confidence_level=SURE, method="wilson")
    low, high = round(float(found.low), 6), round(float(found.high), 6)
    few = of < LEAST
    said = f"{count:,} of {of:,}: " + ("too few to say" if few else around(count / of, low, high))
    return Share(count, of, round(count / of, 6), low, high, few, said)


def spread(figures: Sequence[float], unit: str = "min") -> Spread:
    """Return the middle of figures and how they spread; ``unit``: for the words."""
    n = len(figures)
    if not n:
        return Spread(0, None, None, None, None, None, None, None, True, "no case to say it of")
    ordered = sorted(figures)
    middle = round(median(ordered), 2)
    lower, _, upper = quantiles(ordered, n=4, method="inclusive") if n > 1 else (ordered[0],) * 3
    few = n < LEAST
    low = high = None
    if few:
        said = f"{middle:,.0f} {unit} on {n} {'case' if n == 1 else 'cases'}: too few to say"
    else:
        from scipy.stats import binom

        # The d-th figure from either end: the median is outside with P(X < d) on each side, X binomial(n, 1/2).
        d = int(binom.ppf((1 - SURE) / 2, n, 0.5))
        low, high = round(ordered[d - 1], 2), round(ordered[n - d], 2)
        said = f"half within {middle:,.0f} {unit} ({low:,.0f} to {high:,.0f}), {n:,} cases"
    return Spread(
        n, middle, low, high, round(lower, 2), round(upper, 2), round(ordered[0], 2), round(ordered[-1], 2), few, said
    )


def percent(value: float) -> str:
    """Return a share in percent; what is short of all is not shown as all, nor what is above none as none."""
    if 0 < value < 0.005:
        return "under 1%"
    return "over 99%" if 0.995 <= value < 1 else f"{value:.0%}"


def around(value: float, low: float, high: float) -> str:
    """Return a share with its interval, to a tenth of a percent where that is narrow."""
    if high - low < 0.02 and 0.01 <= value <= 0.99:
        return f"{100 * value:.1f}% ({100 * low:.1f} to {100 * high:.1f}%)"
    return f"{percent(value)} ({100 * low:.0f} to {100 * high:.0f}%)"

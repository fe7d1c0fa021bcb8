"""How sure a result is that readings went into: their spread carried through by drawing (JCGM 101:2008).

Each reading is drawn evenly within what it may be off by (JCGM 100:2008, 4.3.7, a rectangular distribution), the
calculation is done for each draw, and the interval leaves 2.5 % of the results out on either side (the
"probabilistically symmetric" one of JCGM 101:2008, 7.7). The readings' errors are taken as independent. The draws are
the same every time: the same readings give the same interval.

They are no random numbers: each reading steps through its width by a fraction of its own (an additive recurrence on the
powers of the generalised golden ratio), so that few draws fill the widths evenly. The ends of the interval are then
good to a few thousandths of its width; ``tests/bench/spread_coverage.py`` measures how often it holds the truth.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple

from isolate.calc.shape import Unfit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from isolate.calc.units import Quantity

DRAWS = 20_000
COVERED = 0.95


class Spread(NamedTuple):
    """A result and the interval that holds it in 95 of 100 such readings. ``low <= value <= high``."""

    value: float
    low: float
    high: float


@cache
def _ratio(dimensions: int) -> float:
    """Return the root above 1 of x^(dimensions + 1) = x + 1: with one dimension the golden ratio."""
    found = 2.0
    for _ in range(64):
        found = float((1 + found) ** (1 / (dimensions + 1)))
    return found


def spread(work: Callable[..., NDArray[np.float64] | float], *inputs: Quantity | float) -> Spread:
    """Return what ``work`` gives for the readings, with the interval about it. Raises Unfit where it has none.

    ``work`` takes as many arrays of shape (draws,), or plain numbers, as there are inputs and returns one. A plain
    number among ``inputs`` is exact. Everything is in base units. No reading is drawn below the least that exists of
    its kind. Of a reading with a bound (`>500 MΩ`) both ends are tried, the bound and what lies at infinity (or at the
    least that exists): for a ``work`` that rises or falls throughout with such a reading the interval holds
    all that the reading leaves open.
    """
    import numpy as np

    readings = sum(not isinstance(one, int | float) for one in inputs)
    drawn: list[tuple[Any, ...]] = []
    steps, number = np.arange(DRAWS), 0
    for one in inputs:
        if isinstance(one, int | float):
            drawn.append((float(one),))
        elif one.bound:
            drawn.append((one.low, one.high) if one.low != one.high else (one.low,))
        else:
            number += 1
            shares = (0.5 + steps * _ratio(readings) ** -number) % 1
            drawn.append((one.low + (one.high - one.low) * shares if one.high > one.low else one.value,))
    tail = (1 - COVERED) / 2
    with np.errstate(all="ignore"):
        best = float(work(*(one if isinstance(one, int | float) else one.value for one in inputs)))
        ends = []
        for case in product(*drawn):
            results = np.broadcast_to(np.asarray(work(*case), dtype=float), (DRAWS,))
            if np.isnan(results).any():
                best = float("nan")
                break
            # By rank, not between two: between an infinite result and a finite one there is nothing.
            ends.append(np.quantile(results, [tail, 1 - tail], method="inverted_cdf"))
    if best != best:
        raise Unfit("the readings, with what they may be off by, reach where the formula gives no figure")
    low, high = min(float(e[0]) for e in ends), max(float(e[1]) for e in ends)
    return Spread(best, min(low, best), max(high, best))

"""How sure a result is that readings went into: their spread carried through by drawing (JCGM 101:2008).

Each reading is drawn evenly within what it may be off by (JCGM 100:2008, 4.3.7, a rectangular distribution), the
calculation is done for each draw, and the shortest-tailed 95 % of the results are given. The draws are the same every
time: the same readings give the same interval.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from isolate.calc.units import Quantity

DRAWS = 20_000
COVERED = 0.95


class Spread(NamedTuple):
    """A result and the interval that holds it in 95 of 100 such readings."""

    value: float
    low: float
    high: float


def spread(work: Callable[..., NDArray[np.float64] | float], *inputs: Quantity | float) -> Spread:
    """Return what ``work`` gives for the readings, with the interval about it.

    ``work`` takes as many arrays of shape (draws,), or plain numbers, as there are inputs and returns one. A plain
    number among ``inputs`` is exact. Everything is in base units.
    """
    import numpy as np

    chance = np.random.default_rng(20080101)
    drawn: list[Any] = []
    for one in inputs:
        if isinstance(one, int | float):
            drawn.append(float(one))
        else:
            drawn.append(one.value + one.within * chance.uniform(-1, 1, DRAWS))
    best = float(work(*(one if isinstance(one, int | float) else one.value for one in inputs)))
    results = np.broadcast_to(np.asarray(work(*drawn), dtype=float), (DRAWS,))
    tail = (1 - COVERED) / 2
    low, high = np.quantile(results, [tail, 1 - tail])
    return Spread(best, float(low), float(high))

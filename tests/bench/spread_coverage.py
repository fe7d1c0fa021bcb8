"""How often the interval of :mod:`isolate.calc.spread` holds the truth. Run: python -m tests.bench.spread_coverage

The truth of each reading is drawn; the reading is off by an error drawn evenly within its ± ("even"), or it is the
truth as a meter with so many decimals shows it, typed and read as anybody would ("shown"). The result of the true
figures is held against the interval of the readings. 95 % is meant; 93 to 97 is asked of it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from isolate.calc.spread import spread
from isolate.calc.units import Quantity, read
from tests.bench.figures import quiet, table


@dataclass(frozen=True)
class Sum:
    """A calculation to measure: how its truths are drawn (from, to) in volts, and how far off readings are."""

    title: str
    work: Callable[..., Any]
    truths: tuple[tuple[float, float], ...]
    within: tuple[float, ...]


SUMS = (
    Sum("one reading", lambda x: x, ((10, 20),), (0.5,)),
    Sum("its square", lambda x: x**2, ((2, 4),), (0.5,)),
    Sum("its inverse, 25 % off", lambda x: 1 / x, ((2, 4),), (0.5,)),
    Sum("difference", lambda x, y: x - y, ((20, 30), (20, 30)), (0.5, 0.5)),
    Sum("difference, one much surer", lambda x, y: x - y, ((20, 30), (20, 30)), (0.5, 0.05)),
    Sum("quotient", lambda x, y: x / y, ((20, 30), (2, 4)), (0.5, 0.5)),
    Sum("product of three", lambda x, y, z: x * y * z, ((2, 4), (2, 4), (2, 4)), (0.5, 0.5, 0.5)),
    Sum("a lever", lambda t, h, e: t * h / (h + e), ((90, 110), (11, 13), (4, 8)), (0.5, 0.5, 0.5)),
    Sum("quotient of differences", lambda a, b, c: (a - b) / c, ((27, 29), (20, 24), (2, 8)), (0.05, 0.05, 0.5)),
    Sum("power of ten", lambda x, y: x * 2 ** ((y - 20) / 10), ((20, 90), (-20, 60)), (0.5, 3.0)),
    Sum("root of a sum of squares", lambda x, y: np.hypot(x, y), ((2, 4), (2, 4)), (0.5, 0.5)),
    Sum("with a lowest point within reach", lambda x: np.abs(x - 3), ((2, 4),), (0.5,)),
)


def held(one: Sum, shown: bool, cases: int, seed: int) -> float:
    """Return the share of cases whose interval holds the truth."""
    chance, count = np.random.default_rng(seed), 0
    for _ in range(cases):
        truths = [chance.uniform(*ends) for ends in one.truths]
        readings = []
        for truth, within in zip(truths, one.within, strict=True):
            if shown:
                decimals = max(0, round(-np.log10(2 * within)))
                readings.append(read(f"{truth:.{decimals}f} V", "voltage"))
            else:
                readings.append(Quantity("voltage", truth + within * chance.uniform(-1, 1), within, "V"))
        found = spread(one.work, *readings)
        count += bool(found.low <= one.work(*truths) <= found.high)
    return count / cases


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()
    began = time.perf_counter()
    print(f"{told.cases} cases a row, seed {told.seed}; {quiet()}")
    rows = [
        (one.title, *(f"{100 * held(one, shown, told.cases, told.seed):.1f} %" for shown in (False, True)))
        for one in SUMS
    ]
    table(("calculation", "even", "shown"), rows)
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

"""Small things that the benchmarks share: a table, quantiles, and a unit of work to measure times in."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence

import numpy as np

REFERENCE = 100_000
"""Figures that the reference operation sorts."""
_FIGURES = np.random.default_rng(0).random(REFERENCE)


def quiet() -> str:
    """Return a line on how busy the machine is, since times measured on a busy one are too long."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"{os.cpu_count()} processors, load {load:.1f} (other programs included)"


def reference_ms() -> float:
    """Return the ms that numpy takes now to sort REFERENCE seeded figures: one thread, no allocation to speak of."""
    began = time.perf_counter()
    np.sort(_FIGURES)
    return 1000 * (time.perf_counter() - began)


def quantile(values: Sequence[float], share: float) -> float:
    return float(np.quantile(np.asarray(values), share))


def table(heading: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Print a table: the first column to the left, the others to the right."""
    cells = [[str(c) for c in row] for row in (heading, *rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(heading))]
    for row in cells:
        print("  ".join([row[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True))]))

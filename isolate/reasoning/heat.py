"""How hot a nacelle is after the engine was shut down: it soaks first, then cools."""

from __future__ import annotations

from math import exp, log

SOAKS, COOLS = 10.0, 120.0
"""Minutes: time constants of the heat that comes out of the casings once no air moves, and of the cooling after.

That a shut-down engine first heats what hangs on it and then cools is common practice; the figures are our judgement.
"""
AT_ONCE = 0.5
"""Share of the long cooling curve that is reached already when the engine stops: our judgement."""


def _curve(minutes: float) -> float:
    return exp(-minutes / COOLS) - (1 - AT_ONCE) * exp(-minutes / SOAKS)


PEAK = log(COOLS * (1 - AT_ONCE) / SOAKS) / (1 / SOAKS - 1 / COOLS)
"""Minutes from shutdown to the hottest moment, some 20."""


def soak(minutes: float) -> float:
    """Return the heat so many minutes after shutdown as a share of its peak; before shutdown that of a running engine.

    0 is a cold engine. Where the engine runs, air moves through the nacelle and it is as hot as at shutdown.
    """
    return _curve(max(0.0, minutes)) / _curve(PEAK)

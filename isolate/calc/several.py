"""Several readings of one thing: their mean, and what their scatter leaves in doubt of it.

What a meter is off by it is off by in all of them, and does not average out (JCGM 100:2008, F.1.2.3); their own scatter
does. A mean of n normal readings lies about the truth as Student's t with n - 1 degrees of freedom times s/√n (JCGM
101:2008, 6.4.9.2). With two that is wide, 12.7 standard deviations either way for 95 of 100, and rightly so: how far
two readings of a loose clip lie apart says next to nothing of how loose it is. A third makes it three times narrower.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import stdev
from typing import Final

from isolate.calc.units import Quantity
from isolate.calc.wire import told_off

BEHIND: Final = 0.25
"""Of a digit: as far apart two readings are taken to be that show the same, where only the last digit tells what they
may be off by. Two figures anywhere behind one digit lie a third of it apart on average; with a quarter the interval
holds 95 of 100 and more, with nothing 86 (``tests.bench.electric_coverage``). Three that are alike need none of it."""


def of_mean(readings: Sequence[Quantity]) -> float:
    """Return the standard deviation that the scatter of readings leaves in their mean, in the base unit: s/√n.

    Nought for one reading alone: it shows no scatter, whatever there is of it.
    """
    if len(readings) < 2:
        return 0.0
    found = stdev(q.value for q in readings)
    if len(readings) == 2 and not any(map(told_off, readings)):
        found = max(found, BEHIND * sum(q.within for q in readings) / sqrt(2))
    return found / sqrt(len(readings))

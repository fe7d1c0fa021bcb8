"""What a train sounds like, where that speaks against a discharge: sounds that last, and two things that take turns.

A discharge is over within some milliseconds; a reversing vehicle's warning, a ratchet, a hammer on sheet metal are
not. Beats of which every other one is louder, brighter or later are two things in turn: both channels, or two feet.
That a beat passes here proves nothing: a relay and a steady pair of heels pass too (tests/bench/sparks.py counts them).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import TYPE_CHECKING, Final

from isolate.calc.spark_count import Train
from isolate.calc.spark_hearing import Heard

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LASTS: Final = 0.3
"""Share of a sound left 30 to 60 ms on, over which it is no discharge; discharges in rooms and under cowls keep 0.1."""
BY_CHANCE: Final = 0.001
"""How seldom beats that are all of one kind may be taken for two in turn."""
LOUDER: Final = 1.0
"""Decibels that two in turn have to be apart at least."""
LATER: Final = 0.02
"""Share of the period that the waits before two in turn have to be apart at least."""


@dataclass(frozen=True)
class Sound:
    """``lasts``: share of the rise left 30 to 60 ms on, as an interval's lower end; ``turns``: in what every other beat
    differs, in words, "" where it does not."""

    lasts: float
    turns: str


def sound(heard: Heard, train: Train) -> Sound:
    """Return what speaks against discharges in a train's sound; nothing, where too few beats are plain."""
    import numpy as np

    keep = train.sure > 0.8
    at, numbers = np.round(train.instants / heard.hop).astype(int) - 1, train.numbers
    keep &= (at > 25) & (at < heard.power.shape[1] - 35)
    if keep.sum() < 5:
        return Sound(0.0, "")
    at, numbers, instants = at[keep], numbers[keep], train.instants[keep]
    share = train.sound / train.sound.sum()
    before = np.median(heard.power[:, at[:, None] + np.arange(-20, -4)], axis=2)
    onset = heard.power[:, at[:, None] + np.arange(-1, 5)].mean(axis=2) - before
    after = heard.power[:, at[:, None] + np.arange(15, 30)].mean(axis=2) - before
    left = np.clip((share @ after) / np.maximum(share @ onset, 1e-3), -1, 3)
    middle = float(np.median(left))
    # The median's own spread, as of a normal one.
    width = 1.2533 * 1.4826 * float(np.median(np.abs(left - middle))) / len(left) ** 0.5
    power = np.maximum(onset, 0.3)
    half = len(share) // 2
    decibels = 10 / log(10)
    level = np.log(np.maximum(share @ power, 0.3)) * decibels
    tilt = (np.log(power[half:]).mean(axis=0) - np.log(power[:half]).mean(axis=0)) * decibels
    single = np.diff(numbers) == 1
    waits = np.diff(instants)[single] / train.period
    for what, values, odd, least in (
        ("louder", level, numbers % 2, LOUDER),
        ("brighter", tilt, numbers % 2, LOUDER),
        ("later", waits, numbers[1:][single] % 2, LATER),
    ):
        if _apart(values[odd == 1], values[odd == 0], least):
            return Sound(middle - 2 * width, what)
    return Sound(middle - 2 * width, "")


def _apart(first: Floats, second: Floats, least: float) -> bool:
    """Return whether two sets differ by at least so much, and seldom by chance (Welch's test, done three times)."""
    from scipy.special import stdtr

    away = abs(float(first.mean() - second.mean())) if min(first.size, second.size) >= 4 else 0.0
    if away < least:
        return False
    one, two = float(first.var(ddof=1)) / first.size, float(second.var(ddof=1)) / second.size
    # All alike, as a machine's are: a little is left, so that there is something to divide by.
    wide = max(one + two, 1e-12)
    free = wide**2 / max(one**2 / (first.size - 1) + two**2 / (second.size - 1), wide**2 / first.size / second.size)
    return bool(2 * stdtr(free, -away / wide**0.5) < BY_CHANCE / 3)

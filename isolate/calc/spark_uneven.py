"""Discharges plainly heard that keep no pace: how many, how fast in the mean, and how far they are from even.

Only what stands far out is counted, so that none of its kind can lie hidden in the noise and make a steady beat look
broken; only what is all of one sound, of one loudness and short, so that tools and talk are left out; and only where
no steady beat, whole or with beats missing, would explain the waits. An exciter has to charge up anew, so that its
waits are more even than chance has them; rain, keys and relays sound alike as well, but come by chance or in runs. So
what comes near to either is left, and with it a plug that fires wholly at random. The limits are our own, set by
``tests/bench/sparks.py``, which says what they let by. The rate is one over the mean wait, with Student's interval for
that mean; it holds for waits that do not hang together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from isolate.calc.spark_count import Counted
from isolate.calc.spark_hearing import Heard, standing, summed
from isolate.calc.spread import COVERED, Spread

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST: Final = 15
"""Discharges, at least."""
ALIKE: Final = 5.0
"""Decibels that a sound's bands may differ from the others' and still be of their kind; clanks differ by 5 to 9."""
ALIKE_MOST: Final = 3.0
"""The same, in the middle of all: discharges differ by 1 to 2.6, clanks by 5 to 6, talk by 4 to 7."""
REACHED: Final = 3.0
"""How many times its floor a band has to rise for most of them."""
AS_LOUD: Final = 8.0
"""Decibels about the middle loudness."""
ECHO: Final = 0.25
"""Seconds after a discharge in which what is ECHO_SOFTER decibels softer is its echo."""
ECHO_SOFTER: Final = 5.0
CLEAR: Final = 2.0
"""How many times what stands out at all the softest twentieth of them has to be."""
STRANGE: Final = 0.15
"""Share of sounds of another kind that may stand among them."""
TOO_FAST: Final = 0.1
"""Seconds that an exciter needs at least to charge up anew; no more than one wait in four may be shorter."""
FITS_BEAT: Final = 0.62
"""Share of waits near a whole number of any period, over which a beat with gaps may explain them. Exciters scattered
by 10 % come to .64 and more in 99 of 100, uneven ones to .35 to .6."""
FOLLOWED: Final = 6.0
"""Of :func:`followed`, over which it may be two beats at once: 85 to 90 of 100 of those come to that, uneven ones 1."""
UNEVEN: Final = 0.25
"""Difference of a wait and the next over the mean of the two, in the mean of all (CV2 of Holt and others, Journal of
Neurophysiology 75, 1996, 1806-1814, from memory; chance comes to 1): so much at least. An exciter
scattered by 12 %, or slowing to half, comes to .2 at most."""
AS_CHANCE: Final = 0.8
"""Standard deviation of the waits over their mean, from which they may be chance's (1, and less by the 60 ms in which
a second sound is not told from the first): drops on a wing came to .5 to 1, exciters off their pace to .4 to .7."""
CHARGED: Final = 0.6
"""The same, under which something has to make them more even than chance does."""
ALIKE_CHANCE: Final = 1.6
"""Decibels that bands may differ, in the middle of all, where waits are between the two: keys differ by 1.4 to 2.7."""
ALIKE_CHARGED: Final = 2.4
LEVELS: Final = 2.5
"""Decibels of loudness, as a standard deviation told by the middle of all: drops differ by 1.4 to 5."""
AGAIN: Final = 0.2
"""Standard deviation of what follows within 60 ms, as a share of the sound: a room answers each alike, .02 to .15; a
relay that chatters strikes again here and there, .25 and more."""
AT_ONCE: Final = 0.1
"""Share of waits shorter than TOO_FAST: those of drops and relays are."""
IN_RUNS: Final = 4.3
"""Longest wait over the middle one, from which they come in runs, as blows and pulls at a ratchet do."""
NO_SHORTER: Final = 0.75
"""Of the middle wait: where fewer than one in ten is shorter, it is even and pauses, as blows of a hammer do."""


@dataclass(frozen=True)
class Uneven:
    """Discharges at no even pace. ``instants``: seconds; ``rate``: in the mean; ``waits``: shortest, lower quarter,
    middle, upper quarter and longest wait in seconds; ``longest``: from and to of the longest."""

    instants: Floats
    rate: Spread
    waits: tuple[float, float, float, float, float]
    longest: tuple[float, float]
    strange: int
    """Sounds of another kind that stand out among them."""


@dataclass(frozen=True)
class Kind:
    """Sharp sounds of one kind. ``instants``: seconds, no echoes; ``strange``: how many others stand out beside them;
    ``clear``: how many times what stands out at all the softest twentieth of them is; ``differ``: decibels, in the
    middle; ``lasts``: share left 30 to 60 ms on, in the middle; ``levels``: deviation of their loudness, in decibels;
    ``again``: deviation of what follows within 60 ms, as a share of the sound."""

    instants: Floats
    strange: int
    clear: float
    differ: float
    lasts: float
    levels: float
    again: float


def of_one_kind(heard: Heard, loud: Floats) -> Kind | None:
    """Return which of the sounds that stand out are of the kind that most of them are; None for too few.

    ``loud``: instants in seconds, of :class:`Counted`.
    """
    import numpy as np

    frames = np.round(loud / heard.hop).astype(int)
    frames = frames[(frames > 25) & (frames < heard.power.shape[1] - 35)]
    if frames.size < LEAST:
        return None
    share = heard.notes / heard.notes.sum()
    before = np.median(heard.power[:, frames[:, None] + np.arange(-20, -4)], axis=2)
    onset = heard.power[:, frames[:, None] + np.arange(-1, 4)].mean(axis=2) - before
    after = heard.power[:, frames[:, None] + np.arange(15, 30)].mean(axis=2) - before
    lasts = np.clip((share @ after) / np.maximum(share @ onset, 1e-3), -1, 3)
    # Bands that most of them hardly reach say nothing of their kind: packing leaves nothing above some pitch, and what
    # is cut off at the top splashes into it.
    reached = np.median(onset, axis=1) >= REACHED
    if reached.sum() >= 3:
        onset = onset[reached]
    bands = 10 * np.log10(np.maximum(onset, 0.3))
    # Medians over bands, so that a splash in one or two makes no other kind of it.
    like = np.median(bands - np.median(bands, axis=0), axis=1)[:, None]
    level = np.median(bands - like, axis=0)
    differ = 1.4826 * np.median(np.abs(bands - like - level), axis=0)
    # An echo is softer than what came before it, and late by what sound takes to a wall and back.
    echo = np.zeros(frames.size, dtype=bool)
    for i in range(1, frames.size):
        near = (frames[i] - frames[:i] < ECHO / heard.hop) & ~echo[:i]
        echo[i] = bool((level[:i][near] > level[i] + ECHO_SOFTER).any())
    kind = (differ < ALIKE) & (np.abs(level - np.median(level[~echo])) < AS_LOUD) & ~echo
    if kind.sum() < LEAST:
        return None
    whole = summed(heard.tempered, share[None])[0]
    at = frames[kind]
    loudness = 10 * np.log10(np.maximum(share @ heard.power[:, at[:, None] + np.arange(-1, 4)].mean(axis=2), 1))
    follows = whole[at[:, None] + np.arange(6, 31)].max(axis=1) / whole[at]
    return Kind(
        frames[kind] * heard.hop,
        int((~kind & ~echo).sum()),
        float(np.quantile(whole[frames[kind]], 0.05)) / standing(whole),
        float(np.median(differ[kind])),
        float(np.median(lasts[kind])),
        1.4826 * float(np.median(np.abs(loudness - np.median(loudness)))),
        float(follows.std()),
    )


def plainly_heard(kind: Kind, lasts: float) -> bool:
    """Return whether sounds of a kind are discharges by all that sound can tell, and none of them can lie hidden."""
    import numpy as np

    return (
        kind.clear >= CLEAR
        and kind.differ <= ALIKE_MOST
        and kind.lasts <= lasts
        and kind.strange <= STRANGE * kind.instants.size
        and float((np.diff(kind.instants) < TOO_FAST).mean()) <= 0.25
    )


def uneven(heard: Heard, counted: Counted, lasts: float) -> Uneven | None:
    """Return the discharges of a recording that keep no even pace; None where there is a beat, or it cannot be told.

    ``lasts``: share of a sound left 30 to 60 ms on, over which it is no discharge.
    """
    import numpy as np

    if counted.trains:
        return None
    kind = of_one_kind(heard, counted.loud)
    if kind is None or not plainly_heard(kind, lasts):
        return None
    waits = np.diff(kind.instants)
    apart = float((2 * np.abs(np.diff(waits)) / (waits[1:] + waits[:-1])).mean())
    if not charged_anew(kind, waits):
        return None
    if apart < UNEVEN or fits_a_beat(waits) > FITS_BEAT or followed(kind.instants) > FOLLOWED:
        return None
    i = int(waits.argmax())
    low, quarter, middle, upper, high = (float(q) for q in np.quantile(waits, [0, 0.25, 0.5, 0.75, 1]))
    return Uneven(
        kind.instants,
        mean_rate(waits),
        (low, quarter, middle, upper, high),
        (float(kind.instants[i]), float(kind.instants[i + 1])),
        kind.strange,
    )


def charged_anew(kind: Kind, waits: Floats) -> bool:
    """Return whether sounds may be an exciter's that charges up between them, by their waits (seconds) and likeness."""
    import numpy as np

    varies = float(waits.std(ddof=1) / waits.mean())
    middle = float(np.median(waits))
    return (
        varies < AS_CHANCE
        and kind.differ < (ALIKE_CHARGED if varies < CHARGED else ALIKE_CHANCE)
        and kind.levels < LEVELS
        and kind.again < AGAIN
        and float((waits < TOO_FAST).mean()) <= AT_ONCE
        and float(waits.max()) < IN_RUNS * middle
        and float(np.quantile(waits, 0.1)) < NO_SHORTER * middle
    )


def fits_a_beat(waits: Floats) -> float:
    """Return the greatest share of waits that lie near one to four times one period, of all periods about theirs."""
    import numpy as np

    low, high = np.quantile(waits, [0.1, 0.9])
    periods = np.exp(np.arange(np.log(max(0.5 * low, 0.1)), np.log(max(1.1 * high, 0.12)), 0.02))
    beats = waits[None, :] / periods[:, None]
    whole = np.maximum(np.round(beats), 1)
    # Scatter adds up over beats that are missing, as the root of their number.
    return float(((np.abs(beats - whole) < 0.12 * np.sqrt(whole)) & (whole <= 4)).mean(axis=1).max())


def followed(instants: Floats) -> float:
    """Return how far more of them are followed, past the next one, after one same time than chance has it, in standard
    deviations, at the time where that is most: two beats at once do so."""
    import numpy as np

    apart = instants[None, :] - instants[:, None]
    first, second = np.triu_indices(instants.size, 2)
    away = apart[first, second]
    each = (instants.size - 1) / float(instants[-1] - instants[0])
    most = 0.0
    for time in np.exp(np.arange(np.log(0.15), np.log(3), 0.03)):
        could = int((instants + 1.08 * time < instants[-1]).sum())
        if could < 8:
            break
        there = np.unique(first[np.abs(away / time - 1) < 0.08]).size / could
        chance = 1 - float(np.exp(-each * 0.16 * time))
        most = max(most, (there - chance) / (chance * (1 - chance) / could) ** 0.5)
    return most


def mean_rate(waits: Floats) -> Spread:
    """Return one over the mean wait: Student's interval for the mean, on the logarithm, since waits are never less
    than nought."""
    import numpy as np
    from scipy.special import stdtrit

    mean = float(waits.mean())
    wide = float(waits.std(ddof=1)) / mean / waits.size**0.5
    reach = float(np.exp(wide * stdtrit(waits.size - 1, (1 + COVERED) / 2)))
    return Spread(1 / mean, 1 / (mean * reach), reach / mean)

"""From a recording as bands to trains of discharges: which beats, how sure, how fast, what is missed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log
from typing import TYPE_CHECKING, Final

from isolate.calc.spark_hearing import BIN, Heard, binned, groups, level_of, standing, summed
from isolate.calc.spark_pace import Pace, missing, pace
from isolate.calc.spark_train import (
    FASTEST,
    LOOSE,
    MISSED,
    SLOWEST,
    Track,
    best,
    chance_level,
    follow,
    locally,
    outstanding,
    seen,
    standing_out,
    weigh,
)
from isolate.calc.spread import Spread

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NEEDED: Final = 3.0
"""How far the evidence for a beat has to lie over what chance reaches; tests.bench.sparks says what that lets by."""
FAINT: Final = 12.0
"""How far it has to lie over that before missing beats are counted among those that do not stand out by themselves; and
before a pace is told where what lies between them leaves open whether they are every other beat."""
STANDS_OUT: Final = 0.9
"""Share of its beats that stand out by themselves, from which a train is no faint one."""
COUNTABLE: Final = 0.75
"""Share of its beats that stand out by themselves, under which its gaps are not counted, however strong the evidence:
the count's interval held what was missing in 80 of 81 clips over it, and in 33 of 46 under it, among them 9 in which
more were "missing" than were (0 to -10 dB, clips that the count was not built with)."""
WIDER: Final = 1.5
"""How many times as wide the intervals of a pace are where beats are that soft: some of them are noise beside a beat.
As they are for louder ones, they held the rate in 35 of 40 clips; so, in 38 (tests/bench/sparks.py)."""
BETWEEN: Final = 0.35
"""Share of the beats' rise that what lies between them may show, taken together, and still be no beat. Where every
other beat was followed it was half and more, where each was, a seventh at most."""
LEAST_BEATS: Final = 5
LEAST_HEARD: Final = 0.5
"""Share of a train's beats that have to be heard, or it is no train."""
PRESENT: Final = 0.5
CERTAIN: Final = 0.95
OUT_OF_STEP: Final = (0.15, 0.25)
"""Shares of the period about a place where a beat is missing, within which a sound half as loud as one may be that
beat; four spreads of an interval between the two. Where one came early and the next late, the place between was
"surely missing"."""
MAY_BE: Final = 0.45
"""How sure it then is that the beat was heard: not so that it is, nor that it is not."""
BEFOREHAND: Final = 40
"""How many beats' worth it is believed, before anything is heard, that so many are missed (MISSED)."""


@dataclass(frozen=True)
class Train:
    """Beats at a steady pace. ``instants``: seconds, also of beats that were not heard, where they should have been.

    ``sure``: how sure each was heard, 0 to 1; ``numbers``: which beat each is, from 0; where the train broke off and
    began again the numbers go on by the time that went by (``pauses``: from, to, beats that would have fitted).
    ``loudness``: log of the power of its clicks over the noise floor; ``sound``: share of it in each band.
    """

    instants: Floats
    sure: Floats
    numbers: NDArray[np.int64]
    evidence: float
    pace: Pace | None
    missed: Spread
    pauses: tuple[tuple[float, float, float], ...]
    loudness: float
    sound: Floats
    faint: bool = False
    """Too soft for a count of its gaps. Where it may as well be every other one of a faster beat, it has no pace."""

    @property
    def present(self) -> NDArray[np.bool_]:
        return self.sure > PRESENT

    @property
    def heard(self) -> Floats:
        """Instants of the beats that were heard."""
        return self.instants[self.present]

    @property
    def lost(self) -> tuple[tuple[float, float], ...]:
        """Beats that were not heard: (seconds, how sure it is that it was missed)."""
        return tuple((float(t), float(1 - p)) for t, p in zip(self.instants, self.sure, strict=True) if p <= PRESENT)

    @property
    def period(self) -> float:
        import numpy as np

        at = self.instants[self.present]
        return float(np.median(np.diff(at) / np.maximum(np.diff(self.numbers[self.present]), 1)))


@dataclass(frozen=True)
class Counted:
    """What a recording holds. ``trains``: at most two, the surest first. ``loud``: instants of sharp sounds that stand
    out by themselves, in a train or not. ``evidence``: of the best beat over what chance reaches, train or not."""

    seconds: float
    trains: tuple[Train, ...]
    loud: Floats
    evidence: float


def count(heard: Heard, most: int = 2) -> Counted:
    """Find at most so many trains in a recording."""
    import numpy as np

    rise = heard.tempered
    ways = groups(heard)
    step = heard.hop * BIN
    sums = binned(summed(rise, ways))
    loud = _loud(heard)
    trains: list[Train] = []
    blind = np.zeros(sums.shape[1], dtype=bool)
    first = 0.0
    for turn in range(most):
        weights = np.vstack([weigh(sums, blind if turn else None), outstanding(loud / step, blind)])
        track = best(weights, step)
        over = 0.0 if track is None else track.evidence - chance_level(len(weights), step, sums.shape[1])
        if not turn:
            first = over
        if track is None or over < NEEDED:
            break
        train = _train(
            heard, rise, ways[track.way if track.way < len(ways) else 0], track, over, blind if turn else None
        )
        if train is None:
            break
        if _between(loud, train):
            # Beats that are as plain as the others stand halfway: it was every other one that was followed.
            half = replace(track, period=track.period / 2, spread=LOOSE)
            twice = _train(heard, rise, ways[half.way if half.way < len(ways) else 0], half, over, None)
            train = twice if twice is not None and twice.present.mean() > 0.7 else train
        if _plain(loud, train) < STANDS_OUT:
            train = _own_pace(heard, rise, ways, track, over, train)
            if _plain(loud, train) < COUNTABLE:
                train = replace(train, faint=True)
        trains.append(train)
        for at in train.instants:
            i = round(at / step)
            blind[max(0, i - 3) : i + 8] = True
    return Counted(heard.seconds, tuple(trains), loud, first)


def _own_pace(
    heard: Heard, rise: NDArray[np.float32], ways: Floats, track: Track, over: float, train: Train
) -> Train:
    """Return a train whose beats do not stand out by themselves, at the pace that what lies between them shows.

    Where beats lie halfway as well it is followed again at half the period; where what is between leaves it open
    whether it is every other one, and the evidence is small, it is faint.
    """
    told = _beats_between(heard, rise, train)
    if told == "halfway":
        half = replace(track, period=train.period / heard.hop / BIN / 2, spread=LOOSE)
        twice = _train(heard, rise, ways[half.way if half.way < len(ways) else 0], half, over, None)
        if twice is not None and twice.present.mean() > 0.7 and _beats_between(heard, rise, twice) == "none":
            return _soft(twice) if over < FAINT else twice
        return replace(train, faint=True, pace=None)
    if over < FAINT:
        return _soft(train) if told == "none" else replace(train, faint=True, pace=None)
    return train


def _soft(train: Train) -> Train:
    """Return a train too soft for a count of its gaps, the intervals of its pace as much wider as such trains need."""
    pace = train.pace
    if pace is None:
        return replace(train, faint=True)
    rate, scatter, slowing = (
        Spread(s.value, s.value - WIDER * (s.value - s.low), s.value + WIDER * (s.high - s.value))
        for s in (pace.rate, pace.scatter, pace.slowing)
    )
    rate, scatter = (s._replace(low=max(s.low, s.value / 10)) for s in (rate, scatter))
    return replace(train, faint=True, pace=replace(pace, rate=rate, scatter=scatter, slowing=slowing))


def _beats_between(heard: Heard, rise: NDArray[np.float32], train: Train) -> str:
    """Return whether between a train's beats, all taken together, there are more: ``none``, ``halfway`` or ``open``.

    One beat in noise says little; the mean over all of them tells halves and thirds of the period from places where
    nothing should be, though no single one stands out.
    """
    import numpy as np

    fine = summed(rise, train.sound[None])[0]
    frames = train.instants / heard.hop - 1
    single = np.diff(train.numbers) == 1
    start, steps = frames[:-1][single], np.diff(frames)[single]
    if start.size < LEAST_BEATS:
        return "open"
    spread = 1.4826 * float(np.median(np.abs(steps - np.median(steps))))
    reach = np.arange(-max(3, round(0.84 * spread)), max(3, round(0.84 * spread)) + 1)

    def greatest(share: float) -> Floats:
        places = np.round(start + share * steps).astype(int)[:, None] + reach
        return np.asarray(np.log(np.maximum(fine[np.clip(places, 0, fine.size - 1)].max(axis=1), 1e-3)))

    nothing = np.concatenate([greatest(share) for share in (0.2, 0.27, 0.42, 0.58, 0.73, 0.8)])
    floor, width = float(nothing.mean()), max(float(nothing.std()), 1e-3)

    def over(values: Floats) -> float:
        return (float(values.mean()) - floor) / width if values.size else 0.0

    beats, odd = greatest(0.0), train.numbers[:-1][single] % 2 == 1
    beat, halfway = over(beats), over(greatest(0.5))
    third = (over(greatest(1 / 3)) + over(greatest(2 / 3))) / 2
    one = start.size**-0.5
    # Three standard deviations of a mean of so many, and more than the thirds show.
    if halfway > max(3 * one, BETWEEN / 2 * beat) and halfway - third > 2 * one:
        return "halfway"
    turns = min(over(beats[odd]), over(beats[~odd]))
    between = max(halfway, third)
    clear = between < 2.5 * one and between + 2 * one < BETWEEN * beat and turns > 0.4 * beat
    return "none" if clear else "open"


def _between(loud: Floats, train: Train) -> bool:
    """Return whether sounds that stand out lie halfway between most beats, and not as well a quarter on."""
    import numpy as np

    steps = np.diff(train.instants)
    start, steps = train.instants[:-1][np.diff(train.numbers) == 1], steps[np.diff(train.numbers) == 1]
    if not loud.size or start.size < LEAST_BEATS:
        return False
    there = [
        float((np.abs(loud[:, None] - (start + share * steps)) < 0.1 * train.period).any(axis=0).mean())
        for share in (0.5, 0.25, 0.75)
    ]
    return there[0] >= 0.6 and there[0] - max(there[1:]) >= 0.4


def _train(
    heard: Heard, rise: NDArray[np.float32], weights: Floats, track: Track, over: float, blind: NDArray[np.bool_] | None
) -> Train | None:
    """Follow a beat from the first look: its pace and its sound are learned from it, and it is followed again."""
    import numpy as np

    fine = summed(rise, weights[None])[0]
    row = binned(fine[None])
    bins = row.shape[1]
    period, spread = np.full(bins, track.period), max(track.spread, 0.03)
    jump = log(bins) + 2
    path: list[int] = []
    at = strong = np.zeros(0, dtype=np.int64)
    for turn in range(5):
        score = weigh(row, blind)[0]
        if turn > 1:
            score = standing_out(row[0], score, at[strong])
        _, path = follow(score, period, spread, jump)
        if len(path) < LEAST_BEATS:
            return None
        at = np.array(path)
        strong = score[at] > 0
        period, found = locally(path, strong, bins, float(np.median(period)))
        spread = max(1.3 * found, 0.012)
        if turn == 1:
            weights = _sound(heard, rise, fine, at[strong], weights)
            fine = summed(rise, weights[None])[0]
            row = binned(fine[None])
    return _settled(heard, rise, weights, fine, row[0], np.array(path), period, spread, over, blind)


def _sound(heard: Heard, rise: NDArray[np.float32], fine: Floats, at: NDArray[np.int64], weights: Floats) -> Floats:
    """Return the weights of bands that fit the sound of beats, half of it as it was: one beat may be something else."""
    import numpy as np

    if at.size < 4:
        return weights
    frames = _peaks(fine, at, 0)
    over = np.median(np.minimum(rise[:, frames], 20.0), axis=1) - np.median(rise, axis=1)
    share = np.maximum(over, 0) * heard.notes
    if share.sum() <= 0:
        return weights
    return np.asarray(0.7 * share / share.sum() + 0.3 * heard.notes / heard.notes.sum())


def _peaks(fine: Floats, bins: NDArray[np.int64], wide: int) -> NDArray[np.int64]:
    """Return the frame of the greatest sum within each bin and so many bins to either side."""
    import numpy as np

    reach = np.arange(-wide * BIN, (wide + 1) * BIN)
    places = np.clip(bins[:, None] * BIN + reach, 0, fine.size - 1)
    return np.asarray(places[np.arange(bins.size), fine[places].argmax(axis=1)])


def _settled(
    heard: Heard, rise: NDArray[np.float32], weights: Floats, fine: Floats, row: Floats, path: NDArray[np.int64],
    period: Floats, spread: float, over: float, blind: NDArray[np.bool_] | None,
) -> Train | None:  # fmt: skip
    import numpy as np

    bins = row.size
    frames = _peaks(fine, path, 1)
    level = weights @ heard.level[:, frames] / weights.sum()
    # What is greatest about places between beats, looked for as far about as a beat is.
    wide = max(1, round(1.2 * float(np.sqrt((spread * period[path]) ** 2 + 0.3).mean())))
    between = path[:-1, None] + np.array([0.3, 0.4, 0.5, 0.6, 0.7]) * np.diff(path)[:, None]
    places = np.unique(np.clip(between.astype(int).ravel(), 0, bins - 1))
    if places.size < 8:
        return None
    chance_frames = _peaks(fine, places, wide)
    # How loud, and not held back: of each band beside its surroundings there, summed as the beats sound.
    plainly = weights @ heard.rise[:, frames], weights @ heard.rise[:, chance_frames]
    sure, loudness, _ = seen(plainly[0], level, plainly[1])
    if blind is not None:
        # Under the other train's clicks nothing can be said of this one's.
        sure = np.where(blind[path], np.maximum(sure, 0.5 + 1e-3), sure)
    instants = _instants(fine, frames, heard.hop)
    steps = np.diff(path)
    here = (period[path[1:]] + period[path[:-1]]) / 2
    ahead = np.where(np.abs(steps / here - 1) < 0.4, 1, np.maximum(np.round(steps / here), 1)).astype(np.int64)
    numbers = np.concatenate([[0], np.cumsum(ahead)])
    # The ends are heard, or they are no part of it.
    certain = np.flatnonzero(sure > 0.7)
    if certain.size < LEAST_BEATS:
        return None
    cut = slice(int(certain[0]), int(certain[-1]) + 1)
    instants, sure, numbers, ahead = instants[cut], sure[cut], numbers[cut], ahead[cut.start : cut.stop - 1]
    numbers = numbers - numbers[0]
    present = sure > PRESENT
    mean = float(np.median(steps)) * heard.hop * BIN
    if not 0.8 / FASTEST < mean < 1.25 / SLOWEST:
        return None
    if present.sum() < LEAST_BEATS or present.mean() < LEAST_HEARD:
        return None
    # A beat may be missing where something else is as loud as the softer ones: as seldom as that is between beats.
    rises = plainly[0][cut][present]
    softer = min(float(np.quantile(rises, 0.1)), (float(np.median(rises)) + 1) / 2) if rises.size else np.inf
    reach = min(max(4 * spread, OUT_OF_STEP[0]), OUT_OF_STEP[1]) * float(np.median(period[path]))
    aside = _peaks(fine, path[cut], max(1, round(reach)))
    loud = max(0.5 * softer, float(np.quantile(plainly[1], 0.98)))
    sure = np.where((weights @ heard.rise[:, aside] >= loud) & ~present, np.maximum(sure, MAY_BE), sure)
    masked = (float((plainly[1] >= softer).sum()) + 0.5) / (places.size + 1)
    share = (float((1 - sure).sum()) + MISSED * BEFOREHAND) / (sure.size + BEFOREHAND)
    pauses, lost = [], np.minimum(sure, 1 - share * masked)
    for i in np.flatnonzero(np.diff(instants) > 1.4 * here[cut.start : cut.stop - 1] * heard.hop * BIN):
        would = float(np.diff(instants)[i] / (here[cut.start + i] * heard.hop * BIN)) - 1
        pauses.append((float(instants[i]), float(instants[i + 1]), would))
    return Train(
        instants, sure, numbers, over, _pace(instants, numbers, sure), missing(lost), tuple(pauses),
        loudness, weights,
    )  # fmt: skip


def _instants(fine: Floats, frames: NDArray[np.int64], hop: float) -> Floats:
    """Return instants between frames: the middle of what rises about each peak."""
    import numpy as np

    around = np.clip(frames[:, None] + np.array([-1, 0, 1]), 0, fine.size - 1)
    over = np.maximum(fine[around] - 1, 1e-3)
    shift = (over[:, 2] - over[:, 0]) / over.sum(axis=1)
    return np.asarray((frames + 1 + shift) * hop)


def _pace(instants: Floats, numbers: NDArray[np.int64], sure: Floats) -> Pace | None:
    """Return the pace of the beats that were surely heard; a step far off the others is left out of it."""
    import numpy as np

    keep = sure > 0.8 if (sure > 0.8).sum() >= LEAST_BEATS else sure > PRESENT
    at, k = instants[keep], numbers[keep]
    for _ in range(3):
        if at.size < LEAST_BEATS + 1:
            break
        steps = np.diff(at) / np.diff(k)
        off = np.abs(steps - np.median(steps))
        limit = max(5 * 1.4826 * float(np.median(off)), 0.004)
        wrong = np.flatnonzero(off > limit)
        if not wrong.size or wrong.size > 0.25 * steps.size:
            break
        drop = {int(i) for i in wrong if i == 0 or off[i - 1] <= limit} & set(range(at.size))
        # The beat that both of its steps are wrong about is the one to go.
        both = {int(i) + 1 for i in wrong if i + 1 < off.size and off[i + 1] > limit}
        gone = both or drop
        stay = np.array([i not in gone for i in range(at.size)])
        at, k = at[stay], k[stay]
    return pace(at, k - k[0]) if at.size else None


def _loud(heard: Heard) -> Floats:
    """Return instants of sharp sounds that stand out by themselves, no two within 60 ms."""
    import numpy as np

    whole = summed(heard.tempered, (heard.notes / heard.notes.sum())[None])[0]
    if whole.size < 50:
        return np.zeros(0)
    limit = standing(whole)
    order = np.flatnonzero(whole > limit)
    found: list[int] = []
    for i in order[np.argsort(-whole[order])]:
        if all(abs(int(i) - j) * heard.hop > 0.06 for j in found):
            found.append(int(i))
        if len(found) > 4000:
            break
    return np.sort(np.array(found, dtype=float) * heard.hop)


def plain(counted: Counted, train: Train) -> float:
    """Return the share of a train's heard beats that stand out by themselves, and so have an instant of their own.

    The others are where the beat has them: their number and the rate hold, their scatter is that of the noise.
    """
    return _plain(counted.loud, train)


def _plain(loud: Floats, train: Train) -> float:
    import numpy as np

    if not loud.size or not train.heard.size:
        return 0.0
    return float((np.abs(loud[:, None] - train.heard[None, :]).min(axis=0) < 0.02).mean())


def clicks(heard: Heard, train: Train) -> NDArray[np.float32]:
    """Return what one of a train's clicks adds to each band, as power, over 20 ms: shape (bands, frames)."""
    import numpy as np

    at = np.round(train.instants[train.sure > CERTAIN] / heard.hop).astype(int) - 1
    reach = np.arange(-1, 9)
    at = at[(at > 10) & (at < heard.plain.shape[1] - 30)]
    if not at.size:
        return np.zeros((heard.plain.shape[0], reach.size), dtype=np.float32)
    there = np.median(heard.plain[:, at[:, None] + reach], axis=1)
    before = np.median(heard.plain[:, at[:, None] + np.arange(-10, -3)], axis=(1, 2))
    return np.asarray(np.maximum(there - before[:, None], 0), dtype=np.float32)


def would_be_found(heard: Heard, added: NDArray[np.float32], train: Train, softer: float, tries: int = 5) -> int:
    """Return how many times out of ``tries`` a train like another recording's is found, laid into this one.

    ``added``: of :func:`clicks`; ``softer``: what its power is multiplied by. It is laid in at other places each time,
    with the scatter that it has. Found means: at its pace, most of its beats.
    """
    import numpy as np

    chance = np.random.default_rng(20260101)
    period = train.period
    scatter = train.pace.scatter.value if train.pace else 0.02
    frames, reach = heard.power.shape[1], np.arange(added.shape[1])
    good = 0
    for turn in range(tries):
        steps = period * (1 + scatter * chance.normal(size=int(heard.seconds / period) + 2))
        at = period * turn / tries + np.concatenate([[0.0], np.cumsum(steps)])
        places = np.round(at / heard.hop).astype(int)
        places = places[places < frames - reach.size - 1]
        power = heard.power.copy()
        here = places[:, None] + reach
        power[:, here] += softer * added[:, None, :] * heard.floor[:, here]
        found = count(replace(heard, power=power, level=level_of(power)), most=1)
        if found.trains and abs(found.trains[0].period / period - 1) < 0.1:
            near = np.abs(found.trains[0].heard[:, None] - at[None, :] - 0.004).min(axis=1) < 0.03
            good += int(near.sum() >= 0.7 * places.size)
    return good

"""The ear, counted: the discharges in a recording of one channel's spark test, told from fan, wind, talk and tools.

What is found is a beat: sharp sounds at a steady pace. Single sharp sounds are counted beside it, but not judged. No
sound of it proves that they are discharges: steady heels, a relay and a strobe light's supply beat as well, and on
held-out recordings nothing parts them (tests/bench/sparks.py). So a beat is judged only where somebody who stood
there says that it began and ended with the selection, and not where it lasts, or every other one is of another kind. A
recording in which no beat is found shows nothing by itself: a phone in a pocket hears none. Only where the other
channel's recording, laid into this one at half its loudness, would have been found, is silence a finding.

Discharges plainly heard that keep no pace are a finding too (:mod:`isolate.calc.spark_uneven`), under the same word
of somebody who stood there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot, log
from typing import TYPE_CHECKING, Any, Final

from isolate.calc import clip as clips
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spark_count import Counted, Train, clicks, count, plain, would_be_found
from isolate.calc.spark_hearing import BIN, Heard, binned, hear, summed
from isolate.calc.spark_pace import Pace
from isolate.calc.spark_sound import LASTS, Sound, sound
from isolate.calc.spark_uneven import Uneven, of_one_kind, plainly_heard, uneven
from isolate.calc.spread import Spread
from isolate.calc.units import figure

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHORTEST: Final = 2.0
"""Seconds that a recording has to last before it is looked at."""
LONGEST: Final = 600.0
"""Seconds that are looked at at once, at most: a spark test's duty time is far shorter."""
CUT_SAID: Final = 0.001
"""Share of samples cut off at the rails from which it is said."""
CUT_SPOILT: Final = 0.1
SOFTER: Final = 0.25
"""Power at which the other channel's clicks are laid into a silent recording: half the loudness."""
TRIES: Final = 5
PLAIN: Final = 1.0
"""Share of beats that have to stand out by themselves before their scatter is told: all. Where one in ten did not, the
scatter's interval held it in 92 % of clips, and in 80 % of those with talk."""
LOCKED: Final = 0.03
"""Scatter of the lag between two trains, as a share of the period, under which one follows the other."""
SURELY: Final = 0.9
"""How sure it has to be that a beat is missing before its second is named."""
OFF_BEAT: Final = 0.2
"""Share of the sounds of a beat's kind that may lie off it before it is no longer judged; and four of them."""


@dataclass(frozen=True)
class Levels:
    """One channel's samples: ``peak``; ``cut``: share held flat at the peak; ``nought``: nothing was recorded."""

    peak: float
    cut: float
    nought: bool


@dataclass(frozen=True)
class Picture:
    """What the pictures are made from. ``rise``: decibels over the surroundings, each ``step`` seconds from ``start``.

    Instants in the trains count from ``start``.
    """

    name: str
    start: float
    step: float
    rise: Floats
    counted: Counted
    uneven: Uneven | None = None

    @property
    def beats(self) -> tuple[tuple[float, ...], ...]:
        """Instants heard in the recording, in seconds of the file, a row for each train, or one where none is even."""
        if self.uneven is not None:
            return (tuple(float(t) + self.start for t in self.uneven.instants),)
        return tuple(tuple(float(t) + self.start for t in train.heard) for train in self.counted.trains)


@dataclass(frozen=True)
class _Ear:
    """A recording listened to: the channel that tells most."""

    clip: clips.Clip
    channel: int
    heard: Heard
    counted: Counted
    levels: Levels
    start: float
    notes: tuple[str, ...]
    apart: str = ""
    """What another channel of the same file beats at, in words, where that is another beat."""
    uneven: Uneven | None = None

    @property
    def sound(self) -> Sound:
        return sound(self.heard, self.counted.trains[0])


def levels(pieces: Sequence[NDArray[np.float32]] | Any) -> Levels:
    """Return the levels of one channel's samples, told in pieces of shape (n,). They are gone through once."""
    import numpy as np

    peak, flat, many = 0.0, 0, 0
    least, most = np.inf, -np.inf
    for piece in pieces:
        least, most = min(least, float(piece.min(initial=np.inf))), max(most, float(piece.max(initial=-np.inf)))
        size = np.abs(piece)
        top = float(size.max(initial=0.0))
        if top > peak * 1.002:
            flat = 0
        peak = max(peak, top)
        at = size >= 0.998 * peak
        flat += int((at[2:] & at[1:-1] & at[:-2]).sum())
        many += piece.size
    return Levels(peak, flat / max(many, 1) if peak > 0.05 else 0.0, most - least < 4e-5)


def _listen(path: str, of: str, start: float, stop: float | None) -> _Ear:
    clip = clips.opened(path, of)
    if start >= clip.seconds:
        raise Unfit(f"from: the recording is over after {_seconds(clip.seconds)}", "from")
    end = clip.seconds if stop is None else min(stop, clip.seconds)
    if end - start < SHORTEST:
        raise Unfit(
            f"{of}: {_seconds(end - start)} of sound is too short to find a beat in; record at least ten discharges", of
        )
    if end - start > LONGEST:
        raise Unfit(
            f"{of}: {_seconds(end - start)} of sound is more than is looked at in one go ({_seconds(LONGEST)}); say "
            "where the test begins and ends in it, with from and to (--from '120 s' --to '150 s')",
            of,
        )
    first, last = int(start * clip.rate), int(end * clip.rate)
    notes = list(clip.notes)
    if stop is not None and stop > clip.seconds + 0.5:
        notes.append(f"The recording ends at {_seconds(clip.seconds)}, before the time told.")
    found: list[tuple[float, int, Heard, Counted, Levels]] = []
    same = clip.channels > 1 and _all_alike(clip, first, last, of)
    for channel in range(1 if same else clip.channels):

        def pieces(channel: int = channel) -> Any:
            return (block[:, channel] for block in clips.blocks(clip, first, last, of))

        level = levels(pieces())
        if level.nought:
            continue
        heard = hear(pieces(), clip.rate)
        counted = count(heard)
        found.append((counted.evidence if counted.trains else counted.evidence - 1e6, channel, heard, counted, level))
    if not found:
        raise Unfit(f"{of}: nothing was recorded, there is no sound at all in it (microphone shut off or covered?)", of)
    _, channel, heard, counted, level = max(found, key=lambda f: f[0])
    apart = ""
    for _, number, _, also, _ in found:
        if number != channel and counted.trains and also.trains:
            mine, its = counted.trains[0].period, also.trains[0].period
            if abs(its / mine - 1) > 0.03:
                apart = f"channel {number + 1} of the file beats every {figure(its)} s, channel {channel + 1} every "
                apart += f"{figure(mine)} s"
    if clip.channels > 1:
        silent = clip.channels - len(found) if not same else 0
        notes.append(
            f"Its {clip.channels} channels hold the same."
            if same
            else f"Of its {clip.channels} channels, number {channel + 1} was used: its beat is the clearer one."
            + (f" {silent} of them hold no sound." if silent else "")
        )
    return _Ear(clip, channel, heard, counted, level, start, tuple(notes), apart, uneven(heard, counted, LASTS))


def _all_alike(clip: clips.Clip, first: int, last: int, of: str) -> bool:
    return all(bool((block == block[:, :1]).all()) for block in clips.blocks(clip, first, last, of))


def _work(given: Given) -> Found:
    start = given["from"].value if "from" in given else 0.0
    stop = given["to"].value if "to" in given else None
    if stop is not None and stop <= start:
        raise Unfit("to: it lies before where it begins", "to")
    least, most = (given[n].value if n in given else None for n in ("rate-least", "rate-most"))
    if least is not None and most is not None and least > most:
        raise Unfit("rate-least: it is more than rate-most", "rate-least")
    apart = given["apart"].value
    if not 0 < apart < 0.5:
        raise Unfit("apart: between 0 and 50 %", "apart")
    ear = _listen(given["clip"], "clip", start, stop)
    other = _listen(given["other"], "other", 0.0, None) if "other" in given else None
    switched, other_switched = given.get("with-selection"), given.get("other-with-selection")
    lines, warnings = list(_told(ear)), list(_minded(ear, switched))
    judged: dict[str, Judged] = {}
    figures: tuple[Figure, ...] = ()
    trains = ear.counted.trains
    if ear.uneven is not None:
        figures = _uneven_figures(ear.uneven)
        judged = _judge_uneven(ear, ear.uneven, switched, least, most)
    elif not trains:
        judged[""] = _silence(ear, other, switched, other_switched)
        if least is not None or most is not None:
            judged["rate"] = Judged(CANNOT_TELL, "there is no beat to time")
    else:
        figures = _figures(ear)
        if other is not None and not other.counted.trains:
            warnings.append("No beat was found in the other channel's recording, so there is nothing to compare with.")
        here, there = trains[0].pace, other.counted.trains[0].pace if other and other.counted.trains else None
        beside_other = ratio(here, there) if here is not None and there is not None else None
        if beside_other is not None and there is not None:
            lines.append(
                f"The other channel's: {_rate(there.rate)}; this one is {figure(beside_other.value)} times as fast "
                f"({figure(beside_other.low)} to {figure(beside_other.high)})."
            )
            figures = (*figures, Figure("ratio", "pace beside the other channel's", *beside_other, "1"))
        doubt = _doubt(ear, switched)
        judged[""] = (
            Judged(CANNOT_TELL, doubt, _span(ear))
            if doubt
            else _judge(ear, None if other_switched is not True else beside_other, least, most, apart)
        )
        if beside_other is not None and other_switched is not True and not doubt and least is None and most is None:
            why = (
                "the other channel's beat is nothing to compare with until somebody says that it began and ended with "
                "its selection (other-with-selection)"
            )
            judged[""] = Judged(CANNOT_TELL, why, _span(ear))
        if least is not None or most is not None:
            judged["rate"] = Judged(CANNOT_TELL, doubt, _span(ear)) if doubt else _beside_data(ear, least, most)
        if least is not None and most is None and beside_other is None:
            warnings.append("No highest rate was told: both channels firing in turn would pass for one twice as fast.")
    plain = binned(summed(ear.heard.tempered, (ear.heard.notes / ear.heard.notes.sum())[None]))[0]
    return Found(
        tuple(lines), figures, judged, tuple(warnings),
        Picture(ear.clip.path, start, ear.heard.hop * BIN, _decibels(plain), ear.counted, ear.uneven),
    )  # fmt: skip


def _decibels(rise: Floats) -> Floats:
    import numpy as np

    return np.asarray(10 * np.log10(np.maximum(rise, 1e-2)))


def _seconds(value: float) -> str:
    if value >= 3600:
        return f"{int(value // 3600)} h {int(value % 3600 // 60)} min"
    if value >= 120:
        return f"{int(value // 60)} min {value % 60:.0f} s"
    return f"{value:.3f} s" if value < 1 else f"{value:.1f} s"


def _percent(value: float) -> str:
    return f"{100 * value:.1f} %" if abs(value) < 0.1 else f"{100 * value:.0f} %"


def _rate(rate: Spread) -> str:
    return f"{figure(rate.value)} a second ({figure(rate.low, 4)} to {figure(rate.high, 4)})"


def _extent(train: Train, start: float) -> str:
    return f"from {train.instants[0] + start:.1f} s to {train.instants[-1] + start:.1f} s"


def _told(ear: _Ear) -> Sequence[str]:
    """Return what was found, the result first."""
    counted, start = ear.counted, ear.start
    lines = []
    for i, train in enumerate(counted.trains):
        lines += _train_told(train, start, "A second beat" if i else "A beat", counted)
    if ear.uneven is not None:
        lines += _uneven_told(ear.uneven, start, counted)
    elif not counted.trains:
        many = counted.loud.size
        lines.append(
            f"No beat was found in {_seconds(counted.seconds)}"
            + (f"; {many} sharp sounds stand out, at no steady pace." if many else ", and no sharp sound stands out.")
        )
        if many >= 8:
            lines.append("They may be a plug that fires at random, or steps and tools; this cannot tell which.")
    else:
        stray = _strays(counted)
        if stray:
            lines.append(f"{stray} other sharp sounds stand out and belong to no beat: tools, steps, talk.")
        if len(counted.trains) == 2:
            lines.append(_together(counted))
        train = counted.trains[0]
        after = counted.seconds - float(train.instants[-1])
        if after > max(3 * train.period, 2.0):
            lines.append(
                f"Nothing more of it in the last {_seconds(after)}: switched off, or it died; you know which."
            )
    lines.append(
        f"Looked at: {_seconds(counted.seconds)} of {ear.clip.path}, {ear.clip.rate} samples a second, "
        f"{ear.clip.bits} bits, {ear.clip.channels} channel{'s' if ear.clip.channels > 1 else ''}."
    )
    return [*lines, *ear.notes]


def _uneven_told(one: Uneven, start: float, counted: Counted) -> list[str]:
    shortest, quarter, middle, upper, longest = one.waits
    low, high = (at + start for at in one.longest)
    lines = [
        f"Sharp sounds at no even pace: {one.instants.size} of one kind, from {one.instants[0] + start:.1f} s to "
        f"{one.instants[-1] + start:.1f} s, {_rate(one.rate)} in the mean.",
        f"Waits of {figure(shortest)} s to {figure(longest)} s, half of them between {figure(quarter)} s and "
        f"{figure(upper)} s, {figure(middle)} s in the middle. The longest is from {low:.1f} s to {high:.1f} s.",
        "No steady beat explains them, whole or with beats missing, and they stand so far out that none is hidden.",
    ]
    if one.strange:
        lines.append(
            f"{one.strange} other sharp sound{'s stand' if one.strange > 1 else ' stands'} out and "
            f"{'are' if one.strange > 1 else 'is'} of another kind: tools, steps, talk."
        )
    after = counted.seconds - float(one.instants[-1])
    if after > max(3 * middle, longest, 2.0):
        lines.append(f"Nothing more of them in the last {_seconds(after)}: switched off, or it died; you know which.")
    return lines


def _train_told(train: Train, start: float, name: str, counted: Counted) -> list[str]:
    heard, missed, pace = int(train.present.sum()), train.missed, train.pace
    lines = [f"{name}: {heard} heard {_extent(train, start)}" + (f", {_rate(pace.rate)}." if pace is not None else ".")]
    if train.faint and pace is None:
        return [*lines, "It is too faint, or too short, to time: it may be every other one of a faster beat."]
    if pace is not None and plain(counted, train) < PLAIN:
        lines.append(
            f"Intervals of {figure(train.period)} s. Many beats are too soft to time one by one: their scatter "
            "cannot be told."
        )
    elif pace is not None:
        lines.append(
            f"Intervals of {figure(train.period)} s, scattered by {_percent(pace.scatter.value)} "
            f"({_percent(pace.scatter.low)} to {_percent(pace.scatter.high)})."
        )
    lost = [(at + start, sure) for at, sure in train.lost]
    sure = [(at, share) for at, share in lost if share >= SURELY]
    if train.faint:
        lines.append("It is too faint to tell whether beats are missing in it.")
    elif missed.high == 0:
        lines.append("No beat between first and last is missing.")
    elif not lost:
        lines.append(f"No beat is seen to be missing; up to {missed.high:.0f} may be, under the noise.")
    else:
        places = ", ".join(f"{at:.1f} s ({_sure(share)})" for at, share in sure[:8])
        more = f" and {len(sure) - 8} more" if len(sure) > 8 else ""
        where = f", at {places}{more}" if sure else ", none of them surely enough to name it"
        lines.append(f"Missing beats: {missed.value:.0f} ({missed.low:.0f} to {missed.high:.0f}){where}.")
    for low, high, would in () if train.faint else train.pauses[:5]:
        lines.append(
            f"It pauses from {low + start:.1f} s to {high + start:.1f} s and begins again out of step: "
            f"{would:.1f} beats would have fitted."
        )
    if pace is not None:
        low, high = pace.slowing.low, pace.slowing.high
        if low > 0:
            by = f"{_percent(pace.slowing.value)} ({_percent(low)} to {_percent(high)})"
            lines.append(f"It slows by {by} from the first to the last.")
        elif high < 0:
            by = f"{_percent(-pace.slowing.value)} ({_percent(-high)} to {_percent(-low)})"
            lines.append(f"It quickens by {by} from the first to the last.")
        else:
            # Nought lies between the two.
            lines.append(
                "It does not clearly slow or quicken: at the end it is between "
                f"{_percent(-low)} faster and {_percent(high)} slower."
            )
    return lines


def _sure(share: float) -> str:
    return "over 99 % sure" if share > 0.99 else f"{100 * share:.0f} % sure"


def _strays(counted: Counted) -> int:
    import numpy as np

    free = np.ones(counted.loud.size, dtype=bool)
    for train in counted.trains:
        away = counted.loud[:, None] - train.instants[None, :]
        # Its echo as well.
        free &= ~((away > -0.03) & (away < 0.15)).any(axis=1)
    return int(free.sum())


def _lag(first: Train, second: Train) -> tuple[float, float]:
    """Return by how much the second follows the first, in seconds, and the scatter of that as a share of the period."""
    import numpy as np

    place = np.searchsorted(first.instants, second.heard) - 1
    good = place >= 0
    lags = second.heard[good] - first.instants[place[good]]
    if lags.size < 4:
        return 0.0, 1.0
    middle = float(np.median(lags))
    return middle, 1.4826 * float(np.median(np.abs(lags - middle))) / first.period


def _together(counted: Counted) -> str:
    first, second = counted.trains
    lag, scatter = _lag(first, second)
    if abs(first.period / second.period - 1) < 0.03 and scatter < LOCKED:
        return (
            f"The second follows the first by {figure(lag)} s each time: an echo, or a second plug on the same timing; "
            "this cannot tell which."
        )
    softer = (second.loudness - first.loudness) * 10 / log(10)
    return (
        f"The second is {abs(softer):.0f} dB {'softer' if softer < 0 else 'louder'} than the first: both channels "
        "firing, or something else that beats. The recording does not say which is which."
    )


def _echo(counted: Counted) -> bool:
    if len(counted.trains) < 2:
        return False
    first, second = counted.trains
    lag, scatter = _lag(first, second)
    return abs(first.period / second.period - 1) < 0.03 and scatter < LOCKED and lag < 0.4 * first.period


def _off_beat(ear: _Ear) -> int:
    """Return how many plain sounds of the beat's own kind lie off it, where those are too many to judge it by."""
    import numpy as np

    kind = of_one_kind(ear.heard, ear.counted.loud)
    if kind is None or not plainly_heard(kind, LASTS):
        return 0
    free = np.ones(kind.instants.size, dtype=bool)
    for train in ear.counted.trains:
        away = kind.instants[:, None] - train.instants[None, :]
        # Its echo as well.
        free &= ~((away > -0.03) & (away < 0.15)).any(axis=1)
    many = int(free.sum())
    return many if many >= max(4, OFF_BEAT * free.size) else 0


def _doubt(ear: _Ear, switched: bool | None) -> str:
    """Return why a beat cannot be taken for this channel's discharges, "" where it can."""
    heard = ear.sound
    if ear.levels.cut > CUT_SPOILT:
        return "much of it is cut off at the top (clipped); hold the phone further off and record again"
    if ear.apart:
        return f"{ear.apart}: two things beat; fire one channel alone"
    if len(ear.counted.trains) == 2 and not _echo(ear.counted):
        return "two beats are in it, and which is this channel's it does not say; fire one channel alone, none walking"
    off = _off_beat(ear)
    if off:
        return (
            f"{off} sounds just like its own lie off the beat: it loses its pace, or something else fires too; record "
            "this channel alone for longer"
        )
    if heard.lasts > LASTS:
        return "each sound lasts too long for a discharge: a vehicle's warning, a ratchet, a hammer?"
    if heard.turns:
        return (
            f"every other one is {heard.turns} than the ones between: two things in turn, both channels or two feet; "
            "fire one channel alone, nobody walking"
        )
    if switched is False:
        return "it did not begin and end with the selection, so it is something else; record again without that"
    if switched is None:
        return (
            "it may be the plug, or steps, a relay, a strobe light; sound alone does not tell. Say whether it began "
            "and ended with the selection (with-selection)"
        )
    return ""


def _minded(ear: _Ear, switched: bool | None) -> Sequence[str]:
    found = []
    if ear.levels.cut >= CUT_SAID:
        found.append(
            f"{_percent(ear.levels.cut)} of the samples are cut off at the top (clipped); how loud things are cannot "
            "be compared. Hold the phone further off."
        )
    if ear.levels.peak < 0.003:
        found.append("The recording is very soft, as from a covered microphone.")
    if ear.uneven is not None and switched:
        found.append("Two channels firing at once can sound like this: it holds where this channel fired alone.")
    if ear.counted.trains and switched:
        train = ear.counted.trains[0]
        if train.instants[0] < 1.5 * train.period and ear.counted.seconds - train.instants[-1] < 1.5 * train.period:
            found.append(
                "It beats from end to end of what was looked at: the recording does not show it begin and end with the "
                "selection, only you say so. Next time start recording before it is selected, and stop after."
            )
        found.append("A weak spark snaps as well as a strong one: pace says nothing of energy.")
    return found


def _figures(ear: _Ear) -> tuple[Figure, ...]:
    found: list[Figure] = []
    for i, train in enumerate(ear.counted.trains):
        if train.faint and train.pace is None:
            continue
        name, says = ("second-", "second beat: ") if i else ("", "")
        many = float(train.instants.size)
        if not train.faint:
            found.append(
                Figure(
                    f"{name}heard",
                    f"{says}beats heard",
                    many - train.missed.value,
                    many - train.missed.high,
                    many - train.missed.low,
                    "1",
                )
            )
        if train.pace is not None:
            found += [
                Figure(f"{name}rate", f"{says}beats a second", *train.pace.rate, "1/s"),
                Figure(
                    f"{name}slowing", f"{says}fall of the rate, first to last, as a share", *train.pace.slowing, "1"
                ),
            ]
            if plain(ear.counted, train) >= PLAIN:
                said = f"{says}scatter of the intervals, as a share"
                found.append(Figure(f"{name}scatter", said, *train.pace.scatter, "1"))
        if not train.faint:
            found.append(Figure(f"{name}missed", f"{says}beats missing between first and last", *train.missed, "1"))
    return tuple(found)


def _uneven_figures(one: Uneven) -> tuple[Figure, ...]:
    many = float(one.instants.size)
    return (
        # What is of another kind may be one all the same.
        Figure("heard", "discharges heard", many, many, many + one.strange, "1"),
        Figure("rate", "discharges a second, in the mean", *one.rate, "1/s"),
    )


def _judge_uneven(
    ear: _Ear, one: Uneven, switched: bool | None, least: float | None, most: float | None
) -> dict[str, Judged]:
    """Return what sharp sounds of one kind at no even pace come to."""
    span = (float(one.instants[0]) + ear.start, float(one.instants[-1]) + ear.start)
    doubt = ""
    if ear.levels.cut > CUT_SPOILT:
        doubt = "much of it is cut off at the top (clipped); hold the phone further off and record again"
    elif switched is False:
        doubt = "they did not begin and end with the selection, so they are something else; record again without that"
    elif switched is None:
        doubt = (
            "they may be the plug firing unevenly, or steps and tools; sound alone does not tell. Say whether they "
            "began and ended with the selection (with-selection)"
        )
    if doubt:
        why = f"{one.instants.size} sharp sounds of one kind at no even pace: {doubt}"
        judged = {"": Judged(CANNOT_TELL, why, span)}
    else:
        why = f"{one.instants.size} discharges, waits from {figure(one.waits[0])} s to {figure(one.waits[4])} s"
        judged = {"": Judged("irregular", why, span)}
    if least is None and most is None:
        return judged
    side = beside(one.rate.low, one.rate.high, least, most)
    if doubt or side != "below":
        # As many as it should be, but not evenly, is not what the data asks for.
        why = doubt or f"{_rate(one.rate)} in the mean, but at no even pace"
        judged["rate"] = Judged(CANNOT_TELL, why, span)
    else:
        why = f"{_rate(one.rate)} in the mean, beside at least {figure(least or 0)} a second"
        judged["rate"] = Judged("slow", why, span)
    return judged


def ratio(this: Pace, other: Pace) -> Spread:
    """Return how many times as fast one is as the other; the half-widths of the logarithms add as squares."""
    value = this.rate.value / other.rate.value
    down = hypot(log(this.rate.value / this.rate.low), log(other.rate.high / other.rate.value))
    up = hypot(log(this.rate.high / this.rate.value), log(other.rate.value / other.rate.low))
    return Spread(value, value * exp(-down), value * exp(up))


def _beside_data(ear: _Ear, least: float | None, most: float | None) -> Judged:
    train = ear.counted.trains[0]
    if train.pace is None:
        return Judged(CANNOT_TELL, "too few discharges to time, or too faint; record more of them")
    if len(ear.counted.trains) == 2 and not _echo(ear.counted):
        return Judged(CANNOT_TELL, "two beats are in it; fire one channel alone")
    rate = train.pace.rate
    side = beside(rate.low, rate.high, least, most)
    limits = [f"{word} {figure(x)}" for word, x in (("at least", least), ("at most", most)) if x is not None]
    said = f"{_rate(rate)}, beside {' and '.join(limits)} a second"
    if side == "cannot-tell":
        why = f"{said}: the limit lies within what it may be; a longer recording would tell"
        return Judged(CANNOT_TELL, why, _span(ear))
    return Judged({"below": "slow", "above": "fast", "within": "within"}[side], said, _span(ear))


def _span(ear: _Ear) -> tuple[float, float]:
    at = ear.counted.trains[0].instants
    return float(at[0]) + ear.start, float(at[-1]) + ear.start


def _judge(ear: _Ear, ratio: Spread | None, least: float | None, most: float | None, apart: float) -> Judged:
    """Return what a recording with a beat in it comes to, as an answer to the count."""
    counted, span = ear.counted, _span(ear)
    train = counted.trains[0]
    pace, many = train.pace, train.instants.size

    def unsure(why: str) -> Judged:
        return Judged(CANNOT_TELL, why, span)

    if pace is None:
        return unsure("too few discharges to time, or too faint; record more of them")
    data = None if least is None and most is None else beside(pace.rate.low, pace.rate.high, least, most)
    slower = ratio is not None and ratio.high < 1 - apart
    if slower or data == "below" or pace.slowing.low > apart:
        whys = []
        if slower and ratio is not None:
            whys.append(f"{figure(ratio.value)} times the other channel's pace")
        if data == "below":
            whys.append(f"{figure(pace.rate.value)} a second, under the rate of your data")
        if pace.slowing.low > apart:
            whys.append(f"it slows by {_percent(pace.slowing.value)} on the way")
        if train.missed.low >= 1 and not train.faint:
            whys.append(f"and {train.missed.value:.0f} beats are missing besides")
        return Judged("slow", ", ".join(whys), span)
    if train.faint:
        return unsure(
            "as far as it can be timed it keeps its pace, but it is too faint to tell whether beats are missing"
        )
    if train.missed.low >= 1:
        lost = [at + ear.start for at, share in train.lost if share >= SURELY]
        where = (min(lost), max(lost)) if lost else span
        return Judged("gaps", f"{train.missed.value:.0f} of {many} beats are missing", where)
    if train.pauses:
        low, high, _ = train.pauses[0]
        between = f"from {low + ear.start:.1f} s to {high + ear.start:.1f} s"
        return unsure(f"it pauses {between}: was it switched off in between?")
    if train.missed.high > max(1.0, 0.05 * many):
        # Never "go closer": nobody has a reason to be by a live igniter for a better recording.
        return unsure(
            f"up to {train.missed.high:.0f} of {many} beats may be missing under the noise; shelter the phone from the "
            "wind, or have the noise shut off"
        )
    if pace.slowing.high > apart:
        return unsure("whether it slows cannot be told from so few discharges; record more of them")
    if data == "above" or (ratio is not None and ratio.low > 1 + apart):
        twice = ratio is not None and ratio.low < 2 < ratio.high
        return unsure(
            "even, but twice as fast as the other channel: did both fire, in turn? Fire one channel alone"
            if twice
            else "even, but faster than it should be: was it this channel, and this channel alone?"
        )
    same = ratio is not None and ratio.low >= 1 - apart and ratio.high <= 1 + apart
    if (ratio is None and data is None) or (ratio is None and data != "within"):
        return unsure(
            "even, without a gap, but there is nothing to hold its pace against: give the other channel's recording, "
            "or the rate of your data"
            if data is None
            else "even, but the limit of your data lies within what its rate may be; record longer"
        )
    if data == "cannot-tell" or (ratio is not None and not same):
        return unsure("even, but whether it is as fast as it should be lies within the uncertainty; record longer")
    return Judged("even", f"{many} beats, none missing, {_rate(pace.rate)}", span)


def _silence(ear: _Ear, other: _Ear | None, switched: bool | None, other_switched: bool | None) -> Judged:
    """Return what a recording without a beat comes to."""
    span = (ear.start, ear.start + ear.counted.seconds)
    if switched:
        why = "no beat was found, and yet somebody heard it begin and end: the ear goes before the recording"
        return Judged(CANNOT_TELL, why, span)
    if ear.levels.cut > CUT_SPOILT:
        # What is cut off already takes nothing up any more.
        why = "much of it is cut off at the top (clipped), and what is soft is lost in that; record again"
        return Judged(CANNOT_TELL, why, span)
    if other is None or not other.counted.trains:
        lacking = "no beat was found in the other channel's recording either" if other else "no beat was found"
        return Judged(
            CANNOT_TELL,
            f"{lacking}; that is no proof of silence. Record the channel that snaps from the same place with the same "
            "phone, and give it as the other channel's",
            span,
        )
    doubt = _doubt(other, other_switched)
    if doubt:
        why = f"no beat was found, but the other channel's recording is no proof that one would be: {doubt}"
        return Judged(CANNOT_TELL, why.replace("(with-selection)", "(other-with-selection)"), span)
    if other.clip.rate != ear.clip.rate or other.heard.edges != ear.heard.edges:
        why = "the two recordings were made in different ways (samples a second); make both alike"
        return Judged(CANNOT_TELL, why, span)
    train = other.counted.trains[0]
    if ear.counted.loud.size >= 8 and ear.counted.loud.size / ear.counted.seconds > 0.2 / train.period:
        many = ear.counted.loud.size
        why = f"{many} sharp sounds stand out at no steady pace; they may be a plug that fires at random"
        return Judged(CANNOT_TELL, why, span)
    good = would_be_found(ear.heard, clicks(other.heard, train), train, SOFTER, TRIES)
    if good < TRIES:
        return Judged(
            CANNOT_TELL,
            f"the other channel's discharges at half their loudness, laid into this recording, were found {good} times "
            f"in {TRIES}: too noisy, or too short, to prove silence",
            span,
        )
    return Judged(
        "nothing-to-count",
        f"the other channel's discharges, laid into this recording at half their loudness, were found {good} times in "
        f"{TRIES}; its own are not there. It holds if both were recorded from the same place, and this channel was "
        "selected",
        span,
    )


def draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    """Return the recording in strips: how far it rises over its surroundings, and the beats under it."""
    picture = found.detail
    if not isinstance(picture, Picture) or not picture.rise.size:
        return ()
    columns = max(10, min(width, 160) - 2)
    counted = picture.counted
    period = min((t.period for t in counted.trains), default=picture.uneven.waits[2] if picture.uneven else 1.0)
    strips = max(1, min(6, round(counted.seconds / (columns * period / 5) + 0.4)))
    long = counted.seconds / strips
    out: list[str] = []
    for i in range(strips):
        out += _strip(picture, i * long, long, columns, ascii_only)
    key = "^ heard" if ascii_only else "▲ heard"
    missing = any(t.lost for t in counted.trains)
    if picture.uneven is not None:
        out.append(f"  {key}, at no even pace")
    if counted.trains:
        second = "   2 second beat" if len(counted.trains) > 1 else ""
        out.append(f"  {key}" + ("   x missing" if missing else "") + second)
    return [line[:width] for line in out]


def _strip(picture: Picture, begin: float, long: float, columns: int, ascii_only: bool) -> list[str]:
    import numpy as np

    edges = begin + long * np.arange(columns + 1) / columns
    places = np.clip((edges / picture.step).astype(int), 0, picture.rise.size)
    top = max(6.0, float(np.quantile(picture.rise, 0.999)))
    heights = np.array([
        picture.rise[a : max(b, a + 1)].max(initial=0.0) for a, b in pairwise(places)
    ])  # fmt: skip
    share = np.clip(heights / top, 0, 1)
    rows = []
    for row in (2, 1, 0):
        fill = np.clip(share * 3 - row, 0, 1)
        marks = " .:|" if ascii_only else " ▁▂▃▄▅▆▇█"
        rows.append("  " + "".join(marks[round(f * (len(marks) - 1))] for f in fill))
    marked = [" "] * columns
    for at in picture.uneven.instants if picture.uneven is not None else ():
        place = int((at - begin) / long * columns)
        if 0 <= place < columns and begin <= at < begin + long:
            marked[place] = "^" if ascii_only else "▲"
    for number, train in reversed(list(enumerate(picture.counted.trains))):
        for at, there in zip(train.instants, train.present, strict=True):
            place = int((at - begin) / long * columns)
            if 0 <= place < columns and begin <= at < begin + long:
                sign = ("2" if number else "^" if ascii_only else "▲") if there else "x"
                if sign == "x" and marked[place] != " ":
                    continue
                marked[place] = sign
    first, last = f"{begin + picture.start:.1f} s", f"{begin + long + picture.start:.1f} s"
    rule = ("-" if ascii_only else "─") * max(1, columns - len(first) - len(last) - 2)
    return [*(r.rstrip() for r in rows), ("  " + "".join(marked)).rstrip(), f"  {first} {rule} {last}"]


def figure_of(found: Found, path: str) -> None:
    """Write the picture of a recording: its rises with the beats marked, and the interval before each beat.

    Raises Unfit where the extra that draws is not there.
    """
    from importlib.util import find_spec

    if find_spec("matplotlib") is None:
        raise Unfit("--picture needs the extra that brings it: pip install 'ignition-isolate[chart]'")
    import matplotlib
    import numpy as np
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Sheet

    picture: Picture = found.detail
    trains, single = picture.counted.trains, picture.uneven
    beats = bool(trains) or single is not None
    with matplotlib.rc_context({"svg.hashsalt": "isolate", "font.size": 9}):
        sheet = Sheet(figsize=(11, 5 if beats else 3), layout="constrained")
        FigureCanvasAgg(sheet)
        axes = sheet.subplots(2 if beats else 1, 1, sharex=True, squeeze=False)[:, 0]
        at = picture.start + np.arange(picture.rise.size) * picture.step
        axes[0].plot(at, picture.rise, lw=0.5, color="#6b717b")
        top = float(picture.rise.max())
        for number, (train, colour, mark) in enumerate(zip(trains, ("#1f5a92", "#b23a2f"), ("v", "D"), strict=False)):
            name = "second beat: " if number else ""
            high = top * (1.08 + 0.08 * number)
            heard = train.heard + picture.start
            axes[0].plot(heard, np.full(heard.size, high), mark, ms=4, color=colour, label=f"{name}heard")
            lost = np.array([t for t, _ in train.lost]) + picture.start
            if lost.size:
                axes[0].plot(lost, np.full(lost.size, high), "x", ms=6, mew=1.6, color=colour, label=f"{name}missing")
            steps = np.diff(heard) / np.maximum(np.diff(train.numbers[train.present]), 1)
            axes[1].plot(heard[1:], steps, mark, ms=3, color=colour)
        if single is not None:
            heard = single.instants + picture.start
            axes[0].plot(heard, np.full(heard.size, top * 1.08), "v", ms=4, color="#1f5a92", label="heard")
            axes[1].plot(heard[1:], np.diff(heard), "v", ms=3, color="#1f5a92")
        axes[0].set_ylabel("dB over surroundings")
        if beats:
            axes[0].legend(loc="upper right", ncols=4, fontsize=8, bbox_to_anchor=(1, 1.22), frameon=False)
            axes[1].set_ylabel("seconds since\nthe beat before" if trains else "seconds since\nthe one before")
            axes[1].set_ylim(0, 1.4 * max(t.period for t in trains) if trains else None)
        axes[-1].set_xlabel("seconds of the recording")
        for one in axes:
            one.spines[["top", "right"]].set_visible(False)
            one.grid(axis="x", color="#e4e6ea", lw=0.6)
        axes[0].set_title(found.lines[0], loc="left", fontsize=9)
        kind = path.rpartition(".")[2].lower()
        try:
            sheet.savefig(path, format=kind, dpi=150, metadata={"Date": None} if kind == "svg" else None)
        except OSError as error:
            raise Unfit(f"{path}: {error.strerror or error}") from None


CALCULATION = Calculation(
    "sparks",
    "the discharges in a recording of one channel's spark test, counted",
    (
        Input("clip", "file", "Recording of this channel firing alone, a WAV file", hint="clip.wav"),
        Input(
            "with-selection", "yes", "Did you hear the snaps begin and end as this channel was selected on and off?",
            default="",
        ),
        Input(
            "other", "file", "The other channel's recording, from the same place with the same phone", default="",
            hint="other.wav",
        ),
        Input(
            "other-with-selection", "yes", "Did you hear the other channel's begin and end with its selection?",
            default="", after="other",
        ),
        Input("from", "time", "Where in it the test begins", default="", hint="12 s"),
        Input("to", "time", "Where in it the test ends", default="", hint="40 s"),
        Input("rate-least", "rate", "Lowest spark rate of your approved data", default="", limit=True, hint="1 /s"),
        Input("rate-most", "rate", "Highest spark rate of your approved data", default="", limit=True, hint="3 /s"),
        Input(
            "apart", "share", "Paces no further apart than this count as the same (our figure, not a maker's)",
            default="10 %", hint="10 %",
        ),
    ),
    _work,
    "Our own: rises over the surroundings by bands, and the likeliest steady path through them by dynamic programming "
    "(Smith and Waterman 1981); intervals by generalised least squares.",
    judges={
        "": {
            "even": "Even, and as fast as it should be",
            "gaps": "The right pace with snaps missing",
            "slow": "Slow, or slowing as it goes on",
            "irregular": "Plainly heard, at no even pace",
            "nothing-to-count": "Nothing to count",
        },
        "rate": {
            "within": "Within the rate of your data",
            "slow": "Slower than your data",
            "fast": "Faster than your data",
        },
    },
    draw=draw,
    figure=figure_of,
)  # fmt: skip

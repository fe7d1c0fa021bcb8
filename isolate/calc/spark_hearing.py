"""What of a recording may be clicks: how far the sound rises above its surroundings, every few milliseconds.

A discharge is sharp (a few milliseconds) and broad (many notes at once). So: power in frames of 4 ms, every 2 ms;
each note beside its own median over some seconds, which takes out hum, whine and the colour of the noise (whitening
by a noise floor estimated from medians, as in any text on spectral noise estimation); notes summed in bands; each band
beside its own median over about 60 ms, which takes out gusts and vowels. What is left of a sound that lasts is about 1;
of a click, more.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

HOP_SECONDS: Final = 0.002
BIN: Final = 3
"""Frames in a bin: what a train is followed in, 6 ms."""
LOWEST: Final = 600.0
"""Hertz: what is below is left to steps, doors and wind."""
HIGHEST: Final = 18_000.0
EDGES: Final = (600, 900, 1300, 1900, 2700, 3800, 5400, 7600, 10_700, 14_000, 18_000)
"""Hertz: where bands meet."""
HELD: Final = 10.0
"""How many times what rounding to sixteen bits leaves a note's floor has to be, or nothing was kept there."""
CONTRAST: Final = 1000.0
"""How many times that the loudest note's floor has to be, before anything is taken to have been left out."""
CLIFF: Final = 300.0
"""How many times lower all of the notes have to be from ONWARD notes on, for a filter to have cut them off: it leaves
more there than rounding does, and what splashes over from samples cut off at the top is thousands of times that. No
place's own noise falls so far within 800 Hz."""
ONWARD: Final = 4
ABOUT: Final = 7
"""Notes whose middle stands for what is before the cliff, so that a whine makes none."""
LOCAL: Final = 10
"""Frames of a block whose medians make the level close by: 20 ms, and three of them."""
LONG: Final = 12.0
"""Seconds over which each note's own floor is taken."""
MOST_RISE: Final = 50.0
"""A band that rises more counts less for what is beyond (to the power of 3/4): one loud note is no click."""


@dataclass(frozen=True)
class Heard:
    """A recording as bands over frames. ``hop``: seconds from one frame to the next.

    ``power``: shape (bands, frames), each note over its own floor; ``level``: the same shape, its level close by;
    ``plain``: (bands, frames), power not set beside anything; ``floor``: (bands, frames), what turns plain into
    ``power``; ``notes``: notes in each band.
    """

    hop: float
    edges: tuple[float, ...]
    power: NDArray[np.float32]
    level: NDArray[np.float32]
    plain: NDArray[np.float32]
    floor: NDArray[np.float32]
    notes: Floats

    @property
    def rise(self) -> NDArray[np.float32]:
        """How many times its surroundings each band is, (bands, frames)."""
        import numpy as np

        return np.asarray(self.power / self.level, dtype=np.float32)

    @property
    def tempered(self) -> NDArray[np.float32]:
        """The same, with the loudest held back, (bands, frames)."""
        import numpy as np

        rise = self.rise
        held = MOST_RISE * (rise / MOST_RISE) ** 0.75
        return np.asarray(np.where(rise > MOST_RISE, held, rise), dtype=np.float32)

    @property
    def seconds(self) -> float:
        return float(self.power.shape[1] * self.hop)


def hear(blocks: Iterable[NDArray[np.float32]], rate: int) -> Heard:
    """Return one channel's recording as bands. ``blocks``: pieces of it, one after another, each of shape (n,)."""
    import numpy as np

    hop = max(1, round(rate * HOP_SECONDS))
    size = 2 * hop
    points = 1 << (size - 1).bit_length()
    hertz = np.asarray(np.fft.rfftfreq(points, 1 / rate), dtype=float)
    top = min(HIGHEST, 0.46 * rate)
    edges, counts = _bands(hertz, top)
    chosen = np.flatnonzero((hertz >= edges[0]) & (hertz < edges[-1]))
    starts = np.cumsum([0, *counts])[:-1]
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    # Half a step of sixteen bits: a recorder that shuts off in silence leaves noughts, and nothing is that quiet.
    least = float((window**2).sum()) / (32768.0**2 * 12)
    many = round(LONG / HOP_SECONDS)
    spectra: list[Any] = []
    waiting = 0
    out: list[tuple[Any, Any, Any]] = []
    medians: Any = None

    def settle() -> None:
        nonlocal waiting, medians, edges, counts, starts, chosen
        whole = np.concatenate(spectra) if spectra else np.zeros((0, chosen.size), dtype=np.float32)
        if len(whole) and medians is None:
            kept = _kept(np.median(whole[:: max(1, len(whole) // 3000)], axis=0) / np.log(2), least)
            if kept < chosen.size:
                edges, counts = _bands(hertz, float(hertz[chosen[kept]]))
                starts, chosen = np.cumsum([0, *counts])[:-1], chosen[: sum(counts)]
                whole = whole[:, : chosen.size]
        if len(whole):
            # A short rest would have a floor that a click could set: it takes the one before it.
            if medians is None or len(whole) > many // 3:
                medians = np.maximum(np.median(whole[:: max(1, len(whole) // 3000)], axis=0) / np.log(2), least)
            power = np.add.reduceat(whole / medians.astype(np.float32), starts, axis=1)
            plain = np.add.reduceat(whole, starts, axis=1)
            each = np.array(counts)
            ratio = np.add.reduceat(1 / medians, starts) / each
            out.append((power / each, plain / each, np.broadcast_to(ratio, plain.shape)))
        spectra.clear()
        waiting = 0

    rest = np.zeros(0, dtype=np.float32)
    for block in blocks:
        rest = np.concatenate([rest, block])
        frames = (rest.size - size) // hop + 1 if rest.size >= size else 0
        if frames <= 0:
            continue
        seen = np.lib.stride_tricks.sliding_window_view(rest, size)[::hop][:frames]
        turned = np.fft.rfft(seen * window, points, axis=1)[:, chosen]
        spectra.append((turned.real**2 + turned.imag**2).astype(np.float32))
        waiting += frames
        rest = rest[frames * hop :].copy()
        if waiting >= many:
            settle()
    settle()
    # Independent notes: the transform is padded, so that there are more points than the window tells apart.
    notes = np.array(counts, dtype=float) * size / points
    if not out:
        empty = np.zeros((len(counts), 0), dtype=np.float32)
        return Heard(hop / rate, tuple(edges), empty, empty, empty, empty, notes)
    power, plain, floor = (np.concatenate([o[i] for o in out]).T.astype(np.float32) for i in range(3))
    return Heard(hop / rate, tuple(edges), power, level_of(power), plain, floor, notes)


def _bands(hertz: Floats, top: float) -> tuple[list[float], list[int]]:
    """Return where bands meet, up to ``top``, and how many of ``hertz`` are in each; the last is not too narrow."""
    edges = [float(e) for e in EDGES if e < 0.8 * top] + [top]
    counts = [int(((hertz >= low) & (hertz < high)).sum()) for low, high in pairwise(edges)]
    keep = [i for i, many in enumerate(counts) if many]
    return [*(edges[i] for i in keep), edges[-1]], [counts[i] for i in keep]


def _kept(floors: Floats, least: float) -> int:
    """Return how many notes, from the lowest, the recording holds: packing leaves nothing above some pitch.

    Nothing: what rounding to sixteen bits leaves, while the loudest notes have far more, or what lies under a cliff.
    There every splash of a sound that is cut off at the top would count for thousands of what it is over.
    """
    import numpy as np

    kept = int(floors.size)
    if kept > ABOUT + ONWARD:
        before = np.median(np.lib.stride_tricks.sliding_window_view(floors, ABOUT), axis=1)[:-ONWARD]
        beyond = np.maximum.accumulate(floors[::-1])[::-1][ABOUT - 1 + ONWARD :]
        cliff = np.flatnonzero(before > CLIFF * beyond)
        kept = int(cliff[0]) + ABOUT if cliff.size else kept
    held = np.flatnonzero(floors > HELD * least)
    if held.size and floors.max() >= CONTRAST * least:
        kept = min(kept, int(held[-1]) + 1)
    return max(kept, min(12, int(floors.size)))


def level_of(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the level close by: medians of 20 ms, of which the middle of three, drawn through; never under a
    quarter of the floor."""
    import numpy as np

    bands, frames = power.shape
    blocks = max(1, frames // LOCAL)
    used = min(frames, blocks * LOCAL)
    short = np.median(power[:, :used].reshape(bands, blocks, -1), axis=2)
    padded = np.concatenate([short[:, :1], short, short[:, -1:]], axis=1)
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 3, axis=1), axis=2)
    places = (np.arange(blocks) + 0.5) * LOCAL
    at = np.arange(frames)
    drawn = np.stack([np.interp(at, places, row) for row in middle])
    return np.asarray(np.maximum(drawn, 0.25), dtype=np.float32)


def groups(heard: Heard) -> Floats:
    """Return the ways of summing the bands that are tried, shape (ways, bands): all, low, middle, high."""
    import numpy as np

    middle = [(a * b) ** 0.5 for a, b in pairwise(heard.edges)][: len(heard.notes)]
    found = []
    for low, high in ((0, 1e9), (0, 2400), (1700, 5800), (4500, 1e9)):
        here = np.array([low <= m < high for m in middle]) * heard.notes
        if here.sum() > 0:
            found.append(here / here.sum())
    return np.array(found)


def summed(rise: NDArray[np.float32], weights: Floats) -> Floats:
    """Return the sums of bands by weights, (ways, frames)."""
    import numpy as np

    return np.asarray(weights.astype(np.float32) @ rise, dtype=float)


def standing(whole: Floats) -> float:
    """Return from where on a sum of all bands stands out by itself: six standard deviations of the noise over its
    middle, as its middle half tells them, and twice that middle. ``whole``: shape (frames,), not empty."""
    import numpy as np

    low, middle, high = np.quantile(whole, [0.25, 0.5, 0.75])
    return max(float(middle + 6 * (high - low) / 1.349), 2 * float(middle))


def binned(sums: Floats) -> Floats:
    """Return the greatest of each bin's frames, (ways, bins)."""
    import numpy as np

    many = sums.shape[1] // BIN
    return np.asarray(sums[:, : many * BIN].reshape(len(sums), many, BIN).max(axis=2))

"""Discharges as a phone would have kept them: a third generator, which shares nothing with the count nor the others.

A wide hangar or an open ramp (echoes that die away over a tenth of a second, drawn from noise), an exciter whose pace
scatters by 1 to 8 % and whose discharges differ by 3 to 6 dB, a phone that turns its gain down when it is loud and up
again slowly, cuts off what is too loud, and packs what is left, so that nothing is kept above 8 to 12 kHz and soft
notes beside loud ones are lost. What such a phone does is from memory (common practice, no source).

Signal to noise: energy of a click in the 10 ms from its onset over the mean energy of the noise in 10 ms, both above
500 Hz, before the phone's own doings; the mean over clicks, which differ among themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, istft, sosfilt, stft

Array = NDArray[np.float64]
RATE = 44_100


@dataclass(frozen=True)
class Kept:
    """A recording: ``samples`` within -1 and 1, instants of each channel's discharges in seconds."""

    samples: Array
    instants: Array
    second: Array
    rate: int = RATE


def even(seconds: float, pace: float, scatter: float, chance: np.random.Generator, start: float = 0.3) -> Array:
    """Return instants of an exciter that charges up anew each time. ``pace``: a second."""
    waits = np.maximum(1 + scatter * chance.normal(size=int(seconds * pace * 1.5) + 9), 0.2) / pace
    found = start + chance.uniform(0, 1 / pace) + np.cumsum(waits) - waits[0]
    return np.asarray(found[found < seconds - 0.15])


def uneven(seconds: float, pace: float, kind: str, chance: np.random.Generator, start: float = 0.3) -> Array:
    """Return instants of an exciter that has lost its pace. ``pace``: a second, in the mean.

    ``kind``: ``loose`` (waits of a gamma distribution, half their mean apart), ``random`` (each instant by itself, none
    within 80 ms of the one before), ``fits`` (short runs at two paces in turn, of one to four discharges).
    """
    many = int(seconds * pace * 3) + 30
    if kind == "loose":
        waits = np.maximum(chance.gamma(4, 0.25, many) / pace, 0.05)
    elif kind == "random":
        waits = 0.08 + chance.exponential(max(1 / pace - 0.08, 0.02), many)
    else:
        runs = [np.full(chance.integers(1, 5), (0.55, 1.45)[i % 2] * chance.uniform(0.7, 1.3)) for i in range(many)]
        waits = np.concatenate(runs)[:many]
        waits = waits / waits.mean() / pace * (1 + 0.05 * chance.normal(size=many))
    found = start + chance.uniform(0, 1 / pace) + np.cumsum(waits) - waits[0]
    return np.asarray(found[found < seconds - 0.15])


def _hall(chance: np.random.Generator, rate: int) -> Array:
    """Return how a place answers: the sound itself, some early echoes, and a tail of noise that dies away."""
    many = int(0.25 * rate)
    t = np.arange(many) / rate
    found = np.zeros(many)
    found[0] = 1.0
    for delay in chance.uniform(0.003, 0.05, 6):
        found[int(delay * rate)] += chance.uniform(0.1, 0.5) * chance.choice([-1, 1])
    tail = chance.normal(size=many) * np.exp(-t / chance.uniform(0.03, 0.08)) * (t > 0.006)
    return np.asarray(found + chance.uniform(0.2, 0.5) * tail / np.sqrt((tail**2).sum()))


def _discharge(chance: np.random.Generator, rate: int) -> tuple[Array, Array]:
    """Return what of a plug's sound is the same each time, and how fast what differs dies away (an envelope)."""
    t = np.arange(int(0.02 * rate)) / rate
    width = chance.uniform(0.00004, 0.00015)
    x = (t - 4 * width) / width
    fixed = (1 - x * x) * np.exp(-0.5 * x * x)
    for hertz in chance.uniform(900, 9000, 4):
        much, dies = chance.uniform(0.05, 0.3), chance.uniform(0.001, 0.004)
        fixed = fixed + much * np.sin(2 * np.pi * hertz * t) * np.exp(-t / dies)
    return fixed / np.sqrt((fixed**2).sum()), np.exp(-t / chance.uniform(0.0006, 0.002))


def ramp(seconds: float, chance: np.random.Generator, rate: int = RATE) -> Array:
    """Return a ramp's noise of unit power: a running unit's roar with its blade note, hiss, gusts that come and go."""
    many = int(seconds * rate)
    hertz = np.fft.rfftfreq(many, 1 / rate)
    shape = 1 / (1 + (hertz / chance.uniform(150, 900)) ** 2) ** chance.uniform(0.35, 0.6)
    found = np.fft.irfft(shape * np.fft.rfft(chance.normal(size=many)), many)
    found /= found.std()
    t = np.arange(many) / rate
    blade, swing = chance.uniform(900, 5000), chance.uniform(0.1, 0.5)
    whine = sum(np.sin(k * (2 * np.pi * blade * t + 8 * np.sin(2 * np.pi * swing * t))) / k for k in (1, 2, 3))
    found += chance.uniform(0, 0.4) * whine
    knots = np.exp(chance.uniform(0.05, 0.4) * chance.normal(size=int(seconds * 1.5) + 4))
    return np.asarray(found * np.interp(t, np.linspace(0, seconds, knots.size), knots))


def kept(
    instants: Array, snr_db: float, seconds: float, chance: np.random.Generator, *, second: Array | None = None,
    second_db: float = -4.0, apart_db: float | None = None, packed: bool = True, rate: int = RATE,
) -> Kept:  # fmt: skip
    """Return what the phone kept. ``second``: instants of the other channel; ``apart_db``: spread of loudness from
    shot to shot (3 to 6 where it is not told)."""
    behind = ramp(seconds, chance, rate)
    high = butter(4, 500, "highpass", fs=rate, output="sos")
    floor = float((sosfilt(high, behind) ** 2).mean()) * 0.01 * rate
    spread = chance.uniform(3, 6) if apart_db is None else apart_db
    found = behind
    other = np.zeros(0) if second is None else second
    for times, beside in ((instants, 0.0), (other, second_db)):
        if not times.size:
            continue
        same, dies = _discharge(chance, rate)
        hall = _hall(chance, rate)
        dry = np.zeros(behind.size + hall.size)
        for at in times:
            own = chance.normal(size=dies.size) * dies
            one = same + 0.6 * own / np.sqrt((own**2).sum())
            # Spread evenly about the mean of the decibels: a range of so many, not a deviation.
            loud = 10 ** (chance.uniform(-spread / 2, spread / 2) / 20)
            start = round(float(at) * rate)
            stop = min(dry.size, start + one.size)
            dry[start:stop] += (one * loud)[: stop - start]
        heard = fftconvolve(dry, hall)[: behind.size]
        clean = sosfilt(high, heard)
        first = [float((clean[round(t * rate) : round(t * rate) + int(0.01 * rate)] ** 2).sum()) for t in times]
        found = found + heard * np.sqrt(floor * 10 ** ((snr_db + beside) / 10) / np.mean(first))
    return Kept(_phone(found, chance, rate) if packed else found / np.abs(found).max(), instants, other, rate)


def _phone(sound: Array, chance: np.random.Generator, rate: int) -> Array:
    """Return what a phone makes of a sound: gain, cutting off, packing."""
    block = int(0.01 * rate)
    loud = np.sqrt(np.add.reduceat(sound**2, np.arange(0, sound.size, block)) / block)
    follows, now = np.empty_like(loud), float(np.median(loud))
    for i, level in enumerate(loud):
        # Down within some 10 ms, up again within half a second.
        now += (level - now) * (0.6 if level > now else 0.02)
        follows[i] = now
    how = chance.uniform(0.2, 0.6)
    gain = (np.median(follows) / np.maximum(follows, 1e-9)) ** how
    found = sound * np.interp(np.arange(sound.size), np.arange(loud.size) * block + block, gain)
    # So set that the loudest few are cut off.
    found = np.clip(found / np.quantile(np.abs(found), chance.uniform(0.9995, 1.0)), -1, 1) * chance.uniform(0.1, 1.0)
    hertz, _, bands = stft(found, rate, nperseg=1024)
    size = np.abs(bands)
    # Soft notes beside loud ones of the same instant are dropped, and steps of size are coarse.
    least = 10 ** (-chance.uniform(35, 50) / 20) * size.max(axis=0)
    bands = np.where((size < least) | (hertz[:, None] > chance.uniform(8000, 12_000)), 0, bands)
    _, packed = istft(bands, rate, nperseg=1024)
    return np.asarray(np.clip(packed[: sound.size], -1, 1))


def drawn(snr_db: float, seconds: float, chance: np.random.Generator) -> Kept:
    """Return an even exciter at a pace of 0.5 to 6 a second, scattered by 1 to 8 %, as a phone kept it."""
    pace, scatter = float(np.exp(chance.uniform(np.log(0.5), np.log(6)))), float(chance.uniform(0.01, 0.08))
    return kept(even(seconds, pace, scatter, chance), snr_db, seconds, chance)

"""Recordings with known discharges, made for tests and the bench; nothing here is shared with what listens to them.

Signal to noise, as stated everywhere here: energy of a click in the 10 ms from its onset over the mean energy of the
noise in 10 ms, both above 500 Hz (a fourth-order high-pass), so that rumble makes nothing easy. Where the noise is
clanks on a steady floor, the floor alone counts, and the clanks are as loud as the clicks or up to 10 dB louder.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

Array = NDArray[np.float64]
CLICKS = ("crack", "ring", "pulse", "dull")
NOISES = ("white", "wind", "fan", "apu", "speech", "clanks")
RATE = 44_100


@dataclass(frozen=True)
class Made:
    """A recording: ``samples`` within -1 and 1, and the instants of its discharges in seconds."""

    samples: Array
    instants: Array
    rate: int


def click(kind: str, rate: int, chance: np.random.Generator) -> Array:
    """Return one click of a kind, 30 ms long, energy not yet set."""
    t = np.arange(int(0.03 * rate)) / rate
    if kind == "crack":  # a burst of noise that dies within a millisecond or two
        return np.asarray(chance.normal(size=t.size) * np.exp(-t / 0.0008))
    if kind == "ring":  # a few modes of what it sits in
        found = np.zeros_like(t)
        for hertz in np.exp(np.linspace(np.log(1500), np.log(min(9000, 0.4 * rate)), 5)):
            found += np.sin(2 * np.pi * hertz * t) * np.exp(-t / 0.0022) / (hertz / 3000)
        return found
    if kind == "pulse":  # a pressure wave up and down
        width = 0.00012
        x = (t - 4 * width) / width
        return np.asarray(-x * np.exp(-0.5 * x * x))
    b, a = butter(2, min(2500, 0.4 * rate), fs=rate)  # heard through a cowl
    return np.asarray(lfilter(b, a, chance.normal(size=t.size) * np.exp(-t / 0.002)))


def noise(kind: str, seconds: float, rate: int, chance: np.random.Generator) -> Array:
    """Return noise of a kind, scaled to no level in particular."""
    n = int(seconds * rate)
    t = np.arange(n) / rate
    white = chance.normal(size=n)
    if kind == "white":
        return white
    if kind == "wind":
        rumble = lfilter([1], [1, -0.995], white) * 0.3
        hiss = lfilter([1], [1, -0.7], chance.normal(size=n))
        gust = np.exp(_slow(n, rate, 0.7, chance) * 0.8)
        return (rumble + 0.3 * hiss) * gust
    if kind == "fan":
        found = pink(n, chance)
        for k in range(1, 20):
            found += 0.5 / k * np.sin(2 * np.pi * 310 * k * t + chance.uniform(0, 6.3))
        return found * (1 + 0.15 * np.sin(2 * np.pi * 5.2 * t))
    if kind == "apu":
        sos = butter(2, [900, min(6000, 0.45 * rate)], "bandpass", fs=rate, output="sos")
        whine = np.sin(2 * np.pi * min(7400, 0.4 * rate) * t + 3 * np.sin(2 * np.pi * 0.4 * t))
        return np.asarray(sosfilt(sos, white) + 0.5 * pink(n, chance) + 0.25 * whine)
    if kind == "speech":
        return _speech(n, rate, chance) + 0.02 * pink(n, chance)
    if kind == "clanks":
        return pink(n, chance)
    raise ValueError(kind)


def pink(n: int, chance: np.random.Generator) -> Array:
    """Return noise whose power falls as one over frequency, of unit power."""
    spectrum = np.fft.rfft(chance.normal(size=n))
    spectrum /= np.sqrt(np.maximum(np.arange(spectrum.size), 1))
    found = np.fft.irfft(spectrum, n)
    return np.asarray(found / found.std())


def _slow(n: int, rate: int, hertz: float, chance: np.random.Generator) -> Array:
    points = max(4, int(n / rate * hertz * 2))
    return np.interp(np.linspace(0, points - 1, n), np.arange(points), chance.normal(size=points))


def _speech(n: int, rate: int, chance: np.random.Generator) -> Array:
    """Return what is like somebody talking: voiced syllables, hisses and stops, three to six a second, with pauses."""
    found = np.zeros(n)
    at = 0.0
    while (start := int(at * rate)) < n:
        long = int(chance.uniform(0.08, 0.25) * rate)
        t = np.arange(long) / rate
        shape = np.sin(np.pi * np.arange(long) / long) ** 0.5
        if chance.random() < 0.7:
            pitch = chance.uniform(90, 180)
            voice = np.zeros(long)
            for k in range(1, int(4000 / pitch)):
                near = sum(np.exp(-(((pitch * k - f) / 180) ** 2)) for f in chance.choice([500, 900, 1500, 2400], 2))
                voice += (near + 0.02) * np.sin(2 * np.pi * pitch * k * t)
            piece = voice
        else:
            piece = lfilter([1, -0.9], [1], chance.normal(size=long)) * 0.4
        if chance.random() < 0.3:  # a stop: t, k, p
            piece[: int(0.008 * rate)] += chance.normal(size=min(long, int(0.008 * rate))) * 1.2
        piece = piece * shape
        stop = min(n, start + long)
        found[start:stop] += piece[: stop - start]
        at += long / rate + (chance.uniform(0.01, 0.12) if chance.random() < 0.85 else chance.uniform(0.3, 1.2))
    return found


def clanks(seconds: float, rate: int, each_second: float, chance: np.random.Generator) -> list[tuple[float, Array]]:
    """Return tools put down and panels shut, at random: (instant, sound of unit energy in its first 10 ms)."""
    found = []
    for at in chance.uniform(0, seconds, chance.poisson(each_second * seconds)):
        t = np.arange(int(0.25 * rate)) / rate
        sound = np.zeros_like(t)
        for _ in range(chance.integers(3, 9)):
            hertz = np.exp(chance.uniform(np.log(400), np.log(min(9000, 0.42 * rate))))
            sound += chance.normal() * np.sin(2 * np.pi * hertz * t) * np.exp(-t / chance.uniform(0.004, 0.06))
        sound[: int(0.002 * rate)] += chance.normal(size=int(0.002 * rate)) * 0.5
        found.append((float(at), sound / np.sqrt((sound[: int(0.01 * rate)] ** 2).sum())))
    return found


def beats(
    seconds: float, period: float, chance: np.random.Generator, jitter: float = 0.02, drift: float = 0.0,
    wander: bool = True, start: float = 0.4, stop: float | None = None,
) -> Array:  # fmt: skip
    """Return instants of a train. ``jitter``: of an interval, as a share of the period; ``drift``: share by which the
    period grows from first to last; ``wander``: each interval starts from the last discharge, not from a clock."""
    found, at, n = [], start + chance.uniform(0, period), 0
    stop = seconds - 0.1 if stop is None else stop
    clock = at
    while at < stop:
        found.append(at)
        now = period * (1 + drift * (clock - start) / max(stop - start, 1e-9))
        n += 1
        clock += now
        if wander:
            at += now * (1 + jitter * chance.normal())
            clock = at
        else:
            at = clock + jitter / np.sqrt(2) * now * chance.normal()
    return np.array(found)


def clip(
    instants: Array, snr_db: float, kind: str, seconds: float, chance: np.random.Generator, *, sound: str = "crack",
    rate: int = RATE, echo: bool = True, slap: float = 0.0, level: float = 0.02, spread_db: float = 1.0,
    more: tuple[tuple[Array, float, str], ...] = (), clanking: float = 0.5, agc: bool = False,
) -> Made:  # fmt: skip
    """Return a recording. ``more``: other trains as (instants, dB beside the first, sound). ``slap``: an echo that is
    0.4 as loud, so many seconds later. ``level``: root mean square of the noise. ``agc``: gain that falls when loud."""
    behind = noise(kind, seconds, rate, chance)
    behind *= level / behind.std()
    high = butter(4, 500, "highpass", fs=rate, output="sos")
    floor = float((sosfilt(high, behind) ** 2).mean()) * 0.01 * rate
    found = behind.copy()

    def unit(one: Array) -> Array:
        heard = sosfilt(high, one)
        return np.asarray(one / np.sqrt((heard[: int(0.01 * rate)] ** 2).sum()))

    taps = [(0.0, 1.0)]
    if echo:
        taps += [
            (float(d), float(g)) for d, g in zip(chance.uniform(0.004, 0.04, 4), (0.4, 0.3, 0.2, 0.15), strict=True)
        ]
    if slap:
        taps.append((slap, 0.4))

    def add(at: float, one: Array, energy: float) -> None:
        for delay, gain in taps:
            start = round((at + delay) * rate)
            stop = min(found.size, start + one.size)
            if start < found.size:
                found[start:stop] += one[: stop - start] * np.sqrt(energy) * gain

    for times, beside, kind_of in ((instants, 0.0, sound), *more):
        like = unit(click(kind_of, rate, chance))
        for at in times:
            one = unit(click("crack", rate, chance)) if kind_of == "crack" else like
            add(float(at), one, floor * 10 ** ((snr_db + beside + spread_db * chance.normal()) / 10))
    if kind == "clanks":
        taps = taps[:1]
        for at, one in clanks(seconds, rate, clanking, chance):
            add(at, one, floor * 10 ** ((max(snr_db, 0) + chance.uniform(0, 10)) / 10))
    if agc:
        loud = lfilter([1 - np.exp(-1 / (0.3 * rate))], [1, -np.exp(-1 / (0.3 * rate))], np.abs(found))
        found = found * (level / np.maximum(loud, level / 4)) ** 0.7
    return Made(np.clip(found, -1, 1), instants, rate)


def wav(samples: Array, rate: int = RATE, bits: int = 16, floating: bool = False, extensible: bool = False) -> bytes:
    """Return a RIFF/WAVE file of samples of shape (n,) or (n, channels), by the format's own description."""
    shape = samples[:, None] if samples.ndim == 1 else samples
    channels = shape.shape[1]
    if floating:
        body = shape.astype("<f4" if bits == 32 else "<f8").tobytes()
    elif bits == 8:
        body = np.round(shape * 127 + 128).clip(0, 255).astype("u1").tobytes()
    elif bits == 24:
        whole = np.round(shape * (2**23 - 1)).astype("<i4")
        body = whole.reshape(-1, 1).view("u1").reshape(-1, 4)[:, :3].tobytes()
    else:
        body = np.round(shape * (2 ** (bits - 1) - 1)).astype(f"<i{bits // 8}").tobytes()
    tag = 3 if floating else 1
    size = bits // 8
    about = struct.pack(
        "<HHIIHH", 0xFFFE if extensible else tag, channels, rate, rate * channels * size, channels * size, bits
    )
    if extensible:
        about += struct.pack("<HHIH", 22, bits, 0, tag) + bytes.fromhex("000000001000800000aa00389b71")
    chunks = b"fmt " + struct.pack("<I", len(about)) + about + b"data" + struct.pack("<I", len(body)) + body
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks


def walked(made: Made, chance: np.random.Generator, period: float = 0.55) -> Made:
    """Return a recording with somebody walking by: heels on concrete, 10 dB over the noise, evener than most things."""
    found = made.samples.copy()
    level = float(found.std())
    t = np.arange(int(0.05 * made.rate)) / made.rate
    for at in beats(found.size / made.rate, period, chance, jitter=0.05):
        thud = np.sin(2 * np.pi * 120 * t) * np.exp(-t / 0.015) * 3
        heel = lfilter([1], [1, -0.8], chance.normal(size=t.size)) * np.exp(-t / 0.003)
        start = round(at * made.rate)
        stop = min(found.size, start + t.size)
        found[start:stop] += ((thud + heel) * level * 2)[: stop - start]
    return Made(np.clip(found, -1, 1), np.zeros(0), made.rate)

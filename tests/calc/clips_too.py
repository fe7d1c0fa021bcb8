"""Steady sounds of a ramp that are no discharge, and discharges by other means than those of clips.py.

Held out: nothing here was looked at while the count was built, and it shares nothing with it nor with clips.py. What
sounds are made of is from memory of what such sounds are (common practice, no source): a step is a thud below 200 Hz,
a heel's clack of one to five kilohertz and a sole some tenths of a second later, left unlike right; a reversing
vehicle's warning is a note of about 1.2 kHz, half of each second; a ratchet is a run of clicks at each pull.
Levels are those of each sound's first 10 ms over the noise in 10 ms, both as they are (no high-pass).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

Array = NDArray[np.float64]
RATE = 44_100
STEPS = ("boots", "heels", "run")
OTHERS = ("beeper", "ratchet", "hammer", "pump")
LIKE = ("relay", "strobe")
"""What sounds as a discharge does: no ear tells it from one, and nothing here should claim to."""
SPARKS = ("snap", "cowl", "can")


def _band(low: float, high: float, many: int, chance: np.random.Generator, rate: int) -> Array:
    high = min(high, 0.45 * rate)
    sos = butter(2, [low, high], "bandpass", fs=rate, output="sos")
    return np.asarray(sosfilt(sos, chance.normal(size=many)))


def _dying(sound: Array, tau: float, rate: int, rising: float = 0.0003) -> Array:
    t = np.arange(sound.size) / rate
    return sound * np.exp(-t / tau) * (1 - np.exp(-t / rising))


def ramp(seconds: float, chance: np.random.Generator, rate: int = RATE) -> Array:
    """Return a ramp's noise, root mean square one: a hiss that falls with pitch, a running unit's notes, gusts."""
    many = int(seconds * rate)
    hertz = np.fft.rfftfreq(many, 1 / rate)
    tilt = chance.uniform(0.6, 1.3)
    shape = 1 / np.maximum(hertz, 60) ** tilt
    found = np.fft.irfft(shape * (chance.normal(size=hertz.size) + 1j * chance.normal(size=hertz.size)), many)
    found /= found.std()
    t = np.arange(many) / rate
    for _ in range(chance.integers(1, 5)):
        found += chance.uniform(0.05, 0.4) * np.sin(2 * np.pi * chance.uniform(150, 6000) * t + chance.uniform(0, 6))
    knots = np.exp(0.25 * chance.normal(size=max(4, int(seconds))))
    found *= np.interp(t, np.linspace(0, seconds, knots.size), knots)
    return np.asarray(found / found.std())


def spark(kind: str, chance: np.random.Generator, rate: int = RATE) -> Array:
    """Return one discharge."""
    many = int(0.06 * rate)
    if kind == "snap":  # in the open: a wave a tenth of a millisecond long, with what it excites about it
        t = np.arange(many) / rate
        width = chance.uniform(0.00005, 0.00009)
        wave = (t - 5 * width) / width * np.exp(-0.5 * ((t - 5 * width) / width) ** 2)
        return np.asarray(wave + 0.25 * _dying(_band(1500, 16_000, many, chance, rate), 0.0015, rate, 0.00005))
    if kind == "can":  # inside the combustor: its own notes answer, a few milliseconds
        found = _dying(_band(800, 12_000, many, chance, rate), 0.0012, rate, 0.00005)
        t = np.arange(many) / rate
        for hertz in (620, 1130, 1900, 3300, 5200):
            found += 0.3 * np.sin(2 * np.pi * hertz * t) * np.exp(-t / 0.004)
        return found
    # Through shut cowls and from some way off: little is left above 3 kHz.
    return _dying(_band(400, 3000, many, chance, rate), 0.004, rate)


def step(kind: str, left: bool, shoes: tuple[float, ...], chance: np.random.Generator, rate: int = RATE) -> Array:
    """Return one step, of the left or the right shoe. ``shoes``: of :func:`pair`."""
    many = int(0.3 * rate)
    clack, second, slap, thud = shoes[:4] if left else shoes[4:]
    t = np.arange(many) / rate
    hertz = clack * np.exp(0.06 * chance.normal())
    found = _dying(_band(0.5 * hertz, 2 * hertz, many, chance, rate), chance.uniform(0.002, 0.006), rate)
    found /= np.sqrt((found**2).sum())
    low = np.sin(2 * np.pi * thud * t) * np.exp(-t / 0.03)
    found += low / np.sqrt((low**2).sum()) * chance.uniform(1, 3)
    after = int((second + 0.006 * chance.normal()) * rate)
    sole = _dying(_band(300, 2500, many - after, chance, rate), 0.012, rate, 0.004)
    found[after:] += slap * sole / np.sqrt((sole**2).sum())
    if kind == "boots":
        scrape = _band(1500, 7000, many, chance, rate) * np.exp(-(((t - 0.09) / 0.03) ** 2))
        found += 0.4 * chance.random() * scrape / np.sqrt((scrape**2).sum())
    return found


def pair(kind: str, chance: np.random.Generator) -> tuple[float, ...]:
    """Return two shoes: of each the clack's note, when the sole follows, how loud, and the thud's note."""
    note = {"boots": (700, 1800), "heels": (1500, 4500), "run": (600, 1500)}[kind]
    first = float(np.exp(chance.uniform(*np.log(note))))
    found: tuple[float, ...] = ()
    for _ in range(2):
        found += (first * float(np.exp(0.12 * chance.normal())), float(chance.uniform(0.06, 0.16)),
                  float(chance.uniform(0.2, 0.9)), float(chance.uniform(80, 190)))  # fmt: skip
    return found


def other(kind: str, chance: np.random.Generator, rate: int = RATE) -> Array:
    """Return one of a thing that beats and is no step: a note, a pull at a ratchet, a blow, a stroke, a relay."""
    if kind == "beeper":
        t = np.arange(int(0.45 * rate)) / rate
        edge = np.minimum(1, np.minimum(t, t[-1] - t) / 0.004)
        return np.asarray(edge * np.sign(np.sin(2 * np.pi * 1250 * t)))
    if kind == "ratchet":
        many = int(0.3 * rate)
        found = np.zeros(many)
        for at in np.arange(0, 0.22, 0.03) + 0.002 * chance.normal(size=8):
            start = max(0, int(at * rate))
            found[start:] += _dying(_band(2000, 9000, many - start, chance, rate), 0.002, rate)
        return found
    if kind == "hammer":
        t = np.arange(int(0.4 * rate)) / rate
        found = np.zeros(t.size)
        for hertz in (870, 1430, 2610, 4100, 6700):
            found += np.sin(2 * np.pi * hertz * t) * np.exp(-t / 0.07)
        return found
    if kind == "pump":
        many = int(0.3 * rate)
        return _dying(_band(200, 3000, many, chance, rate), 0.08, rate, 0.03)
    if kind == "relay":  # two contacts, a few milliseconds apart
        many = int(0.05 * rate)
        found = _dying(_band(2000, 12_000, many, chance, rate), 0.001, rate, 0.00005)
        after = int(0.003 * rate)
        found[after:] += 0.5 * _dying(_band(2000, 12_000, many - after, chance, rate), 0.001, rate, 0.00005)
        return found
    return spark("snap", chance, rate)


def paced(seconds: float, period: float, jitter: float, chance: np.random.Generator) -> Array:
    """Return instants from one to the next with a scatter, as a share of the period."""
    steps = period * (1 + jitter * chance.normal(size=int(seconds / period) + 5))
    found = chance.uniform(0.2, 0.2 + period) + np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(found[found < seconds - 0.35])


def made(
    kind: str, snr_db: float, seconds: float, chance: np.random.Generator, rate: int = RATE, period: float = 0.0
) -> tuple[Array, Array]:
    """Return a recording with one thing in it that beats, with its instants: (samples, instants).

    ``kind``: of STEPS, OTHERS, LIKE, SPARKS, or "" for the ramp alone.
    """
    behind = 0.02 * ramp(seconds, chance, rate)
    floor = float((behind**2).mean()) * 0.01 * rate
    if not kind:
        return np.clip(behind, -1, 1), np.zeros(0)
    jitter = {"boots": 0.03, "heels": 0.025, "run": 0.03, "hammer": 0.06, "pump": 0.04, "ratchet": 0.05}.get(kind, 0.0)
    jitter = float(chance.uniform(0.01, 0.03)) if kind in SPARKS else jitter * float(chance.uniform(0.6, 1.6))
    tempo = {"run": (0.3, 0.4), "boots": (0.48, 0.62), "heels": (0.48, 0.6), "beeper": (0.9, 1.1)}.get(kind, (0.4, 1.2))
    instants = paced(seconds, period or float(chance.uniform(*tempo)), jitter, chance)
    shoes = pair(kind, chance) if kind in STEPS else ()
    # Somebody who walks comes nearer and goes off; what is fixed does not.
    middle, reach = chance.uniform(0, seconds), chance.uniform(8, 30)
    taps = [(0.0, 1.0), *((float(chance.uniform(0.003, 0.05)), float(chance.uniform(0.05, 0.35))) for _ in range(5))]
    found = behind.copy()
    for number, at in enumerate(instants):
        if kind in STEPS:
            one = step(kind, bool(number % 2), shoes, chance, rate)
            walk = -10 * np.log10(1 + ((at - middle) / reach) ** 2)
            beside = float(walk + 1.5 * chance.normal())
        else:
            one = spark(kind, chance, rate) if kind in SPARKS else other(kind, chance, rate)
            beside = float((0.7 if kind in (*SPARKS, *LIKE, "beeper") else 2) * chance.normal())
        size = np.sqrt((one[: int(0.01 * rate)] ** 2).sum())
        one = one / size * np.sqrt(floor * 10 ** ((snr_db + beside) / 10))
        for delay, gain in taps:
            start = round((at + delay) * rate)
            stop = min(found.size, start + one.size)
            if start < found.size:
                found[start:stop] += gain * one[: stop - start]
    return np.clip(found, -1, 1), instants

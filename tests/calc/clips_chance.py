"""Sounds all of one kind that come by chance or in runs, and exciters off their pace: a fourth generator.

It shares nothing with the count nor with the other three. What such sounds are is from memory (common practice, no
source): drops fall at random (Poisson), each of another size; whoever types goes in runs, key from key unlike; a relay
that chatters strikes several times within 60 ms and rests; a ratchet and a hammer go in runs at an even pace. Every
other recording keeps nothing above 7 to 15 kHz, and is cut off at the top here and there.

Signal to noise: middle energy of a sound's first 10 ms over the noise's in 10 ms, both above 500 Hz.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, iirpeak, lfilter, oaconvolve

Array = NDArray[np.float64]
Sounds = list[tuple[float, Array]]
Chance = np.random.Generator


def _unit(sound: Array) -> Array:
    return np.asarray(sound / np.sqrt((sound**2).sum() + 1e-30))


def _rings(rate: int, chance: Chance, notes: Array, dies: Array, seconds: float) -> Array:
    """Return notes in hertz that die away, each within so many seconds, with a burst at the onset."""
    t = np.arange(int(seconds * rate)) / rate
    found = 0.3 * chance.normal(size=t.size) * np.exp(-t / 0.001)
    for hertz, tau in zip(notes, dies, strict=True):
        if hertz < 0.45 * rate:
            found += chance.uniform(0.3, 1) * np.sin(2 * np.pi * hertz * t + chance.uniform(0, 6.28)) * np.exp(-t / tau)
    return _unit(found)


def _decibels(chance: Chance, deviation: float) -> float:
    return float(10 ** (chance.normal(0, deviation) / 20))


def rain(seconds: float, rate: int, chance: Chance) -> Sounds:
    each, dies, note, apart = chance.uniform(0.8, 8), chance.uniform(0.001, 0.012), chance.uniform(600, 5000), 0.15
    narrow, sizes = chance.uniform(0.7, 4), chance.uniform(1.5, 6)
    t = np.arange(int(0.06 * rate)) / rate
    found: Sounds = []
    for at in np.sort(chance.uniform(0.2, seconds - 0.3, chance.poisson(each * seconds))):
        over, under = iirpeak(note * np.exp(apart * chance.normal()), narrow, fs=rate)
        drop = lfilter(over, under, chance.normal(size=t.size) * np.exp(-t / dies))
        drop = drop + 0.05 * chance.normal(size=t.size) * np.exp(-t / 0.001)
        found.append((float(at), _unit(drop) * _decibels(chance, sizes)))
    return found


def _runs(
    seconds: float, many: tuple[int, int], rest: Callable[[], float], wait: Callable[[], float],
    one: Callable[[], Array], chance: Chance,
) -> Sounds:  # fmt: skip
    """Return runs of so many sounds, ``wait`` seconds from one to the next and ``rest`` more between runs."""
    found: Sounds = []
    at = 0.3
    while at < seconds - 0.6:
        for _ in range(int(chance.integers(*many))):
            found.append((at, one()))
            at += wait()
            if at > seconds - 0.4:
                break
        at += rest()
    return found


def typing(seconds: float, rate: int, chance: Chance) -> Sounds:
    notes, dies, apart = chance.uniform(900, 6000, 4), chance.uniform(0.001, 0.006, 4), chance.uniform(0.01, 0.15)

    def key() -> Array:
        unlike = notes * np.exp(apart * chance.normal(size=4))
        return _rings(rate, chance, unlike, dies, 0.04) * _decibels(chance, 2)

    return _runs(
        seconds, (3, 25), lambda: chance.uniform(0.2, 1.5), lambda: 0.09 + chance.gamma(2, 0.06), key, chance
    )  # fmt: skip


def chatter(seconds: float, rate: int, chance: Chance) -> Sounds:
    notes, dies = chance.uniform(1500, 10_000, 4), chance.uniform(0.0005, 0.003, 4)
    many = (1, 4) if chance.random() < 0.5 else (1, 20)
    return _runs(
        seconds, many, lambda: 0.05 + chance.exponential(0.5), lambda: chance.uniform(0.008, 0.06),
        lambda: _rings(rate, chance, notes, dies, 0.03) * _decibels(chance, 1.2), chance,
    )  # fmt: skip


def ratchet(seconds: float, rate: int, chance: Chance) -> Sounds:
    notes, dies = chance.uniform(1500, 9000, 4), chance.uniform(0.0008, 0.006, 4)
    fast = float(np.exp(chance.uniform(np.log(5), np.log(35))))
    return _runs(
        seconds, (2, 14), lambda: chance.uniform(0.25, 0.9), lambda: float(np.exp(0.12 * chance.normal())) / fast,
        lambda: _rings(rate, chance, notes, dies, 0.05) * _decibels(chance, 1.5), chance,
    )  # fmt: skip


def hammer(seconds: float, rate: int, chance: Chance) -> Sounds:
    notes, dies = chance.uniform(500, 7000, 6), chance.uniform(0.004, chance.choice([0.012, 0.05, 0.15]), 6)
    period = chance.uniform(0.25, 0.7)
    return _runs(
        seconds, (2, 12), lambda: chance.uniform(0.3, 2.5), lambda: period * float(np.exp(0.1 * chance.normal())),
        lambda: _rings(rate, chance, notes, dies, 0.3) * _decibels(chance, 2), chance,
    )  # fmt: skip


def discharges(instants: Array, rate: int, chance: Chance) -> Sounds:
    """Return discharges at instants in seconds: in part the same each time, 0.5 to 2.5 dB apart (a deviation)."""
    t = np.arange(int(0.03 * rate)) / rate
    dies, lean = np.exp(-t / chance.uniform(0.0003, 0.003)), chance.uniform(-0.7, 0.7)
    same = _unit(lfilter([1, -lean], [1, lean / 2], chance.normal(size=t.size)) * dies)
    own, apart = chance.uniform(0.1, 0.7), chance.uniform(0.5, 2.5)
    found: Sounds = []
    for at in instants:
        one = _unit(lfilter([1, -lean], [1, lean / 2], chance.normal(size=t.size)) * dies)
        found.append((float(at), (same + own * one) * _decibels(chance, apart)))
    return found


def uneven(seconds: float, rate: int, chance: Chance) -> Sounds:
    """Return discharges of an exciter that has lost its pace: waits of a gamma distribution, 0.35 to 0.6 apart."""
    mean, shape = 1 / float(np.exp(chance.uniform(np.log(0.8), np.log(5)))), chance.uniform(2.8, 8)
    waits = np.maximum(chance.gamma(shape, mean / shape, int(3 * seconds / mean) + 20), 0.06)
    at = 0.3 + np.cumsum(waits)
    return discharges(at[at < seconds - 0.2], rate, chance)


def gapped(seconds: float, rate: int, chance: Chance) -> Sounds:
    """Return discharges of an exciter scattered by 3 to 12 %, with 10 to 60 % of its beats missing."""
    period, scatter = 1 / float(np.exp(chance.uniform(np.log(0.8), np.log(6)))), chance.uniform(0.03, 0.12)
    at = 0.3 + np.cumsum(period * np.exp(scatter * chance.normal(size=int(2 * seconds / period) + 20)))
    at = at[at < seconds - 0.2]
    return discharges(at[chance.random(at.size) >= chance.uniform(0.1, 0.6)], rate, chance)


BY_CHANCE = {"rain": rain, "typing": typing, "chatter": chatter, "ratchet": ratchet, "hammer": hammer}
EXCITERS = {"uneven": uneven, "gapped": gapped}


def recorded(
    sounds: Sounds, snr_db: float, seconds: float, rate: int, chance: Chance, cut_hertz: float | None = None
) -> Array:
    """Return a recording of sounds, samples within -1 and 1. ``cut_hertz``: nothing above is kept, 0 for all."""
    many = int(seconds * rate)
    lean = chance.uniform(0.3, 0.97)
    behind = lfilter([1 - lean], [1, -lean], chance.normal(size=many))
    behind = behind / behind.std() + chance.uniform(0.05, 0.6) * chance.normal(size=many)
    t = np.arange(many) / rate
    note = chance.uniform(40, 400)
    for k in range(1, int(chance.integers(2, 9))):
        behind += chance.uniform(0, 0.3) * np.cos(2 * np.pi * note * k * t + chance.uniform(0, 6.28))
    dry = np.zeros(many)
    for at, sound in sounds:
        start = int(at * rate)
        stop = min(many, start + sound.size)
        dry[start:stop] += sound[: stop - start]
    size = int(1.2 * chance.uniform(0.03, 0.35) * rate)
    room = np.zeros(size)
    places = (chance.random(int(chance.integers(10, 250))) ** 1.5 * (size - 2)).astype(int) + 1
    room[places] += chance.choice([-1.0, 1.0], places.size) * np.exp(-4.6 * places / size)
    room *= chance.uniform(0.05, 0.5) / np.sqrt((room**2).sum())
    room[0] = 1
    wet = oaconvolve(dry, room)[:many]
    high = firwin(201, 500, fs=rate, pass_zero=False)
    floor = float((oaconvolve(behind, high, "same") ** 2).mean()) * 0.01 * rate
    clean = np.concatenate([[0], np.cumsum(oaconvolve(wet, high, "same") ** 2)])
    energy = [clean[min(many, int((at + 0.01) * rate))] - clean[int(at * rate)] for at, _ in sounds]
    found = behind + wet * np.sqrt(floor * 10 ** (snr_db / 10) / (np.median(energy) if energy else 1))
    cut = chance.choice([0.0, chance.uniform(7000, min(15_000, 0.45 * rate))]) if cut_hertz is None else cut_hertz
    if cut:
        found = oaconvolve(found, firwin(301, cut, fs=rate), "same")
    found = found / np.quantile(np.abs(found), chance.uniform(0.9997, 1)) * chance.uniform(0.1, 1)
    return np.asarray(np.round(np.clip(found, -1, 1) * 32_767) / 32_768)

"""Recorded starts made up a third way, with physics of neither of the other two: no interval was ever set on them.

Nothing is taken from isolate, nor from ``recorded.py`` but its record. The starter's pull ramps up, fuel's valve opens
at a steady rate before a meter of second order, the flame grows logistically from a first patch, the probe is a quick
bead with a slow one beside it, and noise has the heavier tails of Student's t with six degrees of freedom. Shapes and
figures are ours, of no real engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.calc.recorded import Recorded

HZ = 200
"""Steps a second."""
TAILS = 6
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Third(Recorded):
    """A start as recorded with, row by row, what was true of it, and how it was recorded."""

    true_speed: Floats | None = None
    true_volts: Floats | None = None
    ignition_s: float = 0.0
    rate_hz: float = 4.0


def lagged(values: Floats, lag_s: float) -> Floats:
    """Return values through a lag of first order, from nought."""
    kept = np.exp(-1 / HZ / lag_s)
    found: Floats = lfilter([1 - kept], [1, -kept], values)
    return found


def third(chance: np.random.Generator, lit: bool = True) -> Third:
    """Return a start with all that may differ drawn, recorded."""
    u = chance.uniform
    t = np.arange(70 * HZ) / HZ
    crank = u(9, 13)
    fuel = crank + u(12, 18)
    light = fuel + u(0.8, 7)
    cut = None if lit else fuel + u(10, 20)
    since = np.maximum(t - crank, 0)
    ramp, tau, top = u(0.05, 0.8), u(3, 7), u(18, 28)
    pulled = np.where(since < ramp, since * since / (2 * ramp), since - ramp / 2)
    speed = top * (1 - np.exp(-pulled / tau)) * (1 + 0.02 * np.sin(0.44 * since))
    burning = np.maximum(t - light, 0)
    flame = np.zeros(t.size)
    if lit:
        pace, patch = u(0.2, 0.9), u(0.01, 0.05)
        grown = 1 / (1 + (1 / patch - 1) * np.exp(-burning / pace))
        flame = np.where(t >= light, (grown - patch) / (1 - patch), 0)
    speed = speed + lagged(flame, 1.0) * u(0.8, 2) * burning * np.exp(-burning / 40)
    opens = u(0.02, 0.5)
    flow = np.clip((t - fuel) / opens, 0, 1) * u(60, 140) * (1 + u(-0.002, 0.004) * np.maximum(t - fuel, 0))
    if cut is not None:
        speed = speed * np.exp(-np.maximum(t - cut - 3, 0) / 12)
        flow = flow * (t < cut)
    metered = lagged(lagged(flow, u(0.03, 0.25)), u(0.03, 0.25))
    rest = float(chance.choice([0, 0, 40, 120]))
    gas = 15 + rest * np.exp(-np.cumsum(lagged(speed, 2.0)) / HZ * u(0.002, 0.006))
    gas = gas + u(-0.05, 0.08) * t + u(0, 0.15) * speed
    course = 1 + u(0, 0.3) * np.clip(burning / 12, 0, 1) - 0.15 * np.clip((burning - 15) / 20, 0, 1)
    hot = gas + u(280, 650) * flame * course - gas[0]
    probe, share = u(0.8, 4.5), u(0.6, 0.95)
    shown = gas[0] + share * lagged(hot, probe) + (1 - share) * lagged(hot, 3 * probe)
    sag = u(2, 8) * (0.35 + 0.65 * np.exp(-since / u(2, 6)))
    volts = u(24, 28) - np.where(t >= crank, sag, 0) + 0.1 * np.sin(t / 9)
    rate, rough = float(chance.choice([1, 2, 4, 8, 16])), float(chance.choice([0.3, 1, 3]))
    at = np.arange(u(0, 1 / rate), 69.5, 1 / rate)

    def read(course: Floats, sigma: float, steps: tuple[float, ...]) -> Floats:
        noise = chance.standard_t(TAILS, at.size) * ((TAILS - 2) / TAILS) ** 0.5
        step = float(chance.choice(steps))
        found: Floats = np.interp(at, t, course) + sigma * noise
        return np.round(found / step) * step if step else found

    ignition = fuel - u(0, 3)
    on = (at >= ignition) & (at < (cut or 1e9))
    zero = float(at[0])
    return Third(
        at - zero,
        read(speed, 0.06, (0, 0.1, 0.25)),
        read(metered, 0.6, (0, 0.5)),
        read(shown, rough, (0, 1, 2)),
        on.astype(float),
        read(volts, 0.08, (0, 0.1)),
        crank - zero,
        fuel - zero,
        light - zero if lit else None,
        float(np.interp(fuel, t, speed)),
        float(shown.max()),
        np.interp(at, t, speed),
        np.interp(at, t, volts),
        ignition - zero,
        rate,
    )

"""Recorded starts made up a second way, by somebody who did not write the first: torques, heat and a recorder's faults.

Nothing is taken from isolate nor from ``recorded.py``. The shaft has an inertia, a starter whose torque falls with
speed and a drag that grows with it; the flame spreads as a second-order element; heat left from the last run is blown
out the faster the shaft turns; the probe is a slow bead. What the recorder does to it is drawn too: rounding, readings
held over rows or written on every so many rows only, uneven times, sparks heard on the temperature's wires, rows that
are missing. Shapes and figures are ours, of no real engine.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, pi, sin

import numpy as np
from numpy.typing import NDArray

from tests.calc.recorded import Recorded

HZ = 200
"""Steps a second."""
KINDS = ("usual", "wet", "torching", "hung", "hot", "aborted")
"""How a start that lights may go."""
UNLIT = ("cold", "rest heat", "drift", "sun", "sparks heard", "dry")
"""What a start that does not light may have on its temperature."""
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Turn:
    """How a start goes. Seconds from the first step; torques in % a second of shaft speed, temperature in °C."""

    crank_s: float = 12.0
    fuel_s: float | None = 26.0
    light_s: float | None = 29.0
    ignition_s: float | None = 24.0
    cut_s: float | None = None
    ends_s: float = 75.0
    electric: bool = False
    valve_s: float = 0.6
    """How long the starter's air valve takes to open; an electric starter takes a hundredth of it."""
    torque: float = 7.0
    free: float = 34.0
    """Speed at which the starter's torque is gone."""
    drag: float = 0.0022
    cutout: float = 48.0
    flow: float = 85.0
    fill: float = 0.3
    """How much more flows while the manifold fills, as a share."""
    meter_s: float = 0.25
    outside_c: float = 12.0
    rest_c: float = 0.0
    wet_c: float = 3.0
    """How much cooler unlit fuel makes the probe."""
    flame_c: float = 480.0
    spread_s: float = 0.7
    damping: float = 0.9
    torch_s: float = 0.0
    """For so long only a small flame stands, before it goes round."""
    bead_s: float = 2.5
    hung_at: float | None = None
    idle: float = 60.0
    drift_c_s: float = 0.0
    sun_c: float = 0.0
    volts: float = 27.5


@dataclass(frozen=True)
class Kept:
    """How it is recorded."""

    rate_hz: float = 4.0
    noise_c: float = 1.0
    smear: float = 0.0
    step_c: float = 0.0
    step_speed: float = 0.0
    every: int = 1
    """The temperature is read at every so many rows; ``held``: and repeated between, else left out (NaN)."""
    held: bool = True
    jitter: float = 0.0
    """How uneven the rows are, as a share of a row; their times are true."""
    spark_c: float = 0.0
    lost: float = 0.0
    """Share of rows that are missing."""
    gap: tuple[float, float] | None = None


@dataclass(frozen=True)
class Made(Recorded):
    """A start as recorded with, row by row, what was true of it."""

    true_speed: Floats | None = None
    true_volts: Floats | None = None


def turned(run: Turn, kept: Kept, chance: np.random.Generator) -> Made:
    """Step a start through and record it. Its instants count from the first row."""
    n, dt = int(run.ends_s * HZ), 1 / HZ
    speeds, fuels, shown, bus = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    turn = meter = flame = flame_rate = 0.0
    left, bead, wet = run.rest_c, run.outside_c + run.rest_c, 0.0
    amps, ceiling = 0.0, run.hung_at or run.idle
    out = False
    since_lit = 0.0
    for i in range(n):
        at = i * dt
        on = run.fuel_s is not None and at >= run.fuel_s and not (run.cut_s is not None and at >= run.cut_s)
        lit = on and run.light_s is not None and at >= run.light_s
        speeds[i], fuels[i], shown[i] = turn, meter, bead
        # The starter: its valve opens as half a wave, its torque falls with speed.
        opens = run.valve_s * (0.01 if run.electric else 1.0)
        since = at - run.crank_s
        valve = 0.0 if since < 0 else 1.0 if since >= opens else (1 - sin(pi / 2 + pi * since / opens)) / 2
        out = out or turn > run.cutout or (run.cut_s is not None and at > run.cut_s + 6)
        starter = 0.0 if out else valve * run.torque * max(0.0, 1 - turn / run.free)
        burning = flame * run.torque * 1.1 * max(0.0, 1 - turn / ceiling) * (0.35 + turn / run.idle)
        turn = max(0.0, turn + dt * (starter + burning - run.drag * turn * turn * (1 - 0.85 * min(flame, 1.0))))
        amps += dt / 0.08 * ((starter / run.torque if run.electric else 0.0) - amps)
        bus[i] = run.volts - 7.5 * amps - (0.3 if not run.electric and valve else 0.0)
        # Fuel: the manifold fills, then what is scheduled, more as it runs up.
        wanted = 0.0
        if on and run.fuel_s is not None:
            wanted = run.flow * (1 + run.fill * exp(-(at - run.fuel_s) / 0.9)) * (1 + max(0.0, turn - 30) / 60)
        meter += dt / max(run.meter_s, dt) * (wanted - meter)
        # The flame spreads: a small one first where it torches.
        goal = 0.0
        if lit and run.light_s is not None:
            goal = 0.08 if at < run.light_s + run.torch_s else 1.0
            since_lit += dt
        flame_rate += dt * ((goal - flame) / run.spread_s**2 - 2 * run.damping / run.spread_s * flame_rate)
        flame = max(0.0, flame + dt * flame_rate)
        left -= dt * left * (0.0004 + turn * 0.006)
        wet += dt / 1.5 * ((run.wet_c if on and not lit else 0.0) - wet)
        # Hottest before the air comes: it cools again as the shaft runs up.
        burn = run.flame_c * flame * (1 + 0.35 * (1 - exp(-since_lit / 5)) - 0.55 * max(0.0, turn - 30) / 60)
        drawn = run.drift_c_s * at + (run.sun_c * (1 - exp(-max(0.0, since) / 8)))
        bead += dt / run.bead_s * (run.outside_c + left - wet + burn + drawn - bead)
    step = 1 / kept.rate_hz
    at = np.arange(float(chance.uniform(0, step)), run.ends_s - 2 * step, step)
    at = at + kept.jitter * step * chance.uniform(-0.5, 0.5, at.size)
    at = at[at >= 0]
    pick = np.minimum((at * HZ).astype(int), n - 1)
    white = chance.normal(size=at.size)
    for i in range(1, at.size if kept.smear else 0):
        white[i] = kept.smear * white[i - 1] + (1 - kept.smear**2) ** 0.5 * white[i]
    hot = np.interp(at * HZ, np.arange(n), shown) + kept.noise_c * white
    commanded = np.zeros(at.size)
    if run.ignition_s is not None:
        commanded = ((at >= run.ignition_s) & ~((run.cut_s is not None) & (at >= (run.cut_s or 0)))).astype(float)
        commanded[at > run.ignition_s + 25] = 0
    if kept.spark_c:
        heard = (chance.random(at.size) < 0.25) & (commanded > 0)
        hot = hot + heard * kept.spark_c * chance.normal(size=at.size)
    if kept.step_c:
        hot = np.round(hot / kept.step_c) * kept.step_c
    if kept.every > 1:
        phase = int(chance.integers(kept.every))
        read = np.maximum((np.arange(at.size) - phase) // kept.every * kept.every + phase, 0)
        hot = hot[read] if kept.held else np.where(np.arange(at.size) % kept.every == phase, hot, np.nan)
    fast = np.interp(at * HZ, np.arange(n), speeds)
    speed = fast + 0.06 * chance.normal(size=at.size)
    if kept.step_speed:
        speed = np.round(speed / kept.step_speed) * kept.step_speed
    fuel = np.interp(at * HZ, np.arange(n), fuels) + 0.7 * chance.normal(size=at.size)
    volts = bus[pick] + 0.08 * chance.normal(size=at.size)
    there = chance.random(at.size) >= kept.lost
    if kept.gap is not None:
        there &= (at < kept.gap[0]) | (at > kept.gap[1])
    zero = float(at[there][0])

    def since_zero(instant: float | None) -> float | None:
        return None if instant is None else float(instant) - zero

    return Made(
        at[there] - zero,
        speed[there],
        fuel[there],
        hot[there],
        commanded[there],
        volts[there],
        run.crank_s - zero,
        since_zero(run.fuel_s),
        since_zero(run.light_s if run.fuel_s is not None else None),
        None if run.fuel_s is None else float(speeds[int(run.fuel_s * HZ)]),
        float(shown.max()),
        fast[there],
        bus[pick][there],
    )


def drawn(chance: np.random.Generator, kind: str) -> tuple[Turn, Kept]:
    """Return a start of a kind (KINDS or UNLIT) and its recorder with all that may differ drawn."""
    fuel = float(chance.uniform(24, 31))
    electric = bool(chance.random() < 0.4)
    waits = float(chance.uniform(8, 15) if kind == "wet" else chance.uniform(0.8, 6))
    run = Turn(
        crank_s=float(chance.uniform(9, 14)),
        fuel_s=fuel,
        light_s=fuel + waits,
        ignition_s=fuel - float(chance.uniform(-0.5, 4)),
        ends_s=80.0,
        electric=electric,
        valve_s=float(chance.uniform(0.2, 1.6)),
        torque=float(chance.uniform(4, 11)),
        free=float(chance.uniform(24, 40)),
        drag=float(chance.uniform(0.0008, 0.004)),
        flow=float(chance.uniform(55, 140)),
        fill=float(chance.choice([0.0, 0.2, 0.5])),
        meter_s=float(chance.uniform(0.05, 0.6)),
        outside_c=float(chance.uniform(-15, 35)),
        rest_c=float(chance.choice([0.0, 20.0, 60.0, 140.0])),
        wet_c=float(chance.uniform(0, 6)),
        flame_c=float(chance.uniform(280, 620)),
        spread_s=float(chance.uniform(0.15, 1.2)),
        damping=float(chance.uniform(0.6, 1.3)),
        bead_s=float(chance.uniform(1, 6)),
    )
    if kind == "torching":
        run = replace(run, torch_s=float(chance.uniform(1, 4)))
    elif kind == "hung":
        run = replace(run, hung_at=float(chance.uniform(36, 42)), ends_s=100.0)
    elif kind == "hot":
        run = replace(run, flame_c=float(chance.uniform(750, 900)), torque=4.0)
    elif kind == "aborted":
        run = replace(run, cut_s=fuel + waits + float(chance.uniform(3, 8)))
    elif kind in UNLIT:
        run = replace(run, light_s=None, cut_s=fuel + float(chance.uniform(10, 22)), ends_s=75.0)
        if kind == "cold":
            run = replace(run, rest_c=0.0)
        elif kind == "rest heat":
            run = replace(run, rest_c=float(chance.uniform(60, 250)))
        elif kind == "drift":
            run = replace(run, drift_c_s=float(chance.uniform(-0.3, 0.5)))
        elif kind == "sun":
            run = replace(run, sun_c=float(chance.uniform(5, 30)), rest_c=0.0)
        elif kind == "dry":
            run = replace(run, fuel_s=None, ignition_s=None)
    every = int(chance.choice([1, 1, 1, 2, 4]))
    kept = Kept(
        rate_hz=float(chance.choice([1.0, 2.0, 4.0, 8.0, 16.0])) if every == 1 else float(chance.choice([4.0, 8.0])),
        noise_c=float(chance.choice([0.3, 1.0, 2.0, 5.0])),
        smear=float(chance.choice([0.0, 0.0, 0.4])),
        step_c=float(chance.choice([0.0, 1.0, 4.0])),
        step_speed=float(chance.choice([0.0, 0.1, 0.5])),
        every=every,
        held=bool(chance.random() < 0.5),
        jitter=float(chance.choice([0.0, 0.0, 0.6])),
        spark_c=float(chance.choice([0.0, 0.0, 6.0])) if kind != "sparks heard" else float(chance.uniform(8, 30)),
        lost=float(chance.choice([0.0, 0.0, 0.05])),
    )
    return run, kept

"""Recorded starts made up from known instants, apart from what reads them: stepped through in time, then sampled.

Nothing here is taken from isolate: speed, fuel and temperature are stepped on at 400 steps a second by their own
equations, and the recorder then samples, adds noise and rounds. Shapes and figures are ours, of no real engine.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

STEPS = 400
"""Steps a second."""
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Recorded:
    """A start as recorded; ``time_s`` from its first row on."""

    time_s: Floats
    speed: Floats
    fuel: Floats
    temperature: Floats
    ignition: Floats
    volts: Floats
    crank_s: float
    fuel_s: float | None
    light_s: float | None
    speed_at_fuel: float | None = None
    peak: float = 0.0


@dataclass(frozen=True)
class Run:
    """How a start goes. Seconds from the record's first row; speed in %, flow in kg/h, temperature in °C."""

    crank_s: float = 12.0
    fuel_s: float | None = 26.0
    light_s: float | None = 29.0
    ignition_s: float | None = 24.0
    cut_s: float | None = None
    """When fuel is shut off again."""
    ends_s: float = 90.0
    crank_speed: float = 24.0
    crank_lag_s: float = 5.0
    starter_lag_s: float = 0.2
    """How long a starter takes to pull."""
    flow: float = 90.0
    flow_lag_s: float = 0.3
    rest_c: float = 18.0
    residual_c: float = 0.0
    """Hotter than outside at first, and blown out while it cranks."""
    flame_c: float = 520.0
    flame_lag_s: float = 0.4
    probe_lag_s: float = 2.0
    idle: float = 62.0
    pull: float = 1.6
    """% a second that a light adds at first."""
    hung_at: float | None = None
    volts: float = 27.5
    dip: float = 6.0
    rate_hz: float = 4.0
    temperature_noise: float = 1.0
    speed_noise: float = 0.05
    flow_noise: float = 0.6
    volts_noise: float = 0.08
    smear: float = 0.0
    """How much of the noise of a row is that of the row before."""
    temperature_step: float = 0.0
    speed_step: float = 0.0


def recorded(run: Run, chance: np.random.Generator) -> Recorded:
    """Step a start through and record it; its instants are put on the steps."""
    dt = 1 / STEPS
    for name in ("crank_s", "fuel_s", "light_s", "cut_s"):
        if getattr(run, name) is not None:
            run = replace(run, **{name: ceil(getattr(run, name) * STEPS) * dt})
    n = int(run.ends_s * STEPS)
    phase = float(np.floor(chance.uniform(0, 1 / run.rate_hz) * STEPS) / STEPS)
    speed = np.zeros(n)
    fuel = np.zeros(n)
    shown = np.zeros(n)
    gas = shown_now = run.rest_c + run.residual_c
    turn = flow = flame = pull = 0.0
    ceiling = run.idle if run.hung_at is None else run.hung_at
    starter = True
    # Looked up once: the loop runs tens of thousands of times.
    fuel_s, light_s, cut_s, crank_s = run.fuel_s, run.light_s, run.cut_s, run.crank_s
    to_flow, to_flame = dt / max(run.flow_lag_s, dt), dt / max(run.flame_lag_s, dt)
    to_pull, to_probe = dt / max(run.starter_lag_s, dt), dt / max(run.probe_lag_s, dt)
    top, lag_s, rest, burns, gains = run.crank_speed, run.crank_lag_s, run.rest_c, run.flame_c, run.pull
    for i in range(n):
        at = i * dt
        speed[i], fuel[i], shown[i] = turn, flow, shown_now
        on = fuel_s is not None and at > fuel_s - dt / 2 and (cut_s is None or at < cut_s)
        lit = on and light_s is not None and at > light_s - dt / 2
        flow += to_flow * ((run.flow if on else 0.0) - flow)
        flame += to_flame * ((1.0 if lit else 0.0) - flame)
        if cut_s is not None and at > cut_s + 3:
            starter = False
        if at > crank_s - dt / 2:
            pull += to_pull * (1 - pull)
            drive = pull * (top - turn) / lag_s if starter and turn < top else 0.0
            if not starter and not lit:
                drive = -turn / 12
            turn += dt * (drive + gains * flame * max(0.0, 1 - turn / ceiling) * 2)
        blown = (rest - gas) / 15 if at >= crank_s else 0.0
        gas += dt * blown
        hot = gas + burns * flame * (1 + 0.2 * min(1.0, max(0.0, at - (light_s or 0)) / 15))
        shown_now += to_probe * (hot - shown_now)
    at = np.arange(phase, run.ends_s - 2 * dt, 1 / run.rate_hz)
    pick = np.round(at * STEPS).astype(int)
    since = at - run.crank_s
    volts = run.volts - np.where(since >= 0, run.dip * (0.4 + 0.6 * np.exp(-np.maximum(since, 0) / 4)), 0.0)

    def noisy(values: Floats, sigma: float, step: float = 0.0) -> Floats:
        noise = chance.normal(size=values.size)
        for i in range(1, noise.size if run.smear else 0):
            noise[i] = run.smear * noise[i - 1] + np.sqrt(1 - run.smear**2) * noise[i]
        found = values + sigma * noise
        return np.round(found / step) * step if step else found

    ignition = np.zeros(at.size)
    if run.ignition_s is not None:
        ignition = ((at >= run.ignition_s) & (at < (run.cut_s or 1e9))).astype(float)
    lit_s = run.light_s if run.fuel_s is not None else None
    return Recorded(
        at - at[0],
        noisy(speed[pick], run.speed_noise, run.speed_step),
        noisy(fuel[pick], run.flow_noise),
        noisy(shown[pick], run.temperature_noise, run.temperature_step),
        ignition,
        noisy(volts, run.volts_noise),
        run.crank_s - at[0],
        None if run.fuel_s is None else run.fuel_s - at[0],
        None if lit_s is None else lit_s - at[0],
        None if run.fuel_s is None else float(speed[int(run.fuel_s * STEPS)]),
        float(shown.max()),
    )


def written(
    made: Recorded,
    path: Path,
    header: str = "Time [s],N2 [%],FF [kg/h],EGT [°C],IGN CMD,IGN CH,DC BUS [V]",
    ch: str = "A",
) -> Path:
    """Write a start as a table in the order time, speed, fuel, temperature, ignition, channel, volts."""
    rows = [header]
    for t, s, f, c, i, v in zip(
        made.time_s, made.speed, made.fuel, made.temperature, made.ignition, made.volts, strict=True
    ):
        rows.append(f"{t:.4f},{s:.3f},{f:.2f},{c:.2f},{i:.0f},{ch if i else '-'},{v:.3f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path

"""How well a recorded start is read, on starts made up with known instants. Run: python -m tests.bench.start_log

``light-off``: error of its instant (mean, root of the mean square) and the share of intervals that hold it, by rows a
second and noise of the temperature; starts with lags, rest heat and rounding drawn at random.
``intervals``: the share that hold the truth for each interval that is stated, over all of these, wanted 93 to 97 %, and
how many binomial standard deviations it is from 95 %.
``smeared``: the same where the noise of a row takes after the one before (0.6), at 8 rows a second.
``second``: the same intervals on starts of another generator (``tests/calc/recorded_too.py``: torques, a flame that
spreads, a recorder with rounding, held and missing readings, sparks on its wires), by kind of start, and lights said of
unlit ones.
``third``: the same on starts of a third generator (``tests/calc/recorded_third.py``), whose shapes are not among those
that are tried and on which nothing was ever set, and lights said of unlit ones.
``unlit``: light-offs said of starts that did not light, with rest heat, noise and drift.
``rows``: seconds to read a log of a million rows, and to find the one start in it.

The truths come from ``recorded.py``, ``recorded_too.py`` and ``recorded_third.py`` in ``tests/calc``, which share
nothing with what is measured here. Intervals were set on other draws of the first two; ``--seed`` draws starts anew.
``-n``: starts a cell.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import defaultdict
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from isolate.calc import recorder
from isolate.calc.recorder import Log
from isolate.calc.start_find import Facts, all_starts, facts, flow_after, peak, settled
from isolate.calc.start_judge import FLOW_S
from tests.bench.figures import quiet, table
from tests.calc import recorded_third, recorded_too
from tests.calc.recorded import Recorded, Run, recorded

RATES = (1.0, 2.0, 4.0, 8.0, 16.0)
NOISES = (0.3, 1.0, 3.0, 8.0)
ROWS = 1_000_000


def as_log(made: Recorded) -> Log:
    """Return a start as the reader gives it, without a file."""
    values = {"speed": made.speed, "fuel": made.fuel, "temperature": made.temperature, "volts": made.volts}
    return Log(
        (),
        (),
        made.time_s,
        values,
        {"ignition": made.ignition.astype(np.int64)},
        {"ignition": ("0", "1")},
        float(np.median(np.diff(made.time_s))),
    )


def drawn(chance: np.random.Generator, rate: float, noise: float, lit: bool = True, smear: float = 0.0) -> Run:
    """Return a start with all that may differ drawn."""
    fuel = float(chance.uniform(24, 30))
    return Run(
        crank_s=float(chance.uniform(10, 14)),
        fuel_s=fuel,
        light_s=fuel + float(chance.uniform(1.0, 7.0)) if lit else None,
        ignition_s=fuel - 2,
        cut_s=None if lit else fuel + float(chance.uniform(10, 20)),
        ends_s=60,
        crank_speed=float(chance.uniform(18, 28)),
        crank_lag_s=float(chance.uniform(3, 7)),
        starter_lag_s=float(chance.uniform(0.05, 0.8)),
        flow=float(chance.uniform(60, 130)),
        flow_lag_s=float(chance.uniform(0.05, 0.6)),
        residual_c=float(chance.choice([0.0, 0.0, 30.0, 90.0])),
        flame_c=float(chance.uniform(250, 600)),
        flame_lag_s=float(chance.uniform(0.1, 1.2)),
        probe_lag_s=float(chance.uniform(0.8, 5.0)),
        rate_hz=rate,
        temperature_noise=noise,
        temperature_step=float(chance.choice([0.0, 1.0])),
        speed_step=float(chance.choice([0.0, 0.1])),
        smear=smear,
    )


def read(made: Recorded) -> tuple[Log, Facts] | None:
    """Return what is said of a start, None where none is found."""
    log = as_log(made)
    spans = all_starts(log)
    return (log, settled(facts(log, 1, spans[0]), "°C")) if len(spans) == 1 else None


def held_by(run: Run, made: Recorded, bare: Recorded, log: Log, one: Facts) -> dict[str, tuple[float, bool]]:
    """Return for each interval how far off its middle was, and whether it held the truth."""
    found = {}
    top, rising = peak(log, one)
    took = one.to_light()
    assert made.fuel_s is not None and made.light_s is not None
    truths = {
        "cranking begins": (one.crank, made.crank_s),
        "fuel on": (one.fuel, made.fuel_s),
        "light-off": (one.light, made.light_s),
        "time to light": (took, made.light_s - made.fuel_s),
        "speed at fuel on": (one.speed_at_fuel, made.speed_at_fuel),
        "fuel flow": (flow_after(log, one, *FLOW_S), run.flow if run.flow_lag_s < 0.25 else None),
        "highest temperature": (None if rising else top, made.peak),
        "volts at rest": (one.volts_rest, run.volts),
    }
    for name, (reading, truth) in truths.items():
        if reading is not None and truth is not None:
            found[name] = (reading.value - truth, bool(reading.low <= truth <= reading.high))
    means = {
        "highest speed cranking": (one.crank_speed, bare.speed),
        "speed over the last 10 s": (one.stalled, bare.speed),
        "lowest second of volts": (one.volts_least, bare.volts),
        "volts once commanded": (one.volts_ignition, bare.volts),
    }
    for name, (mean, course) in means.items():
        if mean is not None:
            here = (made.time_s >= mean.first_s - 1e-9) & (made.time_s <= mean.last_s + 1e-9)
            truth = float(course[here].mean())
            found[name] = (mean.value - truth, bool(mean.low <= truth <= mean.high))
    commanded = one.commands[0][0] if one.commands else None
    if commanded is not None and run.ignition_s is not None:
        truth = run.ignition_s - run.crank_s + made.crank_s
        found["ignition commanded"] = (commanded.value - truth, bool(commanded.low <= truth <= commanded.high))
    return found


def cell(
    rate: float, noise: float, count: int, smear: float = 0.0, seed: int = 0
) -> tuple[int, int, Mapping[str, list[tuple[float, bool]]]]:
    """Return how many starts were read, how many lights were missed, and for each interval its errors."""
    found: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    missed = 0
    for i in range(count):
        seeds = [seed, i, int(rate * 10), int(noise * 10), int(smear * 10)]
        run = drawn(np.random.default_rng(seeds), rate, noise, smear=smear)
        made = recorded(run, np.random.default_rng([*seeds, 1]))
        # The same start at the same instants, with nothing between it and its record.
        still = replace(run, temperature_noise=0, speed_noise=0, flow_noise=0, volts_noise=0)
        still = replace(still, temperature_step=0, speed_step=0)
        bare = recorded(still, np.random.default_rng([*seeds, 1]))
        said = read(made)
        if said is None or said[1].light is None:
            missed += 1
            if said is None:
                continue
        for name, one in held_by(run, made, bare, *said).items():
            found[name].append(one)
    return count, missed, dict(found)


def unlit(rate: float, noise: float, count: int) -> tuple[int, int, int]:
    """Return starts that did not light, light-offs said of them, and how often it was said not to be sure."""
    chance = np.random.default_rng([7, int(rate * 10), int(noise * 10)])
    wrong = unsure = 0
    for _ in range(count):
        run = drawn(chance, rate, noise, lit=False, smear=float(chance.choice([0.0, 0.5])))
        made = recorded(run, chance)
        # Wet fuel cools the probe, rest heat drifts past it.
        drift = float(chance.uniform(-8, 15)) * np.clip((made.time_s - 20) / 20, 0, 1)
        made = Recorded(**{**vars(made), "temperature": made.temperature + drift})
        said = read(made)
        if said is not None:
            wrong += said[1].light is not None
            unsure += said[1].doubtful
    return count, wrong, unsure


def cell_too(kind: str, count: int, seed: int = 5000) -> tuple[int, int, int, Mapping[str, list[tuple[float, bool]]]]:
    """Return for a kind of the second generator's starts: how many, how many lights were missed, how many were said of
    starts that did not light, and for each interval its errors."""
    found: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    missed = wrong = 0
    for i in range(count):
        chance = np.random.default_rng([seed + i, *kind.encode()])
        run, kept = recorded_too.drawn(chance, kind)
        made = recorded_too.turned(run, kept, chance)
        said = read(made)
        if said is None:
            missed += run.light_s is not None
            continue
        log, one = said
        missed += run.light_s is not None and one.light is None
        wrong += run.light_s is None and one.light is not None
        commanded = None if run.ignition_s is None else run.ignition_s - run.crank_s + made.crank_s
        _held(found, log, one, made, made.true_speed, made.true_volts, commanded)
    return count, missed, wrong, dict(found)


def cell_third(first: int, count: int, seed: int) -> tuple[int, int, int, Mapping[str, list[tuple[float, bool]]]]:
    """Return the same as :func:`cell_too` of starts of the third generator; one in six of them does not light."""
    found: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    missed = wrong = 0
    for i in range(first, first + count):
        made = recorded_third.third(np.random.default_rng([seed, i]), lit=i % 6 != 0)
        said = read(made)
        if said is None:
            missed += made.light_s is not None
            continue
        missed += made.light_s is not None and said[1].light is None
        wrong += made.light_s is None and said[1].light is not None
        _held(found, *said, made, made.true_speed, made.true_volts, made.ignition_s)
    return count, missed, wrong, dict(found)


def _held(
    found: dict[str, list[tuple[float, bool]]],
    log: Log,
    one: Facts,
    made: Recorded,
    speed: recorded_too.Floats | None,
    volts: recorded_too.Floats | None,
    commanded_s: float | None,
) -> None:
    """Add for each interval how far off its middle was, and whether it held the truth."""
    top, rising = peak(log, one)
    truths = {
        "cranking begins": (one.crank, made.crank_s),
        "fuel on": (one.fuel, made.fuel_s),
        "light-off": (one.light, made.light_s),
        "speed at fuel on": (one.speed_at_fuel, made.speed_at_fuel),
        "highest temperature": (None if rising or made.light_s is None else top, made.peak),
    }
    if made.light_s is not None and made.fuel_s is not None:
        truths["time to light"] = (one.to_light(), made.light_s - made.fuel_s)
    if one.commands and commanded_s is not None:
        truths["ignition commanded"] = (one.commands[0][0], commanded_s)
    for name, mean, course in (
        ("highest speed cranking", one.crank_speed, speed),
        ("speed over the last 10 s", one.stalled, speed),
        ("volts at rest", one.volts_rest, volts),
        ("lowest second of volts", one.volts_least, volts),
        ("volts once commanded", one.volts_ignition, volts),
    ):
        if mean is not None and course is not None:
            here = (made.time_s >= mean.first_s - 1e-9) & (made.time_s <= mean.last_s + 1e-9)
            truths[name] = (mean, float(course[here].mean()))
    for name, (reading, truth) in truths.items():
        if reading is not None and truth is not None:
            found[name].append((float(reading.value - truth), bool(reading.low <= truth <= reading.high)))


def _second(pool: ProcessPoolExecutor, count: int, seed: int) -> None:
    kinds = (*recorded_too.KINDS, *recorded_too.UNLIT)
    done = list(pool.map(cell_too, kinds, [count] * len(kinds), [seed] * len(kinds)))
    print()
    rows = []
    every: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    for kind, (_, missed, wrong, found) in zip(kinds, done, strict=True):
        lights = found.get("light-off", []) if kind in recorded_too.KINDS else []
        errors = np.array([e for e, _ in lights])
        held = f"{np.mean([h for _, h in lights]):.1%}" if lights else "-"
        bias = f"{errors.mean():+.3f} s" if lights else "-"
        rmse = f"{np.sqrt((errors**2).mean()):.3f} s" if lights else "-"
        rows.append((kind, count, missed, wrong, bias, rmse, held))
        for name, some in found.items():
            # A small flame is told apart only where it shows; its row says how often.
            if not (kind == "torching" and name in ("light-off", "time to light")):
                every[name] += some
    table(("second: light-off", "starts", "missed", "said, unlit", "bias", "rmse", "held"), rows)
    print()
    _intervals(every)


def long_log(folder: Path, rows: int, clock: bool) -> tuple[float, float, float, int, int]:
    """Write a log with one start in it; return seconds to read it, of those at work, to look; its rows and bytes."""
    made = recorded(Run(rate_hz=16, ends_s=90), np.random.default_rng(1))
    file = folder / "long.csv"
    step = 1 / 16
    lines = ["Time,N2 [%],FF [kg/h],EGT [°C],IGN CMD,IGN CH,DC BUS [V]"]
    n = made.time_s.size
    for i in range(rows):
        t = i * step
        stamp = f"{int(t // 3600) % 24:02}:{int(t // 60) % 60:02}:{t % 60:06.3f}" if clock else f"{t:.4f}"
        if i < n:
            on = made.ignition[i]
            lines.append(
                f"{stamp},{made.speed[i]:.2f},{made.fuel[i]:.1f},{made.temperature[i]:.1f},{on:.0f},A,{made.volts[i]:.2f}"
            )
        else:
            lines.append(
                f"{stamp},{82 + i % 7 / 10:.2f},{410 + i % 11:.1f},{655 + i % 13 / 4:.1f},0,A,{28.1 + i % 3 / 10:.2f}"
            )
    file.write_text("\n".join(lines), encoding="utf-8")
    began, busy = time.perf_counter(), time.process_time()
    log = recorder.read_file(str(file))
    read_s, busy_s = time.perf_counter() - began, time.process_time() - busy
    began = time.perf_counter()
    spans = all_starts(log)
    for i, span in enumerate(spans):
        facts(log, i, span)
    return read_s, busy_s, time.perf_counter() - began, log.time_s.size, file.stat().st_size


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("-n", type=int, default=100, help="starts a cell")
    parser.add_argument("--seed", type=int, default=1, help="another one draws other starts")
    parser.add_argument("--rows", type=int, default=ROWS)
    parser.add_argument("--only", choices=("light", "second", "third", "smeared", "unlit", "rows"))
    told = parser.parse_args()
    print(quiet())
    with ProcessPoolExecutor(2) as pool:
        if told.only in (None, "light"):
            _light(pool, told.n, told.seed)
        if told.only in (None, "second"):
            _second(pool, told.n, told.seed + 5000)
        if told.only in (None, "third"):
            parts = [(i * told.n, told.n, told.seed + 9000) for i in range(4)]
            done = list(pool.map(cell_third, *zip(*parts, strict=True)))
            every: dict[str, list[tuple[float, bool]]] = defaultdict(list)
            for _, _, _, found in done:
                for name, some in found.items():
                    every[name] += some
            missed, wrong = sum(d[1] for d in done), sum(d[2] for d in done)
            print(f"\nthird, {4 * told.n} starts, {missed} lights missed, {wrong} said of unlit ones")
            _intervals(every)
        if told.only in (None, "smeared"):
            count, missed, found = cell(8.0, 2.0, told.n, 0.6)
            print(f"\nsmeared, 8 rows/s, noise 2 °C, {count} starts, {missed} missed")
            _intervals(found)
        if told.only in (None, "unlit"):
            cells = [(r, s) for r in (1.0, 4.0, 16.0) for s in (1.0, 8.0)]
            done = list(pool.map(unlit, *zip(*((r, s, told.n) for r, s in cells), strict=True)))
            print()
            table(
                ("unlit: rows/s, noise", "starts", "said lit", "not sure"),
                [(f"{r:g}, {s:g} °C", *d) for (r, s), d in zip(cells, done, strict=True)],
            )
    if told.only in (None, "rows"):
        print()
        with tempfile.TemporaryDirectory() as folder:
            for clock in (False, True):
                read_s, busy_s, look_s, rows, size = long_log(Path(folder), told.rows, clock)
                print(
                    f"{rows:,} rows, {size / 1e6:.0f} MB, time as {'a clock' if clock else 'seconds'}: read in "
                    f"{read_s:.2f} s ({busy_s:.2f} s of processor), start found and measured in {look_s:.2f} s"
                )


def _light(pool: ProcessPoolExecutor, count: int, seed: int) -> None:
    cells = [(r, s) for r in RATES for s in NOISES]
    done = list(pool.map(cell, *zip(*((r, s, count, 0.0, seed) for r, s in cells), strict=True)))
    rows = []
    every: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    for (rate, noise), (_, missed, found) in zip(cells, done, strict=True):
        errors = np.array([e for e, _ in found["light-off"]])
        held = np.mean([h for _, h in found["light-off"]])
        rows.append(
            (
                f"{rate:g}, {noise:g} °C",
                missed,
                f"{errors.mean():+.3f} s",
                f"{np.sqrt((errors**2).mean()):.3f} s",
                f"{np.abs(errors).max():.2f} s",
                f"{held:.1%}",
            )
        )
        for name, some in found.items():
            every[name] += some
    table(("light-off: rows/s, noise", "missed", "bias", "rmse", "worst", "held"), rows)
    print()
    _intervals(every)


def _intervals(found: Mapping[str, list[tuple[float, bool]]]) -> None:
    rows = []
    for name, some in found.items():
        held = np.mean([h for _, h in some])
        errors = np.array([e for e, _ in some])
        off = (held - 0.95) / np.sqrt(0.95 * 0.05 / len(some))
        rows.append((name, len(some), f"{errors.mean():+.3f}", f"{errors.std():.3f}", f"{held:.1%}", f"{off:+.1f}"))
    table(("intervals", "starts", "bias", "spread", "held", "sd from 95%"), rows)


if __name__ == "__main__":
    main()

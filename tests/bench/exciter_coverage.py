"""How often the intervals of a counted spark rate, of two beside each other, of energy and of a gap hold the truth.

    python -m tests.bench.exciter_coverage [--trains 4000] [--seed 1]

A train: a rate drawn evenly from 0.5 to 4 a second, its phase drawn evenly; counted over a time that the watch shows to
0.3 s. The counts are taken from the instants of the sparks, one by one. Energy, expected rate and gap: capacitor,
voltage, supply, pressure, gap and what is assumed about them drawn evenly within what is stated, read as their middle.
"""

from __future__ import annotations

import argparse

import numpy as np

from isolate.calc import exciter, gap
from isolate.calc.given import read
from isolate.calc.shape import Calculation

OFF = 0.3


def heard(rate: float, seconds: float, watch: str, rng: np.random.Generator) -> tuple[int, float]:
    """Return what is counted of a train, and how long the watch ran in truth."""
    first = rng.uniform(0, 1 / rate) if watch == exciter.ANY else 0.0
    sparks = first + np.arange(int(seconds * rate) + 3) / rate
    if watch == exciter.BETWEEN:
        last = max(1, int(seconds * rate))
        return last, float(sparks[last])
    inside = sparks < seconds if watch == exciter.ANY else (sparks > 0) & (sparks < seconds)
    return int(inside.sum()), seconds


def counts(watch: str, seconds: float, trains: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """Return the shares held of rate and of ratio, and how wide the rate's interval is on average, of the rate."""
    alone = beside = 0
    wide = 0.0
    for _ in range(trains):
        rates = rng.uniform(0.5, 4, 2)
        found = []
        for i, rate in enumerate(rates):
            count, ran = heard(float(rate), seconds, watch, rng)
            found.append(exciter.counted(count, ran + rng.uniform(-OFF, OFF), OFF, watch, i))
        alone += found[0].low <= rates[0] <= found[0].high
        wide += (found[0].high - found[0].low) / rates[0]
        draws = found[0].draws / np.maximum(found[1].draws, 1e-9)
        low, high = np.quantile(draws, [0.025, 0.975])
        beside += low <= rates[0] / rates[1] <= high
    return 100 * alone / trains, 100 * beside / trains, 100 * wide / trains


def figures(calculation: Calculation, **told: str) -> dict[str, tuple[float, float]]:
    found = calculation.work(read(calculation, {k.replace("_", "-"): v for k, v in told.items()}))
    return {f.name: (f.low, f.high) for f in found.figures}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--trains", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    rng, n = np.random.default_rng(arguments.seed), arguments.trains
    print(f"{n} trains a row, seed {arguments.seed}; in percent, ± {196 * (0.0475 / n) ** 0.5:.1f} by chance")
    print("watch         seconds   rate  ratio  width of the rate's interval")
    for watch in (exciter.ANY, exciter.FROM, exciter.BETWEEN):
        for seconds in (6.0, 15.0, 30.0):
            rate, ratio, wide = counts(watch, seconds, n, rng)
            print(f"{watch:13} {seconds:7} {rate:6.1f} {ratio:6.1f} {wide:7.1f}")

    def off(middle: float, within: float) -> np.ndarray:
        return middle + within * rng.uniform(-1, 1, 50_000)

    def share(truth: np.ndarray, ends: tuple[float, float]) -> str:
        return f"{100 * np.mean((ends[0] <= truth) & (truth <= ends[1])):.1f}"

    told = figures(
        exciter.CALCULATION,
        capacitance="2.0 µF ± 0.1 µF", charge="2500 V ± 100 V",
        rated_rate="2 /s", rated_supply="28 V", supply="24.0 V ± 0.5 V",
    )  # fmt: skip
    print("energy", share(0.5 * off(2e-6, 1e-7) * off(2500, 100) ** 2, told["energy"]))
    print("rate expected", share(2 * (off(24, 0.5) / 28) ** off(1.5, 0.5), told["expected"]))
    told = figures(
        gap.CALCULATION,
        plug="air-gap", gap="1.50 mm ± 0.05 mm", bench="101 kPa ± 2 kPa", engine="300 kPa ± 30 kPa",
        bench_temperature="20 °C ± 10 °C", engine_temperature="60 °C ± 20 °C", available="12 kV",
    )  # fmt: skip
    length, own = off(1.5e-3, 5e-5), off(1, gap.KIND)
    volts = gap.breakdown(off(101e3, 2e3), length, off(293.15, 10)) * own * off(1, gap.PLACE)
    hot, place = off(333.15, 20), off(1, gap.PLACE)
    inside = gap.breakdown(off(300e3, 30e3), length, hot) * own * place
    print("gap on the bench", share(volts, told["bench"]))
    print("gap in the engine", share(inside, told["engine"]))
    print("ratio of the two", share(inside / volts, told["ratio"]))
    print("highest pressure", share(gap.most_pressure(12e3 / (own * place), length, hot), told["reach"]))


if __name__ == "__main__":
    main()

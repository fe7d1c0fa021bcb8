"""How often the intervals of torque, preload and spacer hold the truth. Run: python -m tests.bench.geometry_coverage

The truth is drawn first, then what a person would read off it with the errors that the calculation is told of; the
calculation gets the readings alone. Lengths and torques are invented.

``torque``: a click wrench set by its scale, each length off by up to its ±, the wrench by up to its accuracy.
``setting``: what the wrench should have been set to, had the lengths been known. ``hold-setting``, ``hold-pull``: what
the wrench that holds the insert is loaded to, and the pull at its grip; ``turn-pull``: that at the other's.
``preload``: one plug's preload about T/(K·D), even within the scatter told.
``spacer``: the immersion with spacers under the plug, from one reading of each length, or from several of boss depth
and insert height (``boss alone``: of boss depth). The readings share what the gauge is off by and scatter besides (σ as
a share of the gauge's ±), or the gauge is right but read to a whole division (``rounded``).

``covered``: share of intervals with the truth inside, with its standard error. ``chance told``: the chance of being
outside, in bands, beside how often it was so.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from itertools import pairwise
from math import cos, radians

import numpy as np

from isolate.calc import calculation
from isolate.calc.shape import Found
from isolate.calc.spacer import CALCULATION as SPACER
from isolate.calc.units import Quantity
from tests.bench.figures import table


def quantity(kind: str, value: float, within: float, unit: str) -> Quantity:
    return Quantity(kind, value, within, unit, f"{value} ± {within}")


def mm(value: float, within: float = 0.0) -> Quantity:
    return quantity("length", value / 1000, within / 1000, "mm")


def of(found: Found, name: str) -> tuple[float, float, float]:
    one = next(f for f in found.figures if f.name == name)
    return one.value, one.low, one.high


def off(chance: np.random.Generator, within: float) -> float:
    return float(within * chance.uniform(-1, 1))


def torque(chance: np.random.Generator, times: int) -> Iterator[tuple[str, float, float, float]]:
    """Yield (figure, truth, low, high)."""
    for _ in range(times):
        handle, extension, angle = chance.uniform(150, 500), chance.uniform(25, 140), chance.uniform(0, 150)
        off_handle, off_angle, accuracy = chance.uniform(1, 8), chance.uniform(1, 6), chance.uniform(0.01, 0.06)
        wanted = chance.uniform(8, 60)
        given = {
            "wanted": quantity("torque", wanted, 0.0, "N·m"),
            "handle": mm(handle + off(chance, off_handle), off_handle),
            "extension": mm(extension + off(chance, 2), 2.0),
            "angle": quantity("angle", angle + off(chance, off_angle), off_angle, "°"),
            "accuracy": quantity("share", accuracy, 0.0, "%"),
        }
        hold = chance.uniform(200, 400)
        given |= {"hold-handle": mm(hold + off(chance, 3), 3.0)}
        found = calculation("torque").work(given)
        arm = (handle + extension * cos(radians(angle))) / handle
        set_to, *between = of(found, "setting")
        yield "setting", wanted / arm, between[0], between[1]
        came = set_to * arm * (1 + off(chance, accuracy))
        pulls = {"turn-pull": came / (arm * handle / 1000), "hold-pull": came / (hold / 1000)}
        for name, truth in ({"torque": came, "hold-setting": came} | pulls).items():
            _, low, high = of(found, name)
            yield name, truth, low, high


def preload(chance: np.random.Generator, times: int) -> Iterator[tuple[str, float, float, float]]:
    for _ in range(times):
        diameter, torque_nm, scatter = chance.uniform(10, 25), chance.uniform(10, 60), chance.uniform(0.1, 0.4)
        given = {
            "torque": quantity("torque", torque_nm + off(chance, 0.5), 0.5, "N·m"),
            "diameter": mm(diameter + off(chance, 0.05), 0.05),
            "found": "compound",
            "called": "dry",
            "scatter": quantity("share", scatter, 0.0, "%"),
        }
        _, low, high = of(calculation("preload").work(given), "preload-found")
        yield "preload", torque_nm / (0.12 * diameter / 1000) * (1 + off(chance, scatter)), low, high


def spacer(
    chance: np.random.Generator, times: int, readings: int, noise: float, rounded: bool = False, alone: bool = False
) -> Iterator[tuple[str, float, float, float, float, bool]]:
    """Yield (figure, truth, low, high, chance of being outside that was told, whether it was outside)."""
    for _ in range(times):
        gauge, piece = chance.uniform(0.02, 0.08), chance.uniform(0.01, 0.03)
        boss, insert, gasket, wanted = (chance.uniform(*r) for r in ((30, 45), (8, 14), (1, 2), (1.5, 4)))
        stack = chance.uniform(0.3, 2, size=int(chance.integers(0, 4)))
        reach = boss + insert + gasket + wanted + float(stack.sum())

        def read(truth: float, gauge: float = gauge) -> tuple[Quantity, ...]:
            bias = 0.0 if rounded else off(chance, gauge)
            scatter = chance.normal(0, noise * gauge, readings)
            if rounded:
                step = 2 * gauge
                return tuple(mm(step * round((truth + s) / step), gauge) for s in scatter)
            return tuple(mm(truth + bias + s, gauge) for s in scatter)

        width = chance.uniform(1.0, 5.0) * gauge
        middle = wanted + 4 * off(chance, width)
        given = {
            "reach": (mm(reach + off(chance, gauge), gauge),),
            "boss-depth": read(boss),
            "insert-height": (mm(insert + off(chance, gauge), gauge),) if alone else read(insert),
            "gasket": mm(gasket + off(chance, gauge), gauge),
            "fitted": tuple(mm(s + off(chance, piece), piece) for s in stack),
            "immersion-from": mm(middle - width),
            "immersion-to": mm(middle + width),
            "alike": False,
        }
        found = SPACER.work(given)
        _, low, high = of(found, "immersion")
        told = of(found, "outside-now")[0]
        outside = not middle - width <= wanted <= middle + width
        yield "immersion", wanted, low, high, told, outside


SPACERS = (
    *((1, 0.0, False), (2, 1.0, False), (2, 3.0, False), (3, 0.1, False), (3, 1.0, False), (3, 3.0, False)),
    *((3, 10.0, False), (5, 0.3, False), (5, 3.0, False), (10, 1.0, False)),
    *((1, 0.0, True), (3, 0.1, True), (3, 1.0, True), (5, 3.0, True)),
)


def covered(rows: list[tuple[str, float, float, float]]) -> tuple[float, float]:
    """Return the share covered and its standard error."""
    share = float(np.mean([low <= truth <= high for _, truth, low, high in rows]))
    return share, (share * (1 - share) / len(rows)) ** 0.5


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=1000, help="cases of each kind")
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()
    chance = np.random.default_rng(told.seed)
    lines: list[tuple[str, ...]] = []
    simple = [*torque(chance, told.n), *preload(chance, told.n)]
    for name in ("setting", "torque", "hold-setting", "hold-pull", "turn-pull", "preload"):
        share, error = covered([r for r in simple if r[0] == name])
        lines.append((name, "", "", "", f"{share:.3f}", f"{error:.3f}"))
    bands: list[tuple[float, bool]] = []
    both = [(*one, False) for one in SPACERS]
    for readings, noise, rounded, alone in (*both, *((2, x, False, True) for x in (0.3, 1.0, 3.0, 10.0))):
        rows = list(spacer(chance, told.n, readings, noise, rounded, alone))
        share, error = covered([r[:4] for r in rows])
        kind = "boss alone" if alone else "rounded" if rounded else "shared"
        lines.append(("immersion", kind, str(readings), f"{noise:g}", f"{share:.3f}", f"{error:.3f}"))
        bands += [(r[4], r[5]) for r in rows]
    table(("figure", "gauge", "readings", "σ/gauge", "covered", "±"), lines)
    print()
    edges = (0.0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.01)
    chances = []
    for low, high in pairwise(edges):
        some = [(p, o) for p, o in bands if low <= p < high]
        if some:
            chances.append(
                (
                    f"{low:g} to {min(high, 1):g}",
                    str(len(some)),
                    f"{np.mean([p for p, _ in some]):.3f}",
                    f"{np.mean([o for _, o in some]):.3f}",
                )
            )
    table(("chance told", "cases", "mean told", "was outside"), chances)


if __name__ == "__main__":
    main()

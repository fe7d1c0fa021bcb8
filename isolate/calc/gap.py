"""Breakdown voltage of a gap in air against pressure: why a plug that fires on the bench may not in the engine.

Paschen's law with the Townsend constants of air as they are commonly given.
"""

from __future__ import annotations

from math import e, log
from typing import Any, Final

from isolate.calc.shape import Calculation, Figure, Found, Given, Input, Unfit
from isolate.calc.spread import spread
from isolate.calc.units import KINDS, figure

TORR_CM: Final = KINDS["pressure"].units[0].factor * 101325 / 760 * 0.01
"""Pascal metres in a Torr·cm."""
A: Final = 15.0
"""1/(Torr·cm): saturation ionisation in air, from memory of the usual tables."""
B: Final = 365.0
"""V/(Torr·cm)."""
GAMMA: Final = 0.01
"""Electrons freed at the cathode for each ion."""


def breakdown(pressure_pa: Any, gap_m: Any, kelvin: Any = 293.15) -> Any:
    """Return the breakdown voltage in volts of a gap of so many metres at a pressure in pascals and a temperature.

    Arrays or numbers. Left of the minimum no even field breaks down lower than at it, so the minimum is given there.
    """
    import numpy as np

    product = np.asarray(pressure_pa) * np.asarray(gap_m) / TORR_CM * 293.15 / np.asarray(kelvin)
    least = e / A * log(1 + 1 / GAMMA)
    product = np.maximum(product, least)
    return B * product / (np.log(A * product) - log(log(1 + 1 / GAMMA)))


def _work(given: Given) -> Found:
    gap, pressure = given["gap"], given["pressure"]
    if gap.value <= 0:
        raise Unfit("gap: a gap of nothing does not hold anything off", "gap")
    volts = spread(breakdown, pressure, gap)
    return Found(
        (f"It breaks down at about {figure(volts.value)} V ({figure(volts.low)} to {figure(volts.high)} V).",),
        (Figure("breakdown", "breakdown voltage", *volts, "V"),),
    )


CALCULATION = Calculation(
    "gap",
    "breakdown voltage of a gap against pressure: on the bench and in the engine",
    (
        Input("gap", "length", "Gap that the spark has to cross", hint="1.5 mm"),
        Input("pressure", "pressure", "Pressure about it, absolute", hint="14.7 psi"),
    ),
    _work,
    "Paschen's law with Townsend's coefficients for air, in any text on gas discharge.",
)

"""What a wire's gauge, length and temperature make its resistance, and what drop is commonly allowed along a run.

Two ways to it: the published table of plated, stranded aircraft wire (AC 43.13-1B, table 11-9), and copper itself with
the gauge's diameter (ASTM B258, NBS Handbook 100), which is a solid wire. They differ by up to a quarter, since
aircraft wire is stranded and not always of the full section: the table is what runs are reckoned with.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import pi
from typing import Any, Final

from isolate.calc.shape import Unfit
from isolate.calc.spread import Spread
from isolate.calc.units import INCH, Quantity, figure

FOOT: Final = 12 * INCH
"""Metres."""
COPPER_OHM_M: Final = 1 / 58e6
"""Resistivity of annealed copper at 20 °C, Ω·m: the international standard of 1913 (IEC 60028), from memory."""
ZERO_AT: Final = 234.5
"""°C below nought at which copper's resistance would run out: the constant of the handbooks (AC 43.13-1B, 11-66)."""
PLATED_OHM_FT: Final[Mapping[int, float]] = {
    **{24: 0.0284, 22: 0.0162, 20: 0.00988, 18: 0.00623, 16: 0.00481},
    **{14: 0.00306, 12: 0.00202, 10: 0.00126, 8: 0.00070, 6: 0.00044, 4: 0.00028},
    **{2: 0.00018, 1: 0.00015, 0: 0.00012, -1: 0.00009, -2: 0.00007, -3: 0.00006},
}
"""Gauge → Ω/ft of tin-plated stranded copper at 20 °C, the most a new wire may have: AC 43.13-1B, table 11-9.

14, 12, 10, 6 and 4 are read in the circular's own worked examples; the others are from memory of the table.
"""
FROM_MEMORY: Final = frozenset(PLATED_OHM_FT) - {14, 12, 10, 6, 4}
NEW_WIRE: Final = 0.05
"""Share that a new wire may differ from its figure by, either way: our judgement; constructions of wire differ."""
ALLOWED_DROP_V: Final[Mapping[str, tuple[float, float]]] = {
    "14 V": (0.5, 1.0),
    "28 V": (1.0, 2.0),
    "115 V": (4.0, 8.0),
    "200 V": (7.0, 14.0),
}
"""System → drop between bus and equipment, drawing continuously and now and then: AC 43.13-1B, table 11-6, [memory]."""
STRUCTURE_OHM: Final = 0.005
"""A return through structure up to this is held satisfactory: AMT Handbook - Powerplant. General practice, no limit."""
COLDEST_C: Final = -80.0
HOTTEST_C: Final = 400.0
"""Beyond these no wire of an aircraft is: our judgement."""
LONGEST_M: Final = 200.0
"""No run on an aircraft is longer: our judgement."""
_GAUGE = re.compile(
    r"(?:(?:AWG|AN|NO\.?|#|SIZE|GAUGE)[\s-]*)?(\d{1,2}|0{1,4}|[1-4]/0)[\s-]*(?:AWG|GAUGE|GA\.?)?", re.ASCII
)
_OUGHTS = {"0": 0, "00": -1, "000": -2, "0000": -3, "1/0": 0, "2/0": -1, "3/0": -2, "4/0": -3}


def gauge(typed: str, of: str = "gauge") -> int:
    """Return an American wire gauge as a number, as in ``AWG 14``; ``2/0`` and ``00`` are -1. Raises Unfit."""
    if re.search(r"(?:^|\s)-\s?\d", typed):
        raise Unfit(f"{of}: {typed.strip()[:40]!r} may be below nought; a gauge thicker than 0 is told as 2/0", of)
    found = _GAUGE.fullmatch(typed.strip().upper()) if len(typed) < 40 else None
    if found is None:
        raise Unfit(f"{of}: {typed.strip()[:40]!r} is no American wire gauge, such as 14 or 2/0", of)
    told = found[1]
    size = _OUGHTS.get(told, int(told) if told.isdigit() else 0)
    if size > 40:
        raise Unfit(f"{of}: there is no wire of gauge {size} in an aircraft; it goes from 4/0 to 40", of)
    return size


def said(size: int) -> str:
    """Return a gauge as it is written: ``AWG 14``, ``AWG 2/0``."""
    return f"AWG {size if size > 0 else f'{1 - size}/0'}"


def diameter_m(size: float) -> float:
    """Return the diameter of a solid wire of a gauge, in metres: 0.127 mm · 92^((36 - n)/39) (ASTM B258)."""
    return float(0.127e-3 * 92 ** ((36 - size) / 39))


def solid_ohm_m(size: float) -> float:
    """Return Ω per metre of a solid copper wire of a gauge at 20 °C: resistivity over section."""
    return COPPER_OHM_M / (pi / 4 * diameter_m(size) ** 2)


def plated_ohm_m(size: int) -> float:
    """Return Ω per metre of plated stranded aircraft wire at 20 °C by the table. Raises KeyError: not in it."""
    return PLATED_OHM_FT[size] / FOOT


def rounded(size: int) -> float:
    """Return the share that half a digit of the table is of a gauge's figure: 8 % for 4/0, which it has as .00006."""
    ohm_ft = PLATED_OHM_FT[size]
    # The circular tells milliohms a foot to two decimals throughout.
    return 0.005e-3 / ohm_ft


def hotter(temperature_c: Any, from_c: Any = 20.0) -> Any:
    """Return how many times the resistance copper has at a temperature as at another: (234.5 + T2)/(234.5 + T1).

    Numbers or arrays, °C. The handbooks' formula for hot wire, which is one over the length that it allows
    (AC 43.13-1B, 11-66). With 234.5 the coefficient at 20 °C is 1/254.5 = 0.00393 (NBS Handbook 100).
    """
    return (ZERO_AT + temperature_c) / (ZERO_AT + from_c)


def drop_v(ohm_per_m: Any, length_m: Any, current_a: Any, temperature_c: Any = 20.0) -> Any:
    """Return volts lost along a wire: Ω/m at 20 °C × m × A, the wire at its temperature in °C. Numbers or arrays."""
    return ohm_per_m * length_m * hotter(temperature_c) * current_a


def heat_w(current_a: Any, ohm: Any) -> Any:
    """Return watts turned to heat in a resistance: I²R. Numbers or arrays."""
    return current_a**2 * ohm


def fit_temperature(value_c: float, of: str = "temperature") -> None:
    """Raise Unfit where no wire of an aircraft is so cold or hot."""
    if not COLDEST_C <= value_c <= HOTTEST_C:
        raise Unfit(f"{of}: {value_c:.0f} °C is no temperature of a wire that is measured: is the unit right?", of)


LAST_DIGIT: Final = (
    "What was typed without ± is taken to its last digit; the meter's own error comes on top of that: tell it with ±."
)


def told_off(reading: Quantity) -> bool:
    """Return whether what a reading may be off by was told with it, and is not its last digit alone."""
    return any(mark in reading.typed for mark in ("±", "+/-", "+-", "plus"))


def ohm_unit(ohm: float) -> tuple[float, str]:
    """Return the factor and the name of the unit that a resistance reads best in."""
    for factor, name in ((1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω")):
        if abs(ohm) >= factor:
            return factor, name
    return (1e-3, "mΩ") if abs(ohm) >= 1e-3 or ohm == 0 else (1e-6, "µΩ")


def in_ohm(ohm: float) -> str:
    """Return a resistance in words: ``0.85 Ω`` is ``850 mΩ``."""
    factor, name = ohm_unit(ohm)
    return f"{figure(ohm / factor)} {name}"


def with_ohm(found: Spread) -> str:
    """Return a resistance with its interval in one unit: ``850 mΩ (845 to 855)``."""
    factor, name = ohm_unit(found.value or found.high)
    return with_interval(Spread(*(v / factor for v in found)), name)


def with_interval(found: Spread, unit: str) -> str:
    """Return a figure with its interval, to as many digits as tell the ends of the interval apart, five at most."""
    width = found.high - found.low
    digits = 3 + (width < 0.02 * abs(found.value)) + (width < 0.002 * abs(found.value))
    return f"{figure(found.value, digits)} {unit} ({figure(found.low, digits)} to {figure(found.high, digits)})"

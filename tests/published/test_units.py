"""Units against outside sources: every factor against pint and scipy.constants, and a few published figures."""

from __future__ import annotations

import pint
import pytest
from scipy import constants

from isolate.calc.units import KINDS, Unit, read, unit_of

PINT = {
    "N·m": "newton * meter",
    "N·cm": "newton * centimeter",
    "daN·m": "decanewton * meter",
    "kgf·m": "kilogram_force * meter",
    "kgf·cm": "kilogram_force * centimeter",
    "lbf·ft": "pound_force * foot",
    "lbf·in": "pound_force * inch",
    "thou": "thou",
    "in": "inch",
    "ft": "foot",
    "°": "degree",
    "°C": "degC",
    "°F": "degF",
    "K": "kelvin",
    "psi": "psi",
    "Torr": "torr",
    "min": "minute",
    "per second": "1 / second",
    "per minute": "1 / minute",
    "%": "percent",
    "h": "hour",
}
"""What pint calls a unit, where it does not take our name."""
BASES = {"1/s": "1 / second", "°": "degree", "°C": "degC", "1": "dimensionless", "N·m": "newton * meter"}
COUNTED = {("life", "starts"), ("life", "h")}
"""No units of measure: a start is counted, and hours of a life are kept as hours."""
TABLE = [(kind.name, unit) for kind in KINDS.values() for unit in kind.units if (kind.name, unit.name) not in COUNTED]


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize(("kind", "unit"), TABLE, ids=[f"{k}-{u.name}" for k, u in TABLE])
def test_factors_are_those_of_pint(kind: str, unit: Unit, registry: pint.UnitRegistry) -> None:
    base = KINDS[kind].base
    name = PINT.get(unit.name, unit.name.replace("Ω", "ohm"))
    for value in (1.0, 37.5):
        theirs = registry.Quantity(value, name).to(BASES.get(base, base.replace("Ω", "ohm"))).magnitude
        assert value * unit.factor + unit.offset == pytest.approx(theirs, rel=1e-12)


def test_factors_are_those_of_scipy() -> None:
    """Against scipy.constants, whose own sources are CODATA and the SI brochure."""
    pairs = {
        ("length", "in"): constants.inch,
        ("length", "ft"): constants.foot,
        ("length", "thou"): constants.mil,
        ("torque", "lbf·ft"): constants.pound_force * constants.foot,
        ("torque", "lbf·in"): constants.pound_force * constants.inch,
        ("torque", "kgf·m"): constants.kilogram_force,
        ("pressure", "psi"): constants.psi,
        ("pressure", "atm"): constants.atm,
        ("pressure", "bar"): constants.bar,
        ("pressure", "Torr"): constants.torr,
        ("time", "min"): constants.minute,
        ("time", "h"): constants.hour,
        ("angle", "rad"): 1 / constants.degree,
    }
    for (kind, name), value in pairs.items():
        assert unit_of(kind, name).factor == pytest.approx(value, rel=1e-14), name
    for celsius in (-40.0, 0.0, 20.0, 100.0):
        fahrenheit, kelvin = constants.convert_temperature([celsius, celsius], "C", "F")[0], celsius + 273.15
        assert read(f"{fahrenheit:.6f} °F", "temperature").value == pytest.approx(celsius, abs=1e-6)
        assert read(f"{kelvin:.6f} K", "temperature").value == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(
    ("typed", "kind", "value", "off"),
    [
        # Torque: NIST Special Publication 811 (2008), appendix B.8: 1.355 818 and 0.112 984 8 N·m. From memory.
        ("1 ft-lb", "torque", 1.355818, 5e-7),
        ("1 in-lb", "torque", 0.1129848, 5e-8),
        ("1 kgf·m", "torque", 9.80665, 1e-12),
        # Pressure, the same table: 6.894 757 kPa; conventional inch of mercury 3.386 389 kPa. From memory.
        ("1 psi", "pressure", 6894.757, 5e-4),
        ("1 inHg", "pressure", 3386.389, 5e-4),
        # ICAO standard atmosphere at sea level: 29.92 inHg is 1013.2 hPa, 14.696 psi is 101.325 kPa. From memory.
        ("29.92 inHg", "pressure", 101325, 10),
        ("14.696 psi", "pressure", 101325, 5),
        # Temperatures that the two scales are known by: -40 is the same on both; water boils at 212 °F.
        ("-40 °F", "temperature", -40, 1e-9),
        ("212 °F", "temperature", 100, 1e-9),
    ],
)
def test_published_figures(typed: str, kind: str, value: float, off: float) -> None:
    assert read(typed, kind).value == pytest.approx(value, abs=off)

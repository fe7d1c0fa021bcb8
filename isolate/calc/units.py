"""Quantities as people type them: `12 ft-lb`, `1,5 mm`, `28V`, `30 MΩ ± 5 %`; what is ambiguous is refused.

Nothing is guessed: a figure without its unit is taken only where its kind has one unit. Factors are exact by
definition (SI brochure, 9th edition; the international yard and pound of 1959; standard gravity 9.80665 m/s²).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

INCH: Final = 0.0254
POUND_FORCE: Final = 0.45359237 * 9.80665
"""Newtons."""


class Unclear(ValueError):
    """What was typed is no quantity of its kind, or may be more than one; the message is a sentence that says why."""


@dataclass(frozen=True)
class Unit:
    """A unit of a kind: ``value_in_base = value * factor + offset``. ``spelt``: other ways to type it, as they are."""

    name: str
    factor: float
    spelt: tuple[str, ...] = ()
    offset: float = 0.0


@dataclass(frozen=True)
class Kind:
    """What can be measured. ``base``: the unit that calculations take. ``vague``: spellings that may mean several."""

    name: str
    base: str
    units: tuple[Unit, ...]
    vague: Mapping[str, str]
    least: float | None = None
    """No smaller figure exists, in the base unit; None: any."""


@dataclass(frozen=True)
class Quantity:
    """A figure that was read off: in the base unit of its kind, with what it may be off by.

    ``within``: half the width that the true figure lies in, all of it alike likely (JCGM 100:2008, 4.3.7): what was
    told after ±, else half a unit of the last digit typed.
    """

    kind: str
    value: float
    within: float
    unit: str
    """The unit it was typed in, as understood."""
    typed: str = ""

    def said(self) -> str:
        """Return what was understood, in the unit it was typed in: ``30 MΩ ± 0.5 MΩ``."""
        unit = unit_of(self.kind, self.unit)
        return f"{figure((self.value - unit.offset) / unit.factor)} {unit.name} ± {figure(self.within / unit.factor)}"


def _torques(*lengths: str) -> tuple[str, ...]:
    """Return how a pound-force at a length of arm is typed: either first, with any mark between or none."""
    forces = ("lbf", "lb", "lbs", "pound", "pounds", "#")
    found = []
    for force in forces:
        for length in lengths:
            for mark in ("-", "·", "*", ".", " ", ""):
                found += [f"{force}{mark}{length}", f"{length}{mark}{force}"]
    return tuple(found)


_PREFIX = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


def _prefixed(base: str, more: str, words: tuple[str, ...]) -> tuple[Unit, ...]:
    """Return a unit with its multiples (``more``: such as ``mV kV``), told apart by case: mV is no MV."""
    found = [Unit(base, 1, words)]
    for name in more.split():
        prefix = name.removesuffix(base)
        micro = tuple(m + base for m in "uμ") if prefix == "µ" else ()
        found.append(Unit(name, _PREFIX[prefix], micro))
    return tuple(found)


def _ohms() -> tuple[Unit, ...]:
    words = {
        "": ("ohm", "ohms", "R"),
        "m": ("milliohm", "milliohms"),
        "µ": ("microohm", "microohms"),
        "k": ("kilohm", "kilohms", "kohm", "k"),
        "M": ("megohm", "megohms", "megaohm", "meg", "megs"),
        "G": ("gigaohm", "gigohm", "gig", "gigs"),
    }
    return tuple(
        Unit(
            f"{prefix}Ω",
            _PREFIX[prefix],
            (
                f"{prefix}\u2126",
                f"{prefix}ohm",
                f"{prefix}ohms",
                *words[prefix],
                *(("uΩ", "uohm", "μΩ") if prefix == "µ" else ()),
            ),
        )
        for prefix in ("", "m", "µ", "k", "M", "G")
    )


_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_TYPED = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*(?:(?:±|\+/-|\+-)\s*({_NUMBER})\s*(.*?)\s*)?", re.ASCII)


def read(text: str, kind: str) -> Quantity:
    """Read a quantity of a kind (a key of :data:`KINDS`) as typed, ``±`` and all. Raises Unclear."""
    known = KINDS[kind]
    found = _TYPED.fullmatch(text.replace("−", "-"))
    if found is None:
        raise Unclear(f"{text!r} is no figure with a unit, such as {_example(known)}")
    number, spelt, off, off_unit = found.groups()
    unit, digits = _unit(known, spelt or off_unit or ""), _number(number, text)
    value = digits * unit.factor + unit.offset
    if known.least is not None and value < known.least:
        raise Unclear(
            f"{text!r}: there is no {kind} below {figure((known.least - unit.offset) / unit.factor)} {unit.name}"
        )
    within = 0.5 * _last_digit(number) * unit.factor
    if off is not None:
        share = (off_unit or "").strip() in ("%", "percent")
        other = unit if share or not off_unit else _unit(known, off_unit)
        within = abs(_number(off, text)) * (abs(value) / 100 if share and unit.name != "%" else other.factor)
    return Quantity(kind, value, within, unit.name, text.strip())


def number(text: str) -> float:
    """Read a bare number. Raises Unclear."""
    if not re.fullmatch(_NUMBER, text.strip(), re.ASCII):
        raise Unclear(f"{text!r} is no number")
    return _number(text.strip(), text)


def whole(text: str) -> int:
    """Read a whole number from nought up. Raises Unclear."""
    if not re.fullmatch(r"\d{1,12}", text.strip(), re.ASCII):
        raise Unclear(f"{text!r} is no whole number")
    return int(text)


def _unit(kind: Kind, spelt: str) -> Unit:
    raise_vague = kind.vague.get(spelt)
    if raise_vague is not None:
        raise Unclear(f"{spelt or 'a figure without a unit'} is ambiguous: {raise_vague}")
    exact = [u for u in kind.units if spelt in (u.name, *u.spelt)]
    if not exact:
        folded = spelt.casefold()
        near = [u for u in kind.units if folded in (s.casefold() for s in (u.name, *u.spelt))]
        exact = near if len(near) == 1 else []
        if len(near) > 1:
            raise Unclear(f"{spelt!r} may be {' or '.join(u.name for u in near)}")
    if not exact:
        said = f"{spelt!r} is no unit of {kind.name}" if spelt else "the unit is missing"
        raise Unclear(f"{said}; it takes {', '.join(u.name or 'no unit' for u in kind.units)}")
    return exact[0]


def _number(text: str, whole: str) -> float:
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text) and not text.lstrip("+-").startswith("0"):
        plain, point = text.replace(",", ""), text.replace(",", ".")
        raise Unclear(f"{whole.strip()!r}: {text} may be {plain} or {point}; type it with a point, or without a comma")
    return float(text.replace(",", "."))


def _last_digit(text: str) -> float:
    """Return what one unit of the last digit typed is worth."""
    mantissa, _, power = text.lower().replace(",", ".").partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** (int(power or 0) - decimals))


def _example(kind: Kind) -> str:
    return f"12 {kind.units[0].name}"


def unit_of(kind: str, name: str) -> Unit:
    """Return a unit of a kind by its name."""
    return next(unit for unit in KINDS[kind].units if unit.name == name)


def figure(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits and no exponent."""
    return f"{value:.{digits}g}" if value == 0 or 1e-4 <= abs(value) < 10**digits else _plainly(value, digits)


def _plainly(value: float, digits: int) -> str:
    return f"{float(f'{value:.{digits}g}'):.12f}".rstrip("0").rstrip(".")


def _kind(
    name: str, base: str, *units: Unit, vague: Mapping[str, str] | None = None, least: float | None = None
) -> Kind:
    return Kind(name, base, units, vague or {}, least)


KINDS: Final[Mapping[str, Kind]] = {
    kind.name: kind
    for kind in (
        _kind(
            "torque",
            "N·m",
            Unit("N·m", 1, ("Nm", "N m", "N*m", "N.m", "N-m", "newton metre", "newton meter", "newton metres")),
            Unit("N·cm", 0.01, ("Ncm", "N cm", "N-cm", "N*cm")),
            Unit("kgf·m", 9.80665, ("kgf m", "kgfm", "kgf-m", "kgm", "kg-m", "mkp", "kpm")),
            Unit("lbf·ft", 12 * INCH * POUND_FORCE, _torques("ft", "foot", "feet")),
            Unit("lbf·in", INCH * POUND_FORCE, _torques("in", "inch", "inches")),
            vague={
                "lb": "pounds of what: lbf·ft or lbf·in",
                "lbs": "pounds of what: lbf·ft or lbf·in",
                "lbf": "pounds of what: lbf·ft or lbf·in",
                "mN": "mN is a force; newton metres are N·m",
            },
            least=0,
        ),
        _kind(
            "length",
            "m",
            Unit("mm", 1e-3, ("millimetre", "millimeter", "millimetres", "millimeters")),
            Unit("cm", 1e-2),
            Unit("m", 1, ("metre", "meter", "metres", "meters")),
            Unit("µm", 1e-6, ("um", "μm", "micron", "microns")),
            Unit("in", INCH, ("inch", "inches", '"', "″", "''")),
            Unit("thou", INCH / 1000, ("mil", "mils")),
            Unit("ft", 12 * INCH, ("foot", "feet", "'", "′")),
        ),
        _kind("angle", "°", Unit("°", 1, ("", "deg", "degs", "degree", "degrees"))),
        _kind("voltage", "V", *_prefixed("V", "mV kV", ("volt", "volts", "VDC", "VAC", "Vdc", "Vac", "V DC", "V AC"))),
        _kind("current", "A", *_prefixed("A", "mA µA nA", ("amp", "amps", "ampere", "amperes"))),
        _kind("resistance", "Ω", *_ohms(), least=0),
        _kind("capacitance", "F", *_prefixed("F", "µF nF pF mF", ("farad", "farads")), least=0),
        _kind("energy", "J", *_prefixed("J", "mJ kJ", ("joule", "joules")), least=0),
        _kind(
            "temperature",
            "°C",
            Unit("°C", 1, ("C", "degC", "deg C", "celsius", "º C", "ºC", "° C")),
            Unit("°F", 5 / 9, ("F", "degF", "deg F", "fahrenheit", "ºF", "° F"), -160 / 9),
            Unit("K", 1, ("kelvin",), -273.15),
            vague={"": "°C or °F", "°": "°C or °F", "deg": "°C or °F"},
            least=-273.15,
        ),
        _kind(
            "pressure",
            "Pa",
            Unit("Pa", 1),
            Unit("hPa", 100, ("mbar", "millibar")),
            Unit("kPa", 1e3),
            Unit("MPa", 1e6),
            Unit("bar", 1e5, ("bara", "bar abs")),
            Unit("psi", POUND_FORCE / INCH**2, ("psia", "lbf/in2", "lbf/in²")),
            Unit("inHg", 3386.388640341, ("in Hg", "inches of mercury")),
            Unit("Torr", 101325 / 760, ("mmHg", "mm Hg")),
            Unit("atm", 101325),
            vague={
                "psig": "gauge pressure; give it absolute, psia",
                "barg": "gauge pressure; give it absolute, bar",
                "bar g": "gauge pressure; give it absolute, bar",
            },
            least=0,
        ),
        _kind(
            "time",
            "s",
            Unit("s", 1, ("sec", "secs", "second", "seconds")),
            Unit("ms", 1e-3),
            Unit("min", 60, ("mins", "minute", "minutes")),
            Unit("h", 3600, ("hr", "hrs", "hour", "hours")),
            vague={"m": "min or ms"},
            least=0,
        ),
        _kind(
            "rate",
            "1/s",
            Unit("1/s", 1, ("/s", "per s", "per second", "a second", "Hz", "sparks/s", "sparks a second", "sps")),
            Unit("1/min", 1 / 60, ("/min", "per min", "per minute", "a minute", "sparks a minute")),
            least=0,
        ),
        _kind(
            "share", "1", Unit("%", 0.01, ("percent", "per cent", "pct")), Unit("1", 1), vague={"": "% or a fraction"}
        ),
        _kind(
            "life",
            "1",
            Unit("starts", 1, ("start", "cycles", "cycle")),
            Unit("h", 1, ("hr", "hrs", "hour", "hours", "FH")),
            vague={"": "starts or hours"},
            least=0,
        ),
    )
}
"""Kind → its units. ``life`` keeps figures in the unit told: starts and hours are not turned into each other."""

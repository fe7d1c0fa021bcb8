"""Quantities as people type them: `12 ft-lb`, `1,5 mm`, `28V`, `30 MΩ ± 5 %`; what is ambiguous is refused.

Nothing is guessed: a figure without its unit is taken only where its kind has one unit. Factors are exact by
definition (SI brochure, 9th edition; the international yard and pound of 1959; standard gravity 9.80665 m/s²), but for
the inch of mercury, which is by convention (mercury of 13595.1 kg/m³).

A table of our own, and no library of units: what matters here is what a person may mean by `30M` or `12 lb`, which a
library answers with one of the meanings. The factors are held against a library in the tests.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from math import isfinite, pi
from typing import Final, Literal

from isolate.calc.figures import LONGEST, NUMBER, Unclear, Worth, number, quoted, tidy, whole, worth

__all__ = [
    "INCH",
    "KINDS",
    "POUND_FORCE",
    "Kind",
    "Quantity",
    "Unclear",
    "Unit",
    "figure",
    "number",
    "read",
    "unit_of",
    "whole",
]

INCH: Final = 0.0254
POUND_FORCE: Final = 0.45359237 * 9.80665
"""Newtons."""


@dataclass(frozen=True)
class Unit:
    """A unit of a kind: ``value_in_base = value * factor + offset``. ``spelt``: other ways to type it, as they are.

    Spaces, points and hyphens in a spelling do not count. ``also``: the unit that a figure is shown in beside this
    one; ``aloud``: its name in words, where its sign is easily taken for another's.
    """

    name: str
    factor: float
    spelt: tuple[str, ...] = ()
    offset: float = 0.0
    also: str = ""
    aloud: str = ""


@dataclass(frozen=True)
class Kind:
    """What can be measured. ``base``: the unit that calculations take. ``vague``: spellings that may mean several.

    ``cased``: m and M are milli and mega in it, so that no m is taken for an M.
    """

    name: str
    base: str
    units: tuple[Unit, ...]
    vague: Mapping[str, str]
    least: float | None = None
    """No smaller figure exists, in the base unit; None: any."""
    usual: tuple[float, float] = (0.0, float("inf"))
    """Sizes, in the base unit and without their sign, beyond which a unit was mistaken. Our judgement, and wide: what
    lies outside is never met on a turbine's ignition. Nought is no mistake. Temperatures: from and to, with sign."""
    cased: bool = False


Bound = Literal["", "above", "below"]


@dataclass(frozen=True)
class Quantity:
    """A figure that was read off: in the base unit of its kind, with what it may be off by.

    ``within``: half the width that the true figure lies in, all of it alike likely (JCGM 100:2008, 4.3.7): what was
    told after ±, or half a range, else half a unit of the last digit typed. ``bound``: the meter said only that it is
    ``above`` the value (`>500 MΩ`; infinite where it was over its range), or ``below`` it; then ``within`` is nought.
    """

    kind: str
    value: float
    within: float
    unit: str
    """The unit it was typed in, as understood."""
    typed: str = ""
    bound: Bound = ""

    @property
    def low(self) -> float:
        """The least that the true figure may be, in the base unit; no less than exists."""
        least = KINDS[self.kind].least
        if self.bound:
            return self.value if self.bound == "above" else (float("-inf") if least is None else least)
        return self.value - self.within if least is None else max(min(least, self.value), self.value - self.within)

    @property
    def high(self) -> float:
        """The most that the true figure may be, in the base unit."""
        if self.bound:
            return self.value if self.bound == "below" else float("inf")
        return self.value + self.within

    def said(self) -> str:
        """Return what was understood, in the unit it was typed in, so that it reads back: ``30 ± 0.5 MΩ``."""
        return self._in(unit_of(self.kind, self.unit), 10, 6)

    def told(self) -> str:
        """Return what was understood, for a person: ``12 ± 0.5 lbf·ft = 16.27 ± 0.68 N·m``, ``30 ± 0.5 MΩ (megohm)``.

        What is exact goes without ±.
        """
        unit = unit_of(self.kind, self.unit)
        first = self._in(unit, 10, 3, exact=self.within == 0)
        if not isfinite(self.value):
            return first
        if unit.aloud:
            return f"{first} ({unit.aloud})"
        return f"{first} = {self._in(unit_of(self.kind, unit.also), 4, 2, self.within == 0)}" if unit.also else first

    def _in(self, unit: Unit, digits: int, off_digits: int, exact: bool = False) -> str:
        if not isfinite(self.value):
            return OVER_RANGE
        value = figure((self.value - unit.offset) / unit.factor, digits)
        if self.bound:
            return f"{'over' if self.bound == 'above' else 'under'} {value} {unit.name}"
        off = "" if exact else f" ± {figure(self.within / unit.factor, off_digits)}"
        if unit.name == "°":
            return f"{value}°{off}{'°' if off else ''}"
        return f"{value}{off} {unit.name}"


OVER_RANGE: Final = "over the meter's range"
_OVER: Final = frozenset(
    (
        *("ol", "o.l", "o.l.", "o/l", "0l", "0.l", "0.l.", "over", "overload", "over load", "overrange", "over range"),
        *("over-range", "over limit", "over the range", "open", "open circuit", "inf", "infinity", "infinite", "∞"),
        OVER_RANGE,
    )
)
"""What a meter shows, or a person says, where the reading lies beyond what the meter can measure."""
_BOUNDS: Final = re.compile(
    r"(?P<above>>=?|=>|≥|⩾|over\b|above\b|more than\b|greater than\b|at least\b)"
    r"|(?P<below><=?|=<|≤|⩽|under\b|below\b|less than\b|at most\b|up to\b)",
    re.IGNORECASE,
)
_ROUGHLY: Final = re.compile(r"(?:~|≈|≅|about\b|approx\b\.?|approximately\b|around\b|roughly\b|circa\b|ca\b\.?)", re.I)
_PLUS_MINUS: Final = re.compile(r"\s*(?:±|\+ ?/ ?-|\+-|\bplus or minus\b|\bplus/minus\b)\s*", re.IGNORECASE)
_FIRST: Final = re.compile(NUMBER, re.ASCII)
_TO: Final = re.compile(rf"(?P<unit>\D*?)\s*(?:-|\bto\b|\.\.\.?)\s*(?P<to>{NUMBER})\s*(?P<last>\D.*)?", re.ASCII | re.I)
_DIGITS: Final = frozenset(("digit", "digits", "count", "counts", "dgt", "dgts", "lsd", "d"))
_PER_CENT: Final = frozenset(("%", "percent", "per cent", "pct"))
_PARTS: Final = {"length": {"ft": "in"}, "time": {"min": "s", "h": "min"}}
"""Kind → units that a figure in a smaller unit may follow: 5 ft 6 in, 1 min 30 s."""


def read(text: str, kind: str, *, exact: bool = False, beyond: bool = False) -> Quantity:
    """Read a quantity of a kind (a key of :data:`KINDS`) as typed, ``±`` and all. Raises Unclear.

    A range, `28-30 V`, is a reading that wandered: its middle, give or take half of it. ``exact``: it is a limit, one
    figure without ±. ``beyond``: a meter's `>500 MΩ` and its `OL` are taken as well.
    """
    known, said = KINDS[kind], tidy(text)
    if not said:
        raise Unclear(f"nothing was typed; it takes a figure with a unit, such as {_example(known)}")
    if said.casefold() in _OVER:
        if not beyond or exact:
            raise Unclear(f"{quoted(text)} is no figure; here it takes one, such as {_example(known)}")
        return Quantity(kind, float("inf"), 0.0, known.units[0].name, said, "above")
    if rough := _ROUGHLY.match(said):
        raise Unclear(f"{quoted(rough[0])} does not say how roughly: type it with ±, or as it was read")
    bound: Bound = ""
    if found := _BOUNDS.match(said):
        bound, said = ("above" if found["above"] else "below"), said[found.end() :].strip()
        if exact or not beyond:
            more = "more" if bound == "above" else "less"
            raise Unclear(f"{quoted(text)} says only that it is {more} than that; here it takes a figure")
    value, within, unit = _reading(said, text, known, exact)
    if bound:
        within = 0.0
    _fits(value, known, unit)
    return Quantity(kind, value, within, unit.name, " ".join(text.split()), bound)


def _reading(said: str, text: str, kind: Kind, exact: bool) -> tuple[float, float, Unit]:
    """Return the value and what it may be off by, in the base unit, and the unit it was typed in."""
    if wrapped := re.fullmatch(r"\(([^()]*)\)\s*([^()]*)", said):
        said = " ".join(wrapped.groups())
    parts = _PLUS_MINUS.split(said)
    main, off = parts[0], parts[1] if len(parts) == 2 else ""
    if len(parts) > 2 or (len(parts) == 2 and not off):
        raise Unclear(f"{quoted(text)}: one figure goes after ±")
    first = _FIRST.match(main)
    if first is None:
        raise Unclear(f"{quoted(text)} is no figure with a unit, such as {_example(kind)}")
    number, rest = worth(first[0]), main[first.end() :].strip()
    if not rest and off:  # 30 ± 0.5 MΩ
        rest = "%" if kind.name == "share" and off.endswith("%") else _unit_of_off(off)
    unit, among = _find(kind, rest), _TO.fullmatch(rest)
    if unit is None and among is not None:
        if off:
            raise Unclear(f"{quoted(text)}: a range or a ±, not both")
        return _range(number, among, text, kind, exact)
    if unit is None and (parts_of := _compound(number, rest, kind)) is not None:
        number, unit = parts_of
    unit = unit or _unit(kind, rest)
    value = number.value * unit.factor + unit.offset
    if not off:
        return value, 0.0 if exact else number.step * unit.factor / 2, unit
    within = _off(off, number, unit, kind, text)
    if exact and within:
        raise Unclear(f"{quoted(text)}: a limit is one figure, without ±")
    return value, within, unit


def _range(low: Worth, found: re.Match[str], text: str, kind: Kind, exact: bool) -> tuple[float, float, Unit]:
    if exact:
        raise Unclear(f"{quoted(text)} is a range; here it takes one figure")
    last = _unit(kind, (found["last"] or "").strip())
    first = _unit(kind, found["unit"]) if found["unit"] else last
    a, b = low.value * first.factor + first.offset, worth(found["to"]).value * last.factor + last.offset
    if a > b:
        raise Unclear(f"{quoted(text)}: a range goes from the smaller figure to the larger")
    _fits(a, kind, first)
    _fits(b, kind, last)
    return (a + b) / 2, (b - a) / 2, last


def _compound(number: Worth, rest: str, kind: Kind) -> tuple[Worth, Unit] | None:
    """Return 5 ft 6 in, or 1 min 30 s, in the smaller unit; None for anything else."""
    found = re.fullmatch(rf"([^\d.,+-]+?)\s*({NUMBER})\s*(\D+)", rest, re.ASCII)
    pairs = _PARTS.get(kind.name, {})
    if found is None or (large := _find(kind, found[1])) is None or large.name not in pairs:
        return None
    small, more = unit_of(kind.name, pairs[large.name]), worth(found[2])
    ratio = large.factor / small.factor
    if _find(kind, found[3]) != small or not 0 <= more.value < ratio or number.value < 0 or number.value % 1:
        return None
    return Worth(number.value * ratio + more.value, more.step), small


def _unit_of_off(off: str) -> str:
    """Return the unit that stands behind ±, for a figure before it that has none; not that of a share or of digits."""
    first = _FIRST.match(off)
    unit = off[first.end() :].strip() if first else ""
    return "" if unit.casefold() in _DIGITS | _PER_CENT else unit


def _off(off: str, number: Worth, unit: Unit, kind: Kind, text: str) -> float:
    """Return what stands after ± in the base unit: ``0.5``, ``0.5 V``, ``5 %`` of the figure, ``1 % + 2 digits``."""
    within = 0.0
    for part in re.split(r"\s*(?<![eE])\+\s*", off.strip("() ")):
        first = _FIRST.match(part)
        if first is None or first[0][0] in "+-":
            raise Unclear(f"{quoted(text)}: after ± goes a figure, such as 0.5, 5 % or 1 % + 2 digits")
        amount, spelt = worth(first[0]).value, part[first.end() :].strip()
        if spelt.casefold() in _PER_CENT and unit.name != "%":
            within += amount / 100 * abs(number.value) * unit.factor
        elif spelt.casefold() in _DIGITS:
            within += amount * number.step * unit.factor
        else:
            # A difference: the offset of a scale of temperature has no part in it.
            within += amount * (_unit(kind, spelt) if spelt else unit).factor
    if not isfinite(within):
        raise Unclear(f"{quoted(text)} is beyond all measure")
    return within


def _fits(value: float, kind: Kind, unit: Unit) -> None:
    """Raise Unclear where no such figure exists, or where it is so far off that its unit was mistaken."""
    least, most = kind.usual

    def said(base: float) -> str:
        shown = f"{figure((base - unit.offset) / unit.factor, 5)} {unit.name}"
        return shown if len(shown) <= LONGEST else "that"

    if not isfinite(value):
        raise Unclear("that is beyond all measure")
    if kind.least is not None and value < kind.least:
        raise Unclear(f"there is no {kind.name} below {said(kind.least)}")
    size = value if kind.least is not None and kind.least < 0 else abs(value)
    if size > most or (size < least and value != 0):
        side = f"over {said(most)}" if size > most else f"under {said(least)}"
        raise Unclear(f"{said(value)} is no {kind.name} that is met here ({side}): is the unit right?")


_MARKS: Final = re.compile(r"[\s.·*×^_-]+")


def _key(spelt: str) -> str:
    """Return a spelling without what does not count in it."""
    return _MARKS.sub("", spelt)


@cache
def _spellings(kind: str) -> tuple[Mapping[str, Unit], Mapping[str, tuple[tuple[str, Unit], ...]], Mapping[str, str]]:
    """Return spelling → unit, folded spelling → (spelling, unit), and spelling → why it is vague."""
    known = KINDS[kind]
    exact: dict[str, Unit] = {}
    folded: dict[str, list[tuple[str, Unit]]] = {}
    for unit in known.units:
        for spelt in (unit.name, *unit.spelt):
            exact.setdefault(_key(spelt), unit)
    for key, unit in exact.items():
        folded.setdefault(key.casefold(), []).append((key, unit))
    return exact, {k: tuple(v) for k, v in folded.items()}, {_key(k): why for k, why in known.vague.items()}


def _find(kind: Kind, spelt: str) -> Unit | None:
    """Return the unit that is spelt so; None where there is none. Raises Unclear where it may be several."""
    exact, folded, vague = _spellings(kind.name)
    key = _key(spelt)
    if key in vague:
        said = quoted(spelt) if spelt else "a figure without a unit"
        raise Unclear(f"{said} is ambiguous: {vague[key]}", unitless=not spelt)
    if key in exact:
        return exact[key]
    near = folded.get(key.casefold(), ())
    if kind.cased and key[:1] in ("m", "M"):
        # Written out in words, a capital letter is no prefix.
        sure = [n for n in near if n[0][0] == key[0] or n[0].casefold().startswith(("meg", "milli", "micro"))]
        if near and not sure:
            names = " or ".join(dict.fromkeys(unit.name for _, unit in near))
            raise Unclear(f"{quoted(spelt)} may be milli or mega: type {names}, or use another prefix")
        near = tuple(sure)
    units = list(dict.fromkeys(unit for _, unit in near))
    if len(units) > 1:
        raise Unclear(f"{quoted(spelt)} may be {' or '.join(u.name for u in units)}")
    return units[0] if units else None


def _unit(kind: Kind, spelt: str) -> Unit:
    """Return the unit that is spelt so. Raises Unclear."""
    if (found := _find(kind, spelt)) is not None:
        return found
    takes = f"{kind.name} takes {', '.join(u.name for u in kind.units)}"
    if not spelt:
        raise Unclear(f"the unit is missing; {takes}", unitless=True)
    if kind.name == "time" and spelt.startswith(":"):
        raise Unclear("with a colon it may be hours or minutes: type 90 s, or 1 min 30 s")
    others = [other.name for other in KINDS.values() if _key(spelt) in _spellings(other.name)[0]]
    what = f"a unit of {others[0]}, not of {kind.name}" if others else f"no unit of {kind.name}"
    raise Unclear(f"{quoted(spelt)} is {what}; {takes}")


def _example(kind: Kind) -> str:
    return f"12 {kind.units[0].name}"


def unit_of(kind: str, name: str) -> Unit:
    """Return a unit of a kind by its name or one of its spellings. Raises KeyError."""
    return _spellings(kind)[0][_key(name)]


def figure(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits and no exponent."""
    text = f"{value + 0.0:.{digits}g}"
    return format(Decimal(text), "f") if "e" in text else text


def _torques(*lengths: str) -> tuple[str, ...]:
    """Return how a pound-force at a length of arm is typed: either first, with a stroke between or none."""

    def spellings() -> Iterator[str]:
        for force in ("lbf", "lb", "lbs", "pound", "pounds", "poundforce", "#"):
            for length in lengths:
                for stroke in ("", "/"):
                    yield from (f"{force}{stroke}{length}", f"{length}{stroke}{force}")

    return tuple(spellings())


_PREFIX: Final = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


def _prefixed(base: str, more: str, words: tuple[str, ...]) -> tuple[Unit, ...]:
    """Return a unit with its multiples (``more``: such as ``mV kV``), told apart by case: mV is no MV."""
    found = [Unit(base, 1, words)]
    for name in more.split():
        prefix = name.removesuffix(base)
        found.append(Unit(name, _PREFIX[prefix], ("u" + base,) if prefix == "µ" else ()))
    return tuple(found)


def _sparks(*times: str) -> tuple[str, ...]:
    """Return how a rate of sparks is typed."""
    return tuple(f"sparks{mark}{time}" for time in times for mark in ("/", " per ", " a "))


def _ohms() -> tuple[Unit, ...]:
    # "mohm" is not among them: it is typed for both.
    spelt = {
        "": ("ohm", "ohms", "R"),
        "m": ("mOhm", "mOhms", "milliohm", "milliohms"),
        "µ": ("uΩ", "µohm", "µohms", "uohm", "uohms", "microohm", "microohms"),
        "k": ("kohm", "kohms", "kilohm", "kilohms", "kiloohm", "kiloohms", "k"),
        "M": ("Mohm", "Mohms", "MOhm", "MOhms", "megohm", "megohms", "megaohm", "megaohms", "meg", "megs"),
        "G": ("Gohm", "Gohms", "gigohm", "gigohms", "gigaohm", "gigaohms", "gig", "gigs"),
    }
    aloud = {"m": "milliohm", "M": "megohm", "G": "gigaohm", "µ": "microhm"}
    return tuple(Unit(f"{p}Ω", _PREFIX[p], words, aloud=aloud.get(p, "")) for p, words in spelt.items())


def _kind(
    name: str,
    base: str,
    *units: Unit,
    vague: Mapping[str, str] | None = None,
    least: float | None = None,
    usual: tuple[float, float] = (0.0, float("inf")),
    cased: bool = False,
) -> Kind:
    return Kind(name, base, units, vague or {}, least, usual, cased)


_POUNDS: Final = "a torque is pounds at an arm, lbf·ft or lbf·in"
_MILLI: Final = "milliohm and megohm are both typed so; type mΩ, milliohm, MΩ or megohm"

KINDS: Final[Mapping[str, Kind]] = {
    kind.name: kind
    for kind in (
        _kind(
            "torque",
            "N·m",
            Unit("N·m", 1, ("newton metre", "newton meter", "newton metres", "newton meters")),
            Unit("N·cm", 0.01, ("cNm",)),
            Unit("daN·m", 10),
            Unit("kgf·m", 9.80665, ("kgm", "mkg", "mkgf", "mkp", "kpm"), also="N·m"),
            Unit("kgf·cm", 0.0980665, ("kgcm", "cmkg", "cmkgf"), also="N·m"),
            Unit("lbf·ft", 12 * INCH * POUND_FORCE, _torques("ft", "foot", "feet"), also="N·m"),
            Unit("lbf·in", INCH * POUND_FORCE, _torques("in", "inch", "inches"), also="N·m"),
            vague={
                **dict.fromkeys(("lb", "lbs", "lbf", "#", "pound", "pounds"), _POUNDS),
                "mN": "mN is a force; newton metres are N·m",
            },
            least=0,
            usual=(1e-3, 5e3),
        ),
        _kind(
            "length",
            "m",
            Unit("mm", 1e-3, ("millimetre", "millimeter", "millimetres", "millimeters")),
            Unit("cm", 1e-2, ("centimetre", "centimeter", "centimetres", "centimeters")),
            Unit("m", 1, ("metre", "meter", "metres", "meters")),
            Unit("µm", 1e-6, ("um", "micron", "microns")),
            Unit("in", INCH, ("inch", "inches", '"'), also="mm"),
            Unit("thou", INCH / 1000, ("thousandths", "thousandths of an inch"), also="mm"),
            Unit("ft", 12 * INCH, ("foot", "feet", "'"), also="m"),
            vague=dict.fromkeys(
                ("mil", "mils"), "to some it is a thousandth of an inch, to others a mm; type thou or mm"
            ),
            usual=(1e-7, 1e3),
        ),
        _kind(
            "angle",
            "°",
            Unit("°", 1, ("", "deg", "degs", "degree", "degrees")),
            Unit("rad", 180 / pi, ("radian", "radians"), also="°"),
            usual=(0.0, 360.0),
        ),
        _kind(
            "voltage",
            "V",
            *_prefixed(
                "V",
                "mV kV µV",
                ("volt", "volts", "VDC", "VAC", "Vrms", "voltsDC", "voltsAC", "DCV", "ACV", "DC volts", "AC volts"),
            ),
            usual=(1e-9, 1e5),
            cased=True,
        ),
        _kind(
            "current",
            "A",
            *_prefixed("A", "mA µA nA kA", ("amp", "amps", "ampere", "amperes", "ADC", "AAC")),
            usual=(1e-13, 1e4),
            cased=True,
        ),
        _kind(
            "resistance",
            "Ω",
            *_ohms(),
            vague=dict.fromkeys(("mohm", "mohms", "MOHM", "MOHMS", "m", "M"), _MILLI),
            least=0,
            usual=(1e-7, 1e15),
            cased=True,
        ),
        _kind(
            "capacitance",
            "F",
            Unit("F", 1, ("farad", "farads")),
            Unit("µF", 1e-6, ("uF", "mfd", "MFD", "microfarad", "microfarads")),
            Unit("nF", 1e-9, ("nanofarad", "nanofarads")),
            Unit("pF", 1e-12, ("picofarad", "picofarads")),
            Unit("mF", 1e-3, ("millifarad", "millifarads"), aloud="millifarad"),
            least=0,
            usual=(1e-13, 1.0),
            cased=True,
        ),
        _kind(
            "energy",
            "J",
            *_prefixed("J", "mJ kJ µJ", ("joule", "joules", "Ws")),
            least=0,
            usual=(1e-9, 1e4),
            cased=True,
        ),
        _kind(
            "temperature",
            "°C",
            Unit("°C", 1, ("C", "degC", "degrees C", "celsius", "degrees celsius", "centigrade")),
            Unit("°F", 5 / 9, ("F", "degF", "degrees F", "fahrenheit", "degrees fahrenheit"), -160 / 9, also="°C"),
            Unit("K", 1, ("kelvin", "kelvins"), -273.15, also="°C"),
            vague=dict.fromkeys(("", "°", "deg", "degs", "degree", "degrees"), "°C or °F"),
            least=-273.15,
            usual=(-120.0, 2500.0),
        ),
        _kind(
            "pressure",
            "Pa",
            Unit("Pa", 1),
            Unit("hPa", 100, ("mbar", "millibar", "millibars", "mb")),
            Unit("kPa", 1e3),
            Unit("MPa", 1e6),
            Unit("bar", 1e5, ("bara", "bar abs", "bar absolute")),
            Unit("psi", POUND_FORCE / INCH**2, ("psia", "psi abs", "psi absolute", "lbf/in2", "lbf/in²"), also="kPa"),
            Unit("inHg", 3386.388640341, ('"Hg', "inches of mercury"), also="kPa"),
            Unit("Torr", 101325 / 760, ("mmHg",), also="kPa"),
            Unit("atm", 101325, also="kPa"),
            vague={
                **dict.fromkeys(("psig", "psi g", "psi gauge"), "gauge pressure; give it absolute, psia"),
                **dict.fromkeys(("barg", "bar gauge"), "gauge pressure; give it absolute, bar"),
                **dict.fromkeys(("mpa", "mPa"), "MPa and mPa are typed so; type MPa, or use kPa or bar"),
            },
            least=0,
            usual=(0.1, 2e7),
        ),
        _kind(
            "time",
            "s",
            Unit("s", 1, ("sec", "secs", "second", "seconds")),
            Unit("ms", 1e-3, ("msec", "millisecond", "milliseconds")),
            Unit("µs", 1e-6, ("us", "usec", "microsecond", "microseconds")),
            Unit("min", 60, ("mins", "minute", "minutes")),
            Unit("h", 3600, ("hr", "hrs", "hour", "hours")),
            vague={
                **dict.fromkeys(("m", "M"), "min or ms"),
                **dict.fromkeys(("'", '"'), "they are feet and inches too; type min or s"),
            },
            least=0,
            usual=(1e-9, 1e6),
        ),
        _kind(
            "rate",
            "1/s",
            Unit(
                "per second",
                1,
                ("1/s", "/s", "/sec", "per s", "per sec", "a second", "Hz", "s⁻¹", *_sparks("s", "sec", "second")),
            ),
            Unit(
                "per minute",
                1 / 60,
                ("1/min", "/min", "per min", "a minute", *_sparks("min", "minute")),
                also="per second",
            ),
            least=0,
            usual=(1e-4, 1e3),
        ),
        _kind(
            "share",
            "1",
            Unit("%", 0.01, ("percent", "per cent", "pct")),
            vague={"": "a fraction or per cent; type it with %"},
            usual=(0.0, 100.0),
        ),
        _kind(
            "life",
            "1",
            Unit("starts", 1, ("start", "cycles", "cycle")),
            Unit("h", 1, ("hr", "hrs", "hour", "hours", "FH")),
            vague={"": "starts or hours"},
            least=0,
            usual=(0.0, 1e6),
        ),
    )
}
"""Kind → its units. ``life`` keeps figures in the unit told: starts and hours are not turned into each other.
A pressure is absolute."""

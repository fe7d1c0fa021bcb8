"""Reading quantities as people type them: what is taken, how it is said, what is refused and in which words.

What people type is practice; the factors are held against outside sources in tests/published/test_units.py.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc.figures import LONGEST, number, tidy, whole
from isolate.calc.units import INCH, KINDS, OVER_RANGE, Unclear, figure, read, unit_of

FOOT_POUND = 1.3558179483314004
"""Newton metres in a pound-force foot: 0.3048 m × 0.45359237 kg × 9.80665 m/s², worked out by hand from these three."""


@pytest.mark.parametrize(
    ("typed", "kind", "value", "within"),
    [
        *[
            (f"12{gap}{unit}", "torque", 12 * FOOT_POUND, FOOT_POUND / 2)
            for gap in ("", " ")
            for unit in (
                "ft-lb",
                "lb.ft",
                "lbf·ft",
                "ft lbs",
                "ft. lbs.",
                "FT-LB",
                "foot pounds",
                "lb/ft",
                "pound-feet",
            )
        ],
        ("144 in-lb", "torque", 12 * FOOT_POUND, FOOT_POUND / 24),
        ("16 Nm", "torque", 16, 0.5),
        ("16 N m", "torque", 16, 0.5),
        ("16 n·m", "torque", 16, 0.5),
        ("1,5 mm", "length", 1.5e-3, 5e-5),
        ("1.5mm", "length", 1.5e-3, 5e-5),
        ('.060"', "length", 0.060 * INCH, 0.0005 * INCH),
        ("1.500 in", "length", 1.5 * INCH, 0.0005 * INCH),
        ("1/16 in", "length", INCH / 16, INCH / 32),
        ('1 1/2"', "length", 1.5 * INCH, INCH / 4),
        ("1-1/2 in", "length", 1.5 * INCH, INCH / 4),
        ("½ in", "length", INCH / 2, INCH / 4),
        ("1½ in", "length", 1.5 * INCH, INCH / 4),
        ("5'6\"", "length", 66 * INCH, INCH / 2),
        ("5 ft 6 in", "length", 66 * INCH, INCH / 2),
        ("12-in", "length", 12 * INCH, INCH / 2),
        ("1 500 mm", "length", 1.5, 5e-4),
        ("1\u202f500 mm", "length", 1.5, 5e-4),  # a thin space
        ("1\u00a0500\u00a0mm", "length", 1.5, 5e-4),  # spaces that do not break
        ("1,500.0 mm", "length", 1.5, 5e-5),
        ("1.500,0 mm", "length", 1.5, 5e-5),
        ("1,500,000 µm", "length", 1.5, 5e-7),
        ("0,500 mm", "length", 5e-4, 5e-7),
        ("１２ mm", "length", 12e-3, 5e-4),  # digits of full width
        ("\u202e12 mm\u200b", "length", 12e-3, 5e-4),  # marks that only steer the layout
        ("28V", "voltage", 28, 0.5),
        ("28 VDC", "voltage", 28, 0.5),
        ("28 V DC", "voltage", 28, 0.5),
        ("28 v dc", "voltage", 28, 0.5),
        ("+28.0 volts", "voltage", 28, 0.05),
        ("28-30 V", "voltage", 29, 1),
        ("28–30V", "voltage", 29, 1),
        ("28 V to 30 V", "voltage", 29, 1),
        ("28...30 V", "voltage", 29, 1),
        ("-3 to -1 V", "voltage", -2, 1),
        ("500 mV to 2 V", "voltage", 1.25, 0.75),
        ("28.4 V ± 0.2", "voltage", 28.4, 0.2),
        ("28.4 ± 0.2 V", "voltage", 28.4, 0.2),
        ("28.4V+/-200mV", "voltage", 28.4, 0.2),
        ("28.4 V +- 1 %", "voltage", 28.4, 0.284),
        ("(28.4 ± 0.2) V", "voltage", 28.4, 0.2),
        ("28.4 V ± (1 % + 2 digits)", "voltage", 28.4, 0.484),
        ("28.4 V ± 3 counts", "voltage", 28.4, 0.3),
        ("28 mv", "voltage", 0.028, 5e-4),
        ("2 KV", "voltage", 2000, 500),
        ("2 ma", "current", 2e-3, 5e-4),
        ("30 MΩ", "resistance", 30e6, 5e5),
        ("30 M\u2126", "resistance", 30e6, 5e5),  # the sign for the ohm
        ("30 mΩ", "resistance", 30e-3, 5e-4),
        ("30 Mohm", "resistance", 30e6, 5e5),
        ("30 mOHM", "resistance", 30e-3, 5e-4),
        ("5 MPA", "pressure", 5e6, 5e5),
        ("30 meg", "resistance", 30e6, 5e5),
        ("30 Megohms", "resistance", 30e6, 5e5),
        ("4.7k", "resistance", 4700, 50),
        ("0.2 R", "resistance", 0.2, 0.05),
        ("1e6 Ω", "resistance", 1e6, 5e5),
        ("1.5e-3 Ω", "resistance", 1.5e-3, 5e-5),
        ("2 uF", "capacitance", 2e-6, 5e-7),
        ("2 μF", "capacitance", 2e-6, 5e-7),  # the Greek letter
        ("2 µF", "capacitance", 2e-6, 5e-7),  # the sign for micro
        ("2 MFD", "capacitance", 2e-6, 5e-7),
        ("−5 °C", "temperature", -5, 0.5),
        ("-5C", "temperature", -5, 0.5),
        ("68F", "temperature", 20, 5 / 18),
        ("68 °F ± 2", "temperature", 20, 10 / 9),  # a difference: the offset of the scale has no part in it
        ("20 °C ± 2 °F", "temperature", 20, 10 / 9),
        ("20 ℃", "temperature", 20, 0.5),
        ("1 min 30 s", "time", 90, 0.5),
        ("1.5 min", "time", 90, 3),
        ("120/min", "rate", 2, 1 / 120),
        ("2 sparks a second", "rate", 2, 0.5),
        ("2 1/s", "rate", 2, 0.5),
        ("5 %", "share", 0.05, 0.005),
        ("5 ± 1 %", "share", 0.05, 0.01),
        ("45", "angle", 45, 0.5),
        ("45deg", "angle", 45, 0.5),
        ("2900-3100 starts", "life", 3000, 100),
    ],
)
def test_what_people_type_is_understood(typed: str, kind: str, value: float, within: float) -> None:
    found = read(typed, kind)
    assert found.value == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert found.within == pytest.approx(within, rel=1e-9)
    assert found.bound == "" and found.low < found.high


@pytest.mark.parametrize(
    ("typed", "kind", "words"),
    [
        ("12", "torque", "unit is missing"),
        ("12 lb", "torque", "ambiguous"),
        ("12 mN", "torque", "a force"),
        ("12 V", "torque", "a unit of voltage"),
        ("12 furlongs", "torque", "no unit of torque"),
        ("30 000 N·m", "torque", "is the unit right?"),
        ("-12 N·m", "torque", "no torque below 0 N·m"),
        ("30M", "resistance", "ambiguous"),
        ("30 m", "resistance", "ambiguous"),
        ("30 MOHM", "resistance", "ambiguous"),
        ("30 mohm", "resistance", "ambiguous"),
        ("1e-9 Ω", "resistance", "is the unit right?"),
        ("28 MV", "voltage", "milli or mega"),
        ("2 MA", "current", "milli or mega"),
        ("2 MF", "capacitance", "milli or mega"),
        ("500 kV", "voltage", "is the unit right?"),
        ("20", "temperature", "°C or °F"),
        ("20°", "temperature", "°C or °F"),
        ("-300 °C", "temperature", "no temperature below -273.15 °C"),
        ("70 K", "temperature", "is the unit right?"),
        ("12 mil", "length", "ambiguous"),
        ("12'", "time", "feet and inches"),
        ("1:30", "time", "with a colon"),
        ("5 m", "time", "min or ms"),
        ("0.05", "share", "with %"),
        ("400", "angle", "is the unit right?"),
        ("14.7 psig", "pressure", "gauge"),
        ("12² mm", "length", "no unit"),
        ("5 mpa", "pressure", "ambiguous"),
        ("2000", "life", "starts or hours"),
        ("1,500 mm", "length", "1500 or 1.500"),
        ("1,5,0 mm", "length", "more than one decimal mark"),
        ("1.500.00 mm", "length", "more than one decimal mark"),
        ("0 500 mm", "length", "a space in it"),
        ("1-5/3 in", "length", "not clear"),
        ("0-1/2 in", "length", "not clear"),
        ("1/0 in", "length", "no fraction"),
        ("30-28 V", "voltage", "from the smaller"),
        ("28-30 V ± 1", "voltage", "not both"),
        ("28 V ±", "voltage", "after ±"),
        ("28 V ± x", "voltage", "after ±"),
        ("28 V ± -1", "voltage", "after ±"),
        ("28 V ± 1 ± 1", "voltage", "after ±"),
        ("28 V ± 1 A", "voltage", "a unit of current"),
        ("30 ± 5 %", "resistance", "unit is missing"),
        ("about 28 V", "voltage", "how roughly"),
        ("~28 V", "voltage", "how roughly"),
        (">28 V", "voltage", "only that it is more"),
        ("OL", "resistance", "no figure"),
        ("", "voltage", "nothing was typed"),
        ("   ", "voltage", "nothing was typed"),
        ("V", "voltage", "no figure"),
        ("nan V", "voltage", "no figure"),
        ("-inf V", "voltage", "no figure"),
        ("1e999999 V", "voltage", "beyond all measure"),
        ("1e308 kV", "voltage", "beyond all measure"),
        ("1e-400 V", "voltage", "beyond all measure"),
        ("0x1F V", "voltage", "no unit"),
        ("28 V; 29 V", "voltage", "no unit"),
        ("28\x1b[2J V", "voltage", "no text"),
        ("28\x00 V", "voltage", "no text"),
        ("9" * 10_000 + " V", "voltage", "10002 characters"),
        ("9" * 79 + " V", "voltage", "81 characters"),
    ],
)
def test_what_is_not_clear_is_refused_in_a_sentence(typed: str, kind: str, words: str) -> None:
    with pytest.raises(Unclear) as caught:
        read(typed, kind)
    said = str(caught.value)
    assert words in said and said.isprintable() and len(said) < 200


def test_a_meter_that_says_more_than() -> None:
    more, over, less = (read(t, "resistance", beyond=True) for t in (">500 MΩ", "OL", "under 0.1 Ω"))
    assert (more.value, more.low, more.high, more.bound) == (5e8, 5e8, float("inf"), "above")
    assert (over.value, over.bound, over.said()) == (float("inf"), "above", OVER_RANGE)
    assert (less.low, less.high, less.bound) == (0.0, 0.1, "below")
    for typed in ("o.l", "0L", "Open", "over range", "OVERLOAD", "∞", "infinite", OVER_RANGE):
        assert read(typed, "resistance", beyond=True) == read(f" {typed} ", "resistance", beyond=True)
        assert read(typed, "resistance", beyond=True).value == float("inf")
    for typed in ("> 500 MΩ", "≥500 MΩ", ">= 500 MΩ", "over 500 MΩ", "more than 500 MΩ", "at least 500 MΩ"):
        found = read(typed, "resistance", beyond=True)
        assert found.value == 5e8 and found.said() == "over 500 MΩ"
    # A plain figure is as ever where more could be taken.
    assert read("500 MΩ", "resistance", beyond=True) == read("500 MΩ", "resistance")


def test_a_limit_is_one_exact_figure() -> None:
    found = read("25 N·m", "torque", exact=True)
    assert (found.within, found.low, found.high) == (0, 25, 25)
    for typed in ("25 ± 2 N·m", "20-25 N·m", ">25 N·m", "OL"):
        with pytest.raises(Unclear):
            read(typed, "torque", exact=True, beyond=True)


def test_what_is_said_names_the_other_unit_and_the_prefix() -> None:
    assert read("12 ft-lb", "torque").told() == "12 ± 0.5 lbf·ft = 16.27 ± 0.68 N·m"
    assert read("68F", "temperature").told() == "68 ± 0.5 °F = 20 ± 0.28 °C"
    assert read("30 MΩ", "resistance").told() == "30 ± 0.5 MΩ (megohm)"
    assert read("30 mΩ", "resistance").told() == "30 ± 0.5 mΩ (milliohm)"
    assert read("25 N·m", "torque", exact=True).told() == "25 N·m"
    assert read("1,5 mm", "length").said() == "1.5 ± 0.05 mm"
    assert read("45", "angle").said() == "45° ± 0.5°" and read("45", "angle", exact=True).told() == "45°"


def test_no_reading_goes_below_what_exists() -> None:
    assert read("0 Ω", "resistance").low == 0 and read("0 Ω", "resistance").high == 0.5
    assert read("1 Ω ± 3", "resistance").low == 0
    assert read("0 V", "voltage").low == -0.5  # volts have a sign


def test_every_kind_is_whole() -> None:
    for name, kind in KINDS.items():
        assert name == kind.name and kind.units
        if kind.base != "1":
            assert unit_of(name, kind.base).factor == 1
        for unit in kind.units:
            assert not unit.also or unit_of(name, unit.also)
            for spelt in (unit.name, *unit.spelt):
                assert unit_of(name, spelt) == unit, f"{spelt} of {name} is spelt twice"


FIGURES = st.decimals(min_value="0.001", max_value="99999", places=3).map(str)
UNITS = [(kind.name, unit) for kind in KINDS.values() for unit in kind.units]


@given(st.sampled_from(UNITS), FIGURES, st.sampled_from(["", "±"]), st.decimals("0.001", "99", places=3).map(str))
@settings(max_examples=300, deadline=None)
def test_what_is_said_reads_back(of: tuple[str, object], typed: str, mark: str, off: str) -> None:
    kind, unit = of
    name = unit.name  # type: ignore[attr-defined]
    try:
        found = read(f"{typed} {mark} {off} {name}" if mark else f"{typed} {name}", kind)
    except Unclear as error:
        assert "is the unit right?" in str(error)
        return
    again = read(found.said(), kind)
    assert again.value == pytest.approx(found.value, rel=1e-9, abs=1e-9 * abs(unit.offset) if unit.offset else 1e-30)  # type: ignore[attr-defined]
    assert again.within == pytest.approx(found.within, rel=1e-5)
    assert again.said() == found.said()


@given(st.text(max_size=100), st.sampled_from(sorted(KINDS)), st.booleans(), st.booleans())
@settings(max_examples=500, deadline=None)
def test_anything_typed_is_read_or_refused(typed: str, kind: str, exact: bool, beyond: bool) -> None:
    try:
        found = read(typed, kind, exact=exact, beyond=beyond)
    except Unclear as error:
        assert str(error).isprintable() and 0 < len(str(error)) < 250
        return
    assert found.within >= 0 and found.low <= found.value <= found.high


PIECES = [
    "1",
    "12",
    "1,5",
    ".5",
    "1 1/2",
    "1,500",
    "-",
    "±",
    " ",
    "V",
    "mm",
    "MΩ",
    "to",
    ">",
    "%",
    "+",
    "'",
    '"',
    "e5",
    "/",
    "OL",
    "(",
]


@given(st.lists(st.sampled_from(PIECES), max_size=8).map("".join), st.sampled_from(sorted(KINDS)))
@settings(max_examples=500, deadline=None)
def test_nearly_right_is_read_or_refused(typed: str, kind: str) -> None:
    test_anything_typed_is_read_or_refused.hypothesis.inner_test(typed, kind, False, True)  # type: ignore[attr-defined]


def test_whole_numbers_and_bare_numbers() -> None:
    assert [whole(t) for t in ("0", "12", " 12 ", "1 500", "1,500", "1.500", "1,500,000", "１２")] == [
        *(0, 12, 12, 1500, 1500, 1500, 1_500_000, 12)
    ]
    for typed in ("", "-1", "1.5", "1,50", "1,500.000", "twelve", "9" * 13, "1e3", "²"):
        with pytest.raises(Unclear):
            whole(typed)
    assert [number(t) for t in ("1.5", "1,5", "-2", ".5", "5.", "1/4", "1e3")] == [1.5, 1.5, -2, 0.5, 5, 0.25, 1000]
    for typed in ("", "nan", "inf", "1,500", "1e400", "--1", "1 V", "1_000"):
        with pytest.raises(Unclear):
            number(typed)


def test_figures_are_plain() -> None:
    values = (0, -0.0, 1234.5, 0.00001234, 1e15, 1e-13, 999.9, 2.5, -12.345)
    assert [figure(v) for v in values] == [
        *("0", "0", "1230", "0.0000123", "1000000000000000", "0.0000000000001", "1000", "2.5", "-12.3")
    ]
    assert figure(12.3456, 5) == "12.346" and figure(float("inf")) == "inf"


def test_text_in_one_spelling() -> None:
    assert tidy("  1½ ″ − 3 ’ ") == "1 1/2 \" - 3 '"
    assert len(tidy("1" * LONGEST)) == LONGEST


def test_a_figure_of_hundreds_of_digits_is_not_told_back() -> None:
    with pytest.raises(Unclear) as error:
        read("1e-320 mm", "length")
    assert len(str(error.value)) < 120

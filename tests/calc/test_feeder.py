"""A feed: what is expected, what is found under load, what a reading without load cannot see, what cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

from isolate.calc.feeder import CALCULATION, hidden_ohm, path_ohm
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found, Unfit
from tests.bench.electric_coverage import coverage

LOADED = {
    "off-load": "28.10 V ± 0.02",
    "bus-off-load": "28.10 V ± 0.02",
    "bus-on-load": "27.95 V ± 0.02",
    "on-load": "25.40 V ± 0.02",
    "current": "3.00 A ± 0.01",
}
WIRE = {"gauge": "14", "length": "18 ft ± 1 in"}


def work(told: dict[str, str], **more: str) -> Found:
    return CALCULATION.work(read(CALCULATION, told | {k.replace("_", "-"): v for k, v in more.items()}))


def value(found: Found, name: str) -> tuple[float, float, float]:
    one = next(f for f in found.figures if f.name == name)
    return one.value, one.low, one.high


def verdicts(found: Found) -> dict[str, str]:
    return {what: judged.verdict for what, judged in found.judged.items()}


def test_a_feed_that_measures_fine_without_load_is_found_under_load() -> None:
    """By hand: 27.95 - 25.40 = 2.55 V at 3 A is 0.85 Ω and 7.65 W; 18 ft of .00306 Ω/ft is 0.0551 Ω."""
    found = work(LOADED | WIRE, allowed="1 V")
    assert verdicts(found) == {"": "above", "unloaded": "present"}
    assert value(found, "drop")[0] == pytest.approx(2.55)
    assert value(found, "path")[0] == pytest.approx(0.85)
    assert value(found, "heat")[0] == pytest.approx(7.65)
    assert value(found, "source")[0] == pytest.approx(0.05)
    assert value(found, "wire")[0] == pytest.approx(0.05508)
    assert value(found, "added")[0] == pytest.approx(0.85 - 0.05508)
    said = "\n".join(found.lines)
    assert "that reading cannot see this" in said
    assert "likeliest first" in said
    assert found.lines[0].startswith("Under load it loses 2.55 V")


def test_every_figure_lies_in_its_interval() -> None:
    for one in work(LOADED | WIRE, return_drop="12 mV").figures:
        assert one.low <= one.value <= one.high, one.name


def test_a_good_feed_has_nothing_added_and_no_list_of_places() -> None:
    found = work(LOADED | WIRE | {"on-load": "27.79 V ± 0.02"}, allowed="1 V")
    assert verdicts(found)[""] == "within"
    assert any("nothing added for certain" in line for line in found.lines)
    assert not any("likeliest first" in line for line in found.lines)
    assert value(found, "added")[1] == 0


def test_a_limit_within_the_interval_cannot_be_told() -> None:
    found = work(LOADED, allowed="2.55 V")
    assert verdicts(found)[""] == CANNOT_TELL
    assert "finer" in found.judged[""].why


def test_nothing_is_judged_without_a_limit() -> None:
    assert "" not in work(LOADED | WIRE, system="28 V").judged


def test_general_practice_is_said_and_never_judged_by() -> None:
    found = work(LOADED, system="28 V")
    assert any("1 V between bus and equipment" in line and "2 V" in line for line in found.lines)
    assert "" not in found.judged
    assert verdicts(work(LOADED, system="28 V", allowed="3 V"))[""] == "within", "your data, not the 1 V of practice"


def test_without_the_bus_under_load_the_sources_sag_is_in_it_and_that_is_said() -> None:
    told = {k: v for k, v in LOADED.items() if k != "bus-on-load"}
    found = work(told, allowed="1 V")
    assert value(found, "drop")[0] == pytest.approx(2.70)
    assert any("sag" in warning for warning in found.warnings)
    # The feed is not condemned for what the source may have lost; it may be cleared.
    assert found.judged[""].verdict == CANNOT_TELL and "sag" in found.judged[""].why
    assert work(told, allowed="5 V").judged[""].verdict == "within"


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"bus-on-load": "27.95 V", "on-load": "27.90 V", "current": "20 mA"}, "load it as your data says"),
        ({"bus-on-load": "27.95 V", "on-load": "27.90 V", "load": "2 kΩ"}, "load it as your data says"),
        ({"bus-on-load": "27.95 V", "on-load": "27.95 V"}, "see that the load draws"),
        ({"bus-on-load": "28.0 V", "on-load": "27.9 V", "current": "3.0 A", "gauge": "22", "length": "100 ft"}, "wire"),
    ],
)
def test_a_small_drop_clears_nothing_where_nothing_drew_or_something_told_is_not_so(
    told: dict[str, str], why: str
) -> None:
    found = work(told, allowed="1 V")
    assert verdicts(found)[""] == CANNOT_TELL and why in found.judged[""].why


def test_a_feed_within_its_limit_has_no_list_of_places() -> None:
    """0.05 V at 3 A: a resistance is there for certain, and it is no fault."""
    told = {"bus-on-load": "27.95 V", "on-load": "27.90 V", "current": "3.0 A"}
    assert not any("hides" in line for line in work(told, allowed="1 V").lines)
    assert any("hides" in line for line in work(told, allowed="0.01 V").lines)
    assert any("hides" in line for line in work(told).lines)


def test_the_load_stands_in_for_the_current() -> None:
    """25.4 V over 8.4667 Ω is 3 A."""
    told = {k: v for k, v in LOADED.items() if k != "current"}
    found = work(told, load="8.4667 Ω")
    assert value(found, "path")[0] == pytest.approx(0.85, rel=1e-3)


def test_current_and_load_that_do_not_agree_are_told() -> None:
    assert any("is not what the load would draw" in w for w in work(LOADED, load="20 Ω").warnings)
    assert not any("is not what the load would draw" in w for w in work(LOADED, load="8.5 Ω").warnings)


@pytest.mark.parametrize("more", [{}, {"current": "0 A"}])
def test_nothing_under_load_is_an_open_whatever_arrives_without(more: dict[str, str]) -> None:
    found = work({"off-load": "28.1 V", "on-load": "0.1 V"} | more, allowed="1 V")
    assert verdicts(found)[""] == "open"
    assert "looked alive" in found.judged[""].why


def test_a_current_into_nothing_cannot_be_told() -> None:
    found = work({"off-load": "28.1 V", "on-load": "0.1 V", "current": "3 A"}, allowed="1 V")
    assert verdicts(found)[""] == CANNOT_TELL


@pytest.mark.parametrize(
    ("told", "verdict"),
    [
        ({"off-load": "28.10 V", "bus-off-load": "28.12 V"}, "present"),
        ({"off-load": "26.10 V", "bus-off-load": "28.12 V"}, "low"),
        ({"off-load": "0.1 V", "bus-off-load": "28.1 V"}, "absent"),
        ({"off-load": "0.1 V", "system": "28 V"}, "absent"),
        ({"off-load": "0.1 V"}, "absent"),
        ({"off-load": "28 V", "bus-off-load": "28 V"}, CANNOT_TELL),  # read to the volt
        ({"off-load": "28.9 V", "bus-off-load": "28.1 V"}, CANNOT_TELL),  # not read on one source
        ({"off-load": "0.1 V", "bus-off-load": "0.0 V"}, CANNOT_TELL),  # the bus is dead
    ],
)
def test_what_arrives_without_load(told: dict[str, str], verdict: str) -> None:
    assert verdicts(work(told))["unloaded"] == verdict


def test_the_return_alone_is_set_beside_what_structure_may_have() -> None:
    good = work(LOADED, return_drop="12.0 mV")
    assert value(good, "return")[0] == pytest.approx(0.004)
    assert any("satisfactory" in line for line in good.lines)
    bad = work(LOADED, return_drop="900 mV")
    first = next(line for line in bad.lines if line.startswith("1. "))
    assert "return" in first
    assert not any("return" in line for line in good.lines if line[:1].isdigit())


def test_a_return_by_wire_counts_too() -> None:
    there = value(work(WIRE), "wire")
    both = value(work(WIRE | {"return": "wire"}), "wire")
    apart = value(work(WIRE | {"return": "wire", "return-length": "9 ft"}), "wire")
    assert both[0] == pytest.approx(2 * there[0])
    assert apart[0] == pytest.approx(1.5 * there[0])


def test_a_wire_that_has_less_than_it_can_have_is_told() -> None:
    found = work(LOADED | {"gauge": "22", "length": "200 ft"})
    assert any("less than the wire alone" in w for w in found.warnings)
    assert not any(f.name == "added" for f in found.figures)


def test_a_design_that_takes_more_than_is_allowed_is_told() -> None:
    found = work({"gauge": "22", "length": "100 ft", "current": "3.0 A"}, allowed="1 V")
    assert any("more than your data allows" in line for line in found.lines)
    assert found.judged == {}, "no reading, so nothing to judge"


def test_how_hands_and_exciter_keep_clear_is_said_with_every_reading() -> None:
    for told in (LOADED, {"off-load": "28.1 V"}):
        assert any("power off" in w and "off the exciter" in w for w in work(told).warnings)
    assert not work(WIRE | {"current": "3 A"}).warnings, "nothing was measured"


def test_400_hertz_is_told_apart() -> None:
    told = {"bus-on-load": "115.0 V", "on-load": "112.0 V", "current": "2.00 A"}
    assert any("400 Hz" in w for w in work(told).warnings)
    assert not any("400 Hz" in w for w in work(LOADED).warnings)


def test_the_meters_own_error_is_asked_for_where_it_was_not_told() -> None:
    assert any("±" in line for line in work({"off-load": "28.1 V"}).lines)
    assert not any("±" in line for line in work({"off-load": "28.1 V ± 0.1 V"}).lines)


@pytest.mark.parametrize(
    ("told", "of"),
    [
        ({}, ""),
        ({"gauge": "14"}, "length"),
        ({"length": "12 ft"}, "gauge"),
        ({"gauge": "3", "length": "12 ft"}, "gauge"),
        ({"gauge": "14", "length": "0 ft"}, "length"),
        ({"gauge": "14", "length": "-3 ft"}, "length"),
        ({"gauge": "14", "length": "900 m"}, "length"),
        ({"gauge": "14", "length": "12 ft", "return-length": "3 ft"}, "return-length"),
        ({"gauge": "14", "length": "12 ft", "temperature": "600 °C"}, "temperature"),
        ({"on-load": "27 V"}, "on-load"),
        ({"off-load": "20.0 V", "on-load": "28.0 V"}, "on-load"),
        ({"bus-on-load": "20.0 V", "on-load": "28.0 V"}, "on-load"),
        ({"bus-off-load": "20.0 V", "bus-on-load": "28.0 V"}, "bus-on-load"),
        ({"off-load": "-28.1 V"}, "off-load"),
        ({"off-load": "28.1 kV"}, "off-load"),
        ({"off-load": "115 V", "system": "28 V"}, "off-load"),
        (LOADED | {"current": "0 A"}, "current"),
        (LOADED | {"current": "-3 A"}, "current"),
        (LOADED | {"current": "3 A ± 5 A"}, "current"),
        (LOADED | {"current": "3000 A"}, "current"),
        (LOADED | {"load": "0 Ω"}, "load"),
        (LOADED | {"load": "9 MΩ"}, "load"),
        (LOADED | {"return-drop": "-3 mV"}, "return-drop"),
        (LOADED | {"return-drop": "12 V"}, "return-drop"),
        (LOADED | {"allowed": "28 V"}, "allowed"),
        (LOADED | {"allowed": "0 V"}, "allowed"),
        ({"gauge": "14", "length": "12 ft", "allowed": "28 V"}, "allowed"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(told: dict[str, str], of: str) -> None:
    with pytest.raises(Unfit) as error:
        work(told)
    assert error.value.of == of


def test_a_current_in_the_wrong_unit_is_told() -> None:
    assert any("is the unit right" in w for w in work(LOADED | {"current": "3 mA"}).warnings)


@settings(max_examples=60, deadline=None)
@drawn(st.floats(0.5, 400), st.floats(0, 400), st.floats(0.1, 400), st.floats(0, 20))
def test_any_readings_give_finite_figures_or_a_sentence(bus: float, on: float, amps: float, lost: float) -> None:
    told = {"bus-on-load": f"{bus:.2f} V", "on-load": f"{on:.2f} V", "current": f"{amps:.2f} A", "gauge": "14"}
    told |= {"length": "18 ft", "return-drop": f"{lost:.3f} V", "allowed": "0.5 V"}
    try:
        found = work(told)
    except Unfit as error:
        assert str(error)
        return
    for one in found.figures:
        assert 0 <= one.low <= one.value <= one.high < float("inf")
    for width in (40, 78):
        assert all(len(line) <= width for line in CALCULATION.draw(found, width, False))  # type: ignore[misc]


def test_a_path_never_gives_anything_back() -> None:
    assert path_ohm(28.0, 28.1, 3.0) == 0


@drawn(st.floats(1, 200), st.floats(0, 1))
def test_what_is_hidden_is_what_would_just_have_shown(supply: float, unseen: float) -> None:
    hidden: Any = hidden_ohm(supply, unseen * supply / 2)
    assert supply * hidden / (hidden + 10e6) == pytest.approx(unseen * supply / 2, abs=1e-9)


def test_intervals_hold_what_they_say() -> None:
    """A miniature of tests/bench/electric_coverage.py, seeded: of 40 intervals of each kind about 38 should hold."""
    stated = {name: share for name, (share, _) in coverage(40, noises=(0,)).items()}
    assert {n.split(":")[0] for n in stated} == {"feeder", "lead", "insulation"}
    assert {n: share for n, share in stated.items() if share < 0.85} == {}
    assert sum(stated.values()) / len(stated) < 0.985, "intervals that always hold are too wide"


def test_a_drop_with_nothing_known_of_the_load_clears_nothing() -> None:
    found = work({"bus-on-load": "27.95 V", "on-load": "27.50 V"}, allowed="1 V")
    assert verdicts(found)[""] == CANNOT_TELL and "tell the current" in found.judged[""].why
    found = work({"bus-on-load": "27.95 V", "on-load": "27.50 V", "current": "3.0 A"}, allowed="1 V")
    assert verdicts(found)[""] == "within" and "at 3 A" in found.judged[""].why
    # More than is allowed is more whatever flowed.
    assert verdicts(work({"bus-on-load": "27.95 V", "on-load": "26.0 V"}, allowed="1 V"))[""] == "above"


def test_what_the_table_rounds_off_of_a_thick_wire_is_in_its_interval() -> None:
    """MIL-W-22759/16 has 0.056 and 0.071 Ω for 1,000 ft of 4/0 and 3/0 [memory], the circular .06 and .07."""
    for size, ohm in (("4/0", 0.056e-3), ("3/0", 0.071e-3), ("2/0", 0.091e-3), ("0", 0.116e-3), ("2", 0.183e-3)):
        found = work({"gauge": size, "length": "100.00 ft"})
        one = next(f for f in found.figures if f.name == "wire")
        assert one.low <= 100 * ohm <= one.high, size

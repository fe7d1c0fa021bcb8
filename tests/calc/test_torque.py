"""Torque wrench and extension: the sums, the wrench's own scale, the band, the holding wrench, what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from isolate.calc import TITLES, torque
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found, Unfit
from isolate.calc.torque import CALCULATION, arm, nearest_step, on_plug, setting

LINE = {"wanted": "100 lbf·in", "handle": "12.0 in", "extension": "6.0 in", "angle": "0"}


def work(**told: str) -> Found:
    return CALCULATION.work(read(CALCULATION, {k.replace("_", "-"): v for k, v in told.items()}))


def of(found: Found, name: str) -> tuple[float, float, float]:
    one = next(f for f in found.figures if f.name == name)
    return one.value, one.low, one.high


def refused(**told: str) -> Unfit:
    with pytest.raises(Unfit) as error:
        work(**told)
    return error.value


HANDLES = st.floats(0.1, 1)
EXTENSIONS = st.floats(0.02, 0.3)
ANGLES = st.floats(-180, 180)


@given(st.floats(1, 300), HANDLES, EXTENSIONS, ANGLES)
def test_setting_and_what_comes_on_the_plug_are_each_other_undone(
    wanted: float, handle: float, extension: float, angle: float
) -> None:
    assume(arm(handle, extension, angle) > 0.05)
    set_to = setting(wanted, handle, extension, angle)
    assert on_plug(set_to, handle, extension, angle) == pytest.approx(wanted, rel=1e-12)


@given(HANDLES, EXTENSIONS, ANGLES)
def test_the_arm_is_the_moment_about_the_plug_by_vectors(handle: float, extension: float, angle: float) -> None:
    grip, drive = (0.0, 0.0), (handle, 0.0)
    plug = (
        drive[0] + extension * math.cos(math.radians(angle)),
        drive[1] + extension * math.sin(math.radians(angle)),
    )
    pull = (0.0, -1.0)  # square to the handle
    moment = abs((grip[0] - plug[0]) * pull[1] - (grip[1] - plug[1]) * pull[0])
    assert abs(arm(handle, extension, angle)) == pytest.approx(moment, abs=1e-12)


@given(st.floats(1, 200), HANDLES, EXTENSIONS, ANGLES)
def test_in_line_needs_the_least_and_pointing_back_the_most(
    wanted: float, handle: float, extension: float, angle: float
) -> None:
    assume(arm(handle, extension, 180) > 0.05)
    found = setting(wanted, handle, extension, angle)
    assert setting(wanted, handle, extension, 0) <= found * (1 + 1e-12)
    assert found <= setting(wanted, handle, extension, 180) * (1 + 1e-12)


@given(st.floats(0.1, 500), st.floats(0.1, 20), st.floats(1, 50), st.floats(60, 400))
def test_a_step_is_on_the_scale_inside_the_range_and_the_nearest_there(
    value: float, step: float, least: float, most: float
) -> None:
    found = nearest_step(value, step, least, most)
    steps = [n * step for n in range(1, int(most / step) + 2) if least - 1e-9 * step <= n * step <= most * (1 + 1e-9)]
    if not steps:
        assert found is None
        return
    assert found is not None
    assert min(abs(found - s) for s in steps) < 1e-6
    assert abs(found - value) <= min(abs(s - value) for s in steps) + 1e-6


def test_no_step_below_nought_or_of_nothing() -> None:
    assert nearest_step(0.1, 5) == 5
    with pytest.raises(ValueError, match="step"):
        nearest_step(10, 0)


def test_the_answer_is_in_the_unit_typed_and_the_two_others() -> None:
    found = work(**LINE)
    assert "66.7 lbf·in" in found.lines[0]
    assert "7.53 N·m or 5.56 lbf·ft" in found.lines[0]
    assert of(found, "setting-n-m")[0] == pytest.approx(66.6667 * 0.112984829, rel=1e-5)
    assert next(f.unit for f in found.figures if f.name == "setting") == "lbf·in"


def test_the_answer_is_in_the_unit_of_the_wrench_where_that_was_told() -> None:
    assert "7.5 N·m" in work(**LINE, resolution="0.5 N·m").lines[0]


def test_the_step_that_the_wrench_has_and_what_comes_of_it() -> None:
    found = work(**LINE, resolution="5 lbf·in", accuracy="4 ± 0 %")
    assert of(found, "set-to") == (pytest.approx(65),) * 3
    assert of(found, "torque")[0] == pytest.approx(97.5)
    assert found.lines[0].startswith("Set the wrench to 65 lbf·in")
    assert "2.5 % below" in found.lines[0]


def test_the_step_stays_inside_the_range() -> None:
    found = work(**LINE, resolution="4 lbf·in", least="10 lbf·in", most="67 lbf·in")
    assert of(found, "set-to")[0] == pytest.approx(64)


@pytest.mark.parametrize(("angle", "times"), [("0", 1.5), ("60", 1.25), ("90", 1), ("120", 0.75), ("180", 0.5)])
def test_the_reverse(angle: str, times: float) -> None:
    found = work(set="80 lbf·in", handle="12 in", extension="6 in", angle=angle)
    assert of(found, "torque")[0] == pytest.approx(80 * times)


def test_without_an_extension_the_plug_gets_what_the_wrench_reads() -> None:
    found = work(wanted="20 N·m")
    assert of(found, "setting") == (pytest.approx(20),) * 3
    assert CALCULATION.draw is not None
    assert list(CALCULATION.draw(found, 78, False)) == []


def test_accuracy_widens_and_untold_accuracy_is_said() -> None:
    exact = {"handle": "12 ± 0 in", "extension": "6 ± 0 in", "angle": "0 ± 0"}
    told = work(wanted="100 lbf·in", accuracy="4 %", **exact)
    _, low, high = of(told, "torque")
    assert (low, high) == (pytest.approx(100 * (1 - 0.95 * 0.04), abs=0.02), pytest.approx(103.8, abs=0.02))
    assert not told.warnings
    untold = work(wanted="100 lbf·in", **exact)
    assert "accuracy was not told" in untold.warnings[0]
    assert of(untold, "torque")[1] < low


@pytest.mark.parametrize(
    ("band", "verdict"),
    [
        (("80", "120"), "within"),
        (("98", "102"), CANNOT_TELL),
        (("110", "130"), "below"),
        (("60", "80"), "above"),
    ],
)
def test_the_band(band: tuple[str, str], verdict: str) -> None:
    exact = {"handle": "12.00 in", "extension": "6.00 in", "angle": "0.0"}
    found = work(
        set="66.67 lbf·in", accuracy="4 %", within_from=f"{band[0]} lbf·in", within_to=f"{band[1]} lbf·in", **exact
    )
    assert found.judged[""].verdict == verdict
    assert found.judged[""].verdict in (*CALCULATION.judges[""], CANNOT_TELL)


def test_a_band_with_one_end() -> None:
    assert work(set="20 N·m", accuracy="4 %", within_to="25 N·m").judged[""].verdict == "within"
    assert work(set="20 N·m", accuracy="4 %", within_from="25 N·m").judged[""].verdict == "below"
    assert not work(set="20 N·m").judged


def test_the_lowest_fifth_is_warned_of() -> None:
    assert any("lowest fifth" in w for w in work(**LINE, most="400 lbf·in").warnings)
    assert not any("lowest fifth" in w for w in work(**LINE, most="330 lbf·in").warnings)


def test_a_setting_off_the_scale_is_pointed_out() -> None:
    assert any("no step" in w for w in work(set="66.7 lbf·in", resolution="5 lbf·in").warnings)
    assert not any("no step" in w for w in work(set="65 lbf·in", resolution="5 lbf·in").warnings)


def test_out_of_range_says_what_range_is_needed() -> None:
    low = refused(**LINE, least="150 lbf·in", most="750 lbf·in")
    assert "66.7 lbf·in" in str(low) and "333 lbf·in" in str(low)
    assert low.of == "wanted"
    assert refused(set="80 lbf·in", most="75 lbf·in").of == "set"
    work(set="75 lbf·in", most="75 lbf·in")


def test_the_holding_wrench_takes_the_same_the_other_way() -> None:
    found = work(
        **LINE,
        accuracy="4 %",
        hold_handle="10.0 in",
        hold_extension="2.0 in",
        hold_angle="180",
        break_out="160 lbf·in",
    )
    # By hand: 100 lbf·in on an arm of 8 in where the drive is 10 in from the grip.
    value, low, high = of(found, "hold-setting")
    assert value == pytest.approx(125)
    assert low < 121 < 129 < high
    assert of(found, "hold-pull")[0] == pytest.approx(100 * 4.4482216152605 / 8)
    assert of(found, "turn-pull")[0] == pytest.approx(100 * 4.4482216152605 / 18)
    assert of(found, "hold-break-out")[0] == pytest.approx(200)
    assert of(found, "turn-break-out")[0] == pytest.approx(160 / 1.5)
    said = " ".join(found.lines)
    assert "other way round" in said and "Loosening" in said and "insert turns" in said


def test_a_holding_wrench_alone_asks_for_the_break_out_torque() -> None:
    assert any("tell break-out" in line for line in work(wanted="20 N·m", hold_handle="250 mm").lines)


@pytest.mark.parametrize(
    ("told", "of_input"),
    [
        ({}, ""),
        ({"wanted": "10 N·m", "set": "10 N·m"}, ""),
        ({"wanted": "0 N·m"}, "wanted"),
        ({"wanted": "20000 N·m"}, "wanted"),
        ({**LINE, "angle": "200"}, "angle"),
        ({"wanted": "10 N·m", "handle": "12 in", "extension": "6 in"}, "angle"),
        ({"wanted": "10 N·m", "extension": "6 in", "angle": "0"}, "handle"),
        ({"wanted": "10 N·m", "handle": "12 in", "angle": "0"}, "extension"),
        ({**LINE, "handle": "12 mm"}, "handle"),
        ({**LINE, "handle": "300 in"}, "handle"),
        ({**LINE, "extension": "6 mm"}, "extension"),
        ({**LINE, "extension": "0 in"}, "extension"),
        ({**LINE, "extension": "-6 in"}, "extension"),
        ({"wanted": "10 N·m", "handle": "6 in", "extension": "6 in", "angle": "180"}, "extension"),
        ({"wanted": "10 N·m", "handle": "6 in", "extension": "9 in", "angle": "180"}, "extension"),
        ({"wanted": "10 N·m", "handle": "2 in", "extension": "12 in", "angle": "0"}, "extension"),
        ({**LINE, "accuracy": "40 %"}, "accuracy"),
        ({**LINE, "accuracy": "0 %"}, "accuracy"),
        ({**LINE, "resolution": "0 lbf·in"}, "resolution"),
        ({**LINE, "resolution": "50 lbf·in", "most": "75 lbf·in"}, "resolution"),
        ({**LINE, "resolution": "50 lbf·in"}, "resolution"),
        ({**LINE, "resolution": "3 lbf·in", "least": "66.5 lbf·in", "most": "68 lbf·in"}, "resolution"),
        ({**LINE, "least": "200 lbf·in", "most": "40 lbf·in"}, "most"),
        ({**LINE, "within-from": "110 lbf·in", "within-to": "90 lbf·in"}, "within-to"),
        ({**LINE, "within-from": "90 lbf·ft", "within-to": "110 lbf·ft"}, "wanted"),
        ({**LINE, "hold-extension": "2 in", "hold-angle": "0"}, "hold-handle"),
        ({**LINE, "hold-handle": "10 in", "hold-extension": "2 in"}, "hold-angle"),
        ({**LINE, "wanted": "100 lb"}, "wanted"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(told: dict[str, str], of_input: str) -> None:
    error = refused(**told)
    assert error.of == of_input
    assert len(str(error)) > 20


@pytest.mark.parametrize("angle", [180, 150, 120, 90, 60, 45, 30, 10, 2, 0, -70])
def test_the_picture_keeps_to_its_width(angle: int) -> None:
    found = work(**{**LINE, "angle": str(angle)}, hold_handle="10 in", hold_extension="4 in", hold_angle="135")
    assert CALCULATION.draw is not None
    for width in range(40, 161):
        for ascii_only in (False, True):
            lines = CALCULATION.draw(found, width, ascii_only)
            assert all(len(line) <= width for line in lines)
            assert len(lines) <= 24
            assert not ascii_only or all(line.isascii() for line in lines)


def test_a_unit_under_the_picture_is_spelt_in_ascii() -> None:
    found = work(**{**LINE, "handle": "304800 µm", "extension": "40000 µm"})
    assert CALCULATION.draw is not None
    lines = CALCULATION.draw(found, 78, True)
    assert all(line.isascii() for line in lines), lines
    assert "O 40000 um at " in lines[-1] and "handle 305000 um" in lines[1]


@pytest.mark.parametrize("width", [40, 78])
def test_the_picture_is_to_scale_along_the_handle(width: int) -> None:
    for angle in (0, 60, 90, 120, 180):
        found = work(**{**LINE, "angle": str(angle)})
        drawn = torque._draw(found, width, False)
        row = next(line for line in drawn if "▼═" in line)
        plug = next(line for line in drawn if "○" in line and "▼ pull" not in line)
        grip, drive = row.index("▼"), row.index("●")
        share = (plug.index("○") - grip) / (drive - grip)
        assert share == pytest.approx(1 + 0.5 * math.cos(math.radians(angle)), abs=1.5 / (drive - grip))


def test_the_title_is_the_one_that_is_listed() -> None:
    assert CALCULATION.title == TITLES["torque"]


def test_what_the_hold_takes_is_as_sure_as_the_torque_it_comes_from() -> None:
    """An even ± 10 % of the wrench: 95 of 100 within 9.5 %. Drawn from the torque's own interval it held 90."""
    told = {"set": "20.0 N·m ± 0", "accuracy": "10 %", "handle": "300 mm ± 0", "hold-handle": "300 mm ± 0"}
    figures = {f.name: f for f in CALCULATION.work(read(CALCULATION, told)).figures}
    for name, value in (("torque", 20.0), ("hold-setting", 20.0), ("hold-pull", 20 / 0.3), ("turn-pull", 20 / 0.3)):
        one = figures[name]
        assert (one.low, one.high) == pytest.approx((0.905 * value, 1.095 * value), rel=2e-3), name


def test_the_pull_on_the_handle_is_the_readings_whatever_is_put_on_it() -> None:
    """The wrench reads pull times its own handle, so what an extension's length is off by is not in the pull."""
    told = {"set": "20.0 N·m ± 0", "accuracy": "4 %", "handle": "300 mm ± 0", "extension": "100 mm ± 20 mm"}
    told |= {"angle": "0°", "hold-handle": "300 mm ± 0"}
    figures = {f.name: f for f in CALCULATION.work(read(CALCULATION, told)).figures}
    pull = figures["turn-pull"]
    assert (pull.low, pull.high) == pytest.approx((0.962 * 20 / 0.3, 1.038 * 20 / 0.3), rel=2e-3)
    assert figures["torque"].high > 1.06 * figures["torque"].value

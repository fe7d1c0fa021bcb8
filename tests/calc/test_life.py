"""Plug life: what is read, refused and said. The figures themselves are held against others in tests/published."""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from isolate.calc import removals, weibull
from isolate.calc.given import read
from isolate.calc.life import CALCULATION
from isolate.calc.shape import CANNOT_TELL, Found, Unfit


def work(**told: str) -> Found:
    return CALCULATION.work(read(CALCULATION, {k.replace("_", "-"): v for k, v in told.items()}))


def listed(tmp_path: Path, text: str | bytes, name: str = "plugs.csv") -> str:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return str(path)


def figures(found: Found) -> dict[str, tuple[float, float, float]]:
    return {f.name: (f.value, f.low, f.high) for f in found.figures}


FAILED = "1200 starts; 1700 starts; 2100 starts; 2500 starts; 2600 starts; 3100 starts"
RUNNING = "900 starts; 1500 starts; 2200 starts; 3000 starts"

# --- reading a list


@pytest.mark.parametrize(
    "text",
    [
        "starts,status\n1200,failed\n900,running\n1500.5,failed\n",
        "\ufeffStarts;Status\r\n1200;FAILED\r\n900;in service\r\n1500,5;misfire\r\n",
        "cycles\tfailed\r1200\tyes\r900\tno\r1500.5\t1\r",
        "age (starts),status,serial\n1200,failed,S1\n900,removed good,S2\n\n1500.5,f,S3\n",
        "serial,age,unit,event\nS1,1200,cycles,1\nS2,900,starts,0\nS3,1500.5,starts,1\n",
        "age,censored\n1200 starts,0\n900 starts,1\n1500.5 starts,0\n",
        'starts,status,remark\n1200,failed,"two\nlines"\n900,running,\n1500.5,failed,x\n',
    ],
    ids=["plain", "bom-semicolons-comma", "tabs-cr", "unit-in-name", "unit-column", "turned-round", "lines-in-a-cell"],
)
def test_lists_as_spreadsheets_save_them(tmp_path: Path, text: str) -> None:
    found = removals.read(listed(tmp_path, text))
    assert (found.failed, found.running, found.unit) == (((1200, 0), (1500.5, 0)), ((900, 0),), "starts")
    assert found.unread == ()


def test_two_bytes_a_letter_and_western_letters(tmp_path: Path) -> None:
    text = "starts,status,where\n1200,failed,Malmö\n"
    assert removals.read(listed(tmp_path, text.encode("utf-16"))).failed == ((1200, 0),)
    found = removals.read(listed(tmp_path, text.encode("cp1252")))
    assert found.failed == ((1200, 0),) and "not UTF-8" in found.notes[0]


def test_late_entries(tmp_path: Path) -> None:
    found = removals.read(listed(tmp_path, "hours,status,known from\n1200,failed,300\n900,running,\n"))
    assert (found.failed, found.running, found.unit) == (((1200, 300),), ((900, 0),), "h")


def test_columns_by_other_names(tmp_path: Path) -> None:
    path = listed(tmp_path, "tsn,why off,first seen\n1200,failed,10\n")
    found = removals.read(path, "h", "TSN", "why_off", "first seen")
    assert found.failed == ((1200, 10),) and found.columns == ("tsn", "why off", "first seen")


def test_every_row_not_read_is_told_with_its_line(tmp_path: Path) -> None:
    rows = [
        ("1200,failed", ""),
        (",failed", "no starts"),
        ("0,failed", "an age of 0"),
        ("-4,running", "an age of -4"),
        ("twelve,failed", "'twelve' is no starts"),
        ('"1,200",failed', "may be 1200 or 1.200"),
        ("1300,", "not said"),
        ("1300,burnt", "neither failed nor running"),
        ("13 00,failed", "is no starts"),
        ("1e12,failed", "is no starts"),
        ("99999999999,failed", "absurd"),
        ("1500,5,failed", "cells for"),
        ("1400 km,failed", "no unit"),
    ]
    text = "starts,status\n" + "\n".join(row for row, _ in rows)
    found = removals.read(listed(tmp_path, text))
    assert found.failed == ((1200, 0),)
    wrong = [(i + 2, why) for i, (_, why) in enumerate(rows) if why]
    assert len(found.unread) == len(wrong)
    for (line, why), said in zip(wrong, found.unread, strict=True):
        assert said.startswith(f"plugs.csv:{line}: ") and why in said


@pytest.mark.parametrize("row", ["1200,failed,1200", "1200,failed,1300", "1200,failed,-1", "1200,failed,x"])
def test_an_entry_age_that_cannot_be(tmp_path: Path, row: str) -> None:
    found = removals.read(listed(tmp_path, f"starts,status,entry\n900,running,0\n{row}\n"))
    assert found.failed == () and found.unread[0].startswith("plugs.csv:3: ")


@pytest.mark.parametrize(
    ("text", "says", "of"),
    [
        ("", "nothing in it", "file"),
        ("\n\n", "nothing in it", "file"),
        ("starts,status\n", "no row could be read", "file"),
        ("starts,status\n-1,failed\n", "plugs.csv:2: an age of -1", "file"),
        ("1200,900\n1300,1\n", "has to name the columns", "file"),
        ("starts,serial\n1200,S1\n", "no column is known for the status", "status-column"),
        ("serial,status\nS1,failed\n", "no column is known for the age", "age-column"),
        ("starts,hours,status\n1,2,failed\n", "'starts' and 'hours' may both be the age", "age-column"),
        ("age,status\n1200,failed\n", "tell the unit", "unit"),
        ("age,status\n1200 starts,failed\n900 h,running\n", "starts (line 2) and hours (line 3)", "file"),
        ("hours,status\n1200 starts,failed\n", "not turned into each other", "file"),
        (b"PK\x03\x04 and so on", "that is no text", "file"),
        (b"a,b\n\0\0", "that is no text", "file"),
        (b"\xff\xfea", "does not go on as that", "file"),
    ],
)
def test_a_list_that_is_none(tmp_path: Path, text: str | bytes, says: str, of: str) -> None:
    with pytest.raises(Unfit, match=r"plugs\.csv") as caught:
        removals.read(listed(tmp_path, text))
    assert says in str(caught.value) and caught.value.of == of


def test_no_file_a_folder_and_too_much(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Unfit, match="cannot be read"):
        removals.read(str(tmp_path / "none.csv"))
    with pytest.raises(Unfit, match="folder"):
        removals.read(str(tmp_path))
    monkeypatch.setattr(removals, "LARGEST", 2**20)
    with pytest.raises(Unfit, match="no list of removals"):
        removals.read(listed(tmp_path, b"x" * (2**20 + 1)))


def test_a_column_told_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(Unfit, match="no column is called 'age'; there are starts, status"):
        removals.read(listed(tmp_path, "starts,status\n1,failed\n"), age="age")


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.lists(st.text(st.characters(exclude_characters='\r\n"', exclude_categories=["Cs"]), max_size=20)))
def test_no_row_is_lost(tmp_path: Path, body: list[str]) -> None:
    text = "starts,status\n" + "\n".join(body) + "\n1,failed\n"
    if "\0" in text:
        return
    try:
        found = removals.read(listed(tmp_path, text))
    except Unfit as error:
        assert "not turned into each other" in str(error)
        return
    told = sum(any(cell.strip() for cell in line.split(",")) for line in text.split("\n")[1:])
    assert len(found.failed) + len(found.running) + len(found.unread) == told


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.binary(max_size=200))
def test_bytes_are_a_list_or_a_sentence(tmp_path: Path, raw: bytes) -> None:
    try:
        removals.read(listed(tmp_path, raw))
    except Unfit as error:
        assert str(error)


# --- the fit


@pytest.mark.parametrize("failed", [[], [1200.0]])
def test_too_few_failures_for_a_shape(failed: list[float]) -> None:
    with pytest.raises(Unfit, match="a shape cannot be fitted"):
        weibull.fit(weibull.lives([(a, 0.0) for a in failed], [(900.0, 0.0), (1500.0, 0.0)]))


def test_all_at_one_age() -> None:
    with pytest.raises(Unfit, match="lie at one age"):
        weibull.fit(weibull.lives([(1200.0, 0.0)] * 9, [(900.0, 0.0)]))


@pytest.mark.parametrize("pair", [(0.0, 0.0), (-5.0, 0.0), (100.0, 100.0), (100.0, -1.0), (math.nan, 0.0)])
def test_ages_that_are_none(pair: tuple[float, float]) -> None:
    with pytest.raises(Unfit, match="none that a part can have"):
        weibull.lives([pair], [])


@settings(max_examples=40, deadline=None)
@given(
    failed=st.lists(st.integers(50, 20_000), min_size=3, max_size=25, unique=True),
    running=st.lists(st.integers(50, 20_000), max_size=25),
    factor=st.floats(1e-3, 1e3),
)
def test_another_unit_of_age_changes_only_the_scale(failed: list[int], running: list[int], factor: float) -> None:
    def fitted(by: float) -> weibull.Fit | None:
        try:
            return weibull.fit(weibull.lives([(a * by, 0.0) for a in failed], [(a * by, 0.0) for a in running]))
        except Unfit:
            return None

    plain, other = fitted(1.0), fitted(factor)
    assert (plain is None) == (other is None)
    if plain is not None and other is not None:
        assert other.shape == pytest.approx(plain.shape, rel=1e-4)
        assert other.scale == pytest.approx(plain.scale * factor, rel=1e-4)
        low, high = plain.between(lambda k, s: k)
        assert low <= plain.shape <= high
        low, high = plain.between(lambda k, s: s)
        assert low <= plain.scale <= high


def test_many_ages_take_no_power_out_of_range() -> None:
    rng = np.random.default_rng(1)
    ages = 3000 * rng.weibull(3.0, 20_000)
    found = weibull.fit(weibull.lives([(a, 0.0) for a in ages[:9000]], [(a, 0.0) for a in ages[9000:]]))
    assert np.isfinite(found.shapes).all() and np.isfinite(found.scales).all()


# --- what comes out


def test_from_a_list(tmp_path: Path) -> None:
    rng = random.Random(4)
    rows = []
    for _ in range(60):
        life, watched = rng.weibullvariate(3000, 2.5), rng.weibullvariate(3000, 2.5)
        rows.append(f"{min(life, watched):.0f},{'failed' if life < watched else 'running'}")
    path = listed(tmp_path, "starts,status\n" + "\n".join([*rows, "1200,burnt", "x,failed"]))
    found = work(file=path, age="2600 starts", next="300 starts", planned="45", misfire="400")
    told = figures(found)
    assert set(told) == {"shape", "scale", "b10", "chance", "interval", "saving"}
    assert all(low <= value <= high for value, low, high in told.values())
    assert told["shape"][1] <= 2.5 <= told["shape"][2] and told["scale"][1] <= 3000 <= told["scale"][2]
    (warned,) = (w for w in found.warnings if "not read" in w)
    assert warned.startswith("2 rows not read: plugs.csv:62: 'burnt'") and "plugs.csv:63: 'x'" in warned
    assert any("60 rows" in line for line in found.lines)


def test_the_first_few_bad_rows_are_listed_and_the_rest_counted(tmp_path: Path) -> None:
    path = listed(tmp_path, "starts,status\n" + "\n".join(["-1,failed"] * 9 + ["5,running"]))
    (warned,) = (w for w in work(file=path, shape="2").warnings if "not read" in w)
    assert warned.startswith("9 rows not read") and warned.endswith("and 4 more")


def test_ages_as_typed() -> None:
    found = work(failed=FAILED, running=RUNNING)
    assert set(figures(found)) == {"shape", "scale", "b10"}
    assert "6 failed and 4 ran on" in " ".join(found.lines)
    assert "not tested" in " ".join(found.lines)


@pytest.mark.parametrize(
    ("told", "says", "of"),
    [
        ({}, "give a list of removals", "file"),
        ({"failed": "1200 starts; 900 h"}, "failed is in hours", "failed"),
        ({"failed": FAILED, "age": "900 h"}, "age is in hours", "age"),
        ({"failed": "1200"}, "starts or hours", "failed"),
        ({"failed": "0 starts"}, "no age", "failed"),
        ({"failed": FAILED, "running": "0 starts"}, "no age", "running"),
        ({"failed": FAILED, "age": "900 starts", "next": "0 starts"}, "more than nothing", "next"),
        ({"failed": FAILED, "planned": "45"}, "what one costs has to be told", "misfire"),
        ({"failed": FAILED, "planned": "0", "misfire": "4"}, "costs are more than nothing", "planned"),
        ({"failed": FAILED, "planned": "1", "misfire": "-4"}, "costs are more than nothing", "misfire"),
        ({"failed": FAILED, "shape": "0"}, "a shape of 0 is outside", "shape"),
        ({"age": "900 starts", "scheduled": "0 starts"}, "more than nothing", "scheduled"),
        ({"age": "900 starts", "scheduled": "3000 h"}, "scheduled is in hours", "scheduled"),
    ],
)
def test_what_cannot_be_worked_with(told: dict[str, str], says: str, of: str) -> None:
    with pytest.raises(Unfit) as caught:
        work(**told)
    assert says in str(caught.value) and caught.value.of == of


def test_none_failed() -> None:
    found = work(running=RUNNING, age="900 starts", next="300 starts", misfire="9")
    assert found.figures == () and not found.judged
    assert "None failed of 4" in found.lines[0] and "longest to 3,000" in found.lines[1]
    assert "--shape" in found.warnings[0]


def test_none_failed_with_a_shape_assumed() -> None:
    found = work(running=RUNNING, age="900 starts", next="300 starts", misfire="9", shape="2.5")
    told = figures(found)
    assert set(told) == {"chance"}
    value, low, high = told["chance"]
    assert value == low == 0 and 0 < high < 1
    assert "no fewer than" in " ".join(found.lines) and "assumed" in " ".join(found.warnings)
    assert "no interval can be worked out" in " ".join(found.lines)


def test_one_failed_with_a_shape_assumed() -> None:
    told = figures(work(failed="1200 starts", running=RUNNING, shape="2.5"))
    assert set(told) == {"scale", "b10"}
    assert told["scale"][1] < told["scale"][0] < told["scale"][2]


def test_a_shape_that_the_removals_speak_against() -> None:
    found = work(failed=FAILED, running=RUNNING, shape="0.5")
    assert "ask for a shape of" in " ".join(found.warnings)


def test_few_failures_are_said_to_be_few() -> None:
    found = work(failed="1200 starts; 2500 starts", running=RUNNING)
    assert any(w.startswith("2 failures are few") for w in found.warnings)


def test_two_kinds_of_failure_are_said_not_to_fit() -> None:
    rng = np.random.default_rng(9)
    ages = np.concatenate([60 * rng.weibull(0.8, 15), 4000 * rng.weibull(9.0, 30)])
    found = work(failed="; ".join(f"{a:.1f} starts" for a in ages))
    assert any("does not fit" in w for w in found.warnings)


def test_a_plug_beyond_the_oldest_of_the_list() -> None:
    found = work(failed=FAILED, running=RUNNING, age="9000 starts", next="300 starts")
    assert any("it is the law that speaks" in w for w in found.warnings)


# --- the interval


def early(n: int = 40) -> str:
    rng = np.random.default_rng(2)
    return "; ".join(f"{a:.1f} starts" for a in 3000 * rng.weibull(0.6, n) + 0.1)


def test_no_interval_pays_where_plugs_do_not_wear() -> None:
    found = work(failed=early(), misfire="9")
    assert "interval" not in figures(found)
    assert any(line.startswith("By cost alone no interval pays: the shape is not above 1") for line in found.lines)


def test_no_interval_pays_where_a_misfire_costs_no_more() -> None:
    found = work(failed=FAILED, running=RUNNING, planned="45", misfire="45")
    assert any("a misfire costs no more" in line for line in found.lines)
    assert "interval" not in figures(found)


@pytest.mark.parametrize("told", [{"failed": early(), "misfire": "9"}, {"failed": FAILED, "misfire": "1"}])
def test_no_cost_tells_anybody_to_run_a_plug_beyond_its_schedule(told: dict[str, str]) -> None:
    found = work(running=RUNNING, **told)
    assert not any("Run to failure" in line for line in found.lines)
    assert any("your approved data stands" in w for w in found.warnings)


def test_hardly_pays() -> None:
    found = work(failed=FAILED, running=RUNNING, planned="45", misfire="50")
    assert any("no interval pays" in line for line in found.lines)


def test_an_interval_that_may_be_never_has_no_upper_end() -> None:
    found = work(failed="400 starts; 1500 starts; 2100 starts; 5500 starts", running=RUNNING, misfire="12")
    _, low, high = figures(found)["interval"]
    assert math.isfinite(low) and math.isinf(high)
    assert any("up to never" in line for line in found.lines)
    assert any("cannot be ruled out" in w for w in found.warnings)


@given(shape=st.floats(1.05, 8), misfire=st.floats(1.1, 200), up=st.floats(1.05, 4))
@settings(max_examples=60, deadline=None)
def test_a_dearer_misfire_asks_for_a_shorter_interval(shape: float, misfire: float, up: float) -> None:
    less = float(weibull.cheapest(1.0, misfire, shape, 1000.0))
    more = float(weibull.cheapest(1.0, misfire * up, shape, 1000.0))
    assert more <= less
    if math.isfinite(less):
        around = [float(weibull.cost(less * f, 1.0, misfire, shape, 1000.0)) for f in (0.97, 1.0, 1.03)]
        assert min(around) == pytest.approx(around[1], rel=1e-9)


# --- due or young


@pytest.mark.parametrize(
    ("age", "more", "verdict"),
    [
        ("900 starts", "300 starts", "young"),
        ("2699 starts", "300 starts", "young"),
        ("2700 starts", "300 starts", "due"),
        ("2800 starts", "300 starts", "due"),
        ("3000 starts", "", "due"),
        # Nobody would call a plug with one start left well inside its life.
        ("2999 starts", "", "due"),
        ("2999 starts", "0.5 starts", "due"),
        ("2699 starts", "", "young"),
        ("3500 starts", "", "due"),
        ("2600 ± 200 starts", "300 starts", CANNOT_TELL),
        ("2000 ± 200 starts", "300 starts", "young"),
        ("3300 ± 200 starts", "300 starts", "due"),
    ],
)
def test_due_or_young(age: str, more: str, verdict: str) -> None:
    told = {"age": age, "scheduled": "3000 starts", **({"next": more} if more else {})}
    found = work(**told)
    assert found.judged[""].verdict == verdict
    assert found.figures == ()
    if not more and verdict == "young":
        assert any("next be changed" in w for w in found.warnings)


def test_costs_without_removals_are_not_lost_silently() -> None:
    found = work(age="900 starts", scheduled="3000 starts", next="300 starts", misfire="4")
    assert "no chance and no interval" in found.warnings[0]


# --- the picture


@pytest.mark.parametrize("width", [40, 78, 119])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_picture_is_as_wide_as_it_may_be(width: int, ascii_only: bool) -> None:
    assert CALCULATION.draw is not None
    for told in (
        {"failed": FAILED, "running": RUNNING},
        {"failed": "1200 starts", "running": RUNNING, "shape": "2"},
        {"failed": early(200)},
    ):
        drawn = CALCULATION.draw(work(**told), width, ascii_only)
        assert drawn and max(map(len, drawn)) <= width
        assert any(("o" if ascii_only else "●") in line for line in drawn)
        assert not ascii_only or all(line.isascii() for line in drawn)
    assert CALCULATION.draw(work(running=RUNNING, shape="2"), width, ascii_only) == ()
    assert CALCULATION.draw(work(age="9 starts", scheduled="30 starts"), width, ascii_only) == ()


def test_every_verdict_has_its_words() -> None:
    assert set(CALCULATION.judges[""]) == {"young", "due"}

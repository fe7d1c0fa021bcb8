"""A recorder's log: what can be read of it, what is said of what cannot, and what is refused. Made up by hand here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc.recorder import Log, header, read, read_file, spelled
from isolate.calc.shape import Unfit

HEADER = "Time [s],N2 [%],EGT [°C],FF [kg/h]"


def rows(count: int = 40, step: float = 0.25) -> list[str]:
    return [f"{i * step:.3f},{i / 2:.1f},{20 + i:.1f},{i % 7}.5" for i in range(count)]


def table(some: list[str], top: str = HEADER) -> bytes:
    return "\n".join([top, *some]).encode()


def test_a_plain_log() -> None:
    log = read(table(rows()))
    assert log.time_s[:3].tolist() == [0, 0.25, 0.5] and log.step_s == 0.25
    assert log.values["speed"][:3].tolist() == [0, 0.5, 1.0] and log.unit("temperature") == "°C"
    assert log.warnings == () and log.gaps == ()
    assert "shaft speed from N2 [%] in %" in log.notes[-1]
    assert spelled(log) == "time=Time [s], speed=N2 [%], temperature=EGT [°C], fuel=FF [kg/h]"


@pytest.mark.parametrize("mark", [";", "\t", ",", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_marks_line_ends_and_codings(mark: str, end: str, coding: str, tmp_path: Path) -> None:
    text = end.join(["Aircraft 117", "", HEADER.replace(",", mark), *[r.replace(",", mark) for r in rows()]])
    file = tmp_path / "log.csv"
    file.write_bytes(text.encode(coding))
    log = read_file(str(file))
    assert log.time_s.size == 40 and log.values["temperature"][5] == 25 and log.unit("temperature") == "°C"


def test_a_row_of_units_below_the_header() -> None:
    log = read(table(rows(), "Time,N2,EGT,FF\nsec,rpm,degF,pph"))
    assert [log.unit(r) for r in ("time", "speed", "temperature", "fuel")] == ["s", "rpm", "°F", "lb/h"]
    assert "temperature=EGT[°F]" in spelled(log)


def test_decimal_commas() -> None:
    some = [r.replace(",", ";").replace(".", ",") for r in rows()]
    assert read(table(some, HEADER.replace(",", ";"))).values["speed"][1] == 0.5


def test_commas_that_may_part_thousands() -> None:
    some = [f"{i};{i};{1 + i},250;{i}" for i in range(30)]
    with pytest.raises(Unfit, match=r"may be 1250 or 1\.250"):
        read(table(some, HEADER.replace(",", ";")))


def test_quoted_cells_with_the_mark_inside() -> None:
    some = [f'"{i}","{i},5",{20 + i},7' for i in range(30)]
    log = read(table(some))
    assert log.values["speed"][3] == 3.5 and log.time_s.size == 30


def test_text_in_figures_is_counted_with_its_lines() -> None:
    some = rows()
    for i in (4, 5, 6, 20):
        some[i] = some[i].rsplit(",", 2)[0] + ",---,N/A"
    log = read(table(some))
    assert (
        np.isnan(log.values["temperature"][[4, 5, 6, 20]]).all() and np.isfinite(log.values["temperature"]).sum() == 36
    )
    assert any("EGT [°C]: 4 cells" in w and "'---'" in w and "lines 6 to 8, 22" in w for w in log.warnings)


def test_a_figure_that_cannot_be_meant_is_none() -> None:
    some = rows()
    some[3] = "0.750,1.5,-9999,0.5"
    log = read(table(some))
    assert np.isnan(log.values["temperature"][3]) and any("'-9999'" in w for w in log.warnings)


def test_a_file_filled_up_with_nothing(tmp_path: Path) -> None:
    """What a recorder leaves that lost its supply: said, and neither slow nor spelt out."""
    (tmp_path / "cut.csv").write_bytes(table(rows()) + b"\0" * 5_000_000)
    log = read_file(str(tmp_path / "cut.csv"))
    assert log.time_s.size == 40 and log.warnings == () and "last 5,000,000 bytes" in log.notes[0]


def test_a_long_cell_is_not_spelt_out() -> None:
    some = rows()
    some[5] = "1.25,2.5," + "x" * 5000 + ",0"
    assert max(map(len, read(table(some)).warnings)) < 300


def test_a_cell_over_two_lines_does_not_shift_the_numbers() -> None:
    some = [f'{i},{i},{i},"a\nb"' if i == 4 else f"{i},{i},{i if i != 9 else '---'},5" for i in range(40)]
    log = read(table(some))
    assert log.time_s.size == 40 and any("line 12." in w for w in log.warnings)


def test_two_columns_of_one_name_are_told_by_their_place() -> None:
    top = "Time [s],N2 [%],EGT [°C],EGT [°C]"
    with pytest.raises(Unfit, match=r"EGT \[°C\] \(column 3\) or .*temperature=column 3"):
        read(table(rows(), top))
    with pytest.raises(Unfit, match="temperature=column 3"):
        read(table(rows(), top), "time=Time, speed=N2, temperature=EGT [°C]")
    log = read(table(rows(), top), "time=Time, speed=N2, temperature=column 4")
    assert log.values["temperature"][1] == 1.5 and log.unit("temperature") == "°C"
    assert read(table(rows(), top), spelled(log)).columns == log.columns


def test_rows_of_another_width_are_named() -> None:
    some = rows()
    some[10] += ",77"
    some[30] = "7.5,1"
    log = read(table(some))
    assert log.time_s.size == 38
    assert any("2 rows not read" in w and "lines 12, 32" in w for w in log.warnings)
    assert log.gaps == ()  # one row missing is none


def test_gaps_are_located() -> None:
    some = rows()
    log = read(table(some[:15] + some[25:]))
    assert log.gaps == ((3.5, 6.25),) and "1 gap in the log: 3.5 to 6.2 s" in log.warnings[0]


@pytest.mark.parametrize(
    ("stamp", "day"),
    [
        (lambda i: f"09:12:{3 + i * 0.25:06.3f}", 33123.0),
        (lambda i: f"2026-11-27T09:12:{3 + i * 0.25:06.3f}Z", 33123.0),
        (lambda i: f"27/11/2026 09:12:{3 + i * 0.25:06.3f}", 33123.0),
        (lambda i: f"27.11.2026 09:12:{3 + i * 0.25:06.3f}", 33123.0),
        (lambda i: str(1795770723000 + i * 250), 33123.0),
        (lambda i: f"{1795770723 + i * 0.25:.2f}", 33123.0),
        (lambda i: f"{46353.38336805555 + i * 0.25 / 86400:.9f}", 33123.0),
        (lambda i: f"12:{3 + i * 0.25:05.2f}", None),
    ],
    ids=["clock", "iso", "slash", "dots", "ms", "s", "days", "minutes"],
)  # 1795770723 s is 2026-11-27 09:12:03 UTC, by GNU date; 46353 is that day in a spreadsheet (25569 is 1970-01-01)
def test_clocks(stamp, day) -> None:  # type: ignore[no-untyped-def]
    log = read(table([f"{stamp(i)},{i},{i},{i}" for i in range(40)], "UTC,N2,EGT,FF"))
    assert np.allclose(np.diff(log.time_s), 0.25, atol=2e-4)
    assert log.day_s is None if day is None else log.day_s == pytest.approx(day, abs=0.01)
    if day is not None:
        assert log.clock(10.0) == "09:12:13.0"


def test_past_midnight() -> None:
    def stamp(i: int) -> str:
        s = (86390 + i) % 86400
        return f"{s // 3600:02}:{s // 60 % 60:02}:{s % 60:02}"

    log = read(table([f"{stamp(i)},{i},{i},{i}" for i in range(40)], "Time,N2,EGT,FF"))
    assert log.breaks == () and log.time_s[-1] == 39 and log.clock(15) == "00:00:05.0"


def test_dates_across_days_and_months() -> None:
    some = [f"2026-11-30 23:59:{40 + i:02},{i},{i},{i}" for i in range(20)]
    some += [f"2026-12-02 00:00:{i:02},{i},{i},{i}" for i in range(20)]
    log = read(table(some, "Time,N2,EGT,FF"))
    assert log.gaps == ((19.0, 86420.0),)


def test_a_clock_that_goes_back() -> None:
    some = rows()
    late = [f"{float(r.split(',')[0]) - 3:.3f}," + r.split(",", 1)[1] for r in some[20:]]
    log = read(table(some[:20] + late))
    assert len(log.breaks) == 1 and log.breaks[0] == pytest.approx(5.0)
    assert np.all(np.diff(log.time_s) > 0) and any("goes back 1 time (line 22" in w for w in log.warnings)


def test_times_that_stand_twice() -> None:
    some = rows()
    log = read(table(some[:10] + some[9:]))
    assert log.time_s.size == 40 and any(
        "1 row with a time that stood already" in w and "line 12" in w for w in log.warnings
    )


def test_a_clock_slower_than_the_rows() -> None:
    some = [f"{i // 4},{i},{i},{i}" for i in range(80)]
    log = read(table(some, "Time [s],N2,EGT,FF"))
    assert np.allclose(np.diff(log.time_s), 0.25) and log.tick_s == 0.25
    assert any("ticks every 1 s and about 4 rows" in w for w in log.warnings)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"no table here\nnone", "no table is found"),
        (table(rows(1)), "no table is found|1 row of figures"),
        (table(rows(3)), "3 rows of figures are no record"),
        (table(rows(), "a,b,c,d"), "no column is named like time or shaft speed or exhaust temperature"),
        (table(rows(), "Time,N1,N2,EGT"), "shaft speed may be N1 or N2"),
        (table(rows(), "Time,N2,EGT 1,EGT 2"), 'such as "time=Time, speed=N2, temperature=EGT 1"'),
        (table([f"{i * 62.5},{i},{i},{i}" for i in range(30)], "Time,N2,EGT,FF"), r"tells no unit.*time=Time\[ms\]"),
        (table([f"09:{i:02},{i},{i},{i}" for i in range(30)], "Time,N2,EGT,FF"), "hours and minutes or minutes"),
        (table([f"5,{i},{i},{i}" for i in range(30)], "Time,N2,EGT,FF"), "does not go on"),
        (table([f"{(i * 37) % 101},{i},{i},{i}" for i in range(100)], "Time [s],N2,EGT,FF"), "back again and again"),
        (table([f"{i},x,{i},{i}" for i in range(30)], "Time,N2,EGT,FF"), "holds no figure; there stands x"),
        (table(rows()[::-1]), "the newest stands first"),
        (table([f"{39 - i + (i == 3) * 2},{i},{i},{i}" for i in range(40)]), "the newest stands first"),
        (table([f"9:12:{i:02} AM,{i},{i},{i}" for i in range(40)], "Time,N2,EGT,FF"), "clock of twelve hours"),
        (table(rows(step=0.01), "Time,N2,EGT,FF"), r"lasts 0\.39 s, too short.*time=Time\[min\]"),
        (table(rows(), HEADER.replace("[s]", "[ms]")), "another unit than ms, put that right"),
        (
            table([f"{i},{20 + 9 * i},{i / 2},0" for i in range(40)]),
            "line 23: another column is the shaft speed",
        ),
        (table([*rows()[:9], '"2.25,4.5,29,1', *rows()[10:], *rows()[10:]]), "line 11: a quotation mark opens"),
    ],
)
def test_what_cannot_be_read_is_a_sentence(content: bytes, said: str) -> None:
    with pytest.raises(Unfit, match=said):
        read(content)


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ("speed", "does not say which column is which"),
        ("velocity=N2", "does not say which"),
        ("time=Time [s], speed=N2", "temperature .exhaust temperature. is not told"),
        ("time=Time, speed=N2, temperature=TGT", "no column 'TGT'; it has Time"),
        ("time=Time, speed=N2, speed=EGT, temperature=EGT", "told twice"),
        ("time=Time, speed=N2, temperature=N2", "told for both"),
        ("time=Time, speed=N2, temperature=EGT[°F]", "the log says °C"),
    ],
)
def test_columns_that_do_not_fit(columns: str, said: str) -> None:
    with pytest.raises(Unfit, match=said) as error:
        read(table(rows()), columns)
    assert error.value.of == "columns"


def test_columns_by_any_name_in_any_case() -> None:
    top = "Reihe 1,Welle (schnell),Gas, hinten".replace(", hinten", " hinten,x")
    log = read(table(rows(step=250), top), "TIME=reihe 1[ms]; speed=Welle (schnell); temperature=Gas hinten[°F]")
    assert log.unit("speed") == "" and log.unit("temperature") == "°F" and log.time_s[1] == pytest.approx(0.25)


def test_one_ignition_column_a_channel() -> None:
    some = [f"{i},{i},{i},{'ON' if i > 10 else 'OFF'},{'ON' if i > 20 else 'OFF'}" for i in range(40)]
    log = read(table(some, "Time [s],N2,EGT,IGN A,IGN B"))
    said = [log.words["ignition"][i] for i in log.said["ignition"]]
    assert said[5] == "off" and said[15] == "A" and said[30] == "A+B"


def test_no_header_at_all() -> None:
    log = read("\n".join(rows()).encode(), "time=column 1[s], speed=column 2, temperature=column 3")
    assert log.time_s.size == 40


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.xlsx", b"PK\x03\x04" + b"\0" * 50, "workbook"),
        ("a.dat", bytes(range(256)) * 4, "no text but a form of its own"),
        (".", None, "is a folder"),
        ("none.csv", None, "no such file"),
    ],
)
def test_files_that_are_no_logs(name: str, content: bytes | None, said: str, tmp_path: Path) -> None:
    file = tmp_path / name
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(Unfit, match=said):
        read_file(str(file))
    with pytest.raises(Unfit):
        header(str(file))


NUMBER = st.one_of(
    st.integers(-999_999, 999_999).map(str),
    st.decimals(-99_999, 99_999, places=3, allow_nan=False).map(str),
    st.sampled_from(["", " 12.5 ", "+3", ".5", "7.", "-0.25", "1e3", "2.5E-2", "12345678901234567890"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(NUMBER, min_size=30, max_size=60))
def test_figures_are_read_as_python_reads_them(cells: list[str]) -> None:
    some = [f"{i},{i},{i},{c}" for i, c in enumerate(cells)]
    if not any(c.strip() and abs(float(c)) <= 1e6 for c in cells):
        return
    log = read(table(some, "Time [s],N2,EGT,FF"))
    for found, told in zip(log.values["fuel"], cells, strict=True):
        wanted = float(told) if told.strip() and abs(float(told)) <= 1e6 else float("nan")
        assert found == wanted or (np.isnan(found) and np.isnan(wanted))


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=600) | st.text(alphabet='0123456789.,;\n\t"-: T[]N2EGTime', max_size=600).map(str.encode))
def test_no_bytes_break_it(content: bytes) -> None:
    try:
        assert isinstance(read(content), Log)
    except Unfit as error:
        assert str(error)

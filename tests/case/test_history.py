"""Reading logs of starts: what can be read is read, what cannot is listed by row, nothing changes without a word.

What a sheet holds [practice]: semicolons and decimal commas where a comma is the decimal mark, quotes by RFC 4180, a
byte order mark before UTF-8 or UTF-16, day numbers from 1899-12-30; dates by ISO 8601.
"""

from __future__ import annotations

import random
import time
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.case import history
from isolate.case.history import BadHistory, History, read
from isolate.reasoning.starts import NEWEST, Start

TODAY = date(2026, 11, 27)
CHANNELS = ("A", "B")


def sheet(*rows: str, header: str = "date,time,channel,lit") -> History:
    return read("\n".join([header, *rows]), CHANNELS, TODAY)


def brief(found: History) -> list[str]:
    """Each start as ``|A1``: a gap, the channel, whether it lit, x for broken off."""
    return [f"{'|' * s.gap}{s.channel}{'x' if s.aborted else int(s.lit)}" for s in found.starts]


def reasons(found: History) -> dict[int, str]:
    return {one.row: one.reason for one in (*found.unread, *found.partly)}


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_marks_between_cells_and_the_words_people_use(mark: str) -> None:
    rows = [
        "Date,Igniter,Light-off?,Time to light (s),OAT [°C],Hot/cold,Control lane,Remarks",
        "2026-11-01,ign A,yes,4.2,-3.5,cold soak,1,",
        "2026-11-02,channel b,NO,,2,Hot turn,2,crew tired",
        "2026-11-03,A+B,1,5 s,3,,,",
        "2026-11-04,auto,failed,,,,,",
        "2026-11-05,A,aborted,,,,,",
    ]
    found = read("\r\n".join(row.replace(",", mark) for row in rows), CHANNELS, TODAY)
    assert found.starts == (
        Start("A", True, "cold", 4.2, "1", at="2026-11-01", oat=-3.5),
        Start("B", False, "hot", None, "2", at="2026-11-02", oat=2.0),
        Start("both", True, seconds=5.0, at="2026-11-03", oat=3.0),
        Start("unknown", False, at="2026-11-04"),
        Start("A", False, aborted=True, at="2026-11-05"),
    )
    assert not found.unread and not found.partly
    assert "Columns not used: Remarks." in found.notes
    assert any("parted by" in note for note in found.notes) == (mark != ",")


def test_decimal_commas_are_read_and_said() -> None:
    found = read("Datum;Channel;Lit;Time to light;OAT\n01.11.2026;A;yes;4,2;-3,5\n02.11.2026;B;yes;5;1,0", CHANNELS)
    assert [(s.seconds, s.oat) for s in found.starts] == [(4.2, -3.5), (5.0, 1.0)]
    assert "Decimal commas read as points in 3 cell(s)." in found.notes


@pytest.mark.parametrize(
    "data",
    [
        "date,channel,lit,note\n2026-11-01,A,yes,caf\u00e9".encode("utf-8-sig"),
        "date,channel,lit,note\n2026-11-01,A,yes,caf\u00e9".encode("utf-16"),
        "date,channel,lit,note\n2026-11-01,A,yes,caf\u00e9".encode("latin-1"),
        "\ufeffsep=;\ndate;channel;lit\n2026-11-01;A;yes",
        "Log of engine 2\n\ndate,channel,lit\n2026-11-01,A,yes\n\n\n",
        'date,channel,lit,note\n2026-11-01,"A","yes","two\nlines, ""quoted"""',
    ],
)
def test_files_as_programs_write_them(data: bytes | str) -> None:
    assert brief(read(data, CHANNELS, TODAY)) == ["A1"]


def test_what_cannot_be_read_is_listed_by_its_row_and_leaves_a_gap() -> None:
    found = sheet(
        "2026-11-01,08:00,A,yes",
        "2026-11-01,12:00,Q,yes",
        "2026-11-01,16:00,A,perhaps",
        "",
        "2026-11-02,08:00,B,no",
        "2026-11-02,12:00,B,",
        "2026-11-02,16:00,A,yes",
    )
    assert brief(found) == ["A1", "|B0", "|A1"]
    assert found.rows == 6
    assert {row: reason.split(":")[0] for row, reason in reasons(found).items()} == {
        3: "no channel of this engine is called 'Q'; it has A, B",
        4: "whether it lit is not understood",
        7: "it does not say whether it lit",
    }


def test_what_is_wrong_in_one_cell_costs_that_cell() -> None:
    header = "date,channel,lit,seconds,oat,hot or cold"
    found = sheet(
        "2026-02-30,A,yes,4,2,cold",
        "2027-05-01,B,yes,-4,2,cold",
        "2026-11-01,A,yes,nan,999,lukewarm",
        "2026-11-02,B,no,7,3,",
        header=header,
    )
    assert brief(found) == ["A1", "B1", "A1", "B0"]
    assert [(s.seconds, s.oat) for s in found.starts] == [(4.0, 2.0), (None, 2.0), (None, None), (None, 3.0)]
    listed = [one.row for one in found.partly]
    assert listed == [2, 3, 3, 4, 4, 4, 5]
    said = " ".join(one.reason for one in found.partly)
    for what in ("no such date", "yet to come", "'-4' cannot be", "'nan' cannot be", "'999'", "lukewarm", "not light"):
        assert what in said


def test_a_row_with_cells_too_many_is_not_read_shifted() -> None:
    # Decimal commas in a sheet whose cells are parted by commas.
    found = sheet("2026-11-01,A,4,2,yes", "2026-11-02,B,5,no", header="date,channel,seconds,lit")
    assert brief(found) == ["|B0"]
    assert "more cells than the header (5 for 4)" in reasons(found)[2]


def test_duplicates_count_once() -> None:
    found = sheet(
        "2026-11-01,08:00,A,yes",
        "2026-11-01,08:00,A,yes",
        "2026-11-01,08:00,B,yes",
        "2026-11-01,08:00,A,no",
        "2026-11-02,,A,yes",
        "2026-11-02,,A,yes",
    )
    # Without a time of day two starts of a day are two starts.
    assert brief(found) == ["A1", "B1", "A1", "A1"]
    assert reasons(found) == {
        3: "same time and channel as row 2; counted once",
        5: "same time and channel as row 2, with another result; counted once",
    }
    zoned = sheet("2026-11-01 08:00+00:00,,A,yes", "2026-11-01 09:00+01:00,,A,yes")
    assert brief(zoned) == ["A1"], "the same moment in two time zones"


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["2026-11-03", "2026-11-01", "2026-11-02"], "231"),
        (["03.11.2026", "02.11.2026", "01.11.2026"], "321"),
        (["13/11/2026", "05/11/2026", "06/11/2026"], "231"),
        (["11/13/2026", "11/05/2026", "11/06/2026"], "231"),
        (["3 Nov 2026", "Nov 1, 2026", "02-Nov-26"], "231"),
        (["20261103", "20261101", "20261102"], "231"),
        (["46329", "46327", "46328"], "231"),
        # Neither can be told, so the rows stand as they are.
        (["03/11/2026", "01/11/2026", "02/11/2026"], "123"),
        (["13/11/2026", "11/13/2026", "02/11/2026"], "123"),
        (["2026-11-03T10:00Z", "2026-11-01T10:00", "2026-11-02T10:00Z"], "123"),
    ],
)
def test_dates_put_the_starts_in_order_only_where_they_are_certain(dates: list[str], order: str) -> None:
    rows = [f'"{day}",{"ABA"[i]},yes,{i + 1}' for i, day in enumerate(dates)]
    found = sheet(*rows, header="date,channel,lit,seconds")
    assert "".join(f"{s.seconds:g}" for s in found.starts) == order
    assert [s.at for s in found.starts] == [dates[int(i) - 1] for i in order], "as written"
    said = " ".join(found.notes)
    assert "order" in said or "turned round" in said


def test_dates_that_cannot_be_are_listed_where_none_puts_anything_in_order() -> None:
    found = sheet("2026-11-01 08:00Z,,A,yes", "2026-11-02 08:00,,B,no", "2026-02-31,,A,yes", "2027-11-03,,A,yes")
    assert any("cannot be put in one order" in note for note in found.notes)
    assert reasons(found)[4].startswith("there is no such date") and reasons(found)[5].startswith("its date is yet")
    assert brief(found) == ["A1", "B0", "A1", "A1"]


def test_time_zones_are_put_into_one_and_said() -> None:
    found = sheet("2026-11-01T10:00+05:00,,A,yes", "2026-11-01T06:00Z,,B,no", "2026-10-31T23:30-08:00,,A,no")
    assert brief(found) == ["A1", "B0", "A0"]
    assert "Times of 3 rows put into UTC, from 3 time zone(s)." in found.notes


def test_hot_and_cold_by_the_clock_only_where_nothing_else_says_it() -> None:
    rows = ["2026-11-01,06:00,A,yes", "2026-11-01,08:30,B,yes", "2026-11-01,15:00,A,yes", "2026-11-02,06:00,B,yes"]
    assert [s.condition for s in sheet(*rows).starts] == ["steady", "hot", "steady", "cold"]
    assert [s.condition for s in sheet(*rows[:3], "2026-11-02,,B,yes").starts] == ["steady"] * 4
    told = sheet(*(f"{row},cold" for row in rows), header="date,time,channel,lit,condition")
    assert [s.condition for s in told.starts] == ["cold"] * 4


def test_a_hand_that_selected_is_counted_and_clashes_are_not_read() -> None:
    header = "date,channel,selection,lit"
    found = sheet(
        "2026-11-01,A,manual,yes",
        "2026-11-02,,B,yes",
        "2026-11-03,A,auto,yes",
        "2026-11-04,A,B,yes",
        "2026-11-05,,both,no",
        "2026-11-06,B,sideways,no",
        header=header,
    )
    assert brief(found) == ["A1", "B1", "A1", "|both0", "B0"] and found.fixed == 2
    assert set(reasons(found)) == {5, 7}


@pytest.mark.parametrize(
    "data", ["", "\n\n", "a,b\n1,2", "2026-11-01,A,yes", "lit\nyes", b"\x00\x01\x02", "date,time\n1,2"]
)
def test_what_is_no_log_is_refused_with_what_would_do(data: bytes | str) -> None:
    with pytest.raises(BadHistory, match="columns understood: date"):
        read(data, CHANNELS)


def test_an_open_quotation_mark_swallows_nothing() -> None:
    found = sheet(*(f"2026-11-{i:02},08:00,A,yes{'' if i != 2 else chr(34)}" for i in range(1, 29)))
    assert len(found.starts) == 28 and set(reasons(found)) == {3}


@given(st.binary(max_size=300) | st.text(max_size=300), st.booleans())
@settings(max_examples=60, deadline=None)
def test_nothing_else_is_ever_raised(data: bytes | str, headed: bool) -> None:
    if headed:
        head = "date;channel;lit;seconds;oat;lane\n"
        data = head.encode() + data if isinstance(data, bytes) else head + data
    try:
        found = read(data, CHANNELS, TODAY)
    except BadHistory:
        return
    assert all(s.channel in (*CHANNELS, "both", "unknown") for s in found.starts)
    assert len(found.starts) <= found.rows <= len(found.starts) + len(found.unread)


def test_every_row_is_read_or_listed() -> None:
    rng = random.Random(2)
    rows = [
        ",".join(
            rng.choice(cells)
            for cells in (
                ("2026-11-01", "31.02.2026", "", "soon", "05/06/07"),
                ("08:00", "25:00", "", "8h"),
                ("A", "B", "C", "", "both"),
                ("yes", "no", "", "maybe", "abort"),
            )
        )
        for _ in range(300)
    ]
    found = sheet(*rows)
    filled = sum(any(cell for cell in row.split(",")) for row in rows)
    assert found.rows == filled == len(found.starts) + len(found.unread)


def test_a_long_log_takes_seconds_and_keeps_the_newest(tmp_path: Path) -> None:
    first = datetime(2010, 1, 1)
    rows = ["Date;Time;Channel;Lit;Time to light;OAT"]
    for i in range(20_000):
        at = first + timedelta(hours=1.3 * i)
        rows.append(f"{at:%d.%m.%Y};{at:%H:%M};{'AB'[i % 2]};yes;{4 + i % 5},3;{i % 20},5")
    file = tmp_path / "log.csv"
    file.write_text("\n".join(rows))
    began = time.process_time()
    found = history.read_file(file, CHANNELS, TODAY)
    # One second of one processor; the limit catches what grows with the square of the rows.
    assert time.process_time() - began < 10
    assert len(found.starts) == 20_000 and len(found.newest) == NEWEST and found.older == 20_000 - NEWEST
    assert found.newest[-1] == found.starts[-1]

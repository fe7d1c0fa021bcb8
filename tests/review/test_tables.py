"""Cases as tables: what other tools read is what was written, nothing in a cell is run, files are whole or not there.

Sources: RFC 4180 [published]: a heading, CRLF, quotes doubled; OWASP, *CSV Injection* [published]: cells that begin
with = + - @ tab, carriage return or line feed, and their full-width forms, are made harmless; the ``csv`` and
``json`` modules and ``pyarrow`` read it back [reference library].
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pyarrow.parquet
import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.case import Swap
from isolate.case.events import Event, canonical, now_text, read_json
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.store import open_store
from isolate.cli import main
from isolate.kb.shown import plain
from isolate.review import tables
from isolate.review.tables import ENDINGS, TABLES, Kind, harmless, restored, rows, write_tables
from tests.worked import TRAILS, trail

NAMES = sorted(path.stem for path in TRAILS.glob("*.jsonl"))
NASTY = '=HYPERLINK("x","y")\r\n<b>,\x1b[31m\x00 "quoted"'


class Listed(NamedTuple):
    id: str
    opened: str
    ends: int = 1


class Shelf:
    """Cases in memory. ``broken``: of which the events cannot be read."""

    def __init__(self, trails: Sequence[Sequence[Event]], broken: Sequence[str] = ()) -> None:
        self._trails = {events[0].case: events for events in trails}
        self._broken = broken

    def find(self, *, since: str, until: str, engine: str) -> list[Listed]:
        return [Listed(case, events[0].time) for case, events in self._trails.items()]

    def events(self, case: str) -> Sequence[Event]:
        if case in self._broken:
            raise ValueError("it is no case")
        return self._trails[case]


def odd() -> tuple[Event, ...]:
    """Return a case with parts that changed places and text that means something elsewhere."""
    log = Memory()
    opened = trail("worn-plug")[0]
    intake = {**opened.body["intake"], "operator": NASTY, "channel": "B"}
    swap = Swap("igniter", "A", "", serial="-7", other_serial="'K2", where="@230-1 B").as_dict()
    log.append_all(
        opened.case,
        [
            ("opened", {**opened.body, "intake": intake, "station": "+north pier"}),
            ("offered", {"kind": "check", "move": "when-ask", "expected": 300.5, "now": 5, "alternatives": []}),
            ("declined", {"kind": "check", "move": "when-ask", "reason": NASTY}),
            ("swapped", {"swap": swap, "minutes": 20}),
            ("answered", {"check": "when-ask", "outcome": None, "minutes": 5}),
        ],
        "2030-01-10T06:00:00.000Z",
    )
    return log.events(opened.case)


@cache
def all_trails() -> tuple[Sequence[Event], ...]:
    """Return some of the kept trails, and the odd one."""
    return *(trail(name) for name in ("taken-back", "declined", "came-back")), odd()


@cache
def all_rows() -> Mapping[str, list[tuple[Any, ...]]]:
    """Return the rows of each table by the trails, in the order of the cases' opening."""
    found: dict[str, list[tuple[Any, ...]]] = {name: [] for name in TABLES}
    for events in sorted(all_trails(), key=lambda t: (t[0].time, t[0].case)):
        of_case = rows(events)
        assert of_case is not None
        for name, lines in of_case.items():
            found[name] += lines
    return found


def expected(name: str) -> list[tuple[Any, ...]]:
    return all_rows()[name]


def written(folder: Path, kind: Kind) -> dict[str, Path]:
    write_tables(Shelf(all_trails()), folder, kind)
    return {name: folder / f"{name}.{ENDINGS[kind]}" for name in TABLES}


def test_csv_comes_back_by_the_csv_module(tmp_path: Path) -> None:
    for name, path in written(tmp_path, "csv").items():
        data = path.read_bytes()
        assert data.startswith(",".join(column.name for column in TABLES[name]).encode() + b"\r\n")
        with open(path, newline="", encoding="utf-8") as stream:
            _, *lines = csv.reader(stream)
        columns = TABLES[name]
        back = [
            tuple(_from_cell(cell, column.holds) for cell, column in zip(line, columns, strict=True)) for line in lines
        ]
        told = [
            tuple(
                "" if v is None and c.holds == "text" else shown(v) if isinstance(v, str) else v
                for v, c in zip(row, columns, strict=True)
            )
            for row in expected(name)
        ]
        assert back == told
        for line in lines:
            for cell, column in zip(line, columns, strict=True):
                assert column.holds != "text" or not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def shown(text: str) -> str:
    return plain(text, lines=True)


def _from_cell(cell: str, holds: str) -> Any:
    if holds == "text":
        return restored(cell)
    if not cell:
        return None
    read: dict[str, Callable[[str], Any]] = {
        "whole": int,
        "number": float,
        "time": str,
        "yes": {"true": True, "false": False}.__getitem__,
    }
    return read[holds](cell)


def test_json_comes_back_by_the_json_module(tmp_path: Path) -> None:
    for name, path in written(tmp_path, "json").items():
        back = [json.loads(line) for line in path.read_bytes().split(b"\n")[:-1]]
        names = [column.name for column in TABLES[name]]
        assert [tuple(one[n] for n in names) for one in back] == expected(name)


def test_parquet_comes_back_by_pyarrow_with_types(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "_BATCH", 50)  # so that there are several
    types = {
        "text": pyarrow.string(),
        "whole": pyarrow.int64(),
        "number": pyarrow.float64(),
        "yes": pyarrow.bool_(),
        "time": pyarrow.timestamp("ms", tz="UTC"),
    }
    for name, path in written(tmp_path, "parquet").items():
        table = pyarrow.parquet.read_table(path)
        assert [(f.name, f.type) for f in table.schema] == [(c.name, types[c.holds]) for c in TABLES[name]]
        back = [tuple(now_text(v) if isinstance(v, datetime) else v for v in row.values()) for row in table.to_pylist()]
        assert back == expected(name)
        if back and TABLES[name][0].holds == "text":
            assert table.schema.field("case").metadata[b"says"]


def test_the_body_of_an_event_is_what_the_trail_has(tmp_path: Path) -> None:
    path = written(tmp_path, "csv")["events"]
    with open(path, newline="", encoding="utf-8") as stream:
        bodies = {(line["case"], int(line["seq"])): line["body"] for line in csv.DictReader(stream)}
    for events in all_trails():
        for event in events:
            assert read_json(restored(bodies[event.case, event.seq])) == event.body


@given(st.text())
def test_a_cell_made_harmless_gives_its_text_back(text: str) -> None:
    """But for what hides or turns the rest, by the categories of the Unicode standard, chapter 4 [published]."""
    cell = harmless(text)
    assert restored(cell) == shown(text)
    assert not any(unicodedata.category(c) in ("Cc", "Cf") and c != "\n" for c in cell)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\nx", "＝x", "'=x", " =x", "\t=x", "\r@x", "\u202e=x"])
def test_what_a_spreadsheet_would_run_begins_with_an_apostrophe(text: str) -> None:
    assert harmless(text) == f"'{shown(text)}"


def test_a_body_keeps_what_a_cell_may_not_show() -> None:
    said = canonical({"text": "a\u202eb\x1b[2J\u200bc\U000e0041 é"}).decode()
    cell = harmless(tables.spelled(said))
    assert cell.isprintable() and read_json(restored(cell)) == read_json(said) and "é" in cell


def test_advice_and_parts_and_answers_say_what_happened() -> None:
    of_case = rows(odd())
    assert of_case is not None

    def first(name: str) -> dict[str, Any]:
        return dict(zip((c.name for c in TABLES[name]), of_case[name][0], strict=True))

    assert first("advice") | {"time": ""} == {
        **{"case": odd()[0].case, "seq": 3, "time": "", "kind": "check", "move": "when-ask", "became": "declined"},
        **{"reason": NASTY, "instead": "", "expected_min": 300.5, "instead_expected_min": None, "now_min": 5.0},
    }
    part = first("parts")
    assert (part["how"], part["sn_off"], part["sn_on"], part["to"]) == ("swap", "-7", "'K2", "@230-1 B")
    assert first("answers")["outcome"] == "" and first("answers")["taken_back"] is False
    back = rows(trail("taken-back"))
    assert back is not None and sum(row[-1] for row in back["answers"]) == 1
    told = rows(trail("declined"))
    assert told is not None and [row[5] for row in told["advice"]].count("declined") == 1
    assert [row[9] for row in told["repairs"]] == [True]


def test_what_cannot_be_read_and_drills_are_named_and_left_out(tmp_path: Path) -> None:
    bad = trail("declined")
    log = Memory()
    opened = trail("wet-lead")[0]
    log.append_all("drill-1", [("opened", {**opened.body, "drill": {"scenario": "x"}})], opened.time)
    shelf = Shelf([trail("worn-plug"), bad, log.events("drill-1")], [bad[0].case])
    found = write_tables(shelf, tmp_path / "new" / "folder", "csv")
    assert found.cases == 1
    assert [note.split(":")[0] for note in found.notes] == [
        f"Case {bad[0].case} cannot be read and is not in the tables",
        "1 drill left out.",
    ]


def test_nothing_that_is_there_is_replaced_unasked(tmp_path: Path) -> None:
    (tmp_path / "parts.csv").write_text("mine")
    with pytest.raises(Refused, match=r"parts\.csv is there already, so nothing was written"):
        write_tables(Shelf([trail("worn-plug")]), tmp_path, "csv")
    assert os.listdir(tmp_path) == ["parts.csv"] and (tmp_path / "parts.csv").read_text() == "mine"
    write_tables(Shelf([trail("worn-plug")]), tmp_path, "csv", overwrite=True)
    assert (tmp_path / "parts.csv").read_text().startswith("case,seq")
    (tmp_path / "cases.jsonl").mkdir()
    with pytest.raises(Refused, match="is not a plain file"):
        write_tables(Shelf([trail("worn-plug")]), tmp_path, "json", overwrite=True)


def test_what_breaks_off_leaves_nothing(tmp_path: Path) -> None:
    class Gone(Shelf):
        def find(self, *, since: str, until: str, engine: str) -> list[Listed]:
            raise OSError(28, "No space left on device")

    class Stopped(Shelf):
        def events(self, case: str) -> Sequence[Event]:
            raise KeyboardInterrupt

    for shelf in (Gone([trail("worn-plug")]), Stopped([trail("worn-plug")])):
        with pytest.raises((OSError, KeyboardInterrupt)):
            write_tables(shelf, tmp_path, "parquet")
        assert os.listdir(tmp_path) == []
    (tmp_path / "file").write_text("")
    with pytest.raises(Refused, match="could not be written"):
        write_tables(Shelf([trail("worn-plug")]), tmp_path / "file", "csv")


def test_a_full_disk_is_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = open
    monkeypatch.setattr(tables, "open", lambda path, mode: real("/dev/full", "wb"), raising=False)
    with pytest.raises(Refused, match="no space left"):
        write_tables(Shelf(all_trails()), tmp_path, "csv")
    assert os.listdir(tmp_path) == []


def test_without_the_library_of_parquet_a_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(Refused, match=r"ignition-isolate\[parquet\]"):
        write_tables(Shelf([trail("worn-plug")]), tmp_path, "parquet")
    assert os.listdir(tmp_path) == []


# -- the command -----------------------------------------------------------------------------------

EXAMPLE = """
import csv
from collections import Counter
with open("repairs.csv", newline="", encoding="utf-8") as file:
    lines = [line for line in csv.DictReader(file) if line["taken_back"] == "false" and line["in_vain"]]
done = Counter(line["repair"] for line in lines)
vain = Counter(line["repair"] for line in lines if line["in_vain"] == "true")
for repair, times in done.most_common():
    print(repair, times, "done,", vain[repair], "in vain")
"""
"""As the README has it."""


def test_the_command_and_what_an_analyst_does_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "cases.db"))
    with open_store(tmp_path / "cases.db") as store:
        for name in NAMES:
            store.import_case(TRAILS / f"{name}.jsonl")
    to = tmp_path / "tables"
    assert main(["review", "tables", str(to)]) == 0
    out = capsys.readouterr().out
    assert "repairs.csv: 7 rows" in out and "7 cases." in out
    ran = subprocess.run([sys.executable, "-c", EXAMPLE], cwd=to, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines() == [
        "replace-lead/B 3 done, 1 in vain",
        "replace-igniter/B 1 done, 0 in vain",
        "replace-exciter/B 1 done, 0 in vain",
        "purge-wet-igniter/B 1 done, 1 in vain",
        "replace-igniter/1 1 done, 0 in vain",
    ]
    assert main(["review", "tables", str(to)]) == 1
    assert "--overwrite replaces it" in capsys.readouterr().err
    assert main(["review", "tables", str(to), "--overwrite", "--since", "2030-02-01", "--engine", "orrin-t-9"]) == 0
    assert "1 case." in capsys.readouterr().out


def test_times_are_utc(tmp_path: Path) -> None:
    path = written(tmp_path, "parquet")["cases"]
    opened = pyarrow.parquet.read_table(path)["opened"].to_pylist()
    assert min(opened) == datetime(2030, 1, 10, 6, tzinfo=UTC)

"""A fleet's removals out of a CSV file: age at the end, failed or running, and the age it was first known at.

Read is any table with a line of column names, parted by commas, semicolons or tabs, as a spreadsheet saves it. What
cannot be read is told line by line; nothing is left out without a word, and no row is mended by guessing.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from isolate.calc.figures import quoted
from isolate.calc.shape import Unfit

LARGEST = 64 * 2**20
"""Bytes of a file that is read; a fleet's removals come to some thousands of rows."""

STARTS = ("starts", "start", "cycles", "cycle")
HOURS = ("h", "hours", "hour", "hr", "hrs", "fh")
AGES = ("age", "life", "at age", "age at removal", "removed at", *STARTS, *HOURS)
STATUSES = ("status", "outcome", "state", "event", "failed", "censored", "running")
TURNED = ("censored", "running", "still running", "good")
"""Columns where yes means that it did not fail."""
ENTRIES = ("entry", "entry age", "age at entry", "known from", "from age", "from")
UNITS = ("unit", "units")
FAILED = ("failed", "fail", "failure", "f", "misfire", "misfired", "dead", "worn out", "1", "yes", "y", "true")
RUNNING = (
    *("running", "still running", "run", "in service", "good", "removed good", "still good", "serviceable"),
    *("scheduled", "planned", "censored", "c", "r", "0", "no", "n", "false"),
)
YES = ("1", "yes", "y", "true")
NO = ("0", "no", "n", "false")


@dataclass(frozen=True)
class Removals:
    """What a file held: (age, entry age) of the failed and the running, the unit ("starts", "h"), what was not read."""

    failed: tuple[tuple[float, float], ...]
    running: tuple[tuple[float, float], ...]
    unit: str
    columns: tuple[str, ...]
    """Which column was taken for age, status and entry age ("" for none), as they are spelt."""
    unread: tuple[str, ...]
    """``file:line: why`` of each row that is not among them."""
    notes: tuple[str, ...] = ()


def read(path: str, unit: str = "", age: str = "", status: str = "", entry: str = "") -> Removals:
    """Return the removals of a file. Raises Unfit, with file and line where there is one.

    ``unit``: "starts" or "h", where neither the column's name nor the cells say it. ``age``, ``status``, ``entry``:
    the names of their columns, where they are not among those known.
    """
    text, notes = _text(path)
    name = Path(path).name
    rows = _rows(text, name)
    if not rows:
        raise Unfit(f"{name}: there is nothing in it", "file")
    (first, head), body = rows[0], rows[1:]
    head = [h.strip() for h in head]
    if all(_figure(h) is not None for h in head if h):
        raise Unfit(f"{name}:{first}: the first line has to name the columns, such as starts,status", "file")
    at_age = _column(head, age, AGES, "age", "age-column", name, first)
    at_status = _column(head, status, STATUSES, "status", "status-column", name, first, but=at_age)
    at_entry = _column(head, entry, ENTRIES, "entry", "entry-column", name, first, needed=bool(entry))
    at_unit = _column(head, "", UNITS, "unit", "", name, first, needed=False)
    units: dict[str, int] = {}
    for spelt in (h for i in (at_age, at_entry) if i is not None for h in _words(head[i])):
        units.setdefault(_unit(spelt), first) if _unit(spelt) else None
    if unit:
        units.setdefault(unit, 0)
    failed: list[tuple[float, float]] = []
    running: list[tuple[float, float]] = []
    unread: list[str] = []
    for line, row in body:
        if not any(cell.strip() for cell in row):
            continue
        try:
            one = _read(head, row, at_age, at_status, at_entry, at_unit)
        except ValueError as error:
            unread.append(f"{name}:{line}: {error}")
            continue
        for said in one.units:
            units.setdefault(said, line)
        (failed if one.failed else running).append((one.age, one.entry))
    if len(units) > 1:
        places = " and ".join(
            f"{'hours' if u == 'h' else u} ({f'line {at}' if at else 'told'})" for u, at in units.items()
        )
        raise Unfit(f"{name}: ages are in {places}; starts and hours are not turned into each other", "file")
    if not units:
        raise Unfit(f"{name}: nothing says whether {head[at_age or 0]!r} is in starts or hours; tell the unit", "unit")
    if not failed and not running:
        raise Unfit(
            f"{name}: no row could be read. {unread[0] if unread else 'There is none below the names.'}", "file"
        )
    columns = (head[at_age or 0], head[at_status or 0], head[at_entry] if at_entry is not None else "")
    return Removals(tuple(failed), tuple(running), next(iter(units)), columns, tuple(unread), tuple(notes))


def _text(path: str) -> tuple[str, list[str]]:
    file = Path(path)
    try:
        if file.is_dir():
            raise Unfit(f"{path}: that is a folder; a file of removals is asked for", "file")
        if file.exists() and not file.is_file():
            # A pipe or a device may never end.
            raise Unfit(f"{path}: that is no plain file; a file of removals is asked for", "file")
        if file.stat().st_size > LARGEST:
            raise Unfit(f"{path}: more than {LARGEST // 2**20} MB; that is no list of removals", "file")
        raw = file.read_bytes()
    except OSError as error:
        raise Unfit(f"{path}: cannot be read: {error.strerror}", "file") from None
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return raw.decode("utf-16"), []
        except UnicodeDecodeError:
            raise Unfit(f"{path}: begins as UTF-16 text and does not go on as that", "file") from None
    if b"\0" in raw or raw[:4] == b"PK\x03\x04":
        raise Unfit(f"{path}: that is no text; save the table as CSV", "file")
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace"), ["It is not UTF-8; its letters were read as Western ones."]


def _rows(text: str, name: str) -> list[tuple[int, list[str]]]:
    """Return (line, cells) of every line that is not empty."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    head = next((line for line in plain.split("\n") if line.strip()), "")
    mark = max(",;\t", key=head.count)
    reader = csv.reader((line + "\n" for line in plain.split("\n")), delimiter=mark)
    found, last = [], 0
    try:
        for row in reader:
            # A cell may hold line ends: its row is where it begins.
            if any(cell.strip() for cell in row):
                found.append((last + 1, row))
            last = reader.line_num
    except csv.Error as error:
        raise Unfit(f"{name}:{reader.line_num}: {error}", "file") from None
    return found


def _words(text: str) -> list[str]:
    return [w for w in re.split(r"[^a-z]+", text.casefold()) if w]


def _unit(word: str) -> str:
    return "starts" if word in STARTS else "h" if word in HOURS else ""


def _same(text: str) -> str:
    return " ".join(re.split(r"[\s_\-]+", text.strip().casefold()))


def _column(
    head: list[str],
    told: str,
    known: tuple[str, ...],
    what: str,
    option: str,
    name: str,
    line: int,
    needed: bool = True,
    but: int | None = None,
) -> int | None:
    """Return which column it is, by the name told or those known. Raises Unfit where none or several are."""
    if told:
        found = [i for i, h in enumerate(head) if _same(h) == _same(told)]
        if len(found) != 1:
            several = "several columns are" if found else "no column is"
            raise Unfit(f"{name}:{line}: {several} called {told!r}; there are {_named(head)}", option)
        return found[0]

    def plain(text: str) -> str:
        # "age (starts)", "starts since new": the unit in brackets is no other column.
        return re.sub(r"\s*[(\[].*?[)\]]\s*", "", _same(text)).removesuffix(" since new").removesuffix(" at removal")

    found = [i for i, h in enumerate(head) if i != but and plain(h) in known]
    if len(found) == 1:
        return found[0]
    if len(found) > 1:
        named = " and ".join(repr(head[i]) for i in found)
        raise Unfit(
            f"{name}:{line}: {named} may both be the {what}; tell which with {option or what}", option or "file"
        )
    if needed:
        raise Unfit(
            f"{name}:{line}: no column is known for the {what}; there are {_named(head)}. Tell it with {option}",
            option,
        )
    return None


def _named(head: list[str]) -> str:
    """Return the names of columns as a sentence may hold them: not too many, and nothing in them but text."""
    shown = ", ".join(quoted(name)[1:-1] for name in head[:12])
    return shown if len(head) <= 12 else f"{shown} and {len(head) - 12} more"


@dataclass(frozen=True)
class _Row:
    age: float
    entry: float
    failed: bool
    units: tuple[str, ...]


def _read(
    head: list[str],
    row: list[str],
    at_age: int | None,
    at_status: int | None,
    at_entry: int | None,
    at_unit: int | None,
) -> _Row:
    """Return a row. Raises ValueError with what is wrong with it."""
    if len(row) > len(head) and any(cell.strip() for cell in row[len(head) :]):
        raise ValueError(f"{len(row)} cells for {len(head)} columns; a comma as decimal sign wants semicolons between")

    def cell(at: int | None) -> str:
        return row[at].strip() if at is not None and at < len(row) else ""

    units = []
    told = cell(at_unit).casefold()
    if told:
        if not _unit(told):
            raise ValueError(f"{told!r} is no unit; starts or hours")
        units.append(_unit(told))
    age, unit = _age(cell(at_age), head[at_age or 0])
    units += [unit] if unit else []
    if age <= 0:
        raise ValueError(f"an age of {age:g} is none that a plug comes off at")
    entry = 0.0
    if cell(at_entry):
        entry, unit = _age(cell(at_entry), head[at_entry or 0])
        units += [unit] if unit else []
        if entry < 0:
            raise ValueError(f"an entry age of {entry:g} is none")
        if entry >= age:
            raise ValueError(f"known from {entry:g} on, which is not before it ended at {age:g}")
    status = _same(cell(at_status))
    if status not in FAILED and status not in RUNNING:
        raise ValueError(
            f"{cell(at_status)!r} is neither failed nor running" if status else "whether it failed is not said"
        )
    failed = status in FAILED
    if _same(head[at_status or 0]) in TURNED and status in (*YES, *NO):
        failed = status in NO
    return _Row(age, entry, failed, tuple(units))


def _age(text: str, column: str) -> tuple[float, str]:
    if not text:
        raise ValueError(f"no {column}")
    found = re.fullmatch(r"([+-]?[\d.,]*\d[.,]?)\s*([A-Za-z]*)", text)
    figure = _figure(found[1]) if found else None
    if found is None or figure is None:
        if found and re.fullmatch(r"[+-]?\d{1,3},\d{3}", found[1].strip()):
            raise ValueError(
                f"{text!r} may be {found[1].replace(',', '')} or {found[1].replace(',', '.')}; write it one way"
            )
        raise ValueError(f"{text!r} is no {column}")
    unit = _unit(found[2].casefold())
    if found[2] and not unit:
        raise ValueError(f"{found[2]!r} is no unit; starts or hours")
    if figure >= 1e9:
        raise ValueError(f"an age of {figure:g} is absurd")
    return figure, unit


def _figure(text: str) -> float | None:
    """Return a figure as typed, 1234.5 or 1234,5; None for what is none or may be two."""
    text = text.strip()
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text) and not text.lstrip("+-").startswith("0"):
        return None
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3}){2,}(\.\d+)?|[+-]?\d{1,3}(,\d{3})+\.\d+", text):
        return float(text.replace(",", ""))
    if re.fullmatch(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", text, re.ASCII):
        return float(text.replace(",", "."))
    return None

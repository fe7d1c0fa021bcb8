"""Cases as tables for other tools: CSV, JSON lines or Parquet, one file a table, columns named with their units.

Cases go by one at a time, so that many need no more memory than few. The files are written beside their names and
take them once all are whole; nothing that is there is replaced unless it is asked for.

*CSV* is RFC 4180, UTF-8, with a heading; nothing told is an empty cell. A spreadsheet takes a cell that begins with
``=``, ``+``, ``-``, ``@`` or a control character for a formula, or for what moves to the next cell. Every text cell
that begins so gets an apostrophe in front (OWASP, "CSV Injection"), and so does one that begins with an apostrophe
itself: whoever takes one apostrophe off the front of every text cell that has one (:func:`restored`) has the value
back. Control characters and marks that turn the direction of writing are left out of CSV, as they are on a terminal;
the body of an event has them as JSON escapes there.
*JSON*: one object a line, what was not told is null. *Parquet* has typed columns; its times are UTC in milliseconds.
In both, text is as it was told.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Literal, NamedTuple, Protocol, Self

from isolate.case.brief import Brief, brief
from isolate.case.case import RECORD, Swap
from isolate.case.events import Event, canonical, parse_time
from isolate.case.intake import Refused
from isolate.case.measured import kept
from isolate.case.store import spared
from isolate.kb.shown import plain
from isolate.review.verdicts import in_vain, verdicts

Kind = Literal["csv", "json", "parquet"]
Holds = Literal["text", "whole", "number", "yes", "time"]
"""What a column holds; ``yes``: true or false."""
ENDINGS: Mapping[Kind, str] = {"csv": "csv", "json": "jsonl", "parquet": "parquet"}
_RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠", "'")
_BATCH = 2_000
"""Rows that are gathered before they are written to a Parquet file."""


class Column(NamedTuple):
    """A column: its name, with the unit where it has one, what it holds, and what it says."""

    name: str
    holds: Holds
    says: str


_OF_CASE = Column("case", "text", "the case's id")
_AT = (_OF_CASE, Column("seq", "whole", "the event's number in the case"), Column("time", "time", "when, UTC"))

TABLES: Mapping[str, Sequence[Column]] = {
    "cases": (
        _OF_CASE,
        Column("opened", "time", "when it was opened, UTC"),
        Column("closed", "time", "when it ended, UTC; nothing while it is open"),
        Column("last", "time", "when something was last written to it, UTC"),
        Column("aircraft", "text", "fleet number"),
        Column("position", "text", "engine position"),
        Column("engine", "text", "engine type"),
        Column("complaint", "text", "the complaint"),
        Column("channel", "text", "the channel that it is about"),
        Column("operator", "text", "the operator"),
        Column("station", "text", "where it was worked"),
        Column("place", "text", "at the gate or in the hangar"),
        Column("condition", "text", "when the defect shows"),
        Column("program", "text", "the version of the program that opened it"),
        Column("format", "whole", "the format of its trail"),
        Column("knowledge_sha256", "text", "the version of the knowledge"),
        Column("ended", "text", "the way it ended"),
        Column("verified", "text", "passed, failed or outstanding"),
        Column("engine_starts", "number", "engine starts since new at the opening"),
        Column("answers", "whole", "answers that stand"),
        Column("repairs", "whole", "repairs that stand"),
        Column("work_min", "number", "minutes by the knowledge's figures"),
        Column("clock_min", "number", "minutes by the clock, less those that nobody worked"),
        Column("isolated_min", "number", "of work_min, up to the move that the end names as right"),
        Column("remaining_probability", "number", "that a fault remained at the end"),
        Column("offers_taken", "whole", "advice taken as it was put"),
        Column("offers_turned_down", "whole", "advice turned down"),
        Column("earlier_cases", "text", "cases that it carried in, a space between"),
        Column("signed_by", "text", "who signed, a semicolon between; not proven here"),
        Column("events", "whole", "events on the trail"),
        Column("head_sha256", "text", "the hash of its last event"),
    ),
    "events": (
        *_AT,
        Column("kind", "text", "what kind of event"),
        Column("body", "text", "what it says, as canonical JSON (RFC 8785)"),
        Column("prev_sha256", "text", "the hash of the event before"),
        Column("hash_sha256", "text", "its own hash"),
    ),
    "answers": (
        *_AT,
        Column("check", "text", "the check"),
        Column("outcome", "text", "its outcome; empty: it could not be told"),
        Column("within", "text", "as part of what it was asked"),
        Column("condition", "text", "the condition it was done in"),
        Column("condition_strength", "number", "how far that condition prevailed, 0 to 1"),
        Column("occasion", "whole", "which occasion: one place, one condition, within the hour"),
        Column("work_min", "number", "minutes by the knowledge's figures"),
        Column("taken_back", "yes", "whether it was taken back since"),
    ),
    "readings": (
        *_AT,
        Column("step", "text", "the check or repair that it was taken at"),
        Column("how", "text", "answered, along where a record read for another check answered it, or noted"),
        Column("calculation", "text", "the calculation that it went through"),
        Column("verdict", "text", "what it came to; empty: it was held against nothing"),
        Column("proposed", "text", "the outcome that follows from that; empty: none does"),
        Column("why", "text", "why it came to that"),
        Column("limits", "text", "the limits told from the approved data, a semicolon between"),
        Column("reference", "text", "where they stand"),
        Column("figure", "text", "which result; one row each"),
        Column("value", "number", "the result, in the unit beside it"),
        Column("low", "number", "the lower end of its 95 % interval"),
        Column("high", "number", "the upper end of its 95 % interval"),
        Column("unit", "text", "the unit of value, low and high"),
        Column("files", "text", "the files that it came from, a semicolon between"),
        Column("files_sha256", "text", "the SHA-256 of each, a space between"),
        Column("from_s", "number", "where in the record it begins, seconds"),
        Column("to_s", "number", "where it ends, seconds"),
        Column("read_by", "text", "who read it, and with which meter; empty: it was not told"),
        Column("taken_back", "yes", "whether it was taken back since"),
    ),
    "repairs": (
        *_AT,
        Column("repair", "text", "the repair"),
        Column("work_min", "number", "minutes by the knowledge's figures"),
        Column("parts_equivalent_min", "number", "what it takes in parts, equivalent minutes"),
        Column("named_mode", "text", "what the end of the case says that it put right"),
        Column("named_probability", "number", "how probable that is"),
        Column("shop_finding", "text", "what the shop said of the part that came off"),
        Column("in_vain", "yes", "whether the part was probably good; nothing where nobody says"),
        Column("taken_back", "yes", "whether it was taken back since"),
    ),
    "parts": (
        *_AT,
        Column("how", "text", "repair, or swap where parts changed places"),
        Column("move", "text", "the repair, or the part that changed places"),
        Column("channel", "text", "the channel that the part came off"),
        Column("to", "text", "in a swap: the channel, or the aircraft and position, that it went to"),
        Column("pn_off", "text", "part number of the part that came off"),
        Column("sn_off", "text", "its serial number"),
        Column("hours_off_h", "number", "its hours since new"),
        Column("starts_off", "number", "its starts since new"),
        Column("pn_on", "text", "part number of the part that went on"),
        Column("sn_on", "text", "its serial number"),
    ),
    "beliefs": (
        *_AT,
        Column("rank", "whole", "1 for the leading suspect"),
        Column("mode", "text", "the fault mode"),
        Column("probability", "number", "how probable it was then"),
        Column("no_fault_probability", "number", "that there was no fault at all"),
        Column("unexplained_level", "number", "how often answers this odd come up if the knowledge is right, 0 to 1"),
    ),
    "advice": (
        *_AT,
        Column("kind", "text", "check, repair, swap, verify or end"),
        Column("move", "text", "what was put forward"),
        Column("became", "text", "taken, declined, or instead where something else was taken up"),
        Column("reason", "text", "why it was declined"),
        Column("instead", "text", "what was taken up instead"),
        Column("expected_min", "number", "equivalent minutes to the end, as it was put"),
        Column("instead_expected_min", "number", "the same of what was taken up instead"),
        Column("now_min", "number", "minutes of the move itself with the way to it"),
    ),
}
"""Table → its columns."""


class Shelf(Protocol):
    """Where cases are kept."""

    def find(self, *, since: str, until: str, engine: str) -> Sequence[Any]: ...
    def events(self, case: str) -> Sequence[Event]: ...


@dataclass(frozen=True)
class Written:
    """The files with their rows, and sentences on cases that are not in them."""

    files: tuple[tuple[Path, int], ...]
    cases: int
    notes: tuple[str, ...]


def write_tables(
    shelf: Shelf,
    folder: Path,
    kind: Kind = "csv",
    *,
    since: str = "",
    until: str = "",
    engine: str = "",
    overwrite: bool = False,
) -> Written:
    """Write all tables to a folder, which is made where it is not there.

    ``since`` and ``until``: days (UTC) on which the cases were opened. Raises Refused where a file
    cannot be written or is there already, StoreError where the shelf cannot be read.
    """
    notes: list[str] = []
    drills = cases = 0
    with _Files(folder, kind, overwrite) as files:
        found = shelf.find(since=since, until=until, engine=engine)
        for summary in sorted(found, key=lambda s: (s.opened, s.id)):
            if summary.ends > 1:
                notes.append(f"Case {summary.id} has {summary.ends} ends; its main one is in the tables.")
            try:
                lines = rows(shelf.events(summary.id))
            except Exception as error:
                # A case that came from elsewhere may hold anything; the others are written all the same.
                why = str(error).rstrip(".") or type(error).__name__
                notes.append(f"Case {summary.id} cannot be read and is not in the tables: {why}.")
                continue
            if lines is None:
                drills += 1
                continue
            cases += 1
            for name, some in lines.items():
                files.add(name, some)
        written = files.done()
    if drills:
        notes.append(f"{drills:,} {'drill' if drills == 1 else 'drills'} left out.")
    return Written(written, cases, tuple(notes))


# -- the rows of one case --------------------------------------------------------------------------


def rows(events: Sequence[Event]) -> dict[str, list[tuple[Any, ...]]] | None:
    """Return the rows of a case, table by table, in the order of the columns; None for a drill.

    What was not told is None, or empty text where the trail has it so. Raises what :func:`isolate.case.brief.brief`
    does, and for a body that is not in the form expected.
    """
    short = brief(events)
    if short.drill:
        return None
    void = {int(event.body["seq"]) for event in events if event.kind == "corrected"}
    return {
        "cases": [_case(short)],
        "events": [
            (*_at(event), event.kind, canonical(event.body).decode(), event.prev, event.hash) for event in events
        ],
        "answers": [_answer(event, event.seq in void) for event in events if event.kind == "answered"],
        "readings": [
            line
            for event in events
            if event.kind in ("answered", "noted") and "reading" in event.body
            for line in _readings(event, event.seq in void)
        ],
        "repairs": list(_repairs(short, events, void)),
        "parts": list(_parts(events, void)),
        "beliefs": [line for event in events if event.kind == "belief" for line in _beliefs(event)],
        "advice": list(_advice(events, void)),
    }


def _at(event: Event) -> tuple[str, int, str]:
    return event.case, event.seq, event.time


def _case(short: Brief) -> tuple[Any, ...]:
    names = dict.fromkeys(name for name, _ in short.signed if name)
    return (
        *(short.case, short.opened, short.closed or None, short.last, short.aircraft, short.position, short.engine),
        *(short.complaint, short.channel, short.operator, short.station, short.place, short.condition, short.program),
        *(short.format, short.knowledge, short.ended, short.verified, short.starts, short.answers, len(short.repairs)),
        *(short.book, short.clock, short.isolated, short.remaining, short.taken, len(short.turned)),
        *(" ".join(short.earlier), "; ".join(names), short.events, short.head),
    )


def _answer(event: Event, void: bool) -> tuple[Any, ...]:
    body = event.body
    return (
        *(*_at(event), body["check"], body.get("outcome") or "", _text(body, "within"), _text(body, "condition")),
        *(_number(body, "strength"), _whole(body, "occasion"), _number(body, "minutes"), void),
    )


def _readings(event: Event, void: bool) -> Iterator[tuple[Any, ...]]:
    """Yield a reading, one row a figure. Raises Refused for one that is none."""
    body = event.body
    reading = kept(body["reading"])
    how = "noted" if event.kind == "noted" else "along" if body.get("within") == RECORD else "answered"
    step = _text(body, "check" if event.kind == "answered" else "about")
    seconds = reading.get("seconds") or (None, None)
    nothing = {"says": "", "value": None, "low": None, "high": None, "unit": ""}
    for figure in reading["figures"] or [nothing]:
        yield (
            *(*_at(event), step, how, reading["calc"], reading["verdict"], reading["outcome"], reading["why"]),
            *("; ".join(f"{asked}: {told}" for asked, told in reading["limits"]), reading["reference"], figure["says"]),
            *(_number(figure, "value"), _number(figure, "low"), _number(figure, "high"), figure["unit"]),
            *("; ".join(f["name"] for f in reading["files"]), " ".join(f["sha256"] for f in reading["files"])),
            *(None if s is None else float(s) for s in seconds),
            *(reading.get("by", ""), void),
        )


def _repairs(short: Brief, events: Sequence[Event], void: set[int]) -> Iterator[tuple[Any, ...]]:
    said = {item.seq: (item, named) for item, named in verdicts(short)}
    for event in events:
        if event.kind != "repaired":
            continue
        item, named = said.get(event.seq, (None, ()))
        best = next((n for n in named if not n.in_vain), next(iter(named), None))
        yield (
            *(*_at(event), event.body["repair"], _number(event.body, "minutes"), _number(event.body, "parts")),
            *((best.mode, best.probability) if best is not None else ("", None)),
            *((item.finding, in_vain(item, named)) if item is not None else ("", None)),
            event.seq in void,
        )


def _parts(events: Sequence[Event], void: set[int]) -> Iterator[tuple[Any, ...]]:
    for event in events:
        if event.seq in void:
            continue
        if event.kind == "repaired" and (part := event.body.get("part")):
            repair = event.body["repair"]
            yield (
                *(*_at(event), "repair", repair, repair.partition("/")[2], ""),
                *(_text(part, "pn-off"), _text(part, "sn-off"), _number(part, "hours-off")),
                *(_number(part, "starts-off"), _text(part, "pn-on"), _text(part, "sn-on")),
            )
        elif event.kind == "swapped":
            swap = Swap.from_dict(event.body["swap"])
            to = swap.other or swap.where
            yield (*_at(event), "swap", swap.part, swap.channel, to, "", swap.serial, None, None, "", swap.other_serial)


def _beliefs(event: Event) -> Iterator[tuple[Any, ...]]:
    none, level = _number(event.body, "none"), _number(event.body, "level")
    faults = event.body.get("faults") or [["", None]]
    for rank, (mode, probability) in enumerate(faults, start=1):
        yield (*_at(event), rank, str(mode), None if probability is None else float(probability), none, level)


def _advice(events: Sequence[Event], void: set[int]) -> Iterator[tuple[Any, ...]]:
    """Yield what became of each piece of advice, told apart as :class:`isolate.case.brief.Brief` does."""
    offered: Mapping[str, Any] = {}
    for event in events:
        body = event.body
        if event.kind == "offered":
            offered = body
        if event.seq in void or not offered:
            continue
        put = {m["move"]: m for m in (*offered.get("alternatives", ()), offered)}
        if event.kind == "declined" and not body.get("of_itself"):
            move = put.get(body["move"], {})
            said = (_text(body, "kind"), body["move"], "declined", _text(body, "reason"), "")
            yield (*_at(event), *said, _number(move, "expected"), None, _number(move, "now"))
        elif event.kind == "accepted" and body["kind"] != "close":
            figures = _number(offered, "expected"), _number(offered, "now")
            if body["move"] == offered["move"]:
                yield (*_at(event), offered["kind"], offered["move"], "taken", "", "", figures[0], None, figures[1])
            elif "expected" in body or "deferral" in body:
                did = f"{body['kind']} {body['move']}"
                over = _number(body, "expected")
                yield (*_at(event), offered["kind"], offered["move"], "instead", "", did, figures[0], over, figures[1])


def _text(body: Mapping[str, Any], name: str) -> str:
    value = body.get(name)
    return "" if value is None else str(value)


def _number(body: Mapping[str, Any], name: str) -> float | None:
    value = body.get(name)
    return None if value is None else float(value)


def _whole(body: Mapping[str, Any], name: str) -> int | None:
    value = body.get(name)
    return None if value is None else int(value)


# -- files -----------------------------------------------------------------------------------------


def harmless(text: str) -> str:
    """Return text as a CSV cell has it: no spreadsheet takes it for a formula, and nothing in it is hidden.

    What moves a screen about or changes the direction of writing is left out, as it is where text is shown; tabs and
    carriage returns become blanks.
    """
    text = text if text.isascii() and text.isprintable() else plain(text, lines=True)
    return f"'{text}" if text.startswith(_RISKY) or text.lstrip().startswith(_RISKY) else text


def spelled(text: str) -> str:
    """Return JSON with what does not print written as JSON escapes: the same value, and nothing of it hidden."""
    return "".join(letter if letter.isprintable() else json.dumps(letter)[1:-1] for letter in text)


def restored(cell: str) -> str:
    """Return what :func:`harmless` was given, but for what it left out."""
    return cell[1:] if cell.startswith("'") else cell


class _Sink(Protocol):
    """Where the rows of one table go."""

    def add(self, lines: Sequence[tuple[Any, ...]]) -> None: ...
    def end(self) -> None: ...


class _Csv:
    def __init__(self, stream: BinaryIO, columns: Sequence[Column]) -> None:
        self._text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=False)
        self._writer = csv.writer(self._text)
        self._writer.writerow([column.name for column in columns])
        self._json = frozenset(at for at, column in enumerate(columns) if column.name == "body")

    def add(self, lines: Sequence[tuple[Any, ...]]) -> None:
        for line in lines:
            told = [spelled(value) if at in self._json else value for at, value in enumerate(line)]
            self._writer.writerow([_cell(value) for value in told])

    def end(self) -> None:
        self._text.flush()
        self._text.detach()


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return harmless(value)
    return value if not isinstance(value, bool) else "true" if value else "false"


class _Json:
    def __init__(self, stream: BinaryIO, columns: Sequence[Column]) -> None:
        self._stream = stream
        self._names = [column.name for column in columns]

    def add(self, lines: Sequence[tuple[Any, ...]]) -> None:
        for line in lines:
            said = json.dumps(dict(zip(self._names, line, strict=True)), ensure_ascii=False, allow_nan=False)
            self._stream.write(said.encode() + b"\n")

    def end(self) -> None:
        pass


class _Parquet:
    def __init__(self, stream: BinaryIO, columns: Sequence[Column]) -> None:
        try:
            import pyarrow
            import pyarrow.parquet
        except ImportError:
            raise Refused(
                "Parquet needs a library that is not installed here: pip install 'ignition-isolate[parquet]'. "
                "CSV and JSON need nothing more."
            ) from None
        types = {
            "text": pyarrow.string(),
            "whole": pyarrow.int64(),
            "number": pyarrow.float64(),
            "yes": pyarrow.bool_(),
            "time": pyarrow.timestamp("ms", tz="UTC"),
        }
        self._arrow = pyarrow
        self._columns = columns
        self._schema = pyarrow.schema(
            [pyarrow.field(c.name, types[c.holds], metadata={"says": c.says}) for c in columns]
        )
        self._writer = pyarrow.parquet.ParquetWriter(stream, self._schema)
        self._waiting: list[tuple[Any, ...]] = []

    def add(self, lines: Sequence[tuple[Any, ...]]) -> None:
        self._waiting += lines
        if len(self._waiting) >= _BATCH:
            self._flush()

    def end(self) -> None:
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        if not self._waiting:
            return
        arrays = []
        for column, values in zip(self._schema, zip(*self._waiting, strict=True), strict=True):
            if self._arrow.types.is_timestamp(column.type):
                values = tuple(None if value is None else parse_time(value) for value in values)
            arrays.append(self._arrow.array(values, type=column.type))
        self._writer.write_batch(self._arrow.record_batch(arrays, schema=self._schema))
        self._waiting.clear()


class _Files:
    """The files of all tables while they are written: their names are theirs once :meth:`done` was called."""

    def __init__(self, folder: Path, kind: Kind, overwrite: bool) -> None:
        self._folder, self._kind, self._overwrite = folder, kind, overwrite
        self._to = {name: folder / f"{name}.{ENDINGS[kind]}" for name in TABLES}
        self._part = {name: path.with_name(f".{path.name}.{os.getpid()}.part") for name, path in self._to.items()}
        self._sinks: dict[str, _Sink] = {}
        self._counts = dict.fromkeys(TABLES, 0)
        self._open = ExitStack()
        self._streams: list[BinaryIO] = []

    def __enter__(self) -> Self:
        sinks: dict[Kind, Callable[[BinaryIO, Sequence[Column]], _Sink]]
        sinks = {"csv": _Csv, "json": _Json, "parquet": _Parquet}
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._may_write()
            for name, columns in TABLES.items():
                stream = self._open.enter_context(open(self._part[name], "xb"))
                self._streams.append(stream)
                self._sinks[name] = sinks[self._kind](stream, columns)
        except BaseException as error:
            self._drop()
            if isinstance(error, OSError):
                raise Refused(self._why(error)) from None
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._drop()

    def add(self, table: str, lines: Sequence[tuple[Any, ...]]) -> None:
        try:
            self._sinks[table].add(lines)
        except OSError as error:
            raise Refused(self._why(error)) from None
        self._counts[table] += len(lines)

    def done(self) -> tuple[tuple[Path, int], ...]:
        """End the files and give them their names; return each with its rows. Raises Refused."""
        try:
            for sink in self._sinks.values():
                sink.end()
            for stream in self._streams:
                stream.flush()
                os.fsync(stream.fileno())
            self._open.close()
            self._may_write()
            for name, path in self._to.items():
                os.replace(self._part[name], path)
        except OSError as error:
            raise Refused(self._why(error)) from None
        self._sinks.clear()
        return tuple((self._to[name], count) for name, count in self._counts.items())

    def _may_write(self) -> None:
        there = [path for path in self._to.values() if path.exists() or path.is_symlink()]
        if odd := [path for path in there if not path.is_file()]:
            raise Refused(f"{odd[0]} is not a plain file, so nothing was written.")
        if there and not self._overwrite:
            raise Refused(f"{there[0]} is there already, so nothing was written. --overwrite replaces it.")
        for path in there:
            spared(path)

    def _drop(self) -> None:
        for sink in self._sinks.values():
            # What holds something back writes it now, while it can; the file goes anyhow.
            with suppress(Exception):
                sink.end()
        with suppress(OSError, ValueError):
            self._open.close()
        for path in self._part.values():
            with suppress(OSError):
                path.unlink()

    def _why(self, error: OSError) -> str:
        return f"the tables could not be written to {self._folder}: {(error.strerror or str(error)).lower()}."

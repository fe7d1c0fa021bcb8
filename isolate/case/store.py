"""Where cases are kept: an SQLite database, or a case file of JSON lines with no database at all.

When :meth:`Store.append` returns, the event is on disk. Whatever goes wrong with a file or a
database is raised as :class:`StoreError`, whose message is a sentence for the user.
"""

from __future__ import annotations

import errno
import os
import re
import sqlite3
import time as clock
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from isolate.case.chain import Fault, seal, verify
from isolate.case.events import ZERO, Event, EventError, canonical, from_line, parse, read_json, to_line

SCHEMA = 1
"""The version of the tables below, kept in the database's user_version."""

LIMIT = 200_000_000
"""The largest case file that is read, in bytes."""

_MARK = 0x49534F4C  # application_id: tells a store from any other SQLite database

_TABLES = """
CREATE TABLE cases (  -- what a list of cases shows; all of it follows from the events
    id TEXT PRIMARY KEY NOT NULL, opened TEXT NOT NULL, last TEXT NOT NULL, aircraft TEXT NOT NULL,
    position TEXT NOT NULL, engine TEXT NOT NULL, complaint TEXT NOT NULL, ended INTEGER NOT NULL,
    events INTEGER NOT NULL, head TEXT NOT NULL
);
CREATE TABLE events (
    case_id TEXT NOT NULL REFERENCES cases (id), seq INTEGER NOT NULL CHECK (seq >= 1), kind TEXT NOT NULL,
    time TEXT NOT NULL, body TEXT NOT NULL, prev TEXT NOT NULL, hash TEXT NOT NULL,
    PRIMARY KEY (case_id, seq)
);
CREATE TRIGGER events_stay BEFORE UPDATE ON events BEGIN SELECT RAISE(ABORT, 'an event is never changed'); END;
CREATE TRIGGER events_last BEFORE DELETE ON events BEGIN SELECT RAISE(ABORT, 'an event is never removed'); END;
"""

_COLUMNS = "case_id, seq, kind, time, body, prev, hash"


class StoreError(Exception):
    """A plain sentence about a store or a case file; file:line in front where there is a line."""


@dataclass(frozen=True)
class Summary:
    """A case in a list. Times are RFC 3339; what the opening did not say is an empty string."""

    id: str
    opened: str
    last: str
    aircraft: str
    position: str
    engine: str
    complaint: str
    ended: bool
    """True once closed and not resumed since."""
    events: int


@dataclass(frozen=True)
class Merged:
    """What reading in a case file did: events added, and events that were there already."""

    case: str
    added: int
    had: int


# -- the database --------------------------------------------------------------------------------


def open_store(
    where: str | Path | None = None, *, patience: float = 5.0, named: tuple[str, str] = ("ISOLATE_STORE", "cases.db")
) -> Store:
    """Open the store at `where`, making it if there is none.

    Without `where`: the environment variable ISOLATE_STORE, else `isolate/cases.db` in the user's data folder
    (XDG_DATA_HOME, else ~/.local/share); `named` gives another variable and file. `patience` is how many seconds to
    wait for another program's lock.

    Raises StoreError: no permission, a folder, not a store, newer than this version, locked, disk full, not SQLite.
    """
    given = str(where) if where is not None else os.environ.get(named[0], "")
    if re.match(r"postgres(ql)?(\+\w+)?:", given):
        raise StoreError(
            "A PostgreSQL store cannot be opened by this version: give the path of a file for an SQLite store instead."
        )
    if scheme := re.match(r"([A-Za-z][A-Za-z0-9+.-]+)://", given):
        raise StoreError(f"A store is the path of a file; {scheme[1]!r} addresses cannot be opened.")
    if "\0" in given:
        raise StoreError("The path of the store holds a NUL character, which no path can.")
    path = Path(given) if given else _data_folder() / "isolate" / named[1]
    if given.startswith("~"):
        with suppress(RuntimeError):  # no home folder: the path is then taken as it is written
            path = path.expanduser()
    return Store(path.absolute(), patience)


def _data_folder() -> Path:
    given = os.environ.get("XDG_DATA_HOME", "")
    if os.path.isabs(given):  # the XDG base directory specification says to ignore a relative one
        return Path(given)
    try:
        return Path.home() / ".local" / "share"
    except RuntimeError:
        raise StoreError("There is no home folder to keep cases in: give a path, or set ISOLATE_STORE.") from None


class Store:
    """Cases in one SQLite database; made by :func:`open_store`, closed by :meth:`close` or a `with` block.

    Several programs may have the same store open. One Store belongs to the thread that opened it.
    """

    def __init__(self, path: Path, patience: float) -> None:
        self.path = path
        self.patience = patience
        with self._plainly("opened"):
            if path.is_dir():
                raise StoreError(f"{path} is a folder: give the path of a file in it.")
            path.parent.mkdir(parents=True, exist_ok=True)
            is_new = not path.exists()
            self._db = sqlite3.connect(path, timeout=patience, isolation_level=None)
            try:
                self._prepare()
                if is_new:
                    _sync_folder(path.parent)
            except BaseException:
                self._db.close()
                raise

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database. Closing twice does nothing."""
        with self._plainly("closed"):
            self._db.close()

    def _prepare(self) -> None:
        # A text that was tampered with must come back to be found by the chain, not stop the reading.
        self._db.text_factory = lambda data: data.decode("utf-8", "replace")
        with self._reading():  # another program may be making the store just now: see all of it or nothing
            version = self._version()
        if version == 0:
            self._make()
        self._wal()
        self._db.execute("PRAGMA synchronous = FULL")  # with WAL: every commit is on disk before it returns
        self._db.execute("PRAGMA foreign_keys = ON")

    def _version(self) -> int:
        """The version of the tables, 0 for an empty database. Within a transaction."""
        version = int(self._one("PRAGMA user_version")[0])
        mark = int(self._one("PRAGMA application_id")[0])
        tables = int(self._one("SELECT count(*) FROM sqlite_master")[0])
        if version == mark == tables == 0:
            return 0
        if mark != _MARK:
            raise StoreError(f"{self.path} is a database, but not one of cases; it was left as it is.")
        if version > SCHEMA:
            raise StoreError(
                f"{self.path} was written by a newer version of this program (tables {version}, this one knows "
                f"{SCHEMA}): use that version. It was left as it is."
            )
        return version

    def _make(self) -> None:
        with self._writing():
            if self._version() == 0:  # nobody else made it since we looked
                for statement in re.split(r";\n(?=CREATE|$)", _TABLES.strip() + "\n"):
                    if statement:
                        self._db.execute(statement)
                self._db.execute(f"PRAGMA application_id = {_MARK}")
                self._db.execute(f"PRAGMA user_version = {SCHEMA}")

    def _wal(self) -> None:
        # SQLite does not wait for a lock when it changes this mode, so the patience has to be ours.
        until = clock.monotonic() + self.patience
        while True:
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if _code(error) != sqlite3.SQLITE_BUSY or clock.monotonic() > until:
                    raise
                clock.sleep(0.02)

    # -- writing

    def append(self, case: str, kind: str, body: Mapping[str, Any], time: str, *, after: str | None = None) -> Event:
        """Seal one event to the end of a case; on return it is on disk. See :meth:`append_all`."""
        return self.append_all(case, [(kind, body)], time, after=after)[0]

    def append_all(
        self, case: str, items: Iterable[tuple[str, Mapping[str, Any]]], time: str, *, after: str | None = None
    ) -> tuple[Event, ...]:
        """Seal events, each (kind, body), to the end of a case: all of them or none. `time` is RFC 3339 text.

        A case begins with `opened`, and only there. Give `after`, the hash of the last event that you know, to be
        refused where somebody else has written since.

        Raises StoreError: what is no event, no such case, already opened, written by somebody else since, read-only,
        disk full, locked, corrupt. Nothing is then kept of any of the events.
        """
        with self._plainly("written"), self._writing():
            count, head = self._end(case)
            if after is not None and after != head:
                raise StoreError(
                    f"Somebody else has written to case {case} since it was read: read it again before going on."
                )
            sealed: list[Event] = []
            for kind, body in items:
                try:
                    event = seal(case, count + 1, kind, time, body, head)
                except EventError as error:
                    raise StoreError(f"This cannot be kept in case {case}: {error}.") from None
                if (event.seq == 1) != (kind == "opened"):
                    raise StoreError(
                        f"There is already a case {case} in {self.path}."
                        if kind == "opened"
                        else f"There is no case {case} in {self.path}."
                    )
                sealed.append(event)
                count, head = event.seq, event.hash
            self._add(sealed)
        return tuple(sealed)

    def _end(self, case: str) -> tuple[int, str]:
        """Number and hash of the last event of a case; 0 and ZERO for no case."""
        told = self._one("SELECT events, head FROM cases WHERE id = ?", case) or (0, ZERO)
        query = "SELECT seq, hash FROM events WHERE case_id = ? ORDER BY seq DESC LIMIT 1"
        if told != (self._one(query, case) or (0, ZERO)):
            raise StoreError(
                f"The end of case {case} in {self.path} is not the one that was written: events were removed or "
                "changed by hand. Nothing was added to it."
            )
        return int(told[0]), str(told[1])

    def _add(self, events: Sequence[Event]) -> None:
        """Write sealed events that follow the end of their case. Within a transaction."""
        for event in events:
            if event.seq == 1:
                said = [_said(event.body.get(key)) for key in ("aircraft", "position", "engine", "complaint")]
                row = (event.case, event.time, event.time, *said, 0, 0, ZERO)
                self._db.execute("INSERT INTO cases VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
            self._db.execute(f"INSERT INTO events ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", _row(event))
        if events:
            turns = [event.kind == "closed" for event in events if event.kind in ("closed", "resumed")]
            self._db.execute(
                "UPDATE cases SET last = ?, events = ?, head = ?, ended = coalesce(?, ended) WHERE id = ?",
                (events[-1].time, events[-1].seq, events[-1].hash, turns[-1] if turns else None, events[-1].case),
            )

    # -- reading

    def cases(self) -> list[Summary]:
        """All cases, the one written to last first. Raises StoreError."""
        with self._plainly("read"):
            found = self._db.execute(
                "SELECT id, opened, last, aircraft, position, engine, complaint, ended, events"
                " FROM cases ORDER BY last DESC, id"
            ).fetchall()
        return [replace(Summary(*row), ended=bool(row[7])) for row in found]

    def events(self, case: str) -> tuple[Event, ...]:
        """The events of a case, in order; whether the chain holds is for :meth:`faults` to say.

        Raises StoreError: no such case, or something in the database that is no event any more.
        """
        found = []
        for row in self._rows(case):
            try:
                found.append(parse(_thing(row)))
            except EventError as error:
                raise StoreError(f"{self.path}, case {case}, event {row[1]}: {error}.") from None
        return tuple(found)

    def faults(self, case: str) -> list[Fault]:
        """Every break in the chain of a case, its end included. Raises StoreError."""
        with self._plainly("read"), self._reading():
            rows = self._rows(case)
            known = self._one("SELECT head FROM cases WHERE id = ?", case)
        return verify([_as_found(row) for row in rows], head=str(known[0]) if known else ZERO)

    def _rows(self, case: str) -> list[tuple[Any, ...]]:
        with self._plainly("read"):
            query = f"SELECT {_COLUMNS} FROM events WHERE case_id = ? ORDER BY seq"
            rows: list[tuple[Any, ...]] = self._db.execute(query, (case,)).fetchall()
            if not rows and not self._one("SELECT 1 FROM cases WHERE id = ?", case):
                raise StoreError(f"There is no case {case} in {self.path}.")
        return rows

    # -- travelling

    def export_case(self, case: str, to: str | Path | BinaryIO, *, overwrite: bool = False) -> int:
        """Write a case as JSON lines to a path, or to a stream of bytes; gives the number of events written.

        A file appears whole or not at all. Raises StoreError: no such case, a broken chain, a file that is there
        already (unless `overwrite`), no permission, disk full.
        """
        if faults := self.faults(case):
            raise StoreError(f"Case {case} in {self.path} is not whole and was not exported. {faults[0]}")
        events = self.events(case)
        data = b"".join(to_line(event) + b"\n" for event in events)
        if isinstance(to, (str, Path)):
            write_whole(Path(to), data, overwrite)
        else:
            try:
                _write_to(to, data)
            except (OSError, ValueError) as error:
                raise StoreError(f"The case could not be written out: {_reason(error)}.") from None
        return len(events)

    def import_case(self, path: str | Path) -> Merged:
        """Merge a case file into the store: all of it or nothing. Merging twice changes nothing.

        Raises StoreError as :func:`read_case` does, and where the file and the store tell two different stories.
        """
        events = read_case(path)
        case = events[0].case
        with self._plainly("written"), self._writing():
            count, _ = self._end(case)
            here = self._rows(case) if count else []
            for row, event in zip(here, events, strict=False):
                if row != _row(event):
                    raise StoreError(
                        f"{path}:{event.seq}: case {case} parts here from the one in {self.path}: event {event.seq} is "
                        f"'{event.kind}' of {event.time} in the file and '{row[2]}' of {row[3]} in the store. "
                        "Nothing was merged: keep both and compare them."
                    )
            self._add(events[count:])
        return Merged(case, max(len(events) - count, 0), min(len(events), count))

    # -- how

    def _one(self, query: str, *values: object) -> Any:
        return self._db.execute(query, values).fetchone()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction that holds the write lock from its start, so that two programs cannot fork a chain."""
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):  # after some errors SQLite has rolled back by itself
                self._db.execute("ROLLBACK")
            raise

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """Several queries that see the same moment."""
        self._db.execute("BEGIN")
        try:
            yield
        finally:
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")

    @contextmanager
    def _plainly(self, doing: str) -> Iterator[None]:
        """Let no error of SQLite or the system out but as a sentence."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"The store {self.path} could not be {doing}: {_database_reason(error)}.") from None
        except OSError as error:
            raise StoreError(f"The store {self.path} could not be {doing}: {_reason(error)}.") from None
        except UnicodeEncodeError:
            raise StoreError(f"The store {self.path} could not be {doing}: a case's id is not whole text.") from None


def _said(value: object) -> str:
    return str(value) if isinstance(value, (str, int, float)) and not isinstance(value, bool) else ""


def _row(event: Event) -> tuple[Any, ...]:
    body = canonical(event.body).decode()
    return event.case, event.seq, event.kind, event.time, body, event.prev, event.hash


def _thing(row: tuple[Any, ...]) -> dict[str, Any]:
    """A row of the events table as the JSON object it was. Raises EventError if the body is no JSON."""
    case, seq, kind, time, body, prev, own = row
    if not isinstance(body, str):
        raise EventError("body is not text")
    found = read_json(body)
    return {"case": case, "seq": seq, "kind": kind, "time": time, "body": found, "prev": prev, "hash": own}


def _as_found(row: tuple[Any, ...]) -> Event:
    """A row of the events table as an event, whatever was done to it: the chain finds what does not hash."""
    try:
        return parse(_thing(row))
    except EventError:
        case, seq, kind, time, _, prev, own = (str(value) for value in row)
        return Event(case, int(seq) if seq.isdecimal() else 0, kind, time, {}, prev, own)


def _code(error: sqlite3.Error) -> int:
    """SQLite's primary result code; -1 for errors of the Python layer."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else int(code) & 0xFF


def _database_reason(error: sqlite3.Error) -> str:
    reasons = {
        sqlite3.SQLITE_BUSY: "another program holds it locked; try again when that has finished",
        sqlite3.SQLITE_LOCKED: "another program holds it locked; try again when that has finished",
        sqlite3.SQLITE_READONLY: "it is read-only for you; get write permission, or work on a copy",
        sqlite3.SQLITE_PERM: "you do not have permission",
        sqlite3.SQLITE_AUTH: "you do not have permission",
        sqlite3.SQLITE_CANTOPEN: "it cannot be opened; see that the folder exists and that you may write there",
        sqlite3.SQLITE_FULL: "the disk is full; free some space and do it again",
        sqlite3.SQLITE_IOERR: "the disk gave an error; see that it is there, sound and not full",
        sqlite3.SQLITE_CORRUPT: "the file is damaged; keep it, and go on from a copy or from exported cases",
        sqlite3.SQLITE_NOTADB: "the file is not a database",
        sqlite3.SQLITE_TOOBIG: "one event is too large for it",
        sqlite3.SQLITE_NOMEM: "there is not enough memory",
    }
    return reasons.get(_code(error), str(error))


def _reason(error: OSError | ValueError) -> str:
    number = error.errno if isinstance(error, OSError) else None
    reasons = {
        errno.ENOSPC: "the disk is full; free some space and do it again",
        errno.EDQUOT: "your share of the disk is full; free some space and do it again",
        errno.EFBIG: "the disk does not take a file of that size",
        errno.EACCES: "you do not have permission",
        errno.EPERM: "you do not have permission",
        errno.EROFS: "the disk is read-only",
        errno.ENOENT: "there is no such file or folder",
        errno.ENOTDIR: "part of the path is a file, not a folder",
        errno.EEXIST: "part of the path is a file, not a folder",
        errno.EISDIR: "it is a folder",
        errno.EPIPE: "the program that was to take it has ended",
        errno.ENAMETOOLONG: "the name is too long",
    }
    if number in reasons:
        return reasons[number]
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


# -- case files ----------------------------------------------------------------------------------


def read_case(path: str | Path) -> tuple[Event, ...]:
    """The events of a case file: JSON lines, one event a line, one case a file, the chain whole.

    Lines may end in CR LF, since mail and editors do that; nothing else of a line may differ from what was written.

    Raises StoreError, file:line first: cannot be read, over :data:`LIMIT`, empty, not UTF-8, not JSON, no event, cut
    short, edited, a break in the chain, not from the start of a case.
    """
    events: list[Event] = []
    try:
        with open(path, "rb") as stream:
            left = LIMIT
            while line := stream.readline(left + 1):
                left -= len(line)
                if left < 0:
                    raise StoreError(f"{path}:{len(events) + 1}: the file is larger than {LIMIT // 1_000_000} MB.")
                events.append(_event_of(line, path, len(events) + 1))
    except (OSError, ValueError) as error:
        raise StoreError(f"{path} could not be read: {_reason(error)}.") from None
    if not events:
        raise StoreError(f"{path}:1: the file is empty.")
    if faults := verify(events):
        more = f" ({len(faults) - 1} more)" if len(faults) > 1 else ""
        raise StoreError(f"{path}:{faults[0].at + 1}: the case is not whole. {faults[0]}{more}")
    for number, event in enumerate(events, 1):
        if (number == 1) != (event.kind == "opened"):
            raise StoreError(f"{path}:{number}: a case begins with 'opened', and only there.")
    return tuple(events)


def _event_of(line: bytes, path: str | Path, number: int) -> Event:
    text = line.removesuffix(b"\n").removesuffix(b"\r")
    if not text.strip():
        raise StoreError(f"{path}:{number}: an empty line; each line of a case file holds one event.")
    if text.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise StoreError(f"{path}:{number}: saved with a byte order mark or as UTF-16: plain UTF-8 is needed.")
    try:
        return from_line(text)
    except EventError as error:
        if not line.endswith(b"\n") and not text.endswith(b"}"):
            raise StoreError(
                f"{path}:{number}: the last line is cut short: the file was not copied whole. Get it again"
                + (f", or take off this line to go on from event {number - 1}." if number > 1 else ".")
            ) from None
        raise StoreError(f"{path}:{number}: {error}.") from None


def _write_to(stream: BinaryIO, data: bytes) -> None:
    rest = memoryview(data)
    while rest:  # a raw stream may take less than it is given
        rest = rest[stream.write(rest) or 0 :]
    stream.flush()


def write_whole(path: Path, data: bytes, overwrite: bool) -> None:
    """Write a file so that it is there whole or not at all: to a neighbour first, then renamed. Raises StoreError."""
    part: Path | None = None
    try:
        path = Path(os.path.realpath(path))  # through a link: what it points to is replaced, not the link
        _may_write(path, overwrite)
        with open(path.with_name(f".{path.name[:100]}.{os.getpid()}.part"), "xb") as stream:
            part = Path(stream.name)
            _write_to(stream, data)
            os.fsync(stream.fileno())
        _may_write(path, overwrite)
        os.replace(part, path)
        _sync_folder(path.parent)
    except (OSError, ValueError) as error:
        raise StoreError(f"{path} could not be written: {_reason(error)}.") from None
    finally:
        if part is not None:
            with suppress(OSError):
                part.unlink()


def _may_write(path: Path, overwrite: bool) -> None:
    if path.is_dir():
        raise StoreError(f"{path} is a folder: give the path of a file in it.")
    if path.exists() and not path.is_file():
        raise StoreError(f"{path} is not a plain file, so it was left alone.")
    if path.exists() and not overwrite:
        raise StoreError(f"{path} is there already and was left as it is.")


def _sync_folder(folder: Path) -> None:
    """Put a new name in a folder on disk, where the system can do that."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)

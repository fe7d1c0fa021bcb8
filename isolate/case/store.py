"""Where cases are kept: a database, SQLite or PostgreSQL, or a case file of JSON lines with no database at all.

When :meth:`Store.append` returns, the event is on disk. Whatever goes wrong with a file or a database is raised as
:class:`StoreError`, whose message is a sentence for the user.

A case may have been worked on in two places from the same beginning: a *fork*. Then it has several ends, each with a
chain of its own; nothing is overwritten. The main one is one that somebody signed before one that nobody did, then one
that has ended before an open one, then the longest, then the one of the least hash: the same whatever came in first,
and nobody displaces what was signed by adding to a copy of it. Whether a signature holds is for a review. The name of a
case alone means its main end, or the one that this Store wrote to last;
``CASE@HEAD``, with eight or more digits of its last hash, or of an event that no other end has, means one of them.
"""

from __future__ import annotations

import errno
import json
import os
import re
import sqlite3
import time as clock
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, BinaryIO, TypeVar

from isolate.case import search
from isolate.case.chain import Fault, back_in_time, digest, seal, verify
from isolate.case.events import (
    FORMAT,
    KINDS,
    ZERO,
    Event,
    EventError,
    canonical,
    from_line,
    parse,
    read_json,
    to_line,
)

if TYPE_CHECKING:
    from isolate.case.brief import Brief
    from isolate.case.database import Database, Unit
    from isolate.case.home import Home
    from isolate.kb.load import Loaded

SCHEMA = 3
"""The version of the tables; on SQLite it is in the database's user_version as well."""

LIMIT = 200_000_000
"""The largest case file that is read, in bytes."""

MARK = 0x49534F4C
"""application_id of SQLite: tells a store from any other database."""

DIGITS = 8
"""Of a hash, the fewest that name one end of a case."""

BEHIND = 250
"""Events that may be added to a case before what searches look at is brought up to date; a search does it as well."""

TELLING = frozenset({"closed", "resumed", "signed", "shop-finding", "handed-over", "passed-on"})
"""Kinds of events after which it is brought up to date at once."""

BATCH = 200
"""Cases that are taken in within one transaction."""

_STARTED = clock.time()
_ADDRESS = re.compile(r"postgres(ql)?(\+\w+)?:", re.IGNORECASE)
_LIKE_ONE = re.compile(r"(?!~|/[^/]|\.\.?/|[a-z]:[\\/])(\s*postgres|.*:.*@)", re.IGNORECASE | re.DOTALL)
_SQLITE = b"SQLite format 3\0"
_BESIDE = ("-wal", "-shm", "-journal")
_AN_EVENT = re.compile(rb'\s*\{\s*"(body|case|hash|kind|prev|seq|time)"\s*:')
_DAMAGED = "the file is damaged; keep it, and go on from a copy or from exported cases"
_END = re.compile(r"(?P<case>[^@]*)@(?P<head>[0-9a-fA-F]*)")
_T = TypeVar("_T")


class StoreError(Exception):
    """A plain sentence about a store or a case file; file:line in front where there is a line."""


@dataclass(frozen=True)
class Summary:
    """A case in a list, by its main end. Times are RFC 3339; what the opening did not say is an empty string."""

    id: str
    """CASE@HEAD where a search found another end than the main one."""
    opened: str
    last: str
    aircraft: str
    position: str
    engine: str
    complaint: str
    ended: bool
    """True once closed and not resumed since."""
    events: int
    ends: int = 1
    """More than one: it forked."""
    head: str = ""
    """The hash of the last event."""


@dataclass(frozen=True)
class Head:
    """One end of a case: its last hash, how many events lead to it, the time of the last.

    ``parts``: the number of its first event that the main end does not have; for the main one, the first that another
    another does not have; 0 where the case has one end only. ``main``: whether the case's name alone means it.
    ``signed``: whether it has a signature; that it holds is not said here.
    """

    case: str
    head: str
    events: int
    last: str
    parts: int
    main: bool
    ended: bool = False
    signed: bool = False

    @property
    def name(self) -> str:
        """What names it: CASE@HEAD."""
        return f"{self.case}@{self.head[:DIGITS]}"


@dataclass(frozen=True)
class Merged:
    """What taking in a case did: events added, and events that were there already.

    ``fork``: 0, or the number of the event from which on it parts from what was here; it is kept as an end of its own.
    ``back``: a sentence where the times of the events run backwards, as when two clocks are not set alike.
    """

    case: str
    added: int
    had: int
    fork: int = 0
    back: str = ""


@dataclass(frozen=True)
class Rebuilt:
    """What making lists again did: how many ends there are, and a sentence on each that was not as it should be."""

    ends: int
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kept:
    """A version of the knowledge: its digest, when it was put here (empty: it is not), its bytes, who used it when."""

    digest: str
    kept: str
    size: int
    cases: int
    first: str
    last: str


# -- the database --------------------------------------------------------------------------------


def open_store(
    where: str | Path | None = None,
    *,
    patience: float = 5.0,
    named: tuple[str, str] = ("ISOLATE_STORE", "cases.db"),
    later: bool = False,
    there: bool = False,
) -> Store:
    """Open the store at `where`, a file or the address of a PostgreSQL database, making it if there is none.

    Without `where`: what :mod:`isolate.case.settings` says (the environment variable ISOLATE_STORE, else the file of
    settings), else `isolate/cases.db` in the user's data folder (XDG_DATA_HOME, else ~/.local/share); `named` gives
    another variable and file. `patience` is how many seconds to wait for another program's lock. `later`: a file is
    looked at, and what takes long, making or changing its tables, is put off until it is first needed. `there`: a file
    that is not there is not made.

    Raises StoreError: not `there`, no permission, a folder, not a store, newer than this version, locked, disk full,
    not SQLite, not reached. Raises BadSettings where the file of settings cannot be used.
    """
    given = (where.strip() if isinstance(where, str) else str(where)) if where is not None else _set(named[0]).strip()
    if address := _ADDRESS.match(given):
        return Store(address[0].lower() + given[address.end() :], patience)
    if not isinstance(where, Path):
        not_an_address(given)
    if scheme := re.match(r"([A-Za-z][A-Za-z0-9+.-]+)://", given):
        raise StoreError(
            f"A store is the path of a file or a postgresql:// address; {scheme[1]!r} addresses cannot be opened."
        )
    if "\0" in given:
        raise StoreError("The path of the store holds a NUL character, which no path can.")
    path = Path(given) if given else _data_folder() / "isolate" / named[1]
    if given.startswith("~"):
        with suppress(RuntimeError):  # no home folder: the path is then taken as it is written
            path = path.expanduser()
    if there and not path.exists():
        raise StoreError(f"There is no store at {path}: nothing was ever kept there.")
    return Store(path.absolute(), patience, later)


def not_an_address(given: str) -> None:
    """Raise StoreError for a text that was meant as the address of a database, but is none and no file either.

    Nothing of it is in the sentence, as it may hold a password.
    """
    if _LIKE_ONE.match(given) and not os.path.exists(given.replace("\0", "")):
        raise StoreError(
            "What was given for the store looks like the address of a database, but cannot be read as one: it is "
            "postgresql://user@server/database. It is not shown here, as it may hold a password. A file of such a name "
            "is written with ./ before it. Nothing was made."
        )


def _set(variable: str) -> str:
    if variable != "ISOLATE_STORE":
        return os.environ.get(variable, "")
    from isolate.case.settings import settings

    return settings().store


def _data_folder() -> Path:
    given = os.environ.get("XDG_DATA_HOME", "")
    if os.path.isabs(given):  # the XDG base directory specification says to ignore a relative one
        return Path(given)
    try:
        return Path.home() / ".local" / "share"
    except RuntimeError:
        raise StoreError("There is no home folder to keep cases in: give a path, or set ISOLATE_STORE.") from None


class Store:
    """Cases in one database; made by :func:`open_store`, closed by :meth:`close` or a `with` block.

    Several programs, and on PostgreSQL several stations, may have the same store open. One Store belongs to the thread
    that opened it.
    """

    def __init__(self, where: Path | str, patience: float, later: bool = False) -> None:
        self.path = where if isinstance(where, Path) else None
        """The file; None for an address."""
        self.label = str(where)
        """What to call it; never with a password."""
        self.patience = patience
        self._base: Database | None = None
        self._db: sqlite3.Connection | None = None
        self._closed = False
        self._chosen: dict[str, str] = {}
        self._file: tuple[int, int] | None = None
        self._log: tuple[int, int] | None = None
        if isinstance(where, Path):
            self._open_file(where, later)
        else:
            from isolate.case.database import of_address

            self._base = of_address(where, patience)
            self.label = self._base.label

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database. Closing twice does nothing."""
        self._closed = True
        with self._plainly("closed"):
            if self._base is not None:
                self._base.close()
            if self._db is not None:
                self._db.close()

    # -- a file

    def _open_file(self, path: Path, later: bool) -> None:
        with self._plainly("opened"):
            if path.is_dir():
                raise StoreError(f"{path} is a folder: give the path of a file in it.")
            if path.exists() and not path.is_file():
                raise StoreError(f"{path} is not a plain file, so no cases are kept there.")
            path.parent.mkdir(parents=True, exist_ok=True)
            is_new = not path.exists()
            self._db = sqlite3.connect(path, timeout=self.patience, isolation_level=None)
            try:
                self._file = _which(path)
                self._look()
                if not later:
                    self._ready()
                if is_new:
                    _sync_folder(path.parent)
            except BaseException:
                self._db.close()
                raise

    def _still_there(self) -> None:
        """Raise StoreError where another file than the one that was opened, or none, has the store's name now."""
        if self.path is None:
            return
        # What was written last is in the log beside the file, which stays there while anybody has the store open.
        log = _which(self.path.with_name(f"{self.path.name}-wal"))
        if self._log is None:
            self._log = log
        if _which(self.path) != self._file or log != self._log:
            raise StoreError(
                f"The store {self.label}, or its -wal beside it, was removed or replaced by another file while it was "
                "open: what would be written now would be lost. Nothing of this was kept; stop, see to the file, and "
                "begin again."
            )

    def _look(self) -> int:
        """Return the version of the file's tables, 0 for none yet. Raises StoreError, sqlite3.Error."""
        assert self._db is not None
        # A text that was tampered with must come back to be found by the chain, not stop the reading.
        self._db.text_factory = lambda data: data.decode("utf-8", "replace")
        self._db.execute("BEGIN")  # another program may be making the store just now: see all of it or nothing
        try:
            return self._version(lambda query: self._db.execute(query).fetchone()[0])  # type: ignore[union-attr]
        finally:
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")

    def _version(self, one: Callable[[str], Any]) -> int:
        version, mark = int(one("PRAGMA user_version")), int(one("PRAGMA application_id"))
        if version == mark == int(one("SELECT count(*) FROM sqlite_master")) == 0:
            return 0
        if mark != MARK:
            raise StoreError(f"{self.label} is a database, but not one of cases; it was left as it is.")
        if version > SCHEMA:
            raise StoreError(
                f"{self.label} was written by a newer version of this program (tables {version}, this one knows "
                f"{SCHEMA}): use that version. It was left as it is."
            )
        return version

    def _ready(self) -> Database:
        """Return the database, its tables made or brought to the present form."""
        if self._closed:
            raise StoreError(f"The store {self.label} could not be read: it was closed.")
        if self._base is None:
            assert self._db is not None and self.path is not None
            with self._plainly("opened"):
                from isolate.case.database import of_file

                base = of_file(self._db, self.path, _database_reason)
                if self._look() < SCHEMA:
                    base.prepare(lambda on: self._version(lambda query: on.exec_driver_sql(query).scalar_one()))
                self._wal()
                self._db.execute("PRAGMA synchronous = FULL")  # with WAL: every commit is on disk before it returns
                self._db.execute("PRAGMA foreign_keys = ON")
                self._base = base
        return self._base

    def _wal(self) -> None:
        assert self._db is not None
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
        refused where somebody else has written since; of a case with several ends it says which one is meant. A
        connection that breaks is taken up again once, and what was kept before it broke is not written twice.

        Raises StoreError: what is no event, no such case, already opened, written by somebody else since, read-only,
        disk full, locked, corrupt, not reached. Nothing is then kept of any of the events.
        """
        name, items = case, list(items)
        case = case.partition("@")[0]
        sealed: list[Event] = []
        begun: list[str] = []

        def work(on: Unit) -> None:
            on.hold(case)
            chains = on.chains(case)
            if sealed and any(chain["head"] == sealed[-1].hash for chain in chains):
                return  # the connection broke after it was kept
            sealed.clear()
            chain = self._meant(on, name, chains, after)
            count, head = self._end(on, chain) if chain else (0, ZERO)
            if (after is not None and after != head) or (begun and begun[0] != head):
                raise StoreError(
                    f"Somebody else has written to case {case} since it was read: read it again before going on."
                )
            begun.append(head)
            for kind, body in items:
                try:
                    event = seal(case, count + 1, kind, time, body, head)
                except EventError as error:
                    raise StoreError(f"This cannot be kept in case {case}: {error}.") from None
                if (event.seq == 1) != (kind == "opened"):
                    raise StoreError(
                        f"There is already a case {case} in {self.label}."
                        if kind == "opened"
                        else f"There is no case {case} in {self.label}."
                    )
                sealed.append(event)
                count, head = event.seq, event.hash
            if not sealed:
                return
            key = str(chain["id"]) if chain else case
            if chain is None:
                self._begin(on, case, sealed)
            else:
                self._grow(on, chain, sealed)
            if on.last(key) != (sealed[-1].seq, sealed[-1].hash) or on.as_listed(key) is None:
                raise StoreError(_not_taken(self.label))
            self._chosen[name] = key

        self._write(work)
        return tuple(sealed)

    def _meant(
        self, on: Unit, name: str, chains: Sequence[Mapping[str, Any]], after: str | None
    ) -> Mapping[str, Any] | None:
        """Return the chain that is written to: the one that ends with ``after``, else the one that the name means."""
        if after is not None:
            for chain in chains:
                if chain["head"] == after:
                    return chain
        return self._named(on, name, chains) if chains or "@" in name else None

    def _named(self, on: Unit, name: str, chains: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
        """Return the chain that a name means, of those of its case. Raises StoreError.

        The digits are of its head, or of an event that it alone has, so that an end keeps its name when it goes on.
        """
        if chosen := self._chosen.get(name):
            for chain in chains:
                if chain["id"] == chosen:
                    return chain
        case, at, digits = name.partition("@")
        if not chains:
            raise StoreError(f"There is no case {case} in {self.label}.")
        if not at:
            return chains[0]
        if len(digits) < DIGITS:
            raise StoreError(f"{name} names no end of case {case}: after the @ go {DIGITS} or more digits of its head.")
        digits = digits.lower()
        found = [chain for chain in chains if str(chain["head"]).startswith(digits)]
        if not found:
            found = [chain for chain in chains if any(h.startswith(digits) for h in on.hashes(chain["id"]))]
        if len(found) != 1:
            ends = ", ".join(f"{case}@{chain['head'][:DIGITS]}" for chain in chains)
            many = "more than one" if found else "no"
            raise StoreError(f"{name} names {many} end of case {case}: it has {ends}.")
        self._chosen[name] = str(found[0]["id"])
        return found[0]

    def _end(self, on: Unit, chain: Mapping[str, Any]) -> tuple[int, str]:
        """Number and hash of the last event of a chain. Raises StoreError where it is not as it was written."""
        told = int(chain["events"]), str(chain["head"])
        if told != on.last(chain["id"]):
            raise StoreError(
                f"The end of case {chain['case_id'] or chain['id']} in {self.label} is not the one that was written: "
                "events were removed or changed by hand. Nothing was added to it."
            )
        return told

    def _begin(self, on: Unit, key: str, events: Sequence[Event]) -> None:
        """Write a chain that is not here yet."""
        on.add_chain(_chain_row(key, events))
        on.add_events([_row(key, event) for event in events])
        if any(event.kind in TELLING for event in events) or len(events) >= BEHIND:
            on.keep_briefs([_looked_at(key, events)])

    def _grow(self, on: Unit, chain: Mapping[str, Any], events: Sequence[Event]) -> None:
        """Write events that follow the end of a chain."""
        key, last = str(chain["id"]), events[-1]
        on.add_events([_row(key, event) for event in events])
        turns = [event.kind == "closed" for event in events if event.kind in ("closed", "resumed")]
        ended = int(turns[-1]) if turns else int(chain["ended"])
        mine = {event.seq: event.hash for event in events}
        signs = any(_signs(event, lambda seq: mine.get(seq) or on.hash_of(key, seq)) for event in events)
        signed = int(signs or bool(chain["signed"]))
        if not on.grow(key, str(chain["head"]), last.time, last.seq, last.hash, ended, signed):
            raise StoreError(f"Somebody else has written to case {last.case} since it was read: read it again.")
        if chain["ends"] > 1:
            on.choose(last.case)
        if any(event.kind in TELLING for event in events) or last.seq - chain["known"] >= BEHIND:
            on.keep_briefs([_looked_at(key, self._parsed(on, key, last.case, lenient=True))])

    def _write(self, work: Callable[[Unit], _T]) -> _T:
        return self._do(work, "writing")

    def _read(self, work: Callable[[Unit], _T]) -> _T:
        return self._do(work, "reading")

    def _do(self, work: Callable[[Unit], _T], how: str) -> _T:
        """Do something in one transaction; once more where the connection broke or two stations met."""
        writes = how == "writing"
        with self._plainly("written" if writes else "read"):
            base = self._ready()
            from isolate.case.database import Away, Twice

            try:
                with getattr(base, how)() as on:
                    if writes:
                        self._still_there()
                    done = work(on)
                if writes:
                    self._still_there()  # the file may have been taken away just before the commit
                return done
            except (Away, Twice):
                if self.path is not None:
                    raise
            with getattr(base, how)() as on:
                return work(on)

    # -- reading

    def cases(self, *, aircraft: str = "", position: str = "", engine: str = "") -> list[Summary]:
        """All cases, the one written to last first; those of one aircraft, position, engine type. Raises StoreError."""
        return self.find(aircraft=aircraft, position=position, engine=engine)

    def find(self, words: str | Iterable[str] = (), *, limit: int | None = None, **filters: Any) -> list[Summary]:
        """Cases by words and what else is given, the one written to last first, no more than `limit`.

        The filters are those of :func:`isolate.case.search.wanted`: aircraft, position, engine, complaint, part (a
        serial number), ended, since, until. Raises StoreError, also for a day that is none.
        """
        wanted = self._wanted(words, filters)
        found = self._read(lambda on: on.summaries(wanted, limit))
        return [_summary(*row) for row in found]  # by its name where what was told fits an end that is not the main one

    def count(self, words: str | Iterable[str] = (), **filters: Any) -> int:
        """How many cases there are of what :meth:`find` would find. Raises StoreError."""
        wanted = self._wanted(words, filters)
        return self._read(lambda on: on.count(wanted))

    def totals(self) -> dict[str, int]:
        """How many `cases` and `events` there are, how many are `open`, how many `forked`. Raises StoreError."""
        return {name: int(value) for name, value in self._read(lambda on: on.totals()).items()}

    def _wanted(self, words: str | Iterable[str], filters: Mapping[str, Any]) -> search.Wanted:
        try:
            wanted = search.wanted(words, **filters)
        except search.BadSearch as error:
            raise StoreError(f"{error}.") from None
        if wanted.words or wanted.part:
            self._catch_up()
        return wanted

    def briefs(
        self, words: str | Iterable[str] = (), *, limit: int | None = None, **filters: Any
    ) -> Iterator[Brief]:
        """Yield the brief of each case that :meth:`find` would find, by the time of its opening, drills among them.

        Cases whose events say nothing usable are left out; :meth:`notes` names them. Raises StoreError.
        """
        from isolate.case.brief import Brief
        from isolate.case.database import CHUNK

        def of(names: Sequence[str]) -> dict[str, tuple[str | None, str]]:
            return self._read(lambda on: on.briefs(names))

        def now(key: str) -> Brief | None:
            return self._read(lambda on: _brief(self._parsed(on, key, "", lenient=True))[0])

        wanted = self._wanted(words, filters)
        keys = self._read(lambda on: on.keys(wanted, limit))
        for start in range(0, len(keys), CHUNK):
            some = keys[start : start + CHUNK]
            names = [key for key, *_ in some]
            kept = of(names)
            for key, events, known in some:
                body, note = kept.get(key, (None, ""))
                brief = None
                if known == events and body is not None:
                    with suppress(KeyError, TypeError, ValueError, AttributeError):  # by an earlier version
                        brief = Brief.from_dict(json.loads(body))
                if brief is None and not (known == events and note):
                    brief = now(key)
                if brief is not None:
                    yield brief

    def notes(self) -> list[tuple[str, str]]:
        """Return (case, why) of each case whose events say nothing that a brief could be made of. Raises StoreError."""
        self._catch_up()
        return self._read(lambda on: on.notes())

    def rebuild(self, progress: Callable[[int, int], None] = lambda done, of: None) -> Rebuilt:
        """Make all that lists and searches look at again, from the events. Raises StoreError.

        How many events a trail has and the hash of the last stay as they were noted when that was written: from
        what is left of the events nobody could tell that their end was cut off.
        """
        keys = [key for key, _ in self._read(lambda on: on.every_key())]
        cases: dict[str, list[str]] = {}
        for key in keys:
            cases.setdefault(_case_of(key), []).append(key)
        names, said, done = list(cases), [], 0
        for start in range(0, len(names), BATCH):
            some = names[start : start + BATCH]

            def work(on: Unit, some: Sequence[str] = some) -> list[str]:
                found: list[str] = []
                for case in some:
                    on.hold(case)
                    found += self._list_anew(on, case, cases[case])
                return found

            said += self._write(work)
            done += sum(len(cases[case]) for case in some)
            progress(done, len(keys))
        return Rebuilt(len(keys), tuple(said))

    def _list_anew(self, on: Unit, case: str, keys: Sequence[str]) -> list[str]:
        """Make what lists and searches show of a case again; return a sentence on each thing that was not right."""
        rows: list[dict[str, Any]] = []
        said: list[str] = []
        noted: dict[str, tuple[Any, Any]] = {}
        names: dict[str, str] = {}
        for key in keys:
            events, listed = [_as_found(case, row) for row in on.rows(key)], on.as_listed(key)
            if not events:
                said.append(f"{key}: all its events are gone; what the list says of it was left as it was.")
                continue
            row = _chain_row(key, events)
            head = str(listed["head"]) if listed is not None and _is_noted(listed) else row["head"]
            names[key] = name = case if len(keys) == 1 else f"{case}@{head[:DIGITS]}"
            if listed is None:
                said.append(
                    f"{name}: the list had lost it, and has it again up to event {row['events']}. Whether events after "
                    "that were removed cannot be told from this store."
                )
            elif not _is_noted(listed):
                said.append(f"{name}: how many events it has was unreadable; now it is what is there, {row['events']}.")
            elif (listed["events"], listed["head"]) != (row["events"], row["head"]):
                said.append(
                    f"{name}: its last event is not the one that was written last (number {listed['events']}); isolate "
                    "review verify says more."
                )
                row |= {"events": listed["events"], "head": listed["head"]}
            rows.append(row)
            if listed is not None:
                noted[key] = listed["main"], listed["ends"]
                if wrong := _differences({**listed, "events": row["events"], "head": row["head"]}, row):
                    said.append(f"{name}: put right: {'; '.join(wrong)}.")
        rows.sort(key=lambda row: (-row["signed"], -row["ended"], -row["events"], row["head"]))
        for number, row in enumerate(rows):
            place, name = (int(number == 0), len(keys)), names[row["id"]]
            if noted.get(row["id"], place) != place:
                said.append(f"{name}: put right: how many ends its case has, and which of them is the main one.")
            on.list_anew({**row, "main": place[0], "ends": place[1], "known": 0})
        on.keep_briefs(
            [_looked_at(r["id"], self._parsed(on, r["id"], case, lenient=True), r["events"]) for r in rows]
        )
        return said

    def unlike(self, name: str) -> list[str]:
        """Return a sentence on each thing that lists or searches show of one end of a case and its events do not say.

        None where all is as :meth:`rebuild` would make it. What is not brought up to date yet is no difference.
        Raises StoreError where there is no such case.
        """

        def work(on: Unit) -> list[str]:
            key, case = self._key(on, name)
            events, listed = [_as_found(case, row) for row in on.rows(key)], on.as_listed(key)
            if listed is None:
                return ["The list of cases does not have it."]
            if not events:
                return ["The list of cases has it, and its events are gone."]
            row = _chain_row(key, events)
            found = [f"The list of cases is not what its events say: {w}." for w in _differences(listed, row)]
            mine = on.of_case(_case_of(key))
            if listed["ends"] != len(mine):
                found.append(f"The list of cases says that it has {listed['ends']} ends; there are {len(mine)}.")
            if listed["main"] != int(mine[:1] == [key]):
                found.append(
                    "The list of cases does not show it, though it is its case's main end."
                    if mine[:1] == [key]
                    else "The list of cases shows it as its case's main end, which is another."
                )
            if not isinstance(listed["known"], int) or listed["known"] > len(events):
                found.append("The list of cases says that more events were looked at than there are.")
            elif listed["known"] == len(events):
                made = _looked_at(key, self._parsed(on, key, case, lenient=True))
                kept, text, serials = on.looked_at(key)
                by = "by hand, or by another version of this program"
                if _brief_differs(kept, made):
                    found.append(f"The brief kept of it is not what its events say: it was made {by}.")
                if text != made[4] or serials != tuple(sorted(made[5])):
                    found.append(f"What searches look through is not what its events say: it was made {by}.")
            return found

        return self._read(work)

    def _catch_up(self, progress: Callable[[int, int], None] = lambda done, of: None) -> int:
        """Bring what searches look at up to date where it is behind; where one may only read, it stays."""
        behind = self._read(lambda on: on.behind())
        for start in range(0, len(behind), BATCH):
            some = behind[start : start + BATCH]

            def work(on: Unit, some: Sequence[str] = some) -> None:
                kept = []
                for key in some:
                    chain = on.chain(key)
                    if chain is not None:
                        kept.append(_looked_at(key, self._parsed(on, key, "", lenient=True), chain["events"]))
                on.keep_briefs(kept)

            try:
                self._write(work)
            except StoreError:
                if start or self._writable():
                    raise
                return 0
            progress(start + len(some), len(behind))
        return len(behind)

    def _writable(self) -> bool:
        return self.path is None or os.access(self.path, os.W_OK)

    def has(self, case: str) -> bool:
        """Whether there is a case of that id. Raises StoreError."""
        return self._read(lambda on: bool(on.known_cases([case])))

    def heads(self, case: str) -> tuple[Head, ...]:
        """Return the ends of a case, the main one first. Raises StoreError where there is no such case."""
        case = case.partition("@")[0]

        def work(on: Unit) -> tuple[Head, ...]:
            chains = on.chains(case)
            if not chains:
                raise StoreError(f"There is no case {case} in {self.label}.")
            hashes = [on.hashes(chain["id"]) for chain in chains] if len(chains) > 1 else []
            found = []
            for at, chain in enumerate(chains):
                others = hashes[1:] if at == 0 else hashes[:1]
                parts = min((_common(hashes[at], other) + 1 for other in others), default=0)
                flags = at == 0, bool(chain["ended"]), bool(chain["signed"])
                found.append(Head(case, chain["head"], chain["events"], chain["last"], parts, *flags))
            return tuple(found)

        return self._read(work)

    def forks(self) -> list[str]:
        """Return the ids of all cases with more than one end. Raises StoreError."""
        return list(dict.fromkeys(chain["case_id"] for chain in self._read(lambda on: on.all_chains(forked=True))))

    def events(self, case: str) -> tuple[Event, ...]:
        """The events of a case, or of one end of it, in order; whether the chain holds is for :meth:`faults` to say.

        Raises StoreError: no such case, or something in the database that is no event any more.
        """
        return self._read(lambda on: self._parsed(on, *self._key(on, case)))

    def _key(self, on: Unit, name: str) -> tuple[str, str]:
        """Return the chain that a name means, and its case. Raises StoreError."""
        case = name.partition("@")[0]
        chains = on.chains(case)
        if not chains and on.orphans(case):
            return case, case  # what lists it was removed by hand; the events are still there, and tell
        return str(self._named(on, name, chains)["id"]), case

    def _parsed(self, on: Unit, key: str, case: str, lenient: bool = False) -> tuple[Event, ...]:
        """The events of a chain; ``lenient``: up to the first that is none."""
        case = case or key.partition("@")[0]
        found: list[Event] = []
        for row in on.rows(key):
            try:
                thing: Any = None
                thing = _thing(case, row)
                found.append(parse(thing))
                _known(found[-1])
            except EventError as error:
                if lenient:
                    break
                raise StoreError(f"{self.label}, case {case}, event {row[0]}: {_later(thing) or error}.") from None
        return tuple(found)

    def faults(self, case: str) -> list[Fault]:
        """Every break in the chain of a case, or of one end of it, its end included. Raises StoreError."""

        def work(on: Unit) -> tuple[str, list[tuple[Any, ...]], str]:
            key, name = self._key(on, case)
            chain = on.chain(key)
            return name, on.rows(key), str(chain["head"]) if chain else ZERO

        name, rows, head = self._read(work)
        return _faults(name, rows, head)

    # -- travelling

    def export_case(self, case: str, to: str | Path | BinaryIO, *, overwrite: bool = False) -> int:
        """Write a case, or one end of it, as JSON lines to a path, or to a stream of bytes; gives the number of events.

        A file appears whole or not at all. Raises StoreError: no such case, a broken chain, a file that is there
        already (unless `overwrite`), no permission, disk full.
        """
        if faults := self.faults(case):
            raise StoreError(f"Case {case} in {self.label} is not whole and was not exported. {faults[0]}")
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
        """Take a case file in: all of it or nothing. Taking it in twice changes nothing, a fork is kept as such.

        Raises StoreError as :func:`read_case` does, and where what is here is not as it was sealed.
        """
        return self.take([read_case(path)], str(path))[0]

    def take(self, trails: Iterable[Sequence[Event]], label: str = "") -> list[Merged]:
        """Take in trails, each a whole chain from its opening, in any order; each is kept whole or not at all.

        What is the beginning of an end that is here changes nothing; what goes on from one extends it; anything else is
        kept as an end of its own. ``label``: where they come from, for sentences. Raises StoreError.
        """
        found: list[Merged] = []
        batch: list[Sequence[Event]] = []

        def work(on: Unit) -> list[Merged]:
            ordered = sorted(range(len(batch)), key=lambda n: batch[n][0].case)
            known = on.known_cases([trail[0].case for trail in batch])
            done: dict[int, Merged] = {}
            new: list[tuple[str, Sequence[Event]]] = []
            for n in ordered:
                trail, case = batch[n], batch[n][0].case
                on.hold(case)
                if case in known or on.known_cases([case]):
                    done[n] = self._merge(on, trail, label)
                    continue
                known.add(case)
                new.append((case, trail))
                done[n] = Merged(case, len(trail), 0, 0, back_in_time(trail))
                if len(batch) > n + 1 and any(batch[m][0].case == case for m in ordered if m != n):
                    self._add_new(on, new)  # the other one of it has to find this one
                    new = []
            self._add_new(on, new)
            return [done[n] for n in range(len(batch))]

        for trail in trails:
            batch.append(trail)
            if len(batch) == BATCH:
                found += self._write(work)
                batch.clear()
        if batch:
            found += self._write(work)
        return found

    def _add_new(self, on: Unit, new: Sequence[tuple[str, Sequence[Event]]]) -> None:
        on.add_chains([_chain_row(key, trail) for key, trail in new])
        on.add_events([_row(key, event) for key, trail in new for event in trail])
        on.keep_briefs([_looked_at(key, trail) for key, trail in new])
        self._see(on, {key: len(trail) for key, trail in new})

    def _see(self, on: Unit, wanted: Mapping[str, int]) -> None:
        """See before the commit that the database took what it was given. Raises StoreError."""
        if not on.taken(wanted):
            raise StoreError(_not_taken(self.label))

    def _merge(self, on: Unit, trail: Sequence[Event], label: str) -> Merged:
        """Merge a trail into a case that is here. Raises StoreError where what is here was changed by hand."""
        case, last = trail[0].case, trail[-1]
        shared = 0
        back = back_in_time(trail)
        for chain in on.chains(case):
            if chain["head"] == last.hash and chain["events"] == last.seq:
                self._same(on, chain, trail, last.seq, label)
                return Merged(case, 0, last.seq, 0, back)
            hashes = on.hashes(chain["id"])
            common = _common(hashes, [event.hash for event in trail])
            if common == len(trail) or common == len(hashes):
                count, _ = self._end(on, chain)
                self._same(on, chain, trail, common, label)
                if common < len(trail):
                    self._grow(on, chain, trail[count:])
                    self._see(on, {str(chain["id"]): len(trail)})
                return Merged(case, len(trail) - common, common, 0, back)
            shared = max(shared, common)
        self._add_new(on, [(f"{case}@{trail[shared].hash}", trail)])
        on.choose(case)
        return Merged(case, len(trail) - shared, shared, shared + 1, back)

    def _same(self, on: Unit, chain: Mapping[str, Any], trail: Sequence[Event], count: int, label: str) -> None:
        """See that the events that both have are the same to the letter, and not in their hash alone."""
        for row, event in zip(on.rows(chain["id"], count), trail, strict=False):
            if row != _fields(event):
                raise StoreError(
                    f"{label or 'what was to be taken in'}:{event.seq}: event {event.seq} of case {event.case} in "
                    f"{self.label} is not as it was sealed: it was changed by hand. Nothing was merged: keep both, and "
                    f"see isolate review verify {event.case}."
                )

    def merge(self, paths: Iterable[str | Path]) -> Home:
        """Take in case files, other stores' files, and folders of them; see :mod:`isolate.case.home`."""
        from isolate.case.home import merge

        return merge(self, paths)

    def copy_to(self, other: Store, progress: Callable[[int, int], None] = lambda done, of: None) -> Home:
        """Copy everything to another store: all ends of all cases that are whole, and the knowledge."""
        from isolate.case.home import copy

        return copy(self, other, progress)

    def ends(self) -> list[str]:
        """Return what names every end of every case here: CASE, and CASE@HEAD for those that forked.

        Of all chains there are, whatever the list of cases says of them; what only events tell of is among them.
        """
        cases: dict[str, list[tuple[str, str | None]]] = {}
        for key, head in self._read(lambda on: on.every_key()):
            cases.setdefault(_case_of(key), []).append((key, head))
        return [
            case if len(ends) == 1 else f"{case}@{head}" if head is not None else key
            for case, ends in cases.items()
            for key, head in ends
        ]

    # -- knowledge

    def keep_knowledge(self, loaded: Loaded, anew: bool = False) -> bool:
        """Keep the knowledge that cases are worked with, once a version; whether it is kept now.

        ``anew``: in place of the one that is kept (:meth:`knowledge_fault`). It is not kept where its files were
        changed since they were read, or where there is no room for it: a case goes on without. Raises StoreError where
        the store cannot be read.
        """
        from isolate.case.archive import BadArchive, changed_since, pack, read_back
        from isolate.case.events import now_text

        name = loaded.knowledge.digest
        if not anew and self._read(lambda on: bool(on.knowledge_like(name))):
            return True
        from datetime import UTC, datetime

        from isolate.kb.read import KnowledgeError

        try:
            data = pack(loaded.folder)
            if changed_since(loaded.folder, _STARTED):
                read_back(data, name)
        except (BadArchive, KnowledgeError, OSError):
            return False

        def work(on: Unit) -> None:
            if anew or not on.knowledge_like(name):
                on.keep_knowledge(name, now_text(datetime.now(UTC)), data)

        try:
            self._write(work)
        except StoreError:
            return False
        return True

    def keep_archive(self, name: str, kept: str, data: bytes) -> str:
        """Keep a version of the knowledge, `name` its digest, as :meth:`knowledge` of another store gave it.

        Return a sentence where one that was kept here and cannot be used was replaced, else an empty string. Raises
        StoreError where the data is not the knowledge of that digest, or nothing that this program can read.
        """
        from isolate.case.archive import fault_of

        here = self.knowledge(name)
        if here == data:
            return ""
        if fault := fault_of(data, name):
            raise StoreError(f"The knowledge {name[:12]} was not taken in: {fault}.")
        was = "" if here is None else fault_of(here, name)
        if here is not None and not was:
            return ""
        self._write(lambda on: on.keep_knowledge(name, kept, data))
        if not was:
            return ""
        return f"The knowledge {name[:12]} kept in {self.label} could not be used ({was}) and was replaced."

    def knowledge_fault(self, digest: str) -> str:
        """Return why the version of the knowledge that is kept here cannot be used; empty: it can, or is not here."""
        from isolate.case.archive import fault_of

        data = self.knowledge(digest)
        return "" if data is None else fault_of(data, digest)

    def knowledge(self, digest: str) -> bytes | None:
        """The archive of a version of the knowledge, by the first eight digits or more of its digest; None: not here.

        :func:`isolate.case.archive.read_back` loads it, and sees that it is the one. Raises StoreError.
        """
        if not re.fullmatch(rf"[0-9a-f]{{{DIGITS},64}}", digest):
            return None

        def work(on: Unit) -> bytes | None:
            found = on.knowledge_like(digest)
            return on.knowledge(found[0]) if len(found) == 1 else None

        return self._read(work)

    def knowledge_named(self, start: str) -> str | None:
        """The whole digest of the version kept here that begins so; None where there is none, or more than one."""
        if not re.fullmatch(rf"[0-9a-f]{{{DIGITS},64}}", start):
            return None
        found = self._read(lambda on: on.knowledge_like(start))
        return found[0] if len(found) == 1 else None

    def load_knowledge(self, digest: str) -> Loaded | None:
        """Load a version of the knowledge that is kept here; None where it is not.

        Raises StoreError where what was kept cannot be used, KnowledgeError where this program cannot read it.
        """
        from isolate.case.archive import BadArchive, read_back

        whole = self.knowledge_named(digest)
        data = None if whole is None else self.knowledge(whole)
        if whole is None or data is None:
            return None
        try:
            return read_back(data, whole)
        except BadArchive as error:
            raise StoreError(f"The knowledge {whole[:12]} kept in {self.label} cannot be used: {error}.") from None

    def knowledges(self) -> tuple[Kept, ...]:
        """Every version of the knowledge that is kept here or that a case here names, the oldest first."""
        return tuple(Kept(*row) for row in self._read(lambda on: on.knowledges()))

    # -- how

    @contextmanager
    def _plainly(self, doing: str) -> Iterator[None]:
        """Let no error of SQLite or the system out but as a sentence."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"The store {self.label} could not be {doing}: {_database_reason(error)}.") from None
        except OSError as error:
            raise StoreError(f"The store {self.label} could not be {doing}: {_reason(error)}.") from None
        except UnicodeDecodeError:
            # SQLite's own message quotes what was damaged, and Python cannot read that.
            raise StoreError(f"The store {self.label} could not be {doing}: {_DAMAGED}.") from None
        except UnicodeEncodeError:
            raise StoreError(f"The store {self.label} could not be {doing}: a case's id is not whole text.") from None


# -- rows ----------------------------------------------------------------------------------------


def _summary(
    main: int,
    case: str,
    opened: str,
    last: str,
    aircraft: str,
    position: str,
    engine: str,
    complaint: str,
    ended: int,
    events: int,
    ends: int,
    head: str,
) -> Summary:
    case = case if main else f"{case}@{head[:DIGITS]}"
    return Summary(case, opened, last, aircraft, position, engine, complaint, bool(ended), events, ends, head)


def _said(value: object) -> str:
    told = str(value) if isinstance(value, (str, int, float)) and not isinstance(value, bool) else ""
    return told.replace("\0", " ")  # PostgreSQL keeps no NUL in text; the event has it as it was


def _chain_row(key: str, events: Sequence[Event]) -> dict[str, Any]:
    """What lists show of a chain, from its events."""
    first, last, body = events[0], events[-1], events[0].body
    hashes = {event.seq: event.hash for event in events}
    said = {name: _said(body.get(name)) for name in ("aircraft", "position", "engine", "complaint")}
    ended = [event.kind == "closed" for event in events if event.kind in ("closed", "resumed")]
    return {
        "id": key,
        "case_id": first.case,
        "opened": first.time,
        "last": last.time,
        **said,
        **{f"{name}_key": search.folded(value) for name, value in said.items()},
        "knowledge": _said(body.get("knowledge")),
        "drill": int("drill" in body),
        "ended": int(bool(ended) and ended[-1]),
        "signed": int(any(_signs(event, hashes.get) for event in events)),
        "events": last.seq,
        "head": last.hash,
    }


def _signs(event: Event, hash_of: Callable[[int], str | None]) -> bool:
    """Whether an event is a signature under what is before it; whether it holds is for a review to say."""
    seq, own = event.body.get("seq"), event.body.get("hash")
    return event.kind == "signed" and type(seq) is int and 0 < seq < event.seq and bool(own) and hash_of(seq) == own


def _case_of(key: str) -> str:
    return key.partition("@")[0]


def _is_noted(listed: Mapping[str, Any]) -> bool:
    return isinstance(listed["events"], int) and isinstance(listed["head"], str)


def _differences(listed: Mapping[str, Any], row: Mapping[str, Any]) -> list[str]:
    """Return in words where a listed row is not the one of its events."""
    words = {"case_id": "its case", "opened": "when it was opened", "last": "when it was last written to"}
    words |= {"ended": "whether it has ended", "signed": "whether it was signed", "drill": "whether it is a drill"}
    words |= {"events": "how many events it has", "head": "the hash of its last event"}
    found = []
    for name, value in row.items():
        if listed.get(name) == value or (name.endswith("_key") and listed[name[:-4]] != row[name[:-4]]):
            continue
        what = words.get(name) or (f"{name[:-4]} for searches" if name.endswith("_key") else name)
        yes = name in ("ended", "signed", "drill")
        said, says = (("yes" if v else "no") if yes else repr(v)[:80] for v in (listed.get(name), value))
        found.append(f"{what}: {said}, by its events {says}")
    return found


def _brief_differs(kept: tuple[str | None, str] | None, made: tuple[Any, ...]) -> bool:
    """Whether the brief that is kept, (JSON, note), says other things than the one that was made."""
    from isolate.case.brief import Brief

    body, note = kept or (None, "")
    if note != made[3] or (body is None) != (made[2] is None):
        return True
    if body is None:
        return False
    try:
        said = Brief.from_dict(json.loads(body))
    except (KeyError, TypeError, ValueError, AttributeError):
        return False  # by an earlier version: nobody reads it, it is made anew each time
    return said != Brief.from_dict(json.loads(made[2]))


def _not_taken(label: str) -> str:
    return (
        f"The store {label} did not take what was written, as if a rule or trigger in the database kept it out. "
        "Nothing of it was kept."
    )


def _looked_at(
    key: str, events: Sequence[Event], count: int | None = None
) -> tuple[str, int, str | None, str, str, tuple[str, ...]]:
    """What searches look at: (chain, events covered, brief as JSON, note, words, serial numbers)."""
    made, note = _brief(events)
    body = None if made is None else json.dumps(made.as_dict(), separators=(",", ":"))
    covered = len(events) if count is None else count
    return key, covered, body, note, search.words_of(events), search.serials_of(events)


def _brief(events: Sequence[Event]) -> tuple[Brief | None, str]:
    """A case in brief, or why there is none."""
    from isolate.case.brief import brief

    try:
        return brief(events), ""
    except Exception as error:
        # A case that came from elsewhere may hold anything; its events are kept all the same.
        return None, (str(error).replace("\0", " ").rstrip(".") or type(error).__name__)[:300]


def _fields(event: Event) -> tuple[Any, ...]:
    return event.seq, event.kind, event.time, canonical(event.body).decode(), event.prev, event.hash


def _row(key: str, event: Event) -> dict[str, Any]:
    return {"chain": key, **dict(zip(("seq", "kind", "time", "body", "prev", "hash"), _fields(event), strict=True))}


def _thing(case: str, row: Sequence[Any]) -> dict[str, Any]:
    """A row of the events table as the JSON object it was. Raises EventError if the body is no JSON."""
    seq, kind, time, body, prev, own = row
    if not isinstance(body, str):
        raise EventError("body is not text")
    found = read_json(body)
    return {"case": case, "seq": seq, "kind": kind, "time": time, "body": found, "prev": prev, "hash": own}


def _as_found(case: str, row: Sequence[Any]) -> Event:
    """A row of the events table as an event, whatever was done to it: the chain finds what does not hash."""
    body: Any = {}
    try:
        thing = _thing(case, row)
        body = thing["body"]
        return parse(thing)
    except EventError:
        # Of a later version, it may be, and whole: the chain says which.
        seq, kind, time, _, prev, own = (str(value) for value in row)
        number = int(seq) if seq.isdecimal() else 0
        return Event(case, number, kind, time, body if isinstance(body, dict) else {}, prev, own)


def _known(event: Event) -> None:
    """Raise EventError for the opening of a trail in a format that this program does not know."""
    version = event.body.get("format", 1) if event.kind == "opened" else 1
    if isinstance(version, int | float) and version > FORMAT:
        raise EventError(
            f"written by a newer version of this program (format {version}; this one knows {FORMAT}): use that version"
        )


def _later(thing: Any) -> str:
    """A phrase where what was read is an event but for its kind, which a later version may know; else empty."""
    kind = thing.get("kind") if isinstance(thing, dict) else None
    if not isinstance(kind, str) or kind in KINDS or not re.fullmatch(r"[a-z][a-z-]{0,40}", kind):
        return ""
    try:
        event = parse({**thing, "kind": "noted"})
    except EventError:
        return ""
    if digest(replace(event, kind=kind)) != event.hash:
        return ""
    return (
        f"the kind {kind!r} is not known: written by a newer version of this program (this one knows format {FORMAT}): "
        "use that version"
    )


def _faults(case: str, rows: Sequence[Sequence[Any]], head: str) -> list[Fault]:
    """Every break in the rows of a chain; a body of which a letter was changed without changing its meaning as well."""
    found = [_as_found(case, row) for row in rows]
    faults = verify(found, head=head)
    told = {fault.at for fault in faults if fault.what == "changed"}
    for at, (event, row) in enumerate(zip(found, rows, strict=True)):
        if at not in told and _fields(event)[3] != row[3]:
            text = f"Event {event.seq} is not spelled as it was sealed: its text was changed, though not what it says."
            faults.append(Fault(event.seq, "changed", text, at))
    return sorted(faults, key=lambda fault: (fault.at, fault.seq, fault.what))


def _common(one: Sequence[str], other: Sequence[str]) -> int:
    """How many items two lists have in common from their start."""
    for at, (a, b) in enumerate(zip(one, other, strict=False)):
        if a != b:
            return at
    return min(len(one), len(other))


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
        sqlite3.SQLITE_CORRUPT: _DAMAGED,
        sqlite3.SQLITE_NOTADB: "the file is not a database",
        sqlite3.SQLITE_TOOBIG: "one event is too large for it",
        sqlite3.SQLITE_NOMEM: "there is not enough memory",
    }
    if "FOREIGN KEY" in str(error):
        return "its list of cases does not go with its events, as after a change by hand; isolate store rebuild helps"
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
        if os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path):
            raise StoreError(f"{path} could not be read: it is not a plain file.")  # a pipe would be waited for
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
        event = from_line(text)
        _known(event)
        return event
    except EventError as error:
        with suppress(EventError, UnicodeDecodeError):
            if later := _later(read_json(text.decode("utf-8"))):
                raise StoreError(f"{path}:{number}: {later}.") from None
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
    """Write a file so that it is there whole or not at all: to a neighbour first, then renamed.

    What cases are kept in (:func:`keeps_cases`) is not replaced whatever ``overwrite`` says, but for a case file by
    one that goes on from it. Raises StoreError.
    """
    part: Path | None = None
    try:
        path = Path(os.path.realpath(path))  # through a link: what it points to is replaced, not the link
        _may_write(path, overwrite, data)
        with open(path.with_name(f".{path.name[:100]}.{os.getpid()}.part"), "xb") as stream:
            part = Path(stream.name)
            _write_to(stream, data)
            os.fsync(stream.fileno())
        _may_write(path, overwrite, data)
        os.replace(part, path)
        _sync_folder(path.parent)
    except (OSError, ValueError) as error:
        raise StoreError(f"{path} could not be written: {_reason(error)}.") from None
    finally:
        if part is not None:
            with suppress(OSError):
                part.unlink()


def _may_write(path: Path, overwrite: bool, data: bytes) -> None:
    if path.is_dir():
        raise StoreError(f"{path} is a folder: give the path of a file in it.")
    if path.exists() and not path.is_file():
        raise StoreError(f"{path} is not a plain file, so it was left alone.")
    if path.exists() and not overwrite:
        raise StoreError(f"{path} is there already and was left as it is.")
    if keeps_cases(path) != A_CASE or not _goes_on(path, data):
        spared(path)


def spared(path: Path) -> None:
    """Raise StoreError for what cases are kept in, which no output replaces, whatever the user said; OSError."""
    if what := keeps_cases(path):
        raise StoreError(f"{path} is {what} and was left as it is, whatever --overwrite says: name another file.")


A_STORE = "a database, or what belongs to one,"
A_CASE = "a case file"


def keeps_cases(path: Path) -> str:
    """Return what a file is that no output may replace: a database, what one has beside it, a case file; else empty.

    Raises OSError where it is there and cannot be read.
    """
    if not path.is_file():
        return ""
    for ending in _BESIDE:
        if path.name.endswith(ending) and (of := path.with_name(path.name.removesuffix(ending))).is_file():
            with open(of, "rb") as stream:
                if stream.read(16) == _SQLITE:
                    return A_STORE
    with open(path, "rb") as stream:
        start = stream.read(16)
        if start == _SQLITE or start[:4] in (b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83"):  # the log of a database
            return A_STORE
        if not _AN_EVENT.match(start + stream.read(64)):
            return ""
        stream.seek(0)
        line = stream.readline(LIMIT)
    try:
        thing = read_json(line.decode("utf-8"))
    except (EventError, UnicodeDecodeError):
        # Torn or edited, it may be, and all that there is of a case.
        return A_CASE if all(f'"{key}"'.encode() in line for key in ("body", "case", "hash", "prev")) else ""
    return A_CASE if isinstance(thing, dict) and {"body", "case", "hash", "kind", "prev", "seq"} <= thing.keys() else ""


def _goes_on(path: Path, data: bytes) -> bool:
    """Whether what is to be written has all of the file that is there, which may have other line ends."""
    with open(path, "rb") as stream:
        had = stream.read(len(data) * 2 + 1)
    return data.startswith(had.replace(b"\r\n", b"\n"))


def _which(path: Path) -> tuple[int, int] | None:
    """Return what tells one file from another of the same name; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _sync_folder(folder: Path) -> None:
    """Put a new name in a folder on disk, where the system can do that."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)

"""The database under a store, SQLite or PostgreSQL: its tables, its transactions, its errors as sentences.

Slow to load, so a store loads it when it is first read or written. The only file that knows SQLAlchemy, Alembic (in
the functions that need it) and psycopg.

Every way a case was told is a *chain*, of which none is the beginning of another: one as a rule, more where the case
forked. What chains have in common is kept with each. A chain's key is its case's id, and for a fork that came in later
the id, ``@`` and the hash of its first event that was not here yet.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import sqlalchemy as sa
from sqlalchemy import event as hooks
from sqlalchemy import exc
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.pool import QueuePool, StaticPool

from isolate.case.search import Wanted
from isolate.case.store import MARK, SCHEMA, StoreError

Row = Mapping[str, Any]

VERSIONS = "store_version"
"""The table that says of which version the others are."""
CHUNK = 500
"""Keys in one question."""
_SOUND = ("08", "57P01", "57P02", "57P03")
"""How SQLSTATEs begin that say the connection is gone (PostgreSQL manual, appendix A: memory)."""

# -- tables ----------------------------------------------------------------------------------------

_metadata = sa.MetaData()
_KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")  # the same order on both, whatever the language


def _text(name: str, **more: Any) -> sa.Column[str]:
    return sa.Column(name, _KEY, nullable=False, **more)


def _count(name: str, **more: Any) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=False, **more)


chains = sa.Table(
    "chains",  # what lists and searches show; all of it follows from the events
    _metadata,
    _text("id", primary_key=True),
    _text("opened"),
    _text("last"),
    _text("aircraft"),
    _text("position"),
    _text("engine"),
    _text("complaint"),
    _count("ended"),
    _count("events"),
    _text("head"),
    _text("case_id", server_default=""),
    _text("aircraft_key", server_default=""),  # folded, for searches
    _text("position_key", server_default=""),
    _text("engine_key", server_default=""),
    _text("complaint_key", server_default=""),
    _text("knowledge", server_default=""),
    _count("drill", server_default="0"),
    _count("signed", server_default="0"),  # whether somebody signed it; whether that holds is for a review to say
    _count("main", server_default="1"),  # of its case: the first as FIRST has it
    _count("ends", server_default="1"),  # how many chains the case has
    _count("known", server_default="0"),  # the events that the brief and the words beside it cover
    sa.Index("chains_of_case", "case_id"),
    sa.Index("chains_by_engine", "aircraft_key", "position_key", "engine_key"),
    sa.Index("chains_by_last", "last"),
    sa.Index("chains_by_opened", "opened"),
    sa.Index("chains_by_knowledge", "knowledge"),
    *(
        sa.Index(name, column, sqlite_where=sa.text(only), postgresql_where=sa.text(only))
        for name, column, only in (
            ("chains_behind", "id", "known < events"),
            ("chains_open", "case_id", "ended = 0"),
            ("chains_forked", "case_id", "ends > 1"),
        )
    ),
)
events = sa.Table(
    "events",
    _metadata,
    sa.Column("chain", _KEY, sa.ForeignKey("chains.id"), primary_key=True, nullable=False),
    sa.Column("seq", sa.Integer, sa.CheckConstraint("seq >= 1"), primary_key=True, nullable=False, autoincrement=False),
    _text("kind"),
    _text("time"),
    _text("body"),  # canonical JSON
    _text("prev"),
    _text("hash"),
)
briefs = sa.Table(
    "briefs",
    _metadata,
    sa.Column("chain", _KEY, sa.ForeignKey("chains.id"), primary_key=True, nullable=False),
    sa.Column("body", sa.Text, nullable=True),  # JSON; none where its events say nothing usable
    _text("note"),
)
words = sa.Table(
    "words",
    _metadata,
    sa.Column("chain", _KEY, sa.ForeignKey("chains.id"), primary_key=True, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)
parts = sa.Table(
    "parts",
    _metadata,
    _text("serial", primary_key=True),
    sa.Column("chain", _KEY, sa.ForeignKey("chains.id"), primary_key=True, nullable=False),
    sa.Index("parts_of_chain", "chain"),
)
knowledge = sa.Table(
    "knowledge",
    _metadata,
    _text("digest", primary_key=True),
    _text("kept"),
    sa.Column("archive", sa.LargeBinary, nullable=False),
)

GUARDS = {
    "sqlite": (
        "CREATE TRIGGER events_stay BEFORE UPDATE ON events "
        "BEGIN SELECT RAISE(ABORT, 'an event is never changed'); END",
        "CREATE TRIGGER events_last BEFORE DELETE ON events "
        "BEGIN SELECT RAISE(ABORT, 'an event is never removed'); END",
    ),
    "postgresql": (
        "CREATE FUNCTION events_guard() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'an event is never changed or removed' "
        "USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$",
        "CREATE TRIGGER events_stay BEFORE UPDATE OR DELETE ON events FOR EACH ROW EXECUTE FUNCTION events_guard()",
        "CREATE TRIGGER events_last BEFORE TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION events_guard()",
    ),
}
"""What keeps an event as it is, whatever tool somebody takes to it."""


FIRST = (chains.c.signed.desc(), chains.c.ended.desc(), chains.c.events.desc(), chains.c.head)
"""The order of a case's ends, the main one first: a longer one that came in later does not displace what was signed."""
_KINDS: dict[str, type] = {c.name: int if isinstance(c.type, sa.Integer) else str for c in chains.c}


class Unsound(Exception):
    """What lists show is not of the kind that was written there."""


class Away(StoreError):
    """The connection to the database is gone, or there is none."""


class Twice(StoreError):
    """Somebody else wrote the same key at the same moment."""


# -- opening ---------------------------------------------------------------------------------------


class Database:
    """A database that is open; made by :func:`of_file` or :func:`of_address`."""

    def __init__(self, engine: Engine, label: str, reason: Callable[[BaseException], str]) -> None:
        self.label = label
        self._engine = engine
        self._reason = reason
        self._serves = engine.dialect.name == "postgresql"

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def writing(self) -> Iterator[Unit]:
        """A transaction that writes; on SQLite it holds the write lock from its start. Kept when the block is left.

        Raises StoreError, Away where the connection is gone.
        """
        with self._connected("written", {"writes": True}) as connection:
            yield Unit(connection, self._serves)

    @contextmanager
    def reading(self) -> Iterator[Unit]:
        """Several questions that see the same moment. Raises StoreError, Away where the connection is gone."""
        how = {"isolation_level": "REPEATABLE READ"} if self._serves else {}
        with self._connected("read", how) as connection:
            yield Unit(connection, self._serves)

    @contextmanager
    def _connected(self, doing: str, how: Mapping[str, Any]) -> Iterator[Connection]:
        try:
            with self._engine.connect() as connection, connection.execution_options(**how).begin():
                yield connection
        except (exc.SQLAlchemyError, sqlite3.Error) as error:
            raise self._said(doing, error) from None
        except Unsound:
            raise StoreError(
                f"The store {self.label} could not be {doing}: its list of cases is damaged. Keep it as it is; on a "
                "copy of it, isolate store rebuild makes the list again from the events."
            ) from None

    def _said(self, doing: str, error: BaseException) -> StoreError:
        sentence = f"The store {self.label} could not be {doing}: {self._reason(error)}."
        if isinstance(error, exc.IntegrityError):
            return Twice(sentence)
        if self._serves and _gone(error):
            return Away(
                f"The store {self.label} cannot be reached: {self._reason(error)}. Work goes on here with --store and "
                "the name of a file; isolate store merge brings that file in when the store is there again."
            )
        return StoreError(sentence)

    def prepare(self, version: Callable[[Connection], int]) -> None:
        """Make the tables, or bring older ones to the present form; one program at a time. Raises StoreError."""
        with self._connected("opened", {"writes": True}) as connection:
            if self._serves:
                # So that of two stations that come first, one makes the tables and the other finds them.
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(MARK)))
            found = version(connection)
            if found == 0:
                _metadata.create_all(connection, checkfirst=False)
                for statement in GUARDS[connection.dialect.name]:
                    connection.exec_driver_sql(statement)
                connection.exec_driver_sql(
                    f"CREATE TABLE {VERSIONS} (version_num VARCHAR(32) NOT NULL, "
                    f"CONSTRAINT {VERSIONS}_pkc PRIMARY KEY (version_num))"
                )
                connection.exec_driver_sql(f"INSERT INTO {VERSIONS} VALUES ('{SCHEMA}')")
            elif found < SCHEMA:
                _migrate(connection, found)
            if not self._serves:
                connection.exec_driver_sql(f"PRAGMA application_id = {MARK}")
                connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA}")


def of_file(connection: sqlite3.Connection, path: Path, reason: Callable[[sqlite3.Error], str]) -> Database:
    """Return the database of a file that is open: ``connection`` begins no transactions of its own."""
    engine = sa.create_engine("sqlite://", creator=lambda: connection, poolclass=StaticPool)

    @hooks.listens_for(engine, "begin")
    def begin(opened: Connection) -> None:
        # The write lock is taken before anything is read, so that two programs cannot fork a chain.
        writes = opened.get_execution_options().get("writes")
        opened.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    def plain(error: BaseException) -> str:
        original = getattr(error, "orig", None) or error
        return reason(original) if isinstance(original, sqlite3.Error) else str(original)

    return Database(engine, str(path), plain)


def of_address(address: str, patience: float) -> Database:
    """Return the database at an address, its tables made or brought to the present form where needed.

    Raises StoreError: no such address, psycopg missing, not reached, not let in, no store, newer than this version.
    """
    url, label, secrets = _address(address)
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise StoreError(
            f"The store {label} is a PostgreSQL database; for those the package psycopg is needed: "
            "pip install 'ignition-isolate[postgresql]'."
        ) from None
    milliseconds = max(1, round(patience * 1000))
    told = url.query.get("options", "")
    options = " ".join([told] if isinstance(told, str) else told)
    engine = sa.create_engine(
        url.difference_update_query(["options"]),
        poolclass=QueuePool,
        pool_size=1,
        max_overflow=0,
        connect_args={
            "application_name": "isolate",
            "client_encoding": "utf8",
            "connect_timeout": max(2, round(patience)),
            # A line that is cut without a word is noticed: seconds, and ms for what was sent.
            **{"keepalives_idle": 10, "keepalives_interval": 5, "keepalives_count": 3, "tcp_user_timeout": 20_000},
            # A commit that was acknowledged is on the server's disk; another station is not waited for for ever.
            "options": f"{options} -c synchronous_commit=on -c lock_timeout={milliseconds}".strip(),
        },
    )

    def plain(error: BaseException) -> str:
        return _server_reason(error, secrets)

    database = Database(engine, label, plain)
    try:
        with database._connected("opened", {}) as connection:
            found = _server_version(connection, label)
        if found < SCHEMA:
            database.prepare(lambda connection: _server_version(connection, label))
    except BaseException:
        database.close()
        raise
    return database


def _address(address: str) -> tuple[URL, str, tuple[str, ...]]:
    """Return an address as it is used, as it is shown (without a password), and what must not be shown."""
    bad = "The address of the store cannot be read: it is postgresql://user@server/database."
    # An @ in a password should be written %40; the server's name comes after the last one all the same.
    scheme, _, rest = address.partition("://")
    told = re.fullmatch(r"(?P<rest>.*?)(?P<query>\?[\w-]+=.*)?", rest, re.DOTALL)
    who, _, where = (told["rest"] if told else "").rpartition("@")
    odd = "@" in who or "/" in who or "?" in who
    if odd and told:
        user, colon, password = who.partition(":")
        address = f"{scheme}://{quote(unquote(user))}{colon}{quote(unquote(password), '')}@{where}{told['query'] or ''}"
    try:
        url = make_url(re.sub(r"^postgres(ql)?:(?=//)", "postgresql:", address))
    except (exc.ArgumentError, ValueError):
        raise StoreError(bad) from None
    if url.get_backend_name() != "postgresql" or not address.partition(":")[2].startswith("//"):
        raise StoreError(bad)
    if (driver := url.drivername.partition("+")[2]) not in ("", "psycopg"):
        raise StoreError(f"The store's address asks for {driver!r}; this program reaches PostgreSQL with psycopg.")
    url = url.set(drivername="postgresql+psycopg")
    asked = url.query.get("password", ())
    secrets = [str(url.password)] if url.password else []
    secrets += [asked] if isinstance(asked, str) else list(asked)
    # Put together anew: set(password=None) would leave it as it is.
    shown = URL.create("postgresql", None if odd else url.username, None, url.host, url.port, url.database)
    return url, shown.render_as_string(), tuple(s for s in secrets if s)


def _server_version(connection: Connection, label: str) -> int:
    """Return the version of the tables, 0 where there are none. Raises StoreError for a database of something else."""
    encoding = str(connection.exec_driver_sql("SHOW server_encoding").scalar_one())
    if encoding != "UTF8":
        raise StoreError(f"The database {label} keeps text as {encoding}; a store needs one made with ENCODING 'UTF8'.")
    # Asked of the catalogue itself: to_regclass may answer from before this transaction waited for another one.
    query = "SELECT relname FROM pg_catalog.pg_class WHERE pg_catalog.pg_table_is_visible(oid) AND relname IN "
    there = connection.exec_driver_sql(f"{query} ('{VERSIONS}', 'chains', 'events')").scalars().all()
    if VERSIONS not in there:
        if there:
            raise StoreError(f"{label} is a database, but not one of cases; it was left as it is.")
        return 0
    told = str(connection.exec_driver_sql(f"SELECT max(version_num) FROM {VERSIONS}").scalar() or "0")
    if not told.isdecimal() or int(told) > SCHEMA:
        raise StoreError(newer(label, told))
    return int(told)


def newer(label: str, version: object) -> str:
    """Return the sentence on a store of a later version."""
    return (
        f"{label} was written by a newer version of this program (tables {version}, this one knows {SCHEMA}): use that "
        "version. It was left as it is."
    )


def _migrate(connection: Connection, found: int) -> None:
    """Bring tables of an older form to the present one, within the transaction of the connection."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    if not sa.inspect(connection).has_table(VERSIONS):
        command.stamp(config, str(found))  # stores made before there were migrations
    command.upgrade(config, "head")


def _gone(error: BaseException) -> bool:
    original = getattr(error, "orig", None)
    state = getattr(original, "sqlstate", None) or ""
    if isinstance(error, exc.DBAPIError) and error.connection_invalidated:
        return True
    return isinstance(error, exc.OperationalError | exc.InterfaceError) and (not state or state.startswith(_SOUND))


_STATES = {
    "08": "the connection is gone",
    "25006": "it takes no writing just now; it may be a copy",
    "28": "the user or the password was not accepted",
    "3D000": "there is no database of that name on the server",
    "40": "two stations were in each other's way; do it again",
    "42501": "you do not have the rights there",
    "53100": "the server's disk is full; nothing of this was kept",
    "53300": "the server has no connection left; try again later",
    "55P03": "another station holds it locked; try again when that has finished",
    "57014": "the server broke it off",
    "57P": "the server is going down or coming up",
}
"""How an SQLSTATE begins → what it means for the user."""
_WORDS = (
    (r"authentication failed|no password supplied|no pg_hba.conf entry|role .* does not exist", _STATES["28"]),
    (r"database .* does not exist", _STATES["3D000"]),
    (r"too many clients|remaining connection slots", _STATES["53300"]),
    (r"starting up|shutting down|not yet accepting", _STATES["57P"]),
    (r"connection refused", "no server answers there; see that it runs, and the name and port in the address"),
    (r"failed to resolve|could not translate|not known|no such host", "there is no server of that name"),
    (r"timeout|timed out|unreachable", "the server does not answer; see that the network is there"),
    (r"closed the connection|connection .*(lost|closed|reset)|broken pipe|no connection to", _STATES["08"]),
)
"""What libpq says while it connects, when there is no SQLSTATE yet."""


def _server_reason(error: BaseException, secrets: Sequence[str]) -> str:
    original = getattr(error, "orig", None) or error
    state = str(getattr(original, "sqlstate", None) or "")
    for start, reason in _STATES.items():
        if state.startswith(start):
            return reason
    said = " ".join(str(original).split()) or type(original).__name__
    if isinstance(error, exc.OperationalError | exc.InterfaceError):
        for pattern, reason in _WORDS:
            if re.search(pattern, said, re.IGNORECASE):
                return reason
    for secret in secrets:
        said = said.replace(secret, "...")
    said = re.sub(r"\(Background on this error.*", "", said).strip().rstrip(".")
    return said[:300]


# -- one transaction -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Unit:
    """One transaction, and all that is asked and written in it."""

    _on: Connection
    _serves: bool

    # writing

    def hold(self, case: str) -> None:
        """Keep every other station from writing to a case until this transaction ends."""
        if self._serves:  # SQLite has one writer at a time
            self._on.execute(_HOLD, {"case": case})

    def add_chain(self, row: Row) -> None:
        self.add_chains([row])

    def add_chains(self, rows: Sequence[Row]) -> None:
        if rows:
            self._on.execute(chains.insert(), list(rows))

    def add_events(self, rows: Sequence[Row]) -> None:
        if rows:
            self._on.execute(_ADD, list(rows))

    def grow(self, chain: str, was: str, last: str, events: int, head: str, ended: int, signed: int) -> bool:
        """Note the new end of a chain; False where its head is not ``was`` any more."""
        values = {"chain_": chain, "was_": was, "last_": last, "events_": events, "head_": head}
        return self._on.execute(_GROW, {**values, "ended_": ended, "signed_": signed}).rowcount == 1

    def choose(self, case: str) -> None:
        """Say anew which chain of a case is the main one: the first as :data:`FIRST` has it."""
        query = sa.select(chains.c.id).where(chains.c.case_id == case).order_by(*FIRST)
        found = self._on.execute(query).scalars().all()
        mine = chains.c.case_id == case
        self._on.execute(chains.update().where(mine, chains.c.id != found[0]).values(main=0, ends=len(found)))
        self._on.execute(chains.update().where(mine, chains.c.id == found[0]).values(main=1, ends=len(found)))

    def keep_brief(
        self, chain: str, known: int, body: str | None, note: str, text: str, serials: Iterable[str]
    ) -> None:
        self.keep_briefs([(chain, known, body, note, text, tuple(serials))])

    def keep_briefs(self, kept: Sequence[tuple[str, int, str | None, str, str, Sequence[str]]]) -> None:
        """Keep what searches look at beside each chain: (chain, events covered, brief, note, words, serials)."""
        names = [chain for chain, *_ in kept]
        for some in _chunks(names):
            for table in (briefs, words, parts):
                self._on.execute(table.delete().where(table.c.chain.in_(some)))
        if kept:
            self._on.execute(briefs.insert(), [{"chain": c, "body": b, "note": n} for c, _, b, n, _, _ in kept])
            self._on.execute(words.insert(), [{"chain": c, "text": t} for c, _, _, _, t, _ in kept])
            self._on.execute(_KNOWN, [{"chain_": c, "known_": known} for c, known, *_ in kept])
        if rows := [{"serial": s, "chain": c} for c, *_, serials in kept for s in serials]:
            self._on.execute(parts.insert(), rows)

    def list_anew(self, row: Row) -> None:
        """Write what lists show of a chain, whether or not it was listed."""
        key = row["id"]
        if self._on.execute(chains.update().where(chains.c.id == key).values(**row)).rowcount == 0:
            self._on.execute(chains.insert(), [dict(row)])

    def taken(self, wanted: Mapping[str, int]) -> bool:
        """Return whether the database has what it was given: chain -> how many events, and all are listed."""
        for some in _chunks(list(wanted)):
            query = sa.select(events.c.chain, sa.func.count()).where(events.c.chain.in_(some)).group_by(events.c.chain)
            counts = {row[0]: row[1] for row in self._on.execute(query)}
            listed = set(self._on.execute(sa.select(chains.c.id).where(chains.c.id.in_(some))).scalars())
            if any(counts.get(key) != wanted[key] or key not in listed for key in some):
                return False
        return True

    # chains and events

    def chains(self, case: str) -> list[Row]:
        """Return the chains of a case, the main one first."""
        return [self._sound(row) for row in self._on.execute(_CHAINS, {"case_": case}).mappings()]

    def chain(self, key: str) -> Row | None:
        found = self.as_listed(key)
        return None if found is None else self._sound(found)

    def as_listed(self, key: str) -> Row | None:
        """Return what lists show of a chain as it stands there, whatever was done to it."""
        found = self._on.execute(sa.select(chains).where(chains.c.id == key)).mappings().first()
        return None if found is None else dict(found)

    def _sound(self, row: Mapping[Any, Any]) -> Row:
        if not all(isinstance(value, _KINDS[name]) for name, value in row.items()):
            raise Unsound
        return dict(row)

    def all_chains(self, forked: bool = False) -> list[Row]:
        query = sa.select(chains).order_by(chains.c.case_id, chains.c.main.desc(), *FIRST)
        found = self._on.execute(query.where(sa.text("ends > 1")) if forked else query)
        return [self._sound(row) for row in found.mappings()]

    def every_key(self) -> list[tuple[str, str | None]]:
        """Return (key, head) of every chain, of those that only events tell of as well: those have no head."""
        found: dict[str, str | None] = {str(row[0]): str(row[1]) for row in self._on.execute(_HEADS)}
        return sorted(({str(key): None for key in self._on.execute(_TOLD).scalars()} | found).items())

    def of_case(self, case: str) -> list[str]:
        """Return the keys of all chains listed of a case, by their keys alone, in the order of :data:`FIRST`."""
        mine = sa.or_(chains.c.id == case, sa.and_(chains.c.id > f"{case}@", chains.c.id < f"{case}A"))
        return list(self._on.execute(sa.select(chains.c.id).where(mine).order_by(*FIRST)).scalars())

    def looked_at(self, key: str) -> tuple[tuple[str | None, str] | None, str | None, tuple[str, ...]]:
        """Return what is kept beside a chain: (brief, note), words, serial numbers; None for what is not there."""
        text = self._on.execute(sa.select(words.c.text).where(words.c.chain == key)).scalar()
        query = sa.select(parts.c.serial).where(parts.c.chain == key).order_by(parts.c.serial)
        return self.briefs([key]).get(key), text, tuple(self._on.execute(query).scalars())

    def known_cases(self, cases: Sequence[str]) -> set[str]:
        """Return those of the cases that are here."""
        found: set[str] = set()
        for some in _chunks(cases):
            found |= set(self._on.execute(sa.select(chains.c.case_id).where(chains.c.case_id.in_(some))).scalars())
        return found

    def orphans(self, case: str) -> bool:
        """Whether there are events of a case of which nothing else is known any more. Looks at every key."""
        return self._on.execute(sa.select(events.c.seq).where(events.c.chain == case).limit(1)).first() is not None

    def last(self, chain: str) -> tuple[int, str] | None:
        found = self._on.execute(_LAST, {"chain_": chain}).first()
        return None if found is None else (found[0], found[1])

    def rows(self, chain: str, most: int | None = None) -> list[tuple[Any, ...]]:
        """Return the events of a chain, as (seq, kind, time, body, prev, hash), in order."""
        query = sa.select(*list(events.c)[1:]).where(events.c.chain == chain).order_by(events.c.seq)
        return [tuple(row) for row in self._on.execute(query if most is None else query.limit(most))]

    def hashes(self, chain: str) -> list[str]:
        query = sa.select(events.c.hash).where(events.c.chain == chain).order_by(events.c.seq)
        return [str(found) for found in self._on.execute(query).scalars()]

    def hash_of(self, chain: str, seq: int) -> str:
        """Return the hash of one event of a chain; empty where there is none."""
        query = sa.select(events.c.hash).where(events.c.chain == chain, events.c.seq == seq)
        return str(self._on.execute(query).scalar() or "")

    # lists and searches

    def summaries(self, wanted: Wanted, limit: int | None = None) -> list[tuple[Any, ...]]:
        """Return (main, then as :class:`isolate.case.store.Summary` has it) of what is wanted, the last one first."""
        query = self._searched(sa.select(*_LISTED), wanted).order_by(chains.c.last.desc(), chains.c.case_id)
        found = [tuple(row) for row in self._on.execute(query if limit is None else query.limit(limit))]
        kinds = tuple(_KINDS["case_id" if column.name == "id" else column.name] for column in _LISTED)
        if any(not isinstance(value, kind) for row in found for value, kind in zip(row, kinds, strict=True)):
            raise Unsound
        return found

    def count(self, wanted: Wanted) -> int:
        return int(
            self._on.execute(self._searched(sa.select(sa.func.count()).select_from(chains), wanted)).scalar_one()
        )

    def totals(self) -> Row:
        """Return how many cases, events, open and forked ones there are."""
        mine = chains.c.main == 1
        query = sa.select(
            sa.func.count().label("cases"),
            sa.func.coalesce(sa.func.sum(chains.c.events), 0).label("events"),
            sa.func.coalesce(sa.func.sum(1 - chains.c.ended), 0).label("open"),
            sa.func.coalesce(sa.func.sum(sa.case((chains.c.ends > 1, 1), else_=0)), 0).label("forked"),
        ).where(mine)
        return dict(self._on.execute(query).mappings().one())

    def keys(self, wanted: Wanted, limit: int | None = None) -> list[tuple[str, int, int]]:
        """Return (chain, events, events that its brief covers) of what is wanted, by the time of the opening."""
        query = self._searched(sa.select(chains.c.id, chains.c.events, chains.c.known), wanted)
        query = query.order_by(chains.c.opened, chains.c.case_id)
        query = query if limit is None else query.limit(limit)
        found = [(row[0], row[1], row[2]) for row in self._on.execute(query)]
        if any(not isinstance(value, int) for row in found for value in row[1:]):
            raise Unsound
        return found

    def behind(self) -> list[str]:
        """Return the chains whose brief and words do not cover all events."""
        query = sa.select(chains.c.id).where(sa.text("known < events")).order_by(chains.c.id)
        return list(self._on.execute(query).scalars())

    def briefs(self, some: Sequence[str]) -> dict[str, tuple[str | None, str]]:
        query = sa.select(briefs.c.chain, briefs.c.body, briefs.c.note).where(briefs.c.chain.in_(some))
        return {row[0]: (row[1], row[2]) for row in self._on.execute(query)}

    def notes(self) -> list[tuple[str, str]]:
        """Return (case, why) of the cases whose events say nothing that a brief could be made of."""
        query = sa.select(chains.c.case_id, briefs.c.note).join(briefs, briefs.c.chain == chains.c.id)
        query = query.where(briefs.c.note != "", chains.c.main == 1).order_by(chains.c.case_id)
        return [(row[0], row[1]) for row in self._on.execute(query)]

    def _searched(self, query: sa.Select[Any], wanted: Wanted) -> sa.Select[Any]:
        """Return a query for one end of each case that is wanted: its main one, or the first that what was told fits.

        What was told is all but ``ended``, ``since`` and ``until``, which are asked of that end.
        """
        told = self._told(wanted, chains)
        if not told:
            query = query.where(chains.c.main == 1)
        else:
            others = chains.alias()
            order = (others.c.main.desc(), *(others.c[c.name].desc() for c in (chains.c.signed, chains.c.ended)))
            best = sa.select(others.c.id).where(others.c.case_id == chains.c.case_id, *self._told(wanted, others))
            best = best.order_by(*order, others.c.events.desc(), others.c.head).limit(1)
            also = sa.and_(chains.c.main == 0, chains.c.ends > 1, chains.c.id == best.scalar_subquery())
            query = query.where(*told, sa.or_(chains.c.main == 1, also))
        if wanted.ended is not None:
            query = query.where(sa.text(f"ended = {int(wanted.ended)}"))  # as the index on the open ones has it
        if wanted.since:
            query = query.where(chains.c.opened >= wanted.since)
        if wanted.until:
            # A day alone means all of it: whatever goes on with it is before the tilde.
            query = query.where(chains.c.opened <= wanted.until + "~")
        return query

    def _told(self, wanted: Wanted, on: Any) -> list[sa.ColumnElement[bool]]:
        found = [
            on.c[f"{name}_key"] == said
            for name in ("aircraft", "position", "engine", "complaint")
            if (said := getattr(wanted, name))
        ]
        if wanted.part:
            found.append(on.c.id.in_(sa.select(parts.c.chain).where(parts.c.serial == wanted.part)))
        for word in wanted.words:
            # To the letter, which is faster than LIKE and the same on both; all texts are gone through once.
            place = sa.func.strpos if self._serves else sa.func.instr
            found.append(on.c.id.in_(sa.select(words.c.chain).where(place(words.c.text, word) > 0)))
        return found

    # knowledge

    def keep_knowledge(self, digest: str, kept: str, archive: bytes) -> None:
        """Keep a version of the knowledge, in place of one of that digest where there is one."""
        self._on.execute(knowledge.delete().where(knowledge.c.digest == digest))
        self._on.execute(knowledge.insert(), {"digest": digest, "kept": kept, "archive": archive})

    def knowledge_like(self, start: str) -> list[str]:
        """Return the digests, of at most two versions, that begin so."""
        query = sa.select(knowledge.c.digest).where(knowledge.c.digest.startswith(start, autoescape=True))
        return list(self._on.execute(query.order_by(knowledge.c.digest).limit(2)).scalars())

    def knowledge(self, digest: str) -> bytes | None:
        found = self._on.execute(sa.select(knowledge.c.archive).where(knowledge.c.digest == digest)).scalar()
        return None if found is None else bytes(found)

    def knowledges(self) -> list[tuple[str, str, int, int, str, str]]:
        """Return (digest, when kept, bytes, cases, first opened, last opened) of all versions, kept or only named."""
        kept = {row[0]: (row[1], row[2]) for row in self._on.execute(_KEPT)}
        used = {row[0]: (row[1], row[2], row[3]) for row in self._on.execute(_USED)}
        found = []
        for digest in kept.keys() | used.keys():
            cases, first, last = used.get(digest, (0, "", ""))
            found.append((digest, *kept.get(digest, ("", 0)), cases, first, last))
        return sorted(found, key=lambda row: (row[4] or row[1], row[0]))


_HOLD = sa.text("SELECT pg_advisory_xact_lock(hashtextextended(:case, 0))")
_LAST = (
    sa.select(events.c.seq, events.c.hash)
    .where(events.c.chain == sa.bindparam("chain_"))
    .order_by(events.c.seq.desc())
    .limit(1)
)
# Made once: each event that is written asks and writes these.
_CHAINS = (
    sa.select(chains)
    .where(chains.c.case_id == sa.bindparam("case_"))
    .order_by(chains.c.main.desc(), *FIRST)
)
_HEADS = sa.select(chains.c.id, chains.c.head)
_TOLD = sa.select(events.c.chain).where(events.c.chain.not_in(sa.select(chains.c.id))).distinct()
_GROW = (
    chains.update()
    .where(chains.c.id == sa.bindparam("chain_"), chains.c.head == sa.bindparam("was_"))
    .values({name: sa.bindparam(f"{name}_") for name in ("last", "events", "head", "ended", "signed")})
)
_ADD = events.insert()
_KNOWN = chains.update().where(chains.c.id == sa.bindparam("chain_")).values(known=sa.bindparam("known_"))
_LISTED = [
    chains.c.main,
    *(
        chains.c.case_id.label("id"),
        chains.c.opened,
        chains.c.last,
        chains.c.aircraft,
        chains.c.position,
        chains.c.engine,
    ),
    *(chains.c.complaint, chains.c.ended, chains.c.events, chains.c.ends, chains.c.head),
]
_KEPT = sa.select(knowledge.c.digest, knowledge.c.kept, sa.func.length(knowledge.c.archive))
_USED = (
    sa.select(chains.c.knowledge, sa.func.count(), sa.func.min(chains.c.opened), sa.func.max(chains.c.opened))
    .where(chains.c.main == 1, chains.c.knowledge != "")
    .group_by(chains.c.knowledge)
)


def _chunks(items: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(items), CHUNK):
        yield items[start : start + CHUNK]

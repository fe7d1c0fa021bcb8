"""A PostgreSQL store in trouble: the server goes away, comes back, is not the right one; many stations at once."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from isolate.case.events import ZERO
from isolate.case.store import SCHEMA, Store, StoreError, open_store
from tests.services.cluster import Cluster, cluster

pytestmark = pytest.mark.service

ROOT = Path(__file__).resolve().parents[2]
CASE = "104-2-0131-7f3a"
NOON = "2030-01-31T12:00:00.000Z"
KILL = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'isolate'"


@pytest.fixture(scope="module")
def own() -> Iterator[Cluster]:
    """A cluster that may be stopped."""
    with cluster(syncs=True) as made:
        yield made


@pytest.fixture
def store(served: Cluster) -> Iterator[Store]:
    with open_store(served.fresh()) as opened:
        yield opened


def test_the_server_stops_and_comes_back_between_two_events(own: Cluster) -> None:
    with open_store(own.fresh()) as store:
        last = store.append(CASE, "opened", {"aircraft": "104"}, NOON)
        for how in ("fast", "immediate"):
            own.stop(how)
            for what in (store.cases, lambda: store.append(CASE, "noted", {}, NOON), lambda: store.events(CASE)):
                with pytest.raises(StoreError, match=r"cannot be reached: .*--store .* isolate store merge"):
                    what()
            with pytest.raises(StoreError, match="cannot be reached: no server answers there"):
                open_store(own.address("cases_1"))
            own.start()
            assert store.events(CASE)[-1] == last, "what was acknowledged is there"
            last = store.append(CASE, "noted", {"after": how}, NOON, after=last.hash)
        assert store.faults(CASE) == [] and len(store.events(CASE)) == 3


def test_a_connection_that_is_cut_is_taken_up_again(store: Store, served: Cluster) -> None:
    last = store.append(CASE, "opened", {}, NOON)
    for number in range(3):
        served.sql(KILL)
        last = store.append(CASE, "noted", {"n": number}, NOON, after=last.hash)
    served.sql(KILL)
    assert [e.body.get("n") for e in store.events(CASE)] == [None, 0, 1, 2] and store.faults(CASE) == []


@pytest.mark.parametrize("kept", [True, False])
def test_a_connection_cut_at_the_commit_writes_once(
    store: Store,
    served: Cluster,
    monkeypatch: pytest.MonkeyPatch,
    kept: bool,
) -> None:
    """The answer to the commit never comes, whether the server had done it or not; the event is there once."""
    from isolate.case.database import Away, Database

    first = store.append(CASE, "opened", {}, NOON)
    real, cut = Database._connected, []

    def broken(self, doing, how):  # type: ignore[no-untyped-def]
        from contextlib import contextmanager

        @contextmanager
        def once():  # type: ignore[no-untyped-def]
            with real(self, doing, how) as connection:
                yield connection
                if not cut and not kept:
                    cut.append(1)
                    served.sql(KILL)
            if not cut and kept:
                cut.append(1)
                raise Away("gone")

        return once()

    monkeypatch.setattr(Database, "_connected", broken)
    event = store.append(CASE, "noted", {"text": "once"}, NOON, after=first.hash)
    assert cut and store.events(CASE) == (first, event) and store.faults(CASE) == []


def test_another_station_wrote_while_the_line_was_cut(store: Store, served: Cluster) -> None:
    first = store.append(CASE, "opened", {}, NOON)
    with open_store(store.label) as other:
        other.append(CASE, "noted", {"station": "other"}, NOON, after=first.hash)
    served.sql(KILL)
    with pytest.raises(StoreError, match="Somebody else has written"):
        store.append(CASE, "noted", {"station": "mine"}, NOON, after=first.hash)
    assert len(store.events(CASE)) == 2


def test_a_station_that_holds_a_case_is_not_waited_for_for_ever(served: Cluster) -> None:
    with open_store(served.fresh(), patience=0.3) as store:
        store.append(CASE, "opened", {}, NOON)
        import psycopg

        with psycopg.connect(store.label) as holding:
            holding.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", (CASE,))
            with pytest.raises(StoreError, match="another station holds it locked"):
                store.append(CASE, "noted", {}, NOON)
            store.append("117-1-0131-0000", "opened", {}, NOON)  # another case is not held up
            assert len(store.events(CASE)) == 1, "reading does not wait"
        assert store.append(CASE, "noted", {}, NOON).seq == 2


CHILD = """
import sys
from isolate.case.store import open_store
store = open_store(sys.argv[1], patience=60)
store.append("own-" + sys.argv[2], "opened", {}, "2030-01-31T07:00:00.000Z")
for number in range(int(sys.argv[3])):
    for case in (sys.argv[4], "own-" + sys.argv[2]):
        event = store.append(case, "noted", {"who": sys.argv[2], "n": number}, "2030-01-31T07:00:00.000Z")
        print(case, event.seq, event.hash, flush=True)
"""


def test_stations_write_at_once(store: Store) -> None:
    store.append(CASE, "opened", {}, NOON, after=ZERO)
    command = [sys.executable, "-c", CHILD, store.label]
    running = [
        subprocess.Popen([*command, str(n), "25", CASE], stdout=subprocess.PIPE, cwd=ROOT, text=True) for n in range(4)
    ]
    told = [line.split() for process in running for line in process.communicate()[0].splitlines()]
    assert [process.returncode for process in running] == [0] * 4 and len(told) == 200
    for case in {case for case, *_ in told}:
        have = {(str(e.seq), e.hash) for e in store.events(case)}
        assert {(seq, own) for name, seq, own in told if name == case} <= have and store.faults(case) == []
    assert len(store.events(CASE)) == 101


def test_stations_make_one_store(served: Cluster) -> None:
    where = served.fresh()
    code = (
        f"from isolate.case.store import open_store as o; import sys; o({where!r}).append(sys.argv[1], 'opened', {{}}, "
    )
    command = [sys.executable, "-c", f"{code}{NOON!r})"]
    running = [subprocess.Popen([*command, f"case-{n}"], cwd=ROOT, stderr=subprocess.PIPE) for n in range(4)]
    assert [process.communicate()[1] for process in running] == [b""] * 4
    with open_store(where) as store:
        assert [s.id for s in sorted(store.cases(), key=lambda s: s.id)] == [f"case-{n}" for n in range(4)]


def test_databases_that_are_no_store(served: Cluster) -> None:
    where = served.fresh()
    name = where.rpartition("/")[2]
    served.sql("CREATE TABLE events (recipe text)", name)
    with pytest.raises(StoreError, match="not one of cases; it was left as it is"):
        open_store(where)
    assert served.sql("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'", name) == [(1,)]
    served.sql("CREATE DATABASE plain ENCODING 'SQL_ASCII' LC_COLLATE 'C' LC_CTYPE 'C' TEMPLATE template0")
    with pytest.raises(StoreError, match="keeps text as SQL_ASCII"):
        open_store(served.address("plain"))
    with pytest.raises(StoreError, match="no database of that name"):
        open_store(served.address("nowhere"))


def test_a_store_of_a_newer_version_is_left_alone(served: Cluster) -> None:
    where = served.fresh()
    open_store(where).close()
    served.sql(f"UPDATE store_version SET version_num = '{SCHEMA + 1}'", where.rpartition("/")[2])
    with pytest.raises(StoreError, match="newer version of this program"):
        open_store(where)


def test_no_password_is_ever_shown(served: Cluster) -> None:
    served.sql("CREATE ROLE guest LOGIN PASSWORD 'right'")
    base = served.address("nowhere").replace("desk@", "guest:hush-hush@")
    for where in (
        base,
        base.replace("nowhere", "postgres") + "?password=hush-hush",
        base.replace("127.0.0.1", "no.invalid"),
    ):
        try:
            with open_store(where) as opened:
                said = opened.label
        except StoreError as error:
            said = str(error)
        assert "hush" not in said and "guest@" in said


def test_rights_that_are_missing_are_told(served: Cluster) -> None:
    where = served.fresh()
    name = where.rpartition("/")[2]
    with open_store(where) as store:
        store.append(CASE, "opened", {}, NOON)
    served.sql("CREATE ROLE reader LOGIN")
    with pytest.raises(StoreError, match="you do not have the rights there"):
        open_store(where.replace("desk@", "reader@"))
    served.sql("GRANT SELECT ON ALL TABLES IN SCHEMA public TO reader", name)
    with open_store(where.replace("desk@", "reader@")) as store:
        assert len(store.events(CASE)) == 1
        with pytest.raises(StoreError, match="you do not have the rights there"):
            store.append(CASE, "noted", {}, NOON)

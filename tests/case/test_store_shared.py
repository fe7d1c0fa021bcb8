"""What a store does on either database. PostgreSQL is really started, so those are run with ``-m service``."""

from __future__ import annotations

import itertools
import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from isolate.case.brief import brief
from isolate.case.chain import seal
from isolate.case.events import ZERO, Event, now_text, to_line
from isolate.case.store import Merged, Store, StoreError, open_store
from tests.services.cluster import Cluster
from tests.worked import TRAILS, kept, trail

CASE = "104-2-0131-7f3a"
OPENING = {"aircraft": "104", "position": 2, "engine": "halden-hf-3", "complaint": "one-channel-silent"}
BOTH = ["sqlite", pytest.param("postgresql", marks=pytest.mark.service)]


@pytest.fixture(params=BOTH)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Return what gives the place of a new, empty store each time."""
    numbers = itertools.count()
    if request.param == "sqlite":
        return lambda: str(tmp_path / f"cases-{next(numbers)}.db")
    cluster: Cluster = request.getfixturevalue("served")
    return cluster.fresh


@pytest.fixture
def store(place: Callable[[], str]) -> Iterator[Store]:
    with open_store(place()) as opened:
        yield opened


def at(second: int) -> str:
    return now_text(datetime(2030, 1, 31, 6, 0, tzinfo=UTC) + timedelta(seconds=second))


def chain(words: Sequence[str], case: str = CASE) -> tuple[Event, ...]:
    """Return a whole trail that says these words, one an event after the opening; C closes it, S signs it."""
    events = [seal(case, 1, "opened", at(0), OPENING, ZERO)]
    for word in words:
        kind, last = {"C": "closed", "S": "signed"}.get(word, "noted"), events[-1]
        body = {"text": word, **({"seq": last.seq, "hash": last.hash} if word == "S" else {})}
        events.append(seal(case, len(events) + 1, kind, at(len(events)), body, last.hash))
    return tuple(events)


def changed_by_hand(store: Store, *statements: str) -> None:
    """Change the database behind the store's back, as somebody with another tool would."""
    if store.path is not None:
        database = sqlite3.connect(store.path)
        for name in ("events_stay", "events_last"):
            database.execute(f"DROP TRIGGER IF EXISTS {name}")
        for statement in statements:
            database.execute(statement)
        database.commit()
        database.close()
        return
    import psycopg

    with psycopg.connect(store.label) as server:
        server.execute("SET session_replication_role = replica")  # no trigger, no foreign key
        for statement in statements:
            server.execute(statement)  # type: ignore[arg-type]


# -- events ------------------------------------------------------------------------------------------


def test_events_come_back_as_they_were_acknowledged(store: Store) -> None:
    told = [store.append(CASE, "opened", OPENING, at(0), after=ZERO)]
    body = {"minutes": 4.0, "text": "caf\u00e9 \u0000 \U0001f527 <b>=1+1</b> \x1b[31m", "top": [0.25, 1e17, None]}
    told += store.append_all(CASE, [("answered", body), ("belief", {})], at(1), after=told[-1].hash)
    assert repr(store.events(CASE)) == repr(tuple(told)) and store.faults(CASE) == []
    with pytest.raises(StoreError, match="already a case"):
        store.append(CASE, "opened", OPENING, at(2))
    with pytest.raises(StoreError, match="Somebody else has written"):
        store.append(CASE, "noted", {}, at(2), after=told[1].hash)
    with pytest.raises(StoreError, match="no case nobody"):
        store.append("nobody", "noted", {}, at(2))
    with pytest.raises(StoreError, match="cannot be kept"):
        store.append_all(CASE, [("noted", {}), ("guessed", {})], at(2))
    assert len(store.events(CASE)) == 3


def test_text_that_a_column_cannot_hold_is_kept_in_the_event(store: Store) -> None:
    odd = {"aircraft": "10\u00004", "complaint": "\u0000", "engine": "=cmd|'/c calc'!A1", "position": "\u202e2"}
    store.append(CASE, "opened", odd, at(0))
    assert store.events(CASE)[0].body == dict(sorted(odd.items()))
    assert [s.aircraft for s in store.find("calc")] == ["10 4"] and store.faults(CASE) == []


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ('UPDATE events SET body = \'{"text":"else"}\' WHERE seq = 3', (3, "changed")),
        ('UPDATE events SET body = \'{"text": "b"}\' WHERE seq = 3', (3, "changed")),
        ("UPDATE events SET body = 'words' WHERE seq = 3", (3, "changed")),
        ("UPDATE events SET kind = 'guessed' WHERE seq = 4", (4, "changed")),
        ("UPDATE events SET time = 'noon' WHERE seq = 2", (2, "time")),
        ("UPDATE events SET prev = hash WHERE seq = 3", (3, "changed")),
        ("DELETE FROM events WHERE seq = 3", (3, "missing")),
        ("DELETE FROM events WHERE seq = 5", (5, "missing")),
        ("UPDATE events SET seq = 9 WHERE seq = 5", (5, "missing")),
        ("DELETE FROM chains", (6, "missing")),
    ],
)
def test_tampering_is_found(store: Store, statement: str, found: tuple[int, str]) -> None:
    store.take([chain("abcd")])
    changed_by_hand(store, statement)
    assert found in {(fault.seq, fault.what) for fault in store.faults(CASE)}


def test_a_number_spelled_otherwise_is_found(store: Store) -> None:
    # 1e+25 and 1E25 are one number in JSON; only one of them is how RFC 8785 spells it (published).
    store.append_all(CASE, [("opened", OPENING), ("noted", {"n": 1e25})], at(0))
    changed_by_hand(store, """UPDATE events SET body = '{"n":1E25}' WHERE seq = 2""")
    faults = store.faults(CASE)
    assert [(f.seq, f.what) for f in faults] == [(2, "changed")] and "not spelled" in faults[0].text


def test_no_tool_changes_an_event(store: Store) -> None:
    store.take([chain("ab")])
    statements = ["UPDATE events SET kind = 'noted'", "DELETE FROM events"]
    if store.path is not None:
        for statement in statements:
            with sqlite3.connect(store.path) as database, pytest.raises(sqlite3.IntegrityError):
                database.execute(statement)
            database.close()
    else:
        import psycopg

        for statement in (*statements, "TRUNCATE events CASCADE"):
            with psycopg.connect(store.label) as server, pytest.raises(psycopg.errors.IntegrityError):
                server.execute(statement)  # type: ignore[arg-type]
    assert store.events(CASE) == chain("ab") and store.faults(CASE) == []


# -- forks ---------------------------------------------------------------------------------------------


def test_a_fork_is_kept_and_each_end_is_worked_on(store: Store) -> None:
    first, second = chain("abcx"), chain("aby")
    assert store.take([second]) == [Merged(CASE, 4, 0)]
    last = store.append(CASE, "noted", {"text": "z"}, at(9), after=second[-1].hash)
    assert store.take([first]) == [Merged(CASE, 2, 3, fork=4)]
    # Somebody who works on one end goes on there when the other comes in.
    last = store.append(CASE, "noted", {"text": "on"}, at(10), after=last.hash)
    assert store.events(CASE)[-1] == last
    main, other = store.heads(CASE)
    assert (main.events, other.events, main.parts, other.parts) == (6, 5, 4, 4)
    assert store.events(main.name)[-1] == last and store.events(other.name) == first
    assert [s.head for s in store.cases()] == [last.hash] and store.cases()[0].ends == 2
    # The other end can be gone on with as well, by its name, and becomes the main one when it is the longest.
    for number in range(3):
        store.append(other.name, "noted", {"text": f"{number}"}, at(20 + number))
    assert [h.events for h in store.heads(CASE)] == [8, 6] and len(store.events(other.name)) == 8
    assert all(store.faults(head.name) == [] for head in store.heads(CASE))
    with open_store(store.path or store.label) as again:
        assert again.events(other.name) == store.events(other.name), "an end keeps the names that it had"
        with pytest.raises(StoreError, match="names more than one end"):
            again.events(f"{CASE}@{first[1].hash}")
    for bad, says in (
        (f"{CASE}@12345678", "names no end"),
        (f"{CASE}@12", "8 or more digits"),
        ("x@12345678", "no case"),
    ):
        with pytest.raises(StoreError, match=says):
            store.events(bad)


def test_two_cases_of_one_name_are_kept_apart(store: Store) -> None:
    one, other = chain("ab"), chain("ab")
    other = (seal(CASE, 1, "opened", at(0), {**OPENING, "aircraft": "117"}, ZERO),)
    assert [m.fork for m in store.take([one, other])] == [0, 1]
    assert [h.parts for h in store.heads(CASE)] == [1, 1]


def test_clocks_that_differ_are_told_and_the_chain_orders(store: Store) -> None:
    events = list(chain("ab"))
    events.append(seal(CASE, 4, "noted", at(-3480), {"text": "c"}, events[-1].hash))
    (merged,) = store.take([events])
    assert "Its times go back at event 4, by 58 minutes" in merged.back
    assert store.events(CASE) == tuple(events) and store.faults(CASE) == []


def maximal(trails: Sequence[tuple[str, ...]]) -> set[tuple[str, ...]]:
    return {t for t in trails if not any(o != t and o[: len(t)] == t for o in trails)}


@pytest.fixture
def two(place: Callable[[], str]) -> Iterator[tuple[Store, Store]]:
    with open_store(place()) as one, open_store(place()) as other:
        yield one, other


_numbers = itertools.count()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_merging_is_a_function_of_what_is_merged(two: tuple[Store, Store], data: st.DataObject) -> None:
    """Random trees of one case, their trails in two random orders, some twice, alone and together: the same store."""
    words = st.lists(st.sampled_from("abCS"), max_size=5).map(tuple)
    trails = data.draw(st.lists(words, min_size=1, max_size=7), label="trails")
    case = f"{CASE}-{next(_numbers)}"
    seen = []
    for turn, store in enumerate(two):
        order = data.draw(st.permutations(trails + trails[:2]), label=f"order {turn}")
        if turn:
            store.take([chain(t, case) for t in order])
        else:
            for t in order:
                store.take([chain(t, case)])
        heads = store.heads(case)
        told = {tuple(str(e.body["text"]) for e in store.events(h.name)[1:]) for h in heads}
        assert told == maximal(trails) and len(heads) == len(told)
        (listed,) = (s for s in store.cases() if s.id == case)
        assert (listed.ends, listed.head, listed.events) == (len(heads), heads[0].head, heads[0].events)
        said = {h.head: [e.body["text"] for e in store.events(h.name)[1:]] for h in heads}
        rank = {h.head: ("S" not in said[h.head], "C" not in said[h.head], -h.events, h.head) for h in heads}
        assert heads[0] == min(heads, key=lambda h: rank[h.head]) and heads[0].main
        assert all(store.unlike(h.name) == [] for h in heads)
        assert all(store.faults(h.name) == [] for h in heads)
        seen.append((heads, listed))
    assert seen[0] == seen[1]


# -- searches --------------------------------------------------------------------------------------------


@pytest.fixture
def filled(store: Store) -> Store:
    assert store.merge([TRAILS]).problems == ()
    return store


@pytest.mark.parametrize(
    ("words", "filters", "cases"),
    [
        ("", {"aircraft": "104"}, "a006 a001 a002"),
        ("", {"aircraft": " 104 ", "position": "2", "engine": "Halden-HF-3"}, "a006 a001 a002"),
        ("", {"complaint": "NO-LIGHT-OFF"}, "a005"),
        ("", {"ended": False}, "a007"),
        ("", {"part": "k-207"}, "a001"),
        ("", {"since": "2030-02-14", "until": "2030-03-01"}, "a004 a005"),
        ("", {"since": "2030-02-14T06:00:00.001Z", "until": "2030-03-01"}, "a005"),
        ("", {"since": None, "until": "2030-01-10"}, "a001"),
        ("CARGO panel", {}, "a004"),
        ("k207", {}, "a001 a002"),
        ("SR-2030-7 worn", {}, "a001"),
        ("100% _", {}, ""),
    ],
)
def test_searches(filled: Store, words: str, filters: dict[str, Any], cases: str) -> None:
    found = {s.id[-4:] for s in filled.find(words, **filters)}
    assert found == set(cases.split()) == {b.case[-4:] for b in filled.briefs(words, **filters)}
    assert filled.count(words, **filters) == len(found)
    assert [s.id for s in filled.find(words, limit=1, **filters)] == [s.id for s in filled.find(words, **filters)][:1]


@pytest.mark.parametrize("filters", [{"since": "yesterday"}, {"until": "2030-02-30"}, {"part": "-/-"}])
def test_searches_that_cannot_be(store: Store, filters: dict[str, str]) -> None:
    with pytest.raises(StoreError, match=r"no day such as|no serial number"):
        store.find(**filters)


def test_briefs_are_those_of_the_events_at_any_time(store: Store) -> None:
    events = trail("came-back")
    case = events[0].case
    store.append_all(case, [(e.kind, e.body) for e in events[:1]], events[0].time)
    for event in events[1:]:
        store.append(case, event.kind, event.body, event.time)
        if event.seq % 17 == 0 or event.kind in ("repaired", "closed", "shop-finding"):
            assert list(store.briefs()) == [brief(store.events(case))]
            assert [s.id for s in store.find("nothing of the kind")] == []
    assert next(iter(store.briefs())).as_dict() == brief(events).as_dict()


def test_a_case_that_says_nothing_usable_keeps_its_events(store: Store) -> None:
    store.take([chain("ab"), trail("worn-plug")])
    assert [b.case for b in store.briefs()] == [trail("worn-plug")[0].case]
    assert [case for case, _ in store.notes()] == [CASE]
    assert store.events(CASE) == chain("ab") and [s.id for s in store.find("104-2-0131")] == [CASE]


def test_what_searches_look_at_is_made_again(filled: Store) -> None:
    before = list(filled.briefs()), filled.find("cargo"), filled.find(part="K207")
    changed_by_hand(filled, "DELETE FROM words", "DELETE FROM parts", "UPDATE briefs SET body = '{}'")
    assert filled.find("cargo") == [] and list(filled.briefs()) == before[0], "a brief that is none is made anew"
    assert filled.rebuild().ends == 7
    assert (list(filled.briefs()), filled.find("cargo"), filled.find(part="K207")) == before


# -- coming home -------------------------------------------------------------------------------------------


def test_one_bad_file_among_many_stops_nothing(store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "home"
    folder.mkdir()
    (folder / "whole.jsonl").write_bytes(b"".join(to_line(e) + b"\n" for e in trail("wet-lead")))
    (folder / "torn.jsonl").write_bytes(b"".join(to_line(e) + b"\n" for e in trail("declined"))[:-40])
    drill = seal("d", 1, "opened", at(0), {**OPENING, "drill": {}}, ZERO)
    (folder / "drill.jsonl").write_bytes(to_line(drill))
    later = dict(json.loads(to_line(trail("worn-plug")[0])), kind="foretold")
    (folder / "later.jsonl").write_text(json.dumps(later))
    with open_store(folder / "laptop.db") as laptop:
        laptop.take([chain("ab"), trail("turboprop")])
        laptop.take([chain("ac")])
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    home = store.merge([folder, tmp_path / "nowhere.jsonl"])
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before, "what is taken in is left as it was"
    assert sorted(m.case for m in home.merged) == sorted(
        [CASE, CASE, trail("wet-lead")[0].case, trail("turboprop")[0].case]
    )
    said = "\n".join(home.problems)
    assert len(home.problems) == 4
    for words in ("torn.jsonl:164: the last line is cut short", "drill.jsonl: a drill", "later.jsonl:1: ", "nowhere"):
        assert words in said
    again = store.merge([folder])
    assert sum(m.added for m in again.merged) == 0 and all(m.fork == 0 for m in again.merged)
    assert len(store.heads(CASE)) == 2 and store.totals()["cases"] == 3


def test_everything_goes_to_another_store(filled: Store, place: Callable[[], str]) -> None:
    filled.take([chain("ab"), chain("ac")])
    with open_store(place()) as other:
        home = filled.copy_to(other)
        assert home.problems == () and len(home.merged) == 9
        assert other.totals() == filled.totals() and list(other.briefs()) == list(filled.briefs())
        for summary in filled.cases():
            assert other.heads(summary.id) == filled.heads(summary.id)
            assert other.events(summary.id) == filled.events(summary.id)


def test_a_chain_that_is_not_whole_does_not_travel(filled: Store, place: Callable[[], str]) -> None:
    changed_by_hand(filled, "UPDATE events SET kind = 'noted' WHERE seq = 9 AND chain LIKE '%a003'")
    with open_store(place()) as other:
        home = filled.copy_to(other)
        assert len(home.problems) == 1 and "a003 is not whole" in home.problems[0]
        assert other.totals()["cases"] == 6


# -- the knowledge -----------------------------------------------------------------------------------------


def test_the_knowledge_is_kept_once_and_comes_back_as_it_was(filled: Store, place: Callable[[], str]) -> None:
    loaded = kept()
    digest = loaded.knowledge.digest
    assert filled.knowledge(digest) is None and [k.size for k in filled.knowledges()] == [0]
    assert filled.keep_knowledge(loaded) and filled.keep_knowledge(loaded)
    (had,) = filled.knowledges()
    assert (had.digest, had.cases) == (digest, 7) and had.size == len(filled.knowledge(digest) or b"") > 1000
    back = filled.load_knowledge(digest[:8])
    assert back is not None and back.knowledge == loaded.knowledge
    assert filled.knowledge("0" * 64) is None and filled.knowledge(digest[:7]) is None
    with open_store(place()) as other:
        filled.copy_to(other)
        assert other.knowledge(digest) == filled.knowledge(digest)

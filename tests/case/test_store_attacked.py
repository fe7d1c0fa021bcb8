"""A store that somebody works against: forged ends, lists edited by hand, files replaced, addresses mistyped."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from isolate.case.chain import seal
from isolate.case.events import ZERO, Event, to_line
from isolate.case.settings import BadSettings, settings
from isolate.case.store import Store as Opened
from isolate.case.store import StoreError, open_store, read_case, write_whole
from isolate.cli import main
from tests.case.test_store_shared import CASE, OPENING, at, chain, changed_by_hand, place, store
from tests.worked import TRAILS, trail

__all__ = ["place", "store"]  # fixtures


def on(events: tuple[Event, ...], kind: str, body: dict[str, Any]) -> tuple[Event, ...]:
    """Return a trail with one event more."""
    last = events[-1]
    return (*events, seal(last.case, last.seq + 1, kind, at(last.seq), body, last.hash))


def signed(events: tuple[Event, ...], own: str = "") -> tuple[Event, ...]:
    last = events[-1]
    body = {"by": "Insp 7", "key": "ab" * 32, "seq": last.seq, "hash": own or last.hash, "signature": "cd" * 64}
    return on(events, "signed", body)


def put(path: Path, events: tuple[Event, ...]) -> Path:
    path.write_bytes(b"".join(to_line(e) + b"\n" for e in events))
    return path


# -- which end a case's name means ---------------------------------------------------------------------


def test_a_longer_fork_does_not_displace_what_was_signed(place: Callable[[], str]) -> None:
    shut = on(chain("ab"), "closed", {})
    ends = [
        signed(shut),
        signed(chain("abcd")),  # signed, and open
        on(chain("x"), "closed", {}),
        signed(chain("ay" * 5), own="0" * 64),  # a signature under nothing counts for nothing
        chain("az"),
        chain("bz"),
    ]
    first, *_, fifth, sixth = ends
    least = min((fifth, sixth), key=lambda e: e[-1].hash)
    order = [*ends[:4], least, sixth if least is fifth else fifth]
    for turn in (ends, ends[::-1], ends[3:] + ends[:3]):
        with open_store(place()) as opened:
            for trail_ in turn:
                opened.take([trail_])
            assert [h.head for h in opened.heads(CASE)] == [e[-1].hash for e in order]
            with open_store(opened.path or opened.label) as again:
                assert again.events(CASE) == first and again.cases()[0].head == first[-1].hash
            # An end that is signed later comes first from then on, and whoever works on another goes on there.
            last = opened.append(CASE, "noted", {"text": "on"}, at(90), after=sixth[-1].hash)
            assert opened.append(CASE, "noted", {"text": "on"}, at(91)).prev == last.hash
            assert opened.heads(CASE)[0].head == first[-1].hash
            body = {"seq": 1, "hash": first[0].hash}
            for _ in range(9):
                last = opened.append(f"{CASE}@{sixth[-1].hash}", "noted", {}, at(92))
            opened.append(f"{CASE}@{sixth[-1].hash}", "signed", body, at(93))
            assert opened.heads(CASE)[0].head == first[-1].hash, "it has ended, and the other has not"
            assert [opened.unlike(name) for name in opened.ends()] == [[]] * 6


def test_an_older_store_is_told_what_is_signed(place: Callable[[], str]) -> None:
    where, good = place(), signed(on(chain("ab"), "closed", {}))
    with open_store(where) as opened:
        opened.take([good])
        opened.take([chain("ay" * 5)])
        changed_by_hand(  # as form 2 had it: the longest was the main one
            opened,
            "UPDATE chains SET main = CASE WHEN events > 5 THEN 1 ELSE 0 END",
            "ALTER TABLE chains DROP COLUMN signed",
            "UPDATE store_version SET version_num = '2'",
            *(["PRAGMA user_version = 2"] if opened.path else []),
        )
    with open_store(where) as opened:
        assert opened.events(CASE) == good and [opened.unlike(name) for name in opened.ends()] == [[], []]


def test_one_id_of_two_aircraft(store: Opened) -> None:
    other = (seal(CASE, 1, "opened", at(0), {**OPENING, "aircraft": "230"}, ZERO),)
    store.take([chain("ab"), other])
    (found,) = store.cases(aircraft="230")
    assert found.id == f"{CASE}@{other[0].hash[:8]}" and store.events(found.id) == other
    assert store.count(aircraft="230") == 1 and [s.id for s in store.find("104")] == [CASE] == [
        s.id for s in store.cases()
    ]
    assert [s.head for s in store.find("b", aircraft="104")] == [chain("ab")[-1].hash]
    assert store.find(aircraft="230", ended=True) == [] and len(store.find(aircraft="230", ended=False)) == 1
    assert store.find("b", aircraft="230") == []


# -- lists edited by hand ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE chains SET aircraft = '999'", "aircraft: '999', by its events '104'"),
        ("UPDATE chains SET aircraft_key = '999'", "aircraft for searches"),
        ("UPDATE chains SET complaint = ''", "complaint: ''"),
        ("UPDATE chains SET ended = 0", "whether it has ended: no, by its events yes"),
        ("UPDATE chains SET signed = 1", "whether it was signed: yes, by its events no"),
        ("UPDATE chains SET main = 0", "does not show it"),
        ("UPDATE chains SET ends = 7", "7 ends; there are 1"),
        ("UPDATE chains SET case_id = 'x'", "its case: 'x'"),
        ("UPDATE chains SET known = 999", "more events were looked at"),
        ("UPDATE briefs SET body = replace(body, '104', '999')", "brief kept"),
        ("UPDATE briefs SET body = NULL, note = 'says nothing'", "brief kept"),
        ("DELETE FROM briefs", "brief kept"),
        ("UPDATE words SET text = ''", "searches look through"),
        ("INSERT INTO parts SELECT 'X', id FROM chains", "searches look through"),
    ],
)
def test_a_list_that_was_edited_is_found_and_made_again(store: Opened, statement: str, says: str) -> None:
    events = trail("worn-plug")
    store.take([events])
    before = store.cases(), list(store.briefs()), store.find(part="K207")
    assert store.unlike(events[0].case) == []
    changed_by_hand(store, statement)
    (name,) = store.ends()
    assert name == events[0].case and store.faults(name) == [] and says in " ".join(store.unlike(name))
    made = store.rebuild()
    assert made.ends == 1 and store.unlike(name) == []
    assert (store.cases(), list(store.briefs()), store.find(part="K207")) == before
    assert store.rebuild().said == ()


def test_making_the_list_again_does_not_hide_what_was_cut(store: Opened) -> None:
    one, other = chain("abcd"), chain("xy", "104-2-0131-0000")
    store.take([one, other, chain("abe")])
    changed_by_hand(store, f"DELETE FROM events WHERE hash = '{one[-1].hash}'", "DELETE FROM chains WHERE events = 3")
    assert len(store.cases()) == 1 and len(store.ends()) == 3
    made = store.rebuild()
    assert "had lost it" in made.said[0] and "was written last (number 5)" in made.said[1]
    assert [f.what for f in store.faults(store.heads(CASE)[0].name)] == ["missing"]
    assert store.events(other[0].case) == other and len(store.cases()) == 2
    changed_by_hand(store, "DELETE FROM events")
    assert all("events are gone" in " ".join(store.unlike(name)) for name in store.ends())
    assert all("gone" in said for said in store.rebuild().said)


def test_values_of_another_kind_are_a_sentence_and_the_list_is_made_again(tmp_path: Path) -> None:
    with open_store(tmp_path / "cases.db") as opened:
        opened.take([trail("worn-plug"), trail("wet-lead")])
        before = opened.cases()
        changed_by_hand(opened, "UPDATE chains SET events = 'many', opened = x'ff', ends = 1.5")
        for ask in (opened.cases, lambda: list(opened.briefs()), lambda: opened.heads(before[0].id), opened.forks):
            with pytest.raises(StoreError, match=r"list of cases is damaged\. Keep it as it is"):
                ask()
        said = opened.rebuild().said
        assert sum("how many events it has was unreadable" in one for one in said) == 2
        assert opened.cases() == before and [opened.unlike(name) for name in opened.ends()] == [[], []]


def test_a_message_of_sqlite_that_is_no_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "cases.db"
    open_store(path).close()
    data = path.read_bytes()
    assert data.count(b"CREATE TABLE chains") == 1
    path.write_bytes(data.replace(b"CREATE TABLE chains", b"CREATE TABLE ch\xea\xffns"))
    assert main(["cases", "list", "--store", str(path)]) == 1
    assert "the file is damaged; keep it" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize("begun", [False, True])
def test_a_database_that_does_not_take_what_it_is_given(store: Opened, begun: bool) -> None:
    if begun:
        store.take([chain("ab")])
    if store.path is not None:
        rule = "CREATE TRIGGER away AFTER INSERT ON events BEGIN DELETE FROM chains; END"
    else:
        rule = "CREATE RULE away AS ON INSERT TO events DO INSTEAD NOTHING"
    changed_by_hand(store, rule)
    for work in (
        lambda: store.append(CASE, "noted" if begun else "opened", {} if begun else OPENING, at(5)),
        lambda: store.take([chain("abcd")]),
        lambda: store.take([chain("xy")]),
    ):
        with pytest.raises(StoreError, match=r"did not take what was written|could not be written|does not go with"):
            work()
    assert store.ends() == ([CASE] if begun else [])
    assert not begun or store.events(CASE) == chain("ab")


# -- the file under the store ------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["removed", "its log removed", "replaced"])
def test_nothing_is_acknowledged_into_a_file_that_is_gone(tmp_path: Path, how: str) -> None:
    path = tmp_path / "cases.db"
    with open_store(path) as opened:
        opened.take([chain("ab")])
        if how == "removed":
            for ending in ("", "-wal", "-shm"):
                path.with_name(path.name + ending).unlink(missing_ok=True)
        elif how == "its log removed":
            (tmp_path / "cases.db-wal").unlink()
        else:
            shutil.copy(path, tmp_path / "copy")
            os.replace(tmp_path / "copy", path)
        for work in (lambda: opened.append(CASE, "noted", {}, at(9)), lambda: opened.take([chain("abc")])):
            with pytest.raises(StoreError, match="removed or replaced by another file"):
                work()


@pytest.mark.parametrize("ending", ["", "-wal", "-shm"])
def test_no_output_replaces_a_store(tmp_path: Path, ending: str) -> None:
    with open_store(tmp_path / "cases.db") as opened:
        opened.take([chain("ab")])
        path = tmp_path / f"cases.db{ending}"
        (tmp_path / "link.html").symlink_to(path)
        before = path.read_bytes()
        for target in (path, tmp_path / "link.html"):
            with pytest.raises(StoreError, match="is a database, or what belongs to one, and was left as it is"):
                write_whole(target, b"<html>", overwrite=True)
        assert path.read_bytes() == before


def test_no_command_replaces_a_store(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store, folder = tmp_path / "cases.csv", str(tmp_path)
    for path in (store, tmp_path / "s.db"):
        open_store(path).close()
    before = store.read_bytes()
    for command in (
        ["kb", "sheet", "--engine", "halden-hf-3", "--complaint", "one-channel-silent", "--out", str(store)],
        ["kb", "trial", "-n", "1", "--json", str(store)],
        ["drill", "class", folder, "--csv", str(store)],
        ["review", "tables", folder, "--store", str(tmp_path / "s.db")],
    ):
        assert main([*command, "--overwrite"]) == 1, command
        assert "is a database, or what belongs to one" in " ".join(capsys.readouterr().err.split())
    assert store.read_bytes() == before


def test_no_output_replaces_a_trail_but_what_goes_on_from_it(tmp_path: Path) -> None:
    whole, longer = put(tmp_path / "a.jsonl", chain("ab")), chain("abc")
    before = whole.read_bytes()
    torn = tmp_path / "torn.jsonl"
    torn.write_bytes(before[: before.index(b"\n") - 9])
    with open_store(tmp_path / "cases.db") as opened:
        opened.take([chain("ax"), longer])
        for path in (whole, torn):
            with pytest.raises(StoreError, match="is a case file and was left as it is, whatever --overwrite says"):
                write_whole(path, b"<html>", overwrite=True)
        with pytest.raises(StoreError, match="is a case file"):
            opened.export_case(f"{CASE}@{chain('ax')[-1].hash}", whole, overwrite=True)
        assert whole.read_bytes() == before
        whole.write_bytes(before.replace(b"\n", b"\r\n"))
        opened.export_case(f"{CASE}@{longer[-1].hash}", whole, overwrite=True)
        assert read_case(whole) == longer
    (tmp_path / "page.json").write_text('{"kind": "fleet", "case": 1}')
    write_whole(tmp_path / "page.json", b"{}", overwrite=True)
    assert (tmp_path / "page.json").read_bytes() == b"{}"


def test_a_pipe_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo(pipe := tmp_path / "pipe.jsonl")
    for work in (lambda: read_case(pipe), lambda: open_store(pipe)):
        with pytest.raises(StoreError, match="not a plain file"):
            work()
    monkeypatch.setenv("ISOLATE_CONFIG", str(pipe))
    with pytest.raises(BadSettings, match="not a plain file"):
        settings()
    monkeypatch.setenv("ISOLATE_CONFIG", os.devnull)
    assert settings().people == ""


# -- addresses ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "where",
    [
        "u:s3cret@h/d",
        "postgresql//u:s3cret@h/d",
        "postgresql ://u:s3cret@h/d",
        " postgresql://u:s3cret@h:door/d",
        "postgresql:u:s3cret@h/d",
        "PostgreSQL://u:p@s3cret@h:door/d",
        "//u:s3cret@h/d",
        "Postgres",
    ],
)
def test_a_mistyped_address_makes_no_file_and_is_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], where: str
) -> None:
    monkeypatch.chdir(tmp_path)
    for command in (["cases", "list", "--store", where], ["store", "merge", where, "--store", str(tmp_path / "m.db")]):
        assert main(command) == 1
        out, err = capsys.readouterr()
        assert "address" in err and "s3cret" not in out + err
    assert {p.name for p in tmp_path.iterdir()} <= {"m.db", "m.db-wal", "m.db-shm"}


def test_a_password_with_an_at_sign_is_whole_and_not_shown() -> None:
    from isolate.case.database import _address

    for address in ("postgresql://u:p@s3cret@h:9/d?password=x%40y", "postgresql://u:p%40s3cret@h:9/d"):
        url, label, secrets = _address(address)
        assert (url.username, url.password, url.host, url.port) == ("u", "p@s3cret", "h", 9) and "s3cret" not in label
        assert "p@s3cret" in secrets and label.endswith("h:9/d")


def test_a_file_whose_name_looks_like_an_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for where in ("./postgres.db", "./a:b@c.db", str(tmp_path / "a:b@d.db"), " plain.db "):
        open_store(where).close()
    assert {p.name for p in tmp_path.iterdir()} == {"postgres.db", "a:b@c.db", "a:b@d.db", "plain.db"}
    open_store("postgres.db").close()


# -- the knowledge -----------------------------------------------------------------------------------------


def test_knowledge_that_is_none_is_not_taken_in_and_what_is_damaged_is_replaced(
    place: Callable[[], str], capsys: pytest.CaptureFixture[str]
) -> None:
    from isolate.kb.load import load

    loaded = load()
    name = loaded.knowledge.digest
    with open_store(place()) as good, open_store(place()) as home:
        assert good.keep_knowledge(loaded)
        data = good.knowledge(name) or b""
        for bad in (b"garbage", data[:-30]):
            with pytest.raises(StoreError, match="was not taken in"):
                home.keep_archive(name, at(0), bad)
        with pytest.raises(StoreError, match="its digest is"):
            home.keep_archive("0" * 64, at(0), data)
        assert home.knowledge(name) is None
        with open_store(place()) as evil:
            evil.take([trail("worn-plug")])
            evil._write(lambda on: on.keep_knowledge(name, at(0), b"garbage"))
            told = evil.copy_to(home)
            assert len(told.merged) == 1 and len(told.problems) == 1 and "was not taken in" in told.problems[0]
            assert home.knowledge(name) is None
            (said,) = good.copy_to(evil).notes
            assert "could not be used" in said and "was replaced" in said and evil.knowledge(name) == data
            evil._write(lambda on: on.keep_knowledge(name, at(0), b"garbage"))
            where = str(evil.path or "")
        if where:
            folder = str(loaded.folder)
            assert main(["store", "knowledge", "--keep", folder, "--store", where]) == 0
            assert f"{name[:12]} is kept, in its place" in capsys.readouterr().out
            with open_store(where) as evil:
                assert evil.knowledge_fault(name) == ""


def test_all_trails_at_once(store: Opened) -> None:
    """What stands beside every trail is what it says: nothing is called edited that was not."""
    assert store.merge([TRAILS]).problems == ()
    assert {name: store.unlike(name) for name in store.ends()} == {name: [] for name in store.ends()}

"""Case files read whatever was done to them: each break found and located, each way of travelling told apart."""

from __future__ import annotations

import codecs
import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from isolate.case.chain import digest, seal
from isolate.case.events import FORMAT, ZERO, Event, canonical, to_line
from isolate.review import reading
from isolate.review.reading import MOST_BREAKS, NotATrail, Read, mend, read, read_bytes
from tests.bench.tampering import BYTES, EVENTS, in_bytes, in_events, lines
from tests.worked import trail

CASE = trail("taken-back")
WHOLE = lines(CASE)
LINES = WHOLE.splitlines(keepends=True)


def said(found: Read) -> str:
    return "\n".join(map(str, found.faults))


def test_a_whole_file() -> None:
    found = read_bytes(WHOLE)
    assert (found.events, found.faults, found.carried, found.newer) == (CASE, (), (), "")
    assert found.sound == len(CASE) == 61 and found.full and found.case == "230-2-0312-a007"


@pytest.mark.parametrize("how", BYTES)
def test_one_byte_is_found_and_located(how: str) -> None:
    rng = random.Random(how)
    exact = 0
    for _ in range(6):
        bad, line, column = in_bytes(how, WHOLE, rng)
        found = read_bytes(bad)
        assert found.faults, (how, line, column)
        first = found.faults[0]
        assert first.line == line and found.sound == line - 1, (how, line, column, said(found))
        before = WHOLE.splitlines(keepends=True)[line - 1]
        exact += first.column == column or len(before) > 2050
        # What is sound is what was there.
        assert found.events[: found.sound] == CASE[: found.sound]
    # A byte beside one of its like cannot be told from it, and line ends change two lines.
    assert exact >= 4


@pytest.mark.parametrize("how", EVENTS)
def test_events_tampered_with_are_found(how: str) -> None:
    rng = random.Random(how)
    for _ in range(8):
        bad, seq = in_events(how, CASE, rng)
        found = read_bytes(lines(bad), pinpoint=False)
        assert found.faults, (how, seq)
        assert any(fault.seq in (seq - 1, seq, seq + 1) for fault in found.faults), (how, seq, said(found))
        assert found.events[: found.sound] == CASE[: found.sound]


def test_what_was_changed_is_told_byte_by_byte() -> None:
    line = next(e for e in CASE if e.kind == "belief")
    good = to_line(line)
    at = good.index(b"0.") + 2
    bad = good[:at] + (b"9" if good[at : at + 1] != b"9" else b"8") + good[at + 1 :]
    column, how, back = mend(bad) or (0, "", b"")
    assert (column, back) == (at + 1, good)
    assert f"({bad[at : at + 1].decode()!r} where {good[at : at + 1].decode()!r} was written)" in how
    # A digit of its own hash, and of the one before it.
    for name in (b'"hash":"', b'"prev":"'):
        at = good.index(name) + len(name) + 5
        bad = good[:at] + (b"0" if good[at : at + 1] != b"0" else b"1") + good[at + 1 :]
        assert (mend(bad) or (0,))[0] == at + 1
    # Two bytes are not told, nor is it guessed at.
    assert mend(good.replace(b"0.", b"1.", 1).replace(b'"belief"', b'"Belief"')) is None


def test_the_hash_before_is_told_from_what_stands_before() -> None:
    at = LINES[20].index(b'"prev":"') + 8
    bad = LINES[20][:at] + b"0" * 64 + LINES[20][at + 64 :]
    found = read_bytes(WHOLE.replace(LINES[20], bad), pinpoint=False)
    assert [(f.line, f.seq) for f in found.faults] == [(21, 21)] and found.sound == 20
    assert found.faults[0].column in (at + 1, at + 2) and "the hash of the event before" in said(found)


def test_a_line_that_says_the_same_otherwise() -> None:
    spaced = LINES[9].replace(b",", b", ", 1)
    found = read_bytes(WHOLE.replace(LINES[9], spaced))
    assert [(f.line, f.column) for f in found.faults] == [(10, spaced.index(b", ") + 2)]
    number = next(i for i, one in enumerate(LINES) if b'"minutes":8,' in one)
    spelled = LINES[number].replace(b'"minutes":8,', b'"minutes":80e-1,', 1)
    found = read_bytes(WHOLE.replace(LINES[number], spelled))
    assert "though it says the same" in said(found) and found.faults[0].line == number + 1


# -- what happens on the way ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (WHOLE.replace(b"\n", b"\r\n"), "line ends"),
        (codecs.BOM_UTF8 + WHOLE, "byte order mark"),
        (WHOLE.decode().encode("utf-16"), "UTF-16"),
        (codecs.BOM_UTF16_BE + WHOLE.decode().encode("utf-16-be"), "UTF-16"),
        (WHOLE.decode().encode("utf-16-le"), "UTF-16"),
        (WHOLE.decode().replace("\n", "\r\n").encode("utf-16"), "line ends"),
        (WHOLE[:-1], "no line end"),
    ],
)
def test_changed_on_the_way_with_all_events_whole(data: bytes, word: str) -> None:
    found = read_bytes(data)
    assert found.events == CASE and found.faults == () and word in " ".join(found.carried)


def test_latin_1() -> None:
    noted = seal("x", 2, "noted", "2030-01-31T06:00:00.000Z", {"text": "geprüft: é"}, CASE[0].hash)
    opened = seal("x", 1, "opened", CASE[0].time, CASE[0].body, ZERO)
    noted = seal("x", 2, "noted", "2030-01-31T06:00:00.000Z", {"text": "geprüft: é"}, opened.hash)
    data = lines([opened, noted])
    found = read_bytes(data.decode().encode("latin-1"))
    assert found.events == (opened, noted) and not found.faults and "Latin-1 on the way (line 2)" in found.carried[0]
    # Something else than that was done to it: told where.
    bad = read_bytes(data.replace("é".encode(), b"\xff\xfe"))
    assert bad.faults[0].line == 2 and bad.faults[0].column == data.splitlines()[1].index("é".encode()) + 1


def test_some_line_ends_changed() -> None:
    found = read_bytes(WHOLE.replace(LINES[6], LINES[6][:-1] + b"\r\n"))
    assert [(f.line, f.text) for f in found.faults] == [(7, "Event 7: this line ends in CR LF, unlike the others.")]
    found = read_bytes(WHOLE.replace(b"\n", b"\r\n").replace(LINES[6][:-1] + b"\r\n", LINES[6]))
    assert [(f.line, f.seq) for f in found.faults] == [(7, 7)]


@pytest.mark.parametrize(
    ("data", "line", "column", "word"),
    [
        (WHOLE[:-1] + b"\r", 61, len(LINES[-1]), "put in"),
        (WHOLE + b"\n", 62, 1, "empty line"),
        (WHOLE[:-40], 61, len(LINES[-1]) - 40, "cut short"),
        (WHOLE + LINES[-1][:30], 62, 30, "cut short"),
        (b"".join(LINES[20:]), 1, 0, "Events 1 to 20 are missing"),
        (b"".join(LINES[:10] + LINES[30:]), 11, 0, "Events 11 to 30 are missing"),
        (b"".join(LINES[:10]) + LINES[10][:50] + LINES[30][50:] + b"".join(LINES[31:]), 11, 0, "Event 11"),
        (WHOLE.replace(LINES[4], b"\0" * 4096 + b"\n"), 5, 1, "cannot be read"),
    ],
)
def test_cut_and_torn(data: bytes, line: int, column: int, word: str) -> None:
    found = read_bytes(data)
    first = found.faults[0]
    assert first.line == line and (not column or first.column == column) and word in first.text, said(found)
    assert found.events[: found.sound] == CASE[: found.sound]


# -- other files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"SQLite format 3\0" + b"\0" * 200, "store"),
        (b"<!doctype html><p>Not here", "no case file"),
        (b'{"a": 1}\n', "no case file"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "no case file"),
        (b"a;b;c\n1;2;3\n", "no case file"),
        (b"\x1b[2Jgone", "no case file"),
    ],
)
def test_what_is_no_trail_gets_a_sentence(data: bytes, word: str, tmp_path: Path) -> None:
    path = tmp_path / "trail.jsonl"
    path.write_bytes(data)
    with pytest.raises(NotATrail, match=word) as caught:
        read(path)
    assert str(caught.value).startswith(f"{path}: ") and "\x1b" not in str(caught.value)
    for there in (tmp_path / "none.jsonl", tmp_path):
        with pytest.raises(NotATrail, match="could not be read"):
            read(there)


def resealed(things: list[dict[str, object]]) -> bytes:
    """Return case-file lines of objects, whatever they hold, each sealed to the one before."""
    from hashlib import sha256

    out, prev = [], ZERO
    for thing in things:
        thing = {**thing, "prev": prev}
        thing.pop("hash", None)
        prev = sha256(canonical(thing)).hexdigest()
        out.append(canonical({**thing, "hash": prev}) + b"\n")
    return b"".join(out)


def test_a_later_version() -> None:
    things = [json.loads(line) for line in LINES[:4]]
    things[2]["kind"] = "weighed"
    found = read_bytes(resealed(things))
    assert found.newer == "" and "Event 3 is of a kind that this program does not know (weighed)" in said(found)
    things[0]["body"]["format"] = FORMAT + 1
    found = read_bytes(resealed(things))
    assert not found.faults and len(found.events) == 4
    assert found.newer == (
        f"It was written by a newer version of this program (format {FORMAT + 1}; this one knows {FORMAT})."
    )
    things[3]["of"] = "something new"
    assert not read_bytes(resealed(things)).faults
    assert read_bytes(resealed(things).replace(b"something new", b"something old")).faults


def test_a_large_file_keeps_seals_only(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(reading, "LARGE", 1000)
    monkeypatch.setattr(reading, "PACE", 5000)
    path, told = tmp_path / "long.jsonl", []
    path.write_bytes(WHOLE)
    found = read(path, lambda done, size: told.append((done, size)))
    assert not found.full and not found.faults and found.sound == 61
    assert (
        found.events[0].body and not found.events[1].body and [e.hash for e in found.events] == [e.hash for e in CASE]
    )
    assert len(told) > 3 and told == sorted(told) and all(size == len(WHOLE) for _, size in told)
    path.write_bytes(WHOLE.replace(LINES[30], b""))
    assert "Event 31 is missing" in said(read(path))


def test_many_bad_lines_are_counted_and_the_first_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    junk = [b'{"body":%d}\n' % i for i in range(300)]
    found = read_bytes(b"".join([*LINES[:30], *junk, *LINES[30:]]))
    assert len(found.faults) == MOST_BREAKS and found.more == 200 and found.sound == 30 and not found.left
    assert [e.seq for e in found.events] == list(range(1, 62))
    assert [f.line for f in found.faults] == list(range(31, 131))
    monkeypatch.setattr(reading, "MOST_BAD", 250)
    found = read_bytes(b"".join([*LINES[:30], *junk, *LINES[30:]]))
    assert found.left == "The 250 lines up to line 280 are no whole events; the rest of the file was not looked at."
    assert len(found.events) == 30 and found.more == 150
    # As many, but never so many in a row: all of it is looked at.
    found = read_bytes(b"".join(x for i in range(61) for x in (*junk[:200], LINES[i])))
    assert found.more == 200 * 61 - MOST_BREAKS and len(found.events) == 61 and not found.left


def test_breaks_of_a_chain_are_counted_as_well() -> None:
    found = read_bytes(b"".join(LINES[:5] * 50))
    assert len(found.faults) == MOST_BREAKS and found.more > 100 and len(found.events) == 250


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    import os

    os.mkfifo(tmp_path / "trail.jsonl")
    with pytest.raises(NotATrail, match="not a plain file"):
        read(tmp_path / "trail.jsonl")


def test_what_a_line_says_stays_on_its_line() -> None:
    thing = {**json.loads(LINES[1]), "x\nWhole: 61 events": "\x1b[2J"}
    found = read_bytes(LINES[0] + canonical(thing) + b"\n")
    assert found.faults and not any("\n" in f.text or "\x1b" in f.text for f in found.faults)


def test_a_line_beyond_all_measure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LONGEST", 5000)
    found = read_bytes(b"".join([*LINES[:3], b'{"body":"' + b"x" * 20000 + b"\n", *LINES[3:]]))
    assert found.faults[0].line == 4 and "longer than" in found.faults[0].text
    assert [e.seq for e in found.events] == [e.seq for e in CASE]


def test_an_event_of_another_case_and_a_second_opening() -> None:
    stray = replace(CASE[5], case="104-9")
    stray = replace(stray, hash=digest(stray))
    found = read_bytes(lines([*CASE[:5], stray, *CASE[6:]]))
    assert "belongs to case 104-9" in said(found)
    again: list[Event] = list(CASE[:4])
    again.append(seal(CASE[0].case, 5, "opened", CASE[3].time, CASE[0].body, again[-1].hash))
    assert "begins with 'opened', and only there" in said(read_bytes(lines(again)))


def test_bytes_of_all_kinds_never_raise_anything_else() -> None:
    rng = random.Random(7)
    for _ in range(150):
        cut = rng.randrange(len(WHOLE))
        data = bytearray(WHOLE[max(0, cut - 3000) : cut + 3000] if rng.random() < 0.5 else WHOLE[:6000])
        for _ in range(rng.randrange(1, 40)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        try:
            found = read_bytes(bytes(data), pinpoint=False)
        except NotATrail:
            continue
        assert found.faults

"""Events and their chain: against published vectors, and against a few hundred ways to tamper with a case."""

from __future__ import annotations

import hashlib
import json
import random
import struct
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from isolate.case.chain import back_in_time, case_id, digest, seal, span, verify
from isolate.case.events import (
    DEPTH,
    KINDS,
    SAFE_INTEGER,
    ZERO,
    Event,
    EventError,
    canonical,
    from_line,
    is_event_time,
    now_text,
    parse,
    parse_time,
    plain,
    read_json,
    to_line,
    to_object,
)

START = datetime(2030, 1, 31, 6, 0, tzinfo=UTC)


def make(count: int, case: str = "104-2-0131-7f3a", rng: random.Random | None = None) -> list[Event]:
    rng = rng or random.Random(1)
    events: list[Event] = []
    for seq in range(1, count + 1):
        kind = "opened" if seq == 1 else rng.choice([kind for kind in KINDS if kind != "opened"])
        body = {
            "check": f"lead-continuity/{rng.choice('AB')}",
            "minutes": rng.uniform(0, 40),
            "seen": [seq, None, True],
        }
        prev = events[-1].hash if events else ZERO
        events.append(seal(case, seq, kind, now_text(START + timedelta(seconds=37 * seq)), body, prev))
    return events


# -- published vectors ---------------------------------------------------------------------------


def test_sha256_of_abc() -> None:
    # published: FIPS 180-4, its example for SHA-256
    expected = "ba7816bf 8f01cfea 414140de 5dae2223 b00361a3 96177a9c b410ff61 f20015ad".replace(" ", "")
    assert hashlib.sha256(b"abc").hexdigest() == expected


def test_canonical_json_of_the_sample_in_rfc_8785() -> None:
    # memory: RFC 8785 section 3.2.2 (input) and 3.2.4 (the bytes)
    given = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    expected = bytes.fromhex(
        "7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 6c 73 65 5d 2c 22 6e"
        "75 6d 62 65 72 73 22 3a 5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31 65 2b 33 30"
        "2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37 5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24"
        "5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d"
    )
    assert canonical(read_json(given)) == expected
    assert canonical(plain(read_json(given))) == expected


def test_canonical_order_of_keys_in_rfc_8785() -> None:
    # memory: RFC 8785 section 3.2.3; the emoji sorts before the Hebrew letter, by UTF-16 code units
    given = r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
                 "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
                 "\u00f6": "Latin Small Letter O With Diaeresis"}"""
    order = ["Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign"]
    order += ["Emoji: Grinning Face", "Hebrew Letter Dalet With Dagesh"]
    assert list(json.loads(canonical(plain(read_json(given)))).values()) == order


@pytest.mark.parametrize(
    ("bits", "text"),
    [  # memory: RFC 8785 appendix B
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("8000000000000001", "-5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("ffefffffffffffff", "-1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("c340000000000000", "-9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("44b52d02c7e14af7", "1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("444b1ae4d6e2ef4f", "999999999999999900000"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555554", "333333333.33333325"),
        ("41b3de4355555555", "333333333.3333333"),
        ("41b3de4355555556", "333333333.3333334"),
        ("41b3de4355555557", "333333333.33333343"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_canonical_numbers_in_rfc_8785(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number).decode() == text
    assert canonical(plain(number)).decode() == text
    again = plain(read_json(text))
    assert canonical(again).decode() == text
    assert float(again) == number


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])  # memory: RFC 8785 appendix B, no JSON
def test_numbers_that_json_does_not_hold(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(EventError):
        canonical(number)
    with pytest.raises(EventError, match=r"body\.minutes\[1\] is not a finite number"):
        plain({"minutes": [1, number]})


@pytest.mark.parametrize(
    ("text", "same"),
    [  # memory: RFC 3339 section 5.8, its examples
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, tzinfo=UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        ("1990-12-31T23:59:60Z", datetime(1991, 1, 1, tzinfo=UTC)),
        ("1990-12-31T15:59:60-08:00", datetime(1991, 1, 1, tzinfo=UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, tzinfo=UTC)),
        # memory: section 5.6, small letters are allowed
        ("1985-04-12t23:20:50z", datetime(1985, 4, 12, 23, 20, 50, tzinfo=UTC)),
    ],
)
def test_times_of_rfc_3339(text: str, same: datetime) -> None:
    assert parse_time(text) == same


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2030-01-31",
        "2030-01-31 06:00:00Z",
        "2030-01-31T06:00:00",
        "2030-02-30T06:00:00Z",
        "2030-01-31T24:00:00Z",
        "2030-01-31T06:00:60Z",
        "2030-01-31T06:00:00.Z",
        "2030-01-31T06:00:00+25:00",
        "2030-01-31T06:00:00+0100",
        "2030-01-31T06:00:00Z\n",
        "٢030-01-31T06:00:00Z",
        "0001-01-01T00:00:00+01:00",
        "9999-12-31T23:59:59-01:00",
    ],
)
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(EventError):
        parse_time(text)
    assert not is_event_time(text)


def test_time_text_is_utc_with_milliseconds() -> None:
    east = timezone(timedelta(hours=5, minutes=30))
    assert now_text(datetime(2030, 1, 31, 5, 29, 59, 999999, tzinfo=east)) == "2030-01-30T23:59:59.999Z"
    assert now_text(datetime(33, 1, 2, tzinfo=UTC)) == "0033-01-02T00:00:00.000Z"
    with pytest.raises(ValueError, match="without a time zone"):
        now_text(datetime(2030, 1, 31))
    assert is_event_time("2030-01-31T06:00:00.000Z")
    assert not any(map(is_event_time, ["2030-01-31T06:00:00Z", "2030-01-31T06:00:00.000+00:00", 5, None]))


# -- reading events ------------------------------------------------------------------------------


def test_an_event_reads_back_as_it_was_made() -> None:
    body = {"z": 0, "a": 4.0, "b": 1e17, "c": (1, 2), "d": -0.0, "e": "Lead {A} \u20ac \U0001f600", "f": {}, "g": 0.1}
    event = seal("C_1.x", 1, "opened", "2030-01-31T06:00:00.000Z", body, ZERO)
    again = from_line(to_line(event))
    assert again == event
    assert repr(again) == repr(event)  # equality alone would let 4 and 4.0 pass
    assert event.body["a"] == 4 and isinstance(event.body["a"], int) and event.body["c"] == [1, 2]
    assert digest(again) == event.hash
    without = {key: value for key, value in to_object(event).items() if key != "hash"}
    assert event.hash == hashlib.sha256(canonical(without)).hexdigest()


def test_the_body_is_the_events_own() -> None:
    body = {"facts": ["tag 12"]}
    event = seal("C", 1, "opened", "2030-01-31T06:00:00.000Z", body, ZERO)
    body["facts"].append("tag 13")
    assert event.body == {"facts": ["tag 12"]}
    assert digest(event) == event.hash


GOOD = to_object(make(1)[0])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "guessed"}, "unknown kind 'guessed'; the kinds are opened, told"),
        ({"kind": 3}, "unknown kind 3"),
        ({"kind": ["opened"]}, "unknown kind"),
        ({"seq": 0}, "whole number from 1"),
        ({"seq": True}, "whole number from 1"),
        ({"seq": 1.5}, "whole number from 1"),
        ({"seq": "1"}, "whole number from 1"),
        ({"case": ""}, "case is ''"),
        ({"case": "../other"}, "case is '../other'"),
        ({"case": "a\n"}, "case is"),
        ({"case": 104}, "case is 104"),
        ({"time": "yesterday"}, "RFC 3339"),
        ({"time": None}, "RFC 3339"),
        ({"body": []}, "body is a list"),
        ({"body": {"x": float("nan")}}, "body.x is not a finite number"),
        ({"body": {"x": [{"y": float("-inf")}]}}, r"body.x\[0\].y is not a finite number"),
        ({"body": {"x": SAFE_INTEGER + 1}}, "body.x is too large"),
        ({"body": {1: "x"}}, "key that is not text: 1"),
        ({"body": {"x": {1, 2}}}, "body.x is a set"),
        ({"body": {"x": "\ud800"}}, "body.x is not whole Unicode"),
        ({"body": {"\udfff": 1}}, "a key of body is not whole Unicode"),
        ({"prev": "0"}, "prev is not 64"),
        ({"prev": "0" * 63 + "A"}, "prev is not 64"),
        ({"hash": None}, "hash is not 64"),
        ({"hash": "g" * 64}, "hash is not 64"),
        ({"colour": "red", "age": 1}, "unknown keys: age, colour"),
    ],
)
def test_what_is_no_event(change: dict[str, object], says: str) -> None:
    with pytest.raises(EventError, match=says):
        parse({**GOOD, **change})


@pytest.mark.parametrize("key", sorted(GOOD))
def test_a_key_that_is_missing(key: str) -> None:
    with pytest.raises(EventError, match=f"lacks {key}$"):
        parse({name: value for name, value in GOOD.items() if name != key})


@pytest.mark.parametrize("thing", [None, [], "opened", 5])
def test_what_is_no_object(thing: object) -> None:
    with pytest.raises(EventError, match="JSON object"):
        parse(thing)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b'{"body":{"x":NaN}}', "NaN is not a JSON number"),
        (b'{"body":{"x":-Infinity}}', "-Infinity is not a JSON number"),
        (b'{"body":{"x":1,"x":2}}', "'x' is given twice"),
        (b'{"body":', "not JSON"),
        (b"[" * 100_000, "nested too deeply"),
        (b'"caf\xe9"', "not UTF-8 text"),
        (b"1" * 5000, "JSON object"),
    ],
)
def test_lines_that_are_no_json(line: bytes, says: str) -> None:
    with pytest.raises(EventError, match=says):
        from_line(line)


def test_nesting_has_a_limit_and_reaches_it() -> None:
    def nest(depth: int) -> dict[str, object]:
        body: dict[str, object] = {}
        for _ in range(depth):
            body = {"in": body}
        return body

    event = seal("C", 1, "opened", "2030-01-31T06:00:00.000Z", nest(DEPTH), ZERO)
    assert from_line(to_line(event)) == event
    with pytest.raises(EventError, match="nested too deeply"):
        seal("C", 1, "opened", "2030-01-31T06:00:00.000Z", nest(DEPTH + 1), ZERO)


@pytest.mark.parametrize("edit", [lambda t: t.replace(b":", b": ", 1), lambda t: t.replace(b"true", b"true ", 1)])
def test_a_line_that_says_the_same_in_other_bytes_was_edited(edit) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(EventError, match="edited after it was written"):
        from_line(edit(to_line(make(1)[0])))


# -- ids -----------------------------------------------------------------------------------------


def test_case_ids_are_short_readable_and_apart() -> None:
    when = datetime(2030, 11, 25, 9, 0, tzinfo=UTC)
    first = case_id("104", "2", when, b"\x01")
    assert first.startswith("104-2-1125-") and len(first) == len("104-2-1125-7f3a")
    assert first == case_id("104", "2", when, b"\x01")
    many = {case_id("104", "2", when, bytes([n])) for n in range(60)}
    assert len(many) > 55  # 60 draws from 65536
    odd = case_id("../Ågot 104", "", when, b"")
    assert odd.startswith("got-104-x-1125-")
    seal(odd, 1, "opened", now_text(when), {}, ZERO)  # an id that an event takes


# -- tampering -----------------------------------------------------------------------------------


def whats(events: list[Event], head: str | None = None) -> set[tuple[int, str]]:
    return {(fault.seq, fault.what) for fault in verify(events, head)}


def test_a_whole_chain_has_no_fault() -> None:
    events = make(40)
    assert verify(events) == verify(events, events[-1].hash) == verify([]) == []


def test_faults_are_located() -> None:
    events = make(12)
    other = make(12, case="117-1-0131-0000")
    changed = [replace(event, body={"minutes": 1}) if event.seq == 5 else event for event in events]
    assert whats(changed) == {(5, "changed")}
    assert whats(events[:4] + events[7:]) == {(5, "missing")}
    assert "Events 5 to 7 are missing." in [str(fault) for fault in verify(events[:4] + events[7:])]
    assert whats(events[1:]) == {(1, "missing")}
    assert whats([*events[:2], *events[3:9], events[2], *events[9:]]) == {(3, "moved")}
    assert whats([*events[:6], events[5], *events[6:]]) == {(6, "inserted")}
    forged = seal(events[0].case, 6, "noted", events[5].time, {"remark": "forged"}, events[4].hash)
    assert whats([*events[:5], forged, *events[5:]]) == {(6, "inserted")}
    assert verify([*events[:5], forged, *events[5:]])[0].at == 5
    # of two last ones, the one that fits what came before it is kept
    astray = seal(events[0].case, 12, "noted", events[11].time, {}, events[3].hash)
    assert [(fault.seq, fault.what, fault.at) for fault in verify([*events[:11], astray, events[11]])] == [
        (12, "inserted", 11)
    ]
    assert whats([*events[:6], other[5], *events[6:]]) == {(6, "inserted"), (6, "other-case")}
    # content changed and sealed again: what follows does not fit any more
    assert whats([*events[:5], forged, *events[6:]]) == {(6, "changed")}
    # the last one replaced, or the end cut off: only somebody who knows the head can tell
    last = seal(events[0].case, 12, "noted", events[11].time, {}, events[10].hash)
    assert whats([*events[:11], last]) == whats(events[:9]) == set()
    assert whats([*events[:11], last], events[11].hash) == {(13, "missing")}
    assert whats(events[:9], events[11].hash) == {(10, "missing")}
    assert whats([], events[11].hash) == {(1, "missing")}


def test_a_first_event_that_is_not_the_first() -> None:
    wrong = seal("C", 1, "opened", "2030-01-31T06:00:00.000Z", {}, "ab" * 32)
    assert whats([wrong]) == {(1, "first")}


@pytest.mark.parametrize("time", ["31.01.2030 06:00", "2030-01-31T06:00:00Z", ""])
def test_a_time_that_is_not_rfc_3339_though_sealed(time: str) -> None:
    event = replace(make(1)[0], time=time)
    assert whats([replace(event, hash=digest(event))]) == {(1, "time")}


def test_what_cannot_even_be_hashed_is_changed() -> None:
    events = make(3)
    events[1] = replace(events[1], body={"x": float("nan")})
    assert whats(events) == {(2, "changed")}


def change(event: Event, rng: random.Random) -> Event:
    """The event with one part changed, its hash left or made anew."""
    flip = rng.randrange(64)

    def turned(text: str) -> str:
        return text[:flip] + ("0" if text[flip] != "0" else "1") + text[flip + 1 :]

    changes = {
        "case": event.case + "x",
        "kind": rng.choice([kind for kind in KINDS if kind != event.kind]),
        "time": now_text(parse_time(event.time) + timedelta(milliseconds=rng.choice([-1, 1, 60_000]))),
        "body": {**event.body, rng.choice([*event.body, "more"]): rng.random()},
        "prev": turned(event.prev),
        "hash": turned(event.hash),
    }
    key = rng.choice(sorted(changes))
    return replace(event, **{key: changes[key]})


@pytest.mark.parametrize("seed", range(400))
def test_every_tampering_is_found(seed: int) -> None:
    rng = random.Random(seed)
    events = make(rng.randrange(3, 25), rng=rng)
    head = events[-1].hash
    at = rng.randrange(len(events))
    way = ("change", "reseal", "drop", "move", "insert", "other")[seed % 6]
    if way == "change":
        events[at] = change(events[at], rng)
        assert events[at].seq in {fault.seq for fault in verify(events)}
    elif way == "reseal":
        body = {**events[at].body, "minutes": -1}
        events[at] = replace(events[at], body=body)
        events[at] = replace(events[at], hash=digest(events[at]))
        if at < len(events) - 1:
            assert (at + 1, "changed") in whats(events)
    elif way == "drop":
        gone = events.pop(at)
        if at < len(events):
            assert whats(events) == {(gone.seq, "missing")}
    elif way == "move":
        to = rng.choice([place for place in range(len(events)) if place != at])
        moved = events.pop(at)
        events.insert(to, moved)
        found = whats(events)
        near = {moved.seq, at + 1 + (1 if to > at else -1)}  # of two neighbours changed about, either is right
        assert {what for _, what in found} == {"moved"}
        assert found <= {(seq, "moved") for seq in near}
    elif way == "insert":
        forged = seal(events[0].case, at + 1, "noted", events[at].time, {"n": rng.random()}, events[at].prev)
        place = rng.randrange(len(events) + 1)
        events.insert(place, forged)
        assert (at + 1, "inserted") in whats(events)
    else:
        other = make(len(events), case="230-1-0131-beef", rng=rng)
        events[at] = other[at]
        assert (at + 1, "other-case") in whats(events)
    if events[-1].hash != head or way not in ("reseal", "drop"):
        assert verify(events, head)


@pytest.mark.parametrize("seed", range(200))
def test_every_changed_byte_of_a_line_is_found(seed: int) -> None:
    rng = random.Random(seed)
    events = make(4, rng=rng)
    which = rng.randrange(4)
    line = bytearray(to_line(events[which]))
    at = rng.randrange(len(line))
    way = seed % 3
    if way == 0:
        line[at] ^= 1 << rng.randrange(8)
    elif way == 1:
        del line[at]
    else:
        line.insert(at, rng.randrange(256))
    try:
        events[which] = from_line(bytes(line))
    except EventError:
        return
    assert any(fault.seq == which + 1 or fault.at == which for fault in verify(events))


# -- times that go back ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (1, "a minute or less"),
        (60, "a minute or less"),
        (90, "a minute or two"),
        (120, "2 minutes"),
        (3_600, "60 minutes"),
        (7_200, "2 hours"),
        (86_400, "24 hours"),
        (172_800, "2 days"),
        (1_652_817 * 60, "1,148 days"),
    ],
)
def test_a_length_of_time_is_said_in_the_unit_that_is_read_at_a_glance(seconds: float, words: str) -> None:
    assert span(seconds) == words


def test_where_times_go_back_the_furthest_is_told() -> None:
    events = make(5)
    assert back_in_time(events) == ""
    back = [replace(events[2], time="2030-01-31T03:00:00.000Z"), replace(events[4], time="2030-01-28T06:00:00.000Z")]
    said = back_in_time([*events[:2], back[0], events[3], back[1]])
    assert said.startswith("Its times go back at event 5, by 3 days, and at 1 more: clocks of two machines that differ")
    assert back_in_time([*events[:2], back[0]]).startswith("Its times go back at event 3, by 3 hours: clocks")
    assert back_in_time([events[0], replace(events[1], time="yesterday")]) == ""


def test_a_chain_of_which_nothing_is_left() -> None:
    (fault,) = verify([], head="a" * 64)
    assert str(fault) == "All its events are gone."

"""Ways to tamper with a trail: bytes of its file, and its events, as they are or sealed anew by somebody who can."""

from __future__ import annotations

import copy
import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from isolate.case.chain import digest
from isolate.case.events import ZERO, Event, to_line

BYTES = ("byte changed", "byte taken out", "byte put in")
EVENTS = ("dropped", "moved", "doubled", "put in", "two changed places", "body edited", "body edited, sealed by itself")
SEALED = ("edited", "taken out", "doubled", "two changed places")
"""What is done to events before everything from there on is sealed anew."""


def lines(events: Sequence[Event]) -> bytes:
    """Return a case as its file is written."""
    return b"".join(to_line(e) + b"\n" for e in events)


def in_bytes(how: str, data: bytes, rng: random.Random) -> tuple[bytes, int, int]:
    """Return a file with one byte changed, and where: line and column, both from 1."""
    at = rng.randrange(len(data))
    if how == "byte changed":
        other = rng.choice([b for b in range(256) if b != data[at]])
        made = data[:at] + bytes([other]) + data[at + 1 :]
    elif how == "byte taken out":
        made = data[:at] + data[at + 1 :]
    else:
        made = data[:at] + bytes([rng.randrange(256)]) + data[at:]
    start = data.rfind(b"\n", 0, at) + 1
    return made, data.count(b"\n", 0, at) + 1, at - start + 1


def in_events(how: str, events: Sequence[Event], rng: random.Random) -> tuple[list[Event], int]:
    """Return the events tampered with and not sealed anew beyond the one, and the number of the event concerned."""
    had = list(events)
    at = rng.randrange(len(had))
    if how == "dropped":
        at = rng.randrange(len(had) - 1)  # the last one is a matter of its own: see truncation
        return had[:at] + had[at + 1 :], had[at].seq
    if how == "moved":
        to = rng.choice([i for i in range(len(had)) if i != at])
        event = had.pop(at)
        had.insert(to, event)
        return had, event.seq
    if how == "doubled":
        had.insert(rng.randrange(len(had) + 1), had[at])
        return had, had[at].seq
    if how == "put in":
        event = replace(had[at], body=edited(had[at].body, rng))
        event = replace(event, hash=digest(event))
        had.insert(at + 1, event)
        return had, event.seq
    if how == "two changed places":
        other = rng.choice([i for i in range(len(had)) if i != at])
        had[at], had[other] = had[other], had[at]
        return had, events[min(at, other)].seq
    event = replace(had[at], body=edited(had[at].body, rng))
    had[at] = event if how == "body edited" else replace(event, hash=digest(event))
    return had, event.seq


def sealed(how: str, events: Sequence[Event], rng: random.Random) -> tuple[list[Event], int]:
    """Return the events tampered with and all of them from there on sealed anew, and the number of the first one."""
    had = list(events)
    if how == "edited":
        at = rng.randrange(len(had))
        had[at] = replace(had[at], body=edited(had[at].body, rng))
    elif how == "taken out":
        at = rng.randrange(1, len(had) - 1)
        del had[at]
    elif how == "doubled":
        at = rng.randrange(1, len(had))
        had.insert(at, had[at])
    else:
        at = rng.randrange(1, len(had) - 1)
        had[at], had[at + 1] = had[at + 1], had[at]
    return reseal(had), at + 1


def reseal(events: Sequence[Event]) -> list[Event]:
    """Return the events numbered and sealed as if they had been written so; signatures are taken over as they are."""
    made: list[Event] = []
    for seq, event in enumerate(events, 1):
        new = replace(event, seq=seq, prev=made[-1].hash if made else ZERO)
        made.append(replace(new, hash=digest(new)))
    return made


def edited(body: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """Return a body with one value in it changed, or one more name where it is empty."""
    body = copy.deepcopy(body)
    places = list(_places(body))
    if not places:
        return {**body, "x": 1}
    holder, key = rng.choice(places)
    holder[key] = _other(holder[key], rng)
    return body


def _places(value: Any) -> Any:
    for key in list(value) if isinstance(value, dict) else range(len(value)):
        if isinstance(value[key], dict | list) and value[key]:
            yield from _places(value[key])
        else:
            yield value, key


def _other(value: Any, rng: random.Random) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return (
            value + rng.choice([-1, 1, 2, 10]) if value == int(value) else round(value * rng.choice([0.5, 0.9, 2]), 6)
        )
    if isinstance(value, str) and value:
        at = rng.randrange(len(value))
        return value[:at] + rng.choice([c for c in "abcxyz" if c != value[at]]) + value[at + 1 :]
    return "x"

"""The hash chain of a case: sealing an event to the one before it, and finding where a chain is broken."""

from __future__ import annotations

import hashlib
import re
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import Any, Literal

from isolate.case.events import (
    ZERO,
    Event,
    EventError,
    canonical,
    checked,
    is_event_time,
    now_text,
    parse_time,
    to_object,
)

What = Literal["changed", "missing", "moved", "inserted", "other-case", "time", "first"]


@dataclass(frozen=True)
class Fault:
    """One place where a chain is broken."""

    seq: int
    """The event concerned; for `missing` the first one that is not there."""
    what: What
    text: str
    """The same in a plain sentence."""
    at: int
    """Where in the sequence that was looked at, from 0."""

    def __str__(self) -> str:
        return self.text


def digest(event: Event) -> str:
    """The hash the event should carry: SHA-256 over its canonical JSON without `hash`. Raises EventError."""
    sealed = to_object(event)
    del sealed["hash"]
    return hashlib.sha256(canonical(sealed)).hexdigest()


def seal(case: str, seq: int, kind: str, time: str, body: Mapping[str, Any], prev: str) -> Event:
    """A new event with its hash. The body is copied. Raises EventError if a part is not what an event needs."""
    event = Event(*checked(case, seq, kind, time, body, prev), hash="")
    return replace(event, hash=digest(event))


def case_id(aircraft: str, position: str, time: datetime, entropy: bytes) -> str:
    """A short readable id, like `104-2-1125-7f3a`: aircraft, engine position, month and day, four hex digits.

    The digits come from all the arguments, `entropy` being whatever the caller draws to keep two cases of one
    day apart. The time is taken in UTC. Raises ValueError for a time without a zone.
    """
    stamp = now_text(time)
    parts = [re.sub(r"[^a-z0-9]+", "-", str(part).lower()).strip("-")[:24] or "x" for part in (aircraft, position)]
    mark = hashlib.sha256(canonical([str(aircraft), str(position), stamp, entropy.hex()])).hexdigest()[:4]
    return f"{parts[0]}-{parts[1]}-{stamp[5:7]}{stamp[8:10]}-{mark}"


def verify(
    events: Sequence[Event], head: str | None = None, sound: Sequence[bool] | None = None
) -> list[Fault]:
    """Every break in a case's chain, in the order of the sequence; none for a chain that is whole.

    A chain cut off at its end is a shorter chain and looks whole by itself: give `head`, the hash of the last
    event as known from elsewhere, to find that too. `sound` says of each event whether its seal holds, where that
    was looked at already: then the bodies are not needed.
    """
    faults: list[Fault] = []
    if sound is None:
        sound = [_sound(event) for event in events]
    case = Counter(event.case for event in events).most_common(1)[0][0] if events else ""
    for at, event in enumerate(events):
        if not sound[at]:
            faults.append(_fault(event, "changed", "was changed after it was sealed", at))
        if event.case != case:
            faults.append(_fault(event, "other-case", f"belongs to case {event.case}, not {case}", at))
        if not is_event_time(event.time):
            faults.append(_fault(event, "time", f"has a time that is not RFC 3339 in UTC: {event.time!r}", at))

    kept = _one_each(events, sound)
    for at, event in enumerate(events):
        if kept[event.seq] != at:
            faults.append(_fault(event, "inserted", "was put in: there is another event of this number", at))
    order = [at for at, event in enumerate(events) if kept[event.seq] == at]
    in_place = _longest_rising([events[at].seq for at in order])
    for index, at in enumerate(order):
        if index not in in_place:
            faults.append(_fault(events[at], "moved", "was moved from its place", at))

    before, after = 0, -1
    for seq in sorted(kept):
        at, event = kept[seq], events[kept[seq]]
        if seq > before + 1:
            faults.append(_missing(before + 1, seq - 1, at))
        elif seq == 1 and event.prev != ZERO:
            faults.append(_fault(event, "first", "is the first but says that another came before it", at))
        elif after >= 0 and event.prev != events[after].hash:
            text = f"or event {seq} was replaced: the hash that event {seq} carries is not that of the one before it"
            faults.append(_fault(events[after], "changed", text, after))
        before, after = seq, at
    if head is not None and (not kept or events[after].hash != head):
        text = (
            f"Events are missing after event {before}, or event {before} is not the one that was written last."
            if before
            else "All its events are gone."
        )
        faults.append(Fault(before + 1, "missing", text, max(len(events) - 1, 0)))
    return sorted(faults, key=lambda fault: (fault.at, fault.seq, fault.what))


def back_in_time(events: Sequence[Event]) -> str:
    """Return a sentence where a later event has an earlier time; empty where none has."""
    found = []
    for before, event in pairwise(events):
        try:
            seconds = (parse_time(before.time) - parse_time(event.time)).total_seconds()
        except EventError:
            continue
        if seconds > 0:
            found.append((seconds, event.seq))
    if not found:
        return ""
    most, seq = max(found)
    more = f", and at {len(found) - 1} more" if len(found) > 1 else ""
    return (
        f"Its times go back at event {seq}, by {span(most)}{more}: clocks of two machines that differ, or one that was "
        "set. The order is that of the chain, which no clock changes."
    )


def span(seconds: float) -> str:
    """Return a length of time in words that are read at a glance: days from two days up, then hours, minutes."""
    for unit, size in (("days", 86_400), ("hours", 3_600), ("minutes", 60)):
        if seconds >= 1.995 * size:
            return f"{seconds / size:,.0f} {unit}"
    return "a minute or less" if seconds <= 60 else "a minute or two"


def _sound(event: Event) -> bool:
    try:
        return digest(event) == event.hash
    except EventError:
        return False


def _fault(event: Event, what: What, text: str, at: int) -> Fault:
    return Fault(event.seq, what, f"Event {event.seq} {text}.", at)


def _missing(first: int, last: int, at: int) -> Fault:
    text = f"Event {first} is missing." if first == last else f"Events {first} to {last} are missing."
    return Fault(first, "missing", text, at)


def _one_each(events: Sequence[Event], sound: Sequence[bool]) -> dict[int, int]:
    """For each number, the place of the event that fits its neighbours best."""
    hashes: defaultdict[int, set[str]] = defaultdict(set)
    prevs: defaultdict[int, set[str]] = defaultdict(set)
    places: defaultdict[int, list[int]] = defaultdict(list)
    for at, event in enumerate(events):
        hashes[event.seq].add(event.hash)
        prevs[event.seq].add(event.prev)
        places[event.seq].append(at)

    def fit(at: int) -> tuple[int, bool]:
        seq = events[at].seq
        links = events[at].prev in (hashes[seq - 1] if seq > 1 else {ZERO}), events[at].hash in prevs[seq + 1]
        neighbour = events[at - 1].seq == seq - 1 if at > 0 else seq == 1
        return sum((sound[at], *links)), neighbour

    return {seq: max(found, key=fit) for seq, found in places.items()}


def _longest_rising(numbers: Sequence[int]) -> set[int]:
    """The places of a longest rising run (not necessarily adjacent) of distinct numbers: the rest were moved."""
    tails: list[int] = []
    ends: list[int] = []
    before: list[int] = []
    for place, number in enumerate(numbers):
        length = bisect_left(tails, number)
        before.append(ends[length - 1] if length else -1)
        tails[length : length + 1] = [number]
        ends[length : length + 1] = [place]
    found: set[int] = set()
    place = ends[-1] if ends else -1
    while place >= 0:
        found.add(place)
        place = before[place]
    return found

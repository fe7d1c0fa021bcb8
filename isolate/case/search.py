"""What a search of cases looks for, and what of a case is looked at: words, folded names, serial numbers of parts.

Folded text is compared without regard to upper and lower case. Nothing here touches a database.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from isolate.case.events import Event, EventError, parse_time

LONGEST = 4000
"""Letters of a case that a search looks through: its opening, repairs, parts and what people wrote."""
WRITTEN = {
    "told": ("changes",),
    "noted": ("text",),
    "declined": ("reason",),
    "repaired": ("repair", "part"),
    "swapped": ("swap",),
    "handed-over": ("to", "why"),
    "closed": ("end", "found"),
    "shop-finding": ("finding", "mode", "text", "report"),
    "signed": ("by",),
}
"""Kind of event → what in its body is searched."""
SERIALS = ("sn-off", "sn-on", "serial", "other_serial")
_NO_SERIAL = ("", "NONE", "UNKNOWN", "NOTKNOWN", "NA")


class BadSearch(ValueError):
    """What is searched for cannot be; the message is a sentence."""


@dataclass(frozen=True)
class Wanted:
    """Which cases are meant; what is empty or None does not matter. Made by :func:`wanted`.

    ``words``: each has to stand somewhere in the case. ``part``: a serial number. ``since`` and ``until``: days or RFC
    3339 times between which the case was opened, both included.
    """

    words: tuple[str, ...] = ()
    aircraft: str = ""
    position: str = ""
    engine: str = ""
    complaint: str = ""
    part: str = ""
    ended: bool | None = None
    since: str = ""
    until: str = ""


def wanted(
    words: str | Iterable[str] = (),
    *,
    aircraft: str = "",
    position: str = "",
    engine: str = "",
    complaint: str = "",
    part: str = "",
    ended: bool | None = None,
    since: str | None = "",
    until: str | None = "",
) -> Wanted:
    """Return what is searched for, folded. Raises BadSearch for a day that is none, a part number without a letter."""
    told = words.split() if isinstance(words, str) else [word for some in words for word in some.split()]
    serial = folded_serial(part)
    if part.strip() and not serial:
        raise BadSearch(f"{part!r} is no serial number to search for")
    places = [folded(name or "") for name in (aircraft, position, engine, complaint)]
    return Wanted(
        tuple(folded(word) for word in told),
        places[0],
        places[1],
        places[2],
        places[3],
        serial,
        ended,
        _day(since),
        _day(until),
    )


def folded(text: object) -> str:
    """Return text as names and words are compared: outer spaces off, case folded, no NUL (PostgreSQL takes none)."""
    return str(text).replace("\0", " ").strip().casefold()


def folded_serial(text: object) -> str:
    """Return a serial number as it is compared: letters and digits alone; empty for none, unknown and the like."""
    found = re.sub(r"[\W_]+", "", str(text)).upper()
    return "" if found in _NO_SERIAL else found


def _day(told: str | None) -> str:
    told = (told or "").strip()
    if not told:
        return ""
    try:
        if "T" in told.upper():
            parse_time(told)
            return told.upper()
        return date.fromisoformat(told).isoformat()
    except (ValueError, EventError):
        raise BadSearch(f"{told!r} is no day such as 2030-01-31") from None


# -- what of a case is looked at ---------------------------------------------------------------------


def words_of(events: Sequence[Event]) -> str:
    """Return the text of a case that a search looks through, folded: its id, its opening, what people did and wrote."""
    found: dict[str, None] = {}
    for event in events:
        if event.seq == 1:
            found[folded(event.case)] = None
            about = {k: v for k, v in event.body.items() if k not in ("intake", "knowledge", "program")}
            intake = event.body.get("intake")
            if isinstance(intake, Mapping):
                about |= {k: intake.get(k) for k in ("channel", "operator", "place", "condition", "signs", "people")}
            found |= dict.fromkeys(_texts(about))
        for name in WRITTEN.get(event.kind, ()):
            found |= dict.fromkeys(_texts(event.body.get(name)))
    return " \n ".join(text for text in found if text)[:LONGEST]


def serials_of(events: Sequence[Event]) -> tuple[str, ...]:
    """Return the serial numbers, folded, of all parts that a case speaks of, in order."""
    found: dict[str, None] = {}
    for event in events:
        for part in (event.body.get("part"), event.body.get("swap")):
            if isinstance(part, Mapping):
                found |= dict.fromkeys(folded_serial(part[name]) for name in SERIALS if part.get(name) is not None)
        intake = event.body.get("intake") if event.kind == "opened" else event.body.get("changes")
        swaps = intake.get("swaps") if isinstance(intake, Mapping) else None
        for swap in swaps if isinstance(swaps, list) else []:
            if isinstance(swap, Mapping):
                found |= dict.fromkeys(folded_serial(swap[name]) for name in SERIALS if swap.get(name) is not None)
    return tuple(serial[:80] for serial in found if serial)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield folded(value)
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _texts(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _texts(item)

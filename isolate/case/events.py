"""One event of a case: its shape, its kinds, its time, and strict reading from JSON.

An event is written as canonical JSON (RFC 8785), so that one event has one spelling and one hash.
Nothing here touches a file or a clock.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import rfc8785

KINDS: dict[str, str] = {
    "opened": "the case began: aircraft, engine, complaint, and the knowledge it is worked with",
    "told": "something was said of the aircraft or the work without being asked for",
    "offered": "moves were put forward, with the alternatives and their figures",
    "accepted": "one of the moves offered was taken up",
    "answered": "a check gave its outcome, could-not-tell among them",
    "declined": "a move was turned down, with the reason",
    "caution": "a caution was acknowledged, with the facts it asks for",
    "access": "an access state was opened or closed",
    "fired": "a rule matched: the rule, what it matched, what it asserted",
    "belief": "the probabilities as they stood after what came before",
    "repaired": "a repair was done, with what is known of the part that came off and the one that went on",
    "swapped": "parts changed places, between channels or with another engine, with what is known of them",
    "verified": "a verification was done, with its result for each channel",
    "corrected": "an earlier event was taken back or put right; the earlier one stays",
    "noted": "a remark that changes nothing",
    "left": "the work was left for now; no safe state is taken for granted afterwards",
    "resumed": "the work was taken up again",
    "passed-on": "the work went to the next people; the case stays open, nothing counts until it is walked",
    "loose": "something passed on half torqued or unlocked was looked at, or made good",
    "inspected": "somebody who did none of the work inspected it",
    "handed-over": "the case went to somebody else, with the reason",
    "closed": "the case ended, with the way it ended",
    "stopped": "in a drill: something unsafe was about to be done; it was not, and what it would have done was said",
    "taken-again": "in a drill: it was taken up again from just before it was stopped",
    "refused": "in a drill: something was tried that cannot be done there and then, with the reason",
    "waited": "in a drill: time was let go by",
    "hinted": "in a drill: a hint was asked for and given",
    "suspected": "in a drill: who was the prime suspect then, and how sure the trainee was",
    "debriefed": "after a drill: what it cost beside the reference, step by step; it changes no belief",
    "shop-finding": "the shop said what it found in a part that came off; it changes no belief",
    "signed": "a person put a signature under the case as it then stood; it changes no belief",
}
"""Every kind of event and what it says, in one line."""

FORMAT = 2
"""The format of the trails that are written: told in the opening; one that does not tell it is of format 1.

It grows when a reader of an older trail could mistake a newer one: an older format stays readable for good.
"""

ZERO = "0" * 64
"""What the first event of a case carries in place of the hash of the one before."""

SAFE_INTEGER = 2**53 - 1
"""The largest whole number that every JSON reader holds exactly (RFC 8785, I-JSON)."""

DEPTH = 60
"""How deep a body may be nested."""

_KEYS = ("case", "seq", "kind", "time", "body", "prev", "hash")
_CASE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_HASH = re.compile(r"[0-9a-f]{64}")
_TIME = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:[Zz]|([+-])([01]\d|2[0-3]):([0-5]\d))", re.ASCII
)


class EventError(ValueError):
    """What was given is no event; the message is a plain phrase that says why."""


@dataclass(frozen=True)
class Event:
    """One thing that happened in a case. Made by :func:`isolate.case.chain.seal`, read by :func:`parse`."""

    case: str
    """The case's id: letters, digits, dot, dash and underscore, at most 80, so that it can name a file."""
    seq: int
    """1 for the first event of a case, then one more each time."""
    kind: str
    """One of :data:`KINDS`."""
    time: str
    """RFC 3339, UTC, milliseconds, `Z`: 2030-01-31T23:59:59.000Z."""
    body: dict[str, Any] = field(hash=False)
    """A JSON object; what it holds depends on the kind. Its keys come sorted: what has an order goes in a list."""
    prev: str
    """Hash of the event before, :data:`ZERO` for the first."""
    hash: str
    """Hex SHA-256 over the canonical JSON of all the above."""


# -- time ----------------------------------------------------------------------------------------


def now_text(moment: datetime) -> str:
    """An aware datetime as RFC 3339 text in UTC with milliseconds (cut, not rounded) and `Z`.

    Raises ValueError for a datetime without a time zone: its meaning would depend on the machine.
    """
    if moment.utcoffset() is None:
        raise ValueError("a time without a time zone cannot be put on the trail")
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(timespec="milliseconds") + "Z"


def parse_time(text: str) -> datetime:
    """Any RFC 3339 date-time as an aware datetime in UTC, microseconds at the finest.

    A leap second (23:59:60 UTC) is read as the second after it. Raises EventError.
    """
    found = _TIME.fullmatch(text)
    if found is None:
        raise EventError(f"{text!r} is not an RFC 3339 time such as 2030-01-31T23:59:59.000Z")
    year, month, day, hour, minute, second = (int(part) for part in found.groups()[:6])
    fraction, sign, off_hours, off_minutes = found.groups()[6:]
    leap = second == 60
    try:
        moment = datetime(year, month, day, hour, minute, 59 if leap else second, tzinfo=UTC)
        moment += timedelta(seconds=int(leap), microseconds=int(((fraction or "") + "000000")[:6]))
        if sign:
            offset = timedelta(hours=int(off_hours), minutes=int(off_minutes))
            moment += -offset if sign == "+" else offset
    except (ValueError, OverflowError) as error:
        raise EventError(f"{text!r} is not a time that exists ({error})") from None
    if leap and (moment.hour, moment.minute, moment.second) != (0, 0, 0):
        raise EventError(f"{text!r} is not a time that exists (a leap second falls at 23:59:60 UTC)")
    return moment


def is_event_time(text: object) -> bool:
    """True for exactly the form that the trail is written in: UTC, milliseconds, `Z`."""
    try:
        return isinstance(text, str) and now_text(parse_time(text)) == text
    except EventError:
        return False


# -- JSON ----------------------------------------------------------------------------------------


def canonical(value: Any) -> bytes:
    """Canonical JSON (RFC 8785) as UTF-8. Raises EventError for what JSON cannot hold."""
    try:
        return rfc8785.dumps(value)
    except (ValueError, RecursionError) as error:
        raise EventError(f"cannot be written as canonical JSON: {error}") from None


def read_json(text: str) -> Any:
    """JSON, read strictly: no NaN or infinity, no key twice. Raises EventError.

    Whole numbers past :data:`SAFE_INTEGER` become floats, as they are in every reader RFC 8785 has in mind.
    """
    try:
        return json.loads(text, object_pairs_hook=_pairs, parse_constant=_constant, parse_int=_whole)
    except json.JSONDecodeError as error:
        raise EventError(f"not JSON: {error.msg} (column {error.colno})") from None
    except RecursionError:
        raise EventError("not JSON that can be read: nested too deeply") from None


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        raise EventError(f"the key {next(key for key in keys if keys.count(key) > 1)!r} is given twice")
    return found


def _constant(text: str) -> Any:
    raise EventError(f"{text} is not a JSON number")


def _whole(text: str) -> int | float:
    number = float(text)
    return int(text) if abs(number) <= SAFE_INTEGER else number


def plain(value: object, path: str = "body", depth: int = 0) -> Any:
    """A copy of a JSON value just as it will be read back from its canonical form: keys sorted, 4.0 as 4.

    Raises EventError, which names the place within `path`, for anything that JSON does not hold exactly.
    """
    if depth > DEPTH:
        raise EventError(f"{path} is nested too deeply (more than {DEPTH} levels)")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(str.__str__(value), path)
    if isinstance(value, int):
        if abs(value) > SAFE_INTEGER:
            raise EventError(f"{path} is too large a whole number for JSON")
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise EventError(f"{path} is not a finite number")
        return int(value) if value.is_integer() and abs(value) <= SAFE_INTEGER else float(value)
    if isinstance(value, (list, tuple)):
        return [plain(item, f"{path}[{index}]", depth + 1) for index, item in enumerate(value)]
    if isinstance(value, Mapping):
        found: dict[str, Any] = {}
        for key, item in value.items():
            if not isinstance(key, str):
                raise EventError(f"{path} has a key that is not text: {key!r}")
            key = _text(str.__str__(key), f"a key of {path}")
            found[key] = plain(item, f"{path}.{key}", depth + 1)
        return {key: found[key] for key in sorted(found, key=lambda key: key.encode("utf-16be"))}
    raise EventError(f"{path} is a {type(value).__name__}, which JSON does not hold")


def _text(text: str, path: str) -> str:
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        raise EventError(f"{path} is not whole Unicode text (half of a surrogate pair)")
    return text


# -- events --------------------------------------------------------------------------------------


def to_object(event: Event) -> dict[str, Any]:
    """The event as a JSON object, its hash included."""
    return {key: getattr(event, key) for key in _KEYS}


def to_line(event: Event) -> bytes:
    """The event as one line of canonical JSON, without the line end. Raises EventError."""
    return canonical(to_object(event))


def parse(thing: object) -> Event:
    """An event from a JSON object, every key and type checked; whether the hash is right is for the chain to say.

    Raises EventError: not an object, keys missing or unknown, wrong types, unknown kind, bad time or hash.
    """
    if not isinstance(thing, dict):
        raise EventError("an event is a JSON object")
    if missing := [key for key in _KEYS if key not in thing]:
        raise EventError(f"the event lacks {', '.join(missing)}")
    if extra := sorted(str(key) for key in thing if key not in _KEYS):
        raise EventError(f"the event has unknown keys: {', '.join(extra)}")
    case, seq, kind, time, body, prev, own = (thing[key] for key in _KEYS)
    if not isinstance(own, str) or not _HASH.fullmatch(own):
        raise EventError("hash is not 64 lower-case hexadecimal digits")
    return Event(*checked(case, seq, kind, time, body, prev), hash=own)


def checked(
    case: object, seq: object, kind: object, time: object, body: object, prev: object
) -> tuple[str, int, str, str, dict[str, Any], str]:
    """The six sealed parts of an event, checked, the body copied. Raises EventError."""
    if not isinstance(case, str) or not _CASE.fullmatch(case):
        raise EventError(
            f"case is {case!r}: letters, digits, dots, dashes and underscores, 80 at most, are a case's id"
        )
    if isinstance(seq, bool) or not isinstance(seq, int) or not 1 <= seq <= SAFE_INTEGER:
        raise EventError(f"seq is {seq!r}: a whole number from 1 is needed")
    if not isinstance(kind, str) or kind not in KINDS:
        raise EventError(f"unknown kind {kind!r}; the kinds are {', '.join(KINDS)}")
    if not isinstance(time, str) or not is_event_time(time):
        raise EventError(f"time is {time!r}: RFC 3339 in UTC with milliseconds is needed, 2030-01-31T23:59:59.000Z")
    if not isinstance(body, Mapping):
        raise EventError(f"body is a {type(body).__name__}: a JSON object is needed")
    if not isinstance(prev, str) or not _HASH.fullmatch(prev):
        raise EventError("prev is not 64 lower-case hexadecimal digits")
    return case, seq, kind, time, plain(body), prev


def from_line(line: bytes) -> Event:
    """An event from one line of a case file, without its line end.

    Raises EventError: not UTF-8, not JSON, no event, or not in canonical form, which means that it was edited.
    """
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as error:
        raise EventError(f"not UTF-8 text (byte {error.start + 1} of the line)") from None
    event = parse(read_json(text))
    if to_line(event) != line:
        raise EventError("not in the canonical form a case is written in, so it was edited after it was written")
    return event

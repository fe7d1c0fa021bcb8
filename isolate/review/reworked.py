"""A reading of a trail worked out anew from what was typed: does it come to what the trail has?

A reading that came from a file cannot be: the trail has the file's name and seal, and not the file. A calculation may
change with the program, so where another version opened the case, a difference is told and is none of the trail's.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from isolate.case.events import Event
from isolate.case.measured import CANNOT_TELL, body, odd, take
from isolate.case.version import VERSION
from isolate.kb.model import Reads
from isolate.kb.shown import plain

CLOSE = 1e-4
"""Share of a figure that the last of its digits on the trail, or another build of a library, may make."""
OF_WIDTH = 0.02
"""Share of the width of an interval that its ends may lie apart: they are drawn."""
MOST = 300
"""So many readings of a trail are worked anew; a case has some dozens."""
_NAMED = 4
"""So many numbers of events are named in a remark."""


class Reworked(NamedTuple):
    """``differs``: sentences on readings that do not follow from what was typed. ``notes``: what else is to be said."""

    differs: tuple[str, ...]
    notes: tuple[str, ...]


def reworked(events: Sequence[Event]) -> Reworked:
    """Work the readings of a trail anew. Nothing is raised for whatever they hold, and no file is opened."""
    differs, otherwise = list[str](), list[str]()
    same, of_files, worded, left = 0, list[int](), list[int](), 0
    program = str(events[0].body.get("program", "")) if events else ""
    for event in events:
        if event.kind not in ("answered", "noted") or "reading" not in event.body:
            continue
        reading = event.body["reading"]
        if odd(reading):
            # That has been told already, where it was given again.
            continue
        if why := _out_of_order(reading):
            differs.append(_of(event, why))
        elif _from_file(reading):
            of_files.append(event.seq)
        elif same + len(worded) + len(otherwise) >= MOST:
            left += 1
        elif why := _anew(reading):
            otherwise.append(_of(event, why))
        elif _worded(reading):
            worded.append(event.seq)
        else:
            same += 1
    notes = [f"Worked out anew from what was typed, and the same: {_count(same)}."] if same else []
    if otherwise and program not in ("", VERSION):
        notes.append(
            f"Version {plain(program)[:20]} of this program opened the case, and this is {VERSION}: a calculation may "
            f"have changed since. {_count(len(otherwise))} would come out otherwise now. {' '.join(otherwise[:_NAMED])}"
        )
    else:
        differs += otherwise
    if of_files:
        notes.append(f"Read from files that are not on the trail, so taken as they stand: {_events(of_files)}.")
    if worded:
        notes.append(f"Worded otherwise than this version words it, with the same figures: {_events(worded)}.")
    if left:
        notes.append(f"After {MOST} readings the other {left} were not worked anew.")
    return Reworked(tuple(differs), tuple(notes))


def _of(event: Event, why: str) -> str:
    return f"Event {event.seq} ({event.kind}): {plain(why).rstrip('.')}."


def _count(number: int) -> str:
    return f"{number} reading{'s' * (number != 1)}"


def _events(seqs: Sequence[int]) -> str:
    more, many = len(seqs) - _NAMED, "s" * (len(seqs) > 1)
    named = ", ".join(str(seq) for seq in seqs[:_NAMED])
    return f"the reading{many} of event{many} {named}" + (f" and {more} more" if more > 0 else "")


def _from_file(reading: Mapping[str, Any]) -> bool:
    """Return whether it came from a file, or names one: what a trail names is never opened."""
    from isolate.calc import calculation

    given = reading["given"]
    return bool(reading["files"]) or any(
        i.kind == "file" and i.name in given for i in calculation(reading["calc"]).inputs
    )


def _out_of_order(reading: Mapping[str, Any]) -> str:
    """Return what no calculation gives, whatever went into it; empty where there is nothing."""
    from isolate.calc import calculation

    judges = calculation(reading["calc"]).judges.get(reading["judge"], {})
    if reading["verdict"] not in ("", CANNOT_TELL, *judges):
        return f"its reading comes to {_short(reading['verdict'])}, which calc {reading['calc']} never does"
    if reading["words"] in judges.values() and reading["words"] != judges.get(reading["verdict"]):
        return f"its reading comes to {_short(reading['verdict'])} and is worded {_short(reading['words'])}"
    for one in reading["figures"]:
        ends = [one[name] for name in ("low", "value", "high") if one[name] is not None]
        if ends != sorted(ends):
            return f"its reading has {_short(one['says'])} outside its own interval"
    return ""


def _again(reading: Mapping[str, Any]) -> dict[str, Any]:
    # The names were looked at; of what a trail says no model is made that could refuse it in other words.
    reads = Reads.model_construct(calc=reading["calc"], judge=reading["judge"])
    return body(take(reads, reading["given"], reading["reference"]))


def _anew(reading: Mapping[str, Any]) -> str:
    """Return what comes out otherwise; empty where nothing does."""
    try:
        again = _again(reading)
    except Exception as error:
        # It was sealed anew by somebody, who may have put in anything.
        return f"its reading cannot be worked out from what was typed: {str(error)[:200]}"
    if again["verdict"] != reading["verdict"]:
        had, now = _short(reading["verdict"]), _short(again["verdict"])
        return f"its reading comes to {had} there; worked out from what was typed, to {now}"
    for what, key in (("understood", "understood"), ("its limit", "limits")):
        if (told := [said for _, said in reading[key]]) != (anew := [said for _, said in again[key]]):
            typed = _short("; ".join(anew))
            return f"its reading has {_short('; '.join(told))} as {what}; from what was typed it is {typed}"
    figures = {one["name"]: one for one in again["figures"]}
    for one in reading["figures"]:
        other, says = figures.get(one["name"]), _short(one["says"])
        if other is None:
            return f"its reading has a figure, {says}, that does not come out of it"
        if one["unit"] != other["unit"]:
            return f"its reading has {says} in {_short(one['unit'])}, not in {other['unit']}"
        width = abs(other["high"] - other["low"]) if None not in (other["high"], other["low"]) else 0.0
        for end in ("value", "low", "high"):
            if not _alike(one[end], other[end], width):
                had = f"{one[end]} {other['unit']}"
                return f"its reading has {says} with {end} {had}; worked out from what was typed, {other[end]}"
    had_names = {one["name"] for one in reading["figures"]}
    lacking = next((one["says"] for name, one in figures.items() if name not in had_names), "")
    return f"its reading lacks a figure that comes out of it, {_short(lacking)}" if lacking else ""


def _alike(one: float | None, other: float | None, width: float) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= CLOSE * max(abs(one), abs(other)) + OF_WIDTH * width


def _worded(reading: Mapping[str, Any]) -> bool:
    """Return whether it is worded otherwise than it would be now; figures in the words are left out."""
    again = _again(reading)
    return any(_bare(reading[key]) != _bare(again[key]) for key in ("words", "why", "lines", "figures", "limits"))


def _bare(said: Any) -> Any:
    """Return texts without their figures, which are compared by themselves and rounded as they come."""
    if isinstance(said, str):
        return re.sub(r"\d[\d.,]*", "#", said)
    if isinstance(said, Mapping):
        return _bare(said["says"])
    return [_bare(part) for part in said]


def _short(said: str) -> str:
    shown = plain(said)
    return repr(shown if len(shown) <= 60 else f"{shown[:56]} ...")

"""Whether a trail can be trusted: whole, worked out anew and found the same, signed by whom; in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from isolate.case.chain import back_in_time
from isolate.case.events import Event
from isolate.kb.shown import plain
from isolate.review.drilled import NOT_CHECKED, is_drill
from isolate.review.kept_files import Files
from isolate.review.shapes import Signature, Trust
from isolate.review.versions import Kits

MOST = 6
"""So many sentences of one kind are said in short; the rest is counted."""
State = Literal["unsigned", "signed", "signed, then written to", "signed by an unknown key", "wrongly signed"]


def trust(
    kits: Kits,
    events: Sequence[Event],
    faults: Iterable[object] = (),
    people: Mapping[str, str] | None = None,
    replay: bool = True,
    notes: Iterable[str] = (),
    more: int = 0,
    files: Files | None = None,
) -> Trust:
    """Return what may be said of a trail.

    ``kits``: as :class:`isolate.review.versions.Versions`. ``faults``: where its chain is broken, as the store or the
    reading of its file found it; each is told as its text, the first ones in full. ``people``: as
    :func:`isolate.review.keys.people` gives them. ``notes``: what else is to be said of how it came here. ``more``:
    breaks besides ``faults``. ``files``: where files that readings came from may be. Nothing is raised for whatever
    the events hold, KnowledgeError where ``kits`` was given knowledge that cannot be read.
    """
    from isolate.review.keys import signatures
    from isolate.review.replay import Replayed, replayed

    faults = list(faults)
    broken = tuple(plain(fault) for fault in faults)
    again = Replayed(0, (), "not asked for", ())
    if replay:
        again = Replayed(0, (), "its chain is broken", ()) if broken else replayed(kits, events, files)
    found = signatures(events, people or {})
    word, about = _signed(events, found, bool(broken))
    whole = not broken
    said = [f"Whole: {len(events)} events, each sealed to the one before." if whole else "NOT WHOLE."]
    said += _some(broken, "break", more)
    if broken:
        said.append(whole_up_to(_sound(events, faults)))
    said += map(plain, notes)
    if is_drill(events):
        said.append(f"It is {NOT_CHECKED}.")
    if whole and is_open(events):
        said.append(
            f"It is open; a cut at its end cannot be seen from it. Last hash {events[-1].hash[:16]}: compare it with "
            "what was noted of it elsewhere."
        )
    said += [back] if (back := back_in_time(events)) else []
    if again.not_replayed:
        said.append(f"Not replayed: {again.not_replayed}.")
    elif again.differs:
        count = len(again.differs)
        said.append(f"REPLAYED, AND NOT THE SAME: {count} difference{'s' if count > 1 else ''} from what would follow.")
        said += _some(again.differs, "difference")
    else:
        said.append(f"Replayed: {again.events} events worked out anew from its knowledge, all the same.")
    said += again.notes
    said += about
    return Trust(whole, broken, again.events, again.differs, again.not_replayed, word, found, tuple(said))


def trouble(found: Trust) -> bool:
    """Return whether something is wrong; a trail that is not signed, or whose knowledge is not here, is not wrong."""
    return not found.whole or bool(found.differs) or found.signed == "wrongly signed"


def is_open(events: Sequence[Event]) -> bool:
    """Return whether a case was not ended, or was taken up again since."""
    last = next((e.kind for e in reversed(events) if e.kind in ("closed", "handed-over", "resumed")), "")
    return bool(events) and last in ("", "resumed")


def whole_up_to(count: int) -> str:
    """Return in words that so many events from the first one are whole."""
    return {0: "Nothing of it is whole before that.", 1: "Event 1 is whole."}.get(
        count, f"Events 1 to {count} are whole."
    )


def _sound(events: Sequence[Event], faults: Sequence[object]) -> int:
    """Return how many events from the first one stand before the first break."""
    first = min((seq for f in faults if (seq := int(getattr(f, "seq", 0)))), default=1)
    count = 0
    for event in events:
        if event.seq != count + 1 or event.seq >= first:
            break
        count += 1
    return count


def _some(lines: Sequence[str], what: str, others: int = 0) -> list[str]:
    more = len(lines) - MOST + others
    return [*lines[:MOST], *([f"... and {more:,} more {what}{'s' if more > 1 else ''}."] if more > 0 else [])]


def _signed(events: Sequence[Event], found: Sequence[Signature], broken: bool) -> tuple[State, list[str]]:
    """Return the one word for all signatures, and what is said of them."""
    said = [one.said for one in found]
    if not found:
        return "unsigned", ["Unsigned: nobody put a name under it."]
    good = [one for one in found if one.state == "good"]
    if len(good) < len(found) and any(one.state in ("wrong", "other name") for one in found):
        return "wrongly signed", said
    upto = max(one.upto for one in good or found)
    after = [event for event in events if event.seq > upto and event.kind != "signed"]
    if after:
        kinds = ", ".join(dict.fromkeys(event.kind for event in after))
        first, last = after[0].seq, after[-1].seq
        which = f"event {first}" if first == last else f"events {first} to {last}"
        said.append(f"Written to after it was signed: {which} ({kinds}); no signature covers that.")
    closed = any(event.kind == "closed" and event.seq <= upto for event in events)
    if not closed:
        said.append("It was signed while the case was open.")
    if broken:
        said.append("What was signed is only proven as far as the chain holds.")
    if not good:
        return "signed by an unknown key", said
    return ("signed, then written to" if after else "signed"), said

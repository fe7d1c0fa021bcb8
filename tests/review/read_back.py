"""Kept trails read back once for many tests, and trails made from them with something changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from typing import Any

from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.review.review import review
from isolate.review.shapes import Review
from tests.worked import kit_of, trail

NAMES = ("worn-plug", "hot-exciter", "came-back", "wet-lead", "turboprop", "declined", "taken-back")
kits = cache(kit_of)


@cache
def read_back(name: str) -> Review:
    """Return the review of a kept trail without what takes long."""
    return of(trail(name))


def of(events: Sequence[Event], kit: Callable[[str], Kit] | None = kits) -> Review:
    """Return a review without what takes long."""
    return review(kit, events, without=["firm", "not asked", "record"])


def sealed(items: Iterable[tuple[str, str, Mapping[str, Any]]], case: str = "230-1-0214-a004") -> tuple[Event, ...]:
    """Return events, (kind, time, body) each, sealed anew."""
    log = Memory()
    for kind, time, body in items:
        log.append_all(case, [(kind, body)], time)
    return log.events(case)


def resealed(events: Sequence[Event], seq: int, changed: Mapping[str, Any]) -> tuple[Event, ...]:
    """Return a trail with the body of one event changed and all of it sealed anew; a field of None goes."""
    items = []
    for event in events:
        body = {**event.body, **changed} if event.seq == seq else event.body
        items.append((event.kind, event.time, {k: v for k, v in body.items() if v is not None or k not in changed}))
    return sealed(items, events[0].case)


def more(events: Sequence[Event], *items: tuple[str, Mapping[str, Any]], time: str = "") -> tuple[Event, ...]:
    """Return a trail with events after its last."""
    log = Memory(events)
    for kind, body in items:
        log.append_all(events[0].case, [(kind, body)], time or events[-1].time)
    return log.events(events[0].case)

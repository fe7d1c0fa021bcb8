"""A log that lasts as long as the process: drills, questions put to a case file, tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from isolate.case.chain import seal
from isolate.case.events import ZERO, Event


class Memory:
    """Events kept in memory, chained like any others."""

    def __init__(self, events: Iterable[Event] = ()) -> None:
        self._cases: dict[str, list[Event]] = {}
        for event in events:
            self._cases.setdefault(event.case, []).append(event)

    def append_all(
        self, case: str, items: Sequence[tuple[str, Mapping[str, Any]]], time: str, *, after: str | None = None
    ) -> tuple[Event, ...]:
        """Append the items; ``after`` needs no guard here, since nobody else can write."""
        events = self._cases.setdefault(case, [])
        new = []
        for kind, body in items:
            event = seal(case, len(events) + 1, kind, time, body, events[-1].hash if events else ZERO)
            events.append(event)
            new.append(event)
        return tuple(new)

    def events(self, case: str) -> tuple[Event, ...]:
        return tuple(self._cases.get(case, ()))

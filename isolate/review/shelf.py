"""The cases in brief of a store, and the few that cannot be read, each with a sentence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from isolate.case.brief import Brief, brief
from isolate.case.events import Event, parse_time
from isolate.case.inherit import Shelf
from isolate.review.parts import folded, touched, words_of

if TYPE_CHECKING:
    from isolate.reasoning.starts import Start

MOST_NOTES = 10
"""Cases that cannot be read that are named one by one."""


class Briefs:
    """Cases in brief, from a shelf. ``notes``: sentences on those that could not be read, filled as they are met."""

    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        self.notes: list[str] = []
        self._forked: frozenset[str] | None = None

    def events(self, case: str) -> Sequence[Event]:
        """Return the trail of a case. Raises StoreError."""
        return self.shelf.events(case)

    def about(self, aircraft: str = "", engine: str = "", part: str = "") -> Iterator[Brief]:
        """Yield every case that may have to do with an aircraft, an engine type or a part; all where none is named.

        A part leads to the engines that it was on, and all cases of those; an aircraft to the parts that it had, and
        the cases that speak of these. Raises StoreError.
        """
        find: Callable[..., Iterable[Brief]] | None = getattr(self.shelf, "briefs", None)
        notes: Callable[[], Sequence[tuple[str, str]]] | None = getattr(self.shelf, "notes", None)
        if find is None or notes is None:
            yield from self._one_by_one()
            return
        found: dict[str, Brief] = {}

        def more(**wanted: str) -> list[Brief]:
            new = [b for b in find(**wanted) if b.case not in found]
            found.update((b.case, b) for b in new)
            return new

        if part:
            # What somebody wrote as S/N K207 is kept with these letters.
            mine = [*more(part=part), *more(part=f"SN{part}")]
            places = {(b.aircraft, b.position) for b in mine}
            for swap in (swap for b in mine for swap in b.swaps):
                words = words_of(str(swap.get("where") or ""))
                places |= set(pairwise(words))
            for one, position in sorted(places):
                more(aircraft=one, position=position)
        elif aircraft.strip():
            serials = {t.part.serial for b in more(aircraft=aircraft) for t in touched(b, {})}
            for serial in sorted(serials):
                more(part=serial)
        else:
            more(**({"engine": engine} if engine.strip() else {}))
        unread = [f"Case {case} cannot be read: {why.rstrip('.')}." for case, why in notes()]
        self.notes += unread[:MOST_NOTES]
        if len(unread) > MOST_NOTES:
            self.notes.append(f"{len(unread) - MOST_NOTES} more cases cannot be read.")
        yield from found.values()

    def serials(self, number: str) -> list[str]:
        """Return the serial numbers of the parts that have a part number, as they were written. Raises StoreError."""
        find: Callable[..., Iterable[Brief]] | None = getattr(self.shelf, "briefs", None)
        found: dict[str, str] = {}
        for one in find(number) if find is not None and number.strip() else ():
            for part in (done.part for done in one.repairs):
                for how in ("off", "on"):
                    serial = str(part.get(f"sn-{how}") or "").strip()
                    if folded(part.get(f"pn-{how}")) == folded(number) and folded(serial):
                        found.setdefault(folded(serial), serial)
        return sorted(found.values())

    def other_ends(self, case: str) -> tuple[str, ...]:
        """Return a sentence for each other end of a case that forked; none where the shelf knows of no forks.

        Raises StoreError.
        """
        if self._forked is None:
            forks: Callable[[], Sequence[str]] | None = getattr(self.shelf, "forks", None)
            self._forked = frozenset(forks() if forks is not None else ())
        if case not in self._forked:
            return ()
        heads = self.shelf.heads(case)  # type: ignore[attr-defined]
        shown = self.shelf.events(case)[-1].hash
        here = next((head for head in heads if head.head == shown), heads[0])
        return tuple(
            f"Case {case} was gone on with elsewhere and has another end, {head.name}: {head.events} events, parting "
            f"at event {head.parts}. Shown here is {here.name}; isolate review {head.name} reads the other."
            for head in heads
            if head is not here
        )

    def _one_by_one(self) -> Iterator[Brief]:
        """Yield every case of a shelf that keeps no briefs."""
        for summary in self.shelf.cases():
            try:
                found = brief(self.shelf.events(summary.id))
                parse_time(found.opened)
            except Exception as error:
                # A case that came from elsewhere may hold anything; the others are shown all the same.
                why = str(error).rstrip(".") or type(error).__name__
                self.notes.append(f"Case {summary.id} cannot be read: {why}.")
                continue
            yield found

    def dated(self, earlier: Brief, later: Brief) -> float | None:
        """Return the engine's starts between the end of a case and the opening of the next, from those told there.

        Only where the starts told are dated, reach back to the end of the earlier case and have no gap since; those of
        the day on which it ended are not counted, for the work on it had starts of its own.
        """
        from isolate.case.case import fold

        try:
            intake = fold(self.shelf.events(later.case)).intake
        except Exception:
            return None
        return None if intake is None else counted(intake.starts, earlier.closed or earlier.last)


def counted(starts: Sequence[Start], since: str) -> float | None:
    """Return how many dated starts came after the day of ``since`` (RFC 3339); None where they do not reach back."""
    days = [_day(start.at) for start in starts]
    if not days or None in days or since[:10] < min(filter(None, days)):
        return None
    after = [start for start, day in zip(starts, days, strict=True) if day is not None and day > since[:10]]
    return None if any(start.gap for start in after) else float(len(after))


def _day(at: str) -> str | None:
    try:
        return date.fromisoformat(at[:10]).isoformat()
    except ValueError:
        return None

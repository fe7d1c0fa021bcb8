"""Defects that came back: cases on one engine that belong together, and what was done each time."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from isolate.case.case import CaseState, fold
from isolate.case.events import parse_time
from isolate.case.inherit import MOST_DAYS, Shelf
from isolate.case.intake import Refused

MOST_ASKED = 36_500.0
"""Days, the longest that may be asked for."""


@dataclass(frozen=True)
class Visit:
    """One case of a defect. ``days``: since the one before ended, None for the first. Times are RFC 3339.

    ``open_before``: the one before was never ended, so that the defect did not come back but was opened once more.
    """

    case: str
    opened: str
    closed: str
    end: str
    complaint: str
    channel: str
    days: float | None
    open_before: bool
    repairs: tuple[str, ...]
    findings: tuple[str, ...]


@dataclass(frozen=True)
class Repeat:
    """A defect that came back. ``again``: repairs done in more than one of its cases."""

    aircraft: str
    position: str
    engine: str
    visits: tuple[Visit, ...]
    again: tuple[str, ...]

    @property
    def times(self) -> int:
        """How often it came back: how many of its cases were opened with the one before ended."""
        return sum(visit.days is not None and not visit.open_before for visit in self.visits)

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {**asdict(self), "times": self.times}


@dataclass(frozen=True)
class Repeats:
    """All that came back, the last one first, and sentences on cases that could not be read."""

    found: tuple[Repeat, ...]
    notes: tuple[str, ...]


def repeats(shelf: Shelf, within: float = MOST_DAYS, aircraft: str = "") -> Repeats:
    """Return the defects that came back within so many days of the end of the case before.

    Two cases on the same aircraft, position and engine type belong together where the complaint and its channel are
    the same, or where the same repair was done in both, whatever it was called the second time. ``aircraft``: this one
    only. Raises Refused for a number of days that is none, StoreError where the shelf cannot be read.
    """
    if not (isfinite(within) and 0 < within <= MOST_ASKED):
        raise Refused(f"days are a number above 0 and no more than {MOST_ASKED:.0f}, not {within:g}")
    engines: dict[tuple[str, ...], list[CaseState]] = {}
    notes = []
    for summary in shelf.cases():
        key = tuple(t.strip().casefold() for t in (summary.aircraft, summary.position, summary.engine))
        if aircraft.strip() and key[0] != aircraft.strip().casefold():
            continue
        try:
            state = fold(shelf.events(summary.id))
            if state.intake is None:
                raise ValueError("it does not begin with its opening")
            parse_time(state.opened)
            if state.drill:
                continue
        except Exception as error:
            # A case that came from elsewhere may hold anything; the others are shown all the same.
            notes.append(f"Case {summary.id} cannot be read: {str(error).rstrip('.') or type(error).__name__}.")
            continue
        engines.setdefault(key, []).append(state)
    found = [repeat for states in engines.values() for repeat in _of_engine(states, within)]
    found.sort(key=lambda r: (r.visits[-1].opened, r.aircraft, r.position), reverse=True)
    return Repeats(tuple(found), tuple(notes))


def _of_engine(states: list[CaseState], within: float) -> list[Repeat]:
    states.sort(key=lambda s: (s.opened, s.id))
    chains: list[list[CaseState]] = []
    for state in states:
        # The chain that it continues; where there are several, the one that ended last.
        mine = [c for c in chains if any(_alike(old, state) and 0 <= _between(old, state) <= within for old in c)]
        if mine:
            max(mine, key=lambda c: _closed(c[-1])).append(state)
        else:
            chains.append([state])
    return [_repeat(chain) for chain in chains if len(chain) > 1]


def _alike(one: CaseState, other: CaseState) -> bool:
    a, b = one.intake, other.intake
    assert a is not None and b is not None
    return (a.complaint, a.channel) == (b.complaint, b.channel) or bool(set(one.repairs) & set(other.repairs))


def _closed(state: CaseState) -> str:
    """Return when a case ended; for an open one, when something was last written to it."""
    return next((e.time for e in reversed(state.events) if e.kind == "closed"), state.last)


def _between(one: CaseState, other: CaseState) -> float:
    """Return the days from the end of one case to the opening of the next; 0 where that was opened before the end."""
    return max(0.0, (parse_time(other.opened) - parse_time(_closed(one))).total_seconds() / 86_400)


def _repeat(chain: list[CaseState]) -> Repeat:
    visits = []
    before: CaseState | None = None
    for state in chain:
        intake = state.intake
        assert intake is not None
        visits.append(
            Visit(
                case=state.id,
                opened=state.opened,
                closed=_closed(state) if state.ended else "",
                end=state.ended,
                complaint=intake.complaint,
                channel=intake.channel,
                days=None if before is None else round(_between(before, state), 2),
                open_before=before is not None and not before.ended,
                repairs=tuple(state.repairs),
                findings=tuple(f"{f['repair']}: {f['finding']}" for f in state.findings),
            )
        )
        before = state
    intake = chain[-1].intake
    assert intake is not None
    done = [key for visit in visits for key in dict.fromkeys(visit.repairs)]
    again = tuple(key for key in dict.fromkeys(done) if done.count(key) > 1)
    return Repeat(intake.aircraft, intake.position, intake.engine, tuple(visits), again)

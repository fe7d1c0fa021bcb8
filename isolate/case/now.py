"""How it is at the aircraft now: the condition, how far it prevails, and which occasion this is.

All of it follows from the trail alone, so that a replay finds the same.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from isolate.case.case import RECORD, CaseState, Intake
from isolate.case.events import Event, parse_time
from isolate.kb.model import Condition
from isolate.reasoning.belief import Setting
from isolate.reasoning.heat import soak

SAYS_NOTHING_NEW = frozenset({"belief", "fired", "offered", "accepted", "noted"})
"""Events that change neither what the rules match nor what the moves are worth, nor how it is."""
LASTS = 60.0
"""Minutes that an occasion lasts: what sleeps through one test is taken to sleep through others that long."""
STEP = 0.2
"""Heat is told in steps of this, so that every minute does not make a condition of its own."""


def condition_now(intake: Intake) -> Condition:
    """Return the condition in which it is worked: as told, else that in which the defect shows."""
    return intake.now or intake.condition


def strength(intake: Intake, minutes: float) -> float:
    """Return how far the condition prevails so many minutes after the case was opened.

    Heat comes and goes with the time since shutdown, that of the opening where nothing else is told.
    """
    if condition_now(intake) != "hot":
        return 1.0
    return round(STEP * round(soak((intake.shut_down or 0.0) + minutes) / STEP), 2)


def setting(state: CaseState, starts: Collection[str] = (), at: datetime | None = None) -> Setting:
    """Return how it is at the end of the trail. ``starts``: the checks that are engine starts.

    ``at``: how it is then instead, where nothing was written for longer than an occasion lasts.

    An occasion ends when the condition or the place changes, with a start, or an hour after its first answer.
    """
    assert state.intake is not None
    intake = state.intake
    # What was only taken up or noted since does not make it another occasion, nor does it in a replay.
    now = parse_time(next((e.time for e in reversed(state.events) if e.kind not in SAYS_NOTHING_NEW), state.last))
    if at is not None and (at - now).total_seconds() > 60 * LASTS:
        now = at
    condition = condition_now(intake)
    number = 0
    for event in reversed(state.events):
        if event.kind == "told" and {"place", "now", "condition", "shut_down"} & set(event.body["changes"]):
            number = _latest(state) + 1
            break
        if _at_the_aircraft(event) and event.seq not in state.void:
            number = int(event.body.get("occasion", 0))
            first = next(
                e
                for e in state.events
                if _at_the_aircraft(e) and e.seq not in state.void and e.body.get("occasion", 0) == number
            )
            fresh = (now - parse_time(first.time)).total_seconds() <= 60 * LASTS
            if fresh and event.body["check"] not in starts:
                return Setting(condition, float(event.body.get("strength", 1.0)), number)
            number += 1
            break
    return Setting(condition, strength(intake, (now - parse_time(state.opened)).total_seconds() / 60), number)


def _at_the_aircraft(event: Event) -> bool:
    """Return whether something was answered by a look now; what a record says happened before anybody came."""
    return event.kind == "answered" and event.body.get("within") != RECORD


def _latest(state: CaseState) -> int:
    return max((int(e.body.get("occasion", 0)) for e in state.events if _at_the_aircraft(e)), default=-1)

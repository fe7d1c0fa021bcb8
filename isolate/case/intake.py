"""What is told is looked over before it is taken: an intake against the knowledge, facts against a caution's asks."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from isolate.case.case import Intake
from isolate.case.facts import authorities, tools
from isolate.kb.fit import Fitted, near
from isolate.kb.model import Ask
from isolate.reasoning.belief import BOTH, UNKNOWN


class Refused(ValueError):
    """What was said cannot be taken; nothing was written. The message says why."""


def check_intake(fitted: Fitted, intake: Intake) -> None:
    """Raise Refused where an intake names what the knowledge does not have."""
    def known(name: str, names: Collection[str], what: str) -> None:
        if name not in names:
            raise Refused(f"no {what} is called {name!r}{near(name, names)}; known: {', '.join(sorted(names))}")

    known(intake.complaint, fitted.complaints, "complaint")
    letters = (*fitted.channels, UNKNOWN, BOTH)
    if fitted.complaints[intake.complaint].asks_channel and not intake.channel:
        letters_here = ", ".join(fitted.channels)
        raise Refused(f"the complaint {intake.complaint} is about one channel: say which of {letters_here}")
    if intake.channel:
        known(intake.channel, fitted.channels, "channel")
    for start in intake.starts:
        known(start.channel, letters, "channel")
    for work in intake.done:
        known(work.key, fitted.repairs, "repair")
    for tool in intake.missing:
        known(tool, tools(fitted), "tool")
    for person in intake.people:
        for authority in person.may:
            known(authority, authorities(fitted), "authorisation")


def checked_fact(ask: Ask, value: Any) -> Any:
    """Return a fact that confirms a caution, as it is kept. Raises Refused where it is missing or out of range."""
    text = "" if value is None else str(value).strip()
    if not text:
        raise Refused(f"{ask.prompt} This has to be told before going on.")
    if ask.kind in ("minutes", "count"):
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            raise Refused(f"{ask.prompt} A number is needed, not {text!r}.") from None
        if not 0 <= number <= 10_000 or (ask.least is not None and number < ask.least):
            least = 0 if ask.least is None else ask.least
            raise Refused(f"{ask.prompt} No less than {least:g} is taken, not {text}.")
        if ask.kind == "count" and number != int(number):
            raise Refused(f"{ask.prompt} A whole number is needed, not {text!r}.")
        return int(number) if number == int(number) else number
    return text

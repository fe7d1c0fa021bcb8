"""What is told is looked over before it is taken: an intake against the knowledge, facts against a caution's asks."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from isolate.case import ages, swaps
from isolate.case.case import Intake, Seen
from isolate.case.facts import authorities, tools
from isolate.kb.fit import Fitted, near
from isolate.kb.model import Ask
from isolate.reasoning.starts import BOTH, UNKNOWN


class Refused(ValueError):
    """What was said cannot be taken; nothing was written. The message says why."""


def check_intake(fitted: Fitted, intake: Intake) -> None:
    """Raise Refused where an intake names what the knowledge does not have."""
    for _, message in faults(fitted, intake):
        raise Refused(message)


def faults(fitted: Fitted, intake: Intake) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield what an intake names that the knowledge does not have, as (path of the field, message)."""

    def unknown(name: str, names: Collection[str], what: str) -> str | None:
        if name in names:
            return None
        return f"no {what} is called {name!r}{near(name, names)}; known: {', '.join(sorted(names))}"

    letters = (*fitted.channels, UNKNOWN, BOTH)
    told: list[tuple[tuple[str | int, ...], str | None]] = [
        (("complaint",), unknown(intake.complaint, fitted.complaints, "complaint"))
    ]
    complaint = fitted.complaints.get(intake.complaint)
    if intake.channel:
        told.append((("channel",), unknown(intake.channel, fitted.channels, "channel")))
    elif complaint is not None and complaint.asks_channel:
        here = ", ".join(fitted.channels)
        told.append((("complaint",), f"the complaint {intake.complaint} is about one channel: say which of {here}"))
    for i, start in enumerate(intake.starts):
        told.append((("starts", i, "channel"), unknown(start.channel, letters, "channel")))
    for i, seen in enumerate(intake.signs):
        told += [(("signs", i, field), message) for field, message in sign_faults(fitted, seen)]
    for i, work in enumerate(intake.done):
        told.append((("done", i, "repair"), unknown(work.key, fitted.repairs, "repair")))
    for i, swap in enumerate(intake.swaps):
        told += [(("swaps", i, field), message) for field, message in swaps.faults(fitted, swap)]
    for i, tool in enumerate(intake.missing):
        told.append((("missing", i), unknown(tool, tools(fitted), "tool")))
    for i, coming in enumerate(intake.coming):
        told.append((("coming", i, "tool"), unknown(coming.tool, tools(fitted), "tool")))
    told += [(("ages", *at), message) for at, message in ages.faults(fitted, intake.ages)]
    if intake.objective == "chance" and intake.minutes_left is None:
        told.append((("objective",), "the best chance by a time needs the minutes to departure"))
    for i, person in enumerate(intake.people):
        for j, authority in enumerate(person.may):
            told.append((("people", i, "may", j), unknown(authority, authorities(fitted), "authorisation")))
    for path, message in told:
        if message is not None:
            yield path, message


def sign_faults(fitted: Fitted, seen: Seen) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a sign told, as (field, message)."""
    sign = fitted.signs.get(seen.sign)
    here = ", ".join(fitted.channels)
    if sign is None:
        # There are many; the whole row is told only where nothing is near.
        hint = near(seen.sign, fitted.signs) or f"; known: {', '.join(sorted(fitted.signs))}"
        yield "sign", f"no sign is called {seen.sign!r}{hint if fitted.signs else ''}"
    elif sign.asks_channel and not seen.channel:
        yield "sign", f"the sign {seen.sign} is about one channel: say which of {here}"
    elif seen.channel and not sign.asks_channel:
        yield "channel", f"the sign {seen.sign} is about no one channel, so {seen.channel!r} says nothing"
    elif seen.channel and seen.channel not in fitted.channels:
        yield "channel", f"no channel is called {seen.channel!r}; known: {here}"


def checked_facts(asks: Sequence[Ask], facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts as they are kept, by the ask's name. Raises Refused for one missing or out of range."""
    return {ask.name: checked_fact(ask, facts.get(ask.name)) for ask in asks}


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

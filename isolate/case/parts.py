"""The parts that came off and went on at a repair, and what the shop found in them later."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from isolate.case.case import CaseState, fold
from isolate.case.events import Event
from isolate.case.intake import Refused
from isolate.kb.fit import Fitted, instance, near, split
from isolate.kb.model import Ask
from isolate.kb.shown import plain

PART = (
    Ask(name="pn-off", prompt="Part number of the part that came off?"),
    Ask(name="sn-off", prompt="Its serial number (none, where it has none)?"),
    Ask(name="hours-off", prompt="Its hours since new (Enter: not known)?", kind="count", least=0),
    Ask(name="starts-off", prompt="Its starts since new (Enter: not known)?", kind="count", least=0),
    Ask(name="pn-on", prompt="Part number of the part that went on?"),
    Ask(name="sn-on", prompt="Its serial number (none, where it has none)?"),
)
"""What is asked of a repair that takes a part."""
FINDINGS = {
    "confirmed": "the shop found the fault in it",
    "not-confirmed": "the shop found nothing wrong with it",
    "other": "the shop found something else",
}
"""What a shop may say, in words."""
LONGEST = 60
"""Letters of a part or serial number or a reference."""
NOBODY_SAYS = "(which repair is not said)"
_NOT_KNOWN = ("", "unknown", "not known", "?", "-")


def checked_part(told: Mapping[str, Any], blanks: bool = False) -> dict[str, Any]:
    """Return what is known of the parts as it is kept: the numbers as text, hours and starts as numbers or None.

    Nothing told of it at all stays out, to be filled in by hand. ``blanks``: a number missing is None, a blank in the
    record. Raises Refused for a name that is not asked, a number missing without ``blanks``, too long or no number.
    """
    names = [ask.name for ask in PART]
    for name in told:
        if name not in names:
            raise Refused(f"nothing of a part is called {name!r}{near(str(name), names)}; known: {', '.join(names)}")
    if blanks:
        given = {name: value for name, value in told.items() if value is not None and str(value).strip()}
        found = {ask.name: checked_part_fact(ask, given[ask.name]) if ask.name in given else None for ask in PART}
        return found if given else {}
    return {ask.name: checked_part_fact(ask, told.get(ask.name)) for ask in PART} if told else {}


def checked_part_fact(ask: Ask, value: Any) -> Any:
    """Return one fact of :data:`PART` as it is kept. Raises Refused."""
    text = "" if value is None else str(value).strip()
    if ask.kind == "count":
        if text.casefold() in _NOT_KNOWN:
            return None
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            number = math.nan
        if not 0 <= number <= 10_000_000:
            raise Refused(f"{ask.prompt} A number from 0 up is needed, or unknown, not {text!r}.")
        return int(number) if number == int(number) else number
    if not text:
        raise Refused(f"{ask.prompt} This has to be told before going on.")
    if len(text) > LONGEST:
        raise Refused(f"{ask.prompt} {LONGEST} letters at most.")
    return text


def part_line(part: Mapping[str, Any], blank: str) -> str:
    """Return the line of the record on the parts of a repair; ``blank`` where something is to be filled in."""

    def told(name: str, unknown: str = blank) -> str:
        value = part.get(name)
        return unknown if value is None else str(value)

    unknown = "not known" if part else blank
    return (
        f"Part off: P/N {told('pn-off')} S/N {told('sn-off')} hours since new {told('hours-off', unknown)} "
        f"starts since new {told('starts-off', unknown)}   Part on: P/N {told('pn-on')} S/N {told('sn-on')}"
    )


def shop_modes(fitted: Fitted, repair: str) -> tuple[str, ...]:
    """Return the faults, as instances, that a shop may find in the part that a repair takes off, in the order written.

    Where the whole part comes off, any of its faults; else those of them that the repair puts right. None for a repair
    that the knowledge does not have.
    """
    from isolate.case.believed import part_states

    fit = fitted.repairs.get(repair)
    found = []
    for key in fit.clears if fit is not None and not fit.hand_over else ():
        assert fit is not None
        zone, in_it = fitted.zones[key], part_states(fitted, repair, key)
        able = in_it if fit.entry.replaces else in_it & fit.clears[key]
        found += [instance(state, zone.channel) for state in zone.states if state in able]
    return tuple(found)


def _shop_mode(fitted: Fitted | None, repair: str, finding: str, mode: str) -> str:
    """Return the fault that a shop named in a part, as an instance. Raises Refused."""
    if finding != "confirmed":
        raise Refused("the shop names a fault only where it found the fault: --finding confirmed")
    able = shop_modes(fitted, repair) if fitted is not None else ()
    if not able:
        raise Refused(f"the knowledge here has no fault that a shop could name in the part that came off at {repair}")
    meant = [one for one in able if mode in (one, split(one)[0])]
    if len(meant) == 1:
        return meant[0]
    if meant:
        raise Refused(f"which of them did the shop find? {', '.join(meant)}")
    names = [split(one)[0] for one in able]
    raise Refused(f"no fault of that part is called {mode!r}{near(mode, names)}; there are {', '.join(able)}")


def finding_event(
    events: Sequence[Event],
    repair: str | None,
    finding: str,
    text: str,
    report: str,
    mode: str = "",
    fitted: Fitted | None = None,
) -> tuple[str, dict[str, Any]]:
    """Return the event, (kind, body), that adds a shop's finding to a case that has ended.

    ``repair``: the repair's key; None where the case has one only. ``mode``: the fault that the shop named, of those
    that ``fitted`` has (:func:`shop_modes`); empty where it named none, and then it is not in the body. Raises Refused.
    """
    state = fold(events)
    if not state.ended:
        raise Refused(
            f"case {state.id} is open yet: the finding in a part that came off goes to a case that has ended"
        )
    done = list(dict.fromkeys(state.repairs))
    if not done:
        raise Refused(f"no part came off in case {state.id}: it has no repair")
    if repair is None:
        if len(done) > 1:
            raise Refused(f"which repair is it about? {', '.join(done)}")
        repair = done[0]
    if repair not in done:
        raise Refused(f"case {state.id} has no repair {repair!r}{near(repair, done)}; it has {', '.join(done)}")
    if finding not in FINDINGS:
        raise Refused(f"a finding is {' or '.join(FINDINGS)}, not {finding!r}{near(finding, FINDINGS)}")
    text, report = text.strip(), report.strip()
    if finding == "other" and not text:
        raise Refused("something else was found: say what")
    if len(report) > LONGEST:
        raise Refused(f"the report's reference is too long: {LONGEST} letters at most")
    body = {"repair": repair, "finding": finding, "text": text, "report": report}
    if mode := mode.strip():
        body["mode"] = _shop_mode(fitted, repair, finding, mode)
    return "shop-finding", body


def finding_lines(state: CaseState) -> list[str]:
    """Return what the shop found, in lines of the record; nothing is raised for whatever the trail holds."""
    lines = []
    for found in state.findings:
        repair, finding, mode, text, report = (
            plain(found.get(name) or "") for name in ("repair", "finding", "mode", "text", "report")
        )
        said = FINDINGS.get(finding, f"what the shop is said to have found ({finding[:LONGEST]}) is nothing it may say")
        more = f": {text}" if text else ""
        of = f" (report {report})" if report else ""
        named = f", {mode}" if mode else ""
        lines.append(f"  {repair or NOBODY_SAYS}, the part that came off: {said}{named}{more}{of}.")
    lines += [f"  {doubt}" for doubt in contradictions(state.findings)]
    return ["", "Found by the shop since:", *lines] if lines else []


def contradictions(findings: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return a sentence for each repair of which the shop said one thing and then another."""
    words: dict[str, dict[str, None]] = {}
    modes: dict[str, dict[str, None]] = {}
    for found in findings:
        repair, finding, mode = (plain(found.get(name) or "") for name in ("repair", "finding", "mode"))
        words.setdefault(repair, {})[finding] = None
        if finding == "confirmed" and mode:
            modes.setdefault(repair, {})[mode] = None
    said = []
    for repair, had in words.items():
        differing = list(had) if len(had) > 1 else list(modes.get(repair, ()))
        if len(differing) > 1:
            said.append(f"The shop's words on {repair} contradict each other: {', then '.join(differing)}.")
    return said

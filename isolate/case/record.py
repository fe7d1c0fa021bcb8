"""The record text of a case: what was complained of, found, done and verified, with blanks for what only people know.

It is a draft for a person to complete and sign (14 CFR 43.9 asks for a description of the work, its date, and the
signature and certificate of whoever approves it). It releases nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from isolate.case import measured, swaps, unfound
from isolate.case.ages import described
from isolate.case.deferral import record_lines
from isolate.case.events import parse_time
from isolate.case.inherit import record_lines as carried_lines
from isolate.case.inherit import tenths
from isolate.case.now import condition_now
from isolate.case.parts import part_line
from isolate.case.swaps import came_from, done_lines, where_lines
from isolate.kb.fit import worded
from isolate.kb.model import HEALTHY
from isolate.reasoning.starts import BOTH, UNKNOWN, Start

if TYPE_CHECKING:
    from isolate.case.chase import Chase

BLANK = "____"
HALF = 0.5
"""A condition that prevails less than this is not what the record says a check was made in."""
NOT_ENDED = "not ended yet"
"""The end of a case that has none."""


def record(chase: Chase, end: str) -> str:
    """Return the record text of a case that ends so."""
    intake, fitted, state = chase.intake, chase.fitted, chase.state
    lines = ["DRILL on a simulated aircraft: no record of any work."] if state.drill else []
    lines += [
        f"Aircraft {intake.aircraft}, engine {intake.position} ({fitted.profile.title}), case {chase.id}",
        f"Opened {_minute(state.opened)}, {'as it stands' if end == NOT_ENDED else 'closed'} "
        f"{_minute(chase.clock().isoformat())}; times in UTC.",
        f"Defect: {fitted.complaints[intake.complaint].title}"
        + (f", channel {intake.channel}" if intake.channel else ""),
    ]
    if intake.condition != "steady":
        # What was checked in another condition than this counts for little; whoever reads it has to see that.
        here = condition_now(intake)
        lines.append(
            f"It shows {unfound.WHEN[intake.condition]}. At the aircraft, as told last: "
            f"{'ordinary' if here == 'steady' else unfound.WHEN[here]}."
        )
    if intake.starts:
        lines.append(_starts(intake.starts))
    if intake.signs:
        lines.append("Heard or seen besides: " + "; ".join(chase.sign_title(seen) for seen in intake.signs) + ".")
    if intake.ages:
        lines.append("Ages, as told: " + "; ".join(described(fitted, age) for age in intake.ages) + ".")
    if intake.done:
        before = ", ".join(fitted.repair(w.key).title for w in intake.done)
        again = {"yes": " The same people did the same on the other engine.", "no": "", "": ""}[intake.other_engine]
        lines.append(f"Done before, as told: {before}.{again}")
    lines += carried_lines(chase.kit.model, intake)
    lines += ["", "Checked, in this order:"]
    readings = measured.behind(state.events, state.void)
    number = 0
    for item in state.evidence:
        if item.kind == "answer":
            number += 1
            check = fitted.check(item.key)
            told_so = check.functional and item.condition != "steady" and item.strength >= HALF
            lines.append(
                f"  {number}. {check.title}: {check.said(item.outcome)}{f' ({item.condition})' if told_so else ''}"
            )
            if item.seq in readings:
                lines += [f"     {line}" for line in measured.lines(readings[item.seq])]
                if why := measured.against(state.events, item.seq):
                    lines.append(f"     ANSWERED OTHERWISE THAN THE READING COMES TO, because: {why.rstrip('.')}.")
        elif item.kind == "swap":
            # What was found before it and after it was found with other parts.
            lines.append(f"     then: {swaps.happened(item.key)}")
    if not number:
        lines.append("  nothing")
    if state.unsure:
        lines.append("Could not tell: " + "; ".join(fitted.check(k).title for k in state.unsure))
        for key, seq in state.unsure.items():
            if seq in readings:
                lines.append(f"  {fitted.check(key).title}:")
                lines += [f"     {line}" for line in measured.lines(readings[seq])]
    if state.declined:
        lines.append(
            "Not done: "
            + "; ".join(f"{chase.title_of('', k) if k in fitted.repairs else _title(chase, k)} ({why})"
                        for k, (_, why) in state.declined.items())
        )
    lines += ["", "Done:"]
    done = chase.verdict()
    found = {f.repair: f for f in done if f.state != HEALTHY}
    repairs = [item for item in state.evidence if item.kind == "repair"]
    for item in repairs:
        key = item.key
        repair = fitted.repair(key)
        lines.append(f"  {worded(repair.entry.record, repair.channel)}")
        if key in found:
            lines.append(f"    For: {found[key].title} ({found[key].probability:.0%} on the evidence).")
        elif any(f.repair == key for f in done):
            lines.append("    Seen from the end, this part was probably good.")
        if came := came_from(chase, key, state.evidence.index(item)):
            lines.append(f"    {came}")
        if repair.entry.parts > 0:
            lines.append(f"    {part_line(state.parts.get(item.seq, {}), BLANK)}")
        lines.append(f"    Approved data reference and revision: {BLANK}   Tool numbers: {BLANK}")
    lines += done_lines(chase)
    if not repairs:
        lines.append("  no repair")
    lines += where_lines(chase)
    lines += ["", "Verification:"]
    verified = [e for e in state.events if e.kind == "verified" and e.seq not in state.void]
    lines += [f"  {line}" for e in verified[-1:] for line in _verification(chase, e.body)] or ["  none"]
    lines += record_lines(chase)
    named = any(f.state != HEALTHY for f in done)
    begun = end != NOT_ENDED or bool(state.answers)
    if (not named and begun) or (state.ending is not None and state.ending.key not in fitted.repairs):
        lines += unfound.lines(unfound.unfound(chase), named)
    lines += _people(chase)
    not_shut = [f"{title} ({word})" for _, title, word in chase.open_now()]
    not_shut += [f"{what} (passed on half torqued or unlocked)" for what in state.loose]
    lines += [
        "",
        f"Outcome: {end}. Probability that a fault is left, on this evidence: {tenths(chase.remaining)}.",
        "NOT CLOSED UP: " + ", ".join(not_shut)
        if not_shut
        else "Closed up: everything opened in this case is shut on the trail.",
    ]
    if state.notes:
        lines += ["", "Notes:", *(f"  {note}" for note in state.notes)]
    lines += [
        "",
        f"Work done by: {BLANK}   Certificate or authorisation: {BLANK}   Date: {BLANK}   Signature: {BLANK}",
        *([] if state.inspections else [f"Independent inspection, where called for: {BLANK}"]),
        "This text is a draft. It approves nothing: release is by authorised people under the approved data.",
    ]
    return "\n".join(lines)


def _people(chase: Chase) -> list[str]:
    """Return who inspected, what was made good, and between whom the work was passed on."""
    lines = []
    for event in chase.state.events:
        body, facts = event.body, event.body.get("facts", {})
        if event.kind == "inspected":
            lines.append(
                f"  Independent inspection of channels {' and '.join(body['channels'])}: {facts['inspected-by']}, "
                f"{facts['inspected-at']}; the work was done by {facts['worked-by']}. Signature: {BLANK}"
            )
        elif event.kind == "loose" and body["state"] != "loose":
            how = f"by {facts['made-good-by']}, {facts['reference']}" if "made-good-by" in facts else "found so"
            seen = f", seen by {facts['seen-by']}" if "seen-by" in facts else ""
            lines.append(f"  Torqued and locked after a hand-over: {body['what']}, {how}{seen}.")
        elif event.kind == "passed-on":
            lines.append(f"  Passed on from {body['by']} to {body['to']}, {_minute(event.time)}.")
    return ["", "People:", *lines] if lines else []


def _verification(chase: Chase, body: dict[str, object]) -> list[str]:
    channels = body.get("channels")
    assert isinstance(channels, dict)
    lines = [f"{'Channel ' + c if c else 'Engine'}: {result}" for c, result in sorted(channels.items())]
    outstanding = body.get("outstanding")
    if isinstance(outstanding, list) and outstanding:
        lines.append("OUTSTANDING: " + "; ".join(chase.fitted.check(str(k)).title for k in outstanding))
    return lines


def start_words(start: Start) -> str:
    """Return a start in words with all that was told of it but its date."""
    channel = {UNKNOWN: "channel not known", BOTH: "both channels"}.get(start.channel, f"channel {start.channel}")
    more: list[str] = [start.condition] if start.condition != "steady" else []
    more += [f"{start.seconds:g} s"] if start.seconds is not None else []
    more += [f"lane {start.lane}"] if start.lane else []
    how = "broken off" if start.aborted else "lit" if start.lit else "did not light"
    told = f" ({', '.join(more)})" if more else ""
    return f"{'a gap, ' if start.gap else ''}{channel} {how}{told}"


ONE_BY_ONE = 12
"""No more starts than this are written out one by one."""


def _starts(starts: Sequence[Start]) -> str:
    """Return the starts told, or how many of each where there are many."""
    if len(starts) <= ONE_BY_ONE:
        return f"Starts told, oldest first: {', '.join(map(start_words, starts))}."
    alike = Counter(start_words(replace(s, gap=False, seconds=None, lane="")) for s in starts)
    each = ", ".join(f"{count} of {what}" for what, count in sorted(alike.items()))
    dates = f", {starts[0].at} to {starts[-1].at}" if starts[0].at and starts[-1].at else ""
    return f"Starts told: {len(starts)}{dates}: {each}."


def _title(chase: Chase, key: str) -> str:
    return chase.titled(key) if key in chase.fitted.checks or "<>" in key else key


def _minute(time: str) -> str:
    return parse_time(time).strftime("%Y-%m-%d %H:%M")

"""Passing the work on to the next people: what they have to know, on the trail and as plain text for paper."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from isolate.case import measured, swaps
from isolate.case.events import now_text, parse_time
from isolate.case.facts import said
from isolate.case.intake import Refused, checked_facts
from isolate.kb.fit import split
from isolate.kb.model import Ask

if TYPE_CHECKING:
    from isolate.case.chase import Chase
    from isolate.kb.fit import FitAccess

ASKS = (
    Ask(name="by", prompt="Who hands over?", kind="person"),
    Ask(name="to", prompt="To whom?", kind="person"),
    Ask(name="loose", prompt="What is half torqued, finger tight or unlocked (commas between, or none)?"),
    Ask(name="list-by", prompt="Who keeps the list of tools, caps and blanks?", kind="person"),
    Ask(name="out", prompt="How many of them are out, by the list?", kind="count", least=0),
)
"""What is asked of whoever hands over."""
SEEN_BY = Ask(name="seen-by", prompt="Who went and saw it?", kind="person")
"""What is asked with each thing that is walked after the work was passed on."""
MADE_GOOD = (
    Ask(name="made-good-by", prompt="Who torqued and locked it?", kind="person"),
    Ask(name="reference", prompt="By which reference of your approved data, and with which tool number?"),
)
"""What is asked of a loose thing before anything is put back."""
WIDTH = 78
"""Columns of the text, so that it prints on paper as it stands."""
_NOTHING = ("none", "nothing", "no", "-")
_TOLD = ("person", "tag", "time", "count", "text")


def loose_of(text: str) -> list[str]:
    """Return the things named in a row with commas, none for ``none``."""
    if text.strip().casefold() in _NOTHING:
        return []
    return list(dict.fromkeys(part for piece in text.replace(";", ",").split(",") if (part := " ".join(piece.split()))))


def body(chase: Chase, told: Mapping[str, Any]) -> dict[str, Any]:
    """Return the body of the event that passes a case on, its text included. Raises Refused for a fact missing."""
    facts = checked_facts(ASKS, told)
    if facts["by"].casefold() == facts["to"].casefold():
        raise Refused("Whoever takes over is somebody else than whoever hands over.")
    loose = list(dict.fromkeys([*chase.state.loose, *loose_of(facts["loose"])]))
    step = chase.now()
    found: dict[str, Any] = {
        "by": facts["by"],
        "to": facts["to"],
        "list_by": facts["list-by"],
        "out": facts["out"],
        "loose": loose,
        "open": _open(chase),
        "waits": [{"title": title, "until": now_text(until)} for title, until in chase.waits_running()],
        "not": [{"what": what, "why": why} for what, why in _not_now(chase)],
        "told": _told(chase),
        "believed": [
            [chase.fitted.zones[m.zone].title_of(m.state), round(m.probability, 4)]
            for m in chase.belief.faults(0.02)[:6]
        ],
        "none": round(chase.belief.healthy(), 4),
        **({"clash": [said(chase.fitted, one) for one in chase.gap.clash]} if chase.gap.stands else {}),
        "next": step.title,
        "in_hand": chase.title_of(chase.state.move.kind, chase.state.move.key) if chase.state.move else "",
    }
    return {**found, "text": text(chase, found)}


def _open(chase: Chase) -> list[dict[str, Any]]:
    """Return what is open with what was told of it, each caution's facts at the first thing they are about."""
    said: set[str] = set()
    return [
        {
            "access": key,
            "title": (access := chase.fitted.access[key]).title,
            "word": access.entry.word,
            "known": how == "open",
            "facts": _facts_on(chase, access, said),
        }
        for key, how in chase.state.open.items()
    ]


def _facts_on(chase: Chase, access: FitAccess, said: set[str]) -> list[str]:
    """Return what people told of an access state when they confirmed its cautions: tags, who pulled, how many.

    ``said``: the cautions whose facts were given already; those given here are added.
    """
    cautions = chase.fitted.knowledge.cautions
    meant = {
        name
        for name, caution in cautions.items()
        if access.name in caution.holds_while or name in access.open.cautions
    }
    last: dict[str, list[str]] = {}
    for event in chase.state.events:
        if event.kind != "caution" or event.seq in chase.state.void:
            continue
        name, channel = split(event.body["caution"])
        if event.body["caution"] in said:
            continue
        if name in meant and channel in ("", access.channel) and event.body.get("facts"):
            kinds = {ask.name: ask.kind for ask in cautions[name].asks}
            last[event.body["caution"]] = [
                f"{fact.replace('-', ' ')}: {value}"
                for fact, value in event.body["facts"].items()
                if kinds.get(fact) in _TOLD
            ]
    said |= set(last)
    return list(dict.fromkeys(line for lines in last.values() for line in lines))


def _not_now(chase: Chase) -> list[tuple[str, str]]:
    """Return what is not to be done now, as (what, why): what the rules hold back, what was declined, what never."""
    found = [("held back by a rule", firing.says) for firing in chase.firings() if firing.kind == "gate"]
    for key, (_, reason) in chase.state.declined.items():
        found.append((chase.titled(key), f"declined: {reason}" if reason else "declined"))
    found += [(chase.titled(key), "could not tell") for key in chase.state.unsure]
    if chase.state.move is not None:
        never = getattr(chase.now(), "never", ())
        found += [("in the step in hand", line) for line in never]
    return list(dict.fromkeys(found))


def _told(chase: Chase) -> list[str]:
    """Return what was told and found, and still speaks of the aircraft as it is."""
    intake, fitted = chase.intake, chase.fitted
    about = f", channel {intake.channel}" if intake.channel else ""
    found = [f"{fitted.complaints[intake.complaint].title}{about}"]
    found += [chase.sign_title(seen) for seen in intake.signs]
    readings = _readings(chase)
    for told in chase.belief.told:
        check = fitted.check(told.check)
        line = f"{check.title}{'' if check.title.endswith('?') else ':'} {check.said(told.outcome)}"
        if reading := readings.get((told.check, told.outcome)):
            line += f" [{reading}]"
        found.append(line)
    found += [f"Done: {fitted.repair(key).title}" for key in chase.state.repairs]
    found += [line.strip() for line in (*swaps.done_lines(chase), *swaps.where_lines(chase)[2:])]
    return list(dict.fromkeys(found))


def _readings(chase: Chase) -> dict[tuple[str, str], str]:
    """Return the last reading behind each answer, in a line, by (check, outcome)."""
    events = chase.state.events
    by_seq = measured.behind(events, chase.state.void)
    return {
        (i.key, i.outcome): measured.line_of(events, i.seq, by_seq[i.seq])
        for i in chase.state.evidence
        if i.seq in by_seq
    }


def text(chase: Chase, found: Mapping[str, Any]) -> str:
    """Return what is passed on as plain text."""
    intake, fitted = chase.intake, chase.fitted
    now = parse_time(now_text(chase.clock()))
    lines = [
        f"HAND-OVER of case {chase.id}, {now:%Y-%m-%d %H:%M} UTC",
        f"Aircraft {intake.aircraft}, engine {intake.position} ({fitted.profile.title})",
        f"From {found['by']} to {found['to']}. The case stays open.",
        "",
        "OPEN, PULLED OR OFF NOW:",
    ]
    for item in found["open"]:
        known = "" if item["known"] else " - NOT WALKED, UNKNOWN"
        lines.append(f"  {item['title']}: {item['word']}{known}")
        lines += [f"      {fact}" for fact in item["facts"]]
    if not found["open"]:
        lines.append("  nothing")
    lines += ["", "HALF TORQUED, FINGER TIGHT OR UNLOCKED:"]
    lines += [f"  {what}" for what in found["loose"]] or ["  nothing, by what was told"]
    lines += ["", f"TOOLS, CAPS AND BLANKS OUT, by the list that {found['list_by']} keeps: {found['out']}"]
    lines += ["", "WAITS RUNNING:"]
    lines += [
        f"  {wait['title']}: until {parse_time(wait['until']):%H:%M:%S} UTC" for wait in found["waits"]
    ] or ["  none"]
    lines += ["", "NOT TO BE DONE, AND WHY:"]
    lines += [f"  {item['what']}: {item['why']}" for item in found["not"]] or ["  nothing is held back now"]
    lines += ["", "TOLD AND FOUND SO FAR:", *(f"  {line}" for line in found["told"])]
    if "clash" in found:
        lines += ["", "NOTHING KNOWN EXPLAINS THIS TOGETHER. These fit the others least:"]
        lines += [f"  {answer}" for answer in found["clash"]]
    lines += ["", "BELIEVED NOW:", *(f"  {title}: {share:.0%}" for title, share in found["believed"])]
    lines.append(f"  no fault at all: {found['none']:.0%}")
    lines += ["", f"NEXT: {found['next']}" + (f" (in hand: {found['in_hand']})" if found["in_hand"] else "")]
    if chase.state.notes:
        lines += ["", "NOTES:", *(f"  {note}" for note in chase.state.notes)]
    lines += [
        "",
        "Whoever takes over counts on none of this. Each item above is walked, one by one, by somebody named, before "
        "the next step; who is here, and what each may do, is told anew.",
        "Handed over by: ____   Taken over by: ____   Time: ____",
    ]
    return "\n".join(_wrapped(line) for line in lines)


def _wrapped(line: str) -> str:
    if len(line) <= WIDTH:
        return line
    margin = len(line) - len(line.lstrip())
    indent = " " * (margin + 4 if margin else 0)
    return textwrap.fill(line, WIDTH, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False)

"""An end under the operator's own deferral procedure: what it takes, and what has to stand on the trail first.

Whether the aircraft may go is the operator's to say, under that procedure; nothing here says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from isolate.case.intake import Refused, checked_facts
from isolate.kb.fit import near, split
from isolate.kb.model import Ask

if TYPE_CHECKING:
    from isolate.case.chase import Chase
    from isolate.kb.fit import FitCheck

DEFER = "deferred"
"""The end's name."""
TITLE = "Defer it under the operator's own procedure"
END = "deferred under the operator's own procedure"
ASKS = (
    Ask(name="channel", prompt="Which channel is deferred?"),
    Ask(name="reference", prompt="Which reference does your operator's deferral procedure have?"),
    Ask(
        name="kept-off",
        prompt="How is it made sure that the next start cannot select that channel by itself?",
    ),
    Ask(name="authorised-by", prompt="Who authorises it?", kind="person"),
)
"""What is asked; the channel first, since the other one has to stand proven."""


def proofs(chase: Chase, channel: str) -> list[FitCheck]:
    """Return the checks that prove a channel by itself: what verifications ask of each channel, done running."""
    names = {name for complaint in chase.fitted.complaints.values() for name in complaint.verify}
    return [
        check
        for check in chase.fitted.checks.values()
        if check.name in names and check.channel == channel and check.functional
    ]


def proven(chase: Chase, channel: str) -> list[str]:
    """Return the proofs of a channel that stand: passed since the last work. Raises Refused where none does."""
    state = chase.state
    worked = 0
    for event in state.events:
        if event.seq in state.void:
            continue
        opened = event.kind == "access" and event.body["state"] == "open" and not event.body.get("walked")
        if event.kind in ("repaired", "swapped") or (opened and split(event.body["access"])[1] == channel):
            worked = event.seq
    last: dict[str, str] = {}
    for item in state.evidence:
        if item.kind == "answer" and item.seq > worked:
            last[item.key] = item.outcome
    checks = proofs(chase, channel)
    passed = [c.key for c in checks if last.get(c.key) == c.outcomes[0]]
    failed = [c for c in checks if last.get(c.key, c.outcomes[0]) != c.outcomes[0]]
    if failed:
        said = "; ".join(f"{c.title}: {c.said(last[c.key])}" for c in failed)
        raise Refused(f"Channel {channel} is not proven: {said}. With it in doubt too there is nothing to defer to.")
    if not passed:
        how = " or ".join(f"{c.title!r}" for c in checks) or "nothing in the knowledge that proves it"
        raise Refused(
            f"Channel {channel} has not been proven alone since the last work. Do one of these first, from the list of "
            f"what else could be done: {how}."
        )
    return passed


def checked_channel(chase: Chase, told: Any) -> str:
    """Return the channel to be deferred, every other one being proven. Raises Refused."""
    channels = {c.casefold(): c for c in chase.fitted.channels}
    said = str(told or "").strip()
    channel = channels.get(said.casefold().removeprefix("channel").strip())
    if channel is None:
        known = ", ".join(chase.fitted.channels)
        raise Refused(f"No channel is called {said!r}{near(said, channels)}; which of {known} is deferred?")
    others = [c for c in chase.fitted.channels if c != channel]
    if not others:
        raise Refused("This engine has no other channel to start on.")
    for other in others:
        proven(chase, other)
    return channel


def body(chase: Chase, told: Mapping[str, Any]) -> dict[str, Any]:
    """Return the facts of a deferral as they are kept. Raises Refused for one missing or another channel unproven."""
    channel = checked_channel(chase, told.get("channel"))
    facts = checked_facts(ASKS, {**told, "channel": channel})
    return {
        **facts,
        "proven": {other: proven(chase, other) for other in chase.fitted.channels if other != channel},
    }


def record_lines(chase: Chase) -> list[str]:
    """Return the lines of the record on a deferral; none where there is none."""
    facts = chase.state.deferral
    if not facts:
        return []
    lines = [
        "",
        "Deferred:",
        f"  Channel {facts['channel']}, under the operator's procedure {facts['reference']}.",
        f"  Kept from being selected by itself at the next start: {facts['kept-off']}.",
        f"  Authorised by: {facts['authorised-by']}.",
    ]
    for other, keys in facts["proven"].items():
        lines.append(f"  Channel {other} proven alone: {'; '.join(chase.fitted.check(k).title for k in keys)}.")
    lines.append("  Whether it may go so is for the operator's procedure and its people; this text does not say it.")
    return lines

"""Checks that recorded starts answer by themselves, so that nobody is sent to work them out again."""

from __future__ import annotations

from collections.abc import Sequence

from isolate.kb.fit import Fitted
from isolate.reasoning.light_times import light_times
from isolate.reasoning.starts import Start

FEW = 4
"""Starts with their lanes told from which on failures are counted by lane: two of each lane, our judgement."""


def answers(fitted: Fitted, starts: Sequence[Start]) -> list[tuple[str, str]]:
    """Return what these starts answer besides what their results say, as (check instance, outcome): times to light."""
    found = light_times(starts, fitted.channels)
    verdicts = {channel: one.verdict for channel, one in found.items() if one.verdict}
    return [
        (check.key, check.outcomes[0 if verdicts[check.channel] == "alike" else -1])
        for check in fitted.checks.values()
        if check.entry.recorded == "light-times" and check.channel in verdicts
    ]


def counted(fitted: Fitted, starts: Sequence[Start]) -> list[tuple[str, str]]:
    """Return the checks whose answer these starts hold already, weighed start by start: the count by control lane.

    Where failures follow an igniter and a lane alike, nothing can part them and nothing is answered.
    """
    told = [s for s in starts if s.lane and not s.aborted]
    lanes = [s.lane for s in told]
    if len(told) < FEW or len(set(lanes)) < 2 or all(s.lit for s in told):
        return []
    lane = one_fails(told, lanes, sorted(set(lanes)))
    channel = one_fails(told, [s.channel for s in told], fitted.channels)
    if lane and channel:
        return []
    return [
        (check.key, check.outcomes[-1 if lane else 0])
        for check in fitted.checks.values()
        if check.entry.recorded == "lanes"
    ]


def one_fails(tried: Sequence[Start], used: Sequence[str], names: Sequence[str]) -> str:
    """Return the one of these names that has failed since the first failure while all the others lit; else nothing.

    ``used``: what each start used, channel or lane.
    """
    begun = next((i for i, s in enumerate(tried) if not s.lit), len(tried))
    known = [n for n in names if n in used]
    dark = {n for n, s in zip(used[begun:], tried[begun:], strict=True) if not s.lit}
    lit = {n for n, s in zip(used[begun:], tried[begun:], strict=True) if s.lit}
    failing = [n for n in known if n in dark and n not in lit]
    others = [n for n in known if n not in failing]
    well = [n for n in others if n not in dark and any(s.lit for u, s in zip(used, tried, strict=True) if u == n)]
    return failing[0] if len(failing) == 1 and others and well == others else ""

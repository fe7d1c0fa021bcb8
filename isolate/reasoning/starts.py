"""What a start history says of the joint of the zones."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.model import FLOOR, Condition

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]

UNKNOWN, BOTH = "unknown", "both"
STRAY = 0.1
"""Share of start histories with unknown channels that are taken not to follow the profile's alternation
(aborted starts, missing entries): our judgement."""


@dataclass(frozen=True)
class Start:
    """One start: the channel's letter, ``unknown`` or ``both``; whether it lit off; the condition it was made in.

    ``seconds``: time to light, where it was recorded. ``lane``: the control lane that commanded it. ``aborted``: broken
    off before it could light; it moves the alternation on where the profile says so and says nothing else. ``gap``: an
    unknown number of starts is missing before this one. ``at``: its date or time as written. ``oat``: outside air
    temperature, degrees Celsius.
    """

    channel: str
    lit: bool
    condition: Condition = "steady"
    seconds: float | None = None
    lane: str = ""
    aborted: bool = False
    gap: bool = False
    at: str = ""
    oat: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the start as a JSON object; what is not known is left out."""
        found: dict[str, Any] = {"channel": self.channel, "lit": self.lit, "condition": self.condition}
        more = {name: getattr(self, name) for name in ("seconds", "lane", "aborted", "gap", "at", "oat")}
        return found | {name: value for name, value in more.items() if value not in (None, "", False)}


def one(model: Model, start: Start, channel: str) -> Table:
    """Return P(this start's result | joint) had it used the channel (a letter or ``both``)."""
    lights = model.lights(start.condition)
    used = model.fitted.channels if channel == BOTH else (channel,)
    dark = np.ones([1] * len(model.zones))
    rest = np.ones([1] * len(model.zones))
    for key, zone in model.fitted.zones.items():
        if not zone.channel:
            rest = rest * lights[key]
        elif zone.channel in used:
            dark = dark * (1 - lights[key])
    lit = np.clip((1 - dark) * rest, FLOOR, 1 - FLOOR)
    return lit if start.lit else 1 - lit


def weight(model: Model, starts: Sequence[Start]) -> Table:
    """Return P(the results of these starts | joint), summed over what is not known of their channels.

    On a profile that alternates, the starts are taken to follow one another, so that one unknown phase is
    shared by all of them; with share ``STRAY`` they are not (see there).
    """
    channels = model.fitted.channels
    selection = model.fitted.profile.selection
    if not any(s.channel == UNKNOWN for s in starts):
        return _product(model, (one(model, s, s.channel) for s in starts))
    if selection == "both":
        return _product(model, (one(model, s, BOTH if s.channel == UNKNOWN else s.channel) for s in starts))
    # A hand on a selector may have chosen one channel or both.
    choices = (*channels, BOTH) if selection == "by-hand" else channels
    alone = _product(
        model,
        (
            one(model, s, s.channel)
            if s.channel != UNKNOWN
            else np.mean(np.stack(np.broadcast_arrays(*(one(model, s, c) for c in choices))), axis=0)
            for s in starts
        ),
    )
    if selection != "alternate":
        return alone
    phases: list[Table] = []
    for first in range(len(channels)):
        guess = [channels[(first + i) % len(channels)] for i in range(len(starts))]
        if all(s.channel in (UNKNOWN, BOTH, g) for s, g in zip(starts, guess, strict=True)):
            phases.append(
                _product(
                    model,
                    (
                        one(model, s, g if s.channel == UNKNOWN else s.channel)
                        for s, g in zip(starts, guess, strict=True)
                    ),
                )
            )
    if not phases:
        return alone
    phased = np.mean(np.stack(np.broadcast_arrays(*phases)), axis=0)
    return np.asarray((1 - STRAY) * phased + STRAY * alone)


def _product(model: Model, tables: Iterable[Table]) -> Table:
    joint = np.ones([1] * len(model.zones))
    for table in tables:
        joint = joint * table
    return joint

"""What a start history says, in figures and in words: which channel, which lane, since when, and what it hides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np

from isolate.case.facts import patterns
from isolate.case.history import History, Listed
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.light_times import LEAST, LightTimes, light_times
from isolate.reasoning.starts import BOTH, UNKNOWN, Start, by_lane, onset

WINDOW = 0.8
"""Probability that the span named for a fault's first start holds."""
NAMED = 0.1
"""From this probability of a fault on, it is said when it was first there."""
SHOWN_FAULTS = 3


@dataclass(frozen=True)
class Since:
    """When a zone's fault was first there, if it is at fault.

    ``first``, ``last``: numbers of starts, counted from one, with probability ``probability`` between them; ``before``,
    ``after``: probability that it was there before the first start weighed, that it came after the last.
    """

    first: int
    last: int
    probability: float
    before: float
    after: float


@dataclass(frozen=True)
class ZoneSaid:
    """A zone's probability of a fault before and after the starts, its likeliest faults, and since when."""

    zone: str
    channel: str
    title: str
    before: float
    after: float
    faults: tuple[tuple[str, float], ...]
    since: Since | None
    alone: int
    """Starts that lit on this channel alone; nought for a zone without one."""


@dataclass(frozen=True)
class Said:
    """All that a history says. ``starts``: those weighed, oldest first; ``older``: how many more there were."""

    starts: tuple[Start, ...]
    older: int
    zones: tuple[ZoneSaid, ...]
    lanes: dict[str, float]
    times: dict[str, LightTimes]
    patterns: tuple[tuple[str, str, int], ...]
    out_of_turn: int

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {
            "starts": [s.as_dict() for s in self.starts],
            "older": self.older,
            "zones": [
                {
                    "zone": z.zone,
                    "before": z.before,
                    "after": z.after,
                    "lit_alone": z.alone,
                    "faults": [{"mode": mode, "probability": p} for mode, p in z.faults],
                    "since": None if z.since is None else vars(z.since),
                }
                for z in self.zones
            ],
            "lanes": self.lanes,
            "light_times": [
                {
                    "channel": t.channel,
                    "count": len(t.seconds),
                    "rise_per_ten_starts": t.rise,
                    "rising": t.rising,
                    "later": t.later,
                    "verdict": t.verdict or None,
                }
                for t in self.times.values()
            ],
            "patterns": [{"kind": k, "channel": c, "count": n} for k, c, n in self.patterns],
            "out_of_turn": self.out_of_turn,
        }


def said(model: Model, history: History) -> Said:
    """Return what a history says, by itself: nothing else of the defect is taken in."""
    starts = history.newest
    before = Belief.before(model)
    after = before.starts(starts)
    fitted = model.fitted
    found = []
    for key, zone in fitted.zones.items():
        chance = 1 - float(after.zone(key)[0])
        order = sorted(zip(zone.states, after.zone(key), strict=True), key=lambda s: -s[1])
        faults = tuple((s, float(p)) for s, p in order if s != HEALTHY)[:SHOWN_FAULTS]
        alone = sum(s.lit and s.channel == zone.channel for s in starts) if zone.channel else 0
        hidden = bool(zone.channel) and not alone
        since = _since(onset(model, starts, after.joint, key)) if starts and (chance >= NAMED or hidden) else None
        found.append(
            ZoneSaid(key, zone.channel, zone.title, 1 - float(before.zone(key)[0]), chance, faults, since, alone)
        )
    counts = fitted.profile.features.get("aborted-start-counts")
    aborted = counts if isinstance(counts, bool) else None
    return Said(
        starts,
        history.older,
        tuple(found),
        by_lane(model, starts, before.joint),
        dict(light_times(starts, fitted.channels)),
        tuple(patterns(starts, fitted.channels, aborted)),
        _out_of_turn(starts, fitted.channels, aborted) if fitted.profile.selection == "alternate" else 0,
    )


def _since(chances: np.ndarray[Any, np.dtype[np.float64]]) -> Since:
    """Return the shortest span of starts that holds ``WINDOW`` of what is neither before nor after them."""
    inside = chances[1:-1]
    before, after = float(chances[0]), float(chances[-1])
    wanted = min(WINDOW, float(inside.sum()))
    sums = np.concatenate([[0.0], np.cumsum(inside)])
    best = (0, len(inside) - 1)
    for first in range(len(inside)):
        last = int(np.searchsorted(sums, sums[first] + wanted - 1e-12, side="left")) - 1
        if last < len(inside) and last - first < best[1] - best[0]:
            best = (first, max(first, last))
    first, last = best
    # The first entry inside is that of the second start: what was there at the first was there before.
    return Since(first + 2, last + 2, float(inside[first : last + 1].sum()), before, after)


def _out_of_turn(starts: Sequence[Start], channels: Sequence[str], aborted_counts: bool | None) -> int:
    """Return how often a channel told is not the one whose turn it was, counted from the one told before it."""
    found, due = 0, None
    for start in starts:
        if start.gap or start.channel not in channels:
            due = None
        if start.channel in channels:
            found += due is not None and due != start.channel
            at = channels.index(start.channel)
            moves = 1 if not start.aborted else aborted_counts
            due = None if moves is None else channels[(at + int(moves)) % len(channels)]
    return found


# -- in words --------------------------------------------------------------------------------------


def read_lines(history: History, most: int = 12) -> list[str]:
    """Return what was read and what was not, a sentence a line."""
    read = len(history.starts)
    lines = [f"{read} start{'s' if read != 1 else ''} read from {history.rows} row{'s' if history.rows != 1 else ''}."]
    if history.older:
        lines.append(f"The newest {len(history.newest)} are weighed and kept; {history.older} older ones are not.")
    lines += history.notes
    for items, what in ((history.unread, "not read"), (history.partly, "read in part")):
        if items:
            lines.append(f"{len(items)} row{'s' if len(items) != 1 else ''} {what}:")
            lines += _rows(items, most)
    return lines


def _rows(items: Sequence[Listed], most: int) -> list[str]:
    shown = [f"  row {one.row}: {one.reason}" for one in items[:most]]
    return shown + ([f"  and {len(items) - most} more"] if len(items) > most else [])


def lines(found: Said) -> list[str]:
    """Return what the history says, a sentence a line."""
    parts = (_pattern_lines, _zone_lines, _lane_lines, _hidden_lines, _time_lines)
    return [line for part in parts for line in part(found)]


def _pattern_lines(found: Said) -> list[str]:
    told = []
    for kind, channel, count in found.patterns:
        by = f", and those that failed used channel {channel}" if channel else ""
        words = {
            "all-light": "All of them lit.",
            "all-fail": f"None of them lit: {count} failed.",
            "alternate-fails": f"Every other start fails, {count} so far{by}.",
            "one-channel-fails": f"Since the first failure channel {channel} alone fails, {count} time(s).",
            "one-lane-fails": f"Since the first failure one control lane alone fails, {count} time(s).",
        }
        if kind in words:
            told.append(words[kind])
    if found.out_of_turn:
        told.append(
            f"{found.out_of_turn} time(s) a channel is out of its turn: a start is missing there, or a hand selected."
        )
    unknown = sum(s.channel == UNKNOWN for s in found.starts)
    if unknown:
        told.append(f"{unknown} of {len(found.starts)} do not say which channel was used; all it may be is weighed.")
    return told


def _zone_lines(found: Said) -> list[str]:
    told = []
    for zone in sorted(found.zones, key=lambda z: -z.after):
        if zone.after < NAMED and not (zone.channel and zone.alone):
            continue
        text = f"{zone.title}: at fault {_percent(zone.after)}, {_percent(zone.before)} before these starts."
        if zone.after >= NAMED and zone.since is not None:
            text += f" {_since_words(found, zone.since)}"
        told.append(text)
    return told


def _since_words(found: Said, since: Since) -> str:
    if since.before >= max(since.probability, since.after):
        return f"If so, it was there before the first of these ({_percent(since.before)})."
    if since.after > since.probability:
        return f"If so, it came after the last of these ({_percent(since.after)})."
    one, other = (_start_name(found, n) for n in (since.first, since.last))
    span = f"at start {one}" if since.first == since.last else f"between start {one} and start {other}"
    return f"If so, it was first there {span} ({_percent(since.probability)})."


def _start_name(found: Said, number: int) -> str:
    at = found.starts[number - 1].at if number <= len(found.starts) else ""
    return f"{number + found.older}" + (f" ({at})" if at else "")


def _lane_lines(found: Said) -> list[str]:
    if not found.lanes:
        return []
    each = ", ".join(f"lane {name} {_percent(p)}" for name, p in found.lanes.items())
    return [f"The driver of a control lane failed, as these starts have it: {each}."]


def _hidden_lines(found: Said) -> list[str]:
    told: list[str] = []
    lit = [s for s in found.starts if s.lit]
    if not lit or len([z for z in found.zones if z.channel]) < 2:
        return told
    for zone in found.zones:
        failed = sum(not s.lit and not s.aborted and s.channel == zone.channel for s in found.starts)
        if not zone.channel or zone.alone or failed:
            continue
        both = sum(s.channel == BOTH for s in lit)
        other = sum(s.channel not in (BOTH, UNKNOWN, zone.channel) for s in lit)
        if not both and not other:
            continue
        ways = " and ".join(
            text for n, text in ((both, f"{both} on both"), (other, f"{other} on another channel alone")) if n
        )
        told.append(
            f"Channel {zone.channel} never lit one alone here ({ways} lit): it may have been dead for any of them, and "
            f"nothing here would show it. At fault {_percent(zone.after)}, {_percent(zone.before)} before."
        )
    return told


def _time_lines(found: Said) -> list[str]:
    told = []
    for times in found.times.values():
        seconds = times.seconds
        if len(seconds) < LEAST:
            told.append(f"Time to light of channel {times.channel}: {len(seconds)} known, too few to tell a trend.")
            continue
        third = max(1, len(seconds) // 3)
        verdict = {
            "longer": "it takes longer than the other, or longer and longer: a weak spark slows before it fails",
            "alike": "no longer than the other's, and no rise",
            "": "neither sure to be longer nor sure to be alike",
        }[times.verdict]
        rise = round(times.rise, 1) + 0.0  # never minus nought
        told.append(
            f"Time to light of channel {times.channel}: {median(seconds[:third]):.1f} s at first, "
            f"{median(seconds[-third:]):.1f} s at last, {rise:+.1f} s in ten of its starts; {verdict}."
        )
    return told


def _percent(share: float) -> str:
    percent = 100 * share
    if percent < 0.1:
        return "under 0.1 %"
    return "over 99.9 %" if percent > 99.9 else f"{percent:.1f} %" if percent < 10 else f"{percent:.0f} %"

"""A picture of past starts: a row for each channel and lane, time to light below. Symbols tell it without colour."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from isolate.reasoning.starts import BOTH, UNKNOWN, Start
from isolate.terminal.words import plain

LIT, DARK, ABORTED, GAP, OTHER = "o", "X", "/", "|", "."
STYLES = {LIT: "green", DARK: "bold red", ABORTED: "yellow", GAP: "dim", OTHER: "dim"}
MEANING = {
    LIT: "lit",
    DARK: "did not light",
    ABORTED: "broken off",
    GAP: "starts missing or not read",
    OTHER: "not this one",
}
BARS, PLAIN_BARS = "▁▂▃▄▅▆▇█", "12345678"
LABEL = 9
"""Columns of the names on the left."""
BANDS = 4
"""Bands of rows at most; what is older is said, not drawn."""


def picture(
    starts: Sequence[Start], channels: Sequence[str], width: int, number: int = 1, bars: str = BARS
) -> RenderableType:
    """Return the picture, oldest start on the left. ``number``: of the first start; ``bars``: signs for times, rising.

    Where the starts need more than one band, the newest are below.
    """
    across = max(10, width - LABEL)
    cells = _cells(starts)
    room = across * BANDS
    left_out = 0
    if len(cells) > room:
        left_out = sum(s is not None for s in cells[:-room])
        cells = cells[-room:]
    times = [s.seconds for s in cells if s is not None and s.seconds is not None]
    parts: list[RenderableType] = []
    if left_out:
        parts.append(Text(f"The first {left_out} are not drawn: the window is too narrow.", style="dim"))
    at = number + left_out
    used: set[str] = set()
    for begin in range(0, len(cells), across):
        band = cells[begin : begin + across]
        parts.append(_heading(band, at, width))
        for label, marks in _rows(band, cells, channels):
            used |= set(marks)
            parts.append(_row(label, marks))
        for channel in channels:
            if any(s is not None and s.channel == channel and s.seconds is not None for s in cells):
                parts.append(_row(f"s, {channel}", _bars(band, channel, times, bars)))
        at += sum(s is not None for s in band)
    legend = [f"{mark} {said}" for mark, said in MEANING.items() if mark in used]
    if times:
        scale = f"{min(times):.1f} s" if min(times) == max(times) else f"{min(times):.1f} to {max(times):.1f} s"
        legend.append(f"{bars[0]} to {bars[-1]} time to light, {scale}")
    parts += [Text(line, style="dim") for line in _legend(legend, width)]
    return Group(*parts)


def _legend(items: Sequence[str], width: int) -> list[str]:
    """Return the items in lines, none broken in two."""
    found = [""]
    for item in items:
        if found[-1] and len(found[-1]) + 3 + len(item) > width:
            found.append("")
        found[-1] += f"   {item}" if found[-1] else item
    return found


def _cells(starts: Sequence[Start]) -> list[Start | None]:
    """Return the starts with None for each gap."""
    found: list[Start | None] = []
    for start in starts:
        if start.gap:
            found.append(None)
        found.append(start)
    return found


def _heading(band: Sequence[Start | None], at: int, width: int) -> Text:
    told = [s for s in band if s is not None]
    last = at + len(told) - 1
    said = f"start {at}" if len(told) == 1 else f"starts {at} to {last}"
    first, final = (plain(told[i].at) if told else "" for i in (0, -1))
    dates = first if first == final else f"{first or '?'} to {final or '?'}"
    line = f"{said}: {dates}" if first or final else said
    return Text(line if len(line) <= width else line[: width - 1] + "…", style="bold")


def _rows(
    band: Sequence[Start | None], cells: Sequence[Start | None], channels: Sequence[str]
) -> list[tuple[str, str]]:
    """Return (label, marks) of each row that has anything to show anywhere."""
    told = {s.channel for s in cells if s is not None}
    lanes = sorted({s.lane for s in cells if s is not None and s.lane})
    found = []
    for channel in (*channels, BOTH, UNKNOWN):
        if channel in channels or channel in told:
            label = {BOTH: "both", UNKNOWN: "which?"}.get(channel, channel)
            found.append((label, "".join(_mark(s, s is not None and s.channel == channel) for s in band)))
    for lane in lanes:
        found.append((f"lane {plain(lane)}", "".join(_mark(s, s is not None and s.lane == lane) for s in band)))
    return found


def _mark(start: Start | None, here: bool) -> str:
    if start is None:
        return GAP
    if not here:
        return OTHER
    return ABORTED if start.aborted else LIT if start.lit else DARK


def _bars(band: Sequence[Start | None], channel: str, times: Sequence[float], bars: str) -> str:
    low, high = min(times), max(times)
    found = []
    for start in band:
        if start is None or start.channel != channel or start.seconds is None:
            found.append(" ")
            continue
        share = (start.seconds - low) / (high - low) if high > low else 0.0
        found.append(bars[min(len(bars) - 1, int(share * len(bars)))])
    return "".join(found)


def _row(label: str, marks: str) -> Text:
    line = Text(f"{label[: LABEL - 1]:<{LABEL}}", style="", no_wrap=True)
    for mark in marks:
        line.append(mark, STYLES.get(mark, ""))
    return line

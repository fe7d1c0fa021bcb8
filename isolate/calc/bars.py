"""Pictures in text of figures with their intervals: bars beside a limit, and a scale of decades."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor, isfinite, log10

from isolate.calc.figures import spelt

NARROW = 60
"""Columns below which a bar stands under its words, not beside them."""


@dataclass(frozen=True)
class Bar:
    """A row: its words, a figure with its interval in any one unit, and the figure in words."""

    label: str
    value: float
    low: float
    high: float
    said: str


@dataclass(frozen=True)
class Marks:
    """What a picture is drawn of: what is sure, what may be, a limit."""

    sure: str
    maybe: str
    limit: str
    dot: str


PLAIN = Marks("#", "-", "!", "*")
FINE = Marks("█", "░", "┃", "●")


def bars(rows: Sequence[Bar], limits: Sequence[float], width: int, ascii_only: bool, key: str = "limit") -> list[str]:
    """Return bars from nought, one a row, none wider than ``width``; the mark of each limit goes through all of them.

    What lies below the interval is filled, the interval itself is shaded. ``key``: what the mark is called below.
    """
    marks = PLAIN if ascii_only else FINE
    rows = _spelt(rows) if ascii_only else rows
    most = max([r.high for r in rows] + list(limits), default=0.0)
    if not rows or most <= 0 or not isfinite(most) or width < 20:
        return []
    beside = width >= NARROW
    label = max(len(r.label) for r in rows) + 2 if beside else 0
    told = max(len(r.said) for r in rows) + 2 if beside else 0
    room = max(10, width - label - told - 1)
    found = []
    for row in rows:
        drawn = _bar(row, limits, most, room, marks)
        if beside:
            found.append(f"{row.label:<{label}}{drawn:<{room + 1}}{row.said:>{told}}".rstrip())
        else:
            found += [*textwrap.wrap(f"{row.label}: {row.said}", width), f" {drawn}".rstrip()[:width]]
    below = f"{marks.sure * 2} sure  {marks.maybe * 2} within the 95 % interval"
    return found + textwrap.wrap(below + (f"  {marks.limit} {key}" if limits else ""), width)


def _spelt(rows: Sequence[Bar]) -> Sequence[Bar]:
    """Return rows whose words are ASCII alone."""
    return [replace(row, label=spelt(row.label), said=spelt(row.said)) for row in rows]


def _bar(row: Bar, limits: Sequence[float], most: float, room: int, marks: Marks) -> str:
    full, maybe = round(max(row.low, 0) / most * room), round(max(row.high, 0) / most * room)
    if row.high > 0:
        maybe = max(maybe, 1)
    drawn = list((marks.sure * full + marks.maybe * max(0, maybe - full)).ljust(room + 1))
    for limit in limits:
        drawn[min(room, round(limit / most * room))] = marks.limit
    return "".join(drawn)


@dataclass(frozen=True)
class Zone:
    """A stretch of a scale, from ``low`` to ``high``, with a word for it."""

    low: float
    high: float
    word: str


def decades(
    zones: Sequence[Zone], rows: Sequence[Bar], limit: float | None, width: int, ascii_only: bool, ticks: Sequence[str]
) -> list[str]:
    """Return a scale in powers of ten with the figures on it, no wider than ``width``.

    ``zones`` adjoin, least first, and give the scale's ends. ``ticks``: a word for each end of a zone, first to last.
    A row's ``high`` may be infinite. Figures beyond an end are drawn at it.
    """
    marks = PLAIN if ascii_only else FINE
    if width < 20:
        return []
    if ascii_only:
        rows, ticks = _spelt(rows), [spelt(tick) for tick in ticks]
    first, last = log10(zones[0].low), log10(zones[-1].high)
    label = max([len(r.label) for r in rows] + [5]) + 1 if width >= NARROW else 0
    room = width - label - 1

    def at(value: float) -> int:
        if value <= 0:
            return 0
        if not isfinite(value):
            return room
        return min(room, max(0, floor((log10(value) - first) / (last - first) * room + 0.5)))

    words, line, figures = [" "] * (room + 1), ["-" if ascii_only else "─"] * (room + 1), [" "] * (room + 1)
    for zone, tick in zip(zones, ticks, strict=False):
        _write(words, (at(zone.low) + at(zone.high)) // 2 - len(zone.word) // 2, zone.word)
        line[at(zone.low)] = "+" if ascii_only else "┼"
        _write(figures, at(zone.low) - (len(tick) // 2 if at(zone.low) else 0), tick)
    line[room] = "+" if ascii_only else "┼"
    _write(figures, room + 1 - len(ticks[-1]), ticks[-1])
    found = [" " * label + "".join(w).rstrip() for w in (words, line, figures)]
    for row in rows:
        drawn = [" "] * (room + 1)
        for n in range(at(row.low), at(row.high) + 1):
            drawn[n] = marks.maybe
        drawn[at(row.value)] = marks.dot
        if limit is not None:
            drawn[at(limit)] = marks.limit
        if not label:
            found += textwrap.wrap(f"{row.label}: {row.said}", width)
        found.append(f"{row.label if label else '':<{label}}{''.join(drawn)}".rstrip())
    below = f"{marks.dot} reading  {marks.maybe * 2} where it may lie"
    return found + textwrap.wrap(below + (f"  {marks.limit} limit of your data" if limit is not None else ""), width)


def _write(on: list[str], start: int, word: str) -> None:
    """Write a word on a line where there is room and nothing stands yet."""
    start = max(0, min(start, len(on) - len(word)))
    if start >= 0 and len(word) <= len(on) and all(c == " " for c in on[max(0, start - 1) : start + len(word) + 1]):
        on[start : start + len(word)] = list(word)

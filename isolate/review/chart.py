"""Pictures for the pages, as SVG: the belief over the minutes worked, and bars with their intervals.

No picture says by colour alone: each line has dashes and marks of its own and its number at its end, and all of them
print in black on white. Colours, sizes of letters and the like are classes of ``templates/page.css``. Lengths are in
units of the picture's view box.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, isfinite, log10

from isolate.review.story import share as percent

MOST_LINES = 6
"""Dashes and marks are there for so many suspects; the line for "no fault" has its own."""
MOST_MARKS = 30
"""No more marks on one line: they would hide it."""
LETTER = 6.6
"""Width of a letter of the labels, on average."""
LINE_APART = 15.0
"""Least distance between the labels at the right."""
LONGEST_LABEL = 30
"""Letters of a label in one line; two lines at most."""
ROW = 36.0
"""Height of a row of :func:`ranges`: its name, and its figure under it."""
NO_FAULT = 0
"""The number of the line for "no fault"."""


@dataclass(frozen=True)
class Line:
    """A line of the chart. ``number``: how the page calls it, 1 to 6, or ``NO_FAULT``; ``chances``: 0 to 1 each."""

    number: int
    title: str
    chances: tuple[float, ...]
    named: bool = False


@dataclass(frozen=True)
class Turn:
    """A moment that the chart marks by an upright line: minutes worked, its mark and its words."""

    at: float
    mark: str
    said: str


@dataclass(frozen=True)
class Frame:
    """Where things lie in a picture: its size, the margins round the field, and the value at its right edge."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    most: float

    def x(self, value: float) -> float:
        """Where a value lies across: nought at the left edge of the field, ``most`` at the right."""
        return self.left + (self.width - self.left - self.right) * (value / self.most if self.most else 0.0)

    def y(self, share: float) -> float:
        """Where a share lies: 0 at the foot of the field, 1 at its head."""
        return self.height - self.bottom - (self.height - self.top - self.bottom) * share


def belief_chart(
    name: str, at: Sequence[float], until: float, lines: Sequence[Line], turns: Sequence[Turn] = (), wide: bool = True
) -> str:
    """Return the belief over the minutes worked as one SVG element.

    ``name``: what its identifiers begin with, once a page; ``at``: minutes at each point, not falling; ``until``: where
    the last belief ends. Between two points the belief is as it was at the first: lines go in steps. ``wide``: titles
    stand at the ends of the lines; else their numbers only, for narrow screens. Raises ValueError for more lines than
    there are dashes, or a line that has not one chance for each point.
    """
    if sum(line.number != NO_FAULT for line in lines) > MOST_LINES:
        raise ValueError(f"no more than {MOST_LINES} lines can be told apart without colour")
    if any(len(line.chances) != len(at) for line in lines):
        raise ValueError("a line needs one chance for each point")
    most = max([until, *at, 1.0])
    frame = Frame(960, 380, 52, 236, 34, 44, most) if wide else Frame(360, 330, 44, 66, 34, 44, most)
    title = "Probability of each suspect over the minutes worked"
    parts = [
        *_opened("wide-chart" if wide else "narrow-chart", frame, name, title, described(at, lines, turns)),
        *_grid(frame),
        *_turns(frame, turns),
    ]
    # The one that the end names is drawn last, over the others.
    for line in sorted(lines, key=lambda one: (one.named, -one.number)):
        parts += _line(frame, at, until, line)
    parts += _labels(frame, lines, wide)
    parts.append("</svg>")
    return "".join(parts)


def described(at: Sequence[float], lines: Sequence[Line], turns: Sequence[Turn] = ()) -> str:
    """Return what the chart shows, in a few sentences."""
    if not at:
        return "Nothing was said yet."
    said = [f"From {at[0]:.0f} to {at[-1]:.0f} minutes worked, {len(at)} points."]
    for line in lines:
        if line.chances:
            high = max(range(len(at)), key=lambda i: line.chances[i])
            said.append(
                f"{line.title}: {percent(line.chances[0])} at first, {percent(line.chances[-1])} at last, "
                f"at most {percent(line.chances[high])} at {at[high]:.0f} minutes."
            )
    said += [f"At {turn.at:.0f} minutes: {turn.said.rstrip('.')}." for turn in turns]
    return " ".join(said)


def key(line: Line) -> str:
    """Return a short piece of the line with its mark, for the list beside the chart."""
    middle = _mark(line.number, 22, 8)
    return (
        f'<svg class="key" viewBox="0 0 44 16" width="44" height="16" aria-hidden="true">'
        f'<title>{escape(_name(line.number))}</title><path class="line l{line.number}" d="M1 8H43"/>{middle}</svg>'
    )


def bar(share: float, said: str) -> str:
    """Return a bar for a share of 1, beside a figure that says the same. ``said``: the figure in words."""
    long = 100 * min(max(share if isfinite(share) else 0.0, 0.0), 1.0)
    return (
        '<svg class="bar" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        f'<title>{escape(said)}</title><rect class="bar-all" width="100" height="10"/>'
        f'<rect class="bar-part" width="{long:.1f}" height="10"/></svg>'
    )


@dataclass(frozen=True)
class Ranged:
    """A figure with its interval, one row of :func:`ranges`; None where there is too little to say."""

    title: str
    value: float | None
    low: float | None = None
    high: float | None = None
    said: str = ""


def ranges(name: str, title: str, rows: Sequence[Ranged], most: float | None = None, unit: str = "") -> str:
    """Return figures with their intervals, one under the other, as one SVG element.

    ``name``: what its identifiers begin with; ``most``: the value at the right edge, else the highest there is, rounded
    up; ``unit``: of the axis. A row without a figure says so in words.
    """
    known = [v for row in rows for v in (row.value, row.high) if v is not None and isfinite(v)]
    frame = Frame(420, 30.0 + ROW * len(rows), 10, 20, 2, 26, most or _round_up(max(known, default=1.0)))
    said = " ".join(f"{row.title}: {(row.said or 'too few to say').rstrip('.')}." for row in rows)
    parts = [*_opened("ranges", frame, name, title, said)]
    foot = frame.height - frame.bottom
    ticks = _ticks(frame.most, 5)
    for tick in ticks:
        x = frame.x(tick)
        side = "end" if tick == ticks[-1] and x > frame.width - 40 else "start" if tick == 0 else "middle"
        parts.append(f'<path class="grid" d="M{x:.1f} {frame.top:g}V{foot:g}"/>')
        parts.append(_text("axis", x, foot + 16, f"{tick:g}{unit}", side))
    for i, row in enumerate(rows):
        top = frame.top + ROW * i
        y = top + 25
        parts.append(_text("row", frame.left, top + 14, _cut(row.title, 50), "start"))
        if row.value is None or not isfinite(row.value):
            parts.append(_text("axis", frame.left, y + 4, "too few to say", "start"))
            continue
        if row.low is not None and row.high is not None:
            a, b = frame.x(max(row.low, 0.0)), frame.x(min(row.high, frame.most))
            parts.append(f'<path class="interval" d="M{a:.1f} {y - 4:.1f}v8m0 -4H{b:.1f}m0 -4v8"/>')
        parts.append(f'<path class="figure" d="{_shape(4, frame.x(min(row.value, frame.most)), y, 4)}"/>')
    parts.append("</svg>")
    return "".join(parts)


def strip(name: str, title: str, times: Sequence[float], until: float, unit: str, small: bool = False) -> str:
    """Return moments on a line from nought to ``until`` as one SVG element: when something came, and came again.

    ``small``: for a cell of a table, with the two ends of the line only.
    """
    most = max([until, *times, 1e-9])
    frame = Frame(190, 44, 8, 8, 4, 22, most) if small else Frame(420, 58, 10, 20, 8, 26, most)
    said = f"{len(times)} in {until:.0f} {unit}" + (", at " + ", ".join(f"{t:.0f}" for t in times) if times else "")
    foot = frame.height - frame.bottom
    parts = [
        *_opened("strip", frame, name, title, f"{said}."),
        f'<path class="edge" d="M{frame.x(0):.1f} {foot:g}H{frame.x(frame.most):.1f}"/>',
    ]
    for tick in [0.0, frame.most] if small else _ticks(frame.most, 5):
        x = frame.x(tick)
        side = "start" if tick == 0 else "end" if x > frame.width - 40 else "middle"
        words = f"{tick:.0f} {unit}" if x == frame.x(frame.most) else f"{tick:g}" if tick else f"0 {unit}" * (not small)
        parts.append(f'<path class="edge" d="M{x:.1f} {foot:g}v4"/>')
        parts.append(_text("axis", x, foot + 17, words or "0", side))
    parts += [f'<path class="figure" d="{_shape(1, frame.x(t), foot - 7, 4)}"/>' for t in times]
    parts.append("</svg>")
    return "".join(parts)


# -- pieces ----------------------------------------------------------------------------------------


def _opened(kind: str, frame: Frame, name: str, title: str, said: str) -> list[str]:
    """Begin a picture: its title for everybody, and what it shows in words for whoever does not see it."""
    return [
        f'<svg class="chart {kind}" role="img" viewBox="0 0 {frame.width:g} {frame.height:g}" '
        f'aria-labelledby="{name}-title" aria-describedby="{name}-desc">',
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(said)}</desc>',
    ]


def _text(kind: str, x: float, y: float, words: str, side: str = "middle") -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{side}">{escape(words)}</text>'


def _grid(frame: Frame) -> list[str]:
    left, right, foot = frame.x(0), frame.x(frame.most), frame.y(0)
    parts = []
    for quarter in range(5):
        y = frame.y(quarter / 4)
        parts.append(f'<path class="{"grid" if quarter else "edge"}" d="M{left:.1f} {y:.1f}H{right:.1f}"/>')
        parts.append(_text("axis y", left - 6, y + 4, f"{25 * quarter}%", "end"))
    for tick in _ticks(frame.most, 8 if frame.width > 500 else 4):
        x = frame.x(tick)
        parts.append(f'<path class="edge" d="M{x:.1f} {foot:.1f}v5"/>')
        parts.append(_text("axis x", x, foot + 18, f"{tick:g}"))
    parts.append(_text("axis", right, foot + 36, "minutes worked, by the book", "end"))
    return parts


def _turns(frame: Frame, turns: Sequence[Turn]) -> list[str]:
    """Upright lines, their marks over the field where there is room for them."""
    parts, last = [], -1e9
    for turn in sorted(turns, key=lambda one: one.at):
        x = frame.x(turn.at)
        parts.append(f'<path class="turn" d="M{x:.1f} {frame.y(0):.1f}V{frame.y(1) - 4:.1f}"/>')
        if x - last >= 12:
            parts.append(_text("axis", x, frame.y(1) - 9, turn.mark))
            last = x
    return parts


def _line(frame: Frame, at: Sequence[float], until: float, line: Line) -> list[str]:
    if not at:
        return []
    path = [f"M{frame.x(at[0]):.1f} {frame.y(line.chances[0]):.1f}"]
    for minute, chance in zip(at[1:], line.chances[1:], strict=True):
        path.append(f"H{frame.x(minute):.1f}V{frame.y(chance):.1f}")
    path.append(f"H{frame.x(max(until, at[-1])):.1f}")
    every = ceil(len(at) / MOST_MARKS)
    # Lines put their marks on different points where there are more points than marks.
    first = line.number % every if every > 1 else 0
    marks = "".join(_mark(line.number, frame.x(at[i]), frame.y(line.chances[i])) for i in range(first, len(at), every))
    named = " named" if line.named else ""
    return [f'<g data-line="{line.number}"><path class="line l{line.number}{named}" d="{"".join(path)}"/>{marks}</g>']


def _labels(frame: Frame, lines: Sequence[Line], wide: bool) -> list[str]:
    """Numbers, and titles where there is room, at the right ends of the lines, none over another."""
    rows = []
    for line in lines:
        if line.chances:
            said = f"{_name(line.number)}"
            words = [said]
            if wide:
                title = line.title if line.number == NO_FAULT else f"{line.number} {line.title}"
                words = textwrap.wrap(title, LONGEST_LABEL, max_lines=2, placeholder=" …", break_on_hyphens=False)
                words = words or [said]
            rows.append((frame.y(line.chances[-1]), line, words))
    rows.sort(key=lambda row: (row[0], row[1].number))
    heights = [LINE_APART * len(words) for _, _, words in rows]
    # Down from the head, then up from the foot.
    tops = []
    free = frame.top - 14
    for (y, _, _), height in zip(rows, heights, strict=True):
        tops.append(max(y - height / 2, free))
        free = tops[-1] + height + 1
    limit = frame.height - frame.bottom + 14
    for i in range(len(rows) - 1, -1, -1):
        tops[i] = min(tops[i], limit - heights[i])
        limit = tops[i] - 1
    parts = []
    end = frame.x(frame.most)
    for (y, line, words), top, height in zip(rows, tops, heights, strict=True):
        middle = top + height / 2
        parts.append(f'<path class="lead" d="M{end + 2:.1f} {y:.1f}L{end + 14:.1f} {middle:.1f}"/>')
        spans = "".join(
            f'<tspan x="{end + 18:.1f}" y="{top + LINE_APART * (i + 1) - 3.5:.1f}">{escape(word)}</tspan>'
            for i, word in enumerate(words)
        )
        parts.append(f'<text class="label{" named" if line.named else ""}">{spans}</text>')
    return parts


def _name(number: int) -> str:
    return "no fault" if number == NO_FAULT else str(number)


def _mark(number: int, x: float, y: float, size: float = 4.0) -> str:
    return f'<path class="mark m{number}" d="{_shape(number, x, y, size)}"/>'


def _shape(number: int, x: float, y: float, size: float) -> str:
    """The outline of a mark: 1 disc, 2 square, 3 triangle, 4 diamond, 5 triangle on its point, 6 cross, 0 stroke."""
    a, b, c, d = x - size, x + size, y - size, y + size
    if number == 1:
        return f"M{a:.1f} {y:.1f}a{size:g} {size:g} 0 1 0 {2 * size:g} 0a{size:g} {size:g} 0 1 0 {-2 * size:g} 0z"
    if number == 2:
        return f"M{a:.1f} {c:.1f}H{b:.1f}V{d:.1f}H{a:.1f}z"
    if number == 3:
        return f"M{x:.1f} {c:.1f}L{b:.1f} {d:.1f}H{a:.1f}z"
    if number == 4:
        return f"M{x:.1f} {c - 1:.1f}L{b + 1:.1f} {y:.1f}L{x:.1f} {d + 1:.1f}L{a - 1:.1f} {y:.1f}z"
    if number == 5:
        return f"M{x:.1f} {d:.1f}L{b:.1f} {c:.1f}H{a:.1f}z"
    if number == 6:
        return f"M{a:.1f} {c:.1f}L{b:.1f} {d:.1f}M{b:.1f} {c:.1f}L{a:.1f} {d:.1f}"
    return f"M{x:.1f} {c:.1f}V{d:.1f}"


def _ticks(most: float, about: int = 6) -> list[float]:
    """Round values from nought up to ``most``."""
    if not (isfinite(most) and most > 0):
        return [0.0]
    rough = most / about
    unit = 10.0 ** floor(log10(rough))
    step = next(unit * s for s in (1, 2, 2.5, 5, 10) if unit * s >= rough * 0.999)
    return [round(step * i, 10) for i in range(int(most / step + 1e-9) + 1)]


def _round_up(value: float) -> float:
    if not (isfinite(value) and value > 0):
        return 1.0
    ticks = _ticks(value)
    return ticks[-1] if ticks[-1] >= value else ticks[-1] + (ticks[1] - ticks[0] if len(ticks) > 1 else value)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"

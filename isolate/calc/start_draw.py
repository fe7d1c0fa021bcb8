"""A recorded start as a picture: in text, and as a file where the ``chart`` extra is there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.figures import spelt
from isolate.calc.start_find import Facts, held
from isolate.calc.units import figure

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from isolate.calc.start import Detail

    Floats = NDArray[np.float64]

ROWS: Final = {"speed": 4, "temperature": 4, "fuel": 2, "volts": 2}
TITLES: Final = {"speed": "speed", "temperature": "exhaust temperature", "fuel": "fuel flow", "volts": "bus"}
EIGHTHS: Final = " ▁▂▃▄▅▆▇█"
ASCII: Final = " .:#"
LEAST_SPAN: Final = {"temperature": 60.0, "volts": 2.0}
"""A course that moves by less is not blown up to fill its rows."""
LEAST_WIDTH, MOST_WIDTH = 20, 110
BEFORE_S, AFTER_S = 5.0, 25.0


def shown(one: Facts) -> tuple[float, float]:
    """Return the seconds that a picture shows."""
    begins = max(one.first_s, one.begins_s - BEFORE_S)
    marks = [one.begins_s, *(m for _, _, m, _ in marked(one))]
    ends = one.ended_s + 8 if one.ended_s is not None else max(marks) + AFTER_S
    return begins, max(min(one.last_s, max(ends, max(marks) + 4)), begins + 5)


def marked(one: Facts) -> Iterator[tuple[str, str, float, tuple[float, float]]]:
    """Yield the marks of a start: letter, words, seconds, interval."""
    if one.crank:
        yield "C", "cranks", one.crank.value, (one.crank.low, one.crank.high)
    if one.commands:
        on = one.commands[0][0]
        yield "I", "ignition", on.value, (on.first_s, on.last_s)
    if one.fuel:
        yield "F", "fuel", one.fuel.value, (one.fuel.low, one.fuel.high)
    if one.light:
        yield "L", "light-off", one.light.value, (one.light.low, one.light.high)
    if one.main_rise:
        yield "M", "main rise", one.main_rise.value, (one.main_rise.low, one.main_rise.high)
    if one.fuel_off_s is not None:
        yield "X", "fuel off", one.fuel_off_s, (one.fuel_off_s, one.fuel_off_s)


def draw(detail: Detail, width: int, ascii_only: bool) -> Sequence[str]:
    """Return the start as rows of bars over time with its marks below."""
    import numpy as np

    if width < LEAST_WIDTH:
        return ()
    broad = min(width, MOST_WIDTH)
    log, one = detail.log, detail.facts
    begins, ends = shown(one)
    edges = np.linspace(begins, ends, broad + 1)
    lines: list[str] = []
    for role, rows in ROWS.items():
        if role not in log.values:
            continue
        t, y = held(log.time_s, log.values[role])
        means, low, high = _binned(t, y, edges)
        if not np.isfinite(means).any():
            continue
        unit = log.unit(role)
        title = f"{TITLES[role]}{f', {unit}' if unit else ''}, {_end(low, high)} to {figure(high)}"
        lines.append((spelt(title) if ascii_only else title)[:broad])
        lines += _bars(means, low, max(high, low + LEAST_SPAN.get(role, 0.0)), rows, ascii_only)
    marks = list(marked(one))
    row = [" "] * broad
    for letter, _, at, _ in marks:
        i = min(max(int((at - begins) / (ends - begins) * broad), 0), broad - 1)
        while row[i] != " " and i < broad - 1:
            i += 1
        row[i] = letter
    lines += ["".join(row).rstrip(), _axis(begins, ends, broad, ascii_only)]
    lines += _wrapped([f"{letter} {words} {at:.1f} s" for letter, words, at, _ in marks], broad)
    return lines


def _end(low: float, high: float) -> str:
    """Return the lower end of a course; what is noise about nought beside its upper end is nought."""
    return "0" if abs(low) < 0.02 * abs(high) else figure(low)


def _binned(t: Floats, y: Floats, edges: Floats) -> tuple[Floats, float, float]:
    """Return the mean of each column, those between two readings filled from them unless they stand in a gap."""
    import numpy as np

    place = np.searchsorted(edges, t, side="right") - 1
    fits = (place >= 0) & (place < edges.size - 1)
    count = np.bincount(place[fits], minlength=edges.size - 1)
    total = np.bincount(place[fits], weights=y[fits], minlength=edges.size - 1)
    means = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    middle = (edges[1:] + edges[:-1]) / 2
    step = float(np.median(np.diff(t))) if t.size > 1 else 1.0
    after = np.clip(np.searchsorted(t, middle), 1, max(t.size - 1, 1))
    near = (t[after] - t[after - 1] <= 4 * step) & (middle >= t[0]) & (middle <= t[-1])
    means = np.where((count == 0) & near, np.interp(middle, t, y), means)
    some = means[np.isfinite(means)]
    return means, float(some.min(initial=np.inf)), float(some.max(initial=-np.inf))


def _bars(means: Floats, low: float, high: float, rows: int, ascii_only: bool) -> list[str]:
    signs = ASCII if ascii_only else EIGHTHS
    span = high - low
    fine = len(signs) - 1
    filled = [
        -1 if m != m else round((m - low) / span * (rows * fine - 1)) + 1 if span > 0 else 1 for m in means.tolist()
    ]
    lines = []
    for row in range(rows - 1, -1, -1):
        lines.append("".join(" " if f < 0 else signs[min(max(f - row * fine, 0), fine)] for f in filled).rstrip())
    return lines


def _axis(begins: float, ends: float, broad: int, ascii_only: bool) -> str:
    left, right = f"{begins:.0f} s", f"{ends:.0f} s"
    return f"{left} {('-' if ascii_only else '─') * max(broad - len(left) - len(right) - 2, 1)} {right}"


def _wrapped(parts: Sequence[str], broad: int) -> list[str]:
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + 2 + len(part) <= broad:
            lines[-1] += f"  {part}"
        else:
            lines.append(part[:broad])
    return lines


# -- a file ----------------------------------------------------------------------------------------

INK, SOFT = "#1f5a92", "#4a4f57"
COLOURS: Final = {"C": "#4a4f57", "I": "#7a4ea3", "F": "#5b7f4e", "L": "#b23a2f", "M": "#96652a", "X": "#8a8f98"}
GOOD: Final = "#b9bec6"


def picture(detail: Detail, path: str) -> None:
    """Write the start as a picture (.png or .svg). The same start gives the same SVG."""
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "isolate", "font.size": 9, "axes.spines.right": False}):
        drawn = _figure(detail)
        kind = path.rsplit(".", 1)[-1].lower()
        drawn.savefig(path, format=kind, dpi=150, metadata={"Date": None} if kind == "svg" else None)


def _figure(detail: Detail) -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    log, one = detail.log, detail.facts
    begins, ends = shown(one)
    roles = [role for role in ROWS if role in log.values]
    made = Figure(figsize=(8.0, 1.1 + 1.7 * len(roles)), layout="constrained")
    FigureCanvasAgg(made)
    panels = made.subplots(len(roles), 1, sharex=True, squeeze=False)[:, 0]
    marks = list(marked(one))
    for panel, role in zip(panels, roles, strict=True):
        t, y = held(log.time_s, log.values[role])
        here = (t >= begins) & (t <= ends)
        panel.plot(t[here], y[here], color=INK, linewidth=1.1, marker=".", markersize=2.5)
        unit = log.unit(role)
        panel.set_ylabel(f"{TITLES[role]}{f', {unit}' if unit else ''}")
        panel.spines["top"].set_visible(False)
        panel.grid(color="#e4e6ea", linewidth=0.6)
        for a, b in log.gaps:
            if b > begins and a < ends:
                panel.axvspan(max(a, begins), min(b, ends), color="#f0e6d2", zorder=0)
        for letter, _, at, (low, high) in marks:
            panel.axvspan(low, high, color=COLOURS[letter], alpha=0.25, linewidth=0)
            panel.axvline(at, color=COLOURS[letter], linewidth=0.9)
    # A letter is about so wide beside what is shown; a mark is lifted over those that its words would run into.
    letter_s, taken = 0.0085 * (ends - begins), [-1e9] * 4
    for letter, words, at, (low, high) in sorted(marks, key=lambda m: m[2]):
        off = f" ({low:.2f} to {high:.2f})" if high > low else ""
        said = f"{words} {at:.2f}{off} s"
        lifted = next((i for i, until in enumerate(taken) if until < at), 3)
        taken[lifted] = at + letter_s * len(said)
        panels[0].annotate(
            said,
            (at, 1.0),
            (0, 4 + 11 * lifted),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="left",
            color=COLOURS[letter],
            fontsize=8,
        )
    panels[-1].set_xlabel("seconds from the first row of the log")
    panels[-1].set_xlim(begins, ends)
    return made

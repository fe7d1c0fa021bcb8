"""Knowledge laid out for the screen: an entry's page, and the testability figures of an engine.

Everything is plain text in columns that hold at 80; weight of type only repeats what a word says already.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from isolate.terminal.layout import heading, text
from isolate.terminal.words import listed

if TYPE_CHECKING:
    from isolate.kb.figures import Count, Figures, Isolation, Pair
    from isolate.kb.page import Cited, Page, Use

LABEL = 13
"""Columns of the labels of a page."""


# -- a page ----------------------------------------------------------------------------------------


def page(shown: Page, width: int) -> Group:
    """Return an entry with all that refers to it."""
    from isolate.kb.names import SINGULAR
    from isolate.kb.page import SHOWN

    parts: list[RenderableType] = [
        heading(
            # What a rule says is one of its fields.
            shown.name if shown.kind == "rules" else f"{shown.name}: {shown.title}",
            width,
            _start(SINGULAR[shown.kind]),
        )
    ]
    top: list[tuple[str, Sequence[str]]] = [("at", (str(shown.spot),))]
    if shown.per_channel:
        top.append(("channel", (f"one for each channel; shown for {SHOWN}",)))
    parts.append(_fields([*top, *((field.label, field.lines) for field in shown.fields)]))
    if shown.sources:
        parts += ["", Text("Sources", style="bold"), _fields((s.kind, (_source(s),)) for s in shown.sources)]
    parts += ["", Text("Used by", style="bold")]
    for how, uses in groupby(shown.used_by, key=lambda use: use.how):
        parts.append(text(f"  {how}", "bold"))
        parts += [Padding(_use(use, SINGULAR[use.kind]), (0, 0, 0, 4)) for use in uses]
    if not shown.used_by:
        parts.append(text("  nothing"))
    return Group(*parts)


def _start(said: str) -> str:
    return said[:1].upper() + said[1:]


def _fields(items: Iterable[tuple[str, Sequence[str]]]) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=LABEL, overflow="fold")
    grid.add_column(ratio=1, overflow="fold")
    for label, lines in items:
        for number, line in enumerate(lines):
            grid.add_row(text("" if number else label, "bold"), text(line))
    return grid


def _source(cited: Cited) -> str:
    told = ", ".join(part for part in (cited.title, cited.edition, cited.chapter) if part)
    return f"{told} ({cited.name})" + (f": {cited.note}" if cited.note else "")


def _use(use: Use, kind: str) -> Text:
    line = text(f"{kind} ")
    line.append(text(use.name, "bold"))
    # A rule has no title but its sentence, which its own page gives.
    if use.kind != "rules":
        line.append(text(f": {use.title}"))
    if use.says:
        line.append(text(f" ({use.says})"))
    line.append(text(f"  {use.spot}", "dim"))
    return line


# -- figures ---------------------------------------------------------------------------------------


def figures(shown: Figures, width: int, alone: Figures | None = None) -> Group:
    """Return testability figures; beside them those of ``alone``, the same with every check by itself."""
    together = "all checks together give" if shown.evidence == "all" else "one check by itself gives"
    odds = f"{2**shown.least:.3g} to 1"
    groups = "those left beside it when it is the truth" if shown.groups == "own" else "those it is linked with"
    parts: list[RenderableType] = [
        heading(shown.title, width, "Testability"),
        text(
            f"{shown.faults} faults, one at a time; {shown.checks} checks"
            f"{f' that can be done at the {shown.place}' if shown.place else ''}, each asked once, functional ones in "
            f"the condition {shown.condition}. Two faults count as told apart where {together} evidence of "
            f"{odds} ({shown.least:.2f} bits) on average. A fault's ambiguity group: {groups}."
        ),
        "",
        _shares(shown, alone),
    ]
    for word, each in (("all checks", shown), ("one check alone", alone)):
        if each is not None and each.undetected:
            parts.append(text(f"Not detected by {word}: {_some(each.undetected)}."))
    parts += [
        "",
        Text("Hardest to tell apart, of faults that no one repair clears", style="bold"),
        text(f"{shown.untold} of {shown.pairs} such pairs are not told apart. Bits, and what tells them soonest:"),
        _hardest(shown.hardest),
        "",
        Text("Entries, by class of the sources they cite", style="bold"),
        _entries(shown.entries),
    ]
    return Group(*parts)


def _some(names: Sequence[str]) -> str:
    return listed([*names[:12], f"{len(names) - 12} more"] if len(names) > 12 else names)


def _number(value: float, form: str) -> str:
    return "-" if math.isnan(value) else format(value, form)


def _share(value: float) -> str:
    """A share to a tenth of a percent; what is short of all is not shown as all, nor what is above none as none."""
    if math.isnan(value):
        return "-"
    if 0.9995 <= value < 1:
        return ">99.9%"
    return "<0.1%" if 0 < value < 0.0005 else f"{100 * value:.1f}%"


def _shares(shown: Figures, alone: Figures | None) -> Table:
    each = [shown] if alone is None else [shown, alone]
    grid = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column("", overflow="fold")
    for figures in each:
        grid.add_column(f"{'all checks' if figures.evidence == 'all' else 'one check'}\nby number", justify="right")
        grid.add_column("\nby prior", justify="right")

    def row(what: str, cells: Iterable[str]) -> None:
        grid.add_row(text(what), *(text(cell) for cell in cells))

    row("Detected (FFD)", (_share(v) for f in each for v in (f.detected, f.detected_by_rate)))
    for unit, of in (("fault", "to_fault"), ("repair", "to_repair")):
        found: list[Isolation] = [getattr(f, of) for f in each]
        for k, size in enumerate(shown.to_fault.sizes):
            few = f"1 {unit}" if size == 1 else f"{size} {unit}s at most"
            row(f"Isolated to {few}", (_share(v) for i in found for v in (i.share[k], i.by_rate[k])))
        row(f"Mean ambiguity group, {unit}s", (_number(v, ".2f") for i in found for v in (i.mean, i.mean_by_rate)))
    return grid


def _hardest(pairs: Sequence[Pair]) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=6, justify="right", no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for pair in pairs:
        told = "nothing does"
        if pair.minutes is not None:
            told = f"{listed(pair.checks)}: {pair.minutes:.0f} min with access"
        best = f"; best alone {pair.best}, {pair.best_bits:.1f} bits" if pair.best and len(pair.checks) != 1 else ""
        wrong = [
            f"{minutes:.0f} min for {name}" for name, minutes in zip((pair.one, pair.other), pair.wrong, strict=True)
            if minutes is not None
        ]
        head = text(f"{pair.one} and {pair.other}", "bold")
        if pair.mirrored:
            head.append(text(", and the like on other channels"))
        below = [f"{told}{best}", *([f"the wrong repair, verified: {' or '.join(wrong)}"] if wrong else [])]
        grid.add_row(text(f"{pair.bits:.1f}"), Group(head, *(Padding(text(line), (0, 0, 0, 2)) for line in below)))
    return grid


def _entries(counts: Sequence[Count]) -> Table:
    from isolate.kb.figures import CLASSES

    grid = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column("", no_wrap=True)
    for head in ("entries", *CLASSES, "judgement alone"):
        grid.add_column(head, justify="right")
    for count in counts:
        figures = (count.entries, *(count.citing[word] for word in CLASSES), count.judged)
        grid.add_row(text(count.kind), *(text(figure) for figure in figures))
    return grid

"""Defects that came back, laid out for the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table

from isolate.terminal import words
from isolate.terminal.layout import heading, text

if TYPE_CHECKING:
    import argparse

    from isolate.case.repeats import Repeats


def run(arguments: argparse.Namespace) -> int:
    """Run ``repeats``; return its exit status."""
    from isolate.case.repeats import repeats
    from isolate.case.store import open_store

    with open_store(arguments.store) as store:
        found = repeats(store, arguments.days, arguments.aircraft)
    if arguments.json:
        import json

        shown = {"repeats": [r.as_dict() for r in found.found], "notes": list(found.notes)}
        print(json.dumps(shown, indent=2, ensure_ascii=False))
        return 0
    from rich.console import Console

    console = Console(highlight=False)
    console.print(table(found, console.width))
    return 0


def table(shown: Repeats, width: int) -> Group:
    """Return each defect that came back under a heading, one row a case."""
    parts: list[RenderableType] = []
    for repeat in shown.found:
        times = repeat.times
        parts.append(
            heading(
                f"Aircraft {repeat.aircraft}, engine {repeat.position} ({repeat.engine})",
                width,
                f"Came back {words.times(times)}" if times else "Opened again",
            )
        )
        rows = Table.grid(padding=(0, 2, 0, 0))
        rows.add_column(no_wrap=True)
        rows.add_column(ratio=1, overflow="fold")
        for visit in repeat.visits:
            when = text(visit.opened[:10])
            if visit.days is not None:
                days = f"{visit.days:.0f} day{'' if round(visit.days) == 1 else 's'} on"
                when.append("\nmeanwhile" if visit.open_before else f"\n{days}")
            about = f"{visit.complaint}, {visit.channel}" if visit.channel else visit.complaint
            done = "; ".join((*visit.repairs, *(f"shop on {f}" for f in visit.findings))) or "no repair"
            rows.add_row(when, Group(text(visit.case, "bold"), text(about), text(f"{done}. {visit.end or 'Open'}.")))
        parts.append(rows)
        if repeat.again:
            parts.append(text(f"Done more than once: {', '.join(repeat.again)}.", "bold"))
        parts.append("")
    if not shown.found:
        parts.append(text("Nothing came back, as far as the cases here show."))
    parts += [text(note) for note in shown.notes]
    return Group(*parts)

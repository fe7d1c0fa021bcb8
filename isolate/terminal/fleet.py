"""Fleet figures on the screen, with a small plot beside each, and cases written out as tables."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from rich.console import Group as Together
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from isolate.terminal.layout import text
from isolate.terminal.words import plain

if TYPE_CHECKING:
    import argparse

    from isolate.case.store import Store
    from isolate.review.fleet import Fleet, Group
    from isolate.review.intervals import Share, Spread

NAME = 16
"""Columns of the names on the left, at most; longer ones go on below."""
WORDS = 41
"""Columns of the words on the right, at least."""
PLOT = (12, 48)
"""Columns of a plot, from and to."""
NAMED = 5
"""Cases that cannot be read of which each is named."""
SIGNS, PLAIN_SIGNS = "─━╋", "-=|"
"""Of a plot: half of the cases, where the true figure is, the figure as measured."""
BY = {"engine": "engine type", "station": "station", "knowledge": "version of the knowledge"}
Row = tuple[str, str, str]
"""Name, plot, words."""


def run(arguments: argparse.Namespace) -> int:
    """Run ``review fleet`` or ``review tables``; return its exit status."""
    from isolate.case.intake import Refused
    from isolate.case.store import open_store

    since, until = (_day(value, name) for value, name in ((arguments.since, "since"), (arguments.until, "until")))
    if since and until and since > until:
        raise Refused(f"--since {since} is after --until {until}: no day is left")
    with open_store(arguments.store, there=True) as store:
        if arguments.command == "review tables":
            return _tables(arguments, store, since, until)
        from rich.console import Console

        if sys.stderr.isatty():
            with Console(stderr=True).status("Reading the cases"):
                shown = _figures(arguments, store, since, until)
        else:
            shown = _figures(arguments, store, since, until)
    if arguments.json:
        import json

        print(json.dumps(shown.as_dict(), indent=2, ensure_ascii=False))
    if arguments.html is not None:
        from isolate.case.store import write_whole
        from isolate.review.pages import fleet_page

        write_whole(arguments.html, fleet_page(shown).encode(), arguments.overwrite)
        print(f"Written: {arguments.html}", file=sys.stderr if arguments.json else sys.stdout)
    elif not arguments.json:
        console = Console(highlight=False, markup=False, emoji=False)
        ascii_only = console.options.ascii_only
        if ascii_only:
            # A name in another script must not end the command.
            sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]
        console.print(page(shown, console.width, PLAIN_SIGNS if ascii_only else SIGNS))
    return 0


def _day(told: str | None, name: str) -> str:
    from isolate.case.intake import Refused

    if not told:
        return ""
    try:
        return date.fromisoformat(told).isoformat()
    except ValueError:
        raise Refused(f"--{name} is a day such as 2030-01-31, not {plain(told)!r}") from None


def _figures(arguments: argparse.Namespace, store: Store, since: str, until: str) -> Fleet:
    from isolate.case.events import now_text
    from isolate.kb.load import load
    from isolate.review.fleet import VERSION, figures
    from isolate.review.parts import kinds_of
    from isolate.review.symptoms import families
    from isolate.review.turned import Hindsight
    from isolate.terminal.plain import kits
    from isolate.terminal.repeats import no_sweeping

    knowledge = load(arguments.knowledge).knowledge
    judge = Hindsight(kits(knowledge), store.events)
    with no_sweeping():
        found = figures(
            store.briefs(since=since, engine=arguments.engine),
            arguments.by,
            since=since,
            until=until,
            engine=arguments.engine,
            judge=judge,
            taken=judge.taken,
            families=families(knowledge),
            kinds=kinds_of(knowledge),
            now=now_text(datetime.now(UTC)),
        )
    notes = [f"Case {case} cannot be read and is not counted: {why.rstrip('.')}." for case, why in store.notes()]
    if len(notes) > NAMED:
        notes[NAMED:] = [f"{len(notes) - NAMED:,} more cannot be read: isolate review verify names them."]
    if any(had.right.of for had in found.whole.declined):
        notes.append(f"What was declined is judged by knowledge {knowledge.digest[:VERSION]}, whichever it was put by.")
    if judge.left:
        notes.append(f"{judge.left:,} older pieces of advice not judged: that would take long.")
    # What follows the comma describes the engine; a row has no room for it.
    titles = {key: engine.title.partition(",")[0] for key, engine in knowledge.engines.items()}
    groups = tuple(replace(g, name=titles.get(g.key, g.name)) if arguments.by == "engine" else g for g in found.groups)
    return replace(found, groups=groups, engine_title=titles.get(found.engine, ""), notes=(*found.notes, *notes))


# -- figures on the screen -------------------------------------------------------------------------


def page(shown: Fleet, width: int, signs: str = SIGNS) -> Together:
    """Return the figures, one under the other, a row for each group. ``signs``: as :data:`SIGNS`."""
    whole = shown.whole
    parts: list[RenderableType] = [_heading(f"Fleet figures by {BY[shown.by]}", width, signs), text(_range(shown))]
    if not whole.cases:
        parts.append(text("No case to say anything of."))
        return Together(*parts, *(text(note, "dim") for note in shown.notes))
    parts.append(
        text(
            f"{signs[2]} as counted; {signs[1] * 2} where it truly is, with 95%; {signs[0] * 2} the middle half of "
            f"the cases. On fewer than {shown.least} it says too few.",
            "dim",
        )
    )
    from isolate.review.turned import RIGHT

    groups = (*shown.groups, whole) if len(shown.groups) > 1 else shown.groups
    for title, said, row in _sections(shown):
        parts += ["", _heading(title, width, signs), *([text(said, "dim")] if said else [])]
        parts.append(_grid([row(group) for group in groups], groups, shown, width, signs))
    parts += ["", _heading("Advice turned down", width, signs), text(RIGHT, "dim"), _advice(groups, width, signs)]
    if shown.by == "knowledge":
        parts += ["", _heading("Versions in use", width, signs), _versions(shown.groups)]
    parts += [text(note, "dim") for note in ("", *shown.notes)] if shown.notes else []
    return Together(*parts)


def _sections(shown: Fleet) -> list[tuple[str, str, Callable[[Group], tuple[Share | Spread, str]]]]:
    """Return each figure: its title, a line on what it is, and group → (figure, what to say besides)."""

    def in_vain(group: Group) -> tuple[Share | Spread, str]:
        had = group.in_vain
        more = [f"{had.minutes:,.0f} equivalent min"] if had.share.count else []
        more += [f"{had.by_shop:,} by the shop"] if had.by_shop else []
        more += [f"{had.unsaid:,} more nobody says of"] if had.unsaid else []
        return had.share, "; ".join(more)

    def back(group: Group) -> tuple[Share | Spread, str]:
        had = group.came_back
        more = [f"{had.days_only:,} by the days alone"] if had.days_only else []
        more += [f"{had.unwatched:,} ended too late to tell"] if had.unwatched else []
        if had.unproven:
            more.append(f"{had.unproven:,} more ended deferred or handed over, {had.taken_up:,} taken up again as soon")
        return had.share, "; ".join(more)

    return [
        (
            "Time to isolate",
            "Book minutes until the move was taken up that the end names as right, where that came and held.",
            lambda group: (group.isolated, ""),
        ),
        ("Time to the end", "Book minutes, verified and closed up.", lambda group: (group.ended, "")),
        (
            "Parts replaced in vain",
            "Of the parts that the shop or the end of the case says anything of: those probably good.",
            in_vain,
        ),
        (
            "No fault found: removed, and the shop found nothing",
            "Of the parts that came off and that the shop has reported on: those with nothing wrong.",
            lambda group: (group.cleared, ""),
        ),
        ("No fault named", "Of the closed cases: verified, and no fault named.", lambda group: (group.unfound, "")),
        (
            f"Came back within {shown.days:.0f} days and {shown.starts:.0f} starts",
            "Of the cases that ended verified. Days from the end of the one case to the opening of the next, starts "
            "from opening to opening; where the starts are not told, the days alone count.",
            back,
        ),
    ]


def _range(shown: Fleet) -> str:
    whole = shown.whole
    of = f" on {shown.engine_title or shown.engine}" if shown.engine else ""
    said = f"{_cases(whole.cases)}{of}, {whole.closed:,} closed"
    if shown.since or shown.until:
        said += (
            f"; opened {f'from {shown.since} ' if shown.since else ''}{f'up to {shown.until}' if shown.until else ''}"
        )
    if whole.cases:
        said += f"; the first {whole.first[:10]}, the last {whole.last[:10]}"
    return f"{said}. Drills are not counted."


def _cases(n: int) -> str:
    return f"{n:,} case{'' if n == 1 else 's'}"


def _heading(what: str, width: int, signs: str) -> Text:
    rule = signs[0]
    title = Text(plain(what), style="bold")
    return Text.assemble(rule * 2, " ", title, " ", (rule * max(0, width - len(title.plain) - 4), "dim"))


def _grid(
    rows: Sequence[tuple[Share | Spread, str]], groups: Sequence[Group], shown: Fleet, width: int, signs: str
) -> Table:
    from isolate.review.intervals import Spread

    name, across = _widths(groups, width)
    in_minutes = any(isinstance(figure, Spread) for figure, _ in rows)
    ends = [(f.high, f.upper) if isinstance(f, Spread) else (f.share if f.few else f.high, 0.1) for f, _ in rows]
    most = _round(max(end or 0.0 for both in ends for end in both))
    most = most if in_minutes else min(1.0, most)
    grid = _table(name, across)
    for (figure, more), group in zip(rows, groups, strict=True):
        words = [text(line) for line in (figure.said, more) if line]
        style = "bold" if group is shown.whole else ""
        grid.add_row(text(group.name, style), _plot(figure, most, across, signs), Together(*words))
    end = f"{most:,.0f} min" if in_minutes else f"{100 * most:.0f}%"
    grid.add_row("", Text(f"0{end:>{across - 1}}", style="dim", no_wrap=True), "")
    return grid


def _widths(groups: Sequence[Group], width: int) -> tuple[int, int]:
    """Return the columns of the names and of the plots."""
    name = min(NAME, max(len(plain(group.name)) for group in groups))
    return name, max(PLOT[0], min(PLOT[1], width - name - WORDS - 4))


def _table(name: int, across: int) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(width=name, overflow="fold")
    grid.add_column(width=across, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    return grid


def _round(value: float) -> float:
    """Return the next round number that is no less."""
    from math import floor, log10

    if value <= 0:
        return 1.0
    power = 10.0 ** floor(log10(value))
    return next(step * power for step in (1, 2, 3, 4, 5, 6, 8, 10) if step * power >= value or step == 10)


def _plot(figure: Share | Spread, most: float, across: int, signs: str) -> Text:
    """Return a figure as a line of so many columns, from 0 to ``most``. Its parts differ by sign, not by colour."""
    from isolate.review.intervals import Spread

    marks = [" "] * across

    def at(value: float) -> int:
        return min(across - 1, max(0, round(value / most * (across - 1))))

    def draw(sign: str, low: float | None, high: float | None) -> None:
        if low is not None and high is not None:
            marks[at(low) : at(high) + 1] = sign * (at(high) - at(low) + 1)

    if isinstance(figure, Spread):
        draw(signs[0], figure.lower, figure.upper)
        draw(signs[1], figure.low, figure.high)
        draw(signs[2], figure.median, figure.median)
    elif figure.of:
        if not figure.few:
            draw(signs[1], figure.low, figure.high)
        draw(signs[2], figure.share, figure.share)
    line = Text(no_wrap=True)
    for mark in marks:
        line.append(mark, "cyan" if mark == signs[1] else "bold" if mark == signs[2] else "dim")
    return line


def _advice(groups: Sequence[Group], width: int, signs: str) -> Table:
    from isolate.review.turned import beside

    name, across = _widths(groups, width)
    grid = _table(name, across)
    for group in groups:
        first = True
        for had in group.declined:
            if not had.times:
                continue
            said = [f"{had.title}: {had.times:,}"]
            if had.right.of:
                said.append(f"right {had.right.said}")
                said += [words for words in (beside(had.taken),) if words]
            if had.unjudged:
                said.append(f"{had.unjudged:,} not judged")
            plot = _plot(had.right, 1.0, across, signs)
            grid.add_row(text(group.name if first else ""), plot, Together(*(text(line) for line in said)))
            first = False
        taken = f"{group.taken:,} taken as put forward"
        grid.add_row(text(group.name if first else ""), "", text(taken if not first else f"None; {taken}"))
    if any(had.right.of for group in groups for had in group.declined):
        grid.add_row("", Text(f"0{'100%':>{across - 1}}", style="dim", no_wrap=True), "")
    return grid


def _versions(groups: Sequence[Group]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for _ in range(3):
        grid.add_column(overflow="fold")
    for group in groups:
        grid.add_row(text(group.name), text(f"{group.first[:10]} to {group.last[:10]}"), text(_cases(group.cases)))
    return grid


# -- tables ----------------------------------------------------------------------------------------


def _tables(arguments: argparse.Namespace, store: Store, since: str, until: str) -> int:
    from isolate.review.tables import write_tables
    from isolate.terminal.plain import say

    written = write_tables(
        store,
        arguments.folder,
        arguments.kind,
        since=since,
        until=until,
        engine=arguments.engine,
        overwrite=arguments.overwrite,
    )
    for path, count in written.files:
        say(f"{path}: {count:,} {'row' if count == 1 else 'rows'}")
    say(f"{_cases(written.cases)}.")
    for note in written.notes:
        say(note)
    return 0

"""``review CASE --what-if``: a case run on with something changed, beside the case as it was."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from io import StringIO
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console, Group, RenderableType
from rich.table import Table

from isolate.case.intake import Refused
from isolate.kb.shown import plain
from isolate.review.story import number, share
from isolate.terminal.layout import heading, text
from isolate.terminal.words import minutes, small

if TYPE_CHECKING:
    import argparse

    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.case.store import Store
    from isolate.kb.model import Knowledge
    from isolate.review.what_if import Both, Course, Row, WhatIf

WIDE = 100
"""Columns from which on the two courses stand beside each other."""
COLUMNS = 80
"""Columns of a text file."""
ALIKE = 3
"""A run of more than so many steps that go the same is told in one line."""
BEFORE, AFTER = "AS IT WAS", "CHANGED"
BOTH_WAYS = (
    "The first sentence rereads the answers that the case had, as its review does under “How firm the verdict is”. The "
    "second works the case anew from the change and supposes what was not asked, so it may come to another end."
)
LEGEND = (
    "In front the minutes worked by then, by the book. [supposed]: the case has no answer to that about that state of "
    "things; what was most probable then is taken. Answers without a mark are as recorded."
)
DIGEST = re.compile(r"[0-9a-f]{8,64}")


def run(arguments: argparse.Namespace, events: Sequence[Event], kits: Callable[[str], Kit], store: Store | None) -> int:
    """Run ``review CASE --what-if``; return its exit status. Raises Refused, and what reading knowledge raises."""
    from isolate.case.case import BadIntake, fold
    from isolate.review.what_if import changes, what_if

    if arguments.html is not None or arguments.prov is not None or arguments.only is not None:
        raise Refused("what if is printed, with --json as JSON or with --text into a file; it has no page and no parts")
    state = fold(events)
    if state.intake is None:
        raise BadIntake("the case does not begin with its opening, so nothing of it can be run on")
    with Console(stderr=True).status("Running the case on"):
        kit = kits(state.intake.engine)
        asked = changes(arguments.what_if, kit, events, _versions(arguments, store))
        found = what_if(kit, events, asked)
    if arguments.json:
        print(json.dumps(found.as_dict(), indent=2, ensure_ascii=False))
    elif arguments.text is not None:
        from isolate.case.store import write_whole

        out = StringIO()
        console = Console(file=out, width=COLUMNS, color_system=None, highlight=False, markup=False, emoji=False)
        console.print(page(found, COLUMNS))
        write_whole(arguments.text, _stripped(out.getvalue()).encode("utf-8", "replace"), arguments.overwrite)
        print(f"{arguments.text}: what if, for case {found.case}")
    else:
        _show(found)
    return 0


def _versions(arguments: argparse.Namespace, store: Store | None) -> Callable[[str], Knowledge]:
    """Return what gives other knowledge by a folder, or by the digest of a version that is here."""

    def version(name: str) -> Knowledge:
        from isolate.kb.load import load

        if Path(name).is_dir():
            return load(Path(name)).knowledge
        if DIGEST.fullmatch(name):
            for had in (load(None).knowledge, load(arguments.knowledge).knowledge if arguments.knowledge else None):
                if had is not None and had.digest.startswith(name):
                    return had
            if (kept := _kept(store, name)) is not None:
                return kept
        raise Refused(
            f"knowledge={plain(name)}: that is no folder, and no version whose digest begins so is here; isolate "
            "store knowledge lists those that are (of a digest no fewer than 8 digits)"
        )

    return version


def _kept(store: Store | None, start: str) -> Knowledge | None:
    from isolate.case.archive import read_back

    if store is None or (digest := store.knowledge_named(start)) is None:
        return None
    data = store.knowledge(digest)
    return None if data is None else read_back(data, digest).knowledge


def _show(found: WhatIf) -> None:
    from isolate.terminal.reviewing import PLAIN

    console = Console(highlight=False, markup=False, emoji=False)
    with console.capture() as captured:
        console.print(page(found, console.width))
    said, encoding = _stripped(captured.get()), sys.stdout.encoding or "utf-8"
    if not encoding.casefold().replace("-", "").startswith("utf"):
        said = said.translate({**PLAIN, ord("“"): '"', ord("”"): '"'}).encode(encoding, "replace").decode(encoding)
    sys.stdout.write(said)
    sys.stdout.flush()


def _stripped(said: str) -> str:
    return "\n".join(line.rstrip() for line in said.splitlines()) + "\n"


# -- what stands where -----------------------------------------------------------------------------


def page(w: WhatIf, width: int) -> Group:
    """Return a case beside itself with something changed: in two columns where it is wide, else one after the other."""
    parts: list[RenderableType] = [heading(f"Case {w.case}", width, "What if")]
    parts += [text(sentence, "bold") for sentence in (w.reread, w.sentence) if sentence]
    parts += [text(BOTH_WAYS, "dim")] if w.reread else []
    parts += [text(note, "dim") for note in w.notes]
    parts += [
        text(
            "Nothing of the case was touched; what is supposed did not happen, and nothing here releases an aircraft."
        ),
        "",
        _ends(w),
    ]
    if w.apart is not None:
        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(ratio=1, overflow="fold")
        grid.add_row(text(BEFORE, "bold"), text(w.apart.original))
        grid.add_row(text(AFTER, "bold"), text(w.apart.changed))
        parts += ["", text(f"The offers first differ after “{w.apart.after.rstrip('.')}”:"), grid]
    since = "from the opening" if w.since == 1 else f"from event {w.since}"
    if w.same:
        return Group(*parts)
    parts += ["", text(LEGEND, "dim")]
    if width >= WIDE:
        return Group(*parts, "", heading(since, width, "Side by side"), _two(w.beside))
    parts += ["", heading(since, width, BEFORE), _one([b.original for b in w.beside if b.original is not None])]
    parts += ["", heading(since, width, AFTER), _one([b.changed for b in w.beside if b.changed is not None])]
    return Group(*parts, "", heading("who is suspected first", width, "At the same points"), _points(w.beside))


def _ends(w: WhatIf) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for label, course in ((BEFORE, w.original), (AFTER, w.changed)):
        grid.add_row(text(label, "bold"), text(_end(course)))
    return grid


def _end(course: Course) -> str:
    end = f"{course.ended[:1].upper()}{course.ended[1:]}" if course.ended else "Not ended"
    named = f"; named: {small(course.named_title)} ({share(course.chance)})" if course.named else "; no fault named"
    on = ""
    if course.run_on:
        asked = sum(row.kind == "answer" and bool(row.how) for row in course.rows)
        on = f" Run on: {asked} answers, of which {course.supposed} supposed."
    return f"{end}{named}. {minutes(course.minutes)} by the book.{on}"


def _line(row: Row, lead: str) -> Group:
    """Return a row: what was asked or done, what came of it and where that comes from; under it who is first now."""
    said = f"{row.title}{': ' if row.said and not row.title.endswith('?') else ' ' if row.said else ''}{row.said}"
    found = text(said, "bold" if row.kind in ("repair", "end") else "")
    if row.how == "supposed":
        found.append("  [supposed]", "yellow")
    elif row.how == "changed":
        found.append("  [CHANGED]", "bold yellow")
    return Group(found) if _first(row) == lead else Group(found, text(f"  first: {_first(row)}", "dim"))


def _first(row: Row) -> str:
    return f"{small(row.lead_title) if row.lead else 'no fault at all'} {share(row.chance)}"


def _grid(*ratios: int) -> Table:
    """Return a table of pairs: minutes, and what stands beside them."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    for ratio in ratios:
        grid.add_column(width=5, justify="right", no_wrap=True)
        grid.add_column(ratio=ratio, overflow="fold")
    return grid


def _one(rows: Sequence[Row]) -> Table:
    """Return a course, one row under the other; who is suspected first is told where that changes, or how surely."""
    grid = _grid(1)
    lead = ""
    for row in rows:
        grid.add_row(f"{row.at:.0f}", _line(row, lead))
        lead = _first(row)
    return grid


def _two(beside: Sequence[Both]) -> Table:
    """Return both courses in two columns, rows about the same thing beside each other."""
    grid = _grid(1, 1)
    grid.add_row("", text(BEFORE, "bold"), "", text(AFTER, "bold"))
    leads = ["", ""]
    for alike, some in groupby(beside, key=_alike):
        pairs = list(some)
        if alike and len(pairs) > ALIKE:
            grid.add_row("", text(f"{len(pairs) - 1} steps that go the same on both sides, then", "dim"), "", "")
            pairs = pairs[-1:]
        for pair in pairs:
            cells: list[RenderableType] = []
            for side, row in enumerate((pair.original, pair.changed)):
                if row is None:
                    cells += ["", text("-", "dim")]
                else:
                    cells += [f"{row.at:.0f}", _line(row, leads[side])]
                    leads[side] = _first(row)
            grid.add_row(*cells)
    return grid


def _alike(pair: Both) -> bool:
    one, other = pair.original, pair.changed
    return (
        one is not None
        and other is not None
        and (one.said, number(one.at), _first(one)) == (other.said, number(other.at), _first(other))
    )


def _points(beside: Sequence[Both]) -> Table:
    """Return who was suspected first on either side, after what both courses have."""
    table = Table.grid(padding=(0, 2, 0, 0))
    for ratio in (2, 2, 2):
        table.add_column(ratio=ratio, overflow="fold")
    table.add_row(*(text(head, "bold") for head in ("After", BEFORE, AFTER)))
    for title, one, other in _pairs(beside):
        table.add_row(
            text(title), text(_first(one)), text("the same" if _first(one) == _first(other) else _first(other))
        )
    return table


def _pairs(beside: Sequence[Both]) -> Iterator[tuple[str, Row, Row]]:
    for pair in beside:
        if pair.original is not None and pair.changed is not None and pair.original.kind != "end":
            yield pair.original.title, pair.original, pair.changed

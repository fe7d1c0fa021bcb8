"""What closed cases say of the knowledge: laid out for the screen, as JSON, as a file for whoever applies it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from isolate.review.learning import HOW_OFTEN, behind, moved, named, short
from isolate.terminal.layout import heading, text

if TYPE_CHECKING:
    import argparse

    from isolate.review.learning import Learnt, Weighed
    from isolate.review.yaml_change import Section

APPLIED = "This tool changes nothing: a person reads the changes, and applies them or does not."
DEFER = "The figures only order the checks. What has to be done, and by whom, stays with the approved data."
NARROW = 72
"""Columns below which figures stand in sentences, not in a table."""
MOST_NAMED = 6
"""Cases named of those that are left out for one reason."""


def run(arguments: argparse.Namespace) -> int:
    """Run ``review learn``; return its exit status."""
    import sys

    from rich.console import Console

    from isolate.case.intake import Refused
    from isolate.case.store import open_store, write_whole
    from isolate.kb.load import load
    from isolate.kb.names import near
    from isolate.review.learning import changes, learn
    from isolate.review.yaml_change import patch, sections

    if arguments.least < 1:
        raise Refused(f"--least takes a number of cases from 1 up, not {arguments.least}")
    file = arguments.patch
    if file is not None and file.exists() and not arguments.overwrite:
        raise Refused(f"{file} is there already; --overwrite replaces it")
    since, until = _day("--since", arguments.since), _day("--until", arguments.until)
    if since and until and since > until:
        raise Refused(f"--since {since} lies after --until {until}")
    loaded = load(arguments.knowledge)
    engines = loaded.knowledge.engines
    if arguments.engine and arguments.engine not in engines:
        said = near(arguments.engine, engines) or f"; there are {', '.join(engines)}"
        raise Refused(f"no engine is called {arguments.engine!r}{said}")
    # Shown on a terminal alone, beside what is printed, and gone when it is done.
    with open_store(arguments.store, there=True) as store, Console(stderr=True).status("Reading the closed cases"):
        learnt = learn(loaded, store, since, until, arguments.engine, arguments.least)
    proposed = changes(learnt)
    said_so = sections(loaded, proposed)
    if file is not None and said_so:
        write_whole(file, patch(said_so, _head(learnt)).encode("utf-8"), arguments.overwrite)
    if arguments.json:
        import json

        shown = learnt.as_dict() | {"difference": patch(said_so)}
        print(json.dumps(shown, indent=2, ensure_ascii=False))
    else:
        console = Console(highlight=False)
        console.print(page(learnt, said_so, console.width))
    if file is not None:
        where = (
            f"{file} is written. Whoever applies it: patch -p1 < {file} in the folder that holds {loaded.folder.name}."
            if said_so
            else f"There is nothing to change, so {file} was not written."
        )
        print(where, file=sys.stderr if arguments.json else sys.stdout)
    return 0


def _day(option: str, told: str | None) -> str:
    """Return a day as it is written in RFC 3339, empty where none is told. Raises Refused."""
    from datetime import date

    from isolate.case.intake import Refused

    if not told:
        return ""
    try:
        return date.fromisoformat(told.strip()).isoformat()
    except ValueError:
        raise Refused(f"{option} takes a day such as 2030-01-31, not {told!r}") from None


def _head(learnt: Learnt) -> list[str]:
    """Return the remarks at the head of a file of changes."""
    lines = [f"What {_many(len(learnt.cases), 'closed case')} with a confirmed cause say of the knowledge."]
    lines += [f"Opened {learnt.first} to {learnt.last}.", APPLIED, again(learnt)]
    return [*lines, *learnt.notes, DEFER]


def again(learnt: Learnt) -> str:
    """Return what to do the next time, once this has been applied."""
    return (
        f"Once they are applied, ask the next time with --since {learnt.again}: the cases that are in the figures by "
        "then would count twice."
    )


def page(learnt: Learnt, found: Sequence[Section], width: int) -> Group:
    """Return what was learnt: on how many cases it rests, each change with what is behind it, what says nothing new."""
    parts: list[RenderableType] = [heading("What closed cases say of the knowledge", width), *_cases(learnt), ""]
    if not learnt.changes:
        parts.append(text("No change to propose.", "bold"))
    both = list(zip(learnt.changes, found, strict=True))
    for number, (weighed, section) in enumerate(((w, s) for w, s in both if not w.along), start=1):
        parts.append(heading(f"{number}. {weighed.title}", width))
        parts.append(text(f"{weighed.file}:{weighed.line}", "dim"))
        if width < NARROW:
            parts += [_hanging(line) for line in section.why[1:]]
        else:
            parts.append(_figures(weighed))
            lines = ("* The figure now lies outside its limits.", *behind(weighed), f"Cases: {named(weighed.cases)}")
            parts += [_hanging(line) for line in lines]
        parts += [*_difference(section), ""]
    if along := [weighed for weighed in learnt.changes if weighed.along]:
        parts.append(heading(f"With {'that prior' if _priors(learnt) == 1 else 'those priors'}", width))
        it = "it leaves" if _priors(learnt) == 1 else "they leave"
        parts.append(text(f"{_many(len(along), 'prior')} of the same zone scaled to what {it}: together they stay as "
                          "likely as they are."))  # fmt: skip
        for w in along:
            parts.append(_hanging(f"  {moved(w.figures[0])}  {w.title.removeprefix(HOW_OFTEN)} ({w.file}:{w.line})"))
        parts.append("")
    parts += [_hanging(line) for line in _rest(learnt)]
    if learnt.changes:
        parts += ["", *(text(line) for line in (APPLIED, again(learnt), DEFER))]
    parts += ["", text("To bear in mind", "bold"), *(_hanging(f"- {note}") for note in learnt.notes)]
    return Group(*parts)


def _priors(learnt: Learnt) -> int:
    return sum(w.what == "prior" and w.said == "change" for w in learnt.weighed)


def _cases(learnt: Learnt) -> Iterator[RenderableType]:
    count, out = len(learnt.cases), len(learnt.left_out)
    if not learnt.closed:
        yield text("No case here has ended in that span, so there is nothing to learn from.")
        return
    span = f", opened {learnt.first} to {learnt.last}" if count else ""
    has = "have" if count != 1 else "has"
    yield text(f"{count} of {_many(learnt.closed, 'closed case')} {has} a confirmed cause{span}.", "bold")
    if count:
        yield text(
            f"In {learnt.by_shop} of them the shop named the fault; in {count - learnt.by_shop} it confirmed the part, "
            "and the end of the case names the fault."
        )
    if out:
        yield text(f"{out} left out:")
    why: dict[str, list[str]] = {}
    for one in learnt.left_out:
        why.setdefault(one.why, []).append(f"{one.case} ({one.more})" if one.more else one.case)
    for reason, cases in sorted(why.items(), key=lambda item: (-len(item[1]), item[0])):
        more = f" and {len(cases) - MOST_NAMED} more" if len(cases) > MOST_NAMED else ""
        yield _hanging(f"  {len(cases)}: {reason} - {', '.join(cases[:MOST_NAMED])}{more}")
    if learnt.lost:
        yield text(f"{_many(learnt.lost, 'answer')} in them had names that the knowledge does not have any more.")


def _figures(weighed: Weighed) -> Table:
    """Return the figures of a row or a prior: how often each was seen, as it is, as it would be, and its limits."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(ratio=1, overflow="fold")
    for _ in range(5):
        grid.add_column(justify="right", no_wrap=True)
    what = "answer" if weighed.what == "likelihood" else ""
    had = "had" if weighed.what == "likelihood" else "confirmed"
    grid.add_row(*(Text(head, style="bold") for head in (what, had, "expected", "now", "proposed", "95 in 100")))
    for figure in weighed.figures:
        if not figure.written:
            continue
        named = text(f"{figure.title} [{figure.key}]" if weighed.what == "likelihood" else "prior")
        limits = f"{short(figure.low)} to {short(figure.high)}"
        now, _, proposed = moved(figure).partition(" -> ")
        style = "bold" if figure.moves else ""
        mark = "*" if figure.moves else " "
        cells = (str(figure.count), f"{figure.expected:.1f}", now, f"{proposed}{mark}", limits)
        grid.add_row(named, *(Text(cell, style=style) for cell in cells))
    return grid


def _rest(learnt: Learnt) -> Iterator[str]:
    few, same, out = learnt.of("too little"), learnt.of("nothing new"), learnt.of("change")
    if same or out:
        chance = "less than one" if learnt.by_chance < 0.95 else f"about {learnt.by_chance:.0f}"
        yield (
            f"Of {same + out} {'row or prior' if same + out == 1 else 'rows and priors'} weighed {out or 'none'} "
            f"{'stands' if out == 1 else 'stand'} out; with nothing off, {chance} would by chance."
        )
    other = "other " if learnt.changes else ""
    for number, said in (
        (same, "the cases say nothing new."),
        (few, f"too little to say, fewer than {learnt.least} cases; --least takes another number."),
    ):
        if number:
            yield f"{number} {other}{'row or prior' if number == 1 else 'rows and priors'}: {said}"
    if same or few:
        yield "All of them, with their cases, are in --json."


def _difference(section: Section) -> Iterator[RenderableType]:
    """Yield the lines taken out and put in, as they stand in the file; the mark in front says which is which."""
    for mark, lines, style in (("-", section.out, "red"), ("+", section.put, "green")):
        for line in lines:
            yield Text(f"{mark}   {text(line.strip()).plain}", style=style, overflow="fold")


def _hanging(line: str) -> RenderableType:
    """Return a line whose continuation lines stand a little further in than it does."""
    shown = text(line.strip())
    indent = len(line) - len(line.lstrip())
    return Padding(shown, (0, 0, 0, indent), expand=False) if indent else shown


def _many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"

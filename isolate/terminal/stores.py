"""The store commands: where cases are kept, what came from elsewhere, where one case has two ends; and their list."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from isolate.case.intake import Refused
from isolate.kb.shown import plain
from isolate.terminal.plain import say
from isolate.terminal.words import listed

if TYPE_CHECKING:
    import argparse

    from isolate.case.home import Home
    from isolate.case.store import Merged, Store, Summary


def run(arguments: argparse.Namespace) -> int:
    """Run a store command; return its exit status. Raises StoreError, Refused."""
    from isolate.case.store import open_store

    with open_store(arguments.store) as store:
        return int(getattr(sys.modules[__name__], f"_{arguments.command}")(arguments, store))


# -- the list of cases -------------------------------------------------------------------------------


def cases(arguments: argparse.Namespace) -> int:
    """Run ``cases`` and ``cases list``; return the exit status. Raises StoreError, Refused."""
    from isolate.case.store import open_store

    names = ("aircraft", "position", "engine", "complaint", "part", "since", "until")
    told: dict[str, Any] = {name: getattr(arguments, name, "") for name in names}
    told["words"] = [w for w in getattr(arguments, "words", ()) if w.strip()]
    told["ended"] = False if getattr(arguments, "open", False) else None
    limit = None if getattr(arguments, "all", False) else getattr(arguments, "limit", 40)
    if limit is not None and limit < 1:
        raise Refused(f"--limit is a number of cases from 1 up, not {limit}")
    with open_store(arguments.store) as store:
        found = store.find(limit=limit, **told)
        count = len(found) if limit is None or len(found) < limit else store.count(**told)
        empty = not found and store.count() == 0
    if not found:
        print("No cases yet. isolate chase opens one." if empty else "No case is like that.")
        return 0
    from rich.console import Console

    console = Console(highlight=False)
    console.print(_table(found))
    if len(found) > 1:
        say("The one written to last comes first.")
    if count > len(found):
        say(f"{count - len(found)} more; --all lists them, words and options such as --aircraft choose among them.")
    if forked := list(dict.fromkeys(case.id.partition("@")[0] for case in found if case.ends > 1)):
        say(f"Forked, with more than one end: {', '.join(forked)}. isolate store forks shows where they part.")
    return 0


def _table(found: list[Summary]) -> Any:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for heading in ("case", "complaint", "opened (UTC)", "state", "events"):
        # An id begins with aircraft and position; it is typed again, and has to stay in one piece.
        table.add_column(heading, overflow="fold", no_wrap=heading not in ("complaint", "state"))
    for case in found:
        state = "ended" if case.ended else "open"
        cells = (
            case.id,
            case.complaint,
            case.opened[:16].replace("T", " "),
            f"{state}, {case.ends} ends" if case.ends > 1 else state,
            str(case.events),
        )
        table.add_row(*(Text(plain(c)) for c in cells))
    return table


# -- what came in --------------------------------------------------------------------------------------


def taken(store: Store, merged: Merged) -> list[str]:
    """Return the lines on a case that was taken in."""
    lines = [f"{merged.case}: {merged.added} events added, {merged.had} were here already"]
    if merged.fork:
        ends = ", ".join(head.name for head in store.heads(merged.case))
        told = _aircraft(store, merged.case) if merged.fork == 1 else []
        if len(told) > 1:
            lines.append(
                f"  Two different cases, of {listed(told)}, have one id. All are kept, nothing was overwritten: "
                f"{ends}. The id alone means the first; the others are named with their @, and figures of all cases "
                "leave them out."
            )
        else:
            first = "they have nothing in common" if merged.fork == 1 else f"they part at event {merged.fork}"
            lines.append(
                f"  A fork: the case was told two ways, and {first}. Both are kept, nothing was overwritten: {ends}."
            )
    if merged.back:
        lines.append(f"  {merged.back}")
    return lines


def _aircraft(store: Store, case: str) -> list[str]:
    """Return the aircraft that the ends of a case are of, in the order of the ends."""
    found = [str(store.events(head.name)[0].body.get("aircraft", "")) for head in store.heads(case)]
    return list(dict.fromkeys(name or "one not told" for name in found))


def _merge(arguments: argparse.Namespace, store: Store) -> int:
    from isolate.case.home import merge

    with _progress() as told:
        home = merge(store, arguments.files, told)
        lacking = _knowledge_lacking(store)
    _came_home(store, home)
    if lacking:
        say(
            f"Not kept here is the knowledge {', '.join(digest[:12] for digest in lacking)}, which some cases were "
            "worked with; they cannot be replayed until isolate store knowledge --keep FOLDER brings it."
        )
    return 1 if home.problems else 0


def _knowledge_lacking(store: Store) -> list[str]:
    """Keep the shipped knowledge where a case was worked with it; return the digests of what else is not kept."""
    lacking = [k.digest for k in store.knowledges() if not k.size]
    if lacking:
        from isolate.kb.load import load

        loaded = load()
        if loaded.knowledge.digest in lacking and store.keep_knowledge(loaded):
            lacking.remove(loaded.knowledge.digest)
    return lacking


def _copy(arguments: argparse.Namespace, store: Store) -> int:
    from isolate.case.home import copy
    from isolate.case.store import open_store

    with open_store(arguments.to) as other:
        if other.label == store.label:
            raise Refused("a store is not copied to itself: name another one")
        with _progress() as told:
            home = copy(store, other, told)
        _came_home(other, home)
        say(f"Copied to {other.label}; {store.label} is as it was.")
    return 1 if home.problems else 0


def _came_home(store: Store, home: Home) -> None:
    shown = [m for m in home.merged if m.added or m.fork]
    for merged in shown[:SHOWN]:
        for line in taken(store, merged):
            say(line, "  ")
    if len(shown) > SHOWN:
        say(f"... and {len(shown) - SHOWN} more")
    for merged in [m for m in shown[SHOWN:] if m.fork]:
        for line in taken(store, merged):
            say(line, "  ")
    for note in home.notes:
        say(plain(note), "  ")
    for problem in home.problems:
        print(f"isolate: {plain(problem)}", file=sys.stderr)
    added = sum(m.added for m in home.merged)
    forks = sum(bool(m.fork) for m in home.merged)
    same = len(home.merged) - len(shown)
    say(
        f"{_many(len(home.merged), 'case')} read: {_many(added, 'event')} added, {same} with nothing new, "
        f"{_many(forks, 'fork')}"
        + (f"; {_many(len(home.problems), 'thing')} not taken in, said above." if home.problems else ".")
    )


SHOWN = 40
"""Cases that came in, named one by one."""


# -- what is here ----------------------------------------------------------------------------------------


def _show(arguments: argparse.Namespace, store: Store) -> int:
    totals = store.totals()
    kept = [k for k in store.knowledges() if k.size]
    say(f"Cases are kept in {store.label}")
    say(f"  {_many(totals['cases'], 'case')}, {totals['open']} of them open; {_many(totals['events'], 'event')}", "  ")
    say(f"  {_many(len(kept), 'version')} of the knowledge kept beside them", "  ")
    if totals["forked"]:
        say(f"  {_many(totals['forked'], 'case')} forked: isolate store forks shows where", "  ")
    for case, why in (notes := store.notes())[:SHOWN]:
        say(f"  Case {case} cannot be used for searches and figures, its events are kept: {why}.", "  ")
    if len(notes) > SHOWN:
        say(f"  ... and {len(notes) - SHOWN} more such cases", "  ")
    return 0


def _forks(arguments: argparse.Namespace, store: Store) -> int:
    forks = store.forks()
    for case in forks:
        say(f"{case}:")
        for head in store.heads(case):
            state = f"{'ended' if head.ended else 'open'}{', signed' if head.signed else ''}"
            where = "nothing in common with the other" if head.parts == 1 else f"parts at event {head.parts}"
            main = "; the main one, meant by the case's name alone" if head.main else ""
            when = head.last[:16].replace("T", " ")
            say(f"  {head.name}: {_many(head.events, 'event')}, {where}, last {when}, {state}{main}", "    ")
    if not forks:
        say("No case here has more than one end.")
        return 0
    say("Signed comes before unsigned, ended before open, then the longer. isolate review verify CASE@HEAD proves a "
        "signature, isolate review CASE@HEAD reads one end, isolate chase --resume CASE@HEAD goes on with it."
    )  # fmt: skip
    return 0


def _rebuild(arguments: argparse.Namespace, store: Store) -> int:
    with _progress() as told:
        made = store.rebuild(told)
    for line in made.said:
        say(plain(line), "  ")
    say(f"Made again from the events: what lists and searches look at, of {_many(made.ends, 'trail')}.")
    if made.said:
        say("Somebody changed the list by hand, or the store was damaged: isolate review verify looks at every trail.")
    return 1 if made.said else 0


def _knowledge(arguments: argparse.Namespace, store: Store) -> int:
    from isolate.kb.load import load

    if arguments.keep is not None:
        loaded = load(arguments.keep)
        damaged = store.knowledge_fault(loaded.knowledge.digest)
        if not store.keep_knowledge(loaded, anew=bool(damaged)):
            raise Refused(f"{arguments.keep}: it changed while it was read, so it was not kept; do it again")
        if damaged:
            say(f"What was kept under {loaded.knowledge.digest[:12]} could not be used ({plain(damaged)}).")
        say(f"{loaded.knowledge.digest[:12]} is kept{', in its place' if damaged else ''}")
    now = load().knowledge.digest
    versions = store.knowledges()
    if not versions:
        say("No version of the knowledge is kept here yet; the first case brings its own.")
        return 0
    for v in versions:
        here = f"kept, {v.size / 1000:.0f} kB" if v.size else "not kept here"
        used = f", {v.first[:10]} to {v.last[:10]}" if v.cases else ""
        mine = "; the one shipped with this program" if v.digest == now else ""
        say(f"{plain(v.digest[:12])}: {_many(v.cases, 'case')}{used}; {here}{mine}", "  ")
    if any(not v.size for v in versions):
        say("A trail whose version is not kept cannot be replayed here; --keep FOLDER adds one.")
    return 0


# -- words -------------------------------------------------------------------------------------------------


def _many(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}".replace(",", " ")


@contextmanager
def _progress() -> Iterator[Any]:
    """How far it is, on a terminal alone, beside what is printed, and gone when it is done."""
    from rich.console import Console

    with Console(stderr=True).status("Working") as status:
        yield lambda done, of: status.update(f"{done} of {of}")

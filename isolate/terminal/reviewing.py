"""``review``: one case read back, on the screen or into files."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.case.intake import Refused
from isolate.kb.names import near
from isolate.kb.shown import plain

if TYPE_CHECKING:
    import argparse

    from isolate.case.chain import Fault
    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.case.store import Store
    from isolate.review.shapes import Review
    from isolate.review.versions import Versions

FIELDS: Mapping[str, tuple[str, ...]] = {
    "story": ("story",),
    "belief": ("suspects", "belief", "answers", "not_asked_at", "not_asked", "not_done"),
    "firm": ("firm",),
    "readings": ("readings",),
    "rules": ("rules", "cautions"),
    "minutes": ("spent", "book", "clock", "isolated", "until"),
    "advice": ("advice", "cheaper", "hindsight"),
    "trust": ("trust", "forks"),
    "record": ("record",),
}
"""Part → what of a review it shows, as JSON."""
ALWAYS = ("case", "head", "notes", "came_back", "drawn", "unmet")
PLAIN = str.maketrans({"─": "-", "…": "~", "→": ">", "–": "-", "·": ".", "“": '"', "”": '"', "’": "'"})
"""What stands for the signs of ours that not every terminal has."""
COLUMNS = 80
"""Columns of a text file."""


@dataclass(frozen=True)
class Found:
    """A case as it was found: its whole events, what is wrong with the rest, and what else there is of it."""

    events: tuple[Event, ...]
    faults: tuple[str, ...] = ()
    forks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def run(arguments: argparse.Namespace) -> int:
    """Run ``review``; return its exit status."""
    from contextlib import ExitStack

    from isolate.case.store import open_store
    from isolate.review.versions import Versions

    only = _part(arguments.only)
    files = [path for path in (arguments.html, arguments.text, arguments.prov) if path is not None]
    _free(files, arguments.overwrite)
    with ExitStack() as stack:
        store = None
        if not (path := _is_file(arguments.case)) or arguments.store:
            # With a file it is only asked for knowledge that was kept in it.
            store = stack.enter_context(open_store(arguments.store, later=path, there=True))
        found = _from_file(Path(arguments.case)) if path else _from_store(store, arguments.case)
        versions = Versions(arguments.knowledge, store)
        kits = _kits(versions, found.events, arguments.knowledge)
        if arguments.what_if:
            from isolate.terminal import whatif

            return int(whatif.run(arguments, found.events, kits, store))
        with _status("Reading the case back") as doing:
            made = _reviewed(found, versions, kits, "" if files else only, None if path else store, doing)
        return _given(arguments, made, found.events, only)


# -- the case ------------------------------------------------------------------------------------------


def _is_file(case: str) -> bool:
    """Return whether a case is given as a file: it is there, or could only be meant as one."""
    return Path(case).is_file() or "/" in case or case.endswith(".jsonl")


def _from_store(store: Store | None, case: str) -> Found:
    assert store is not None
    from isolate.case.store import StoreError

    heads, faults = store.heads(case), store.faults(case)
    try:
        events = store.events(case)
    except StoreError as error:
        # What cannot be read as an event any more is told where it is; there is nothing whole to go on with.
        raise Refused(f"{error} isolate review verify {case} says what is wrong with it.") from None
    events, notes = _whole(events, faults)
    here = next((head.head for head in heads if head.head.startswith(events[-1].hash)), heads[0].head)
    forks = tuple(
        f"It has another end, {head.name}: {head.events} events, parting at event {head.parts}, the last at "
        f"{head.last[:16].replace('T', ' ')} UTC. isolate review {head.name} reads it."
        for head in heads
        if head.head != here and len(heads) > 1
    )
    return Found(events, tuple(str(fault) for fault in faults), forks, notes)


def _from_file(path: Path) -> Found:
    """Return a case from a file, as far as it is whole. Raises Refused where nothing of it is."""
    from isolate.review.reading import NotATrail, read

    try:
        had = read(path)
    except NotATrail as error:
        raise Refused(str(error)) from None
    if not had.sound:
        why = had.newer or (str(had.faults[0]) if had.faults else "it holds no event")
        raise Refused(f"{plain(path)}: nothing of it is whole, so there is nothing to review: {why}")
    if not had.full:
        raise Refused(f"{plain(path)}: it is too large to be reviewed; isolate review verify tells whether it is whole")
    notes = [_sentence(one) for one in had.carried]
    notes += [_sentence(one) for one in (had.newer, had.left) if one]
    if had.faults:
        notes.append(_left_out(had.sound, str(had.faults[0])))
    return Found(had.events[: had.sound], tuple(str(fault) for fault in had.faults), notes=tuple(notes))


def _sentence(said: str) -> str:
    return f"{said[:1].upper()}{said[1:].rstrip('.')}."


def _whole(events: tuple[Event, ...], faults: Sequence[Fault]) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """Return the events before the first break in their chain, and a note where some were left out.

    Raises Refused where not even the first is whole.
    """
    if not faults:
        return events, ()
    first = min(fault.seq for fault in faults)
    whole = tuple(event for event in events if event.seq < first)
    if not whole:
        raise Refused(f"nothing of it is whole, so there is nothing to review: {faults[0]}")
    if len(whole) == len(events):
        return events, ()
    return whole, (_left_out(len(whole), str(faults[0])),)


def _left_out(whole: int, why: str) -> str:
    return f"The trail is broken: {why.rstrip('.')}. This is a review of events 1 to {whole} only, which are whole."


def _kits(versions: Versions, events: Sequence[Event], given: Path | None) -> Callable[[str], Kit]:
    """Return what gives the kit of an engine: of the case's own knowledge, else of the one given or shipped."""
    from isolate.kb.load import load
    from isolate.terminal.plain import kits

    digest = str(events[0].body.get("knowledge", "")) if events else ""
    made: dict[str, Kit] = {}

    def kit(engine: str) -> Kit:
        if engine not in made:
            made[engine] = versions(digest, engine) or kits(load(given).knowledge)(engine)
        return made[engine]

    return kit


def _reviewed(
    found: Found,
    versions: Versions,
    kits: Callable[[str], Kit],
    only: str,
    store: Store | None,
    doing: Callable[[str], object],
) -> Review:
    """Return the review; what takes long and is not asked for is left out.

    ``store``: where the case is from; later cases of its engine are looked for there. ``doing``: is told what is done.
    """
    from isolate.case.settings import settings
    from isolate.review.keys import people
    from isolate.review.review import Slow, review
    from isolate.review.since import since
    from isolate.review.trust import trust

    doing("Replaying the trail" if only in ("", "trust") else "Looking at the signatures")
    bad: list[str] = []
    known = people(settings().people, bad)
    passed = [f"{one}. It was passed over among the keys of known people." for one in bad]
    proven = trust(versions, found.events, found.faults, known, replay=only in ("", "trust"), notes=passed)
    doing("Looking for later cases of the engine")
    back = since(store, found.events, kits) if store is not None else ()
    slow: Mapping[Slow, tuple[str, ...]] = {"firm": ("", "firm"), "not asked": ("", "belief"), "record": ("", "record")}
    without = [part for part, wanted in slow.items() if only not in wanted]
    return review(
        kits,
        found.events,
        trust=proven,
        forks=found.forks,
        notes=found.notes,
        without=without,
        back=back,
        doing=doing,
    )


# -- what is given -------------------------------------------------------------------------------------


def _given(arguments: argparse.Namespace, made: Review, events: Sequence[Event], only: str) -> int:
    """Write what is to be written, print what is to be printed."""
    from isolate.case.store import write_whole

    written: list[tuple[Path, str, str]] = []
    if arguments.html is not None:
        from isolate.review.pages import case_page

        written.append((arguments.html, case_page(made), "the review as a page"))
    if arguments.text is not None:
        written.append((arguments.text, as_text(made, COLUMNS, only), "the review as text"))
    if arguments.prov is not None:
        from isolate.review.provenance import prov_json

        written.append((arguments.prov, prov_json(events, made), "where everything came from"))
    for path, content, _ in written:
        write_whole(path, content.encode("utf-8", "replace"), arguments.overwrite)
    if arguments.json:
        print(json.dumps(_as_json(made, only), indent=2, ensure_ascii=False))
        return 0
    for path, _, what in written:
        print(f"{path}: {what} of case {made.case}")
    if not written:
        _show(made, only)
    return 0


def as_text(review: Review, width: int, only: str = "") -> str:
    """Return a review as plain text of so many columns."""
    from io import StringIO

    from rich.console import Console

    from isolate.terminal.review_layout import page

    out = StringIO()
    console = Console(file=out, width=width, color_system=None, highlight=False, markup=False, emoji=False)
    console.print(page(review, width, only))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _show(review: Review, only: str) -> None:
    """Print a review; where the output does not take our signs, with plain ones."""
    from rich.console import Console

    from isolate.terminal.review_layout import page

    console = Console(highlight=False, markup=False, emoji=False)
    with console.capture() as captured:
        console.print(page(review, console.width, only))
    said = "\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n"
    encoding = sys.stdout.encoding or "utf-8"
    if not encoding.casefold().replace("-", "").startswith("utf"):
        said = said.translate(PLAIN).encode(encoding, "replace").decode(encoding)
    sys.stdout.write(said)
    sys.stdout.flush()


def _as_json(review: Review, only: str) -> dict[str, Any]:
    whole = review.as_dict()
    return {name: whole[name] for name in (*ALWAYS, *FIELDS[only])} if only else whole


def _part(only: str | None) -> str:
    """Return the part that is asked for, empty for all. Raises Refused for one that there is not."""
    if only is None:
        return ""
    if only not in FIELDS:
        raise Refused(f"a review has no part {plain(only)!r}{near(only, FIELDS)}; its parts: {', '.join(FIELDS)}")
    return only


def _free(paths: Sequence[Path], overwrite: bool) -> None:
    """Raise Refused for a file that is there already, before anything is worked out, and for one named twice."""
    for path in paths:
        if path.exists() and not overwrite:
            raise Refused(f"{path} is there already; --overwrite replaces it")
    if len({path.absolute() for path in paths}) < len(paths):
        raise Refused("the page, the text and the provenance are files of their own: give each its own name")


@contextmanager
def _status(what: str) -> Iterator[Callable[[str], object]]:
    """Say on a terminal, and only there, what is being worked out; gives what tells the next thing."""
    from rich.console import Console

    with Console(stderr=True).status(what) as status:
        yield status.update

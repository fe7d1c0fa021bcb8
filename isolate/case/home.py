"""Bringing cases home: from files, from other stores, from folders of both. One bad file among many stops nothing."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from isolate.case.chain import verify
from isolate.case.store import Merged, Store, StoreError, not_an_address, open_store, read_case

COPIES = 3
"""How often a store is copied before it is said that it is being written to."""
ENDINGS = (".jsonl", ".db")
"""Of the files in a folder, those that are looked at."""


@dataclass(frozen=True)
class Home:
    """What came home: what each end of a case did; sentences on what was not taken in, and on what was replaced."""

    merged: tuple[Merged, ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def merge(
    store: Store, paths: Iterable[str | Path], progress: Callable[[int, int], None] = lambda done, of: None
) -> Home:
    """Take in case files, files of other stores, and folders of them, in any order; none of them is changed.

    Raises StoreError only where the store that takes them in fails.
    """
    merged: list[Merged] = []
    problems: list[str] = []
    notes: list[str] = []
    for path in _files(map(Path, paths), problems):
        try:
            if _is_store(path):
                with _copied(path) as other:
                    found = copy(other, store, progress, str(path))
                merged += found.merged
                problems += found.problems
                notes += found.notes
            else:
                events = read_case(path)
                if "drill" in events[0].body:
                    problems.append(f"{path}: a drill, and no case of a real aircraft; isolate drill class reads it.")
                    continue
                try:
                    merged += store.take([events], str(path))
                except StoreError as error:
                    if not str(error).startswith(f"{path}:"):
                        raise _Here(str(error)) from None
                    problems.append(str(error))
        except _Here as error:
            raise StoreError(str(error)) from None
        except StoreError as error:
            problems.append(str(error))
    return Home(tuple(merged), tuple(problems), tuple(notes))


def copy(
    source: Store,
    to: Store,
    progress: Callable[[int, int], None] = lambda done, of: None,
    label: str = "",
) -> Home:
    """Take everything of one store into another: each end that is whole, and the knowledge; drills are left out."""
    label = label or source.label
    merged: list[Merged] = []
    problems: list[str] = []
    notes: list[str] = []
    drills = 0
    ends = source.ends()
    for done, name in enumerate(ends, 1):
        progress(done, len(ends))
        try:
            events = source.events(name)
            faults = source.faults(name) or verify(events)
        except StoreError as error:
            problems.append(str(error).replace(source.label, label))
            continue
        if faults:
            problems.append(f"{label}: case {name} is not whole and was not taken in. {faults[0]}")
        elif "drill" in events[0].body:
            drills += 1
        else:
            try:
                merged += to.take([events], label)
            except StoreError as error:
                if not str(error).startswith(f"{label}:"):
                    raise _Here(str(error)) from None
                problems.append(str(error))
    if drills:
        problems.append(f"{label}: drills, which are no cases of a real aircraft, were left out: {drills}.")
    for kept in source.knowledges():
        data = source.knowledge(kept.digest)
        if data is not None:
            try:
                if said := to.keep_archive(kept.digest, kept.kept, data):
                    notes.append(said)
            except StoreError as error:
                problems.append(f"{label}: {error}")
    return Home(tuple(merged), tuple(problems), tuple(notes))


class _Here(StoreError):
    """The store that takes in has failed; going on with the next file would be no use."""


def _files(paths: Iterable[Path], problems: list[str]) -> Iterator[Path]:
    for path in paths:
        try:
            not_an_address(str(path))
        except StoreError:
            problems.append(
                "What was given looks like the address of a database and is not shown, as it may hold a password: "
                "isolate store copy --store ADDRESS --to STORE takes one in."
            )
            continue
        try:
            if not path.is_dir():
                yield path
                continue
            inside = sorted(p for p in path.iterdir() if p.suffix in ENDINGS and not p.is_dir())
        except (OSError, ValueError) as error:
            problems.append(f"{path}: could not be read: {getattr(error, 'strerror', None) or error}.")
            continue
        if not inside:
            problems.append(f"{path}: a folder without any {' or '.join(ENDINGS)} file.")
        yield from inside


def _is_store(path: Path) -> bool:
    try:
        if path.exists() and not path.is_file():
            raise StoreError(f"{path}: not a plain file.")
        with open(path, "rb") as stream:
            return stream.read(16) == b"SQLite format 3\0"
    except (OSError, ValueError) as error:
        raise StoreError(f"{path} could not be read: {getattr(error, 'strerror', None) or error}.") from None


@contextmanager
def _copied(path: Path) -> Iterator[Store]:
    """Open a copy of a store's file, since opening one for good writes beside it and may change its form."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / path.name
        try:
            for _ in range(COPIES):
                before = _state(path)
                for ending in before:
                    shutil.copyfile(path.with_name(path.name + ending), place.with_name(place.name + ending))
                if _state(path) == before:
                    break
                for ending in before:
                    place.with_name(place.name + ending).unlink()
            else:
                raise StoreError(f"{path}: it is being written to just now; take it in when that has ended.")
        except OSError as error:
            raise StoreError(f"{path} could not be read: {error.strerror or error}.") from None
        try:
            with open_store(place) as store:
                store.label = str(path)
                yield store
        except StoreError as error:
            raise type(error)(str(error).replace(str(place), str(path))) from None


def _state(path: Path) -> dict[str, tuple[int, int]]:
    """Return the files of a store, by what their names end in after the first's, with size and time."""
    found = {}
    for ending in ("", "-wal"):
        beside = path.with_name(path.name + ending)
        if beside.exists():
            told = beside.stat()
            found[ending] = (told.st_size, told.st_mtime_ns)
    return found

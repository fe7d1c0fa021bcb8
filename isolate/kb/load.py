"""Read a folder of knowledge: YAML in, one frozen :class:`~isolate.kb.model.Knowledge` out.

A folder has one sub-folder for each kind of entry, and in it any number of ``*.yaml`` files; a file has
one top key, the kind, and under it name → entry. Every mistake is found in one pass and told with
its file and line: first what cannot be read, then what has the wrong shape, then what does not fit together.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import rfc8785
from pydantic import ValidationError

from isolate.kb.agree import agree
from isolate.kb.folder import Base, read_folder
from isolate.kb.model import KINDS, NAME, Knowledge
from isolate.kb.read import NO_NAME, Extent, KnowledgeError, Problem, Report, Spot, Written, plain_errors

__all__ = ["KnowledgeError", "Loaded", "Problem", "Spot", "load", "shipped", "shipped_scenarios"]


@dataclass(frozen=True)
class Loaded:
    """Knowledge that has been read and found sound, and where each part of it is written."""

    knowledge: Knowledge
    folder: Path
    _written: Mapping[tuple[str, str], Written] = field(repr=False, compare=False)

    def where(self, kind: str, name: str, *path: str | int) -> Spot:
        """The place of an entry, or of what lies along ``path`` inside it (as far as the file goes).

        Raises:
            KeyError: there is no entry of that kind and name.
        """
        return self._written[kind, name].spot(path)

    def extent(self, kind: str, name: str, *path: str | int) -> Extent | None:
        """From where to where what lies at ``path`` in an entry is written, None where nothing is.

        Raises:
            KeyError: there is no entry of that kind and name.
        """
        return self._written[kind, name].extent(path)


def shipped() -> Path:
    """The folder of knowledge that travels with the package: inside it, or beside it in a checkout."""
    return _travelling("knowledge")


def shipped_scenarios() -> Path:
    """The folder of drills that travels with the package: inside it, or beside it in a checkout."""
    return _travelling("scenarios")


def _travelling(name: str) -> Path:
    package = Path(__file__).resolve().parent.parent
    inside = package / "_data" / name
    return inside if inside.is_dir() else package.parent / name


def load(folder: Path | None = None) -> Loaded:
    """Read and check a folder of knowledge, the shipped one by default.

    The shipped one is read once in a process, for as long as none of its files changes.

    Raises:
        KnowledgeError: anything is wrong, with all that is wrong.
    """
    if folder is not None:
        return _load(folder)
    top = shipped()
    stamp = _stamp(top)
    if _kept.get("stamp") != stamp:
        _kept.update(stamp=stamp, loaded=_load(top))
    found: Loaded = _kept["loaded"]
    return found


_kept: dict[str, Any] = {}
"""The shipped knowledge as it was read last, and the stamp of its files."""


def _stamp(top: Path) -> tuple[Any, ...]:
    """Return what changes with any file of a folder: names, sizes, times of the last change."""
    found = []
    for path in sorted(top.rglob("*")):
        about = path.stat()
        found.append((str(path), about.st_size, about.st_mtime_ns))
    return (str(top), *found)


def _load(folder: Path) -> Loaded:
    top = Path(os.path.abspath(folder))
    report = Report()
    base = read_folder(top, report)
    entries = _shape(base, report)
    agree(base, entries, report)
    if report.problems:
        raise KnowledgeError(report.problems)
    # Sorted, so that nothing depends on how the entries are spread over files.
    knowledge = Knowledge.model_validate({kind: dict(sorted(entries[kind].items())) for kind in KINDS})
    knowledge = knowledge.model_copy(update={"digest": _digest(knowledge)})
    return Loaded(knowledge=knowledge, folder=top, _written=base.written)


def _shape(base: Base, report: Report) -> dict[str, dict[str, Any]]:
    """The entries that have the right shape, by kind and name; what is wrong with the others is reported."""
    entries: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    spoken_for = report.lines()
    for kind, model in KINDS.items():
        for name, data in base.raw[kind].items():
            written = base.written[kind, name]
            if not re.fullmatch(NAME, name):
                report(written.spot(), f"`{name}` {NO_NAME}")
            try:
                entry = model.model_validate(data, strict=True)
            except ValidationError as error:
                for spot, message in plain_errors(error, model, name, written):
                    # A line that could not be read has been told of already.
                    if spot not in spoken_for:
                        report(spot, message)
            else:
                entries[kind][name] = entry
    return entries


def _digest(knowledge: Knowledge) -> str:
    plain = knowledge.model_dump(mode="json", exclude={"digest"})
    for entry in (*plain["checks"].values(), *plain["repairs"].values()):
        # Older knowledge keeps its digest, and cases their knowledge: what it could not say yet is not in it.
        if not entry["reads"]:
            del entry["reads"]
    # Canonical JSON sorts keys, but the order of a check's outcomes (best news to worst) carries meaning.
    for check in plain["checks"].values():
        check["outcomes"] = list(check["outcomes"].items())
    return hashlib.sha256(rfc8785.dumps(plain)).hexdigest()

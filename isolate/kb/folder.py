"""A folder of knowledge as plain data: one sub-folder for each kind of entry, in it any number of YAML files.

A file has one top key, the kind, and under it name → entry.
"""

from __future__ import annotations

import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from isolate.kb.model import KINDS
from isolate.kb.names import near
from isolate.kb.read import Report, Spot, Written, document, plain_os_error

__all__ = ["Base", "read_folder"]


@dataclass
class Base:
    """All entries as plain data, before anybody has looked at their shape."""

    label: str
    raw: dict[str, dict[str, Any]] = field(default_factory=lambda: {kind: {} for kind in KINDS})
    written: dict[tuple[str, str], Written] = field(default_factory=dict)
    torn: set[str] = field(default_factory=set)
    """Kinds of which a file could not be read: whether a name exists is then not known."""


def read_folder(top: Path, report: Report) -> Base:
    """Read every file of a folder of knowledge; what cannot be read is reported."""
    base = Base(label=top.name or str(top))
    for item in _listing(top, base.label, report):
        label = f"{base.label}/{item.name}"
        mode = _mode(item, label, report)
        if mode is None:
            base.torn.update({item.name} & KINDS.keys())
        elif stat.S_ISDIR(mode):
            if item.name in KINDS:
                _read_kind(item, base, report)
            else:
                known = ", ".join(KINDS)
                hint = near(item.name, KINDS) or f"; the folders are {known}"
                report(Spot(label, 0), f"unknown folder{hint}")
        elif item.suffix.lower() in (".yaml", ".yml"):
            report(Spot(label, 0), "belongs in the folder of its kind, not here")
    if not base.written and not report.problems:
        report(Spot(base.label, 0), "no knowledge here: expected folders such as zones, checks and sources")
    return base


def _read_kind(folder: Path, base: Base, report: Report) -> None:
    kind = folder.name
    for item in _listing(folder, f"{base.label}/{kind}", report):
        label = f"{base.label}/{kind}/{item.name}"
        mode = _mode(item, label, report)
        if mode is None:
            base.torn.add(kind)
        elif stat.S_ISDIR(mode):
            report(Spot(label, 0), f"folders in here are not read: put the files straight into {kind}")
            base.torn.add(kind)
        elif item.suffix.lower() in (".yaml", ".yml"):
            if item.suffix != ".yaml":
                report(Spot(label, 0), "is not read: let its name end in .yaml")
                base.torn.add(kind)
            elif not stat.S_ISREG(mode):
                report(Spot(label, 0), "is not an ordinary file")
                base.torn.add(kind)
            elif not _read_file(item, label, kind, base, report):
                base.torn.add(kind)


def _listing(folder: Path, label: str, report: Report) -> list[Path]:
    try:
        return sorted(item for item in folder.iterdir() if not item.name.startswith("."))
    except OSError as error:
        report(Spot(label, 0), plain_os_error(error, "folder"))
        return []


def _mode(item: Path, label: str, report: Report) -> int | None:
    try:
        return item.stat().st_mode
    except OSError as error:
        report(Spot(label, 0), plain_os_error(error, "file"))
        return None


def _read_file(path: Path, label: str, kind: str, base: Base, report: Report) -> bool:
    """Put the entries of one file into ``base``; False when the file as a whole was no good."""
    wants = f"needs one top key, `{kind}:`, with the entries under it"
    found = document(path, label, report, wants, too_large=": split it")
    if found is None:
        return False
    node, data = found
    sound = True
    for key, value in node.value:
        name, spot = key.value, Spot(label, key.start_mark.line + 1)
        if name != kind:
            report(spot, f"the only top key in this folder is `{kind}`, not `{name}`")
            sound = False
        elif isinstance(value, yaml.MappingNode) and value.value and isinstance(data[kind], dict):
            _take(kind, value, data[kind], label, base, report)
        else:
            report(spot, f"`{kind}` needs entries: a name, and its fields under it")
            sound = False
    return sound


def _take(kind: str, node: yaml.MappingNode, data: dict[str, Any], label: str, base: Base, report: Report) -> None:
    for key, value in node.value:
        name, line = key.value, key.start_mark.line + 1
        if not isinstance(name, str) or name not in data:
            continue
        earlier = base.written.get((kind, name))
        if earlier is None:
            base.written[kind, name] = Written(label, line, value)
            base.raw[kind][name] = data[name]
        elif earlier.file != label:
            report(Spot(label, line), f"`{name}` is written twice: also at {earlier.file}:{earlier.line}")

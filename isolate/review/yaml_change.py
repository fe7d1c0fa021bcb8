"""A readable difference to the YAML of the knowledge: figures replaced where they stand, all else as it was written.

Each change is one section with its reasons above it, in the unified format that ``patch -p1`` and ``git apply`` take,
relative to the folder that the knowledge lies in. Sections of one file follow one another: each starts from what the
one before it leaves. Nothing is written here: whoever reads it applies it, or does not.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import unified_diff
from math import floor

from isolate.case.intake import Refused
from isolate.kb.load import Loaded
from isolate.kb.shown import plain

Way = tuple[str | int, ...]
FINEST = 4
"""Decimals beyond which no likelihood is written: the next figure would lie below the floor of all likelihoods."""


@dataclass(frozen=True)
class Change:
    """Figures of one entry to be written anew, and why.

    ``path``: to the figure, or to the map that holds the figures; ``figures``: key in that map (empty: the figure
    itself) → as it is to be written. ``why``: lines to stand above the difference.
    """

    kind: str
    name: str
    path: Way
    figures: Mapping[str, str]
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class Section:
    """One change as a difference: its place, the lines taken out and put in, and the whole of it with its heads."""

    file: str
    line: int
    why: tuple[str, ...]
    out: tuple[str, ...]
    put: tuple[str, ...]
    text: str


def sections(loaded: Loaded, changes: Sequence[Change]) -> tuple[Section, ...]:
    """Return the difference that each change makes, in the order of files and lines.

    Raises Refused where a file is not the one that was read, and KeyError for an entry that is not there.
    """
    edits: list[tuple[str, int, Change, list[tuple[int, int, str]]]] = []
    texts: dict[str, str] = {}
    for change in changes:
        place = loaded.extent(change.kind, change.name, *change.path)
        if place is None:
            raise KeyError(f"{change.kind} {change.name}: nothing stands at {change.path}")
        if place.file not in texts:
            texts[place.file] = _read(loaded, place.file)
        edits.append((place.file, place.start, change, _edits(loaded, change, texts[place.file])))
    found = []
    done: dict[str, list[tuple[int, int, str]]] = {}
    for file, start, change, new in sorted(edits, key=lambda e: e[:2]):
        before = _applied(texts[file], done.setdefault(file, []))
        done[file] += new
        after = _applied(texts[file], done[file])
        found.append(_section(file, texts[file].count("\n", 0, start) + 1, change, before, after))
    return tuple(found)


def patch(found: Sequence[Section], head: Sequence[str] = ()) -> str:
    """Return the sections as one file for ``patch -p1`` or ``git apply``; what stands above each is a remark in it."""
    parts = [_remarks(head), *(_remarks(s.why) + s.text for s in found)]
    return "\n".join(part for part in parts if part)


def _remarks(lines: Sequence[str]) -> str:
    # A mark in front, so that no line of it can be taken for one of the difference.
    return "".join(f"# {plain(line)}".rstrip() + "\n" for line in lines)


def _read(loaded: Loaded, file: str) -> str:
    with open(loaded.folder.parent / file, "rb") as stream:
        return stream.read().decode("utf-8-sig")


def _edits(loaded: Loaded, change: Change, text: str) -> list[tuple[int, int, str]]:
    """Return (first letter, letter after the last, new text) of each figure that changes."""
    found = []
    more: list[tuple[str, str]] = []
    for key, figure in change.figures.items():
        path = (*change.path, key) if key else change.path
        place = loaded.extent(change.kind, change.name, *path)
        if place is None:
            more.append((key, figure))
            continue
        had = text[place.start : place.end]
        if not _is_number(had):
            raise Refused(f"{place.file}:{place.line}: the file is not the one that was read any more; run it again")
        if had != figure:
            found.append((place.start, place.end, figure))
    if more:
        found.append(_beside(loaded, change, more, text))
    return sorted(found)


def _beside(loaded: Loaded, change: Change, more: Sequence[tuple[str, str]], text: str) -> tuple[int, int, str]:
    """Return the edit that writes figures which the map does not hold yet, after those that it holds."""
    holder = loaded.extent(change.kind, change.name, *change.path)
    places = [loaded.extent(change.kind, change.name, *change.path, key) for key in change.figures]
    there = [place for place in places if place is not None]
    if holder is None or not there:
        raise KeyError(f"{change.kind} {change.name}: no figures stand at {change.path}")
    end = max(place.end for place in there)
    if not holder.block:
        return end, end, "".join(f", {key}: {figure}" for key, figure in more)
    # After the whole line, so that a remark at its end stays where it is.
    at = text.find("\n", end)
    lines = [f"{' ' * holder.column}{key}: {figure}" for key, figure in more]
    if at < 0:
        return len(text), len(text), "".join(f"\n{line}" for line in lines)
    return at + 1, at + 1, "".join(f"{line}\n" for line in lines)


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?", text) is not None


def _applied(text: str, edits: Sequence[tuple[int, int, str]]) -> str:
    for start, end, new in sorted(edits, reverse=True):
        text = text[:start] + new + text[end:]
    return text


def _section(file: str, line: int, change: Change, before: str, after: str) -> Section:
    old, new = (re.findall(r"[^\n]*\n|[^\n]+", text) for text in (before, after))
    said = list(unified_diff(old, new, f"a/{file}", f"b/{file}"))
    lines = [d if d.endswith("\n") else f"{d}\n\\ No newline at end of file\n" for d in said]
    out = tuple(d[1:].rstrip("\r\n") for d in said[2:] if d.startswith("-"))
    put = tuple(d[1:].rstrip("\r\n") for d in said[2:] if d.startswith("+"))
    return Section(file, line, change.why, out, put, "".join(lines))


# -- figures as an author writes them ---------------------------------------------------------------


def decimals(figure: float) -> int:
    """Return how many decimals a figure is written with."""
    return len(f"{figure:.12f}".rstrip("0").partition(".")[2])


def written(figure: float, digits: int) -> str:
    """Return a figure with so many decimals at most, without noughts at its end, as a plain decimal number."""
    text = f"{figure:.{digits}f}".rstrip("0")
    return f"{text}0" if text.endswith(".") else text


def rounded(figures: Mapping[str, float], digits: int, keep: Sequence[str] = ()) -> dict[str, float]:
    """Return figures that come to one, rounded to so many decimals so that they still do (largest remainders first).

    ``keep``: keys whose figure may not come to nought. Where that takes more decimals, up to :data:`FINEST`, they are
    all written with more.
    """
    total = sum(figures.values())
    while digits < FINEST and any(figures[key] / total * 10**digits < 0.5 for key in keep):
        digits += 1
    unit = 10**digits
    whole = {key: floor(value / total * unit + 1e-9) for key, value in figures.items()}
    for key in keep:
        whole[key] = max(1, whole[key])
    left = unit - sum(whole.values())
    by_rest = sorted(figures, key=lambda key: (whole[key] - figures[key] / total * unit, key))
    for turn in range(abs(left)):
        if left > 0:
            whole[by_rest[turn % len(by_rest)]] += 1
        else:
            # Too much was kept: the largest gives it back.
            whole[max(whole, key=lambda key: (whole[key], key))] -= 1
    return {key: round(count / unit, digits) for key, count in whole.items()}

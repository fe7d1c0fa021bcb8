"""What the parts of the check share: the knowledge, what each engine has of it, and where what they say is kept."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from isolate.kb.fit import FitAccess, FitCheck, FitRepair, Fitted, fit
from isolate.kb.load import Loaded, Problem
from isolate.kb.model import Knowledge, Pattern, Rule

__all__ = ["Literal", "Path", "Step", "View", "above", "listed", "literals", "patterns", "steps"]

Path = tuple[str | int, ...]
"""Where something stands inside an entry."""


class View:
    """The knowledge seen engine by engine. What is true of some engines only is said with their names."""

    def __init__(self, loaded: Loaded) -> None:
        self.knowledge: Knowledge = loaded.knowledge
        self.fits: Mapping[str, Fitted] = {name: fit(loaded.knowledge, name) for name in loaded.knowledge.engines}
        self._loaded = loaded
        self._said: dict[tuple[str, str, Path, str], set[str]] = {}

    def say(self, kind: str, name: str, path: Path, message: str, engine: str | None = None) -> None:
        """Keep a finding about an entry, of one engine or, without one, of all the knowledge."""
        engines = self._said.setdefault((kind, name, path, message), set())
        engines.update(self.fits if engine is None else {engine})

    def problems(self) -> list[Problem]:
        """All that was said, sorted by file and line."""
        found = set()
        for (kind, name, path, message), engines in self._said.items():
            spot = self._loaded.where(kind, name, *path)
            label = ".".join(step for step in path if isinstance(step, str))
            text = message if engines >= self.fits.keys() else f"on {listed(sorted(engines))}, {message}"
            found.add(Problem(spot.file, spot.line, f"{name}, {label}: {text}" if label else f"{name}: {text}"))
        return sorted(found)

    def line(self, kind: str, name: str, *path: str | int) -> str:
        """The place of an entry as file:line."""
        return str(self._loaded.where(kind, name, *path))


def listed(words: Iterable[str]) -> str:
    """Words as a list that is read aloud."""
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


# -- rules ---------------------------------------------------------------------------------------


def patterns(rule: Rule) -> Iterator[tuple[Pattern, Path]]:
    """Every pattern of a rule that names a fact, however deep, with its place."""
    todo: list[tuple[Pattern, Path]] = [(pattern, ("when", index)) for index, pattern in enumerate(rule.when)]
    while todo:
        pattern, path = todo.pop()
        if pattern.fact is not None:
            yield pattern, path
        if pattern.absent is not None:
            todo.append((pattern.absent, (*path, "absent")))
        todo.extend((inner, (*path, "any", index)) for index, inner in enumerate(pattern.any or []))


class Literal(NamedTuple):
    """A value that a test compares with: its place inside the test, and whether it is ruled out."""

    word: Any
    path: Path
    is_not: bool


def literals(test: Any) -> Iterator[Literal]:
    """The values that a test compares with; variables and limits of figures are none."""
    found: list[Literal] = []
    if isinstance(test, dict):
        for word, value in test.items():
            if word == "one-of":
                found += [Literal(item, (word, index), False) for index, item in enumerate(value)]
            elif word == "is-not":
                found.append(Literal(value, (word,), True))
    elif test is not None:
        found.append(Literal(test, (), False))
    yield from (one for one in found if not (isinstance(one.word, str) and one.word.startswith("$")))


# -- steps of one engine -------------------------------------------------------------------------


class Step(NamedTuple):
    """A step that can be taken on an engine, with the access states that are open, or shut, when it is taken."""

    kind: str
    name: str
    channel: str
    tags: tuple[str, ...]
    cautions: tuple[str, ...]
    open: frozenset[str]
    shut: frozenset[str]

    @property
    def key(self) -> str:
        return f"{self.name}/{self.channel}" if self.channel else self.name


def steps(fitted: Fitted) -> list[Step]:
    """All steps of an engine: checks, repairs, and opening and shutting of access states."""
    found: list[Step] = []
    behind = {key: above(fitted, key) for key in fitted.access}
    for kind, entries in (("check", fitted.checks), ("repair", fitted.repairs)):
        for fitting in entries.values():
            assert isinstance(fitting, FitCheck | FitRepair)
            opened, shut = fitted.needed(fitting.needs), _over(behind, fitting.shut)
            found.append(_step(kind, fitting, fitting.cautions, opened, shut))
    for key, state in fitted.access.items():
        needed = fitted.needed(state.needs)
        found.append(_step("open", state, state.open.cautions, needed, _over(behind, (*state.shut, key))))
        found.append(_step("close", state, state.close.cautions, needed | {key}, behind[key] - {key}))
    return found


def _step(
    kind: str,
    fitting: FitCheck | FitRepair | FitAccess,
    cautions: tuple[str, ...],
    opened: Collection[str],
    shut: Collection[str],
) -> Step:
    tags = tuple(fitting.entry.tags)
    return Step(kind, fitting.name, fitting.channel, tags, cautions, frozenset(opened), frozenset(shut))


def above(fitted: Fitted, key: str) -> set[str]:
    """An access state and those that are shut where it is: whatever needs it in the end."""
    found = {key}
    while True:
        more = {name for name, state in fitted.access.items() if found & set(state.needs)} - found
        if not more:
            return found
        found |= more


def _over(behind: Mapping[str, set[str]], shut: Iterable[str]) -> set[str]:
    return set().union(*(behind[key] for key in shut))

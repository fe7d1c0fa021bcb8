"""One entry on a page: what it says in plain words, where it stands, and everything that refers to it.

Fault modes count as entries of a kind of their own, ``modes``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import log
from typing import Any

from pydantic import BaseModel

from isolate.kb.agree import REFERENCES
from isolate.kb.fit import Fitted, answers_as, fit, split, worded
from isolate.kb.load import Loaded, Spot
from isolate.kb.model import (
    FLOOR,
    HEALTHY,
    KINDS,
    Access,
    Check,
    Complaint,
    Crossing,
    Fitting,
    Knowledge,
    Mode,
    Omits,
    Pattern,
    Profile,
    Repair,
    Row,
    Rule,
    Sign,
    Zone,
    has,
)
from isolate.kb.names import SINGULAR, UnknownName, near
from isolate.kb.read import either
from isolate.kb.spelled import MORE, SHOWN, Field, fields, minutes, only, per_channel, percent, titled, zone_of

__all__ = ["SHOWN", "Cited", "Field", "ManyNames", "Page", "Use", "page"]

_SHORT = {"modes": "mode", "access": "access"}
"""Kinds as they are written before a name where that is not as they are said."""

_Way = tuple[str | int, ...]


class ManyNames(UnknownName):
    """A name that entries of several kinds have; ``choices`` are the names with their kinds, e.g. ``check/nut``."""

    def __init__(self, message: str, choices: tuple[str, ...]) -> None:
        super().__init__(message)
        self.choices = choices


@dataclass(frozen=True)
class Cited:
    """A source in full: its class (published, practice, memory, judgement), title, edition, chapter and note."""

    name: str
    kind: str
    title: str
    edition: str
    chapter: str
    note: str


@dataclass(frozen=True)
class Use:
    """Something that refers to the entry: how, its kind, name and title, where it does so, and what it says of it."""

    how: str
    kind: str
    name: str
    title: str
    spot: Spot
    says: str = ""


@dataclass(frozen=True)
class Page:
    """An entry with all that refers to it, the uses of one sort together. ``per_channel``: shown for :data:`SHOWN`."""

    kind: str
    name: str
    title: str
    spot: Spot
    per_channel: bool
    fields: tuple[Field, ...]
    sources: tuple[Cited, ...]
    used_by: tuple[Use, ...]


def page(loaded: Loaded, name: str) -> Page:
    """Return the page of an entry.

    Args:
        loaded: the knowledge.
        name: the entry's name, with a channel or without (``spark-test``, ``spark-test/A``); where entries of two kinds
            have it, with the kind before it (``check/spark-test``).

    Raises:
        ManyNames: entries of several kinds have this name.
        UnknownName: none has.
    """
    base = loaded.knowledge
    index = _index(base)
    kind, word = _found(loaded, index, name)
    entry = index[kind, word]
    return Page(
        kind=kind,
        name=word,
        title=titled(base, kind, word),
        spot=_where(loaded, kind, word),
        per_channel=per_channel(base, kind, word),
        fields=fields(base, kind, word, entry),
        sources=tuple(_cited(base, source) for source in getattr(entry, "source", [])),
        used_by=tuple(_Uses(loaded, index, kind, word).found()),
    )


# -- names ---------------------------------------------------------------------------------------


def _index(base: Knowledge) -> dict[tuple[str, str], BaseModel]:
    """Every entry by kind and name, fault modes among them."""
    index: dict[tuple[str, str], BaseModel] = {}
    for kind in KINDS:
        index.update({(kind, name): entry for name, entry in getattr(base, kind).items()})
        if kind == "zones":
            index.update({("modes", n): mode for zone in base.zones.values() for n, mode in zone.modes.items()})
    return index


def _found(loaded: Loaded, index: Mapping[tuple[str, str], BaseModel], name: str) -> tuple[str, str]:
    """The kind and name of the one entry that is meant."""
    kinds = {word: kind for kind, words in SINGULAR.items() for word in (kind, words, _SHORT.get(kind, kind))}
    first, _, rest = name.strip().partition("/")
    if first in kinds and rest:
        kind, word = kinds[first], split(rest)[0]
        if (kind, word) not in index:
            names = [n for k, n in index if k == kind]
            raise UnknownName(f"no {SINGULAR[kind]} is called `{word}`{_like(word, names)}")
        return kind, word
    choices = [(kind, word) for kind, word in index if word == first]
    if len(choices) > 1:
        written = tuple(f"{_SHORT.get(kind, SINGULAR[kind])}/{first}" for kind, _ in choices)
        shown = ", ".join(f"{SINGULAR[kind]} ({_where(loaded, kind, first)})" for kind, _ in choices)
        raise ManyNames(f"`{first}` is the name of several entries: {shown}; say {either(list(written))}", written)
    if not choices:
        raise UnknownName(f"no entry is called `{first}`{_like(first, [word for _, word in index])}")
    return choices[0]


def _like(word: str, names: list[str]) -> str:
    """The nearest name and, as far as few have it, the names that hold the word."""
    holding = sorted({name for name in names if word and word in name})
    hint = near(word, names)
    if holding and not (hint and len(holding) == 1):
        some = ", ".join(holding[:6]) + (f" and {len(holding) - 6} more" if len(holding) > 6 else "")
        return f"{hint}; names with it: {some}"
    return hint


def _where(loaded: Loaded, kind: str, name: str) -> Spot:
    if kind == "modes":
        return loaded.where("zones", zone_of(loaded.knowledge, name), "modes", name)
    return loaded.where(kind, name)


def _cited(base: Knowledge, name: str) -> Cited:
    source = base.sources[name]
    return Cited(name, source.kind, source.title, source.edition, source.chapter, source.note)


# -- what refers to it -----------------------------------------------------------------------------

_HOW: dict[str, str] = {
    "source": "cited by",
    "like": "what is like it",
    "needs": "needed by",
    "shut": "shut for",
    "spoils": "undone by",
    "cautions": "shown before",
    "caution": "shown by",
    "clears": "cleared by",
    "examines": "done first by",
    "mode": "may be left by",
    "since": "starts the timer of",
    "holds_while": "while it is open, holds",
    "answers": "answered by",
    "found_open": "found open with",
    "verify": "verifies",
    "verify_own": "verifies",
}
"""A field that names an entry → how its owner stands to that entry."""

_PROFILE = frozenset({*Omits.model_fields, "zones", "access_minutes", "check_minutes", "priors"})
"""Fields of profiles and of what they omit; they are told profile by profile."""

_SLOTS: dict[tuple[str, str], tuple[str, ...]] = {
    ("case", "engine"): ("engines",),
    ("case", "complaint"): ("complaints",),
    ("answer", "check"): ("checks",),
    ("declined", "move"): ("checks", "repairs", "access"),
    ("about-to", "move"): ("checks", "repairs", "access"),
    ("access", "name"): ("access",),
    ("confirmed", "caution"): ("cautions",),
    ("suspect", "mode"): ("modes",),
    ("suspect", "zone"): ("zones",),
    ("repaired", "repair"): ("repairs",),
}
"""Slots of facts in which rules name entries."""

_SORTS = (
    *("told by", "told through another by", "looks healthy to", "looked at by", "cleared by", "may be left by"),
    *("what is like it", "needed by", "shut for", "undone by", "shown before", "shown by", "starts the timer of"),
    *("while it is open, holds", "done first by", "answered by", "verifies", "found open with", "matched by"),
    *("blocked by", "named by", "cited by", "had by", "not had by"),
)
"""The order of the uses."""


def _walk(value: Any, path: _Way = ()) -> Iterator[tuple[BaseModel, _Way]]:
    """Every model inside a value, with the way to it."""
    if isinstance(value, BaseModel):
        yield value, path
        for name in type(value).model_fields:
            yield from _walk(getattr(value, name), (*path, name))
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _walk(inner, (*path, index))


class _Uses:
    """All that refers to one entry."""

    def __init__(self, loaded: Loaded, index: Mapping[tuple[str, str], BaseModel], kind: str, name: str) -> None:
        self.loaded, self.base, self.index = loaded, loaded.knowledge, index
        self.kind, self.name, self.entry = kind, name, index[kind, name]
        self.uses: dict[tuple[str, str, str], Use] = {}

    def found(self) -> list[Use]:
        for (kind, owner), entry in self.index.items():
            if kind == "modes":
                continue
            for model, path in _walk(entry):
                self.references(kind, owner, model, path)
                if isinstance(model, Pattern) and model.fact is not None:
                    self.matched(owner, model, path)
        if isinstance(self.entry, Mode):
            self.mode(self.entry)
        if isinstance(self.entry, Zone):
            self.zone()
        if isinstance(self.entry, Check | Repair | Access):
            self.blocked(self.entry)
        if isinstance(self.entry, Rule):
            self.finding(self.entry)
        self.profiles()
        kinds = list(SINGULAR)
        return sorted(self.uses.values(), key=lambda use: (_SORTS.index(use.how), kinds.index(use.kind), use.name))

    def use(self, how: str, kind: str, owner: str, path: _Way = (), says: str = "") -> None:
        """Note a use; the first of its sort by an entry stands."""
        spot = self.loaded.where(kind, owner, *path)
        if kind == "zones" and path[:1] == ("modes",) and len(path) > 1:
            kind, owner = "modes", str(path[1])
        if (kind, owner) != (self.kind, self.name):
            use = Use(how, kind, owner, titled(self.base, kind, owner), spot, says)
            self.uses.setdefault((how, kind, owner), use)

    def references(self, kind: str, owner: str, model: BaseModel, path: _Way) -> None:
        fields = {**REFERENCES.get(type(model), {}), **{f: k for (m, f), k in MORE.items() if isinstance(model, m)}}
        for field, target in fields.items():
            value = getattr(model, field)
            if target != self.kind or value is None or (kind == "engines" and field in _PROFILE):
                continue
            named = [value] if isinstance(value, str) else list(value)
            if self.name in named:
                way: _Way = () if isinstance(value, str) else (named.index(self.name),)
                way = (self.name,) if isinstance(value, dict) else way
                self.use(_HOW.get(field, "named by"), kind, owner, (*path, field, *way), self.said(model, field, path))

    def said(self, model: BaseModel, field: str, path: _Way) -> str:
        """What a reference says besides naming the entry."""
        if isinstance(model, Complaint | Sign) and field == "answers":
            assert isinstance(self.entry, Check)
            title = self.entry.outcomes[model.answers[self.name]].title
            return worded(title, SHOWN) if self.entry.per else title
        if field == "mode":
            return percent(getattr(model, "chance", 0.0))
        if isinstance(model, Crossing):
            return "opening it" if path[-1:] == ("open",) else "putting it back"
        return ""

    # -- faults

    def mode(self, mode: Mode) -> None:
        zone_name = zone_of(self.base, self.name)
        zone = self.base.zones[zone_name]
        for check_name, check in self.base.checks.items():
            for key, rows in check.given.items():
                if key != zone_name and not (key == "others" and zone_name == "channel"):
                    continue
                held = {m: (index, row) for index, row in enumerate(rows) for m in row.modes}
                answering = answers_as(zone, self.name, held)
                if answering == HEALTHY:
                    continue
                index, row = held[answering]
                told = _telling(check, row, held[HEALTHY][1])
                if told is None:
                    how, says = "looks healthy to", ""
                elif answering == self.name:
                    how, says = "told by", told
                else:
                    how, says = "told through another by", f"as {answering}: {told}"
                says = f"from another channel; {says}".rstrip("; ") if key == "others" else says
                self.use(how, "checks", check_name, ("given", key, index), says)
        for name, repair in self.base.repairs.items():
            for key, modes in repair.clears.items():
                if self.name in modes:
                    way = ("clears", key, modes.index(self.name))
                    self.use("cleared by", "repairs", name, way, percent(repair.success))
        for name, rule in self.base.rules.items():
            for model, path in _walk(rule):
                if isinstance(model, Pattern) and mode.part in _values(model, "suspect", "part"):
                    self.use("matched by", "rules", name, path, f"by its part, {mode.part}")

    def zone(self) -> None:
        for name, check in self.base.checks.items():
            for key in check.given:
                if key == self.name or (key == "others" and self.name == "channel"):
                    self.use("looked at by", "checks", name, ("given", key))

    # -- rules

    def matched(self, rule: str, pattern: Pattern, path: _Way) -> None:
        for slot in pattern.where:
            kinds = _SLOTS.get((str(pattern.fact), slot), ())
            if self.kind in kinds and self.name in _values(pattern, str(pattern.fact), slot):
                self.use("matched by", "rules", rule, (*path, "where", slot))

    def blocked(self, entry: Check | Repair | Access) -> None:
        """Rules that keep a step from being done, or speak up before it, by its name or a tag of it."""
        for name, rule in self.base.rules.items():
            if rule.then.block == self.name:
                self.use("blocked by", "rules", name, ("then", "block"))
            elif rule.then.block in entry.tags:
                self.use("blocked by", "rules", name, ("then", "block"), f"by its tag, {rule.then.block}")
            for model, path in _walk(rule):
                tags = _values(model, "about-to", "tag") if isinstance(model, Pattern) else ()
                tag = next((tag for tag in entry.tags if tag in tags), None)
                if tag is not None:
                    self.use("matched by", "rules", name, path, f"by its tag, {tag}")

    def finding(self, rule: Rule) -> None:
        """Rules that match what this one finds."""
        if rule.then.finding is None:
            return
        for name, other in self.base.rules.items():
            for model, path in _walk(other):
                if isinstance(model, Pattern) and rule.then.finding in _values(model, "finding", "name"):
                    self.use("matched by", "rules", name, path, f"by its finding, {rule.then.finding}")

    # -- engines

    def profiles(self) -> None:
        if self.kind in ("sources", "engines"):
            return
        for engine, profile in self.base.engines.items():
            if self.name in getattr(profile.omits, self.kind, []):
                path: _Way = ("omits", self.kind, getattr(profile.omits, self.kind).index(self.name))
                self.use("not had by", "engines", engine, path, "it omits it")
            elif self.name in _has(fit(self.base, engine), self.kind):
                self.use("had by", "engines", engine, *self.overridden(profile))
            else:
                self.use("not had by", "engines", engine, (), self.lacking(profile))

    def lacking(self, profile: Profile) -> str:
        """Why a profile does not have the entry, where it does not omit it by name."""
        if isinstance(self.entry, Fitting) and not self.entry.on(profile.features):
            unmet = {n: wanted for n, wanted in self.entry.only.items() if not has({n: wanted}, profile.features)}
            return f"only where {only(unmet)}"
        if self.kind in ("zones", "modes"):
            return "it does not have the zone"
        return "nothing there that it bears on"

    def overridden(self, profile: Profile) -> tuple[_Way, str]:
        """Where and how a profile changes a figure of the entry."""
        if self.kind == "modes" and self.name in profile.priors:
            return ("priors", self.name), f"prior there {percent(profile.priors[self.name])}"
        if self.kind == "checks" and self.name in profile.check_minutes:
            return ("check_minutes", self.name), f"takes {minutes(profile.check_minutes[self.name])} there"
        if self.kind == "access" and self.name in profile.access_minutes:
            cost = profile.access_minutes[self.name]
            ways = (("to open", cost.open), ("to put back", cost.close))
            return (
                ("access_minutes", self.name),
                "there " + ", ".join(f"{minutes(figure)} {way}" for way, figure in ways if figure is not None),
            )
        return (), ""


def _has(fitted: Fitted, kind: str) -> set[str]:
    """The names of a kind that a profile has."""
    if kind == "modes":
        return {name for zone in fitted.zones.values() for name in zone.modes}
    return {split(key)[0] for key in getattr(fitted, kind)}


def _values(pattern: Pattern, fact: str, slot: str) -> tuple[Any, ...]:
    """The values that a pattern compares a slot of a fact with, those it rules out among them."""
    if pattern.fact != fact or slot not in pattern.where:
        return ()
    test = pattern.where[slot]
    if not isinstance(test, dict):
        return (test,)
    return tuple(v for value in test.values() for v in (value if isinstance(value, list) else [value]))


def _telling(check: Check, row: Row, healthy: Row) -> str | None:
    """The outcome that gives most evidence for these modes, with its likelihood in them and in none; None: no outcome.

    What an outcome gives is how probable it is times how much more so than when all is healthy, on a log scale.
    """

    def gives(outcome: str) -> float:
        share, sound = (max(r.gives.get(outcome, 0), FLOOR) for r in (row, healthy))
        return share * log(share / sound)

    outcome = max(check.outcomes, key=gives)
    if gives(outcome) < 1e-9:
        return None
    return f"{outcome} {percent(row.gives.get(outcome, 0))}, healthy {percent(healthy.gives.get(outcome, 0))}"

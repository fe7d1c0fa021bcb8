"""What entries owe each other: names that exist, sums that come to one, needs that do not clash, rules that can bind.

Everything here takes more than one entry, or more than one field of one, to see.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from typing import Any, get_args

from pydantic import BaseModel

from isolate.calc import TITLES
from isolate.kb.folder import Base
from isolate.kb.model import (
    FACTS,
    HEALTHY,
    KINDS,
    NOTHING,
    VERIFY,
    Access,
    Ask,
    Book,
    Caution,
    Check,
    Complaint,
    Crossing,
    Disturbs,
    Mode,
    Omits,
    Outcome,
    Pattern,
    Place,
    Profile,
    Reads,
    Repair,
    Rule,
    Said,
    Scalar,
    Sign,
    Then,
    Wear,
    Zone,
)
from isolate.kb.names import SINGULAR, near
from isolate.kb.read import Report, Way, either, labelled

__all__ = ["REFERENCES", "agree"]

REFERENCES: dict[type[BaseModel], dict[str, str]] = {
    Zone: {"source": "sources"},
    Mode: {"like": "modes", "source": "sources"},
    Check: {"needs": "access", "shut": "access", "spoils": "access", "cautions": "cautions", "source": "sources"},
    Reads: {"unless": "checks"},
    Crossing: {"cautions": "cautions"},
    Access: {"needs": "access", "shut": "access", "source": "sources"},
    Repair: {
        "needs": "access",
        "shut": "access",
        "spoils": "access",
        "cautions": "cautions",
        "source": "sources",
        "clears": "zones",
        "examines": "checks",
    },
    Disturbs: {"mode": "modes"},
    Caution: {"since": "access", "holds_while": "access", "source": "sources"},
    Complaint: {"answers": "checks", "verify": "checks", "source": "sources"},
    Sign: {"answers": "checks", "source": "sources"},
    Profile: {
        "zones": "zones",
        "access_minutes": "access",
        "check_minutes": "checks",
        "priors": "modes",
        "source": "sources",
    },
    Book: {"checks": "checks", "repairs": "repairs"},
    Omits: {"modes": "modes", "checks": "checks", "access": "access", "repairs": "repairs", "rules": "rules"},
    Rule: {"source": "sources"},
    Then: {"caution": "cautions"},
}
"""Fields that hold names of other entries: model → field → what it names. In a map, the keys are the names."""

_TEXTS: dict[type[BaseModel], tuple[str, ...]] = {
    Zone: ("title",),
    Mode: ("title", "tells"),
    Check: ("title", "purpose", "steps", "never"),
    Outcome: ("title", "means"),
    Access: ("title", "word"),
    Crossing: ("do", "checks"),
    Repair: ("title", "to", "steps", "never", "record"),
    Caution: ("title", "text"),
    Ask: ("prompt",),
    Complaint: ("title", "says"),
    Sign: ("title", "says"),
    Said: ("say",),
    Profile: ("title",),
}
"""Texts that people see, in which {channel} may stand where the entry is one a channel."""

_VARIABLE = re.compile(r"\$([a-z][a-z0-9-]*)")
_NUMBERS = ("at-least", "at-most", "above", "below")


def _walk(value: Any, path: Way = ()) -> Iterator[tuple[BaseModel, Way]]:
    """Every model inside a value, with the path to it."""
    if isinstance(value, BaseModel):
        yield value, path
        for name in type(value).model_fields:
            inner = getattr(value, name)
            if isinstance(inner, BaseModel | dict | list):
                yield from _walk(inner, (*path, name))
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _walk(inner, (*path, index))


def agree(base: Base, entries: dict[str, dict[str, Any]], report: Report) -> None:
    """Report whatever does not fit together in entries (by kind and name) that have the right shape."""
    _Agreement(base, entries, report).check()


class _Agreement:
    def __init__(self, base: Base, entries: dict[str, dict[str, Any]], report: Report) -> None:
        self.base, self.entries, self.report = base, entries, report
        # Names come from the raw data, so that an entry with a mistake of its own is still known by name.
        self.known: dict[str, set[str]] = {kind: set(base.raw[kind]) for kind in KINDS}
        self.modes: dict[str, set[str]] = {}
        for name, zone in base.raw["zones"].items():
            modes = zone.get("modes") if isinstance(zone, dict) else None
            self.modes[name] = set(modes) if isinstance(modes, dict) else set()
        self.known["modes"] = set().union(*self.modes.values())
        self.worn: dict[str, tuple[str, Wear]] = {}
        """Part that wears → the first mode that says how, and what it says."""
        self.torn = base.torn | ({"modes"} if "zones" in base.torn else set())

    def say(self, kind: str, name: str, path: Way, message: str) -> None:
        written = self.base.written[kind, name]
        self.report(written.spot(path), labelled(name, path) + message)

    def check(self) -> None:
        for kind, entries in self.entries.items():
            for name, entry in entries.items():
                for model, path in _walk(entry):
                    self.references(kind, name, model, path)
                    self.placeholders(kind, name, entry, model, path)
                    self.repetitions(kind, name, model, path)
        self.zones()
        self.likes()
        for name, check in self.entries["checks"].items():
            self.likelihoods(name, check)
            self.age_of(name, check)
            for condition, outcome in check.shows.items():
                if outcome not in check.outcomes:
                    message = f"`{name}` has no outcome `{outcome}`{near(outcome, check.outcomes)}"
                    self.say("checks", name, ("shows", condition), message)
            self.reads("checks", name, check)
            self.swap(name, check)
            self.open_and_shut("checks", name, check)
        self.access()
        for name, repair in self.entries["repairs"].items():
            self.repair(name, repair)
            self.reads("repairs", name, repair)
            self.open_and_shut("repairs", name, repair)
        for name, caution in self.entries["cautions"].items():
            self.caution(name, caution)
        for name, complaint in self.entries["complaints"].items():
            self.complaint(name, complaint)
        for name, sign in self.entries["signs"].items():
            self.outcomes("signs", name, sign)
        for name, access in self.entries["access"].items():
            for way in ("open", "close"):
                wait = getattr(access, way).wait
                if isinstance(wait, dict) and "steady" not in wait:
                    message = "`steady` is missing: it holds for conditions not listed"
                    self.say("access", name, (way, "wait"), message)
        for name, profile in self.entries["engines"].items():
            self.profile(name, profile)
        for name, rule in self.entries["rules"].items():
            self.rule(name, rule)

    # -- everything that holds names or texts

    def references(self, kind: str, name: str, model: BaseModel, path: Way) -> None:
        for attribute, target in REFERENCES.get(type(model), {}).items():
            value = getattr(model, attribute)
            if value is None or target in self.torn:
                continue
            if isinstance(value, str):
                places: list[tuple[str, Way]] = [(value, (attribute,))]
            elif isinstance(value, dict):
                places = [(key, (attribute, key)) for key in value]
            else:
                places = _numbered(value, attribute)
            for word, inner in places:
                if word not in self.known[target]:
                    self.unknown(kind, name, path + inner, target, word, self.known[target])

    def unknown(self, kind: str, name: str, path: Way, target: str, word: str, choices: Iterable[str]) -> None:
        self.say(kind, name, path, f"no {SINGULAR[target]} `{word}`{near(word, choices)}")

    def placeholders(self, kind: str, name: str, entry: Any, model: BaseModel, path: Way) -> None:
        per_channel = getattr(entry, "per", None) == "channel"
        for attribute in _TEXTS.get(type(model), ()):
            value = getattr(model, attribute)
            # Lines said on some engines only are walked by themselves.
            texts = [
                (text, inner)
                for text, inner in ([(value, (attribute,))] if isinstance(value, str) else _numbered(value, attribute))
                if isinstance(text, str)
            ]
            for text, inner in texts:
                for found in _braces(text):
                    if found is None:
                        self.say(kind, name, path + inner, "has a brace without its partner")
                    elif found != "channel":
                        self.say(kind, name, path + inner, f"{{{found}}} is not filled in; only {{channel}} is")
                    elif not per_channel:
                        message = "{channel} is filled in only where the entry has `per: channel`"
                        self.say(kind, name, path + inner, message)

    def repetitions(self, kind: str, name: str, model: BaseModel, path: Way) -> None:
        for attribute in type(model).model_fields:
            value = getattr(model, attribute)
            if isinstance(value, list) and attribute not in ("modes", "steps", "never"):
                words = [item for item in value if isinstance(item, str)]
                for word, count in Counter(words).items():
                    if count > 1:
                        index = len(value) - 1 - value[::-1].index(word)
                        self.say(kind, name, (*path, attribute, index), f"`{word}` is named {count} times")

    # -- zones

    def zones(self) -> None:
        first: dict[str, str] = {}
        for name, zone in self.entries["zones"].items():
            if name == "others":
                self.say("zones", name, (), "`others` has a meaning of its own in a check's `given`: take another name")
            for mode, entry in zone.modes.items():
                path: Way = ("modes", mode)
                if mode == HEALTHY:
                    self.say("zones", name, path, f"every zone has the state `{HEALTHY}` already")
                if mode in first:
                    other = self.base.written["zones", first[mode]].spot(path)
                    self.say("zones", name, path, f"the zone `{first[mode]}` has a mode of this name, at {other}")
                first.setdefault(mode, name)
                self.wear(name, mode, entry)
                if isinstance(entry.active, dict) and "steady" not in entry.active:
                    message = "`steady` is missing: it holds for conditions not listed"
                    self.say("zones", name, (*path, "active"), message)
            total = math.fsum(entry.prior for entry in zone.modes.values())
            if total >= 1:
                message = f"the priors of its modes sum to {total:.6g}: nothing is left for healthy"
                self.say("zones", name, ("modes",), message)

    def wear(self, zone: str, mode: str, entry: Mode) -> None:
        """A part has one age, so what wears of it counts in one unit and is renewed at one age."""
        if entry.wear is None:
            return
        first, other = self.worn.setdefault(entry.part, (mode, entry.wear))
        for field in ("unit", "replaced_at"):
            had, has = getattr(other, field), getattr(entry.wear, field)
            if had != has:
                path: Way = ("modes", mode, "wear", *((field,) if has is not None else ()))
                said = "nothing" if had is None else f"{had:g}" if isinstance(had, float) else had
                self.say("zones", zone, path, f"the part `{entry.part}` has one age: {first} has {field} {said}")

    def age_of(self, name: str, check: Check) -> None:
        # A zone with a mistake of its own may hold what wears.
        whole = "zones" not in self.torn and len(self.entries["zones"]) == len(self.base.raw["zones"])
        if check.age_of is not None and whole and check.age_of not in self.worn:
            wearing = f"no fault of a part `{check.age_of}` wears{near(check.age_of, self.worn)}"
            self.say("checks", name, ("age_of",), wearing)

    def likes(self) -> None:
        for name, zone in self.entries["zones"].items():
            told: set[str] = set()
            for mode, entry in zone.modes.items():
                if entry.like is not None and entry.like in self.known["modes"] and entry.like not in zone.modes:
                    self.mode_elsewhere("zones", name, ("modes", mode, "like"), name, entry.like, zone.modes)
                chain = [mode]
                while chain[-1] in zone.modes and (like := zone.modes[chain[-1]].like) is not None:
                    if like in chain:
                        if like == mode and not told & set(chain):
                            message = f"is like itself in the end: {' → '.join([*chain, like])}"
                            self.say("zones", name, ("modes", mode, "like"), message)
                            told.update(chain)
                        break
                    chain.append(like)

    # -- checks

    def likelihoods(self, name: str, check: Check) -> None:
        for zone, rows in check.given.items():
            path: Way = ("given", zone)
            modes = self.zone_of(name, check, zone)
            seen: dict[str, int] = {}
            for index, row in enumerate(rows):
                for place, mode in enumerate(row.modes):
                    here: Way = (*path, index, "modes", place)
                    if modes is not None and mode != HEALTHY and mode not in modes:
                        self.mode_elsewhere("checks", name, here, zone, mode, modes)
                    if mode in seen:
                        line = self.base.written["checks", name].spot((*path, seen[mode])).line
                        self.say("checks", name, here, f"`{mode}` has a row already, on line {line}")
                    seen.setdefault(mode, index)
                for outcome in row.gives:
                    if outcome not in check.outcomes:
                        hint = near(outcome, check.outcomes)
                        message = f"the check has no outcome `{outcome}`{hint}"
                        self.say("checks", name, (*path, index, "gives", outcome), message)
                total = math.fsum(row.gives.values())
                if abs(total - 1) > 1e-6:
                    message = f"the likelihoods sum to {total:.6g}, not to 1"
                    self.say("checks", name, (*path, index, "gives"), message)
            if HEALTHY not in seen:
                self.say("checks", name, path, f"no row for `{HEALTHY}`")

    def zone_of(self, name: str, check: Check, zone: str) -> set[str] | None:
        """The modes that rows under this key of ``given`` may name, or None when that is not known."""
        path: Way = ("given", zone)
        if "zones" in self.torn:
            return None
        if zone != "others":
            if zone not in self.modes:
                choices = [*self.modes, "others"]
                self.unknown("checks", name, path, "zones", zone, choices)
                return None
            return self.modes[zone]
        raw = self.base.raw["zones"].get("channel")
        if check.per != "channel":
            self.say("checks", name, path, "`others` means the other channels, so the check needs `per: channel`")
        if raw is None:
            self.say("checks", name, path, "`others` means the other channels, but there is no zone `channel`")
            return None
        if isinstance(raw, dict) and raw.get("per") != "channel":
            self.say("checks", name, path, "`others` means the other channels, but zone `channel` is not per channel")
        return self.modes["channel"]

    def mode_elsewhere(self, kind: str, name: str, path: Way, zone: str, mode: str, modes: Collection[str]) -> None:
        owner = next((other for other in self.modes if mode in self.modes[other]), None)
        if owner is not None:
            self.say(kind, name, path, f"`{mode}` is a mode of zone `{owner}`, not of `{zone}`")
        else:
            self.unknown(kind, name, path, "modes", mode, [*modes, HEALTHY] if kind == "checks" else modes)

    # -- access

    def access(self) -> None:
        for cycle in self.cycles():
            chain = " → ".join([*cycle, cycle[0]])
            self.say("access", cycle[0], ("needs",), f"needs itself in the end: {chain}")
        for name, entry in self.entries["access"].items():
            self.open_and_shut("access", name, entry)

    def cycles(self) -> list[list[str]]:
        """The shortest loop of needs through each access state that is in one, each loop once."""
        entries = self.entries["access"]
        found: list[list[str]] = []
        told: set[str] = set()
        for start in sorted(entries):
            came: dict[str, str] = {}
            queue = [start]
            for name in queue:
                for need in entries[name].needs:
                    if need in entries and need not in came:
                        came[need] = name
                        queue.append(need)
            if start in came and start not in told:
                loop = [came[start]]
                while loop[-1] != start:
                    loop.append(came[loop[-1]])
                found.append(loop[::-1])
                told.update(loop)
        return found

    def closure(self, needs: Iterable[str]) -> dict[str, str]:
        """All that must be open for ``needs`` to be, each with the entry of ``needs`` that first calls for it."""
        found: dict[str, str] = {}
        for root in needs:
            todo = [root]
            while todo:
                name = todo.pop()
                if name in found or name not in self.entries["access"]:
                    continue
                found[name] = root
                todo.extend(self.entries["access"][name].needs)
        return found

    def open_and_shut(self, kind: str, name: str, entry: Check | Repair | Access) -> None:
        opened = self.closure(entry.needs)
        for index, word in enumerate(entry.shut):
            if word in opened:
                root = opened[word]
                because = "" if root == word else f" (through `{root}`)"
                self.say(kind, name, ("shut", index), f"`{word}` is to be shut, but `needs` opens it{because}")
        below = [self.closure([need]) for need in entry.needs]
        for one in opened:
            for other in self.entries["access"][one].shut:
                inside = other in opened or (kind == "access" and other == name)
                # A pair that already clashes within one of the needs is told of there.
                if inside and not any(one in part and other in part for part in below):
                    index = entry.needs.index(opened[one])
                    by_way = "" if opened[one] == one else f" (through `{opened[one]}`)"
                    clash = f"needs `{one}`{by_way}, which wants `{other}` shut, "
                    clash += "and this is it" if other == name and kind == "access" else f"and `{other}` open"
                    self.say(kind, name, ("needs", index), clash)

    def reads(self, kind: str, name: str, entry: Check | Repair) -> None:
        """What a reading goes through: a calculation that there is, and outcomes that the check has."""
        outcomes = entry.outcomes if isinstance(entry, Check) else {}
        for index, one in enumerate(entry.reads):
            path = ("reads", index)
            if one.calc not in TITLES:
                self.say(kind, name, (*path, "calc"), f"there is no calculation `{one.calc}`{near(one.calc, TITLES)}")
            for verdict, outcome in one.gives.items():
                if outcome == NOTHING and outcome in outcomes:
                    message = f"`{outcome}` answers nothing here, and an outcome of `{name}` has that name too"
                    self.say(kind, name, (*path, "gives", verdict), message)
                elif outcome != NOTHING and outcome not in outcomes:
                    message = f"`{name}` has no outcome `{outcome}`{near(outcome, outcomes)}"
                    self.say(kind, name, (*path, "gives", verdict), message)
            if one.along and not one.gives:
                self.say(kind, name, (*path, "along"), "a record that answers nothing here is not read along")

    def swap(self, name: str, check: Check) -> None:
        """A check that changes parts over takes two channels, each with a part of that name that a repair replaces."""
        if check.swaps is None or self.torn & {"zones", "repairs", "engines"}:
            return
        part, path = check.swaps.part, ("swaps", "part")
        parts = {m.part for z in self.entries["zones"].values() if z.per == "channel" for m in z.modes.values()}
        if part not in parts:
            self.say("checks", name, path, f"no mode of a channel has the part `{part}`{near(part, parts)}")
        elif not any(r.replaces == part and r.per == "channel" for r in self.entries["repairs"].values()):
            self.say("checks", name, path, f"no repair of one channel `replaces` the {part}")
        if check.per == "channel":
            self.say("checks", name, ("swaps",), "it is about two channels at once, so `per: channel` is too much")
        for engine, profile in self.entries["engines"].items():
            has = name not in profile.omits.checks and check.on(profile.features)
            if has and len(profile.channels) != 2:
                message = f"`{engine}` does not have just two channels, between which it changes parts over"
                self.say("checks", name, ("swaps",), message)

    # -- repairs, cautions, complaints

    def repair(self, name: str, repair: Repair) -> None:
        if repair.replaces is not None and "zones" not in self.torn:
            cleared = {mode for modes in repair.clears.values() for mode in modes}
            zones = self.entries["zones"].values()
            parts = {m.part for z in zones for mode, m in z.modes.items() if mode in cleared}
            if parts and repair.replaces not in parts:
                message = f"no mode that it clears has the part `{repair.replaces}`{near(repair.replaces, parts)}"
                self.say("repairs", name, ("replaces",), message)
            if repair.kind == "hand-over":
                self.say("repairs", name, ("replaces",), "a hand-over replaces nothing")
        for zone, modes in repair.clears.items():
            if "zones" in self.torn or zone not in self.modes:
                continue
            if not modes:
                self.say("repairs", name, ("clears", zone), "names no mode")
            for index, mode in enumerate(modes):
                if mode not in self.modes[zone]:
                    self.mode_elsewhere("repairs", name, ("clears", zone, index), zone, mode, self.modes[zone])
        if repair.kind == "hand-over" and not repair.to.strip():
            self.say("repairs", name, (), "`to` is missing: a hand-over says to whom")
        if repair.kind == "repair" and repair.to:
            self.say("repairs", name, ("to",), "only a hand-over says to whom; is `kind: hand-over` missing?")

    def caution(self, name: str, caution: Caution) -> None:
        asks = {ask.name: ask for ask in reversed(caution.asks)}
        for index, ask in enumerate(caution.asks):
            if asks[ask.name] is not ask:
                self.say("cautions", name, ("asks", index, "name"), f"`{ask.name}` is asked twice")
            if ask.least is not None and ask.kind not in ("minutes", "count"):
                self.say("cautions", name, ("asks", index, "least"), "holds only for minutes and counts")
        if caution.wait is not None:
            if caution.wait not in asks:
                hint = near(caution.wait, asks)
                self.say("cautions", name, ("wait",), f"no ask `{caution.wait}` in this caution{hint}")
            elif asks[caution.wait].kind != "minutes":
                message = f"the ask `{caution.wait}` must be of kind minutes to be waited for"
                self.say("cautions", name, ("wait",), message)
        elif caution.since:
            self.say("cautions", name, ("since",), "says from when a timer runs, but there is no `wait`")

    def outcomes(self, kind: str, name: str, entry: Complaint | Sign) -> None:
        for check, outcome in entry.answers.items():
            known = self.entries["checks"].get(check)
            if known is not None and outcome not in known.outcomes:
                hint = near(outcome, known.outcomes)
                message = f"the check `{check}` has no outcome `{outcome}`{hint}"
                self.say(kind, name, ("answers", check), message)
            if known is not None and known.per == "channel" and not entry.asks_channel:
                message = f"`{check}` is asked per channel: say `asks_channel: true`"
                self.say(kind, name, ("answers", check), message)

    def complaint(self, name: str, complaint: Complaint) -> None:
        self.outcomes("complaints", name, complaint)
        letters = {letter for profile in self.entries["engines"].values() for letter in profile.channels}
        for index, told in enumerate(complaint.starts):
            words = letters | {"unknown", "both"}
            if letters and "engines" not in self.torn and told.channel not in words:
                message = f"`{told.channel}` is no channel of any engine; it can also be unknown or both"
                self.say("complaints", name, ("starts", index, "channel"), message)

    # -- engines

    def profile(self, name: str, profile: Profile) -> None:
        for place in get_args(Place):
            if place not in profile.weights:
                self.say("engines", name, ("weights",), f"`{place}` is missing")
        for zone_name in profile.zones:
            zone = self.entries["zones"].get(zone_name)
            if zone is None:
                continue
            modes = [mode for mode in zone.modes if mode not in profile.omits.modes]
            if not modes:
                index = profile.zones.index(zone_name)
                message = f"all modes of `{zone_name}` are omitted: leave the zone out"
                self.say("engines", name, ("zones", index), message)
            total = math.fsum(profile.priors.get(mode, zone.modes[mode].prior) for mode in modes)
            if total >= 1 and any(mode in profile.priors for mode in modes):
                message = f"the priors in zone `{zone_name}` sum to {total:.6g}: nothing is left for healthy"
                self.say("engines", name, ("priors",), message)
        for kind in ("checks", "repairs") if profile.book is not None else ():
            omitted = getattr(profile.omits, kind)
            for index, word in enumerate(getattr(profile.book, kind)):
                entry = self.entries[kind].get(word)
                if entry is not None and (word in omitted or not entry.on(profile.features)):
                    message = f"this engine does not have the {SINGULAR[kind]} `{word}`"
                    self.say("engines", name, ("book", kind, index), message)
                elif kind == "repairs" and entry is not None and entry.kind == "hand-over":
                    message = f"`{word}` hands over; a book lists repairs"
                    self.say("engines", name, ("book", kind, index), message)

    # -- rules

    def rule(self, name: str, rule: Rule) -> None:
        bound: set[str] = set()
        for index, pattern in enumerate(rule.when):
            self.pattern(name, pattern, ("when", index))
            bound |= _binds(pattern)
        for index, pattern in enumerate(rule.when):
            for variable, path in _uses(pattern, ("when", index)):
                if variable not in bound:
                    message = f"no pattern that must stand binds `${variable}`"
                    self.say("rules", name, path, f"{message}{_variables(variable, bound)}")
        for found in _braces(rule.says):
            if found is None:
                self.say("rules", name, ("says",), "has a brace without its partner")
            elif found not in bound:
                message = f"no pattern that must stand binds `${found}`, so {{{found}}} cannot be filled in"
                self.say("rules", name, ("says",), f"{message}{_variables(found, bound)}")
        self.then(name, rule, bound)

    def pattern(self, name: str, pattern: Pattern, path: Way) -> None:
        used = [word for word in ("fact", "absent", "any") if getattr(pattern, word) is not None]
        if len(used) != 1:
            has = " and ".join(f"`{word}`" for word in used) or "none"
            self.say("rules", name, path, f"a pattern has exactly one of `fact`, `absent` and `any`; this has {has}")
        elif pattern.where and pattern.fact is None:
            self.say("rules", name, (*path, "where"), f"belongs to a `fact`, not beside `{used[0]}`")
        if pattern.any is not None and len(pattern.any) < 2:
            self.say("rules", name, (*path, "any"), "needs at least two patterns to choose from")
        if pattern.fact is not None:
            if pattern.fact not in FACTS:
                message = f"no fact `{pattern.fact}`{near(pattern.fact, FACTS)}"
                self.say("rules", name, (*path, "fact"), message)
            for slot, test in pattern.where.items():
                here: Way = (*path, "where", slot)
                slots = FACTS.get(pattern.fact)
                if slots is not None and slot not in slots:
                    hint = near(slot, slots) or f"; it has {', '.join(slots)}"
                    self.say("rules", name, here, f"the fact `{pattern.fact}` has no slot `{slot}`{hint}")
                self.test(name, test, here)
        if pattern.absent is not None:
            if "absent" in path:
                self.say("rules", name, (*path, "absent"), "stands inside another `absent`: say it plainly")
            self.pattern(name, pattern.absent, (*path, "absent"))
        for index, inner in enumerate(pattern.any or []):
            self.pattern(name, inner, (*path, "any", index))

    def test(self, name: str, test: Any, path: Way) -> None:
        if not isinstance(test, dict):
            self.variable(name, test, path)
            return
        if len(test) != 1:
            self.say("rules", name, path, f"takes exactly one comparison, has {len(test)}")
        for word, value in test.items():
            here: Way = (*path, word)
            if word in _NUMBERS:
                if isinstance(value, bool) or not isinstance(value, int | float):
                    self.say("rules", name, here, "needs a number")
            elif word == "one-of":
                if not isinstance(value, list) or not value or not all(isinstance(v, Scalar) for v in value):
                    self.say("rules", name, here, "needs a list of values")
                else:
                    for index, item in enumerate(value):
                        self.variable(name, item, (*here, index))
            elif not isinstance(value, Scalar):
                self.say("rules", name, here, "needs one value")
            else:
                self.variable(name, value, here)

    def variable(self, name: str, value: Any, path: Way) -> None:
        if isinstance(value, str) and value.startswith("$") and not _VARIABLE.fullmatch(value):
            self.say("rules", name, path, f"`{value}` is no variable: use $ and a lower-case name")

    def then(self, name: str, rule: Rule, bound: set[str]) -> None:
        fitting = {"finding": ("finding", "channel"), "gate": ("block",), "caution": ("caution",)}.get(rule.kind, ())
        for word in ("finding", "channel", "block", "caution"):
            if getattr(rule.then, word) is not None and word not in fitting:
                takes = f"takes {either([f'`{w}`' for w in fitting])}" if fitting else "takes no `then`"
                self.say("rules", name, ("then", word), f"a rule of kind {rule.kind} {takes}")
        if fitting and getattr(rule.then, fitting[0]) is None:
            self.say("rules", name, ("then",), f"a rule of kind {rule.kind} needs `{fitting[0]}` here")
        channel = rule.then.channel
        if channel is not None:
            self.variable(name, channel, ("then", "channel"))
            variable = _VARIABLE.fullmatch(channel)
            if variable and variable[1] not in bound:
                message = f"no pattern that must stand binds `{channel}`{_variables(variable[1], bound)}"
                self.say("rules", name, ("then", "channel"), message)
        block = rule.then.block
        if block is not None and not self.torn & {"checks", "repairs", "access"}:
            moves = self.known["checks"] | self.known["repairs"] | self.known["access"] | {VERIFY} | self.tags()
            if block not in moves:
                message = f"no tag in use and no move is called `{block}`{near(block, moves)}"
                self.say("rules", name, ("then", "block"), message)

    def tags(self) -> set[str]:
        found: set[str] = set()
        for kind in ("checks", "repairs", "access"):
            for data in self.base.raw[kind].values():
                tags = data.get("tags") if isinstance(data, dict) else None
                found.update(tag for tag in tags or [] if isinstance(tag, str)) if isinstance(tags, list) else None
        return found


def _numbered(items: list[str], attribute: str) -> list[tuple[str, Way]]:
    return [(item, (attribute, index)) for index, item in enumerate(items)]


def _braces(text: str) -> Iterator[str | None]:
    """What stands between braces in a text; None for a brace without a partner."""
    if "{" not in text and "}" not in text:
        return
    yield from re.findall(r"\{([^{}]*)\}", text)
    if re.search(r"[{}]", re.sub(r"\{[^{}]*\}", "", text)):
        yield None


def _binds(pattern: Pattern) -> set[str]:
    """The variables that have a value whenever the pattern stands."""
    if pattern.any:
        return set.intersection(*(_binds(inner) for inner in pattern.any))
    if pattern.fact is None:
        return set()
    tests = (test for test in pattern.where.values() if isinstance(test, str))
    return {match[1] for match in map(_VARIABLE.fullmatch, tests) if match}


def _uses(pattern: Pattern, path: Way, *, absent: bool = False) -> Iterator[tuple[str, Way]]:
    """The variables that a pattern only compares with, each with its place: these need a value from elsewhere."""
    for slot, test in pattern.where.items():
        here: Way = (*path, "where", slot)
        for word, value in test.items() if isinstance(test, dict) else [("", test)] if absent else []:
            for item in value if isinstance(value, list) else [value]:
                match = _VARIABLE.fullmatch(item) if isinstance(item, str) else None
                if match:
                    yield match[1], (*here, word) if word else here
    if pattern.absent is not None:
        yield from _uses(pattern.absent, (*path, "absent"), absent=True)
    for index, inner in enumerate(pattern.any or []):
        yield from _uses(inner, (*path, "any", index), absent=absent)


def _variables(word: str, bound: set[str]) -> str:
    return near(f"${word}", (f"${one}" for one in bound))

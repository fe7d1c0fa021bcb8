"""What one engine profile has of all that is known: channel entries become one instance a channel.

An instance is named ``name/A`` where its entry is per channel, else as the entry. An entry per channel that
names another such entry means its own channel's; one that is not per channel means every channel's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from isolate.kb.model import (
    FLOOR,
    HEALTHY,
    Access,
    Caution,
    Check,
    Complaint,
    Condition,
    Crossing,
    Disturbs,
    Fitting,
    Knowledge,
    Mode,
    Profile,
    Repair,
    Repeats,
    Row,
    Rule,
    Sign,
    Zone,
    lines,
)
from isolate.kb.names import UnknownName, near

__all__ = [
    "FitAccess",
    "FitCheck",
    "FitCrossing",
    "FitRepair",
    "FitZone",
    "Fitted",
    "UnknownName",
    "answers_as",
    "fit",
    "instance",
    "near",
    "split",
    "worded",
]

_T = TypeVar("_T")
_F = TypeVar("_F", bound=Fitting)


def instance(name: str, channel: str) -> str:
    """Return the instance name of an entry: ``name/A``, or the name itself where channel is empty."""
    return f"{name}/{channel}" if channel else name


def split(key: str) -> tuple[str, str]:
    """Return (entry name, channel) of an instance name; the channel is empty where there is none."""
    name, _, channel = key.partition("/")
    return name, channel


def worded(text: str, channel: str) -> str:
    """Return the text with its channel filled in."""
    return text.replace("{channel}", channel)


@dataclass(frozen=True)
class FitZone:
    """A zone of this aircraft: its states (healthy first) and, state by state, prior and chance to light."""

    key: str
    channel: str
    title: str
    entry: Zone
    states: tuple[str, ...]
    prior: tuple[float, ...]
    lights: tuple[float, ...]
    modes: Mapping[str, Mode]

    def active(self, condition: Condition, strength: float = 1.0) -> tuple[float, ...]:
        """Probability that each state shows in this condition; healthy always does.

        ``strength``: how far the condition prevails; the rest is as in no condition in particular.
        """
        shows: list[float] = [1.0]
        for state in self.states[1:]:
            active = self.modes[state].active
            if isinstance(active, dict):
                usual = float(active.get("steady", 1.0))
                shows.append(strength * float(active.get(condition, usual)) + (1 - strength) * usual)
            else:
                shows.append(float(active))
        return tuple(shows)

    @property
    def flickers(self) -> tuple[bool, ...]:
        """Whether each state shows or not anew at each answer, rather than for an occasion together."""
        return (False, *(self.modes[state].flickers for state in self.states[1:]))

    def title_of(self, state: str) -> str:
        """The state in plain words."""
        return f"{self.title}: nothing wrong" if state == HEALTHY else worded(self.modes[state].title, self.channel)


@dataclass(frozen=True)
class FitCheck:
    """A check of this aircraft. ``given``: zone key → row of outcome likelihoods for each of the zone's states."""

    key: str
    name: str
    channel: str
    title: str
    entry: Check
    steps: tuple[str, ...]
    never: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: float
    needs: tuple[str, ...]
    shut: tuple[str, ...]
    spoils: tuple[str, ...]
    outcomes: tuple[str, ...]
    given: Mapping[str, tuple[tuple[float, ...], ...]]

    @property
    def functional(self) -> bool:
        return self.entry.kind == "functional"

    @property
    def still(self) -> bool:
        """Whether what it sees of a fault that comes and goes holds for other such checks on the same occasion.

        An engine start does not: it shakes and heats everything, and each is drawn anew.
        """
        return self.functional and not self.entry.starts

    @property
    def makes(self) -> tuple[Condition, float] | None:
        """The condition that the check makes for itself, with how far it prevails; None: done as it is."""
        return next(iter(self.entry.makes.items()), None)

    @property
    def repeats(self) -> Repeats | None:
        return self.entry.repeats

    def said(self, outcome: str) -> str:
        """The outcome in plain words."""
        return worded(self.entry.outcomes[outcome].title, self.channel)


@dataclass(frozen=True)
class FitCrossing:
    """Opening or shutting an access state of this aircraft. ``entry`` holds the wait."""

    do: str
    minutes: float
    cautions: tuple[str, ...]
    checks: tuple[str, ...]
    entry: Crossing

    def waits(self, condition: Condition) -> float:
        """Return the minutes to wait in this condition."""
        return self.entry.waits(condition)


@dataclass(frozen=True)
class FitAccess:
    """An access state of this aircraft."""

    key: str
    name: str
    channel: str
    title: str
    entry: Access
    open: FitCrossing
    close: FitCrossing
    needs: tuple[str, ...]
    shut: tuple[str, ...]


@dataclass(frozen=True)
class FitRepair:
    """A repair of this aircraft.

    ``clears``: zone key → the states it clears; ``disturbs``: zone key → (state, chance).
    """

    key: str
    name: str
    channel: str
    title: str
    entry: Repair
    steps: tuple[str, ...]
    never: tuple[str, ...]
    cautions: tuple[str, ...]
    needs: tuple[str, ...]
    shut: tuple[str, ...]
    spoils: tuple[str, ...]
    clears: Mapping[str, frozenset[str]]
    disturbs: Mapping[str, tuple[tuple[str, float], ...]]
    examines: tuple[str, ...]

    @property
    def hand_over(self) -> bool:
        return self.entry.kind == "hand-over"


@dataclass(frozen=True)
class Fitted:
    """One profile's zones, checks, access, repairs, complaints and rules, by instance name."""

    name: str
    profile: Profile
    knowledge: Knowledge
    zones: Mapping[str, FitZone]
    checks: Mapping[str, FitCheck]
    access: Mapping[str, FitAccess]
    repairs: Mapping[str, FitRepair]
    complaints: Mapping[str, Complaint]
    signs: Mapping[str, Sign]
    cautions: Mapping[str, Caution]
    rules: Mapping[str, Rule]

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(self.profile.channels)

    @cached_property
    def mode_zone(self) -> Mapping[str, str]:
        """Mode instance (``lead-open/A``, ``no-fuel``) → key of its zone."""
        return {instance(s, z.channel): z.key for z in self.zones.values() for s in z.states[1:]}

    def needed(self, names: Iterable[str]) -> frozenset[str]:
        """Return these access states (instance names) with all that they need."""
        asked = frozenset(names)
        if asked not in self._needed:
            found: set[str] = set()
            todo = list(asked)
            while todo:
                name = todo.pop()
                if name not in found:
                    found.add(name)
                    todo += self.access[name].needs
            self._needed[asked] = frozenset(found)
        return self._needed[asked]

    @cached_property
    def _needed(self) -> dict[frozenset[str], frozenset[str]]:
        return {}

    def check(self, key: str) -> FitCheck:
        """Return a check by instance name. Raises UnknownName."""
        return _named(self.checks, key, "check")

    def repair(self, key: str) -> FitRepair:
        """Return a repair by instance name. Raises UnknownName."""
        return _named(self.repairs, key, "repair")

    def verification(self, complaint: str, channel: str = "") -> tuple[str, ...]:
        """Check instances that verify a complaint (about this channel, if about one), in the order they are done."""
        entry = _named(self.complaints, complaint, "complaint")
        keys = [instance(name, channel) for name in entry.verify_own if channel]
        for name in entry.verify:
            keys += [k for k, c in self.checks.items() if c.name == name]
        return tuple(k for k in keys if k in self.checks)


def _named(entries: Mapping[str, _T], key: str, what: str) -> _T:
    try:
        return entries[key]
    except KeyError:
        raise UnknownName(f"no {what} is called {key!r}{near(key, entries)}") from None


def fit(knowledge: Knowledge, engine: str) -> Fitted:
    """Instantiate the knowledge for an engine profile. Raises UnknownName."""
    profile = _named(knowledge.engines, engine, "engine")
    return _Fitter(knowledge, engine, profile).fitted()


class _Fitter:
    def __init__(self, knowledge: Knowledge, name: str, profile: Profile) -> None:
        self.kb, self.name, self.profile = knowledge, name, profile
        self.channels = tuple(profile.channels)
        omits = profile.omits
        self.features = profile.features
        self.entries: dict[str, dict[str, Any]] = {
            "access": self._there(knowledge.access, omits.access),
            "checks": self._there(knowledge.checks, omits.checks),
            "repairs": self._there(knowledge.repairs, omits.repairs),
        }
        self.zones = self._zones()

    def fitted(self) -> Fitted:
        return Fitted(
            name=self.name,
            profile=self.profile,
            knowledge=self.kb,
            zones=self.zones,
            access=self._access(),
            checks=self._checks(),
            repairs=self._repairs(),
            complaints=self._there(self.kb.complaints),
            signs=self._signs(),
            cautions=self._there(self.kb.cautions),
            rules=self._there(self.kb.rules, self.profile.omits.rules),
        )

    def _there(self, entries: Mapping[str, _F], omitted: Iterable[str] = ()) -> dict[str, _F]:
        """What of these the engine has by its features, less what its profile omits."""
        return {k: v for k, v in entries.items() if k not in omitted and v.on(self.features)}

    def _signs(self) -> dict[str, Sign]:
        """Signs that answer at least one check that the engine has."""
        return {k: v for k, v in self._there(self.kb.signs).items() if set(v.answers) & set(self.entries["checks"])}

    def _cautions(self, names: Iterable[str]) -> tuple[str, ...]:
        return tuple(n for n in names if self.kb.cautions[n].on(self.features))

    def _crossing(self, crossing: Crossing, minutes: float | None) -> FitCrossing:
        do = [crossing.do] if isinstance(crossing.do, str) else crossing.do
        return FitCrossing(
            do=" ".join(lines(do, self.features)),
            minutes=crossing.minutes if minutes is None else minutes,
            cautions=self._cautions(crossing.cautions),
            checks=lines(crossing.checks, self.features),
            entry=crossing,
        )

    def _over(self, per: str | None) -> tuple[str, ...]:
        return self.channels if per == "channel" else ("",)

    def _keys(self, kind: str, names: Iterable[str], channel: str) -> tuple[str, ...]:
        """Instances meant by names in an entry of this channel; what the profile omits is not needed."""
        keys: list[str] = []
        for name in names:
            entry = self.entries[kind].get(name)
            if entry is None:
                continue
            if entry.per is None:
                keys.append(name)
            else:
                keys += [instance(name, c) for c in ((channel,) if channel else self.channels)]
        return tuple(keys)

    def _zones(self) -> dict[str, FitZone]:
        zones: dict[str, FitZone] = {}
        for name in self.profile.zones:
            zone = self.kb.zones[name]
            modes = self._there(zone.modes, self.profile.omits.modes)
            if not modes:
                continue
            priors = [self.profile.priors.get(m, e.prior) for m, e in modes.items()]
            for channel in self._over(zone.per):
                key = instance(name, channel)
                zones[key] = FitZone(
                    key=key,
                    channel=channel,
                    title=worded(zone.title, channel),
                    entry=zone,
                    states=(HEALTHY, *modes),
                    prior=(1.0 - sum(priors), *priors),
                    lights=(zone.lights, *(e.lights for e in modes.values())),
                    modes=modes,
                )
        return zones

    def _access(self) -> dict[str, FitAccess]:
        fits: dict[str, FitAccess] = {}
        for name, entry in self.entries["access"].items():
            assert isinstance(entry, Access)
            cost = self.profile.access_minutes.get(name)
            opening = self._crossing(entry.open, cost.open if cost else None)
            closing = self._crossing(entry.close, cost.close if cost else None)
            for channel in self._over(entry.per):
                key = instance(name, channel)
                fits[key] = FitAccess(
                    key=key,
                    name=name,
                    channel=channel,
                    title=worded(entry.title, channel),
                    entry=entry,
                    open=opening,
                    close=closing,
                    needs=self._keys("access", entry.needs, channel),
                    shut=self._keys("access", entry.shut, channel),
                )
        return fits

    def _given(self, check: Check, channel: str) -> dict[str, tuple[tuple[float, ...], ...]]:
        given: dict[str, tuple[tuple[float, ...], ...]] = {}
        for zone_name, rows in check.given.items():
            for key, zone in self.zones.items():
                name = split(key)[0]
                if zone_name == "others":
                    meant = name == "channel" and zone.channel != channel
                else:
                    meant = name == zone_name and (not channel or not zone.channel or zone.channel == channel)
                if meant:
                    given[key] = _rows(zone, rows, tuple(check.outcomes))
        return given

    def _checks(self) -> dict[str, FitCheck]:
        fits: dict[str, FitCheck] = {}
        for name, entry in self.entries["checks"].items():
            assert isinstance(entry, Check)
            for channel in self._over(entry.per):
                key = instance(name, channel)
                fits[key] = FitCheck(
                    key=key,
                    name=name,
                    channel=channel,
                    title=worded(entry.title, channel),
                    entry=entry,
                    steps=lines(entry.steps, self.features),
                    never=lines(entry.never, self.features),
                    cautions=self._cautions(entry.cautions),
                    minutes=self.profile.check_minutes.get(name, entry.minutes),
                    needs=self._keys("access", entry.needs, channel),
                    shut=self._keys("access", entry.shut, channel),
                    spoils=self._keys("access", entry.spoils, channel),
                    outcomes=tuple(entry.outcomes),
                    given=self._given(entry, channel),
                )
        return fits

    def _zone_keys(self, zone_name: str, channel: str) -> list[str]:
        keys = [k for k in self.zones if split(k)[0] == zone_name]
        return [k for k in keys if not channel or not self.zones[k].channel or self.zones[k].channel == channel]

    def _repairs(self) -> dict[str, FitRepair]:
        fits: dict[str, FitRepair] = {}
        for name, entry in self.entries["repairs"].items():
            assert isinstance(entry, Repair)
            for channel in self._over(entry.per):
                key = instance(name, channel)
                clears: dict[str, frozenset[str]] = {}
                for zone_name, modes in entry.clears.items():
                    for zone_key in self._zone_keys(zone_name, channel):
                        had = frozenset(m for m in modes if m in self.zones[zone_key].modes)
                        if had:
                            clears[zone_key] = had
                if not clears:
                    continue
                fits[key] = FitRepair(
                    key=key,
                    name=name,
                    channel=channel,
                    title=worded(entry.title, channel),
                    entry=entry,
                    steps=lines(entry.steps, self.features),
                    never=lines(entry.never, self.features),
                    cautions=self._cautions(entry.cautions),
                    needs=self._keys("access", entry.needs, channel),
                    shut=self._keys("access", entry.shut, channel),
                    spoils=self._keys("access", entry.spoils, channel),
                    clears=clears,
                    disturbs=self._disturbs(entry.disturbs, channel),
                    examines=self._keys("checks", entry.examines, channel),
                )
        return fits

    def _disturbs(self, disturbs: Iterable[Disturbs], channel: str) -> dict[str, tuple[tuple[str, float], ...]]:
        found: dict[str, tuple[tuple[str, float], ...]] = {}
        for disturb in disturbs:
            for key, zone in self.zones.items():
                if disturb.mode in zone.modes and (not channel or not zone.channel or zone.channel == channel):
                    found[key] = (*found.get(key, ()), (disturb.mode, disturb.chance))
        return found


def _rows(zone: FitZone, rows: Iterable[Row], outcomes: tuple[str, ...]) -> tuple[tuple[float, ...], ...]:
    by_state: dict[str, tuple[float, ...]] = {}
    for row in rows:
        gives = [max(FLOOR, row.gives.get(o, 0.0)) for o in outcomes]
        total = sum(gives)
        for state in row.modes:
            by_state[state] = tuple(g / total for g in gives)
    return tuple(by_state[answers_as(zone.entry, state, by_state)] for state in zone.states)


def answers_as(zone: Zone, mode: str, rows: Collection[str]) -> str:
    """Return the state whose row a mode answers by in a check: its own, that of the mode it is like, or healthy's."""
    while mode not in rows:
        like = zone.modes[mode].like if mode in zone.modes else None
        if like is None:
            return HEALTHY
        mode = like
    return mode

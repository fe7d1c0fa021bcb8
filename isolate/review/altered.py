"""Knowledge with one figure changed: what an engine profile would be if a likelihood or a prior were another.

A figure is changed where the knowledge of one engine has been fitted, so no file is touched and nothing is written.
What the figure takes or gives, the rest of its row takes or gives in proportion, so that the row still sums to one; a
prior takes it from healthy. No likelihood falls below the floor, as none does that is read from a file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from isolate.kb.fit import FitCheck, Fitted, FitZone, UnknownName, instance, near, split, worded
from isolate.kb.model import FLOOR, HEALTHY

OTHERS = "others"
"""The name by which a check per channel knows the other channels' zones."""
LEAST_HEALTHY = 1e-3
"""So much of a zone stays healthy before any evidence, however large a prior is made."""


@dataclass(frozen=True)
class Likelihood:
    """P(outcome | state) of a check, by entry names. ``zone``: as the check names it under ``given``.

    ``channel``: of the check; empty for each. One mode's figure by itself, also where several share a written row.
    """

    check: str
    outcome: str
    zone: str
    state: str
    channel: str = ""


@dataclass(frozen=True)
class Prior:
    """The probability of a mode before any evidence, by entry name. ``channel``: empty for each."""

    mode: str
    channel: str = ""


Figure = Likelihood | Prior


def checks_of(fitted: Fitted, figure: Likelihood) -> tuple[str, ...]:
    """Return the check instances that a likelihood belongs to. Raises UnknownName where there are none."""
    named = [key for key, check in fitted.checks.items() if check.name == figure.check]
    if not named:
        names = {check.name for check in fitted.checks.values()}
        raise UnknownName(f"no check is called {figure.check!r}{near(figure.check, names)}")
    found = tuple(key for key in named if not figure.channel or fitted.checks[key].channel == figure.channel)
    if not found:
        raise UnknownName(f"{figure.check} is there as {', '.join(named)}, not for {figure.channel!r}")
    return found


def place_of(check: FitCheck, zone: FitZone) -> str:
    """Return the name by which a check has a zone under ``given``."""
    own = not check.channel or not zone.channel or zone.channel == check.channel
    return split(zone.key)[0] if own else OTHERS


def zones_of(fitted: Fitted, check: FitCheck, figure: Likelihood) -> tuple[str, ...]:
    """Return the zones of a check, by key, whose row holds the figure."""
    return tuple(
        key
        for key in check.given
        if place_of(check, fitted.zones[key]) == figure.zone and figure.state in fitted.zones[key].states
    )


def value_of(fitted: Fitted, figure: Figure) -> float:
    """Return a figure as the knowledge has it. Raises UnknownName for one that it does not have."""
    if isinstance(figure, Prior):
        zone = fitted.zones[_zones_with(fitted, figure)[0]]
        return zone.prior[zone.states.index(figure.mode)]
    for key in checks_of(fitted, figure):
        check = fitted.checks[key]
        if figure.outcome not in check.outcomes:
            raise UnknownName(
                f"{check.name} has no answer {figure.outcome!r}{near(figure.outcome, check.outcomes)}; "
                f"it takes {', '.join(check.outcomes)}"
            )
        for zone_key in zones_of(fitted, check, figure):
            at = fitted.zones[zone_key].states.index(figure.state)
            return check.given[zone_key][at][check.outcomes.index(figure.outcome)]
    raise UnknownName(f"{figure.check} does not look at {figure.state} in {figure.zone}")


def altered(fitted: Fitted, figure: Figure, value: float) -> Fitted:
    """Return the profile with a figure set to ``value``, within :func:`bounds`. Raises UnknownName."""
    least, most = bounds(fitted, figure)
    value = min(max(value, least), most)
    if isinstance(figure, Prior):
        zones = dict(fitted.zones)
        for key in _zones_with(fitted, figure):
            zones[key] = _with_prior(zones[key], figure.mode, value)
        return replace(fitted, zones=zones)
    checks = dict(fitted.checks)
    for key in checks_of(fitted, figure):
        check = checks[key]
        given = dict(check.given)
        for zone_key in zones_of(fitted, check, figure):
            rows, at = list(given[zone_key]), fitted.zones[zone_key].states.index(figure.state)
            rows[at] = row_with(rows[at], check.outcomes.index(figure.outcome), value)
            given[zone_key] = tuple(rows)
        checks[key] = replace(check, given=given)
    return replace(fitted, checks=checks)


def bounds(fitted: Fitted, figure: Figure) -> tuple[float, float]:
    """Return the least and the most that a figure can be. Raises UnknownName."""
    value = value_of(fitted, figure)
    if isinstance(figure, Prior):
        healthy = min(fitted.zones[key].prior[0] for key in _zones_with(fitted, figure))
        return FLOOR * min(1.0, value), value + max(0.0, healthy - LEAST_HEALTHY)
    outcomes = len(fitted.checks[checks_of(fitted, figure)[0]].outcomes)
    return FLOOR, 1 - FLOOR * (outcomes - 1)


def row_with(row: Sequence[float], at: int, value: float) -> tuple[float, ...]:
    """Return a row of likelihoods with one of them set; the others keep their proportions, none below the floor."""
    rest = 1.0 - row[at]
    # Where nothing is left for the others to keep proportions of, they share alike.
    share = [p / rest if rest > 0 else 1 / (len(row) - 1) for p in row]
    found = [value if i == at else max(FLOOR, (1 - value) * part) for i, part in enumerate(share)]
    # What the floor adds to some is taken from those above it, so that the figure asked for stands.
    over = sum(found) - 1.0
    spare = sum(p - FLOOR for i, p in enumerate(found) if i != at)
    if over > 0 and spare > 0:
        found = [p if i == at else p - over * (p - FLOOR) / spare for i, p in enumerate(found)]
    total = sum(found)
    return tuple(p / total for p in found)


def _with_prior(zone: FitZone, mode: str, value: float) -> FitZone:
    at = zone.states.index(mode)
    prior = [*zone.prior]
    prior[at] = value
    prior[0] = 1.0 - sum(prior[1:])
    return replace(zone, prior=tuple(prior))


def _zones_with(fitted: Fitted, figure: Prior) -> tuple[str, ...]:
    found = [key for key, zone in fitted.zones.items() if figure.mode != HEALTHY and figure.mode in zone.states]
    if not found:
        modes = {split(mode)[0] for mode in fitted.mode_zone}
        raise UnknownName(f"no fault mode is called {figure.mode!r}{near(figure.mode, modes)}")
    meant = tuple(key for key in found if not figure.channel or fitted.zones[key].channel == figure.channel)
    if not meant:
        there = ", ".join(instance(figure.mode, fitted.zones[key].channel) for key in found)
        raise UnknownName(f"{figure.mode} is there as {there}, not for {figure.channel!r}")
    return meant


def in_words(fitted: Fitted, figure: Likelihood, keys: Sequence[str] = ()) -> tuple[str, str, str]:
    """Return a likelihood in plain words: (what is read, at which check, with what at fault).

    ``keys``: the check instances that are meant; none: all that the figure belongs to.
    """
    keys = keys or checks_of(fitted, figure)
    entry = fitted.checks[keys[0]].entry
    channels = "/".join(fitted.checks[key].channel for key in sorted(keys))
    read, title = worded(entry.outcomes[figure.outcome].title, channels), worded(entry.title, channels)
    return small(read), title, _fault(fitted, figure.zone, figure.state)


def mode_in_words(fitted: Fitted, mode: str) -> str:
    """Return a fault mode in plain words, of no one channel."""
    return _fault(fitted, "", mode)


def _fault(fitted: Fitted, place: str, state: str) -> str:
    if place == OTHERS and state == HEALTHY:
        return "nothing wrong on the other channel"
    for key, zone in fitted.zones.items():
        if state == HEALTHY and split(key)[0] == place:
            return f"nothing wrong in the {small(_of_none(zone.entry.title))}"
        if state in zone.modes:
            of_other = " on the other channel" if place == OTHERS else ""
            return small(_of_none(zone.modes[state].title)) + of_other
    return state


def _of_none(title: str) -> str:
    """Return a title without the letter of a channel, and without the words that lead up to it."""
    for said in (" of channel {channel}", " on channel {channel}"):
        title = title.replace(said, " of a channel" if " of" in said else " on a channel")
    return " ".join(title.replace("{channel}", "").split())


def small(text: str) -> str:
    """Return a title as it stands within a sentence, without a full stop."""
    text = text.rstrip(".")
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if first[1:] == first[1:].lower() and len(first) > 1 else text


def figures_of(fitted: Fitted, asked: Mapping[str, Sequence[str]]) -> tuple[Likelihood, ...]:
    """Return each figure that answers draw on: P(the outcome had | a state) of every zone looked at.

    ``asked``: check instance → outcomes that it gave.
    """
    found: dict[Likelihood, None] = {}
    for key, outcomes in asked.items():
        check = fitted.checks[key]
        for outcome in outcomes:
            for zone_key in check.given:
                zone = fitted.zones[zone_key]
                for state in zone.states:
                    found[Likelihood(check.name, outcome, place_of(check, zone), state)] = None
    return tuple(found)

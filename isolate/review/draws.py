"""The answers of a case with a confirmed cause, as draws from the rows of likelihoods that the knowledge has.

Each check's first answer on an occasion is one draw from the row of the state that its zone was in. Two things mix into
it. A fault that comes and goes answers as healthy while it does not show: what else was seen on the occasion says how
likely it showed (:mod:`isolate.reasoning.occasion`). And where a check looks at several zones, the worst is seen. So a
draw of outcome k weighs its row by p_k + b, with b by the present figures; see :mod:`isolate.review.dirichlet`.

Which checks were asked was chosen by the tool, yet from the answers so far alone and not from the state itself, so the
choice says nothing of the row (ignorable: Rubin, "Inference and missing data", Biometrika 63, 1976, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck, FitZone, UnknownName, answers_as, split
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import How, Model
from isolate.review.confirmed import Confirmed

Row = NDArray[np.float64]


@dataclass(frozen=True)
class Draw:
    """One draw from a row: the check and the row's key and number under ``given``; the outcome by its number.

    ``other``: b, as above. ``expects``: P(each outcome) by the present figures, the rest of the occasion given.
    """

    case: str
    engine: str
    check: str
    given: str
    number: int
    state: str
    outcome: int
    other: float
    expects: tuple[float, ...]


def place_of(check: FitCheck, zone: FitZone, state: str) -> tuple[str, int]:
    """Return the row by which a zone's state answers a check: its key under ``given``, and its number there.

    Raises UnknownName for a zone that the check does not look at.
    """
    found = None
    for name in check.entry.given:
        if name == "others":
            meant = split(zone.key)[0] == "channel" and zone.channel != check.channel
        else:
            meant = split(zone.key)[0] == name and (
                not check.channel or not zone.channel or zone.channel == check.channel
            )
        found = name if meant else found
    if found is None:
        raise UnknownName(f"{check.key} does not look at {zone.key}")
    numbers = {mode: number for number, row in enumerate(check.entry.given[found]) for mode in row.modes}
    return found, numbers[answers_as(zone.entry, state, numbers)]


@dataclass(frozen=True)
class Seen:
    """How a zone's state answers: P(it shows), and P(outcome) as it shows and as it does not."""

    shows: float
    on: Row
    off: Row


@dataclass(frozen=True)
class Answer:
    """The first answer of a check on an occasion. ``when``: the same for answers on one occasion."""

    fit: FitCheck
    outcome: int
    how: How
    when: Any
    zones: Mapping[str, Seen]

    def beside(self, zone: str) -> Row:
        """Return P(no worse than outcome k, as far as the other zones go)."""
        found = np.ones(len(self.fit.outcomes))
        for key, seen in self.zones.items():
            if key != zone:
                found = found * np.cumsum(seen.shows * seen.on + (1 - seen.shows) * seen.off)
        return np.minimum(found, 1.0)

    def outcomes(self, zone: str, row: Row) -> Row:
        """Return P(outcome) with this row for a zone: the worst is seen."""
        return np.diff(np.cumsum(row) * self.beside(zone), prepend=0.0)

    def parts(self, zone: str, row: Row) -> tuple[float, float]:
        """Return what the row's figure of the outcome is multiplied by, and P(outcome) without it."""
        beside, k = self.beside(zone), self.outcome
        before = beside[k - 1] if k else 0.0
        return float(beside[k]), float((beside[k] - before) * row[:k].sum())


def answers(model: Model, case: Confirmed) -> tuple[tuple[Answer, ...], int]:
    """Return the first answers that look at zones of known state only, and how many have unknown names."""
    fitted, found, lost = model.fitted, list[Answer](), 0
    had: set[Any] = set()
    era = 0
    for item in case.evidence:
        if item.kind != "answer":
            era += 1
            continue
        fit = fitted.checks.get(item.key)
        if fit is None or item.outcome not in fit.outcomes:
            lost += 1
            continue
        how = model.setting(fit.key, item.condition, item.strength)
        # What a fault's activity has no part in is one story through the whole case.
        when = (item.occasion, era, how) if fit.functional else ()
        if (fit.key, when) in had:
            continue
        had.add((fit.key, when))
        if fit.given.keys() <= case.states.keys():
            zones = {zone: _seen(model, fit, zone, case.states[zone], how) for zone in fit.given}
            found.append(Answer(fit, fit.outcomes.index(item.outcome), how, when, zones))
    return tuple(found), lost


def _seen(model: Model, fit: FitCheck, zone: str, state: str, how: How) -> Seen:
    number = model.fitted.zones[zone].states.index(state)
    on, off = (np.asarray(fit.given[zone][n]) for n in (number, 0))
    shows = float(model.active(zone, *how)[number]) if fit.functional and (on != off).any() else 1.0
    return Seen(shows, on, off)


def draws(model: Model, case: Confirmed, had: Sequence[Answer]) -> Iterator[Draw]:
    """Yield a draw for every zone that these answers of the case speak of."""
    for answer in had:
        for zone, seen in answer.zones.items():
            state = case.states[zone]
            given, number = place_of(answer.fit, model.fitted.zones[zone], state)
            row = answer.fit.entry.given[given][number]
            if HEALTHY in row.modes and len(row.gives) == 1:
                # Written as never to speak up: what false alarms there are stand in another zone's row.
                continue
            own, rest = answer.parts(zone, seen.on)
            showed = seen.shows * _others(model, had, answer, zone, state)
            if showed * own <= 0:
                continue
            quiet = 1 - seen.shows
            off = answer.outcomes(zone, seen.off)
            expects = (showed * answer.outcomes(zone, seen.on) + quiet * off) / (showed + quiet)
            other = (showed * rest + quiet * float(off[answer.outcome])) / (showed * own)
            engine = model.fitted.name
            yield Draw(
                case.case, engine, answer.fit.name, given, number, state, answer.outcome, other, tuple(expects.tolist())
            )


def _others(model: Model, had: Sequence[Answer], answer: Answer, zone: str, state: str) -> float:
    """Return how much likelier the other answers on the occasion are with the fault showing than with it not."""
    fitted = model.fitted.zones[zone]
    if not answer.fit.still or fitted.flickers[fitted.states.index(state)]:
        return 1.0
    ratio = 1.0
    for other in had:
        if other is not answer and other.fit.still and other.when == answer.when and zone in other.zones:
            seen = other.zones[zone]
            on, off = (float(other.outcomes(zone, row)[other.outcome]) for row in (seen.on, seen.off))
            ratio *= on / off
    return ratio

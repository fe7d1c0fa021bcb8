"""Why this check, why this part: plain words first, numbers second."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

import numpy as np

from isolate.kb.fit import worded
from isolate.kb.model import Condition
from isolate.reasoning.belief import Belief, Marginal, Setting, Table
from isolate.reasoning.occasion import At

NOW = Setting()
"""As it is where nothing was told."""


@dataclass(frozen=True)
class Shift:
    """What one outcome would do: its probability and each leading suspect before and after it."""

    outcome: str
    said: str
    means: str
    probability: float
    suspects: tuple[tuple[Marginal, float], ...]
    """(suspect as it would be, its probability now), most probable after the outcome first."""


@dataclass(frozen=True)
class Weighed:
    """What one answer says for (positive bits) or against a suspect."""

    check: str
    title: str
    said: str
    bits: float

    @property
    def words(self) -> str:
        return strength(self.bits)


def strength(bits: float) -> str:
    """Return a weight of evidence in words; the steps are Jeffreys' half-decades of the odds (1961), in bits."""
    size = abs(bits)
    if size < 0.3:
        return "says nothing either way"
    for limit, word in ((1.66, "slightly"), (3.32, "clearly"), (6.64, "strongly")):
        if size < limit:
            return f"{word} {'for' if bits > 0 else 'against'}"
    return f"very strongly {'for' if bits > 0 else 'against'}"


def shifts(belief: Belief, check: str, setting: Setting = NOW, most: int = 3) -> tuple[Shift, ...]:
    """Return what each outcome of a check would do to the leading suspects."""
    fit = belief.model.fitted.check(check)
    now = {m.mode: m.probability for m in belief.faults()}
    chances, afters = belief.after(check, setting)
    found = []
    for outcome, chance, after in zip(fit.outcomes, chances, afters, strict=True):
        leading = tuple((m, now[m.mode]) for m in after.faults(0.02)[:most])
        means = worded(fit.entry.outcomes[outcome].means, fit.channel)
        found.append(Shift(outcome, fit.said(outcome), means, float(chance), leading))
    return tuple(found)


def parted(
    belief: Belief, check: str, setting: Setting = NOW, most: int = 3
) -> tuple[tuple[Marginal, ...], tuple[Marginal, ...]]:
    """Return the suspects that a check's last outcome, its worst news, would speak for and those against.

    Of the suspects of at least 3 % as they are now, at most ``most`` each; either may be empty.
    """
    worst = belief.after(check, setting)[1][-1]
    after = {m.mode: m.probability for m in worst.faults()}
    up, down = [], []
    for now in belief.faults(0.03):
        if after[now.mode] > 1.3 * now.probability:
            up.append(now)
        elif after[now.mode] < 0.7 * now.probability:
            down.append(now)
    return tuple(up[:most]), tuple(down[:most])


def weighed(belief: Belief, state: Mapping[str, str]) -> tuple[Weighed, ...]:
    """Return each answer's weight of evidence for these zone states, the weightiest first."""
    found = []
    for told, bits in belief.weights(state):
        fit = belief.model.fitted.check(told.check)
        found.append(Weighed(told.check, fit.title, fit.said(told.outcome), bits))
    return tuple(sorted(found, key=lambda w: (-abs(round(w.bits, 9)), w.check)))


@dataclass(frozen=True)
class Hidden:
    """A suspect that a check hardly sees as things are: how often it shows now, and in the condition it shows most."""

    suspect: Marginal
    now: float
    condition: Condition
    then: float


LITTLE = 0.6
"""A fault that shows this share as often as elsewhere, or less, is hardly seen: our judgement."""


def hidden(
    belief: Belief, check: str, setting: Setting = NOW, least: float = 0.03, most: int = 2
) -> tuple[Hidden, ...]:
    """Return the suspects that a pass of this functional check says little about, done as it is now.

    Suspects of at least ``least``, those first that cost most to overlook: the most probable and best asleep.
    """
    model, fit = belief.model, belief.model.fitted.check(check)
    if not fit.functional:
        return ()
    found = []
    for suspect in belief.faults(least):
        rows = fit.given.get(suspect.zone)
        zone = model.fitted.zones[suspect.zone]
        at = zone.states.index(suspect.state)
        if rows is None or rows[at] == rows[0]:
            continue
        now = float(model.active(suspect.zone, *model.setting(check, setting.condition, setting.strength))[at])
        chances = {c: float(model.active(suspect.zone, c)[at]) for c in get_args(Condition)}
        condition = max(chances, key=lambda c: chances[c])
        if now <= LITTLE * chances[condition]:
            found.append(Hidden(suspect, now, condition, chances[condition]))
    found.sort(key=lambda h: (-h.suspect.probability * (h.then - h.now), h.suspect.mode))
    return tuple(found[:most])


@dataclass(frozen=True)
class Tries:
    """What the next tries of a check on this occasion are expected to say, in bits, each after passes before it.

    ``had``: tries so far. ``worth``: so many more pay for their minutes or still say ``FRESH`` of what the first does.
    """

    had: int
    bits: tuple[float, ...]
    worth: int


FRESH = 0.3
"""A try that says this share of what the first one does is still worth it: our judgement."""
MINUTES_A_BIT = 20.0
"""What a bit of doubt less is taken to be worth where it is asked whether one more try pays: our judgement."""


def tries(belief: Belief, check: str, at: At, setting: Setting = NOW) -> Tries | None:
    """Return what further tries of a check would add on this occasion; None for one that does not repeat.

    ``at``: the joint states reckoned over, one array of indices a zone.
    """
    fit = belief.model.fitted.check(check)
    if fit.repeats is None:
        return None
    p = belief.joint[at]
    p = p / p.sum()
    before = belief.had(check, *setting)
    bits: list[float] = []
    for _ in range(fit.repeats.most - len(before)):
        table = belief.following(check, *setting, at)
        bits.append(_information(p, table))
        p = p * table[0] / float((p * table[0]).sum())
        # Only what was told matters to the next try; the joint is not asked any more.
        belief = belief.noted(check, fit.outcomes[0], setting)
    enough = fit.minutes / MINUTES_A_BIT
    worth = next((i for i, b in enumerate(bits) if b < enough and b < FRESH * bits[0]), len(bits))
    return Tries(len(before), tuple(bits), max(worth, 1 if not before and bits else 0))


def _information(p: Table, table: Table) -> float:
    """Return the information that an outcome has about the state, in bits; ``table``: (outcomes, states)."""
    outcomes = table @ p
    known = float((p * (table * np.log2(table)).sum(axis=0)).sum())
    return max(0.0, known - float((outcomes * np.log2(outcomes)).sum()))

"""Why this check, why this part: plain words first, numbers second."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from isolate.kb.fit import worded
from isolate.kb.model import Condition
from isolate.reasoning.belief import Belief, Marginal


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


def shifts(belief: Belief, check: str, condition: Condition = "steady", most: int = 3) -> tuple[Shift, ...]:
    """Return what each outcome of a check would do to the leading suspects."""
    fit = belief.model.fitted.check(check)
    now = {m.mode: m.probability for m in belief.faults()}
    chances = belief.predicted(check, condition)
    found = []
    for outcome, chance in zip(fit.outcomes, chances, strict=True):
        after = belief.answer(check, outcome, condition)
        leading = tuple((m, now[m.mode]) for m in after.faults(0.02)[:most])
        means = worded(fit.entry.outcomes[outcome].means, fit.channel)
        found.append(Shift(outcome, fit.said(outcome), means, float(chance), leading))
    return tuple(found)


def parted(
    belief: Belief, check: str, condition: Condition = "steady", most: int = 3
) -> tuple[tuple[Marginal, ...], tuple[Marginal, ...]]:
    """Return the suspects that a check's last outcome, its worst news, would speak for and those against.

    Of the suspects of at least 3 % as they are now, at most ``most`` each; either may be empty.
    """
    fit = belief.model.fitted.check(check)
    worst = belief.answer(check, fit.outcomes[-1], condition)
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

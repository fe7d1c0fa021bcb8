"""What a person is to do now, one small step at a time; :mod:`isolate.case.chase` makes these."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from isolate.kb.fit import instance, split
from isolate.kb.model import Ask as Fact
from isolate.reasoning.explain import Shift

LIKELY, WORTH = 0.5, 0.9
"""Deferral is spoken of where the other channel proves good at least so probably, and for less than this share of the
cost of going on: our judgement."""


@dataclass(frozen=True)
class CautionShown:
    """A caution as it is shown: with its facts to be told where it has any."""

    name: str
    key: str
    title: str
    text: str
    level: str
    asks: tuple[Fact, ...]


@dataclass(frozen=True)
class CrossingShown:
    """One crossing of a move's way: what is opened or shut, and its minutes."""

    access: str
    opening: bool
    title: str
    word: str
    minutes: float


@dataclass(frozen=True)
class Other:
    """Another move that was considered, with its figures (equivalent minutes)."""

    kind: str
    key: str
    title: str
    expected: float
    now: float
    chance: float | None = None


@dataclass(frozen=True)
class Deferring:
    """What going on and the operator's own deferral procedure are expected to cost, equivalent minutes.

    ``channel``: the one that would be deferred; ``likely``: the chance that the other one proves good.
    """

    channel: str
    going_on: float
    cost: float
    likely: float

    def as_dict(self) -> dict[str, Any]:
        """Return the figures as a JSON object."""
        return {
            "channel": self.channel,
            "going_on": round(self.going_on, 2),
            "cost": round(self.cost, 2),
            "likely": round(self.likely, 4),
        }

    @property
    def cheaper(self) -> bool:
        """Whether it is worth saying: likely enough to work out, and cheaper by more than the figures are sure to."""
        return self.likely >= LIKELY and self.cost < WORTH * self.going_on


@dataclass(frozen=True)
class Step:
    """What is to be done now; the subclasses say what kind of thing. ``title`` is its heading."""

    title: str


@dataclass(frozen=True)
class Offer(Step):
    """A move put forward: accept it, ask for another, or decline it. Figures are equivalent minutes.

    ``direct``: nothing has to be crossed or confirmed first, so an answer may be given at once.
    ``bits``: doubt it is expected to remove. ``chance``: of an end by the time somebody waits for. ``bound``: no plan
    is expected to cost less, 0 where that is not known; ``exact``: ``expected`` is the least. ``together``: titles of
    checks worth doing while things stand open. ``deferring``: what deferral would cost beside it.
    ``after``: tools it takes that are on their way, with minutes.
    """

    kind: str
    key: str
    purpose: str
    how: tuple[str, ...]
    never: tuple[str, ...]
    crossings: tuple[CrossingShown, ...]
    cautions: tuple[CautionShown, ...]
    outcomes: tuple[Shift, ...]
    others: tuple[Other, ...]
    expected: float
    now: float
    own_minutes: float
    bits: float
    cleared: float
    direct: bool
    chance: float | None = None
    bound: float = 0.0
    exact: bool = False
    together: tuple[str, ...] = ()
    deferring: Deferring | None = None
    after: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Walk(Step):
    """An access state, or a loose thing, that nobody has confirmed since the work was interrupted.

    ``access`` is empty for a loose thing. ``asks``: facts told with what was seen, after the work was passed on.
    """

    access: str
    word: str
    asks: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Here(Step):
    """The work was passed on: who is here now has to be told before anything else."""


@dataclass(frozen=True)
class Report(Step):
    """Facts that have to be told before the case goes on. ``about``: loose or inspection; ``key``: of what."""

    about: str
    key: str
    text: str
    asks: tuple[Fact, ...]


@dataclass(frozen=True)
class Confirm(Step):
    """A caution to be confirmed by fact before the step ``before``."""

    caution: CautionShown
    before: str


@dataclass(frozen=True)
class Wait(Step):
    """A timer that has to run out; ``until`` is when."""

    caution: CautionShown
    until: datetime
    before: str


@dataclass(frozen=True)
class Held(Step):
    """A step that may not be done now: the reasons, from the rules and from what is present."""

    key: str
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Cross(Step):
    """Open or shut one access state."""

    access: str
    opening: bool
    do: str
    looks: tuple[str, ...]
    cautions: tuple[CautionShown, ...]
    minutes: float
    wait: float
    number: int
    of: int
    closing_up: bool


@dataclass(frozen=True)
class Ask(Step):
    """A check to be done and answered. ``within``: check, verify or repair (a look at the part taken off)."""

    key: str
    within: str
    purpose: str
    how: tuple[str, ...]
    never: tuple[str, ...]
    cautions: tuple[CautionShown, ...]
    outcomes: tuple[tuple[str, str, str], ...]
    """(outcome, its words, what it would mean)."""
    minutes: float


@dataclass(frozen=True)
class Mend(Step):
    """A repair to be done. ``part``: what is asked of the parts that came off and went on, when it is done."""

    key: str
    how: tuple[str, ...]
    never: tuple[str, ...]
    cautions: tuple[CautionShown, ...]
    record: str
    minutes: float
    part: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Done(Step):
    """The case has ended."""

    end: str
    record: str


@dataclass(frozen=True)
class Found:
    """What a repair was good for, seen from the end: the zone's most probable state before it."""

    repair: str
    zone: str
    state: str
    title: str
    probability: float

    @property
    def mode(self) -> str:
        return instance(self.state, split(self.zone)[1])

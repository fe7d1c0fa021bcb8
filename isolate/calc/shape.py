"""What a calculation is: what it asks for, what it gives. The command and the session are both made from this."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, Literal

CANNOT_TELL = "cannot-tell"
"""The verdict of a reading that its limit lies within the uncertainty of, or that is no good."""


class Unfit(ValueError):
    """What was given cannot be worked with: absurd, out of range, contradictory. The message is a sentence.

    ``of``: the input that it is about, "" where it is about several.
    """

    def __init__(self, message: str, of: str = "") -> None:
        super().__init__(message)
        self.of = of


@dataclass(frozen=True)
class Input:
    """Something that a calculation asks for.

    ``kind``: a kind of :mod:`isolate.calc.units` (its value comes as a Quantity), or ``number``, ``count`` (an int),
    ``choice`` (one of ``choices``), ``text``, ``yes`` (a bool), ``file`` (a path, as text). ``limit``: it comes from
    the user's approved data, so it never has a default. ``default``: as typed; None: it has to be told; "": it may
    be left out, and then is not among what is given. ``many``: several, as a tuple; typed with ``;`` between them.
    A quantity that is a limit is one exact figure (``within`` is nought). ``beyond``: a meter's `>500 MΩ` and its
    `OL` are taken too; they come with a ``bound`` (:class:`isolate.calc.units.Quantity`). ``after``: another input;
    on a terminal this one is asked for only where that one was told.
    """

    name: str
    kind: str
    asks: str
    default: str | None = None
    limit: bool = False
    many: bool = False
    choices: tuple[str, ...] = ()
    hint: str = ""
    """An example of what may be typed: ``30 MΩ``."""
    beyond: bool = False
    after: str = ""
    more: str = ""
    """Sentences for whoever wants to know what is meant by the question."""

    @property
    def example(self) -> str:
        """The hint; of what comes from the user's data its unit alone (``… MΩ``): no example is to pass for theirs."""
        if not (self.limit or "your data" in self.asks):
            return self.hint
        unit = re.sub(r"\d[\d.,]*", "…", self.hint)
        return "" if unit == "…" else unit


@dataclass(frozen=True)
class Figure:
    """A result with the interval that holds it in 95 of 100 such readings. ``low`` = ``high``: it is exact.

    An end without a limit is infinite; as JSON it is null.
    """

    name: str
    says: str
    value: float
    low: float
    high: float
    unit: str

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        ends = {k: getattr(self, k) for k in ("value", "low", "high")}
        told = {k: v if isfinite(v) else None for k, v in ends.items()}
        return {"name": self.name, "says": self.says, **told, "unit": self.unit}


@dataclass(frozen=True)
class Judged:
    """What a reading comes to beside its limit: a verdict of the calculation, with a sentence why.

    ``seconds``: where in a record it comes from, as (from, to) in seconds of it.
    """

    verdict: str
    why: str
    seconds: tuple[float, float] | None = None


@dataclass(frozen=True)
class Found:
    """What came out. ``lines``: sentences, the result first, then what it rests on and how sure it is.

    ``judged``: by what is judged ("" for the one thing that most calculations judge); empty where no limit was given.
    ``detail``: the calculation's own shape, for its picture. ``warnings``: what the user has to heed before relying on
    it (no guess passes as a finding).
    """

    lines: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    judged: Mapping[str, Judged] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    detail: Any = None


Given = Mapping[str, Any]
"""Input name → what was given, read; what was left out is not there."""


@dataclass(frozen=True)
class Calculation:
    """A calculation with a name. ``judges``: what it judges → verdict → its words; always without CANNOT_TELL.

    ``source``: where the formula comes from. ``draw``: a picture in text, no wider than the columns given, in ASCII
    alone where asked; () for none. ``figure``: writes a picture file (.png or .svg), for the optional ``chart`` extra.
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    work: Callable[[Given], Found]
    source: str
    judges: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    draw: Callable[[Found, int, bool], Sequence[str]] | None = None
    figure: Callable[[Found, str], None] | None = None
    shows: tuple[str, ...] = ()
    """The inputs that an example is made of, beside those that have to be told; none: those alone."""
    before: tuple[str, ...] = ()
    """What to heed before the reading is taken, in sentences: said before the first question is asked."""

    def input(self, name: str) -> Input:
        """Return an input by name. Raises KeyError."""
        for one in self.inputs:
            if one.name == name:
                return one
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(i.name for i in self.inputs)


Side = Literal["below", "within", "above", "cannot-tell"]


def beside(low: float, high: float, least: float | None, most: float | None) -> Side:
    """Return where an interval lies beside limits: wholly below, within or above them, or it cannot be told."""
    if least is not None and high < least:
        return "below"
    if most is not None and low > most:
        return "above"
    if (least is None or low >= least) and (most is None or high <= most):
        return "within"
    return "cannot-tell"

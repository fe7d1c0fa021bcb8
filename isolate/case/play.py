"""Plays a chase with somebody who answers by himself: a file of answers, or a simulated aircraft."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol, runtime_checkable

from isolate.case.chase import Chase
from isolate.case.measured import Reading, body, channel_of, line, note_of
from isolate.case.steps import Ask, Confirm, Cross, Done, Held, Here, Mend, Offer, Report, Step, Wait, Walk
from isolate.kb.model import Ask as Fact

MOST_STEPS = 2000
"""A case that takes more steps than this goes in circles."""


class OutOfAnswers(Exception):
    """The player has nothing more to say; the message says to what. The case stays as far as it came."""


class Clock:
    """A clock that stands still until it is told how many minutes have passed."""

    def __init__(self, start: datetime | None = None) -> None:
        self.time = start or datetime(2030, 1, 1, 6, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.time

    def pass_minutes(self, minutes: float) -> None:
        self.time += timedelta(minutes=minutes)


class Player(Protocol):
    """Whoever answers. Each method may raise OutOfAnswers."""

    def outcome(self, check: str, within: str) -> str | None:
        """The outcome of a check, or None for could not tell."""

    def refuses(self, move: str) -> str | None:
        """Why a move offered cannot be done, or None when it can."""

    def fact(self, ask: Fact, caution: str) -> Any:
        """A fact that confirms a caution, or that a step asks for; ``caution``: its name, or what the step is about."""

    def part(self, repair: str) -> Mapping[str, Any]:
        """What is known of the parts of a repair, by the names of ``isolate.case.parts.PART``; {} leaves blanks."""

    def defers(self, kind: str, move: str) -> Mapping[str, Any] | None:
        """The facts of a deferral that ends the case in place of a move offered; None to go on."""

    def repaired(self, repair: str) -> None:
        """A repair has been done."""


@dataclass(frozen=True)
class Measured:
    """A reading taken at a step. ``outcome``: of a check; ``along``: take what its record says of others as well."""

    outcome: str | None
    reading: Reading
    note: str = ""
    along: bool = False


@runtime_checkable
class Measures(Protocol):
    """A player that may have measured something."""

    def measured(self, step: str, within: str) -> Measured | None:
        """What was measured at a check or a repair; None where nothing was."""


def play(
    chase: Chase, player: Player, clock: Clock | None = None, tell: Callable[[Step, str], None] | None = None
) -> Done:
    """Play a chase to its end and return how it ended; ``tell`` is called with each step and what was said to it.

    With a clock of ours the minutes of each step pass on it and waits are waited out; without one a wait that has
    not run out raises OutOfAnswers.
    """
    report = tell or (lambda step, said: None)
    for _ in range(MOST_STEPS):
        step = chase.now()
        if isinstance(step, Done):
            return step
        report(step, _take(chase, step, player, clock))
    raise OutOfAnswers(f"the case has not ended after {MOST_STEPS} steps; it goes in circles")


def _take(chase: Chase, step: Step, player: Player, clock: Clock | None) -> str:
    """Do one step as the player would; return what was said."""
    if isinstance(step, Offer):
        facts = player.defers(step.kind, step.key)
        if facts is not None:
            chase.defer(facts)
            return "deferred"
        why = player.refuses(step.key)
        if why is not None and step.kind != "end":
            chase.decline(why)
            return f"cannot: {why}"
        chase.accept()
        return "go"
    if isinstance(step, Ask):
        taken = player.measured(step.key, step.within) if isinstance(player, Measures) else None
        if taken is not None:
            return _measured(chase, step, taken, clock)
        outcome = player.outcome(step.key, step.within)
        _pass(clock, step.minutes)
        chase.answer(outcome)
        return "could not tell" if outcome is None else next(said for o, said, _ in step.outcomes if o == outcome)
    if isinstance(step, Confirm):
        confirmed = {ask.name: player.fact(ask, step.caution.name) for ask in step.caution.asks}
        chase.confirm(confirmed)
        return ", ".join(f"{value}" for value in confirmed.values())
    if isinstance(step, Cross):
        why = player.refuses(step.access) if step.opening else None
        if why is not None:
            # The move behind it is held from now on, and declined as the next step.
            chase.decline(why, step.access)
            return f"cannot: {why}"
        _pass(clock, step.minutes)
        chase.crossed()
        return "done"
    if isinstance(step, Mend):
        taken = player.measured(step.key, "repair") if isinstance(player, Measures) else None
        if taken is not None:
            chase.note(taken.note or note_of(taken.reading), step.key, body(taken.reading))
        _pass(clock, step.minutes)
        chase.mended(player.part(step.key) if step.part else None)
        player.repaired(step.key)
        return "done"
    if isinstance(step, Wait):
        if clock is None:
            raise OutOfAnswers(f"a wait is not over yet: {step.title}, until {step.until:%H:%M:%S}")
        waited = (step.until - clock()).total_seconds() / 60
        clock.pass_minutes(waited)
        # A longer timer may run behind this one.
        if not isinstance(chase.now(), Wait):
            chase.waited()
        return f"waited {waited:.0f} min"
    if isinstance(step, Walk):
        chase.walked(True, {ask.name: player.fact(ask, "walk") for ask in step.asks})
        return "still so"
    if isinstance(step, Report):
        told = {ask.name: player.fact(ask, step.about) for ask in step.asks}
        chase.report(told)
        return ", ".join(f"{value}" for value in told.values())
    if isinstance(step, Here):
        here = chase.intake.people
        chase.tell(people=[{"name": p.name, "may": list(p.may)} for p in here])
        return ", ".join(p.name for p in here)
    assert isinstance(step, Held)
    chase.decline("; ".join(step.reasons))
    return "held: " + "; ".join(step.reasons)


def _measured(chase: Chase, step: Ask, taken: Measured, clock: Clock | None) -> str:
    """Answer a check with what was measured; return what was said."""
    _pass(clock, step.minutes)
    kept = body(taken.reading)
    chase.answer(taken.outcome, taken.note, kept)
    said = "could not tell" if taken.outcome is None else next(s for o, s, _ in step.outcomes if o == taken.outcome)
    said = f"{said} [{line(kept)}]"
    if taken.along:
        also = chase.also(taken.reading, step.key, channel_of(taken.reading))
        chase.record([(check.key, of_it.outcome, body(of_it)) for check, of_it in also])
        said += "".join(f"; the same record: {check.title}: {check.said(of_it.outcome)}" for check, of_it in also)
    return said


def _pass(clock: Clock | None, minutes: float) -> None:
    if clock is not None:
        clock.pass_minutes(minutes)

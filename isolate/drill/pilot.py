"""Drives a drill by itself: the tool's own advice, or other ways of choosing, each move made step by step.

What a mover chooses is a move as the plan ranks them; the way there, its waits and the closing up are the same for
all of them, and go through :meth:`isolate.drill.drive.Drive.do` like everything a trainee names.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Protocol

from isolate.drill.drive import DONE, DOORS, INSPECT, ISOLATED, PURGES, Came, Choice, Drive
from isolate.kb.fit import FitCheck, FitRepair, instance
from isolate.reasoning.plan import Valued

MOST_MOVES = 120
"""A drill that takes more moves than this goes in circles."""

MOST_TIMERS = 4
"""A longer timer may run behind the one that is over; no more than these run for one move."""


class Mover(Protocol):
    """Says which of the moves that may be made is made."""

    def __call__(self, drive: Drive, moves: tuple[Valued, ...]) -> Valued: ...


class Stuck(Exception):
    """A drill could not be driven to its end; the message says where."""


def ours(drive: Drive, moves: tuple[Valued, ...]) -> Valued:
    """Choose as the tool advises."""
    return moves[0]


def most_information(drive: Drive, moves: tuple[Valued, ...]) -> Valued:
    """Choose the check that tells most bits a minute, access counted; once none tells anything, as the tool advises."""
    checks = [m for m in moves if m.kind == "check" and m.told > 0.02]
    likeliest = max((f.probability for f in drive.chase.belief.faults()), default=0.0)
    if not checks or likeliest >= 0.8 or drive.chase.state.repairs:
        return moves[0]
    return max(checks, key=lambda m: (m.told / max(m.now, 1e-9), m.name))


def run(drive: Drive, mover: Mover = ours, tell: Callable[[Came], None] = lambda came: None) -> Came:
    """Drive to the end and return it. Raises Stuck where a move that the plan offers cannot be made."""
    for _ in range(MOST_MOVES):
        chase = drive.chase
        if chase.state.verified == "passed" and chase.remaining < chase.fitted.profile.remaining:
            return _finish(drive, DONE, tell)
        moves = chase.ranked().moves
        move = mover(drive, moves)
        if move.kind == "verify" and _held(drive):
            # What a gate keeps from being proven is proven once the look that it asks for was taken, or not here.
            if (look := _lifting(drive)) is not None:
                make(drive, drive.choice("check", look), tell)
                continue
            move = next(m for m in moves if m.kind == "end")
        if move.kind == "end":
            return _finish(drive, move.name, tell)
        if move.kind == "verify":
            for key in [k for k in chase.verification if k not in chase.proven()]:
                check = chase.fitted.check(key)
                came = make(drive, drive.choice("check", key), tell)
                if came.outcome != check.outcomes[0]:
                    break
        else:
            if move.kind == "repair" and (look := _lifting(drive)) in chase.fitted.repair(move.name).examines:
                # Once the part is away nobody can look any more.
                make(drive, drive.choice("check", str(look)), tell)
            make(drive, drive.choice(move.kind, move.name), tell)
    raise Stuck(f"the drill has not ended after {MOST_MOVES} moves")


def _held(drive: Drive) -> bool:
    """Return whether a gate, or what is not there, keeps part of the verification from being made."""
    barred, told = drive.chase.barred(), (None, "answered", "could not tell")
    return any(barred.get(key) not in told for key in drive.chase.verification)


def _lifting(drive: Drive) -> str | None:
    """Return a check that a standing gate waits for: its finding stands as long as that check has no answer."""
    chase, fitted = drive.chase, drive.fitted
    barred, asked = chase.barred(), chase.state.answers
    gates = (f for f in chase.firings() if f.kind == "gate")
    found = {(str(m.get("name")), str(m.get("channel"))) for gate in gates for m in gate.matched if m.kind == "finding"}
    for name, channel in sorted(found):
        for rule in fitted.rules.values():
            for pattern in rule.when if rule.then.finding == name else ():
                if pattern.absent is None or pattern.absent.fact != "answer":
                    continue
                key = instance(str(pattern.absent.where.get("check")), channel)
                if key in fitted.checks and key not in asked and key not in barred:
                    return key
    return None


def make(drive: Drive, choice: Choice, tell: Callable[[Came], None] = lambda came: None) -> Came:
    """Go the way to a move and make it. Raises Stuck."""
    fitted = drive.fitted
    what: FitCheck | FitRepair = fitted.checks.get(choice.key) or fitted.repair(choice.key)
    if "engine-run" in what.entry.tags and drive.fuel_left():
        way(drive, [k for k in PURGES if k in fitted.access], what.shut, tell)
    way(drive, what.needs, what.shut, tell)
    return _do(drive, choice, tell)


def way(
    drive: Drive, needs: Collection[str], shut: Collection[str], tell: Callable[[Came], None] = lambda came: None
) -> None:
    """Open and shut, step by step, until all of these are open and all of those are shut. Raises Stuck."""
    for _ in range(MOST_MOVES):
        crossings = drive.chase.way(needs, shut)
        if not crossings:
            return
        access, opening = crossings[0]
        covers = not opening and DOORS & set(access.entry.tags) and drive.chase.inspection_due()
        if covers and not drive.covered(drive.chase.touched()):
            # Nobody can look at it afterwards.
            _do(drive, drive.choice("inspect", INSPECT), tell)
        if not opening and access.entry.lasting and drive.bare(access.key):
            # A measurement took the breakers in; nobody puts anything back under a live supply.
            way(drive, [ISOLATED], (), tell)
        if not opening and not access.entry.lasting:
            drive.let_go(access.key)
        else:
            _do(drive, drive.choice("open" if opening else "close", access.key), tell)
    raise Stuck("the way to a move goes in circles")


def _finish(drive: Drive, key: str, tell: Callable[[Came], None]) -> Came:
    way(drive, (), tuple(drive.fitted.access), tell)
    if drive.chase.inspection_due():
        # What was touched lies behind no door.
        _do(drive, drive.choice("inspect", INSPECT), tell)
    return _do(drive, drive.choice("end", key), tell)


def _do(drive: Drive, choice: Choice, tell: Callable[[Came], None]) -> Came:
    for _ in range(MOST_TIMERS):
        left = drive.waits(choice)
        if not left:
            break
        tell(drive.do(drive.choice("wait", "wait"), minutes=left))
    came = drive.do(choice)
    tell(came)
    if came.kind in ("refused", "stopped"):
        why = came.said or "; ".join(d.says for d in came.dangers)
        raise Stuck(f"{choice.title}: {came.kind}: {why}")
    return came


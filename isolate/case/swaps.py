"""Parts that changed places: which can, what is told of it, and which part sits where now.

A part keeps its identity wherever it sits: its serial number once that has been told, else where it was when the case
began. What it means for the belief is :mod:`isolate.reasoning.swap`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from isolate.case.case import CaseState, Evidence, Intake, Swap
from isolate.kb.fit import FitRepair, Fitted, near
from isolate.kb.model import Ask
from isolate.reasoning.swap import ELSEWHERE, read, spelled

if TYPE_CHECKING:
    from isolate.case.chase import Chase

__all__ = [
    "CHANGES_OVER",
    "ELSEWHERE",
    "Piece",
    "body",
    "called",
    "came_from",
    "done_lines",
    "exchange_steps",
    "faults",
    "happened",
    "known",
    "ledger",
    "movable",
    "read",
    "record_line",
    "serials",
    "spelled",
    "title",
    "told",
    "where",
    "where_lines",
]

CHANGES_OVER = "changes-over"
"""The tag of whatever changes parts over between channels, for rules to match."""
_WORDS = {"igniter": "igniter plug"}
_NONE = ("", "none", "unknown", "not known", "?", "-")
_FIELDS = ("part", "channel", "other", "serial", "other_serial", "where")
BLANK = "____"


# -- what can change places --------------------------------------------------------------------------


def movable(fitted: Fitted) -> dict[str, dict[str, FitRepair]]:
    """Return the parts that each channel has one of, as part → channel → the shortest repair that replaces it."""
    found: dict[str, dict[str, FitRepair]] = {}
    for repair in sorted(fitted.repairs.values(), key=lambda r: (r.entry.minutes, r.key)):
        if repair.channel and repair.entry.replaces is not None:
            found.setdefault(repair.entry.replaces, {}).setdefault(repair.channel, repair)
    return {part: found[part] for part in sorted(found)}


def faults(fitted: Fitted, swap: Swap) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with parts said to have changed places, as (field, message)."""
    from isolate.case.parts import LONGEST

    parts = movable(fitted)
    if swap.part not in parts:
        shared = any(r.entry.replaces == swap.part for r in fitted.repairs.values())
        if shared:
            yield "part", f"one {swap.part} serves every channel here, so it cannot change places between them"
        else:
            known = ", ".join(parts) or "none"
            yield "part", f"no part is called {swap.part!r}{near(swap.part, parts)}; those that change places: {known}"
    here = ", ".join(fitted.channels)
    for name, channel in (("channel", swap.channel), ("other", swap.other)):
        if channel not in fitted.channels and not (name == "other" and not channel):
            yield name, f"no channel is called {channel!r}; known: {here}"
    if swap.other and swap.other == swap.channel:
        yield "other", f"parts change places between two channels, not within channel {swap.channel}"
    if swap.other and swap.where:
        yield "where", "parts of two channels of this engine changed places, so they went to no other aircraft"
    for name in ("serial", "other_serial", "where"):
        if len(getattr(swap, name)) > LONGEST:
            yield name, f"{LONGEST} letters at most for a serial number or a place"


def told(fitted: Fitted, said: Mapping[str, Any]) -> Swap:
    """Return the exchange that was told, by the fields of :class:`~isolate.case.case.Swap`; other: a channel.

    For another engine ``other`` is ``elsewhere`` or empty, and ``where`` says which. Raises Refused.
    """
    from isolate.case.intake import Refused

    said = {str(name).replace("-", "_"): value for name, value in said.items()}
    for name in said:
        if name not in _FIELDS:
            raise Refused(
                f"nothing of parts that changed places is called {name!r}{near(name, _FIELDS)}; "
                f"known: {', '.join(_FIELDS)}"
            )
    text = {name: str(said.get(name) or "").strip() for name in _FIELDS}
    if text["other"] == ELSEWHERE:
        text["other"] = ""
    if not text["part"] or not text["channel"]:
        raise Refused("Say which part changed places, and the channel that it was on.")
    swap = Swap(**text)
    for _, message in faults(fitted, swap):
        raise Refused(message)
    return swap


def body(swap: Swap) -> dict[str, Any]:
    """Return the body of the event that says so."""
    return {"key": swap.key, "swap": swap.as_dict(), "minutes": 0, "spoils": []}


def known(fitted: Fitted, key: str) -> bool:
    """Return whether an exchange, by its key, is one of parts and channels that this engine has."""
    try:
        part, one, other = read(key)
    except ValueError:
        return False
    return not list(faults(fitted, Swap(part, one, other)))


# -- which part sits where ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Piece:
    """One part. ``came``: the channel it was on when the case began; empty where it came later, then ``source``."""

    part: str
    came: str = ""
    source: str = ""
    serial: str = ""

    @property
    def identity(self) -> str:
        """Its serial number, else where it was or came from."""
        if self.serial.casefold() not in _NONE:
            return f"S/N {self.serial}"
        return self.origin

    @property
    def origin(self) -> str:
        """Where it was or came from, in words."""
        if self.came:
            return f"the {called(self.part)} that was on {self.came}"
        return f"the {called(self.part)} that came from {self.source}" if self.source else f"a new {called(self.part)}"


@dataclass
class _Part:
    """A piece while the trail is gone through: a serial number may be told only when it comes off."""

    part: str
    came: str = ""
    source: str = ""
    serial: str = ""

    def named(self, serial: str) -> None:
        if serial and serial.casefold() not in _NONE:
            self.serial = serial


def ledger(fitted: Fitted, intake: Intake, state: CaseState, upto: int | None = None) -> dict[tuple[str, str], Piece]:
    """Return (part, channel) → the part that sits there, after so many items of evidence; None: after all of them.

    Where it was when the case began is counted from before the exchanges told with the intake.
    """
    at = {(part, c): _Part(part, c) for part, channels in movable(fitted).items() for c in channels}

    def change(swap: Swap) -> None:
        one, other = (swap.part, swap.channel), (swap.part, swap.other)
        if one not in at or (swap.other and other not in at):
            # The knowledge of today does not have it any more.
            return
        at[one].named(swap.serial)
        if swap.other:
            at[other].named(swap.other_serial)
            at[one], at[other] = at[other], at[one]
        else:
            at[one] = _Part(swap.part, source=swap.where or "another engine", serial=swap.other_serial)

    for swap in intake.swaps:
        change(swap)
    found = dict(at)
    for number, item in enumerate(state.evidence):
        if upto is not None and number == upto:
            found = dict(at)
        if item.kind == "swap":
            change(_swap(state, item))
        elif item.kind == "repair":
            repair = fitted.repairs.get(item.key)
            if repair is None or repair.entry.replaces is None or (repair.entry.replaces, repair.channel) not in at:
                continue
            sits, parts = (repair.entry.replaces, repair.channel), state.parts.get(item.seq, {})
            at[sits].named(str(parts.get("sn-off") or ""))
            at[sits] = _Part(sits[0])
            at[sits].named(str(parts.get("sn-on") or ""))
    if upto is None or upto >= len(state.evidence):
        found = at
    return {sits: Piece(p.part, p.came, p.source, p.serial) for sits, p in found.items()}


def where(chase: Chase) -> dict[tuple[str, str], str]:
    """Return (part, channel) → the identity of the part that sits there now."""
    found = ledger(chase.fitted, chase.intake, chase.state)
    return {sits: piece.identity for sits, piece in found.items()}


def came_from(chase: Chase, repair: str, position: int) -> str:
    """Return what the record adds on the part that a repair took off, where it had come from elsewhere.

    ``position``: of the repair in the evidence. Empty where it sat where it was when the case began.
    """
    fit = chase.fitted.repairs[repair]
    sits = (fit.entry.replaces or "", fit.channel)
    piece = ledger(chase.fitted, chase.intake, chase.state, position).get(sits)
    if piece is None or piece.came == fit.channel or not (piece.came or piece.source):
        return ""
    serial = f" ({piece.identity})" if piece.identity != piece.origin else ""
    how = f"which was on {piece.came}" if piece.came else f"which came from {piece.source}"
    return f"It was the {called(piece.part)} then on {fit.channel}, {how}{serial}."


def _swap(state: CaseState, item: Evidence) -> Swap:
    had = state.swaps.get(item.seq)
    return had if had is not None else Swap(*read(item.key))


# -- in words ----------------------------------------------------------------------------------------


def called(part: str) -> str:
    """Return a part in words."""
    return _WORDS.get(part, part.replace("-", " "))


def title(key: str) -> str:
    """Return an exchange in words, by its key: as a move to be made."""
    part, one, other = read(key)
    if other:
        return f"Change the {called(part)}s of channels {one} and {other} over"
    return f"Change the {called(part)} of channel {one} for one of another engine"


def happened(key: str) -> str:
    """Return an exchange in words, by its key: as something that was done."""
    part, one, other = read(key)
    if other:
        return f"{called(part).capitalize()}s of channels {one} and {other} changed places"
    return f"{called(part).capitalize()} of channel {one} went to another engine and one from there came for it"


def exchange_steps(part: str, one: str, other: str) -> tuple[str, ...]:
    """Return how parts of two channels are changed over."""
    what = called(part)
    return (
        f"Look at both {what}s where they sit, at every contact, and write it down; the changing over destroys it.",
        f"Tag each {what} with the channel it comes from, and write down both serial numbers.",
        f"Fit each on the other channel by the steps of its replacement in your approved data: {one} to {other}, "
        f"{other} to {one}.",
        "Fire each channel alone afterwards before anything else is changed, or nothing can be read from it.",
        "Put in the record which one sits where now; the history by channel is read by it.",
    )


def serials(part: str, one: str, other: str = "") -> tuple[Ask, ...]:
    """Return what is asked of the parts: the serial number of the one that was on a channel, and of the other."""
    what = called(part)
    second = f"the {what} that was on {other}" if other else f"the {what} that came for it"
    return (
        Ask(name="serial", prompt=f"Serial number of the {what} that was on {one} (none, where it has none)?"),
        Ask(name="other-serial", prompt=f"Serial number of {second} (none, where it has none)?"),
    )


def record_line(swap: Swap) -> str:
    """Return the line of the record on parts that changed places, with blanks for what is not known."""
    what = called(swap.part)
    first, second = swap.serial or BLANK, swap.other_serial or BLANK
    if swap.other:
        one, other = swap.channel, swap.other
        return (
            f"{what.capitalize()}s of channels {one} and {other} changed over i.a.w. {BLANK}: S/N {first} from {one} "
            f"to {other}, S/N {second} from {other} to {one}."
        )
    return (
        f"{what.capitalize()} of channel {swap.channel}, S/N {first}, went to {swap.where or BLANK}; from there came "
        f"S/N {second} i.a.w. {BLANK}. Whoever works there next has to be told: a fault of the part went along."
    )


def done_lines(chase: Chase) -> list[str]:
    """Return the lines of the record on all exchanges, those told as done before the case first."""
    lines = [f"  Before the case, as told: {record_line(swap)}" for swap in chase.intake.swaps]
    lines += [f"  {record_line(_swap(chase.state, item))}" for item in chase.state.evidence if item.kind == "swap"]
    return lines


def where_lines(chase: Chase) -> list[str]:
    """Return the section of the record on which part sits where; empty where nothing changed places."""
    fitted, state = chase.fitted, chase.state
    swapped = {s.part for s in chase.intake.swaps}
    swapped |= {_swap(state, item).part for item in state.evidence if item.kind == "swap"}
    tried = {
        fitted.checks[item.key].entry.swaps.part: fitted.checks[item.key].title  # type: ignore[union-attr]
        for item in state.evidence
        if item.kind == "answer" and (found := fitted.checks[item.key].entry.swaps) is not None and found.back
    }
    if not swapped and not tried:
        return []
    lines = ["", "Which part sits where now:"]
    for (part, channel), piece in ledger(fitted, chase.intake, state).items():
        if part in swapped:
            serial = f", {piece.identity}" if piece.identity != piece.origin else ""
            moved = "" if piece.came == channel else "  <- NOT WHERE IT WAS" if piece.came else ""
            lines.append(f"  {called(part).capitalize()} of channel {channel}: {piece.origin}{serial}{moved}")
        elif part in tried:
            lines.append(
                f"  {called(part).capitalize()} of channel {channel}: back where it was, by the steps of "
                f"{tried[part]!r}; seen by its tag: {BLANK}"
            )
    return lines

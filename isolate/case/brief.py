"""A case in brief: what lists, repeats and fleet figures need of it, from its events alone.

A store keeps the brief of each case beside its events, so that a hundred thousand cases can be searched without
reading a trail. All of it follows from the events and can be made again at any time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from itertools import pairwise
from typing import Any

from isolate.case.case import fold
from isolate.case.events import Event, parse_time
from isolate.kb.model import HEALTHY

AWAY = ("left", "passed-on")
"""Kinds of events after which nobody works, until the next event."""


@dataclass(frozen=True)
class Fitted:
    """A repair that stands. ``part``: what is known of the parts, by the names of :data:`isolate.case.parts.PART`.

    ``price``: what it takes in parts, equivalent minutes; 0 for one that takes none. ``finding``: the shop's, by the
    names of :data:`isolate.case.parts.FINDINGS`; empty while it has said nothing. ``mode``: the fault that it named;
    empty where it named none. ``disputed``: the shop's words on it, of which ``finding`` is the last, disagree.
    """

    seq: int
    time: str
    repair: str
    price: float
    part: Mapping[str, Any]
    finding: str = ""
    mode: str = ""
    disputed: bool = False


@dataclass(frozen=True)
class Named:
    """What the end says of a repair or hand-over: the mode that it put right; ``healthy`` where nothing was."""

    repair: str
    mode: str
    probability: float

    @property
    def in_vain(self) -> bool:
        """Whether the part was probably good."""
        return self.mode.partition("/")[0] == HEALTHY


@dataclass(frozen=True)
class Turned:
    """Advice that was turned down by a person: ``declined`` with a reason, or another move taken up (``instead``)."""

    seq: int
    time: str
    kind: str
    move: str
    reason: str
    instead: str = ""


@dataclass(frozen=True)
class Brief:
    """One case. Times are RFC 3339, empty where there is none; what was not told is an empty string or None.

    ``format``: of the trail. ``starts``: the engine's starts since new at the opening, by the log. ``book``: minutes by
    the knowledge's figures; ``clock``: minutes from the opening to the end (or the last event) less the time that
    nobody worked; ``isolated``: of ``book``, those up to the taking up of the first repair or end that the verdict
    names as right; None where it names none. ``taken``: offers taken as they were put; ``signed``: (name, seq up to
    which) of the signatures, none of them proven here.
    """

    case: str
    opened: str
    last: str
    closed: str
    aircraft: str
    position: str
    engine: str
    complaint: str
    channel: str
    operator: str
    place: str
    condition: str
    station: str
    program: str
    format: int
    knowledge: str
    drill: bool
    ended: str
    verified: str
    starts: float | None
    answers: int
    book: float
    clock: float
    isolated: float | None
    remaining: float | None
    repairs: tuple[Fitted, ...]
    swaps: tuple[Mapping[str, Any], ...]
    named: tuple[Named, ...]
    turned: tuple[Turned, ...]
    taken: int
    earlier: tuple[str, ...]
    signed: tuple[tuple[str, int], ...]
    events: int
    head: str

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Brief:
        """Read what :meth:`as_dict` gave. Raises KeyError, TypeError for anything else."""
        had = {f.name: data[f.name] for f in fields(cls)}
        had["repairs"] = tuple(Fitted(**r) for r in had["repairs"])
        had["named"] = tuple(Named(**n) for n in had["named"])
        had["turned"] = tuple(Turned(**t) for t in had["turned"])
        had["swaps"], had["earlier"] = tuple(had["swaps"]), tuple(had["earlier"])
        had["signed"] = tuple((str(name), int(seq)) for name, seq in had["signed"])
        return cls(**had)


def brief(events: Sequence[Event]) -> Brief:
    """Return a case in brief. Raises BadIntake, KeyError, TypeError, ValueError where its events say nothing usable."""
    state = fold(events)
    if state.intake is None:
        raise ValueError("it does not begin with its opening")
    intake, opening = state.intake, events[0].body
    by_seq = {event.seq: event for event in events}
    findings = {str(f["repair"]): str(f["finding"]) for f in state.findings}
    # A word that came later and names no fault takes none back.
    faults = [(str(f["repair"]), mode) for f in state.findings if (mode := _text(f.get("mode")))]
    modes = dict(faults)
    said = {(str(f["repair"]), str(f["finding"])) for f in state.findings}
    words = [Counter(repair for repair, _ in had) for had in (said, set(faults))]
    repairs = tuple(
        Fitted(
            item.seq,
            by_seq[item.seq].time,
            item.key,
            float(by_seq[item.seq].body.get("parts", 0)),
            dict(state.parts.get(item.seq, {})),
            findings.get(item.key, ""),
            modes.get(item.key, "") if findings.get(item.key) == "confirmed" else "",
            disputed=any(times[item.key] > 1 for times in words),
        )
        for item in state.evidence
        if item.kind == "repair"
    )
    end = next((e for e in reversed(events) if e.kind == "closed"), None)
    named = tuple(
        Named(str(f["repair"]), str(f["mode"]), float(f["probability"]))
        for f in (end.body.get("found", []) if end else [])
    )
    turned, taken = _advice(events, state.void)
    return Brief(
        case=state.id,
        opened=state.opened,
        last=state.last,
        closed=end.time if end is not None and state.ended else "",
        aircraft=intake.aircraft,
        position=intake.position,
        engine=intake.engine,
        complaint=intake.complaint,
        channel=intake.channel,
        operator=intake.operator,
        place=intake.place,
        condition=intake.condition,
        station=_text(opening.get("station")),
        program=_text(opening.get("program")),
        format=int(opening.get("format", 1)),
        knowledge=state.knowledge,
        drill=state.drill,
        ended=state.ended,
        verified=state.verified,
        starts=intake.engine_starts,
        answers=sum(item.kind == "answer" for item in state.evidence),
        book=round(state.book_minutes, 2),
        clock=round(_worked(events, end), 2),
        isolated=_isolated(events, state.void, named),
        remaining=None if end is None else float(end.body["remaining"]),
        repairs=repairs,
        swaps=(
            # Those told at the opening were made before it; when, nobody said.
            *({**swap.as_dict(), "seq": 1, "time": state.opened} for swap in intake.swaps),
            *({**swap.as_dict(), "seq": seq, "time": by_seq[seq].time} for seq, swap in state.swaps.items()),
        ),
        named=named,
        turned=turned,
        taken=taken,
        earlier=tuple(e.case for e in intake.earlier),
        signed=tuple((_text(e.body.get("by")), int(e.body.get("seq", 0))) for e in events if e.kind == "signed"),
        events=len(events),
        head=events[-1].hash,
    )


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _advice(events: Sequence[Event], void: set[int]) -> tuple[tuple[Turned, ...], int]:
    """Return the advice that was turned down, and how often an offer was taken as it was put."""
    turned, taken = [], 0
    offered: Mapping[str, Any] | None = None
    for event in events:
        body = event.body
        if event.kind == "offered":
            offered = body
        elif event.seq in void:
            continue
        elif event.kind == "declined" and not body.get("of_itself"):
            turned.append(Turned(event.seq, event.time, body.get("kind", ""), body["move"], body.get("reason", "")))
        elif event.kind == "accepted" and body["kind"] != "close" and offered is not None:
            if body["move"] == offered["move"]:
                taken += 1
            elif "expected" in body or "deferral" in body:
                turned.append(
                    Turned(
                        event.seq, event.time, offered["kind"], offered["move"], "", f"{body['kind']} {body['move']}"
                    )
                )
    return tuple(turned), taken


def _worked(events: Sequence[Event], end: Event | None) -> float:
    """Return the minutes by the clock from the opening to the end, or the last event, less those that nobody worked."""
    minutes = 0.0
    for before, event in pairwise(events):
        if before.kind not in AWAY:
            minutes += max(0.0, (parse_time(event.time) - parse_time(before.time)).total_seconds() / 60)
        if end is not None and event.seq == end.seq:
            break
    return minutes


def _isolated(events: Sequence[Event], void: set[int], named: Sequence[Named]) -> float | None:
    """Return the book minutes up to the taking up of the first move that the end names as right."""
    right = {n.repair for n in named if not n.in_vain}
    minutes = 0.0
    for event in events:
        if event.kind == "accepted" and event.seq not in void and event.body["move"] in right:
            return round(minutes, 2)
        if event.kind in ("answered", "access", "repaired", "swapped"):
            minutes += float(event.body.get("minutes", 0))
    return None

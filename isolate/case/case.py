"""One case: a fold over its events. Nothing here is ever edited; a correction is an event like the others.

An answer taken back is evidence no more, but what was opened or pulled stays as the trail has it: taking back never
restores a safe state. After an interruption every open access state is *unknown* until somebody has walked it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Any, Literal, get_args

from isolate.case.events import Event
from isolate.kb.model import Condition, Place
from isolate.reasoning.lookahead import Objective
from isolate.reasoning.starts import Start
from isolate.reasoning.swap import ELSEWHERE, spelled
from isolate.reasoning.wear import Age as Age

MoveKind = Literal["check", "repair", "swap", "verify", "end", "close"]
CLOSE_UP = "close-up"


class BadIntake(ValueError):
    """What was told of the defect cannot be used; the message says which part and why."""


@dataclass(frozen=True)
class Person:
    """Somebody present, with what he or she may do."""

    name: str
    may: tuple[str, ...] = ()


@dataclass(frozen=True)
class Work:
    """A repair done before the case: the repair's entry name and its channel."""

    repair: str
    channel: str = ""

    @property
    def key(self) -> str:
        return f"{self.repair}/{self.channel}" if self.channel else self.repair


@dataclass(frozen=True)
class Seen:
    """A sign told besides the complaint: its entry name and the channel it is about, if it is about one."""

    sign: str
    channel: str = ""


@dataclass(frozen=True)
class Coming:
    """A tool on its way: it is at hand so many minutes after the case was opened."""

    tool: str
    minutes: float


@dataclass(frozen=True)
class Evidence:
    """An answer (with its outcome), a repair, or parts that changed places, in the order they came.

    ``strength`` and ``occasion``: see :class:`isolate.reasoning.belief.Told`. For a swap ``key`` names it, as
    :mod:`isolate.case.swaps` spells it.
    """

    seq: int
    kind: Literal["answer", "repair", "swap"]
    key: str
    outcome: str = ""
    condition: Condition = "steady"
    strength: float = 1.0
    occasion: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


@dataclass(frozen=True)
class Earlier:
    """An earlier case on the same engine, as far as it speaks of this one.

    ``days``: between its end and the opening of this case. ``told``: its intake without what it carried itself.
    ``evidence``: its answers and repairs in order. ``findings``: what the shop found since in parts that came off, as
    (repair, finding). ``closed``: when it ended, RFC 3339; empty where that is not known.
    """

    case: str
    days: float
    end: str
    complaint: str
    channel: str = ""
    told: Mapping[str, Any] = field(default_factory=dict, hash=False)
    evidence: tuple[Evidence, ...] = ()
    findings: tuple[tuple[str, str], ...] = ()
    closed: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {
            "case": self.case,
            "days": self.days,
            "end": self.end,
            "complaint": self.complaint,
            "channel": self.channel,
            "told": dict(self.told),
            "evidence": [e.as_dict() for e in self.evidence],
            "findings": [{"repair": repair, "finding": finding} for repair, finding in self.findings],
            "closed": self.closed,
        }

    @classmethod
    def from_dict(cls, data: Any) -> Earlier:
        """Read it from a JSON object. Raises BadIntake."""
        if not isinstance(data, Mapping):
            raise BadIntake(f"an earlier case is a set of named fields, not {data!r}")
        days, told = _number(data, "days"), data.get("told", {})
        if days is None or days < 0 or not isinstance(told, Mapping):
            raise BadIntake("an earlier case says how many days ago it ended and what was told in it")
        if told.get("earlier"):
            raise BadIntake("an earlier case carries none before it: each is told by itself")
        if told:
            # Read once here, so that what cannot be read is refused where it is told, and kept as it was read.
            read = Intake.from_dict(told).as_dict()
            told = {name: read[name] for name in told}
        texts = (_text(data, n) for n in ("case", "end", "complaint"))
        case, end, complaint = texts
        evidence = tuple(_evidence(item) for item in _list(data, "evidence"))
        findings = tuple((_text(f, "repair"), _text(f, "finding")) for f in _list(data, "findings"))
        channel, closed = (_text(data, n, "") for n in ("channel", "closed"))
        return cls(case, days, end, complaint, channel, dict(told), evidence, findings, closed)


@dataclass(frozen=True)
class Swap:
    """Parts of one name that changed places: those of two channels, or a channel's with one of another engine.

    ``other``: the second channel; empty: another engine, with ``where`` the aircraft, position and channel that the
    part went to. ``serial``: of the part that was on ``channel``; ``other_serial``: of the one that came for it.
    """

    part: str
    channel: str
    other: str = ""
    serial: str = ""
    other_serial: str = ""
    where: str = ""

    @property
    def key(self) -> str:
        return spelled(self.part, self.channel, self.other)

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Any) -> Swap:
        """Read it from a JSON object. Raises BadIntake."""
        if not isinstance(data, Mapping):
            raise BadIntake(f"parts that changed places are a set of named fields, not {data!r}")
        names = ("part", "channel", "other", "serial", "other_serial", "where")
        for name in data:
            if name not in names:
                raise BadIntake(f"parts that changed places have no field {name!r}; known: {', '.join(names)}")
        had = {name: _text(data, name, "").strip() for name in names[2:]}
        if had["other"] == ELSEWHERE:
            had["other"] = ""
        return cls(_text(data, "part"), _text(data, "channel"), **had)


OtherEngine = Literal["", "yes", "no"]
Now = Literal["", "steady", "cold", "hot", "wet", "vibrating", "sagging"]
"""How it is on the aircraft now; empty: as when the defect shows."""


@dataclass(frozen=True)
class Intake:
    """What is told when a case is opened. ``minutes_left``: minutes to departure, None when nobody waits.

    ``signs``: heard or seen with the defect, before anything was repaired in this case. ``other_engine``: whether the
    work done before was done on the other engine by the same people as well; empty when that is not known.
    ``coming``: what is not at hand yet. ``condition``: when the defect shows. ``now``: how it is on the aircraft while
    it is worked; empty: the same. ``shut_down``: minutes since the engine was shut down, at the opening of the case;
    below zero where it ran and was shut down later.
    ``ages``: of parts that wear. ``earlier``: what was seen and done in earlier cases on this engine, as the body of
    :mod:`isolate.case.inherit`. ``objective``: what a move is chosen by. ``hands``: people who work side by
    side on this engine.
    """

    aircraft: str
    position: str
    engine: str
    complaint: str
    channel: str = ""
    operator: str = ""
    starts: tuple[Start, ...] = ()
    signs: tuple[Seen, ...] = ()
    done: tuple[Work, ...] = ()
    other_engine: OtherEngine = ""
    people: tuple[Person, ...] = ()
    place: Place = "gate"
    condition: Condition = "steady"
    minutes_left: float | None = None
    missing: tuple[str, ...] = ()
    coming: tuple[Coming, ...] = ()
    objective: Objective = "minutes"
    hands: int = 1
    now: Now = ""
    shut_down: float | None = None
    ages: tuple[Age, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    swaps: tuple[Swap, ...] = ()
    engine_starts: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the intake as a JSON object."""
        return {
            "aircraft": self.aircraft,
            "position": self.position,
            "engine": self.engine,
            "complaint": self.complaint,
            "channel": self.channel,
            "operator": self.operator,
            "starts": [s.as_dict() for s in self.starts],
            "signs": [{"sign": s.sign, "channel": s.channel} for s in self.signs],
            "done": [{"repair": w.repair, "channel": w.channel} for w in self.done],
            "other_engine": self.other_engine,
            "people": [{"name": p.name, "may": list(p.may)} for p in self.people],
            "place": self.place,
            "condition": self.condition,
            "minutes_left": self.minutes_left,
            "missing": list(self.missing),
            "coming": [{"tool": c.tool, "minutes": c.minutes} for c in self.coming],
            "objective": self.objective,
            "hands": self.hands,
            "now": self.now,
            "shut_down": self.shut_down,
            "ages": [asdict(a) for a in self.ages],
            "earlier": [e.as_dict() for e in self.earlier],
            "swaps": [s.as_dict() for s in self.swaps],
            "engine_starts": self.engine_starts,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Intake:
        """Read an intake from a JSON object. Raises BadIntake."""
        if not isinstance(data, Mapping):
            raise BadIntake("the intake is not a set of named fields")
        known = set(cls.__dataclass_fields__)
        for name in data:
            if name not in known:
                from isolate.kb.fit import near

                raise BadIntake(f"the intake has no field {name!r}{near(str(name), known)}")
        try:
            place, condition = data.get("place", "gate"), data.get("condition", "steady")
            if place not in get_args(Place):
                raise BadIntake(f"place is {' or '.join(get_args(Place))}, not {place!r}")
            if condition not in get_args(Condition):
                raise BadIntake(f"condition is one of {', '.join(get_args(Condition))}, not {condition!r}")
            other = data.get("other_engine", "")
            if other not in get_args(OtherEngine):
                raise BadIntake(f"other_engine is yes, no or nothing, not {other!r}")
            left = _minutes(data, "minutes_left")
            now, shut_down = data.get("now", ""), _number(data, "shut_down")
            if shut_down is not None and abs(shut_down) > 100_000:
                raise BadIntake(f"shut_down is a number of minutes, not {shut_down:g}")
            counted = _number(data, "engine_starts")
            if counted is not None and not 0 <= counted <= 1_000_000:
                raise BadIntake(f"engine_starts is a number from 0 up, not {counted:g}")
            if now not in get_args(Now):
                raise BadIntake(f"now is one of {', '.join(filter(None, get_args(Now)))} or nothing, not {now!r}")
            objective, hands = data.get("objective", "minutes"), data.get("hands", 1)
            if objective not in get_args(Objective):
                raise BadIntake(f"objective is one of {', '.join(get_args(Objective))}, not {objective!r}")
            if hands not in (1, 2) or isinstance(hands, bool):
                raise BadIntake(f"hands is 1 or 2, the people who work side by side, not {hands!r}")
            return cls(
                aircraft=_text(data, "aircraft"),
                position=_text(data, "position"),
                engine=_text(data, "engine"),
                complaint=_text(data, "complaint"),
                channel=_text(data, "channel", ""),
                operator=_text(data, "operator", ""),
                starts=tuple(_start(s, condition) for s in _list(data, "starts")),
                signs=tuple(Seen(_text(s, "sign"), _text(s, "channel", "")) for s in _list(data, "signs")),
                done=tuple(Work(_text(w, "repair"), _text(w, "channel", "")) for w in _list(data, "done")),
                other_engine=other,
                people=tuple(
                    Person(_text(p, "name"), tuple(str(m) for m in _list(p, "may"))) for p in _list(data, "people")
                ),
                place=place,
                condition=condition,
                minutes_left=left,
                missing=tuple(str(m) for m in _list(data, "missing")),
                coming=tuple(_coming(c) for c in _list(data, "coming")),
                objective=objective,
                hands=int(hands),
                now=now,
                shut_down=shut_down,
                ages=tuple(_age(a) for a in _list(data, "ages")),
                earlier=tuple(Earlier.from_dict(e) for e in _list(data, "earlier")),
                swaps=tuple(Swap.from_dict(s) for s in _list(data, "swaps")),
                engine_starts=counted,
            )
        except (AttributeError, TypeError) as error:
            raise BadIntake(f"the intake is not in the form expected: {error}") from None


def _text(data: Mapping[str, Any], name: str, default: str | None = None) -> str:
    value = data.get(name, default)
    if value is None:
        raise BadIntake(f"the intake lacks {name!r}")
    if isinstance(value, bool | dict | list):
        raise BadIntake(f"{name} is a piece of text, not {value!r}")
    return str(value)


def _list(data: Mapping[str, Any], name: str) -> list[Any]:
    value = data.get(name) or []
    if not isinstance(value, list):
        raise BadIntake(f"{name} is a list, not {value!r}")
    return value


def _minutes(data: Mapping[str, Any], name: str) -> float | None:
    value = data.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not (isinstance(value, int | float) and 0 <= value <= 100_000):
        raise BadIntake(f"{name} is a number of minutes from 0 up, not {value!r}")
    return float(value)


def _number(data: Mapping[str, Any], name: str) -> float | None:
    value = data.get(name)
    if value is None:
        return None
    try:
        if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
            raise BadIntake(f"{name} is a number, not {value!r}")
        return float(value)
    except OverflowError:
        raise BadIntake(f"{name} is a number, but this one is too large") from None


def _yes(data: Mapping[str, Any], name: str) -> bool:
    value = data.get(name)
    if not isinstance(value, bool | None):
        # A word such as "no" would count as a yes.
        raise BadIntake(f"{name} is true or false, not {value!r}")
    return bool(value)


def _evidence(data: Any) -> Evidence:
    """Read an answer, a repair or a swap of an earlier case."""
    if not isinstance(data, Mapping) or set(data) - set(Evidence.__dataclass_fields__):
        raise BadIntake(f"the evidence of an earlier case is not in the form expected: {data!r}")
    kind, condition = data.get("kind"), data.get("condition", "steady")
    if kind not in ("answer", "repair", "swap"):
        raise BadIntake(f"what an earlier case showed is an answer, a repair or a swap, not {kind!r}")
    if condition not in get_args(Condition):
        raise BadIntake(f"condition is one of {', '.join(get_args(Condition))}, not {condition!r}")
    strength, seq, occasion = _number(data, "strength"), data.get("seq"), data.get("occasion", 0)
    strength = 1.0 if strength is None else strength
    if not isinstance(seq, int) or not isinstance(occasion, int) or not 0 <= strength <= 1:
        raise BadIntake(f"the evidence of an earlier case is not in the form expected: {dict(data)!r}")
    return Evidence(seq, kind, _text(data, "key"), _text(data, "outcome", ""), condition, strength, occasion)


def _age(data: Any) -> Age:
    if not isinstance(data, Mapping):
        raise BadIntake(f"an age says its part and how old it is, not {data!r}")
    unit, least, most = data.get("unit", "starts"), _number(data, "least"), _number(data, "most")
    if unit not in ("starts", "hours"):
        raise BadIntake(f"an age is in starts or hours, not {unit!r}")
    if any(limit is not None and limit < 0 for limit in (least, most)):
        raise BadIntake(f"an age is from 0 up, not {min(x for x in (least, most) if x is not None):g}")
    if least is not None and most is not None and least > most:
        raise BadIntake(f"an age lies between the smaller and the larger, not between {least:g} and {most:g}")
    return Age(_text(data, "part"), _text(data, "channel", ""), unit, least, most, _yes(data, "together"))


def _coming(data: Any) -> Coming:
    minutes = data.get("minutes") if isinstance(data, Mapping) else None
    if isinstance(minutes, bool) or not isinstance(minutes, int | float) or not 0 <= minutes <= 100_000:
        raise BadIntake(f"what is coming says its tool and the minutes until it is here, not {data!r}")
    return Coming(_text(data, "tool"), float(minutes))


def _start(data: Any, condition: Condition) -> Start:
    if not isinstance(data, Mapping) or not isinstance(data.get("lit"), bool):
        raise BadIntake(f"a start says its channel and whether it lit (true or false), not {data!r}")
    had = data.get("condition", condition)
    if had not in get_args(Condition):
        raise BadIntake(f"condition is one of {', '.join(get_args(Condition))}, not {had!r}")
    return Start(
        channel=str(data.get("channel", "unknown")),
        lit=data["lit"],
        condition=had,
        seconds=_number(data, "seconds"),
        lane=_text(data, "lane", ""),
        aborted=_yes(data, "aborted"),
        gap=_yes(data, "gap"),
        at=_text(data, "at", ""),
        oat=_number(data, "oat"),
    )


@dataclass(frozen=True)
class Move:
    """What is being done: a check, a repair, parts changed over, the verification, a way to end, or the close-up."""

    kind: MoveKind
    key: str


@dataclass
class CaseState:
    """Where a case stands after its events so far."""

    id: str = ""
    knowledge: str = ""
    intake: Intake | None = None
    opened: str = ""
    evidence: list[Evidence] = field(default_factory=list)
    unsure: dict[str, int] = field(default_factory=dict)
    """Check → seq of "could not tell": withdrawn until a repair changes something."""
    declined: dict[str, tuple[int, str]] = field(default_factory=dict)
    """Move → (seq, reason)."""
    open: dict[str, Literal["open", "unknown"]] = field(default_factory=dict)
    since: dict[str, int] = field(default_factory=dict)
    """Access → seq at which it last changed."""
    shut_at: dict[str, int] = field(default_factory=dict)
    """Access → seq at which it was last shut."""
    confirmed: dict[str, tuple[int, dict[str, Any], str]] = field(default_factory=dict)
    """Caution → (seq, facts, time) of its last confirmation that still counts."""
    move: Move | None = None
    accepted: int = 0
    """Seq of the acceptance of the move in hand."""
    verifying: dict[str, str] = field(default_factory=dict)
    """Check → outcome (empty: could not tell) within the verification in hand."""
    verified: Literal["", "passed", "failed", "outstanding"] = ""
    passes: int = 0
    """Verifications passed since the last repair."""
    outstanding: list[str] = field(default_factory=list)
    """Verification checks that could not be done."""
    offered: dict[str, Any] | None = None
    fired: dict[str, int] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    here_due: bool = False
    """The work was passed on, and who is here now has not been told since."""
    by_person: set[str] = field(default_factory=set)
    """What was passed on unwalked, access states and loose things: whoever walks it is named."""
    loose: dict[str, Literal["loose", "unknown"]] = field(default_factory=dict)
    """What was passed on half torqued or unlocked and has not been made good."""
    passed_on: dict[str, Any] | None = None
    """The last passing on."""
    inspections: list[tuple[int, dict[str, Any]]] = field(default_factory=list)
    """(seq, facts) of the independent inspections."""
    deferral: dict[str, Any] = field(default_factory=dict)
    """The facts of a deferral taken up as the end."""
    parts: dict[int, dict[str, Any]] = field(default_factory=dict)
    """Seq of a repair → what is known of the parts that came off and went on."""
    swaps: dict[int, Swap] = field(default_factory=dict)
    """Seq of parts that changed places → which they were."""
    findings: list[dict[str, Any]] = field(default_factory=list)
    """What the shop found in parts that came off."""
    motored: int = 0
    book_minutes: float = 0.0
    """Minutes of everything done so far, by the knowledge's figures."""
    ending: Move | None = None
    ended: str = ""
    record: str = ""
    last: str = ""
    drill: bool = False
    """Whether the aircraft is a simulated one."""
    void: set[int] = field(default_factory=set)
    """Events taken back since."""
    events: list[Event] = field(default_factory=list)

    @property
    def answers(self) -> dict[str, list[str]]:
        """Check → outcomes that still speak of the present state, oldest first."""
        found: dict[str, list[str]] = {}
        for item in self.evidence:
            if item.kind == "answer":
                found.setdefault(item.key, []).append(item.outcome)
        return found

    @property
    def repairs(self) -> list[str]:
        return [item.key for item in self.evidence if item.kind == "repair"]

    @property
    def unknown(self) -> list[str]:
        """Access states to be walked before anything else."""
        return [key for key, state in self.open.items() if state == "unknown"]

    @property
    def unlooked(self) -> list[str]:
        """Loose things to be walked before anything else."""
        return [what for what, state in self.loose.items() if state == "unknown"]

    @property
    def unsettled(self) -> bool:
        """Whether somebody has to be told or something walked before the case goes on."""
        return self.here_due or bool(self.unknown or self.unlooked)


def fold(events: Iterable[Event]) -> CaseState:
    """Return the state that the events lead to."""
    events = list(events)
    state = CaseState(void={int(e.body["seq"]) for e in events if e.kind == "corrected"})
    for event in events:
        apply(state, event)
    return state


def apply(state: CaseState, event: Event) -> None:
    """Carry the state on by one event; a void one (since corrected) leaves no evidence."""
    state.events.append(event)
    state.last = event.time
    handler = _HANDLERS.get(event.kind)
    if handler is not None:
        handler(state, event, event.seq in state.void)


def _opened(state: CaseState, event: Event, void: bool) -> None:
    state.id, state.opened = event.case, event.time
    state.knowledge = str(event.body.get("knowledge", ""))
    state.intake = Intake.from_dict(event.body["intake"])
    state.drill = "drill" in event.body


def _told(state: CaseState, event: Event, void: bool) -> None:
    """Something told after the opening replaces that field of the intake."""
    assert state.intake is not None
    if not void:
        state.intake = Intake.from_dict({**state.intake.as_dict(), **event.body["changes"]})
        if "people" in event.body["changes"]:
            state.here_due = False
        # What was declined for want of it may be possible now.
        state.declined.clear()


def _offered(state: CaseState, event: Event, void: bool) -> None:
    state.offered = dict(event.body)


def _accepted(state: CaseState, event: Event, void: bool) -> None:
    if void:
        return
    state.move = Move(event.body["kind"], event.body["move"])
    state.accepted = event.seq
    state.verifying = {}
    state.outstanding = []
    if state.move.kind == "end":
        state.ending = state.move
        state.deferral = dict(event.body.get("deferral", {}))


def _spent(state: CaseState, event: Event) -> None:
    """Count the minutes of a step and end what it spoils; both have happened, taken back or not."""
    state.book_minutes += float(event.body.get("minutes", 0))
    state.motored += bool(event.body.get("motors")) and event.kind == "answered"
    for spoilt in event.body.get("spoils", []):
        state.open.pop(spoilt, None)
        # Ended like one that was shut: what was confirmed while it stood is asked again.
        state.since[spoilt] = state.shut_at[spoilt] = event.seq


def _answered(state: CaseState, event: Event, void: bool) -> None:
    check, outcome = event.body["check"], event.body.get("outcome") or ""
    _spent(state, event)
    if void:
        return
    if state.move is not None and state.move.kind == "verify":
        state.verifying[check] = outcome
    elif state.move == Move("check", check):
        state.move = None
    if outcome:
        state.unsure.pop(check, None)
        body = event.body
        strength, occasion = float(body.get("strength", 1.0)), int(body.get("occasion", 0))
        condition = body.get("condition", "steady")
        state.evidence.append(Evidence(event.seq, "answer", check, outcome, condition, strength, occasion))
    else:
        state.unsure[check] = event.seq


def _declined(state: CaseState, event: Event, void: bool) -> None:
    if void:
        return
    key = event.body["move"]
    state.declined[key] = (event.seq, event.body.get("reason", ""))
    if event.body.get("within") == "verify":
        state.outstanding.append(key)
    elif state.move is not None and state.move.key == key:
        state.move = None


def _caution(state: CaseState, event: Event, void: bool) -> None:
    if not void:
        state.confirmed[event.body["caution"]] = (event.seq, dict(event.body.get("facts", {})), event.time)


def _access(state: CaseState, event: Event, void: bool) -> None:
    key = event.body["access"]
    state.book_minutes += float(event.body.get("minutes", 0))
    state.since[key] = event.seq
    state.by_person.discard(key)
    if event.body["state"] == "unknown":
        state.open[key] = "unknown"
    elif event.body["state"] == "open":
        state.open[key] = "open"
        if event.body.get("motors"):
            state.motored += 1
    else:
        state.open.pop(key, None)
        state.shut_at[key] = event.seq


def _repaired(state: CaseState, event: Event, void: bool) -> None:
    _spent(state, event)
    if void:
        return
    state.evidence.append(Evidence(event.seq, "repair", event.body["repair"]))
    if event.body.get("part"):
        state.parts[event.seq] = dict(event.body["part"])
    state.move = None
    state.verified = ""
    state.passes = 0
    # A repair is a change: what could not be told or done before may be now.
    state.unsure.clear()
    state.declined.clear()


def _swapped(state: CaseState, event: Event, void: bool) -> None:
    _spent(state, event)
    if void:
        return
    swap = Swap.from_dict(event.body["swap"])
    state.evidence.append(Evidence(event.seq, "swap", swap.key))
    state.swaps[event.seq] = swap
    if state.move is not None and state.move.kind == "swap":
        state.move = None
    # As after a repair: nothing proven stands, and what could not be told or done before may be now.
    state.verifying = {}
    state.verified = ""
    state.passes = 0
    state.unsure.clear()
    state.declined.clear()
    if not event.body.get("taken_up") and not event.body.get("of_itself"):
        # Somebody had hands in, and nobody knows by what steps.
        _nothing_known(state)


def _verified(state: CaseState, event: Event, void: bool) -> None:
    if void:
        return
    state.verified = event.body["result"]
    state.passes += state.verified == "passed"
    state.move = None


RECORD = "record"
"""Within what a check was answered that a record read for another one answered as well."""


def _corrected(state: CaseState, event: Event, void: bool) -> None:
    undone = next(e for e in state.events if e.seq == int(event.body["seq"]))
    state.confirmed.clear()
    within = undone.body.get("within")
    if event.body.get("doubted"):
        # It is asked anew by itself, whatever was in hand.
        state.move, state.accepted = Move("check", undone.body["check"]), event.seq
        state.ending, state.deferral = None, {}
    elif within == "verify":
        _reopen_verification(state)
    elif undone.kind == "answered" and within not in ("repair", RECORD):
        state.move, state.accepted = Move("check", undone.body["check"]), event.seq
    elif undone.kind == "swapped" and undone.body.get("taken_up"):
        state.move, state.accepted = Move("swap", undone.body["key"]), event.seq
    elif undone.kind == "repaired":
        state.move, state.accepted = Move("repair", undone.body["repair"]), event.seq
    elif undone.kind == "accepted":
        state.move, state.ending, state.deferral = None, None, {}
    elif undone.kind == "access":
        state.open[undone.body["access"]] = "unknown"


def _reopen_verification(state: CaseState) -> None:
    """Put the last verification in hand again, as far as it had come without what was taken back."""
    begun = max(e.seq for e in state.events if e.kind == "accepted" and e.body["kind"] == "verify")
    parts = [e for e in state.events if e.seq > begun and e.seq not in state.void and e.body.get("within") == "verify"]
    state.move, state.accepted, state.ending = Move("verify", "verification"), begun, None
    state.verifying = {e.body["check"]: e.body.get("outcome") or "" for e in parts if e.kind == "answered"}
    state.outstanding = [e.body["move"] for e in parts if e.kind == "declined"]


def _noted(state: CaseState, event: Event, void: bool) -> None:
    state.notes.append(event.body["text"])


def _fired(state: CaseState, event: Event, void: bool) -> None:
    state.fired[event.body["key"]] = event.seq


def _resumed(state: CaseState, event: Event, void: bool) -> None:
    # Somebody else may have been at the aircraft: nothing counts as open or safe until it is walked.
    _nothing_known(state)


def _nothing_known(state: CaseState) -> None:
    for key in state.open:
        state.open[key] = "unknown"
    for what in state.loose:
        state.loose[what] = "unknown"
    state.confirmed.clear()


def _passed_on(state: CaseState, event: Event, void: bool) -> None:
    state.passed_on = dict(event.body)
    for what in event.body.get("loose", []):
        state.loose[what] = "unknown"
    _nothing_known(state)
    state.by_person = {*state.open, *state.loose}
    state.here_due = True


def _loose(state: CaseState, event: Event, void: bool) -> None:
    what = event.body["what"]
    state.by_person.discard(what)
    if event.body["state"] == "loose":
        state.loose[what] = "loose"
    else:
        state.loose.pop(what, None)


def _inspected(state: CaseState, event: Event, void: bool) -> None:
    state.inspections.append((event.seq, dict(event.body.get("facts", {}))))


def _shop_finding(state: CaseState, event: Event, void: bool) -> None:
    state.findings.append(dict(event.body))


def _handed_over(state: CaseState, event: Event, void: bool) -> None:
    state.ended = "handed over"


def _closed(state: CaseState, event: Event, void: bool) -> None:
    state.ended = event.body["end"]
    state.record = event.body.get("record", "")
    state.move = None


_HANDLERS = {
    "opened": _opened,
    "told": _told,
    "offered": _offered,
    "accepted": _accepted,
    "answered": _answered,
    "declined": _declined,
    "caution": _caution,
    "access": _access,
    "repaired": _repaired,
    "swapped": _swapped,
    "verified": _verified,
    "corrected": _corrected,
    "noted": _noted,
    "fired": _fired,
    "resumed": _resumed,
    "passed-on": _passed_on,
    "loose": _loose,
    "inspected": _inspected,
    "shop-finding": _shop_finding,
    "handed-over": _handed_over,
    "closed": _closed,
}

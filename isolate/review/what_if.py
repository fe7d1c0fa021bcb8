"""What if: a case run on from a changed answer, a changed figure or other knowledge, beside the case as it was.

Up to a changed answer all is as recorded. From there, or from the opening where the knowledge is another, the moves are
the tool's own offers. A check that the case answered about the same state of things (the same work done on what it
looks at) gives the recorded answer; any other gives what is then most probable, and is marked as supposed. What people
told, could not do, or confirmed is as recorded where it was, and supposed where it was not. All of it happens in
memory: the case itself, its store and the knowledge are left alone.

Before that the answers that the case had are reread with the change, as :mod:`isolate.review.firm` does it. Rereading
and running on may come to different ends: a case that is worked anew asks something else where the belief is another.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from difflib import SequenceMatcher
from typing import Any, Literal

from isolate.case import swaps
from isolate.case.case import BadIntake, CaseState, Intake, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time
from isolate.case.intake import Refused, faults
from isolate.case.memory import Memory
from isolate.case.play import Clock, OutOfAnswers, play
from isolate.case.steps import Offer, Step
from isolate.kb.fit import Fitted, UnknownName, fit, near, split
from isolate.kb.model import HEALTHY, Ask, Knowledge
from isolate.kb.shown import plain
from isolate.reasoning import swap
from isolate.review.altered import (
    OTHERS,
    Figure,
    Likelihood,
    Prior,
    altered,
    bounds,
    checks_of,
    in_words,
    mode_in_words,
    place_of,
    small,
    value_of,
)
from isolate.review.firm import reread
from isolate.review.named import Names
from isolate.review.story import share

MOST_MOVES = 80
"""A case that has not ended this many moves after the change is not run on further."""
MOST_LISTED = 12
"""So many possible answers or names are listed where one does not fit."""
UNSURE = "unsure"
"""The outcome that stands for could not tell."""
SHOWN = 0.02
"""Chances of the leading suspect that differ by less than this are told as the same."""
FORMS = (
    "a change is SEQ=OUTCOME (an answer; SEQ=unsure: could not tell), CHECK:OUTCOME:STATE=P or "
    "CHECK/CHANNEL:OUTCOME:STATE=P (a likelihood), MODE=P or MODE/CHANNEL=P (a prior), or knowledge=FOLDER or DIGEST"
)
_LISTS = ("starts", "signs", "done", "swaps", "missing", "coming", "ages")

Versions = Callable[[str], Knowledge]
"""A folder or the digest of a version → that knowledge. Raises Refused, KnowledgeError, StoreError."""
RowKind = Literal["opened", "answer", "repair", "swap", "verified", "declined", "end"]
How = Literal["", "as recorded", "changed", "supposed"]


# -- what may be changed ---------------------------------------------------------------------------


@dataclass(frozen=True)
class AnswerChange:
    """An answer of the case that is another, or none (``outcome`` empty: could not tell)."""

    seq: int
    check: str
    outcome: str


@dataclass(frozen=True)
class FigureChange:
    """A likelihood or a prior that is ``value``; ``was``: as the knowledge has it."""

    figure: Figure
    value: float
    was: float


@dataclass(frozen=True)
class KnowledgeChange:
    """Other knowledge, by what it was called."""

    name: str
    knowledge: Knowledge


Change = AnswerChange | FigureChange | KnowledgeChange


def changes(texts: Sequence[str], kit: Kit, events: Sequence[Event], versions: Versions) -> tuple[Change, ...]:
    """Return the changes that texts say. Figures are those of the other knowledge, where that is changed as well.

    Raises Refused with a sentence on what is possible for one that cannot be made, and what ``versions`` raises.
    """
    state = fold(events)
    if state.intake is None:
        raise Refused("the case does not begin with its opening, so nothing of it can be run on")
    parts = [_parted(text) for text in texts]
    found: list[Change] = [KnowledgeChange(right, versions(right)) for left, right in parts if left == "knowledge"]
    if len(found) > 1:
        raise Refused("only one knowledge can take the place of the other")
    names = Names(kit.fitted)
    fitted = kit.fitted
    if found and isinstance(found[0], KnowledgeChange):
        fitted = fit(found[0].knowledge, state.intake.engine)
    for left, right in parts:
        if left == "knowledge":
            continue
        if re.fullmatch(r"\d+", left, re.ASCII):
            found.append(_answer(left, right, state, names))
        elif ":" in left:
            found.append(_likelihood(left, right, fitted))
        else:
            found.append(_prior(left, right, fitted))
    told = Counter(
        c.seq if isinstance(c, AnswerChange) else c.figure for c in found if not isinstance(c, KnowledgeChange)
    )
    if twice := [what for what, count in told.items() if count > 1]:
        what = f"event {twice[0]}" if isinstance(twice[0], int) else _spelled(twice[0])
        raise Refused(f"{what} is changed twice; say one of them")
    return tuple(found)


def _parted(text: str) -> tuple[str, str]:
    left, sign, right = text.strip().partition("=")
    if not sign or not left.strip() or not right.strip():
        raise Refused(f"{plain(text)!r} is no change: {FORMS}")
    return left.strip(), right.strip()


def _answer(left: str, outcome: str, state: CaseState, names: Names) -> AnswerChange:
    answers = {e.seq: e for e in state.events if e.kind == "answered"}
    seq = int(left)
    if seq not in answers:
        standing = [f"{s} ({names.check(e.body['check'])})" for s, e in answers.items() if s not in state.void]
        more = f" and {len(standing) - MOST_LISTED} more" if len(standing) > MOST_LISTED else ""
        said = f"; the answers are {', '.join(standing[:MOST_LISTED])}{more}" if standing else "; there are no answers"
        raise Refused(f"event {seq} is no answer{said}")
    if seq in state.void:
        by = next(e.seq for e in state.events if e.kind == "corrected" and int(e.body["seq"]) == seq)
        raise Refused(
            f"event {seq} was taken back by event {by}: it counts for nothing, and changing it changes nothing"
        )
    key = str(answers[seq].body["check"])
    if outcome == UNSURE:
        return AnswerChange(seq, key, "")
    check = names.fitted.checks.get(key) if names.fitted else None
    if check is None:
        raise Refused(f"the knowledge here has no check {plain(key)!r}, so its answer cannot be changed")
    if outcome not in check.outcomes:
        there = ", ".join(f"{o} ({small(check.said(o))})" for o in check.outcomes)
        raise Refused(
            f"{check.title} has no answer {plain(outcome)!r}{near(outcome, check.outcomes)}; it takes {there}, or "
            f"{UNSURE}"
        )
    return AnswerChange(seq, key, outcome)


def _likelihood(left: str, right: str, fitted: Fitted) -> FigureChange:
    parts = [part.strip() for part in left.split(":")]
    if len(parts) not in (3, 4) or not all(parts):
        raise Refused(f"{plain(left)!r} is no likelihood: CHECK:OUTCOME:STATE, or CHECK:OUTCOME:ZONE:STATE")
    (name, channel), outcome, (state, _) = split(parts[0]), parts[1], split(parts[-1])
    try:
        keys = checks_of(fitted, Likelihood(name, outcome, "", state, channel))
    except UnknownName as error:
        raise Refused(str(error)) from None
    check = fitted.checks[keys[0]]
    if outcome not in check.outcomes:
        raise Refused(
            f"{name} has no answer {plain(outcome)!r}{near(outcome, check.outcomes)}; it takes "
            f"{', '.join(check.outcomes)}"
        )
    places: dict[str, set[str]] = {}
    for zone in check.given:
        places.setdefault(place_of(check, fitted.zones[zone]), set()).update(fitted.zones[zone].states)
    if len(parts) == 4:
        if parts[2] not in places:
            raise Refused(
                f"{name} does not look at {plain(parts[2])!r}{near(parts[2], places)}; it looks at {', '.join(places)}"
            )
        places = {parts[2]: places[parts[2]]}
    meant = [place for place, states in places.items() if state in states and (place != OTHERS or len(parts) == 4)]
    if not meant:
        states = sorted({s for found in places.values() for s in found})
        raise Refused(
            f"{name} looks at no {plain(state)!r}{near(state, states)}; of each state that it looks at, {HEALTHY} "
            f"among them, a likelihood can be changed: {_some(states)}"
        )
    if len(meant) > 1:
        ways = " or ".join(f"{parts[0]}:{outcome}:{place}:{state}" for place in meant)
        raise Refused(f"{state} is told of several places that {name} looks at: say {ways}")
    figure = Likelihood(name, outcome, meant[0], state, channel)
    return _figure_change(fitted, figure, right)


def _prior(left: str, right: str, fitted: Fitted) -> FigureChange:
    mode, channel = split(left)
    try:
        return _figure_change(fitted, Prior(mode, channel), right)
    except UnknownName as error:
        raise Refused(f"{error}; {FORMS}") from None


def _figure_change(fitted: Fitted, figure: Figure, right: str) -> FigureChange:
    was, (least, most) = value_of(fitted, figure), bounds(fitted, figure)
    try:
        value = float(right.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 < value < 1:
        raise Refused(f"{_spelled(figure)} is a probability between 0 and 1, not {plain(right)!r}; now it is {was:.4g}")
    if not least <= value <= most:
        raise Refused(f"{_spelled(figure)} can be from {least:.4g} to {most:.4g}, not {value:g}; now it is {was:.4g}")
    return FigureChange(figure, value, was)


def _spelled(figure: Figure) -> str:
    channel = f"/{figure.channel}" if figure.channel else ""
    if isinstance(figure, Prior):
        return f"{figure.mode}{channel}"
    return f"{figure.check}{channel}:{figure.outcome}:{figure.zone}:{figure.state}"


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
    return f"{', '.join(names[:MOST_LISTED])}{more}"


# -- how a case went -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """One thing of a case's course. ``said``: the answer in words; ``took``: book minutes since the row before.

    ``at``: minutes worked by then. ``lead``: the leading suspect then, empty where no fault is more probable;
    ``chance``: its probability, or that of no fault. ``how``: where the answer comes from in a case run on.
    """

    seq: int
    kind: RowKind
    key: str
    title: str
    said: str
    took: float
    at: float
    lead: str
    lead_title: str
    chance: float
    how: How = ""


@dataclass(frozen=True)
class Course:
    """How a case went to its end. ``named``: the fault that the end names; ``minutes``: worked in all, by the book.

    ``supposed``: how many of its answers are. ``ended``: empty where it has not.
    """

    rows: tuple[Row, ...]
    ended: str
    named: str
    named_title: str
    chance: float
    minutes: float
    supposed: int
    run_on: bool


def course(events: Sequence[Event], names: Names, hows: Mapping[int, How], run_on: bool = False) -> Course:
    """Return how a case went, by its own events. ``hows``: seq of an answer → where it comes from."""
    rows: list[Row] = []
    void = {int(e.body["seq"]) for e in events if e.kind == "corrected"}
    at = 0.0
    lead, chance = "", 1.0
    for event in events:
        body = event.body
        if event.kind in ("answered", "access", "repaired", "swapped"):
            at += float(body.get("minutes", 0))
        if event.kind == "belief":
            lead, chance = _leading(body)
            if rows:
                title = names.mode(lead) if lead else ""
                rows[-1] = replace(rows[-1], lead=lead, lead_title=title, chance=chance)
        told = None if event.seq in void else _row(event, names)
        if told is not None:
            kind, key, title, said = told
            took = at - (rows[-1].at if rows else 0.0)
            lead_title = names.mode(lead) if lead else ""
            rows.append(
                Row(event.seq, kind, key, title, said, took, at, lead, lead_title, chance, hows.get(event.seq, ""))
            )
    end = next((e for e in reversed(events) if e.kind == "closed"), None)
    found = [f for f in (end.body.get("found", []) if end is not None else []) if split(str(f["mode"]))[0] != HEALTHY]
    best = max(found, key=lambda f: float(f["probability"]), default=None)
    return Course(
        rows=tuple(rows),
        ended=str(end.body["end"]) if end is not None else "",
        named=str(best["mode"]) if best else "",
        named_title=names.mode(str(best["mode"])) if best else "",
        chance=float(best["probability"]) if best else 0.0,
        minutes=round(at, 2),
        supposed=sum(row.how == "supposed" for row in rows),
        run_on=run_on,
    )


def _leading(body: Mapping[str, Any]) -> tuple[str, float]:
    """Return the leading suspect of a belief as it is recorded, empty where no fault at all is more probable."""
    faults_, none = body.get("faults") or [], float(body.get("none", 0))
    if not faults_ or float(faults_[0][1]) < none:
        return "", none
    return str(faults_[0][0]), float(faults_[0][1])


def _row(event: Event, names: Names) -> tuple[RowKind, str, str, str] | None:
    body = event.body
    if event.kind == "opened":
        return "opened", "", "Opened", names.complaint(str(body.get("complaint", "")))
    if event.kind == "answered":
        key = str(body["check"])
        return "answer", key, names.check(key), names.outcome(key, str(body.get("outcome") or ""))
    if event.kind == "repaired":
        return "repair", str(body["repair"]), names.repair(str(body["repair"])), "done"
    if event.kind == "swapped" and not body.get("of_itself"):
        return "swap", str(body["key"]), names.swapped(str(body["key"])), ""
    if event.kind == "verified":
        return "verified", "verification", "Verification", plain(body["result"])
    if event.kind == "declined" and not body.get("of_itself"):
        reason = plain(body.get("reason", ""))
        return (
            "declined",
            str(body["move"]),
            names.move(str(body.get("kind", "")), str(body["move"])),
            f"declined: {reason}",
        )
    if event.kind == "closed":
        return "end", "", "End", plain(body["end"])
    return None


# -- running on ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Apart:
    """Where the offers first differ: after which row, and what was offered on either side (titles)."""

    after: str
    original: str
    changed: str


@dataclass(frozen=True)
class Both:
    """Rows of both courses that are about the same thing; None where only one of them has it."""

    original: Row | None
    changed: Row | None


@dataclass(frozen=True)
class WhatIf:
    """A case beside itself with something changed. ``sentence``: all of it in one; ``since``: seq of the first change.

    ``reread``: what the answers that the case had would say with the change, by the way that ``firm`` has; empty where
    the knowledge is another, or they say nothing.
    ``since`` is 1 where it is run on from its opening. ``beside``: both courses from there, side by side.
    ``same``: nothing goes differently.
    """

    case: str
    changes: tuple[str, ...]
    sentence: str
    since: int
    original: Course
    changed: Course
    same: bool
    apart: Apart | None
    beside: tuple[Both, ...]
    notes: tuple[str, ...]
    reread: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


def what_if(kit: Kit, events: Sequence[Event], changed: Sequence[Change]) -> WhatIf:
    """Return a case run on with these changes, beside the case as it was.

    ``kit``: of the knowledge that the case was worked with, or of the nearest there is. A case that has not ended is
    run on from where it stands for the other side. Raises Refused, BadIntake, UnknownName.
    """
    state = fold(events)
    if state.intake is None or not changed:
        raise Refused("there is nothing to run on: the case has no beginning, or nothing of it is changed")
    if state.drill:
        raise Refused(f"{plain(state.id)} is a drill; its debrief says what would have been better")
    notes: list[str] = []
    new_kit = _kit_with(kit, state.intake.engine, changed)
    overrides = {c.seq: c.outcome for c in changed if isinstance(c, AnswerChange)}
    same_knowledge = kit.fitted.knowledge.digest == state.knowledge
    if not same_knowledge:
        notes.append(
            "The knowledge that the case was worked with is not here: it is run on from its opening with another "
            "version."
        )
    from_start = new_kit is not kit or not same_knowledge
    since = 1 if from_start else min(overrides)
    log, hows = _run_on(new_kit, events, since, overrides, notes)
    names, new_names = Names(kit.fitted), Names(new_kit.fitted)
    other = course(log, new_names, hows, run_on=True)
    own = course(events, names, {})
    if not state.ended:
        on, on_hows = _run_on(kit, events, len(events) + 1, {}, notes)
        own = course(on, names, on_hows, run_on=True)
        notes.append("The case has not ended: as it was, it is run on from where it stands in the same way.")
    elif own.ended and (turned := _own_moves(events, since)):
        notes.append(
            f"From there the case itself took {turned} move{'s' if turned > 1 else ''} other than the tool offered; "
            "part of the difference comes from that."
        )
    if back := [s for s in sorted(state.void) if s >= since and _kind(events, s) in ("answered", "repaired")]:
        notes.append(
            f"What the case took back later (event{'s' if len(back) > 1 else ''} {', '.join(map(str, back))}) is not "
            "done and taken back again; its minutes are missing beside."
        )
    beside = _beside(_from(own.rows, since), _from(other.rows, since))
    apart = _apart(events if state.ended else on, log, since, names, new_names)
    same = _same(beside)
    said = tuple(_said(change, names, new_kit.fitted) for change in changed)
    return WhatIf(
        case=events[0].case,
        changes=said,
        sentence=_sentence(said, own, other, beside, same),
        since=since,
        original=own,
        changed=other,
        same=same,
        apart=apart,
        beside=beside,
        notes=tuple(dict.fromkeys(notes)),
        reread="" if any(isinstance(c, KnowledgeChange) for c in changed) else reread(kit, events, new_kit, overrides),
    )


def _kit_with(kit: Kit, engine: str, changed: Sequence[Change]) -> Kit:
    fitted = kit.fitted
    for change in changed:
        if isinstance(change, KnowledgeChange):
            fitted = fit(change.knowledge, engine)
    for change in changed:
        if isinstance(change, FigureChange):
            fitted = altered(fitted, change.figure, change.value)
    return kit if fitted is kit.fitted else Kit(fitted)


def _run_on(
    kit: Kit, events: Sequence[Event], since: int, overrides: Mapping[int, str], notes: list[str]
) -> tuple[tuple[Event, ...], dict[int, How]]:
    """Return the events of a case run on from just before event ``since``, and where its answers come from."""
    case = events[0].case
    kept = tuple(e for e in events if e.seq < since)
    player = _Player(kit, events, since, overrides, notes)
    if kept:
        log, clock = Memory(kept), Clock(parse_time(events[min(since, len(events)) - 1].time))
        chase = Chase(kit, log, case, clock)
    else:
        log, clock = Memory(), Clock(parse_time(events[0].time))
        intake = _known_intake(kit.fitted, events[0].body["intake"], notes)
        more = {k: v for k, v in events[0].body.items() if k in ("station", "program")}
        chase = Chase.begin(kit, log, case, intake, clock, more)
    player.chase = chase
    try:
        play(chase, player, clock, player.heard)
    except OutOfAnswers as error:
        notes.append(f"It was not run on to an end: {error}.")
    except Refused as error:
        notes.append(f"It cannot be run on further: {str(error).rstrip('.')}.")
    run = log.events(case)
    answered = [e.seq for e in run[len(kept) :] if e.kind == "answered"]
    return run, dict(zip(answered, player.hows, strict=False))


def _known_intake(fitted: Fitted, told: Mapping[str, Any], notes: list[str]) -> Intake:
    """Return what was told at an opening without what the knowledge does not have; that is noted."""
    data = Intake.from_dict(told).as_dict()
    for _ in range(1000):
        found = next(faults(fitted, Intake.from_dict(data)), None)
        if found is None:
            return Intake.from_dict(data)
        path, message = found
        if path[0] in _LISTS and len(path) > 1 and isinstance(path[1], int):
            data[str(path[0])] = [item for i, item in enumerate(data[str(path[0])]) if i != path[1]]
        elif path[0] == "people" and len(path) == 4:
            _, i, _, j = path
            people = [dict(p) for p in data["people"]]
            people[int(i)]["may"] = [m for k, m in enumerate(people[int(i)]["may"]) if k != j]
            data["people"] = people
        elif path[0] == "channel":
            data["channel"] = ""
        else:
            raise Refused(f"the case cannot be worked with that knowledge: {message}")
        notes.append(f"Left out of what was told at the opening: {plain(message)}.")
    raise Refused("the case cannot be worked with that knowledge: too much of what was told is not known there")


class _Player:
    """Answers as the case did where it answered the same question about the same state, and else supposes."""

    chase: Chase

    def __init__(
        self, kit: Kit, events: Sequence[Event], since: int, overrides: Mapping[int, str], notes: list[str]
    ) -> None:
        self.fitted, self.notes, self.overrides = kit.fitted, notes, overrides
        self.kit = kit
        self.hows: list[How] = []
        self.moves = 0
        void = {int(e.body["seq"]) for e in events if e.kind == "corrected"}
        self._answers: dict[tuple[str, tuple[str, ...]], list[tuple[int, str]]] = {}
        self._facts: dict[tuple[str, str], Any] = {}
        self._parts: dict[str, Mapping[str, Any]] = {}
        self._refusals: dict[str, list[str]] = {}
        self._given_up: set[str] = set()
        self._undone: set[str] = set()
        self._told: list[tuple[float, int, str, Mapping[str, Any]]] = []
        self._budgets = [(e.seq, int(e.body.get("budget", 0))) for e in events if e.kind == "offered"]
        lost: dict[str, None] = {}
        work: list[str] = []
        minutes = 0.0
        for event in events:
            body = event.body
            if event.kind in ("answered", "access", "repaired", "swapped"):
                minutes += float(body.get("minutes", 0))
            if event.seq in void:
                continue
            if event.kind == "answered":
                self._record(event, work, since, lost)
            elif event.kind in ("repaired", "swapped"):
                key = str(body.get("repair") or body.get("key"))
                work.append(key)
                if event.kind == "repaired" and isinstance(body.get("part"), dict):
                    self._parts[key] = body["part"]
                self._given_up.discard(key)
                if event.kind == "swapped" and event.seq >= since and not body.get("of_itself"):
                    if body.get("taken_up"):
                        notes.append(
                            f"Left out: {swaps.happened(key)} (event {event.seq}); the tool's own offers change no "
                            "parts over."
                        )
                    else:
                        self._told.append((minutes, event.seq, "swapped", body["swap"]))
            elif event.kind == "told" and event.seq >= since:
                self._told.append((minutes, event.seq, "told", body["changes"]))
            elif event.kind == "declined" and event.seq >= since and not body.get("of_itself"):
                if body.get("within") == "verify":
                    self._undone.add(str(body["move"]))
                else:
                    self._refusals.setdefault(str(body["move"]), []).append(str(body.get("reason") or "as recorded"))
                    self._given_up.add(str(body["move"]))
            elif event.kind == "accepted":
                self._given_up.discard(str(body["move"]))
            elif event.kind == "access" and body["state"] == "open":
                self._given_up.discard(str(body["access"]))
            elif event.kind == "caution":
                name = split(str(body["caution"]))[0]
                self._facts.update({(name, ask): told for ask, told in dict(body.get("facts", {})).items()})
            elif event.kind == "inspected":
                self._facts.update({("inspection", ask): told for ask, told in dict(body.get("facts", {})).items()})
        if lost:
            notes.append(f"Left out, since the knowledge run on with does not have it: {_some(list(lost))}.")

    def _record(self, event: Event, work: Sequence[str], since: int, lost: dict[str, None]) -> None:
        key, outcome = str(event.body["check"]), str(event.body.get("outcome") or "")
        outcome = self.overrides.get(event.seq, outcome)
        check = self.fitted.checks.get(key)
        if event.seq < since:
            return
        if check is None or (outcome and outcome not in check.outcomes):
            lost[plain(f"{key}: {outcome}" if check is not None else key)] = None
            return
        self._answers.setdefault((key, self._touching(key, work)), []).append((event.seq, outcome))

    def _touching(self, check: str, work: Sequence[str]) -> tuple[str, ...]:
        """Return the work done on what a check looks at, in order of its names."""
        looked = set(self.fitted.checks[check].given)
        return tuple(sorted(key for key in work if looked & self._zones(key)))

    def _zones(self, work: str) -> set[str]:
        repair = self.fitted.repairs.get(work)
        if repair is not None:
            return {*repair.clears, *repair.disturbs}
        if not swaps.known(self.fitted, work):
            return set()
        part, one, other = swap.read(work)
        return {zone for channel in (one, other) for zone in swap.zones(self.kit.model, part, channel)}

    # -- what is asked -----------------------------------------------------------------------------

    def heard(self, step: Step, said: str) -> None:
        """Count the moves, and tell what was told in the case by now."""
        self.moves += isinstance(step, Offer)
        if self.moves > MOST_MOVES:
            raise OutOfAnswers(f"it had not ended {MOST_MOVES} moves after the change")
        while self._told and not self.chase.state.ended and self._told[0][0] <= self.chase.state.book_minutes:
            _, seq, kind, said_then = self._told.pop(0)
            try:
                if kind == "told":
                    self.chase.tell(**said_then)
                else:
                    self.chase.swapped({name: value for name, value in said_then.items() if value})
            except (Refused, BadIntake) as error:
                self.notes.append(f"Left out, what was told at event {seq}: {plain(error)}.")

    def outcome(self, check: str, within: str) -> str | None:
        work = [item.key for item in self.chase.state.evidence if item.kind != "answer"]
        had = self._answers.get((check, self._touching(check, work)), [])
        if had:
            seq, outcome = had.pop(0)
            # The offer that follows is thought out as far as it was then.
            if budget := next((b for s, b in self._budgets if s > seq), 0):
                self.chase.think(budget)
            self.hows.append("changed" if seq in self.overrides else "as recorded")
            return outcome or None
        if within == "verify" and check in self._undone:
            self.hows.append("as recorded")
            return None
        self.hows.append("supposed")
        chances = self.chase.belief.predicted(check, *self.chase.setting)
        return self.fitted.checks[check].outcomes[int(chances.argmax())]

    def refuses(self, move: str) -> str | None:
        reasons = self._refusals.get(move)
        if not reasons:
            return None
        if len(reasons) == 1 and move in self._given_up:
            # The case never came to it later either.
            return reasons[0]
        return reasons.pop(0)

    def fact(self, ask: Ask, caution: str) -> Any:
        told = self._facts.get((caution, ask.name))
        if told is not None:
            return told
        if ask.kind in ("minutes", "count"):
            return max(1, int(ask.least or 0) + 1)
        if ask.name == "inspected-by":
            return "somebody who did none of the work"
        return "00:00" if ask.kind == "time" else "supposed"

    def part(self, repair: str) -> Mapping[str, Any]:
        return self._parts.get(repair, {})

    def defers(self, kind: str, move: str) -> Mapping[str, Any] | None:
        return None

    def repaired(self, repair: str) -> None:
        """Nothing has to be done: the belief takes it in."""


# -- beside each other -----------------------------------------------------------------------------


def _kind(events: Sequence[Event], seq: int) -> str:
    return next((e.kind for e in events if e.seq == seq), "")


def _from(rows: Sequence[Row], since: int) -> list[Row]:
    return [row for row in rows if row.seq >= since]


def _beside(original: Sequence[Row], changed: Sequence[Row]) -> tuple[Both, ...]:
    """Return both courses with the rows about the same thing beside each other."""
    keys = [_told_apart(rows) for rows in (original, changed)]
    found: list[Both] = []
    for tag, a, b, c, d in SequenceMatcher(a=keys[0], b=keys[1], autojunk=False).get_opcodes():
        if tag == "equal":
            found += [Both(one, other) for one, other in zip(original[a:b], changed[c:d], strict=True)]
        else:
            found += [Both(row, None) for row in original[a:b]] + [Both(None, row) for row in changed[c:d]]
    return tuple(found)


def _told_apart(rows: Sequence[Row]) -> list[tuple[str, str, int]]:
    """Return what each row is about and which time it is, so that the first stands beside the first."""
    times: Counter[tuple[str, str]] = Counter()
    found: list[tuple[str, str, int]] = []
    for row in rows:
        times[row.kind, row.key] += 1
        found.append((row.kind, row.key, times[row.kind, row.key]))
    return found


def _same(beside: Sequence[Both]) -> bool:
    """Return whether nothing goes differently: the same things said, in the same minutes, with the same belief."""

    def told(row: Row) -> tuple[Any, ...]:
        return row.kind, row.key, row.said, round(row.at, 6), row.lead, round(row.chance, 6)

    return all(b.original is not None and b.changed is not None and told(b.original) == told(b.changed) for b in beside)


def _offers(events: Sequence[Event], since: int, names: Names) -> list[tuple[str, str, str]]:
    """Return (move, title, the row before it) of each offer from an event on."""
    found: list[tuple[str, str, str]] = []
    after = ""
    for event in events:
        row = _row(event, names)
        if row is not None:
            after = f"{row[2]}: {row[3]}" if row[3] else row[2]
        if event.kind == "offered" and event.seq >= since:
            move, kind = str(event.body["move"]), str(event.body["kind"])
            if not found or found[-1][0] != move:
                found.append((move, names.move(kind, move), after))
    return found


def _apart(
    original: Sequence[Event], changed: Sequence[Event], since: int, names: Names, new_names: Names
) -> Apart | None:
    """Return where the offers first differ; None where they do not."""
    one, other = _offers(original, since, names), _offers(changed, since, new_names)
    none = ("", "none: it ended", "")
    for i in range(max(len(one), len(other))):
        mine, its = one[i] if i < len(one) else none, other[i] if i < len(other) else none
        if mine[0] != its[0]:
            return Apart(its[2] or mine[2], mine[1], its[1])
    return None


def _own_moves(events: Sequence[Event], since: int) -> int:
    """Return how many moves a case took up that were not the one offered."""
    offered, count = "", 0
    for event in events:
        if event.kind == "offered":
            offered = str(event.body["move"])
        elif event.kind == "accepted" and event.seq >= since and ("expected" in event.body or "deferral" in event.body):
            count += event.body["move"] != offered
    return count


def _said(change: Change, names: Names, fitted: Fitted) -> str:
    """Return a change as it follows "had"."""
    if isinstance(change, KnowledgeChange):
        return f"it been worked with the knowledge {change.knowledge.digest[:12]} ({plain(change.name)})"
    if isinstance(change, AnswerChange):
        title = names.check(change.check)
        if not change.outcome:
            return f"event {change.seq} ({title}) been “could not tell”"
        return f"event {change.seq} ({title}) read “{small(names.outcome(change.check, change.outcome))}”"
    figure, now = change.figure, f"been {change.value:.4g}, not {change.was:.4g}"
    if isinstance(figure, Prior):
        channel = f" on channel {figure.channel}" if figure.channel else ""
        return f"the chance of “{mode_in_words(fitted, figure.mode)}”{channel} before any evidence {now}"
    read, title, with_ = in_words(fitted, figure)
    return f"the chance of “{read}” at “{title}” with {with_} {now}"


def _sentence(changes_: Sequence[str], own: Course, other: Course, beside: Sequence[Both], same: bool) -> str:
    begun = f"Had {' and '.join(changes_)}, "
    if same:
        return f"{begun}nothing would have gone differently."
    parts = []
    both = [(b.original, b.changed) for b in beside if b.original is not None and b.changed is not None]
    turned = next(((a, b) for a, b in both if a.lead != b.lead and b.kind != "end"), None)
    if turned is not None:
        lead = small(turned[1].lead_title) if turned[1].lead else "no fault at all"
        parts.append(f"{lead} would have been suspected first after “{turned[1].title}” ({share(turned[1].chance)})")
    elif any(abs(a.chance - b.chance) >= SHOWN for a, b in both):
        parts.append("the same would have been suspected first, but not as surely")
    else:
        parts.append("the same would have been suspected first")
    parts += _ends(own, other)
    parts += _repairs(beside)
    text = f"{begun}{', '.join(parts[:-1])}{' and ' if len(parts) > 1 else ''}{parts[-1]}"
    if not other.ended:
        return f"{text}; it would not have come to an end here."
    apart = other.minutes - own.minutes
    if not own.ended or abs(apart) < 1:
        return f"{text}; in all about the same time." if own.ended else f"{text}."
    return f"{text}; about {abs(apart):.0f} min {'more' if apart > 0 else 'less'}."


def _ends(own: Course, other: Course) -> list[str]:
    if not other.ended:
        return []
    if other.named and other.named == own.named:
        surely = f" ({share(other.chance)}, not {share(own.chance)})" if abs(other.chance - own.chance) >= SHOWN else ""
        return [f"the end would have named the same fault{surely}"]
    if other.named:
        beside = f", not {small(own.named_title)}" if own.named else ""
        return [f"the end would have named {small(other.named_title)} ({share(other.chance)}){beside}"]
    return [f"the end would have named no fault, not {small(own.named_title)}"] if own.named else []


def _repairs(beside: Sequence[Both]) -> list[str]:
    """Return the repairs that only one of the courses has."""
    mine = Counter(b.original.title for b in beside if b.original is not None and b.original.kind == "repair")
    its = Counter(b.changed.title for b in beside if b.changed is not None and b.changed.kind == "repair")
    found = [f"“{small(title)}” would not have been done{' again' if title in its else ''}" for title in mine - its]
    return found + [f"“{small(title)}” would have been done{' again' if title in mine else ''}" for title in its - mine]

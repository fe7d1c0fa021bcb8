"""A trail worked out anew from what people said and did: the same beliefs, rules and offers, or where they differ.

What is on a trail is of two kinds. Some of it people said or did; the rest *follows*: beliefs, rules that fired,
offers, the result of a verification, what ended by itself, the end. Here a chase is worked again over the trail's own
knowledge. It is told, one by one, what the trail says that people did, at the times that the trail gives; whatever it
writes has to be what the trail has, kind and contents, in order. Where it is not, that is told, and it goes on from
what the trail has, so that one difference does not hide the next.

The figures in what people did (minutes, what a caution was before, what a move taken up was expected to cost) come from
the knowledge as well and are held against it. What cannot be known from the trail is whether people said the truth.
"""

from __future__ import annotations

import copy
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from difflib import SequenceMatcher
from math import ceil
from typing import Any

from isolate.case.case import RECORD, BadIntake, Intake, apply
from isolate.case.chase import BUDGET, THOUGHT, Chase, Kit, _found_open
from isolate.case.events import FORMAT, Event, EventError, canonical, parse_time, plain
from isolate.case.intake import Refused, check_intake
from isolate.case.parts import contradictions, finding_event
from isolate.case.steps import Ask, Walk
from isolate.case.version import VERSION
from isolate.kb.shown import plain as shown
from isolate.review.drilled import is_drill
from isolate.review.kept_files import Files
from isolate.review.reworked import reworked
from isolate.review.versions import Kits

FOLLOWS = frozenset({"belief", "fired", "offered", "verified", "handed-over", "closed"})
"""Kinds that follow by themselves, whatever they hold."""
ALONE = frozenset({"resumed", "signed", "left"})
"""What may come where a program was broken off before it had written all that followed."""
QUIET = frozenset({"left", "passed-on", "noted"})
"""What nothing follows from at once."""
MOST_BUDGET = THOUGHT
"""An offer that says it took more expansions than any does is not worked out anew so: it would take as long."""
MOST_IN_ALL = 1_000
"""A trail whose offers say that they took more expansions than this together is not worked anew: a minute or two."""
MOST_DIFFERENCES = 200
"""After so many differences the rest is not looked at."""
MOST_FIELDS = 3
"""So many fields of one event are named."""
SECONDS = 12.0
"""Longer than this no sum takes from its begin until it is written."""
MOMENTS = 12
"""So many times between two events are tried where what follows depends on the time of day."""
WORDS = {
    "expected": "minutes expected",
    "now": "minutes of the move itself",
    "bits": "bits that it tells",
    "none": "no fault at all",
    "move": "the move",
    "kept": "share of the probability looked at",
    "bound": "minutes that no plan can beat",
    "remaining": "probability of a fault left",
    "unexplained": "bits unexplained",
    "level": "how rare the answers are",
}
"""Figures of an event in words; others go by their names."""
_OPENING = ("aircraft", "position", "engine", "complaint")
HEADING = frozenset({*_OPENING, "intake", "knowledge", "format", "program", "station"})
"""All that the opening of a case says."""
LONGEST_NAME = 80
"""Letters of what a heading names in free words."""
MOST_NAMED = 6
"""So many events are named in a remark."""


@dataclass(frozen=True)
class Replayed:
    """What came of it. ``events``: found the same; ``differs``: sentences on those that were not.

    ``not_replayed``: why it was not replayed, empty where it was. ``notes``: what is no difference and has to be said.
    """

    events: int
    differs: tuple[str, ...]
    not_replayed: str
    notes: tuple[str, ...] = ()


def replayed(kits: Kits, events: Sequence[Event], files: Files | None = None) -> Replayed:
    """Work a trail anew. Nothing is raised for whatever it holds: what cannot be worked is a difference.

    ``files``: where files that readings came from may be.
    """
    if not events or events[0].kind != "opened":
        return Replayed(0, (), "it does not begin with its opening")
    opening = events[0].body
    digest, engine, version = opening.get("knowledge"), opening.get("engine"), opening.get("format", 1)
    if type(version) is not int or version < 1:
        said = f"Event 1 (opened): its format is {_value(version)}, and a whole number from 1 is needed."
        return Replayed(0, (said,), "")
    if version > FORMAT:
        return Replayed(0, (), f"it is of format {version}, and this program knows {FORMAT}")
    if not isinstance(digest, str) or not isinstance(engine, str):
        return Replayed(0, (), "its opening does not say which engine and which knowledge")
    kit = kits(digest, engine)
    if kit is None:
        why = getattr(kits, "why", lambda _: "")(digest)
        if why in ("", "it is not here"):
            lacks = f"it has no engine {shown(engine)}"
            why = "that is not here; --knowledge names a folder that has it" if why else lacks
        return Replayed(0, (), f"the knowledge it was worked with (digest {shown(digest)[:12]}): {why}")
    spent = sum(_spent(event) for event in events)
    if spent > MOST_IN_ALL:
        why = f"its offers say that they took {spent:,} expansions together"
        return Replayed(0, (), f"{why}; more than {MOST_IN_ALL:,} would take too long")
    return _Replay(kit, events, files).run()


def _spent(event: Event) -> int:
    """Return the expansions that working an event anew takes, as it says itself."""
    said = event.body.get("budget") if event.kind == "offered" else None
    return said if type(said) is int and 1 <= said <= MOST_BUDGET else 0


def follows(event: Event) -> bool:
    """Return whether an event follows by itself from those before it; else somebody said or did it."""
    body = event.body
    if event.kind == "accepted":
        return body.get("kind") == "close" or body.get("move") == "verification-outstanding"
    return event.kind in FOLLOWS or bool(body.get("of_itself"))


class _Unlike(Exception):
    """What was done is written otherwise than the trail has it."""


class _Script:
    """A log that has the trail: it hands out what is there as long as that is what is written."""

    def __init__(self, recorded: Sequence[Event]) -> None:
        self.recorded = recorded
        self.at = 0
        """How many of the recorded events have been reached."""
        self.same = 0
        """How many of them were written anew just so."""
        self.when: datetime | None = None
        """The time by the clock where it is not that of what comes next."""
        self.strict = False
        """Whether the next write is what somebody did."""
        self.strayed: list[Event] = []
        """What was written and is not there; from the first one on everything is."""
        self.delay = 0.0
        """What a minute of delay costs on this engine, where somebody waits."""
        self.uneven: list[Event] = []
        """Events that were written together with those before them, and have another time."""

    def events(self, case: str) -> tuple[Event, ...]:
        return (*self.recorded[: self.at], *self.strayed)

    def append_all(
        self, case: str, items: Sequence[tuple[str, Mapping[str, Any]]], time: str, *, after: str | None = None
    ) -> tuple[Event, ...]:
        new: list[Event] = []
        begun, strict = self.at, self.strict
        for kind, body in items:
            have = self.recorded[self.at] if self.at < len(self.recorded) and not self.strayed else None
            if have is not None and have.kind == kind and (_same(have.body, body) or self.within(have, body)):
                self.at += 1
                new.append(have)
            else:
                self.strayed.append(Event(case, self.at + len(self.strayed) + 1, kind, time, plain(body), "", ""))
                new.append(self.strayed[-1])
                if len(self.strayed) > 10_000:
                    raise Refused("what follows does not come to an end")
        if strict and self.strayed:
            # What was done is not taken in by halves.
            self.at = begun
            self.strayed = [Event(case, begun + i, k, time, plain(b), "", "") for i, (k, b) in enumerate(items, 1)]
            raise _Unlike
        self.same += self.at - begun
        self.uneven += [e for e in self.recorded[begun : self.at] if e.time != self.recorded[begun].time]
        self.strict, self.when = False, None
        return tuple(new)

    def within(self, have: Event, body: Mapping[str, Any]) -> bool:
        """Return whether an offer differs only in what deferring would cost, by no more than the seconds it took.

        That figure falls with each second, and the trail has the time when the offer was written, not that of its sum.
        """
        if have.kind != "offered" or self.at == 0 or self.delay == 0:
            return False
        passed = parse_time(have.time) - parse_time(self.recorded[self.at - 1].time)
        minutes = min(max(passed.total_seconds(), 0.0), SECONDS) / 60
        one, other = have.body.get("deferring"), body.get("deferring")
        if minutes == 0 or not isinstance(one, dict) or not isinstance(other, Mapping):
            return False
        costs = one.get("cost"), other.get("cost")
        if not all(isinstance(cost, int | float) and not isinstance(cost, bool) for cost in costs):
            return False
        near = abs(float(costs[0] or 0) - float(costs[1] or 0)) <= self.delay * minutes + 0.011
        return near and _same(
            {**have.body, "deferring": {**one, "cost": 0}}, {**body, "deferring": {**other, "cost": 0}}
        )

    def clock(self) -> datetime:
        if self.when is not None:
            return self.when
        if self.at < len(self.recorded) and follows(self.recorded[self.at]):
            return parse_time(self.recorded[self.at].time)
        return parse_time(self.recorded[max(self.at - 1, 0)].time)


class _Again(Chase):
    """A case worked anew, which does not spend whatever a trail may say."""

    def _offered_budget(self) -> int | None:
        budget = super()._offered_budget()
        return budget if budget is None or 1 <= budget <= MOST_BUDGET else None


class _Drilled(_Again):
    """A drill: the moves are the trainee's, and nothing follows but belief and rules."""

    of_drill = True

    def _settle(self) -> None:
        self._conclude()


class _Replay:
    """One trail being worked anew."""

    def __init__(self, kit: Kit, events: Sequence[Event], files: Files | None = None) -> None:
        self.files = files
        # The rules are made once for all who use the kit; what was decided for others is not looked at.
        _ = kit.standing_rules, kit.step_rules
        self.kit = copy.copy(kit)
        self.kit.plans = OrderedDict()
        self.drill = is_drill(events)
        self.recorded = tuple(events)
        if not self.drill and "drill" in events[0].body:
            # What is none is told; it takes none of the checks off.
            rest = {name: value for name, value in events[0].body.items() if name != "drill"}
            self.recorded = (replace(events[0], body=rest), *events[1:])
        self.opening = events[0].body
        self.script = _Script(self.recorded)
        self.differs: list[str] = []
        self.notes: list[str] = []
        self.known: set[bytes] = set()
        """What is lacking on the trail and was told already: it would be lacking again at each step."""
        self.chase: Chase

    def run(self) -> Replayed:
        try:
            self._open()
            while self.script.at < len(self.recorded) and len(self.differs) < MOST_DIFFERENCES:
                if self.drill:
                    self._drilled()
                elif follows(self.recorded[self.script.at]):
                    self._later()
                else:
                    self._do()
        except Exception as error:
            # A trail that was sealed anew may hold anything; whatever it does, it is told and nothing else happens.
            seq = self.recorded[min(self.script.at, len(self.recorded) - 1)].seq
            self.differs.append(f"From event {seq} on it cannot be worked: {_reason(error)}.")
        for event in self.script.uneven:
            self.differs.append(
                f"Event {event.seq} ({event.kind}) was written together with the one before it, and has another time."
            )
        if len(self.differs) >= MOST_DIFFERENCES:
            self.notes.append(f"After {len(self.differs)} differences the rest was not looked at.")
        else:
            again = reworked(self.recorded, self.kit.fitted, self.files)
            self.differs += again.differs
            self.notes += again.notes
        if not self.drill:
            self.notes += _remarks(self.recorded)
        return Replayed(self.script.same, tuple(self.differs), "", tuple(self.notes))

    # -- the parts of a trail --------------------------------------------------------------------------

    def _open(self) -> None:
        script, first = self.script, self.recorded[0]
        intake = Intake.from_dict(first.body["intake"])
        told = intake.as_dict()
        self._heading()
        for path in _beyond(self.opening["intake"], told, "intake"):
            self._differ(f"Event 1 (opened): {path} is nothing that is told at the opening.")
        for name in _OPENING:
            if first.body.get(name) != told[name]:
                self._differ(
                    f"Event 1 (opened): {name} is {_value(first.body.get(name))} in its heading, and "
                    f"{_value(told[name])} was told."
                )
        if not self.drill:
            try:
                check_intake(self.kit.fitted, intake)
            except (Refused, BadIntake) as error:
                self._differ(f"Event 1 (opened): what was told cannot have been taken: {_reason(error)}.")
        end = 1
        while end < len(self.recorded) and _is_found_open(self.recorded[end]):
            end += 1
        found = [] if self.drill else _found_open(self.kit, intake)
        if not self.drill and [e.body["access"] for e in self.recorded[1:end]] != found:
            items = [("access", {"access": key, "state": "unknown", "minutes": 0}) for key in found]
            self._compare([Event(first.case, 0, k, first.time, b, "", "") for k, b in items], self.recorded[1:end])
        else:
            script.same += end
            script.uneven += [e for e in self.recorded[:end] if e.time != first.time]
        script.at = end
        self._anew()
        if not self.drill:
            self._settled(self.chase._settle)

    def _heading(self) -> None:
        """Tell of what a heading holds besides, or holds in a form in which it is never written."""
        for name, value in self.opening.items():
            if name == "drill" and not self.drill:
                self._differ(
                    "Event 1 (opened): it is marked as a drill, and not as a drill writes it; it was worked anew as a "
                    "case of a real aircraft."
                )
            elif name not in HEADING and name != "drill":
                told = f"{_title(name)} is {_value(value)} in its heading"
                self._differ(f"Event 1 (opened): {told}, where nothing of the kind is written.")
            elif name in ("program", "station") and (
                not isinstance(value, str) or shown(value) != value or len(value) > LONGEST_NAME
            ):
                self._differ(f"Event 1 (opened): {name} is {_value(value)} in its heading, which is no name of one.")
        program = self.opening.get("program")
        if isinstance(program, str) and _numbers(program) > _numbers(VERSION):
            self.notes.append(
                f"Its heading says that version {shown(program)[:20]} of this program wrote it; this one is {VERSION}."
            )

    def _do(self) -> None:
        """Do what comes next on the trail as it was done, and what follows from it."""
        script, at = self.script, self.script.at
        main, end = _batch(self.recorded, at)
        event = self.recorded[main]
        if event.kind == "signed":
            self._take(1)
            return
        if event.kind == "shop-finding":
            self._shop(event)
            return
        if event.kind == "resumed":
            self._anew()
        self._budget(end)
        lacking: list[Event] = []
        why, done = "", False
        for when in self._moments(at, parse_time(event.time)):
            script.strict, script.when = True, when
            said = self._act(event, self.recorded[at:end])
            done = not script.strict
            if done:
                break
            lacking, why, script.strayed = lacking or script.strayed, why or said, []
            if not self._timed():
                break
            self._anew()
        script.strict, script.when = False, None
        if done:
            self._finish()
            return
        if why:
            self._differ(f"Event {event.seq} ({_named(event.kind, event.body)}) does not fit there: {why}.")
        else:
            self._compare(lacking, self.recorded[at:end], done=True)
        script.at = end
        self._anew()
        if event.kind not in QUIET and not self.chase.state.ended:
            self._settled(self.chase._settle)

    def _act(self, event: Event, batch: Sequence[Event]) -> str:
        """Do it; return why it could not be done, empty where it could."""
        try:
            self._acted(event, batch)
        except _Unlike:
            return ""
        except Exception as error:
            # What was done by an event that was sealed anew may be anything; what follows from it is another matter.
            if not self.script.strict:
                raise
            return _reason(error)
        return ""

    def _acted(self, event: Event, batch: Sequence[Event]) -> None:
        chase, body, kind = self.chase, event.body, event.kind
        if kind == "told":
            chase.tell(**body["changes"])
        elif kind == "accepted":
            if "deferral" in body:
                chase.defer(body["deferral"])
            else:
                chase.accept(body["kind"], body["move"])
        elif kind == "answered":
            if body.get("within") == RECORD:
                chase.record([(e.body["check"], e.body["outcome"], e.body["reading"]) for e in batch])
                return
            note = next((e.body["text"] for e in batch if e.kind == "noted"), "")
            if not isinstance(chase.now(), Ask):
                raise Refused(f"now it is about {chase.now().title!r}")
            chase.answer(body["outcome"], note, body.get("reading"))
        elif kind == "declined":
            try:
                chase.decline(body["reason"])
            except (_Unlike, Refused):
                if not self.script.strict:
                    raise
                self.script.strayed = []
                chase.decline(body["reason"], body["move"])
        elif kind == "caution":
            chase.confirm(body["facts"])
        elif kind == "access" and body.get("walked"):
            chase.walked(body["state"] == "open", body.get("facts"))
        elif kind == "access":
            chase.crossed()
        elif kind == "loose" and isinstance(chase.now(), Walk):
            chase.walked(body["state"] == "loose", body.get("facts"))
        elif kind in ("loose", "inspected"):
            chase.report(body["facts"])
        elif kind == "repaired":
            chase.mended(body.get("part"))
        elif kind == "swapped" and body.get("taken_up"):
            chase.mended({name: value for name, value in body["swap"].items() if value})
        elif kind == "swapped":
            chase.swapped(body["swap"])
        elif kind == "corrected" and batch[-1].body.get("doubted"):
            chase.recheck(next(e.body["check"] for e in self.recorded if e.seq == batch[-1].body["seq"]))
        elif kind == "corrected":
            chase.take_back()
        elif kind == "noted":
            chase.note(body["text"], body.get("about", ""), body.get("reading"))
        elif kind == "left":
            chase.leave()
        elif kind == "resumed":
            chase._write(("resumed", {}))
            chase._settle()
        elif kind == "passed-on":
            facts = {"by": body["by"], "to": body["to"], "list-by": body["list_by"], "out": body["out"]}
            chase.pass_on({**facts, "loose": ", ".join(body["loose"]) or "none"})
        else:
            raise Refused(f"nothing of the kind is done in a case ({kind})")

    def _shop(self, event: Event) -> None:
        body, had = event.body, self.script.events(event.case)
        try:
            said = (body["repair"], body["finding"], body["text"], body["report"], str(body.get("mode", "")))
            kind, found = finding_event(had, *said, self.kit.fitted)
        except Refused as error:
            self._differ(f"Event {event.seq} (shop-finding) does not fit: {_reason(error)}.")
        else:
            stray = Event(event.case, event.seq, kind, event.time, found, "", "")
            if canonical(plain(found)) == canonical(body):
                self.script.same += 1
            else:
                self._compare([stray], [event], done=True)
        self._take(1)

    def _later(self) -> None:
        """What follows comes without anybody having done anything: time has passed, or it was put in."""
        script, at = self.script, self.script.at
        for fresh in (False, True):
            if self.chase.state.ended:
                break
            self._budget(at)
            if fresh:
                self._anew()
            self.chase._settle()
            if script.at > at and not script.strayed:
                return
            if script.strayed:
                self._finish()
                if script.at > at:
                    return
        event, stands = self.recorded[at], self.chase.state.offered
        if stands is not None and script.within(event, stands):
            # Reckoned anew a moment before it was written, and then it was another figure.
            script.same += 1
            self._take(1)
            return
        self._put_in(event)

    def _drilled(self) -> None:
        script = self.script
        while script.at < len(self.recorded) and self.recorded[script.at].kind not in ("belief", "fired"):
            event = self.recorded[script.at]
            self._take(1)
            if event.kind == "corrected":
                self._anew()
        if self.chase.state.ended:
            return
        at = script.at
        self._settled(self.chase._settle)
        if script.at == at and at < len(self.recorded) and self.recorded[at].kind in ("belief", "fired"):
            event = self.recorded[at]
            self._put_in(event)

    def _put_in(self, event: Event) -> None:
        """Tell of an event that nothing calls for, and go on after it."""
        self._differ(
            f"Event {event.seq} ({_named(event.kind, event.body)}) does not follow from what stands before it."
        )
        self.script.at += 1
        self._anew()

    # -- how --------------------------------------------------------------------------------------------

    def _anew(self) -> None:
        """Take the case up from what the trail has so far."""
        self.script.strayed = []
        made = _Drilled if self.drill else _Again
        self.chase = made(self.kit, self.script, self.recorded[0].case, self.script.clock)
        self.script.delay = self.chase.poser.weights.delay if self._timed() else 0.0

    def _take(self, count: int) -> None:
        """Take what the trail has as it is."""
        for event in self.recorded[self.script.at : self.script.at + count]:
            apply(self.chase.state, event)
            if event.kind in ("answered", "repaired", "swapped", "told", "corrected"):
                self.chase._belief = None
            self.script.at += 1
        self.chase._memo = type(self.chase._memo)()

    def _settled(self, settle: Callable[[], None]) -> None:
        self._budget(self.script.at)
        settle()
        self._finish()

    def _finish(self) -> None:
        """After what follows was written: see whether it is what the trail has; try other times of day first."""
        script = self.script
        tries = 0
        while script.strayed and self._timed() and tries < 4 * MOMENTS:
            at = script.at
            moments = list(self._moments(at, script.clock()))
            for when in moments:
                tries += 1
                self._anew()
                script.when = when
                self._budget(at)
                self.chase._settle()
                script.when = None
                if not script.strayed or script.at > at:
                    break
            else:
                if len(moments) > 1:
                    # None of them: as it was at the time that the trail gives.
                    self._anew()
                    self._budget(at)
                    self.chase._settle()
                break
        if not script.strayed:
            return
        end = script.at
        while end < len(self.recorded) and (
            self.recorded[end].kind in ("belief", "fired") if self.drill else follows(self.recorded[end])
        ):
            end += 1
        have, lacking = self.recorded[script.at : end], script.strayed
        before = self.recorded[script.at - 1]
        if not have and (end == len(self.recorded) or self.recorded[end].kind in ALONE):
            first = _named(lacking[0].kind, lacking[0].body)
            self.notes.append(
                f"After event {before.seq} ({before.kind}) it stops short of what follows at once ({first}): the "
                "program was broken off there"
                + (", or the trail was cut at its end." if end == len(self.recorded) else ".")
            )
        else:
            self._compare(lacking, have)
        script.at = end
        self._anew()

    def _budget(self, at: int) -> None:
        """Spend on the next offer what the trail says was spent on it."""
        budget = BUDGET
        while at < len(self.recorded) and follows(self.recorded[at]):
            if self.recorded[at].kind == "offered":
                said = self.recorded[at].body.get("budget")
                if isinstance(said, int) and 1 <= said <= MOST_BUDGET:
                    budget = said
                break
            at += 1
        for key in [k for k in self.kit.plans if k[-1] != budget]:
            del self.kit.plans[key]
        self.chase.think(budget)

    def _timed(self) -> bool:
        """Return whether what follows depends on the time of day."""
        intake = self.chase.state.intake
        return intake is not None and (intake.minutes_left is not None or bool(intake.coming))

    def _moments(self, at: int, first: datetime) -> Iterator[datetime]:
        """Yield the times at which it may have been worked out: as told, at the event before, and between.

        Only whole minutes count for what follows, so that one time of each is enough.
        """
        yield first
        before = parse_time(self.recorded[max(at - 1, 0)].time)
        after = parse_time(self.recorded[min(at, len(self.recorded) - 1)].time)
        tried = {self._whole(first)}
        for i in range(MOMENTS if after > before else 1):
            when = before + i * (after - before) / MOMENTS
            if self._whole(when) not in tried:
                tried.add(self._whole(when))
                yield when

    def _whole(self, when: datetime) -> tuple[int, ...]:
        """Return the minutes that offers and rules go by: those left, and those until tools are here."""
        intake = self.chase.intake
        passed = max(0.0, (when - parse_time(self.chase.state.opened)).total_seconds() / 60)
        left = [] if intake.minutes_left is None else [round(intake.minutes_left - passed)]
        return (*left, *(ceil(c.minutes - passed) for c in intake.coming))

    # -- differences ------------------------------------------------------------------------------------

    def _differ(self, said: str) -> None:
        self.differs.append(said)

    def _compare(self, found: Sequence[Event], have: Sequence[Event], done: bool = False) -> None:
        """Tell how what was written differs from what the trail has. ``done``: it is what somebody did."""
        after = have[0].seq - 1 if have else self.recorded[min(self.script.at, len(self.recorded)) - 1].seq
        ours, theirs = [_key(e) for e in found], [_key(e) for e in have]
        for tag, a, b, c, d in SequenceMatcher(None, theirs, ours, autojunk=False).get_opcodes():
            pairs = list(zip(have[a:b], found[c:d], strict=False))
            alike = tag == "equal" or (
                tag == "replace" and b - a == d - c and all(x.kind == y.kind and x.kind != "fired" for x, y in pairs)
            )
            if alike:
                for x, y in pairs:
                    if unlike := _unlike(x.kind, x.body, y.body):
                        self._differ(f"Event {x.seq} ({_named(x.kind, x.body)}): {unlike}.")
                        self.known.add(_mark(y))
                    elif x.time == y.time or not done:
                        self.script.same += 1
                continue
            for x in have[a:b]:
                why = "is not what was to be done" if done else "does not follow from what stands before it"
                self._differ(f"Event {x.seq} ({_named(x.kind, x.body)}) {why}.")
            for y in found[c:d]:
                if _mark(y) not in self.known:
                    self.known.add(_mark(y))
                    where = have[b - 1].seq if b else after
                    self._differ(f"After event {where} there is missing: {_named(y.kind, y.body)}.")


def _title(name: str) -> str:
    return repr(shown(name)[:LONGEST_NAME])


def _numbers(version: str) -> tuple[int, ...]:
    """Return the numbers that a version begins with."""
    parts = version.split("+")[0].split(".")
    return tuple(int(part) for part in parts if part.isascii() and part.isdigit() and len(part) < 9)


def _beyond(had: Any, told: Any, path: str) -> Iterator[str]:
    """Yield the places of what somebody wrote in, where nothing was read from it."""
    if isinstance(had, dict) and isinstance(told, Mapping):
        for name, value in had.items():
            where = f"{path}, {_title(name)}"
            if name not in told:
                yield where
            else:
                yield from _beyond(value, told[name], where)
    elif isinstance(had, list) and isinstance(told, list | tuple):
        if len(had) > len(told):
            yield f"{path}, more than {len(told)}"
        for one, other in zip(had, told, strict=False):
            yield from _beyond(one, other, path)


def _remarks(events: Sequence[Event]) -> Iterator[str]:
    """Yield what follows no rule and is told: who allowed or looked whom nobody named, a shop that contradicts itself.

    None of it is a difference: people may be named otherwise than they were told.
    """
    people: set[str] = set()
    allowed: dict[str, list[int]] = {}
    same: dict[str, list[int]] = {}
    for event in events:
        told = event.body.get("intake") if event.kind == "opened" else event.body.get("changes")
        if event.kind in ("opened", "told") and isinstance(told, dict) and isinstance(told.get("people"), list):
            people = {_folded(one.get("name")) for one in told["people"] if isinstance(one, dict)}
        facts = event.body.get("facts")
        if event.kind != "caution" or not isinstance(facts, dict):
            continue
        who = facts.get("allowed-by")
        if people and who is not None and _folded(who) not in people:
            allowed.setdefault(shown(who)[:LONGEST_NAME], []).append(event.seq)
        second = facts.get("second-look")
        others = {_folded(value) for name, value in facts.items() if name.endswith("-by")}
        if second is not None and _folded(second) in others:
            same.setdefault(shown(second)[:LONGEST_NAME], []).append(event.seq)
    for name, where in allowed.items():
        yield f"{name}, who allowed it ({_events(where)}), is not among the people told."
    for name, where in same.items():
        yield f"The second look at what {name} did or watched was that person's own ({_events(where)})."
    yield from contradictions([event.body for event in events if event.kind == "shop-finding"])


def _folded(name: object) -> str:
    return " ".join(shown(name).split()).casefold()


def _events(where: Sequence[int]) -> str:
    more = len(where) - MOST_NAMED
    return (
        f"event{'s' if len(where) > 1 else ''} {', '.join(map(str, where[:MOST_NAMED]))}"
        f"{f' and {more} more' if more > 0 else ''}"
    )


def _is_found_open(event: Event) -> bool:
    return event.kind == "access" and event.body.get("state") == "unknown"


def _batch(events: Sequence[Event], at: int) -> tuple[int, int]:
    """Return where what was done at once has its main event, and where it ends."""
    main = at
    while main < len(events) and events[main].kind == "caution" and events[main].body.get("shown"):
        main += 1
    if main == len(events) or events[main].kind not in ("answered", "access", "repaired", "swapped"):
        main = at
    end = main + 1
    kind = events[main].kind

    def more(wanted: Callable[[Event], object]) -> None:
        nonlocal end
        while end < len(events) and wanted(events[end]):
            end += 1

    if kind == "answered" and events[main].body.get("within") == RECORD:
        # What a record said of several checks was taken at once.
        more(lambda e: e.kind == "answered" and e.body.get("within") == RECORD and e.time == events[main].time)
    elif kind == "answered":
        more(lambda e: e.kind == "swapped" and e.body.get("of_itself"))
        # A reading that answers nothing is noted by itself.
        about = events[main].body.get("check")
        more(lambda e: e.kind == "noted" and e.body.get("about") == about and "reading" not in e.body)
    elif kind == "accepted":
        more(lambda e: e.kind == "caution" and e.body.get("shown"))
    elif kind == "corrected":
        # A verification, or what came by itself, is taken back together with what somebody did before it.
        undone = {e.seq for e in events[:main] if e.kind == "verified" or e.body.get("of_itself")}
        more(lambda e: e.kind == "corrected" and events[end - 1].body.get("seq") in undone)
    return main, end


def _key(event: Event) -> tuple[str, str]:
    names = {"fired": "key", "access": "access", "declined": "move", "caution": "caution"}
    return event.kind, str(event.body.get(names.get(event.kind, ""), ""))


def _mark(event: Event) -> bytes:
    return canonical([*_key(event)] if event.kind == "fired" else [event.kind, plain(event.body)])


def _named(kind: str, body: Mapping[str, Any]) -> str:
    """Return an event in a few words."""
    about = {
        "fired": body.get("rule"),
        "offered": body.get("move"),
        "accepted": body.get("move"),
        "access": body.get("access"),
        "answered": body.get("check"),
        "repaired": body.get("repair"),
        "caution": body.get("caution"),
        "declined": body.get("move"),
        "verified": body.get("result"),
    }.get(kind)
    return f"{kind}: {shown(about)[:80]}" if isinstance(about, str) else kind


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return canonical(one) == canonical(plain(other))


def _unlike(kind: str, had: Mapping[str, Any], found: Mapping[str, Any]) -> str:
    """Return in words where two bodies differ; empty where they do not."""
    if canonical(had) == canonical(plain(found)):
        return ""
    lines = list(_fields("", _by_name(had), _by_name(plain(found))))
    if not lines:
        return "its parts are in another order on the trail"
    more = len(lines) - MOST_FIELDS
    return "; ".join(lines[:MOST_FIELDS]) + (f"; and {more} more" if more > 0 else "")


def _by_name(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return a body with its lists of named figures by name."""
    found = dict(body)
    for name in ("faults", "least_unlikely"):
        pairs = found.get(name)
        if isinstance(pairs, list) and all(
            isinstance(p, list) and len(p) == 2 and isinstance(p[0], str) for p in pairs
        ):
            found[name] = dict(pairs)
    for name in ("alternatives", "found"):
        items = found.get(name)
        if isinstance(items, list) and all(isinstance(i, dict) for i in items):
            found[name] = {str(i.get("move", i.get("mode"))): i for i in items}
    return found


def _fields(path: str, had: Any, found: Any) -> Iterator[str]:
    if isinstance(had, dict) and isinstance(found, dict):
        for name in dict.fromkeys((*had, *found)):
            label = WORDS.get(name, shown(name)[:80]) if not path else f"{path}, {WORDS.get(name, shown(name)[:80])}"
            if name == "faults":
                label = "chance"
            if name not in found:
                yield f"{label} is {_value(had[name])} on the trail, nothing of the kind worked out anew"
            elif name not in had:
                yield f"{label} is not on the trail, and {_value(found[name])} worked out anew"
            elif isinstance(had[name], str) and isinstance(found[name], str) and "\n" in found[name]:
                yield from _lines(label, had[name], found[name])
            else:
                yield from _fields(label, had[name], found[name])
    elif type(had) is not type(found) or had != found:
        yield f"{path} is {_value(had)} on the trail, {_value(found)} worked out anew"


def _lines(label: str, had: str, found: str) -> Iterator[str]:
    ours, theirs = found.split("\n"), had.split("\n")
    for number, (one, other) in enumerate(zip(theirs, ours, strict=False), 1):
        if one != other:
            yield f"{label}, line {number} is {_value(one)} on the trail, {_value(other)} worked out anew"
            return
    if len(ours) != len(theirs):
        yield f"{label} has {len(theirs)} lines on the trail, {len(ours)} worked out anew"


def _value(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "nothing"}[value]
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".") if 1e-6 <= abs(value) < 1e9 else f"{value:.10g}"
    text = shown(value if isinstance(value, str) else canonical(plain(value)).decode())
    return (
        repr(text if len(text) <= 70 else f"{text[:67]}...")
        if isinstance(value, str)
        else (text if len(text) <= 70 else f"{text[:67]}...")
    )


def _reason(error: Exception) -> str:
    if isinstance(error, Refused | BadIntake | EventError):
        return shown(error).rstrip(".").removeprefix("that does not fit here: ")[:200]
    return f"what it says there is not in the form expected ({type(error).__name__}: {shown(error)[:80]})"

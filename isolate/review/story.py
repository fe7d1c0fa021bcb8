"""The story of a case as a timeline, from its events alone: what was asked and said, opened, held back, taken back.

It takes no knowledge: without it names are spelt from their keys. Offers, beliefs and what follows by itself are no
moments of their own; what was offered stands with what was taken up, what was believed with what was said.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from isolate.case import measured
from isolate.case.case import RECORD
from isolate.case.events import Event, parse_time
from isolate.case.inherit import ago
from isolate.case.intake import Refused
from isolate.case.parts import FINDINGS, PART
from isolate.kb.shown import plain
from isolate.review.named import Names, spelt, within
from isolate.review.shapes import Measured, Moment, MomentKind, ReadFigure, ReadFile

SAID = ("opened", "told", "answered", "repaired", "swapped", "corrected")
"""Kinds of events after which something else is believed."""
LEADING = 3
"""So many suspects are named with what was said."""
MOVED = 0.01
"""A suspect whose probability was moved less by taking something back is not told."""
ROUND = 0.5
"""Minutes that make no difference in a figure of the plan."""
EVEN = 1.5
"""Odds below this are about even."""
RULES = {
    "finding": "Finding",
    "gate": "Held back",
    "caution": "Caution called for",
    "conflict": "Conflict",
    "escalation": "Escalate",
    "verdict": "Verdict",
    "advice": "Advice",
}
"""What a rule that fired is called."""
_TOLD = {
    "people": "people here",
    "place": "place",
    "condition": "the defect shows",
    "now": "at the aircraft it is",
    "minutes_left": "minutes to departure at the opening",
    "missing": "not at hand",
    "coming": "on its way",
    "objective": "moves are chosen by",
    "hands": "people side by side",
    "starts": "starts",
    "signs": "heard or seen",
    "done": "done before",
    "other_engine": "the same was done on the other engine",
    "ages": "ages of parts",
    "earlier": "earlier cases carried",
    "swaps": "parts that changed places before",
    "shut_down": "minutes since the engine was shut down, at the opening",
    "engine_starts": "engine starts since new",
    "operator": "operator",
    "channel": "channel",
    "complaint": "complaint",
}


def story(events: Sequence[Event], names: Names) -> tuple[Moment, ...]:
    """Return the story. Never raises for what an event's body says: what cannot be read is said to be so."""
    return _Story(events, names).moments()


def share(probability: float) -> str:
    """Return a probability in percent; what is neither 0 nor 1 is not shown as such."""
    if 0 < probability < 0.005:
        return "<1%"
    return ">99%" if 0.995 <= probability < 1 else f"{probability:.0%}"


def number(minutes: float) -> str:
    """Return minutes as they are read: whole, below ten to a half where that matters."""
    return f"{round(minutes * 2) / 2:g}" if minutes < 10 else f"{minutes:.0f}"


def odds_words(odds: float) -> str:
    """Return odds as they are read: ``14 to 1``, or about even."""
    return "about even" if odds < EVEN else f"{number(odds)} to 1"


class _Story:
    def __init__(self, events: Sequence[Event], names: Names) -> None:
        self.events, self.names = events, names
        self.by_seq = {event.seq: event for event in events}
        self.void = {s for e in events if e.kind == "corrected" and isinstance(s := e.body.get("seq"), int)}
        self.begun = _time(events[0].time) if events else None
        self.believed = _believed(events)
        self.offered: Mapping[str, Any] | None = None
        self.more_of_next: tuple[str, ...] = ()

    def moments(self) -> tuple[Moment, ...]:
        found: list[Moment] = []
        worked = 0.0
        for place, event in enumerate(self.events):
            took = _minutes(event)
            worked += took
            try:
                made = self._moment(place, event)
            except (KeyError, TypeError, ValueError, AttributeError, IndexError):
                made = ("remark", f"Event {event.seq} ({event.kind}) is not in a form that can be told", ())
            if event.kind == "offered":
                self.offered = event.body
            if made is None:
                continue
            kind, said, more = made
            found.append(
                Moment(
                    seq=event.seq,
                    time=event.time,
                    kind=kind,
                    said=plain(said),
                    more=tuple(plain(line) for line in more),
                    at=round(worked, 2),
                    took=round(took, 2),
                    clock=round(_between(self.begun, _time(event.time)), 2),
                    void=event.seq in self.void,
                )
            )
        return tuple(found)

    def _moment(self, place: int, event: Event) -> tuple[MomentKind, str, Sequence[str]] | None:
        body = event.body
        teller = getattr(self, f"_{event.kind.replace('-', '_')}", None)
        if teller is None:
            return None
        if event.kind == "accepted":
            return self._accepted(place, event)
        found: tuple[MomentKind, str, Sequence[str]] | None = teller(event, body)
        return found

    # -- the beginning ---------------------------------------------------------------------------------

    def _opened(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        intake = body["intake"]
        said = f"Opened: {self.names.complaint(str(intake['complaint']))}{_channel(intake)}"
        return "opened", said, (*opening(intake, self.names), *self._after(event))

    def _told(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        told = "; ".join(f"{_TOLD.get(name, name)}: {_value(value)}" for name, value in body["changes"].items())
        return "told", f"Told: {told}", self._after(event, only_new=True)

    # -- what was asked and said -----------------------------------------------------------------------

    def _accepted(self, place: int, event: Event) -> tuple[MomentKind, str, Sequence[str]] | None:
        body = event.body
        kind, key = str(body["kind"]), str(body["move"])
        more = self._as_offered(body)
        if kind == "close":
            return "asked", "Closing up begins", ()
        if kind == "check" and self._at_once(place, key):
            # Asked and answered in one breath: told as one.
            self.more_of_next = more if more and "As offered" not in more[0] else ()
            return None
        if kind == "end":
            outstanding = [self.names.check(str(k)) for k in body.get("outstanding", ())]
            deferral = [f"{name.replace('-', ' ')}: {_value(v)}" for name, v in body.get("deferral", {}).items()]
            return "asked", f"Taken up as the end: {self.names.move(kind, key)}", (*outstanding, *deferral, *more)
        return "asked", f"Taken up: {self.names.move(kind, key)}", more

    def _as_offered(self, body: Mapping[str, Any]) -> tuple[str, ...]:
        offer = self.offered
        if offer is None or body["kind"] == "close":
            return ()
        expected = body.get("expected")
        if body["move"] == offer["move"]:
            return (f"As offered: about {number(float(offer['expected']))} min to the end.",) if expected else ()
        first = self.names.move(str(offer["kind"]), str(offer["move"]))
        if expected is None:
            return (f"Offered first: {first}.",)
        over = float(expected) - float(offer["expected"])
        more = f", expected to cost {number(over)} min less" if over >= ROUND else ", as good by the plan's figures"
        return (f"Offered first: {first}{more}.",)

    def _at_once(self, place: int, key: str) -> bool:
        """Return whether a check taken up was answered before anything was opened or confirmed for it."""
        for event in self.events[place + 1 :]:
            if event.kind == "answered":
                return event.body.get("check") == key
            if not (event.kind == "caution" and event.body.get("shown")):
                return False
        return False

    def _answered(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        before, self.more_of_next = self.more_of_next, ()
        said = self.names.answer(str(body["check"]), str(body.get("outcome") or ""))
        where = {
            "verify": ("Part of the verification.",),
            "repair": ("Looked at within the repair.",),
            RECORD: ("Answered by the same record, read for another check.",),
        }
        condition = str(body.get("condition", "steady"))
        how = (f"Condition then: {condition}.",) if condition != "steady" and body.get("strength", 1) else ()
        return (
            "answered",
            said,
            (
                *before,
                *where.get(str(body.get("within")), ()),
                *how,
                *_reading(body),
                *self._spoilt(body),
                *self._after(event),
            ),
        )

    def _declined(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        title = self.names.move(str(body.get("kind", "")), str(body["move"]))
        reason = str(body.get("reason", ""))
        if body.get("of_itself"):
            return "gate", f"Held back: {title}", (f"Why: {reason}",) if reason else ()
        within = ("It belonged to the verification, which is outstanding without it.",) * (
            body.get("within") == "verify"
        )
        return "turned-down", f"Turned down: {title}", ((f"Reason: {reason or 'none given'}"), *within)

    def _caution(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        title = self.names.caution(str(body["caution"]))
        before = (f"Before: {body['before']}",) if body.get("before") else ()
        if body.get("shown"):
            return "caution", f"Caution shown: {title}", before
        facts = [f"{name.replace('-', ' ')}: {_value(value)}" for name, value in body.get("facts", {}).items()]
        return "caution", f"Caution confirmed: {title}", (*before, *((", ".join(facts),) if facts else ()))

    def _access(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        title, state = self.names.access(str(body["access"])), body["state"]
        facts = tuple(f"{name.replace('-', ' ')}: {_value(value)}" for name, value in body.get("facts", {}).items())
        if body.get("walked"):
            return "access", f"Seen on the aircraft: {title}, {'still so' if state == 'open' else 'put back'}", facts
        if state == "unknown":
            return "access", f"Not known yet: {title}; it has to be walked", facts
        if body.get("of_itself"):
            return "access", f"Ended by itself: {title}", facts
        wait = (f"With a wait of {number(float(body['wait']))} min.",) if body.get("wait") else ()
        return "access", f"{'Opened' if state == 'open' else 'Put back'}: {title}", (*wait, *facts)

    # -- what was done ---------------------------------------------------------------------------------

    def _repaired(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        part = body.get("part") or {}
        said = [
            f"{_PART.get(ask.name, ask.name)} {_value(part[ask.name])}"
            for ask in PART
            if part.get(ask.name) is not None
        ]
        numbers = (f"Parts: {', '.join(said)}.",) if said else ()
        title = self.names.repair(str(body["repair"]))
        return "repair", f"Done: {title}", (*numbers, *self._spoilt(body), *self._after(event))

    def _swapped(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        swap = body.get("swap", {})
        told = [
            f"{word} {_value(swap[name])}"
            for name, word in (("serial", "S/N"), ("other_serial", "and S/N"), ("where", "to"))
            if swap.get(name)
        ]
        how = ("It is part of the check before it.",) if body.get("of_itself") else ()
        return "swap", self.names.swapped(str(body["key"])), (*how, *told, *self._spoilt(body), *self._after(event))

    def _verified(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        channels = [f"{f'channel {c}' if c else 'engine'} {r}" for c, r in sorted(body.get("channels", {}).items())]
        out = [self.names.check(str(key)) for key in body.get("outstanding", ())]
        failed = [self.names.check(str(key)) for key in body.get("failed", ())]
        return (
            "verified",
            f"Verification {body['result']}: {', '.join(channels) or 'nothing was left to do'}",
            (
                *((f"Failed: {'; '.join(failed)}.",) if failed else ()),
                *((f"Outstanding: {'; '.join(out)}.",) if out else ()),
                f"Probability that a fault is left: {share(float(body['remaining']))}.",
            ),
        )

    def _corrected(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        undone = self.by_seq.get(int(body["seq"]))
        what = self._what(undone) if undone is not None else f"event {body['seq']}"
        how = "Doubted, and asked again" if body.get("doubted") else "Taken back"
        return "taken-back", f"{how}: {what} (event {body['seq']})", self._changed(event)

    def _what(self, event: Event) -> str:
        body, names = event.body, self.names
        if event.kind == "answered":
            return names.answer(str(body["check"]), str(body.get("outcome") or ""))
        if event.kind == "repaired":
            return names.repair(str(body["repair"]))
        if event.kind == "access":
            return f"{names.access(str(body['access']))}: {body['state']}"
        if event.kind == "swapped":
            return names.swapped(str(body["key"]))
        if event.kind in ("accepted", "declined"):
            return f"{event.kind} {names.move(str(body.get('kind', '')), str(body['move']))}"
        return event.kind

    # -- people, remarks, rules ------------------------------------------------------------------------

    def _fired(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        kind: MomentKind = "gate" if body["kind"] == "gate" else "rule"
        return kind, f"{RULES.get(str(body['kind']), plain(body['kind']))}: {body['says']}", ()

    def _noted(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        about = (f"About: {self.names.move('', str(body['about']))}",) if body.get("about") else ()
        return "remark", f"Note: {body['text']}", (*about, *_reading(body))

    def _left(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        opened = [self.names.access(str(key)) for key in body.get("open", ())]
        return "people", "Left for now", (f"Open then: {', '.join(opened)}.",) if opened else ()

    def _resumed(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "people", "Taken up again: nothing counts as open or safe before it is walked", self._away(event)

    def _away(self, event: Event) -> tuple[str, ...]:
        before = self.by_seq.get(event.seq - 1)
        gap = _between(_time(before.time), _time(event.time)) if before is not None else 0.0
        return (f"Nobody worked for {_long(gap)}.",) if gap >= 1 else ()

    def _passed_on(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        opened = [f"{o['title']} ({o['word']})" for o in body.get("open", ())]
        loose = [str(one) for one in body.get("loose", ())]
        more = [f"Open: {', '.join(opened)}."] if opened else []
        more += [f"Half torqued or unlocked: {', '.join(loose)}."] if loose else []
        more += [f"Tools, caps and blanks out: {_value(body['out'])}, by the list of {body.get('list_by', '?')}."] * (
            body.get("out") is not None
        )
        return "people", f"Passed on from {body['by']} to {body['to']}", more

    def _loose(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        facts = [f"{name.replace('-', ' ')}: {_value(value)}" for name, value in body.get("facts", {}).items()]
        return "people", f"Half torqued or unlocked: {body['what']}, {body['state']}", facts

    def _inspected(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        facts = [f"{name.replace('-', ' ')}: {_value(value)}" for name, value in body.get("facts", {}).items()]
        return "people", f"Independent inspection of channels {' and '.join(body.get('channels', ()))}", facts

    # -- the end ---------------------------------------------------------------------------------------

    def _handed_over(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "ended", f"Handed over to {body['to']}", (f"Why: {body['why']}.",)

    def _closed(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        found = [
            f"{self.names.move('repair', str(f['repair']))}: {self.names.mode(str(f['mode']))} "
            f"({share(float(f['probability']))})."
            for f in body.get("found", ())
        ]
        strange = ("Nothing known explains the answers together.",) if body.get("unexplained") else ()
        left = f"Probability that a fault is left: {share(float(body['remaining']))}."
        return "ended", f"Ended: {body['end']}", (*found, *strange, left)

    def _shop_finding(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        found = FINDINGS.get(str(body["finding"]), str(body["finding"]))
        more = [f"The fault that it named: {self.names.mode(str(body['mode']))}"] if body.get("mode") else []
        more += [f"In its words: {body['text']}"] if body.get("text") else []
        more += [f"Report {body['report']}"] if body.get("report") else []
        return "shop", f"The part that came off at “{within(self.names.repair(str(body['repair'])))}”: {found}", more

    def _signed(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "signed", f"Signed by {body.get('by', '?')}, for all up to event {body.get('seq', '?')}", ()

    # -- drills ----------------------------------------------------------------------------------------

    def _stopped(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        title = self.names.move(str(body.get("kind", "")), str(body["move"]))
        dangers = [(str(d["says"]), str(d["harm"])) for d in body.get("dangers", ())]
        more = [line for says, harm in dangers for line in (f"Why: {says}", f"What it would have done: {harm}")]
        return "gate", f"Stopped, not done: {title}", more

    def _refused(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        title = self.names.move(str(body.get("kind", "")), str(body["move"]))
        return "gate", f"Could not be done: {title}", (f"Why: {body.get('reason', '')}",)

    def _taken_again(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "people", "Taken up again from just before the stop", ()

    def _waited(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "people", f"Waited {number(float(body['minutes']))} min", ()

    def _hinted(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        return "remark", "A hint was asked for", ()

    def _suspected(self, event: Event, body: Mapping[str, Any]) -> tuple[MomentKind, str, Sequence[str]]:
        sure = f", {share(float(body['sure']))} sure" if body.get("sure") is not None else ""
        return "told", f"Prime suspect told: {self._suspect(str(body.get('suspect', '?')))}{sure}", ()

    def _suspect(self, key: str) -> str:
        """Return whom a trainee suspects: a fault mode, or a part."""
        fitted = self.names.fitted
        return self.names.mode(key) if fitted is not None and key in fitted.mode_zone else spelt(key)

    # -- what was believed -----------------------------------------------------------------------------

    def _after(self, event: Event, only_new: bool = False) -> tuple[str, ...]:
        """Return what was believed after an event, where the trail says so anew."""
        belief = self.believed.get(event.seq)
        following = self.by_seq.get(event.seq + 1)
        if event.kind == "answered" and following is not None and following.body.get("within") == RECORD:
            # What one record answers is written at once, and believed once, after the last of it.
            return ("Weighed with what the same record answers next.",)
        if belief is None:
            return () if only_new or event.kind == "opened" else ("What is believed stayed as it was.",)
        faults = belief.get("faults", ())[:LEADING]
        if not faults:
            return (f"Believed then: no fault at all {share(float(belief.get('none', 0)))}.",)
        said = ", ".join(f"{self.names.mode(str(mode))} {share(float(p))}" for mode, p in faults)
        none = float(belief.get("none", 0))
        healthy = f"; no fault at all {share(none)}" if none >= MOVED else ""
        return (f"Believed then: {said}{healthy}.",)

    def _changed(self, event: Event) -> tuple[str, ...]:
        """Return what taking something back changed, by the beliefs on the trail."""
        after = self.believed.get(event.seq)
        if after is None:
            return ("What is believed stayed as it was.",) if event.body.get("what") == "answered" else ()
        had = {str(m): float(p) for m, p in (self._last_before(event.seq) or {}).get("faults", ())}
        has = {str(m): float(p) for m, p in after.get("faults", ())}
        moved = sorted(
            ((abs(has.get(m, 0.0) - had.get(m, 0.0)), m) for m in {*had, *has}), key=lambda item: (-item[0], item[1])
        )
        said = [
            f"{self.names.mode(m)} from {share(had.get(m, 0.0))} to {share(has.get(m, 0.0))}"
            for by, m in moved[:LEADING]
            if by >= MOVED
        ]
        return (f"That changed: {', '.join(said)}.",) if said else ("That changed next to nothing.",)

    def _spoilt(self, body: Mapping[str, Any]) -> tuple[str, ...]:
        ended = [self.names.access(str(key)) for key in body.get("spoils", ())]
        return (f"It ended: {', '.join(ended)}.",) if ended else ()

    def _last_before(self, seq: int) -> Mapping[str, Any] | None:
        last = None
        for event in self.events:
            if event.seq >= seq:
                break
            if event.kind == "belief":
                last = event.body
        return last


def opening(intake: Mapping[str, Any], names: Names) -> list[str]:
    """Return what was told at the opening in lines, by the fields of the intake as the trail has it."""
    engine = names.engine(str(intake.get("engine", "")))
    found = [f"Engine {engine} at position {_value(intake.get('position'))}, at the "
             f"{_value(intake.get('place', 'gate'))}."]  # fmt: skip
    if intake.get("condition", "steady") != "steady":
        now = intake.get("now") or intake["condition"]
        found.append(f"The defect shows: {intake['condition']}; at the aircraft it was: {now}.")
    if intake.get("starts"):
        found.append(f"Starts told: {starts(intake['starts'])}.")
    if intake.get("signs"):
        signs = [f"{names.sign(str(s['sign']))}{_channel(s)}" for s in intake["signs"]]
        found.append(f"Heard or seen: {'; '.join(signs)}.")
    if intake.get("done"):
        done = [names.repair("/".join(filter(None, (w["repair"], w.get("channel"))))) for w in intake["done"]]
        found.append(f"Done before: {'; '.join(done)}.")
    if intake.get("earlier"):
        cases = [f"{e['case']} (ended {ago(float(e['days']))})" for e in intake["earlier"]]
        found.append(f"Carried from earlier cases: {', '.join(cases)}.")
    if intake.get("minutes_left") is not None:
        found.append(f"To departure: {number(float(intake['minutes_left']))} min.")
    people = [
        f"{p['name']} ({', '.join(p['may'])})" if p.get("may") else str(p["name"]) for p in intake.get("people", ())
    ]
    if people:
        found.append(f"Here: {'; '.join(people)}.")
    if intake.get("missing"):
        found.append(f"Not at hand: {', '.join(str(m) for m in intake['missing'])}.")
    return found


def starts(told: Iterable[Mapping[str, Any]]) -> str:
    """Return past starts in a few words: how many of each channel lit."""
    counted: dict[str, list[bool]] = {}
    for start in told:
        counted.setdefault(str(start.get("channel", "unknown")), []).append(bool(start.get("lit")))
    return "; ".join(
        f"{'channel not known' if c == 'unknown' else c}: {sum(lit)} of {len(lit)} lit" for c, lit in counted.items()
    )


_PART = {
    "pn-off": "off P/N",
    "sn-off": "S/N",
    "hours-off": "hours since new",
    "starts-off": "starts since new",
    "pn-on": "on P/N",
    "sn-on": "S/N",
}


def _believed(events: Iterable[Event]) -> dict[int, Mapping[str, Any]]:
    """Return seq of what was said → the belief on the trail that followed it."""
    found: dict[int, Mapping[str, Any]] = {}
    last = 0
    for event in events:
        if event.kind in SAID:
            last = event.seq
        elif event.kind == "belief" and last:
            found[last] = event.body
    return found


def _minutes(event: Event) -> float:
    value = event.body.get("minutes", 0)
    counts = event.kind in ("answered", "access", "repaired", "swapped")
    return float(value) if counts and isinstance(value, int | float) else 0.0


def _time(text: str) -> datetime:
    return parse_time(text)


def _between(one: datetime | None, other: datetime) -> float:
    return 0.0 if one is None else (other - one).total_seconds() / 60


def _long(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h" if minutes < 2880 else (
        f"{minutes / 1440:.0f} days"
    )  # fmt: skip


def _channel(of: Mapping[str, Any]) -> str:
    return f", channel {of['channel']}" if of.get("channel") else ""


def _value(value: Any) -> str:
    """Return a told value in words."""
    if value is None or value in ("", []):
        return "nothing"
    if isinstance(value, Mapping):
        named = [str(v) for v in (value.get("name"), value.get("sign"), value.get("repair"), value.get("tool")) if v]
        return ", ".join(named) or ", ".join(f"{k} {v}" for k, v in value.items() if v not in ("", None))
    if isinstance(value, list):
        if len(value) > 3 and all(isinstance(v, Mapping) for v in value):
            return f"{len(value)} of them"
        return "; ".join(_value(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _reading(body: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what was measured, in sentences."""
    return tuple(measured.lines(body["reading"])) if "reading" in body else ()


def readings(events: Sequence[Event], names: Names) -> tuple[Measured, ...]:
    """Return what was measured or recorded in a case. Never raises for what an event's body says."""
    void = {s for e in events if e.kind == "corrected" and isinstance(s := e.body.get("seq"), int)}
    found = []
    for event in events:
        body = event.body
        if event.kind not in ("answered", "noted") or "reading" not in body:
            continue
        about = str(body.get("check" if event.kind == "answered" else "about") or "")
        along = body.get("within") == RECORD
        said = names.outcome(about, str(body.get("outcome") or "")) if event.kind == "answered" else ""
        if said and (why := measured.against(events, event.seq)):
            said = f"{said} (otherwise than the reading comes to, because: {why.rstrip('.')})"
        one = Measured(
            seq=event.seq,
            time=event.time,
            about=plain(about),
            title=names.move("", about) if about else "",
            how="noted" if event.kind == "noted" else "along" if along else "answered",
            said=plain(said),
            lines=tuple(measured.lines(body["reading"])),
            void=event.seq in void,
        )
        found.append(_in_full(one, body["reading"]))
    return tuple(found)


def _in_full(one: Measured, reading: Any) -> Measured:
    """Return a reading with all that it says by itself, where it is in the form of one."""
    try:
        measured.kept(reading)
    except Refused:
        return one
    seconds = reading.get("seconds")
    figures = (ReadFigure(_short(f["says"]), f["value"], f["low"], f["high"], _short(f["unit"]))
               for f in reading["figures"])
    return replace(
        one,
        calculation=reading["calc"],
        verdict=_short(reading["verdict"]),
        words=_short(reading["words"]),
        why=_short(reading["why"]),
        outcome=_short(reading["outcome"]),
        reference=_short(reading["reference"]),
        read=tuple((_short(asked), _short(told)) for asked, told in reading["understood"]),
        figures=tuple(figures),
        limits=tuple((_short(asked), _short(told)) for asked, told in reading["limits"]),
        files=tuple(ReadFile(measured.cut(f["name"], measured.LONG_NAME), f["sha256"]) for f in reading["files"]),
        seconds=(float(seconds[0]), float(seconds[1])) if seconds else None,
    )


def _short(told: object) -> str:
    return measured.cut(told, measured.LONG_SAID)

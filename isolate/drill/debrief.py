"""What a drill cost beside what the tool would have expected to pay, step by step, from its trail alone.

Every move that decides (a check, a repair, parts changed over, the end) is valued where the trainee set out for it: as
the case stood right after the move before it, on what was believed then. V is what the best move promised there, Q
what the trainee's own did; the move cost Q - V over. The truth has no part in that: a bad move that came off is still
a bad move, and a good one that did not is none. The truth counts in what the drill took in all; what is left between
the two is chance.

What was opened on the way belongs to the move that it was opened for, or to a later one that uses it. What no move
uses, waits that nothing asked for and hints are told apart. What the tool itself asks for is never charged: work opened
again to be inspected, the proof that a deferral asks for, a proof after work that is carried to its end. Nor is a
difference that the plan cannot tell apart (``NOISE``); minutes spent for nothing are exact and always count.

Costs are equivalent minutes, by the weights of the engine profile. With a departure told, a minute spent for nothing
counts besides for the delay that it is expected to make: the profile's weight times the chance that the end comes too
late anyway.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from math import inf, log2
from typing import Any, Literal

from isolate.case import deferral, swaps
from isolate.case import facts as case_facts
from isolate.case.chase import Kit, Ranked
from isolate.case.events import Event, parse_time
from isolate.case.now import condition_now
from isolate.drill.aircraft import Simulated
from isolate.drill.drive import DONE, DOORS, NOTHING, Driven, at, suspects, suspicion, told
from isolate.kb.fit import FitAccess, FitRepair, Fitted, instance, split
from isolate.kb.model import HEALTHY, Pattern, Rule
from isolate.reasoning import explain
from isolate.reasoning.belief import Belief
from isolate.reasoning.plan import Valued
from isolate.reasoning.pose import ESCALATE, WATCH
from isolate.reasoning.rules import asks

MoveKind = Literal["check", "repair", "swap", "end"]
Judged = Literal[
    "right", "fault left", "handed to the wrong people", "given up", "deferred rightly", "deferred wrongly",
    "not ended",
]  # fmt: skip
WHOLE = 0.5
"""Minutes over that are not worth a word: figures are read in whole minutes."""
NOISE = 0.03
"""A move that was expected to cost less than this share more than the best one was as good as any: the plan looks only
so far ahead, and its figures are no nearer. Our judgement."""
SPEAKS = 0.3
"""An answer of fewer bits says nothing of a suspect, as :func:`isolate.reasoning.explain.strength` puts it."""
LITTLE = 0.3
"""A check that takes fewer bits off the doubt tells little."""
OFTEN = 3
"""So many refusals of one move are told."""
MISREAD = 0.5
"""A suspect supported less than this share of what the likeliest is, is told what speaks against it."""
ANSWERS = 2
"""Answers told of a suspicion that the evidence does not support."""
TOOLS = "tools-listed"
"""The access state whose putting back is the count of tools."""
FOLLOWS = frozenset({"belief", "fired", "verified"})
"""Events that follow by themselves from the one before."""
RIGHT = ("right", "deferred rightly")
"""Judgements of a right end."""
TEACHES = frozenset({"finding", "advice", "conflict", "escalation", "verdict"})
"""Kinds of rules that teach by firing; a gate only keeps somebody from something."""
_PART = ("pn-off", "sn-off", "pn-on", "sn-on")


@dataclass(frozen=True)
class Step:
    """A move that decides. ``expected``: Q, ``better_expected``: V, both to the end, delay past departure counted in.

    ``minute``: by the drill's clock, when the trainee set out for it, by which it is judged: of an end that is before
    closing up began. ``better``: the title of the move that promised V, None where the trainee's own did as well.
    ``cost``: Q - V where it is more than noise, and what was put back and opened anew on the way for nothing.
    """

    seq: int
    minute: float
    kind: MoveKind
    key: str
    title: str
    expected: float
    better: str | None
    better_expected: float
    cost: float
    why: str


@dataclass(frozen=True)
class Extra:
    """Something that served no move: a crossing that none used, a wait that nothing asked for, refusals, a hint.

    ``minute``: by the drill's clock, when it was begun.
    """

    minute: float
    title: str
    cost: float
    why: str


@dataclass(frozen=True)
class Suspicion:
    """A prime suspect that was told: ``sure`` by the trainee, ``supported`` by the evidence then, both 0 to 1."""

    minute: float
    suspect: str
    title: str
    sure: float
    supported: float
    likeliest: str
    likeliest_title: str
    likeliest_p: float
    true: bool
    misread: tuple[str, ...]


@dataclass(frozen=True)
class Stop:
    """An unsafe move that was stopped. ``taken_again``: the drill went on after it."""

    minute: float
    title: str
    says: str
    harm: str
    rule: str
    taken_again: bool


@dataclass(frozen=True)
class Line:
    """What an inspector would ask of the record. ``judged`` False: people fill it in, so ``ok`` says nothing of it."""

    says: str
    ok: bool
    judged: bool = True


@dataclass(frozen=True)
class Learnt:
    """A learning point. ``met``: whether it came up; None where the scenario does not say what one meets it by."""

    say: str
    met: bool | None


@dataclass(frozen=True)
class Debrief:
    """The debrief of one drill; ``as_dict`` gives it as a JSON object of the same names.

    ``minutes``: by the clock. ``equivalent``: all that it took, labour, waits, parts, delay, hints and what the end
    costs in the truth. ``expected``: what the reference expected at the start. ``over``: the steps and extras over the
    reference. ``chance``: the rest of ``equivalent``; of a drill that has not ended, with what still lay ahead.
    """

    drill: str
    scenario: str
    title: str
    trainee: str
    begun: str
    seed: int
    level: dict[str, Any] | None
    engine: str
    complaint: str
    topics: tuple[str, ...]
    end: str
    judged: Judged
    right: bool
    truth: tuple[str, ...]
    found: tuple[str, ...]
    minutes: float
    equivalent: float
    money: dict[str, Any] | None
    expected: float
    over: float
    chance: float
    steps: tuple[Step, ...]
    extra: tuple[Extra, ...]
    suspicions: tuple[Suspicion, ...]
    brier: float | None
    safety: tuple[Stop, ...]
    hints: int
    hint_minutes: float
    record: tuple[Line, ...]
    record_ok: bool
    learning: tuple[Learnt, ...]
    about: str = ""
    """Engine and complaint in words."""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object, figures to four places."""
        found = _plain(asdict(self))
        assert isinstance(found, dict)
        return found


def debrief(kit: Kit, events: Sequence[Event]) -> Debrief:
    """Return the debrief of a drill: ended, stopped or left in the middle.

    ``kit``: of the engine that it was driven on. Raises Refused for a trail that is no drill's.
    """
    return _Review(kit, events).debrief()


@dataclass
class _Made:
    """A move that decides, as the trail has it; ``needs`` and ``shut`` of both repairs where parts changed over.

    ``minutes``: of its own. ``cost``: what those and its parts count for.
    """

    event: Event
    kind: MoveKind
    key: str
    title: str
    needs: tuple[str, ...] = ()
    shut: tuple[str, ...] = ()
    minutes: float = 0.0
    cost: float = 0.0
    stand: int = 0
    """Seq of the last event before the trainee set out for it."""


@dataclass
class _Stood:
    """An access state from its opening to its shutting; ``shut`` infinite where it still stands.

    ``by_hand`` and ``shut_by_hand``: whether the trainee opened and shut it; what ended by itself was not shut.
    """

    key: str
    opened: float
    shut: float = inf
    by_hand: bool = True
    shut_by_hand: bool = False
    cost_open: float = 0.0
    cost_shut: float = 0.0
    minute: float = 0.0
    users: list[int] = field(default_factory=list)
    """Places, in the order of the moves, of those that need it."""
    demanded: bool = False
    """Whether the tool asked for it: to have work inspected, or for the proof of a deferral."""

    @property
    def cost(self) -> float:
        return self.cost_open + self.cost_shut


@dataclass
class _Judgement:
    """A step before it is told. ``wasted``: it changes nothing, so it cost its own minutes and what only it opened."""

    expected: float
    best: float
    better: str | None = None
    why: str = ""
    wasted: bool = False
    proof: bool = False
    """It began a proof, which is one move with what follows of it."""

    @property
    def cost(self) -> float:
        """What it cost more than the best, in equivalent minutes; 0 for what the plan cannot tell apart."""
        over = self.expected - self.best
        return over if self.wasted or over >= max(0.0, NOISE * self.best) else 0.0


class _Review:
    def __init__(self, kit: Kit, events: Sequence[Event]) -> None:
        self.about, self.scenario = told(events)
        self.kit, self.fitted = kit, kit.fitted
        self.events = tuple(events)
        self.last: Driven = at(kit, self.events, self.events[-1].seq)
        self.intake, self.poser = self.last.intake, self.last.poser
        self.weights = self.poser.weights
        self.opened = parse_time(self.events[0].time)
        self.waits_count = self.intake.objective != "cost"
        self.lateness: list[tuple[int, float]] = []
        """Seq of a move → what a minute spent for nothing before it counts for in delay."""
        self.excused: set[int] = set()
        """Waits, by seq, that a step is charged with already."""
        self.made = self._moves()
        self.stood = self._stands()

    # -- reading the trail -----------------------------------------------------------------------------

    def minute(self, event: Event) -> float:
        return (parse_time(event.time) - self.opened).total_seconds() / 60

    def _labour(self, minutes: float, people: int = 1) -> float:
        return self.weights.labour * minutes * (people if self.intake.objective == "cost" else 1)

    def _moves(self) -> list[_Made]:
        """Return the moves that decide, in order, each with where the trainee set out for it."""
        fitted, found = self.fitted, list[_Made]()
        stand, standing, now_open = 0, True, set[str]()
        for event in self.events:
            body = event.body
            one: _Made | None = None
            if event.kind == "answered":
                check = fitted.check(body["check"])
                cost = self._labour(check.minutes, check.entry.people)
                one = _Made(event, "check", check.key, check.title, check.needs, check.shut, check.minutes, cost)
            elif event.kind == "repaired":
                one = self._repair(event, fitted.repair(body["repair"]), "repair")
            elif event.kind == "swapped" and not body.get("of_itself"):
                one = self._swap(event)
            elif event.kind == "accepted" and body["kind"] == "end":
                one = self._end(event, str(body["move"]))
            elif event.kind == "accepted" and not (found and found[-1].kind == "end"):
                one = self._end(event, DONE)
            if one is not None:
                one.stand = stand
                found.append(one)
                standing = True
            else:
                standing = standing and self._follows(event, now_open)
            self._track(event, now_open)
            if standing:
                stand = event.seq
        return found

    def _follows(self, event: Event, now_open: Collection[str]) -> bool:
        """Return whether an event follows by itself from the move before it."""
        if event.kind == "access" and event.body.get("of_itself"):
            # What a next move ends is on its own way; what rests on nothing any more has ended.
            return any(n not in now_open for n in self.fitted.access[event.body["access"]].needs)
        found_so = event.kind == "access" and (event.body.get("walked") or event.body["state"] == "unknown")
        of_itself = event.kind == "swapped" and bool(event.body.get("of_itself"))
        return event.kind == "opened" or event.kind in FOLLOWS or bool(found_so) or of_itself

    @staticmethod
    def _track(event: Event, now_open: set[str]) -> None:
        now_open -= set(event.body.get("spoils", ()))
        if event.kind == "access":
            (now_open.discard if event.body["state"] == "shut" else now_open.add)(event.body["access"])

    def _repair(self, event: Event, repair: FitRepair, kind: MoveKind) -> _Made:
        cost = self._labour(repair.entry.minutes, repair.entry.people) + self.weights.parts * repair.entry.parts
        return _Made(event, kind, repair.key, repair.title, repair.needs, repair.shut, repair.entry.minutes, cost)

    def _swap(self, event: Event) -> _Made:
        part, one, other = swaps.read(event.body["key"])
        by_channel = swaps.movable(self.fitted).get(part, {})
        both = [by_channel[c] for c in (one, other) if c in by_channel]
        needs = tuple(dict.fromkeys(n for r in both for n in r.needs))
        shut = tuple(dict.fromkeys(n for r in both for n in r.shut))
        minutes = sum(r.entry.minutes for r in both)
        cost = sum(self._labour(r.entry.minutes, r.entry.people) for r in both)
        key = event.body["key"]
        return _Made(event, "swap", key, swaps.title(key), needs, shut, minutes, cost)

    def _end(self, event: Event, key: str) -> _Made:
        titles = {
            DONE: "Done: proven and closed up",
            WATCH: "Close up; the next starts are to be watched",
            ESCALATE: "Hand over to somebody with other means",
        }
        return _Made(event, "end", key, titles.get(key) or self.last.titled(key))

    def _stands(self) -> list[_Stood]:
        """Return each time that an access state stood open, with the moves that needed it."""
        found, now = list[_Stood](), dict[str, _Stood]()
        for event in self.events:
            for key in event.body.get("spoils", ()) if event.kind in ("answered", "repaired", "swapped") else ():
                if key in now:
                    now.pop(key).shut = event.seq
            if event.kind != "access":
                continue
            key, body = event.body["access"], event.body
            access = self.fitted.access[key]
            if body["state"] == "shut":
                if key in now:
                    one = now.pop(key)
                    one.shut, one.shut_by_hand = event.seq, not body.get("of_itself")
                    if one.shut_by_hand:
                        one.cost_shut = self._labour(access.close.minutes, access.entry.people)
            elif key not in now:
                by_hand = not body.get("walked") and body["state"] == "open"
                cost = self._labour(access.open.minutes, access.entry.people) if by_hand else 0.0
                begun = self.minute(event) - float(body.get("minutes", 0))
                one = _Stood(key, event.seq, by_hand=by_hand, cost_open=cost, minute=begun)
                now[key] = one
                found.append(one)
        for place, made in enumerate(self.made):
            needed = self.fitted.needed(made.needs)
            for one in found:
                if one.key in needed and one.opened < made.event.seq <= one.shut:
                    one.users.append(place)
        self.asked = self._asked_to_prove()
        inspected = self._inspected()
        for one in found:
            one.demanded = bool(self.asked & set(one.users))
        for seq in inspected:
            here = [s for s in found if s.opened < seq <= s.shut]
            doors = [s.opened for s in here if DOORS & set(self.fitted.access[s.key].entry.tags)]
            for one in here:
                # Gates ask for what is shared, such as breakers pulled, before anything is opened to look in.
                shared = not self.fitted.access[one.key].channel and one.opened <= max(doors, default=0)
                one.demanded = one.demanded or shared
        # What was needed only to open or shut what a move needs, such as a reading of the wind, was needed by it.
        for upper in sorted(found, key=lambda s: -len(self.fitted.needed([s.key]))):
            below = self.fitted.needed(self.fitted.access[upper.key].needs)
            for one in found:
                if one.key in below and one.opened < upper.opened <= one.shut:
                    one.users = sorted({*one.users, *upper.users})
                    one.demanded = one.demanded or upper.demanded
        return found

    def _inspected(self) -> list[int]:
        """Return the seqs of the inspections that found something touched since the one before."""
        found: list[int] = []
        for event in self.events:
            if event.kind == "inspected":
                touched = at(self.kit, self.events, event.seq - 1).touched().values()
                if max(touched, default=0) > max(found, default=0):
                    found.append(event.seq)
        return found

    def _asked_to_prove(self) -> set[int]:
        """Return the places of the checks that a deferral asked for, made or refused for want of them."""
        ends = [m for m in self.made if m.kind == "end" and m.key == deferral.DEFER]
        told = ends[-1].event.body.get("deferral", {}).get("proven", {}) if ends else {}
        named = {key for keys in told.values() for key in keys}
        found: set[int] = set()
        for key in named:
            # The last time is the one that counts.
            found |= set([i for i, m in enumerate(self.made) if m.kind == "check" and m.key == key][-1:])
        for event in self.events:
            if event.kind == "refused" and event.body["move"] == deferral.DEFER:
                for channel in self.fitted.channels:
                    if f"hannel {channel} has not been proven" in event.body["reason"]:
                        proofs = {check.key for check in deferral.proofs(self.last, channel)}
                        later = [i for i, m in enumerate(self.made) if m.key in proofs and m.event.seq > event.seq]
                        found |= set(later[:1])
        return found

    # -- all of it -------------------------------------------------------------------------------------

    def debrief(self) -> Debrief:
        fitted, state = self.fitted, self.last.state
        first = at(self.kit, self.events, self.made[0].stand if self.made else self._settled_at())
        expected = self._going_on(first)
        steps = self._steps()
        extra = self._extras()
        aircraft = self._aircraft()
        truth = self._truth(aircraft)
        suspicions = self._suspicions()
        aircraft.replay(self.events)
        left = aircraft.faults()
        judged = self._judged(left)
        equivalent = self._equivalent(left)
        over = sum(s.cost for s in steps) + sum(e.cost for e in extra)
        ahead = 0.0 if state.ended else self._going_on(self.last)
        hints = [e for e in self.events if e.kind == "hinted"]
        record = self._record()
        money = fitted.profile.money
        complaint = fitted.complaints[self.intake.complaint].title
        channel = f", channel {self.intake.channel}" if self.intake.channel else ""
        return Debrief(
            drill=self.events[0].case,
            scenario=str(self.about.get("name", "")),
            title=self.scenario.title,
            trainee=str(self.about.get("trainee", "")),
            begun=str(self.about.get("begun", "")),
            seed=int(self.about["seed"]),
            level=dict(self.about["level"]) if self.about.get("level") else None,
            engine=self.intake.engine,
            complaint=self.intake.complaint,
            topics=self._topics(),
            end=state.ended or ("stopped: something unsafe was about to be done" if self._stopped() else
                                "left in the middle"),
            judged=judged,
            right=judged in RIGHT,
            truth=truth,
            found=self._found(),
            minutes=self.last.elapsed,
            equivalent=equivalent,
            money=None if money is None else {"amount": equivalent * money.minute, "unit": money.unit},
            expected=expected,
            over=over,
            chance=equivalent + ahead - expected - over,
            steps=steps,
            extra=extra,
            suspicions=suspicions,
            brier=sum((s.sure - s.true) ** 2 for s in suspicions) / len(suspicions) if suspicions else None,
            safety=self._safety(),
            hints=len(hints),
            hint_minutes=sum(float(e.body["minutes"]) for e in hints),
            record=record,
            record_ok=all(line.ok for line in record if line.judged),
            learning=self._learning(judged in RIGHT),
            about=f"{fitted.profile.title.partition(',')[0]}: {complaint[:1].lower()}{complaint[1:]}{channel}",
        )  # fmt: skip

    def _settled_at(self) -> int:
        """Return the seq at which the drill stood ready for its first move."""
        seq = 0
        for event in self.events:
            if not self._follows(event, ()):
                break
            seq = event.seq
        return seq

    def _stopped(self) -> bool:
        kinds = [e.kind for e in self.events if e.kind in ("stopped", "taken-again")]
        return bool(kinds) and kinds[-1] == "stopped"

    # -- the steps -------------------------------------------------------------------------------------

    def _total(self, move: Valued) -> float:
        """Return what a move promises, with what it is expected to be late."""
        return move.expected + self.weights.delay * (move.late or 0.0)

    @staticmethod
    def _ready(stand: Driven) -> bool:
        """Return whether it is all proven there, so that nothing but closing up is left."""
        return stand.state.verified == "passed" and stand.remaining < stand.fitted.profile.remaining

    def _closing(self, stand: Driven) -> float:
        """Return what closing up there costs, with the fault that may be left."""
        poser = self.poser
        closing = poser.crossings.close_all(poser.mask(stand.state.open))[0]
        left = stand.minutes_left
        late = 0.0 if left is None else max(0.0, closing - left)
        return closing + self.weights.missed * stand.remaining + self.weights.delay * late

    def _going_on(self, stand: Driven) -> float:
        """Return what the reference expects from there to the end."""
        return self._closing(stand) if self._ready(stand) else self._total(stand.ranked().moves[0])

    def _late(self, stand: Driven) -> float:
        """Return what one more minute there is expected to count for in delay past the departure told."""
        left = stand.minutes_left
        if left is None:
            return 0.0
        chance = float(left >= 0) if self._ready(stand) else stand.ranked().moves[0].chance
        return self.weights.delay * (1.0 - (chance or 0.0))

    def _dear(self, seq: float, minutes: float) -> float:
        """Return what minutes spent for nothing at this point of the trail count for, delay counted in."""
        late = next((one for at_seq, one in self.lateness if at_seq > seq), 0.0)
        return minutes * (1 + late)

    def _steps(self) -> tuple[Step, ...]:
        judgements: list[_Judgement] = []
        proving: set[str] = set()
        for made in self.made:
            stand = at(self.kit, self.events, made.stand)
            self.lateness.append((made.event.seq, self._late(stand)))
            if made.key in proving:
                one = self._judgement_of_proof(stand, made)
            elif len(judgements) in self.asked:
                expected = self._going_on(stand)
                one, proving = _Judgement(expected, expected, why="A deferral asks for this proof."), set[str]()
            else:
                one, proving = self._judgement(stand, made), set[str]()
                if one.proof or self._after_work(stand, made, one):
                    proving = set(stand.verification) - set(stand.proven())
            proving.discard(made.key)
            if made.kind != "check" or made.event.body.get("outcome") != self.fitted.check(made.key).outcomes[0]:
                proving = set()
            judgements.append(one)
        wasted = {place for place, one in enumerate(judgements) if one.wasted}
        again = self._opened_anew(wasted)
        steps = []
        for place, (made, one) in enumerate(zip(self.made, judgements, strict=True)):
            noise = one.expected > one.best and not one.cost
            cost, why = one.cost, "" if noise else one.why
            if one.wasted:
                # What it opened is no loss where another move uses it too.
                alone = [s for s in self.stood if s.by_hand and not s.demanded and s.users and s.users[0] == place]
                way = sum(s.cost for s in alone if set(s.users) <= wasted)
                cost = made.cost + way + self.lateness[place][1] * (made.minutes + way)
                one.expected = one.best + cost
                if way >= WHOLE:
                    why += f" {made.minutes:.0f} min, and {way:.0f} min of opening up and closing for it alone."
            for crossing, minutes in again.get(place, ()):
                cost += minutes * (1 + self.lateness[place][1])
                title = self.fitted.access[crossing].title
                why += f" {title} was put back and undone again, and nothing had asked for it: {minutes:.0f} min."
            if not why:
                good = "As good as anything else." if one.better is not None else "There was nothing better to do."
                why = good if one.expected >= one.best - WHOLE else "It was expected to cost less than going on."
            better = one.better if one.cost and cost >= WHOLE else None
            steps.append(Step(made.event.seq, self._begun(made), made.kind, made.key, made.title, one.expected,
                              better, one.best, cost, why.strip()))  # fmt: skip
        return tuple(steps)

    def _begun(self, made: _Made) -> float:
        """Return the minute at which the trainee set out for a move."""
        return self.minute(next(e for e in self.events if e.seq >= made.stand))

    @staticmethod
    def _after_work(stand: Driven, made: _Made, one: _Judgement) -> bool:
        """Return whether a check begins the proof of work done, which nobody may go without."""
        worked = any(e.kind in ("repaired", "swapped") for e in stand.state.events)
        return worked and made.kind == "check" and made.key in stand.verification and not one.wasted

    def _judgement(self, stand: Driven, made: _Made) -> _Judgement:
        """Return Q and V of a move where the trainee set out for it."""
        if self._ready(stand):
            return self._after_proof(stand, made)
        ranked = stand.ranked()
        first = ranked.moves[0]
        best, title = self._total(first), stand.title_of(first.kind, first.name)
        if made.kind == "end" and made.key == deferral.DEFER:
            return self._deferred(stand, made, best, title)
        if made.kind == "check" and self._defers(stand, made.key):
            return _Judgement(best, best)
        own = self._own(stand, ranked, made)
        if own is None:
            if (later := self._later(stand, made, best, title)) is not None:
                return later
            return _Judgement(best + made.cost, best, title, self._idle_why(stand, ranked, made), wasted=True)
        if made.kind == "check" and own.kind == "check" and own.told < 1e-9 and own is not first:
            why = "It could tell nothing that was still open."
            return _Judgement(best + made.cost, best, title, f"{why} {self._better(stand, first)}", wasted=True)
        found = _Judgement(self._total(own), best, None if own is first else title)
        dearer = found.cost >= WHOLE
        found.proof = own.kind == "verify" and not dearer
        if dearer:
            found.why = f"{self._better(stand, first)} {self._instead(stand, own, made)}"
        if own.kind == "verify" and dearer:
            found.why = f"{self._better(stand, first)} It was too early to prove anything: " + self._doubt(stand)
        return found

    def _judgement_of_proof(self, stand: Driven, made: _Made) -> _Judgement:
        """Return that of a check that goes on with a verification begun: that is one move, judged where it began."""
        if self._ready(stand):
            return self._after_proof(stand, made)
        expected = self._going_on(stand)
        return _Judgement(expected, expected, why="It goes on with the proof that was begun.")

    def _after_proof(self, stand: Driven, made: _Made) -> _Judgement:
        """Return that of a move where nothing but closing up was left."""
        best, title = self._closing(stand), "Done: proven and closed up"
        if made.kind == "end" and made.key == DONE:
            return _Judgement(best, best)
        own = next((m for m in stand.ranked().moves if (m.kind, m.name) == (made.kind, made.key)), None)
        why = "It was all proven: nothing but closing up was left to do."
        if own is None or (made.kind == "check" and own.told < 1e-9):
            return _Judgement(best + made.cost, best, title, why, wasted=True)
        return _Judgement(self._total(own), best, title, why if self._total(own) - best >= WHOLE else "")

    def _own(self, stand: Driven, ranked: Ranked, made: _Made) -> Valued | None:
        """Return the trainee's own move as the plan values it there; a proof as the cheaper of check and proof."""
        if made.kind == "swap":
            return next((m for m in stand.exchanges() if m.name == made.key), None)
        if made.kind == "end":
            # Whoever says that it is done, with more doubt left than the profile allows, leaves it to be watched.
            key = WATCH if made.key == DONE else made.key
            return next((m for m in ranked.moves if m.kind == "end" and m.name == key), None)
        found = [m for m in ranked.moves if (m.kind, m.name) == (made.kind, made.key)]
        if made.kind == "check" and made.key in ranked.posed.verification:
            found += [m for m in ranked.moves if m.kind == "verify"]
        # Of two alike the proof, which is one move with what follows of it.
        return min(found, key=lambda m: (self._total(m), m.kind != "verify"), default=None)

    def _later(self, stand: Driven, made: _Made, best: float, title: str) -> _Judgement | None:
        """Return that of a move that was none where the trainee set out, and became one by the time that passed."""
        between = [e for e in self.events if made.stand < e.seq < made.event.seq]
        waits = [e for e in between if e.kind == "waited"]
        if not waits:
            return None
        then = at(self.kit, self.events, made.event.seq - 1)
        own = self._own(then, then.ranked(), made)
        if own is None:
            return None
        self.excused |= {e.seq for e in waits}
        spent = sum(float(e.body["minutes"]) for e in waits) * self.waits_count
        for event in between:
            if event.kind == "access" and event.body.get("minutes"):
                people = self.fitted.access[event.body["access"]].entry.people
                spent += self._labour(float(event.body["minutes"]), people)
        expected = spent + self._total(own)
        why = ""
        if expected - best >= WHOLE:
            waited = sum(float(e.body["minutes"]) for e in waits)
            why = f"{self._better(stand, stand.ranked().moves[0])} This one had to be waited for: {waited:.0f} min."
        return _Judgement(expected, best, title, why)

    def _deferred(self, stand: Driven, made: _Made, best: float, title: str) -> _Judgement:
        """Return that of a deferral: closing up, the profile's figure, and a fault that may be elsewhere."""
        channel = str(made.event.body.get("deferral", {}).get("channel", ""))
        joint = stand.belief.joint
        sound = tuple(slice(None) if z.channel == channel else 0 for z in self.fitted.zones.values())
        good = float(joint[sound].sum())
        closing = self.poser.crossings.close_all(self.poser.mask(stand.state.open))[0]
        left = stand.minutes_left
        late = 0.0 if left is None else max(0.0, closing - left)
        w = self.weights
        expected = closing + w.delay * late + w.defer + w.missed * (1 - good)
        why = ""
        if expected - best >= WHOLE:
            waits = "nobody was waiting" if left is None else f"{max(left, 0.0):.0f} min were left"
            why = (
                f"Going on was expected to take {best:.0f} min and {waits}; to defer costs {w.defer:.0f}, and with "
                f"{1 - good:.0%} the other channel or what both share is at fault too."
            )
        return _Judgement(expected, best, title, why)

    def _defers(self, stand: Driven, key: str) -> bool:
        """Return whether a check proves the channel that would be left, where deferring was the cheaper end."""
        found = stand.deferring()
        if found is None or found.cost >= found.going_on:
            return False
        others = [c for c in self.fitted.channels if c != found.channel]
        return key in {check.key for c in others for check in deferral.proofs(stand, c)}

    def _opened_anew(self, wasted: set[int]) -> dict[int, list[tuple[str, float]]]:
        """Return move → what was opened anew on the way to it though nothing had asked for it to be put back.

        ``wasted``: the moves that changed nothing; what was opened for these alone is charged to them.
        """
        found: dict[int, list[tuple[str, float]]] = {}
        before: dict[str, _Stood] = {}
        for one in sorted(self.stood, key=lambda s: s.opened):
            had, before[one.key] = before.get(one.key), one
            if had is None or not had.shut_by_hand or not one.by_hand:
                continue
            if one.demanded:
                continue
            if set(one.users) <= wasted or (had.by_hand and set(had.users) <= wasted):
                # That it was opened the one time or the other for nothing is told by itself.
                continue
            below = self.fitted.needed([one.key])
            asked = False
            for made in self.made:
                if had.shut < made.event.seq < one.opened:
                    wanted = {s for n in self.fitted.needed(made.needs) for s in self.fitted.access[n].shut}
                    asked = asked or bool(below & ({*made.shut} | wanted))
            for other in self.stood:
                if had.shut < other.opened < one.opened and other.users:
                    asked = asked or bool(below & set(self.fitted.access[other.key].shut))
            if not asked:
                place = next(i for i, m in enumerate(self.made) if m.event.seq > one.opened)
                found.setdefault(place, []).append((one.key, had.cost_shut + one.cost_open))
        return found

    # -- why -------------------------------------------------------------------------------------------

    def _better(self, stand: Driven, move: Valued) -> str:
        """Return what a move would have cost there, and what it would have told or done."""
        return f"{sentence(stand.title_of(move.kind, move.name))} {self._worth(stand, move)}"

    def _instead(self, stand: Driven, own: Valued, made: _Made) -> str:
        worth = self._worth(stand, own)
        return f"This one: {worth[:1].lower()}{worth[1:]}"

    def _worth(self, stand: Driven, move: Valued) -> str:
        """Return a sentence: the minutes of a move with its way, and what it would tell or do."""
        crossings = [c for c in move.crossings if c.opening]
        if crossings:
            how = f"with {len(crossings)} thing{'s' if len(crossings) > 1 else ''} to open or make ready first"
        else:
            how = "with what was open already" if stand.state.open else "with everything shut"
        return f"{move.now:.0f} min {how}{self._does(stand, move)}."

    def _does(self, stand: Driven, move: Valued) -> str:
        if move.kind == "check":
            if move.told < 0.01:
                return ", and tells next to nothing"
            up, down = explain.parted(stand.belief, move.name, stand.setting, most=1)
            if up and down:
                return f", and tells {self._names(up)} from {self._names(down)}"
            if up:
                return f", and speaks for or against {self._names(up)}"
            little = "tells little: " if move.told < LITTLE else "takes "
            return f", and {little}{move.told:.1f} bits off the doubt"
        if move.kind == "repair":
            return f", and puts right what is at fault with {move.outcomes[0]:.0%}"
        if move.kind == "verify":
            return f", and passes with {move.outcomes[0]:.0%}"
        if move.kind == "swap":
            return ", and mends nothing: it shows whether the fault goes with the part"
        if move.name in self.fitted.repairs:
            cleared = self._cleared(stand.belief, self.fitted.repair(move.name))
            return f", and ends it: with {cleared:.0%} the fault is theirs to find"
        if move.name == WATCH:
            return f", and ends it with {stand.remaining:.0%} that a fault is left"
        return f", and ends it unsolved, which counts for {self.weights.escalate:.0f} min"

    def _names(self, suspected: Sequence[Any]) -> str:
        titles = [self.fitted.zones[m.zone].title_of(m.state) for m in suspected]
        return " or ".join(t[:1].lower() + t[1:] for t in titles)

    @staticmethod
    def _cleared(belief: Belief, repair: FitRepair) -> float:
        """Return the probability that a repair or hand-over meets some fault."""
        none = 1.0
        for zone, states in repair.clears.items():
            names = belief.model.fitted.zones[zone].states
            none *= 1 - sum(float(p) for s, p in zip(names, belief.zone(zone), strict=True) if s in states)
        return 1 - none

    @staticmethod
    def _doubt(stand: Driven) -> str:
        return f"with {stand.remaining:.0%} a fault was there."

    def _idle_why(self, stand: Driven, ranked: Ranked, made: _Made) -> str:
        reason = ranked.barred.get(made.key)
        if made.kind in ("repair", "swap"):
            why = "Nothing that it mends was suspected then." if reason is None else f"It changed nothing: {reason}."
        elif made.kind == "end":
            why = "It was no way to end there."
        elif reason == "answered":
            why = self._answered_before(stand, made)
        elif reason is None:
            why = "It could tell nothing that was still open."
        else:
            why = f"It could tell nothing new: {reason}."
        return f"{why} {self._better(stand, ranked.moves[0])}"

    def _answered_before(self, stand: Driven, made: _Made) -> str:
        """Return what had been known of a check, and what the screen showed as it was made once more."""
        check = self.fitted.check(made.key)
        outcome = made.event.body.get("outcome")
        shown = f"“{check.said(outcome)}”" if outcome else "that it could not be told"
        had = [e.outcome for e in stand.state.evidence if e.kind == "answer" and e.key == made.key]
        if not had:
            return f"It had been answered by what was told at the start; asked again, the screen showed {shown}."
        if had[-1] == outcome:
            return f"It had been answered, and the answer stood: {shown}."
        return f"It had been answered: “{check.said(had[-1])}”. Asked again, the screen showed {shown}."

    # -- what served nothing ---------------------------------------------------------------------------

    def _extras(self) -> tuple[Extra, ...]:
        found = [self._unused(s) for s in self.stood if self._never_used(s)]
        timers = self._timers()
        for event in self.events:
            if event.kind == "waited" and event.seq not in self.excused:
                over = self._beyond(event, timers)
                if over >= WHOLE:
                    why = f"{over:.0f} min of it no timer asked for."
                    cost = self._dear(event.seq, over) * self.waits_count
                    begun = self.minute(event) - float(event.body["minutes"])
                    found.append(Extra(begun, f"Waited {event.body['minutes']:g} min", cost, why))
            elif event.kind == "hinted":
                named = "It named the move." if event.body.get("named") else "It said what the next move is about."
                found.append(Extra(self.minute(event), "Hint", float(event.body["minutes"]), named))
        refused = [e for e in self.events if e.kind == "refused" and e.body["kind"] != "wait"]
        for (kind, key), times in Counter((e.body["kind"], e.body["move"]) for e in refused).items():
            if times >= OFTEN:
                event = next(e for e in reversed(refused) if (e.body["kind"], e.body["move"]) == (kind, key))
                why = f"Refused {times} times; the last time: {event.body['reason']}"
                found.append(Extra(self.minute(event), self._titled(kind, key), 0.0, why))
        return tuple(sorted(found, key=lambda e: (e.minute, e.title)))

    def _never_used(self, one: _Stood) -> bool:
        ended = bool(self.last.state.ended)
        return one.by_hand and not one.users and not one.demanded and (ended or one.shut < inf) and one.cost >= WHOLE

    def _unused(self, one: _Stood) -> Extra:
        access = self.fitted.access[one.key]
        why = "No check, repair, start or inspection that came after it needed it."
        return Extra(one.minute, f"{access.title}: {access.entry.word}", self._dear(one.opened, one.cost), why)

    def _timers(self) -> list[tuple[datetime, datetime]]:
        """Return the times that had to pass, as (from, until): of crossings, of cautions, of what was on its way."""
        found = []
        since: dict[str, datetime] = {}
        here = condition_now(self.intake)
        for event in self.events:
            time = parse_time(event.time)
            if event.kind == "access" and not event.body.get("of_itself") and event.body["state"] != "unknown":
                # What was found open counts from when it was seen.
                access = self.fitted.access[event.body["access"]]
                opening = event.body["state"] == "open"
                if opening and not event.body.get("walked"):
                    since[access.key] = time
                wait = max((access.open if opening else access.close).waits(here), float(event.body.get("wait", 0)))
                found.append((time, time + timedelta(minutes=wait)))
            elif event.kind == "caution":
                name, channel = split(event.body["caution"])
                caution = self.fitted.cautions.get(name)
                minutes = event.body.get("facts", {}).get(caution.wait) if caution and caution.wait else None
                if caution is None or not minutes:
                    continue
                begun = [t for k, t in since.items() if self._meant(self.fitted.access[k], caution.since, channel)]
                start = max(begun) if begun else time
                found.append((start, start + timedelta(minutes=float(minutes))))
        for coming in self.intake.coming:
            found.append((self.opened, self.opened + timedelta(minutes=coming.minutes)))
        return found

    @staticmethod
    def _meant(access: FitAccess, names: Collection[str], channel: str) -> bool:
        return access.name in names and (not channel or not access.channel or access.channel == channel)

    def _beyond(self, event: Event, timers: Sequence[tuple[datetime, datetime]]) -> float:
        """Return the minutes of a wait that no timer asked for."""
        until = parse_time(event.time)
        now = until - timedelta(minutes=float(event.body["minutes"]))
        begun = now
        over = timedelta()
        for start, end in sorted(timers):
            if end <= now or start >= until:
                continue
            over += max(timedelta(), start - now)
            now = min(max(now, end), until)
        over += max(timedelta(), until - now)
        return min(over, until - begun).total_seconds() / 60

    def _titled(self, kind: str, key: str) -> str:
        if kind in ("open", "close"):
            access = self.fitted.access[key]
            return f"{access.title}: {access.entry.word if kind == 'open' else 'put back'}"
        if kind == "inspect":
            return "Independent inspection"
        if kind == "end":
            return self._end(self.events[0], key).title
        return "Wait" if kind == "wait" else self.last.titled(key)

    # -- what it took ----------------------------------------------------------------------------------

    def _equivalent(self, left: Collection[str]) -> float:
        """Return the equivalent minutes spent in all; ``left``: the faults at the end."""
        spent = 0.0
        for event in self.events:
            body = event.body
            minutes = float(body.get("minutes", 0))
            if event.kind == "access":
                spent += self._labour(minutes, self.fitted.access[body["access"]].entry.people)
            elif event.kind == "inspected":
                spent += self._labour(minutes)
            elif event.kind == "waited":
                spent += minutes * self.waits_count
            elif event.kind == "hinted":
                spent += minutes
        spent += sum(made.cost for made in self.made if made.kind != "end")
        if (departs := self.intake.minutes_left) is not None:
            spent += self.weights.delay * max(0.0, self.last.elapsed - departs)
        return spent + self._end_cost(left)

    def _end_cost(self, left: Collection[str]) -> float:
        """Return what the way it ended counts for, in the truth."""
        w = self.weights
        if not self.last.state.ended or not self.made or self.made[-1].kind != "end":
            return 0.0
        key = self.made[-1].key
        if key == ESCALATE:
            return w.escalate
        if key == deferral.DEFER:
            return w.defer + w.missed * bool(self._elsewhere(left))
        if key in self.fitted.repairs:
            theirs = self._theirs(key)
            right = sum(1 for mode in left if mode in theirs)
            return w.hand_over + (w.missed if not right else 0.5 * w.missed * (len(left) > right))
        return w.hand_over * (key == WATCH) + w.missed * bool(left)

    def _theirs(self, repair: str) -> set[str]:
        """Return the fault modes, by instance name, that a hand-over is about."""
        fit = self.fitted.repair(repair)
        return {instance(s, self.fitted.zones[z].channel) for z, states in fit.clears.items() for s in states}

    def _elsewhere(self, left: Collection[str]) -> list[str]:
        """Return the faults that are not in the channel that was deferred."""
        channel = self.last.state.deferral.get("channel")
        return [m for m in left if self.fitted.zones[self.fitted.mode_zone[m]].channel != channel]

    # -- truth and verdict -----------------------------------------------------------------------------

    def _aircraft(self) -> Simulated:
        people = [p.name for p in self.scenario.case.people]
        scenario, seed = self.scenario, int(self.about["seed"])
        return Simulated(self.kit.model, scenario.truth, seed, scenario.answers, scenario.cannot, people)

    def _truth(self, aircraft: Simulated) -> tuple[str, ...]:
        return tuple(self._mode(mode) for mode in aircraft.faults())

    def _mode(self, mode: str) -> str:
        return self.fitted.zones[self.fitted.mode_zone[mode]].title_of(split(mode)[0])

    def _topics(self) -> tuple[str, ...]:
        """Return the parts that were at fault at the beginning, and what else the scenario is about."""
        parts = [
            self.fitted.zones[self.fitted.mode_zone[m]].modes[split(m)[0]].part for m in self.scenario.truth
        ]
        return tuple(dict.fromkeys([*parts, *self.scenario.topics]))

    def _found(self) -> tuple[str, ...]:
        closed = next((e for e in reversed(self.events) if e.kind == "closed"), None)
        modes = [f["mode"] for f in closed.body.get("found", ())] if closed is not None else []
        return tuple(dict.fromkeys(self._mode(m) for m in modes if split(m)[0] != HEALTHY))

    def _judged(self, left: Collection[str]) -> Judged:
        """Return whether it ended rightly, by the faults that are left; a deferral of what is sound is no wrong one."""
        if not self.last.state.ended or not self.made or self.made[-1].kind != "end":
            return "not ended"
        key = self.made[-1].key
        if key == ESCALATE:
            return "given up"
        if key == deferral.DEFER:
            return "deferred wrongly" if self._elsewhere(left) else "deferred rightly"
        if key in self.fitted.repairs:
            return "right" if left and set(left) <= self._theirs(key) else "handed to the wrong people"
        return "fault left" if left else "right"

    # -- suspicions ------------------------------------------------------------------------------------

    def _suspicions(self) -> tuple[Suspicion, ...]:
        titles = suspects(self.fitted)
        aircraft = self._aircraft()
        found = []
        # Between two answers nothing new is known: the last that was said counts, however often it was said.
        counts: dict[int, int] = {}
        answers = 0
        for event in self.events:
            answers += event.kind == "answered"
            if event.kind == "suspected":
                counts[answers] = event.seq
        for event in self.events:
            aircraft.replay([event])
            if event.kind != "suspected" or event.seq not in counts.values():
                continue
            suspect, sure = str(event.body["suspect"]), float(event.body["sure"])
            belief = at(self.kit, self.events, event.seq).belief
            supported = suspicion(self.fitted, belief)
            likeliest = max(supported, key=lambda s: (supported[s], s))
            misread: tuple[str, ...] = ()
            if supported.get(suspect, 0.0) < MISREAD * supported[likeliest]:
                misread = self._misread(belief, suspect, likeliest, titles)
            found.append(
                Suspicion(
                    minute=self.minute(event),
                    suspect=suspect,
                    title=titles.get(suspect, suspect),
                    sure=sure,
                    supported=supported.get(suspect, 0.0),
                    likeliest=likeliest,
                    likeliest_title=titles[likeliest],
                    likeliest_p=supported[likeliest],
                    true=suspect in self._at_fault(aircraft),
                    misread=misread,
                )
            )
        return tuple(found)

    def _at_fault(self, aircraft: Simulated) -> set[str]:
        zones = self.fitted.zones
        faulty = [(zones[z], s) for z, s in aircraft.truth.items() if s != HEALTHY]
        return {instance(zone.modes[s].part, zone.channel) for zone, s in faulty} or {NOTHING}

    def _states(self, belief: Belief, suspect: str) -> dict[str, str]:
        """Return the zone states that a suspect stands for: the likeliest fault of the part, or no fault at all."""
        if suspect == NOTHING:
            return dict.fromkeys(self.fitted.zones, HEALTHY)
        part, channel = split(suspect)
        own = [
            (float(p), key, state)
            for key, zone in self.fitted.zones.items()
            if zone.channel == channel
            for state, p in zip(zone.states, belief.zone(key), strict=True)
            if state != HEALTHY and zone.modes[state].part == part
        ]
        if not own:
            return {}
        _, key, state = max(own)
        return {key: state}

    def _misread(self, belief: Belief, suspect: str, likeliest: str, titles: Mapping[str, str]) -> tuple[str, ...]:
        """Return the answers that speak most against the suspect and for the likeliest, a sentence each."""
        own, other = self._states(belief, suspect), self._states(belief, likeliest)
        if not own or not other:
            return ()
        against, favours = belief.weights(own), belief.weights(other)
        apart = sorted(
            ((o[1] - s[1], s[1], o[1], i, s[0]) for i, (s, o) in enumerate(zip(against, favours, strict=True))),
            key=lambda row: (-round(row[0], 9), row[3]),
        )
        found = []
        for gap, mine, theirs, _, answer in apart[:ANSWERS]:
            if gap < SPEAKS:
                continue
            check = self.fitted.check(answer.check)
            title = check.title.rstrip("?.")
            said = check.said(answer.outcome)
            both = f"it {_speaks(mine, titles[suspect])} and {_speaks(theirs, titles[likeliest])}"
            found.append(f"“{title}”, “{said}”: {both}.")
        supported = suspicion(self.fitted, belief)
        odds = log2(max(supported[likeliest], 1e-12) / max(supported[suspect], 1e-12))
        if sum(row[0] for row in apart) < odds / 2:
            found.append(f"What was told at the start made {titles[likeliest]} likelier than {titles[suspect]} anyway.")
        return tuple(found)

    # -- safety, record, learning ----------------------------------------------------------------------

    def _safety(self) -> tuple[Stop, ...]:
        found = []
        for event in self.events:
            if event.kind != "stopped":
                continue
            dangers = event.body["dangers"]
            again = any(e.kind == "taken-again" for e in self.events if e.seq > event.seq)
            title = self._titled(event.body["kind"], event.body["move"])
            first, *more = dangers or [{"says": "", "harm": "", "rule": ""}]
            # One is enough to stop; the screen told them all.
            besides = f" It was unsafe for {len(more)} more reason{'s'[: len(more) > 1]}." if more else ""
            says = first["says"] + besides
            found.append(Stop(self.minute(event), title, says, first["harm"], first["rule"], again))
        return tuple(found)

    def _record(self) -> tuple[Line, ...]:
        return (*self._proofs(), *self._work(), *self._closed_up(), Line(
            "Approved-data references and revisions, tool numbers, signatures: blanks for people to fill, not judged.",
            True, judged=False,
        ))  # fmt: skip

    def _proofs(self) -> list[Line]:
        """Return what has to stand proven for the way it ended, or for going on."""
        state, fitted = self.last.state, self.fitted
        end = self.made[-1].key if state.ended and self.made and self.made[-1].kind == "end" else DONE
        if end == deferral.DEFER:
            others = ", ".join(c for c in fitted.channels if c != state.deferral.get("channel"))
            return [Line(f"The channel that is left ({others}) proven alone since the last work.", True)]
        worked = max((m.event.seq for m in self.made if m.kind in ("repair", "swap")), default=0)
        if end not in (DONE, WATCH):
            stands = set(self.last.verification) <= set(self.last.proven()) or self.last.state.passes > 0
            return [Line("What was repaired proven before it was handed on.", stands)] if worked else []
        last: dict[str, str | None] = {}
        for made in self.made:
            if made.kind == "check" and made.event.seq > worked:
                last[made.key] = made.event.body.get("outcome")
        since = "since the last work" if worked else "in this case"
        asked = [fitted.check(k) for k in self.last.verification]
        found = []
        for channel in (*fitted.channels, ""):
            own = [c for c in asked if c.channel == channel and not c.entry.starts]
            if own:
                passed = all(last.get(c.key) == c.outcomes[0] for c in own)
                found.append(Line(f"{f'Channel {channel}' if channel else 'The engine'} proven {since}.", passed))
        starts = [c for c in asked if c.entry.starts]
        if starts:
            channels = list(dict.fromkeys(c.channel for c in starts if c.channel))
            on = f" on each channel alone ({', '.join(channels)})" if channels else ""
            passed = all(last.get(c.key) == c.outcomes[0] for c in starts)
            found.append(Line(f"A start{on}, its time to light compared, {since}.", passed))
        return found

    def _work(self) -> list[Line]:
        """Return what is asked of each repair."""
        found = []
        before = 0
        for made in self.made:
            if made.kind not in ("repair", "swap"):
                continue
            seq = made.event.seq
            reason = any(before < e.seq < seq and e.kind in ("suspected", "noted") for e in self.events)
            found.append(Line(f"{made.title}: a prime suspect or a reason noted before it.", reason))
            repair = self.fitted.repairs.get(made.key)
            if made.kind == "repair" and repair is not None and repair.entry.parts > 0:
                part = made.event.body.get("part") or {}
                found.append(Line(f"{made.title}: part and serial numbers off and on told.",
                                  all(part.get(name) for name in _PART)))  # fmt: skip
                if repair.examines:
                    looks = {m.key for m in self.made if m.kind == "check" and before < m.event.seq < seq
                             and m.event.body.get("outcome")}  # fmt: skip
                    done = [k for k in repair.examines if k in looks]
                    ways = "; or ".join(f"“{self.fitted.check(k).title}”" for k in done or repair.examines)
                    found.append(Line(f"{made.title}: the part that came off examined before it went away ({ways}).",
                                      bool(done)))  # fmt: skip
            before = seq
        return found

    def _closed_up(self) -> list[Line]:
        state, fitted = self.last.state, self.fitted
        found = []
        if len(touched := self.last.touched()) > 1:
            channels = " and ".join(sorted(touched))
            found.append(Line(f"Channels {channels} both touched: inspected independently after it.",
                              not self.last.inspection_due()))  # fmt: skip
        if any(s.by_hand for s in self.stood):
            left = [fitted.access[k].title for k in state.open if fitted.access[k].entry.lasting]
            says = "Everything put back" if not left else f"Not put back: {'; '.join(left)}"
            found.append(Line(f"{says}.", not left))
        tools = [s for s in self.stood if s.key == TOOLS]
        if tools or any(TOOLS in fitted.needed([s.key]) for s in self.stood if s.by_hand and TOOLS in fitted.access):
            found.append(Line("Tools, caps and blanks listed before and counted after.",
                              bool(tools) and all(s.shut_by_hand for s in tools)))  # fmt: skip
        unsure = dict.fromkeys(m.key for m in self.made if m.kind == "check" and not m.event.body.get("outcome"))
        for key in unsure:
            later = [m for m in self.made if m.key == key and m.kind == "check"]
            told_since = bool(later[-1].event.body.get("outcome"))
            what = "could not be told, and was told later" if told_since else "could not be told"
            settled = told_since or key not in self.last.verification
            found.append(Line(f"{fitted.check(key).title.rstrip('?.')}: {what}.", settled))
        return found

    def _learning(self, right: bool) -> tuple[Learnt, ...]:
        points = self.scenario.points
        if not any(point.by for point in points):
            return tuple(Learnt(point.say, None) for point in points)
        rules = self.fitted.rules
        came = {made.key for made in self.made} | came_up(self.fitted, self.events, right)
        wanted = {name for point in points for name in point.by if teaches(self.fitted, name)} - came
        came |= self._at_steps({n for n in wanted if asks(rules[n], "about-to")})
        return tuple(Learnt(p.say, any(name in came for name in p.by) if p.by else None) for p in points)

    def _at_steps(self, names: Collection[str]) -> set[str]:
        """Return which of these rules about a step fired as one was made."""
        found: set[str] = set()
        if not names:
            return found
        answered = first_answer(self.events)
        for event in self.events:
            step = self._about(event)
            if step is None or event.seq < answered:
                continue
            about = case_facts.about_to(*step)
            if any(_may_match(self.fitted.rules[n], about) for n in names if n not in found):
                fired = at(self.kit, self.events, event.seq - 1).firings(about)
                found |= {f.rule for f in fired if f.rule in names}
        return found

    def _about(self, event: Event) -> tuple[str, str, tuple[str, ...]] | None:
        body, fitted = event.body, self.fitted
        if event.kind == "answered":
            return "check", body["check"], tuple(fitted.check(body["check"]).entry.tags)
        if event.kind == "repaired":
            return "repair", body["repair"], tuple(fitted.repair(body["repair"]).entry.tags)
        if event.kind == "access" and not body.get("of_itself") and not body.get("walked"):
            kind = "open" if body["state"] == "open" else "close"
            return kind, body["access"], tuple(fitted.access[body["access"]].entry.tags)
        return None



def teaches(fitted: Fitted, name: str) -> bool:
    """Return whether a name is that of a rule by which something is learnt; gates and stops teach nothing."""
    rule = fitted.rules.get(name)
    return rule is not None and rule.kind in TEACHES


def first_answer(events: Sequence[Event]) -> float:
    """Return the seq of the first answer that was asked for; infinite without any."""
    return next((e.seq for e in events if e.kind == "answered"), inf)


def came_up(fitted: Fitted, events: Sequence[Event], right: bool) -> set[str]:
    """Return by name what was met on a drill's trail: what was done, and what rules said from the first answer on.

    What they said of the opening by itself was met by whoever then came to the ``right`` end.
    """
    found: set[str] = set()
    answered = first_answer(events)
    for event in events:
        body = event.body
        if event.kind == "access" and body["state"] == "open" and not (body.get("walked") or body.get("of_itself")):
            found.add(body["access"])
        elif event.kind == "fired" and (right or event.seq > answered) and teaches(fitted, body["rule"]):
            found.add(body["rule"])
        elif event.kind == "accepted":
            found.add(body["move"])
        elif event.kind in ("answered", "repaired"):
            found.add(body["check"] if event.kind == "answered" else body["repair"])
    return found


def _may_match(rule: Rule, about: Sequence[Any]) -> bool:
    """Return whether what a rule asks of a step could be these facts, by what is written out in it."""

    def fits(pattern: Pattern) -> bool:
        if pattern.any:
            return any(fits(one) for one in pattern.any)
        if pattern.fact != "about-to":
            return True
        written = {k: v for k, v in pattern.where.items() if isinstance(v, str) and not v.startswith("$")}
        return any(all(f.get(k) == v for k, v in written.items()) for f in about)

    return all(fits(pattern) for pattern in rule.when)


def _speaks(bits: float, suspect: str) -> str:
    """Return what an answer says of a suspect."""
    if abs(bits) < SPEAKS:
        return f"says nothing about {suspect}"
    return f"speaks {explain.strength(bits)} {suspect}"


def sentence(title: str) -> str:
    """Return a title as it leads what is said of it."""
    return title if title.endswith((".", "?", "!")) else f"{title}:"


def _plain(value: Any) -> Any:
    """Return it as JSON has it: lists, figures to four places."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        rounded = round(value, 4)
        return rounded if rounded != 0 else 0.0
    return value


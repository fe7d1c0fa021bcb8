"""What the tool would do from here, unrolled over the answers: by playing a chase in memory, never the case itself.

:class:`Ahead` starts from any case's events, an untouched one or one in the middle of its work, and plays one move at
a time: what is crossed, asked and mended, and what may turn out. Nothing is planned here; each move is what the chase
itself offers there. :func:`plan` follows the most probable branches some moves deep; a plan on paper
(:mod:`isolate.case.sheet`) chooses for itself.
"""

from __future__ import annotations

import copy
import heapq
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from typing import Any, Literal

from isolate.case.case import BadIntake, Intake, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.now import condition_now
from isolate.case.play import Clock
from isolate.case.steps import Ask, CautionShown, Confirm, Cross, Held, Here, Mend, Offer, Report, Wait, Walk
from isolate.kb.fit import split
from isolate.kb.model import Ask as Fact

SUSPECT = 0.05
"""A suspect named where a branch stops has at least this probability."""
MOST_STEPS = 400
"""A move that takes more steps than this goes in circles."""
DEEPEST = 6
"""Moves that a plan is followed ahead, at most."""
MOST_MOVES = 200
"""Moves that a plan shows, at most; the improbable ones are cut."""
RARE = 0.02
"""Branches that fewer than one case in fifty comes to are gathered. Our judgement."""
NOT_ALL = "Not all of the verification can be done here: whoever may finish it does"

DoingKind = Literal["open", "close", "check", "look", "repair", "held"]
LeadKind = Literal["move", "close-up", "hand-over", "end", "held"]
WayKind = Literal["answer", "untold", "passed", "failed", "done", "held", "nothing"]


@dataclass(frozen=True)
class Doing:
    """One thing done within a move, in its turn. ``key``: an access, check or repair instance; ``says``: its title.

    ``look``: a check on the part as it comes off. ``held``: it may not be done then, and ``says`` is why.
    """

    kind: DoingKind
    key: str
    says: str


@dataclass(frozen=True)
class Suspect:
    title: str
    probability: float


@dataclass(frozen=True)
class Point:
    """A chase somewhere on its way, to be taken up again."""

    events: tuple[Event, ...]
    time: datetime


@dataclass(frozen=True)
class Lead:
    """Where a way leads.

    ``move``: the tool goes on with ``key`` from ``point``. ``close-up``: verified, close up. ``hand-over``: the repair
    entry ``key`` says to whom. ``end``: any other end that the tool would offer. ``held``: what was begun may not go
    on. ``does``: the kind of the move, or of the end. ``expected``: equivalent minutes from here to the end, where a
    move is offered. ``closing``: minutes by the book to shut what is open. ``remaining``: the probability that some
    fault is left.
    """

    kind: LeadKind
    does: str = ""
    key: str = ""
    title: str = ""
    suspects: tuple[Suspect, ...] = ()
    expected: float | None = None
    closing: float = 0.0
    remaining: float = 0.0
    point: Point | None = field(default=None, repr=False)


class Way:
    """What may turn out: in plain words, how probable at this move, and where it leads.

    ``untold``: could not tell, which is no answer and has no probability. ``about``: the check of the verification
    that failed. ``minutes``: of the move, by the book, as far as it comes on this way.
    """

    def __init__(
        self,
        kind: WayKind,
        says: str,
        probability: float,
        minutes: float,
        lead: Callable[[], Lead],
        outcome: str = "",
        about: str = "",
    ) -> None:
        self.kind, self.says, self.probability, self.minutes = kind, says, probability, minutes
        self.outcome, self.about = outcome, about
        self._find: Callable[[], Lead] | None = lead
        self._lead: Lead | None = None

    def lead(self) -> Lead:
        """Return where it leads. It is played when it is first asked for, since that takes planning."""
        if self._lead is None:
            assert self._find is not None
            # What it was found with is large, and has done its work.
            self._lead, self._find = self._find(), None
        return self._lead


@dataclass(frozen=True)
class Node:
    """One move of the tool's. ``doing``: its crossings, and the checks and repairs themselves, in order.

    ``in_hand``: it had been taken up before. ``expected``: equivalent minutes from its beginning to the end; None for
    one in hand that would not be offered any more. ``minutes``: of the move with its crossings and waits, by the book.
    ``past``: moves that would be offered first but turn out to be held, as (title, why).
    """

    kind: str
    key: str
    title: str
    purpose: str
    in_hand: bool
    expected: float | None
    doing: tuple[Doing, ...]
    ways: tuple[Way, ...]
    minutes: float
    past: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class _Head:
    """The move that is being played."""

    kind: str
    key: str
    title: str
    purpose: str = ""
    expected: float | None = None
    in_hand: bool = False


class _HeldUp(Exception):
    def __init__(self, head: _Head, reason: str) -> None:
        super().__init__(head.key)
        self.head, self.reason = head, reason


class Ahead:
    """Plays on from a case's events on a copy of them, by a clock of its own; the events are left alone.

    ``now``: what time it is, at least that of the last event. Whatever has to be looked at or told before the case
    goes on is taken to be as it was: ``walked`` has those things as (access, or nothing for a loose thing; title;
    word), ``same_people`` says whether the people were taken to be the same. ``timers``: what runs at the start, as
    (title, minutes left), which no minutes by the book count. Raises Refused for a case without a
    beginning, and for one that has ended.
    """

    def __init__(self, kit: Kit, events: Sequence[Event], now: datetime) -> None:
        self.kit, self.fitted = kit, kit.fitted
        self.case = events[0].case if events else ""
        self.warned: dict[tuple[DoingKind, str], dict[str, None]] = {}
        """Cautions that came up before a step, by its kind and entry name, in all that was played so far."""
        start = Point(tuple(events), max(now, parse_time(events[-1].time)) if events else now)
        chase, log, clock = self._at(start)
        if chase.state.ended:
            raise Refused(f"case {self.case} has ended ({chase.state.ended}): nothing is ahead of it")
        walked: list[tuple[str, str, str]] = []
        self.same_people = False
        while isinstance(step := chase.now(), Walk | Here):
            if isinstance(step, Here):
                self.same_people = True
                chase.tell(people=[{"name": p.name, "may": list(p.may)} for p in chase.intake.people])
            else:
                walked.append((step.access, step.title, step.word))
                chase.walked(True, {ask.name: _some(ask) for ask in step.asks})
        self.walked = tuple(walked)
        self.timers = tuple((title, (until - clock()).total_seconds() / 60) for title, until in chase.waits_running())
        self.start = Point(log.events(self.case), clock.time)

    @classmethod
    def begin(cls, kit: Kit, case: str, intake: Intake) -> Ahead:
        """Return what is ahead of a case that is opened like this. Raises Refused for an intake that does not fit."""
        log, clock = Memory(), Clock()
        Chase.begin(kit, log, case, intake, clock)
        return cls(kit, log.events(case), clock.time)

    def node(self, point: Point | None = None) -> Node:
        """Play the tool's next move from a point (else from the start), with its ways; one held is gone round.

        Raises Refused where the moves go in circles, and where something has to be put right before any move is
        offered but may not be done now.
        """
        point = point or self.start
        past: list[tuple[str, str]] = []
        for _ in range(MOST_STEPS):
            chase, log, clock = self._at(point)
            try:
                return self._played(chase, log, clock, past)
            except _HeldUp as held:
                past.append((held.head.title, held.reason))
                chase, log, clock = self._at(point)
                while chase.state.move is None and not isinstance(chase.now(), Offer):
                    self._step(chase, clock, [], [])
                chase.decline(held.reason, None if held.head.in_hand else held.head.key)
                point = Point(log.events(self.case), clock.time)
        raise Refused("the plan goes in circles")

    # -- playing ---------------------------------------------------------------------------------------

    def _at(self, point: Point) -> tuple[Chase, Memory, Clock]:
        log, clock = Memory(point.events), Clock(point.time)
        return Chase(self.kit, log, self.case, clock), log, clock

    def _played(self, chase: Chase, log: Memory, clock: Clock, past: Sequence[tuple[str, str]]) -> Node:
        doing: list[Doing] = []
        pending: list[str] = []
        failing: list[Way] = []
        passed = 1.0
        before = chase.state.book_minutes
        head = self._in_hand(chase)

        def node(ways: Iterable[Way], minutes: float) -> Node:
            assert head is not None
            return Node(
                head.kind, head.key, head.title, head.purpose, head.in_hand, head.expected,
                tuple(doing), tuple(ways), minutes, tuple(past),
            )  # fmt: skip

        for _ in range(MOST_STEPS):
            step = chase.now()
            spent = chase.state.book_minutes - before
            if head is not None and head.kind == "close":
                return node([Way("nothing", "", 1.0, 0.0, partial(self._leads, chase, log, clock))], 0.0)
            if isinstance(step, Offer) and step.kind == "end" and head is None:
                head = _headed(step)
                return node([Way("nothing", "", 1.0, 0.0, partial(self._leads, chase, log, clock))], 0.0)
            if isinstance(step, Offer) and (head is None or self._proves(head, doing, step)):
                head = head or _headed(step)
                chase.accept()
                continue
            if isinstance(step, Held):
                reason = "; ".join(step.reasons)
                if head is None:
                    raise Refused(
                        f"no move is offered before this is done, and it is held back: {step.title}: {reason}"
                    )
                if any(d.kind == "repair" for d in doing):
                    doing.append(Doing("held", step.key, reason))
                    return node([Way("held", reason, 1.0, spent, partial(self._stuck, chase, step))], spent)
                raise _HeldUp(head, reason)
            if isinstance(step, Ask) and step.within == "check":
                assert head is not None
                self._note(doing, "check", step.key, [*pending, *_names(step.cautions)])
                minutes = spent + step.minutes
                return node(self._ways(chase, log, clock, step, minutes), minutes)
            if head is not None and (isinstance(step, Offer) or _closing(chase)):
                return node(self._after(chase, log, clock, doing, passed, failing, spent), spent)
            if isinstance(step, Ask) and step.within == "verify":
                failing += self._fails(chase, log, clock, step, passed, spent + step.minutes)
                passed *= float(chase.belief.predicted(step.key, *chase.setting)[0])
            self._step(chase, clock, doing, pending)
        raise Refused("the plan goes in circles")

    @staticmethod
    def _in_hand(chase: Chase) -> _Head | None:
        """Return the move that was taken up before, None where none is in hand."""
        move = chase.state.move
        if move is None:
            return None
        title = chase.title_of(move.kind, move.key)
        if move.kind == "close":
            return _Head("close", move.key, title, in_hand=True)
        valued = next((m for m in chase.ranked().moves if (m.kind, m.name) == (move.kind, move.key)), None)
        if valued is None:
            return _Head(move.kind, move.key, title, in_hand=True)
        return _headed(chase.offer(valued), in_hand=True)

    @staticmethod
    def _proves(head: _Head, doing: Sequence[Doing], step: Offer) -> bool:
        """Whether a step is the verification right behind the repair in hand: both are one move here."""
        mended = any(d.kind == "repair" for d in doing)
        return head.kind == "repair" and mended and step.kind == "verify" and doing[-1].kind in ("repair", "look")

    def _step(self, chase: Chase, clock: Clock, doing: list[Doing], pending: list[str]) -> None:
        """Do one step that has no branches, and write down what it was."""
        step = chase.now()
        if isinstance(step, Confirm):
            pending.append(step.caution.name)
            chase.confirm({ask.name: _some(ask) for ask in step.caution.asks})
        elif isinstance(step, Wait):
            clock.pass_minutes((step.until - clock()).total_seconds() / 60)
            if not isinstance(chase.now(), Wait):
                chase.waited()
        elif isinstance(step, Cross):
            self._note(doing, "open" if step.opening else "close", step.access, [*pending, *_names(step.cautions)])
            pending.clear()
            clock.pass_minutes(step.minutes)
            chase.crossed()
        elif isinstance(step, Ask):
            verifying = step.within == "verify"
            names = [*pending, *_names(step.cautions)]
            self._note(doing, "check" if verifying else "look", step.key, names)
            pending.clear()
            clock.pass_minutes(step.minutes)
            # A look at the part taken off is for the record; no branch hangs on it.
            chase.answer(step.outcomes[0][0] if verifying else None)
        elif isinstance(step, Mend):
            self._note(doing, "repair", step.key, [*pending, *_names(step.cautions)])
            pending.clear()
            clock.pass_minutes(step.minutes)
            chase.mended()
        elif isinstance(step, Report):
            chase.report({ask.name: _some(ask) for ask in step.asks})
        else:
            raise AssertionError(f"nothing is to be done at {step.title!r}")

    def _note(self, doing: list[Doing], kind: DoingKind, key: str, cautions: Iterable[str]) -> None:
        fitted = self.fitted
        fit = fitted.access[key] if kind in ("open", "close") else fitted.checks.get(key) or fitted.repairs[key]
        doing.append(Doing(kind, key, fit.title))
        self.warned.setdefault((kind, split(key)[0]), {}).update(dict.fromkeys(cautions))

    def _ways(self, chase: Chase, log: Memory, clock: Clock, step: Ask, minutes: float) -> list[Way]:
        """Return the ways of a check, in the order of its outcomes, could-not-tell last."""
        chances = chase.belief.predicted(step.key, *chase.setting)
        total = float(chances.sum())
        ways = [
            Way(
                "answer",
                said,
                float(chance) / total,
                minutes,
                self._answered(chase, log, clock, step, outcome),
                outcome,
            )
            for (outcome, said, _), chance in zip(step.outcomes, chances, strict=True)
        ]
        ways.append(Way("untold", "", 0.0, minutes, self._answered(chase, log, clock, step, None)))
        return ways

    def _fails(self, chase: Chase, log: Memory, clock: Clock, step: Ask, passed: float, minutes: float) -> list[Way]:
        """Return the ways in which a check of the verification does not pass; ``passed``: that it comes to it."""
        chances = chase.belief.predicted(step.key, *chase.setting)
        return [
            Way(
                "failed", f"{step.title}: {said}", passed * float(chance), minutes,
                self._answered(chase, log, clock, step, outcome), outcome, step.key,
            )
            for (outcome, said, _), chance in list(zip(step.outcomes, chances, strict=True))[1:]
        ]  # fmt: skip

    def _answered(self, chase: Chase, log: Memory, clock: Clock, step: Ask, outcome: str | None) -> Callable[[], Lead]:
        """Return what finds where an answer leads; the chase itself may go on meanwhile."""
        events = log.events(self.case)
        # What was worked out for this moment holds for the copy as well; what will be written does not.
        had = copy.copy(chase)
        at = clock.time

        def found() -> Lead:
            had.log = ahead = Memory(events)
            had.state, had.news, had.clock = fold(events), [], (later := Clock(at))
            later.pass_minutes(step.minutes)
            had.answer(outcome)
            return self._leads(had, ahead, later)

        return found

    def _after(
        self,
        chase: Chase,
        log: Memory,
        clock: Clock,
        doing: Sequence[Doing],
        passed: float,
        failing: Sequence[Way],
        minutes: float,
    ) -> list[Way]:
        """Return the ways of a repair or a verification that has been played with every check passed."""
        if not any(d.kind == "check" for d in doing):
            return [Way("done", "", 1.0, minutes, partial(self._leads, chase, log, clock))]
        return [Way("passed", "", passed, minutes, partial(self._leads, chase, log, clock)), *failing]

    def _leads(self, chase: Chase, log: Memory, clock: Clock) -> Lead:
        """Return where a chase stands that has just been answered, or that has nothing to be done first."""
        while True:
            closing, left = self._to_close(chase), chase.remaining
            if _closing(chase):
                ending = chase.state.ending
                if chase.state.verified == "passed" and ending is None:
                    return Lead("close-up", closing=closing, remaining=left)
                if ending is None or ending.key == "verification-outstanding":
                    return Lead("end", "end", title=NOT_ALL, closing=closing, remaining=left)
                kind: LeadKind = "hand-over" if ending.key in self.fitted.repairs else "end"
                title = chase.title_of("end", ending.key)
                return Lead(kind, "end", ending.key, title, closing=closing, remaining=left)
            if chase.state.move is not None:
                raise AssertionError("a move is in hand that was answered")
            first = chase.ranked().moves[0]
            if first.kind != "verify" or len(chase.proven()) < len(chase.verification):
                break
            if not isinstance(chase.now(), Offer):
                break
            # Every part of it stands as passed: nothing is left to do but to say so.
            chase.accept()
        title = chase.title_of(first.kind, first.name)
        zones = self.fitted.zones
        likely = tuple(
            Suspect(zones[m.zone].title_of(m.state), m.probability) for m in chase.belief.faults(SUSPECT)[:2]
        )
        if first.kind == "end":
            kind = "hand-over" if first.name in self.fitted.repairs else "end"
            return Lead(kind, "end", first.name, title, likely, first.expected, closing, left)
        point = Point(log.events(self.case), clock.time)
        return Lead("move", first.kind, first.name, title, likely, first.expected, closing, left, point)

    @staticmethod
    def _stuck(chase: Chase, step: Held) -> Lead:
        return Lead("held", key=step.key, title=step.title, remaining=chase.remaining)

    def _to_close(self, chase: Chase) -> float:
        """Return the minutes by the book that it takes to shut what is open."""
        poser = self.kit.poser(chase.intake.place, condition_now(chase.intake))
        _, _, shutting = poser.crossings.close_all(poser.mask(chase.state.open))
        shut = [self.fitted.access[poser.access[c.access]] for c in shutting]
        # What ends of itself takes nobody's time.
        return sum((a.close.minutes + a.close.waits(condition_now(chase.intake)) for a in shut if a.entry.lasting), 0.0)


def _headed(offer: Offer, in_hand: bool = False) -> _Head:
    return _Head(offer.kind, offer.key, offer.title, offer.purpose, offer.expected, in_hand)


def _closing(chase: Chase) -> bool:
    """Whether nothing is left but to close up."""
    return bool(chase.state.ended) or (chase.state.move is not None and chase.state.move.kind == "close")


def _names(cautions: Iterable[CautionShown]) -> list[str]:
    return [c.name for c in cautions]


def _some(ask: Fact) -> str | float:
    """Return a fact that is taken, so that the plan behind a caution can be seen; it goes nowhere."""
    if ask.kind in ("minutes", "count"):
        return max(1.0, ask.least or 0.0)
    return "00:00" if ask.kind == "time" else "____"


# -- some moves deep -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Said:
    """One thing that may turn out, as it stands in a plan; see :class:`Way`."""

    kind: WayKind
    says: str
    outcome: str = ""
    about: str = ""


@dataclass(frozen=True)
class Leg:
    """A branch: what turned out (several where they lead on alike), and what follows.

    ``probability``: at this move. ``reach``: that a case comes this far. ``minutes``: by the book, from the start of
    the plan. ``step``: the next move, where the plan goes that far. ``left_out``: it would, but for its length.
    """

    said: tuple[Said, ...]
    probability: float
    reach: float
    minutes: float
    lead: Lead
    step: PlanStep | None = None
    left_out: bool = False


@dataclass(frozen=True)
class PlanStep:
    """A move of a plan. ``rare`` and ``rare_share``: how many branches are not shown, and their probability overall."""

    node: Node
    reach: float
    legs: tuple[Leg, ...]
    rare: int
    rare_share: float


@dataclass(frozen=True)
class Plan:
    """The plan from where a case stands. ``covered``: the share of cases that it follows to its depth or to an end.

    ``moves``: how many it has. ``cut``: whether it would have more than ``most``. ``walked``, ``same_people`` and
    ``timers`` are those of :class:`Ahead`.
    """

    depth: int
    root: PlanStep
    moves: int
    covered: float
    cut: bool
    most: int
    rare: float
    walked: tuple[tuple[str, str, str], ...]
    same_people: bool
    timers: tuple[tuple[str, float], ...]


@dataclass
class _Grown:
    node: Node
    reach: float
    minutes: float
    depth: int
    after: dict[int, _Grown] = field(default_factory=dict)


def plan(
    ahead: Ahead, depth: int, most: int = MOST_MOVES, rare: float = RARE, heard: Callable[[int], None] | None = None
) -> Plan:
    """Return the plan ``depth`` moves deep, the most probable branches first while they are no more than ``most``.

    Branches rarer than ``rare`` are gathered. What could not be told has no probability, and is left out. ``heard``
    is called with the moves worked out so far. Raises Refused for a depth that is not from 1 to :data:`DEEPEST`.
    """
    checked_depth(depth)
    root = _Grown(ahead.node(), 1.0, 0.0, 1)
    todo: list[tuple[float, int, int, _Grown]] = []
    order, moves = 0, 1

    def open_up(grown: _Grown) -> None:
        nonlocal order
        for i, way in enumerate(grown.node.ways):
            reach = grown.reach * way.probability
            if grown.depth < depth and not _is_rare(reach, rare) and way.kind != "untold":
                order += 1
                heapq.heappush(todo, (-round(reach, 12), order, i, grown))

    open_up(root)
    while todo and moves < most:
        _, _, i, grown = heapq.heappop(todo)
        way = grown.node.ways[i]
        lead = way.lead()
        if lead.point is not None:
            reach = grown.reach * way.probability
            next_ = _Grown(ahead.node(lead.point), reach, grown.minutes + way.minutes, grown.depth + 1)
            grown.after[i] = next_
            moves += 1
            if heard is not None:
                heard(moves)
            open_up(next_)
    step, covered, cut = _stepped(root, depth, rare)
    return Plan(depth, step, moves, covered, cut, most, rare, ahead.walked, ahead.same_people, ahead.timers)


def of_case(
    kits: Callable[[str], Kit],
    events: Sequence[Event],
    now: datetime,
    depth: int,
    heard: Callable[[int], None] | None = None,
) -> Plan | None:
    """Return the plan from where a case stands, None for one that has ended; see :func:`plan`.

    ``kits``: engine name → kit. Raises BadIntake for a case without a beginning, UnknownName, Refused.
    """
    checked_depth(depth)
    state = fold(events)
    if state.intake is None:
        raise BadIntake("the case does not begin with its opening")
    return None if state.ended else plan(Ahead(kits(state.intake.engine), events, now), depth, heard=heard)


def checked_depth(depth: int) -> int:
    """Return a depth that a plan may have. Raises Refused."""
    if not 1 <= depth <= DEEPEST:
        raise Refused(f"a plan is from 1 to {DEEPEST} moves deep, not {depth}")
    return depth


def _is_rare(reach: float, rare: float) -> bool:
    # Rounded, so that one in fifty is not gathered for the last bit of a float.
    return round(reach, 12) < rare


def _stepped(grown: _Grown, depth: int, rare: float) -> tuple[PlanStep, float, bool]:
    """Return a move with what follows, the share of cases followed to the depth or an end, and whether any is cut."""
    legs: list[Leg] = []
    few, share, covered, cut = 0, 0.0, 0.0, False
    for i, way in enumerate(grown.node.ways):
        reach = grown.reach * way.probability
        if way.kind == "untold":
            continue
        if _is_rare(reach, rare):
            few, share = few + 1, share + reach
            continue
        lead, after = way.lead(), grown.after.get(i)
        step = None
        left_out = after is None and lead.point is not None and grown.depth < depth
        if after is not None:
            step, follows, shortened = _stepped(after, depth, rare)
            covered, cut = covered + follows, cut or shortened
        elif left_out:
            cut = True
        else:
            covered += reach
        said = (Said(way.kind, way.says, way.outcome, way.about),)
        legs.append(Leg(said, way.probability, reach, grown.minutes + way.minutes, lead, step, left_out))
    # The ways not asked for hold on to the chases that they would be played with.
    return PlanStep(replace(grown.node, ways=()), grown.reach, _sorted(legs), few, share), covered, cut


def together(step: PlanStep) -> PlanStep:
    """Return a plan in which branches that lead on alike, as far as it goes, are one.

    Alike: the same moves with the same doings, the same answers shown, and the same ends, after the same minutes.
    Probabilities of the whole are those of its parts weighed by how often they come about; so are the minutes
    expected.
    """
    legs: dict[Any, list[Leg]] = {}
    for leg in step.legs:
        joined = leg if leg.step is None else replace(leg, step=together(leg.step))
        legs.setdefault(_alike(joined), []).append(joined)
    return replace(step, legs=_sorted(_one(several) for several in legs.values()))


def _sorted(legs: Iterable[Leg]) -> tuple[Leg, ...]:
    """Return branches, the most probable first."""
    return tuple(sorted(legs, key=lambda leg: -round(leg.reach, 9)))


def _alike(leg: Leg) -> Any:
    """Return what two branches that go on alike have in common."""
    lead, step = leg.lead, leg.step
    there = (round(leg.minutes, 6), lead.kind, lead.does, lead.key, lead.title, round(lead.closing, 6), leg.left_out)
    if step is None:
        return there
    node = step.node
    # A branch gathered here and shown there has no fellow: how many are gathered counts as well.
    after = frozenset((frozenset(leg.said), _alike(leg)) for leg in step.legs)
    return (there, node.kind, node.key, node.doing, node.past, step.rare, after)


def _one(legs: Sequence[Leg]) -> Leg:
    """Return branches that go on alike as one."""
    if len(legs) == 1:
        return legs[0]
    first, weights = legs[0], [leg.reach for leg in legs]
    steps = [leg.step for leg in legs if leg.step is not None]
    return Leg(
        said=tuple(said for leg in legs for said in leg.said),
        probability=sum(leg.probability for leg in legs),
        reach=sum(weights),
        minutes=first.minutes,
        # The suspects differ, and there is no one point that it goes on from.
        lead=replace(
            first.lead,
            suspects=(),
            point=None,
            expected=_mean(weights, [leg.lead.expected for leg in legs]),
            remaining=_mean(weights, [leg.lead.remaining for leg in legs]) or 0.0,
        ),
        step=_one_step(steps, weights) if steps else None,
        left_out=first.left_out,
    )


def _one_step(steps: Sequence[PlanStep], weights: Sequence[float]) -> PlanStep:
    """Return the same move made after several branches as one."""
    fellows: dict[frozenset[Said], list[tuple[float, Leg]]] = {}
    for weight, step in zip(weights, steps, strict=True):
        for leg in step.legs:
            fellows.setdefault(frozenset(leg.said), []).append((weight, leg))
    legs = []
    for several in fellows.values():
        one = _one([leg for _, leg in several])
        probability = sum(weight * leg.probability for weight, leg in several) / sum(weights)
        legs.append(replace(one, said=several[0][1].said, probability=probability))
    return PlanStep(
        node=replace(steps[0].node, expected=_mean(weights, [step.node.expected for step in steps])),
        reach=sum(step.reach for step in steps),
        legs=_sorted(legs),
        rare=steps[0].rare,
        rare_share=sum(step.rare_share for step in steps),
    )


def _mean(weights: Sequence[float], values: Sequence[float | None]) -> float | None:
    """Return the weighed mean; None where a value is not known."""
    known = [v for v in values if v is not None]
    if len(known) < len(values):
        return None
    return sum(w * v for w, v in zip(weights, known, strict=True)) / sum(weights)


# -- as JSON ---------------------------------------------------------------------------------------


def as_dict(shown: Plan) -> dict[str, Any]:
    """Return a plan as a JSON object, each answer by itself. Minutes by the book, ``expected`` equivalent minutes."""
    return {
        "depth": shown.depth,
        "moves": shown.moves,
        "covered": round(shown.covered, 6),
        "cut": shown.cut,
        "gathered_below": shown.rare,
        "taken_as_left": [title for _, title, _ in shown.walked],
        "people_taken_as_before": shown.same_people,
        "timers": [{"title": title, "minutes_left": round(left, 2)} for title, left in shown.timers],
        "next": _step_dict(shown.root, 0.0),
    }


def _step_dict(step: PlanStep, begun: float) -> dict[str, Any]:
    node = step.node
    return {
        "move": node.key,
        "kind": node.kind,
        "title": node.title,
        "in_hand": node.in_hand,
        "reach": round(step.reach, 6),
        "minutes": round(node.minutes, 2),
        "minutes_before": round(begun, 2),
        "expected": None if node.expected is None else round(node.expected, 2),
        "opens": [d.key for d in node.doing if d.kind == "open"],
        "shuts": [d.key for d in node.doing if d.kind == "close"],
        "does": [{"kind": d.kind, "key": d.key} for d in node.doing if d.kind not in ("open", "close", "held")],
        "held_before": [{"title": title, "why": why} for title, why in node.past],
        "branches": [_leg_dict(leg) for leg in step.legs],
        "rarer": {"branches": step.rare, "reach": round(step.rare_share, 6)},
    }


def _leg_dict(leg: Leg) -> dict[str, Any]:
    said, lead = leg.said[0], leg.lead
    ends = lead.kind in ("close-up", "hand-over", "end")
    found: dict[str, Any] = {
        "turns_out": said.kind,
        "says": said.says,
        **({"check": said.about} if said.about else {}),
        **({"outcome": said.outcome} if said.outcome else {}),
        "probability": round(leg.probability, 6),
        "reach": round(leg.reach, 6),
        "minutes_so_far": round(leg.minutes, 2),
        "leads": lead.kind if ends or lead.kind == "held" else "next" if leg.step is not None else "goes on",
        "move": lead.key,
        "title": lead.title,
        "expected": None if lead.expected is None else round(lead.expected, 2),
        "minutes_to_close_up": round(lead.closing, 2),
        "fault_left": round(lead.remaining, 6),
        "suspects": [[s.title, round(s.probability, 4)] for s in lead.suspects],
    }
    if leg.step is not None:
        found["next"] = _step_dict(leg.step, leg.minutes)
    return found

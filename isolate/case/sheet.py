"""The plan on paper, for the day the laptop is flat: what the tool would do next, unrolled over the answers.

Each box of a sheet is the tool's own next move after the answers that lead to it, found by playing a chase in memory
that far; nothing is planned here. Boxes are added most probable first for as long as the caller says that they fit.
Where the sheet ends before the work does, a branch says so: go on with the tool, or escalate.
"""

from __future__ import annotations

import copy
import heapq
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

from isolate.case.case import Intake, Person, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event
from isolate.case.facts import authorities, tools
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Ask, CautionShown, Confirm, Cross, Held, Mend, Offer, Report, Wait, Walk
from isolate.kb.fit import FitCheck, FitRepair, Fitted, UnknownName, near, split, worded
from isolate.kb.model import Ask as Fact
from isolate.kb.model import Condition, Place

GATHERED = 0.04
"""Answers less probable than this, where they are asked for, are gathered under "anything else"."""
UNLIKELY = 0.005
"""No box is drawn that fewer than one case in two hundred would come to."""
MISSES = 5
"""So many boxes in turn that do not fit, and the sheet is full."""
UNTOLD = {"history": 0.2}
"""For choosing boxes only: the share of cases taken not to know an answer, by kind of check; papers and people often
do not. Our judgement."""
UNTOLD_ELSE = 0.05
"""The same for every other kind."""
SUSPECT = 0.05
"""A suspect named where the sheet ends has at least this probability."""
MOST_STEPS = 400
"""A move that takes more steps than this goes in circles."""

DoingKind = Literal["open", "close", "check", "look", "repair", "held"]
ToKind = Literal["box", "close-up", "hand-over", "end", "stop"]


@dataclass(frozen=True)
class Doing:
    """One thing done within a box, in its turn. ``key``: an access, check or repair instance; ``says``: its title.

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
class To:
    """Where a branch leads.

    ``box``: to the box of this number. ``close-up``: verified, close up. ``hand-over``: the repair entry of this key
    says to whom. ``end``: any other end that the tool would offer. ``stop``: the sheet ends here, though the tool
    would go on with ``title``.
    """

    kind: ToKind
    number: int = 0
    key: str = ""
    title: str = ""
    suspects: tuple[Suspect, ...] = ()


@dataclass(frozen=True)
class Branch:
    """Answers in plain words (several where they are gathered), how probable at this box, and where they lead.

    ``untold``: could not tell, which is no answer and has no probability.
    """

    says: tuple[str, ...]
    probability: float
    to: To
    gathered: bool = False
    untold: bool = False


@dataclass(frozen=True)
class Box:
    """One move. ``doing``: its crossings, and the checks and repairs themselves, in order.

    ``weight``: what it was chosen by: the probability of the answers that lead here, with could-not-tell counted in.
    ``minutes``: of the move with its crossings and waits.
    """

    number: int
    kind: str
    key: str
    title: str
    purpose: str
    doing: tuple[Doing, ...]
    branches: tuple[Branch, ...]
    weight: float
    minutes: float


@dataclass(frozen=True)
class Warned:
    """A caution as it is printed before a step: its text and the facts to write down."""

    name: str
    title: str
    text: str
    level: str
    prompts: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """How a step is done, for all channels at once: what is warned of, done, looked at, not done, written down.

    ``ref``: ``P3`` prepares, ``C3`` closes the same thing, ``H2`` is how a check or a repair is done, ``X1`` hands
    over; none for a card told in its box. ``first``: what is looked at as a part comes off. ``word``: how an opened
    thing is called. ``wait``: minutes by the knowledge's figure, not printed: the time is the approved data's.
    """

    ref: str
    kind: DoingKind
    name: str
    title: str
    warned: tuple[Warned, ...]
    do: tuple[str, ...]
    first: tuple[str, ...] = ()
    word: str = ""
    looks: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    note: str = ""
    wait: float = 0.0


@dataclass(frozen=True)
class Proof:
    """A check of the verification: its instance, its title, and the words in which it passes."""

    key: str
    title: str
    passes: str


@dataclass(frozen=True)
class Sheet:
    """All that is printed.

    ``inline``: checks and repairs told in their box, since nothing else uses them. ``full``: whether room ended the
    sheet; else every branch of at least ``unlikely`` was drawn.
    """

    engine: str
    complaint: str
    channel: str
    place: str
    condition: str
    people: int
    authorities: tuple[str, ...]
    tools: tuple[str, ...]
    found: tuple[str, ...]
    boxes: tuple[Box, ...]
    openings: tuple[Card, ...]
    hows: tuple[Card, ...]
    inline: Mapping[str, Card]
    hand_overs: tuple[Card, ...]
    closings: tuple[Card, ...]
    proofs: tuple[Proof, ...]
    unproven: tuple[Warned, ...]
    """What is warned of before those parts of the verification that no card tells, since no box leads to them."""
    share: float
    unlikely: float
    digest: str
    on: date
    full: bool

    def card(self, kind: DoingKind, key: str) -> Card:
        """Return the card of something done. Raises KeyError."""
        name = split(key)[0]
        if key in self.inline and kind in ("check", "repair"):
            return self.inline[key]
        for card in (*self.openings, *self.closings, *self.hows, *self.hand_overs):
            if (card.kind, card.name) == (kind, name):
                return card
        raise KeyError(key)


def sheet(
    kit: Kit,
    complaint: str,
    fits: Callable[[Sheet], bool],
    on: date,
    channel: str = "",
    place: Place = "gate",
    condition: Condition = "steady",
    share: float = GATHERED,
) -> Sheet:
    """Return the sheet for one complaint on one engine; the same input gives the same sheet.

    ``fits``: whether a sheet has room. ``on``: the day it is made, printed so that an old one is seen to be old.
    Everybody and everything that some step of the profile asks for is taken to be there, and the sheet says so.
    Raises Refused for an intake that names what the knowledge does not have, and where not even one box fits.
    """
    fitted = kit.fitted
    if complaint not in fitted.complaints:
        known = ", ".join(sorted(fitted.complaints))
        raise UnknownName(f"no complaint is called {complaint!r}{near(complaint, fitted.complaints)}; known: {known}")
    if channel and not fitted.complaints[complaint].asks_channel:
        raise Refused(f"the complaint {complaint} is about the engine: it takes no channel")
    unrolled = _Unrolled(kit, intake_for(fitted, complaint, channel, place, condition), share, on)
    return unrolled.grown(fits)


def intake_for(fitted: Fitted, complaint: str, channel: str, place: Place, condition: Condition) -> Intake:
    """Return the intake that a sheet is drawn from: the complaint alone, with everybody and everything there."""
    entries = [fit.entry for kind in (fitted.checks, fitted.repairs, fitted.access) for fit in kind.values()]
    may = tuple(sorted(authorities(fitted)))
    people = tuple(Person(f"person {i + 1}", may) for i in range(max(e.people for e in entries)))
    return Intake(
        aircraft="sheet",
        position="sheet",
        engine=fitted.name,
        complaint=complaint,
        channel=channel,
        people=people,
        place=place,
        condition=condition,
    )


@dataclass(frozen=True)
class _Point:
    """A chase somewhere on its way, to be taken up again."""

    events: tuple[Event, ...]
    clock: Any


@dataclass
class _Way:
    """A branch while the sheet is drawn: where it stops unless a box is drawn behind it."""

    says: tuple[str, ...]
    probability: float
    to: To
    gathered: bool = False
    untold: bool = False
    share: float = 0.0
    point: _Point | None = None
    node: _Node | None = None


@dataclass
class _Node:
    offer: Offer
    doing: list[Doing]
    ways: list[_Way]
    weight: float
    minutes: float


class NoRoom(Refused):
    """Not even one box fits."""


class _HeldUp(Exception):
    def __init__(self, key: str, reason: str) -> None:
        super().__init__(key)
        self.key, self.reason = key, reason


@dataclass
class _Unrolled:
    kit: Kit
    intake: Intake
    share: float
    on: date
    warned: dict[tuple[DoingKind, str], dict[str, None]] = field(default_factory=dict)
    """Cautions that came up before a step, those that rules add among them."""

    @property
    def fitted(self) -> Fitted:
        return self.kit.fitted

    # -- growing ---------------------------------------------------------------------------------------

    def grown(self, fits: Callable[[Sheet], bool]) -> Sheet:
        """Add boxes, the most probable first, while they fit."""
        start, found = self._begin()
        root = self._expanded(start, 1.0)
        drawn = self._drawn(root, found)
        if not fits(drawn):
            raise NoRoom("not even one box fits beside the verification and the closing-up list")
        order, misses, full = 0, 0, False
        todo: list[tuple[float, int, _Way]] = []

        def open_up(node: _Node) -> None:
            nonlocal order
            for way in node.ways:
                if way.point is not None:
                    order += 1
                    heapq.heappush(todo, (-round(node.weight * max(way.probability, way.share), 12), order, way))

        open_up(root)
        while todo and misses < MISSES:
            negative, _, way = heapq.heappop(todo)
            if -negative < UNLIKELY:
                break
            assert way.point is not None
            way.node = self._expanded(way.point, -negative)
            candidate = self._drawn(root, found)
            if fits(candidate):
                drawn, misses = candidate, 0
                open_up(way.node)
            else:
                way.node, misses, full = None, misses + 1, True
        return replace(drawn, full=full)

    # -- playing ---------------------------------------------------------------------------------------

    def _begin(self) -> tuple[_Point, tuple[str, ...]]:
        log, clock = Memory(), Clock()
        chase = Chase.begin(self.kit, log, "sheet", self.intake, clock)
        found = []
        while isinstance(step := chase.now(), Walk):
            found.append(step.access)
            chase.walked(True)
        return _Point(log.events("sheet"), clock.time), tuple(found)

    def _at(self, point: _Point) -> tuple[Chase, Memory, Clock]:
        log, clock = Memory(point.events), Clock(point.clock)
        return Chase(self.kit, log, "sheet", clock), log, clock

    def _expanded(self, point: _Point, weight: float) -> _Node:
        """Play the tool's next move from here and return it with its branches; one that is held is gone round."""
        for _ in range(MOST_STEPS):
            chase, log, clock = self._at(point)
            try:
                return self._played(chase, log, clock, weight)
            except _HeldUp as held:
                chase, log, clock = self._at(point)
                while not isinstance(chase.now(), Offer):
                    self._step(chase, clock, [], [])
                chase.decline(held.reason, held.key)
                point = _Point(log.events("sheet"), clock.time)
        raise Refused("the plan goes in circles")

    def _played(self, chase: Chase, log: Memory, clock: Clock, weight: float) -> _Node:
        doing: list[Doing] = []
        pending: list[str] = []
        offer: Offer | None = None
        passed = 1.0
        before = chase.state.book_minutes
        for _ in range(MOST_STEPS):
            step = chase.now()
            if isinstance(step, Offer) and step.kind == "end" and offer is None:
                to, _ = self._leads(chase, log, clock)
                return _Node(step, doing, [_Way(("Nothing is to be done first",), 1.0, to)], weight, 0.0)
            if isinstance(step, Offer) and (offer is None or self._proves(offer, doing, step)):
                offer = offer or step
                chase.accept()
                continue
            if isinstance(step, Held):
                assert offer is not None
                if any(d.kind == "repair" for d in doing):
                    doing.append(Doing("held", step.key, "; ".join(step.reasons)))
                    minutes = chase.state.book_minutes - before
                    to = To("stop", title=step.title)
                    return _Node(offer, doing, [_Way(("Done as far as this",), 1.0, to)], weight, minutes)
                raise _HeldUp(offer.key, "; ".join(step.reasons))
            if isinstance(step, Ask) and step.within == "check":
                assert offer is not None
                self._note(doing, "check", step.key, [*pending, *_names(step.cautions)])
                minutes = chase.state.book_minutes - before + step.minutes
                return _Node(offer, doing, self._ways(chase, log, clock, step), weight, minutes)
            if offer is not None and (isinstance(step, Offer) or _closing(chase)):
                minutes = chase.state.book_minutes - before
                point = _Point(log.events("sheet"), clock.time)
                return _Node(offer, doing, self._after(chase, point, doing, passed), weight, minutes)
            if isinstance(step, Ask) and step.within == "verify":
                passed *= float(chase.belief.predicted(step.key, self.intake.condition)[0])
            self._step(chase, clock, doing, pending)
        raise Refused("the plan goes in circles")

    @staticmethod
    def _proves(offer: Offer, doing: Sequence[Doing], step: Offer) -> bool:
        """Whether a step is the verification right behind the repair in hand: both go in one box."""
        mended = any(d.kind == "repair" for d in doing)
        return offer.kind == "repair" and mended and step.kind == "verify" and doing[-1].kind in ("repair", "look")

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
            chase.crossed()
        elif isinstance(step, Ask):
            verifying = step.within == "verify"
            names = [*pending, *_names(step.cautions)]
            self._note(doing, "check" if verifying else "look", step.key, names)
            pending.clear()
            # A look at the part taken off goes on paper for the record; no branch hangs on it.
            chase.answer(step.outcomes[0][0] if verifying else None)
        elif isinstance(step, Mend):
            self._note(doing, "repair", step.key, [*pending, *_names(step.cautions)])
            pending.clear()
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

    def _ways(self, chase: Chase, log: Memory, clock: Clock, step: Ask) -> list[_Way]:
        """Return the branches of a check."""
        chances = chase.belief.predicted(step.key, self.intake.condition)
        total = float(chances.sum())
        ways: list[_Way] = []
        rest: list[str] = []
        other = 0.0
        for (outcome, said, _), chance in zip(step.outcomes, chances, strict=True):
            p = float(chance) / total
            if p < self.share:
                rest.append(said)
                other += p
            else:
                to, point = self._answered(chase, log, clock, outcome)
                ways.append(_Way((said,), p, to, point=point))
        ways.sort(key=lambda w: -round(w.probability, 9))
        if rest:
            ways.append(_Way(tuple(rest), other, To("stop"), gathered=True))
        to, point = self._answered(chase, log, clock, None)
        share = UNTOLD.get(self.fitted.check(step.key).entry.kind, UNTOLD_ELSE)
        ways.append(_Way((), 0.0, to, untold=True, share=share, point=point))
        return ways

    def _answered(self, chase: Chase, log: Memory, clock: Clock, outcome: str | None) -> tuple[To, _Point | None]:
        """Return where an answer leads; the chase itself is left where it stands."""
        events = log.events("sheet")
        fork = copy.copy(chase)
        # What was worked out for this moment holds for the copy as well; what will be written does not.
        fork.log = ahead = Memory(events)
        fork.state, fork.news, fork.clock = fold(events), [], (later := Clock(clock.time))
        fork.answer(outcome)
        return self._leads(fork, ahead, later)

    def _after(self, chase: Chase, point: _Point, doing: Sequence[Doing], passed: float) -> list[_Way]:
        """Return the branches of a repair or a verification that has been played with every check passed."""
        chase, log, clock = self._at(point)
        to, there = self._leads(chase, log, clock)
        if not any(d.kind == "check" for d in doing):
            return [_Way(("Done",), 1.0, to, point=there)]
        return [
            _Way(("Every one of them passed",), passed, to, point=there),
            _Way(("One of them did not pass",), 1.0 - passed, To("stop")),
        ]

    def _leads(self, chase: Chase, log: Memory, clock: Clock) -> tuple[To, _Point | None]:
        """Return where a chase stands that has just been answered, and the point behind it if it goes on."""
        while True:
            if _closing(chase):
                if chase.state.verified == "passed" and chase.state.ending is None:
                    return To("close-up"), None
                return To("end", title="Not all of the verification can be done here: whoever may finish it does"), None
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
        likely = self._likely(chase)
        if first.kind == "end":
            handed = first.name in self.fitted.repairs
            return To("hand-over" if handed else "end", key=first.name, title=title, suspects=likely), None
        return To("stop", title=title, suspects=likely), _Point(log.events("sheet"), clock.time)

    def _likely(self, chase: Chase) -> tuple[Suspect, ...]:
        zones = self.fitted.zones
        return tuple(
            Suspect(zones[m.zone].title_of(m.state), m.probability) for m in chase.belief.faults(SUSPECT)[:2]
        )

    # -- drawing ---------------------------------------------------------------------------------------

    def _drawn(self, root: _Node, found: tuple[str, ...]) -> Sheet:
        """Return the sheet of the boxes there are now."""
        fitted, intake = self.fitted, self.intake
        nodes: list[_Node] = []
        number: dict[int, int] = {}

        def walk(node: _Node) -> None:
            nodes.append(node)
            number[id(node)] = len(nodes)
            for way in node.ways:
                if way.node is not None:
                    walk(way.node)

        walk(root)
        boxes = tuple(self._box(node, number) for node in nodes)
        verification = fitted.verification(intake.complaint, intake.channel)
        done = [d for box in boxes for d in box.doing]
        # How the verification is done takes pages: it is told where some box leads to it.
        proving = verification if any(box.kind in ("repair", "verify") for box in boxes) else ()
        shared = {split(key)[0] for key in proving}
        uses: dict[str, int] = {}
        for box in boxes:
            for name in {split(d.key)[0] for d in box.doing if d.kind in ("check", "repair")}:
                uses[name] = uses.get(name, 0) + 1
        looks: dict[str, dict[str, None]] = {}
        for box in boxes:
            for repair in (d.key for d in box.doing if d.kind == "repair"):
                looks.setdefault(repair, {}).update((d.key, None) for d in box.doing if d.kind == "look")
        inline: dict[str, Card] = {}
        hows: dict[str, Card] = {}
        for kind, key in [*((d.kind, d.key) for d in done), *(("check", key) for key in proving)]:
            if kind not in ("check", "repair"):
                continue
            name = split(key)[0]
            if name not in shared and uses.get(name, 0) == 1:
                inline[key] = self._how(kind, key, "", looks.get(key, ()), alone=True)
            elif name not in hows:
                seen = dict.fromkeys(look for r, several in looks.items() if split(r)[0] == name for look in several)
                hows[name] = self._how(kind, key, f"H{len(hows) + 1}", seen)
        poser = self.kit.poser(intake.place, intake.condition)
        opened = [d.key for d in done if d.kind == "open"]
        needed = fitted.needed([n for key in proving for n in fitted.check(key).needs])
        order = [poser.access[i] for i in poser.crossings.order]
        names = {split(key)[0] for key in (*found, *opened, *needed)}
        access = list(dict.fromkeys(split(key)[0] for key in order if split(key)[0] in names))
        refs = {name: i + 1 for i, name in enumerate(access)}
        everything = [key for key in order if split(key)[0] in names]
        _, _, shutting = poser.crossings.close_all(poser.mask(everything))
        closing = dict.fromkeys(split(poser.access[c.access])[0] for c in shutting)
        overs = dict.fromkeys(b.to.key for box in boxes for b in box.branches if b.to.kind == "hand-over")
        people = intake.people
        return Sheet(
            engine=fitted.profile.title,
            complaint=fitted.complaints[intake.complaint].title,
            channel=intake.channel,
            place=intake.place,
            condition=intake.condition,
            people=len(people),
            authorities=people[0].may,
            tools=tuple(sorted(tools(fitted))),
            found=tuple(f"{fitted.access[key].title}: {fitted.access[key].entry.word}" for key in found),
            boxes=boxes,
            openings=tuple(self._crossing(name, True, refs[name]) for name in access),
            hows=tuple(hows.values()),
            inline=inline,
            hand_overs=tuple(self._over(key, i + 1) for i, key in enumerate(overs)),
            closings=tuple(self._crossing(name, False, refs[name]) for name in closing),
            unproven=tuple(
                {
                    w.name: w
                    for key in verification
                    if split(key)[0] not in hows
                    for w in self._cautions("check", split(key)[0], fitted.check(key).cautions)
                }.values()
            ),
            proofs=tuple(
                Proof(key, fitted.check(key).title, fitted.check(key).said(fitted.check(key).outcomes[0]))
                for key in verification
            ),
            share=self.share,
            unlikely=UNLIKELY,
            digest=fitted.knowledge.digest,
            on=self.on,
            # Taken so while room is looked for: saying it takes room.
            full=True,
        )

    def _box(self, node: _Node, number: Mapping[int, int]) -> Box:
        branches = []
        for way in node.ways:
            to = way.to if way.node is None else To("box", number=number[id(way.node)])
            branches.append(Branch(way.says, way.probability, to, way.gathered, way.untold))
        offer = node.offer
        return Box(
            number=number[id(node)],
            kind=offer.kind,
            key=offer.key,
            title=offer.title,
            purpose=offer.purpose if offer.kind == "check" else "",
            doing=tuple(node.doing),
            branches=tuple(branches),
            weight=node.weight,
            minutes=node.minutes,
        )

    def _worded(self, text: str, channel: str = "") -> str:
        """Word a text for its channel, or for all at once."""
        return worded(text, channel or "/".join(self.fitted.channels))

    def _cautions(self, kind: DoingKind, name: str, own: Iterable[str], channel: str = "") -> tuple[Warned, ...]:
        came = self.warned.get((kind, name), {})
        found = []
        for caution_name in dict.fromkeys([*own, *came]):
            caution = self.fitted.cautions[caution_name]
            found.append(
                Warned(
                    name=caution_name,
                    title=self._worded(caution.title, channel),
                    text=self._worded(caution.text, channel),
                    level=caution.level,
                    prompts=tuple(self._worded(a.prompt, channel) for a in caution.asks),
                )
            )
        # What kills comes before what damages.
        return tuple(sorted(found, key=lambda w: w.level != "warning"))

    def _crossing(self, name: str, opening: bool, number: int) -> Card:
        access = next(a for a in self.fitted.access.values() if a.name == name)
        crossing = access.open if opening else access.close
        kind: DoingKind = "open" if opening else "close"
        return Card(
            ref=f"{'P' if opening else 'C'}{number}",
            kind=kind,
            name=name,
            title=self._worded(access.entry.title),
            word=access.entry.word,
            warned=self._cautions(kind, name, crossing.cautions),
            do=(self._worded(crossing.do),),
            looks=tuple(self._worded(c) for c in crossing.checks),
            wait=crossing.waits(self.intake.condition),
        )

    def _how(self, kind: DoingKind, key: str, ref: str, looks: Iterable[str], alone: bool = False) -> Card:
        """Return how a check or a repair is done, on its own channel where it stands alone, else on any.

        What is warned of before a look at the part that comes off is warned of before all of it.
        """
        fit: FitCheck | FitRepair = self.fitted.checks[key] if kind == "check" else self.fitted.repairs[key]
        channel = fit.channel if alone else ""
        looked = [self.fitted.checks[look] for look in looks]
        before = [c for check in looked for c in (*check.cautions, *self.warned.get(("look", check.name), ()))]
        return Card(
            ref=ref,
            kind=kind,
            name=fit.name,
            title=self._worded(fit.entry.title, channel),
            warned=self._cautions(kind, fit.name, [*fit.cautions, *before], channel),
            do=tuple(self._worded(s, channel) for s in fit.steps),
            first=tuple(dict.fromkeys(self._worded(check.entry.title, channel) for check in looked)),
            never=tuple(self._worded(s, channel) for s in fit.never),
            note=self._worded(fit.entry.record, channel) if isinstance(fit, FitRepair) else "",
        )

    def _over(self, key: str, number: int) -> Card:
        repair = self.fitted.repairs[key]
        return Card(
            ref=f"X{number}",
            kind="repair",
            name=repair.name,
            title=f"{repair.title} (to {repair.entry.to})" if repair.entry.to else repair.title,
            warned=self._cautions("repair", repair.name, repair.cautions, repair.channel),
            do=tuple(self._worded(s, repair.channel) for s in repair.steps),
            never=tuple(self._worded(s, repair.channel) for s in repair.never),
            note=self._worded(repair.entry.record, repair.channel),
        )


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

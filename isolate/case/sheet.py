"""The plan on paper, for the day the laptop is flat: what the tool would do next, unrolled over the answers.

Each box of a sheet is the tool's own next move after the answers that lead to it, found by playing a chase in memory
that far (:mod:`isolate.case.ahead`). Boxes are added most probable first for as long as the caller says that they fit.
Where the sheet ends before the work does, a branch says so: go on with the tool, or escalate.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from isolate.case.ahead import Ahead, Doing, DoingKind, Lead, Node, Suspect
from isolate.case.case import Intake, Person
from isolate.case.chase import Kit
from isolate.case.facts import authorities, tools
from isolate.case.intake import Refused
from isolate.case.now import condition_now
from isolate.kb.fit import FitCheck, FitRepair, Fitted, UnknownName, near, split, worded
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
FAILED = "One of them did not pass"
WORDS = {
    "passed": "Every one of them passed",
    "done": "Done",
    "held": "Done as far as this",
    "nothing": "Nothing is to be done first",
}
"""How a branch is called that hangs on no answer."""

ToKind = Literal["box", "close-up", "hand-over", "end", "stop"]


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


@dataclass
class _Way:
    """A branch while the sheet is drawn: where it stops unless a box is drawn behind it."""

    says: tuple[str, ...]
    probability: float
    to: To
    gathered: bool = False
    untold: bool = False
    share: float = 0.0
    lead: Lead | None = None
    box: _Drawn | None = None


@dataclass
class _Drawn:
    """A box while the sheet is drawn."""

    node: Node
    ways: list[_Way]
    weight: float


class NoRoom(Refused):
    """Not even one box fits."""


class _Unrolled:
    def __init__(self, kit: Kit, intake: Intake, share: float, on: date) -> None:
        self.kit, self.fitted, self.intake, self.share, self.on = kit, kit.fitted, intake, share, on
        self.ahead = Ahead.begin(kit, "sheet", intake)

    # -- growing ---------------------------------------------------------------------------------------

    def grown(self, fits: Callable[[Sheet], bool]) -> Sheet:
        """Add boxes, the most probable first, while they fit."""
        root = self._boxed(self.ahead.node(), 1.0)
        drawn = self._drawn(root)
        if not fits(drawn):
            raise NoRoom("not even one box fits beside the verification and the closing-up list")
        order, misses, full = 0, 0, False
        todo: list[tuple[float, int, _Way]] = []

        def open_up(box: _Drawn) -> None:
            nonlocal order
            for way in box.ways:
                if way.lead is not None and way.lead.point is not None:
                    order += 1
                    heapq.heappush(todo, (-round(box.weight * max(way.probability, way.share), 12), order, way))

        open_up(root)
        while todo and misses < MISSES:
            negative, _, way = heapq.heappop(todo)
            if -negative < UNLIKELY:
                break
            assert way.lead is not None
            way.box = self._boxed(self.ahead.node(way.lead.point), -negative)
            candidate = self._drawn(root)
            if fits(candidate):
                drawn, misses = candidate, 0
                open_up(way.box)
            else:
                way.box, misses, full = None, misses + 1, True
        return replace(drawn, full=full)

    def _boxed(self, node: Node, weight: float) -> _Drawn:
        """Return a move with its branches as a sheet has them: improbable answers gathered, the most probable first."""
        if node.kind == "check":
            return _Drawn(node, self._answers(node), weight)
        failed = any(way.kind == "failed" for way in node.ways)
        ways = []
        for way in node.ways:
            if way.kind == "failed":
                continue
            ways.append(_Way((WORDS[way.kind],), way.probability, _to(way.lead()), lead=way.lead()))
            if way.kind == "passed" and failed:
                # Which it was is known only then: the tool says how to go on.
                ways.append(_Way((FAILED,), 1.0 - way.probability, To("stop")))
        return _Drawn(node, ways, weight)

    def _answers(self, node: Node) -> list[_Way]:
        """Return the branches of a check."""
        ways: list[_Way] = []
        told = [way for way in node.ways if way.kind == "answer"]
        rest = [way for way in told if way.probability < self.share]
        for way in told:
            if way not in rest:
                ways.append(_Way((way.says,), way.probability, _to(way.lead()), lead=way.lead()))
        ways.sort(key=lambda w: -round(w.probability, 9))
        if rest:
            other = sum(way.probability for way in rest)
            ways.append(_Way(tuple(way.says for way in rest), other, To("stop"), gathered=True))
        share = UNTOLD.get(self.fitted.check(node.key).entry.kind, UNTOLD_ELSE)
        for way in node.ways:
            if way.kind == "untold":
                ways.append(_Way((), 0.0, _to(way.lead()), untold=True, share=share, lead=way.lead()))
        return ways

    # -- drawing ---------------------------------------------------------------------------------------

    def _drawn(self, root: _Drawn) -> Sheet:
        """Return the sheet of the boxes there are now."""
        fitted, intake = self.fitted, self.intake
        found = [key for key, _, _ in self.ahead.walked]
        drawn: list[_Drawn] = []
        number: dict[int, int] = {}

        def walk(box: _Drawn) -> None:
            drawn.append(box)
            number[id(box)] = len(drawn)
            for way in box.ways:
                if way.box is not None:
                    walk(way.box)

        walk(root)
        boxes = tuple(self._box(box, number) for box in drawn)
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
        poser = self.kit.poser(intake.place, condition_now(intake))
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

    def _box(self, drawn: _Drawn, number: Mapping[int, int]) -> Box:
        branches = []
        for way in drawn.ways:
            to = way.to if way.box is None else To("box", number=number[id(way.box)])
            branches.append(Branch(way.says, way.probability, to, way.gathered, way.untold))
        node = drawn.node
        return Box(
            number=number[id(drawn)],
            kind=node.kind,
            key=node.key,
            title=node.title,
            purpose=node.purpose if node.kind == "check" else "",
            doing=node.doing,
            branches=tuple(branches),
            weight=drawn.weight,
            minutes=node.minutes,
        )

    def _worded(self, text: str, channel: str = "") -> str:
        """Word a text for its channel, or for all at once."""
        return worded(text, channel or "/".join(self.fitted.channels))

    def _cautions(self, kind: DoingKind, name: str, own: Iterable[str], channel: str = "") -> tuple[Warned, ...]:
        came = self.ahead.warned.get((kind, name), {})
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
            wait=crossing.waits(condition_now(self.intake)),
        )

    def _how(self, kind: DoingKind, key: str, ref: str, looks: Iterable[str], alone: bool = False) -> Card:
        """Return how a check or a repair is done, on its own channel where it stands alone, else on any.

        What is warned of before a look at the part that comes off is warned of before all of it.
        """
        fit: FitCheck | FitRepair = self.fitted.checks[key] if kind == "check" else self.fitted.repairs[key]
        channel = fit.channel if alone else ""
        looked = [self.fitted.checks[look] for look in looks]
        before = [c for check in looked for c in (*check.cautions, *self.ahead.warned.get(("look", check.name), ()))]
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


def _to(lead: Lead) -> To:
    """Return where a branch leads as long as no box is drawn behind it."""
    kinds: dict[str, ToKind] = {"close-up": "close-up", "hand-over": "hand-over", "end": "end"}
    kind = kinds.get(lead.kind, "stop")
    return To(kind, key="" if kind == "stop" else lead.key, title=lead.title, suspects=lead.suspects)

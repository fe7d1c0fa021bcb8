"""A review of one case: all its parts put together, each as far as it can be worked.

The story needs the events alone. Belief, weights and what would have been cheaper are worked anew with the knowledge
that the case was worked with, where that is given; with another one they are worked by that, and a note says so.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from typing import Literal

from isolate.case.brief import brief
from isolate.case.case import BadIntake, CaseState, Intake, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.parts import finding_lines
from isolate.case.record import NOT_ENDED, record
from isolate.kb.fit import UnknownName
from isolate.kb.shown import plain
from isolate.review import cost, evidence
from isolate.review.named import Names
from isolate.review.shapes import CameBack, Cheaper, Fired, Firm, Guarded, Hindsight, NotAsked, Review, Trust
from isolate.review.since import drawn
from isolate.review.story import readings, story
from isolate.review.unmet import unmet

NOT_READ = (BadIntake, UnknownName, AssertionError, AttributeError, IndexError, KeyError, TypeError, ValueError)
"""What working with a body that is not in the form expected raises: such a case is reviewed as far as it goes."""
Slow = Literal["firm", "not asked", "record"]
"""How firm the verdict is, what was not asked, the record of an open case: the parts that take longest."""
SPELT = 4
"""So many keys that had to be spelt are named in the note."""


def review(
    kits: Callable[[str], Kit] | None,
    events: Sequence[Event],
    *,
    trust: Trust | None = None,
    forks: Sequence[str] = (),
    notes: Sequence[str] = (),
    without: Collection[Slow] = (),
    back: Sequence[CameBack] = (),
    doing: Callable[[str], object] = lambda what: None,
) -> Review:
    """Return the review of a case.

    ``kits``: from engine name to kit, of the knowledge that it was worked with or of the nearest there is; None:
    there is none. ``trust``, ``forks``: what is known of the trail and of other ends of the case; ``notes`` go first.
    ``without``: what takes long and is not wanted. ``back``: later cases in which the defect came back
    (:func:`isolate.review.since.since`). ``doing``: is told what is worked out next.
    Raises Refused where there is no event, or the first is not an opening.
    """
    if not events or events[0].kind != "opened":
        raise Refused("there is nothing to review: the trail does not begin with the opening of a case")
    return _Reviewing(kits, tuple(events), trust, tuple(forks), list(notes), without, tuple(back), doing).review()


class _Reviewing:
    def __init__(
        self,
        kits: Callable[[str], Kit] | None,
        events: tuple[Event, ...],
        trust: Trust | None,
        forks: tuple[str, ...],
        notes: list[str],
        without: Collection[Slow],
        back: tuple[CameBack, ...],
        doing: Callable[[str], object],
    ) -> None:
        self.without, self.back, self.doing = without, back, doing
        self.events, self.trust, self.forks, self.notes = events, trust, forks, notes
        self.state = self._state()
        if self.state is not None and self.state.drill:
            self.notes.append("It is a drill on a simulated aircraft, and no record of any work.")
        self.kit = self._kit(kits)
        self.names = Names(self.kit.fitted if self.kit is not None else None)

    def _state(self) -> CaseState | None:
        try:
            return fold(self.events)
        except (*NOT_READ, StopIteration) as error:
            self.notes.append(
                f"Some of it is not in a form that can be worked with ({type(error).__name__}: {plain(error)}): "
                "belief, weights and costs are left out."
            )
            return None

    def _kit(self, kits: Callable[[str], Kit] | None) -> Kit | None:
        """Return the kit of the case's engine; where there is none, a note says so."""
        body = self.events[0].body
        engine, digest = str(body.get("engine", "")), str(body.get("knowledge", ""))
        if self.state is not None and self.state.intake is not None:
            engine = self.state.intake.engine
        if kits is None:
            self.notes.append(
                f"The knowledge that it was worked with ({_short(digest)}) is not here: names are spelt from their "
                "keys, and belief is told as the trail has it."
            )
            return None
        try:
            kit = kits(engine)
        except (UnknownName, KeyError, ValueError):
            self.notes.append(
                f"The knowledge here does not know engine {plain(engine)}: names are spelt from their keys, and belief "
                "is told as the trail has it."
            )
            return None
        if (own := kit.fitted.knowledge.digest) != digest:
            self.notes.append(
                f"The knowledge that it was worked with ({_short(digest)}) is not here. Belief, weights and costs are "
                f"worked with another version ({_short(own)}), so they may differ from what was seen then."
            )
        return kit

    # -- all of it -------------------------------------------------------------------------------------

    def review(self) -> Review:
        state, names = self.state, self.names
        moments = story(self.events, names)
        self.doing("Weighing the answers")
        weighed = self._weighed({m.seq: m.said for m in moments})
        self.doing("Working out what it would have taken")
        costs = self._costs(weighed)
        self.doing("Working out what was not asked")
        unasked = self._not_asked()
        head, about = self.events[0].body, self._intake()
        summed = self._brief()
        complaint = str(about.complaint if about else head.get("complaint", ""))
        made = Review(
            case=self.events[0].case,
            head=self.events[-1].hash,
            aircraft=plain(about.aircraft if about else head.get("aircraft", "")),
            position=plain(about.position if about else head.get("position", "")),
            engine=plain(about.engine if about else head.get("engine", "")),
            complaint=plain(complaint),
            complaint_title=names.complaint(complaint),
            channel=plain(about.channel if about else ""),
            operator=plain(about.operator if about else ""),
            station=plain(head.get("station", "")),
            place=about.place if about else "",
            condition=about.condition if about else "",
            opened=self.events[0].time,
            closed=next((e.time for e in reversed(self.events) if e.kind == "closed"), ""),
            end=plain(state.ended) if state else self._ended(),
            knowledge=plain(head.get("knowledge", "")),
            program=plain(head.get("program", "")),
            events=len(self.events),
            book=round(state.book_minutes, 2) if state else moments[-1].at,
            clock=summed[0],
            isolated=summed[1],
            story=moments,
            suspects=weighed.suspects,
            belief=weighed.points,
            answers=weighed.answers,
            readings=readings(self.events, names),
            rules=self._rules(),
            cautions=self._cautions(),
            spent=cost.spent(self.events, names),
            advice=cost.advice(self.events, names, state.void if state else set()),
            cheaper=costs[0],
            hindsight=costs[1],
            firm=self._firm(),
            trust=self.trust,
            record=self._record(),
            forks=self.forks,
            engine_title=names.engine(about.engine) if about else "",
            not_asked_at=unasked[0],
            not_asked=unasked[1],
            not_done=unasked[2],
            came_back=self.back,
            drawn=self._drawn(costs[1]),
            unmet=self._unmet(weighed),
            until=self._until(summed[1], costs[1]),
        )
        if weighed.left_out:
            some = ", ".join(plain(key) for key in weighed.left_out[:SPELT])
            self.notes.append(f"Left out of the belief, since the knowledge at hand does not have it: {some}.")
        if self.kit is not None and names.unknown:
            some = ", ".join(names.unknown[:SPELT]) + (", ..." if names.unknown[SPELT:] else "")
            self.notes.append(f"Not in the knowledge at hand, so spelt from the key: {some}.")
        return _with_notes(made, self.notes)

    def _intake(self) -> Intake | None:
        return self.state.intake if self.state is not None else None

    def _brief(self) -> tuple[float, float | None]:
        """Return (minutes by the clock that somebody worked, book minutes to the right move or None)."""
        try:
            found = brief(self.events)
        except NOT_READ:
            first, last = (parse_time(self.events[i].time) for i in (0, -1))
            return round((last - first).total_seconds() / 60, 2), None
        return found.clock, found.isolated

    def _ended(self) -> str:
        end = next((e.body.get("end") for e in reversed(self.events) if e.kind == "closed"), None)
        return plain(end or "")

    def _weighed(self, said: dict[int, str]) -> evidence.Weighing:
        if self.kit is not None and self.state is not None and self.state.intake is not None:
            try:
                return evidence.weighed(self.kit, self.events, self.names, said)
            except NOT_READ as error:
                self.notes.append(
                    f"The belief could not be worked anew ({plain(error)}): it is told as the trail has it."
                )
        return evidence.recorded(self.events, self.names, said)

    def _costs(self, weighed: evidence.Weighing) -> tuple[tuple[Cheaper, ...], Hindsight | None]:
        found = cost.dearer(self.events, self.names, self.state.void if self.state else set())
        if self.kit is None or self.state is None or self.state.intake is None:
            return found, None
        hindsight = None
        try:
            found = (*found, *cost.for_nothing(self.kit, self.events, self.state, self.names, weighed.idle))
            hindsight = cost.hindsight(self.kit, self.events, self.state, self.names, weighed, self._returned())
        except NOT_READ as error:
            self.notes.append(f"What it would have taken could not be worked out: {plain(error)}.")
        return tuple(sorted(found, key=lambda c: c.seq)), hindsight

    def _not_asked(self) -> tuple[int, tuple[NotAsked, ...], tuple[tuple[str, str], ...]]:
        wanted = "not asked" not in self.without
        if not wanted or self.kit is None or self.state is None or self.state.intake is None or self.state.drill:
            return 0, (), ()
        try:
            return cost.not_asked(self.kit, self.events, self.state, self.names)
        except NOT_READ as error:
            self.notes.append(f"What was not asked could not be worked out: {plain(error)}.")
            return 0, (), ()

    # -- what is to be said at the top -----------------------------------------------------------------

    def _returned(self) -> tuple[CameBack, ...]:
        """Return the cases in which it came back, not only was taken up again."""
        return tuple(back for back in self.back if back.returned)

    def _drawn(self, hindsight: Hindsight | None) -> tuple[str, ...]:
        back = self._returned()
        if not back:
            return ()
        truth, by = (hindsight.truth, hindsight.by) if hindsight is not None else ((), "nobody")
        doubt = hindsight is not None and bool(hindsight.doubt)
        return drawn(truth, by, evidence.named(self.events), doubt, back, self.names)

    def _unmet(self, weighed: evidence.Weighing) -> str:
        if self.kit is None or self.state is None or self.state.drill:
            return ""
        try:
            return unmet(self.kit, self.state, evidence.named(self.events), self.names, weighed.answers)
        except NOT_READ as error:
            self.notes.append(f"Whether it was met in the condition in which it shows is not known: {plain(error)}.")
            return ""

    def _until(self, isolated: float | None, hindsight: Hindsight | None) -> str:
        """Return what the minutes to the right move count up to; whose word that is, is said with it."""
        doubted = any(f.get("finding") != "confirmed" for f in self.state.findings) if self.state is not None else True
        if isolated is None or (hindsight.doubt if hindsight is not None else doubted):
            return ""
        if hindsight is not None and hindsight.by == "the shop":
            return "the right move, as the shop confirmed,"
        return "the move that its end names"

    # -- what the trail says by itself -----------------------------------------------------------------

    def _rules(self) -> tuple[Fired, ...]:
        found = []
        for event in self.events:
            body = event.body
            if event.kind != "fired":
                continue
            matched, sources = (one if isinstance(one := body.get(n), list) else [] for n in ("matched", "source"))
            found.append(
                Fired(
                    seq=event.seq,
                    rule=plain(body.get("rule", "")),
                    kind=plain(body.get("kind", "")),
                    says=plain(body.get("says", "")),
                    matched=tuple(plain(self.names.fact(one)) for one in matched if isinstance(one, dict)),
                    sources=tuple(self.names.source(str(one)) for one in sources),
                )
            )
        return tuple(found)

    def _cautions(self) -> tuple[Guarded, ...]:
        found = []
        for event in self.events:
            body = event.body
            if event.kind != "caution" or not isinstance(body.get("caution"), str):
                continue
            facts = body.get("facts")
            told = facts.items() if isinstance(facts, dict) else ()
            found.append(
                Guarded(
                    seq=event.seq,
                    time=event.time,
                    caution=plain(body["caution"]),
                    title=self.names.caution(body["caution"]),
                    before=plain(body.get("before", "")),
                    facts=tuple((plain(name).replace("-", " "), plain(value)) for name, value in told),
                    shown=bool(body.get("shown")),
                )
            )
        return tuple(found)

    def _firm(self) -> Firm | None:
        if self.kit is None or self.state is None or self.state.drill or "firm" in self.without:
            return None
        from isolate.review.firm import firm

        self.doing("Trying what would change the verdict")
        try:
            return firm(self.kit, self.events)
        except NOT_READ as error:
            self.notes.append(f"How firm the verdict is could not be worked out: {plain(error)}.")
            return None

    def _record(self) -> str:
        """Return the record as it was written at the end, or as it stands now."""
        state = self.state
        if state is None:
            return plain(next((e.body.get("record", "") for e in self.events if e.kind == "closed"), ""), lines=True)
        if state.ended:
            return plain("\n".join([state.record, *finding_lines(state)]), lines=True)
        if self.kit is None or state.drill or "record" in self.without:
            return ""
        try:
            last = parse_time(self.events[-1].time)
            chase = Chase(self.kit, Memory(self.events), self.events[0].case, lambda: last)
            return plain(record(chase, NOT_ENDED), lines=True)
        except NOT_READ:
            self.notes.append("The record as it stands could not be written with the knowledge at hand.")
            return ""


def _with_notes(made: Review, notes: Sequence[str]) -> Review:
    return replace(made, notes=tuple(dict.fromkeys(notes)))


def _short(digest: str) -> str:
    return f"version {plain(digest)[:12]}" if digest else "no version told"

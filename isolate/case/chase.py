"""Working a defect: what comes next in a case, and what happens when it is done. No screen, no keyboard.

A chase is a state machine over its case's events: :meth:`Chase.now` says what the person is to do now, one small
step at a time; each of the other methods takes what he or she did, writes it to the trail, and returns when it is on
disk. Since the step follows from the events alone, a killed process stands where it stood when it is resumed.
"""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from itertools import combinations
from threading import Lock
from types import MappingProxyType
from typing import Any, Protocol, Self

import numpy as np

from isolate.case import deferral, handing, measured, swaps
from isolate.case import facts as case_facts
from isolate.case.ages import asked_already
from isolate.case.believed import READ_BACK, TOLD, before, believed, further, heeds_answers
from isolate.case.case import CLOSE_UP, RECORD, CaseState, Evidence, Intake, Seen, Swap, apply, fold
from isolate.case.events import FORMAT, Event, now_text, parse_time
from isolate.case.intake import Refused, check_intake, checked_facts
from isolate.case.memory import Memory
from isolate.case.now import SAYS_NOTHING_NEW, condition_now, setting
from isolate.case.parts import PART, checked_part
from isolate.case.steps import (
    Ask,
    CautionShown,
    Confirm,
    Cross,
    CrossingShown,
    Deferring,
    Done,
    Found,
    Held,
    Here,
    Mend,
    Offer,
    Other,
    Report,
    Step,
    Wait,
    Walk,
)
from isolate.kb.fit import FitAccess, FitCheck, FitRepair, Fitted, instance, near, split, worded
from isolate.kb.model import HEALTHY, Access, Caution, Check, Condition, Place, Repair
from isolate.kb.model import Ask as FactAsk
from isolate.reasoning import explain, swap
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.decide import Decision, decide
from isolate.reasoning.lookahead import Objective
from isolate.reasoning.occasion import At
from isolate.reasoning.plan import Valued
from isolate.reasoning.pose import ESCALATE, WATCH, Posed, Poser, may_do
from isolate.reasoning.problem import Position
from isolate.reasoning.recorded import counted
from isolate.reasoning.rules import Fact, Firing, RuleBook, asks, fact
from isolate.reasoning.surprise import Gap

AWAY = frozenset({"left", "resumed"})
"""Events that change what is known to be safe, and not what the moves are worth."""
BUDGET = 1
"""Expansions for an offer that has to be there at once."""
THOUGHT = 24
"""Expansions for what is thought of ahead, while somebody works on a step."""
MOST_PLANS = 16
"""So many decisions are kept."""
SOLVED = 0.999
"""Share of the probability that has to be planned over before an optimum is called that."""
MOST_FAILS = 2
"""A verification that failed this often since the last repair is not offered again: something has to be done first."""
MOST_PASSES = 3
"""A verification passed this often since the last repair is not offered again."""
TOUCHED = "channel-touched"
"""The finding by which the rules say that a channel was opened or repaired."""
UNEXPLAINED = "not explained by what is known"
LOOSE_WORD = "half torqued or unlocked"
LOOSE_TEXT = (
    "It was passed on half torqued or unlocked. It is torqued and locked by your approved data before anything is put "
    "back over it, shut or switched on."
)
INSPECTION_TEXT = (
    "Both channels were touched in this case. It is not closed before somebody who did none of that work has inspected "
    "it, before it is covered again, by your operator's rules."
)
INSPECTION = (
    FactAsk(name="worked-by", prompt="Who did the work on the channels (commas between)?", kind="person"),
    FactAsk(name="inspected-by", prompt="Who inspected it, and did none of it?", kind="person"),
    FactAsk(name="inspected-at", prompt="When was it inspected?", kind="time"),
)


class Log(Protocol):
    """Where events go. On return from an append they are on disk."""

    def append_all(
        self, case: str, items: Sequence[tuple[str, Mapping[str, Any]]], time: str, *, after: str | None = None
    ) -> tuple[Event, ...]:
        """Append; refuse where the last event's hash is not ``after``: somebody else wrote meanwhile."""

    def events(self, case: str) -> tuple[Event, ...]: ...


class Kit:
    """What every chase on one profile shares, built once: tables, rules, posers by place."""

    def __init__(self, fitted: Fitted) -> None:
        self.fitted = fitted
        self.model = Model(fitted)
        self._posers: dict[tuple[Place, Condition, Objective, int], Poser] = {}
        self._posers_apart: dict[tuple[Place, Condition, Objective, int], Poser] = {}
        self.turn = Lock()
        """A rule book has one engine: who thinks ahead takes turns at it with whoever is answered."""
        self.plans: OrderedDict[Any, Decision] = OrderedDict()
        """What was decided already, by all that it depends on; thought of ahead while somebody works on a step."""

    @cached_property
    def standing_rules(self) -> RuleBook:
        """The rules on the case as it stands."""
        return RuleBook({n: r for n, r in self.fitted.rules.items() if not asks(r, "about-to")})

    @cached_property
    def step_rules(self) -> RuleBook:
        """The rules on a step about to be done; the findings of the others are facts to them."""
        return RuleBook({n: r for n, r in self.fitted.rules.items() if asks(r, "about-to")})

    def poser(
        self,
        place: Place,
        condition: Condition = "steady",
        objective: Objective = "minutes",
        hands: int = 1,
        apart: bool = False,
    ) -> Poser:
        """Return what poses problems there, kept. ``apart``: another one, for who thinks beside whoever is answered.

        It fills its tables as it is asked, which two may not do at once.
        """
        key = (place, condition, objective, hands)
        posers = self._posers_apart if apart else self._posers
        if key not in posers:
            posers[key] = Poser(self.model, place, condition, objective, hands)
        return posers[key]

    def keep(self, key: Any, decision: Decision) -> None:
        """Keep what was decided; the oldest goes when there are too many."""
        self.plans[key] = decision
        while len(self.plans) > MOST_PLANS:
            self.plans.popitem(last=False)


@dataclass(frozen=True)
class Ranked:
    """The moves that may be made now, best first, with what they are ranked in.

    ``bound``, ``exact`` and ``together`` as in :class:`~isolate.reasoning.decide.Decision`; ``budget``: expansions.
    """

    moves: tuple[Valued, ...]
    posed: Posed
    barred: Mapping[str, str]
    bound: float
    exact: bool
    together: tuple[str, ...]
    budget: int


@dataclass
class _Memo:
    """What was worked out for the present events; thrown away when they change."""

    ranked: Ranked | None = None
    barred: dict[str, str] | None = None
    facts: list[Fact] | None = None
    exchanges: tuple[Valued, ...] | None = None
    setting: Setting | None = None
    deferring: list[Deferring | None] = field(default_factory=list)
    firings: dict[tuple[Fact, ...], tuple[Firing, ...]] = field(default_factory=dict)


class Chase:
    """One case being worked. ``clock`` returns aware datetimes."""

    of_drill = False
    """Whether it works drills as well."""

    def __init__(self, kit: Kit, log: Log, case: str, clock: Callable[[], datetime]) -> None:
        self.kit, self.fitted, self.log, self.id, self.clock = kit, kit.fitted, log, case, clock
        self.state: CaseState = fold(log.events(case))
        if self.state.intake is None:
            raise Refused(f"case {case} has no beginning")
        if self.state.drill and not self.of_drill:
            raise Refused(f"{case} is a drill, on no real aircraft; isolate drill --resume {case} goes on with it")
        self._belief: Belief | None = None
        self._reached: tuple[Intake, tuple[Evidence, ...], Belief] | None = None
        self._judged: tuple[tuple[Any, ...], tuple[Found, ...]] | None = None
        self._memo = _Memo()
        self._at_once = BUDGET
        self._stopped: Callable[[], bool] = lambda: False
        self._apart = False
        self.news: list[Firing] = []
        """Rules that fired since the caller last emptied this list."""

    @classmethod
    def begin(
        cls,
        kit: Kit,
        log: Log,
        case: str,
        intake: Intake,
        clock: Callable[[], datetime],
        more: Mapping[str, Any] = MappingProxyType({}),
    ) -> Self:
        """Open a case. Raises Refused for an intake that names what the knowledge does not have.

        ``more``: what else the opening says, by names of its own.
        """
        check_intake(kit.fitted, intake)
        body = {
            "intake": intake.as_dict(),
            "knowledge": kit.fitted.knowledge.digest,
            "aircraft": intake.aircraft,
            "position": intake.position,
            "engine": intake.engine,
            "complaint": intake.complaint,
            "format": FORMAT,
            **more,
        }
        items: list[tuple[str, Mapping[str, Any]]] = [("opened", body)]
        for key in _found_open(kit, intake):
            items.append(("access", {"access": key, "state": "unknown", "minutes": 0}))
        log.append_all(case, items, now_text(clock()))
        chase = cls(kit, log, case, clock)
        chase._settle()
        return chase

    @classmethod
    def resume(cls, kit: Kit, log: Log, case: str, clock: Callable[[], datetime]) -> Self:
        """Take a case up again. Every open access state is unknown until it is walked."""
        chase = cls(kit, log, case, clock)
        if not chase.state.ended:
            chase._write(("resumed", {}))
            chase._settle()
        return chase

    # -- what stands ---------------------------------------------------------------------------------

    @property
    def intake(self) -> Intake:
        assert self.state.intake is not None
        return self.state.intake

    @property
    def belief(self) -> Belief:
        """The belief after all the evidence."""
        if self._belief is None:
            evidence, intake = tuple(self.state.evidence), self.intake
            had = self._reached
            # Where what was told depends on all that was answered, all is taken in anew; else only what is new.
            follows = had is not None and had[0] == intake and evidence[: len(had[1])] == had[1]
            if had is not None and follows and not heeds_answers(intake, evidence[len(had[1]) :]):
                self._belief = further(had[2], intake, evidence[len(had[1]) :])
            else:
                self._belief = believed(self.kit.model, intake, evidence)
            self._reached = intake, evidence, self._belief
        return self._belief

    @property
    def setting(self) -> Setting:
        """How it is at the aircraft now, as the trail has it."""
        if self._memo.setting is None:
            self._memo.setting = setting(self.state, self._starts)
        return self._memo.setting

    @property
    def _starts(self) -> list[str]:
        return [key for key, check in self.fitted.checks.items() if check.entry.starts]

    def likely(self) -> At:
        """Return the joint states that are planned over, as one array of state indices a zone."""
        table = np.array(self.ranked().posed.joint, dtype=np.int64)
        return tuple(table[:, axis] for axis in range(table.shape[1]))

    @property
    def gap(self) -> Gap:
        """How well what is known explains the answers of the case."""
        return case_facts.explained(self.belief, self.state.evidence)

    @property
    def elapsed(self) -> float:
        """Minutes by the clock since the case was opened."""
        # A case played from a file may be ahead of the clock.
        return max(0.0, (self.clock() - parse_time(self.state.opened)).total_seconds() / 60)

    @property
    def minutes_left(self) -> float | None:
        """Minutes to departure by the clock; None when nobody waits."""
        left = self.intake.minutes_left
        return None if left is None else left - self.elapsed

    @property
    def verification(self) -> tuple[str, ...]:
        """The checks that verify this complaint, in order."""
        return self.fitted.verification(self.intake.complaint, self.intake.channel)

    def proven(self) -> dict[str, str]:
        """Return the checks of the verification that stand as passed: done since the last repair and verification."""
        since = 0
        passed: dict[str, str] = {}
        for event in self.state.events:
            if event.kind in ("repaired", "swapped", "verified"):
                since = event.seq
        for item in self.state.evidence:
            if item.kind == "answer" and item.seq > since:
                if item.outcome == self.fitted.check(item.key).outcomes[0]:
                    passed[item.key] = item.outcome
                else:
                    passed.pop(item.key, None)
        return {key: passed[key] for key in self.verification if key in passed}

    @property
    def remaining(self) -> float:
        """The probability that some fault is left."""
        return 1 - self.belief.healthy()

    def open_now(self) -> tuple[tuple[str, str, str], ...]:
        """Return what is open, pulled or off right now as (access, title, word); word ``unknown`` where unwalked."""
        found = []
        for key, how in self.state.open.items():
            access = self.fitted.access[key]
            found.append((key, access.title, "unknown" if how == "unknown" else access.entry.word))
        return tuple(found)

    def barred(self) -> dict[str, str]:
        """Return what may not be done now: check, repair or access instance → why."""
        if self._memo.barred is None:
            self._memo.barred = self._barred()
        return dict(self._memo.barred)

    def _barred(self) -> dict[str, str]:
        intake, fitted = self.intake, self.fitted
        found: dict[str, str] = {}
        gates = [f for f in self.firings() if f.kind == "gate"]
        for kind in (fitted.checks, fitted.repairs, fitted.access):
            for key, fit in kind.items():
                if why := self.lacking(fit.entry):
                    found[key] = why
                else:
                    for gate in gates:
                        blocked = gate.get("block") in (fit.name, *fit.entry.tags)
                        if blocked and gate.get("channel") in ("", fit.channel):
                            found[key] = gate.says
                            break
        for key in self.state.open:
            found.pop(key, None)
        behind = {key: why for key, why in found.items() if key in fitted.access}
        needed = fitted.needed
        for steps in (fitted.checks, fitted.repairs):
            for key, fit in steps.items():
                way = sorted(needed(fit.needs) & set(behind))
                if way:
                    found.setdefault(key, behind[way[0]])
        for key, (_, reason) in self.state.declined.items():
            found.setdefault(key, f"declined: {reason}" if reason else "declined")
        for key in self.state.unsure:
            found.setdefault(key, "could not tell")
        for key in asked_already(fitted, intake.ages):
            found.setdefault(key, "the age was told")
        for key, _ in counted(fitted, intake.starts):
            found.setdefault(key, "the starts told are counted by lane already")
        if intake.earlier and READ_BACK[0] in fitted.checks:
            # The log would tell once more of what is in the belief already.
            found.setdefault(READ_BACK[0], "earlier cases are carried in its place")
        touched = {zone for key in self.state.repairs for zone in fitted.repairs[key].clears}
        moved = {
            zone
            for item in self.state.evidence
            if item.kind == "swap"
            for channel in swap.read(item.key)[1:]
            for zone in swap.zones(self.kit.model, swap.read(item.key)[0], channel)
        }
        for key, check in fitted.checks.items():
            # What the papers and the crew say is about the time before the repair.
            if touched & set(check.given) and check.entry.kind == "history":
                found.setdefault(key, "about the time before the repair")
            if moved & set(check.given) and check.entry.kind == "history":
                found.setdefault(key, "about the time before parts changed places")
        for key in self.state.repairs:
            if fitted.repairs[key].entry.parts > 0:
                for looked in fitted.repairs[key].examines:
                    # It is a look at the part that came off; a new one is looked at as it goes in.
                    found.setdefault(looked, "about the part that came off")
        for key, times in Counter(self.state.repairs).items():
            if times >= may_do(fitted.repairs[key]):
                found.setdefault(key, "done already")
        setting = self.setting
        for key in self.belief.occasion:
            repeats = fitted.checks[key].repeats
            if repeats is None:
                asked = self.belief.in_condition(key, setting)
            elif fitted.checks[key].entry.starts:
                # Each start is an occasion of its own, so that they are counted from the last work on.
                asked = len(self.belief.occasion[key]) >= repeats.most
            else:
                asked = len(self.belief.had(key, *setting)) >= repeats.most
            if asked:
                found.setdefault(key, "answered")
        return found

    def lacking(self, entry: Check | Repair | Access) -> str:
        """Return why a step cannot be done here whatever stands: place, people, tools; empty where it can."""
        intake = self.intake
        may = {a for p in intake.people for a in p.may}
        on_the_way = {c.tool for c in intake.coming}
        lacking = [a for a in entry.authority if a not in may]
        without = [t for t in entry.tools if t in intake.missing and t not in on_the_way]
        if intake.place not in entry.place:
            return f"not at the {intake.place}"
        if lacking:
            return f"nobody here holds: {', '.join(lacking)}"
        if without:
            return f"not at hand: {', '.join(without)}"
        return f"takes {entry.people} people" if entry.people > max(1, len(intake.people)) else ""

    def think(self, budget: int, stopped: Callable[[], bool] = lambda: False, apart: bool = False) -> None:
        """Look so many expansions ahead from now on at each offer, until stopped (then an offer is not kept).

        ``apart``: in a thread of its own, beside a chase of the same kit that somebody works on.
        """
        self._at_once, self._stopped, self._apart = budget, stopped, apart

    def ranked(self) -> Ranked:
        """Return the moves that may be made now, best first.

        The budget is that of the offer as it stands on the trail, so that it is the same when the case is taken up
        again, else ``BUDGET``. What somebody has thought of longer meanwhile is taken as it is.
        """
        if self._memo.ranked is None:
            barred = self.barred()
            posed, position = self.posed(barred)
            left = self._whole_minutes_left()
            key = self._question(barred, left)
            wanted = self._offered_budget() or 0
            decision = self._thought_of(key, wanted)
            if decision is None:
                objective, stopped = self.intake.objective, self._stopped
                decision = decide(posed.problem, position, wanted or self._at_once, left, objective, stopped)
                if not stopped():
                    self.kit.keep((*key, decision.budget), decision)
            withheld = set(self.state.declined) - {ESCALATE}
            moves = tuple(m for m in decision.moves if m.name not in withheld)
            first = moves[0] == decision.moves[0]
            self._memo.ranked = Ranked(
                moves,
                posed,
                barred,
                posed.kept * decision.bound,
                decision.exact and first and posed.kept > SOLVED,
                decision.together if first else (),
                decision.budget,
            )
        return self._memo.ranked

    def posed(self, barred: Collection[str] = ()) -> tuple[Posed, Position]:
        """Return the decision problem as it stands, and where in it the case is."""
        state = self.state
        poser = self.poser
        proven = state.passes > 0
        posed = poser.pose(
            self.belief,
            [key for key in self.verification if key not in self.proven()],
            self.setting,
            barred=barred,
            again=proven,
            done=Counter(state.repairs),
            later=self._later(),
            opened=tuple(state.open),
        )
        enough = state.passes >= MOST_PASSES or self._failed_since_repair() >= MOST_FAILS
        proofs = posed.problem.verify.most if enough else 0
        return posed, Position(posed.problem.p, posed.mask(state.open), proofs=proofs, proven=proven)

    @property
    def poser(self) -> Poser:
        """What poses the problems of this case."""
        intake = self.intake
        return self.kit.poser(intake.place, condition_now(intake), intake.objective, intake.hands, self._apart)

    def _question(self, barred: Mapping[str, str], left: float | None) -> tuple[Any, ...]:
        """Return all that a decision depends on."""
        state = self.state
        return (
            self.intake,
            self.setting,
            tuple(state.evidence),
            frozenset(barred),
            tuple(sorted(state.open)),
            tuple(k for k in self.verification if k not in self.proven()),
            state.passes,
            self._failed_since_repair(),
            tuple(sorted(self._later().items())),
            left,
        )

    def _thought_of(self, key: tuple[Any, ...], budget: int) -> Decision | None:
        if budget:
            return self.kit.plans.get((*key, budget))
        return next((d for b in (THOUGHT, BUDGET) if (d := self.kit.plans.get((*key, b))) is not None), None)

    def _offered_budget(self) -> int | None:
        """Return the budget of the offer on the trail, where nothing said since changes what moves are worth."""
        for event in reversed(self.state.events):
            if event.kind == "offered":
                return int(event.body.get("budget", 0)) or None
            still = event.kind == "access" and event.body.get("walked") and event.body["state"] == "open"
            if event.kind not in SAYS_NOTHING_NEW | AWAY and not still:
                return None
        return None

    def _whole_minutes_left(self) -> float | None:
        left = self.minutes_left
        return None if left is None else float(round(left))

    def coming(self) -> dict[str, float]:
        """Return what is on its way as tool → whole minutes until it is here."""
        waits = {c.tool: float(np.ceil(c.minutes - self.elapsed)) for c in self.intake.coming}
        return {tool: minutes for tool, minutes in waits.items() if minutes > 0}

    def _later(self) -> dict[str, float]:
        """Return check, repair or access instance → minutes until what it takes is here."""
        coming = self.coming()
        if not coming:
            return {}
        found: dict[str, float] = {}
        for kind in (self.fitted.checks, self.fitted.repairs, self.fitted.access):
            for key, fit in kind.items():
                waits = [coming[t] for t in fit.entry.tools if t in coming]
                if waits and key not in self.state.open:
                    found[key] = max(waits)
        return found

    def deferring(self) -> Deferring | None:
        """Return what deferring a channel would cost beside going on; None where nobody waits or it is no question.

        Going on counts the minutes after departure by the profile's ``delay``. Deferring counts the proof of the other
        channel, closing up and the profile's ``defer``; where the other one does not prove good, one goes on. The
        figures stand as long as those of the moves beside them.
        """
        if not self._memo.deferring:
            self._memo.deferring.append(self._deferring())
        return self._memo.deferring[0]

    def _deferring(self) -> Deferring | None:
        left = self.minutes_left
        if left is None or self.state.ended or len(self.fitted.channels) < 2:
            return None
        ranked, w = self.ranked(), self.poser.weights
        first = ranked.moves[0]
        late = first.late or 0.0
        going_on = first.expected + w.delay * late
        found = []
        joint = self.belief.joint
        for channel in self.fitted.channels:
            healthy: list[Any] = []
            for zone in self.fitted.zones.values():
                # All but the channel deferred has to be sound.
                healthy.append(slice(None) if zone.channel == channel else 0)
            good = float(joint[tuple(healthy)].sum())
            others = [c for c in self.fitted.channels if c != channel]
            open_now = ranked.posed.mask(self.state.open)
            minutes, steps, standing = 0.0, [], self.proven()
            for other in others:
                proofs = deferral.proofs(self, other)
                if not proofs:
                    good = 0.0
                for check in proofs:
                    if check.key in standing:
                        continue
                    if check.key in self.barred():
                        good = 0.0
                    minutes += check.minutes
                    mask = ranked.posed.mask
                    steps.append((mask(check.needs), mask(check.shut), mask(check.spoils)))
            minutes += self.poser.crossings.along(open_now, tuple(steps))
            cost = minutes + w.delay * max(0.0, minutes - left) + good * w.defer + (1 - good) * going_on
            found.append(Deferring(channel, going_on, cost, good))
        best = min(found, key=lambda d: (d.cost, d.channel))
        return best if best.likely > 0 else None

    def _failed_since_repair(self) -> int:
        failed = 0
        for event in self.state.events:
            if event.kind in ("repaired", "swapped"):
                failed = 0
            elif event.kind == "verified" and event.body.get("failed"):
                failed += 1
        return failed

    def firings(self, about: Sequence[Fact] = ()) -> tuple[Firing, ...]:
        """Return the rules that fire on the case as it stands; with the about-to facts of a step, those on the step."""
        key = tuple(about)
        if key not in self._memo.firings:
            if self._memo.facts is None:
                self._memo.facts = case_facts.standing(self.fitted, self.state, self.belief, self.minutes_left)
            if about:
                found = [
                    fact("finding", name=f.get("finding"), channel=f.get("channel"))
                    for f in self.firings()
                    if f.kind == "finding"
                ]
                with self.kit.turn:
                    self._memo.firings[key] = self.kit.step_rules.run([*self._memo.facts, *found, *about])
            else:
                with self.kit.turn:
                    self._memo.firings[key] = self.kit.standing_rules.run(self._memo.facts)
        return self._memo.firings[key]

    # -- what to do now ------------------------------------------------------------------------------

    def now(self) -> Step:
        """Return what the person is to do now. Writes nothing."""
        state = self.state
        if state.ended:
            return Done(f"Case {self.id}: {state.ended}", state.ended, state.record)
        if state.here_due:
            return Here("Who is here now")
        if state.unknown:
            access = self.fitted.access[state.unknown[0]]
            return Walk(access.title, access.key, access.entry.word, self._walked_by(access.key))
        if state.unlooked:
            what = state.unlooked[0]
            return Walk(what, "", LOOSE_WORD, self._walked_by(what))
        if unfounded := self._unfounded(lasting=True):
            # A plug is out and the breakers have been pushed in: what makes it safe comes before all else.
            needs = [n for key in unfounded for n in self.fitted.access[key].needs]
            crossing = self._crossing(needs, (), self.fitted.access[unfounded[0]].title)
            if crossing:
                return crossing
        if state.move is None:
            return self._offer()
        if state.move.kind == "check":
            return self._doing(self.fitted.check(state.move.key), "check")
        if state.move.kind == "repair":
            return self._repairing(self.fitted.repair(state.move.key))
        if state.move.kind == "swap":
            return self._changing_over(state.move.key)
        if state.move.kind == "verify":
            return self._verifying()
        return self._closing()

    def _walked_by(self, key: str) -> tuple[FactAsk, ...]:
        """Return what is asked with a walk: after the work was passed on, who went."""
        return (handing.SEEN_BY,) if key in self.state.by_person else ()

    def _repairing(self, repair: FitRepair) -> Step:
        held = self._held(repair.key, "repair")
        if held:
            return held
        crossing = self._crossing(repair.needs, repair.shut, repair.title)
        if crossing:
            return crossing
        for key in repair.examines:
            if self._unasked(key):
                check = self.fitted.check(key)
                if not self._way(check.needs, check.shut):
                    return self._doing(check, "repair")
        tags = case_facts.about_to("repair", repair.key, repair.entry.tags)
        running = self._waited(repair.needs, repair.shut, repair.title)
        step = self._before(repair.key, repair.cautions, tags, repair.channel, repair.title, running)
        if isinstance(step, Step):
            return step
        return Mend(
            title=repair.title,
            key=repair.key,
            how=_worded(repair.steps, repair.channel),
            never=_worded(repair.never, repair.channel),
            cautions=step,
            record=worded(repair.entry.record, repair.channel),
            minutes=repair.entry.minutes,
            part=PART if repair.entry.parts > 0 else (),
        )

    def _changing_over(self, key: str) -> Step:
        """Return the next step of changing parts over: on each channel what its replacement needs and asks."""
        title, why = swaps.title(key), self._no_exchange(key)
        if why:
            return Held(title, key, (why,))
        both = self._exchanged(key)
        needs = tuple(dict.fromkeys(n for repair in both for n in repair.needs))
        shut = tuple(dict.fromkeys(n for repair in both for n in repair.shut))
        crossing = self._crossing(needs, shut, title)
        if crossing:
            return crossing
        running = self._waited(needs, shut, title)
        cautions: list[CautionShown] = []
        for repair in both:
            about = case_facts.about_to("repair", repair.key, (*repair.entry.tags, swaps.CHANGES_OVER))
            # The spare that a replacement takes is not needed: both parts are here.
            step = self._before(repair.key, repair.cautions, about, repair.channel, title, running, takes=False)
            if isinstance(step, Step):
                return step
            said = {c.text for c in cautions}
            cautions += [c for c in step if c.text not in said]
        part, one, other = swap.read(key)
        return Mend(
            title=title,
            key=key,
            how=swaps.exchange_steps(part, one, other),
            never=tuple(dict.fromkeys(line for r in both for line in _worded(r.never, r.channel))),
            cautions=tuple(cautions),
            record=swaps.record_line(Swap(part, one, other)),
            minutes=sum(repair.entry.minutes for repair in both),
            part=swaps.serials(part, one, other),
        )

    def _exchanged(self, key: str) -> tuple[FitRepair, ...]:
        """Return the repairs that replace the parts of an exchange, one for each channel: it is done as they are."""
        part, one, other = swap.read(key)
        by_channel = swaps.movable(self.fitted).get(part, {})
        if not other or one not in by_channel or other not in by_channel:
            raise Refused(f"there is no move called {key!r} now")
        return by_channel[one], by_channel[other]

    def _no_exchange(self, key: str) -> str:
        """Return why parts may not be changed over now; empty where they may."""
        barred, may = self.barred(), {a for p in self.intake.people for a in p.may}
        gates = [f for f in self.firings() if f.kind == "gate"]
        for repair in self._exchanged(key):
            entry = repair.entry
            lacking = [a for a in entry.authority if a not in may]
            if self.intake.place not in entry.place:
                return f"not at the {self.intake.place}"
            if lacking:
                return f"nobody here holds: {', '.join(lacking)}"
            if entry.people > max(1, len(self.intake.people)):
                return f"takes {entry.people} people"
            for gate in gates:
                blocked = gate.get("block") in (repair.name, *entry.tags, swaps.CHANGES_OVER)
                if blocked and gate.get("channel") in ("", repair.channel):
                    return gate.says
            behind = sorted(self.fitted.needed(repair.needs) & set(barred))
            if behind:
                return barred[behind[0]]
        return ""

    def exchanges(self) -> tuple[Valued, ...]:
        """Return the parts that may be changed over between channels now, as moves with their figures.

        No plan looks for them: an exchange mends nothing. What is expected after one is what the plan expects with the
        parts changed over and all open that it takes.
        """
        if self._memo.exchanges is None:
            found = []
            channels = self.fitted.channels
            for part in swaps.movable(self.fitted):
                for one, other in combinations(channels, 2):
                    key = swap.spelled(part, one, other)
                    if key not in self.state.declined and self._movable(key) and not self._no_exchange(key):
                        found.append(self._exchange(key))
            self._memo.exchanges = tuple(sorted(found, key=lambda m: (m.expected, m.name)))
        return self._memo.exchanges

    def _movable(self, key: str) -> bool:
        part, one, other = swap.read(key)
        return {one, other} <= set(swaps.movable(self.fitted).get(part, {}))

    def _exchange(self, key: str) -> Valued:
        poser, both = self.poser, self._exchanged(key)
        needs, shut = [n for r in both for n in r.needs], [n for r in both for n in r.shut]
        minutes, after, crossings = poser.crossings.go(poser.mask(self.state.open), poser.mask(needs), poser.mask(shut))
        own = poser.weights.labour * sum(r.entry.minutes for r in both)
        done_at = self.clock() + timedelta(minutes=minutes + own)
        then = type(self)(self.kit, Memory(self.state.events), self.id, lambda: done_at)
        now_open = {name for i, name in enumerate(poser.access) if after >> i & 1}
        was_open = set(self.state.open)
        then._write(
            *(("access", {"access": k, "state": "shut", "minutes": 0}) for k in sorted(was_open - now_open)),
            *(("access", {"access": k, "state": "open", "minutes": 0}) for k in sorted(now_open - was_open)),
            ("swapped", swaps.body(Swap(*swap.read(key)))),
        )
        rest = then.ranked().moves[0]
        expected, late = minutes + own + rest.expected, rest.late
        return Valued("swap", key, expected, minutes + own, 0.0, (1.0,), crossings, rest.chance, late)

    def _verifying(self) -> Step:
        return self._doing(self.fitted.check(self._verify_next()), "verify")

    def _unasked(self, key: str) -> bool:
        return not self.belief.occasion.get(key) and key not in self.state.unsure

    def _doing(self, check: FitCheck, within: str) -> Step:
        held = None if within == "repair" else self._held(check.key, "check")
        if held:
            return held
        crossing = self._crossing(check.needs, check.shut, check.title)
        if crossing:
            return crossing
        tags = case_facts.about_to("verify" if within == "verify" else "check", check.key, check.entry.tags)
        running = self._waited(check.needs, check.shut, check.title)
        step = self._before(check.key, check.cautions, tags, check.channel, check.title, running)
        if isinstance(step, Step):
            return step
        return Ask(
            title=check.title,
            key=check.key,
            within=within,
            purpose=worded(check.entry.purpose, check.channel),
            how=_worded(check.steps, check.channel),
            never=_worded(check.never, check.channel),
            cautions=step,
            outcomes=tuple(
                (name, check.said(name), worded(outcome.means, check.channel))
                for name, outcome in check.entry.outcomes.items()
            ),
            minutes=check.minutes,
        )

    def _closing(self) -> Step:
        due = self._due()
        if due is not None:
            return due
        way = self._way((), tuple(self.state.open))
        if way:
            return self._cross(way, "close-up", closing_up=True)
        wait = self._waited((), tuple(self.fitted.access), "close-up")
        if wait is None:
            # It has just run out; being told so closes the case.
            over = CautionShown("", "wait", "The last wait", "Its time has run.", "caution", ())
            wait = Wait(over.title, over, self.clock(), "close-up")
        return wait

    def _due(self) -> Report | None:
        """Return what has to be told before this case may be closed: loose things made good, the inspection."""
        if self.state.loose:
            return self._make_good()
        if self.inspection_due():
            return Report(
                "Independent inspection",
                "inspection",
                "both-channels",
                INSPECTION_TEXT,
                INSPECTION,
            )
        return None

    def _make_good(self) -> Report:
        what = next(iter(self.state.loose))
        return Report(f"Make good: {what}", "loose", what, LOOSE_TEXT, handing.MADE_GOOD)

    def touched(self) -> dict[str, int]:
        """Return channel → seq of the last time that it was opened or repaired in this case, as the rules find it."""
        found: dict[str, int] = {}
        for event in self.state.events:
            if event.kind == "fired" and event.body.get("asserted", {}).get("finding") == TOUCHED:
                found[str(event.body["asserted"].get("channel", ""))] = event.seq
            elif event.kind == "repaired" and event.seq not in self.state.void:
                zones = self.fitted.repair(event.body["repair"]).clears
                for channel in {self.fitted.zones[z].channel for z in zones} - {""}:
                    found[channel] = event.seq
            elif event.kind == "swapped" and event.seq not in self.state.void:
                for channel in filter(None, swap.read(event.body["key"])[1:]):
                    found[channel] = event.seq
            elif event.kind == "access" and event.body["state"] == "open" and not event.body.get("walked"):
                channel = split(event.body["access"])[1]
                if channel in found:
                    found[channel] = event.seq
        found.pop("", None)
        return found

    def inspection_due(self) -> bool:
        """Return whether more than one channel was touched and nobody has inspected it independently since."""
        touched = self.touched()
        last = max((seq for seq, _ in self.state.inspections), default=0)
        return len(touched) > 1 and last < max(touched.values())

    def _held(self, key: str, kind: str) -> Held | None:
        """Say why a move in hand may not go on, where something has come in between since it was offered."""
        why = self.barred().get(key)
        if why in (None, "answered", "could not tell"):
            return None
        fit: FitCheck | FitRepair = self.fitted.checks[key] if kind == "check" else self.fitted.repairs[key]
        return Held(fit.title, key, (str(why),))

    def _way(self, needs: Collection[str], shut: Collection[str]) -> tuple[tuple[FitAccess, bool], ...]:
        """Return the crossings from what is open to what a step needs, in order."""
        poser = self.poser
        ways = poser.crossings
        _, _, crossings = ways.go(poser.mask(self.state.open), poser.mask(needs), poser.mask(shut))
        found = []
        for c in crossings:
            access = self.fitted.access[poser.access[c.access]]
            found.append((access, c.opening))
        return tuple(found)

    def _crossing(self, needs: Collection[str], shut: Collection[str], before: str) -> Step | None:
        way = self._way(needs, shut)
        return self._cross(way, before) if way else None

    def _waited(self, needs: Collection[str], shut: Collection[str], before: str) -> Wait | None:
        """Return the longest wait that still runs for what a step needs open, with all below it, and shut."""
        running = [
            (until, key, crossing)
            for key, crossing, until in self._waiting()
            if (key in shut if key not in self.state.open else key in self.fitted.needed(needs))
        ]
        if not running:
            return None
        until, key, opening = max(running)
        title = self.fitted.access[key].title
        done = f"{title}: {self.fitted.access[key].entry.word}" if opening else f"{title}: put back"
        shown = CautionShown(
            name="",
            key=f"wait {key}",
            title=f"Wait: {title}",
            text=f"{done}. It does not count before its time has run; the time runs from when it was done.",
            level="caution",
            asks=(),
        )
        return Wait(shown.title, shown, until, before)

    def _waiting(self) -> list[tuple[str, bool, datetime]]:
        """Return the waits of crossings that still run as (access, whether it was opened, until when).

        The time runs on while the case is left; seeing that a thing is still open does not begin it anew.
        """
        now = self.clock()
        found = []
        for key, access in self.fitted.access.items():
            is_open = key in self.state.open
            crossing = access.open if is_open else access.close
            if crossing.entry.wait == 0:
                continue
            done = self._crossed_last(key, is_open)
            if done is None:
                continue
            minutes = max(float(done.body.get("wait", 0)), crossing.waits(condition_now(self.intake)))
            until = parse_time(done.time) + timedelta(minutes=minutes)
            if until > now:
                found.append((key, is_open, until))
        return found

    def _crossed_last(self, key: str, is_open: bool) -> Event | None:
        """Return the event since which an access state stands as it does, None where nobody did anything."""
        seen = None
        for event in reversed(self.state.events):
            if event.kind != "access" or event.body["access"] != key or event.body["state"] == "unknown":
                continue
            if (event.body["state"] == "open") != is_open or event.body.get("of_itself"):
                return seen
            seen = event
            if not event.body.get("walked") and event.seq not in self.state.void:
                return event
        return seen

    def waits_running(self) -> list[tuple[str, datetime]]:
        """Return the timers that run now, those of crossings and those of cautions, as (title, until)."""
        found = [(self.fitted.access[key].title, until) for key, _, until in self._waiting()]
        for key in self.state.confirmed:
            name, channel = split(key)
            caution = self.fitted.knowledge.cautions.get(name)
            until = self._until(caution, key, channel) if caution is not None else None
            if until is not None and caution is not None and until > self.clock():
                found.append((caution.title, until))
        return found

    def _cross(self, way: Sequence[tuple[FitAccess, bool]], before: str, closing_up: bool = False) -> Step:
        access, opening = way[0]
        crossing = access.open if opening else access.close
        title = f"{'Open' if opening else 'Close'}: {access.title}"
        tags = case_facts.about_to("open" if opening else "close", access.key, access.entry.tags)
        why = self.barred().get(access.key) if opening else None
        if why:
            return Held(title, access.key, (why,))
        if not opening and self.state.loose:
            # Nothing is put back over it, and no supply comes on.
            return self._make_good()
        running = self._waited(access.needs, access.shut, title) if opening else None
        step = self._before(access.key, crossing.cautions, tags, access.channel, title, running)
        if isinstance(step, Step):
            return step
        return Cross(
            title=title,
            access=access.key,
            opening=opening,
            do=worded(crossing.do, access.channel),
            looks=_worded(crossing.checks, access.channel),
            cautions=step,
            minutes=crossing.minutes,
            wait=crossing.waits(condition_now(self.intake)),
            number=1,
            of=len(way),
            closing_up=closing_up,
        )

    def _before(
        self,
        key: str,
        names: Sequence[str],
        about: Sequence[Fact],
        channel: str,
        title: str,
        running: Wait | None = None,
        takes: bool = True,
    ) -> Step | tuple[CautionShown, ...]:
        """Return what comes before a step (held, a caution to confirm, a timer), or the cautions it shows.

        ``running``: the wait of a crossing that has to run out first. What has a timer of its own is told meanwhile,
        everything else after it, so that it is fresh. ``takes``: whether what the step takes has to be here.
        """
        entry_tags = {str(f.get("tag")) for f in about}
        name = split(key)[0]
        reasons = []
        cautions = list(names)
        for firing in self.firings(about):
            if firing.kind == "gate" and firing.get("channel") in ("", channel):
                if firing.get("block") in entry_tags | {name}:
                    reasons.append(firing.says)
            elif firing.kind == "caution" and any(f.kind == "about-to" for f in firing.matched):
                cautions.append(firing.get("caution"))
        if reasons:
            return Held(title, key, tuple(dict.fromkeys(reasons)))
        if takes and (wait := self._on_its_way(key, title)) is not None:
            return wait
        shown = []
        meant = list(dict.fromkeys(c for c in cautions if c in self.fitted.cautions))
        if running is not None:
            meant = [c for c in meant if self.fitted.cautions[c].wait is not None]
        for caution_name in meant:
            caution = self.fitted.knowledge.cautions[caution_name]
            as_shown = self.caution(caution_name, channel)
            if caution.asks and not self._stands(caution, as_shown.key, channel):
                return Confirm(caution.title, as_shown, title)
            until = self._until(caution, as_shown.key, channel)
            if until is not None and self.clock() < until:
                return Wait(caution.title, as_shown, until, title)
            shown.append(as_shown)
        return running if running is not None else tuple(shown)

    def _on_its_way(self, key: str, title: str) -> Wait | None:
        """Return the wait for what a step takes and is not here yet."""
        fitted, coming = self.fitted, self.coming()
        fit = fitted.checks.get(key) or fitted.repairs.get(key) or fitted.access.get(key)
        takes = [c for c in self.intake.coming if fit is not None and c.tool in fit.entry.tools and c.tool in coming]
        if not takes:
            return None
        minutes, tool = max((c.minutes, c.tool) for c in takes)
        shown = CautionShown("", f"wait {tool}", f"Wait: {tool}", f"{tool} is on its way.", "caution", ())
        return Wait(shown.title, shown, parse_time(self.state.opened) + timedelta(minutes=minutes), title)

    def caution(self, name: str, channel: str) -> CautionShown:
        """Return a caution as it is shown for a channel."""
        caution = self.fitted.knowledge.cautions[name]
        shared = [not a.channel for a in self.fitted.access.values() if a.name in caution.holds_while]
        return CautionShown(
            name=name,
            # What holds while only shared things stand open was asked for every channel at once.
            key=name if shared and all(shared) else instance(name, channel),
            title=caution.title,
            text=worded(caution.text, channel),
            level=caution.level,
            asks=tuple(caution.asks),
        )

    def _meant(self, names: Sequence[str], channel: str) -> list[str]:
        """Return the access instances that a caution's names mean for a step on this channel."""
        found = []
        for key, access in self.fitted.access.items():
            if access.name in names and (not channel or not access.channel or access.channel == channel):
                found.append(key)
        return found

    def _stands(self, caution: Caution, key: str, channel: str) -> bool:
        had = self.state.confirmed.get(key)
        if had is None:
            return False
        done = (e.seq for e in self.state.events if e.kind in ("access", "answered", "repaired", "swapped"))
        since = self.state.accepted if self.state.move is not None else max(done, default=0)
        if had[0] > since:
            return True
        held = self._meant(caution.holds_while, channel)
        return bool(held) and all(
            self.state.open.get(k) == "open" and self.state.shut_at.get(k, 0) < had[0] for k in held
        )

    def _until(self, caution: Caution, key: str, channel: str) -> datetime | None:
        """Return when a caution's timer runs out; it starts at the opening of the access named, else at its telling."""
        had = self.state.confirmed.get(key)
        if caution.wait is None or had is None:
            return None
        minutes = float(had[1].get(caution.wait, 0))
        start = parse_time(had[2])
        opened = [
            parse_time(e.time)
            for access in self._meant(caution.since, channel)
            for e in self.state.events
            if e.kind == "access" and e.body["access"] == access and e.seq == self.state.since.get(access)
        ]
        return (max(opened) if opened else start) + timedelta(minutes=minutes)

    def _offer(self) -> Offer:
        moves = self.ranked().moves
        return self.offer(moves[0])

    def offer(self, move: Valued) -> Offer:
        """Return a move in full, as it is put to the person."""
        fitted = self.fitted
        ranked = self.ranked()
        crossings = tuple(
            CrossingShown(
                access=(a := fitted.access[ranked.posed.access[c.access]]).key,
                opening=c.opening,
                title=a.title,
                word=a.entry.word,
                minutes=(a.open if c.opening else a.close).minutes
                + (a.open if c.opening else a.close).waits(condition_now(self.intake)),
            )
            for c in move.crossings
            if c.opening or fitted.access[ranked.posed.access[c.access]].entry.lasting
        )
        others = tuple(
            Other(m.kind, m.name, self.title_of(m.kind, m.name), m.expected, m.now, m.chance)
            for m in ranked.moves
            if m.name != move.name
        )[:6]
        first = move is ranked.moves[0]
        outcomes: tuple[explain.Shift, ...] = ()
        how: Sequence[str] = ()
        never: Sequence[str] = ()
        cautions: Sequence[str] = ()
        purpose, own, channel, direct = "", 0.0, "", False
        if move.kind == "check":
            check = fitted.check(move.name)
            channel, purpose, own = check.channel, worded(check.entry.purpose, check.channel), check.minutes
            how, never, cautions = check.steps, check.never, check.cautions
            outcomes = explain.shifts(self.belief, check.key, self.setting)
            asks = any(fitted.knowledge.cautions[c].asks for c in cautions)
            direct = not crossings and not asks
        elif move.kind == "repair":
            repair = fitted.repair(move.name)
            channel, own = repair.channel, repair.entry.minutes
            how, never, cautions = repair.steps, repair.never, repair.cautions
            purpose = "Doing it now is expected to cost less than finding out more first."
        elif move.kind == "swap":
            both, (part, one, other) = self._exchanged(move.name), swap.read(move.name)
            how = swaps.exchange_steps(part, one, other)
            never = tuple(dict.fromkeys(line for r in both for line in _worded(r.never, r.channel)))
            cautions = tuple(dict.fromkeys(c for r in both for c in r.cautions))
            own = sum(r.entry.minutes for r in both)
            purpose = "It mends nothing: to see whether the fault goes with the part. What was seen is destroyed by it."
        elif move.kind == "verify":
            purpose = "Prove each channel by itself, as the complaint calls for."
            how = [fitted.check(k).title for k in ranked.posed.verification]
            own = sum(fitted.check(k).minutes for k in ranked.posed.verification)
        elif move.name == WATCH:
            purpose = (
                f"What the complaint asks for has passed, but {self.remaining:.0%} is the chance that a fault is left, "
                "and finding out more is expected to cost more than watching the next starts."
            )
        elif move.name == ESCALATE:
            purpose = "Going on here is expected to cost more than giving it to somebody with other means."
        else:
            repair = fitted.repair(move.name)
            purpose = f"The evidence points away from ignition: hand over to {repair.entry.to}, with what was found."
            how = repair.steps
        return Offer(
            title=self.title_of(move.kind, move.name),
            kind=move.kind,
            key=move.name,
            purpose=purpose,
            how=_worded(how, channel),
            never=_worded(never, channel),
            crossings=crossings,
            cautions=tuple(self.caution(c, channel) for c in cautions),
            outcomes=outcomes,
            others=others,
            expected=move.expected,
            now=move.now,
            own_minutes=own,
            bits=move.told,
            cleared=move.outcomes[0] if move.kind == "repair" else 0.0,
            direct=direct,
            chance=move.chance,
            bound=ranked.bound if first else 0.0,
            exact=ranked.exact and first,
            together=tuple(fitted.check(k).title for k in ranked.together) if first else (),
            deferring=self.deferring() if first else None,
            after=self._wait_for(move),
        )

    def _wait_for(self, move: Valued) -> tuple[tuple[str, float], ...]:
        """Return what a move takes that is still on its way, with the minutes until it is here."""
        fitted = self.fitted
        fit = fitted.checks.get(move.name) or fitted.repairs.get(move.name)
        coming = self.coming()
        if fit is None or not coming:
            return ()
        takes = {t for k in fitted.needed(fit.needs) if k not in self.state.open for t in fitted.access[k].entry.tools}
        return tuple(sorted((t, m) for t, m in coming.items() if t in takes | set(fit.entry.tools)))

    def title_of(self, kind: str, key: str) -> str:
        """Return a move's title."""
        if kind == "swap" or "<>" in key:
            return swaps.title(key)
        if kind == "check":
            return self.fitted.check(key).title
        if kind == "repair" or key in self.fitted.repairs:
            return self.fitted.repair(key).title
        if kind == "verify":
            return "Verify: " + (self.fitted.complaints[self.intake.complaint].title.lower())
        if key == CLOSE_UP:
            return "Close up"
        if key == deferral.DEFER:
            return deferral.TITLE
        if key == WATCH:
            return "Stop here: no more found, the next starts to be watched"
        return "Hand the chase to somebody with other means"

    def titled(self, key: str) -> str:
        """Return the title of a check, repair, access state or end by its name."""
        fits: Sequence[Mapping[str, FitCheck | FitRepair | FitAccess]] = (
            self.fitted.checks,
            self.fitted.repairs,
            self.fitted.access,
        )
        return next((fit[key].title for fit in fits if key in fit), None) or self.title_of("", key)

    def sign_title(self, seen: Seen) -> str:
        """Return a sign that was told in words."""
        sign = self.fitted.signs.get(seen.sign)
        about = f", channel {seen.channel}" if seen.channel else ""
        return f"{sign.title if sign is not None else seen.sign}{about}"

    # -- what was done -------------------------------------------------------------------------------

    def accept(self, kind: str | None = None, key: str | None = None) -> None:
        """Take up the move offered, or another by kind and name. Raises Refused for one that may not be done."""
        self._need(Offer)
        if key is None:
            first = self.ranked().moves[0]
            kind, key = first.kind, first.name
        move = next((m for m in self.ranked().moves if m.name == key and kind in (None, m.kind)), None)
        if move is None and swaps.known(self.fitted, key):
            if held := self._no_exchange(key):
                raise Refused(f"{swaps.title(key)}: it may not be done now: {held}")
            move = next((m for m in self.exchanges() if m.name == key), None)
        if move is None:
            why = self.ranked().barred.get(key)
            if why is None and key in self.fitted.repairs:
                why = "nothing it clears is suspected any more"
            raise Refused(f"{key} may not be done now: {why}" if why else f"there is no move called {key!r} now")
        offer = self.offer(move)
        self._write(
            ("accepted", {"kind": move.kind, "move": move.name, "expected": _figure(move.expected)}),
            *self._acknowledged(offer.cautions if offer.direct else ()),
        )
        self._settle()

    def answer(self, outcome: str | None, note: str = "", reading: Mapping[str, Any] | None = None) -> None:
        """Take a check's outcome; None is "could not tell". At a direct offer this accepts it as well.

        ``reading``: what was measured, as :func:`isolate.case.measured.body` gives it. An outcome against what the
        reading comes to needs a note that says why. Raises Refused.
        """
        step = self.now()
        if isinstance(step, Offer) and step.direct:
            check = self.fitted.check(step.key)
            self._known(check, outcome)
            if reading is not None:
                self._read(check, outcome, reading, note)
            self.accept()
            step = self.now()
        if not isinstance(step, Ask):
            raise Refused("nothing is being asked now")
        check = self.fitted.check(step.key)
        self._known(check, outcome)
        body = {
            "check": check.key,
            "outcome": outcome,
            # Who was away at length with a step in hand answers on an occasion of its own.
            **setting(self.state, self._starts, self.clock())._asdict(),
            "minutes": check.minutes,
            "spoils": [s for s in check.spoils if s in self.state.open],
            "within": step.within,
        }
        if "motoring" in check.entry.tags and outcome is not None:
            body["motors"] = True
        if reading is not None:
            body["reading"] = self._read(check, outcome, reading, note)
        items: list[tuple[str, Mapping[str, Any]]] = [*self._acknowledged(step.cautions), ("answered", body)]
        if (changed := check.entry.swaps) is not None and not changed.back and outcome is not None:
            changed_over = Swap(changed.part, *self.fitted.channels[:2])
            items.append(("swapped", {**swaps.body(changed_over), "of": check.key, "of_itself": True}))
        if note:
            items.append(("noted", {"text": note, "about": check.key}))
        self._write(*items)
        self._settle()

    def record(self, answers: Sequence[tuple[str, str, Mapping[str, Any]]]) -> None:
        """Take what a record that was read for one check says of others: (check, outcome, reading) of each.

        Only between moves, and only checks that say of themselves that a record answers them along with another. One
        that was answered already, or could not be told, is left as it is. Raises Refused.
        """
        if self.state.ended:
            raise Refused("the case has ended; open a new one and say there what was wrong with it")
        if self.state.move is not None:
            raise Refused("a record is read along between two moves: finish what is in hand first")
        if self._worked():
            raise Refused("work was done in this case: a record of before it answers no other check by itself")
        items: list[tuple[str, Mapping[str, Any]]] = []
        said: dict[str, Mapping[str, Any]] = {}
        for key, outcome, reading in answers:
            check = self.fitted.checks.get(key)
            if check is None:
                raise Refused(f"no check is called {key!r}{near(str(key), self.fitted.checks)}")
            if outcome is None:
                raise Refused(f"{check.title}: what a record cannot tell stays unasked")
            self._known(check, outcome)
            taken = self._read(check, outcome, reading, "")
            named = (taken["calc"], taken["judge"])
            meant = [one for one in check.entry.reads if (one.calc, one.judge) == named and one.along]
            if not meant or not taken["outcome"]:
                raise Refused(f"{check.title}: a record does not answer it by itself")
            if not self._unasked(key) or key in said:
                raise Refused(f"{check.title}: it has been answered; take that back, or doubt it, before")
            for other in {name for one in meant for name in one.unless}.intersection(split(k)[0] for k in said):
                raise Refused(f"{check.title}: {other} says it already, from the same record")
            said[key] = taken
            body: dict[str, Any] = {
                "check": check.key,
                "outcome": outcome,
                # It was recorded when the defect showed, before anybody came to look.
                **{"condition": self.intake.condition, "strength": 1.0, "occasion": TOLD},
                "minutes": 0,
                "spoils": [],
                "within": RECORD,
                "reading": taken,
            }
            items.append(("answered", body))
        if items:
            self._write(*items)
            self._settle()

    def also(self, reading: measured.Reading, check: str, channel: str = "") -> list[tuple[FitCheck, measured.Reading]]:
        """Return what a record read for one check may answer of others; see :func:`isolate.case.measured.also`.

        That check may be the one in hand, so that all of it can be asked before any of it is on the trail.
        """
        move = self.state.move
        in_hand = move is not None and (move.kind, move.key) != ("check", check)
        if self.state.ended or in_hand or self._worked() or self.fitted.check(check).entry.starts:
            # A start made for a check is not the one of the complaint: what it answers is that check.
            return []
        events, void, body = self.state.events, self.state.void, measured.body(reading)
        had = [key for key in self.fitted.checks if not self._unasked(key)]
        return [
            (other, of_it)
            for other, of_it in measured.also(self.fitted, reading, check, had, channel)
            if not measured.said_before(events, void, other, {**body, "judge": of_it.reads.judge})
        ]

    def _worked(self) -> bool:
        return any(item.kind != "answer" for item in self.state.evidence)

    def _read(
        self, check: FitCheck, outcome: str | None, reading: Mapping[str, Any], note: str
    ) -> dict[str, Any]:
        """Return a reading that answers a check as the trail keeps it. Raises Refused, also for a record used twice."""
        taken = measured.kept(reading, check, outcome, note)
        why = measured.said_before(self.state.events, self.state.void, check, taken) if outcome is not None else ""
        if why:
            raise Refused(f"{check.title}: {why} already; it is not counted twice")
        return taken

    @staticmethod
    def _known(check: FitCheck, outcome: str | None) -> None:
        if outcome is not None and outcome not in check.outcomes:
            raise Refused(
                f"{check.key} has no answer {outcome!r}{near(outcome, check.outcomes)}; "
                f"it takes {', '.join(check.outcomes)}"
            )

    def decline(self, reason: str, key: str | None = None) -> None:
        """Say that the move offered or in hand (or another) cannot be done; the plan goes round it at once."""
        step = self.now()
        kind, within = "", False
        if key is None:
            if isinstance(step, Offer):
                kind, key = step.kind, step.key
            elif isinstance(step, Ask) and step.within in ("verify", "repair"):
                kind, key = "check", step.key
                within = step.within == "verify"
            elif self.state.move is not None and self.state.move.kind != "close":
                move = self.state.move
                kind, key = move.kind, move.key
                if kind == "verify":
                    kind, key, within = "check", self._verify_next(), True
            else:
                raise Refused("there is nothing here to decline: what is open has to be closed")
        known = {*self.fitted.checks, *self.fitted.repairs, *self.fitted.access, "verification", WATCH, ESCALATE}
        if swaps.known(self.fitted, key):
            known.add(key)
        if key not in known:
            raise Refused(f"there is no move called {key!r}{near(key, known)}")
        if key == ESCALATE:
            raise Refused("this is the last way out; take another move from the list instead")
        if isinstance(step, Ask) and step.within == "repair":
            # A look at the part taken off that cannot be had does not stop the repair.
            self.answer(None, note=f"not examined: {reason}")
            return
        body = {"move": key, "kind": kind or self._kind_of(key), "reason": reason}
        if within:
            body["within"] = "verify"
        self._write(("declined", body))
        self._settle()

    def _verify_next(self) -> str:
        proven = self.proven()
        for key in self.verification:
            if key not in self.state.verifying and key not in self.state.outstanding and key not in proven:
                return key
        raise Refused("nothing of the verification is left to decline")

    def _kind_of(self, key: str) -> str:
        if key in self.fitted.checks:
            return "check"
        if key in self.fitted.access:
            return "access"
        return "repair" if key in self.fitted.repairs else "end"

    def confirm(self, facts: Mapping[str, Any]) -> None:
        """Confirm the caution shown by its facts. Raises Refused for one missing or out of range."""
        step = self._need(Confirm)
        assert isinstance(step, Confirm)
        told = checked_facts(step.caution.asks, facts)
        self._write(("caution", {"caution": step.caution.key, "facts": told, "before": step.before}))
        self._settle()

    def crossed(self) -> None:
        """Say that the access state shown was opened or shut."""
        step = self._need(Cross)
        assert isinstance(step, Cross)
        access = self.fitted.access[step.access]
        body: dict[str, Any] = {
            "access": step.access,
            "state": "open" if step.opening else "shut",
            "minutes": step.minutes + step.wait,
        }
        if step.wait:
            body["wait"] = step.wait
        if step.opening and "motoring" in access.entry.tags:
            body["motors"] = True
        self._write(*self._acknowledged(step.cautions), ("access", body))
        self._settle()

    def walked(self, still: bool, facts: Mapping[str, Any] | None = None) -> None:
        """Say what was seen of an unknown access state or loose thing on the aircraft: still so, or shut, made good.

        ``facts``: what the step asks. Raises Refused where one is missing.
        """
        step = self._need(Walk)
        assert isinstance(step, Walk)
        told = checked_facts(step.asks, facts or {})
        more = {"facts": told} if told else {}
        if step.access:
            seen = "open" if still else "shut"
            self._write(("access", {"access": step.access, "state": seen, "minutes": 0, "walked": True, **more}))
        else:
            self._write(("loose", {"what": step.title, "state": "loose" if still else "made good", **more}))
        self._settle()

    def report(self, facts: Mapping[str, Any]) -> None:
        """Tell the facts that the step shown asks for. Raises Refused for one missing, or an inspector who worked."""
        step = self._need(Report)
        assert isinstance(step, Report)
        told = checked_facts(step.asks, facts)
        if step.about == "inspection":
            workers = {w.casefold().strip() for w in handing.loose_of(told["worked-by"])}
            if not workers:
                raise Refused("Who worked on the channels has to be told: somebody did.")
            if told["inspected-by"].casefold() in workers:
                raise Refused(
                    f"{told['inspected-by']} did some of the work; the independent inspection is somebody else's."
                )
            self._write(("inspected", {"channels": sorted(self.touched()), "facts": told}))
        else:
            self._write(("loose", {"what": step.key, "state": "made good", "facts": told}))
        self._settle()

    def mended(self, part: Mapping[str, Any] | None = None) -> None:
        """Say that the repair shown was done. ``part``: what is known of the parts, by the names of the step's asks.

        Nothing told of the part leaves blanks in the record. Raises Refused for what cannot be taken.
        """
        step = self._need(Mend)
        assert isinstance(step, Mend)
        if self.state.move is not None and self.state.move.kind == "swap":
            both = self._exchanged(step.key)
            spoils = sorted({s for r in both for s in r.spoils if s in self.state.open})
            moved, one, other = swap.read(step.key)
            changed = swaps.told(self.fitted, {**(part or {}), "part": moved, "channel": one, "other": other})
            body = {**swaps.body(changed), "minutes": step.minutes, "spoils": spoils, "taken_up": True}
            self._write(*self._acknowledged(step.cautions), ("swapped", body))
            self._settle()
            return
        repair = self.fitted.repair(step.key)
        if part and not step.part:
            raise Refused(f"{repair.title} takes no part.")
        body = {
            "repair": repair.key,
            "minutes": repair.entry.minutes,
            "parts": repair.entry.parts,
            "spoils": [s for s in repair.spoils if s in self.state.open],
        }
        if part:
            body["part"] = checked_part(part)
        self._write(*self._acknowledged(step.cautions), ("repaired", body))
        self._settle()

    def swapped(self, said: Mapping[str, Any]) -> None:
        """Take in that parts changed places, by the fields that :func:`isolate.case.swaps.told` takes.

        What was seen before stays evidence about the parts, wherever they sit now. Raises Refused for what this engine
        does not have, and for two channels that are one.
        """
        if self.state.ended:
            raise Refused("the case has ended; open a new one and say there which parts had changed places")
        self._write(("swapped", swaps.body(swaps.told(self.fitted, said))))
        self._settle()

    def defer(self, facts: Mapping[str, Any]) -> None:
        """End the case under the operator's own deferral procedure, once all is closed up.

        Raises Refused for a fact missing, and where another channel has not been proven alone since the last work.
        """
        self._need(Offer)
        told = deferral.body(self, facts)
        self._write(("accepted", {"kind": "end", "move": deferral.DEFER, "deferral": told}))
        self._settle()

    def pass_on(self, facts: Mapping[str, Any]) -> str:
        """Pass the work on to the next people, by the facts of :data:`handing.ASKS`; return the text for them.

        The case stays open. From here on nothing counts until it is walked. Raises Refused for a fact missing.
        """
        body = handing.body(self, facts)
        self._write(("passed-on", body))
        return str(body["text"])

    def waited(self) -> None:
        """Say that a wait may be over: what follows by itself follows. While one runs nothing is passed by this."""
        self._settle()

    def take_back(self) -> str:
        """Take back the last answer, repair, refusal, crossing or move taken up; return what it was.

        Evidence goes; a safe state does not come back: a crossing taken back is unknown until it is walked, and
        every caution is asked again.
        """
        void = {int(e.body["seq"]) for e in self.state.events if e.kind == "corrected"}
        items: list[tuple[str, Mapping[str, Any]]] = []
        for event in reversed(self.state.events):
            if event.seq in void:
                continue
            if event.kind == "access" and (event.body.get("walked") or event.body.get("of_itself")):
                # What somebody saw on the aircraft, or what ended by itself, is not taken back.
                continue
            if event.kind == "verified" or event.body.get("of_itself"):
                items.append(("corrected", {"seq": event.seq, "what": event.kind}))
            elif event.kind in ("answered", "repaired", "swapped", "declined", "access") or (
                event.kind == "accepted" and event.body["kind"] != "close"
            ):
                items.append(("corrected", {"seq": event.seq, "what": event.kind}))
                break
        else:
            raise Refused("there is nothing to take back")
        self._write(*items)
        self.state = fold(self.log.events(self.id))
        self._belief = None
        self._memo = _Memo()
        self._settle()
        body = event.body
        what = body.get("check") or body.get("repair") or body.get("key") or body.get("move") or body.get("access")
        return f"{event.kind}: {what}"

    def doubtable(self) -> tuple[Evidence, ...]:
        """Return the answers of this case that still speak of the present state and may be asked again, oldest first.

        A look at a part that came off is none of them.
        """
        standing = Counter(told.check for told in self.belief.told)
        within = {e.seq: e.body.get("within") for e in self.state.events if e.kind == "answered"}
        found = []
        for item in reversed(self.state.evidence):
            if item.kind == "answer" and standing[item.key] > 0:
                standing[item.key] -= 1
                if within.get(item.seq) != "repair":
                    found.append(item)
        return tuple(reversed(found))

    def recheck(self, check: str) -> None:
        """Withdraw the last answer that stands to a check, because it is doubted; it is asked anew at once.

        What was in hand is left, save a repair or an exchange; a verification that the answer was part of does not
        stand. As with all that is taken back, every caution is asked again. Raises Refused for a check without such an
        answer.
        """
        if self.state.ended:
            raise Refused("the case has ended; open a new one and say there what was wrong with it")
        if self.state.move is not None and self.state.move.kind in ("repair", "swap"):
            raise Refused("a repair is in hand: finish it, or say that it cannot be done, before an answer is doubted")
        items = self.doubtable()
        item = next((i for i in reversed(items) if i.key == check), None)
        if item is None:
            known = list(dict.fromkeys(i.key for i in items))
            raise Refused(f"no answer to {check!r} stands that could be asked again{near(check, known)}")
        event = next(e for e in self.state.events if e.seq == item.seq)
        corrections: list[tuple[str, Mapping[str, Any]]] = []
        if event.body.get("within") == "verify" or check in self.verification:
            # An answer from before the verification may have been part of its proof, up to the next work.
            worked = ("repaired", "swapped", "verified")
            since = (e for e in self.state.events if e.seq > item.seq and e.seq not in self.state.void)
            proved = next((e for e in since if e.kind in worked), None)
            if proved is not None and proved.kind == "verified":
                corrections.append(("corrected", {"seq": proved.seq, "what": "verified"}))
        corrections.append(("corrected", {"seq": item.seq, "what": "answered", "doubted": True}))
        self._write(*corrections)
        self.state = fold(self.log.events(self.id))
        self._belief = None
        self._memo = _Memo()
        self._settle()

    def tell(self, **changes: Any) -> None:
        """Tell something new of the case: people, missing, place, condition, minutes_left, starts, ages and such."""
        updated = Intake.from_dict({**self.intake.as_dict(), **changes})
        check_intake(self.fitted, updated)
        self._write(("told", {"changes": {name: updated.as_dict()[name] for name in changes}}))
        self._belief = None
        self._settle()

    def again(self) -> None:
        """Reckon the offer anew where its figures depend on the time of day; nothing changes where they do not."""
        if isinstance(self.now(), Offer) and (self.minutes_left is not None or self.intake.coming):
            self._memo = _Memo()
            self._settle()

    def note(self, text: str, about: str = "", reading: Mapping[str, Any] | None = None) -> None:
        """Add a note. ``about``: the step it belongs to; ``reading``: what was worked out there, which answers nothing.

        Raises Refused for a reading that is none.
        """
        body: dict[str, Any] = {"text": text}
        if about:
            body["about"] = about
        if reading is not None:
            body["reading"] = measured.kept(reading)
        self._write(("noted", body))

    def leave(self) -> None:
        """Leave the case for later."""
        if not self.state.ended:
            self._write(("left", {"open": list(self.state.open)}))

    # -- keeping the trail -----------------------------------------------------------------------------

    def _need(self, kind: type[Step]) -> Step:
        step = self.now()
        if not isinstance(step, kind):
            raise Refused(f"that does not fit here: now it is about {step.title!r}")
        return step

    def _acknowledged(self, cautions: Sequence[CautionShown]) -> list[tuple[str, Mapping[str, Any]]]:
        return [
            ("caution", {"caution": c.key, "facts": {}, "shown": True})
            for c in cautions
            if not c.asks and c.key not in self.state.confirmed
        ]

    def _write(self, *items: tuple[str, Mapping[str, Any]]) -> None:
        if self.state.ended:
            raise Refused("the case has ended; open a new one and say there what was wrong with it")
        evidence = len(self.state.evidence)
        after = self.state.events[-1].hash
        for event in self.log.append_all(self.id, list(items), now_text(self.clock()), after=after):
            apply(self.state, event)
        if len(self.state.evidence) != evidence:
            self._belief = None
        if any(kind not in SAYS_NOTHING_NEW for kind, _ in items):
            self._memo = _Memo()

    def _settle(self) -> None:
        """Write what follows by itself from what was just said: belief, rules fired, verification, offer, ending."""
        state = self.state
        self._conclude()
        if state.ended or state.unsettled:
            return
        while loose := self._unfounded(lasting=False):
            self._end(*loose)
        if state.move is not None and state.move.kind == "verify":
            self._settle_verification()
            if state.ended:
                # Its last answer left nothing open: that was the end.
                return
        if state.move is not None and state.move.kind == "end":
            self._write(("accepted", {"kind": "close", "move": CLOSE_UP}))
        if state.move is None:
            if state.verified == "passed" and self.remaining < self.fitted.profile.remaining:
                self._write(("accepted", {"kind": "close", "move": CLOSE_UP}))
            else:
                self._record_offer()
        self._let_go()
        if state.move is not None and state.move.kind == "close":
            loose = [k for k in state.open if not self.fitted.access[k].entry.lasting]
            if loose and len(loose) == len(state.open):
                # Nothing to put back: it has simply ended.
                self._end(*loose)
            if not state.open and self._due() is None and self._waited((), tuple(self.fitted.access), "") is None:
                self._close()

    def _conclude(self) -> None:
        """Write the belief and the rules that fire, as far as they are new."""
        state = self.state
        items: list[tuple[str, Mapping[str, Any]]] = []
        belief = self._belief_body()
        if belief != self._last("belief"):
            items.append(("belief", belief))
        for firing in self.firings():
            key = f"{firing.rule} {sorted(dict(firing.bindings).items())}"
            if key not in state.fired:
                items.append(("fired", {"key": key, **firing.as_dict()}))
                self.news.append(firing)
        if items:
            self._write(*items)

    def _let_go(self) -> None:
        """End by themselves the states on the way that nobody has to put back, such as a dry motor done."""
        target = self._target()
        while target is not None and (way := self._way(*target)):
            access, opening = way[0]
            if opening or access.entry.lasting:
                return
            self._end(access.key)

    def _end(self, *keys: str) -> None:
        if keys:
            items = [("access", {"access": k, "state": "shut", "minutes": 0, "of_itself": True}) for k in keys]
            self._write(*items)

    def _unfounded(self, lasting: bool) -> list[str]:
        """Return what is open although something that it needs is not: somebody has shut that meanwhile."""
        return [
            key
            for key in self.state.open
            if self.fitted.access[key].entry.lasting == lasting
            and any(n not in self.state.open for n in self.fitted.access[key].needs)
        ]

    def _target(self) -> tuple[Collection[str], Collection[str]] | None:
        """Return what the move in hand needs open and shut next."""
        move = self.state.move
        if move is None:
            return None
        if move.kind == "close":
            return (), tuple(self.state.open)
        if move.kind == "repair":
            repair = self.fitted.repair(move.key)
            return repair.needs, repair.shut
        if move.kind == "swap":
            both = self._exchanged(move.key)
            return [n for r in both for n in r.needs], [n for r in both for n in r.shut]
        if move.kind == "end":
            return None
        key = self._verify_next() if move.kind == "verify" else move.key
        check = self.fitted.check(key)
        return check.needs, check.shut

    def _settle_verification(self) -> None:
        state = self.state
        keys = self.verification
        proven = self.proven()
        failed = [k for k, o in state.verifying.items() if o and o != self.fitted.check(k).outcomes[0]]
        barred = self.barred()
        if not failed:
            for key in keys:
                if key in state.verifying or key in state.outstanding or key in proven:
                    continue
                why = barred.get(key)
                if why is None or why in ("answered", "could not tell"):
                    return
                body = {"move": key, "kind": "check", "reason": why, "within": "verify", "of_itself": True}
                self._write(("declined", body))
        missing = [*state.outstanding, *(k for k, o in state.verifying.items() if not o)]
        channels: dict[str, str] = {}
        for key, outcome in {**proven, **state.verifying}.items():
            good = outcome == self.fitted.check(key).outcomes[0]
            channel = split(key)[1]
            if channels.get(channel) != "failed":
                channels[channel] = "passed" if good else "failed" if outcome else "not told"
        for key in missing:
            if channels.get(split(key)[1]) == "passed":
                channels[split(key)[1]] = "not all of it done"
        result = "failed" if failed else "passed" if not missing else "outstanding"
        self._write(
            (
                "verified",
                {
                    "result": result,
                    "channels": channels,
                    "failed": failed,
                    "outstanding": missing,
                    "remaining": _figure(self.remaining, 6),
                },
            )
        )
        if result == "outstanding":
            self._write(("accepted", {"kind": "end", "move": "verification-outstanding", "outstanding": missing}))
        else:
            # What the verification showed is new: say what follows from it.
            self._settle()

    def _record_offer(self) -> None:
        ranked = self.ranked()
        first = ranked.moves[0]
        body = {
            "move": first.name,
            "kind": first.kind,
            "expected": _figure(first.expected),
            "now": _figure(first.now),
            "bits": _figure(first.told, 4),
            "kept": _figure(ranked.posed.kept, 6),
            "budget": ranked.budget,
            "bound": _figure(ranked.bound),
            "exact": ranked.exact,
            "together": list(ranked.together),
            "alternatives": [_alternative(m) for m in ranked.moves[1:6]],
        }
        if first.chance is not None:
            body["chance"] = _figure(first.chance, 4)
        if (deferring := self.deferring()) is not None:
            body["deferring"] = deferring.as_dict()
        if body != self.state.offered:
            self._write(("offered", body))

    def _belief_body(self) -> dict[str, Any]:
        belief = self.belief
        return {
            "faults": [[m.mode, _figure(m.probability, 6)] for m in belief.faults(0.01)[:8]],
            "none": _figure(belief.healthy(), 6),
            "unexplained": _figure(self.gap.excess, 3),
            "level": _figure(self.gap.level, 4),
        }

    def _last(self, kind: str) -> dict[str, Any] | None:
        return next((dict(e.body) for e in reversed(self.state.events) if e.kind == kind), None)

    # -- the end ---------------------------------------------------------------------------------------

    def verdict(self) -> tuple[Found, ...]:
        """Return what was at fault, as far as the case shows: one entry for each repair or hand-over.

        The state of a zone before a repair is judged by everything seen since as well, so a part that was replaced
        in vain shows as healthy. Where nothing known explains the answers, nothing is named.
        """
        if self.gap.stands:
            return ()
        asked = self.intake, tuple(self.state.evidence), self.state.ending
        if self._judged is None or self._judged[0] != asked:
            self._judged = asked, self._verdict()
        return self._judged[1]

    def _verdict(self) -> tuple[Found, ...]:
        found = []
        for position, item in enumerate(self.state.evidence):
            if item.kind == "repair":
                for zone in self.fitted.repair(item.key).clears:
                    found.append(self._found(item.key, zone, position))
        ending = self.state.ending
        if ending is not None and ending.key in self.fitted.repairs:
            for zone in self.fitted.repair(ending.key).clears:
                found.append(self._found(ending.key, zone, len(self.state.evidence)))
        return tuple(found)

    def _found(self, repair: str, zone: str, position: int) -> Found:
        chances = before(self.kit.model, self.intake, self.state.evidence, position, zone)
        fit = self.fitted.zones[zone]
        cleared = self.fitted.repair(repair).clears[zone]
        best = int(np.argmax(chances))
        if fit.states[best] in cleared:
            return Found(repair, zone, fit.states[best], fit.title_of(fit.states[best]), float(chances[best]))
        # Nothing that it clears was the matter: the part was good.
        good = 1.0 - sum(float(p) for s, p in zip(fit.states, chances, strict=True) if s in cleared)
        return Found(repair, zone, HEALTHY, fit.title_of(HEALTHY), good)

    def _unexplained(self) -> dict[str, Any]:
        """Return what is written of a case that nothing known explains, in place of a verdict."""
        gap = self.gap
        return {
            "level": _figure(gap.level, 6),
            "answers": [{"check": told.check, "outcome": told.outcome} for told in gap.clash],
            "least_unlikely": [[m.mode, _figure(m.probability, 6)] for m in self.belief.faults(0.01)[:5]],
        }

    def _close(self) -> None:
        from isolate.case.record import record

        state = self.state
        items: list[tuple[str, Mapping[str, Any]]] = []
        gap = self.gap
        if state.verified == "passed" and state.ending is None and gap.stands:
            end = f"verified as far as asked, {UNEXPLAINED}"
        elif state.verified == "passed" and state.ending is None:
            faults = [f for f in self.verdict() if f.state != HEALTHY]
            end = "verified, fault found" if faults else "verified, no fault found"
        else:
            key = state.ending.key if state.ending else ESCALATE
            if key == "verification-outstanding":
                end, to = "handed over, verification outstanding", "whoever may finish the verification"
            elif key == deferral.DEFER:
                end, to = deferral.END, "the operator's own procedure, and who authorised it"
            elif key == WATCH:
                end, to = "verified as far as asked, the next starts to be watched", "whoever watches the next starts"
                if gap.stands:
                    end = f"verified as far as asked, {UNEXPLAINED}, the next starts to be watched"
            elif key in self.fitted.repairs:
                to = self.fitted.repair(key).entry.to
                end = f"handed over to {to}, {UNEXPLAINED}" if gap.stands else f"not ignition, handed over to {to}"
            else:
                end, to = "handed over, not solved here", "somebody with other means"
            items.append(("handed-over", {"to": to, "why": end, "remaining": _figure(self.remaining, 6)}))
        items.append(
            (
                "closed",
                {
                    "end": end,
                    "found": [
                        {"mode": f.mode, "repair": f.repair, "probability": _figure(f.probability, 6)}
                        for f in self.verdict()
                    ],
                    **({"unexplained": self._unexplained()} if gap.stands else {}),
                    "remaining": _figure(self.remaining, 6),
                    "record": record(self, end),
                },
            )
        )
        self._write(*items)


def _found_open(kit: Kit, intake: Intake) -> list[str]:
    """Return the access states that stand open where this complaint is found, what they need first."""
    complaint = kit.fitted.complaints[intake.complaint]
    meant = [
        key
        for key, access in kit.fitted.access.items()
        if access.name in complaint.found_open and access.channel in ("", intake.channel)
    ]
    needed = kit.fitted.needed(meant)
    return [
        kit.poser(intake.place).access[i]
        for i in kit.poser(intake.place).crossings.order
        if kit.poser(intake.place).access[i] in needed
    ]


def _alternative(move: Valued) -> dict[str, Any]:
    figures = {"move": move.name, "kind": move.kind, "expected": _figure(move.expected), "now": _figure(move.now)}
    return figures if move.chance is None else {**figures, "chance": _figure(move.chance, 4)}


def _worded(texts: Sequence[str], channel: str) -> tuple[str, ...]:
    return tuple(worded(t, channel) for t in texts)


def _figure(value: float, digits: int = 2) -> float:
    rounded = round(float(value), digits)
    return rounded if rounded != 0 else 0.0

"""A drill being driven: the trainee names every move, the aircraft answers, and what is unsafe stops the drill.

Nothing is proposed here. A drill is a case like any other, with the simulated aircraft in place of a real one and a
clock that moves only with what is done; its trail holds what was tried, refused, stopped, waited for, hinted and
suspected besides. All that a drill is follows from its trail, so it can be left and taken up on another day.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from isolate.case import deferral, swaps
from isolate.case import facts as case_facts
from isolate.case.case import CLOSE_UP, Swap
from isolate.case.chase import INSPECTION_TEXT, Chase, Kit, Log
from isolate.case.events import Event, now_text, parse_time
from isolate.case.handing import loose_of
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.now import setting
from isolate.case.parts import checked_part
from isolate.case.play import Clock
from isolate.case.steps import CautionShown, Confirm, Held, Wait
from isolate.drill.aircraft import Simulated
from isolate.drill.scenario import Scenario
from isolate.drill.watch import Watch
from isolate.kb.fit import FitAccess, FitCheck, FitRepair, Fitted, UnknownName, near, split, worded
from isolate.kb.model import HEALTHY
from isolate.reasoning import recorded
from isolate.reasoning.belief import Belief, Setting
from isolate.reasoning.pose import ESCALATE, WATCH
from isolate.reasoning.swap import spelled

Kind = Literal["open", "close", "check", "repair", "swap", "inspect", "wait", "end"]
"""What a trainee may do: open or shut an access state, check, repair, change parts over, have it inspected
independently, let time pass, end the drill."""
DONE = "done"
"""The end by which it is all proven and closed up."""
INSPECT = "inspection"
INSPECTS = 10.0
"""Minutes of an independent inspection: our judgement."""
HINTS = (4.0, 8.0)
"""Equivalent minutes that a first hint costs at a step, and the second, which names the move: our judgement."""
APPROVED = {"ignition-energy": 5.0, "drain-time": 5.0, "heat-soak": 45.0, "crank-limits": 2.0}
"""Waits, in minutes, that the approved data of a drill gives where its scenario says nothing; invented."""
DOORS = frozenset({"hands-in", "aloft"})
"""Tags of shared access behind which work cannot be seen any more once it is shut."""
APART = frozenset({"lead-work", "plug-work"})
"""Tags of access of a channel that leaves its work unfinished."""
ISOLATED, ISOLATES = "breakers-pulled", "hands-in-needs-breakers"
"""The access state that keeps supplies off hands, and the gate that says so."""
FUEL = "fuel-left-in"
"""The caution about fuel that a failed start left."""
PURGES = ("dry-motored", "drained")
"""Access states that get it out, in order."""
HEAT = "cool-enough"
"""The access state in which an engine that ran is left to cool."""
LONGEST_NAME = 80
"""Letters of a trainee's name that are kept."""
ASK_EVERY = 3
"""So many answers after the last suspicion the prime suspect is asked for again."""
SOMETHING = "Going on like this hurts people. It is never done like this."
"""What is said of an unsafe move for which the knowledge has no words of its own."""
LEFT_OPEN = (
    "It would have left the hangar or the gate with this open: a panel in the wind, a lead that hangs, or worse."
)
UNPROVEN = "Nobody would have known whether it lights: the next crew would have found out."
NOTHING = "nothing"
"""The suspect that is no part: nothing is at fault."""


@dataclass(frozen=True)
class Choice:
    """A move that may be named. ``title``: what it is called on the screen."""

    kind: Kind
    key: str
    title: str


@dataclass(frozen=True)
class Danger:
    """Why a move is unsafe and what it would have done. ``rule``: the rule or caution that says so.

    ``left``: minutes of a wait that is not over.
    """

    says: str
    harm: str
    rule: str
    source: tuple[str, ...] = ()
    left: float = 0.0


@dataclass(frozen=True)
class Came:
    """What came of a move.

    ``kind``: done; answered (``outcome`` None: could not tell, ``said`` and ``means`` in words); refused (``said``:
    why; it cost nothing); stopped (``dangers``); ended. ``minutes``: by the clock. ``lines``: what is to be said
    besides.
    """

    kind: Literal["done", "answered", "refused", "stopped", "ended"]
    choice: Choice
    said: str = ""
    means: str = ""
    outcome: str | None = None
    minutes: float = 0.0
    dangers: tuple[Danger, ...] = ()
    lines: tuple[str, ...] = ()


@dataclass
class Doing:
    """What a move is made of, whichever kind it is."""

    kind: str
    key: str
    channel: str
    title: str
    tags: tuple[str, ...]
    cautions: tuple[str, ...]
    needs: tuple[str, ...]
    shut: tuple[str, ...]
    minutes: float
    entry: Any
    opening: bool | None = None
    more: list[Doing] = field(default_factory=list)


class Driven(Chase):
    """A case whose moves are the trainee's own: nothing is offered and nothing follows but belief and rules."""

    of_drill = True

    def _settle(self) -> None:
        self._conclude()

    def write(self, *items: tuple[str, Mapping[str, Any]]) -> None:
        """Write events and what follows from them."""
        if items:
            self._write(*items)
            self._settle()

    def before(self, step: Doing, running: Wait | None) -> Held | Confirm | Wait | tuple[CautionShown, ...]:
        """Return what comes before a step: held, a caution to confirm, a timer, or the cautions that it shows."""
        about = case_facts.about_to(step.kind, step.key, step.tags)
        found = self._before(step.key, step.cautions, about, step.channel, step.title, running)
        assert isinstance(found, Held | Confirm | Wait | tuple)
        return found

    def at_clock(self) -> Setting:
        """Return how it is at the aircraft by the clock."""
        return setting(self.state, self._starts, self.clock())

    def gates(self, kind: str, key: str, tags: Sequence[str]) -> list[tuple[str, str]]:
        """Return (rule, what it says) of every gate, standing or about this step, that blocks it."""
        name, channel = split(key)
        about = case_facts.about_to(kind, key, tags)
        found: dict[str, str] = {}
        for firing in (*self.firings(), *self.firings(about)):
            if (
                firing.kind == "gate"
                and firing.get("block") in (name, *tags)
                and firing.get("channel") in ("", channel)
            ):
                found[firing.rule] = firing.says
        return list(found.items())

    def running(self, needs: Sequence[str], shut: Sequence[str], title: str) -> Wait | None:
        """Return the wait that a step has to see run out first."""
        return self._waited(needs, shut, title)

    def way(self, needs: Collection[str], shut: Collection[str]) -> tuple[tuple[FitAccess, bool], ...]:
        """Return the crossings from what is open to what is needed, in order, with True for opening."""
        return self._way(needs, shut)

    def unfounded(self) -> list[str]:
        """Return what ends by itself, since something that it rests on has."""
        return self._unfounded(lasting=False)

    def finish(self, kind: str, move: str, told: Mapping[str, Any] | None = None) -> None:
        """End the case."""
        items: list[tuple[str, Mapping[str, Any]]] = []
        if move != DONE:
            items.append(("accepted", {"kind": "end", "move": move, **({"deferral": dict(told)} if told else {})}))
        items.append(("accepted", {"kind": "close", "move": CLOSE_UP}))
        self._write(*items)
        self._close()


class Drive:
    """One drill. Made by :meth:`begin` and :meth:`resume`; every method returns when what was done is on disk."""

    def __init__(self, chase: Driven, clock: Clock, aircraft: Simulated, scenario: Scenario, about: Mapping[str, Any]):
        self.chase, self.clock, self.aircraft, self.scenario = chase, clock, aircraft, scenario
        self.about = dict(about)
        aircraft.where = chase.at_clock
        self.fitted: Fitted = chase.fitted
        self.watch = Watch(chase.fitted, chase.verification)
        self.choices = tuple(choices(chase.fitted))

    # -- beginning -------------------------------------------------------------------------------------

    @classmethod
    def begin(
        cls, kit: Kit, log: Log, drill: str, name: str, scenario: Scenario, trainee: str, begun: str,
        seed: int | None = None, level: Mapping[str, Any] | None = None,
    ) -> Drive:  # fmt: skip
        """Begin a drill. ``drill``: its id; ``name``: of the scenario; ``begun``: the real time, RFC 3339.

        ``seed`` None: the scenario's. ``level``: how hard it is, as :mod:`isolate.drill.practice` measured it. Raises
        Refused and UnknownName.
        """
        if seed is not None and seed < 0:
            raise Refused(f"a seed is a whole number from 0 up, not {seed}")
        about = {
            "name": name,
            "trainee": "".join(letter for letter in trainee if letter.isprintable())[:LONGEST_NAME],
            "begun": begun,
            "seed": scenario.seed if seed is None else seed,
            "scenario": scenario.model_dump(mode="json", by_alias=True, exclude_unset=True),
            **({"level": dict(level)} if level else {}),
        }
        # From the real time on, so that drills come in the order in which they were begun.
        clock = Clock(parse_time(begun))
        chase = Driven.begin(kit, log, drill, scenario.case.intake(), clock, {"drill": about})
        # What the story found open is open: whoever tells it stands before it.
        if unknown := chase.state.unknown:
            chase.write(*(("access", {"access": k, "state": "open", "minutes": 0, "walked": True}) for k in unknown))
        return cls(chase, clock, _aircraft(kit, scenario, about), scenario, about)

    @classmethod
    def resume(cls, kit: Kit, log: Log, drill: str) -> Drive:
        """Take a drill up where it was left. Raises Refused for a case that is no drill."""
        events = log.events(drill)
        about, scenario = told(events)
        known(kit.fitted, events)
        clock = Clock()
        chase = Driven(kit, log, drill, clock)
        clock.time = parse_time(chase.state.last)
        drive = cls(chase, clock, _aircraft(kit, scenario, about), scenario, about)
        drive.aircraft.replay(chase.state.events)
        return drive

    # -- where it stands -------------------------------------------------------------------------------

    @property
    def ended(self) -> bool:
        return bool(self.chase.state.ended)

    @property
    def stopped(self) -> Event | None:
        """Return the stop that has not been taken up again, if there is one."""
        for event in reversed(self.chase.state.events):
            if event.kind == "taken-again":
                return None
            if event.kind == "stopped":
                return event
        return None

    @property
    def minutes(self) -> float:
        """Minutes by the drill's clock."""
        return self.chase.elapsed

    def approved(self) -> dict[str, float]:
        """Return caution → minutes that this drill's approved data gives for its wait."""
        waits = {n: APPROVED.get(n, 0.0) for n, c in self.fitted.cautions.items() if c.wait is not None}
        return {**waits, **self.scenario.approved}

    def choice(self, kind: str, key: str) -> Choice:
        """Return a move by kind and key. Raises UnknownName."""
        for one in self.choices:
            if (one.kind, one.key) == (kind, key):
                return one
        keys = [c.key for c in self.choices if c.kind == kind]
        raise UnknownName(f"nothing to {kind} is called {key!r}{near(key, keys)}")

    def asks_suspect(self) -> bool:
        """Return whether it is time to ask for the prime suspect."""
        answers = 0
        for event in reversed(self.chase.state.events):
            if event.kind == "suspected":
                return answers >= ASK_EVERY
            answers += event.kind == "answered"
        return answers >= ASK_EVERY

    def let_go(self, *keys: str) -> None:
        """End what ends by itself, such as a count of heads."""
        self.chase.write(*(("access", {"access": k, "state": "shut", "minutes": 0, "of_itself": True}) for k in keys))

    # -- doing -----------------------------------------------------------------------------------------

    def hindered(self, choice: Choice) -> bool:
        """Return whether a check, a repair or a change of access would be refused or stopped as it stands now.

        Waits that are not over are not looked at. Writes nothing.
        """
        if self.ended or self.stopped is not None:
            return True
        step = self._step(choice)
        return bool(self._dangers(step) or self._refusal(step))

    def cautions(self, choice: Choice) -> tuple[CautionShown, ...]:
        """Return the cautions to be read before a move; none where it cannot or must not be made. Writes nothing."""
        if choice.kind in ("wait", "inspect", "end"):
            return ()
        step = self._step(choice)
        if self._refusal(step) or self._dangers(step):
            return ()
        names = list(step.cautions)
        for firing in self.chase.firings(case_facts.about_to(step.kind, step.key, step.tags)):
            if firing.kind == "caution" and any(f.kind == "about-to" for f in firing.matched):
                names.append(firing.get("caution"))
        known = [n for n in dict.fromkeys(names) if n in self.fitted.cautions]
        return tuple(self.chase.caution(n, step.channel) for n in known)

    def do(self, choice: Choice, minutes: float = 0.0, told: Mapping[str, Any] | None = None) -> Came:
        """Do what the trainee named. ``minutes``: of a wait. ``told``: of the parts of a repair, or of a deferral.

        Raises Refused where the drill is over, or stopped and not taken up again.
        """
        self._open_to_moves()
        if choice.kind == "wait":
            return self._wait(choice, minutes)
        if choice.kind == "inspect":
            return self._inspect(choice)
        if choice.kind == "end":
            return self._end(choice, told or {})
        step = self._step(choice)
        if dangers := self._dangers(step):
            return self._stop(choice, dangers)
        if why := self._refusal(step):
            return self._refuse(choice, why)
        if early := self._ready(step):
            return self._stop(choice, [early]) if early.harm else self._refuse(choice, early.says)
        return self._made(choice, step, told or {})

    def waits(self, choice: Choice) -> float:
        """Return the minutes that have to pass before a move may be begun; what it asks is told in passing."""
        early = None if choice.kind in ("wait", "inspect", "end") else self._ready(self._step(choice))
        return 0.0 if early is None else early.left

    def again(self) -> None:
        """Take the drill up from just before it was stopped. Raises Refused where it was not."""
        if self.stopped is None:
            raise Refused("the drill was not stopped")
        self.chase.write(("taken-again", {}))

    def hint(self) -> tuple[str, ...]:
        """Return a hint, which costs: first what a good next step is about, asked again at this step, which it is."""
        self._open_to_moves()
        move = self.chase.ranked().moves[0]
        offer = self.chase.offer(move)
        # The same hint is not sold twice: while the next move is the one that was hinted at last, more is said of it.
        hints = [e for e in self.chase.state.events if e.kind == "hinted"]
        had = int(bool(hints) and hints[-1].body["move"] == move.name)
        if had == 0:
            lines = [_nudge(move.kind, offer.crossings, self.fitted, move.name)]
        else:
            lines = [f"The tool would do this next: {offer.title}", offer.purpose]
            if offer.crossings:
                lines.append("The way there: " + " · ".join(f"{c.title}: {c.word if c.opening else 'put back'}"
                                                            for c in offer.crossings))  # fmt: skip
        cost = HINTS[min(had, len(HINTS) - 1)]
        self.chase.write(("hinted", {"move": move.name, "kind": move.kind, "minutes": cost, "named": had > 0}))
        return tuple(line for line in lines if line)

    def suspect(self, suspect: str, sure: float) -> None:
        """Write down the prime suspect and how sure the trainee is, 0 to 1. Raises Refused for what is neither."""
        known = suspects(self.fitted)
        if suspect not in known:
            raise Refused(f"no part is called {suspect!r}{near(suspect, known)}; known: {', '.join(known)}")
        if not 0 <= sure <= 1:
            raise Refused(f"how sure is a percentage from 0 to 100, not {100 * sure:g}")
        self.chase.write(("suspected", {"suspect": suspect, "sure": round(float(sure), 4)}))

    def note(self, text: str) -> None:
        """Keep a remark."""
        self.chase.note(text)

    # -- one move --------------------------------------------------------------------------------------

    def _open_to_moves(self) -> None:
        if self.ended:
            raise Refused("the drill has ended")
        if self.stopped is not None:
            raise Refused("the drill was stopped: take it up again from just before first")

    def _step(self, choice: Choice) -> Doing:
        fitted, key = self.fitted, choice.key
        if choice.kind in ("open", "close"):
            access: FitAccess = fitted.access[key]
            crossing = access.open if choice.kind == "open" else access.close
            opening = choice.kind == "open"
            needs, shut = (access.needs, access.shut) if opening else ((), ())
            tags = tuple(access.entry.tags)
            return Doing(choice.kind, key, access.channel, choice.title, tags, crossing.cautions, needs, shut,
                         crossing.minutes, access.entry, opening)  # fmt: skip
        if choice.kind == "check":
            check: FitCheck = fitted.check(key)
            tags = tuple(check.entry.tags)
            return Doing("check", key, check.channel, choice.title, tags, check.cautions, check.needs, check.shut,
                         check.minutes, check.entry)  # fmt: skip
        if choice.kind == "repair":
            return self._repair_step(fitted.repair(key), choice.title, ())
        part, one, other = swaps.read(key)
        both = swaps.movable(fitted)[part]
        first, second = (self._repair_step(both[c], choice.title, (swaps.CHANGES_OVER,)) for c in (one, other))
        first.more = [second]
        return first

    @staticmethod
    def _repair_step(repair: FitRepair, title: str, tags: tuple[str, ...]) -> Doing:
        return Doing("repair", repair.key, repair.channel, title, (*repair.entry.tags, *tags), repair.cautions,
                     repair.needs, repair.shut, repair.entry.minutes, repair.entry)  # fmt: skip

    def _dangers(self, step: Doing) -> list[Danger]:
        """Return why a move is unsafe: the gates that say what going on would do, then what the watch sees besides."""
        rules, found = self.fitted.rules, []
        state = self.chase.state
        if step.opening is not None and (step.key in state.open) == step.opening:
            return []
        for one in (step, *step.more):
            for rule, says in self.chase.gates(one.kind, one.key, one.tags):
                if (harm := rules[rule].harm) is not None:
                    found.append(Danger(says, worded(harm, one.channel), rule, tuple(rules[rule].source)))
            found += self._bare(one)
            if not found and one.opening is not False:
                open_now = frozenset(state.open) - self._ends(one)
                names = {k: self.fitted.access[k].title for k in self.fitted.access}
                for phrase in self.watch.tagged(open_now, one.key, frozenset(one.tags)):
                    found.append(Danger(_said(phrase, {**names, one.key: one.title}), SOMETHING, "watch"))
        return found

    def _bare(self, step: Doing) -> list[Danger]:
        """Return what no gate of a chase holds back, since there somebody is asked: putting back under a live supply,
        a start on what the last one left."""
        state, rules, cautions = self.chase.state, self.fitted.rules, self.fitted.cautions
        tags = set(step.tags)
        live = ISOLATED in self.fitted.access and ISOLATED not in state.open
        if step.opening is False and live and tags & {"hands-in", *APART} and ISOLATES in rules:
            rule = rules[ISOLATES]
            return [Danger(rule.says, worded(rule.harm or SOMETHING, step.channel), ISOLATES, tuple(rule.source))]
        if "engine-run" in tags and FUEL in cautions and self.fuel_left():
            caution = cautions[FUEL]
            says = "The last try may have left fuel in the engine: it is motored dry and drained before the next."
            return [Danger(says, caution.harm or SOMETHING, FUEL, tuple(caution.source))]
        return []

    def bare(self, access: str) -> bool:
        """Return whether an access state may not be put back yet, since a supply is alive."""
        return bool(self._bare(self._step(self.choice("close", access))))

    def fuel_left(self) -> bool:
        """Return whether a start that did not light, or a wet motor, has left fuel in the engine, not purged since."""
        wanted = [k for k in PURGES if k in self.fitted.access]
        for event in reversed(self.chase.state.events):
            opened = event.body["access"] if event.kind == "access" and event.body["state"] == "open" else ""
            if wanted and opened == wanted[-1]:
                wanted.pop()
                if not wanted:
                    return False
            if event.kind == "answered":
                check = self.fitted.check(event.body["check"])
                tags = set(check.entry.tags)
                if "fuel" in tags and tags & {"engine-run", "motoring"}:
                    return "engine-run" not in tags or event.body["outcome"] == check.outcomes[-1]
        starts = [start for start in self.chase.intake.starts if not start.aborted]
        return bool(starts) and not starts[-1].lit

    def _ends(self, step: Doing) -> set[str]:
        """Return what ends by itself as a step is begun."""
        return {k for k in step.shut if k in self.fitted.access and not self.fitted.access[k].entry.lasting}

    def _refusal(self, step: Doing) -> str:
        """Return why a move cannot be made there and then; empty where it can."""
        chase, fitted = self.chase, self.fitted
        state, barred = chase.state, chase.barred()
        if step.opening is not None:
            is_open = step.key in state.open
            if is_open == step.opening:
                return f"It is {fitted.access[step.key].entry.word} already." if is_open else "It is not open."
        for one in (step, *step.more):
            if why := self.aircraft.refuses(one.key) if one.opening is not False else None:
                return why
            if one.opening is not False and (why := chase.lacking(one.entry)):
                return f"It cannot be done here: {why}."
            if gates := chase.gates(one.kind, one.key, one.tags):
                return gates[0][1]
            why = barred.get(one.key)
            if one.kind == "check" and why not in (None, "answered", "could not tell") and one.key in fitted.checks:
                way = fitted.needed(one.needs) & set(barred)
                if not way:
                    return f"It tells nothing here: {why}."
            lacking = [k for k in one.needs if k in fitted.access and k not in state.open]
            if lacking:
                access = fitted.access[lacking[0]]
                return f"It cannot be reached or done yet. First: {access.title}: {access.entry.word}."
            in_the_way = [k for k in one.shut if k in state.open and fitted.access[k].entry.lasting]
            if in_the_way:
                access = fitted.access[in_the_way[0]]
                return f"It cannot be done while this is so: {access.title}: {access.entry.word}."
        if step.opening is False:
            above = [k for k in state.open if step.key in fitted.access[k].needs and fitted.access[k].entry.lasting]
            if above:
                access = fitted.access[above[0]]
                return f"Not while this still is {access.entry.word}: {access.title}."
        return ""

    def _ready(self, step: Doing) -> Danger | None:
        """Confirm the cautions of a step by the facts that people there would tell; return a wait that is not over."""
        chase = self.chase
        for one in (step, *step.more):
            running = chase.running(one.needs, one.shut, one.title) if one.opening is not False else None
            while True:
                before = chase.before(one, running)
                if isinstance(before, Confirm):
                    facts = {ask.name: self._fact(ask, before.caution) for ask in before.caution.asks}
                    chase.write(("caution", {"caution": before.caution.key, "facts": facts, "before": one.title}))
                    continue
                if isinstance(before, Held):
                    return Danger("; ".join(before.reasons), "", "")
                if isinstance(before, Wait):
                    left = (before.until - self.clock()).total_seconds() / 60
                    return self._early(before, left, one)
                break
        return None

    def _early(self, wait: Wait, left: float, step: Doing) -> Danger:
        cautions = self.fitted.cautions
        name = wait.caution.name
        if not name:
            # The wait of something opened: the caution whose time runs from there says what it is for.
            access = split(wait.caution.key.removeprefix("wait "))[0]
            name = next((n for n, c in cautions.items() if access in c.since and c.harm), "")
        said = f"{wait.title}. The time that has to pass first is not over: {left:.0f} min are left."
        if name and (harm := cautions[name].harm):
            return Danger(said, worded(harm, step.channel), name, tuple(cautions[name].source), left)
        return Danger(said, "", name, left=left)

    def _fact(self, ask: Any, caution: CautionShown) -> Any:
        entry = self.fitted.cautions[caution.name]
        if entry.wait == ask.name:
            asked = self.approved().get(caution.name, 0.0)
            if HEAT in entry.since:
                asked = max(0.0, asked - self._cooled())
            elif not entry.since:
                # What it still asks for runs from the last crank, not from when somebody thought of it.
                asked = max(0.0, asked - self._rested())
            return max(float(ask.least or 0), asked)
        return self.aircraft.fact(ask, caution.name)

    def _cooled(self) -> float:
        """Return the minutes from when the engine last ran to when it was left to cool; endless for a cold one."""
        chase = self.chase
        events = chase.state.events
        since = chase.state.since.get(HEAT)
        left = next((parse_time(e.time) for e in events if e.seq == since), self.clock())
        ran = [
            parse_time(e.time)
            for e in events
            if e.kind == "answered" and "engine-run" in self.fitted.check(e.body["check"]).entry.tags
        ]
        if ran:
            return (left - ran[-1]).total_seconds() / 60
        if chase.setting.condition != "hot":
            return float("inf")
        return (chase.intake.shut_down or 0.0) + (left - parse_time(chase.state.opened)).total_seconds() / 60

    def _rested(self) -> float:
        """Return the minutes since the engine was last turned in this drill; endless where it was not."""
        turned = [parse_time(e.time) for e in self.chase.state.events if e.body.get("motors")]
        return (self.clock() - turned[-1]).total_seconds() / 60 if turned else float("inf")

    def _made(self, choice: Choice, step: Doing, told: Mapping[str, Any]) -> Came:
        chase, fitted = self.chase, self.fitted
        self.let_go(*sorted({k for one in (step, *step.more) for k in self._ends(one)} & set(chase.state.open)))
        if choice.kind in ("open", "close"):
            return self._crossed(choice, step)
        if choice.kind == "check":
            return self._answered(choice, fitted.check(choice.key))
        lines: list[str] = []
        minutes = sum(one.minutes for one in (step, *step.more))
        part = checked_part(told, blanks=True) if choice.kind == "repair" and told else {}
        self.clock.pass_minutes(minutes)
        if choice.kind == "swap":
            moved, one_channel, other = swaps.read(choice.key)
            changed = swaps.told(fitted, {"part": moved, "channel": one_channel, "other": other})
            both = swaps.movable(fitted)[moved]
            spoils = sorted({s for c in (one_channel, other) for s in both[c].spoils if s in chase.state.open})
            body = {**swaps.body(changed), "minutes": minutes, "spoils": spoils, "taken_up": True}
            chase.write(("swapped", body))
        else:
            repair = fitted.repair(choice.key)
            spoils = [s for s in repair.spoils if s in chase.state.open]
            body = {"repair": repair.key, "minutes": minutes, "parts": repair.entry.parts, "spoils": spoils}
            chase.write(("repaired", {**body, **({"part": part} if part else {})}))
            lines += [worded(repair.entry.record, repair.channel)]
        self.aircraft.repaired(choice.key)
        self._after()
        return Came("done", choice, minutes=minutes, lines=tuple(lines))

    def _crossed(self, choice: Choice, step: Doing) -> Came:
        access = self.fitted.access[choice.key]
        opening = bool(step.opening)
        crossing = access.open if opening else access.close
        wait = crossing.waits(self.chase.setting.condition)
        self.clock.pass_minutes(step.minutes)
        body: dict[str, Any] = {"access": choice.key, "state": "open" if opening else "shut", "minutes": step.minutes}
        if wait:
            body["wait"] = wait
        if opening and "motoring" in access.entry.tags:
            body["motors"] = True
        self.chase.write(("access", body))
        self._after()
        lines = [crossing.do, *crossing.checks]
        return Came("done", choice, minutes=step.minutes, lines=tuple(lines), said=access.entry.word if opening else "")

    def _answered(self, choice: Choice, check: FitCheck) -> Came:
        chase = self.chase
        self.clock.pass_minutes(check.minutes)
        here = chase.at_clock()
        outcome = self.aircraft.outcome(check.key, "check")
        body: dict[str, Any] = {
            "check": check.key,
            "outcome": outcome,
            **here._asdict(),
            "minutes": check.minutes,
            "spoils": [s for s in check.spoils if s in chase.state.open],
            "within": "check",
        }
        if "motoring" in check.entry.tags and outcome is not None:
            body["motors"] = True
        items: list[tuple[str, Mapping[str, Any]]] = [("answered", body)]
        changed = check.entry.swaps
        if changed is not None and not changed.back and outcome is not None:
            moved = Swap(changed.part, *self.fitted.channels[:2])
            items.append(("swapped", {**swaps.body(moved), "of": check.key, "of_itself": True}))
            self.aircraft.repaired(moved.key)
        chase.write(*items)
        self._after()
        if outcome is None:
            return Came("answered", choice, "Could not tell.", "It is no evidence.", None, check.minutes)
        means = worded(check.entry.outcomes[outcome].means, check.channel)
        return Came("answered", choice, check.said(outcome), means, outcome, check.minutes)

    def _after(self) -> None:
        """Let go what rests on nothing any more, and take the verification as done where all of it stands proven."""
        chase = self.chase
        while loose := chase.unfounded():
            self.let_go(*loose)
        proven = chase.proven()
        if chase.verification and set(proven) == set(chase.verification):
            channels = {split(k)[1]: "passed" for k in proven}
            body = {"result": "passed", "channels": channels, "failed": [], "outstanding": []}
            chase.write(("verified", {**body, "remaining": round(chase.remaining, 6)}))

    def _wait(self, choice: Choice, minutes: float) -> Came:
        if not 0 < minutes <= 600:
            return self._refuse(choice, "Say how many minutes to wait, from 1 to 600.")
        self.clock.pass_minutes(minutes)
        self.chase.write(("waited", {"minutes": minutes}))
        return Came("done", choice, minutes=minutes)

    def _inspect(self, choice: Choice) -> Came:
        people = self.chase.intake.people
        if len(people) < 2:
            return self._refuse(choice, "Nobody is here who did none of the work.")
        touched = sorted(self.chase.touched())
        if not touched:
            return self._refuse(choice, "Nothing was touched yet that could be inspected.")
        if why := self.covered(touched):
            return self._refuse(choice, why)
        inspector = next((p.name for p in people[1:] if "licensed" in p.may), people[1].name)
        self.clock.pass_minutes(INSPECTS)
        facts = {"worked-by": people[0].name, "inspected-by": inspector, "inspected-at": now_text(self.clock())}
        assert loose_of(facts["worked-by"])
        self.chase.write(("inspected", {"channels": touched, "facts": facts, "minutes": INSPECTS}))
        return Came("done", choice, said=f"Inspected by {inspector}.", minutes=INSPECTS)

    def covered(self, channels: Collection[str]) -> str:
        """Return why the work on these channels cannot be inspected now: unfinished or covered; empty where it can."""
        state, access = self.chase.state, self.fitted.access
        for key in state.open:
            if access[key].channel in channels and APART & set(access[key].entry.tags):
                return f"The work is not finished: {access[key].title}: {access[key].entry.word}."
        # What was done last is what was covered last, or lies behind no door at all.
        last: Collection[str] = ()
        for event in state.events:
            if event.kind == "repaired" and split(event.body["repair"])[1] in ("", *channels):
                last = self.fitted.repair(event.body["repair"]).needs
            elif event.kind == "access" and event.body["state"] == "open":
                last = [event.body["access"]] if access[event.body["access"]].channel in channels else last
        doors = [k for k in sorted(self.fitted.needed(last)) if DOORS & set(access[k].entry.tags)]
        if shut := [k for k in doors if not access[k].channel and k not in state.open]:
            return f"It is covered, so that nobody can look at it: {access[shut[0]].title}: put back."
        return ""

    def _end(self, choice: Choice, told: Mapping[str, Any]) -> Came:
        chase, fitted = self.chase, self.fitted
        state = chase.state
        facts: Mapping[str, Any] | None = None
        if choice.key == deferral.DEFER:
            # Before anything is put back for it: what proves the other channel may need it open.
            given = {a.name: self.aircraft.fact(a, "deferral") for a in deferral.ASKS}
            try:
                facts = deferral.body(chase, {**given, "reference": "____", **told})
            except Refused as error:
                return self._refuse(choice, str(error))
        left = [fitted.access[k] for k in state.open if fitted.access[k].entry.lasting]
        if left:
            says = "Left as it is: " + "; ".join(f"{a.title}: {a.entry.word}" for a in left) + "."
            if not any(a.entry.tags or any(a.key in o.needs for o in fitted.access.values()) for a in left):
                return self._refuse(choice, f"{says} Put it back first.")
            return self._stop(choice, [Danger(says, LEFT_OPEN, "left-open")])
        if choice.key in (DONE, WATCH) and state.verified != "passed":
            missing = [fitted.check(k).title for k in chase.verification if k not in chase.proven()]
            says = "Not proven since the last work: " + "; ".join(missing) + "."
            return self._stop(choice, [Danger(says, UNPROVEN, "unproven")])
        if chase.inspection_due():
            return self._stop(choice, [Danger(INSPECTION_TEXT, "One slip on both channels, and the engine is dark.",
                                              "inspection")])  # fmt: skip
        if running := chase.running((), tuple(fitted.access), choice.title):
            return self._refuse(choice, f"{running.title}: its time has not run out yet.")
        # What ends by itself is not left open by anybody.
        self.let_go(*state.open)
        chase.finish("end", choice.key, facts)
        return Came("ended", choice, said=chase.state.ended)

    def _stop(self, choice: Choice, dangers: Sequence[Danger]) -> Came:
        body = {
            "move": choice.key,
            "kind": choice.kind,
            "dangers": [{"says": d.says, "harm": d.harm, "rule": d.rule, "source": list(d.source)} for d in dangers],
        }
        self.chase.write(("stopped", body))
        return Came("stopped", choice, dangers=tuple(dangers))

    def _refuse(self, choice: Choice, why: str) -> Came:
        self.chase.write(("refused", {"move": choice.key, "kind": choice.kind, "reason": why}))
        return Came("refused", choice, said=why)


def at(kit: Kit, events: Sequence[Event], seq: int) -> Driven:
    """Return a drill's case as it stood right after the event with this number, by the clock of that event."""
    part = [e for e in events if e.seq <= seq]
    return Driven(kit, Memory(part), part[0].case, Clock(parse_time(part[-1].time)))


def known(fitted: Fitted, events: Sequence[Event]) -> None:
    """Raise Refused where a drill's trail names what the knowledge at hand does not have."""
    kinds = {"access": ("access", fitted.access), "answered": ("check", fitted.checks)}
    for event in events:
        if event.kind in kinds and event.body[kinds[event.kind][0]] not in kinds[event.kind][1]:
            what = event.body[kinds[event.kind][0]]
            raise Refused(f"this drill was begun with other knowledge: the one at hand has nothing called {what!r}")
        if event.kind == "repaired" and event.body["repair"] not in fitted.repairs:
            what = event.body["repair"]
            raise Refused(f"this drill was begun with other knowledge: the one at hand has nothing called {what!r}")


def told(events: Sequence[Event]) -> tuple[dict[str, Any], Scenario]:
    """Return what a drill's trail says of the drill, and its scenario. Raises Refused for a case that is none."""
    from pydantic import ValidationError

    about = events[0].body.get("drill") if events else None
    if not isinstance(about, dict):
        raise Refused("this is a case and not a drill")
    try:
        return about, Scenario.model_validate(about["scenario"])
    except (KeyError, ValidationError) as error:
        raise Refused(f"the drill's scenario cannot be read any more ({type(error).__name__})") from None


def choices(fitted: Fitted) -> list[Choice]:
    """Return every move that can be named on this engine, by title."""
    found = [Choice("open", k, f"{a.title}: {a.entry.word}") for k, a in fitted.access.items()]
    found += [Choice("close", k, f"{a.title}: put back") for k, a in fitted.access.items() if a.entry.lasting]
    found += [Choice("check", k, c.title) for k, c in fitted.checks.items()]
    found += [Choice("repair", k, r.title) for k, r in fitted.repairs.items() if not r.hand_over]
    for part, by_channel in swaps.movable(fitted).items():
        channels = [c for c in fitted.channels if c in by_channel]
        for i, one in enumerate(channels):
            found += [Choice("swap", key, swaps.title(key)) for other in channels[i + 1 :]
                      for key in (spelled(part, one, other),)]  # fmt: skip
    found.append(Choice("inspect", INSPECT, "Independent inspection"))
    found.append(Choice("wait", "wait", "Wait"))
    found.append(Choice("end", DONE, "Done: proven and closed up"))
    found += [Choice("end", k, r.title) for k, r in fitted.repairs.items() if r.hand_over]
    found.append(Choice("end", WATCH, "Close up; the next starts are to be watched"))
    found.append(Choice("end", ESCALATE, "Hand over to somebody with other means"))
    found.append(Choice("end", deferral.DEFER, deferral.TITLE))
    return found


def suspects(fitted: Fitted) -> dict[str, str]:
    """Return suspect → title: each part of each channel, those that are shared, and that nothing is at fault."""
    found = {NOTHING: "nothing at fault"}
    for zone in fitted.zones.values():
        for mode in zone.modes.values():
            key = f"{mode.part}/{zone.channel}" if zone.channel else mode.part
            found.setdefault(key, f"{mode.part.replace('-', ' ')} {zone.channel}".strip())
    return found


def suspicion(fitted: Fitted, belief: Belief) -> dict[str, float]:
    """Return suspect → probability that it is at fault, or that nothing is."""
    found = dict.fromkeys(suspects(fitted), 0.0)
    found[NOTHING] = belief.healthy()
    for key, zone in fitted.zones.items():
        for state, p in zip(zone.states, belief.zone(key), strict=True):
            if state != HEALTHY:
                part = zone.modes[state].part
                found[f"{part}/{zone.channel}" if zone.channel else part] += float(p)
    return found


def _nudge(kind: str, crossings: Sequence[Any], fitted: Fitted, key: str) -> str:
    """Return what a good next step is about, without naming it."""
    if kind == "check":
        check = fitted.check(key)
        how = {"history": "asking and reading", "visual": "looking", "functional": "listening to it or running it"}
        doing = how.get(check.entry.kind, "measuring")
        where = "with what is open already" if not [c for c in crossings if c.opening] else "and something opened first"
        channel = f" on channel {check.channel}" if check.channel else ""
        return f"More can be found out by {doing}{channel}, {where}."
    if kind == "repair":
        return "Enough is known: doing something about it now costs less than asking more."
    if kind == "verify":
        return "It is time to prove what was done."
    return "It is time to end this one way or another."


def _said(phrase: str, titles: Mapping[str, str]) -> str:
    """Return what the watch says, with titles in place of names."""
    for name in sorted(titles, key=len, reverse=True):
        phrase = phrase.replace(name, titles[name])
    return phrase[0].upper() + phrase[1:] + "."


def _aircraft(kit: Kit, scenario: Scenario, about: Mapping[str, Any]) -> Simulated:
    people = [p.name for p in scenario.case.people]
    fitted, intake = kit.fitted, scenario.case.intake()
    # What was told at the opening is what somebody is told who asks for it again.
    said: dict[str, Any] = {
        check.key: outcome
        for name, outcome in fitted.complaints[intake.complaint].answers.items()
        for check in fitted.checks.values()
        if check.name == name and check.channel in ("", intake.channel) and not check.functional
    }
    said.update(recorded.answers(fitted, intake.starts))
    said.update(case_facts.signed(fitted, intake))
    script = {**said, **scenario.answers}
    return Simulated(kit.model, scenario.truth, int(about["seed"]), script, scenario.cannot, people)

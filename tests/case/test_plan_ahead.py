"""What the plan shows beside a move: the clock, the other objectives, tools on their way, deferral, thinking ahead.

No outside source stands behind most of these: what a plan has to show is our own judgement, and the sources named
beside the checks are the knowledge itself and arithmetic. [practice]: how work at the gate goes, from memory.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from isolate.case import chase as chasing
from isolate.case import think as thinking
from isolate.case.case import BadIntake, Coming, Intake, Person
from isolate.case.chase import BUDGET, Chase, Kit, Ranked
from isolate.case.events import parse_time
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import LIKELY, WORTH, Ask, Confirm, Cross, Deferring, Offer, Step, Wait, Walk
from isolate.case.think import Thinker
from isolate.kb.fit import Fitted
from isolate.reasoning.problem import Routes
from isolate.reasoning.starts import Start

EVERYBODY = (
    Person("Quill", ("licensed", "motoring", "engine-run")),
    Person("Marrow", ("licensed",)),
    Person("Teal"),
)
B_IS_OUT = (Start("A", True), Start("B", False), Start("A", True), Start("B", False))
TOLD = Intake(
    aircraft="117",
    position="2",
    engine="halden-hf-3",
    complaint="intermittent-no-ignite",
    starts=B_IS_OUT,
    people=EVERYBODY,
    place="gate",
)
SILENT = {"complaint": "one-channel-silent", "channel": "B", "starts": ()}
WORN = {"complaint": "plug-found-worn", "channel": "B", "starts": (), "place": "hangar"}
NO_LIGHT = {"complaint": "no-light-off", "starts": (Start("A", False), Start("B", False))}
LEAK = {"complaint": "gas-leak-at-boss", "channel": "B", "starts": ()}
FACTS = {"person": "Quill", "tag": "T-17", "time": "06:10", "text": "seen", "minutes": 3, "count": 6}
SCOPE = "plug-hole-borescope/B"
THOUGHT = 6
"""Expansions thought of ahead here: enough to tell it from what was not, and quick."""


@pytest.fixture(autouse=True)
def brief(monkeypatch: pytest.MonkeyPatch) -> None:
    assert thinking.THOUGHT == chasing.THOUGHT > THOUGHT > BUDGET
    monkeypatch.setattr(thinking, "THOUGHT", THOUGHT)
    monkeypatch.setattr(chasing, "THOUGHT", THOUGHT)


@dataclass
class Bench:
    """A case in memory, with its clock."""

    chase: Chase
    clock: Clock
    log: Memory

    @property
    def offer(self) -> Offer:
        step = self.chase.now()
        assert isinstance(step, Offer), step
        return step

    def offered(self) -> list[dict[str, Any]]:
        return [dict(e.body) for e in self.log.events("case") if e.kind == "offered"]

    def walked(self) -> Bench:
        """Say of all that the complaint finds open that it is shut."""
        while isinstance(self.chase.now(), Walk):
            self.chase.walked(False)
        return self

    def until(self, there: Callable[[Step], bool], waits: bool = True) -> Step:
        """Do what comes before a step that is met."""
        for _ in range(80):
            step = self.chase.now()
            if there(step):
                return step
            if isinstance(step, Confirm):
                self.chase.confirm({a.name: FACTS[a.kind] for a in step.caution.asks})
            elif isinstance(step, Cross):
                self.clock.pass_minutes(step.minutes)
                self.chase.crossed()
            else:
                assert isinstance(step, Wait) and waits, step
                self.clock.time = step.until
                if isinstance(self.chase.now(), Wait):
                    self.chase.waited()
        raise AssertionError("never met")


def begin(kit: Kit, **told: Any) -> Bench:
    clock, log = Clock(), Memory()
    return Bench(Chase.begin(kit, log, "case", replace(TOLD, **told), clock), clock, log)


def anew(kit: Kit) -> Kit:
    """Return a kit that has decided nothing yet, as another process has it; its tables and rules are the same."""
    other = copy(kit)
    other.plans = OrderedDict()
    return other


def first(outcome_of: Offer) -> str:
    return outcome_of.outcomes[0].outcome


# -- the offer after an interruption -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "thought"),
    [({}, True), ({"minutes_left": 45.0}, True), ({"minutes_left": 45.0}, False), ({"hands": 2}, False)],
)
def test_after_leaving_and_resuming_it_is_the_same_offer_with_the_same_figures(
    kit: Kit, told: dict[str, Any], thought: bool
) -> None:
    bench = begin(anew(kit), **told)
    if thought:
        thinker = Thinker(bench.chase)
        thinker.begin(bench.offer)
        thinker.wait()
    bench.chase.answer(first(bench.offer))
    before, offered = bench.offer, bench.offered()
    bench.chase.leave()
    again = Chase.resume(anew(kit), bench.log, "case", bench.clock)
    assert again.now() == before
    assert bench.offered() == offered, "it was offered anew, although nothing changed"
    assert offered[-1]["budget"] == (THOUGHT if thought else BUDGET)


def test_with_things_open_it_is_the_same_offer_once_they_were_walked(kit: Kit) -> None:
    bench = begin(anew(kit), **SILENT, place="hangar")
    move = next(m for m in bench.chase.ranked().moves if m.kind == "check" and len(m.crossings) > 3)
    bench.chase.accept("check", move.name)
    bench.until(lambda step: len(bench.chase.state.open) == 2)
    bench.chase.decline("the stand is gone")
    thinker = Thinker(bench.chase)
    thinker.begin(bench.offer)
    thinker.wait()
    bench.chase.answer(first(bench.offer))
    before = bench.offer
    assert bench.offered()[-1]["budget"] == THOUGHT
    again = Chase.resume(anew(kit), bench.log, "case", bench.clock)
    walks = 0
    while isinstance(again.now(), Walk):
        again.walked(True)
        walks += 1
    assert walks == 2
    assert again.now() == before


@pytest.mark.parametrize("told", [{"minutes_left": 90.0, "objective": "chance"}, {"objective": "cost"}])
def test_the_trail_replays_each_offer_with_its_figures(kit: Kit, told: dict[str, Any]) -> None:
    bench = begin(anew(kit), **told)
    thinker = Thinker(bench.chase)
    for number in range(3):
        if number == 1:
            thinker.begin(bench.offer)
            thinker.wait()
        bench.clock.pass_minutes(5)
        bench.chase.answer(first(bench.offer)) if bench.offer.direct else bench.chase.decline("no stand")
    events = bench.log.events("case")
    kit, seen = anew(kit), 0
    for place, event in enumerate(events):
        if event.kind != "offered":
            continue
        now = parse_time(event.time)
        replayed = Chase(kit, Memory(events[: place + 1]), "case", lambda now=now: now)  # type: ignore[misc]
        replayed._settle()
        # Had it come out otherwise, another offer would stand behind this one.
        assert replayed.state.offered == dict(event.body)
        assert len(replayed.state.events) == place + 1
        seen += 1
    assert seen == len(bench.offered()) >= 3


# -- thinking ahead ----------------------------------------------------------------------------------


def test_what_was_thought_of_is_used_and_nothing_of_it_is_on_the_trail(kit: Kit) -> None:
    slow, quick = begin(anew(kit)), begin(anew(kit))
    thinker = Thinker(slow.chase)
    before, asked = slow.log.events("case"), slow.offer
    thinker.begin(asked)
    thinker.wait()
    assert slow.log.events("case") == before
    assert slow.offer == asked
    for bench, budget in ((slow, THOUGHT), (quick, BUDGET)):
        bench.chase.answer(first(asked))
        assert bench.offered()[-1]["budget"] == budget
        assert bench.chase.ranked().budget == budget
    # Every answer that may come was thought of, not only the likeliest.
    assert len([key for key in slow.chase.kit.plans if key[-1] == THOUGHT]) == len(asked.outcomes)


def test_who_thinks_ahead_fills_no_table_of_whoever_is_answered(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two who filled one table at once took each other's columns, or fell over a table that had just grown."""
    asked: dict[int, set[int]] = {}
    costs = Routes.costs

    def seen(self: Routes, opened: Any, columns: Any) -> Any:
        asked.setdefault(threading.get_ident(), set()).add(id(self))
        return costs(self, opened, columns)

    monkeypatch.setattr(Routes, "costs", seen)
    kits = anew(kit)
    bench = begin(kits)
    thinker = Thinker(bench.chase)
    thinker.begin(bench.offer)
    thinker.wait()
    bench.chase.decline("no key", bench.offer.key)
    # Thinkers of other tests may still run in this process: only these two are looked at.
    (thread,) = thinker._threads
    assert thread.ident is not None
    ours, theirs = asked[threading.get_ident()], asked[thread.ident]
    assert ours and theirs and not ours & theirs


def test_as_the_minutes_left_go_by_it_thinks_anew(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("isolate.case.think.LOOK", 0.01)
    bench = begin(anew(kit), minutes_left=90.0)
    asked = bench.offer
    thinker = Thinker(bench.chase)
    thinker.begin(asked)
    thinker.wait()

    def thought() -> int:
        return len([key for key in list(bench.chase.kit.plans) if key[-1] == THOUGHT])

    assert thought() == len(asked.outcomes)
    bench.clock.pass_minutes(7)
    for _ in range(3000):
        if thought() == 2 * len(asked.outcomes):
            break
        threading.Event().wait(0.01)
    thinker.stop(wait=True)
    bench.chase.answer(first(asked))
    assert bench.offered()[-1]["budget"] == THOUGHT


class After:
    """Says stop from the so-manieth time on that it is asked."""

    def __init__(self, times: int) -> None:
        self.times = times

    def __call__(self) -> bool:
        self.times -= 1
        return self.times < 0


@pytest.mark.parametrize("times", [0, 1, 5])
def test_a_thought_broken_off_is_not_kept(kit: Kit, times: int) -> None:
    kit = anew(kit)
    bench = begin(kit)
    outcome = first(bench.offer)
    copy = Chase(kit, Memory(bench.log.events("case")), "case", bench.clock)
    copy.think(THOUGHT, After(times))
    copy.answer(outcome)
    assert not [key for key in kit.plans if key[-1] == THOUGHT]
    bench.chase.answer(outcome)
    alone = begin(anew(kit))
    alone.chase.answer(outcome)
    assert bench.offer == alone.offer
    assert bench.offered() == alone.offered()


def test_stopped_at_any_time_it_leaves_whole_decisions_or_none(kit: Kit) -> None:
    whole = begin(anew(kit))
    thinker = Thinker(whole.chase)
    thinker.begin(whole.offer)
    thinker.wait()
    for pause in (0.0, 0.05, 0.15):
        part = begin(anew(kit))
        hurried = Thinker(part.chase)
        hurried.begin(part.offer)
        threading.Event().wait(pause)
        hurried.stop(wait=True)
        assert part.chase.kit.plans.keys() <= whole.chase.kit.plans.keys()
        for key, decision in part.chase.kit.plans.items():
            assert decision == whole.chase.kit.plans[key]
            assert decision.moves == whole.chase.kit.plans[key].moves


@pytest.mark.parametrize("error", [Refused, RuntimeError, OSError])
def test_what_goes_wrong_in_a_thought_never_shows(
    kit: Kit,
    error: type[Exception],
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    bench = begin(anew(kit))
    told: list[object] = []
    monkeypatch.setattr(threading, "excepthook", told.append)
    broken: list[str] = []

    def breaks(*_: object) -> None:
        broken.append("once")
        raise error("a thought went wrong")

    monkeypatch.setattr("isolate.case.think.Memory", breaks)
    thinker = Thinker(bench.chase)
    thinker.begin(bench.offer)
    thinker.wait()
    assert broken, "it never came to it"
    assert not told
    assert capfd.readouterr() == ("", "")
    bench.chase.answer(first(bench.offer))
    assert bench.offered()[-1]["budget"] == BUDGET


# -- the clock ---------------------------------------------------------------------------------------


def test_the_chance_of_being_done_in_time_falls_as_the_time_does(kit: Kit) -> None:
    # Arithmetic: the plan is the same, so that with less time it cannot be done by then more often.
    had: dict[str, float] = {}
    for left in (900.0, 300.0, 240.0, 120.0, 60.0, 0.0):
        offer = begin(kit, minutes_left=left).offer
        chances = {o.key: o.chance for o in offer.others} | {offer.key: offer.chance}
        for chance in chances.values():
            assert chance is not None and -1e-9 <= chance <= 1 + 1e-9
        now = {offer.key: chances[offer.key]}
        for key, chance in now.items():
            assert chance is not None and chance <= had.get(key, 1.0) + 1e-6, (left, key)
            had[key] = chance
    assert list(had.values()) and min(had.values()) < 0.01
    assert begin(kit).offer.chance is None, "nobody waits, so there is nothing to be in time for"


@pytest.mark.parametrize(("told", "left"), [({}, 240.0), (SILENT, 60.0), (NO_LIGHT, 60.0), (LEAK, 120.0)])
def test_chosen_by_the_chance_the_first_has_the_greatest_chance(kit: Kit, told: dict[str, Any], left: float) -> None:
    ranked = begin(kit, **told, objective="chance", minutes_left=left).walked().chase.ranked()
    chances = [m.chance for m in ranked.moves]
    assert all(c is not None for c in chances)
    # To a thousandth, below which moves count as equal and the cheaper one is first.
    assert chances[0] >= max(c for c in chances if c is not None) - 1e-3


def test_told_a_departure_that_is_past_nothing_is_in_time_but_handing_over(kit: Kit) -> None:
    bench = begin(kit, minutes_left=10.0)
    bench.clock.pass_minutes(30)
    bench.chase.again()
    assert bench.chase.minutes_left == pytest.approx(-20)
    for move in bench.chase.ranked().moves:
        assert move.kind == "end" or move.chance == pytest.approx(0.0, abs=0.05)


def test_reckoned_again_the_figures_are_those_of_now(kit: Kit) -> None:
    bench = begin(kit, minutes_left=240.0)
    before = bench.offer
    bench.clock.pass_minutes(200)
    assert bench.offer == before, "figures change only where somebody is shown that they do"
    bench.chase.again()
    fresh = begin(kit, minutes_left=40.0).offer
    assert bench.offer.chance == pytest.approx(fresh.chance)
    assert bench.offer.chance < before.chance  # type: ignore[operator]
    count = len(bench.log.events("case"))
    bench.chase.again()
    assert len(bench.log.events("case")) == count


# -- what moves are chosen by, and by how many -------------------------------------------------------


def test_by_cost_two_people_count_twice_and_waiting_counts_nothing(kit: Kit, hf3: Fitted) -> None:
    w = kit.poser("hangar").weights
    cost, time = kit.poser("hangar", "hot", "cost"), kit.poser("hangar", "hot")
    pairs, waits = 0, 0
    for way, quick in zip(cost.ways, time.ways, strict=True):
        entry = hf3.access[way.name]
        pairs += entry.entry.people == 2
        waits += entry.open.waits("hot") > 0
        assert way.open == pytest.approx(w.labour * entry.open.minutes * entry.entry.people)
        assert way.close == pytest.approx(w.labour * entry.close.minutes * entry.entry.people)
        assert quick.open == pytest.approx(w.labour * entry.open.minutes + entry.open.waits("hot"))
    assert pairs > 3 and waits > 1
    posed, _ = begin(kit, place="hangar", objective="cost").chase.posed()
    checks = {c.name: c for c in posed.problem.checks}
    for key, check in checks.items():
        people = hf3.checks[key].entry.people
        assert check.cost == pytest.approx(w.labour * people * hf3.checks[key].minutes)
        # By the clock two people take as long as one: what is in time does not change.
        assert check.minutes == pytest.approx(hf3.checks[key].minutes)
    assert any(hf3.checks[key].entry.people == 2 for key in checks)
    for repair in posed.problem.repairs:
        entry = hf3.repairs[repair.name].entry
        assert repair.cost == pytest.approx(w.labour * entry.people * entry.minutes + w.parts * entry.parts)


@pytest.mark.parametrize(("told", "place"), [({}, "gate"), (SILENT, "hangar"), (NO_LIGHT, "gate"), (LEAK, "hangar")])
def test_two_side_by_side_never_expect_more_than_one_alone(kit: Kit, told: dict[str, Any], place: str) -> None:
    one, two = (begin(kit, **told, place=place, hands=hands).walked().offer for hands in (1, 2))
    assert two.expected <= one.expected + 1e-6


def test_two_open_the_cowls_and_two_leads_in_less_time_than_one(kit: Kit, hf3: Fitted) -> None:
    alone, pair = (kit.poser("hangar", hands=hands) for hands in (1, 2))
    wanted = alone.mask(["lead-off/A", "lead-off/B"])
    took = {1: alone.crossings.go(0, wanted, 0), 2: pair.crossings.go(0, wanted, 0)}
    assert took[1][1:] == took[2][1:], "the same things are open, in the same order"
    # Arithmetic: alone it is the sum of all; two save at least the shorter of the two leads, which wait for nothing
    # but what both need, and never halve what takes two people anyway.
    opened = [hf3.access[alone.access[c.access]] for c in took[1][2]]
    each = {a.key: a.open.minutes + a.open.waits("steady") for a in opened}
    assert took[1][0] == pytest.approx(sum(each.values()))
    assert took[2][0] <= took[1][0] - min(each["lead-off/A"], each["lead-off/B"]) + 1e-9
    assert took[2][0] >= sum(each[a.key] / (1 if a.entry.people > 1 else 2) for a in opened) - 1e-9
    first_of = {h: begin(kit, **SILENT, place="hangar", hands=h).offer for h in (1, 2)}
    assert first_of[2].expected < first_of[1].expected


# -- a tool on its way -------------------------------------------------------------------------------


def test_what_is_on_its_way_is_not_barred_and_costs_the_wait(kit: Kit) -> None:
    here = begin(kit, **WORN).walked().chase
    coming = begin(kit, **WORN, missing=("borescope",), coming=(Coming("borescope", 60.0),)).walked().chase
    away = begin(kit, **WORN, missing=("borescope",)).walked().chase
    assert SCOPE not in coming.barred()
    assert away.barred()[SCOPE] == "not at hand: borescope"
    at_hand, later = (next(m for m in c.ranked().moves if m.name == SCOPE) for c in (here, coming))
    # The wait runs while things are opened: only what is left of it behind that is waited.
    crossing = at_hand.now - kit.fitted.checks[SCOPE].minutes
    assert later.now == pytest.approx(at_hand.now + max(60 - crossing, 0))
    assert SCOPE not in {m.name for m in away.ranked().moves}
    assert coming.offer(later).after == (("borescope", 60.0),)
    assert here.offer(at_hand).after == ()
    posed, _ = coming.posed(coming.barred())
    wait = {c.name: c.minutes for c in posed.problem.checks}
    plain = {c.name: c.minutes for c in here.posed(here.barred())[0].problem.checks}
    more = {name for name, minutes in wait.items() if minutes > plain[name]}
    assert more <= {k for k, c in kit.fitted.checks.items() if "borescope" in c.entry.tools} & set(wait)


def test_taken_up_it_is_waited_for_until_it_was_told_to_come_and_not_longer(kit: Kit) -> None:
    bench = begin(kit, **WORN, coming=(Coming("borescope", 300.0),)).walked()
    bench.chase.accept("check", SCOPE)
    step = bench.until(lambda s: isinstance(s, Wait) and "borescope" in s.title)
    assert isinstance(step, Wait)
    due = parse_time(bench.chase.state.opened) + timedelta(minutes=300)
    assert step.until == due
    bench.clock.pass_minutes(0.4)
    assert bench.chase.now() == step, "the time does not run on with the clock"
    bench.chase.waited()
    assert bench.chase.now() == step, "a key does not pass it"
    bench.clock.time = due
    assert isinstance(bench.chase.now(), Ask)


def test_once_it_is_here_it_costs_nothing_more(kit: Kit) -> None:
    bench = begin(kit, **WORN, coming=(Coming("borescope", 300.0),)).walked()
    bench.clock.pass_minutes(100)
    assert bench.chase.coming() == {"borescope": 200.0}
    bench.chase.again()
    there = next(m for m in begin(kit, **WORN).walked().chase.ranked().moves if m.name == SCOPE)
    # It is 200 minutes away, of which the opening takes some; then comes the check itself.
    own = kit.fitted.checks[SCOPE].minutes
    assert next(m for m in bench.chase.ranked().moves if m.name == SCOPE).now == pytest.approx(200 + own)
    bench.clock.pass_minutes(200)
    bench.chase.again()
    assert bench.chase.coming() == {}
    move = next(m for m in bench.chase.ranked().moves if m.name == SCOPE)
    assert move.now == pytest.approx(there.now)
    assert bench.chase.offer(move).after == ()


# -- deferral ----------------------------------------------------------------------------------------


def made_up(bench: Bench, expected: float, late: float, monkeypatch: pytest.MonkeyPatch) -> Deferring | None:
    """Return what deferring comes to where going on is made up."""
    ranked = bench.chase.ranked()
    moves = (replace(ranked.moves[0], expected=expected, late=late), *ranked.moves[1:])
    made: Ranked = replace(ranked, moves=moves)
    monkeypatch.setattr(bench.chase, "ranked", lambda: made)
    bench.chase._memo.deferring.clear()
    return bench.chase.deferring()


def test_the_figures_of_deferral_are_those_reckoned_by_hand(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = begin(kit, minutes_left=45.0)
    found = made_up(bench, 300.0, 200.0, monkeypatch)
    assert found is not None
    w = kit.poser("gate").weights
    assert (w.delay, w.defer) == (2.0, 240), "the figures below are of this profile"
    # By hand from knowledge/access and knowledge/checks. Channel A fired alone 5 and a start on it alone 20; before
    # them hazard zones 2, fuelling stopped 2, fire cover 2, heads counted 2, air on 5, dry motor 5, drained 1 and 4 to
    # wait; put back: zones 1, fuelling 1, air 3.
    proof = 5 + 20 + (2 + 2 + 2 + 2 + 5 + 5 + 1 + 4) + (1 + 1 + 3)
    zones = list(kit.fitted.zones.values())
    joint = bench.chase.belief.joint
    for axis in reversed([i for i, zone in enumerate(zones) if zone.channel != "B"]):
        joint = joint.take(0, axis=axis)
    likely = float(np.sum(joint))
    going_on = 300 + 2 * 200
    assert found.channel == "B"
    assert found.likely == pytest.approx(likely)
    assert found.going_on == pytest.approx(going_on)
    assert found.cost == pytest.approx(proof + 2 * (proof - 45) + likely * 240 + (1 - likely) * going_on)
    assert found.cheaper == (likely >= LIKELY and found.cost < WORTH * going_on)
    assert found.cheaper


def test_deferral_is_not_spoken_of_where_going_on_is_no_dearer(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    found = made_up(begin(kit, minutes_left=400.0), 200.0, 0.0, monkeypatch)
    assert found is not None and not found.cheaper


def test_deferral_is_no_question_where_nobody_waits(kit: Kit) -> None:
    assert begin(kit).offer.deferring is None
    assert "deferring" not in begin(kit).offered()[-1]


@pytest.mark.parametrize(
    "told",
    [
        # [practice] Two silent channels leave nothing to defer to.
        {"complaint": "both-silent", "starts": (Start("A", False), Start("B", False))},
        NO_LIGHT,
    ],
)
def test_deferral_is_not_spoken_of_where_the_other_channel_is_hardly_good(kit: Kit, told: dict[str, Any]) -> None:
    found = begin(kit, **told, minutes_left=20.0).walked().offer.deferring
    assert found is None or (found.likely < LIKELY and not found.cheaper)


@pytest.mark.parametrize(
    "told",
    [
        {"missing": ("air",)},
        {"people": (Person("Quill", ("licensed",)), Person("Marrow"))},
    ],
)
def test_deferral_is_not_spoken_of_where_the_other_channel_cannot_be_proven_here(
    kit: Kit, told: dict[str, Any]
) -> None:
    assert begin(kit, minutes_left=45.0).offer.deferring is not None
    found = begin(kit, minutes_left=45.0, **told).offer.deferring
    assert found is None or not found.cheaper


def test_the_offer_on_the_trail_says_what_deferral_was_reckoned_at(kit: Kit) -> None:
    bench = begin(kit, minutes_left=45.0)
    shown, kept = bench.offer.deferring, bench.offered()[-1]["deferring"]
    assert shown is not None
    assert kept["channel"] == shown.channel
    assert kept["cost"] == pytest.approx(shown.cost, abs=0.01)
    assert kept["going_on"] == pytest.approx(shown.going_on, abs=0.01)
    assert kept["likely"] == pytest.approx(shown.likely, abs=1e-4)


# -- going round what cannot be done -----------------------------------------------------------------


def test_refused_time_after_time_the_plan_has_something_else_at_once(kit: Kit) -> None:
    bench = begin(kit, minutes_left=45.0)
    had: list[str] = []
    for number in range(4):
        offer = bench.offer
        assert offer.key not in had
        assert not {o.key for o in offer.others} & set(had)
        assert not set(bench.chase.ranked().together) & set(had)
        had.append(offer.key)
        bench.chase.decline(f"reason {number}")
    assert len(set(had)) == 4


def test_what_becomes_impossible_is_not_offered_again(kit: Kit) -> None:
    bench = begin(kit, **SILENT, place="hangar")
    crossing = [m for m in bench.chase.ranked().moves if m.kind == "check" and m.crossings]
    bench.chase.accept("check", crossing[0].name)
    step = bench.until(lambda s: isinstance(s, Cross))
    assert isinstance(step, Cross)
    bench.chase.decline("the latch is seized", step.access)
    bench.chase.decline("held")
    offer = bench.offer
    behind = kit.fitted.needed
    for key in (offer.key, *(o.key for o in offer.others)):
        fit = kit.fitted.checks.get(key) or kit.fitted.repairs.get(key)
        assert fit is None or step.access not in behind(fit.needs)


# -- together ----------------------------------------------------------------------------------------


def test_what_is_worth_doing_while_it_stands_open_needs_nothing_opened_or_shut(kit: Kit, hf3: Fitted) -> None:
    named: list[str] = []
    for told, behind in ((SILENT, "lead-continuity/B"), (SILENT, "plug-well-look/B"), ({}, "plug-tip-look/B")):
        bench = begin(kit, **told, place="hangar")
        bench.chase.accept("check", behind)
        bench.until(lambda step: isinstance(step, Ask))
        bench.chase.answer(None)
        for _ in range(2):
            named += together(bench, hf3)
            bench.chase.decline("not now")
    assert named, "nothing was named, so nothing was looked at"


def together(bench: Bench, hf3: Fitted) -> tuple[str, ...]:
    """Look over what an offer says is worth doing with it, and return it."""
    ranked = bench.chase.ranked()
    ways, mask = ranked.posed.problem.ways, ranked.posed.mask
    lasting = mask([k for k, a in hf3.access.items() if a.entry.lasting])
    standing, move = mask(bench.chase.state.open), ranked.moves[0]
    shuts = any(not c.opening and lasting >> c.access & 1 for c in move.crossings)
    fit = hf3.checks.get(move.name) or hf3.repairs.get(move.name)
    if fit is not None and not shuts:
        standing = ways.go(standing, mask(fit.needs), mask(fit.shut))[1] & ~mask(fit.spoils)
    for key in ranked.together:
        check = hf3.check(key)
        assert not ways.go(standing, mask(check.needs), mask(check.shut))[2], key
        # What needs nothing open can be done at any time.
        assert mask(check.needs) & lasting, key
        assert key != move.name and key not in ranked.barred
    assert bench.offer.together == tuple(hf3.check(k).title for k in ranked.together)
    return ranked.together


# -- what cannot be taken ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"objective": "fast"}, "objective is one of minutes, chance, cost, not 'fast'"),
        ({"hands": 3}, "hands is 1 or 2, the people who work side by side, not 3"),
        ({"hands": True}, "hands is 1 or 2"),
        ({"hands": "2"}, "hands is 1 or 2"),
        ({"coming": [{"tool": "borescope", "minutes": -5}]}, "what is coming says its tool and the minutes"),
        ({"coming": [{"tool": "borescope"}]}, "what is coming says its tool and the minutes"),
        ({"coming": ["borescope"]}, "what is coming says its tool and the minutes"),
        ({"coming": "borescope"}, "coming is a list"),
        ({"coming": [{"minutes": 5}]}, "lacks 'tool'"),
        ({"coming": [{"tool": "boroscope", "minutes": 5}]}, "no tool is called 'boroscope' (did you mean borescope?)"),
        ({"objective": "chance"}, "the best chance by a time needs the minutes to departure"),
    ],
)
def test_bad_values_get_a_sentence_and_nothing_is_written(kit: Kit, changes: dict[str, Any], says: str) -> None:
    bench = begin(kit)
    before = bench.log.events("case")
    with pytest.raises((BadIntake, Refused)) as refusal:
        bench.chase.tell(**changes)
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert bench.log.events("case") == before
    assert (bench.chase.intake.objective, bench.chase.intake.hands) == ("minutes", 1)

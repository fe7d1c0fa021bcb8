"""Working a defect: the state machine over a case's events, what it refuses, what it never lets happen.

The aircraft that answers is the drill's simulated one; the clock is ours, so that waits pass when we say so.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from isolate.case.case import BadIntake, Intake, Person, Work, fold
from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time, to_line
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.case.steps import Ask, Confirm, Cross, Done, Held, Mend, Offer, Step, Wait, Walk
from isolate.case.store import StoreError, open_store
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import Fitted, split
from isolate.kb.model import Condition, Place
from isolate.reasoning.starts import Start

TECHNICIAN = Person("the technician", ("licensed", "motoring", "engine-run"))
SECOND = Person("the second pair of eyes", ("licensed",))
HEADSET = Person("the headset")
EVERYBODY = (TECHNICIAN, SECOND, HEADSET)


@dataclass
class Hand:
    """A chase with the clock, the log and the aircraft it is worked with."""

    chase: Chase
    clock: Clock
    log: Memory
    aircraft: Aircraft

    @property
    def step(self) -> Step:
        return self.chase.now()

    @property
    def events(self) -> tuple[Event, ...]:
        return self.log.events("case")

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]

    def facts(self) -> dict[str, Any]:
        step = self.step
        assert isinstance(step, Confirm)
        return {ask.name: self.aircraft.fact(ask, step.caution.name) for ask in step.caution.asks}

    def do(self, step: Step | None = None) -> Step:
        """Do the present step as the aircraft would have it; an offer is accepted."""
        chase, step = self.chase, step or self.step
        if isinstance(step, Offer):
            chase.accept()
        elif isinstance(step, Ask):
            self.clock.pass_minutes(step.minutes)
            chase.answer(self.aircraft.outcome(step.key, step.within))
        elif isinstance(step, Confirm):
            chase.confirm(self.facts())
        elif isinstance(step, Cross):
            self.clock.pass_minutes(step.minutes)
            chase.crossed()
        elif isinstance(step, Mend):
            self.clock.pass_minutes(step.minutes)
            chase.mended()
            self.aircraft.repaired(step.key)
        elif isinstance(step, Wait):
            self.clock.pass_minutes((step.until - self.clock()).total_seconds() / 60)
        elif isinstance(step, Walk):
            chase.walked(True)
        else:
            raise AssertionError(f"nothing to do at {step}")
        return step

    def until(self, there: Callable[[Step], bool], most: int = 150) -> Step:
        """Do step after step until one is there; offers on the way are accepted."""
        for _ in range(most):
            step = self.step
            if there(step):
                return step
            self.do(step)
        raise AssertionError("never came to it")

    def take(self, kind: str, key: str) -> None:
        """Accept a move by name."""
        self.chase.accept(kind, key)


def a(kind: type[Step], key: str = "") -> Callable[[Step], bool]:
    """Ask for a step of a kind, about something if a key is given."""

    def there(step: Step) -> bool:
        about = getattr(step, "key", None) or getattr(step, "access", None)
        return isinstance(step, kind) and key in ("", about)

    return there


def begin(
    kit: Kit,
    complaint: str = "slow-light",
    channel: str = "",
    truth: tuple[str, ...] = ("igniter-worn/A",),
    people: tuple[Person, ...] = EVERYBODY,
    place: Place = "hangar",
    condition: Condition = "steady",
    script: Mapping[str, Any] | None = None,
    **more: Any,
) -> Hand:
    clock, log = Clock(), Memory()
    intake = Intake("104", "2", kit.fitted.name, complaint, channel, "Skerry Air", people=people, place=place,
                    condition=condition, **more)  # fmt: skip
    aircraft = Aircraft(kit.model, truth, script, condition, people=[p.name for p in people])
    return Hand(Chase.begin(kit, log, "case", intake, clock), clock, log, aircraft)


def on(kit: Kit, events: tuple[Event, ...], clock: Clock) -> Chase:
    """A fresh chase over some events."""
    return Chase(kit, Memory(events), "case", clock)


def seen(chase: Chase) -> tuple[Any, ...]:
    """What a person sees of a step: enough to tell two steps apart."""
    step = chase.now()
    about = getattr(step, "key", None) or getattr(step, "access", None) or getattr(step, "before", None)
    figures = (step.expected, step.now, tuple(o.key for o in step.others)) if isinstance(step, Offer) else ()
    return type(step), step.title, about, figures


@dataclass
class Played:
    """A whole case: for each action how many events there were before it, the time, and what was seen."""

    hand: Hand
    moments: list[tuple[int, datetime, tuple[Any, ...]]]
    steps: list[Step]


@pytest.fixture(scope="module")
def played(kit: Kit) -> Played:
    hand = begin(kit)
    # The repair straight away keeps the case short: look, repair, verify, close.
    hand.take("repair", "replace-igniter/A")
    moments, steps = [], []
    while not isinstance(hand.step, Done):
        moments.append((len(hand.events), hand.clock(), seen(hand.chase)))
        steps.append(hand.do())
    return Played(hand, moments, steps)


# -- a whole case ----------------------------------------------------------------------------------


def test_a_case_goes_from_offer_to_record_and_the_chain_holds(played: Played) -> None:
    chase, events = played.hand.chase, played.hand.events
    done = chase.now()
    assert isinstance(done, Done)
    assert done.end == chase.state.ended == "verified, fault found"
    assert [f.mode for f in chase.verdict() if f.state != "healthy"] == ["igniter-worn/A"]
    assert verify(events) == []
    assert not chase.state.open
    assert {type(s) for s in played.steps} >= {Ask, Confirm, Cross, Mend, Wait}
    kinds = [e.kind for e in events]
    assert kinds[0] == "opened" and kinds[-1] == "closed"
    assert kinds.count("repaired") == 1 and kinds.index("repaired") < kinds.index("verified") < kinds.index("closed")
    verified = next(e.body for e in events if e.kind == "verified")
    assert verified["result"] == "passed" and verified["channels"] == {"A": "passed", "B": "passed"}
    closed = events[-1].body
    assert closed["found"][0]["mode"] == "igniter-worn/A"
    assert 0 < closed["remaining"] < chase.fitted.profile.remaining
    # By the book: every minute of it, no more than has passed on the clock, which waits as well.
    assert 0 < chase.state.book_minutes <= chase.elapsed + 1e-9


def test_every_crossing_is_walked_in_order_and_back(played: Played, hf3: Fitted) -> None:
    opened: set[str] = set()
    for event in played.hand.events:
        if event.kind == "access":
            key = event.body["access"]
            if event.body["state"] == "open":
                assert set(hf3.access[key].needs) <= opened and key not in opened
                assert not set(hf3.access[key].shut) & opened
                opened.add(key)
            else:
                assert key in opened
                assert not [k for k in opened if key in hf3.access[k].needs]
                opened.remove(key)
        elif event.kind in ("answered", "repaired"):
            name = event.body.get("check") or event.body["repair"]
            step = hf3.checks.get(name) or hf3.repairs[name]
            assert set(step.needs) <= opened and not set(step.shut) & opened, name
            opened -= set(event.body["spoils"])
    assert not opened


def test_a_fresh_chase_over_the_same_events_stands_at_the_same_step(played: Played, kit: Kit) -> None:
    events = played.hand.events
    for count, time, looked in played.moments:
        assert seen(on(kit, events[:count], Clock(time))) == looked, count


def _time(event: Event) -> datetime:
    return parse_time(event.time)


def test_taken_up_again_anywhere_everything_open_is_walked_first(played: Played, kit: Kit) -> None:
    events = played.hand.events
    for count in range(1, len(events), 3):
        before = fold(events[:count])
        chase = Chase.resume(kit, Memory(events[:count]), "case", Clock(_time(events[count - 1])))
        assert chase.state.confirmed == {} or not before.open, "nothing counts as confirmed"
        assert set(chase.state.unknown) == set(before.open)
        walked = []
        while isinstance(step := chase.now(), Walk):
            walked.append(step.access)
            chase.walked(True)
        assert set(walked) == set(before.open)
        ended = {k for k in before.open if k not in chase.state.open}
        assert not {k for k in ended if kit.fitted.access[k].entry.lasting}, "only what ends by itself has ended"
        if before.move is not None and before.move.kind not in ("end", "close"):
            assert chase.state.move == before.move or chase.state.verified != before.verified, count
        assert not isinstance(chase.now(), Held)


def test_the_same_script_gives_the_same_trail_byte_for_byte(played: Played, kit: Kit) -> None:
    again = begin(kit)
    again.take("repair", "replace-igniter/A")
    done = play(again.chase, again.aircraft, again.clock)
    assert done.record == played.hand.chase.state.record
    assert [to_line(e) for e in again.events] == [to_line(e) for e in played.hand.events]


# -- what is refused ---------------------------------------------------------------------------------


def test_what_does_not_fit_the_step_is_refused_and_nothing_is_written(kit: Kit) -> None:
    hand = begin(kit)
    count = len(hand.events)
    for wrong in (
        lambda c: c.confirm({}),
        lambda c: c.crossed(),
        lambda c: c.mended(),
        lambda c: c.walked(True),
        lambda c: c.accept("check", "no-such-check"),
        lambda c: c.accept("repair", "spark-test/A"),
        lambda c: c.take_back(),
    ):
        with pytest.raises(Refused):
            wrong(hand.chase)
    assert len(hand.events) == count
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Confirm))
    count = len(hand.events)
    for wrong in (lambda c: c.accept(), lambda c: c.answer("good"), lambda c: c.crossed(), lambda c: c.mended()):
        with pytest.raises(Refused):
            wrong(hand.chase)
    assert len(hand.events) == count


def test_an_answer_that_does_not_exist_is_refused_with_those_that_do(kit: Kit) -> None:
    hand = begin(kit)
    step = hand.step
    assert isinstance(step, Offer) and step.direct
    count = len(hand.events)
    with pytest.raises(Refused, match="takes"):
        hand.chase.answer("splendid")
    assert len(hand.events) == count, "not even the acceptance"
    hand.chase.answer(step.outcomes[0].outcome, note="seen by torch")
    assert hand.kinds()[count:count + 3] == ["accepted", "answered", "noted"]
    assert hand.chase.state.notes == ["seen by torch"]


def test_a_warning_is_not_passed_without_its_facts(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "lane-test")
    step = hand.until(a(Confirm))
    assert isinstance(step, Confirm) and {ask.kind for ask in step.caution.asks} == {"person", "count"}
    good, count = hand.facts(), len(hand.events)
    for ask in step.caution.asks:
        wrong = (None, "", "   ") if ask.kind == "person" else (None, "", 0, -1, 2.5, "two", "nan", "inf", 1e9)
        for value in wrong:
            with pytest.raises(Refused) as refused:
                hand.chase.confirm({**good, ask.name: value})
            assert ask.prompt in str(refused.value)
        with pytest.raises(Refused):
            hand.chase.confirm({k: v for k, v in good.items() if k != ask.name})
    with pytest.raises(Refused):
        hand.chase.crossed()
    assert (hand.step, len(hand.events)) == (step, count)
    hand.chase.confirm(good)
    assert hand.events[count].kind == "caution"
    assert set(hand.events[count].body["facts"]) == {ask.name for ask in step.caution.asks}


def discharge(hf3: Fitted) -> str:
    """The caution whose timer runs from the input's coming off."""
    return next(name for name, caution in hf3.knowledge.cautions.items() if "input-off" in caution.since)


def test_a_discharge_wait_of_less_than_a_minute_is_refused(kit: Kit, hf3: Fitted) -> None:
    # AC 43.13-1B and the FAA powerplant handbook tell to wait at least a minute [memory]; less is never taken.
    name = discharge(hf3)
    wait = hf3.knowledge.cautions[name].wait
    assert wait is not None
    hand = begin(kit)
    hand.take("check", "plug-well-look/A")
    hand.until(lambda s: isinstance(s, Confirm) and s.caution.name == name)
    good, count = hand.facts(), len(hand.events)
    for value in (None, "", 0, 0.99, -5, "soon"):
        with pytest.raises(Refused):
            hand.chase.confirm({**good, wait: value})
    assert len(hand.events) == count
    hand.chase.confirm({**good, wait: 1})


def test_what_is_told_later_is_looked_over_like_the_intake(kit: Kit) -> None:
    hand = begin(kit)
    count = len(hand.events)
    for wrong in (
        {"missing": ["crystal ball"]},
        {"people": [{"name": "x", "may": ["fly"]}]},
        {"people": 3},
        {"starts": [{"channel": "Z", "lit": True}]},
        {"starts": [{"channel": "A"}]},
        {"place": "moon"},
        {"condition": "odd"},
        {"minutes_left": -3},
        {"complaint": "no-such-complaint"},
        {"bogus": 1},
    ):
        with pytest.raises((Refused, BadIntake)):
            hand.chase.tell(**wrong)
        assert len(hand.events) == count, wrong


def test_declining_what_does_not_exist_is_refused(kit: Kit) -> None:
    hand = begin(kit)
    count = len(hand.events)
    with pytest.raises(Refused):
        hand.chase.decline("no", "no-such-move")
    assert len(hand.events) == count


def test_nothing_is_written_to_a_case_that_has_ended(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("end", "escalate")
    assert isinstance(hand.step, Done)
    assert hand.chase.state.ended == "handed over, not solved here"
    count = len(hand.events)
    for late in (
        lambda c: c.decline("no", "crew-ask"),
        lambda c: c.tell(place="gate"),
        lambda c: c.take_back(),
        lambda c: c.accept(),
        lambda c: c.answer(None),
    ):
        with pytest.raises(Refused):
            late(hand.chase)
        assert len(hand.events) == count
    hand.chase.leave()
    again = Chase.resume(kit, hand.log, "case", hand.clock)
    assert isinstance(again.now(), Done) and len(hand.events) == count, "an ended case is only looked at"


def test_an_intake_with_names_that_do_not_exist_opens_no_case(kit: Kit) -> None:
    base = begin(kit).chase.intake
    for wrong in (
        replace(base, complaint="no-ligth-off"),
        replace(base, complaint="one-channel-silent"),
        replace(base, channel="C"),
        replace(base, starts=(Start("C", True),)),
        replace(base, done=(Work("replace-ignitor", "A"),)),
        replace(base, missing=("hammer",)),
        replace(base, people=(Person("x", ("fly",)),)),
    ):
        log = Memory()
        with pytest.raises(Refused):
            Chase.begin(kit, log, "case", wrong, Clock())
        assert log.events("case") == ()
    with pytest.raises(Refused, match="no beginning"):
        Chase(kit, Memory(), "case", Clock())


def test_two_at_one_case_do_not_write_past_each_other(kit: Kit, tmp_path: Path) -> None:
    with open_store(tmp_path / "cases.db") as store:
        intake = begin(kit).chase.intake
        one = Chase.begin(kit, store, "case", intake, Clock())
        other = Chase(kit, store, "case", Clock())
        one.decline("no time")
        count = len(store.events("case"))
        with pytest.raises(StoreError, match="Somebody else"):
            other.accept()
        assert len(store.events("case")) == count
        assert store.faults("case") == []


# -- declining, not telling, taking back ---------------------------------------------------------------


def test_the_plan_goes_round_what_was_declined(kit: Kit) -> None:
    hand = begin(kit)
    first = hand.step
    assert isinstance(first, Offer)
    hand.chase.decline("the crew has left")
    assert hand.chase.barred()[first.key] == "declined: the crew has left"
    assert first.key not in {m.name for m in hand.chase.ranked().moves}
    second = hand.step
    assert isinstance(second, Offer) and second.key != first.key
    with pytest.raises(Refused, match="the crew has left"):
        hand.chase.accept(first.kind, first.key)
    assert hand.chase.take_back() == f"declined: {first.key}"
    assert hand.step.title == first.title


def test_a_move_in_hand_is_declined_and_what_is_open_stays_open(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "lane-test")
    hand.until(a(Confirm))
    hand.chase.decline("no list of breakers")
    assert isinstance(hand.step, Offer) and hand.chase.state.move is None
    assert hand.chase.state.open == {"notices": "open"}
    hand.take("end", "escalate")
    with pytest.raises(Refused, match="closed"):
        hand.chase.decline("tired")
    hand.until(a(Done))
    assert not hand.chase.state.open


def test_an_access_state_that_cannot_be_had_bars_what_lies_behind_it(kit: Kit, hf3: Fitted) -> None:
    hand = begin(kit)
    hand.chase.decline("no hoist", "cowls-open")
    poser = kit.poser("hangar")
    for move in hand.chase.ranked().moves:
        step = hf3.checks.get(move.name) or hf3.repairs.get(move.name)
        assert step is None or "cowls-open" not in poser.fitted.needed(step.needs), move.name


def test_could_not_tell_is_no_evidence_and_withdraws_the_check_until_a_repair(kit: Kit) -> None:
    hand = begin(kit)
    first = hand.step
    assert isinstance(first, Offer)
    joint = hand.chase.belief.joint.copy()
    minutes = hand.chase.state.book_minutes
    hand.chase.answer(None)
    assert np.array_equal(hand.chase.belief.joint, joint)
    assert hand.chase.state.book_minutes > minutes, "it took its time all the same"
    assert hand.chase.barred()[first.key] == "could not tell"
    assert hand.step.title != first.title
    # A repair changes something: what is about the present may be tried again.
    hand.take("check", "plug-well-look/A")
    hand.until(a(Ask))
    hand.chase.answer(None)
    assert hand.chase.barred()["plug-well-look/A"] == "could not tell"
    hand.take("repair", "clean-lead-terminal/A")
    hand.until(a(Mend))
    hand.do()
    assert "plug-well-look/A" not in hand.chase.barred()


def test_an_answer_taken_back_leaves_no_evidence_and_is_asked_again(kit: Kit) -> None:
    hand = begin(kit)
    hand.chase.answer(hand.step.outcomes[0].outcome)  # type: ignore[attr-defined]
    hand.until(a(Ask))
    joint, shown = hand.chase.belief.joint.copy(), seen(hand.chase)
    key = hand.step.key  # type: ignore[attr-defined]
    hand.chase.answer(hand.step.outcomes[-1][0])  # type: ignore[attr-defined]
    assert not np.array_equal(hand.chase.belief.joint, joint)
    assert hand.chase.take_back() == f"answered: {key}"
    assert np.array_equal(hand.chase.belief.joint, joint)
    assert hand.chase.state.move is not None and hand.chase.state.move.key == key
    corrected = hand.events[-1] if hand.events[-1].kind == "corrected" else next(
        e for e in reversed(hand.events) if e.kind == "corrected"
    )
    assert hand.events[corrected.body["seq"] - 1].kind == "answered", "the first telling stays on the trail"
    assert seen(on(kit, hand.events, hand.clock)) == seen(hand.chase)
    step = hand.until(a(Ask))
    assert isinstance(step, Ask) and step.key == key and step.title == shown[1]
    hand.chase.answer(step.outcomes[0][0])
    assert not np.array_equal(hand.chase.belief.joint, joint)
    assert verify(hand.events) == []


def test_a_crossing_taken_back_is_unknown_until_it_is_walked(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "lane-test")
    hand.until(lambda s: "breakers-pulled" in hand.chase.state.open)
    assert hand.chase.take_back() == "access: breakers-pulled"
    step = hand.step
    assert isinstance(step, Walk) and step.access == "breakers-pulled"
    assert hand.chase.open_now()[-1][2] == "unknown"
    with pytest.raises(Refused):
        hand.chase.answer("both-pass")
    hand.chase.walked(False)
    assert "breakers-pulled" not in hand.chase.state.open
    again = hand.until(a(Cross))
    assert isinstance(again, Cross) and again.access == "breakers-pulled" and again.opening
    assert hand.events[-1].body["caution"] == "notices-everywhere", "its warning is asked again"


def test_taking_back_twice_goes_further_back(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "lane-test")
    hand.until(lambda s: "breakers-pulled" in hand.chase.state.open)
    assert hand.chase.take_back() == "access: breakers-pulled"
    hand.chase.walked(False)
    assert hand.chase.take_back() == "access: notices"


def test_a_repair_taken_back_is_to_be_done_again(kit: Kit) -> None:
    hand = begin(kit, complaint="plug-will-not-run-down", channel="B", truth=("insert-thread-damaged/B",))
    hand.until(a(Offer))
    hand.take("repair", "clean-insert-thread/B")
    hand.until(a(Mend))
    joint = hand.chase.belief.joint.copy()
    hand.do()
    assert hand.chase.state.repairs == ["clean-insert-thread/B"]
    assert hand.chase.take_back() == "repaired: clean-insert-thread/B"
    assert hand.chase.state.repairs == [] and np.array_equal(hand.chase.belief.joint, joint)
    assert hand.until(a(Mend)).key == "clean-insert-thread/B"  # type: ignore[attr-defined]
    confirmed = [e for e in hand.events if e.kind == "caution"]
    assert confirmed[-1].seq > max(e.seq for e in hand.events if e.kind == "corrected"), "its warnings come again"


def test_a_repair_taken_back_is_in_hand_again_whatever_was_taken_up_since(kit: Kit) -> None:
    hand = begin(kit, complaint="plug-will-not-run-down", channel="B", truth=("insert-thread-damaged/B",))
    hand.until(a(Offer))
    hand.take("repair", "clean-insert-thread/B")
    hand.until(a(Mend))
    hand.do()
    hand.take("check", "plug-run-down/B")
    assert hand.chase.take_back() == "accepted: plug-run-down/B"
    assert hand.chase.state.move is None and isinstance(hand.step, Offer)
    assert hand.chase.take_back() == "repaired: clean-insert-thread/B"
    move = hand.chase.state.move
    assert move is not None and (move.kind, move.key) == ("repair", "clean-insert-thread/B")


def verifying(kit: Kit) -> Hand:
    """A plug replaced, the verification in hand."""
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Mend))
    hand.do()
    hand.take("verify", "verification")
    return hand


def test_the_last_answer_of_a_verification_taken_back_reopens_the_verification(kit: Kit) -> None:
    hand = verifying(kit)
    hand.until(a(Ask, "start-alone/B"))
    hand.do()
    assert hand.chase.state.verified == "passed"
    assert hand.chase.state.move is not None and hand.chase.state.move.kind == "close"
    assert hand.chase.take_back() == "answered: start-alone/B"
    state = hand.chase.state
    assert state.verified == "" and state.passes == 0
    assert "start-alone/B" not in {e.key for e in state.evidence}
    assert state.move is not None and state.move.kind == "verify", "nothing is closed up on it"
    hand.until(a(Ask, "start-alone/B"))


def test_a_verification_taken_back_does_not_stand_on_the_record(kit: Kit) -> None:
    hand = verifying(kit)
    hand.until(a(Ask, "start-alone/B"))
    hand.do()
    while "start-alone/B" in {e.key for e in hand.chase.state.evidence}:
        hand.chase.take_back()
    hand.until(lambda s: isinstance(s, Done) or a(Ask, "start-alone/B")(s))
    if isinstance(hand.step, Ask):
        hand.chase.decline("the run was called off")
        hand.until(a(Done))
    passed = hand.chase.state.record.partition("Verification:")[2]
    assert "Channel B: passed" not in passed
    assert "OUTSTANDING" in passed and "Start the engine on channel B alone" in passed


def test_a_failed_answer_taken_back_in_the_verification_is_asked_again(kit: Kit) -> None:
    hand = verifying(kit)
    hand.until(a(Ask, "spark-test/A"))
    hand.chase.answer("silent")
    assert hand.chase.state.verified == "failed"
    assert hand.chase.take_back() == "answered: spark-test/A"
    assert hand.chase.state.verified == ""
    hand.until(a(Ask, "spark-test/A"))
    hand.do()
    assert hand.chase.state.verifying == {"spark-test/A": "snaps"}


# -- cautions and waits -------------------------------------------------------------------------------


def test_the_discharge_wait_blocks_until_it_is_over(kit: Kit, hf3: Fitted) -> None:
    name = discharge(hf3)
    hand = begin(kit)
    hand.take("check", "plug-well-look/A")
    hand.until(lambda s: isinstance(s, Confirm) and s.caution.name == name)
    off = _time(next(e for e in hand.events if e.kind == "access" and e.body["access"] == "input-off/A"))
    # The halves took a while to open since: a wait that runs for 7.5 minutes more.
    told = (hand.clock() - off).total_seconds() / 60 + 7.5
    over = hand.clock() + timedelta(minutes=7.5)
    hand.chase.confirm({**hand.facts(), str(hf3.knowledge.cautions[name].wait): f"{told:g}".replace(".", ",")})
    step = hand.until(a(Wait))
    assert isinstance(step, Wait) and step.until == over
    for moment in (hand.clock(), over - timedelta(seconds=1)):
        hand.clock.time = moment
        assert isinstance(hand.step, Wait)
        with pytest.raises(Refused):
            hand.chase.crossed()
        hand.chase.waited()
        assert isinstance(hand.step, Wait), "saying so does not make it so"
    hand.clock.time = over
    assert not isinstance(hand.step, Wait)
    crossed = hand.until(a(Cross))
    assert isinstance(crossed, Cross) and crossed.access == "lead-off/A"


def test_a_warning_that_holds_is_not_asked_again_until_the_work_was_interrupted(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "lane-test")
    hand.until(a(Ask))
    hand.do()
    hand.take("check", "common-connector-look")
    hand.until(lambda s: isinstance(s, Ask))
    asked = [e.body["caution"] for e in hand.events if e.kind == "caution" and e.body["facts"]]
    assert asked.count("supplies-isolated") == 1, "the breakers have stayed pulled"
    resumed = Chase.resume(kit, hand.log, "case", hand.clock)
    again = replace(hand, chase=resumed)
    assert isinstance(again.step, Walk)
    again.until(lambda s: isinstance(s, Ask))
    asked = [e.body["caution"] for e in hand.events if e.kind == "caution" and e.body["facts"]]
    assert asked.count("supplies-isolated") == 2
    again.chase.take_back()
    again.until(lambda s: isinstance(s, Ask))
    asked = [e.body["caution"] for e in hand.events if e.kind == "caution" and e.body["facts"]]
    assert asked.count("supplies-isolated") == 3


def test_cautions_without_facts_are_shown_and_written_down_once(kit: Kit, hf3: Fitted) -> None:
    hand = begin(kit, complaint="plug-will-not-run-down", channel="B", truth=("insert-thread-damaged/B",))
    hand.until(a(Offer))
    hand.take("check", "insert-look/B")
    step = hand.until(a(Ask))
    assert isinstance(step, Ask)
    shown = [c.name for c in step.cautions if not c.asks]
    assert "insert-held" in shown
    hand.do()
    written = [e.body for e in hand.events if e.kind == "caution" and e.body.get("shown")]
    assert [b["caution"] for b in written].count("insert-held/B") == 1
    assert all(hf3.knowledge.cautions[split(b["caution"])[0]].asks == [] for b in written)


# -- who and what is there ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "key", "why"),
    [
        ({"people": (Person("x"),)}, "start-alone/A", "nobody here holds: engine-run"),
        ({"people": (Person("x"), HEADSET)}, "replace-igniter/A", "nobody here holds: licensed"),
        ({"people": (TECHNICIAN,)}, "cowls-open", "takes 2 people"),
        ({"place": "gate"}, "replace-insert/A", "not at the gate"),
        ({"missing": ("meter",)}, "lead-continuity/A", "not at hand: meter"),
        ({"missing": ("spare-igniter",)}, "replace-igniter/A", "not at hand: spare-igniter"),
        ({"missing": ("air",)}, "air-on", "not at hand: air"),
        ({"missing": ("air",)}, "start-alone/B", "Without air the engine cannot be started."),
    ],
)
def test_what_cannot_be_done_here_is_barred_with_its_reason(
    kit: Kit, changes: dict[str, Any], key: str, why: str
) -> None:
    hand = begin(kit, **changes)
    assert hand.chase.barred()[key] == why
    assert key not in {m.name for m in hand.chase.ranked().moves}
    if key not in kit.fitted.access:
        with pytest.raises(Refused, match=why.split(":")[0]):
            hand.chase.accept(None, key)


def test_people_and_tools_told_later_lift_the_bar(kit: Kit) -> None:
    hand = begin(kit, people=(Person("x", ("licensed",)), HEADSET), missing=("meter",), condition="hot")
    assert hand.chase.barred()["start-alone/A"] == "nobody here holds: engine-run"
    hand.chase.tell(people=[{"name": "x", "may": ["licensed", "motoring", "engine-run"]}, {"name": "y"}], missing=[])
    assert "start-alone/A" not in hand.chase.barred() and "lead-continuity/A" not in hand.chase.barred()
    hot = hand.chase.belief.predicted("spark-test/A", hand.chase.intake.condition)
    hand.chase.tell(condition="cold")
    assert hand.chase.intake.condition == "cold"
    assert not np.allclose(hot, hand.chase.belief.predicted("spark-test/A", "cold"))
    hand.chase.tell(missing=["meter"])
    assert hand.chase.barred()["lead-continuity/A"] == "not at hand: meter"
    assert seen(on(kit, hand.events, hand.clock)) == seen(hand.chase)


def test_starts_told_later_are_evidence(kit: Kit) -> None:
    hand = begin(kit, complaint="intermittent-no-ignite")
    before = 1 - hand.chase.belief.zone("channel/B")[0]
    hand.chase.tell(starts=[{"channel": c, "lit": c == "A"} for c in "BAB"])
    assert 1 - hand.chase.belief.zone("channel/B")[0] > 1.5 * before
    assert 1 - hand.chase.belief.zone("channel/A")[0] < before


def test_a_move_in_hand_is_held_when_who_it_takes_has_gone(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "start-alone/A")
    hand.chase.tell(people=[{"name": "x", "may": ["licensed"]}, {"name": "y", "may": []}])
    step = hand.step
    assert isinstance(step, Held) and step.reasons == ("nobody here holds: engine-run",)
    hand.chase.decline("; ".join(step.reasons))
    assert isinstance(hand.step, Offer)


def test_minutes_left_run_with_the_clock(kit: Kit) -> None:
    hand = begin(kit, minutes_left=45)
    assert hand.chase.minutes_left == 45
    hand.clock.pass_minutes(30)
    assert hand.chase.minutes_left == pytest.approx(15)
    assert begin(kit).chase.minutes_left is None


# -- verification and ends -------------------------------------------------------------------------------


def test_a_repair_in_vain_fails_its_verification_and_the_chase_goes_on(kit: Kit) -> None:
    hand = begin(kit, complaint="one-channel-silent", channel="A", truth=("exciter-dead/A",))
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Mend))
    hand.do()
    hand.take("verify", "verification")
    hand.until(a(Ask, "spark-test/A"))
    hand.do()
    assert hand.chase.state.verified == "failed"
    failed = next(e.body for e in hand.events if e.kind == "verified")
    assert failed["failed"] == ["spark-test/A"] and failed["channels"]["A"] == "failed"
    assert isinstance(hand.step, Offer), "it goes on"
    assert any(f.rule == "not-verified" for f in hand.chase.firings())
    hand.take("repair", "replace-exciter/A")
    hand.until(a(Mend))
    hand.do()
    hand.until(a(Done))
    # The exciter was changed without a look at anything: what is left of the doubt may be watched or asked away.
    assert hand.chase.state.ended is not None and hand.chase.state.ended.startswith("verified")
    assert hand.chase.remaining < 0.1
    found = {f.repair: f for f in hand.chase.verdict()}
    assert found["replace-igniter/A"].state == "healthy", "seen from the end the plug was good"
    assert found["replace-exciter/A"].state == "exciter-dead"
    assert "this part was probably good" in hand.chase.state.record
    assert "Exciter A dead" in hand.chase.state.record


def test_a_verification_that_failed_twice_is_not_offered_before_something_is_done(kit: Kit) -> None:
    hand = begin(kit, complaint="one-channel-silent", channel="A", truth=("exciter-dead/A",))
    for offered in (True, True, False):
        moves = {move.name for move in hand.chase.ranked().moves}
        assert ("verification" in moves) is offered
        if offered:
            hand.take("verify", "verification")
            hand.until(a(Offer))
    hand.take("repair", "replace-exciter/A")
    hand.until(a(Mend))
    hand.do()
    assert "verification" in {move.name for move in hand.chase.ranked().moves}


def test_what_nobody_here_may_verify_is_handed_over_as_outstanding(kit: Kit) -> None:
    licensed = (Person("the technician", ("licensed", "motoring")), SECOND)
    hand = begin(kit, people=licensed)
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Mend))
    hand.do()
    hand.take("verify", "verification")
    hand.until(a(Done))
    assert hand.chase.state.ended == "handed over, verification outstanding"
    body = next(e.body for e in hand.events if e.kind == "verified")
    assert body["result"] == "outstanding"
    assert set(body["outstanding"]) == {"start-alone/A", "start-alone/B"}
    record = hand.chase.state.record
    outstanding = next(line for line in record.splitlines() if "OUTSTANDING" in line)
    for channel in "AB":
        assert kit.fitted.check(f"start-alone/{channel}").title in outstanding
    assert "verified, fault found" not in record
    assert not hand.chase.state.open, "closed up all the same"


def test_could_not_tell_in_a_verification_is_no_pass(kit: Kit) -> None:
    hand = verifying(kit)
    hand.until(a(Ask, "spark-test/A"))
    hand.chase.answer(None)
    hand.until(a(Done))
    assert hand.chase.state.ended == "handed over, verification outstanding"
    assert kit.fitted.check("spark-test/A").title in hand.chase.state.record.partition("OUTSTANDING")[2].splitlines()[0]


def test_declining_something_else_does_not_put_it_on_the_verification(kit: Kit) -> None:
    hand = verifying(kit)
    hand.chase.decline("no mirror", "plug-seat-look/B")
    assert hand.chase.state.outstanding == []


def test_a_fuel_fault_is_handed_over_with_what_was_found(kit: Kit) -> None:
    hand = begin(kit, complaint="no-light-off", truth=("no-fuel",), starts=(Start("A", False), Start("B", False)))
    done = hand.until(a(Done))
    assert isinstance(done, Done) and done.end.startswith("not ignition, handed over to")
    assert hand.kinds()[-2:] == ["handed-over", "closed"]
    assert [f.mode for f in hand.chase.verdict()] == ["no-fuel"]
    assert "no repair" in done.record and done.end in done.record


def test_the_record_says_what_was_checked_with_blanks_and_as_a_draft(played: Played, kit: Kit) -> None:
    record = played.hand.chase.state.record
    for event in played.hand.events:
        if event.kind == "answered" and event.body["outcome"]:
            check = kit.fitted.check(event.body["check"])
            assert f"{check.title}: {check.said(event.body['outcome'])}" in record
    assert "____" in record and "draft" in record and "approves nothing" in record
    assert "Aircraft 104, engine 2" in record
    assert "{" not in record


# -- dead ends ---------------------------------------------------------------------------------------------


def test_breakers_found_pushed_in_with_a_plug_out_can_be_pulled_again(kit: Kit) -> None:
    # Taken over from others, or after a break: somebody has put the breakers back. The way on is to pull them, not to
    # stand for ever before a plug that may not be touched.
    hand = begin(kit, complaint="plug-will-not-run-down", channel="B", truth=("insert-thread-damaged/B",))
    while isinstance(step := hand.step, Walk):
        hand.chase.walked(step.access != "breakers-pulled")
    step = hand.until(lambda s: isinstance(s, Held | Cross | Offer))
    assert isinstance(step, Cross), step
    assert step.access == "breakers-pulled" and step.opening
    hand.until(a(Done))
    assert not hand.chase.state.open


def test_a_hot_engine_judged_cool_again_after_a_break_goes_on(kit: Kit) -> None:
    hand = begin(kit, condition="hot")
    hand.take("check", "plug-well-look/A")
    hand.until(lambda s: "reverser-open" in hand.chase.state.open)
    hand.chase = Chase.resume(kit, hand.log, "case", hand.clock)
    step = hand.until(lambda s: isinstance(s, Held | Ask))
    if isinstance(step, Held):
        assert "tell" in step.reasons[0], "a gate that only a telling lifts says so"
        hand.chase.tell(condition="steady")
        hand.until(a(Ask, "plug-well-look/A"))


# -- whatever people do ----------------------------------------------------------------------------------------


APART = ("lead-off", "lead-off-exciter", "plug-out", "input-off", "reverser-open")
MAY_REFUSE = ("nothing to take back", "has to be closed", "last way out")


def anybody(kit: Kit, seed: int) -> Iterator[tuple[Hand, Step]]:
    """Somebody who does one legal thing after another, seeded; yields the step put to him or her before each."""
    rng = random.Random(seed)
    fitted = kit.fitted
    complaint = "plug-will-not-run-down" if seed % 3 == 0 else rng.choice(sorted(fitted.complaints))
    channel = rng.choice("AB") if fitted.complaints[complaint].asks_channel else ""
    condition = rng.choice(["steady", "steady", "cold", "wet", "hot"])
    used = rng.choices(["A", "B", "both", "unknown"], k=rng.randrange(4))
    starts = tuple(Start(c, rng.random() < 0.5) for c in used)
    truth = tuple(rng.sample(sorted(m for m in fitted.mode_zone if m.endswith("/A")), rng.randrange(2)))
    place: Place = rng.choice(["gate", "hangar"])  # type: ignore[assignment]
    hand = begin(kit, complaint, channel, truth, place=place, condition=condition, starts=starts)
    if seed % 3 == 1 and isinstance(hand.step, Offer):
        hand.take("verify", "verification")
    while True:
        chase, step, luck = hand.chase, hand.step, rng.random()
        yield hand, step
        if isinstance(step, Done):
            return
        try:
            if luck < 0.04:
                hand.chase = Chase.resume(kit, hand.log, "case", hand.clock)
            elif luck < 0.09:
                chase.take_back()
            elif luck < 0.12 or isinstance(step, Held):
                chase.decline("no time")
            elif isinstance(step, Offer) and luck < 0.6:
                other = rng.choice([o for o in step.others if o.kind != "end"] or [step])
                chase.accept(other.kind, other.key)
            elif isinstance(step, Ask) and luck < 0.3:
                chase.answer(None if luck < 0.18 else rng.choice(step.outcomes)[0])
            elif isinstance(step, Walk):
                chase.walked(luck < 0.85)
            else:
                hand.do(step)
        except Refused as refused:
            assert any(said in str(refused) for said in MAY_REFUSE), refused
            if isinstance(step, Held):
                chase.take_back()


def safe(kit: Kit, hand: Hand, step: Step) -> None:
    """Assert what must hold at every step put to somebody."""
    fitted, state = kit.fitted, hand.chase.state
    if isinstance(step, Ask):
        tags: list[str] = fitted.check(step.key).entry.tags
    elif isinstance(step, Mend):
        tags = fitted.repair(step.key).entry.tags
    elif isinstance(step, Cross):
        tags = fitted.access[step.access].entry.tags
    else:
        return
    apart = [k for k in state.open if split(k)[0] in APART]
    if "spark" in tags or "engine-run" in tags:
        assert not apart, f"{step.title} with {apart} apart"
        assert "breakers-pulled" not in state.open, step.title
    if "spark" in tags:
        assert state.open.get("dry-motored") == "open" and state.open.get("heads-counted") == "open", step.title
    if "motoring" in tags and (not isinstance(step, Cross) or step.opening):
        assert not apart, f"{step.title} with {apart} apart"
    if "hands-in" in tags:
        assert state.open.get("breakers-pulled") == "open", f"{step.title} with a supply alive"
    if isinstance(step, Cross) and step.opening and split(step.access)[0] in ("lead-off", "lead-off-exciter"):
        assert state.open.get(f"input-off/{split(step.access)[1]}") == "open", step.title
    broken = max((e.seq for e in state.events if e.kind in ("resumed", "corrected")), default=0)
    for caution in step.cautions:
        if caution.asks:
            had = state.confirmed[caution.key]
            assert had[0] > broken, f"{caution.title} was not confirmed since the work was interrupted"
            entry = fitted.knowledge.cautions[caution.name]
            if entry.wait is not None:
                assert hand.clock() >= _time(state.events[had[0] - 1]) or entry.since, caution.title
    assert not state.unknown, "nothing is done past what nobody has walked"


@pytest.mark.parametrize("seed", range(32))
def test_nothing_anybody_does_breaks_what_keeps_people_alive(kit: Kit, seed: int) -> None:
    hand = None
    for count, (hand, step) in enumerate(anybody(kit, seed)):
        safe(kit, hand, step)
        if count == 20:
            break
    assert hand is not None
    assert verify(hand.events) == []
    assert seen(on(kit, hand.events, hand.clock)) == seen(hand.chase)
    if hand.chase.state.ended.startswith("verified"):
        assert not hand.chase.state.open

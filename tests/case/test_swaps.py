"""Parts that changed places in a case: said, walked as a move, on the trail and the record, and taken back.

What an exchange does to the belief is in tests/reasoning/test_swap.py and tests/published/test_swaps.py. That hands on
both channels want an independent inspection is 14 CFR 121.371 [memory]; the rest is common practice [practice].
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from isolate.case import deferral, inherit, swaps
from isolate.case.believed import believed
from isolate.case.case import BadIntake, Earlier, Evidence, Intake, Swap, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.record import NOT_ENDED, record
from isolate.case.steps import Done, Held, Mend, Offer, Walk
from isolate.case.written import Answers, read
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import HEALTHY, Swaps
from isolate.kb.read import KnowledgeError
from isolate.reasoning.belief import Belief
from isolate.reasoning.starts import Start
from tests.case.test_chase import Hand, a, begin

PLUGS = {"part": "igniter", "channel": "A", "other": "B"}


@pytest.fixture(scope="module")
def t9() -> Fitted:
    return fit(load().knowledge, "orrin-t-9")


def chance(chase: Chase, zone: str, state: str) -> float:
    return float(chase.belief.zone(zone)[chase.fitted.zones[zone].states.index(state)])


_KEPT: dict[Any, tuple[Event, ...]] = {}


def kept(kit: Kit, to: str, truth: tuple[str, ...], **more: Any) -> Hand:
    """A case as it is once opened or heard, played once for all that ask for it alike."""
    about = kit.fitted.name, kit.fitted.knowledge.digest, to, truth, str(more)
    if about not in _KEPT:
        hand = begin(kit, truth=truth, **more)
        for key in ("spark-test/A", "spark-test/B") if to == "heard" else ():
            hand.take("check", key)
            hand.until(lambda s: isinstance(s, Offer))
        _KEPT[about] = hand.events
    log, clock = Memory(_KEPT[about]), Clock(parse_time(_KEPT[about][-1].time))
    chase = Chase(kit, log, "case", clock)
    return Hand(chase, clock, log, Aircraft(kit.model, truth, more.get("script"), people=["the technician"]))


def opened(kit: Kit, **more: Any) -> Hand:
    """A case just opened."""
    return kept(kit, "opened", ("igniter-worn/A",), **more)


def heard(kit: Kit, truth: tuple[str, ...] = ("igniter-worn/A",), **more: Any) -> Hand:
    """A case in which both channels were fired and heard: that of A weak, so that its plug is the first suspect."""
    return kept(kit, "heard", truth, **more)


# -- said by the technician ------------------------------------------------------------------------


def test_what_was_known_of_a_plug_goes_with_it(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    on_a, on_b = (chance(chase, f"channel/{c}", "igniter-worn") for c in "AB")
    seats = [chance(chase, f"channel/{c}", "immersion-shallow") for c in "AB"]
    assert on_a > 0.3 > 10 * on_b
    chase.swapped({**PLUGS, "serial": "P-1", "other_serial": "P-2"})
    assert chance(chase, "channel/B", "igniter-worn") == pytest.approx(on_a, rel=0.02)
    assert chance(chase, "channel/A", "igniter-worn") < 2 * on_b
    # The seats stay where they are; that of B is out of sight where the worn plug came to it.
    stayed = [chance(chase, f"channel/{c}", "immersion-shallow") for c in "AB"]
    assert stayed[0] == pytest.approx(seats[0], rel=0.1)
    assert 0.5 * seats[1] < stayed[1] < seats[1]
    event = next(e for e in hand.events if e.kind == "swapped")
    assert event.body["key"] == "igniter:A<>B" and event.body["swap"]["serial"] == "P-1"
    assert chase.state.evidence[-1] == Evidence(event.seq, "swap", "igniter:A<>B")
    # The same by the trail alone.
    again = Chase(kit, Memory(hand.events), "case", hand.clock)
    assert np.allclose(again.belief.joint, chase.belief.joint, atol=1e-15)
    assert again.state.swaps == chase.state.swaps


def test_checks_of_both_channels_may_be_asked_again_and_the_papers_may_not(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    hand.take("check", "history-read")
    assert chase.belief.told
    chase.decline("no time", "lead-continuity/A")
    chase.swapped(PLUGS)
    barred = chase.barred()
    looks = {k: why for k, why in barred.items() if why == "answered"}
    assert not [k for k in looks if set(chase.fitted.check(k).given) & {"channel/A", "channel/B"}], looks
    assert "lead-continuity/A" not in barred
    past = [k for k, why in barred.items() if why == "about the time before parts changed places"]
    assert "plug-age-read/A" in past and all(chase.fitted.check(k).entry.kind == "history" for k in past)
    assert chase.proven() == {}


def test_hands_were_on_both_channels_so_both_are_inspected(kit: Kit) -> None:
    hand = heard(kit)
    hand.chase.swapped(PLUGS)
    assert set(hand.chase.touched()) == {"A", "B"} and hand.chase.inspection_due()
    said = [f.says for f in hand.chase.firings() if f.kind == "advice"]
    assert any("sits on channel B now" in line for line in said)


def test_a_verification_that_passed_before_does_not_stand_after(kit: Kit) -> None:
    hand = heard(kit)
    events = list(hand.log.events("case"))
    body = {"result": "passed", "channels": {}, "failed": [], "outstanding": [], "remaining": 0.01}
    log = Memory(events)
    log.append_all("case", [("verified", body)], events[-1].time)
    chase = Chase(kit, log, "case", hand.clock)
    assert chase.state.verified == "passed" and chase.state.passes == 1
    log.append_all("case", [("swapped", swaps.body(Swap("lead", "A", "B")))], events[-1].time)
    chase = Chase(kit, log, "case", hand.clock)
    assert chase.state.verified == "" and chase.state.passes == 0


def test_it_is_taken_back_like_any_other_thing_said(kit: Kit) -> None:
    hand = heard(kit)
    had = hand.chase.belief.joint.copy()
    hand.chase.swapped(PLUGS)
    assert hand.chase.take_back() == "swapped: igniter:A<>B"
    assert np.allclose(hand.chase.belief.joint, had, atol=1e-15)
    assert swaps.where(hand.chase)["igniter", "A"] == "the igniter plug that was on A"
    assert "Which part sits where" not in record(hand.chase, NOT_ENDED)
    assert [e.kind for e in hand.events].count("swapped") == 1, "nothing is deleted"


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"part": "ignitr", "channel": "A", "other": "B"}, "did you mean igniter"),
        ({"part": "feeder", "channel": "A", "other": "B"}, "those that change places: exciter, igniter, lead"),
        ({"part": "igniter", "channel": "A", "other": "A"}, "not within channel A"),
        ({"part": "igniter", "channel": "C", "other": "A"}, "no channel is called 'C'; known: A, B"),
        ({"part": "igniter", "channel": "A", "other": "both"}, "no channel is called 'both'"),
        ({"part": "igniter", "channel": ""}, "Say which part"),
        ({"channel": "A"}, "Say which part"),
        ({**PLUGS, "serail": "1"}, "nothing of parts that changed places is called 'serail'"),
        ({**PLUGS, "serial": "9" * 61}, "60 letters at most"),
        ({**PLUGS, "where": "230"}, "went to no other aircraft"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(kit: Kit, said: dict[str, str], says: str) -> None:
    hand = opened(kit)
    count = len(hand.events)
    with pytest.raises(Refused, match=says):
        hand.chase.swapped(said)
    assert len(hand.events) == count


def test_one_exciter_for_both_channels_cannot_change_places(t9: Fitted) -> None:
    hand = begin(Kit(t9), complaint="no-light-off", truth=())
    with pytest.raises(Refused, match="one exciter serves every channel here"):
        hand.chase.swapped({"part": "exciter", "channel": "1", "other": "2"})
    assert set(swaps.movable(t9)) == {"igniter", "lead"}


def test_a_case_that_has_ended_takes_none(kit: Kit) -> None:
    hand = opened(kit)
    log = Memory(hand.events)
    log.append_all("case", [("closed", {"end": "handed over", "record": "-"})], hand.events[-1].time)
    chase = Chase(kit, log, "case", hand.clock)
    with pytest.raises(Refused, match="has ended"):
        chase.swapped(PLUGS)


def test_a_part_sent_to_another_engine_is_on_the_record_with_where_it_went(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    worn = chance(chase, "channel/A", "igniter-worn")
    there = "aircraft 230, engine 1, channel B"
    sent = {"part": "igniter", "channel": "A", "other": "elsewhere", "where": there}
    chase.swapped({**sent, "serial": "P-1", "other-serial": "P-9"})
    prior = dict(zip(kit.fitted.zones["channel/A"].states, kit.fitted.zones["channel/A"].prior, strict=True))
    assert chance(chase, "channel/A", "igniter-worn") == pytest.approx(prior["igniter-worn"], rel=0.05)
    assert worn > 0.3
    text = record(chase, NOT_ENDED)
    assert "Igniter plug of channel A, S/N P-1, went to aircraft 230, engine 1, channel B;" in text
    assert "a fault of the part went along" in text
    assert swaps.where(chase)["igniter", "A"] == "S/N P-9"
    assert "came from aircraft 230, engine 1, channel B" in text
    assert set(chase.touched()) == {"A"}
    assert any(f.rule == "part-went-elsewhere" for f in chase.firings())


def test_a_proof_of_a_channel_does_not_outlive_an_exchange(kit: Kit) -> None:
    hand = heard(kit, truth=("igniter-worn/A",))
    hand.log.append_all("case", [("answered", {"check": "spark-test/B", "outcome": "snaps"})], hand.events[-1].time)
    chase = Chase(kit, hand.log, "case", hand.clock)
    assert deferral.proven(chase, "B")
    chase.swapped(PLUGS)
    with pytest.raises(Refused):
        deferral.proven(chase, "B")


# -- which part sits where -------------------------------------------------------------------------


def test_the_ledger_follows_exchanges_and_replacements(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    assert swaps.where(chase)["igniter", "B"] == "the igniter plug that was on B"
    chase.swapped(PLUGS)
    assert swaps.where(chase) | {} == {
        **{(p, c): f"the {p} that was on {c}" for p in ("exciter", "lead") for c in "AB"},
        ("igniter", "A"): "the igniter plug that was on B",
        ("igniter", "B"): "the igniter plug that was on A",
    }
    text = record(chase, NOT_ENDED)
    assert "Igniter plug of channel B: the igniter plug that was on A  <- NOT WHERE IT WAS" in text
    numbers = {"pn-off": "IG-1", "sn-off": "P-1", "pn-on": "IG-1", "sn-on": "P-7"}
    replaced = {"repair": "replace-igniter/B", "minutes": 10, "part": numbers}
    hand.log.append_all("case", [("repaired", replaced)], hand.events[-1].time)
    chase = Chase(kit, hand.log, "case", hand.clock)
    assert swaps.where(chase)["igniter", "B"] == "S/N P-7"
    text = record(chase, NOT_ENDED)
    assert "It was the igniter plug then on B, which was on A (S/N P-1)." in text
    # Taken off, the old plug is nowhere; the other one has not moved since.
    assert swaps.where(chase)["igniter", "A"] == "the igniter plug that was on B"


def test_put_back_they_sit_where_they_were_and_the_record_still_has_both(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    chase.swapped({"part": "lead", "channel": "A", "other": "B"})
    there = [f for f in chase.firings() if f.rule == "parts-changed-places"]
    assert len(there) == 2
    chase.swapped({"part": "lead", "channel": "B", "other": "A"})
    assert not [f for f in chase.firings() if f.rule == "parts-changed-places"]
    text = record(chase, NOT_ENDED)
    assert "NOT WHERE IT WAS" not in text
    assert text.count("changed over i.a.w.") == text.count("then: Leads of channels A and B changed places") == 2
    assert swaps.where(chase)["lead", "A"] == "the lead that was on A"


def test_the_verdict_finds_the_plug_where_it_came_to(kit: Kit) -> None:
    """A worn plug of A is moved to B, replaced there, and B proven: that plug is what was found, as the one of A."""
    hand = heard(kit)
    hand.chase.swapped(PLUGS)
    time = hand.events[-1].time
    more = [("repaired", {"repair": "replace-igniter/B", "minutes": 10})]
    more += [("answered", {"check": f"spark-test/{c}", "outcome": "snaps"}) for c in "AB"]
    hand.log.append_all("case", more, time)
    chase = Chase(kit, hand.log, "case", hand.clock)
    found = {f.zone: f for f in chase.verdict() if f.repair == "replace-igniter/B"}
    assert found["channel/B"].state == "igniter-worn" and found["channel/B"].probability > 0.5
    text = record(chase, NOT_ENDED)
    assert "For: Igniter plug B worn" in text and "It was the igniter plug then on B, which was on A." in text
    # The same repair on the channel that the worn plug has left: it was in vain.
    hand = heard(kit)
    hand.chase.swapped(PLUGS)
    hand.log.append_all("case", [("repaired", {"repair": "replace-igniter/A", "minutes": 10}), *more[1:2]], time)
    vain = {f.zone: f for f in Chase(kit, hand.log, "case", hand.clock).verdict()}
    assert vain["channel/A"].state == HEALTHY


def _report(hand: Hand) -> bool:
    """Walk on to the inspection and tell it."""
    from isolate.case.steps import Report

    step = hand.until(lambda s: isinstance(s, Report | Done), most=400)
    if isinstance(step, Report):
        hand.chase.report({"worked-by": "Quill", "inspected-by": "Sable", "inspected-at": "14:05"})
        return True
    return False


def test_the_next_shift_is_told(kit: Kit) -> None:
    hand = heard(kit)
    hand.chase.swapped({**PLUGS, "serial": "P-1"})
    text = hand.chase.pass_on({"by": "Quill", "to": "Marrow", "loose": "none", "list-by": "Quill", "out": 0})
    joined = " ".join(text.split())
    assert "Igniter plugs of channels A and B changed over" in joined and "NOT WHERE IT WAS" in joined


# -- as a move ---------------------------------------------------------------------------------------


def test_parts_are_changed_over_as_a_move_with_what_it_takes(kit: Kit) -> None:
    hand = heard(kit)
    chase = hand.chase
    moves = {m.name: m for m in chase.exchanges()}
    assert set(moves) == {"igniter:A<>B", "lead:A<>B", "exciter:A<>B"}
    move = moves["igniter:A<>B"]
    assert move.kind == "swap" and move.now > 2 * kit.fitted.repairs["replace-igniter/A"].entry.minutes
    # No plan looks for it: it is in no list that a plan makes.
    assert not [m for m in chase.ranked().moves if m.kind == "swap"]
    chase.accept("swap", "igniter:A<>B")
    step = hand.until(a(Mend), most=200)
    assert isinstance(step, Mend)
    assert {"plug-out/A", "plug-out/B", "breakers-pulled"} <= set(chase.state.open)
    told = {e.body["caution"].split("/")[0] for e in hand.events if e.kind == "caution"}
    shown = told | {c.name for c in step.cautions}
    for repair in ("replace-igniter/A", "replace-igniter/B"):
        assert set(kit.fitted.repairs[repair].cautions) <= shown, repair
    assert "independent-inspection" in shown, "the second channel is opened by the same hands"
    worn = chance(chase, "channel/A", "igniter-worn")
    chase.mended({"serial": "P-1", "other-serial": "none"})
    hand.aircraft.repaired(step.key)
    body = next(e.body for e in hand.events if e.kind == "swapped")
    assert body["taken_up"] and body["minutes"] == step.minutes == 20
    assert chance(chase, "channel/B", "igniter-worn") == pytest.approx(worn, rel=0.02)
    assert swaps.where(chase)["igniter", "B"] == "S/N P-1"
    assert hand.aircraft.truth["channel/B"] == "igniter-worn"
    # What it was said to cost holds: its own minutes, and what the plan expects once it is done.
    assert move.expected - move.now == pytest.approx(chase.ranked().moves[0].expected, rel=1e-6)
    # Taken back, the work is in hand again.
    chase.take_back()
    hand.until(a(Mend), most=50)
    assert swaps.where(chase)["igniter", "B"] == "the igniter plug that was on B"
    # Done after all, the case goes on to its end, inspected and closed up.
    chase.mended({"serial": "P-1", "other-serial": "none"})
    while _report(hand):
        pass
    assert not fold(hand.events).open and fold(hand.events).ended
    assert {f.mode for f in chase.verdict() if f.state != HEALTHY} == {"igniter-worn/B"}


def test_nothing_is_changed_over_while_both_are_suspect_or_nobody_may(kit: Kit) -> None:
    hand = heard(kit, ("exciter-dead/A", "exciter-dead/B"), complaint="no-light-off")
    assert hand.chase.exchanges() == ()
    with pytest.raises(Refused, match="while both are suspect"):
        hand.chase.accept("swap", "exciter:A<>B")
    assert "while both are suspect" in hand.chase.barred()["lead-swap-test"]
    one_suspect = heard(kit)
    one_suspect.chase.tell(people=[{"name": "a helper", "may": []}])
    with pytest.raises(Refused, match="nobody here holds: licensed"):
        one_suspect.chase.accept("swap", "igniter:A<>B")
    other = heard(kit)
    for key in ("igniter:A<>C", "feeder:A<>B", "igniter:A<>elsewhere"):
        with pytest.raises(Refused, match="no move called"):
            other.chase.accept("swap", key)


def test_what_comes_in_between_holds_it_and_it_can_be_declined(kit: Kit) -> None:
    hand = heard(kit)
    hand.take("swap", "lead:A<>B")
    hand.chase.tell(people=[{"name": "a helper", "may": []}])
    step = hand.step
    assert isinstance(step, Held) and "licensed" in step.reasons[0]
    hand.chase.decline("nobody may")
    assert hand.chase.state.move is None
    hand.chase.tell(people=[{"name": p.name, "may": list(p.may)} for p in heard(kit).chase.intake.people])
    text = record(hand.chase, NOT_ENDED)
    assert "Change the leads of channels A and B over" not in text, "what was declined for want of people may be done"
    assert "lead:A<>B" in {m.name for m in hand.chase.exchanges()}


# -- a check that changes parts over ---------------------------------------------------------------


def test_the_shipped_tests_put_back_what_they_changed_over(kit: Kit) -> None:
    """What the model says and what the steps say are one."""
    for name, part in (("lead-swap-test", "lead"), ("exciter-swap-test", "exciter")):
        check = kit.fitted.checks[name]
        assert check.entry.swaps == Swaps(part=part, back=True)
        assert any("back" in step and "its" in step for step in check.steps), name
        assert swaps.CHANGES_OVER in check.entry.tags
    told = {n for n, c in kit.fitted.knowledge.checks.items() if any("changed over" in s or "other channel's clips" in s
            for s in c.steps if isinstance(s, str))}  # fmt: skip
    assert told == {n for n, c in kit.fitted.knowledge.checks.items() if c.swaps is not None}
    intake = Intake("104", "2", "halden-hf-3", "slow-light")
    tested = believed(kit.model, intake, [Evidence(1, "answer", "lead-swap-test", "follows")])
    alone = believed(kit.model, intake, []).weighed(kit.model.likelihood("lead-swap-test")[2])
    assert np.allclose(tested.joint, alone.joint, atol=1e-15), "nothing stays changed over"


def test_one_that_leaves_them_changed_over_carries_the_belief_along(kit: Kit) -> None:
    knowledge = kit.fitted.knowledge
    check = knowledge.checks["lead-swap-test"].model_copy(update={"swaps": Swaps(part="lead", back=False)})
    changed = knowledge.model_copy(update={"checks": {**knowledge.checks, "lead-swap-test": check}})
    starts = (Start("A", False), Start("B", True))
    hand = begin(Kit(fit(changed, "halden-hf-3")), script={"lead-swap-test": "follows"}, starts=starts)
    had = hand.chase.belief
    hand.take("check", "lead-swap-test")
    for _ in range(60):
        step = hand.do()
        if getattr(step, "key", "") == "lead-swap-test" and not isinstance(step, Offer):
            break
    assert [e.kind for e in hand.chase.state.evidence[-2:]] == ["answer", "swap"]
    said = next(e for e in hand.events if e.kind == "swapped")
    assert said.body["of"] == "lead-swap-test" and said.body["of_itself"]
    tested = hand.chase.state.evidence[-2]
    want = had.answer(tested.key, tested.outcome, tested.condition, tested.strength, tested.occasion)
    assert np.allclose(hand.chase.belief.joint, want.swapped("lead", "A", "B").joint, atol=1e-12)
    assert chance(hand.chase, "channel/B", "lead-open") > 0.1 > 10 * chance(hand.chase, "channel/A", "lead-open")
    # Both are one thing said, and are taken back as one.
    assert hand.chase.take_back() == "answered: lead-swap-test"
    assert not [e for e in hand.chase.state.evidence if e.kind == "swap"]
    assert np.allclose(hand.chase.belief.joint, had.joint, atol=1e-12)


def test_after_a_test_the_record_asks_where_each_is(kit: Kit) -> None:
    hand = heard(kit)
    answered = {"check": "lead-swap-test", "outcome": "stays"}
    hand.log.append_all("case", [("answered", answered)], hand.events[-1].time)
    hand.chase = Chase(kit, hand.log, "case", hand.clock)
    text = record(hand.chase, NOT_ENDED)
    assert "Lead of channel A: back where it was, by the steps of" in text and "seen by its tag: ____" in text
    assert not hand.chase.state.swaps


# -- before the case ---------------------------------------------------------------------------------


def earlier(*evidence: Evidence, days: float = 0.0) -> Earlier:
    told = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "slow-light"}
    return Earlier("first", days, "handed over", "slow-light", "", told, evidence)


def test_an_exchange_in_an_earlier_case_or_since_it_is_followed(kit: Kit) -> None:
    seen = Evidence(1, "answer", "plug-tip-look/A", "worn")
    moved = Evidence(2, "swap", "igniter:A<>B")
    plain = Intake("104", "2", "halden-hf-3", "slow-light")
    worn = kit.fitted.zones["channel/A"].states.index("igniter-worn")

    def on(channel: str, intake: Intake) -> float:
        return float(believed(kit.model, intake, []).zone(f"channel/{channel}")[worn])

    stayed = replace(plain, earlier=(earlier(seen),))
    inside = replace(plain, earlier=(earlier(seen, moved),))
    since = replace(plain, earlier=(earlier(seen),), swaps=(Swap("igniter", "A", "B"),))
    told_again = replace(inside, swaps=(Swap("igniter", "B", "A"),))
    assert on("A", stayed) > 0.5 > 0.1 > on("B", stayed)
    for intake in (inside, since, told_again):
        assert on("B", intake) == pytest.approx(on("A", stayed), rel=0.05)
        assert on("A", intake) < 0.2
    # Without an earlier case it is all one for the belief, and the record has it all the same.
    only = replace(plain, swaps=(Swap("igniter", "A", "B"),))
    assert np.allclose(believed(kit.model, only, []).joint, believed(kit.model, plain, []).joint)
    said = inherit.carried(kit.model, inside)
    assert "Igniter plugs of channels A and B changed places" in "\n".join(said.lines())
    lost = replace(plain, earlier=(earlier(seen, Evidence(2, "swap", "feeder:A<>B")),))
    assert on("A", lost) == pytest.approx(on("A", stayed)), "what today's knowledge has not is left out"


def test_told_with_the_intake_it_stands_on_the_record(kit: Kit) -> None:
    hand = begin(kit, swaps=(Swap("igniter", "A", "B", serial="P-1"),))
    text = record(hand.chase, NOT_ENDED)
    assert "Before the case, as told: Igniter plugs of channels A and B changed over" in text
    assert swaps.where(hand.chase)["igniter", "B"] == "S/N P-1"
    assert hand.chase.touched() == {}, "what was done before is not work of this case"
    assert Intake.from_dict(hand.chase.intake.as_dict()) == hand.chase.intake


@pytest.mark.parametrize("wrong", ["igniter", [3], [{"part": "igniter"}], [{**PLUGS, "to": "B"}]])
def test_an_intake_that_says_it_in_another_form_is_refused(wrong: Any) -> None:
    told = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "slow-light"}
    with pytest.raises(BadIntake):
        Intake.from_dict({**told, "swaps": wrong})


FILE = """\
case:
  aircraft: 104
  position: 2
  engine: {engine}
  complaint: no-light-off
  swaps:
    - {swap}
"""


def test_a_file_says_it(tmp_path: Path, hf3: Fitted) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text(FILE.format(engine="halden-hf-3", swap="{part: lead, channel: B, other: A, other-serial: 7}"))
    intake = read(path, Answers, hf3).case.intake()
    assert intake.swaps == (Swap("lead", "B", "A", other_serial="7"),)
    path.write_text(FILE.format(engine="halden-hf-3", swap="{part: lead, channel: B, other: elsewhere, where: 230/1}"))
    assert read(path, Answers, hf3).case.intake().swaps == (Swap("lead", "B", where="230/1"),)


@pytest.mark.parametrize(
    ("engine", "swap", "says"),
    [
        ("halden-hf-3", "{part: leed, channel: A, other: B}", "did you mean lead"),
        ("halden-hf-3", "{part: lead, channel: A, other: A}", "not within channel A"),
        ("halden-hf-3", "{part: lead, channel: Z}", "no channel is called 'Z'"),
        ("halden-hf-3", "{part: lead}", "channel"),
        ("halden-hf-3", "{part: lead, channel: A, with: B}", "with"),
        ("orrin-t-9", "{part: exciter, channel: '1', other: '2'}", "one exciter serves every channel"),
    ],
)
def test_a_file_that_says_what_cannot_be_is_told_with_its_line(
    tmp_path: Path, hf3: Fitted, t9: Fitted, engine: str, swap: str, says: str
) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text(FILE.format(engine=engine, swap=swap))
    with pytest.raises(KnowledgeError) as caught:
        read(path, Answers, {"halden-hf-3": hf3, "orrin-t-9": t9}[engine])
    problem = caught.value.problems[0]
    assert problem.line == 7 and says in str(problem.message), problem


def test_the_order_of_what_was_seen_and_done_is_kept(kit: Kit) -> None:
    """Seen on A, changed over, seen on A again: the two looks are of two plugs."""
    intake = Intake("104", "2", "halden-hf-3", "slow-light")
    look = "plug-tip-look/A"
    seen = [Evidence(1, "answer", look, "worn"), Evidence(2, "swap", "igniter:A<>B")]
    found = believed(kit.model, intake, [*seen, Evidence(3, "answer", look, kit.fitted.checks[look].outcomes[0])])
    worn = kit.fitted.zones["channel/B"].states.index("igniter-worn")
    assert found.zone("channel/B")[worn] > 0.5 > 0.02 > found.zone("channel/A")[worn]
    assert isinstance(found, Belief) and found.joint.sum() == pytest.approx(1.0)


def test_with_a_departure_told_the_time_that_it_takes_is_gone(kit: Kit) -> None:
    hand = heard(kit)
    hand.chase.tell(minutes_left=hand.chase.elapsed + 600.0)
    late = {m.name: m for m in hand.chase.exchanges()}["lead:A<>B"]
    first = hand.chase.ranked().moves[0]
    assert late.chance is not None and first.chance is not None and late.chance < first.chance
    hand.chase.tell(minutes_left=hand.chase.elapsed + 0.5 * late.now)
    assert {m.name: m for m in hand.chase.exchanges()}["lead:A<>B"].chance == pytest.approx(0.0, abs=1e-9)


def test_changing_over_waits_for_no_spare(kit: Kit) -> None:
    hand = heard(kit)
    hand.chase.tell(coming=[{"tool": "spare-igniter", "minutes": 600}])
    hand.take("swap", "igniter:A<>B")
    hand.until(a(Mend), most=200)
    assert hand.chase.elapsed < 600


def test_parts_changed_over_by_somebody_leave_nothing_known_to_be_safe(kit: Kit) -> None:
    hand = begin(kit)
    for key in ("hazard-zones", "fire-cover"):
        hand.chase._write(("access", {"access": key, "state": "open", "minutes": 1}))
    assert hand.chase.state.unknown == []
    hand.chase.swapped(PLUGS)
    # Somebody had hands in: heads, zones and what stands open are looked at before anything else is done.
    assert set(hand.chase.state.unknown) == {"hazard-zones", "fire-cover"} and not hand.chase.state.confirmed
    assert isinstance(hand.chase.now(), Walk)

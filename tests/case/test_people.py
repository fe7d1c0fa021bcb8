"""People and parts: the next shift, the inspection that is somebody else's, a deferral's conditions, part numbers.

What stands here as required: what is open and who holds it is passed on at a change of shift (EASA 145.A.47(c)
[memory]), in writing, and walked, not believed [practice]; nobody inspects an item that he or she worked on
(14 CFR 121.371(c) [memory]); parts are recorded by part and serial number [practice].
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from isolate.case import deferral, handing
from isolate.case.case import CaseState, Intake, fold
from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.parts import PART, checked_part, finding_event, finding_lines, shop_modes
from isolate.case.play import OutOfAnswers, play
from isolate.case.record import record
from isolate.case.steps import Ask, Confirm, Cross, Done, Here, Mend, Report, Step, Wait, Walk
from isolate.case.written import Answers, Script
from isolate.kb.fit import fit
from isolate.kb.load import load
from tests.case.test_chase import Hand, a, begin
from tests.learnt import closed
from tests.worked import told

OVER = {"by": "Quill", "to": "Marrow", "loose": "lead nut A, bracket bolt", "list-by": "Teal", "out": 7}
DEFERRED = {
    "channel": "A",
    "reference": "procedure 12",
    "kept-off": "selector locked to B by placard and collar",
    "authorised-by": "Marrow",
}


def opened_up(kit: Kit) -> Hand:
    """A case with a lead off at the plug, everything before it confirmed and open."""
    hand = begin(kit)
    hand.take("check", "plug-well-look/A")
    hand.until(a(Ask, "plug-well-look/A"))
    return hand


def taken_over(hand: Hand) -> Hand:
    """The same case taken up by whoever it was passed on to."""
    return replace(hand, chase=Chase.resume(hand.chase.kit, hand.log, "case", hand.clock))


# -- the next shift --------------------------------------------------------------------------------


def test_a_hand_over_says_what_the_next_shift_needs(kit: Kit) -> None:
    hand = opened_up(kit)
    tags = [
        str(value)
        for e in hand.events
        if e.kind == "caution" and e.body["caution"] == "supplies-isolated"
        for name, value in e.body["facts"].items()
        if name == "tag"
    ]
    text = hand.chase.pass_on(OVER)
    assert hand.kinds()[-1] == "passed-on" and not hand.chase.state.ended
    assert "From Quill to Marrow" in text
    for key in hand.chase.state.open:
        access = kit.fitted.access[key]
        assert f"{access.title}: {access.entry.word}" in " ".join(text.split()), key
    assert tags and all(tag in text for tag in tags), "the tag that hangs there is named"
    assert "lead nut A" in text and "bracket bolt" in text
    assert "the list that Teal keeps: 7" in text
    assert "NEXT: " in text and "It lights late" in text
    assert all(len(line) <= handing.WIDTH for line in text.split("\n"))
    assert hand.events[-1].body["text"] == text and verify(hand.events) == []
    cried = next(line for line in record(hand.chase, "x").splitlines() if line.startswith("NOT CLOSED UP"))
    assert "lead nut A (passed on half torqued or unlocked)" in cried


def test_what_is_half_torqued_keeps_a_case_from_being_closed_up_on_paper(kit: Kit) -> None:
    hand = begin(kit)
    assert not hand.chase.state.open
    hand.chase.pass_on(OVER)
    text = record(hand.chase, "x")
    assert "Closed up:" not in text and "NOT CLOSED UP: lead nut A (passed on half torqued or unlocked)" in text


def test_what_is_passed_on_counts_only_once_it_is_walked_by_somebody_named(kit: Kit) -> None:
    hand = opened_up(kit)
    was_open = set(hand.chase.state.open)
    hand.chase.pass_on(OVER)
    hand = taken_over(hand)
    assert isinstance(hand.step, Here) and hand.chase.state.confirmed == {}
    for wrong in (lambda c: c.accept(), lambda c: c.walked(True), lambda c: c.answer(None), lambda c: c.crossed()):
        with pytest.raises(Refused):
            wrong(hand.chase)
    hand.chase.tell(people=[{"name": "Marrow", "may": ["licensed", "motoring", "engine-run"]}, {"name": "Sable"}])
    walked = []
    while isinstance(step := hand.step, Walk):
        assert step.asks == (handing.SEEN_BY,)
        with pytest.raises(Refused):
            hand.chase.walked(True)
        with pytest.raises(Refused):
            hand.chase.walked(True, {"seen-by": " "})
        walked.append(step.access or step.title)
        hand.chase.walked(True, {"seen-by": "Sable"})
    assert set(walked) == was_open | {"lead nut A", "bracket bolt"}
    seen = [e.body["facts"]["seen-by"] for e in hand.events if e.kind in ("access", "loose") and "facts" in e.body]
    assert seen == ["Sable"] * len(walked)
    step = hand.until(lambda s: isinstance(s, Confirm | Ask | Wait))
    assert isinstance(step, Confirm), "every confirmation is asked again"


def test_without_a_resumption_nothing_counts_either(kit: Kit) -> None:
    hand = opened_up(kit)
    hand.chase.pass_on(OVER)
    assert isinstance(hand.step, Here)
    assert set(hand.chase.state.unknown) == set(hand.chase.state.open) != set()


def test_an_ordinary_interruption_is_walked_as_ever(kit: Kit) -> None:
    hand = taken_over(opened_up(kit))
    step = hand.step
    assert isinstance(step, Walk) and step.asks == ()


def test_nothing_is_put_back_over_what_is_loose(kit: Kit) -> None:
    hand = opened_up(kit)
    hand.chase.pass_on(OVER)
    hand = taken_over(hand)
    hand.chase.tell(people=[{"name": p.name, "may": list(p.may)} for p in hand.chase.intake.people])
    while isinstance(step := hand.step, Walk):
        # The bracket bolt turns out to have been finished; the nut has not.
        hand.chase.walked(step.access != "" or step.title == "lead nut A", {"seen-by": "Sable"})
    assert dict(hand.chase.state.loose) == {"lead nut A": "loose"}
    hand.until(a(Ask, "plug-well-look/A"))
    hand.do()
    # Whatever comes next: before anything is shut or put back the nut is made good.
    for _ in range(60):
        step = hand.step
        if isinstance(step, Report) or (isinstance(step, Cross) and not step.opening):
            break
        hand.do()
    assert isinstance(step, Report) and (step.about, step.key) == ("loose", "lead nut A")
    with pytest.raises(Refused):
        hand.chase.report({"made-good-by": "Marrow"})
    with pytest.raises(Refused):
        hand.chase.crossed()
    hand.chase.report({"made-good-by": "Marrow", "reference": "task 7, wrench 31"})
    assert not hand.chase.state.loose
    assert "Torqued and locked after a hand-over: lead nut A, by Marrow, task 7, wrench 31." in record(hand.chase, "x")
    assert "Passed on from Quill to Marrow" in record(hand.chase, "x")


@pytest.mark.parametrize(
    "wrong", [{"to": ""}, {"to": "quill"}, {"out": "some"}, {"out": -1}, {"loose": ""}, {"list-by": None}, {"by": " "}]
)
def test_a_hand_over_without_its_facts_is_refused_and_nothing_is_written(kit: Kit, wrong: dict[str, Any]) -> None:
    hand = opened_up(kit)
    count = len(hand.events)
    with pytest.raises(Refused):
        hand.chase.pass_on({**OVER, **wrong})
    assert len(hand.events) == count


def test_a_second_hand_over_carries_what_is_still_loose(kit: Kit) -> None:
    hand = opened_up(kit)
    hand.chase.pass_on(OVER)
    hand = taken_over(hand)
    text = hand.chase.pass_on({**OVER, "by": "Marrow", "to": "Sable", "loose": "none"})
    assert "lead nut A" in text and "NOT WALKED, UNKNOWN" in text


def test_waits_that_run_are_passed_on_and_run_on(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("check", "plug-well-look/A")
    step = hand.until(a(Wait))
    assert isinstance(step, Wait)
    text = hand.chase.pass_on({**OVER, "loose": "none"})
    assert f"until {step.until:%H:%M:%S}" in text
    assert hand.events[-1].body["waits"]


# -- the independent inspection ----------------------------------------------------------------------


def both_touched(kit: Kit) -> Hand:
    """A case in which a plug was replaced on each channel, up to its close."""
    hand = begin(kit, truth=("igniter-worn/A", "igniter-worn/B"))
    for channel in "AB":
        hand.take("repair", f"replace-igniter/{channel}")
        hand.until(lambda s: isinstance(s, Mend))
        hand.do()
    return hand


def to_report(hand: Hand) -> Step:
    return hand.until(lambda s: isinstance(s, Report | Done), most=400)


def test_both_channels_touched_is_not_closed_without_an_inspection(kit: Kit) -> None:
    hand = both_touched(kit)
    assert set(hand.chase.touched()) == {"A", "B"} and hand.chase.inspection_due()
    step = to_report(hand)
    assert isinstance(step, Report) and step.about == "inspection"
    count = len(hand.events)
    told = {"worked-by": "Quill, Marrow", "inspected-by": "Sable", "inspected-at": "14:05"}
    for wrong in (
        {**told, "inspected-by": "marrow"},
        {**told, "inspected-by": ""},
        {**told, "worked-by": ""},
        {**told, "worked-by": "none"},
        {**told, "inspected-at": ""},
    ):
        with pytest.raises(Refused):
            hand.chase.report(wrong)
    assert len(hand.events) == count and not hand.chase.state.ended
    hand.chase.report(told)
    assert not hand.chase.inspection_due()
    done = hand.until(a(Done))
    assert isinstance(done, Done)
    inspected = "Independent inspection of channels A and B: Sable, 14:05; the work was done by Quill, Marrow."
    assert inspected in done.record
    assert "where called for: ____" not in done.record


def test_work_after_the_inspection_calls_for_another(kit: Kit) -> None:
    hand = both_touched(kit)
    step = to_report(hand)
    assert isinstance(step, Report)
    events = hand.events
    hand.chase.report({"worked-by": "Quill", "inspected-by": "Sable", "inspected-at": "14:05"})
    inspected = hand.events[: len(events) + 1]
    assert inspected[-1].kind == "inspected"
    log = Memory(inspected)
    repair = next(e for e in events if e.kind == "repaired")
    log.append_all("case", [("repaired", repair.body)], inspected[-1].time)
    chase = Chase(kit, log, "case", hand.clock)
    assert chase.inspection_due()


def test_one_channel_touched_needs_none(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    done = hand.until(lambda s: isinstance(s, Report | Done), most=400)
    assert isinstance(done, Done), "one channel alone was touched"
    assert "Independent inspection, where called for: ____" in done.record


def test_the_aircraft_of_a_drill_tells_an_inspector_of_its_own(kit: Kit) -> None:
    hand = both_touched(kit)
    done = play(hand.chase, hand.aircraft, hand.clock)
    assert "Independent inspection of channels A and B: the inspector" in done.record


# -- a deferral ------------------------------------------------------------------------------------


def proven_b(kit: Kit, outcome: str = "snaps") -> Hand:
    """A case in which channel B was heard by itself, and nothing was worked on since."""
    hand = begin(kit)
    hand.take("check", "spark-test/B")
    hand.until(a(Ask, "spark-test/B"))
    hand.chase.answer(outcome)
    return hand


def test_a_deferral_needs_the_other_channel_proven_and_says_how(kit: Kit) -> None:
    hand = begin(kit)
    count = len(hand.events)
    with pytest.raises(Refused, match="Channel B has not been proven alone since the last work") as error:
        hand.chase.defer(DEFERRED)
    assert kit.fitted.check("spark-test/B").title in str(error.value)
    assert len(hand.events) == count


def test_a_deferral_goes_to_its_end_with_its_conditions_on_the_record(kit: Kit) -> None:
    hand = proven_b(kit)
    hand.chase.defer(DEFERRED)
    done = hand.until(a(Done))
    assert isinstance(done, Done) and done.end == deferral.END
    assert not hand.chase.state.open and hand.kinds()[-2:] == ["handed-over", "closed"]
    for words in ("procedure 12", "selector locked to B by placard and collar", "Authorised by: Marrow"):
        assert words in done.record
    assert "Channel B proven alone" in done.record and "this text does not say it" in done.record
    lowered = done.record.lower()
    assert not any(phrase in lowered for phrase in ("fit to go", "fit for flight", "released to service", "may fly"))


@pytest.mark.parametrize("lacking", ["reference", "kept-off", "authorised-by", "channel"])
def test_each_condition_of_a_deferral_is_asked_as_a_fact(kit: Kit, lacking: str) -> None:
    hand = proven_b(kit)
    count = len(hand.events)
    with pytest.raises(Refused):
        hand.chase.defer({**DEFERRED, lacking: ""})
    assert len(hand.events) == count


def test_the_good_channel_is_not_the_one_deferred(kit: Kit) -> None:
    with pytest.raises(Refused, match="Channel A has not been proven"):
        proven_b(kit).chase.defer({**DEFERRED, "channel": "B"})
    with pytest.raises(Refused, match="No channel is called 'C'"):
        proven_b(kit).chase.defer({**DEFERRED, "channel": "C"})


def test_a_channel_heard_silent_is_nothing_to_defer_to(kit: Kit) -> None:
    with pytest.raises(Refused, match="Channel B is not proven"):
        proven_b(kit, "silent").chase.defer(DEFERRED)


def test_work_after_the_proof_undoes_it(kit: Kit) -> None:
    hand = proven_b(kit)
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Mend))
    hand.do()
    assert isinstance(hand.until(lambda s: s.__class__.__name__ == "Offer"), Step)
    with pytest.raises(Refused, match="since the last work"):
        hand.chase.defer(DEFERRED)


def test_a_channel_opened_after_its_proof_is_not_proven(kit: Kit) -> None:
    hand = proven_b(kit)
    hand.take("check", "plug-well-look/B")
    hand.until(a(Ask, "plug-well-look/B"))
    hand.do()
    with pytest.raises(Refused, match="since the last work"):
        hand.chase.defer(DEFERRED)


# -- parts -----------------------------------------------------------------------------------------

NUMBERS = {
    "pn-off": "IG-1", "sn-off": "0042", "hours-off": "1204,5", "starts-off": "unknown",
    "pn-on": "IG-1", "sn-on": "none",
}  # fmt: skip


def test_a_part_is_asked_for_where_one_is_fitted_and_stands_in_event_and_record(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    step = hand.until(a(Mend))
    assert isinstance(step, Mend) and step.part == PART
    hand.chase.mended(NUMBERS)
    body = next(e.body for e in hand.events if e.kind == "repaired")
    assert body["part"] == {
        "pn-off": "IG-1", "sn-off": "0042", "hours-off": 1204.5, "starts-off": None, "pn-on": "IG-1", "sn-on": "none",
    }  # fmt: skip
    line = next(line for line in record(hand.chase, "x").split("\n") if "Part off" in line)
    assert " ".join(line.split()) == (
        "Part off: P/N IG-1 S/N 0042 hours since new 1204.5 starts since new not known Part on: P/N IG-1 S/N none"
    )


def test_without_numbers_the_record_keeps_blanks_for_them(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    hand.until(a(Mend))
    hand.chase.mended()
    line = next(line for line in record(hand.chase, "x").split("\n") if "Part off" in line)
    assert line.count("____") == 6


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"pn-off": ""}, "has to be told"),
        ({"sn-on": None}, "has to be told"),
        ({"hours-off": "many"}, "A number from 0 up"),
        ({"hours-off": -1}, "A number from 0 up"),
        ({"starts-off": "nan"}, "A number from 0 up"),
        ({"pn-on": "x" * 61}, "60 letters"),
        ({"pn-of": "x"}, "did you mean pn-off"),
    ],
)
def test_a_part_number_that_is_none_is_refused(wrong: dict[str, Any], says: str) -> None:
    with pytest.raises(Refused, match=says):
        checked_part({**NUMBERS, **wrong})


def test_a_repair_that_takes_no_part_asks_for_none(kit: Kit) -> None:
    key = next(k for k, r in kit.fitted.repairs.items() if not r.hand_over and r.entry.parts == 0 and r.channel == "A")
    hand = begin(kit, truth=tuple(f"{m}/A" for m in list(kit.fitted.repair(key).clears["channel/A"])[:1]))
    if key not in {m.name for m in hand.chase.ranked().moves}:
        pytest.fail(f"{key} is not offered")
    hand.take("repair", key)
    step = hand.until(lambda s: isinstance(s, Mend))
    assert isinstance(step, Mend) and step.part == ()
    with pytest.raises(Refused, match="takes no part"):
        hand.chase.mended(NUMBERS)


def test_the_shop_s_finding_is_added_to_an_ended_case_and_changes_no_belief(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    with pytest.raises(Refused, match="is open yet"):
        finding_event(hand.events, None, "confirmed", "", "")
    hand.until(a(Done))
    before = fold(hand.events)
    kind, body = finding_event(hand.events, None, "not-confirmed", "spark in limits on the bench", "WS-9")
    hand.log.append_all("case", [(kind, body)], hand.events[-1].time)
    after = fold(hand.events)
    assert verify(hand.events) == []
    assert (after.evidence, after.ended, after.record) == (before.evidence, before.ended, before.record)
    (said,) = [line for line in finding_lines(after) if "replace-igniter/A" in line]
    other = [*after.findings, {**after.findings[-1], "finding": "confirmed"}]
    said_twice = finding_lines(CaseState(findings=other))[-1]
    assert said_twice.endswith("contradict each other: not-confirmed, then confirmed.")
    odd = finding_lines(CaseState(findings=[{"finding": "\t=1+1", "text": 7}, {"repair": ["x"], "mode": None}]))
    assert len(odd) == 4 and all("\t" not in line and "nothing it may say" in line for line in odd[2:])
    assert "nothing wrong with it: spark in limits on the bench (report WS-9)" in said
    for repair, finding, text, says in (
        ("replace-igniter/B", "confirmed", "", "has no repair"),
        (None, "conformed", "", "did you mean confirmed"),
        (None, "other", " ", "say what"),
    ):
        with pytest.raises(Refused, match=says):
            finding_event(hand.events, repair, finding, text, "")


def test_the_shop_names_a_fault_of_the_part_that_came_off(kit: Kit) -> None:
    events = closed("c1", begin_told("halden-hf-3"), [], [("replace-igniter/A", "healthy/A")], {})

    def found(mode: str, finding: str = "confirmed", fitted: Any = kit.fitted) -> dict[str, Any]:
        return finding_event(events, None, finding, "", "", mode, fitted)[1]

    assert "mode" not in found("") and "mode" not in found(" ", "not-confirmed", None)
    assert found("igniter-worn") == found("igniter-worn/A") and found("igniter-worn")["mode"] == "igniter-worn/A"
    # A fault of the part that this repair does not cure by itself is one all the same; the nut on it is none.
    assert found("igniter-burnt")["mode"] == "igniter-burnt/A"
    for mode, finding, fitted, says in (
        ("lead-nut-loose", "confirmed", kit.fitted, "no fault of that part is called 'lead-nut-loose'"),
        ("igniter-wron", "confirmed", kit.fitted, "did you mean igniter-worn"),
        ("igniter-worn/B", "confirmed", kit.fitted, "there are igniter-worn/A"),
        ("igniter-worn", "not-confirmed", kit.fitted, "only where it found the fault"),
        ("igniter-worn", "confirmed", None, "no fault that a shop could name"),
    ):
        with pytest.raises(Refused, match=says):
            found(mode, finding, fitted)
    said = Memory(events)
    said.append_all("c1", [("shop-finding", found("igniter-worn"))], events[-1].time)
    (line,) = [line for line in finding_lines(fold(said.events("c1"))) if "replace-igniter/A" in line]
    assert line.endswith("the shop found the fault in it, igniter-worn/A.")


def test_which_faults_a_shop_may_name(kit: Kit) -> None:
    # Only what it mends, where no whole part comes off; none of what is handed over, or of a repair that is not there.
    assert shop_modes(kit.fitted, "repair-feeder/A") == ("feeder-open/A", "feeder-resistive/A", "feeder-chafed/A",
                                                         "pins-bad/A")  # fmt: skip
    assert shop_modes(kit.fitted, "reseat-lane-connector") == ("lane-driver",)
    assert shop_modes(kit.fitted, "hand-over-fuel") == shop_modes(kit.fitted, "replace-sock/A") == ()
    # One part of several zones: which of them is told with the fault.
    box = fit(load().knowledge, "orrin-t-9")
    assert {"box-dead", "output-dead/1", "output-dead/2"} <= set(shop_modes(box, "replace-exciter-box"))
    events = closed("c1", begin_told("orrin-t-9"), [], [("replace-exciter-box", "healthy")], {})
    with pytest.raises(Refused, match="which of them did the shop find"):
        finding_event(events, None, "confirmed", "", "", "output-dead", box)


def begin_told(engine: str) -> Intake:
    return told(engine=engine, complaint="no-light-off")


def test_a_played_case_without_facts_for_the_inspection_stops_there(kit: Kit) -> None:
    hand = both_touched(kit)

    class Mute:
        def __getattr__(self, name: str) -> Any:
            return getattr(hand.aircraft, name)

        def fact(self, ask: Any, caution: str) -> Any:
            if caution == "inspection":
                raise OutOfAnswers(f"there is no fact to answer {ask.prompt!r}")
            return hand.aircraft.fact(ask, caution)

    with pytest.raises(OutOfAnswers, match="Who did the work"):
        play(hand.chase, Mute(), hand.clock)
    assert not hand.chase.state.ended


def test_a_crossing_s_wait_runs_before_what_needs_it_and_is_kept_when_left(kit: Kit) -> None:
    hand = begin(kit, condition="hot")
    waits = {k: x.open.waits("hot") for k, x in kit.fitted.access.items() if x.open.waits("hot")}
    assert waits, "some access of the shipped knowledge has a wait"
    hand.take("check", "plug-well-look/A")
    step = hand.until(lambda s: isinstance(s, Wait) and s.caution.key.startswith("wait "))
    assert isinstance(step, Wait)
    key = step.caution.key.removeprefix("wait ")
    opened = next(e for e in hand.events if e.kind == "access" and e.body["access"] == key)
    assert opened.body["wait"] == waits[key]
    moment = hand.clock()
    hand.clock.time = step.until - timedelta(seconds=1)
    for wrong in (lambda c: c.crossed(), lambda c: c.answer(None), lambda c: c.mended()):
        with pytest.raises(Refused):
            wrong(hand.chase)
    hand.chase.waited()
    assert isinstance(hand.step, Wait), "saying so does not make it so"
    # Telling another condition does not shorten what was begun.
    hand.clock.time = moment
    hand.chase.tell(condition="steady")
    still = hand.step
    assert isinstance(still, Wait) and still.until == step.until
    hand.chase.leave()
    again = taken_over(hand)
    while isinstance(again.step, Walk):
        again.chase.walked(True)
    later = again.until(lambda s: isinstance(s, Wait | Ask))
    if kit.fitted.access[key].entry.lasting:
        assert isinstance(later, Wait), "it is not passed by leaving"
    while isinstance(later := again.step, Wait):
        again.clock.time = max(again.clock(), later.until)
        again.chase.waited()
    assert not isinstance(again.step, Wait)


# -- the same from a file ----------------------------------------------------------------------------


def scripted(**more: Any) -> Script:
    """Somebody who answers nothing and tells every fact by its kind."""
    kinds = {"person": "Quill", "tag": "T-17", "time": "06:10", "text": "seen", "minutes": 5, "count": 2}
    case = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "slow-light"}
    return Script(Answers.model_validate({"case": case, "facts": {**kinds, **more.pop("facts", {})}, **more}))


def test_a_file_defers_once_what_is_offered_is_not_answered(kit: Kit) -> None:
    hand = proven_b(kit)
    done = play(hand.chase, scripted(defer=DEFERRED), hand.clock)
    assert done.end == deferral.END and "procedure 12" in done.record


def test_a_file_tells_the_parts_of_its_repairs(kit: Kit) -> None:
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    parts = {"pn-off": "IG-1", "sn-off": "0042", "hours-off": 12, "pn-on": "IG-1", "sn-on": "none"}
    with pytest.raises(OutOfAnswers):
        play(hand.chase, scripted(parts={"replace-igniter/A": parts}), hand.clock)
    (body,) = [e.body for e in hand.events if e.kind == "repaired"]
    assert body["part"] == {**parts, "starts-off": None}


def test_a_file_in_which_one_person_does_and_inspects_is_refused(kit: Kit) -> None:
    hand = both_touched(kit)
    assert isinstance(to_report(hand), Report)
    with pytest.raises(Refused, match="somebody else's"):
        play(hand.chase, scripted(), hand.clock)
    play(hand.chase, scripted(facts={"inspected-by": "Sable"}), hand.clock)
    assert hand.chase.state.ended


def test_a_wait_of_the_last_closing_runs_out_before_the_case_is_closed() -> None:
    kb = load().knowledge
    slow = {
        name: access.model_copy(update={"close": access.close.model_copy(update={"wait": 3.0})})
        for name, access in kb.access.items()
    }
    kit = Kit(fit(kb.model_copy(update={"access": slow}), "halden-hf-3"))
    hand = begin(kit)
    hand.take("repair", "replace-igniter/A")
    step = hand.until(lambda s: isinstance(s, Done) or (isinstance(s, Wait) and s.before == "close-up"), most=500)
    assert isinstance(step, Wait) and not hand.chase.state.open and not hand.chase.state.ended
    hand.chase.waited()
    assert not hand.chase.state.ended, "saying so does not make it so"
    hand.clock.time = step.until
    assert isinstance(hand.step, Wait), "it is over; somebody has to say so"
    hand.chase.waited()
    assert hand.chase.state.ended == "verified, fault found"

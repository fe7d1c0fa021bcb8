"""A case as a fold over its events, and the intake it begins with."""

from __future__ import annotations

import json
from typing import Any

import pytest

from isolate.case.case import BadIntake, CaseState, Intake, Move, Person, Work, apply, fold
from isolate.case.memory import Memory
from isolate.reasoning.starts import Start

TOLD = Intake("104", "2", "halden-hf-3", "slow-light")
AT = "2030-01-01T06:00:00.000Z"


class Trail:
    """Events written one after another."""

    def __init__(self, **intake: Any) -> None:
        self.log = Memory()
        self.add("opened", intake={**TOLD.as_dict(), **intake}, knowledge="k")

    def add(self, event_kind: str, /, **body: Any) -> int:
        (event,) = self.log.append_all("c", [(event_kind, body)], AT)
        return event.seq

    @property
    def state(self) -> CaseState:
        return fold(self.log.events("c"))


# -- the intake ------------------------------------------------------------------------------------


def test_an_intake_comes_back_from_json_as_it_was() -> None:
    intake = Intake(
        "104", "2", "halden-hf-3", "no-light-off", "A", "Skerry Air",
        starts=(Start("A", False, "wet"), Start("both", True)),
        done=(Work("replace-igniter", "B"), Work("correct-connections")),
        people=(Person("x", ("licensed",)), Person("y")),
        place="hangar", condition="hot", minutes_left=45.0, missing=("meter",),
    )  # fmt: skip
    assert Intake.from_dict(json.loads(json.dumps(intake.as_dict()))) == intake
    assert Intake.from_dict(TOLD.as_dict()) == TOLD
    assert [w.key for w in intake.done] == ["replace-igniter/B", "correct-connections"]


def test_a_start_without_a_condition_was_made_in_that_of_the_case() -> None:
    told = {**TOLD.as_dict(), "condition": "cold", "starts": [{"lit": False}, {"channel": "A", "lit": True}]}
    assert Intake.from_dict(told).starts == (Start("unknown", False, "cold"), Start("A", True, "cold"))


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"aircraft": None}, "lacks 'aircraft'"),
        ({"engine": None}, "lacks 'engine'"),
        ({"aircraft": ["104"]}, "aircraft"),
        ({"operator": True}, "operator"),
        ({"place": "ramp"}, "place"),
        ({"condition": "odd"}, "condition"),
        ({"minutes_left": -1}, "minutes_left"),
        ({"minutes_left": "soon"}, "minutes_left"),
        ({"minutes_left": 1e9}, "minutes_left"),
        ({"minutes_left": float("nan")}, "minutes_left"),
        ({"minutes_left": True}, "minutes_left"),
        ({"starts": "A lit"}, "starts"),
        ({"starts": [{"channel": "A"}]}, "lit"),
        ({"starts": [{"channel": "A", "lit": "no"}]}, "lit"),
        ({"starts": ["A"]}, "start"),
        ({"starts": [{"channel": "A", "lit": True, "condition": "odd"}]}, "condition"),
        ({"people": ["x"]}, "form"),
        ({"people": [{"may": []}]}, "name"),
        ({"people": [{"name": "x", "may": "licensed"}]}, "may"),
        ({"done": [{"channel": "A"}]}, "repair"),
        ({"missing": {"meter": 1}}, "missing"),
        ({"bogus": 1}, "bogus"),
    ],
)
def test_an_intake_out_of_shape_is_a_plain_error(wrong: dict[str, Any], says: str) -> None:
    with pytest.raises(BadIntake, match=says):
        Intake.from_dict({**TOLD.as_dict(), **wrong})


# -- the fold ----------------------------------------------------------------------------------------


def test_events_one_by_one_lead_where_the_fold_leads() -> None:
    trail = Trail()
    trail.add("accepted", kind="check", move="lane-test")
    trail.add("access", access="notices", state="open", minutes=2)
    trail.add("caution", caution="notices-everywhere", facts={"hung-by": "x"})
    trail.add("answered", check="lane-test", outcome="both-pass", minutes=10)
    trail.add("declined", move="crew-ask", kind="check", reason="gone")
    trail.add("noted", text="cold night")
    trail.add("repaired", repair="clean-seat/A", minutes=10)
    trail.add("verified", result="failed")
    state = CaseState()
    for event in trail.log.events("c"):
        apply(state, event)
    assert state == trail.state
    assert state.book_minutes == 22
    assert state.answers == {"lane-test": ["both-pass"]} and state.repairs == ["clean-seat/A"]
    assert state.notes == ["cold night"] and state.verified == "failed" and state.passes == 0
    assert (state.id, state.knowledge, state.opened, state.last) == ("c", "k", AT, AT)


def test_could_not_tell_is_kept_apart_from_answers_until_it_is_told_or_a_repair() -> None:
    trail = Trail()
    trail.add("answered", check="crew-ask", outcome=None, minutes=5)
    trail.add("answered", check="history-read", outcome=None, minutes=8)
    assert set(trail.state.unsure) == {"crew-ask", "history-read"} and trail.state.answers == {}
    trail.add("answered", check="crew-ask", outcome="by-the-book")
    assert set(trail.state.unsure) == {"history-read"}
    trail.add("declined", move="lane-test", kind="check", reason="")
    trail.add("repaired", repair="clean-seat/A")
    assert not trail.state.unsure and not trail.state.declined
    assert trail.state.answers == {"crew-ask": ["by-the-book"]}


def test_what_is_declined_is_declined_until_something_is_told() -> None:
    trail = Trail()
    trail.add("accepted", kind="check", move="lead-continuity/A")
    trail.add("declined", move="lead-continuity/A", kind="check", reason="no meter")
    assert trail.state.move is None
    assert trail.state.declined["lead-continuity/A"][1] == "no meter"
    trail.add("told", changes={"missing": [], "condition": "hot"})
    state = trail.state
    assert not state.declined and state.intake is not None and state.intake.condition == "hot"


def test_an_answer_taken_back_is_no_evidence_and_its_minutes_stay_spent() -> None:
    trail = Trail()
    trail.add("accepted", kind="check", move="crew-ask")
    seq = trail.add("answered", check="crew-ask", outcome="step-missed", minutes=5)
    trail.add("caution", caution="x", facts={})
    trail.add("corrected", seq=seq, what="answered")
    state = trail.state
    assert state.answers == {} and state.book_minutes == 5
    assert state.move == Move("check", "crew-ask") and state.confirmed == {}
    assert len(state.events) == 5, "nothing is removed"


def test_an_opening_taken_back_is_unknown() -> None:
    trail = Trail()
    seq = trail.add("access", access="breakers-pulled", state="open", minutes=5)
    trail.add("corrected", seq=seq, what="access")
    assert trail.state.open == {"breakers-pulled": "unknown"} and trail.state.unknown == ["breakers-pulled"]


def test_a_shutting_taken_back_is_unknown_too() -> None:
    trail = Trail()
    trail.add("access", access="breakers-pulled", state="open")
    seq = trail.add("access", access="breakers-pulled", state="shut")
    assert not trail.state.open
    trail.add("corrected", seq=seq, what="access")
    assert trail.state.unknown == ["breakers-pulled"]


def test_after_an_interruption_nothing_open_is_known_and_nothing_confirmed_counts() -> None:
    trail = Trail()
    for access in ("notices", "breakers-pulled"):
        trail.add("access", access=access, state="open")
    trail.add("caution", caution="supplies-isolated", facts={"tag": "1"})
    trail.add("left", open=["notices", "breakers-pulled"])
    assert trail.state.open["breakers-pulled"] == "open", "it is coming back that matters"
    trail.add("resumed")
    assert trail.state.unknown == ["notices", "breakers-pulled"] and trail.state.confirmed == {}
    trail.add("access", access="breakers-pulled", state="shut", minutes=0, walked=True)
    assert trail.state.open == {"notices": "unknown"}


def test_a_step_ends_what_it_spoils_even_where_its_answer_is_taken_back() -> None:
    trail = Trail()
    trail.add("access", access="dry-motored", state="open", motors=True)
    seq = trail.add("answered", check="start-alone/A", outcome="lights", spoils=["dry-motored"], minutes=20)
    assert trail.state.open == {} and trail.state.motored == 1
    trail.add("corrected", seq=seq, what="answered")
    assert trail.state.open == {}, "the engine did run"


def test_a_repair_ends_the_verification_that_stood() -> None:
    trail = Trail()
    trail.add("accepted", kind="verify", move="verification")
    trail.add("answered", check="spark-test/A", outcome="snaps", within="verify")
    assert trail.state.verifying == {"spark-test/A": "snaps"}
    trail.add("verified", result="passed")
    assert (trail.state.verified, trail.state.passes, trail.state.move) == ("passed", 1, None)
    trail.add("repaired", repair="clean-seat/A")
    assert (trail.state.verified, trail.state.passes) == ("", 0)


def test_a_check_declined_within_the_verification_is_outstanding() -> None:
    trail = Trail()
    trail.add("accepted", kind="verify", move="verification")
    trail.add("declined", move="plug-seat-look/B", kind="check", reason="no mirror")
    trail.add("declined", move="start-alone/A", kind="check", reason="no run here", within="verify")
    state = trail.state
    assert state.outstanding == ["start-alone/A"] and state.move == Move("verify", "verification")


def test_a_closed_case_has_its_end_and_its_record() -> None:
    trail = Trail()
    trail.add("accepted", kind="end", move="escalate")
    assert trail.state.ending == Move("end", "escalate")
    trail.add("handed-over", to="x", why="y")
    trail.add("closed", end="handed over, not solved here", record="text")
    assert (trail.state.ended, trail.state.record) == ("handed over, not solved here", "text")

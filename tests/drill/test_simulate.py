"""The simulated aircraft: it answers as the knowledge says that the truth would, and repairs change the truth."""

from __future__ import annotations

from typing import Any

import pytest

from isolate.case.case import Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import Fitted, UnknownName
from isolate.kb.model import HEALTHY, Ask


@pytest.mark.parametrize(
    ("truth", "check", "outcome"),
    [
        ((), "spark-test/A", "snaps"),
        (("exciter-dead/A",), "spark-test/A", "silent"),
        (("exciter-dead/A",), "spark-test/B", "snaps"),
        (("exciter-dead/A",), "lead-continuity/A", "continuous"),
        (("lead-open/B",), "lead-continuity/B", "open"),
        (("insert-thread-damaged/B",), "plug-run-down/B", "binds"),
        (("no-fuel",), "fuel-flow-look", "dry"),
        (("supply-lost",), "supply-read", "absent"),
        (("supply-lost",), "spark-test/B", "silent"),
        (("lead-open/A", "exciter-dead/B"), "start-alone/A", "no-light"),
    ],
)
def test_a_check_shows_what_is_most_probable_in_truth(
    kit: Kit, truth: tuple[str, ...], check: str, outcome: str
) -> None:
    aircraft = Aircraft(kit.model, truth)
    assert aircraft.outcome(check, "check") == outcome
    assert aircraft.outcome(check, "check") == outcome, "twice the same"


def test_a_fault_that_sleeps_in_this_condition_is_not_heard(kit: Kit) -> None:
    assert Aircraft(kit.model, ("exciter-fails-hot/A",), condition="hot").outcome("spark-test/A", "check") == "silent"
    assert Aircraft(kit.model, ("exciter-fails-hot/A",), condition="cold").outcome("spark-test/A", "check") == "snaps"


def test_a_script_comes_first_in_turn_and_its_last_answer_stays(kit: Kit) -> None:
    script = {"spark-test/A": ["weak", None, "silent"], "crew-ask": "step-missed", "history-read": None}
    aircraft = Aircraft(kit.model, (), script)
    assert [aircraft.outcome("spark-test/A", "check") for _ in range(4)] == ["weak", None, "silent", "silent"]
    assert aircraft.outcome("crew-ask", "check") == "step-missed"
    assert aircraft.outcome("history-read", "check") is None
    assert aircraft.outcome("spark-test/B", "check") == "snaps"


def test_a_repair_cures_what_it_clears_and_ends_the_script_of_its_zone(kit: Kit) -> None:
    script = {"spark-test/A": "silent", "crew-ask": "step-missed"}
    aircraft = Aircraft(kit.model, ("igniter-worn/A", "lead-open/B"), script)
    aircraft.repaired("replace-exciter/B")
    assert aircraft.truth["channel/B"] == "lead-open", "the wrong part cures nothing"
    aircraft.repaired("replace-igniter/A")
    assert aircraft.truth["channel/A"] == HEALTHY
    assert aircraft.outcome("spark-test/A", "verify") == "snaps"
    assert aircraft.outcome("spark-test/B", "verify") == "silent"
    assert aircraft.outcome("crew-ask", "check") == "step-missed", "about another zone"


@pytest.mark.parametrize(
    ("truth", "script", "error", "says"),
    [
        (("lead-opne/A",), {}, UnknownName, "did you mean lead-open/A"),
        (("lead-open",), {}, UnknownName, "lead-open"),
        (("lead-open/C",), {}, UnknownName, "lead-open/C"),
        (("lead-open/A", "exciter-dead/A"), {}, ValueError, "two faults of one zone"),
        ((), {"spark-tset/A": "snaps"}, UnknownName, "spark-test/A"),
        ((), {"spark-test/A": "snap"}, UnknownName, "snaps"),
        ((), {"spark-test/A": ["snaps", "bang"]}, UnknownName, "bang"),
    ],
)
def test_names_that_do_not_exist_are_refused(
    kit: Kit, truth: tuple[str, ...], script: dict[str, Any], error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says):
        Aircraft(kit.model, truth, script)


def test_facts_are_told_as_somebody_there_would(kit: Kit, hf3: Fitted) -> None:
    aircraft = Aircraft(kit.model, (), people=["x"])
    for caution in hf3.knowledge.cautions.values():
        for ask in caution.asks:
            value = aircraft.fact(ask, "any")
            if ask.kind in ("minutes", "count"):
                assert value >= (ask.least or 0)
            else:
                assert str(value).strip()
    tag = Ask(name="tag", prompt="?", kind="tag")
    assert aircraft.fact(tag, "c") != aircraft.fact(tag, "c"), "no two tags alike"


def test_what_cannot_be_done_is_gone_round(kit: Kit) -> None:
    people = (Person("x", ("licensed", "motoring", "engine-run")), Person("y", ("licensed",)))
    intake = Intake("104", "2", kit.fitted.name, "slow-light", people=people, place="hangar")
    refused = {"plug-tip-look/A": "no mirror", "replace-igniter/A": "no plug in store", "cowls-open": "gale"}
    aircraft = Aircraft(kit.model, ("igniter-worn/A",), refusals=refused)
    assert aircraft.refuses("replace-igniter/A") == "no plug in store"
    assert aircraft.refuses("replace-igniter/B") is None
    log, clock = Memory(), Clock()
    play(Chase.begin(kit, log, "case", intake, clock), aircraft, clock)
    events = log.events("case")
    assert "replace-igniter/A" not in {e.body.get("repair") for e in events}
    assert "cowls-open" not in {e.body["access"] for e in events if e.kind == "access"}, "an access state as well"

"""What recorded starts answer is not asked again, and is weighed once."""

from __future__ import annotations

import pytest

from isolate.case.believed import believed, told_belief
from isolate.case.case import Evidence, Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.facts import standing
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.reasoning.recorded import answers, counted
from isolate.reasoning.rules import Fact
from isolate.reasoning.starts import Start

SLOW = tuple(Start("AB"[i % 2], True, seconds=(5 + 0.1 * (i % 5)) * (1.4 if i % 2 == 0 else 1)) for i in range(20))
LANES = tuple(Start("AB"[i % 2], i // 2 % 2 == 0, lane=str(1 + i // 2 % 2)) for i in range(8))
IGNITER = tuple(Start("AB"[i % 2], i % 2 == 1, lane=str(1 + i // 2 % 2)) for i in range(8))


def told(kit: Kit, starts: tuple[Start, ...]) -> Intake:
    people = (Person("Quill", ("licensed",)),)
    return Intake("104", "2", kit.fitted.name, "intermittent-no-ignite", starts=starts, people=people)


def begun(kit: Kit, starts: tuple[Start, ...]) -> Chase:
    return Chase.begin(kit, Memory(), "recorded", told(kit, starts), Clock())


def answered(chase: Chase) -> set[tuple[object, ...]]:
    def slots(fact: Fact) -> dict[str, object]:
        return dict(fact.slots) if not isinstance(fact.slots, dict) else fact.slots

    facts = standing(chase.fitted, chase.state, chase.belief, None)
    return {tuple(slots(f).get(n, "") for n in ("check", "channel", "outcome")) for f in facts if f.kind == "answer"}


def test_times_to_light_answer_the_comparison_as_a_person_would(kit: Kit) -> None:
    assert answers(kit.fitted, SLOW) == [("light-time-compare/A", "longer"), ("light-time-compare/B", "alike")]
    chase = begun(kit, SLOW)
    untimed = tuple(Start(s.channel, s.lit) for s in SLOW)
    plain = told_belief(kit.model, told(kit, untimed))
    by_hand = plain.answer("light-time-compare/A", "longer").answer("light-time-compare/B", "alike")
    assert told_belief(kit.model, chase.intake).joint == pytest.approx(by_hand.joint)
    assert chase.barred()["light-time-compare/A"] == "answered"
    assert ("light-time-compare", "A", "longer") in answered(chase)
    assert "light-time-compare/A" not in {m.name for m in chase.ranked().moves}


def test_an_answer_of_the_case_itself_stands(kit: Kit) -> None:
    found = believed(kit.model, told(kit, SLOW), [Evidence(5, "answer", "light-time-compare/A", "alike")])
    untimed = tuple(Start(s.channel, s.lit) for s in SLOW)
    other = told_belief(kit.model, told(kit, untimed))
    other = other.answer("light-time-compare/B", "alike").answer("light-time-compare/A", "alike")
    assert found.joint == pytest.approx(other.joint)


@pytest.mark.parametrize(
    ("starts", "outcome", "zone"), [(LANES, "by-lane", "shared"), (IGNITER, "not-by-lane", "channel/A")]
)
def test_a_count_by_lane_is_in_the_starts_already(kit: Kit, starts: tuple[Start, ...], outcome: str, zone: str) -> None:
    assert counted(kit.fitted, starts) == [("starts-by-lane", outcome)]
    found = told_belief(kit.model, told(kit, starts))
    assert 1 - found.zone(zone)[0] > 0.85
    again = believed(kit.model, told(kit, starts), [Evidence(5, "answer", "starts-by-lane", outcome)])
    assert again.joint == pytest.approx(found.joint), "it would count twice"


def test_a_count_by_lane_is_not_asked_for_again(kit: Kit) -> None:
    chase = begun(kit, LANES)
    assert chase.barred()["starts-by-lane"] == "the starts told are counted by lane already"
    assert ("starts-by-lane", "", "by-lane") in answered(chase)


def test_lanes_and_igniters_in_step_part_nothing(kit: Kit) -> None:
    in_step = tuple(Start("AB"[i % 2], i % 2 == 1, lane="12"[i % 2]) for i in range(8))
    assert counted(kit.fitted, in_step) == []
    assert counted(kit.fitted, LANES[:3]) == []
    assert counted(kit.fitted, tuple(Start("A", True, lane="1") for _ in range(4))) == []


def test_starts_of_a_log_are_kept_with_the_case_as_they_were_told(kit: Kit) -> None:
    starts = (
        Start("A", True, "hot", 4.5, "1", at="2026-11-01 08:00", oat=-3.0),
        Start("B", False, aborted=True, gap=True),
    )
    assert Intake.from_dict(told(kit, starts).as_dict()).starts == starts


def test_what_is_told_twice_counts_once_in_whichever_order_it_comes(kit: Kit) -> None:
    """A chase that goes on and one that begins anew over the same events believe the same."""
    chase = begun(kit, LANES)
    chase.belief  # noqa: B018 -- what it is taken on from
    for check, outcome in (("starts-by-lane", "by-lane"), ("light-time-compare/A", "longer")):
        body = {"check": check, "outcome": outcome, "minutes": 1, "spoils": [], "within": ""}
        chase._write(("answered", body))
        chase.belief  # noqa: B018
    anew = Chase(kit, Memory(chase.state.events), "recorded", chase.clock)
    assert chase.belief.joint == pytest.approx(anew.belief.joint)
    # Answered in the case after starts with times were told: it stands in place of what they say.
    chase = begun(kit, SLOW)
    chase.belief  # noqa: B018
    chase._write(("answered", {"check": "light-time-compare/A", "outcome": "alike", "minutes": 1, "spoils": []}))
    anew = Chase(kit, Memory(chase.state.events), "recorded", chase.clock)
    assert chase.belief.joint == pytest.approx(anew.belief.joint)

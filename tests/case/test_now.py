"""How it is now, as the trail has it: condition, heat by the time since shutdown, and when an occasion ends."""

from __future__ import annotations

from dataclasses import replace

import pytest

from isolate.case.believed import as_it_shows
from isolate.case.case import Intake, Person, Seen, fold
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.now import setting, strength
from isolate.case.play import Clock
from isolate.case.steps import Ask, Offer
from isolate.reasoning.starts import Start

INTAKE = Intake(
    "104", "2", "halden-hf-3", "intermittent-no-ignite", place="hangar", condition="hot",
    starts=(Start("A", True, "hot"), Start("B", False, "hot"), Start("A", True, "hot"), Start("B", False, "hot")),
    people=(Person("the technician", ("licensed", "motoring", "engine-run")), Person("the second"), Person("headset")),
)


def begun(kit: Kit, **changes: object) -> tuple[Chase, Clock]:
    clock = Clock()
    return Chase.begin(kit, Memory(), "case", replace(INTAKE, **changes), clock), clock  # type: ignore[arg-type]


def answer(chase: Chase) -> None:
    """Answer the next question by its first outcome that is reached without opening anything."""
    step = chase.now()
    if isinstance(step, Offer):
        key = next(m.name for m in chase.ranked().moves if m.kind == "check" and chase.offer(m).direct)
        chase.accept("check", key)
        step = chase.now()
    assert isinstance(step, Ask)
    chase.answer(step.outcomes[0][0])


def test_heat_follows_the_time_since_shutdown(kit: Kit) -> None:
    hot = replace(INTAKE, now="hot", shut_down=5)
    assert strength(hot, 0) < strength(hot, 15) == 1.0
    assert strength(hot, 15) > strength(hot, 180) > strength(hot, 600) == 0.0
    assert strength(replace(hot, now="cold"), 0) == strength(replace(hot, now="wet"), 600) == 1.0
    # Not told: as when the defect shows, and shut down as the case was opened.
    assert strength(replace(INTAKE, shut_down=None), 20) == 1.0
    # Run and shut down again an hour after the opening.
    assert strength(replace(hot, shut_down=-60), 80) == 1.0


def test_an_occasion_ends_after_an_hour_with_a_start_and_with_the_condition(kit: Kit) -> None:
    chase, clock = begun(kit, now="cold")
    assert tuple(chase.setting) == ("cold", 1.0, 0)
    answer(chase)
    clock.pass_minutes(30)
    answer(chase)
    assert chase.setting.occasion == 0
    clock.pass_minutes(31)
    answer(chase)
    # An hour after its first answer the next one is another occasion.
    assert chase.setting.occasion == 1
    answer(chase)
    chase.tell(now="wet")
    assert tuple(chase.setting) == ("wet", 1.0, 2)
    answer(chase)
    told = [e.body for e in chase.state.events if e.kind == "answered"]
    # The one that was waiting when the hour ran out was put while it lasted.
    assert [t["occasion"] for t in told] == [0, 0, 0, 1, 2]
    assert told[-1]["condition"] == "wet"
    starts = frozenset([told[-1]["check"]])
    assert setting(chase.state, starts).occasion == chase.setting.occasion + 1


def test_what_was_told_of_the_present_is_on_the_trail_and_replays(kit: Kit) -> None:
    chase, clock = begun(kit, now="hot", shut_down=10)
    assert chase.setting.condition == "hot" and 0 < chase.setting.strength <= 1
    answer(chase)
    clock.pass_minutes(300)
    chase.tell(now="hot", shut_down=20 - chase.elapsed)
    assert chase.setting.strength == 1.0
    log = Memory()
    again = fold(chase.log.events("case"))
    assert again.intake == chase.state.intake and setting(again) == chase.setting
    assert log.events("case") == ()


def test_passing_cold_counts_for_less_than_passing_hot_in_a_case(kit: Kit) -> None:
    def left(now: str) -> float:
        chase, _ = begun(kit, now=now)
        belief = chase.belief.answer("spark-test/B", "snaps", *chase.setting)
        zone = kit.fitted.zones["channel/B"]
        chance = float(belief.zone("channel/B")[zone.states.index("exciter-fails-hot")])
        return chance / (1 - chance)

    assert left("cold") > 1.5 * left("hot")


def test_waits_go_by_how_it_is_now(kit: Kit) -> None:
    cool, hot = (begun(kit, now=now)[0].poser for now in ("cold", "hot"))
    way = next(i for i, a in enumerate(cool.access) if a == "cool-enough")
    assert hot.ways[way].open > cool.ways[way].open


def test_old_cases_without_it_are_worked_as_they_were_told() -> None:
    data = INTAKE.as_dict()
    for name in ("now", "shut_down", "ages", "earlier"):
        data.pop(name)
    assert Intake.from_dict(data) == INTAKE
    with pytest.raises(ValueError, match="now is one of"):
        Intake.from_dict({**data, "now": "warm"})
    with pytest.raises(ValueError, match="shut_down"):
        Intake.from_dict({**data, "shut_down": 1e9})


def test_after_an_hour_away_with_a_step_in_hand_the_answer_is_of_another_occasion(kit: Kit) -> None:
    chase, clock = begun(kit, now="hot", shut_down=20)
    answer(chase)
    step = chase.now()
    assert isinstance(step, Offer)
    chase.accept("check", next(m.name for m in chase.ranked().moves if m.kind == "check" and chase.offer(m).direct))
    clock.pass_minutes(400)
    answer(chase)
    first, last = (e.body for e in chase.state.events if e.kind == "answered")
    assert (first["occasion"], last["occasion"]) == (0, 1)
    assert first["strength"] == 1.0 and last["strength"] < 0.3, "the heat has gone meanwhile"


def test_the_hour_of_an_occasion_runs_from_an_answer_that_stands(kit: Kit) -> None:
    chase, clock = begun(kit, now="cold")
    answer(chase)
    clock.pass_minutes(70)
    chase.note("an hour later")
    chase.tell(minutes_left=None)
    answer(chase)
    assert chase.setting.occasion == 1
    chase.take_back()
    clock.pass_minutes(70)
    answer(chase)
    assert [e.body["occasion"] for e in chase.state.events if e.kind == "answered"] == [0, 1, 1]
    # Two answers a minute apart are of one occasion, whatever was taken back before.
    clock.pass_minutes(1)
    chase.tell(minutes_left=None)
    assert chase.setting.occasion == 1


def test_when_it_shows_is_evidence_told_once(kit: Kit) -> None:
    """What is told at the opening is what the check that asks for it would have been told."""
    zone = kit.fitted.zones["channel/B"]
    fails_hot = zone.states.index("exciter-fails-hot")
    plain = tuple(replace(s, condition="steady") for s in INTAKE.starts)
    hot, steady = (begun(kit, condition=c, starts=plain)[0] for c in ("hot", "steady"))
    assert hot.belief.occasion["when-ask"] == ("hot",) and "when-ask" not in steady.belief.occasion
    assert hot.belief.zone("channel/B")[fails_hot] > 3 * steady.belief.zone("channel/B")[fails_hot]
    assert hot.barred()["when-ask"] == "answered" and "when-ask" not in steady.barred()
    # A sign that says the same is not counted with it.
    twice = begun(kit, condition="hot", starts=plain, signs=(Seen("when-hot"),))[0]
    assert twice.belief.joint == pytest.approx(hot.belief.joint)
    # The starts are told as they were told; where none is told apart they are taken as the defect shows.
    assert {s.condition for s in hot.intake.starts} == {"steady"}
    assert {s.condition for s in as_it_shows(hot.intake)} == {"hot"}
    apart = replace(hot.intake, starts=(Start("A", False, "cold"), *plain))
    assert as_it_shows(apart) == apart.starts
    # Asked and answered first, it is not said again by what is told later.
    steady.accept("check", "when-ask")
    steady.answer("no-pattern")
    before = steady.belief.occasion["when-ask"]
    steady.tell(condition="hot", now="cold")
    assert steady.belief.occasion["when-ask"] == before == ("no-pattern",)

"""What was heard or seen besides the complaint: evidence like the complaint's own, told once, shown, never asked again.

The knowledge is the shipped one with signs of our own, so that no test names a shipped sign.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from isolate.case import facts
from isolate.case.believed import believed, told_belief
from isolate.case.case import BadIntake, Intake, Seen
from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.record import record
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import Sign

LATE = Sign(title="It lit late", says=["Slow light"], answers={"light-time-told": "later"}, source=["line-practice"])
QUIET = Sign(
    title="One side was quiet",
    says=["No snap from one side"],
    answers={"spark-test": "silent"},
    asks_channel=True,
    source=["line-practice"],
)
ELSEWHERE = LATE.model_copy(update={"only": {"inserts": False}})
TOLD = Intake("104", "2", "halden-hf-3", "no-light-off")


@pytest.fixture(scope="module")
def fitted() -> Fitted:
    signs = {"late": LATE, "quiet": QUIET, "elsewhere": ELSEWHERE}
    return fit(load().knowledge.model_copy(update={"signs": signs}), "halden-hf-3")


@pytest.fixture(scope="module")
def kit(fitted: Fitted) -> Kit:
    return Kit(fitted)


def begun(kit: Kit, *signs: Seen, **more: Any) -> Chase:
    told = replace(TOLD, place="hangar", signs=signs, **more)
    return Chase.begin(kit, Memory(), "104-2-0101-abcd", told, Clock())


def test_signs_travel_with_the_intake() -> None:
    told = replace(TOLD, signs=(Seen("late"), Seen("quiet", "B")), other_engine="yes")
    assert Intake.from_dict(told.as_dict()) == told
    older = {k: v for k, v in told.as_dict().items() if k not in ("signs", "other_engine")}
    assert Intake.from_dict(older).signs == (), "a case opened before signs were known reads as it did"
    with pytest.raises(BadIntake, match="other_engine"):
        Intake.from_dict({**told.as_dict(), "other_engine": "perhaps"})


def test_a_sign_is_evidence_as_the_answer_itself_would_be(kit: Kit) -> None:
    told = told_belief(kit.model, begun(kit, Seen("late"), Seen("quiet", "B")).intake)
    without = told_belief(kit.model, begun(kit).intake)
    by_hand = without.answer("light-time-told", "later").answer("spark-test/B", "silent")
    assert told.joint == pytest.approx(by_hand.joint)
    assert told.log_evidence == pytest.approx(by_hand.log_evidence)


def test_two_signs_that_say_the_same_count_once(kit: Kit) -> None:
    # The complaint's own answer and a sign are one story as well: slow-light answers what "late" answers.
    once = told_belief(kit.model, begun(kit, Seen("quiet", "B")).intake)
    twice = told_belief(kit.model, begun(kit, Seen("quiet", "B"), Seen("quiet", "B")).intake)
    assert kit.fitted.check("spark-test/B").repeats is not None, "a repeatable check is what could count twice"
    assert twice.log_evidence == pytest.approx(once.log_evidence)
    alone = told_belief(kit.model, begun(kit, complaint="slow-light").intake)
    both = told_belief(kit.model, begun(kit, Seen("late"), complaint="slow-light").intake)
    assert both.log_evidence == pytest.approx(alone.log_evidence)


def test_what_a_sign_answered_is_not_offered_again_unless_it_repeats(kit: Kit) -> None:
    chase = begun(kit, Seen("late"), Seen("quiet", "B"))
    assert chase.barred()["light-time-told"] == "answered"
    assert "spark-test/B" not in chase.barred() or chase.barred()["spark-test/B"] != "answered"
    assert "light-time-told" not in {m.name for m in chase.ranked().moves}
    assert "light-time-told" in {m.name for m in begun(kit).ranked().moves}


def test_a_sign_told_later_stands_on_the_trail_and_comes_after_what_was_answered(kit: Kit) -> None:
    chase = begun(kit)
    chase.accept("check", "light-time-told")
    chase.answer("usual")
    before = chase.belief.joint
    chase.tell(signs=[{"sign": "late", "channel": ""}])
    # Somebody looked into it in the case: hearsay does not take its place.
    assert chase.belief.joint == pytest.approx(before)
    assert [e.body["changes"] for e in chase.state.events if e.kind == "told"] == [
        {"signs": [{"sign": "late", "channel": ""}]}
    ]
    chase.tell(signs=[{"sign": "late", "channel": ""}, {"sign": "quiet", "channel": "A"}])
    assert chase.belief.joint != pytest.approx(before)
    again = Chase(kit, Memory(chase.state.events), chase.id, Clock())
    assert again.belief.joint == pytest.approx(chase.belief.joint), "the trail alone gives the belief"
    assert believed(kit.model, again.intake, again.state.evidence).log_evidence == pytest.approx(
        chase.belief.log_evidence
    )


def test_signs_are_facts_to_the_rules_and_words_in_the_record(kit: Kit) -> None:
    chase = begun(kit, Seen("late"), Seen("quiet", "B"))
    said = {
        (f.get("check"), f.get("channel"), f.get("outcome"))
        for f in facts.standing(kit.fitted, chase.state, chase.belief, None)
        if f.kind == "answer"
    }
    assert {("light-time-told", "", "later"), ("spark-test", "B", "silent")} <= said
    assert "Heard or seen besides: It lit late; One side was quiet, channel B." in record(chase, "x")


@pytest.mark.parametrize(
    ("sign", "says"),
    [
        (Seen("lat"), "no sign is called 'lat'.*did you mean late"),
        (Seen("elsewhere"), "no sign is called 'elsewhere'"),
        (Seen("quiet"), "about one channel: say which of A, B"),
        (Seen("quiet", "C"), "no channel is called 'C'.*A, B"),
        (Seen("late", "A"), "about no one channel"),
    ],
)
def test_a_sign_that_says_nothing_is_refused(kit: Kit, sign: Seen, says: str) -> None:
    with pytest.raises(Refused, match=says):
        begun(kit, sign)


def test_what_only_other_engines_have_is_no_sign_here(fitted: Fitted) -> None:
    assert set(fitted.signs) == {"late", "quiet"}


def test_work_on_the_other_engine_is_a_fact_to_the_rules(kit: Kit) -> None:
    def done(other: str) -> set[object]:
        chase = begun(kit, other_engine=other)
        found = facts.standing(kit.fitted, chase.state, chase.belief, None)
        return {f.get("work") for f in found if f.kind == "done"}

    assert facts.OTHER_ENGINE in done("yes")
    assert facts.OTHER_ENGINE not in done("no") | done("")

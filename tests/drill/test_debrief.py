"""The debrief of a drill: from its trail alone, judged by what was believed then, safety before any figure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest

from isolate.case import deferral
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, canonical, plain, read_json
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.drill import pilot
from isolate.drill.debrief import Debrief, debrief
from isolate.drill.debrief_page import page, text
from isolate.drill.drive import DONE, Drive
from isolate.drill.scenario import Scenario
from isolate.reasoning.pose import ESCALATE, WATCH

BEGUN = "2030-05-01T08:00:00.000Z"
WAY_IN = ("notices", "wind-checked", "movables-safe", "breakers-pulled", "cowls-open", "tools-listed")
CONTRACT = {
    *("drill", "scenario", "title", "trainee", "begun", "seed", "level", "engine", "complaint", "topics", "end"),
    *("judged", "right", "truth", "found", "minutes", "equivalent", "money", "expected", "over", "chance", "steps"),
    *("extra", "suspicions", "brier", "safety", "hints", "hint_minutes", "record", "record_ok", "learning"),
}
"""What everything that reads a debrief counts on."""
PEOPLE = [
    {"name": "the technician", "may": ["licensed", "motoring", "engine-run"]},
    {"name": "the second pair of eyes", "may": ["licensed"]},
    {"name": "the headset"},
]


def scenario(truth: Sequence[str], **more: Any) -> Scenario:
    """Return a drill of our own, so that what others write into the shipped ones does not matter here."""
    case = {"aircraft": 104, "position": 2, "engine": "halden-hf-3", "complaint": "one-channel-silent", "channel": "A"}
    case |= {"people": PEOPLE, "starts": [{"channel": "A", "lit": False}, {"channel": "B", "lit": True}]}
    told: dict[str, Any] = {
        "title": "One side is silent",
        "story": "Nothing was heard on channel A.",
        "learning": [
            {"say": "Look at the breakers first.", "by": ["breakers-look/A"]},
            {"say": "Notices come before breakers.", "by": ["breakers-need-notices"]},
            {"say": "A hand-over names its people.", "by": ["hand-over-fuel"]},
            "Nobody knows when this one is met.",
        ],
        "truth": list(truth),
        "answers": {},
        "topics": ["silence"],
        "source": ["line-practice"],
        "case": case | more.pop("case", {}),
    }
    return Scenario.model_validate(told | more)


Begin = Callable[..., Drive]


@pytest.fixture
def begin(kit: Kit) -> Begin:
    def made(*truth: str, **more: Any) -> Drive:
        return Drive.begin(kit, Memory(), "drill-7", "one-side", scenario(truth, **more), "Ann", BEGUN)

    return made


def do(drive: Drive, kind: str, key: str, minutes: float = 0.0, **told: Any) -> None:
    """Make a move, with the wait that it has to have, and see that it was made."""
    choice = drive.choice(kind, key)
    if kind != "wait" and (left := drive.waits(choice)):
        drive.do(drive.choice("wait", "wait"), minutes=left)
    came = drive.do(choice, minutes, told or None)
    assert came.kind in ("done", "answered", "ended"), (kind, key, came)


def close_up(drive: Drive) -> None:
    pilot.way(drive, (), tuple(drive.fitted.access))


def shut(drive: Drive) -> None:
    """Put everything back without having it inspected."""
    while left := [k for k in drive.chase.state.open if drive.fitted.access[k].entry.lasting]:
        choices = [drive.choice("close", key) for key in left]
        do(drive, "close", next(c.key for c in choices if not drive.hindered(c)))


def of(kit: Kit, drive: Drive) -> Debrief:
    return debrief(kit, drive.chase.state.events)


def told_so(events: Sequence[Event], **changes: Any) -> list[Event]:
    """Return a trail with its scenario changed."""
    first = events[0]
    drill = first.body["drill"]
    body = {**first.body, "drill": {**drill, "scenario": {**drill["scenario"], **changes}}}
    return [replace(first, body=body), *events[1:]]


def poor(drive: Drive) -> None:
    """Play a drill that nobody would be proud of, up to its first repair."""
    do(drive, "check", "plug-age-read/A")
    do(drive, "check", "plug-age-read/A")
    drive.suspect("exciter/B", 0.9)
    for _ in range(2):
        assert drive.do(drive.choice("open", "breakers-pulled")).kind == "stopped"
        drive.again()
    do(drive, "wait", "wait", minutes=20)
    for key in WAY_IN:
        do(drive, "open", key)
    drive.hint()
    for _ in range(3):
        assert drive.do(drive.choice("open", "cowls-open")).kind == "refused"
    do(drive, "open", "input-off/B")
    do(drive, "open", "input-off/A")
    pilot.make(drive, drive.choice("repair", "replace-exciter/A"))


@pytest.fixture(scope="module")
def poorly(kit: Kit) -> tuple[Event, ...]:
    drive = Drive.begin(kit, Memory(), "drill-7", "one-side", scenario(["lead-open/A"]), "Ann", BEGUN)
    poor(drive)
    return tuple(drive.chase.state.events)


@pytest.fixture(scope="module")
def poor_one(kit: Kit, poorly: tuple[Event, ...]) -> Debrief:
    return debrief(kit, poorly)


@pytest.fixture(scope="module")
def good_one(kit: Kit) -> Debrief:
    drive = Drive.begin(kit, Memory(), "drill-8", "one-side", scenario(["igniter-worn/A"]), "Ann", BEGUN)
    pilot.run(drive)
    return debrief(kit, drive.chase.state.events)


def test_it_is_what_was_agreed_and_goes_on_a_trail(poor_one: Debrief, good_one: Debrief) -> None:
    for one in (poor_one, good_one):
        told = one.as_dict()
        assert set(told) >= CONTRACT
        # Every figure is finite and every text whole, and it is read back as it was written.
        assert read_json(canonical(plain(told)).decode()) == plain(told)
        for name, keys in (
            ("steps", "seq minute kind key title expected better better_expected cost why"),
            ("extra", "minute title cost why"),
            ("suspicions", "minute suspect title sure supported likeliest likeliest_title likeliest_p true misread"),
            ("safety", "minute title says harm rule taken_again"),
            ("record", "says ok"),
            ("learning", "say met"),
        ):
            assert all(set(keys.split()) <= set(line) for line in told[name]), name
        assert told["equivalent"] >= told["minutes"] - 1e-9 and told["over"] >= 0
        assert told["topics"][-1] == "silence" and told["engine"] == "halden-hf-3"
    assert poor_one.topics == ("lead", "silence") and poor_one.truth == ("Lead A open",)


def test_a_drill_left_in_the_middle_is_judged_as_far_as_it_went(
    kit: Kit, poor_one: Debrief, poorly: tuple[Event, ...]
) -> None:
    assert (poor_one.judged, poor_one.right, poor_one.end) == ("not ended", False, "left in the middle")
    assert [s.key for s in poor_one.steps] == ["plug-age-read/A"] * 2 + ["replace-exciter/A"]
    # At any point of it, however far it came.
    for upto in range(1, len(poorly) + 1, 9):
        found = debrief(kit, poorly[:upto])
        assert found.judged == "not ended" and found.steps == poor_one.steps[: len(found.steps)]
        assert text(found) and page(found)


def test_what_a_move_costs_is_no_matter_of_the_truth(kit: Kit, poor_one: Debrief, poorly: tuple[Event, ...]) -> None:
    for truth in (["exciter-dead/A"], ["no-fuel"], []):
        other = debrief(kit, told_so(poorly, truth=truth))
        assert other.steps == poor_one.steps and other.extra == poor_one.extra and other.expected == poor_one.expected
        assert other.truth != poor_one.truth


def test_an_unsafe_move_comes_first_and_gains_nothing(kit: Kit, poor_one: Debrief, poorly: tuple[Event, ...]) -> None:
    assert len(poor_one.safety) == 2
    assert {s.rule for s in poor_one.safety} == {"breakers-need-notices"}
    assert all(s.harm and s.says and s.taken_again for s in poor_one.safety)
    assert text(poor_one)[0].startswith("STOPPED 2 times")
    html = page(poor_one)
    assert html.index("STOPPED 2 times") < html.index("<h1>")
    # Nothing that was stopped was done: without the stops every figure is the same.
    kinds = ("stopped", "taken-again")
    safe = debrief(kit, [e for e in poorly if e.kind not in kinds])
    assert not safe.safety and not text(safe)[0].startswith("STOPPED")
    assert (safe.equivalent, safe.over, safe.expected) == (poor_one.equivalent, poor_one.over, poor_one.expected)


def test_a_drill_left_at_a_stop_says_so(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A")
    assert drive.do(drive.choice("open", "breakers-pulled")).kind == "stopped"
    found = of(kit, drive)
    assert found.judged == "not ended" and found.end.startswith("stopped") and not found.safety[0].taken_again
    assert "left there" in " ".join(text(found)[:3])


def test_what_served_nothing_is_told_apart(poor_one: Debrief) -> None:
    again = poor_one.steps[1]
    assert again.cost == pytest.approx(6.0) and "had been answered" in again.why
    found = {e.title: e for e in poor_one.extra}
    assert found["Waited 20 min"].cost == pytest.approx(20.0)
    assert found["Hint"].cost == 4.0 == poor_one.hint_minutes and poor_one.hints == 1
    assert found["Fan cowls: open"].cost == 0.0 and "Refused 3 times" in found["Fan cowls: open"].why
    assert not any("exciter B" in e.title for e in poor_one.extra), "it is open yet, and may be used"
    exciter = poor_one.steps[2]
    assert exciter.cost > 20 and exciter.better and exciter.expected > exciter.better_expected
    assert f"{exciter.better}:" in exciter.why and "This one:" in exciter.why and "min" in exciter.why


def test_what_was_opened_and_never_used_is_told_once_it_is_shut(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A")
    for key in (*WAY_IN, "input-off/B"):
        do(drive, "open", key)
    do(drive, "check", "exciter-mount-look/A")
    do(drive, "close", "input-off/B")
    found = of(kit, drive)
    access = drive.fitted.access["input-off/B"]
    (unused,) = found.extra
    assert access.title in unused.title and unused.cost == access.open.minutes + access.close.minutes


def test_what_was_opened_again_for_an_inspection_is_no_waste(kit: Kit, begin: Begin) -> None:
    drive = begin("igniter-worn/A")
    for channel in "AB":
        pilot.make(drive, drive.choice("repair", f"replace-exciter/{channel}"))
    shut(drive)
    assert drive.chase.inspection_due()
    assert drive.do(drive.choice("inspect", "inspection")).kind == "refused", "it is covered"
    for key in WAY_IN[:-1]:
        if key not in drive.chase.state.open:
            do(drive, "open", key)
    do(drive, "inspect", "inspection")
    shut(drive)
    events = drive.chase.state.events
    found = debrief(kit, events)
    assert not drive.chase.inspection_due() and not found.extra, found.extra
    # Without the inspection it had all been opened for nothing.
    idle = debrief(kit, [e for e in events if e.kind != "inspected"])
    assert {e.title for e in idle.extra} >= {"Fan cowls: open", "Warning notices in the flight deck: up"}
    assert idle.over - found.over == pytest.approx(sum(e.cost for e in idle.extra)) and idle.over > found.over

def test_a_proof_that_a_deferral_asked_for_is_no_waste(kit: Kit, begin: Begin) -> None:
    drive = begin("exciter-dead/A", answers={"spark-test/A": "silent", "spark-test/B": "snaps"})
    pilot.make(drive, drive.choice("check", "spark-test/A"))
    close_up(drive)
    came = drive.do(drive.choice("end", deferral.DEFER), told={"channel": "A"})
    assert came.kind == "refused" and "Channel B has not been proven" in came.said
    pilot.make(drive, drive.choice("check", "spark-test/B"))
    proof = of(kit, drive).steps[-1]
    assert (proof.key, proof.cost, proof.better) == ("spark-test/B", 0.0, None), "asked for, whatever comes of it"
    close_up(drive)
    do(drive, "end", deferral.DEFER, channel="A")
    found = of(kit, drive)
    assert found.steps[1] == proof and "deferral asks" in proof.why and not found.extra
    # Without the refusal the deferral says itself what it rests on.
    events = [e for e in drive.chase.state.events if e.kind != "refused"]
    assert debrief(kit, events).steps == found.steps


def test_a_proof_after_work_is_charged_to_nobody_who_goes_on_with_it(kit: Kit, begin: Begin) -> None:
    drive = begin(case={"complaint": "weak-snap"})
    pilot.make(drive, drive.choice("repair", "replace-igniter/A"))
    assert len(drive.chase.verification) == 4
    for key in drive.chase.verification:
        came = pilot.make(drive, drive.choice("check", key))
        assert came.outcome == kit.fitted.check(key).outcomes[0]
    repair, first, *rest = of(kit, drive).steps
    assert repair.cost > 20 and (first.cost, first.better) == (0.0, None)
    assert first.expected - first.better_expected > 5, "something else looked better by a little"
    assert [(s.cost, s.better, s.why) for s in rest] == [(0.0, None, "It goes on with the proof that was begun.")] * 3


def test_asked_again_it_says_what_the_screen_showed(kit: Kit, begin: Begin, poor_one: Debrief) -> None:
    assert "It had been answered, and the answer stood: “" in poor_one.steps[1].why
    drive = begin("lead-open/A", answers={"plug-age-read/A": "young"})
    for _ in range(2):
        do(drive, "check", "plug-age-read/A")
    events = list(drive.chase.state.events)
    last = max(i for i, e in enumerate(events) if e.kind == "answered")
    check = kit.fitted.check("plug-age-read/A")
    other = next(o for o in check.outcomes if o != "young")
    events[last] = replace(events[last], body={**events[last].body, "outcome": other})
    why = debrief(kit, events).steps[1].why
    had, shown = check.said("young"), check.said(other)
    assert f"It had been answered: “{had}”. Asked again, the screen showed “{shown}”." in why
    # Told at the start and never asked.
    drive = begin("lead-open/A", case={"signs": [{"sign": "heard-nothing", "channel": "A"}]})
    do(drive, "check", "heard-at-start/A")
    shown = kit.fitted.check("heard-at-start/A").said("not-heard")
    (step,) = of(kit, drive).steps
    assert f"answered by what was told at the start; asked again, the screen showed “{shown}”." in step.why


def test_a_wait_is_no_loss_as_far_as_a_timer_asked_for_it(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A")
    for key in (*WAY_IN, "input-off/A"):
        do(drive, "open", key)
    # The discharge wait runs from when the input came off: 5 min by the drill's data.
    do(drive, "wait", "wait", minutes=5)
    do(drive, "open", "lead-off-exciter/A")
    assert not of(kit, drive).extra
    drive = begin("lead-open/A")
    for key in (*WAY_IN, "input-off/A"):
        do(drive, "open", key)
    do(drive, "wait", "wait", minutes=12)
    do(drive, "open", "lead-off-exciter/A")
    (over,) = of(kit, drive).extra
    assert over.cost == pytest.approx(7.0) and over.title == "Waited 12 min"


def test_a_minute_for_nothing_is_dearer_where_it_makes_late(kit: Kit, begin: Begin) -> None:
    costs = {}
    for left in (None, 30, 10_000):
        drive = begin("lead-open/A", case={"minutes_left": left})
        do(drive, "wait", "wait", minutes=20)
        do(drive, "check", "plug-age-read/A")
        do(drive, "check", "plug-age-read/A")
        found = of(kit, drive)
        costs[left] = found.extra[0].cost, found.steps[1].cost
    delay = kit.fitted.profile.weights["gate"].delay
    # 20 min waited, and 6 for an answer that stood; with nobody waiting, or long to go, no more than that.
    assert costs[None] == pytest.approx((20.0, 6.0)) and costs[10_000] == pytest.approx((20.0, 6.0), rel=0.01)
    # With half an hour left nearly every minute makes late: between its own minutes and those with the whole delay.
    for cost, minutes in zip(costs[30], (20.0, 6.0), strict=True):
        assert minutes * (1 + 0.5 * delay) < cost <= minutes * (1 + delay) + 1e-9


def test_a_suspicion_against_the_evidence_is_told_what_speaks_against_it(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A", answers={"heard-at-start/A": "not-heard", "plug-age-read/A": "young"})
    drive.suspect("igniter/A", 0.5)
    for key in ("heard-at-start/A", "plug-age-read/A"):
        do(drive, "check", key)
    drive.suspect("exciter/A", 1.0)
    drive.suspect("igniter/A", 0.8)
    do(drive, "check", "crew-ask")
    drive.suspect("lead/A", 0.3)
    found = of(kit, drive)
    assert len(found.suspicions) == 3, "with nothing new between, the last one counts"
    early, late, lead = found.suspicions
    assert late.supported < early.supported and not late.true and lead.true
    assert late.likeliest != "igniter/A" and late.supported < 0.5 * late.likeliest_p
    assert any("speaks" in s and "against igniter A" in s for s in late.misread), late.misread
    assert any(drive.fitted.check("plug-age-read/A").title in s for s in late.misread)
    assert found.brier == pytest.approx((0.5**2 + 0.8**2 + 0.7**2) / 3)


def test_the_record_is_gone_through_as_an_inspector_would(kit: Kit, begin: Begin, poor_one: Debrief) -> None:
    lacking = " ".join(line.says for line in poor_one.record if not line.ok)
    assert not poor_one.record_ok
    for words in ("Channel A proven", "part and serial numbers", "examined", "Not put back", "Tools"):
        assert words in lacking, words
    drive = begin("igniter-worn/A")
    drive.suspect("igniter/A", 0.6)
    pilot.make(drive, drive.choice("check", "plug-tip-look/A"))
    part = {"pn-off": "1", "sn-off": "2", "pn-on": "1", "sn-on": "3"}
    do(drive, "repair", "replace-igniter/A", **part)
    came = pilot.run(drive)
    assert came.kind == "ended"
    found = of(kit, drive)
    replaced = [line for line in found.record if line.says.startswith("Replace igniter plug A:")]
    assert len(replaced) == 3 and all(line.ok for line in replaced), replaced
    looked = kit.fitted.check("plug-tip-look/A").title
    assert any(line.says.endswith(f"before it went away (“{looked}”).") for line in replaced), "the one that was made"
    assert [line for line in found.record if not line.judged], "what people fill in is not judged"
    assert any("start on each channel" in line.says.lower() for line in found.record) == any(
        kit.fitted.check(k).entry.starts for k in drive.chase.verification
    )


def test_a_part_without_its_numbers_is_lacking(kit: Kit, begin: Begin) -> None:
    drive = begin("igniter-worn/A")
    pilot.way(drive, drive.fitted.repair("replace-igniter/A").needs, drive.fitted.repair("replace-igniter/A").shut)
    do(drive, "repair", "replace-igniter/A", **{"pn-off": "1", "sn-off": "", "pn-on": "1", "sn-on": "3"})
    lines = {line.says: line.ok for line in of(kit, drive).record}
    assert not lines["Replace igniter plug A: part and serial numbers off and on told."]
    assert not lines["Replace igniter plug A: a prime suspect or a reason noted before it."]
    repair = drive.fitted.repair("replace-igniter/A")
    (asked,) = (says for says in lines if "examined before it went away" in says)
    assert not lines[asked]
    assert repair.examines and all(f"“{drive.fitted.check(k).title}”" in asked for k in repair.examines)


def test_learning_points_are_met_by_what_was_done(poor_one: Debrief, good_one: Debrief) -> None:
    assert [p.met for p in poor_one.learning] == [False, False, False, None], "a stop teaches nobody by itself"
    assert good_one.learning[1].met is False and good_one.learning[3].met is None


def test_a_rule_teaches_only_once_the_trainee_has_answers_of_his_own(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A")

    def learning(*names: str) -> list[bool | None]:
        events = told_so(drive.chase.state.events, learning=[{"say": "It.", "by": [n]} for n in names])
        return [p.met for p in debrief(kit, events).learning]

    at_once = sorted({e.body["rule"] for e in drive.chase.state.events if e.kind == "fired"})
    assert at_once and set(learning(*at_once)) == {False}, "the story fired them, and nothing was done"
    assert drive.do(drive.choice("open", "breakers-pulled")).kind == "stopped"
    drive.again()
    for key in ("notices", "breakers-pulled"):
        do(drive, "open", key)
    assert learning("notices", "breakers-need-notices", "wind-checked") == [True, False, False]
    do(drive, "check", "crew-ask")
    seen = len(drive.chase.state.events)
    for key in ("spark-test/A", "spark-test/B"):
        pilot.make(drive, drive.choice("check", key))
    later = [e.body["rule"] for e in drive.chase.state.events[seen:] if e.kind == "fired"]
    teach = [n for n in later if kit.fitted.rules[n].kind in ("finding", "advice", "conflict", "verdict")]
    assert teach and set(learning(*teach)) == {True}
    rest = [n for n, r in kit.fitted.rules.items() if r.kind in ("gate", "caution", "escalation")]
    assert set(learning(*rest)) == {False}
    assert learning("crew-ask", "plug-tip-look/A") == [True, False]


def test_a_good_end_and_its_figures(good_one: Debrief) -> None:
    assert good_one.judged == "right" and good_one.right and good_one.end.startswith("verified")
    assert good_one.truth == good_one.found == ("Igniter plug A worn",)
    assert good_one.over == pytest.approx(0.0, abs=1e-6)
    assert good_one.equivalent == pytest.approx(good_one.expected + good_one.over + good_one.chance)
    assert good_one.money is not None and good_one.money["amount"] == pytest.approx(2.5 * good_one.equivalent)
    assert good_one.money["unit"] == "crowns"


def test_a_proof_begun_is_one_move_to_its_end(kit: Kit, begin: Begin) -> None:
    """Where a part of it passes, something else may look better by itself; whoever goes on is not charged for it."""
    drive = begin("lead-chafed/A", seed=3, case={"condition": "hot"})
    pilot.run(drive)
    found = of(kit, drive)
    assert any("proof that was begun" in s.why for s in found.steps)
    assert found.over == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("truth", "key", "judged", "cost_of_end"),
    [
        (["no-fuel"], "hand-over-fuel", "right", 15.0),
        (["lead-open/A"], "hand-over-fuel", "handed to the wrong people", 2015.0),
        (["no-fuel", "lead-open/A"], "hand-over-fuel", "handed to the wrong people", 1015.0),
        ([], "hand-over-fuel", "handed to the wrong people", 2015.0),
        (["lead-open/A"], ESCALATE, "given up", 1500.0),
    ],
)
def test_an_end_is_judged_by_the_truth_and_charged_by_the_belief(
    kit: Kit, begin: Begin, truth: list[str], key: str, judged: str, cost_of_end: float
) -> None:
    drive = begin(*truth)
    do(drive, "end", key)
    found = of(kit, drive)
    assert found.judged == judged and found.right == (judged == "right")
    # Nothing was done before it, so the end is all that it took.
    assert found.equivalent == pytest.approx(cost_of_end)
    (step,) = found.steps
    assert step.kind == "end" and step.cost > 100, "by what was believed there it was a bad end, whatever the truth"
    assert step.better and found.chance == pytest.approx(cost_of_end - found.expected - step.cost)


@pytest.mark.parametrize(
    ("truth", "judged"),
    [(["lead-open/A"], "fault left"), ([], "right")],
)
def test_what_is_proven_and_closed_up_is_judged_by_what_is_left(
    kit: Kit, begin: Begin, truth: list[str], judged: str
) -> None:
    # The story has every proof pass, whatever is wrong.
    drive = begin(answers={k: kit.fitted.check(k).outcomes[0] for k in kit.fitted.checks})
    for key in drive.chase.verification:
        pilot.make(drive, drive.choice("check", key))
    close_up(drive)
    end = DONE if drive.chase.remaining < kit.fitted.profile.remaining else WATCH
    do(drive, "end", end)
    found = debrief(kit, told_so(drive.chase.state.events, truth=truth))
    assert found.judged == judged
    assert found.equivalent == pytest.approx(found.minutes + 2000.0 * bool(truth) + 15.0 * (end == WATCH))


@pytest.mark.parametrize(
    ("truth", "judged", "right"),
    [(["exciter-dead/A"], "deferred rightly", True), (["exciter-dead/A", "no-fuel"], "deferred wrongly", False)],
)
def test_a_deferral_is_right_where_all_that_is_left_is_on_its_channel(
    kit: Kit, begin: Begin, truth: list[str], judged: str, right: bool
) -> None:
    drive = begin("exciter-dead/A", case={"minutes_left": 30}, answers={"spark-test/B": "snaps"})
    deferring = drive.chase.deferring()
    assert deferring is not None and deferring.channel == "A" and deferring.cost < deferring.going_on
    pilot.make(drive, drive.choice("check", "spark-test/B"))
    close_up(drive)
    do(drive, "end", deferral.DEFER, channel="A")
    found = debrief(kit, told_so(drive.chase.state.events, truth=truth))
    assert (found.judged, found.right) == (judged, right)
    assert found.over == pytest.approx(0.0, abs=1e-6), "it was the cheaper end, and its proof is no detour"
    w = kit.fitted.profile.weights["gate"]
    late = max(0.0, found.minutes - 30)
    assert found.equivalent == pytest.approx(found.minutes + w.delay * late + w.defer + w.missed * (not right))


def test_parts_changed_over_are_a_move_like_any_other(kit: Kit, begin: Begin) -> None:
    drive = begin("lead-open/A")
    both = [drive.fitted.repair(f"replace-exciter/{c}") for c in "AB"]
    pilot.way(drive, {n for r in both for n in r.needs}, {n for r in both for n in r.shut})
    do(drive, "swap", "exciter:A<>B")
    found = of(kit, drive)
    (step,) = found.steps
    assert step.kind == "swap" and step.cost > 20 and "mends nothing" in step.why
    assert any("independently" in line.says and not line.ok for line in found.record), "both channels were touched"


def test_a_debrief_on_the_trail_changes_no_debrief(kit: Kit, poor_one: Debrief, poorly: tuple[Event, ...]) -> None:
    log = Memory(poorly)
    log.append_all("drill-7", [("debriefed", poor_one.as_dict())], poorly[-1].time)
    assert debrief(kit, log.events("drill-7")) == poor_one


def test_only_a_drill_is_debriefed(kit: Kit) -> None:
    chase = Chase.begin(kit, log := Memory(), "case-1", scenario([]).case.intake(), Clock())
    with pytest.raises(Refused, match="not a drill"):
        debrief(kit, log.events(chase.id))


# -- as people read it -----------------------------------------------------------------------------


class Read(HTMLParser):
    """What a browser would make of a page, and what it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.fetched: list[str] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "br"):
            self.stack.append(tag)
        if tag in ("script", "link", "img", "iframe", "object"):
            self.fetched.append(tag)
        self.fetched += [v or "" for n, v in attrs if n in ("src", "href") or n.startswith("on")]

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop() == tag, tag

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_text_keeps_to_its_width_and_tells_it_all(poor_one: Debrief, good_one: Debrief) -> None:
    for one in (poor_one, good_one):
        for width in (40, 80, 132):
            assert all(len(line) <= width for line in text(one, width)), width
        lines = text(one, 80)
        whole = " ".join(" ".join(lines).split())
        assert one.judged.upper() in whole and one.truth[0] in whole
        assert f"{one.equivalent:.0f}" in whole and f"{one.expected:.0f}" in whole
        assert all(point.say in whole for point in one.learning)
        told = one.as_dict()
        assert text(told, 80) == lines and page(told) == page(one), "kept on a trail it reads the same"
    assert len(text(good_one, 80)) <= 50, "a usual drill is a page"


def test_it_is_put_in_whole_sentences(poor_one: Debrief, good_one: Debrief) -> None:
    told = poor_one.as_dict()
    title = "Has it lit later than it used to?"
    told["steps"][2] |= {"better": title, "why": f"{title} 5 min with everything shut. This one: 30 min."}
    words, html = " ".join(" ".join(text(told)).split()), Read()
    html.feed(page(told))
    for whole in (words, html.words):
        assert whole.count(title) == 1, "not once as the better one and once more in why"
        assert "That one: 5 min with everything shut. This one: 30 min." in whole
        assert whole.count("at N min: when it was begun") == 1
    lines = [{"says": f"Point {i}.", "ok": i > 0, "judged": True} for i in range(8)]
    for lacking, said in ((1, "1 of 8 points that can be judged here is lacking."), (2, "2 of 8 points")):
        lines[1]["ok"] = lacking < 2
        assert said in " ".join(" ".join(text({**told, "record": lines})).split())
    assert "here are lacking" in " ".join(" ".join(text({**told, "record": lines})).split())
    only = {**told, "steps": []}
    assert " ".join(text(only)).count("at N min: when it was begun") == 1, "of the extras then"
    assert "at N min" not in " ".join(text(good_one)), "nothing stands there with a minute"


def test_the_page_is_one_whole_file_that_nothing_gets_out_of(poor_one: Debrief) -> None:
    nasty = "<script>alert(1)</script> & \"Ann\" 'B' ${title} $title"
    told = poor_one.as_dict()
    told |= {"trainee": nasty, "title": nasty, "about": nasty, "drill": nasty}
    for name in ("steps", "extra", "suspicions", "safety", "record", "learning"):
        for line in told[name]:
            for key, value in line.items():
                if isinstance(value, str) and key not in ("kind", "suspect", "likeliest"):
                    line[key] = nasty
    html = page(told)
    read = Read()
    read.feed(html)
    assert not read.stack and not read.fetched and "http" not in html and "url(" not in html
    assert "<script" not in html and nasty in read.words
    assert "prefers-color-scheme: dark" in html and "size: A4" in html and "width=device-width" in html


def test_words_of_other_people_move_no_screen(poor_one: Debrief) -> None:
    told = {**poor_one.as_dict(), "trainee": "Ann\x1b[2J\x1b]0;mine\x07", "title": "A\u202etitle\x9b31m"}
    for shown in ("\n".join(text(told)), page(told)):
        assert "Ann" in shown and not any(letter in shown for letter in "\x1b\x07\x9b\u202e")

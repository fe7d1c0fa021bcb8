"""The plan ahead: it is what a chase would offer, its branches are whole, and the case is left alone.

No outside source stands behind these: what a plan has to be is our own judgement. That the probabilities of all that
may turn out sum to one is arithmetic, and what is offered is checked against the chase itself.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from rich.console import Console

from isolate.case.ahead import DEEPEST, Ahead, Lead, Leg, Node, Plan, PlanStep, Said, as_dict, of_case, plan, together
from isolate.case.case import Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event, parse_time, to_line
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Ask, Confirm, Cross, Done, Here, Mend, Offer, Report, Step, Wait, Walk
from isolate.cli import main
from isolate.kb.fit import fit
from isolate.kb.model import Ask as Fact
from isolate.kb.model import Rule
from isolate.reasoning.starts import Start
from isolate.terminal.ahead import tree

EVERYBODY = (
    Person("the technician", ("licensed", "motoring", "engine-run")),
    Person("the second pair of eyes", ("licensed",)),
    Person("the headset"),
)
NO_LIGHT = Intake(
    aircraft="104",
    position="1",
    engine="halden-hf-3",
    complaint="no-light-off",
    starts=(Start("A", False), Start("B", False)),
    people=EVERYBODY,
    place="hangar",
)
STUCK = Intake(
    aircraft="104",
    position="2",
    engine="halden-hf-3",
    complaint="plug-will-not-run-down",
    channel="A",
    people=EVERYBODY,
    place="hangar",
)


class Desk:
    """A chase in memory with its clock, and somebody who does what each step says."""

    def __init__(self, kit: Kit, intake: Intake) -> None:
        self.kit, self.log, self.clock = kit, Memory(), Clock()
        self.chase = Chase.begin(kit, self.log, "case", intake, self.clock)

    @property
    def events(self) -> tuple[Event, ...]:
        return self.log.events("case")

    def ahead(self) -> Ahead:
        return Ahead(self.kit, self.events, self.clock())

    def do(self, outcome: str | None = None) -> Step:
        """Do one step; a check is answered with the outcome, else with its best news."""
        step, chase = self.chase.now(), self.chase
        if isinstance(step, Offer):
            chase.accept()
        elif isinstance(step, Ask):
            self.clock.pass_minutes(step.minutes)
            chase.answer(outcome or step.outcomes[0][0])
        elif isinstance(step, Confirm):
            chase.confirm({ask.name: fact(ask) for ask in step.caution.asks})
        elif isinstance(step, Cross):
            self.clock.pass_minutes(step.minutes)
            chase.crossed()
        elif isinstance(step, Mend):
            self.clock.pass_minutes(step.minutes)
            chase.mended()
        elif isinstance(step, Wait):
            self.clock.pass_minutes((step.until - self.clock()).total_seconds() / 60)
            if not isinstance(chase.now(), Wait):
                chase.waited()
        elif isinstance(step, Walk):
            chase.walked(True, {ask.name: fact(ask) for ask in step.asks})
        elif isinstance(step, Report):
            chase.report({ask.name: f"by {ask.name}" for ask in step.asks})
        else:
            raise AssertionError(step)
        return step

    def until(self, there: Callable[[Step], bool]) -> Step:
        """Do as the tool says until a step is met; it is left to be done."""
        for _ in range(400):
            step = self.chase.now()
            if there(step):
                return step
            self.do()
        raise AssertionError("never met")


def verifying(kit: Kit) -> Desk:
    """A case in which the whole verification has just been taken up."""
    desk = Desk(kit, NO_LIGHT)
    desk.chase.accept("verify", "verification")
    return desk


def fact(ask: Fact) -> str | float:
    if ask.kind in ("minutes", "count"):
        return max(3.0, ask.least or 0.0)
    return "06:10" if ask.kind == "time" else "seen"


def steps(step: PlanStep) -> Iterator[PlanStep]:
    yield step
    for leg in step.legs:
        if leg.step is not None:
            yield from steps(leg.step)


def legs(step: PlanStep) -> list[Leg]:
    return [leg for one in steps(step) for leg in one.legs]


def shown(one: Plan, width: int = 80) -> str:
    console = Console(file=io.StringIO(), width=width)
    console.print(tree(one, width))
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


@pytest.fixture(scope="module")
def three(kit: Kit) -> Plan:
    """Three moves ahead of a case that has just been opened."""
    return plan(Desk(kit, NO_LIGHT).ahead(), 3)


@pytest.fixture(scope="module")
def two(kit: Kit) -> Plan:
    """Two moves ahead of it."""
    return plan(Desk(kit, NO_LIGHT).ahead(), 2)


@pytest.fixture(scope="module")
def proving(kit: Kit) -> Plan:
    """Two moves ahead of a verification that is offered."""
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Offer) and step.kind == "verify")
    return plan(desk.ahead(), 2)


# -- it is the chase's own ---------------------------------------------------------------------------


def test_the_first_move_is_the_one_offered(kit: Kit, three: Plan) -> None:
    offer = Desk(kit, NO_LIGHT).chase.now()
    assert isinstance(offer, Offer)
    node = three.root.node
    assert (node.kind, node.key, node.title, node.in_hand) == (offer.kind, offer.key, offer.title, False)
    assert node.expected == pytest.approx(offer.expected)


def test_each_branch_is_what_a_chase_offers_after_these_answers(kit: Kit, two: Plan) -> None:
    walked = 0

    def follow(step: PlanStep, answers: tuple[tuple[str, str], ...]) -> None:
        nonlocal walked
        for leg in step.legs:
            told = (*answers, (step.node.key, leg.said[0].outcome))
            desk = Desk(kit, NO_LIGHT)
            for check, outcome in told:
                asked = desk.until(lambda s: isinstance(s, Ask))
                assert isinstance(asked, Ask) and asked.key == check
                desk.do(outcome)
            offer = desk.chase.now()
            assert isinstance(offer, Offer)
            assert (offer.kind, offer.key) == (leg.lead.does, leg.lead.key)
            assert leg.lead.expected == pytest.approx(offer.expected)
            assert leg.minutes == pytest.approx(desk.chase.state.book_minutes)
            walked += 1
            if leg.step is not None and leg.step.node.kind == "check":
                assert leg.step.node.key == offer.key
                follow(leg.step, told)

    follow(two.root, ())
    assert walked > 5


def test_an_answer_is_as_probable_as_the_chase_takes_it_to_be(kit: Kit, three: Plan) -> None:
    desk = Desk(kit, NO_LIGHT)
    chances = dict(
        zip(
            kit.fitted.check(three.root.node.key).outcomes,
            desk.chase.belief.predicted(three.root.node.key),
            strict=True,
        )
    )
    for leg in three.root.legs:
        assert leg.probability == pytest.approx(float(chances[leg.said[0].outcome]))


def test_the_minutes_of_a_move_are_those_of_a_chase_with_its_crossings(kit: Kit) -> None:
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Offer) and bool(step.crossings))
    node = desk.ahead().node()
    before = desk.chase.state.book_minutes
    opened: list[str] = []
    while not isinstance(step := desk.do(), Ask | Mend):
        if isinstance(step, Cross):
            opened.append(step.access)
    assert opened and [d.key for d in node.doing if d.kind in ("open", "close")][: len(opened)] == opened
    assert node.kind == "check" and node.minutes == pytest.approx(desk.chase.state.book_minutes - before)


# -- it is whole -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["three", "proving"])
def test_what_may_turn_out_sums_to_one(request: pytest.FixtureRequest, name: str) -> None:
    one: Plan = request.getfixturevalue(name)
    for root in (one.root, together(one.root)):
        for step in steps(root):
            rare = step.rare_share / step.reach
            assert sum(leg.probability for leg in step.legs) + rare == pytest.approx(1.0, abs=1e-9)
            assert sum(leg.reach for leg in step.legs) + step.rare_share == pytest.approx(step.reach, abs=1e-9)
            for leg in step.legs:
                assert leg.probability * step.reach == pytest.approx(leg.reach)
                assert leg.step is None or leg.step.reach == pytest.approx(leg.reach)


def test_a_verification_may_fail_at_each_of_its_checks(kit: Kit) -> None:
    desk = verifying(kit)
    node = desk.ahead().node()
    failed = [way for way in node.ways if way.kind == "failed"]
    assert {way.about for way in failed} == {d.key for d in node.doing if d.kind == "check"} and len(failed) > 1
    assert sum(way.probability for way in node.ways) == pytest.approx(1.0, abs=1e-9)
    assert [way.kind for way in node.ways].count("passed") == 1
    # A chase in which that check gives that outcome stands where the way leads.
    worst = max(failed, key=lambda way: way.probability)
    desk.until(lambda step: isinstance(step, Ask) and step.key == worst.about)
    before = desk.chase.state.verified
    desk.do(worst.outcome)
    offer = desk.chase.now()
    assert before != "failed" and desk.chase.state.verified == "failed" and isinstance(offer, Offer)
    assert worst.lead().key == offer.key


def test_every_branch_is_as_deep_as_asked_or_ends(three: Plan, proving: Plan) -> None:
    def follow(step: PlanStep, depth: int) -> None:
        for leg in step.legs:
            if leg.lead.kind != "move":
                assert leg.step is None
            else:
                assert (leg.step is None) == (depth == 1)
            if leg.step is not None:
                follow(leg.step, depth - 1)

    for one in (three, proving):
        assert not one.cut
        follow(one.root, one.depth)
        rare = sum(step.rare_share for step in steps(one.root))
        assert one.covered == pytest.approx(1 - rare) and 0.5 < one.covered <= 1
        assert len(list(steps(one.root))) == one.moves
    assert {leg.lead.kind for leg in legs(proving.root)} & {"close-up", "end"}


def test_rare_branches_are_gathered(three: Plan) -> None:
    assert any(step.rare for step in steps(three.root))
    assert min(leg.reach for leg in legs(three.root)) >= three.rare
    assert " more, " in shown(three)


def test_a_plan_too_long_is_cut_to_the_most_probable(kit: Kit, three: Plan) -> None:
    short = plan(Desk(kit, NO_LIGHT).ahead(), 3, most=4)
    assert short.cut and short.moves == 4 and len(list(steps(short.root))) == 4
    assert 0 < short.covered < three.covered
    cut = [leg.reach for leg in legs(short.root) if leg.left_out]
    assert cut and max(cut) <= min(step.reach for step in steps(short.root)) + 1e-12
    assert "these are the most probable" in shown(short) and "these are the most probable" not in shown(three)


@pytest.mark.parametrize("name", ["three", "proving"])
def test_no_two_branches_of_a_plan_written_together_stop_alike(request: pytest.FixtureRequest, name: str) -> None:
    one: Plan = request.getfixturevalue(name)
    joined = together(one.root)
    for step in steps(joined):
        last = [(leg.lead.kind, leg.lead.key, leg.minutes) for leg in step.legs if leg.step is None]
        assert len(set(last)) == len(last)
    # Nothing that may turn out at the first move is lost by it.
    assert sorted(s.says for leg in joined.legs for s in leg.said) == sorted(
        s.says for leg in one.root.legs for s in leg.said
    )


def test_branches_written_together_stand_below_one_another_on_the_screen(three: Plan) -> None:
    root = made("check", "first", 100.0, (("good", 0.7), ("bad", 0.3)))
    lines = [line.strip() for line in shown(replace(three, root=root)).splitlines()]
    assert "└── 100% good" in lines and "or   bad" in lines
    over = replace(root.legs[1], lead=Lead("hand-over", "end", "over", "Hand over to them"))
    lines = [line.strip() for line in shown(replace(three, root=replace(root, legs=(root.legs[0], over)))).splitlines()]
    assert "├── 70%  good" in lines and "└── 30%  bad" in lines and "ends Hand over to them" in lines


def made(kind: str, key: str, expected: float, ways: Sequence[tuple[str, float]], reach: float = 1.0) -> PlanStep:
    """A move whose ways, (words, probability), all end in a close-up."""
    node = Node(kind, key, key, "", False, expected, (), (), 5.0)
    ends = Lead("close-up", remaining=0.1)
    legs = tuple(Leg((Said("answer", says),), p, reach * p, 10.0, ends) for says, p in ways)
    return PlanStep(node, reach, legs, 0, 0.0)


def test_what_is_written_together_is_weighed_by_how_often_it_comes_about() -> None:
    """By hand: (0.6 * 90 + 0.3 * 60) / 0.9 = 80 minutes expected."""
    there = Lead("move", "check", "later", "later", expected=90.0)
    one, other = (
        Leg((Said("answer", says),), p, p, 5.0, replace(there, expected=expected), after)
        for says, p, expected, after in (
            ("one", 0.6, 90.0, made("check", "later", 90.0, (("good", 0.5), ("bad", 0.5)), 0.6)),
            ("other", 0.3, 60.0, made("check", "later", 60.0, (("good", 0.2), ("bad", 0.8)), 0.3)),
        )
    )
    apart = Leg((Said("answer", "third"),), 0.1, 0.1, 5.0, replace(there, key="else"))
    first = replace(made("check", "first", 100.0, ()), legs=(one, other, apart))
    joined = together(first)
    assert [[said.says for said in leg.said] for leg in joined.legs] == [["one", "other"], ["third"]]
    both = joined.legs[0]
    assert both.probability == pytest.approx(0.9) and both.reach == pytest.approx(0.9)
    assert both.step is not None and both.step.node.expected == pytest.approx(80.0)
    assert both.lead.expected == pytest.approx(80.0)
    by_words = {leg.said[0].says: leg for leg in both.step.legs}
    assert len(by_words) == 1, "good and bad both end in a close-up"
    (end,) = both.step.legs
    assert {said.says for said in end.said} == {"good", "bad"} and end.reach == pytest.approx(0.9)


def test_an_answer_that_leads_elsewhere_keeps_the_whole_branch_apart() -> None:
    """By hand, for those that go on alike: (0.6 * 0.5 + 0.3 * 0.2) / 0.9 = 0.4."""
    there = Lead("move", "check", "later", "later", expected=90.0)
    after = made("check", "later", 90.0, (("good", 0.5), ("bad", 0.5)), 0.6)
    legs = list(after.legs)
    legs[1] = replace(legs[1], lead=Lead("hand-over", "end", "over", "over"))
    apart = replace(after, legs=tuple(legs))
    for second, count in ((apart, 1), (after, 2)):
        one = Leg((Said("answer", "one"),), 0.6, 0.6, 5.0, there, apart)
        other = Leg((Said("answer", "other"),), 0.4, 0.4, 5.0, there, second)
        joined = together(replace(made("check", "first", 100.0, ()), legs=(one, other)))
        assert len(joined.legs) == count
    both = together(
        replace(
            made("check", "first", 100.0, ()),
            legs=(
                Leg((Said("answer", "one"),), 0.6, 0.6, 5.0, there, apart),
                Leg((Said("answer", "other"),), 0.3, 0.3, 5.0, there, shifted(apart, (0.2, 0.8), 0.3)),
            ),
        )
    )
    assert both.legs[0].step is not None
    chances = {leg.said[0].says: leg.probability for leg in both.legs[0].step.legs}
    assert chances == {"good": pytest.approx(0.4), "bad": pytest.approx(0.6)}


def shifted(step: PlanStep, chances: Sequence[float], reach: float) -> PlanStep:
    """The same move with other probabilities."""
    legs = (replace(leg, probability=p, reach=reach * p) for leg, p in zip(step.legs, chances, strict=True))
    return replace(step, legs=tuple(legs), reach=reach)


# -- it begins anywhere ------------------------------------------------------------------------------


def test_a_move_in_hand_comes_first_from_where_it_stands(kit: Kit) -> None:
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Offer) and bool(step.crossings))
    whole = desk.ahead()
    desk.until(lambda step: isinstance(step, Cross))
    done = desk.do()
    assert isinstance(done, Cross) and desk.chase.state.move is not None
    one = plan(desk.ahead(), 1)
    assert one.root.node.in_hand and one.root.node.key == desk.chase.state.move.key == whole.node().key
    crossed, all_of_it = (
        [d.key for d in node.doing if d.kind in ("open", "close")] for node in (one.root.node, whole.node())
    )
    assert all_of_it == [done.access, *crossed] and crossed
    assert one.root.node.minutes == pytest.approx(whole.node().minutes - done.minutes - done.wait)
    assert "in hand" in shown(one)


def test_a_verification_half_done_goes_on_with_its_other_half(kit: Kit) -> None:
    desk = verifying(kit)
    all_of_it = [d.key for d in desk.ahead().node().doing if d.kind == "check"]
    desk.until(lambda step: isinstance(step, Ask) and step.within == "verify")
    desk.do()
    node = desk.ahead().node()
    assert node.in_hand and node.kind == "verify"
    assert [d.key for d in node.doing if d.kind == "check"] == all_of_it[1:]


def test_a_timer_that_runs_is_waited_out_in_the_plan_alone(kit: Kit) -> None:
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Wait))
    now = desk.clock()
    running = [((until - now).total_seconds() / 60, title) for title, until in desk.chase.waits_running()]
    one = plan(desk.ahead(), 1)
    assert one.root.node.in_hand and sorted((left, title) for title, left in one.timers) == sorted(running)
    assert desk.clock() == now and isinstance(desk.chase.now(), Wait)
    assert running and "Running already: " in shown(one)


def test_its_clock_goes_on_from_the_case_s_own(kit: Kit) -> None:
    desk = Desk(kit, NO_LIGHT)
    desk.clock.pass_minutes(45)
    ahead = desk.ahead()
    node = ahead.node()
    there = node.ways[0].lead().point
    assert there is not None and not node.doing[:-1], "a check with nothing to be crossed"
    assert there.time == desk.clock() + timedelta(minutes=node.minutes)
    assert Ahead(kit, desk.events, desk.clock() - timedelta(days=1)).start.time == parse_time(desk.events[-1].time)


def test_after_an_interruption_what_has_to_be_looked_at_is_said(kit: Kit) -> None:
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Cross))
    desk.do()
    left = list(desk.chase.state.open)
    Chase.resume(kit, desk.log, "case", desk.clock)
    ahead = desk.ahead()
    assert [key for key, _, _ in ahead.walked] == left and left
    said = " ".join(shown(plan(ahead, 1), 200).split())
    assert "First a look at the aircraft" in said
    assert "First a look at the aircraft" not in shown(plan(Desk(kit, NO_LIGHT).ahead(), 1), 200)


def test_after_a_hand_over_the_same_people_are_taken_to_be_there_and_it_says_so(kit: Kit) -> None:
    desk = Desk(kit, NO_LIGHT)
    desk.chase.pass_on({"by": "the technician", "to": "the late shift", "loose": "none", "list-by": "me", "out": 0})
    assert isinstance(desk.chase.now(), Here)
    one = plan(desk.ahead(), 1)
    assert one.same_people and "same people" in shown(one)


def test_the_case_is_left_alone(kit: Kit) -> None:
    desk = Desk(kit, STUCK)
    desk.until(lambda step: isinstance(step, Ask))
    events, state = desk.events, desk.chase.state
    opened, minutes, now = dict(state.open), state.book_minutes, desk.clock()
    plan(desk.ahead(), 2)
    assert desk.events == events and desk.clock() == now
    assert (dict(state.open), state.book_minutes, len(state.events)) == (opened, minutes, len(events))


def test_a_move_that_turns_out_to_be_held_is_gone_round_and_said(kit: Kit) -> None:
    known = kit.fitted.knowledge
    first = Desk(kit, NO_LIGHT).chase.ranked().moves[0].name
    rule = {
        "kind": "gate",
        "says": "Not while the test says so.",
        "when": [{"fact": "about-to", "where": {"move": first}}],
        "then": {"block": first},
        "source": ["our-judgement"],
    }
    block = Rule.model_validate(rule)
    other = Kit(fit(known.model_copy(update={"rules": {**known.rules, "test-gate": block}}), "halden-hf-3"))
    desk = Desk(other, NO_LIGHT)
    offer = desk.chase.now()
    assert isinstance(offer, Offer) and offer.key == first
    one = plan(desk.ahead(), 1)
    assert [why for _, why in one.root.node.past] == ["Not while the test says so."]
    assert one.root.node.key != first
    assert "Not while the test says so." in " ".join(shown(one, 200).split())


# -- what is refused ---------------------------------------------------------------------------------


@pytest.mark.parametrize("depth", [-1, 0, DEEPEST + 1])
def test_a_depth_that_no_plan_has_is_refused(kit: Kit, depth: int) -> None:
    with pytest.raises(Refused, match=rf"from 1 to {DEEPEST} moves deep, not {depth}"):
        plan(Desk(kit, NO_LIGHT).ahead(), depth)


def ended(kit: Kit) -> Desk:
    desk = Desk(kit, NO_LIGHT)
    end = next(move for move in desk.chase.ranked().moves if move.kind == "end")
    desk.chase.accept(end.kind, end.name)
    desk.until(lambda step: isinstance(step, Done))
    return desk


def test_an_ended_case_has_nothing_ahead(kit: Kit) -> None:
    desk = ended(kit)
    assert of_case(lambda engine: kit, desk.events, desk.clock(), 2) is None
    with pytest.raises(Refused, match="has ended"):
        desk.ahead()


# -- on the screen and as JSON -----------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 80, 200])
def test_it_keeps_to_the_width(three: Plan, width: int) -> None:
    said = shown(three, width)
    assert max(map(len, said.splitlines())) <= width
    for step in steps(three.root):
        # Narrow columns break words, but lose none of their letters.
        drawn = "".join(c for c in said if c not in "│├└─ \n")
        assert step.node.title.split()[0] in drawn


def test_the_json_has_each_answer_by_itself(three: Plan) -> None:
    data = json.loads(json.dumps(as_dict(three)))
    assert data["depth"] == 3 and data["moves"] == three.moves and data["covered"] == round(three.covered, 6)

    def follow(step: dict[str, object], plan_step: PlanStep) -> int:
        branches = step["branches"]
        assert isinstance(branches, list) and step["move"] == plan_step.node.key
        assert len(branches) == len(plan_step.legs)
        count = 1
        for branch, leg in zip(branches, plan_step.legs, strict=True):
            assert branch.get("outcome", "") == leg.said[0].outcome and branch["says"] == leg.said[0].says
            assert branch["probability"] == round(leg.probability, 6)
            assert ("next" in branch) == (leg.step is not None)
            if leg.step is not None:
                count += follow(branch["next"], leg.step)
        return count

    assert follow(data["next"], three.root) == three.moves


@pytest.fixture
def files(tmp_path: Path, kit: Kit) -> tuple[Path, Path]:
    """A case file that is open and one that has ended."""
    found = []
    for name, desk in (("open", Desk(kit, NO_LIGHT)), ("ended", ended(kit))):
        path = tmp_path / f"{name}.jsonl"
        path.write_bytes(b"".join(to_line(event) + b"\n" for event in desk.events))
        found.append(path)
    return found[0], found[1]


@pytest.mark.parametrize("colourless", [False, True])
def test_the_command_prints_it_without_escapes_into_a_pipe(
    files: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    colourless: bool,
    three: Plan,
) -> None:
    for name in ("FORCE_COLOR", "NO_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    if colourless:
        monkeypatch.setenv("NO_COLOR", "1")
    before = files[0].read_bytes()
    assert main(["next", str(files[0]), "--depth", "2"]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out and three.root.node.title in out and "2 moves deep" in out
    assert max(map(len, out.splitlines())) <= 80
    assert main(["next", str(files[0]), "--depth", "2", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["plan"]["depth"] == 2 and data["plan"]["next"]["move"] == data["moves"][0]["move"]
    assert files[0].read_bytes() == before


def test_the_command_says_what_it_cannot_do(files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["next", str(files[0]), "--depth", "9"]) == 1
    assert "from 1 to 6 moves deep, not 9" in capsys.readouterr().err
    assert main(["next", str(files[1]), "--depth", "2"]) == 0
    assert "has ended" in capsys.readouterr().out
    assert main(["next", str(files[1]), "--depth", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["plan"] is None

"""Whoever writes scenarios is told what is wrong with one, and drafts one from a real case that names nobody."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from isolate.case.chase import Chase, Kit
from isolate.case.events import Event
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.case.written import Answers, read_for
from isolate.drill import author, measure, pilot
from isolate.drill.aircraft import Simulated
from isolate.drill.author import Reached, check, new
from isolate.drill.debrief import debrief
from isolate.drill.drive import Drive
from isolate.drill.measure import Measured, Row
from isolate.drill.scenario import Scenario, names
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import UnknownName, fit
from isolate.kb.load import load, shipped_scenarios

Kits = Callable[[str], Kit]
BEGUN = "2030-05-01T08:00:00.000Z"


@pytest.fixture(scope="module")
def kits(kit: Kit) -> Kits:
    def of(engine: str) -> Kit:
        if engine != "halden-hf-3":
            raise UnknownName(f"no engine is called {engine!r}")
        return kit

    return of


@pytest.fixture(scope="module")
def table() -> Measured:
    rows: dict[tuple[str, ...], Row] = {("igniter-worn/A",): Row(400.0, 1.0, 0.5)}
    return Measured(
        measure.digest(load().knowledge), 1, 5, {"halden-hf-3": 200.0},
        {("halden-hf-3", "intermittent-no-ignite", "gate"): rows},
    )  # fmt: skip


def written(text: str, path: Path) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


SOUND = """\
title: Every other start
story: It fails at every other start.
learning:
  - Something that is only said.
  - {say: A worn plug still snaps., by: [plug-tip-look/A, insert-look/B]}
  - {say: Leads are listened to., by: [lead-insulation/B]}
source: [line-practice]
case:
  aircraft: 104
  position: 2
  engine: halden-hf-3
  complaint: intermittent-no-ignite
  starts: [{channel: A, lit: false}, {channel: B, lit: true}, {channel: A, lit: false}, {channel: B, lit: true}]
  people:
    - {name: the technician, may: [licensed, motoring, engine-run]}
    - {name: the second pair of eyes, may: [licensed]}
    - {name: the headset}
truth: [igniter-worn/A]
answers:
  light-time-told: later
"""


# -- checking --------------------------------------------------------------------------------------


def test_a_sound_scenario_has_nothing_to_mend(kits: Kits, table: Measured, tmp_path: Path) -> None:
    report = check(written(SOUND, tmp_path / "sound.yaml"), kits, table)
    assert report.ok and report.right and report.safe and report.end == "verified, fault found"
    assert [(p.how, p.by) for p in report.points] == [
        ("only said", ()),
        ("met", ("plug-tip-look/A",)),
        ("can be met", ("lead-insulation/B",)),
    ]
    assert report.level["name"] == "hard" and report.level["ratio"] == 2.0
    assert report.level["here"] == pytest.approx(report.equivalent / 200, abs=1e-3)
    # Work is 1 a minute, a plug some parts, and nothing was handed over or missed.
    assert report.minutes < report.equivalent < report.minutes + 100
    text = "\n".join(report.lines())
    assert "right for the truth" in text and "Nothing to mend." in text and "How hard: hard" in text


def test_what_does_not_read_is_told_with_its_line(kits: Kits, tmp_path: Path) -> None:
    path = written(SOUND.replace("truth: [igniter-worn/A]", "truth: [igniter-wron/A]"), tmp_path / "bad.yaml")
    report = check(path, kits)
    assert [p.line for p in report.errors] == [18] and "igniter-worn/A" in report.errors[0].message and not report.end
    for text in ("title: [", "", "- 1", SOUND.replace("halden-hf-3", "halden-hf-9"), "\x00"):
        report = check(written(text, tmp_path / "bad.yaml"), kits)
        assert report.errors and "bad.yaml" in str(report.errors[0]) and report.lines()
    assert check(tmp_path / "none.yaml", kits).errors
    assert check(tmp_path, kits).errors


def test_what_contradicts_the_truth_is_told_with_its_line(kits: Kits, tmp_path: Path) -> None:
    text = SOUND.replace("later\n", "later\n  lead-continuity/B: [open, continuous]\n  plug-tip-look/B: broken\n")
    text = text.replace("{channel: A, lit: false}, {channel: B, lit: true}", "{channel: A, lit: true}, "
                        "{channel: B, lit: false}")  # fmt: skip
    text = text.replace("[lead-insulation/B]", "[start-alone/A, start-alone/B]").replace(", engine-run]", "]")
    report = check(written(text, tmp_path / "bad.yaml"), kits)
    told = {p.line: p.message for p in report.errors}
    answers = [line for line, message in told.items() if "with this truth" in message]
    assert [text.splitlines()[line - 1].split(":")[0].strip() for line in sorted(answers)] == [
        "lead-continuity/B",
        "plug-tip-look/B",
    ]
    assert "'open'" in told[21] and "igniter-worn/A" in told[21]
    assert any("nothing of this can be met" in m and "start-alone/A" in m for m in told.values())
    assert told.get(6, "").startswith("nothing of this can be met")
    assert [p.line for p in report.warnings if "starts" in p.message] == [13]


def test_an_answer_may_be_that_of_a_fault_that_sleeps(kits: Kits, kit: Kit, tmp_path: Path) -> None:
    """A chafed lead snaps as a good one does while it sleeps, so neither answer contradicts it."""
    for outcome in ("snaps", "silent"):
        text = SOUND.replace("igniter-worn/A", "lead-chafed/A")
        text = text.replace("light-time-told: later", f"spark-test/A: {outcome}")
        scenario = read_for(written(text, tmp_path / "one.yaml"), Scenario, kits)[0]
        assert list(author.contradictions(kit.model, scenario)) == []
    wrong, rare = ("spark-test/A: other-channel", author.contradictions), ("plug-tip-look/A: broken", author.doubts)
    for outcome, says in (wrong, rare):
        path = written(SOUND.replace("light-time-told: later", outcome), tmp_path / "one.yaml")
        scenario = read_for(path, Scenario, kits)[0]
        assert [at for at, _ in says(kit.model, scenario)] == [("answers", outcome.split(":")[0])]


def test_luck_at_the_seed_is_told_of(kits: Kits, tmp_path: Path) -> None:
    """A dead exciter that sparks at its first test misleads everybody; what comes and goes may well spark."""
    text = SOUND.replace("  light-time-told: later\n", "").replace("answers:", "answers: {}")
    told: dict[tuple[str, int], list[str]] = {}
    for truth in ("exciter-dead/B", "lead-chafed/B"):
        for seed in range(1, 25):
            written(text.replace("igniter-worn/A", truth) + f"seed: {seed}\n", tmp_path / "one.yaml")
            scenario, kit = read_for(tmp_path / "one.yaml", Scenario, kits)
            drive = Drive.begin(kit, Memory(), "drill", "one", scenario, "Ann", BEGUN)
            found = list(author.luck(drive, ()))
            assert {at for at, _ in found} <= {("seed",)}
            told[truth, seed] = [message for _, message in found]
            assert not any("/A" in message.split()[0] for message in told[truth, seed])
            # By another road: what the aircraft shows whoever begins with this test.
            fresh = Simulated(kit.model, scenario.truth, seed)
            if truth == "exciter-dead/B" and fresh.outcome("spark-test/B", "check") == "snaps":
                assert any(m.startswith("spark-test/B shows 'snaps' by luck") for m in told[truth, seed])
    lucky = [seed for (truth, seed), messages in told.items() if truth == "exciter-dead/B" and messages]
    assert 0 < len(lucky) < 12
    assert not any(messages for (truth, _), messages in told.items() if truth == "lead-chafed/B")
    path = written(text.replace("igniter-worn/A", "exciter-dead/B") + f"seed: {lucky[0]}\n", tmp_path / "one.yaml")
    line = len(path.read_text("utf-8").splitlines())
    assert [p.line for p in check(path, kits).warnings if "by luck" in p.message] == [line] * len(
        told["exciter-dead/B", lucky[0]]
    )


def test_luck_on_the_reference_s_own_way_is_told_of(kits: Kits, tmp_path: Path) -> None:
    """What came of a check later than the occasions that are tried, and before a repair."""
    text = SOUND.replace("igniter-worn/A", "exciter-dead/B").replace("  light-time-told: later\n", "")
    scenario, kit = read_for(written(text.replace("answers:", "answers: {}"), tmp_path / "one.yaml"), Scenario, kits)
    quiet = next(
        drive
        for seed in range(1, 20)
        for drive in [Drive.begin(kit, Memory(), "d", "one", scenario, "Ann", BEGUN, seed)]
        if not list(author.luck(drive, ()))
    )

    def event(kind: str, body: dict[str, Any]) -> Event:
        return Event("d", 2, kind, BEGUN, body, "", "")

    body = {"check": "spark-test/B", "outcome": "snaps", "condition": "steady", "strength": 1.0, "occasion": 7}
    shown, mended = event("answered", body), event("repaired", {"repair": "replace-exciter/B"})
    assert ["occasion 8" in message for _, message in author.luck(quiet, [shown])] == [True]
    assert not list(author.luck(quiet, [mended, shown]))
    assert not list(author.luck(quiet, [event("answered", {**body, "outcome": "silent"})]))
    assert not list(author.luck(quiet, [event("answered", {**body, "check": "spark-test/A"})]))


def test_what_the_complaint_tells_is_what_is_answered(kits: Kits, tmp_path: Path) -> None:
    """The complaint tells of a message, however rare it is with this truth; scripted otherwise it is an error."""
    text = SOUND.replace("intermittent-no-ignite", "channel-message\n  channel: B").replace(
        "  light-time-told: later\n", "")  # fmt: skip
    bare = written(text.replace("answers:", "answers: {}"), tmp_path / "one.yaml")
    scenario, kit = read_for(bare, Scenario, kits)
    for seed in range(5):
        drive = Drive.begin(kit, Memory(), "d", "one", scenario, "Ann", "2030-01-01T06:00:00.000Z", seed)
        assert drive.aircraft.outcome("channel-message/B", "check") == "named"
    report = check(written(text + "  channel-message/B: named\n", tmp_path / "one.yaml"), kits)
    assert not any("channel-message/B" in p.message for p in report.warnings) and report.ok
    path = written(text + "  channel-message/B: not-named\n", tmp_path / "one.yaml")
    errors = [p for p in check(path, kits).errors if "the complaint says 'named'" in p.message]
    assert [p.line for p in errors] == [len(path.read_text("utf-8").splitlines())]


def test_a_scripted_answer_is_that_of_the_sign_told(kits: Kits, kit: Kit, tmp_path: Path) -> None:
    sign = "  signs: [{sign: late-of-late}, {sign: radio-pops, channel: A}]\n  people:"
    for answer, wrong in (("later", 0), ("usual", 1), ("[usual, later]", 1), ("null", 1)):
        text = SOUND.replace("  people:", sign, 1).replace("told: later", f"told: {answer}")
        scenario = read_for(written(text, tmp_path / "one.yaml"), Scenario, kits)[0]
        found = list(author.contradictions(kit.model, scenario))
        assert [at for at, _ in found] == [("answers", "light-time-told")] * wrong
        assert all("the sign late-of-late says 'later'" in message for _, message in found)
    # A worn plug pops in no radio, or hardly.
    assert [at for at, _ in author.doubts(kit.model, scenario)] == [("case", "signs", 1)]


def test_one_that_cannot_be_solved_is_told(kits: Kits, tmp_path: Path) -> None:
    """The plug cannot be renewed here: it is given up, with the fault on the aircraft."""
    text = SOUND + "cannot: {replace-igniter/A: no plug in stock, replace-burnt-igniter/A: no plug in stock}\n"
    report = check(written(text, tmp_path / "bad.yaml"), kits)
    assert not report.right and any(p.line == 18 for p in report.errors)


def test_a_deferral_is_played_and_judged(kits: Kits, tmp_path: Path) -> None:
    """A dead exciter on A; B is proven and A deferred. Deferring B leaves the fault on the channel kept."""
    defer = "defer: {channel: A, reference: an item, kept-off: breaker collared, authorised-by: the technician}\n"
    text = SOUND.replace("[igniter-worn/A]", "[exciter-dead/A]").replace("  light-time-told: later\n", "")
    text = text.replace("answers:", "answers: {}")
    report = check(written(text + defer, tmp_path / "one.yaml"), kits)
    assert report.right and report.end == "deferred under the operator's own procedure"
    report = check(written(text + defer.replace("channel: A", "channel: B"), tmp_path / "one.yaml"), kits)
    assert not report.right and report.errors


def test_an_end_is_right_only_for_what_is_left(kit: Kit, kits: Kits, tmp_path: Path) -> None:
    def ended(truth: str, end: str) -> str:
        text = SOUND.replace("[igniter-worn/A]", truth).replace("  light-time-told: later\n", "").replace(
            "answers:", "answers: {}"
        )
        scenario = read_for(written(text, tmp_path / "one.yaml"), Scenario, kits)[0]
        drive = Drive.begin(kit, Memory(), "drill", "one", scenario, "Ann", BEGUN)
        came = drive.do(drive.choice("end", end))
        assert came.kind == "ended"
        return author.wrong(drive, came)

    assert ended("[no-fuel]", "hand-over-fuel") == ""
    assert "igniter-worn/A" in ended("[no-fuel, igniter-worn/A]", "hand-over-fuel")
    assert "igniter-worn/A" in ended("[igniter-worn/A]", "hand-over-fuel")
    assert "nothing is left" in ended("[]", "hand-over-fuel")
    assert "nothing is left" in ended("[]", "escalate")
    assert "left on the aircraft" in ended("[igniter-worn/A]", "escalate")


def test_what_was_spent_is_what_the_debrief_counts(kit: Kit, kits: Kits) -> None:
    """Two reckonings of one drill, by two hands."""
    scenario = read_for(shipped_scenarios() / "breaker-out.yaml", Scenario, kits)[0]
    drive = Drive.begin(kit, Memory(), "drill", "breaker-out", scenario, "Ann", BEGUN)
    came = pilot.run(drive)
    counted = debrief(kit, drive.chase.state.events).as_dict()
    assert author.spent(drive, came, bool(author.wrong(drive, came))) == pytest.approx(counted["equivalent"])
    assert author.wrong(drive, came) == "" and counted["judged"] == "right"


def test_an_unsafe_way_is_seen_by_the_watch_itself(kit: Kit, kits: Kits, tmp_path: Path) -> None:
    scenario = read_for(written(SOUND, tmp_path / "one.yaml"), Scenario, kits)[0]
    drive = Drive.begin(kit, Memory(), "drill", "one", scenario, "Ann", BEGUN)
    assert list(author.unsafe_steps(drive)) == []
    drive.chase.write(("access", {"access": "lead-off/A", "state": "open", "minutes": 1}))
    assert any("lead-off/A" in phrase for phrase in author.unsafe_steps(drive))


def test_a_stop_is_no_safe_way(kit: Kit, kits: Kits, tmp_path: Path) -> None:
    scenario = read_for(written(SOUND, tmp_path / "one.yaml"), Scenario, kits)[0]
    drive = Drive.begin(kit, Memory(), "drill", "one", scenario, "Ann", BEGUN)
    assert drive.do(drive.choice("end", "done")).kind == "stopped"
    assert any("Not proven" in phrase for phrase in author.unsafe_steps(drive))


def test_a_report_says_each_point_and_what_is_to_mend() -> None:
    points = (Reached("a", "met", ("x",)), Reached("b", "cannot be met", ("y: no air",)))
    level = {"name": "not measured", "why": "no table"}
    report = author.Report(Path("x.yaml"), end="closed", points=points, level=level)
    text = "\n".join(report.lines())
    assert "met (x): a" in text and "cannot be met (y: no air): b" in text and "not measured; no table." in text


# -- drafting --------------------------------------------------------------------------------------

CASE = """\
case:
  aircraft: PLANTED-1
  position: PLANTED-2
  engine: halden-hf-3
  operator: PLANTED-3
  complaint: intermittent-no-ignite
  condition: wet
  shut_down: 20
  minutes_left: 400
  starts:
    - {channel: A, lit: false, at: 2031-03-04 PLANTED-4, lane: PLANTED-5, oat: 3}
    - {channel: B, lit: true, at: PLANTED-6, seconds: 7, lane: PLANTED-7, condition: steady}
    - {channel: A, lit: false, gap: true}
  signs: [{sign: pops, channel: A}]
  done: [{repair: replace-lead, channel: A}]
  swaps: [{part: exciter, channel: A, serial: PLANTED-8, other-serial: PLANTED-9, where: PLANTED-10}]
  ages: [{part: igniter, channel: A, unit: starts, least: 100, most: 200}]
  earlier:
    - case: PLANTED-11
      days: 30
      end: PLANTED-12
      complaint: slow-light
      channel: A
      starts: [{channel: A, lit: true, at: PLANTED-13}]
      trail: [{check: spark-test/A, outcome: weak}, {repair: replace-igniter/A}]
      findings: {replace-igniter/A: PLANTED-14}
  people:
    - {name: PLANTED-15, may: [licensed, motoring, engine-run]}
    - {name: PLANTED-16, may: [licensed]}
    - {name: PLANTED-17}
answers: {}
"""


class Planted(Aircraft):
    """An aircraft whose people and parts have names that nobody may read in a draft."""

    def fact(self, ask: Any, caution: str) -> Any:
        said = super().fact(ask, caution)
        return f"PLANTED-18 {said}" if isinstance(said, str) and ask.kind != "time" else said

    def part(self, repair: str) -> Mapping[str, Any]:
        fields = ("pn-off", "sn-off", "pn-on", "sn-on")
        return {field: f"PLANTED-19-{field}" for field in fields}


@pytest.fixture(scope="module")
def trail(kit: Kit, kits: Kits, tmp_path_factory: pytest.TempPathFactory) -> tuple[Event, ...]:
    """A case worked to its end, something to be given away wherever people may write."""
    sign = next(name for name, s in kit.fitted.signs.items() if s.asks_channel)
    path = written(CASE.replace("sign: pops", f"sign: {sign}"), tmp_path_factory.mktemp("case") / "case.yaml")
    told = read_for(path, Answers, kits)[0]
    clock, log = Clock(), Memory()
    aircraft = Planted(kit.model, ["igniter-worn/A"], None, "wet", None, ["PLANTED-15", "PLANTED-16"])
    chase = Chase.begin(kit, log, "PLANTED-20", told.case.intake(), clock)
    chase.note("PLANTED-21 said that the plug is worn")
    play(chase, aircraft, clock)
    assert chase.state.ended and "PLANTED-19" in str([e.body for e in chase.state.events])
    return tuple(chase.state.events)


def read_back(text: str, kits: Kits, tmp_path: Path) -> Scenario:
    return read_for(written(text, tmp_path / "draft.yaml"), Scenario, kits)[0]


def test_a_draft_gives_nobody_away_and_reads(trail: tuple[Event, ...], kit: Kit, kits: Kits, tmp_path: Path) -> None:
    text = new(trail, "a-wet-morning", kit)
    assert "planted" not in text.lower() and "2031" not in text and "Skerry" not in text
    scenario = read_back(text, kits, tmp_path)
    case = scenario.case
    assert (case.aircraft, case.position, case.engine) == ("000", "1", "halden-hf-3")
    assert "which position" in text, "what had a name in it is asked for"
    assert [p.name for p in case.people] == ["the technician", "the second pair of eyes", "the headset"]
    assert case.people[0].may == ["licensed", "motoring", "engine-run"]
    assert [(s.channel, s.lit, s.at, s.lane, s.condition) for s in case.starts] == [
        ("A", False, "", "1", "wet"),
        ("B", True, "", "2", "steady"),
        ("A", False, "", "", "wet"),
    ]
    assert case.starts[1].seconds == 7 and case.starts[2].gap and case.starts[0].oat == 3
    assert (case.condition, case.shut_down, case.minutes_left) == ("wet", 20, 400)
    assert [(d.repair, d.channel) for d in case.done] == [("replace-lead", "A")] and case.ages and case.signs
    assert case.earlier[0].case == "earlier-1" and not case.earlier[0].findings and len(case.earlier[0].trail) == 2
    found = next(e.body["found"] for e in trail if e.kind == "closed")
    assert set(scenario.truth) <= {f["mode"] for f in found} and scenario.truth
    assert "Fleet number 000" in scenario.story and scenario.points


def test_answers_are_those_that_speak_of_the_aircraft_as_it_was_found(kit: Kit) -> None:
    """Several in turn, could-not-tell among them; none taken back; none after a repair of what the check looks at."""
    events = list(_little(kit))
    drafted = yaml.safe_load(new(events, "one", kit))
    assert drafted["answers"] == {
        "spark-test/A": ["weak", None, "silent"],
        "plug-tip-look/A": "worn",
        "crew-ask": drafted["answers"]["crew-ask"],
    }
    assert drafted["truth"] == ["igniter-worn/A"]


def _little(kit: Kit, end: str = "verified, fault found", found: Any = None, **opening: Any) -> Iterator[Event]:
    told = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "weak-snap", "channel": "A"}
    crew = kit.fitted.check("crew-ask").outcomes[0]
    bodies: list[tuple[str, dict[str, Any]]] = [
        ("opened", {"intake": told, "knowledge": "x", **told, **opening}),
        *(("answered", {"check": "spark-test/A", "outcome": o, "condition": "steady", "minutes": 5, "spoils": [],
                        "within": "check"}) for o in ("weak", None, "silent")),
        ("answered", {"check": "plug-tip-look/A", "outcome": "worn", "condition": "steady", "minutes": 5, "spoils": [],
                      "within": "check"}),
        ("answered", {"check": "breakers-look/A", "outcome": kit.fitted.check("breakers-look/A").outcomes[0],
                      "condition": "steady", "minutes": 5, "spoils": [], "within": "check"}),
        ("corrected", {"seq": 6}),
        ("repaired", {"repair": "replace-igniter/A", "minutes": 5, "parts": 1, "spoils": [], "part": {"sn-on": "S"}}),
        ("answered", {"check": "spark-test/A", "outcome": "snaps", "condition": "steady", "minutes": 5, "spoils": [],
                      "within": "check"}),
        ("answered", {"check": "crew-ask", "outcome": crew, "condition": "steady", "minutes": 5, "spoils": [],
                      "within": "check"}),
        ("closed", {"end": end, "record": "r", "remaining": 0.01,
                    "found": [{"mode": "igniter-worn/A", "repair": "replace-igniter/A", "probability": 0.9},
                              {"mode": "healthy/B", "repair": "replace-lead/B", "probability": 0.9}]
                    if found is None else found}),
    ]  # fmt: skip
    for seq, (kind, body) in enumerate(bodies, 1):
        yield Event("c", seq, kind, f"2030-01-01T06:{seq:02}:00.000Z", body, "", "")


def test_a_truth_that_is_not_sure_is_asked_for(kit: Kit) -> None:
    doubtful = [{"mode": "igniter-worn/A", "repair": "replace-igniter/A", "probability": 0.55}]
    text = new(list(_little(kit, found=doubtful)), "one", kit)
    assert "# To be asked: was it igniter-worn/A? The case was 55% sure of it\n" in text
    shop = Event("c", 12, "shop-finding", "2030-02-01T06:00:00.000Z",
                 {"repair": "replace-igniter/A", "finding": "not-confirmed"}, "", "")  # fmt: skip
    assert "the shop did not confirm it" in new([*_little(kit), shop], "one", kit)
    both = [{"mode": m, "repair": "r", "probability": p} for m, p in (("igniter-worn/A", 0.9), ("lead-open/A", 0.95))]
    text = new(list(_little(kit, found=both)), "one", kit)
    assert yaml.safe_load(text)["truth"] == ["lead-open/A"] and "two faults of one zone" in text


def test_a_case_with_nothing_wrong_is_one_where_that_was_verified(kit: Kit) -> None:
    assert yaml.safe_load(new(list(_little(kit, "verified, no fault found", [])), "one", kit))["truth"] == []
    with pytest.raises(Refused, match="found nothing"):
        new(list(_little(kit, "handed over, not solved here", [])), "one", kit)
    with pytest.raises(Refused, match="not in this knowledge"):
        new(list(_little(kit, found=[{"mode": "plug-eaten/A", "repair": "r", "probability": 1.0}])), "one", kit)


def test_what_is_no_finished_case_is_refused(kit: Kit) -> None:
    events = list(_little(kit))
    for wrong, why in (
        (events[:-1], "not ended"),
        ([], "no beginning"),
        (events[1:], "no beginning"),
        (list(_little(kit, drill={"name": "x"})), "a drill"),
    ):
        with pytest.raises(Refused, match=why):
            new(wrong, "one", kit)
    for name in ("", "Two Words", "../up", "a/b"):
        with pytest.raises(Refused, match="no name"):
            new(events, name, kit)


def test_no_text_of_any_kind_gets_through(trail: tuple[Event, ...], kit: Kit, kits: Kits, tmp_path: Path) -> None:
    """Fuzz: text planted at random anywhere in the bodies is refused or left out, and what is drafted reads."""
    drafted = 0
    for seed in range(60):
        rng = random.Random(seed)
        share = rng.choice((0.002, 0.01, 0.03, 0.2))
        events = [replace(e, case="XQZV", body=_planted(e.body, rng, share)) for e in trail]
        try:
            text = new(events, "one", kit)
        except Refused:
            continue
        drafted += 1
        assert "xqzv" not in text.lower(), seed
        read_back(text, kits, tmp_path)
    assert drafted > 10


def _planted(value: Any, rng: random.Random, share: float) -> Any:
    if isinstance(value, dict):
        return {k: _planted(v, rng, share) for k, v in value.items()}
    if isinstance(value, list):
        return [_planted(v, rng, share) for v in value]
    return f"XQZV {value}"[: rng.randint(4, 40)] if isinstance(value, str) and rng.random() < share else value


def test_the_shipped_scenarios_are_what_is_drafted_like(kit: Kit) -> None:
    """A draft has the fields of a shipped one, so that an author sees the same file."""
    shipped = yaml.safe_load((shipped_scenarios() / "gate-intermittent.yaml").read_text(encoding="utf-8"))
    assert set(shipped) - {"approved"} <= set(yaml.safe_load(new(list(_little(kit)), "one", kit)))


@pytest.fixture(scope="module")
def shipped(kit: Kit) -> dict[str, tuple[Scenario, Kit]]:
    made = {"halden-hf-3": kit}

    def of(engine: str) -> Kit:
        return made.setdefault(engine, Kit(fit(load().knowledge, engine)))

    return {name: read_for(shipped_scenarios() / f"{name}.yaml", Scenario, of) for name in names(shipped_scenarios())}


@pytest.mark.parametrize("name", names(shipped_scenarios()))
def test_the_shipped_aircraft_answers_what_its_story_tells(
    name: str, shipped: Mapping[str, tuple[Scenario, Kit]]
) -> None:
    """What is told by complaint, signs and work done is answered so; nothing at its seed misleads by mere luck."""
    scenario, kit = shipped[name]
    drive = Drive.begin(kit, Memory(), "drill", name, scenario, "Ann", BEGUN)
    assert list(author.contradictions(kit.model, scenario)) == []
    assert list(author.luck(drive, ())) == []
    fitted, case = kit.fitted, scenario.case

    def answer(check: str) -> str | None:
        return drive.aircraft.outcome(check, "check")

    for work in case.done:
        assert answer("history-read") != "nothing"
        if work.repair == "replace-igniter":
            assert answer(f"seat-work-ask/{work.channel}") == "disturbed"
            assert answer(f"plug-age-read/{work.channel}") == "young"
    if case.earlier:
        assert answer("history-read") == "came-back"
    if case.starts and case.condition in ("hot", "cold", "wet") and len({s.lit for s in case.starts}) == 2:
        # Told of starts that lit and starts that did not, and when: unless somebody says that it is only once so far.
        assert answer("when-ask") in (fitted.check("when-ask").entry.shows.get(case.condition), "no-pattern")


TOLD: dict[str, dict[str, str | None]] = {
    "after-the-bump": {"when-ask": "rough", "history-read": "came-back", "neither-heard-ask": "one-heard"},
    "battery-start": {"heard-at-start/2": "not-heard", "heard-at-start/1": "heard", "ground-power-read": "holds"},
    "borrowed-hands": {"seat-work-ask/B": "disturbed", "same-hands-ask": "together", "plug-breakout-feel/A": "low"},
    "both-plugs-changed": {"when-ask": "hot", "neither-heard-ask": "neither", "plug-age-read/2": "young"},
    "dark-in-the-rain": {"channel-message/A": "named", "channel-message/B": "not-named", "when-ask": "wet",
                         "messages-read": "control", "wash-or-weather-ask": "wet", "neither-heard-ask": "neither"},
    "forty-minutes": {"spark-test/B": "silent", "light-time-told": "usual", "light-time-compare/A": "alike"},
    "frosty-mornings": {"when-ask": "cold", "history-read": "came-back", "light-time-told": "later"},
    "gate-intermittent": {"history-read": "came-back", "light-time-told": "later"},
    "hidden-first-fault": {"crew-ask": "by-the-book", "crank-speed-read": "as-ever", "heard-at-start/A": None},
    "hot-turn": {"when-ask": "hot", "history-read": "came-back"},
    "late-on-one": {"when-ask": "cold", "light-time-compare/1": "longer", "light-time-compare/2": "alike"},
    "no-pattern": {"when-ask": "no-pattern", "wash-or-weather-ask": "dry", "history-read": "came-back"},
    "outstation-start": {"crew-ask": "step-missed"},
    "overdue-plug": {"plug-age-read/A": "due", "heard-at-start/A": "not-heard", "heard-at-start/B": None},
    "plug-binds": {"plug-run-down/B": "binds", "light-time-told": "usual", "plug-age-read/B": "young"},
    "selected-by-hand": {"heard-at-start/1": "not-heard", "heard-at-start/2": "heard", "light-time-told": "usual"},
    "since-the-exciter": {"when-ask": "rough", "history-read": "worked-on"},
    "stored-message": {"channel-message/A": "named", "light-time-told": "usual"},
    "third-plug": {"plug-age-read/B": "young", "seat-work-ask/B": "disturbed", "finding-told/B": "plug-worn"},
    "two-dark-two-bright": {"starts-by-lane": "by-lane", "history-read": "came-back"},
    "witness-mark": {"light-time-told": "later", "finding-told/1": "insert-moved", "insert-look/1": "turned"},
    "worse-since-repair": {"same-hands-ask": "together", "seat-work-ask/A": "disturbed", "when-ask": "hot"},
}  # fmt: skip
"""What the stories say in so many words: scenario → check → answer."""


@pytest.mark.parametrize("name", sorted(TOLD))
def test_the_shipped_aircraft_answers_what_was_read_in_its_story(
    name: str, shipped: Mapping[str, tuple[Scenario, Kit]]
) -> None:
    scenario, kit = shipped[name]
    for seed in (scenario.seed, 1, 2, 3):
        # Whatever the seed: an instructor may hand out another.
        aircraft = Drive.begin(kit, Memory(), "drill", name, scenario, "Ann", BEGUN, seed).aircraft
        assert {check: aircraft.outcome(check, "check") for check in TOLD[name]} == TOLD[name]

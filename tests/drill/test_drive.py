"""Driving a drill: every move is the trainee's, what cannot be is refused, what is unsafe stops it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from isolate.case.chain import verify
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.store import Store, open_store
from isolate.case.written import read
from isolate.drill import pilot
from isolate.drill.debrief import came_up
from isolate.drill.drive import Came, Drive, suspects, suspicion
from isolate.drill.scenario import Scenario
from isolate.kb.load import shipped_scenarios

BEGUN = "2030-05-01T08:00:00.000Z"
WAY_IN = (
    *(("open", k) for k in ("notices", "wind-checked", "movables-safe", "breakers-pulled", "cowls-open")),
    *(("open", k) for k in ("tools-listed", "reverser-deactivated", "reverser-open", "cool-enough", "input-off/A")),
)
"""A safe order, from outside to where the lead is next."""


@pytest.fixture(scope="module")
def scenario(kit: Kit) -> Scenario:
    return read(shipped_scenarios() / "gate-intermittent.yaml", Scenario, kit.fitted)


Begin = Callable[[], Drive]


@pytest.fixture
def begin(kit: Kit, scenario: Scenario, tmp_path: Path) -> Begin:
    store = open_store(tmp_path / "drills.db")

    def made() -> Drive:
        count = len(store.cases())
        return Drive.begin(kit, store, f"drill-{count}", "gate-intermittent", scenario, "Ann", BEGUN)

    return made


def go(drive: Drive, *moves: tuple[str, str]) -> Came:
    came: Came | None = None
    for kind, key in moves:
        came = drive.do(drive.choice(kind, key))
        assert came.kind in ("done", "answered"), (key, came)
    assert came is not None
    return came


def test_the_tools_own_way_is_safe_and_ends_with_the_truth(begin: Begin) -> None:
    drive = begin()
    came = pilot.run(drive)
    kinds = [e.kind for e in drive.chase.state.events]
    assert came.kind == "ended" and "stopped" not in kinds and "refused" not in kinds
    assert drive.aircraft.faults() == () and [f.mode for f in drive.chase.verdict()] == ["igniter-worn/A"]
    assert "offered" not in kinds, "nothing is proposed"
    assert not verify([*drive.chase.state.events], head=drive.chase.state.events[-1].hash)


@pytest.mark.parametrize(
    ("before", "move", "rule"),
    [
        ((), ("open", "breakers-pulled"), "breakers-need-notices"),
        (WAY_IN[:1], ("open", "reverser-open"), "halves-need-reverser-deactivated"),
        (WAY_IN[:2], ("open", "cowls-open"), "cowls-need-movables"),
        (WAY_IN[:9], ("open", "lead-off/A"), "lead-needs-input-off"),
        (WAY_IN, ("open", "lead-off/A"), "ignition-energy"),
        (WAY_IN, ("open", "air-on"), "air-needs-hands-out"),
        (WAY_IN, ("close", "breakers-pulled"), "breakers-back-after-leads"),
        (WAY_IN, ("end", "done"), "left-open"),
        ((), ("check", "spark-test/A"), "spark-needs-drained"),
        ((), ("check", "start-alone/A"), "start-needs-heads-counted"),
        ((), ("end", "done"), "unproven"),
    ],
)  # fmt: skip
def test_what_is_unsafe_stops_the_drill_and_is_not_done(
    begin: Begin, before: tuple[tuple[str, str], ...], move: tuple[str, str], rule: str
) -> None:
    drive = begin()
    for one in before:
        go(drive, one)
    minutes, opened, answers = drive.minutes, set(drive.chase.state.open), len(drive.chase.state.evidence)
    came = drive.do(drive.choice(*move))
    assert came.kind == "stopped" and rule in {d.rule for d in came.dangers}
    assert all(d.harm for d in came.dangers), "what it would have done is said"
    assert drive.minutes == minutes and len(drive.chase.state.evidence) == answers
    assert opened >= set(drive.chase.state.open), "nothing was opened"
    with pytest.raises(Refused, match="stopped"):
        drive.do(drive.choice("wait", "wait"), minutes=5)
    drive.again()
    assert drive.do(drive.choice("wait", "wait"), minutes=5).kind == "done"


def test_the_discharge_wait_is_the_drills_approved_data_and_has_to_be_waited_for(begin: Begin) -> None:
    drive = begin()
    go(drive, *WAY_IN)
    assert drive.approved()["ignition-energy"] == 5.0
    assert drive.do(drive.choice("open", "lead-off/A")).kind == "stopped"
    drive.again()
    drive.do(drive.choice("wait", "wait"), minutes=4)
    assert drive.do(drive.choice("open", "lead-off/A")).kind == "stopped", "a minute too early is too early"
    drive.again()
    drive.do(drive.choice("wait", "wait"), minutes=1)
    go(drive, ("open", "lead-off/A"))


def test_what_cannot_be_is_refused_and_costs_nothing(begin: Begin) -> None:
    drive = begin()
    go(drive, *WAY_IN[:4])
    for move, why in (
        (("open", "notices"), "already"),
        (("close", "cowls-open"), "not open"),
        (("check", "lead-terminal-look/A"), "First:"),
        (("inspect", "inspection"), "Nothing was touched"),
        (("wait", "wait"), "how many minutes"),
    ):
        minutes = drive.minutes
        came = drive.do(drive.choice(*move))
        assert came.kind in ("refused", "stopped") and drive.minutes == minutes, move
        if came.kind == "refused":
            assert why in came.said
        else:
            drive.again()


def test_it_is_taken_up_on_another_day_where_it_was_left(begin: Begin, kit: Kit) -> None:
    """The same drill, left after each of its moves and taken up again, shows what it shows played in one go."""
    whole = begin()
    moves = [*WAY_IN, ("check", "exciter-mount-look/A"), ("check", "crew-ask"), ("check", "plug-age-read/A")]
    for one in moves:
        whole.do(whole.choice(*one))
    broken = begin()
    for one in moves:
        broken = Drive.resume(kit, broken.chase.log, broken.chase.id)
        broken.do(broken.choice(*one))
    assert not broken.chase.state.unknown, "in a drill nobody else was at the aircraft"
    assert broken.minutes == whole.minutes
    assert broken.chase.state.answers == whole.chase.state.answers
    assert broken.aircraft.truth == whole.aircraft.truth


def test_only_a_drill_is_taken_up(kit: Kit, scenario: Scenario, tmp_path: Path) -> None:
    from isolate.case.chase import Chase
    from isolate.case.play import Clock

    store: Store = open_store(tmp_path / "cases.db")
    Chase.begin(kit, store, "104-2-x", scenario.case.intake(), Clock())
    with pytest.raises(Refused, match="not a drill"):
        Drive.resume(kit, store, "104-2-x")


def test_hints_cost_and_the_second_names_the_move(begin: Begin) -> None:
    drive = begin()
    best = drive.chase.titled(drive.chase.ranked().moves[0].name)
    first, second = drive.hint(), drive.hint()
    assert best not in " ".join(first) and best in " ".join(second)
    costs = [e.body["minutes"] for e in drive.chase.state.events if e.kind == "hinted"]
    assert costs == sorted(costs) and costs[0] > 0 and len(costs) == 2
    go(drive, ("check", "breakers-look/A"))
    assert drive.chase.titled(drive.chase.ranked().moves[0].name) not in " ".join(drive.hint()), "it begins anew"


def test_the_prime_suspect_is_asked_for_now_and_then(begin: Begin) -> None:
    drive = begin()
    assert not drive.asks_suspect()
    go(drive, ("check", "crew-ask"), ("check", "breakers-look/A"), ("check", "plug-age-read/A"))
    assert drive.asks_suspect()
    drive.suspect("igniter/A", 0.6)
    assert not drive.asks_suspect()
    for suspect, sure in (("carburettor", 0.5), ("igniter/A", 1.5)):
        with pytest.raises(Refused):
            drive.suspect(suspect, sure)
    supported = suspicion(drive.fitted, drive.chase.belief)
    assert set(supported) == set(suspects(drive.fitted)) and 0.0 < supported["igniter/A"] < 1.0


def test_cautions_are_there_before_a_step_and_never_with_an_unsafe_one(begin: Begin) -> None:
    drive = begin()
    assert drive.cautions(drive.choice("open", "lead-off/A")) == (), "it would give the order away"
    go(drive, *WAY_IN)
    shown = {c.name for c in drive.cautions(drive.choice("open", "lead-off/A"))}
    assert {"ignition-energy", "ground-structure-first"} <= shown


def test_what_is_covered_or_unfinished_cannot_be_inspected(begin: Begin) -> None:
    drive = begin()
    inspect = drive.choice("inspect", "inspection")
    go(drive, *WAY_IN, ("open", "input-off/B"))
    drive.do(drive.choice("wait", "wait"), minutes=30)
    go(drive, ("open", "lead-off/A"), ("open", "plug-out/A"))
    assert "not finished" in drive.do(inspect).said
    go(drive, ("repair", "replace-igniter/A"), ("close", "plug-out/A"), ("close", "lead-off/A"))
    assert drive.do(inspect).kind == "done"
    go(drive, ("close", "reverser-open"), ("close", "input-off/A"), ("close", "input-off/B"))
    assert "covered" in drive.do(inspect).said, "the cowls are open, and it lies behind the halves"


def test_nothing_is_put_back_under_a_live_supply(begin: Begin) -> None:
    """[practice] every supply is off while hands are in, closing up as well; a measurement had pushed it in again."""
    drive = begin()
    go(drive, *WAY_IN)
    drive.do(drive.choice("wait", "wait"), minutes=30)
    go(drive, ("open", "lead-off/A"))
    drive.chase.write(("access", {"access": "breakers-pulled", "state": "shut", "minutes": 0, "of_itself": True}))
    came = drive.do(drive.choice("close", "lead-off/A"))
    assert came.kind == "stopped" and came.dangers[0].rule == "hands-in-needs-breakers"
    drive.again()
    go(drive, ("open", "breakers-pulled"), ("close", "lead-off/A"))


def test_fuel_that_a_start_left_is_purged_before_the_next(begin: Begin, scenario: Scenario) -> None:
    assert scenario.case.starts[-1].lit
    drive = begin()
    assert not drive.fuel_left(), "the newest start lit"
    start = {"check": "start-alone/A", "condition": "steady", "minutes": 0, "spoils": []}
    drive.chase.write(("answered", {**start, "outcome": "no-light"}))
    assert drive.fuel_left()
    for key in ("dry-motored", "drained"):
        drive.chase.write(("access", {"access": key, "state": "open", "minutes": 0}))
        assert drive.fuel_left() == (key == "dry-motored"), "motored dry and then drained"
    drive.chase.write(("answered", {**start, "outcome": "late"}))
    assert not drive.fuel_left(), "it lit"


def test_the_rest_of_the_starter_runs_from_the_last_crank(begin: Begin) -> None:
    drive = begin()
    go(drive, *(("open", k) for k in ("fire-cover", "fuelling-stopped", "hazard-zones", "air-on", "heads-counted")))
    assert drive.waits(drive.choice("open", "dry-motored")) == 0, "it was not cranked yet"
    go(drive, ("open", "dry-motored"))
    assert drive.approved()["crank-limits"] == 2.0
    drive.let_go("dry-motored")
    came = drive.do(drive.choice("open", "dry-motored"))
    assert came.kind == "stopped" and came.dangers[0].rule == "crank-limits", "cranked again at once"
    drive.again()
    drive.do(drive.choice("wait", "wait"), minutes=2)
    assert drive.do(drive.choice("open", "dry-motored")).kind == "done", "rested as long as the data asks"


def test_a_deferral_is_refused_before_anything_is_put_back_for_it(begin: Begin) -> None:
    drive = begin()
    go(drive, *WAY_IN[:3])
    came = drive.do(drive.choice("end", "deferred"), told={"channel": "A"})
    assert came.kind == "refused" and "proven" in came.said


def test_an_end_that_is_not_taken_ends_nothing(begin: Begin) -> None:
    drive = begin()
    go(drive, *(("open", k) for k in ("fire-cover", "fuelling-stopped", "hazard-zones", "air-on", "heads-counted")))
    before = dict(drive.chase.state.open)
    assert drive.do(drive.choice("end", "done")).kind in ("stopped", "refused")
    assert drive.chase.state.open == before


def test_the_same_hint_is_not_sold_twice(begin: Begin) -> None:
    drive = begin()
    best = drive.chase.ranked().moves[0].name
    drive.hint()
    drive.do(drive.choice("wait", "wait"), minutes=1)
    assert drive.chase.ranked().moves[0].name == best
    assert drive.chase.titled(best) in " ".join(drive.hint())


def test_what_was_told_is_what_is_answered(kit: Kit, tmp_path: Path) -> None:
    """Whoever asks again what the opening told hears the same, whatever the dice say."""
    scenario = read(shipped_scenarios() / "frosty-mornings.yaml", Scenario, kit.fitted)
    told = {**scenario.model_dump(by_alias=True, exclude_unset=True)}
    sign = next(s for s in kit.fitted.signs.values() if "when-ask" in s.answers and not s.asks_channel)
    name = next(n for n, s in kit.fitted.signs.items() if s is sign)
    told["case"]["signs"] = [{"sign": name}]
    told["answers"] = {}
    store = open_store(tmp_path / "drills.db")
    for seed in range(5):
        drive = Drive.begin(kit, store, f"d{seed}", "x", Scenario.model_validate(told), "Ann", BEGUN, seed)
        assert drive.aircraft.outcome("when-ask", "check") == sign.answers["when-ask"]


def test_a_seed_below_nought_is_refused_before_a_drill_is_begun(kit: Kit, scenario: Scenario, tmp_path: Path) -> None:
    store = open_store(tmp_path / "drills.db")
    with pytest.raises(Refused, match="whole number"):
        Drive.begin(kit, store, "d", "x", scenario, "Ann", BEGUN, -5)
    assert store.cases() == []


def test_what_the_opening_says_is_met_by_a_right_end_alone(begin: Begin) -> None:
    drive = begin()
    go(drive, ("check", "crew-ask"))
    events, rule = drive.chase.state.events, "alternate-starts-fail"
    assert any(key.startswith(rule) for key in drive.chase.state.fired)
    assert rule in came_up(drive.fitted, events, True) and rule not in came_up(drive.fitted, events, False)
    assert "crew-ask" in came_up(drive.fitted, events, False)

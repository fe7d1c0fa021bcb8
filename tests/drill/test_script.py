"""A drill as a file: understood as a whole before anything is played, stopped where it is unsafe."""

from __future__ import annotations

from pathlib import Path

import pytest

from isolate.case.chase import Kit
from isolate.case.memory import Memory
from isolate.case.written import read
from isolate.drill import pilot
from isolate.drill.drive import Came, Choice, Drive
from isolate.drill.scenario import Scenario
from isolate.drill.script import Line, Written, how_left, play, read_script, resolve, scenario_of
from isolate.kb.fit import UnknownName
from isolate.kb.load import shipped_scenarios
from isolate.kb.read import KnowledgeError

NAME = "gate-intermittent"
BEGUN = "2030-05-01T08:00:00.000Z"


@pytest.fixture(scope="module")
def scenario(kit: Kit) -> Scenario:
    return read(shipped_scenarios() / f"{NAME}.yaml", Scenario, kit.fitted)


@pytest.fixture
def drive(kit: Kit, scenario: Scenario) -> Drive:
    return Drive.begin(kit, Memory(), "drill-1", NAME, scenario, "Ann", BEGUN)


def script(tmp_path: Path, moves: str, head: str = f"drill: {NAME}\n") -> Path:
    path = tmp_path / "one.yaml"
    lines = "".join(f"  - {line}\n" for line in moves.strip().splitlines())
    path.write_text(f"{head}moves:\n{lines}", encoding="utf-8")
    return path


def kinds(drive: Drive) -> list[str]:
    return [e.kind for e in drive.chase.state.events]


def test_a_script_is_read_with_its_lines(tmp_path: Path) -> None:
    path = script(
        tmp_path,
        """
hang the notices
{do: replace plug A, part: {pn-off: 4711, sn-off: "0042", pn-on: P-2}}

{do: spark test A, times: 3}
        """,
        f"drill: {NAME}\nseed: 7\ntrainee: Ann Example\n",
    )
    path.write_text(path.read_text(encoding="utf-8").replace("  - \n", "\n"), encoding="utf-8")
    assert read_script(path) == Written(
        NAME,
        (
            Line(5, "hang the notices"),
            Line(6, "replace plug A", {"pn-off": "4711", "sn-off": "0042", "pn-on": "P-2"}),
            Line(8, "spark test A", {}, 3),
        ),
        7,
        "Ann Example",
        1,
    )


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("drill: x\nmoves: []\n", 2, "at least 1"),
        ("moves: [done]\n", 1, "`drill` is missing"),
        ("drill: x\nmoves:\n  - done\n  - {do: done, time: 2}\n", 4, "unknown field"),
        ("drill: x\nmoves:\n  - note: it is hot\n", 3, "unknown field"),
        ("drill: x\nmoves:\n  - {do: done, times: 0}\n", 3, "out of range"),
        ("drill: x\nmoves:\n  - {do: done, part: {pn: 3}}\n", 3, "unknown field"),
        ("drill: x\nmoves:\n  - [done]\n", 3, "needs"),
        ("drill: x\nmoves: done\n", 2, "needs a list"),
        ("drill: x\nmoves:\n  - ''\n", 3, "is empty"),
        ("drill: x\nmoves:\n\t- done\n", 3, "tab"),
        ("", 1, "is empty"),
    ],
)
def test_a_bad_shape_is_told_with_its_line(tmp_path: Path, text: str, line: int, says: str) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KnowledgeError) as told:
        read_script(path)
    assert any(p.line == line and says in p.message for p in told.value.problems), told.value
    with pytest.raises(KnowledgeError, match="no such file"):
        read_script(tmp_path / "none.yaml")


def test_all_lines_are_understood_before_any_is_played(tmp_path: Path, drive: Drive, kit: Kit) -> None:
    path = script(
        tmp_path,
        """
hang the notices
put the lead back on B
test the flux unit
suspect lead A
wait
look
{do: spark test A, part: {pn-on: X}}
{do: done, times: 2}
defer it
leave
done
        """,
    )
    written = read_script(path)
    before = kinds(drive)
    with pytest.raises(KnowledgeError) as told:
        play(drive, written, path)
    said = {p.line: p.message for p in told.value.problems}
    assert sorted(said) == [4, 5, 6, 7, 8, 9, 10, 11, 13] and kinds(drive) == before
    assert "`Put lead B back on at the plug`, `Put lead B back on at the exciter`" in said[4]
    assert "'flux' is no word" in said[5]
    assert "how sure" in said[6] and "how many minutes" in said[7] and "leave it out" in said[8]
    assert "takes no part" in said[9] and "once only" in said[10] and "which channel" in said[11]
    assert "after the `leave` of line 12" in said[13]
    with pytest.raises(KnowledgeError, match=f"{path}:5"):
        scenario_of(written, path, shipped_scenarios(), lambda name: kit)


def test_the_scenario_is_found_by_name_or_beside_the_script(tmp_path: Path, kit: Kit) -> None:
    def kits(engine: str) -> Kit:
        if engine != "halden-hf-3":
            raise UnknownName(engine)
        return kit

    path = script(tmp_path, "hang the notices")
    name, scenario, found = scenario_of(read_script(path), path, shipped_scenarios(), kits)
    assert (name, scenario.case.engine, found) == (NAME, "halden-hf-3", kit)
    (tmp_path / "own.yaml").write_bytes((shipped_scenarios() / f"{NAME}.yaml").read_bytes())
    path = script(tmp_path, "hang the notices", "drill: own.yaml\n")
    assert scenario_of(read_script(path), path, shipped_scenarios(), kits)[:2] == ("own", scenario)
    for bad in ("gate-intermitent", "other.yaml"):
        path = script(tmp_path, "hang the notices", f"# a remark\ndrill: {bad}\n")
        with pytest.raises(KnowledgeError) as told:
            scenario_of(read_script(path), path, shipped_scenarios(), kits)
        assert told.value.problems[0].line == 2


def test_a_script_plays_its_lines_and_leaves_the_drill(tmp_path: Path, drive: Drive) -> None:
    path = script(
        tmp_path,
        """
ask the crew
{do: ask whether it lit later, times: 1}
I think it is plug A, 60%
"note: the log shows every other start"
close the cowls
hang the notices
check the wind
make the flaps safe
pull the breakers
open the cowls
hint
leave
        """,
    )
    path.write_text(path.read_text(encoding="utf-8").replace("ask whether it lit later", "light-time-told"), "utf-8")
    told: list[tuple[str, Came | None]] = []
    played = play(drive, read_script(path), path, lambda said, came: told.append((said, came)))
    assert [p.state for p in played] == ["played"] * 4 + ["refused"] + ["played"] * 7
    assert [p.line for p in played] == list(range(3, 15)) and len(told) == len(played)
    assert how_left(drive) == "left" and set(drive.chase.state.open) >= {"breakers-pulled", "cowls-open"}
    found = kinds(drive)
    assert found.count("suspected") == found.count("hinted") == found.count("refused") == 1
    suspected = next(e for e in drive.chase.state.events if e.kind == "suspected")
    assert (suspected.body["suspect"], suspected.body["sure"]) == ("igniter/A", 0.6)
    assert any(e.kind == "noted" and "every other start" in str(e.body) for e in drive.chase.state.events)
    assert told[10][0].startswith("hint: ") and told[0][1] is not None and told[0][1].kind == "answered"


UNSAFE = """
again
{do: done, times: 1}
again
ask the crew
hang the notices
done
ask the crew
{do: spark test A, times: 2}
"""


def test_a_stop_ends_the_script_unless_it_is_taken_up_again(tmp_path: Path, drive: Drive) -> None:
    path = script(tmp_path, UNSAFE)
    told: list[str] = []
    played = play(drive, read_script(path), path, lambda said, came: told.append(said))
    assert [p.state for p in played] == [
        *("refused", "stopped", "played", "played", "played", "stopped"),
        *("not played", "not played", "not played"),
    ]
    assert how_left(drive) == "stopped" and kinds(drive).count("stopped") == 2
    assert kinds(drive).count("taken-again") == 1
    assert all("not taken up again" in p.said for p in played[-3:])
    assert told[0] == "again: nothing was stopped" and "line 9 not played" in told[6]
    assert played[1].came is not None and played[1].came.dangers


def test_nothing_is_played_after_the_end(tmp_path: Path, drive: Drive) -> None:
    path = script(tmp_path, "escalate\nask the crew\nnote later")
    played = play(drive, read_script(path), path)
    assert how_left(drive) == "ended" and [p.state for p in played] == ["played", "not played", "not played"]
    assert played[1].said == "the drill had ended"


def test_what_is_done_over_stops_with_the_stop(tmp_path: Path, drive: Drive) -> None:
    path = script(tmp_path, "{do: lead A off at the plug, times: 2}\nagain\n{do: refit plug A, times: 2}")
    played = play(drive, read_script(path), path)
    assert [p.state for p in played] == ["stopped", "not played", "played", "refused", "refused"]
    assert how_left(drive) == "left"


def test_a_part_is_kept_and_a_bad_one_is_told_with_its_line(tmp_path: Path, drive: Drive) -> None:
    repair = drive.fitted.repair("replace-igniter/A")
    pilot.way(drive, repair.needs, repair.shut)
    path = script(tmp_path, f"{{do: replace plug A, part: {{pn-on: {'x' * 99}}}}}")
    with pytest.raises(KnowledgeError, match=f"{path}:3: 'replace plug A'.*60 letters"):
        play(drive, read_script(path), path)
    path = script(tmp_path, "{do: replace plug A, part: {pn-off: 4711, sn-off: '0042', pn-on: P-2}}")
    assert [p.state for p in play(drive, read_script(path), path)] == ["played"]
    done = next(e for e in drive.chase.state.events if e.kind == "repaired")
    assert {k: v for k, v in done.body["part"].items() if v} == {"pn-off": "4711", "sn-off": "0042", "pn-on": "P-2"}


def test_what_stands_open_at_a_line_follows_from_the_lines_before(tmp_path: Path, drive: Drive) -> None:
    path = script(tmp_path, "lead B off at the exciter\nput the lead back on B\ncowls\nopen the fan cowls\ncowls")
    written = read_script(path)
    with pytest.raises(KnowledgeError) as told:
        resolve(written, path, drive.choices, drive.fitted, drive.chase.state.open)
    said = {p.line: p.message for p in told.value.problems}
    # The lead is off at one end only: no doubt which. What is shut can only be opened, and the other way round.
    assert sorted(said) == [5, 7]
    assert "Write `Open the fan cowls`." in said[5] and "Write `Close the fan cowls`." in said[7]


def test_a_deferral_keeps_its_reference(tmp_path: Path, drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[object] = []
    do = drive.do

    def kept(choice: Choice, minutes: float, more: dict[str, str] | None) -> Came:
        told.append(more)
        return do(choice, minutes, more)

    monkeypatch.setattr(drive, "do", kept)
    path = script(tmp_path, "'defer B, MEL 74-1'\ndefer channel A")
    play(drive, read_script(path), path)
    assert told == [{"channel": "B", "reference": "MEL 74-1"}, {"channel": "A"}]

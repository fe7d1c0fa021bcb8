"""The drills that travel with the program: each solves, by the tool's own advice, to its truth."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from isolate.case.chase import MOST_FAILS, Kit
from isolate.case.written import read
from isolate.cli import main
from isolate.drill.scenario import Scenario, find, names, solve
from isolate.kb.fit import UnknownName, fit
from isolate.kb.load import load, shipped_scenarios
from isolate.kb.read import KnowledgeError

FOLDER = shipped_scenarios()
SHIPPED = names(FOLDER)

HOPELESS = """\
title: Nobody who may do anything
story: One person without a licence, alone, with everything missing.
learning: [it cannot be solved here]
source: [line-practice]
case:
  aircraft: 230
  position: 1
  engine: halden-hf-3
  complaint: no-light-off
  people: [{name: the headset}]
truth: [lead-open/A]
"""


def test_there_are_drills_on_every_engine() -> None:
    engines = {read(FOLDER / f"{name}.yaml", Scenario).case.engine for name in SHIPPED}
    assert len(SHIPPED) >= 16 and engines == set(load().knowledge.engines)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_drill_solves_to_its_truth(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    scenario = read(FOLDER / f"{name}.yaml", Scenario)
    status = main(["drill", name, "--solve"])
    out = capsys.readouterr().out
    assert status == 0, out
    assert "The verdict is the truth." in out
    assert f"Truth:   {', '.join(scenario.truth) or 'no fault'}" in out
    fitted = fit(load().knowledge, scenario.case.engine)
    other = [mode for mode in scenario.truth if fitted.zones[fitted.mode_zone[mode]].entry.kind == "other"]
    ends = "not ignition, handed over to" if other else "verified, fault found" if scenario.truth else "no fault found"
    assert ends in next(line for line in out.splitlines() if line.startswith("End: "))
    blamed = {line.partition(" (")[0] for line in out.splitlines() if line.startswith("Verdict: ")}
    blamed = {line for line in blamed if "nothing wrong" not in line}
    assert len(blamed) == len(scenario.truth), "nothing is blamed that was sound"


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_drill_names_what_exists(name: str) -> None:
    knowledge = load().knowledge
    fitted = fit(knowledge, read(FOLDER / f"{name}.yaml", Scenario).case.engine)
    scenario = read(FOLDER / f"{name}.yaml", Scenario, fitted)
    assert set(scenario.truth) <= set(fitted.mode_zone)
    assert set(scenario.source) <= set(knowledge.sources)
    assert scenario.story.strip() and scenario.learning


def test_a_drill_that_is_not_solved_says_so_with_its_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "hopeless.yaml"
    path.write_text(HOPELESS)
    assert main(["drill", str(path), "--solve"]) == 1
    out = capsys.readouterr().out
    assert "THE VERDICT IS NOT THE TRUTH." in out and "The verdict is the truth." not in out
    assert "End: handed over" in out and "Truth:   lead-open/A" in out


def test_a_truth_that_nothing_shows_is_not_found(tmp_path: Path, kit: Kit) -> None:
    # The answers are those of another fault than the truth: the wrong part is blamed and the drill is not solved.
    written = yaml.safe_load((FOLDER / "plug-binds.yaml").read_text())
    written["truth"] = ["insert-turned/A"]
    path = tmp_path / "wrong.yaml"
    path.write_text(yaml.safe_dump(written))
    solved = solve(path, lambda engine: kit)
    assert not solved.right
    assert solved.truth == ("insert-turned/A",) != solved.named


def test_drills_are_found_by_name_or_file(tmp_path: Path) -> None:
    assert find(SHIPPED[0], FOLDER) == FOLDER / f"{SHIPPED[0]}.yaml"
    assert find("elsewhere/mine.yaml", FOLDER) == Path("elsewhere/mine.yaml")
    with pytest.raises(UnknownName, match="plug-binds"):
        find("plug-bnids", FOLDER)
    (tmp_path / "b.yaml").write_text("")
    (tmp_path / "a.yaml").write_text("")
    (tmp_path / "notes.txt").write_text("")
    assert names(tmp_path) == ("a", "b")


def test_a_drill_with_names_that_do_not_exist_is_not_played(tmp_path: Path, kit: Kit) -> None:
    path = tmp_path / "x.yaml"
    for wrong, right in (("lead-open/A", "lead-opne/A"), ("no-light-off", "no-ligth-off"), ("name:", "nmae:")):
        path.write_text(HOPELESS.replace(wrong, right))
        with pytest.raises(KnowledgeError) as error:
            solve(path, lambda engine: kit)
        assert str(path) in str(error.value)


def test_starts_are_not_asked_for_without_end(kit: Kit) -> None:
    """Each start is an occasion of its own; they count together all the same, else weak air would be tried for days."""
    made = {"halden-hf-3": kit}
    made_for = lambda name: made.setdefault(name, Kit(fit(load().knowledge, name)))  # noqa: E731
    starts: dict[str, int] = {}

    def tell(chase: object, step: object, said: str) -> None:
        key = getattr(step, "key", "")
        if type(step).__name__ == "Ask" and key.startswith("start-alone"):
            starts[key] = starts.get(key, 0) + 1

    solved = solve(FOLDER / "overdue-plug.yaml", made_for, tell, seed=6)
    repeats = made["halden-hf-5"].fitted.check("start-alone/A").repeats
    # A verification may ask for one besides, and may fail so often.
    assert repeats is not None and starts and max(starts.values()) <= repeats.most + MOST_FAILS
    assert solved.right

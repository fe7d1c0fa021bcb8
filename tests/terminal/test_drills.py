"""The drill commands: from files, marked, debriefed, side by side, checked; each slip gets a sentence."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from isolate.case.case import Intake
from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.events import to_line
from isolate.case.inherit import with_earlier
from isolate.case.play import Clock
from isolate.case.store import open_store
from isolate.cli import main
from isolate.kb.fit import fit
from isolate.kb.load import load, shipped
from isolate.review.repeats import repeats

ANN = """\
drill: stored-message
trainee: Ann
moves:
  - ask the crew
  - suspect igniter A 70
  - spark test A
  - again
  - hand over to somebody with other means
"""
BEN = """\
drill: stored-message
trainee: =Ben
moves: [ask the crew, take the lead off the plug on A]
"""


class Ran:
    """One command: its exit status and what it printed."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *argv: str) -> None:
        self.status = main(["drill", *argv])
        self.out, self.err = capsys.readouterr()


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with two files of moves, and a store of drills in it."""
    monkeypatch.setenv("ISOLATE_DRILLS", str(tmp_path / "drills.db"))
    monkeypatch.delenv("ISOLATE_TRAINEE", raising=False)
    (tmp_path / "ann.yaml").write_text(ANN, encoding="utf-8")
    (tmp_path / "ben.yaml").write_text(BEN, encoding="utf-8")
    (tmp_path / "bad.yaml").write_text("drill: stored-message\nmoves: [ask the crew, fluff the wuzzle]\n", "utf-8")
    return tmp_path


def test_a_file_of_moves_is_played_kept_and_debriefed(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    played = Ran(capsys, "--script", str(here / "ann.yaml"))
    assert played.status == 1, "given up, and stopped on the way"
    for said in ("STOPPED", "spark", "GIVEN UP", "Your suspicions", "For the record", "To be learnt"):
        assert said.casefold() in played.out.casefold(), said
    with open_store(here / "drills.db") as store:
        (drill,) = [case.id for case in store.cases()]
        events = store.events(drill)
    assert not verify([*events], head=events[-1].hash)
    assert [e.kind for e in events][-1] == "debriefed"
    for name, flag in (("page.html", "--html"), ("page.txt", "--text")):
        assert Ran(capsys, "debrief", flag, str(here / name)).status == 0
        assert "Ann" in (here / name).read_text(encoding="utf-8")
        again = Ran(capsys, "debrief", drill, flag, str(here / name))
        assert again.status == 1 and "--overwrite" in again.err
    told = json.loads(Ran(capsys, "debrief", drill, "--json").out)
    assert told == json.loads(json.dumps(events[-1].body)), "what is told is what is kept"
    with open_store(here / "drills.db") as store:
        assert len(store.events(drill)) == len(events), "the same debriefing is kept once"


def test_many_are_marked_and_a_bad_one_does_not_stop_the_rest(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = [str(here / name) for name in ("ann.yaml", "bad.yaml", "ben.yaml", "none.yaml")]
    marked = Ran(capsys, "mark", *files, "--csv", str(here / "marks.csv"))
    assert marked.status == 1
    assert "bad.yaml:2: 'fluff the wuzzle'" in marked.err and "none.yaml" in marked.err
    with (here / "marks.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["trainee"] for row in rows] == ["Ann", "'=Ben"], "no cell is a formula"
    assert [row["safety_stops"] for row in rows] == ["1", "1"]
    grouped = Ran(capsys, "class", "--csv", str(here / "class.csv"))
    assert grouped.status == 0 and "Ann" in grouped.out and "Class median" in grouped.out
    mine = Ran(capsys, "progress", "ann")
    assert mine.status == 0 and "Safety stops 1" in mine.out and "isolate drill --random" in mine.out
    with open_store(here / "drills.db") as store:
        drill = next(c.id for c in store.cases() if store.events(c.id)[0].body["drill"]["trainee"] == "Ann")
    assert Ran(capsys, "export", drill, str(here / "a.jsonl")).status == 0
    taken = Ran(capsys, "class", str(here / "a.jsonl"), str(here / "drills.db"), str(here / "ann.yaml"))
    assert taken.status == 1 and "ann.yaml" in taken.err, "what is no drill is said"
    assert [line.split()[1] for line in taken.out.splitlines() if line.startswith("Ann ")] == ["1"], "counts once"


def test_scenarios_are_listed_and_checked(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = Ran(capsys)
    assert listed.status == 0 and len(listed.out.splitlines()) >= 16
    levels = [line.split()[2] for line in listed.out.splitlines()]
    assert levels == sorted(levels, key=["easy", "middle", "hard", "not"].index) and {"easy", "hard"} <= set(levels)
    checked = Ran(capsys, "check", "stored-message", "no-such")
    assert checked.status == 1 and "no scenario is called 'no-such'" in checked.err
    assert "right for the truth" in checked.out and "Nothing to mend" in checked.out


def test_drills_and_cases_of_real_aircraft_are_kept_apart(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases, drills = str(here / "cases.db"), str(here / "drills.db")
    Ran(capsys, "--script", str(here / "ben.yaml"))
    with open_store(drills) as store:
        (drill,) = [case.id for case in store.cases()]
        store.export_case(drill, here / "drill.jsonl")
    for argv, said in (
        (["cases", "import", str(here / "drill.jsonl"), "--store", cases], "is a drill"),
        (["cases", "show", drill, "--store", drills], "is a drill"),
        (["next", str(here / "drill.jsonl")], "is a drill"),
    ):
        assert main(argv) == 1 and said in capsys.readouterr().err, argv
    with open_store(cases) as store:
        assert store.cases() == []
        intake = Intake.from_dict(open_store(drills).events(drill)[0].body["intake"])
        Chase.begin(Kit(fit(load().knowledge, intake.engine)), store, "230-2-real", intake, Clock())
    refused = Ran(capsys, "--script", str(here / "ben.yaml"), "--drills", cases)
    assert refused.status == 1 and "cases of real aircraft" in refused.err
    # In one store after all, as files are copied about: nothing of a drill is carried into a case or counted.
    with open_store(drills) as store:
        told, _ = with_earlier(store, intake, datetime.now(UTC))
        assert told.earlier == () and repeats(store).found == ()


def test_the_truth_is_not_told_before_the_end_unasked(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Ran(capsys, "--script", str(here / "ann.yaml"))
    with open_store(here / "drills.db") as store:
        (whole,) = [case.id for case in store.cases()]
        half = [e for e in store.events(whole) if e.kind not in ("closed", "debriefed", "handed-over")]
    (here / "half.jsonl").write_bytes(b"".join(to_line(e) + b"\n" for e in half))
    with open_store(here / "half.db") as store:
        store.import_case(here / "half.jsonl")
    asked = Ran(capsys, "debrief", "--drills", str(here / "half.db"))
    assert asked.status == 1 and "has not ended" in asked.err and "It was" not in asked.out
    assert "It was" in Ran(capsys, "debrief", "--drills", str(here / "half.db"), "--unfinished").out


def test_a_debrief_by_other_knowledge_is_shown_and_not_kept(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Ran(capsys, "--script", str(here / "ann.yaml"))
    with open_store(here / "drills.db") as store:
        (drill,) = [case.id for case in store.cases()]
        before = store.events(drill)
    mine = here / "knowledge"
    shutil.copytree(shipped(), mine)
    engine = mine / "engines" / "halden-hf-5.yaml"
    engine.write_text(engine.read_text("utf-8").replace("escalate: 1", "escalate: 2"), "utf-8")
    asked = Ran(capsys, "debrief", "--knowledge", str(mine))
    assert asked.status == 0 and "not kept" in asked.err
    with open_store(here / "drills.db") as store:
        assert store.events(drill) == before


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["stored-message"], "played at a terminal"),
        (["--random"], "played at a terminal"),
        (["--resume"], "played at a terminal"),
        (["no-such"], "no scenario is called"),
        (["stored-message", "--random"], "say one of them"),
        (["stored-message", "--level", "hard"], "--random"),
        (["--solve"], "name one"),
        (["debrief"], "there are no drills"),
        (["debrief", "no-such"], "there are no drills"),
        (["progress", "nobody"], "there are no drills"),
        (["export", "no-such"], "there are no drills"),
        (["new", "no-such"], "no case no-such"),
        (["--script", "no-such.yaml"], "no-such.yaml"),
        (["--scenarios", "no-such"], "no such folder"),
    ],
)
def test_a_slip_gets_a_sentence(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, argv: list[str], said: str
) -> None:
    monkeypatch.setenv("ISOLATE_STORE", str(here / "cases.db"))
    ran = Ran(capsys, *argv)
    assert ran.status == 1 and said in ran.err and "Traceback" not in ran.err
    assert len(ran.err.splitlines()) <= 2

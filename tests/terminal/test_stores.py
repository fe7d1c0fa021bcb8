"""The store commands and the list of cases, as somebody at the desk sees them."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from isolate.case.chain import seal
from isolate.case.events import ZERO, Event, to_line
from isolate.case.store import open_store
from isolate.cli import main
from tests.worked import TRAILS, kept, kept_folder

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "cases.db"))
    monkeypatch.setenv("COLUMNS", "80")

    def ran(*arguments: object) -> tuple[int, str, str]:
        code = main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return ran


def told(*words: str, case: str = "104-2-0131-7f3a", **more: object) -> Sequence[Event]:
    opening = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "one-channel-silent", **more}
    events = [seal(case, 1, "opened", "2030-01-31T06:00:00.000Z", opening, ZERO)]
    for word in words:
        when = f"2030-01-31T06:{len(events):02}:00.000Z"
        events.append(seal(case, len(events) + 1, "noted", when, {"text": word}, events[-1].hash))
    return events


def put(path: Path, events: Sequence[Event]) -> Path:
    path.write_bytes(b"".join(to_line(e) + b"\n" for e in events))
    return path


def test_laptops_come_home_in_any_order_and_a_fork_is_shown(run: Run, tmp_path: Path) -> None:
    one, other = put(tmp_path / "a.jsonl", told("x", "y")), put(tmp_path / "b.jsonl", told("x", "z", "z"))
    code, out, _ = run("store", "merge", one, other)
    assert code == 0 and "A fork: the case was told two ways, and they part at event 3." in " ".join(out.split())
    assert run("store", "merge", other, one, one)[1].splitlines()[-1] == (
        "3 cases read: 0 events added, 3 with nothing new, 0 forks."
    )
    code, out, _ = run("cases")
    assert code == 0 and "2 ends" in out and "isolate store forks" in out
    code, out, _ = run("store", "forks")
    names = re.findall(r"104-2-0131-7f3a@[0-9a-f]{8}", out)
    assert code == 0 and len(set(names)) == 2 and out.count("parts at event 3") == 2 and out.count("the main one") == 1
    assert "isolate store forks" in run("store")[1]
    for name in names:
        target = tmp_path / f"{name[-8:]}.jsonl"
        assert run("cases", "export", name, target)[0] == 0
        assert target.read_bytes() in (one.read_bytes(), other.read_bytes())
    code, out, _ = run("cases", "import", put(tmp_path / "c.jsonl", told("other", aircraft="117")))
    assert code == 0 and "Two different cases, of 104 and 117, have one id." in " ".join(out.split())


def test_what_cannot_come_home_is_said_and_the_rest_comes(run: Run, tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    put(tmp_path / "home" / "good.jsonl", told("x"))
    put(tmp_path / "home" / "drill.jsonl", told(case="d", drill={}))
    (tmp_path / "home" / "torn.jsonl").write_bytes(put(tmp_path / "whole", told("x", "y")).read_bytes()[:-9])
    code, out, err = run("store", "merge", tmp_path / "home")
    assert code == 1 and "2 events added" in out and "2 things not taken in" in out
    assert "torn.jsonl:3: the last line is cut short" in err and "drill.jsonl: a drill" in err
    code, _, err = run("cases", "import", tmp_path / "home" / "drill.jsonl")
    assert code == 1 and "is a drill" in err


def test_cases_are_searched_and_the_newest_come_first(run: Run, tmp_path: Path) -> None:
    with open_store(tmp_path / "cases.db") as store:
        store.merge([TRAILS])
        store.take([told("K207 seen", case=f"230-1-0401-{n:04x}", aircraft="230") for n in range(45)])
    code, out, _ = run("cases")
    assert code == 0 and len(out.splitlines()) == 43 and "12 more; --all lists them" in out
    assert len(run("cases", "--all")[1].splitlines()) == 54
    assert len(run("cases", "k207", "SEEN", "--all")[1].splitlines()) == 47
    assert "104-2-0110-a001" in run("cases", "--part", "k-207")[1]
    assert run("cases", "nonesuch") == (0, "No case is like that.\n", "")
    code, _, err = run("cases", "--since", "yesterday")
    assert code == 1 and "'yesterday' is no day such as 2030-01-31" in err
    assert run("cases", "--limit", "0")[0] == 1
    newest = run("cases", "--aircraft", "104", "--limit", "1")[1].splitlines()[1]
    assert newest.startswith("104-2-0125-a006 ")


def test_text_of_a_trail_does_not_move_the_screen(run: Run, tmp_path: Path) -> None:
    run("store", "merge", put(tmp_path / "a.jsonl", told("x", complaint="\x1b[2J\u202eno\nlight")))
    out = run("cases")[1]
    assert "\x1b" not in out and "\u202e" not in out and "no light" in out


def test_moving_house_and_making_the_lists_again(run: Run, tmp_path: Path) -> None:
    assert run("store", "merge", TRAILS)[0] == 0
    code, out, _ = run("store", "copy", tmp_path / "other.db")
    assert code == 0 and "1 157 events added" in out
    with open_store(tmp_path / "cases.db") as one, open_store(tmp_path / "other.db") as other:
        assert one.totals() == other.totals() and [one.heads(c.id) for c in one.cases()] == [
            other.heads(c.id) for c in other.cases()
        ]
    assert run("store", "copy", tmp_path / "cases.db")[2].startswith("isolate: a store is not copied to itself")
    assert "of 7 trails" in run("store", "rebuild")[1]


def test_the_knowledge_is_listed_and_one_is_kept(run: Run, tmp_path: Path) -> None:
    assert "No version of the knowledge" in run("store", "knowledge")[1]
    from isolate.kb.load import load, shipped

    older, digest = kept().knowledge.digest[:12], load().knowledge.digest
    out = " ".join(run("store", "merge", TRAILS)[1].split())
    assert f"Not kept here is the knowledge {older}, which some cases were worked with; they cannot be replayed" in out
    out = " ".join(run("store", "knowledge")[1].split())
    assert f"{older}: 7 cases, 2030-01-10 to 2030-03-12; not kept here A trail whose version is not kept" in out
    code, out, _ = run("store", "knowledge", "--keep", kept_folder())
    assert code == 0 and f"{older} is kept" in out and "shipped" not in out
    assert f"{older}: 7 cases, 2030-01-10 to 2030-03-12; kept, 1" in " ".join(out.split())
    assert "Not kept here is the knowledge" not in run("store", "merge", TRAILS)[1]
    # A case worked with the shipped one brings that along.
    own = put(tmp_path / "b.jsonl", told(case="own", knowledge=digest))
    assert "Not kept here is the knowledge" not in run("store", "merge", own)[1]
    code, out, _ = run("store", "knowledge", "--keep", shipped())
    assert code == 0 and f"{digest[:12]} is kept" in out
    assert f"{digest[:12]}: 1 case, 2030-01-31 to 2030-01-31; kept, 1" in " ".join(out.split())
    assert "; the one shipped with this program" in " ".join(out.split())
    told_ = run("store", "merge", put(tmp_path / "a.jsonl", told(case="odd", knowledge="ab" * 32)))[1]
    assert "Not kept here is the knowledge abababababab," in " ".join(told_.split())
    code, _, err = run("store", "knowledge", "--keep", tmp_path)
    assert code == 1 and err.startswith("isolate: ")

"""The commands verify, sign and key, as a person types them."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path

import pytest

from isolate.case.events import to_line
from isolate.case.memory import Memory
from isolate.cli import main
from tests.worked import TRAILS, kept_folder, shipped_kit, trail

OPEN = "230-2-0312-a007"
LAST = trail("taken-back")[-1].hash[:16]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with a trail, a store of its own, and no settings of anybody."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "cases.db"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "none"))
    for name in ("CONFIG", "KEY", "PEOPLE", "STATION"):
        monkeypatch.delenv(f"ISOLATE_{name}", raising=False)
    shutil.copy(TRAILS / "taken-back.jsonl", tmp_path / "open.jsonl")
    return tmp_path


def run(*words: str, typed: str = "", monkeypatch: pytest.MonkeyPatch | None = None) -> int:
    if monkeypatch is not None:
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    return main(["review", *words])


def test_a_file_that_is_well(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("verify", "open.jsonl", "--knowledge", str(kept_folder())) == 0
    out = capsys.readouterr()
    assert out.out.splitlines() == [
        f"open.jsonl (case {OPEN})",
        "  Whole: 61 events, each sealed to the one before.",
        "  It is open; a cut at its end cannot be seen from it. Last hash 2b4d: compare it with what was noted of it "
        "elsewhere.".replace("2b4d", LAST),
        "  Replayed: 61 events worked out anew from its knowledge, all the same.",
        "  Unsigned: nobody put a name under it.",
    ]
    assert out.err == "" and not (here / "cases.db").exists()


def test_many_with_one_that_was_changed(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = (here / "open.jsonl").read_bytes()
    at = data.index(b"light-time-told")
    (here / "bad.jsonl").write_bytes(data[:at] + b"m" + data[at + 1 :])
    (here / "crlf.jsonl").write_bytes(data.replace(b"\n", b"\r\n"))
    (here / "page.jsonl").write_text("<html>")
    names = ["open.jsonl", "bad.jsonl", "crlf.jsonl", "page.jsonl", "gone.jsonl"]
    assert run("verify", "--no-replay", *names) == 1
    out = capsys.readouterr().out
    line = data.count(b"\n", 0, at) + 1
    column = at - data.rfind(b"\n", 0, at)
    assert f"open.jsonl (case {OPEN}): whole, 61 events, open (a cut at its end does not show; " in out
    assert f"last hash {LAST}), not replayed, unsigned.\n" in out
    assert f"! bad.jsonl (case {OPEN})\n  NOT WHOLE.\n  bad.jsonl:{line}:{column}: Event {line}: this byte was" in out
    assert f"  Events 1 to {line - 1} are whole.\n" in out
    assert "crlf.jsonl" in out and "Its line ends were changed on the way" in out
    assert "! page.jsonl: this is no case file" in out and "! gone.jsonl: it could not be read: no such file" in out
    assert "5 trails: 2 whole, 0 replayed the same, 0 signed; 3 with something wrong, marked !." in out
    assert run("verify", "--no-replay", "--json", *names) == 1
    found = json.loads(capsys.readouterr().out)
    assert [one["wrong"] for one in found] == [False, True, False, True, True]
    assert found[0]["trust"]["signed"] == "unsigned" and found[0]["case"] == OPEN and found[3]["trust"] is None


def test_no_cases_and_no_such_case(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("verify") == 0 and capsys.readouterr().out == "No cases yet.\n"
    assert run("verify", "104-2-none") == 1
    assert "There is no case 104-2-none" in capsys.readouterr().out


def test_a_key_is_made_and_signs(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["cases", "import", "open.jsonl"]) == 0
    typed = "short\nlong enough\nlong enoug\nlong enough\nlong enough\n"
    assert run("key", "Robin Skerry", "--out", "mine", typed=typed, monkeypatch=monkeypatch) == 0
    out = capsys.readouterr()
    assert (
        "Private key of Robin Skerry: mine." in out.out and "not the same" in out.err and "long enough" not in out.out
    )
    assert run("key", "Robin Skerry", "--out", "mine", typed=typed, monkeypatch=monkeypatch) == 1
    assert "there already" in capsys.readouterr().err
    assert run("sign", OPEN, typed="x\n", monkeypatch=monkeypatch) == 1
    assert "which key signs?" in capsys.readouterr().err
    assert run("sign", OPEN, "--key", "mine", typed="long enougH\n", monkeypatch=monkeypatch) == 1
    assert "the passphrase is not the one of this key" in capsys.readouterr().err
    assert run("sign", OPEN, "--key", "mine", typed="", monkeypatch=monkeypatch) == 1
    assert "no passphrase was given" in capsys.readouterr().err
    assert run("sign", OPEN, "--key", "mine", typed="long enough\n", monkeypatch=monkeypatch) == 0
    out = capsys.readouterr()
    assert f"Signed by Robin Skerry: case {OPEN} up to event 61, STILL OPEN" in out.out
    assert "not among the known people's: put mine.pub into the folder" in out.out
    assert run("sign", OPEN, "--key", "mine", typed="long enough\n", monkeypatch=monkeypatch) == 1
    assert "signed it as it stands already (event 62)" in capsys.readouterr().err

    assert run("verify", "--no-replay") == 0
    assert "nobody vouches for the name" in capsys.readouterr().out
    (here / "people").mkdir()
    shutil.copy(here / "mine.pub", here / "people")
    monkeypatch.setenv("ISOLATE_PEOPLE", str(here / "people"))
    assert run("key") == 0 and capsys.readouterr().out.startswith("Robin Skerry: key ")
    assert run("verify", "--no-replay", OPEN) == 0
    assert "Signed by Robin Skerry (event 62), up to event 61, key " in capsys.readouterr().out
    name = ("--as", "Sam Halden")
    assert run("sign", OPEN, "--key", "mine", *name, typed="long enough\n", monkeypatch=monkeypatch) == 1
    assert "known here as that of Robin Skerry" in capsys.readouterr().err


@pytest.mark.parametrize(
    "name",
    ["Robin Skerry", "robin skerry", "R\u043ebin Skerry", "R\u00f6bin Skerry", "Robin  Sk\u0435rry", "RobinSkerry"],
)
def test_nobody_signs_with_another_key_as_somebody_who_is_known(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Cyrillic letters that look like Latin ones [published: UTS #39, confusables], other case, marks, spaces."""
    assert main(["cases", "import", "open.jsonl"]) == 0
    (here / "people").mkdir()
    assert run("key", "Robin Skerry", "--out", "people/robin", "--no-passphrase") == 0
    assert run("key", "Sam Halden", "--out", "sams", "--no-passphrase") == 0
    monkeypatch.setenv("ISOLATE_PEOPLE", str(here / "people"))
    capsys.readouterr()
    assert run("sign", OPEN, "--key", "sams", "--as", name) == 1
    said = " ".join(capsys.readouterr().err.split())
    assert "known here with another key (" in said and "this key does not sign for" in said
    assert main(["cases", "list"]) == 0 and " 61" in capsys.readouterr().out, "nothing was written"
    # With their own key they may write their name as they like: it is put down as it is known.
    assert run("sign", OPEN, "--key", "people/robin", "--as", name) == 0
    assert "Signed by Robin Skerry: case" in capsys.readouterr().out
    assert run("verify", "--no-replay", OPEN) == 0


def test_a_case_that_is_not_whole_is_not_signed(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import sqlite3

    assert main(["cases", "import", "open.jsonl"]) == 0
    assert run("key", "Robin", "--out", "mine", "--no-passphrase") == 0
    with sqlite3.connect(here / "cases.db") as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute("UPDATE events SET body = '{}' WHERE seq = 9")
    capsys.readouterr()
    assert run("sign", OPEN, "--key", "mine") == 1
    assert "is not whole and is not signed so. Event 9 was changed" in capsys.readouterr().err
    assert run("verify", OPEN) == 1
    assert "Events 1 to 8 are whole." in capsys.readouterr().out


def test_nobody_is_known(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("key") == 0 and "Nobody's key is known here" in capsys.readouterr().out
    (here / "people").mkdir()
    (here / "people" / "x.pub").write_text("no key")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ISOLATE_PEOPLE", str(here / "people"))
        assert run("verify") == 1
        assert "x.pub: no public key, or a damaged one. It was passed over" in capsys.readouterr().err
        # The others count.
        assert run("key", "Robin Skerry", "--out", "people/robin", "--no-passphrase") == 0
        assert run("key") == 1
        out = capsys.readouterr()
        assert "Robin Skerry: key " in out.out and "x.pub: no public key" in out.err
        assert run("verify", "--no-replay", "open.jsonl") == 1
        out = capsys.readouterr()
        assert "Whole: 61 events" in out.out and "x.pub: no public key" in out.err


def test_every_end_of_a_case_is_told(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = trail("taken-back")
    log = Memory(whole[:30])
    log.append_all(OPEN, [("noted", {"text": "elsewhere"})], "2030-03-12T23:00:00.000Z")
    other = log.events(OPEN)
    assert run("key", "Robin Skerry", "--out", "robin", "--no-passphrase") == 0
    assert main(["cases", "import", "open.jsonl"]) == 0
    assert run("sign", OPEN, "--key", "robin") == 0
    (here / "other.jsonl").write_bytes(b"".join(to_line(event) + b"\n" for event in other))
    assert main(["cases", "import", "other.jsonl"]) == 0
    (here / "people").mkdir()
    shutil.copy(here / "robin.pub", here / "people")
    monkeypatch.setenv("ISOLATE_PEOPLE", str(here / "people"))
    capsys.readouterr()
    end = f"{OPEN}@{other[-1].hash[:8]}"
    assert run("verify", "--no-replay", OPEN) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"It has another end, {end}: 31 events, parting from this one at event 31, open, unsigned." in said
    assert run("verify", "--no-replay", end) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the main one: 62 events, parting from this one at event 31, open, signed by Robin Skerry." in said
    assert run("verify", "--no-replay") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"{end}: whole, 31 events" in said and "It has 1 other end, 1 signed, 0 ended." in said
    assert "2 trails: 2 whole" in said


def test_a_list_that_was_changed_by_hand_is_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import sqlite3

    assert main(["cases", "import", "open.jsonl"]) == 0
    with sqlite3.connect(here / "cases.db") as db:
        db.execute("UPDATE chains SET aircraft = '117'")
    assert run("verify", "--no-replay") == 1
    assert "NOT AS LISTED." in capsys.readouterr().out


def test_a_drill_is_counted_apart(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from isolate.case.written import read
    from isolate.drill.drive import Drive
    from isolate.drill.scenario import Scenario
    from isolate.kb.load import shipped_scenarios

    kit, log = shipped_kit(), Memory()
    scenario = read(shipped_scenarios() / "gate-intermittent.yaml", Scenario, kit.fitted)
    Drive.begin(kit, log, "drill-1", "gate-intermittent", scenario, "Ann", "2030-05-01T08:00:00.000Z")
    (here / "drill.jsonl").write_bytes(b"".join(to_line(event) + b"\n" for event in log.events("drill-1")))
    assert run("verify", "drill.jsonl", "open.jsonl", "--knowledge", str(kept_folder())) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "a drill: moves, cautions and verification not checked, beliefs and rules replayed the same" in out
    assert "2 trails: 2 whole, 1 replayed the same, 0 signed, 1 drill (moves, cautions and verification" in out


def test_a_key_that_others_may_read_is_warned_of(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cases", "import", "open.jsonl"]) == 0
    assert run("key", "Robin", "--out", "mine", "--no-passphrase") == 0
    (here / "mine").chmod(0o644)
    assert run("sign", OPEN, "--key", "mine") == 0
    assert "others on this machine may read or change mine" in capsys.readouterr().err


def test_what_verify_calls_whole_is_taken_in(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = (here / "open.jsonl").read_bytes()
    for name, changed in (
        ("end", data[:-1]),
        ("crlf", data.replace(b"\n", b"\r\n")),
        ("mark", b"\xef\xbb\xbf" + data),
        ("wide", data.decode().encode("utf-16")),
    ):
        (here / f"{name}.jsonl").write_bytes(changed)
        assert run("verify", "--no-replay", f"{name}.jsonl") == 0
        assert main(["cases", "import", f"{name}.jsonl", "--store", f"{name}.db"]) == 0, name
        assert "61 events added" in capsys.readouterr().out

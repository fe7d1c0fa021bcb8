"""The command line: whatever is wrong is a sentence with its place and a status, and nothing acknowledged is lost.

Bad input goes through :func:`isolate.cli.main` in this process, which is what ``python -m isolate`` calls; what has to
do with processes (closed input, signals, a full disk, a kill) runs in a process of its own.
"""

from __future__ import annotations

import io
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, get_args

import jsonschema
import pytest
import yaml

from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.events import to_line
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Offer, Walk
from isolate.case.store import open_store, read_case
from isolate.cli import CONDITIONS, STOPPED, main
from isolate.kb import load as loading
from isolate.kb.fit import fit
from isolate.kb.model import Condition

ROOT = Path(__file__).parent.parent
ANSWERS = """\
case:
  aircraft: 230
  position: 1
  engine: halden-hf-3
  complaint: no-light-off
  place: hangar
  starts:
    - {channel: A, lit: false}
    - {channel: B, lit: false}
  people:
    - {name: the technician, may: [licensed, motoring, engine-run]}
    - {name: the second, may: [licensed]}
answers:
  recorded-start-read: fuel-odd
"""
SCENARIO = """\
title: A drill
story: Somebody tells it.
learning: [something]
source: [line-practice]
case:
  aircraft: 230
  position: 1
  engine: halden-hf-3
  complaint: no-light-off
  people:
    - {name: the headset}
truth: [lead-open/A]
answers:
  crew-ask: by-the-book
"""


class Ran(NamedTuple):
    code: int
    out: str
    err: str


Cli = Callable[..., Ran]


_load = loading.load


@cache
def _shipped() -> loading.Loaded:
    return _load()


@pytest.fixture
def cli(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Cli]:
    """Run a command in this process, with a data folder of its own; the shipped knowledge is read once for all."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("ISOLATE_STORE", raising=False)
    monkeypatch.delenv("ISOLATE_DEBUG", raising=False)
    monkeypatch.setattr(loading, "load", lambda folder=None: _shipped() if folder is None else _load(folder))

    def run(*argv: object) -> Ran:
        capsys.readouterr()
        try:
            code = main([str(a) for a in argv])
        except SystemExit as stop:
            code = int(stop.code or 0)
        return Ran(code, *capsys.readouterr())

    yield run


def environment(folder: Path) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("ISOLATE", "XDG", "COV"))}
    return {**kept, "XDG_DATA_HOME": str(folder / "data"), "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}


def program(folder: Path, *argv: object, **more: Any) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "isolate", *map(str, argv)],
        env=environment(folder), cwd=folder, capture_output=True, text=True, timeout=120,
        stdin=subprocess.DEVNULL, **more,
    )  # fmt: skip


def plain(ran: Any, *says: str) -> None:
    """Assert that it failed with a sentence, and no traceback."""
    code, out, err = ran if isinstance(ran, Ran) else (ran.returncode, ran.stdout, ran.stderr)
    assert code not in (0, -11), (out, err)
    assert "Traceback" not in out + err
    assert "went wrong that should not" not in err, err
    assert err.strip(), "something is said"
    for said in says:
        assert said in err, err


def put(path: Path, data: str | bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


# -- knowledge -------------------------------------------------------------------------------------


def test_the_conditions_to_choose_from_are_those_of_the_knowledge() -> None:
    assert get_args(Condition) == CONDITIONS


def test_knowledge_that_is_no_folder_is_told(cli: Cli, tmp_path: Path) -> None:
    plain(cli("kb", "check", "--knowledge", tmp_path / "nowhere"), "nowhere", "no such folder")
    plain(cli("kb", "check", "--knowledge", put(tmp_path / "file", "x")), "not a folder")
    (tmp_path / "hollow").mkdir()
    plain(cli("kb", "check", "--knowledge", tmp_path / "hollow"), "no knowledge here")


@pytest.mark.parametrize(
    ("data", "line", "says"),
    [
        (b"", 1, "empty"),
        (b"checks: {a: [}", 1, ""),
        (b"checks:\n\ta: 1\n", 2, "tab"),
        (b"checks:\n  ear: 3\n", 2, ""),
        (b"checks:\n  ear:\n    titel: x\n", 3, "titel"),
        (b"- 1\n", 1, "checks"),
        (b"repairs:\n  a: {}\n", 1, "checks"),
        (b"checks:\n  \xff\xfe: 1\n", 2, "UTF-8"),
        (b"checks:\n  a: !!python/object/apply:os.system [true]\n", 2, ""),
        (b"checks: &a\n  b: *a\n", 1, "alias"),
        (b"checks:\n" + b"  # padding\n" * 200_000, 0, "2 MB"),
        (b"[" * 5000, 1, ""),
        (b"checks:\n  a\x00b: 1\n", 2, ""),
    ],
)
def test_a_file_of_knowledge_that_cannot_be_used_is_told_with_its_line(
    cli: Cli, tmp_path: Path, data: bytes, line: int, says: str
) -> None:
    put(tmp_path / "kb" / "checks" / "ear.yaml", data)
    for command in (("kb", "check"), ("kb", "schema")):
        ran = cli(*command, "--knowledge", tmp_path / "kb")
        plain(ran, f"kb/checks/ear.yaml:{line}: " if line else "kb/checks/ear.yaml", says)


def test_a_folder_where_a_file_should_be_is_told(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "kb" / "checks" / "ear.yaml").mkdir(parents=True)
    plain(cli("kb", "check", "--knowledge", tmp_path / "kb"), "ear.yaml")


# -- files of answers and scenarios ----------------------------------------------------------------

UNREADABLE = [
    (None, 0, "no such file"),
    (b"", 1, "empty"),
    (b"case: {a: [}", 1, ""),
    (b"case:\n\taircraft: 1\n", 2, "tab"),
    (b"- 1\n", 1, ""),
    (b"case:\n  aircraft: \xe9\n", 2, "UTF-8"),
    ("case:\n  aircraft: 1\n".encode("utf-16"), 1, "UTF-8"),
    (b"# padding\n" * 250_000, 0, "2 MB"),
    (b"case: {aircraft: 1}\n", 1, "position"),
]


@pytest.mark.parametrize(("data", "line", "says"), UNREADABLE)
@pytest.mark.parametrize("kind", ["answers", "scenario"])
def test_a_file_that_cannot_be_read_is_told_with_its_line(
    cli: Cli, tmp_path: Path, kind: str, data: bytes | None, line: int, says: str
) -> None:
    path = tmp_path / "written.yaml"
    if data is not None:
        put(path, data)
    command = ("chase", "--answers", path) if kind == "answers" else ("drill", path, "--solve")
    plain(cli(*command), f"{path}:{line}: " if line else str(path), says)
    assert "No cases yet" in cli("cases").out, "nothing was opened"


def test_a_folder_for_a_file_is_told(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "x.yaml").mkdir()
    for command in (("chase", "--answers"), ("drill",), ("next",), ("cases", "import")):
        plain(cli(*command, tmp_path / "x.yaml"), "x.yaml", "folder")


@pytest.mark.parametrize(
    ("change", "line", "says"),
    [
        (("halden-hf-3", "halden-fh-3"), 4, "halden-hf-3"),
        (("no-light-off", "no-ligth-off"), 5, "no-light-off"),
        (("recorded-start-read", "recorded-start-raed"), 14, "recorded-start-read"),
        (("fuel-odd", "fuel-od"), 14, "fuel-odd"),
        (("channel: B", "channel: Q"), 9, "Q"),
        (("engine-run]", "engine-runs]"), 11, "engine-run"),
        (("  place:", "  missing: [metre]\n  place:"), 6, "meter"),
        (("answers:", "cannot: {lead-continuty/A: no meter}\nanswers:"), 13, "lead-continuity/A"),
    ],
)
def test_unknown_names_in_a_file_of_answers_are_told_with_their_line(
    cli: Cli, tmp_path: Path, change: tuple[str, str], line: int, says: str
) -> None:
    assert change[0] in ANSWERS
    path = put(tmp_path / "answers.yaml", ANSWERS.replace(*change))
    ran = cli("chase", "--answers", path)
    plain(ran, says)
    assert "No cases yet" in cli("cases").out, "nothing was opened"
    assert f"{path}:{line}: " in ran.err, ran.err


@pytest.mark.parametrize(
    ("change", "line", "says"),
    [
        (("halden-hf-3", "halden-fh-3"), 8, "halden-hf-3"),
        (("no-light-off", "no-ligth-off"), 9, "no-light-off"),
        (("lead-open/A", "lead-opne/A"), 12, "lead-open/A"),
        (("lead-open/A", "lead-open"), 12, "lead-open"),
        (("[lead-open/A]", "[lead-open/A, exciter-dead/A]"), 12, "two faults"),
        (("crew-ask: by", "crew-aks: by"), 14, "crew-ask"),
        (("by-the-book", "by-the-bok"), 14, "by-the-book"),
    ],
)
def test_unknown_names_in_a_scenario_are_told_with_their_line(
    cli: Cli, tmp_path: Path, change: tuple[str, str], line: int, says: str
) -> None:
    assert change[0] in SCENARIO
    path = put(tmp_path / "scenario.yaml", SCENARIO.replace(*change))
    ran = cli("drill", path, "--solve")
    plain(ran, says)
    assert f"{path}:{line}: " in ran.err, ran.err


def test_names_unknown_on_the_command_line_are_told(cli: Cli, tmp_path: Path) -> None:
    plain(cli("drill", "plug-bnids"), "plug-bnids", "plug-binds")
    plain(cli("drill", "--scenarios", tmp_path / "none"), "none")
    plain(cli("cases", "export", "104-2-0101-ffff"), "There is no store at")
    plain(cli("chase", "--resume", "104-2-0101-ffff"), "104-2-0101-ffff")
    plain(cli("cases", "export", "104-2-0101-ffff"), "There is no case 104-2-0101-ffff")
    plain(cli("chase", "--resume"), "no case is open")
    plain(cli("chase", "--answers", "x.yaml", "--resume", "y"), "--resume")
    for wrong in (("bogus",), ("kb",), ("kb", "bogus"), ("next",), ("cases", "export"), ("chase", "--bogus")):
        ran = cli(*wrong)
        plain(ran, "usage: isolate")
        assert ran.code == 2
    assert cli().code == 2


# -- answers that run out --------------------------------------------------------------------------


class Begun(NamedTuple):
    """A case that stands where its file of answers ran out: its id, what was said, its store, its file."""

    case: str
    ran: Any
    store: Path
    trail: Path


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Begun:
    folder = tmp_path_factory.mktemp("begun")
    ran = program(folder, "chase", "--answers", put(folder / "answers.yaml", ANSWERS))
    case = ran.stdout.splitlines()[0].removeprefix("case ")
    store, trail = folder / "data" / "isolate" / "cases.db", folder / "case.jsonl"
    with open_store(store) as opened:
        opened.export_case(case, trail)
    return Begun(case, ran, store, trail)


def test_answers_that_end_in_the_middle_keep_the_case(cli: Cli, begun: Begun) -> None:
    plain(begun.ran, "answers.yaml", "no answer to", f"isolate chase --resume {begun.case}")
    assert begun.ran.returncode == 1 and "suspects now:" in begun.ran.stdout
    listed = cli("cases", "list", "--store", begun.store)
    assert listed.code == 0 and begun.case in listed.out and "open" in listed.out
    events = read_case(begun.trail)
    assert verify(events) == []
    answered = [e.body["check"] for e in events if e.kind == "answered"]
    assert answered == ["recorded-start-read"] and events[-1].kind == "left"


def test_answers_that_are_enough_end_the_case_with_its_record(cli: Cli, tmp_path: Path) -> None:
    # The best news of every check, but for what points to the fuel.
    fuel = {
        **{"messages-read": "fuel-or-air", "fuel-supply-look": "not-open", "fuel-flow-look": "dry"},
        **{"vapour-look": "none", "tailpipe-look": "dry", "recorded-start-read": "fuel-odd"},
    }
    checks = _kit().fitted.checks
    assert all(outcome in checks[name].outcomes for name, outcome in fuel.items())
    best = {key: check.outcomes[0] for key, check in checks.items()}
    told = {key: outcome for key, outcome in {**best, **fuel}.items() if key != "recorded-start-read"}
    enough = "".join(f"  {check}: {outcome}\n" for check, outcome in told.items())
    facts = 'facts: {person: the technician, time: "06:10", tag: T-17, text: seen, count: 2, minutes: 5, rest: 0}\n'
    # One person alone runs, motors and opens nothing: what is left are questions.
    alone = ANSWERS.replace("    - {name: the second, may: [licensed]}\n", "")
    ran = cli("chase", "--answers", put(tmp_path / "answers.yaml", alone + enough + facts))
    assert ran.code == 0, ran.err
    assert "not ignition, handed over to" in ran.out and "This text is a draft." in ran.out
    assert "ended" in cli("cases").out


# -- trails ----------------------------------------------------------------------------------------


def test_a_case_travels_as_a_file_and_merging_twice_adds_nothing(cli: Cli, tmp_path: Path, begun: Begun) -> None:
    case, trail = begun.case, tmp_path / "case.jsonl"
    out = cli("cases", "export", case, trail, "--store", begun.store)
    assert out.code == 0 and case in out.out and trail.read_bytes() == begun.trail.read_bytes()
    count = len(read_case(trail))
    elsewhere = tmp_path / "elsewhere.db"
    first = cli("cases", "import", trail, "--store", elsewhere)
    assert (first.code, first.out) == (0, f"{case}: {count} events added, 0 were here already\n")
    again = cli("cases", "import", trail, "--store", elsewhere)
    assert (again.code, again.out) == (0, f"{case}: 0 events added, {count} were here already\n")
    back = tmp_path / "back.jsonl"
    assert cli("cases", "export", case, back, "--store", elsewhere).code == 0
    assert back.read_bytes() == trail.read_bytes()
    plain(cli("cases", "export", case, back, "--store", elsewhere), "there already")
    assert cli("cases", "export", case, back, "--store", elsewhere, "--overwrite").code == 0
    plain(cli("cases", "export", case, tmp_path / "no" / "where.jsonl", "--store", elsewhere), "no such file or folder")


def test_next_gives_the_moves_of_a_case_file_as_json(cli: Cli, begun: Begun) -> None:
    trail = begun.trail
    before = trail.read_bytes()
    ran = cli("next", trail, "--json")
    assert ran.code == 0 and ran.err == ""
    advice = json.loads(ran.out)
    assert set(advice) == {
        "case", "state", "warnings", "knowledge", "carried", "open", "book_minutes", "posterior", "barred", "decision",
        "moves", "rules",
    }  # fmt: skip
    assert advice["carried"] == {"cases": [], "left_out": [], "undated": 0, "changes": []}, "there is no earlier case"
    assert advice["decision"]["budget"] >= 1 and advice["decision"]["objective"] == "minutes"
    assert advice["case"] == begun.case and advice["warnings"] == []
    assert advice["state"].startswith("in hand: "), "it ran out of answers at a check it had taken up"
    expected = [m["expected"] for m in advice["moves"]]
    assert expected == sorted(expected) and len(expected) > 5
    for move in advice["moves"]:
        assert move["now"] <= move["expected"]
        if move["outcomes"]:
            assert sum(o["probability"] for o in move["outcomes"]) == pytest.approx(1, abs=1e-3)
    posterior = advice["posterior"]
    assert 0 < posterior["none"] < 1 and posterior["faults"]
    assert all(f["rule"] and f["kind"] for f in advice["rules"])
    assert not set(advice["barred"]) & {m["move"] for m in advice["moves"]}
    offered = next(e.body["move"] for e in reversed(read_case(trail)) if e.kind == "offered")
    assert advice["moves"][0]["move"] == offered, "the same offer as the chase made"
    words = cli("next", trail)
    assert words.code == 0 and advice["moves"][0]["title"] in words.out and "suspects:" in words.out
    assert trail.read_bytes() == before


def test_next_says_when_the_knowledge_is_not_that_of_the_case(cli: Cli, tmp_path: Path, begun: Begun) -> None:
    events = read_case(begun.trail)
    other = Memory()
    for event in events:
        body = {**event.body, "knowledge": "0" * 64} if event.kind == "opened" else event.body
        other.append_all(event.case, [(event.kind, body)], event.time)
    path = put(tmp_path / "other.jsonl", b"".join(to_line(e) + b"\n" for e in other.events(events[0].case)))
    ran = cli("next", path)
    assert ran.code == 0 and "other knowledge" in ran.out


def changed(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


@pytest.mark.parametrize(
    ("spoil", "line"),
    [
        (lambda d: b"", 1),
        (lambda d: d[: d.rstrip().rfind(b"\n") + 40], -1),
        (lambda d: d[:-20], -1),
        (lambda d: changed(d, d.index(b"halden")), 1),
        (lambda d: changed(d, d.rindex(b'"open"')), 0),
        (lambda d: changed(d, d.index(b"halden")).decode().encode("utf-16"), 1),
        (lambda d: b"\xef\xbb\xbf" + changed(d, d.index(b"halden")), 1),
        (lambda d: d.replace(b"the technician", b"la techniciend\xe9e", 1), 1),
        (lambda d: b"not json\n", 1),
        (lambda d: b"[]\n", 1),
        (lambda d: b"{}\n", 1),
        (lambda d: b"\x00" * 100, 1),
        (lambda d: b"\n" + d, 1),
        (lambda d: b"".join(d.splitlines(keepends=True)[1:]), 1),
        (lambda d: b"".join(d.splitlines(keepends=True)[:3] + d.splitlines(keepends=True)[4:]), 4),
        (lambda d: d + d, 0),
        (lambda d: json.dumps(json.loads(d.splitlines()[0]), indent=None).encode() + b"\n", 1),
    ],
)
def test_a_case_file_that_was_spoilt_is_told_with_its_line(
    cli: Cli, tmp_path: Path, begun: Begun, spoil: Callable[[bytes], bytes], line: int
) -> None:
    data = spoil(begun.trail.read_bytes())
    path = put(tmp_path / "spoilt.jsonl", data)
    last = len(data.splitlines())
    where = f"{path}:{last if line < 0 else line}:" if line else f"{path}:"
    plain(cli("next", path), where)
    plain(cli("next", path, "--json"), where)
    plain(cli("cases", "import", path, "--store", tmp_path / "other.db"), where)
    assert "No cases yet" in cli("cases", "--store", tmp_path / "other.db").out, "all of it or nothing"
    plain(cli("next", tmp_path / "nowhere.jsonl"), "nowhere.jsonl")


# -- the store -------------------------------------------------------------------------------------


def test_a_store_that_cannot_be_is_told(cli: Cli, tmp_path: Path) -> None:
    answers = put(tmp_path / "answers.yaml", ANSWERS)
    below = put(tmp_path / "file", "x") / "cases.db"
    for store, says in ((below, "a file, not a folder"), (tmp_path, "is a folder"), (answers, "not a database")):
        plain(cli("cases", "--store", store), str(store), says)
        plain(cli("chase", "--answers", answers, "--store", store), says)
    plain(cli("cases", "--store", "postgresql://127.0.0.1:1/db"), "cannot be reached", "isolate store merge")
    assert answers.read_text() == ANSWERS


def test_a_store_named_in_the_environment_is_used(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "mine.db"))
    cli("chase", "--answers", put(tmp_path / "answers.yaml", ANSWERS))
    assert (tmp_path / "mine.db").exists() and not (tmp_path / "data").exists()
    assert "230" in cli("cases").out


def test_a_disk_that_fills_up_is_told_and_what_was_acknowledged_stays(tmp_path: Path) -> None:
    path = long_answers(tmp_path)
    store = tmp_path / "cases.db"

    def little() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (700_000, 700_000))

    ran = program(tmp_path, "chase", "--answers", path, "--store", store, preexec_fn=little)
    plain(ran, "cases.db", "could not be written")
    assert ran.returncode == 1
    case = ran.stdout.splitlines()[0].removeprefix("case ")
    assert acknowledged(store, case, ran.stdout) >= 2


# -- knowledge that is sound -----------------------------------------------------------------------


def test_the_shipped_knowledge_has_nothing_to_mend(cli: Cli) -> None:
    ran = cli("kb", "check")
    assert (ran.code, ran.err) == (0, ""), ran.out
    assert ran.out.startswith("Nothing to mend:")


@pytest.mark.parametrize("options", [(), ("--plain",)])
def test_the_schema_is_a_schema_and_takes_the_shipped_files(cli: Cli, options: tuple[str, ...]) -> None:
    ran = cli("kb", "schema", *options)
    assert ran.code == 0
    schema = json.loads(ran.out)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    files = sorted((ROOT / "knowledge").glob("*/*.yaml"))
    assert len(files) > 15
    for path in files:
        data = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)
        assert not [f"{path.name}: {e.message}" for e in validator.iter_errors(data)]
    data = yaml.safe_load((ROOT / "knowledge/access/nacelle.yaml").read_text(encoding="utf-8"))
    data["access"]["cowls-open"]["need"] = []
    assert list(validator.iter_errors(data)), "a field that does not exist is found"


# -- drills ----------------------------------------------------------------------------------------


def test_the_drills_are_listed(cli: Cli) -> None:
    ran = cli("drill")
    names = [p.stem for p in sorted((ROOT / "scenarios").glob("*.yaml"))]
    assert sorted(line.split()[0] for line in ran.out.splitlines()) == names and len(names) >= 16
    assert "thread-damaged" not in ran.out, "the truth is not told"


# -- processes -------------------------------------------------------------------------------------


def long_answers(folder: Path) -> Path:
    """Answers for a case that goes a long way: good news to everything that can be asked."""
    written = yaml.safe_load(ANSWERS)
    written["case"]["complaint"] = "slow-light"
    written["answers"] = {
        key: [check.outcomes[0]] * 3 for key, check in _kit().fitted.checks.items() if "light-time" not in key
    }
    written["facts"] = {"person": "x", "time": "06:10", "tag": "T-17", "text": "seen", "count": 2, "minutes": 1}
    return put(folder / "long.yaml", yaml.safe_dump(written))


@cache
def _kit() -> Kit:
    return Kit(fit(_shipped().knowledge, "halden-hf-3"))


def acknowledged(store_path: Path, case: str, out: str) -> int:
    """Assert that every step said to be done is in the store, the chain holds, the case goes on; count the steps."""
    with open_store(store_path) as store:
        assert store.faults(case) == []
        events = store.events(case)
        fitted = _kit().fitted
        kept = []
        for e in events:
            if e.kind == "answered":
                kept.append(fitted.check(e.body["check"]).title)
            elif e.kind == "access" and "minutes" in e.body and e.body["minutes"]:
                word = "Open" if e.body["state"] == "open" else "Close"
                kept.append(f"{word}: {fitted.access[e.body['access']].title}")
            elif e.kind == "caution" and not e.body.get("shown"):
                kept.append(fitted.knowledge.cautions[e.body["caution"].partition("/")[0]].title)
        # A step is printed as "  12 min    title: what was said"; offers and the like are not steps.
        titles = sorted(set(kept), key=len, reverse=True)
        said = []
        for line in out.splitlines():
            if " min    " in line and line.count(": "):
                rest = line.split(" min    ", 1)[1]
                rest = rest.removeprefix("WARNING ").removeprefix("CAUTION ")
                said.append(next((t for t in titles if rest.startswith(t + ": ")), rest))
        assert said == kept[: len(said)], "acknowledged, in that order"
        chase = Chase.resume(_kit(), store, case, Clock())
        while isinstance(step := chase.now(), Walk):
            chase.walked(True)
        assert step.title and chase.ranked().moves
        if isinstance(step, Offer):
            chase.decline("somebody else goes on")
        assert store.faults(case) == []
    return len(said)


def test_a_chase_without_anybody_to_ask_opens_no_case(tmp_path: Path) -> None:
    ran = program(tmp_path, "chase")
    assert ran.returncode == 1 and "Traceback" not in ran.stdout + ran.stderr
    assert "no case was opened" in ran.stdout + ran.stderr
    assert "No cases yet" in program(tmp_path, "cases").stdout
    given = ("--aircraft", "230", "--position", "1", "--engine", "nope", "--complaint", "nope")
    ran = program(tmp_path, "chase", *given)
    assert ran.returncode == 1 and "Traceback" not in ran.stdout + ran.stderr
    assert "'nope'" in ran.stdout + ran.stderr


def test_every_command_refuses_plainly_from_a_shell(tmp_path: Path) -> None:
    bad = put(tmp_path / "bad.yaml", "case: [")
    torn = put(tmp_path / "torn.jsonl", '{"body":')
    for argv, says in (
        (("kb", "check", "--knowledge", tmp_path / "none"), "no such folder"),
        (("chase", "--answers", bad), "bad.yaml:1:"),
        (("next", torn), "torn.jsonl:1:"),
    ):
        ran = program(tmp_path, *argv)
        plain(ran, says)
        assert ran.returncode == 1 and ran.stderr.startswith("isolate: ")


def started(folder: Path, store: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "isolate", "chase", "--answers", str(long_answers(folder)), "--store", str(store)],
        env=environment(folder), cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_ctrl_c_stops_plainly_and_the_case_goes_on_later(tmp_path: Path) -> None:
    store = tmp_path / "cases.db"
    with started(tmp_path, store) as process:
        assert process.stdout is not None
        out = ""
        # Until something is said to be done: a time and what was done, not what comes next.
        while not re.search(r"^ *\d+ min {4}\S", out, re.MULTILINE):
            out += process.stdout.readline()
        process.send_signal(signal.SIGINT)
        rest, err = process.communicate(timeout=60)
    assert process.returncode == STOPPED, (out + rest, err)
    assert "Stopped." in err and "Traceback" not in err
    assert acknowledged(store, out.splitlines()[0].removeprefix("case "), out + rest) >= 1


@pytest.mark.parametrize("seed", range(10))
def test_what_was_acknowledged_survives_a_kill(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    store = tmp_path / "cases.db"
    with started(tmp_path, store) as process:
        assert process.stdout is not None
        out = "".join(process.stdout.readline() for _ in range(rng.randrange(1, 18)))
        time.sleep(rng.random() * 0.05)
        process.kill()
        rest, err = process.communicate(timeout=60)
    assert process.returncode == -signal.SIGKILL, (out + rest, err)
    out += rest
    # The last line may be torn: a line is acknowledged once it is whole.
    whole = out[: out.rfind("\n") + 1]
    acknowledged(store, whole.splitlines()[0].removeprefix("case "), whole)


# -- signs, parts, the next shift, what the shop found -----------------------------------------------

FACTS = 'facts: {person: the technician, time: "06:10", tag: T-17, text: seen, count: 2, minutes: 5}\n'
HAND_OVER = """\
hand-over:
  by: the technician
  to: the night shift
  loose: [lead nut A]
  list-by: the second
  out: 3
"""


def in_case(more: str) -> str:
    """The file of answers with more lines under its case."""
    return ANSWERS.replace("  people:\n", f"{more}  people:\n")


def the_case(ran: Ran) -> str:
    return ran.out.splitlines()[0].removeprefix("case ")


def test_signs_in_a_file_are_on_the_trail_and_in_the_record(cli: Cli, tmp_path: Path) -> None:
    signs = "  signs:\n    - {sign: bang}\n    - {sign: lead-chafed, channel: B}\n  other_engine: true\n"
    ran = cli("chase", "--answers", put(tmp_path / "answers.yaml", in_case(signs)))
    case = ran.err.split("--resume ")[1].strip()
    shown = cli("cases", "show", case)
    assert shown.code == 0
    assert "Heard or seen besides: It lit with a bang; A lead was seen chafed, channel B." in shown.out
    assert "as it stands" in shown.out and "not ended yet" in shown.out


@pytest.mark.parametrize(
    ("signs", "line", "says"),
    [
        ("[{sign: bnag}]", 6, "did you mean bang"),
        ("[{sign: lead-chafed}]", 6, "say which of A, B"),
        ("[{sign: bang, channel: A}]", 6, "no one channel"),
        ("[{sign: lead-chafed, channel: Q}]", 6, "'Q'"),
        ("[bang]", 6, ""),
        ("[{sgin: bang}]", 6, "sgin"),
    ],
)
def test_a_sign_in_a_file_that_says_nothing_is_told_with_its_line(
    cli: Cli, tmp_path: Path, signs: str, line: int, says: str
) -> None:
    text = ANSWERS.replace("  place: hangar\n", f"  signs: {signs}\n  place: hangar\n")
    path = put(tmp_path / "answers.yaml", text)
    plain(cli("chase", "--answers", path), f"{path}:{line}: ", says)
    assert "No cases yet" in cli("cases").out


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("parts:\n  replace-ignitor/A: {pn-off: a, sn-off: b, pn-on: c, sn-on: d}\n", "replace-igniter/A"),
        ("parts:\n  replace-igniter/A: {pn-off: a, sn-off: b, pn-on: c}\n", "sn-on"),
        ("parts:\n  replace-igniter/A: {pn-off: a, sn-off: b, pn-on: c, sn-on: d, hours-off: -1}\n", "hours-off"),
        ("parts:\n  tighten-lead-nut/A: {pn-off: a, sn-off: b, pn-on: c, sn-on: d}\n", "/A"),
        ("defer: {channel: Q, reference: r, kept-off: k, authorised-by: a}\n", "'Q'"),
        ("defer: {channel: A, reference: r, authorised-by: a}\n", "kept-off"),
        ("hand-over: {by: a, to: b, list-by: c, out: some}\n", "out"),
        ("hand-over: {by: a, to: b, list-by: c}\n", "out"),
    ],
)
def test_parts_ends_and_hand_overs_in_a_file_are_looked_over_before_a_case_is_opened(
    cli: Cli, tmp_path: Path, more: str, says: str
) -> None:
    path = put(tmp_path / "answers.yaml", ANSWERS + more)
    ran = cli("chase", "--answers", path)
    plain(ran, f"{path}:", says)
    assert "No cases yet" in cli("cases").out


def test_a_file_hands_over_where_its_answers_end(cli: Cli, tmp_path: Path) -> None:
    ran = cli("chase", "--answers", put(tmp_path / "answers.yaml", ANSWERS + FACTS + HAND_OVER))
    assert ran.code == 0, ran.err
    case = the_case(ran)
    assert "From the technician to the night shift" in ran.out and f"isolate chase --resume {case}" in ran.out
    text = cli("cases", "show", case, "--hand-over")
    assert text.code == 0 and text.out.strip() in ran.out and "lead nut A" in text.out
    assert "open" in cli("cases").out
    plain(cli("cases", "finding", case, "--finding", "confirmed"), "is open yet")


def test_a_file_that_defers_without_its_proof_is_told_what_is_lacking(cli: Cli, tmp_path: Path) -> None:
    defer = "defer: {channel: A, reference: procedure 12, kept-off: collar, authorised-by: the second}\n"
    ran = cli("chase", "--answers", put(tmp_path / "answers.yaml", ANSWERS + FACTS + defer))
    plain(ran, "Channel B has not been proven alone since the last work", "isolate chase --resume")


def test_what_goes_with_what_on_a_chase(cli: Cli) -> None:
    plain(cli("chase", "--hand-over", "x", "--resume", "y"), "--hand-over")
    plain(cli("chase", "--hand-over", "--answers", "x.yaml"), "--hand-over")
    plain(cli("chase", "--sign", "bang", "--answers", "x.yaml"), "signs:")
    plain(cli("chase", "--sign", "bang", "--resume", "x"), "--sign")
    plain(cli("chase", "--hand-over"), "no case is open")
    plain(cli("chase", "--hand-over", "104-2-0101-ffff"), "104-2-0101-ffff")
    for wrong in (":", ":A", "bang:", ""):
        plain(cli("chase", "--sign", wrong), "NAME:CHANNEL")


def test_a_case_is_handed_over_from_a_shell_and_refuses_without_its_facts(begun: Begun, tmp_path: Path) -> None:
    def hand_over(lines: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "isolate", "chase", "--hand-over", begun.case, "--store", str(begun.store)],
            env=environment(tmp_path), cwd=tmp_path, capture_output=True, text=True, timeout=120, input=lines,
        )  # fmt: skip

    with open_store(begun.store) as store:
        before = [e.kind for e in store.events(begun.case)]
    ended = hand_over("Quill\n")
    assert ended.returncode == 1 and "Traceback" not in ended.stderr
    with open_store(begun.store) as store:
        assert [e.kind for e in store.events(begun.case)] == [*before, "left"]
    over = hand_over("Quill\nMarrow\nnone\nTeal\nmany\n2\n")
    assert over.returncode == 0, over.stderr
    assert "A number is needed" in over.stdout and "HAND-OVER of case" in over.stdout
    with open_store(begun.store) as store:
        events = store.events(begun.case)
    assert events[-1].kind == "passed-on" and verify(events) == []


@pytest.fixture
def ended(tmp_path: Path) -> Path:
    """A store with a case called done that ended with one repair."""
    path = tmp_path / "ended.db"
    kit = _kit()
    chase = Chase.begin(kit, Memory(), "done", _told(), Clock())
    body = {"repair": "replace-igniter/A", "minutes": 1, "parts": 1, "spoils": []}
    with open_store(path) as store:
        items = [(e.kind, e.body) for e in chase.log.events("done")]
        closed = {"end": "verified, fault found", "found": [], "remaining": 0.01, "record": "A record."}
        store.append_all("done", [*items, ("repaired", body), ("closed", closed)], chase.state.opened)
    return path


def _told() -> Any:
    from isolate.case.case import Intake

    return Intake("230", "1", "halden-hf-3", "no-light-off", place="hangar")


def test_the_shop_s_finding_is_added_and_shown_with_the_record(cli: Cli, ended: Path) -> None:
    plain(cli("cases", "finding", "nonsense", "--finding", "confirmed", "--store", ended), "no case nonsense")
    plain(cli("cases", "finding", "done", "--finding", "conformed", "--store", ended), "did you mean confirmed")
    plain(cli("cases", "finding", "done", "--repair", "x", "--finding", "other", "--store", ended), "has no repair 'x'")
    plain(cli("cases", "finding", "done", "--finding", "other", "--store", ended), "say what")
    plain(cli("cases", "show", "done", "--hand-over", "--store", ended), "never passed on")
    plain(cli("cases", "show", "nonsense", "--store", ended), "no case nonsense")
    named = ("cases", "finding", "done", "--finding", "confirmed", "--store", ended, "--mode")
    plain(cli(*named, "igniter-cold"), "no fault of that part is called 'igniter-cold'")
    plain(cli("cases", "finding", "done", "--finding", "other", "--text", "x", "--mode", "y", "--store", ended), "only")
    said = cli(*named, "igniter-cracked")
    assert "the shop found the fault in it, igniter-cracked/A." in said.out
    told = ("--finding", "not-confirmed", "--text", "spark in limits", "--report", "WS-9", "--store", ended)
    ran = cli("cases", "finding", "done", *told)
    assert ran.code == 0, ran.err
    shown = cli("cases", "show", "done", "--store", ended).out
    assert shown.startswith("A record.\n")
    assert "replace-igniter/A, the part that came off: the shop found nothing wrong with it: spark in limits" in shown
    assert "(report WS-9)" in shown
    with open_store(ended) as store:
        assert verify(store.events("done")) == [] and store.cases()[0].ended


def test_the_shop_s_finding_is_asked_for_where_it_is_not_given(ended: Path, tmp_path: Path) -> None:
    def finding(lines: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "isolate", "cases", "finding", "done", "--store", str(ended)],
            env=environment(tmp_path), cwd=tmp_path, capture_output=True, text=True, timeout=60, input=lines,
        )  # fmt: skip

    stopped = finding("")
    assert stopped.returncode == 1 and "nothing was added" in stopped.stderr
    told = finding("7\n1\nigniter-cold\n99\n2\ntip cracked\n\n")
    assert told.returncode == 0, told.stderr
    assert "2 Igniter plug A cracked or chipped" in told.stdout and "'igniter-cold' is none of these" in told.stdout
    assert "the shop found the fault in it, igniter-cracked/A: tip cracked." in told.stdout


def test_a_shop_may_have_named_no_fault(ended: Path) -> None:
    from rich.console import Console

    from isolate.case.case import fold
    from isolate.terminal.finding import ask
    from isolate.terminal.keys import Lines

    with open_store(ended) as store:
        state = fold(store.events("done"))
    told = io.StringIO()
    console = Console(file=told, width=80)

    def asked(lines: str, **more: Any) -> tuple[str | None, str, str, str, str]:
        return ask(state, None, "", "", console=console, face=Lines(io.StringIO(lines), console), **more)

    fitted = fit(loading.load().knowledge, "halden-hf-3")
    assert asked("1\n\ntip cracked\nR-1\n", fitted=lambda: fitted) == (None, "confirmed", "tip cracked", "R-1", "")
    assert told.getvalue().count("Which fault of it") == 1
    # It is not asked where it was told, where nothing was confirmed, or where the knowledge has not the engine.
    assert asked("1\n\n\n", mode="igniter-worn", fitted=lambda: fitted)[4] == "igniter-worn"
    assert asked("2\n\n\n", fitted=lambda: fitted)[4] == asked("1\n\n\n")[4] == ""
    assert told.getvalue().count("Which fault of it") == 1


# -- earlier cases, and what came back --------------------------------------------------------------


def _later(monkeypatch: pytest.MonkeyPatch, days: int) -> None:
    """Let it be so many days after the day on which the tests' cases are opened."""
    monkeypatch.setattr("isolate.cli._now", lambda: Clock()() + timedelta(days=days))


def test_a_case_on_an_engine_that_had_one_says_what_it_carries(
    cli: Cli, ended: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = put(tmp_path / "again.yaml", ANSWERS)
    _later(monkeypatch, 12)
    first = cli("chase", "--answers", answers, "--store", ended)
    assert "Carried from 1 earlier case on this engine" in first.out
    assert "12 days ago: Engine did not light off; Replace igniter plug A. Counts 87%." in first.out
    case = first.out.split()[1]
    shown = cli("cases", "show", case, "--store", ended).out
    assert "Case done, ended 12 days ago" in shown and "Done: Replace igniter plug A" in shown
    # That one is left open: it is named and nothing of it is carried.
    _later(monkeypatch, 13)
    second = cli("chase", "--answers", answers, "--store", ended)
    assert "Carried from 1 earlier case" in second.out and f"Case {case} on this engine is still open" in second.out
    afresh = cli("chase", "--answers", answers, "--store", ended, "--afresh")
    assert "arried from" not in afresh.out and "still open" not in afresh.out
    plain(cli("chase", "--resume", case, "--afresh", "--store", ended), "--afresh is for a new case")


def test_what_came_back_is_listed(cli: Cli, ended: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "Nothing came back" in cli("repeats", "--store", ended).out
    _later(monkeypatch, 12)
    cli("chase", "--answers", put(tmp_path / "again.yaml", ANSWERS), "--store", ended)
    told = cli("repeats", "--store", ended).out
    assert "Aircraft 230, engine 1 (Halden HF-3)" in told and "Replace igniter" in told
    assert "12 days from the end of" in " ".join(told.split())
    (found,) = json.loads(cli("repeats", "--store", ended, "--json").out)["repeats"]
    assert [v["days"] for v in found["visits"]] == [None, pytest.approx(12, abs=0.01)]
    assert found["visits"][0]["case"] == "done" and found["visits"][0]["repairs"] == ["replace-igniter/A"]
    none = json.loads(cli("repeats", "--store", ended, "--json", "--days", "3").out)
    assert none["repeats"] == [] and none["cases"] == 2
    assert all("dated after today" in note for note in none["notes"])
    plain(cli("repeats", "--store", ended, "--aircraft", "104"), "no case here is of aircraft '104'")
    for days in ("0", "-4", "nan", "1e9"):
        plain(cli("repeats", "--store", ended, f"--days={days}"), "days are a number above 0")
    plain(cli("repeats", "--store", ended, "--days", "soon"), "invalid float value: 'soon'")
    plain(cli("repeats", "--store", tmp_path), "is a folder")

"""``review CASE --what-if`` as a command: what is printed, that nothing is written, and sentences for what is wrong."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from isolate.case.events import to_line
from isolate.cli import main
from isolate.kb.load import load
from tests.review import desk

CASE = "104-2-desk"
HEARD = 11
"""The event at which channel B was heard."""
SILENT = f"{HEARD}=silent"


class Ran(NamedTuple):
    code: int
    out: str
    err: str


Cli = Callable[..., Ran]


@pytest.fixture(scope="module")
def desks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the small knowledge, and a case worked with it as a file."""
    folder = tmp_path_factory.mktemp("desk")
    kit = desk.kit_in(desk.write(folder / "kb"))
    events = desk.case(kit, "igniter-worn/B")
    heard = next(e for e in events if e.kind == "answered" and e.body["check"] == "heard/B")
    assert heard.seq == HEARD
    (folder / "case.jsonl").write_bytes(b"".join(to_line(event) + b"\n" for event in events))
    return folder


@pytest.fixture(scope="module")
def kept(desks: Path) -> Path:
    """A store with that case in it, in a folder of its own."""
    path = desks / "store" / "cases.sqlite"
    path.parent.mkdir()
    assert main(["cases", "import", str(desks / "case.jsonl"), "--store", str(path)]) == 0
    return path


@pytest.fixture
def cli(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Cli:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("ISOLATE_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "80")

    def run(*argv: object) -> Ran:
        capsys.readouterr()
        code = main([str(a) for a in argv])
        return Ran(code, *capsys.readouterr())

    return run


def digests(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


def test_it_is_printed_one_below_the_other_at_80_and_the_store_is_left_alone(cli: Cli, kept: Path) -> None:
    before = digests(kept.parent)
    ran = cli("review", CASE, "--store", kept, "--knowledge", kept.parent.parent / "kb", "--what-if", SILENT)
    assert ran.code == 0 and ran.err == ""
    assert digests(kept.parent) == before
    lines = ran.out.splitlines()
    assert max(map(len, lines)) <= 80 and "\x1b" not in ran.out
    assert lines[1].startswith("With the same answers, ")
    assert "rereads the answers that the case had" in ran.out
    had = next(line for line in lines if line.startswith("Had "))
    assert had.startswith("Had event 11 (Was channel B heard?) read “nobody")
    was, changed = (next(i for i, line in enumerate(lines) if f"── {word}: from event 11" in line)
                    for word in ("AS IT WAS", "CHANGED"))  # fmt: skip
    assert was < changed
    assert "[CHANGED]" in " ".join(lines[changed:]) and "[supposed]" in " ".join(lines[changed:])
    assert not any("supposed]" in line for line in lines[was:changed])
    assert any("nothing here releases an aircraft" in " ".join(lines[i : i + 2]) for i in range(12))


def test_wide_they_stand_side_by_side(cli: Cli, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "130")
    ran = cli("review", CASE, "--store", kept, "--knowledge", kept.parent.parent / "kb", "--what-if", SILENT)
    row = next(line for line in ran.out.splitlines() if "It was heard" in line)
    assert "Nobody heard it  [CHANGED]" in row and "AS IT WAS" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 130


def test_a_plain_terminal_gets_plain_signs(cli: Cli, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Plain:
        encoding = "ascii"
        said = ""

        def write(self, said: str) -> int:
            said.encode("ascii")
            Plain.said += said
            return len(said)

        def flush(self) -> None: ...

        def isatty(self) -> bool:
            return False

    monkeypatch.setattr("sys.stdout", Plain())
    assert (
        main(["review", CASE, "--store", str(kept), "--knowledge", str(kept.parent.parent / "kb"), "--what-if", SILENT])
        == 0
    )
    assert 'read "nobody heard it"' in " ".join(Plain.said.split()) and "?" not in Plain.said.splitlines()[0]


def test_json_and_text(cli: Cli, kept: Path, tmp_path: Path) -> None:
    ran = cli("review", CASE, "--store", kept, "--knowledge", kept.parent.parent / "kb", "--what-if", SILENT, "--json")
    data = json.loads(ran.out)
    assert data["since"] == HEARD and data["changed"]["named"] == "exciter-dead/B" and not data["same"]
    out = tmp_path / "what-if.txt"
    ran = cli(
        "review",
        CASE,
        "--store",
        kept,
        "--knowledge",
        kept.parent.parent / "kb",
        "--what-if",
        f"{HEARD}=heard",
        "--text",
        out,
    )
    assert ran.code == 0 and "nothing would have gone differently" in out.read_text(encoding="utf-8").replace("\n", " ")
    again = cli(
        "review",
        CASE,
        "--store",
        kept,
        "--knowledge",
        kept.parent.parent / "kb",
        "--what-if",
        f"{HEARD}=heard",
        "--text",
        out,
    )
    assert again.code == 1 and "--overwrite" in again.err


def test_other_knowledge_by_its_folder_or_its_digest(cli: Cli, kept: Path, tmp_path: Path) -> None:
    own = kept.parent.parent / "kb"
    other = desk.write(tmp_path / "kb", "prior: 0.09", "prior: 0.009")
    ran = cli("review", CASE, "--store", kept, "--knowledge", own, "--what-if", f"knowledge={other}", "--json")
    assert ran.code == 0 and not json.loads(ran.out)["same"] and json.loads(ran.out)["since"] == 1
    digest = load(own).knowledge.digest[:10]
    ran = cli("review", CASE, "--store", kept, "--knowledge", own, "--what-if", f"knowledge={digest}", "--json")
    assert json.loads(ran.out)["same"]


def test_a_version_kept_in_the_store_is_found_by_its_digest(cli: Cli, kept: Path, tmp_path: Path) -> None:
    store, own = tmp_path / "cases.sqlite", kept.parent.parent / "kb"
    shutil.copy(kept, store)
    other = desk.write(tmp_path / "kb", "prior: 0.09", "prior: 0.009")
    digest = load(other).knowledge.digest
    assert cli("store", "knowledge", "--keep", other, "--store", store).code == 0
    shutil.rmtree(other)
    ran = cli("review", CASE, "--store", store, "--knowledge", own, "--what-if", f"knowledge={digest[:12]}", "--json")
    assert ran.code == 0 and digest[:12] in json.loads(ran.out)["sentence"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("40=heard", "event 40 is no answer; the answers are 7 (Measure lead B), 11 (Was channel B heard?)"),
        ("knowledge=abcdefab12", "isolate store knowledge lists those that are"),
        ("igniter-worn=x", "is a probability between 0 and 1, not 'x'"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(cli: Cli, kept: Path, change: str, says: str) -> None:
    ran = cli("review", CASE, "--store", kept, "--knowledge", kept.parent.parent / "kb", "--what-if", change)
    assert ran.code == 1 and says in ran.err and "Traceback" not in ran.err and ran.out == ""


def test_there_is_no_page_of_it(cli: Cli, kept: Path, tmp_path: Path) -> None:
    ran = cli(
        "review",
        CASE,
        "--store",
        kept,
        "--knowledge",
        kept.parent.parent / "kb",
        "--what-if",
        SILENT,
        "--html",
        tmp_path / "x.html",
    )
    assert ran.code == 1 and "no page" in ran.err and not os.listdir(tmp_path)


def test_a_case_file_is_read_and_left_alone(cli: Cli, desks: Path, tmp_path: Path) -> None:
    path = tmp_path / "case.jsonl"
    shutil.copy(desks / "case.jsonl", path)
    before = path.read_bytes()
    ran = cli("review", path, "--knowledge", desks / "kb", "--what-if", SILENT, "--json")
    assert ran.code == 0 and json.loads(ran.out)["case"] == CASE and path.read_bytes() == before
    assert os.listdir(tmp_path) == ["case.jsonl"]

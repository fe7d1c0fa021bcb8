"""The documents say what the program does: commands parse, examples load and run, names and files exist."""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from textwrap import dedent

import pytest
from rich.cells import cell_len

from isolate import cli
from isolate.calc import TITLES, calculation
from isolate.case.advise import advise
from isolate.case.case import Intake
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.store import open_store
from isolate.case.written import Answers, read
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load, shipped, shipped_scenarios
from isolate.reasoning.rules import RuleBook, fact
from isolate.terminal import calcs

ROOT = Path(__file__).parent.parent
README, DEVELOPERS = ((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))
BOTH = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}
MAIN_JOB = "python3 -m venv .venv && .venv/bin/python -m pip install . && .venv/bin/isolate chase"
TESTS = 'python3 -m venv .venv && .venv/bin/python -m pip install -e ".[test]" && .venv/bin/python -m pytest'


@dataclass(frozen=True)
class Block:
    """A fenced block of a document."""

    language: str
    text: str

    @property
    def first(self) -> str:
        return self.text.splitlines()[0]


def blocks(text: str, language: str) -> list[Block]:
    found = [Block(m[1], m[2]) for m in re.finditer(r"^```(\w+)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]
    return [b for b in found if b.language == language]


def prose(text: str) -> str:
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


def titled(text: str, first: str) -> str:
    """Return the one YAML example that begins with this comment."""
    (found,) = (b.text for b in blocks(text, "yaml") if b.first == f"# {first}")
    return found


def examples(text: str) -> list[str]:
    """Return every command line of ours in the shell blocks and between back-ticks, without its comment."""
    lines = [line for block in blocks(text, "sh") for line in block.text.splitlines()]
    lines += re.findall(r"`([^`\n]+)`", prose(text))
    found = []
    for line in lines:
        for part in line.split("&&"):
            words = shlex.split(part, comments=True)
            if words and Path(words[0]).name == "isolate" and len(words) > 1:
                found.append(shlex.join(words[1:]))
    return sorted(set(found))


EXAMPLES = sorted({command for text in BOTH.values() for command in examples(text)})


def problem_with(command: str) -> str:
    """Return what is wrong with a command line of ours, or nothing. Words in capitals are placeholders."""
    words = shlex.split(command)
    if ">" in words:
        words = words[: words.index(">")]
    said = io.StringIO()
    if words[:1] == ["calc"] and len(words) > 2 and words[1] in TITLES:
        return _problem_with_sum(words[1:])
    if words == ["calc"]:
        return ""
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            told = cli._parser().parse_args(cli._joined(words))
    except SystemExit as stop:
        return "" if stop.code == 0 else said.getvalue()
    if told.run is None:
        return "no command"
    name = told.name if getattr(told, "command", "") == "drill" else None
    if name and not name.isupper() and not _scenario(name).is_file():
        return f"no scenario is called {told.name}"
    return ""


def _problem_with_sum(words: list[str]) -> str:
    """Return what is wrong with a calculation as shown: one that reads a file is parsed, any other is done."""
    said = io.StringIO()
    one = calculation(words[0])
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
        try:
            if any(wanted.kind == "file" for wanted in one.inputs):
                calcs._parser(one).parsed(calcs._words(one, words[1:]))
                return ""
            return "" if cli.main(["calc", *words]) == 0 else said.getvalue()
        except SystemExit:
            return said.getvalue()


def _scenario(name: str) -> Path:
    return shipped_scenarios() / f"{name}.yaml"


# -- the beginning of the README -------------------------------------------------------------------


def test_the_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph, *rest = README.split("\n\n")
    assert title == "# isolate"
    assert not paragraph.startswith(("#", "`", "-", "|", ">", "!"))
    for word in ("light off", "ignition", "technician", "trainee", "engineer", "trail", "verified"):
        assert word in paragraph.lower().replace("\n", " "), word
    assert rest[0].startswith("## ")


@pytest.mark.parametrize("command", [MAIN_JOB, TESTS])
def test_the_two_commands_stand_on_one_line_each(command: str) -> None:
    assert README.splitlines().count(command) == 1
    assert command in [b.text.rstrip("\n") for b in blocks(README, "sh")], "in a block of its own, to be copied whole"


def test_ci_runs_the_test_command_of_the_readme() -> None:
    ran = subprocess.run(
        ["bash", str(ROOT / ".ci" / "run"), "--show"], cwd=ROOT.parent, capture_output=True, text=True, check=True
    )
    assert ran.stdout == f"{TESTS}\n"


@pytest.mark.parametrize("readme", ["no command here\n", f"{TESTS}\n{TESTS}\n"], ids=["none", "two"])
def test_ci_refuses_a_readme_without_one_test_command(tmp_path: Path, readme: str) -> None:
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci")
    (tmp_path / "README.md").write_text(readme, encoding="utf-8")
    ran = subprocess.run(["bash", str(tmp_path / ".ci" / "run"), "--show"], capture_output=True, text=True, check=False)
    assert ran.returncode == 1
    assert "README.md must hold one line" in ran.stderr


def test_the_session_shown_fits_a_small_terminal() -> None:
    screens = blocks(README, "text")
    assert screens
    for screen in screens:
        lines = screen.text.splitlines()
        assert len(lines) <= 24
        assert max(cell_len(line) for line in lines) <= 80
    assert any("suspects" in screen.text and "q leave" in screen.text for screen in screens)


# -- commands --------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", EXAMPLES)
def test_commands_in_the_documents_parse(command: str) -> None:
    assert problem_with(command) == ""


@pytest.mark.parametrize("command", ["chaise", "kb", "chase --resume A B", "next", "drill no-such", "kb schema -x"])
def test_a_command_that_does_not_parse_is_seen(command: str) -> None:
    assert problem_with(command) != ""


def test_the_readme_shows_every_command() -> None:
    parser = cli._parser()
    (commands,) = (a.choices for a in parser._actions if a.dest != "version" and isinstance(a.choices, dict))
    shown = {cli._joined(command.split())[0] for command in examples(README)}
    assert set(commands) <= shown


def test_the_keys_in_the_readme_are_those_of_the_screen() -> None:
    from isolate.terminal import keys

    (line,) = (p for p in prose(README).split("\n\n") if p.startswith("A digit answers."))
    shown = set(re.findall(r"`(\S)`", line))
    assert shown == {
        k.key
        for k in (
            *(keys.WHY, keys.ELSE, keys.CANNOT, keys.UNSURE, keys.BACK, keys.NOTE),
            *(keys.TELL, keys.RECORD, keys.HAND, keys.LEAVE, keys.HELP),
        )
    }


# -- examples --------------------------------------------------------------------------------------


def test_the_python_example_runs(tmp_path: Path) -> None:
    (example,) = blocks(README, "python")
    assert len(example.text.splitlines()) < 20
    code = "import sys\nsys.path.insert(0, sys.argv[1])\n" + example.text
    ran = subprocess.run(
        [sys.executable, "-c", code, str(ROOT)], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    lines = ran.stdout.splitlines()
    assert len(lines) > 3
    assert all(re.fullmatch(r"(check|repair|verify|end) \S+ \d+ \d+", line) for line in lines[:3]), lines
    assert all(re.fullmatch(r"[a-z-]+(/[AB])? [01]\.\d+", line) for line in lines[3:]), lines


def test_the_answers_example_plays(
    tmp_path: Path, hf3: Fitted, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("answers.yaml").write_text(titled(README, "answers.yaml"), encoding="utf-8")
    written = read(Path("answers.yaml"), Answers, hf3)
    status = cli.main(["chase", "--answers", "answers.yaml", "--store", "cases.db"])
    said = capsys.readouterr()
    assert status == 0 or "there is no" in said.err, said.err
    with open_store("cases.db") as store:
        (case,) = store.cases()
        answered = [e.body["check"] for e in store.events(case.id) if e.kind == "answered"]
    assert answered
    assert set(answered) <= set(written.answers)


def test_the_json_of_next_is_as_the_readme_says(kit: Kit) -> None:
    told = Intake(aircraft="117", position="1", engine="halden-hf-3", complaint="no-light-off", place="hangar")
    log = Memory()
    Chase.begin(kit, log, "trial", told, lambda: datetime.now(UTC))
    advice = advise(lambda _: kit, log.events("trial"), lambda: datetime.now(UTC))
    (paragraph,) = (p for p in prose(README).split("\n\n") if p.startswith("`isolate next CASE.jsonl --json` prints"))
    assert re.findall(r"`(\w+)`", paragraph) == list(json.loads(json.dumps(advice)))


# -- the author's path -----------------------------------------------------------------------------


def section(text: str, title: str) -> str:
    (found,) = re.findall(rf"^## {title}\n(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    return str(found)


def steps(text: str) -> list[Block]:
    return [Block(m[1], m[2]) for m in re.finditer(r"^```(\w+)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


PATH = section(DEVELOPERS, "Ten minutes: a fault mode, a check, a repair and a rule").split("\n### ")[0]


def put(block: Block, top: Path) -> None:
    """Do with an example what its first line says: a file of its own, or an entry put under the modes of a zone."""
    if where := re.fullmatch(r"# (mine/\S+)", block.first):
        assert not (top / where[1]).exists()
        (top / where[1]).write_text(block.text, encoding="utf-8")
        return
    where = re.fullmatch(r"# in (mine/\S+), under modes", block.first)
    assert where is not None, block.first
    file = top / where[1]
    text = file.read_text(encoding="utf-8")
    assert text.count("\n    modes:\n") == 1
    added = block.text.removeprefix(f"{block.first}\n")
    file.write_text(text.replace("\n    modes:\n", f"\n    modes:\n{added}"), encoding="utf-8")


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[list[str], str, Path]]:
    """Walk the author's path: by run of commands, what the page says that it prints, what it printed, the copy."""
    top = tmp_path_factory.mktemp("author")
    shutil.copytree(shipped(), top / "knowledge")
    found: list[tuple[list[str], str, Path]] = []
    said = ""
    with contextlib.chdir(top):
        for block in steps(PATH):
            if block.language == "yaml":
                put(block, top)
            elif block.language == "sh":
                said = ""
                for line in block.text.splitlines():
                    words = shlex.split(line)
                    if words[0] == "cp":
                        assert words == ["cp", "-r", "knowledge", "mine"]
                        shutil.copytree("knowledge", "mine")
                        continue
                    out = io.StringIO()
                    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
                        cli.main(words[1:])
                    said += out.getvalue()
            elif said:
                found.append((block.text.splitlines(), said, top / "mine"))
                said = ""
    return found


def test_every_step_of_the_authors_path_prints_what_the_page_says(walked: list[tuple[list[str], str, Path]]) -> None:
    assert len(walked) == 5
    for printed, said, _ in walked:
        flat = " ".join(said.split())
        for line in printed:
            assert line in flat, (line, said)
    # What is mended is gone: the step after does not say it any more.
    for step in (1, 2):
        assert walked[step][0][0] not in " ".join(walked[step + 1][1].split())


def test_the_authors_path_ends_with_what_it_set_out_to_add(walked: list[tuple[list[str], str, Path]]) -> None:
    mine = walked[-1][2]
    grown, had = load(mine), load().knowledge
    assert set(grown.knowledge.checks) - set(had.checks) == {"lead-grommet-look"}
    assert set(grown.knowledge.repairs) - set(had.repairs) == {"replace-lead-grommet"}
    assert set(grown.knowledge.rules) - set(had.rules) == {"both-grommets"}
    assert set(grown.knowledge.zones["channel"].modes) - set(had.zones["channel"].modes) == {"lead-grommet-split"}
    rules = RuleBook(fit(grown.knowledge, "halden-hf-3").rules)
    sound, split = (
        fact("answer", check="lead-grommet-look", channel="B", outcome=o, count=1) for o in ("sound", "split")
    )
    assert "both-grommets" not in {f.rule for f in rules.run([sound])}
    (says,) = (f.says for f in rules.run([split]) if f.rule == "both-grommets")
    assert "lead B is split" in says


def test_a_slip_on_the_authors_path_is_told_as_the_page_says(
    walked: list[tuple[list[str], str, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(walked[-1][2], tmp_path / "mine")
    rule = tmp_path / "mine" / "rules" / "grommet.yaml"
    rule.write_text(rule.read_text(encoding="utf-8").replace("lead-grommet-look", "lead-gromet-look"), encoding="utf-8")
    assert cli.main(["kb", "check", "--knowledge", str(tmp_path / "mine")]) != 0
    told = capsys.readouterr()
    flat = " ".join((told.out + told.err).split())
    (line,) = steps(PATH.split("A slip is told")[1])[0].text.splitlines()
    assert line in flat and "grommet.yaml:7" in flat, flat


def test_the_drill_of_the_authors_path_is_solved(
    walked: list[tuple[list[str], str, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "wet-morning.yaml"
    path.write_text(titled(DEVELOPERS, "scenarios/wet-morning.yaml"), encoding="utf-8")
    words = ["drill", "wet-morning", "--solve", "--scenarios", str(tmp_path), "--knowledge", str(walked[-1][2])]
    assert cli.main(words) == 0, capsys.readouterr()
    path.write_text(path.read_text(encoding="utf-8").replace("story:", "tale:"), encoding="utf-8")
    assert cli.main(words) != 0
    assert "tale" in capsys.readouterr().err


# -- names -----------------------------------------------------------------------------------------

PART = re.compile(r"`((?:isolate|knowledge|scenarios|tests|\.ci)/[\w./-]*|[A-Z]+(?:\.md)?)`")


@pytest.mark.parametrize("name", BOTH)
def test_files_and_constants_named_in_the_documents_exist(name: str) -> None:
    text = prose(BOTH[name])
    named = set(PART.findall(text))
    assert named
    source = "\n".join(p.read_text(encoding="utf-8") for p in sorted((ROOT / "isolate").rglob("*.py")))
    placeholders = {"NAME"}
    for part in sorted(named - placeholders):
        if "/" in part or part.endswith(".md") or part == "LICENSE":
            assert (ROOT / part).exists(), part
        else:
            assert re.search(rf"^{part}\b.*=", source, re.MULTILINE), part


def test_no_document_names_a_path_of_some_machine() -> None:
    for name, text in BOTH.items():
        assert not re.search(r"(?<![\w.~])/(?:home|root|tmp|opt|work|usr|Users)/", text), name


def test_the_licence_is_the_one_declared() -> None:
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License\n" in text
    assert "Version 2.0, January 2004" in text
    assert "END OF TERMS AND CONDITIONS" in text
    assert 'license = "Apache-2.0"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert dedent(text).count("http://www.apache.org/licenses/LICENSE-2.0") == 1


def test_the_exercise_in_the_readme_plays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("ISOLATE_DRILLS", str(tmp_path / "drills.db"))
    (tmp_path / "exercise.yaml").write_text(titled(README, "exercise.yaml"), encoding="utf-8")
    cli.main(["drill", "--script", str(tmp_path / "exercise.yaml")])
    played = capsys.readouterr()
    assert played.err == "" and "GIVEN UP" in played.out and "igniter A, of which you were 60% sure" in played.out

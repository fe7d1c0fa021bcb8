"""The command ``review``: what it prints, at 80 columns and wide, into files, and what it says of bad input."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

import pytest
from rich.cells import cell_len

from isolate.case.events import Event, to_line
from isolate.case.store import open_store
from isolate.cli import main
from isolate.kb import load as reading
from isolate.kb.load import Loaded, load
from isolate.review.review import review
from isolate.review.story import odds_words
from isolate.terminal.review_layout import PARTS, _bar
from isolate.terminal.reviewing import ALWAYS, FIELDS, as_text
from tests.review.read_back import kits, more, read_back
from tests.worked import TRAILS, kept, kept_folder, trail

CASE = "230-2-0312-a007"
WHOLE = TRAILS / "taken-back.jsonl"
EVENTS = trail("taken-back")[:26]
"""Up to the answer that was given again after it had been taken back."""
Run = Callable[..., tuple[int, str, str]]


@lru_cache(maxsize=1)
def _shipped() -> Loaded:
    return load()


def _load(folder: Path | None = None) -> Loaded:
    """Load the shipped knowledge, and that of the kept trails, once for all."""
    return _shipped() if folder is None else kept() if folder == kept_folder() else load(folder)


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "case.jsonl"
    _write(path, EVENTS)
    return str(path)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "cases.db"))
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(reading, "load", _load)

    def ran(*arguments: str) -> tuple[int, str, str]:
        code = main(["review", *arguments, "--knowledge", str(kept_folder())])
        said = capsys.readouterr()
        return code, said.out, said.err

    return ran


# -- what is printed ---------------------------------------------------------------------------------


def test_all_of_it(run: Run, file: str) -> None:
    code, out, err = run(file)
    assert (code, err) == (0, "")
    at = [out.index(f"── {title} ") for title in PARTS.values()]
    assert at == sorted(at)
    assert "Aircraft 230, engine 2 (Halden HF-3): Now and then it does not light." in out
    assert "Not ended: the case is open." in out
    assert "Trail  whole; replays the same; unsigned. 26 events." in out
    assert "TAKEN BACK LATER: Has it lit later" in out and "\x1b" not in out


@pytest.mark.parametrize("width", [80, 130])
def test_every_line_fits(width: int) -> None:
    for name in ("came-back", "declined"):
        text = as_text(read_back(name), width)
        assert max(cell_len(line) for line in text.splitlines()) <= width
        assert not [line for line in text.splitlines() if line != line.rstrip()]


@pytest.mark.parametrize("part", PARTS)
def test_one_part_alone(part: str) -> None:
    text = as_text(read_back("declined"), 80, part)
    assert f"── {PARTS[part]} " in text and text.count("\n── ") == 1
    assert text.startswith("── Review: Case 230-1-0214-a004 ")


def test_a_part_that_there_is_not_says_which_there_are(run: Run, file: str) -> None:
    code, out, err = run(file, "--only", "storie")
    assert code == 1 and out == ""
    assert "a review has no part 'storie' (did you mean story?)" in err and "record" in err


def test_the_chart_needs_no_colour() -> None:
    """Shares as digits, of 20 columns each 5 percent: 50 and 25 percent, the rest other faults or none."""
    assert _bar((0.5, 0.25), 0.0, 20).plain == "1" * 10 + "2" * 5 + "." * 5
    assert _bar((0.05, 0.0), 0.9, 20).plain == "1" + "." + "-" * 18
    assert _bar((0.8, 0.8), 0.0, 20).plain == "1" * 10 + "2" * 10, "two faults at once"
    text = as_text(read_back("declined"), 80, "belief")
    assert "1  Lead B open  <- the end names it" in text
    assert "  78 Measure lead B from end to" in text and " 11111111111111111111 " in text


def test_words_stand_where_an_answer_says_something() -> None:
    lines = as_text(read_back("declined"), 80, "belief").splitlines()
    at = next(i for i, line in enumerate(lines) if "78 Measure lead B from end to end: Open" in line)
    assert lines[at + 1].strip() in ("-> strongly for", "-> very strongly for")
    assert not [line for line in lines if "-> says nothing" in line]
    wide = as_text(read_back("declined"), 130, "belief")
    assert "doubt: bits of doubt that it took away" in wide


def test_nothing_is_told_at_one_width_only() -> None:
    """Rules, advice and verdicts in full at 80 columns too: the same words, however they are broken into lines."""
    made = read_back("declined")
    for part in ("story", "rules", "minutes", "advice", "trust", "record"):
        narrow, wide = (as_text(made, width, part).split("──\n", 2)[-1] for width in (80, 140))
        words = [sorted(w for w in text.split() if set(w) - {"#", "─"}) for text in (narrow, wide)]
        assert words[0] == words[1] and "…" not in narrow, part
    assert made.rules[0].says in " ".join(as_text(made, 80, "story").split())


def test_a_row_of_the_story_stands_at_its_end() -> None:
    """Openings told together: the time is that of the last of them, as the minutes are."""
    made = read_back("declined")
    rows = [line for line in as_text(made, 80, "story").splitlines() if line[2:3] == ":" and line[11:16].strip()]
    at = {m.seq: m for m in made.story}
    assert len(rows) > 20
    ends = {(m.time[11:16], f"{m.at:.0f}") for m in made.story}
    for row in rows:
        assert (row[:5], row[6:10].strip()) in ends and int(row[11:16]) in at


def test_odds_of_one_are_about_even() -> None:
    assert [odds_words(odds) for odds in (1.0, 1.49, 1.5, 14.2)] == ["about even", "about even", "1.5 to 1", "14 to 1"]


def test_facts_of_cautions_stand_in_the_story_alone_and_under_the_rules_else() -> None:
    made = read_back("declined")
    assert "tag: T-17" in as_text(made, 80, "story") and "tag: T-17" in as_text(made, 80, "rules")
    whole = as_text(made, 80)
    story, rest = whole.split("── What was believed", 1)
    assert "tag: T-17" not in story and "Cautions confirmed: " in story and "tag: T-17" in rest


def test_what_the_shop_doubts_stands_at_the_top() -> None:
    head = as_text(read_back("declined"), 80).split("── The story", 1)[0]
    assert "DOUBT  The verdict is in doubt: the end names lead B open, but the shop found" in head
    assert "Least" not in head and "right move" not in head and "known from the start" not in head


def test_output_that_takes_ascii_only_gets_that(
    run: Run, file: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    with open(out, "w", encoding="ascii") as stream:
        monkeypatch.setattr(sys, "stdout", stream)
        assert main(["review", file, "--only", "story", "--knowledge", str(kept_folder())]) == 0
    assert "-- The story ---" in out.read_text(encoding="ascii")


def test_mark_up_and_escape_sequences_stay_text(run: Run, file: str) -> None:
    code, out, _ = run(file, "--only", "story")
    assert code == 0 and "Note: Seen: <b>soot</b> & =SUM(A1) red on the tailpipe" in out
    events = more(EVENTS[:2], ("noted", {"text": "[bold]x[/bold] :smile: \x1b]0;gone\x07 \x1b[2J end"}))
    assert "Note: [bold]x[/bold] :smile:" in as_text(
        review(kits, events, without=["firm", "not asked", "record"]), 80, "story"
    )


# -- into files --------------------------------------------------------------------------------------


def test_files_are_written_and_never_over_others(run: Run, tmp_path: Path) -> None:
    text, html, prov = (tmp_path / name for name in ("r.txt", "r.html", "r.json"))
    short = tmp_path / "short.jsonl"
    _write(short, (*EVENTS[:2], *more(EVENTS[:2], ("noted", {"text": "<b>soot</b>"}))[2:]))
    every = ("--text", str(text), "--html", str(html), "--prov", str(prov), "--only", "minutes")
    code, out, _ = run(str(short), *every)
    assert code == 0 and out.splitlines() == [
        f"{html}: the review as a page of case {CASE}",
        f"{text}: the review as text of case {CASE}",
        f"{prov}: where everything came from of case {CASE}",
    ]
    assert "── Minutes, by the book ──" in text.read_text(encoding="utf-8")
    assert "&lt;b&gt;soot" in html.read_text(encoding="utf-8") and json.loads(prov.read_text(encoding="utf-8"))
    code, out, err = run(str(short), "--text", str(text))
    assert code == 1 and f"{text} is there already" in err
    code, out, err = run(str(short), "--text", str(tmp_path / "same"), "--html", str(tmp_path / "same"))
    assert code == 1 and "own name" in err and not (tmp_path / "same").exists()


def test_json_holds_the_part_asked_for(run: Run, file: str) -> None:
    code, out, _ = run(file, "--json", "--only", "minutes")
    found = json.loads(out)
    assert code == 0 and set(found) == {*ALWAYS, *FIELDS["minutes"]}
    assert sum(s["minutes"] for s in found["spent"]) == found["book"] == 17


def test_every_part_is_a_field_as_json() -> None:
    fields = read_back("declined").as_dict()
    assert set(FIELDS) == set(PARTS) and all(name in fields for names in FIELDS.values() for name in names)


# -- from the store, forked, broken ------------------------------------------------------------------


def test_a_case_of_the_store_and_the_other_end_of_a_forked_one(run: Run, tmp_path: Path) -> None:
    begun = EVENTS[:10]
    one = more(begun, ("noted", {"text": "here"}), ("noted", {"text": "and here"}))
    other = more(begun, ("noted", {"text": "there"}))
    with open_store() as store:
        for number, events in enumerate((one, other)):
            path = tmp_path / f"{number}.jsonl"
            _write(path, events)
            store.import_case(path)
    code, out, err = run(CASE, "--only", "minutes")
    assert (code, err) == (0, "")
    name = f"{CASE}@{other[-1].hash[:8]}"
    assert f"FORK   It has another end, {name}" in out
    code, out, _ = run(name, "--only", "story")
    assert code == 0 and "Note: there" in out and "Note: here" not in out and f"{CASE}@{one[-1].hash[:8]}" in out


def test_a_case_that_there_is_not(run: Run, tmp_path: Path) -> None:
    code, out, err = run("nobody-1")
    assert code == 1 and out == "" and "There is no store at" in err
    assert not (tmp_path / "cases.db").exists(), "none is made by asking"
    open_store(tmp_path / "cases.db").close()
    code, out, err = run("nobody-1")
    assert code == 1 and out == "" and "There is no case nobody-1" in err
    code, _, err = run("nobody.jsonl")
    assert code == 1 and err.startswith("isolate: nobody.jsonl: it could not be read: no such file")


def test_of_a_torn_file_what_is_whole_is_reviewed(run: Run, tmp_path: Path) -> None:
    torn = tmp_path / "torn.jsonl"
    torn.write_bytes(WHOLE.read_bytes()[:12_000])
    code, out, _ = run(str(torn), "--only", "story")
    whole = WHOLE.read_bytes()[:12_000].count(b"\n")
    assert code == 0 and f"This is a review of events 1 to {whole} only, which are whole." in " ".join(out.split())
    assert "NOT WHOLE" in out and "Not ended, as far as the trail is whole." in out


def test_of_a_file_of_which_nothing_is_whole_that_is_said(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "gone.jsonl"
    path.write_bytes(b"".join(WHOLE.read_bytes().splitlines(keepends=True)[1:]))
    code, out, err = run(str(path))
    assert code == 1 and out == "" and "nothing of it is whole" in err and "Event 1 is missing" in err
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    code, _, err = run(str(path))
    assert code == 1 and "this is no case file" in err


def test_line_ends_changed_on_the_way_are_a_note(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "mailed.jsonl"
    path.write_bytes(WHOLE.read_bytes().replace(b"\n", b"\r\n"))
    code, out, _ = run(str(path), "--only", "minutes")
    assert code == 0 and "NOTE   Its line ends were changed on the way" in out and "Trail  whole" in out


def _write(path: Path, events: Sequence[Event]) -> None:
    path.write_bytes(b"".join(to_line(event) + b"\n" for event in events))

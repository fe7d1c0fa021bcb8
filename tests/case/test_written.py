"""A case as people write it in YAML: read strictly, told with file and line, played in turn."""

from __future__ import annotations

from pathlib import Path

import pytest

from isolate.case.play import OutOfAnswers
from isolate.case.written import Answers, Script, read
from isolate.drill.scenario import Scenario
from isolate.kb.fit import Fitted
from isolate.kb.model import Ask
from isolate.kb.read import KnowledgeError
from isolate.reasoning.starts import Start

GOOD = """\
case:
  aircraft: 104
  position: 2
  engine: halden-hf-3
  complaint: no-light-off
  condition: cold
  starts:
    - {channel: A, lit: false}
    - {lit: true, condition: hot}
  people:
    - {name: the technician, may: [licensed]}
answers:
  crew-ask: by-the-book
  spark-test/A: [silent, null, weak]
  history-read:
facts: {person: the technician, count: 2, wait: 7.5}
cannot:
  lead-continuity/A: no meter here
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "answers.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_case_is_read_as_it_was_written(tmp_path: Path, hf3: Fitted) -> None:
    written = read(write(tmp_path, GOOD), Answers, hf3)
    intake = written.case.intake()
    assert (intake.aircraft, intake.position) == ("104", "2"), "numbers stand as text, as they were written"
    assert intake.starts == (Start("A", False, "cold"), Start("unknown", True, "hot"))
    assert intake.people[0].may == ("licensed",) and intake.place == "gate" and intake.minutes_left is None
    assert written.answers["spark-test/A"] == ["silent", None, "weak"] and written.answers["history-read"] is None
    assert written.facts == {"person": "the technician", "count": 2, "wait": 7.5}


@pytest.mark.parametrize(
    ("change", "line", "says"),
    [
        (("  position: 2\n", ""), 1, "position"),
        (("aircraft: 104", "aircraft: 0104"), 2, "quotes"),
        (("lit: false", "lit: 0"), 8, "lit"),
        (("lit: false", "lit: no-idea"), 8, "lit"),
        (("condition: cold", "condition: odd"), 6, "condition"),
        (("complaint:", "complain:"), 5, "complain"),
        (("crew-ask: by-the-book", "crew-aks: by-the-book"), 13, "crew-ask"),
        (("by-the-book", "by-the-bok"), 13, "by-the-book"),
        (("[silent, null, weak]", "[silent, loud]"), 14, "loud"),
        (("lead-continuity/A:", "lead-continuity:"), 18, "lead-continuity"),
        (("no meter here", "3"), 0, ""),
        (("answers:", "answer:"), 12, "answer"),
        (("case:\n", "case: here\n  "), 0, ""),
        (("  - {name", "\t- {name"), 11, "tab"),
        (("[licensed]", "[licensed"), 0, ""),
        (("count: 2", "count: [2]"), 16, "count"),
    ],
)
def test_every_mistake_is_told_with_file_and_line(
    tmp_path: Path, hf3: Fitted, change: tuple[str, str], line: int, says: str
) -> None:
    assert change[0] in GOOD
    path = write(tmp_path, GOOD.replace(*change))
    if change[1] == "3":
        assert read(path, Answers, hf3).cannot == {"lead-continuity/A": "3"}, "a number for a reason is text"
        return
    with pytest.raises(KnowledgeError) as error:
        read(path, Answers, hf3)
    text = str(error.value)
    assert f"{path}:{line}: " in text if line else f"{path}:" in text
    assert says in text


def test_all_mistakes_are_told_at_once(tmp_path: Path, hf3: Fitted) -> None:
    text = GOOD.replace("crew-ask:", "crew-aks:").replace("weak]", "loud]").replace("lead-continuity/A:", "lead:")
    with pytest.raises(KnowledgeError) as error:
        read(write(tmp_path, text), Answers, hf3)
    assert [p.line for p in error.value.problems] == [13, 14, 18]


def test_a_scenario_needs_its_story_and_its_truth(tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError) as error:
        read(write(tmp_path, GOOD), Scenario)
    for lacking in ("title", "story", "learning", "truth", "source"):
        assert lacking in str(error.value)


def script(tmp_path: Path, hf3: Fitted) -> Script:
    return Script(read(write(tmp_path, GOOD), Answers, hf3))


def test_answers_are_given_in_turn_and_used_up(tmp_path: Path, hf3: Fitted) -> None:
    player = script(tmp_path, hf3)
    assert [player.outcome("spark-test/A", "check") for _ in range(3)] == ["silent", None, "weak"]
    with pytest.raises(OutOfAnswers, match="spark-test/A"):
        player.outcome("spark-test/A", "verify")
    assert player.outcome("history-read", "check") is None, "null is could not tell"
    with pytest.raises(OutOfAnswers, match="plug-tip-look/A"):
        player.outcome("plug-tip-look/A", "check")
    assert player.outcome("plug-tip-look/A", "repair") is None, "a look at a part taken off may be left out"


def test_facts_go_by_name_and_then_by_kind(tmp_path: Path, hf3: Fitted) -> None:
    player = script(tmp_path, hf3)
    assert player.fact(Ask(name="wait", prompt="?", kind="minutes"), "c") == 7.5
    assert player.fact(Ask(name="heads", prompt="?", kind="count"), "c") == 2
    with pytest.raises(OutOfAnswers, match="Which tag"):
        player.fact(Ask(name="tag", prompt="Which tag number?", kind="tag"), "supplies")


def test_what_cannot_be_done_says_why(tmp_path: Path, hf3: Fitted) -> None:
    player = script(tmp_path, hf3)
    assert player.refuses("lead-continuity/A") == "no meter here"
    assert player.refuses("lead-continuity/B") is None

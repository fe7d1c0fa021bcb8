"""Reading one file into one model: all its mistakes at once, each with the file as it was named and its line."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from isolate.case.written import Answers
from isolate.drill.scenario import Scenario
from isolate.kb.read import KnowledgeError, read_model

Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


class Leg(BaseModel):
    model_config = ConfigDict(extra="forbid", coerce_numbers_to_str=True)

    name: Text
    lit: bool
    minutes: float | None = None


class Plan(BaseModel):
    model_config = ConfigDict(extra="forbid", coerce_numbers_to_str=True)

    title: Text
    place: Literal["gate", "hangar"] = "gate"
    legs: list[Leg] = []
    said: dict[Text, Text | list[Text | None] | None] = {}
    facts: dict[Text, str | float] = {}
    count: int = Field(default=1, ge=1)


class Strict(BaseModel):
    """Numbers are no text here, but they are in the legs."""

    title: str
    legs: list[Leg] = []


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return Path("some/plan.yaml")


def write(file: Path, text: str | bytes) -> Path:
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return file


def said(file: Path, shape: type[BaseModel] = Plan) -> list[tuple[int, str]]:
    with pytest.raises(KnowledgeError) as caught:
        read_model(file, shape)
    assert {problem.file for problem in caught.value.problems} == {"some/plan.yaml"}
    return [(problem.line, problem.message) for problem in caught.value.problems]


SOUND = """\
# A plan.
title: 104
legs:
  - {name: 2, lit: no}
  - name: 2.50
    lit: yes
    minutes: 7
  - {name: B, lit: true}
  - {name: C, lit: false, minutes: null}
said:
  one: [a, null, 3]
  two: 4
  three:
facts: {who: K., minutes: 7, share: 0.5}
"""


def test_a_sound_file(file: Path) -> None:
    plan, _ = read_model(write(file, SOUND), Plan)
    # A number where text is wanted keeps its characters: position 2.50 is not 2.5.
    assert plan.title == "104"
    assert [(leg.name, leg.lit, leg.minutes) for leg in plan.legs] == [
        ("2", False, None),
        ("2.50", True, 7.0),
        ("B", True, None),
        ("C", False, None),
    ]
    assert plan.said == {"one": ["a", None, "3"], "two": "4", "three": None}
    assert plan.facts == {"who": "K.", "minutes": 7, "share": 0.5}
    assert isinstance(plan.facts["minutes"], float | int)


def test_the_places_in_a_file(file: Path) -> None:
    _, spot = read_model(write(file, SOUND), Plan)
    assert str(spot(("legs", 1, "lit"))) == "some/plan.yaml:6"
    assert spot(("legs", 3, "minutes")).line == 9
    assert spot(("said", "two")).line == 12
    # What is not written stands where the nearest thing around it does.
    assert spot(("legs", 0, "minutes")).line == 4
    assert spot(()).line == 2


def test_all_mistakes_at_once(file: Path) -> None:
    write(
        file,
        "titel: A\n"
        "place: gat\n"
        "legs:\n"
        "  - {name: yes, lit: 'no'}\n"
        "  - lit: 1\n"
        "    minutes: yes\n"
        "    zebra: 1\n"
        "  - {name: '', lit: no, minutes: '7'}\n"
        "said:\n"
        "  one: no\n"
        "  two: [a, no]\n"
        "  three: {a: b}\n"
        "  four: ''\n"
        "facts:\n"
        "  who: yes\n"
        "  when:\n"
        "  what: [1]\n"
        "count: 0\n",
    )
    assert said(file) == [
        (1, "`title` is missing"),
        (1, "titel: unknown field (did you mean title?)"),
        (2, "place: `gat` is not known; it can be gate or hangar (did you mean gate?)"),
        (4, "legs.lit: needs true or false"),
        (4, "legs.name: needs text, but YAML reads `yes` as true or false: put it in quotes"),
        (5, "legs.lit: needs true or false"),
        (5, "legs: `name` is missing"),
        (6, "legs.minutes: needs a number"),
        (7, "legs.zebra: unknown field; known are name, lit, minutes"),
        (8, "legs.minutes: needs a number"),
        (8, "legs.name: is empty"),
        (10, "said.one: needs text or a list, but YAML reads `no` as true or false: put it in quotes"),
        (11, "said.two: needs text, but YAML reads `no` as true or false: put it in quotes"),
        (12, "said.three: needs text or a list"),
        (13, "said.four: is empty"),
        (15, "facts.who: needs text or a number, but YAML reads `yes` as true or false: put it in quotes"),
        (16, "facts.when: needs text or a number, but nothing is written here"),
        (17, "facts.what: needs text or a number"),
        (18, "count: 0 is out of range: must be at least 1"),
    ]


def test_the_error_names_the_file(file: Path) -> None:
    write(file, "title: A\nplace: x\ncount: many\n")
    with pytest.raises(KnowledgeError) as caught:
        read_model(file, Plan)
    assert str(caught.value) == (
        "some/plan.yaml has 2 mistakes:\n"
        "  some/plan.yaml:2: place: `x` is not known; it can be gate or hangar\n"
        "  some/plan.yaml:3: count: needs a whole number"
    )


def test_numbers_are_text_only_where_the_model_says_so(file: Path) -> None:
    write(file, "title: 104\nlegs:\n  - {name: 2, lit: no}\n")
    assert said(file, Strict) == [(1, "title: needs text, but YAML reads `104` as a number: put it in quotes")]
    write(file, "title: '104'\nlegs:\n  - {name: 2, lit: no}\n")
    assert read_model(file, Strict)[0].legs[0].name == "2"


def test_a_mistake_beside_a_number_taken_for_text_is_told_once(file: Path) -> None:
    write(file, "title: 104\nplace: x\n")
    assert said(file) == [(2, "place: `x` is not known; it can be gate or hangar")]


@pytest.mark.parametrize(
    ("data", "line", "message"),
    [
        (b"", 1, "is empty"),
        (b"# only a comment\n", 1, "is empty"),
        (b"- a\n", 1, "needs fields, each with its value; known are title, place, legs, said, facts, count"),
        (b"\njust text\n", 2, "needs fields, each with its value; known are title, place, legs, said, facts, count"),
        (b"{}\n", 1, "`title` is missing"),
        (b"title: caf\xe9\n", 1, "is not UTF-8 text here: save the file as UTF-8"),
        (b"title: x\x00y\n", 1, "holds a control character that YAML does not allow"),
        (b"title: x\nlegs:\n\t- a\n", 3, "is indented with a tab: YAML takes spaces only"),
        (b"title: b: c\n", 1, "not readable: a `:` where none can stand (quote the text, or check the indent)"),
        (b"title: A\n---\ntitle: A\n", 2, "a second document begins here: one file holds one"),
        (b"title: A\ntitle: B\n", 2, "`title` is written twice: also on line 1"),
        (b"title: A\nsaid:\n  1: a\n", 3, "YAML reads the key `1` as a number: put it in quotes"),
        (b"title: A\nsaid:\n  '': a\n", 3, "said: has an empty key"),
        (b"title: 0117\n", 1, "0117: write a plain decimal number, or put it in quotes if it is text"),
        (b"title: 12:30\n", 1, "12:30: write a plain decimal number, or put it in quotes if it is text"),
        (b"title: !local x\n", 1, "the tag !local is refused: only text, numbers, lists and maps are taken"),
        (b"!local\ntitle: x\n", 1, "the tag !local is refused: only text, numbers, lists and maps are taken"),
        (
            b"title: " + b"[" * 60 + b"]" * 60,
            1,
            "is nested more than 40 deep, or an alias stands inside its own anchor",
        ),
        (b"#" * 2_000_001, 0, "is larger than 2 MB"),
    ],
)
def test_a_file_that_is_refused(file: Path, data: bytes, line: int, message: str) -> None:
    assert said(write(file, data)) == [(line, message)]


def test_a_tag_runs_nothing(file: Path, tmp_path: Path) -> None:
    mark = tmp_path / "ran"
    write(file, f"title: A\nfacts:\n  evil: !!python/object/apply:os.system ['touch {mark}']\n")
    ((line, message),) = said(file)
    assert (line, message.startswith("the tag !!python/object/apply:os.system is refused")) == (3, True)
    assert not mark.exists()


def test_aliases_that_grow_without_end(file: Path) -> None:
    lines = ["title: A", "said:", "  a: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"  {chr(97 + n)}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    write(file, "\n".join(lines))
    assert [message for _, message in said(file)] == ["aliases (*name) blow this file up: write it out"]


def test_no_file(file: Path) -> None:
    assert said(file) == [(0, "there is no such file")]
    file.parent.mkdir()
    file.mkdir()
    assert said(file) == [(0, "is a folder, not a file")]
    file.rmdir()
    os.mkfifo(file)
    assert said(file) == [(0, "is not an ordinary file")]
    file.unlink()
    file.symlink_to(file.name)
    assert said(file) == [(0, "is a link that leads back to itself")]


def test_what_a_model_says_of_itself_is_passed_on(file: Path) -> None:
    class Pair(BaseModel):
        low: int
        high: int

        @model_validator(mode="after")
        def ordered(self) -> Pair:
            if self.low > self.high:
                raise ValueError("low is above high")
            return self

    class Pairs(BaseModel):
        pairs: list[Pair]

    write(file, "pairs:\n  - {low: 1, high: 2}\n  - {low: 3, high: 2}\n")
    assert said(file, Pairs) == [(3, "pairs: low is above high")]


# -- the files that are read this way ------------------------------------------------------------

ANSWERS = """\
case:
  aircraft: 104
  position: 2
  engine: halden-hf-3
  complaint: no-light-off
  starts:
    - {channel: A, lit: no}
    - {lit: yes}
    - {lit: true, condition: hot}
answers:
  spark-test/A: [snaps, null]
cannot: {input-off/B: no tool}
"""
DRILL = "title: T\nstory: S\nlearning: [L]\ntruth: []\nsource: [judgement]\n"


def test_answers_and_a_scenario(file: Path) -> None:
    for text, shape in ((ANSWERS, Answers), (DRILL + ANSWERS, Scenario)):
        read, _ = read_model(write(file, text), shape)
        assert (read.case.aircraft, read.case.position) == ("104", "2")
        assert [start.lit for start in read.case.starts] == [False, True, True]
        assert read.answers == {"spark-test/A": ["snaps", None]}


def test_mistakes_in_answers(file: Path) -> None:
    write(file, ANSWERS.replace("  engine: halden-hf-3\n", "").replace("lit: yes", "lit: 1").replace("cannot", "canot"))
    assert said(file, Answers) == [
        (1, "case: `engine` is missing"),
        (7, "case.starts.lit: needs true or false"),
        (11, "canot: unknown field (did you mean cannot?)"),
    ]

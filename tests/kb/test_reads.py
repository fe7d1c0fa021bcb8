"""What a reading goes through: what knowledge says of it is held against the calculations, with file and line.

The calculations that stand in here are ones of the tests' own, so that the messages do not follow what another one is
called; the last tests hold the shipped ones against themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import jsonschema
import pytest
import yaml

from isolate.calc import TITLES, calculation
from isolate.calc import shape as shapes
from isolate.calc.shape import Calculation, Found, Input
from isolate.kb import check as checking
from isolate.kb.check import check
from isolate.kb.load import load
from isolate.kb.page import page
from isolate.kb.schema import schema

if TYPE_CHECKING:
    from conftest import Base

CHECKS, REPAIRS = "checks/all.yaml", "repairs/all.yaml"
NUT = "    purpose: Find a loose nut.\n"
"""A check of this base has the outcomes tight and loose; what it reads is put in here."""


def nothing(given: object) -> Found:
    return Found(())


INPUTS = (
    Input("turn", "count", "By how many flats it turned", hint="1"),
    Input("most", "count", "The most that your approved data allows", limit=True, hint="2"),
    Input("felt", "text", "How it felt (Enter: not told)", default=""),
)
ONE = Calculation("volts", "one verdict", INPUTS, nothing, "made", {"": {"within": "Within", "above": "Above"}})
MANY = Calculation(
    "start",
    "several verdicts",
    (*INPUTS, Input("log", "file", "The record", default="")),
    nothing,
    "made",
    {"speed": {"slow": "Slow", "fast": "Fast"}, "volts": {"v": "V"}},
)
NONE = Calculation("torque", "no verdict", INPUTS, nothing, "made")


@pytest.fixture(autouse=True)
def calculations(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checking, "calculation", {one.name: one for one in (ONE, MANY, NONE)}.__getitem__)


def reads(base: Base, *items: str, file: str = CHECKS, before: str = NUT) -> None:
    lines = "".join(f"      - {item}\n" for item in items)
    base.swap(file, before, f"    reads:\n{lines}{before}")


def spots(base: Base, marker: str) -> str:
    return f"knowledge/{CHECKS}:{base.line(CHECKS, marker)}"


GOOD = "{calc: volts, gives: {within: tight, above: loose}}"
TORQUED = "    clears:\n      channel: [lead-loose]\n"


# -- sound -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "item",
    [
        GOOD,
        "{calc: volts}",
        "{calc: volts, gives: {within: tight, above: nothing}}",
        "{calc: torque, asks: [felt], given: {turn: '1'}}",
        "{calc: volts, given: {turn: '1', felt: firm}, gives: {within: tight, above: loose}}",
        "{calc: start, judge: speed, along: true, gives: {slow: loose, fast: tight}, unless: [spark-test]}",
        "{calc: start, judge: volts, only: {inserts: true}}",
    ],
)
def test_nothing_is_said_of_what_fits(base: Base, item: str) -> None:
    reads(base, item)
    assert check(load(base.folder)) == []


# -- what does not fit together: it is not loaded ----------------------------------------------------


@pytest.mark.parametrize(
    ("item", "message"),
    [
        ("{calc: vots}", "nut-feel, reads.calc: there is no calculation `vots` (did you mean volts?)"),
        ("{calc: length}", "nut-feel, reads.calc: there is no calculation `length`"),
        (
            "{calc: volts, gives: {within: tigt, above: loose}}",
            "nut-feel, reads.gives.within: `nut-feel` has no outcome `tigt` (did you mean tight?)",
        ),
        ("{calc: start, along: true}", "nut-feel, reads.along: a record that answers nothing here is not read along"),
        (
            "{calc: start, judge: speed, along: true, gives: {slow: loose, fast: tight}, unless: [spark-tst]}",
            "nut-feel, reads.unless: no check `spark-tst` (did you mean spark-test?)",
        ),
        ("{gives: {within: tight}}", "nut-feel, reads: `calc` is missing"),
        ("{calc: volts, jugde: x}", "nut-feel, reads.jugde: unknown field (did you mean judge?)"),
        ("{calc: volts, given: {turn: 1.5.2, felt: [a]}}", "nut-feel, reads.given.felt: needs text"),
    ],
)
def test_what_does_not_fit_is_not_loaded(base: Base, item: str, message: str) -> None:
    reads(base, item)
    found = [str(problem) for problem in base.problems()]
    assert found == [f"{spots(base, item)}: {message}"]


def test_a_repair_has_nothing_that_a_verdict_could_answer(base: Base) -> None:
    reads(base, GOOD, file=REPAIRS, before=TORQUED)
    line = base.line(REPAIRS, GOOD)
    assert [str(p) for p in base.problems()] == [
        f"knowledge/{REPAIRS}:{line}: tighten-nut, reads.gives.{verdict}: `tighten-nut` has no outcome `{outcome}`"
        for verdict, outcome in (("above", "loose"), ("within", "tight"))
    ]


def test_nothing_is_not_both_an_outcome_and_no_answer(base: Base) -> None:
    base.swap(CHECKS, "      loose: {title: It turns.", "      nothing: {title: It turns.")
    base.write(CHECKS, base.read(CHECKS).replace("loose: 0", "nothing: 0"))
    item = "{calc: volts, gives: {within: tight, above: nothing}}"
    reads(base, item)
    assert [str(problem) for problem in base.problems()] == [
        f"{spots(base, item)}: nut-feel, reads.gives.above: `nothing` answers nothing here, and an outcome of "
        "`nut-feel` has that name too"
    ]


# -- what a calculation does not have: kb check tells ------------------------------------------------


@pytest.mark.parametrize(
    ("item", "messages"),
    [
        (
            "{calc: volts, gives: {within: tight, abve: loose}}",
            [
                "reads.gives.abve: calc volts never says `abve` (did you mean above?)",
                "reads.gives: does not say what `above` would answer",
            ],
        ),
        (
            "{calc: volts, gives: {within: tight, above: loose, cannot-tell: loose}}",
            ["reads.gives.cannot-tell: `cannot-tell` answers nothing: the question stays open"],
        ),
        ("{calc: volts, gives: {within: tight}}", ["reads.gives: does not say what `above` would answer"]),
        ("{calc: volts, judge: speed}", ["reads.judge: calc volts judges one thing only: leave `judge` out"]),
        (
            "{calc: start, judge: sped, gives: {slow: loose, fast: tight}}",
            ["reads.judge: calc start judges no `sped` (did you mean speed?): it judges `speed` and `volts`"],
        ),
        (
            "{calc: start, gives: {slow: loose, fast: tight}}",
            ["reads.judge: calc start judges several things: say which, of `speed` and `volts`"],
        ),
        (
            "{calc: torque, gives: {within: tight}}",
            ["reads.judge: calc torque judges nothing: it is worked out and kept"],
        ),
        ("{calc: torque, asks: [feld]}", ["reads.asks: calc torque does not ask for `feld` (did you mean felt?)"]),
        (
            "{calc: torque, given: {trun: '1'}}",
            ["reads.given: calc torque does not ask for `trun` (did you mean turn?)"],
        ),
        (
            "{calc: torque, given: {most: '2'}}",
            ["reads.given.most: `most` is a limit: it is asked from the approved data, and none is held here"],
        ),
        (
            "{calc: start, given: {log: /etc/hosts}}",
            ["reads.given.log: `log` is a file: whoever takes the reading names it"],
        ),
        (
            "{calc: volts, along: true, gives: {within: tight, above: loose}}",
            ["reads.along: calc volts reads no record, so there is none to read along"],
        ),
        (
            "{calc: torque, only: {propellers: true}}",
            ["reads.only.propellers: no engine here has the feature `propellers`"],
        ),
    ],
)
def test_what_a_calculation_does_not_have(base: Base, item: str, messages: list[str]) -> None:
    reads(base, item)
    found = [str(problem) for problem in check(load(base.folder))]
    assert found == [f"{spots(base, item)}: nut-feel, {message}" for message in messages]


def test_a_reading_that_is_settled_has_to_be_one(base: Base) -> None:
    item = "{calc: torque, given: {turn: twice}}"
    reads(base, item)
    (problem,) = check(load(base.folder))
    assert str(problem).startswith(f"{spots(base, item)}: nut-feel, reads.given.turn: ") and "twice" in problem.message


def test_a_calculation_named_twice_is_told(base: Base) -> None:
    reads(base, GOOD, "{calc: torque}", GOOD, "{calc: volts, only: {inserts: true}}")
    (problem,) = check(load(base.folder))
    assert problem.message == "nut-feel, reads: calc volts is named twice, in the same way"


def test_each_of_several_is_told_on_its_own_line(base: Base) -> None:
    reads(base, GOOD, "{calc: torque, asks: [feld]}", "{calc: volts, judge: other}")
    assert [problem.line for problem in check(load(base.folder))] == [
        base.line(CHECKS, "feld"),
        base.line(CHECKS, "judge: other"),
    ]


def test_a_repair_settles_no_limit_either(base: Base) -> None:
    item = "{calc: torque, given: {most: '2'}}"
    reads(base, item, file=REPAIRS, before=TORQUED)
    (problem,) = check(load(base.folder))
    assert (problem.file, problem.line) == (f"knowledge/{REPAIRS}", base.line(REPAIRS, item))
    assert "none is held here" in problem.message


# -- the digest --------------------------------------------------------------------------------------


def test_a_step_that_reads_nothing_keeps_the_digest_that_it_had_before_steps_could(base: Base) -> None:
    before = load(base.folder).knowledge.digest
    base.swap(CHECKS, NUT, f"    reads: []\n{NUT}")
    assert load(base.folder).knowledge.digest == before
    base.swap(CHECKS, "    reads: []\n", f"    reads: [{GOOD}]\n")
    after = load(base.folder).knowledge.digest
    assert after != before
    base.swap(CHECKS, "above: loose", "above: tight")
    assert load(base.folder).knowledge.digest not in (before, after)


# -- shown -------------------------------------------------------------------------------------------


def told(base: Base, name: str) -> tuple[str, ...]:
    return next(field.lines for field in page(load(base.folder), name).fields if field.label == "worked out")


def test_a_page_says_what_is_worked_out_and_what_it_answers(base: Base) -> None:
    reads(
        base,
        "{calc: volts, gives: {within: tight, above: nothing}}",
        "{calc: torque, given: {turn: '1'}, asks: [felt, most]}",
        "{calc: start, judge: speed, only: {inserts: true}, along: true, gives: {slow: loose, fast: tight},"
        " unless: [spark-test]}",
    )
    reads(base, "{calc: torque}", file=REPAIRS, before=TORQUED)
    assert told(base, "nut-feel") == (
        "calc volts: within is tight, above answers nothing",
        "calc torque, turn 1, asking felt, most too: worked out and kept, answers nothing",
        "where inserts is yes, calc start (speed): slow is loose, fast is tight; a record read for another check "
        "answers it too, but not beside spark-test",
    )
    assert told(base, "tighten-nut") == ("calc torque: worked out and kept, answers nothing",)
    assert "worked out" not in [field.label for field in page(load(base.folder), "spark-test").fields]
    assert any(use.name == "nut-feel" and use.spot.line for use in page(load(base.folder), "spark-test").used_by)


def schemas() -> Iterator[dict[str, object]]:
    yield schema()
    yield schema(load().knowledge)


@pytest.mark.parametrize("made", schemas(), ids=["any", "shipped"])
def test_the_schema_takes_what_is_loaded_and_nothing_else(made: dict[str, object]) -> None:
    """Every shipped file by it [published: JSON Schema 2020-12, by the jsonschema library], and no misspelt one."""
    wanted = jsonschema.Draft202012Validator(made)
    some = 0
    for kind in ("checks", "repairs"):
        for path in sorted((load().folder / kind).glob("*.yaml")):
            held = yaml.safe_load(path.read_text(encoding="utf-8"))
            assert not list(wanted.iter_errors(held)), path.name
            for one in (one for entry in held[kind].values() for one in entry.get("reads", [])):
                one["cacl"] = one.pop("calc")
                some += 1
                assert list(wanted.iter_errors(held)), path.name
                one["calc"] = one.pop("cacl")
    assert some > 10


# -- the shipped calculations ------------------------------------------------------------------------


@pytest.mark.parametrize("name", TITLES)
def test_no_calculation_names_the_verdict_that_answers_nothing(name: str) -> None:
    one = calculation(name)
    assert one.name == name and all(shapes.CANNOT_TELL not in verdicts for verdicts in one.judges.values())
    assert not any(wanted.limit and wanted.default for wanted in one.inputs), "a limit has no default"

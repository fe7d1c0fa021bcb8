"""How wear is written in the knowledge: what fits is taken and shown, what does not is told with file and line."""

from __future__ import annotations

import json

import jsonschema
import pytest

from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import Mode
from isolate.kb.schema import schema
from isolate.kb.spelled import fields
from isolate.reasoning.wear import parts
from tests.kb.conftest import Base

ZONES, CHECKS = "zones/channel.yaml", "checks/all.yaml"
WORN = "        part: igniter\n"
GOOD = "{unit: starts, shape: 3, scale: 5000, replaced_at: 3000}"


def wear(base: Base, text: str) -> None:
    base.swap(ZONES, WORN, f"{WORN}        wear: {text}\n")


def test_wear_is_taken_and_shown(base: Base) -> None:
    wear(base, GOOD)
    base.swap(CHECKS, "    kind: functional\n", "    kind: functional\n    age_of: igniter\n")
    knowledge = load(base.folder).knowledge
    (part,) = parts(fit(knowledge, "halden-hf-3")).values()
    assert (part.name, part.unit, part.replaced_at, part.shared) == ("igniter", "starts", 3000, False)
    entry: Mode = knowledge.zones["channel"].modes["igniter-worn"]
    shown = {f.label: f.lines for f in fields(knowledge, "modes", "igniter-worn", entry)}
    assert shown["wear"] == (
        "with age, counted in starts: Weibull of shape 3 and scale 5,000; renewed at 3,000 while still good",
    )
    shown = {f.label: f.lines for f in fields(knowledge, "checks", "spark-test", knowledge.checks["spark-test"])}
    assert shown["asks age of"] == ("igniter",)


def test_the_schema_takes_it_and_refuses_what_the_reader_refuses() -> None:
    made = schema()
    shape = {"$defs": made["$defs"], "$ref": "#/$defs/Wear"}
    jsonschema.validate({"unit": "hours", "shape": 2, "scale": 9000}, shape)
    for bad in (
        {"unit": "days", "shape": 2, "scale": 9000},
        {"unit": "hours", "shape": 0.5, "scale": 9000},
        {"unit": "hours"},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(json.loads(json.dumps(bad)), shape)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{unit: days, shape: 3, scale: 5000}", "`days` is not known; it can be starts or hours"),
        ("{unit: starts, shape: 0.9, scale: 5000}", "0.9 is out of range: must be at least 1"),
        ("{unit: starts, shape: 11, scale: 5000}", "11 is out of range: must be at most 10"),
        ("{unit: starts, shape: 3, scale: 0}", "0 is out of range: must be above 0"),
        ("{unit: starts, shape: 3, scale: 5000, replaced_at: -1}", "-1 is out of range: must be above 0"),
        ("{unit: starts, shape: 3}", "`scale` is missing"),
        ("{unit: starts, shape: 3, scale: 5000, replaced-at: 3000}", "unknown field (did you mean replaced_at?)"),
        ("{unit: starts, shape: x, scale: 5000}", "needs a number"),
    ],
)
def test_wear_that_cannot_be(base: Base, text: str, message: str) -> None:
    wear(base, text)
    (problem,) = base.problems()
    assert problem.message.endswith(message), problem.message
    assert problem.file.endswith(ZONES) and problem.line == base.line(ZONES, "wear:")


@pytest.mark.parametrize(
    ("other", "message"),
    [
        (
            "{unit: hours, shape: 3, scale: 5000, replaced_at: 3000}",
            "the part `igniter` has one age: igniter-worn has unit starts",
        ),
        (
            "{unit: starts, shape: 2, scale: 900, replaced_at: 2000}",
            "the part `igniter` has one age: igniter-worn has replaced_at 3000",
        ),
        ("{unit: starts, shape: 2, scale: 900}", "the part `igniter` has one age: igniter-worn has replaced_at 3000"),
    ],
)
def test_faults_of_one_part_that_count_its_age_differently(base: Base, other: str, message: str) -> None:
    wear(base, GOOD)
    base.swap(ZONES, "        part: lead\n", f"        part: igniter\n        wear: {other}\n")
    (problem,) = base.problems()
    assert problem.message.endswith(message), problem.message
    assert problem.line == base.line(ZONES, other)


def test_a_check_that_asks_the_age_of_what_does_not_wear(base: Base) -> None:
    wear(base, GOOD)
    base.swap(CHECKS, "    kind: functional\n", "    kind: functional\n    age_of: ignitor\n")
    (problem,) = base.problems()
    assert problem.message.endswith("no fault of a part `ignitor` wears (did you mean igniter?)")
    assert problem.line == base.line(CHECKS, "age_of")

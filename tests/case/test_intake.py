"""What is told is looked over before it is taken."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from isolate.case.case import Intake, Person, Work
from isolate.case.intake import Refused, check_intake, checked_fact
from isolate.kb.fit import Fitted
from isolate.kb.model import Ask
from isolate.reasoning.starts import Start

TOLD = Intake("104", "2", "halden-hf-3", "slow-light")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"complaint": "slow-ligth"}, r"no complaint is called 'slow-ligth'.*slow-light"),
        ({"complaint": "one-channel-silent"}, r"about one channel: say which of A, B"),
        ({"channel": "C"}, r"no channel is called 'C'.*A, B"),
        ({"starts": (Start("Q", True),)}, r"no channel is called 'Q'.*both.*unknown"),
        ({"done": (Work("replace-ignitor", "A"),)}, r"no repair is called 'replace-ignitor/A'.*replace-igniter/A"),
        ({"done": (Work("replace-igniter"),)}, r"no repair is called 'replace-igniter'"),
        ({"missing": ("metre",)}, r"no tool is called 'metre'.*meter"),
        ({"people": (Person("x", ("license",)),)}, r"no authorisation is called 'license'.*licensed"),
    ],
)
def test_names_that_do_not_exist_are_refused_with_those_that_do(
    hf3: Fitted, changes: dict[str, Any], says: str
) -> None:
    with pytest.raises(Refused, match=says):
        check_intake(hf3, replace(TOLD, **changes))


def test_a_sound_intake_is_taken(hf3: Fitted) -> None:
    check_intake(hf3, TOLD)
    check_intake(
        hf3,
        replace(
            TOLD,
            complaint="one-channel-silent",
            channel="B",
            starts=(Start("A", True), Start("both", False), Start("unknown", True)),
            done=(Work("replace-igniter", "A"), Work("correct-connections")),
            missing=("air", "meter"),
            people=(Person("x", ("licensed", "motoring", "engine-run")), Person("y")),
        ),
    )


COUNT = Ask(name="n", prompt="How many?", kind="count", least=1)
MINUTES = Ask(name="m", prompt="How long?", kind="minutes", least=1)
PLAIN = Ask(name="p", prompt="How much?", kind="minutes")
PERSON = Ask(name="w", prompt="Who?", kind="person")


@pytest.mark.parametrize(
    ("ask", "told", "kept"),
    [
        (COUNT, 2, 2),
        (COUNT, "2", 2),
        (COUNT, " 2.0 ", 2),
        (MINUTES, "7,5", 7.5),
        (MINUTES, 1, 1),
        (PLAIN, 0, 0),
        (PERSON, "  the technician ", "the technician"),
        (PERSON, 7, "7"),
        (Ask(name="t", prompt="When?", kind="time"), "06:10", "06:10"),
        (Ask(name="t", prompt="Tag?", kind="tag"), "T-17", "T-17"),
    ],
)
def test_a_fact_is_kept_as_told(ask: Ask, told: Any, kept: Any) -> None:
    found = checked_fact(ask, told)
    assert found == kept and type(found) is type(kept)


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        *[(ask, empty) for ask in (COUNT, MINUTES, PERSON) for empty in (None, "", "  \t")],
        (COUNT, 0),
        (COUNT, -1),
        (COUNT, 1.5),
        (COUNT, "two"),
        (COUNT, "nan"),
        (COUNT, float("inf")),
        (COUNT, 10_001),
        (MINUTES, 0.9),
        (PLAIN, -0.1),
    ],
)
def test_a_fact_missing_or_out_of_range_is_refused_with_its_question(ask: Ask, told: Any) -> None:
    with pytest.raises(Refused) as refused:
        checked_fact(ask, told)
    assert ask.prompt in str(refused.value)

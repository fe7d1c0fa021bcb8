"""What the intake reads: every sensible way to write it is taken as meant, and what is unclear is refused."""

from __future__ import annotations

import pytest

from isolate.kb.fit import Fitted
from isolate.reasoning.starts import Start
from isolate.terminal import intake
from isolate.terminal.intake import Unclear

ADA, BO = ("Ada", ("licensed", "motoring", "engine-run")), ("Bo", ("licensed",))


@pytest.mark.parametrize(
    ("told", "people"),
    [
        ("Ada: licensed, motoring, engine-run; Bo: licensed; Cy", [ADA, BO, ("Cy", ())]),
        ("Ada: licensed motoring engine-run; Bo: licensed; Cy", [ADA, BO, ("Cy", ())]),
        ("Ada: Licensed and motoring, engine run; Bo:licensed", [ADA, BO]),
        ("Ada: licensed, motoring engine-run, Bo: licensed", [ADA, BO]),
        ("Ada", [("Ada", ())]),
    ],
)
def test_people_are_read_with_spaces_and_commas(hf3: Fitted, told: str, people: list[tuple[str, object]]) -> None:
    assert [(p.name, p.may) for p in intake.people(told, hf3)] == people


def test_all_stands_for_every_authorisation(hf3: Fitted) -> None:
    (ada,) = intake.people("Ada: all", hf3)
    assert sorted(ada.may) == sorted(ADA[1])


@pytest.mark.parametrize(
    "told", ["", ";", "Ada: pilot", "Ada: licensed, Bo", "Ada, Bo", "Ada: licensed; Ada", ": licensed"]
)
def test_people_that_are_unclear_are_refused(hf3: Fitted, told: str) -> None:
    with pytest.raises(Unclear):
        intake.people(told, hf3)


def test_what_nobody_may_do_is_said_back(hf3: Fitted) -> None:
    said = intake.understood(intake.people("Ada: licensed", hf3), hf3)
    assert "Nobody here holds engine-run or motoring" in said and "alone" in said
    said = intake.understood(intake.people("Ada: all; Bo", hf3), hf3)
    assert "Nobody" not in said and "alone" not in said and "Bo (helps)" in said


A, B, ANY = Start("A", False), Start("B", True), Start("unknown", False)


@pytest.mark.parametrize(
    ("told", "found"),
    [
        ("A no, B yes, ? no", (A, B, ANY)),
        ("A no B yes ? no", (A, B, ANY)),
        ("no A yes B", (A, B)),
        ("channel A did not light; B lit", (A, B)),
        ("a didn't light, b ok", (A, B)),
        ("B yes hot, A no", (Start("B", True, "hot"), A)),
        ("both yes", (Start("both", True),)),
        ("", ()),
        ("none", ()),
    ],
)
def test_starts_are_read_with_and_without_commas(hf3: Fitted, told: str, found: tuple[Start, ...]) -> None:
    assert intake.starts(told, hf3) == found


@pytest.mark.parametrize("told", ["A", "A B", "A no no", "A no yes", "C no", "A maybe", "2"])
def test_no_start_is_lost_or_guessed(hf3: Fitted, told: str) -> None:
    with pytest.raises(Unclear):
        intake.starts(told, hf3)


def test_starts_are_said_back(hf3: Fitted) -> None:
    said = intake.started(intake.starts("A no cold, B yes, ? no, both yes", hf3))
    assert said == "channel A did not light (cold), channel B lit, channel not known did not light, both channels lit"


@pytest.mark.parametrize(
    ("told", "found"),
    [("air meter", ("air", "meter")), ("Spare igniter, air", ("spare-igniter", "air")), ("nothing", ()), ("", ())],
)
def test_what_is_not_at_hand(hf3: Fitted, told: str, found: tuple[str, ...]) -> None:
    assert intake.missing(told, hf3) == found


def test_a_tool_that_is_none_is_refused(hf3: Fitted) -> None:
    with pytest.raises(Unclear, match="'hammer'"):
        intake.missing("air hammer", hf3)


def test_work_done_is_told_by_name_or_title(hf3: Fitted) -> None:
    (work,) = intake.done("Replace igniter plug B", hf3)
    assert (work.repair, work.channel) == ("replace-igniter", "B")
    assert intake.done("none", hf3) == ()


@pytest.mark.parametrize(("told", "left"), [("95", 95), ("95 min", 95), ("7,5", 7.5), ("45 minutes", 45), ("", None)])
def test_minutes_to_departure(told: str, left: float | None) -> None:
    assert intake.minutes_left(told) == left


@pytest.mark.parametrize("told", ["soon", "-1", "nan", "1e9", "min"])
def test_minutes_that_are_none_are_refused(told: str) -> None:
    with pytest.raises(Unclear):
        intake.minutes_left(told)


def test_signs_are_read_by_name_number_and_words_with_commas_between(hf3: Fitted) -> None:
    names = list(hf3.signs)
    assert intake.signs("", hf3) == [] == intake.signs("none", hf3)
    assert intake.signs("bang, wet tailpipe", hf3) == ["bang", "tailpipe-wet"]
    assert intake.signs("2; bang, 2", hf3) == [names[1], "bang"], "told twice is told once"


@pytest.mark.parametrize("told", ["xyzzy", "bang, xyzzy", "999", "0", "wet", "no bang"])
def test_a_sign_that_is_none_or_may_be_several_is_asked_about(hf3: Fitted, told: str) -> None:
    with pytest.raises(Unclear):
        intake.signs(told, hf3)

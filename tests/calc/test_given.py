"""From what was typed to what a calculation takes: defaults, limits, several, choices, and sentences."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from isolate.calc.given import LONGEST_TEXT, MOST, as_dict, read, understood, value
from isolate.calc.shape import Calculation, Found, Given, Input, Unfit


def nothing(given: Given) -> Found:
    return Found(("Nothing.",))


MADE = Calculation(
    "made",
    "made up for these tests",
    (
        Input("volts", "voltage", "Volts at the pin", hint="28 V"),
        Input("least", "voltage", "The least of them", limit=True, hint="24 V"),
        Input("ohms", "resistance", "Readings", default="", many=True, beyond=True),
        Input("side", "choice", "Which side", default="left", choices=("left", "left-hand", "right")),
        Input("wet", "yes", "Is it wet?", default="no"),
        Input("count", "count", "How many", default=""),
        Input("ratio", "number", "The ratio", default=""),
        Input("log", "file", "The log", default=""),
        Input("words", "text", "Anything else", default=""),
    ),
    nothing,
    "nobody.",
)
SURE = {"volts": "28.4 V", "least": "24 V"}


def test_what_stands_in_is_as_exact_as_it_is_written() -> None:
    at = Input("at", "temperature", "The temperature that the figure is for", default="20 °C")
    made = Calculation("made", "made up", (at,), nothing, "nobody.")
    assert read(made, {})["at"].within == 0
    assert read(made, {"at": "20 °C"})["at"].within == pytest.approx(0.5)


def test_defaults_stand_in_and_what_may_be_left_out_is_not_there() -> None:
    given = read(MADE, SURE)
    assert set(given) == {"volts", "least", "side", "wet"}
    assert (given["side"], given["wet"]) == ("left", False)
    assert given["volts"].within == pytest.approx(0.05)
    assert given["least"].within == 0  # a limit is exact
    assert set(read(MADE, {**SURE, "ohms": "  ", "count": "", "words": [], "log": ["", " "]})) == set(given)


def test_everything_is_read_as_its_kind() -> None:
    told = {"side": "R", "wet": "YES", "count": "1,500", "ratio": "1,5", "words": " so ", "log": "a b.csv"}
    given = read(MADE, {**SURE, **told, "ohms": ["1 Ω; 2 Ω ; 3 Ω", "OL"]})
    assert [q.value for q in given["ohms"]] == [1, 2, 3, float("inf")]
    assert (given["side"], given["wet"], given["count"], given["ratio"]) == ("right", True, 1500, 1.5)
    assert (given["words"], given["log"]) == ("so", "a b.csv")


def test_a_unit_at_the_end_holds_for_all() -> None:
    found = value(MADE.input("ohms"), "0.21; 0.22; 0.20 Ω")
    assert [q.value for q in found] == pytest.approx([0.21, 0.22, 0.20]) and {q.unit for q in found} == {"Ω"}
    with pytest.raises(Unfit, match="unit is missing"):
        value(MADE.input("ohms"), "0.21 Ω; 0.22")


@pytest.mark.parametrize(
    ("told", "of", "words"),
    [
        ({"volts": None}, "volts", "volts has to be told: Volts at the pin (such as 28 V)"),
        ({"least": None}, "least", "from your approved data"),
        ({"volts": " "}, "volts", "has to be told"),
        ({"volts": ["28 V", "27 V"]}, "volts", "told once, not 2 times"),
        ({"volts": "28"}, "volts", "volts: the unit is missing"),
        ({"volts": ">28 V"}, "volts", "only that it is more"),
        ({"volts": "OL"}, "volts", "no figure"),
        ({"least": "24 ± 1 V"}, "least", "without ±"),
        ({"least": "24-26 V"}, "least", "a range"),
        ({"ohms": "1 Ω, 2 Ω"}, "ohms", "several go with ; between them"),
        ({"ohms": ";".join(["1 Ω"] * (MOST + 1))}, "ohms", f"up to {MOST}"),
        ({"side": "lef"}, "side", "may be left or left-hand"),
        ({"side": "up"}, "side", "none of left, left-hand, right"),
        ({"wet": "damp"}, "wet", "yes or no, not 'damp'"),
        ({"count": "1.5"}, "count", "no whole number"),
        ({"count": "-1"}, "count", "no whole number"),
        ({"ratio": "1,500"}, "ratio", "1500 or 1.500"),
        ({"words": "x" * (LONGEST_TEXT + 1)}, "words", f"up to {LONGEST_TEXT}"),
        ({"log": "a\0b"}, "log", "no text; rename the file"),
        ({"log": "a\udcff"}, "log", "no text; rename the file"),
        ({"words": "a\x1b[2J"}, "words", "no text; type it again"),
        ({"voltz": "28 V"}, "voltz", "made does not ask for 'voltz'; it asks for volts"),
    ],
)
def test_what_does_not_fit_names_its_input(told: dict[str, str | Sequence[str] | None], of: str, words: str) -> None:
    typed = {name: v for name, v in {**SURE, **told}.items() if v is not None}
    with pytest.raises(Unfit) as caught:
        read(MADE, typed)
    assert caught.value.of == of and words in str(caught.value)


def test_what_was_understood_is_said_in_order() -> None:
    given = read(MADE, {**SURE, "ohms": "1 Ω; >5 MΩ", "ratio": "0.25"})
    assert understood(MADE, given) == [
        ("Volts at the pin", "28.4 ± 0.05 V"),
        ("The least of them", "24 V"),
        ("Readings", "1 ± 0.5 Ω; over 5 MΩ (megohm)"),
        ("Which side", "left"),
        ("Is it wet?", "no"),
        ("The ratio", "0.25"),
    ]


def test_as_json_a_figure_is_in_the_base_unit_and_no_end_is_infinite() -> None:
    given = read(MADE, {**SURE, "ohms": "30 mΩ; OL"})
    first, over = as_dict(given["ohms"])
    assert (first["typed"], first["unit"], first["value"]) == ("30 mΩ", "Ω", 0.03)
    assert over["value"] is None and over["bound"] == "above" and as_dict(given["wet"]) is False

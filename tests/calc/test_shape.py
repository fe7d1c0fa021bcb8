"""What a calculation is made of: beside its limits, as JSON, and that those there are keep to the contract."""

from __future__ import annotations

import json
import re
from math import inf
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.calc import TITLES, calculation, units
from isolate.calc.given import value
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Input, Unfit, beside

ROOT = Path(__file__).parents[2]
MADE = sorted(name for name in TITLES if (ROOT / f"isolate/calc/{name}.py").is_file())
OURS = {"json", "picture", "overwrite", "help"}
"""Options that every calculation has."""


@pytest.mark.parametrize(
    ("low", "high", "least", "most", "side"),
    [
        (1, 2, None, None, "within"),
        (1, 2, 1, 2, "within"),
        (1, 2, 2.1, None, "below"),
        (1, 2, None, 0.9, "above"),
        (1, 2, 1.5, None, "cannot-tell"),
        (1, 2, None, 1.5, "cannot-tell"),
        (5, inf, 4, None, "within"),
        (5, inf, None, 9, "cannot-tell"),
        (0, 3, 1, 2, "cannot-tell"),
    ],
)
def test_where_an_interval_lies(low: float, high: float, least: float | None, most: float | None, side: str) -> None:
    assert beside(low, high, least, most) == side


@given(st.floats(-9, 9), st.floats(0, 9), st.floats(-9, 9), st.floats(0, 9))
def test_a_verdict_holds_at_both_ends_of_the_interval(low: float, width: float, least: float, room: float) -> None:
    high, most = low + width, least + room
    ends = {beside(end, end, least, most) for end in (low, high)}
    found = beside(low, high, least, most)
    assert found == "cannot-tell" if len(ends) > 1 else found in ends | {"cannot-tell"}


def test_a_figure_is_json_even_where_it_is_open() -> None:
    said = Figure("r", "resistance", inf, 5e8, inf, "Ω").as_dict()
    assert said == {"name": "r", "says": "resistance", "value": None, "low": 5e8, "high": None, "unit": "Ω"}
    json.dumps(said, allow_nan=False)


def test_an_input_is_found_by_name() -> None:
    one = Calculation("made", "made", (Input("a", "voltage", "A"),), lambda given: Found(("x",)), "nobody.")
    assert one.input("a").asks == "A" and one.names == ("a",)
    with pytest.raises(KeyError):
        one.input("b")
    assert Unfit("no", "a").of == "a" and str(Unfit("no")) == "no"


def test_every_title_has_its_calculation() -> None:
    assert sorted(TITLES) == MADE


@pytest.mark.parametrize("name", MADE)
def test_calculations_keep_to_the_contract(name: str) -> None:
    one = calculation(name)
    assert (one.name, one.title) == (name, TITLES[name])
    assert one.source.strip().endswith(".") and len(set(one.names)) == len(one.names)
    for i in one.inputs:
        assert re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", i.name) and i.name not in OURS
        assert i.kind in (*units.KINDS, "number", "count", "choice", "text", "yes", "file")
        assert (i.kind == "choice") == bool(i.choices)
        assert i.asks[:1].isupper() and len(i.asks) < 110
        assert not (i.limit and i.default), f"{i.name} is a limit: no figure of ours stands in for it"
        assert not i.beyond or (i.kind in units.KINDS and not i.limit)
        assert not i.after or i.after in one.names[: one.names.index(i.name)]
        if i.default:
            value(i, i.default)
        if i.hint and i.kind != "file":
            value(i, i.hint)
    assert set(one.shows) <= set(one.names)
    for verdicts in one.judges.values():
        assert CANNOT_TELL not in verdicts and all(re.fullmatch(r"[a-z]+(-[a-z]+)*", v) for v in verdicts)

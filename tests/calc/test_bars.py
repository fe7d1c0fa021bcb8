"""Pictures in text keep to their width, in ASCII too, and show a limit where it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.calc.bars import Bar, Zone, bars, decades

ROWS = (
    Bar("the wire alone", 0.2, 0.1, 0.3, "0.2 V (0.1 to 0.3)"),
    Bar("under load", 2.0, 1.9, 2.1, "2 V (1.9 to 2.1)"),
)
ZONES = (Zone(1, 1e3, "short"), Zone(1e3, 1e6, "track"), Zone(1e6, 1e8, "damp"), Zone(1e8, 1e11, "sound"))
TICKS = ("1 Ω", "1 kΩ", "1 MΩ", "100 MΩ", "100 GΩ")


@pytest.mark.parametrize("width", [20, 39, 40, 59, 60, 77, 78, 120])
@pytest.mark.parametrize("ascii_only", [True, False])
def test_no_line_is_wider_than_the_screen(width: int, ascii_only: bool) -> None:
    reading = Bar("dry, perhaps", 1e7, 1e6, float("inf"), "over 10 MΩ")
    for lines in (
        bars(ROWS, (1.0,), width, ascii_only),
        decades(ZONES, (reading,), 1e8, width, ascii_only, TICKS),
    ):
        assert lines
        assert max(len(line) for line in lines) <= width
    if ascii_only:
        assert "\n".join(bars(ROWS, (1.0,), width, True)).isascii()


def test_a_bar_beyond_its_limit_goes_through_the_mark_and_one_within_does_not() -> None:
    alone, loaded, key = bars(ROWS, (1.0,), 78, True)
    mark = alone.index("!")
    assert loaded.index("!") == mark
    assert "#" not in alone[mark:]
    assert "#" in loaded[mark:]
    assert "limit" in key


def test_there_is_no_picture_of_nothing() -> None:
    assert bars((), (), 78, False) == []
    assert bars((Bar("a", 0, 0, 0, "0"),), (), 78, False) == []
    assert bars(ROWS, (), 10, False) == []
    assert decades(ZONES, (), None, 10, False, TICKS) == []


@given(st.floats(0, 1e15), st.floats(0, 1e15), st.integers(20, 200))
def test_any_figure_lands_on_the_scale(value: float, limit: float, width: int) -> None:
    lines = decades(ZONES, (Bar("as read", value, value / 2, value * 2, "it"),), limit, width, True, TICKS)
    assert max(len(line) for line in lines) <= width
    # The limit is drawn last, so it may hide the reading and never the other way round.
    assert any("!" in line for line in lines[3:-1])


def test_a_reading_further_up_stands_further_right() -> None:
    at = [
        decades(ZONES, (Bar("r", ohm, ohm, ohm, ""),), None, 78, True, TICKS)[3].index("*")
        for ohm in (1, 1e4, 1e7, 1e10)
    ]
    assert at == sorted(set(at))

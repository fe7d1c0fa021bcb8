"""Pages and figures as they are laid out: nothing beyond the columns there are, nothing but plain characters."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from isolate.kb.figures import figures_of
from isolate.kb.fit import Fitted
from isolate.kb.load import Loaded, Spot, load
from isolate.kb.page import Field, Page, Use, page
from isolate.terminal import tables

WIDTH = 80


@pytest.fixture(scope="module")
def loaded() -> Loaded:
    return load()


def drawn(what: RenderableType, width: int = WIDTH) -> str:
    file = io.StringIO()
    Console(file=file, width=width, no_color=True, force_terminal=False).print(what)
    return file.getvalue()


@pytest.mark.parametrize("width", [80, 50])
@pytest.mark.parametrize("name", ["spark-test", "lead-tracked", "lead-off", "halden-hf-3", "spark-needs-dry-motor"])
def test_a_page_holds_in_its_columns(loaded: Loaded, name: str, width: int) -> None:
    said = drawn(tables.page(page(loaded, name), width), width)
    assert max(cell_len(line) for line in said.splitlines()) <= width
    assert "\x1b" not in said
    assert name in said and "Used by" in said


def test_a_page_says_where_things_stand_and_what_refers_to_them(loaded: Loaded) -> None:
    shown = page(loaded, "lead-tracked")
    # Lines break between words: what was broken is joined again.
    said = " ".join(drawn(tables.page(shown, WIDTH)).split())
    assert str(shown.spot) in said
    assert "one for each channel; shown for A" in said
    for use in shown.used_by:
        assert f"{use.how} " in said
        assert f"{use.name}" in said and str(use.spot) in said
    for source in shown.sources:
        assert f"{source.kind} {source.title}" in said
    assert said.count(" cleared by ") == 1


def test_a_rule_is_used_by_name_not_by_its_whole_sentence(loaded: Loaded) -> None:
    shown = page(loaded, "spark-test")
    rule = next(use for use in shown.used_by if use.kind == "rules")
    assert rule.title not in " ".join(drawn(tables.page(shown, WIDTH)).split())


def test_what_nothing_uses_says_so_and_told_text_is_no_markup() -> None:
    shown = Page("checks", "x", "[red]not red[/red]", Spot("f.yaml", 3), False, (Field("do", ("a\x1b[31mb",)),), (), ())
    said = drawn(tables.page(shown, WIDTH))
    assert "[red]not red[/red]" in said and "ab" in said and "\x1b" not in said
    assert "nothing" in said.splitlines()[-1]
    used = replace(shown, used_by=(Use("needed by", "checks", "y", "Y", Spot("g.yaml", 7), "says"),))
    assert "check y: Y (says)  g.yaml:7" in drawn(tables.page(used, WIDTH))


@pytest.mark.parametrize("width", [80, 60])
def test_figures_hold_in_their_columns(hf3: Fitted, width: int) -> None:
    said = drawn(tables.figures(figures_of(hf3), width, figures_of(hf3, evidence="one")), width)
    assert max(cell_len(line) for line in said.splitlines()) <= width
    assert "\x1b" not in said


def test_figures_say_what_they_are(hf3: Fitted) -> None:
    found, alone = figures_of(hf3), figures_of(hf3, evidence="one")
    lines = drawn(tables.figures(found, WIDTH, alone)).splitlines()
    detected = next(line for line in lines if line.startswith("Detected (FFD)")).split()
    assert detected[-4:] == [
        f"{100 * v:.1f}%" for f in (found, alone) for v in (f.detected, f.detected_by_rate)
    ]
    assert any(f"{found.untold} of {found.pairs} such pairs" in line for line in lines)
    hardest = found.hardest[0]
    assert any(f"{hardest.bits:.1f} {hardest.one} and {hardest.other}" in line for line in lines)
    checks = next(c for c in found.entries if c.kind == "checks")
    row = next(line for line in lines if line.startswith("checks ")).split()
    assert row == ["checks", *(str(n) for n in (checks.entries, *checks.citing.values(), checks.judged))]


def test_what_is_short_of_all_is_not_shown_as_all(hf3: Fitted) -> None:
    found = replace(figures_of(hf3), detected=0.99999, detected_by_rate=0.00001)
    line = next(line for line in drawn(tables.figures(found, WIDTH)).splitlines() if line.startswith("Detected"))
    assert line.split()[-2:] == [">99.9%", "<0.1%"]
    none = replace(found, detected=float("nan"), undetected=tuple(f"f{i}" for i in range(20)))
    said = drawn(tables.figures(none, WIDTH))
    assert "nan" not in said
    assert "f11 and 8 more" in " ".join(said.split())

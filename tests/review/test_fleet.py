"""Fleet figures: what is counted, what is not, and how it looks on a screen."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from isolate.case.brief import Brief, Fitted, Named, Turned, brief
from isolate.case.store import open_store
from isolate.cli import main
from isolate.review.fleet import Fleet, figures
from isolate.terminal.fleet import PLAIN_SIGNS, SIGNS, page
from tests.worked import TRAILS, trail

NAMES = sorted(path.stem for path in TRAILS.glob("*.jsonl"))
ONE = brief(trail("worn-plug"))


@cache
def kept() -> tuple[Brief, ...]:
    return tuple(brief(trail(name)) for name in NAMES)


def made(number: int, **more: object) -> Brief:
    """Return a case of its own, closed the day it was opened, one a month, so that none is a repeat of another."""
    when = f"{2030 + number // 12}-{number % 12 + 1:02d}-05T0{{}}:00:00.000Z"
    times = {"opened": when.format(6), "closed": when.format(8), "last": when.format(8)}
    had = {"case": f"c{number}", "aircraft": f"{100 + number}", "repairs": (), "named": (), **times, **more}
    return replace(ONE, **had)  # type: ignore[arg-type]


def fitted(repair: str = "replace-lead/B", price: float = 50, finding: str = "", seq: int = 80) -> Fitted:
    return Fitted(seq, "2030-01-05T07:00:00.000Z", repair, price, {}, finding)


def named(mode: str = "lead-chafed/B", repair: str = "replace-lead/B", probability: float = 0.9) -> Named:
    return Named(repair, mode, probability)


def test_the_kept_cases() -> None:
    """Counted by hand from tests/trails/README and the trails themselves."""
    found = figures(kept())
    assert found.whole.cases == 7 and found.whole.closed == 6
    assert [(g.name, g.cases) for g in found.groups] == [("halden-hf-3", 6), ("orrin-t-9", 1)]
    # Minutes to the repair that was right: 104, 77, 106, 186, 122, 210.
    assert found.whole.isolated.median == (106 + 122) / 2
    assert (found.whole.in_vain.share.count, found.whole.in_vain.share.of) == (1, 6)
    assert found.whole.in_vain.minutes == 50 and found.whole.in_vain.by_shop == 1
    # Aircraft 104, engine 2: the 10th, eight days on the 18th, seven on the 25th; no starts told.
    back = found.whole.came_back
    assert (back.share.count, back.share.of, back.days_only, back.unwatched) == (2, 6, 2, 0)


def test_the_same_cases_in_any_order_give_the_same_figures() -> None:
    assert figures(kept()) == figures(reversed(kept()))


@pytest.mark.parametrize(
    ("parts", "names", "expected"),
    [
        ([fitted()], [named()], (0, 1, 0)),
        ([fitted()], [named("healthy/B")], (1, 1, 50)),
        ([fitted(finding="not-confirmed")], [named()], (1, 1, 50)),
        # The shop's word goes before the verdict's, something else found leaves the verdict as it is.
        ([fitted(finding="confirmed")], [named("healthy/B")], (0, 1, 0)),
        ([fitted(finding="other")], [named("healthy/B")], (1, 1, 50)),
        # What takes no part, and what nobody says anything of.
        ([fitted(price=0)], [named("healthy/B")], (0, 0, 0)),
        ([fitted()], [], (0, 0, 0)),
        # A repair that clears two zones is right where one of them was at fault.
        ([fitted()], [named("healthy/B"), named()], (0, 1, 0)),
        # Done twice: the first in vain, the second not.
        ([fitted(), fitted(seq=120)], [named("healthy/B"), named()], (1, 2, 50)),
    ],
)
def test_what_counts_as_in_vain(parts: list[Fitted], names: list[Named], expected: tuple[int, int, float]) -> None:
    found = figures([made(0, repairs=tuple(parts), named=tuple(names))]).whole.in_vain
    assert (found.share.count, found.share.of, found.minutes) == expected
    assert found.unsaid == (1 if parts[0].price and not names else 0)


def test_no_fault_found_is_verified_with_nothing_named() -> None:
    ends = ["verified, no fault found", "verified, fault found", "handed over, not solved here", ""]
    cases = [
        made(i, ended=end, named=(named(),) if "fault found" in end and "no" not in end else ())
        for i, end in enumerate(ends)
    ]
    cases[3] = replace(cases[3], closed="")
    found = figures(cases).whole
    assert (found.cases, found.closed, found.unfound.count, found.unfound.of) == (4, 3, 1, 3)


def repeat(days: int, starts: Sequence[float | None]) -> list[Brief]:
    """Return a case, the same engine again so many days on, and a much later one on another aircraft."""
    first = made(0, starts=starts[0])
    second = replace(
        first,
        **{"case": "again", "opened": f"2030-01-{5 + days:02d}T06:00:00.000Z", "starts": starts[1]},
        **{"closed": f"2030-01-{5 + days:02d}T08:00:00.000Z", "last": f"2030-01-{5 + days:02d}T08:00:00.000Z"},
    )
    return [first, second, made(11)]


@pytest.mark.parametrize(
    ("days", "starts", "back", "days_only"),
    [
        (9, (None, None), 1, 1),
        (11, (None, None), 0, 0),
        (9, (100, 129), 1, 0),
        (9, (100, 131), 0, 0),
        (9, (100, None), 1, 1),
    ],
)
def test_came_back_within_days_and_starts(
    days: int, starts: tuple[float | None, float | None], back: int, days_only: int
) -> None:
    found = figures(repeat(days, starts)).whole.came_back
    assert (found.share.count, found.days_only) == (back, days_only)
    # The last case ended when nothing was written after it: nobody knows yet whether it comes back.
    assert (found.share.of, found.unwatched) == (2, 1)


def test_what_came_back_after_the_span_counts_for_the_case_within_it() -> None:
    found = figures(repeat(9, (None, None)), since="2030-01-01", until="2030-01-05").whole
    assert found.cases == 1 and found.came_back.share.count == 1
    assert figures(repeat(9, (None, None)), since="2030-01-06").whole.cases == 2


def test_drills_never_count_and_are_told() -> None:
    found = figures([made(0), made(1, drill=True), made(2, drill=True)])
    assert found.whole.cases == 1 and found.notes == ("2 drills left out.",)
    assert figures([]).whole.cases == 0


def test_groups_by_station_and_version() -> None:
    told = [("Pier", "b"), ("pier ", "a"), ("", "b")]
    cases = [made(i, station=station, knowledge=digit * 64) for i, (station, digit) in enumerate(told)]
    # Called as its newest case has it.
    assert [(g.name, g.cases) for g in figures(cases, "station").groups] == [("not told", 1), ("pier", 2)]
    versions = figures(cases, "knowledge").groups
    assert [(g.name, g.cases, g.first[:7], g.last[:7]) for g in versions] == [
        ("b" * 12, 2, "2030-01", "2030-03"),
        ("a" * 12, 1, "2030-02", "2030-02"),
    ]
    assert versions[0].key == "b" * 64
    with pytest.raises(ValueError, match="by engine, station, knowledge"):
        figures([], "aircraft")  # type: ignore[arg-type]


def test_advice_turned_down_is_counted_by_how_and_judged() -> None:
    said = {"breakers-look/B": "right", "replace-lead/B": "wrong", "seat-work-ask/B": "right"}
    down = (
        Turned(7, "", "check", "breakers-look/B", "busy"),
        Turned(9, "", "repair", "replace-lead/B", "no part"),
        Turned(11, "", "check", "seat-work-ask/B", "", "check when-ask"),
        Turned(13, "", "swap", "igniter A<>B", "no"),
    )
    closed, still = made(0, turned=down, taken=3), made(1, turned=down, closed="", ended="")
    found = figures([closed, still], judge=lambda _, turned: said.get(turned.move, "")).whole  # type: ignore[return-value, arg-type]
    assert [(d.kind, d.times, d.right.count, d.right.of, d.unjudged) for d in found.declined] == [
        ("repair", 2, 0, 1, 1),
        ("check", 2, 1, 1, 1),
        ("instead", 2, 1, 1, 1),
        ("other", 2, 0, 0, 2),
    ]
    assert found.taken == 3 + still.taken


def test_all_of_it_is_json() -> None:
    found = figures(kept(), "station")
    assert json.loads(json.dumps(found.as_dict()))["whole"]["cases"] == 7


# -- on the screen ---------------------------------------------------------------------------------


def drawn(shown: Fleet, width: int, signs: str = SIGNS) -> str:
    to = StringIO()
    Console(file=to, width=width, highlight=False, markup=False, emoji=False).print(page(shown, width, signs))
    return to.getvalue()


@pytest.mark.parametrize("width", [40, 80, 160])
@pytest.mark.parametrize("signs", [SIGNS, PLAIN_SIGNS])
def test_no_line_is_wider_than_the_screen(width: int, signs: str) -> None:
    cases = [made(i, station=f"a station with a long name {i % 3}" + "x" * 30 * (i % 2)) for i in range(20)]
    shown = drawn(figures(cases, "station"), width, signs)
    assert all(len(line) <= width for line in shown.splitlines())
    if signs == PLAIN_SIGNS:
        assert shown.isascii()


def test_a_plot_shows_where_the_figure_is() -> None:
    """Of ten parts three in vain: 30 %, from 11 to 60 %, on a scale that ends at 80 % (the next round number)."""
    cases = [
        made(i, repairs=(fitted(),), named=(named("healthy/B" if i < 3 else "lead-chafed/B"),), engine="orrin-t-9")
        for i in range(10)
    ]
    lines = drawn(figures(cases), 80, PLAIN_SIGNS).splitlines()
    row = lines[next(i for i, line in enumerate(lines) if "Parts replaced in vain" in line) + 3]
    assert "3 of 10: 30 % (11 to 60 %)" in row
    scale = lines[lines.index(row) + 2]
    left, right = scale.index("0"), scale.index("%")
    assert scale[left : right + 1].split()[-2:] == ["80", "%"]
    for sign, expected in (("|", 0.3), ("=", 0.108)):
        assert row.index(sign, left) == pytest.approx(left + (right - left) * expected / 0.8, abs=1)
    assert row.rindex("=") == pytest.approx(left + (right - left) * 0.603 / 0.8, abs=1)


def test_too_few_are_shown_without_an_interval() -> None:
    shown = drawn(figures([made(i, isolated=10.0 + i) for i in range(5)]), 80, PLAIN_SIGNS)
    assert "too few to say" in shown and "==" not in shown.split("Time to isolate")[1]


def test_told_text_moves_nothing_on_the_screen() -> None:
    shown = drawn(figures([made(0, station="\x1b[31mred\x1b[0m [bold]b")], "station"), 80)
    assert "\x1b[31m" not in shown and "[bold]b" in shown


@pytest.fixture
def stored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "cases.db"
    monkeypatch.setenv("ISOLATE_STORE", str(path))
    monkeypatch.setenv("COLUMNS", "80")
    with open_store(path) as store:
        for name in NAMES:
            store.import_case(TRAILS / f"{name}.jsonl")
    return path


Said = Callable[..., tuple[int, str, str]]


@pytest.fixture
def said(stored: Path, capsys: pytest.CaptureFixture[str]) -> Said:
    def run(*argv: str) -> tuple[int, str, str]:
        status = main(list(argv))
        return status, *capsys.readouterr()

    return run


def test_the_command(said: Said, tmp_path: Path) -> None:
    status, out, _ = said("review", "fleet")
    assert status == 0 and "7 cases, 6 closed" in out and "half within 114 min (77 to 210), 6 cases" in out
    status, out, _ = said("review", "fleet", "--json", "--engine", "Orrin-T-9", "--by", "knowledge")
    shown = json.loads(out)
    assert status == 0 and shown["whole"]["cases"] == 1 and len(shown["groups"][0]["name"]) == 12
    page_to = tmp_path / "fleet.html"
    assert said("review", "fleet", "--html", str(page_to))[0] == 0
    assert "halden-hf-3" in page_to.read_text()
    status, _, error = said("review", "fleet", "--html", str(page_to))
    assert status == 1 and "is there already" in error
    assert said("review", "fleet", "--html", str(page_to), "--overwrite")[0] == 0


def test_days_that_are_none(said: Said) -> None:
    assert "2030-01-31, not 'soon'" in said("review", "fleet", "--since", "soon")[2]
    assert "no day is left" in said("review", "fleet", "--since", "2030-02-01", "--until", "2030-01-01")[2]
    status, out, _ = said("review", "fleet", "--since", "2040-01-01")
    assert status == 0 and "No case to say anything of." in out

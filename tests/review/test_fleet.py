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
from isolate.review.fleet import Fleet, Group, Unheld, figures
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
    # Minutes to the repair that the end names as right: 104, 77, 106, 186, 122, 210. The shop found nothing in the part
    # of the fifth, and what the second named no shop has confirmed, and it came back.
    assert found.whole.isolated.median == (106 + 186) / 2 and found.whole.isolated.of == 4
    assert found.whole.unheld == Unheld(cleared=1, back=1) and found.whole.never == 0
    assert (found.whole.cleared.count, found.whole.cleared.of) == (1, 3)
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
    assert found.by_shop == (1 if parts[0].finding == "not-confirmed" else 0), "in vain by the verdict alone is not"


def isolated(*parts: Fitted, names: Sequence[Named] = (named(),)) -> Group:
    return figures([made(0, repairs=parts, named=tuple(names), isolated=60.0)]).whole


def test_a_part_that_the_shop_clears_is_no_fault_found_and_nothing_isolated() -> None:
    """What is removed and in which the shop finds nothing is a no fault found [practice]."""
    for finding in ("confirmed", "other", ""):
        group = isolated(fitted(finding=finding))
        assert group.isolated.of == 1 and group.unheld == Unheld() and group.cleared.count == 0
        assert group.cleared.of == bool(finding)
    group = isolated(fitted(finding="not-confirmed"))
    assert (group.isolated.of, group.unheld, group.never) == (0, Unheld(cleared=1), 0)
    assert (group.cleared.count, group.cleared.of) == (1, 1)
    assert "1 more named a part that the shop found good" in group.isolated.said
    # Of two parts that are blamed one was good: the other stands.
    plug = fitted("replace-igniter/B")
    both = named(), named("igniter-worn/B", "replace-igniter/B")
    assert isolated(fitted(finding="not-confirmed"), plug, names=both).isolated.of == 1
    # Two words of the shop that disagree are none.
    disputed = isolated(replace(fitted(finding="not-confirmed"), disputed=True))
    assert disputed.unheld == Unheld(disputed=1) and disputed.cleared.of == disputed.in_vain.share.of == 0
    assert disputed.in_vain.unsaid == 1 and disputed.isolated.of == 0


@pytest.mark.parametrize(("finding", "isolated"), [("", 2), ("confirmed", 3), ("other", 2)])
def test_what_no_shop_confirmed_and_came_back_was_not_isolated(finding: str, isolated: int) -> None:
    first, second, later = (replace(b, isolated=60.0, named=(named(),)) for b in repeat(5, (None, None)))
    first = replace(first, repairs=(fitted(finding=finding),))
    group = figures([first, replace(second, repairs=()), later]).whole
    assert group.isolated.of == isolated and group.unheld == Unheld(back=3 - isolated)
    # Too long after, it is another defect.
    first, second, later = (replace(b, isolated=60.0, named=(named(),)) for b in repeat(12, (None, None)))
    assert figures([first, second, later]).whole.isolated.of == 3


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


def test_ten_days_to_the_minute_are_within_ten_days() -> None:
    """Days run from the end of the one case to the opening of the next."""
    first, second, later = repeat(9, (None, None))
    for minute, count in (("00", 1), ("01", 0)):
        found = figures([first, replace(second, opened=f"2030-01-15T08:{minute}:00.000Z"), later]).whole.came_back
        assert found.share.count == count
    # Watched long enough: ten days to the second between its end and what was last written anywhere.
    for last, unwatched in (("2030-01-15T08:00:00.000Z", 0), ("2030-01-15T07:59:59.000Z", 1)):
        other = made(11, opened="2030-01-15T07:00:00.000Z", closed="", ended="", last=last)
        assert figures([first, other]).whole.came_back.unwatched == unwatched


def test_a_case_opened_while_the_first_was_open_did_not_bring_it_back() -> None:
    """Both have ended since: what counts is how it stood when the second one was opened."""
    first, second, later = repeat(1, (None, None))
    long = replace(first, closed="2030-01-09T08:00:00.000Z", last="2030-01-09T08:00:00.000Z")
    assert figures([first, second, later]).whole.came_back.share.count == 1
    assert figures([long, second, later]).whole.came_back.share.count == 0


@pytest.mark.parametrize(
    ("end", "back", "unproven"),
    [
        ("verified, fault found", 1, 0),
        ("verified as far as asked, the next starts to be watched", 1, 0),
        ("deferred under the operator's own procedure", 0, 1),
        ("handed over, verification outstanding", 0, 1),
        ("not ignition, handed over to fuel", 0, 1),
    ],
)
def test_what_was_not_said_to_be_gone_did_not_come_back(end: str, back: int, unproven: int) -> None:
    first, second, later = repeat(3, (None, None))
    found = figures([replace(first, ended=end), second, later]).whole
    had = found.came_back
    assert (had.share.count, had.share.of, had.unproven, had.taken_up) == (back, 2 - unproven, unproven, unproven)
    shown = " ".join(drawn(figures([replace(first, ended=end), second, later]), 160).split())
    assert ("1 more ended deferred or handed over, 1 taken up again as soon" in shown) == bool(unproven)


def test_one_case_may_bring_back_several() -> None:
    """A on channel A, B on channel B, and then the engine again with its channel not told: both came back."""
    first, second, later = repeat(3, (None, 100))
    one = replace(first, case="one", channel="A", starts=90)
    other = replace(first, case="other", channel="B")
    found = figures([one, other, replace(second, channel=""), later]).whole.came_back
    assert (found.share.count, found.share.of, found.days_only) == (2, 3, 1)


def test_a_case_dated_long_after_now_does_not_make_the_others_watched() -> None:
    cases = [made(i) for i in range(10)]
    now = cases[-1].last
    told = figures(cases, now=now).whole.came_back
    assert (told.share.of, told.unwatched) == (9, 1)
    odd = replace(made(10), opened="2139-07-07T06:00:00.000Z", closed="2139-07-07T08:00:00.000Z",
                  last="2139-07-07T08:00:00.000Z")  # fmt: skip
    found = figures([*cases, odd], now=now)
    assert (found.whole.came_back.share.of, found.whole.came_back.unwatched) == (9, 2)
    assert "1 case is dated after today, 2030-10-05 (the last is c10, 2139-07-07)" in found.notes[0]


def test_what_was_never_isolated_is_told_beside_the_time_to_isolate() -> None:
    """Of those that were isolated alone the time says too little: ten quick ones, and ten that never came to it."""
    cases = [made(i, isolated=5.0 if i < 10 else None) for i in range(20)]
    still = made(20, isolated=None, closed="", ended="")
    found = figures([*cases, still]).whole
    assert found.never == 10 and found.isolated.of == 10
    assert found.isolated.said == "half within 5 min (5 to 5), 10 cases; 10 more never isolated"
    assert figures(cases[:10]).whole.isolated.said == "half within 5 min (5 to 5), 10 cases"


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


def test_what_was_taken_is_judged_beside_what_was_turned_down() -> None:
    down = (Turned(7, "", "check", "breakers-look/B", "busy"),)
    cases = [made(i, turned=down if i else ()) for i in range(8)]
    found = figures(cases, judge=lambda *_: "right", taken=lambda _: (("check", "right"), ("check", "wrong")))
    check = found.whole.declined[1]
    # Seven of the eight cases turned something down.
    assert (check.right.count, check.right.of, check.taken.count, check.taken.of) == (7, 7, 7, 14)
    shown = " ".join(drawn(found, 160).split())
    assert "right 7 of 7" in shown and "by the same measure 7 of 14: 50%" in shown
    assert found.whole.declined[0].taken.of == 0


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
    """Of ten parts three in vain: 30%, from 11 to 60%, on a scale that ends at 80% (the next round number)."""
    cases = [
        made(i, repairs=(fitted(),), named=(named("healthy/B" if i < 3 else "lead-chafed/B"),), engine="orrin-t-9")
        for i in range(10)
    ]
    lines = drawn(figures(cases), 80, PLAIN_SIGNS).splitlines()
    row = lines[next(i for i, line in enumerate(lines) if "Parts replaced in vain" in line) + 3]
    assert "3 of 10: 30% (11 to 60%)" in row
    scale = lines[lines.index(row) + 2]
    left, right = scale.index("0"), scale.index("%")
    assert scale[left : right + 1].split()[-1] == "80%"
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
    assert status == 0 and "7 cases, 6 closed" in out
    assert "146 min on 4 cases: too few to say" in out and "part that the shop found" in out
    status, out, _ = said("review", "fleet", "--json", "--engine", "Orrin-T-9", "--by", "knowledge")
    shown = json.loads(out)
    assert status == 0 and shown["whole"]["cases"] == 1 and len(shown["groups"][0]["name"]) == 12
    page_to = tmp_path / "fleet.html"
    assert said("review", "fleet", "--html", str(page_to))[0] == 0
    assert "Halden HF-3" in page_to.read_text()
    status, _, error = said("review", "fleet", "--html", str(page_to))
    assert status == 1 and "is there already" in error
    assert said("review", "fleet", "--html", str(page_to), "--overwrite")[0] == 0


def test_days_that_are_none(said: Said) -> None:
    assert "2030-01-31, not 'soon'" in said("review", "fleet", "--since", "soon")[2]
    assert "no day is left" in said("review", "fleet", "--since", "2030-02-01", "--until", "2030-01-01")[2]
    status, out, _ = said("review", "fleet", "--since", "2040-01-01")
    assert status == 0 and "No case to say anything of." in out

"""Defects that came back: which cases belong together, and what was done each time [practice]."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from isolate.case.brief import Brief, brief
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.store import Store, open_store
from isolate.cli import main
from isolate.reasoning.starts import Start
from isolate.review.parts import kinds_of
from isolate.review.repeats import Back, Repeats, came_back, repeats
from isolate.review.shelf import counted
from isolate.review.symptoms import families
from isolate.terminal.repeats_layout import page
from tests.case.test_inherit import PLUG, STORY, answered, case, keep, repaired
from tests.worked import kit_of, trail

LIGHT = brief(trail("worn-plug"))


@pytest.fixture(scope="module")
def kit() -> Kit:
    return kit_of()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "cases.db") as opened:
        yield opened


def names(store: Store, within: float = 400, aircraft: str = "") -> list[list[str]]:
    return [[v.case for v in r.visits] for r in repeats(store, within, aircraft).found]


def test_nothing_came_back_where_nothing_did(store: Store) -> None:
    assert repeats(store).found == ()
    keep(store, "one", 10)
    keep(store, "elsewhere", 5, intake=case(position="1"))
    keep(store, "the-other-channel", 5, items=(), intake=case(channel="B"))
    assert names(store) == []


def test_the_same_complaint_again_is_told_with_the_days_between_and_what_was_done(store: Store) -> None:
    keep(store, "first", 30, shop="not-confirmed")
    keep(store, "second", 10, items=(*STORY, repaired("replace-lead/A")))
    keep(store, "third", 2, items=(), ended=False)
    (found,) = repeats(store).found
    assert (found.aircraft, found.position, found.engine) == ("117", "2", "halden-hf-3")
    assert [v.case for v in found.visits] == ["first", "second", "third"]
    # Each was opened an hour before it ended; the shop's finding a month later does not end it anew.
    assert found.visits[0].days is None
    assert [v.days for v in found.visits[1:]] == [
        pytest.approx(20 - 1 / 24, abs=0.01),
        pytest.approx(8 - 1 / 24, abs=0.01),
    ]
    assert [v.repairs for v in found.visits] == [(PLUG,), (PLUG, "replace-lead/A"), ()]
    assert found.again == (PLUG,) and found.visits[0].findings == (f"{PLUG}: not-confirmed",)
    assert found.visits[-1].end == found.visits[-1].closed == ""


def test_the_same_repair_again_belongs_to_it_whatever_it_was_called(store: Store) -> None:
    keep(store, "silent", 30)
    keep(store, "repeat", 10, intake=case("repeat-after-plug-change"))
    keep(store, "dark", 5, items=(answered("spark-test/A", "snaps"),), intake=case("no-light-off", ""))
    assert names(store) == [["silent", "repeat"]]


def test_too_long_between_is_another_defect(store: Store) -> None:
    for name, days in (("a", 100), ("b", 90), ("c", 20), ("d", 15)):
        keep(store, name, days)
    assert names(store, 30) == [["c", "d"], ["a", "b"]], "the last to come back first"
    assert names(store, 80) == [["a", "b", "c", "d"]]
    assert names(store, 80, "104") == [] and names(store, 80, " 117 ") == [["a", "b", "c", "d"]]


@pytest.mark.parametrize("within", [0, -1, float("nan"), float("inf"), 1e9])
def test_days_that_are_none_are_refused(store: Store, within: float) -> None:
    with pytest.raises(Refused, match="days are a number"):
        repeats(store, within)


def test_a_case_that_cannot_be_read_is_named_and_the_others_are_shown(store: Store) -> None:
    keep(store, "one", 30)
    keep(store, "two", 10)
    body = {"aircraft": "117", "position": "2", "engine": "halden-hf-3", "complaint": "x", "intake": {"odd": 1}}
    store.append("strange", "opened", body, "2030-02-01T00:00:00.000Z")
    found = repeats(store)
    assert [[v.case for v in r.visits] for r in found.found] == [["one", "two"]]
    (note,) = found.notes
    assert note.startswith("Case strange cannot be read: ")


def shown(found: Repeats, width: int = 80) -> str:
    console = Console(width=width, record=True, force_terminal=False, no_color=True)
    with console.capture() as captured:
        console.print(page(found, width))
    return captured.get()


@pytest.mark.parametrize("width", [80, 40, 160])
def test_it_fits_the_screen(store: Store, kit: Kit, width: int) -> None:
    keep(store, "117-2-0130-aaaa", 30)
    keep(store, "117-2-0219-bbbb", 10)
    found = repeats(store, knowledge=kit.fitted.knowledge)
    lines = shown(found, width).splitlines()
    assert all(len(line) <= width for line in lines)
    text = "".join("".join(lines).split())
    for said in ("Aircraft117,engine2", "Camebackonce", "30Jan2030", "117-2-0219-bbbb", "Sameengine,thesamecomplaint"):
        assert said in text, said
    assert shown(repeats(store, aircraft="104"), width).startswith("Nothing came back")


def test_a_case_opened_beside_an_open_one_did_not_come_back(store: Store) -> None:
    """A defect comes back once it was said to be gone; one opened twice is the same visit."""
    keep(store, "open", 10, ended=False)
    keep(store, "beside", 9)
    (found,) = repeats(store).found
    assert found.times == found.as_dict()["times"] == 0 and found.visits[1].open_before
    keep(store, "after", 2)
    (found,) = repeats(store).found
    assert found.times == 1 and [v.open_before for v in found.visits] == [False, True, False]
    text = shown(repeats(store))
    assert "Came back once" in text and "meanwhile" in text


# -- why they belong together -------------------------------------------------------------------------


def made(
    case_: str,
    opened: str,
    closed: str,
    aircraft: str = "104",
    complaint: str = "one-channel-silent",
    channel: str = "B",
    repairs: Sequence[tuple[str, str, str]] = (),
    **more: Any,
) -> Brief:
    """Return a case in brief; times are days of 2030-01 with a fraction as hours, repairs are (key, off, on)."""
    light = LIGHT
    done = tuple(
        replace(light.repairs[0], seq=10 + i, time=f"2030-01-{opened}T07:00:00.000Z", repair=key, finding="",
                part={"sn-off": off, "sn-on": on, "pn-off": "HI-300", "pn-on": "HI-300"})
        for i, (key, off, on) in enumerate(repairs)
    )  # fmt: skip
    end = f"2030-01-{closed}T12:00:00.000Z" if closed else ""
    return replace(
        light, case=case_, opened=f"2030-01-{opened}T06:00:00.000Z", closed=end, last=end or light.last,
        ended="verified, fault found" if closed else "", aircraft=aircraft, complaint=complaint, channel=channel,
        repairs=done, named=(), **more,
    )  # fmt: skip


def backs(*briefs: Brief, days: float = 400, starts: float | None = None, **more: Any) -> dict[str, Back]:
    knowledge = kit_of().fitted.knowledge
    return {b.case: b for b in came_back(briefs, days, starts, families(knowledge), kinds_of(knowledge), **more)}


def test_it_says_why_a_case_belongs_to_an_earlier_one() -> None:
    first = made("a", "02", "02", repairs=[("replace-igniter/B", "K100", "K207")])
    second = made("b", "12", "12", repairs=[("replace-igniter/B", "k-207", "K300")])
    (back,) = backs(first, second).values()
    assert (back.case, back.before, back.open_before) == ("b", "a", False)
    assert back.days == pytest.approx(9.75)
    assert [(r.kind, r.case) for r in back.reasons] == [("symptom", "a"), ("repair", "a"), ("part", "a")]
    assert back.reasons[2].said == "same part, S/N k-207, fitted in the one before" and back.reasons[2].part == "k-207"


def test_complaints_of_one_family_belong_together_others_do_not() -> None:
    """What is silent today may be written up as weak tomorrow [practice]; a lead found chafed is another matter."""
    silent, weak = made("a", "02", "02"), made("b", "05", "05", complaint="weak-snap")
    assert "complaints of one family" in backs(silent, weak)["b"].reasons[0].said
    for other in ("no-light-off", "lead-damaged", "slow-light"):
        assert backs(silent, made("b", "05", "05", complaint=other)) == {}
    assert backs(silent, made("b", "05", "05", complaint="weak-snap", channel="A")) == {}
    assert backs(silent, made("b", "05", "05", position="1")) == {}
    assert backs(silent, made("b", "05", "05", "117")) == {}
    # Without the knowledge a complaint is a family of its own.
    assert came_back([silent, made("b", "05", "05", complaint="weak-snap")]) == ()


def test_starts_count_where_they_are_told_of_both_else_the_days_alone() -> None:
    first, second = made("a", "02", "02", starts=4000), made("b", "05", "05", starts=4031)
    assert backs(first, second, days=10, starts=30) == {}
    assert backs(first, second, days=10, starts=31)["b"].starts == 31
    assert backs(replace(first, starts=None), second, days=10, starts=30)["b"].starts is None
    assert backs(first, replace(second, starts=3), days=10, starts=30)["b"].starts is None, "the count was begun anew"
    assert backs(replace(first, starts=None), second, days=10, starts=30, dated=lambda a, b: 31.0) == {}
    with pytest.raises(Refused, match="starts are a number"):
        came_back([], 10, 0)


def test_dated_starts_count_only_where_they_reach_back() -> None:
    def start(at: str, gap: bool = False) -> Start:
        return Start("A", True, at=at, gap=gap)

    end = "2030-01-10T12:00:00.000Z"
    told = [start("2030-01-09"), start("2030-01-10"), start("2030-01-11"), start("2030-01-12T08:00")]
    assert counted(told, end) == 2
    assert counted(told[2:], end) is None, "nobody knows how many came before the first"
    assert counted([*told, start("2030-01-13", gap=True)], end) is None
    assert counted([*told, start("")], end) is None and counted([], end) is None


def test_drills_are_left_out() -> None:
    assert backs(made("a", "02", "02", drill=True), made("b", "05", "05")) == {}


def test_a_part_is_followed_from_one_engine_to_another() -> None:
    """A part that goes about with its fault spreads the defect [practice]."""
    off = made("a", "02", "02", repairs=[("replace-igniter/B", "K207", "K100")])
    plug = "replace-igniter/A"
    on = made("b", "08", "08", "230", complaint="plug-found-worn", channel="A", repairs=[(plug, "K5", "K207")])
    here = made("c", "15", "15", "230", channel="A")
    found = backs(off, on, here)
    (reason,) = found["c"].reasons
    assert "b" not in found, "a part fitted is no defect that came back"
    assert (reason.kind, reason.case) == ("part", "a") and "came off 104-2" in reason.said
    twice = made("d", "20", "20", "230", complaint="lead-damaged", channel="A", repairs=[(plug, "K207", "")])
    (reason,) = (r for r in backs(off, twice)["d"].reasons)
    assert reason.said == "same part, S/N K207, taken off in both, on 104-2 before"
    other = replace(twice.repairs[0], part={"sn-off": "K207", "pn-off": "HX-1"})
    assert backs(off, replace(twice, repairs=(other,))) == {}


def test_parts_do_not_make_one_group_of_the_fleet(store: Store) -> None:
    """Each engine keeps its own group; the part that was on both has one besides."""
    def item(off: str, on: str) -> tuple[str, dict[str, Any]]:
        part = {"sn-off": off, "sn-on": on, "pn-off": "HI-300", "pn-on": "HI-300"}
        return "repaired", {"repair": PLUG, "minutes": 1, "spoils": [], "part": part}

    keep(store, "a1", 60, items=(item("K1", "K2"),))
    keep(store, "a2", 50, items=(item("K2", "K3"),))
    keep(store, "b1", 40, items=(item("K7", "K8"),), intake=case(aircraft="104"))
    keep(store, "b2", 30, items=(item("K8", "K2"),), intake=case(aircraft="104"))
    keep(store, "b3", 20, items=(item("K2", "K9"),), intake=case(aircraft="104"))
    found = repeats(store, knowledge=kit_of().fitted.knowledge)
    groups = sorted((r.about, r.part, [v.case for v in r.visits]) for r in found.found)
    assert groups == [
        ("engine", "", ["a1", "a2"]), ("engine", "", ["b1", "b2", "b3"]), ("part", "K2", ["a1", "a2", "b2", "b3"])
    ]  # fmt: skip
    (part,) = (r for r in found.found if r.about == "part")
    assert part.carries and "117-2" in part.carries[0] and "104-2" in part.carries[0]
    assert [r.part for r in repeats(store, aircraft="104").found].count("K2") == 1
    assert repeats(store, most=1).more == len(found.found) - 1


# -- beside each other -------------------------------------------------------------------------------


def believed(**faults: float) -> tuple[str, dict[str, Any]]:
    told = [[f"{mode.replace('_', '-')}/A", p] for mode, p in faults.items()]
    return "belief", {"faults": told, "none": 0.1, "unexplained": 0, "level": 1}


def closed(mode: str, probability: float, repair: str = PLUG) -> tuple[str, dict[str, Any]]:
    found = [{"repair": repair, "mode": mode, "probability": probability}]
    return "closed", {"end": "verified, fault found", "found": found, "remaining": 0.1, "record": "A record."}


LOOK = answered("lead-route-look/A", "sound")


@pytest.fixture
def two(store: Store) -> Store:
    """A plug blamed first, with the lead in doubt; then the lead, as the shop says."""
    declined = ("declined", {"kind": "check", "move": "lead-braid-look/A", "reason": "no <b>time</b> \x1b[31m"})
    plug = ("repaired", {"repair": PLUG, "minutes": 1, "parts": 20, "spoils": [], "part": {"sn-off": "K1"}})
    first = (
        believed(igniter_worn=0.5, lead_chafed=0.3), declined, LOOK, believed(igniter_worn=0.7, lead_chafed=0.12),
        plug, answered("spark-test/A", "snaps"), believed(lead_chafed=0.12), closed("igniter-worn/A", 0.7),
    )  # fmt: skip
    lead = "replace-lead/A"
    second = (
        believed(lead_chafed=0.4), answered("lead-wiggle/A", "jumps"), believed(lead_chafed=0.8),
        repaired(lead), repaired(PLUG), believed(), closed("lead-chafed/A", 0.8, lead),
        ("shop-finding", {"repair": lead, "finding": "confirmed", "text": "", "report": ""}),
    )  # fmt: skip
    keep(store, "first", 20, items=first, ended=False)
    keep(store, "second", 10, items=second, ended=False)
    return store


def test_what_was_left_open_and_what_a_later_case_found_of_it(two: Store, kit: Kit) -> None:
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    first, second = found.visits
    assert [(x.mode, x.chance, x.when) for x in first.left] == [("lead-chafed/A", 0.12, "end")] and second.left == ()
    (confirmed,) = found.confirmed
    assert (confirmed.mode, confirmed.earlier, confirmed.later) == ("lead-chafed/A", "first", "second")
    assert confirmed.open and confirmed.by == "the shop" and (confirmed.highest, confirmed.at_end) == (0.3, 0.12)
    assert confirmed.after == "at its opening" and "Follow lead A" in confirmed.dropped
    assert "left 'Lead A chafed" in confirmed.said and "open at 12 %" in confirmed.said
    assert "the shop confirmed it" in confirmed.said


def test_what_was_put_aside_is_told_with_the_answer_that_did(store: Store, two: Store, kit: Kit) -> None:
    # The same, but at its end the first case had the lead at nothing.
    items = (believed(lead_chafed=0.3), LOOK, believed(lead_chafed=0.02), repaired(PLUG), believed())
    keep(store, "put-aside", 15, items=(*items, closed("igniter-worn/A", 0.7)), ended=False)
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    (said,) = (c for c in found.confirmed if c.earlier == "put-aside")
    assert not said.open and said.at_end == 0.0
    assert "at 30 % at most" in said.said and "Follow lead A" in said.said and "under 1 % at its end" in said.said


def test_what_nobody_did_was_declined_or_did_not_cure(two: Store, kit: Kit) -> None:
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    named = {u.check for u in found.unasked}
    asked = {a.key for v in found.visits for a in v.asked}
    assert named and not named & asked and all(u.bits >= 1 and u.other == "lead-chafed/A" for u in found.unasked)
    ((case_, said),) = found.turned
    assert case_ == "first" and "turned down" in said and "Lead A chafed" in said
    (again,) = found.no_cure
    assert again.repair == PLUG and again.cases == ("first", "second") and found.again == (PLUG,)
    assert len(found.doubts) == 1 and "named 'Igniter plug A worn'" in found.doubts[0] and "S/N K1" in found.doubts[0]
    # Without the knowledge what the trails say is there all the same, by its keys.
    (bare,) = repeats(two).found
    assert bare.confirmed[0].open and bare.unasked == () and "Lead chafed A" in bare.confirmed[0].said


def test_what_a_trail_says_never_moves_the_screen(two: Store, kit: Kit) -> None:
    text = shown(repeats(two, knowledge=kit.fitted.knowledge))
    assert "\x1b" not in text and "no <b>time</b>" in text
    assert json.loads(json.dumps(repeats(two).as_dict()))["repeats"][0]["times"] == 1


def test_a_trail_that_cannot_be_read_leaves_its_visit_listed(two: Store, kit: Kit) -> None:
    class Torn:
        def __getattr__(self, name: str) -> Any:
            return getattr(two, name)

        def events(self, case: str) -> Any:
            if case == "first":
                raise ValueError("it is torn.")
            return two.events(case)

    (found,) = repeats(Torn(), knowledge=kit.fitted.knowledge).found
    assert [v.read for v in found.visits] == [False, True]
    assert found.notes == ("Case first cannot be read, only listed: it is torn.",)


def test_kept_trails_beside_each_other(kit: Kit) -> None:
    """The three cases of aircraft 104: the defect came back after the plug and after the exciter; it was the lead."""
    trails = {t[0].case: t for t in map(trail, ("worn-plug", "hot-exciter", "came-back", "declined", "turboprop"))}

    class Kept:
        def briefs(self, **filters: str) -> list[Brief]:
            assert not filters
            return [brief(t) for t in trails.values()]

        def notes(self) -> list[tuple[str, str]]:
            return [("odd", "it has no opening.")]

        def cases(self) -> Any: ...
        def faults(self, case: str) -> Any: ...
        def events(self, case: str) -> Any:
            return trails[case]

    shelf: Any = Kept()
    result = repeats(shelf, knowledge=kit.fitted.knowledge)
    (found,) = result.found
    assert result.cases == 5 and result.notes == ("Case odd cannot be read: it has no opening.",)
    assert [v.case for v in found.visits] == ["104-2-0110-a001", "104-2-0118-a002", "104-2-0125-a006"]
    assert [len(v.asked) for v in found.visits] == [15, 14, 16] and found.times == 2
    assert {(c.mode, c.later) for c in found.confirmed} == {
        ("exciter-fails-hot/B", "104-2-0118-a002"), ("lead-chafed/B", "104-2-0125-a006")
    }  # fmt: skip
    assert found.doubts and "XK207" in found.doubts[0]
    assert found.visits[0].done[0].on == "P/N HI-300 S/N K207"
    assert "found the fault in it" in found.visits[0].done[0].finding
    # The records begin less than 60 days before their end: too little could come back to say how often it does.
    assert {t.about for t in result.trends} == {"part"} and "do not reach far enough back" in shown(result)
    longer = repeats(shelf, knowledge=kit.fitted.knowledge, now="2030-06-01T00:00:00.000Z")
    assert {t.about for t in longer.trends} == {"fleet", "station", "part"}
    assert all(t.verdict == "too few to say" for t in result.trends)


# -- the command -------------------------------------------------------------------------------------


def test_the_command(two: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def ran(*argv: str) -> tuple[int, str, str]:
        status = main(["repeats", "--store", str(tmp_path / "cases.db"), *argv])
        told = capsys.readouterr()
        return status, told.out, told.err

    data = json.loads(ran("--json")[1])
    assert data["repeats"][0]["confirmed"][0]["open"] and data["cases"] == 2 and data["since"] < data["until"]
    assert json.loads(ran("--json", "--days", "3")[1])["repeats"] == []
    assert json.loads(ran("--json", "--since", "2030-03-01")[1])["repeats"] == []
    assert json.loads(ran("--json", "--until", "2030-02-15")[1])["repeats"] == []
    assert json.loads(ran("--json", "--engine", "halden-hf-3")[1])["repeats"]
    assert json.loads(ran("--json", "--aircraft", "117")[1])["trends"] == []
    assert "No case here speaks of a part with the serial number K999." in ran("--part", "K999")[1]
    for argv, said in (
        (["--days", "0"], "days are a number above 0"), (["--starts=-2"], "starts are a number above 0"),
        (["--part", "none"], "is no serial number"), (["--most", "0"], "--most takes a number of defects"),
        (["--since", "soon"], "--since is a day such as 2030-01-31"),
        (["--since", "2030-02-02", "--until", "2030-02-01"], "lies after"),
    ):  # fmt: skip
        status, out, err = ran(*argv)
        assert status == 1 and said in err and not out and "Traceback" not in err, argv
    out = tmp_path / "repeats.html"
    assert ran("--html", str(out))[0] == 0 and "left &#39;Lead A chafed" in out.read_text(encoding="utf-8")
    status, _, err = ran("--html", str(out))
    assert status == 1 and "--overwrite replaces it" in err


def test_a_line_of_time_says_how_often() -> None:
    from isolate.review.trend import trend
    from isolate.terminal.repeats_layout import strip

    def line(*days: int) -> str:
        happened = [(f"2030-01-{d:02}T00:00:00.000Z", "x") for d in days]
        window = "2030-01-01T00:00:00.000Z", "2030-01-11T00:00:00.000Z"
        return strip(trend("fleet", "x", "X", "defects", happened, *window), 10)

    assert line(1, 1, 4, 11) == "[2..1.....1]" and line() == ""
    assert line(*[2] * 30, *[5] * 10, 9) == "[.9..3...1.] 9: 30"

"""Defects that came back: which cases belong together, and what was done each time [practice]."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console

from isolate.case.brief import Brief, brief
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.store import Head, Store, open_store
from isolate.cli import main
from isolate.reasoning.starts import Start
from isolate.review.pages import repeats_page
from isolate.review.parts import kinds_of, ways
from isolate.review.repeats import Back, Repeats, came_back, elapsed, repeats
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


def test_days_asked_for_are_within_to_the_second() -> None:
    """From the end of the one, at noon, to the opening of the next."""
    first, second = made("a", "02", "02"), made("b", "12", "12")
    assert backs(first, replace(second, opened="2030-01-12T12:00:00.000Z"), days=10)["b"].days == 10
    assert backs(first, replace(second, opened="2030-01-12T12:00:01.000Z"), days=10) == {}


def test_what_was_open_when_it_was_opened_again_did_not_come_back() -> None:
    """That it ended since makes no difference: it is one visit, opened twice."""
    back = backs(made("a", "02", "09"), made("b", "05", "06"))["b"]
    assert back.open_before and not back.returned and back.days == 0
    assert backs(made("a", "02", "04"), made("b", "05", "06"))["b"].returned
    # To the second: ended as it was opened is ended.
    touching = replace(made("b", "05", "06"), opened="2030-01-04T12:00:00.000Z")
    assert backs(made("a", "02", "04"), touching)["b"].returned
    found = repeats(Kept([made("a", "02", "09"), made("b", "05", "06")])).found[0]
    assert found.times == 0 and found.visits[1].open_before and found.visits[1].days is None
    assert found.trend is not None and found.trend.times == ()


@pytest.mark.parametrize("end", ["deferred under the operator's own procedure", "handed over, not solved here"])
def test_what_was_deferred_or_handed_over_is_taken_up_again(end: str) -> None:
    first, second, third = (made(name, day, day) for name, day in (("a", "02"), ("b", "05"), ("c", "08")))
    first = replace(first, ended=end)
    found = backs(first, second, third)
    assert found["b"].taken_up and not found["b"].returned and found["c"].returned
    (group,) = repeats(Kept([first, second, third])).found
    assert group.times == 1 and [v.taken_up for v in group.visits] == [False, True, False]
    assert [v.days for v in group.visits] == [None, 2.75, 2.75]
    text = " ".join(shown(repeats(Kept([first, second, third]))).split())
    assert "Came back once" in text and group.visits[1].since.startswith("taken up again, ")
    assert group.trend is not None and group.trend.cases == ("c",)


class Kept:
    """Cases in brief with no trails behind them."""

    def __init__(self, briefs: Sequence[Brief]) -> None:
        self.kept = list(briefs)

    def briefs(self, **_: str) -> list[Brief]:
        return self.kept

    def notes(self) -> list[tuple[str, str]]:
        return []

    def events(self, case: str) -> Any:
        raise ValueError("it is not here")

    def cases(self, **_: str) -> Any: ...
    def faults(self, case: str) -> Any: ...


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
    assert "left 'Lead A chafed" in confirmed.said and "open at 12%" in confirmed.said
    assert "the shop confirmed it" in confirmed.said


def test_what_was_put_aside_is_told_with_the_answer_that_did(store: Store, two: Store, kit: Kit) -> None:
    # The same, but at its end the first case had the lead at nothing.
    items = (believed(lead_chafed=0.3), LOOK, believed(lead_chafed=0.02), repaired(PLUG), believed())
    keep(store, "put-aside", 15, items=(*items, closed("igniter-worn/A", 0.7)), ended=False)
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    (said,) = (c for c in found.confirmed if c.earlier == "put-aside")
    assert not said.open and said.at_end == 0.0
    assert "at 30% at most" in said.said and "Follow lead A" in said.said and "under 1% at its end" in said.said


def test_what_nobody_did_was_declined_or_did_not_cure(two: Store, kit: Kit) -> None:
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    named = {u.check for u in found.unasked}
    asked = {a.key for v in found.visits for a in v.asked}
    assert named and not named & asked and all(u.bits >= 1 and u.other == "lead-chafed/A" for u in found.unasked)
    ((case_, said),) = found.turned
    assert case_ == "first" and "turned down" in said and "Lead A chafed" in said
    (again,) = found.no_cure
    assert again.repair == PLUG and again.cases == ("first", "second") and found.again == (PLUG,)
    assert again.said.endswith("the defect had come back before the last of them.")
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
    # What was answered after the repair proves it and is no finding; the hot defect was looked for cold.
    assert [Counter((a.when, a.condition) for a in v.asked) for v in found.visits] == [
        {("before", ""): 9, ("after", ""): 6},
        {("before", ""): 7, ("before", "cold"): 1, ("after", "cold"): 6},
        {("before", ""): 11, ("after", ""): 5},
    ]
    said = " ".join(shown(result, 160).split())
    assert "Asked after the last repair" in said and "7.8 days from the end of visit 1" in said
    assert "visit 2 (18 Jan 2030) named it (92% by its end)" in said and "(the shop confirmed it)" in said
    # The plug was worn, as the shop says, and eight days later it was back: the plug was not all of it.
    (follows,) = found.follows
    assert "a second fault was there besides, perhaps 'Lead B chafed" in follows and "visit 3" in follows
    checks = [u.check for u in found.unasked]
    assert len(set(checks)) == len(checks) <= 4 and found.unasked[0].one == "exciter-fails-hot/B"
    assert [bool(u.one) for u in found.unasked] == sorted((bool(u.one) for u in found.unasked), reverse=True)
    html = " ".join(unescape(repeats_page(result)).split())
    for words in (*found.doubts, *found.follows, *(u.said for u in found.unasked), *(v.since for v in found.visits)):
        assert words in html
    assert "shows hot" in html and "shows steady" not in html and "put right:" not in html
    assert found.visits[0].done[0].on == "P/N HI-300 S/N K207"
    assert "found the fault in it" in found.visits[0].done[0].finding
    # The records begin less than 60 days before their end: too little could come back to say how often it does.
    assert {t.about for t in result.trends} == {"part"} and "do not reach far enough back" in shown(result)
    longer = repeats(shelf, knowledge=kit.fitted.knowledge, now="2030-06-01T00:00:00.000Z")
    assert {t.about for t in longer.trends} == {"fleet", "station", "part"}
    assert all(t.verdict == "too few to say" for t in result.trends)


def test_two_words_of_the_shop_that_disagree_confirm_nothing(two: Store, kit: Kit) -> None:
    body = {"repair": "replace-lead/A", "finding": "not-confirmed", "text": "", "report": "R2"}
    two.append("second", "shop-finding", body, "2030-03-02T06:00:00.000Z")
    two.append("second", "shop-finding", {**body, "finding": "confirmed"}, "2030-03-03T06:00:00.000Z")
    body = {**body, "finding": "other", "text": "its nut was worn"}
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    (confirmed,) = found.confirmed
    assert [r.disputed for r in brief(two.events("second")).repairs] == [True, False]
    assert confirmed.by == "the end of the case" and "two words of the shop disagree" in confirmed.said
    doubt = found.doubts[-1]
    assert "two words of the shop on the part that came off disagree: the shop found the fault in it; then: " in doubt
    assert "the shop found nothing wrong with it" in doubt
    two.append("first", "shop-finding", {**body, "repair": PLUG}, "2030-03-02T06:00:00.000Z")
    (found,) = repeats(two, knowledge=kit.fitted.knowledge).found
    assert "the shop found something else (its nut was worn)" in found.doubts[0]


def test_what_the_shop_found_good_is_in_doubt_at_the_last_visit_too(store: Store, kit: Kit) -> None:
    for name, days in (("first", 20), ("second", 10)):
        keep(store, name, days, items=(repaired(PLUG), closed("igniter-worn/A", 0.9)), ended=False)
        finding = "confirmed" if name == "first" else "not-confirmed"
        body = {"repair": PLUG, "finding": finding, "text": "", "report": ""}
        store.append(name, "shop-finding", body, "2030-03-02T06:00:00.000Z")
    (found,) = repeats(store, knowledge=kit.fitted.knowledge).found
    (doubt,) = found.doubts
    assert doubt.startswith("Visit 2") and "but the shop found nothing wrong with the part" in doubt
    assert found.confirmed == () and len(found.follows) == 1 and "second fault" in found.follows[0]
    store.append("second", "shop-finding", {**body, "finding": "confirmed"}, "2030-03-03T06:00:00.000Z")
    assert "disagree" in repeats(store, knowledge=kit.fitted.knowledge).found[0].doubts[0]


def test_the_same_fault_confirmed_twice_asks_for_its_cause(store: Store, kit: Kit) -> None:
    for name, days in (("first", 20), ("second", 10)):
        keep(store, name, days, items=(repaired(PLUG), closed("igniter-worn/A", 0.9)), ended=False)
        body = {"repair": PLUG, "finding": "confirmed", "text": "", "report": ""}
        store.append(name, "shop-finding", body, "2030-03-02T06:00:00.000Z")
    (found,) = repeats(store, knowledge=kit.fitted.knowledge).found
    assert "found the same again" in found.follows[0] and "look for what brings it about" in found.follows[0]
    assert found.doubts == ()
    # Said once more alike it is one word.
    store.append("first", "shop-finding", {**body, "report": "R2"}, "2030-03-03T06:00:00.000Z")
    assert repeats(store, knowledge=kit.fitted.knowledge).found[0].doubts == ()


def test_what_is_back_long_after_says_nothing_of_what_was_put_right(store: Store, kit: Kit) -> None:
    for name, days in (("first", 50), ("second", 10)):
        keep(store, name, days, items=(repaired(PLUG), closed("igniter-worn/A", 0.9)), ended=False)
        body = {"repair": PLUG, "finding": "confirmed", "text": "", "report": ""}
        store.append(name, "shop-finding", body, "2030-03-02T06:00:00.000Z")
    (found,) = repeats(store, knowledge=kit.fitted.knowledge).found
    assert found.visits[1].days == pytest.approx(40, abs=0.1) and found.follows == ()


def went(*, before: bool = False, shop: str = "", again: bool = False, kept: bool = False, there: bool = False) -> str:
    """Return what is said of a plug that went from 104 to 230, which had a complaint with it."""
    off = made("a", "02", "02", repairs=[("replace-igniter/B", "K207", "K100")])
    on = made("b", "08", "08", "230", complaint="plug-found-worn", repairs=[("replace-igniter/B", "K5", "K207")])
    here = made("c", "15", "15", "230")
    off = replace(off, repairs=(replace(off.repairs[0], finding=shop.rstrip("?"), disputed="?" in shop),))
    cases = [off, on, here]
    cases += [made("z", "01", "01", "230")] * before + [made("d", "20", "20")] * again
    if there:
        # It had come to 104 for that complaint, as the next one for it.
        cases[0] = replace(off, opened="2030-01-04T06:00:00.000Z", repairs=(
            replace(off.repairs[0], time="2030-01-04T07:00:00.000Z"),))  # fmt: skip
        cases += [made("y", "02", "02", repairs=[("replace-igniter/B", "K9", "K207")])]
    if kept:
        cases += [made("e", "16", "16", "230", repairs=[("replace-igniter/B", "K207", "K6")])]
        cases += [made("f", "22", "22", "230")]
    knowledge = kit_of().fitted.knowledge
    (way,) = ways(cases, "K207", kinds_of(knowledge), families(knowledge))
    (said,) = way.carries
    return said


def test_a_part_may_carry_a_defect_only_where_nothing_speaks_against() -> None:
    """One that the shop cleared, or whose complaint was there before it, carries nothing [practice]."""
    assert "It may carry the defect along: 230-2 had none like it before" in went()
    confirmed = went(shop="confirmed")
    assert "It may carry" in confirmed and "the shop found a fault in it (case a)" in confirmed
    for told, against in (
        (went(shop="not-confirmed"), "the shop found nothing wrong with it (case a)"),
        (went(shop="confirmed?"), "two words of the shop on it disagree (case a)"),
        (went(before=True), "230-2 had it before the part came there (case z)"),
        (went(again=True), "104-2 had it again without the part (case d)"),
        (went(there=True), "104-2 had it before the part came there (case y)"),
        (went(kept=True), "230-2 had it again without the part (case f)"),
    ):
        assert "may carry" not in told and f"against its carrying the defect along: {against}" in told


def test_a_part_group_counts_what_came_back_on_one_engine() -> None:
    """Two cases on each of two engines, tied by one plug: nothing came back on the second after its last plug."""
    plug = "replace-igniter/B"
    cases = [
        made("a", "02", "02", repairs=[(plug, "K1", "K207")]), made("b", "06", "06", repairs=[(plug, "K207", "K2")]),
        made("c", "10", "10", "230", repairs=[(plug, "K3", "K207")]),
        made("d", "14", "14", "230", repairs=[(plug, "K207", "K4")]),
    ]  # fmt: skip
    (group,) = (g for g in repeats(Kept(cases), knowledge=kit_of().fitted.knowledge).found if g.about == "part")
    assert group.times == 2 and [v.before for v in group.visits] == ["", "a", "", "c"] and group.follows == ()
    text = shown(repeats(Kept(cases)))
    assert "In 4 cases, on 2 engines: Part S/N K207" in text
    assert "Part S/N K207: 104-2, 230-2: in 4 cases, on 2 engines" in repeats_page(repeats(Kept(cases)))
    # Brought from another engine at once, it came back on none.
    moved = [cases[0], replace(cases[1], aircraft="230", position="1")]
    (group,) = repeats(Kept(moved)).found
    assert group.about == "part" and group.times == 0


def test_another_end_of_a_forked_case_is_told() -> None:
    class Forked(Kept):
        def forks(self) -> list[str]:
            return ["b"]

        def events(self, case: str) -> Any:
            return [SimpleNamespace(hash="22" * 32)]

        def heads(self, case: str) -> Any:
            return [Head(case, f"{n}" * 64, 10 + n, "", 9, n == 1) for n in (1, 2)]

    (group,) = repeats(Forked([made("a", "02", "02"), made("b", "05", "05")])).found
    (said,) = (note for note in group.notes if "another end" in note)
    assert said.startswith("Case b ") and "b@11111111: 11 events, parting at event 9. Shown here is b@22222222" in said
    (group,) = repeats(Kept([made("a", "02", "02"), made("b", "05", "05")])).found
    assert not any("another end" in note for note in group.notes)


@pytest.mark.parametrize(
    ("days", "said"),
    [(0.01, "less than 0.1 days"), (1.02, "1 day"), (7.5, "7.5 days"), (12.0, "12 days"), (123.4, "123 days")],
)
def test_days_in_words(days: float, said: str) -> None:
    assert elapsed(days) == said


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
    assert "Nothing came back" not in ran("--part", "K999")[1]
    # What was typed wrong is no good news.
    assert "no engine type is called 'halden-hf-9' (did you mean halden-hf-" in ran("--engine", "halden-hf-9")[2]
    assert "no case here is of engine type orrin-t-9" in ran("--engine", "orrin-t-9")[2]
    assert "no case here is of aircraft '171' (did you mean 117?)" in ran("--aircraft", "171")[2]
    assert main(["repeats", "--store", str(tmp_path / "none" / "cases.db")]) == 1
    assert "There is no store at" in capsys.readouterr().err and not (tmp_path / "none").exists()
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

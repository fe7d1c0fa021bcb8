"""A case in brief: what it takes from the events, on trails that were kept. Invented cases; see tests/trails/README."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from isolate.case.brief import Brief, Fitted, brief
from isolate.case.case import fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import FORMAT
from isolate.case.memory import Memory
from isolate.case.play import Clock
from tests.worked import TRAILS, told, trail

NAMES = sorted(path.stem for path in TRAILS.glob("*.jsonl"))


@pytest.mark.parametrize("name", NAMES)
def test_it_comes_back_from_json_as_it_was(name: str) -> None:
    found = brief(trail(name))
    assert Brief.from_dict(json.loads(json.dumps(found.as_dict()))) == found


@pytest.mark.parametrize("name", NAMES)
def test_trails_of_the_first_format_stay_readable(name: str) -> None:
    """They were written before a trail said its format; the first one that says it is 2."""
    events = trail(name)
    assert "format" not in events[0].body
    found = brief(events)
    assert found.format == 1 < FORMAT
    assert found.book == pytest.approx(fold(events).book_minutes)
    assert bool(found.closed) == bool(found.ended) == (name != "taken-back")


def test_what_an_ended_case_says() -> None:
    found = brief(trail("declined"))
    (repair,) = found.repairs
    assert (repair.repair, repair.finding, repair.part["sn-off"], repair.price > 0) == (
        "replace-lead/B",
        "not-confirmed",
        "LK700",
        True,
    )
    (turned,) = found.turned
    assert (turned.move, turned.reason, turned.instead) == ("breakers-look/B", "the panel is behind cargo", "")
    assert [(n.repair, n.mode, n.in_vain) for n in found.named] == [("replace-lead/B", "lead-open/B", False)]


def test_the_time_to_isolate_ends_where_the_right_repair_is_taken_up() -> None:
    """By hand: the minutes of all that was crossed and asked before the lead was taken up, event 83."""
    events = trail("declined")
    by_hand = sum(
        e.body.get("minutes", 0) for e in events if e.seq < 83 and e.kind in ("answered", "access", "repaired")
    )
    assert events[82].body["move"] == "replace-lead/B"
    assert brief(events).isolated == by_hand > 0


def test_a_repair_in_vain_is_told_from_the_right_one() -> None:
    found = brief(trail("wet-lead"))
    assert [(n.repair, n.in_vain) for n in found.named] == [("purge-wet-igniter/B", True), ("replace-lead/B", False)]
    assert [r.price > 0 for r in found.repairs] == [False, True]


def test_time_that_nobody_worked_does_not_count() -> None:
    """The case was left for 300 minutes, which nobody worked."""
    events = trail("taken-back")
    whole = (datetime.fromisoformat(events[-1].time) - datetime.fromisoformat(events[0].time)).total_seconds() / 60
    assert brief(events).clock == pytest.approx(whole - 300)


def test_another_move_than_the_one_offered_is_advice_turned_down(kit: Kit) -> None:
    log = Memory()
    chase = Chase.begin(kit, log, "c", told(), Clock(datetime(2030, 1, 1, tzinfo=UTC)), {"station": "north pier"})
    first, second = (m for m in chase.ranked().moves[:2])
    chase.accept(second.kind, second.name)
    found = brief(log.events("c"))
    assert [(t.move, t.instead) for t in found.turned] == [(first.name, f"{second.kind} {second.name}")]
    assert (found.taken, found.station, found.format) == (0, "north pier", FORMAT)


def test_parts_that_changed_places_before_the_case_are_among_its_swaps(kit: Kit) -> None:
    log = Memory()
    moved = {"part": "lead", "channel": "A", "where": "aircraft 230 position 1", "serial": "L1", "other_serial": "L2"}
    Chase.begin(kit, log, "c", told(swaps=[moved]), Clock(datetime(2030, 1, 1, tzinfo=UTC)))
    (swap,) = brief(log.events("c")).swaps
    assert (swap["serial"], swap["other_serial"], swap["seq"], swap["time"]) == (
        "L1",
        "L2",
        1,
        "2030-01-01T00:00:00.000Z",
    )


def test_what_the_shop_named_and_whether_its_words_agree() -> None:
    events = list(trail("came-back"))
    word = events[-1]
    assert word.kind == "shop-finding" and word.body["finding"] == "confirmed"

    def told(*words: dict[str, str]) -> Fitted:
        more = [replace(word, seq=word.seq + i, body={**word.body, **w}) for i, w in enumerate(words)]
        return brief([*events[:-1], *more]).repairs[0]

    assert (told({}).mode, told({}).disputed) == ("", False)
    named = told({"mode": "lead-open/B"})
    assert (named.mode, named.disputed) == ("lead-open/B", False)
    # A later word without a fault, such as a report's number, takes it not back; another fault does not agree.
    assert told({"mode": "lead-open/B"}, {}) == named
    assert told({"mode": "lead-open/B"}, {"mode": "lead-chafed/B"}).disputed
    assert told({"mode": "lead-open/B"}, {"finding": "not-confirmed"}).disputed
    assert told({"mode": "lead-open/B"}, {"finding": "not-confirmed"}).mode == ""
    # Briefs that were stored before it had these are read all the same.
    stored = brief(events).as_dict()
    for repair in stored["repairs"]:
        del repair["mode"], repair["disputed"]
    assert Brief.from_dict(stored) == brief(events)

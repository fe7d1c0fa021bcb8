"""Which part is which, and where it went, across swaps, engines and aircraft.

[practice] A part is followed by its serial number, and by its part number where both are written down; one that goes
from engine to engine with the same complaint is looked at first.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.brief import Brief, Fitted, Named, brief
from isolate.review.parts import Identity, folded, kind_of, kinds_of, touched, ways
from isolate.review.symptoms import families
from tests.worked import kit_of, trail

LIGHT = brief(trail("worn-plug"))
KNOWLEDGE = kit_of().fitted.knowledge
KINDS, FAMILIES = kinds_of(KNOWLEDGE), families(KNOWLEDGE)
PLUG = "replace-igniter/B"


@pytest.mark.parametrize("said", ["K-207", " k 207 ", "K207", "k‑207", "S/N K207", "s/n: k-207", "Ｋ207"])
def test_a_serial_number_is_the_same_however_it_is_spaced(said: str) -> None:
    assert folded(said) == "k207"


@pytest.mark.parametrize("said", ["", "none", "Unknown", "not known", "?", " - - ", "n/a", "NIL", "000", None, "…"])
def test_none_is_no_identity(said: object) -> None:
    assert folded(said) == ""
    one = Identity(str(said), "HI-300", "igniter")
    assert not one.is_also(one)


@given(st.text(max_size=40))
def test_any_text_folds_to_itself(said: str) -> None:
    assert folded(folded(said)) == folded(said)


def test_part_numbers_or_kinds_tell_apart_what_has_the_same_serial_number() -> None:
    plug = Identity("K207", "HI-300", "igniter")
    assert plug.is_also(Identity("k-207", "hi 300", "lead")), "where both numbers are told they decide"
    assert not plug.is_also(Identity("K207", "HX-320", "igniter"))
    assert plug.is_also(Identity("K207", "", "igniter")) and plug.is_also(Identity("K207"))
    assert not plug.is_also(Identity("K207", "none", "exciter"))
    assert kind_of("free-seized-plug/A", KINDS) == "igniter" and kind_of("replace-lead/A", {}) == "lead"
    assert kind_of("clean-seat/A", KINDS) == ""


def done(
    seq: int, time: str, off: str, on: str, repair: str = PLUG, finding: str = "", number: str = "HI-300"
) -> Fitted:
    told = {"pn-off": number, "sn-off": off, "pn-on": number, "sn-on": on, "hours-off": 1200, "starts-off": None}
    return Fitted(seq, time, repair, 20.0, told, finding)


def made(
    case: str,
    aircraft: str,
    day: int,
    repairs: Sequence[Fitted] = (),
    swaps: Sequence[Mapping[str, Any]] = (),
    complaint: str = "one-channel-silent",
    **more: Any,
) -> Brief:
    opened, closed = f"2030-01-{day:02}T06:00:00.000Z", f"2030-01-{day:02}T12:00:00.000Z"
    return replace(
        LIGHT, case=case, aircraft=aircraft, position="1", opened=opened, closed=closed, last=closed, channel="B",
        complaint=complaint, repairs=tuple(repairs), swaps=tuple(swaps), named=more.pop("named", ()), **more,
    )  # fmt: skip


def when(day: int) -> str:
    return f"2030-01-{day:02}T09:00:00.000Z"


def swap(day: int, other: str = "", where: str = "", serial: str = "K207", second: str = "K500") -> dict[str, Any]:
    said = {"part": "igniter", "channel": "B", "other": other, "serial": serial, "other_serial": second, "where": where}
    return {**said, "seq": 20, "time": when(day)}


def test_what_a_case_says_of_its_parts() -> None:
    one = made("a", "104", 2, [done(10, when(2), "K100", "K207"), done(11, when(2), "none", "?")], [swap(2, "A")])
    assert [(t.part.serial, t.how, t.channel) for t in touched(one, KINDS)] == [
        ("K100", "off", "B"), ("K207", "on", "B"),
        ("K207", "out", "B"), ("K500", "out", "A"), ("K207", "in", "A"), ("K500", "in", "B"),
    ]  # fmt: skip
    assert touched(one, KINDS)[0].hours == 1200 and touched(one, KINDS)[0].starts is None


def test_a_part_is_followed_across_a_swap_to_another_channel_and_a_change() -> None:
    briefs = [
        made("a", "104", 2, [done(10, when(2), "K100", "K207")]),
        made("b", "104", 8, swaps=[swap(8, "A")]),
        made("c", "104", 15, [done(10, when(15), "k-207", "K600", "replace-igniter/A", "not-confirmed")],
             named=(Named("replace-igniter/A", "igniter-worn/A", 0.8),)),
    ]  # fmt: skip
    (way,) = ways(briefs, "K 207", KINDS, FAMILIES)
    assert [(s.place, s.since[:10], s.until[:10], s.left) for s in way.stays] == [
        ("104-1, B", "2030-01-02", "2030-01-08", True), ("104-1, A", "2030-01-08", "2030-01-15", True)
    ]  # fmt: skip
    assert way.stays[1].went == "came off (replace-igniter/A) in case c" and way.stays[1].hours == 1200
    assert way.stays[1].said == ("igniter-worn/A by the end of the case (80%)", "the shop found nothing wrong with it")
    assert [sat.case for sat in way.stays[0].cases] == ["b"] and way.title == "igniter plug P/N HI-300 S/N K207"
    assert way.carries == (), "one engine: nothing went along"


def test_a_part_that_carries_the_defect_along_is_said() -> None:
    briefs = [
        made("a", "104", 2, swaps=[swap(2, where="aircraft 230, engine 1, B")]),
        made("b", "230", 9),
        made("c", "230", 12, [done(10, when(12), "K207", "K800")]),
    ]
    (way,) = ways(briefs, "K207", KINDS, FAMILIES)
    first, second = way.stays
    assert (first.place, first.until[:10]) == ("104-1, B", "2030-01-02") and first.since == ""
    assert (second.aircraft, second.position, second.since[:10], second.until[:10]) == (
        "230", "1", "2030-01-02", "2030-01-12"
    )  # fmt: skip
    (said,) = way.carries
    assert "left 104-1 in case a" in said and "230-1 had a complaint like it" in said and "(case b)" in said
    assert "104-1 has none like it since" in said
    # Where the first engine has it again all the same, that is said as well.
    (way,) = ways([*briefs, made("d", "104", 20)], "K207", KINDS, FAMILIES)
    (said,) = way.carries
    assert "104-1 had it again without the part (case d)" in said and "may carry the defect along" not in said
    # The other one of the swap came from there.
    (other,) = ways(briefs, "K500", KINDS, FAMILIES)
    assert [(s.place, s.until[:10]) for s in other.stays] == [
        ("aircraft 230, engine 1, B", "2030-01-02"), ("104-1, B", "")
    ]  # fmt: skip


def test_where_nobody_wrote_down_how_it_went_that_is_left_open() -> None:
    briefs = [
        made("a", "104", 2, [done(10, when(2), "K100", "K207")]),
        made("b", "230", 9, [done(10, when(9), "K300", "K207")]),
        made("c", "117", 20, [done(10, when(20), "K207", "K400", number="HX-320", repair="replace-exciter/B")]),
    ]
    plug, exciter = ways(briefs, "K207", KINDS, FAMILIES)
    assert [(s.place, s.until, s.left) for s in plug.stays] == [("104-1, B", "", True), ("230-1, B", "", False)]
    assert [(s.place, s.since) for s in exciter.stays] == [("117-1, B", "")] and exciter.number == "HX-320"
    assert ways(briefs, "none", KINDS) == () and ways(briefs, "K999", KINDS) == ()
    assert ways([replace(b, drill=True) for b in briefs], "K207", KINDS) == ()


def test_where_it_may_be_about_either_of_two_parts_that_is_said() -> None:
    """Two parts have the same serial number, and somebody wrote down no part number."""
    one = made("a", "104", 2, [done(10, when(2), "K207", "K300", number="HI-300")])
    other = made("b", "117", 9, [done(10, when(9), "K207", "K400", number="HI-320")])
    for untold in (
        made("c", "230", 12, [done(10, when(12), "K207", "K500", number="")]),
        made("c", "230", 1, [done(10, when(1), "K207", "K500", number="none")]),
    ):
        first, second = ways([one, other, untold], "K207", KINDS, FAMILIES)
        assert (first.number, second.number) == ("HI-300", "HI-320")
        (said,), (also,) = first.notes, second.notes
        assert said.startswith("Which part with S/N K207 case c is about is not certain")
        assert "of 2 that have it" in said
        assert also.startswith("What case c says of S/N K207 may be about this part as well")
        assert json.loads(json.dumps(first.as_dict()))["notes"] == [said]
    assert [w.notes for w in ways([one, other], "K207", KINDS, FAMILIES)] == [(), ()]
    assert [w.notes for w in ways([one, untold], "K207", KINDS, FAMILIES)] == [()]


def test_a_swap_to_another_engine_and_back_shows_each_place_once() -> None:
    """Of both parts, though each case speaks from its own engine."""
    briefs = [
        made("a", "104", 2, swaps=[swap(2, where="230-1 B")]),
        made("b", "230", 5, swaps=[swap(5, where="104-1 B")]),
        made("c", "104", 9, [done(10, when(9), "K207", "K800")]),
    ]
    (other,) = ways(briefs, "K500", KINDS, FAMILIES)
    assert [(s.place, s.since[:10], s.until[:10], s.left, s.case_out) for s in other.stays] == [
        ("230-1 B", "", "2030-01-02", True, "a"),
        ("104-1, B", "2030-01-02", "2030-01-05", True, "b"),
        ("230-1, B", "2030-01-05", "", False, ""),
    ]
    assert other.stays[1].went == "went to 230-1, B in case b"
    (one,) = ways(briefs, "K207", KINDS, FAMILIES)
    assert [(s.since[:10], s.until[:10]) for s in one.stays] == [
        ("", "2030-01-02"), ("2030-01-02", "2030-01-05"), ("2030-01-05", "2030-01-09")
    ]  # fmt: skip
    # Where it says that it came from somewhere else than it was last known at, that place is there besides.
    (odd,) = ways([briefs[0], made("b", "230", 5, swaps=[swap(5, where="117-2 B")])], "K500", KINDS, FAMILIES)
    assert [s.place for s in odd.stays] == ["230-1 B", "104-1, B", "117-2 B", "230-1, B"]

"""The story of a case from its events alone. What is expected is read from the kept trails themselves."""

from __future__ import annotations

import unicodedata
from functools import cache

import pytest

from isolate.case.brief import brief
from isolate.case.case import fold
from isolate.case.events import parse_time
from isolate.review.named import Names
from isolate.review.shapes import Moment
from isolate.review.story import share, story
from tests.review.read_back import NAMES, kits, more, resealed
from tests.worked import trail

SILENT = ("belief", "offered")
"""Kinds of events that are told with what they follow from or lead to."""


@cache
def told(name: str) -> tuple[Moment, ...]:
    events = trail(name)
    return story(events, Names(kits(events[0].body["engine"]).fitted))


def at(moments: tuple[Moment, ...], seq: int) -> Moment:
    return next(m for m in moments if m.seq == seq)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_happened_is_left_out(name: str) -> None:
    events, moments = trail(name), told(name)
    seqs = {m.seq for m in moments}
    left = [e for e in events if e.seq not in seqs and e.kind not in SILENT]
    # A check asked and answered in one breath is one moment.
    assert all(e.kind == "accepted" and e.body["kind"] == "check" for e in left)
    assert [m.seq for m in moments] == sorted(seqs)


@pytest.mark.parametrize("name", NAMES)
def test_minutes_add_up(name: str) -> None:
    events, moments = trail(name), told(name)
    assert sum(m.took for m in moments) == pytest.approx(fold(events).book_minutes)
    assert moments[-1].at == pytest.approx(brief(events).book)
    assert [m.at for m in moments] == sorted(m.at for m in moments)
    begun = parse_time(events[0].time)
    for m in moments:
        assert m.clock == pytest.approx((parse_time(m.time) - begun).total_seconds() / 60, abs=0.006)


def test_how_long_ago_an_earlier_case_ended_is_told_as_the_record_has_it() -> None:
    (line,) = [line for line in at(told("came-back"), 1).more if line.startswith("Carried from")]
    record = " ".join(str(next(e for e in trail("came-back") if e.kind == "closed").body["record"]).split())
    for case in ("104-2-0110-a001", "104-2-0118-a002"):
        words = line.partition(f"{case} (")[2].partition(")")[0]
        assert words.endswith("days ago") and f"Case {case}, {words}:" in record


def test_what_was_taken_back_says_what_that_changed() -> None:
    events, moments = trail("taken-back"), told("taken-back")
    assert [m.seq for m in moments if m.void] == [16]
    taken = at(moments, 19)
    assert taken.kind == "taken-back" and "(event 16)" in taken.said
    had, has = (dict(events[seq - 1].body["faults"]) for seq in (17, 20))
    moved = f"Igniter plug B worn from {share(had['igniter-worn/B'])} to {share(has['igniter-worn/B'])}"
    assert moved == "Igniter plug B worn from 10% to 21%" and moved in taken.more[0]


def test_an_answer_that_was_doubted_is_told_as_such() -> None:
    moments = story(resealed(trail("taken-back"), 19, {"doubted": True}), Names(None))
    assert at(moments, 19).said.startswith("Doubted, and asked again: ")


def test_left_and_taken_up_again_says_for_how_long_nobody_worked() -> None:
    moments = told("taken-back")
    assert at(moments, 47).kind == at(moments, 48).kind == "people"
    assert at(moments, 48).more == ("Nobody worked for 5.0 h.",)
    assert at(moments, 49).said == "Seen on the aircraft: Warning notices in the flight deck, still so"


def test_advice_turned_down_is_told_with_its_reason() -> None:
    turned = next(m for m in told("declined") if m.kind == "turned-down")
    assert turned.said == "Turned down: Look at the breakers of channel B, normal and standby"
    assert turned.more == ("Reason: the panel is behind cargo",)


def test_cautions_carry_their_facts_and_what_they_come_before() -> None:
    caution = at(told("declined"), 66)
    assert caution.kind == "caution"
    assert caution.more == ("Before: Open: Reverser halves", "pulled: 2, pulled by: the technician, tag: T-17")


def test_a_repair_is_told_with_its_parts_and_what_was_believed_then() -> None:
    repair = next(m for m in told("declined") if m.kind == "repair")
    assert repair.said == "Done: Replace ignition lead B" and repair.took == 70
    assert repair.more[0] == "Parts: off P/N HL-310, S/N LK700, on P/N HL-310, S/N LK701."
    assert repair.more[-1] == "Believed then: Lead B open 3%; no fault at all 93%."


def test_another_move_than_the_one_offered_names_that_one_and_what_it_promised() -> None:
    events = trail("taken-back")[:6]
    offer = events[5].body
    other = offer["alternatives"][0]
    taken = {"kind": other["kind"], "move": other["move"], "expected": offer["expected"] + 30}
    moments = story(more(events, ("accepted", taken)), Names(kits("halden-hf-3").fitted))
    assert moments[-1].kind == "asked" and moments[-1].said.startswith("Taken up: Was channel B heard")
    assert moments[-1].more == (
        "Offered first: Look at the breakers of channel B, normal and standby, expected to cost 30 min less.",
    )


def test_shop_end_and_signature_are_told() -> None:
    moments = told("declined")
    assert moments[-1].kind == "shop"
    assert moments[-1].said == (
        "The part that came off at “replace ignition lead B”: the shop found nothing wrong with it"
    )
    assert moments[-2].kind == "ended" and moments[-2].said == "Ended: verified, fault found"
    assert moments[-2].more[0] == "Replace ignition lead B: Lead B open (>99%)."
    signed = story(more(trail("declined"), ("signed", {"by": "the technician", "seq": 164})), Names(None))[-1]
    assert (signed.kind, signed.said) == ("signed", "Signed by the technician, for all up to event 164")


def test_passing_on_loose_things_and_the_inspection_are_told() -> None:
    passed = {
        "by": "the early shift", "to": "the late shift", "loose": ["igniter plug B"], "out": 3, "list_by": "the lead",
        "open": [{"title": "Fan cowls", "word": "open", "access": "cowls-open"}],
    }  # fmt: skip
    made = more(
        trail("taken-back"),
        ("passed-on", passed),
        ("loose", {"what": "igniter plug B", "state": "made good", "facts": {"made-good-by": "the late shift"}}),
        ("inspected", {"channels": ["A", "B"], "facts": {"inspected-by": "the second pair of eyes"}}),
    )
    passed_on, loose, inspected = story(made, Names(None))[-3:]
    assert passed_on.said == "Passed on from the early shift to the late shift"
    assert passed_on.more == (
        "Open: Fan cowls (open).",
        "Half torqued or unlocked: igniter plug B.",
        "Tools, caps and blanks out: 3, by the list of the lead.",
    )
    assert loose.said == "Half torqued or unlocked: igniter plug B, made good"
    assert inspected.said == "Independent inspection of channels A and B"


def test_what_holds_something_back_is_a_gate() -> None:
    made = more(
        trail("taken-back"),
        ("fired", {"kind": "gate", "rule": "hot", "says": "It is too hot to be touched.", "key": "hot []"}),
        ("declined", {"move": "spark-test/A", "kind": "check", "reason": "no air source", "of_itself": True}),
        ("stopped", {"kind": "open", "move": "lead-off/B", "dangers": [{"says": "It is live.", "harm": "It kills."}]}),
    )
    rule, held, stopped = story(made, Names(kits("halden-hf-3").fitted))[-3:]
    assert {m.kind for m in (rule, held, stopped)} == {"gate"}
    assert rule.said == "Held back: It is too hot to be touched."
    assert (held.said, held.more) == ("Held back: Fire channel A alone and listen", ("Why: no air source",))
    assert stopped.said == "Stopped, not done: Ignition lead B at the plug"
    assert stopped.more == ("Why: It is live.", "What it would have done: It kills.")


def test_without_knowledge_names_are_spelt_from_their_keys() -> None:
    names = Names(None)
    moments = story(trail("declined"), names)
    assert at(moments, 7).said == "Turned down: Breakers look B"
    assert at(moments, 91).said == "Done: Replace lead B"
    assert "replace-lead/B" in names.unknown
    with_it = Names(kits("halden-hf-3").fitted)
    story(trail("declined"), with_it)
    assert with_it.unknown == ()


def test_told_text_moves_no_screen_and_stays_text() -> None:
    noted = at(told("taken-back"), 21)
    assert noted.said == "Note: Seen: <b>soot</b> & =SUM(A1) red on the tailpipe"
    nasty = "line one\nline two \x1b[2J\u202egnp.exe\x07"
    made = more(trail("taken-back"), ("noted", {"text": nasty}), ("left", {"open": [nasty]}))
    for m in story(made, Names(None))[-2:]:
        for line in (m.said, *m.more):
            assert not [c for c in line if unicodedata.category(c) in ("Cc", "Cf", "Cs")], ascii(line)


@pytest.mark.parametrize(
    ("seq", "changed"),
    [
        (12, {"check": None}),
        (22, {"changes": 5}),
        (33, {"outcome": ["a", {}]}),
        (50, {"facts": 5}),
        (47, {"open": 7}),
    ],
)
def test_what_cannot_be_told_is_said_and_the_rest_is_told(seq: int, changed: dict[str, object]) -> None:
    moments = {m.seq: m.said for m in story(resealed(trail("taken-back"), seq, changed), Names(None))}
    had = {m.seq: m.said for m in story(trail("taken-back"), Names(None))}
    assert seq in moments
    assert {s: said for s, said in had.items() if s != seq}.items() <= moments.items()
    if seq != 33:
        assert moments[seq].startswith(f"Event {seq} (") and moments[seq].endswith("is not in a form that can be told")

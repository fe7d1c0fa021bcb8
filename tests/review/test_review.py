"""A review as a whole: its head, what it says where something is missing, and that nothing on a trail breaks it."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from isolate.case.intake import Refused
from isolate.kb.fit import UnknownName
from isolate.review.review import review
from isolate.terminal.reviewing import as_text
from tests.review.read_back import kits, of, read_back, resealed
from tests.worked import trail

WEIRD: tuple[Any, ...] = (
    None, [], {}, "", 0, -1, 1e9, "<b>", True, [[]], [{}], {"a": 1}, ["a"], [["lead-open/B", "x"]], "é\x1b[2J\u202e",
)  # fmt: skip
"""What nobody writes."""


def test_the_head_is_that_of_the_trail() -> None:
    events, made = trail("came-back"), read_back("came-back")
    assert (made.case, made.head, made.events) == (events[0].case, events[-1].hash, 156)
    assert (made.aircraft, made.position, made.engine) == ("104", "2", "halden-hf-3")
    assert made.engine_title.startswith("Halden HF-3") and made.complaint_title == "Now and then it does not light"
    assert (made.end, made.opened[:10], made.closed[:10]) == ("verified, fault found", "2030-01-25", "2030-01-25")
    assert made.notes == () and made.firm is None and made.trust is None


def test_an_open_case_has_no_end_and_its_record_as_it_stands() -> None:
    made = review(kits, trail("taken-back")[:46], without=["firm", "not asked"])
    assert made.end == made.closed == "" and made.hindsight is None
    assert "as it stands" in made.record and "NOT CLOSED UP: Warning notices in the flight deck" in made.record


def test_the_record_is_the_one_that_was_written_and_what_the_shop_said_since() -> None:
    events, made = trail("declined"), read_back("declined")
    written = next(e.body["record"] for e in events if e.kind == "closed")
    assert made.record.startswith(written)
    assert made.record.endswith("the shop found nothing wrong with it (report SR-2030-7).")


def test_rules_say_what_they_matched_and_where_they_come_from() -> None:
    fired = {f.seq: f for f in read_back("declined").rules}
    assert len(fired) == sum(e.kind == "fired" for e in trail("declined"))
    assert fired[80].kind == "verdict" and fired[80].matched == ("suspect: Lead B open 98.8%, number 1",)
    assert fired[132].matched[0] == "answer: Fire channel A alone and listen: Plug A snaps, loud and even"
    assert fired[73].matched[0] == "access: Ignition lead B at the exciter: open"
    assert "Common practice on the line and in the hangar" in fired[80 - 7].sources


def test_cautions_are_those_of_the_trail() -> None:
    cautions, events = read_back("declined").cautions, trail("declined")
    assert [c.seq for c in cautions] == [e.seq for e in events if e.kind == "caution"]
    assert [c.seq for c in cautions if c.shown] == [e.seq for e in events if e.body.get("shown")]
    assert cautions[0].facts and all(value for c in cautions for _, value in c.facts)


def test_it_is_json() -> None:
    text = json.dumps(read_back("taken-back").as_dict(), allow_nan=False)
    assert json.loads(text)["belief"][0]["seq"] == 1


def test_the_verdict_is_weighed_unless_that_is_left_out() -> None:
    made = review(kits, trail("taken-back")[:14])
    assert made.firm is not None and made.firm.verdict == "exciter-dead/B"


# -- where something is missing ----------------------------------------------------------------------


def test_other_knowledge_than_the_case_was_worked_with_is_said() -> None:
    made = of(resealed(trail("declined"), 1, {"knowledge": "ab" * 32}))
    assert len(made.notes) == 1 and "abababababab" in made.notes[0] and "another version" in made.notes[0]
    assert made.belief and made.hindsight is not None


def test_without_knowledge_there_is_a_story_and_the_belief_of_the_trail() -> None:
    made = of(trail("declined"), None)
    assert "names are spelt from their keys" in made.notes[0]
    assert len(made.story) == len(read_back("declined").story)
    assert made.belief and made.answers and made.hindsight is None and made.not_asked == ()
    assert made.book == read_back("declined").book and made.record == read_back("declined").record


def test_an_engine_that_the_knowledge_does_not_know_is_said() -> None:
    def nobodys(engine: str) -> Any:
        raise UnknownName(f"no engine {engine}")

    made = of(trail("declined"), nobodys)
    assert "does not know engine halden-hf-3" in made.notes[0] and made.belief


def test_a_complaint_that_the_knowledge_does_not_know_leaves_the_belief_to_the_trail() -> None:
    events = trail("declined")
    intake = {**events[0].body["intake"], "complaint": "hums"}
    made = of(resealed(events, 1, {"intake": intake}))
    assert made.complaint_title == "Hums" and made.belief
    assert any("could not be worked anew" in note for note in made.notes)


def test_a_drill_is_called_one() -> None:
    made = of(resealed(trail("taken-back")[:14], 1, {"drill": {"name": "one-side"}}))
    assert made.notes == ("It is a drill on a simulated aircraft, and no record of any work.",) and made.belief


@pytest.mark.parametrize("events", [(), trail("declined")[1:]])
def test_what_does_not_begin_with_an_opening_is_refused(events: tuple[Any, ...]) -> None:
    with pytest.raises(Refused, match="does not begin with the opening"):
        review(None, events)


@pytest.mark.parametrize("seed", range(24))
def test_no_body_breaks_it(seed: int) -> None:
    """One field of one event is something else, all of it sealed anew: as who rewrites a trail could have it."""
    draw = random.Random(seed)
    events = trail("taken-back")[:34]
    event = draw.choice([e for e in events if e.body])
    field, value = draw.choice(sorted(event.body)), draw.choice(WEIRD)
    if field == "intake":
        value = {**event.body["intake"], draw.choice(sorted(event.body["intake"])): value}
    made = of(resealed(events, event.seq, {field: value}), kits if seed % 12 == 0 else None)
    assert made.case == events[0].case
    text = as_text(made, 80)
    assert "\x1b" not in text and "\u202e" not in text

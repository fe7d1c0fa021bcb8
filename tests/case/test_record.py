"""The record text: a draft that says what was done and leaves blank what only people know.

The blanks follow 14 CFR 43.9(a) [memory]: a description of the work, its date, the signature and certificate of whoever
approves it.
"""

from __future__ import annotations

from typing import Any

import pytest

from isolate.case.case import Evidence, Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.record import NOT_ENDED, record
from isolate.case.steps import Walk
from isolate.reasoning.starts import Start


def begun(kit: Kit, complaint: str = "no-light-off", channel: str = "", **more: Any) -> Chase:
    people = (Person("x", ("licensed", "motoring", "engine-run")), Person("y"))
    intake = Intake("117", "1", kit.fitted.name, complaint, channel, place="hangar", people=people, **more)
    return Chase.begin(kit, Memory(), "117-1-0101-abcd", intake, Clock())


def section(text: str, heading: str) -> str:
    """The lines under a heading, up to the next blank line."""
    return text.partition(f"\n{heading}\n")[2].partition("\n\n")[0]


def test_a_record_of_nothing_done_says_so(kit: Kit) -> None:
    text = record(begun(kit), "handed over, not solved here")
    assert text.startswith("Aircraft 117, engine 1 (Halden HF-3")
    assert "case 117-1-0101-abcd" in text
    assert "Opened 2030-01-01 06:00, closed 2030-01-01 06:00; times in UTC." in text
    assert "Defect: Engine did not light off" in text
    assert section(text, "Checked, in this order:").strip() == "nothing"
    assert section(text, "Done:").strip() == "no repair"
    assert section(text, "Verification:").strip() == "none"
    assert "Outcome: handed over, not solved here." in text
    for blank in ("Work done by: ____", "Certificate or authorisation: ____", "Date: ____", "Signature: ____"):
        assert blank in text
    assert text.rstrip().endswith("release is by authorised people under the approved data.")
    assert "draft" in text


def test_what_was_told_seen_not_told_and_not_done_is_on_it(kit: Kit) -> None:
    chase = begun(kit, starts=(Start("A", False, "hot", 4.5), Start("unknown", True), Start("both", False, gap=True)))
    first = chase.now()
    chase.answer(first.outcomes[0].outcome)  # type: ignore[attr-defined]
    second = chase.now()
    chase.answer(None)
    third = chase.now()
    chase.decline("the crew has left")
    chase.note("wind from the west")
    text = record(chase, "x")
    assert "It shows" not in text, "no condition was told"
    assert "channel A did not light (hot, 4.5 s), channel not known lit, a gap, both channels did not light" in text
    said = first.outcomes[0].said  # type: ignore[attr-defined]
    assert f"1. {first.title}: {said}" in section(text, "Checked, in this order:")
    assert f"Could not tell: {second.title}" in text
    assert f"Not done: {third.title} (the crew has left)" in text
    assert second.title not in section(text, "Checked, in this order:").splitlines()[0]
    assert section(text, "Notes:").strip() == "wind from the west"
    assert chase.remaining < 1 and "on this evidence: >99.9%." in text, "no certainty where there is none"


def test_an_answer_taken_back_is_not_on_it(kit: Kit) -> None:
    chase = begun(kit)
    step = chase.now()
    chase.answer(step.outcomes[-1].outcome)  # type: ignore[attr-defined]
    chase.take_back()
    assert step.title not in record(chase, "x")


def test_what_is_still_open_is_cried_out(kit: Kit) -> None:
    chase = begun(kit, complaint="plug-will-not-run-down", channel="B")
    text = record(chase, "x")
    assert "Defect: A plug will not run down by hand, channel B" in text
    line = next(line for line in text.splitlines() if line.startswith("NOT CLOSED UP"))
    assert "Igniter plug B (unknown)" in line
    while isinstance(chase.now(), Walk):
        chase.walked(True)
    line = next(line for line in record(chase, "x").splitlines() if line.startswith("NOT CLOSED UP"))
    assert "Igniter plug B (out, boss blanked)" in line
    assert "Closed up:" not in record(chase, "x")


def test_odd_words_of_people_stay_words(kit: Kit) -> None:
    chase = begun(kit)
    chase.note("50 % {channel} \\ \"quoted\"\nsecond line")
    chase.decline("{0} %s")
    text = record(chase, "x")
    assert "{channel}" in text and "({0} %s)" in text
    with pytest.raises(Refused):
        chase.crossed()


def test_the_condition_it_shows_in_and_that_of_each_test_are_on_it(kit: Kit) -> None:
    """Who reads of a pass has to see that it was made cold, of a defect that shows hot [practice]."""
    chase = begun(kit, "intermittent-no-ignite", condition="hot", now="cold")
    assert "It shows hot, soon after a run. At the aircraft, as told last: cold soaked." in record(chase, "x")
    evidence = (Evidence(0, "answer", "spark-test/A", "snaps", "cold"), Evidence(0, "swap", "lead:A<>B"),
                Evidence(0, "answer", "spark-test/A", "silent", "hot", 0.2))  # fmt: skip
    chase.state.evidence.extend(evidence)
    checked = section(record(chase, NOT_ENDED), "Checked, in this order:").splitlines()
    assert checked[0].endswith("snaps, loud and even (cold)") and checked[2].endswith("no snap at all")
    assert checked[1] == "     then: Leads of channels A and B changed places"

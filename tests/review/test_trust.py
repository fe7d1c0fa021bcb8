"""What is said of a trail, in one word and in sentences, and when something is wrong with it."""

from __future__ import annotations

from dataclasses import replace

from isolate.case.chain import seal, verify
from isolate.case.events import now_text, parse_time
from isolate.review.shapes import Trust
from isolate.review.trust import MOST, is_open, trouble, trust
from isolate.review.versions import Kits
from tests.bench.tampering import reseal
from tests.worked import trail, versions

CASE = trail("declined")[:24]
NOWHERE: Kits = lambda digest, engine: None  # noqa: E731


def test_a_trail_that_is_well() -> None:
    found = trust(versions(), CASE)
    assert found == Trust(True, (), 24, (), "", "unsigned", (), found.said) and not trouble(found)
    assert found.said == (
        "Whole: 24 events, each sealed to the one before.",
        f"It is open; a cut at its end cannot be seen from it. Last hash {CASE[-1].hash[:16]}: compare it with what "
        "was noted of it elsewhere.",
        "Replayed: 24 events worked out anew from its knowledge, all the same.",
        "Unsigned: nobody put a name under it.",
    )


def test_a_broken_one_is_not_replayed_and_says_what_is_whole() -> None:
    broken = [*CASE[:9], replace(CASE[9], body={**CASE[9].body, "outcome": "x"}), *CASE[10:]]
    found = trust(versions(), broken, verify(broken))
    assert trouble(found) and not found.whole and found.not_replayed == "its chain is broken"
    assert found.said[:3] == (
        "NOT WHOLE.",
        "Event 10 was changed after it was sealed.",
        "Events 1 to 9 are whole.",
    )
    none = trust(NOWHERE, (), ["cases.db, case x, event 1: body is text."])
    assert trouble(none) and "Nothing of it is whole before that." in none.said


def test_many_breaks_are_counted() -> None:
    found = trust(NOWHERE, CASE, [f"break {i}" for i in range(MOST + 3)])
    assert "... and 3 more breaks." in found.said and len(found.faults) == MOST + 3
    assert "... and 1,003 more breaks." in trust(NOWHERE, CASE, found.faults, more=1000).said


def test_open_until_it_ended_and_after_it_was_taken_up_again() -> None:
    whole = trail("declined")
    assert is_open(CASE) and not is_open(whole) and not any("open" in s for s in trust(NOWHERE, whole).said)
    assert is_open([*whole, replace(whole[-1], kind="resumed")]) and not is_open([])


def test_no_line_of_it_is_made_by_what_a_trail_holds() -> None:
    found = trust(NOWHERE, CASE, ["break\nWhole: 9 events"], notes=["a\nb\x1b[2J"])
    assert not any("\n" in s or "\x1b" in s for s in (*found.said, *found.faults))


def test_one_that_replays_otherwise_is_wrong_and_one_whose_knowledge_is_away_is_not() -> None:
    other = reseal([*CASE[:10], replace(CASE[10], body={**CASE[10].body, "none": 0.5}), *CASE[11:]])
    found = trust(versions(), other)
    assert trouble(found) and found.whole and len(found.differs) == 1
    assert "REPLAYED, AND NOT THE SAME: 1 difference from what would follow." in found.said
    away = trust(NOWHERE, other)
    assert not trouble(away) and away.not_replayed.startswith("the knowledge it was worked with")


def test_clocks_that_differ_are_said_and_no_fault() -> None:
    early = now_text(parse_time(CASE[-1].time).replace(hour=5))
    note = seal(CASE[0].case, 25, "noted", early, {"text": "from the other laptop"}, CASE[-1].hash)
    found = trust(NOWHERE, [*CASE, note])
    assert not trouble(found) and any(s.startswith("Its times go back at event 25, by ") for s in found.said)

"""Trails worked anew: the same where nothing was done to them, and each difference told where it is."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from isolate.case.chase import THOUGHT, Chase, Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.play import _take
from isolate.case.steps import Ask, Done, Offer
from isolate.case.version import VERSION
from isolate.kb.load import load
from isolate.review.drilled import is_drill
from isolate.review.replay import MOST_BUDGET, MOST_IN_ALL, Replayed, _batch, _remarks, replayed
from isolate.review.trust import trust
from tests.bench.tampering import SEALED, reseal, sealed
from tests.learnt import closed
from tests.worked import Worked, kit_of, shipped_kit, told, trail, versions

VERSIONS = versions()
OPEN = trail("taken-back")
SHORT = trail("declined")[:46]
"""With a departure told; it stops where the program would go on at once."""
BRIEF = SHORT[:24]


def again(events: list[Event] | tuple[Event, ...]) -> Replayed:
    return replayed(VERSIONS, events)


# -- nothing was done to them --------------------------------------------------------------------------


@pytest.mark.parametrize("events", [OPEN, BRIEF], ids=["taken-back", "declined"])
def test_kept_trails_of_format_1_replay(events: tuple[Event, ...]) -> None:
    """The whole of all seven is replayed by ``python -m tests.bench.replay``: it takes half a minute."""
    assert "format" not in events[0].body
    assert again(events) == Replayed(len(events), (), "", ())


class Ticking:
    """A clock that runs on while something is worked out, as a real one does."""

    def __init__(self, seed: int) -> None:
        self.time, self._random = datetime(2030, 1, 10, 6, 0, tzinfo=UTC), random.Random(seed)

    def __call__(self) -> datetime:
        self.time += timedelta(milliseconds=self._random.choice((0, 3, 90, 700)))
        return self.time

    def pass_minutes(self, minutes: float) -> None:
        self.time += timedelta(minutes=minutes)


def test_a_session_at_the_aircraft_replays() -> None:
    """With a departure, a tool on its way, a plan thought of ahead, breaks, a hand-over, doubts, and a parting word."""
    kit, clock, log = shipped_kit(), Ticking(3), Memory()
    intake = told(place="gate", minutes_left=75, coming=[{"tool": "meter", "minutes": 4}], missing=["meter"])
    chase = Chase.begin(kit, log, "104-2-0110-a009", intake, clock)
    player = Worked(kit.model, ["igniter-worn/B"], None, "steady", None)

    def go(until: type, most: int = 30) -> None:
        for _ in range(most):
            if isinstance(chase.now(), until | Done):
                return
            _take(chase, chase.now(), player, clock)  # type: ignore[arg-type]

    chase.think(THOUGHT)
    go(Ask)
    chase.answer(chase.now().outcomes[0][0], note="seen twice, <b>odd</b>")  # type: ignore[attr-defined]
    chase.think(1)
    clock.pass_minutes(3.4)
    chase.again()
    chase.note("=SUM(A1)")
    chase.decline("the cover is locked")
    go(Ask)
    chase.answer(None)
    chase.recheck(chase.doubtable()[-1].key)
    go(Offer)
    chase.accept(*next((m.kind, m.name) for m in chase.ranked().moves[1:] if m.kind == "check"))
    chase.take_back()
    chase.tell(minutes_left=60, now="cold")
    for _ in range(5):
        _take(chase, chase.now(), player, clock)  # type: ignore[arg-type]
    chase.leave()
    clock.pass_minutes(45)
    chase = Chase.resume(kit, log, chase.id, clock)
    go(Offer)
    chase.swapped({"part": "exciter", "channel": "A", "other": "B"})
    chase.pass_on({"by": "Robin", "to": "Sam", "loose": "clamp, plug B", "list-by": "Robin", "out": 2})
    for _ in range(8):
        _take(chase, chase.now(), player, clock)  # type: ignore[arg-type]
    events = log.events(chase.id)
    kinds = {e.kind for e in events}
    assert {"told", "corrected", "declined", "swapped", "passed-on", "loose", "resumed", "left", "noted"} <= kinds
    assert THOUGHT in {e.body["budget"] for e in events if e.kind == "offered"}
    assert again(events) == Replayed(len(events), (), "", ())


def test_broken_off_is_no_difference_but_said() -> None:
    at = next(e.seq for e in SHORT if e.kind == "answered")
    found = again(SHORT[:at])
    assert found.events == at and not found.differs
    assert found.notes == (
        f"After event {at} (answered) it stops short of what follows at once (belief): the program was broken off "
        "there, or the trail was cut at its end.",
    )
    log, kit = Memory(SHORT[:at]), kit_of()
    Chase.resume(kit, log, SHORT[0].case, lambda: datetime(2030, 2, 14, 8, 0, tzinfo=UTC))
    resumed = log.events(SHORT[0].case)
    found = again(resumed)
    assert len(resumed) > at + 2 and not found.differs and found.events == len(resumed)
    assert found.notes[0].endswith("the program was broken off there.")


def test_a_drill_replays_in_beliefs_and_rules() -> None:
    from isolate.case.written import read
    from isolate.drill import pilot
    from isolate.drill.drive import Drive
    from isolate.drill.scenario import Scenario
    from isolate.kb.load import shipped_scenarios

    kit = shipped_kit()
    scenario = read(shipped_scenarios() / "gate-intermittent.yaml", Scenario, kit.fitted)
    drive = Drive.begin(kit, Memory(), "drill-1", "gate-intermittent", scenario, "Ann", "2030-05-01T08:00:00.000Z")
    pilot.run(drive)
    events = tuple(drive.chase.state.events)
    found = again(events)
    assert not found.differs and not found.notes and is_drill(events)
    proven = trust(VERSIONS, events)
    assert "It is a drill: moves, cautions and verification not checked." in proven.said
    follow = [e for e in events if e.kind in ("belief", "fired")]
    assert found.events == len(follow) + 1 > 5
    # What is not just what a drill writes takes no checks off.
    for about in (
        False,
        None,
        {"name": "x"},
        {**events[0].body["drill"], "released": "yes"},
        {**events[0].body["drill"], "begun": "2030-05-01T08:00:00.001Z"},
        {**events[0].body["drill"], "scenario": {}},
    ):
        case = body(BRIEF, "opened", 0, lambda b, about=about: b.update(drill=about))
        assert again(case).differs == (
            "Event 1 (opened): it is marked as a drill, and not as a drill writes it; it was worked anew as a case of "
            "a real aircraft.",
        )
    bad = body(events, "belief", 1, lambda b: b.update(none=0.5))
    seq = [e.seq for e in follow if e.kind == "belief"][1]
    assert again(bad).differs[0].startswith(f"Event {seq} (belief): no fault at all is 0.5")


# -- which knowledge -----------------------------------------------------------------------------------


def test_knowledge_that_is_not_here_is_no_fault() -> None:
    events = [replace(SHORT[0], body={**SHORT[0].body, "knowledge": "ab" * 32}), *SHORT[1:]]
    found = again(events)
    assert not found.differs and found.not_replayed.startswith("the knowledge it was worked with (digest abababababab)")
    assert "--knowledge" in found.not_replayed
    for body, word in (
        ({"engine": "other"}, "no engine other"),
        ({"format": 99}, "format 99"),
        ({"engine": 3}, "which"),
    ):
        assert word in again([replace(SHORT[0], body={**SHORT[0].body, **body}), *SHORT[1:]]).not_replayed
    assert "opening" in again(SHORT[1:]).not_replayed and "opening" in again([]).not_replayed


# -- sealed anew by somebody who can -------------------------------------------------------------------


def body(events: tuple[Event, ...], kind: str, number: int, change: Callable[[dict[str, Any]], object]) -> list[Event]:
    """Return the events with one body of a kind changed, all sealed anew."""
    at = [i for i, e in enumerate(events) if e.kind == kind][number]
    new = json.loads(json.dumps(events[at].body))
    change(new)
    assert new != events[at].body
    return reseal([*events[:at], replace(events[at], body=new), *events[at + 1 :]])


def without(events: tuple[Event, ...], kind: str, number: int) -> list[Event]:
    at = [i for i, e in enumerate(events) if e.kind == kind][number]
    return reseal([*events[:at], *events[at + 1 :]])


@pytest.mark.parametrize(
    ("events", "first"),
    [
        (
            body(BRIEF, "belief", 2, lambda b: b["faults"][0].__setitem__(1, 0.9)),
            r"Event 15 \(belief\): chance, \S+ is 0\.9 on the trail, 0\.\d+ worked out anew\.",
        ),
        (
            body(BRIEF, "belief", 1, lambda b: b.update(none=0)),
            r"Event 11 \(belief\): no fault at all is 0 on the trail, 0\.\d+ worked out anew\.",
        ),
        (
            body(BRIEF, "offered", 2, lambda b: b["alternatives"][1].update(expected=1)),
            r"Event 12 \(offered: \S+\): alternatives, \S+, minutes expected is 1 on the trail, \d+",
        ),
        (
            body(BRIEF, "offered", 3, lambda b: b.update(budget=10**12)),
            r"Event 16 .*budget is 1000000000000 on the trail",
        ),
        (
            body(BRIEF, "fired", 1, lambda b: b.update(says="All is well.")),
            r"Event 4 \(fired: .*says is 'All is well.'",
        ),
        (
            body(BRIEF, "answered", 1, lambda b: b.update(minutes=1)),
            r"Event 14 \(answered: \S+\): minutes is 1 on the trail, \d+ worked out anew\.",
        ),
        (
            body(BRIEF, "declined", 0, lambda b: b.update(move="no-such-thing")),
            r"Event 7 \(declined: no-such-thing\) does not fit there: there is no move called 'no-such-thing'",
        ),
        (body(BRIEF, "accepted", 0, lambda b: b.update(expected=1)), r"Event 9 .*minutes expected is 1 on the trail"),
        (body(BRIEF, "opened", 0, lambda b: b.update(aircraft="117")), r"Event 1 \(opened\): aircraft is '117'"),
        (without(BRIEF, "fired", 0), r"After event 2 there is missing: fired: "),
        (without(BRIEF, "belief", 0), r"After event 1 there is missing: belief\."),
        (without(BRIEF, "offered", 0), r"After event 5 there is missing: offered: "),
        (without(BRIEF, "answered", 0), r"Event 10 \(belief\) does not follow from what stands before it\."),
        (without(SHORT, "access", 0), r"Event \d+ \(\w+.*\) does not fit there: now it is about"),
    ],
    ids=lambda value: value[:40] if isinstance(value, str) else "",
)
def test_each_kind_of_edit_is_told_where_it_is(events: list[Event], first: str) -> None:
    import re

    found = again(events)
    assert found.differs and re.match(first, found.differs[0]), found.differs[:3]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda b: b.update(signed_off={"by": "Insp 7"}), "'signed_off' is {\"by\":\"Insp 7\"} in its heading"),
        (lambda b: b.update(format=True), "its format is true, and a whole number from 1 is needed"),
        (lambda b: b.update(format=0), "its format is 0, and a whole number from 1 is needed"),
        (lambda b: b.update(format=1.5), "its format is 1.5, and a whole number from 1 is needed"),
        (lambda b: b.update(station="\x1b[2Jx"), "station is 'x' in its heading, which is no name of one"),
        (lambda b: b.update(program=7), "program is 7 in its heading, which is no name of one"),
        (lambda b: b["intake"]["people"][0].update(stamp="7"), "intake, 'people', 'stamp' is nothing that is told"),
    ],
)
def test_no_words_ride_on_the_heading(change: Callable[[dict[str, Any]], object], says: str) -> None:
    found = again(body(BRIEF, "opened", 0, change))
    assert len(found.differs) == 1 and says in found.differs[0], found.differs


def test_a_heading_of_a_later_program_is_said() -> None:
    later = again(body(BRIEF, "opened", 0, lambda b: b.update(program="99.0", station="north pier")))
    assert not later.differs and later.notes[0].startswith("Its heading says that version 99.0 of this program wrote")
    assert not again(body(BRIEF, "opened", 0, lambda b: b.update(program=VERSION))).notes


def test_offers_that_would_take_for_ever_are_not_worked_anew() -> None:
    offer = next(e for e in BRIEF if e.kind == "offered")
    many = [replace(offer, body={**offer.body, "budget": MOST_BUDGET}) for _ in range(MOST_IN_ALL // MOST_BUDGET + 1)]
    found = again(reseal([*BRIEF[:3], *many]))
    assert "expansions together" in found.not_replayed and not found.events


def test_people_whom_nobody_named_and_a_shop_that_contradicts_itself_are_remarks() -> None:
    events = trail("worn-plug")
    at = next(i for i, e in enumerate(events) if e.body.get("facts", {}).get("allowed-by"))
    shop = next(e for e in events if e.kind == "shop-finding")
    facts = {**events[at].body["facts"], "allowed-by": "a passer-by"}
    other = replace(shop, body={**shop.body, "finding": "not-confirmed"})
    said = list(_remarks(reseal([*events[:at], replace(events[at], body={**events[at].body, "facts": facts}),
                                 *events[at + 1 :], other])))  # fmt: skip
    assert said == [
        f"a passer-by, who allowed it (event {events[at].seq}), is not among the people told.",
        "The second look at what the technician did or watched was that person's own (events 92, 128).",
        f"The shop's words on {shop.body['repair']} contradict each other: confirmed, then not-confirmed.",
    ]


def test_another_answer_shows_in_all_that_followed_from_it() -> None:
    kit = VERSIONS(str(SHORT[0].body["knowledge"]), "halden-hf-3")
    assert isinstance(kit, Kit)
    at = next(e for e in SHORT if e.kind == "answered")
    other = next(o for o in kit.fitted.check(at.body["check"]).outcomes if o != at.body["outcome"])
    found = again(body(BRIEF, "answered", 0, lambda b: b.update(outcome=other)))
    assert found.differs[0].startswith(f"Event {at.seq + 1} (belief): ")
    assert any("(offered" in line for line in found.differs)


@pytest.mark.parametrize("how", SEALED)
def test_random_edits_sealed_anew(how: str) -> None:
    """All but what only people know, such as names and words of theirs, and two refusals that change places."""
    rng, missed = random.Random(how), []
    for _ in range(1):
        bad, seq = sealed(how, BRIEF, rng)
        if not again(bad).differs:
            missed.append(SHORT[seq - 1].kind)
    assert set(missed) <= {"caution", "opened", "declined", "noted"}, missed


def test_whatever_an_event_holds_it_is_a_sentence() -> None:
    rng = random.Random(5)
    kinds = ["told", "accepted", "answered", "declined", "access", "caution", "swapped", "corrected", "repaired",
             "passed-on", "loose", "inspected", "signed", "shop-finding", "verified", "closed", "stopped"]  # fmt: skip
    odd = [{}, {"move": 3}, {"seq": 10**9}, {"changes": {"people": 7}}, {"swap": None, "key": "x"}, {"doubted": 1}]
    for kind in kinds:
        bad = Event(SHORT[0].case, 0, kind, SHORT[5].time, rng.choice(odd), "", "")
        found = again(reseal([*SHORT[:3], bad, *SHORT[3:4]]))
        assert kind == "signed" or found.differs, kind
        assert all(line.endswith(".") and "Traceback" not in line and "\x1b" not in line for line in found.differs)


def test_where_what_was_done_at_once_ends() -> None:
    events = trail("worn-plug")
    at = next(i for i, e in enumerate(events) if e.kind == "caution" and e.body.get("shown"))
    main, end = _batch(events, at)
    assert events[main].kind in ("answered", "access", "repaired") and end == main + 1
    assert _batch(events, len(events) - 1) == (len(events) - 1, len(events))


@pytest.mark.parametrize(
    ("mode", "says"),
    [("lead-chafed/B", ""), ("lead-chafed", "mode is 'lead-chafed' on the trail"), ("igniter-worn/B", "does not fit")],
)
def test_the_fault_that_a_shop_named_is_one_of_the_part(mode: str, says: str) -> None:
    found, word = [("replace-lead/B", "lead-chafed/B")], {"replace-lead/B": f"confirmed {mode}"}
    digest = load().knowledge.digest
    events = closed("c1", told(complaint="weak-snap", channel="B"), [], found, word, knowledge=digest)
    differs = [line for line in again(events).differs if "shop-finding" in line]
    assert len(differs) == bool(says) and says in "".join(differs)

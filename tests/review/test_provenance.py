"""Where everything in a case came from: every event is there, in an order that can be, and nothing of it is lost."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from isolate.case.case import CaseState, Swap
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.parts import finding_lines
from isolate.review.provenance import prov_json
from isolate.review.trust import trust
from tests.worked import trail

NAMES = ("came-back", "taken-back", "turboprop", "declined")


def document(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(prov_json(trail(name)))
    return found


def related(shown: dict[str, Any], kind: str, **ends: str) -> list[dict[str, Any]]:
    return [
        one for one in shown.get(kind, {}).values() if all(one[f"prov:{end}"] == name for end, name in ends.items())
    ]


def added(events: tuple[Event, ...], *more: tuple[str, dict[str, Any]]) -> tuple[Event, ...]:
    log = Memory()
    case = events[0].case
    log.append_all(case, [(e.kind, e.body) for e in events], events[-1].time)
    log.append_all(case, list(more), events[-1].time)
    return log.events(case)


@pytest.mark.parametrize("name", NAMES)
def test_every_event_is_generated_once_by_something_that_somebody_had_a_part_in(name: str) -> None:
    shown = document(name)
    associated = {one["prov:activity"] for one in shown["wasAssociatedWith"].values()}
    for event in trail(name):
        entity = f"case:event-{event.seq}"
        assert shown["entity"][entity]["isolate:sha256"] == event.hash
        assert related(shown, "hadMember", entity=entity, collection="case:trail")
        (made,) = related(shown, "wasGeneratedBy", entity=entity)
        assert made["prov:time"] == event.time
        assert made["prov:activity"] in associated
        if event.seq > 1:
            assert related(shown, "wasDerivedFrom", generatedEntity=entity, usedEntity=f"case:event-{event.seq - 1}")


def test_reasoning_uses_what_was_said_since_and_the_knowledge() -> None:
    events, shown = trail("worn-plug"), document("worn-plug")
    answered = next(e for e in events if e.kind == "answered")
    belief = next(e for e in events if e.kind == "belief" and e.seq > answered.seq)
    (made,) = related(shown, "wasGeneratedBy", entity=f"case:event-{belief.seq}")
    used = {one["prov:entity"] for one in related(shown, "used", activity=made["prov:activity"])}
    assert f"case:event-{answered.seq}" in used
    assert f"isolate:knowledge-{events[0].body['knowledge']}" in used
    assert related(
        shown,
        "wasDerivedFrom",
        generatedEntity=f"case:event-{belief.seq}",
        usedEntity=f"case:event-{answered.seq}",
    )
    (who,) = related(shown, "wasAssociatedWith", activity=made["prov:activity"])
    assert shown["agent"][who["prov:agent"]]["prov:type"]["$"] == "prov:SoftwareAgent"


def test_an_offer_is_the_plan_of_the_move_that_took_it_up() -> None:
    events, shown = trail("worn-plug"), document("worn-plug")
    taken = next(e for e in events if e.kind == "accepted")
    offer = max(e.seq for e in events if e.kind == "offered" and e.seq < taken.seq)
    (crew,) = related(shown, "wasAssociatedWith", activity=f"case:move-{taken.seq}", agent="case:people")
    assert crew["prov:plan"] == f"case:event-{offer}"
    assert shown["entity"][f"case:event-{offer}"]["prov:type"]["$"] == "prov:Plan"


def test_what_was_taken_back_is_invalidated_and_not_reasoned_from_again() -> None:
    events, shown = trail("taken-back"), document("taken-back")
    back = next(e for e in events if e.kind == "corrected")
    entity = f"case:event-{back.body['seq']}"
    (ended,) = related(shown, "wasInvalidatedBy", entity=entity)
    assert ended["prov:time"] == back.time
    for one in related(shown, "used", entity=entity):
        assert shown["activity"][one["prov:activity"]]["prov:endTime"] <= back.time


def test_parts_come_and_go_and_the_shop_looks_at_the_one_that_came_off() -> None:
    shown = document("came-back")
    (off,) = related(shown, "specializationOf", generalEntity="isolate:part-HL-310-LK311")
    assert related(shown, "wasInvalidatedBy", entity=off["prov:specificEntity"])
    (on,) = related(shown, "specializationOf", generalEntity="isolate:part-HL-310-LK400")
    assert related(shown, "wasGeneratedBy", entity=on["prov:specificEntity"])
    finding = next(e for e in trail("came-back") if e.kind == "shop-finding")
    used = {one["prov:entity"] for one in related(shown, "used", activity=f"case:act-{finding.seq}")}
    assert used == {"isolate:part-HL-310-LK311"}


def test_parts_without_a_serial_number_are_not_taken_for_one() -> None:
    part = {"pn-off": "HI-300", "sn-off": "none", "pn-on": "HI-300", "sn-on": None}
    more = ("repaired", {"repair": "replace-igniter/B", "minutes": 10, "parts": 20, "part": part, "spoils": []})
    shown = json.loads(prov_json(added(trail("worn-plug")[:1], more)))
    assert len([name for name in shown["entity"] if name.startswith("isolate:part-HI-300-")]) == 2


def test_parts_that_change_places_sit_elsewhere_afterwards() -> None:
    swap = Swap("igniter", "A", "B", serial="K1", other_serial="K2").as_dict()
    shown = json.loads(prov_json(added(trail("worn-plug")[:1], ("swapped", {"swap": swap, "minutes": 20}))))
    for serial in ("K1", "K2"):
        sat = related(shown, "specializationOf", generalEntity=f"isolate:part-igniter-{serial}")
        assert len(sat) == 2
        ended = [s for s in sat if related(shown, "wasInvalidatedBy", entity=s["prov:specificEntity"])]
        begun = [s for s in sat if related(shown, "wasGeneratedBy", entity=s["prov:specificEntity"])]
        assert len(ended) == len(begun) == 1 and ended != begun


def test_earlier_cases_are_used_under_the_name_that_their_own_provenance_has() -> None:
    shown = document("came-back")
    used = {one["prov:entity"] for one in related(shown, "used", activity="case:act-1")}
    assert "isolate:case:104-2-0110-a001:trail" in used
    prefix = document("worn-plug")["prefix"]
    assert prefix["case"] == prefix["isolate"] + "case:104-2-0110-a001:"


def test_who_signed_is_associated_and_what_was_signed_is_used() -> None:
    events = trail("worn-plug")
    body = {"by": "the inspector", "seq": len(events), "hash": events[-1].hash, "key": "k", "signature": "s"}
    shown = json.loads(prov_json(added(events, ("signed", body))))
    activity = f"case:act-{len(events) + 1}"
    assert [one["prov:entity"] for one in related(shown, "used", activity=activity)] == [f"case:event-{len(events)}"]
    (who,) = related(shown, "wasAssociatedWith", activity=activity)
    assert shown["agent"][who["prov:agent"]]["prov:label"] == "the inspector"


def test_a_station_and_a_program_that_were_told_are_named() -> None:
    opened = trail("worn-plug")[0]
    log = Memory()
    log.append_all(opened.case, [("opened", {**opened.body, "station": "north pier", "program": "9.1"})], opened.time)
    shown = json.loads(prov_json(log.events(opened.case)))
    assert shown["agent"]["isolate:program-9.1"]["prov:label"] == "isolate 9.1"
    (on_behalf,) = related(shown, "actedOnBehalfOf", delegate="case:people")
    assert shown["agent"][on_behalf["prov:responsible"]]["prov:label"] == "station north pier"


def test_clocks_that_disagree_leave_no_activity_that_ends_before_it_began() -> None:
    events = trail("declined")
    moment = datetime(2030, 2, 14, 5, 0, tzinfo=UTC)
    log = Memory()
    for event in events:
        moment += timedelta(minutes=-60 if event.seq == 40 else 1)
        log.append_all(event.case, [(event.kind, event.body)], moment.isoformat(timespec="milliseconds")[:-6] + "Z")
    for one in json.loads(prov_json(log.events(events[0].case)))["activity"].values():
        assert one["prov:startTime"] <= one["prov:endTime"]


def test_text_from_a_trail_stays_text() -> None:
    note = next(e for e in trail("taken-back") if e.kind == "noted")
    entity = document("taken-back")["entity"][f"case:event-{note.seq}"]
    assert entity["isolate:text"] == note.body["text"]
    assert "\x1b" in note.body["text"] and "\x1b" not in entity["prov:label"]
    assert "\x1b" not in prov_json(trail("taken-back"))


def test_the_same_events_give_the_same_text_and_none_give_none() -> None:
    assert prov_json(trail("declined")) == prov_json(trail("declined"))
    with pytest.raises(ValueError, match="no provenance"):
        prov_json(())


def test_of_two_events_of_one_number_the_first_is_told_of_and_the_other_counted() -> None:
    events = trail("taken-back")[:12]
    shown = json.loads(prov_json((*events, events[5])))
    assert shown["entity"]["case:trail"]["isolate:left_out"] == 1
    del shown["entity"]["case:trail"]["isolate:left_out"]
    assert shown == json.loads(prov_json(events))


def test_whatever_a_body_holds_it_is_written() -> None:
    rng = random.Random(11)
    odd: list[Any] = [None, True, 7, 0.5, "x\n\x1b[2J", [], ["one"], [[]], {}, {"a": [1]}, [{"name": 7}], [["x"]]]

    def other(value: Any) -> Any:
        if isinstance(value, dict) and value and rng.random() < 0.8:
            name = rng.choice(sorted(value))
            return {**value, name: other(value[name])}
        if isinstance(value, list) and value and rng.random() < 0.6:
            at = rng.randrange(len(value))
            return [*value[:at], other(value[at]), *value[at + 1 :]]
        return rng.choice(odd)

    for name in ("worn-plug", "taken-back"):
        events = trail(name)
        for _ in range(60):
            bad = [replace(e, body=b if isinstance(b := other(e.body), dict) else {}) for e in events]
            assert json.loads(prov_json(bad))["entity"]["case:trail"]
            finding_lines(CaseState(findings=[e.body for e in bad if e.kind == "shop-finding"]))
            trust(lambda digest, engine: None, bad)

"""The provenance of cases against W3C PROV: read by the reference library, and in an order that can be.

Sources: W3C, *The PROV-JSON Serialization*, member submission, 24 April 2013 [published]; W3C Recommendation
*Constraints of the PROV Data Model*, 30 April 2013 [published; which constraint says what, by its
name: memory]; the ``prov``
library for Python [reference library].
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import datetime
from functools import cache
from typing import Any

import pytest
from prov.constants import (
    PROV_ATTR_ACTIVITY,
    PROV_ATTR_ENTITY,
    PROV_ATTR_GENERATED_ENTITY,
    PROV_ATTR_TIME,
    PROV_ATTR_USED_ENTITY,
)
from prov.model import (
    ProvActivity,
    ProvAgent,
    ProvAssociation,
    ProvDerivation,
    ProvDocument,
    ProvEntity,
    ProvGeneration,
    ProvInvalidation,
    ProvRelation,
    ProvUsage,
)

from isolate.review.provenance import prov_json
from tests.worked import trail

NAMES = ("came-back", "taken-back", "turboprop")


@cache
def read(name: str) -> ProvDocument:
    return ProvDocument.deserialize(content=prov_json(trail(name)), format="json")


def one(record: Any, attribute: Any) -> Any:
    values = list(record.get_attribute(attribute))
    return values[0] if values else None


@pytest.mark.parametrize("name", NAMES)
def test_the_reference_library_reads_it_and_writes_the_same(name: str) -> None:
    shown = read(name)
    again = ProvDocument.deserialize(content=shown.serialize(), format="json")
    assert again == shown
    assert not shown.bundles
    # Nothing was dropped on reading: as many records as the text has.
    told = json.loads(prov_json(trail(name)))
    assert len(shown.records) == sum(len(records) for kind, records in told.items() if kind != "prefix")


@pytest.mark.parametrize("name", NAMES)
def test_all_that_a_relation_names_is_declared(name: str) -> None:
    shown = read(name)
    declared = {r.identifier for r in shown.records if isinstance(r, ProvEntity | ProvActivity | ProvAgent)}
    for record in shown.get_records(ProvRelation):
        for _, value in record.formal_attributes:
            assert value is None or isinstance(value, datetime) or value in declared, (record, value)


@pytest.mark.parametrize("name", NAMES)
def test_it_keeps_the_constraints_of_prov(name: str) -> None:
    shown = read(name)
    begun = {a.identifier: (a.get_startTime(), a.get_endTime()) for a in shown.get_records(ProvActivity)}
    entities = {r.identifier for r in shown.get_records(ProvEntity)}
    # start-precedes-end
    assert all(start <= end for start, end in begun.values())
    # entity-activity-disjoint
    assert not entities & set(begun)
    # unique-generation, unique-invalidation
    for kind in (ProvGeneration, ProvInvalidation):
        counted = Counter(one(r, PROV_ATTR_ENTITY) for r in shown.get_records(kind))
        assert set(counted.values()) <= {1}
    made, ended = (
        {one(r, PROV_ATTR_ENTITY): (one(r, PROV_ATTR_ACTIVITY), one(r, PROV_ATTR_TIME)) for r in shown.get_records(k)}
        for k in (ProvGeneration, ProvInvalidation)
    )
    # generation-within-activity
    for activity, time in made.values():
        assert begun[activity][0] <= time <= begun[activity][1]
    # generation-precedes-invalidation
    for entity, (_, time) in ended.items():
        assert entity not in made or made[entity][1] <= time
    # generation-precedes-usage, usage-precedes-invalidation: a usage lies within its activity
    for usage in shown.get_records(ProvUsage):
        activity, entity = one(usage, PROV_ATTR_ACTIVITY), one(usage, PROV_ATTR_ENTITY)
        assert entity not in made or made[entity][1] <= begun[activity][1], usage
        assert entity not in ended or begun[activity][0] <= ended[entity][1], usage
    # derivation-generation-generation-ordering; and no entity comes from itself
    after: dict[Any, set[Any]] = {}
    for derived in shown.get_records(ProvDerivation):
        later, earlier = one(derived, PROV_ATTR_GENERATED_ENTITY), one(derived, PROV_ATTR_USED_ENTITY)
        assert made[earlier][1] <= made[later][1]
        after.setdefault(later, set()).add(earlier)
    assert not _in_a_circle(after)


def _in_a_circle(after: dict[Any, set[Any]]) -> bool:
    from graphlib import CycleError, TopologicalSorter

    try:
        TopologicalSorter(after).prepare()
    except CycleError:
        return True
    return False


@pytest.mark.parametrize("name", NAMES)
def test_from_the_last_event_all_others_are_reached(name: str) -> None:
    shown = read(name)
    comes_from: dict[str, set[str]] = {}
    for derived in shown.get_records(ProvDerivation):
        later, earlier = one(derived, PROV_ATTR_GENERATED_ENTITY), one(derived, PROV_ATTR_USED_ENTITY)
        comes_from.setdefault(later.localpart, set()).add(earlier.localpart)
    events = trail(name)
    reached, left = set(), [f"event-{events[-1].seq}"]
    while left:
        here = left.pop()
        if here not in reached:
            reached.add(here)
            left += comes_from.get(here, ())
    assert reached >= {f"event-{event.seq}" for event in events}


def test_the_checks_see_a_circle() -> None:
    assert _in_a_circle({"a": {"b"}, "b": {"a"}})
    assert not _in_a_circle({"a": {"b"}, "b": set()})


def test_an_association_names_its_plan() -> None:
    plans = [r for r in read("worn-plug").get_records(ProvAssociation) if r.args[2] is not None]
    assert len(plans) == sum(event.kind == "accepted" for event in trail("worn-plug"))

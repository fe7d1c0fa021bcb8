"""The small knowledge that other tests run on: a case on it ends whatever its last step leaves open."""

from __future__ import annotations

from pathlib import Path

from isolate.case.case import fold
from isolate.review.replay import replayed
from tests.review import desk


def test_a_case_ends_where_its_last_proof_shuts_what_stood_open(tmp_path: Path) -> None:
    """The last answer of the verification leaves nothing open, so that the case ends while that is being written."""
    firing = "    title: Fire channel {channel}\n"
    kit = desk.kit_in(desk.write(tmp_path, firing, f"{firing}    needs: [cowl]\n    spoils: [cowl]\n"))
    events = desk.case(kit, "lead-open/B")
    assert fold(events).ended == "verified, fault found"
    assert [e.kind for e in events].count("closed") == 1
    assert replayed(lambda digest, engine: kit, events).differs == ()

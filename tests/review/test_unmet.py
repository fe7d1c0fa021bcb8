"""Whether a defect was met in the condition in which it shows: by a check, by the proof after the repair."""

from __future__ import annotations

from dataclasses import replace

import pytest

from isolate.case.case import CaseState, fold
from isolate.review.evidence import named
from isolate.review.named import Names
from isolate.review.shapes import Answered
from isolate.review.unmet import unmet
from tests.review.read_back import kits, read_back
from tests.worked import trail

KIT = kits("halden-hf-3")
NAMES = Names(KIT.fitted)


def told(state: CaseState, name: str, *answers: Answered) -> str:
    return unmet(KIT, state, named(trail(name)), NAMES, answers)


def done(name: str, **conditions: str) -> CaseState:
    """Return a kept case with checks done in other conditions; ``spark_test_B`` stands for spark-test/B."""
    state = fold(trail(name))
    at = {f"{key[:-2].replace('_', '-')}/{key[-1]}": c for key, c in conditions.items()}
    state.evidence = [
        replace(e, condition=at[e.key], strength=1.0) if e.key in at else e  # type: ignore[arg-type]
        for e in state.evidence
    ]
    return state


def test_a_defect_that_shows_hot_and_was_met_cold_only_is_told() -> None:
    assert told(fold(trail("hot-exciter")), "hot-exciter") == (
        "The defect shows hot: no check of exciter B gives up when hot before the repair and no proof after it was "
        "done hot; what was done, was done cold."
    )
    assert read_back("hot-exciter").unmet == told(fold(trail("hot-exciter")), "hot-exciter")


def test_the_check_and_the_proof_count_each_by_itself() -> None:
    checked = done("hot-exciter", feeder_volts_B="hot")
    # The supply says nothing of an exciter that gives up: that check does not bear on it.
    assert "no check of exciter B" in told(checked, "hot-exciter")
    proven = done("hot-exciter", start_alone_B="hot")
    said = told(proven, "hot-exciter")
    assert "no check of exciter B gives up when hot before the repair was done hot" in said
    assert said.endswith("the proof after it was.")


def test_a_proof_of_the_other_channel_proves_nothing() -> None:
    assert "no proof after it" in told(done("hot-exciter", spark_test_A="hot", start_alone_A="hot"), "hot-exciter")


def test_heat_that_hardly_prevails_is_not_hot() -> None:
    state = fold(trail("hot-exciter"))
    state.evidence = [replace(e, condition="hot", strength=0.4) for e in state.evidence]
    assert "done in no condition in particular" in told(state, "hot-exciter")
    state.evidence = [replace(e, strength=0.6) for e in state.evidence]
    assert "no proof" not in told(state, "hot-exciter")


@pytest.mark.parametrize("name", ["wet-lead", "worn-plug", "turboprop", "declined", "taken-back"])
def test_where_it_was_met_or_shows_always_nothing_is_said(name: str) -> None:
    assert read_back(name).unmet == ""


def test_what_was_seen_with_the_eye_was_met() -> None:
    looks = {e.key for e in fold(trail("wet-lead")).evidence if e.kind == "answer"}
    dry = {f"{key[:-2].replace('-', '_')}_{key[-1]}": "cold" for key in looks if key[-2:] in ("/A", "/B")}
    state = done("wet-lead", **dry)
    assert "no check of water or fuel in the terminal cavity" in told(state, "wet-lead")
    seen = [a for a in read_back("wet-lead").answers if a.check == "lead-cavity-look/B"]
    assert len(seen) == 1 and seen[0].words.endswith("strongly for")
    assert told(state, "wet-lead", *seen) == (
        "The defect shows wet, and no proof after the repair was done wet; what was done, was done cold."
    )


def test_an_open_case_is_not_judged() -> None:
    events = trail("hot-exciter")[:60]
    assert unmet(KIT, fold(events), [], NAMES, ()) == ""

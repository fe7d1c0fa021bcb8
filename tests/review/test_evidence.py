"""Belief over time against the beliefs on the trail, weights against their definition."""

from __future__ import annotations

from itertools import pairwise
from math import log2

import pytest
from scipy.stats import entropy as reference_entropy

from isolate.case.believed import believed
from isolate.case.case import fold
from isolate.case.chase import Kit
from isolate.kb.fit import split
from isolate.reasoning.belief import Belief
from isolate.review.evidence import entropy, named, recorded, weighed, weights_for
from isolate.review.named import Names
from isolate.review.story import SAID
from tests.review.read_back import kits, more, of, read_back
from tests.worked import trail

HF3 = "halden-hf-3"


@pytest.mark.parametrize("name", ["came-back", "wet-lead", "taken-back"])
def test_the_belief_worked_anew_is_the_one_on_the_trail(name: str) -> None:
    """The trail keeps six figures of what was believed as the case was worked, by the chase itself."""
    made, last, checked = read_back(name), 0, 0
    points = {p.seq: p for p in made.belief}
    for event in trail(name):
        if event.kind in SAID:
            last = event.seq
        elif event.kind == "belief":
            faults, point = dict(event.body["faults"]), points[last]
            assert point.none == pytest.approx(event.body["none"], abs=1.1e-6)
            assert point.unexplained == event.body["unexplained"]
            for suspect, chance in zip(made.suspects, point.chances, strict=True):
                if suspect.mode in faults:
                    assert chance == pytest.approx(faults[suspect.mode], abs=1.1e-6)
                    checked += 1
                elif len(faults) < 8:
                    # The trail lists what has a percent or more, eight at most.
                    assert chance < 0.01
    assert checked > 10


def test_suspects_are_whom_the_end_names_and_who_led() -> None:
    made = read_back("came-back")
    assert made.suspects[0].mode == "lead-chafed/B" and made.suspects[0].named
    leaders = {max(p.chances) for p in made.belief}
    assert all(len(p.chances) == len(made.suspects) <= 6 for p in made.belief) and leaders
    led = set()
    for event in trail("came-back"):
        if event.kind == "belief" and event.body["faults"] and event.body["faults"][0][1] >= 0.05:
            led.add(event.body["faults"][0][0])
    assert led <= {s.mode for s in made.suspects}
    assert [s.mode for s in made.suspects if s.named] == named(trail("came-back")) == ["lead-chafed/B"]


def test_a_repair_in_the_belief_says_that_the_fault_counts_as_gone() -> None:
    made = read_back("wet-lead")
    repaired = [p for p in made.belief if p.after.endswith("what it puts right is taken as gone")]
    assert [p.seq for p in repaired] == [83, 141]
    before = made.belief[made.belief.index(repaired[1]) - 1]
    assert before.chances[0] > 0.9 > 0.1 > repaired[1].chances[0]


def log_odds(kit: Kit, belief: Belief, mode: str) -> float:
    zone = kit.fitted.mode_zone[mode]
    p = float(belief.zone(zone)[kit.fitted.zones[zone].states.index(split(mode)[0])])
    return log2(p / (1 - p))


@pytest.mark.parametrize("name", ["declined", "hot-exciter", "turboprop", "came-back"])
def test_weights_add_up_to_the_change_of_the_log_odds(name: str) -> None:
    """Good, Probability and the Weighing of Evidence (1950), from memory: weights of evidence, each given what was
    known before it, sum to the logarithm of the odds in the end over those at the beginning."""
    events = trail(name)
    state = fold(events)
    assert state.intake is not None
    kit = kits(state.intake.engine)
    made = read_back(name)
    position = next(i for i, item in enumerate(state.evidence) if item.kind == "repair")
    first, last = (believed(kit.model, state.intake, state.evidence[:n]) for n in (0, position))
    until = state.evidence[position].seq
    answers = [a for a in made.answers if not a.carried and a.seq < until]
    assert len(answers) >= 6
    for i, suspect in enumerate(made.suspects):
        whole = log_odds(kit, last, suspect.mode) - log_odds(kit, first, suspect.mode)
        assert sum(a.bits[i] for a in answers) == pytest.approx(whole, abs=2e-3), suspect.mode


@pytest.mark.parametrize("name", ["came-back", "wet-lead", "turboprop", "hot-exciter"])
def test_each_weight_is_the_move_of_the_belief_shown(name: str) -> None:
    made = read_back(name)
    answers = {a.seq: a for a in made.answers if not a.carried}
    seen = 0
    for before, point in pairwise(made.belief):
        if point.seq not in answers:
            continue
        assert answers[point.seq].bits == point.bits
        for was, now, bits in zip(before.chances, point.chances, point.bits, strict=True):
            # Shown with six figures.
            if min(was, now) > 1e-3 and max(was, now) < 1 - 1e-3:
                assert bits == pytest.approx(log2(now / (1 - now)) - log2(was / (1 - was)), abs=5e-3)
                seen += 1
            assert (now - was) * bits >= -1e-6, "they never point another way"
    assert seen > 10


def test_what_was_taken_back_takes_its_weight_along() -> None:
    """All moves, that of the answer taken back and of taking it back among them, come to the whole."""
    made, state = read_back("taken-back"), fold(trail("taken-back"))
    assert state.intake is not None and state.void
    first, last = (believed(kits(HF3).model, state.intake, some) for some in ([], state.evidence))
    for i, suspect in enumerate(made.suspects):
        whole = log_odds(kits(HF3), last, suspect.mode) - log_odds(kits(HF3), first, suspect.mode)
        assert sum(p.bits[i] for p in made.belief if p.bits) == pytest.approx(whole, abs=2e-3)
    gone = {p.seq: p.bits for p in made.belief}
    back = next(e.seq for e in trail("taken-back") if e.kind == "corrected")
    assert max(map(abs, gone[16])) > 0.5 and gone[back] == pytest.approx([-b for b in gone[16]], abs=1e-3)


def test_work_is_no_evidence() -> None:
    made = read_back("wet-lead")
    work = {m.seq for m in made.story if m.kind in ("repair", "swap")}
    assert work and all(not p.bits for p in made.belief if p.seq in work) and not made.belief[0].bits


def test_the_end_is_told_with_its_own_figure() -> None:
    """It weighs the answers after the repair too, so it is another than any of the belief before it."""
    made = read_back("hot-exciter")
    named_ = next(s for s in made.suspects if s.named)
    told = next(e for e in trail("hot-exciter") if e.kind == "closed").body["found"][0]["probability"]
    assert named_.at_end == told == pytest.approx(0.919, abs=1e-3)
    assert max(p.chances[0] for p in made.belief) < 0.82
    assert [s.at_end for s in made.suspects if not s.named] == [None, None]


def test_doubt_taken_away_adds_up() -> None:
    """Entropy by scipy.stats.entropy, base 2; what each answer took away sums to what all of them did."""
    kit, events = kits(HF3), trail("declined")
    state = fold(events)
    assert state.intake is not None
    end = next(i for i, item in enumerate(state.evidence) if item.kind == "repair")
    first, last = (believed(kit.model, state.intake, state.evidence[:n]) for n in (0, end))
    assert entropy(first) == pytest.approx(float(reference_entropy(first.joint.ravel(), base=2)))
    before = {item.seq for item in state.evidence[:end]}
    moved = sum(a.moved for a in read_back("declined").answers if a.seq in before)
    assert moved == pytest.approx(entropy(first) - entropy(last), abs=0.01)


def test_words_come_first_and_are_about_whom_the_end_names() -> None:
    by_seq = {a.seq: a for a in read_back("declined").answers}
    assert by_seq[78].said == "Open" and by_seq[78].words.endswith("strongly for")
    assert by_seq[78].bits[0] > 3.32
    assert by_seq[95].words.endswith("against"), "after the repair it speaks against its being there still"
    open_case = read_back("taken-back")
    assert not any(s.named for s in open_case.suspects)
    assert {a.words for a in open_case.answers} > {"slightly for"}


def test_what_was_taken_back_is_weighed_no_more() -> None:
    assert [a.seq for a in read_back("taken-back").answers if a.check == "light-time-told"] == [25]
    assert 16 in {p.seq for p in read_back("taken-back").belief}


def test_earlier_cases_are_weighed_as_carried() -> None:
    made = read_back("came-back")
    carried = [a for a in made.answers if a.carried]
    assert {a.carried for a in carried} == {"104-2-0110-a001", "104-2-0118-a002"}
    assert max(abs(b) for a in carried for b in a.bits) > 0.5
    # What is long ago or about what was renewed since says less than what this case found itself.
    assert max(abs(b) for a in made.answers if not a.carried for b in a.bits) > max(
        abs(b) for a in carried for b in a.bits
    )


def test_an_answer_that_says_nothing_new_is_found() -> None:
    events = trail("declined")[:18]
    again = next(e for e in events if e.kind == "answered" and e.body["check"] == "finding-told/B")
    made = more(events, ("answered", again.body))
    found = weighed(kits(HF3), made, Names(kits(HF3).fitted), {})
    assert found.idle == {made[-1].seq}
    assert [a.bits for a in found.answers if a.seq == made[-1].seq] == [(0.0,) * len(found.suspects)]


def test_weights_for_what_was_at_fault_end_at_its_repair() -> None:
    kit, state = kits(HF3), fold(trail("wet-lead"))
    found = weights_for(kit, state, ["lead-cavity-wet/B"])
    repaired = [item.seq for item in state.evidence if item.kind == "repair"]
    assert max(found) < repaired[1] and max(found) > repaired[0]
    by_seq = {a.seq: a.bits[0] for a in read_back("wet-lead").answers}
    assert all(bits == pytest.approx(by_seq[seq], abs=1e-3) for seq, bits in found.items())


def test_without_knowledge_the_trail_tells_what_was_believed() -> None:
    events, worked = trail("declined"), read_back("declined")
    found = recorded(events, Names(None), {})
    assert not found.anew and {s.mode for s in found.suspects} <= {s.mode for s in worked.suspects}
    assert all(a.bits == () and a.words == "not weighed" for a in found.answers)
    mine = {p.seq: dict(zip((s.mode for s in worked.suspects), p.chances, strict=True)) for p in worked.belief}
    for point in found.points:
        for suspect, chance in zip(found.suspects, point.chances, strict=True):
            assert chance == 0 or chance == pytest.approx(mine[point.seq][suspect.mode], abs=1.1e-6)


def test_what_other_knowledge_does_not_have_is_left_out_of_the_belief() -> None:
    events = more(
        trail("declined")[:18],
        ("answered", {"check": "moon-look/B", "outcome": "full", "minutes": 5, "within": "check"}),
    )
    found = weighed(kits(HF3), events, Names(kits(HF3).fitted), {})
    assert found.left_out == ("moon-look/B",)
    made = of(events)
    assert any("moon-look/B" in note for note in made.notes)

"""Why this check, why this part: the words must follow from the numbers."""

from __future__ import annotations

from math import log2

import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted
from isolate.reasoning import explain
from isolate.reasoning.belief import Belief
from isolate.reasoning.starts import Start


@pytest.fixture(scope="module")
def silent(kit: Kit) -> Belief:
    return Belief.before(kit.model).starts([Start("both", True)] * 3).answer("spark-test/A", "silent")


def test_a_shift_is_what_the_answer_would_do(hf3: Fitted, silent: Belief) -> None:
    found = explain.shifts(silent, "feeder-volts/A")
    assert [s.outcome for s in found] == list(hf3.checks["feeder-volts/A"].outcomes)
    assert sum(s.probability for s in found) == pytest.approx(1.0)
    now = {m.mode: m.probability for m in silent.faults()}
    for shift in found:
        after = silent.answer("feeder-volts/A", shift.outcome)
        assert shift.said and shift.means and "{" not in shift.said + shift.means
        assert len(shift.suspects) <= 3
        leading = after.faults(0.02)[:3]
        assert [(m.mode, before) for m, before in shift.suspects] == [(m.mode, now[m.mode]) for m in leading]
        assert [m.probability for m, _ in shift.suspects] == pytest.approx([m.probability for m in leading])
    absent = next(s for s in found if s.outcome == "absent")
    assert all(m.probability > before for m, before in absent.suspects if m.state in ("feeder-open", "switch-failed"))


def test_the_chances_shown_of_a_repeated_check_are_those_of_asking_it_again(silent: Belief) -> None:
    for shift in explain.shifts(silent, "spark-test/A"):
        gained = silent.answer("spark-test/A", shift.outcome).log_evidence - silent.log_evidence
        assert log2(shift.probability) == pytest.approx(gained / 0.6931471805599453, abs=1e-9), shift.outcome


def test_what_bad_news_would_part(silent: Belief) -> None:
    up, down = ([m.mode for m in found] for found in explain.parted(silent, "feeder-volts/A"))
    assert "switch-failed/A" in up, "no volts at the exciter speaks for what lies before it"
    assert {"lead-open/A", "exciter-dead/A"} <= set(down), "and against what comes after"
    worst = {m.mode: m.probability for m in silent.answer("feeder-volts/A", "absent").faults()}
    for found in explain.parted(silent, "feeder-volts/A"):
        assert len(found) <= 3
        for now in found:
            assert now.probability >= 0.03 and worst[now.mode] != pytest.approx(now.probability, rel=0.25)
    # A look at the other channel's lead parts nothing of what is suspected here.
    assert explain.parted(silent, "lead-exciter-end-look/B") == ((), ())


def test_answers_are_weighed_the_weightiest_first(hf3: Fitted, silent: Belief) -> None:
    belief = silent.answer("lead-continuity/A", "open").answer("feeder-volts/A", "present")
    belief = belief.answer("crew-ask", "by-the-book")
    found = explain.weighed(belief, {"channel/A": "lead-open"})
    assert [abs(w.bits) for w in found] == sorted((abs(w.bits) for w in found), reverse=True)
    bits = {w.check: w for w in found}
    assert set(bits) == {"spark-test/A", "lead-continuity/A", "feeder-volts/A", "crew-ask"}
    assert found[0].check == "lead-continuity/A"
    assert bits["lead-continuity/A"].bits > 3.32 and "strongly for" in bits["lead-continuity/A"].words
    assert bits["crew-ask"].words == "says nothing either way"
    assert bits["lead-continuity/A"].said == hf3.checks["lead-continuity/A"].said("open")
    against = {w.check: w for w in explain.weighed(belief, {"channel/A": "exciter-dead"})}
    assert against["lead-continuity/A"].bits < 0 and "against" in against["lead-continuity/A"].words


@pytest.mark.parametrize(
    ("odds", "words"),
    [
        # Jeffreys, Theory of Probability (3rd ed. 1961), app. B [memory]: grades by half-decades of the odds.
        (1.0, "says nothing either way"),
        (2.0, "slightly for"),
        (10**0.49, "slightly for"),
        (10**0.51, "clearly for"),
        (10**0.99, "clearly for"),
        (10**1.01, "strongly for"),
        (10**1.99, "strongly for"),
        (10**2.01, "very strongly for"),
        (1 / 5.0, "clearly against"),
        (1 / 1000.0, "very strongly against"),
    ],
)
def test_strength_in_words(odds: float, words: str) -> None:
    assert explain.strength(log2(odds)) == words

"""How firm a verdict is, on the kept trails: what is told is worked again here by other means, and bites.

The check against a reference library is in ``tests/published/test_firm.py``.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from isolate.case.believed import before, believed, joint_before
from isolate.case.case import Evidence, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.reasoning import swap
from isolate.review.altered import Likelihood, Prior, altered, bounds, figures_of, value_of
from isolate.review.firm import ALIKE, LARGEST, MOST, firm, kind_of, runner_up
from isolate.review.shapes import Firm, Weak
from tests.published.test_firm import worked
from tests.reasoning.test_belief import small
from tests.review.read_back import read_back
from tests.worked import kit_of, told, trail


@pytest.fixture(scope="module")
def kit() -> Kit:
    """The kit of the knowledge that the kept trails were worked with."""
    return kit_of()


@pytest.fixture(scope="module")
def declined(kit: Kit) -> Firm:
    found = firm(kit, trail("declined"))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def taken_back(kit: Kit) -> Firm:
    found = firm(kit, trail("taken-back"))
    assert found is not None
    return found


def test_the_joint_before_a_repair_agrees_with_looking_back_state_by_state() -> None:
    """Each zone's marginal is what filtering once for each state gives, repairs and swaps after it and all."""
    kit = Kit(small())
    intake = told(engine="bench", complaint="dark", people=[])
    answers = [("look/B", "poor"), ("ear/B", "bad"), ("meter/A", "poor"), ("ear/A", "poor"), ("meter/B", "bad")]
    evidence = [Evidence(n, "answer", check, outcome) for n, (check, outcome) in enumerate(answers)]
    evidence.insert(2, Evidence(90, "repair", "change/B"))
    evidence.insert(4, Evidence(91, "swap", "exciter:A<>B"))
    evidence.insert(6, Evidence(92, "swap", "exciter:B<>elsewhere"))
    evidence += [Evidence(93, "repair", "change/A"), Evidence(94, "answer", "look/A", "good")]
    for position in range(len(evidence) + 1):
        joint, logs = joint_before(kit.model, intake, evidence, position)
        assert joint.sum() == pytest.approx(1)
        assert logs == pytest.approx(believed(kit.model, intake, evidence).log_evidence)
        for zone in kit.model.zones:
            axes = tuple(a for z, a in kit.model.axis.items() if z != zone)
            looked = before(kit.model, intake, evidence, position, zone)
            assert np.allclose(joint.sum(axis=axes), looked, rtol=1e-9, atol=1e-15)
    assert np.allclose(joint, believed(kit.model, intake, evidence).joint)


def test_looking_back_over_a_swap_is_its_mirror(kit: Kit) -> None:
    """The chance of what is seen after is the same, whichever side of the exchange it is reckoned on."""
    draw = np.random.default_rng(7)
    joint, weight = draw.random(kit.model.shape), draw.random(kit.model.shape)
    for part, one, other in (("igniter", "A", "B"), ("lead", "A", "B")):
        forward = (swap.between(kit.model, joint, part, one, other) * weight).sum()
        assert forward == pytest.approx((joint * swap.back(kit.model, weight, part, one, other)).sum())
    forward = (swap.exchange(kit.model, joint, "exciter", "B") * weight).sum()
    assert forward == pytest.approx((joint * swap.back(kit.model, weight, "exciter", "B")).sum())


def leads(kit: Kit, events: tuple[Event, ...], evidence: tuple[Evidence, ...], position: int) -> dict[str, float]:
    """Return each state's chance just before the repair, by looking back zone by zone."""
    intake = fold(events).intake
    assert intake is not None
    found = {}
    for key, zone in kit.fitted.zones.items():
        chances = before(kit.model, intake, evidence, position, key)
        found |= {
            f"{s}/{zone.channel}" if zone.channel else s: float(p) for s, p in zip(zone.states, chances, strict=True)
        }
    return found


def test_the_verdict_is_what_the_end_names_with_its_chance(kit: Kit, declined: Firm) -> None:
    events = trail("declined")
    named = next(e for e in events if e.kind == "closed").body["found"][0]
    assert declined.verdict == named["mode"] and declined.chance == pytest.approx(named["probability"], abs=1e-6)
    assert declined.title == "Lead B open"
    state = fold(events)
    position = next(i for i, item in enumerate(state.evidence) if item.kind == "repair")
    chances = leads(kit, events, tuple(state.evidence), position)
    modes = {m: p for m, p in chances.items() if not m.startswith("healthy") and m != declined.verdict}
    assert chances[declined.second] == pytest.approx(max(modes.values())) and declined.odds > 100
    assert declined.odds == pytest.approx(chances[declined.verdict] / chances[declined.second])


def test_each_answer_told_changes_the_verdict_when_it_is_put_in(kit: Kit, declined: Firm) -> None:
    events = trail("declined")
    state = fold(events)
    answers = [w for w in declined.weak if w.what == "answer"]
    assert answers
    for w in answers:
        index = next(i for i, item in enumerate(state.evidence) if item.seq == w.seq)
        position = next(i for i, item in enumerate(state.evidence) if item.kind == "repair")
        evidence = list(state.evidence)
        evidence[index] = replace(evidence[index], outcome=w.other)
        chances = leads(kit, events, tuple(evidence), position)
        assert chances[w.to] == pytest.approx(w.chance) and chances[w.to] > chances[declined.verdict]
        assert w.said.startswith(f"If “{w.title}” had read")


def test_each_figure_told_bites_just_beyond_its_factor(kit: Kit, taken_back: Firm) -> None:
    found, state = taken_back, fold(trail("taken-back"))
    assert state.intake is not None
    weak = [w for w in found.weak if w.factor is not None and not w.same_repair]
    assert len(weak) == MOST
    assert [abs(np.log(w.factor)) for w in weak] == sorted(abs(np.log(w.factor)) for w in weak)

    def lead(w: Weak, factor: float) -> str:
        zone, _, name = w.state.rpartition(":")
        figure = Prior(w.key) if w.what == "prior" else Likelihood(w.key, w.other, zone or "channel", name)
        fitted = altered(kit.fitted, figure, factor * value_of(kit.fitted, figure))
        assert state.intake is not None
        return believed(Kit(fitted).model, state.intake, state.evidence).faults()[0].mode

    for w in (weak[0], weak[1], weak[-1]):
        assert w.factor is not None and 1 / LARGEST <= w.factor <= LARGEST
        edge = 1.03 if w.factor > 1 else 1 / 1.03
        assert lead(w, w.factor * edge) == w.to, w.said
        assert lead(w, w.factor / edge) == found.verdict, w.said
    kinds = [(w.what, w.state, w.factor > 1) for w in weak if w.factor is not None]
    assert all(kinds.count(kind) <= ALIKE for kind in kinds)


def group(kit: Kit, found: Firm) -> set[str]:
    """Return the faults that the repair puts right, by mode."""
    clears = kit.fitted.repairs[found.repair].clears
    return {f"{s}/{c}" if (c := kit.fitted.zones[z].channel) else s for z, states in clears.items() for s in states}


@pytest.fixture(scope="module")
def hot(kit: Kit) -> Firm:
    found = firm(kit, trail("hot-exciter"))
    assert found is not None
    return found


def test_what_changes_the_repair_goes_first_and_the_rest_says_so(kit: Kit, hot: Firm, taken_back: Firm) -> None:
    for found in (hot, taken_back):
        alike = group(kit, found)
        assert found.verdict in alike and found.repair_title
        kept = [w.same_repair for w in found.weak]
        assert kept == sorted(kept) and {True, False} == set(kept)
        assert all((w.to in alike) == w.same_repair for w in found.weak)
        assert sorted(i for row in found.rows for i in row.of) == list(range(len(found.weak)))
        assert all(found.weak[i].same_repair == row.same_repair for row in found.rows for i in row.of)
    assert hot.repair == "replace-exciter/B" and hot.second == "exciter-dead/B"


def test_a_figure_that_changes_the_repair_beats_all_that_it_puts_right(kit: Kit, hot: Firm) -> None:
    events = trail("hot-exciter")
    state = fold(events)
    position = next(i for i, item in enumerate(state.evidence) if item.key == hot.repair)
    w = next(w for w in hot.weak if w.factor is not None and not w.same_repair)
    assert w.factor is not None and state.intake is not None
    figure = Likelihood(w.key, w.other, w.state.rpartition(":")[0] or "channel", w.state.rpartition(":")[2])
    for edge, changed in ((1.03, True), (1 / 1.03, False)):
        factor = w.factor * (edge if w.factor > 1 else 1 / edge)
        other = Kit(altered(kit.fitted, figure, factor * value_of(kit.fitted, figure)))
        chances = leads(other, events, tuple(state.evidence), position)
        assert (chances[w.to] > max(chances[mode] for mode in group(kit, hot))) == changed


def test_no_figure_nearer_that_changes_the_repair_is_missing() -> None:
    """Each figure of a small knowledge, in which the repair puts both faults right, searched by halving."""
    fitted = small()
    change = replace(fitted.repairs["change/B"], clears={"channel/B": frozenset({"dead", "weak"})})
    fitted = replace(fitted, repairs={**fitted.repairs, "change/B": change})
    kit, events = Kit(fitted), worked()
    found = firm(kit, events)
    assert found is not None and found.verdict == "dead/B"
    state = fold(events)
    position = next(i for i, item in enumerate(state.evidence) if item.kind == "repair")

    def changes_it(figure: Likelihood | Prior, factor: float) -> bool:
        assert state.intake is not None
        model = Kit(altered(fitted, figure, factor * value_of(fitted, figure))).model
        joint, _ = joint_before(model, state.intake, state.evidence, position)
        healthy, dead, weak = (joint.sum(axis=tuple(a for z, a in model.axis.items() if z != "channel/B"))).tolist()
        others = [
            p
            for zone in ("channel/A", "shared")
            for p in joint.sum(axis=tuple(a for z, a in model.axis.items() if z != zone))[1:]
        ]
        return bool(max(healthy, *others) > max(dead, weak))

    had: dict[tuple[Likelihood | Prior, bool], float] = {}
    for w in found.weak:
        if w.factor is not None and not w.same_repair:
            zone, _, name = w.state.rpartition(":")
            place = zone or ("shared" if name == "off" else "channel")
            had[Prior(w.key) if w.what == "prior" else Likelihood(w.key, w.other, place, name), w.factor > 1] = w.factor
    assert len(had) >= 4
    last = max(abs(np.log(factor)) for factor in had.values())
    asked: dict[str, list[str]] = {}
    for item in state.evidence:
        if item.kind == "answer":
            asked.setdefault(item.key, []).append(item.outcome)
    figures: list[Likelihood | Prior] = [*figures_of(fitted, asked), Prior("dead"), Prior("weak"), Prior("off")]
    kinds = Counter((kind_of(figure), up) for figure, up in had)
    for figure in figures:
        least, most = (bound / value_of(fitted, figure) for bound in bounds(fitted, figure))
        for limit in (max(1 / LARGEST, least), min(LARGEST, most)):
            low, high = 1.0, limit
            factor = None
            if changes_it(figure, limit):
                for _ in range(9):
                    middle = (low * high) ** 0.5
                    low, high = (low, middle) if changes_it(figure, middle) else (middle, high)
                factor = high
            told = had.get((figure, limit > 1))
            if told is not None:
                assert factor == pytest.approx(told, rel=0.03)
            elif factor is not None and abs(np.log(factor)) < last - 0.03:
                assert kinds[kind_of(figure), limit > 1] == ALIKE, (figure, factor)


def test_figures_alike_are_told_in_one_line(hot: Firm) -> None:
    row = next(row for row in hot.rows if len(row.of) > 2)
    some = [hot.weak[i] for i in row.of]
    assert {w.state for w in some} == {"exciter-fails-hot"} and {w.what for w in some} == {"prior", "likelihood"}
    factors = [w.factor for w in some if w.factor is not None]
    assert max(factors) / min(factors) < 1.1
    assert row.said.startswith("Were “exciter gives up when hot” 14 times less common before any evidence (0.0002, not")
    assert "or any one of these 14 times less probable with it, exciter B dead would lead (46%): “" in row.said
    assert all(f"“{w.title}”" in row.said for w in some if w.what == "likelihood")


def test_what_was_told_at_the_opening_is_not_told_as_asked(hot: Firm) -> None:
    answered = {e.body["check"].partition("/")[0] for e in trail("hot-exciter") if e.kind == "answered"}
    told = [w for w in hot.weak if w.told]
    assert told and all(w.seq == 0 and w.key not in answered and "(told at the opening)" in w.said for w in told)
    asked = [w for w in hot.weak if w.what == "likelihood" and not w.told]
    assert asked and all(w.seq and "told at the opening" not in w.said for w in asked)


@pytest.mark.parametrize("name", ["hot-exciter", "declined", "taken-back"])
def test_whoever_comes_next_has_a_line_in_the_belief(kit: Kit, name: str, request: pytest.FixtureRequest) -> None:
    found = request.getfixturevalue({"hot-exciter": "hot"}.get(name, name.replace("-", "_")))
    assert runner_up(kit, trail(name)) == found.second
    assert found.second in {s.mode for s in read_back(name).suspects}


def test_an_open_case_is_judged_as_it_stands_and_says_so(taken_back: Firm) -> None:
    found = taken_back
    last = next(e for e in reversed(trail("taken-back")) if e.kind == "belief")
    assert [found.verdict, round(found.chance, 6)] == last.body["faults"][0]
    assert found.second == last.body["faults"][1][0]
    assert "leading suspect as things stand" in found.notes[0]
    assert any("how often a fault shows" in note for note in found.notes)


def test_nothing_asked_is_nothing_to_be_firm_about(kit: Kit) -> None:
    assert firm(kit, trail("worn-plug")[:4]) is None


def test_names_that_the_knowledge_has_not_are_left_out_and_said(kit: Kit) -> None:
    log = Memory()
    intake = told().as_dict()
    items = [
        ("opened", {"intake": intake, "knowledge": "x"}),
        ("answered", {"check": "no-such-check/B", "outcome": "yes", "minutes": 1}),
        ("answered", {"check": "spark-test/B", "outcome": "silent", "minutes": 1}),
        ("closed", {"end": "handed over", "found": [{"mode": "gone/B", "repair": "gone", "probability": 0.9}],
                    "remaining": 0.5, "record": ""}),
    ]  # fmt: skip
    found = firm(kit, log.append_all("104-2-x", items, "2030-01-10T06:00:00.000Z"))
    assert found is not None and "no-such-check/B" in found.notes[0] and found.verdict


def test_firm_is_about_the_knowledge_given_and_leaves_it_alone() -> None:
    """With a prior that is far smaller another fault leads, though the end named the first; that is said."""
    fitted = small()
    found, other = firm(Kit(fitted), worked()), firm(Kit(altered(fitted, Prior("dead"), 0.0005)), worked())
    assert found is not None and other is not None
    assert found.verdict == other.verdict == "dead/B" and found.chance > other.chance
    assert any("“Channel B: nothing wrong” was more probable than the verdict" in note for note in other.notes)
    assert not any("By the knowledge here" in note for note in found.notes)
    assert value_of(fitted, Prior("dead")) == 0.04

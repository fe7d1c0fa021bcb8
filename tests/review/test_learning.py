"""What is learnt from closed cases: which count, what an answer says of its row, what is proposed of it."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from shutil import copytree, which
from typing import Any

import numpy as np
import pytest

from isolate.case.believed import believed, told_belief
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.kb.check import check
from isolate.kb.fit import fit, split
from isolate.kb.load import load
from isolate.kb.model import HEALTHY
from isolate.review import confirmed as words
from isolate.review.confirmed import Confirmed, LeaveOut, confirmed
from isolate.review.draws import Draw, answers, draws, place_of
from isolate.review.learning import (
    PRIORS_WORTH,
    Learnt,
    Weighed,
    changes,
    for_the_shop,
    learn,
    named,
    why,
    worth,
)
from isolate.review.yaml_change import patch, sections
from tests.learnt import BEGIN, Cases, closed, drawn, kit_with, replaced
from tests.worked import kit_of, told, trail

CHAFED = "lead-chafed/B"
WORD = {"replace-lead/B": "confirmed"}
FOUND = [("replace-lead/B", CHAFED)]


def intake(**more: Any) -> Any:
    return told(complaint="weak-snap", channel="B", **more)


def one(answers: Sequence[Any] = (), found: Any = FOUND, findings: Any = WORD, **more: Any) -> tuple[Event, ...]:
    return closed("c1", intake(), answers, found, findings, **more)


def drawn_from(kit: Kit, events: Sequence[Event]) -> list[Draw]:
    case = confirmed(kit, events)
    return list(draws(kit.model, case, answers(kit.model, case)[0]))


def of(found: Learnt, name: str, word: str) -> Weighed:
    """Return the row of a check, or the prior, with a word in its title."""
    (one,) = [w for w in found.weighed if (w.name == name or w.what == name) and word in w.title]
    return one


# -- which cases count -----------------------------------------------------------------------------


def test_a_confirmed_case_says_what_every_zone_was_in(kit: Kit) -> None:
    case = confirmed(kit, one([("lead-route-look/B", "chafed")]))
    assert case.causes == {"channel/B": "lead-chafed"}
    assert case.states == dict.fromkeys(kit.fitted.zones, HEALTHY) | {"channel/B": "lead-chafed"}
    assert [e.key for e in case.evidence] == ["lead-route-look/B"]


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"findings": {}}, words.NO_WORD),
        ({"findings": {"replace-lead/B": "not-confirmed"}}, words.NOT_CONFIRMED),
        ({"findings": {"replace-lead/B": "other"}}, words.OTHER),
        ({"found": [("replace-lead/B", "healthy/B")]}, words.CALLED_GOOD),
        ({"found": [("replace-lead/B", "healthy/B")], "findings": {"replace-lead/B": "not-confirmed"}}, words.NO_FAULT),
        ({"found": [*FOUND, ("replace-igniter/B", "igniter-worn/B")]}, words.TWICE),
        ({"found": [("replace-lead/B", "lead-nut-loose/B")]}, words.NOT_OF_PART),
        ({"found": [("replace-lead/B", "lead-gnawed/B")]}, words.NOT_KNOWN),
        ({"found": []}, words.NO_PART),
    ],
)
def test_what_does_not_count_says_why(kit: Kit, more: dict[str, Any], why: str) -> None:
    with pytest.raises(LeaveOut) as caught:
        confirmed(kit, one(**more))
    assert caught.value.args[0] == why


def test_the_fault_that_the_shop_named_counts_whatever_the_end_names(kit: Kit) -> None:
    by_end = confirmed(kit, one())
    assert by_end.causes == {"channel/B": "lead-chafed"} and not by_end.by_shop
    for found in (FOUND, [("replace-lead/B", "healthy/B")], [("replace-lead/B", "lead-nut-loose/B")]):
        case = confirmed(kit, one(found=found, findings={"replace-lead/B": "confirmed lead-open/B"}))
        assert case.causes == {"channel/B": "lead-open"} and case.by_shop == {"channel/B"}
        assert case.states == dict.fromkeys(kit.fitted.zones, HEALTHY) | {"channel/B": "lead-open"}
    # A second fault of the same zone stands in the way, unless the shop found no sign of it.
    both = [*FOUND, ("replace-igniter/B", "igniter-worn/B")]
    word = {"replace-lead/B": "confirmed lead-open/B"}
    with pytest.raises(LeaveOut) as caught:
        confirmed(kit, one(found=both, findings=word))
    assert caught.value.args[0] == words.TWICE
    case = confirmed(kit, one(found=both, findings={**word, "replace-igniter/B": "not-confirmed"}))
    assert case.causes == {"channel/B": "lead-open"}


def test_two_words_of_the_shop_that_disagree_count_for_nothing(kit: Kit) -> None:
    events = list(one())
    for other in ({"finding": "not-confirmed"}, {"mode": "lead-open/B"}, {"mode": ""}):
        more = replace(events[-1], seq=events[-1].seq + 1, body={**events[-1].body, **other})
        first = replace(events[-1], body={**events[-1].body, "mode": CHAFED})
        both = [*events[:-1], first, more]
        if other == {"mode": ""}:
            assert confirmed(kit, both).by_shop == {"channel/B"}
            continue
        with pytest.raises(LeaveOut) as caught:
            confirmed(kit, both)
        assert caught.value.args[0] == words.DISPUTED


def test_a_part_that_the_end_calls_good_and_the_shop_does_not_leaves_its_zone_in_doubt(kit: Kit) -> None:
    both = [("replace-control-unit", "healthy"), *FOUND]
    case = confirmed(kit, one(found=both, findings={**WORD, "replace-control-unit": "confirmed"}))
    assert case.causes == {"channel/B": "lead-chafed"} and "shared" not in case.states
    assert case.states["channel/A"] == HEALTHY
    # Not where the shop has said nothing of it.
    assert confirmed(kit, one(found=both)).states["shared"] == HEALTHY
    # And where it named the fault, that is what it was.
    word = {**WORD, "replace-control-unit": "confirmed control-inhibits"}
    case = confirmed(kit, one(found=both, findings=word))
    assert case.causes == {"channel/B": "lead-chafed", "shared": "control-inhibits"} and case.by_shop == {"shared"}


def test_the_kept_trails_count_as_their_readme_says() -> None:
    kit = kit_of()
    for name, zone in (("worn-plug", "igniter-worn"), ("came-back", "lead-chafed")):
        assert confirmed(kit, trail(name)).causes == {"channel/B": zone}
    for name, reason in (
        ("declined", words.NOT_CONFIRMED),
        ("hot-exciter", words.NO_WORD),
        ("wet-lead", words.NO_WORD),
    ):
        with pytest.raises(LeaveOut) as caught:
            confirmed(kit, trail(name))
        assert caught.value.args[0] == reason


def test_a_verdict_that_nobody_confirmed_leaves_its_zone_in_doubt(kit: Kit) -> None:
    case = confirmed(kit, one(found=[*FOUND, ("replace-igniter/A", "igniter-worn/A")]))
    assert case.causes == {"channel/B": "lead-chafed"}
    assert "channel/A" not in case.states and case.states["shared"] == HEALTHY


@pytest.mark.parametrize("more", [{"verified": "failed"}, {"remaining": 0.4}])
def test_an_end_that_leaves_doubt_says_nothing_of_the_other_zones(kit: Kit, more: dict[str, Any]) -> None:
    case = confirmed(kit, one([("breakers-look/B", "all-in"), ("lead-route-look/B", "chafed")], **more))
    assert case.states == {"channel/B": "lead-chafed"}
    # What looks at that zone alone still counts; what looks at others as well does not.
    had = {a.fit.key for a in answers(kit.model, case)[0]}
    assert had == {
        k for k in ("breakers-look/B", "lead-route-look/B") if set(kit.fitted.checks[k].given) == {"channel/B"}
    }


def test_a_fault_that_an_earlier_repair_may_have_left_was_not_there_before(kit: Kit) -> None:
    fitted = kit.fitted
    # A repair of one part that may leave a fault of the zone which a shop then sees in another.
    able = [
        (leaves.key, state)
        for leaves in fitted.repairs.values()
        for state, _ in leaves.disturbs.get("channel/B", ())
        if leaves.channel == "B" and state in for_the_shop(fitted, "channel/B")
    ]
    for before, state in able[:2]:
        own = replaced(kit, "channel/B", state)
        found = [(before, "healthy/B"), (own, f"{state}/B")]
        case = confirmed(kit, closed("c1", intake(), [("lead-route-look/B", "good")], found, {own: "confirmed"}))
        assert case.causes == {"channel/B": state} and "channel/B" not in case.states
    assert able


def test_drills_broken_trails_and_what_cannot_be_read_are_named() -> None:
    good = one([("lead-route-look/B", "chafed")])
    broken = closed("c2", intake(), [("lead-route-look/B", "chafed")], FOUND, WORD)
    broken = tuple(replace(e, body={**e.body, "minutes": 6}) if e.kind == "answered" else e for e in broken)
    drill = closed("c3", intake(), [], FOUND, WORD, drill=True)
    gone = closed("c4", told(engine="halden-hf-9", complaint="weak-snap"), [], FOUND, WORD)
    other = closed("c5", told(complaint="weak-smell"), [], FOUND, WORD)
    shelf = Cases([good, broken, drill, gone, other])
    found = learn(load(), shelf)
    assert found.cases == ("c1",) and found.closed == 5
    assert {o.case: o.why for o in found.left_out} == {
        "c2": words.NOT_WHOLE, "c3": words.A_DRILL, "c4": words.NOT_KNOWN, "c5": words.NOT_KNOWN
    }  # fmt: skip
    assert next(o for o in found.left_out if o.case == "c4").more == "halden-hf-9"


def test_parts_that_changed_places_leave_the_case_out(kit: Kit) -> None:
    events = list(one([("lead-route-look/B", "chafed")]))
    swap = {"swap": {"part": "lead", "channel": "A", "other": "B"}, "of_itself": True, "minutes": 5}
    events.insert(2, replace(events[1], kind="swapped", body=swap))
    with pytest.raises(LeaveOut) as caught:
        confirmed(kit, events)
    assert caught.value.args[0] == words.SWAPPED


def test_answers_of_another_knowledge_are_left_out_where_their_names_are_gone(kit: Kit) -> None:
    events = one([("lead-route-look/B", "chafed"), ("lead-smell/B", "burnt"), ("spark-test/B", "purple")],
                 knowledge="f" * 64)  # fmt: skip
    found = learn(load(), Cases([events]), least=1)
    assert found.lost == 2 and found.cases == ("c1",)
    assert {w.name for w in found.weighed if w.what == "likelihood"} == {"lead-route-look"}


# -- what an answer says ---------------------------------------------------------------------------


@pytest.mark.parametrize("engine", ["halden-hf-3", "halden-hf-5", "orrin-t-9"])
def test_every_state_is_found_in_the_row_that_it_answers_by(engine: str) -> None:
    fitted = fit(load().knowledge, engine)
    seen = 0
    for asked in fitted.checks.values():
        for key, rows in asked.given.items():
            zone = fitted.zones[key]
            for number, state in enumerate(zone.states):
                given, index = place_of(asked, zone, state)
                gives = asked.entry.given[given][index].gives
                assert rows[number] == pytest.approx([gives.get(o, 0.0) for o in asked.outcomes], abs=1.1e-3)
                seen += 1
    assert seen > 3000


def test_only_the_first_answer_on_an_occasion_counts_and_only_before_the_repair(kit: Kit) -> None:
    said = [
        {"check": "spark-test/B", "outcome": "weak", "occasion": 0},
        {"check": "spark-test/B", "outcome": "silent", "occasion": 0},
        {"check": "spark-test/B", "outcome": "silent", "occasion": 1},
        {"check": "lead-route-look/B", "outcome": "good", "occasion": 0},
        {"check": "lead-route-look/B", "outcome": "chafed", "occasion": 1},
        {"check": "lead-continuity/B", "outcome": None, "occasion": 1},
    ]
    events = list(one(said))
    after = next(e for e in events if e.kind == "verified")
    body = {"check": "lead-nut-feel/B", "outcome": "tight", "minutes": 1, "within": "check"}
    events.insert(events.index(after), replace(after, kind="answered", body=body))
    had = [(d.check, d.outcome) for d in drawn_from(kit, events) if d.state == "lead-chafed"]
    outcomes = {c: list(load().knowledge.checks[c].outcomes) for c in ("spark-test", "lead-route-look")}
    assert [(c, outcomes[c][o]) for c, o in had] == [
        ("spark-test", "weak"), ("spark-test", "silent"), ("lead-route-look", "good")
    ]  # fmt: skip


ANSWERS = [
    [("lead-route-look/B", "good")],
    [("spark-test/B", "snaps")],
    [("spark-test/B", "silent"), ("lead-insulation/B", "low"), ("spark-count/B", "even")],
    [("spark-test/B", "snaps"), ("spark-count/B", "gaps"), ("feeder-volts/B", "present")],
    # A start is told by itself: whether the fault showed at it, no other answer says.
    [("start-alone/B", "late"), ("spark-test/B", "silent")],
]


@pytest.mark.parametrize("said", ANSWERS, ids=lambda said: "+".join(check for check, _ in said))
def test_a_draw_weighs_its_row_as_the_belief_does(kit: Kit, said: list[tuple[str, str]]) -> None:
    """Move one figure of the row, work the belief anew: P(all answers | the true state) moves as p + b says."""
    events = one(said)
    case = confirmed(kit, events)
    key, outcome = said[0]
    known = list(kit.fitted.checks[key].outcomes)
    (draw,) = [d for d in drawn_from(kit, events) if d.state == "lead-chafed" and d.check == split(key)[0]]
    assert known[draw.outcome] == outcome
    gives = kit.fitted.checks[key].entry.given[draw.given][draw.number].gives
    row = {o: gives.get(o, 1e-4) for o in known}
    p = row[outcome]
    for moved in (0.5 * p, 0.3 + 0.5 * p):
        # What it gains the others lose in proportion.
        new = {o: figure * (1 - moved) / (1 - p) for o, figure in row.items()} | {outcome: moved}
        other = kit_with({(draw.check, draw.given, draw.number): new})
        before, after = (_weight(k, case) for k in (kit, other))
        # The floor of all likelihoods shifts both a little.
        assert after / before == pytest.approx((moved + draw.other) / (p + draw.other), rel=2e-3)


def _weight(kit: Kit, case: Confirmed) -> float:
    """Return P(the answers | every zone in the state that the case says)."""
    model = kit.model
    told_alone = told_belief(model, case.intake, frozenset(e.key for e in case.evidence))
    belief = believed(model, case.intake, case.evidence)
    at = tuple(model.fitted.zones[z].states.index(case.states[z]) for z in model.zones)
    evidence = np.exp(belief.log_evidence - told_alone.log_evidence)
    return float(belief.joint[at] * evidence / told_alone.joint[at])


def test_what_else_was_seen_says_whether_the_fault_showed(kit: Kit) -> None:
    def other(said: Sequence[Any]) -> float:
        return next(d.other for d in drawn_from(kit, one(said)) if d.check == "spark-test" and d.state == "lead-chafed")

    alone = other([("spark-test/B", "snaps")])
    showed = other([("spark-test/B", "snaps"), ("spark-count/B", "nothing-to-count")])
    quiet = other([("spark-test/B", "snaps"), ("spark-count/B", "even")])
    another_day = other([("spark-test/B", "snaps"), {"check": "spark-count/B", "outcome": "even", "occasion": 3}])
    assert showed < 0.01 * alone < alone < quiet
    assert another_day == pytest.approx(alone)
    # Nothing of a look depends on it.
    looks = [d for d in drawn_from(kit, one([("lead-route-look/B", "good")])) if d.state == "lead-chafed"]
    assert [d.other for d in looks] == [0.0]


# -- what is proposed ------------------------------------------------------------------------------


def looks(good: int, chafed: int, **more: Any) -> list[tuple[Event, ...]]:
    """Return cases of a chafed lead in which a look along it found so much."""
    said = ["good"] * good + ["chafed"] * chafed
    return [
        closed(f"c{i:02}", intake(), [("lead-route-look/B", o)], FOUND, WORD, BEGIN.replace(day=2 + i % 27), **more)
        for i, o in enumerate(said)
    ]


def test_too_little_says_so_and_what_fits_says_nothing_new() -> None:
    few = learn(load(), Cases(looks(4, 0)))
    assert of(few, "lead-route-look", "chafed").said == "too little" and not few.changes
    assert of(few, "lead-route-look", "chafed").cases == ("c00", "c01", "c02", "c03")
    fits = learn(load(), Cases(looks(2, 12)))
    assert of(fits, "lead-route-look", "chafed").said == "nothing new"
    assert not [w for w in fits.changes if w.what == "likelihood"]
    off = learn(load(), Cases(looks(10, 4)))
    row = of(off, "lead-route-look", "chafed")
    assert row.said == "change" and [f.key for f in row.figures if f.moves] == ["good"]
    assert of(learn(load(), Cases(looks(10, 4)), least=15), "lead-route-look", "chafed").said == "too little"


def test_that_a_figure_next_to_nothing_is_too_high_is_not_said() -> None:
    cases = [closed(f"c{i}", intake(), [("plug-tip-look/A", "good")], FOUND, WORD) for i in range(150)]
    row = of(learn(load(), Cases(cases)), "plug-tip-look", "nothing wrong")
    rare = [f for f in row.figures if f.present * row.worth < 0.5]
    # Their limits alone would say it, as they would before there was any case.
    assert any(f.high < f.present for f in rare) and not any(f.moves for f in rare)


def test_an_outcome_that_is_not_written_is_put_beside_the_others() -> None:
    row = next(r for r in load().knowledge.checks["finding-told"].given["channel"] if "lead-chafed" in r.modes)
    assert "plug-worn" not in row.gives
    cases = [closed(f"c{i}", intake(), [("finding-told/B", "plug-worn")], FOUND, WORD) for i in range(6)]
    found = learn(load(), Cases(cases))
    (change,) = [w for w in found.changes if w.name == "finding-told"]
    figure = next(f for f in change.figures if f.key == "plug-worn")
    assert figure.moves and figure.count == 6
    assert figure.proposed == pytest.approx(6 / (6 + change.worth), abs=0.01)
    (section,) = [s for s in sections(load(), changes(found)) if s.line == change.line]
    assert f", plug-worn: {figure.written}}}" in "".join(section.put) and "plug-worn" not in "".join(section.out)


def test_a_prior_is_scaled_by_its_share_in_closed_form(kit: Kit) -> None:
    """By hand: Dirichlet of 20 times the present share, one more for each confirmed; the prior scales with the mean."""
    cases = looks(0, 14) + [
        closed(f"w{i}", intake(), [], [("replace-igniter/B", "igniter-worn/B")], {"replace-igniter/B": "confirmed"})
        for i in range(6)
    ]
    found = learn(load(), Cases(cases))
    told_now = told_belief(kit.model, intake()).zone("channel/B")
    states = kit.fitted.zones["channel/B"].states
    able = for_the_shop(kit.fitted, "channel/B")
    all_of = sum(float(told_now[states.index(s)]) for s in able)
    for mode, count, word in (("lead-chafed", 14, "Lead chafed"), ("igniter-worn", 6, "plug worn")):
        share = float(told_now[states.index(mode)]) / all_of
        one = of(found, "prior", word)
        (figure,) = one.figures
        prior = kit.fitted.zones["channel/B"].modes[mode].prior
        assert figure.count == count and figure.expected == pytest.approx(20 * share, abs=0.01)
        mean = (PRIORS_WORTH * share + count) / (PRIORS_WORTH + 20)
        assert figure.mean == pytest.approx(prior * mean / share, rel=1e-6)
    assert {w.said for w in found.weighed if w.what == "prior" and "Lead chafed" in w.title} == {"change"}


def test_the_priors_of_a_zone_are_written_together(kit: Kit) -> None:
    """By hand: with s the share and r the new one of what stands out, the others go by (1 - r) / (1 - s)."""
    found = learn(load(), Cases(looks(2, 12)))
    priors = [w for w in found.weighed if w.what == "prior"]
    moved, along = [w for w in priors if w.said == "change"], [w for w in priors if w.along]
    assert [w.path[1] for w in moved] == ["igniter-worn", "lead-chafed"] and len(along) + 2 == len(priors) > 20
    assert not any(w.along for w in moved) and all(w in found.changes for w in priors)
    share = sum(f.expected / 14 for w in moved for f in w.figures)
    new = sum(f.expected / 14 * f.proposed / f.present for w in moved for f in w.figures)
    scale = (1 - new) / (1 - share)
    for other in along:
        (own,) = other.figures
        assert own.proposed / own.present == pytest.approx(scale, rel=6e-3) and not own.moves
        assert other.said in ("nothing new", "too little") and "zone that stand out" in why(other)[0]
    assert all(f"{len(along)} others of those are multiplied by {scale:.2f}" in w.notes[-1] for w in moved)
    # Together they are as likely as they were, on what was told in these cases.
    after = sum(f.expected * f.proposed / f.present for w in priors for f in w.figures)
    assert after == pytest.approx(sum(f.expected for w in priors for f in w.figures), rel=2e-3)
    # Nothing moves along where nothing stands out.
    assert not [w for w in learn(load(), Cases(looks(1, 1))).weighed if w.along]


def test_a_zone_with_one_fault_for_the_shop_has_no_shares_to_learn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("isolate.review.learning.for_the_shop", lambda fitted, zone: frozenset({"lead-chafed"}))
    found = learn(load(), Cases(looks(6, 0)))
    assert len(found.cases) == 6 and not [w for w in found.weighed if w.what == "prior"]


def test_it_says_who_named_the_faults_and_what_would_stand_out_by_chance() -> None:
    named_by_it = [
        closed(f"s{i}", intake(), [("lead-route-look/B", "good")], FOUND, {"replace-lead/B": f"confirmed {CHAFED}"})
        for i in range(6)
    ]
    mixed = learn(load(), Cases([*looks(0, 6), *named_by_it]))
    assert mixed.by_shop == 6 and len(mixed.cases) == 12
    assert sum("wrong fault of the right part" in note for note in mixed.notes) == 1
    surely = learn(load(), Cases(named_by_it))
    assert surely.by_shop == 6 and len(surely.notes) == len(mixed.notes) - 1
    rows, priors = (
        sum(w.what == what and w.said != "too little" for w in mixed.weighed) for what in ("likelihood", "prior")
    )
    assert rows and priors and mixed.by_chance == pytest.approx(0.016 * rows + 0.032 * priors, abs=0.006)


def test_what_came_back_and_what_needs_no_part_is_no_count_of_priors() -> None:
    earlier = {"case": "c0", "days": 3.0, "end": "verified, fault found", "complaint": "weak-snap", "channel": "B",
               "told": {}, "evidence": [], "findings": [], "closed": ""}  # fmt: skip
    again = [closed(f"b{i}", intake(earlier=[earlier]), [], FOUND, WORD) for i in range(8)]
    found = learn(load(), Cases(again))
    assert len(found.cases) == 8 and not [w for w in found.weighed if w.what == "prior"]
    fitted = fit(load().knowledge, "halden-hf-3")
    assert "lead-nut-loose" not in for_the_shop(fitted, "channel/B")
    assert "igniter-worn" in for_the_shop(fitted, "channel/B")


def test_a_prior_that_a_profile_has_of_its_own_is_proposed_there() -> None:
    profile = load().knowledge.engines["halden-hf-5"]
    mode = next(m for m in profile.priors if m in for_the_shop(fit(load().knowledge, "halden-hf-5"), "channel/A"))
    kit = Kit(fit(load().knowledge, "halden-hf-5"))
    repair = replaced(kit, "channel/A", mode)
    cases = [
        closed(f"p{i}", told(engine="halden-hf-5", complaint="weak-snap", channel="A"), [],
               [(repair, f"{mode}/A")], {repair: "confirmed"})
        for i in range(30)
    ]  # fmt: skip
    found = learn(load(), Cases(cases))
    prior = next(w for w in found.weighed if w.what == "prior" and w.states[0][0] == mode)
    assert (prior.kind, prior.name, prior.path) == ("engines", "halden-hf-5", ("priors", mode))
    assert prior.file == "knowledge/engines/halden-hf-5.yaml"


def test_the_order_in_which_cases_lie_on_the_shelf_does_not_matter(kit: Kit) -> None:
    cases = drawn(kit, 4, 12, ["lead-route-look", "spark-test"])
    assert learn(load(), Cases(cases)) == learn(load(), Cases(reversed(cases)))


def test_a_row_is_worth_more_where_it_is_none_of_our_judgement() -> None:
    sources = load().knowledge.sources
    ours, not_ours = sources["our-judgement"], sources["ac-43-13-1b"]
    assert worth("fair", [ours, not_ours]) == 20 and worth("good", [ours]) == 40 and worth("low", [ours]) == 10
    assert worth("fair", [not_ours]) == 100


# -- as a difference -------------------------------------------------------------------------------


def test_the_difference_applied_gives_the_figures_proposed(tmp_path: Path, kit: Kit) -> None:
    base = load()
    cases = looks(14, 4) + drawn(kit, 9, 30, ["spark-test", "plug-tip-look"], modes=["igniter-worn", "lead-open"])
    found = learn(base, Cases(cases))
    assert {w.what for w in found.changes} == {"likelihood", "prior"}
    text = patch(sections(base, changes(found)))
    copytree(base.folder, tmp_path / "knowledge")
    (tmp_path / "learnt.patch").write_text(text, encoding="utf-8")
    if which("patch") is None:
        pytest.skip("no patch on this machine")
    subprocess.run(["patch", "-p1", "-i", "learnt.patch"], cwd=tmp_path, check=True, capture_output=True)
    new = load(tmp_path / "knowledge")
    assert new.knowledge.digest != base.knowledge.digest
    assert check(new) == []  # as it is for the shipped one: tests/kb/test_check.py
    for w in found.changes:
        entry: Any = getattr(new.knowledge, w.kind)[w.name].model_dump()
        for step in w.path:
            entry = entry[step]
        if w.what == "prior":
            assert entry == w.figures[0].proposed
        else:
            assert entry == {f.key: f.proposed for f in w.figures if f.written}
            assert sum(entry.values()) == pytest.approx(1, abs=1e-9)


def test_what_is_behind_a_number_is_said_with_it() -> None:
    found = learn(load(), Cases(looks(14, 4)))
    (row,) = [w for w in found.changes if w.what == "likelihood"]
    said = "\n".join(why(row))
    assert "18 answers in 18 cases" in said and "c00, c01" in said and "and 6 more" in said
    assert "The present figures count as 40 cases." in said
    assert "halden-hf-5 and orrin-t-9 as well" in said
    good = next(f for f in row.figures if f.key == "good")
    assert f"{good.present} -> {good.proposed}" in said
    assert named([f"c{i}" for i in range(20)]).endswith("and 8 more")
    assert found.again == "2030-01-20" and found.last == "2030-01-19"
    assert len(found.as_dict()["weighed"]) == len(found.weighed)

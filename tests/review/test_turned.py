"""Whether turning advice down was right: by the shop, by the end of the case, and by what a check would have told.

Source of the figure for a check: Kullback and Leibler (1951), the expected weight of evidence of Good, *Probability and
the Weighing of Evidence* (1950) [published]; averaged over what may be at fault it is the mutual information of
Shannon (1948) [published], computed here with ``scipy.stats.entropy`` [reference library].
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import entropy

from isolate.case.brief import Brief, Named, Turned, brief
from isolate.case.chase import Kit
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Belief, Setting
from isolate.review.turned import Hindsight, expected_bits
from isolate.review.verdicts import Fault, faults
from tests.worked import kit_of, trail


@pytest.fixture(scope="module")
def kit() -> Kit:
    return kit_of()


def judged(kit: Kit, name: str, turned: Turned, **changes: object) -> str:
    events = trail(name)
    short: Brief = replace(brief(events), **changes)  # type: ignore[arg-type]
    return Hindsight(lambda engine: kit, lambda case: events)(short, turned)


def down(kind: str, move: str, seq: int = 9, instead: str = "") -> Turned:
    return Turned(seq, "", kind, move, "", instead)


@pytest.mark.parametrize("check", ["heard-at-start/B", "light-time-told", "plug-tip-look/B"])
def test_the_expected_bits_are_mutual_information_on_average(kit: Kit, check: str) -> None:
    """Over the states of one zone, whatever the others are."""
    belief = Belief.before(kit.model)
    zone = "channel/B"
    states = belief.model.fitted.zones[zone].states
    prior = belief.zone(zone)
    expected = belief.predicted(check)
    given = []
    for state in states:
        mask = belief.model.along(zone, [1.0 if s == state else 0.0 for s in states])
        given.append(belief.weighed(mask).predicted(check))
        if state != HEALTHY:
            told = expected_bits(belief, check, Setting(), [f"{state}/B"])
            assert told == pytest.approx(entropy(given[-1], expected, base=2), abs=1e-9)
    information = entropy(expected, base=2) - sum(p * entropy(g, base=2) for p, g in zip(prior, given, strict=True))
    told = [entropy(given[0], expected, base=2)]
    told += [expected_bits(belief, check, Setting(), [f"{state}/B"]) for state in states[1:]]
    assert states[0] == HEALTHY
    assert float(prior @ np.array(told)) == pytest.approx(information, abs=1e-9)


def test_a_check_that_would_have_found_it_was_wrongly_declined(kit: Kit) -> None:
    """The lead was chafed, the shop says so: following it with a light takes minutes and tells more than a bit."""
    assert judged(kit, "came-back", down("check", "lead-route-look/B")) == "wrong"
    assert judged(kit, "came-back", down("check", "breakers-look/B")) == "right"


def test_a_repair_of_what_was_not_at_fault_was_rightly_declined(kit: Kit) -> None:
    assert judged(kit, "came-back", down("repair", "replace-igniter/B")) == "right"
    assert judged(kit, "came-back", down("repair", "replace-lead/B")) == "wrong"


def test_something_else_instead_is_compared(kit: Kit) -> None:
    look, breakers = "lead-route-look/B", "breakers-look/B"
    assert judged(kit, "came-back", down("check", look, instead=f"check {breakers}")) == "wrong"
    assert judged(kit, "came-back", down("check", breakers, instead=f"check {look}")) == "right"
    assert judged(kit, "came-back", down("check", breakers, instead="repair replace-lead/B")) == "right"
    assert judged(kit, "came-back", down("check", breakers, instead="repair replace-igniter/B")) == "wrong"
    assert judged(kit, "came-back", down("repair", "replace-lead/B", instead=f"check {look}")) == "wrong"
    assert judged(kit, "came-back", down("repair", "replace-igniter/B", instead="repair replace-lead/B")) == "right"


def test_a_repair_done_later_and_found_good_was_rightly_declined_whatever_else(kit: Kit) -> None:
    later = down("repair", "purge-wet-igniter/B", seq=60)
    assert judged(kit, "wet-lead", later) == "right"
    assert judged(kit, "wet-lead", later, named=(Named("purge-wet-igniter/B", "healthy/B", 0.998),)) == "right"


@pytest.mark.parametrize(
    ("name", "turned", "changes"),
    [
        ("taken-back", down("check", "breakers-look/B"), {}),  # open
        ("declined", down("check", "breakers-look/B"), {}),  # the shop found nothing: nobody knows
        ("came-back", down("check", "breakers-look/B"), {"named": (), "repairs": ()}),
        ("came-back", down("check", "breakers-look/B"), {"named": (Named("x", "lead-chafed/B", 0.4),)}),
        ("came-back", down("check", "a-check-of-old/B"), {}),
        ("came-back", down("repair", "a-repair-of-old/B"), {}),
        ("came-back", down("swap", "igniter:A:B"), {}),
        ("came-back", down("end", "defer"), {}),
        # After the repair nothing was at fault any more.
        ("came-back", down("check", "breakers-look/B", seq=100), {}),
    ],
)
def test_what_cannot_be_judged_is_not(kit: Kit, name: str, turned: Turned, changes: dict[str, object]) -> None:
    assert judged(kit, name, turned, **changes) == ""


def test_an_engine_that_is_not_known_here_is_not_judged() -> None:
    def none(engine: str) -> Kit:
        raise KeyError(engine)

    events = trail("came-back")
    assert Hindsight(none, lambda case: events)(brief(events), down("repair", "replace-lead/B")) == ""


def test_only_so_many_are_worked_out_and_the_rest_are_counted(kit: Kit) -> None:
    events = trail("came-back")
    judge = Hindsight(lambda engine: kit, lambda case: events, most=1)
    short = brief(events)
    assert [judge(short, down("check", "breakers-look/B")) for _ in range(3)] == ["right", "", ""]
    assert judge.left == 2
    assert judge(short, down("repair", "replace-lead/B")) == "wrong"


def test_what_was_at_fault() -> None:
    assert faults(brief(trail("came-back"))) == (Fault("lead-chafed/B", 81),)
    assert faults(brief(trail("declined"))) == ()
    assert faults(brief(trail("wet-lead"))) == (Fault("lead-cavity-wet/B", 141),)
    # The shop's word lifts a verdict that is weak by itself.
    weak = replace(brief(trail("came-back")), named=(Named("replace-lead/B", "lead-chafed/B", 0.2),))
    assert faults(weak) == (Fault("lead-chafed/B", 81),)
    passed_on = replace(weak, named=(Named("hand-over-fuel", "fuel-late", 0.8),))
    assert faults(passed_on) == (Fault("fuel-late", float("inf")),)

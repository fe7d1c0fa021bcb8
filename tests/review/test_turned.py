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
from isolate.review.intervals import share
from isolate.review.turned import Hindsight, beside, beyond, expected_bits, taken
from isolate.review.verdicts import Fault, by_the_shop, faults, settled
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


def put(name: str, check: str) -> Turned:
    """Return a check of a kept trail as it was put forward and taken."""
    return next(t for t in taken(trail(name)) if t.move == check)


def test_only_minutes_beyond_the_way_to_the_repair_count(kit: Kit) -> None:
    """Looking into the lead's cavity found the water: 65 min, of which the repair needs 61 for its own way."""
    look = put("wet-lead", "lead-cavity-look/B")
    judge = Hindsight(lambda engine: kit, lambda case: trail("wet-lead"))
    judge(brief(trail("wet-lead")), look)
    then = judge._then(kit, "wet-lead", look.seq, ["replace-lead/B"])
    bits = expected_bits(then.belief, look.move, then.setting, ["lead-cavity-wet/B"])
    assert then.minutes[look.move] == 65 and beyond(kit, then, look.move) == 4
    assert 4 < 20 * bits < 65
    assert judged(kit, "wet-lead", look) == "wrong"
    # Without a repair to come the way is its own, and so is putting it back.
    assert beyond(kit, then._replace(repairs=()), look.move) > 65
    # It is counted from what stands open: with all that it needs open, only its own minutes are left.
    ready = then._replace(opened=then.poser.mask(kit.fitted.checks[look.move].needs), minutes={})
    assert beyond(kit, ready, look.move) == kit.fitted.checks[look.move].minutes == 4


def test_a_bit_of_doubt_is_worth_twenty_minutes(kit: Kit) -> None:
    """Just short of what it is worth, and just beyond it, at that price and at no other."""
    ask = put("came-back", "when-ask")
    events = trail("came-back")
    judge = Hindsight(lambda engine: kit, lambda case: events)
    then = judge._then(kit, "came-back", ask.seq, ["replace-lead/B"])
    worth = 20 * expected_bits(then.belief, ask.move, then.setting, ["lead-chafed/B"])
    assert 4 < worth < 5 == beyond(kit, then, ask.move) and judged(kit, "came-back", ask) == "right"
    dearer = [replace(e, body={**e.body, "now": worth - 0.01}) if e.kind == "offered" else e for e in events]
    assert Hindsight(lambda engine: kit, lambda case: dearer)(brief(events), ask) == "wrong"


def test_what_was_taken_is_judged_by_the_same_measure(kit: Kit) -> None:
    events = trail("came-back")
    judge = Hindsight(lambda engine: kit, lambda case: events)
    short = replace(brief(events), turned=(down("check", "breakers-look/B"),))
    had = judge.taken(short)
    # After the repair nothing is at fault any more.
    before = [t for t in taken(events) if t.seq < 81]
    assert had == tuple((t.kind, judged(kit, "came-back", t)) for t in before)
    assert [verdict for kind, verdict in had if kind == "check"].count("wrong") == 2  # of eight
    assert [kind for kind, _ in had].count("repair") == 1 and had[-1] == ("repair", "wrong")
    assert beside(share(6, 8)).startswith("of those taken in these cases, by the same measure 6 of 8")
    assert beside(share(0, 0)) == ""


def test_of_what_was_taken_there_are_only_so_many_and_only_where_something_was_turned_down(kit: Kit) -> None:
    events = trail("came-back")
    judge = Hindsight(lambda engine: kit, lambda case: events, most_taken=3)
    short = brief(events)
    assert judge.taken(short) == ()
    something = replace(short, turned=(down("check", "breakers-look/B"),))
    assert judge.taken(replace(something, closed="")) == judge.taken(replace(something, named=(), repairs=())) == ()
    assert [kind for kind, _ in judge.taken(something)] == ["check"] * 3 + ["repair"]
    assert judge.taken(something) == () and judge.left == 0


def test_what_was_taken_back_is_not_among_what_was_taken() -> None:
    events = trail("came-back")
    had = list(taken(events))
    assert {t.kind for t in had} == {"check", "repair"}
    back = replace(events[-1], kind="corrected", body={"seq": had[0].seq, "reason": "misread"})
    assert list(taken([*events, back])) == had[1:]


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


def test_the_fault_that_the_shop_named_goes_before_what_the_end_names() -> None:
    short = brief(trail("came-back"))
    (item,) = short.repairs
    named = replace(item, mode="lead-open/B")
    told = replace(short, repairs=(named,), named=(Named("replace-lead/B", "lead-chafed/B", 0.97),))
    assert faults(told) == (Fault("lead-open/B", 81),)
    assert settled(told) == (Named("replace-lead/B", "lead-open/B", 1.0),)
    # Whatever the end said of that part; what it says of another channel stands, as does what went to others.
    good = Named("replace-lead/B", "healthy/B", 0.9)
    other, away = Named("replace-lead/B", "lead-chafed/A", 0.9), Named("hand-over-fuel", "fuel-late", 0.8)
    assert faults(replace(told, named=(good,))) == (Fault("lead-open/B", 81),)
    assert settled(replace(told, named=(good, other, away)))[1:] == (other, away)
    # Not where the shop confirmed nothing, or has said two things.
    for item in (replace(named, finding="not-confirmed"), replace(named, disputed=True)):
        assert by_the_shop(item, told.named) == told.named

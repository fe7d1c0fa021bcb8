"""Testability figures where checks are noisy, faults come and go, and access costs minutes.

The standards' own figures, for a matrix of noughts and ones, are checked in tests/published/test_testability.py.
"""

from __future__ import annotations

from math import isnan, log2
from typing import TYPE_CHECKING

import numpy as np
import pytest

from isolate.kb.figures import LEAST, Figures, Pair, figures_of, isolation
from isolate.kb.fit import Fitted, UnknownName, fit
from isolate.kb.load import load
from isolate.kb.model import Knowledge
from isolate.reasoning.belief import Model

if TYPE_CHECKING:
    from conftest import Base

CHECKS, ACCESS, ENGINE = "checks/all.yaml", "access/all.yaml", "engines/halden-hf-3.yaml"


def fitted(base: Base) -> Fitted:
    return fit(load(base.folder).knowledge, "halden-hf-3")


def pair(found: Figures, one: str, other: str) -> Pair:
    return next(p for p in found.hardest if {p.one, p.other} == {one, other})


# -- groups -------------------------------------------------------------------------------------------


def told(n: int, *beside: tuple[int, int]) -> np.ndarray:
    """All of n faults told from each other, but for these (truth, what stays beside it)."""
    table = np.ones((n, n), dtype=bool)
    for i, j in beside:
        table[i, j] = False
    return table


def test_a_chain_is_one_group_when_linked_and_three_when_not() -> None:
    chain = told(3, (0, 1), (1, 0), (1, 2), (2, 1))
    everything, even = np.ones(3, dtype=bool), np.ones(3)
    # The middle one stays beside both of the others, these beside it alone: groups of 2, 3 and 2.
    own = isolation(chain, everything, even)
    assert own.share == pytest.approx((0, 2 / 3, 1))
    assert own.mean_by_rate == pytest.approx(7 / 3)
    assert own.mean == pytest.approx(3 / (1 / 2 + 1 / 3 + 1 / 2))
    linked = isolation(chain, everything, even, groups="linked")
    assert linked.share == (0, 0, 1)
    assert linked.mean == linked.mean_by_rate == linked.largest == 3


def test_what_is_told_one_way_need_not_be_told_the_other() -> None:
    # With 0 the truth 1 stays beside it; with 1 the truth 0 is ruled out.
    one_way = told(2, (0, 1))
    assert isolation(one_way, np.ones(2, dtype=bool), np.ones(2)).share[0] == 0.5
    assert isolation(one_way, np.ones(2, dtype=bool), np.ones(2), groups="linked").share[0] == 0


def test_what_is_not_detected_is_no_fault_isolated_but_may_stay_beside_one() -> None:
    found = isolation(told(3, (0, 1)), np.array([True, False, True]), np.array([1.0, 50.0, 3.0]))
    assert found.share == (0.5, 1, 1)
    assert found.by_rate == (0.75, 1, 1)


def test_nothing_detected_leaves_nothing_to_isolate() -> None:
    found = isolation(told(2), np.zeros(2, dtype=bool), np.ones(2))
    assert all(isnan(x) for x in (*found.share, *found.by_rate, found.mean, found.mean_by_rate))
    assert found.largest == 0


@pytest.mark.parametrize(
    ("cleared", "units"),
    [
        ([{"x"}, {"x"}, {"x"}, {"x"}], 1),
        ([{"x"}, {"x"}, {"y"}, set()], 3),
        ([{"a"}, {"b"}, {"c"}, {"d"}], 4),
        ([set(), set(), set(), set()], 4),
        # Taking what clears most first, a, would need all three; the other two do by themselves.
        ([{"a", "b"}, {"a", "b"}, {"b"}, {"a", "c"}, {"a", "c"}, {"c"}], 2),
    ],
)
def test_a_group_counts_the_fewest_repairs_that_clear_all_of_it(cleared: list[set[str]], units: int) -> None:
    n = len(cleared)
    found = isolation(np.zeros((n, n), dtype=bool), np.ones(n, dtype=bool), np.ones(n), cleared=cleared)
    assert found.mean == found.largest == units


# -- what checks give ----------------------------------------------------------------------------------


@pytest.mark.parametrize("condition", ["steady", "wet"])
def test_the_shipped_engine_by_the_joint_tables_of_belief(hf3: Fitted, condition: str) -> None:
    # Belief is checked against pyAgrum in tests/published/test_posterior.py; here its tables over the joint stand in
    # for our own, fault by fault.
    model = Model(hf3)
    shape = model.shape
    states = [(0,) * len(shape)]
    names, rates, cleared = [], [], []
    for axis, key in enumerate(model.zones):
        zone = hf3.zones[key]
        for state in range(1, shape[axis]):
            states.append(tuple(state if a == axis else 0 for a in range(len(shape))))
            names.append((key, zone.states[state]))
            rates.append(zone.prior[state])
            cleared.append({r.key for r in hf3.repairs.values() if zone.states[state] in r.clears.get(key, ())})
    bits = np.zeros((len(states), len(states)))
    for key in hf3.checks:
        table = model.likelihood(key, condition)  # type: ignore[arg-type]
        # An axis that the check does not look along has length 1.
        at = [tuple(min(i, n - 1) for i, n in zip(state, table.shape[1:], strict=True)) for state in states]
        answers = [table[(slice(None), *index)] for index in at]
        logs = np.log2(answers)
        for i, answer in enumerate(answers):
            bits[i] += ((logs[i] - logs) * answer).sum(axis=1)
    found = figures_of(hf3, condition=condition, hardest=400)  # type: ignore[arg-type]
    assert (found.faults, found.checks) == (len(names), len(hf3.checks))
    clear = bits[1:, 0] >= LEAST
    assert found.detected == pytest.approx(clear.mean())
    assert len(found.undetected) == int((~clear).sum())
    faults = range(1, len(states))
    sizes = np.array([1 + sum(bits[i, j] < LEAST for j in faults if j != i) for i in faults])
    weight = np.array(rates)[clear]
    for n, share, by_rate in zip((1, 2, 3), found.to_fault.share, found.to_fault.by_rate, strict=True):
        assert share == pytest.approx((sizes[clear] <= n).mean())
        assert by_rate == pytest.approx(weight[sizes[clear] <= n].sum() / weight.sum())
    assert found.to_fault.mean_by_rate == pytest.approx((weight * sizes[clear]).sum() / weight.sum())
    index = {f"{s}/{k.partition('/')[2]}".rstrip("/"): i for i, (k, s) in enumerate(names, start=1)}
    apart = [
        (min(bits[i, j], bits[j, i]), i, j)
        for i in faults
        for j in range(i + 1, len(states))
        if not cleared[i - 1] & cleared[j - 1]
    ]
    assert found.pairs == len(apart)
    assert found.untold == sum(b < LEAST for b, _, _ in apart)
    assert found.hardest[0].bits == pytest.approx(min(apart)[0], abs=1e-6)
    assert [p.bits for p in found.hardest] == sorted(p.bits for p in found.hardest)
    for p in found.hardest:
        i, j = index[p.one], index[p.other]
        assert p.bits == pytest.approx(min(bits[i, j], bits[j, i]), abs=1e-6)
        assert 0 <= p.best_bits <= p.bits + 1e-6
        assert not cleared[i - 1] & cleared[j - 1]
        # What is told apart has checks that do it, what is not has none.
        assert bool(p.checks) == (p.minutes is not None) == (p.bits >= LEAST - 1e-6)


def kl(given_i: list[float], given_j: list[float]) -> float:
    return sum(a * log2(a / b) for a, b in zip(given_i, given_j, strict=True))


def test_a_functional_check_sees_a_fault_only_while_it_shows(base: Base) -> None:
    # By hand: what lead-loose answers is mixed with what healthy does, by the share of the time it shows, in the spark
    # test but not in what hands feel. The other channel's checks say nothing of it, but for the floor of likelihoods.
    found = {c: figures_of(fitted(base), condition=c) for c in ("steady", "vibrating")}  # type: ignore[arg-type]
    healthy, loose, worn = [0.97, 0.02, 0.01], [0.1, 0.1, 0.8], [0.2, 0.7, 0.1]
    for condition, active in (("steady", 0.5), ("vibrating", 0.9)):
        shown = [active * a + (1 - active) * b for a, b in zip(loose, healthy, strict=True)]
        spark = min(kl(shown, worn), kl(worn, shown))
        p = pair(found[condition], "igniter-worn/A", "lead-loose/A")
        # nut-feel: worn answers as healthy does.
        both = min(kl(shown, worn) + kl([0.05, 0.95], [0.98, 0.02]), kl(worn, shown) + kl([0.98, 0.02], [0.05, 0.95]))
        assert p.bits == pytest.approx(both, abs=5e-3)
        assert p.best_bits == pytest.approx(max(spark, kl([0.98, 0.02], [0.05, 0.95])), abs=5e-3)
        assert p.best == "nut-feel/A"


def test_the_threshold_is_the_callers(base: Base) -> None:
    # lead-loose/A shows against healthy by its nut with kl = 5.1 bits and in the spark test with less than that.
    alone = figures_of(fitted(base), evidence="one", least=5.0)
    assert "lead-loose/A" not in alone.undetected
    assert "lead-loose/A" in figures_of(fitted(base), evidence="one", least=5.2).undetected
    assert "lead-loose/A" not in figures_of(fitted(base), least=5.2).undetected
    with pytest.raises(ValueError, match="more than 0 bits"):
        figures_of(fitted(base), least=0)


def test_only_checks_that_can_be_done_there_count(base: Base) -> None:
    assert figures_of(fitted(base), place="gate").checks == 5
    base.swap(CHECKS, "title: Feel the lead nut of channel {channel}", "place: [hangar]\n    title: Feel the nut")
    at_gate = figures_of(fitted(base), place="gate")
    assert at_gate.checks == 3
    assert figures_of(fitted(base), place="hangar").checks == 5
    # Without it nothing tells the two surely enough.
    assert pair(at_gate, "igniter-worn/A", "lead-loose/A").checks == ()


def test_a_check_behind_access_for_the_hangar_is_none_for_the_gate(base: Base) -> None:
    base.swap(ACCESS, "title: Fan cowls", "place: [hangar]\n    title: Fan cowls")
    assert figures_of(fitted(base), place="gate").checks == 3


def test_no_checks_detect_nothing(base: Base) -> None:
    knowledge = load(base.folder).knowledge
    found = figures_of(fit(knowledge.model_copy(update={"checks": {}, "complaints": {}}), "halden-hf-3"))
    assert (found.checks, found.detected, found.detected_by_rate) == (0, 0, 0)
    assert len(found.undetected) == found.faults == 5
    assert isnan(found.to_fault.share[0])
    assert found.untold == found.pairs == 10
    assert all(p.best == "" and p.checks == () and p.minutes is None for p in found.hardest)


# -- minutes -------------------------------------------------------------------------------------------


def test_telling_apart_costs_its_checks_with_their_access(base: Base) -> None:
    # Notices 2 + 1, cowls 7 (the profile's) + 10, the nut 3 (the profile's). The spark test alone is quicker, 3 + 6,
    # but does not tell enough.
    p = pair(figures_of(fitted(base)), "igniter-worn/A", "lead-loose/A")
    assert p.checks == ("nut-feel/A",)
    assert p.minutes == 3 + 17 + 3


def test_access_is_paid_once_and_its_waits_with_it(base: Base) -> None:
    # Both have to be done when twice the nut's evidence is asked for: 12 bits take the nut, 5.1 and 4.1, twice; so the
    # spark test joins, behind the same notices.
    found = figures_of(fitted(base), condition="vibrating", least=5.0)
    p = pair(found, "igniter-worn/A", "lead-loose/A")
    assert p.checks == ("nut-feel/A", "spark-test/A")
    assert p.minutes == 3 + 17 + 3 + 6
    base.swap(ACCESS, "minutes: 8, cautions", "minutes: 8, wait: {steady: 0, vibrating: 12}, cautions")
    later = figures_of(fitted(base), condition="vibrating", least=5.0)
    assert pair(later, "igniter-worn/A", "lead-loose/A").minutes == 3 + 17 + 12 + 3 + 6


def test_what_only_ends_is_not_put_back(base: Base) -> None:
    base.swap(ACCESS, "title: Fan cowls", "lasting: false\n    title: Fan cowls")
    assert pair(figures_of(fitted(base)), "igniter-worn/A", "lead-loose/A").minutes == 3 + 7 + 3


def test_a_wrong_repair_costs_itself_its_access_and_the_verification(base: Base) -> None:
    found = figures_of(fitted(base), complaint="one-channel-silent")
    p = pair(found, "igniter-worn/A", "lead-loose/A")
    # Verified by the spark test of each channel, 12. The igniter: notices 3, cowls 17, lead off 4 and 5 of waiting and
    # 5 to put back, 15 of work. The nut: notices 3, cowls 17, 5 of work.
    wrong = {p.one: p.wrong[0], p.other: p.wrong[1]}
    assert wrong == {"igniter-worn/A": 3 + 17 + 14 + 15 + 12, "lead-loose/A": 3 + 17 + 5 + 12}
    # Fuel is handed over: no repair of it can be wrong.
    p = pair(found, "lead-loose/A", "no-fuel")
    assert p.wrong[(p.one, p.other).index("no-fuel")] is None
    with pytest.raises(UnknownName, match="one-channel-silent"):
        figures_of(fitted(base), complaint="one-channel-silnt")


def two_faults(checks: dict[str, tuple[float, float, float]]) -> Pair:
    """The pair of a profile with faults a and b: check → (minutes, chance that it answers yes to a, and to b)."""
    known = Knowledge.model_validate(
        {
            "sources": {"us": {"title": "us", "kind": "judgement"}},
            "zones": {
                "unit": {
                    **{"title": "unit", "source": ["us"]},
                    "modes": {
                        m: {"title": m, "part": "unit", "prior": 0.1, "lights": 0, "tells": m, "source": ["us"]}
                        for m in "ab"
                    },
                }
            },
            "checks": {
                name: {
                    **{"title": "c", "purpose": "c", "kind": "measurement", "minutes": minutes, "source": ["us"]},
                    "outcomes": {word: {"title": word, "means": word} for word in ("yes", "no")},
                    "given": {
                        "unit": [
                            {"modes": ["healthy", "a"], "gives": {"yes": a, "no": 1 - a}},
                            {"modes": ["b"], "gives": {"yes": b, "no": 1 - b}},
                        ]
                    },
                }
                for name, (minutes, a, b) in checks.items()
            },
            "engines": {
                "e": {
                    **{"title": "e", "channels": ["A"], "selection": "both", "zones": ["unit"], "source": ["us"]},
                    "weights": {"gate": {"hand_over": 1, "escalate": 1, "missed": 1}},
                }
            },
        }
    )
    return figures_of(fit(known, "e")).hardest[0]


def test_of_sets_that_tell_enough_the_quickest_is_taken() -> None:
    # Any two of these give 2 * 0.7 * log2(0.85 / 0.15) = 3.5 bits of the 3.32 wanted.
    found = two_faults({"c1": (1, 0.85, 0.15), "c2": (1.25, 0.85, 0.15), "c3": (1.5, 0.85, 0.15)})
    assert (found.checks, found.minutes) == (("c1", "c2"), 2.25)
    # One that gives it all, 0.98 * log2(0.99 / 0.01) = 6.5 bits, is quicker than two that do, or it is not.
    found = two_faults({"c1": (1, 0.85, 0.15), "c2": (1.25, 0.85, 0.15), "c3": (2, 0.99, 0.01)})
    assert (found.checks, found.minutes) == (("c3",), 2)
    found = two_faults({"c1": (1, 0.85, 0.15), "c2": (1.25, 0.85, 0.15), "c3": (3, 0.99, 0.01)})
    assert (found.checks, found.minutes) == (("c1", "c2"), 2.25)


def test_where_three_checks_do_not_tell_enough_more_are_added() -> None:
    each = min(kl([0.9, 0.1], [0.45, 0.55]), kl([0.45, 0.55], [0.9, 0.1]))
    needed = int(LEAST / each) + 1
    assert 3 < needed < 8
    # They all give the same, so the quickest are taken.
    found = two_faults({f"c{i}": (i, 0.9, 0.45) for i in range(1, 9)})
    assert found.checks == tuple(f"c{i}" for i in range(1, needed + 1))
    assert found.minutes == sum(range(1, needed + 1))


def test_pairs_that_differ_by_the_channel_alone_are_listed_once(base: Base) -> None:
    found = figures_of(fitted(base))
    # Worn and loose on one channel (2) or across (2), worn on both, loose on both, either with no fuel (2 and 2).
    assert sorted(p.mirrored for p in found.hardest) == [0, 0, 1, 1, 1, 1]
    assert sum(1 + p.mirrored for p in found.hardest) == found.pairs == 10
    assert len(figures_of(fitted(base), hardest=2).hardest) == 2


# -- entries -------------------------------------------------------------------------------------------


def test_entries_are_counted_by_kind_and_by_class_of_source(base: Base) -> None:
    counts = {c.kind: c for c in figures_of(fitted(base)).entries}
    # From the files of conftest: of three checks two cite practice, one our judgement.
    assert (counts["checks"].entries, counts["checks"].citing["practice"], counts["checks"].judged) == (3, 2, 1)
    assert (counts["modes"].entries, counts["modes"].citing["judgement"], counts["modes"].judged) == (3, 2, 2)
    assert (counts["access"].entries, counts["access"].judged) == (3, 0)
    assert counts["sources"].entries == 2
    base.swap(CHECKS, "title: Look up the fuel flow", "only: {inserts: false}\n    title: Look up the fuel flow")
    assert {c.kind: c for c in figures_of(fitted(base)).entries}["checks"].entries == 2


def test_an_entry_that_cites_two_classes_counts_in_both(base: Base) -> None:
    base.swap(CHECKS, "needs: [cowls-open]\n    source: [shop-practice]", "source: [shop-practice, weighed]")
    checks = next(c for c in figures_of(fitted(base)).entries if c.kind == "checks")
    assert (checks.citing["practice"], checks.citing["judgement"], checks.judged) == (2, 2, 1)

"""When nothing known explains the answers: every figure worked out a second way, by listing all that could be.

Sources: Jensen's measure of conflict, log P(e1)...P(en) / P(e1, ..., en) (Jensen and Nielsen, Bayesian Networks and
Decision Graphs) [memory]; the prior predictive tail probability (Box, Sampling and Bayes' inference in scientific
modelling and robustness, 1980) [memory]; mutual information, entropy and the binary symmetric channel (Shannon 1948;
Cover and Thomas, Elements of Information Theory) [memory]. The networks are made up here.
"""

from __future__ import annotations

import random
from itertools import product
from math import isclose, log, log2, sqrt

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.case.unfound import information
from isolate.reasoning import surprise
from isolate.reasoning.belief import Belief, Told
from isolate.reasoning.surprise import Asked, Asking

Tables = list[list[list[float]]]
"""For each check, for each outcome, for each state: its probability."""


def tiny(seed: int, outcomes: tuple[int, ...] = (2, 3, 2, 2), states: int = 4) -> tuple[list[float], Tables]:
    """Return a made-up network: one cause of four states, and as many signs of it as there are outcomes."""
    rng = random.Random(seed)
    weights = [rng.random() ** 2 + 0.02 for _ in range(states)]
    weights = [w / sum(weights) for w in weights]
    tables: Tables = []
    for count in outcomes:
        columns = []
        for _ in range(states):
            column = [rng.random() ** 3 + 0.01 for _ in range(count)]
            columns.append([c / sum(column) for c in column])
        tables.append([[column[k] for column in columns] for k in range(count)])
    return weights, tables


def asking(weights: list[float], tables: Tables, seen: tuple[int, ...]) -> Asking:
    return Asking(
        np.array(weights),
        tuple(
            Asked((Told(f"check-{i}", str(k)),), np.array(table), k)
            for i, (table, k) in enumerate(zip(tables, seen, strict=True))
        ),
    )


def listed(weights: list[float], tables: Tables) -> dict[tuple[int, ...], tuple[float, float]]:
    """Return every vector of answers with its probability and its excess in nats, in plain loops."""
    found = {}
    for vector in product(*(range(len(table)) for table in tables)):
        given = []
        for s in range(len(weights)):
            p = 1.0
            for table, k in zip(tables, vector, strict=True):
                p *= table[k][s]
            given.append(p)
        total = sum(w * p for w, p in zip(weights, given, strict=True))
        over = 0.0
        for s, (w, p) in enumerate(zip(weights, given, strict=True)):
            entropy = -sum(table[k][s] * log(table[k][s]) for table in tables for k in range(len(table)))
            over += w * p / total * (-log(p) - entropy)
        found[vector] = total, over
    return found


@pytest.mark.parametrize("seed", range(4))
def test_the_tail_is_that_of_all_answers_listed(seed: int) -> None:
    weights, tables = tiny(seed)
    every = listed(weights, tables)
    assert isclose(sum(p for p, _ in every.values()), 1.0)
    draws = 4000
    for number, (vector, (_, over)) in enumerate(sorted(every.items(), key=lambda item: -item[1][1])[::5]):
        exact = sum(p for p, other in every.values() if other >= over - 1e-9)
        asked = asking(weights, tables, vector)
        assert surprise.excess(asked, asked.seen)[0][0] == pytest.approx(over, abs=1e-9)
        assert surprise.listed(asked) == pytest.approx(exact, abs=1e-9)
        # Half of the draws are of the model itself, so no weight is above two.
        error = sqrt(2 * exact / draws)
        assert surprise.tail(asked, draws, seed=number) == pytest.approx(exact, abs=4 * error + 1e-6)


@pytest.mark.parametrize("level", [0.005, 0.05, 0.3])
def test_a_false_alarm_is_as_rare_as_is_said(level: float) -> None:
    weights, tables = tiny(9, outcomes=(3, 3, 2, 2, 2))
    every = listed(weights, tables)
    alarms = 0.0
    for p, over in every.values():
        tail = sum(q for q, other in every.values() if other >= over - 1e-9)
        alarms += p if tail < level else 0.0
    assert 0 <= alarms < level
    # And near to it: the list is long enough for some alarm at the larger levels.
    assert alarms > level / 3 or level < 0.05


def test_the_pair_that_clashes_most_is_jensens() -> None:
    # A fire and two detectors, each right nine times in ten, false once in a hundred; a third that is a coin.
    weights = [0.05, 0.95]
    right = [[0.9, 0.01], [0.1, 0.99]]
    coin = [[0.5, 0.5], [0.5, 0.5]]
    tables = [right, right, coin]
    seen = (0, 1, 0)
    marginal = [sum(w * table[k][s] for s, w in enumerate(weights)) for table, k in zip(tables, seen, strict=True)]
    both = sum(w * tables[0][0][s] * tables[1][1][s] for s, w in enumerate(weights))
    jensen = log2(marginal[0] * marginal[1] / both)
    assert jensen > 1
    rows = [np.array(table[k]) for table, k in zip(tables, seen, strict=True)]
    assert surprise._against(np.array(weights), rows[0], rows[1]) == pytest.approx(jensen, abs=1e-12)
    assert surprise._against(np.array(weights), rows[0], rows[2]) == pytest.approx(0.0, abs=1e-12)
    named = [told.check for told in surprise.clashing(asking(weights, tables, seen))]
    # That one says fire is rarer than that one misses it, so it is the first.
    assert named == ["check-0", "check-1"]


def test_what_was_asked_is_as_probable_as_the_belief_says(kit: Kit) -> None:
    # Two answers on one occasion look at channel A, so that its switch is thrown; one check is asked twice.
    begun = Belief.before(kit.model).answer("spark-test/B", "silent", occasion=-1)
    belief = begun
    for check, outcome, occasion in [
        ("spark-test/A", "silent", 0), ("feeder-volts/A", "present", 0), ("spark-test/A", "snaps", 0),
        ("spark-test/A", "snaps", 1), ("lead-continuity/A", "open", 1),
    ]:  # fmt: skip
        belief = belief.answer(check, outcome, "hot", 1.0, occasion)
    told = belief.told[1:]
    asked = surprise.asked(belief, told, most=40_000)
    assert sorted(len(one.told) for one in asked.asked) == [1, 1, 1, 2]
    for one in asked.asked:
        assert np.allclose(one.table.sum(axis=0), 1.0)
    together = float((asked.weights * np.prod([one.table[one.seen] for one in asked.asked], axis=0)).sum())
    assert log(together) == pytest.approx(belief.log_evidence - begun.log_evidence, abs=0.02)


def test_the_states_looked_at_are_few_and_hold_nearly_all(kit: Kit) -> None:
    belief = Belief.before(kit.model).answer("spark-test/A", "silent").answer("plug-tip-look/A", "worn")
    few, many = (surprise.asked(belief, belief.told, most=most) for most in (400, 20_000))
    assert len(few.weights) <= 800 < len(many.weights)
    assert float(few.weights @ few.asked[0].table[few.asked[0].seen]) == pytest.approx(
        float(many.weights @ many.asked[0].table[many.asked[0].seen]), rel=0.05
    )


def test_information_is_what_listing_every_outcome_and_state_gives() -> None:
    rng = np.random.default_rng(5)
    joint = rng.random((3, 4, 2))
    joint /= joint.sum()
    # The check looks at the first and the last of three zones.
    table = rng.random((3, 3, 1, 2)) + 0.01
    table /= table.sum(axis=0)
    bits = 0.0
    for k, a, b, c in product(range(3), range(3), range(4), range(2)):
        chance = sum(table[k, x, 0, z] * joint[x, y, z] for x, y, z in product(range(3), range(4), range(2)))
        bits += joint[a, b, c] * table[k, a, 0, c] * log2(table[k, a, 0, c] / chance)
    assert information(table, joint) == pytest.approx(bits, abs=1e-12)


def test_information_of_a_binary_symmetric_channel_is_its_capacity() -> None:
    # Cover and Thomas: 1 - h(p) bits for equal inputs; a useless channel has none, a perfect one has one.
    for p in (0.11, 0.25, 0.5):
        table = np.array([[1 - p, p], [p, 1 - p]])
        capacity = 1 + p * log2(p) + (1 - p) * log2(1 - p)
        assert information(table, np.array([0.5, 0.5])) == pytest.approx(capacity, abs=1e-12)
    assert information(np.eye(2), np.array([0.5, 0.5])) == pytest.approx(1.0)

"""Testability figures against their definitions, worked by hand.

Definitions: MIL-STD-2165 (now MIL-HDBK-2165), appendix on testability measures, and IEEE Std 1522 [memory]: the
fraction of faults detected is the failure rate of what the tests detect over that of all faults; the fraction isolated
to n is, *of the detected*, what lies in ambiguity groups of at most n; an ambiguity group is the faults that all tests
together leave undistinguished, which for a matrix of noughts and ones are the faults with the same row.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from isolate.kb.figures import Figures, Groups, figures_of
from isolate.kb.fit import fit
from isolate.kb.model import Knowledge

EVERY_WAY = pytest.mark.parametrize(("groups", "evidence"), [("own", "all"), ("linked", "all"), ("own", "one")])
"""A crisp matrix leaves no choice in what an ambiguity group is and whose evidence counts."""


def knowledge(rows: Sequence[str], rates: Sequence[float], repairs: Mapping[str, Sequence[int]]) -> Knowledge:
    """State a dependency matrix as knowledge: row i is fault ``f{i + 1}``, a 1 in column k fails check ``t{k + 1}``.

    ``rates``: failure rates, in any unit; ``repairs``: the faults (from 1) that each clears.
    """
    modes = {
        f"f{i}": {
            **{"title": f"fault {i}", "part": "unit", "prior": 1e-4 * rate, "lights": 0.0},
            **{"tells": "Its row.", "source": ["matrix"]},
        }
        for i, rate in enumerate(rates, start=1)
    }
    checks: dict[str, Any] = {}
    for k in range(len(rows[0])):
        failing = [f"f{i}" for i, row in enumerate(rows, start=1) if row[k] == "1"]
        given_rows: list[dict[str, Any]] = [{"modes": ["healthy"], "gives": {"passes": 1.0}}]
        if failing:
            given_rows.append({"modes": failing, "gives": {"fails": 1.0}})
        checks[f"t{k + 1}"] = {
            **{"title": f"test {k + 1}", "purpose": "A column.", "kind": "measurement", "minutes": 1},
            "outcomes": {word: {"title": word, "means": word} for word in ("passes", "fails")},
            **{"given": {"unit": given_rows}, "source": ["matrix"]},
        }
    return Knowledge.model_validate(
        {
            "sources": {"matrix": {"title": "A matrix", "kind": "judgement"}},
            "zones": {"unit": {"title": "the unit", "source": ["matrix"], "modes": modes}},
            "checks": checks,
            "repairs": {
                name: {
                    **{"title": name, "minutes": 1, "success": 0.9, "record": "Done.", "source": ["matrix"]},
                    "clears": {"unit": [f"f{i}" for i in faults]},
                }
                for name, faults in repairs.items()
            },
            "engines": {
                "matrix": {
                    **{"title": "A matrix", "channels": ["A"], "selection": "by-hand", "zones": ["unit"]},
                    "weights": {"hangar": {"hand_over": 1, "escalate": 1, "missed": 1}},
                    "source": ["matrix"],
                }
            },
        }
    )


def measured(
    rows: Sequence[str], rates: Sequence[float], repairs: Mapping[str, Sequence[int]] | None = None, **options: Any
) -> Figures:
    return figures_of(fit(knowledge(rows, rates, repairs or {}), "matrix"), **options)


@EVERY_WAY
def test_a_matrix_worked_by_hand(groups: Groups, evidence: Any) -> None:
    #      t1 t2 t3   rate
    # f1    1  0  0    40    alone
    # f2    0  1  1    20  } the same row
    # f3    0  1  1    10  }
    # f4    0  0  1     8  }
    # f5    0  0  1     7  } the same row
    # f6    0  0  1     5  }
    # f7    0  0  0    10    no test fails: not detected
    # Detected are six of seven faults, with a rate of 90 of 100.
    # Groups: {f1}, {f2 f3}, {f4 f5 f6}, of rate 40, 30 and 20.
    rows = ["100", "011", "011", "001", "001", "001", "000"]
    rates = [40, 20, 10, 8, 7, 5, 10]
    # Units: u1 holds f1, u2 holds f2 and f3, u3 holds f4 and f5, u4 holds f6, u5 holds f7. The groups hold 1, 1 and 2.
    units = {"u1": [1], "u2": [2, 3], "u3": [4, 5], "u4": [6], "u5": [7]}
    found = measured(rows, rates, units, groups=groups, evidence=evidence)

    assert found.detected == pytest.approx(6 / 7)
    assert found.detected_by_rate == pytest.approx(90 / 100)
    assert found.undetected == ("f7",)
    assert found.to_fault.sizes == (1, 2, 3)
    assert found.to_fault.share == pytest.approx((1 / 6, 3 / 6, 6 / 6))
    assert found.to_fault.by_rate == pytest.approx((40 / 90, 70 / 90, 90 / 90))
    assert found.to_fault.mean == pytest.approx((1 + 2 + 3) / 3)
    assert found.to_fault.mean_by_rate == pytest.approx((40 * 1 + 30 * 2 + 20 * 3) / 90)
    assert found.to_fault.largest == 3
    assert found.to_repair.share == pytest.approx((3 / 6, 6 / 6, 6 / 6))
    assert found.to_repair.by_rate == pytest.approx((70 / 90, 90 / 90, 90 / 90))
    assert found.to_repair.mean == pytest.approx((1 + 1 + 2) / 3)
    assert found.to_repair.mean_by_rate == pytest.approx((40 * 1 + 30 * 1 + 20 * 2) / 90)
    assert found.to_repair.largest == 2


def test_faults_that_no_test_tells_apart_are_named_as_such() -> None:
    # As above: of the pairs that no unit holds both of, f4-f6 and f5-f6 have the same row, and no other.
    rows = ["100", "011", "011", "001", "001", "001", "000"]
    units = {"u1": [1], "u2": [2, 3], "u3": [4, 5], "u4": [6], "u5": [7]}
    found = measured(rows, [40, 20, 10, 8, 7, 5, 10], units)
    assert found.pairs == 7 * 6 / 2 - 2
    assert found.untold == 2
    assert [(p.one, p.other, p.bits, p.checks, p.minutes) for p in found.hardest[:2]] == [
        ("f4", "f6", 0.0, (), None),
        ("f5", "f6", 0.0, (), None),
    ]
    # f1 differs from f7 by t1 alone, and needs no more than that.
    told = next(p for p in found.hardest if (p.one, p.other) == ("f1", "f7"))
    assert told.checks == ("t1",) and told.minutes == 1


@EVERY_WAY
def test_the_published_matrix_by_all_its_tests_and_by_two(groups: Groups, evidence: Any) -> None:
    # Pattipati & Alexandridis, "Application of heuristic search and information theory to sequential fault diagnosis",
    # IEEE Trans. SMC 20(4), 1990, worked example [memory]: faults s1 to s5, of probability .01 .02 .10 .05 .12.
    rows = ["01001", "00110", "10011", "11000", "11110"]
    rates = [1, 2, 10, 5, 12]
    # All five rows differ and none is empty: everything is detected and isolated to one.
    found = measured(rows, rates, groups=groups, evidence=evidence)
    assert (found.detected, found.detected_by_rate) == (1.0, 1.0)
    assert (found.to_fault.share[0], found.to_fault.by_rate[0], found.to_fault.mean) == (1.0, 1.0, 1.0)
    # By its first two tests alone the rows are 01, 00, 10, 11, 11: s2 goes undetected, s4 and s5 are one group.
    found = measured([row[:2] for row in rows], rates, groups=groups, evidence=evidence)
    assert found.detected == pytest.approx(4 / 5)
    assert found.detected_by_rate == pytest.approx(28 / 30)
    assert found.to_fault.share == pytest.approx((2 / 4, 1.0, 1.0))
    assert found.to_fault.by_rate == pytest.approx((11 / 28, 1.0, 1.0))
    assert found.to_fault.mean == pytest.approx(4 / 3)
    assert found.to_fault.mean_by_rate == pytest.approx((1 * 1 + 10 * 1 + 17 * 2) / 28)


@pytest.mark.parametrize("seed", range(30))
def test_any_matrix_by_its_rows(seed: int) -> None:
    # The definitions above, by collecting equal rows.
    chance = random.Random(seed)
    columns = chance.randint(1, 4)
    rows = ["".join(chance.choices("01", k=columns)) for _ in range(chance.randint(1, 8))]
    rates = [chance.randint(1, 100) for _ in rows]
    groups: Groups = chance.choice(["own", "linked"])
    found = measured(rows, rates, groups=groups)
    seen = [i for i, row in enumerate(rows) if "1" in row]
    assert found.detected == pytest.approx(len(seen) / len(rows))
    assert found.detected_by_rate == pytest.approx(sum(rates[i] for i in seen) / sum(rates))
    if not seen:
        assert found.to_fault.largest == 0
        return
    for n, share, by_rate in zip((1, 2, 3), found.to_fault.share, found.to_fault.by_rate, strict=True):
        small = [i for i in seen if rows.count(rows[i]) <= n]
        assert share == pytest.approx(len(small) / len(seen))
        assert by_rate == pytest.approx(sum(rates[i] for i in small) / sum(rates[i] for i in seen))
    assert found.to_fault.mean == pytest.approx(len(seen) / len({rows[i] for i in seen}))
    assert found.to_fault.largest == max(rows.count(rows[i]) for i in seen)

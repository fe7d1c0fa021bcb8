"""Wire and drop against what stands outside the project: a circular's worked runs, and the tables of the standards."""

from __future__ import annotations

from math import pi

import pytest
from scipy import constants

from isolate.calc import wire
from isolate.calc.feeder import CALCULATION
from isolate.calc.given import read

RUNS = [
    (6, 107, 0.942),
    (4, 90, 0.504),
    (12, 88, 3.6),
    (14, 100, 6.12),
    (10, 39, 0.98),
    (10, 156, 3.93),
    (10, 273, 6.88),
]
"""[published] AC 43.13-1B CHG 1, tables 11-7 and 11-8: gauge, run in ft, volts lost at 20 A, as printed."""


@pytest.mark.parametrize(("size", "feet", "volts"), RUNS)
def test_the_circulars_worked_runs(size: int, feet: float, volts: float) -> None:
    """The circular rounds; its No. 12 run is 3.555 V by the figures it states, and it prints 3.6."""
    lost = wire.drop_v(wire.plated_ohm_m(size), feet * constants.foot, 20)
    assert lost == pytest.approx(volts, abs=0.05 if volts == 3.6 else 0.006)


@pytest.mark.parametrize(("size", "feet", "volts"), RUNS)
def test_the_calculation_gives_the_same_as_the_circular(size: int, feet: float, volts: float) -> None:
    told = {"gauge": str(size), "length": f"{feet} ft ± 0", "current": "20 A ± 0", "temperature": "20 °C ± 0"}
    figures = {f.name: f for f in CALCULATION.work(read(CALCULATION, told)).figures}
    assert figures["wire-drop"].value == pytest.approx(volts, abs=0.05 if volts == 3.6 else 0.006)


def test_the_circulars_misprint() -> None:
    """[published] Its 19.5 ft run of No. 10 at 20 A prints .366 V; the figures that it states give .491 V."""
    lost = wire.drop_v(wire.plated_ohm_m(10), 19.5 * constants.foot, 20)
    assert lost == pytest.approx(0.00126 * 19.5 * 20)
    assert lost == pytest.approx(0.491, abs=0.001)
    assert lost != pytest.approx(0.366, abs=0.1)


@pytest.mark.parametrize(("system", "feet"), [("14 V", 19.5), ("28 V", 39), ("115 V", 156), ("200 V", 273)])
def test_the_circulars_longest_runs_lose_just_what_it_allows(system: str, feet: float) -> None:
    """[published] The four runs of No. 10 at 20 A are the longest for each system; [memory] the drops are table 11-6's.

    So each run must lose no more than is allowed where it draws all the time, and nearly all of that.
    """
    allowed = wire.ALLOWED_DROP_V[system][0]
    lost = wire.drop_v(wire.plated_ohm_m(10), feet * constants.foot, 20)
    assert 0.97 * allowed < lost <= allowed


def test_what_is_allowed_now_and_then_is_twice_that() -> None:
    """[memory] AC 43.13-1B, table 11-6: 0.5/1, 1/2, 4/8, 7/14."""
    assert all(brief == 2 * steady for steady, brief in wire.ALLOWED_DROP_V.values())


@pytest.mark.parametrize("hot", [20.0, 60.0, 100.0, 200.0])
def test_a_hot_wire_may_be_shorter_by_the_circulars_formula(hot: float) -> None:
    """[published] AC 43.13-1B: L2 = 254.5·L1/(234.5 + T2): that run loses at T2 what L1 loses at 20 °C."""
    shorter = 254.5 * 100 / (234.5 + hot)
    assert wire.drop_v(0.01, shorter, 5, hot) == pytest.approx(wire.drop_v(0.01, 100, 5, 20))


def test_the_formula_is_coppers_coefficient() -> None:
    """[memory] NBS Handbook 100: 0.00393 for each °C at 20 °C."""
    for hot in (-20.0, 50.0, 100.0):
        assert wire.hotter(hot) == pytest.approx(1 + 0.00393 * (hot - 20), abs=2e-4)


@pytest.mark.parametrize(
    ("size", "mm"), [(-3, 11.684), (0, 8.251), (10, 2.588), (14, 1.628), (20, 0.8118), (24, 0.5106), (36, 0.127)]
)
def test_diameters_of_the_gauge(size: int, mm: float) -> None:
    """[memory] ASTM B258's table, from memory of it; 4/0 is 0.46 in and 36 is 0.005 in by definition."""
    assert wire.diameter_m(size) * 1000 == pytest.approx(mm, rel=5e-4)


@pytest.mark.parametrize(
    ("size", "ohm"), [(-3, 0.04901), (10, 0.9989), (12, 1.588), (14, 2.525), (20, 10.15), (22, 16.14)]
)
def test_resistance_of_solid_wire(size: int, ohm: float) -> None:
    """[memory] NBS Handbook 100: Ω per 1,000 ft of solid copper at 20 °C."""
    assert wire.solid_ohm_m(size) * 1000 * constants.foot == pytest.approx(ohm, rel=1e-3)


def test_coppers_resistivity_in_the_trades_own_unit() -> None:
    """[memory] NBS Handbook 100: 10.371 Ω for a foot of a circular mil (a wire of one thou) at 20 °C."""
    section = pi / 4 * (constants.inch / 1000) ** 2
    assert wire.COPPER_OHM_M * constants.foot / section == pytest.approx(10.371, rel=1e-3)


@pytest.mark.parametrize("size", sorted(wire.PLATED_OHM_FT))
def test_the_table_lies_beside_the_physics(size: int) -> None:
    """Stranded and plated, never much better than solid copper, and no more than 40 % worse: a slip would be."""
    assert 0.95 < wire.plated_ohm_m(size) / wire.solid_ohm_m(size) < 1.4


def test_a_foot_is_a_foot() -> None:
    """[reference library] scipy.constants."""
    assert constants.foot == wire.FOOT


def test_what_a_return_may_have() -> None:
    """[published] AMT Handbook - Powerplant: a return through structure of no more than 0.005 Ω is satisfactory."""
    assert wire.STRUCTURE_OHM == 0.005

"""Insulation and conductors against what stands outside the project: IEEE 43, winding resistance, Student's t."""

from __future__ import annotations

import pytest
from scipy import stats

from isolate.calc.given import read
from isolate.calc.insulation import CALCULATION, INDEX_UP_TO_OHM, PASCHEN_V, at_reference
from isolate.calc.lead import CALCULATION as LEAD
from isolate.calc.lead import brought


@pytest.mark.parametrize(("at_c", "factor"), [(10, 0.125), (20, 0.25), (30, 0.5), (40, 1.0), (50, 2.0), (60, 4.0)])
def test_the_factor_of_the_standard(at_c: float, factor: float) -> None:
    """[memory] IEEE Std 43: K = 0.5^((40 - T)/10) brings a reading at T to 40 °C."""
    assert at_reference(1.0, at_c, 40) == pytest.approx(factor)
    told = {"reading": "100 MΩ", "voltage": "500 V", "air": "dry", "temperature": f"{at_c} °C", "reference": "40 °C"}
    assert CALCULATION.work(read(CALCULATION, told)).figures[0].value == pytest.approx(100e6 * factor)


def test_the_index_is_ten_minutes_over_one() -> None:
    """[memory] IEEE Std 43: polarisation index, 10 min over 1 min; it says nothing above 5000 MΩ at one minute."""
    told = {"reading": "1000 MΩ", "voltage": "500 V", "air": "dry", "after-10-min": "2500 MΩ"}
    figures = {f.name: f for f in CALCULATION.work(read(CALCULATION, told)).figures}
    assert figures["index"].value == pytest.approx(2.5)
    assert INDEX_UP_TO_OHM == 5000e6


def test_paschens_minimum_lies_where_the_tester_stops_seeing_gaps() -> None:
    """[memory] Air: about 327 V."""
    assert pytest.approx(327, abs=1) == PASCHEN_V


@pytest.mark.parametrize(("hot", "ratio"), [(75.0, 1.2161), (25.0, 1.0196), (100.0, 1.3143), (0.0, 0.9214)])
def test_copper_by_the_winding_formula(hot: float, ratio: float) -> None:
    """[published] (234.5 + T)/(234.5 + 20), the correction of winding resistance in motor standards (IEC 60034-1)."""
    assert brought(1.0, 20, hot) == pytest.approx(ratio, abs=3e-4)


def test_a_mean_of_readings_has_students_interval() -> None:
    """[reference library] scipy.stats: with a meter good to nothing, the interval of the mean is Student's t."""
    values = [0.852, 0.861, 0.847, 0.866, 0.858, 0.849]
    told = {"reading": "; ".join(f"{v} Ω ± 0.00001" for v in values)}
    (one,) = LEAD.work(read(LEAD, told)).figures
    low, high = stats.t.interval(0.95, len(values) - 1, loc=sum(values) / len(values), scale=stats.sem(values))
    assert (one.low, one.high) == pytest.approx((low, high), abs=0.0003)

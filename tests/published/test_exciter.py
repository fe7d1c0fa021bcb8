"""Stored energy and counted rates against sources outside the project, each named beside its check."""

from __future__ import annotations

import pint
import pytest
from scipy.stats import triang, uniform

from isolate.calc.exciter import ANY, FROM, USUAL, counted, energy

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(("microfarads", "volts"), [(1.0, 2000.0), (2.0, 2500.0), (4.7, 3000.0), (0.33, 7800.0)])
def test_half_of_c_v_squared_with_its_units(microfarads: float, volts: float) -> None:
    """[reference library] pint carries the units: farads times volts squared are joules."""
    theirs = (0.5 * microfarads * UNITS.microfarad * (volts * UNITS.volt) ** 2).to(UNITS.joule).magnitude
    assert float(energy(microfarads * 1e-6, volts)) == pytest.approx(theirs, rel=1e-12)


def test_what_is_commonly_quoted_is_not_called_odd() -> None:
    """[memory] Igniter systems of turbines are commonly quoted at 1 to 20 J."""
    assert USUAL[0] <= 1 and USUAL[1] >= 20
    # A capacitor of 2 µF at 2.5 kV, of the size such boxes are described with, is within that.
    assert 1 <= float(energy(2e-6, 2500.0)) <= 20


def test_a_count_between_two_moments_has_a_triangle() -> None:
    """[reference library] scipy. A train of spacing s meets a window at random: the ends left over are each even on
    0 to s, so the time in spacings is the count give or take a triangle (e.g. JCGM 100:2008, 4.3.9, its sum of two)."""
    law = triang(0.5, loc=19, scale=2)
    found = counted(20, 10.0, 0.0, ANY)
    assert (found.low, found.high) == pytest.approx((law.ppf(0.025) / 10, law.ppf(0.975) / 10), rel=2e-3)


def test_a_count_from_a_snap_is_even() -> None:
    """[reference library] scipy."""
    law = uniform(20, 1)
    found = counted(20, 10.0, 0.0, FROM)
    assert (found.low, found.high) == pytest.approx((law.ppf(0.025) / 10, law.ppf(0.975) / 10), rel=2e-3)

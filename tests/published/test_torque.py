"""Torque with an extension against published examples.

Sources: NAVEDTRA 14315 (US Navy, aviation), extension in line; US Army TM 9-254, at an angle [published];
FAA-H-8083-32B, *AMT Handbook – Powerplant*, T·L/(L + E) with its example [memory]; scipy.constants for the units
[reference library]; ISO 6789-1:2017, permissible deviation and range of hand torque tools [memory].
"""

from __future__ import annotations

import pytest
from scipy import constants

from isolate.calc.given import read
from isolate.calc.torque import CALCULATION, LOWEST_FIFTH, UNTOLD_ACCURACY, arm, on_plug, setting

INCH, FOOT, LBF = constants.inch, constants.foot, constants.lbf


def figures(**told: str) -> dict[str, float]:
    return {f.name: f.value for f in CALCULATION.work(read(CALCULATION, told)).figures}


def test_navy_example_in_line() -> None:
    """NAVEDTRA 14315: 100 in-lb on the nut, handle 12 in, extension 6 in: set 66.7 in-lb."""
    found = setting(100 * LBF * INCH, 12 * INCH, 6 * INCH, 0.0) / (LBF * INCH)
    assert found == pytest.approx(66.7, abs=0.05)
    told = figures(wanted="100 in-lb", handle="12 in", extension="6 in", angle="0")
    assert told["setting"] == pytest.approx(66.7, abs=0.05)
    back = figures(set="66.7 in-lb", handle="12 in", extension="6 in", angle="0")
    assert back["torque"] == pytest.approx(100, abs=0.1)


def test_handbook_example_in_line() -> None:
    """AMT Handbook: 30 ft-lb on the bolt, a 3 in extension on a 1 ft wrench: the dial reads 24 ft-lb [memory]."""
    assert setting(30.0, 1.0, 0.25) == pytest.approx(24)
    assert figures(wanted="30 ft-lb", handle="12 in", extension="3 in", angle="0")["setting"] == pytest.approx(24)


def test_army_a_right_angled_extension_changes_nothing() -> None:
    """US Army TM 9-254: effective length = handle + extension·cos(angle); at a right angle nothing changes."""
    assert arm(0.3, 0.15, 90.0) == pytest.approx(0.3)
    assert setting(50.0, 0.3, 0.15, 90.0) == pytest.approx(50)
    assert on_plug(50.0, 0.3, 0.15, 90.0) == pytest.approx(50)


@pytest.mark.parametrize(
    ("angle", "cosine"), [(0, 1), (30, 3**0.5 / 2), (45, 2**0.5 / 2), (60, 0.5), (120, -0.5), (180, -1)]
)
def test_army_effective_length(angle: float, cosine: float) -> None:
    """The same formula with the cosines as geometry has them."""
    assert arm(12.0, 6.0, float(angle)) == pytest.approx(12 + 6 * cosine)


def test_the_three_units_are_scipys() -> None:
    told = figures(wanted="100 in-lb")
    assert told["setting-n-m"] == pytest.approx(100 * LBF * INCH)
    assert told["setting-lbf-in"] == pytest.approx(100)
    assert told["setting-lbf-ft"] == pytest.approx(100 * INCH / FOOT)


def test_what_is_taken_of_a_wrench_is_more_than_the_standard_lets_it_be_off() -> None:
    """ISO 6789-1:2017 [memory]: at most 6 % off (4 % for most above 10 N·m), from 20 % of the top of the range up."""
    assert UNTOLD_ACCURACY > 0.06
    assert LOWEST_FIFTH == 0.20

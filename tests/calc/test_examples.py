"""The example that a calculation's help shows comes to something, and its hints do not contradict each other."""

from __future__ import annotations

import pytest

from isolate.calc import calculation
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found


def shown(name: str) -> Found:
    """Return what the example of a calculation's help comes to."""
    one = calculation(name)
    told = [i for i in one.inputs if i.default is None or i.name in one.shows]
    return one.work(read(one, {i.name: i.hint or i.choices[0] for i in told}))


@pytest.mark.parametrize(
    ("name", "verdicts"),
    [
        ("volts", {"": "right"}),
        ("feeder", {"": "above"}),
        ("lead", {"": "within"}),
        ("insulation", {"": "within"}),
        ("exciter", {"": "within", "beat": "even"}),
    ],
)
def test_an_example_comes_to_a_verdict(name: str, verdicts: dict[str, str]) -> None:
    found = shown(name).judged
    assert {what: judged.verdict for what, judged in found.items()} == verdicts
    assert CANNOT_TELL not in verdicts.values()


def test_the_spacers_of_the_example_fit() -> None:
    """By hand: 61.20 - 43.12 - 12.05 - 1.50 - 0.80 = 3.73 mm, inside 3 to 4; with .50 it is 4.03, outside."""
    found = shown("spacer")
    best = next(f for f in found.figures if f.name == "best")
    assert best.value == pytest.approx(3.73, abs=0.01)
    assert found.lines[0].startswith("Fit 0.8 mm")
    assert not any("further apart" in w for w in found.warnings)


def test_a_click_wrench_is_not_sent_to_break_a_plug_loose() -> None:
    one = calculation("torque")
    told = {"wanted": "100 lbf·in", "handle": "12 in", "hold-handle": "10 in", "break-out": "200 lbf·in"}
    assert any("not for breaking loose" in line for line in one.work(read(one, told)).lines)

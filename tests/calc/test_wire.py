"""Gauges as they are typed, and what a wire has by gauge, length and temperature."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.calc import wire
from isolate.calc.shape import Unfit
from isolate.calc.spread import Spread


@pytest.mark.parametrize(
    ("typed", "size"),
    [
        *(("14", 14), ("AWG 14", 14), ("14 AWG", 14), ("awg14", 14), ("#14", 14), ("No. 14", 14), ("AN-14", 14)),
        *(("1/0", 0), ("0", 0), ("2/0", -1), ("00", -1), ("AWG 4/0", -3), ("0000", -3), (" 6 ", 6), ("14 ga", 14)),
    ],
)
def test_a_gauge_is_read(typed: str, size: int) -> None:
    assert wire.gauge(typed) == size


@pytest.mark.parametrize("typed", ["", "fat", "99", "41", "-3", "14.5", "5/0", "2.5 mm2", "14 14", "0" * 5000, "٣"])
def test_what_is_no_gauge_is_refused_in_a_sentence(typed: str) -> None:
    with pytest.raises(Unfit) as error:
        wire.gauge(typed)
    assert error.value.of == "gauge"
    assert len(str(error.value)) < 200


@pytest.mark.parametrize("size", [-3, -1, 0, 1, 14, 40])
def test_a_gauge_reads_back_as_it_is_said(size: int) -> None:
    assert wire.gauge(wire.said(size)) == size


@given(st.integers(-3, 39))
def test_a_higher_gauge_is_a_thinner_wire(size: int) -> None:
    assert wire.diameter_m(size + 1) < wire.diameter_m(size)
    assert wire.solid_ohm_m(size + 1) > wire.solid_ohm_m(size)


def test_the_table_goes_the_same_way() -> None:
    sizes = sorted(wire.PLATED_OHM_FT)
    figures = [wire.PLATED_OHM_FT[s] for s in sizes]
    assert figures == sorted(figures)
    assert set(sizes) > wire.FROM_MEMORY


@given(st.floats(-60, 260), st.floats(-60, 260))
def test_heating_and_cooling_again_changes_nothing(a: float, b: float) -> None:
    assert wire.hotter(a, b) * wire.hotter(b, a) == pytest.approx(1)
    assert wire.hotter(max(a, b), min(a, b)) >= 1


@pytest.mark.parametrize("value", [-100.0, 500.0])
def test_a_temperature_that_no_wire_has_is_refused(value: float) -> None:
    with pytest.raises(Unfit, match="temperature"):
        wire.fit_temperature(value)


@pytest.mark.parametrize(
    ("ohm", "said"),
    [(0.0, "0 mΩ"), (4.2e-5, "42 µΩ"), (0.00213, "2.13 mΩ"), (0.85, "850 mΩ"), (1.0, "1 Ω"), (5.5e8, "550 MΩ")],
)
def test_a_resistance_is_said_in_the_unit_it_reads_best_in(ohm: float, said: str) -> None:
    assert wire.in_ohm(ohm) == said


def test_digits_tell_the_ends_of_an_interval_apart() -> None:
    assert wire.with_interval(Spread(28.1, 28.05, 28.15), "V") == "28.1 V (28.05 to 28.15)"
    assert wire.with_interval(Spread(2.6666, 2.2, 3.1), "V") == "2.67 V (2.2 to 3.1)"


def test_a_gauge_below_nought_is_not_taken_for_one_above() -> None:
    for typed in ("AWG -1", "-1", "# -2", "AWG - 1"):
        with pytest.raises(Unfit):
            wire.gauge(typed)
    assert wire.gauge("AWG-14") == 14

"""Spacers: immersion, the stack of tolerances, the choice, the chance of being outside, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc import TITLES
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found, Unfit
from isolate.calc.spacer import (
    CALCULATION,
    Fit,
    Length,
    drawn,
    freedom,
    immersion,
    length,
    root_sum_square,
    stacks,
    worst_case,
)
from isolate.calc.units import Quantity

PLUG = {
    "reach": "61.20 mm",
    "boss-depth": "42.12 mm",
    "insert-height": "12.05 mm",
    "gasket": "1.50 ± 0.05 mm",
    "immersion-from": "3 mm",
    "immersion-to": "4 mm",
}
"""With no spacer at all the tip stands 5.53 mm in the gas."""


def work(**told: str | None) -> Found:
    whole = {**PLUG, **{k.replace("_", "-"): v for k, v in told.items()}}
    return CALCULATION.work(read(CALCULATION, {k: v for k, v in whole.items() if v is not None}))


def of(found: Found, name: str) -> tuple[float, float, float]:
    one = next(f for f in found.figures if f.name == name)
    return one.value, one.low, one.high


def mm(value: float, within: float = 0.0) -> Quantity:
    return Quantity("length", value / 1000, within / 1000, "mm", f"{value} mm")


def best(found: Found) -> list[float]:
    fit: Fit = found.detail
    return [round(q.value * 1000, 6) for q in fit.best[0].pieces]


def test_immersion_is_what_reach_has_left_over() -> None:
    assert immersion(61.2, 42.12, 12.05, 0.8, 1.5) == pytest.approx(4.73)
    assert immersion(50.0, 52.0) == -2.0


def test_what_is_needed_and_what_is_inside() -> None:
    found = work()
    assert of(found, "needed")[0] == pytest.approx(2.03)
    assert "2.03 mm together" in found.lines[0]
    assert "1.53 mm to 2.53 mm is inside" in found.lines[0]


def test_repeated_readings_are_averaged() -> None:
    found = work(boss_depth="42.10 mm; 42.14 mm; 42.12 mm")
    assert of(found, "needed")[0] == pytest.approx(2.03)
    assert of(found, "needed")[2] - of(found, "needed")[1] > of(work(), "needed")[2] - of(work(), "needed")[1]


@pytest.mark.parametrize(
    ("fitted", "verdict"),
    [
        ("2.00 mm", "within"),
        ("2.00 mm; 1.00 mm", "too-shallow"),
        ("0 mm", "too-deep"),
        ("0.8 ± 0.02 mm", "too-deep"),
        ("1.55 mm", CANNOT_TELL),
        ("2.5 ± 0.1 mm", CANNOT_TELL),
    ],
)
def test_as_it_sits_now(fitted: str, verdict: str) -> None:
    judged = work(fitted=fitted).judged[""]
    assert judged.verdict == verdict
    assert verdict == CANNOT_TELL or verdict in CALCULATION.judges[""]
    assert verdict != CANNOT_TELL or "would settle" in judged.why


def test_nothing_is_judged_where_nothing_fitted_was_told() -> None:
    assert not work(spacers="2.00 mm").judged


def test_the_one_that_would_settle_it_is_the_one_least_well_known() -> None:
    assert "for gasket" in work(fitted="1.55 mm").judged[""].why
    assert "for reach" in work(fitted="1.6 ± 0.01 mm", reach="61.2 ± 0.3 mm").judged[""].why
    rough = work(fitted="1.60 mm", boss_depth="42.0 ± 0.005 mm; 42.3 ± 0.005 mm; 42.1 ± 0.005 mm")
    assert "more readings or a finer gauge for boss-depth" in rough.judged[""].why


def test_the_single_spacer_that_does_is_taken_before_two() -> None:
    assert best(work(spacers="0.50 mm; 0.80 mm; 1.20 mm; 1.90 mm", stack="3")) == [1.9]
    assert best(work(spacers="0.50 mm; 0.80 mm; 1.20 mm", stack="3")) == [1.2, 0.8]


def test_no_more_are_stacked_than_was_told() -> None:
    found = work(spacers="0.50 mm; 0.80 mm; 1.20 mm")
    assert len(best(found)) <= 1
    assert any("One spacer at a time" in line for line in found.lines)
    assert "None of these fits" in " ".join(found.lines)
    assert best(found) == [1.2]


def test_one_of_each_unless_there_are_more() -> None:
    assert best(work(spacers="1.00 mm; 0.30 mm", stack="2")) == [1.0, 0.3]
    assert best(work(spacers="1.00 mm; 0.30 mm", stack="2", alike="yes")) == [1.0, 1.0]
    assert best(work(spacers="1.00 mm; 1.00 mm; 0.30 mm", stack="2")) == [1.0, 1.0]


def test_no_spacer_is_one_of_the_choices() -> None:
    assert best(work(spacers="1.00 mm", boss_depth="44.15 mm")) == []


def test_where_none_makes_it_deep_enough() -> None:
    found = work(spacers="1.00 mm", boss_depth="45.00 mm")
    assert "No spacer makes it deep enough" in found.lines[0] and "0.35 mm short" in found.lines[0]
    assert "second gasket" in found.lines[0]
    assert "No spacer makes it deep enough" in work(boss_depth="45.00 mm").lines[0]


def test_at_the_end_of_the_window_none_is_sure() -> None:
    found = work(spacers="1.55 mm")
    assert found.lines[0].startswith("None is sure to fit")
    assert of(found, "outside")[0] == pytest.approx(of(found, "deep")[0] + of(found, "shallow")[0])
    assert 0.1 < of(found, "deep")[0] < 0.5
    assert "2.03 mm of spacers" in " ".join(found.lines)


def test_a_window_narrower_than_the_doubt_is_said_to_be() -> None:
    found = work(spacers="2.03 mm", immersion_from="3.48 mm", immersion_to="3.52 mm")
    assert any("narrower than what these readings leave in doubt" in line for line in found.lines)


def test_a_window_in_the_wrong_unit_is_suspected() -> None:
    found = work(spacers="2.00 mm", immersion_from="0.118 mm", immersion_to="0.157 mm")
    assert any("inches" in w for w in found.warnings)
    assert not any("inches" in w for w in work(spacers="2.00 mm").warnings)


def test_too_few_digits_are_pointed_out() -> None:
    assert any("spacers 2 mm" in w for w in work(spacers="2 mm; 1.00 mm").warnings)
    assert not work(spacers="2.00 mm").warnings
    assert not any("without a ±" in w for w in work(spacers="2 ± 0.5 mm").warnings)


def test_readings_that_scatter_and_too_few_are_pointed_out() -> None:
    assert any("dirt" in w for w in work(boss_depth="42.00 mm; 42.20 mm; 42.10 mm").warnings)
    assert any("two readings" in w for w in work(boss_depth="42.12 mm; 42.13 mm").warnings)
    assert not work(boss_depth="42.12 mm; 42.12 mm; 42.13 mm").warnings


def test_units_may_be_mixed() -> None:
    found = work(reach="2.4094 in", fitted="0.0787 in")
    assert of(found, "immersion")[0] == pytest.approx(2.4094 * 25.4 - 42.12 - 12.05 - 1.5 - 0.0787 * 25.4)
    assert next(f.unit for f in found.figures if f.name == "immersion") == "mm"
    inch = work(fitted="2.00 mm", immersion_from="0.118 in", immersion_to="0.157 in")
    assert of(inch, "immersion")[0] == pytest.approx(3.53 / 25.4)


@settings(max_examples=30)
@given(st.lists(st.floats(0.2, 3), min_size=1, max_size=5, unique=True), st.integers(1, 3), st.booleans())
def test_every_way_to_stack_is_there_once(sizes: list[float], most: int, alike: bool) -> None:
    found = stacks([mm(s) for s in sizes], most, alike)
    keys = [tuple(q.value for q in some) for some in found]
    assert len(set(keys)) == len(keys) and keys[0] == ()
    assert all(len(some) <= most for some in found)
    assert alike or all(len(set(k)) == len(k) for k in keys)
    kinds, count = len(sizes), 0
    ways = {True: lambda n: _comb(kinds + n - 1, n), False: lambda n: _comb(kinds, n)}[alike]
    for n in range(most + 1):
        count += ways(n)
    assert len(found) == count


def _comb(n: int, k: int) -> int:
    """Written out as Pascal has it, apart from the formula that the module uses."""
    if k == 0:
        return 1
    return 0 if n < k else _comb(n - 1, k - 1) + _comb(n - 1, k)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.2, 3), min_size=1, max_size=5), st.integers(1, 3), st.booleans())
def test_no_stack_beats_the_best_by_more_than_is_worth_a_piece(sizes: list[float], most: int, alike: bool) -> None:
    found = work(
        spacers="; ".join(f"{s:.3f} ± 0.01 mm" for s in sizes), stack=str(most), alike="yes" if alike else "no"
    )
    fit: Fit = found.detail
    every = [
        fit.with_spacers(some) for some in stacks([q for s in sizes for q in [mm(round(s, 3), 0.01)]], most, alike)
    ]
    first = fit.best[0]
    assert first.outside <= min(s.outside for s in every) + 0.0021
    if first.outside > 0.999:
        assert abs(first.value - 0.0035) <= min(abs(s.value - 0.0035) for s in every) + 1e-9


def test_worst_case_and_root_sum_square_of_what_is_stacked() -> None:
    found = work(fitted="0.80 ± 0.02 mm")
    # ± of reach, boss, insert by their last digit, gasket and spacer as told.
    assert of(found, "worst-case")[0] == pytest.approx(3 * 0.005 + 0.05 + 0.02)
    assert of(found, "root-sum-square")[0] == pytest.approx((3 * 0.005**2 + 0.05**2 + 0.02**2) ** 0.5)
    value, low, high = of(found, "immersion")
    assert value - 0.085 < low < high < value + 0.085


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_the_worst_is_never_less_than_the_root_sum_square(halves: list[float]) -> None:
    assert worst_case(halves) >= root_sum_square(halves) - 1e-12


def test_more_scatter_and_fewer_readings_mean_fewer_degrees_of_freedom() -> None:
    quiet = [length("reach", [mm(60, 0.05)], 1), length("boss-depth", [mm(42.0, 0.05), mm(42.01, 0.05), mm(42, 0.05)])]
    loud = [
        length("reach", [mm(60, 0.001)], 1),
        length("boss-depth", [mm(42.0, 0.001), mm(42.2, 0.001), mm(42, 0.001)]),
    ]
    assert freedom(quiet[:1]) == float("inf")
    # What the gauge is off by is no scatter, and makes it no better known.
    assert freedom(quiet) == pytest.approx(2) == freedom(loud)
    more = [*quiet, length("insert-height", [mm(12, 0.05), mm(12.02, 0.05), mm(12.01, 0.05), mm(12, 0.05)])]
    assert 2 < freedom(more) <= 5


def test_draws_have_the_mean_and_the_sign() -> None:
    found = drawn([Length("reach", 0.06, 0.001, 1), Length("boss-depth", 0.04, 0.0)])
    assert np.mean(found) == pytest.approx(0.02, abs=2e-5)
    assert found.max() - found.min() == pytest.approx(0.002, rel=0.01)


def test_the_same_readings_give_the_same_answer() -> None:
    one, other = (work(spacers="1.20 mm; 0.80 mm", stack="2", fitted="1.50 mm") for _ in range(2))
    assert (one.lines, one.figures) == (other.lines, other.figures)


@pytest.mark.parametrize(
    ("told", "of_input"),
    [
        ({"immersion-from": "4 mm", "immersion-to": "3 mm"}, "immersion-to"),
        ({"immersion-from": "3 mm", "immersion-to": "3 mm"}, "immersion-to"),
        ({"immersion-from": "3 in", "immersion-to": "4 in"}, "immersion-to"),
        ({"reach": "0 mm"}, "reach"),
        ({"reach": "-61 mm"}, "reach"),
        ({"reach": "2.41 mm"}, "reach"),
        ({"reach": "61.2 in"}, "reach"),
        ({"boss-depth": "1.66 mm"}, "boss-depth"),
        ({"boss-depth": "0 mm"}, "boss-depth"),
        ({"boss-depth": "42.1 mm; 1.66 mm"}, "boss-depth"),
        ({"boss-depth": "42.1 mm; 22.1 mm"}, "boss-depth"),
        ({"boss-depth": "42.1 mm; 0 mm"}, "boss-depth"),
        ({"insert-height": "-2 mm"}, "insert-height"),
        ({"insert-height": "12 in"}, "insert-height"),
        ({"gasket": "-1 mm"}, "gasket"),
        ({"spacers": "0 mm"}, "spacers"),
        ({"spacers": "-1 mm"}, "spacers"),
        ({"spacers": "2 in"}, "spacers"),
        ({"spacers": "0.5 ± 0.9 mm"}, "spacers"),
        ({"fitted": "-1 mm"}, "fitted"),
        ({"spacers": "1.0 mm", "stack": "0"}, "stack"),
        ({"spacers": "1.0 mm", "stack": "7"}, "stack"),
        ({"spacers": "; ".join(f"{n / 100:.2f} mm" for n in range(20, 80)), "stack": "6"}, "spacers"),
        ({"reach": "700 mm", "boss-depth": "690 mm"}, "reach"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(told: dict[str, str], of_input: str) -> None:
    with pytest.raises(Unfit) as error:
        work(**told)
    assert error.value.of == of_input
    assert len(str(error.value)) > 15


@pytest.mark.parametrize(
    ("name", "typed", "unit"), [("boss-depth", "1.66 mm", "inches"), ("reach", "2.41 mm", "inches")]
)
def test_the_unit_that_would_fit_is_named(name: str, typed: str, unit: str) -> None:
    with pytest.raises(Unfit, match=f"^{name}: .*is it in {unit}"):
        work(**{name: typed})


@pytest.mark.parametrize("ascii_only", [True, False])
@pytest.mark.parametrize("told", [{}, {"fitted": "1.60 mm"}, {"boss-depth": "60.00 mm"}])
def test_the_picture(told: dict[str, str], ascii_only: bool) -> None:
    found = work(spacers="1.20 ± 0.02 mm; 0.80 ± 0.02 mm; 0.55 ± 0.02 mm", stack="3", alike="yes", **told)
    assert CALCULATION.draw is not None
    for width in range(40, 131, 3):
        lines = CALCULATION.draw(found, width, ascii_only)
        assert all(len(line) <= width for line in lines)
        assert len(lines) <= 24
        assert not ascii_only or all(line.isascii() for line in lines)


def test_the_strips_stand_where_the_immersion_lies_beside_the_window() -> None:
    found = work(fitted="2.00 mm")
    assert CALCULATION.draw is not None
    strip = next(line for line in CALCULATION.draw(found, 78, True) if line.startswith("  as it sits"))
    left, right = strip.index(":"), strip.rindex(":")
    share = (strip.index("o") - left) / (right - left)
    assert share == pytest.approx(0.53, abs=1 / (right - left))


@pytest.mark.parametrize(("readings", "noise"), [(1, 0.0), (3, 3.0), (5, 1.0)])
def test_the_interval_holds_the_truth_as_often_as_it_says(readings: int, noise: float) -> None:
    chance, times, inside = np.random.default_rng(7), 1000, 0
    for _ in range(times):
        lengths = []
        for name, sign in (("reach", 1), ("boss-depth", -1), ("insert-height", -1)):
            count = 1 if name == "reach" else readings
            off = 0.05 * chance.uniform(-1, 1) + noise * 0.05 * chance.normal(size=count) * (count > 1)
            lengths.append(length(name, [mm(20 + x, 0.05) for x in np.broadcast_to(off, count)], sign))
        low, high = np.quantile(drawn(lengths, 3000), [0.025, 0.975])
        inside += low <= -0.02 <= high
    # Its standard error is .007.
    assert 0.93 <= inside / times <= 0.97


@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_two_readings_of_one_length_hold_the_truth(noise: float) -> None:
    """They held 88 of 100 where the gauge's own error counted among what their scatter is known by."""
    chance, times, inside = np.random.default_rng(8), 400, 0
    for _ in range(times):
        off = 0.05 * chance.uniform(-1, 1) + noise * 0.05 * chance.normal(size=2)
        lengths = [length("reach", [mm(60.0)], 1), length("boss-depth", [mm(40 + x, 0.05) for x in off])]
        low, high = np.quantile(drawn(lengths, 2000), [0.025, 0.975])
        inside += low <= 0.02 <= high
    assert inside / times >= 0.93


def test_the_title_is_the_one_that_is_listed() -> None:
    assert CALCULATION.title == TITLES["spacer"]

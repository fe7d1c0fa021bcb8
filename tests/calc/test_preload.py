"""Preload: the factors of a thread's state, which way they work, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.calc import TITLES
from isolate.calc.given import read
from isolate.calc.preload import CALCULATION, FACTORS, preload
from isolate.calc.shape import CANNOT_TELL, Found, Unfit

TOLD = {"torque": "25 ± 0 N·m", "found": "compound", "called": "dry"}


def work(**told: str) -> Found:
    return CALCULATION.work(read(CALCULATION, {k.replace("_", "-"): v for k, v in told.items()}))


def of(found: Found, name: str) -> tuple[float, float, float]:
    one = next(f for f in found.figures if f.name == name)
    return one.value, one.low, one.high


@given(st.floats(0.5, 500), st.floats(0.003, 0.08), st.floats(0.05, 0.5))
def test_torque_is_k_times_diameter_times_preload(torque: float, diameter: float, factor: float) -> None:
    assert factor * diameter * preload(torque, diameter, factor) == pytest.approx(torque)


def test_without_a_diameter_only_the_ratio() -> None:
    names = {f.name for f in work(**TOLD).figures}
    assert names == {"ratio", "beyond"}
    assert {f.name for f in work(**TOLD, diameter="18 mm").figures} == {*names, "preload-found", "preload-called"}


def test_the_diameter_does_not_matter_to_the_ratio() -> None:
    bare, sized = work(**TOLD), work(**TOLD, diameter="18 ± 0 mm")
    assert of(bare, "ratio") == pytest.approx(of(sized, "ratio"), rel=1e-3)


def test_scatter_is_carried_into_preload() -> None:
    value, low, high = of(work(**TOLD, diameter="18 ± 0 mm", scatter="20 ± 0 %"), "preload-found")
    assert value == pytest.approx(25 / (FACTORS["compound"] * 0.018))
    assert (low / value, high / value) == (pytest.approx(0.81, abs=1e-3), pytest.approx(1.19, abs=1e-3))


@pytest.mark.parametrize(
    ("found", "called", "verdict"),
    [
        ("dry", "dry", "as-called"),
        ("compound", "compound", "as-called"),
        ("compound", "dry", "overloads"),
        ("oiled", "dry", "overloads"),
        ("compound", "oiled", "overloads"),
        ("dry", "compound", "underloads"),
        ("dry", "oiled", "underloads"),
    ],
)
def test_which_way(found: str, called: str, verdict: str) -> None:
    came = work(torque="25 N·m", found=found, called=called)
    assert came.judged[""].verdict == verdict
    assert verdict in CALCULATION.judges[""]
    ratio = of(came, "ratio")[0]
    assert {"as-called": ratio == 1, "overloads": ratio > 1, "underloads": ratio < 1}[verdict]


def test_a_factor_from_a_label_counts() -> None:
    assert of(work(**TOLD, k_found="0.16"), "ratio")[0] == pytest.approx(0.2 / 0.16)
    assert work(**TOLD, k_found="0.2").judged[""].verdict == CANNOT_TELL
    other = work(torque="25 N·m", found="compound", called="compound", k_found="0.18")
    assert other.judged[""].verdict == "underloads"
    assert any("not the data's" in line for line in other.lines)


@pytest.mark.parametrize(("found", "called"), [("compound", "dry"), ("dry", "compound"), ("oiled", "dry")])
def test_the_share_beyond_is_what_drawing_gives(found: str, called: str) -> None:
    chance = np.random.default_rng(3)
    ratio = FACTORS[called] / FACTORS[found]
    drawn = ratio * (1 + 0.3 * chance.uniform(-1, 1, 200_000))
    beyond = np.mean(drawn > 1.3) if ratio > 1 else np.mean(drawn < 0.7)
    assert of(work(torque="25 N·m", found=found, called=called), "beyond")[0] == pytest.approx(beyond, abs=0.005)


def test_no_other_torque_is_ever_recommended() -> None:
    for found in FACTORS:
        for called in FACTORS:
            said = " ".join(work(torque="25 N·m", found=found, called=called).lines).lower()
            assert "neither is changed" in said
            assert all(
                word not in said for word in ("reduce", "lower the torque", "raise the torque", "set the torque")
            )


@pytest.mark.parametrize(
    ("told", "of_input"),
    [
        ({**TOLD, "torque": "0 N·m"}, "torque"),
        ({**TOLD, "torque": "30000 N·m"}, "torque"),
        ({**TOLD, "diameter": "18 in"}, "diameter"),
        ({**TOLD, "diameter": "0 mm"}, "diameter"),
        ({**TOLD, "found": "greased"}, "found"),
        ({**TOLD, "k-found": "12"}, "k-found"),
        ({**TOLD, "k-called": "0"}, "k-called"),
        ({**TOLD, "scatter": "0 %"}, "scatter"),
        ({**TOLD, "scatter": "90 %"}, "scatter"),
        ({"torque": "25 N·m", "found": "dry"}, "called"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(told: dict[str, str], of_input: str) -> None:
    with pytest.raises(Unfit) as error:
        work(**told)
    assert error.value.of == of_input


@pytest.mark.parametrize("width", [40, 78, 120])
@pytest.mark.parametrize("ascii_only", [True, False])
def test_the_picture(width: int, ascii_only: bool) -> None:
    assert CALCULATION.draw is not None
    for found in FACTORS:
        lines = CALCULATION.draw(work(torque="25 N·m", found=found, called="compound"), width, ascii_only)
        assert all(len(line) <= width for line in lines)
        assert not ascii_only or all(line.isascii() for line in lines)
        mark = "#" if ascii_only else "█"
        as_found, as_called = lines[0].index(mark), lines[1].index(mark)
        assert (as_found < as_called) == (found != "compound")
        assert lines[2].index("1") == as_called


def test_the_title_is_the_one_that_is_listed() -> None:
    assert CALCULATION.title == TITLES["preload"]

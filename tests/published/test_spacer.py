"""Tolerance stacks and the chance of being outside, against exact distributions.

Sources: the sum of even errors, Irwin (1927) and Hall (1927), as piecewise polynomials written out here, and numeric
convolution by scipy.signal [reference library]; JCGM 100:2008, H.1, the end gauge's degrees of freedom [memory]; sums
worked by hand. Lengths are invented.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import fftconvolve
from scipy.stats import t

from isolate.calc.given import read
from isolate.calc.shape import Found
from isolate.calc.spacer import CALCULATION, Length, drawn, freedom, root_sum_square, worst_case


def irwin_hall(x: float, n: int) -> float:
    """Return the chance that the sum of n figures even between 0 and 1 is no more than x (Irwin 1927, Hall 1927)."""
    return sum((-1) ** k * math.comb(n, k) * (x - k) ** n for k in range(math.floor(x) + 1)) / math.factorial(n)


def work(**told: str) -> Found:
    return CALCULATION.work(read(CALCULATION, {k.replace("_", "-"): v for k, v in told.items()}))


def of(found: Found, name: str) -> float:
    return next(f.value for f in found.figures if f.name == name)


@pytest.mark.parametrize("shift", [0.0, 0.04, 0.08, 0.12])
def test_the_chance_outside_is_irwin_halls(shift: float) -> None:
    """Four lengths each ± 0.05 mm: their sum over 0.1 mm, and two, is Irwin–Hall's of four."""
    found = work(
        reach=f"{61.0 + shift} ± 0.05 mm",
        boss_depth="42 ± 0.05 mm",
        insert_height="13 ± 0.05 mm",
        fitted="3 ± 0.05 mm",
        immersion_from="2.9 mm",
        immersion_to="3.1 mm",
    )
    deep = 1 - irwin_hall((0.1 - shift) / 0.1 + 2, 4)
    shallow = irwin_hall((-0.1 - shift) / 0.1 + 2, 4)
    # 20 000 draws: three standard errors of the share.
    assert of(found, "outside-now") == pytest.approx(deep + shallow, abs=3 * (0.25 / 20_000) ** 0.5)


def test_unlike_errors_with_scatter_against_numeric_convolution() -> None:
    """Two even errors, 0.02 and 0.07 mm, and Student's t of four degrees of freedom, convolved on a grid."""
    lengths = [
        Length("reach", 0.060, 0.02e-3, 1),
        Length("boss-depth", 0.055, 0.07e-3, -1, 5, 0.05e-3, 0.1e-3),
    ]
    step = 0.0005
    x = np.arange(-4, 4 + step / 2, step)
    even = [np.where(np.abs(x) <= half + 1e-12, 1 / (2 * half), 0) for half in (0.02, 0.07)]
    density = t.pdf(x / 0.05, 4) / 0.05
    for one in even:
        density = fftconvolve(density, one, mode="same") * step
    below = np.cumsum(density) * step
    low, high = (float(np.interp(p, below, x)) for p in (0.025, 0.975))
    found = (drawn(lengths, 400_000) - 0.005) * 1000
    assert np.quantile(found, [0.025, 0.975]) == pytest.approx([low, high], abs=0.002)


def test_degrees_of_freedom_of_the_end_gauge() -> None:
    """JCGM 100:2008, H.1.6: 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 give 16.7 [memory]."""
    parts = [
        Length("a part", 0.05, 0.0, -1, known + 1, u)  # type: ignore[arg-type]
        for u, known in ((25e-9, 18), (9.7e-9, 25.6), (2.9e-9, 50), (16.6e-9, 2))
    ]
    assert freedom(parts) == pytest.approx(16.7, abs=0.1)


def test_what_root_sum_square_holds_of_even_errors() -> None:
    """Irwin–Hall again: for several alike about 92 of 100, which is why the interval that is judged is another."""
    held = [irwin_hall((n + n**0.5) / 2, n) - irwin_hall((n - n**0.5) / 2, n) for n in (2, 3, 4, 6, 10)]
    assert held == pytest.approx([0.914, 0.915, 0.917, 0.917, 0.917], abs=0.001)
    for n, share in zip((2, 4, 6), (held[0], held[2], held[3]), strict=True):
        sums = drawn([Length("a part", 0.0, 0.001) for _ in range(n)], 100_000)
        assert np.mean(np.abs(sums) <= root_sum_square([0.001] * n)) == pytest.approx(share, abs=0.005)


def test_worst_case_by_hand() -> None:
    """61.20 − (42.12 + 12.05 + 0.80 + 1.50) = 4.73; 0.01 + 0.02 + 0.02 + 0.01 + 0.05 = 0.11; √(.0001·(1+4+4+1+25))."""
    found = work(
        reach="61.20 ± 0.01 mm",
        boss_depth="42.12 ± 0.02 mm",
        insert_height="12.05 ± 0.02 mm",
        gasket="1.50 ± 0.05 mm",
        fitted="0.80 ± 0.01 mm",
        immersion_from="3 mm",
        immersion_to="4 mm",
    )
    assert of(found, "immersion") == pytest.approx(4.73)
    assert of(found, "worst-case") == pytest.approx(0.11)
    assert of(found, "root-sum-square") == pytest.approx(0.0591608, abs=1e-6)
    assert found.judged[""].verdict == "too-deep"
    # Wholly outside at worst means outside for certain, wholly inside at worst means no chance of it.
    assert of(found, "outside-now") == 1


def test_the_widest_there_is_is_the_worst_case() -> None:
    halves = [0.01e-3, 0.05e-3, 0.02e-3]
    sums = drawn([Length("a part", 0.0, h) for h in halves])
    assert np.abs(sums).max() <= worst_case(halves)
    quantiles = [float(np.quantile(np.abs(sums), q)) for q in (0.5, 0.9, 0.99)]
    assert all(a < b for a, b in pairwise(quantiles))

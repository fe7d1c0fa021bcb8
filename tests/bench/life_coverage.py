"""How often the intervals of a fitted plug life hold the truth, and how often the test of the fit cries out.

    python -m tests.bench.life_coverage [--fleets 1000] [--seed 1]

A fleet: lives drawn from a Weibull law with scale 3000 by numpy, watched so that about half still run. ``random``: each
watched for a time drawn from that same law; ``one-age``: all to the age that half outlive; ``late``: half of them known
of only from an age of up to 2500 on, and watched from there. Given is the share of fleets whose interval holds the
truth: shape, scale, B10, the chance that a plug of 2600 fails within 300 more, and the cheapest age to change it if a
misfire costs ten changes (never, at a shape of 1 or less). ``not fitted``: fleets that hold no shape. ``cries``: share
in which a true Weibull life is said not to fit (p under 0.05), of those with ten failures. ``mixed``: that of fleets
in which every third plug is of a kind that fails early (shape 0.8, scale 150); there it should cry.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray

from isolate.calc import weibull
from isolate.calc.shape import Unfit

SCALE = 3000.0
WORK = {
    "shape": lambda k, s: k,
    "scale": lambda k, s: s,
    "B10": lambda k, s: weibull.reached(0.10, k, s),
    "chance": lambda k, s: weibull.chance(2600.0, 300.0, k, s),
    "cheapest": lambda k, s: weibull.cheapest(1.0, 10.0, k, s),
}
Floats = NDArray[np.float64]


def fleet(n: int, shape: float, how: str, rng: np.random.Generator, early: bool = False) -> weibull.Lives:
    """Return the removals of a fleet."""
    lives, entries = SCALE * rng.weibull(shape, n), np.zeros(n)
    if early:
        lives[::3] = 150 * rng.weibull(0.8, len(lives[::3]))
    if how == "late":
        entries[::2] = rng.uniform(100, 2500, len(entries[::2]))
        while (gone := lives <= entries).any():
            lives[gone] = SCALE * rng.weibull(shape, int(gone.sum()))
    watched: Floats = (
        SCALE * rng.weibull(shape, n) if how != "one-age" else np.full(n, SCALE * np.log(2) ** (1 / shape))
    )
    watched = watched + entries
    ages, failed = np.minimum(lives, watched), lives <= watched
    pairs = list(zip(ages.tolist(), entries.tolist(), strict=True))
    return weibull.lives(
        [p for p, f in zip(pairs, failed, strict=True) if f], [p for p, f in zip(pairs, failed, strict=True) if not f]
    )


def row(n: int, shape: float, how: str, fleets: int, rng: np.random.Generator) -> str:
    held, fitted, cries, tested, cries_mixed, mixed = dict.fromkeys(WORK, 0), 0, 0, 0, 0, 0
    for _ in range(fleets):
        data = fleet(n, shape, how, rng)
        try:
            found = weibull.fit(data)
        except Unfit:
            continue
        fitted += 1
        for name, work in WORK.items():
            low, high = found.between(work)
            held[name] += low <= float(work(np.array([shape]), np.array([SCALE]))[0]) <= high
        if (p := weibull.strain(data, found)) is not None:
            tested, cries = tested + 1, cries + (p < 0.05)
        other = fleet(n, shape, how, rng, early=True) if how != "late" else None
        if other is not None:
            try:
                p = weibull.strain(other, weibull.fit(other))
            except Unfit:
                continue
            if p is not None:
                mixed, cries_mixed = mixed + 1, cries_mixed + (p < 0.05)
    shares = " ".join(f"{100 * held[name] / fitted:8.1f}" for name in WORK)
    cry = f"{100 * cries / tested:6.1f}" if tested else "     -"
    cry_mixed = f"{100 * cries_mixed / mixed:6.1f}" if mixed else "     -"
    return f"{n:4} {shape:5} {how:8} {shares} {fleets - fitted:10} {cry} {cry_mixed}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--fleets", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    rng = np.random.default_rng(arguments.seed)
    off = 1.96 * (0.95 * 0.05 / arguments.fleets) ** 0.5
    print(f"{arguments.fleets} fleets a row, seed {arguments.seed}; in percent, ± {100 * off:.1f} by chance")
    print(f"   n shape watched  {' '.join(f'{name:>8}' for name in WORK)} not fitted  cries  mixed")
    for n in (20, 50, 200):
        for shape in (0.8, 1.5, 3.0):
            for how in ("random", "one-age", "late"):
                print(row(n, shape, how, arguments.fleets, rng), flush=True)


if __name__ == "__main__":
    main()

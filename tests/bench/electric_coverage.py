"""How often the intervals of feeder, lead and insulation hold the truth. Run: python -m tests.bench.electric_coverage

Truths are drawn, readings are made of them with errors as large as were stated and of the shape that was stated (even,
within ±; a meter's own error the same in all readings of a series), the calculation is done on them as typed, and it is
counted how often its 95 % interval holds the truth. 95 % means 93 to 97 %.

``feeder``: AWG 14 of 5 to 20 m, 0 to 60 °C, a contact of 10 mΩ to 1 Ω in it, 2 to 8 A from 28 V. The wire is drawn
within what the calculation says that a new one may differ by. ``lead``: 0.2 to 2 Ω, warm by 0 to 60 °C, leads taken
off. ``lead, n readings``: with contact noise of so many times the meter's own error beside it, which nobody stated.
``two of a display``: two readings told by their digits alone, with contact noise of so many digits.
``insulation``: 10 MΩ to 10 GΩ at 10 to 45 °C, halving for each 8 to 12 °C.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from isolate.calc import feeder, insulation, lead, wire
from isolate.calc.given import read
from isolate.calc.shape import Calculation, Found
from isolate.calc.units import Quantity
from tests.bench.figures import quiet, table

FOLLOWED = ("drop", "path", "heat", "source", "return", "wire", "wire-drop", "added")
Told = tuple[str, bool]
"""(what was stated, whether its interval held the truth)."""


def reading(kind: str, true: float, within: float, unit: str, chance: np.random.Generator) -> Quantity:
    """Return a reading that is off by anything up to ``within``."""
    return Quantity(kind, true + within * chance.uniform(-1, 1), within, unit, f"± {within}")


def holds(found: Found, name: str, true: float) -> bool:
    """Return whether a figure's interval holds the truth; one that was not given holds nothing."""
    return any(f.name == name and f.low <= true <= f.high for f in found.figures)


def defaults(one: Calculation, **told: str) -> dict[str, object]:
    """Return what is given where only this was typed."""
    return dict(read(one, told))


def feeder_case(chance: np.random.Generator) -> Iterator[Told]:
    """Draw a feed and read it; the contact that is added is never so small that nothing is stated of it."""
    length, warm, amps = chance.uniform(5, 20), chance.uniform(0, 60), chance.uniform(2, 8)
    new = 1 + wire.NEW_WIRE * chance.uniform(-1, 1)
    added, back, source = 10 ** chance.uniform(-2, 0), chance.uniform(0.001, 0.02), chance.uniform(0.01, 0.1)
    copper = wire.plated_ohm_m(14) * length * float(wire.hotter(warm)) * new
    path = copper + added + back
    bus_off = 28.0
    bus_on = bus_off - amps * source
    given = defaults(feeder.CALCULATION, gauge="14", length="1 m") | {
        "length": reading("length", length, 0.15, "m", chance),
        "temperature": reading("temperature", warm, 3.0, "°C", chance),
        "current": reading("current", amps, 0.05, "A", chance),
        "bus-off-load": reading("voltage", bus_off, 0.05, "V", chance),
        "off-load": reading("voltage", bus_off, 0.05, "V", chance),
        "bus-on-load": reading("voltage", bus_on, 0.05, "V", chance),
        "on-load": reading("voltage", bus_on - amps * path, 0.05, "V", chance),
        "return-drop": reading("voltage", amps * back, 0.002, "V", chance),
    }
    found = feeder.CALCULATION.work(given)
    truths = (amps * path, path, amps**2 * path, source, back, copper, amps * copper, added + back)
    yield from ((f"feeder: {n}", holds(found, n, t)) for n, t in zip(FOLLOWED, truths, strict=True))


def lead_case(chance: np.random.Generator, metal: str) -> Iterator[Told]:
    true, zero, warm = chance.uniform(0.2, 2), chance.uniform(0.05, 0.3), chance.uniform(20, 80)
    known = lead.METALS[metal]
    per_c = known.per_c + known.within * chance.uniform(-1, 1)
    shown = float(lead.brought(true, 20, warm, per_c)) + zero
    given = defaults(lead.CALCULATION, reading="1 Ω", metal=metal) | {
        "reading": (reading("resistance", shown, 0.01, "Ω", chance),),
        "zero": reading("resistance", zero, 0.01, "Ω", chance),
        "temperature": reading("temperature", warm, 3.0, "°C", chance),
    }
    yield f"lead: {metal}", holds(lead.CALCULATION.work(given), "resistance", true)


def series_case(chance: np.random.Generator, count: int, noise: float) -> Iterator[Told]:
    """Draw a series of readings off by the same, with contact noise beside that; one that is apart states nothing."""
    true, within = 10.0, 0.05
    off = within * chance.uniform(-1, 1)
    series = true + off + noise * within * chance.standard_normal(count)
    given = defaults(lead.CALCULATION, reading="1 Ω") | {
        "reading": tuple(Quantity("resistance", float(v), within, "Ω", f"± {within}") for v in series)
    }
    found = lead.CALCULATION.work(given)
    if found.figures:
        yield f"lead: {count} readings, noise {noise:g}", holds(found, "resistance", true)


def alike(noise: float, cases: int, chance: np.random.Generator) -> float:
    """Return how often two readings to a hundredth hold the truth, their clips' noise so many hundredths."""
    held = 0
    for _ in range(cases):
        true = chance.uniform(1, 2)
        shown = (f"{max(0, true + 0.01 * noise * chance.standard_normal()):.2f} Ω" for _ in range(2))
        found = lead.CALCULATION.work(read(lead.CALCULATION, {"reading": "; ".join(shown)}))
        held += not found.figures or holds(found, "resistance", true)
    return held / cases


def insulation_case(chance: np.random.Generator) -> Iterator[Told]:
    true, warm = 10 ** chance.uniform(7, 10), chance.uniform(10, 45)
    halves = insulation.HALVES_C + insulation.HALVES_WITHIN_C * chance.uniform(-1, 1)
    shown = float(insulation.at_reference(true, 20, warm, halves))
    ten = shown * chance.uniform(0.8, 3)
    typed = defaults(insulation.CALCULATION, reading="1 MΩ", voltage="500 V", air="dry")
    given = typed | {
        "reading": (Quantity("resistance", *_share(shown, chance), "Ω"),),
        "after-10-min": Quantity("resistance", *_share(ten, chance), "Ω"),
        "temperature": reading("temperature", warm, 2.0, "°C", chance),
    }
    found = insulation.CALCULATION.work(given)
    yield "insulation: resistance", holds(found, "insulation", true)
    yield "insulation: index", holds(found, "index", ten / shown)


def _share(true: float, chance: np.random.Generator, share: float = 0.05) -> tuple[float, float]:
    """Return a reading of a tester that is good to a share of what it shows, and what that is."""
    shown = true / (1 + share * chance.uniform(-1, 1))
    return shown, share * shown


def coverage(cases: int, noises: Sequence[float] = (0, 0.3, 1, 3), seed: int = 8) -> dict[str, tuple[float, int]]:
    """Return what was stated → (the share of intervals that held the truth, how many there were)."""
    chance = np.random.default_rng(seed)
    seen: defaultdict[str, list[bool]] = defaultdict(list)
    for _ in range(cases):
        makers = [feeder_case(chance), insulation_case(chance)]
        makers += [lead_case(chance, metal) for metal in lead.METALS]
        makers += [series_case(chance, n, noise) for n in (2, 3, 5, 10) for noise in noises]
        for maker in makers:
            for name, held in maker:
                seen[name].append(held)
    found = {name: (sum(held) / len(held), len(held)) for name, held in seen.items()}
    for noise in (0.0, 0.3, 0.5, 1.0, 1.5, 3.0):
        found[f"lead: two of a display, noise {noise:g}"] = alike(noise, cases, chance), cases
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=1000, help="cases of each kind (default: %(default)s)")
    wanted = parser.parse_args()
    print(quiet())
    found = coverage(wanted.n)
    table(("stated", "held %", "of"), [(name, f"{100 * share:.1f}", of) for name, (share, of) in found.items()])


if __name__ == "__main__":
    main()

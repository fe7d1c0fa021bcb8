"""A supply beside what it should be: volts at rest and, where they were read, while something heavy draws."""

from __future__ import annotations

from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import Spread, spread
from isolate.calc.units import Quantity, figure
from isolate.calc.wire import LAST_DIGIT, told_off, with_interval

NOTHING = 0.1
"""A reading under this share of the least that is allowed is no supply: what is left of it leaks in. Our judgement."""
SHARES = {
    "right": "Within what your data allows, at rest and under load",
    "at-rest": "Within what your data allows at rest; under load it was not read",
    "low": "Low",
    "high": "Above what your data allows",
}


def _v(volts: float) -> str:
    return figure(volts, 4)


def _read(reading: Quantity) -> tuple[float, float]:
    """Return the 95 % interval of a reading in volts: its error is drawn evenly within its width (JCGM 100, 4.3.7)."""
    half = 0.95 * reading.within
    return reading.value - half, reading.value + half


def judge(readings_v: dict[str, tuple[float, float]], least_v: float, most_v: float | None) -> Judged:
    """Return what readings come to beside limits, all in volts. ``readings_v``: what it is → its interval.

    The worst of them counts: nothing there, then low, then high, then what its limit is too near to tell. What is there
    at rest and gone under load is low, not absent. A reading at rest alone clears no source: ``at-rest``.
    """
    sides = {what: beside(low, high, least_v, most_v) for what, (low, high) in readings_v.items()}
    first, (_, rest_high) = next(iter(readings_v.items()))
    if rest_high < NOTHING * least_v:
        return Judged("absent", f"{first} there are at most {_v(rest_high)} V of at least {_v(least_v)} V")
    for side, verdict, words in (("below", "low", "under the least"), ("above", "high", "over the most")):
        for what, found in sides.items():
            if found == side:
                low, high = readings_v[what]
                limit = least_v if side == "below" else most_v
                assert limit is not None
                return Judged(verdict, f"{what} {_v(low)} to {_v(high)} V, {words} of {_v(limit)} V")
    for what, found in sides.items():
        if found == "cannot-tell":
            low, high = readings_v[what]
            why = f"{what} {_v(low)} to {_v(high)} V, and the limit lies within; read it with a finer meter"
            return Judged(CANNOT_TELL, why)
    return Judged("right" if len(readings_v) > 1 else "at-rest", "")


def _work(given: Given) -> Found:
    readings = {"at rest": given["volts"]}
    if "loaded" in given:
        readings["under load"] = given["loaded"]
    least, most = given["least"], given.get("most")
    if least.value <= 0:
        raise Unfit("least: a supply has to have some volts; give the least that your data allows", "least")
    if most is not None and most.value <= least.value:
        raise Unfit("most: it is no more than the least; have the two changed places?", "most")
    for name, reading in (("volts", given["volts"]), ("loaded", given.get("loaded"))):
        if reading is not None and reading.value < 0:
            raise Unfit(
                f"{name}: below nought; the meter's leads are the wrong way round, or it was set for another", name
            )
        if reading is not None and reading.value > 4 * least.value:
            raise Unfit(
                f"{name}: {_v(reading.value)} V is over four times the least of {_v(least.value)} V; is it the "
                "right supply, and are the units right?",
                name,
            )
    spans = {what: _read(reading) for what, reading in readings.items()}
    rest, loaded = given["volts"], given.get("loaded")
    if loaded is not None and loaded.low > rest.high:
        raise Unfit(
            f"loaded: it reads more than at rest ({loaded.told()} against {rest.told()}), and a load raises nothing: "
            "are they swapped, or was the source changed between them",
            "loaded",
        )
    lines = [
        f"{what.capitalize()}: {with_interval(Spread(readings[what].value, *ab), 'V')}." for what, ab in spans.items()
    ]
    figures = [Figure(what.replace(" ", "-"), what, readings[what].value, a, b, "V") for what, (a, b) in spans.items()]
    warnings = []
    if len(spans) == 2:
        sag = spread(lambda rest, loaded: rest - loaded, readings["at rest"], readings["under load"])
        lines.append(f"It sags by {with_interval(sag, 'V')} under that load.")
        figures.append(Figure("sag", "sag", *sag, "V"))
    else:
        warnings.append("nothing drew on it when it was read; a tired source reads well until it works")
    if not all(map(told_off, readings.values())):
        lines.append(LAST_DIGIT)
    return Found(
        tuple(lines),
        tuple(figures),
        {"": judge(spans, least.value, most.value if most is not None else None)},
        tuple(warnings),
    )


CALCULATION = Calculation(
    "volts",
    "a supply's volts, at rest and under load, beside what your data allows",
    (
        Input("volts", "voltage", "Volts at rest", hint="28.1 V"),
        Input("loaded", "voltage", "Volts while something heavy draws (Enter: not read)", default="", hint="26.4 V"),
        Input("least", "voltage", "The least that your approved data allows", limit=True, hint="24 V"),
        Input("most", "voltage", "The most that it allows (Enter: none told)", default="", limit=True, hint="29 V"),
    ),
    _work,
    "a reading beside a limit; its error by JCGM 100:2008, 4.3.7.",
    {"": {**SHARES, "absent": "Not there"}},
    shows=("loaded",),
)

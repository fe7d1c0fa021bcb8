"""Breakdown voltage of a gap in air against pressure: why a plug that fires on the bench may not in the engine.

A spark crosses an air gap when the voltage reaches the breakdown voltage, which in an even field depends on pressure
times gap (p·d), taken at 20 °C: at another temperature the density counts, p·293.15/T (Paschen). Two descriptions join:

- up to :data:`JOIN`, Paschen's law with Townsend's coefficients for air, V = B·p·d / (ln(A·p·d) − ln ln(1 + 1/γ)),
  A = 15 and B = 365 per Torr·cm, which hold for a field of 100 to 800 V/(cm·Torr) [memory of the usual tables]. γ is
  chosen so that the least breakdown voltage is the 327 V of measurements. Its place then comes to 0.90 Torr·cm, where
  0.567 is measured: with these coefficients V/(p·d) at the least is always B, so both cannot be met at once. A gap
  anywhere near there is not judged.
- beyond, where the field at breakdown falls under 100 V/(cm·Torr) and those coefficients run 15 to 20 % high, the usual
  fit for an even field, V = 24.36·p·d + 6.72·√(p·d) kV in bar·cm (Kuffel, Zaengl and Kuffel, *High Voltage
  Engineering*, after Meek and Craggs) [memory].

A plug is no even field in clean air: round edges it breaks down lower, a clean smooth gap hit by a fast pulse goes
higher, and humidity, dirt, fuel and heat all tell. So a figure is taken to be off by up to :data:`KIND` for the plug,
the same on the bench and in the engine, and by up to :data:`PLACE` in each place besides. Both are our judgement.

A plug with a semiconductor at its firing end sparks along the surface at far less, hardly according to pressure;
none of this applies to it, and nothing is worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import e, log
from typing import Any, Final

from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import spread
from isolate.calc.units import Quantity, figure

TORR_CM: Final = 101325 / 760 * 0.01
"""Pascal metres in a Torr·cm."""
A: Final = 15.0
"""1/(Torr·cm): ionisation in air."""
B: Final = 365.0
"""V/(Torr·cm)."""
LEAST_V: Final = 327.0
"""Volts under which air does not break down, at any pressure."""
FREED: Final = LEAST_V * A / (e * B)
"""ln(1 + 1/γ), γ the electrons freed at the cathode for each ion, that puts the least there: γ is about 0.007."""
LEAST_AT: Final = e / A * FREED
"""Torr·cm of the least: 0.90."""
JOIN: Final = 15.536
"""Torr·cm where the two descriptions give the same voltage; the field there is 94 V/(cm·Torr)."""
NEAR: Final = 2.0
"""Torr·cm, below which nothing is judged: the least is near, and left of it sparks take the longer way round."""
FAR: Final = 4000.0
"""Torr·cm (53 bar·mm), above which measured gaps in air fall short of the law: nothing is judged."""
KIND: Final = 0.20
PLACE: Final = 0.05
KELVIN: Final = 293.15
TURN: Final = 273.15

SURFACE, AIR = "surface", "air-gap"


@dataclass(frozen=True)
class Curve:
    """What the picture shows: the gap, places as (letter, pascals, the same at 20 °C, volts), the voltage to hand."""

    gap_m: float
    places: tuple[tuple[str, float, float, float], ...]
    available_v: float | None


def product(pressure_pa: Any, gap_m: Any, kelvin: Any = KELVIN) -> Any:
    """Return pressure times gap in Torr·cm, at the density that the air has."""
    return pressure_pa * gap_m / TORR_CM * (KELVIN / kelvin)


def breakdown(pressure_pa: Any, gap_m: Any, kelvin: Any = KELVIN) -> Any:
    """Return the breakdown voltage, in volts, of a gap in metres at an absolute pressure in pascals and a temperature.

    Numbers or arrays. Left of the least an even field breaks down no lower than at it: the least is given there.
    """
    import numpy as np

    pd = np.maximum(np.asarray(product(pressure_pa, gap_m, kelvin), dtype=float), LEAST_AT)
    townsend = B * pd / (np.log(A * pd) - log(FREED))
    bar_cm = pd * TORR_CM / 1000
    even = 24.36e3 * bar_cm + 6.72e3 * np.sqrt(bar_cm)
    return np.where(pd < JOIN, townsend, even)


def most_pressure(volts: Any, gap_m: Any, kelvin: Any = KELVIN) -> Any:
    """Return the absolute pressure, in pascals, up to which so many volts cross a gap; 0 where they never do.

    Right of the least, where the voltage rises with pressure; numbers or arrays.
    """
    import numpy as np

    pd = np.geomspace(LEAST_AT, 1e6, 4001)
    at = np.exp(np.interp(np.log(volts), np.log(breakdown(pd * TORR_CM, 1.0)), np.log(pd)))
    return np.where(np.asarray(volts) < LEAST_V, 0.0, at * TORR_CM / gap_m * kelvin / KELVIN)


def _work(given: Given) -> Found:
    if given["plug"] == SURFACE:
        return Found(
            ("A plug that sparks along a semiconductor's surface does not follow this: nothing is worked out.",),
            warnings=(
                "how such a plug fires hangs on its surface, not on pressure: look at it by your approved data, and do "
                "not clean its firing end unless those say so",
            ),
        )
    gap, bench, engine = given["gap"], given["bench"], given["engine"]
    for name, one in (("gap", gap), ("bench", bench), ("engine", engine)):
        if one.value - one.within <= 0:
            raise Unfit(f"{name}: {one.said()} may be nothing at all", name)
    if not 2e-5 <= gap.value <= 0.05:
        raise Unfit(f"gap: {gap.said()} is no gap of a plug", "gap")
    for name, one in (("bench", bench), ("engine", engine)):
        if not 1e3 <= one.value <= 1e7:
            raise Unfit(f"{name}: {one.said()} is no pressure about a plug; it is asked for absolute", name)
    warm = given["bench-temperature"]
    hot = given.get("engine-temperature", warm)
    for name, one in (("bench-temperature", warm), ("engine-temperature", hot)):
        if not -80 <= one.value <= 1500:
            raise Unfit(f"{name}: {one.said()} is no temperature of the air about a plug", name)
    kind, place_b, place_e = (Quantity("share", 1.0, within, "1") for within in (KIND, PLACE, PLACE))

    def volts(p: Any, d: Any, t: Any, k: Any, own: Any) -> Any:
        return breakdown(p, d, t + TURN) * k * own

    def times(d: Any, p: Any, t: Any, own: Any, p2: Any, t2: Any, own2: Any) -> Any:
        return breakdown(p2, d, t2 + TURN) * own2 / (breakdown(p, d, t + TURN) * own)

    on_bench = spread(volts, bench, gap, warm, kind, place_b)
    in_engine = spread(volts, engine, gap, hot, kind, place_e)
    ratio = spread(times, gap, bench, warm, place_b, engine, hot, place_e)
    lines = [
        f"On the bench it breaks down at about {_kv(on_bench)}, in the engine at about {_kv(in_engine)}.",
        f"In the engine that is {figure(ratio.value)} times as much ({figure(ratio.low)} to {figure(ratio.high)}).",
        f"The plug itself is taken to differ from an even gap by up to {100 * KIND:.0f} %, in each place by "
        f"{100 * PLACE:.0f} % more; "
        "that is our judgement.",
    ]
    figures = [
        Figure("bench", "breakdown voltage on the bench", *on_bench, "V"),
        Figure("engine", "breakdown voltage in the engine", *in_engine, "V"),
        Figure("ratio", "breakdown in the engine over that on the bench", *ratio, ""),
    ]
    warnings = [
        "this is an even gap worked out, not your plug measured: nobody measures the high-voltage side. Energy in the "
        "spark, fuel and flow decide besides whether an engine lights",
    ]
    if "engine-temperature" not in given:
        lines.append("The air in the engine is taken to be as warm as on the bench; hotter air breaks down lower.")
    if in_engine.value < on_bench.value:
        lines.append("The air in the engine is the thinner: the bench asks for more than the engine does.")
    judged: dict[str, Judged] = {}
    available = given["available"].value if "available" in given else None
    if available is not None:
        if not 100 <= available <= 1e5:
            raise Unfit(f"available: {given['available'].said()} is no voltage of an exciter", "available")
        for name, p, t, found in (("bench", bench, warm, on_bench), ("engine", engine, hot, in_engine)):
            judged[name] = _judge(available, found, float(product(p.value, gap.value, t.value + TURN)), name)

        def reaching(d: Any, t: Any, k: Any, own: Any) -> Any:
            return most_pressure(available / (k * own), d, t + TURN)

        reach = spread(reaching, gap, hot, kind, place_e)
        lines.append(
            f"{figure(available / 1e3)} kV cross this gap up to about {_bar(reach.value)} in the engine "
            f"({_bar(reach.low)} to {_bar(reach.high)})."
        )
        figures.append(Figure("reach", "highest pressure in the engine that it still crosses at", *reach, "Pa"))
    for name, p, t in (("bench", bench, warm), ("engine", engine, hot)):
        if (pd := float(product(p.value, gap.value, t.value + TURN))) < NEAR or pd > FAR:
            where = "on the bench" if name == "bench" else "in the engine"
            side = "near the least voltage that air breaks down at" if pd < NEAR else "beyond what the law is held to"
            warnings.append(f"{where} gap and pressure lie {side}; the figure is rough")
    places = tuple(
        (letter, p.value, p.value * KELVIN / (t.value + TURN), found.value)
        for letter, p, t, found in (("B", bench, warm, on_bench), ("E", engine, hot, in_engine))
    )
    return Found(tuple(lines), tuple(figures), judged, tuple(warnings), Curve(gap.value, places, available))


def _judge(available_v: float, found: Any, pd: float, place: str) -> Judged:
    """Return whether the voltage to hand breaks the gap down: wholly above the interval, below it, or within."""
    why = f"it takes {_kv(found)}, and your data give {figure(available_v / 1e3)} kV at least"
    where = "in the engine" if place == "engine" else "on the bench"
    if not NEAR <= pd <= FAR:
        return Judged(CANNOT_TELL, f"{where} {why}, but the law is not held to there")
    side = beside(found.low, found.high, None, available_v)
    if side == CANNOT_TELL:
        return Judged(
            CANNOT_TELL, f"{where} {why}; the approved test, and time to light in starts on each channel, would tell"
        )
    return Judged("fires" if side == "within" else "fails", why)


def _kv(found: Any) -> str:
    return f"{figure(found.value / 1e3)} kV ({figure(found.low / 1e3)} to {figure(found.high / 1e3)})"


def _bar(pressure_pa: float) -> str:
    return f"{figure(pressure_pa / 1e5)} bar" if pressure_pa else "no pressure"


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    """Draw breakdown voltage against pressure, both scales by decades: B the bench, E the engine."""
    curve: Curve | None = found.detail
    if curve is None:
        return ()
    import numpy as np

    mark, wall, corner, dash, level = (".", "|", "+", "-", "=") if ascii_only else ("·", "│", "└", "─", "╌")
    columns, rows = max(12, min(width, 90) - 9), 11
    pressures = [p for _, _, p, _ in curve.places]
    left, right = log(min(pressures)) - 0.7, log(max(pressures)) + 0.7
    along = np.linspace(left, right, columns)
    heights = np.log(breakdown(np.exp(along), curve.gap_m))
    low, high = float(heights.min()), float(heights.max())
    if curve.available_v is not None:
        low, high = min(low, log(curve.available_v)), max(high, log(curve.available_v))
    low, high = low - 0.05, high + 0.05

    def row_of(volts: float) -> int:
        return max(0, min(rows - 1, round((high - log(volts)) / (high - low) * (rows - 1))))

    canvas = [[" "] * columns for _ in range(rows)]
    names: dict[int, str] = {}
    if curve.available_v is not None:
        canvas[row_of(curve.available_v)] = [level] * columns
        names[row_of(curve.available_v)] = f"{figure(curve.available_v / 1e3)} kV"
    for column, height in enumerate(heights):
        canvas[row_of(float(np.exp(height)))][column] = mark
    feet = [" "] * columns
    for letter, told, pressure, volts in curve.places:
        column = round((log(pressure) - left) / (right - left) * (columns - 1))
        there = row_of(volts)
        same = canvas[there][column] in "BE"
        canvas[there][column] = "*" if same else letter
        names.setdefault(there, f"{figure(volts / 1e3)} kV")
        text = f"{figure(told / 1e5)} bar"
        start = min(max(0, column - len(text) // 2), columns - len(text))
        if all(mark == " " for mark in feet[max(0, start - 1) : start + len(text) + 1]):
            feet[start : start + len(text)] = text
    out = [f"{names.get(i, ''):>8}{wall}{''.join(row)}".rstrip() for i, row in enumerate(canvas)]
    out.append(" " * 8 + corner + dash * columns)
    out.append(" " * 9 + "".join(feet).rstrip())
    key = f"  B bench, E engine, {mark} breakdown"
    out += [key, *([f"  {level} voltage of your data"] if curve.available_v is not None else [])]
    out.append(f"  along: pressure, as if at 20 {'C' if ascii_only else '°C'}")
    return [line[:width] for line in out]


CALCULATION = Calculation(
    "gap",
    "breakdown voltage of a gap against pressure: on the bench and in the engine",
    (
        Input(
            "plug",
            "choice",
            "Kind of plug: a plain air gap, or a surface gap with a semiconductor at its firing end",
            choices=(AIR, SURFACE),
        ),
        Input("gap", "length", "Gap that the spark has to cross", hint="1.5 mm"),
        Input("bench", "pressure", "Pressure about it on the bench, absolute", hint="101 kPa"),
        Input("engine", "pressure", "Pressure about it in the engine at light-up, absolute", hint="300 kPa"),
        Input("bench-temperature", "temperature", "Air on the bench", "20 °C ± 10 °C"),
        Input("engine-temperature", "temperature", "Air about it in the engine at light-up", "", hint="60 °C"),
        Input(
            "available",
            "voltage",
            "Least voltage that the exciter puts out, from your approved data",
            "",
            limit=True,
            hint="12 kV",
        ),
    ),
    _work,
    "Paschen's law with Townsend's coefficients for air, and beyond them the usual fit for an even field (Kuffel, "
    "Zaengl and Kuffel); both from memory. How far a plug may differ is our judgement.",
    {
        place: {"fires": f"Enough to cross the gap {where}", "fails": f"Too little to cross the gap {where}"}
        for place, where in (("bench", "on the bench"), ("engine", "in the engine"))
    },
    _draw,
)

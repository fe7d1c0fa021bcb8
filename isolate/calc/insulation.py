"""Insulation of a lead: brought to the temperature of its limit, with what damp may have done to it, beside the limit.

Insulation goes down as it gets warmer, about by half for each 10 °C (IEEE Std 43), and damp on a terminal leads round
it. So a low reading, warm or wet, is not yet a breach; a high one in the wet is all the better. The tester gives some
hundreds of volts and the exciter thousands: what holds here may still go there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from isolate.calc import wire
from isolate.calc.bars import Bar, Zone, decades
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import Spread, spread
from isolate.calc.units import Quantity, figure
from isolate.calc.wire import LAST_DIGIT, in_ohm, told_off, with_ohm

HALVES_C: Final = 10.0
"""°C in which insulation resistance about halves: IEEE Std 43, [memory]."""
HALVES_WITHIN_C: Final = 2.0
"""What that may be off by, either way: our judgement; it depends on the material."""
FAR_C: Final = 40.0
"""Further from the reference the correction is more guess than figure: our judgement (it is then 16 and more)."""
DAMP: Final[dict[str, float]] = {"dry": 1.0, "damp": 10.0, "wet": 1000.0}
"""How many times lower a sound lead may read for what creeps over its ends: common practice, orders of magnitude."""
CLASSES: Final = (
    "Dry: dry to eye and hand, and no dew, mist or rain about. Damp: dew, mist or rain about, or ends not wiped since. "
    "Wet: water is seen on the lead or its ends."
)
"""What those words are taken to mean: our judgement."""
APART: Final = (
    "Exciter and plug are off the lead for this, the voltage is the one that your approved data gives, and the lead is "
    "discharged and grounded after it. Nothing is measured on the exciter's output."
)
FALLS: Final = 0.1
"""Share that a reading goes down by, while it is watched, to count as falling: our judgement."""
INDEX_UP_TO_OHM: Final = 5e9
"""Above this at one minute a polarisation index says nothing: IEEE Std 43, [memory]."""
TESTER_V: Final = 50.0
"""Below this it is no insulation tester: our judgement; a meter's own few volts find only what is burnt through."""
PASCHEN_V: Final = 327.0
"""No gap in air breaks down below this, however narrow: Paschen's minimum, [memory]."""
OFF_VOLTAGE: Final = 0.1
"""Share that a tester may be off the voltage that was asked for: our judgement."""


@dataclass(frozen=True)
class Tell:
    """What a reading in a range commonly is. ``up_to``: Ω, exclusive."""

    up_to: float
    word: str
    says: str


TELLS: Final = (
    Tell(1e3, "short", "a dead short: burnt or chafed through to the shield"),
    Tell(1e6, "track", "a carbon track, or water standing in a cavity; a track stays when it is dry"),
    Tell(1e8, "damp", "damp or dirt on the ends, heat, age, or a track that begins"),
    Tell(float("inf"), "sound", "sound as far as this voltage can tell"),
)
"""What a breach reads, by orders of magnitude: common practice, no document stands behind it."""
SCALE: Final = (1.0, 1e11)
"""Ends of the picture's scale, Ω."""


@dataclass(frozen=True)
class Detail:
    """What the picture is drawn of."""

    rows: tuple[Bar, ...]
    least: float | None


def at_reference(ohm: Any, from_c: Any, to_c: Any, halves_c: Any = HALVES_C) -> Any:
    """Return Ω of insulation read at one temperature as it would be at another, °C both. Numbers or arrays.

    ``R · 2^((from - to)/10)``: it halves for each 10 °C of rise (IEEE Std 43, from memory of the standard).
    """
    return ohm * 2 ** ((from_c - to_c) / halves_c)


def tell(ohm: float) -> Tell:
    """Return what such a reading commonly is, dry and cool."""
    return next(t for t in TELLS if ohm < t.up_to)


def falling(readings: Sequence[Quantity]) -> bool:
    """Return whether readings in the order taken go down: last under first by more than tester and eye explain."""
    first, last = readings[0], readings[-1]
    if first.bound == "above":  # what was over the range and then is not has come down
        return not last.bound and last.high < first.value * (1 - FALLS)
    return not last.bound and last.high < first.low and last.value < first.value * (1 - FALLS)


def dipped(readings: Sequence[Quantity]) -> Quantity | None:
    """Return the reading that lies under one before it, and under the last, by more than tester and eye explain.

    A rise from the first reading on is no dip: a lead charges. None: there is none.
    """
    for n, one in enumerate(readings):
        if any(falling([before, one]) for before in readings[:n]) and falling([readings[-1], one]):
            return one
    return None


def _work(given: Given) -> Found:
    _look_over(given)
    readings: tuple[Quantity, ...] = given["reading"]
    last, to_c = readings[-1], given["reference"].value
    least = given["least"].value if "least" in given else None
    at: Quantity | None = given.get("temperature")
    shown, says = _corrected(last, at, to_c)
    what = f"at {figure(to_c)} °C" if at is not None else "as read"
    lines = [f"Its insulation has {says} {what}, {figure(given['voltage'].value)} V on it."]
    if at is not None:
        lines.append(
            f"Read at {figure(at.value)} °C it was {_read(last)}; it about halves for each 10 °C of rise (IEEE 43)."
        )
    figures = [Figure("insulation", f"insulation resistance {what}", *shown, "Ω")]
    lines += _damp(given, shown)
    down = falling(readings)
    index = _index(given, readings, lines, figures)
    judged = _judged(given, shown, least, down, index)
    lines.append("What such a reading commonly is, dry and cool (practice, by orders of magnitude):")
    lines += _table(last, shown)
    if not last.bound and not told_off(last):
        lines.append(LAST_DIGIT)
    rows = [Bar("as read", last.value, *(_ends(last)), _read(last))]
    if at is not None:
        rows.append(Bar(what, *shown, says))
    times = DAMP[given["air"]]
    if times > 1 and shown.high < float("inf"):
        rows.append(
            Bar("dry, perhaps", shown.value, shown.low, shown.high * times, f"up to {in_ohm(shown.high * times)}")
        )
    rows = [r for r in rows if r.value < float("inf")]
    return Found(tuple(lines), tuple(figures), judged, _warned(given, last), Detail(tuple(rows), least))


def _table(last: Quantity, shown: Spread) -> list[str]:
    """Return what a breach reads, a line each, this reading's marked."""
    here = tell(shown.value)
    found = []
    for before, one in zip((None, *TELLS), TELLS, strict=False):
        stretch = f"up to {in_ohm(one.up_to)}" if one.up_to < float("inf") else f"above {in_ohm(TELLS[-2].up_to)}"
        if before is not None and one.up_to < float("inf"):
            stretch = f"{in_ohm(before.up_to)} to {in_ohm(one.up_to)}"
        mark = " <- this reading" if one is here else ""
        if mark and last.bound == "above" and one.up_to < float("inf"):
            mark = " <- this reading, or further down the list"
        found.append(f"{stretch}: {one.says}{mark}")
    return found


def _ends(q: Quantity) -> tuple[float, float]:
    return max(q.low, 0.0), q.high


def _read(q: Quantity) -> str:
    return f"{'over ' if q.bound == 'above' else 'under ' if q.bound else ''}{in_ohm(q.value)}"


def _corrected(q: Quantity, at: Quantity | None, to_c: float) -> tuple[Spread, str]:
    """Return a reading at the reference with its interval, open where the tester could not see, and in words."""
    plain = Quantity(q.kind, q.value, q.within, q.unit)
    if at is None:
        shown = spread(lambda r: r, plain)
    else:
        halves = Quantity("temperature", HALVES_C, HALVES_WITHIN_C, "°C")
        shown = spread(lambda r, c, h: at_reference(r, c, to_c, h), plain, at, halves)
    if q.bound == "above":
        return Spread(shown.value, shown.low, float("inf")), f"more than {in_ohm(shown.low)}"
    if q.bound == "below":
        return Spread(shown.value, 0.0, shown.high), f"less than {in_ohm(shown.high)}"
    return shown, with_ohm(shown)


def _look_over(given: Given) -> None:
    """Raise Unfit for what cannot be."""
    readings: tuple[Quantity, ...] = given["reading"]
    if not readings:
        raise Unfit("reading has to be told: what the tester reads (such as 450 MΩ)", "reading")
    for name, told in (("reading", readings), ("after-10-min", tuple(v for v in (given.get("after-10-min"),) if v))):
        for q in told:
            if q.value == float("inf"):
                raise Unfit(
                    f"{name}: over the tester's range says something only with the range: type it as more than the "
                    "most that the tester shows, such as >550 MΩ",
                    name,
                )
            if q.unit in ("mΩ", "µΩ"):
                raise Unfit(f"{name}: {q.told()}: no tester of insulation shows that unit; MΩ", name)
    least = given.get("least")
    if least is not None and least.value < 1000:
        raise Unfit(f"least: {least.told()} is no limit for insulation: is the unit right (MΩ, not mΩ)", "least")
    for name in ("voltage", "asked-voltage"):
        if name in given and given[name].value <= 0:
            raise Unfit(f"{name}: a test takes a voltage above nought", name)
        if name in given and given[name].value > 15e3:
            raise Unfit(f"{name}: {given[name].told()} is no tester's; is the unit right", name)
    for name in ("temperature", "reference"):
        if name in given:
            wire.fit_temperature(given[name].value, name)


def _damp(given: Given, shown: Spread) -> list[str]:
    times = DAMP[given["air"]]
    if times == 1:
        return []
    return [
        f"{given['air'].capitalize()} as it is, what creeps over the ends may bring a sound lead down to about "
        f"1/{times:.0f} of itself (practice): dry it might have up to {in_ohm(shown.high * times)}."
        if shown.high < float("inf")
        else f"It has that although it is {given['air']}; dry it has no less."
    ]


def _index(
    given: Given, readings: Sequence[Quantity], lines: list[str], figures: list[Figure]
) -> tuple[Spread, bool] | None:
    """Say the polarisation index; return it, and whether it says anything. None: none told, or none to be had."""
    ten: Quantity | None = given.get("after-10-min")
    one = readings[-1]
    if ten is None:
        return None
    if ten.bound or one.bound or one.value <= 0 or one.within >= one.value:
        lines.append("There is no polarisation index: both readings have to be figures that the tester can tell.")
        return None
    found = spread(lambda a, b: b / a, one, ten)
    figures.append(Figure("index", "polarisation index, 10 min over 1 min", *found, "1"))
    said = f"Polarisation index {figure(found.value)} ({figure(found.low)} to {figure(found.high)})"
    if one.value > INDEX_UP_TO_OHM:
        lines.append(f"{said}: above {in_ohm(INDEX_UP_TO_OHM)} at one minute it says nothing (IEEE 43).")
        return found, False
    lines.append(
        f"{said}. It was made for windings; a short lead charges at once, so about 1 is no fault in one. Less than 1 "
        "is: it goes down under voltage."
    )
    return found, True


def _judged(
    given: Given, shown: Spread, least: float | None, down: bool, index: tuple[Spread, bool] | None
) -> dict[str, Judged]:
    readings: tuple[Quantity, ...] = given["reading"]
    if down:
        return {"": Judged("falling", f"from {_read(readings[0])} to {_read(readings[-1])}")}
    if index is not None and index[1] and index[0].high < 1 - FALLS:
        return {"": Judged("falling", f"it has {figure(100 * index[0].value, 2)} % of itself left after 10 minutes")}
    if least is None:
        return {}
    against = f"{_against(readings[-1], shown)} against {in_ohm(least)}"
    asked, volts = given.get("asked-voltage"), given["voltage"]
    times = DAMP[given["air"]]
    # The rule for temperature is one of windings: by it alone a lead is neither cleared nor condemned.
    read = _corrected(readings[-1], None, 0.0)[0]
    side = beside(min(shown.low, read.low), max(shown.high, read.high) * times, least, None)
    if side == "within" and volts.value < TESTER_V:
        return {"": Judged(CANNOT_TELL, f"{figure(volts.value)} V is no test of insulation, however high it reads")}
    if side == "within" and asked is not None and volts.value < asked.value * (1 - OFF_VOLTAGE):
        why = f"{against}, but at {figure(volts.value)} V where {figure(asked.value)} V is asked for"
        return {"": Judged(CANNOT_TELL, why)}
    if side == "within" and (low := dipped(readings)) is not None and low.low < least:
        why = f"{against}, but while it was watched it went down to {_read(low)} and came back: find what makes it"
        return {"": Judged(CANNOT_TELL, why)}
    if side == CANNOT_TELL:
        return {"": Judged(side, f"{against}; {_settle(given, shown, least)}")}
    return {"": Judged(side, against + (f", {given['air']} or not" if times > 1 else ""))}


def _against(q: Quantity, shown: Spread) -> str:
    if q.bound == "above":
        return f"more than {in_ohm(shown.low)}"
    return f"less than {in_ohm(shown.high)}" if q.bound else with_ohm(shown)


def _settle(given: Given, shown: Spread, least: float) -> str:
    """Return what would settle a reading that its limit lies too near to."""
    damp = DAMP[given["air"]]
    if beside(shown.low, shown.high * damp, least, None) != CANNOT_TELL:
        passes = "passes" if shown.low >= least else "fails"
        return (
            f"as read it was {_read(given['reading'][-1])}, and it {passes} by the correction alone: let it come to "
            f"{figure(given['reference'].value)} °C and read again"
        )
    if shown.high < least:
        return (
            f"{given['air']} as it is that is no breach yet: dry and clean the ends as your data says, and read again"
        )
    if given["reading"][-1].bound == "above" and given["reading"][-1].low >= least:
        return (
            f"as read it passes, and so cold that says little: let it come to {figure(given['reference'].value)} °C "
            "and read again"
        )
    if given["reading"][-1].bound == "above":
        return "the tester cannot see as high as the limit: a tester of more range settles it"
    if "temperature" in given and abs(given["temperature"].value - given["reference"].value) > FAR_C / 4:
        return "the correction for temperature is rough: let it come to the limit's temperature and read again"
    return "the limit lies within what the reading may be off by: a finer reading settles it"


def _warned(given: Given, last: Quantity) -> tuple[str, ...]:
    volts, asked = given["voltage"], given.get("asked-voltage")
    found = [APART]
    if asked is not None and abs(volts.value - asked.value) > OFF_VOLTAGE * asked.value + volts.within:
        found.append(
            f"The test was at {figure(volts.value)} V and not at the {figure(asked.value)} V that is asked for."
        )
    if volts.value < PASCHEN_V:
        found.append(
            f"No gap in air breaks down below about {PASCHEN_V:.0f} V (Paschen), so at {figure(volts.value)} V a clean "
            "crack or a cut reads as sound."
        )
    else:
        found.append("The exciter gives thousands of volts: a crack that holds this voltage may not hold that.")
    if "temperature" not in given:
        found.append("It is not corrected for temperature: warm, a sound lead reads low, and cold, a bad one high.")
    elif abs(given["temperature"].value - given["reference"].value) > FAR_C:
        found.append(
            "So far from the limit's temperature the correction is more guess than figure: read it again there."
        )
    if last.value == 0:
        found.append("It reads nothing at all: put the tester's leads apart and see that it reads high then.")
    return tuple(found)


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    detail = found.detail
    if detail is None or not detail.rows:
        return ()
    edges = [SCALE[0], *(t.up_to for t in TELLS[:-1]), SCALE[1]]
    zones = [Zone(a, b, t.word) for a, b, t in zip(edges, edges[1:], TELLS, strict=False)]
    ticks = [in_ohm(e) for e in edges]
    return decades(zones, detail.rows, detail.least, width, ascii_only, ticks)


CALCULATION = Calculation(
    "insulation",
    "insulation resistance, corrected for temperature and humidity, beside its limit",
    (
        Input(
            *("reading", "resistance", "What the tester reads; several in the order read, as it is watched"),
            many=True,
            beyond=True,
            hint="450 MΩ",
        ),
        Input("voltage", "voltage", "Test voltage that the tester gave", hint="500 V"),
        Input("air", "choice", "How damp lead and air are", choices=tuple(DAMP), more=CLASSES),
        Input("temperature", "temperature", "How warm the lead is", "", hint="35 °C"),
        Input("least", "resistance", "Least that your approved data asks for", "", limit=True, hint="100 MΩ"),
        Input(
            "asked-voltage", "voltage", "Test voltage that your approved data asks for", "", limit=True, hint="500 V"
        ),
        # 40 °C is IEEE 43's, for windings; what is written for leads and shop meters is written for a room.
        Input("reference", "temperature", "Temperature that the limit is stated for", "20 °C", after="temperature"),
        Input("after-10-min", "resistance", "What it reads after 10 minutes, if held so long", "", beyond=True),
    ),
    _work,
    "IEEE Std 43 (halves for each 10 °C; polarisation index), from memory. Damp and what a breach reads: practice.",
    {
        "": {
            "within": "At or above what your data asks for",
            "below": "Below what your data asks for",
            "falling": "It falls while it is watched",
        }
    },
    _draw,
    shows=("least",),
    before=(APART,),
)

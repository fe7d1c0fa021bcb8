"""A conductor's resistance: test leads taken off, brought to the temperature of its limit, beside the limit; steady?

For a lead, a bond, a ground return or a feed read dead from end to end. Copper's resistance goes up by about 0.4 % for
each degree, so a lead still warm from the engine reads high without being bad.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

from isolate.calc import wire
from isolate.calc.bars import Bar, bars
from isolate.calc.several import of_mean
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import COVERED, DRAWS, Spread
from isolate.calc.units import Quantity, figure
from isolate.calc.wire import LAST_DIGIT, in_ohm, told_off, with_ohm

JUMP: Final = 0.1
"""Share of the reading that it may wander by and still be steady: our judgement; clips alone do as much."""
COARSE: Final = 0.25
"""A meter that may be off by more than this share of the reading sees no jump: our judgement."""
NO_CONDUCTOR_OHM: Final = 100e3
"""What reads more from end to end is no conductor, or its unit was mistaken: our judgement."""
LITTLE_OHM: Final = 5.0
"""Below this the meter's own leads count."""
LEADS_OHM: Final = 0.5
"""A meter's own leads may have as much: common practice. What was read without taking them off and is above its limit
by less may be the leads alone."""
DEAD: Final = "It is read dead: supplies pulled and tagged, and an ignition lead off at both ends and grounded first."
LINEAR_C: Final = 200.0
"""Above this the straight line of resistance over temperature is rough."""


class Metal(NamedTuple):
    """Rise of resistance with temperature at 20 °C, each °C, and what that may be off by either way."""

    per_c: float
    within: float


METALS: Final[dict[str, Metal]] = {
    "copper": Metal(0.00393, 0.00002),
    "nickel": Metal(0.0060, 0.0006),
    "stainless": Metal(0.0010, 0.0003),
}
"""Copper, plated or not: NBS Handbook 100. Nickel and stainless steel: [memory], they depend on purity and grade."""


@dataclass(frozen=True)
class Detail:
    """What the picture is drawn of."""

    rows: tuple[Bar, ...]
    limits: tuple[float, ...]


def brought(ohm: Any, from_c: Any, to_c: Any, per_c: Any = METALS["copper"].per_c) -> Any:
    """Return the Ω that a conductor read at one temperature has at another, °C both. Numbers or arrays.

    ``R·(1 + a·(to - 20))/(1 + a·(from - 20))``, with ``a`` each °C at 20 °C (NBS Handbook 100 for copper).
    """
    return ohm * (1 + per_c * (to_c - 20)) / (1 + per_c * (from_c - 20))


def apart(readings: Sequence[Quantity]) -> bool:
    """Return whether readings of one thing are further apart than the meter and its clips explain.

    More than twice what the two furthest may be off by together, and more than :data:`JUMP` of the least of them.
    """
    least, most = min(readings, key=lambda q: q.value), max(readings, key=lambda q: q.value)
    width = most.value - least.value
    return width > 2 * (least.within + most.within) and width > JUMP * least.value


def explained(readings: Sequence[Quantity]) -> bool:
    """Return whether readings are no further apart than the meter may be off by, or :data:`JUMP` of the least."""
    least, most = min(readings, key=lambda q: q.value), max(readings, key=lambda q: q.value)
    return most.value - least.value <= max(least.within + most.within, JUMP * least.value) * (1 + 1e-9)


def mean_ohm(readings: Sequence[Quantity], chance: Any) -> Any:
    """Return drawn means of several readings, shape (DRAWS,).

    One even draw for what the meter is off by in all of them, and Student's t with n - 1 degrees of freedom for their
    own scatter (:mod:`isolate.calc.several`).
    """
    values = [q.value for q in readings]
    drawn = sum(values) / len(values)
    drawn = drawn + sum(q.within for q in readings) / len(readings) * chance.uniform(-1, 1, DRAWS)
    if scatter := of_mean(readings):
        drawn = drawn + scatter * chance.standard_t(len(values) - 1, DRAWS)
    return drawn


def corrected(
    readings: Sequence[Quantity], zero: Quantity | None, at: Quantity | None, to_c: float, metal: Metal
) -> tuple[Spread, Spread]:
    """Return the mean reading less the leads, as read, and brought to a temperature; both with their intervals in Ω.

    ``zero``: what the meter's leads read put together; ``at``: how warm the conductor was, None: it stays as read.
    """
    import numpy as np

    chance = np.random.default_rng(20080101)
    drawn = mean_ohm(readings, chance)
    value = sum(q.value for q in readings) / len(readings)
    if zero is not None:
        drawn = drawn - (zero.value + zero.within * chance.uniform(-1, 1, DRAWS))
        value -= zero.value
    read = _summed(value, drawn)
    if at is None:
        return read, read
    warm = at.value + at.within * chance.uniform(-1, 1, DRAWS)
    per_c = metal.per_c + metal.within * chance.uniform(-1, 1, DRAWS)
    return read, _summed(brought(value, at.value, to_c, metal.per_c), brought(drawn, warm, to_c, per_c))


def _summed(value: float, drawn: Any) -> Spread:
    """Return the interval of draws; no conductor has less than nothing."""
    import numpy as np

    tail = (1 - COVERED) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail])
    value = max(value, 0.0)
    return Spread(value, min(value, max(float(low), 0.0)), max(value, float(high)))


def _work(given: Given) -> Found:
    _look_over(given)
    all_read: tuple[Quantity, ...] = given["reading"]
    read = [q for q in all_read if not q.bound]
    moved = given["moved"]
    least, most = (given[n].value if n in given else None for n in ("least", "most"))
    if not read:
        return _beyond(all_read, most, moved)
    if len(read) < len(all_read):
        why = (
            f"{len(all_read) - len(read)} of {len(all_read)} readings were open or over the range, the others were not"
        )
        judged = {"": Judged("unsteady", why)} | ({"movement": Judged("jumps", why)} if moved else {})
        lines = ["It opens and closes: a conductor or a contact breaks as it lies or as it is moved."]
        return Found(tuple(lines + _next(moved)), (), judged)
    zero, at, to_c = given.get("zero"), given.get("temperature"), given["reference"].value
    if zero is not None and zero.value == 0 and not told_off(zero):
        # The meter was zeroed: what its last digit leaves open is in the reading already.
        zero = replace(zero, within=0.0)
    metal = METALS[given["metal"]]
    if apart(read):
        return _unsteady(read, moved, _warned(given, None))
    as_read, shown = corrected(read, zero, at, to_c, metal)
    what = f"at {figure(to_c)} °C" if at is not None else "as read"
    lines = [f"It has {with_ohm(shown)} {what}{_leads(zero)}{_mean(read)}."]
    if at is not None:
        lines.append(
            f"As read it was {with_ohm(as_read)} at {figure(at.value)} °C; {given['metal']} goes up by about "
            f"{figure(100 * metal.per_c, 2)} % for each °C."
        )
    figures = [Figure("resistance", f"resistance {what}", *shown, "Ω")]
    highest = corrected([max(read, key=lambda q: q.value)], zero, at, to_c, metal)[1]
    judged = _judged(read, shown, highest, least, most, moved, zeroed=zero is not None)
    if len(read) == 1:
        lines.append("One reading tells nothing of how clips and contacts scatter: the interval is the meter's alone.")
    elif len(read) == 2:
        lines.append("Two readings tell little of how they scatter, so the interval is wide; a third narrows it.")
    if not all(map(told_off, read)):
        lines.append(LAST_DIGIT)
    rows = [*_bars(read)]
    if at is not None or zero is not None or len(read) > 1:
        label = what if at is not None else "less the leads" if zero is not None else "mean"
        rows.append(Bar(label, *shown, with_ohm(shown)))
    limits = tuple(v for v in (least, most) if v is not None)
    return Found(tuple(lines), tuple(figures), judged, _warned(given, shown), Detail(tuple(rows), limits))


MOST_BARS: Final = 8


def _look_over(given: Given) -> None:
    """Raise Unfit for what cannot be."""
    readings: tuple[Quantity, ...] = given["reading"]
    if not readings:
        raise Unfit("reading has to be told: what the meter reads, end to end (such as 0.85 Ω, or open)", "reading")
    for q in readings:
        if q.bound == "below":
            raise Unfit(f"reading: {q.told()} is no figure; tell what it reads, or open", "reading")
        if q.value >= NO_CONDUCTOR_OHM and not q.bound:
            raise Unfit(
                f"reading: {q.told()} from end to end is no conductor. MΩ or mΩ? If the meter reads open, say open",
                "reading",
            )
    least, most = given.get("least"), given.get("most")
    for name, limit in (("least", least), ("most", most)):
        if limit is not None and limit.value >= NO_CONDUCTOR_OHM:
            raise Unfit(f"{name}: {limit.told()} is no limit of a conductor: MΩ or mΩ", name)
    if most is not None and most.value <= 0:
        raise Unfit("most: nothing has a resistance of nothing", "most")
    if least is not None and most is not None and least.value > most.value:
        raise Unfit("least is above most: are they swapped", "least")
    for name in ("temperature", "reference"):
        if name in given:
            wire.fit_temperature(given[name].value, name)
    zero = given.get("zero")
    read = [q for q in readings if not q.bound]
    if zero is not None and read and zero.low > min(q.high for q in read):
        raise Unfit(
            f"zero: the leads alone ({zero.told()}) read more than the whole ({read[0].told()}): are they swapped",
            "zero",
        )


def _beyond(readings: Sequence[Quantity], most: float | None, moved: bool) -> Found:
    """Say what it is where the meter was over its range in all readings: open, unless that was a low range."""
    surest = max(q.value for q in readings)
    judged = {}
    if surest >= NO_CONDUCTOR_OHM:
        lines = ["It is open: no current goes from end to end, or the clips do not touch."]
        lines.append("Put the meter's leads together once more: they have to read next to nothing.")
        judged[""] = Judged("open", "the meter reads open")
    else:
        lines = [f"It has more than {in_ohm(surest)}. A higher range of the meter tells whether it is open."]
        if most is not None:
            side = "above" if surest >= most else CANNOT_TELL
            judged[""] = Judged(side, f"more than {in_ohm(surest)} against at most {in_ohm(most)}")
    if moved:
        judged["movement"] = Judged(CANNOT_TELL, "over the range wherever it is moved, it shows no jump")
    return Found(tuple(lines), (), judged)


def _unsteady(read: Sequence[Quantity], moved: bool, warnings: tuple[str, ...]) -> Found:
    """Say that readings are apart: they have no middle that means anything."""
    why = f"{_between(read)}, more than meter and clips explain"
    judged = {"": Judged("unsteady", why)} | ({"movement": Judged("jumps", why)} if moved else {})
    lines = [f"It does not hold still: {_between(read)}. A mean of that says nothing.", *_next(moved)]
    return Found(tuple(lines), (), judged, warnings, Detail(_bars(read), ()))


def _between(read: Sequence[Quantity]) -> str:
    return f"{in_ohm(min(q.value for q in read))} to {in_ohm(max(q.value for q in read))}"


def _bars(read: Sequence[Quantity]) -> tuple[Bar, ...]:
    return tuple(
        Bar(f"reading {n}" if len(read) > 1 else "as read", q.value, max(0.0, q.low), q.high, in_ohm(q.value))
        for n, q in enumerate(read[:MOST_BARS], 1)
    )


def _judged(
    read: Sequence[Quantity],
    shown: Spread,
    highest: Spread,
    least: float | None,
    most: float | None,
    moved: bool,
    zeroed: bool,
) -> dict[str, Judged]:
    """Judge the mean beside its limits, and whether it holds still. ``highest``: of the readings, brought as the mean.

    What was moved between its readings is no better than where it reads highest.
    """
    judged: dict[str, Judged] = {}
    if least is not None or most is not None:
        side: str = beside(shown.low, shown.high, least, most)
        limits = " and ".join(
            [
                *([f"at least {in_ohm(least)}"] if least is not None else []),
                *([f"at most {in_ohm(most)}"] if most is not None else []),
            ]
        )
        why = f"{with_ohm(shown)} against {limits}"
        if side == CANNOT_TELL:
            why += "; the limit lies within what that may be off by: "
            why += (
                "more readings settle it, or clips that bite better" if of_mean(read) else "a finer meter settles it"
            )
        elif side == "above" and not zeroed and most is not None and shown.low - LEADS_OHM <= most:
            side = CANNOT_TELL
            why += ", but the meter's own leads may be that much: put them together and tell what they read"
        elif side == "within" and moved and len(read) < 2:
            side = CANNOT_TELL
            why += ", but it was not seen whether it holds still: tell one reading at rest and one as it is moved"
        elif side == "within" and moved and most is not None and highest.high > most:
            side = CANNOT_TELL
            why += f", but as it is moved it goes up to {with_ohm(highest)}"
        judged[""] = Judged(side, why)
    if not moved:
        return judged
    if len(read) < 2:
        judged["movement"] = Judged(
            CANNOT_TELL, "one reading says nothing of movement: tell the highest and the lowest"
        )
    elif any(q.within > COARSE * max(q.value, 1e-9) for q in read):
        judged["movement"] = Judged(CANNOT_TELL, "the meter is too coarse here to see a jump: use a lower range")
    elif not explained(read):
        why = f"{_between(read)}, more than the meter explains and too little to be sure: read it on a lower range"
        judged["movement"] = Judged(CANNOT_TELL, why)
    else:
        judged["movement"] = Judged("steady", f"{_between(read)}, no more than meter and clips explain")
    return judged


def _next(moved: bool) -> list[str]:
    if moved:
        return ["Mark the place where it jumps, go past it and come back."]
    return ["Wiggle it, dead, on the meter to find the place; off at both ends if it is a lead."]


def _leads(zero: Quantity | None) -> str:
    return f", {in_ohm(zero.value)} of the meter's leads taken off" if zero is not None and zero.value else ""


def _mean(read: Sequence[Quantity]) -> str:
    return f", the mean of {len(read)} readings" if len(read) > 1 else ""


def _warned(given: Given, shown: Spread | None) -> tuple[str, ...]:
    found = [DEAD]
    if "zero" not in given and shown is not None and shown.value < LITTLE_OHM:
        found.append(
            "The meter's own leads are still in it: put them together and tell what they read (zero), or 0 Ω if the "
            "meter was zeroed."
        )
    if "temperature" not in given and shown is not None and ("least" in given or "most" in given):
        found.append("It is not corrected for temperature: a warm conductor reads high, a cold one low.")
    if max((given[n].value for n in ("temperature", "reference") if n in given), default=0.0) > LINEAR_C:
        found.append("So hot the correction is rough: let it cool and read again.")
    if given["metal"] != "copper" and "temperature" in given:
        found.append(f"How {given['metal']} goes with temperature depends on its grade; its interval is wide for that.")
    return tuple(found)


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    if found.detail is None:
        return ()
    return bars(found.detail.rows, found.detail.limits, width, ascii_only, "limit of your data")


CALCULATION = Calculation(
    "lead",
    "a conductor's resistance, corrected to temperature, beside its limit",
    (
        Input(
            *("reading", "resistance", "What the meter reads, end to end; several of the same two points alone"),
            many=True,
            beyond=True,
            hint="0.85 Ω; 0.86 Ω",
        ),
        Input(
            *("zero", "resistance", "What the meter's own leads read, put together; 0 Ω if it was zeroed", ""),
            hint="0.12 Ω",
        ),
        Input("temperature", "temperature", "How warm the conductor is", "", hint="35 °C"),
        Input("most", "resistance", "Most that your approved data allows", "", limit=True, hint="1.0 Ω"),
        Input("least", "resistance", "Least that your approved data allows", "", limit=True, hint="0.2 Ω"),
        Input("reference", "temperature", "Temperature that the limit is stated for", "20 °C", after="temperature"),
        Input("metal", "choice", "Metal of the conductor", "copper", choices=tuple(METALS), after="temperature"),
        Input("moved", "yes", "Was it moved, dead, between the readings", "no"),
    ),
    _work,
    "Copper's coefficient by NBS Handbook 100; several readings by JCGM 100 and 101:2008. Steadiness: our own rule.",
    {
        "": {
            "within": "Within the limit of your data",
            "above": "Above the limit of your data",
            "below": "Below the limit of your data",
            "unsteady": "It does not hold still",
            "open": "Open",
        },
        "movement": {"steady": "It holds still as it is moved", "jumps": "It jumps as it is moved"},
    },
    _draw,
    shows=("most",),
    before=(DEAD,),
)

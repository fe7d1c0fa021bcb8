"""A recorded start beside limits from the user's approved data and beside good starts of the same engine.

No limit is held here. Beside good starts a reading counts as like theirs within the shares below; that is our
judgement, and it is said wherever it decides. What neither a limit nor a good start settles is not judged.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from isolate.calc.shape import CANNOT_TELL, Judged, Side, beside
from isolate.calc.start_find import Facts, Level
from isolate.calc.units import figure

ALIKE: Final = 0.10
"""Speed and fuel flow count as ever within this share of the good starts' lowest and highest."""
LATER: Final = 0.25
"""Fuel, light and volts' dip: so much more than the good starts' most is later, or deeper."""
SECONDS_MORE: Final = 1.0
"""Seconds that are added to that, since people move levers."""
LEAST_S: Final = 5.0
"""Fuel for less than this is no failed light, where neither a limit nor a good start says. Our judgement."""
FLOW_S: Final = (1.0, 6.0)
"""Seconds after fuel on over which flows are compared."""
LEAST_FLOW_S: Final = 1.2
"""Seconds after fuel on that flows are compared over at least, even where a good start lit sooner."""
GONE: Final = 0.1
"""A supply under this share of its limit is not there."""
DEAD_VOLTS: Final = 1.0
TAKES_OFF: Final = 1.4
"""A speed that rises to this much of that at fuel on was not the starter's work alone. Our judgement."""


@dataclass(frozen=True)
class Good:
    """A good start to compare with: its facts, and where it is from."""

    facts: Facts
    flow: Level | None
    peak: Level | None
    said: str


@dataclass(frozen=True)
class Limits:
    """Limits as told, in the units of the log; None: not told."""

    speed_least: float | None = None
    light_within_s: float | None = None
    fuel_least: float | None = None
    hottest: float | None = None
    volts_least: float | None = None
    idle: float | None = None
    channel: str = ""


def judged(
    one: Facts,
    flow: Level | None,
    peak: Level | None,
    rising: bool,
    goods: Sequence[Good],
    limits: Limits,
    units: Mapping[str, str],
) -> dict[str, Judged]:
    """Return what is judged → verdict; see the calculation's ``judges``."""
    speed = _speed(one, goods, limits, units.get("speed", ""))
    fuel = _fuel(one, flow, goods, limits, units.get("fuel", ""))
    found = {"": _start(one, speed, fuel, goods, limits), "speed": _named(speed, "as-ever", "slow", "as-ever")}
    if "fuel" in one.has:
        found["light"] = _light(one, goods, limits)
    if "volts" in one.has:
        found["volts"] = _volts(one, goods, limits)
        found["supply"] = _supply(one, goods, limits)
    if "ignition" in one.has or "channel" in one.has:
        found["command"] = _command(one, limits)
    if one.light is not None:
        found["after"] = _after(one, goods, limits, units.get("speed", ""))
        if limits.hottest is not None:
            found["heat"] = _heat(peak, rising, limits.hottest, units.get("temperature", ""))
    if one.disorder:
        for what in ("", "speed", "light", "after", "heat"):
            if what in found:
                found[what] = Judged(CANNOT_TELL, f"{one.disorder}, so two columns are swapped or their clocks differ")
    if "clock" in one.over_gap:
        # Seconds across a jump of the clock are no seconds.
        for what in ("light",):
            if what in found:
                found[what] = Judged(CANNOT_TELL, "the clock jumps within this start")
    return found


@dataclass(frozen=True)
class _Side:
    side: Side
    why: str
    seconds: tuple[float, float] | None = None
    odd: bool = False
    """It can be told, and it is not as it should be, whichever way."""
    asks: str = ""
    """The limit that would judge it, where none was told."""


def _named(side: _Side, within: str, below: str, above: str) -> Judged:
    words = {"within": within, "below": below, "above": above, "cannot-tell": CANNOT_TELL}
    return Judged(words[side.side], side.why, side.seconds)


def said(reading: Level, unit: str) -> str:
    """Return a reading with its interval: ``22.5 % (22.4 to 22.6)``."""
    unit = f" {unit}" if unit else ""
    digits = 4 if abs(reading.value) >= 100 else 3
    return f"{figure(reading.value, digits)}{unit} ({figure(reading.low, digits)} to {figure(reading.high, digits)})"


def _least(reading: Level, what: str, least: float, unit: str) -> _Side:
    side = beside(reading.low, reading.high, least, None)
    span = (reading.first_s, reading.last_s)
    told = f"{what} {said(reading, unit)}, and your data asks for {figure(least, 4)}{f' {unit}' if unit else ''}"
    if side == "cannot-tell":
        told += "; the limit lies within what the reading may be off by, and a recorder with more rows a second, or a "
        told += "second start, would settle it"
    return _Side(side, told, span, side == "below")


def _beside_good(reading: Level, goods: Sequence[Level], what: str, unit: str, only_least: bool = True) -> _Side:
    least = min(g.value for g in goods) * (1 - ALIKE)
    most = None if only_least else max(g.value for g in goods) * (1 + ALIKE)
    side = beside(reading.low, reading.high, least, most)
    theirs = " and ".join(figure(g.value, 4) for g in goods[:4])
    told = f"{what} {said(reading, unit)}; {_good(goods)} had {theirs}"
    if side == "cannot-tell":
        told += f", and {ALIKE:.0%} less, which is where it would count as less, lies within what it may be off by"
    elif side == "within":
        told += f", within {ALIKE:.0%}"
    return _Side(side, told, (reading.first_s, reading.last_s), side in ("below", "above"))


def _good(goods: Sequence[object]) -> str:
    return "the good start" if len(goods) == 1 else f"{len(goods)} good starts"


def _speed(one: Facts, goods: Sequence[Good], limits: Limits, unit: str) -> _Side:
    at_fuel = one.speed_at_fuel
    reading, what = (at_fuel, "speed at fuel on") if at_fuel else (one.crank_speed, "highest speed while it cranked")
    if reading is None:
        return _Side("cannot-tell", "no speed could be read while it cranked")
    if limits.speed_least is not None:
        return _least(reading, what, limits.speed_least, unit)
    theirs = [r for g in goods if (r := g.facts.speed_at_fuel if at_fuel else g.facts.crank_speed)]
    if theirs:
        return _beside_good(reading, theirs, what, unit)
    return _Side(
        "cannot-tell",
        f"{what} was {said(reading, unit)}; the least speed of your data (speed-least) or good starts (good) "
        "would judge it",
        (reading.first_s, reading.last_s),
        asks="speed-least",
    )


def _fuel(one: Facts, flow: Level | None, goods: Sequence[Good], limits: Limits, unit: str) -> _Side:
    if "fuel" not in one.has:
        return _Side("cannot-tell", "fuel flow is not recorded")
    if one.fuel_before:
        return _Side("cannot-tell", "fuel flow showed before it cranked, so when fuel came on cannot be told")
    if one.fuel is None:
        span = (one.begins_s, one.ended_s or one.last_s)
        return _Side("below", "no fuel flow showed at any time of it", span, odd=True)
    late = _late(one, goods)
    if late is not None and late.odd:
        return late
    if flow is None:
        return _Side("cannot-tell", "too few readings of the fuel flow stand before a light to compare it")
    what = f"fuel flow {flow.first_s - one.fuel.value:.1f} to {flow.last_s - one.fuel.value:.1f} s after it came on"
    if limits.fuel_least is not None:
        return _least(flow, what, limits.fuel_least, unit)
    theirs = [g.flow for g in goods if g.flow]
    if theirs:
        return _beside_good(flow, theirs, what, unit)
    return _Side(
        "cannot-tell",
        f"{what} was {said(flow, unit)}; your data's least flow at light-up (fuel-least) or good starts (good) "
        "would judge it",
        (flow.first_s, flow.last_s),
        asks="fuel-least",
    )


def _late(one: Facts, goods: Sequence[Good]) -> _Side | None:
    if one.fuel is None or one.crank is None:
        return None
    theirs = [g.facts.fuel.value - g.facts.crank.value for g in goods if g.facts.fuel and g.facts.crank]
    if not theirs:
        return None
    most = max(theirs) * (1 + LATER) + SECONDS_MORE
    low = one.fuel.low - one.crank.high
    told = f"fuel came on {one.fuel.value - one.crank.value:.1f} s after it began to crank; in {_good(theirs)} after "
    told += " and ".join(f"{t:.1f} s" for t in theirs[:4])
    return _Side("above" if low > most else "within", told, (one.crank.value, one.fuel.value), low > most)


def _start(one: Facts, speed: _Side, fuel: _Side, goods: Sequence[Good], limits: Limits) -> Judged:
    end = one.ended_s or one.last_s
    if one.light is not None and one.rise is not None:
        told = f"the temperature began to rise at {one.light.value:.1f} s and rose by {figure(one.rise.value, 3)}"
        if one.fuel is not None and one.light.high < one.fuel.low - 1:
            told += "; that is before fuel flow showed, so one of the two readings is wrong, or late"
        elif one.pick_up is not None:
            told += f", and the speed picked up at {one.pick_up.value:.1f} s"
        elif end - one.light.value > 8:
            told += "; the speed shows no pick-up of its own, so look at both readings"
        return Judged("lit", told, (one.light.low, one.rise.last_s))
    if one.doubtful and one.rise is not None:
        return Judged(
            CANNOT_TELL,
            f"the temperature rose by {figure(one.rise.value, 3)}, more than noise and less than a light makes; "
            "warm air drawn past the probe does that too. The other lane's temperature would settle it",
            (one.rise.first_s, one.rise.last_s),
        )
    if _took_off(one):
        assert one.crank_speed is not None
        return Judged(
            "lit",
            "the speed rose far beyond that at fuel on while the temperature shows no rise: the readings disagree",
            (one.crank_speed.first_s, one.crank_speed.last_s),
        )
    if "light-off" in one.over_gap or "fuel on" in one.over_gap or "clock" in one.over_gap:
        return Judged(CANNOT_TELL, "the log has a gap or a jump of its clock just where it matters")
    span = (one.begins_s, end)
    if one.hole is not None:
        return Judged(CANNOT_TELL, f"a gap from {one.hole[0]:.1f} to {one.hole[1]:.1f} s may hide a light", one.hole)
    if one.fuel is None and fuel.odd:
        return Judged("fuel", fuel.why, fuel.seconds)
    if one.fuel is not None and fuel.side != CANNOT_TELL:
        burning = end - one.fuel.value
        wanted = limits.light_within_s or max((t.high for g in goods if (t := g.facts.to_light())), default=LEAST_S)
        if burning < wanted:
            return Judged(
                CANNOT_TELL, f"fuel was on for {burning:.1f} s only, less than a light may take ({wanted:.1f} s)", span
            )
    if speed.side == "below":
        return Judged("speed", speed.why, speed.seconds)
    if fuel.odd:
        return Judged("fuel", fuel.why, fuel.seconds)
    if speed.side == "within" and fuel.side == "within":
        return Judged("unlit", f"no rise of the temperature; {speed.why}; {fuel.why}", span)
    open_ = [s for s in (speed, fuel) if s.side == CANNOT_TELL]
    why = "; ".join(s.why for s in open_ if not s.asks)
    if asks := ", ".join(s.asks for s in open_ if s.asks):
        why += f"{'; ' if why else ''}whether it turned and was fed as it should, limits ({asks}) or good starts "
        why += "(good) would say"
    return Judged(CANNOT_TELL, f"the temperature did not rise; {why}", span)


def _took_off(one: Facts) -> bool:
    """Say whether the speed rose as no starter makes it rise: far beyond where it had settled at fuel on."""
    at_fuel, most = one.speed_at_fuel, one.crank_speed
    if at_fuel is None or most is None or one.fuel is None or one.crank is None or at_fuel.value <= 0:
        return False
    return one.fuel.value - one.crank.value > 8 and most.low > TAKES_OFF * at_fuel.high


def _light(one: Facts, goods: Sequence[Good], limits: Limits) -> Judged:
    took = one.to_light()
    theirs = [t for g in goods if (t := g.facts.to_light())]
    most, whose = limits.light_within_s, "your data allows"
    if most is None and theirs:
        most, whose = (
            max(t.value for t in theirs) * (1 + LATER) + SECONDS_MORE,
            f"what {_good(theirs)} took leaves room for",
        )
    if took is not None:
        span = (took.first_s, took.last_s)
        told = f"it took {said(took, 's')} from fuel on"
        if most is None:
            return Judged(
                CANNOT_TELL,
                f"{told}; the time that your data allows (light-within) or good starts (good) would judge it",
                span,
            )
        # Which of the two is meant by a light the limit does not say, so both have to agree.
        main = one.to_main()
        if main is not None:
            told += f" to a small rise and {said(main, 's')} to the main one"
        side = beside(took.low, max(took.high, main.high) if main else took.high, None, most)
        told += f", and {whose} {figure(most)} s"
        if side == CANNOT_TELL and main is not None and beside(took.low, took.high, None, most) != CANNOT_TELL:
            return Judged(CANNOT_TELL, f"{told}, which lies between the two", span)
        if side == CANNOT_TELL:
            return Judged(
                CANNOT_TELL, f"{told}, which is within what it may be off by; a second start settles it", span
            )
        return Judged("lights" if side == "within" else "late", told, span)
    if one.light is not None:
        return Judged(CANNOT_TELL, "it lit, but when fuel came on cannot be told")
    if one.fuel is None or one.doubtful:
        return Judged(
            CANNOT_TELL, "there was no fuel flow to light" if one.fuel is None else "whether it lit is not sure"
        )
    if one.hole is not None:
        return Judged(CANNOT_TELL, f"a gap from {one.hole[0]:.1f} to {one.hole[1]:.1f} s may hide a light", one.hole)
    end = one.ended_s or one.last_s
    told = f"no light in {end - one.fuel.value:.1f} s of fuel"
    if most is None:
        return Judged(
            CANNOT_TELL,
            f"{told}; the time that your data allows (light-within) or good starts (good) would judge it",
            (one.fuel.value, end),
        )
    if end - one.fuel.high >= most:
        return Judged("no-light", f"{told}, and {whose} {figure(most)} s", (one.fuel.value, end))
    return Judged(CANNOT_TELL, f"{told}, less than the {figure(most)} s that {whose}", (one.fuel.value, end))


def _volts(one: Facts, goods: Sequence[Good], limits: Limits) -> Judged:
    low, rest = one.volts_least, one.volts_rest
    if low is None:
        return Judged(CANNOT_TELL, "no volts could be read while it cranked")
    span = (low.first_s, low.last_s)
    told = f"while it cranked down to {said(low, 'V')}"
    if rest:
        told += f", at rest {said(rest, 'V')}"
    if limits.volts_least is not None:
        side = _least(low, "lowest second while it cranked", limits.volts_least, "V")
        return _named(side, "holds", "sags", "holds")
    theirs = [(g.facts.volts_rest, g.facts.volts_least) for g in goods]
    dips = [r.value - v.value for r, v in theirs if r and v]
    if rest and dips:
        most = max(dips) * (1 + LATER) + 0.02 * abs(rest.value)
        dip = (rest.low - low.high, rest.high - low.low)
        least_rest = min(r.value for r, _ in theirs if r) * 0.95
        told += f"; {_good(dips)} dipped by {' and '.join(figure(d) for d in dips[:4])} V"
        if dip[0] > most or rest.high < least_rest:
            return Judged("sags", told, span)
        if dip[1] <= most and rest.low >= least_rest:
            return Judged("holds", told, span)
        return Judged(CANNOT_TELL, f"{told}; the difference is within what it may be off by", span)
    return Judged(
        CANNOT_TELL, f"{told}; the least volts of your data (volts-least) or good starts (good) would judge it", span
    )


def _supply(one: Facts, goods: Sequence[Good], limits: Limits) -> Judged:
    reading = one.volts_ignition or one.volts_rest or one.volts_least
    if reading is None:
        return Judged(CANNOT_TELL, "no volts could be read")
    when = "once ignition was commanded" if reading is one.volts_ignition else "before it cranked"
    span = (reading.first_s, reading.last_s)
    told = f"{said(reading, 'V')} {when}"
    if max(abs(reading.low), abs(reading.high)) < DEAD_VOLTS:
        return Judged("absent", f"{told}; nothing, or its reading is dead", span)
    least = limits.volts_least
    whose = "your data asks for"
    if least is None:
        theirs = [g.facts.volts_ignition if reading is one.volts_ignition else g.facts.volts_rest for g in goods]
        values = [t.value for t in theirs if t]
        if values:
            least, whose = min(values) * 0.95, f"5% below {_good(values)} is"
    if least is None:
        return Judged(CANNOT_TELL, f"{told}; the least volts of your data (volts-least) would judge it", span)
    told += f", and {whose} {figure(least)} V"
    if reading.high < GONE * least:
        return Judged("absent", told, span)
    side = beside(reading.low, reading.high, least, None)
    if side == "within" and limits.volts_least is None:
        # As ever is not as it should be: a supply that was low on good starts too would be cleared by them.
        return Judged(CANNOT_TELL, f"{told}; the least volts of your data (volts-least) would judge it", span)
    return Judged({"within": "present", "below": "low"}.get(side, CANNOT_TELL), told, span)


def _command(one: Facts, limits: Limits) -> Judged:
    end = one.ended_s or one.last_s
    if "ignition" in one.has and not one.commands and not one.commanded_before:
        return Judged("not-commanded", "ignition was not commanded at any time of it", (one.first_s, end))
    on = one.commands[0][0] if one.commands else None
    span = (on.first_s, one.commands[0][1] or end) if on else (one.first_s, end)
    when = f"ignition was commanded at {on.value:.1f} s" if on else "ignition was commanded"
    if not one.channel:
        return Judged(CANNOT_TELL, f"{when}, but the log does not say on which channel", span)
    when += f", on channel {one.channel}"
    if not limits.channel:
        return Judged(CANNOT_TELL, f"{when}; which one was selected (channel) has to be told to judge it", span)
    told, seen = channel_word(limits.channel), channel_word(one.channel)
    if told == seen:
        return Judged("commanded", when, span)
    if "BOTH" in (told, seen) or len(seen) != 1 or len(told) != 1 or told.isdigit() != seen.isdigit():
        return Judged(
            CANNOT_TELL, f"{when}, and {limits.channel} was selected; whether that is the same is not sure", span
        )
    return Judged("wrong-one", f"{when}, and {limits.channel} was selected", span)


def channel_word(text: str) -> str:
    """Return a channel as its letter or number, BOTH for both: ``IGN CH A`` → ``A``."""
    bare = re.sub(r"\b(?:IGN(?:ITION|ITER)?|CH(?:ANNEL)?|SYS(?:TEM)?|EXCITER|PLUG|ONLY|ON|CMD)\b", " ", text.upper())
    bare = re.sub(r"[^A-Z0-9+]+", "", bare)
    bare = re.sub(r"^0+(?=\d)", "", bare)
    return "BOTH" if bare in ("BOTH", "A+B", "AB", "1+2", "L+R", "ALL", "DUAL") else bare


def _after(one: Facts, goods: Sequence[Good], limits: Limits, unit: str) -> Judged:
    most, held_at = one.speed_most, one.stalled
    theirs = [g.facts.stalled.value for g in goods if g.facts.stalled and g.facts.light]
    idle, whose = limits.idle, "your data's idle is"
    if idle is None and theirs:
        idle, whose = min(theirs) * (1 - ALIKE), f"{ALIKE:.0%} below {_good(theirs)} is"
    if most is None or one.light is None:
        return Judged(CANNOT_TELL, "too little of it is recorded after it lit")
    end = one.ended_s or one.last_s
    span = (one.light.value, end)
    told = f"its highest speed was {said(most, unit)}"
    if idle is None:
        told += f"; at the end it stayed at {said(held_at, unit)}" if held_at else ""
        return Judged(CANNOT_TELL, f"{told}; your data's idle (idle) or good starts (good) would judge it", span)
    told += f", and {whose} {figure(idle, 4)}{f' {unit}' if unit else ''}"
    if most.high >= idle * 0.99:
        return Judged("reaches-idle", told, span)
    if held_at and held_at.high < idle:
        return Judged("hung", f"{told}; it stayed at {said(held_at, unit)} for the last 10 s", span)
    return Judged(CANNOT_TELL, f"{told}; it was still changing when it ended", span)


def _heat(peak: Level | None, rising: bool, hottest: float, unit: str) -> Judged:
    if peak is None:
        return Judged(CANNOT_TELL, "no highest temperature could be read")
    span = (peak.first_s, peak.last_s)
    told = f"the highest temperature was {said(peak, unit)}, and your data's limit is {figure(hottest, 4)} {unit}"
    side = beside(peak.low, peak.high, None, hottest)
    if side == "above":
        return Judged("above", f"{told}; the probe lags, so the gas was hotter still", span)
    if side == "within" and not rising:
        return Judged("within", told, span)
    more = "; it was still rising at the end" if rising else "; the limit lies within what it may be off by"
    return Judged(CANNOT_TELL, told + more, span)

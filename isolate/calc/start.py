"""A recorded start: when it cranked, fuel came on, ignition was commanded and it lit, and what that is evidence of.

A log of shaft speed and exhaust temperature, with fuel flow, ignition command, channel and bus voltage where they are
recorded. Instants are change-points with their intervals (:mod:`isolate.calc.start_onset`), what happened is gathered
in :mod:`isolate.calc.start_find` and set beside limits and good starts in :mod:`isolate.calc.start_judge`. Every
finding names the seconds that it came from.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from isolate.calc import recorder, start_draw
from isolate.calc.recorder import Log
from isolate.calc.shape import Calculation, Figure, Found, Given, Input, Unfit
from isolate.calc.start_find import Facts, Level, all_starts, facts, flow_after, held, level, peak, settled
from isolate.calc.start_judge import FLOW_S, LEAST_FLOW_S, LEAST_S, Good, Limits, channel_word, judged, said
from isolate.calc.start_onset import Onset
from isolate.calc.units import figure

IN_KELVIN: Final = (250.0, 325.0)
"""Weather, in kelvin."""
MOST_STARTS: Final = 40
"""Starts of one log that are looked at, newest first."""
_UNITS: Final = {"speed": ("%", "rpm"), "fuel": ("kg/h", "lb/h", "l/h", "gal/h")}


@dataclass(frozen=True)
class Detail:
    """For the picture and the case. ``columns``: which column is which, as typed; ``headers``: of the log.

    ``start``: for the start history: channel, lit (None: not sure), seconds to light, at (as the log's clock has it).
    """

    log: Log
    facts: Facts
    count: int
    goods: tuple[Good, ...]
    columns: str
    headers: tuple[str, ...]
    start: dict[str, Any]


def look(log: Log) -> list[Facts]:
    """Return the starts of a log with what happened in each, oldest first. Raises Unfit where there is none."""
    spans = all_starts(log)
    if not spans:
        raise Unfit(
            "the speed never comes up from standing in this log: there is no start in it, or another column "
            "is the speed",
            "log",
        )
    first = max(0, len(spans) - MOST_STARTS)
    unit = log.unit("temperature")
    return [settled(facts(log, i + 1, span), unit) for i, span in enumerate(spans) if i >= first]


def chosen(starts: Sequence[Facts], which: int | None) -> Facts:
    """Return the start that is meant: as told, else the last that did not light, else the last. Raises Unfit."""
    if which is not None:
        for one in starts:
            if one.number == which:
                return one
        first, last = starts[0].number, starts[-1].number
        told = f"start {first}" if first == last else f"starts {first} to {last}"
        raise Unfit(f"which: the log holds {told}, and no start {which}", "which")
    tries = [s for s in starts if not s.dry] or list(starts)
    return next((s for s in reversed(tries) if s.light is None), tries[-1])


def _work(given: Given) -> Found:
    log = recorder.read_file(given["log"], given.get("columns", ""))
    starts = look(log)
    one = chosen(starts, given.get("which"))
    top, rising = peak(log, one)
    goods, until_s = _goods(given, log, one, starts)
    flow = flow_after(log, one, *_flow_span(one, until_s))
    limits = _limits(given, log)
    units = {role: log.unit(role) for role in ("speed", "temperature", "fuel", "volts")}
    verdicts = judged(one, flow, top, rising, goods, limits, units)
    lines = [_headline(log, one, starts)]
    lines += _story(log, one, flow, top, rising)
    if len(starts) > 1:
        lines.append("Starts in this log: " + "; ".join(_brief(log, s) for s in starts[-8:]) + ".")
    if goods:
        lines.append(f"Compared with: {'; '.join(g.said for g in goods)}.")
    # Which column is which stands once, as it can be typed.
    lines += [n for n in log.notes if not n.startswith(recorder.TAKEN)]
    lines.append(f'{log.time_s.size:,} rows read. Columns as understood: "{recorder.spelled(log)}"')
    letter = channel_word(one.channel) if one.channel else channel_word(limits.channel)
    took = one.to_light()
    start = {
        "channel": "both" if letter == "BOTH" else letter if re.fullmatch(r"[A-Z0-9]{1,2}", letter) else "unknown",
        "lit": None if _unsure(one) else one.light is not None,
        "seconds": round(took.value, 2) if took and "clock" not in one.over_gap and not one.disorder else None,
        "at": log.began if log.day_s is None else log.clock(one.begins_s),
    }
    return Found(
        tuple(lines),
        tuple(_figures(log, one, flow, top)),
        verdicts,
        tuple(_heed(log, one, goods)),
        Detail(log, one, len(starts), tuple(goods), recorder.spelled(log), log.headers, start),
    )


def _flow_span(one: Facts, until: float) -> tuple[float, float]:
    if one.fuel is not None and one.fuel_off_s is not None:
        until = min(until, one.fuel_off_s - one.fuel.value - 1.5)
    return min(FLOW_S[0], 0.5 * until), until


def _goods(given: Given, log: Log, one: Facts, starts: Sequence[Facts]) -> tuple[list[Good], float]:
    """Return the good starts, and until how many seconds after fuel on flows are compared.

    An engine that has lit runs up and is fed more, so flows are compared before any of them lit.
    """
    read: list[tuple[Log, Facts, str]] = []
    for path in given.get("good", ()):
        same = path == given["log"]
        try:
            # Another recorder's columns have to tell themselves.
            alike = not same and set(recorder.header(path)) == set(log.headers)
            other = log if same else recorder.read_file(path, recorder.spelled(log) if alike else "")
            theirs = [s for s in (starts if same else look(other)) if not (same and s.number == one.number)]
        except Unfit as error:
            raise Unfit(f"good: {path}: {error}", "good") from None
        for role in ("speed", "temperature", "fuel", "volts"):
            if role in log.values and role in other.values and other.unit(role) != log.unit(role):
                raise Unfit(
                    f"good: {path} has {recorder.SAYS[role]} in {other.unit(role) or 'no unit'}, the log in "
                    f"{log.unit(role) or 'no unit'}",
                    "good",
                )
        lit = [s for s in theirs if s.light is not None]
        if not lit:
            raise Unfit(f"good: {path} holds no start that lit, so it is nothing to compare with", "good")
        for s in lit:
            name = path.replace("\\", "/").rsplit("/", 1)[-1] + (f", start {s.number}" if len(lit) > 1 else "")
            read.append((other, s, name))
    to_light = [took.value for s in (one, *(s for _, s, _ in read)) if read and (took := s.to_light())]
    until = max(min([FLOW_S[1], *to_light]), LEAST_FLOW_S)
    found = [Good(s, flow_after(other, s, *_flow_span(s, until)), peak(other, s)[0], name) for other, s, name in read]
    return found, until


def _limits(given: Given, log: Log) -> Limits:
    def told(name: str, role: str) -> float | None:
        return _in_unit(given[name], name, role, log.unit(role)) if name in given else None

    hottest = None
    if "hottest" in given:
        unit = log.unit("temperature")
        if not unit:
            raise Unfit(
                "hottest: the log's temperature tells no unit; type it behind its name in columns, as "
                "temperature=NAME[°C]",
                "hottest",
            )
        celsius = given["hottest"].value
        hottest = {"°C": celsius, "°F": celsius * 9 / 5 + 32, "K": celsius + 273.15}[unit]
    within = given.get("light-within")
    volts = given.get("volts-least")
    return Limits(
        told("speed-least", "speed"),
        within.value if within is not None else None,
        told("fuel-least", "fuel"),
        hottest,
        volts.value if volts is not None else None,
        told("idle", "speed"),
        given.get("channel", ""),
    )


def _in_unit(text: str, name: str, role: str, unit: str) -> float:
    """Return a limit in the unit of its column; percent is not turned into rpm, nor kilograms into litres."""
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(.*?)\s*", text)
    if not found:
        raise Unfit(f"{name}: {text!r} is no figure, such as 20 {unit or _UNITS[role][0]}", name)
    if re.fullmatch(r"\d{1,3},\d{3}", found[1]) and not found[1].startswith("0"):
        raise Unfit(f"{name}: {text!r} may be thousands or decimals; type it with a point, or without a comma", name)
    value = float(found[1].replace(",", "."))
    typed = recorder.unit_named(found[2])
    if found[2] and typed not in _UNITS[role]:
        raise Unfit(
            f"{name}: {found[2]!r} is no unit of {recorder.SAYS[role]}; it takes {', '.join(_UNITS[role])}", name
        )
    if not typed:
        raise Unfit(f"{name}: the unit is missing; the log has {unit or 'none either'}", name)
    if not unit:
        raise Unfit(
            f"{name}: the log's {recorder.SAYS[role]} tells no unit; type it behind its name in columns, as "
            f"{role}=NAME[{typed}]",
            name,
        )
    mass = {"kg/h": 1.0, "lb/h": 0.45359237}
    if typed in mass and unit in mass:
        return value * mass[typed] / mass[unit]
    if typed != unit:
        raise Unfit(f"{name}: told in {typed}, and the log has {unit}; the one is not turned into the other here", name)
    return value


# -- words -----------------------------------------------------------------------------------------


def _at(log: Log, one: Onset | Level) -> str:
    clock = f", {log.clock(one.value)}" if log.day_s is not None else ""
    return f"{one.value:.2f} s ({one.low:.2f} to {one.high:.2f}{clock})"


def _short(one: Facts) -> bool:
    """Say whether fuel was on, or is recorded, for too short a time to call it a failed light."""
    return one.light is None and one.fuel is not None and (one.ended_s or one.last_s) - one.fuel.value < LEAST_S


def _unfed(one: Facts) -> bool:
    """Say whether it rose as if it lit while fuel flow is recorded and none shows: one of the two is wrong."""
    return (
        one.light is not None
        and "fuel" in one.has
        and one.fuel is None
        and not one.fuel_before
        and ("fuel on" not in one.over_gap and not one.turned_before)
    )


def _unsure(one: Facts) -> bool:
    """Say whether it cannot be told if it lit."""
    return one.doubtful or bool(one.disorder) or one.hole is not None or _short(one) or _unfed(one)


def _headline(log: Log, one: Facts, starts: Sequence[Facts]) -> str:
    which = f"Start {one.number} of {starts[-1].number}" if len(starts) > 1 else "One start"
    at = f" at {log.clock(one.begins_s)}"
    if one.disorder:
        told = f"{one.disorder}; the columns cannot be as taken"
    elif _unfed(one):
        told = "the temperature rose as if it lit, and no fuel flow shows"
    elif one.light is not None:
        took = one.to_light() if "clock" not in one.over_gap else None
        told = f"it lit{f', {said(took, chr(115))} after fuel on' if took else ''}"
    elif one.doubtful or one.hole is not None:
        told = "whether it lit is not sure"
    elif one.dry:
        told = "turned without fuel and without ignition, as in a dry motor"
    elif _short(one) and one.fuel is not None:
        told = f"no light in the {(one.ended_s or one.last_s) - one.fuel.value:.1f} s of fuel that are recorded"
    else:
        told = "it did not light"
    return f"{which}{at}: {told}."


def _brief(log: Log, one: Facts) -> str:
    told = "not sure" if _unsure(one) else "lit" if one.light else "dry motor" if one.dry else "not lit"
    return f"{one.number} at {log.clock(one.begins_s)}, {told}"


def _story(log: Log, one: Facts, flow: Level | None, top: Level | None, rising: bool) -> list[str]:
    speed, hot, fuel = log.unit("speed"), log.unit("temperature"), log.unit("fuel")
    lines = []
    if one.crank:
        lines.append(f"Cranking begins at {_at(log, one.crank)}.")
    else:
        lines.append("It was turning when this part of the log begins, so when cranking began cannot be told.")
    if one.fuel:
        at = f"; speed then {said(one.speed_at_fuel, speed)}" if one.speed_at_fuel else ""
        lines.append(
            f"Fuel comes on at {_at(log, one.fuel)}{at}. That is when its flow begins to show: a valve that opens "
            "slowly, or a meter that answers late, is not seen."
        )
        if flow:
            lines.append(f"Fuel flow {flow.first_s:.1f} to {flow.last_s:.1f} s: {said(flow, fuel)}.")
    elif one.fuel_before:
        lines.append("Fuel flow shows before it cranks, so when it came on cannot be told.")
    elif "fuel" in one.has:
        lines.append("No fuel flow shows.")
    for on, off in one.commands[:3]:
        until = f" until {off:.1f} s" if off is not None else ""
        named = f" on channel {one.channel}" if one.channel else ""
        lines.append(f"Ignition is commanded{named} at {_at(log, on)}{until}.")
    if one.commanded_before:
        lines.append("Ignition was commanded already when this part of the log begins.")
    elif "ignition" in one.has and not one.commands:
        lines.append("Ignition is not commanded.")
    if one.light and one.rise:
        lines.append(
            f"Light-off at {_at(log, one.light)}: there the exhaust temperature begins to rise, by "
            f"{figure(one.rise.value)} {hot or 'of its unit'} in all. A delay on the way to the recorder is not seen."
        )
        if one.main_rise:
            lines.append(
                f"It is a small rise at first, and the main one begins at {_at(log, one.main_rise)}: a small flame "
                "that went round later, or warm air."
            )
        elif one.small_from:
            lines.append(
                f"A smaller rise may stand before it, from about {one.small_from.value:.1f} s on: a small flame that "
                "went round later, or warm air. The light-off's interval takes it in."
            )
        if one.pick_up:
            # A small flame pulls nothing.
            rises = one.main_rise or one.light
            apart = one.pick_up.value - rises.value
            agree = "agrees" if one.pick_up.low - 2 < rises.high and rises.low - 2 < one.pick_up.high else "differs"
            lines.append(f"The speed picks up at about {one.pick_up.value:.1f} s, which {agree} ({apart:+.1f} s).")
        else:
            lines.append("No pick-up of the speed can be told apart from cranking about there.")
        if top:
            more = ", still rising at the end" if rising else ""
            lines.append(f"Highest temperature {top.first_s:.1f} to {top.last_s:.1f} s: {said(top, hot)}{more}.")
        if one.stalled:
            lines.append(f"Over the last 10 s before it ends the speed stays at {said(one.stalled, speed)}.")
    elif one.doubtful and one.rise:
        lines.append(
            f"The temperature rises by {figure(one.rise.value)} from {one.rise.first_s:.1f} s on: too little "
            "to call it a light."
        )
    else:
        end = one.ended_s or one.last_s
        lines.append(f"The exhaust temperature shows no light-off from {one.begins_s:.1f} to {end:.1f} s.")
    if one.fuel_off_s is not None:
        lines.append(f"Fuel goes off at about {one.fuel_off_s:.1f} s.")
    if one.volts_least:
        rest = f", at rest {said(one.volts_rest, 'V')}" if one.volts_rest else ""
        then = f", once ignition was commanded {said(one.volts_ignition, 'V')}" if one.volts_ignition else ""
        lines.append(f"Bus: while it cranks down to {said(one.volts_least, 'V')}{rest}{then}.")
    return lines


def _figures(log: Log, one: Facts, flow: Level | None, top: Level | None) -> list[Figure]:
    speed, hot = log.unit("speed"), log.unit("temperature")
    wanted: tuple[tuple[str, str, Onset | Level | None, str], ...] = (
        ("crank", "cranking begins", one.crank, "s"),
        ("fuel-on", "fuel on", one.fuel, "s"),
        ("ignition-on", "ignition commanded", one.commands[0][0] if one.commands else None, "s"),
        ("light-off", "light-off", one.light, "s"),
        ("main-rise", "main rise, where a small one stands before it", one.main_rise, "s"),
        ("time-to-light", "fuel on to light-off", one.to_light() if "clock" not in one.over_gap else None, "s"),
        ("speed-at-fuel", "speed at fuel on", one.speed_at_fuel, speed),
        ("crank-speed", "highest speed while it cranks", one.crank_speed, speed),
        ("speed-stays", "speed over the last 10 s", one.stalled if one.light else None, speed),
        ("fuel-flow", "fuel flow after fuel on", flow, log.unit("fuel")),
        ("hottest", "highest temperature", top, hot),
        ("volts-rest", "volts at rest", one.volts_rest, "V"),
        ("volts-cranking", "lowest second while it cranks", one.volts_least, "V"),
        ("volts-ignition", "volts once ignition was commanded", one.volts_ignition, "V"),
    )
    return [
        Figure(name, says, float(r.value), float(r.low), float(r.high), unit)
        for name, says, r, unit in wanted
        if r is not None
    ]


def _heed(log: Log, one: Facts, goods: Sequence[Good]) -> list[str]:
    found = []
    for what in one.over_gap:
        if what == "clock":
            found.append("The clock jumps within this start; seconds across the jump are not to be relied on.")
        else:
            found.append(f"A gap in the log lies over {what}: it may have been at any time of the gap.")
    if one.disorder:
        found.append(
            f"{one.disorder[0].upper()}{one.disorder[1:]}: look at which column is which, and whether they share "
            "a clock."
        )
    if one.hole is not None:
        found.append(
            f"A gap in the log, {one.hole[0]:.1f} to {one.hole[1]:.1f} s, is long enough for a light to have come "
            "and gone."
        )
    rest = _still(log, one)
    if rest is not None and log.unit("temperature") == "°C" and IN_KELVIN[0] < rest < IN_KELVIN[1]:
        found.append(
            f"The exhaust temperature stands still at {rest:.0f} °C before it cranks: hot, or is the column in K?"
        )
    missing = [recorder.SAYS[r] for r in ("fuel", "ignition", "channel", "volts") if r not in one.has]
    if missing:
        lost = {
            "fuel flow": "time to light and whether fuel came",
            "ignition command": "whether ignition was commanded",
            "ignition channel": "on which channel",
            "bus voltage": "whether the supply held",
        }
        if one.channel:
            lost.pop("ignition channel")
        told = [f"{lost[m]} ({m})" for m in missing if m in lost]
        if told:
            found.append(f"Not recorded, so it cannot be told: {'; '.join(told)}.")
    if one.fuel is None and "fuel" in one.has and one.light is None and "ignition" not in one.has:
        found.append("Without fuel flow and without a recorded ignition command this may have been a dry motor.")
    if one.volts_least and log.step_s > 0.2:
        found.append(f"A dip of the bus that is shorter than a row ({log.step_s:.2g} s) is not seen.")
    if 0 < len(goods) < 2:
        found.append("One good start says little of how much good starts differ; two, one on each channel, are better.")
    return [*log.warnings, *found]


def _still(log: Log, one: Facts) -> float | None:
    """Return the temperature before cranking, None where it goes up or down or too little is recorded."""
    if one.crank is None:
        return None
    halves = [(one.first_s, (one.first_s + one.crank.low) / 2), ((one.first_s + one.crank.low) / 2, one.crank.low)]
    first, second = (level(*held(log.time_s, log.values["temperature"]), a, b) for a, b in halves)
    if first is None or second is None or abs(first.value - second.value) > 1.0:
        return None
    return second.value


def _verdicts() -> dict[str, dict[str, str]]:
    return {
        "": {
            "unlit": "Speed and fuel flow as ever, and no temperature rise",
            "fuel": "Fuel flow missing, late or thin",
            "speed": "Speed at fuel-on lower than it should be",
            "lit": "The temperature did rise, or the readings disagree",
        },
        "speed": {"as-ever": "It turned as fast as it should", "slow": "It turned more slowly than it should"},
        "light": {
            "lights": "Lights in time",
            "late": "Lights, but late",
            "no-light": "No light in the time allowed",
        },
        "volts": {"holds": "The bus holds while it cranks", "sags": "The bus sags while it cranks"},
        "supply": {"present": "The supply is there", "low": "The supply is low", "absent": "The supply is not there"},
        "command": {
            "commanded": "Ignition was commanded on the channel selected",
            "not-commanded": "Ignition was not commanded",
            "wrong-one": "Ignition was commanded on another channel",
        },
        "after": {"reaches-idle": "It ran up to idle", "hung": "It lit and hung below idle"},
        "heat": {"within": "Within your data's temperature limit", "above": "Above your data's temperature limit"},
    }


CALCULATION = Calculation(
    "start",
    "a recorded start: speed at fuel on, light-off, hung or hot, and what it says for or against each zone",
    (
        Input("log", "file", "The recorder's log of the start, as CSV", hint="start.csv"),
        Input(
            "columns",
            "text",
            "Which column is which (Enter: as their names tell)",
            default="",
            hint="time=Time, speed=N2, temperature=EGT, fuel=FF, ignition=IGN CMD, channel=IGN CH, volts=DC BUS",
        ),
        Input(
            "which",
            "count",
            "Which start of the log, counted from 1 (Enter: the last that did not light)",
            default="",
            hint="2",
        ),
        Input(
            "good",
            "file",
            "Logs of good starts of the same engine to compare with",
            default="",
            many=True,
            hint="good.csv",
        ),
        Input("channel", "text", "Ignition channel that was selected", default="", hint="A"),
        Input("speed-least", "text", "Least speed at fuel on", default="", limit=True, hint="20 %"),
        Input("light-within", "time", "Time allowed from fuel on to light", default="", limit=True, hint="10 s"),
        Input("fuel-least", "text", "Least fuel flow at light-up", default="", limit=True, hint="80 kg/h"),
        Input(
            "hottest",
            "temperature",
            "Highest exhaust temperature allowed in a start",
            default="",
            limit=True,
            hint="700 °C",
        ),
        Input("volts-least", "voltage", "Least bus voltage while it cranks", default="", limit=True, hint="18 V"),
        Input("idle", "text", "Idle speed", default="", limit=True, hint="60 %"),
    ),
    _work,
    "change-points by the posterior of the instant (Carlin, Gelfand and Smith 1992), levels by Student's interval; "
    "what counts as like a good start is our judgement.",
    _verdicts(),
    lambda found, width, ascii_only: start_draw.draw(found.detail, width, ascii_only),
    lambda found, path: start_draw.picture(found.detail, path),
    shows=("light-within", "channel"),
)

"""A feed and its drop: what its wire should lose, what it does lose under load, and what is added on the way.

Ohm's law all through. A reading without load sees no resistance: a meter draws next to nothing, and where nothing
flows nothing drops. So a feed is judged by readings under load, and the reading without load says only whether
something arrives at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from isolate.calc import wire
from isolate.calc.bars import Bar, bars
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import Spread, spread
from isolate.calc.units import Quantity, figure
from isolate.calc.wire import LAST_DIGIT, in_ohm, told_off, with_interval, with_ohm

NOTHING: Final = 0.05
"""Share of the supply below which it counts as not there: our judgement; less is what a meter picks up."""
AS_HIGH: Final = 0.01
"""Share of the bus that the connector may lack without load and still be as high: our judgement."""
METER_OHM: Final = 10e6
"""Input resistance of a digital voltmeter: common practice."""
MOST_CURRENT_A: Final = 500.0
MOST_LOAD_OHM: Final = 1e5
MOST_VOLTS: Final = 400.0
MOST_DROP_V: Final = 20.0
"""More than general practice allows on any system."""
LOWEST_AC_V: Final = 60.0
LEAST_LOAD_A: Final = 0.1
"""Less than this loads no feed of an exciter: our judgement."""
DEAD_HANDS: Final = "Clips go on and come off with the power off, and the connector stays off the exciter throughout."
NO_FEED: Final = "no feed of ignition draws so much"
HIDES: Final = (
    "contacts of the exciter's input connector, hot and shaken as it is",
    "other connectors on the way",
    "contacts of relay or selector, burnt by switching",
    "splices and crimps, strands broken at them",
    "the breaker's contacts and terminals",
)
"""Where resistance is commonly found, likeliest first: common practice and our judgement, no count stands behind it."""
RETURN: Final = "the ground return: stud, lug, strap, paint under them"


@dataclass(frozen=True)
class Detail:
    """What the picture is drawn of. ``limit``: of the user's data, in the unit of the bars; None: none told."""

    rows: tuple[Bar, ...]
    limit: float | None


def path_ohm(sending_v: Any, arriving_v: Any, current_a: Any) -> Any:
    """Return Ω that a current loses a drop in, never below nought: (sent - arriving)/A. Numbers or arrays."""
    import numpy as np

    return np.maximum(0.0, (sending_v - arriving_v) / current_a)


def hidden_ohm(supply_v: float, unseen_v: float, meter_ohm: float = METER_OHM) -> float:
    """Return the most Ω in series that a reading without load cannot see.

    The meter's own resistance is the only load: it divides the supply, so that a drop of ``unseen_v`` is
    ``meter_ohm * unseen_v / (supply_v - unseen_v)``.
    """
    unseen_v = min(max(unseen_v, 0.0), 0.99 * supply_v)
    return meter_ohm * unseen_v / (supply_v - unseen_v)


def _work(given: Given) -> Found:
    told = _Told.of(given)
    lines: list[str] = []
    out = _Out(lines, [], {}, [], [])
    run = _run(told)
    if told.on_load is not None:
        _loaded(told, run, out)
    _unloaded(told, out)
    _hides(told, out)
    if run is not None:
        _expected(told, run, out)
    if told.on_load is None and (told.off_load is not None or told.bus_off is not None):
        lines.append("To see resistance, load it as your approved data says, and read again.")
    _general(told, out)
    if told.allowed is not None:
        out.rows.append(Bar("your data allows", told.allowed, told.allowed, told.allowed, _volts(told.allowed)))
    if not lines and not out.judged:
        raise Unfit("There is nothing to work with: tell gauge and length, or what was read with and without load")
    if any(q is not None and not told_off(q) for q in told.volts.values()):
        lines.append(LAST_DIGIT)
    if any(told.volts.values()):
        out.warnings.append(DEAD_HANDS)
    drawn = Detail(tuple(out.rows), told.allowed) if len(out.rows) > 1 else None
    return Found(tuple(lines), tuple(out.figures), out.judged, tuple(out.warnings), drawn)


@dataclass(frozen=True)
class _Out:
    """What comes out, as it is gathered."""

    lines: list[str]
    figures: list[Figure]
    judged: dict[str, Judged]
    warnings: list[str]
    rows: list[Bar]

    def figure(self, name: str, says: str, found: Spread, unit: str) -> None:
        self.figures.append(Figure(name, says, *found, unit))

    def named(self, name: str) -> Figure | None:
        """Return a figure that was found; None: it was not."""
        return next((f for f in self.figures if f.name == name), None)


class _Run(NamedTuple):
    """What the wire should have: Ω from readings, those readings, Ω per metre of a new wire at 20 °C, and how said."""

    ohms: Callable[..., Any]
    of: tuple[Quantity, ...]
    per_m: float
    said: str


class _Flow(NamedTuple):
    """The amperes under load: from what reads at the connector, and from what was told of current or load."""

    amps: Callable[[Any, Any], Any]
    of: Quantity


@dataclass(frozen=True)
class _Told:
    """What was told, looked over. ``size``: the gauge; ``volts``: the readings by input name."""

    size: int | None
    given: Given
    volts: Mapping[str, Quantity | None]

    @classmethod
    def of(cls, given: Given) -> _Told:
        volts = {name: given.get(name) for name in ("bus-off-load", "off-load", "bus-on-load", "on-load")}
        told = cls(wire.gauge(given["gauge"]) if "gauge" in given else None, given, volts)
        told._look_over_run()
        told._look_over_volts()
        told._look_over_limits()
        return told

    @property
    def bus_off(self) -> Quantity | None:
        return self.volts["bus-off-load"]

    @property
    def off_load(self) -> Quantity | None:
        return self.volts["off-load"]

    @property
    def bus_on(self) -> Quantity | None:
        return self.volts["bus-on-load"]

    @property
    def on_load(self) -> Quantity | None:
        return self.volts["on-load"]

    @property
    def allowed(self) -> float | None:
        limit = self.given.get("allowed")
        return None if limit is None else float(limit.value)

    @property
    def supply(self) -> float | None:
        """What the supply is, in volts: of the system that was told, else of the readings; None: neither."""
        if "system" in self.given:
            return _nominal(self.given["system"])
        read = [q.value for q in (self.bus_off, self.off_load, self.bus_on) if q is not None]
        return max(read) if any(read) else None

    @property
    def absent_v(self) -> float:
        """Volts below which nothing is there: a share of the supply, which is no lower than the lowest system's."""
        return NOTHING * max(self.supply or 0.0, _nominal("14 V"))

    def gone(self, reading: Quantity) -> bool:
        """Return whether a reading is next to nothing."""
        return reading.value + reading.within < self.absent_v or reading.value == 0

    @property
    def flow(self) -> _Flow | None:
        """The amperes under load; None where nothing was told of them."""
        if "current" in self.given:
            return _Flow(lambda on, amps: amps, self.given["current"])
        if "load" in self.given and self.on_load is not None:
            return _Flow(lambda on, ohms: on / ohms, self.given["load"])
        return None

    def _look_over_run(self) -> None:
        """Raise Unfit for a wire, a current or a load that cannot be."""
        given = self.given
        wire.fit_temperature(given["temperature"].value)
        for name in ("length", "return-length"):
            if name in given:
                _above_nought(
                    given[name], name, "a run has a length", wire.LONGEST_M, "no run in an aircraft is so long"
                )
        if ("length" in given) != (self.size is not None):
            missing = "gauge" if self.size is None else "length"
            raise Unfit(f"{missing} has to be told too: what a wire loses takes its gauge and its length", missing)
        if "return-length" in given and given["return"] != "wire":
            raise Unfit("return-length is of a return wire; say return wire, or leave the length out", "return-length")
        # A current of nothing is told of an open, and of nothing else.
        opened = self.on_load is not None and self.gone(self.on_load)
        if "current" in given and not (opened and given["current"].value == 0):
            _above_nought(given["current"], "current", "where nothing flows nothing drops", MOST_CURRENT_A, NO_FEED)
        if "load" in given:
            _above_nought(given["load"], "load", "a load of nothing is a short", MOST_LOAD_OHM, "that loads nothing")

    def _look_over_volts(self) -> None:
        """Raise Unfit for readings that cannot be, or not together."""
        for name, one in self.volts.items():
            if one is None:
                continue
            if one.value < 0:
                raise Unfit(
                    f"{name}: {one.told()} is below nought. If only the meter's leads were crossed, tell it without "
                    "the sign; if they were not, the polarity is wrong, and that is a finding of its own",
                    name,
                )
            if "system" in self.given and one.value > 1.5 * _nominal(self.given["system"]):
                raise Unfit(f"{name}: {one.told()} is far above a system of {self.given['system']}", name)
            if one.value > MOST_VOLTS:
                raise Unfit(f"{name}: {one.told()} is no supply of ignition; the output side is never measured", name)
        for off, on in (("off-load", "on-load"), ("bus-off-load", "bus-on-load"), ("bus-on-load", "on-load")):
            high, low = self.volts[on], self.volts[off]
            if high is not None and low is not None and high.value - high.within > low.value + low.within:
                raise Unfit(
                    f"{on} reads more than {off} ({high.told()} against {low.told()}), and a load raises nothing: "
                    "are they swapped, or was the source changed between them",
                    on,
                )
        if self.on_load is not None and not any((self.bus_on, self.off_load, self.bus_off)):
            raise Unfit(
                "on-load says nothing by itself: tell the bus under load, or what reads without load", "on-load"
            )

    def _look_over_limits(self) -> None:
        """Raise Unfit for a limit that is none."""
        supply, allowed = self.supply, self.allowed
        if allowed is None:
            return
        if allowed <= 0:
            raise Unfit("allowed: a limit of nothing or less is none", "allowed")
        if allowed >= (MOST_DROP_V if supply is None else supply / 2):
            raise Unfit(
                f"allowed: nobody allows a drop of {_volts(allowed)}; what is asked for is what may be lost, "
                "not what should arrive",
                "allowed",
            )


def _nominal(system: str) -> float:
    return float(system.split()[0])


def _above_nought(told: Quantity, of: str, why: str, most: float, why_most: str) -> None:
    if told.value <= 0:
        raise Unfit(f"{of}: {told.told()}; {why}", of)
    if told.value > most:
        raise Unfit(f"{of}: {told.told()}; {why_most}: is the unit right", of)
    if told.within >= told.value:
        raise Unfit(f"{of}: {told.told()} may be nothing at all; read it finer", of)


def _itself(value: Any) -> Any:
    return value


def _unloaded(told: _Told, out: _Out) -> None:
    """Judge what arrives without load beside the bus, and say what that reading cannot see."""
    off, bus = told.off_load, told.bus_off
    if off is None:
        return
    if bus is not None and told.gone(bus):
        out.judged["unloaded"] = Judged(CANNOT_TELL, "the bus is dead, so the connector says nothing of the feed")
        return
    if told.gone(off):
        why = f"{off.told()} is next to nothing: breaker, switching or an open on the way; the exciter is not to blame"
        out.judged["unloaded"] = Judged("absent", why)
        return
    unseen = off.within
    if bus is not None:
        lacks = spread(lambda sent, arriving: sent - arriving, bus, off)
        unseen = max(lacks.high, 0.0)
        out.judged["unloaded"] = _beside_bus(lacks, AS_HIGH * bus.value)
    hidden = hidden_ohm(bus.value if bus is not None else off.value, unseen)
    out.figure(
        "hidden", "most resistance that the reading without load cannot see", Spread(hidden, hidden, hidden), "Ω"
    )
    lost = out.named("drop")
    blind = f"with a meter of 10 MΩ alone on it, up to {in_ohm(hidden)} in series would not have shown"
    if lost is not None and lost.low > AS_HIGH * off.value:
        out.lines.append(
            f"Without load it read {_volts(off.value)}, and that reading cannot see this: nothing drops where nothing "
            f"flows; {blind}."
        )
    else:
        out.lines.append(f"Without load {_volts(off.value)} arrive, which proves a path and no more: {blind}.")


def _beside_bus(lacks: Spread, margin: float) -> Judged:
    why = f"it lacks {_with_v(lacks)} of the bus"
    if lacks.high < -margin:
        return Judged(CANNOT_TELL, "it reads more than the bus: they were not read on one source at one time")
    if lacks.low > margin:
        return Judged(
            "low",
            f"{why}; a meter draws next to nothing, so it is a contact that hardly touches, a leak to structure, or a "
            "ghost across an open: load it to tell",
        )
    if lacks.high <= margin:
        return Judged("present", why)
    return Judged(CANNOT_TELL, f"{why}; up to {_volts(margin)} counts as nothing: read both finer, at one time")


def _run(told: _Told) -> _Run | None:
    """Return what the wire should have; None where it was not told. Raises Unfit: the table lacks the gauge."""
    if told.size is None:
        return None
    given, size = told.given, told.size
    solid = given["wire"] == "solid"
    if not solid and size not in wire.PLATED_OHM_FT:
        raise Unfit(
            f"gauge: the table of aircraft wire has no {wire.said(size)}; choose another gauge, or wire solid for "
            "plain copper of that diameter",
            "gauge",
        )
    per_m = wire.solid_ohm_m(size) if solid else wire.plated_ohm_m(size)
    kind = "solid copper by its diameter" if solid else "plated aircraft wire by the table"
    new = Quantity("share", 1.0, wire.NEW_WIRE + (0.0 if solid else wire.rounded(size)), "1")
    of: tuple[Quantity, ...] = (given["length"], given["temperature"], new)
    if given["return"] != "wire":
        ways, said = 1, f"{wire.said(size)} one way, {kind}"
    else:
        # A return that was not told apart is twice the one reading, error and all.
        ways, said = 2, f"{wire.said(size)} there and back, {kind}"
        if "return-length" in given:
            ways, of = 1, (*of, given["return-length"])

    def ohms(there: Any, temperature_c: Any, share: Any, *back: Any) -> Any:
        return per_m * (ways * there + sum(back)) * wire.hotter(temperature_c) * share

    return _Run(ohms, of, per_m, said)


def _expected(told: _Told, run: _Run, out: _Out) -> None:
    """Say what the wire should have, and lose under the current told."""
    whole = spread(run.ohms, *run.of)
    out.figure("wire", "resistance that the wire should have", whole, "Ω")
    assert told.size is not None
    said = run.said
    if told.size in wire.PLATED_OHM_FT:
        solid = told.given["wire"] == "solid"
        other = wire.plated_ohm_m(told.size) if solid else wire.solid_ohm_m(told.size)
        kind = "plated aircraft wire" if solid else "solid copper"
        said += f"; {kind} of that gauge {in_ohm(whole.value * other / run.per_m)}"
    line = f"The wire should have {with_ohm(whole)} at {figure(told.given['temperature'].value)} °C ({said})"
    flow = told.flow
    if flow is not None and flow.of.value > 0 and (told.on_load is None or not told.gone(told.on_load)):
        arriving: Quantity | float = told.on_load or 0.0
        drop = spread(lambda on, x, *w: run.ohms(*w) * flow.amps(on, x), arriving, flow.of, *run.of)
        out.figure("wire-drop", "drop that the wire should have", drop, "V")
        out.rows.insert(0, Bar("the wire alone", *drop, _with_v(drop)))
        line += f" and lose {_with_v(drop)}"
        if told.allowed is not None and drop.low > told.allowed:
            line += ", more than your data allows before anything is added: look again at gauge, length and load"
    out.lines.append(f"{line}.")
    if told.given["return"] != "wire" and out.named("return") is None:
        out.lines.append(
            f"The return through structure is not in that; up to {in_ohm(wire.STRUCTURE_OHM)} of it is held "
            "satisfactory (AMT Handbook, general practice)."
        )


def _loaded(told: _Told, run: _Run | None, out: _Out) -> None:
    """Work out drop, resistance and heat under load, and judge the drop."""
    on = told.on_load
    sent = told.bus_on or told.off_load or told.bus_off
    assert on is not None and sent is not None
    if told.gone(sent) and (told.bus_off is None or told.gone(told.bus_off) or told.bus_on is not None):
        out.lines.append("Nothing is there without load either, so there is no drop to speak of.")
        return
    if told.gone(on):
        _collapsed(told, told.bus_off if told.gone(sent) and told.bus_off else sent, on, out)
        return
    sagging = told.bus_on is None
    drop = _not_below_nought(spread(lambda a, b: a - b, sent, on))
    out.figure("drop", "drop under load", drop, "V")
    out.rows.append(Bar("under load", *drop, _with_v(drop)))
    where = "source and path together" if sagging else "between bus and connector"
    line = f"Under load it loses {_with_v(drop)}, {where}"
    flow, doubt = told.flow, ""
    if flow is None:
        doubt = "how much flowed was not told, and the limit is for a load: tell the current, or the load's resistance"
        if drop.low <= 0:
            doubt = "no drop shows and no current was told: see that the load draws, and tell how much"
    if flow is not None and (amps := flow.amps(on.value, flow.of.value)) < LEAST_LOAD_A:
        doubt = f"{figure(amps)} A hardly load a feed: load it as your data says"
        out.warnings.append(f"{figure(amps)} A hardly load a feed: is the unit right?")
    if flow is None:
        out.lines.append(f"{line}.")
        out.warnings.append("Tell the current, or the load's resistance, to know how much resistance that is.")
    else:
        path = spread(lambda a, b, x: path_ohm(a, b, flow.amps(b, x)), sent, on, flow.of)
        heat = spread(lambda a, b, x: wire.heat_w(flow.amps(b, x), path_ohm(a, b, flow.amps(b, x))), sent, on, flow.of)
        out.figure("path", f"resistance, {where}", path, "Ω")
        out.figure("heat", "turned to heat on the way, under this load", heat, "W")
        out.lines.append(f"{line}: {with_ohm(path)}, and {figure(heat.value, 2)} W of heat.")
        if run is not None and not _added(sent, on, flow, run, out):
            doubt = doubt or "it is less than the wire alone loses, so something told is not so"
        if told.bus_on is not None and told.bus_off is not None:
            sag = spread(lambda a, b, v, x: path_ohm(a, b, flow.amps(v, x)), told.bus_off, told.bus_on, on, flow.of)
            out.figure("source", "resistance of the source up to the bus", sag, "Ω")
            out.lines.append(f"The source gives way as {with_ohm(sag)} would; that is not the feed's.")
        _return(told, sent, on, flow, out)
        _both(told, on, out)
    if sagging:
        out.warnings.append("The source's own sag is in the drop: read the bus at the same moment to tell them apart.")
    if (told.supply or 0) > LOWEST_AC_V:
        out.warnings.append("On 400 Hz that is an impedance, the run's own reactance included: compare like with like.")
    _judge(told, drop, sagging, doubt, out)


def _not_below_nought(found: Spread) -> Spread:
    """A resistance gives nothing back: what lies below nought is error."""
    return Spread(*(max(v, 0.0) for v in found))


def _added(sent: Quantity, on: Quantity, flow: _Flow, run: _Run, out: _Out) -> bool:
    """Say what is there beyond the wire's own resistance; False where it comes to less than the wire's own."""

    def more_ohm(a: Any, b: Any, x: Any, *w: Any) -> Any:
        return (a - b) / flow.amps(b, x) - run.ohms(*w)

    more = spread(more_ohm, sent, on, flow.of, *run.of)
    if more.high < 0:
        out.warnings.append(
            "That is less than the wire alone should have: gauge, length, current or a reading is not what was told."
        )
        return False
    shown = _not_below_nought(more)
    out.figure("added", "resistance beyond the wire's own", shown, "Ω")
    if more.low <= 0:
        out.lines.append(
            f"These readings show nothing added for certain: at most {in_ohm(more.high)} beyond the wire's own."
        )
        return True
    spare = spread(lambda a, b, x, *w: wire.heat_w(flow.amps(b, x), more_ohm(a, b, x, *w)), sent, on, flow.of, *run.of)
    out.lines.append(
        f"Beyond the wire's own, {with_ohm(shown)} are added. If they are one contact, it has to get rid of "
        f"{figure(spare.value, 2)} W under this load."
    )
    return True


def _both(told: _Told, on: Quantity, out: _Out) -> None:
    """Warn where current and load were both told and do not agree."""
    if "current" not in told.given or "load" not in told.given:
        return
    read, reckoned = spread(_itself, told.given["current"]), spread(lambda v, r: v / r, on, told.given["load"])
    if read.low > reckoned.high or reckoned.low > read.high:
        out.warnings.append(
            f"The current read ({figure(read.value)} A) is not what the load would draw ({figure(reckoned.value)} A); "
            "the one that was read is used."
        )


def _return(told: _Told, sent: Quantity, on: Quantity, flow: _Flow, out: _Out) -> None:
    """Say what the return alone has, where its drop was read apart."""
    if "return-drop" not in told.given:
        return
    lost: Quantity = told.given["return-drop"]
    if lost.value < 0:
        raise Unfit("return-drop: tell it without a sign", "return-drop")
    if lost.value - lost.within > sent.value + sent.within - (on.value - on.within):
        raise Unfit(f"return-drop: {lost.told()} is more than the whole drop: is the unit right", "return-drop")
    back = _not_below_nought(spread(lambda v, b, x: v / flow.amps(b, x), lost, on, flow.of))
    out.figure("return", "resistance of the return", back, "Ω")
    line = f"Of that the return has {with_ohm(back)}"
    if told.given["return"] == "structure":
        side = beside(back.low, back.high, None, wire.STRUCTURE_OHM)
        words = {"within": "satisfactory", "above": "more than is held satisfactory; look there first"}
        line += f", {words.get(side, 'about the most held satisfactory')}"
        line += f" for structure ({in_ohm(wire.STRUCTURE_OHM)}, AMT Handbook, general practice)"
    out.lines.append(f"{line}.")


def _hides(told: _Told, out: _Out) -> None:
    """List where resistance hides, the return first where it was found high, last where it was found good."""
    drop, added = out.named("drop"), out.named("added")
    if drop is None or drop.low <= 0 or (added is not None and added.low <= 0):
        return
    if "" in out.judged and out.judged[""].verdict == "within":
        return
    places = list(HIDES)
    measured = out.named("return")
    if measured is not None and measured.low > wire.STRUCTURE_OHM and told.given["return"] == "structure":
        places = [RETURN, *places]
    elif measured is None:
        places = [*places, RETURN]
    out.lines.append("Where added resistance commonly hides, likeliest first (practice):")
    out.lines.extend(f"{n}. {place}." for n, place in enumerate(places, 1))
    out.lines.append(
        "To narrow it down, read the drop under load over half of the way, then over half of that, at the test points "
        "of your approved data, clips fixed with power off."
    )


def _collapsed(told: _Told, sent: Quantity, on: Quantity, out: _Out) -> None:
    """Say that nothing arrives under load."""
    amps = told.given.get("current")
    if amps is not None and amps.value > 0:
        out.judged[""] = Judged(
            CANNOT_TELL,
            f"{figure(amps.value)} A flow and {on.told()} arrive: the load is a short, the clips are not where they "
            "should be, or the drop was told for the reading",
        )
        return
    why = f"{_volts(sent.value)} go in and {on.told()} arrive"
    if told.off_load is not None and not told.gone(told.off_load):
        why += "; without load it looked alive, so a contact carries a meter and no load"
    out.judged[""] = Judged("open", why)
    out.lines.append("Under load nothing arrives: an open, or a contact that carries a meter's current and no more.")
    out.warnings.append("If that was the drop, and not what the connector read, tell what the connector read.")


def _judge(told: _Told, drop: Spread, sagging: bool, doubt: str, out: _Out) -> None:
    """Judge the drop. ``doubt``: why a small one clears nothing. A large one with the sag in it condemns nothing."""
    if told.allowed is None:
        return
    side: str = beside(drop.low, drop.high, None, told.allowed)
    why = f"{_with_v(drop)} against {_volts(told.allowed)}"
    if (flow := told.flow) is not None and told.on_load is not None:
        why += f" at {figure(flow.amps(told.on_load.value, flow.of.value))} A; see that your data's load draws as much"
    if side == CANNOT_TELL:
        why += "; the limit lies within what the readings may be off by: use a finer meter"
    elif side == "above" and sagging:
        side = CANNOT_TELL
        why += ", but the source's own sag is in that: read bus and connector under load at the same moment"
    elif side == "within" and doubt:
        side = CANNOT_TELL
        why += f", but {doubt}"
    out.judged[""] = Judged(side, why)


def _general(told: _Told, out: _Out) -> None:
    """Say what general practice allows, where the system was told."""
    if "system" not in told.given:
        return
    steady, brief = wire.ALLOWED_DROP_V[told.given["system"]]
    out.lines.append(
        f"General practice (AC 43.13-1B, table 11-6) allows {_volts(steady)} between bus and equipment at "
        f"{told.given['system']} where it draws all the time, {_volts(brief)} where it draws now and then. "
        "What your approved data says comes first."
    )


def _volts(volts: float) -> str:
    return f"{figure(volts, 4)} V"


def _with_v(found: Spread) -> str:
    return with_interval(found, "V")


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    if found.detail is None:
        return ()
    limits = [] if found.detail.limit is None else [found.detail.limit]
    return bars(found.detail.rows, limits, width, ascii_only, "your data allows")


CALCULATION = Calculation(
    "feeder",
    "voltage drop of a feed: expected, allowed, and what readings with and without load say",
    (
        Input("off-load", "voltage", "At the connector, without load", "", hint="28.1 V"),
        Input("bus-off-load", "voltage", "At the bus, without load", "", hint="28.1 V"),
        Input("on-load", "voltage", "At the connector, under load", "", hint="26.20 V"),
        Input(
            "bus-on-load", "voltage", "At the bus, under load, at the same moment", "", hint="27.95 V", after="on-load"
        ),
        Input("current", "current", "Current under load", "", hint="3.02 A"),
        Input(
            "load", "resistance", "Resistance of the load, if no current was read", "", hint="9.1 Ω", after="on-load"
        ),
        Input("return-drop", "voltage", "Drop of the return alone, under load", "", hint="12 mV", after="on-load"),
        Input("allowed", "voltage", "Drop that your approved data allows", "", limit=True, hint="1 V"),
        Input("gauge", "text", "Gauge of the wire (AWG)", "", hint="14"),
        Input("length", "length", "Length of the run, one way", "", hint="12 ft", after="gauge"),
        Input("return", "choice", "How the current comes back", "structure", choices=("structure", "wire")),
        Input("return-length", "length", "Length of the return wire, if it differs", "", hint="9 ft", after="length"),
        Input("temperature", "temperature", "Temperature of the wire", "20 °C", hint="60 °C", after="gauge"),
        Input("wire", "choice", "Plated aircraft wire, or solid", "plated", choices=("plated", "solid"), after="gauge"),
        Input("system", "choice", "Nominal voltage of the system", "", choices=tuple(wire.ALLOWED_DROP_V)),
    ),
    _work,
    "Ohm's law; wire by AC 43.13-1B CHG 1, ch. 11 (tables 11-6 to 11-9, hot wire by 234.5), or copper by ASTM B258.",
    {
        "": {
            "within": "Within the drop that your data allows",
            "above": "More drop than your data allows",
            "open": "Nothing arrives under load",
        },
        "unloaded": {
            "present": "It arrives without load, as high as at the bus",
            "low": "It arrives without load, but lower than at the bus",
            "absent": "It does not arrive",
        },
    },
    _draw,
    shows=("bus-on-load", "on-load", "current", "allowed"),
    before=(DEAD_HANDS,),
)

"""An exciter by its data and by a count: stored energy, spark rate and energy a second against supply.

- Energy stored for each spark: E = ½·C·V², C the storage capacitor and V the voltage that it discharges at.
- Energy a second: E times the spark rate.
- Rate against supply: each spark takes the same energy, so the rate goes as the power that the exciter draws. That goes
  as the supply squared where its input is like a resistor, and as the supply where it draws a constant current; between
  the two lies what is expected. That band is our judgement. A converter that is regulated keeps its rate instead.
- A count: the sparks are a regular train, not a Poisson one. Counted between two moments taken at random, n sparks in
  T seconds are a train of (n ± 1)/T with the likeliest in the middle (a triangle: two ends, each anywhere between two
  sparks); from one spark that is not counted, (n to n + 1)/T; from one spark to another, n/T. The watch's error comes
  on top. A spark miscounted does not: count twice.

Nobody measures capacitor or voltage on a live unit; both are figures of the data plate or of approved data.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import DRAWS, spread
from isolate.calc.units import Quantity, figure

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Draws = NDArray[np.float64]

ANY, FROM, BETWEEN = "any-moment", "on-a-snap", "snap-to-snap"
"""How the watch was started and stopped."""
HAND: Final = 0.3
"""Seconds that a hand on a watch may be off by over start and stop together: our judgement."""
USUAL: Final = (0.5, 40.0)
"""Joules; igniter systems of turbines are commonly quoted at 1 to 20 J. Outside the figures are looked at again."""
ABSURD: Final = 1000.0
"""Joules that no such exciter stores."""
SLOWEST: Final = 0.5
"""Sparks a second; 0.5 to 4 are commonly quoted."""
FASTEST: Final = 50.0
"""Sparks a second that nobody counts, and that are none of such an exciter's."""
ENERGY = "what an exciter stores can kill (FAA-H-8083-32B, chapter 4, warns of it); 1 to 20 J are commonly quoted"
BEFORE_HANDS = (
    "before hands go near: breakers pulled and tagged, the low-voltage input off, the discharge wait of your approved "
    "data (never less than a minute), then ground it. A silent exciter is not a discharged one"
)


TOO_FAST: Final = "faster than your data allow, and each spark may have less in it: that is a finding of its own"


@dataclass(frozen=True)
class Rate:
    """A spark rate with its 95 % interval, in sparks a second; ``draws``: the same as drawn."""

    value: float
    low: float
    high: float
    draws: Draws


@dataclass(frozen=True)
class Bars:
    """What the picture shows: (name, value, low, high) of rates, and the limits."""

    rates: tuple[tuple[str, float, float, float], ...]
    slowest: float | None
    fastest: float | None


def energy(farads: Any, volts: Any) -> Any:
    """Return the energy stored, in joules, of a capacitance in farads charged to so many volts: ½·C·V²."""
    return 0.5 * farads * volts**2


def rate_at(rated: Any, supply_v: Any, rated_v: Any, power: Any) -> Any:
    """Return the spark rate at a supply, of the rate at the rated supply. ``power``: 1 to 2, how the draw goes."""
    return rated * (supply_v / rated_v) ** power


def counted(count: int, seconds: float, off_s: float, watch: str = ANY, seed: int = 0) -> Rate:
    """Return the rate of a regular train of which ``count`` were counted in a time that may be off by ``off_s``.

    ``watch``: how it was started and stopped. Raises Unfit for a time of nothing.
    """
    import numpy as np

    if seconds - off_s <= 0:
        raise Unfit(f"{figure(seconds)} s may be off by {figure(off_s)} s: that is no time to count in")
    chance = np.random.default_rng([19, seed])
    if watch == ANY:
        more = chance.triangular(-1, 0, 1, DRAWS)
    else:
        more = chance.uniform(0, 1, DRAWS) if watch == FROM else np.zeros(DRAWS)
    time = seconds + off_s * chance.uniform(-1, 1, DRAWS)
    draws = np.maximum(count + more, 0) / time
    low, high = np.quantile(draws, [0.025, 0.975])
    value = (count + (0.5 if watch == FROM else 0.0)) / seconds
    return Rate(value, float(low), float(high), draws)


def _watch_error(time: Quantity) -> float:
    """Return what a time is off by: what was told after ±, else at least what a hand is."""
    told = any(mark in time.typed for mark in ("±", "+/-", "+-"))
    return time.within if told else max(time.within, HAND)


def _train(given: Given, count: str, missed: str, seconds: str, seed: int) -> Rate | None:
    """Return the pace of a channel: sparks heard and those missing from the beat, over the time. None: not counted."""
    if count not in given:
        for name in (seconds, missed):
            if name in given:
                raise Unfit(f"{name} is of no use without {count}", count)
        return None
    if seconds not in given:
        raise Unfit(f"{seconds}: over what time the {count} was taken has to be told", seconds)
    heard, time = given[count], given[seconds]
    if time.value <= 0:
        raise Unfit(f"{seconds}: a count takes time", seconds)
    if not heard and given.get(missed):
        raise Unfit(f"{missed}: with nothing heard there is no beat that one could be missing from", missed)
    if given.get(missed, 0) > heard:
        # More gaps than snaps: which of them were gaps is then a guess, and so is the pace.
        raise Unfit(f"{missed}: more missing than were heard leaves no beat to tell the pace by", missed)
    if (heard + given.get(missed, 0)) / time.value > FASTEST:
        raise Unfit(f"{heard} in {time.said()} is no rate that an exciter has, or anybody counts", count)
    try:
        return counted(heard + given.get(missed, 0), time.value, _watch_error(time), given["watch"], seed)
    except Unfit as error:
        raise Unfit(f"{seconds}: {error}", seconds) from None


def _work(given: Given) -> Found:
    lines: list[str] = []
    figures: list[Figure] = []
    judged: dict[str, Judged] = {}
    warnings: list[str] = []
    slowest, fastest = _limits(given)
    joules = _stored(given, lines, figures, warnings)
    own = _train(given, "count", "missed", "seconds", 1)
    other = _train(given, "other-count", "other-missed", "other-seconds", 2)
    expected = _expected(given, lines, figures, warnings)
    if own is not None and given["count"]:
        missed = given.get("missed", 0)
        with_them = f", with the {missed} missing put in" if missed else ""
        lines.append(f"Pace: {_per_second(own)}{with_them}.")
        figures.append(Figure("rate", "spark rate", own.value, own.low, own.high, "1/s"))
        if expected is not None:
            _beside_expected(own, expected, lines)
    elif own is not None:
        lines.append(f"Nothing was heard in {given['seconds'].said()}.")
    if joules is not None:
        _power(joules, own if own is not None and given["count"] else expected, lines, figures, given)
    if own is not None:
        _judge(given, own, other, expected, (slowest, fastest), judged, lines, figures, warnings)
    elif other is not None:
        raise Unfit("other-count is set beside a count; that has to be told too", "count")
    if joules is None and own is None and expected is None:
        raise Unfit("give capacitance and voltage, or a count and its seconds, or a rated rate with two supplies")
    if joules is not None or own is not None:
        warnings.append(BEFORE_HANDS)
    rates = [(n, r.value, r.low, r.high) for n, r in (("this channel", own), ("the other", other)) if r is not None]
    if expected is not None:
        rates.append(("expected", expected[0], expected[1], expected[2]))
    return Found(tuple(lines), tuple(figures), judged, tuple(warnings), Bars(tuple(rates), slowest, fastest))


def _limits(given: Given) -> tuple[float | None, float | None]:
    ends = tuple(given[name].value if name in given else None for name in ("slowest", "fastest"))
    slowest, fastest = ends
    for name in ("slowest", "fastest"):
        if name in given and given[name].value == 0:
            raise Unfit(f"{name}: a rate of nought is no limit; leave it out where your data gives none", name)
    if slowest is not None and fastest is not None and slowest > fastest:
        raise Unfit("the slowest rate allowed is above the fastest; they may be the wrong way round", "slowest")
    return slowest, fastest


def _stored(given: Given, lines: list[str], figures: list[Figure], warnings: list[str]) -> Quantity | None:
    """Say the energy stored; returned as a Quantity so that more can be worked out from it. None: not asked for."""
    if "capacitance" not in given and "charge" not in given:
        return None
    for name, other in (("capacitance", "charge"), ("charge", "capacitance")):
        if name not in given:
            raise Unfit(f"{other} alone gives no energy; {name} has to be told too", name)
        if given[name].value <= 0:
            raise Unfit(f"{name}: {given[name].said()} stores nothing", name)
    found = spread(energy, given["capacitance"], given["charge"])
    if found.value > ABSURD:
        raise Unfit(
            f"that comes to {figure(found.value)} J, which no exciter stores; look at the units of "
            f"{given['charge'].typed} and {given['capacitance'].typed}",
            "capacitance",
        )
    lines.append(f"Stored for each spark: {figure(found.value)} J ({figure(found.low)} to {figure(found.high)} J).")
    lines.append(
        "What reaches the plug's tip is less: the lead, the discharge gap and the spark itself take their share."
    )
    figures.append(Figure("energy", "energy stored for each spark", found.value, found.low, found.high, "J"))
    if not USUAL[0] <= found.value <= USUAL[1]:
        warnings.append(
            "that is outside what such exciters are commonly quoted at (1 to 20 J): look at the units again"
        )
    warnings.append(ENERGY)
    return Quantity("energy", found.value, 0.0, "J")


def _power(
    joules: Quantity,
    rate: Rate | tuple[float, float, float] | None,
    lines: list[str],
    figures: list[Figure],
    given: Given,
) -> None:
    import numpy as np

    if rate is None:
        return
    if isinstance(rate, Rate):
        of = "at the rate counted"
        chance = np.random.default_rng(6)
        farads, volts = (
            q.value + q.within * chance.uniform(-1, 1, DRAWS) for q in (given["capacitance"], given["charge"])
        )
        low, high = (float(x) for x in np.quantile(energy(farads, volts) * rate.draws, [0.025, 0.975]))
        watts = joules.value * rate.value
    else:
        of = "at the rate expected"
        watts, low, high = spread(
            lambda c, v, *of: energy(c, v) * rate_at(*of), given["capacitance"], given["charge"], *_rated(given)
        )
    lines.append(f"Energy a second {of}: {figure(watts)} J/s ({figure(low)} to {figure(high)}).")
    figures.append(Figure("power", "energy a second", watts, low, high, "J/s"))


def _expected(
    given: Given, lines: list[str], figures: list[Figure], warnings: list[str]
) -> tuple[float, float, float] | None:
    """Return the rate expected at the supply (value, low, high); None: not asked for."""
    names = ("rated-rate", "rated-supply", "supply")
    told = [name for name in names if name in given]
    # A rated rate by itself is a rate of the data, and a supply by itself a note.
    if "rated-rate" not in given or "supply" not in given:
        if "rated-rate" in given and "supply" not in given and "rated-supply" in given:
            raise Unfit("supply: what the supply was has to be told, to say what rate it gives", "supply")
        return None
    if "rated-supply" not in given:
        raise Unfit("rated-supply: at which supply the rated rate holds has to be told", "rated-supply")
    for name in told:
        if given[name].value <= 0:
            raise Unfit(f"{name}: it has to be more than nothing", name)
    ratio = given["supply"].value / given["rated-supply"].value
    if not 0.3 <= ratio <= 2:
        raise Unfit(
            f"{given['supply'].said()} beside a rated {given['rated-supply'].said()}: not the same supply, or a slip; "
            "look again",
            "supply",
        )
    band = spread(rate_at, *_rated(given))
    lines.append(
        f"At {given['supply'].said()} about {_sparks(band.value)} a second is the pace expected "
        f"({figure(band.low)} to {figure(band.high)}): between the supply and its square, which is our judgement."
    )
    lines.append("A regulated exciter keeps its rate over the supply range of its data; this is for the others.")
    figures.append(Figure("expected", "spark rate expected at this supply", *band, "1/s"))
    if not 0.7 <= ratio <= 1.3:
        warnings.append("that far from the rated supply many exciters do not fire at all, or shut themselves off")
    return band.value, band.low, band.high


def _rated(given: Given) -> tuple[Quantity, ...]:
    """Return what the expected rate comes from; how the draw goes is a figure without a unit, anywhere from 1 to 2."""
    return given["rated-rate"], given["supply"], given["rated-supply"], Quantity("share", 1.5, 0.5, "1")


def _beside_expected(own: Rate, expected: tuple[float, float, float], lines: list[str]) -> None:
    side = beside(own.low, own.high, expected[1], expected[2])
    words = {
        "below": "Slower than this supply explains.",
        "above": "Faster than expected at this supply.",
        "within": "As expected at this supply.",
        CANNOT_TELL: "It may be as expected at this supply.",
    }
    lines.append(words[side])


def _judge(
    given: Given,
    own: Rate,
    other: Rate | None,
    expected: tuple[float, float, float] | None,
    limits: tuple[float | None, float | None],
    judged: dict[str, Judged],
    lines: list[str],
    figures: list[Figure],
    warnings: list[str],
) -> None:
    """Judge the rate beside the data, the two channels beside each other, and the beat of this one."""
    slowest = limits[0]
    silent, other_silent = not given["count"], other is not None and not given["other-count"]
    if silent:
        judged[""] = _silence(given, "seconds", slowest)
        judged["beat"] = judged[""]
    side = judged[""].verdict if silent else _rate_side(given, own, expected, limits)
    if side and not silent:
        judged[""] = _rate_judged(given, own, side, limits)
        if side == "within" and given.get("missed") and slowest is not None:
            judged[""] = _without_missing(given, judged[""], slowest)
        if side in ("slow", CANNOT_TELL) and "missed" not in given and slowest is not None:
            warnings.append(
                "snaps missing from the beat make a count low as well; tell how many were missing, 0 for none"
            )
    apart = given["apart"]
    ratio = None
    if other is not None and not silent and not other_silent:
        ratio = _ratio(own, other, lines, figures, warnings)
    if not silent:
        judged |= _beat(given, side, judged[""].why if side else "", ratio, apart.value)
    if other is not None:
        if other_silent:
            other_side = _silence(given, "other-seconds", slowest).verdict
        else:
            other_side = _rate_side(given, other, expected, limits)
        judged["outputs"] = _outputs(given, side, other_side, ratio, apart.value, slowest)
        warnings.append("a count does not say how loud they were: what was heard goes with it")


def _silence(given: Given, seconds: str, slowest: float | None) -> Judged:
    """Return what hearing nothing comes to: nothing to count, where it lasted longer than the slowest good beat."""
    time, slow = given[seconds], slowest or SLOWEST
    if time.value - _watch_error(time) <= 1 / slow:
        of = "your data allow" if slowest else "such exciters commonly have"
        why = f"nothing in {time.said()}, but one spark in {figure(1 / slow)} s is what {of}: listen longer"
        return Judged(CANNOT_TELL, f"{why}, within the duty time")
    return Judged("none", f"not one in {time.said()}")


def _rate_side(
    given: Given, rate: Rate, expected: tuple[float, float, float] | None, limits: tuple[float | None, float | None]
) -> str:
    """Return within, slow, fast or cannot-tell; "" where the data give no limit.

    A rate that a good exciter may have at a supply as low as it was is not called slow.
    """
    if limits == (None, None):
        return ""
    side = {"below": "slow", "above": "fast"}.get(found := beside(rate.low, rate.high, *limits), found)
    return CANNOT_TELL if side == "slow" and _sagged(given, rate, expected) else side


def _sagged(given: Given, rate: Rate, expected: tuple[float, float, float] | None) -> bool:
    """Return whether the supply was under the rated one, and may account for the rate."""
    if expected is None or given["supply"].value >= given["rated-supply"].value:
        return False
    return rate.high >= expected[1]


def _rate_judged(given: Given, own: Rate, side: str, limits: tuple[float | None, float | None]) -> Judged:
    slowest, fastest = limits
    if slowest is not None and fastest is not None:
        ends = f"{figure(slowest)} to {figure(fastest)}"
    else:
        ends = f"at least {figure(slowest)}" if slowest is not None else f"at most {figure(fastest or 0)}"
    why = f"{figure(own.low)} to {figure(own.high)} a second, and your data ask for {ends}"
    if side != CANNOT_TELL:
        return Judged(side, why)
    if beside(own.low, own.high, *limits) == "below":
        low = given["supply"].said()
        return Judged(
            CANNOT_TELL, f"{why}, but a good exciter may be as slow at {low}. Put the supply right and count again"
        )
    return Judged(CANNOT_TELL, f"{why}. {_finer(given)}")


def _without_missing(given: Given, judged: Judged, slowest: float) -> Judged:
    """Return the verdict of a pace that is within the data with the missing snaps put in: not if too few were heard."""
    came = counted(given["count"], given["seconds"].value, _watch_error(given["seconds"]), given["watch"], 1)
    if came.low >= slowest:
        return judged
    missed = given["missed"]
    return Judged(
        CANNOT_TELL,
        f"the beat is, but with {missed} missing only {figure(came.low)} to {figure(came.high)} a second came, and "
        f"your data ask for at least {figure(slowest)}",
    )


def _finer(given: Given) -> str:
    if given["watch"] == BETWEEN:
        return "A longer count would settle it, within the duty time of your approved data"
    return (
        "To settle it, start and stop the watch on a snap (snap-to-snap), and count longer, within the duty time of "
        "your approved data"
    )


def _ratio(
    own: Rate, other: Rate, lines: list[str], figures: list[Figure], warnings: list[str]
) -> tuple[float, float, float]:
    import numpy as np

    draws = own.draws / np.maximum(other.draws, 1e-9)
    low, high = (float(x) for x in np.quantile(draws, [0.025, 0.975]))
    value = own.value / other.value
    lines.append(f"The other's pace: {_per_second(other)}.")
    lines.append(f"This channel's is {figure(value)} times that ({figure(low)} to {figure(high)}).")
    figures.append(Figure("other", "spark rate of the other channel", other.value, other.low, other.high, "1/s"))
    figures.append(Figure("ratio", "this channel's rate over the other's", value, low, high, ""))
    return value, low, high


def _versus(ratio: tuple[float, float, float], apart: float) -> str:
    """Return alike, slower, faster or cannot-tell of a ratio with its interval."""
    side = beside(ratio[1], ratio[2], 1 - apart, 1 / (1 - apart))
    return {"below": "slower", "above": "faster", "within": "alike"}.get(side, side)


def _beat(
    given: Given, side: str, why_side: str, ratio: tuple[float, float, float] | None, apart: float
) -> Mapping[str, Judged]:
    """Return the verdict of the beat: even, gaps, slow, or that it cannot be told; nothing without a comparison."""
    if not side and ratio is None:
        return {}
    versus = _versus(ratio, apart) if ratio is not None else ""
    said = f"{figure(ratio[1])} to {figure(ratio[2])} times the other's pace" if ratio is not None else ""
    if "missed" not in given:
        if versus == "slower" or side == "slow":
            return {"beat": Judged(CANNOT_TELL, "slow, or snaps missing: tell how many were missing, 0 for none")}
        if versus == CANNOT_TELL:
            return {"beat": Judged(CANNOT_TELL, f"{said}. {_finer(given)}")}
        return {"beat": Judged(CANNOT_TELL, "whether snaps were missing was not told, 0 for none")}
    missed, heard = given["missed"], given["count"]
    if versus == "slower":
        return {"beat": Judged("slow", said)}
    if side == "slow":
        return {"beat": Judged("slow", "slower than your data ask for")}
    if missed > 1:
        return {"beat": Judged("gaps", f"{missed} of {heard + missed} missing from the beat")}
    if missed == 1:
        return {"beat": Judged(CANNOT_TELL, "one missing may be one not heard: count again")}
    if versus == CANNOT_TELL:
        return {"beat": Judged(CANNOT_TELL, f"{said}. {_finer(given)}")}
    if side == CANNOT_TELL:
        return {"beat": Judged(CANNOT_TELL, why_side)}
    if side == "fast":
        return {"beat": Judged(CANNOT_TELL, f"none missing, but {TOO_FAST}")}
    if versus == "faster":
        # Faster than the other is no fault of this channel that the checks know of; the other is the slow one.
        return {"beat": Judged("even", "none missing, and not slower than the other")}
    return {"beat": Judged("even", f"none missing, {said}" if said else "none missing, and within your data")}


def _outputs(
    given: Given,
    side: str,
    other_side: str,
    ratio: tuple[float, float, float] | None,
    apart: float,
    slowest: float | None,
) -> Judged:
    """Return the verdict of two outputs side by side: alike, one-poor, both-poor, or that it cannot be told."""
    poor = [s in ("none", "slow") for s in (side, other_side)]
    gaps = [given.get(name, 0) > 1 for name in ("missed", "other-missed")]
    poor = [p or g for p, g in zip(poor, gaps, strict=True)]
    if all(poor):
        return Judged("both-poor", "neither keeps the pace of your data without gaps" if slowest else "neither is good")
    if "none" in (side, other_side):
        return Judged("one-poor", "one is silent")
    if ratio is None:
        return Judged(CANNOT_TELL, "one was silent for too short a time to say so; listen longer, within the duty time")
    versus = _versus(ratio, apart)
    if versus in ("slower", "faster"):
        which = "this channel" if versus == "slower" else "the other"
        return Judged("one-poor", f"{which} is the slower: {figure(ratio[1])} to {figure(ratio[2])} times as fast")
    if any(gaps):
        return Judged("one-poor", "one misses snaps")
    if any(poor) or CANNOT_TELL in (side, other_side):
        return Judged(CANNOT_TELL, "whether both are as fast as your data ask for cannot be told from these counts")
    if versus == CANNOT_TELL:
        return Judged(CANNOT_TELL, f"{figure(ratio[1])} to {figure(ratio[2])} times the other's pace. {_finer(given)}")
    if "fast" in (side, other_side):
        return Judged(CANNOT_TELL, f"alike, but {TOO_FAST}")
    if slowest is None:
        return Judged(
            CANNOT_TELL, "they are alike, and a box that is slow is slow on both: give the slowest rate of your data"
        )
    return Judged("alike", f"{figure(ratio[1])} to {figure(ratio[2])} times the other's pace, both within your data")


def _sparks(value: float) -> str:
    said = figure(value)
    return f"{said} {'spark' if said == '1' else 'sparks'}"


def _per_second(rate: Rate) -> str:
    return f"{_sparks(rate.value)} a second ({figure(rate.low)} to {figure(rate.high)})"


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    """Draw the rates on one scale, with their intervals and the limits of the data."""
    bars: Bars = found.detail
    if not bars.rates:
        return ()
    point, bar, wall, base = ("o", "-", "|", ".") if ascii_only else ("●", "─", "│", "·")
    room = max(10, min(width, 90) - 24)
    most = (
        max([high for _, _, _, high in bars.rates] + [x for x in (bars.slowest, bars.fastest) if x is not None]) * 1.1
    )
    if not isfinite(most) or most <= 0:
        return ()

    def at(rate: float) -> int:
        return min(room - 1, round(rate / most * (room - 1)))

    out = []
    for name, value, low, high in bars.rates:
        row = [base] * room
        for limit in (bars.slowest, bars.fastest):
            if limit is not None:
                row[at(limit)] = wall
        for i in range(at(low), at(high) + 1):
            row[i] = bar
        row[at(value)] = point
        out.append(f"{name:>13} {''.join(row)} {figure(value)} /s")
    if bars.slowest is not None or bars.fastest is not None:
        ends = "limits" if None not in (bars.slowest, bars.fastest) else "limit"
        out.append(f"{'':>13} {wall} {ends} of your data")
    return [line[:width] for line in out]


CALCULATION = Calculation(
    "exciter",
    "stored energy, spark rate and energy a second against supply",
    (
        Input("count", "count", "Snaps counted on this channel", "", hint="24"),
        Input("seconds", "time", "Time that they were counted over", "", hint="20 s", after="count"),
        Input("missed", "count", "Snaps that were missing from the beat, 0 for none", "", hint="0", after="count"),
        Input(
            "watch",
            "choice",
            "How the watch was started and stopped: a snap that starts it is not counted, one that stops it is",
            ANY,
            choices=(ANY, FROM, BETWEEN),
        ),
        Input("other-count", "count", "Snaps counted on the other channel", "", hint="25", after="count"),
        Input("other-seconds", "time", "Time that those were counted over", "", hint="20 s", after="other-count"),
        Input("other-missed", "count", "Snaps missing from its beat, 0 for none", "", hint="0", after="other-count"),
        Input("slowest", "rate", "Slowest spark rate allowed, from your approved data", "", limit=True, hint="1 /s"),
        Input("fastest", "rate", "Fastest spark rate allowed, from your approved data", "", limit=True, hint="3 /s"),
        Input(
            "apart",
            "share",
            "How far apart two good channels' rates may be (our judgement, if your data say nothing)",
            "15 %",
        ),
        Input("supply", "voltage", "Supply while it fired, from the aircraft's own indication", "", hint="26.5 V"),
        Input(
            "rated-rate", "rate", "Spark rate at the rated supply, from your approved data", "", limit=True, hint="2 /s"
        ),
        Input(
            "rated-supply", "voltage", "Supply that this rate is for", "", limit=True, hint="28 V", after="rated-rate"
        ),
        Input(
            "capacitance", "capacitance", "Storage capacitor, from data plate or approved data", "", hint="2.0 µF ± 5 %"
        ),
        Input(
            "charge",
            "voltage",
            "Voltage that it discharges at, from data plate or approved data; nobody measures it",
            "",
            hint="2500 V",
            after="capacitance",
        ),
    ),
    _work,
    "Stored energy ½CV² as in any text on circuits; the count as a regular train; rate against supply is our "
    "judgement. 1 to 20 J and 0.5 to 4 sparks a second are as commonly quoted, from memory.",
    {
        "": {
            "within": "Within the rate of your data",
            "slow": "Slower than your data allow",
            "fast": "Faster than your data allow",
            "none": "Nothing to count",
        },
        "beat": {
            "even": "Even, and at the pace it should have",
            "gaps": "The right pace with snaps missing",
            "slow": "Slow",
            "none": "Nothing to count",
        },
        "outputs": {
            "alike": "Both keep the pace, alike",
            "one-poor": "One is slow, misses or is silent, the other not",
            "both-poor": "Both are slow, miss or are silent",
        },
    },
    _draw,
    shows=("count", "seconds", "missed", "slowest", "fastest"),
    before=(f"{BEFORE_HANDS[0].upper()}{BEFORE_HANDS[1:]}.",),
)

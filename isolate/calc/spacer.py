"""Immersion and spacers: how far the plug's tip reaches into the gas, and which spacers bring it to what is wanted.

All lengths are along the plug. The plug's seat, the face that it is pulled down on, stands off the gas by the boss, the
insert, the spacers and the pressed gasket between; what its reach goes beyond that is the immersion:

    immersion = reach − (boss depth + insert height + spacers + gasket)

It is above nought where the tip stands in the gas, below it where the tip is drawn back.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, combinations_with_replacement
from math import comb, floor, hypot, inf, isfinite, log10, sqrt
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.figures import spelt
from isolate.calc.several import of_mean
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import COVERED, DRAWS
from isolate.calc.units import INCH, Quantity, figure, unit_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LENGTHS: Final = ("reach", "boss-depth", "insert-height", "gasket")
MOST_STACKS: Final = 20_000
MOST_PIECES: Final = 6
WORTH: Final = 0.001
"""A chance of being outside that differs by less is no reason for another piece. Our judgement."""
ROUGH: Final = 0.2
"""Of the window: what a length may be off by, for want of digits, before it is pointed out."""
SHOWN: Final = 3
"""Alternatives told beside the best."""
FEWEST: Final = {"mm": 2, "cm": 3, "in": 3, "m": 5, "ft": 4}
"""Decimals that a length is shown with at the least; more where it was measured better than they tell."""


@dataclass(frozen=True)
class Scale:
    """What lengths are shown in: a unit, and so many decimals of it."""

    unit: str
    decimals: int

    def number(self, metres: float) -> float:
        return metres / unit_of("length", self.unit).factor

    def plain(self, metres: float) -> str:
        said = f"{self.number(metres):.{self.decimals}f}"
        return said.lstrip("-") if float(said) == 0 else said

    def shown(self, metres: float) -> str:
        return f"{self.plain(metres)} {self.unit}"

    def span(self, low: float, high: float) -> str:
        return f"{self.plain(low)} to {self.shown(high)}"


def immersion(
    reach_m: Any, boss_depth_m: Any, insert_height_m: Any = 0.0, spacers_m: Any = 0.0, gasket_m: Any = 0.0
) -> Any:
    """Return the immersion in metres: reach − (boss depth + insert height + spacers + gasket). Numbers or arrays.

    ``reach_m``: from the plug's seat to its tip. ``boss_depth_m``: from the boss's outer face to where the gas begins.
    ``insert_height_m``: how far the seat in the insert stands above that outer face. ``gasket_m``: as pressed.
    Source: the geometry as this module's first lines have it; ours, since makers measure from faces of their own.
    """
    return reach_m - (boss_depth_m + insert_height_m + spacers_m + gasket_m)


def worst_case(halves_m: Sequence[float]) -> float:
    """Return the most that a sum can be off by, in metres, where each part may be off by its half-width: their sum."""
    return sum(halves_m)


def root_sum_square(halves_m: Sequence[float]) -> float:
    """Return √(Σ half-width²), in metres. For several alike it holds about 92 of 100 sums of even errors, not 95."""
    return hypot(*halves_m)


@dataclass(frozen=True)
class Length:
    """A length with what is known of it, in metres: ``sign`` −1 where it takes away from the immersion.

    ``within``: half-width of even error of the gauge, the same in each reading. ``of_mean``: standard deviation that
    the readings' scatter leaves in their mean, nought for one alone. ``off``: the furthest one lies from their mean.
    """

    name: str
    mean: float
    within: float
    sign: int = -1
    readings: int = 1
    of_mean: float = 0.0
    off: float = 0.0

    @property
    def worst(self) -> float:
        return self.within + self.off

    def half(self, student: float) -> float:
        """Half-width for the root-sum-square: the gauge's, and so many times the scatter of the mean."""
        return hypot(self.within, student * self.of_mean)


def freedom(lengths: Sequence[Length]) -> float:
    """Return the degrees of freedom that the scatter of these lengths together has; infinite where there is none.

    Welch–Satterthwaite, u⁴ / Σ(uᵢ⁴ / νᵢ) (JCGM 100:2008, G.4.1), over what scatters alone: with the gauges' even
    errors in u, as there, two or three readings hold the truth too rarely (88 to 92 of 100); without them they hold it
    in 95 to 99, as tests/bench/geometry_coverage.py measures.
    """
    scatter = sum(one.of_mean**2 for one in lengths)
    doubt = sum(one.of_mean**4 / (one.readings - 1) for one in lengths if one.of_mean)
    return scatter**2 / doubt if doubt else inf


def _even(chance: np.random.Generator, draws: int) -> NDArray[np.float64]:
    """Return figures even between 0 and 1, one in each of equal slices, so that a few do as well as many."""
    found: NDArray[np.float64] = (chance.permutation(draws) + chance.uniform(size=draws)) / draws
    return found


def drawn(lengths: Sequence[Length], draws: int = DRAWS) -> NDArray[np.float64]:
    """Return draws of the sum of lengths with their signs, in metres (JCGM 101:2008, 6.4.2 and 6.4.9).

    Each is even within its gauge's ±; the means of repeated readings have one Student's t together.
    """
    import numpy as np

    chance = np.random.default_rng(20080101)
    found = np.zeros(draws)
    for one in lengths:
        found += one.sign * (one.mean + one.within * (2 * _even(chance, draws) - 1))
    scatter = hypot(*(one.of_mean for one in lengths))
    if scatter:
        from scipy.special import stdtrit  # Student's t; scipy.stats takes a second to load

        found += scatter * stdtrit(freedom(lengths), _even(chance, draws))
    return found


def length(name: str, readings: Sequence[Quantity], sign: int = -1) -> Length:
    """Return a length from its readings, one or several. Raises Unfit where they cannot be of one thing."""
    values = [r.value for r in readings]
    mean, within = sum(values) / len(values), max(r.within for r in readings)
    for one in readings:
        if one.value < 0:
            raise Unfit(
                f"{name}: {one.said()} is less than nothing; where a seat lies below the boss's face, measure "
                "boss-depth from the seat and leave insert-height out",
                name,
            )
    if len(values) == 1:
        return Length(name, mean, within, sign)
    low, high = min(values), max(values)
    if high > low and (low <= 0 or high / low > 12):
        raise Unfit(f"{name}: its readings differ by so much that one is in another unit, or not of this plug", name)
    if high > 1.5 * low:
        raise Unfit(f"{name}: its readings differ by more than half; measure it again", name)
    return Length(name, mean, within, sign, len(values), of_mean(readings), max(high - mean, mean - low))


@dataclass(frozen=True)
class Stack:
    """Spacers together, and the immersion that they bring, in metres, with its 95 % interval and chances outside."""

    pieces: tuple[Quantity, ...]
    value: float
    low: float
    high: float
    shallow: float
    deep: float

    @property
    def outside(self) -> float:
        return self.shallow + self.deep

    @property
    def thickness(self) -> float:
        return sum(p.value for p in self.pieces)


@dataclass(frozen=True)
class Fit:
    """What a plug's immersion is worked out from: lengths in metres, their draws without spacers, and the window."""

    lengths: tuple[Length, ...]
    window: tuple[float, float]
    scale: Scale
    bare: Any = field(compare=False)
    best: tuple[Stack, ...] = ()
    now: Stack | None = None

    @property
    def student(self) -> float:
        """So many times the scatter of a mean, on either side, hold it in 95 of 100; nought where none scatters."""
        known = freedom(self.lengths)
        if not isfinite(known):
            return 0.0
        from scipy.special import stdtrit

        return float(stdtrit(known, (1 + COVERED) / 2))

    @property
    def without(self) -> float:
        """The immersion with no spacer at all."""
        return sum(one.sign * one.mean for one in self.lengths)

    def with_spacers(self, pieces: tuple[Quantity, ...]) -> Stack:
        """Return a stack with its chances: each spacer is off by itself, two alike as well."""
        import numpy as np

        chance = np.random.default_rng((20080101, len(pieces)))
        drawn = self.bare.copy()
        for piece in pieces:
            drawn -= piece.value + piece.within * (2 * _even(chance, len(drawn)) - 1)
        tail = (1 - COVERED) / 2
        low, high = np.quantile(drawn, [tail, 1 - tail])
        value = self.without - sum(p.value for p in pieces)
        shallow, deep = (float(np.mean(x)) for x in (drawn < self.window[0], drawn > self.window[1]))
        return Stack(pieces, value, min(float(low), value), max(float(high), value), shallow, deep)


def stacks(spacers: Sequence[Quantity], most: int, alike: bool) -> list[tuple[Quantity, ...]]:
    """Return the ways to stack up to ``most`` spacers, none at all first; ``alike``: as many of each as are wanted."""
    choose = combinations_with_replacement if alike else combinations
    found: dict[tuple[tuple[float, float], ...], tuple[Quantity, ...]] = {}
    ordered = sorted(spacers, key=lambda q: (-q.value, q.within))
    for count in range(most + 1):
        for some in choose(ordered, count):
            found.setdefault(tuple((q.value, q.within) for q in some), some)
    return list(found.values())


def _fit(given: Given) -> Fit:
    window = given["immersion-from"].value, given["immersion-to"].value
    if window[0] >= window[1]:
        raise Unfit(
            "immersion-to: the window is upside down or has no width; immersion-from is the shallow end", "immersion-to"
        )
    lengths = [length("reach", given["reach"], 1), length("boss-depth", given["boss-depth"])]
    if "insert-height" in given:
        lengths.append(length("insert-height", given["insert-height"]))
    if "gasket" in given:
        lengths.append(length("gasket", [given["gasket"]]))
    for one in lengths[:2]:
        if one.mean <= 0:
            raise Unfit(f"{one.name}: it has to be longer than nothing", one.name)
    reach = lengths[0].mean
    if reach > 0.5:
        raise Unfit(f"reach: {given['reach'][0].said()} is no plug; is the unit right?", "reach")
    _of_one_plug(lengths, window)
    if max(abs(w) for w in window) > reach:
        raise Unfit(
            "immersion-to: the window lies further in or out than the plug is long; is its unit right?", "immersion-to"
        )
    for name in ("spacers", "fitted"):
        for one in given.get(name, ()):
            if one.value < 0 or (one.value == 0 and name == "spacers"):
                raise Unfit(f"{name}: a spacer of {one.said()} is none", name)
            if one.value > reach / 2:
                raise Unfit(f"{name}: a spacer of {one.said()} is more than half the plug; is its unit right?", name)
            if one.within > one.value > 0:
                raise Unfit(f"{name}: a spacer of {one.said()} may be less than nothing; is its ± right?", name)
    bare = drawn(lengths)
    unit = given["immersion-from"].unit
    return Fit(tuple(lengths), window, Scale(unit, _decimals(bare, unit)), bare)


def _of_one_plug(lengths: Sequence[Length], window: tuple[float, float]) -> None:
    """Raise Unfit where the lengths cannot be of one plug, naming what may be in another unit."""
    reach = lengths[0].mean
    without = sum(one.sign * one.mean for one in lengths)
    if abs(without) <= reach / 2:
        return
    for one in lengths:
        for unit, factor in (("inches", INCH / 0.001), ("mm", 0.001 / INCH)):
            other = without + one.sign * one.mean * (factor - 1)
            whole = reach * (factor if one.name == "reach" else 1)
            if window[0] <= other <= window[1] + whole / 5:
                raise Unfit(
                    f"{one.name}: with it the tip would stand {_either(without)}; is it in {unit}? Then it would fit",
                    one.name,
                )
    raise Unfit(
        f"reach: with these lengths the tip would stand {_either(without)}, more than half the plug's own length; they "
        "are not of one plug, or one of them is in another unit",
        "reach",
    )


def _either(without: float) -> str:
    where = "into the gas" if without > 0 else "short of the gas"
    return f"{figure(abs(without) * 1000)} mm ({figure(abs(without) / INCH)} in) {where}"


def _decimals(drawn: Any, unit: str) -> int:
    """Return how many decimals the doubt of an immersion leaves worth showing."""
    low, high = _bounds(drawn, float(drawn.mean()))
    half = (high - low) / 2 / unit_of("length", unit).factor
    least = FEWEST.get(unit, 0)
    return least if half <= 0 else min(least + 2, max(least, -floor(log10(half / 2))))


def _work(given: Given) -> Found:
    fit = _fit(given)
    scale, (shallow, deep) = fit.scale, fit.window
    lines: list[str] = []
    warnings: list[str] = []
    figures: list[Figure] = []
    now = None
    judged = {}
    if "fitted" in given:
        now = fit.with_spacers(tuple(q for q in given["fitted"] if q.value > 0))
        judged[""] = _judge(fit, now)
        figures.append(_figure("immersion", "immersion as it sits now", now, scale))
        figures.append(_chance("outside-now", "chance that it is outside the window now", now.outside))
        lines.append(
            f"As it sits now ({_pieces(now.pieces)}) the immersion is {_span(now, scale)}, window {_window(fit)}; "
            f"{_risk(now)}."
        )
    best: tuple[Stack, ...] = ()
    middle = (shallow + deep) / 2
    low, high = _bounds(fit.bare, fit.without)
    needed = Stack((), fit.without - middle, low - middle, high - middle, 0.0, 0.0)
    figures.append(_figure("needed", "spacer thickness for the middle of the window", needed, scale))
    if "spacers" in given:
        best = _best(fit, given)
        lines += _choice(fit, given, best, needed, figures, warnings)
    elif fit.without < shallow:
        lines.append(_too_short(fit))
    else:
        lines.append(
            f"For the middle of the window the spacers have to be {scale.shown(needed.value)} together "
            f"({scale.span(needed.low, needed.high)}); anything from "
            f"{scale.shown(max(0.0, fit.without - deep))} to {scale.shown(fit.without - shallow)} is inside, as "
            "measured."
        )
    chosen = best[0] if best else now
    halves = [*fit.lengths, *(Length("spacer", p.value, p.within) for p in (chosen.pieces if chosen else ()))]
    worst, rss = worst_case([h.worst for h in halves]), root_sum_square([h.half(fit.student) for h in halves])
    figures.append(_exact("worst-case", "what the immersion is off by, every error at its worst", worst, scale))
    figures.append(_exact("root-sum-square", "root-sum-square of what each is off by", rss, scale))
    lines.append(
        f"Tolerance stack: ± {scale.shown(worst)} at worst, ± {scale.shown(rss)} by root-sum-square. Each is taken to "
        "be off by itself; one gauge whose zero is off is off in all that it read, and that goes by the worst."
    )
    lines.append(_most_doubt(fit, halves))
    if "gasket" not in given:
        lines.append("No gasket was told, so none is counted.")
    lines.append(
        "Which spacers, and how many together, is for your approved data. Once fitted, measure again with the plug run "
        "down by hand."
    )
    warnings += _too_roughly_told(given, deep - shallow)
    for one in fit.lengths:
        if one.off > 3 * one.within:
            warnings.append(
                f"the readings of {one.name} lie further apart than the gauge can be off: look for dirt or a seat "
                "that is not square"
            )
        if one.of_mean and one.readings == 2:
            warnings.append(
                f"two readings tell little of how {one.name} scatters, so the interval is wide: take three or more"
            )
    return Found(tuple(lines), tuple(figures), judged, tuple(warnings), replace(fit, best=best, now=now))


def _too_roughly_told(given: Given, window_m: float) -> list[str]:
    """Return a warning for each input whose last digit alone leaves much of the window in doubt."""
    found = []
    for name in (*LENGTHS, "fitted", "spacers"):
        told = given.get(name, ())
        for one in (told,) if isinstance(told, Quantity) else told:
            if one.within > ROUGH * window_m and one.value > 0 and not any(m in one.typed for m in ("±", "+/-", "+-")):
                found.append(
                    f"{name} {one.typed} was told without a ±, so half its last digit is taken: {one.said()}. Type "
                    "all the digits that were read, or the ±"
                )
                break
    return found


def _best(fit: Fit, given: Given) -> tuple[Stack, ...]:
    """Return the stacks worth looking at, best first: the chance outside, then fewest pieces, then the middle."""
    spacers, most = given["spacers"], given.get("stack", 1)
    if not 1 <= most <= MOST_PIECES:
        raise Unfit(f"stack: from 1 to {MOST_PIECES} spacers together", "stack")
    alike = given["alike"]
    kinds = len(spacers)
    ways = sum(comb(kinds + n - 1, n) if alike else comb(kinds, n) for n in range(most + 1))
    if ways > MOST_STACKS:
        raise Unfit(f"spacers: {ways:,} ways to stack them are too many to rank; tell fewer", "spacers")
    middle = sum(fit.window) / 2
    near = sorted(
        stacks(spacers, most, alike),
        key=lambda some: (abs(fit.without - sum(q.value for q in some) - middle), len(some)),
    )
    # The nearest of each number of pieces: with the same errors nearer the middle is never outside more often.
    kept = [some for n in range(most + 1) for some in [s for s in near if len(s) == n][: SHOWN + 1]]
    found = [fit.with_spacers(some) for some in kept]
    return tuple(
        sorted(
            found,
            # Where none fits, pieces do not matter: the nearest is told.
            key=lambda s: (
                round(s.outside / WORTH),
                len(s.pieces) if s.outside < 0.5 else 0,
                round(abs(s.value - middle), 9),
            ),
        )
    )[: SHOWN + 1]


def _choice(
    fit: Fit, given: Given, best: tuple[Stack, ...], needed: Stack, figures: list[Figure], warnings: list[str]
) -> list[str]:
    """Return what to fit and what else there is; add its figures."""
    scale, first = fit.scale, best[0]
    figures.append(_figure("best", "immersion with the best spacers", first, scale))
    figures.append(_exact("thickness", "thickness of the best spacers together", first.thickness, scale))
    for name, says, share in (
        ("outside", "chance that the best is outside the window", first.outside),
        ("shallow", "chance that the best is too shallow", first.shallow),
        ("deep", "chance that the best is too deep", first.deep),
    ):
        figures.append(_chance(name, says, share))
    fits = fit.window[0] <= first.value <= fit.window[1]
    lines = []
    if fits:
        sure = first.outside <= 1 - COVERED
        lines.append(
            f"{'Fit' if sure else 'None is sure to fit; best is'} {_pieces(first.pieces)}: immersion "
            f"{_span(first, scale)}, window {_window(fit)}; {_risk(first)}."
        )
        if first.high - first.low > fit.window[1] - fit.window[0]:
            lines.append("The window is narrower than what these readings leave in doubt: it takes a finer gauge.")
        elif first.outside > 0.5 * (1 - COVERED):
            lines.append(
                "It lies near an end of the window for how well it was measured. "
                f"{scale.shown(needed.value)} of spacers would bring it to the middle."
            )
    elif fit.without < fit.window[0]:
        lines.append(_too_short(fit))
    else:
        lines.append(
            f"None of these fits. From {scale.shown(max(0.0, fit.without - fit.window[1]))} to "
            f"{scale.shown(fit.without - fit.window[0])} of spacers are needed, {scale.shown(needed.value)} for the "
            f"middle; nearest is {_pieces(first.pieces)}, immersion {_span(first, scale)}."
        )
    if others := [s for s in best[1:] if not fits or s.outside <= 1 - WORTH]:
        lines.append(
            "Then: " + "; ".join(f"{_pieces(s.pieces)}, {scale.shown(s.value)}, {_risk(s)}" for s in others) + "."
        )
    if "stack" not in given:
        lines.append("One spacer at a time, since how many your data lets you stack was not told.")
    if not fits and (other := _other_unit(fit, given["spacers"])):
        warnings.append(f"the window would fit if it were in {other}: is its unit right?")
    return lines


def _other_unit(fit: Fit, spacers: Sequence[Quantity]) -> str:
    """Return the unit that the window may have been meant in, where as told it lies out of reach: "" where none."""
    for unit, factor in (("in", INCH / 0.001), ("mm", 0.001 / INCH)):
        low, high = (w * factor for w in fit.window)
        if unit != fit.scale.unit and any(low <= fit.without - t <= high for t in (0.0, *(q.value for q in spacers))):
            return "inches" if unit == "in" else unit
    return ""


def _too_short(fit: Fit) -> str:
    return (
        f"No spacer makes it deep enough: with none at all the immersion is {fit.scale.shown(fit.without)}, "
        f"{fit.scale.shown(fit.window[0] - fit.without)} short of the window. Look for a second gasket, dirt on the "
        "seat, an insert that stands proud or another plug."
    )


def _judge(fit: Fit, now: Stack) -> Judged:
    low, high = fit.window
    said = f"{fit.scale.span(now.low, now.high)}, your data gives {_window(fit)}"
    side = beside(now.low, now.high, low, high)
    if side == "cannot-tell":
        halves = [*fit.lengths, *(Length("the spacers", p.value, p.within) for p in now.pieces)]
        most = max(halves, key=lambda h: h.half(fit.student))
        how = "more readings or a finer gauge" if most.of_mean else "a finer gauge or repeated readings"
        return Judged(
            CANNOT_TELL,
            f"{said}; {how} for {most.name}, ± {fit.scale.shown(most.half(fit.student))}, would settle it soonest.",
        )
    return Judged({"below": "too-shallow", "above": "too-deep"}.get(side, side), said + ".")


def _bounds(drawn: Any, value: float) -> tuple[float, float]:
    import numpy as np

    low, high = np.quantile(drawn, [(1 - COVERED) / 2, (1 + COVERED) / 2])
    return min(float(low), value), max(float(high), value)


def _chance(name: str, says: str, share: float) -> Figure:
    """Return a chance with Wilson's interval for how well so many draws tell it."""
    z, n = 1.959964, DRAWS
    centre = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return Figure(name, says, share, max(0.0, min(share, centre - half)), min(1.0, max(share, centre + half)), "")


def _figure(name: str, says: str, stack: Stack, scale: Scale) -> Figure:
    value, low, high = (scale.number(x) for x in (stack.value, stack.low, stack.high))
    return Figure(name, says, value, low, high, scale.unit)


def _exact(name: str, says: str, metres: float, scale: Scale) -> Figure:
    return Figure(name, says, scale.number(metres), scale.number(metres), scale.number(metres), scale.unit)


def _span(stack: Stack, scale: Scale) -> str:
    return f"{scale.shown(stack.value)} ({scale.span(stack.low, stack.high)})"


def _window(fit: Fit) -> str:
    low, high = (figure(fit.scale.number(w), 6) for w in fit.window)
    return f"{low} to {high} {fit.scale.unit}"


def _told(quantity: Quantity) -> str:
    """Return a length as it was told, without its ±."""
    return f"{figure(quantity.value / unit_of('length', quantity.unit).factor, 6)} {quantity.unit}"


def _pieces(pieces: Sequence[Quantity]) -> str:
    if not pieces:
        return "no spacer"
    return " + ".join(_told(p) for p in pieces)


def _risk(stack: Stack) -> str:
    if stack.outside < WORTH:
        return "chance of being outside less than 1 in 1,000"
    if stack.outside > 1 - WORTH:
        return "outside, for all that was measured"
    side = "too shallow" if stack.shallow >= stack.deep else "too deep"
    mostly = side if min(stack.shallow, stack.deep) < WORTH else f"outside, mostly {side},"
    return f"chance of being {mostly} {figure(100 * stack.outside, 2)} %"


def _most_doubt(fit: Fit, halves: Sequence[Length]) -> str:
    each = [h.half(fit.student) for h in halves]
    whole, largest = sum(h**2 for h in each), max(each)
    most = halves[each.index(largest)]
    if not whole:
        return "All lengths were told as exact, so nothing is in doubt but the telling."
    return f"Most of the doubt ({100 * largest**2 / whole:.0f} %) is from {most.name}, ± {fit.scale.shown(largest)}."


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    fit: Fit = found.detail
    shown = fit.best[0] if fit.best else fit.now
    lines = _section(fit, shown, width, ascii_only)
    rows = [*([("as it sits", fit.now)] if fit.now else []), *((_pieces(s.pieces), s) for s in fit.best)]
    if rows:
        lines += ["", *_strips(fit, rows, width, ascii_only)]
    # Of what stands in it only µ is no ASCII, and what it is spelt as is no wider.
    return tuple(spelt(line) for line in lines) if ascii_only else tuple(lines)


def _section(fit: Fit, shown: Stack | None, width: int, ascii_only: bool) -> list[str]:
    """Return the plug in its seat, cut along its axis: what stands between its seat and the gas, not to scale."""
    top, side, foot, fill = ("+", "|", "+", "#.:=") if ascii_only else ("┌", "│", "└", "▓░▒█")
    by_name = {one.name: one for one in fit.lengths}
    layers = [("gasket", "gasket", fill[0])] if "gasket" in by_name else []
    rows = [(words, by_name[name].mean, mark) for name, words, mark in layers]
    if shown is not None:
        rows += [("spacer", p.value, fill[1]) for p in shown.pieces]
    if "insert-height" in by_name:
        rows.append(("insert height", by_name["insert-height"].mean, fill[2]))
    rows.append(("boss depth", by_name["boss-depth"].mean, fill[3]))
    reach = f"reach {fit.scale.shown(by_name['reach'].mean)}"
    immersed = shown.value if shown is not None else fit.without
    block, left = (6, len(reach) + 2) if width >= 60 else (3, 2)
    found = [] if width >= 60 else [f"  {reach}"]
    found += [" " * left + f"{top}{'-' if ascii_only else '─'} seat of the plug"]
    for at, (words, thick, mark) in enumerate(rows):
        before = f"{reach if at == len(rows) // 2 and left > 2 else '':>{left - 1}} "
        found.append(f"{before}{side} {mark * block} {words} {fit.scale.shown(thick)}")
    gas = "." * block if ascii_only else "┄" * block
    if immersed >= 0:
        found.append(f"{'':>{left}}{side} {gas} gas begins")
        found.append(f"{'':>{left}}{foot}{'-' if ascii_only else '─'} tip, immersion {fit.scale.shown(immersed)}")
    else:
        found.append(f"{'':>{left}}{foot}{'-' if ascii_only else '─'} tip, drawn back {fit.scale.shown(-immersed)}")
        found.append(f"{'':>{left}}  {gas} gas begins")
    return [line[:width] for line in found]


def _strips(fit: Fit, rows: Sequence[tuple[str, Stack]], width: int, ascii_only: bool) -> list[str]:
    """Return the immersion of each stack beside the window, on one scale."""
    left, flat, right, dot, edge = ("|", "-", "|", "o", ":") if ascii_only else ("├", "─", "┤", "●", "┊")
    low, high = fit.window
    room_for_name = max(12, width // 3)
    names = [name if len(name) <= room_for_name else name[: room_for_name - 2] + ".." for name, _ in rows]
    margin = max(len(n) for n in (*names, "window")) + 3
    room = max(16, width - margin - 1)
    # Whatever lies far out is cut off at the edge, so that the window keeps some width.
    reach = high - low
    start = max(min([low, *(s.low for _, s in rows)]), low - 1.5 * reach)
    end = min(max([high, *(s.high for _, s in rows)]), high + 1.5 * reach)
    start, end = start - 0.05 * (end - start), end + 0.05 * (end - start)

    def at(x: float) -> int:
        return max(0, min(room - 1, round((x - start) / (end - start) * (room - 1))))

    found = []
    for name, (_, stack) in zip(names, rows, strict=True):
        row = [" "] * room
        for x in (low, high):
            row[at(x)] = edge
        a, b = at(stack.low), at(stack.high)
        for x in range(a, b + 1):
            row[x] = flat
        row[a], row[b] = left, right
        row[at(stack.value)] = dot if start <= stack.value <= end else "<" if stack.value < start else ">"
        found.append(f"  {name:<{margin - 2}}{''.join(row).rstrip()}")
    scale = [" "] * room
    for x in (low, high):
        scale[at(x)] = "^" if ascii_only else "▲"
    found.append(f"  {'window':<{margin - 2}}{''.join(scale).rstrip()}")
    legend = f"{_window(fit)}; shallow to the left, deep to the right; {left}{right} 95 of 100"
    return [*found, *textwrap.wrap(legend, max(20, width), initial_indent="  ", subsequent_indent="  ")]


CALCULATION = Calculation(
    "spacer",
    "which spacers bring a plug to its immersion, and the chance of being outside",
    (
        Input(
            "reach",
            "length",
            "Reach of the plug, from the face it is pulled down on to its tip",
            many=True,
            hint="61.20 mm",
        ),
        Input(
            "boss-depth",
            "length",
            "Boss depth, from its outer face to where the gas begins",
            many=True,
            hint="43.12 mm; 43.13 mm; 43.12 mm",
        ),
        Input(
            "insert-height",
            "length",
            "Insert height, from the boss's outer face up to the seat in the insert; none in a plain boss",
            "",
            many=True,
            hint="12.05 mm",
        ),
        Input("gasket", "length", "Gasket, as pressed; if there is one", "", hint="1.50 mm ± 0.05 mm"),
        Input("immersion-from", "length", "Least immersion allowed", limit=True, hint="3.0 mm"),
        Input("immersion-to", "length", "Most immersion allowed", limit=True, hint="4.0 mm"),
        Input(
            "fitted", "length", "Spacers under the plug as it sits now; 0 mm for none", "", many=True, hint="0.80 mm"
        ),
        Input(
            "spacers",
            "length",
            "Spacers to choose from; where there are two alike, both",
            "",
            many=True,
            hint="0.50 mm ± 0.02 mm; 0.80 mm ± 0.02 mm",
        ),
        Input("stack", "count", "How many may be put together", "", limit=True, hint="2", after="spacers"),
        Input("alike", "yes", "Are there as many of each as are wanted?", "no", hint="yes", after="spacers"),
    ),
    _work,
    "Immersion by the geometry shown, ours. Errors: even within what was told, Student's t for the means of repeated "
    "readings (JCGM 101:2008, 6.4.2 and 6.4.9; JCGM 100:2008, G.4.1), drawn together.",
    {"": {"within": "Within the window of your data", "too-shallow": "Too shallow", "too-deep": "Too deep"}},
    _draw,
    shows=("insert-height", "gasket", "spacers"),
)

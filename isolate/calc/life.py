"""How long plugs last, from a fleet's removals: chance of a misfire, the cheapest interval, due or not.

The mathematics and its sources are in :mod:`isolate.calc.weibull`, the reading of files in
:mod:`isolate.calc.removals`. Costs are in any one unit: minutes, money. Not modelled: plugs of one engine that fail
together, a change that brings a fault of its own, and faults that do not come with age; a plug that came off for one
of those counts as running.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite, log
from typing import TYPE_CHECKING, Any

from isolate.calc import removals, weibull
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit
from isolate.calc.units import Quantity, figure

if TYPE_CHECKING:
    from isolate.calc.weibull import Fit, Lives

SLIGHT = 0.02
"""A saving below this share is called none: our judgement."""
NEAR = 0.1
"""Share of the scheduled life before its end that counts as near it: our judgement."""
POOR = 0.05
"""Chance that a true Weibull life fits as badly, below which it is said not to fit."""
STANDS = (
    "this is cost alone: the scheduled life of your approved data stands, and only whoever approves it changes it"
)
LISTED = 5
"""Rows not read that are told one by one; of the rest, how many."""


@dataclass(frozen=True)
class Plot:
    """What the picture shows: ages at which plugs failed, the share failed by then, and the fit."""

    ages: tuple[float, ...]
    shares: tuple[float, ...]
    fit: Fit
    unit: str


@dataclass
class _Told:
    """What is said, as it is put together."""

    unit: str = ""
    lines: list[str] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    judged: dict[str, Judged] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    plot: Plot | None = None

    @property
    def per(self) -> str:
        return "hours" if self.unit == "h" else self.unit

    def add(self, name: str, says: str, value: float, low: float, high: float, unit: str) -> None:
        """Add a figure, unless it is infinite itself; an end of its interval may be."""
        if isfinite(value):
            self.figures.append(Figure(name, says, value, low, high, unit))


def _work(given: Given) -> Found:
    told = _Told()
    failed, running = _gather(given, told)
    _units(given, told)
    if "age" in given and "scheduled" in given:
        _due(given, told)
    if failed or running:
        _fitted(given, told, weibull.lives(failed, running))
    elif not told.judged:
        raise Unfit(
            "give a list of removals, or ages of failed and running plugs; or an age and the scheduled life", "file"
        )
    elif any(name in given for name in ("shape", "planned", "misfire")):
        told.warnings.append("without removals there is no life to fit: no chance and no interval come out")
    return Found(
        tuple(told.lines), tuple(told.figures), told.judged, tuple(told.warnings), told.plot if told.plot else None
    )


def _gather(given: Given, told: _Told) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Return (age, entry age) of the failed and of the running, from the file and as typed."""
    failed: list[tuple[float, float]] = []
    running: list[tuple[float, float]] = []
    unit = {"starts": "starts", "hours": "h"}.get(given.get("unit", ""), "")
    if "file" in given:
        found = removals.read(
            given["file"],
            unit,
            given.get("age-column", ""),
            given.get("status-column", ""),
            given.get("entry-column", ""),
        )
        failed += found.failed
        running += found.running
        told.unit = found.unit
        age, status, entry = found.columns
        known = f", known from {entry!r}" if entry else ""
        told.lines.append(
            f"Read: {len(failed) + len(running):,} rows, ages from {age!r} in {told.per}, failed or not from {status!r}"
            f"{known}."
        )
        told.warnings += found.notes
        if found.unread:
            listed = "; ".join(found.unread[:LISTED])
            more = f"; and {len(found.unread) - LISTED:,} more" if len(found.unread) > LISTED else ""
            rows = f"{len(found.unread):,} {'row' if len(found.unread) == 1 else 'rows'}"
            told.warnings.append(f"{rows} not read: {listed}{more}")
    for name, pairs in (("failed", failed), ("running", running)):
        for one in given.get(name, ()):
            if one.value <= 0:
                raise Unfit(f"{name}: {one.said()} is no age that a plug ends at", name)
            pairs.append((one.value, 0.0))
    return failed, running


def _units(given: Given, told: _Told) -> None:
    """See that all ages are in one unit. Raises Unfit."""
    for name in ("failed", "running", "age", "next", "scheduled"):
        here = given.get(name, ())
        for one in here if isinstance(here, tuple) else (here,):
            unit = "starts" if one.unit == "starts" else "h"
            if told.unit and unit != told.unit:
                this = "starts" if unit == "starts" else "hours"
                raise Unfit(f"{name} is in {this} and what came before in {told.per}; give all in one", name)
            told.unit = unit
    for name in ("next", "scheduled"):
        if name in given and given[name].value <= 0:
            raise Unfit(f"{name}: it has to be more than nothing", name)


def _due(given: Given, told: _Told) -> None:
    """Judge an age beside the scheduled life: due where it is reached before the next chance to change it, or near."""
    age, scheduled = given["age"], given["scheduled"]
    more = given["next"].value if "next" in given else 0.0
    near = scheduled.value - max(more, NEAR * scheduled.value)
    # An age told to the start or the hour is as good as exact.
    doubt = age.within if age.within > 1 else 0.0
    verdict = "young" if age.value + doubt < near else "due" if age.value - doubt >= near else CANNOT_TELL
    left = scheduled.value - age.value
    if left > 0:
        why = f"{figure(left, 4)} {told.per} are left of the {figure(scheduled.value, 5)} of your data"
    else:
        why = f"it is {figure(-left, 4)} {told.per} past the {figure(scheduled.value, 5)} of your data"
    if "next" in given:
        why += f"; the next chance to change it comes in {figure(more, 4)}"
    if verdict == "due" and left > more:
        why += "; the last tenth counts as near, which is our judgement"
    if verdict == CANNOT_TELL:
        why += ", and its age is not known that closely: look up when it went in"
    told.judged[""] = Judged(verdict, why)
    if "next" not in given and verdict == "young":
        told.warnings.append("when it can next be changed was not told, so whether its life ends before was not judged")


def _fitted(given: Given, told: _Told, data: Lives) -> None:
    r = data.failures
    if "shape" in given:
        fit = weibull.assume(data, given["shape"])
    elif r < 2:
        _hardly(told, data)
        return
    else:
        fit = weibull.fit(data)
    per = told.per
    told.lines.append(f"{r:,} failed and {data.of - r:,} ran on, {data.of:,} in all.")
    if fit.assumed:
        _assumed(told, data, fit)
    else:
        _shape(told, data, fit)
    low, high = fit.between(lambda k, s: s)
    name = "age by which 63 % have failed (scale)"
    told.add("scale", name, fit.scale, low, high, per)
    ten = weibull.reached(0.10, fit.shape, fit.scale)
    low, high = fit.between(lambda k, s: weibull.reached(0.10, k, s))
    told.add("b10", "age by which one in ten has failed", ten, low, high, per)
    if isfinite(ten):
        told.lines.append(f"One in ten has failed by {_round(ten)} {per} ({_round(low)} to {_round(high)}).")
    else:
        told.lines.append(f"One in ten has failed by no fewer than {_round(low)} {per}.")
    _chance(given, told, data, fit)
    _interval(given, told, fit)
    if 0 < r < weibull.FEW:
        few = "one failure is little" if r == 1 else f"{r} failures are few"
        told.warnings.append(f"{few}: the intervals are wide, and rest on the Weibull law itself")
    ages, shares = weibull.plotted(data)
    if len(ages):
        told.plot = Plot(tuple(ages.tolist()), tuple(shares.tolist()), fit, per)


def _hardly(told: _Told, data: Lives) -> None:
    """Say what can be said with no failure, or one, and no shape assumed: nothing, and what would help."""
    r = data.failures
    failed = "None failed" if not r else "One failed"
    told.lines.append(f"{failed} of {data.of:,}: from that no shape can be fitted, so no chance and no interval.")
    if not r:
        longest = float(data.ages.max())
        told.lines.append(f"All that can be said: {data.of:,} ran, the longest to {_round(longest)} {told.per}.")
    told.warnings.append("to say more, assume a shape (--shape) that you know from plugs of the kind, or wait for more")


def _assumed(told: _Told, data: Lives, fit: Fit) -> None:
    r = fit.failures
    low, high = fit.between(lambda k, s: s)
    given = f"With the shape assumed as {figure(fit.shape)}, 63 % have failed by"
    if r:
        told.lines.append(f"{given} {_round(fit.scale)} {told.per} ({_round(low)} to {_round(high)}).")
    else:
        told.lines.append(f"{given} no fewer than {_round(low)} {told.per}, with 95 % confidence; none failed yet.")
    told.warnings.append("the shape is assumed, not found: all that follows is as good as it")
    if r >= weibull.FEW:
        try:
            own = weibull.fit(data)
        except Unfit:
            return
        least, most = own.between(lambda k, s: k)
        if not least <= fit.shape <= most:
            told.warnings.append(f"the removals themselves ask for a shape of {figure(least)} to {figure(most)}")


def _shape(told: _Told, data: Lives, fit: Fit) -> None:
    low, high = fit.between(lambda k, s: k)
    told.add("shape", "shape", fit.shape, low, high, "")
    if low > 1:
        means = "above 1: plugs wear out"
    elif high < 1:
        means = "below 1: plugs that fail do so early, and old ones are the safer"
    else:
        means = "1 lies within: whether plugs wear at all is not shown yet"
    told.lines.append(f"Shape {figure(fit.shape)} ({figure(low)} to {figure(high)}), {means}.")
    least, most = fit.between(lambda k, s: s)
    told.lines.append(f"63 % have failed by {_round(fit.scale)} {told.per} ({_round(least)} to {_round(most)}).")
    if high >= weibull.MOST_SHAPE * 0.999 or low <= weibull.LEAST_SHAPE * 1.001:
        told.warnings.append("the shape is not bounded by these removals; its interval ends where the search does")
    chance = weibull.strain(data, fit)
    if chance is None:
        told.lines.append("Whether a Weibull life fits is not tested: that takes ten failures of several ages.")
        return
    said = "under 0.001" if chance < 0.001 else figure(chance, 2)
    if chance < POOR:
        told.warnings.append(
            f"a Weibull life does not fit (p {said}): look at the picture, and whether two kinds of failure, of "
            "plug or of engine are mixed; the figures stand only as far as it fits"
        )
    else:
        told.lines.append(f"Nothing speaks against a Weibull life (p {said}).")


def _chance(given: Given, told: _Told, data: Lives, fit: Fit) -> None:
    if "next" not in given or "age" not in given:
        if "next" in given:
            told.warnings.append("the chance of a misfire wants the plug's age")
        return
    age: Quantity = given["age"]
    more: float = given["next"].value
    if age.value < 0:
        raise Unfit("age: a plug is no younger than new", "age")
    value = float(weibull.chance(age.value, more, fit.shape, fit.scale)) if isfinite(fit.scale) else 0.0
    ends = [
        fit.between(lambda k, s, a=a: weibull.chance(a, more, k, s))  # type: ignore[misc]
        for a in {max(0.0, age.value - age.within), age.value, age.value + age.within}
    ]
    low, high = min(e[0] for e in ends), max(e[1] for e in ends)
    told.add("chance", f"chance of a misfire within {figure(more, 4)} {told.per}", value, low, high, "1")
    told.lines.append(
        f"A plug {figure(age.value, 5)} {told.per} old and still good misfires within the next {figure(more, 4)} with "
        f"a chance of {_percent(value)} ({_percent(low)} to {_percent(high)})."
    )
    oldest = float(data.ages.max())
    if age.value + more > oldest * 1.1:
        told.warnings.append(
            f"no plug of the list came to more than {_round(oldest)} {told.per}: beyond that it is the law that speaks"
        )


def _interval(given: Given, told: _Told, fit: Fit) -> None:
    if "planned" not in given and "misfire" not in given:
        return
    if "misfire" not in given:
        raise Unfit("misfire: what one costs has to be told too, in the unit of the planned change", "misfire")
    planned, misfire = float(given.get("planned", 1.0)), float(given["misfire"])
    if planned <= 0 or misfire <= 0:
        raise Unfit("costs are more than nothing", "planned" if planned <= 0 else "misfire")
    if "planned" not in given:
        told.lines.append(f"Costs: a misfire {figure(misfire)} times a planned change.")
    told.warnings.append(STANDS)
    if misfire <= planned:
        told.lines.append("By cost alone no interval pays: a misfire costs no more than a planned change.")
        return
    if not isfinite(fit.scale):
        told.lines.append("No failure yet: no interval can be worked out.")
        return
    per = told.per
    best = float(weibull.cheapest(planned, misfire, fit.shape, fit.scale))
    low, high = fit.between(lambda k, s: weibull.cheapest(planned, misfire, k, s))
    if not isfinite(best):
        wear = "the shape is not above 1" if fit.shape <= 1 else "plugs hardly wear"
        told.lines.append(f"By cost alone no interval pays: {wear}, so a new plug is no better than one still good.")
        if isfinite(low):
            told.lines.append(f"It is not sure: an interval as short as {_round(low)} {per} may still be the cheapest.")
        return

    def saving(k: Any, s: Any, age: float = best) -> Any:
        return 1 - weibull.cost(age, planned, misfire, k, s) * weibull.mean(k, s) / misfire

    share = float(saving(fit.shape, fit.scale))
    least, most = fit.between(saving)
    # The age is the best for the law that fits best, so the saving is greatest there, and not on the rim.
    least, most = min(least, share), max(most, share)
    between = f"{_round(low)} to {_round(high)}" if isfinite(high) else f"{_round(low)} up to never"
    told.add("interval", "cheapest age to change it at", best, low, high, per)
    told.add("saving", "saved by that against running to failure", share, least, most, "1")
    if share < SLIGHT:
        told.lines.append(
            f"By cost alone no interval pays worth speaking of: the best, {_round(best)} {per} ({between}), saves "
            f"{_percent(share)}."
        )
    else:
        told.lines.append(f"Cheapest changed at {_round(best)} {per} ({between}), or at a misfire if that is sooner.")
        told.lines.append(
            f"Against running to failure that saves {_percent(share)} ({_percent(least)} to {_percent(most)})"
            f"{', so it may cost more instead' if least < 0 else ''}."
        )
    if not isfinite(high):
        told.warnings.append("that running to failure is the cheapest cannot be ruled out with these removals")
    if "scheduled" in given:
        scheduled = given["scheduled"].value
        ratio = float(
            weibull.cost(scheduled, planned, misfire, fit.shape, fit.scale)
            / weibull.cost(best, planned, misfire, fit.shape, fit.scale)
        )
        told.lines.append(
            f"Changed at the {figure(scheduled, 5)} of your data it costs {figure(ratio)} times the cheapest."
        )


def _round(value: float) -> str:
    return f"{value:,.0f}" if value >= 1000 else figure(value)


def _percent(share: float) -> str:
    if 0 < share < 0.0005:
        return "under 0.05 %"
    return f"{figure(100 * share, 2 if abs(share) < 0.995 else 4)} %"


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    """Draw a probability plot: straight where a Weibull life fits. Up: share failed; along: age, both stretched."""
    plot = found.detail
    if plot is None:
        return ()
    import numpy as np

    mark, line, bar, corner, dash = ("o", ".", "|", "+", "-") if ascii_only else ("●", "·", "│", "└", "─")
    columns, rows = max(12, min(width, 100) - 8), 14
    ages = np.asarray(plot.ages)
    heights = np.log(-np.log1p(-np.minimum(np.asarray(plot.shares), 1 - 1e-9)))
    left, right = log(ages[0]) - 0.15, log(ages[-1]) + 0.15
    fitted = isfinite(plot.fit.scale)
    low, high = float(heights.min()), float(heights.max())
    if fitted:
        low = min(low, plot.fit.shape * (left - log(plot.fit.scale)))
        high = max(high, plot.fit.shape * (right - log(plot.fit.scale)))
    low, high = max(low, -9.0) - 0.1, min(high, 2.5) + 0.1
    canvas = [[" "] * columns for _ in range(rows)]

    def row_of(height: float) -> int:
        return round((high - height) / (high - low) * (rows - 1))

    if fitted:
        for column in range(columns):
            height = plot.fit.shape * (left + (right - left) * column / (columns - 1) - log(plot.fit.scale))
            if low <= height <= high:
                canvas[row_of(height)][column] = line
    for age, height in zip(ages, heights, strict=True):
        if low <= height <= high:
            canvas[row_of(height)][round((log(age) - left) / (right - left) * (columns - 1))] = mark
    scale: dict[int, str] = {}
    for percent in (50, 10, 90, 1, 99, 5, 20, 2, 70, 0.1):
        height = log(-log(1 - percent / 100))
        if low <= height <= high and all(abs(row_of(height) - r) > 1 for r in scale):
            scale[row_of(height)] = f"{figure(percent)} %"
    out = [f"{scale.get(i, ''):>6} {bar}{''.join(row)}".rstrip() for i, row in enumerate(canvas)]
    out.append(" " * 7 + corner + dash * columns)
    first, last = _round(float(ages[0])), _round(float(ages[-1]))
    at_first = round(0.15 / (right - left) * (columns - 1))
    at_last = round((log(ages[-1]) - left) / (right - left) * (columns - 1))
    axis = [" "] * columns
    places = ((at_first, first), (at_last, last)) if len(ages) > 1 else ((at_first, first),)
    for at, text in places:
        start = min(max(0, at - len(text) // 2), columns - len(text))
        axis[start : start + len(text)] = text
    out.append(" " * 8 + "".join(axis).rstrip())
    key = f"        {mark} failed, {line} the fit; {plot.unit}"
    return [text[:width] for text in (*out, key)]


CALCULATION = Calculation(
    "life",
    "how long plugs last, from removals: chance of a misfire and the cheapest interval",
    (
        Input("file", "file", "List of removals, a CSV file: the age, and whether failed or running", ""),
        Input("failed", "life", "Ages at which plugs failed", "", many=True, hint="1850 starts; 2400 starts"),
        Input(
            "running",
            "life",
            "Ages of plugs that still run, or came off good",
            "",
            many=True,
            hint="900 starts; 3000 starts",
        ),
        Input("age", "life", "Age of the plug in question", "", hint="2600 starts"),
        Input(
            "next", "life", "How much older it gets before it can next be changed", "", hint="300 starts", after="age"
        ),
        Input(
            "scheduled",
            "life",
            "Scheduled life of the plug, from your approved data",
            "",
            limit=True,
            hint="3000 starts",
        ),
        Input("planned", "number", "Cost of a planned change, in any one unit (minutes, money)", "", hint="45"),
        Input(
            "misfire", "number", "Cost of a misfire in that unit, its change with it", "", hint="400", after="planned"
        ),
        Input("shape", "number", "Shape to assume, where failures are too few to find it", "", hint="2.5"),
        Input(
            "unit",
            "choice",
            "What the list's ages are in, where it does not say",
            "",
            choices=("starts", "hours"),
            after="file",
        ),
        Input("age-column", "text", "Name of the list's column of ages, where it is not found", "", after="file"),
        Input("status-column", "text", "Name of its column that says failed or running", "", after="file"),
        Input("entry-column", "text", "Name of its column of ages from which plugs are known of", "", after="file"),
    ),
    _work,
    "Weibull by greatest likelihood, with those still running and late entries (Lawless 2003; Meeker and Escobar "
    "1998); age replacement after Barlow and Hunter 1960. All from memory.",
    {"": {"young": "Well inside its scheduled life", "due": "Near or past its scheduled life"}},
    _draw,
    shows=("failed", "running"),
)

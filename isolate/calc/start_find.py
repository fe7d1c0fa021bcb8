"""What happened in a recorded start, and when: cranking, fuel, ignition, light-off, and how it went on.

Pure on arrays. Instants are change-points (:mod:`isolate.calc.start_onset`); levels are means with Student's interval,
thinned where readings take after one another (von Storch and Zwiers, Statistical Analysis in Climate Research, 6.6).
Seconds count from the first row of the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from isolate.calc.start_onset import PROBE_S, SOURCE_S, STEP_S, Onset, onset, rise_shapes
from isolate.calc.start_small import Small, small_before

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from isolate.calc.recorder import Log

    Floats = NDArray[np.float64]

BEFORE_S, LONGEST_S = 30.0, 300.0
"""Looked at before cranking begins, and at most from there on."""
STARTER_S: Final = (0.0, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
"""Lags tried for how a starter comes to pull, seconds."""
LEAST_RISE: Final = {"°C": 40.0, "K": 40.0, "°F": 72.0, "": 72.0}
"""A rise of the exhaust temperature that is smaller than this is no proof of a light: warm air is drawn past a probe
too. Our judgement; a light makes hundreds of degrees."""
SURE_GAIN = 30.0
"""Twice the log-likelihood ratio from which a rise counts: of noise alone, with all that is tried, it is not seen."""
SURE_SMALL: Final = 0.5
"""Chance from which a small rise before the main one is said."""
LEAST_SMALL: Final = 0.2
"""Chance from which the interval takes it in. Less than this a plain light shows as well, as its shape is not known."""
SMALL_ROWS: Final = 200
SMALL_BEFORE_S: Final = 12.0
"""A small rise is looked for so long before the main one, and what stood before it for about as long again."""
UNLIKE = 8.0
"""Standard deviations that a rise has to have."""
UPTO: Final = 0.12
"""Share of the rise over which its beginning is fitted: the later course depends on more than the lags."""
CRANK_UPTO: Final = 0.15
"""The same for the speed."""
MODEL_OFF = 0.003
"""Share of the rise that the shapes tried may be off by: what they miss in a start, by our simulations."""
FLOW_OFF = 0.01
"""The same for a fuel flow."""
BLIND_S: Final = 0.005
BLIND_ROWS: Final = 0.02
"""No shape is good to less than so many seconds, and less than such a share of a row; the same for the light's, a
starter's and a flow's. By our simulations."""
LIGHT_BLIND: Final = (0.022, 0.02)
CRANK_BLIND: Final = (0.005, 0.05)
FLOW_BLIND: Final = (0.002, 0.005)


PICKED: Final = 0.3
"""Share of half the interval that the highest of a course is too high by, since the highest of many was picked."""
PICKED_WIDER: Final = 1.35
"""What that makes the interval wider by. Both by our simulations."""


SLOW: Final = (0.02, 0.05)
"""Seconds, and share of a row, that a rise may have begun earlier on average than any shape tried has it."""
CRANK_SLOW: Final = (0.07, 0.07)
"""The same for cranking. Both by simulations of two generators, on draws that the bench does not take up."""
CREST: Final = 0.3
"""Share of the step down to the lower neighbour that a crest may stand above the highest reading."""
HOLE_S: Final = 3.0
"""A light that came and went in a gap so long may leave no rise. Our judgement, by what probes lag."""
BEFORE_IT_TURNS_S: Final = 3.0
PICKS: Final = 400
"""Times that a course is made up anew to see how far off its lowest or highest level comes out."""
PICK_ROWS: Final = 1200
"""At most so many rows about it are made up anew."""


class Level(NamedTuple):
    """A reading with the interval of 95 %, and the seconds that it was taken over."""

    value: float
    low: float
    high: float
    first_s: float
    last_s: float


@dataclass(frozen=True)
class Facts:
    """One start. Whatever is None did not happen or is not recorded; ``has`` says which columns there are.

    ``first_s`` to ``last_s``: where it was looked at. ``ended_s``: where the attempt was broken off, None: it was not.
    ``light``: when the exhaust temperature began to rise as it does when an engine lights. ``doubtful``: it rose, but
    by less than a light makes; ``rise``: by how much. ``pick_up``: when the speed
    began to rise faster, more or less: its interval is not one of 95 %. ``commands``:
    (on, off) of the ignition command, each as the last row before and the first row of it. ``stalled``: the speed that
    it stayed at before the end. ``over_gap``: what was measured over a gap or a jump of the clock; ``hole``: a gap
    that a light could have come and gone in. ``disorder``: why the columns cannot be what they are taken for.
    """

    number: int
    first_s: float
    last_s: float
    has: frozenset[str]
    crank: Onset | None = None
    turned_before: bool = False
    fuel: Onset | None = None
    fuel_before: bool = False
    fuel_off_s: float | None = None
    flow: Level | None = None
    flow_still: Level | None = None
    commands: tuple[tuple[Level, float | None], ...] = ()
    commanded_before: bool = False
    channel: str = ""
    light: Onset | None = None
    doubtful: bool = False
    rise: Level | None = None
    small_from: Onset | None = None
    """Where a small rise may stand before the main one: when that began. The interval of ``light`` takes it in."""
    main_rise: Onset | None = None
    """When the main rise began, where it is likely that a small one stands before it; ``light`` is that one then."""
    unlit_rise: float = 0.0
    pick_up: Onset | None = None
    speed_at_fuel: Level | None = None
    crank_speed: Level | None = None
    peak: Level | None = None
    still_rising: bool = False
    speed_most: Level | None = None
    stalled: Level | None = None
    ended_s: float | None = None
    volts_rest: Level | None = None
    volts_least: Level | None = None
    volts_fuel: Level | None = None
    volts_ignition: Level | None = None
    over_gap: tuple[str, ...] = ()
    hole: tuple[float, float] | None = None
    disorder: str = ""

    @property
    def dry(self) -> bool:
        """It was turned without fuel and, by the record, without ignition: no attempt to start."""
        silent = "ignition" in self.has and not self.commands and not self.commanded_before
        return "fuel" in self.has and self.fuel is None and not self.fuel_before and silent and self.light is None

    @property
    def begins_s(self) -> float:
        return self.crank.value if self.crank else self.first_s

    def to_light(self) -> Level | None:
        """Seconds from fuel on to light-off, both with what they may be off by; None where either is not known."""
        if self.light is None or self.fuel is None:
            return None
        return _between(self.fuel, self.light)

    def to_main(self) -> Level | None:
        """Seconds from fuel on to the main rise, where a small one stands before it; None otherwise."""
        if self.main_rise is None or self.fuel is None:
            return None
        return _between(self.fuel, self.main_rise)


def _between(first: Onset, second: Onset) -> Level:
    import numpy as np

    # Two separate readings: drawn apart, the one mixed.
    mixed = np.random.default_rng(1).permutation(first.draws)
    low, high = np.quantile(second.draws - mixed, [0.025, 0.975])
    value = second.value - first.value
    return Level(value, min(float(low), value), max(float(high), value), first.value, second.value)


def held(time_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return times and figures of one column: rows without one left out, and repeats of a figure held between two
    readings left out where all changes come every so many rows."""
    import numpy as np

    told = np.isfinite(values)
    t, y = time_s[told], values[told]
    changes = np.flatnonzero(np.diff(y) != 0) + 1
    if changes.size < 12:
        return t, y
    apart = np.diff(changes)
    every = int(np.gcd.reduce(apart))
    if every > 1 and np.median(apart) == every:
        return t[changes[0] % every :: every], y[changes[0] % every :: every]
    if (apart == 1).mean() < 0.2 and np.median(apart) > 1:
        # Held as well, with rows missing: each change is a reading, and where none shows they are as far apart as else.
        between = np.diff(t[changes])
        usual = float(np.median(between[between <= 1.5 * np.quantile(between, 0.25)]))
        kept = [int(changes[0])]
        for i in changes[1:].tolist():
            while t[i] - t[kept[-1]] > 1.5 * usual:
                after = int(np.searchsorted(t, t[kept[-1]] + usual - 1e-9))
                if after >= i or after <= kept[-1]:
                    break
                kept.append(after)
            kept.append(i)
        return t[kept], y[kept]
    return t, y


def without_sparks(values: Floats, rows: int) -> Floats:
    """Return the running median over so many rows, an odd number: sparks heard on a reading's wires fall out of it."""
    import numpy as np

    if values.size < rows:
        return values.copy()
    around = np.pad(values, rows // 2, mode="edge")
    found: Floats = np.median(np.lib.stride_tricks.sliding_window_view(around, rows), axis=1)
    return found


def noise(values: Floats) -> float:
    """Return the standard deviation of a reading about a smooth course, by its second differences and their median."""
    import numpy as np

    if values.size < 5:
        return 0.0
    second = values[2:] - 2 * values[1:-1] + values[:-2]
    rough = 1.4826 * float(np.median(np.abs(second))) / 6**0.5
    return max(rough, resolution(values) / 12**0.5)


def resolution(values: Floats) -> float:
    """Return the step that the figures come in, 0 where they have none that shows."""
    import numpy as np

    some = np.unique(np.round(values[:20_000], 9))
    steps = np.diff(some)
    steps = steps[steps > 1e-9]
    if steps.size < 3:
        return float(steps.min()) if steps.size else 0.0
    least = float(np.quantile(steps, 0.02))
    return least if some.size < 0.5 * min(values.size, 20_000) or least >= 0.5 * float(np.median(steps)) else 0.0


def rounding(values: Floats, some: Floats) -> float:
    """Return what a mean may be off by since readings are rounded: where they hardly waver, more do not help."""
    import numpy as np

    step = resolution(values)
    return 0.475 * step if step and float(np.std(some)) < 0.45 * step else 0.0


def smooth(time_s: Floats, values: Floats, over_s: float = 1.0) -> Floats:
    """Return means of as many rows as make about so many seconds, an odd number."""
    import numpy as np

    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    half = int(over_s / max(step, 1e-9) / 2)
    if not half:
        return values.copy()
    heap = np.concatenate(([0.0], np.cumsum(values)))
    at = np.arange(values.size)
    a, b = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    found: Floats = (heap[b] - heap[a]) / (b - a)
    return found


def level(time_s: Floats, values: Floats, first_s: float, last_s: float) -> Level | None:
    """Return the mean between two instants with Student's 95 % interval; None with fewer than three readings."""
    import numpy as np
    from scipy.special import stdtrit

    here = (time_s >= first_s) & (time_s <= last_s)
    some = values[here]
    if some.size < 3:
        return None
    mean = float(some.mean())
    off = some - mean
    total = float(off @ off)
    like = float(off[1:] @ off[:-1]) / total if total > 0 and some.size > 6 else 0.0
    count = max(2.0, some.size * (1 - like) / (1 + like)) if like > 1.6 / np.sqrt(some.size) else float(some.size)
    spread = max(np.sqrt(total / (some.size - 1)), resolution(values) / np.sqrt(12))
    half = float(np.hypot(stdtrit(count - 1, 0.975) * spread / np.sqrt(count), rounding(values, some)))
    return Level(mean, mean - half, mean + half, float(time_s[here][0]), float(time_s[here][-1]))


# -- which starts there are ------------------------------------------------------------------------


def runs(time_s: Floats, speed: Floats) -> list[tuple[float, float, float]]:
    """Return (from, rises, to) in seconds of every time that the speed comes up from standing or running down.

    ``rises``: when it has done some of its rise. An engine that goes up from idle is none of them.
    """
    import numpy as np

    even = smooth(time_s, speed)
    least, most = float(even.min()), float(np.quantile(even, 0.9995))
    span, rough = most - least, noise(speed)
    if span <= max(12 * rough, 1e-9):
        return []
    part = (even - least) / span
    turn = max(0.07, 8 * rough / span)
    # Only where it is low can a start begin; an hour at cruise is one point.
    low = np.flatnonzero(part < 0.75)
    if not low.size:
        return []
    points = np.unique(np.concatenate((low, np.minimum(low + 1, part.size - 1), np.maximum(low - 1, 0))))
    found: list[tuple[int, int]] = []
    floor = top = int(points[0])
    up = False
    for i in points.tolist():
        if up:
            if part[i] > part[top]:
                top = i
            elif part[top] - part[i] > turn and part[i] < 0.75:
                up, floor = False, i
        else:
            # Of a long rest the last row counts.
            if part[i] <= part[floor] + 0.25 * turn:
                floor = i if part[i] <= part[floor] or part[floor] < 0.25 * turn else floor
            if part[i] - part[floor] > turn and part[floor] < 0.5:
                found.append((floor, i))
                up, top = True, i
            elif part[i] - part[floor] > turn:
                up, top = True, i
    spans: list[tuple[float, float, float]] = []
    for k, (floor, rises) in enumerate(found):
        until = time_s[found[k + 1][0]] if k + 1 < len(found) else time_s[-1]
        before = spans[-1][2] if spans else time_s[0]
        spans.append((max(before, float(time_s[floor]) - BEFORE_S), float(time_s[rises]), float(until)))
        if k:
            # What lies between two is the second one's: the first one's end is where it is lowest.
            a, r, _ = spans[k - 1]
            spans[k - 1] = (a, r, float(time_s[floor]))
            spans[k] = (max(float(time_s[floor]) - BEFORE_S, r), spans[k][1], spans[k][2])
    return spans


# -- one start -------------------------------------------------------------------------------------


def facts(log: Log, number: int, span: tuple[float, float, float]) -> Facts:
    """Return what happened in a start of a log (a result of :func:`runs`)."""
    import numpy as np

    first, rises, until = span
    until = min(until, rises + LONGEST_S)
    columns = {role: held(log.time_s, v) for role, v in log.values.items()}
    cut = {role: _within(t, y, first, until) for role, (t, y) in columns.items()}
    t, y = cut["speed"]
    # Where the log breaks off nothing is known of what came after.
    until = min(until, float(t[-1]))
    found = Facts(number, first, until, frozenset((*log.values, *log.said)))
    crank, before = _crank(t, y, first, rises, log.tick_s)
    found = replace(found, crank=crank, turned_before=before)
    begins = found.begins_s
    even = smooth(t, y)
    if "fuel" in cut:
        found = _fuel(found, *cut["fuel"], log.tick_s)
    ended = found.fuel_off_s
    crest = np.maximum.accumulate(even)
    falls = (t > rises) & (crest - even > 0.12 * (even.max() - even.min())) & (even < 0.75 * crest)
    after = np.flatnonzero(falls)
    fell = float(t[after[0]]) if after.size else None
    if fell is not None and (ended is None or fell < ended):
        # The speed falls some while after it is let go.
        ended = float(t[: after[0]][int(np.argmax(even[: after[0]]))])
    found = replace(found, ended_s=ended)
    found = _ignition(found, log, first, until)
    found = _light(found, *cut["temperature"], log.tick_s)
    found = _speeds(found, t, y, even, log.tick_s)
    if "volts" in cut:
        found = _volts(found, *cut["volts"])
    over = []
    for name, one in (("cranking", found.crank), ("fuel on", found.fuel), ("light-off", found.light)):
        if one and any(a < one.high and b > one.low for a, b in log.gaps):
            over.append(name)
    if any(begins - 1 < b < (found.light.high if found.light else until) for b in log.breaks):
        over.append("clock")
    since = found.fuel.value if found.fuel else begins
    ends = found.ended_s if found.ended_s is not None else until
    holes = [(a, b) for a, b in log.gaps if b > since and a < ends and b - a > HOLE_S]
    hole = holes[0] if holes and found.light is None else None
    return replace(found, over_gap=tuple(over), hole=hole, disorder=_disorder(found, *cut["temperature"]))


def _disorder(found: Facts, t: Floats, y: Floats) -> str:
    """Return why speed and temperature cannot be what they are taken for, "" where they can."""
    import numpy as np

    if found.crank is None:
        return ""
    if found.fuel is not None and found.fuel.high < found.crank.low - BEFORE_IT_TURNS_S:
        early = found.crank.value - found.fuel.value
        return f"fuel comes on {early:.0f} s before the shaft turns"
    before = y[t < found.crank.low - BEFORE_IT_TURNS_S]
    if before.size >= 8:
        even = np.convolve(before, np.ones(3) / 3, "valid")
        # Up from its lowest, not down to it: an engine that cools falls.
        up = float((even - np.minimum.accumulate(even)).max())
        if up > 0.3 * float(np.ptp(y)) and up > 12 * noise(y) + 5 * resolution(y):
            return "the temperature rises before the shaft turns"
    return ""


def _within(t: Floats, y: Floats, first: float, last: float) -> tuple[Floats, Floats]:
    import numpy as np

    a, b = np.searchsorted(t, [first - 1e-9, last + 1e-9])
    return t[a:b], y[a:b]


def _widened(
    found: Onset | None,
    t: Floats,
    blind: tuple[float, float] = (BLIND_S, BLIND_ROWS),
    slow: tuple[float, float] = (0.0, 0.0),
    risen_s: float = -1e9,
) -> Onset | None:
    """Return an onset that no gap is hidden in: where it touches one, all of the gap may be it.

    ``risen_s``: when some of the rise is seen; a gap on the way there may be it as well.
    """
    import numpy as np

    if found is None or t.size < 3:
        return found
    steps = np.diff(t)
    usual = float(np.median(steps))
    chance = np.random.default_rng(7)
    blur = chance.normal(0, blind[0] + blind[1] * usual, found.draws.size)
    # What begins more slowly than any shape tried began earlier, never later.
    blur -= chance.exponential(slow[0] + slow[1] * usual, found.draws.size) * (chance.random(found.draws.size) < 0.5)
    draws = np.sort(found.draws + blur)
    low, value, high = np.quantile(draws, [0.025, 0.5, 0.975])
    for i in np.flatnonzero(steps > max(4 * usual, usual + 1.0)):
        if t[i] < max(high, risen_s) and t[i + 1] > low:
            low, high = min(low, t[i]), max(high, t[i + 1])
            draws = np.sort(np.concatenate((draws[::2], np.linspace(low, high, draws.size // 2))))
            value = np.quantile(draws, 0.5)
    return replace(found, value=float(value), low=float(low), high=float(high), draws=draws)


def _crank(t: Floats, y: Floats, first: float, rises: float, tick_s: float) -> tuple[Onset | None, bool]:
    import numpy as np

    even = smooth(t, y)
    rough = noise(y)
    i = int(np.searchsorted(t, rises))
    floor = float(even[: i + 1].min())
    high = float(even.max())
    to = int(np.argmax((even >= floor + CRANK_UPTO * (high - floor)) & (t >= rises - 1e-9)))
    to = min(max(to, i + 4), t.size - 1)
    # Back to where it leaves its rest, then some of the rest.
    still = np.flatnonzero(even[: i + 1] <= floor + max(3 * rough, 0.02 * (high - floor)))
    leaves = int(still[-1]) if still.size else 0
    # It may have been turning when the record began.
    running = floor > 0.15 * high and float(even[0]) - floor < 0.05 * high
    if leaves < 3 or i < 5 or running:
        return None, True
    a = int(np.searchsorted(t, max(t[0], t[leaves] - max(6.0, 10 * float(np.median(np.diff(t)))))))
    to = min(to, int(np.searchsorted(t, t[leaves] + 8.0)) + 4, t.size - 1)
    if leaves - a < 3:
        return None, True
    shapes = tuple((p, s, twice) for p in PROBE_S[3:] for s in STARTER_S for twice in (False, True) if s or not twice)
    level_before = float(np.ptp(even[a : leaves + 1])) < max(4 * rough, 0.02 * (high - floor))
    orders = (0,) if level_before else (1,)
    found = onset(
        t[a : to + 1], y[a : to + 1], t[a], t[min(i + 1, to)], shapes, orders, resolution(y), tick_s, off=MODEL_OFF
    )
    return _widened(found, t[a : to + 1], CRANK_BLIND, CRANK_SLOW), False


def _fuel(found: Facts, t: Floats, y: Floats, tick_s: float) -> Facts:
    import numpy as np

    if t.size < 8:
        return found
    begins = found.begins_s
    even = smooth(t, y, 0.5)
    rough = noise(y)
    rest = float(np.median(y[t < begins])) if (t < begins).sum() >= 5 else float(np.quantile(y, 0.05))
    near = (t >= begins - 1) & (t <= begins + 120)
    if not near.any():
        return found
    most = float(even[near].max())
    if most - rest < max(UNLIKE * rough, 3 * resolution(y), 1e-6):
        still = level(t, y, begins, found.last_s)
        low = float(np.quantile(even[near], 0.05))
        # Flow that was there all the time has no beginning.
        if rest > max(UNLIKE * rough, 1e-6) and low > 0.5 * rest and rest > 20 * resolution(y):
            return replace(found, fuel_before=True, flow=still)
        return replace(found, flow_still=still)
    # Where it comes from is looked for from the rise on, not from its highest, which comes later.
    over = rest + max(6 * rough, 0.1 * (most - rest))
    risen = np.flatnonzero((t >= begins - 1) & (even > over))
    i = int(risen[0])
    step = float(np.median(np.diff(t)))
    a = int(np.searchsorted(t, t[i] - max(8.0, 12 * step)))
    b = min(int(np.searchsorted(t, t[i] + max(1.2, 4 * step))), t.size - 1)
    if i - a < 3:
        return replace(found, fuel_before=True)
    shapes = tuple((p, 0.0, False) for p in STEP_S)
    # What is smoothed rises a little before it does.
    last = min(float(t[b]), float(t[i]) + 0.5 + 2 * step)
    step_of = resolution(y)
    on = onset(t[a : b + 1], y[a : b + 1], t[a], last, shapes, (0,), step_of, tick_s, off=FLOW_OFF, surge=True)
    on = _widened(on, t[a : b + 1], FLOW_BLIND)
    if on is None:
        return found
    gone = np.flatnonzero((t > on.value + 1) & (even < rest + 0.15 * (float(np.median(even[i : i + 8])) - rest)))
    off = float(t[gone[0]]) if gone.size else None
    return replace(found, fuel=on, fuel_off_s=off)


def flow_after(log: Log, one: Facts, first_s: float, last_s: float) -> Level | None:
    """Return the mean fuel flow so many seconds after fuel came on."""
    if one.fuel is None or "fuel" not in log.values:
        return None
    t, y = held(log.time_s, log.values["fuel"])
    at_rest = smear(t, y, one)
    return _no_less(steady(t, y, one.fuel.value + first_s, one.fuel.value + last_s), t, y, at_rest)


def steady(t: Floats, y: Floats, first_s: float, last_s: float) -> Level | None:
    """Return the mean between two instants; how its course goes up or down there is no noise of the mean."""
    import numpy as np
    from scipy.special import stdtrit

    x, z = _within(t, y, first_s, last_s)
    if x.size < 8:
        return level(t, y, first_s, last_s)
    course = np.polyval(np.polyfit(x - x.mean(), z, 2), x - x.mean())
    found = level(x, z - course + float(z.mean()), float(x[0]), float(x[-1]))
    if found is None:
        return None
    # The course took two degrees of freedom besides the mean's, so what is left scatters too little.
    free = x.size - 3
    short = float(np.sqrt((x.size - 1) / free) * stdtrit(free, 0.975) / stdtrit(x.size - 1, 0.975))
    half = float(np.hypot(short * (found.high - found.low) / 2, rounding(y, z - course)))
    return found._replace(low=found.value - half, high=found.value + half)


def _ignition(found: Facts, log: Log, first: float, until: float) -> Facts:
    import numpy as np

    from isolate.calc.recorder import is_on

    on: Any = None
    t = log.time_s
    here = np.flatnonzero((t >= first) & (t <= until))
    if "ignition" in log.said and here.size:
        state = np.array([-1 if (s := is_on(w)) is None else int(s) for w in log.words["ignition"]])
        told = state[log.said["ignition"][here]]
        rows = here[told >= 0]
        told = told[told >= 0]
        on = np.zeros(t.size, dtype=bool)
        if told.size:
            on[rows] = told == 1
            begun = np.flatnonzero((told[1:] == 1) & (told[:-1] == 0)) + 1
            ended = np.flatnonzero((told[1:] == 0) & (told[:-1] == 1)) + 1
            commands = []
            for i in begun:
                a, b = float(t[rows[i - 1]]), float(t[rows[i]])
                offs = ended[ended > i]
                width = b - a
                off = float(t[rows[offs[0]]]) if offs.size else None
                commands.append((Level((a + b) / 2, a + 0.025 * width, b - 0.025 * width, a, b), off))
            found = replace(found, commands=tuple(commands), commanded_before=bool(told[0] == 1))
    role = "channel" if "channel" in log.said else "ignition"
    if role in log.said and here.size:
        rows = here if on is None else here[on[here]]
        if (
            role == "ignition"
            and len({w for w in log.words[role] if is_on(w)})
            and all(
                w.casefold() in ("1", "on", "yes", "true", "cmd", "x", "t", "y", "active", "1.0", "1.00")
                for w in log.words[role]
                if is_on(w)
            )
        ):
            rows = here[:0]
        if rows.size:
            codes = np.bincount(log.said[role][rows], minlength=len(log.words[role]))
            seen = [
                log.words[role][i] for i in np.argsort(-codes) if codes[i] and is_on(log.words[role][i]) is not None
            ]
            seen = [w for w in seen if w.casefold() not in ("off", "none", "-", "0")] or []
            found = replace(found, channel=" then ".join(dict.fromkeys(seen)) if len(seen) < 4 else "")
    return found


def _light(found: Facts, t: Floats, y: Floats, tick_s: float) -> Facts:
    import numpy as np

    from_s = (found.crank.high if found.crank else found.first_s) + 0.2
    until = found.ended_s + 3.0 if found.ended_s is not None else found.last_s
    at = np.flatnonzero((t >= from_s) & (t <= min(until, found.begins_s + 180)))
    if at.size < 8:
        return found
    step = float(np.median(np.diff(t)))
    bare = without_sparks(y, 5 if step <= 0.5 else 3)
    even = smooth(t, bare, 0.75)
    rough = noise(y[at])
    a, b = int(at[0]), int(at[-1])
    top = a + int(np.argmax(even[a : b + 1]))
    foot = a + int(np.argmin(even[a : top + 1]))
    # Of a rise that goes on over minutes only the first counts.
    course = np.maximum.accumulate(even[foot : top + 1])
    drop = course - even[foot : top + 1]
    enough = np.flatnonzero((drop > np.maximum(0.15 * (course - even[foot]), UNLIKE * rough)) & (course > even[foot]))
    if enough.size and course[enough[0]] - even[foot] > UNLIKE * rough:
        top = foot + int(np.argmax(even[foot : foot + int(enough[0]) + 1]))
    rise = float(even[top] - even[foot])
    found = replace(found, unlit_rise=rise)
    if rise < max(UNLIKE * rough, 3 * resolution(y)) or top - foot < 2:
        return found
    some = foot + int(np.argmax(even[foot : top + 1] >= even[foot] + 0.25 * rise))
    if rise < UNLIKE * _bursts(y[a:some]):
        return found
    # A light stays for some rows; sparks heard on the wires come and go.
    stays = (t > t[some]) & (t <= t[some] + max(3.0, 5.5 * step))
    if stays.sum() >= 3 and float(np.median(y[stays])) < even[foot] + 0.2 * rise:
        return found
    half = foot + int(np.argmax(even[foot : top + 1] >= even[foot] + UPTO * rise))
    end = min(max(half, half + 6), max(top, half))
    start = max(a, int(np.searchsorted(t, t[some] - min(20.0, max(8.0, 120 * step)))))
    if some - start < 4:
        start = max(0, some - 8)
    on = onset(
        t[start : end + 1],
        y[start : end + 1],
        float(t[start]),
        float(t[half]),
        rise_shapes(),
        (1, 2) if some - start >= 10 else (1,),
        resolution(y),
        tick_s,
        ramp=True,
        off=MODEL_OFF,
    )
    seen = float(t[min(half + int(0.75 / step / 2) + 1, b)])
    on = _widened(on, t[start : end + 1], LIGHT_BLIND, SLOW, seen)
    if on is None or on.gain < SURE_GAIN:
        return found
    error = 2 * rough
    small = _small_flame(found, t[: end + 1], y[: end + 1], start, on)
    if small is not None:
        told = small.shows and small.chance > SURE_SMALL
        found = replace(found, small_from=small.begins, main_rise=on if told else None)
        many = round(small.chance * on.draws.size)
        draws = np.sort(np.concatenate((_thinned(small.begins.draws, many), _thinned(on.draws, on.draws.size - many))))
        low, value, high = (float(q) for q in np.quantile(draws, [0.025, 0.5, 0.975]))
        on = replace(on, value=value if told else on.value, low=low, high=high, draws=draws)
    made = Level(rise, rise - error, rise + error, on.value, float(t[top]))
    return replace(found, light=on, rise=made)


def _thinned(draws: Floats, count: int) -> Floats:
    """Return so many of the draws, as they are spread."""
    import numpy as np

    found: Floats = np.quantile(draws, (np.arange(count) + 0.5) / max(count, 1))
    return found


def _bursts(values: Floats) -> float:
    """Return the noise of a reading by its larger second differences: sparks on its wires come in some rows only."""
    import numpy as np

    if values.size < 10:
        return 0.0
    second = np.abs(values[2:] - 2 * values[1:-1] + values[:-2])
    return float(np.quantile(second, 0.9)) / (1.645 * 6**0.5)


def _small_flame(found: Facts, t: Floats, y: Floats, start: int, main: Onset) -> Small | None:
    """Return the small rise that may stand before the main one, as where a small flame goes round only later."""
    import numpy as np

    earliest = main.low - SMALL_BEFORE_S
    a = max(0, int(np.searchsorted(t, t[start] - 6.0)))
    if found.fuel is not None:
        earliest = max(earliest, found.fuel.low)
        a = max(a, int(np.searchsorted(t, earliest - SMALL_BEFORE_S)))
    if t.size - a < 14:
        return None
    x, z = t[a:], y[a:]
    steps = np.diff(x)
    usual = float(np.median(steps))
    if float(steps.max()) > max(4 * usual, usual + 1.0):
        return None
    first, step = max(earliest, float(x[3])), resolution(z)
    if (many := x.size // SMALL_ROWS) > 1:
        # More rows than this only take longer; means of some tell as much.
        kept = x.size // many * many
        x, z = (v[:kept].reshape(-1, many).mean(axis=1) for v in (x, z))
        step /= many**0.5
    small = small_before(x, z, first, main, (1, 2, 3), step, MODEL_OFF, LEAST_SMALL)
    if small is None:
        return None
    begins = _widened(small.begins, x, LIGHT_BLIND, SLOW)
    return small._replace(begins=begins) if begins is not None else None


def settled(found: Facts, unit: str) -> Facts:
    """Return the facts with a rise that is too small for a light called doubtful. ``unit``: of the temperature."""
    if found.light is None or found.rise is None or found.rise.value >= LEAST_RISE.get(unit, 72.0):
        return found
    return replace(found, light=None, doubtful=True)


def _speeds(found: Facts, t: Floats, y: Floats, even: Floats, tick_s: float) -> Facts:
    import numpy as np

    step = float(np.median(np.diff(t)))
    if found.fuel is not None:
        found = replace(found, speed_at_fuel=value_at(t, y, found.fuel, smear(t, y, found)))
    lit = found.light
    turned_to = lit.low if lit else (found.ended_s or found.last_s)
    turning = np.flatnonzero((t > found.begins_s) & (t < turned_to))
    if turning.size > 4:
        wide = max(0.75, 2.1 * step)
        most = extreme(t, y, float(t[turning[0]]), float(t[turning[-1]]), wide, False, smear(t, y, found))
        found = replace(found, crank_speed=most)
    if lit:
        a, b = np.searchsorted(t, [lit.value - max(8.0, 10 * step), lit.value + max(8.0, 8 * step)])
        a = max(a, int(np.searchsorted(t, found.begins_s + 1)))
        if b - a > 12 and (found.ended_s is None or found.ended_s > lit.value + 4):
            shapes = tuple((p, s, False) for p in PROBE_S[4:] for s in SOURCE_S if s <= p)
            one = onset(
                t[a:b], y[a:b], t[a], t[b - 1], shapes, (1, 2), resolution(y), tick_s, off=MODEL_OFF, finer=False
            )
            one = _widened(one, t[a:b])
            if one is not None and one.gain > SURE_GAIN and one.high - one.low < 10:
                found = replace(found, pick_up=one)
        after = np.flatnonzero((t > lit.value) & (t <= (found.ended_s or found.last_s)))
        if after.size > 4:
            i = after[int(np.argmax(even[after]))]
            found = replace(found, speed_most=level(t, y, t[i] - max(1.0, 2.1 * step), t[i] + max(1.0, 2.1 * step)))
            end = float(t[after[-1]])
            if end - lit.value > 15:
                held_at = steady(t, y, end - 10, end)
                x, z = _within(t, y, end - 10, end)
                slope = float(np.polyfit(x - x.mean(), z, 1)[0]) if x.size > 3 else 1e9
                if held_at and abs(slope) * 10 < 0.04 * abs(held_at.value):
                    found = replace(found, stalled=held_at)
    return found


def smear(t: Floats, y: Floats, found: Facts) -> tuple[float, float]:
    """Return the noise of a column before cranking, and how much wider intervals get by each reading taking after the
    one before: √((1 + r)/(1 − r)). (0, 1) where too little stands there to say."""
    import numpy as np

    x, z = _within(t, y, found.first_s, found.crank.low) if found.crank else (t[:0], y[:0])
    if x.size < 12:
        return 0.0, 1.0
    off = z - np.polyval(np.polyfit(x - x.mean(), z, 1), x - x.mean())
    total = float(off @ off)
    sigma = (total / (x.size - 2)) ** 0.5
    like = float(off[1:] @ off[:-1]) / total + 2 / x.size if total > 0 else 0.0
    if like < 1.6 / x.size**0.5:
        return sigma, 1.0
    like = min(like, 0.95)
    return sigma, float(((1 + like) / (1 - like)) ** 0.5)


def value_at(t: Floats, y: Floats, instant: Onset, at_rest: tuple[float, float] = (0.0, 1.0)) -> Level | None:
    """Return a reading at an instant, by a parabola through what is about it; the interval holds both uncertainties.

    ``at_rest``: noise and widening (:func:`smear`).
    """
    import numpy as np

    step = float(np.median(np.diff(t)))
    half = max(2.0, 5 * step)
    x, z = _within(t, y, instant.value - half, instant.value + half)
    if x.size < 5:
        return None
    order = 2 if x.size >= 8 else 1
    rows = ((x - instant.value) / half)[:, None] ** np.arange(order + 1)
    fit, *_ = np.linalg.lstsq(rows, z, rcond=None)
    off = z - rows @ fit
    free = x.size - order - 1
    spread = max(float(np.sqrt(off @ off / free)), resolution(y) / np.sqrt(12))
    if at_rest[1] > 1:
        spread = max(spread, at_rest[0]) * at_rest[1]
    inverse = np.linalg.inv(rows.T @ rows)
    chance = np.random.default_rng(5)
    places = ((instant.draws - instant.value) / half)[:, None] ** np.arange(order + 1)
    error = spread * np.sqrt(np.einsum("ij,jk,ik->i", places, inverse, places))
    drawn = places @ fit + error * chance.standard_t(free, instant.draws.size)
    low, high = np.quantile(drawn, [0.025, 0.975])
    if more := rounding(y, off):
        low, high = fit[0] - np.hypot(fit[0] - low, more), fit[0] + np.hypot(high - fit[0], more)
    return Level(float(fit[0]), float(low), float(high), float(x[0]), float(x[-1]))


def _crest(t: Floats, y: Floats, rough: float) -> Level:
    """Return the highest of a course that turns too sharply for a parabola: its highest reading, what it may lack
    since the crest stood between rows, and no more than its neighbours bear out, since a single reading may be a spark.

    Of k readings that stand about as high the highest has noise that was picked: up to that of the highest of k
    normal deviates, whose distribution function is Φ(x)^k.
    """
    import numpy as np
    from scipy.special import ndtri

    i = int(np.argmax(y))
    beside = np.sort(y[max(i - 2, 0) : i + 3])
    falls = max(float(y[i] - y[max(i - 1, 0)]), float(y[i] - y[min(i + 1, y.size - 1)]))
    many = int((y > y[i] - 4 * rough).sum())
    middle, most = (float(ndtri(q ** (1 / many))) for q in (0.5, 0.975))
    value = float(y[i]) - 0.5 * middle * rough
    low = min(float(y[i]) - max(most, 2.0) * rough, float(beside[-2]) - rough)
    # What it may lack between two rows shows by how far it stands over its neighbours, as far as that is no noise.
    high = float(y[i]) + 2 * rough + CREST * max(falls - (2 * rough if many > 3 else 0.0), 0.0)
    return Level(value, low, high, float(t[max(i - 1, 0)]), float(t[min(i + 1, t.size - 1)]))


def peak(log: Log, found: Facts) -> tuple[Level | None, bool]:
    """Return the highest temperature after light-off with its interval, and whether it was still rising at the end."""
    import numpy as np

    if found.light is None:
        return None, False
    t, y = held(log.time_s, log.values["temperature"])
    at_rest = smear(t, y, found)
    t, y = _within(t, y, found.light.value, min(found.last_s, (found.ended_s or found.last_s) + 5))
    if t.size < 5:
        return None, False
    step = float(np.median(np.diff(t)))
    rough = max(noise(y), at_rest[0] if at_rest[1] > 1 else 0.0)
    for half, order in ((6.0, 2), (4.0, 2), (2.0, 2), (0.0, 0)):
        # As wide as a parabola is good for: of a short piece, noise is picked for its height.
        half = max(half, 3.1 * step)
        even = smooth(t, y, half)
        i = int(np.argmax(even))
        x, z = _within(t, y, t[i] - half, t[i] + half)
        rows = ((x - t[i]) / half)[:, None] ** np.arange(order + 1)
        fit, *_ = np.linalg.lstsq(rows, z, rcond=None)
        off = z - rows @ fit
        free = max(x.size - order - 1, 1)
        left = float(np.sqrt(off @ off / free))
        # How much is left is known from so many rows only.
        if left < (1.05 + (1 / free**0.5 if free >= 12 else 0.05)) * rough:
            break
    else:
        return _crest(t, y, rough), bool(np.argmax(y) >= t.size - 2 - int(1.0 / step))
    spread = max(left, resolution(y) / np.sqrt(12), 0.5 * rough)
    if at_rest[1] > 1:
        spread = max(spread, at_rest[0]) * at_rest[1]
    # The top of a parabola, where it has one well within; never its ends, which waver most.
    top = -fit[1] / (2 * fit[2]) if order == 2 and fit[2] < 0 else 0.0
    place = np.clip(top, -0.5, 0.5) ** np.arange(order + 1)
    value = float(place @ fit)
    inverse = np.linalg.inv(rows.T @ rows)
    from scipy.special import stdtrit

    wide = float(stdtrit(free, 0.975) * spread * np.sqrt(place @ inverse @ place))
    # The highest of many places is picked, and with it noise that happens to be high there.
    value -= PICKED * wide
    wide *= PICKED_WIDER
    rising = i >= t.size - 2 - int(1.0 / step)
    return Level(value, value - wide, value + wide, float(x[0]), float(x[-1])), rising


def _no_less(found: Level | None, t: Floats, y: Floats, at_rest: tuple[float, float]) -> Level | None:
    """Return a level no surer than its rows allow where each takes after the one before, which few do not show.

    ``at_rest``: noise and widening (:func:`smear`).
    """
    sigma, wider = at_rest
    if found is None or wider <= 1:
        return found
    count = int(((t >= found.first_s) & (t <= found.last_s)).sum())
    half = max((found.high - found.low) / 2, 2 * sigma * min(wider, count**0.5) / max(count, 1) ** 0.5)
    return found._replace(low=found.value - half, high=found.value + half)


def extreme(
    t: Floats, y: Floats, first_s: float, last_s: float, half_s: float, lowest: bool, at_rest: tuple[float, float]
) -> Level | None:
    """Return the lowest or highest mean over ``2·half_s`` seconds between two instants, and what it may be off by.

    It was picked among many, and its noise was picked with it. So the course, evened out as far as its noise allows, is
    made up anew with noise and picked from in the same way: how far off the picks are is
    what this one may be off by (a parametric bootstrap: Efron and Tibshirani, An Introduction to the Bootstrap, 1993,
    ch. 6). ``at_rest``: noise and widening (:func:`smear`).
    """
    import numpy as np

    inside = (t >= first_s - 1e-9) & (t <= last_s + 1e-9)
    x, z = t[inside], y[inside]
    if x.size < 3:
        return None
    rough = max(noise(z), noise(y)) if x.size >= 12 else noise(y)
    step = resolution(y)
    sigma = rough
    like = (at_rest[1] ** 2 - 1) / (at_rest[1] ** 2 + 1)
    if like > 0:
        # Second differences miss noise that goes on over rows.
        sigma = max(sigma, at_rest[0])
    low_at = np.searchsorted(x, x - half_s - 1e-9)
    high_at = np.searchsorted(x, x + half_s + 1e-9)
    usable = np.flatnonzero(high_at - low_at >= 3)
    if not usable.size:
        return None
    sign = -1.0 if lowest else 1.0
    means = _means(sign * z, low_at, high_at)
    i = int(usable[int(np.argmax(means[usable]))])
    span = (float(x[low_at[i]]), float(x[high_at[i] - 1]))
    course = _evened(x, sign * z, rough, half_s)
    # What stands too far below to be picked is left out.
    near = np.flatnonzero(_means(course, low_at, high_at) > means[i] - 8 * max(rough, step))
    a, b = int(min(near.min(initial=i), i)), int(max(near.max(initial=i), i)) + 1
    a, b = max(a, i - PICK_ROWS // 2), min(b, i + PICK_ROWS // 2)
    first, last = int(low_at[a]), int(high_at[b - 1])
    course = _plain(sign * z[first:last], course[first:last], rough)
    lows, highs = low_at[a:b] - first, high_at[a:b] - first
    enough = highs - lows >= 3
    lows, highs = lows[enough], highs[enough]
    chance = np.random.default_rng(11)
    made = chance.normal(size=(PICKS, course.size))
    for k in range(1, course.size if like > 0 else 0):
        made[:, k] = like * made[:, k - 1] + (1 - like**2) ** 0.5 * made[:, k]
    # How large the noise is is known from so many rows only.
    free = max(3.0, 0.4 * (y.size if rough == noise(y) else x.size))
    made *= sigma * np.sqrt(free / chance.chisquare(free, PICKS))[:, None]
    picks = _means(course + made, lows, highs)
    at = np.argmax(picks, axis=1)
    off = picks[np.arange(PICKS), at] - _means(course, lows, highs)[at]
    least, middle, most = (float(q) for q in np.quantile(off, [0.025, 0.5, 0.975]))
    value, ends = sign * (means[i] - middle), sorted((sign * (means[i] - least), sign * (means[i] - most)))
    more = rounding(y, z[low_at[i] : high_at[i]])
    low, high = value - np.hypot(value - ends[0], more), value + np.hypot(ends[1] - value, more)
    return Level(float(value), float(low), float(high), *span)


def _means(values: Floats, low_at: NDArray[np.int64], high_at: NDArray[np.int64]) -> Floats:
    """Return the means over rows from ``low_at`` up to ``high_at``, along the last axis."""
    import numpy as np

    heap = np.concatenate((np.zeros((*values.shape[:-1], 1)), np.cumsum(values, axis=-1)), axis=-1)
    found: Floats = (heap[..., high_at] - heap[..., low_at]) / np.maximum(high_at - low_at, 1)
    return found


def _plain(y: Floats, evened: Floats, rough: float) -> Floats:
    """Return the polynomial that a short course follows by Akaike's criterion, the evened course where it follows none:
    what is evened keeps some noise, and picks among it would look too sure."""
    import numpy as np

    n = y.size
    if n < 10:
        return evened
    place = np.linspace(-1, 1, n)
    best, found = np.inf, evened
    for order in range(6):
        fit = np.polynomial.legendre.Legendre.fit(place, y, order)(place)
        left = float(np.mean((y - fit) ** 2))
        score = n * float(np.log(max(left, 1e-300))) + 2 * order
        if left < (1.15 * rough) ** 2 and score < best:
            best, found = score, fit
    return found


def _evened(t: Floats, y: Floats, rough: float, half_s: float) -> Floats:
    """Return a course evened out over as many seconds as its noise allows, and what that took off put back once."""
    import numpy as np

    found = y
    for over in (8.0, 4.0, 2.0, 1.0):
        found = smooth(t, y, max(over, half_s))
        found = found + smooth(t, y - found, max(over, half_s))
        if float(np.sqrt(np.mean((y - found) ** 2))) < 1.15 * rough:
            break
    return found


def _volts(found: Facts, t: Floats, y: Floats) -> Facts:
    import numpy as np

    step = float(np.median(np.diff(t))) if t.size > 1 else 1.0
    rest = level(t, y, found.first_s, found.crank.low if found.crank else found.first_s)
    until = found.light.value if found.light else (found.ended_s or found.last_s)
    half = max(0.5, 1.01 * step)
    turning = np.flatnonzero((t > (found.crank.high if found.crank else found.first_s)) & (t < until))
    least = None
    if turning.size > 3:
        least = extreme(t, y, float(t[turning[0]]), float(t[turning[-1]]), half, True, smear(t, y, found))
    at_fuel = level(t, y, found.fuel.value - half, found.fuel.value + half) if found.fuel else None
    on = found.commands[0][0].value if found.commands else None
    at_on = level(t, y, on, on + max(1.0, 3.01 * step)) if on is not None else None
    at_rest = smear(t, y, found)
    at_fuel, at_on = (_no_less(one, t, y, at_rest) for one in (at_fuel, at_on))
    return replace(found, volts_rest=rest, volts_least=least, volts_fuel=at_fuel, volts_ignition=at_on)


def all_starts(log: Log) -> Sequence[tuple[float, float, float]]:
    """Return the starts of a log, oldest first."""
    return runs(*held(log.time_s, log.values["speed"]))

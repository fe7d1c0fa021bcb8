"""Whether something comes more often than it did, and how often it comes: Laplace's test and an exact rate.

The test is the one of the NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4, for a system watched for a fixed
time: with r times t in a window T, z = sqrt(12 r) * sum(t - T/2) / (r T), about standard normal where nothing changes
(a homogeneous Poisson process). The interval of a rate is the exact one by chi-squared (Garwood 1936). Pure: no clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import isfinite, sqrt
from typing import TYPE_CHECKING, Any, Literal

from isolate.case.events import now_text, parse_time

if TYPE_CHECKING:
    from isolate.case.brief import Brief
    from isolate.review.repeats import Back

LEAST = 4
"""Times below which no trend is spoken of: the normal figure of the test is good enough from about there."""
LEVEL = 0.05
"""A trend is spoken of where chance alone would show as much less often than this."""
SURE = 0.95
"""What an interval of a rate holds."""
LOOK_BACK = 60.0
"""Days within which a defect has to come back to count in the trend of a fleet or a station, where more are asked for.

Counting begins so many days after the first case: before that there is too little that could come back, and what is
only the beginning of the records would look like a trend.
"""
DAY = 86_400.0
"""Seconds."""
PER_DAYS, PER_STARTS = 1000, 100
"""What a rate is given per."""

About = Literal["defect", "part", "fleet", "station"]


@dataclass(frozen=True)
class Rate:
    """``count`` in ``exposure`` of ``unit``; the rate and its 95 % interval are per ``per`` of it (1,000 days or 100
    engine starts). ``over``: engines whose starts are counted; 0 for days."""

    count: int
    exposure: float
    unit: Literal["days", "starts"]
    per: int
    rate: float
    low: float
    high: float
    over: int
    said: str


@dataclass(frozen=True)
class Trend:
    """How something comes. ``about``: what it is of; ``name``: which, ``title``: in words; ``counts``: what is counted.

    ``since``, ``until``: the window, RFC 3339, ``window`` its days. ``times``: days from its beginning. ``z``:
    Laplace's; positive: coming more often; ``chance``: of a z as far from 0 with nothing changed, either way; None
    where there are too few. ``cases``: those that it rests on.
    """

    about: About
    name: str
    title: str
    counts: str
    since: str
    until: str
    window: float
    times: tuple[float, ...]
    z: float | None
    chance: float | None
    verdict: Literal["more often", "less often", "no trend", "too few to say"]
    rates: tuple[Rate, ...]
    cases: tuple[str, ...]
    said: str

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


# -- figures ---------------------------------------------------------------------------------------


@lru_cache(maxsize=1 << 17)
def seconds(time: str) -> float:
    """Return a time of the trail as a number of seconds. Raises ValueError for what is none."""
    if time.endswith("Z"):
        with suppress(ValueError):
            # As the trail writes times; many times faster.
            return datetime.fromisoformat(time).timestamp()
    return parse_time(time).timestamp()


def laplace(times: Sequence[float], window: float) -> tuple[float, float]:
    """Return Laplace's z of times in a window that begins at 0, and its two-sided chance.

    Raises ValueError without times, or where one lies outside the window.
    """
    if not times or not (isfinite(window) and window > 0) or not all(0 <= t <= window for t in times):
        raise ValueError("the test takes times within a window")
    # scipy.stats takes a second to load; what is needed of it stands here as well.
    from scipy.special import ndtr

    r = len(times)
    z = sqrt(12 * r) * sum(t - window / 2 for t in times) / (r * window)
    return z, float(2 * ndtr(-abs(z)))


def poisson(count: int, exposure: float, per: float = 1.0) -> tuple[float, float, float]:
    """Return the rate per so much exposure and its exact 95 % interval. Raises ValueError for no exposure."""
    if count < 0 or not (isfinite(exposure) and exposure > 0):
        raise ValueError("a rate takes a count and some exposure")
    from scipy.special import chdtri

    low = float(chdtri(2 * count, (1 + SURE) / 2)) / 2 if count else 0.0
    high = float(chdtri(2 * count + 2, (1 - SURE) / 2)) / 2
    return count * per / exposure, low * per / exposure, high * per / exposure


def rate(count: int, exposure: float, unit: Literal["days", "starts"], over: int = 0) -> Rate:
    """Return a rate per 1,000 days or per 100 engine starts, in words as well."""
    per = PER_DAYS if unit == "days" else PER_STARTS
    value, low, high = poisson(count, exposure, per)
    of = f"per {per:,} days" if unit == "days" else f"per {per} engine starts"
    on = f", on {over} {'engine' if over == 1 else 'engines'} whose starts are told" if unit == "starts" else ""
    said = f"{_figure(value)} {of} ({_figure(low)} to {_figure(high)}), {count:,} in {exposure:,.0f} {unit}{on}"
    return Rate(count, exposure, unit, per, value, low, high, over, said)


def _figure(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.1f}" if value >= 10 else f"{value:.2g}"


def trend(
    about: About,
    name: str,
    title: str,
    counts: str,
    happened: Iterable[tuple[str, str]],
    since: str,
    until: str,
    starts: tuple[int, float, int] | None = None,
) -> Trend:
    """Return how something comes. ``happened``: (time, case), both as the trails have them; what lies outside the
    window is left out. ``counts``: what is counted, in the plural. ``starts``: how many of them happened in how many
    engine starts of how many engines; None where not told.
    """
    begin, end = seconds(since), seconds(until)
    window = (end - begin) / DAY
    told = sorted((seconds(time), case) for time, case in happened)
    inside = [(moment, case) for moment, case in told if begin <= moment <= end]
    times = [(moment - begin) / DAY for moment, _ in inside]
    rates = [rate(len(times), window, "days")] if window > 0 else []
    if starts is not None and starts[1] > 0:
        rates.append(rate(starts[0], starts[1], "starts", starts[2]))
    z = chance = None
    verdict: Literal["more often", "less often", "no trend", "too few to say"] = "too few to say"
    if len(times) >= LEAST and window > 0:
        z, chance = laplace(times, window)
        verdict = "no trend" if chance >= LEVEL else "more often" if z > 0 else "less often"
        z, chance = round(z, 4), float(f"{chance:.4g}")
    return Trend(
        about, name, title, counts, since, until, round(window, 3), tuple(round(t, 3) for t in times), z, chance,
        verdict, tuple(rates), tuple(case for _, case in inside), _said(len(times), counts, verdict, chance),
    )  # fmt: skip


def _said(count: int, counts: str, verdict: str, chance: float | None) -> str:
    many = f"{counts}: {count:,}"
    if chance is None:
        return f"Too few to say whether it comes more often ({many}; {LEAST} at least)."
    if verdict == "no trend":
        return f"No trend that stands out: chance alone shows as much {_in_hundred(chance)} ({many})."
    return f"Coming {verdict}: had nothing changed, chance alone would show as much {_in_hundred(chance)} ({many})."


def _in_hundred(chance: float) -> str:
    if chance < 0.005:
        return "less than once in 200 times" if chance >= 0.001 else "less than once in 1,000 times"
    times = max(1, round(100 * chance))
    return f"{'once' if times == 1 else f'{times} times'} in 100"


# -- of what ---------------------------------------------------------------------------------------


@dataclass
class _Run:
    """An engine's starts told so far: the least and the most."""

    least: float
    most: float


def trends(
    briefs: Sequence[Brief],
    backs: Iterable[Back],
    since: str,
    until: str,
    titles: Mapping[str, str] | None = None,
    days: float = LOOK_BACK,
) -> tuple[Trend, ...]:
    """Return the trends of engine types, stations and part numbers, in that order, those that stand out most first.

    Of engine types and stations the defects that came back within ``days``, or :data:`LOOK_BACK` where that is less,
    are counted, by the case that brought them back; of a part number the parts of it that came off at a repair. All by
    the calendar: a fleet that flies more has more. ``titles``: engine type → title.
    """
    by_case = {b.case: b for b in briefs}
    days = min(days, LOOK_BACK)
    returns = [by_case[b.case] for b in backs if not b.open_before and b.days <= days]
    first = datetime.fromtimestamp(seconds(min((b.opened for b in briefs), default=since)), UTC)
    begin = max(since, now_text(first + timedelta(days=days)))
    whole, runs = _runs(briefs, since, until), _runs(briefs, begin, until)
    fleets: dict[str, list[Brief]] = {}
    stations: dict[str, list[Brief]] = {}
    for brief in returns:
        fleets.setdefault(brief.engine, []).append(brief)
        stations.setdefault(brief.station, []).append(brief)
    found = []
    back = f"defects that came back within {days:g} days"
    # Records that do not reach that far say nothing of engine types and stations.
    reach = briefs if begin < until else ()
    for engine in sorted({b.engine for b in reach}):
        mine = fleets.get(engine, [])
        title = (titles or {}).get(engine, engine)
        inside = [_engine(b) for b in mine if begin <= b.opened <= until]
        starts = _exposed(inside, {k: run for k, run in runs.items() if k[2] == engine})
        found.append(trend("fleet", engine, title, back, [(b.opened, b.case) for b in mine], begin, until, starts))
    for station in sorted({b.station for b in reach}):
        mine = stations.get(station, [])
        title = station or "station not told"
        found.append(trend("station", station, title, back, [(b.opened, b.case) for b in mine], begin, until))
    found += _of_parts(briefs, whole, since, until)
    order: dict[str, int] = {"fleet": 0, "station": 1, "part": 2}
    return tuple(sorted(found, key=lambda t: (order[t.about], 2.0 if t.chance is None else t.chance, t.title)))


def _of_parts(briefs: Sequence[Brief], runs: Mapping[tuple[str, ...], _Run], since: str, until: str) -> Iterable[Trend]:
    from isolate.review.parts import folded

    off: dict[str, list[tuple[str, str, tuple[str, ...]]]] = {}
    spelt: dict[str, str] = {}
    engines: dict[str, set[str]] = {}
    for brief in briefs:
        for done in brief.repairs:
            told = str(done.part.get("pn-off") or "").strip()
            if number := folded(told):
                spelt.setdefault(number, told)
                off.setdefault(number, []).append((done.time, brief.case, _engine(brief)))
                engines.setdefault(number, set()).add(brief.engine)
    for number, happened in sorted(off.items()):
        mine = {key: run for key, run in runs.items() if key[2] in engines[number]}
        yield trend(
            "part", spelt[number], f"P/N {spelt[number]}", "parts of this number that came off",
            [(time, case) for time, case, _ in happened], since, until,
            _exposed([engine for time, _, engine in happened if since <= time <= until], mine),
        )  # fmt: skip


def _engine(brief: Brief) -> tuple[str, ...]:
    return brief.aircraft.strip().casefold(), brief.position.strip().casefold(), brief.engine


def _runs(briefs: Iterable[Brief], since: str, until: str) -> dict[tuple[str, ...], _Run]:
    """Return engine → the least and the most starts told of it in the window; those told once only are left out."""
    found: dict[tuple[str, ...], _Run] = {}
    for brief in briefs:
        if brief.starts is not None and since <= brief.opened <= until:
            run = found.setdefault(_engine(brief), _Run(brief.starts, brief.starts))
            run.least, run.most = min(run.least, brief.starts), max(run.most, brief.starts)
    return {engine: run for engine, run in found.items() if run.most > run.least}


def _exposed(engines: Sequence[tuple[str, ...]], runs: Mapping[tuple[str, ...], _Run]) -> tuple[int, float, int] | None:
    """Return how much happened on engines whose starts are told, in how many starts, on how many engines."""
    if not runs:
        return None
    return sum(e in runs for e in engines), sum(r.most - r.least for r in runs.values()), len(runs)

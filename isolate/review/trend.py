"""Whether something comes more often than it did, and how often it comes: Laplace's test and an exact rate.

The test is the one of the NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4, for a system watched for a fixed
time: with r times t in a window T, z = sqrt(12 r) * sum(t - T/2) / (r T), about standard normal where nothing changes
(a homogeneous Poisson process). The interval of a rate is the exact one by chi-squared (Garwood 1936). Pure: no clock.

One bad engine gives many returns, so those of a fleet or a station do not stand for themselves. They are summed by
defect, S = sum(t - T/2) over its returns, and z = sum S / sqrt(sum S^2), a score test that is robust to what goes on
within a defect (as Liang and Zeger's, 1986); the interval of the rate is widened by how they clump. A single defect is
followed to its last return, however long that is ago, so its window ends there and that return is not counted.
"""

from __future__ import annotations

from collections import Counter
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
"""Times, or defects of which each has several, below which no trend is spoken of: the normal figure of the test is good
enough from about there; of four or five defects it says less often than :data:`LEVEL` that there is one."""
LEVEL = 0.05
"""A trend is spoken of where chance alone would show as much less often than this."""
SURE = 0.95
"""What an interval of a rate holds."""
LOOK_BACK = 60.0
"""Days within which a defect has to come back to count in the trend of a fleet or a station, where more are asked for.

Counting begins so many days after the first case: before that there is too little that could come back, and what is
only the beginning of the records would look like a trend.
"""
SHORTEST = 30.0
"""Days to count in, below which nothing is said of engine types and stations: our judgement."""
DAY = 86_400.0
"""Seconds."""
PER_DAYS, PER_STARTS = 1000, 100
"""What a rate is given per."""

About = Literal["defect", "part", "fleet", "station"]


@dataclass(frozen=True)
class Rate:
    """``count`` in ``exposure`` of ``unit``; the rate and its 95% interval are per ``per`` of it (1,000 days or 100
    engine starts). ``over``: engines whose starts are counted; 0 for days. Of starts, ``count`` leaves out what each
    engine's first and last told case had: those are where its exposure begins and ends."""

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
    where there are too few. ``cases``: those that it rests on. ``defects``: how many defects they are of, each of which
    counts as one; 0 where each time stands for itself. ``to_last``: the window ends at the last time, which is not
    counted.
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
    defects: int = 0
    to_last: bool = False

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


def clustered(groups: Iterable[Sequence[float]], window: float) -> tuple[float, float]:
    """Return z of times that come in groups, each group one defect, and its two-sided chance.

    What the times of one group have to do with each other makes no difference. Raises ValueError as :func:`laplace`.
    """
    groups = [group for group in groups if group]
    if not groups or not (isfinite(window) and window > 0) or not all(0 <= t <= window for g in groups for t in g):
        raise ValueError("the test takes times within a window")
    from scipy.special import ndtr

    sums = [sum(t - window / 2 for t in group) for group in groups]
    spread = sqrt(sum(s * s for s in sums))
    z = sum(sums) / spread if spread > 0 else 0.0
    return z, float(2 * ndtr(-abs(z)))


def clumping(sizes: Iterable[int]) -> float:
    """Return by how much the count of what comes in groups of these sizes varies more than a count by itself: 1 for no
    more.

    The variance of the count is the sum of the squared sizes. Few groups tell little of how large they may be, so it is
    taken a little larger where they differ from one.
    """
    had = [size for size in sizes if size]
    if not had or max(had) == 1:
        return 1.0
    return sum(size * size for size in had) / sum(had) * (len(had) + 1) / len(had)


def poisson(count: int, exposure: float, per: float = 1.0, clump: float = 1.0) -> tuple[float, float, float]:
    """Return the rate per so much exposure and its 95% interval: the exact one, where ``clump`` is 1.

    ``clump``: see :func:`clumping`; the interval is then that of a count as many times smaller, in as much larger
    clumps. Raises ValueError for no exposure.
    """
    if count < 0 or not (isfinite(exposure) and exposure > 0):
        raise ValueError("a rate takes a count and some exposure")
    from scipy.special import chdtri

    clumps, per = count / clump, per / exposure
    low = float(chdtri(2 * clumps, (1 + SURE) / 2)) / 2 if count else 0.0
    high = float(chdtri(2 * clumps + 2, (1 - SURE) / 2)) / 2
    return count * per, low * clump * per, high * clump * per


def rate(count: int, exposure: float, unit: Literal["days", "starts"], over: int = 0, clump: float = 1.0) -> Rate:
    """Return a rate per 1,000 days or per 100 engine starts, in words as well. ``clump``: see :func:`clumping`."""
    per = PER_DAYS if unit == "days" else PER_STARTS
    value, low, high = poisson(count, exposure, per, clump)
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
    starts: tuple[Sequence[str], float, int] | None = None,
    defects: Mapping[str, str] | None = None,
    to_last: bool = False,
) -> Trend:
    """Return how something comes. ``happened``: (time, case), both as the trails have them; what lies outside the
    window is left out. ``counts``: what is counted, in the plural. ``starts``: the cases, once for each time, in how
    many engine starts of how many engines; None where not told. ``defects``: case → the defect that it is of; None:
    each time stands for itself. ``to_last``: the window ends at the last time, which is not counted.
    """
    begin, end = seconds(since), seconds(until)
    told = sorted((seconds(time), case, time) for time, case in happened)
    inside = [one for one in told if begin <= one[0] <= end]
    if to_last and inside:
        end, _, until = inside[-1]
    window = (end - begin) / DAY
    times = [(moment - begin) / DAY for moment, *_ in inside]
    cases = tuple(case for _, case, _ in inside)
    counted = len(times) - to_last if times else 0
    groups: dict[str, list[float]] = {}
    for time, case in zip(times[:counted], cases, strict=False):
        groups.setdefault(case if defects is None else defects.get(case, case), []).append(time)
    alone = defects is None
    rates = []
    # One return, which is not counted, says nothing of how often it comes.
    if window > 0 and (counted or not to_last):
        rates.append(rate(counted, window, "days", 0, 1.0 if alone else clumping(map(len, groups.values()))))
    if starts is not None and starts[1] > 0:
        clump = 1.0 if defects is None else clumping(Counter(defects.get(case, case) for case in starts[0]).values())
        rates.append(rate(len(starts[0]), starts[1], "starts", starts[2], clump))
    z = chance = None
    verdict: Literal["more often", "less often", "no trend", "too few to say"] = "too few to say"
    if (counted if alone else len(groups)) >= LEAST and window > 0:
        z, chance = laplace(times[:counted], window) if alone else clustered(groups.values(), window)
        verdict = "no trend" if chance >= LEVEL else "more often" if z > 0 else "less often"
        z, chance = round(z, 4), float(f"{chance:.4g}")
    of = 0 if alone else len(groups)
    many = f"{counts}: {len(times):,}"
    if not alone and times:
        many += f", of {of:,} {'defect' if of == 1 else 'defects'}"
    elif to_last and times:
        many += ", the last of which ends the window and is not counted"
    least = f"{LEAST} {'' if alone else 'defects '}at least" if not to_last else f"{LEAST + 1} at least"
    return Trend(
        about, name, title, counts, since, until, round(window, 3), tuple(round(t, 3) for t in times), z, chance,
        verdict, tuple(rates), cases, _said(many, least, verdict, chance), of, to_last,
    )  # fmt: skip


def _said(many: str, least: str, verdict: str, chance: float | None) -> str:
    if chance is None:
        return f"Too few to say whether it comes more often ({many}; {least})."
    if verdict == "no trend":
        return f"No trend that stands out: chance alone shows as much {_in_hundred(chance)} ({many})."
    return f"Coming {verdict}: had nothing changed, chance alone would show as much {_in_hundred(chance)} ({many})."


def _in_hundred(chance: float) -> str:
    if chance < 0.005:
        return "less than once in 200 times" if chance >= 0.001 else "less than once in 1,000 times"
    times = max(1, round(100 * chance))
    return f"{'once' if times == 1 else f'{times} times'} in 100"


# -- how far the cases reach -----------------------------------------------------------------------


def reach(briefs: Sequence[Brief], now: str) -> tuple[str, str]:
    """Return up to when the cases tell anything, and a note on those that are dated after ``now``; both may be empty.

    One case from a clock that was wrong would make the window reach to its day, and all others long gone by then. Where
    most of the cases lie after ``now`` it is the clock here that is doubted.
    """
    last = max(briefs, key=lambda b: seconds(b.last)).last if briefs else ""
    if not now or not briefs or seconds(last) <= seconds(now):
        return last, ""
    late = sorted(((b.last, b.case) for b in briefs if seconds(b.last) > seconds(now)), reverse=True)
    if 2 * len(late) > len(briefs):
        return last, (
            f"Of {len(briefs):,} cases {len(late):,} are dated after today, {now[:10]} by the clock here: the last of "
            f"them, {last[:10]}, is taken for today."
        )
    many = f"{len(late):,} {'case is' if len(late) == 1 else 'cases are'} dated after today, {now[:10]}"
    return now, f"{many} (the last is {late[0][1]}, {last[:10]}): nothing is taken to be watched any longer than that."


# -- of what ---------------------------------------------------------------------------------------


@dataclass
class _Run:
    """An engine's starts told so far: the first and the last, each with when and in which case.

    ``back``: they went down somewhere, so that the count was begun anew or one of them is wrong.
    """

    first: tuple[str, str, float]
    last: tuple[str, str, float]
    back: bool = False

    @property
    def starts(self) -> float:
        return self.last[2] - self.first[2]


def trends(
    briefs: Sequence[Brief],
    backs: Sequence[Back],
    since: str,
    until: str,
    titles: Mapping[str, str] | None = None,
    days: float = LOOK_BACK,
) -> tuple[Trend, ...]:
    """Return the trends of engine types, stations and part numbers, in that order, those that stand out most first.

    Of engine types and stations the defects that came back within ``days``, or :data:`LOOK_BACK` where that is less,
    are counted, by the case that brought them back; of a part number the parts of it that came off at a repair. What is
    of one defect, on one engine with no more than so many days between, is taken together. By the calendar: a fleet
    that flies more has more; of part numbers by the engine starts as well. Not so of returns: what is told of starts
    between an engine's cases holds no gap in which a defect did not return, so that they would seem to come far too
    often. ``titles``: engine type → title.
    """
    from isolate.review.repeats import defects

    by_case = {b.case: b for b in briefs}
    days = min(days, LOOK_BACK)
    one = defects(backs, by_case, days)
    returns = [by_case[b.case] for b in backs if b.returned and b.days <= days]
    first = datetime.fromtimestamp(seconds(min((b.opened for b in briefs), default=since)), UTC)
    begin = max(since, now_text(first + timedelta(days=days)))
    fleets: dict[str, list[Brief]] = {}
    stations: dict[str, list[Brief]] = {}
    for brief in returns:
        fleets.setdefault(brief.engine, []).append(brief)
        stations.setdefault(brief.station, []).append(brief)
    found = []
    back = f"returns within {days:g} days"
    # Records that do not reach that far say nothing of engine types and stations.
    reached = briefs if seconds(until) - seconds(begin) >= SHORTEST * DAY else ()
    for engine in sorted({b.engine for b in reached}):
        mine = fleets.get(engine, [])
        title = (titles or {}).get(engine, engine)
        happened = [(b.opened, b.case) for b in mine]
        found.append(trend("fleet", engine, title, back, happened, begin, until, None, one))
    for station in sorted({b.station for b in reached}):
        mine = stations.get(station, [])
        title = station or "station not told"
        happened = [(b.opened, b.case) for b in mine]
        found.append(trend("station", station, title, back, happened, begin, until, None, one))
    found += _of_parts(briefs, _runs(briefs, since, until), since, until, one)
    order: dict[str, int] = {"fleet": 0, "station": 1, "part": 2}
    return tuple(sorted(found, key=lambda t: (order[t.about], 2.0 if t.chance is None else t.chance, t.title)))


def _of_parts(
    briefs: Sequence[Brief],
    runs: Mapping[tuple[str, ...], _Run],
    since: str,
    until: str,
    defects: Mapping[str, str],
) -> Iterable[Trend]:
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
            [(time, case) for time, case, _ in happened], since, until, _exposed(happened, mine), defects,
        )  # fmt: skip


def _engine(brief: Brief) -> tuple[str, ...]:
    return brief.aircraft.strip().casefold(), brief.position.strip().casefold(), brief.engine


def _runs(briefs: Iterable[Brief], since: str, until: str) -> dict[tuple[str, ...], _Run]:
    """Return engine → its starts from the first case in the window that tells them to the last.

    Engines of which they are told once only are left out, and those whose starts went down.
    """
    found: dict[tuple[str, ...], _Run] = {}
    inside = (b for b in briefs if b.starts is not None and since <= b.opened <= until)
    for brief in sorted(inside, key=lambda b: (b.opened, b.case)):
        told = brief.opened, brief.case, brief.starts or 0.0
        run = found.setdefault(_engine(brief), _Run(told, told))
        run.back = run.back or told[2] < run.last[2]
        run.last = told
    return {engine: run for engine, run in found.items() if run.starts > 0 and not run.back}


def _exposed(
    happened: Iterable[tuple[str, str, tuple[str, ...]]], runs: Mapping[tuple[str, ...], _Run]
) -> tuple[tuple[str, ...], float, int] | None:
    """Return what happened on engines whose starts are told, as its cases, in how many starts, on how many engines.

    ``happened``: (time, case, engine), no time before the opening of its case. An engine's first and last told case do
    not count: its exposure begins and ends with them because they happened, and with them in it would seem to happen
    far too often.
    """
    if not runs:
        return None
    cases = []
    for time, case, engine in happened:
        run = runs.get(engine)
        if run is not None and run.first[0] < time < run.last[0] and case != run.first[1]:
            cases.append(case)
    return tuple(cases), sum(run.starts for run in runs.values()), len(runs)

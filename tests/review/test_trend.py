"""How something comes: what is said where there is enough to say, and where there is not.

The figures themselves are held against outside sources in tests/published/test_trend.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.brief import Brief, brief
from isolate.case.events import now_text
from isolate.review.repeats import came_back, repeats
from isolate.review.trend import LEAST, Trend, clumping, clustered, laplace, poisson, rate, reach, trend, trends
from tests.worked import trail

BEGUN = datetime(2030, 1, 1, tzinfo=UTC)
LIGHT = brief(trail("worn-plug"))


def at(day: float) -> str:
    return now_text(BEGUN + timedelta(days=day))


def of(days: list[float], window: float = 100):  # type: ignore[no-untyped-def]
    return trend("fleet", "x", "X", "defects", [(at(d), f"c{i}") for i, d in enumerate(days)], at(0), at(window))


def test_too_few_says_so_in_place_of_a_verdict() -> None:
    few = of([90, 95, 99])
    assert (few.verdict, few.z, few.chance) == ("too few to say", None, None)
    assert few.said == "Too few to say whether it comes more often (defects: 3; 4 at least)."
    assert few.rates[0].count == 3, "how often is there all the same, with its interval"
    assert of([]).rates[0].low == 0.0 and of([]).rates[0].high > 0


def test_words_come_first() -> None:
    more, less = of([90, 95, 96, 97, 99]), of([1, 2, 3, 5, 8])
    assert more.verdict == "more often" and more.z is not None and more.z > 0
    assert more.said.startswith("Coming more often: had nothing changed, chance alone would show as much ")
    assert less.verdict == "less often" and less.said.startswith("Coming less often")
    none = of([10, 30, 50, 70, 90])
    assert none.verdict == "no trend" and none.said.startswith("No trend that stands out")
    assert "100 times in 100" in none.said


def test_what_lies_outside_the_window_is_not_counted() -> None:
    assert of([-5, 10, 20, 120]).times == (10.0, 20.0) and of([-5, 10, 20, 120]).cases == ("c1", "c2")


def test_a_rate_says_per_what_and_on_how_much() -> None:
    found = rate(10, 1500, "days")
    assert found.said == "6.7 per 1,000 days (3.2 to 12.3), 10 in 1,500 days"
    assert rate(3, 600, "starts", 2).said.endswith("3 in 600 starts, on 2 engines whose starts are told")


@pytest.mark.parametrize(
    ("times", "window"), [([], 1), ([2], 1), ([-1], 1), ([1], 0), ([1], float("inf")), ([float("nan")], 1)]
)
def test_what_is_no_window_is_refused(times: list[float], window: float) -> None:
    with pytest.raises(ValueError, match="within a window"):
        laplace(times, window)
    with pytest.raises(ValueError, match="some exposure"):
        poisson(1, 0)


@given(st.lists(st.floats(0, 100), min_size=1, max_size=30))
def test_seen_from_the_other_end_it_is_the_opposite(times: list[float]) -> None:
    z, chance = laplace(times, 100)
    back, same = laplace([100 - t for t in times], 100)
    assert back == pytest.approx(-z, abs=1e-9) and same == pytest.approx(chance, abs=1e-9)
    assert 0 <= chance <= 1


# -- of what -----------------------------------------------------------------------------------------


def made(
    number: int, day: float, station: str = "north pier", aircraft: str = "104", starts: float | None = None
) -> Brief:
    opened, closed = at(day), at(day + 0.2)
    part = {"pn-off": "HI-300", "sn-off": f"K{number}", "sn-on": "none"}
    repairs = tuple(replace(r, time=closed, part=part) for r in LIGHT.repairs)
    return replace(
        LIGHT, case=f"c{number}", opened=opened, closed=closed, last=closed, station=station, aircraft=aircraft,
        starts=starts, repairs=repairs,
    )  # fmt: skip


def test_engine_types_stations_and_part_numbers() -> None:
    # Five engines, each with a defect that came back once and late; one of them told of no station the second time.
    days = {0: (0, 50), 1: (40, 80), 2: (60, 90), 3: (70, 95), 4: (75, 99)}
    briefs = [
        made(10 * n + i, day, "" if (n, i) == (3, 1) else "north pier", aircraft=str(n))
        for n, both in days.items()
        for i, day in enumerate(both)
    ]
    found = trends(briefs, came_back(briefs), at(0), at(100), {"halden-hf-3": "Halden HF-3"})
    by = {(t.about, t.name): t for t in found}
    fleet = by["fleet", "halden-hf-3"]
    # Counted from 60 days on: before that there is too little that could come back.
    assert fleet.title == "Halden HF-3" and fleet.cases == ("c11", "c21", "c31", "c41")
    assert fleet.since == at(60) and fleet.defects == 4 and fleet.counts == "returns within 60 days"
    # By hand: S of each is 80 - 80, 90 - 80, 95 - 80 and 99 - 80; z their sum to the root of the sum of their squares.
    assert fleet.z == pytest.approx(44 / (10**2 + 15**2 + 19**2) ** 0.5, abs=1e-3)
    assert [r.unit for r in fleet.rates] == ["days"], "of returns no rate by starts is told"
    assert by["station", "north pier"].cases == ("c11", "c21", "c41")
    assert by["station", ""].title == "station not told" and len(by["station", ""].times) < LEAST
    part = by["part", "HI-300"]
    assert len(part.times) == 10 and part.since == at(0) and part.counts == "parts of this number that came off"
    assert part.defects == 5 and [t.about for t in found] == ["fleet", "station", "station", "part"]


def test_what_was_opened_beside_or_taken_up_again_is_no_return() -> None:
    first, second, third = made(0, 70), made(1, 75), made(2, 80)
    for odd, cases in (
        (first, ("c1", "c2")),
        (replace(first, closed=at(77), last=at(77)), ("c2",)),
        (replace(first, ended="handed over, not solved here"), ("c2",)),
    ):
        briefs = [made(9, 0, aircraft="230"), odd, second, third]
        (fleet,) = (t for t in trends(briefs, came_back(briefs), at(0), at(100)) if t.about == "fleet")
        assert fleet.cases == cases


def test_one_bad_engine_is_no_trend_of_the_fleet() -> None:
    days = [0, 50, 80, 90, 95, 98, 99, 99.5]
    briefs = [made(i, day) for i, day in enumerate(days)]
    (fleet,) = (t for t in trends(briefs, came_back(briefs), at(0), at(100)) if t.about == "fleet")
    assert (len(fleet.times), fleet.defects, fleet.verdict) == (6, 1, "too few to say")
    assert "(returns within 60 days: 6, of 1 defect; 4 defects at least)" in fleet.said
    assert fleet.rates[0].high - fleet.rates[0].low > 2 * (rate(6, 40, "days").high - rate(6, 40, "days").low)


def test_neither_the_first_nor_the_last_told_case_counts_in_a_rate_by_starts() -> None:
    """They are where an engine's exposure begins and ends: with them in, a rate came out far too high."""
    briefs = [made(i, day, starts=10 * day) for i, day in enumerate((0, 40, 60, 90, 100))]
    # Not counted either: an engine that tells its starts once, one that never does, and one whose count went down.
    briefs += [made(10, 30, aircraft="230", starts=7), made(11, 20, aircraft="117"), made(12, 50, aircraft="117")]
    briefs += [made(20 + i, 10 * i, aircraft="301", starts=s) for i, s in enumerate((100, 200, 20, 300))]
    found = {t.about: t for t in trends(briefs, came_back(briefs), at(0), at(101))}
    days, starts = found["part"].rates
    assert days.count == 12 and (starts.count, starts.exposure, starts.over, starts.per) == (3, 1000, 1, 100)
    assert starts.said.endswith("3 in 1,000 starts, on 1 engine whose starts are told")


def test_a_rate_by_starts_is_as_high_as_it_is() -> None:
    """Parts that come off at a known rate, one in 300 starts: the mean of what is told is that, within 6 in 100."""
    import random

    rng, count, exposure, covers = random.Random(3), 0, 0.0, 0
    for _ in range(20):
        briefs = []
        for engine in range(30):
            starts = rng.expovariate(1 / 300)
            while starts < 1460:
                number = 1000 * engine + len(briefs)
                briefs.append(made(number, starts / 4, aircraft=str(engine), starts=2000 + starts))
                starts += rng.expovariate(1 / 300)
        (part,) = (t for t in trends(briefs, came_back(briefs), at(0), at(365)) if t.about == "part")
        count, exposure = count + part.rates[1].count, exposure + part.rates[1].exposure
        covers += part.rates[1].low <= 100 / 300 <= part.rates[1].high
    # Some 1,500 of them: their count is within 5.2 in 100 of its mean in 95 of 100 seeds.
    assert 100 * count / exposure == pytest.approx(100 / 300, rel=0.06) and covers >= 17


def test_the_beginning_of_the_records_is_no_trend() -> None:
    """Where nothing changes nothing is said to: drawn with a fixed seed, as often as the level lets it."""
    import random

    rng, said = random.Random(5), 0
    for _ in range(40):
        # Ten engines, each with a defect every 30 days or so, for 300 days: what came back is steady from day 60 on.
        briefs = [
            made(1000 * engine + i, rng.uniform(0, 300), aircraft=str(100 + engine))
            for engine in range(10)
            for i in range(10)
        ]
        (fleet,) = (t for t in trends(briefs, came_back(briefs), at(0), at(301)) if t.about == "fleet")
        assert len(fleet.times) > 40
        said += fleet.verdict != "no trend"
    # 40 tries at 1 in 20: 7 or more are less likely than 1 in 200 (binomial).
    assert said < 7


@pytest.mark.parametrize("mean", [1, 2])
def test_defects_that_return_many_times_are_no_trend_either(mean: int) -> None:
    """A defect that came back comes back again: some return many times. Taken for independent, one in five
    such fleets and more seem to change."""
    import random

    rng, said, alone = random.Random(8), 0, 0
    for _ in range(40):
        briefs, begun = [], rng.expovariate(30 / 365)
        while begun < 730:
            day, aircraft = begun, str(len(briefs))
            briefs.append(made(len(briefs), day, aircraft=aircraft))
            while rng.random() < mean / (1 + mean) and (day := day + 0.3 + rng.expovariate(1 / 8)) < 730:
                briefs.append(made(len(briefs), day, aircraft=aircraft))
            begun += rng.expovariate(30 / 365)
        (fleet,) = (t for t in trends(briefs, came_back(briefs), at(0), at(730)) if t.about == "fleet")
        assert fleet.defects > 10 and fleet.verdict != "too few to say"
        said += fleet.verdict != "no trend"
        alone += laplace(fleet.times, fleet.window)[1] < 0.05
    assert said < 7 <= alone


def test_what_is_of_one_defect_is_taken_together_whatever_it_does() -> None:
    """[practice] Told again at once, or by two stations, a return says nothing more."""
    groups = [[10.0], [60.0], [70.0, 72.0], [90.0]]
    z, chance = clustered(groups, 100)
    assert clustered([g * 3 for g in groups], 100) == (pytest.approx(z), pytest.approx(chance))
    assert clustered([[100 - t for t in g] for g in groups], 100)[0] == pytest.approx(-z)
    assert clumping([1, 1, 1]) == 1 == clumping([]) and clumping([4, 1]) == pytest.approx(17 / 5 * 3 / 2)
    assert clustered([[50.0], [50.0]], 100) == (0.0, 1.0)
    with pytest.raises(ValueError, match="within a window"):
        clustered([[]], 100)


# -- one defect --------------------------------------------------------------------------------------


def one(*days: float) -> Trend:
    happened = [(at(d), f"c{i}") for i, d in enumerate(days)]
    return trend("defect", "", "this defect", "times that it came back", happened, at(0), at(9999), to_last=True)


def test_a_defect_is_followed_to_its_last_return() -> None:
    """A defect that came back no more would always come less often, were the time since then counted.

    [memory] Failure-truncated: the last time ends the window and is left out, e.g. Ascher and Feingold, Repairable
    Systems Reliability (1984)."""
    steady = one(20, 40, 60, 80, 100)
    assert (steady.until, steady.window, steady.to_last) == (at(100), 100, True)
    assert steady.times == (20, 40, 60, 80, 100) and len(steady.cases) == 5
    assert steady.z == 0 and steady.verdict == "no trend"
    assert (steady.rates[0].count, steady.rates[0].exposure) == (4, 100)
    assert "(times that it came back: 5, the last of which ends the window and is not counted)" in steady.said
    few = one(20, 40, 60, 80)
    assert few.verdict == "too few to say" and few.said.endswith("is not counted; 5 at least).")
    assert one(20).rates == () and one().said.endswith("(times that it came back: 0; 5 at least).")
    assert one(60, 80, 90, 95, 98, 99).verdict == "more often" and one(1, 2, 4, 8, 30, 99).verdict == "less often"


def test_a_defect_that_does_not_change_is_not_said_to() -> None:
    import random

    rng, said, judged = random.Random(2), 0, 0
    for number in range(60):
        # A defect every 40 days or so on one engine, for two years; after more than 60 days it is another one.
        days, day = [], rng.expovariate(1 / 40)
        while day < 730:
            days.append(day)
            day += 0.2 + rng.expovariate(1 / 40)
        briefs = [made(1000 * number + i, d) for i, d in enumerate(days)]
        for group in repeats(Shown(briefs), 60, now=at(730)).found:
            assert group.trend is not None and group.trend.until == group.visits[-1].opened
            judged += group.trend.chance is not None
            said += group.trend.verdict in ("more often", "less often")
    # Before, one in four and more of them were said to come less often.
    assert judged > 60 and said <= judged * 0.05


class Shown:
    """Cases in brief with no trails behind them."""

    def __init__(self, briefs: Sequence[Brief]) -> None:
        self.kept = {b.case: b for b in briefs}

    def briefs(self, **_: str) -> list[Brief]:
        return list(self.kept.values())

    def notes(self) -> list[tuple[str, str]]:
        return []

    def events(self, case: str) -> Any:
        raise ValueError("it is not here")

    def cases(self, **_: str) -> Any: ...
    def faults(self, case: str) -> Any: ...


# -- how far the cases reach -------------------------------------------------------------------------


def test_a_case_dated_long_after_now_stretches_no_window() -> None:
    briefs = [made(i, 10 * i, aircraft=str(i % 3)) for i in range(10)]
    odd = made(99, 40_000, aircraft="230")
    last, note = reach([*briefs, odd], at(200))
    assert last == at(200) and note.startswith("1 case is dated after today, 2030-07-20 (the last is c99, 2139-07-")
    found = repeats(Shown([*briefs, odd]), now=at(200))
    assert found.until == at(200) and note in found.notes
    assert reach(briefs, at(200)) == (briefs[-1].last, "") and repeats(Shown(briefs), now=at(200)).until == at(200)
    # Where most of them lie after it, the clock here is doubted.
    last, note = reach(briefs, at(20))
    assert last == briefs[-1].last and note.startswith("Of 10 cases 8 are dated after today, 2030-01-21 by the clock")
    assert reach([], at(20)) == ("", "") and reach(briefs, "") == (briefs[-1].last, "")

"""How something comes: what is said where there is enough to say, and where there is not.

The figures themselves are held against outside sources in tests/published/test_trend.py.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.brief import Brief, brief
from isolate.case.events import now_text
from isolate.review.repeats import came_back
from isolate.review.trend import LEAST, laplace, poisson, rate, trend, trends
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
    days = [0, 50, 80, 90, 95, 98, 99, 99.5]
    briefs = [made(i, day, "" if i == 5 else "north pier", starts=10 * day) for i, day in enumerate(days)]
    briefs.append(made(9, 60, aircraft="230"))
    found = trends(briefs, came_back(briefs), at(0), at(100), {"halden-hf-3": "Halden HF-3"})
    by = {(t.about, t.name): t for t in found}
    fleet = by["fleet", "halden-hf-3"]
    # Counted from 60 days on: before that there is too little that could come back.
    assert fleet.title == "Halden HF-3" and fleet.cases == ("c2", "c3", "c4", "c5", "c6", "c7")
    assert fleet.since == at(60) and fleet.verdict == "more often"
    starts = fleet.rates[1]
    # 104 alone tells its starts: 800 at the first case that is counted, 995 at the last.
    assert (starts.count, starts.exposure, starts.over, starts.per) == (6, 195, 1, 100)
    assert by["station", "north pier"].cases == ("c2", "c3", "c4", "c6", "c7")
    assert by["station", ""].title == "station not told" and len(by["station", ""].times) < LEAST
    part = by["part", "HI-300"]
    assert len(part.times) == 9 and part.since == at(0) and part.counts == "parts of this number that came off"
    assert [t.about for t in found] == ["fleet", "station", "station", "part"]


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

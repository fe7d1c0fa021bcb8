"""The exciter's calculation: counts, rates and energy as told, judged and refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc import exciter
from isolate.calc.exciter import ANY, BETWEEN, CALCULATION, FROM, counted, energy, rate_at
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found, Unfit


def work(**told: str) -> Found:
    return CALCULATION.work(read(CALCULATION, {k.replace("_", "-"): v for k, v in told.items()}))


def figures(found: Found) -> dict[str, tuple[float, float, float]]:
    return {f.name: (f.value, f.low, f.high) for f in found.figures}


def verdicts(found: Found) -> dict[str, str]:
    return {what: one.verdict for what, one in found.judged.items()}


def test_energy_is_half_of_c_v_squared() -> None:
    assert energy(2e-6, 2500.0) == pytest.approx(6.25)
    value, low, high = figures(work(capacitance="2.0 µF ± 5 %", charge="2500 V"))["energy"]
    assert value == pytest.approx(6.25)
    # An even spread of 5 % leaves 95 % of it within 4.75 %.
    assert (low, high) == pytest.approx((6.25 * 0.9525, 6.25 * 1.0475), rel=2e-3)


def test_energy_a_second_is_energy_times_the_rate() -> None:
    told = figures(work(capacitance="2.0 µF", charge="2500 V", count="40", seconds="20 s"))
    assert told["power"][0] == pytest.approx(6.25 * 2)
    assert told["power"][1] < told["power"][0] < told["power"][2]
    expected = work(capacitance="2.0 µF", charge="2500 V", rated_rate="2 /s", rated_supply="28 V", supply="24.0 V")
    assert figures(expected)["power"][0] == pytest.approx(6.25 * figures(expected)["expected"][0], rel=1e-6)
    assert any("at the rate expected" in line for line in expected.lines)


def test_that_it_can_kill_is_said() -> None:
    warned = " ".join(work(capacitance="2.0 µF", charge="2500 V").warnings)
    assert "can kill" in warned and "discharge wait" in warned and "never less than a minute" in warned


def test_a_rate_between_the_supply_and_its_square() -> None:
    assert rate_at(2.0, 14.0, 28.0, 1) == pytest.approx(1.0)
    assert rate_at(2.0, 14.0, 28.0, 2) == pytest.approx(0.5)
    value, low, high = figures(work(rated_rate="2 /s", rated_supply="28 V", supply="14.0 V ± 0 V"))["expected"]
    assert 0.5 < low < value < high < 1.0
    assert value == pytest.approx(2 * 0.5**1.5)
    assert any(
        "many exciters do not fire" in w for w in work(rated_rate="2/s", rated_supply="28V", supply="14V").warnings
    )


@pytest.mark.parametrize(("watch", "low", "high"), [(ANY, 19, 21), (FROM, 20, 21), (BETWEEN, 20, 20)])
def test_a_count_is_a_regular_train(watch: str, low: int, high: int) -> None:
    found = counted(20, 10.0, 0.0, watch)
    assert low / 10 <= found.low <= found.value <= found.high <= high / 10
    assert found.draws.min() >= low / 10 - 1e-12 and found.draws.max() <= high / 10 + 1e-12


@given(st.integers(0, 200), st.floats(1, 60), st.floats(0, 0.5))
@settings(max_examples=40, deadline=None)
def test_a_longer_count_at_the_same_rate_is_surer(count: int, seconds: float, off: float) -> None:
    short, long = counted(count, seconds, off), counted(2 * count, 2 * seconds, off)
    assert long.high - long.low <= (short.high - short.low) * 1.01
    assert short.low <= short.value <= short.high


def test_a_hand_on_a_watch_is_no_surer_than_a_hand() -> None:
    def width(seconds: str) -> float:
        _, low, high = figures(work(count="20", seconds=seconds, watch=BETWEEN))["rate"]
        return high - low

    assert width("20.00 s") == pytest.approx(width("20.0 s ± 0.3 s"), rel=0.02)
    assert width("20.00 s ± 0.01 s") < width("20.00 s") / 10


GOOD = {
    "count": "40",
    "seconds": "20 s",
    "missed": "0",
    "other_count": "40",
    "other_seconds": "20 s",
    "slowest": "1 /s",
}


@pytest.mark.parametrize(
    ("changed", "wanted"),
    [
        ({}, {"": "within", "beat": "even", "outputs": "alike"}),
        ({"slowest": "2.5 /s"}, {"": "slow", "beat": "slow", "outputs": "both-poor"}),
        # Faster than the data allow is neither even nor alike "within your data".
        ({"fastest": "1.5 /s"}, {"": "fast", "beat": CANNOT_TELL, "outputs": CANNOT_TELL}),
        ({"slowest": "2.02 /s"}, {"": CANNOT_TELL, "beat": CANNOT_TELL, "outputs": CANNOT_TELL}),
        ({"count": "24"}, {"": "within", "beat": "slow", "outputs": "one-poor"}),
        ({"other_count": "24"}, {"": "within", "beat": "even", "outputs": "one-poor"}),
        ({"count": "32", "missed": "8"}, {"": "within", "beat": "gaps", "outputs": "one-poor"}),
        ({"count": "39", "missed": "1"}, {"": "within", "beat": CANNOT_TELL, "outputs": "alike"}),
        ({"other_count": "30", "other_missed": "10"}, {"": "within", "beat": "even", "outputs": "one-poor"}),
        ({"count": "0"}, {"": "none", "beat": "none", "outputs": "one-poor"}),
        ({"other_count": "0"}, {"": "within", "beat": "even", "outputs": "one-poor"}),
        ({"count": "0", "other_count": "0"}, {"": "none", "beat": "none", "outputs": "both-poor"}),
        ({"missed": ""}, {"": "within", "beat": CANNOT_TELL, "outputs": "alike"}),
        ({"count": "24", "missed": ""}, {"": "within", "beat": CANNOT_TELL, "outputs": "one-poor"}),
        ({"slowest": ""}, {"beat": "even", "outputs": CANNOT_TELL}),
        ({"other_count": "", "other_seconds": ""}, {"": "within", "beat": "even"}),
        ({"other_count": "", "other_seconds": "", "slowest": ""}, {}),
        ({"seconds": "5 s", "count": "10", "other_seconds": "5 s", "other_count": "10"}, {"": "within"}),
    ],
)
def test_what_a_count_comes_to(changed: dict[str, str], wanted: dict[str, str]) -> None:
    found = verdicts(work(**{**GOOD, **changed}))
    assert {k: found.get(k) for k in wanted} == wanted
    assert wanted or not found
    for what, verdict in found.items():
        assert verdict == CANNOT_TELL or verdict in CALCULATION.judges[what]


def test_too_short_a_count_cannot_tell_two_channels_apart() -> None:
    found = work(**{**GOOD, "seconds": "4 s", "count": "8", "other_seconds": "4 s", "other_count": "8"})
    assert found.judged["outputs"].verdict == CANNOT_TELL and "snap-to-snap" in found.judged["outputs"].why
    surer = work(
        **{**GOOD, "seconds": "4.0 s ± 0.1 s", "count": "8", "other_seconds": "4.0 s ± 0.1 s", "other_count": "8"},
        watch=BETWEEN,
    )
    assert surer.judged["outputs"].verdict == "alike"


@pytest.mark.parametrize(
    ("seconds", "slowest", "verdict"),
    [("10 s", "", "none"), ("1.5 s", "", CANNOT_TELL), ("1.5 s", "1 /s", "none"), ("3 s", "0.2 /s", CANNOT_TELL)],
)
def test_silence_has_to_last_longer_than_the_slowest_beat(seconds: str, slowest: str, verdict: str) -> None:
    found = work(count="0", seconds=seconds, slowest=slowest)
    assert verdicts(found) == {"": verdict, "beat": verdict}


def test_the_snaps_that_start_and_stop_a_watch_are_said_which_of_them_counts() -> None:
    """By hand: started on a snap at 0 s, not counted, and stopped on the 20th after it at 10 s, there are 20 beats."""
    asked = CALCULATION.input("watch").asks
    assert "starts it is not counted, one that stops it is" in asked
    assert counted(20, 10.0, 0.0, BETWEEN).value == pytest.approx(2.0)


def test_the_example_comes_to_a_verdict() -> None:
    told = {i.name: i.hint for i in CALCULATION.inputs if i.name in CALCULATION.shows}
    assert work(**told).judged[""].verdict == "within"


def test_one_spark_is_one() -> None:
    assert "Pace: 1 spark a second" in work(count="20", seconds="20 s").lines[0]


def test_how_far_apart_is_the_users() -> None:
    told = {**GOOD, "count": "34"}
    assert work(**told, apart="30 %").judged["beat"].verdict == "even"
    assert work(**told, apart="5 %").judged["beat"].verdict == "slow"


def test_a_sagging_supply_is_put_right_first() -> None:
    slow = {
        "count": "26",
        "seconds": "20 s",
        "missed": "0",
        "slowest": "1.6 /s",
        "rated_rate": "2 /s",
        "rated_supply": "28 V",
    }
    assert work(**slow, supply="28.0 V").judged[""].verdict == "slow"
    found = work(**slow, supply="21.5 V")
    assert verdicts(found) == {"": CANNOT_TELL, "beat": CANNOT_TELL}
    assert "Put the supply right" in found.judged[""].why
    assert any("As expected" in line or "may be as expected" in line for line in found.lines)
    # Slower than even that supply explains is slow.
    assert work(**{**slow, "count": "10"}, supply="24.0 V").judged[""].verdict == "slow"


@pytest.mark.parametrize(
    ("told", "says", "of"),
    [
        ({}, "give capacitance and voltage", ""),
        ({"count": "20"}, "over what time", "seconds"),
        ({"seconds": "20 s"}, "no use without count", "count"),
        ({"count": "20", "seconds": "0 s"}, "takes time", "seconds"),
        ({"count": "2", "seconds": "0.2 s ± 0.2 s"}, "no time to count in", "seconds"),
        ({"count": "20", "seconds": "20 ms"}, "no rate that an exciter has", "count"),
        ({"count": "0", "seconds": "20 s", "missed": "3"}, "no beat", "missed"),
        ({"count": "24", "seconds": "24 s", "missed": "200"}, "leaves no beat", "missed"),
        ({"count": "20", "seconds": "20 s", "slowest": "0 /s"}, "no limit", "slowest"),
        ({"other_count": "20", "other_seconds": "20 s"}, "set beside a count", "count"),
        ({"count": "20", "seconds": "20 s", "other_count": "20"}, "over what time", "other-seconds"),
        ({"count": "-3", "seconds": "20 s"}, "count", "count"),
        ({"count": "2.5", "seconds": "20 s"}, "count", "count"),
        ({"count": "20", "seconds": "20 s", "slowest": "3 /s", "fastest": "1 /s"}, "wrong way round", "slowest"),
        ({"capacitance": "2 µF"}, "charge has to be told", "charge"),
        ({"charge": "2500 V"}, "capacitance has to be told", "capacitance"),
        ({"capacitance": "0 µF", "charge": "2500 V"}, "stores nothing", "capacitance"),
        ({"capacitance": "2 µF", "charge": "-2500 V"}, "stores nothing", "charge"),
        ({"capacitance": "2000 µF", "charge": "2500 V"}, "which no exciter stores", "capacitance"),
        ({"rated_rate": "2 /s", "supply": "28 V"}, "at which supply", "rated-supply"),
        ({"rated_rate": "2 /s", "rated_supply": "28 V"}, "what the supply was", "supply"),
        ({"rated_rate": "2 /s", "rated_supply": "28 V", "supply": "115 V"}, "not the same supply", "supply"),
        ({"rated_rate": "0 /s", "rated_supply": "28 V", "supply": "28 V"}, "more than nothing", "rated-rate"),
    ],
)
def test_what_cannot_be_worked_with(told: dict[str, str], says: str, of: str) -> None:
    with pytest.raises(Unfit) as caught:
        work(**told)
    assert says in str(caught.value) and caught.value.of == of


def test_odd_energies_are_looked_at_again() -> None:
    assert any("look at the units" in w for w in work(capacitance="2.0 nF", charge="2500 V").warnings)
    assert not any("look at the units" in w for w in work(capacitance="2.0 µF", charge="2500 V").warnings)


@pytest.mark.parametrize("width", [40, 78, 119])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_picture_is_as_wide_as_it_may_be(width: int, ascii_only: bool) -> None:
    assert CALCULATION.draw is not None
    for told in (GOOD, {**GOOD, "count": "0"}, {**GOOD, "fastest": "50 /s"}, {"count": "1", "seconds": "20 s"}):
        drawn = CALCULATION.draw(work(**told), width, ascii_only)
        assert drawn and max(map(len, drawn)) <= width
        assert not ascii_only or all(line.isascii() for line in drawn)
    assert CALCULATION.draw(work(capacitance="2 µF", charge="2500 V"), width, ascii_only) == ()


def test_counts_hold_the_rate_as_often_as_said() -> None:
    """A miniature of tests/bench/exciter_coverage.py: trains of a random rate and phase, by numpy, seed fixed."""
    rng = np.random.default_rng(8)
    for watch in (ANY, FROM):
        held = 0
        for _ in range(400):
            rate, watched = rng.uniform(0.5, 4), 12.0 + rng.uniform(-0.3, 0.3)
            count = int(rate * watched + (rng.random() if watch == ANY else 0))
            found = counted(count, 12.0, 0.3, watch)
            held += found.low <= rate <= found.high
        assert 368 <= held <= 392, "380 are to be expected, give or take 9"
    assert exciter.DRAWS >= 10_000


def test_a_pace_with_half_of_its_snaps_missing_is_not_within_the_data() -> None:
    """10 heard of 20 in 20 s: the beat is 1 a second, and half a second came where 0.8 are asked for."""
    told = {"count": "10", "missed": "10", "seconds": "20 s", "slowest": "0.8 /s"}
    found = CALCULATION.work(read(CALCULATION, told))
    assert {k: v.verdict for k, v in found.judged.items()} == {"": CANNOT_TELL, "beat": "gaps"}
    assert "only 0.46 to 0.54" in found.judged[""].why
    few = CALCULATION.work(read(CALCULATION, told | {"count": "19", "missed": "1"}))
    assert few.judged[""].verdict == "within"


def test_energy_a_second_at_the_rate_expected_is_as_sure_as_what_it_comes_from() -> None:
    """With capacitor and voltage exact it is the rate's interval and no narrower: by hand 4 J times its ends."""
    told = {"capacitance": "2 µF ± 0", "charge": "2000 V ± 0", "rated-rate": "2 /s", "rated-supply": "28 V"}
    found = CALCULATION.work(read(CALCULATION, told | {"supply": "24 V ± 0"}))
    figures = {f.name: f for f in found.figures}
    rate, power = figures["expected"], figures["power"]
    assert (power.low, power.high) == pytest.approx((4 * rate.low, 4 * rate.high), rel=1e-3)

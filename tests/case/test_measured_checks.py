"""What the shipped steps ask of a reading, and that no reading answers more than it shows.

Limits are made up here; none is anybody's. That one reading at rest shows no bond that holds still, that volts at rest
clear no battery, and that a count says nothing of loudness, is common practice [practice] and stands in the steps.
"""

from __future__ import annotations

from functools import cache

import pytest

from isolate.calc import calculation
from isolate.case.measured import Reading, take
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import Reads

WHERE = "the data's task 4"
BY_LIMIT = {"volts": ("",), "lead": ("",), "insulation": ("",), "feeder": ("",), "exciter": ("", "beat", "outputs")}
"""Calculations whose verdicts hang on a limit → which of their verdicts."""


@cache
def engine(name: str) -> Fitted:
    return fit(load().knowledge, name)


def taken(fitted: Fitted, check: str, **typed: str) -> Reading:
    (reads,) = fitted.check(check).entry.calculations(fitted.profile.features)
    return take(reads, {name.replace("_", "-"): told for name, told in typed.items()}, WHERE)


def test_a_step_that_a_limit_answers_asks_for_the_limit() -> None:
    """A step that names what it asks is asked for nothing else, so a limit that it leaves out is never told."""

    def asked(one: Reads) -> bool:
        limits = [i for i in calculation(one.calc).inputs if i.limit]
        return not one.asks or any(i.default is None or i.name in one.asks for i in limits)

    found = [(name, one) for name, check in load().knowledge.checks.items() for one in check.reads if one.gives]
    by_limit = [(name, one) for name, one in found if one.judge in BY_LIMIT.get(one.calc, ())]
    assert len(by_limit) >= 9
    assert [name for name, one in by_limit if not asked(one)] == []
    assert not asked(Reads(calc="lead", asks=["zero"], gives={"within": "tight"})), "shown one that does not"


@pytest.mark.parametrize(
    ("name", "check"),
    [("halden-hf-3", "bond-measure/A"), ("halden-hf-3", "ground-measure"), ("orrin-t-9", "box-bond-measure")],
)
@pytest.mark.parametrize(
    ("reading", "outcome"),
    [("2.1 mΩ", ""), ("2.1 mΩ; 2.2 mΩ", "within"), ("2.1 mΩ; 40 mΩ", "above"), ("9.0 mΩ", "above"), ("OL", "above")],
)
def test_a_bond_is_within_where_it_holds_still_as_it_is_moved(
    name: str, check: str, reading: str, outcome: str
) -> None:
    assert taken(engine(name), check, reading=reading, zero="0 mΩ", most="5 mΩ").outcome == outcome


@pytest.mark.parametrize(
    ("name", "volts", "loaded", "outcome"),
    [
        ("orrin-t-9", {"volts": "27.9 V"}, "", ""),
        ("orrin-t-9", {"volts": "27.9 V"}, "26.0 V", "right"),
        ("orrin-t-9", {"volts": "27.9 V"}, "19.0 V", "low"),
        ("halden-hf-3", {"volts": "115.2 V"}, "", "right"),
    ],
)
def test_a_battery_is_right_under_load_alone(name: str, volts: dict[str, str], loaded: str, outcome: str) -> None:
    fitted = engine(name)
    (reads,) = (r for r in fitted.check("supply-read").entry.calculations(fitted.profile.features) if r.calc == "volts")
    least = "24 V" if name == "orrin-t-9" else "108 V"
    assert take(reads, {**volts, "loaded": loaded, "least": least}, WHERE).outcome == outcome


def test_good_volts_do_not_say_that_the_standby_source_takes_over() -> None:
    fitted = engine("halden-hf-3")
    assert taken(fitted, "standby-read", volts="115 V", least="108 V").outcome == ""
    assert taken(fitted, "standby-read", volts="90 V", least="108 V").outcome == "low"
    assert taken(fitted, "standby-read", volts="0.1 V", least="108 V").outcome == "absent"


def test_a_like_count_does_not_say_that_both_are_loud() -> None:
    fitted, told = engine("orrin-t-9"), {"seconds": "20 s", "missed": "0", "other_seconds": "20 s", "slowest": "1 /s"}
    alike = taken(fitted, "outputs-compare", count="40", other_count="40", **told)
    assert alike.judged is not None and alike.judged.verdict == "alike" and alike.outcome == ""
    assert taken(fitted, "outputs-compare", count="20", other_count="40", **told).outcome == "one-poor"


def test_an_even_recording_does_not_say_how_loud_or_which_plug() -> None:
    (reads,) = engine("halden-hf-3").check("spark-test/A").entry.reads
    assert reads.calc == "sparks" and reads.gives["even"] == "nothing"


@pytest.mark.parametrize(
    ("check", "off", "outcome"),
    [
        ("selector-volts/1", "28.0 V", ""),
        ("selector-volts/1", "22.0 V", "unsure"),
        ("selector-volts/1", "0.1 V", "absent"),
        ("box-input-volts", "28.0 V", ""),
        ("box-input-volts", "22.0 V", "low"),
        ("box-input-volts", "0.1 V", ""),
    ],
)
def test_one_terminal_read_is_one_terminal(check: str, off: str, outcome: str) -> None:
    assert taken(engine("orrin-t-9"), check, off_load=off, bus_off_load="28.0 V").outcome == outcome


def test_the_levers_volts_are_kept_beside_the_figure_of_the_data() -> None:
    reading = taken(engine("halden-hf-3"), "start-lever-volts/A", volts="27.9 V", least="24 V")
    assert reading.outcome == "" and reading.judged is not None

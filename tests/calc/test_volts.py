"""A supply beside its limits. The limits are made up for the test; none is anybody's."""

from __future__ import annotations

import numpy as np
import pytest

from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Unfit
from isolate.calc.volts import CALCULATION


def verdict(**typed: str) -> str:
    return CALCULATION.work(read(CALCULATION, typed)).judged[""].verdict


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"volts": "28.1 V", "loaded": "27.4 V", "least": "24 V"}, "right"),
        # A tired battery reads well until it works: at rest alone it is not cleared.
        ({"volts": "28.1 V", "least": "24 V"}, "at-rest"),
        ({"volts": "28.1 V", "loaded": "22.0 V", "least": "24 V"}, "low"),
        # It is there at rest, so it is not absent.
        ({"volts": "28.1 V", "loaded": "0.3 V", "least": "24 V"}, "low"),
        ({"volts": "0.00 V", "least": "24 V"}, "absent"),
        ({"volts": "31.0 V", "least": "24 V", "most": "29 V"}, "high"),
        ({"volts": "24 V", "least": "24 V"}, CANNOT_TELL),
        ({"volts": "24.1 V", "least": "24 V"}, "at-rest"),
        # Low under load is worse news than too near to tell at rest.
        ({"volts": "24 V", "loaded": "20.0 V", "least": "24 V"}, "low"),
    ],
)
def test_the_worst_reading_counts(typed: dict[str, str], said: str) -> None:
    assert verdict(**typed) == said


def test_nothing_drew_on_it_is_said() -> None:
    assert CALCULATION.work(read(CALCULATION, {"volts": "28.1 V", "least": "24 V"})).warnings
    loaded = {"volts": "28.1 V", "loaded": "27.4 V", "least": "24 V"}
    assert not CALCULATION.work(read(CALCULATION, loaded)).warnings


def test_the_meters_own_error_is_asked_for_where_it_was_not_told() -> None:
    def asked(volts: str) -> bool:
        return any("±" in line for line in CALCULATION.work(read(CALCULATION, {"volts": volts, "least": "24 V"})).lines)

    assert asked("28.1 V")
    assert not asked("28.1 V ± 1 %")


def test_a_reading_within_the_same_error_is_no_rise_under_load() -> None:
    assert verdict(volts="28.1 V", loaded="28.1 V", least="24 V") == "right"


@pytest.mark.parametrize(
    ("typed", "about"),
    [
        ({"volts": "-28 V", "least": "24 V"}, "volts"),
        ({"volts": "28 V", "loaded": "-1 V", "least": "24 V"}, "loaded"),
        ({"volts": "26 V", "loaded": "28 V", "least": "24 V"}, "loaded"),
        ({"volts": "115 V", "least": "24 V"}, "volts"),
        ({"volts": "28 V", "least": "0 V"}, "least"),
        ({"volts": "28 V", "least": "29 V", "most": "24 V"}, "most"),
        ({"volts": "28", "least": "24 V"}, "volts"),
        ({"volts": "28 V"}, "least"),
    ],
)
def test_what_cannot_be_is_refused_by_name(typed: dict[str, str], about: str) -> None:
    with pytest.raises(Unfit) as refused:
        CALCULATION.work(read(CALCULATION, typed))
    assert refused.value.of == about


def test_intervals_cover_as_often_as_they_say() -> None:
    """95 of 100: readings drawn evenly within their error, as JCGM 100:2008, 4.3.7 takes a digit that is cut off."""
    chance = np.random.default_rng(7)
    held = {"at-rest": 0, "sag": 0}
    for _ in range(1000):
        rest, loaded = chance.uniform(26, 29), chance.uniform(24, 26)
        seen = [round(v + chance.uniform(-0.2, 0.2), 6) for v in (rest, loaded)]
        typed = {"volts": f"{seen[0]} V ± 0.2", "loaded": f"{seen[1]} V ± 0.2", "least": "20 V"}
        figures = {f.name: f for f in CALCULATION.work(read(CALCULATION, typed)).figures}
        for name, truth in (("at-rest", rest), ("sag", rest - loaded)):
            held[name] += figures[name].low <= truth <= figures[name].high
    # Binomial: 1,000 at .95 lie within .93 and .97 but for three in a thousand.
    assert all(930 <= count <= 970 for count in held.values()), held

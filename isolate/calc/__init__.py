"""Calculations: readings go in, a result with its uncertainty comes out. One small pure module each."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from isolate.calc.shape import Calculation

TITLES = {
    "torque": "what to set a torque wrench to with an extension or crowfoot, and back",
    "preload": "what a thread compound does to the preload that a torque gives",
    "spacer": "which spacers bring a plug to its immersion, and the chance of being outside",
    "volts": "a supply's volts, at rest and under load, beside what your data allows",
    "feeder": "voltage drop of a feed: expected, allowed, and what readings with and without load say",
    "lead": "a conductor's resistance, corrected to temperature, beside its limit",
    "insulation": "insulation resistance, corrected for temperature and humidity, beside its limit",
    "exciter": "stored energy, spark rate and energy a second against supply",
    "gap": "breakdown voltage of a gap against pressure: on the bench and in the engine",
    "life": "how long plugs last, from removals: chance of a misfire and the cheapest interval",
    "sparks": "the discharges in a recording of one channel's spark test, counted",
    "start": "a recorded start: speed at fuel on, light-off, hung or hot, and what it says for or against each zone",
}
"""Calculation → what it is for, in a line. Each is a module here that holds a ``CALCULATION``."""

CALLED = {
    "torque": "Torque with an extension or crowfoot",
    "preload": "What a thread compound does to the preload",
    "spacer": "Immersion and spacers",
    "volts": "Volts of a supply",
    "feeder": "Voltage drop of a feed",
    "lead": "Resistance of a conductor",
    "insulation": "Insulation resistance",
    "exciter": "Snaps counted by ear and watch",
    "gap": "Breakdown of a gap",
    "life": "Age of a plug",
    "sparks": "A recording of the spark test",
    "start": "A recorded start",
}
"""What a reading is called at a step, by its calculation and by what somebody has at hand there."""


def calculation(name: str) -> Calculation:
    """Return a calculation by name; its module is loaded now. Raises KeyError."""
    if name not in TITLES:
        raise KeyError(name)
    found: Calculation = import_module(f"isolate.calc.{name}").CALCULATION
    return found

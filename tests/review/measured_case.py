"""A case with a reading of every calculation that a step goes through, two of them from files, and ways to forge it.

What is typed are the examples that each calculation shows; clip and log are made by the generators of ``tests/calc``.
"""

from __future__ import annotations

import copy
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from isolate.calc import calculation
from isolate.case import measured
from isolate.case.case import Intake, Person
from isolate.case.chase import Chase
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.reasoning.starts import Start
from tests.bench.tampering import reseal
from tests.calc import clips, recorded
from tests.worked import shipped_kit

NOTED = (
    ("replace-igniter/A", "torque", ""),
    ("immersion-measure/A", "spacer", ""),
    ("feeder-load/A", "feeder", ""),
    ("feeder-volts/A", "feeder", "unloaded"),
    ("lead-continuity/A", "lead", ""),
    ("lead-wiggle/A", "lead", "movement"),
    ("lead-insulation/A", "insulation", ""),
    ("spark-count/A", "exciter", "beat"),
    ("plug-age-read/A", "life", ""),
    ("supply-read", "volts", ""),
)
"""Step, calculation and verdict of what is noted."""


@cache
def folder() -> Path:
    """A folder with a clip of channel A firing, a log of a start that did not light and one of a start that did."""
    made = Path(tempfile.mkdtemp(prefix="isolate-measured-"))
    chance = np.random.default_rng(8)
    beat = clips.beats(12.0, 0.5, chance, start=2.0, stop=10.0)
    clip = clips.clip(beat, 15.0, "white", 12.0, chance, rate=16_000)
    (made / "clip.wav").write_bytes(clips.wav(clip.samples, 16_000))
    for name, light in (("start.csv", None), ("good.csv", 29.0)):
        run = recorded.Run(light_s=light, cut_s=50.0 if light is None else None)
        recorded.written(recorded.recorded(run, np.random.default_rng(9)), made / name, ch="B")
    return made


def taken(step: str, calc: str, judge: str = "", **typed: Any) -> measured.Reading:
    """A reading at a step; none typed: the example that the calculation shows."""
    fitted = shipped_kit().fitted
    fit = fitted.checks.get(step) or fitted.repairs[step]
    reads = next(one for one in fit.entry.reads if (one.calc, one.judge) == (calc, judge))
    one = calculation(calc)
    shown = [i for i in one.inputs if i.default is None or i.name in one.shows]
    told = typed or {i.name: i.hint or i.choices[0] for i in shown}
    return measured.take(reads, told, "task 4")


@cache
def case() -> tuple[Event, ...]:
    """A reading of each calculation noted at a step, then a recorded start that answers several checks."""
    told = Intake(
        aircraft="117", position="1", engine="halden-hf-3", complaint="no-light-off", place="hangar",
        people=(Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal")),
        starts=(Start("B", False), Start("A", True)),
    )  # fmt: skip
    clock = Clock()
    chase = Chase.begin(shipped_kit(), Memory(), "every", told, clock)
    for step, calc, judge in NOTED:
        clock.pass_minutes(1)
        reading = taken(step, calc, judge)
        chase.note(measured.note_of(reading), step, measured.body(reading))
    heard = taken("spark-count/A", "sparks", clip=str(folder() / "clip.wav"), **{"with-selection": "yes"})
    chase.note(measured.note_of(heard), "spark-count/A", measured.body(heard))
    chase.accept("check", "recorded-start-read")
    clock.pass_minutes(4)
    start = taken("recorded-start-read", "start", log=str(folder() / "start.csv"), good=[str(folder() / "good.csv")],
                  channel="B")  # fmt: skip
    also = chase.also(start, "recorded-start-read", "B")
    chase.answer(start.outcome or None, reading=measured.body(start))
    chase.record([(check.key, one.outcome, measured.body(one)) for check, one in also])
    clock.pass_minutes(3)
    chase.accept("check", "standby-read")
    low = taken("standby-read", "volts", volts="90.0 V", least="108 V")
    chase.answer("low", reading=measured.body(low))
    return chase.log.events("every")


Place = tuple[int, tuple[str | int, ...]]
"""The seq of an event, and the way to a value in it; ("time",) is its instant."""


def places(events: Sequence[Event]) -> list[Place]:
    """Return every single value of every event that has a reading, and its instant."""
    found: list[Place] = []
    for event in events:
        if "reading" in event.body:
            found += [(event.seq, ("time",))]
            found += [(event.seq, ("body", *way)) for way in _ways(event.body)]
    return found


def _ways(value: Any) -> Iterator[tuple[str | int, ...]]:
    if isinstance(value, dict | list) and value:
        for key in list(value) if isinstance(value, dict) else range(len(value)):
            yield from ((key, *way) for way in _ways(value[key]))  # type: ignore[arg-type, misc]
    else:
        yield ()


def value(events: Sequence[Event], place: Place) -> Any:
    """Return what stands at a place."""
    seq, (first, *way) = place
    found: Any = events[seq - 1].time if first == "time" else events[seq - 1].body
    for key in way:
        found = found[key]
    return found


def forged(events: Sequence[Event], place: Place, new: Any) -> list[Event]:
    """Return the events with another value at a place, and all seals made anew."""
    seq, (first, *way) = place
    had = list(events)
    if first == "time":
        had[seq - 1] = replace(had[seq - 1], time=new)
    else:
        body = copy.deepcopy(dict(had[seq - 1].body))
        holder: Any = body
        for key in way[:-1]:
            holder = holder[key]
        holder[way[-1]] = new
        had[seq - 1] = replace(had[seq - 1], body=body)
    return reseal(had)

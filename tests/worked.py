"""Cases worked to their end on simulated aircraft of the invented world, for tests of what is done with cases.

The trails in ``tests/trails`` were made with this and kept, so that trails of an older format stay readable: see
``tests/trails/README`` for what each is. Everything in them is invented. The knowledge that they were worked with is
kept beside them, as a station keeps it: the shipped one goes on, and a trail replays with its own.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from isolate.case.archive import unpack
from isolate.case.case import Intake
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.parts import finding_event
from isolate.case.play import Clock, play
from isolate.case.store import read_case
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import fit
from isolate.kb.load import Loaded, load
from isolate.kb.model import Ask
from isolate.review.versions import Versions

TRAILS = Path(__file__).parent / "trails"
PEOPLE = (
    {"name": "the technician", "may": ["licensed", "motoring", "engine-run"]},
    {"name": "the second pair of eyes", "may": ["licensed"]},
    {"name": "the headset", "may": []},
)


class Worked(Aircraft):
    """An aircraft whose parts have numbers. ``numbers``: repair → what is known of the parts that came off and on."""

    numbers: Mapping[str, Mapping[str, Any]] = {}

    def part(self, repair: str) -> Mapping[str, Any]:
        return self.numbers.get(repair, {})

    def fact(self, ask: Ask, caution: str) -> Any:
        return "T-17" if ask.kind == "tag" else super().fact(ask, caution)


def told(aircraft: str = "104", position: str = "2", engine: str = "halden-hf-3", **more: Any) -> Intake:
    """Return an intake with people, at the hangar; ``more``: its other fields as a JSON object has them."""
    begun = {"aircraft": aircraft, "position": position, "engine": engine, "complaint": "intermittent-no-ignite"}
    return Intake.from_dict({**begun, "place": "hangar", "people": list(PEOPLE), **more})


def work(
    kit: Kit,
    truth: Sequence[str],
    intake: Intake,
    case: str,
    when: datetime | None = None,
    *,
    script: Mapping[str, Any] | None = None,
    refusals: Mapping[str, str] | None = None,
    numbers: Mapping[str, Mapping[str, Any]] | None = None,
    finding: str = "",
) -> tuple[Event, ...]:
    """Work a case to its end by the tool's own advice; return its events. ``finding``: of the shop, on its repair."""
    clock = Clock(when or datetime(2030, 1, 10, 6, 0, tzinfo=UTC))
    log = Memory()
    chase = Chase.begin(kit, log, case, intake, clock)
    player = Worked(kit.model, truth, script, intake.condition, refusals)
    player.numbers = numbers or {}
    play(chase, player, clock)
    if finding:
        clock.time += timedelta(days=20)
        event = finding_event(log.events(case), chase.state.repairs[0], finding, "", "SR-2030-7")
        log.append_all(case, [event], clock.time.isoformat(timespec="milliseconds").replace("+00:00", "Z"))
    return log.events(case)


@cache
def _unpacked() -> tuple[Path, tempfile.TemporaryDirectory[str]]:
    # Whoever holds the folder's name holds the folder: it goes when the process ends.
    made = tempfile.TemporaryDirectory(prefix="isolate-trails-")
    folder = Path(made.name) / "knowledge"
    unpack((TRAILS / "knowledge.zip").read_bytes(), folder)
    return folder, made


def kept_folder() -> Path:
    """Return the folder of the knowledge that the kept trails were worked with; unpacked once in a process."""
    return _unpacked()[0]


@cache
def kept() -> Loaded:
    """Return the knowledge that the kept trails were worked with, read once in a process."""
    return load(kept_folder())


def kit_of(engine: str = "halden-hf-3") -> Kit:
    """Return a kit of the knowledge that the kept trails were worked with."""
    return Kit(fit(kept().knowledge, engine))


def shipped_kit(engine: str = "halden-hf-3") -> Kit:
    """Return a kit of the shipped knowledge, for cases that go on from today."""
    return Kit(fit(load().knowledge, engine))


def versions() -> Versions:
    """Return what finds the knowledge of the kept trails as well as the shipped one."""
    return Versions(kept_folder())


def trail(name: str) -> tuple[Event, ...]:
    """Return a kept trail."""
    return read_case(TRAILS / f"{name}.jsonl")

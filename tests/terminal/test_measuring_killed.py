"""A session with a recorded start ended at each of its writes: nothing that was said is lost, nothing is there twice.

What kills inside a write do is SQLite's own and measured by ``tests/bench/kills.py --readings``.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from isolate.case.case import RECORD
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.reasoning.starts import Start
from isolate.review.replay import replayed
from isolate.terminal import live
from tests.case.test_measured import begun as told_case
from tests.case.test_measured import log, recorder
from tests.terminal.test_live import screen, shown
from tests.terminal.test_measuring import Hand

pytestmark = pytest.mark.usefixtures("brief")
__all__ = ["recorder"]


class _Killed(BaseException):
    pass


class Short(Memory):
    """A log that takes so many writes and then kills whoever writes."""

    left = 1_000

    def append_all(self, *arguments: Any, **more: Any) -> Any:
        if self.left == 0:
            raise _Killed
        self.left -= 1
        return super().append_all(*arguments, **more)


def at_the_log(kit: Kit) -> tuple[Chase, Short]:
    short = Short()
    chase = told_case(kit, short, starts=(Start("B", False), Start("A", True)))
    chase.accept("check", "recorded-start-read")
    return chase, short


def session(chase: Chase, path: Path) -> str:
    """Read the log, take what it answers besides and its start, and leave; return what was on the screen."""
    clock, console = Clock(), screen(80)
    chase.clock = clock
    with suppress(_Killed):
        live.run(chase, console, Hand(clock, "m", str(path), "", "", "", "y", "1", "q"))
    return " ".join(shown(console).split())


def test_ended_at_any_of_its_writes(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase, short = at_the_log(kit)
    before, short.left = short.events("trial"), 1_000
    assert "Taken: 2 more from the same record." in session(chase, log(tmp_path))
    writes, whole = 1_000 - short.left, short.events("trial")
    assert writes >= 6 and [e.kind for e in whole].count("told") == 1
    for count in range(writes):
        chase, short = at_the_log(kit)
        short.left = count
        said, events = session(chase, log(tmp_path)), short.events("trial")
        assert [(e.kind, e.body) for e in events] == [(e.kind, e.body) for e in whole[: len(events)]], count
        taken = [e.body["within"] == RECORD for e in events[len(before) :] if e.kind == "answered"]
        assert taken in ([], [False], [False, True, True]), "what it says of other checks all at once"
        assert taken or "Answered: " not in said
        assert len(taken) == 3 or "Taken: " not in said
        short.left = 1_000
        again = Chase.resume(kit, short, "trial", Clock())
        assert again.now().title, count
        if len(taken) == 1:
            found = replayed(lambda digest, engine: kit, short.events("trial"))
            assert not found.differs and not found.not_replayed, count

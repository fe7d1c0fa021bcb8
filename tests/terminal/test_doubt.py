"""An answer doubted at the terminal, and the end of a case in which no fault was named.

Outside source: none; the words are the house's own.
"""

from __future__ import annotations

import pytest
from rich.cells import cell_len

from isolate.case.chase import Kit
from isolate.case.play import Clock
from isolate.case.unfound import HEADINGS
from isolate.terminal import live, words
from tests.case.test_unfound import CLASHING, answered
from tests.terminal.test_live import Robot, begun, screen, shown

pytestmark = pytest.mark.usefixtures("brief")


def test_an_answer_is_doubted_where_new_things_are_told(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    answered(chase, **CLASHING)
    robot = Robot(clock)
    robot.script = ["t", "take doubt", "b", "t", "take doubt", "take lead-continuity/A", "q"]
    assert live.run(chase, console, robot) == 0
    text = " ".join(shown(console).split())
    assert words.ASKED_AGAIN in text
    title = kit.fitted.check("lead-continuity/A").title
    # The clashing ones come first, and are marked.
    assert f"1 {title}: {kit.fitted.check('lead-continuity/A').said('open')} ({words.STRANGE})" in text
    assert "lead-continuity/A" not in chase.state.answers and "spark-test/A" in chase.state.answers
    assert chase.state.move is not None and chase.state.move.key == "lead-continuity/A"
    assert [e.kind for e in chase.state.events if e.kind == "corrected"] == ["corrected"], "once: b changed nothing"


def test_with_nothing_answered_there_is_nothing_to_doubt(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    robot = Robot(clock)
    robot.script = ["t", "b", "q"]
    live.run(chase, console, robot)
    assert words.DOUBT.split(":")[0] not in " ".join(shown(console).split())


@pytest.mark.parametrize("width", [40])
def test_an_end_without_a_fault_ends_the_screen_with_what_remains(kit: Kit, width: int) -> None:
    clock, console = Clock(), screen(width)
    chase = begun(kit, clock)
    chase.accept("end", "escalate")
    assert live.run(chase, console, Robot(clock, chase)) == 0
    lines = shown(console).splitlines()
    assert all(cell_len(line) <= width for line in lines)
    assert HEADINGS[0] in " ".join(" ".join(lines).split())
    foot = " ".join(" ".join(lines[-20:]).split())
    assert "Settles it best:" in foot and "At the next starts:" in foot

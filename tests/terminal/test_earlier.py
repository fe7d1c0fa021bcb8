"""What the terminal says of earlier cases at the opening, and how they are let go."""

from __future__ import annotations

import pytest
from rich.cells import cell_len

from isolate.case.believed import told_belief
from isolate.case.case import Earlier, Evidence
from isolate.case.chase import Kit
from isolate.case.play import Clock
from isolate.terminal import live
from tests.terminal.test_live import NASTY, Robot, begun, screen, shown

pytestmark = pytest.mark.usefixtures("brief")

TOLD = {"aircraft": "104", "position": "2", "engine": "halden-hf-3", "complaint": "intermittent-no-ignite"}
EVIDENCE = (Evidence(3, "answer", "plug-tip-look/A", "worn"), Evidence(4, "repair", "replace-igniter/A"))
CARRIED = "Carried from 1 earlier case on this engine"


def one(name: str = "104-2-0101-aaaa") -> Earlier:
    return Earlier(name, 12.0, f"as it was {NASTY}", "intermittent-no-ignite", "", TOLD, EVIDENCE)


@pytest.mark.parametrize("width", [40, 80])
def test_the_opening_says_in_a_few_lines_what_was_carried_and_the_record_all_of_it(kit: Kit, width: int) -> None:
    clock, console = Clock(), screen(width)
    chase = begun(kit, clock, earlier=(one(),))
    robot = Robot(clock)
    robot.script = ["r", "q"]
    assert live.run(chase, console, robot) == 0
    text = shown(console)
    opening = text.partition("They change")[0]
    assert CARRIED in " ".join(opening.split()) and "Counts 87%" in " ".join(opening.split())
    assert len(opening.splitlines()) <= (12 if width == 40 else 8), "the step has to find room below it"
    assert "Carried from earlier cases on this engine:" in " ".join(text.split())
    assert "\x1b" not in text and all(cell_len(line) <= width for line in text.splitlines())


def test_earlier_cases_on_another_engine_are_let_go_by_t(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock, earlier=(one(),))
    robot = Robot(clock)
    robot.script = ["t", "take afresh", "r", "q"]
    assert live.run(chase, console, robot) == 0
    assert chase.intake.earlier == ()
    assert abs(chase.belief.joint - told_belief(kit.model, chase.intake).joint).max() == 0
    assert "Carried from earlier cases" not in shown(console)

"""Parts that changed places, told and taken up at the screen."""

from __future__ import annotations

import pytest

from isolate.case import swaps
from isolate.case.case import Swap
from isolate.case.chase import Kit
from isolate.case.play import Clock
from isolate.terminal import live
from tests.terminal.test_live import Robot, begun, screen, shown

pytestmark = pytest.mark.usefixtures("brief")


def test_parts_that_changed_places_are_told_with_their_numbers(kit: Kit) -> None:
    clock, console = Clock(), screen(100)
    chase = begun(kit, clock)
    robot = Robot(clock)
    robot.script = ["t", "take swaps", "take igniter", "take A B", "take now", "P-1", "none", "q"]
    assert live.run(chase, console, robot) == 0
    assert [e.key for e in chase.state.evidence] == ["igniter:A<>B"]
    assert swaps.where(chase)["igniter", "B"] == "S/N P-1"
    text = shown(console)
    assert "Igniter plug of channel B: the igniter plug that was on A, S/N P-1" in text and "NOT WHERE IT WAS" in text
    # Taken back by its name.
    robot.script = ["b", "y", "q"]
    live.run(chase, console, robot)
    assert not chase.state.evidence
    assert "Take" not in shown(console).split("Taken back:")[1].split("confirmed")[0]
    assert "Taken back: that parts changed places: change the igniter plugs of channels A and B over" in shown(console)


def test_before_the_case_or_with_another_engine_nothing_where_it_is_left_and_as_a_move(kit: Kit) -> None:
    clock, console = Clock(), screen(100)
    chase = begun(kit, clock)
    robot = Robot(clock)
    robot.script = [
        "t",
        "take swaps",
        "take lead",
        "take B",
        "aircraft 230, engine 1",
        "take before",
        "none",
        "L-9",
        "q",
    ]
    live.run(chase, console, robot)
    assert chase.intake.swaps == (Swap("lead", "B", "", "none", "L-9", "aircraft 230, engine 1"),)
    assert not chase.state.evidence
    events = len(chase.state.events)
    lead = ["t", "take swaps", "take lead"]
    robot.script = [*lead[:2], "b", *lead, "b", *lead, "take A", "", *lead, "take A B", "b"]
    robot.script += [*lead, "take A B", "take now", "?", "q"]
    live.run(chase, console, robot)
    assert [e.kind for e in chase.state.events[events:]] == ["left"]
    assert not robot.script
    # As a move it stands at the end of the list, and is walked like any other once taken up.
    robot.script = ["e", "take lead:A<>B", "q"]
    live.run(chase, console, robot)
    assert chase.state.move is not None and chase.state.move.key == "lead:A<>B"
    assert "Change the leads of channels A and B over" in shown(console)

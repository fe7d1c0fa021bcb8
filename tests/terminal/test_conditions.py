"""Conditions at the terminal: how it is now is asked and told, and a pass in the wrong one is said to say little."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from rich.console import Console

from isolate.case.case import Intake, Person, Seen
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Ask, Confirm, Wait
from isolate.drill.simulate import Aircraft
from isolate.reasoning.starts import Start
from isolate.terminal import intake, layout, live
from isolate.terminal.intake import Unclear
from isolate.terminal.keys import Lines

STARTS = tuple(Start(c, lit, "hot") for c, lit in (("A", True), ("B", False), ("A", True), ("B", False)))
TOLD: dict[str, Any] = {
    "aircraft": "104",
    "position": "2",
    "engine": "halden-hf-3",
    "complaint": "intermittent-no-ignite",
    "signs": (),
    "starts": STARTS,
    "done": (),
    "people": (Person("Quill", ("licensed", "motoring", "engine-run")), Person("Rook"), Person("Sorrel")),
    "place": "hangar",
    "condition": "hot",
    "minutes_left": None,
    "missing": (),
    "coming": (),
}


def screen(width: int = 100) -> Console:
    return Console(width=width, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False)


def shown(console: Console) -> str:
    return " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]


def begun(kit: Kit, **more: Any) -> Chase:
    return Chase.begin(kit, Memory(), "trial", Intake(**{**TOLD, **more}), Clock())


def asked(kit: Kit, *typed: str, **told: Any) -> tuple[Intake, str]:
    console = screen()
    face = Lines(io.StringIO("".join(f"{line}\n" for line in typed)), console)
    given = {**TOLD, **told, "minutes_left": 60.0}
    return intake.ask(lambda _: kit.fitted, {"halden-hf-3": "Halden HF-3"}, given, console, face), shown(console)


def test_how_it_is_now_is_asked_where_the_defect_has_a_condition(kit: Kit) -> None:
    found, said = asked(kit, "3", "25")
    assert (found.condition, found.now, found.shut_down) == ("hot", "hot", 25.0)
    assert "How it is at the aircraft now" in said and "Minutes since the engine was shut down" in said
    # Enter takes the usual one; nothing of the kind needs no minutes.
    found, said = asked(kit, "")
    assert (found.now, found.shut_down) == ("steady", None) and "Minutes since" not in said
    # Where no condition stands out there is no such question.
    found, said = asked(kit, condition="steady")
    assert found.now == "" and "How it is" not in said


@pytest.mark.parametrize(("typed", "minutes"), [("", 0.0), ("40", 40.0), ("12,5", 12.5)])
def test_minutes_since_shutdown(typed: str, minutes: float) -> None:
    assert intake.minutes_since(typed) == minutes


@pytest.mark.parametrize("typed", ["-3", "soon", "200000", "nan"])
def test_minutes_since_shutdown_that_cannot_be(typed: str) -> None:
    with pytest.raises(Unclear):
        intake.minutes_since(typed)


def test_how_it_is_now_can_be_told_in_the_case(kit: Kit) -> None:
    chase = begun(kit, now="cold")
    console = screen()
    live.run(chase, console, Lines(io.StringIO("t\n5\n1\n3\n30\nt\n5\n2\n2\nq\n"), console))
    assert (chase.intake.now, chase.intake.shut_down) == ("hot", 30.0)
    # Told when it shows, nothing changes about how it is.
    assert chase.intake.condition == "cold" and chase.setting.condition == "hot"


def test_the_card_says_what_a_pass_here_is_worth(kit: Kit) -> None:
    chase = begun(kit, now="cold")
    console = screen(80)
    console.print(layout.rows([*layout.sleeping(chase, "spark-test/B"), *layout.again(chase, "spark-test/B")]))
    said = shown(console)
    assert "Passing cold says little about what shows hot: exciter fails hot B (" in said
    assert "now hardly ever and then 8 times in 10. To bring it: Fire channel B through its whole duty time" in said
    assert re.search(r"On one occasion a second try after a pass adds \d+% of what the first says", said)
    hot = begun(kit, now="hot", shut_down=20)
    assert "exciter fails hot" not in str(layout.sleeping(hot, "spark-test/B"))


def test_what_brings_the_condition_tells_something_of_what_sleeps(kit: Kit) -> None:
    """Moving the feed's harness shakes as well, and says nothing of a lead that is chafed."""
    fitted = kit.model.fitted
    at = fitted.zones["channel/A"].states.index("lead-chafed")
    row, good = (fitted.check("feeder-wiggle/A").given["channel/A"][i] for i in (at, 0))
    assert row == good and fitted.check("feeder-wiggle/A").makes == ("vibrating", 1.0)
    (said,) = layout.sleeping(begun(kit, now="hot", starts=(), signs=(Seen("radio-pops", "A"),)), "spark-test/A")
    assert "while it shakes: lead chafed A" in said[1] and "To bring it: " in said[1]
    assert fitted.check("feeder-wiggle/A").title not in said[1]


def test_a_check_done_once_more_says_on_its_own_card_what_that_adds(kit: Kit) -> None:
    """It may be taken from the list of others, without having been offered."""
    chase = begun(kit, now="cold")
    chase.accept("check", "spark-test/B")
    while not isinstance(step := chase.now(), Ask):
        if isinstance(step, Confirm):
            chase.confirm({ask.name: Aircraft(kit.model, ()).fact(ask, "") for ask in step.caution.asks})
        elif isinstance(step, Wait):
            chase.clock.pass_minutes(10)  # type: ignore[attr-defined]
            if not isinstance(chase.now(), Wait):
                chase.waited()
        else:
            chase.crossed()
    console = screen(80)
    console.print(layout.card(chase, step, 80).body)
    assert "Again On one occasion a second try" in shown(console)

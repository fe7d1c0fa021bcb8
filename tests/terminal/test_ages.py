"""Ages at the terminal: told when a case is opened, and in it; a wrong one costs nothing that was right."""

from __future__ import annotations

import io
from typing import Any

import pytest
from rich.console import Console

from isolate.case.case import Age, Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.cli import main
from isolate.kb.fit import Fitted
from isolate.terminal import intake, live
from isolate.terminal.intake import Unclear
from isolate.terminal.keys import Lines

PLUG_A = Age("igniter", "A", "starts", 2900.0, 3100.0)
TOLD: dict[str, Any] = {
    "aircraft": "104",
    "position": "2",
    "engine": "halden-hf-3",
    "complaint": "no-light-off",
    "signs": (),
    "starts": (),
    "done": (),
    "people": (Person("Quill"),),
    "place": "hangar",
    "condition": "steady",
    "minutes_left": 60.0,
    "missing": (),
    "coming": (),
}


def screen(width: int = 100) -> Console:
    return Console(width=width, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False)


def shown(console: Console) -> str:
    return " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]


def begun(kit: Kit, **more: Any) -> Chase:
    return Chase.begin(kit, Memory(), "trial", Intake(**{**TOLD, **more}), Clock())


def session(chase: Chase, *typed: str) -> str:
    console = screen()
    live.run(chase, console, Lines(io.StringIO("".join(f"{line}\n" for line in typed)), console))
    return shown(console)


def letter(chase: Chase) -> str:
    """The key under which the menu has the ages."""
    console = screen()
    live.run(chase, console, Lines(io.StringIO("t\nb\nq\n"), console))
    line = next(line for line in console.file.getvalue().splitlines() if "ages: how old" in line)  # type: ignore[attr-defined]
    return line.split()[0]


def test_ages_are_told_in_a_case_and_what_they_do_is_said(kit: Kit) -> None:
    chase = begun(kit)
    key = letter(chase)
    text = session(chase, "t", key, "lead A 5 starts", "plug A 3000", "plug A 2,900 to 3,100 starts", "q")
    assert "ages: how old plug, lead or exciter is" in text and "Told so far: nothing." in text
    assert "The age of a lead is counted in hours here, not in starts." in text
    assert "counted in starts or hours" in text
    assert "Plug A, 2,900 to 3,100 starts since new: worn 2.6 times" in text
    assert chase.intake.ages == (PLUG_A,)
    text = session(chase, "t", key, "lead B at least 9000 hours", "q")
    assert "Told so far: plug A, 2,900 to 3,100 starts since new." in text
    assert chase.intake.ages == (PLUG_A, Age("lead", "B", "hours", 9000.0))
    session(chase, "t", key, "", "q")
    assert len(chase.intake.ages) == 2
    session(chase, "t", key, "none", "q")
    assert chase.intake.ages == ()


def ask(kit: Kit, console: Console, typed: str, ages: tuple[Age, ...]) -> Intake:
    engines = {"halden-hf-3": "Halden HF-3"}
    return intake.ask(
        lambda _: kit.fitted, engines, {**TOLD, "ages": ages}, console, Lines(io.StringIO(typed), console)
    )


def test_ages_given_when_a_case_is_opened_are_looked_over_first(kit: Kit) -> None:
    console = screen()
    assert ask(kit, console, "", (PLUG_A,)).ages == (PLUG_A,)
    assert "Plug A, 2,900 to 3,100 starts since new: worn 2.6 times" in shown(console)
    console = screen()
    wrong = Age("lead", "A", "starts", 5.0, 6.0)
    assert ask(kit, console, "lead A 5-6 hours\n", (wrong, PLUG_A)).ages == (
        PLUG_A,
        Age("lead", "A", "hours", 5.0, 6.0),
    )
    assert "The age of a lead is counted in hours here, not in starts." in shown(console)
    assert ask(kit, screen(), "\n", (PLUG_A, wrong)).ages == (PLUG_A,)


def test_a_line_of_ages_is_read_or_refused_in_a_sentence(hf3: Fitted) -> None:
    assert intake.ages("none", hf3) == intake.ages("", hf3) == ()
    for text, said in (("plug C 5 starts", "No channel is called 'C'"), ("plug A", "An age is a part")):
        with pytest.raises(Unclear, match=said):
            intake.ages(text, hf3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--age", "igniter:A=3000"], "an age is counted in starts or hours"),
        (["--age", "igniter:A=-3 starts"], "from 0 up, not -3"),
        (["--age", "igniter:A=3 starts", "--resume"], "--age is for a new case"),
    ],
)
def test_an_option_that_cannot_be_read_is_refused_before_anything_is_asked(
    tmp_path: Any, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    assert main(["chase", "--store", str(tmp_path / "cases.db"), *arguments]) != 0
    told = capsys.readouterr()
    assert said in told.err and "Traceback" not in told.err

"""The picture of past starts: every start is in it, told by symbols alone, in any width."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from typing import Literal

import pytest
from rich.console import Console

from isolate.kb.fit import Fitted
from isolate.reasoning.starts import Start
from isolate.terminal import intake
from isolate.terminal.history import BANDS, BARS, LABEL, PLAIN_BARS, picture
from isolate.terminal.intake import Unclear

STARTS = [
    Start("A", True, seconds=4.0, lane="1", at="2026-11-01 08:00"),
    Start("B", False, lane="1"),
    Start("unknown", True, gap=True, lane="2"),
    Start("A", False, aborted=True, lane="2"),
    Start("both", True, at="2026-11-03 08:00"),
    Start("A", True, seconds=8.0),
]


def drawn(starts: list[Start], width: int = 80, colour: bool = False, **more: object) -> list[str]:
    system: Literal["standard"] | None = "standard" if colour else None
    console = Console(file=StringIO(), width=width, force_terminal=colour, color_system=system, highlight=False)
    console.print(picture(starts, ("A", "B"), width, **more))  # type: ignore[arg-type]
    assert isinstance(console.file, StringIO)
    return console.file.getvalue().rstrip("\n").split("\n")


def rows(lines: list[str]) -> dict[str, str]:
    return {line[:LABEL].strip(): line[LABEL:].rstrip() for line in lines}


def test_each_start_stands_in_the_rows_of_its_channel_and_lane() -> None:
    lines = drawn(STARTS)
    assert lines[0] == "starts 1 to 6: 2026-11-01 08:00 to ?"
    found = rows(lines)
    assert found["A"] == "o.|./.o" and found["B"] == ".X|...." and found["both"] == "..|..o."
    assert found["which?"] == "..|o..."
    assert found["lane 1"] == "oX|...." and found["lane 2"] == "..|o/.."
    assert found["s, A"] == f"{BARS[0]}     {BARS[-1]}" and "s, B" not in found
    legend = " ".join(lines[-2:])
    for said in ("o lit", "X did not light", "/ broken off", "| starts missing", ". not this one", "4.0 to 8.0 s"):
        assert said in legend


def test_colour_only_repeats_what_the_symbols_say() -> None:
    import re

    plain = re.sub(r"\x1b\[[0-9;]*m", "", "\n".join(drawn(STARTS, colour=True)))
    assert plain.split("\n") == drawn(STARTS)
    assert "\x1b[" in "\n".join(drawn(STARTS, colour=True)) and "\x1b[" not in "\n".join(drawn(STARTS))


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_nothing_is_wider_than_the_window_and_no_start_is_lost(width: int) -> None:
    many = [Start("AB"[i % 2], i % 5 != 0, seconds=3 + i % 7, at=f"2026-01-{1 + i % 28:02} 08:00") for i in range(200)]
    lines = drawn(many, width)
    assert max(map(len, lines)) <= width
    marks = "".join(line[LABEL:].strip() for line in lines if line[:LABEL].strip() in ("A", "B"))
    shown = min(200, BANDS * (width - LABEL))
    assert marks.count("o") + marks.count("X") == shown
    assert any(f"first {200 - shown} are not drawn" in line for line in lines) == (shown < 200)
    assert any(f"to {200}" in line for line in lines)


def test_a_terminal_without_those_letters_gets_digits() -> None:
    assert rows(drawn(STARTS, bars=PLAIN_BARS))["s, A"] == "1     8"
    assert all(letter.isascii() for letter in "".join(drawn(STARTS, bars=PLAIN_BARS)))


def test_a_file_is_taken_where_starts_are_asked_for(hf3: Fitted, tmp_path: Path) -> None:
    file = tmp_path / "past starts.csv"
    file.write_text("date;channel;lit;seconds\n2026-11-01;A;yes;4,2\n2026-11-02;Q;yes;4\n2026-11-03;B;no;\n")
    found, said = intake.starts_or_file(f" '{file}' ", hf3)
    assert [(s.channel, s.lit, s.gap) for s in found] == [("A", True, False), ("B", False, True)]
    assert said[0] == "2 starts read from 3 rows." and any("row 3" in line for line in said)
    typed, said = intake.starts_or_file("A no, B yes", hf3)
    assert len(typed) == 2 and said == ["Taken as: channel A did not light, channel B lit."]
    assert intake.starts_or_file("", hf3) == ((), [])
    for name, content, why in [
        ("missing.csv", None, "no such file"),
        ("bad.csv", "a,b\n1,2", "columns understood"),
        ("none.csv", "channel,lit\nQ,yes", "no start could be read"),
    ]:
        if content is not None:
            (tmp_path / name).write_text(content)
        with pytest.raises(Unclear, match=why):
            intake.starts_or_file(str(tmp_path / name), hf3)


def test_more_can_be_told_of_a_start(hf3: Fitted) -> None:
    found = intake.starts("A yes 4,5s lane1, gap, B aborted, ? no hot", hf3)
    assert found == (
        Start("A", True, seconds=4.5, lane="1"),
        Start("B", False, aborted=True, gap=True),
        Start("unknown", False, "hot"),
    )
    assert intake.started(found) == (
        "channel A lit (4.5 s, lane 1), a gap, channel B broken off, channel not known did not light (hot)"
    )


def test_a_file_given_beforehand_is_said_or_refused_and_then_asked_for(hf3: Fitted, tmp_path: Path) -> None:
    class Asking:
        def __init__(self) -> None:
            self.said: list[str] = []

        def say(self, what: str, style: str = "") -> None:
            self.said.append(what)

    file = tmp_path / "log.csv"
    file.write_text("channel,lit\nA,yes\nB,perhaps\n")
    asking = Asking()
    assert intake._given_file(asking, file, hf3) == {"starts": (Start("A", True),)}  # type: ignore[arg-type]
    assert asking.said[0] == "1 start read from 2 rows." and "row 3" in asking.said[-1]
    file.write_text("nothing")
    asking = Asking()
    assert intake._given_file(asking, file, hf3) == {}, "so that it is asked for"  # type: ignore[arg-type]
    assert len(asking.said) == 1 and "columns understood" in asking.said[0]

"""Sessions at a real pseudo-terminal of 80 by 24 and other sizes, from the first question to leaving and going on."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.steps import Ask, Confirm, Cross
from isolate.case.store import open_store
from isolate.kb.fit import Fitted
from isolate.kb.model import Ask as Fact
from isolate.terminal import words
from isolate.terminal.keys import WITHIN_A_WORD
from tests.terminal.conftest import DRIVER
from tests.terminal.forked import Forker
from tests.terminal.screen import ROOT, Terminal

Start = Callable[..., Terminal]
FOOT = "q leave  ? help"
ASKED = re.compile(r"^(\d)/(\d) (.+?\?)")
FACTS = {"person": "Quill", "tag": "T-17", "time": "06:10", "text": "seen", "minutes": "3", "count": "6"}


def open_case(t: Terminal) -> str:
    """Answer the questions of the intake; return what is shown of the case then."""
    t.until("fleet number:", "no case yet")
    t.type("104", "Engine position:", "no case yet")
    t.type("2", "Engine type:", "no case yet")
    t.press("1", "Complaint:", "no case yet")
    t.type("sometimes takes two tries to start", "Anything else heard or seen:", "no case yet")
    t.type("", "Recent starts", "no case yet")
    t.type("A yes, B no, A yes, B no", "Already done", "no case yet")
    t.type("", "Who is here:", "no case yet")
    t.type("Quill: licensed, motoring, engine-run; Marrow; Teal", "2 in the hangar", "no case yet")
    t.press("2", "When it shows", "no case yet")
    t.press("1", "Minutes to departure", "no case yet")
    t.type("200", "What is not at hand:", "no case yet")
    return t.type("", "Next:", FOOT)


def take(t: Terminal, title: str, text: str, *foot: str) -> str:
    """Take another move by its title from the list of what else may be done; one on offer is answered at once."""
    title = title[:45]
    if f"Next: {title}" in last_card(t):
        return t.press("g", text, *foot) if "g go" in t.visible() else t.shown()
    t.press("e", "Instead of", "m more")
    while True:
        found = [line for line in t.visible().split("\n") if title in line and re.match(r"\s+\d ", line)]
        if found:
            return t.press(found[-1].split()[0], text, *foot)
        assert "m more" in t.visible(), f"{title} is not offered"
        t.press("m", "Instead of", "b back")


def trial(store: Path, kit: Kit) -> Chase:
    """Return the case on its own copy of the trail, to try things out."""
    with open_store(store) as found:
        return Chase(kit, Memory(found.events("trial")), "trial", lambda: datetime.now(UTC))


def to_a_warning(chase: Chase) -> int | None:
    """Do the plain crossings before the first warning with facts of the move in hand; return how many.

    None where no such warning stands before something that is opened and stays so.
    """
    before = 0
    while isinstance(step := chase.now(), Cross):
        chase.crossed()
        before += 1
    if not isinstance(step, Confirm):
        return None
    while isinstance(step := chase.now(), Confirm):
        chase.confirm({a.name: told(a) for a in step.caution.asks})
    lasting = isinstance(step, Cross) and chase.fitted.access[step.access].entry.lasting
    return before if lasting else None


_CHOSEN: dict[str, tuple[str, int]] = {}
"""What was chosen of the moves of a case, by what had been told and done in it: cases begin alike."""


def chosen(store: Path, kit: Kit, how: Callable[[Path, Kit], tuple[str, int]]) -> tuple[str, int]:
    """Return what ``how`` chooses of the moves now, worked out once for all cases that went alike so far."""
    with open_store(store) as found:
        about = f"{how.__name__} {[(e.kind, e.body) for e in found.events('trial')]}"
    if about not in _CHOSEN:
        _CHOSEN[about] = how(store, kit)
    return _CHOSEN[about]


def answered_at_once(store: Path, kit: Kit) -> tuple[str, int]:
    """Return the title of the best move now that may be answered at once, and no crossings before it.

    What is offered is for the planner to say, so no test names a check.
    """
    for move in trial(store, kit).ranked().moves:
        chase = trial(store, kit)
        chase.accept(move.kind, move.name)
        if isinstance(chase.now(), Ask):
            return chase.title_of(move.kind, move.name), 0
    raise AssertionError("nothing that may be answered at once is offered")


def warned(store: Path, kit: Kit) -> tuple[str, int]:
    """Return the title of the best move now with a warning before a way opened, and the crossings before it."""
    for move in trial(store, kit).ranked().moves:
        if not move.crossings:
            continue
        chase = trial(store, kit)
        chase.accept(move.kind, move.name)
        before = to_a_warning(chase)
        if before is not None:
            return chase.title_of(move.kind, move.name), before
    raise AssertionError("nothing with a warning before a way opened is offered")


def told(fact: Fact) -> str:
    return FACTS[fact.kind]


def take_check(t: Terminal, store: Path, kit: Kit) -> str:
    """Take a check that may be answered at once."""
    return take(t, chosen(store, kit, answered_at_once)[0], "u could not tell", "u unsure")


def take_warned(t: Terminal, store: Path, kit: Kit) -> str:
    """Take a move with a warning before a way opened, and do what comes before the warning."""
    title, before = chosen(store, kit, warned)
    if not before:
        return take(t, title, "Confirmed by the facts", "tells it")
    shown = take(t, title, "d done, and looked at", "d done  w why")
    for left in range(before, 0, -1):
        text, foot = ("Confirmed by the facts", "tells it") if left == 1 else ("d done, and", "d done  w why")
        shown = t.press("d", text, foot)
    return shown


def tell_facts(t: Terminal, fitted: Fitted) -> None:
    """Confirm each caution shown, by its facts, until a step has a key of its own."""
    kinds = {a.prompt: a.kind for c in fitted.knowledge.cautions.values() for a in c.asks}
    while "tells it" in t.visible():
        asked = [m for line in t.visible().split("\n") if (m := ASKED.match(line))][-1]
        number, count = int(asked[1]), int(asked[2])
        kind = next(kind for prompt, kind in kinds.items() if prompt.startswith(asked[3][:30]))
        if number < count:
            t.type(FACTS[kind], f"{number + 1}/{count}", "tells it")
        else:
            t.type(FACTS[kind], "\n── ", "tells it", FOOT)


def last_card(t: Terminal) -> str:
    return t.shown().rsplit("\n── ", 1)[-1]


def kinds(store: Path, case: str = "trial") -> list[str]:
    with open_store(store) as found:
        return [e.kind for e in found.events(case)]


def test_from_the_first_question_to_leaving_and_going_on(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal()
    shown = open_case(t)
    assert "case trial" in shown and words.NOTHING_OPEN in t.visible() and "to departure" in t.visible()

    take_check(t, store, kit)
    assert "1-" in t.visible() and "How" in t.shown()
    t.press("1", "Next:", FOOT)
    assert kinds(store).count("answered") == 1, "what the screen has gone past is on disk"

    t.press("w", "Considered as well", FOOT)
    t.press("n", "Note:", "takes it")
    t.type("[bold]not markup[/bold]", "Noted.", FOOT)
    t.press("r", "[bold]not markup[/bold]", FOOT)
    t.press("?", "what the keys do now", FOOT)
    t.press("b", "y or n", "n no")
    t.press("y", "Taken back", FOOT)
    t.press("q", "isolate chase --resume trial")
    assert t.ended() == 0
    assert [k for k in kinds(store) if k in ("answered", "noted", "corrected", "left")] == [
        "answered", "noted", "corrected", "left",
    ]  # fmt: skip

    again = terminal("trial")
    again.until("case trial", FOOT)
    assert "── Check:" in again.shown(), "the answer taken back is asked again"
    again.press("\x04", "isolate chase --resume trial")
    assert again.ended() == 0
    assert kinds(store)[-2:] == ["resumed", "left"] or kinds(store)[-1] == "left"


def test_warnings_by_fact_and_a_walk_after_an_interruption(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    take_warned(t, store, kit)
    said = t.type("", "This has to be told", "tells it")
    assert "WARNING" in said and kinds(store)[-1] in ("accepted", "access")
    crossed = kinds(store).count("access")
    tell_facts(t, kit.fitted)
    assert "d done" in t.visible() and kinds(store)[-1] == "caution"
    t.press("\r", "Set up", "d done  w why")
    assert kinds(store).count("access") == crossed, "Enter does nothing but show the step again"
    t.press("d", "\n── ", words.OPEN_NOW)
    assert kinds(store)[-1] == "access" and kinds(store).count("access") == crossed + 1
    t.until("", FOOT, "tells it")
    t.press("q" if FOOT in t.visible() else "\x04", "Left as it stands")
    assert t.ended() == 0

    again = terminal("trial")
    again.until("Go and look", "s so  x shut")
    assert words.UNKNOWN.split(",")[0] in again.visible()
    for left in range(crossed, -1, -1):
        again.press("x", "\n── ", "s so  x shut" if left else words.NOTHING_OPEN)
    again.press("\x04", "isolate chase --resume trial")
    assert again.ended() == 0


def kill(t: Terminal) -> None:
    """End a session as a power cut does: no handler runs, nothing is written any more."""
    t.child.kill(signal.SIGKILL)
    t.child.wait()


def test_killed_at_a_fact_nothing_half_told_is_kept(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    take_check(t, store, kit)
    t.press("1", "Next:", FOOT)
    take_warned(t, store, kit)
    t.type("Quill", "2/", "tells it")
    t.press("half a wo", "half a wo")
    before = kinds(store)
    kill(t)
    assert kinds(store) == before and before[-1] in ("accepted", "access") and before.count("answered") == 1

    again = terminal("trial")
    for _ in range(before.count("access")):
        again.until("Go and look", "s so  x shut")
        again.press("s", "\n── ", "s so  x shut", "tells it")
    again.until("1/", "tells it")
    assert "Confirmed by the facts" in again.shown() and "Quill" not in again.visible()
    again.press("\x04", "isolate chase --resume trial")
    assert again.ended() == 0
    with open_store(store) as found:
        assert verify(found.events("trial")) == []
    assert before.count("caution") == kinds(store).count("caution"), "nothing half told is kept"
    assert kinds(store)[len(before) :][0] == "resumed"


def test_killed_with_something_open_it_is_looked_at_first(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    take_warned(t, store, kit)
    crossed = kinds(store).count("access")
    tell_facts(t, kit.fitted)
    t.press("d", "\n── ", words.OPEN_NOW)
    t.until("", FOOT, "tells it")
    before = kinds(store)
    kill(t)
    assert kinds(store) == before and before.count("access") == crossed + 1

    again = terminal("trial")
    again.until("Go and look", "s so  x shut")
    assert words.UNKNOWN.split(",")[0] in again.visible() and "interrupted" in again.shown()
    for left in range(crossed, -1, -1):
        again.press("s", "\n── ", "s so  x shut" if left else words.OPEN_NOW)
    with open_store(store) as found:
        events = found.events("trial")
    assert verify(events) == []
    walked = [e.body.get("walked") for e in events if e.kind == "access"]
    assert walked == [None] * (crossed + 1) + [True] * (crossed + 1)
    again.press("\x04", "isolate chase --resume trial")
    assert again.ended() == 0


def test_a_wait_ends_by_itself_and_cannot_be_passed(terminal: Start, store: Path) -> None:
    t = terminal("waiting", quick=True)
    t.until("to wait; it ends by itself", FOOT)
    before = kinds(store, "waiting")
    for key in "\r1dgs":
        t.press(key, "")
    t.until("The wait is over.")
    t.until("\n── ", "tells it", "d done  w why")
    assert kinds(store, "waiting") == before
    t.press("\x04", "isolate chase --resume waiting")
    assert t.ended() == 0


def test_a_wait_may_be_left(terminal: Start, store: Path) -> None:
    t = terminal("waiting")
    t.until("to wait; it ends by itself", FOOT)
    t.press("q", "isolate chase --resume waiting")
    assert t.ended() == 0 and kinds(store, "waiting")[-1] == "left"


def test_what_cannot_be_done_and_what_is_new(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    take_check(t, store, kit)
    t.press("c", "Why can it not be done?", "takes it")
    t.press("the panel is\x1b", "Enter shows it again", FOOT)
    assert kinds(store).count("declined") == 0, "Escape takes nothing"
    t.press("c", "Why can it not be done?", "takes it")
    t.type("panel locked", "Next:", FOOT)
    assert kinds(store).count("declined") == 1
    t.press("t", "What is new?", "take one")
    t.press("3", "Minutes from now", "takes it")
    t.type("soon", "number such as 45", "takes it")
    t.type("25", "Taken in.", "25 min to departure")
    t.press("t", "What is new?", "take one")
    t.press("2", "Not at hand now", "takes it")
    t.type("air", "Taken in.", FOOT)
    t.press("q", "isolate chase --resume trial")
    assert t.ended() == 0 and kinds(store).count("told") == 2


def test_ctrl_c_says_how_to_leave_and_leaves_the_second_time(terminal: Start, store: Path) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    t.press("\x03", "Ctrl-C again, or q, leaves")
    t.press("\x03", "isolate chase --resume trial")
    assert t.ended() == 0 and kinds(store)[-1] == "left"


def test_ctrl_c_at_a_fact_leaves_as_well(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal("opened")
    t.until("Next:", FOOT)
    take_warned(t, store, kit)
    t.press("\x03", "Ctrl-C again")
    t.press("\x03", "isolate chase --resume trial")
    assert t.ended() == 0 and "caution" not in kinds(store)


def test_an_intake_interrupted_is_no_case(terminal: Start, store: Path) -> None:
    for keys in (["\x04"], ["\x03", "\x03"]):
        t = terminal()
        t.until("fleet number:", "no case yet")
        t.type("104", "Engine position:", "no case yet")
        for key in keys[:-1]:
            t.press(key, "Ctrl-C again leaves")
        t.press(keys[-1], "no case was opened")
        assert t.ended() == 0
        with open_store(store) as found:
            assert not found.cases()


def test_each_answer_of_the_intake_is_looked_over_at_once(terminal: Start) -> None:
    t = terminal()
    t.until("fleet number:", "no case yet")
    t.type("", "It has to be told which aircraft", "no case yet")
    t.type("104", "Engine position:", "no case yet")
    t.type("2", "Engine type:", "no case yet")
    # Whoever types the name of an engine does not mean the third of the list.
    t.press("hf-3", "'hf-3' does nothing here")
    time.sleep(1.1 * WITHIN_A_WORD)
    t.press("1", "Complaint:", "no case yet")
    t.type("99", "There is no number 99", "no case yet")
    t.type("the coffee is cold", "number", "no case yet")
    t.type("no-light-off", "Anything else heard or seen:", "no case yet")
    t.type("xyzzy", "'xyzzy' is near none", "no case yet")
    t.type("", "Recent starts", "no case yet")
    t.type("A perhaps", "'perhaps' is not understood", "no case yet")
    t.type("C no", "'c' is not understood", "no case yet")
    t.type("A", "yes or no?", "no case yet")
    t.type("a no hot, ? yes", "Already done", "no case yet")
    t.type("replace-ignitor/B", "did you mean replace-igniter/B", "no case yet")
    t.type("replace-igniter/B", "on the other engine by the same people", "no case yet")
    t.press("2", "Who is here:", "no case yet")
    t.type("", "Somebody has to be here", "no case yet")
    t.type("Quill: pilot", "No authorisation is called 'pilot'", "no case yet")
    t.type("Quill, Marrow", "A colon goes between", "no case yet")
    t.type("Quill: licensed", "Nobody here holds engine-run or motoring", "no case yet")
    t.until("2 in the hangar", "no case yet")
    t.press("7", "does nothing here")
    t.press("\r", "does nothing here")
    t.press("1", "When it shows", "no case yet")
    t.press("4", "How it is at the aircraft now", "no case yet")
    t.press("9", "does nothing here")
    t.press("2", "Minutes to departure", "no case yet")
    t.type("-3", "from 0 to 100000", "no case yet")
    t.type("nan", "from 0 to 100000", "no case yet")
    t.type("", "What is not at hand:", "no case yet")
    t.type("hammer", "No tool or service is called 'hammer'", "no case yet")
    t.type("air, meter", "Next:", FOOT)


def test_colour_repeats_words_and_can_be_turned_off(terminal: Start, store: Path, kit: Kit) -> None:
    coloured = terminal("waiting")
    coloured.until("to wait", FOOT)
    assert coloured.colours()
    coloured.press("q", "--resume waiting")
    assert coloured.ended() == 0
    colourless = terminal("opened", NO_COLOR="1")
    colourless.until("Next:", FOOT)
    take_warned(colourless, store, kit)
    assert "WARNING" in colourless.visible()
    colourless.press("\x04", "--resume trial")
    assert colourless.ended() == 0
    assert not colourless.colours()


def test_sixty_columns_lose_nothing(terminal: Start, store: Path, kit: Kit) -> None:
    t = terminal(columns=60, NO_COLOR="1")
    open_case(t)
    take_warned(t, store, kit)
    assert "WARNING" in t.shown()
    opened = "access" in kinds(store)
    assert (words.OPEN_NOW if opened else words.NOTHING_OPEN) in t.visible()
    t.press("\x1b", "what the keys do now", FOOT)
    t.press("q", "--resume")
    assert t.ended() == 0
    assert not t.colours(), "the questions of the intake have no colour either"


def test_a_wide_window(terminal: Start) -> None:
    t = terminal("opened", columns=160, rows=50)
    t.until("Next:", FOOT)
    t.press("w", "Considered as well", FOOT)
    t.press("q", "--resume trial")
    assert t.ended() == 0


def test_a_window_too_narrow_says_so(terminal: Start, store: Path) -> None:
    t = terminal("waiting", columns=36)
    t.until("36 columns wide")
    assert t.ended() == 1 and kinds(store, "waiting")[0] == "opened"


# -- plain lines ----------------------------------------------------------------------------------------


TOLD = ["104", "2", "1", "intermittent-no-ignite", "", "A yes, B no", "", "Quill: licensed; Marrow", "1", "1", "", ""]


class Ran(NamedTuple):
    """What became of a session without a terminal."""

    returncode: int
    stdout: str
    stderr: str


Piped = Callable[[Path, Sequence[str]], Ran]


@pytest.fixture
def piped(forker: Forker, tmp_path: Path) -> Piped:
    """Return a function that has a session forked with lines to read from a pipe, and no terminal."""

    def run(store: Path, lines: Sequence[str]) -> Ran:
        environment = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8", "COLUMNS": "80"}
        out, err = tmp_path / "out", tmp_path / "err"
        reading, writing = os.pipe()
        with open(out, "wb") as to, open(err, "wb") as errors:
            pid = forker.run(
                ["--brief", str(store), "new"], environment, [reading, to.fileno(), errors.fileno()], terminal=False
            )
        os.close(reading)
        with open(writing, "w", encoding="utf-8") as told:
            told.writelines(f"{line}\n" for line in lines)
        return Ran(forker.wait(pid), out.read_text(encoding="utf-8"), err.read_text(encoding="utf-8"))

    return run


def test_input_that_ends_leaves_the_case_kept(piped: Piped, store: Path) -> None:
    ran = piped(store, [*TOLD, "why"])
    assert ran.returncode == 1 and ran.stderr == ""
    assert words.INPUT_ENDED in ran.stdout and "isolate chase --resume trial" in ran.stdout
    assert "\x1b" not in ran.stdout
    assert kinds(store)[-1] == "left"


def test_input_that_ends_before_the_case_began(piped: Piped, store: Path) -> None:
    ran = piped(store, TOLD[:4])
    assert ran.returncode == 1 and ran.stderr == ""
    assert " ".join(words.NO_CASE.split()) in " ".join(ran.stdout.split())
    with open_store(store) as found:
        assert not found.cases()


def test_words_do_for_keys_where_lines_are_read(piped: Piped, store: Path) -> None:
    ran = piped(store, [*TOLD, "nonsense", "why", "note", "for later", "tell", "departure", "30", "leave"])
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "'nonsense' does nothing here" in ran.stdout
    assert {"told", "noted"} <= set(kinds(store)) and kinds(store)[-1] == "left"


def test_bytes_that_are_no_text_do_no_harm(store: Path) -> None:
    lines: list[Any] = [*TOLD, "note"]
    data = "".join(f"{line}\n" for line in lines).encode() + b"\xff\xfe[red]\x1b[31mx\n" + b"record\nleave\n"
    ran = subprocess.run(
        [sys.executable, DRIVER, str(store), "new"],
        input=data,
        capture_output=True,
        timeout=120,
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8"},
    )
    assert ran.returncode == 0 and ran.stderr == b""
    assert b"\x1b" not in ran.stdout and b"[red]" in ran.stdout


# -- the command itself ---------------------------------------------------------------------------------


def test_the_command_opens_a_case_and_takes_it_up_again(store: Path) -> None:
    command = ["-m", "isolate", "chase", "--store", str(store)]
    t = Terminal(*command)
    shown = open_case(t)
    t.press("q", "isolate chase --resume ")
    assert t.ended() == 0
    with open_store(store) as found:
        (case,) = [c.id for c in found.cases()]
    assert case in shown
    again = Terminal(*command, "--resume")
    again.until(case, FOOT)
    again.press("\x04", "isolate chase --resume ")
    assert again.ended() == 0
    unknown = Terminal(*command, "--resume", "nonsense")
    unknown.until("no case is called 'nonsense'")
    assert unknown.ended() == 1


def test_the_command_asks_only_what_was_not_given(store: Path) -> None:
    t = Terminal(
        "-m", "isolate", "chase", "--store", str(store), "--aircraft", "230", "--position", "1", "--complaint", "slow"
    )
    t.until("Engine type:", "no case yet")
    t.press("1", "No complaint is called 'slow'", "no case yet")
    assert "fleet number:" not in t.shown() and "aircraft 230, engine 1" in t.visible()
    t.press("\x04", "no case was opened")
    assert t.ended() == 0

"""Whole cases through the terminal's loop, with somebody who presses keys by himself, and what goes wrong there."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from isolate.case.case import Intake, Person
from isolate.case.chase import THOUGHT, Chase, Kit
from isolate.case.events import Event
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.store import StoreError
from isolate.reasoning.plan import Valued
from isolate.reasoning.starts import Start
from isolate.terminal import keys as k
from isolate.terminal import live, words
from isolate.terminal.keys import Bar, Key, Lines, Stopped
from tests.terminal.conftest import think

pytestmark = pytest.mark.usefixtures("brief")
NASTY = "Quill [red]and\x1b[31m Marrow"


class Robot:
    """Goes on whatever comes: every fact, yes; bad news until a repair was done, then good. Checks what it is shown."""

    def __init__(self, clock: Clock, chase: Chase | None = None, most: int = 400) -> None:
        self.clock, self.chase, self.most = clock, chase, most
        self.lines = 2000
        self.pressed: list[str] = []
        self.script: list[str] = []
        """Keys and lines used before the robot goes on by itself."""

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        for width in (40, 80, 160):
            assert all(cell_len(text) <= width for _, text in bar(width))
        known = [key.key for key in keys]
        assert len(set(known)) == len(known), f"a key does two things: {known}"
        self.most -= 1
        if self.most < 0:
            raise Stopped(left=True)
        self.clock.pass_minutes(1)
        if self.script:
            pressed = self.script.pop(0)
            if pressed.startswith("take "):
                # The move by its name, on whichever page of the list it stands.
                found = [key.key for key in keys if key.word == pressed.removeprefix("take ")]
                self.script[:0] = [] if found else [pressed]
                pressed = found[0] if found else "m"
            assert pressed in known, f"{pressed!r} is not among {known} at {prompt!r}"
        else:
            bad = self.chase is not None and not self.chase.state.repairs
            digits = [key for key in known if key.isdigit()]
            if digits:
                pressed = digits[-1] if bad else digits[0]
            else:
                pressed = next(key for key in ("g", "d", "s", "y", "c") if key in known)
        self.pressed.append(pressed)
        return pressed

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Sequence[str] = ()) -> str | None:
        if self.script:
            return self.script.pop(0)
        self.lines -= 1
        assert self.lines, f"it goes on asking: {prompt}"
        if "hh:mm" in prompt:
            return "now"
        if any(said in prompt for said in ("(minutes)", "(a number)", "How many", "since new")):
            return "6"
        if "did none of it" in prompt:
            return "Teal"
        return NASTY

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        self.clock.pass_minutes((until - clock()).total_seconds() / 60)
        self.pressed.append("wait")
        return k.OVER


def begun(kit: Kit, clock: Clock, log: Any = None, **more: Any) -> Chase:
    told: dict[str, Any] = {
        "aircraft": "104",
        "position": "2",
        "engine": kit.fitted.name,
        "complaint": "intermittent-no-ignite",
        "starts": tuple(Start(c, lit) for c, lit in (("A", True), ("B", False)) * 3),
        "people": (Person(NASTY, ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal")),
        "place": "hangar",
    }
    return Chase.begin(kit, log or Memory(), "trial", Intake(**{**told, **more}), clock)


def screen(width: int = 80) -> Console:
    return Console(
        width=width, height=24, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False
    )


def shown(console: Console) -> str:
    return console.file.getvalue()  # type: ignore[attr-defined]


def move_to(chase: Chase, kind: str) -> None:
    """Take up the best move of a kind that needs something opened."""
    move = next(m for m in chase.ranked().moves if m.kind == kind and m.crossings)
    chase.accept(move.kind, move.name)


def mended(kit: Kit) -> Valued:
    """Return the best repair that needs something opened and takes parts."""
    ranked = begun(kit, Clock()).ranked()
    return next(
        m for m in ranked.moves if m.kind == "repair" and m.crossings and kit.fitted.repair(m.name).entry.parts > 0
    )


@pytest.fixture(scope="module")
def whole(kit: Kit) -> Callable[[str, int], tuple[Chase, str]]:
    """Return a function that plays a case to its end, from its best check or repair: the chase, what was shown.

    Played once for all that ask for it alike; the one with a check thinks ahead as far as the program does.
    """

    @cache
    def played(kind: str, width: int) -> tuple[Chase, str]:
        clock, console = Clock(), screen(width)
        chase = begun(kit, clock)
        if kind == "repair":
            chase.accept(kind, mended(kit).name)
        else:
            move_to(chase, kind)
        chase.note(NASTY)
        with pytest.MonkeyPatch.context() as patch:
            if kind == "check":
                think(patch, THOUGHT)
            assert live.run(chase, console, Robot(clock, chase)) == 0
        return chase, shown(console)

    return played


Whole = Callable[[str, int], tuple[Chase, str]]


@pytest.mark.parametrize(("kind", "width"), [("check", 40), ("repair", 100)])
def test_a_case_goes_to_its_end_and_its_record_is_shown(whole: Whole, kind: str, width: int) -> None:
    chase, text = whole(kind, width)
    assert chase.state.ended and not chase.state.open
    assert "draft" in text and "\x1b" not in text and "[red]" in text
    assert all(cell_len(line) <= width for line in text.splitlines())
    assert "Put back" in text


def test_every_other_key_comes_back_to_the_same_step(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    check = next(m for m in chase.ranked().moves if m.kind == "check" and not m.crossings)
    chase.accept("check", check.name)
    before = chase.now()
    robot = Robot(clock)
    robot.script = ["w", "r", "?", "n", "a [b]note[/b]", "n", "", "t", "b", "t", "3", "45", "t", "4", "1", "q"]
    assert live.run(chase, console, robot) == 0
    assert chase.now() == before
    assert chase.state.notes == ["a [b]note[/b]"]
    assert chase.intake.place == "gate"
    assert chase.minutes_left is not None and 30 <= chase.minutes_left <= 45
    assert chase.state.events[-1].kind == "left"


def test_departure_is_told_from_now_and_kept_from_the_opening(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    clock.pass_minutes(100)
    robot = Robot(clock)
    robot.script = ["t", "3", "50", "q"]
    live.run(chase, screen(), robot)
    assert chase.minutes_left == pytest.approx(50, abs=4)
    robot.script = ["t", "3", "none", "q"]
    live.run(chase, screen(), robot)
    assert chase.minutes_left is None


def test_an_end_is_asked_for_twice(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    robot = Robot(clock)
    end = next(m for m in chase.ranked().moves if m.kind == "end")
    robot.script = ["e", f"take {end.name}", "n", "q"]
    assert live.run(chase, screen(), robot) == 0
    assert not chase.state.ended and chase.state.events[-1].kind == "left"


def test_what_is_taken_back_is_named_before_it_is(kit: Kit) -> None:
    clock, console = Clock(), screen(200)
    chase = begun(kit, clock)
    prompts: list[str] = []

    class Heard(Robot):
        def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
            prompts.append(prompt)
            return super().key(prompt, keys, bar, interrupt)

    robot = Heard(clock)
    robot.script = ["b", "q"]
    assert live.run(chase, console, robot) == 0
    assert "There is nothing to take back." in shown(console) and not any("y or n" in p for p in prompts)
    check = next(m for m in chase.ranked().moves if m.kind == "check" and not m.crossings)
    chase.accept("check", check.name)
    robot.script = ["1", "b", "n", "b", "y", "q"]
    assert live.run(chase, console, robot) == 0
    asked = [p for p in prompts if "y or n" in p]
    title = words.small(kit.fitted.checks[check.name].title)
    assert asked == [f"Take back the answer to {title}?\ny or n:"] * 2
    assert f"Taken back: the answer to {title}." in shown(console)


def test_watching_the_next_starts_is_asked_for_twice(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock, starts=())
    asked: list[str] = []

    class Asked(Robot):
        def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
            if "y or n" in prompt:
                asked.append(prompt)
                raise Stopped(left=True)
            return super().key(prompt, keys, bar, interrupt)

    robot = Asked(clock, most=2000)
    # Nothing is found anywhere, so the case comes to an end that nobody has chosen yet.
    assert live.run(chase, console, robot) == 0
    assert asked and "ends this case" in asked[0]
    assert not chase.state.ended


def test_cannot_needs_a_reason_and_goes_round(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    check = next(m for m in chase.ranked().moves if m.kind == "check" and not m.crossings)
    chase.accept("check", check.name)
    robot = Robot(clock)
    robot.script = ["c", "", "c", "no \x1b[31mladder", "q"]
    assert live.run(chase, screen(), robot) == 0
    assert next(iter(chase.state.declined.values()))[1] == "no ladder"


@pytest.mark.parametrize(("told", "kept"), [("14:05", "14:05"), ("1405", "14:05"), ("7.30", "07:30"), ("", "")])
def test_a_time_of_day_is_kept_as_hours_and_minutes(told: str, kept: str) -> None:
    assert live.time_of_day(told, Clock()) == kept


def test_now_is_a_time_of_day() -> None:
    clock = Clock()
    assert live.time_of_day("Now", clock) == f"{clock().astimezone():%H:%M}"


@pytest.mark.parametrize("told", ["25:00", "noon", "6", "7:5", "14:05:00", "٠٧:٣٠"])
def test_a_time_that_is_none_is_refused(told: str) -> None:
    with pytest.raises(Refused, match="is no time of day"):
        live.time_of_day(told, Clock())


class Full(Memory):
    """A log that takes so many more appends, then no more."""

    left = 10**6

    def append_all(
        self, case: str, items: Sequence[tuple[str, Mapping[str, Any]]], time: str, **more: Any
    ) -> tuple[Event, ...]:
        if self.left <= 0:
            raise StoreError("The disk is full.")
        self.left -= 1
        return super().append_all(case, items, time, **more)


@pytest.mark.parametrize("appends", [0, 1, 2, 5])
def test_a_full_disk_ends_the_session_with_a_sentence(kit: Kit, appends: int) -> None:
    clock, console, log = Clock(), screen(), Full()
    chase = begun(kit, clock, log)
    check = next(m for m in chase.ranked().moves if m.kind == "check" and not m.crossings)
    chase.accept("check", check.name)
    log.left = appends
    before = len(log.events("trial"))
    assert live.run(chase, console, Robot(clock)) == 1
    text = " ".join(shown(console).split())
    assert "The disk is full." in text and "The last thing acknowledged:" in text and "Traceback" not in text
    assert words.NOT_KEPT in text
    assert len(log.events("trial")) >= before


def test_a_disk_that_is_full_when_leaving_is_said_as_well(kit: Kit) -> None:
    clock, console, log = Clock(), screen(), Full()
    chase = begun(kit, clock, log)
    log.left = 0
    robot = Robot(clock)
    robot.script = ["q"]
    assert live.run(chase, console, robot) == 1
    assert "could not be written" in shown(console)


def test_ctrl_c_between_prompts_leaves_safely(kit: Kit) -> None:
    class Interrupted(Robot):
        def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
            raise KeyboardInterrupt

    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    assert live.run(chase, console, Interrupted(clock)) == 0
    assert chase.state.events[-1].kind == "left"


def test_a_wait_in_plain_lines_may_be_left_and_not_passed() -> None:
    clock, console = Clock(), screen()
    until = clock()
    clock.pass_minutes(-5)
    lines = Lines(io.StringIO("d\nleave\n"), console)
    assert lines.wait(until, clock, [k.WHY, k.LEAVE], lambda width: [], "") == "q"
    assert "5:00 to wait" in shown(console) and "'d' does nothing here" in shown(console)
    with pytest.raises(Stopped) as stopped:
        Lines(io.StringIO(""), console).wait(until, clock, [k.LEAVE], lambda width: [], "")
    assert not stopped.value.left


def test_the_time_left_is_never_shown_as_over_before_it_is() -> None:
    clock = Clock()
    start = clock()
    clock.pass_minutes(4.0)
    assert k.left_words(clock(), start) == "4:00"
    clock.pass_minutes(-4 + 0.2 / 60)
    assert k.left_words(clock(), start) == "0:01"
    assert k.left_words(start, clock()) == "0:00"


def test_words_that_mean_a_key() -> None:
    assert k.LEAVE.meant("Leave") and k.LEAVE.meant("q") and not k.LEAVE.meant("")
    assert k.AGAIN.meant("") and not k.AGAIN.meant("x")
    assert words.RESUME.format(case="x").endswith("--resume x")


# -- people and parts ------------------------------------------------------------------------------


def test_the_parts_of_a_repair_are_asked_for_before_it_counts_as_done(kit: Kit, whole: Whole) -> None:
    chase, text = whole("repair", 100)
    repaired = [e.body for e in chase.log.events(chase.id) if e.kind == "repaired"]
    assert repaired[0]["repair"] == mended(kit).name
    assert repaired[0]["part"]["hours-off"] == 6 and repaired[0]["part"]["pn-on"]
    assert words.PART.split(".")[0] in text
    assert "Part off: P/N" in chase.state.record


def test_the_case_is_passed_on_by_key_with_its_facts_and_the_text_is_shown(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    robot = Robot(clock, chase)
    # An empty answer is no fact: it is asked again.
    robot.script = ["h", "Quill", "", "Marrow", "lead nut A", "Teal", "some", "3"]
    assert live.run(chase, console, robot) == 0
    assert chase.state.here_due and not chase.state.ended
    text = shown(console)
    for said in ("HAND-OVER of case trial", "lead nut A", "This has to be told", "A number is needed", "NEXT: "):
        assert said in text


def test_taking_over_asks_who_is_here_then_who_saw_each_thing(kit: Kit) -> None:
    clock, log = Clock(), Memory()
    chase = begun(kit, clock, log)
    chase.pass_on({"by": "Quill", "to": "Marrow", "loose": "lead nut A", "list-by": "Teal", "out": 0})
    again, console = Chase.resume(kit, log, "trial", clock), screen()
    robot = Robot(clock, again)
    robot.script = ["Marrow: pilot", "Marrow: all; Sable", "x", "Sable", "q"]
    assert live.run(again, console, robot) == 0
    text = shown(console)
    assert "No authorisation is called 'pilot'" in text and "Go and look: lead nut A" in text
    kept = log.events("trial")
    assert kept[-1].kind == "left"
    (walked,) = [e.body for e in kept if e.kind == "loose"]
    assert walked == {"what": "lead nut A", "state": "made good", "facts": {"seen-by": "Sable"}}


def test_a_deferral_is_refused_with_the_way_to_get_it(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    robot = Robot(clock, chase)
    robot.script = ["f", "1", "q"]
    assert live.run(chase, console, robot) == 0
    assert "has not been proven alone since the last work" in " ".join(shown(console).split())
    assert not chase.state.deferral


def test_a_sign_is_told_in_the_chase(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    name, sign = next((n, s) for n, s in kit.fitted.signs.items() if not s.asks_channel)
    robot = Robot(clock, chase)
    digit = "7"
    robot.script = ["t", digit, sign.says[0].replace(",", ""), "q"]
    assert live.run(chase, console, robot) == 0
    assert [s.sign for s in chase.intake.signs] == [name]
    assert sign.title in chase.sign_title(chase.intake.signs[0])


def test_handing_over_a_case_that_has_ended_is_refused(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = begun(kit, clock)
    chase.accept("end", "escalate")
    assert chase.state.ended
    with pytest.raises(Refused, match="has ended"):
        live.hand_over(chase, console, Robot(clock, chase))

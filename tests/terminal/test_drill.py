"""A drill at the terminal: what it shows and asks, what it keeps to itself, and that leaving it loses nothing.

Sessions run in a real pseudo-terminal or by a scripted hand. No outside source: what a trainee has to read is our own
judgement.
"""

from __future__ import annotations

import io
import re
import signal
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from isolate.case.chain import verify
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.store import StoreError, open_store
from isolate.case.written import read_for
from isolate.drill import pilot
from isolate.drill.drive import HINTS, Drive
from isolate.drill.scenario import Scenario
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.terminal import drill, drill_layout, drill_words
from isolate.terminal.keys import Bar, Choices, Face, Search, Stopped
from tests.terminal.screen import ROOT, Terminal

SCENARIOS = ROOT / "scenarios"
BEGUN = "2030-01-31T06:00:00.000Z"
GATE = "gate-intermittent"
FOOT = "Enter does it"
DECIDES = {"answered", "repaired", "access", "refused", "stopped", "waited", "hinted", "suspected", "taken-again",
           "debriefed"}
_KITS: dict[str, Kit] = {}


def kit_of(engine: str) -> Kit:
    if engine not in _KITS:
        _KITS[engine] = Kit(fit(load().knowledge, engine))
    return _KITS[engine]


def begun(name: str = GATE, log: Any = None, **case: Any) -> Drive:
    """Begin a shipped drill; ``case``: what is told otherwise in it."""
    scenario, kit = read_for(SCENARIOS / f"{name}.yaml", Scenario, kit_of)
    if case:
        written = scenario.model_dump(mode="json", by_alias=True, exclude_unset=True)
        scenario = Scenario.model_validate({**written, "case": {**written["case"], **case}})
    return Drive.begin(kit, Memory() if log is None else log, "trial", name, scenario, "Marrow", BEGUN)


def title(drive: Drive, kind: str, key: str) -> str:
    return drive.choice(kind, key).title


class Hand:
    """Types the lines of its script, None for Escape, and then there is no more input."""

    def __init__(self, *script: str | None) -> None:
        self.script = list(script)
        self.prompts: list[str] = []
        self.feet: list[str] = []
        self.searches: list[Search] = []

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Choices = ()) -> str | None:
        assert cell_len(prompt) < 80
        self.prompts.append(prompt)
        self.feet.append("\n".join(line for _, line in bar(80)))
        self.searches += [choices] if isinstance(choices, Search) else []
        if not self.script:
            raise Stopped(left=False)
        return self.script.pop(0)

    def key(self, *told: Any) -> str:
        raise AssertionError("a drill asks for lines only")

    wait = key


def played(drive: Drive, *script: str | None, width: int = 80, finish: Any = None) -> tuple[int, str, Hand]:
    """Play a drill by a script; return the exit status, what was shown, and the hand."""
    hand = Hand(*script)
    face: Face = hand
    shown = io.StringIO()
    console = Console(file=shown, width=width, height=24, highlight=False, markup=False, emoji=False)
    finish = finish or (lambda: pytest.fail("it has not ended"))
    status = drill.play(drive, drive.chase.kit, finish, console, face)
    return status, shown.getvalue(), hand


def one_line(shown: str) -> str:
    return " ".join(shown.split())


def kinds(events: Sequence[Event]) -> list[str]:
    return [e.kind for e in events if e.kind in DECIDES]


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "drills.db"


@pytest.fixture
def terminal(store: Path) -> Iterator[Callable[..., Terminal]]:
    """Return a function that starts ``isolate drill`` with these words in a terminal."""
    begun: list[Terminal] = []

    def start(*said: str, columns: int = 80, rows: int = 24, **env: str) -> Terminal:
        command = ("-m", "isolate", "drill", *said, "--drills", str(store), "--as", "Marrow")
        begun.append(Terminal(*command, columns=columns, rows=rows, **env))
        return begun[-1]

    yield start
    for one in begun:
        one.child.close(force=True)


def trail(store: Path) -> tuple[Event, ...]:
    """Return the trail of the only drill in a store."""
    with open_store(store) as kept:
        (drill,) = kept.cases()
        return kept.events(drill.id)


# -- in a terminal ---------------------------------------------------------------------------------


def test_a_session_from_the_first_page_to_a_kill_and_on(store: Path, terminal: Callable[..., Terminal]) -> None:
    drive = begun()
    t = terminal(GATE, NO_COLOR="1")
    shown = t.until("Nothing is proposed", FOOT)
    assert "Drill: Every other start fails at the gate" in t.visible()
    wait = drive.approved()["ignition-energy"]
    assert f"{wait:.0f} min from 'Low-voltage input of exciter: off and capped" in one_line(shown)
    assert "A did not light, B lit, A did not light" in one_line(shown)
    assert "the second pair of eyes (licensed)" in one_line(shown)
    # Nothing of what the tool believes is on the screen.
    assert "%" not in shown and "suspect" not in shown

    # While it is typed, what may be meant shows and Tab takes it.
    t._before = t.shown()
    t.child.send("warning not")
    t.until("put back", FOOT)
    t.press("\t", "Do: ", FOOT)
    t.press("\x15", "Do:", FOOT)

    # Cautions come before the move; anything but Enter leaves it, and nothing is written.
    stop_fuelling, key = title(drive, "open", "fuelling-stopped"), "fuelling-stopped"
    caution = drive.fitted.cautions["fuelling-near"]
    took = drive.fitted.access[key].open.minutes
    t.type(stop_fuelling, "Enter goes on; anything else", "Enter goes on")
    assert one_line(caution.text) in one_line(t.visible()) and "WARNING" in t.visible()
    t.type("not now", "Left undone", FOOT)
    assert "access" not in kinds(trail(store))
    t.type(stop_fuelling, "Enter goes on; anything else", "Enter goes on")
    t.type("", f"Clock    {took:.0f} min; minute {took:.0f}", f"drill clock minute {took:.0f}")
    assert "OPEN NOW  Fuelling and venting near by" in t.visible()
    # The second time its title is enough.
    t.type(title(drive, "close", key), "Release fuelling and venting again ─", "nothing open, pulled or off")
    t.type(stop_fuelling, "Enter goes on; anything else", "Enter goes on")
    again = one_line(t.shown()).rsplit("Do: ", 1)[1]
    assert caution.title in again and one_line(caution.text)[:40] not in again
    t.type("", "OPEN NOW", FOOT)

    # What cannot be done is refused, and costs nothing.
    clock = next(line for line in t.visible().split("\n") if "drill clock" in line)
    t.type(title(drive, "close", "cowls-open"), "Not done It is not open.", FOOT)
    assert clock in t.visible()

    t.type(title(drive, "check", "light-time-told"), "Means", FOOT)
    assert "It has been lighting later, or with a rumble" in t.visible()

    # What is unsafe is stopped and said, and there are two ways on, after a kill as well.
    t.type(title(drive, "open", "lead-off/A"), "STOPPED. Type again or leave:", "again  leave")
    harms = [d["harm"] for e in trail(store) if e.kind == "stopped" for d in e.body["dangers"]]
    # What it says first is on the screen, nothing of it has gone off the top.
    for what in ("1 stop", f"STOPPED: {title(drive, 'open', 'lead-off/A')}", "It was not done", one_line(harms[0])):
        assert what in one_line(t.visible())
    t.type(title(drive, "check", "breakers-look/A"), "It stands still", "again  leave")
    assert kinds(trail(store))[-1] == "stopped"
    t.child.kill(signal.SIGKILL)
    t.child.close()

    t = terminal("--resume", NO_COLOR="1")
    t.until("STOPPED. Type again or leave:", "again  leave")
    assert harms[0][:50] in one_line(t.shown()) and "Taken up where it was left" in one_line(t.shown())
    t.type("again", "Taken up again from just before it", FOOT)

    # Which of several is meant is asked, and a number picks it.
    t.type("read how long the plug has been in", "Which channel do you mean", "a number picks it")
    t.type("7", "There is no number 7", "a number picks it")
    number = next(n for n in "12345" if f"  {n}  {title(drive, 'check', 'plug-age-read/A')}" in t.visible())
    t.type(number, "Plug A is near or past", FOOT)

    # After three answers the prime suspect is asked for.
    t.type(title(drive, "check", "breakers-look/A"), "Who is your prime suspect now", "no idea")
    t.type("what", "No part is named", "no idea")
    t.type("igniter A 70", "Written down: igniter A, 70% sure.", FOOT)

    # A hint says what it costs before it is given.
    t.type("hint", f"A hint costs {HINTS[0]:.0f} min", "anything else leaves it")
    t.type("no", "No hint", FOOT)
    t.type("hint", f"A hint costs {HINTS[0]:.0f} min", "anything else leaves it")
    t.type("", f"1 hint ({HINTS[0]:.0f} min)", FOOT)

    shown = one_line(t.type("look", f"Hint ({HINTS[0]:.0f} min)", FOOT))
    for what in ("STOPPED before", "70% sure", "It has been lighting later", "since minute"):
        assert what in shown[shown.rindex("where it stands") :]

    t.press("\x03", "Ctrl-C again")
    events = trail(store)
    t.press("\x03", f"isolate drill --resume {events[0].case}")
    assert t.ended() == 0
    assert not t.colours()
    assert trail(store) == events
    verify(events)
    assert kinds(events) == [
        "access", "access", "access", "refused", "answered", "stopped", "taken-again", "answered", "answered",
        "suspected", "hinted",
    ]  # fmt: skip


def test_from_a_repair_to_the_end_on_a_wide_screen(store: Path, terminal: Callable[..., Terminal]) -> None:
    with open_store(store) as kept:
        drive = begun(log=kept)
        key = to_a_repair(drive)
    t = terminal("--resume", "trial", columns=160, rows=40)
    t.until("Taken up where it was left", FOOT)
    assert "Igniter plug A: out, boss blanked, since minute" in t.shown()
    t.type(title(drive, "repair", key), "Enter goes on; anything else", "Enter goes on")
    t.type("", "Before anything is repaired", "no idea")
    t.type("igniter A", "How sure", "not written down")
    t.type("about half", "a number from 0 to 100", "not written down")
    t.type("80%", "1/4 Part number of the part that came off?", "leaves a blank")
    t.type("K-1", "2/4", "leaves a blank")
    t.type("S" * 70, "60 letters at most", "leaves a blank")
    t.type("", "3/4", "leaves a blank")
    t.type("K-2", "4/4", "leaves a blank")
    t.type("S-2", "off: P/N K-1 S/N ____; on: P/N K-2 S/N S-2", FOOT)
    t.press("\x04", "isolate drill --resume trial")
    assert t.ended() == 0 and t.colours()

    with open_store(store) as kept:
        drive = Drive.resume(drive.chase.kit, kept, "trial")
        repaired = [e for e in drive.chase.state.events if e.kind == "repaired"]
        assert [e.body["part"] for e in repaired] == [
            {"pn-off": "K-1", "sn-off": None, "hours-off": None, "starts-off": None, "pn-on": "K-2", "sn-on": "S-2"}
        ]
        assert [e.body["suspect"] for e in drive.chase.state.events if e.kind == "suspected"] == ["igniter/A"]
        to_the_end(drive)
    t = terminal("--resume", "trial", columns=160, rows=40)
    t.until("Taken up where it was left", FOOT)
    t.type("done", "there is no way back", "anything else leaves it")
    t.type("no", "It goes on.", FOOT)
    t.type("done", "there is no way back", "anything else leaves it")
    shown = t.type("", "isolate drill export trial")
    assert t.ended() == 0
    assert "verified, fault found" in shown and "Every other start fails at the gate" in shown
    events = trail(store)
    verify(events)
    assert kinds(events)[-1] == "debriefed"
    # Whoever takes up a drill that has ended sees what came of it again.
    with open_store(store) as kept:
        ended = Drive.resume(drive.chase.kit, kept, "trial")
        status, told, hand = played(ended, finish=lambda: events[-1].body)
    assert status == 0 and not hand.prompts
    assert "This drill has ended" in told
    # At 80 columns and at 160 the same is said.
    assert one_line(told).split("cost ... ")[1].removesuffix(drill_words.NOT_KEPT) in one_line(shown)


def to_a_repair(drive: Drive) -> str:
    """Drive as the tool advises until a repair is to be made, and go the way to it; return its key."""
    while True:
        move = drive.chase.ranked().moves[0]
        if move.kind == "repair":
            repair = drive.fitted.repair(move.name)
            pilot.way(drive, repair.needs, repair.shut)
            return move.name
        pilot.make(drive, drive.choice(move.kind, move.name))


def to_the_end(drive: Drive) -> None:
    """Prove each channel and close up, and leave the last word to others."""
    for key in [k for k in drive.chase.verification if k not in drive.chase.proven()]:
        pilot.make(drive, drive.choice("check", key))
    pilot.way(drive, (), tuple(drive.fitted.access))


# -- by a scripted hand ------------------------------------------------------------------------------


def test_what_is_not_a_move() -> None:
    drive = begun()
    _, shown, hand = played(
        drive, "help", "moves", "moves insulation", "moves nosuchword", "earlier", "again",
        "note the crew was in a hurry", "note", "it rained", "note", None, "xyzzy qwerty", "suspect igniter A", "45",
        "suspect igniter A", None, "nothing wrong 20%", None, "",
    )  # fmt: skip
    said = one_line(shown)
    assert "what you may type" in said and "suspect lead A 60" in said
    assert f"There are {len(drive.choices)} moves" in said
    assert title(drive, "check", "lead-insulation/B") in said and title(drive, "check", "lead-route-look/B") not in said
    assert "nosuchword" in said and drill_words.NO_EARLIER in said and drill_words.NOT_STOPPED in said
    events = drive.chase.state.events
    assert [e.body["text"] for e in events if e.kind == "noted"] == ["the crew was in a hurry", "it rained"]
    assert [(e.body["suspect"], e.body["sure"]) for e in events if e.kind == "suspected"] == [
        ("igniter/A", 0.45), ("nothing", 0.2),
    ]  # fmt: skip
    assert "Written down: igniter A, 45% sure." in said and "Written down: nothing at fault, 20% sure." in said
    assert drive.minutes == 0
    assert all(foot.split("\n")[0].strip() == "nothing open, pulled or off" for foot in hand.feet)
    # The last of it: no more input, and the way on is said. In memory nothing is kept.
    assert drill_words.INPUT_ENDED in said and said.endswith(drill_words.NOT_KEPT)


def test_waits_are_minutes_and_ends_are_asked_twice() -> None:
    drive = begun()
    _, shown, _ = played(
        drive, "wait", "soon", "4 min", "wait 0", "wait", None, "wait 5", "defer channel A", "", "", "defer it", "Z",
        "B", "ref 7", "", "done", "no",
    )  # fmt: skip
    said = one_line(shown)
    assert [e.body["minutes"] for e in drive.chase.state.events if e.kind == "waited"] == [4, 5]
    assert drive.minutes == 9 and "5 min; minute 9" in said
    # A channel that nobody proved is nothing to fall back on: refused, for either channel.
    refused = [e.body["reason"] for e in drive.chase.state.events if e.kind == "refused"]
    assert [why[:17] for why in refused] == ["Channel B has not", "Channel A has not"]
    assert drill_words.GOES_ON in said and not drive.ended


def test_an_end_that_is_not_proven_is_stopped_and_the_suspect_is_asked_for_once_in_three_answers() -> None:
    drive = begun()
    checks = [title(drive, "check", key) for key in ("light-time-told", "breakers-look/A", "plug-age-read/A")]
    more = [title(drive, "check", key) for key in ("breakers-look/B", "plug-age-read/B", "crew-ask")]
    status, shown, hand = played(drive, *checks, "", *more, "igniter b 30", "done", "", "what now", "leave")
    asked = [i for i, prompt in enumerate(hand.prompts) if prompt == drill_words.SUSPECT_PROMPT]
    # Not having an idea is no answer that is asked for at every turn.
    assert asked == [3, 7]
    assert status == 0 and hand.prompts[-1] == drill_words.STOP_PROMPT
    assert "Nobody would have known whether it lights" in one_line(shown)
    assert drive.stopped is not None and not drive.ended
    assert "1 stop" in hand.feet[-1]


def test_what_is_typed_instead_of_a_suspect_is_done() -> None:
    drive = begun()
    key = to_a_repair(drive)
    answers = sum(e.kind == "answered" for e in drive.chase.state.events)
    repair, more = title(drive, "repair", key), title(drive, "check", "breakers-look/B")
    # The repair is left undone for it, and asked about once only.
    _, shown, hand = played(drive, repair, "", more, repair, "", "", None, "leave")
    assert f"{more} ─" in shown and drill_words.LEFT_UNDONE in shown
    made = [e.kind for e in drive.chase.state.events if e.kind in ("answered", "repaired", "suspected")][answers:]
    assert made == ["answered", "repaired"]
    # One answer more makes it worth asking again; nothing told of the parts keeps no part at all.
    assert hand.prompts.count(drill_words.SUSPECT_PROMPT) == 2
    assert all("part" not in e.body for e in drive.chase.state.events if e.kind == "repaired")


def test_what_was_not_written_is_not_said_to_be(monkeypatch: pytest.MonkeyPatch) -> None:
    drive = begun()
    write = drive.chase.write
    said = title(drive, "check", "light-time-told")

    def broken(*items: Any) -> None:
        if drive.chase.state.answers:
            raise StoreError("the disk is full")
        write(*items)

    monkeypatch.setattr(drive.chase, "write", broken)
    status, shown, _ = played(drive, said, title(drive, "check", "breakers-look/A"))
    assert status == 1
    assert "could not be written to the drill: the disk is full" in one_line(shown)
    assert f"The last thing acknowledged: {said}." in one_line(shown)


def test_a_window_too_narrow_is_said_and_one_of_forty_columns_holds_every_line() -> None:
    status, shown, _ = played(begun(), "help", width=39)
    assert status == 1 and "39 columns" in one_line(shown)
    drive = begun("hot-turn")
    status, shown, _ = played(drive, "help", "look", title(drive, "open", "lead-off/B"), "leave", width=40)
    assert status == 0
    assert max(map(cell_len, shown.split("\n"))) <= 40


def test_told_text_is_never_a_code_nor_markup() -> None:
    drive = begun(people=[{"name": "Q\x1b[31muill [bold]x[/]", "may": ["licensed"]}])
    _, shown, _ = played(drive, "note \x1b]0;x\x07[red]", "look", "leave")
    assert "\x1b" not in shown and "[bold]x[/]" in shown and "Note: [red]" in shown


def test_the_opening_tells_all_that_was_told_and_nothing_that_is_believed() -> None:
    for path in sorted(SCENARIOS.glob("*.yaml")):
        scenario, kit = read_for(path, Scenario, kit_of)
        drive = Drive.begin(kit, Memory(), "trial", path.stem, scenario, "", BEGUN)
        shown = io.StringIO()
        console = Console(file=shown, width=80, highlight=False, markup=False, emoji=False)
        console.print(drill_layout.opening(drive, 80))
        said = one_line(shown.getvalue())
        assert scenario.title in said and one_line(scenario.story) in said, path
        intake = drive.chase.intake
        for work in intake.done:
            assert kit.fitted.repair(work.key).title in said, path
        for person in intake.people:
            assert person.name in said, path
        if intake.minutes_left is not None:
            assert "to departure" in said, path
        for name, length in drive.approved().items():
            if length > 0 and any(a.name in kit.fitted.cautions[name].since for a in kit.fitted.access.values()):
                assert f"{length:.0f} min from" in said or f"{length:.0f} min after" in said, (path, name)
        titles = {m.title for zone in kit.fitted.zones.values() for m in zone.modes.values()}
        assert not [title for title in titles if title.casefold() in said.casefold().replace(scenario.title, "")
                    and title.casefold() not in one_line(scenario.story).casefold()], path  # fmt: skip


def test_earlier_cases_are_told_without_what_they_make_of_the_suspects() -> None:
    drive = begun("third-plug")
    _, shown, _ = played(drive, "earlier", "leave")
    told = one_line(shown.split("earlier cases on this engine ─", 1)[1])
    earlier = drive.chase.intake.earlier
    assert earlier
    for case in earlier:
        for item in case.evidence:
            entries = drive.fitted.checks if item.kind == "answer" else drive.fitted.repairs
            assert entries[item.key].title in told
    assert "%" not in told


def test_the_foot_fits_every_width_and_says_how_much_it_leaves_out() -> None:
    drive = begun()
    assert drill_layout.bar(drive)(80)[0] == ("open", " nothing open, pulled or off")
    to_a_repair(drive)
    opened = drive.chase.open_now()
    for width in (40, 60, 80, 120, 160):
        lines = drill_layout.bar(drive)(width)
        assert all(cell_len(line) <= width for _, line in lines), width
        top = [line for style, line in lines if style == "open"]
        assert len(top) <= 2 and top[0].startswith(" OPEN NOW"), width
        shown = sum(any(word in line for line in top) for _, _, word in opened)
        assert shown == len(opened) or "more" in top[-1], width
    assert len(drill_layout.standing(drive)) == len(opened)


def page_of(drive: Drive, height: int) -> str:
    stop = drive.stopped
    assert stop is not None
    shown = io.StringIO()
    console = Console(file=shown, width=80, height=height, highlight=False, markup=False, emoji=False)
    console.print(drill_layout.stopped(drive, stop, console))
    return shown.getvalue()


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.!?])\s+", one_line(text))


def test_a_stop_says_each_of_its_dangers_once() -> None:
    drive = begun()
    came = drive.do(drive.choice("check", "lead-insulation/A"))
    assert came.kind == "stopped" and len(came.dangers) > 1
    wide, said = one_line(page_of(drive, 100)), one_line(page_of(drive, 24))
    told = {sentence for d in came.dangers for sentence in (*sentences(d.harm), *sentences(d.says))}
    assert all(wide.count(sentence) == 1 for sentence in told)
    assert "against it" not in wide
    assert one_line(came.dangers[0].harm) in said


@pytest.mark.parametrize("name", [GATE, "after-the-bump"])
def test_every_stop_fits_the_screen_with_its_first_harm(name: str) -> None:
    """With nothing open and with some: headline, first harm and the ways on stand above the prompt and the foot."""
    drive = begun(name)
    stops = 0
    for opened in ((), ("notices", "breakers-pulled", "wind-checked")):
        for key in opened:
            drive.do(drive.choice("open", key))
        for choice in [c for c in drive.choices if c.key.partition("/")[2] in ("", drive.fitted.channels[0])]:
            if choice.kind in ("wait", "end", "inspect") or not drive.hindered(choice):
                continue
            came = drive.do(choice)
            if came.kind != "stopped":
                continue
            page = page_of(drive, 24)
            said = one_line(page)
            stops += 1
            foot = len(drill_layout.bar(drive)(80))
            assert page.count("\n") + 2 + foot <= 24, (choice, page)
            assert f"STOPPED: {one_line(drill_layout.titled(choice))}" in said
            assert one_line(came.dangers[0].harm) in said
            assert all(way in said for way, _ in drill_words.STOP_KEYS)
            drive.again()
    assert stops > 20


def test_what_does_not_fit_is_counted() -> None:
    drive = begun()
    body = {"move": "lead-off/A", "kind": "open", "dangers": [
        {"says": f"Reason {n} {'is long ' * 20}.", "harm": f"Harm {min(n, 1)}.", "rule": "x", "source": []}
        for n in range(9)
    ]}  # fmt: skip
    drive.chase.write(("stopped", {**body, "dangers": [*body["dangers"], body["dangers"][0]]}))
    page = page_of(drive, 24)
    assert page.count("\n") + 2 + len(drill_layout.bar(drive)(80)) <= 24
    said = one_line(page)
    assert "Harm 0." in said and said.count("Harm") == 2 and "Reason 0" in said
    shown = sum(f"Reason {n} " in said for n in range(9))
    # The tenth says nothing that was not said.
    assert f"{9 - shown} more that stand against it" in said
    # However small the window is, the first harm is told.
    assert "Harm 0." in one_line(page_of(drive, 5)) and "STOPPED" in page_of(drive, 5)


def test_what_is_typed_where_enter_goes_on_is_done_next() -> None:
    drive = begun()
    stop, more = title(drive, "open", "fuelling-stopped"), title(drive, "check", "light-time-told")
    status, shown, hand = played(drive, stop, more, stop, "no", stop, "yes", stop, "xyzzy", stop, "look", "hint",
                                 "note later", "done", more, stop, "leave")  # fmt: skip
    assert status == 0
    said = one_line(shown)
    assert "answered" in kinds(drive.chase.state.events)
    assert not {"access", "hinted"} & set(kinds(drive.chase.state.events))
    assert said.count(drill_words.LEFT_UNDONE) == 6 and said.index(drill_words.LEFT_UNDONE) < said.index("Means")
    assert drill_words.ONLY_ENTER in said and "where it stands" in said and "Noted." in said
    assert "xyzzy" not in said and not drive.ended
    assert not hand.script


def test_one_that_may_be_meant_is_taken_by_enter_and_a_new_order_leaves_it() -> None:
    drive = begun()
    told, more = title(drive, "open", "fuelling-stopped"), title(drive, "check", "light-time-told")
    # What is shut cannot be put back: one is left of the two, and it is asked about.
    one = "the notices"
    _, shown, hand = played(drive, one, "", "", one, None, one, more, one, "no", "leave")
    opened = [e.body["access"] for e in drive.chase.state.events if e.kind == "access"]
    assert opened == ["notices"] and "light-time-told" in drive.chase.state.answers
    assert hand.prompts[1] == drill_words.ONE_PROMPT
    said = one_line(shown)
    assert said.count(drill_words.NOT_THAT) == 1 and said.count("Take the warning notices down (put back)") == 3
    # What was denied is not taken by Enter, nor by another word of the same.
    drive = begun()
    _, shown, hand = played(drive, "don't stop the fuelling", "", told, None, "leave")
    assert hand.prompts[1] == drill_words.WHICH_PROMPT and not kinds(drive.chase.state.events)


def test_a_number_that_is_a_channel_as_well_is_never_guessed_at() -> None:
    drive = begun("after-the-bump")
    played(drive, "read how long the plug has been in", "2", "read how long the plug has been in", "channel 1", "leave")
    assert {"plug-age-read/2", "plug-age-read/1"} <= set(drive.chase.state.answers)
    # With plug 1 out only the other may be meant: "1" is its number here, and the channel that is out.
    drive = begun("after-the-bump")
    drive.chase.write(("access", {"access": "plug-out/1", "state": "open", "minutes": 0}))
    _, shown, hand = played(drive, "take the plug out", "1", None, "plug 1", "1", None, "leave")
    said = one_line(shown)
    assert drill_words.TWO_MEANINGS.format(number=1) in said and hand.prompts[1:3] == [drill_words.ONE_PROMPT] * 2
    # Where all are of one channel a number is but a number.
    assert said.count("STOPPED") + said.count(drill_words.REFUSED) + said.count(drill_words.LEFT_UNDONE) > 1
    assert said.count("is a number in the list") == 1


def test_a_deferral_asks_for_what_was_not_told() -> None:
    drive = begun()
    _, shown, hand = played(drive, "defer B, MEL 74-1", "no", "defer channel B", "R-1", "no", "leave")
    assert hand.prompts[1] == drill_words.END_IT and hand.prompts[3] == drill_words.REFERENCE_PROMPT
    assert drill_words.REFERENCE in one_line(shown)


def test_when_the_engine_ran_is_told() -> None:
    def row(drive: Drive) -> str:
        shown = io.StringIO()
        Console(file=shown, width=80, highlight=False).print(drill_layout.look(drive, 80))
        told = one_line(shown.getvalue().split("Place", 1)[1].split("\nHere")[0])
        assert told.count("engine ") == 1
        return told

    assert row(begun()).endswith("taken as cold")
    assert row(begun("hot-turn")).endswith("shut down 15 min before this begins")
    assert row(begun(now="hot")).endswith("shut down just now")
    drive = begun()
    events = [*drive.chase.state.events]
    run = next(k for k, c in drive.fitted.checks.items() if "engine-run" in c.entry.tags)
    pilot.make(drive, drive.choice("check", run))
    assert len(drive.chase.state.events) > len(events)
    assert "of this drill" in row(drive)


def test_channels_that_are_numbers_are_called_channels() -> None:
    drive = begun("after-the-bump")
    shown = io.StringIO()
    Console(file=shown, width=80, highlight=False).print(drill_layout.opening(drive, 80))
    starts = one_line(shown.getvalue().split("Starts", 1)[1])
    assert re.search(r"channel [12] (lit|did not light)", starts) and not re.search(r"[:,] [12] (lit|did)", starts)


def test_completions_are_offered_as_they_are_taken() -> None:
    drive = begun()
    _, shown, hand = played(drive, "take the lead off", "A", None, "read how long the plug has been in", "channel b")
    # The answer "A" leaves the two ends of that lead to choose from.
    assert [shown.count(f"Ignition lead {c} at the plug: off") for c in "AB"] == [2, 1]
    assert "Which channel do you mean: A or B?" in shown and title(drive, "check", "plug-age-read/B") in shown
    assert "plug-age-read/B" in drive.chase.state.answers
    found = hand.searches[0].find("lead a")
    assert found and all(kind in drill_words.KINDS.values() for _, _, kind in found)
    assert hand.searches[0].find("") == hand.searches[0].find("  ") == []
    phrase = found[0][0]
    before = drive.minutes
    played(drive, phrase, "again", "leave")
    assert {"access", "answered", "refused", "stopped"} & set(kinds(drive.chase.state.events)), phrase
    assert drive.minutes >= before


def test_every_kind_of_move_has_its_words() -> None:
    assert {c.kind for c in begun().choices} == set(drill_words.KINDS) == set(drill_words.GROUPS)

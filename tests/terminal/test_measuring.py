"""A reading at the terminal: asked for, said back, refused and asked again, shown, answered, noted, left.

Outside source: none; the words are the house's own. What the calculations give is for tests/calc and tests/published.
"""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from isolate.calc import CALLED, TITLES, calculation
from isolate.case import measured
from isolate.case.case import RECORD, Person
from isolate.case.chase import Chase, Kit
from isolate.case.play import Clock
from isolate.case.steps import Ask, Mend
from isolate.case.store import open_store
from isolate.reasoning.starts import Start
from isolate.terminal import keys as k
from isolate.terminal import layout, live, words
from isolate.terminal.keys import Bar, Choices, Search
from isolate.terminal.measuring import _wanted as wanted
from isolate.terminal.measuring import named, paths, unreadable
from tests.case.test_measured import begun as told_case
from tests.case.test_measured import log, recorder, same
from tests.terminal.screen import Terminal
from tests.terminal.test_live import Robot, begun, screen, shown
from tests.terminal.test_session import FOOT, take
from tests.terminal.test_session import Start as Starts

pytestmark = pytest.mark.usefixtures("brief")
__all__ = ["recorder"]
VOLTS = ["28.1 V", "loaded=22.1 V", "least=24 V", ".", "the data's task 4"]
"""What is typed at a supply; all but the first by its name, so that it is no matter what the check asks for."""


class Hand(Robot):
    """Presses and types what it is told; Escape is written ``<esc>``."""

    def __init__(self, clock: Clock, *script: str) -> None:
        super().__init__(clock)
        self.script = list(script)
        self.asked: list[tuple[str, Choices]] = []
        self.by: list[str] = []
        """What is typed to who read it; Enter once there is nothing more."""

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Choices = ()) -> str | None:
        for width in (40, 80, 160):
            assert all(cell_len(text) <= width for _, text in bar(width))
        self.asked.append((prompt, choices))
        if isinstance(choices, tuple) and "Marrow" in choices:
            return self.by.pop(0) if self.by else ""
        typed = self.script.pop(0)
        return None if typed == "<esc>" else typed


def at(kit: Kit, clock: Clock, check: str = "supply-read") -> Chase:
    chase = begun(kit, clock)
    chase.accept("check", check)
    assert isinstance(chase.now(), Ask)
    return chase


def volts(kit: Kit) -> str:
    """Return the digit of the voltmeter among the readings of the supply."""
    entry = kit.fitted.check("supply-read").entry.calculations(kit.fitted.profile.features)
    return str(next(i for i, one in enumerate(entry, 1) if one.calc == "volts"))


def run(kit: Kit, *script: str, width: int = 80, chase: Chase | None = None) -> tuple[Chase, str, Hand]:
    clock, console = Clock(), screen(width)
    chase = chase or at(kit, clock)
    hand = Hand(clock, "m", *script, "q")
    assert live.run(chase, console, hand) == 0
    text = shown(console)
    assert all(cell_len(line) <= width for line in text.splitlines())
    return chase, " ".join(text.split()), hand


def answers(chase: Chase) -> list[dict[str, Any]]:
    return [dict(e.body) for e in chase.state.events if e.kind == "answered" and e.seq not in chase.state.void]


# -- with a meter ------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 80, 120])
def test_a_reading_answers_its_check(kit: Kit, width: int) -> None:
    chase, text, hand = run(kit, volts(kit), *VOLTS, "", width=width)
    (answer,) = answers(chase)
    assert answer["outcome"] == "low" and answer["reading"]["reference"] == "the data's task 4"
    assert "= 28.1 ± 0.05 V" in text, "what was understood is said back"
    said = kit.fitted.check("supply-read").said("low")
    assert words.PROPOSED.format(number=2, said=said) in text
    assert text.index("Reading: Low") < text.index("22.05 to 22.15 V"), "the verdict first"
    assert "your approved data allows" in " ".join([text, *(p for p, _ in hand.asked)]), "a limit is marked"
    same(kit, chase)


def test_what_is_ambiguous_is_refused_with_the_reason_and_asked_again(kit: Kit) -> None:
    chase, text, _ = run(kit, volts(kit), "28.1", "", "OL", *VOLTS, "")
    assert "The unit is missing" in text and "This has to be told." in text
    assert answers(chase)[0]["reading"]["given"]["volts"] == "28.1 V"


def test_what_does_not_fit_together_is_asked_again_by_itself(kit: Kit) -> None:
    # Volts ten times what they should be: only those are asked for anew.
    chase, text, _ = run(kit, volts(kit), "281 V", *VOLTS[1:], "28.1 V", "")
    assert "four times" in text
    assert answers(chase)[0]["outcome"] == "low"
    # Back from there is back among all of them.
    back = ["<", "", "<", "<", "volts=28.1 V", ".", VOLTS[-1], ""]
    chase, text, _ = run(kit, volts(kit), "281 V", *VOLTS[1:], *back)
    assert answers(chase)[0]["reading"]["given"]["volts"] == "28.1 V"


def test_a_limit_without_its_place_is_asked_for_it(kit: Kit) -> None:
    _, text, _ = run(kit, volts(kit), *VOLTS[:-1], "", VOLTS[-1], "")
    assert "has to be told" in text


@pytest.mark.parametrize("script", [("b",), ("1", "<esc>"), ("1", "28.1 V", "<esc>"), ("1", *VOLTS[:-1], "<esc>"),
                                    ("1", "<"), ("1", *VOLTS, "b")])  # fmt: skip
def test_left_it_leaves_nothing(kit: Kit, script: Sequence[str]) -> None:
    chase, text, _ = run(kit, *script)
    assert not answers(chase) and not chase.state.notes and isinstance(chase.now(), Ask)
    half = len(script) > 2
    assert (words.HALF_READ in text) == half and (words.NOTHING_READ in text) == (not half and script != ("b",))


def test_left_half_way_it_goes_on_with_what_was_typed(kit: Kit) -> None:
    # Left by Escape at the third figure; a note in between is no other state of the aircraft.
    again = ["m", volts(kit), "", "", "24 V", ".", "task 4", "b", "m", volts(kit), *[""] * 5, ""]
    chase, text, hand = run(kit, volts(kit), "28.1 V", "22.1 V", "<esc>", "n", "called away", *again)
    asked = " ".join([text, *(prompt for prompt, _ in hand.asked)])
    assert text.count(words.HALF_READ) == 2 and text.count(words.TAKEN_UP) == 2 and words.TOLD_BEFORE not in text
    assert "(Enter: 28.1 V)" in asked and "(Enter: 22.1 V; - leaves it out)" in asked and "(Enter: task 4)" in asked
    (answer,) = answers(chase)
    assert answer["reading"]["given"] == {"volts": "28.1 V", "loaded": "22.1 V", "least": "24 V"}
    assert answer["reading"]["reference"] == "task 4"
    same(kit, chase)


def test_what_was_typed_is_forgotten_once_the_work_has_gone_on(kit: Kit) -> None:
    # Another check answered in between: the supply is read anew then.
    clock = Clock()
    chase = at(kit, clock)
    session = live._Session(chase, screen(), Hand(clock, volts(kit), "28.1 V", "<esc>", volts(kit), "<esc>"))
    from isolate.terminal.measuring import measure

    measure(session, chase.now())
    assert [half.typed for half in session.half_read.values()] == [{"volts": "28.1 V"}]
    chase.take_back()
    chase.accept("check", "standby-read")
    chase.answer(None)
    chase.accept("check", "supply-read")
    measure(session, chase.now())
    assert words.TAKEN_UP not in " ".join(shown(session.console).split())


def test_a_question_mark_names_what_may_be_told_by_name(kit: Kit) -> None:
    _, text, _ = run(kit, volts(kit), "?", "28.1 V", "<esc>")
    assert "Told by name at any question, as in most=…: volts, loaded, least, most." in text
    assert "Esc leaves it" in text and "Ctrl-D stops" not in text
    assert text.index("It takes V, mV") < text.index("Worked out by")


def test_a_reading_without_its_limit_says_what_is_wanting(
    kit: Kit, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from isolate.terminal.measuring import measure

    for key, typed, said in (
        ("lead-insulation/B", ["20 Mohm", "500 V", "dry", "", "", ""], words.NO_LIMIT),
        ("plug-torque-check/B", ["100 lbf·in", "10 in", ""], words.UNJUDGED),
    ):
        chase, console = on_a_step(kit, monkeypatch, key), screen()
        with pytest.raises(live._Left):
            measure(live._Session(chase, console, Hand(Clock(), *typed, "q")), chase.now())
        assert said in " ".join(shown(console).split()), key


def test_who_read_it_and_with_what_stands_with_the_reading(kit: Kit) -> None:
    clock, console = Clock(), screen()
    chase = at(kit, clock)
    # Too long; back to the limits and on; told; at the next reading it stands after Enter, and is left out there.
    hand = Hand(clock, "m", volts(kit), *VOLTS, ".", "", "k", "m", volts(kit), *[""] * 6, "q")
    hand.by = ["x" * 201, "<", "Marrow, meter M-14", "-"]
    assert live.run(chase, console, hand) == 0
    asked = " ".join(" ".join([shown(console), *(prompt for prompt, _ in hand.asked)]).split())
    assert "200 letters at most." in asked and "(Enter: Marrow, meter M-14; - leaves it out)" in asked
    note = next(e for e in chase.state.events if e.kind == "noted")
    assert note.body["reading"]["by"] == "Marrow, meter M-14" and "by" not in answers(chase)[0]["reading"]
    assert "Read by: Marrow, meter M-14." in measured.lines(note.body["reading"])
    same(kit, chase)


def test_who_is_here_alone_read_it_by_enter(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, people=(Person("Marrow"),))
    chase.accept("check", "supply-read")
    run(kit, volts(kit), *VOLTS, "", chase=chase)
    assert answers(chase)[0]["reading"]["by"] == "Marrow"


def test_what_is_wanting_is_asked_for_among_what_the_step_asks(
    kit: Kit, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The age alone is held against nothing: the step's own questions come again, not a list that nobody has at hand.
    from isolate.terminal.measuring import measure

    chase, console = on_a_step(kit, monkeypatch, "plug-age-read/B"), screen()
    hand = Hand(Clock(), "2600 starts", "", "", "", "", "3000 starts", "task 4", "q")
    with pytest.raises(live._Left):
        measure(live._Session(chase, console, hand), chase.now())
    text = " ".join([*shown(console).split(), *(prompt for prompt, _ in hand.asked)])
    assert "or an age and the scheduled life" in text and "List of removals" not in text
    assert "This is answer" in text


def test_a_screen_without_our_signs_has_them_spelt_out(kit: Kit) -> None:
    run(kit, "b")
    assert "30 MΩ ± 5 % → ──".encode("ascii", "spelt") == b"30 Mohm +/- 5 % -> --"


def test_every_reading_is_called_by_what_somebody_has_at_hand(kit: Kit) -> None:
    assert set(CALLED) == set(TITLES)
    _, text, _ = run(kit, "b")
    assert "1 Volts of a supply 2 A recorded start" in text or "1 A recorded start 2 Volts of a supply" in text


def test_one_goes_back_and_tells_by_name_and_asks_no_more(kit: Kit) -> None:
    by_name = ["loaded=22.1 V", "volts=28.2 V", "most=", "most=30 V", "least = 24 V"]
    chase, text, _ = run(kit, volts(kit), "28.1 V", "<", "", *by_name, ".", "task", "")
    given = answers(chase)[0]["reading"]["given"]
    assert given == {"volts": "28.2 V", "loaded": "22.1 V", "least": "24 V", "most": "30 V"}
    assert "volts = 28.2 ± 0.05 V" in text and "most: left out." in text


def test_no_more_is_not_taken_where_something_has_to_be_told(kit: Kit) -> None:
    chase, text, _ = run(kit, volts(kit), ".", "28.1 V", ".", "24 V", ".", "task", "k")
    assert "still to be told" in text
    note = next(e for e in chase.state.events if e.kind == "noted")
    assert note.body["reading"]["given"] == {"volts": "28.1 V", "least": "24 V"}


def test_what_was_told_before_is_taken_by_enter(kit: Kit) -> None:
    # Kept as a note first; then the same step is answered: nothing is typed twice, one is left out after all.
    chase, text, hand = run(kit, volts(kit), *VOLTS, "k", "m", volts(kit), *[""] * 6)
    asked = " ".join([text, *(prompt for prompt, _ in hand.asked)])
    assert words.TOLD_BEFORE in text and "(Enter: 28.1 V)" in asked and "(Enter: 22.1 V; - leaves it out)" in asked
    assert answers(chase)[0]["reading"]["given"] == {"volts": "28.1 V", "loaded": "22.1 V", "least": "24 V"}
    assert answers(chase)[0]["reading"]["reference"] == VOLTS[-1]
    same(kit, chase)


def test_another_answer_says_why(kit: Kit) -> None:
    chase, text, _ = run(kit, volts(kit), *VOLTS, "1", "", "1", "on the other bus")
    assert "Nothing was answered." in text
    assert answers(chase)[0]["outcome"] == "right" and chase.state.notes == ["on the other bus"]
    same(kit, chase)


def test_what_cannot_be_told_is_read_again_or_left_open(kit: Kit) -> None:
    near = ["28.1 V", "loaded=24.0 V", "least=24 V", ".", "task"]
    again = ["", "24.00 V ± 0.5", ".", ""]
    chase, text, hand = run(kit, volts(kit), *near, "m", *again, "u")
    assert words.UNDECIDED in text
    assert "(Enter: 24.0 V; - leaves it out)" in " ".join([text, *(asked for asked, _ in hand.asked)])
    assert answers(chase)[0]["outcome"] is None and "supply-read" in chase.state.unsure
    assert answers(chase)[0]["reading"]["given"]["loaded"] == "24.00 V ± 0.5"
    same(kit, chase)


def test_it_is_kept_as_a_note(kit: Kit) -> None:
    chase, _, _ = run(kit, volts(kit), *VOLTS, "k")
    assert not answers(chase) and isinstance(chase.now(), Ask)
    note = next(e for e in chase.state.events if e.kind == "noted")
    assert note.body["about"] == "supply-read" and note.body["reading"]["verdict"] == "low"
    same(kit, chase)


def test_why_shows_what_was_read(kit: Kit) -> None:
    chase, _, _ = run(kit, volts(kit), *VOLTS, "")
    console = screen(80)
    console.print(layout.why(chase, None, 80))
    text = " ".join(shown(console).split())
    assert "22.1 V (22.05 to 22.15 V)" in text and "24 V (the data's task 4)" in text


@pytest.mark.parametrize("width", [80, 40])
def test_verdict_and_answers_stay_on_one_screen(kit: Kit, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    """However much came out: the verdict at the top, and below it the answers and the block at the foot."""
    from isolate.terminal.measuring import measure

    chase = on_a_step(kit, monkeypatch, "lead-insulation/B")
    height = 24 if width == 80 else 40
    console = Console(width=width, height=height, file=io.StringIO(), force_terminal=True, color_system=None,
                      legacy_windows=False)  # fmt: skip
    typed = ["12 Mohm; 11 Mohm; 9 Mohm", "500 V", "damp", "8 °C", "100 Mohm", "500 V", "task 4"]
    hand = Hand(Clock(), *typed, "l", "p", "q")
    with pytest.raises(live._Left):
        measure(live._Session(chase, console, hand), chase.now())
    text = shown(console)
    after = text[text.index("It falls while it is watched") :]
    said, _, more = after.partition("Enter takes it;" if width == 80 else "Enter takes")
    foot = len(layout.bar(chase, [k.UNSURE, k.KEEP, k.MEASURE, k.LINES, k.PICTURE, k.BACK, k.LEAVE])(width))
    # The proposal ends a line further down, and the prompt stands below it.
    assert len(said.splitlines()) + 2 + foot <= height
    assert "more lines: l shows them." in said, "what there is no room for is a key away"
    assert "could not tell" in said and "could not tell" not in more, "after a picture only the proposal is said again"
    assert more.count("This is answer 2") == 2


def test_a_check_without_a_calculation_has_no_such_key(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    chase.accept("check", "when-ask")
    hand = Hand(clock, "q")
    console = screen()
    live.run(chase, console, hand)
    assert "m measure" not in shown(console)


def test_the_key_says_what_it_does_at_the_step(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    for key, said in (
        ("plug-torque-check/B", "m measure: work out what to set the wrench to"),
        ("recorded-start-read", "m measure: read a recorder's log of the start"),
        ("spark-test/B", "m measure: read a recording of the spark test"),
        ("supply-read", f"m {layout.MEASURE}"),
    ):
        chase, console = on_a_step(kit, monkeypatch, key), screen()
        with pytest.raises(live._Left):
            live._Session(chase, console, Hand(Clock(), "q"))._step(chase.now())
        assert said in shown(console), key


def test_a_reading_at_a_repair_is_a_note_with_it(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    key = next(key for key, r in kit.fitted.repairs.items() if any(one.calc == "torque" for one in r.entry.reads))
    step = Mend("A repair", key, (), (), (), "", 5.0)
    assert layout.measures(chase, step)
    hand = Hand(clock, "20 N·m", *[""] * 20)
    console = screen()
    session = live._Session(chase, console, hand)
    from isolate.terminal.measuring import measure

    entry = kit.fitted.repair(key).entry.calculations(kit.fitted.profile.features)[0]
    hand.script = (
        [{"wanted": "20 N·m", "handle": "300 mm"}.get(n, "") for n in entry.asks] if entry.asks else hand.script
    )
    hand.script.append("")
    measure(session, step)
    note = next(e for e in chase.state.events if e.kind == "noted")
    assert note.body["about"] == key and note.body["reading"]["calc"] == "torque"
    assert words.AT_A_REPAIR in " ".join(shown(console).split())


def test_what_is_asked_at_once_gives_a_verdict(kit: Kit) -> None:
    """At each check whose reading answers it, all that it takes is asked for; the rest is a word away."""
    for key, check in kit.fitted.checks.items():
        for one in check.entry.calculations(kit.fitted.profile.features):
            calc = calculation(one.calc)
            asked = wanted(calc, one, True)
            assert asked and set(asked) <= {*calc.names} - {*one.given}
            assert {i.name for i in calc.inputs if i.default is None} - {*one.given} <= {*asked}
            assert {*one.asks} <= {*asked}
            few = [i.name for i in calc.inputs if i.limit]
            if one.gives and len(few) <= 2:
                assert set(few) <= set(asked), f"{key}: without its limit there is no verdict"


# -- with a record -----------------------------------------------------------------------------------


def of_log(kit: Kit, path: Path, *script: str) -> tuple[Chase, str, Hand]:
    clock = Clock()
    chase = told_case(kit, starts=(Start("B", False), Start("A", True)))
    chase.clock = clock
    chase.accept("check", "recorded-start-read")
    return run(kit, str(path), "", "", "", *script, chase=chase)


def test_a_record_answers_more_and_its_start_is_told_once(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase, text, hand = of_log(kit, log(tmp_path, name="a start.csv"), "y", "1")
    within = [a["within"] for a in answers(chase)]
    assert within.count(RECORD) == len(within) - 1 >= 1
    assert "The same record also says:" in text and "(seconds 5.0 to 40.0)" in text
    assert "What this record says, for and against:" in text and " bits)" in text
    assert "seconds 3.0 to 40.0" in text, "what it weighs is told with where it comes from"
    assert len(chase.intake.starts) == 2 and chase.intake.starts[0].at == "2026-11-27 05:58"
    assert isinstance(hand.asked[0][1], Search), "names of files are completed"
    same(kit, chase)


def test_what_a_record_weighs_stays_until_it_was_read(kit: Kit, tmp_path: Path, recorder: None) -> None:
    # All of it is on the trail by then, and the next card comes only after Enter.
    chase, text, _ = of_log(kit, log(tmp_path), "y", "1", "")
    weighs = "What this record says, for and against:"
    assert "── Next:" in text.partition(weighs)[2] and text.index("taken in with the starts") < text.index(weighs)
    left, text, _ = of_log(kit, log(tmp_path), "y", "1")
    assert weighs in text and "── Next:" not in text.partition(weighs)[2]
    assert [dict(e.body) for e in left.state.events if e.kind in ("answered", "told")] == [
        dict(e.body) for e in chase.state.events if e.kind in ("answered", "told")
    ]


def test_of_a_record_one_is_left_out_or_none_taken(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase, text, _ = of_log(kit, log(tmp_path), "1", "y", "2")
    assert "left out" in text
    some = {a["check"] for a in answers(chase)}
    assert "command-read/B" in some or "supply-read" in some
    assert len(chase.intake.starts) == 3 and chase.intake.starts[-1].channel == "B"
    chase, _, _ = of_log(kit, log(tmp_path), "n", "b")
    assert [a["check"] for a in answers(chase)] == ["recorded-start-read"] and len(chase.intake.starts) == 2


def test_until_all_of_a_record_is_asked_nothing_of_it_is_on_the_trail(
    kit: Kit, tmp_path: Path, recorder: None
) -> None:
    # Cut off at the list, the step and with it the list come back; an answer on the trail would have lost the list.
    # Likewise at the question which of the starts told was recorded.
    for script in (["q"], ["y", "q"]):
        chase, text, _ = of_log(kit, log(tmp_path), *script)
        assert "The same record also says:" in text and "Answered:" not in text
        assert ("The start that was recorded" in text) == (len(script) > 1)
        assert not answers(chase) and isinstance(chase.now(), Ask)
        same(kit, chase)


def test_the_starts_that_a_record_can_be_come_first(kit: Kit, tmp_path: Path, recorder: None) -> None:
    _, text, _ = of_log(kit, log(tmp_path), "n", "b")
    assert "1 it is number 1 of 2 told: channel B did not light 2 it is not among" in text
    assert "3 it is the latest told: channel A lit" in text
    # Told not to have lit, and recorded as lit: it stays in the history as it was told, and is no new start.
    chase, text, _ = of_log(kit, log(tmp_path, "B as-ever present lit"), "n", "1")
    assert "it is not among the starts told" not in text
    assert [(s.channel, s.lit) for s in chase.intake.starts] == [("B", False), ("A", True)]
    assert chase.intake.starts[0].at and chase.intake.starts[0].seconds is None
    same(kit, chase)


def on_a_step(kit: Kit, monkeypatch: pytest.MonkeyPatch, key: str) -> Chase:
    """A case at a check, as if all that it needs were so: what is tested is what follows."""
    chase = told_case(kit, starts=(Start("B", False), Start("A", True)))
    check = kit.fitted.check(key)
    said = tuple((name, check.said(name), "") for name in check.outcomes)
    step = Ask(check.title, key, "check", "", (), (), (), said, 20.0)
    monkeypatch.setattr(chase, "now", lambda: step)
    return chase


def test_a_start_made_for_a_check_is_counted_once(
    kit: Kit, tmp_path: Path, recorder: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    from isolate.terminal.measuring import measure

    chase, console = on_a_step(kit, monkeypatch, "start-alone/B"), screen()
    other = log(tmp_path, "A as-ever present", "other.csv")
    hand = Hand(Clock(), str(other), "", str(log(tmp_path)), "", "")
    measure(live._Session(chase, console, hand), chase.now())
    text = " ".join(shown(console).split())
    assert "This record is of channel A, which is not what this step is about." in text
    assert [a["outcome"] for a in answers(chase)] == ["no-light"] and not hand.script
    assert len(chase.intake.starts) == 2 and "The start that was recorded" not in text
    assert "The same record also says" not in text


def test_a_record_that_said_it_is_told_so_before_anything_is_asked(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase, _, _ = of_log(kit, log(tmp_path), "n", "b")
    chase.accept("check", "crank-speed-read")
    script = [str(log(tmp_path)), "", "", "", "k"]
    _, text, _ = run(kit, *script, chase=chase)
    assert words.SAID_BEFORE.format(had="this record said it at recorded-start-read") in text
    assert "crank-speed-read" not in chase.state.answers and "The same record also says" not in text


def test_good_starts_named_once_are_offered_again(kit: Kit, tmp_path: Path, recorder: None) -> None:
    good = log(tmp_path, "A as-ever present lit", "good.csv")
    clock = Clock()
    chase = told_case(kit, starts=(Start("B", False), Start("A", True)))
    chase.clock = clock
    chase.accept("check", "recorded-start-read")
    again = ["m", "", "", "", "m", "", "-", "", "k"]
    _, text, hand = run(kit, str(log(tmp_path)), str(good), "", "b", "m", str(log(tmp_path)), "", "", *again,
                        chase=chase)  # fmt: skip
    asked = "".join("".join([text, *(prompt for prompt, _ in hand.asked)]).split())
    assert asked.count("good.csv;-leavesitout)") >= 2, "at the next reading too"
    note = next(e for e in chase.state.events if e.kind == "noted")
    assert [f["name"] for f in note.body["reading"]["files"]] == ["start.csv"], "and left out with a -"
    assert "= left out" in text


def test_a_file_that_cannot_be_read_is_said_and_asked_again(kit: Kit, tmp_path: Path, recorder: None) -> None:
    clock = Clock()
    chase = told_case(kit)
    chase.clock = clock
    chase.accept("check", "recorded-start-read")
    bad = log(tmp_path, "no start here at all", "bad.csv")
    _, text, _ = run(
        kit,
        str(tmp_path / "gone.csv"),
        str(tmp_path),
        str(bad),
        "",
        "",
        f"'{log(tmp_path)}'",
        "",
        "n",
        "b",
        chase=chase,
    )
    assert "no such file" in text and "that is a folder" in text and "The log holds no start." in text
    assert answers(chase)[0]["outcome"] == "spark-missing"


def test_names_of_files_are_taken_as_they_are_pasted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "it's a (start) 1.csv"
    path.write_text("x", encoding="utf-8")
    monkeypatch.setenv("HOME", str(tmp_path))
    escaped = str(path).replace("'", "\\'").replace(" ", "\\ ").replace("(", "\\(").replace(")", "\\)")
    for typed in (str(path), f'"{path}"', f" {path} ", escaped, path.as_uri(), f"~/{path.name}"):
        assert named(typed) == path, typed
    assert unreadable(path) == "" and "folder" in unreadable(tmp_path) and unreadable(Path("a\0b"))


def test_names_of_files_are_completed(tmp_path: Path) -> None:
    (tmp_path / "Logs").mkdir()
    (tmp_path / "log 1.csv").write_text("x", encoding="utf-8")
    (tmp_path / ".hidden").write_text("x", encoding="utf-8")
    assert [found[0] for found in paths(f"{tmp_path}/lo")] == [f"{tmp_path}/Logs/", f"{tmp_path}/log 1.csv"]
    assert all("hidden" not in found[0] for found in paths(f"{tmp_path}/"))
    assert paths(f"{tmp_path}/nowhere/x") == [] and paths("a\0b") == []


# -- at a real terminal --------------------------------------------------------------------------------


@pytest.mark.parametrize(("columns", "colour"), [(80, True), (120, False)])
def test_at_a_terminal_it_is_measured_kept_and_there_after_a_kill(
    terminal: Starts, store: Path, kit: Kit, columns: int, colour: bool
) -> None:
    t: Terminal = terminal("opened", columns=columns, **({} if colour else {"NO_COLOR": "1"}))
    t.until("Next:", FOOT)
    take(t, kit.fitted.check("supply-read").title, layout.MEASURE[:20], "u unsure")
    t.press("m", "Which reading?", "take one")
    t.press(volts(kit), "Volts at rest", "Esc leaves it")
    t.type("28,1", "The unit is missing", "Esc leaves it")
    t.type("28,1 V", "= 28.1 ± 0.05 V", "Esc leaves it")
    t.type("loaded=22.1 V", "loaded = 22.1 ± 0.05 V", "Esc leaves it")
    t.type("least=24 V", "least = 24 V", "Esc leaves it")
    t.type(".", "Where the limits stand", "Esc leaves it")
    t.type("task 4", "Who read it, and with which meter", "Esc leaves it")
    t.type("Quill, meter M-14", "This is answer 2", "m again")
    assert "Reading: Low" in t.visible(), "verdict and answers stand on one screen"
    t.press("\r", "Answered: ", FOOT)
    assert colour or not t.colours()
    t.child.kill(signal.SIGKILL)
    with open_store(store) as found:
        chase = Chase.resume(kit, found, "trial", lambda: datetime.now(UTC))
        assert chase.state.answers["supply-read"] == ["low"]
        assert answers(chase)[0]["reading"]["verdict"] == "low"
        assert answers(chase)[0]["reading"]["by"] == "Quill, meter M-14"
    assert os.path.exists(store)


def test_at_a_terminal_escape_leaves_it_and_the_answer_is_still_asked(terminal: Starts, store: Path, kit: Kit) -> None:
    t: Terminal = terminal("opened", columns=40)
    t.until("Next:", FOOT)
    take(t, kit.fitted.check("supply-read").title[:30], "m measure", "u unsure")
    t.press("m", "Which reading?", "take one")
    t.press(volts(kit), "Volts at rest", "leaves it")
    t.type("28.1 V", "= 28.1", "leaves it")
    t.press("\x1b", words.NOTHING_READ[:20], "u unsure")
    t.press("2", "Next:", FOOT)
    with open_store(store) as found:
        bodies = [dict(e.body) for e in found.events("trial") if e.kind == "answered"]
    assert bodies[-1]["outcome"] == "low" and "reading" not in bodies[-1]

"""What the screen says to somebody who waits: for departure, for a tool, for a thought. Figures agree with each other.

No outside source: what a tired technician has to read is our own judgement.
"""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from isolate.case.case import Coming, Intake, Person
from isolate.case.chase import BUDGET, THOUGHT, Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Deferring, Offer, Walk
from isolate.case.store import open_store
from isolate.case.think import Thinker
from isolate.cli import main
from isolate.kb.fit import Fitted
from isolate.reasoning.starts import Start
from isolate.terminal import intake, layout, live, words
from isolate.terminal.intake import Unclear
from isolate.terminal.keys import Bar, Key, Stopped
from tests.terminal.screen import Terminal

pytestmark = pytest.mark.usefixtures("brief")
EVERYBODY = (Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal"))


def begun(kit: Kit, clock: Clock, **more: Any) -> Chase:
    told: dict[str, Any] = {
        "aircraft": "104",
        "position": "2",
        "engine": kit.fitted.name,
        "complaint": "intermittent-no-ignite",
        "starts": tuple(Start(c, lit) for c, lit in (("A", True), ("B", False)) * 2),
        "people": EVERYBODY,
        "place": "gate",
    }
    return Chase.begin(kit, Memory(), "trial", Intake(**{**told, **more}), clock)


def offered(chase: Chase) -> Offer:
    step = chase.now()
    assert isinstance(step, Offer), step
    return step


class Hand:
    """Presses what is in its script and then leaves; each key takes some minutes."""

    def __init__(self, clock: Clock, *script: str, minutes: float = 2.0) -> None:
        self.clock, self.script, self.minutes = clock, list(script), minutes
        self.feet: list[str] = []

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        self.feet.append("\n".join(text for _, text in bar(80)))
        self.clock.pass_minutes(self.minutes)
        if not self.script:
            raise Stopped(left=True)
        pressed = self.script.pop(0)
        assert pressed in [key.key for key in keys], (pressed, prompt)
        return pressed

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Sequence[str] = ()) -> str | None:
        assert cell_len(prompt) <= 80, "a line that is typed on breaks within words"
        return self.script.pop(0) if self.script else None

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        raise Stopped(left=True)


def session(chase: Chase, hand: Hand, width: int = 80) -> str:
    """Work a chase with somebody's keys; return all that was on the screen."""
    console = Console(
        width=width, height=24, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False
    )
    assert live.run(chase, console, hand) == 0
    text = console.file.getvalue()  # type: ignore[attr-defined]
    assert all(cell_len(line) <= width for line in text.splitlines())
    return str(text)


def flat(rows: Sequence[layout.Row]) -> dict[str, str]:
    return {label: what for label, what, _ in rows}


# -- figures -----------------------------------------------------------------------------------------


def number(said: str) -> float:
    """Return the minutes that words say."""
    found = said.removeprefix("about ").split()
    total = 0.0
    for value, unit in zip(found[::2], found[1::2], strict=True):
        total += float(value) * (60 if unit == "h" else 1)
    return total


def test_a_bound_never_reads_as_more_than_what_is_expected() -> None:
    # Arithmetic: the bound is no more than the estimate; rounding must not turn them round.
    steps = [x / 4 for x in range(4, 2400)]
    for i, bound in enumerate(steps):
        low = number(words.at_least(bound))
        assert low <= bound + 0.5
        for expected in steps[i : i + 60 : 3]:
            assert low <= number(words.roughly(expected)), (bound, expected)


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.0, "<1%"), (0.004, "<1%"), (0.06, "6%"), (0.996, ">99%"), (1.0, ">99%"), (1.0 + 4e-16, ">99%")],
)
def test_an_estimated_chance_is_never_said_to_be_nought_or_sure(value: float, said: str) -> None:
    assert words.estimated(value) == said


@pytest.fixture
def offer(kit: Kit) -> Offer:
    return offered(begun(kit, Clock(), minutes_left=45.0))


def test_costs_say_the_bound_the_optimum_and_what_is_counted(offer: Offer) -> None:
    made = replace(offer, expected=312.0, now=2.0, bound=311.0, exact=False)
    assert layout.costs(made) == (
        "2 min now; in all about 5 h 10 min to verified and closed up; no plan can beat 5 h 10 min"
    )
    assert "beat" not in layout.costs(replace(made, bound=320.0)), "a bound above the estimate contradicts it"
    assert "beat" not in layout.costs(replace(made, bound=0.0)), "a bound that is not known is none"
    least = layout.costs(replace(made, exact=True))
    assert least.endswith("the least there is") and "beat" not in least
    assert "labour and parts" in layout.costs(made, "cost") and "labour" not in layout.costs(made, "chance")


def test_deferral_is_said_with_both_figures_and_who_decides(kit: Kit, offer: Offer) -> None:
    chase = begun(kit, Clock(), minutes_left=45.0)
    cheap = Deferring("B", going_on=700.0, cost=380.0, likely=0.86)
    said = flat(layout.waiting(chase, replace(offer, deferring=cheap)))["Deferral"]
    for part in ("going on comes to about 11 h 40 min", "deferring channel B to about 6 h 20 min", "86%"):
        assert part in said
    assert "licensed person" in said and "operator's own procedure" in said and "key f" in said
    for none in (
        None,
        replace(cheap, cost=650.0),  # hardly cheaper
        replace(cheap, likely=0.3),  # the other channel is hardly good
    ):
        assert "Deferral" not in flat(layout.waiting(chase, replace(offer, deferring=none)))


def test_in_time_is_said_only_where_somebody_waits(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, minutes_left=45.0)
    assert "done by departure" in flat(layout.waiting(chase, offered(chase)))["In time"]
    clock.pass_minutes(60)
    assert flat(layout.waiting(chase, offered(chase)))["In time"] == "no: departure is past"
    nobody = begun(kit, Clock())
    assert flat(layout.waiting(nobody, offered(nobody))) == {}


@pytest.mark.parametrize("width", [40, 80, 132])
def test_a_tool_on_its_way_is_said_first_with_its_minutes(kit: Kit, width: int) -> None:
    chase = begun(
        kit, Clock(), complaint="plug-found-worn", channel="B", starts=(), place="hangar",
        coming=(Coming("borescope", 200.0),),
    )  # fmt: skip
    while isinstance(chase.now(), Walk):
        chase.walked(False)
    move = next(m for m in chase.ranked().moves if m.name == "plug-hole-borescope/B")
    said = flat(layout.waiting(chase, chase.offer(move)))["First"]
    assert said == "borescope is on its way: 3 h 20 min, counted in"
    console = Console(width=width, height=60, file=io.StringIO(), color_system=None)
    console.print(layout.card(chase, chase.offer(move), width).fitted(console, 60))
    assert "borescope is on its way" in " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]


# -- sessions ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("aside", ["w", "?"])
@pytest.mark.parametrize("more", [{"minutes_left": 45.0}, {"coming": (Coming("borescope", 60.0),)}])
def test_the_passing_of_time_pushes_no_answer_off_the_screen(kit: Kit, aside: str, more: dict[str, Any]) -> None:
    clock = Clock()
    text = session(begun(kit, clock, **more), Hand(clock, aside, aside, minutes=7))
    assert text.count(" Next: ") == 1, "the card came again over what was asked for"


def test_shown_again_the_card_has_the_figures_of_now(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, minutes_left=400.0)
    before = offered(chase).chance
    hand = Hand(clock, "", minutes=370)
    text = session(chase, hand)
    assert text.count(" Next: ") == 2
    cards = [line.split(":")[0] for line in text.splitlines() if line.startswith("In time")]
    assert before is not None and before > 0.9
    assert cards[0] == f"In time  {words.estimated(before)}"
    assert cards[1] in {f"In time  {words.estimated(x / 100)}" for x in range(10)}
    assert "400 min to departure" in hand.feet[0].replace("6 h 40 min", "400 min")
    assert "30 min to departure" in hand.feet[1]


def test_refused_twice_the_next_card_is_there_at_once(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, minutes_left=45.0)
    text = session(chase, Hand(clock, "c", "no way in", "c", "the crew has gone"))
    titles = [line for line in text.splitlines() if " Next: " in line]
    assert len(set(titles)) == 3
    assert [e.body["reason"] for e in chase.state.events if e.kind == "declined"] == ["no way in", "the crew has gone"]


def test_how_it_is_planned_is_told_and_shown_as_it_is_now(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, minutes_left=200.0)
    text = session(chase, Hand(clock, "t", "9", "2", "t", "9", "5", "t", "9", "b"))
    assert (chase.intake.objective, chase.intake.hands) == ("chance", 2)
    marked = [line for line in text.splitlines() if line.rstrip().endswith("(as now)")]
    assert [line.split()[0] for line in marked] == ["1", "4", "2", "4", "2", "5"]


def test_the_best_chance_without_a_departure_gets_a_sentence(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock)
    text = session(chase, Hand(clock, "t", "9", "2"))
    assert "needs the minutes to departure" in text
    assert chase.intake.objective == "minutes"


def test_what_is_on_its_way_is_told_and_counts_from_now(kit: Kit) -> None:
    clock = Clock()
    chase = begun(kit, clock, place="hangar")
    clock.pass_minutes(100)
    text = session(chase, Hand(clock, "t", "2", "borescope in", "borescope in 60, spare-lead", minutes=0))
    assert "In how many minutes is it here?" in text
    assert chase.coming() == {"borescope": 60.0}
    assert chase.intake.missing == ("spare-lead",)
    session(chase, Hand(clock, "t", "2", "everything is here", minutes=0))
    assert chase.coming() == {} and chase.intake.missing == ()


# -- what cannot be taken ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ("borescope in -5", "Minutes from 0 up, such as: borescope in 60."),
        ("borescope in", "Minutes from 0 up, such as: borescope in 60."),
        ("meter, borescope in a while", "Minutes from 0 up, such as: borescope in 60."),
        ("borescope in 999999", "Minutes from 0 to 100000"),
        ("boroscope in 20", "did you mean borescope?"),
        ("boroscope in", "did you mean borescope?"),
        ("hammer", "No tool or service is called 'hammer'"),
    ],
)
def test_a_tool_that_does_not_come_gets_a_sentence(hf3: Fitted, told: str, says: str) -> None:
    with pytest.raises(Unclear) as refusal:
        intake.at_hand(told, hf3)
    assert says in str(refusal.value)


@pytest.mark.parametrize(
    ("told", "missing", "coming"),
    [
        ("", (), ()),
        ("borescope in 60", (), (("borescope", 60.0),)),
        ("Borescope in 60 min, spare igniter", ("spare-igniter",), (("borescope", 60.0),)),
        ("borescope meter in 7,5", (), (("borescope", 7.5), ("meter", 7.5))),
        ("air; borescope in 0", ("air",), (("borescope", 0.0),)),
        ("nothing", (), ()),
    ],
)
def test_what_is_at_hand_and_what_is_coming_are_read_from_one_line(
    hf3: Fitted, told: str, missing: tuple[str, ...], coming: tuple[tuple[str, float], ...]
) -> None:
    had, later = intake.at_hand(told, hf3)
    assert had == missing
    assert tuple((c.tool, c.minutes) for c in later) == coming


@pytest.mark.parametrize("told", ["", "none", "unknown"])
def test_by_the_best_chance_the_departure_has_to_be_told(told: str) -> None:
    with pytest.raises(Unclear, match="needs the minutes"):
        intake.minutes_to_departure(told)
    assert intake.minutes_to_departure("45 min") == 45


@pytest.mark.parametrize(("option", "value"), [("--by", "fast"), ("--hands", "3"), ("--hands", "many")])
def test_bad_options_get_a_sentence(
    option: str, value: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["chase", "--store", str(tmp_path / "cases.db"), option, value])
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert option in said and value in said and "Traceback" not in said
    assert not (tmp_path / "cases.db").exists()


# -- at the end ---------------------------------------------------------------------------------------


def test_a_session_ends_after_all_its_thoughts(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    # Else Python may end a thread in the middle of native code, and a message of that code is the last on the screen.
    begun_with, ended = [], []

    def slow(thinker: Thinker, follows: object, stop: threading.Event, through: object) -> None:
        begun_with.append(stop)
        stop.wait()
        time.sleep(0.05)
        ended.append(stop)

    monkeypatch.setattr(Thinker, "_think", slow)
    session(begun(kit, Clock()), Hand(Clock(), "n", "seen by nobody"))
    assert len(begun_with) == 2 and set(ended) == set(begun_with)


# -- in a real terminal ------------------------------------------------------------------------------


def test_left_and_taken_up_it_shows_the_same_card(terminal: Callable[..., Terminal], store: Path, kit: Kit) -> None:
    t = terminal("opened", whole=True)
    t.until("Next: ", "? help")
    # Left alone for a moment, so that it may have thought of what follows; then keys come while it thinks.
    t.press("n", "Note:", "takes it")
    t.type("keys while it thinks", "Noted.", "? help")
    t.press("1", "Next: ", "? help")
    card = [line for line in t.visible().splitlines() if line.startswith(("── Next", "Costs", "Tells"))]
    assert len(card) >= 2
    t.press("q", "isolate chase --resume trial")
    assert t.ended() == 0
    again = terminal("trial", whole=True)
    again.until("Next: ", "? help")
    assert [line for line in again.visible().splitlines() if line.startswith(("── Next", "Costs", "Tells"))] == card
    again.press("q", "isolate chase --resume trial")
    assert again.ended() == 0
    with open_store(store) as found:
        events = found.events("trial")
    budgets = [e.body["budget"] for e in events if e.kind == "offered"]
    answered = next(e.seq for e in events if e.kind == "answered")
    assert len([e for e in events if e.kind == "offered" and e.seq > answered]) == 1, "it was offered anew"
    assert set(budgets) <= {BUDGET, THOUGHT}
    now = datetime.now(UTC)
    assert Chase(kit, Memory(events), "trial", lambda: now).ranked().budget == budgets[-1]

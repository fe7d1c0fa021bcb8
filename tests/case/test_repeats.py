"""Defects that came back: which cases belong together, and what was done each time [practice]."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from rich.console import Console

from isolate.case.intake import Refused
from isolate.case.repeats import repeats
from isolate.case.store import Store, open_store
from isolate.terminal.repeats import table
from tests.case.test_inherit import PLUG, STORY, answered, case, keep, repaired


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "cases.db") as opened:
        yield opened


def names(store: Store, within: float = 400, aircraft: str = "") -> list[list[str]]:
    return [[v.case for v in r.visits] for r in repeats(store, within, aircraft).found]


def test_nothing_came_back_where_nothing_did(store: Store) -> None:
    assert repeats(store).found == ()
    keep(store, "one", 10)
    keep(store, "elsewhere", 5, intake=case(position="1"))
    keep(store, "the-other-channel", 5, items=(), intake=case(channel="B"))
    assert names(store) == []


def test_the_same_complaint_again_is_told_with_the_days_between_and_what_was_done(store: Store) -> None:
    keep(store, "first", 30, shop="not-confirmed")
    keep(store, "second", 10, items=(*STORY, repaired("replace-lead/A")))
    keep(store, "third", 2, items=(), ended=False)
    (found,) = repeats(store).found
    assert (found.aircraft, found.position, found.engine) == ("117", "2", "halden-hf-3")
    assert [v.case for v in found.visits] == ["first", "second", "third"]
    # Each was opened an hour before it ended; the shop's finding a month later does not end it anew.
    assert found.visits[0].days is None
    assert [v.days for v in found.visits[1:]] == [
        pytest.approx(20 - 1 / 24, abs=0.01),
        pytest.approx(8 - 1 / 24, abs=0.01),
    ]
    assert [v.repairs for v in found.visits] == [(PLUG,), (PLUG, "replace-lead/A"), ()]
    assert found.again == (PLUG,) and found.visits[0].findings == (f"{PLUG}: not-confirmed",)
    assert found.visits[-1].end == found.visits[-1].closed == ""


def test_the_same_repair_again_belongs_to_it_whatever_it_was_called(store: Store) -> None:
    keep(store, "silent", 30)
    keep(store, "repeat", 10, intake=case("repeat-after-plug-change"))
    keep(store, "dark", 5, items=(answered("spark-test/A", "snaps"),), intake=case("no-light-off", ""))
    assert names(store) == [["silent", "repeat"]]


def test_too_long_between_is_another_defect(store: Store) -> None:
    for name, days in (("a", 100), ("b", 90), ("c", 20), ("d", 15)):
        keep(store, name, days)
    assert names(store, 30) == [["c", "d"], ["a", "b"]], "the last to come back first"
    assert names(store, 80) == [["a", "b", "c", "d"]]
    assert names(store, 80, "104") == [] and names(store, 80, " 117 ") == [["a", "b", "c", "d"]]


@pytest.mark.parametrize("within", [0, -1, float("nan"), float("inf"), 1e9])
def test_days_that_are_none_are_refused(store: Store, within: float) -> None:
    with pytest.raises(Refused, match="days are a number"):
        repeats(store, within)


def test_a_case_that_cannot_be_read_is_named_and_the_others_are_shown(store: Store) -> None:
    keep(store, "one", 30)
    keep(store, "two", 10)
    body = {"aircraft": "117", "position": "2", "engine": "halden-hf-3", "complaint": "x", "intake": {"odd": 1}}
    store.append("strange", "opened", body, "2030-02-01T00:00:00.000Z")
    found = repeats(store)
    assert [[v.case for v in r.visits] for r in found.found] == [["one", "two"]]
    (note,) = found.notes
    assert note.startswith("Case strange cannot be read: ")


@pytest.mark.parametrize("width", [80, 40])
def test_it_fits_the_screen(store: Store, width: int) -> None:
    keep(store, "117-2-0130-aaaa", 30)
    keep(store, "117-2-0219-bbbb", 10)
    console = Console(width=width, record=True, force_terminal=False, no_color=True)
    with console.capture() as captured:
        console.print(table(repeats(store), width))
    lines = captured.get().splitlines()
    assert all(len(line) <= width for line in lines)
    text = "".join(captured.get().split())
    for said in ("Aircraft117,engine2", "Camebackonce", "2030-01-30", "Donemorethanonce:replace-igniter/A."):
        assert said in text, said
    with console.capture() as captured:
        console.print(table(repeats(store, aircraft="104"), width))
    assert captured.get().startswith("Nothing came back")


def test_a_case_opened_beside_an_open_one_did_not_come_back(store: Store) -> None:
    """A defect comes back once it was said to be gone; one opened twice is the same visit."""
    keep(store, "open", 10, ended=False)
    keep(store, "beside", 9)
    (found,) = repeats(store).found
    assert found.times == found.as_dict()["times"] == 0 and found.visits[1].open_before
    keep(store, "after", 2)
    (found,) = repeats(store).found
    assert found.times == 1 and [v.open_before for v in found.visits] == [False, True, False]
    console = Console(width=80, record=True, force_terminal=False, no_color=True)
    with console.capture() as captured:
        console.print(table(repeats(store), 80))
    assert "Came back once" in captured.get() and "meanwhile" in captured.get()

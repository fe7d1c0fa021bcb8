"""Later cases in which the defect came back, and what follows from that: at the head of a review."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from isolate.case.store import Store, open_store
from isolate.review.named import Names
from isolate.review.review import review
from isolate.review.shapes import CameBack, Review
from isolate.review.since import drawn, since
from isolate.terminal.reviewing import as_text
from tests.review.read_back import kits, more, resealed, sealed
from tests.worked import TRAILS, trail

PLUG, EXCITER, LEAD = "104-2-0110-a001", "104-2-0118-a002", "104-2-0125-a006"
"""One engine: the plug on 10 January (the shop confirmed it), the exciter on the 18th, the lead on the 25th."""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(str(tmp_path_factory.mktemp("since") / "cases.db")) as made:
        for path in sorted(TRAILS.glob("*.jsonl")):
            made.import_case(path)
        yield made


def reviewed(store: Store, name: str) -> Review:
    events = trail(name)
    back = since(store, events, kits)
    return review(kits, events, without=["firm", "not asked", "record"], back=back)


def head(made: Review) -> str:
    return " ".join(as_text(made, 80).split("── The story", 1)[0].split())


def test_a_case_that_came_back_says_so_first(store: Store) -> None:
    """From the end on 18 January 10:31 to 06:00 on the 25th: 6 days and 19.5 hours."""
    made = reviewed(store, "hot-exciter")
    (back,) = made.came_back
    assert (back.case, back.opened[:10], back.by, back.truth) == (LEAD, "2030-01-25", "the shop", ("lead-chafed/B",))
    assert back.days == pytest.approx(6 + 19.48 / 24, abs=0.01)
    assert back.said == (
        f"{LEAD}, opened 2030-01-25, 6.8 days after this one ended: lead B chafed, breaking down now and then "
        "(the shop confirmed it)"
    )
    text = head(made)
    assert text.split(" ─", 1)[1].split("─ ", 1)[1].startswith(f"CAME BACK: {back.said}. ")
    assert "Nobody confirmed exciter B gives up when hot, which the end of this case names, and the defect" in text
    assert "until the move that its end names was taken up" in text and "right move" not in text
    assert "Least" not in text and made.hindsight is not None and made.hindsight.steps == ()
    assert "known from the start" not in as_text(made, 80)


def test_what_came_back_from_that_again_is_told_too_and_what_follows(store: Store) -> None:
    made = reviewed(store, "worn-plug")
    assert [b.case for b in made.came_back] == [EXCITER, LEAD]
    assert made.came_back[0].said.endswith("(by its end; nobody confirmed it, and it came back again)")
    assert made.drawn == (
        "The shop confirmed igniter plug B worn, which was put right, and 7.8 days later the defect was there again: "
        "there was a second fault besides, or something that wears or spoils the part.",
    )
    # The shop's word stands: the way with the fault known is told.
    text = head(made)
    assert (
        "Least With the fault known from the start" in text and "until the right move, as the shop confirmed," in text
    )


def test_the_last_one_other_engines_and_open_cases_have_none(store: Store) -> None:
    for name in ("came-back", "wet-lead", "declined", "taken-back"):
        assert since(store, trail(name), kits) == (), name


def test_a_case_opened_before_the_end_of_this_one_is_no_return(tmp_path: Path) -> None:
    """Both opened at 06:00 on the 18th: two cases side by side."""
    beside = sealed(((e.kind, e.time.replace("-01-25T", "-01-18T"), e.body) for e in trail("came-back")), LEAD)
    with open_store(str(tmp_path / "cases.db")) as store:
        store.take([trail("hot-exciter"), beside])
        assert since(store, trail("hot-exciter"), kits) == ()


def test_a_case_file_has_none() -> None:
    made = review(kits, trail("hot-exciter"), without=["firm", "not asked", "record"])
    assert made.came_back == () and made.drawn == () and made.hindsight is not None and made.hindsight.steps


def test_an_open_one_one_in_doubt_and_one_that_cannot_be_read_are_told_as_such(tmp_path: Path) -> None:
    events = trail("came-back")
    good = {"repair": "replace-lead/B", "finding": "not-confirmed", "text": "", "report": ""}
    shop = next(e.seq for e in events if e.kind == "shop-finding")
    said = []
    for number, later in enumerate((events[:20], resealed(events, shop, good), more(events, ("shop-finding", good)))):
        with open_store(str(tmp_path / f"{number}.db")) as store:
            store.take([trail("hot-exciter"), later])
            (back,) = since(store, trail("hot-exciter"), kits)
        said.append(back.said.partition(": ")[2])
        assert back.by == "nobody" and back.truth == ()
    doubt = "its end names lead B chafed, breaking down now and then, and the shop's word puts that in doubt"
    assert said == ["it is still open", doubt, doubt]


def test_a_case_that_was_handed_over_did_not_come_back_but_was_taken_up_again(tmp_path: Path) -> None:
    events = trail("hot-exciter")
    handed = resealed(events, next(e.seq for e in events if e.kind == "closed"), {"end": "handed over"})
    with open_store(str(tmp_path / "cases.db")) as store:
        store.take([handed, trail("came-back")])
        back = since(store, handed, kits)
    made = review(kits, handed, without=["firm", "not asked", "record"], back=back)
    assert [b.returned for b in back] == [False] and made.drawn == ()
    assert made.hindsight is not None and made.hindsight.steps
    assert f"TAKEN UP AGAIN: {LEAD}, opened 2030-01-25" in head(made) and "CAME BACK" not in head(made)


def test_what_follows_where_the_same_fault_was_found_again_and_where_the_shop_doubts() -> None:
    names = Names(kits("halden-hf-3").fitted)

    def back(*truth: str) -> list[CameBack]:
        return [CameBack("later", "2030-02-01T06:00:00Z", 12.4, (), truth, (), "the shop", "")]

    same = drawn(["igniter-worn/B"], "the shop", ["igniter-worn/B"], False, back("igniter-worn/B"), names)
    again = "the defect was there with the same fault: something brings it about again, or the repair did not hold."
    assert same[0].endswith(f"12.4 days later {again}")
    doubt = drawn([], "nobody", ["lead-open/B"], True, back(), names)
    assert doubt[0].startswith("What the end of this case names, lead B open, the shop puts in doubt, and the defect")
    assert drawn([], "nobody", [], False, back(), names) == ()

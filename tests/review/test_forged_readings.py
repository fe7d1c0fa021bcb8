"""Readings altered by somebody who can seal a trail anew, and files of readings that are gone, renamed or others.

Outside source: FIPS 180-4 for what a file is known by (``hashlib`` is the reference). The rest is the house's own. What
a single alteration cannot show is listed in ``unseen``: a signature covers it, and a head noted elsewhere.
"""

from __future__ import annotations

import hashlib
import io
import os
import random
import shutil
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from isolate.case import measured
from isolate.case.case import Intake
from isolate.case.chain import verify
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.store import StoreError, open_store
from isolate.case.version import VERSION
from isolate.cli import main
from isolate.review.kept_files import Files
from isolate.review.replay import Replayed, replayed
from isolate.review.reworked import Reworked, reworked
from tests.bench.forged_readings import others
from tests.bench.tampering import lines, reseal
from tests.review.measured_case import Place, case, folder, forged, places, taken, value
from tests.worked import shipped_kit

START = 17
"""The seq of the answer that a recorded start gave; 15 is a recording that was only noted."""
TYPED = 14
"""Of a reading that was typed."""


def kits(digest: str, engine: str) -> Kit:
    return shipped_kit(engine)


def look(events: Any, files: Files | None = None) -> Reworked:
    return reworked(events, shipped_kit().fitted, files)


def read_at(seq: int) -> dict[str, Any]:
    return dict(case()[seq - 1].body["reading"])


# -- any single alteration -----------------------------------------------------------------------------


def unseen(place: Place, new: Any) -> bool:
    """Return whether an alteration is one that nothing else on the trail shows, or none."""
    had, way = value(case(), place), place[1]
    if way[1:2] != ("reading",):
        return True  # of the event itself: tests/review/test_replay.py
    if way[2:] == ("reference",):
        return bool(new.strip()) or not read_at(place[0])["limits"]  # where in the data a limit stands
    return bool(had == new and type(new) is not bool)


@settings(max_examples=30, deadline=None)
@given(st.randoms(use_true_random=False))
def test_any_single_alteration_of_what_was_typed_or_came_of_it_is_seen(chance: random.Random) -> None:
    typed = [place for place in places(case()) if not read_at(place[0])["files"] and place[1] != ("time",)]
    place = chance.choice(typed)
    new = chance.choice(list(others(value(case(), place), place[1], chance)))  # type: ignore[arg-type]
    assume(not unseen(place, new))
    bad = forged(case(), place, new)
    event = bad[place[0] - 1]
    found = look([bad[0], event])
    seen = bool(measured.odd(event.body["reading"]) or found.differs)
    if not seen:
        clean = look([bad[0], case()[place[0] - 1]])
        # A last digit is told; what was typed may be spelt otherwise and mean the same.
        same = place[1][2] == "given" and look([bad[0], event]).notes == clean.notes
        assert found.notes != clean.notes or same, (place, value(case(), place), new)


@pytest.mark.parametrize(
    ("seq", "way", "new", "said"),
    [
        (START, ("words",), "It lit", "comes to 'unlit' and is worded 'It lit', not "),
        (START, ("understood", 0, 1), "another.csv", "understood 'another.csv' as log, and names 'start.csv'"),
        (START, ("understood", 2, 1), "A", "as understood; from what was typed it is"),
        (START, ("given", "channel"), "A", "as understood; from what was typed it is"),
        (START, ("files",), [], "log has to be told"),
        (START, ("figures", 0, "value"), 11.0, "outside its own interval"),
        (20, ("figures", 0, "says"), "turning", "is of the record of event 17, and the two have other figures"),
        (20, ("lines", 0), "It lit.", "is of the record of event 17, and the two have other lines"),
        (13, ("judge",), "chance", "which 'plug-age-read/A' does not go through"),
        (TYPED, ("outcome",), "low", "and 'low' does not follow from that there"),
        (10, ("given", "moved"), "no", "has 'no' as moved, which the step settles"),
    ],
)  # fmt: skip
def test_without_the_file_all_that_follows_from_the_rest_is_seen(
    seq: int, way: tuple[str | int, ...], new: Any, said: str
) -> None:
    bad = forged(case(), (seq, ("body", "reading", *way)), new)
    assert not verify(bad), "its chain is whole"
    assert said in " ".join(look(bad).differs)


def test_a_note_that_tells_another_reading_than_its_own_is_seen() -> None:
    text = case()[TYPED - 1].body["text"]
    bad = forged(case(), (TYPED, ("body", "text")), text.replace("28.1", "22.1"))
    assert "its note says" in " ".join(look(bad).differs)
    assert "its note says nothing" in " ".join(look(forged(case(), (TYPED, ("body", "text")), " ")).differs)
    own = forged(case(), (TYPED, ("body", "text")), "the meter was the old one")
    assert not look(own).differs, "somebody's own words are theirs"


def test_a_note_at_a_step_that_measures_nothing_or_something_else_is_seen() -> None:
    for step, said in (("", "at which nothing is measured"), ("lead-insulation/A", "does not go through")):
        assert said in " ".join(look(forged(case(), (TYPED, ("body", "about")), step)).differs)


def test_another_version_makes_it_a_note_that_says_so() -> None:
    bad = forged(case(), (START, ("body", "reading", "words")), "It lit")

    def by(program: str) -> Reworked:
        return look(reseal([replace(bad[0], body={**bad[0].body, "program": program}), *bad[1:]]))

    assert look(bad).differs and by(VERSION).differs
    found = by("0.0.9")
    assert not found.differs and "1 reading would come out otherwise now. Event 17" in " ".join(found.notes)


def test_a_reading_typed_as_a_path_is_told_and_not_opened(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    bad = forged(case(), (13, ("body", "reading", "given")), {"file": str(pipe)})
    assert "has a path typed for file, which is never kept" in " ".join(look(bad, Files(tmp_path)).differs)


# -- files ---------------------------------------------------------------------------------------------


def only_start() -> list[Any]:
    return [e for e in case() if e.seq in (1, START)]


def test_without_the_file_it_says_which_and_what_it_was() -> None:
    seal = hashlib.sha256((folder() / "start.csv").read_bytes()).hexdigest()
    notes = " ".join(look(only_start()).notes)
    assert "taken as they stand: the reading of event 17; isolate review verify --files FOLDER" in notes
    size = (folder() / "start.csv").stat().st_size
    assert f"start.csv ({size:,} bytes, SHA-256 {seal[:12]})" in notes


def test_with_its_file_it_is_worked_anew_whatever_the_file_is_called_now(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    shutil.copy(folder() / "start.csv", tmp_path / "deep" / "renamed.txt")
    shutil.copy(folder() / "good.csv", tmp_path)
    os.mkfifo(tmp_path / "start.csv")
    found = look(only_start(), Files(tmp_path))
    assert found.notes == ("Worked out anew from the files that they came from, and the same: 1 reading.",)
    assert not found.differs


@pytest.mark.parametrize(
    ("way", "new", "said"),
    [
        (("lines", 0), "It lit.", "says 'It lit.' as what came out; worked out from what was typed, "),
        (("figures", 2, "name"), "x", "that does not come out of it"),
        (("seconds", 0), 1.0, "is of seconds 1 to"),
        (("why",), "it burnt", "as the reason of its verdict"),
        (("files", 0, "bytes"), 5, "bytes long"),
    ],
)  # fmt: skip
def test_with_its_file_what_was_forged_is_seen(way: tuple[str | int, ...], new: Any, said: str) -> None:
    bad = [e for e in forged(case(), (START, ("body", "reading", *way)), new) if e.seq in (1, START)]
    assert not look(bad).differs, "what the file alone shows"
    (told,) = look(bad, Files(folder())).differs
    assert said in told


def test_a_file_that_is_gone_or_another_is_said_and_is_no_difference(tmp_path: Path) -> None:
    shutil.copy(folder() / "good.csv", tmp_path)
    (tmp_path / "start.csv").write_text("another log", encoding="utf-8")
    found = look(only_start(), Files(tmp_path))
    other = hashlib.sha256(b"another log").hexdigest()
    assert f"there it is another one (SHA-256 {other[:12]})" in " ".join(found.notes) and not found.differs
    (tmp_path / "start.csv").unlink()
    found = look(only_start(), Files(tmp_path))
    assert "Event 17: start.csv (" in " ".join(found.notes) and "there is none such there" in " ".join(found.notes)
    assert "that were not found, so taken as they stand: the reading of event 17." in " ".join(found.notes)
    assert not found.differs


def test_a_forged_seal_says_that_the_file_is_another() -> None:
    bad = [e for e in forged(case(), (START, ("body", "reading", "files", 0, "sha256")), "ab" * 32) if e.seq in (1, 17)]
    assert "there it is another one" in " ".join(look(bad, Files(folder())).notes)


@pytest.mark.parametrize("name", ["../../x.csv", "a\\b.csv", "..", "", "/etc/passwd"])
def test_a_name_that_is_none_leads_nowhere(name: str, tmp_path: Path) -> None:
    shutil.copytree(folder(), tmp_path / "f")
    at = forged(case(), (START, ("body", "reading", "files", 0, "name")), name)
    bad = [e for e in forged(at, (START, ("body", "reading", "understood", 0, 1)), name) if e.seq in (1, START)]
    (told,) = look(bad, Files(tmp_path / "f")).differs
    assert "no name of a file" in told
    assert [p.name for p in tmp_path.iterdir()] == ["f"]


def test_where_a_file_lay_is_not_on_the_trail() -> None:
    """A recording says in its lines what was looked at; before, that was with the whole path."""
    heard = read_at(15)
    assert any("clip.wav" in line for line in heard["lines"])
    assert str(folder()) not in repr([e.body for e in case()])


def told(*arguments: str) -> tuple[int, str]:
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(out):
        status = main(["review", "verify", *arguments])
    return status, " ".join(out.getvalue().split())


def test_verify_takes_the_folder(tmp_path: Path) -> None:
    file = tmp_path / "every.jsonl"
    file.write_bytes(lines(case()))
    status, said = told(str(file), "--files", str(folder()))
    assert status == 0 and "from the files that they came from, and the same: 3 readings." in said
    file.write_bytes(lines(forged(case(), (START, ("body", "reading", "lines", 0)), "It lit.")))
    status, said = told(str(file), "--files", str(folder()))
    assert status == 1 and "REPLAYED, AND NOT THE SAME" in said and "'It lit.'" in said
    status, said = told(str(file), "--files", str(tmp_path / "none"))
    assert status == 1 and "none: No such file or directory; --files names the folder" in said
    assert "Traceback" not in said


# -- a session that ends between what a record answers --------------------------------------------------


class _Killed(BaseException):
    pass


def test_ended_between_its_own_answer_and_the_others_nothing_is_by_halves(monkeypatch: pytest.MonkeyPatch) -> None:
    log, kit = Memory(), shipped_kit()
    about = Intake.from_dict(case()[0].body["intake"])
    chase = Chase.begin(kit, log, "cut", about, Clock())
    chase.accept("check", "recorded-start-read")
    start = taken("recorded-start-read", "start", log=str(folder() / "start.csv"), channel="B",
                  **{"good": [str(folder() / "good.csv")], "volts-least": "18 V"})  # fmt: skip
    also = chase.also(start, "recorded-start-read", "B")
    assert len(also) >= 2
    chase.answer(start.outcome, reading=measured.body(start))

    def killed(*_: Any, **__: Any) -> None:
        raise _Killed

    with monkeypatch.context() as patch:
        patch.setattr(log, "append_all", killed)
        with pytest.raises(_Killed):
            chase.record([(check.key, one.outcome, measured.body(one)) for check, one in also])
    before = log.events("cut")
    again = Chase.resume(kit, log, "cut", Clock())
    assert again.now().title == Chase.resume(kit, Memory(before), "cut", Clock()).now().title
    answered = [e.body["check"] for e in log.events("cut") if e.kind == "answered"]
    assert answered == ["recorded-start-read"], "all of the others or none"
    # The same record answers them yet, as a whole, and then once only.
    still = again.also(start, "recorded-start-read", "B")
    assert [check.key for check, _ in still] == [check.key for check, _ in also]
    again.record([(check.key, one.outcome, measured.body(one)) for check, one in still])
    assert not again.also(start, "recorded-start-read", "B")
    found: Replayed = replayed(kits, log.events("cut"))
    assert not found.differs and not found.not_replayed


def test_of_two_who_write_one_reading_is_there_and_the_other_is_told(tmp_path: Path) -> None:
    kit, about, clock = shipped_kit(), Intake.from_dict(case()[0].body["intake"]), Clock()
    low = measured.body(taken("standby-read", "volts", volts="90.0 V", least="108 V"))
    with open_store(tmp_path / "cases.db") as one, open_store(tmp_path / "cases.db") as other:
        first = Chase.begin(kit, one, "two", about, clock)
        first.accept("check", "standby-read")
        second = Chase.resume(kit, other, "two", clock)
        with pytest.raises(StoreError, match="Somebody else has written to case two"):
            first.answer("low", reading=low)
        second.answer("low", reading=low)
        with pytest.raises(StoreError, match="Somebody else has written to case two"):
            first.note("once more", "standby-read", low)
        events = one.events("two")
        assert not one.faults("two") and len(one.heads("two")) == 1
    assert [e.kind for e in events if "reading" in e.body] == ["answered"]

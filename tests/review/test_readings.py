"""Readings read back: in the story, the report, the tables, the provenance; edited or odd, they are told or show.

Sources: ``csv``, ``html.parser`` and ``prov`` read back what is written [reference libraries]; OWASP, *CSV Injection*
[published]. The rest is the house's own.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import prov.model
import pytest
from rich.console import Console

from isolate.case import measured
from isolate.case.case import Intake, Person
from isolate.case.chase import Chase
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.version import VERSION
from isolate.review.named import Names
from isolate.review.pages import case_page
from isolate.review.provenance import prov_json
from isolate.review.replay import replayed
from isolate.review.review import review
from isolate.review.reworked import OF_WIDTH, _alike_words, _drawn, reworked
from isolate.review.shapes import Review
from isolate.review.story import readings, story
from isolate.review.tables import TABLES, rows, write_tables
from isolate.terminal.review_layout import page
from tests.bench.tampering import reseal
from tests.review.test_tables import Shelf
from tests.worked import shipped_kit

NASTY = "=HYPERLINK(1) <script>document.title='ran'</script> \x1b[31m\u202e"
SEAL = "ab" * 32


@cache
def worked() -> tuple[Event, ...]:
    """A case with a reading that answers, one that is only noted, one taken back, one that cannot tell."""
    kit = shipped_kit()
    told = Intake(
        aircraft="117", position="1", engine="halden-hf-3", complaint="no-light-off", place="hangar",
        people=(Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal")),
    )  # fmt: skip
    clock = Clock()
    chase = Chase.begin(kit, Memory(), "read", told, clock)
    low = reading({"volts": "28.1 V", "loaded": "22.1 V", "least": "24 V"})
    chase.note(measured.note_of(low), "supply-read", measured.body(low))
    chase.accept("check", "supply-read")
    chase.answer("low", reading=measured.body(low))
    chase.take_back()
    clock.pass_minutes(5)
    near = reading({"volts": "24.0 V", "least": "24 V"})
    chase.answer(None, reading=measured.body(near))
    chase.accept("check", "standby-read")
    right = reading({"volts": "28.1 V", "loaded": "26.4 V", "least": "24 V"}, NASTY)
    chase.answer("right", reading=measured.body(right))
    return chase.log.events("read")


def reading(typed: Mapping[str, str], where: str = "task 4") -> measured.Reading:
    check = shipped_kit().fitted.check("standby-read")
    return measured.take(next(one for one in check.entry.reads if one.calc == "volts"), typed, where)


def changed(**more: Any) -> tuple[Event, ...]:
    """The case with something else in the reading of its last answer, sealed anew."""
    events = list(worked())
    at = max(i for i, e in enumerate(events) if e.kind == "answered")
    body = {**events[at].body, "reading": {**events[at].body["reading"], **more}}
    events[at] = replace(events[at], body=body)
    return tuple(reseal(events))


def put(odd: Any) -> tuple[Event, ...]:
    """The case with anything at all in place of the reading of its last answer, sealed anew."""
    events = list(worked())
    at = max(i for i, e in enumerate(events) if e.kind == "answered")
    events[at] = replace(events[at], body={**events[at].body, "reading": odd})
    return tuple(reseal(events))


def kits(engine: str) -> Any:
    return shipped_kit(engine)


@cache
def reviewed() -> Review:
    return review(kits, worked(), without=["firm", "not asked", "record"])


def again(events: Sequence[Event]) -> tuple[str, ...]:
    found = replayed(lambda digest, engine: shipped_kit(engine), events)
    assert not found.not_replayed
    return found.differs


# -- it replays, and what was edited shows -------------------------------------------------------------


def test_a_case_with_readings_replays() -> None:
    assert again(worked()) == ()


@pytest.mark.parametrize(
    "events",
    [
        changed(outcome="low"),
        changed(verdict="low"),
        changed(calc="lead"),
        changed(reference=""),
        changed(figures=[{}]),
        changed(odd=1),
        put(None),
        put("28.1 V"),
        put({}),
        put([["x"] * 20] * 50),
    ],
    ids=["outcome", "verdict", "calc", "reference", "figures", "odd", "none", "text", "empty", "list"],
)
def test_a_reading_edited_and_sealed_anew_is_told(events: tuple[Event, ...]) -> None:
    at = max(e.seq for e in events if e.kind == "answered")
    differs = again(events)
    assert differs and differs[0].startswith(f"Event {at} (answered: standby-read)"), differs
    assert all(len(said) < 400 and "\n" not in said for said in differs)


def test_a_note_about_a_step_is_not_taken_for_the_reason_of_an_answer() -> None:
    kit, clock = shipped_kit(), Clock()
    chase = Chase.begin(kit, Memory(), "read", Intake.from_dict(worked()[0].body["intake"]), clock)
    chase.accept("check", "standby-read")
    right = reading({"volts": "28.1 V", "loaded": "26.4 V", "least": "24 V"})
    chase.answer("right", reading=measured.body(right))
    chase.note("once more", "standby-read", measured.body(right))
    assert again(chase.log.events("read")) == ()


# -- read back -----------------------------------------------------------------------------------------


def test_each_reading_is_told_with_what_became_of_it() -> None:
    found = readings(worked(), Names(shipped_kit().fitted))
    assert [(m.how, m.about, m.verdict, m.void) for m in found] == [
        ("noted", "supply-read", "low", False),
        ("answered", "supply-read", "low", True),
        ("answered", "supply-read", "cannot-tell", False),
        ("answered", "standby-read", "right", False),
    ]
    under = next(f for f in found[0].figures if f.says == "under load")
    assert (under.value, under.low, under.high, under.unit) == (22.1, 22.0525, 22.1475, "V")
    assert found[0].limits == (("The least that your approved data allows", "24 V"),) and found[0].reference == "task 4"
    assert "\x1b" not in found[3].reference and "\u202e" not in found[3].reference


def test_story_and_screen_tell_it_at_every_width() -> None:
    said = "\n".join(line for moment in story(worked(), Names(None)) for line in moment.more)
    assert "22.1 V (22.05 to 22.15 V)" in said and "24 V (task 4)" in said
    for width in (40, 80, 120):
        console = Console(
            width=width, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False
        )
        console.print(page(reviewed(), width, "readings"))
        text = console.file.getvalue()  # type: ignore[attr-defined]
        assert all(len(line) <= width for line in text.splitlines())
        flat = " ".join(text.split())
        assert "Read: Volts at rest: 28.1 ± 0.05 V" in flat and "(taken back later)" in flat and "\x1b" not in text


def test_what_one_record_answers_is_believed_once_after_the_last_of_it() -> None:
    *_, answered = (e for e in worked() if e.kind == "answered")
    last = worked()[-1].seq
    body = {**answered.body, "within": "record"}
    one, two = (replace(answered, seq=last + n, body=body) for n in (1, 2))
    told = {m.seq: " ".join(m.more) for m in story((*worked(), one, two), Names(shipped_kit().fitted))}
    assert "Weighed with what the same record answers next." in told[one.seq]
    assert "stayed as it was" not in told[one.seq] and "stayed as it was" in told[two.seq]


def test_weights_and_json_have_it() -> None:
    answer = next(a for a in reviewed().answers if a.check == "standby-read")
    assert "28.1 V" in answer.reading
    told = json.loads(json.dumps(reviewed().as_dict()))
    assert told["readings"][0]["figures"][0]["unit"] == "V" and told["readings"][1]["void"] is True


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append(tag)


def test_the_page_shows_it_and_runs_nothing_of_it() -> None:
    html = case_page(reviewed())
    clean = case_page(replace(reviewed(), readings=(), answers=(), story=()))
    assert "What was measured" in html and "What was measured" not in clean
    assert "22.1 V (22.05 to 22.15 V)" in html and "\x1b" not in html and "\u202e" not in html
    tags, fewer = _Tags(), _Tags()
    tags.feed(html)
    fewer.feed(clean)
    assert tags.tags.count("script") == fewer.tags.count("script") == 1
    assert "&lt;script&gt;" in html


def test_tables_have_one_row_a_figure(tmp_path: Path) -> None:
    found = rows(worked())
    assert found is not None
    names = [column.name for column in TABLES["readings"]]
    told = [dict(zip(names, row, strict=True)) for row in found["readings"]]
    assert [(r["step"], r["how"], r["figure"]) for r in told if not r["taken_back"]] == [
        ("supply-read", "noted", "at rest"), ("supply-read", "noted", "under load"), ("supply-read", "noted", "sag"),
        ("supply-read", "answered", "at rest"),
        *(("standby-read", "answered", f) for f in ("at rest", "under load", "sag")),
    ]  # fmt: skip
    write_tables(Shelf([worked()]), tmp_path)
    with (tmp_path / "readings.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.DictReader(file))
    assert len(read) == len(told) and read[-1]["reference"].startswith("'="), "nothing in a cell is a formula"
    assert float(read[0]["low"]) < float(read[0]["value"]) < float(read[0]["high"])
    assert {row["read_by"] for row in read} == {""}
    signed = rows(changed(by="Quill, meter M-14"))
    assert signed is not None
    last = [dict(zip(names, row, strict=True)) for row in signed["readings"]][-1]
    assert last["read_by"] == "Quill, meter M-14" and last["taken_back"] is False


def test_provenance_derives_the_answer_from_the_reading_and_the_reading_from_its_file() -> None:
    events = changed(files=[{"name": f"clip {NASTY}.wav", "sha256": SEAL, "bytes": 4}], seconds=[1.0, 2.5])
    text = prov_json(events)
    named = json.loads(prov_json(changed(by="Quill, meter M-14")))["entity"]
    assert [e["isolate:by"] for e in named.values() if "isolate:by" in e] == ["Quill, meter M-14"]
    document = prov.model.ProvDocument.deserialize(content=text, format="json")
    assert document.get_records()
    at = max(e.seq for e in events if e.kind == "answered")
    told = json.loads(text)
    entity = told["entity"][f"case:event-{at}-reading"]
    assert not {"\x1b", "\u202e"} & set("".join(map(str, entity.values()))), "signs that move a screen"
    assert entity["isolate:verdict"] == "right" and entity["isolate:seconds"] == "1 to 2.5"
    derived = {(d["prov:generatedEntity"], d["prov:usedEntity"]) for d in told["wasDerivedFrom"].values()}
    assert (f"case:event-{at}", f"case:event-{at}-reading") in derived
    assert (f"case:event-{at}-reading", f"isolate:file-{SEAL}") in derived
    assert told["entity"][f"isolate:file-{SEAL}"]["isolate:sha256"] == SEAL


@pytest.mark.parametrize(
    "odd", [None, 5, "x", [], {}, {"calc": 5, "files": 7, "figures": [5], "seconds": "x", "limits": {"a": 1}}]
)
def test_whatever_stands_in_its_place_costs_no_more_than_its_own_line(odd: Any) -> None:
    events = put(odd)
    found = readings(events, Names(None))
    assert len(found) == 4 and found[-1].calculation == "" and found[-1].lines
    assert len(story(events, Names(None))) == len(story(worked(), Names(None)))
    assert measured.UNREADABLE in prov_json(events)
    html = case_page(review(kits, events, without=("firm", "least", "unasked")))  # type: ignore[arg-type]
    assert "not in a form that can be told" in html


def test_ten_thousand_letters_of_anything_flood_nothing() -> None:
    """A screen of 24 lines and a page stay readable; before, such a reading took a thousand lines."""
    long = f"{NASTY}{'W' * 10_000}"
    figures = [{**f, "says": long, "value": 1e308, "low": -1e308, "high": 1e308} for f in last()["figures"]]
    files = [{"name": long, "sha256": SEAL, "bytes": 4}]
    events = changed(lines=[long], why=long, words=long, limits=[[long, long]], understood=[[long, long]],
                     figures=figures, files=files)  # fmt: skip
    reading = events[13].body["reading"]
    assert len(measured.line(reading)) < 700 and measured.line(reading).endswith(" letters more on the trail)")
    assert all(len(one) < 2_100 for one in measured.lines(reading))
    assert measured.figured({**last()["figures"][0], **{k: figures[0][k] for k in ("value", "low", "high")}}) == (
        "at rest 1e+308 V (-1e+308 to 1e+308 V)"
    )
    found = review(kits, events, without=("firm", "least", "unasked"))  # type: ignore[arg-type]
    console = Console(width=80, file=io.StringIO(), color_system=None, highlight=False, markup=False, emoji=False)
    console.print(page(found, 80, "readings"))
    shown = console.file.getvalue()  # type: ignore[attr-defined]
    assert len(shown.splitlines()) < 200 and all(len(one) <= 80 for one in shown.splitlines())
    assert not {"\x1b", "\u202e"} & set(shown) and max(map(len, case_page(found).split())) < 2_100


# -- a reading that does not follow from what was typed -------------------------------------------------


def last() -> dict[str, Any]:
    """The reading of the last answer: 28.1 V at rest, 26.4 V loaded, right beside a least of 24 V."""
    return dict(next(e for e in reversed(worked()) if e.kind == "answered").body["reading"])


def first(name: str, value: object) -> dict[str, Any]:
    """Something else in the first of its figures."""
    one, *rest = last()["figures"]
    return {"figures": [{**one, name: value}, *rest]}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"given": {**last()["given"], "loaded": "22.1 V"}}, "worked out from what was typed, to 'low'"),
        ({"given": {}}, "cannot be worked out from what was typed: volts has to be told"),
        ({"given": {"volts": "28.1 parsecs", "least": "24 V"}}, "no unit of voltage"),
        ({"limits": [[last()["limits"][0][0], "20 V"]]}, "'20 V' as its limit; from what was typed it is '24 V'"),
        ({"understood": [["Volts", "29 V"]]}, "'29 V' as understood"),
        (first("value", 28.13), "value 28.13 V; worked out from what was typed, 28.1"),
        ({"figures": [{**last()["figures"][0], "low": 99.0}]}, "outside its own interval"),
        (first("high", None), "high None V; worked out"),
        (first("unit", "mV"), "in 'mV', not in V"),
        (first("name", "made-up"), "does not come out of it"),
        ({"figures": last()["figures"][1:]}, "lacks a figure that comes out of it, 'at rest'"),
        ({"words": "Low"}, "comes to 'right' and is worded 'Low', not "),
        ({"lines": ["At rest: splendid."]}, "says 'At rest: splendid.' as what came out; worked out from what"),
        ({"lines": last()["lines"][:-1]}, "which comes out of it"),
        ({"lines": [*last()["lines"], "Released."]}, "says 'Released.', which does not come out of it"),
        ({"why": "well above it"}, "says 'well above it' as the reason of its verdict"),
        (first("says", "at full load"), "says 'at full load' as the name of a figure"),
        ({"figures": last()["figures"][::-1]}, "figures in another order"),
        ({"figures": [*last()["figures"], last()["figures"][0]]}, "or one of them twice"),
        ({"limits": [["Most that it may have", "24 V"]]}, "'24 V' as 'Most that it may have'; it was told as 'The l"),
        ({"seconds": [1.0, 2.0]}, "is of seconds 1 to 2 of the record; worked out anew, none"),
        ({"files": [{"name": "a.csv", "sha256": SEAL, "bytes": 5}]}, "names a file, and calc volts reads none"),
    ],
    ids=str,
)
def test_a_reading_is_worked_anew_from_what_was_typed(change: dict[str, Any], said: str) -> None:
    (told,) = again(changed(**change))
    assert told.startswith("Event 14 (answered): ") and said in told and NASTY not in told and "\x1b" not in told


def test_a_note_is_worked_anew_as_well() -> None:
    events = list(worked())
    at = next(i for i, e in enumerate(events) if e.kind == "noted" and "reading" in e.body)
    had = events[at].body["reading"]
    for reading, said in (({**had, "verdict": "splendid"}, "never does"), ({**had, "lines": 5}, "lines is no list")):
        events[at] = replace(events[at], body={**events[at].body, "reading": reading})
        (told,) = again(reseal(events))
        assert told.startswith("Event 4 (noted)") and said in told


def test_rounded_otherwise_is_said_and_is_no_difference() -> None:
    def notes(**change: Any) -> tuple[str, ...]:
        found = replayed(lambda digest, engine: shipped_kit(engine), changed(**change))
        assert not found.differs
        return found.notes

    assert notes() == ("Worked out anew from what was typed, and the same: 4 readings.",)
    # Another library may round a figure otherwise; a last digit in a sentence goes with it.
    nearly = {**last()["figures"][0], "low": last()["figures"][0]["low"] * 1.00005}
    (same, rounded) = notes(figures=[nearly, *last()["figures"][1:]])
    assert same.endswith("the same: 3 readings.")
    assert rounded.startswith("Rounded otherwise than here") and "Event 14 (answered): 'at rest' with low" in rounded
    (_, rounded) = notes(lines=[line.replace("28.05", "28.06") for line in last()["lines"]])
    assert "28.06" in rounded and "28.05" in rounded


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("28.1 V (28.05 to 28.15)", "28.1 V (28.06 to 28.15)", True),
        ("28.1 V (28.05 to 28.15)", "28.1 V (28.07 to 28.15)", False),
        ("set it to 1,067 N", "set it to 1,068 N", True),
        ("5 beats missing", "4 beats missing", False),
        ("a chance of 0.0999", "a chance of 0.100", True),
        ("1.2e-5", "1.3e-5", True),
        ("1.2e-5", "1.2e-4", False),
        ("28.1 V at rest", "28.1 V at work", False),
        ("1.2.3", "1.2.4", False),
        ("28.1 V", "28.1 V and 2", False),
    ],
)
def test_a_last_digit_is_rounding_and_a_count_is_not(one: str, other: str, alike: bool) -> None:
    assert _alike_words(one, other, 0.0) is _alike_words(other, one, 0.0) is alike


def test_a_number_in_words_may_be_drawn_as_its_figure() -> None:
    assert _alike_words("within 2.310 mm", "within 2.318 mm", 0.02) and not _alike_words("2.310 mm", "2.318 mm", 0.001)
    wide = {"low": 1.0, "high": 3.0}
    assert _drawn([wide, {"low": None, "high": 3.0}, {"low": 0.0, "high": 0.0}]) == pytest.approx(OF_WIDTH * 2 / 3)
    assert _drawn([]) == 0.0


def test_another_version_may_work_it_out_otherwise() -> None:
    events = changed(given={**last()["given"], "loaded": "22.1 V"})
    by_this = [replace(events[0], body={**events[0].body, "program": VERSION}), *events[1:]]
    assert reworked(events).differs and reworked(by_this).differs
    found = reworked([replace(events[0], body={**events[0].body, "program": "0.0.9"}), *events[1:]])
    assert not found.differs and "may have changed since. 1 reading would come out otherwise" in found.notes[1]

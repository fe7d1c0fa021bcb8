"""A reading at a step: worked out, taken onto the trail, held against its answer, shown, counted once.

Sources: a file is known by its SHA-256 [published, FIPS 180-4; ``hashlib`` is the reference]. The interval of a reading
of so many digits is half a unit of the last one each way, 95 % of it (JCGM 100:2008, 4.3.7) [published]. The rest is
the house's own.
"""

from __future__ import annotations

import copy
import hashlib
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from isolate.calc import TITLES, calculation
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit
from isolate.case import handing, measured
from isolate.case.case import RECORD, Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.handing import text as handed
from isolate.case.intake import Refused
from isolate.case.measured import Lacking, body, kept, line, lines, take
from isolate.case.memory import Memory
from isolate.case.now import setting
from isolate.case.play import Clock, play
from isolate.case.record import NOT_ENDED, record
from isolate.case.steps import Ask
from isolate.case.written import Answers, Script, WrittenReading, read, worked_out
from isolate.kb.fit import Fitted
from isolate.kb.read import KnowledgeError
from isolate.reasoning.starts import Start
from isolate.review.replay import replayed

VOLTS = {"volts": "28.1 V", "loaded": "22.1 V", "least": "24 V"}
WHERE = "the data's task 4"


@dataclass(frozen=True)
class Detail:
    start: dict[str, Any]


def _recorded(given: Given) -> Found:
    """Read a record of three words, or four: channel, speed, supply, and lit where it did."""
    words = Path(given["log"]).read_text(encoding="utf-8").split()
    if len(words) not in (3, 4):
        raise Unfit("the log holds no start", "log")
    channel, speed, supply, *lit = words
    judged = {
        "": Judged(*(("lit", "it rose") if lit else ("unlit", "no rise of the temperature")), (3.0, 40.0)),
        "light": Judged("lights" if lit else "no-light", "by the record", (26.0, 40.0)),
        "speed": Judged(speed, "by the record", (10.0, 20.5)),
        "supply": Judged(supply, "", (12.0, 13.0)),
        "command": Judged("commanded", "", (5.0, 40.0)),
    }
    seconds = 4.5 if lit else None
    start = {"channel": channel, "lit": bool(lit), "seconds": seconds, "at": "2026-11-27 05:58"}
    return Found(("It did not light.",), (Figure("fuel", "fuel on", 26.0, 25.9, 26.1, "s"),), judged, (), Detail(start))


RECORDED = Calculation(
    "start",
    TITLES["start"],
    (
        Input("log", "file", "The log"),
        Input("good", "file", "Good ones", default="", many=True),
        Input("channel", "text", "Channel that was selected", default=""),
    ),
    _recorded,
    "made up for these tests",
    {
        "": {"unlit": "No rise", "fuel": "Fuel", "speed": "Speed", "lit": "It lit"},
        "light": {"lights": "It lights", "late": "Late", "no-light": "No light"},
        "speed": {"as-ever": "As fast as ever", "slow": "Slow"},
        "supply": {"present": "There", "low": "Low", "absent": "Not there"},
        "command": {"commanded": "Commanded", "not-commanded": "Not commanded", "wrong-one": "The other one"},
    },
)


@pytest.fixture
def recorder(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Put a reader of records in place that reads three words, so that what follows from them is known."""
    module = ModuleType("isolate.calc.start")
    module.CALCULATION = RECORDED  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "isolate.calc.start", module)
    yield


def log(folder: Path, words: str = "B as-ever present", name: str = "start.csv") -> Path:
    path = folder / name
    path.write_text(words, encoding="utf-8")
    return path


def begun(kit: Kit, log_: Memory | None = None, **more: Any) -> Chase:
    told: dict[str, Any] = {
        "aircraft": "117",
        "position": "1",
        "engine": kit.fitted.name,
        "complaint": "no-light-off",
        "people": (Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal")),
        "place": "hangar",
    }
    return Chase.begin(kit, log_ or Memory(), "trial", Intake(**{**told, **more}), Clock())


def at(chase: Chase, check: str) -> Ask:
    """Take up a check that needs nothing opened."""
    chase.accept("check", check)
    step = chase.now()
    assert isinstance(step, Ask) and step.key == check
    return step


def reads(fitted: Fitted, check: str, calc: str) -> Any:
    return next(one for one in fitted.checks[check].entry.reads if one.calc == calc)


def low(fitted: Fitted) -> measured.Reading:
    return take(reads(fitted, "supply-read", "volts"), VOLTS, WHERE)


def of_record(fitted: Fitted, path: Path, check: str = "recorded-start-read") -> measured.Reading:
    return take(reads(fitted, check, "start"), {"log": str(path)}, "")


def same(kit: Kit, chase: Chase) -> None:
    """The trail of a chase replays the same."""
    found = replayed(lambda digest, engine: kit, chase.log.events(chase.id))
    assert found.differs == () and not found.not_replayed and found.events == len(chase.log.events(chase.id))


# -- worked out --------------------------------------------------------------------------------------


def test_a_reading_is_worked_out_and_held_against_its_limit(hf3: Fitted) -> None:
    reading = low(hf3)
    assert reading.outcome == "low" and reading.words == "Low"
    found = body(reading)
    under = next(f for f in found["figures"] if f["name"] == "under-load")
    # Half a unit of the last digit, all alike likely: 95 % of that width, whatever the code does.
    assert (under["low"], under["high"]) == (pytest.approx(22.1 - 0.0475), pytest.approx(22.1 + 0.0475))
    assert found["limits"] == [["The least that your approved data allows", "24 V"]] and found["reference"] == WHERE
    assert all("24 V" not in said for _, said in found["understood"]), "a limit is no reading"
    assert json.loads(json.dumps(found)) == found


def test_a_limit_needs_its_place_in_the_data(hf3: Fitted) -> None:
    with pytest.raises(Lacking, match="Where in your approved data") as error:
        take(reads(hf3, "supply-read", "volts"), VOLTS, "  ")
    assert error.value.of == measured.REFERENCE
    assert all(error.value.of not in calculation(name).names for name in TITLES), "no input can be taken for it"


@pytest.mark.parametrize(
    ("typed", "of"),
    [
        ({**VOLTS, "volts": "28.1"}, "volts"),
        ({**VOLTS, "loaded": "OL"}, "loaded"),
        ({**VOLTS, "volts": "9" * 300 + " V"}, "volts"),
        ({"loaded": "22 V"}, "volts"),
        ({**VOLTS, "odd": "1 V"}, "odd"),
        ({**VOLTS, "volts": "-28.1 V"}, "volts"),
    ],
)
def test_what_cannot_be_taken_is_refused_with_a_sentence(hf3: Fitted, typed: dict[str, str], of: str) -> None:
    with pytest.raises(Lacking) as error:
        take(reads(hf3, "supply-read", "volts"), typed, WHERE)
    assert error.value.of == of and len(str(error.value)) > 10


def test_a_limit_within_what_the_reading_may_be_off_by_proposes_nothing(hf3: Fitted) -> None:
    reading = take(reads(hf3, "supply-read", "volts"), {**VOLTS, "loaded": "24.0 V"}, WHERE)
    assert reading.judged is not None and reading.judged.verdict == CANNOT_TELL
    assert reading.outcome == "" and reading.words == measured.CANNOT


def test_a_file_is_known_by_what_is_in_it(hf3: Fitted, tmp_path: Path, recorder: None) -> None:
    path = log(tmp_path, name="the start of today.csv")
    found = body(of_record(hf3, path))
    assert found["files"] == [
        {
            "name": "the start of today.csv",
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "bytes": len(path.read_bytes()),
        }
    ]
    assert str(tmp_path) not in json.dumps(found), "where it lay is nobody's business"
    assert found["seconds"] == [3.0, 40.0]
    with pytest.raises(OSError):
        of_record(hf3, tmp_path / "gone.csv")


# -- onto the trail ----------------------------------------------------------------------------------


def test_an_answer_keeps_its_reading_and_replays(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    reading = body(low(kit.fitted))
    chase.answer("low", reading=reading)
    event = next(e for e in chase.state.events if e.kind == "answered")
    assert event.body["reading"] == reading and chase.state.answers == {"supply-read": ["low"]}
    same(kit, chase)
    assert Chase(kit, chase.log, "trial", Clock()).state.answers == {"supply-read": ["low"]}


def test_an_open_answer_by_number_is_as_before(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    chase.answer("low")
    assert "reading" not in next(e for e in chase.state.events if e.kind == "answered").body
    assert "Read:" not in record(chase, NOT_ENDED)
    same(kit, chase)


@pytest.mark.parametrize("outcome", ["right", None])
def test_an_answer_against_its_reading_says_why(kit: Kit, outcome: str | None) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    reading = body(low(kit.fitted))
    with pytest.raises(Refused, match="say why"):
        chase.answer(outcome, reading=reading)
    assert isinstance(chase.now(), Ask), "it is still asked"
    chase.answer(outcome, "the meter's battery was flat", reading)
    assert chase.state.notes == ["the meter's battery was flat"]
    same(kit, chase)


def test_what_cannot_be_told_is_answered_with_a_reason_or_not(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    reading = body(take(reads(kit.fitted, "supply-read", "volts"), {**VOLTS, "loaded": "24.0 V"}, WHERE))
    with pytest.raises(Refused, match="cannot tell"):
        chase.answer("low", reading=reading)
    chase.answer(None, reading=reading)
    assert chase.state.unsure.keys() == {"supply-read"}
    assert measured.CANNOT in record(chase, NOT_ENDED)
    same(kit, chase)


def test_a_direct_offer_is_not_taken_up_for_a_reading_that_is_refused(kit: Kit) -> None:
    chase = begun(kit)
    before = len(chase.state.events)
    offer = chase.now()
    with pytest.raises(Refused):
        chase.answer(kit.fitted.check(offer.key).outcomes[0], reading={"calc": "volts"})  # type: ignore[attr-defined]
    assert len(chase.state.events) == before


def test_a_reading_of_another_calculation_answers_nothing_here(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    with pytest.raises(Refused, match="does not go through"):
        chase.answer("low", reading={**body(low(kit.fitted)), "calc": "lead"})
    with pytest.raises(Refused, match="does not follow"):
        chase.answer("right", reading={**body(low(kit.fitted)), "outcome": "right"})


def test_a_reading_that_answers_nothing_is_noted_with_its_step(kit: Kit) -> None:
    chase = begun(kit)
    reading = low(kit.fitted)
    chase.note(measured.note_of(reading), "supply-read", body(reading))
    same(kit, chase)
    assert "22.1 V" in record(chase, NOT_ENDED)


def test_taken_back_it_is_asked_again_without_its_reading(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    chase.answer("low", reading=body(low(kit.fitted)))
    chase.take_back()
    assert not chase.state.answers and isinstance(chase.now(), Ask)
    assert "22.1" not in record(chase, NOT_ENDED)
    assert not measured.behind(chase.state.events, chase.state.void)
    same(kit, chase)


def test_who_read_it_is_on_the_trail_where_it_was_told(kit: Kit) -> None:
    reads_ = reads(kit.fitted, "supply-read", "volts")
    reading = body(take(reads_, VOLTS, WHERE, by=" Quill, meter M-14\x1b[2J "))
    assert reading["by"].startswith("Quill, meter M-14") and "\x1b" not in reading["by"]
    assert "by" not in body(low(kit.fitted)), "a reading without it is as it was before"
    assert measured.lines(reading)[1].startswith("Read by: Quill, meter M-14")
    chase = begun(kit)
    at(chase, "supply-read")
    chase.answer("low", reading=reading)
    same(kit, chase)
    assert "Read by: Quill" in record(chase, NOT_ENDED)
    from_file = WrittenReading.model_validate({"calc": "volts", **VOLTS, "where": WHERE, "by": "Quill"})
    assert worked_out(kit.fitted, "supply-read", from_file, Path()).by == "Quill"
    with pytest.raises(Lacking, match="200 letters"):
        take(reads_, VOLTS, WHERE, by="x" * 201)
    for by in (3, "x" * 201, None):
        assert "who read it" in measured.odd({**reading, "by": by})


# -- one that is none --------------------------------------------------------------------------------

WHOLE = {
    "calc": "volts",
    "judge": "",
    "given": {"volts": "28.1 V", "many": ["1 V", "2 V"]},
    "understood": [["Volts at rest", "28.1 V"]],
    "limits": [],
    "figures": [{"name": "a", "says": "at rest", "value": 28.1, "low": None, "high": 28.2, "unit": "V"}],
    "verdict": "",
    "words": "",
    "why": "",
    "lines": ["At rest: 28.1 V."],
    "outcome": "",
    "reference": "",
    "files": [{"name": "a.wav", "sha256": "0" * 64, "bytes": 5}],
    "seconds": [1, 2.5],
}


def test_a_whole_one_is_taken() -> None:
    assert kept(WHOLE) == WHOLE
    assert lines(WHOLE)[0].startswith("Read:") and "SHA-256 000000000000)" in line(WHOLE)


@pytest.mark.parametrize(
    "change",
    [
        *({key: None} for key in WHOLE),
        *({key: 5} for key in WHOLE),
        {"calc": "none-such"},
        {"calc": "x" * 1_000_000},
        {"given": {"volts": 5}},
        {"given": {"volts": [5]}},
        {"understood": [["a"]]},
        {"understood": [["a", 5]]},
        {"limits": [["a", "24 V"]]},
        {"lines": [5]},
        {"figures": [{}]},
        {"figures": [{**WHOLE["figures"][0], "value": "28"}]},  # type: ignore[index]
        {"figures": [{**WHOLE["figures"][0], "value": float("nan")}]},  # type: ignore[index]
        {"figures": [{**WHOLE["figures"][0], "odd": 1}]},  # type: ignore[index]
        {"files": [{"name": "a"}]},
        {"files": [{"name": "a", "sha256": "zz", "bytes": 5}]},
        {"files": [{"name": "a", "sha256": "0" * 64, "bytes": True}]},
        {"seconds": [1]},
        {"seconds": [1, float("inf")]},
        {"lines": ["x" * 200_000]},
        {"lines": [""] * 200_000},
        {"reference": "x" * 300},
        {"odd": 1},
    ],
    ids=lambda change: next(iter(change)),
)
def test_one_that_is_none_is_refused_with_a_sentence_and_told_without_harm(change: dict[str, Any]) -> None:
    odd = {**copy.deepcopy(WHOLE), **change}
    with pytest.raises(Refused, match="reading cannot be taken: ") as error:
        kept(odd)
    assert len(str(error.value)) < 300
    assert isinstance(line(odd), str) and all(isinstance(said, str) for said in lines(odd))


@pytest.mark.parametrize("key", list(WHOLE)[:-1])
def test_a_part_missing_is_named(key: str) -> None:
    with pytest.raises(Refused, match=key):
        kept({name: value for name, value in WHOLE.items() if name != key})


@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from([*WHOLE, "name", "x"]), inner, max_size=4),
    max_leaves=12,
))  # fmt: skip
def test_whatever_stands_in_its_place_is_refused_or_told(anything: Any) -> None:
    with pytest.raises(Refused):
        kept(anything)
    assert line(anything) and lines(anything)
    assert measured.seal(anything) == ""


def test_what_was_typed_is_shown_plain(hf3: Fitted) -> None:
    found = body(take(reads(hf3, "supply-read", "volts"), VOLTS, "task\x1b[31m 4\u202e"))
    assert "\x1b" not in json.dumps(found) and "\u202e" not in json.dumps(found)
    assert "\x1b" not in " ".join(
        [line({**WHOLE, "why": "\x1b[2J", "verdict": "low"}), *lines({**WHOLE, "words": "\x1b"})]
    )


# -- a record says more than one thing ----------------------------------------------------------------


def test_a_record_answers_others_of_its_channel(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase = begun(kit)
    at(chase, "recorded-start-read")
    reading = of_record(kit.fitted, log(tmp_path))
    chase.answer(reading.outcome, reading=body(reading))
    also = chase.also(reading, "recorded-start-read", measured.channel_of(reading))
    found = {check.key: of_it.outcome for check, of_it in also}
    assert found.get("command-read/B") == "commanded" and "command-read/A" not in found
    assert "crank-speed-read" not in found, "the recorded start says it already"
    assert not [k for k in dict(found) if "/" in k and not k.endswith("/B")]
    minutes = chase.state.book_minutes
    chase.record([(check.key, of_it.outcome, body(of_it)) for check, of_it in also])
    assert {**{"recorded-start-read": ["spark-missing"]}, **{k: [v] for k, v in found.items()}} == chase.state.answers
    assert chase.state.book_minutes == minutes, "the record was read once"
    events = [e for e in chase.state.events if e.body.get("within") == RECORD]
    assert {e.body["check"] for e in events} == set(found) and all(e.body["reading"]["seconds"] for e in events)
    same(kit, chase)


def test_without_a_channel_no_channel_is_answered(kit: Kit, tmp_path: Path, recorder: None) -> None:
    reading = of_record(kit.fitted, log(tmp_path, "unknown slow low"))
    assert all(not check.channel for check, _ in measured.also(kit.fitted, reading, "when-ask"))
    keys = {check.key for check, _ in measured.also(kit.fitted, reading, "when-ask")}
    assert "crank-speed-read" in keys, "nothing else says it"


def test_a_record_is_not_counted_twice(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase = begun(kit)
    at(chase, "recorded-start-read")
    path = log(tmp_path)
    reading = of_record(kit.fitted, path)
    chase.answer(reading.outcome, reading=body(reading))
    # At the check of its own, with the same file under another name.
    again = take(
        reads(kit.fitted, "crank-speed-read", "start"), {"log": str(log(tmp_path, path.read_text(), "copy.csv"))}
    )
    with pytest.raises(Refused, match="not counted twice"):
        chase._read(kit.fitted.check("crank-speed-read"), again.outcome, body(again), "")
    with pytest.raises(Refused, match="not counted twice"):
        chase.record([("crank-speed-read", again.outcome, body(again))])
    other = take(reads(kit.fitted, "crank-speed-read", "start"), {"log": str(log(tmp_path, "B slow low", "other.csv"))})
    chase.record([("crank-speed-read", "slow", body(other))])
    with pytest.raises(Refused, match="answered"):
        chase.record([("crank-speed-read", "slow", body(other))])
    chase.take_back()
    assert "crank-speed-read" not in chase.state.answers and chase.state.move is None
    chase.record([("crank-speed-read", "slow", body(other))])
    same(kit, chase)


def test_an_answer_of_a_record_is_taken_back_or_doubted_by_itself(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase = begun(kit)
    at(chase, "recorded-start-read")
    reading = of_record(kit.fitted, log(tmp_path))
    chase.answer(reading.outcome, reading=body(reading))
    also = chase.also(reading, "recorded-start-read", "B")
    chase.record([(check.key, of_it.outcome, body(of_it)) for check, of_it in also])
    whole = set(chase.state.answers)
    last = also[-1][0].key
    assert chase.take_back() == f"answered: {last}"
    assert set(chase.state.answers) == whole - {last}
    chase.recheck("recorded-start-read")
    assert isinstance(chase.now(), Ask) and "recorded-start-read" not in chase.state.answers
    same(kit, chase)


def test_what_a_record_says_is_of_no_occasion_of_the_work(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase = begun(kit)
    at(chase, "recorded-start-read")
    reading = of_record(kit.fitted, log(tmp_path))
    chase.answer(reading.outcome, reading=body(reading))
    before = setting(chase.state)
    also = chase.also(reading, "recorded-start-read", "B")
    chase.record([(check.key, of_it.outcome, body(of_it)) for check, of_it in also])
    assert setting(chase.state) == before and before.occasion >= 0


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (("none-such", "x", {}), "no check is called"),
        (("command-read/B", "odd", {}), "no answer"),
        (("command-read/B", "commanded", {}), "cannot be taken"),
        (("command-read/B", None, {}), "stays unasked"),
        (("recorded-start-read", "spark-missing", "main"), "by itself"),
    ],
)
def test_a_record_that_does_not_fit_is_refused(
    kit: Kit, tmp_path: Path, recorder: None, answer: tuple[str, str, Any], says: str
) -> None:
    chase = begun(kit)
    key, outcome, of_it = answer
    reading = body(of_record(kit.fitted, log(tmp_path))) if of_it == "main" else of_it
    before = len(chase.state.events)
    with pytest.raises(Refused, match=says):
        chase.record([(key, outcome, reading)])
    assert len(chase.state.events) == before


def test_the_start_of_a_record_takes_its_place_once(hf3: Fitted, tmp_path: Path, recorder: None) -> None:
    start = measured.start_of(of_record(hf3, log(tmp_path)), hf3.channels)
    assert start == Start("B", False, at="2026-11-27 05:58")
    told = [Start("A", True, seconds=5.0), Start("unknown", False, lane="1")]
    assert measured.with_start(told, start, None) == [*told, start]
    merged = measured.with_start(told, start, 1)
    assert merged == [told[0], Start("B", False, lane="1", at="2026-11-27 05:58")], "what was told besides stands"
    odd = measured.start_of(of_record(hf3, log(tmp_path, "7 slow low")), hf3.channels)
    assert odd is not None and odd.channel == "unknown"


def test_a_start_that_lit_though_told_otherwise_is_not_weighed_twice(
    hf3: Fitted, tmp_path: Path, recorder: None
) -> None:
    # What the record says is weighed given that no light was told: so that stands in the history.
    reading = of_record(hf3, log(tmp_path, "B as-ever present lit"))
    assert reading.outcome == "readings-disagree" and measured.disagrees(reading)
    start = measured.start_of(reading, hf3.channels)
    told = [Start("B", False, lane="1")]
    assert start is not None and measured.with_start(told, start, 0, lit_stands=True) == [
        Start("B", False, lane="1", at="2026-11-27 05:58")
    ]
    assert not measured.disagrees(of_record(hf3, log(tmp_path)))


def test_a_start_made_for_a_check_answers_that_check_alone(kit: Kit, tmp_path: Path, recorder: None) -> None:
    assert kit.fitted.check("start-alone/B").entry.starts
    chase = begun(kit)
    reading = take(reads(kit.fitted, "start-alone/B", "start"), {"log": str(log(tmp_path))})
    assert chase.also(reading, "recorded-start-read", "B") and not chase.also(reading, "start-alone/B", "B")


def test_a_record_of_another_channel_is_not_taken(hf3: Fitted, tmp_path: Path, recorder: None) -> None:
    check = hf3.check("start-alone/B")
    one, others = reads(hf3, "start-alone/B", "start"), measured.others(hf3, check)
    for channel, said in (("A", "channel A"), ("both", "both channels together")):
        with pytest.raises(Lacking, match=said) as caught:
            take(one, {"log": str(log(tmp_path, f"{channel} as-ever present"))}, "", others)
        assert caught.value.of == "log"
    for channel in ("B", "unknown"):
        assert take(one, {"log": str(log(tmp_path, f"{channel} as-ever present"))}, "", others).outcome == "no-light"
    # One that asks which channel was selected is there to find that another was commanded.
    command, path = reads(hf3, "command-read/B", "start"), log(tmp_path, "A slow low")
    assert take(command, {"log": str(path)}, "", measured.others(hf3, hf3.check("command-read/B")))
    assert measured.others(hf3, hf3.check("recorded-start-read")) == frozenset()


def test_good_starts_may_be_compared_with_again(kit: Kit, tmp_path: Path, recorder: None) -> None:
    # What a record was compared with is not what it answers from.
    good = str(log(tmp_path, "A as-ever present lit", "good.csv"))
    one = reads(kit.fitted, "recorded-start-read", "start")
    first = body(take(one, {"log": str(log(tmp_path)), "good": [good]}))
    second = body(take(one, {"log": str(log(tmp_path, "B slow low", "b.csv")), "good": [good]}))
    assert measured.seal(first) == hashlib.sha256((tmp_path / "start.csv").read_bytes()).hexdigest()
    chase = begun(kit)
    at(chase, "recorded-start-read")
    chase.answer(first["outcome"], reading=first)
    events, check = chase.state.events, kit.fitted.check("recorded-start-read")
    assert measured.said_before(events, (), check, first) and not measured.said_before(events, (), check, second)


def test_what_was_told_before_holds_at_a_step_where_it_is_still_so(kit: Kit) -> None:
    """Limits at the same step; what was measured only within the same work, on the same channel, once."""
    fitted, reading = kit.fitted, body(low(kit.fitted))
    one = reads(fitted, "supply-read", "volts")
    chase = begun(kit)
    at(chase, "supply-read")
    assert measured.told_before(chase.state.events, (), fitted, one, "supply-read", 0) == ({}, "")
    chase.note("looked at first", "supply-read", reading)
    events = chase.state.events
    assert measured.told_before(events, (), fitted, one, "supply-read", chase.state.accepted) == (VOLTS, WHERE)
    later, noted = events[-1].seq, events[-1].seq
    assert measured.told_before(events, (), fitted, one, "supply-read", later) == ({"least": "24 V"}, WHERE)
    assert measured.told_before(events, {noted}, fitted, one, "supply-read", 0) == ({}, ""), "taken back"
    assert measured.told_before(events, (), fitted, one, "standby-read", later) == ({}, ""), "another limit"
    chase.answer("low", reading=reading)
    events = chase.state.events[:1] + chase.state.events[-1:]
    answered = next(e for e in chase.state.events if e.kind == "answered")
    found = measured.told_before([answered], (), fitted, one, "supply-read", 0)
    assert found == ({"least": "24 V"}, WHERE), "a check done again is measured again"


def test_what_stood_in_is_not_told_as_measured(hf3: Fitted) -> None:
    one = reads(hf3, "lead-insulation/B", "insulation")
    given_ = {"reading": "450 Mohm", "voltage": "500 V", "air": "dry", "temperature": "20 °C", "least": "100 Mohm"}
    kept_ = body(take(one, given_, WHERE))
    stood = [told for asked, told in kept_["understood"] if told.endswith(measured.NOT_TOLD)]
    assert len(stood) == 1 and stood[0].startswith("20"), "the temperature that the limit is stated for"
    assert "What the tester reads: 450" in " ".join(lines(kept_)) and "MΩ" in line(kept_)


# -- shown -------------------------------------------------------------------------------------------


def test_record_and_hand_over_show_what_was_read(kit: Kit, tmp_path: Path, recorder: None) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    chase.answer("low", reading=body(low(kit.fitted)))
    path = log(tmp_path)
    at(chase, "recorded-start-read")
    reading = of_record(kit.fitted, path)
    chase.answer(reading.outcome, reading=body(reading))
    said = record(chase, NOT_ENDED)
    seal = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
    for part in (
        "22.1 V (22.05 to 22.15 V)",
        "24 V (the data's task 4)",
        f"start.csv (SHA-256 {seal})",
        "seconds 3 to 40",
    ):
        assert part in said
    facts = {"by": "Quill", "to": "Ash", "loose": "none", "list-by": "Quill", "out": 0}
    over = " ".join(handed(chase, handing.body(chase, facts)).split())
    assert "22.1 V (22.05 to 22.15 V)" in over and seal in over
    same(kit, chase)


def test_an_answer_against_its_reading_is_told_as_one_with_its_reason(kit: Kit) -> None:
    chase = begun(kit)
    at(chase, "supply-read")
    chase.answer("right", "the meter was flat", body(low(kit.fitted)))
    seq = next(e.seq for e in chase.state.events if e.kind == "answered")
    assert measured.against(chase.state.events, seq) == "the meter was flat"
    facts = {"by": "Quill", "to": "Ash", "loose": "none", "list-by": "Quill", "out": 0}
    for text in (record(chase, NOT_ENDED), handed(chase, handing.body(chase, facts))):
        flat = " ".join(text.split())
        assert "ANSWERED OTHERWISE" in flat and "because: the meter was flat" in flat
    chase.take_back()
    chase.answer("low", "as it is", body(low(kit.fitted)))
    seq = next(e.seq for e in reversed(chase.state.events) if e.kind == "answered")
    assert measured.against(chase.state.events, seq) == "" and "OTHERWISE" not in record(chase, NOT_ENDED)
    assert measured.against(chase.state.events, 10_000) == ""


def test_an_end_without_a_limit_is_said_so() -> None:
    figure = {"name": "a", "says": "insulation", "value": None, "low": 5e8, "high": None, "unit": "Ω"}
    assert measured.figured(figure) == "insulation (500 MΩ or more)"
    assert measured.figured({**figure, "low": None, "high": 3.0}) == "insulation (3 Ω or less)"
    assert measured.figured({**figure, "low": None}) == "insulation not known"
    close = {**figure, "value": 24.02, "low": 24.0152, "high": 24.0248, "unit": "V"}
    assert measured.figured(close) == "insulation 24.02 V (24.015 to 24.025 V)", "the two ends are told apart"


# -- from a file of answers ---------------------------------------------------------------------------

CASE = """\
case:
  aircraft: 117
  position: 1
  engine: halden-hf-3
  complaint: no-light-off
  place: hangar
  people:
    - {name: Quill, may: [licensed, motoring, engine-run]}
    - {name: Marrow}
facts: {person: Quill, tag: T-17, time: "06:10", text: seen, minutes: 3, count: 6}
"""


def told(folder: Path, text: str) -> Path:
    path = folder / "answers.yaml"
    path.write_text(CASE + text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "at", "says"),
    [
        ("readings:\n  suply-read: {volts: 28.1 V}\n", 12, "supply-read"),
        ("readings:\n  when-ask: {volts: 28.1 V}\n", 12, "nothing is worked out"),
        ("readings:\n  supply-read: {volts: 28.1 V, least: 24 V, where: x}\n", 12, "say with calc"),
        ("readings:\n  supply-read: {calc: lead, volts: 28.1 V}\n", 12, "goes through"),
        ("readings:\n  standby-read:\n    volts: 28.1\n    least: 24 V\n    where: x\n", 13, "unit"),
        ("readings:\n  standby-read:\n    volts: 28.1 V\n    least: 24 V\n", 12, "Where in your approved data"),
        ("readings:\n  standby-read:\n    volts: 28.1 V\n    odd: 24 V\n", 14, "does not ask for"),
        ("readings:\n  standby-read: {least: 24 V, where: x}\n", 12, "has to be told"),
        ("readings:\n  standby-read:\n    - {volts: 2 V, least: 24 V, where: x}\n    - {volts: 2}\n", 14, "unit"),
        ("readings:\n  standby-read: {volts: 9 V, least: 24 V, where: x}\nanswers:\n  standby-read: right\n", 14, ""),
        ("readings:\n  recorded-start-read: {log: gone.csv}\n", 12, "gone.csv"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_file_is_told_with_its_line(tmp_path: Path, hf3: Fitted, text: str, at: int, says: str) -> None:
    with pytest.raises(KnowledgeError) as error:
        read(told(tmp_path, text), Answers, hf3)
    problems = error.value.problems
    assert [p.line for p in problems] == [at] and says in problems[0].message and len(problems[0].message) > 3


def test_the_answer_follows_from_the_reading(tmp_path: Path, kit: Kit) -> None:
    path = told(tmp_path, "readings:\n  standby-read: {volts: 20 V, least: 24 V, where: task 4}\n")
    written = read(path, Answers, kit.fitted)
    chase = Chase.begin(kit, Memory(), "trial", written.case.intake(), Clock())
    chase.accept("check", "standby-read")
    found = Script(written, kit.fitted, path.parent).measured("standby-read", "check")
    assert found is not None and found.outcome == "low" and found.reading.reference == "task 4"


def test_files_are_named_from_the_folder_of_the_file_of_answers(tmp_path: Path, hf3: Fitted, recorder: None) -> None:
    for name in ("start.csv", "a.csv", "b.csv"):
        log(tmp_path, name=name)
    for good in ("[a.csv, b.csv]", "a.csv; b.csv"):
        path = told(tmp_path, f"readings:\n  recorded-start-read:\n    log: start.csv\n    good: {good}\n")
        found = Script(read(path, Answers, hf3), hf3, tmp_path).measured("recorded-start-read", "check")
        assert found is not None and [p.parent for p in found.reading.files] == [tmp_path] * 3
    path = told(tmp_path, "readings:\n  command-read/B: {log: start.csv}\n")
    found = Script(read(path, Answers, hf3), hf3, tmp_path).measured("command-read/B", "check")
    assert found is not None and found.reading.given["channel"] == "B", "it is known which"
    log(tmp_path, "A as-ever present")
    path = told(tmp_path, "readings:\n  start-alone/B: {log: start.csv}\n")
    with pytest.raises(KnowledgeError, match=r"answers.yaml:\d+: .*channel A"):
        read(path, Answers, hf3)


def test_a_file_plays_with_its_readings_and_what_a_record_says_besides(
    tmp_path: Path, kit: Kit, recorder: None
) -> None:
    log(tmp_path)
    others = "".join(f"  {key}: {json.dumps([check.outcomes[0]] * 8)}\n" for key, check in kit.fitted.checks.items()
                     if key not in ("recorded-start-read", "standby-read"))  # fmt: skip
    path = told(
        tmp_path,
        "readings:\n  recorded-start-read: {log: start.csv, along: true}\n"
        "  standby-read: {volts: 20 V, least: 24 V, where: task 4, note: the meter was flat}\nanswers:\n"
        f"  standby-read: right\n{others}",
    )
    written = read(path, Answers, kit.fitted)
    clock = Clock()
    chase = Chase.begin(kit, Memory(), "trial", written.case.intake(), clock)
    chase.accept("check", "recorded-start-read")
    said: list[str] = []
    play(chase, Script(written, kit.fitted, path.parent), clock, lambda step, text: said.append(text))
    assert "the same record: " in said[0] and "start.csv" in said[0]
    assert any(e.body.get("within") == RECORD for e in chase.state.events)
    answered = {e.body["check"]: e for e in chase.state.events if e.kind == "answered"}
    assert "reading" in answered["recorded-start-read"].body
    same(kit, chase)


def test_no_calculation_asks_for_what_a_file_says_of_a_reading() -> None:
    for name in TITLES:
        assert not {*WrittenReading.model_fields} & {*calculation(name).names}, name

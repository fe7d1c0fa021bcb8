"""How old the parts are, as it is told: read, refused, kept on the trail, put into words, not asked again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from isolate.case.ages import asked_already, described, effect, faults, merged, read, told
from isolate.case.believed import believed
from isolate.case.case import Age, BadIntake, Evidence, Intake, Seen
from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.record import record
from isolate.case.written import Answers
from isolate.case.written import read as read_file
from isolate.kb.fit import Fitted
from isolate.kb.read import KnowledgeError
from isolate.reasoning.wear import weight
from tests.reasoning.wearing import engine

PLUG_A = Age("igniter", "A", "starts", 2900.0, 3100.0)


@pytest.fixture(scope="module")
def boxed() -> Fitted:
    return engine(box=True)


def intake(**more: Any) -> Intake:
    return Intake("104", "2", "halden-hf-3", "intermittent-no-ignite", **more)


@pytest.mark.parametrize(
    ("text", "age"),
    [
        ("igniter:A=2900-3100 starts", PLUG_A),
        ("plug A 2,900 to 3,100 starts", PLUG_A),
        ("  plug  A   2900..3100starts since new ", PLUG_A),
        ("igniter:A=3000 starts", Age("igniter", "A", "starts", 3000.0, 3000.0)),
        ("plug 1 300 starts", Age("igniter", "1", "starts", 300.0, 300.0)),
        ("plugs 300 starts", Age("igniter", "", "starts", 300.0, 300.0, True)),
        ("lead:B=at least 9000 hours", Age("lead", "B", "hours", 9000.0, None)),
        ("lead B 9,000+ h", Age("lead", "B", "hours", 9000.0, None)),
        ("exciter A <500.5 hours", Age("exciter", "A", "hours", None, 500.5)),
        ("exciter up to 1,234,567 hours", Age("exciter", "", "hours", None, 1_234_567.0, True)),
        ("igniter=together", Age("igniter", together=True)),
        ("plugs fitted at once", Age("igniter", together=True)),
    ],
)
def test_an_age_is_read_as_people_write_it(text: str, age: Age) -> None:
    assert read(text) == age


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "an age is a part"),
        ("plug", "an age is a part"),
        ("plug A 3000", "counted in starts or hours"),
        ("plug A 3000 days", "says 'days'"),
        ("plug A -5 starts", "from 0 up, not -5"),
        ("plug A 5 - -9 starts", "from 0 up"),
        ("plug A 30-20 starts", "not between 30 and 20"),
        ("plug A at least 30-40 starts", "an age is a number, two of them"),
        ("plug A 2.900 starts", "an age is a part"),
        ("plug A 2,9000 starts", "an age is a part"),
        ("plug A nan starts", "an age is a part"),
        ("plug A 1e400 starts", "an age is a part"),
        ("plug A together", "names none"),
        ("=5 starts", "an age is a part"),
    ],
)
def test_an_age_that_is_unclear_is_refused_with_the_reason(text: str, said: str) -> None:
    with pytest.raises(BadIntake, match=said):
        read(text)


def test_several_ages_stand_in_a_line() -> None:
    assert told("plug A 2,900 to 3,100 starts, lead B 5 hours; igniter=together") == (
        PLUG_A,
        Age("lead", "B", "hours", 5.0, 5.0),
        Age("igniter", together=True),
    )
    assert told(" ; ") == ()


@pytest.mark.parametrize(
    ("ages", "field", "said"),
    [
        ([Age("ignitor", "A", "starts", 1, 2)], "part", "did you mean igniter?"),
        ([Age("insert", "A", "starts", 1, 2)], "part", "does not come with its age"),
        ([Age("igniter", "C", "starts", 1, 2)], "channel", "no channel is called 'C'; known: A, B"),
        ([Age("igniter", "", "starts", 1, 2)], "channel", "which plug"),
        ([Age("igniter", "A", "starts", 1, 2, True)], "together", "it names none"),
        ([Age("igniter", "A", "hours", 1, 2)], "unit", "counted in starts here, not in hours"),
        ([Age("igniter", "A", "starts")], "least", "how old is the plug"),
        ([Age("igniter", "A", "starts", -1, 2)], "least", "from 0 up, not -1"),
        ([Age("igniter", "A", "starts", 1, float("nan"))], "most", "from 0 up"),
        ([Age("igniter", "A", "starts", 3, 2)], "least", "not between 3 and 2"),
        ([Age("igniter", "A", "starts", 40_000, 40_000)], "least", "more than any plug lives"),
        ([Age("igniter", "A", "starts", 5, 1e30)], "most", "more than any plug lives"),
        ([PLUG_A, Age("igniter", "A", "starts", 5, 6)], "part", "the age of the plug A is told already"),
        ([PLUG_A, Age("igniter", together=True)], "part", "the age of the plug A is told already"),
        ([Age("igniter", together=True), PLUG_A], "part", "the age of the plugs of all channels is told already"),
    ],
)
def test_ages_that_do_not_fit_the_engine(hf3: Fitted, ages: list[Age], field: str, said: str) -> None:
    (((number, where), message),) = faults(hf3, ages)
    assert (number, where) == (len(ages) - 1, field) and said in message


def test_starts_and_hours_of_one_part_are_two_mistakes(hf3: Fitted) -> None:
    found = list(faults(hf3, [PLUG_A, Age("igniter", "A", "hours", 5, 6)]))
    assert [field for (_, field), _ in found] == ["unit", "part"]
    assert found[1][1].endswith("is told already, in starts: one part has one age")


def test_what_fits_has_no_fault(hf3: Fitted, boxed: Fitted) -> None:
    assert not list(faults(hf3, [PLUG_A, Age("igniter", "B", "starts", None, 9), Age("lead", together=True)]))
    assert not list(faults(boxed, [Age("exciter", "", "hours", 5, 6), Age("plug", together=True)]))
    assert not list(faults(boxed, [Age("exciter", "", "hours", 5, 6, True)])), "one box is fitted at once with itself"


def test_a_box_that_both_share_has_no_channel(boxed: Fitted) -> None:
    ((_, message),) = faults(boxed, [Age("exciter", "A", "hours", 5, 6)])
    assert "there is one exciter for all channels" in message
    ((_, message),) = faults(boxed, [Age("exciter", together=True)])
    assert "how old is the exciter" in message


def test_what_is_told_again_stands_for_what_was_told() -> None:
    lead, plug_b, plugs = (
        Age("lead", "A", "hours", 1, 2),
        Age("igniter", "B", "starts", 1, 2),
        Age("igniter", together=True),
    )
    new = Age("igniter", "A", "starts", 7, 8)
    assert merged([PLUG_A, lead, plug_b], [new]) == (lead, plug_b, new)
    assert merged([PLUG_A, lead, plug_b], [plugs]) == (lead, plugs)
    assert merged([plugs], [new]) == (new,)


# -- not asked twice -------------------------------------------------------------------------------


def test_a_check_that_asks_what_is_told_is_not_asked(hf3: Fitted) -> None:
    assert asked_already(hf3, [PLUG_A]) == {"plug-age-read/A"}
    assert asked_already(hf3, [Age("igniter", "", "starts", 5, None, True)]) == {"plug-age-read/A", "plug-age-read/B"}
    assert asked_already(hf3, [Age("igniter", together=True), Age("lead", "A", "hours", 5, 6)]) == frozenset()


def test_the_chase_bars_it_and_says_why(kit: Kit) -> None:
    chase = Chase.begin(kit, Memory(), "case", intake(ages=(PLUG_A,)), Clock())
    assert chase.barred()["plug-age-read/A"] == "the age was told"
    assert chase.barred().get("plug-age-read/B") != "the age was told"
    assert not any(m.name == "plug-age-read/A" for m in chase.ranked().moves)


def test_what_was_answered_in_bands_gives_way_to_the_age_whenever_it_was_told(kit: Kit) -> None:
    answer = Evidence(5, "answer", "plug-age-read/A", "due")
    sign = next(s for s, e in kit.fitted.signs.items() if e.answers == {"plug-age-read": "due"})
    plain = believed(kit.model, intake(ages=(PLUG_A,)), [])
    for more in (
        believed(kit.model, intake(ages=(PLUG_A,)), [answer]),
        believed(kit.model, intake(ages=(PLUG_A,), signs=(Seen(sign, "A"),)), []),
    ):
        assert np.allclose(more.joint, plain.joint, rtol=1e-12, atol=0)
    # Of the other plug it is still heard.
    other = believed(kit.model, intake(ages=(PLUG_A,)), [Evidence(5, "answer", "plug-age-read/B", "due")])
    worn = kit.fitted.zones["channel/B"].states.index("igniter-worn")
    assert other.zone("channel/B")[worn] > 1.5 * plain.zone("channel/B")[worn]


def test_an_old_plug_is_suspected_more_and_a_new_one_less(kit: Kit) -> None:
    def worn(*ages: Age) -> float:
        return next(
            m.probability for m in believed(kit.model, intake(ages=ages), []).faults() if m.mode == "igniter-worn/A"
        )

    assert worn(Age("igniter", "A", "starts", 0, 50)) < 0.1 * worn() < worn() < worn(PLUG_A) / 2


# -- kept and told ---------------------------------------------------------------------------------


def test_ages_go_to_the_trail_and_come_back(kit: Kit) -> None:
    ages = (PLUG_A, Age("lead", "", "hours", None, 900.5, True), Age("exciter", together=True, unit="hours"))
    chase = Chase.begin(kit, Memory(), "case", intake(ages=ages), Clock())
    kept = json.loads(json.dumps(chase.intake.as_dict()))
    assert Intake.from_dict(kept).ages == ages == chase.intake.ages


def test_ages_told_in_a_case_change_what_is_believed_and_stand_in_the_record(kit: Kit) -> None:
    chase = Chase.begin(kit, Memory(), "case", intake(), Clock())
    before = chase.belief.joint
    chase.tell(ages=[{"part": "igniter", "channel": "A", "unit": "starts", "least": 2900, "most": 3100}])
    assert abs(chase.belief.joint - before).max() > 1e-3
    assert "Ages, as told: plug A, 2,900 to 3,100 starts since new." in record(chase, "an end")
    with pytest.raises(Refused, match="more than any plug lives"):
        chase.tell(ages=[{"part": "igniter", "channel": "A", "unit": "starts", "least": 99_000}])
    assert chase.intake.ages == (PLUG_A,), "what was told before is not lost"


@pytest.mark.parametrize(
    ("ages", "line", "said"),
    [
        ("- {part: ignitor, channel: A, unit: starts, least: 5}", 1, "did you mean igniter?"),
        (
            "- {part: lead, channel: A, unit: hours, most: 5}\n    - {part: igniter, channel: A, unit: hours, most: 5}",
            2,
            "counted in starts here",
        ),
        ("- {part: igniter, channel: A, unit: starts, least: -5}", 1, "-5 is out of range: must be at least 0"),
        ("- {part: igniter, channel: A, unit: starts, least: 9, most: 5}", 1, "not 9 to 5"),
        ("- {part: igniter, channel: A, unit: days, least: 9}", 1, "it can be starts or hours"),
        ("- {part: igniter, channel: A, least: 9}", 1, "`unit` is missing"),
        ("- {part: igniter, unit: starts, least: 9}", 1, "which plug"),
        ("- {part: igniter, channel: A, unit: starts, least: 1e9}", 1, "more than any plug lives"),
        ("- {part: igniter, channel: A, unit: starts, age: 9}", 1, "unknown field"),
    ],
)
def test_ages_in_a_file_are_refused_with_file_and_line(
    tmp_path: Path, hf3: Fitted, ages: str, line: int, said: str
) -> None:
    head = "case:\n  aircraft: 104\n  position: 2\n  engine: halden-hf-3\n  complaint: no-light-off\n  ages:\n"
    path = tmp_path / "answers.yaml"
    path.write_text(f"{head}    {ages}\n", encoding="utf-8")
    with pytest.raises(KnowledgeError) as error:
        read_file(path, Answers, hf3)
    (problem,) = error.value.problems
    assert said in problem.message and problem.line == 6 + line and problem.file.endswith("answers.yaml")


def test_ages_in_a_file_are_told(tmp_path: Path, hf3: Fitted) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text(
        "case:\n  aircraft: 104\n  position: 2\n  engine: halden-hf-3\n  complaint: no-light-off\n  ages:\n"
        "    - {part: igniter, channel: A, unit: starts, least: 2900, most: 3100}\n"
        "    - {part: lead, unit: hours, together: true}\n",
        encoding="utf-8",
    )
    assert read_file(path, Answers, hf3).case.intake().ages == (PLUG_A, Age("lead", unit="hours", together=True))


# -- in words --------------------------------------------------------------------------------------


def test_an_age_in_words(hf3: Fitted, boxed: Fitted) -> None:
    assert described(hf3, PLUG_A) == "plug A, 2,900 to 3,100 starts since new"
    assert described(hf3, Age("igniter", "A", "starts", 3000, 3000)) == "plug A, 3,000 starts since new"
    assert described(hf3, Age("lead", "B", "hours", 9000)) == "lead B, at least 9,000 hours since new"
    assert described(hf3, Age("lead", "B", "hours", None, 0.5)) == "lead B, at most 0.5 hours since new"
    assert (
        described(hf3, Age("igniter", together=True))
        == "plugs of all channels, fitted at once, how long ago is not known"
    )
    assert described(boxed, Age("exciter", "", "hours", 5, 5, True)) == "exciter, 5 hours since new"


def test_what_an_age_does_is_said_in_the_figures_of_the_belief(kit: Kit) -> None:
    (line,) = effect(kit.fitted, [PLUG_A])
    zone = kit.fitted.zones["channel/A"]
    times = weight(kit.model, [PLUG_A]).reshape(-1)[zone.states.index("igniter-worn")]
    assert line.startswith(f"Plug A, 2,900 to 3,100 starts since new: worn {times:.1f} times, ")
    assert line.endswith(" times as likely as for a plug of unknown age.")
    (tied,) = effect(kit.fitted, [Age("igniter", together=True)])
    assert "each by itself is as likely to fail as before" in tied and "where one is worn, another is" in tied
    (held,) = effect(kit.fitted, [Age("igniter", "A", "starts", 34_000, 34_000)])
    assert "(held at that)" in held

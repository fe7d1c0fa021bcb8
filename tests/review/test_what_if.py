"""A case run on with something changed: what is not changed goes as it went, and what is changed tells.

Most of it on the small knowledge of ``tests/review/desk.py``; two kept trails go the whole way, with the knowledge that
they were worked with. All of them were worked by the tool's own advice.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from isolate.case.case import fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.case.steps import Ask, Step
from isolate.kb.load import load
from isolate.kb.model import Knowledge
from isolate.review.altered import Likelihood, Prior, small, value_of
from isolate.review.firm import firm, reread
from isolate.review.story import share
from isolate.review.what_if import (
    MOST_MOVES,
    AnswerChange,
    FigureChange,
    KnowledgeChange,
    WhatIf,
    changes,
    what_if,
)
from tests.review import desk
from tests.worked import Worked, kept, kit_of, trail


@pytest.fixture(scope="module")
def kit() -> Kit:
    """The kit of the knowledge that the kept trails were worked with."""
    return kit_of()


def nowhere(name: str) -> Knowledge:
    if name == "same":
        return kept().knowledge
    raise Refused(f"there is no knowledge called {name}")


def run(kit: Kit, events: tuple[Event, ...], *texts: str, version: Callable[[str], Knowledge] = nowhere) -> WhatIf:
    return what_if(kit, events, changes(texts, kit, events, version))


def first(events: tuple[Event, ...], check: str = "") -> Event:
    void = fold(events).void
    return next(e for e in events if e.kind == "answered" and e.seq not in void and check in ("", e.body["check"]))


def same(event: Event) -> str:
    return f"{event.seq}={event.body['outcome']}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return desk.write(tmp_path_factory.mktemp("desk"))


@pytest.fixture(scope="module")
def bench(folder: Path) -> Kit:
    return desk.kit_in(folder)


@pytest.fixture(scope="module")
def worn(bench: Kit) -> tuple[Event, ...]:
    """A case with a worn igniter: the lead measured whole, the channel heard, the igniter renewed."""
    return desk.case(bench, "igniter-worn/B")


# -- nothing changed ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "seq"), [("worn-plug", 63), ("wet-lead", 89), ("declined", 26)])
def test_a_change_to_the_same_outcome_gives_the_same_course(kit: Kit, name: str, seq: int) -> None:
    """By the tool's own advice, with moves declined, two repairs and all."""
    events = trail(name)
    found = run(kit, events, same(events[seq - 1]))
    assert found.same and found.apart is None and found.changed.supposed == 0
    assert found.changed.rows == tuple(
        replace(row, how=new.how) for row, new in zip(found.original.rows, found.changed.rows, strict=True)
    )
    assert found.changed.ended == found.original.ended and found.changed.minutes == found.original.minutes
    assert (found.changed.named, found.changed.chance) == (found.original.named, found.original.chance)
    assert found.sentence.endswith("nothing would have gone differently.") and found.notes == ()


@pytest.mark.parametrize("truth", ["igniter-worn/B", "lead-open/B", "exciter-dead/B"])
def test_the_same_knowledge_from_the_start_gives_the_same_course(bench: Kit, truth: str) -> None:
    knowledge = bench.fitted.knowledge
    found = run(bench, desk.case(bench, truth), "knowledge=x", version=lambda name: knowledge)
    assert found.same and found.since == 1 and found.changed.supposed == 0


def test_moves_declined_are_declined_again(bench: Kit) -> None:
    events = desk.case(bench, "lead-open/B", refusals={"meter/B": "no meter here", "renew-lead/B": "no lead"})
    assert {"meter/B", "renew-lead/B"} <= {e.body["move"] for e in events if e.kind == "declined"}
    found = run(bench, events, "lead-open=0.05", version=nowhere)
    assert found.same, found.sentence


def case_with(kit: Kit, tell: Callable[[Chase], object]) -> tuple[Event, ...]:
    """Work a case to its end, something told after the second answer."""
    clock, log = Clock(datetime(2030, 1, 10, 6, 0, tzinfo=UTC)), Memory()
    chase = Chase.begin(kit, log, "104-2-t", desk.intake(), clock)
    answers = 0

    def heard(step: Step, said: str) -> None:
        nonlocal answers
        answers += isinstance(step, Ask)
        if isinstance(step, Ask) and answers == 2:
            tell(chase)

    play(chase, Worked(kit.model, ("exciter-dead/B",), None, "steady", {}), clock, heard)
    return log.events("104-2-t")


TOLD: Mapping[str, Callable[[Chase], object]] = {
    "people": lambda c: c.tell(people=[{"name": "another", "may": []}]),
    "parts that changed places": lambda c: c.swapped({"part": "igniter", "channel": "A", "other": "B"}),
}


@pytest.mark.parametrize("what", TOLD)
def test_what_was_told_on_the_way_is_told_again(bench: Kit, what: str) -> None:
    events = case_with(bench, TOLD[what])
    assert any(e.kind in ("told", "swapped") for e in events)
    found = run(bench, events, same(first(events)))
    assert found.same, found.sentence


# -- something changed -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def silent(bench: Kit, worn: tuple[Event, ...]) -> WhatIf:
    """Nobody heard the channel that was heard."""
    return run(bench, worn, f"{first(worn, 'heard/B').seq}=silent")


def test_a_changed_answer_goes_its_own_way_from_there(worn: tuple[Event, ...], silent: WhatIf) -> None:
    seq = first(worn, "heard/B").seq
    assert not silent.same and silent.since == seq
    before = [row for row in silent.changed.rows if row.seq < seq]
    assert before == [row for row in silent.original.rows if row.seq < seq] and len(before) == 2
    row = next(row for row in silent.changed.rows if row.seq == seq)
    assert row.how == "changed" and row.lead == "exciter-dead/B"
    assert silent.changed.named == "exciter-dead/B" and silent.original.named == "igniter-worn/B"
    assert silent.changed.ended == "verified, fault found"
    assert silent.sentence.startswith(
        f"Had event {seq} (Was channel B heard?) read “nobody heard it”, exciter B dead would have been suspected "
        "first after “Was channel B heard?” (64%)"
    )
    assert "“renew igniter B” would not have been done and “renew exciter B” would have been done" in silent.sentence
    more = silent.changed.minutes - silent.original.minutes
    assert silent.sentence.endswith(f"about {more:.0f} min more.") and more > 0


def test_answers_about_the_same_state_are_as_recorded_and_others_supposed(silent: WhatIf) -> None:
    """What was fired before and after the igniter was renewed is recorded; after another repair it is supposed."""
    hows = [(row.key, row.how) for row in silent.changed.rows if row.kind == "answer" and row.seq > silent.since]
    done = next(i for i, row in enumerate(silent.changed.rows) if row.kind == "repair")
    after = [(row.key, row.how) for row in silent.changed.rows[done:] if row.kind == "answer"]
    assert ("fire/A", "as recorded") in hows and ("look/B", "supposed") in hows
    # Channel A was touched in neither; channel B after another repair is a state that the case does not know.
    assert ("fire/A", "as recorded") in after and ("fire/B", "supposed") in after
    assert silent.changed.supposed == sum(how == "supposed" for _, how in hows)
    assert not any(row.how for row in silent.original.rows)


def test_where_the_offers_first_differ_is_told(worn: tuple[Event, ...], silent: WhatIf) -> None:
    assert silent.apart is not None
    assert silent.apart.original != silent.apart.changed
    both = [b for b in silent.beside if b.original is not None and b.changed is not None]
    assert both[0].original is not None and both[0].original.key == "heard/B"
    assert len(silent.beside) > len(both)


def test_could_not_tell_and_several_changes_at_once(bench: Kit, worn: tuple[Event, ...]) -> None:
    meter, heard = first(worn, "meter/B"), first(worn, "heard/B")
    found = run(bench, worn, f"{heard.seq}=silent", f"{meter.seq}=unsure")
    rows = {row.key: row for row in reversed(found.changed.rows)}
    assert found.since == meter.seq and len(found.changes) == 2
    assert rows["meter/B"].said == "could not tell" and rows["meter/B"].how == "changed"
    assert rows["heard/B"].how == "changed" and rows["heard/B"].said == "Nobody heard it"
    assert " and event " in found.sentence


def test_a_prior_and_a_likelihood_are_worked_from_the_opening(bench: Kit, worn: tuple[Event, ...]) -> None:
    found = run(bench, worn, "exciter-dead=0.3", "heard:heard:exciter-dead=0.5")
    assert found.since == 1 and not found.same
    assert found.beside[0].original is not None and found.beside[0].changed is not None
    assert found.beside[0].changed.lead == "exciter-dead/B" != found.beside[0].original.lead
    assert "the chance of “exciter dead” before any evidence been 0.3, not 0.04" in found.sentence
    assert (
        "the chance of “it was heard” at “Was channel A/B heard?” with exciter dead been 0.5, not 0.03"
        in found.sentence
    )


def test_the_same_answers_are_reread_as_firm_does_it(bench: Kit, worn: tuple[Event, ...]) -> None:
    """What ``firm`` says would lead is what what-if says first; what it says of the case worked anew may be another."""
    judged = firm(bench, worn)
    assert judged is not None
    answer = next(w for w in judged.weak if w.what == "answer" and w.other)
    found = run(bench, worn, f"{answer.seq}={answer.other}")
    title = small(answer.to_title)
    assert f"{title} would lead ({share(answer.chance)})" in found.reread or "nothing was wrong there" in found.reread
    assert found.reread.startswith("With the same answers, ")
    prior = next(w for w in judged.weak if w.what == "prior" and w.factor is not None)
    assert prior.factor is not None
    was = value_of(bench.fitted, Prior(prior.key))
    for beyond, leads in ((1.02, True), (1 / 1.02, False)):
        factor = prior.factor * (beyond if prior.factor > 1 else 1 / beyond)
        said = run(bench, worn, f"{prior.key}={factor * was:.12g}").reread
        assert said.startswith("With the same answers, the verdict would stand: ") != leads


def test_an_answer_put_where_there_was_none_is_reread(bench: Kit, worn: tuple[Event, ...]) -> None:
    """Could not tell becomes an answer: with the one that it had, all is as it was."""
    heard = first(worn, "heard/B")
    unsure = tuple(replace(e, body={**e.body, "outcome": ""}) if e.seq == heard.seq else e for e in worn)
    found = reread(bench, unsure, bench, {heard.seq: str(heard.body["outcome"])})
    judged = firm(bench, worn)
    assert judged is not None and f"({share(judged.chance)}; it was " in found


def test_other_knowledge_is_worked_from_the_opening(bench: Kit, worn: tuple[Event, ...], tmp_path: Path) -> None:
    other = load(desk.write(tmp_path, "prior: 0.09", "prior: 0.009")).knowledge
    found = run(bench, worn, "knowledge=other", version=lambda name: other)
    assert found.since == 1 and not found.same and found.reread == ""
    assert f"it been worked with the knowledge {other.digest[:12]} (other)" in found.sentence
    assert found.original.rows[0].lead == "igniter-worn/B" != found.changed.rows[0].lead


def test_names_that_the_other_knowledge_has_not_are_left_out_and_said(
    bench: Kit, worn: tuple[Event, ...], tmp_path: Path
) -> None:
    other = load(desk.write(tmp_path, "  heard:\n    title", "  listened:\n    title")).knowledge
    found = what_if(bench, worn, [KnowledgeChange("other", other)])
    assert any(note.startswith("Left out") and "heard/B" in note for note in found.notes)
    keys = [row.key for row in found.changed.rows]
    assert "heard/B" not in keys and "listened/B" in keys and found.changed.ended


def test_an_open_case_is_run_on_on_both_sides_and_says_so(bench: Kit, worn: tuple[Event, ...]) -> None:
    heard = first(worn, "heard/B")
    found = run(bench, worn[: heard.seq + 3], f"{heard.seq}=silent")
    assert found.original.run_on and found.original.ended and found.original.named == "igniter-worn/B"
    assert found.original.supposed > 0 and found.changed.named == "exciter-dead/B"
    assert any("run on from where it stands" in note for note in found.notes)


def test_a_case_worked_with_knowledge_that_is_not_here_is_run_on_from_its_opening(
    bench: Kit, worn: tuple[Event, ...]
) -> None:
    opening = replace(worn[0], body={**worn[0].body, "knowledge": "0" * 64})
    found = run(bench, (opening, *worn[1:]), same(first(worn, "heard/B")))
    assert found.since == 1 and "is not here" in found.notes[0]


def test_moves_of_its_own_are_said_to_be_part_of_the_difference(bench: Kit) -> None:
    clock, log = Clock(datetime(2030, 1, 10, 6, 0, tzinfo=UTC)), Memory()
    chase = Chase.begin(bench, log, "104-2-t", desk.intake(), clock)
    chase.accept("check", "heard/B")
    chase.answer("heard")
    assert next(e.body["move"] for e in log.events("104-2-t") if e.kind == "offered") == "meter/B"
    play(chase, Worked(bench.model, ("igniter-worn/B",), None, "steady", {}), clock)
    found = run(bench, log.events("104-2-t"), "igniter-worn=0.08")
    assert any("took 1 move other than the tool offered" in note for note in found.notes)


def test_nothing_of_the_case_is_touched(bench: Kit, worn: tuple[Event, ...], folder: Path) -> None:
    copy = json.dumps([event.body for event in worn])
    files = {path: path.read_bytes() for path in folder.rglob("*.yaml")}
    run(bench, worn, f"{first(worn).seq}=open", "igniter-worn=0.02")
    assert json.dumps([event.body for event in worn]) == copy
    assert {path: path.read_bytes() for path in folder.rglob("*.yaml")} == files
    assert bench.fitted.zones["channel/B"].prior[2] == 0.09


def test_it_can_be_written_as_json(silent: WhatIf) -> None:
    data = json.loads(json.dumps(silent.as_dict()))
    assert data["sentence"] == silent.sentence and len(data["beside"]) == len(silent.beside)


def test_a_case_that_does_not_end_is_broken_off_and_says_so(
    bench: Kit, worn: tuple[Event, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("isolate.review.what_if.MOST_MOVES", 2)
    found = run(bench, worn, f"{first(worn).seq}=unsure")
    assert MOST_MOVES > 2 and not found.changed.ended
    assert "had not ended 2 moves after the change" in found.notes[0]
    assert "would not have come to an end here" in found.sentence


# -- what may be changed -----------------------------------------------------------------------------


def test_changes_are_read(kit: Kit) -> None:
    events = trail("worn-plug")
    found = changes(
        ["knowledge=same", "63 = cracked", "spark-test/B:snaps:igniter-worn=0.4", "igniter-worn/B=0,02", "12=unsure"],
        kit, events, nowhere,
    )  # fmt: skip
    assert found[0] == KnowledgeChange("same", kept().knowledge)
    assert found[1] == AnswerChange(63, "plug-tip-look/B", "cracked")
    assert found[2] == FigureChange(
        Likelihood("spark-test", "snaps", "channel", "igniter-worn", "B"), 0.4, found[2].was
    )  # type: ignore[union-attr]
    assert (
        isinstance(found[3], FigureChange) and found[3].figure == Prior("igniter-worn", "B") and found[3].value == 0.02
    )
    assert found[4] == AnswerChange(12, "heard-at-start/B", "")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("nonsense", "is no change: a change is SEQ=OUTCOME"),
        ("7=x", r"event 7 is no answer; the answers are 8 \(Look at the breakers of channel B"),
        ("8=al-in", "did you mean all-in.*or unsure"),
        ("worn=0.2", "no fault mode is called 'worn'"),
        ("igniter-wron=0.2", "did you mean igniter-worn"),
        ("igniter-worn=2", "between 0 and 1, not '2'; now it is 0.0074"),
        ("igniter-worn=0", "between 0 and 1"),
        ("igniter-worn=0.9999", "can be from"),
        ("spark-test:snaps:igniter-worn=nan", "between 0 and 1"),
        ("spark-tset:snaps:igniter-worn=.3", "did you mean spark-test"),
        ("spark-test/C:snaps:igniter-worn=.3", "not for 'C'"),
        ("spark-test:snap:igniter-worn=.3", "did you mean snaps"),
        ("spark-test:snaps:igniter-wor=.3", "did you mean igniter-worn"),
        ("spark-test:snaps:healthy=.3", "say spark-test:snaps:channel:healthy or spark-test:snaps:shared:healthy"),
        ("spark-test:snaps:chanel:healthy=.3", "did you mean channel"),
        ("a:b=0.2", "is no likelihood"),
        ("knowledge=nowhere", "there is no knowledge called nowhere"),
        ("\x1b[31m9\x1b[0m", "is no change"),
    ],
)
def test_what_cannot_be_changed_gets_a_sentence(kit: Kit, text: str, says: str) -> None:
    with pytest.raises(Refused, match=says) as caught:
        changes([text], kit, trail("worn-plug"), nowhere)
    assert "\x1b" not in str(caught.value)


def test_one_thing_is_changed_once(kit: Kit) -> None:
    with pytest.raises(Refused, match="event 12 is changed twice"):
        changes(["12=heard", "12=unsure"], kit, trail("worn-plug"), nowhere)
    with pytest.raises(Refused, match="only one knowledge"):
        changes(["knowledge=same", "knowledge=same"], kit, trail("worn-plug"), nowhere)


def test_an_answer_taken_back_is_not_changed(kit: Kit) -> None:
    events = trail("taken-back")
    gone = next(int(e.body["seq"]) for e in events if e.kind == "corrected")
    with pytest.raises(Refused, match=f"event {gone} was taken back"):
        changes([f"{gone}=unsure"], kit, events, nowhere)

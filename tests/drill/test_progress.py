"""Progress of trainees and the class: what counts, what is merged, what is said, and what bad input does.

The debriefings are made by hand here, to the letter of the debriefing's contract; nothing is driven.
"""

from __future__ import annotations

import csv
import hashlib
import io
import random
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from isolate.case.events import canonical, now_text
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.store import Store, StoreError, open_store
from isolate.drill import progress
from isolate.drill.progress import Drills, calibration, class_lines, class_of, csv_rows, gather, of, trainees, write_csv
from isolate.kb.fit import Fitted

START = datetime(2030, 1, 1, 6, 0, tzinfo=UTC)


def debriefing(**told: Any) -> dict[str, Any]:
    """A debriefing as the contract has it."""
    body = {
        "drill": "d", "scenario": "s", "title": "A title", "trainee": "Ann", "begun": "", "seed": 1, "level": None,
        "engine": "halden-hf-3", "complaint": "one-channel-silent", "topics": ["lead"], "end": "verified",
        "judged": "right", "right": True, "truth": ["lead open A"], "found": ["lead open A"], "minutes": 80.0,
        "equivalent": 130.0, "money": None, "expected": 100.0, "over": 20.0, "chance": 10.0, "steps": [], "extra": [],
        "suspicions": [], "brier": None, "safety": [], "hints": 0, "hint_minutes": 0.0, "record": [],
        "record_ok": True, "learning": [],
    }  # fmt: skip
    assert set(told) <= set(body)
    return {**body, **told}


def sure(stated: float, true: bool, supported: float = 0.5) -> dict[str, Any]:
    return {
        "minute": 1, "suspect": "lead/A", "title": "lead A", "sure": stated, "supported": supported,
        "likeliest": "lead/A", "likeliest_title": "lead A", "likeliest_p": 0.5, "true": true, "misread": [],
    }  # fmt: skip


def trail(
    name: str, day: int, trainee: str = "Ann", *, stops: int = 0, hints: int = 0, level: str = "", case: str = "",
    debrief: dict[str, Any] | bool | None = True, more: Sequence[tuple[str, dict[str, Any]]] = (), seed: int = 1,
    topics: Sequence[str] = (), begun: object = None,
) -> list[tuple[str, dict[str, Any]]]:  # fmt: skip
    """The events of a drill. ``debrief``: its debriefing, True for the usual one, None for a drill left."""
    about: dict[str, Any] = {
        "name": name,
        "trainee": trainee,
        "begun": now_text(START + timedelta(days=day)) if begun is None else begun,
        "seed": seed,
        "scenario": {"title": f"Title of {name}", "story": name, "topics": list(topics), "seed": seed},
    }
    if level:
        about["level"] = {"name": level}
    items: list[tuple[str, dict[str, Any]]] = [
        ("opened", {"aircraft": "104", "position": 1, "engine": "halden-hf-3", "complaint": "no-light", "drill": about})
    ]
    items += [("stopped", {"move": "m"}), ("taken-again", {})] * stops + [("hinted", {"minutes": 4})] * hints
    if debrief is not None and debrief is not False:
        items.append(("closed", {"end": "verified"}))
        items.append(("debriefed", debriefing() if debrief is True else debrief))
    return [*items, *more]


class Shelf(Memory):
    """Drills in memory."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []

    def put(self, items: Iterable[tuple[str, dict[str, Any]]], case: str = "") -> str:
        case = case or f"drill-{len(self.ids) + 1}"
        self.ids.append(case)
        self.append_all(case, list(items), now_text(START))
        return case

    def cases(self) -> list[Any]:
        return [type("Listed", (), {"id": case})() for case in self.ids]

    def faults(self, case: str) -> list[Any]:
        return []


def shelf(*trails: list[tuple[str, dict[str, Any]]]) -> Shelf:
    made = Shelf()
    for one in trails:
        made.put(one)
    return made


def rated(*over: float, name: str = "s", **told: Any) -> list[list[tuple[str, dict[str, Any]]]]:
    return [trail(f"{name}{i}", i, debrief=debriefing(over=o, **told)) for i, o in enumerate(over)]


# -- what counts --------------------------------------------------------------------------------------


def test_costs_ends_stops_and_hints() -> None:
    found = of(
        shelf(
            trail("one", 1, stops=1, hints=2, debrief=debriefing(over=10, expected=50, topics=["lead"])),
            trail("two", 2, debrief=debriefing(over=40, expected=150, topics=["lead", "wet"], right=False,
                                               judged="fault left")),
        ),
        "Ann",
    )  # fmt: skip
    f = found.all
    assert (f.played, f.counted, f.right, f.stops, f.stopped, f.hints) == (2, 2, 1, 1, 1, 2)
    assert (f.over, f.expected, f.ratio) == (25, 100, pytest.approx(50 / 200))
    assert found.topics["lead"] == f
    assert (found.topics["wet"].played, found.topics["wet"].ratio) == (1, pytest.approx(40 / 150))


def test_leaving_in_the_middle_hides_no_stop() -> None:
    found = of(shelf(trail("one", 1), trail("two", 2, stops=2, hints=1, debrief=None, topics=["wet"])), "Ann")
    assert (found.all.played, found.all.counted, found.all.left) == (2, 1, 1)
    assert (found.all.stops, found.all.hints, found.all.over) == (2, 1, 20)
    assert found.topics["wet"].stops == 2
    assert "stop" in found.next[0].why and found.next[0].topic == "wet"


def test_a_drill_debriefed_before_its_end_is_one_left() -> None:
    body = debriefing(judged="not ended", right=False, over=500, suspicions=[sure(0.9, True)])
    found = of(shelf(trail("one", 1), trail("two", 2, debrief=body)), "Ann")
    assert (found.all.counted, found.all.left, found.all.over) == (1, 1, 20)
    assert found.calibration.suspicions == 1


def test_a_truth_that_was_told_is_played_again_and_counts_no_more() -> None:
    known = debriefing(over=0, suspicions=[sure(1, True)])
    found = of(
        shelf(
            trail("one", 1, debrief=debriefing(suspicions=[sure(0.3, False)])),
            trail("one", 2, seed=9, stops=1, debrief=known),
            trail("two", 3),
        ),
        "Ann",
    )
    assert [d.again for d in found.drills] == [False, True, False]
    assert (found.all.counted, found.all.again, found.all.over, found.all.stops) == (2, 1, 20, 1)
    assert found.calibration.suspicions == 1
    other = of(shelf(trail("one", 1), trail("one", 2, "Bob")), "Bob")
    assert other.all.counted == 1, "another's play tells nobody the truth"
    left = of(shelf(trail("one", 1, debrief=None), trail("one", 2)), "Ann")
    assert left.all.counted == 1, "a drill that was left told no truth"


def test_an_aircraft_that_was_asked_before_is_known_though_its_truth_was_not_told() -> None:
    """The same seed answers the same: whoever reads the answers, leaves and begins again has practised nothing."""
    peeked = trail("one", 1, debrief=None, more=[("answered", {"check": "c"})])
    for seed, counted in ((1, 0), (2, 1)):
        assert of(shelf(peeked, trail("one", 2, seed=seed)), "Ann").all.counted == counted
    assert of(shelf(peeked, trail("one", 2, "Bob")), "Bob").all.counted == 1


def test_played_on_after_a_debriefing_counts_as_again() -> None:
    more = [("answered", {"check": "c"}), ("closed", {}), ("debriefed", debriefing(over=0))]
    body = debriefing(judged="not ended", right=False)
    found = of(shelf(trail("one", 1, debrief=body, more=more)), "Ann")
    assert (found.all.counted, found.all.again, found.drills[0].judged) == (0, 1, "right")


def test_the_last_debriefing_counts() -> None:
    found = of(shelf(trail("one", 1, more=[("debriefed", debriefing(over=33))])), "Ann")
    assert (found.all.over, found.all.again) == (33, 0)


def test_drills_stand_by_when_they_were_begun_whatever_the_zone() -> None:
    found = of(
        shelf(
            trail("late", 0, begun="2030-03-01T00:30:00+02:00"),
            trail("early", 0, begun="2030-03-01T00:40:00+03:00"),
        ),
        "Ann",
    )
    assert [d.name for d in found.drills] == ["early", "late"]


@pytest.mark.parametrize(
    ("one", "other"),
    [("Ann  B", "ann b"), ("Ann B", " ANN\tB "), ("Ásta Þór", "ÁSTA þÓR"), ("Ａｎｎ", "ann"), ("Straße", "STRASSE"),
     ("山田 花子", "山田　花子"), ("José", "Jose\u0301"), ("", "  ")],
)  # fmt: skip
def test_names_are_merged_and_the_first_spelling_is_kept(one: str, other: str) -> None:
    both = shelf(trail("a", 2, other), trail("b", 1, one))
    assert trainees(both) == (" ".join(one.split()) or progress.NOBODY,)
    assert of(both, other).all.played == 2


@pytest.mark.parametrize(("one", "other"), [("Ann B", "AnnB"), ("Ann", "Anne"), ("Ann", "Änn")])
def test_names_that_differ_stay_apart(one: str, other: str) -> None:
    assert len(trainees(shelf(trail("a", 1, one), trail("b", 2, other)))) == 2


def test_somebody_unknown_is_said_with_who_is_there() -> None:
    with pytest.raises(Refused, match=r"^no drill of Zoe is here; here are Ann, Bob$"):
        of(shelf(trail("a", 1, "Bob"), trail("b", 1)), "Zoe")
    with pytest.raises(Refused, match=r"^no drill of nobody named is here$"):
        of(shelf(), "")


# -- the trend ----------------------------------------------------------------------------------------


def test_a_trend_needs_drills_and_says_on_how_many_it_rests() -> None:
    three = of(shelf(*rated(30, 20, 10)), "Ann").all.trend
    assert (three.first, three.interval) == (None, None) and "3 drills, 4 are needed" in three.says
    four = of(shelf(*rated(30, 20, 10, 0)), "Ann").all.trend
    assert (four.first, four.second) == (pytest.approx(0.25), pytest.approx(0.05))
    assert four.interval is None and "too few to tell from chance (4 drills)" in four.says
    ten = of(shelf(*rated(*range(90, -10, -10))), "Ann").all.trend
    assert ten.word == "falls" and ten.slope == pytest.approx(-0.1) and "it falls" in ten.says
    assert "rests on 10 drills" in ten.says and "-10.0 points" in ten.says
    up = of(shelf(*rated(*range(0, 100, 10))), "Ann").all.trend
    assert up.word == "rises"
    wild = of(shelf(*rated(5, 60, 0, 50, 10, 40, 20, 30)), "Ann").all.trend
    assert wild.word == "unclear" and "may be chance" in wild.says


def test_one_bad_day_makes_no_trend_and_hides_none() -> None:
    assert of(shelf(*rated(10, 12, 9, 11, 10, 900)), "Ann").all.trend.word == "unclear"
    assert of(shelf(*rated(60, 50, 45, 40, 900, 30, 20, 15, 10, 5)), "Ann").all.trend.word == "falls"


def test_harder_drills_are_said_beside_the_trend() -> None:
    drills = [trail(f"s{i}", i, debrief=debriefing(over=20, expected=100 if i < 3 else 200)) for i in range(6)]
    assert "later ones were longer: 200 min by the reference, 100 before" in of(shelf(*drills), "Ann").all.trend.says
    assert "later ones" not in of(shelf(*rated(20, 20, 20, 20, 20, 20)), "Ann").all.trend.says


def test_only_the_last_drills_make_the_trend() -> None:
    found = of(shelf(*rated(*[500.0] * 20, *[10.0] * progress.MOST_TREND)), "Ann").all.trend
    assert found.drills == progress.MOST_TREND and found.slope == 0 and found.word == "unclear"


def test_a_reference_of_nothing_has_no_ratio() -> None:
    found = of(shelf(trail("a", 1, debrief=debriefing(expected=0)), trail("b", 2, debrief=debriefing())), "Ann")
    assert found.all.ratio == pytest.approx(0.2) and found.drills[0].ratio is None and found.all.over == 20


# -- sureness -----------------------------------------------------------------------------------------


def people(*drills: Sequence[tuple[float, bool]]) -> Drills:
    return gather([
        shelf(
            *(trail(f"s{i}", i, debrief=debriefing(suspicions=[sure(s, t) for s, t in told]))
              for i, told in enumerate(drills))
        )
    ])  # fmt: skip


def test_bins_brier_and_the_supported_beside_it() -> None:
    found = calibration(people([(0.0, False), (0.2, True)], [(0.6, True), (1.0, False)]).drills)
    # What stands on an edge belongs to the upper bin, full sureness to the last.
    assert [(b.low, b.suspicions, b.true) for b in found.bins] == [(0, 1, 0), (0.2, 1, 1), (0.6, 1, 1), (0.8, 1, 0)]
    assert found.brier == pytest.approx((0 + 0.64 + 0.16 + 1) / 4)
    assert found.supported == pytest.approx(0.25)
    assert found.says.startswith("Too few to say: 4 suspicions in 2 drills; 10 in 5 are needed")
    assert found.gap_interval is None


def test_nothing_stated_says_so() -> None:
    found = calibration(gather([shelf(trail("a", 1))]).drills)
    assert found.brier is None and "nothing can be said" in found.says


def test_many_suspicions_in_few_drills_are_too_few() -> None:
    assert "Too few" in calibration(people(*[[(0.9, False)] * 10] * 4).drills).says


def test_too_sure_and_less_sure_than_there_was_reason_to_be() -> None:
    over = calibration(people(*[[(0.9, i % 3 == 0), (0.8, i % 3 == 0)] for i in range(12)]).drills)
    assert over.says.startswith("Too sure: 85 % sure on average, 33 % true.") and over.gap_interval is not None
    under = calibration(people(*[[(0.3, i % 5 != 0), (0.4, i % 5 != 0)] for i in range(20)]).drills)
    assert under.says.startswith("Less sure than there was reason to be: 35 % sure on average, 80 % true.")
    assert "40 suspicions in 20 drills" in under.says


def test_a_dozen_right_at_95_is_not_too_modest() -> None:
    found = calibration(people(*[[(0.95, True)]] * 12).drills)
    assert found.says.startswith("Neither") and found.gap == pytest.approx(-0.05)


def test_the_same_said_ten_times_in_a_drill_is_worth_one_drill() -> None:
    once = calibration(people(*[[(0.7, i % 2 == 0)] for i in range(12)]).drills)
    ten = calibration(people(*[[(0.7, i % 2 == 0)] * 10 for i in range(12)]).drills)
    assert once.gap_interval == pytest.approx(ten.gap_interval)


# -- what next ----------------------------------------------------------------------------------------


def levels(*told: tuple[str, bool, int], over: float = 0) -> Shelf:
    return shelf(
        *(trail(f"s{i}", i, level=level, stops=stops,
                debrief=debriefing(right=right, judged="right" if right else "fault left", over=over))
          for i, (level, right, stops) in enumerate(told))
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "level"),
    [
        ([("easy", True, 0)], "easy"),
        ([("easy", True, 0), ("easy", True, 0)], "middle"),
        ([("easy", True, 0), ("easy", False, 0)], "easy"),
        ([("middle", True, 0), ("middle", True, 0)], "hard"),
        ([("hard", True, 0), ("hard", True, 0)], "hard"),
        ([("middle", False, 0), ("middle", False, 0)], "easy"),
        ([("easy", False, 0), ("easy", False, 0)], "easy"),
        ([("easy", True, 0), ("easy", True, 0), ("middle", True, 0)], "middle"),
        ([("middle", True, 0), ("middle", True, 1)], "easy"),
        ([("easy", True, 1), ("easy", True, 1)], "easy"),
    ],
)
def test_levels_go_up_after_two_right_ends_and_down_after_two_wrong(
    told: list[tuple[str, bool, int]], level: str
) -> None:
    first = of(levels(*told), "Ann").next[0]
    assert (first.topic, first.level) == ("lead", level)
    assert first.command == f"isolate drill --random --about lead --level {level}"


def test_dear_topics_do_not_go_up() -> None:
    first = of(levels(("easy", True, 0), ("easy", True, 0), over=60), "Ann").next[0]
    assert first.level == "easy" and "60 % over the reference, on 2 drills" in first.why


def test_safety_comes_before_wrong_ends_before_cost_before_practice() -> None:
    def told(name: str, day: int, topic: str, stops: int = 0, **more: Any) -> list[tuple[str, dict[str, Any]]]:
        return trail(name, day, stops=stops, debrief=debriefing(topics=[topic], **more))

    trails = [
        told("a", 1, "plug", over=0), told("b", 2, "exciter", over=80), told("c", 3, "exciter", over=80),
        told("d", 4, "fuel", right=False, judged="fault left", over=0), told("e", 5, "lead", stops=1, over=0),
    ]  # fmt: skip
    topics = ["plug", "exciter", "fuel", "lead", "switch"]
    assert [s.topic for s in of(shelf(*trails), "Ann", topics).next] == ["lead", "fuel", "exciter"]
    assert [s.topic for s in of(shelf(*trails[:4]), "Ann", topics).next] == ["fuel", "exciter", "lead"]
    last = of(shelf(*trails[:3]), "Ann", topics).next
    assert [s.topic for s in last] == ["exciter", "fuel", "lead"] and "Never practised" in last[1].why
    assert [s.topic for s in of(shelf(trails[0]), "Ann").next] == ["plug"]


def test_old_stops_are_forgiven_once_the_last_drills_had_none() -> None:
    clean = [trail(f"s{i}", i, debrief=debriefing(over=0)) for i in range(progress.RECENT)]
    assert "Safety" in of(shelf(trail("x", -1, stops=1), *clean[1:]), "Ann").next[0].why
    assert "Safety" not in of(shelf(trail("x", -1, stops=1), *clean), "Ann").next[0].why


def test_a_stop_without_a_topic_still_comes_first() -> None:
    first = of(shelf(trail("a", 1), trail("b", 2, stops=1, debrief=None)), "Ann").next[0]
    assert (first.topic, first.command) == ("", "isolate drill --random --level easy") and "Safety" in first.why


def test_only_what_can_be_drawn_is_suggested_and_a_command_is_safe_in_a_shell() -> None:
    drills = shelf(trail("a", 1, debrief=debriefing(topics=["lead", "herring; rm x"])))
    assert {s.topic for s in of(drills, "Ann", ["lead"]).next} == {"lead"}
    assert any("--about 'herring; rm x' " in s.command for s in of(drills, "Ann").next)


def test_topics_of_an_engine_are_the_parts_of_its_faults(hf3: Fitted) -> None:
    found = progress.topics_of(hf3)
    assert {"lead", "exciter"} <= set(found) and list(found) == sorted(set(found))


# -- the class ----------------------------------------------------------------------------------------


def a_class() -> Shelf:
    return shelf(
        trail("one", 1, "Ann", debrief=debriefing(over=10, suspicions=[sure(0.8, True)])),
        trail("one", 2, "Bob", debrief=debriefing(over=50, suspicions=[sure(0.9, False)])),
        trail("one", 3, "Cem", stops=1, debrief=debriefing(over=0)),
        trail("one", 4, "Ann", debrief=debriefing(over=0)),
        trail("two", 5, "Ann", debrief=debriefing(over=30)),
        trail("two", 6, "Bob", debrief=debriefing(over=50, right=False, judged="fault left")),
        trail("three", 7, "Cem", hints=3, debrief=None),
    )


def test_the_class_table_and_its_medians() -> None:
    found = class_of(a_class())
    rows = {r.trainee: r for r in found.rows}
    assert list(rows) == ["Ann", "Bob", "Cem"]
    assert (rows["Ann"].all.counted, rows["Ann"].all.again, rows["Ann"].all.over) == (2, 1, 20)
    assert found.median["ratio"] == pytest.approx(0.2) and found.median["over"] == 20
    assert rows["Bob"].to_median == pytest.approx(0.3) and rows["Cem"].to_median == pytest.approx(-0.2)
    assert found.median["stops"] == 0 and found.median["right"] == 1
    assert rows["Bob"].brier == pytest.approx(0.81) and rows["Cem"].brier is None
    assert found.median["brier"] == pytest.approx((0.04 + 0.81) / 2)
    assert rows["Bob"].weakest == ("lead",) and rows["Cem"].weakest == ("lead",) and rows["Ann"].weakest == ()


def test_the_same_scenario_is_compared_and_unsafe_or_wrong_is_never_best() -> None:
    one, two = class_of(a_class()).scenarios
    assert (one.name, [o[0] for o in one.over], one.median, one.best) == ("one", ["Ann", "Bob", "Cem"], 10, 10)
    assert (two.median, two.best, two.right) == (40, 30, 1)
    wrong = class_of(shelf(trail("s", 1, stops=1), trail("s", 2, "Bob", stops=1))).scenarios[0]
    assert wrong.best is None
    edited = trail("s", 2, "Bob")
    edited[0][1]["drill"]["scenario"]["story"] = "another story"
    assert class_of(shelf(trail("s", 1), edited)).scenarios == ()


def test_stops_of_drills_that_did_not_end_are_in_the_median_and_the_sum() -> None:
    left = debriefing(judged="not ended", right=False)
    found = class_of(
        shelf(
            trail("a", 1, "Ann", stops=4, debrief=None),
            trail("a", 2, "Bob", stops=2, debrief=left),
            trail("a", 3, "Cem"),
        )
    )
    assert [r.all.counted for r in found.rows] == [0, 0, 1]
    assert found.median["stops"] == 2, "of 4, 2 and 0 a drill"
    text = " ".join(" ".join(class_lines(found)).split())
    assert "2.0 stops and 0.0 hints a drill, ended or not" in text and "6 stops in all" in text


def test_the_weakest_topics_are_told_whole() -> None:
    topics = ["comes-and-goes", "control-lane-driver"]
    drills = shelf(trail("a", 1, "Somebody with a long name", stops=1, debrief=debriefing(topics=topics)))
    for width in (80, 132):
        said = class_lines(drills, width)
        text = " ".join(" ".join(said).split())
        assert "Weakest of Somebody with a long name: comes-and-goes, control-lane-driver." in text, width
        assert "…" not in text, width


def test_a_class_of_nobody() -> None:
    assert class_lines(class_of(shelf()))[0] == "No drill was found."


# -- files --------------------------------------------------------------------------------------------


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """A folder as an instructor gets it: two exported drills, one of them in a store as well, with another."""
    with open_store(tmp_path / "ann" / "drills.db") as store:
        put(store, "drill-1", trail("one", 1, "Ann"))
        put(store, "drill-2", trail("two", 2, "Ann", stops=1, debrief=None))
        store.export_case("drill-1", tmp_path / "ann-1.jsonl")
    with open_store(tmp_path / "bob.db") as store:
        put(store, "drill-1", trail("one", 3, "Bob"))  # the same id from another machine
        store.export_case("drill-1", tmp_path / "bob-1.jsonl")
    return tmp_path


def put(store: Store, case: str, items: Sequence[tuple[str, dict[str, Any]]]) -> None:
    store.append_all(case, items, now_text(START))


def print_of(folder: Path) -> dict[str, tuple[str, int]]:
    return {
        str(p): (hashlib.sha256(p.read_bytes()).hexdigest(), p.stat().st_mtime_ns)
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def test_files_are_merged_without_being_touched_and_twice_is_once(files: Path) -> None:
    before = print_of(files)
    places = [files / "ann-1.jsonl", files / "ann" / "drills.db", files / "bob-1.jsonl"]
    once = gather(places)
    assert print_of(files) == before, "nothing is written, and nothing beside it"
    assert [(d.id, d.trainee, d.state) for d in once.drills] == [
        ("drill-1", "Ann", "ended"), ("drill-2", "Ann", "left in the middle"), ("drill-1", "Bob", "ended"),
    ]  # fmt: skip
    assert once.problems == ()
    assert gather([*places, *reversed(places)]) == once
    shutil.copy(files / "ann-1.jsonl", files / "a copy (2).jsonl")
    assert gather([files, files / "ann"]).drills == once.drills, "folders, and the same drill exported twice"


def test_a_store_that_is_open_and_its_newest_events_are_read(files: Path) -> None:
    with open_store(files / "ann" / "drills.db") as store:
        put(store, "drill-3", trail("three", 4, "Ann"))
        assert (files / "ann" / "drills.db-wal").exists()
        by_file, by_store = gather([files / "ann" / "drills.db"]), gather([store])
    assert len(by_file.drills) == 3 and by_file.drills == by_store.drills


def test_the_longer_copy_of_a_drill_counts_in_any_order(files: Path) -> None:
    with open_store(files / "ann" / "drills.db") as store:
        store.export_case("drill-2", files / "early.jsonl")
        put(store, "drill-2", [("closed", {}), ("debriefed", debriefing(over=7))])
        store.export_case("drill-2", files / "late.jsonl")
    for order in (("early", "late"), ("late", "early")):
        found = gather(files / f"{name}.jsonl" for name in order)
        assert [d.over for d in found.drills] == [7] and found.problems == ()


def test_a_drill_played_on_in_two_places_counts_once_and_is_said(files: Path) -> None:
    for name, over in (("x", 7.0), ("y", 9.0)):
        shutil.copy(files / "ann" / "drills.db", files / f"{name}.db")
        with open_store(files / f"{name}.db") as store:
            put(store, "drill-2", [("closed", {}), ("debriefed", debriefing(over=over))])
    one, other = (gather(files / f"{n}.db" for n in order) for order in ("xy", "yx"))
    assert one.drills == other.drills and sum(d.id == "drill-2" for d in one.drills) == 1
    assert len(one.problems) == 1 and "drill-2 goes on otherwise than in" in one.problems[0]


def test_bad_files_each_get_a_sentence_and_the_rest_counts(files: Path) -> None:
    good = (files / "ann-1.jsonl").read_bytes()
    lines = good.splitlines(keepends=True)
    bad = {
        "torn.jsonl": (good[:-40], "cut short"),
        "edited.jsonl": (good.replace(b'"Ann"', b'"Eve"'), "not whole"),
        "hole.jsonl": (lines[0] + lines[2], "not whole"),
        "empty.jsonl": (b"", "empty"),
        "picture.jsonl": (bytes(range(128, 256)) * 40 + b"\n", "not UTF-8"),
        "words.jsonl": ("Grüße\n".encode(), "not JSON"),
        "other.db": (b"SQLite format 3\0" + b"\xff" * 5000, "not a database"),
        "short.db": (b"SQLite format 3\0", "."),
    }
    for name, (data, _) in bad.items():
        (files / name).write_bytes(data)
    with open_store(files / "cases.db") as store:
        put(store, "case-1", [("opened", {"aircraft": "104"})])
        store.export_case("case-1", files / "case.jsonl")
    (files / "folder").mkdir()
    places = [*(files / n for n in bad), files / "cases.db", files / "case.jsonl", files / "none.jsonl",
              files / "folder", Path("/dev/null"), Path("a\0b"), files / "ann-1.jsonl"]  # fmt: skip
    found = gather(places)
    assert [d.trainee for d in found.drills] == ["Ann"]
    assert len(found.problems) == len(places) - 1, found.problems
    for note, (name, (_, says)) in zip(found.problems, bad.items(), strict=False):
        assert name in note and says in note and note.endswith((".", "more)")), note
        assert "/tmp/tmp" not in note, "the copy is nobody's business"
    rest = " ".join(found.problems[len(bad) :])
    for words in ("1 real case in it besides", "a real case (case-1) and not a drill", "no such file", "not a plain",
                  "without any .jsonl"):  # fmt: skip
        assert words in rest
    assert gather([files]).drills == gather([files / "ann-1.jsonl", files / "bob.db"]).drills


def test_a_store_tampered_with_is_said(files: Path) -> None:
    import sqlite3

    with sqlite3.connect(files / "bob.db") as database:
        database.execute("DROP TRIGGER events_stay")
        database.execute("""UPDATE events SET body = replace(body, '"over":20', '"over":1') WHERE kind = 'debriefed'""")
    database.close()
    found = gather([files / "bob.db", files / "ann-1.jsonl"])
    assert [d.trainee for d in found.drills] == ["Ann"]
    assert "drill drill-1 is not whole and was not counted" in found.problems[0] and "bob.db" in found.problems[0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"over": None}, "over is missing"),
        ({"over": "12"}, "over is odd"),
        ({"over": True}, "over is odd"),
        ({"over": -5}, "over is odd"),
        ({"over": 1e300}, "over is odd"),
        ({"right": 1}, "right is odd"),
        ({"judged": None}, "judged is missing"),
        ({"topics": "lead"}, "topics is odd"),
        ({"suspicions": [3]}, "a suspicion is no object"),
        ({"suspicions": [sure(1.5, True)]}, "sure is not between 0 and 1"),
        ({"suspicions": [{**sure(0.5, True), "true": None}]}, "true is missing"),
    ],
)
def test_a_debriefing_that_cannot_be_read_is_said(change: dict[str, Any], says: str) -> None:
    found = gather([shelf(trail("bad", 1, debrief=debriefing(**change)), trail("good", 2))])
    assert [d.name for d in found.drills] == ["good"]
    assert len(found.problems) == 1 and says in found.problems[0] and "drill-1 was not counted" in found.problems[0]


def test_a_drill_that_says_odd_things_of_itself() -> None:
    odd: list[Any] = [3, None, {}, {"begun": "yesterday"}, {"begun": 5, "trainee": []}]
    found = gather([shelf(*([("opened", {"drill": one})] for one in odd), trail("good", 1))])
    assert [d.name for d in found.drills] == ["good"] and len(found.problems) == len(odd)
    begun = now_text(START)
    scant = gather([shelf([("opened", {"drill": {"begun": begun, "scenario": 7, "level": "hard", "seed": "x"}})])])
    assert [(d.trainee, d.level, d.seed, d.topics) for d in scant.drills] == [("nobody named", "", None, ())]


def test_anything_in_a_trail_is_met_with_a_sentence() -> None:
    rng = random.Random(5)
    values: list[Any] = [None, True, -1, 1e200, "", "=x", "\x1b[31m", [], [[]], {}, {"name": "easy"}]
    for _ in range(300):
        items = trail("s", 1, debrief=debriefing(suspicions=[sure(0.5, True)], learning=[{"say": "x", "met": False}]))
        for _ in range(rng.randint(1, 3)):
            at = items[0][1] if rng.random() < 0.3 else items[0][1]["drill"] if rng.random() < 0.5 else items[-1][1]
            if isinstance(at, dict) and at:
                at[rng.choice(sorted(at))] = rng.choice(values)
            if not isinstance(items[0][1].get("drill"), dict):
                break
        found = gather([shelf(items, trail("good", 2, "Zed"))])
        assert len(found.drills) + len(found.problems) == 2 and found.drills[-1].trainee == "Zed"
        class_lines(class_of(found))
        for name in trainees(found):
            said = progress.lines(of(found, name))
            assert all("\x1b" not in line for line in said)
        csv_rows(found)
        csv_rows(found, "trainee")


# -- CSV ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", ["drill", "trainee"])
def test_csv_reads_back_one_row_each(by: progress.By, tmp_path: Path) -> None:
    path = tmp_path / "class.csv"
    written = write_csv(path, a_class(), by)
    data = path.read_bytes()
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))
    assert len(rows) == written == {"drill": 7, "trainee": 3}[by]
    assert all(None not in row and None not in row.values() for row in rows), "each row as long as the heading"
    first = rows[0]
    if by == "drill":
        assert (first["trainee"], first["over_min"], first["over_to_expected"]) == ("Ann", "10", "0.1")
        assert first["right"] == "yes"
        assert (rows[3]["played_again"], rows[-1]["state"], rows[-1]["over_min"], rows[-1]["right"]) == (
            "yes", "left in the middle", "–", "",
        )  # fmt: skip
        assert first["brier"] == "0.04" and first["safety_stops"] == "0"
    else:
        assert (first["drills"], first["counted"], first["mean_over_min"], first["brier"]) == ("3", "2", "20", "0.04")
        assert rows[2]["less_class_median"] == "-0.2", "a number below nought is a number"
    with pytest.raises(StoreError, match="there already"):
        write_csv(path, a_class(), by)
    assert write_csv(path, a_class(), by, overwrite=True) == written
    with pytest.raises(StoreError, match="no such file or folder"):
        write_csv(tmp_path / "none" / "class.csv", a_class(), by)


HOSTILE = ["=1+1", "+1", "-1", "@x", "\t=1", "  =1", "＝1", "\r=1", '=H("x","y")', "-2+3", "\x00=1", "\u200b=1"]


@pytest.mark.parametrize("text", HOSTILE)
def test_no_cell_is_a_formula(text: str) -> None:
    body = debriefing(topics=[text], judged=text, title=text, over=99)
    drills = [trail(text, i, text, level=text, topics=[text], debrief=body) for i in range(2)]
    for by in ("drill", "trainee"):
        buffer = io.StringIO(newline="")
        csv.writer(buffer).writerows(csv_rows(shelf(*drills), by))  # type: ignore[arg-type]
        for row in csv.reader(io.StringIO(buffer.getvalue(), newline="")):
            for cell in row:
                if not cell.replace(".", "").removeprefix("-").isdigit():
                    assert cell.strip("\u200b \x00")[:1] not in tuple("=+-@\t\r＝＋－＠"), repr(cell)
    assert any("'" in cell for row in csv_rows(shelf(*drills)) for cell in row)


@pytest.mark.parametrize("text", ["=x", "+x", "-x", "@x", "\tx", "\rx", "＝x"])
def test_a_cell_of_text_gets_an_apostrophe(text: str) -> None:
    assert progress._cell(text) == "'" + text


@pytest.mark.parametrize("name", ["山田 花子", "Ольга Н", "أمينة", "Ásta, \"Ása\"", "नीतू", "O'Neil", "🛠 Bo"])
def test_names_in_any_script_come_through(name: str, tmp_path: Path) -> None:
    drills = shelf(trail("a", 1, name), trail("b", 2, name, debrief=None))
    write_csv(tmp_path / "x.csv", drills)
    rows = list(csv.DictReader((tmp_path / "x.csv").open(encoding="utf-8", newline="")))
    assert [r["trainee"] for r in rows] == [name, name]
    for said in (progress.lines(of(drills, name)), class_lines(class_of(drills))):
        assert any(name in line for line in said)
        assert max(map(progress._columns, said)) <= 80


# -- in words -----------------------------------------------------------------------------------------


def test_lines_say_all_of_it_within_eighty_columns() -> None:
    trails = [
        trail(f"s{i}", i, stops=i == 4, hints=i % 2, level="easy",
              debrief=debriefing(over=60 - 5 * i, topics=["lead", "vibration"] if i % 2 else ["plug"],
                                 suspicions=[sure(0.9, i % 2 == 0), sure(0.3, False)],
                                 learning=[{"say": "A braid tells what the snap does not.", "met": False}]))
        for i in range(9)
    ]  # fmt: skip
    drills = shelf(*trails, trail("x", 20, debrief=None), [("opened", {"drill": 3})])
    said = progress.lines(of(drills, "ann"))
    text = "\n".join(said)
    assert max(map(len, said)) <= 80
    for words in (
        *("Ann: 10 drills, 2030-01-01 to 2030-01-21", "9 ended and counted, 1 left in the middle", "Safety stops 1"),
        *("9 of 9 (100 %; 95 % 70 to 100 %)", "it falls", "Brier score", "80-100 %", "Not met yet", "A braid tells"),
        *("isolate drill --random --about", "! the store: drill drill-11 was not counted"),
        "What to practise next, most needed first:",
    ):
        assert words in text, words
    for width in (30, 40, 60, 100):
        assert max(map(progress._columns, progress.lines(of(drills, "ann"), width))) <= width


def test_the_class_fits_eighty_columns_with_long_names_and_topics() -> None:
    drills = shelf(
        *(trail(f"scenario {i % 3}", i, f"{'山' * 20} {i}" if i % 2 else f"A{'n' * 40} {i}", stops=1,
                debrief=debriefing(title="Long " * 20, over=999, topics=["lead-and-harness", "control-lane-driver"]))
          for i in range(9))
    )  # fmt: skip
    said = class_lines(drills)
    assert said == class_lines(class_of(drills)) and max(map(progress._columns, said)) <= 80
    text = "\n".join(said)
    assert "Class median" in text and "9 trainees" in text and "best over" in text
    assert all(max(map(progress._columns, class_lines(class_of(drills), w))) <= w for w in (40, 120))


def test_no_escape_sequence_reaches_the_screen() -> None:
    body = debriefing(topics=["\x9b31m"], right=False, judged="\x1b[31m", title="\x1b[2J")
    drills = shelf(*(trail("\x1b[2J", i, f"A\x1b]0;x\x07n\u202en{i}", debrief=body) for i in range(2)))
    for said in (progress.lines(of(drills, trainees(drills)[0])), class_lines(class_of(drills))):
        assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or c == "\u202e" for line in said for c in line)


def test_json_takes_all_of_it() -> None:
    found = gather([a_class()])
    for thing in (of(found, "Ann").as_dict(), class_of(found).as_dict(), asdict(found)):
        assert canonical(thing)


# -- debriefings without their trails -----------------------------------------------------------------


def test_debriefings_are_marked_beside_each_other(tmp_path: Path) -> None:
    stop = {"minute": 0, "title": "t", "says": "s", "harm": "h", "rule": "r", "taken_again": False}
    made = [
        debriefing(trainee="Zoe", scenario="one", over=25, suspicions=[sure(0.8, True)], hints=2),
        debriefing(trainee="", scenario="=two", safety=[stop, stop], judged="not ended", right=False, drill="d2"),
    ]
    said = progress.marks(made)
    assert said[1].split() == ["Zoe", "80", "25", "25", "%", "0", "2", "0.04", "right", "one"]
    assert said[2].startswith("nobody named") and "not ended" in said[2] and said[2].endswith("=two")
    assert max(map(len, progress.marks([debriefing(trainee="n" * 60, scenario="s" * 60, judged="j" * 60)]))) <= 80
    assert progress.marks([]) == ["Nothing was marked."]
    rows = [dict(zip(progress.DRILL_COLUMNS, row, strict=True)) for row in csv_rows(made)[1:]]
    assert [(r["trainee"], r["scenario"], r["safety_stops"], r["hints"]) for r in rows] == [
        ("Zoe", "one", "0", "2"), ("nobody named", "'=two", "2", "0"),
    ]  # fmt: skip
    assert write_csv(tmp_path / "x.csv", made) == 2
    assert write_csv(tmp_path / "y.csv", gather([a_class()]).drills) == 7
    with pytest.raises(ValueError, match="hints is missing"):
        progress.of_debriefing({"judged": "right"})


def test_a_drill_that_did_not_end_has_no_cost_that_looks_best() -> None:
    left = debriefing(trainee="Una", judged="not ended", right=False, over=0.0, drill="d1")
    done = debriefing(trainee="Gwen", over=0.0, drill="d2")
    said = progress.marks([left, done])
    assert said[1].split()[:4] == ["Una", "80", "–", "–"]
    assert said[2].split()[:5] == ["Gwen", "80", "0", "0", "%"]
    assert "a dash where the drill did not end" in " ".join(" ".join(said).split())
    for rows in (csv_rows([left, done]), csv_rows(shelf(trail("a", 1, debrief=left), trail("b", 2, debrief=done)))):
        told = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
        assert [(r["over_min"], r["over_to_expected"]) for r in told] == [("–", "–"), ("0", "0")]


def test_a_debriefing_says_the_same_as_its_trail() -> None:
    body = debriefing(drill="drill-1", scenario="one", complaint="no-light", begun=now_text(START + timedelta(days=1)))
    assert csv_rows([body]) == csv_rows(shelf(trail("one", 1, debrief=body)))

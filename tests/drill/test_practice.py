"""Cases drawn from the knowledge: reproducible, as likely as the knowledge has them, of a measured level, solvable."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from isolate.case.believed import told_belief
from isolate.case.case import Intake
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.written import read_for
from isolate.drill import measure, pilot, practice
from isolate.drill.drive import Drive
from isolate.drill.measure import LEVELS, NONE, NOT_MEASURED, Measured, Row
from isolate.drill.practice import TOPICS, draw, fits
from isolate.drill.scenario import Scenario
from isolate.kb.fit import UnknownName, fit, split
from isolate.kb.load import load, shipped_scenarios
from isolate.kb.model import HEALTHY, Complaint, Told
from isolate.reasoning.starts import BOTH, Start
from isolate.reasoning.wear import Age

BEGUN = "2030-05-01T08:00:00.000Z"
ENGINES = ("halden-hf-3", "halden-hf-5", "orrin-t-9")
Kits = Callable[[str], Kit]


@pytest.fixture(scope="module")
def kits(kit: Kit) -> Kits:
    made = {"halden-hf-3": kit}

    def of(engine: str) -> Kit:
        if engine not in made:
            made[engine] = Kit(fit(load().knowledge, engine))
        return made[engine]

    return of


# -- what is drawn ---------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_a_drawn_case_is_sound_and_the_tool_brings_it_to_an_end(kits: Kits, seed: int) -> None:
    scenario, level = draw(kits, ENGINES, seed)
    kit = kits(scenario.case.engine)
    assert list(scenario.odd(kit.fitted)) == [] and level["name"] == NOT_MEASURED
    assert fits(kit.fitted.complaints[scenario.case.complaint], scenario.case.intake().starts)
    assert set(scenario.source) <= set(kit.fitted.knowledge.sources)
    drive = Drive.begin(kit, Memory(), "drill", "practice", scenario, "Ann", BEGUN, level=level)
    came = pilot.run(drive)
    assert came.kind == "ended" and not {"stopped", "refused"} & {e.kind for e in drive.chase.state.events}


def test_the_same_seed_and_wishes_give_the_same_case(kits: Kits) -> None:
    first, again = (draw(kits, ENGINES, 7, engine="orrin-t-9") for _ in range(2))
    assert first == again
    assert draw(kits, ENGINES, 8, engine="orrin-t-9")[0] != first[0]


def test_the_story_says_what_was_drawn_and_never_the_truth(kits: Kits) -> None:
    kit = kits("halden-hf-3")
    departs, when, before, aged = (0,) * 4
    for seed in range(25):
        scenario, _ = draw(kits, ENGINES, seed, engine="halden-hf-3")
        case, story = scenario.case, scenario.story
        assert case.aircraft in story and f"engine {case.position}" in story and case.aircraft in practice.FLEET
        assert kit.fitted.complaints[case.complaint].title[1:] in story
        for mode in scenario.truth:
            zone = kit.fitted.zones[kit.fitted.mode_zone[mode]]
            assert zone.title_of(split(mode)[0]) not in story and zone.title_of(split(mode)[0]) not in scenario.title
        lit = sum(s.lit for s in case.starts)
        assert (f"{lit} lit and {len(case.starts) - lit} did not" in story) == (0 < lit < len(case.starts))
        assert ("It is to leave in" in story) == (case.minutes_left is not None)
        assert ("It is said to come" in story) == (case.condition != "steady")
        assert ("Done before" in story) == bool(case.done)
        assert ("By its papers" in story) == bool(case.ages)
        departs, when = departs + (case.minutes_left is not None), when + (case.condition != "steady")
        before, aged = before + bool(case.done), aged + bool(case.ages)
    assert min(departs, when, before, aged) > 0, "each of them comes sometimes"


def test_a_story_is_said_as_one_says_it(kits: Kits) -> None:
    # "An Orrin", "a Halden"; "the igniter plug A" is nobody's words, nor "1 minutes".
    for name, articles in (("after-the-bump", "an Orrin"), ("hot-turn", "a Halden")):
        scenario = read_for(shipped_scenarios() / f"{name}.yaml", Scenario, kits)[0]
        drawn = practice.told_of(scenario)
        drawn.shut_down = drawn.minutes_left = 1.0
        drawn.ages = (Age("igniter", "A", "hours", 1.0, 3.0),)
        said = " ".join(practice.story(kits(scenario.case.engine).fitted, drawn, "104", "2"))
        assert f"it is about engine 2, {articles}" in said and "the newest did not light." in said
        assert "shut down 1 minute ago" in said and "leave in 1 minute." in said
        assert "By its papers igniter plug A has 1 to 3 hours." in said
        # Hot when it fails, and hot now; shaken when it fails, and not now.
        assert ("It is like that now" in said) == (name == "hot-turn") != ("It is not like that now" in said)


def complaint(*starts: tuple[str, bool]) -> Complaint:
    told = [Told(channel=channel, lit=lit) for channel, lit in starts]
    return Complaint(title="x", says=["x"], starts=told, verify=["spark-test"], source=["our-judgement"])


def log(text: str) -> list[Start]:
    """A log, a letter a start: l lit, d dark on a channel alone; L, D on both."""
    return [Start(BOTH if c.isupper() else "A", c.lower() == "l") for c in text]


@pytest.mark.parametrize(
    ("entry", "good", "bad"),
    [
        (complaint(("unknown", True), ("unknown", False)), ("ld", "dlll"), ("llll", "dd")),
        (complaint(("unknown", False)), ("lld", "d"), ("dl", "ll")),
        (complaint(("unknown", False), ("unknown", False)), ("ldd", "dd"), ("ldld",)),
        (complaint(("both", True)), ("ll", "ld"), ("dd",)),
        (complaint(), ("ll", "dd"), ()),
        (complaint(("unknown", False), ("both", True)), ("dLdL", "dLlL"), ("dLdD", "lLlL", "lLlLdL")),
    ],
)
def test_starts_fit_what_people_write_up(entry: Complaint, good: tuple[str, ...], bad: tuple[str, ...]) -> None:
    assert all(fits(entry, log(text)) for text in good)
    assert not any(fits(entry, log(text)) for text in bad)


def test_truths_come_as_often_as_the_belief_after_complaint_and_starts_has_them(
    kits: Kits, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Calibration: over many draws the share of each part at fault is the mean of its probability in the end.

    When it shows is left out, since a case in which that was not told and one in which it has no pattern look alike.
    """
    kit = kits("halden-hf-3")
    monkeypatch.setattr(practice, "TOLD_WHEN", 0.0)
    monkeypatch.setattr(practice._Drawing, "told", lambda self, found: replace(found))
    seen: dict[str, list[tuple[bool, float]]] = {}
    for seed in range(300):
        found, _ = draw(kits, ENGINES, seed, engine="halden-hf-3", complaint="intermittent-no-ignite")
        assert isinstance(found, practice._Drawn)
        belief = told_belief(
            kit.model,
            Intake("", "", "halden-hf-3", found.complaint, found.channel, starts=found.starts,
                   done=found.done, ages=found.ages, place=found.place),
        )  # fmt: skip
        chance: dict[str, float] = {"none": belief.healthy()}
        for one in belief.faults():
            part = kit.fitted.zones[one.zone].modes[one.state].part
            chance[part] = chance.get(part, 0.0) + one.probability
        had = {"none"} if not found.truth else set()
        for mode in found.truth:
            zone = kit.fitted.zones[kit.fitted.mode_zone[mode]]
            had.add(zone.modes[split(mode)[0]].part)
        for part, p in chance.items():
            seen.setdefault(part, []).append((part in had, p))
    for part, cases in seen.items():
        expected, spread = sum(p for _, p in cases), sqrt(sum(p * (1 - p) for _, p in cases))
        if expected > 8:  # else no normal distribution
            assert abs(sum(h for h, _ in cases) - expected) < 3.5 * spread, part
    # Each case was likelier under its own belief than it is under the mean of all: starts and ages say something.
    own = sum(np.log(p if h else 1 - p) for cases in seen.values() for h, p in cases)
    flat = 0.0
    for cases in seen.values():
        mean = sum(p for _, p in cases) / len(cases)
        flat += sum(float(np.log(mean if h else 1 - mean)) for h, _ in cases)
    assert own > flat


# -- what is wished --------------------------------------------------------------------------------


@pytest.mark.parametrize("about", ["insert", "lead", "fuel", "two-faults", "no-fault", "not-ignition", "shared"])
def test_a_case_about_something_is_about_it(kits: Kits, about: str) -> None:
    for seed in (1, 2):
        scenario, _ = draw(kits, ENGINES, seed, about=about)
        assert about in scenario.topics
        fitted = kits(scenario.case.engine).fitted
        parts = {fitted.zones[fitted.mode_zone[m]].modes[split(m)[0]].part for m in scenario.truth}
        if about in TOPICS:
            count = len(scenario.truth)
            assert {"two-faults": count > 1, "no-fault": count == 0}.get(about, count > 0)
        else:
            assert about in parts


@pytest.mark.parametrize("seed", range(4))
def test_what_is_wished_is_no_rarity_of_its_complaint(kits: Kits, seed: int) -> None:
    """Else a case about fuel might be a worn plug, found and named, with bad fuel besides."""
    scenario, _ = draw(kits, ENGINES, seed, about="fuel")
    kit, intake = kits(scenario.case.engine), scenario.case.intake()
    belief = told_belief(practice._without_starts(kit.model), replace(intake, starts=(), condition="steady"))
    share = sum(one.probability for one in belief.faults()
                if kit.fitted.zones[one.zone].modes[one.state].part == "fuel")  # fmt: skip
    assert share >= practice.LEAST_SHARE


def test_what_is_not_there_is_said(kits: Kits) -> None:
    for wish, name in (("engine", "halden-hf-4"), ("level", "hardest"), ("about", "leed"), ("complaint", "no-lite")):
        with pytest.raises(UnknownName, match=name):
            draw(kits, ENGINES, 1, **{wish: name})  # type: ignore[arg-type]
    with pytest.raises(Refused, match="from 0 up"):
        draw(kits, ENGINES, -1)
    with pytest.raises(Refused, match="no case is known"):
        nothing = Measured(measure.digest(load().knowledge), 1, 1, dict.fromkeys(ENGINES, 100.0), {("x", "y", "z"): {}})
        draw(kits, ENGINES, 1, level="hard", measured=nothing)


# -- how hard --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def table() -> Measured:
    """A table of two truths, one twice the average and one half of it."""
    rows = {("igniter-worn/A",): Row(200.0, 1.0, 0.5), ("lead-open/A",): Row(50.0, 1.0, 0.5)}
    return Measured(
        measure.digest(load().knowledge), 1, 5, {"halden-hf-3": 100.0},
        {("halden-hf-3", "one-channel-silent", "gate"): rows},
    )  # fmt: skip


@pytest.mark.parametrize(("level", "mode"), [("hard", "igniter-worn"), ("easy", "lead-open")])
def test_a_level_picks_among_the_truths_measured(kits: Kits, table: Measured, level: str, mode: str) -> None:
    channels = set()
    for seed in range(6):
        scenario, found = draw(
            kits, ENGINES, seed, level=level, engine="halden-hf-3", complaint="one-channel-silent", measured=table
        )
        assert scenario.truth == [f"{mode}/{scenario.case.channel}"]
        assert found["name"] == level and found["ratio"] == (2.0 if level == "hard" else 0.5)
        channels.add(scenario.case.channel)
    assert channels == {"A", "B"}, "the truth is called by the channel that the case is about"


def test_where_the_table_has_other_figures_the_level_is_not_kept_and_that_is_said(kits: Kits, table: Measured) -> None:
    other = replace(table, knowledge="0" * 64)
    scenario, level = draw(kits, ENGINES, 3, level="hard", complaint="one-channel-silent", measured=other)
    assert level["name"] == NOT_MEASURED and "other figures" in level["why"]
    assert scenario == draw(kits, ENGINES, 3, level="hard", complaint="one-channel-silent", measured=NONE)[0]


def test_a_truth_stands_once_however_its_channels_are_called(kits: Kits) -> None:
    fitted = kits("halden-hf-3").fitted
    of = measure.canonical
    assert of(fitted, "no-light-off", "", ["lead-open/B"]) == ("lead-open/A",)
    assert of(fitted, "no-light-off", "", ["lead-open/B", "exciter-dead/A"]) == ("exciter-dead/A", "lead-open/B")
    assert of(fitted, "one-channel-silent", "B", ["lead-open/B"]) == ("lead-open/A",)
    assert of(fitted, "one-channel-silent", "A", ["lead-open/B"]) == ("lead-open/B",)
    assert of(fitted, "one-channel-silent", "A", []) == ()


def test_the_digest_follows_figures_and_not_words() -> None:
    known = load().knowledge
    zone = known.zones["channel"]
    worn = zone.modes["igniter-worn"]

    def with_mode(**changes: object) -> str:
        modes = {**zone.modes, "igniter-worn": worn.model_copy(update=changes)}
        zones = {**known.zones, "channel": zone.model_copy(update={"modes": modes})}
        return measure.digest(known.model_copy(update={"zones": zones, "rules": {}}))

    assert with_mode(tells="Otherwise.") == measure.digest(known)
    assert with_mode(prior=0.0075) != measure.digest(known)
    look = known.checks["plug-tip-look"]
    turned = look.model_copy(update={"outcomes": dict(reversed(look.outcomes.items()))})
    assert measure.digest(known.model_copy(update={"checks": {**known.checks, "plug-tip-look": turned}})) != (
        measure.digest(known)
    )


def test_measuring_gives_the_same_twice_and_its_table_reads_back(kits: Kits, tmp_path: Path) -> None:
    kit = kits("halden-hf-3")
    first, again = (measure.measure(kit, None, "plug-found-worn", "gate", 1, plays=2, most=2) for _ in range(2))
    assert first == again and ("igniter-worn/A",) in first
    worn = first["igniter-worn/A",]
    assert 60 < worn.minutes < 1000 and 0.5 < worn.share < 1
    rows = {("halden-hf-3", "plug-found-worn", "gate"): first}
    made = Measured(measure.digest(load().knowledge), 1, 2, measure.averaged(rows), rows)
    (tmp_path / measure.TABLE).write_text(measure.written(made), encoding="utf-8")
    assert measure.read(tmp_path) == made
    assert made.row(kit.fitted, "plug-found-worn", "B", ["igniter-worn/B"], "hangar") == worn
    assert made.level(kit.fitted, "plug-found-worn", "B", ["igniter-worn/B"], "gate")["name"] == "middle"


@pytest.mark.parametrize("text", [None, "", "{", "[]", '{"rows": {"x": 3}}', '{"rows": {}, "average": []}'])
def test_a_table_that_cannot_be_read_measures_nothing(tmp_path: Path, text: str | None) -> None:
    if text is not None:
        (tmp_path / measure.TABLE).write_text(text, encoding="utf-8")
    assert measure.read(tmp_path).why_not(load().knowledge) == "there is no table of measured cases here"


def test_the_shipped_table_speaks_of_the_shipped_knowledge(kits: Kits) -> None:
    table = measure.read(shipped_scenarios())
    assert table.why_not(load().knowledge) == ""
    for engine in ENGINES:
        complaints = kits(engine).fitted.complaints
        assert {c for e, c, _ in table.rows if e == engine} == set(complaints)
        held = [row.minutes / table.average[engine] for c in complaints
                for row in table.rows_at(engine, c, "gate").values()]  # fmt: skip
        shares = [sum(measure.named(ratio) == level for ratio in held) / len(held) for level in LEVELS]
        assert min(shares) > 0.1, "there is something to practise at each level"
    pairs = [t for rows in table.rows.values() for t in rows if len(t) > 1]
    assert pairs and all(HEALTHY not in mode for t in pairs for mode in t)
    scenario, level = draw(kits, ENGINES, 5, level="hard", about="lead", measured=table)
    assert level["name"] == "hard" and level["ratio"] > measure.HARD and "lead" in scenario.topics

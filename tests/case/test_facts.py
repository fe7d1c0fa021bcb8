"""What a case tells the rules."""

from __future__ import annotations

import pytest

from isolate.case import facts
from isolate.case.believed import told_belief
from isolate.case.case import CaseState, Evidence, Intake, Person, Work
from isolate.case.chase import Kit
from isolate.case.facts import about_to, authorities, patterns, standing, suspects, tools
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import FACTS
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.rules import Fact
from isolate.reasoning.starts import Start


def told(text: str) -> list[Start]:
    """``A0 B1 |?1 xA A0:2``: channel (? unknown, * both) and whether it lit; after a gap, broken off, its lane."""
    channel = {"?": "unknown", "*": "both"}
    found = []
    for word in text.split():
        bare, _, lane = word.lstrip("|x").partition(":")
        gap, aborted = word.startswith("|"), "x" in word
        found.append(Start(channel.get(bare[0], bare[0]), bare[1:] == "1", lane=lane, aborted=aborted, gap=gap))
    return found


@pytest.mark.parametrize(
    ("starts", "found"),
    [
        ("", []),
        ("A1 B1", [("all-light", "", 0)]),
        ("A0 B0", [("all-fail", "", 2)]),
        ("?0", [("all-fail", "", 1)]),
        ("A0 B1", [("some-fail", "", 1), ("one-channel-fails", "A", 1)]),
        ("A0 B1 A0", [("some-fail", "", 2), ("one-channel-fails", "A", 2), ("alternate-fails", "A", 2)]),
        ("?0 ?1 ?0 ?1", [("some-fail", "", 2), ("alternate-fails", "", 2)]),
        ("?0 ?1", [("some-fail", "", 1)]),
        ("?0 ?1 ?1 ?0", [("some-fail", "", 2)]),
        # Both of A's results: A is not "failed and never lit".
        ("A0 A1 B1", [("some-fail", "", 1)]),
        # B has failed as well: it is not one channel.
        ("A0 B1 B0", [("some-fail", "", 2), ("alternate-fails", "", 2)]),
        ("*1 *0", [("some-fail", "", 1)]),
        # Nothing is known of B: A alone fails, but one channel against none says nothing.
        ("A0 ?1", [("some-fail", "", 1)]),
        # A log that begins before the failures did.
        ("A1 B1 A1 B1 A0 B1 A0 B1", [("some-fail", "", 2), ("one-channel-fails", "A", 2), ("alternate-fails", "A", 2)]),
        ("B1 B1 A0", [("some-fail", "", 1), ("one-channel-fails", "A", 1)]),
        # Across a gap no turn is counted; one broken off has its place in the turn, or not.
        ("A0 B1 |A0 B1", [("some-fail", "", 2), ("one-channel-fails", "A", 2)]),
        ("A0:1 B0:1 A1:2 B1:2", [("some-fail", "", 2), ("one-lane-fails", "", 2)]),
        # What lit, lit on both or on A: B was never proven.
        ("*1 *1 A1", [("all-light", "", 0), ("never-alone", "B", 0)]),
        ("*1 *1 *1", [("all-light", "", 0), ("never-alone", "A", 0), ("never-alone", "B", 0)]),
        ("xA", []),
    ],
)
def test_patterns_in_the_starts(starts: str, found: list[tuple[str, str, int]]) -> None:
    assert patterns(told(starts), "AB") == found


@pytest.mark.parametrize(
    ("starts", "counts", "turns"),
    [
        ("?0 ?1 xA ?1 ?0", True, True),
        ("?0 ?1 xA ?1 ?0", False, False),
        ("?0 ?1 xA ?0 ?1", False, True),
        ("?0 ?1 xA ?0 ?1", True, False),
        ("?0 ?1 xA xA ?0 ?1", True, True),
        ("?0 ?1 xA ?1 ?0", None, False),
    ],
)
def test_a_start_broken_off_moves_the_turn_on_where_it_counts(starts: str, counts: bool | None, turns: bool) -> None:
    # [practice] with alternation, count every start: one broken off counts where the count steps on at the command.
    assert ("alternate-fails" in {kind for kind, _, _ in patterns(told(starts), "AB", counts)}) == turns


def slots(fact: Fact) -> dict[str, object]:
    return dict(fact.slots)


def test_a_case_as_it_stands_in_facts(hf3: Fitted) -> None:
    people = (Person("x", ("licensed", "motoring")), Person("y", ("licensed",)))
    intake = Intake(
        "104", "2", hf3.name, "no-light-off", starts=(Start("A", False), Start("B", True)),
        done=(Work("replace-igniter", "A"),), people=people, place="hangar", condition="wet", missing=("meter",),
    )  # fmt: skip
    state = CaseState(intake=intake, book_minutes=41.6, motored=2, verified="failed")
    state.evidence = [
        Evidence(3, "answer", "spark-test/A", "silent"),
        Evidence(4, "answer", "spark-test/A", "silent"),
        Evidence(5, "answer", "spark-test/A", "weak"),
        Evidence(6, "repair", "replace-igniter/B"),
    ]
    state.declined = {"lead-continuity/A": (7, "no meter")}
    state.open = {"notices": "open", "breakers-pulled": "unknown"}
    state.confirmed = {"input-caution/A": (8, {}, "")}
    belief = Belief.before(Model(hf3)).answer("spark-test/A", "silent")
    found = standing(hf3, state, belief, 29.7)
    by_kind: dict[str, list[dict[str, object]]] = {}
    for fact in found:
        assert set(slots(fact)) <= set(FACTS[fact.kind]), fact
        by_kind.setdefault(fact.kind, []).append(slots(fact))
    (case,) = by_kind["case"]
    assert case["complaint"] == "no-light-off" and case["place"] == "hangar" and case["condition"] == "wet"
    assert case["minutes-left"] == 30 and case["people"] == 2 and case["spent"] == 42
    assert [p["authority"] for p in by_kind["person"]] == ["licensed", "motoring"]
    assert "meter" not in {t["item"] for t in by_kind["at-hand"]} and "air" in {t["item"] for t in by_kind["at-hand"]}
    assert by_kind["done"] == [{"work": "replace-igniter", "channel": "A"}]
    assert [(s["number"], s["channel"], s["lit"]) for s in by_kind["start"]] == [(1, "A", False), (2, "B", True)]
    answers = {(a["check"], a["channel"], a["outcome"]): a["count"] for a in by_kind["answer"]}
    assert answers == {("spark-test", "A", "silent"): 2, ("spark-test", "A", "weak"): 1}
    assert by_kind["declined"] == [{"move": "lead-continuity", "channel": "A"}]
    access = {(f["name"], f["channel"]): f["state"] for f in by_kind["access"]}
    assert len(access) == len(hf3.access)
    assert access["notices", ""] == "open" and access["breakers-pulled", ""] == "unknown"
    assert access["lead-off", "B"] == "shut"
    assert by_kind["confirmed"] == [{"caution": "input-caution"}]
    assert by_kind["repaired"] == [{"repair": "replace-igniter", "channel": "B", "count": 1}]
    assert by_kind["verified"] == [{"channel": "", "result": "failed"}]
    assert by_kind["motored"] == [{"count": 2}]
    assert by_kind["surprise"] == [{"level": "low", "answers": "", "doubted": 0}]
    assert by_kind["remaining"] == [{"percent": round(100 * (1 - belief.healthy()), 1)}]
    assert {f["name"] for f in by_kind["feature"]} == set(hf3.profile.features)
    assert slots(standing(hf3, state, belief, None)[0])["minutes-left"] in (None, "")


def test_suspects_are_ranked_and_carry_their_part(hf3: Fitted) -> None:
    belief = Belief.before(Model(hf3)).answer("spark-test/A", "silent")
    found = [slots(f) for f in suspects(hf3, belief) if f.kind == "suspect"]
    assert [f["rank"] for f in found] == list(range(1, len(found) + 1))
    percents = [f["percent"] for f in found]
    assert percents == sorted(percents, reverse=True) and min(percents) >= 100 * facts.SUSPECT - 0.1  # type: ignore
    for f in found:
        zone = f"{f['zone']}/{f['channel']}" if f["channel"] else str(f["zone"])
        assert hf3.zones[zone].modes[str(f["mode"])].part == f["part"]
    faults = {f["channel"]: f["percent"] for f in map(slots, suspects(hf3, belief)) if "rank" not in f}
    assert faults["A"] == round(100 * (1 - belief.zone("channel/A")[0]), 1) > faults["B"]  # type: ignore[operator]


def test_surprise_is_high_only_well_beyond_what_is_expected(hf3: Fitted) -> None:
    told = [("lead-continuity/A", "open"), ("lead-wiggle/A", "steady"), ("spark-test/A", "snaps"),
            ("start-alone/A", "lights"), ("feeder-volts/A", "absent")]
    # The open lead is the odd one out; what it speaks against most comes after it.
    named = (
        "Measure lead A from end to end: Open; Start the engine on channel A alone: Lights as soon as the other "
        "channel does; Fire channel A alone and listen: Plug A snaps, loud and even"
    )
    for answers, level in ((told, "high"), (told[1:4], "low"), (told[:2], "low")):
        state = CaseState(intake=Intake("104", "2", hf3.name, "no-light-off"))
        belief = Belief.before(Model(hf3))
        for seq, (check, outcome) in enumerate(answers, start=1):
            state.evidence.append(Evidence(seq, "answer", check, outcome))
            belief = belief.answer(check, outcome)
        found = [slots(f) for f in standing(hf3, state, belief, None) if f.kind == "surprise"]
        assert [f["level"] for f in found] == [level], answers
        assert facts.disagrees(belief, state.evidence) == (level == "high")
        assert found[0]["answers"] == (named if level == "high" else "")
        # What was told at the opening is taken as given: without evidence of the case nothing is to be explained.
        assert not facts.disagrees(belief, [])


def test_what_is_about_to_be_done_is_a_fact_for_each_tag() -> None:
    found = [slots(f) for f in about_to("open", "lead-off/A", ["hands-in", "heat"])]
    assert found == [
        {"move": "lead-off", "kind": "open", "channel": "A", "tag": tag} for tag in ("hands-in", "heat")
    ]
    assert [slots(f)["tag"] for f in about_to("check", "crew-ask", [])] == [""], "a step without tags is a fact too"


def test_tools_and_authorisations_are_those_that_steps_ask_for(hf3: Fitted) -> None:
    assert tools(hf3) >= {"air", "meter", "insulation-tester", "spare-igniter"}
    assert authorities(hf3) == {"licensed", "motoring", "engine-run"}


@pytest.mark.parametrize("engine", ["halden-hf-3", "halden-hf-5", "orrin-t-9"])
def test_a_write_up_alone_contradicts_nothing(engine: str) -> None:
    # What is written up is what is to be explained: "none of what is known explains it" at the first question is noise.
    kit = Kit(fit(load().knowledge, engine))
    for name, complaint in kit.fitted.complaints.items():
        channel = kit.fitted.channels[0] if complaint.asks_channel else ""
        told = Intake("104", "1", engine, name, channel=channel, people=(Person("x", ("licensed",)),))
        assert not facts.disagrees(told_belief(kit.model, told), []), name

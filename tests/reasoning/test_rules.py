"""The rule layer against the meaning of its language.

Outside source: none publishes this language, so the oracle is a brute-force matcher written here
from the definition (every assignment of facts to conditions, findings layer by layer) without
experta and without anything of isolate.reasoning.rules but the shapes of facts and firings.
"""

from __future__ import annotations

import collections
import json
import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from isolate.kb.model import Rule
from isolate.reasoning import rules as rules_module
from isolate.reasoning.rules import KIND_ORDER, Fact, Firing, RuleBook, RuleError, fact

SILENT_A = fact("answer", check="spark-test", channel="A", outcome="silent", count=1)
SILENT_B = fact("answer", check="spark-test", channel="B", outcome="silent", count=1)
SNAPS_A = fact("answer", check="spark-test", channel="A", outcome="snaps", count=1)
SNAPS_B = fact("answer", check="spark-test", channel="B", outcome="snaps", count=1)


def rule(*when: dict[str, Any], kind: str = "advice", says: str = "So it is.", **then: str) -> Rule:
    return Rule.model_validate(
        {"kind": kind, "says": says, "when": list(when), "then": then, "source": ["line-practice"]}
    )


def has(kind: str, /, **where: Any) -> dict[str, Any]:
    return {"fact": kind, "where": {slot.replace("_", "-"): test for slot, test in where.items()}}


def absent(condition: dict[str, Any]) -> dict[str, Any]:
    return {"absent": condition}


def either(*conditions: dict[str, Any]) -> dict[str, Any]:
    return {"any": list(conditions)}


def fired(rules: dict[str, Rule], *facts: Fact) -> list[tuple[str, dict[str, Any]]]:
    return [(one.rule, dict(one.bindings)) for one in RuleBook(rules).run(facts)]


def fires(one: Rule, *facts: Fact) -> bool:
    return bool(RuleBook({"it": one}).run(facts))


# -- facts ---------------------------------------------------------------------------------------


def test_a_fact_has_every_slot_of_its_kind_in_order() -> None:
    made = fact("case", minutes_left=40, place="gate")
    assert [slot for slot, _ in made.slots] == [
        "engine", "complaint", "channel", "place", "condition", "now", "selection", "minutes-left", "people", "spent"
    ]  # fmt: skip
    assert made.get("minutes-left") == 40
    assert made.get("engine") == ""
    assert made.as_dict()["fact"] == "case"


def test_a_whole_float_is_the_same_value_as_the_int() -> None:
    assert fact("remaining", percent=3.0) == fact("remaining", percent=3)
    assert fact("remaining", percent=3.5).get("percent") == 3.5


@pytest.mark.parametrize(
    ("kind", "slots", "error", "words"),
    [
        ("nonsense", {}, ValueError, "no kind of fact"),
        ("start", {"lamp": "A"}, ValueError, "no slot 'lamp'"),
        ("remaining", {"percent": float("nan")}, ValueError, "not a finite figure"),
        ("remaining", {"percent": float("inf")}, ValueError, "not a finite figure"),
        ("remaining", {"percent": None}, TypeError, "not a string"),
    ],
)
def test_a_fact_that_means_nothing_is_refused(kind: str, slots: Any, error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words):
        fact(kind, **slots)


def test_a_hand_made_fact_is_held_to_the_same() -> None:
    with pytest.raises(ValueError, match="no slot"):
        RuleBook({}).run([Fact("start", (("lamp", "A"),))])
    # Slots left out of a hand-made fact are empty, as in one that `fact` made.
    one = rule(has("start", channel="A", lit=""))
    assert fires(one, Fact("start", (("channel", "A"),)))


# -- each word of the language: it fires, and it nearly does ---------------------------------------


def test_value() -> None:
    one = rule(has("answer", check="spark-test", outcome="silent"))
    assert fires(one, SILENT_A)
    assert not fires(one, SNAPS_A)
    assert not fires(one, fact("answer", check="start-alone", channel="A", outcome="silent"))
    assert not fires(one)


def test_all_conditions_must_stand() -> None:
    one = rule(has("access", name="lead-off"), has("at-hand", item="air"))
    lead, air = fact("access", name="lead-off", channel="A", state="open"), fact("at-hand", item="air")
    assert fires(one, lead, air)
    assert not fires(one, lead)
    assert not fires(one, air)


def test_a_truth_value_is_not_the_number_one() -> None:
    one = rule(has("start", lit=True))
    assert fires(one, fact("start", number=1, lit=True))
    assert not fires(one, fact("start", number=1, lit=1))
    number = rule(has("start", lit=1))
    assert fires(number, fact("start", lit=1))
    assert not fires(number, fact("start", lit=True))
    # Both in one book, both facts in one run: the two must not share a test either.
    both = {"number": number, "truth": one}
    assert fired(both, fact("start", lit=True)) == [("truth", {})]
    assert fired(both, fact("start", lit=1)) == [("number", {})]
    assert [name for name, _ in fired(both, fact("start", lit=1), fact("start", lit=True))] == ["number", "truth"]
    assert not fires(rule(has("start", lit=False)), fact("start", lit=0), fact("start", lit=""))


def test_truth_and_number_do_not_join() -> None:
    one = rule(has("feature", name="a", value="$v"), has("feature", name="b", value="$v"))
    assert fires(one, fact("feature", name="a", value=True), fact("feature", name="b", value=True))
    assert not fires(one, fact("feature", name="a", value=True), fact("feature", name="b", value=1))
    assert fires(one, fact("feature", name="a", value=2.0), fact("feature", name="b", value=2))


@pytest.mark.parametrize(
    ("test", "inside", "outside"),
    [
        ({"at-least": 90}, [90, 90.0, 93.5], [89.9, "", "95", True]),
        ({"at-most": 20}, [20, 0, -1], [20.1, "", False]),
        ({"above": 1}, [1.5, 2], [1, True, ""]),
        ({"below": 2}, [1, 1.9], [2, False, ""]),
        ({"at-least": 2, "below": 4}, [2, 3.9], [1.9, 4]),
        ({"one-of": ["open", "unknown"]}, ["open", "unknown"], ["shut", ""]),
        ({"one-of": [1, 2]}, [1, 2.0], [True, "1"]),
        ({"is-not": "shut"}, ["open", "", 0], ["shut"]),
        ({"is-not": 1}, [True, 2, ""], [1, 1.0]),
    ],
)
def test_comparison(test: Any, inside: list[Any], outside: list[Any]) -> None:
    one = rule(has("feature", value=test))
    for value in inside:
        assert fires(one, fact("feature", name="x", value=value)), value
    for value in outside:
        assert not fires(one, fact("feature", name="x", value=value)), value


def test_variable_joins_across_conditions() -> None:
    one = rule(has("access", name="input-off", channel="$c"), has("access", name="lead-off", channel="$c"))
    inputs = [fact("access", name="input-off", channel=letter) for letter in "AB"]
    assert fires(one, inputs[0], fact("access", name="lead-off", channel="A"))
    assert not fires(one, inputs[0], fact("access", name="lead-off", channel="B"))


def test_one_variable_twice_in_one_condition() -> None:
    one = rule(has("case", place="$p", condition="$p"))
    assert fires(one, fact("case", place="gate", condition="gate"))
    assert not fires(one, fact("case", place="gate", condition="wet"))


@pytest.mark.parametrize("turned", [False, True])
def test_is_not_a_variable_whichever_comes_first(turned: bool) -> None:
    conditions = [
        has("answer", check="spark-test", channel="$c", outcome="silent"),
        has("answer", check="spark-test", channel={"is-not": "$c"}, outcome="snaps"),
    ]
    one = rule(*(reversed(conditions) if turned else conditions))
    assert fires(one, SILENT_A, SNAPS_B)
    assert not fires(one, SILENT_A, SNAPS_A)


def test_absent() -> None:
    one = rule(has("about-to", tag="spark"), absent(has("access", name="dry-motored", state="open")))
    step = fact("about-to", move="spark-test", kind="check", channel="A", tag="spark")
    assert fires(one, step)
    # A state that is unknown, after a resume or a hand-over, does not count as open.
    assert fires(one, step, fact("access", name="dry-motored", state="unknown"))
    assert not fires(one, step, fact("access", name="dry-motored", state="open"))
    assert not fires(one)


@pytest.mark.parametrize("turned", [False, True])
def test_absent_is_joined_whichever_comes_first(turned: bool) -> None:
    conditions = [
        has("access", name="lead-off", channel="$c", state="open"),
        absent(has("access", name="input-off", channel="$c", state="open")),
    ]
    rules = {"it": rule(*(reversed(conditions) if turned else conditions), says="Lead {c}.")}
    leads = [fact("access", name="lead-off", channel=letter, state="open") for letter in "AB"]
    assert fired(rules, *leads, fact("access", name="input-off", channel="A", state="open")) == [("it", {"c": "B"})]


def test_absent_alone_and_several() -> None:
    one = rule(absent(has("person", authority="motoring")))
    assert fires(one)
    assert fires(one, fact("person", authority="licensed"))
    assert not fires(one, fact("person", authority="motoring"))
    two = rule(absent(has("person")), absent(has("at-hand", item="air")))
    assert fires(two)
    assert not fires(two, fact("at-hand", item="air"))
    assert not fires(two, fact("person", authority="licensed"))


def test_absent_with_is_not_a_variable() -> None:
    rules = {"it": rule(has("repaired", channel="$c"), absent(has("repaired", channel={"is-not": "$c"})), says="{c}.")}
    a, b = (fact("repaired", repair="replace-igniter", channel=letter, count=1) for letter in "AB")
    assert fired(rules, a) == [("it", {"c": "A"})]
    assert fired(rules, a, b) == []


def test_any() -> None:
    one = rule(either(has("case", condition="wet"), has("answer", outcome="wet")))
    assert fires(one, fact("case", condition="wet"))
    assert fires(one, fact("answer", check="plug-tip-look", outcome="wet"))
    assert not fires(one, fact("case", condition="hot"), fact("answer", check="plug-tip-look", outcome="dry"))


def test_any_with_two_true_branches_shows_once_with_both_facts() -> None:
    one = rule(either(has("answer", outcome="silent"), has("start", lit=False)), has("at-hand", item="air"))
    start, air = fact("start", number=1, channel="A", lit=False), fact("at-hand", item="air")
    shown = RuleBook({"it": one}).run([SILENT_A, start, air])
    assert len(shown) == 1
    assert shown[0].matched == (SILENT_A, air, start)


def test_any_of_absent_and_absent_of_any() -> None:
    unless = rule(either(absent(has("at-hand", item="air")), absent(has("person", authority="motoring"))))
    neither = rule(absent(either(has("at-hand", item="air"), has("person", authority="motoring"))))
    air, person = fact("at-hand", item="air"), fact("person", authority="motoring")
    assert [fires(unless, *facts) for facts in ([], [air], [person], [air, person])] == [True, True, True, False]
    assert [fires(neither, *facts) for facts in ([], [air], [person], [air, person])] == [True, False, False, False]


def test_any_inside_any() -> None:
    one = rule(either(either(has("motored", count=1), has("motored", count=2)), has("motored", count=3)))
    assert all(fires(one, fact("motored", count=count)) for count in (1, 2, 3))
    assert not fires(one, fact("motored", count=4))


def test_hyphens_in_slots_and_variables() -> None:
    one = rule(has("case", minutes_left="$minutes-left"), says="There are {minutes-left} minutes.")
    assert RuleBook({"it": one}).run([fact("case", minutes_left=25)])[0].says == "There are 25 minutes."


# -- what comes out ------------------------------------------------------------------------------


def test_two_channels_give_two_firings_in_order() -> None:
    rules = {"it": rule(has("answer", channel="$c", outcome="silent"), says="Channel {c} is silent.")}
    shown = RuleBook(rules).run([SILENT_B, SILENT_A])
    assert [one.says for one in shown] == ["Channel A is silent.", "Channel B is silent."]
    assert [one.matched for one in shown] == [(SILENT_A,), (SILENT_B,)]


def test_a_variable_that_only_joins_does_not_say_it_twice() -> None:
    conditions = [
        has("answer", channel="$c", outcome="silent"),
        has("answer", channel={"is-not": "$c"}, outcome="silent"),
    ]
    shown = RuleBook({"it": rule(*conditions, says="Both are silent.")}).run([SILENT_A, SILENT_B])
    assert [(one.says, one.bindings, one.matched) for one in shown] == [("Both are silent.", (), (SILENT_A, SILENT_B))]
    assert len(RuleBook({"it": rule(*conditions, says="Silent like {c}.")}).run([SILENT_A, SILENT_B])) == 2


def test_what_was_matched_and_asserted_is_recorded() -> None:
    one = rule(
        has("answer", check="spark-test", channel="$c", outcome="silent"),
        absent(has("access", name="lead-off", channel="$c", state="open")),
        kind="finding",
        says="Channel {c} is silent.",
        finding="channel-silent",
        channel="$c",
    )
    shown = RuleBook({"silent": one}).run([SILENT_A, SNAPS_B])
    assert shown == (
        Firing(
            rule="silent",
            kind="finding",
            says="Channel A is silent.",
            bindings=(("c", "A"),),
            matched=(SILENT_A,),
            asserted=(("finding", "channel-silent"), ("channel", "A")),
            source=("line-practice",),
        ),
    )
    assert shown[0].get("channel") == "A"
    assert shown[0].get("block") == ""
    assert json.loads(json.dumps(shown[0].as_dict())) == {
        "rule": "silent",
        "kind": "finding",
        "says": "Channel A is silent.",
        "bindings": {"c": "A"},
        "matched": [
            {"fact": "answer", "check": "spark-test", "channel": "A", "outcome": "silent", "count": 1},
        ],
        "asserted": {"finding": "channel-silent", "channel": "A"},
        "source": ["line-practice"],
    }


def test_gate_and_caution_assert_their_name() -> None:
    rules = {
        "gate": rule(has("surprise"), kind="gate", block="spark"),
        "show": rule(has("surprise"), kind="caution", caution="hot-parts"),
    }
    shown = RuleBook(rules).run([fact("surprise", level="high")])
    assert [one.asserted for one in shown] == [(("block", "spark"),), (("caution", "hot-parts"),)]


def test_every_fact_behind_the_same_bindings_is_shown() -> None:
    starts = [fact("start", number=number, channel="A", lit=False) for number in (3, 1, 2)]
    shown = RuleBook({"it": rule(has("start", channel="$c", lit=False))}).run(starts)
    assert len(shown) == 1
    assert [one.get("number") for one in shown[0].matched] == [1, 2, 3]


def test_values_in_a_sentence() -> None:
    one = rule(has("suspect", mode="$m", percent="$p"), says="Most likely {m}, {p} percent.")
    shown = RuleBook({"it": one}).run([fact("suspect", mode="igniter-worn", percent=93.25)])
    assert shown[0].says == "Most likely igniter worn, 93.25 percent."
    assert dict(shown[0].bindings) == {"m": "igniter-worn", "p": 93.25}
    truth = rule(has("start", lit="$l"), says="Lit: {l}.")
    assert RuleBook({"it": truth}).run([fact("start", lit=False)])[0].says == "Lit: no."


def test_kinds_come_in_order_then_names() -> None:
    then = {"finding": {"finding": "x"}, "gate": {"block": "x"}, "caution": {"caution": "x"}}
    rules = {
        f"{letter}-{kind}": rule(has("surprise"), kind=kind, **then.get(kind, {}))
        for kind in reversed(KIND_ORDER)
        for letter in "ba"
    }
    shown = RuleBook(rules).run([fact("surprise", level="high")])
    assert [one.rule for one in shown] == [f"{letter}-{kind}" for kind in KIND_ORDER for letter in "ab"]


def test_equal_facts_count_once() -> None:
    shown = RuleBook({"it": rule(has("motored", count="$n"), says="{n} times.")}).run(
        [fact("motored", count=1), fact("motored", count=1.0), Fact("motored", (("count", 1.0),))]
    )
    assert [(dict(one.bindings), len(one.matched)) for one in shown] == [({"n": 1}, 1)]


# -- findings ------------------------------------------------------------------------------------

CHAIN = {
    # Named so that neither the alphabet nor the order of writing gives the right order by luck.
    "a-advice": rule(absent(has("finding", name="both-silent")), says="Not both."),
    "b-both": rule(
        has("finding", name="silent", channel="A"),
        has("finding", name="silent", channel="B"),
        kind="finding",
        finding="both-silent",
    ),
    "c-silent": rule(
        has("answer", check="spark-test", channel="$c", outcome="silent"),
        kind="finding",
        finding="silent",
        channel="$c",
    ),
    "d-single": rule(
        has("finding", name="silent", channel="$c"),
        absent(has("finding", name="both-silent")),
        kind="finding",
        says="Only {c}.",
        finding="one-silent",
        channel="$c",
    ),
    "e-escalate": rule(has("finding", name="both-silent"), kind="escalation"),
    "f-advice": rule(has("finding", name="one-silent", channel="$c"), says="Look at {c}."),
}


def test_findings_chain() -> None:
    names = [name for name, _ in fired(CHAIN, SILENT_A, SILENT_B)]
    assert names == ["b-both", "c-silent", "c-silent", "e-escalate"]


def test_absence_of_a_finding_waits_for_the_finding() -> None:
    assert fired(CHAIN, SILENT_A, SNAPS_B) == [
        ("c-silent", {"c": "A"}),
        ("d-single", {"c": "A"}),
        ("a-advice", {}),
        ("f-advice", {"c": "A"}),
    ]


def test_a_finding_is_matched_like_any_fact() -> None:
    shown = RuleBook(CHAIN).run([SILENT_A, SILENT_B])
    both = next(one for one in shown if one.rule == "b-both")
    assert both.matched == (fact("finding", name="silent", channel="A"), fact("finding", name="silent", channel="B"))


def test_two_rules_may_make_the_same_finding() -> None:
    rules = {
        "one": rule(has("answer", outcome="silent"), kind="finding", finding="dead"),
        "two": rule(has("start", lit=False), kind="finding", finding="dead"),
        "then": rule(has("finding", name="dead")),
    }
    shown = RuleBook(rules).run([SILENT_A, fact("start", lit=False)])
    assert [one.rule for one in shown] == ["one", "two", "then"]
    assert shown[2].matched == (fact("finding", name="dead"),)


def test_findings_may_feed_themselves() -> None:
    rules = {
        "seed": rule(has("start", channel="$c", lit=False), kind="finding", finding="bad", channel="$c"),
        "spread": rule(
            has("finding", name="bad", channel="$c"),
            has("done", work="$c", channel="$d"),
            kind="finding",
            says="{c} spoils {d}.",
            finding="bad",
            channel="$d",
        ),
    }
    path = [fact("done", work=one, channel=other) for one, other in ("AB", "BC", "CA", "DE")]
    shown = fired(rules, fact("start", channel="A", lit=False), *path)
    assert shown == [
        ("seed", {"c": "A"}),
        ("spread", {"c": "A", "d": "B"}),
        ("spread", {"c": "B", "d": "C"}),
        ("spread", {"c": "C", "d": "A"}),
    ]


@pytest.mark.parametrize("number", range(12))
def test_one_withdrawn_of_many(number: int) -> None:
    """Twelve rules wait on the absence of twelve findings, with one sort key: experta's own agenda keeps some."""
    rules = {f"wait-{n:02}": rule(absent(has("finding", name=f"made-{n}"))) for n in range(12)}
    rules |= {f"make-{n:02}": rule(has("motored", count=n), kind="finding", finding=f"made-{n}") for n in range(12)}
    waiting = [f"wait-{n:02}" for n in range(12) if n != number]
    assert [name for name, _ in fired(rules, fact("motored", count=number))] == [f"make-{number:02}", *waiting]


def test_a_finding_that_depends_on_its_own_absence_is_refused() -> None:
    rules = {
        "one": rule(absent(has("finding", name="b")), kind="finding", finding="a"),
        "two": rule(has("finding", name="a"), kind="finding", finding="b"),
        "fine": rule(has("start"), kind="finding", finding="c"),
    }
    with pytest.raises(RuleError, match=r"rules one, two: a finding depends on its own absence"):
        RuleBook(rules)


# -- rules that mean nothing -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (rule(has("nonsense")), "no kind of fact is called 'nonsense'"),
        (rule(has("start", lamp=1)), "no slot 'lamp'"),
        (rule(has("start", channel="$C")), "not a variable"),
        (rule(has("start", number={})), "comparison is missing"),
        (rule(has("start", number={"at-least": "two"})), "at-least takes a number"),
        (rule(has("start", number={"above": True})), "above takes a number"),
        (rule(has("start", number={"one-of": "A"})), "one-of takes a list"),
        (rule(has("start", number={"one-of": [["A"]]})), "one-of takes plain values"),
        (rule(has("start", number={"one-of": ["$c"]})), "no variables"),
        (rule(has("start", number={"is-not": ["A"]})), "is-not takes one plain value"),
        (rule(has("start", number={"is-not": "$c"})), r"no other condition binds it first"),
        (rule(has("start"), absent(has("start", channel={"is-not": "$c"}))), "no condition binds it"),
        (rule(has("start", channel="$c", number={"is-not": "$c", "above": 1})), "stands alone"),
        (rule({"fact": "start", "absent": has("start")}), "one of fact"),
        (rule({"where": {"channel": "A"}, "any": [has("start")]}), "one of fact"),
        (rule({"any": []}), "any needs at least one"),
        (rule(absent(absent(has("start")))), "absent inside absent"),
        (rule(has("start"), says="Channel {c}."), r"says \{c\}"),
        (rule(absent(has("start", channel="$c")), says="Channel {c}."), r"says \{c\}"),
        (rule(either(has("start", channel="$c"), has("surprise")), says="Channel {c}."), r"says \{c\}"),
        (rule(has("start"), kind="finding"), "asserts one finding"),
        (rule(has("start"), kind="gate", finding="x"), "asserts one block"),
        (rule(has("start"), kind="caution", caution="x", block="y"), "asserts one caution"),
        (rule(has("start"), kind="verdict", finding="x"), "asserts nothing"),
        (rule(has("start"), kind="advice", channel="A"), "gives no channel"),
        (rule(has("start"), kind="finding", finding="x", channel="$c"), r"then channel \$c"),
    ],
)
def test_a_rule_that_means_nothing_is_refused_by_name(one: Rule, words: str) -> None:
    with pytest.raises(RuleError, match=f"^rule it: .*{words}"):
        RuleBook({"it": one})


# -- the book ------------------------------------------------------------------------------------


def test_a_book_is_built_once_and_used_again(monkeypatch: pytest.MonkeyPatch) -> None:
    built: list[int] = []
    build = rules_module._engine

    def counted(compiled: Any) -> Any:
        built.append(len(compiled))
        return build(compiled)

    monkeypatch.setattr(rules_module, "_engine", counted)
    book = RuleBook(CHAIN)
    assert built == []  # nothing is built before it is needed
    first = book.run([SILENT_A, SILENT_B])
    assert [one.rule for one in book.run([SNAPS_A])] == ["a-advice"]  # nothing is left over from the first
    assert book.run([SILENT_A, SILENT_B]) == first
    assert built == [len(CHAIN)]


def test_two_books_do_not_meet() -> None:
    one, two = RuleBook({"it": rule(has("start", lit=True))}), RuleBook({"it": rule(has("start", lit=False))})
    lit = [fact("start", lit=True)]
    for _ in range(2):
        assert len(one.run(lit)) == 1
        assert len(two.run(lit)) == 0


def test_a_run_broken_off_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    book = RuleBook(CHAIN)
    want = book.run([SNAPS_A])

    collect = book._engine.matcher._get_conflict_set_nodes
    calls: list[int] = []

    def interrupted() -> Any:
        calls.append(1)
        if len(calls) == 2:  # the first is the reset, the second has the facts
            raise KeyboardInterrupt
        return collect()

    with monkeypatch.context() as patch:
        # Where experta collects what its nodes have found: the nodes keep it when that fails.
        patch.setattr(book._engine.matcher, "_get_conflict_set_nodes", interrupted)
        with pytest.raises(KeyboardInterrupt):
            book.run([SILENT_A, SILENT_B])
    assert book.run([SNAPS_A]) == want


def test_no_rules_no_firings() -> None:
    assert RuleBook({}).run([SILENT_A]) == ()
    assert RuleBook(CHAIN).names == tuple(sorted(CHAIN))


def test_the_order_of_facts_and_rules_does_not_matter() -> None:
    facts = [SILENT_A, SILENT_B, SNAPS_A, SNAPS_B, *(fact("start", number=n, channel="AB"[n % 2]) for n in range(6))]
    want = RuleBook(CHAIN).run(facts)
    generator = random.Random(20)
    for _ in range(10):
        names = list(CHAIN)
        generator.shuffle(names)
        generator.shuffle(facts)
        assert RuleBook({name: CHAIN[name] for name in names}).run(facts) == want


ROOT = Path(__file__).parents[2]
PROBE = """
import json, logging, sys
sys.path[:0] = json.loads(sys.argv[1])
from tests.reasoning.test_rules import CHAIN, SILENT_A, SILENT_B, SNAPS_B
from isolate.reasoning.rules import RuleBook
light = "experta" not in sys.modules
book = RuleBook(CHAIN)
light = light and "experta" not in sys.modules
shown = [book.run([SILENT_A, SILENT_B]), book.run([SILENT_A, SNAPS_B])]
quiet = not logging.getLogger().handlers
print(json.dumps([light, quiet, [one.as_dict() for one in sum(shown, ())]]))
"""


def test_another_hash_seed_gives_the_same_and_experta_waits_for_the_first_run() -> None:
    """Sets order strings by a seed drawn for each process, and experta is full of sets."""
    out = []
    for seed in ("1", "2", "3"):
        env = {**os.environ, "PYTHONHASHSEED": seed}
        done = subprocess.run(
            [sys.executable, "-c", PROBE, json.dumps([str(ROOT), *sys.path])],
            env=env, capture_output=True, text=True, check=True,
        )  # fmt: skip
        out.append(json.loads(done.stdout))
    assert all(light for light, _, _ in out)
    assert all(quiet for _, quiet, _ in out)  # experta sets up a root log handler, which would write over a screen
    book = RuleBook(CHAIN)
    want = [one.as_dict() for one in (*book.run([SILENT_A, SILENT_B]), *book.run([SILENT_A, SNAPS_B]))]
    assert [firings for _, _, firings in out] == [want] * 3


def test_names_are_lent_for_the_import_only() -> None:
    RuleBook(CHAIN).run([])
    assert "experta" in sys.modules
    assert not hasattr(collections, "Mapping")


# -- the oracle ----------------------------------------------------------------------------------

Binding = dict[str, Any]


def _typed(value: Any) -> tuple[str, Any]:
    return ("truth" if isinstance(value, bool) else "figure" if isinstance(value, (int, float)) else "words", value)


def _passes(test: Any, value: Any, bound: Binding) -> Binding | None:
    """The bindings after one slot, or None where it fails."""
    if isinstance(test, dict):
        ((name, limit),) = test.items()
        if isinstance(limit, str) and limit.startswith("$"):
            limit = bound[limit[1:]]
        figure = _typed(value)[0] == "figure"
        passed = {
            "at-least": lambda: figure and value >= limit,
            "at-most": lambda: figure and value <= limit,
            "above": lambda: figure and value > limit,
            "below": lambda: figure and value < limit,
            "one-of": lambda: _typed(value) in [_typed(one) for one in limit],
            "is-not": lambda: _typed(value) != _typed(limit),
        }[name]()
        return bound if passed else None
    if isinstance(test, str) and test.startswith("$"):
        if test[1:] in bound:
            return bound if _typed(bound[test[1:]]) == _typed(value) else None
        return {**bound, test[1:]: value}
    return bound if _typed(test) == _typed(value) else None


def _fits(condition: dict[str, Any], one: Fact, bound: Binding) -> Binding | None:
    if one.kind != condition["fact"]:
        return None
    current: Binding | None = bound
    for slot, test in condition["where"].items():
        current = _passes(test, one.get(slot), current) if current is not None else None
    return current


def _stands(when: list[dict[str, Any]], facts: list[Fact], bound: Binding, used: list[Fact]) -> Any:
    """Every (bindings, facts used) of conditions in which binders come before comparers and absences last."""
    if not when:
        yield bound, used
        return
    first, rest = when[0], when[1:]
    if "any" in first:
        for branch in first["any"]:
            yield from _stands([branch, *rest], facts, bound, used)
    elif "absent" in first:
        if not any(_fits(first["absent"], one, bound) is not None for one in facts):
            yield from _stands(rest, facts, bound, used)
    else:
        for one in facts:
            after = _fits(first, one, bound)
            if after is not None:
                yield from _stands(rest, facts, after, [*used, one])


def _oracle(written: dict[str, tuple[str, list[dict[str, Any]], dict[str, Any]]], facts: list[Fact]) -> Any:
    """Firings by brute force: findings f0, f1, ... level by level, then everything else."""
    standing = list(dict.fromkeys(facts))
    out: dict[Any, set[Fact]] = {}
    levels = ["f0", "f1", "f2", None]
    for level in levels:
        grown = True
        while grown:
            grown = False
            for name, (_, when, then) in written.items():
                if then.get("finding") != level:
                    continue
                for bound, used in list(_stands(when, standing, {}, [])):
                    kept = {variable: bound[variable] for variable in then["shows"]}
                    key = (name, tuple(sorted(kept.items())))
                    if not set(used) <= out.setdefault(key, set()):
                        out[key] |= set(used)
                    if level:
                        channel = then["channel"]
                        made = fact("finding", name=level, channel=bound.get(channel.lstrip("$"), channel))
                        if made not in standing:
                            standing.append(made)
                            grown = True
    return out


SHAPES: dict[str, dict[str, list[Any]]] = {
    "start": {"number": [1, 2, 3], "channel": ["A", "B"], "lit": [True, False, 1]},
    "answer": {"check": ["x", "y"], "channel": ["A", "B", ""], "count": [1, 2]},
    "pattern": {"kind": ["x", "y"], "channel": ["A", "B"], "count": [1, 2, 3]},
}


def _random_condition(
    generator: random.Random, kind: str, bindable: list[str], comparable: list[str]
) -> dict[str, Any]:
    where: dict[str, Any] = {}
    slots = {"name": ["f0", "f1", "f2"], "channel": ["A", "B"]} if kind == "finding" else SHAPES[kind]
    for slot, values in slots.items():
        roll = 1.5 * generator.random()
        if roll < 0.2:
            where[slot] = generator.choice(values)
        elif roll < 0.45 and slot == "channel" and bindable:
            where[slot] = "$" + generator.choice(bindable)
        elif roll < 0.55 and slot == "channel" and comparable:
            where[slot] = {"is-not": "$" + generator.choice(comparable)}
        elif roll < 0.65 and slot in ("number", "count"):
            where[slot] = {generator.choice(["at-least", "at-most", "above", "below"]): generator.choice(values)}
        elif roll < 0.75:
            name = generator.choice(["one-of", "is-not"])
            where[slot] = {name: generator.sample(values, 2) if name == "one-of" else generator.choice(values)}
    return {"fact": kind, "where": where}


def _random_rule(generator: random.Random) -> tuple[str, list[dict[str, Any]], dict[str, Any]]:
    level = generator.choice([0, 1, 2, 3, 3])
    when: list[dict[str, Any]] = []
    bound: list[str] = []
    for _ in range(generator.randint(0, 2)):
        one = _random_condition(generator, generator.choice(list(SHAPES)), ["c", "d"], bound)
        when.append(one)
        bound += [test[1:] for test in one["where"].values() if isinstance(test, str) and test.startswith("$")]
    if level and generator.random() < 0.6:
        # A finding that this rule may ask for: positive from its own level down, absent from below it.
        one = _random_condition(generator, "finding", ["c", "d"], bound)
        one["where"]["name"] = f"f{generator.randrange(min(level, 3))}"
        when.append(one)
        bound += [test[1:] for test in one["where"].values() if isinstance(test, str) and test.startswith("$")]
    if generator.random() < 0.3:
        # Branches of one any bind nothing that the rest does not, so that bindings are those of every branch.
        kinds = generator.sample(list(SHAPES), 2)
        when.append({"any": [_random_condition(generator, kind, bound, bound) for kind in kinds]})
    if generator.random() < 0.5 or not when:
        if level and generator.random() < 0.6:
            one = _random_condition(generator, "finding", bound, bound)
            one["where"]["name"] = f"f{generator.randrange(min(level, 3))}"
        else:
            one = _random_condition(generator, generator.choice(list(SHAPES)), bound, bound)
        when.append({"absent": one})
    shows: list[str] = [variable for variable in ("c", "d") if variable in bound and generator.random() < 0.7]
    if level < 3:
        if bound and bound[0] not in shows:
            shows.append(bound[0])
        return "finding", when, {"finding": f"f{level}", "channel": f"${bound[0]}" if bound else "A", "shows": shows}
    return "advice", when, {"shows": shows}


def _written(kind: str, when: list[dict[str, Any]], then: dict[str, Any]) -> Rule:
    says = "It shows. " + " ".join(f"{{{variable}}}" for variable in then["shows"])
    return rule(*when, kind=kind, says=says, **{key: value for key, value in then.items() if key != "shows"})


def _random_problem(seed: int) -> tuple[dict[str, Any], list[list[Fact]]]:
    """A small rule set and three sets of facts."""
    generator = random.Random(seed)
    written = {f"r{index}": _random_rule(generator) for index in range(generator.randint(3, 8))}
    sets = []
    for size in (0, 8, 16):
        facts = [
            fact(kind, **{slot: generator.choice(values) for slot, values in SHAPES[kind].items()})
            for kind in generator.choices(list(SHAPES), k=size)
        ]
        # Facts that differ only by True against 1 are equal to Python, so sets of them would hide a mix-up.
        sets.append(list(dict.fromkeys(facts)))
    return written, sets


@pytest.mark.parametrize("seed", range(60))
def test_experta_agrees_with_brute_force(seed: int) -> None:
    written, sets = _random_problem(seed)
    book = RuleBook({name: _written(*parts) for name, parts in written.items()})
    for facts in sets:
        got = {(one.rule, tuple(sorted(dict(one.bindings).items()))): set(one.matched) for one in book.run(facts)}
        assert got == _oracle(written, facts), json.dumps(written, indent=1)


def test_the_oracle_is_not_idle() -> None:
    """Over the seeds above there are firings, chains of findings, and rules that stay silent, enough to compare."""
    firings = chained = silent = 0
    for seed in range(60):
        written, sets = _random_problem(seed)
        for facts in sets:
            found = _oracle(written, facts)
            firings += len(found)
            chained += sum(any(one.kind == "finding" for one in used) for used in found.values())
            silent += len(set(written) - {name for name, _ in found})
    assert firings > 200
    assert chained > 40
    assert silent > 200

"""What sound knowledge still lacks: one test for each thing an author forgets, with its file and line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from isolate.kb.check import check
from isolate.kb.load import Problem, load

if TYPE_CHECKING:
    from conftest import Base

CHECKS, ZONES, ACCESS = "checks/all.yaml", "zones/channel.yaml", "access/all.yaml"
REPAIRS, RULES, ENGINE = "repairs/all.yaml", "rules/all.yaml", "engines/halden-hf-3.yaml"
CAUTIONS, COMPLAINTS, SOURCES = "cautions/all.yaml", "complaints/all.yaml", "sources/all.yaml"

TWIN = """\
      lead-tired:
        title: lead {channel} tired
        part: lead
        prior: 0.001
        lights: 0.1
        active: {steady: 0.5, vibrating: 0.9}
        tells: Nothing tells it.
        source: [weighed]
"""


def test_nothing_is_said_of_a_base_that_lacks_nothing(base: Base) -> None:
    assert check(load(base.folder)) == []


LACKS = [
    (
        REPAIRS,
        "channel: [lead-loose]",
        "channel: [igniter-worn]",
        ZONES,
        "      lead-loose:",
        "channel, modes.lead-loose: no repair clears it",
    ),
    (
        CHECKS,
        "gives: {flow: 0.01, no-flow: 0.99}",
        "gives: {flow: 0.99, no-flow: 0.01}",
        CHECKS,
        "  fuel-flow-look:",
        "fuel-flow-look: no fault answers otherwise than healthy does: the check tells nothing",
    ),
    (
        REPAIRS,
        "    needs: [lead-off]\n",
        "",
        ACCESS,
        "  lead-off:",
        "lead-off: no check, repair, access state or rule needs it",
    ),
    (
        CHECKS,
        "cautions: [spark-near-fuel]",
        "cautions: [discharge]",
        CAUTIONS,
        "  spark-near-fuel:",
        "spark-near-fuel: no step and no rule shows it",
    ),
    (
        SOURCES,
        "sources:\n",
        "sources:\n  dusty: {title: Dusty, kind: memory}\n",
        SOURCES,
        "dusty",
        "dusty: nothing cites it",
    ),
    (
        ENGINE,
        "zones: [channel, engine]",
        "zones: [channel]",
        REPAIRS,
        "  hand-over-fuel:",
        "hand-over-fuel: no engine has a fault that it clears",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {modes: [lead-loose]}",
        REPAIRS,
        "  tighten-nut:",
        "tighten-nut: no engine has a fault that it clears",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {repairs: [tighten-nut]}",
        ENGINE,
        "omits",
        "halden-hf-3, omits.repairs: nothing is left that clears `lead-loose`",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {access: [cowls-open]}",
        ENGINE,
        "cowls-open: {",
        "halden-hf-3, access_minutes.cowls-open: the profile omits it, so its minutes are not used",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {checks: [nut-feel]}",
        ENGINE,
        "check_minutes",
        "halden-hf-3, check_minutes.nut-feel: the profile omits it, so its minutes are not used",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {modes: [igniter-worn]}",
        ENGINE,
        "priors",
        "halden-hf-3, priors.igniter-worn: the profile does not have this fault, so its prior is not used",
    ),
    (
        ENGINE,
        "    zones: [channel, engine]\n",
        "    zones: [channel]\n    omits: {modes: [no-fuel]}\n",
        ENGINE,
        "omits",
        "halden-hf-3, omits.modes: `no-fuel` is in none of the profile's zones: nothing to omit",
    ),
    (
        COMPLAINTS,
        "verify: [spark-test]",
        "verify: [nut-feel]",
        COMPLAINTS,
        "verify",
        "one-channel-silent, verify: names no start and no spark test: nothing proves the ignition",
    ),
    # warnings before dangerous steps
    (
        CHECKS,
        "    cautions: [spark-near-fuel]\n",
        "",
        CHECKS,
        "  spark-test:",
        "spark-test, cautions: is tagged spark, but shows no caution of level warning",
    ),
    (
        ACCESS,
        "minutes: 5, cautions: [discharge]}",
        "minutes: 5}",
        ACCESS,
        "Put the lead",
        "lead-off, close.cautions: is tagged high-voltage, but shows no caution of level warning",
    ),
    (
        ACCESS,
        "wait: 5, cautions: [discharge]}",
        "wait: 5}",
        ACCESS,
        "Take the lead",
        "lead-off, open.cautions: is tagged high-voltage, but shows no caution of level warning",
    ),
    (
        REPAIRS,
        "    parts: 30\n",
        "    tags: [motoring, reverser, spark]\n",
        REPAIRS,
        "  replace-igniter:",
        "replace-igniter, cautions: is tagged motoring, reverser and spark, but shows no caution of level warning",
    ),
    (
        CAUTIONS,
        "level: warning\n    source",
        "level: caution\n    source",
        CHECKS,
        "cautions:",
        "spark-test, cautions: is tagged spark, but shows no caution of level warning",
    ),
    # rules that cannot fire
    (
        RULES,
        "outcome: silent",
        "outcome: sielnt",
        RULES,
        "sielnt",
        "silent-channel, when.where.outcome: nothing gives `answer` the outcome `sielnt` (did you mean silent?)",
    ),
    (
        RULES,
        "outcome: silent",
        "outcome: no-flow",
        RULES,
        "no-flow",
        "silent-channel, when.where.outcome: nothing gives `answer` the outcome `no-flow`",
    ),
    (
        RULES,
        "check: spark-test",
        "check: spark-tets",
        RULES,
        "tets",
        "silent-channel, when.where.check: nothing gives `answer` the check `spark-tets` (did you mean spark-test?)",
    ),
    (
        RULES,
        "{name: channel-silent, channel: $c}",
        "{name: chanel-silent, channel: $c}",
        RULES,
        "chanel-silent",
        "warn-of-energy, when.any.where.name: nothing gives `finding` the name `chanel-silent` "
        "(did you mean channel-silent?)",
    ),
    (
        RULES,
        "name: inserts",
        "name: insets",
        RULES,
        "insets",
        "warn-of-energy, when.where.name: nothing gives `feature` the name `insets` (did you mean inserts?)",
    ),
    (
        RULES,
        "value: true",
        "value: many",
        RULES,
        "value: many",
        "warn-of-energy, when.where.value: nothing gives `feature` the value `many`",
    ),
    (
        RULES,
        "authority: licensed",
        "authority: licenced",
        RULES,
        "licenced",
        "no-spark-unlicensed, when.absent.where.authority: nothing gives `person` the authority `licenced` "
        "(did you mean licensed?)",
    ),
    (
        RULES,
        "[lead-loose, igniter-worn]",
        "[lead-loose, igniter-warn]",
        RULES,
        "igniter-warn",
        "warn-of-energy, when.any.where.mode.one-of: nothing gives `suspect` the mode `igniter-warn` "
        "(did you mean igniter-worn?)",
    ),
    (
        RULES,
        "{one-of: [lead-loose, igniter-worn]}",
        "{is-not: lead-lose}",
        RULES,
        "lead-lose",
        "warn-of-energy, when.any.where.mode.is-not: nothing gives `suspect` the mode `lead-lose` "
        "(did you mean lead-loose?)",
    ),
    (
        RULES,
        "move: nut-feel",
        "move: nut-fell",
        RULES,
        "nut-fell",
        "silent-channel, when.absent.where.move: nothing gives `declined` the move `nut-fell` (did you mean nut-feel?)",
    ),
    (
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- fact: about-to\n        where: {tag: sparc}",
        RULES,
        "sparc",
        "warn-of-energy, when.where.tag: nothing gives `about-to` the tag `sparc` (did you mean spark?)",
    ),
    (
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- fact: access\n        where: {name: cowls-open, state: closed}",
        RULES,
        "closed",
        "warn-of-energy, when.where.state: nothing gives `access` the state `closed`",
    ),
    (
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- fact: channel-fault\n        where: {channel: C}",
        RULES,
        "channel: C}",
        "warn-of-energy, when.where.channel: nothing gives `channel-fault` the channel `C`",
    ),
]


@pytest.mark.parametrize(("file", "old", "new", "at", "marker", "message"), LACKS)
def test_what_is_lacking(base: Base, file: str, old: str, new: str, at: str, marker: str, message: str) -> None:
    base.swap(file, old, new)
    problems = check(load(base.folder))
    assert problems == sorted(problems)
    lines = [n for n, text in enumerate(base.read(at).splitlines(), 1) if marker in text]
    assert Problem(f"knowledge/{at}", lines[0], message) in problems


def add_twin(base: Base) -> None:
    base.write(ZONES, base.read(ZONES) + TWIN)


def test_two_faults_that_nothing_tells_apart(base: Base) -> None:
    add_twin(base)
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn, lead-tired]")
    base.write(CHECKS, base.read(CHECKS).replace("- modes: [lead-loose]", "- modes: [lead-loose, lead-tired]"))
    line = base.line(ZONES, "      lead-tired:")
    message = "channel, modes.lead-tired: no check tells it from `lead-loose`, and no repair clears both"
    assert check(load(base.folder)) == [Problem("knowledge/zones/channel.yaml", line, message)]


def test_faults_that_one_repair_clears_need_not_be_told_apart(base: Base) -> None:
    add_twin(base)
    base.swap(REPAIRS, "channel: [lead-loose]", "channel: [lead-loose, lead-tired]")
    base.write(CHECKS, base.read(CHECKS).replace("- modes: [lead-loose]", "- modes: [lead-loose, lead-tired]"))
    assert check(load(base.folder)) == []


def test_faults_that_show_under_other_conditions_are_told_apart(base: Base) -> None:
    """An intermittent fault answers a functional check in its own measure."""
    base.write(ZONES, base.read(ZONES) + TWIN.replace("vibrating: 0.9", "hot: 0.9"))
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn, lead-tired]")
    base.write(CHECKS, base.read(CHECKS).replace("- modes: [lead-loose]", "- modes: [lead-loose, lead-tired]"))
    assert check(load(base.folder)) == []


def test_a_rule_can_need_an_access_state(base: Base) -> None:
    base.swap(REPAIRS, "    needs: [lead-off]\n", "")
    base.swap(
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- fact: access\n        where: {name: lead-off, state: open}",
    )
    assert check(load(base.folder)) == []


def test_a_rule_that_always_warns_of_a_tag_stands_in_for_the_step(base: Base) -> None:
    base.swap(CHECKS, "    cautions: [spark-near-fuel]\n", "")
    rule = (
        "  vapour:\n    kind: caution\n    says: Mind the vapour.\n    source: [weighed]\n"
        "    when:\n      - {fact: about-to, where: {tag: spark}}\n    then: {caution: spark-near-fuel}\n"
    )
    base.write("rules/vapour.yaml", "rules:\n" + rule)
    assert check(load(base.folder)) == []
    # A rule that warns only now and then does not.
    base.swap("rules/vapour.yaml", "{tag: spark}}", "{tag: spark, kind: repair}}")
    assert [problem.file for problem in check(load(base.folder))] == ["knowledge/checks/all.yaml"]


COLD = """\
rules:
  hot-waits:
    kind: gate
    says: The engine is hot.
    source: [weighed]
    when:
      - {fact: case, where: {condition: hot}}
      - {absent: {fact: confirmed, where: {caution: spark-near-fuel}}}
    then: {block: spark}
"""
BEHIND = (
    "hot-waits, then.block: waits until `spark-near-fuel` is confirmed, but only steps that it blocks show that "
    "caution: nothing can lift it"
)


def gate(base: Base, old: str = "", new: str = "") -> list[str]:
    assert old in COLD
    base.write("rules/gate.yaml", COLD.replace(old, new))
    return [f"{problem.line} {problem.message}" for problem in check(load(base.folder))]


def test_a_gate_that_waits_for_a_caution_shown_only_behind_it(base: Base) -> None:
    assert gate(base) == [f"9 {BEHIND}"]


WAITS = "{absent: {fact: confirmed, where: {caution: spark-near-fuel}}}"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # The step is held before its caution is shown, whether or not the gate asks what is about to be done.
        ("{fact: case, where: {condition: hot}}", "{fact: about-to, where: {tag: spark, channel: $c}}"),
        ("block: spark", "block: spark-test"),
        # Both must be there to lift it.
        (WAITS, "{any: [{absent: {fact: answer, where: {check: nut-feel}}}, " + WAITS + "]}"),
        # Either would lift it, but nobody who is not licensed now will be so later.
        (
            "{fact: confirmed, where: {caution: spark-near-fuel}}",
            "{any: [{fact: confirmed, where: {caution: {one-of: [spark-near-fuel]}}}, "
            "{fact: person, where: {authority: licensed}}]}",
        ),
    ],
)
def test_other_ways_to_wait_in_vain(base: Base, old: str, new: str) -> None:
    assert gate(base, old, new) == [f"9 {BEHIND}"]


def test_what_needs_a_blocked_access_state_is_blocked_too(base: Base) -> None:
    """Cowls stay shut until the lead's caution is confirmed, and the lead is behind the cowls."""
    base.swap(ACCESS, "minutes: 8, cautions: [discharge]", "minutes: 8")
    base.swap(RULES, "then: {caution: discharge}", "then: {caution: spark-near-fuel}")
    said = BEHIND.replace("spark-near-fuel", "discharge")
    base.write(
        "rules/gate.yaml", COLD.replace("spark-near-fuel", "discharge").replace("block: spark", "block: cowls-open")
    )
    assert [problem.message for problem in check(load(base.folder))] == [said]


def test_a_gate_that_something_can_lift(base: Base) -> None:
    waits = "{fact: confirmed, where: {caution: spark-near-fuel}}"
    # Another way to lift it.
    assert (
        gate(base, "{fact: case, where: {condition: hot}}", "{fact: access, where: {name: notices, state: shut}}") == []
    )
    assert gate(base, waits, "{any: [" + waits + ", {fact: answer, where: {check: nut-feel}}]}") == []
    assert gate(base, "{condition: hot}", "{spent: {at-most: 30}}") == []
    # A gate on other steps, or on opening only.
    assert gate(base, "{block: spark}", "{block: high-voltage}") == []
    assert gate(base, "{fact: case, where: {condition: hot}}", "{fact: about-to, where: {tag: high-voltage}}") == []
    # A standing gate that no step lifts, on purpose.
    assert gate(base, waits, "{fact: person, where: {authority: licensed}}") == []
    # A caution that a step in front of the gate shows, by itself or by a rule.
    assert gate(base, "caution: spark-near-fuel", "caution: discharge") == []
    rule = (
        "rules:\n  vapour:\n    kind: caution\n    says: Mind the vapour.\n    source: [weighed]\n"
        "    when:\n      - {fact: about-to, where: {move: nut-feel}}\n    then: {caution: spark-near-fuel}\n"
    )
    base.write("rules/vapour.yaml", rule)
    assert gate(base) == []
    base.swap("rules/vapour.yaml", "move: nut-feel", "tag: spark")
    assert gate(base) == [f"9 {BEHIND}"]
    base.swap("rules/vapour.yaml", "{fact: about-to, where: {tag: spark}}", "{fact: case, where: {condition: hot}}")
    assert gate(base) == [f"9 {BEHIND}"]
    base.swap(CHECKS, "needs: [cowls-open]\n", "needs: [cowls-open]\n    cautions: [spark-near-fuel]\n")
    assert gate(base) == []


def test_a_feature_said_yes_or_no_to_can_be_either_way(base: Base) -> None:
    base.swap(RULES, "value: true", "value: false")
    assert check(load(base.folder)) == []


def test_a_value_of_several_features_is_not_judged(base: Base) -> None:
    base.swap(RULES, "{name: inserts, value: true}", "{name: {one-of: [inserts, cooled-leads]}, value: 7}")
    assert check(load(base.folder)) == []


def test_a_complaint_verified_by_a_start_is_verified(base: Base) -> None:
    base.swap(COMPLAINTS, "verify: [spark-test]", "verify: [fuel-flow-look]")
    assert len(check(load(base.folder))) == 1
    base.swap(CHECKS, "kind: history\n", "kind: functional\n    starts: true\n")
    assert check(load(base.folder)) == []


def test_the_shipped_knowledge_lacks_nothing() -> None:
    assert [str(problem) for problem in check(load())] == []

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
    ways = gate(base, "{fact: case, where: {condition: hot}}", "{fact: about-to, where: {tag: high-voltage}}")
    assert not any("nothing can lift it" in way for way in ways)
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


# -- several engines -----------------------------------------------------------------------------

OTHER, SIGNS, MORE = "engines/orrin-t-9.yaml", "signs/all.yaml", "rules/more.yaml"
T_9 = """\
engines:
  orrin-t-9:
    title: Orrin T-9
    channels: ["1", "2"]
    selection: by-hand
    features: {inserts: true, cooled-leads: false, starter: electric}
    zones: [channel, engine]
    weights:
      gate: {hand_over: 30, escalate: 90, missed: 240}
      hangar: {hand_over: 20, escalate: 60, missed: 240}
    source: [weighed]
"""


def second_engine(base: Base, omits: str = "") -> None:
    base.write(OTHER, T_9.replace("    weights:\n", f"    omits: {omits or '{}'}\n    weights:\n"))
    base.swap(ENGINE, "cooled-leads: false}", "cooled-leads: false, starter: air}")


def told(base: Base) -> list[str]:
    """What is said, each as file:line and message, without the folder's name."""
    return [str(problem).removeprefix("knowledge/") for problem in check(load(base.folder))]


def at(base: Base, file: str, marker: str, message: str) -> str:
    return f"{file}:{base.line(file, marker)}: {message}"


def only(base: Base, file: str, marker: str, features: str, indent: int = 4) -> None:
    """Put ``only`` first in the entry that ``marker`` names."""
    base.swap(file, f"{marker}\n", f"{marker}\n{' ' * indent}only: {features}\n")


def test_nothing_is_said_of_two_engines_that_lack_nothing(base: Base) -> None:
    second_engine(base)
    assert told(base) == []


# -- telling faults apart ------------------------------------------------------------------------

TORN = TWIN.replace("lead-tired", "lead-torn").replace("        tells", "        like: lead-loose\n        tells")
TORN_ALIKE = "no check tells it from `lead-loose`, and no repair clears both"


def add_torn(base: Base) -> None:
    """A fault like the loose lead, cleared by another repair, told from it only by a feel of the nut."""
    base.write(ZONES, base.read(ZONES) + TORN)
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn, lead-torn]")
    base.swap(
        CHECKS,
        "          gives: {tight: 0.05, loose: 0.95}\n",
        "          gives: {tight: 0.05, loose: 0.95}\n"
        "        - modes: [lead-torn]\n          gives: {tight: 0.9, loose: 0.1}\n",
    )


def test_a_fault_is_told_from_the_one_it_is_like_by_a_row_of_its_own(base: Base) -> None:
    add_torn(base)
    assert told(base) == []
    base.swap(CHECKS, "gives: {tight: 0.9, loose: 0.1}", "gives: {tight: 0.05, loose: 0.95}")
    assert told(base) == [at(base, ZONES, "      lead-torn:", f"channel, modes.lead-torn: {TORN_ALIKE}")]


@pytest.mark.parametrize("omits", ["{checks: [nut-feel]}", ""])
def test_faults_that_one_engine_cannot_tell_apart(base: Base, omits: str) -> None:
    add_torn(base)
    second_engine(base, omits)
    if not omits:
        only(base, CHECKS, "  nut-feel:", "{starter: air}")
    assert told(base) == [at(base, ZONES, "      lead-torn:", f"channel, modes.lead-torn: on orrin-t-9, {TORN_ALIKE}")]
    # Where the engine does not have one of the two, there is nothing to tell apart.
    base.swap(ZONES, "like: lead-loose", "like: lead-loose\n        only: {starter: air}")
    assert told(base) == []


def test_answers_that_hardly_differ_tell_nothing_apart(base: Base) -> None:
    add_torn(base)
    base.swap(CHECKS, "gives: {tight: 0.9, loose: 0.1}", "gives: {tight: 0.06, loose: 0.94}")
    # One in twenty against one in seventeen: 1.2 to 1.
    assert told(base) == [at(base, ZONES, "      lead-torn:", f"channel, modes.lead-torn: {TORN_ALIKE}")]
    base.swap(CHECKS, "gives: {tight: 0.06, loose: 0.94}", "gives: {tight: 0.07, loose: 0.93}")
    assert told(base) == []


def test_a_fault_that_no_check_tells_from_health(base: Base) -> None:
    base.write(ZONES, base.read(ZONES) + TWIN)
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn, lead-tired]")
    message = "channel, modes.lead-tired: no check tells it from health"
    assert told(base) == [at(base, ZONES, "      lead-tired:", message)]
    base.swap(ZONES, "        tells: Nothing", "        like: igniter-worn\n        tells: Nothing")
    assert told(base) == []


def test_faults_of_two_zones(base: Base) -> None:
    """A fuel fault that is only heard as silence on both channels, and one that both share."""
    base.write(
        "zones/shared.yaml",
        "zones:\n  shared:\n    title: shared\n    source: [weighed]\n    modes:\n      supply-lost:\n"
        "        title: no supply\n        part: supply\n        prior: 0.001\n        lights: 0.0\n"
        "        tells: Both silent.\n        source: [weighed]\n",
    )
    base.swap(ENGINE, "zones: [channel, engine]", "zones: [channel, shared, engine]")
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn]\n      shared: [supply-lost]")
    row = "      engine:\n        - modes: [healthy]\n          gives: {flow: 0.99, no-flow: 0.01}\n"
    base.swap(
        CHECKS,
        row,
        row.replace("engine", "shared")
        + "        - modes: [supply-lost]\n          gives: {flow: 0.01, no-flow: 0.99}\n"
        + row,
    )
    message = "engine, modes.no-fuel: no check tells it from `supply-lost`, and no repair clears both"
    assert told(base) == [at(base, "zones/engine.yaml", "      no-fuel:", message)]
    base.swap(
        CHECKS,
        "              others:\n".replace("              ", "      "),
        "      shared:\n        - modes: [healthy]\n          gives: {snaps: 1}\n        - modes: [supply-lost]\n"
        "          gives: {silent: 1}\n      others:\n",
    )
    assert told(base) == []


def test_a_fault_that_shows_alike_on_either_channel(base: Base) -> None:
    """A look at both channels at once finds the fault, not whose it is."""
    base.write(ZONES, base.read(ZONES) + TWIN)
    base.swap(REPAIRS, "channel: [igniter-worn]", "channel: [igniter-worn, lead-tired]")
    look = (
        "checks:\n  both-look:\n    title: Look\n    purpose: See.\n    kind: visual\n    minutes: 2\n"
        "    source: [weighed]\n    outcomes:\n      sound: {title: Sound., means: Sound.}\n"
        "      tired: {title: Tired., means: Tired.}\n    given:\n      channel:\n"
        "        - modes: [healthy]\n          gives: {sound: 0.9, tired: 0.1}\n"
        "        - modes: [lead-tired]\n          gives: {sound: 0.1, tired: 0.9}\n"
    )
    base.write("checks/both.yaml", look)
    message = "channel, modes.lead-tired: no check tells which channel has it, and no repair clears both"
    assert told(base) == [at(base, ZONES, "      lead-tired:", message)]
    base.write("checks/both.yaml", look.replace("    title: Look\n", "    title: Look\n    per: channel\n"))
    assert told(base) == []


# -- checks and repairs --------------------------------------------------------------------------

DECIDES_NOTHING = "no answer is 1.25 times as likely where one repair is called for as where another or none is"


def test_a_check_that_changes_no_decision(base: Base) -> None:
    base.swap(CHECKS, "gives: {flow: 0.01, no-flow: 0.99}", "gives: {flow: 0.988, no-flow: 0.012}")
    assert at(base, CHECKS, "  fuel-flow-look:", f"fuel-flow-look: {DECIDES_NOTHING}") in told(base)
    base.swap(CHECKS, "gives: {flow: 0.988, no-flow: 0.012}", "gives: {flow: 0.985, no-flow: 0.015}")
    assert told(base) == []


def test_a_check_without_its_faults_on_one_engine(base: Base) -> None:
    second_engine(base)
    only(base, ZONES, "      lead-loose:", "{starter: air}", 8)
    base.swap(ZONES, "      igniter-worn:", "      igniter-worn:")
    assert told(base) == [at(base, CHECKS, "  nut-feel:", f"nut-feel: on orrin-t-9, {DECIDES_NOTHING}")]
    only(base, CHECKS, "  nut-feel:", "{starter: air}")
    assert told(base) == []


def test_a_check_that_only_tells_apart_what_one_repair_clears_still_finds_it(base: Base) -> None:
    """Its answers say whether anything is wrong, so they decide whether there is a repair at all."""
    base.swap(REPAIRS, "channel: [lead-loose]", "channel: [lead-loose, igniter-worn]")
    assert told(base) == []


def test_a_check_that_a_rule_asks_for_may_say_nothing_else(base: Base) -> None:
    base.swap(CHECKS, "gives: {flow: 0.01, no-flow: 0.99}", "gives: {flow: 0.985, no-flow: 0.015}")
    base.swap(CHECKS, "gives: {flow: 0.99, no-flow: 0.01}", "gives: {flow: 0.9849, no-flow: 0.0151}")
    assert at(base, CHECKS, "  fuel-flow-look:", f"fuel-flow-look: {DECIDES_NOTHING}") in told(base)
    rule(base, "- {fact: answer, where: {check: fuel-flow-look, outcome: no-flow}}")
    assert not any(DECIDES_NOTHING in line for line in told(base))


def test_a_repair_of_faults_that_no_engine_has(base: Base) -> None:
    second_engine(base)
    only(base, ZONES, "      lead-loose:", "{starter: turbine}", 8)
    assert at(base, REPAIRS, "  tighten-nut:", "tighten-nut: no engine has a fault that it clears") in told(base)


def test_a_repair_that_no_engine_has(base: Base) -> None:
    second_engine(base, "{repairs: [tighten-nut]}")
    base.swap(ENGINE, "selection: alternate", "selection: alternate\n    omits: {repairs: [tighten-nut]}")
    assert at(base, REPAIRS, "  tighten-nut:", "tighten-nut: no engine has it") in told(base)
    base.swap(ENGINE, "omits: {repairs: [tighten-nut]}", "omits: {}")
    assert not any("no engine has it" in line for line in told(base))


def test_a_fault_that_no_repair_of_one_engine_clears(base: Base) -> None:
    second_engine(base)
    only(base, REPAIRS, "  tighten-nut:", "{starter: air}")
    message = "channel, modes.lead-loose: on orrin-t-9, no repair clears it"
    assert told(base) == [at(base, ZONES, "      lead-loose:", message)]
    only(base, ZONES, "      lead-loose:", "{starter: air}", 8)
    assert at(base, ZONES, "      lead-loose:", message) not in told(base)


def test_a_step_that_can_be_done_nowhere(base: Base) -> None:
    base.swap(REPAIRS, "    parts: 30\n", "    parts: 30\n    place: [gate]\n")
    assert told(base) == []
    base.swap(ACCESS, "    title: Fan cowls\n", "    title: Fan cowls\n    place: [hangar]\n")
    message = "replace-igniter, place: can be done nowhere: it needs `cowls-open`, which is done elsewhere"
    assert told(base) == [at(base, REPAIRS, "place: [gate]", message)]


def test_a_step_of_whose_needs_an_engine_has_none(base: Base) -> None:
    second_engine(base)
    only(base, ACCESS, "  lead-off:", "{starter: air}")
    message = "replace-igniter, needs: on orrin-t-9, none of what it needs is there, so nothing is opened or made safe"
    assert told(base) == [at(base, REPAIRS, "needs: [lead-off]", f"{message} before it")]
    base.swap(REPAIRS, "needs: [lead-off]", "needs: [lead-off, notices]")
    assert told(base) == []


# -- gates that no step lifts --------------------------------------------------------------------


def rule(base: Base, when: str, then: str = "", kind: str = "advice", only: str = "", says: str = "Do.") -> None:
    lines = "".join(f"      {line}\n" for line in when.splitlines())
    text = f"rules:\n  extra:\n    kind: {kind}\n    says: {says}\n    source: [weighed]\n    when:\n{lines}"
    text += f"    then: {then}\n" if then else ""
    base.write(MORE, text + (f"    only: {only}\n" if only else ""))


def lifted(base: Base, block: str, *when: str) -> list[str]:
    rule(base, "\n".join(f"- {one}" for one in when), f"{{block: {block}}}", "gate")
    return [line.removeprefix(f"{MORE}:").partition(": ")[2] for line in told(base)]


def open_of(name: str, more: str = "") -> str:
    return f"{{absent: {{fact: access, where: {{name: {name}, state: open{more}}}}}}}"


def not_shut(name: str, more: str = "") -> str:
    return f"{{fact: access, where: {{name: {name}, state: {{is-not: shut}}{more}}}}}"


CLOSE_COWLS = "{fact: about-to, where: {kind: close, move: cowls-open}}"
OPEN_COWLS = "{fact: about-to, where: {kind: open, move: cowls-open}}"
OPEN_LEAD = "{fact: about-to, where: {kind: open, move: lead-off, channel: $c}}"


@pytest.mark.parametrize(
    ("block", "when", "said"),
    [
        # To shut the cowls, what is behind them has been shut already.
        (
            "cowls-open",
            (CLOSE_COWLS, open_of("lead-off")),
            "asks for `lead-off/A` open, which is shut at that step: nothing can lift it for shutting `cowls-open`",
        ),
        (
            "cowls-open",
            (CLOSE_COWLS, not_shut("notices")),
            "asks for `notices` shut, which is open at that step: nothing can lift it for shutting `cowls-open`",
        ),
        (
            "cowls-open",
            (OPEN_COWLS, open_of("lead-off")),
            "asks for `lead-off/B` open, which is shut at that step: nothing can lift it for opening `cowls-open`",
        ),
        (
            "lead-off",
            (OPEN_LEAD, "{fact: access, where: {name: cowls-open, state: {one-of: [open, unknown]}}}"),
            "asks for `cowls-open` shut, which is open at that step: nothing can lift it for opening `lead-off`",
        ),
        (
            "spark",
            ("{fact: about-to, where: {tag: spark, channel: $c}}", open_of("lead-off", ", channel: $c")),
            "asks for `lead-off/A` open, which is shut at that step: nothing can lift it for `spark-test`",
        ),
        (
            "cowls-open",
            (CLOSE_COWLS, not_shut("cowls-open")),
            "asks for `cowls-open` shut, which is open at that step: nothing can lift it for shutting `cowls-open`",
        ),
        (
            "nut-feel",
            ("{fact: access, where: {name: notices, state: {one-of: [open, shut]}}}",),
            "stands whether `notices` is open or shut: nothing can lift it for `nut-feel`",
        ),
        # What would lift it lies behind it.
        (
            "notices",
            ("{absent: {fact: answer, where: {check: nut-feel}}}", "{fact: case, where: {condition: hot}}"),
            "waits for a fact `answer` that only what it blocks brings: nothing can lift it",
        ),
        (
            "cowls-open",
            (OPEN_COWLS, "{absent: {fact: repaired, where: {repair: tighten-nut}}}"),
            "waits for a fact `repaired` that only what it blocks brings: nothing can lift it",
        ),
        # Either lead waits for the other.
        (
            "lead-off",
            (OPEN_LEAD, open_of("lead-off", ", channel: {is-not: $c}")),
            "asks for `lead-off/B` open, and bars the way to it: nothing can lift it for opening `lead-off`",
        ),
        (
            "lead-off",
            (OPEN_LEAD.replace("open", "close"), not_shut("lead-off", ", channel: {is-not: $c}")),
            "holds shutting `lead-off/A` until shutting `lead-off/B` is done, which waits for shutting `lead-off/A` in "
            "turn: nothing can lift it",
        ),
        (
            "lead-off",
            ("{any: [" + open_of("notices") + ", " + open_of("lead-off", ", channel: $c") + "]}", OPEN_LEAD),
            "asks for `lead-off/A` open, which is shut at that step: nothing can lift it for opening `lead-off`",
        ),
        (
            "lead-off",
            ("{fact: case, where: {selection: alternate}}",),
            "always stands: what it blocks can never be done",
        ),
    ],
)
def test_a_gate_that_no_step_lifts(base: Base, block: str, when: tuple[str, ...], said: str) -> None:
    assert f"extra, then.block: {said}" in lifted(base, block, *when)


@pytest.mark.parametrize(
    ("block", "when"),
    [
        ("cowls-open", (CLOSE_COWLS, not_shut("lead-off"))),
        ("notices", ("{fact: about-to, where: {kind: close, move: notices}}", not_shut("cowls-open"))),
        ("cowls-open", (OPEN_COWLS, open_of("notices"))),
        ("lead-off", (OPEN_LEAD, open_of("cowls-open"))),
        # A spark test wants its own channel's lead on; the other's can be off.
        ("spark", (open_of("lead-off"),)),
        ("nut-feel", (not_shut("lead-off"),)),
        ("nut-feel", (open_of("lead-off"),)),
        ("cowls-open", (OPEN_COWLS, "{absent: {fact: answer, where: {check: fuel-flow-look}}}")),
        ("cowls-open", (OPEN_COWLS, "{absent: {fact: answer}}")),
        # The complaint answers it.
        ("notices", ("{absent: {fact: answer, where: {check: spark-test}}}",)),
        # On purpose, until somebody else is here or it has cooled.
        ("cowls-open", ("{fact: case, where: {condition: hot}}",)),
        ("cowls-open", ("{absent: {fact: person, where: {authority: licensed}}}",)),
    ],
)
def test_a_gate_that_a_step_lifts(base: Base, block: str, when: tuple[str, ...]) -> None:
    assert lifted(base, block, *when) == []


def test_gates_on_what_an_engine_does_not_have(base: Base) -> None:
    second_engine(base)
    only(base, ACCESS, "  lead-off:", "{starter: air}")
    base.swap(REPAIRS, "needs: [lead-off]", "needs: [lead-off, notices]")
    (said,) = lifted(base, "nut-feel", open_of("lead-off"))
    assert said == (
        "extra, then.block: on orrin-t-9, asks for `lead-off`, which is not there: nothing can lift it for `nut-feel`"
    )
    assert base.line(MORE, "block: nut-feel") == check(load(base.folder))[0].line
    base.write(MORE, base.read(MORE) + "    only: {starter: air}\n")
    assert told(base) == []
    # That something is not there is no reason to wait for it to be shut.
    assert lifted(base, "nut-feel", not_shut("lead-off")) == []


@pytest.mark.parametrize(
    ("fact", "field"),
    [("person, where: {authority: motoring}", "authority"), ("at-hand, where: {item: motoring}", "tools")],
)
def test_gates_on_what_nobody_can_bring(base: Base, fact: str, field: str) -> None:
    """A case asks only for authorisations and tools that some step of its engine names."""
    second_engine(base)
    base.swap(ACCESS, "    title: Warning notices", f"    {field}: [motoring]\n    title: Warning notices")
    when = f"{{absent: {{fact: {fact}}}}}"
    assert lifted(base, "nut-feel", when) == []
    base.swap(ACCESS, f"    {field}: [motoring]\n", "")
    only(base, CHECKS, "  nut-feel:", "{starter: air}")
    base.swap(CHECKS, "    purpose: Find a", f"    {field}: [motoring]\n    purpose: Find a")
    (said,) = lifted(base, "cowls-open", when)
    assert said == (
        "extra, then.block: on orrin-t-9, asks for `motoring`, which no step does, so nothing ever says it is there: "
        "nothing can lift it for opening `cowls-open` and shutting `cowls-open`"
    )


def test_a_gate_that_waits_for_a_caution_of_another_engine(base: Base) -> None:
    second_engine(base)
    only(base, CAUTIONS, "  discharge:", "{starter: air}")
    only(base, RULES, "  warn-of-energy:", "{starter: air}")
    only(base, ACCESS, "  lead-off:", "{starter: air}")
    base.swap(REPAIRS, "needs: [lead-off]", "needs: [lead-off, notices]")
    waits = "{absent: {fact: confirmed, where: {caution: discharge}}}"
    said = "extra, then.block: on orrin-t-9, waits until `discharge` is confirmed, which is not there"
    assert lifted(base, "nut-feel", waits) == [f"{said}: nothing can lift it"]
    base.write(MORE, base.read(MORE) + "    only: {starter: air}\n")
    assert told(base) == []


def test_a_caution_that_one_engine_shows_only_behind_the_gate(base: Base) -> None:
    second_engine(base)
    base.swap(CHECKS, "needs: [cowls-open]\n", "needs: [cowls-open]\n    cautions: [spark-near-fuel]\n")
    assert gate(base) == []
    base.swap(CHECKS, "    purpose: Find a", "    only: {starter: air}\n    purpose: Find a")
    assert gate(base) == [f"9 {BEHIND.replace('block: ', 'block: on orrin-t-9, ')}"]


def test_a_gate_that_blocks_nothing(base: Base) -> None:
    second_engine(base)
    only(base, CHECKS, "  nut-feel:", "{starter: air}")
    hot = "{fact: case, where: {condition: hot}}"
    assert lifted(base, "nut-feel", hot) == []
    nothing = "extra, then.block: blocks nothing: no step that it is about is `{}` on an engine that has this rule"
    assert lifted(base, "nut-feel", hot, OPEN_COWLS) == [nothing.format("nut-feel")]
    assert lifted(base, "cowls-open", OPEN_LEAD, open_of("lead-off")) == [nothing.format("cowls-open")]
    assert lifted(base, "verify", hot) == []
    rule(base, f"- {hot}", "{block: nut-feel}", "gate", "{starter: electric}")
    assert told(base) == [at(base, MORE, "block: nut-feel", nothing.format("nut-feel"))]


def test_gates_that_wait_for_each_other(base: Base) -> None:
    base.write(
        ACCESS,
        base.read(ACCESS) + "  air-on:\n    title: Air\n    word: connected\n    open: {do: Bring it., minutes: 1}\n"
        "    close: {do: Take it away., minutes: 1}\n    source: [weighed]\n",
    )
    base.swap(CHECKS, "    needs: [cowls-open]\n", "    needs: [cowls-open, air-on]\n")
    air = "{fact: about-to, where: {kind: close, move: air-on}}"
    assert lifted(base, "air-on", air, not_shut("cowls-open")) == []
    text = base.read(MORE).removeprefix("rules:\n").replace("extra", "ring")
    assert lifted(base, "cowls-open", CLOSE_COWLS, not_shut("notices")) != []
    rule(base, f"- {CLOSE_COWLS}\n- {not_shut('air-on')}", "{block: cowls-open}", "gate")
    assert told(base) == []
    base.write("rules/ring.yaml", f"rules:\n{text}")
    message = "then.block: holds {} until {} is done, which waits for {} in turn: nothing can lift it"
    cowls, air = "shutting `cowls-open`", "shutting `air-on`"
    assert told(base) == [
        at(base, MORE, "block: cowls-open", f"extra, {message.format(cowls, air, cowls)}"),
        at(base, "rules/ring.yaml", "block: air-on", f"ring, {message.format(air, cowls, air)}"),
    ]


# -- rules that never fire, and rules that say two things ----------------------------------------


@pytest.mark.parametrize(
    ("when", "said"),
    [
        (
            "- {fact: repaired, where: {repair: tighten-nut}}\n- {absent: {fact: repaired}}",
            "when.absent: can never fire: it asks for `repaired` and for its absence",
        ),
        (
            "- {fact: repaired, where: {repair: tighten-nut, channel: $c}}\n"
            "- {absent: {fact: repaired, where: {channel: $c, repair: {one-of: [tighten-nut, replace-igniter]}}}}",
            "when.absent: can never fire: it asks for `repaired` and for its absence",
        ),
        (
            "- {fact: remaining, where: {percent: {at-least: 60}}}\n"
            "- {absent: {fact: remaining, where: {percent: {above: 50}}}}",
            "when.absent: can never fire: it asks for `remaining` and for its absence",
        ),
        (
            "- {fact: case, where: {place: gate}}\n- {fact: case, where: {place: hangar}}",
            "when.where.place: can never fire: one `case` cannot have the place `gate` and `hangar`",
        ),
        (
            "- {fact: case, where: {minutes-left: {at-least: 60}}}\n- {fact: case, where: {minutes-left: {below: 60}}}",
            "when.where.minutes-left: can never fire: one `case` cannot have the minutes-left at-least `60` and "
            "below `60`",
        ),
        (
            "- {fact: suspect, where: {rank: 1, part: igniter}}\n"
            "- {fact: suspect, where: {rank: 1, part: {is-not: igniter}}}",
            "when.where.part: can never fire: one `suspect` cannot have the part `igniter` and is-not `igniter`",
        ),
        (
            "- {fact: suspect, where: {percent: {above: 100}}}",
            "when.where.percent: can never fire: nothing gives `suspect` the percent above `100`",
        ),
        (
            "- {fact: suspect, where: {mode: $m}}\n- {fact: repaired, where: {repair: $m}}",
            "when.where.repair: can never fire: nothing can be `$m` everywhere it stands (suspect mode and repaired "
            "repair)",
        ),
        (
            "- {fact: case, where: {place: gate}}\n- {fact: case, where: {place: $p}}\n"
            "- {fact: declined, where: {move: $p}}",
            "when.where.move: can never fire: nothing can be `$p` everywhere it stands (case place and declined move)",
        ),
        (
            "- {absent: {fact: case, where: {engine: {one-of: [halden-hf-3, orrin-t-9]}}}}",
            "when.absent: can never fire: such a case is never absent",
        ),
        (
            "- fact: case\n- any:\n    - {fact: case, where: {place: gate}}\n"
            "    - {fact: suspect, where: {percent: {below: 0}}}",
            "when.any: this alternative never stands: nothing gives `suspect` the percent below `0`",
        ),
    ],
)
def test_a_rule_that_can_never_fire(base: Base, when: str, said: str) -> None:
    second_engine(base)
    rule(base, when)
    (line,) = told(base)
    assert line.partition(": ")[2] == f"extra, {said}"


@pytest.mark.parametrize(
    "when",
    [
        "- {fact: repaired, where: {repair: tighten-nut}}\n"
        "- {absent: {fact: repaired, where: {repair: replace-igniter}}}",
        "- {fact: repaired, where: {channel: $c}}\n- {absent: {fact: repaired, where: {channel: {is-not: $c}}}}",
        "- {fact: remaining, where: {percent: {at-least: 50}}}\n"
        "- {absent: {fact: remaining, where: {percent: {above: 50}}}}",
        "- {fact: case, where: {minutes-left: {at-least: 60}}}\n- {fact: case, where: {minutes-left: {at-most: 60}}}",
        # There are several answers and suspects.
        "- {fact: answer, where: {check: spark-test, outcome: snaps}}\n"
        "- {fact: answer, where: {check: spark-test, outcome: silent}}",
        "- {fact: suspect, where: {part: igniter}}\n- {fact: suspect, where: {part: lead}}",
        "- {fact: suspect, where: {percent: {at-least: 100}}}",
        "- {fact: repaired, where: {repair: $m}}\n- {fact: declined, where: {move: $m}}",
        "- {fact: case, where: {place: gate}}\n- {absent: {fact: case, where: {engine: halden-hf-3}}}",
        # An engine that says no today may say yes tomorrow.
        "- {absent: {fact: feature, where: {name: inserts, value: true}}}",
    ],
)
def test_a_rule_that_can_fire(base: Base, when: str) -> None:
    second_engine(base)
    rule(base, when)
    assert told(base) == []


def test_rules_that_only_feed_each_other(base: Base) -> None:
    text = (
        "rules:\n  {}:\n    kind: finding\n    says: Echo.\n    source: [weighed]\n"
        "    when:\n      - {{fact: finding, where: {{name: {}}}}}\n    then: {{finding: {}}}\n"
    )
    base.write(MORE, text.format("echo", "call", "answer"))
    base.write("rules/call.yaml", text.format("call", "answer", "call"))
    never = "when.where.name: can never fire: nothing gives `finding` the name"
    assert told(base) == [
        f"rules/call.yaml:7: call, {never} `answer`",
        f"{MORE}:7: echo, {never} `call`",
    ]
    base.swap("rules/call.yaml", "{fact: finding, where: {name: answer}}", "{fact: verified, where: {result: passed}}")
    assert told(base) == []


def test_what_a_rule_asks_for_is_on_other_engines_only(base: Base) -> None:
    second_engine(base)
    only(base, CHECKS, "  nut-feel:", "{starter: air}")
    asks = "- {fact: answer, where: {check: nut-feel, outcome: loose}}"
    rule(base, asks, only="{starter: air}")
    assert told(base) == []
    rule(base, asks, only="{starter: electric}")
    message = "nothing gives `answer` the check `nut-feel` on an engine that has this rule"
    assert at(base, MORE, "check: nut-feel", f"extra, when.where.check: {message}") in told(base)
    rule(base, "- {absent: {fact: access, where: {name: {one-of: [notices, cowls-open]}}}}", only="{starter: air}")
    assert told(base) == []


def test_two_conditions_of_two_engines(base: Base) -> None:
    """Each is met somewhere, both together nowhere."""
    second_engine(base)
    only(base, CHECKS, "  nut-feel:", "{starter: air}")
    only(base, CHECKS, "  fuel-flow-look:", "{starter: electric}")
    rule(base, "- {fact: answer, where: {check: nut-feel}}\n- {fact: answer, where: {check: fuel-flow-look}}")
    lines = [line.partition(": ")[2] for line in told(base) if line.startswith(MORE)]
    assert lines == [
        "extra, when.where.check: on orrin-t-9, can never fire: nothing gives `answer` the check `nut-feel`",
        "extra, when.where.check: on halden-hf-3, can never fire: nothing gives `answer` the check `fuel-flow-look`",
    ]
    parts = (f"    - {{fact: answer, where: {{check: {name}}}}}\n" for name in ("nut-feel", "fuel-flow-look"))
    rule(base, "- any:\n" + "".join(parts))
    assert not any(line.startswith(MORE) for line in told(base))


SAME = (
    "- {fact: answer, where: {check: spark-test, outcome: silent, count: $n, channel: $c}}\n"
    "- {absent: {fact: declined, where: {channel: $c, move: nut-feel}}}"
)


@pytest.mark.parametrize(
    ("then", "says", "message"),
    [
        ("{finding: channel-dead, channel: $c}", "Do.", "concludes from the conditions of {} something else"),
        ("{finding: channel-silent}", "Do.", "concludes from the conditions of {} something else"),
        ("{finding: channel-silent, channel: $c}", "Do.", "says on the conditions of {} something else"),
        (
            "{finding: channel-silent, channel: $c}",
            "'Channel {c} is silent, {n} times over.'",
            "is {} over again",
        ),
    ],
)
def test_two_rules_on_the_same_conditions(base: Base, then: str, says: str, message: str) -> None:
    """Whatever their order is and their variables are called."""
    first, second = SAME.splitlines()
    when = f"{second}\n{first}"
    names = {"$n": "$times", "$c": "$letter", "{n}": "{times}", "{c}": "{letter}"}
    for name, new in names.items():
        when, then, says = (text.replace(name, new) for text in (when, then, says))
    rule(base, when, then, "finding", says=says)
    text = "rules:\n  zz:\n" + base.read(MORE).split("  extra:\n")[1]
    base.write(MORE, text)
    where = f"`silent-channel` (knowledge/{RULES}:{base.line(RULES, '  silent-channel:')})"
    assert told(base) == [at(base, MORE, "  zz:", f"zz: {message.format(where)}")]


def test_rules_on_conditions_that_differ(base: Base) -> None:
    rule(base, SAME.replace("nut-feel", "spark-test"), "{finding: channel-dead, channel: $c}", "finding")
    assert told(base) == []
    # Variables that stand for other things.
    rule(base, SAME.replace("channel: $c, move", "channel: {is-not: $c}, move"), "{finding: channel-dead}", "finding")
    assert told(base) == []
    # Advice beside a finding.
    rule(base, SAME)
    assert told(base) == []


def test_gates_may_share_conditions_but_not_what_they_block(base: Base) -> None:
    when = "- {absent: {fact: person, where: {authority: licensed}}}"
    rule(base, when, "{block: cowls-open}", "gate")
    assert told(base) == []
    rule(base, when, "{block: spark}", "gate")
    (line,) = told(base)
    assert line.startswith("rules/all.yaml") and "no-spark-unlicensed: says on the conditions of `extra`" in line


def test_rules_of_two_engines_do_not_contradict(base: Base) -> None:
    second_engine(base)
    rule(base, SAME, "{finding: channel-dead}", "finding", "{starter: electric}")
    assert len(told(base)) == 1
    only(base, RULES, "  silent-channel:", "{starter: air}")
    only(base, RULES, "  warn-of-energy:", "{starter: air}")
    assert told(base) == []


def test_a_caution_before_steps_that_a_gate_holds(base: Base) -> None:
    hot = "- {fact: case, where: {condition: hot}}"
    base.write("rules/hot.yaml", "")
    rule(base, hot, "{block: spark}", "gate")
    base.write("rules/hot.yaml", base.read(MORE).replace("extra", "hot-gate"))
    before = "- {fact: about-to, where: {tag: spark}}\n- {fact: case, where: {place: gate}}"
    rule(base, before, "{caution: discharge}", "caution")
    assert told(base) == []
    rule(base, f"{before}\n{hot}", "{caution: discharge}", "caution")
    message = "is never shown: under its conditions the gate `hot-gate` holds every step that it is about"
    assert told(base) == [at(base, MORE, "caution: discharge", f"extra, then.caution: {message}")]
    rule(base, f"{before.replace('spark', 'high-voltage')}\n{hot}", "{caution: discharge}", "caution")
    assert told(base) == []


# -- cautions, complaints, signs -----------------------------------------------------------------


def test_a_caution_that_no_engine_shows(base: Base) -> None:
    second_engine(base)
    only(base, CAUTIONS, "  spark-near-fuel:", "{starter: electric}")
    base.swap(CHECKS, "cautions: [spark-near-fuel]", "cautions: [discharge]")
    base.swap(CHECKS, "    purpose: Find a", "    cautions: [spark-near-fuel]\n    purpose: Find a")
    assert told(base) == []
    base.swap(CHECKS, "    purpose: Find a", "    only: {starter: air}\n    purpose: Find a")
    message = "spark-near-fuel: no engine has both it and a step or a rule that shows it"
    assert told(base) == [at(base, CAUTIONS, "  spark-near-fuel:", message)]


def test_a_rule_that_shows_a_caution_of_another_engine(base: Base) -> None:
    second_engine(base)
    only(base, CAUTIONS, "  discharge:", "{starter: air}")
    only(base, ACCESS, "  lead-off:", "{starter: air}")
    base.swap(REPAIRS, "needs: [lead-off]", "needs: [lead-off, notices]")
    message = "warn-of-energy, then.caution: on orrin-t-9, shows `discharge`, which is not there"
    assert told(base) == [at(base, RULES, "caution: discharge", message)]
    only(base, RULES, "  warn-of-energy:", "{starter: air}")
    assert told(base) == []


def test_a_warning_that_one_engine_does_not_have(base: Base) -> None:
    second_engine(base)
    only(base, CAUTIONS, "  spark-near-fuel:", "{starter: electric}")
    message = "spark-test, cautions: on halden-hf-3, is tagged spark, but shows no caution of level warning"
    assert told(base) == [at(base, CHECKS, "cautions: [spark-near-fuel]", message)]


SIGN = """\
signs:
  dry-tailpipe:
    title: A dry tailpipe
    says: [nothing came out]
    answers: {fuel-flow-look: no-flow}
    source: [weighed]
"""


def test_a_sign_answers_a_check_that_its_engines_have(base: Base) -> None:
    second_engine(base)
    base.write(SIGNS, SIGN)
    only(base, CHECKS, "  fuel-flow-look:", "{starter: air}")
    base.swap("zones/engine.yaml", "      no-fuel:\n", "      no-fuel:\n        only: {starter: air}\n")
    assert told(base) == []
    only(base, SIGNS, "  dry-tailpipe:", "{starter: electric}")
    message = "dry-tailpipe, answers.fuel-flow-look: no engine that has it has the check `fuel-flow-look`"
    assert told(base) == [at(base, SIGNS, "answers:", message)]


def test_a_complaint_answers_a_check_that_its_engines_have(base: Base) -> None:
    second_engine(base)
    base.swap(COMPLAINTS, "{spark-test: silent}", "{spark-test: silent, fuel-flow-look: flow}")
    assert told(base) == []
    only(base, COMPLAINTS, "  one-channel-silent:", "{starter: electric}")
    base.swap(CHECKS, "    purpose: Tell fuel", "    only: {starter: air}\n    purpose: Tell fuel")
    base.swap("zones/engine.yaml", "      no-fuel:\n", "      no-fuel:\n        only: {starter: air}\n")
    message = "one-channel-silent, answers.fuel-flow-look: no engine that has it has the check `fuel-flow-look`"
    assert told(base) == [at(base, COMPLAINTS, "answers:", message)]


def test_a_sign_that_asks_for_a_channel_in_vain(base: Base) -> None:
    base.write(SIGNS, SIGN.replace("    says", "    asks_channel: true\n    says"))
    message = "dry-tailpipe, asks_channel: asks which channel, but none of the checks that it answers is per channel"
    assert told(base) == [at(base, SIGNS, "asks_channel", message)]
    base.swap(SIGNS, "{fuel-flow-look: no-flow}", "{fuel-flow-look: no-flow, nut-feel: loose}")
    assert told(base) == []


def test_wording_that_two_share(base: Base) -> None:
    second_engine(base)
    base.write(SIGNS, SIGN.replace("[nothing came out]", "[nothing came out, nothing at one side]"))
    assert told(base) == []
    base.swap(SIGNS, "nothing at one side", "No snap on   one side.")
    message = "dry-tailpipe, says: is a wording of the complaint `one-channel-silent` too"
    assert told(base) == [at(base, SIGNS, "says:", message)]
    only(base, SIGNS, "  dry-tailpipe:", "{starter: air}")
    only(base, COMPLAINTS, "  one-channel-silent:", "{starter: electric}")
    assert told(base) == []
    base.swap(SIGNS, "No snap on   one side.", "Nothing came out!")
    assert told(base) == [at(base, SIGNS, "says:", "dry-tailpipe, says: says the same wording twice")]


def test_a_source_that_only_a_sign_cites(base: Base) -> None:
    base.swap(SOURCES, "sources:\n", "sources:\n  dusty: {title: Dusty, kind: memory}\n")
    base.write(SIGNS, SIGN)
    assert told(base) == [at(base, SOURCES, "dusty", "dusty: nothing cites it")]
    base.swap(SIGNS, "source: [weighed]", "source: [dusty]")
    assert told(base) == []


def test_a_complaint_that_one_engine_cannot_verify(base: Base) -> None:
    second_engine(base)
    base.swap(CHECKS, "    purpose: Hear", "    only: {starter: air}\n    purpose: Hear")
    message = "one-channel-silent, verify: on orrin-t-9, names no start and no spark test: nothing proves the ignition"
    assert at(base, COMPLAINTS, "verify:", message) in told(base)
    only(base, COMPLAINTS, "  one-channel-silent:", "{starter: air}")
    assert not any("nothing proves" in line for line in told(base))


# -- features ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("features", "path", "message"),
    [
        ("{startr: air}", "only.startr", "no engine here has the feature `startr` (did you mean starter?)"),
        (
            "{starter: [air, electrc]}",
            "only.starter",
            "no engine here has `electrc` for `starter` (did you mean electric?)",
        ),
        ("{starter: pneumatic}", "only.starter", "no engine here has `pneumatic` for `starter`; it is air or electric"),
        ("{starter: true}", "only.starter", "no engine here has `true` for `starter`; it is air or electric"),
        ("{starter: air, leads: bare}", "only", "no engine meets all of this at once"),
    ],
)
def test_features_that_no_engine_has(base: Base, features: str, path: str, message: str) -> None:
    second_engine(base)
    base.swap(OTHER, "starter: electric}", "starter: electric, leads: bare}")
    rule(base, "- {fact: case, where: {place: gate}}", only=features)
    assert told(base) == [at(base, MORE, "only:", f"extra, {path}: {message}")]


def test_features_that_some_engine_has(base: Base) -> None:
    second_engine(base)
    for features in ("{starter: [air, electric]}", "{starter: air, inserts: true}", "{inserts: false}"):
        rule(base, "- {fact: case, where: {place: gate}}", only=features)
        assert told(base) == []


def test_features_of_a_fault_and_of_a_line(base: Base) -> None:
    second_engine(base)
    base.swap(ZONES, "      lead-loose:\n", "      lead-loose:\n        only: {starter: [air, electrik, electric]}\n")
    line = "{only: {starter: air}, say: Mind the duct.}"
    base.swap(ACCESS, "open: {do: Put them up.,", f"open: {{do: [Put them up., {line}],")
    base.swap(CHECKS, "    purpose: Find a", "    never: [{only: {starter: ari}, say: Not so.}]\n    purpose: Find a")
    assert told(base) == [
        at(
            base,
            CHECKS,
            "starter: ari",
            "nut-feel, never.only.starter: no engine here has `ari` for `starter` (did you mean air?)",
        ),
        at(
            base,
            ZONES,
            "electrik",
            "channel, modes.lead-loose.only.starter: no engine here has `electrik` for "
            "`starter` (did you mean electric?)",
        ),
    ]
    base.swap(ZONES, "electrik, ", "")
    base.swap(CHECKS, "starter: ari", "starter: air")
    assert told(base) == []
    # A line for an engine that does not have its entry.
    only(base, ACCESS, "  notices:", "{starter: electric}")
    message = "notices, open.do.only.starter: no engine here has `air` for `starter`; it is electric"
    assert at(base, ACCESS, "open: {do: [Put", message) in told(base)


def test_figures_of_what_an_engine_does_not_have(base: Base) -> None:
    second_engine(base)
    base.swap(CHECKS, "    purpose: Find a", "    only: {starter: electric}\n    purpose: Find a")
    message = "halden-hf-3, check_minutes.nut-feel: the profile does not have it, so its minutes are not used"
    assert at(base, ENGINE, "check_minutes", message) in told(base)
    base.swap(ENGINE, "            check_minutes: {nut-feel: 3}\n".replace("            ", "    "), "")
    assert not any(line.startswith(ENGINE) for line in told(base))


def test_a_base_without_engines(base: Base) -> None:
    (base.folder / ENGINE).unlink()
    assert all("engine" not in line for line in told(base)), told(base)

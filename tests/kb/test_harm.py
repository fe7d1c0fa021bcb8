"""Harm that a drill tells: where sound knowledge forgot to say it, and that the shipped knowledge says it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from isolate.kb.check import check
from isolate.kb.load import load
from isolate.kb.model import Rule

if TYPE_CHECKING:
    from conftest import Base

CAUTIONS, RULES, GATE = "cautions/all.yaml", "rules/all.yaml", "rules/gate.yaml"
HARM = "    harm: The hand would have been burnt.\n"
GATE_TEXT = """\
rules:
  lead-waits:
    kind: gate
    says: The lead stays on until the cowls are open.
    when:
      - {fact: about-to, where: {kind: open, move: lead-off}}
      - {absent: {fact: access, where: {name: cowls-open, state: open}}}
    then: {block: lead-off}
    source: [weighed]
"""
GATE_SAYS = "lead-waits, harm: holds a step until something is safe and does not say what going on does"
WAIT_SAYS = "discharge, harm: has a wait and does not say what going on before it is over does"


def told(base: Base) -> list[str]:
    return [str(problem).removeprefix("knowledge/") for problem in check(load(base.folder))]


def say_harm(base: Base, file: str, marker: str) -> None:
    base.swap(file, f"{marker}\n", f"{marker}\n{HARM}")


def test_knowledge_that_says_harm_nowhere_is_for_no_drills(base: Base) -> None:
    base.write(GATE, GATE_TEXT)
    assert told(base) == []


def test_a_gate_that_says_harm_makes_a_wait_without_it_told(base: Base) -> None:
    base.write(GATE, GATE_TEXT)
    say_harm(base, GATE, "    kind: gate")
    (line,) = told(base)
    assert line == f"{CAUTIONS}:{base.line(CAUTIONS, '  discharge:')}: {WAIT_SAYS}"


def test_a_wait_that_says_harm_makes_a_gate_without_it_told(base: Base) -> None:
    base.write(GATE, GATE_TEXT)
    say_harm(base, CAUTIONS, "  discharge:")
    (line,) = told(base)
    assert line.startswith(f"{GATE}:{base.line(GATE, '  lead-waits:')}: {GATE_SAYS}")
    say_harm(base, GATE, "    kind: gate")
    assert told(base) == []


@pytest.mark.parametrize(
    "condition",
    [
        "{absent: {fact: person, where: {authority: licensed}}}",
        "{fact: case, where: {place: gate, people: {at-most: 1}}}",
        "{any: [{fact: case, where: {place: gate}}, {absent: {fact: person, where: {authority: licensed}}}]}",
        "{fact: motored, where: {count: {at-least: 3}}}",
    ],
)
def test_a_gate_on_who_is_here_or_on_the_operators_limits_only_refuses(base: Base, condition: str) -> None:
    say_harm(base, CAUTIONS, "  discharge:")
    base.write(GATE, GATE_TEXT.replace("{absent: {fact: access, where: {name: cowls-open, state: open}}}", condition))
    assert told(base) == []


@pytest.mark.parametrize(
    "condition",
    [
        "{any: [{fact: case, where: {place: gate}}, {fact: access, where: {name: notices, state: {is-not: open}}}]}",
        "{absent: {fact: confirmed, where: {caution: discharge}}}",
        "{absent: {fact: answer, where: {check: fuel-flow-look}}}",
    ],
)
def test_a_gate_that_also_rests_on_what_is_safe_says_it(base: Base, condition: str) -> None:
    say_harm(base, CAUTIONS, "  discharge:")
    gate = GATE_TEXT.replace("{absent: {fact: access, where: {name: cowls-open, state: open}}}", condition)
    base.write(GATE, gate)
    assert [line for line in told(base) if GATE_SAYS in line]
    say_harm(base, GATE, "    kind: gate")
    assert not [line for line in told(base) if GATE_SAYS in line]


def test_harm_that_no_drill_would_tell(base: Base) -> None:
    say_harm(base, CAUTIONS, "  discharge:")
    base.swap(RULES, "  warn-of-energy:\n    kind: caution\n", f"  warn-of-energy:\n    kind: caution\n{HARM}")
    say_harm(base, CAUTIONS, "  spark-near-fuel:")
    rule, caution = told(base)[::-1]
    line = base.read(RULES).splitlines().index("    kind: caution") + 2
    assert rule == f"{RULES}:{line}: warn-of-energy, harm: is told of gates only, and this rule is none"
    assert caution.startswith(f"{CAUTIONS}:{base.line(CAUTIONS, '  spark-near-fuel:') + 1}: spark-near-fuel, harm: is ")
    assert caution.endswith("told only where a wait is not over, and this caution has none")


# -- the shipped knowledge -------------------------------------------------------------------------

KNOWLEDGE = load().knowledge
GATES = {name: rule for name, rule in KNOWLEDGE.rules.items() if rule.kind == "gate"}
PIECE = ("missing-piece-no-motoring", "missing-piece-no-start", "missing-piece-no-firing-inside")
"""Gates on what was found, whatever step is about to be done, that keep harm off."""


def about_a_step(rule: Rule) -> bool:
    return any(pattern.fact == "about-to" for pattern in rule.when)


@pytest.mark.parametrize("name", GATES)
def test_a_shipped_gate_says_the_harm_that_it_keeps_off_and_no_other_does(name: str) -> None:
    """Who is here, what is at hand and the operator's limits only refuse."""
    assert bool(GATES[name].harm) == (about_a_step(GATES[name]) or name in PIECE)


def copies(gates: dict[str, Rule]) -> list[list[str]]:
    """Gates that differ only in the step that they are about: a common tag of those steps makes one of them."""
    alike: dict[str, list[str]] = {}
    for name, rule in gates.items():
        if about_a_step(rule):
            rest = [pattern.model_dump_json() for pattern in rule.when if pattern.fact != "about-to"]
            alike.setdefault(f"{rule.harm} {sorted(rest)}", []).append(name)
    return [names for names in alike.values() if len(names) > 1]


def test_no_gate_is_a_copy_of_another() -> None:
    assert copies(GATES) == []
    told = next(rule for name, rule in GATES.items() if name == "supply-work-needs-breakers")
    where = {"kind": "repair", "move": "replace-switch"}
    other = [p.model_copy(update={"where": where}) if p.fact == "about-to" else p for p in told.when]
    again = {**GATES, "switch-needs-breakers": told.model_copy(update={"when": other})}
    assert copies(again) == [["supply-work-needs-breakers", "switch-needs-breakers"]]


HARMS = {name: harm for name, rule in GATES.items() if (harm := rule.harm)}
HARMS |= {name: harm for name, caution in KNOWLEDGE.cautions.items() if (harm := caution.harm)}


@pytest.mark.parametrize("name", HARMS)
def test_harm_is_one_or_two_plain_sentences(name: str) -> None:
    """Short enough to be read at once; no figure that could be taken for a maker's, no blank that nobody fills."""
    harm = HARMS[name]
    assert 1 <= harm.count(". ") + harm.endswith(".") <= 2
    assert harm[-1] == "." and len(harm) <= 260
    assert not any(char.isdigit() or char in "{}$" for char in harm)


def test_every_wait_of_the_shipped_knowledge_says_its_harm() -> None:
    waits = {name for name, caution in KNOWLEDGE.cautions.items() if caution.wait}
    assert waits and waits == {name for name, caution in KNOWLEDGE.cautions.items() if caution.harm}

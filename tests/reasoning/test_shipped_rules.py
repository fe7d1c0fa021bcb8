"""Every rule that is shipped, in a case where it fires and in one where it nearly does.

Outside source: none publishes these rules as rules. What they say is common practice and the sources
named beside each in knowledge/rules; the cases below check that a rule means what it says.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import FACTS, Knowledge, Pattern, Scalar
from isolate.reasoning.rules import Fact, Firing, RuleBook, asks, fact

KNOWLEDGE: Knowledge = load().knowledge
BOOK = RuleBook(KNOWLEDGE.rules)
FITTED: dict[str, Fitted] = {engine: fit(KNOWLEDGE, engine) for engine in KNOWLEDGE.engines}
BOOKS = {engine: RuleBook(one.rules) for engine, one in FITTED.items()}


def answer(check: str, outcome: str, channel: str = "", count: int = 1) -> Fact:
    return fact("answer", check=check, channel=channel, outcome=outcome, count=count)


def spark(a: str, b: str = "") -> list[Fact]:
    return [answer("spark-test", outcome, letter) for letter, outcome in (("A", a), ("B", b)) if outcome]


def alone(a: str, b: str = "") -> list[Fact]:
    return [answer("start-alone", outcome, letter) for letter, outcome in (("A", a), ("B", b)) if outcome]


def access(name: str, state: str = "open", channel: str = "") -> Fact:
    return fact("access", name=name, channel=channel, state=state)


def step(move: str, kind: str, channel: str = "", *tags: str) -> list[Fact]:
    return [fact("about-to", move=move, kind=kind, channel=channel, tag=tag) for tag in tags or ("",)]


def case(**slots: Scalar) -> Fact:
    told: dict[str, Scalar] = {"engine": "halden-hf-3", "complaint": "no-light-off", "place": "gate"}
    told |= {"condition": "steady", "now": "steady", "selection": "alternate", "people": 2, "spent": 0}
    return fact("case", **{**told, **slots})


def suspect(mode: str, part: str, percent: float, channel: str = "A", rank: int = 1, zone: str = "channel") -> Fact:
    return fact("suspect", mode=mode, channel=channel, part=part, zone=zone, percent=percent, rank=rank)


def pattern(kind: str, channel: str = "", count: int = 2) -> Fact:
    return fact("pattern", kind=kind, channel=channel, count=count)


def swapped(part: str, channel: str, to: str, back: bool) -> Fact:
    return fact("swapped", part=part, channel=channel, to=to, back=back)


def repaired(repair: str, channel: str = "", count: int = 1) -> Fact:
    return fact("repaired", repair=repair, channel=channel, count=count)


def again(repair: str, channel: str, complaint: str, days: int = 0, shop: str = "") -> Fact:
    return fact("earlier", repair=repair, channel=channel, complaint=complaint, days=days, times=1, shop=shop)


def feature(name: str, value: Scalar) -> Fact:
    return fact("feature", name=name, value=value)


def start(channel: str, lit: bool) -> Fact:
    return fact("start", number=1, channel=channel, lit=lit)


def may(authority: str) -> Fact:
    return fact("person", authority=authority)


AIR = fact("at-hand", item="air")
METER = fact("at-hand", item="meter")
FAULT_A = fact("channel-fault", channel="A", percent=40)
PASSED, FAILED = fact("verified", result="passed"), fact("verified", result="failed")
CLASH = "Spark test, channel A: Silent; Start on channel A alone: Lights"
HIGH = fact("surprise", level="high", answers=CLASH, doubted=0)
LOW = fact("surprise", level="low", answers="", doubted=0)
DOUBTED = fact("surprise", level="high", answers=CLASH, doubted=1)
FAILED_START = fact("start", number=1, channel="A", lit=False)
LIT_START = fact("start", number=1, channel="A", lit=True)
COOL = access("cool-enough")
POWER = fact("at-hand", item="ground-power")
BY_HAND = case(engine="orrin-t-9", selection="by-hand")
CHANNELS = [access("lead-off", "shut", letter) for letter in "AB"]
SPARK = step("spark-test", "check", "A", "spark")
MOTOR = step("dry-motored", "open", "", "motoring")
START = step("start-alone", "check", "A", "engine-run", "fuel")
COWLS = step("cowls-open", "open", "", "aloft")
PANELS = step("cowl-panels-open", "open", "", "aloft", "hands-in")
CORE_PANEL = step("core-panel-open", "open", "", "reverser", "hands-in")
HEADS = step("heads-counted", "open")
QUIET = [access("heads-counted"), access("fire-cover")]
LEAD_OFF = step("lead-off", "open", "A", "hands-in", "high-voltage", "lead-work", "heat")
PLUG_OUT = step("plug-out", "open", "A", "hands-in", "plug-work", "heat")
NEW_PLUG = step("replace-igniter", "repair", "A", "hands-in", "plug-work", "heat")
BROKEN = answer("plug-tip-look", "broken", "A")
NO_PIECE = answer("plug-hole-borescope", "clean", "A")

BOTH_TOUCHED = [repaired("replace-igniter", "A"), repaired("replace-lead", "B"), *CHANNELS]

CASES: dict[str, tuple[list[Fact], list[Fact]]] = {
    # -- findings
    "alternate-starts-fail": ([pattern("alternate-fails", "A")], [pattern("some-fail", "A")]),
    "one-channel-starts-fail": ([pattern("one-channel-fails", "B")], [pattern("alternate-fails", "B")]),
    "no-light-alone": (alone("no-light"), alone("late")),
    "every-start-fails": ([pattern("all-fail", count=2)], [pattern("all-fail", count=1)]),
    "channel-silent": (spark("silent"), spark("weak")),
    "channel-weak": (spark("weak"), spark("snaps")),
    "channel-late": (alone("late", "lights"), alone("late", "late")),
    "both-late": (alone("late", "late"), alone("late", "lights")),
    "both-silent": (spark("silent", "silent"), spark("silent", "weak")),
    "both-snap": (spark("snaps", "snaps"), spark("snaps", "weak")),
    "silent-not-plug-alone": (spark("silent", "snaps"), spark("silent", "silent")),
    "channels-crossed": (spark("other-channel"), spark("silent")),
    "both-silent-one-box": (spark("silent", "silent"), spark("silent", "snaps")),
    "one-silent-one-box": (spark("silent", "weak"), spark("silent", "silent")),
    "fires-and-does-not-light": (
        [*spark("snaps", "snaps"), pattern("all-fail", count=1)],
        [*spark("snaps", "snaps"), *alone("no-light", "late")],
    ),
    "neither-lights-alone": (alone("no-light", "no-light"), alone("no-light", "late")),
    "both-selected-hides": (
        [BY_HAND, start("both", True)],
        [case(selection="alternate"), start("both", True)],
    ),
    "one-channel-always-selected": (
        [BY_HAND, start("1", True), fact("start", number=2, channel="1", lit=False)],
        [BY_HAND, start("1", True), fact("start", number=2, channel="2", lit=True)],
    ),
    "never-lit-alone": (
        [case(selection="alternate"), pattern("never-alone", "B")],
        [BY_HAND, pattern("never-alone", "B")],
    ),
    "tip-burnt": ([answer("plug-tip-look", "burnt", "A")], [answer("plug-tip-look", "worn", "A")]),
    "compound-not-as-called": (
        [answer("compound-look", "not-as-called", "A")],
        [answer("compound-look", "as-called", "A")],
    ),
    "fades-hot": ([answer("exciter-hot-test", "fades", "A")], [answer("exciter-hot-test", "holds", "A")]),
    "channel-touched": (
        [swapped("lead", "A", "B", back=True), access("lead-off", "shut", "A"), access("lead-off", "shut", "B")],
        [repaired("replace-control-unit"), *CHANNELS],
    ),
    "both-channels-touched": (
        [access("plug-out", "unknown", "A"), repaired("replace-igniter", "B"), *CHANNELS],
        [access("plug-out", "unknown", "A"), repaired("replace-igniter", "A"), *CHANNELS],
    ),
    "piece-missing": ([BROKEN], [BROKEN, NO_PIECE]),
    # -- step gates
    "spark-needs-dry-motor": (
        [*SPARK, access("dry-motored", "unknown")],
        [*SPARK, access("dry-motored", "open")],
    ),
    "spark-needs-heads-counted": (
        [*SPARK, access("heads-counted", "unknown")],
        [*SPARK, access("heads-counted", "open")],
    ),
    "no-spark-while-apart": (
        [*SPARK, access("lead-off", "unknown", "B")],
        [*SPARK, access("lead-off", "shut", "B")],
    ),
    "no-spark-with-halves-open": (
        [*SPARK, access("reverser-open", "open")],
        [*SPARK, access("reverser-open", "shut"), access("cowls-open", "open")],
    ),
    "spark-needs-drained": (
        [*SPARK, access("dry-motored"), access("drained", "unknown")],
        [*SPARK, access("dry-motored"), access("drained")],
    ),
    "spark-needs-fuelling-stopped": (
        [*SPARK, access("fuelling-stopped", "unknown")],
        [*SPARK, access("fuelling-stopped")],
    ),
    "breakers-need-notices": (
        [*step("breakers-pulled", "open"), access("notices", "unknown")],
        [*step("breakers-pulled", "open"), access("notices")],
    ),
    "cowls-need-wind": (
        [*PANELS, access("wind-checked", "unknown"), access("prop-clear")],
        [*PANELS, access("wind-checked"), access("prop-clear")],
    ),
    "cowls-need-movables": (
        [*COWLS, access("movables-safe", "unknown"), access("wind-checked")],
        [*COWLS, access("movables-safe"), access("wind-checked")],
    ),
    "panels-need-propeller-restrained": (
        [*PANELS, access("prop-clear", "unknown")],
        [*PANELS, access("prop-clear")],
    ),
    "hands-in-need-tools-listed": (
        [*step("input-off", "open", "A", "hands-in"), access("tools-listed", "unknown")],
        [*step("input-off", "open", "A", "hands-in"), access("tools-listed")],
    ),
    "hands-in-needs-breakers": (
        [*LEAD_OFF, access("breakers-pulled", "unknown")],
        [*LEAD_OFF, access("breakers-pulled", "open")],
    ),
    "lead-needs-input-off": (
        [*LEAD_OFF, access("input-off", "open", "B"), access("input-off", "unknown", "A")],
        [*LEAD_OFF, access("input-off", "open", "A")],
    ),
    "cooled-lead-needs-air-off": (
        [*LEAD_OFF, access("cooling-air-off", "open", "B")],
        [*LEAD_OFF, access("cooling-air-off", "open", "A")],
    ),
    "core-panel-needs-sleeve-pinned": (
        [*CORE_PANEL, access("reverser-deactivated", "unknown")],
        [*CORE_PANEL, access("reverser-deactivated")],
    ),
    "hot-engine-hands-wait": (
        [*LEAD_OFF, access("cool-enough", "unknown")],
        [*LEAD_OFF, COOL],
    ),
    "hot-engine-plug-waits": ([*PLUG_OUT, access("cool-enough", "shut")], [*PLUG_OUT, COOL]),
    "box-input-back-after-leads": (
        [*step("box-input-off", "close"), access("lead-off", "unknown", "2")],
        [*step("box-input-off", "close"), access("lead-off", "shut", "2")],
    ),
    "propeller-released-after-panels": (
        [*step("prop-clear", "close", "", "propeller"), access("cowl-panels-open", "unknown")],
        [*step("prop-clear", "close", "", "propeller"), access("cowl-panels-open", "shut")],
    ),
    "doors-shut-after-tools": (
        [*step("cowls-open", "close", "", "aloft"), access("tools-listed", "unknown")],
        [*step("cowls-open", "close", "", "aloft"), access("tools-listed", "shut")],
    ),
    "heads-need-zones": ([*HEADS, access("hazard-zones", "unknown")], [*HEADS, access("hazard-zones")]),
    "motoring-needs-heads-counted": ([*MOTOR, access("heads-counted")], [*MOTOR, *QUIET]),
    "start-needs-heads-counted": (
        [*START, access("heads-counted", "unknown"), access("fire-cover")],
        [*START, *QUIET],
    ),
    "plug-needs-lead-off": (
        [*PLUG_OUT, access("lead-off", "open", "B")],
        [*PLUG_OUT, access("lead-off", "open", "A")],
    ),
    "insulation-needs-both-ends-off": (
        [*step("lead-insulation", "check", "A"), access("lead-off", "open", "A")],
        [
            *step("lead-insulation", "check", "A"),
            access("lead-off", "open", "A"),
            access("lead-off-exciter", "open", "A"),
        ],
    ),
    # -- step gates: before hands, while power is back, putting back, before it turns (harm said in a drill)
    "movables-need-notices": (
        [*step("movables-safe", "open"), access("notices", "unknown")],
        [*step("movables-safe", "open"), access("notices")],
    ),
    "hands-in-need-starter-off": (
        [*LEAD_OFF, access("air-on", "unknown")],
        [*LEAD_OFF, access("air-on", "shut")],
    ),
    "cowls-need-air-off": ([*COWLS, access("air-on")], [*COWLS, access("air-on", "shut")]),
    "reverser-needs-movables-and-air-off": (
        [*step("reverser-deactivated", "open", "", "reverser"), access("movables-safe"), access("air-on")],
        [*step("reverser-deactivated", "open", "", "reverser"), access("movables-safe"), access("air-on", "shut")],
    ),
    "restraint-needs-power-off": (
        [*step("prop-clear", "open", "", "propeller"), access("notices"), access("ground-power-on", "unknown")],
        [*step("prop-clear", "open", "", "propeller"), access("notices"), access("ground-power-on", "shut")],
    ),
    "valve-look-needs-air-off": (
        [*step("start-valve-look", "check"), access("notices", "unknown")],
        [*step("start-valve-look", "check"), access("notices"), access("air-on", "shut")],
    ),
    "drains-need-notices": (
        [*step("tailpipe-look", "check", "", "fuel"), access("notices", "shut")],
        [*step("tailpipe-look", "check", "", "fuel"), access("notices")],
    ),
    "hands-at-channel-need-input-off": (
        [*NEW_PLUG, *CHANNELS, access("input-off", "open", "B")],
        [*NEW_PLUG, *CHANNELS, access("input-off", "open", "A")],
    ),
    "hands-at-exciters-need-inputs-off": (
        [*step("correct-connections", "repair", "", "hands-in", "exciter-work"), access("input-off", "unknown", "B")],
        [*step("correct-connections", "repair", "", "hands-in", "exciter-work"), access("input-off", "open", "B")],
    ),
    "exciter-look-needs-breakers": (
        [*step("exciter-mount-look", "check", "A", "aloft", "exciter-work"), access("breakers-pulled", "unknown")],
        [*step("exciter-mount-look", "check", "A", "aloft", "exciter-work"), access("breakers-pulled")],
    ),
    "exciter-needs-lead-off": (
        [*step("replace-exciter", "repair", "A", "exciter-work"), access("lead-off-exciter", "open", "B")],
        [*step("replace-exciter", "repair", "A", "exciter-work"), access("lead-off-exciter", "open", "A")],
    ),
    "both-outputs-need-leads-off": (
        [*step("exciter-swap-test", "check", "", "exciter-work"), access("lead-off-exciter", "shut", "B")],
        [*step("exciter-swap-test", "check", "", "exciter-work"), access("lead-off-exciter", "open", "B")],
    ),
    "sleeve-needs-input-off": (
        [*step("cooling-air-off", "open", "A", "lead-work"), access("input-off", "open", "B")],
        [*step("cooling-air-off", "open", "A", "lead-work"), access("input-off", "open", "A")],
    ),
    "feed-reading-needs-lead-on": (
        [*step("feeder-volts", "check", "A", "hands-in"), access("lead-off", "unknown", "A")],
        [*step("feeder-volts", "check", "A", "hands-in"), access("lead-off", "unknown", "B")],
    ),
    "box-reading-needs-leads-on": (
        [*step("box-input-volts", "check"), access("lead-off", "open", "2")],
        [*step("box-input-volts", "check"), access("lead-off", "shut", "2")],
    ),
    "selector-reading-needs-box-dead": (
        [*step("selector-volts", "check", "1"), access("box-input-off", "unknown")],
        [*step("selector-volts", "check", "1"), access("box-input-off")],
    ),
    "ignition-command-needs-breakers": (
        [*step("lane-test", "check", "", "ignition-command"), access("breakers-pulled", "unknown")],
        [*step("lane-test", "check", "", "ignition-command"), access("breakers-pulled")],
    ),
    "supply-work-needs-breakers": (
        [*step("replace-switch", "repair", "A", "supply-work"), access("breakers-pulled", "unknown")],
        [*step("replace-switch", "repair", "A", "supply-work"), access("breakers-pulled")],
    ),
    "wet-motor-needs-breakers": (
        [*step("wet-motor-flow", "check", "", "motoring", "fuel"), access("breakers-pulled", "unknown")],
        [*step("wet-motor-flow", "check", "", "motoring", "fuel"), access("breakers-pulled")],
    ),
    "notices-down-last": (
        [*step("notices", "close"), access("breakers-pulled", "unknown")],
        [*step("notices", "close"), access("breakers-pulled", "shut")],
    ),
    "movables-back-after-cowls": (
        [*step("movables-safe", "close"), access("cowls-open", "unknown")],
        [*step("movables-safe", "close"), access("cowls-open", "shut")],
    ),
    "doors-shut-after-leads": (
        [*step("reverser-open", "close", "", "hands-in"), access("lead-off", "unknown", "B")],
        [*step("reverser-open", "close", "", "hands-in"), access("lead-off", "shut", "B")],
    ),
    "tools-out-last": (
        [*step("tools-listed", "close"), access("input-off", "unknown", "A")],
        [*step("tools-listed", "close"), access("input-off", "shut", "A")],
    ),
    "supply-returns-after-leads": (
        [*step("restore-standby", "repair", "", "supply-returns"), access("lead-off", "unknown", "B")],
        [*step("restore-standby", "repair", "", "supply-returns"), access("lead-off", "shut", "B")],
    ),
    "breaker-reset-after-leads": (
        [*step("reset-breaker", "repair", "A"), access("lead-off", "unknown", "A")],
        [*step("reset-breaker", "repair", "A"), access("lead-off", "unknown", "B"), access("cowls-open")],
    ),
    "air-needs-hands-out": (
        [*step("air-on", "open"), access("hazard-zones"), access("reverser-open", "unknown")],
        [*step("air-on", "open"), access("hazard-zones"), access("reverser-open", "shut")],
    ),
    "power-needs-hands-out": (
        [*step("ground-power-on", "open"), access("hazard-zones"), access("prop-clear")],
        [*step("ground-power-on", "open"), access("hazard-zones"), access("prop-clear", "shut")],
    ),
    "zones-stay-marked": (
        [*step("hazard-zones", "close"), access("air-on", "unknown")],
        [*step("hazard-zones", "close"), access("air-on", "shut")],
    ),
    "no-start-under-tags": (
        [*START, *QUIET, access("notices", "unknown")],
        [*START, *QUIET, access("notices", "shut")],
    ),
    "halves-need-reverser-deactivated": (
        [*step("reverser-open", "open", "", "reverser"), access("reverser-deactivated", "unknown")],
        [*step("reverser-open", "open", "", "reverser"), access("reverser-deactivated", "open")],
    ),
    "reverser-back-after-halves": (
        [*step("reverser-deactivated", "close", "", "reverser"), access("reverser-open", "unknown")],
        [*step("reverser-deactivated", "close", "", "reverser"), access("reverser-open", "shut")],
    ),
    "breakers-back-after-leads": (
        [*step("breakers-pulled", "close"), access("input-off", "unknown", "B")],
        [*step("breakers-pulled", "close"), *CHANNELS],
    ),
    "input-back-after-leads": (
        [*step("input-off", "close", "A"), access("lead-off-exciter", "open", "A")],
        [*step("input-off", "close", "A"), access("lead-off-exciter", "open", "B")],
    ),
    "no-motoring-while-apart": (
        [*MOTOR, access("plug-out", "open", "A")],
        [*MOTOR, access("plug-out", "shut", "A"), access("cowls-open", "open")],
    ),
    "no-start-while-apart": (
        [*START, access("reverser-open", "unknown")],
        [*START, access("reverser-open", "shut")],
    ),
    # -- standing gates
    "nobody-to-motor": ([may("licensed"), may("engine-run")], [may("motoring")]),
    "nobody-to-run": ([may("licensed"), may("motoring")], [may("engine-run")]),
    "nobody-licensed-for-reverser": ([may("motoring")], [may("licensed")]),
    "no-run-at-this-gate": (
        [case(place="gate"), feature("engine-run-at-gate", False)],
        [case(place="hangar"), feature("engine-run-at-gate", False)],
    ),
    "no-air-to-connect": ([METER], [AIR]),
    "no-air-no-dry-motor": ([METER], [AIR]),
    "no-air-no-start": ([METER], [AIR]),
    "no-power-no-dry-motor": ([AIR], [AIR, POWER]),
    "no-power-no-start": ([METER], [POWER]),
    "alone-no-motoring": ([case(people=1)], [case(people=2)]),
    "alone-no-spark": ([case(people=1)], [case(people=2)]),
    "alone-no-reverser": ([case(people=1)], [case(people="")]),
    "missing-piece-no-motoring": ([BROKEN, answer("plug-hole-borescope", "ferrule", "A")], [BROKEN, NO_PIECE]),
    "missing-piece-no-start": ([BROKEN, answer("plug-hole-borescope", "clean", "B")], [BROKEN, NO_PIECE]),
    "alone-no-firing-inside": ([case(people=1)], [case(people=2)]),
    "nobody-to-motor-for-firing": ([may("licensed"), may("engine-run")], [may("motoring")]),
    "no-air-no-firing-inside": ([METER], [AIR]),
    "no-power-no-firing-inside": ([METER], [POWER]),
    "no-changing-over-while-both-suspect": (spark("silent", "silent"), spark("silent", "snaps")),
    "missing-piece-no-firing-inside": ([BROKEN, answer("plug-hole-borescope", "clean", "B")], [BROKEN, NO_PIECE]),
    # -- cautions
    "drain-before-spark": (SPARK, MOTOR),
    "wet-before-spark": ([case(now="wet"), *SPARK], [case(now="wet"), *MOTOR]),
    "one-lever-before-spark": (SPARK, MOTOR),
    "failed-start-before-start": (
        [answer("start-alone", "no-light", "B"), *START],
        [answer("start-alone", "late", "B"), *START],
    ),
    "crews-failed-start-before-start": ([FAILED_START, *START], [FAILED_START, *alone("", "lights"), *START]),
    "vapour-seen-before-spark": (
        [answer("tailpipe-look", "vapour"), *SPARK],
        [answer("tailpipe-look", "dry"), *SPARK],
    ),
    "propeller-before-motoring": (MOTOR, SPARK),
    "failed-start-before-motoring": ([FAILED_START, *MOTOR], [LIT_START, *MOTOR]),
    "fuel-on-before-spark": (
        [answer("wet-motor-flow", "prompt"), *SPARK],
        [answer("tailpipe-look", "vapour"), *SPARK],
    ),
    "heat-soak-before-hands": (NEW_PLUG, PLUG_OUT),
    "hot-parts-before-hands": ([case(condition="cold"), *PLUG_OUT], [case(condition="hot"), *SPARK]),
    "roof-before-it-turns": ([case(place="hangar"), *MOTOR], [case(place="gate"), *MOTOR]),
    "closing-up-while-it-may-turn": (
        [access("air-on", "unknown"), *step("cowls-open", "close", "", "aloft")],
        [access("air-on", "shut"), *step("cowls-open", "close", "", "aloft")],
    ),
    "motoring-again": ([fact("motored", count=1), *MOTOR], [fact("motored", count=0), *MOTOR]),
    "crew-cranks-count": ([FAILED_START, *START], [FAILED_START, *SPARK]),
    "second-channel-opened": (
        [*LEAD_OFF, access("lead-off", "open", "B"), access("lead-off", "shut", "A")],
        [*LEAD_OFF, access("lead-off", "open", "A"), access("lead-off", "shut", "B")],
    ),
    "second-channel-repaired": (
        [*NEW_PLUG, repaired("replace-lead", "B"), *CHANNELS],
        [*NEW_PLUG, repaired("replace-control-unit"), *CHANNELS],
    ),
    "last-visit-same-part": (
        [*NEW_PLUG, fact("done", work="replace-igniter", channel="B")],
        [*NEW_PLUG, fact("done", work="replace-lead", channel="B")],
    ),
    "same-part-again": (
        [*NEW_PLUG, again("replace-igniter", "A", "told")],
        [*NEW_PLUG, again("replace-igniter", "A", "other"), again("replace-igniter", "B", "same")],
    ),
    "insert-under-plug": (PLUG_OUT, LEAD_OFF),
    "no-compound-here": (PLUG_OUT, LEAD_OFF),
    "compound-called-for": (PLUG_OUT, SPARK),
    "plain-boss-under-plug": (PLUG_OUT, LEAD_OFF),
    "cooled-lead-handled": (LEAD_OFF, PLUG_OUT),
    "leave-the-surface": (PLUG_OUT, SPARK),
    "inspection-before-doors": (
        [*BOTH_TOUCHED, *step("core-panel-open", "close", "", "reverser")],
        [*BOTH_TOUCHED, *step("core-panel-open", "open", "", "reverser")],
    ),
    "same-work-on-both-engines": (
        [answer("same-hands-ask", "together"), *NEW_PLUG],
        [answer("same-hands-ask", "separate"), *NEW_PLUG],
    ),
    "supplies-before-hands": (LEAD_OFF, SPARK),
    "dead-is-not-discharged": ([*spark("silent"), *LEAD_OFF], [*spark("snaps", "silent"), *LEAD_OFF]),
    # -- conflicts
    "snaps-though-starts-fail": (
        [pattern("alternate-fails", "A"), *spark("snaps")],
        [pattern("alternate-fails", "A"), *spark("silent", "snaps")],
    ),
    "alternate-yet-both-silent": (
        [pattern("alternate-fails", "A"), *spark("silent", "silent")],
        [pattern("all-fail"), *spark("silent", "silent")],
    ),
    "silent-is-the-other-one": (
        [pattern("alternate-fails", "A"), *spark("snaps", "silent")],
        [pattern("alternate-fails", "B"), *spark("snaps", "silent")],
    ),
    "lights-though-silent": ([*alone("late"), *spark("silent")], [*alone("no-light", "lights"), *spark("silent")]),
    "snaps-though-unfed": (
        [answer("feeder-volts", "absent", "A"), *spark("weak")],
        [answer("feeder-volts", "absent", "B"), *spark("weak")],
    ),
    "written-up-yet-heard": (
        [case(complaint="one-channel-silent"), *spark("snaps", "snaps")],
        [case(complaint="one-channel-silent"), *spark("snaps", "silent")],
    ),
    "crossed-counts-wrong": (
        [*spark("other-channel"), pattern("alternate-fails", "B")],
        [*spark("other-channel"), pattern("some-fail", "B")],
    ),
    "alternates-by-itself": (
        [BY_HAND, pattern("alternate-fails", "1")],
        [BY_HAND, pattern("some-fail")],
    ),
    "one-box-fires-unfed": (
        [answer("box-input-volts", "neither"), *spark("snaps")],
        [answer("box-input-volts", "neither"), *spark("silent")],
    ),
    "nothing-known-explains-it": ([HIGH], [LOW]),
    # -- escalations
    "still-unexplained-after-checking-again": (
        [DOUBTED, answer("spark-test", "silent", "A")],
        [HIGH, answer("spark-test", "silent", "A")],
    ),
    "unexplained-after-repair": ([HIGH, FAILED], [LOW, FAILED]),
    "same-repair-failed-twice": (
        [repaired("replace-igniter", "A", 2), FAILED],
        [repaired("replace-igniter", "A", 1), repaired("replace-igniter", "B", 1), FAILED],
    ),
    "insert-moved": ([answer("insert-look", "turned", "A")], [answer("insert-look", "thread-bad", "A")]),
    "boss-thread-torn": ([answer("boss-look", "thread-bad", "A")], [answer("boss-look", "dirty", "A")]),
    "both-engines-limit": (
        [answer("same-hands-ask", "together"), repaired("replace-igniter", "A"), *CHANNELS],
        [answer("same-hands-ask", "together"), repaired("replace-control-unit"), *CHANNELS],
    ),
    "not-ignition-to-its-owner": (
        [*alone("no-light", "no-light"), FAILED],
        [*alone("no-light", "lights"), FAILED],
    ),
    "stop-for-a-missing-piece": ([BROKEN], [answer("plug-tip-look", "worn", "A")]),
    "cranks-run-down": ([fact("motored", count=3)], [fact("motored", count=2)]),
    "time-for-the-operator-to-decide": ([case(minutes_left=30)], [case(minutes_left=30), PASSED]),
    "nobody-licensed": ([may("motoring"), may("engine-run")], [may("licensed")]),
    "shared-and-repairs-failing": (
        [*spark("silent", "silent"), repaired("replace-exciter", "A"), FAILED],
        [*spark("silent", "silent"), repaired("replace-exciter", "A"), PASSED],
    ),
    # -- verdicts
    "part-named": ([suspect("lead-open", "lead", 90)], [suspect("lead-open", "lead", 89.9)]),
    "shared-part-named": (
        [suspect("supply-lost", "supply", 95, "", zone="shared")],
        [suspect("supply-lost", "supply", 95, "", zone="shared"), HIGH],
    ),
    "not-ignition": (
        [suspect("no-fuel", "fuel", 92, "", zone="engine")],
        [suspect("no-fuel", "fuel", 92, "", rank=2, zone="engine")],
    ),
    "verified": ([PASSED], [FAILED]),
    "not-verified": ([FAILED], [PASSED]),
    "nothing-found": (alone("lights", "lights"), [*alone("lights", "lights"), repaired("clean-seat", "A")]),
    "one-channel-left": (
        [*alone("", "lights"), *spark("silent")],
        [*alone("lights", "lights"), *spark("silent")],
    ),
    "both-fire-not-ignition": (
        [*spark("snaps", "snaps"), pattern("all-fail"), suspect("no-fuel", "fuel", 80, "", zone="engine")],
        [*spark("snaps", "snaps"), pattern("all-fail"), suspect("no-fuel", "fuel", 95, "", zone="engine")],
    ),
    # -- advice
    "do-not-swap-leads": (spark("silent", "silent"), spark("silent", "snaps")),
    "do-not-swap-between-engines": (
        [suspect("exciter-dead", "exciter", 50)],
        [suspect("switch-failed", "switch", 50), suspect("exciter-dead", "exciter", 49, rank=2)],
    ),
    "came-back-after-a-part": (
        [again("replace-lead", "A", "same", 12), FAULT_A],
        [again("replace-lead", "A", "same", 0), again("replace-lead", "A", "other", 12), FAULT_A],
    ),
    "the-part-was-good": (
        [again("replace-lead", "A", "other", 12, "not-confirmed"), FAULT_A],
        [again("replace-lead", "A", "same", 12, "confirmed"), FAULT_A],
    ),
    "wiggle-dead-only": ([suspect("lead-chafed", "lead", 10, rank=3)], [suspect("lead-chafed", "lead", 9.9, rank=3)]),
    "look-at-the-lead": (
        [access("lead-off", "open", "A"), answer("lead-terminal-look", "clean", "B")],
        [access("lead-off", "open", "A"), answer("lead-terminal-look", "clean", "A")],
    ),
    "low-breakout-with-compound": (
        [access("plug-out", "open", "A")],
        [access("plug-out", "shut", "A")],
    ),
    "never-fire-an-open-lead": (
        [suspect("exciter-dead", "exciter", 30), access("lead-off-exciter", "open", "A")],
        [suspect("exciter-dead", "exciter", 30), access("lead-off-exciter", "open", "B")],
    ),
    "cured-by-reseating": ([repaired("seat-lead-nut", "A"), PASSED], [repaired("replace-lead", "A"), PASSED]),
    "silence-is-rarely-the-plug": (
        [*spark("silent"), suspect("igniter-worn", "igniter", 40)],
        [*spark("weak"), suspect("igniter-worn", "igniter", 40)],
    ),
    "a-snap-is-not-a-light": (spark("snaps", "snaps"), [*spark("snaps", "snaps"), *alone("lights")]),
    "deferral-asks": (
        [case(minutes_left=45), *spark("silent", "snaps")],
        [case(minutes_left=45, selection="by-hand"), *spark("silent", "snaps")],
    ),
    "count-by-lane": (
        [pattern("alternate-fails", "A")],
        [pattern("alternate-fails", "A"), answer("starts-by-lane", "not-by-lane")],
    ),
    "aborted-starts-count": (
        [pattern("some-fail")],
        [pattern("some-fail"), pattern("one-channel-fails", "A")],
    ),
    "same-hands-on-both-channels": (
        [fact("done", work="replace-igniter", channel=letter) for letter in "AB"],
        [fact("done", work=work, channel=letter) for work, letter in (("replace-igniter", "A"), ("replace-lead", "B"))],
    ),
    "other-engine-same-hands": ([answer("same-hands-ask", "together")], [answer("same-hands-ask", "separate")]),
    "one-good-hearing-clears-nothing": (
        [case(complaint="intermittent-no-ignite"), *spark("snaps")],
        [case(complaint="intermittent-no-ignite"), *spark("silent")],
    ),
    "never-force-a-plug": ([answer("plug-run-down", "binds", "A")], [answer("plug-run-down", "runs-down", "A")]),
    "closing-has-its-own-list": ([PASSED, access("cowls-open")], [PASSED, access("cowls-open", "shut")]),
    "independent-inspection-before-close": (
        BOTH_TOUCHED,
        [repaired("replace-igniter", "A"), repaired("replace-lead", "A"), *CHANNELS],
    ),
    "deferral-asks-by-hand": (
        [case(minutes_left=45, selection="by-hand"), *spark("silent", "snaps")],
        [case(minutes_left=45), *spark("silent", "snaps")],
    ),
    "deferral-other-not-proven": (
        [case(minutes_left=45), *spark("silent", "snaps"), *alone("lights")],
        [case(minutes_left=45), *spark("silent", "snaps"), *alone("", "lights")],
    ),
    "select-each-alone": (
        [BY_HAND, start("both", True)],
        [BY_HAND, start("both", True), answer("spark-test", "snaps", "1")],
    ),
    "breaker-before-box": (
        spark("silent", "silent"),
        [*spark("silent", "silent"), answer("box-input-volts", "both")],
    ),
    "box-is-good": (
        spark("silent", "snaps"),
        [*spark("silent", "snaps"), answer("outputs-compare", "one-poor")],
    ),
    "look-at-the-cooling": (
        [suspect("lead-aged", "lead", 12, rank=2), answer("cooling-duct-look", "whole", "B")],
        [suspect("lead-aged", "lead", 12, rank=2), answer("cooling-duct-look", "whole", "A")],
    ),
    "plain-boss-by-hand": ([answer("plug-run-down", "binds", "A")], [answer("plug-run-down", "runs-down", "A")]),
    "dry-thread-seizes": (
        [answer("plug-breakout-feel", "high", "A")],
        [answer("plug-breakout-feel", "low", "A")],
    ),
    "measure-the-immersion": (
        [answer("plug-tip-look", "burnt", "A"), answer("immersion-measure", "within", "B")],
        [answer("plug-tip-look", "burnt", "A"), answer("immersion-measure", "within", "A")],
    ),
    "parts-changed-places": (
        [swapped("lead", "A", "B", back=False), swapped("lead", "B", "A", back=False)],
        [swapped("lead", "A", "B", back=True), swapped("lead", "B", "elsewhere", back=False)],
    ),
    "part-went-elsewhere": (
        [swapped("exciter", "A", "elsewhere", back=False)],
        [swapped("exciter", "A", "B", back=False), swapped("exciter", "B", "A", back=False)],
    ),
    "swap-was-evidence": ([answer("lead-swap-test", "stays")], [answer("spark-test", "silent", "A")]),
    "look-beyond-ignition": (
        [pattern("all-fail")],
        [pattern("all-fail"), *spark("silent", "snaps")],
    ),
    "plan-the-heat": (
        [case(now="hot"), suspect("exciter-fails-hot", "exciter", 5, rank=4)],
        [case(condition="hot", now="cold"), suspect("exciter-fails-hot", "exciter", 5, rank=4)],
    ),
    "never-make-it-wet": (
        [case(condition="wet", now="steady"), suspect("lead-tracked", "lead", 10)],
        [case(condition="wet", now="wet"), suspect("lead-tracked", "lead", 40)],
    ),
    "prove-the-shared-first": (
        [pattern("all-fail"), access("cowls-open", "shut")],
        [pattern("all-fail"), access("cowls-open", "open")],
    ),
}
"""Rule → the facts on which it fires, and facts on which it nearly does."""


def shown(name: str, facts: list[Fact]) -> list[Firing]:
    return [one for one in BOOK.run(facts) if one.rule == name]


def test_the_table_covers_every_shipped_rule() -> None:
    assert sorted(CASES) == sorted(KNOWLEDGE.rules)
    standing = [name for name, rule in KNOWLEDGE.rules.items() if not asks(rule, "about-to")]
    assert len(CASES) >= 100
    # The first question waits until the standing rules are built, the first step for those on steps.
    assert len(standing) <= 115
    assert len(CASES) - len(standing) <= 90


@pytest.mark.parametrize("name", CASES)
def test_it_fires(name: str) -> None:
    firings = shown(name, CASES[name][0])
    assert firings
    for one in firings:
        assert "{" not in one.says and "$" not in one.says
        then = KNOWLEDGE.rules[name].then
        assert (one.get("finding"), one.get("block"), one.get("caution")) == (
            then.finding or "",
            then.block or "",
            then.caution or "",
        )
        # A sentence is said once, however many channels stand behind it.
        assert [other.says for other in firings].count(one.says) == 1


@pytest.mark.parametrize("name", CASES)
def test_it_nearly_fires(name: str) -> None:
    assert shown(name, CASES[name][1]) == []


@pytest.mark.parametrize("name", CASES)
def test_the_two_cases_are_near(name: str) -> None:
    """A near miss is about the same kinds of facts, else it would show nothing."""
    fires, nearly = CASES[name]
    assert {one.kind for one in fires} & {one.kind for one in nearly}
    assert fires != nearly


def _literals(one: Pattern) -> Iterator[Pattern]:
    if one.absent is not None:
        yield from _literals(one.absent)
    for inner in one.any or []:
        yield from _literals(inner)
    if one.fact is not None:
        yield one


def _values(test: Any) -> list[Any]:
    """The values that a test wants; ranges and variables want none in particular."""
    if isinstance(test, dict):
        (name, limit), *_ = test.items()
        return list(limit) if name == "one-of" else [limit] if name == "is-not" else []
    return [test]


def _known() -> dict[tuple[str, str], set[Any]]:
    know = KNOWLEDGE
    modes = [(zone, name, mode) for zone, entry in know.zones.items() for name, mode in entry.modes.items()]
    cited = [*know.checks.items(), *know.repairs.items(), *know.access.items()]
    features = {(name, value) for one in know.engines.values() for name, value in one.features.items()}
    findings = {one.then.finding for one in know.rules.values()}
    letters = {letter for one in know.engines.values() for letter in one.channels}
    return {
        ("case", "complaint"): set(know.complaints),
        ("case", "place"): {"gate", "hangar"},
        ("case", "condition"): {"steady", "cold", "hot", "wet", "vibrating", "sagging"},
        ("case", "now"): {"steady", "cold", "hot", "wet", "vibrating", "sagging"},
        ("case", "selection"): {"alternate", "both", "by-hand"},
        # Whether engines run at a gate is a station's rule; no shipped profile forbids it.
        ("feature", "name"): {name for name, _ in features} | {"engine-run-at-gate"},
        ("feature", "value"): {value for _, value in features} | {False},
        ("start", "channel"): letters | {"both", "unknown", ""},
        ("person", "authority"): {name for _, one in cited for name in one.authority},
        ("at-hand", "item"): {name for _, one in cited for name in one.tools},
        ("start", "lit"): {True, False},
        ("pattern", "kind"): {
            *("alternate-fails", "one-channel-fails", "one-lane-fails", "never-alone", "all-fail", "some-fail"),
            "all-light",
        },
        ("done", "work"): set(know.repairs),
        ("earlier", "repair"): set(know.repairs),
        ("earlier", "complaint"): {"same", "other", "told"},
        ("earlier", "shop"): {"confirmed", "not-confirmed", "other", ""},
        ("answer", "check"): set(know.checks),
        ("access", "name"): set(know.access),
        ("access", "state"): {"open", "shut", "unknown"},
        ("confirmed", "caution"): set(know.cautions),
        ("suspect", "mode"): {name for _, name, _ in modes},
        ("suspect", "part"): {mode.part for _, _, mode in modes},
        ("suspect", "zone"): {zone for zone, _, _ in modes},
        ("suspect", "rank"): {1},
        ("surprise", "level"): {"low", "high"},
        ("repaired", "repair"): set(know.repairs),
        ("swapped", "part"): {one.replaces for one in know.repairs.values() if one.replaces},
        ("swapped", "to"): letters | {"elsewhere"},
        ("swapped", "back"): {True, False},
        ("verified", "result"): {"passed", "failed"},
        ("about-to", "move"): {name for name, _ in cited},
        ("about-to", "kind"): {"check", "repair", "open", "close", "verify"},
        ("about-to", "tag"): {tag for _, one in cited for tag in one.tags},
        ("finding", "name"): {name for name in findings if name},
        **{(kind, "channel"): letters | {""} for kind in FACTS if "channel" in FACTS[kind] and kind != "start"},
    }


@pytest.mark.parametrize("name", KNOWLEDGE.rules)
def test_it_asks_only_for_what_can_be(name: str) -> None:
    """A misspelt check, outcome or state would keep a rule silent for ever, or a gate shut."""
    known = _known()
    for pattern_ in (literal for one in KNOWLEDGE.rules[name].when for literal in _literals(one)):
        for slot, test in pattern_.where.items():
            for value in _values(test):
                if isinstance(value, str) and value.startswith("$"):
                    continue
                if (pattern_.fact, slot) == ("answer", "outcome"):
                    checks = _values(pattern_.where["check"])
                    assert all(value in KNOWLEDGE.checks[check].outcomes for check in checks), (checks, value)
                else:
                    assert value in known[str(pattern_.fact), slot], (pattern_.fact, slot, value)


def _needs(names: list[str]) -> set[str]:
    """The access states that these need, directly and through others."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += KNOWLEDGE.access[name].needs
    return found


def test_what_a_step_gate_asks_for_is_what_its_steps_need() -> None:
    """A step that a gate wants something opened for, but that does not need it, could never be offered and done."""
    wanted = {"hands-in": {"breakers-pulled"}, "spark": {"dry-motored", "heads-counted"}}
    for entries in (KNOWLEDGE.checks, KNOWLEDGE.repairs, KNOWLEDGE.access):
        for name, entry in entries.items():
            for tag, states in wanted.items():
                if tag in entry.tags:
                    assert states <= _needs(entry.needs), (name, tag)


APART = ("reverser-open", "core-panel-open", "cowl-panels-open", "lead-off", "lead-off-exciter", "plug-out")
APART += ("input-off", "box-input-off", "cooling-air-off")


@pytest.mark.parametrize("name", APART)
def test_nothing_turns_or_fires_until_it_is_known_to_be_shut(name: str) -> None:
    """After a resume every state is unknown, which a step's own list of what must be shut does not see."""
    ready = ("dry-motored", "drained", "heads-counted", "fire-cover", "fuelling-stopped")
    for engine, book in BOOKS.items():
        if name not in {one.name for one in FITTED[engine].access.values()}:
            continue
        for state, stopped in (("open", True), ("unknown", True), ("shut", False)):
            facts = [access(name, state, "A"), *map(access, ready), AIR, POWER]
            facts += [may(one) for one in ("licensed", "motoring", "engine-run")]
            for move, tag in ((SPARK, "spark"), (MOTOR, "motoring"), (START, "engine-run")):
                blocked = {one.get("block") for one in book.run([*facts, *move]) if one.kind == "gate"}
                assert (tag in blocked) == stopped, (engine, name, state, tag)


def test_an_open_way_in_is_named_for_each_engine() -> None:
    """The list above leaves out nothing that a hand goes in by."""
    for entry in FITTED.values():
        ways = {one.name for one in entry.access.values() if "hands-in" in one.entry.tags}
        assert ways <= set(APART), entry.name


@pytest.mark.parametrize("state", ["open", "unknown"])
def test_a_restrained_propeller_is_not_cranked(state: str) -> None:
    for move, tag in ((MOTOR, "motoring"), (START, "engine-run")):
        blocked = {one.get("block") for one in BOOKS["orrin-t-9"].run([*move, access("prop-clear", state)])}
        assert tag in blocked, tag


FIRES = ("plug-known-good", "lead-swap-test", "exciter-swap-test")
"""Checks that close up, purge and fire between their first line and their last, where no step gate looks."""


@pytest.mark.parametrize(
    "lacking", ["people", "motoring", "air", "power", "piece"], ids=lambda what: f"for want of {what}"
)
def test_a_step_that_fires_inside_is_not_taken_up_where_a_spark_could_not_be(lacking: str) -> None:
    people = [may(one) for one in ("licensed", "motoring", "engine-run") if one != lacking]
    told = [*people, case(people=1 if lacking == "people" else 2)]
    told += [] if lacking == "air" else [AIR]
    told += [] if lacking == "power" else [POWER]
    for engine, book in BOOKS.items():
        if (lacking == "power") != (engine == "orrin-t-9") and lacking in ("air", "power"):
            continue
        channel = FITTED[engine].channels[0]
        missing = [answer("plug-tip-look", "broken", channel)] if lacking == "piece" else []
        ready = [may("motoring"), may("licensed"), case(people=2), AIR, POWER]
        assert "fires" in {f.get("block") for f in book.run([*told, *missing]) if f.kind == "gate"}, engine
        assert "fires" not in {f.get("block") for f in book.run(ready) if f.kind == "gate"}, engine


def test_what_fires_inside_a_step_is_one_pattern() -> None:
    assert {name for name, one in KNOWLEDGE.checks.items() if "fires" in one.tags} == set(FIRES)
    assert not [name for name, one in KNOWLEDGE.repairs.items() if "fires" in one.tags]
    for name in FIRES:
        check = KNOWLEDGE.checks[name]
        # Its hands are in when it begins and when it ends, so no count of heads and no purge may outlive it.
        assert {"hands-in", "high-voltage", "fires"} <= set(check.tags) and "spark" not in check.tags
        assert check.place == ["hangar"] and check.people >= 2 and {"licensed", "motoring"} <= set(check.authority)
        assert not {"drained", "dry-motored", "heads-counted"} & _needs(check.needs)
        # The supplies were on meanwhile: nothing said of them before counts after it.
        assert check.spoils == ["breakers-pulled"]
        first = ["supplies-isolated", "ignition-energy", "ground-structure-first"]
        assert check.cautions[:3] == first and "fires-inside" in check.cautions
        said = " ".join(line for line in check.steps if isinstance(line, str)).lower()
        for words in ("count heads", "dry-motor, drain", "supplies off and tagged", "wait, ground"):
            assert words in said, (name, words)
    asked = {ask.name: ask for ask in KNOWLEDGE.cautions["fires-inside"].asks}
    assert {"commanded-by", "ends-by", "ends", "heads-by", "purged-by", "no-fuelling-by"} <= set(asked)
    assert (asked["ends"].least or 0) >= 4


def test_a_reading_that_brings_power_back_leaves_no_supply_known_to_be_off() -> None:
    """Whoever reads with power on pulls again afterwards; what was said of the breakers before it counts no more."""
    for name, check in KNOWLEDGE.checks.items():
        if "power-returns" in check.cautions and "breakers-pulled" in _needs(check.needs):
            assert "breakers-pulled" in check.spoils, name


@pytest.mark.parametrize("engine", BOOKS)
def test_no_count_of_heads_outlives_hands_at_the_engine(engine: str) -> None:
    """A step with hands in, or its way in, ends the count, and what could turn the engine is off by then."""
    fitted = FITTED[engine]
    counted = {"heads-counted"} | {key for key in ("air-on", "ground-power-on") if key in fitted.access}

    def ends(needs: tuple[str, ...], shut: tuple[str, ...]) -> set[str]:
        found, todo = set(shut), list(needs)
        seen: set[str] = set()
        while todo:
            key = todo.pop()
            if key not in seen:
                seen.add(key)
                one = fitted.access[key]
                # Once open it is open while others are counted: only what those must find shut keeps them out.
                found |= {other for other in counted if key in fitted.access[other].shut}
                todo += one.needs
        return found

    for step_ in (*fitted.checks.values(), *fitted.repairs.values()):
        if {"hands-in", "exciter-work", "aloft"} & set(step_.entry.tags):
            assert counted <= ends(step_.needs, step_.shut), step_.key
    for name in ("cowls-open", "reverser-deactivated", "prop-clear", "cowl-panels-open", "core-panel-open"):
        if name in fitted.access:
            assert counted <= set(fitted.access[name].shut), name


@pytest.mark.parametrize("engine", BOOKS)
def test_a_hand_goes_to_a_hot_part_only_after_somebody_judged_it(engine: str) -> None:
    """An engine that was started in the case is hot whatever the day is like."""
    fitted, book = FITTED[engine], BOOKS[engine]
    for step_ in (*fitted.checks.values(), *fitted.repairs.values()):
        if "heat" not in step_.entry.tags:
            continue
        assert "cool-enough" in _needs(list(step_.entry.needs)), step_.key
        kind = "check" if step_.key in fitted.checks else "repair"
        about = step(step_.name, kind, step_.channel, *step_.entry.tags)
        asked = {f.get("caution") for f in book.run([*about, case(engine=engine, condition="cold")])}
        assert {"heat-soak", "hot-parts"} <= asked | set(step_.cautions), step_.key


def test_a_propeller_is_never_restrained_or_freed_under_power() -> None:
    """Whoever fits or takes off the restraint stands in the arc."""
    there = FITTED["orrin-t-9"].access
    assert {"ground-power-on", "heads-counted"} <= set(there["prop-clear"].shut)
    assert "prop-clear" in there["ground-power-on"].shut and "prop-clear" in there["heads-counted"].shut
    # One input feeds both outputs, so four lead ends are seen on before it goes back.
    ends = [a for c in there["box-input-off"].close.cautions for a in KNOWLEDGE.cautions[c].asks if a.name == "ends-on"]
    assert [a.least for a in ends] == [4]


ZONES = step("hazard-zones", "open")


@pytest.mark.parametrize("move", [ZONES, MOTOR, SPARK, START, step("lead-swap-test", "check", "", "hands-in", "fires")])
def test_nothing_turns_or_fires_under_a_roof(move: list[Fact]) -> None:
    for book in BOOKS.values():
        asked = {f.get("caution") for f in book.run([*move, case(place="hangar")])}
        assert "under-a-roof" in asked
    assert KNOWLEDGE.cautions["under-a-roof"].asks


@pytest.mark.parametrize("fuel", [answer("start-alone", "no-light", "A"), answer("wet-motor-flow", "none")])
def test_after_fuel_that_did_not_burn_each_spark_and_start_asks_who_purged_it_since(fuel: Fact) -> None:
    for book in BOOKS.values():
        for move in (SPARK, START):
            assert "fuel-left-in" in {f.get("caution") for f in book.run([fuel, *move])}
    # Asked for each move: what was said before the last spark is no answer.
    assert KNOWLEDGE.cautions["fuel-left-in"].holds_while == [] and KNOWLEDGE.cautions["fuel-left-in"].asks


# -- profiles --------------------------------------------------------------------------------------

HAS: dict[str, tuple[set[str], set[str]]] = {
    "halden-hf-3": (
        {"insert-under-plug", "no-compound-here", "leave-the-surface", "one-lever-before-spark", "count-by-lane"},
        {"compound-called-for", "plain-boss-under-plug", "cooled-lead-handled", "propeller-before-motoring"},
    ),
    "halden-hf-5": (
        {"plain-boss-under-plug", "compound-called-for", "cooled-lead-handled", "core-panel-needs-sleeve-pinned"},
        {
            "insert-under-plug",
            "no-compound-here",
            "leave-the-surface",
            "count-by-lane",
            "aborted-starts-count",
            "halves-need-reverser-deactivated",
            "both-silent-one-box",
            "one-lever-before-spark",
        },
    ),
    "orrin-t-9": (
        {
            "insert-under-plug",
            "compound-called-for",
            "both-silent-one-box",
            "one-silent-one-box",
            "box-is-good",
            "propeller-before-motoring",
            "panels-need-propeller-restrained",
            "no-power-no-start",
        },
        {
            "no-air-no-start",
            "alone-no-reverser",
            "both-silent",
            "silent-not-plug-alone",
            "cowls-need-movables",
            "cooled-lead-handled",
            "plain-boss-under-plug",
        },
    ),
}
"""Engine → rules that it has, rules that it has not."""


@pytest.mark.parametrize("engine", HAS)
def test_a_rule_is_there_where_it_belongs(engine: str) -> None:
    there, not_there = HAS[engine]
    rules = set(FITTED[engine].rules)
    assert there <= rules
    assert not not_there & rules


def test_each_rule_is_there_for_some_engine() -> None:
    assert set().union(*(one.rules for one in FITTED.values())) == set(KNOWLEDGE.rules)


@pytest.mark.parametrize("engine", HAS)
def test_every_kind_is_there_for_each_engine(engine: str) -> None:
    assert {one.kind for one in FITTED[engine].rules.values()} == {
        "finding",
        "gate",
        "caution",
        "conflict",
        "escalation",
        "verdict",
        "advice",
    }


@pytest.mark.parametrize("engine", HAS)
def test_what_can_kill_is_asked_by_fact_each_time_it_is_new(engine: str) -> None:
    """A warning on the way in, before a spark, a crank or a start asks for something that only looking tells."""
    fitted = FITTED[engine]
    for one in fitted.access.values():
        for crossing in (one.open, one.close):
            for name in crossing.cautions:
                caution = KNOWLEDGE.cautions[name]
                if caution.level == "warning":
                    assert caution.asks, (one.key, name)


RULED = ("lead-off", "lead-off-exciter", "plug-out")


@pytest.mark.parametrize("engine", HAS)
@pytest.mark.parametrize("name", RULED)
def test_a_gate_lifts_once_what_it_needs_is_open(engine: str, name: str) -> None:
    """All that the step needs open: no gate is left. One of them unknown: its gate stands, where it has one."""
    fitted = FITTED[engine]
    channel = fitted.channels[0]
    one = fitted.access[f"{name}/{channel}"]
    needed: set[str] = set()
    waiting = list(one.needs)
    while waiting:
        key = waiting.pop()
        if key not in needed:
            needed.add(key)
            waiting += fitted.access[key].needs
    state = dict.fromkeys(needed, "open")
    about = step(name, "open", channel, *one.entry.tags)
    people = [may(who) for who in ("licensed", "motoring", "engine-run")]

    def gates(states: dict[str, str]) -> set[str]:
        facts = [access(key.partition("/")[0], how, key.partition("/")[2]) for key, how in states.items()]
        fired = BOOKS[engine].run([*about, *facts, *people, AIR, POWER, case(engine=engine)])
        tags = {name, *one.entry.tags}
        return {firing.rule for firing in fired if firing.kind == "gate" and firing.get("block") in tags}

    assert gates(state) == set()
    for key in one.needs:
        assert gates({**state, key: "unknown"}) or key.partition("/")[0] not in (
            "input-off",
            "box-input-off",
            "lead-off",
            "cooling-air-off",
            "cool-enough",
        ), key
    assert gates({**state, "breakers-pulled": "unknown"}) == {"hands-in-needs-breakers"}


@pytest.mark.parametrize(
    ("settled", "lifts"),
    [
        (answer("plug-hole-borescope", "settled", "A"), True),
        (answer("plug-hole-borescope", "settled", "B"), False),
        (answer("plug-hole-borescope", "ferrule", "A"), False),
        (repaired("account-for-piece", "A"), False),
        (repaired("replace-igniter", "A"), False),
    ],
)
def test_a_missing_piece_stops_the_engine_until_it_is_accounted_for(settled: Fact, lifts: bool) -> None:
    """A repair said to be done is no account of the old tip; the look through its own boss is."""
    for engine in ("halden-hf-3", "halden-hf-5"):
        fired = {one.rule for one in BOOKS[engine].run([BROKEN, settled, AIR])}
        assert ("missing-piece-no-motoring" in fired, "missing-piece-no-start" in fired) == (not lifts, not lifts)


# -- stories ---------------------------------------------------------------------------------------


def test_a_whole_story_of_firings() -> None:
    """HF-3: alternate starts fail on A, A silent and B snaps, the lead is being taken off."""
    ready = ("notices", "breakers-pulled", "movables-safe", "cowls-open", "reverser-deactivated", "reverser-open")
    firings = BOOKS["halden-hf-3"].run(
        [
            case(complaint="intermittent-no-ignite", people=2),
            *(may(one) for one in ("licensed", "motoring", "engine-run")),
            AIR,
            pattern("alternate-fails", "A", 3),
            answer("starts-by-lane", "not-by-lane"),
            *spark("silent", "snaps"),
            *map(access, ready),
            COOL,
            access("input-off", "open", "A"),
            access("input-off", "shut", "B"),
            *LEAD_OFF,
        ]
    )
    assert [(one.kind, one.rule) for one in firings] == [
        ("finding", "alternate-starts-fail"),
        ("finding", "channel-silent"),
        ("finding", "silent-not-plug-alone"),
        ("caution", "dead-is-not-discharged"),
        ("caution", "hot-parts-before-hands"),
        ("caution", "supplies-before-hands"),
        ("advice", "one-good-hearing-clears-nothing"),
    ]


def test_a_story_of_one_box_and_a_selector() -> None:
    """T-9: starts on both lit for weeks, now 1 is silent alone and 2 snaps; the box is not blamed."""
    firings = BOOKS["orrin-t-9"].run(
        [
            case(engine="orrin-t-9", selection="by-hand", complaint="one-channel-silent", people=2),
            *(may(one) for one in ("licensed", "motoring", "engine-run")),
            POWER,
            start("both", True),
            pattern("all-light", count=0),
            answer("spark-test", "silent", "1"),
            answer("spark-test", "snaps", "2"),
        ]
    )
    assert [(one.kind, one.rule) for one in firings] == [
        ("finding", "both-selected-hides"),
        ("finding", "channel-silent"),
        ("finding", "one-silent-one-box"),
        ("advice", "box-is-good"),
    ]


def test_a_story_of_a_sleeve_and_a_cooled_lead() -> None:
    """HF-5: the core panel with the sleeve not pinned, then lead A with its air sleeve still on."""
    book = BOOKS["halden-hf-5"]
    people = [may(one) for one in ("licensed", "motoring", "engine-run")]
    ready = [AIR, case(engine="halden-hf-5")]
    ready += map(access, ("notices", "breakers-pulled", "cowls-open", "tools-listed"))
    fired = book.run([*people, *ready, *CORE_PANEL])
    assert [one.rule for one in fired if one.kind == "gate"] == ["core-panel-needs-sleeve-pinned"]
    ready += [access("reverser-deactivated"), access("core-panel-open"), COOL, access("input-off", "open", "A")]
    fired = book.run([*people, *ready, *LEAD_OFF])
    assert [one.rule for one in fired if one.kind == "gate"] == ["cooled-lead-needs-air-off"]
    fired = book.run([*people, *ready, access("cooling-air-off", "open", "A"), *LEAD_OFF])
    assert [(one.kind, one.rule) for one in fired] == [
        ("caution", "cooled-lead-handled"),
        ("caution", "hot-parts-before-hands"),
        ("caution", "supplies-before-hands"),
    ]

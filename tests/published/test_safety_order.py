"""The safety order against what is published and held in the trade: out of order a gate says the harm, in order none.

Each order names its source beside it: [published] read in the source, [practice] common practice without a document
behind it. The numbers are those of the list of outside values. What it says of how one step is done and of what follows
from what was seen is no order of steps and stands in test_trade: the insert held (18), the plug run down by hand (19),
compound by type (20), what is grounded first (25), independent inspection (27), deferral (29).

An order is tried on the rules alone, with access states made by hand as a trainee who drives freely can bring them
about: first all that the step needs is open, with all that this rests on, and nothing else; then one thing is left
undone, is not known, or is done too early.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import pytest

from isolate.case.chase import Kit
from isolate.case.facts import about_to
from isolate.kb.fit import Fitted, fit, instance, split
from isolate.kb.load import load
from isolate.kb.model import Knowledge
from isolate.reasoning.rules import Fact, Firing, RuleBook, fact

KNOWLEDGE: Knowledge = load().knowledge
AMT = (
    "[published] FAA-H-8083-32B, AMT Handbook - Powerplant, ch. 4: energy at the lead can kill; the low-voltage input "
    "comes off first, then a wait of at least a minute, then the high-voltage lead, which is grounded"
)
LINE = "[practice] common practice on the line; no document stands behind it"
HF3, HF5, T9 = "halden-hf-3", "halden-hf-5", "orrin-t-9"
ENGINES = (HF3, HF5, T9)


# -- a step, with access states made by hand -------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """Something to be done: open, close, check or repair, and its instance name."""

    kind: str
    key: str


@dataclass(frozen=True)
class Asks:
    """What a step has to find: open, with all below it, and shut; by instance name."""

    tags: tuple[str, ...]
    needs: tuple[str, ...]
    shut: tuple[str, ...]


@cache
def kit(engine: str) -> Kit:
    return Kit(fit(KNOWLEDGE, engine))


def asks(fitted: Fitted, step: Step) -> Asks:
    """What is open for a crossing back is what is crossed; what rests on it is to be shut."""
    if step.kind in ("check", "repair"):
        entries = fitted.checks if step.kind == "check" else fitted.repairs
        made = entries[step.key]
        return Asks(tuple(made.entry.tags), made.needs, made.shut)
    one = fitted.access[step.key]
    tags = tuple(one.entry.tags)
    if step.kind == "open":
        return Asks(tags, one.needs, one.shut)
    return Asks(tags, (step.key,), tuple(k for k, other in fitted.access.items() if step.key in other.needs))


def in_order(fitted: Fitted, step: Step) -> dict[str, str]:
    """How all stands where a step is done in order, and no more is open than it has to be."""
    opened = fitted.needed(asks(fitted, step).needs)
    return {key: "open" if key in opened else "shut" for key in fitted.access}


@dataclass(frozen=True)
class Books:
    """Rules on a case as it stands, and on a step about to be done."""

    standing: RuleBook
    of_steps: RuleBook


@cache
def shipped(engine: str) -> Books:
    return Books(kit(engine).standing_rules, kit(engine).step_rules)


@cache
def gates_only(engine: str, gone: str = "") -> Books:
    """Gates, with the findings that some rest on, less one; what many steps are tried on."""
    rules = {n: r for n, r in kit(engine).fitted.rules.items() if r.kind in ("finding", "gate") and n != gone}
    of_steps = kit(engine).step_rules.names
    return Books(
        RuleBook({n: r for n, r in rules.items() if n not in of_steps}),
        RuleBook({n: r for n, r in rules.items() if n in of_steps}),
    )


PEOPLE_AND_THINGS = [
    *(fact("person", authority=may) for may in ("licensed", "motoring", "engine-run")),
    *(fact("at-hand", item=item) for item in ("air", "ground-power")),
    fact("case", people=3),
]


def dangers(
    engine: str, step: Step, states: Mapping[str, str], seen: Sequence[Fact] = (), books: Books | None = None
) -> set[str]:
    """The gates that hold a step there and say the harm; ``states``: access state → open, shut, unknown."""
    books = books or shipped(engine)
    tags = asks(kit(engine).fitted, step).tags
    name, channel = split(step.key)
    facts = [fact("access", name=split(key)[0], channel=split(key)[1], state=how) for key, how in states.items()]
    facts += [*seen, *PEOPLE_AND_THINGS]
    # A standing gate that says the harm rests on what was seen, whatever stands open.
    fired: list[Firing] = list(books.standing.run(facts)) if seen else []
    facts += [fact("finding", name=f.get("finding"), channel=f.get("channel")) for f in fired if f.kind == "finding"]
    fired += books.of_steps.run([*facts, *about_to(step.kind, step.key, tags)])
    return {
        f.rule
        for f in fired
        if f.kind == "gate"
        and f.get("block") in (name, *tags)
        and f.get("channel") in ("", channel)
        and KNOWLEDGE.rules[f.rule].harm
    }


# -- the orders, each with its source --------------------------------------------------------------


@dataclass(frozen=True)
class Order:
    """One thing that comes before another.

    ``first``: access state → how it stands where the order is broken (shut: left undone; open: done too early, or not
    put back). ``gates``: those that say the harm then, all of them.
    """

    source: str
    engine: str
    step: Step
    first: Mapping[str, str]
    gates: frozenset[str]
    seen: tuple[Fact, ...] = ()


def order(
    source: str, engine: str, kind: str, key: str, first: dict[str, str], *gates: str, seen: Fact | None = None
) -> Order:
    return Order(source, engine, Step(kind, key), first, frozenset(gates), () if seen is None else (seen,))


SHUT, OPEN, UNKNOWN = "shut", "open", "unknown"
BROKEN = fact("answer", check="plug-tip-look", channel="A", outcome="broken", count=1)
APART = "no-spark-while-apart"
HANDS = "hands-in-needs-breakers"

ORDERS: dict[str, Order] = {
    # -- 16: input, wait, lead, ground
    "16 input off before the lead at the plug": order(
        AMT, HF3, "open", "lead-off/A", {"input-off/A": SHUT}, "lead-needs-input-off"),
    "16 input known to be off before the lead at the plug": order(
        AMT, HF3, "open", "lead-off/A", {"input-off/A": UNKNOWN}, "lead-needs-input-off"),
    "16 the other channel's input is no input": order(
        AMT, HF5, "open", "lead-off/A", {"input-off/A": SHUT, "input-off/B": OPEN}, "lead-needs-input-off"),
    "16 one box, one input, before either lead": order(
        AMT, T9, "open", "lead-off/2", {"box-input-off": SHUT}, "lead-needs-input-off"),
    "16 input off before the lead at the exciter": order(
        AMT, HF3, "open", "lead-off-exciter/B", {"input-off/B": SHUT}, "lead-needs-input-off"),
    "16 input off before a hand is on lead or plug": order(
        AMT, HF3, "check", "lead-nut-feel/A", {"input-off/A": SHUT}, "hands-at-channel-need-input-off"),
    "16 lead off and grounded before a wrench on the plug": order(
        AMT, HF3, "open", "plug-out/A", {"lead-off/A": SHUT}, "plug-needs-lead-off"),
    "16 lead on at both ends before the input goes back": order(
        AMT, HF3, "close", "input-off/A", {"lead-off/A": OPEN}, "input-back-after-leads"),
    "16 both leads on before the input of the box goes back": order(
        AMT, T9, "close", "box-input-off", {"lead-off-exciter/2": OPEN}, "box-input-back-after-leads"),
    # -- 17: before hands go in
    "17 notices before breakers": order(
        LINE, HF3, "open", "breakers-pulled", {"notices": SHUT}, "breakers-need-notices"),
    "17 every supply off before a half is opened": order(
        LINE, HF3, "open", "reverser-open", {"breakers-pulled": SHUT}, HANDS),
    "17 every supply off before the panel is opened": order(
        LINE, HF5, "open", "core-panel-open", {"breakers-pulled": UNKNOWN}, HANDS),
    "17 every supply off before the exciter's input comes off": order(
        LINE, HF3, "open", "input-off/A", {"breakers-pulled": SHUT}, HANDS),
    "17 notices before surfaces are made safe": order(
        LINE, HF3, "open", "movables-safe", {"notices": SHUT}, "movables-need-notices"),
    "17 surfaces safe before cowls": order(
        LINE, HF3, "open", "cowls-open", {"movables-safe": SHUT}, "cowls-need-movables"),
    "17 surfaces safe before work at the reverser": order(
        LINE, HF5, "open", "reverser-deactivated", {"movables-safe": SHUT}, "reverser-needs-movables-and-air-off"),
    "17 wind read before cowls": order(
        LINE, HF3, "open", "cowls-open", {"wind-checked": SHUT}, "cowls-need-wind"),
    "17 reverser deactivated before its halves are opened": order(
        LINE, HF3, "open", "reverser-open", {"reverser-deactivated": SHUT}, "halves-need-reverser-deactivated"),
    "17 sleeve pinned before the panel in its path": order(
        LINE, HF5, "open", "core-panel-open", {"reverser-deactivated": SHUT}, "core-panel-needs-sleeve-pinned"),
    "17 propeller restrained before the panels": order(
        LINE, T9, "open", "cowl-panels-open", {"prop-clear": SHUT}, "panels-need-propeller-restrained"),
    "17 tools listed before they go in": order(
        LINE, HF3, "open", "reverser-open", {"tools-listed": SHUT}, "hands-in-need-tools-listed"),
    # -- 17: closing is a list of its own
    "17 tools counted out before the cowls are shut": order(
        LINE, HF3, "close", "cowls-open", {"tools-listed": OPEN}, "doors-shut-after-tools"),
    "17 leads and plugs on before the halves come down": order(
        LINE, HF3, "close", "reverser-open", {"lead-off/B": OPEN}, "doors-shut-after-leads"),
    "17 reverser back after its halves are latched": order(
        LINE, HF3, "close", "reverser-deactivated", {"reverser-open": OPEN}, "reverser-back-after-halves"),
    "17 reverser back after its halves are known to be latched": order(
        LINE, HF3, "close", "reverser-deactivated", {"reverser-open": UNKNOWN}, "reverser-back-after-halves"),
    "17 surfaces back after the cowls": order(
        LINE, HF3, "close", "movables-safe", {"cowls-open": OPEN}, "movables-back-after-cowls"),
    "17 propeller released after the panels": order(
        LINE, T9, "close", "prop-clear", {"cowl-panels-open": OPEN}, "propeller-released-after-panels"),
    "17 supplies back after leads, halves and inputs": order(
        LINE, HF3, "close", "breakers-pulled", {"lead-off/B": OPEN}, "breakers-back-after-leads"),
    "17 supplies back after the halves": order(
        LINE, HF3, "close", "breakers-pulled", {"reverser-open": OPEN}, "breakers-back-after-leads"),
    "17 a breaker reset after leads": order(
        LINE, HF3, "repair", "reset-breaker/A", {"lead-off/A": OPEN}, "breaker-reset-after-leads"),
    "17 notices down last": order(
        LINE, HF3, "close", "notices", {"breakers-pulled": OPEN}, "notices-down-last"),
    "17 no start with the cowls open": order(
        LINE, HF3, "check", "start-alone/A", {"cowls-open": OPEN}, "no-start-while-apart"),
    "17 no start under a tag": order(
        LINE, HF3, "check", "start-alone/A", {"reverser-deactivated": OPEN}, "no-start-under-tags"),
    # -- 21: leads
    "21 never fired into a lead off at the plug": order(
        LINE, HF3, "check", "spark-test/A", {"lead-off/A": OPEN}, APART),
    "21 never fired into a lead off at the exciter, on either channel": order(
        LINE, HF3, "check", "spark-test/A", {"lead-off-exciter/B": OPEN}, APART),
    "21 never fired with a plug out": order(
        LINE, T9, "check", "spark-test/1", {"plug-out/1": UNKNOWN}, APART),
    "21 exciter off the lead before its insulation is tested": order(
        LINE, HF3, "check", "lead-insulation/A", {"lead-off-exciter/A": SHUT}, "insulation-needs-both-ends-off"),
    "21 plug off the lead before its insulation is tested": order(
        LINE, T9, "check", "lead-insulation/1", {"lead-off/1": SHUT}, "insulation-needs-both-ends-off"),
    "21 a lead is wiggled dead": order(
        LINE, HF5, "check", "lead-wiggle/B", {"lead-off-exciter/B": SHUT}, "insulation-needs-both-ends-off"),
    "21 its cooling air off before the lead": order(
        LINE, HF5, "open", "lead-off/A", {"cooling-air-off/A": SHUT}, "cooled-lead-needs-air-off"),
    # -- 22: before a spark, and before it turns
    "22 dry-motored before a spark": order(
        LINE, HF3, "check", "spark-test/A", {"dry-motored": SHUT}, "spark-needs-dry-motor"),
    "22 drained before a spark": order(
        LINE, HF3, "check", "spark-test/A", {"drained": SHUT}, "spark-needs-drained"),
    "22 nobody fuels before a spark": order(
        LINE, HF3, "check", "spark-test/A", {"fuelling-stopped": SHUT}, "spark-needs-fuelling-stopped"),
    "22 heads counted before a spark": order(
        LINE, HF3, "check", "spark-test/A", {"heads-counted": SHUT}, "spark-needs-heads-counted"),
    "22 fire cover before a spark": order(
        LINE, HF5, "check", "spark-test/B", {"fire-cover": SHUT}, "spark-needs-heads-counted"),
    "22 halves shut before a spark": order(
        LINE, HF3, "check", "spark-test/A", {"reverser-open": OPEN}, "no-spark-with-halves-open"),
    "22 nobody fuels before it turns": order(
        LINE, HF3, "open", "dry-motored", {"fuelling-stopped": SHUT}, "motoring-needs-heads-counted"),
    "22 heads counted before it turns": order(
        LINE, HF3, "open", "dry-motored", {"heads-counted": SHUT}, "motoring-needs-heads-counted"),
    "22 nothing apart when it turns": order(
        LINE, HF3, "open", "dry-motored", {"plug-out/A": OPEN}, "no-motoring-while-apart"),
    "22 the restraint off before it turns": order(
        LINE, T9, "open", "dry-motored", {"prop-clear": OPEN}, "no-motoring-while-apart"),
    "22 nobody fuels before a start": order(
        LINE, T9, "check", "start-alone/1", {"fuelling-stopped": SHUT}, "start-needs-heads-counted"),
    "22 hands out before the air comes on": order(
        LINE, HF3, "open", "air-on", {"reverser-open": OPEN}, "air-needs-hands-out"),
    "22 hands out before the power comes on": order(
        LINE, T9, "open", "ground-power-on", {"cowl-panels-open": OPEN}, "power-needs-hands-out"),
    "22 air off before hands go in": order(
        LINE, HF3, "open", "input-off/A", {"air-on": OPEN}, "hands-in-need-starter-off"),
    "22 zones clear before heads are counted": order(
        LINE, HF3, "open", "heads-counted", {"hazard-zones": SHUT}, "heads-need-zones"),
    "22 nobody inside when heads are counted": order(
        LINE, HF5, "open", "heads-counted", {"core-panel-open": OPEN}, "heads-need-zones"),
    "22 ignition kept out before fuel goes in unlit": order(
        LINE, HF3, "check", "wet-motor-flow", {"breakers-pulled": SHUT}, "wet-motor-needs-breakers"),
    "22 the control is asked with nothing to fire": order(
        LINE, HF3, "check", "command-read/A", {"breakers-pulled": SHUT}, "ignition-command-needs-breakers"),
    # -- 25: dead is not discharged
    "25 output grounded, lead off, before the exciter comes off": order(
        LINE, HF3, "repair", "replace-exciter/A", {"lead-off-exciter/A": SHUT}, "exciter-needs-lead-off"),
    "25 both outputs grounded before the box comes off": order(
        LINE, T9, "repair", "replace-exciter-box", {"lead-off-exciter/2": SHUT}, "both-outputs-need-leads-off"),
    # -- 26: a piece missing
    "26 a missing piece accounted for before it turns": order(
        LINE, HF3, "open", "dry-motored", {}, "missing-piece-no-motoring", seen=BROKEN),
    "26 a missing piece accounted for before a start": order(
        LINE, HF5, "check", "start-alone/B", {}, "missing-piece-no-start", seen=BROKEN),
}  # fmt: skip


def kept(one: Order, books: Books | None = None) -> None:
    """In order nothing is said. Out of order just these gates say the harm."""
    states = in_order(kit(one.engine).fitted, one.step)
    assert dangers(one.engine, one.step, states, books=books) == set()
    assert set(one.first) <= set(states)
    assert all(states[key] != how for key, how in one.first.items())
    assert dangers(one.engine, one.step, {**states, **one.first}, one.seen, books) == one.gates


@pytest.mark.parametrize("said", ORDERS)
def test_out_of_order_a_gate_says_the_harm_and_in_order_none(said: str) -> None:
    assert ORDERS[said].source.startswith(("[published]", "[practice]"))
    kept(ORDERS[said])


@pytest.mark.parametrize("said", ORDERS)
def test_it_is_seen_when_the_rule_is_gone(said: str) -> None:
    """Without the rule that keeps an order the test of that order fails."""
    one = ORDERS[said]
    for gone in one.gates:
        with pytest.raises(AssertionError):
            kept(one, gates_only(one.engine, gone))


def test_it_is_seen_when_a_rule_says_no_harm(monkeypatch: pytest.MonkeyPatch) -> None:
    one = ORDERS["16 input off before the lead at the plug"]
    mute = KNOWLEDGE.rules["lead-needs-input-off"].model_copy(update={"harm": None})
    monkeypatch.setitem(KNOWLEDGE.rules, "lead-needs-input-off", mute)
    with pytest.raises(AssertionError):
        kept(one)


# -- waits -----------------------------------------------------------------------------------------

WAITS = {
    # 16, 25: [published] AMT: the wait is the approved data's, never less than a minute, from the input off.
    "ignition-energy": (AMT, 1.0, {"input-off", "box-input-off"}),
    # 22: [practice] the engine has drained before a spark.
    "drain-time": (LINE, 1.0, {"drained"}),
    # [practice] after a shutdown plug and boss get hotter before they cool; the least is nothing on a cold engine.
    "heat-soak": (LINE, 0.0, {"cool-enough"}),
    # 22: [practice] the starter's crank limits, and the rest between attempts after fuel that did not burn.
    "crank-limits": (LINE, 0.0, set()),
    "fuel-left-in": (LINE, 0.0, set()),
}
"""Caution with a wait → source, the least minutes that are taken, what its time runs from."""


def unwaited(know: Knowledge) -> list[str]:
    """What is wrong with the waits of a knowledge base."""
    wrong = [f"{name}: not here" for name in know.cautions if know.cautions[name].wait and name not in WAITS]
    for name, (_, least, since) in WAITS.items():
        caution = know.cautions[name]
        asked = next(a for a in caution.asks if a.name == caution.wait)
        wrong += [f"{name}: less than {least} min is taken"] if (asked.least or 0.0) < least else []
        wrong += [f"{name}: its time does not run from {since}"] if set(caution.since) != since else []
        wrong += [] if caution.harm else [f"{name}: the harm is not said"]
    for name in ("lead-off", "lead-off-exciter"):
        if "ignition-energy" not in know.access[name].open.cautions:
            wrong.append(f"{name} does not wait for the discharge")
    for name in ("input-off", "box-input-off"):
        if know.access[name].open.waits("steady") < 1:
            wrong.append(f"{name}: counts before a minute is over")
    return wrong


def test_a_wait_is_kept_and_its_harm_said() -> None:
    assert unwaited(KNOWLEDGE) == []


@pytest.mark.parametrize(
    ("name", "update"),
    [("ignition-energy", {"harm": None}), ("ignition-energy", {"since": []}), ("drain-time", {"harm": None})],
)
def test_a_wait_that_is_not_kept_is_seen(name: str, update: dict[str, object]) -> None:
    spoilt = KNOWLEDGE.cautions[name].model_copy(update=update)
    know = KNOWLEDGE.model_copy(update={"cautions": {**KNOWLEDGE.cautions, name: spoilt}})
    assert unwaited(know) != []


# -- every order that is one of safety -------------------------------------------------------------

SAFETY = frozenset(
    {"notices", "breakers-pulled", "movables-safe", "wind-checked", "reverser-deactivated", "prop-clear"}
    | {"tools-listed", "input-off", "box-input-off", "cool-enough", "heads-counted", "fire-cover", "fuelling-stopped"}
    | {"hazard-zones", "dry-motored", "drained"}
)
"""Access states that a step needs for safety's sake. The others are needed to get there at all."""

REACH: dict[str, tuple[frozenset[str], str]] = {
    "drained": (frozenset({"dry-motored"}), "there is nothing to drain"),
    "purge-wet-igniter": (frozenset({"dry-motored"}), "the dry motor is the repair"),
    "lead-nut-feel": (frozenset({"lead-off", "lead-off-exciter"}), "there is no nut to feel"),
    "plug-torque-check": (frozenset({"plug-out"}), "there is no plug to turn"),
    "free-seized-plug": (frozenset({"plug-out"}), "there is no plug to free"),
    "cooling-duct-look": (frozenset({"cooling-air-off"}), "there is no sleeve to look at"),
    "nozzles-look": (frozenset({"notices"}), "it needs breakers-pulled, and the notices stay up as long as that"),
    "box-input-volts": (frozenset({"box-input-off"}), "it is measured in the connector that is off"),
    **{
        name: (frozenset({"box-input-off"}), "the connector that is worked on is the input of the box")
        for name in ("common-connector-look", "dry-connector", "dry-after-wash", "replace-connector")
    },
}
"""Steps → what they ask for besides, of what is asked for safety's sake elsewhere, and why it is none there."""


def pairs(fitted: Fitted) -> Iterator[tuple[Step, str, str]]:
    """Each step of an engine's first channel, with what it asks for by itself and how that stands out of order."""
    moves = [Step("open", key) for key in fitted.access]
    moves += [Step("check", key) for key in fitted.checks] + [Step("repair", key) for key in fitted.repairs]
    for step in moves:
        asked = asks(fitted, step)
        if split(step.key)[1] not in ("", fitted.channels[0]):
            continue
        yield from ((step, key, SHUT) for key in asked.needs if split(key)[0] in SAFETY)
        # What does not last ends by itself as the step is begun. Fired with no supply, nothing happens.
        fires = {"spark"} & set(asked.tags)
        lasting = (key for key in asked.shut if fitted.access[key].entry.lasting)
        yield from ((step, key, OPEN) for key in lasting if not (fires and key == "breakers-pulled"))


@pytest.fixture(scope="module", params=ENGINES)
def tried(request: pytest.FixtureRequest) -> tuple[str, dict[tuple[Step, str], set[str]]]:
    """An engine, with the gates that say the harm for each pair."""
    engine: str = request.param
    fitted = kit(engine).fitted
    found = {
        (step, key): dangers(engine, step, {**in_order(fitted, step), key: how}, books=gates_only(engine))
        for step, key, how in pairs(fitted)
    }
    return engine, found


def test_every_safety_order_of_a_step_is_kept_by_a_gate(tried: tuple[str, dict[tuple[Step, str], set[str]]]) -> None:
    _, found = tried
    reach = {(name, state) for name, (states, _) in REACH.items() for state in states}
    open_orders = {(split(step.key)[0], split(key)[0]) for (step, key), gates in found.items() if not gates}
    assert len(found) > 200
    assert open_orders <= reach


def test_what_is_only_reach_has_no_gate() -> None:
    """Nothing stands in the table above that a gate keeps by now."""
    met: set[tuple[str, str]] = set()
    for engine in ENGINES:
        fitted = kit(engine).fitted
        for step, key, how in pairs(fitted):
            name, state = split(step.key)[0], split(key)[0]
            if state in REACH.get(name, ((), ""))[0]:
                met.add((name, state))
                states = {**in_order(fitted, step), key: how}
                assert dangers(engine, step, states, books=gates_only(engine)) == set(), (engine, step, key)
    assert met == {(name, state) for name, (states, why) in REACH.items() if why for state in states}


# -- what the plan may offer -----------------------------------------------------------------------


def moves_now(fitted: Fitted, opened: frozenset[str], crossings_only: bool = False) -> Iterator[Step]:
    """All that may be done by what is open: opened, put back, checked, repaired."""
    for key, one in fitted.access.items():
        if key in opened:
            if not any(key in fitted.access[other].needs for other in opened):
                yield Step("close", key)
        elif opened.issuperset(one.needs) and not opened.intersection(one.shut):
            yield Step("open", key)
    if crossings_only:
        return
    for kind, entries in (("check", fitted.checks), ("repair", fitted.repairs)):
        for key, made in entries.items():
            if opened >= fitted.needed(made.needs) and not opened.intersection(made.shut):
                yield Step(kind, key)


def reached(fitted: Fitted) -> list[frozenset[str]]:
    """Every set of open access states that the needs allow, from all shut."""
    found: dict[frozenset[str], None] = {frozenset(): None}
    todo = [frozenset[str]()]
    while todo:
        opened = todo.pop()
        for step in moves_now(fitted, opened, crossings_only=True):
            then = opened | {step.key} if step.kind == "open" else opened - {step.key}
            if then not in found:
                found[then] = None
                todo.append(then)
    return list(found)


@pytest.mark.parametrize("engine", ENGINES)
def test_no_gate_about_a_step_holds_what_a_plan_may_offer(engine: str) -> None:
    """Each move with the least and with the most open with which its needs allow it, of all that can be open at all.

    Of the channels the first; below the other is shown to be kept alike.
    """
    fitted = kit(engine).fitted
    least: dict[Step, frozenset[str]] = {}
    most: dict[Step, frozenset[str]] = {}
    for opened in sorted(reached(fitted), key=lambda one: (len(one), sorted(one))):
        for step in moves_now(fitted, opened):
            least.setdefault(step, opened)
            most[step] = opened
    every = {Step(kind, key) for kind in ("open", "close") for key in fitted.access}
    every |= {Step("check", key) for key in fitted.checks} | {Step("repair", key) for key in fitted.repairs}
    assert set(least) == every
    for where in (least, most):
        for step, opened in where.items():
            if split(step.key)[1] not in ("", fitted.channels[0]):
                continue
            states = {key: "open" if key in opened else "shut" for key in fitted.access}
            assert dangers(engine, step, states, books=gates_only(engine)) == set(), (step, sorted(opened))


def test_the_two_channels_are_kept_alike() -> None:
    """An order of one channel is one of the other."""
    for engine in ENGINES:
        fitted = kit(engine).fitted
        first, second = fitted.channels
        for step, key, how in pairs(fitted):
            name, channel = split(step.key)
            if channel != first or split(key)[1] != first or step.kind != "open":
                continue
            there = Step(step.kind, instance(name, second))
            other = instance(split(key)[0], second)
            books = gates_only(engine)
            assert dangers(engine, step, {**in_order(fitted, step), key: how}, books=books) == dangers(
                engine, there, {**in_order(fitted, there), other: how}, books=books
            )

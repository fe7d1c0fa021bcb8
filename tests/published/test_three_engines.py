"""What the trade holds, on each of the three engines: the order of making safe, what fires, threads, leads, propeller.

Each test names its source: [published] read in the source, [practice] common practice without a document behind it.
The order of crossings is the planner's own (the fewest minutes between two sets of open access), so nothing here
follows from how an entry is written down but from what it needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest

from isolate.case.case import Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Ask, Confirm, Cross, Offer, Step, Wait
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import FitCheck, FitRepair, Fitted, fit
from isolate.kb.load import load
from isolate.reasoning.belief import Belief
from isolate.reasoning.pose import Poser
from isolate.reasoning.rules import RuleBook, fact
from isolate.reasoning.starts import Start

KNOWLEDGE = load().knowledge
ENGINES = ("halden-hf-3", "halden-hf-5", "orrin-t-9")


@pytest.fixture(scope="module", params=ENGINES)
def engine(request: pytest.FixtureRequest) -> Fitted:
    return kit_of(request.param).fitted


@cache
def kit_of(name: str) -> Kit:
    """Return the kit of an engine; nothing is decided ahead here, so the cases of these tests may share it."""
    return Kit(fit(KNOWLEDGE, name))


def way(fitted: Fitted, start: Sequence[str], needs: Sequence[str], shut: Sequence[str] = ()) -> list[tuple[str, bool]]:
    """The crossings (access, opening) from these open states to what is needed."""
    poser = kit_of(fitted.name).poser("gate")
    _, _, crossed = poser.crossings.go(poser.mask(start), poser.mask(needs), poser.mask(shut))
    return [(poser.access[c.access], c.opening) for c in crossed]


def opened(fitted: Fitted, access: str) -> list[str]:
    return [name for name, opening in way(fitted, (), (access,)) if opening]


def steps(fitted: Fitted) -> list[FitCheck | FitRepair]:
    return [*fitted.checks.values(), *fitted.repairs.values()]


def own(fitted: Fitted, name: str) -> str:
    """The access instance of the first channel, or the one that all channels share."""
    channel = fitted.channels[0]
    return f"{name}/{channel}" if f"{name}/{channel}" in fitted.access else name


# -- making safe -----------------------------------------------------------------------------------


def test_a_lead_comes_off_only_after_all_that_makes_it_safe(engine: Fitted) -> None:
    # [practice] notices, every supply isolated, wind and movables, cowls, reverser or propeller, then the plug's place.
    # [published] FAA-H-8083-32B ch. 4: the low-voltage input comes off first, then a wait of at least a minute.
    order = opened(engine, own(engine, "plug-out"))
    source = own(engine, "input-off") if own(engine, "input-off") in engine.access else "box-input-off"
    wanted = ["notices", "breakers-pulled", source, own(engine, "lead-off"), own(engine, "plug-out")]
    assert [name for name in order if name in wanted] == wanted
    doors = next(n for n in ("cowls-open", "cowl-panels-open") if n in engine.access)
    assert order.index("wind-checked") < order.index(doors) < order.index(source)
    assert order.index("cool-enough") < order.index(own(engine, "lead-off"))
    assert order.index("tools-listed") < order.index(source)
    assert engine.access[source].open.waits("steady") >= 1
    guard = {"halden-hf-3": "reverser-deactivated", "halden-hf-5": "reverser-deactivated", "orrin-t-9": "prop-clear"}
    inner = {"halden-hf-3": "reverser-open", "halden-hf-5": "core-panel-open", "orrin-t-9": "cowl-panels-open"}
    assert order.index(guard[engine.name]) < order.index(inner[engine.name]) < order.index(own(engine, "lead-off"))


def test_the_discharge_wait_is_asked_and_never_under_a_minute(engine: Fitted) -> None:
    # [published] FAA-H-8083-32B ch. 4: at least one minute; [practice] the approved data says how long.
    lead = engine.access[own(engine, "lead-off")]
    inputs = {a.name for a in engine.access.values() if a.name in ("input-off", "box-input-off")}
    waiting = [engine.cautions[c] for c in lead.open.cautions if inputs & set(engine.cautions[c].since)]
    assert len(waiting) == 1, "the timer runs from the input that this engine has"
    (ask,) = (a for a in waiting[0].asks if a.name == waiting[0].wait)
    assert ask.kind == "minutes" and ask.least is not None and ask.least >= 1


def test_a_hot_engine_is_waited_for_and_a_cold_one_is_not(engine: Fitted) -> None:
    # [our judgement, issue's order of magnitude] 30 to 60 minutes and more until a hot engine can be touched.
    cool = engine.access["cool-enough"].open
    assert cool.waits("hot") >= 30
    assert cool.waits("cold") == 0
    model = kit_of(engine.name).model
    lead = own(engine, "lead-off")
    costs = {}
    for condition in ("steady", "hot"):
        poser = Poser(model, "gate", condition)  # type: ignore[arg-type]
        costs[condition] = poser.crossings.go(0, poser.mask([lead]), 0)[0]
    assert costs["hot"] - costs["steady"] == pytest.approx(cool.waits("hot") - cool.waits("steady"))


def test_nothing_fires_before_the_engine_is_purged_and_clear(engine: Fitted) -> None:
    # [practice] dry motor with ignition kept out, drained, no fuelling or venting near by, heads counted, fire cover.
    for step in steps(engine):
        if "spark" not in step.entry.tags:
            continue
        order = [name for name, opening in way(engine, (), step.needs, step.shut) if opening]
        wanted = ["fuelling-stopped", "fire-cover", "hazard-zones", "heads-counted", "dry-motored", "drained"]
        assert set(wanted) <= set(order), step.key
        assert order.index("hazard-zones") < order.index("heads-counted") < order.index("dry-motored"), step.key
        assert order[-1] == "drained", step.key
        power = "ground-power-on" if engine.name == "orrin-t-9" else "air-on"
        assert order.index(power) < order.index("dry-motored"), step.key


def test_nothing_fires_or_turns_with_anything_apart(engine: Fitted) -> None:
    # [practice] an exciter is never fired into an open lead; nobody's hands are in; [published] energy can kill.
    apart = [
        key
        for key, access in engine.access.items()
        if access.name
        in {
            *("lead-off", "lead-off-exciter", "plug-out", "input-off", "box-input-off", "cooling-air-off"),
            *("reverser-open", "core-panel-open", "prop-clear"),
        }
    ]
    assert apart
    # From everything open, whatever order the planner likes, all of it is shut before the crank and the spark.
    start = [key for key, access in engine.access.items() if access.entry.lasting and access.name != "air-on"]
    start = [key for key in start if key != "ground-power-on"]
    for key, check in engine.checks.items():
        if not {"spark", "engine-run"} & set(check.entry.tags):
            continue
        order = way(engine, start, check.needs, check.shut)
        turn = order.index(("dry-motored", True)) if ("dry-motored", True) in order else len(order)
        for name in apart:
            assert (name, False) in order[:turn], (key, name)


def test_closing_is_its_own_list(engine: Fitted) -> None:
    # [practice] tools counted out before doors are shut over them; reverser or propeller given back only after what
    # lies behind it is shut; supplies come back after leads and inputs; notices last.
    start = opened(engine, own(engine, "plug-out"))
    lasting = [n for n in start if engine.access[n].entry.lasting]
    order = [name for name, opening in way(engine, lasting, (), lasting) if not opening]
    inner = {"halden-hf-3": "reverser-open", "halden-hf-5": "core-panel-open", "orrin-t-9": "cowl-panels-open"}
    guard = {"halden-hf-3": "reverser-deactivated", "halden-hf-5": "reverser-deactivated", "orrin-t-9": "prop-clear"}
    doors = {"halden-hf-3": "cowls-open", "halden-hf-5": "cowls-open", "orrin-t-9": "cowl-panels-open"}
    source = own(engine, "input-off") if own(engine, "input-off") in engine.access else "box-input-off"
    plug, lead = own(engine, "plug-out"), own(engine, "lead-off")
    assert order.index(plug) < order.index(lead) < order.index(source) < order.index("breakers-pulled")
    assert order.index("tools-listed") < order.index(doors[engine.name])
    assert order.index(inner[engine.name]) < order.index(guard[engine.name])
    assert order[-1] == "notices"


# -- real sessions ---------------------------------------------------------------------------------

CREW = (
    Person("the technician", ("licensed", "motoring", "engine-run")),
    Person("the second pair of eyes", ("licensed",)),
    Person("the headset", ()),
)


class Session:
    """A case worked by hand: moves are taken up in the order a test wants, whatever the tool would rather do."""

    def __init__(self, fitted: Fitted, place: str = "gate", people: Sequence[Person] = CREW) -> None:
        self.kit, self.clock, self.log = kit_of(fitted.name), Clock(), Memory()
        told = Intake("104", "2", fitted.name, "no-light-off", people=tuple(people), place=place)  # type: ignore[arg-type]
        self.chase = Chase.begin(self.kit, self.log, "crew", told, self.clock)
        self.player = Aircraft(self.kit.model, [])

    def resume(self) -> None:
        """Leave the case and take it up again; all that was open is still so on the aircraft."""
        self.chase = Chase.resume(self.kit, self.log, "crew", self.clock)
        while self.chase.state.unknown:
            self.chase.walked(True)

    def take(self, key: str, outcome: str = "") -> list[tuple[str, str]]:
        """Take a check up and answer it; return (open, close or confirm, name) of what came before, in order."""
        self.chase.accept("check", key)
        before: list[tuple[str, str]] = []
        while not isinstance(step := self.chase.now(), Ask):
            self._pass(step, before)
        assert step.key == key
        self.clock.pass_minutes(step.minutes)
        self.chase.answer(outcome or step.outcomes[0][0])
        return before

    def _pass(self, step: Step, before: list[tuple[str, str]]) -> None:
        if isinstance(step, Confirm):
            before.append(("confirm", step.caution.name))
            self.chase.confirm({ask.name: self.player.fact(ask, step.caution.name) for ask in step.caution.asks})
        elif isinstance(step, Cross):
            before.append(("open" if step.opening else "close", step.access))
            self.clock.pass_minutes(step.minutes)
            self.chase.crossed()
        else:
            assert isinstance(step, Wait), step
            self.clock.pass_minutes((step.until - self.clock()).total_seconds() / 60)


def test_after_a_start_that_failed_nothing_fires_before_it_is_purged_and_asked(engine: Fitted) -> None:
    # [practice] a failed start leaves fuel; never a spark into it without a fresh dry motor, drained and seen dry.
    session, (one, other) = Session(engine), engine.channels
    assert ("open", "drained") in session.take(f"spark-test/{one}", "weak")
    session.take(f"start-alone/{one}", "no-light")
    before = session.take(f"spark-test/{other}")
    assert before.index(("open", "dry-motored")) < before.index(("open", "drained"))
    assert before.index(("open", "drained")) < before.index(("confirm", "fuel-left-in"))
    assert ("confirm", "fuel-spray") in before, "what the dry motor blows out"
    # The other way to a spark or a start, from here on, asks again.
    assert ("confirm", "fuel-left-in") in session.take(f"start-alone/{other}", "lights")


def test_hands_at_the_engine_end_the_count_of_heads(engine: Fitted) -> None:
    # [practice] heads are counted after the last hand is out, and the engine is purged after that.
    session, (one, other) = Session(engine), engine.channels
    session.take(f"spark-test/{one}")
    power = "ground-power-on" if engine.name == "orrin-t-9" else "air-on"
    going_in = session.take("ground-measure")
    ways = [name for how, name in going_in if how == "open" and "hands-in" in engine.access[name].entry.tags]
    at_engine = [n for n in ("prop-clear", "cowls-open", *ways) if n in engine.access]
    for name in at_engine:
        assert going_in.index(("close", power)) < going_in.index(("open", name)), name
    assert not {"heads-counted", "dry-motored", "drained", power} & set(session.chase.state.open)
    again = session.take(f"spark-test/{other}")
    assert [name for how, name in again if how == "open"][-3:] == ["heads-counted", "dry-motored", "drained"]
    if engine.name == "orrin-t-9":
        # [practice] nobody is in the arc while there is power to turn the propeller.
        released = again.index(("close", "prop-clear"))
        assert released < again.index(("open", power)) and released < again.index(("open", "heads-counted"))


def test_a_supply_that_was_on_for_a_reading_is_pulled_again_before_hands_go_on(engine: Fitted) -> None:
    # [practice] what was said of the breakers before power came back is no answer after it.
    session, (one, _) = Session(engine, "hangar"), engine.channels
    session.take(f"feeder-volts/{one}")
    step = session.chase.now()
    if isinstance(step, Confirm):
        assert "breakers" in step.before
    else:
        assert isinstance(step, Cross) and step.access == "breakers-pulled" and step.opening
    assert "input-off" in {engine.access[k].name.removeprefix("box-") for k in session.chase.state.open}
    # Who pulled and tagged them, and how many, is asked anew before hands go on.
    before: list[tuple[str, str]] = []
    while not isinstance(step := session.chase.now(), Offer):
        session._pass(step, before)
    before += session.take(f"lead-terminal-look/{one}")
    assert before.index(("open", "breakers-pulled")) < before.index(("confirm", "supplies-isolated"))


def test_a_missing_piece_that_is_written_up_stops_the_engine(engine: Fitted) -> None:
    # [practice] a missing tip or ceramic stops the job: accounted for, or an approved disposition, before it turns.
    one = engine.channels[0]
    told = Intake("104", "2", engine.name, "piece-missing", channel=one, people=CREW, place="hangar")
    chase = Chase.begin(kit_of(engine.name), Memory(), "piece", told, Clock())
    blocked = {f.get("block") for f in chase.firings() if f.kind == "gate"}
    assert {"motoring", "engine-run"} <= blocked
    assert "spark-test/" + one in chase.barred()
    other = Chase.begin(kit_of(engine.name), Memory(), "other", replace(told, complaint="one-channel-silent"), Clock())
    assert not {"motoring", "engine-run"} & {f.get("block") for f in other.firings() if f.kind == "gate"}


def test_after_a_break_hands_go_in_only_once_the_supplies_are_told_again(engine: Fitted) -> None:
    # [practice] a break restores no safe state: who pulled and tagged, and how many, is asked again.
    session, (one, _) = Session(engine, "hangar"), engine.channels
    session.take(f"lead-terminal-look/{one}")
    session.resume()
    before = session.take(f"lead-spring-feel/{one}")
    asked = {name for how, name in before if how == "confirm"}
    assert {"supplies-isolated", "ignition-energy", "heat-soak", "hot-parts"} <= asked
    # Without a break it is not asked over and over.
    assert session.take(f"lead-cavity-look/{one}") == []


def test_in_a_hangar_nothing_turns_before_somebody_says_where_it_stands_outside(engine: Fitted) -> None:
    # [practice] engines are neither motored nor started under a roof.
    session, (one, other) = Session(engine, "hangar"), engine.channels
    before = session.take(f"spark-test/{one}")
    assert before.index(("confirm", "under-a-roof")) < before.index(("open", "hazard-zones"))
    assert before.count(("confirm", "under-a-roof")) == 1
    assert ("confirm", "under-a-roof") not in session.take(f"spark-test/{other}"), "asked once while it stands there"
    assert ("confirm", "under-a-roof") not in Session(engine).take(f"spark-test/{one}")


def test_one_person_alone_is_offered_nothing_that_turns_fires_or_needs_a_second_look(engine: Fitted) -> None:
    # [practice] motoring, firing and reverser or propeller take two; questions and papers do not.
    chase = Session(engine, "hangar", CREW[:1]).chase
    offered = {move.name for move in chase.ranked().moves}
    for step in steps(engine):
        if {"spark", "fires", "motoring", "engine-run", "reverser", "propeller"} & set(step.entry.tags):
            assert step.key not in offered, step.key
    assert any(engine.checks[key].entry.kind == "history" for key in offered if key in engine.checks)


# -- plug, thread, lead ----------------------------------------------------------------------------


def texts(step: FitCheck | FitRepair) -> str:
    return " ".join([*step.steps, *step.never]).lower()


def test_the_insert_is_held_where_there_is_one(engine: Fitted) -> None:
    # [practice] hold the insert with its adapter, loosening and tightening; a plain boss has none to hold.
    plug = engine.access[own(engine, "plug-out")]
    inserts = engine.profile.features["inserts"]
    for crossing in (plug.open, plug.close):
        assert ("insert-held" in crossing.cautions) is inserts
        assert ("adapter" in crossing.do) is inserts
    modes = engine.zones[f"channel/{engine.channels[0]}"].modes
    assert ("insert-turned" in modes) is inserts
    assert ("boss-thread-damaged" in modes) is not inserts


def test_compound_is_a_matter_of_type(engine: Fitted) -> None:
    # [practice] not called for: it changes the preload and can ruin the insert; called for: leaving it out seizes.
    called_for = engine.profile.features["compound"] == "called-for"
    modes = engine.zones[f"channel/{engine.channels[0]}"].modes
    assert ("compound-left-out" in modes) is called_for
    assert ("compound-on-dry-thread" in modes) is not called_for
    close = engine.access[own(engine, "plug-out")].close
    assert "thread-compound-by-type" in close.cautions
    assert ("Put the thread compound" in close.do) is called_for
    assert ("stays dry" in close.do) is not called_for
    (said,) = (texts(step) for step in steps(engine) if step.key == f"replace-igniter/{engine.channels[0]}")
    assert ("do not put compound" in said) is not called_for


def test_only_an_air_gap_plug_may_be_cleaned_and_only_for_inspection(engine: Fitted) -> None:
    # [published] FAA-H-8083-32B ch. 4: do not clean the firing end of a low-voltage igniter; a high-voltage one may be
    # cleaned for inspection.
    surface = engine.profile.features["igniter"] == "semiconductor-surface"
    assert ("firing-end-not-cleaned" in engine.cautions) is surface
    assert ("firing-end-for-inspection" in engine.cautions) is not surface
    for step in steps(engine):
        for line in step.steps:
            if "firing end" in line.lower() and "clean" in line.lower() and surface:
                assert "not" in line.lower() or "never" in line.lower(), (step.key, line)


def test_the_plug_runs_down_by_hand(engine: Fitted) -> None:
    # [practice] by hand to its seat; one that does not is never forced.
    assert "by hand" in engine.access[own(engine, "plug-out")].close.do
    assert any(c.name == "plug-run-down" for c in engine.checks.values())
    assert any(r.name in ("clean-insert-thread", "dress-boss-thread") for r in engine.repairs.values())


def test_cooled_leads_lose_their_sleeve_before_they_come_off(engine: Fitted) -> None:
    # [practice] some types cool their leads with air, some do not.
    cooled = engine.profile.features["leads"] == "cooled"
    order = opened(engine, own(engine, "lead-off"))
    assert (own(engine, "cooling-air-off") in order) is cooled
    assert any(c.name == "cooling-duct-look" for c in engine.checks.values()) is cooled
    assert ("lead-cooling-lost" in engine.zones[f"channel/{engine.channels[0]}"].modes) is cooled


def test_each_fault_of_an_engine_has_a_way_out(engine: Fitted) -> None:
    # A repair, or for what is not ignition a hand-over that says to whom.
    cleared = {
        (zone, mode): repair for repair in engine.repairs.values() for zone, ms in repair.clears.items() for mode in ms
    }
    for key, zone in engine.zones.items():
        for mode in zone.states[1:]:
            assert (key, mode) in cleared, (engine.name, mode)
            if zone.entry.kind == "other":
                assert cleared[key, mode].hand_over and cleared[key, mode].entry.to, mode


# -- what is believed ------------------------------------------------------------------------------


def part_shares(belief: Belief, channel: str) -> dict[str, float]:
    zone = belief.model.fitted.zones[f"channel/{channel}"]
    found: dict[str, float] = {}
    for state, p in zip(zone.states[1:], belief.zone(zone.key)[1:], strict=True):
        part = zone.modes[state].part
        found[part] = found.get(part, 0.0) + float(p)
    return found


def test_silence_is_the_exciter_the_feed_or_an_open_lead_before_the_plug(engine: Fitted) -> None:
    # [practice] a weak plug is heard too; complete silence points to exciter, feed or an open lead.
    channel = engine.channels[0]
    belief = Belief.before(kit_of(engine.name).model).answer(f"spark-test/{channel}", "silent")
    shares = part_shares(belief, channel)
    plug = shares["igniter"]
    feed = sum(shares.get(p, 0.0) for p in ("feeder", "breaker", "switch", "wiring"))
    shared = 1 - float(belief.zone("shared")[0])
    assert shares["exciter"] + feed + shares["lead"] + shared > 2 * plug


def test_both_silent_on_one_box_is_the_box_or_what_feeds_it() -> None:
    # [practice; 14 CFR 33.69 asks for two separate secondary circuits: the box is what they share]
    fitted = fit(KNOWLEDGE, "orrin-t-9")
    model = kit_of(fitted.name).model
    one = Belief.before(model).answer("spark-test/1", "silent").answer("spark-test/2", "snaps")
    assert one.zone("shared")[0] > 0.9, "the other output fires from the same box"
    assert part_shares(one, "1")["exciter"] > part_shares(one, "2")["exciter"]
    both = Belief.before(model).answer("spark-test/1", "silent").answer("spark-test/2", "silent")
    states = fitted.zones["shared"].states
    box = sum(float(both.zone("shared")[i]) for i, s in enumerate(states) if s.startswith("box-"))
    assert 1 - both.zone("shared")[0] > 0.8
    assert box > 0.4


def test_alternation_shows_a_dead_channel_and_a_hand_that_selects_both_hides_it() -> None:
    # [practice] alternation shows a dead channel within a start or two; starts on both hide it.
    alternating = Belief.before(kit_of("halden-hf-5").model).starts(
        [Start("A", True), Start("B", False), Start("A", True), Start("B", False)]
    )
    assert 1 - alternating.zone("channel/B")[0] > 0.8
    prior = Belief.before(kit_of("orrin-t-9").model)
    hidden = prior.starts([Start("both", True)] * 4)
    for key in ("channel/1", "channel/2"):
        assert hidden.zone(key)[0] == pytest.approx(prior.zone(key)[0], abs=0.01)
    told = prior.starts([Start("1", False), Start("2", True), Start("1", False)])
    assert told.zone("channel/1")[0] < 0.3


@pytest.mark.parametrize("starts", [[Start("A", False), Start("B", False)], [Start("both", False)] * 2])
@pytest.mark.parametrize("name", ["halden-hf-3", "halden-hf-5"])
def test_both_channels_failing_is_mostly_not_ignition(name: str, starts: list[Start]) -> None:
    # [our judgement, issue's table] about three quarters of the time; within half of it either way.
    belief = Belief.before(kit_of(name).model).starts(starts)
    other = 1 - float(belief.zone("engine")[0])
    assert 0.375 <= other <= 0.98


# -- the people side -------------------------------------------------------------------------------


def test_rules_that_bind_people_are_there_on_every_engine(engine: Fitted) -> None:
    # [practice; 14 CFR 121.371 and 121.374, memory] both channels touched on one visit: an independent inspection.
    book = RuleBook({n: r for n, r in engine.rules.items() if r.kind in ("finding", "caution", "advice", "gate")})
    touched = [
        [
            fact("repaired", repair="replace-igniter", channel=channel, count=1),
            fact("access", name="lead-off", channel=channel, state="shut"),
        ]
        for channel in engine.channels
    ]
    for told, both in ((touched[0], False), (touched[0] + touched[1], True)):
        findings = {f.get("finding") for f in book.run(told) if f.kind == "finding"}
        assert ("both-touched" in findings) is both
    assert {"independent-inspection"} <= set(engine.cautions)
    # [practice] nobody motors or runs without the authorisation.
    blocks = {f.get("block") for f in book.run([fact("case", engine=engine.name, people=2)]) if f.kind == "gate"}
    assert {"motoring", "engine-run"} <= blocks

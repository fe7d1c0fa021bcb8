"""What a trainee types is taken for the move it means, asked about where it may mean two, never for another.

The phrases are what technicians say on the line [practice]; hardly any of them stands in the knowledge or in
:mod:`isolate.drill.phrases` as it stands here.
"""

from __future__ import annotations

import itertools
import random
import re
import string

import pytest

from isolate.drill.drive import Choice, choices, suspects
from isolate.drill.phrases import ACCESS, PARTS, SAYINGS
from isolate.drill.phrases import ASKED as WHAT_ASKED
from isolate.drill.said import MOST, Said, completions, matching, understand
from isolate.kb.fit import Fitted, fit, split
from isolate.kb.load import load

HF3, HF5, T9 = "halden-hf-3", "halden-hf-5", "orrin-t-9"
ENGINES = (HF3, HF5, T9)


@pytest.fixture(scope="module")
def engines() -> dict[str, tuple[tuple[Choice, ...], Fitted]]:
    knowledge = load().knowledge
    assert set(knowledge.engines) == set(ENGINES)
    found = {}
    for name in ENGINES:
        fitted = fit(knowledge, name)
        found[name] = (tuple(choices(fitted)), fitted)
    return found


Engines = dict[str, tuple[tuple[Choice, ...], Fitted]]

MEANT = {
    HF3: {
        # Opening and shutting.
        "pull the breakers": "open breakers-pulled",
        "pull and tag the ignition circuit breakers": "open breakers-pulled",
        "trip all the CBs": "open breakers-pulled",
        "open the breakers": "open breakers-pulled",
        "breakers out": "open breakers-pulled",
        "isolate the ignition": "open breakers-pulled",
        "pul the braekers": "open breakers-pulled",
        "push the breakers back in": "close breakers-pulled",
        "close the breakers": "close breakers-pulled",
        "breakers in": "close breakers-pulled",
        "restore the breakers": "close breakers-pulled",
        "open cowls": "open cowls-open",
        "opne the fan cowls": "open cowls-open",
        "unlatch the cowls": "open cowls-open",
        "close the cowls": "close cowls-open",
        "shut and latch the fan cowls": "close cowls-open",
        "clsoe cowls": "close cowls-open",
        "lower the cowlings": "close cowls-open",
        "take plug A out": "open plug-out/A",
        "take out plug a": "open plug-out/A",
        "remove igniter A": "open plug-out/A",
        "remove igniter plug from channel B": "open plug-out/B",
        "pull plug b": "open plug-out/B",
        "unscrew the plug on B": "open plug-out/B",
        "refit plug a": "close plug-out/A",
        "put plug A back in": "close plug-out/A",
        "reinstall ignitor B": "close plug-out/B",
        "screw plug b back in": "close plug-out/B",
        "take lead A off at the plug": "open lead-off/A",
        "disconnect lead b from the plug": "open lead-off/B",
        "disconnect the lead of channel A at the exciter": "open lead-off-exciter/A",
        "lead B off at the exciter": "open lead-off-exciter/B",
        "reconnect lead A at the plug": "close lead-off/A",
        "put lead A back on at the exciter end": "close lead-off-exciter/A",
        "take the input off exciter A": "open input-off/A",
        "disconnect the low voltage input of exciter B": "open input-off/B",
        "reconnect the input connector of exciter A": "close input-off/A",
        "hang the notices": "open notices",
        "put up warning notices in the flight deck": "open notices",
        "take the notices down": "close notices",
        "remove the warning notices": "close notices",
        "deactivate the reverser": "open reverser-deactivated",
        "pin the thrust reverser": "open reverser-deactivated",
        "reactivate the reverser": "close reverser-deactivated",
        "take the reverser pin out": "close reverser-deactivated",
        "open the reverser halves": "open reverser-open",
        "open the reverser": "open reverser-open",
        "close the reverser halves": "close reverser-open",
        "stop refuelling": "open fuelling-stopped",
        "stop the fuelling": "open fuelling-stopped",
        "fuelling may go on": "close fuelling-stopped",
        "mark the danger zones": "open hazard-zones",
        "release the hazard zones": "close hazard-zones",
        "count heads": "open heads-counted",
        "list the tools": "open tools-listed",
        "count the tools": "close tools-listed",
        "make the flaps safe": "open movables-safe",
        "release the slats and flaps": "close movables-safe",
        "check the wind": "open wind-checked",
        "fire cover": "open fire-cover",
        "fire bottle standing by": "open fire-cover",
        "connect air": "open air-on",
        "switch the APU air on": "open air-on",
        "air off": "close air-on",
        "dry motor the engine": "open dry-motored",
        "let it drain": "open drained",
        "dry motor the engine with ignition off": "open dry-motored",
        "dry motor with ignition inhibited": "open dry-motored",
        "take lead A off at the exciter and ground it": "open lead-off-exciter/A",
        "danger zones put back": "close hazard-zones",
        "let it cool down": "open cool-enough",
        "wait for it to cool": "open cool-enough",
        # Checks.
        "listen to channel A": "check spark-test/A",
        "fire channel B": "check spark-test/B",
        "fire channel b alone and listen": "check spark-test/B",
        "fire channel B and listen for the snap": "check spark-test/B",
        "spark test b": "check spark-test/B",
        "sprk test A": "check spark-test/A",
        "spark-test/a": "check spark-test/A",
        "check the spark on A": "check spark-test/A",
        "count the snaps on channel A": "check spark-count/A",
        "listen to A while dry motoring": "check spark-turning/A",
        "hot exciter test on A": "check exciter-hot-test/A",
        "start the engine on B alone": "check start-alone/B",
        "start on channel A": "check start-alone/A",
        "measure lead A": "check lead-continuity/A",
        "check continuity of lead b": "check lead-continuity/B",
        "measure the resistance of lead A from end to end": "check lead-continuity/A",
        "insulation test on lead B": "check lead-insulation/B",
        "wiggle lead a": "check lead-wiggle/A",
        "follow lead A": "check lead-route-look/A",
        "look for water in the plug end of lead B": "check lead-cavity-look/B",
        "feel the lead nuts on A": "check lead-nut-feel/A",
        "look at the tip of plug A": "check plug-tip-look/A",
        "inspect plug tip b": "check plug-tip-look/B",
        "how old is plug A?": "check plug-age-read/A",
        "read the age of igniter B": "check plug-age-read/B",
        "check the torque of plug A": "check plug-torque-check/A",
        "how deep does plug A sit": "check immersion-measure/A",
        "borescope through the boss of plug A": "check plug-hole-borescope/A",
        "boroscope the fuel nozzles": "check nozzles-look",
        "ask the crew": "check crew-ask",
        "ask the pilots what they saw": "check crew-ask",
        "has the crew noticed anything?": "check crew-ask",
        "did the crew notice anything": "check crew-ask",
        "read the maintenance log": "check history-read",
        "stored messages": "check messages-read",
        "stored message of channel B": "check channel-message/B",
        "look at the igniter master switch": "check levers-as-found",
        "judge the fuel flow": "check fuel-flow-look",
        "read the tech log": "check history-read",
        "read the logbook": "check history-read",
        "read the stored messages": "check messages-read",
        "count failed starts by lane": "check starts-by-lane",
        "look at the breakers of channel A": "check breakers-look/A",
        "check breakers on B": "check breakers-look/B",
        "measure the feed volts on A": "check feeder-volts/A",
        "load the feed of channel B": "check feeder-load/B",
        "measure the bonding of exciter A": "check bond-measure/A",
        "look in the tailpipe": "check tailpipe-look",
        "look into the tail pipe": "check tailpipe-look",
        "look at the start valve": "check start-valve-look",
        "read duct pressure": "check duct-pressure-read",
        "exciter swap test": "check exciter-swap-test",
        "try a known good plug on A": "check plug-known-good/A",
        "look at the shared connector": "check common-connector-look",
        "lane test": "check lane-test",
        "when does it fail, and when does it not?": "check when-ask",
        # Repairs and parts changed over.
        "replace the igniter on A": "repair replace-igniter/A",
        "replace plug a": "repair replace-igniter/A",
        "change igniter B please": "repair replace-igniter/B",
        "fit a new plug on B": "repair replace-igniter/B",
        "new plug A": "repair replace-igniter/A",
        "remove and replace igniter A": "repair replace-igniter/A",
        "replce ignitor b": "repair replace-igniter/B",
        "replace spark plug B": "repair replace-igniter/B",
        "change exciter B": "repair replace-exciter/B",
        "renew the exciter of channel A": "repair replace-exciter/A",
        "replace lead A": "repair replace-lead/A",
        "change the ignition lead on b": "repair replace-lead/B",
        "replace the relay of channel A": "repair replace-switch/A",
        "reset the breaker of channel A": "repair reset-breaker/A",
        "replace breaker B": "repair replace-breaker/B",
        "tighten the nuts of lead A": "repair seat-lead-nut/A",
        "put lead A back into its clips": "repair reclip-lead/A",
        "clean the seat of plug B": "repair clean-seat/B",
        "dry plug A in place": "repair purge-wet-igniter/A",
        "dry the cavity of lead A": "repair dry-lead-cavity/A",
        "set the immersion of plug A": "repair set-immersion/A",
        "new gasket under plug B": "repair renew-gasket/B",
        "replace the ECU": "repair replace-control-unit",
        "swap the exciters": "swap exciter:A<>B",
        "swap the plugs over": "swap igniter:A<>B",
        "change the leads over": "swap lead:A<>B",
        "swap leads A and B": "swap lead:A<>B",
        "swap igniter A with igniter B": "swap igniter:A<>B",
        # The rest.
        "independent inspection": "inspect inspection",
        "get a second inspection": "inspect inspection",
        "done": "end done",
        "finished": "end done",
        "hand over to the fuel people": "end hand-over-fuel",
        "not ignition, hand over to fuel": "end hand-over-fuel",
        "hand it over to fuel quality": "end hand-over-fuel-quality",
        "hand over for the start valve": "end hand-over-start-valve",
        "defer channel B": "end deferred",
        "escalate": "end escalate",
        "watch the next starts": "end watch",
    },
    HF5: {
        "open the igniter panel": "open core-panel-open",
        "open the core cowl": "open core-panel-open",
        "close the igniter panel": "close core-panel-open",
        "open the fan cowls": "open cowls-open",
        "slide the cooling sleeve of lead A back": "open cooling-air-off/A",
        "take the cooling air off lead b": "open cooling-air-off/B",
        "refit the cooling air sleeve on A": "close cooling-air-off/A",
        "put the sleeve of lead B back on": "close cooling-air-off/B",
        "look at the cooling duct of lead A": "check cooling-duct-look/A",
        "look at the boss of plug A": "check boss-look/A",
        "restore the cooling of lead A": "repair restore-lead-cooling/A",
        "apply compound to plug A": "repair apply-compound/A",
        "swap the exciters over": "swap exciter:A<>B",
    },
    T9: {
        "open the cowls": "open cowl-panels-open",
        "close the panels": "close cowl-panels-open",
        "restrain the prop": "open prop-clear",
        "tie the propeller": "open prop-clear",
        "release the propeller": "close prop-clear",
        "remove the prop restraint": "close prop-clear",
        "restraint off": "close prop-clear",
        "fit the restraint": "open prop-clear",
        "take lead 1 off at the exciter and ground it": "open lead-off-exciter/1",
        "replace the igniter master switch": "repair replace-selector",
        "plug in ground power": "open ground-power-on",
        "connect ground power": "open ground-power-on",
        "ground power off": "close ground-power-on",
        "disconnect the input of the exciter box": "open box-input-off",
        "reconnect the box input": "close box-input-off",
        "take plug 1 out": "open plug-out/1",
        "remove igniter no. 2": "open plug-out/2",
        "refit plug 2": "close plug-out/2",
        "put the plug back in on channel 1": "close plug-out/1",
        "listen to 1": "check spark-test/1",
        "fire channel 2 alone": "check spark-test/2",
        "spark test channel 1": "check spark-test/1",
        "measure lead 2": "check lead-continuity/2",
        "start the engine on 1": "check start-alone/1",
        "look at the exciter box": "check box-look",
        "compare the outputs": "check outputs-compare",
        "replace igniter 2": "repair replace-igniter/2",
        "change plug number 1": "repair replace-igniter/1",
        "replace the exciter box": "repair replace-exciter-box",
        "change the box": "repair replace-exciter-box",
        "swap the plugs": "swap igniter:1<>2",
        "swap leads 1 and 2": "swap lead:1<>2",
        "hand over to whoever gives the starting power": "end hand-over-electric-supply",
        "defer channel 2": "end deferred",
    },
}  # fmt: skip
"""Engine → phrase → the move, kind and key."""

ASKED = {
    HF3: {
        # One channel, not told.
        "listen to the channel": ("check spark-test/A", "check spark-test/B"),
        "replace the igniter": ("repair replace-igniter/A", "repair replace-igniter/B"),
        "take a plug out": ("open plug-out/A", "open plug-out/B"),
        "take the left plug out": ("open plug-out/A", "open plug-out/B"),
        "replace plug A and plug B": ("repair replace-igniter/A", "repair replace-igniter/B"),
        "listen to both channels": ("check spark-test/A", "check spark-test/B"),
        "replace igniter C": ("repair replace-igniter/A", "repair replace-igniter/B"),
        "hand over to whoever owns the combustor and the case": (
            "end hand-over-combustor/A", "end hand-over-combustor/B"),
        # Two ends of a lead, two ways of a verb.
        "put the lead back on B": ("close lead-off/B", "close lead-off-exciter/B"),
        "disconnect lead A": ("open lead-off/A", "open lead-off-exciter/A"),
        "cowls": ("open cowls-open", "close cowls-open"),
        "plug A": ("open plug-out/A", "close plug-out/A"),
        "fit plug A": ("close plug-out/A", "repair replace-igniter/A"),
        "torque plug A": ("check plug-torque-check/A", "repair redo-plug-torque/A"),
        "dry plug A": ("repair dry-igniter/A", "repair purge-wet-igniter/A"),
        "swap exciter A": ("swap exciter:A<>B", "repair replace-exciter/A"),
        "swap the exciter": ("swap exciter:A<>B", "repair replace-exciter/A", "repair replace-exciter/B"),
        "replace switch A": ("repair replace-switch/A", "repair replace-start-lever-switch/A"),
        "reset the breakers": ("close breakers-pulled", "repair reset-breaker/A", "repair reset-breaker/B"),
        "put the reverser back": ("close reverser-open", "close reverser-deactivated"),
        "close up": ("end done", "end watch"),
        # Two moves, a denial, a question, a word that nobody knows.
        "pull the breakers and open the cowls": ("open breakers-pulled", "open cowls-open"),
        "don't pull the breakers": ("open breakers-pulled",),
        "should I pull the breakers?": ("open breakers-pulled",),
        "replace the probe lead A": ("repair replace-lead/A",),
        "pull breaker A": ("open breakers-pulled",),
        "hand ovr to fuel": ("end hand-over-fuel",),
        "is channel B deferred?": ("end deferred", "check deferral-read/B"),
        "give up": ("end escalate",),
        "wait 30 min to cool": ("wait wait", "open cool-enough"),
        "wait 5 min and pull the breakers": ("wait wait",),
        "drain 5 minutes": ("open drained", "wait wait"),
        # A dry motor that is stopped, or made with ignition on, is none.
        "dry motor off": ("repair purge-wet-igniter/A",),
        "dry motor with ignition on": ("open dry-motored", "check spark-turning/A"),
        "arm the ignition": ("close breakers-pulled", "check spark-test/A"),
        "walk round": ("check tailpipe-look", "check fuel-flow-look"),
        "I noticed the lead is off": ("open lead-off/A",),
        "igniter master switch": ("check levers-as-found", "repair replace-start-lever-switch/A"),
    },
    T9: {
        "replace exciter 1": ("repair replace-exciter-box",),
        "reset the breaker": ("close breakers-pulled", "repair reset-box-breaker"),
        "take plug 3 out": ("open plug-out/1", "open plug-out/2"),
        "lead 1 off": ("open lead-off/1", "open lead-off-exciter/1"),
    },
}  # fmt: skip
"""Engine → phrase → moves that have to be among those that are asked about."""


def named(choice: Choice | None) -> str:
    return "" if choice is None else f"{choice.kind} {choice.key}"


def say(engines: Engines, engine: str, text: str) -> Said:
    return understand(*engines[engine], text)


@pytest.mark.parametrize("engine", ENGINES)
def test_phrases_are_taken_for_the_move_they_mean(engines: Engines, engine: str) -> None:
    missed = {}
    for text, meant in MEANT[engine].items():
        for typed in (text, text.upper(), f"  {text}. "):
            said = say(engines, engine, typed)
            # In capitals "A" may be an article: it may be asked about, but nothing else may be taken.
            asked = typed.isupper() and said.kind == "unclear" and meant in map(named, said.candidates)
            if (said.kind, named(said.choice)) != ("move", meant) and not asked:
                missed[typed] = (said.kind, named(said.choice), [named(c) for c in said.candidates], said.why)
    assert not missed


def test_there_are_enough_phrases() -> None:
    assert sum(map(len, MEANT.values())) >= 120


@pytest.mark.parametrize("engine", ASKED)
def test_what_may_be_two_is_asked(engines: Engines, engine: str) -> None:
    missed = {}
    for text, candidates in ASKED[engine].items():
        said = say(engines, engine, text)
        found = [named(c) for c in said.candidates]
        if said.kind != "unclear" or not set(candidates) <= set(found) or not said.why or len(found) > MOST:
            missed[text] = (said.kind, named(said.choice), found, said.why)
    assert not missed


@pytest.mark.parametrize("engine", ENGINES)
def test_every_key_title_and_completion_means_its_move(engines: Engines, engine: str) -> None:
    known, fitted = engines[engine]
    titles = [c.title for c in known]
    offered = completions(known, "")
    assert [c for _, c in offered] == list(known)
    assert len({phrase.casefold() for phrase, _ in offered}) == len(known)
    for phrase, choice in offered:
        said_by = {phrase, phrase.casefold(), f"{choice.kind} {choice.key}"}
        said_by |= {choice.title} if titles.count(choice.title) == 1 else set()
        said_by |= {choice.key} if choice.kind != "close" else {f"put back {choice.key}"}
        for text in said_by:
            said = understand(known, fitted, text)
            assert said.choice == choice and said.kind == ("wait" if choice.kind == "wait" else "move"), text
        assert (phrase, choice) in completions(known, phrase[: len(phrase) // 2])


@pytest.mark.parametrize("engine", ENGINES)
def test_titles_without_their_stops_mean_their_move_or_are_asked(engines: Engines, engine: str) -> None:
    """Past the exact titles: the same words by the words alone are never taken for another move."""
    known, fitted = engines[engine]
    ones = [c for c in known if split(c.key)[1] in ("", fitted.channels[0])]
    taken = 0
    for choice in ones:
        said = understand(known, fitted, f"please {choice.title}")
        if said.kind in ("move", "wait"):
            assert said.choice is not None and said.choice.title == choice.title, (choice, said)
            taken += 1
    assert taken > 0.6 * len(ones)


def test_what_is_open_tells_which_lead_goes_back(engines: Engines) -> None:
    known, fitted = engines[HF3]
    both = understand(known, fitted, "put the lead back on B", open_now=("lead-off/B", "lead-off-exciter/B"))
    one = understand(known, fitted, "put the lead back on B", open_now=("lead-off/B", "cowls-open"))
    none = understand(known, fitted, "put the lead back on B", open_now=())
    assert (both.kind, named(one.choice), none.kind) == ("unclear", "close lead-off/B", "unclear")
    assert named(understand(known, fitted, "refit the plug", open_now=["plug-out/A"]).choice) == "close plug-out/A"
    assert understand(known, fitted, "take the plug out", open_now=["plug-out/A"]).kind == "unclear"


def test_only_what_can_be_meant_as_it_stands_is_asked_about(engines: Engines) -> None:
    known, fitted = engines[HF3]

    def asked(text: str, *open_now: str) -> list[str]:
        said = understand(known, fitted, text, open_now)
        assert said.kind == "unclear", said
        return [named(c) for c in said.candidates]

    assert asked("cowls") == ["open cowls-open"] and asked("cowls", "cowls-open") == ["close cowls-open"]
    assert "close plug-out/A" not in asked("plug A") and "open plug-out/A" not in asked("plug A", "plug-out/A")
    # The other plug is asked about, never taken: another was meant, perhaps.
    assert asked("take the plug out", "plug-out/A") == ["open plug-out/B"]
    everything = asked("put everything back", "notices", "cowls-open", "heads-counted", "plug-out/A", "lead-off/A",
                       "breakers-pulled", "tools-listed")  # fmt: skip
    # Whatever lasts, more than are named elsewhere; a count of heads ends by itself.
    assert everything == [f"close {k}" for k in ("notices", "cowls-open", "plug-out/A", "lead-off/A",
                                                 "breakers-pulled", "tools-listed")]  # fmt: skip
    assert asked("close it all up") == []
    draining = understand(known, fitted, "drain 5 minutes", ("drained",))
    assert (draining.kind, draining.minutes) == ("wait", 5)
    assert understand(known, fitted, "wait 5 min to drain", ("drained",)).minutes == 5


def test_a_deferral_with_its_reference(engines: Engines) -> None:
    found = {
        "defer B, MEL 74-1": ("B", "MEL 74-1"),
        "defer channel b under mel item 74-10-1": ("B", "MEL 74-10-1"),
        "MEL 74-1 on channel A": ("A", "MEL 74-1"),
        "defer it, ref 7": ("", "7"),
        "defer A 74-1": ("A", "74-1"),
        "MEL channel B": ("B", ""),
    }
    for text, (channel, reference) in found.items():
        said = say(engines, HF3, text)
        assert named(said.choice) == "end deferred" and (said.channel, said.reference) == (channel, reference), said
    # Where a channel is a number, it is no reference.
    two = say(engines, T9, "MEL 2")
    assert (two.channel, two.reference) == ("2", "")


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("wait 5", 5), ("wait 5 min", 5), ("wait for 20 minutes", 20), ("Wait 5min.", 5), ("wait an hour", 60),
        ("wait half an hour", 30), ("wait 1 h 30 min", 90), ("wait 2 hours", 120), ("wait 2.5", 2.5), ("10 min", 10),
        ("hold on 3 minutes", 3), ("wait", None), ("wait a bit", None), ("wait 5 min for the charge to bleed off", 5),
        ("wait 0", 0), ("wait 99999", 99999),
    ],
)  # fmt: skip
def test_waits(engines: Engines, text: str, minutes: float | None) -> None:
    said = say(engines, HF3, text)
    if text == "wait a bit":
        assert said.kind == "unclear" and named(said.candidates[0]) == "wait wait"
    else:
        assert (said.kind, said.minutes, named(said.choice)) == ("wait", minutes, "wait wait")


@pytest.mark.parametrize(
    ("engine", "text", "suspect", "sure"),
    [
        (HF3, "I think it is lead A, 60%", "lead/A", 0.6),
        (HF3, "suspect lead A 60", "lead/A", 0.6),
        (HF3, "suspect lead a", "lead/A", None),
        (HF3, "lead A 60", "lead/A", 0.6),
        (HF3, "lead a 60 %", "lead/A", 0.6),
        (HF3, "my prime suspect is the plug on B, 75 percent sure", "igniter/B", 0.75),
        (HF3, "60% exciter b", "exciter/B", 0.6),
        (HF3, "I reckon it's the igniter on A", "igniter/A", None),
        (HF3, "probably the exciter of channel B, 40%", "exciter/B", 0.4),
        (HF3, "suspect ignitr A 0.5", "igniter/A", 0.5),
        (HF3, "suspect control 30", "control", 0.3),
        (HF3, "nothing wrong 20%", "nothing", 0.2),
        (HF3, "suspect nothing 90", "nothing", 0.9),
        (HF3, "no fault found 35%", "nothing", 0.35),
        (HF3, "suspect the start valve 100%", "valve", 1.0),
        (T9, "lead 1 60", "lead/1", 0.6),
        (T9, "suspect lead 2", "lead/2", None),
        (T9, "I think it is plug 2, 2%", "igniter/2", 0.02),
        (T9, "suspect the exciter box 80", "exciter", 0.8),
        (T9, "suspect exciter 1 55", "exciter/1", 0.55),
    ],
)
def test_suspicions(engines: Engines, engine: str, text: str, suspect: str, sure: float | None) -> None:
    said = say(engines, engine, text)
    assert (said.kind, said.suspect, said.sure) == ("suspect", suspect, sure), said
    assert said.suspect in suspects(engines[engine][1])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("suspect lead 60", "lead A or lead B"),
        ("suspect lead A or plug A 60", "lead A or igniter A"),
        ("suspect lead A 160%", "0 to 100"),
        ("suspect the gremlins 50", "No part is named"),
        ("suspect lead C 50", "No channel is called C"),
        ("suspect supply A 40", "supply"),
    ],
)
def test_a_suspicion_that_is_not_clear_says_why(engines: Engines, text: str, says: str) -> None:
    said = say(engines, HF3, text)
    assert said.kind == "unclear" and says in said.why, said


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("hint", "hint"), ("Give me a hint!", "hint"), ("again", "again"), ("look", "look"), ("where am I?", "look"),
        ("what is open?", "look"), ("earlier", "earlier"), ("leave", "leave"), ("quit", "leave"), ("help", "help"),
        ("when did the engine last run", "look"), ("When did it last run?", "look"), ("is it still hot", "look"),
        ("?", "help"), ("moves", "moves"), ("hlep", "help"), ("erlier", "earlier"), ("leav", "leave"),
    ],
)  # fmt: skip
def test_what_is_asked_of_the_drill_itself(engines: Engines, text: str, kind: str) -> None:
    for engine in ENGINES:
        assert say(engines, engine, text).kind == kind


def test_notes_are_kept_as_typed(engines: Engines) -> None:
    assert say(engines, HF3, "note: Lead A, blue sleeve; don't pull yet").text == "Lead A, blue sleeve; don't pull yet"
    assert say(engines, HF3, "note 5 min?") == Said("note", text="5 min?")
    assert say(engines, HF3, "note") == Said("note")
    assert say(engines, HF3, "note " + "x" * 5000).kind == "note"


def test_moves_lists_those_with_the_word(engines: Engines) -> None:
    known, _ = engines[HF3]
    said = say(engines, HF3, "moves lead")
    assert (said.kind, said.text) == ("moves", "lead")
    keys = {named(c) for c in said.candidates}
    assert {"open lead-off/A", "close lead-off/A", "check lead-wiggle/B", "repair replace-lead/A"} <= keys
    assert "open cowls-open" not in keys
    assert {split(c.key)[1] for c in matching(known, "plug A") if c.kind != "swap"} == {"A"}
    assert say(engines, HF3, "moves zebra") == Said("moves", text="zebra")
    ends = say(engines, HF3, "moves end").candidates
    assert set(ends) == {c for c in known if c.kind == "end"} and ends == say(engines, HF3, "Moves ends").candidates
    assert {split(c.key)[1] for c in say(engines, HF3, "moves lead A").candidates if c.kind != "swap"} == {"A"}
    for engine, text in ((HF3, "moves lead 2"), (T9, "moves lead A"), (T9, "moves lead b")):
        assert "No channel is called" in say(engines, engine, text).why


def test_two_things_are_two_moves(engines: Engines) -> None:
    one = "One thing at a time"
    assert one in say(engines, HF3, "pull the breakers and open the cowls").why
    # Words that fit nothing well are no second thing.
    for text in ("replace the wet lead terminal end", "look at the log page for the lane", "when was plug a run last"):
        said = say(engines, HF3, text)
        assert said.kind == "unclear" and one not in said.why, said


def test_what_another_engine_has_is_said_to_be_missing_here(engines: Engines) -> None:
    for engine, text in ((T9, "read the stored messages"), (HF3, "take the restraint off")):
        assert "names nothing on this engine" in say(engines, engine, text).why
    assert "no word that is known" in say(engines, HF3, "take the flux off").why


def test_while_typing(engines: Engines) -> None:
    known, _ = engines[HF3]
    assert completions(known, "pull")[0][1].key == "breakers-pulled"
    assert completions(known, "take plug a")[0][1] == Choice("open", "plug-out/A", "Igniter plug A: out, boss blanked")
    first = [c.key for _, c in completions(known, "replace igniter pl")[:2]]
    assert first == ["replace-igniter/A", "replace-igniter/B"]
    assert completions(known, "zebra") == [] and completions(known, "?!") == []
    both = {c.key for _, c in completions(known, "combustor")}
    assert both == {"hand-over-combustor/A", "hand-over-combustor/B"}


def test_nothing_near_says_so(engines: Engines) -> None:
    for text in ("", "   ", "!!!", "\x00\x1b[2J", "zebra", "ééé", "123", "a", "the", "x" * 10_000):
        said = say(engines, HF3, text)
        assert said.kind == "unclear" and not said.candidates and said.choice is None and said.why, text


@pytest.mark.parametrize("engine", ENGINES)
def test_random_lines_raise_nothing_and_end_nothing(engines: Engines, engine: str) -> None:
    chance = random.Random(11)
    known, fitted = engines[engine]
    some = [w for phrase, _ in completions(known, "") for w in phrase.split()]
    letters = string.printable + "éß’\u2028\U0001f600\ud800%"
    for _ in range(50):
        mess = "".join(chance.choices(letters, k=chance.randrange(40)))
        salad = " ".join(chance.choices([*some, "not", "wait", "60%", "suspect", "A", "1", "2.5", mess[:6]], k=5))
        for text in (mess, salad, f"wait {mess}", f"suspect {mess}", f"note {mess}", f"moves {salad}"):
            said = understand(known, fitted, text)
            assert len(said.candidates) <= MOST or said.kind == "moves"
            assert (said.choice is not None) == (said.kind in ("move", "wait"))
            assert said.sure is None or 0 <= said.sure <= 1
            assert said.kind != "unclear" or said.why
            completions(known, text)


def test_a_slip_never_turns_a_move_round(engines: Engines) -> None:
    """One letter wrong in a phrase: the same move, or it is asked about; another move only where that is a word."""
    chance = random.Random(3)
    known, fitted = engines[HF3]
    for text, meant in MEANT[HF3].items():
        for _ in range(4):
            at = chance.randrange(len(text))
            typed = text[:at] + chance.choice(["", text[at] * 2, *string.ascii_lowercase]) + text[at + 1 :]
            said = understand(known, fitted, typed)
            if said.kind == "move" and named(said.choice) != meant:
                kind, key = meant.split(" ", 1)
                assert said.choice is not None
                same_thing = split(said.choice.key)[0] == split(key)[0] and said.choice.kind != kind
                assert not same_thing or {kind, said.choice.kind} != {"open", "close"}, (typed, meant, said.choice)


def test_no_words_of_opening_are_taken_for_closing(engines: Engines) -> None:
    """Every verb with every thing of each access state: what is taken at all is that move, never its opposite."""
    known, fitted = engines[HF3]
    taken = 0
    for name in {split(k)[0] for k in fitted.access}:
        channel = "A" if f"{name}/A" in fitted.access else ""
        for kind, sayings in (("open", ACCESS[name].open), ("close", ACCESS[name].close)):
            for saying in sayings:
                slots = [slot.split("|") for slot in re.sub(r"\([^)]*\)", "", saying).split()]
                for said_by in itertools.product(*slots):
                    said = understand(known, fitted, " ".join(said_by) + f" on {channel}" * bool(channel))
                    if said.choice is not None:
                        assert named(said.choice) == f"{kind} {name}" + f"/{channel}" * bool(channel), said
                        taken += 1
    assert taken > 500


def test_the_words_name_what_exists(engines: Engines) -> None:
    fits = [fitted for _, fitted in engines.values()]
    names = {split(k)[0] for f in fits for k in (*f.checks, *f.repairs, *f.access)}
    assert set(ACCESS) == {split(k)[0] for f in fits for k in f.access}
    assert set(SAYINGS) - names == {"deferred", "done", "escalate", "watch", "inspection", "swap"}
    assert set(PARTS) == {split(k)[0] for f in fits for k in suspects(f)} - {"nothing"}
    made = {f"{c.kind} {split(c.key)[0]}" for known, _ in engines.values() for c in known}
    assert {name for _, _, found in WHAT_ASKED for name in found} <= made
    for fitted in fits:
        for key, access in fitted.access.items():
            way = ACCESS[split(key)[0]]
            assert bool(way.close) == bool(way.says_close) == access.entry.lasting, key


@pytest.mark.parametrize("text", ["wait nan", "wait 1e9", "wait inf min"])
def test_a_wait_of_no_number_is_a_wait_all_the_same(hf3: Fitted, text: str) -> None:
    said = understand(choices(hf3), hf3, text)
    assert said.kind == "wait" and said.minutes is None

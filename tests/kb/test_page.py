"""The page of an entry: what it says, where it stands, and all that refers to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from isolate.kb.load import load
from isolate.kb.model import KINDS
from isolate.kb.names import UnknownName
from isolate.kb.page import ManyNames, Page, Use, page

if TYPE_CHECKING:
    from conftest import Base

CHECKS, ZONES, REPAIRS, RULES = "checks/all.yaml", "zones/channel.yaml", "repairs/all.yaml", "rules/all.yaml"
ENGINE = "engines/halden-hf-3.yaml"


def of(base: Base, name: str) -> Page:
    return page(load(base.folder), name)


def field(shown: Page, label: str) -> tuple[str, ...]:
    return next(f.lines for f in shown.fields if f.label == label)


def used(shown: Page, how: str) -> list[str]:
    return [f"{use.kind}/{use.name}" for use in shown.used_by if use.how == how]


def use(shown: Page, how: str, name: str) -> Use:
    return next(u for u in shown.used_by if u.how == how and u.name == name)


# -- pages of each kind ---------------------------------------------------------------------------------


def test_a_fault_mode(base: Base) -> None:
    shown = of(base, "lead-loose")
    assert (shown.kind, shown.title, shown.per_channel) == ("modes", "lead A loose at its nut", True)
    assert str(shown.spot) == f"knowledge/{ZONES}:{base.line(ZONES, 'lead-loose:')}"
    assert field(shown, "zone") == ("channel: ignition channel A",)
    assert field(shown, "prior") == ("1% before anything is known (one in 100)",)
    assert field(shown, "shows") == ("steady 50%, vibrating 90% of the time",)
    assert field(shown, "telltale") == ("The nut turns by hand.",)
    assert [(s.name, s.kind) for s in shown.sources] == [("weighed", "judgement")]
    assert used(shown, "told by") == ["checks/nut-feel", "checks/spark-test"]
    # 0.95 log(0.95 / 0.02) is more than what `tight` gives, which is against it.
    told = use(shown, "told by", "nut-feel")
    assert told.says == "loose 95%, healthy 2%"
    assert told.spot.line == base.line(CHECKS, "gives: {tight: 0.05, loose: 0.95}") - 1
    assert used(shown, "cleared by") == ["repairs/tighten-nut"]
    assert use(shown, "cleared by", "tighten-nut").says == "90%"
    left = use(shown, "may be left by", "replace-igniter")
    assert (left.says, left.spot.line) == ("1%", base.line(REPAIRS, "mode: lead-loose, chance"))
    assert used(shown, "matched by") == ["rules/warn-of-energy"]
    assert used(shown, "had by") == ["engines/halden-hf-3"]


def test_what_an_engine_changes_is_told_with_its_line(base: Base) -> None:
    had = use(of(base, "igniter-worn"), "had by", "halden-hf-3")
    assert (had.says, had.spot.line) == ("prior there 3%", base.line(ENGINE, "priors:"))
    assert use(of(base, "nut-feel"), "had by", "halden-hf-3").says == "takes 3 min there"
    assert use(of(base, "cowls-open"), "had by", "halden-hf-3").says == "there 7 min to open"


LOOSE_ROW = "        - modes: [lead-loose]\n          gives: {snaps: 0.1, weak: 0.1, silent: 0.8}\n"


def test_a_mode_like_another_is_told_through_it(base: Base) -> None:
    base.swap(ZONES, "part: lead", "part: lead\n        like: igniter-worn")
    base.swap(CHECKS, LOOSE_ROW, "")
    shown = of(base, "lead-loose")
    assert field(shown, "answers like") == ("igniter-worn: igniter A worn",)
    assert used(shown, "told by") == ["checks/nut-feel"]
    assert used(shown, "told through another by") == ["checks/spark-test"]
    through = use(shown, "told through another by", "spark-test")
    assert through.says == "as igniter-worn: weak 70%, healthy 2%"
    assert used(of(base, "igniter-worn"), "what is like it") == ["modes/lead-loose"]


def test_a_row_that_answers_as_healthy_does_tells_nothing(base: Base) -> None:
    base.swap(CHECKS, LOOSE_ROW, LOOSE_ROW.replace("0.1, weak: 0.1, silent: 0.8", "0.97, weak: 0.02, silent: 0.01"))
    shown = of(base, "lead-loose")
    assert used(shown, "told by") == ["checks/nut-feel"]
    assert used(shown, "looks healthy to") == ["checks/spark-test"]


def test_a_fault_heard_through_another_channel_says_so(base: Base) -> None:
    base.swap(CHECKS, LOOSE_ROW, "")
    base.swap(CHECKS, "gives: {snaps: 1}\n", "gives: {snaps: 1}\n" + LOOSE_ROW)
    told = use(of(base, "lead-loose"), "told by", "spark-test")
    assert told.says == "from another channel; silent 80%, healthy 0%"


def test_a_check(base: Base) -> None:
    shown = of(base, "spark-test")
    assert (shown.kind, shown.title) == ("checks", "Spark test of channel A")
    assert field(shown, "purpose") == ("Hear whether channel A fires.",)
    assert field(shown, "minutes") == ("6 min",)
    assert field(shown, "needs") == ("notices: Warning notices in the flight deck",)
    assert field(shown, "must be shut") == ("lead-off: Lead A off at the igniter",)
    assert field(shown, "answers")[1] == "channel, igniter-worn: snaps 20%, weak 70%, silent 10%"
    assert field(shown, "answers")[3] == "others, healthy: snaps 100%"
    assert field(shown, "outcomes")[0] == "snaps: It snaps. The channel fires."
    assert use(shown, "answered by", "one-channel-silent").says == "Silence."
    assert used(shown, "verifies") == ["complaints/one-channel-silent"]
    assert used(shown, "matched by") == ["rules/silent-channel"]
    blocked = use(shown, "blocked by", "no-spark-unlicensed")
    assert (blocked.says, blocked.spot.line) == ("by its tag, spark", base.line(RULES, "block: spark"))
    assert used(of(base, "nut-feel"), "done first by") == ["repairs/replace-igniter"]


def test_an_access_state(base: Base) -> None:
    shown = of(base, "lead-off")
    assert field(shown, "open") == (
        "Take the lead of channel A off.",
        "takes 4 min, then 5 min to wait",
        "caution discharge: Stored energy",
    )
    assert used(shown, "needed by") == ["repairs/replace-igniter"]
    assert used(shown, "shut for") == ["checks/spark-test"]
    needed = used(of(base, "cowls-open"), "needed by")
    assert needed == ["checks/nut-feel", "access/lead-off", "repairs/tighten-nut"]


def test_a_caution(base: Base) -> None:
    shown = of(base, "discharge")
    asked = ("Minutes since the input came off (minutes, at least 1)", "Who took it off (person)")
    assert field(shown, "asks") == asked
    assert field(shown, "timer runs") == ("for the minutes told: Minutes since the input came off",)
    assert used(shown, "shown before") == ["access/cowls-open", "access/lead-off"]
    assert use(shown, "shown before", "cowls-open").says == "opening it"
    assert used(shown, "shown by") == ["rules/warn-of-energy"]


def test_a_repair_a_complaint_a_rule_and_a_source(base: Base) -> None:
    shown = of(base, "replace-igniter")
    assert field(shown, "clears") == ("igniter-worn: igniter A worn",)
    assert field(shown, "may leave") == ("lead-loose: lead A loose at its nut (1%)",)
    assert field(shown, "look first") == ("nut-feel: Feel the lead nut of channel A",)
    shown = of(base, "one-channel-silent")
    assert field(shown, "starts") == ("channel A: did not light",)
    assert field(shown, "answers") == ("spark-test: Spark test of channel A: Silence.",)
    shown = of(base, "silent-channel")
    assert field(shown, "when") == (
        "answer: check spark-test, channel $c, outcome silent, count $n",
        "not: declined: move nut-feel, channel $c",
    )
    assert field(shown, "then") == ("finding channel-silent, channel $c",)
    assert use(shown, "matched by", "warn-of-energy").says == "by its finding, channel-silent"
    assert "or (suspect: mode one of lead-loose, igniter-worn" in field(of(base, "warn-of-energy"), "when")[0]
    # That it matches its own finding, not to say it twice, is no news on its own page.
    base.swap(RULES, "where: {move: nut-feel, channel: $c}", "where: {move: nut-feel, channel: $c}\n      - absent:\n"
              "          fact: finding\n          where: {name: channel-silent, channel: $c}")
    assert used(of(base, "silent-channel"), "matched by") == ["rules/warn-of-energy"]
    shown = of(base, "shop-practice")
    assert field(shown, "edition") == ("2019",)
    cited = used(shown, "cited by")
    assert "modes/igniter-worn" in cited and "checks/nut-feel" in cited and "modes/lead-loose" not in cited
    assert "sources" not in {u.kind for u in shown.used_by}


def test_an_engine_and_a_zone(base: Base) -> None:
    shown = of(base, "halden-hf-3")
    assert field(shown, "features") == ("inserts yes, cooled-leads no",)
    assert field(shown, "priors") == ("igniter-worn: 3%",)
    assert field(shown, "weights")[0].startswith("at the gate: labour 1, parts 1, hand over 30")
    zone = of(base, "channel")
    assert field(zone, "modes") == ("igniter-worn: igniter A worn (2%)", "lead-loose: lead A loose at its nut (1%)")
    assert used(zone, "looked at by") == ["checks/nut-feel", "checks/spark-test"]
    assert used(zone, "cleared by") == ["repairs/replace-igniter", "repairs/tighten-nut"]


def test_what_an_engine_lacks_says_why(base: Base) -> None:
    base.swap(CHECKS, "title: Look up the fuel flow", "only: {cooled-leads: true, inserts: true}\n    title: Fuel flow")
    base.swap(ENGINE, "weights:", "omits: {repairs: [tighten-nut], modes: [igniter-worn]}\n    weights:")
    base.swap(ENGINE, "zones: [channel, engine]", "zones: [channel]")
    lacking = {n: use(of(base, n), "not had by", "halden-hf-3") for n in ("fuel-flow-look", "tighten-nut", "no-fuel")}
    assert lacking["fuel-flow-look"].says == "only where cooled-leads is yes"
    assert lacking["tighten-nut"].says == "it omits it"
    assert lacking["tighten-nut"].spot.line == base.line(ENGINE, "omits:")
    assert lacking["no-fuel"].says == "it does not have the zone"
    assert use(of(base, "replace-igniter"), "not had by", "halden-hf-3").says == "nothing there that it bears on"


def test_lines_for_some_engines_say_for_which(base: Base) -> None:
    base.swap(CHECKS, "purpose: Find a loose nut.", "purpose: Find a loose nut.\n    steps:\n      - Turn it.\n"
              "      - {only: {inserts: true}, say: 'Hold insert {channel}.'}")
    assert field(of(base, "nut-feel"), "steps") == ("1. Turn it.", "2. (inserts is yes) Hold insert A.")


# -- names -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["spark-test/A", "check/spark-test", "checks/spark-test/B", " spark-test "])
def test_a_name_may_come_with_its_kind_and_with_a_channel(base: Base, name: str) -> None:
    assert (of(base, name).kind, of(base, name).name) == ("checks", "spark-test")


@pytest.mark.parametrize("name", ["mode/no-fuel", "modes/no-fuel", "fault mode/no-fuel"])
def test_fault_modes_are_a_kind(base: Base, name: str) -> None:
    assert of(base, name).kind == "modes"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("sparktest", "no entry is called `sparktest` (did you mean spark-test?)"),
        ("nut", "no entry is called `nut`; names with it: nut-feel, tighten-nut"),
        ("check/spark-tset", "no check is called `spark-tset` (did you mean spark-test?)"),
        ("mode/spark-test", "no fault mode is called `spark-test`"),
        ("zzz", "no entry is called `zzz`"),
        ("", "no entry is called ``"),
    ],
)
def test_a_name_that_nothing_has_is_told_with_what_is_near(base: Base, name: str, says: str) -> None:
    with pytest.raises(UnknownName) as caught:
        of(base, name)
    assert str(caught.value) == says


def test_a_name_that_two_kinds_have_asks_which(base: Base) -> None:
    base.swap(REPAIRS, "  tighten-nut:", "  nut-feel:")
    with pytest.raises(ManyNames) as caught:
        of(base, "nut-feel")
    assert caught.value.choices == ("check/nut-feel", "repair/nut-feel")
    assert f"check (knowledge/{CHECKS}:{base.line(CHECKS, 'nut-feel:')})" in str(caught.value)
    assert [of(base, name).kind for name in caught.value.choices] == ["checks", "repairs"]


def test_entries_of_every_kind_that_is_shipped_have_a_page() -> None:
    loaded = load()
    for kind in KINDS:
        entries = getattr(loaded.knowledge, kind)
        for name in list(entries)[:2]:
            shown = page(loaded, f"{kind}/{name}")
            assert shown.title and shown.fields and shown.spot.line
            assert all(line.strip() and "{channel}" not in line for f in shown.fields for line in f.lines)
            # Whatever refers to it stands where it says.
            for u in shown.used_by:
                assert u.spot.line and u.title


def test_what_is_set_is_shown(base: Base) -> None:
    """Each field of each model that an entry sets shows, those that are added to a model later among them."""
    loaded = load(base.folder)
    for kind in KINDS:
        for name, entry in getattr(loaded.knowledge, kind).items():
            wanted = entry.model_fields_set - {"title", "source", "per"}
            if kind == "rules" and not entry.then.model_fields_set:
                wanted = wanted - {"then"}
            assert len(page(loaded, f"{kind}/{name}").fields) >= len(wanted)

"""What a case cost, what would have been cheaper then, and in hindsight. Figures are those of the kept trails."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from isolate.case.case import Intake, fold
from isolate.case.chase import Chase
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.play import Clock, _take
from isolate.case.steps import Done, Offer
from isolate.review import cost
from isolate.review.evidence import Weighing
from isolate.review.named import Names
from isolate.review.shapes import CameBack, Cheaper
from tests.review import desk
from tests.review.read_back import NAMES, kits, more, read_back, resealed
from tests.worked import Worked, trail

HF3 = "halden-hf-3"


def names() -> Names:
    return Names(kits(HF3).fitted)


def in_vain(events: tuple[Event, ...], idle: frozenset[int] = frozenset()) -> tuple[Cheaper, ...]:
    return cost.for_nothing(kits(HF3), events, fold(events), names(), idle)


def access(key: str, state: str, minutes: float = 0) -> tuple[str, Mapping[str, Any]]:
    return "access", {"access": key, "state": state, "minutes": minutes}


def answered(check: str, outcome: str, **more: Any) -> tuple[str, Mapping[str, Any]]:
    return "answered", {"check": check, "outcome": outcome, "minutes": 5, "within": "check", "spoils": [], **more}


# -- minutes and advice ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_minutes_by_step_and_access_are_all_the_minutes(name: str) -> None:
    events = trail(name)
    found = cost.spent(events, Names(None))
    assert sum(s.minutes for s in found) == pytest.approx(fold(events).book_minutes)
    assert sum(s.times for s in found if s.kind == "check") == sum(
        e.kind == "answered" and e.body["minutes"] > 0 for e in events
    )
    # Each kind with its dearest first.
    assert [(s.kind, -s.minutes) for s in found] == sorted(
        ((s.kind, -s.minutes) for s in found), key=lambda s: (("check", "repair", "swap", "access").index(s[0]), s[1])
    )


def test_what_was_taken_back_took_its_minutes() -> None:
    twice = next(s for s in cost.spent(trail("taken-back"), names()) if s.key == "light-time-told")
    assert (twice.times, twice.minutes) == (2, 10)


def test_advice_turned_down_says_why_and_what_was_expected_without_it() -> None:
    events = trail("declined")
    found = cost.advice(events, names(), set())
    (declined,) = [a for a in found if a.became != "taken"]
    first, second = (e.body["expected"] for e in events if e.seq in (6, 8))
    assert declined.became == "declined" and declined.reason == "the panel is behind cargo"
    assert declined.expected == first and declined.over == pytest.approx(second - first) == pytest.approx(45.51)
    assert len(found) == 1 + sum(e.kind == "accepted" and e.body["kind"] != "close" for e in events)
    (cheaper,) = cost.dearer(events, names(), set())
    assert cheaper.over == declined.over and "the panel is behind cargo" in cheaper.did


@pytest.mark.parametrize(("over", "told"), [(30, True), (9, False), (-20, False)])
def test_another_move_than_the_one_offered_is_told_where_it_was_dearer(over: float, told: bool) -> None:
    """Of 305 expected minutes 3 percent, some 9, are the plan's own noise."""
    events = trail("declined")[:6]
    offer = events[5].body
    other = offer["alternatives"][0]
    taken = {"kind": other["kind"], "move": other["move"], "expected": offer["expected"] + over}
    made = more(events, ("accepted", taken))
    (advice,) = cost.advice(made, names(), set())
    assert advice.became == "instead" and advice.over == pytest.approx(over)
    assert advice.title == "Look at the breakers of channel B, normal and standby"
    assert [c.over for c in cost.dearer(made, names(), set())] == ([over] if told else [])
    assert cost.advice(made, names(), {made[-1].seq}) == ()


# -- what served nothing -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["wet-lead", "turboprop"])
def test_what_the_tool_itself_asks_for_is_not_charged(name: str) -> None:
    assert read_back(name).cheaper == ()


def test_what_was_opened_for_nothing_is_told() -> None:
    made = more(trail("taken-back")[:44], access("notices", "open", 2), access("notices", "shut", 2))
    (found,) = in_vain(made)
    assert found.over == 4 and found.did == "Opened: Warning notices in the flight deck"
    # Nobody knows what an open one may yet be for.
    assert in_vain(made[:-1]) == ()


def test_what_a_step_used_or_something_that_it_used_needed_is_not() -> None:
    needs = kits(HF3).fitted.needed(kits(HF3).fitted.checks["lead-continuity/B"].needs)
    opened = [access(key, "open", 3) for key in needs]
    shut = [access(key, "shut", 3) for key in needs]
    made = more(trail("taken-back")[:44], *opened, answered("lead-continuity/B", "continuous"), *shut)
    assert in_vain(made) == ()
    without = more(trail("taken-back")[:44], *opened, *shut)
    assert len(in_vain(without)) == len(needs) and sum(c.over for c in in_vain(without)) == 6 * len(needs)


def test_what_was_put_back_and_opened_again_is_told_unless_a_step_asked_for_it() -> None:
    fitted = kits(HF3).fitted
    needs = [*fitted.needed(fitted.checks["lead-continuity/B"].needs)]
    opened = [access(key, "open", 3) for key in needs]
    use = answered("lead-continuity/B", "continuous")
    there_and_back = [access("cowls-open", "shut", 12), access("cowls-open", "open", 8)]
    made = more(trail("taken-back")[:44], *opened, use, *there_and_back, use)
    (found,) = in_vain(made)
    assert found.over == 20 and found.did == "Put back and opened again: Fan cowls"
    assert "cowls-open" in fitted.checks["start-alone/A"].shut
    between = [there_and_back[0], answered("start-alone/A", "lights"), there_and_back[1]]
    assert in_vain(more(trail("taken-back")[:44], *opened, use, *between, use)) == ()
    # Who leaves puts things back.
    away = [there_and_back[0], ("left", {"open": []}), ("resumed", {}), there_and_back[1]]
    assert in_vain(more(trail("taken-back")[:44], *opened, use, *away, use)) == ()


def test_a_check_asked_again_for_nothing_is_told() -> None:
    made = more(trail("taken-back")[:44], answered("finding-told/B", "nothing"))
    (found,) = in_vain(made, frozenset({made[-1].seq}))
    assert found.over == 5 and found.did == "Asked again: What did somebody find on channel B and write up?"
    verifying = resealed(made, made[-1].seq, {"within": "verify"})
    assert in_vain(verifying, frozenset({made[-1].seq})) == ()


# -- in hindsight ------------------------------------------------------------------------------------


def test_what_a_step_spoils_is_opened_again_on_the_least_way(tmp_path: Path) -> None:
    """A check of the verification that leaves the cowl shut: for the other channel it is opened once more."""
    plain, fire = desk.kit_in(desk.write(tmp_path / "plain")), "    minutes: 4\n"
    events = desk.case(plain, "lead-open/B")
    shut = desk.kit_in(desk.write(tmp_path / "shut", fire, f"{fire}    needs: [cowl]\n    spoils: [cowl]\n"))
    cowl, back = ("On the way: open or make ready Cowl", 10.0), ("Close up: put back Cowl", 5.0)
    renew, *checks = ("Renew lead B", 20.0), ("Fire channel A", 4.0), ("Fire channel B", 4.0)
    for kit, way in ((plain, [cowl, renew, *checks, back]), (shut, [cowl, renew, checks[0], cowl, checks[1]])):
        found = cost.hindsight(kit, events, fold(events), Names(kit.fitted), Weighing())
        assert found is not None and list(found.steps) == way


@pytest.mark.parametrize("name", ["turboprop"])
def test_the_least_way_is_what_the_chase_takes_with_the_repair_taken_up_at_once(name: str) -> None:
    """Worked by the chase itself: the repair first, then the verification, no other move. Looks that belong to the
    repair are asked by the chase and not needed by whoever knows."""
    events, hindsight = trail(name), read_back(name).hindsight
    assert hindsight is not None and len(hindsight.truth) == 1
    repair = next(e.body["repair"] for e in events if e.kind == "repaired")
    intake = Intake.from_dict(events[0].body["intake"])
    clock, log = Clock(datetime(2030, 6, 1, 6, 0, tzinfo=UTC)), Memory()
    kit = kits(intake.engine)
    chase = Chase.begin(kit, log, "hindsight", intake, clock)
    player = Worked(kit.model, list(hindsight.truth), None, intake.condition)
    moves = [("repair", repair), ("verify", "verification"), ("end", "watch")]
    while not isinstance(step := chase.now(), Done):
        if isinstance(step, Offer):
            chase.accept(*moves.pop(0))
        else:
            _take(chase, step, player, clock)
    looks = sum(e.body["minutes"] for e in log.events("hindsight") if e.body.get("within") == "repair")
    assert hindsight.least == pytest.approx(chase.state.book_minutes - looks)
    assert hindsight.least == pytest.approx(sum(minutes for _, minutes in hindsight.steps))
    assert hindsight.least < hindsight.took == pytest.approx(fold(events).book_minutes)


def test_the_shop_comes_before_the_end_of_the_case() -> None:
    found = {}
    for name in NAMES:
        events = trail(name)
        kit = kits(events[0].body["engine"])
        truth = cost.truth(kit, events, fold(events), Names(kit.fitted))
        found[name] = truth.by, truth.modes
    assert found == {
        "worn-plug": ("the shop", ("igniter-worn/B",)),
        "hot-exciter": ("the end of the case", ("exciter-fails-hot/B",)),
        "came-back": ("the shop", ("lead-chafed/B",)),
        "wet-lead": ("the end of the case", ("lead-cavity-wet/B",)),
        "turboprop": ("the end of the case", ("igniter-worn/1",)),
        # The shop found nothing wrong with the part: what it was is not known.
        "declined": ("nobody", ()),
        "taken-back": ("nobody", ()),
    }
    events = trail("taken-back")
    assert cost.hindsight(kits(HF3), events, fold(events), names(), Weighing()) is None


def test_a_part_that_the_shop_found_good_puts_the_verdict_in_doubt() -> None:
    events = trail("declined")
    made = cost.hindsight(kits(HF3), events, fold(events), names(), Weighing())
    assert made is not None
    assert made.doubt == (
        "The verdict is in doubt: the end names lead B open, but the shop found nothing wrong with the part that came "
        "off at “replace ignition lead B”."
    )
    assert (made.steps, made.least, made.none) == ((), 0, "No hindsight: what it was is not known.")
    assert (91, "The shop found nothing wrong with it.") in {(n.seq, n.why) for n in made.not_needed}


def test_a_fault_that_the_shop_found_where_the_end_saw_none_is_the_truth() -> None:
    events = trail("wet-lead")
    finding = {"repair": "replace-lead/B", "finding": "confirmed", "text": "", "report": ""}
    end = next(e for e in events if e.kind == "closed")
    found = [{**f, "mode": "healthy/B"} for f in end.body["found"]]
    made = more(resealed(events, end.seq, {"found": found}), ("shop-finding", finding))
    truth = cost.truth(kits(HF3), made, fold(made), names())
    # The likeliest of the part itself: water in its cavity is no fault of the lead.
    assert truth.by == "the shop" and truth.modes == ("lead-tracked/B",)
    assert "the shop found the fault in it" in truth.doubt


def test_nobody_knows_where_neither_end_nor_shop_names_anything() -> None:
    events = trail("wet-lead")
    end = next(e for e in events if e.kind == "closed")
    made = resealed(events, end.seq, {"found": [{**f, "mode": "healthy/B"} for f in end.body["found"]]})
    truth = cost.truth(kits(HF3), made, fold(made), names())
    assert (truth.by, truth.modes, truth.doubt) == ("nobody", (), "")


def finding(repair: str, said: str, **told: str) -> tuple[str, Mapping[str, Any]]:
    return "shop-finding", {"repair": repair, "finding": said, "text": "", "report": "", **told}


REPAIR = "replace-exciter/B"


@pytest.mark.parametrize("order", [("not-confirmed", "confirmed"), ("confirmed", "not-confirmed")])
def test_two_words_of_the_shop_that_disagree_leave_it_open_whichever_came_last(order: tuple[str, str]) -> None:
    words = [finding(REPAIR, said, report=f"R{n}") for n, said in enumerate(order, start=1)]
    made = more(trail("hot-exciter"), *words)
    found = cost.hindsight(kits(HF3), made, fold(made), names(), Weighing())
    assert found is not None and (found.by, found.truth, found.steps, found.rest) == ("nobody", (), (), ())
    assert found.doubt.startswith("Two words of the shop disagree on the part that came off at “replace exciter B”: ")
    assert "(report R1); then the shop" in found.doubt and "exciter B gives up when hot, is in doubt." in found.doubt
    assert found.doubt.count("Two words") == 1
    other = more(made, finding(REPAIR, "other", text="connector corroded."))
    assert "something else: “connector corroded”" in cost.truth(kits(HF3), other, fold(other), names()).doubt
    # The same word twice is no dispute.
    twice = more(trail("hot-exciter"), words[0], words[0])
    assert "disagree" not in cost.truth(kits(HF3), twice, fold(twice), names()).doubt


def test_two_faults_that_a_shop_named_disagree_as_well() -> None:
    words = [finding(REPAIR, "confirmed", mode=mode) for mode in ("exciter-dead/B", "exciter-fails-hot/B")]
    made = more(trail("hot-exciter"), *words)
    truth = cost.truth(kits(HF3), made, fold(made), names())
    assert truth.by == "nobody" and "the fault in it, exciter B dead; then" in truth.doubt
    one = more(trail("hot-exciter"), words[0])
    truth = cost.truth(kits(HF3), one, fold(one), names())
    assert (truth.by, truth.modes) == ("the shop", ("exciter-dead/B",))
    assert truth.doubt.startswith("The end names exciter B gives up when hot, but the shop found exciter B dead in")


def test_something_else_that_the_shop_found_is_told_in_its_words() -> None:
    made = more(trail("hot-exciter"), finding(REPAIR, "other", text="connector \x1b[2Jcorroded."))
    truth = cost.truth(kits(HF3), made, fold(made), names())
    assert (truth.by, truth.modes) == ("nobody", ())
    assert truth.doubt == (
        "The verdict is in doubt: the end names exciter B gives up when hot, but in the part that came off at “replace "
        "exciter B” the shop found something else: “connector corroded”."
    )


def test_with_one_of_two_named_faults_in_doubt_nothing_is_known_unless_the_shop_confirmed_the_other() -> None:
    events = trail("wet-lead")
    end = next(e for e in events if e.kind == "closed")
    plug, lead = end.body["found"]
    made = resealed(events, end.seq, {"found": [{**plug, "mode": "exciter-dead/A"}, lead]})
    lone = more(made, finding(plug["repair"], "not-confirmed"))
    truth = cost.truth(kits(HF3), lone, fold(lone), names())
    assert (truth.by, truth.modes) == ("nobody", ()) and "names exciter A dead" in truth.doubt
    both = more(lone, finding(lead["repair"], "confirmed"))
    truth = cost.truth(kits(HF3), both, fold(both), names())
    assert (truth.by, truth.modes) == ("the shop", (lead["mode"],)) and "names exciter A dead" in truth.doubt


def test_an_end_that_nobody_confirmed_and_that_came_back_gives_no_hindsight() -> None:
    events = trail("hot-exciter")
    back = CameBack("later", "2030-01-25T06:00:00Z", 6.8, (), (), (), "nobody", "later: something")
    found = cost.hindsight(kits(HF3), events, fold(events), names(), Weighing(), [back])
    assert found is not None and (found.by, found.steps, found.least) == ("nobody", (), 0)
    assert found.none == (
        "No hindsight: only the end of the case says that it was exciter B gives up when hot, and the defect came back."
    )
    # What the shop confirmed stands, whatever came back.
    made = more(events, finding(REPAIR, "confirmed"))
    again = cost.hindsight(kits(HF3), made, fold(made), names(), Weighing(), [back])
    assert again is not None and again.by == "the shop" and again.steps and not again.none


@pytest.mark.parametrize("name", ["worn-plug", "wet-lead", "turboprop"])
def test_where_the_minutes_over_the_least_way_went_adds_up(name: str) -> None:
    made, events = read_back(name).hindsight, trail(name)
    assert made is not None and made.steps
    assert sum(minutes for _, minutes in made.rest) == pytest.approx(made.took - made.least)
    rest = dict(made.rest)
    told = rest.get("what told nothing of it, or put nothing right", 0)
    assert told == pytest.approx(sum(n.minutes for n in made.not_needed))
    # Worked another way: crossings of the trail less those of the least way, which are the steps with a colon.
    crossed = sum(e.body["minutes"] for e in events if e.kind == "access")
    least = sum(m for title, m in made.steps if title.startswith(("On the way: ", "Close up: ")))
    assert rest.get("access beyond that of the least way", 0) == pytest.approx(crossed - least)


def test_what_was_not_needed_says_why() -> None:
    made = read_back("wet-lead").hindsight
    assert made is not None
    why = {n.seq: n.why for n in made.not_needed}
    assert why[83] == "Seen from the end it put nothing right: >99% that nothing it mends was wrong."
    bits = {a.seq: (a.bits[0], a.moved) for a in read_back("wet-lead").answers}
    for seq in set(why) - {83}:
        assert abs(bits[seq][0]) < 0.3 and bits[seq][1] < 0.3
    # What told something, or proves work done, is none of them; nor is what comes after the right repair.
    assert not {8, 125, 89} & set(why) and max(why) < 141


def test_what_gates_ask_for_is_not_called_idle(monkeypatch: pytest.MonkeyPatch) -> None:
    made = read_back("wet-lead").hindsight
    assert made is not None and 12 in {n.seq for n in made.not_needed}
    monkeypatch.setattr(cost, "_asked_by_gates", lambda fitted: {"finding-told"})
    events = trail("wet-lead")
    again = cost.hindsight(kits(HF3), events, fold(events), names(), Weighing())
    assert again is not None and 12 not in {n.seq for n in again.not_needed}


# -- what was not asked ------------------------------------------------------------------------------


def test_what_was_not_asked_before_the_deciding_move_is_told_with_its_figures() -> None:
    events = trail("turboprop")
    kit = kits(events[0].body["engine"])
    at, found, _ = cost.not_asked(kit, events, fold(events), Names(kit.fitted))
    deciding = next(e for e in events if e.seq == at)
    assert (deciding.kind, deciding.body["move"]) == ("accepted", "replace-igniter/1")
    had = {e.body["check"] for e in events if e.kind == "answered" and e.seq < deciding.seq}
    assert found and not had & {n.check for n in found}
    assert [n.bits for n in found] == sorted((n.bits for n in found), reverse=True)
    offer = next(e for e in reversed(events[: deciding.seq]) if e.kind == "offered").body
    assert all(n.best == pytest.approx(offer["expected"], abs=0.01) for n in found)
    alternatives = {a["move"]: (a["expected"], a["now"]) for a in offer["alternatives"]}
    for n in found:
        if n.check in alternatives:
            assert (n.expected, n.minutes) == pytest.approx(alternatives[n.check], abs=0.01)


def test_what_was_turned_down_is_told_as_not_done() -> None:
    events = trail("declined")[:8]
    kit = kits(HF3)
    at, found, kept_off = cost.not_asked(kit, events, fold(events), names())
    assert at == events[-1].seq and found
    why = "declined: the panel is behind cargo"
    assert ("Look at the breakers of channel B, normal and standby", why) in kept_off

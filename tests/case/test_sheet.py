"""The plan on paper: every branch ends somewhere, every warning precedes its step, the plan is the tool's own.

No outside source stands behind these: what a sheet must be is our own judgement, and what it says is the knowledge's.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from html import unescape
from typing import Any

import pytest

from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock, OutOfAnswers, play
from isolate.case.sheet import Box, Branch, Sheet, intake_for, sheet
from isolate.case.sheet_page import page, pages_of, printed
from isolate.kb.fit import UnknownName, fit, split
from isolate.kb.model import Ask

DAY = date(2031, 2, 3)


def fitting(pages: int) -> Any:
    return lambda one: pages_of(one) <= pages


@pytest.fixture(scope="module")
def small(kit: Kit) -> Sheet:
    """No light-off on two pages."""
    return sheet(kit, "no-light-off", fitting(2), DAY)


@pytest.fixture(scope="module")
def deep(kit: Kit) -> Sheet:
    """A plug that will not run down, on as many pages as it needs for repair and verification."""
    return sheet(kit, "plug-will-not-run-down", fitting(9), DAY, channel="A", place="hangar")


@pytest.fixture(scope="module", params=["small", "deep"])
def one(request: pytest.FixtureRequest) -> Sheet:
    """Each of the two."""
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Sheet)
    return found


def branches(one: Sheet) -> list[tuple[Box, Branch]]:
    return [(box, branch) for box in one.boxes for branch in box.branches]


def words(html: str) -> str:
    """The text of a page, each run of spaces as one."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).split())


# -- the tree ----------------------------------------------------------------------------------------


def test_every_branch_ends_somewhere_that_exists(one: Sheet) -> None:
    numbers = [box.number for box in one.boxes]
    assert numbers == list(range(1, len(numbers) + 1)) and len(numbers) > 3
    for box, branch in branches(one):
        to = branch.to
        if to.kind == "box":
            assert to.number in numbers and to.number > box.number
        elif to.kind == "hand-over":
            assert split(to.key)[0] in {card.name for card in one.hand_overs}
        else:
            assert to.kind in ("close-up", "end", "stop")
        assert branch.says or branch.untold


def test_every_box_but_the_first_is_led_to_by_one_branch(one: Sheet) -> None:
    led_to = [branch.to.number for _, branch in branches(one) if branch.to.kind == "box"]
    assert sorted(led_to) == list(range(2, len(one.boxes) + 1))


def test_the_branches_of_a_box_sum_to_one(one: Sheet) -> None:
    for box in one.boxes:
        assert sum(branch.probability for branch in box.branches) == pytest.approx(1.0, abs=1e-9)


def test_improbable_answers_are_gathered(kit: Kit) -> None:
    first = sheet(kit, "no-light-off", lambda one: len(one.boxes) == 1, DAY, share=0.3).boxes[0]
    gathered = [branch for branch in first.branches if branch.gathered]
    assert [branch.to.kind for branch in gathered] == ["stop"] and len(gathered[0].says) > 1
    assert sum(branch.probability for branch in first.branches) == pytest.approx(1.0, abs=1e-9)


def test_no_answer_is_lost(one: Sheet, kit: Kit) -> None:
    for box in one.boxes:
        if box.kind != "check":
            continue
        check = kit.fitted.check(box.key)
        told = [said for branch in box.branches for said in branch.says]
        assert sorted(told) == sorted(check.said(outcome) for outcome in check.outcomes)
        for branch in box.branches:
            if not branch.gathered and not branch.untold:
                assert branch.probability >= one.share


def test_could_not_tell_is_always_a_way_on(one: Sheet) -> None:
    for box in one.boxes:
        assert len([b for b in box.branches if b.untold]) == (box.kind == "check")


def test_where_the_sheet_stops_it_names_what_the_tool_would_do(small: Sheet) -> None:
    stops = [branch for _, branch in branches(small) if branch.to.kind == "stop" and not branch.gathered]
    assert stops
    for branch in stops:
        assert branch.to.title
    assert any(branch.to.suspects for branch in stops)


class Path:
    """A player who gives the answers on the way to a box, does as he is told, and has nothing more to say."""

    def __init__(self, answers: Mapping[str, str | None]) -> None:
        self.answers = dict(answers)
        self.asked = ""

    def outcome(self, check: str, within: str) -> str | None:
        if within == "repair":
            return None
        self.asked = check
        if check not in self.answers:
            raise OutOfAnswers(check)
        return self.answers.pop(check)

    def refuses(self, move: str) -> str | None:
        return None

    def fact(self, ask: Ask, caution: str) -> Any:
        return max(1, ask.least or 0) if ask.kind in ("minutes", "count") else "06:00" if ask.kind == "time" else "-"

    def repaired(self, repair: str) -> None:
        return None

    def part(self, repair: str) -> Mapping[str, Any]:
        return {}

    def defers(self, kind: str, move: str) -> Mapping[str, Any] | None:
        return None


def test_each_box_is_what_a_chase_with_these_answers_asks_next(small: Sheet, kit: Kit) -> None:
    before: dict[int, dict[str, str | None]] = {1: {}}
    for box in small.boxes:
        assert box.kind == "check", "paths through repairs are not followed here"
        check = kit.fitted.check(box.key)
        by_words = {check.said(outcome): outcome for outcome in check.outcomes}
        for branch in box.branches:
            if branch.to.kind == "box":
                answer = None if branch.untold else by_words[branch.says[0]]
                before[branch.to.number] = {**before[box.number], box.key: answer}
        player, clock = Path(before[box.number]), Clock()
        intake = intake_for(kit.fitted, "no-light-off", "", "gate", "steady")
        chase = Chase.begin(kit, Memory(), "case", intake, clock)
        with pytest.raises(OutOfAnswers):
            play(chase, player, clock)
        assert player.asked == box.key and not player.answers


def test_the_probability_of_an_answer_is_that_of_the_chase(small: Sheet, kit: Kit) -> None:
    intake = intake_for(kit.fitted, "no-light-off", "", "gate", "steady")
    chase = Chase.begin(kit, Memory(), "case", intake, Clock())
    first = small.boxes[0]
    check = kit.fitted.check(first.key)
    for said, chance in zip(map(check.said, check.outcomes), chase.belief.predicted(first.key), strict=True):
        branch = next(b for b in first.branches if said in b.says)
        if not branch.gathered:
            assert branch.probability == pytest.approx(float(chance))


def test_a_repair_leads_on_to_its_verification(deep: Sheet, kit: Kit) -> None:
    repairs = [box for box in deep.boxes if box.kind == "repair"]
    assert repairs
    # What follows a repair proves it, all of it in one box or check by check.
    assert {branch.to.kind for box in repairs for branch in box.branches} == {"box"}
    for box in deep.boxes:
        if box.kind == "check" or not any(d.kind == "check" for d in box.doing):
            continue
        asked = {d.key for d in box.doing if d.kind == "check"}
        assert asked <= {proof.key for proof in deep.proofs}
        assert {branch.says for branch in box.branches} == {
            ("Every one of them passed",),
            ("One of them did not pass",),
        }
    assert [p.key for p in deep.proofs] == list(kit.fitted.verification("plug-will-not-run-down", "A"))


def test_what_stands_open_when_it_is_found_is_looked_at_first(deep: Sheet, kit: Kit) -> None:
    plug = kit.fitted.access["plug-out/A"]
    assert f"{plug.title}: {plug.entry.word}" in deep.found
    assert "Look at each before anything else" in words(page(deep))


# -- warnings ----------------------------------------------------------------------------------------


def test_everything_that_is_crossed_has_its_card_and_its_warnings(one: Sheet, kit: Kit) -> None:
    access = {fit.name: fit for fit in kit.fitted.access.values()}
    crossed = [d for box in one.boxes for d in box.doing if d.kind in ("open", "close")]
    for doing in crossed:
        card = one.card(doing.kind, doing.key)
        crossing = access[card.name].open if doing.kind == "open" else access[card.name].close
        assert set(crossing.cautions) <= {w.name for w in card.warned}
    # What was opened, or stood open, can be closed by the sheet.
    assert {c.name for c in one.openings} == {c.name for c in one.closings}
    assert {split(d.key)[0] for d in crossed} <= {c.name for c in one.openings}


def test_every_check_and_repair_is_warned_of_as_the_knowledge_says(one: Sheet, kit: Kit) -> None:
    for box in one.boxes:
        for doing in box.doing:
            if doing.kind in ("check", "repair"):
                fitted = kit.fitted.checks.get(doing.key) or kit.fitted.repairs[doing.key]
                assert set(fitted.cautions) <= {w.name for w in one.card(doing.kind, doing.key).warned}


def test_a_warning_stands_before_the_step_it_belongs_to(one: Sheet) -> None:
    html = page(one)
    seen = 0
    for card in (*one.openings, *one.hows, *one.hand_overs, *one.closings):
        block = html[html.index(f'id="b{card.ref}"') :]
        text = words(block)
        for warned in card.warned:
            heading = f"{warned.level.upper()}: {warned.title}."
            assert text.index(heading) < text.index(card.do[0])
            for prompt in warned.prompts:
                assert text.index(prompt) < text.index(card.do[0])
            seen += 1
    for box in one.boxes:
        text = words(html[html.index(f'id="b{box.number}"') :])
        for doing in box.doing:
            card = one.inline.get(doing.key)
            for warned in card.warned if card and doing.kind in ("check", "repair") else ():
                assert text.index(f"{warned.level.upper()}: {warned.title}.") < text.index(warned.text)
                assert text.index(warned.text) < text.index(card.do[0] if card else "")
                seen += 1
    text = words(html[html.index('id="bV"') :])
    for warned in one.unproven:
        assert text.index(f"{warned.level.upper()}: {warned.title}.") < text.index(f"{one.proofs[0].title}.")
        seen += 1
    assert seen > 2


def test_every_warning_is_printed_in_full_somewhere(one: Sheet) -> None:
    text = words(page(one))
    cards = (*one.openings, *one.hows, *one.hand_overs, *one.closings, *one.inline.values())
    for warned in [w for card in cards for w in card.warned] + list(one.unproven):
        assert warned.text in text


def test_the_verification_is_warned_of_even_where_no_box_leads_to_it(small: Sheet, kit: Kit) -> None:
    assert all(box.kind == "check" for box in small.boxes)
    told = {w.name for w in small.unproven} | {w.name for card in small.hows for w in card.warned}
    for proof in small.proofs:
        assert set(kit.fitted.check(proof.key).cautions) <= told
        assert proof.title in words(page(small))


# -- the page ----------------------------------------------------------------------------------------


def test_it_says_what_governs_and_how_old_it_is(one: Sheet, kit: Kit) -> None:
    text = words(page(one))
    assert "Your approved data governs" in text
    assert "This sheet advises; it releases nothing, and nobody releases an aircraft by it." in text
    assert one.digest == kit.fitted.knowledge.digest and one.digest[:12] in text
    assert "2031-02-03" in text
    for blank in ("Date", "Aircraft", "Engine position", "Name", "Signed"):
        assert blank in text
    assert "Closing up" in text and "Verification" in text


def test_it_is_one_file_for_both_papers(one: Sheet) -> None:
    html = page(one)
    assert "A4" in html and "Letter" in html and "@page" in html
    assert not re.search(r"@page[^}]*size", html), "the printer's own paper stands"
    for outside in ("http", "<script", "src=", "url(", "@import", "<link"):
        assert outside not in html
    # Black on white: no other colour is named.
    assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", html.partition("</style>")[0])) <= {"#000", "#fff"}
    assert not re.search(r"\b(?:rgb|hsl|color-mix)\(", html)


def test_references_name_the_page_that_a_thing_is_on(deep: Sheet) -> None:
    html = page(deep)
    sections = html.split('<section class="page">')[1:]
    on = {ref: i for i, section in enumerate(sections, 1) for ref in re.findall(r'id="b(\w+)"', section)}
    pointed = 0
    for i, section in enumerate(sections, start=1):
        for number, there in re.findall(r"→ (\w+)(?: \(p\.\xa0(\d+)\))?</b>", section):
            if number in ("STOP", "CLOSE"):
                continue
            assert on[number] == (int(there) if there else i)
            pointed += 1
        follows = f"continued on page {i + 1}" if i < len(sections) else "last page"
        assert follows in section and f"page {i} of {len(sections)}" in section
    assert pointed == len([b for _, b in branches(deep) if b.to.kind in ("box", "hand-over")])


LIMITS = re.compile(
    r"\d\s*(?:N·?m|Nm|in[-·]?lb|lb[-·]?in|ft[-·]?lb|mm|mil|V|kV|mV|mA|Ω|ohms?|MΩ|°[CF]|psi|bar|kPa|J|Hz|rpm|lbf|kt|knots)\b"
)


def test_no_maker_s_limit_is_printed(one: Sheet) -> None:
    assert LIMITS.search("tighten to 25 N·m") and LIMITS.search("28 V") and not LIMITS.search("5 min; by")
    body = words(page(one).partition("</style>")[2])
    assert LIMITS.findall(body) == []


def test_what_the_knowledge_says_is_escaped(small: Sheet) -> None:
    nasty = '<b>&"\'</b><script>'
    first = replace(small.boxes[0], title=nasty, branches=(Branch((nasty,), 1.0, small.boxes[0].branches[0].to),))
    html = page(replace(small, engine=nasty, complaint=nasty, boxes=(first, *small.boxes[1:])))
    assert "<script" not in html and '<b>&"' not in html
    assert html.count("&lt;b&gt;&amp;&quot;&#x27;&lt;/b&gt;&lt;script&gt;") >= 4


# -- limits ------------------------------------------------------------------------------------------


def test_the_pages_asked_for_are_enough_and_more_pages_hold_more(small: Sheet, kit: Kit) -> None:
    assert pages_of(small) == page(small).count('<section class="page">') <= 2
    more = sheet(kit, "no-light-off", fitting(3), DAY)
    assert pages_of(more) <= 3 and len(more.boxes) > len(small.boxes)
    assert small.full


def test_the_same_input_gives_the_same_sheet(small: Sheet, kit: Kit) -> None:
    again = Kit(fit(kit.fitted.knowledge, "halden-hf-3"))
    assert printed(again, "no-light-off", DAY, pages=2) == page(small)


def test_too_few_pages_are_refused_with_how_many_it_takes(kit: Kit) -> None:
    with pytest.raises(Refused, match=r"takes at least \d+ pages?, not 1"):
        printed(kit, "plug-will-not-run-down", DAY, pages=1, channel="A", place="hangar")


def test_names_that_are_nearly_right_are_told(kit: Kit) -> None:
    with pytest.raises(UnknownName, match=r"no complaint is called 'no-lightoff' \(did you mean no-light-off\?\)"):
        printed(kit, "no-lightoff", DAY)
    with pytest.raises(UnknownName, match=r"did you mean halden-hf-3\?"):
        fit(kit.fitted.knowledge, "halden-hf3")
    with pytest.raises(Refused, match="say which of A, B"):
        printed(kit, "plug-will-not-run-down", DAY)
    with pytest.raises(Refused, match="no channel is called 'C'"):
        printed(kit, "plug-will-not-run-down", DAY, channel="C")
    with pytest.raises(Refused, match="takes no channel"):
        printed(kit, "no-light-off", DAY, channel="A")


def test_a_verification_that_cannot_be_finished_here_is_no_close_up(kit: Kit) -> None:
    known = kit.fitted.knowledge
    spark = known.checks["spark-test"].model_copy(update={"place": ["hangar"]})
    elsewhere = Kit(fit(known.model_copy(update={"checks": {**known.checks, "spark-test": spark}}), "halden-hf-3"))
    one, here = (
        sheet(at, "plug-will-not-run-down", lambda one: len(one.boxes) <= 16, DAY, channel="A")
        for at in (elsewhere, kit)
    )
    assert "close-up" in {branch.to.kind for _, branch in branches(here)}
    assert "close-up" not in {branch.to.kind for _, branch in branches(one)}
    assert "Verified as the complaint asks" not in words(page(one))

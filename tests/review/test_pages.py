"""The pages: built right, whole in one file, and nothing of what somebody wrote is taken for markup.

How they look and print, and what a browser does with them, is tested in ``tests/services/test_report.py``.
"""

from __future__ import annotations

import base64
import itertools
import re
from collections import Counter
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from isolate.case.store import read_case
from isolate.cli import main
from isolate.kb.load import load
from isolate.kb.shown import plain
from isolate.review import pages
from isolate.review.chart import MOST_LINES, NO_FAULT, Line, Ranged, Turn, belief_chart, ranges, strip
from isolate.review.fleet import KINDS as DECLINED
from isolate.review.fleet import Declined, Fleet
from isolate.review.pages import case_page, fleet_page, repeats_page
from isolate.review.repeats import Repeats
from isolate.review.shapes import MomentKind, Review
from tests.review.made_review import NASTY, everywhere, filled, grown, made_review
from tests.worked import TRAILS

VOID = frozenset({"meta", "br", "hr", "img", "input", "link"})
"""Elements of HTML that have no end [published: WHATWG HTML, 13.1.2, those of them that could come up here]."""
RUNNING_ON = frozenset({"a", "b", "bdi", "s", "span", "strong"})
"""Elements that do not end a word."""
FETCHING = frozenset(
    {"audio", "base", "embed", "form", "frame", "iframe", "image", "img", "link", "object", "source", "use", "video"}
)


class Page(HTMLParser):
    """A page taken apart. ``elements``: (tag, attributes, path of the tags that it is in), in order."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None], tuple[str, ...]]] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if len(attrs) != len(dict(attrs)):
            self.wrong.append(f"{tag} has an attribute twice")
        self.elements.append((tag, dict(attrs), tuple(self.open)))
        if tag not in RUNNING_ON:
            self.words.append(" ")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs), tuple(self.open)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.wrong.append(f"</{tag}> in {self.open[-3:]}")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.words.append(data)

    def handle_decl(self, decl: str) -> None:
        if decl.casefold() != "doctype html":
            self.wrong.append(decl)

    def handle_comment(self, data: str) -> None:
        self.wrong.append(f"a comment: {data}")

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())

    @property
    def shape(self) -> list[tuple[str, tuple[str, ...], tuple[str, ...]]]:
        # Labels of the chart take one line or two.
        return [(tag, tuple(attrs), path) for tag, attrs, path in self.elements if tag != "tspan"]

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attrs for tag, attrs, _ in self.elements if tag == name]


def made_fleet() -> Fleet:
    made = filled(Fleet)
    declined = tuple(replace(filled(Declined), kind=kind, title=title) for kind, title in DECLINED.items())
    return replace(
        made,
        whole=replace(made.whole, declined=declined),
        groups=tuple(replace(group, declined=declined) for group in made.groups),
    )


def bare() -> Review:
    """A review of which nothing could be worked but the opening."""
    lists = "suspects belief answers rules cautions spent advice cheaper notes story not_asked not_done came_back drawn"
    nothing: dict[str, Any] = dict.fromkeys(lists.split(), ())
    none: dict[str, Any] = dict.fromkeys(("firm", "trust", "hindsight", "isolated"))
    return replace(made_review(), **nothing, **none, record="", closed="", end="", not_asked_at=0, unmet="", until="")


PAGES = {
    "case": lambda: case_page(made_review()),
    "bare": lambda: case_page(bare()),
    "long": lambda: case_page(grown(300)),
    "broken": lambda: case_page(everywhere(made_review(), "=1+1 <b>&amp;")),
    "repeats": lambda: repeats_page(filled(Repeats)),
    "repeats, other ways": lambda: repeats_page(filled(Repeats, flag=False)),
    "no repeats": lambda: repeats_page(replace(filled(Repeats), found=(), ways=(), trends=(), notes=())),
    "fleet": lambda: fleet_page(made_fleet()),
    "empty fleet": lambda: fleet_page(replace(made_fleet(), groups=(), notes=())),
}


@pytest.fixture(scope="module")
def made() -> dict[str, tuple[str, Page]]:
    sources = {name: make() for name, make in PAGES.items()}
    return {name: (source, Page(source)) for name, source in sources.items()}


@pytest.fixture(params=list(PAGES))
def page(request: pytest.FixtureRequest, made: dict[str, tuple[str, Page]]) -> tuple[str, Page]:
    return made[request.param]


# -- built right -----------------------------------------------------------------------------------


def test_every_element_is_closed_where_it_was_opened(page: tuple[str, Page]) -> None:
    source, found = page
    assert source.startswith("<!DOCTYPE html>\n")
    assert found.wrong == [] and found.open == []


def test_what_is_pointed_at_is_there_once(page: tuple[str, Page]) -> None:
    ids = Counter(str(attrs["id"]) for _, attrs, _ in page[1].elements if "id" in attrs)
    assert {name for name, times in ids.items() if times > 1} == set()
    for tag, attrs, _ in page[1].elements:
        for name in ("aria-labelledby", "aria-describedby"):
            assert set(str(attrs.get(name) or "").split()) <= set(ids), (tag, attrs)
        if tag == "a":
            assert str(attrs["href"])[:1] == "#" and str(attrs["href"])[1:] in ids


def test_headings_go_down_one_step_at_a_time(page: tuple[str, Page]) -> None:
    """[published: WCAG 2.2, technique G141, headings in the order of the page]"""
    levels = [int(tag[1]) for tag, _, _ in page[1].elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_every_table_says_what_it_is_and_what_its_headings_are_of(page: tuple[str, Page]) -> None:
    """[published: WCAG 2.2, techniques H39 and H63: caption, scope]"""
    elements = page[1].elements
    for place, (tag, attrs, _) in enumerate(elements):
        if tag == "table":
            assert elements[place + 1][0] == "caption"
        if tag == "th":
            assert attrs.get("scope") in ("col", "row", "rowgroup"), attrs


def test_every_row_has_a_cell_for_each_heading(page: tuple[str, Page]) -> None:
    widths: list[int] = []
    for tag, attrs, path in page[1].elements:
        if tag == "tr":
            widths.append(0)
        if tag in ("td", "th"):
            widths[-1] += int(attrs.get("colspan") or 1)
        if tag == "table" and widths:
            assert len(set(widths)) == 1, path
            widths = []
    assert len(set(widths)) <= 1


def test_every_picture_has_its_title_and_words(page: tuple[str, Page]) -> None:
    elements = page[1].elements
    pictures = [(i, attrs) for i, (tag, attrs, _) in enumerate(elements) if tag == "svg"]
    for i, attrs in pictures:
        assert elements[i + 1][0] == "title"
        assert attrs.get("aria-hidden") == "true" or (attrs["role"] == "img" and elements[i + 2][0] == "desc")


def test_whoever_listens_finds_their_way(page: tuple[str, Page]) -> None:
    _, found = page
    tags = Counter(tag for tag, _, path in found.elements if "svg" not in path)
    assert found.all("html") == [{"lang": "en"}]
    assert all(tags[name] == 1 for name in ("header", "main", "footer", "nav", "title", "h1"))
    body = [(tag, attrs) for tag, attrs, path in found.elements if "body" in path]
    assert body[0] == ("a", {"class": "skip", "href": "#main"})
    for tag, attrs, path in found.elements:
        if tag in ("nav", "section") or attrs.get("role") == "region":
            assert attrs.get("aria-label") or attrs.get("aria-labelledby"), (tag, attrs)
        if attrs.get("class") == "scroll":
            assert attrs["tabindex"] == "0" and attrs["role"] == "region", "what scrolls has to be reached by keys"
        if tag == "summary":
            assert path[-1] == "details"


# -- whole in one file -----------------------------------------------------------------------------


def test_nothing_is_fetched_and_nothing_runs_but_what_the_page_carries(page: tuple[str, Page]) -> None:
    """[published: W3C Content Security Policy 3: a hash is of the text between the tags]"""
    source, found = page
    for tag, attrs, _ in found.elements:
        assert tag not in FETCHING
        assert not {"src", "srcset", "style", "xlink:href", "action", "ping"} & set(attrs), attrs
        assert not [name for name in attrs if name.startswith("on")]
    (policy,) = [a["content"] for a in found.all("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(str(rule).strip().split(" ", 1) for rule in str(policy).split(";"))
    assert rules.pop("default-src") == "'none'" and rules.pop("base-uri") == "'none'"
    assert rules.pop("form-action") == "'none'"
    for name, tag in (("style-src", "style"), ("script-src", "script")):
        carried = re.findall(rf"<{tag}>(.*?)</{tag}>", source, re.DOTALL)
        hashes = [base64.b64encode(sha256(text.encode()).digest()).decode() for text in carried]
        assert rules.pop(name, "") == " ".join(f"'sha256-{h}'" for h in hashes)
        for text in carried:
            assert not re.search(r"url\(|@import|//|fetch|XMLHttp|eval|innerHTML", text)
    assert rules == {}


def test_the_templates_travel_with_the_package() -> None:
    names = {entry.name for entry in (files("isolate.review") / "templates").iterdir()}
    assert {"base.html", "case.html", "repeats.html", "fleet.html", "page.css", "page.js"} <= names


# -- nothing of what was told is taken for markup --------------------------------------------------


HARMLESS = {
    "case": Page(case_page(everywhere(made_review(), "words"))).shape,
    "repeats": Page(repeats_page(everywhere(filled(Repeats), "words"))).shape,
    "fleet": Page(fleet_page(everywhere(made_fleet(), "words"))).shape,
}


def shown_as_text(words: str) -> None:
    """Assert that each page is built as it is with harmless words, and holds these as they may be shown."""
    sources = {
        "case": case_page(everywhere(made_review(), words)),
        "repeats": repeats_page(everywhere(filled(Repeats), words)),
        "fleet": fleet_page(everywhere(made_fleet(), words)),
    }
    for name, source in sources.items():
        found = Page(source)
        assert found.wrong == [] and found.shape == HARMLESS[name], name
        assert " ".join(plain(words, lines=True).split()) in found.text, name


@pytest.mark.parametrize("words", NASTY)
def test_nasty_words_are_shown_as_words(words: str) -> None:
    shown_as_text(words)


@settings(max_examples=25, deadline=None)
@given(st.text(st.characters(exclude_categories=[]), max_size=60))
@example("\x00\x01\ud800\ufffe")
@example("</title></style></script>-->]]>")
@example("\r\n\n\t'\"`=<")
def test_any_words_are_shown_as_words(words: str) -> None:
    # What is empty is left out; something always is in front here.
    shown_as_text(f"x{words}")


def test_a_record_of_5000_lines_is_all_there() -> None:
    record = "\n".join(f"line {i} <b>" for i in range(5000))
    text = Page(case_page(replace(made_review(), record=record))).text
    assert "line 0 <b>" in text and "line 4999 <b>" in text and text.count("<b>") == 5000


def test_the_foot_of_a_printed_page_takes_nothing_but_letters() -> None:
    source = case_page(replace(made_review(), case='a"; } body { display: none } /* </style> \\22'))
    assert re.search(r'@bottom-left \{ content: "Case a\?\? \? body \? display: none \? /\? \?/style\? \?22";', source)


# -- what it says ----------------------------------------------------------------------------------


WELL: dict[str, Any] = {"came_back": (), "drawn": (), "unmet": ""}
"""Of a case that did not come back and was checked where it shows."""


def said(review: Review) -> str:
    return Page(case_page(review)).text


def test_the_head_says_how_it_ended_how_firm_it_is_and_whether_to_trust_it() -> None:
    text = said(made_review())
    head = text[: text.index("Parts of this page") if "Parts of this page" in text else text.index("The case")]
    assert "Verified, fault found. Named: Exciter channel B fails when it is hot." in head
    assert "92%; 41 to 1 against the next, Ignition lead B open. Had the lead read tracked, Ignition lead B" in head
    assert "✓ Whole; replayed, 143 events the same; signed." in head
    assert "236.5 min by the book, 271 min by the clock; 78 min until replacing exciter B was taken up" in head
    assert "It releases nothing" in head


@pytest.mark.parametrize(
    ("change", "mark", "line"),
    [
        ({"whole": False}, "✗", "NOT WHOLE"),
        ({"differs": ("event 9",)}, "✗", "REPLAYS DIFFERENTLY"),
        ({"signed": "wrongly signed"}, "✗", "wrongly signed"),
        ({"signed": "unsigned"}, "–", "unsigned"),
        ({"signed": "signed by an unknown key"}, "–", "signed by an unknown key"),
        ({"not_replayed": "its knowledge is not here"}, "–", "not replayed: its knowledge is not here"),
    ],
)
def test_what_is_wrong_with_the_trail_is_told_by_sign_and_word(change: dict[str, Any], mark: str, line: str) -> None:
    made = made_review()
    assert made.trust is not None
    text = said(replace(made, trust=replace(made.trust, **change)))
    assert re.search(rf"{mark} [^✓✗]*{line}", text)
    # What may not be overlooked stands before all else.
    loud = mark == "✗"
    assert any(w in text[:480] for w in ("The trail is broken", "comes out differently", "is wrong")) == loud


def test_other_ends_of_the_case_are_told_first() -> None:
    text = said(replace(made_review(), forks=("the end 12ab, by the tablet",), **WELL))
    assert "This case has 1 other end: it was gone on with elsewhere." in text[:300]
    assert "the end 12ab, by the tablet" in text


def test_every_kind_of_moment_has_a_mark_and_a_word_of_its_own() -> None:
    assert set(pages.KINDS) == set(get_args(MomentKind))
    marks, words = zip(*pages.KINDS.values(), strict=True)
    assert len(set(marks)) == len(set(words)) == len(marks)


def test_where_shop_and_end_disagree_is_told_first() -> None:
    made = made_review()
    assert made.hindsight is not None
    hindsight = replace(made.hindsight, doubt="The shop found nothing wrong with it.")
    text = said(replace(made, hindsight=hindsight, **WELL))
    assert "The shop found nothing wrong with it." in text[:300]


def test_that_it_came_back_is_told_before_all_else() -> None:
    text = said(made_review())
    at = text.index("Case 104-2-20300118-060000-abcd, aircraft 104, engine 2: Now and then no light-off")
    head = text[at : text.index("How it ended")]
    assert "CAME BACK: 104-2-0208-9abc, opened 2030-02-08, 19.8 days after this one ended: lead B chafed" in head
    assert "there was a second fault. The defect shows hot, and it was verified cold only." in head
    assert "CAME BACK" not in said(replace(made_review(), **WELL))


def test_without_a_truth_there_is_no_least_way_and_no_right_move() -> None:
    made = made_review()
    assert made.hindsight is not None
    nothing: dict[str, Any] = dict.fromkeys(("truth", "titles", "steps", "rest"), ())
    none = replace(made.hindsight, **nothing, by="nobody", least=0.0, none="No hindsight: why")
    text = said(replace(made, hindsight=none, until=""))
    assert "No hindsight: why." in text
    for words in ("least way", "with the fault known", "min until", "min more", "right move"):
        assert words not in text.casefold()


def test_minutes_beyond_the_least_way_are_accounted_for() -> None:
    text = said(made_review())
    assert "Of the 78.5 min more: 60.5 min in steps that told nothing of it; 18 min in finding it out." in text


def test_what_would_change_the_repair_stands_before_what_would_not() -> None:
    text = said(made_review())
    part = text[text.index("The verdict, and how firm it is", 900) :]
    repair = part.index("What would change the repair")
    fault = part.index("put right by the same part and the same repair")
    assert repair < part.index("(61%) (event 63)") < part.index("A worn plug") < fault < part.index("2 figures of one")
    assert "off by 40 (told at the opening) Each of the 2 It would have to be forty times as rare Hot would" in part
    assert made_review().firm is not None
    only = replace(made_review().firm, rows=made_review().firm.rows[2:])
    text = said(replace(made_review(), firm=only))
    assert text.count("No single thing that was tried would change the repair.") == 2


def test_weights_add_up_from_the_opening_to_the_work_and_anew_from_there() -> None:
    text = said(made_review())
    part = text[text.index("Answers in their order") : text.index("What was not asked Not asked")]
    order = (
        "carried in from case 104-2-20300110",
        "9 Time to light, as told: as usual (cold)",
        "22 Start as recorded: a spark is missing +0.7 −0.7 0.0 −0.4 −0.2 −0.6",
        "From the opening, in all +2.1 −1.5 −1.8 −3.5 0.0 −7.7",
        "Exciter B replaced. From here on: of what is left.",
        "94 Channel B fired alone: snaps",
        "Since that work, in all −2.6 −1.8 −4.1 −1.0 −5.0 −0.2",
    )
    places = [part.index(words) for words in order]
    assert places == sorted(places)
    assert "those do not add up" not in text and "these do not add up" in text
    own = tuple(a for a in made_review().answers if not a.carried)
    assert "do not add up" not in said(replace(made_review(), answers=own))


def test_the_end_weighs_more_than_the_chart_shows_and_says_so() -> None:
    text = said(made_review())
    assert "named at the end. The end puts it at 97%: it weighs the answers after the repair too" in text
    assert "They can come to more than 100% together" not in text
    both = replace(made_review().belief[0], chances=(0.8, 0.4, 0.0, 0.0, 0.0, 0.0))
    text = said(replace(made_review(), belief=(both,)))
    assert "They can come to more than 100% together: several may be at fault at once." in text


def test_what_was_not_asked_is_told_with_its_reasons() -> None:
    text = said(made_review())
    assert "Not asked before event 58, the deciding move, though it could have told something then." in text
    assert "Circuit breakers of channel A +0.4 2 +4.4" in text
    assert "turned down: Lead wiggled on a meter" in text and "not at hand: Supply with a clamp" in text
    text = said(replace(made_review(), not_asked=()))
    assert "Before event 58, the deciding move, nothing was left to ask that could have told much." in text


def test_what_leads_in_an_open_case_is_no_verdict() -> None:
    text = said(replace(made_review(), end="", closed=""))
    assert "So far, with the case open: Exciter channel B fails when it is hot, 92%" in text


def test_what_was_taken_back_is_struck_out_and_said_to_be() -> None:
    found = Page(case_page(made_review()))
    assert len(found.all("s")) == 1
    assert "Circuit breakers of channel B: one out (taken back since)" in found.text


def test_weights_have_their_sign_and_shares_are_never_rounded_to_certainty() -> None:
    made = made_review()
    answer = replace(made.answers[1], bits=(2.34, -1.16, 0.02, -0.04, 0.0, -12.0), moved=-0.5)
    point = replace(made.belief[0], chances=(0.9999, 0.0001, 0.5, 0.0, 0.0, 0.0))
    text = said(replace(made, answers=(answer,), belief=(point,)))
    assert "+2.3 −1.2 0.0 0.0 0.0 −12.0 −0.5" in text
    assert ">99% <1% 50% 0%" in text


def test_a_bare_review_says_what_is_not_there() -> None:
    text = said(bare())
    for words in (
        "Not ended: the case is open.",
        "There is no verdict to weigh.",
        "Nothing was written.",
        "No belief can be shown",
        "No rule fired.",
        "No caution was shown.",
        "Nobody says what the fault was",
        "No record was written.",
        "The trail was not proven here.",
    ):
        assert words in text


def test_times_are_told_in_utc_whatever_they_were_written_in() -> None:
    """[published: RFC 3339, 4.2: an offset is taken off the local time to get UTC]"""
    made = made_review()
    moment = replace(made.story[0], time="2030-01-18T01:30:00+02:00")
    odd = replace(made.story[1], time="yesterday")
    text = said(replace(made, story=(moment, odd), opened="2030-01-18T01:30:00+02:00"))
    assert "2030-01-17 23:30 UTC" in text
    assert "2030-01-17 1 23:30" in text and "Time not readable 6 yesterday" in text


def test_repeats_and_fleet_say_their_words() -> None:
    text = Page(repeats_page(filled(Repeats))).text
    assert "2 defects came back within 0.5 days and 0.5 engine starts, of 2 cases looked at" in text
    assert "Visits 1 to 2 of 2" in text and "since: words" in text and "Where parts went" in text
    fleet = made_fleet()
    text = Page(fleet_page(fleet)).text
    assert "All together" in text and text.count(DECLINED["repair"]) >= 2
    none = replace(fleet.whole, declined=tuple(replace(d, times=0) for d in fleet.whole.declined))
    assert DECLINED["repair"] not in Page(fleet_page(replace(fleet, whole=none))).text


def test_the_fleet_page_names_engines_as_they_are_called(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store, page = str(tmp_path / "cases.db"), tmp_path / "fleet.html"
    assert main(["cases", "import", str(TRAILS / "taken-back.jsonl"), "--store", store]) == 0
    engine = read_case(TRAILS / "taken-back.jsonl")[0].body["engine"]
    assert main(["review", "fleet", "--store", store, "--engine", engine, "--html", str(page)]) == 0
    text = Page(page.read_text(encoding="utf-8")).text
    title = load().knowledge.engines[engine].title.partition(",")[0]
    assert title != engine and f"{title} only" in text and f"{title} 1 0" in text and engine not in text


# -- the pictures ----------------------------------------------------------------------------------


def drawn(svg: str, number: int) -> tuple[list[tuple[float, float]], int]:
    """Return the corners of a line and how many marks it has."""
    group = re.search(rf'<g data-line="{number}"><path [^>]*d="([^"]+)"/>(.*?)</g>', svg)
    assert group is not None
    corners: list[tuple[float, float]] = []
    for letter, numbers in re.findall(r"([MHV])([-\d. ]+)", group[1]):
        values = [float(v) for v in numbers.split()]
        x, y = corners[-1] if corners else (0.0, 0.0)
        corners.append({"M": (values[0], values[-1]), "H": (values[0], y), "V": (x, values[0])}[letter])
    return corners, group[2].count("<path")


def axis(svg: str, kind: str, place: str) -> dict[float, float]:
    """Return value → place of the ticks of an axis, from their words. ``place``: x or y."""
    found = re.findall(rf'<text class="axis {kind}" x="([\d.]+)" y="([\d.]+)"[^>]*>([\d.]+)%?</text>', svg)
    return {float(words): float(x if place == "x" else y) for x, y, words in found}


@pytest.mark.parametrize("wide", [True, False])
def test_the_chart_steps_through_the_belief_where_its_axes_say(wide: bool) -> None:
    at = [0.0, 5.0, 5.0, 60.0, 200.0]
    chances = (0.3, 0.35, 0.5, 0.9, 0.1)
    svg = belief_chart("c", at, 230.0, [Line(1, "a", chances, True), Line(NO_FAULT, "none", (0.0,) * 5)], wide=wide)
    across, up = axis(svg, "x", "x"), axis(svg, "y", "y")
    (x0, xn), (y0, yn) = (across[0.0], across[200.0]), (up[0.0], up[100.0])
    corners, marks = drawn(svg, 1)
    values = [(200 * (x - x0) / (xn - x0), (y + 4 - y0) / (yn - y0)) for x, y in corners]
    wanted = [(0.0, 0.3)]
    for minute, chance in zip(at[1:], chances[1:], strict=True):
        wanted += [(minute, wanted[-1][1]), (minute, chance)]
    wanted.append((230.0, 0.1))
    for (x, y), (wx, wy) in zip(values, wanted, strict=True):
        assert x == pytest.approx(wx, abs=0.2) and y == pytest.approx(wy, abs=0.002)
    assert marks == 5


def test_marks_are_thinned_and_titles_do_not_stand_on_each_other() -> None:
    at = [float(i) for i in range(400)]
    lines = [Line(n, f"suspect {n} with a title that is rather long", (0.01,) * 400) for n in range(MOST_LINES + 1)]
    svg = belief_chart("c", at, 400.0, lines)
    assert all(drawn(svg, n)[1] <= 30 for n in range(MOST_LINES + 1))
    heights = sorted(float(y) for y in re.findall(r'<tspan x="[\d.]+" y="([\d.]+)"', svg))
    assert len(heights) >= 2 * MOST_LINES
    assert min(b - a for a, b in itertools.pairwise(heights)) >= 13
    assert heights[0] > 0 and heights[-1] <= 380


def test_the_chart_says_in_words_what_it_shows() -> None:
    svg = belief_chart("c", [0.0, 50.0], 60.0, [Line(1, "a <b>", (0.2, 0.7))], [Turn(50.0, "■", "Replaced.")])
    (desc,) = re.findall(r'<desc id="c-desc">(.*?)</desc>', svg)
    assert "a &lt;b&gt;: 20% at first, 70% at last, at most 70% at 50 minutes." in desc
    assert "At 50 minutes: Replaced." in desc


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ValueError, match="no more than 6"):
        belief_chart("c", [0.0], 1.0, [Line(n, "", (0.5,)) for n in range(1, 8)])
    with pytest.raises(ValueError, match="one chance for each point"):
        belief_chart("c", [0.0, 1.0], 1.0, [Line(1, "", (0.5,))])


def test_a_case_without_minutes_has_a_chart_too() -> None:
    svg = belief_chart("c", [0.0, 0.0], 0.0, [Line(1, "a", (0.2, 0.7))])
    assert not re.search("nan|inf", svg)
    corners, marks = drawn(svg, 1)
    assert marks == 2 and {x for x, _ in corners} == {axis(svg, "x", "x")[0.0]}


def test_intervals_lie_where_the_axis_says_and_what_is_not_known_is_a_word() -> None:
    svg = ranges("r", "t", [Ranged("a", 30.0, 20.0, 60.0, "30%"), Ranged("b", None)], most=100.0, unit="%")
    ticks = {float(w): float(x) for x, w in re.findall(r'<text class="axis" x="([\d.]+)"[^>]*>([\d.]+)%</text>', svg)}
    at = {value: ticks[0] + (ticks[100] - ticks[0]) * value / 100 for value in (20, 30, 60)}
    (low, high) = re.findall(r'class="interval" d="M([\d.]+) [\d.]+v8m0 -4H([\d.]+)m', svg)[0]
    assert float(low) == pytest.approx(at[20], abs=0.1) and float(high) == pytest.approx(at[60], abs=0.1)
    (left,) = re.findall(r'class="figure" d="M([\d.]+) ', svg)
    assert float(left) == pytest.approx(at[30], abs=0.1)
    assert ">too few to say</text>" in svg and "b: too few to say." in svg


def test_moments_lie_on_their_line_in_order() -> None:
    svg = strip("s", "t", [0.0, 30.0, 60.0], 60.0, "days")
    lefts = [float(x) for x in re.findall(r'class="figure" d="M([\d.]+) ', svg)]
    assert lefts[1] - lefts[0] == pytest.approx(lefts[2] - lefts[1], abs=0.2)
    assert "3 in 60 days, at 0, 30, 60." in svg

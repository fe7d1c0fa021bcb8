"""The pages in a real browser: nothing runs or is fetched, they can be read, driven by keys and printed.

Needs Chromium, and pdfinfo and pdftotext of poppler-utils. Every page here was made by hand or from kept trails of the
invented world.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from isolate.kb.shown import plain
from isolate.review.pages import KINDS, case_page, fleet_page, repeats_page
from isolate.review.repeats import Repeats
from isolate.review.shapes import Point, Review, Suspect
from tests.review.made_review import NASTY, everywhere, filled, grown, made_review
from tests.review.test_pages import made_fleet

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.service

PAGES = {
    "case": lambda: case_page(made_review()),
    "repeats": lambda: repeats_page(filled(Repeats)),
    "fleet": lambda: fleet_page(made_fleet()),
}
PRINTED = {"A4": (210 - 26, "595"), "Letter": (215.9 - 26, "612")}
"""Paper → width between its margins in mm, and its width in points as pdfinfo has it."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium")
    assert path, "these tests need chromium"
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


class Shown:
    """A page that is open, with all that it did: requests, dialogs, what it complained of."""

    def __init__(self, browser: Browser, path: Path, source: str, **context: Any) -> None:
        path.write_text(source, encoding="utf-8")
        self.context = browser.new_context(**{"viewport": {"width": 1000, "height": 800}, **context})
        self.page: Page = self.context.new_page()
        self.requests: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("dialog", lambda dialog: (self.said.append(f"dialog: {dialog.message}"), dialog.dismiss())[0])
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.url = path.as_uri()
        self.page.goto(self.url)

    def __enter__(self) -> Shown:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()


@pytest.fixture(params=list(PAGES))
def source(request: pytest.FixtureRequest) -> str:
    return PAGES[request.param]()


# -- nothing runs, nothing is fetched --------------------------------------------------------------


def test_a_page_asks_for_nothing_but_itself_and_complains_of_nothing(
    browser: Browser, tmp_path: Path, source: str
) -> None:
    with Shown(browser, tmp_path / "page.html", source) as shown:
        shown.page.wait_for_load_state("networkidle")
        assert shown.requests == [shown.url]
        assert shown.said == []


@pytest.mark.parametrize("words", NASTY)
def test_nasty_words_are_seen_as_they_were_written(browser: Browser, tmp_path: Path, words: str) -> None:
    review = everywhere(made_review(), words)
    with Shown(browser, tmp_path / "page.html", case_page(review), viewport={"width": 360, "height": 700}) as shown:
        page = shown.page
        assert shown.requests == [shown.url] and shown.said == []
        shown_words = plain(words, lines=True)
        assert shown_words in page.locator("pre").text_content()
        title = f"Case {shown_words}: aircraft {shown_words}, engine {shown_words}"
        assert page.title() == " ".join(title.split())
        assert page.locator("main script, main img, main style").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_policy_holds_where_something_gets_in_all_the_same(browser: Browser, tmp_path: Path) -> None:
    bad = (
        "<script>document.title = 'ran'</script><img src='http://127.0.0.1:9/x.png' onerror=\"document.title = 'ran'\">"
        "<style>main { display: none }</style><iframe src='http://127.0.0.1:9/'></iframe>"
        "<p id='odd' style='display: none'>seen</p><a id='go' href=\"javascript:document.title='ran'\">go</a>"
    )
    source = case_page(made_review()).replace("<main ", f"{bad}<main ", 1)
    with Shown(browser, tmp_path / "page.html", source) as shown:
        shown.page.click("#go")
        shown.page.wait_for_timeout(200)
        assert shown.page.title() != "ran"
        assert shown.page.locator("main").is_visible() and shown.page.locator("#odd").is_visible()
        assert [url for url in shown.requests if url.startswith("http") and not shown.said] == []
        assert any("Content Security Policy" in line for line in shown.said)


# -- read and driven -------------------------------------------------------------------------------


def test_whoever_listens_is_told_the_parts_by_name(browser: Browser, tmp_path: Path) -> None:
    with Shown(browser, tmp_path / "page.html", PAGES["case"]()) as shown:
        page = shown.page
        tree = page.locator("body").aria_snapshot().replace("'", "")
        for line in (
            "- banner:",
            "- main:",
            "- contentinfo:",
            '- navigation "Parts of this page":',
            '- heading "Case 104-2-20300118-060000-abcd, aircraft 104, engine 2: Now and then no light-off" [level=1]',
            '- heading "The verdict, and how firm it is" [level=2]',
            '- region "Weights of evidence":',
            '- img "Probability of each suspect over the minutes worked"',
            '- link "Skip to the page"',
        ):
            assert line in tree, line
        assert page.get_by_role("table").count() == page.locator("main table:not(.figures table)").count()
        for table in page.get_by_role("table").all():
            assert table.locator("caption").text_content()
        assert page.get_by_role("columnheader", name="4 Ignition lead B chafed through").count() == 1
        # The second chart, for narrow screens, is not there for anybody now.
        assert tree.count('- img "Probability') == 1
        described = page.locator("svg.wide-chart").get_attribute("aria-describedby")
        assert "at most 92% at 78 minutes" in page.locator(f"#{described}").text_content()


def test_keys_reach_all_there_is_and_show_where_they_are(browser: Browser, tmp_path: Path, source: str) -> None:
    with Shown(browser, tmp_path / "page.html", source) as shown:
        page = shown.page
        page.keyboard.press("Tab")
        skip = page.locator("a.skip")
        assert skip.evaluate("e => e === document.activeElement")
        box = skip.bounding_box()
        assert box is not None and box["y"] >= 0 and box["x"] >= 0, "the skip link shows itself when it is reached"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "main"
        page.goto("about:blank")
        page.goto(shown.url)
        wanted = page.evaluate(
            "[...document.querySelectorAll('a, summary, input, select, [tabindex=\"0\"]')]"
            ".filter(e => e.checkVisibility()).length"
        )
        for number in range(wanted):
            page.keyboard.press("Tab")
            width, at = page.evaluate(
                "[parseFloat(getComputedStyle(document.activeElement).outlineWidth), document.activeElement.tagName]"
            )
            assert at != "BODY", f"{number} of {wanted} were reached"
            assert width >= 2, at


def test_what_is_folded_opens_by_enter(browser: Browser, tmp_path: Path) -> None:
    with Shown(browser, tmp_path / "page.html", PAGES["case"]()) as shown:
        figures = shown.page.locator("details.figures")
        assert not figures.locator("table").is_visible()
        figures.locator("summary").focus()
        shown.page.keyboard.press("Enter")
        assert figures.locator("table").is_visible()
        assert figures.locator("tbody tr").count() == len(made_review().belief)
        shown.page.keyboard.press("Enter")
        assert not figures.locator("table").is_visible()


def test_the_story_can_be_sifted_and_is_all_there_without_script(browser: Browser, tmp_path: Path) -> None:
    story = made_review().story
    with Shown(browser, tmp_path / "page.html", PAGES["case"]()) as shown:
        page = shown.page
        rows = page.locator("#story-table tr[data-kind]")
        assert rows.count() == len(story) and page.locator("output").text_content() == f"All {len(story)} shown."
        page.get_by_label("Show only moments with the words").fill("varnish")
        assert [r.is_visible() for r in rows.all()].count(True) == 1
        assert page.locator("output").text_content() == f"Sifted: 1 of {len(story)} moments shown."
        page.get_by_label("Show only moments with the words").fill("")
        page.get_by_label("of the kind").select_option(KINDS["answered"][1])
        wanted = sum(m.kind == "answered" for m in story)
        assert [r.is_visible() for r in rows.all()].count(True) == wanted
        page.emulate_media(media="print")
        assert page.locator("output").is_visible(), "paper says that it is not all"
    with Shown(browser, tmp_path / "page.html", PAGES["case"](), java_script_enabled=False) as shown:
        assert shown.page.locator("#story-table tr[data-kind]").count() == len(story)
        assert not shown.page.locator("#story-sift").is_visible()


# -- seen ------------------------------------------------------------------------------------------


COLOURS = """() => {
  const found = [], seen = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (seen.nextNode()) {
    const e = seen.currentNode.parentElement;
    const words = seen.currentNode.textContent.trim();
    if (!words || !e.checkVisibility() || e.closest('script, style, title, desc')) continue;
    let under = e, paper = 'rgba(0, 0, 0, 0)';
    while (under && paper === 'rgba(0, 0, 0, 0)') {
      paper = getComputedStyle(under).backgroundColor; under = under.parentElement;
    }
    const style = getComputedStyle(e);
    found.push([e.closest('svg') ? style.fill : style.color, paper, words.slice(0, 40)]);
  }
  return found;
}"""


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance [published: WCAG 2.2, its definition, with the threshold 0.04045 of IEC 61966-2-1]."""
    parts = [c / 255 for c in colour]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Contrast ratio [published: WCAG 2.2, its definition]."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def rgb(colour: str) -> tuple[float, ...]:
    assert colour.startswith("rgb("), colour
    return tuple(float(n) for n in re.findall(r"[\d.]+", colour))


def test_contrast_is_reckoned_as_published() -> None:
    """[published: WCAG 2.2 gives 21 to 1 as the highest; #767676 on white as the lightest grey that passes 4.5]"""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x76,) * 3, (255,) * 3) >= 4.5 > contrast((0x77,) * 3, (255,) * 3)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_words_stand_out_from_what_they_stand_on(
    browser: Browser, tmp_path: Path, source: str, scheme: str
) -> None:
    """[published: WCAG 2.2, criterion 1.4.3: 4.5 to 1]"""
    with Shown(browser, tmp_path / "page.html", source, color_scheme=scheme) as shown:
        for details in shown.page.locator("details").all():
            details.evaluate("e => { e.open = true }")
        found = shown.page.evaluate(COLOURS)
        assert len(found) > 40
        paper = rgb(shown.page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
        assert (luminance(paper) > 0.5) == (scheme == "light")
        for ink, under, words in found:
            assert contrast(rgb(ink), rgb(under)) >= 4.5, (words, ink, under)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_stand_out_too(browser: Browser, tmp_path: Path, scheme: str) -> None:
    """[published: WCAG 2.2, criterion 1.4.11: 3 to 1 for what is needed to understand a picture]"""
    with Shown(browser, tmp_path / "page.html", PAGES["case"](), color_scheme=scheme) as shown:
        paper = rgb(shown.page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
        lines = shown.page.locator("svg.wide-chart path.line").all()
        assert len(lines) == 7
        for line in lines:
            assert contrast(rgb(line.evaluate("e => getComputedStyle(e).stroke")), paper) >= 3


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_no_page_is_wider_than_the_screen(browser: Browser, tmp_path: Path, source: str, width: int) -> None:
    with Shown(browser, tmp_path / "page.html", source, viewport={"width": width, "height": 700}) as shown:
        for details in shown.page.locator("details").all():
            details.evaluate("e => { e.open = true }")
        wide, seen = shown.page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        assert wide <= seen


BROKEN = """() => {
  const found = [], range = document.createRange();
  const seen = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (seen.nextNode()) {
    const node = seen.currentNode;
    if (!node.parentElement.checkVisibility() || node.parentElement.closest('script, style, svg, .away, .stack thead'))
      continue;
    for (const word of node.textContent.matchAll(/[\\p{L}\\p{N}]{2,16}/gu)) {
      range.setStart(node, word.index);
      range.setEnd(node, word.index + word[0].length);
      const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)));
      if (lines.size > 1) found.push(word[0]);
    }
  }
  return found;
}"""
"""Words of up to 16 letters that stand on two lines."""


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_no_word_is_broken_that_has_room(browser: Browser, tmp_path: Path, source: str, width: int) -> None:
    with Shown(browser, tmp_path / "page.html", source, viewport={"width": width, "height": 700}) as shown:
        for details in shown.page.locator("details").all():
            details.evaluate("e => { e.open = true }")
        assert shown.page.evaluate("document.body.innerText").count(" ") > 100
        assert shown.page.evaluate(BROKEN) == []


def test_narrow_nothing_is_out_of_sight_to_the_side(browser: Browser, tmp_path: Path, source: str) -> None:
    """[published: WCAG 2.2, criterion 1.4.10: reflow at 320 px, without scrolling in two dimensions]"""
    with Shown(browser, tmp_path / "page.html", source, viewport={"width": 320, "height": 700}) as shown:
        page = shown.page
        for details in page.locator("details").all():
            details.evaluate("e => { e.open = true }")
        wide = page.evaluate("[...document.querySelectorAll('.scroll')].map(e => e.scrollWidth - e.clientWidth)")
        assert len(wide) >= 3 and max(wide) <= 0
        # A cell that stands by itself says what it is, and whoever listens has the table still.
        tables = page.locator("main table").count()
        assert page.get_by_role("table").count() == tables
        assert page.get_by_role("columnheader").count() == page.locator("main thead th").count()
        for cell in page.locator(".stack td.n").all():
            assert cell.get_attribute("data-h"), cell.text_content()


TICKS = """e => ['y', 'x'].map(axis => [...e.querySelectorAll('text.' + axis)].map(t => {
  const box = t.getBBox();
  return [parseFloat(t.textContent), axis === 'y' ? box.y + box.height / 2 : box.x + box.width / 2];
}))"""
"""Value and place of the ticks of both axes, from their words."""


def flat(chances: tuple[float, ...]) -> Review:
    """A case in which nothing changes: each line lies still at its own height."""
    made = made_review()
    suspects = tuple(Suspect(f"m{i}", f"Suspect {i}", i == 0) for i in range(6))
    points = tuple(Point(i, 118.25 * i, "nothing new", chances[1:], chances[0]) for i in range(3))
    return replace(made, suspects=suspects, belief=points, story=())


def test_in_grey_each_line_has_dashes_of_its_own_where_the_axes_say(browser: Browser, tmp_path: Path) -> None:
    """By picture: ink is where the data and the ticks of the axes put it, and no two lines run alike without colour."""
    from PIL import Image

    chances = (0.1, 0.9, 0.7, 0.6, 0.4, 0.3, 0.2)
    with Shown(browser, tmp_path / "page.html", case_page(flat(chances)), device_scale_factor=2) as shown:
        shown.page.emulate_media(media="print")
        chart = shown.page.locator("svg.wide-chart")
        ticks, marks = chart.evaluate(TICKS)
        picture = Image.open(io.BytesIO(chart.screenshot())).convert("L")
    scale = picture.width / 960
    assert min(picture.tobytes()) < 40 and max(picture.get_flattened_data()) > 240
    (v0, y0), (v1, y1) = ticks[0], ticks[-1]
    (m0, x0), (m1, x1) = marks[0], marks[-1]
    # Between the second mark and the third, where there is nothing but the line.
    left, right = (round(scale * (x0 + (x1 - x0) * (m - m0) / (m1 - m0))) for m in (118.25, 236.5))
    runs = {}
    for number, chance in enumerate(chances):
        y = scale * (y0 + (y1 - y0) * (100 * chance - v0) / (v1 - v0))
        band = picture.crop((left + 20, round(y) - 9, right - 20, round(y) + 9))
        dark = [min(band.getpixel((x, row)) for row in range(band.height)) < 128 for x in range(band.width)]
        assert any(dark), f"line {number} is not where the axes say"
        lengths = [len(list(run)) for run in _runs(dark)]
        runs[number] = (sum(dark) / len(dark), len(lengths))
    assert runs[1] == (1.0, 1), "the first one is whole"
    for one, other in combinations(runs, 2):
        (ink, parts), (ink_too, parts_too) = runs[one], runs[other]
        assert abs(ink - ink_too) > 0.08 or max(parts, parts_too) > 1.15 * min(parts, parts_too), (one, other, runs)


def _runs(dark: list[bool]) -> Iterator[list[bool]]:
    run = dark[:1]
    for before, now in pairwise(dark):
        if now != before:
            yield run
            run = []
        run.append(now)
    yield run


def test_each_mark_has_an_outline_of_its_own(browser: Browser, tmp_path: Path) -> None:
    from PIL import Image

    with Shown(browser, tmp_path / "page.html", PAGES["case"](), device_scale_factor=4) as shown:
        shown.page.emulate_media(media="print")
        outlines = [
            Image.open(io.BytesIO(key.screenshot()))
            .convert("L")
            .resize((88, 32))
            .point(lambda v: 255 if v > 128 else 0)
            for key in shown.page.locator("svg.key").all()
        ]
    assert len(outlines) == 7
    for one, other in combinations(outlines, 2):
        middle = (28, 0, 60, 32)
        pairs = zip(one.crop(middle).tobytes(), other.crop(middle).get_flattened_data(), strict=True)
        assert sum(a != b for a, b in pairs) > 20


# -- printed ---------------------------------------------------------------------------------------


def printed(shown: Shown, paper: str, to: Path) -> list[str]:
    """Print; return the text of each page, and see that the paper is what was asked for."""
    shown.page.pdf(path=to, format=paper)
    about = subprocess.run(["pdfinfo", to], capture_output=True, text=True, check=True).stdout
    assert re.search(rf"Page size: +{PRINTED[paper][1]}", about), about
    count = int(re.search(r"Pages: +(\d+)", about)[1])  # type: ignore[index]
    text = subprocess.run(["pdftotext", "-layout", to, "-"], capture_output=True, text=True, check=True).stdout
    pages = text.split("\f")[:-1]
    assert len(pages) == count
    return pages


@pytest.mark.parametrize("paper", list(PRINTED))
def test_it_prints_whole_on_either_paper(browser: Browser, tmp_path: Path, source: str, paper: str) -> None:
    with Shown(browser, tmp_path / "page.html", source, color_scheme="dark") as shown:
        pages = printed(shown, paper, tmp_path / "page.pdf")
        for number, text in enumerate(pages, start=1):
            assert f"{number} of {len(pages)}" in text
        # Nothing runs over the edge, and paper is white whatever the screen is.
        shown.page.set_viewport_size({"width": round(PRINTED[paper][0] / 25.4 * 96), "height": 1000})
        shown.page.emulate_media(media="print", color_scheme="dark")
        wide, seen = shown.page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        assert wide <= seen
        colours = shown.page.evaluate(COLOURS)
        assert {under for _, under, _ in colours} == {"rgb(255, 255, 255)"}
        assert all(contrast(rgb(ink), (255, 255, 255)) >= 7 for ink, _, _ in colours)
        assert not shown.page.locator("nav").is_visible()


@pytest.mark.parametrize("paper", list(PRINTED))
def test_a_long_case_prints_with_whole_rows_under_headings(browser: Browser, tmp_path: Path, paper: str) -> None:
    review = grown(160)
    moments = tuple(
        replace(
            m,
            said=f"moment-{m.seq}-begins and goes on for a while",
            more=("more",) * (m.seq % 5) + (f"moment-{m.seq}-ends",),
            kind="remark",
        )
        for m in review.story
    )
    with Shown(browser, tmp_path / "page.html", case_page(replace(review, story=moments))) as shown:
        pages = printed(shown, paper, tmp_path / "page.pdf")
    begun = [n for n, text in enumerate(pages) for _ in re.findall(r"moment-\d+-begins", text)]
    ended = [n for n, text in enumerate(pages) for _ in re.findall(r"moment-\d+-ends", text)]
    assert len(begun) == 160 and begun == ended, "a row is cut, or lost"
    assert len(set(begun)) >= 3
    for text in pages:
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        if "What happened" in text:
            assert "moment-" in text, "the heading of a table stands alone"
        # The last line is the foot of the page; over it stands no heading of a part.
        assert lines[-2] not in {"The story", "What was believed, and when", "What each answer said", "The record"}


# -- large -----------------------------------------------------------------------------------------


def test_a_case_of_2000_moments_and_a_record_of_5000_lines_opens(browser: Browser, tmp_path: Path) -> None:
    review = replace(grown(2000), record="\n".join(f"line {i}" for i in range(5000)))
    with Shown(browser, tmp_path / "page.html", case_page(review)) as shown:
        assert shown.page.locator("#story-table tr[data-kind]").count() == 2000
        assert shown.page.locator("details.figures tbody tr").count() == 1000
        assert shown.page.locator("pre").inner_text().count("\n") == 4999
        assert shown.page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        assert shown.said == []

"""A sheet as one HTML file that prints on A4 and on US Letter: no script, no network, black on white.

The pages are laid out here, not by the browser, so that "go to 12, page 2" is true on both papers: every page is kept
small enough for the narrower and for the shorter of the two. Heights follow from the style sheet below and from the
widths of the letters.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from html import escape
from string import Template

from isolate.case.ahead import Doing
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.sheet import Box, Branch, Card, NoRoom, Sheet, Warned, sheet
from isolate.kb.fit import split
from isolate.kb.model import Condition, Place

COLUMN = 92.0
"""Width of a column in mm; two of them and the gap are narrower than A4 between its margins."""
INNER = 88.0
"""Width of the text in a column in mm, borders and padding taken off."""
WIDE = 188.0
"""Width across both columns in mm."""
ROOM = 247.5
"""Height of a column in mm: US Letter between its margins, less the head and the foot of the page."""
TEXT, TEXT_LINE = 8.0, 3.4
"""Size of the text in points, and its line in mm."""
SMALL, SMALL_LINE = 7.3, 3.1
TITLE, TITLE_LINE = 9.2, 4.0
OTHER_FONTS = 1.02
"""Room kept for a font that is wider than the one measured."""
BOLD = 1.07
"""How much wider bold letters are."""
LEAST_KEPT, LEAST_LEFT = 3, 2
"""Pieces of a card, its title counted, that stay together on either side of a column's end."""
RULED = 3
"""Ruled lines for notes at the end."""
TICK = "☐"
BLANK = 17.0
"""Length of a blank to write on, in mm."""

_WIDTHS = {
    **dict.fromkeys("ijl", 222),
    "'": 191,
    **dict.fromkeys(" !,./:;If[]\\t", 278),
    **dict.fromkeys("()-r`", 333),
    '"': 355,
    **dict.fromkeys("Jckszvxy", 500),
    **dict.fromkeys("FTZ", 611),
    **dict.fromkeys("ABEKPSVXY&", 667),
    **dict.fromkeys("CDHNRUw", 722),
    **dict.fromkeys("GOQ", 778),
    **dict.fromkeys("Mm", 833),
    "%": 889,
    "W": 944,
    **dict.fromkeys("@—→⚠☐", 1000),
}
"""Widths of the letters of Helvetica and of those made to its measure, in thousandths of their size; 556 the rest."""

GOVERNS = (
    "Your approved data governs, and with it your local rules and the licensed people. This sheet advises; it releases "
    "nothing, and nobody releases an aircraft by it. It holds no limits: take each one from your approved data."
)


@dataclass
class Part:
    """A piece of a block: its HTML and its height in mm."""

    html: str
    height: float


@dataclass
class Block:
    """What is never broken over columns. ``ref``: how others point to it. ``heading``: never last in a column."""

    ref: str = ""
    parts: list[Part] = field(default_factory=list)
    frame: str = "card"
    heading: bool = False
    spare: float = 3.75
    """Margin, border and padding, in mm."""
    splits: bool = False
    """Whether it may go on at the head of the page's second column."""

    @property
    def height(self) -> float:
        return sum(p.height for p in self.parts) + self.spare

    def split(self, room: float) -> tuple[Block, Block] | None:
        """Return the block in two, the first within so many mm, where both are worth it; warnings stay in front."""
        height, kept = self.spare, 0
        for part in self.parts:
            if height + part.height > room:
                break
            height, kept = height + part.height, kept + 1
        if kept < LEAST_KEPT or len(self.parts) - kept < LEAST_LEFT:
            return None
        again = Part(f'<p class="on"><b>{escape(self.ref)}</b> continued</p>', TEXT_LINE)
        return replace(self, parts=self.parts[:kept]), replace(self, ref="", parts=[again, *self.parts[kept:]])

    @property
    def html(self) -> str:
        inner = "".join(p.html for p in self.parts)
        mark = f' id="b{self.ref}"' if self.ref else ""
        return f'<div class="{self.frame}"{mark}>{inner}</div>'


@dataclass
class Page:
    """A page: its head, the height left under it in mm, and the blocks of its two columns."""

    head: str
    room: float
    columns: tuple[list[Block], list[Block]] = field(default_factory=lambda: ([], []))


def printed(
    kit: Kit,
    complaint: str,
    on: date,
    pages: int = 2,
    channel: str = "",
    place: Place = "gate",
    condition: Condition = "steady",
) -> str:
    """Return the sheet for one complaint as HTML, on no more than so many pages.

    Raises UnknownName or Refused for what the knowledge does not have, and Refused where the pages are too few.
    """
    least = 0

    def fits(one: Sheet) -> bool:
        nonlocal least
        takes = pages_of(one)
        least = least or takes
        return takes <= pages

    try:
        return page(sheet(kit, complaint, fits, on, channel=channel, place=place, condition=condition))
    except NoRoom:
        raise Refused(f"this sheet takes at least {least} pages, not {pages}") from None


def pages_of(sheet: Sheet) -> int:
    """Return how many pages a sheet prints on."""
    return len(_laid(sheet, _blocks(sheet, {})))


def page(sheet: Sheet) -> str:
    """Return the sheet as HTML."""
    measured = _blocks(sheet, {})
    where = {b.ref: i + 1 for i, p in enumerate(_laid(sheet, measured)) for c in p.columns for b in c if b.ref}
    # The same again, now that it is known which page each thing is on; the room for saying so was kept before.
    blocks = _blocks(sheet, where)
    for before, block in zip(measured, blocks, strict=True):
        for had, part in zip(before.parts, block.parts, strict=True):
            part.height = had.height
    laid = _laid(sheet, blocks)
    title = _title(sheet)
    sections = []
    for number, one in enumerate(laid, start=1):
        follows = f"continued on page {number + 1}" if number < len(laid) else "last page"
        columns = "".join(f"<div>{''.join(b.html for b in column)}</div>" for column in one.columns)
        sections.append(
            f'<section class="page"><div class="top"><b>{escape(title)}</b><span>page {number} of {len(laid)}</span>'
            f'</div>{one.head}<div class="columns">{columns}</div><div class="foot"><span>{escape(_mark(sheet))}. '
            f"This sheet releases nothing.</span><span>{follows}</span></div></section>"
        )
    return _PAGE.substitute(title=escape(title), sections="\n".join(sections))


def _title(sheet: Sheet) -> str:
    about = f", channel {sheet.channel}" if sheet.channel else ""
    return f"{sheet.complaint}{about} — {sheet.engine.partition(',')[0]}"


def _mark(sheet: Sheet) -> str:
    return f"Made {sheet.on.isoformat()} from knowledge {sheet.digest[:12]}"


# -- laying out ------------------------------------------------------------------------------------


def _laid(sheet: Sheet, blocks: Sequence[Block]) -> list[Page]:
    """Place the blocks, column by column, page by page."""
    head = _head(sheet)
    pages = [Page(head.html, ROOM - head.height)]
    column, used = 0, 0.0
    todo = list(reversed(blocks))
    while todo:
        block = todo.pop()
        # A heading keeps the block that it is over.
        wanted = block.height + (todo[-1].height if block.heading and todo else 0.0)
        if used and used + wanted > pages[-1].room:
            parted = block.split(pages[-1].room - used) if column == 0 and block.splits else None
            if parted is not None:
                pages[-1].columns[column].append(parted[0])
                block = parted[1]
            column, used = column + 1, 0.0
            if column == 2:
                pages.append(Page("", ROOM))
                column = 0
            todo.append(block)
            continue
        if block.height > pages[-1].room and (parted := block.split(pages[-1].room)) is not None:
            # It is too long for any column here.
            todo.append(parted[1])
            block = parted[0]
        pages[-1].columns[column].append(block)
        used += block.height
    return pages


def _width(text: str, size: float, bold: bool = False) -> float:
    """Width of a text in mm at a size in points."""
    thousandths = sum(_WIDTHS.get(c, 556 if not c.isupper() else 722) for c in text)
    return thousandths / 1000 * size * 25.4 / 72 * OTHER_FONTS * (BOLD if bold else 1.0)


def _rows(text: str, width: float, size: float = TEXT, bold: bool = False) -> int:
    """Lines that a text takes in a width, broken between words. A no-break space stands for a blank to write on."""
    space = _width(" ", size, bold)
    rows, used = 1, 0.0
    for word in text.split(" "):
        long = BLANK if word == "\N{NO-BREAK SPACE}" else _width(word, size, bold)
        if used and used + space + long > width:
            rows, used = rows + 1, long
        else:
            used += long + (space if used else 0.0)
        rows += int(used // width)
    return rows


def _text(kind: str, text: str, before: str = "", width: float = INNER) -> Part:
    """A paragraph; ``before`` stands in bold in front of it."""
    lead = f"<b>{escape(before)}</b> " if before else ""
    whole = f"{before} {text}" if before else text
    return Part(f'<p class="{kind}">{lead}{escape(text)}</p>', _rows(whole, width) * TEXT_LINE)


def _items(texts: Iterable[str], mark: str = "") -> list[Part]:
    """A list, ticked or numbered."""
    return [
        Part(
            f'<p class="step"><i>{mark or f"{i}."}</i><span>{escape(text)}</span></p>',
            _rows(text, INNER - 5) * TEXT_LINE,
        )
        for i, text in enumerate(texts, start=1)
    ]


def _named(ref: str, title: str, minutes: float | None = None) -> Part:
    """The first line of a block: its number, its title and, on a box, its minutes."""
    beside = "" if minutes is None else f'<span class="minutes">{minutes:.0f} min; by <u></u></span>'
    html = f'<p class="title"><span class="number">{ref}</span><span>{escape(title)}</span>{beside}</p>'
    return Part(html, _rows(title, INNER - (12 if minutes is None else 38), TITLE, bold=True) * TITLE_LINE + 0.9)


# -- what is on it ---------------------------------------------------------------------------------


def _head(sheet: Sheet) -> Part:
    """The head of the first page, across both columns."""
    need = [f"{sheet.people} people"] if sheet.people > 1 else []
    need += [f"authorised for {', '.join(sheet.authorities)}"] if sheet.authorities else []
    need += [", ".join(sheet.tools)] if sheet.tools else []
    early = " Less probable ways end early for want of room." if sheet.full else ""
    paragraphs = [
        ("governs", GOVERNS),
        (
            "",
            "For the day the tool has no power. Begin at box 1. Do what stands under First by its cards (⚠: warnings "
            "first, their facts written down), tick the answer, go where it points; the share is how often it is "
            "expected. P prepares, H is how, C closes, X hands over. STOP: leave it closed up by the cards C, or safe, "
            "tagged and written down; then go on with the tool once it has power, telling it these answers (Next is "
            "what it would do), or escalate. Stop too where an answer, a person or a thing is missing, and where "
            "aircraft and sheet disagree.",
        ),
        (
            "",
            f"For {sheet.engine}, at the {sheet.place}, condition {sheet.condition}, from the complaint alone. Taken "
            f"to be there: {'; '.join(need)}. Answers expected less than {_percent(sheet.share)} of the time are under "
            f"“anything else”."
            f"{early} Knowledge {sheet.digest[:12]}, made on {sheet.on.isoformat()}: once the knowledge has changed "
            "this sheet is old; make a new one and throw this one away.",
        ),
    ]
    blanks = ("Date", "Aircraft", "Engine position", "Name", "Authorisation", "Work order", "Approved data, revision")
    fields = "".join(f"<span>{b} <u></u></span>" for b in blanks)
    text = "".join(f'<p class="{kind}">{escape(words)}</p>' for kind, words in paragraphs)
    height = 17.0 + sum(_rows(w, WIDE - 4, bold=kind == "governs") * TEXT_LINE + 0.7 for kind, w in paragraphs)
    found = ""
    if sheet.found:
        words = (
            "Found so with this complaint. Look at each before anything else; where one is not so, do its card P: "
            + "; ".join(f"{TICK} {f}" for f in sheet.found)
        )
        found = f'<p class="governs">{escape(words)}</p>'
        height += _rows(words, WIDE - 4, bold=True) * TEXT_LINE + 3
    return Part(f'<div class="head">{text}<div class="fields">{fields}</div>{found}</div>', height)


def _blocks(sheet: Sheet, where: Mapping[str, int]) -> list[Block]:
    writer = _Writer(sheet, where)
    blocks = [writer.box(box) for box in sheet.boxes]
    for heading, note, cards in (
        ("Prepare", "Only what a box asks for, in its order.", sheet.openings),
        ("How", "", sheet.hows),
        ("Hand over", "Close up first; the record goes with it.", sheet.hand_overs),
    ):
        if cards:
            blocks.append(_heading(heading, note))
            blocks += [writer.card(card) for card in cards]
    blocks.append(_heading("Verification", "After every repair."))
    blocks.append(writer.verification())
    blocks.append(_heading("Closing up", "Whatever was opened, in this order."))
    if not sheet.closings:
        words = "No box of this sheet opens anything. Count tools, caps and blanks all the same."
        blocks.append(Block(parts=[_text("", words)], frame="line", spare=2.2))
    blocks += [writer.card(card) for card in sheet.closings]
    blocks.append(writer.ending())
    return blocks


def _heading(title: str, note: str) -> Block:
    html = f"<h2>{escape(title)} <small>{escape(note)}</small></h2>"
    return Block(parts=[Part(html, 5.0)], frame="heading", heading=True, spare=2.9)


class _Writer:
    """Writes the blocks of a sheet. ``where``: the page that each is on, empty while that is being worked out."""

    def __init__(self, sheet: Sheet, where: Mapping[str, int]) -> None:
        self.sheet, self.where = sheet, where
        self.told: dict[str, str] = {}
        """Warnings that a card has printed in full, and which card."""

    def ref(self, ref: str, on: int) -> str:
        """How a thing is pointed to from a page: with its page where that is another one."""
        if not self.where:
            return f"{ref} (p.\N{NO-BREAK SPACE}99)"
        there = self.where.get(ref, on)
        return ref if there == on else f"{ref} (p.\N{NO-BREAK SPACE}{there})"

    def by(self, card: Card, key: str, on: int) -> str:
        """A card as a step names it: where it is, for which channel, and whether a warning comes first."""
        channel = split(key)[1]
        return f"{self.ref(card.ref, on)}{'·' + channel if channel else ''}{' ⚠' if card.warned else ''}"

    # -- boxes

    def box(self, box: Box) -> Block:
        ref = str(box.number)
        on = self.where.get(ref, 0)
        parts = [_named(ref, box.title, box.minutes)]
        way: list[Doing] = []
        word = "First:"
        for doing in box.doing:
            if doing.kind in ("open", "close"):
                way.append(doing)
                continue
            parts += self._way(way, word, on)
            parts += self._own(box, doing, on)
            way, word = [], "Then:"
        parts += self._way(way, word, on)
        parts += [self._branch(branch, on) for branch in box.branches]
        return Block(ref=ref, parts=parts, frame="box")

    def _way(self, way: Sequence[Doing], word: str, on: int) -> list[Part]:
        """The crossings to do before a step, each by its card."""
        if not way:
            return []
        said = []
        for doing in way:
            card = self.sheet.card(doing.kind, doing.key)
            said.append(f"{self.by(card, doing.key, on)} {'' if doing.kind == 'open' else 'close: '}{doing.says}")
        return [_text("first", "; ".join(said) + ".", before=word)]

    def _own(self, box: Box, doing: Doing, on: int) -> list[Part]:
        """The check or repair itself: told here, or by its card."""
        if doing.kind == "held":
            return [_text("never", doing.says, before="Held:")]
        if doing.kind == "look":
            return []
        card = self.sheet.card(doing.kind, doing.key)
        if not card.ref:
            return [*(self._warned(w, "") for w in card.warned), *_steps(card)]
        by = self.by(card, doing.key, on)
        if box.kind == "check":
            return [_text("", "", before=f"How: {by}")]
        proof = next((p for p in self.sheet.proofs if p.key == doing.key), None)
        passes = f"{proof.title}. Passed: {proof.passes}." if proof else f"{doing.says}."
        return [_text("", passes, before=f"{TICK} {by}")]

    def _branch(self, branch: Branch, on: int) -> Part:
        words = "; ".join(branch.says)
        if branch.untold:
            words = "Could not tell"
        elif branch.gathered:
            words = f"Anything else: {words}"
        share = "" if branch.untold else _percent(branch.probability)
        go, more = self._to(branch, on)
        html = (
            f'<p class="branch"><i>{TICK}</i><span>{escape(words)}</span>'
            f'<span class="share">{share}</span><b>{escape(go)}</b></p>'
        )
        height = _rows(words, INNER - 33) * TEXT_LINE + 0.4
        if more:
            html += f'<p class="more">{escape(more)}</p>'
            height += _rows(more, INNER - 5, SMALL) * SMALL_LINE
        return Part(html, height)

    def _to(self, branch: Branch, on: int) -> tuple[str, str]:
        """Return (where to go, what is said of it)."""
        to = branch.to
        likely = "" if branch.untold else ", ".join(f"{s.title} {_percent(s.probability)}" for s in to.suspects)
        suspect = f" Suspect: {likely}." if likely else ""
        if to.kind == "box":
            return f"→ {self.ref(str(to.number), on)}", ""
        if to.kind == "close-up":
            return "→ CLOSE UP", "Verified as the complaint asks: close up by the cards C."
        if to.kind == "hand-over":
            card = next(c for c in self.sheet.hand_overs if c.name == split(to.key)[0])
            return f"→ {self.ref(card.ref, on)}", f"Hand over.{suspect}"
        if to.kind == "end":
            return "→ STOP", f"{to.title}.{suspect}"
        following = f"Next: {to.title.rstrip('?.')}." if to.title else ""
        return "→ STOP", f"{following}{suspect}".strip()

    # -- cards

    def card(self, card: Card) -> Block:
        title = f"{card.title}: {card.word}" if card.kind == "open" else card.title
        title = f"Close: {title}" if card.kind == "close" else title
        if not card.warned and card.kind != "repair":
            # Nothing is warned of: a few lines will do.
            return Block(ref=card.ref, parts=_steps(card, f"{card.ref} {_sentence(title)}"), frame="line", spare=2.2)
        warned = [self._warned(w, card.ref) for w in card.warned]
        return Block(ref=card.ref, parts=[_named(card.ref, title), *warned, *_steps(card)], splits=True)

    def _warned(self, warned: Warned, ref: str) -> Part:
        """A warning before its step: in full where a card has it first and in every box, later by title and facts."""
        had = self.told.get(warned.name) if ref else None
        if ref and had is None:
            self.told[warned.name] = ref
        text = f"In full at {had}; read it again." if had else warned.text
        facts = " ".join(f"<span>{escape(p)} <u></u></span>" for p in warned.prompts)
        said = f"{warned.level.upper()}: {warned.title}."
        height = _rows(f"{said} {text}", INNER - 4) * TEXT_LINE + 2.6
        if warned.prompts:
            blank = "\N{NO-BREAK SPACE}"
            height += _rows(" ".join(f"{p} {blank}" for p in warned.prompts), INNER - 4) * TEXT_LINE
        html = (
            f'<div class="{escape(warned.level)}"><p><b>{escape(said)}</b> {escape(text)}</p>'
            + (f'<p class="facts">{facts}</p>' if facts else "")
            + "</div>"
        )
        return Part(html, height)

    def verification(self) -> Block:
        parts = [self._warned(w, "V") for w in self.sheet.unproven]
        if self.sheet.unproven:
            parts.append(_text("", "No box of this sheet leads here, so how it is done is left to your approved data."))
        blank = "\N{NO-BREAK SPACE}"
        for proof in self.sheet.proofs:
            card = next((c for c in self.sheet.hows if c.name == split(proof.key)[0]), None)
            words = f"{proof.title}."
            if card is not None:
                words = f"{self.by(card, proof.key, self.where.get('V', 0))} {words}"
            html = (
                f'<p class="step"><i>{TICK}</i><span><b>{escape(words)}</b> Passed: {escape(proof.passes)}. '
                "By <u></u></span></p>"
            )
            whole = f"{words} Passed: {proof.passes}. By {blank}"
            parts.append(Part(html, _rows(whole, INNER - 6, bold=True) * TEXT_LINE))
        parts.append(
            _text(
                "",
                "One that does not pass: STOP. Passed says what was proven here and no more; release is for authorised "
                "people, by the approved data.",
            )
        )
        return Block(ref="V", parts=parts, splits=True)

    def ending(self) -> Block:
        parts = [
            _text("", "", before="Notes: times, tags, cranks, part and serial numbers"),
            Part('<p class="rule"></p>' * RULED, RULED * 6.0),
            Part('<p class="seen">Signed <u></u> Independent inspection, due where more than one channel was '
                 'touched, by <u></u></p>', 7.9),
        ]
        return Block(ref="N", parts=parts)


def _steps(card: Card, before: str = "") -> list[Part]:
    """What a card asks to be done, looked at, left alone and written down; ``before``: its title, where it leads."""
    first = [_text("", "Write down what you see:", before="As it comes off.")] if card.first else []
    first += _items([_sentence(t) for t in card.first], TICK)
    if card.warned and len(card.do) > 1:
        parts = _items(card.do)
    else:
        # What nothing warns of is run on, to save paper.
        run = card.do if len(card.do) == 1 else [f"{i}. {text}" for i, text in enumerate(card.do, start=1)]
        parts = [_text("", " ".join(run), before=before)] if run or before else []
    if card.wait:
        parts.append(_text("", "the time that your approved data gives.", before="Then wait"))
    parts = [*first, *parts, *_items(card.looks, TICK)]
    if card.never:
        parts.append(_text("never", " ".join(card.never), before="Never:"))
    if card.note:
        parts.append(_text("", card.note, before="Record:"))
    return parts


def _sentence(title: str) -> str:
    return title if title.endswith((".", "?", "!")) else f"{title}."


def _percent(p: float) -> str:
    return "< 1 %" if p < 0.005 else f"{100 * p:.0f} %"


_PAGE = Template(
    """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>$title</title>
<style>
/* Prints on A4 (210 x 297 mm) and on US Letter (216 x 279 mm) at 100 %: each page is as wide as the one allows and as
   long as the other. No size is set here, so that the printer's own paper stands. */
@page { margin: 9mm 10mm; }
* { box-sizing: border-box; }
html { color: #000; background: #fff; }
body { margin: 0; font: 8pt/3.4mm Arial, Helvetica, "Liberation Sans", "Nimbus Sans", sans-serif; }
.page { width: 188mm; margin: 0 auto; break-after: page; }
.page:last-child { break-after: auto; }
p, h2 { margin: 0; }
i { font-style: normal; }
u { display: inline-block; width: 17mm; border-bottom: .3pt solid #000; text-decoration: none; }
.top, .foot { display: flex; justify-content: space-between; gap: 4mm; overflow: hidden; }
.top { height: 6mm; border-bottom: 1.2pt solid #000; font-size: 10pt; line-height: 5mm; white-space: nowrap; }
.foot { height: 5mm; border-top: .5pt solid #000; margin-top: 1.5mm; padding-top: .5mm; font-size: 7.3pt; }
.top b { overflow: hidden; text-overflow: ellipsis; min-width: 0; }
.top span { flex: none; }
.head { padding-top: 1mm; }
.head p { margin-bottom: .7mm; }
.head .governs { border: 1pt solid #000; padding: .6mm 1.5mm; font-weight: bold; }
.fields { display: flex; flex-wrap: wrap; gap: 1.8mm 3mm; padding: 1.6mm 0; }
.fields u { width: 25mm; }
.columns { display: grid; grid-template-columns: 92mm 92mm; gap: 0 4mm; align-items: start; }
.box, .card { border: .6pt solid #000; padding: .6mm 1.5mm; margin-top: 1.6mm; break-inside: avoid; }
.box { border-width: 1.2pt; }
.line { border-top: .6pt solid #000; padding: .6mm 1.5mm 0; margin-top: 1.2mm; break-inside: avoid; }
.heading + .line { border-top: 0; }
.heading { break-after: avoid; margin-top: 2mm; }
h2 { font-size: 10.5pt; line-height: 5mm; border-bottom: 1pt solid #000; }
h2 small { font-size: 7.3pt; font-weight: normal; }
.title { display: flex; gap: 2mm; font-weight: bold; font-size: 9.2pt; line-height: 4mm; padding-bottom: .5mm; }
.number { flex: none; border: 1pt solid #000; padding: 0 1.2mm; min-width: 6mm; text-align: center; align-self: start; }
.minutes u { width: 10mm; }
.minutes { margin-left: auto; font-weight: normal; font-size: 7.3pt; white-space: nowrap; }
.step { display: flex; gap: 1.2mm; }
.step i { min-width: 3.6mm; flex: none; }
.branch { display: flex; gap: 1.2mm; border-top: .3pt solid #000; padding-top: .2mm; }
.branch > span:first-of-type { flex: 1; }
.branch i, .branch b, .share { flex: none; white-space: nowrap; }
.branch b { min-width: 13mm; text-align: right; }
.more { font-size: 7.3pt; line-height: 3.1mm; padding-left: 4.6mm; }
.never { font-style: italic; }
.warning { border: 1.8pt solid #000; padding: .2mm 1.2mm; margin: .4mm 0; }
.caution { border: 1pt dashed #000; padding: .2mm 1.2mm; margin: .4mm 0; }
.on { border-bottom: .3pt solid #000; }
.seen { padding-top: 1.2mm; border-top: .3pt solid #000; font-size: 7.3pt; }
.rule { height: 6mm; border-bottom: .3pt solid #000; }
@media screen { .page { padding: 6mm 0; border-bottom: 1px dashed #000; } }
</style>
</head>
<body>
$sections
</body>
</html>
"""
)

"""A debrief as a person reads it: plain lines for a terminal, and one HTML page that prints on a sheet of A4.

What was unsafe comes first, before any figure. The page is one file: no script, no network, light or dark as the
reader has it, black on white on paper.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from string import Template
from typing import Any

from isolate.drill.debrief import WHOLE, Debrief, sentence
from isolate.kb.shown import plain

MOST = 5
"""So many costly moves are told on a page, the dearest."""
MOST_EXTRA = 4
"""So many of the rest that served nothing are told on a page, the dearest."""
WRONG = ("fault left", "handed to the wrong people", "given up", "deferred wrongly")
BETTER, NOTHING = "Where there was a better move", "What served nothing"
WHEN = " (at N min: when it was begun)"
"""Said once, of the first of these headings."""
TICK, CROSS, NONE = "✓", "✗", "–"
LETTERS = 40
"""No narrower than this are the lines of a text."""

Told = Debrief | Mapping[str, Any]


def text(debrief: Told, width: int = 80) -> list[str]:
    """Return a debrief in lines no longer than ``width``, 40 at least. ``debrief``: it, or its ``as_dict``."""
    width = max(LETTERS, width)
    lines: list[str] = []
    for kind, words in _told(_as_dict(debrief)):
        if kind == "heading":
            lines += ["", *_wrapped(words, width)]
        elif kind in ("stop", "title", "verdict"):
            lines += _wrapped(words, width)
        else:
            indent = "    " if kind == "more" else "  "
            # What hangs under a figure or a mark stands under the words that follow it.
            hang = indent + (" " * 6 if kind == "item" and words[:1] in "+0123456789 " else "  ")
            lines += _wrapped(words, width, indent, hang if kind == "item" else indent)
    return [line.rstrip() for line in lines]


def page(debrief: Told) -> str:
    """Return a debrief as one HTML file. ``debrief``: it, or its ``as_dict``."""
    d = _as_dict(debrief)
    return _PAGE.substitute(
        title=escape(f"Debrief: {d['title']}"),
        heading=escape(d["title"]),
        sub=escape(_sub(d)),
        stops=_stops(d),
        verdict=f'<p class="{_tone(d)}">{escape(_verdict(d))}</p>',
        truth=_paragraphs(_truth(d)),
        took=_took(d),
        steps=_steps(d),
        extra=_extra(d),
        suspicions=_suspicions(d),
        record=_list("For the record", [_record_line(d)], _marked_html(_record_together(d))),
        learning=_list("To be learnt", [], _marked_html(_learning(d))),
        foot=escape(_foot(d)),
    )


def _as_dict(debrief: Told) -> Mapping[str, Any]:
    """Return it as a dict whose words may be shown anywhere."""
    told: Mapping[str, Any] = _shown(debrief.as_dict() if isinstance(debrief, Debrief) else debrief)
    return told


def _shown(told: Any) -> Any:
    if isinstance(told, str):
        return plain(told, lines=True)
    if isinstance(told, Mapping):
        return {key: _shown(value) for key, value in told.items()}
    return [_shown(value) for value in told] if isinstance(told, list | tuple) else told


# -- the words of both -----------------------------------------------------------------------------


def _told(d: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what the text says, as (kind, words)."""
    if d["safety"]:
        yield "stop", _stop_line(d)
        for stop, times in _stopped(d):
            yield "item", f"{_minutes(stop['minute'])}  {stop['title']}{_times(times)}"
            yield "more", _harm(stop)
        yield "title", ""
    yield "title", d["title"]
    yield "title", _sub(d)
    yield "title", ""
    yield "verdict", _verdict(d)
    for words in _truth(d):
        yield "plain", words
    yield "heading", "What it took, in equivalent minutes"
    for words, figure, note in _sums(d):
        yield "item", f"{_figure(figure, signed=note == 'signed'):>5}  {words}"
    costly, rest = _costly(d)
    if costly:
        yield "heading", BETTER + WHEN
    for step in costly:
        yield "item", f"{_figure(step['cost'], signed=True):>5}  at {_minutes(step['minute'])}: {step['title']}"
        if step["better"]:
            yield "more", f"Better: {step['better']}"
        yield "more", _why(step)
    if rest:
        yield "plain", rest
    extra, more = _most(d["extra"], MOST_EXTRA)
    if extra:
        yield "heading", _nothing(d)
    for one in extra:
        yield "item", f"{_figure(one['cost'], signed=True):>5}  at {_extra_words(one)}"
    if more:
        yield "plain", more
    if d["suspicions"]:
        yield "heading", "Your suspicions"
    for words, misread in _suspected(d):
        yield "item", words
        for words in misread:
            yield "more", words
    if d["brier"] is not None:
        yield "plain", _brier(d)
    yield "heading", "For the record"
    yield "plain", _record_line(d)
    for mark, words in _record(d):
        if mark != TICK:
            yield "item", f"{mark} {words}"
    if d["learning"]:
        yield "heading", "To be learnt"
    for mark, words in _learning(d):
        yield "item", f"{mark} {words}"
    yield "heading", _foot(d)


def _sub(d: Mapping[str, Any]) -> str:
    level = d.get("level") or {}
    name = level.get("name") if isinstance(level, Mapping) else None
    parts = [d["trainee"], d["drill"], d.get("about") or d["engine"], f"level {name}" if name else "", d["begun"][:10]]
    return " · ".join(p for p in parts if p)


def _stop_line(d: Mapping[str, Any]) -> str:
    count = len(d["safety"])
    left = not d["safety"][-1]["taken_again"]
    return (
        f"STOPPED {'once' if count == 1 else f'{count} times'}: something unsafe was about to be done. "
        f"It was not done, and no minute that it might have saved counts.{' The drill was left there.' if left else ''}"
    )


def _stopped(d: Mapping[str, Any]) -> list[tuple[Mapping[str, Any], int]]:
    """Return the stops, those alike together, as (the first, how often)."""
    found: dict[tuple[str, str], tuple[Mapping[str, Any], int]] = {}
    for stop in d["safety"]:
        key = (stop["title"], stop["rule"])
        had = found.get(key)
        found[key] = (had[0], had[1] + 1) if had else (stop, 1)
    return list(found.values())


def _harm(stop: Mapping[str, Any]) -> str:
    return " ".join(filter(None, (stop["says"], stop["harm"])))


def _times(times: int) -> str:
    return f" ({times} times)" if times > 1 else ""


def _tone(d: Mapping[str, Any]) -> str:
    return "verdict good" if d["right"] else "verdict bad" if d["judged"] in WRONG else "verdict"


def _verdict(d: Mapping[str, Any]) -> str:
    return f"{d['judged'].upper()}: {d['end']}."


def _truth(d: Mapping[str, Any]) -> list[str]:
    truth = "; ".join(d["truth"]) or "nothing at fault"
    found = "; ".join(d["found"]) or "nothing"
    lines = [f"It was: {truth}."]
    if d["judged"] != "not ended":
        lines.append(f"Found and put right, or handed over: {found}.")
    return lines


def _sums(d: Mapping[str, Any]) -> list[tuple[str, float, str]]:
    """Return the sums, as (words, figure, "signed" where it is a difference)."""
    money = d["money"]
    worth = f", worth {money['amount']:.0f} {money['unit']}" if money else ""
    by_clock = f"({d['minutes']:.0f} min by the clock{worth})"
    so_far = "so far" if d["judged"] == "not ended" else "in all"
    chance = "how the answers fell, and what the end left behind"
    if d["judged"] == "not ended":
        chance = "how the answers fell, with what still lay ahead"
    return [
        (f"{so_far} {by_clock}", d["equivalent"], ""),
        ("what a good way was expected to take, at the start", d["expected"], ""),
        ("over the best there was at each move, hints and waste too", d["over"], "signed"),
        (f"chance: {chance}", d["chance"], "signed"),
    ]


def _costly(d: Mapping[str, Any]) -> tuple[list[Mapping[str, Any]], str]:
    """Return the dearest steps in the order they were made, and a line on the rest."""
    costly = [s for s in d["steps"] if s["cost"] >= WHOLE]
    shown = sorted(costly, key=lambda s: (-s["cost"], s["seq"]))[:MOST]
    good, left = len(d["steps"]) - len(costly), [s for s in costly if s not in shown]
    words = []
    if left:
        words.append(f"{len(left)} more cost {sum(s['cost'] for s in left):.0f} together.")
    if good and not costly:
        words.append("No move had a better one beside it.")
    elif good:
        words.append("The other move was" if good == 1 else f"The other {good} moves were")
        words[-1] += " as good as any there was."
    return sorted(shown, key=lambda s: s["seq"]), " ".join(words)


def _nothing(d: Mapping[str, Any]) -> str:
    """Return the heading of what served nothing."""
    return NOTHING if _costly(d)[0] else NOTHING + WHEN


def _why(step: Mapping[str, Any]) -> str:
    """Return why it cost that, without the title of the better move again where it leads."""
    why, better = str(step["why"]), step["better"]
    lead = sentence(better) if better else ""
    at = why.find(lead) if lead else -1
    if at >= 0:
        rest = why[at + len(lead) :].strip()
        why = f"{why[:at]}That one: {rest}" if rest else why
    return why


def _most(extra: Sequence[Mapping[str, Any]], most: int) -> tuple[list[Mapping[str, Any]], str]:
    shown = sorted(extra, key=lambda e: (-e["cost"], e["minute"]))[:most]
    left = [e for e in extra if e not in shown]
    more = f"{len(left)} more, {sum(e['cost'] for e in left):.0f} min together." if left else ""
    return sorted(shown, key=lambda e: e["minute"]), more


def _suspected(d: Mapping[str, Any]) -> list[tuple[str, Sequence[str]]]:
    found = []
    for s in d["suspicions"]:
        words = (
            f"{_minutes(s['minute'])}: {s['title']}, of which you were {s['sure']:.0%} sure and the evidence "
            f"{_share(s['supported'])}; {'it was' if s['true'] else 'it was not'}."
        )
        if s["likeliest"] != s["suspect"]:
            words += f" Likeliest: {s['likeliest_title']}, {s['likeliest_p']:.0%}."
        found.append((words, s["misread"]))
    return found


def _brier(d: Mapping[str, Any]) -> str:
    count = len(d["suspicions"])
    return f"Brier score {d['brier']:.2f} over {count}: 0 is sure and right, 0.25 half sure, 1 sure and wrong."


def _record_line(d: Mapping[str, Any]) -> str:
    judged = [line for line in d["record"] if line.get("judged", True)]
    lacking = sum(1 for line in judged if not line["ok"])
    if not judged:
        return "Nothing was done that a record has to show."
    if not lacking:
        return f"An inspector would find what he or she looks for, in all {len(judged)} points that can be judged here."
    is_or_are = "is" if lacking == 1 else "are"
    return f"An inspector would ask: {lacking} of {len(judged)} points that can be judged here {is_or_are} lacking."


def _record(d: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [
        (NONE if not line.get("judged", True) else TICK if line["ok"] else CROSS, line["says"]) for line in d["record"]
    ]


def _record_together(d: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return the same with all that is there in one, to save paper."""
    lines = _record(d)
    there = [words for mark, words in lines if mark == TICK]
    return [line for line in lines if line[0] != TICK] + ([(TICK, " ".join(there))] if there else [])


def _learning(d: Mapping[str, Any]) -> list[tuple[str, str]]:
    marks = {True: (TICK, ""), False: (CROSS, " (not met on your way)"), None: (NONE, "")}
    return [(marks[p["met"]][0], f"{p['say']}{marks[p['met']][1]}") for p in d["learning"]]


def _foot(d: Mapping[str, Any]) -> str:
    return f"Seed {d['seed']}. A drill on an invented aircraft with invented figures: it releases nothing."


def _extra_words(one: Mapping[str, Any]) -> str:
    return f"{_minutes(one['minute'])}: {_stop_at_end(one['title'])} {one['why']}"


def _stop_at_end(title: str) -> str:
    return title if title.endswith((".", "?", "!")) else f"{title}."


def _share(p: float) -> str:
    return "under 1%" if 0 < p < 0.01 else f"{p:.0%}"


def _figure(value: float, signed: bool = False) -> str:
    whole = round(value)
    return f"{whole:+d}" if signed and whole else str(whole)


def _minutes(minute: float) -> str:
    return f"{minute:.0f} min"


def _wrapped(words: str, width: int, first: str = "", other: str | None = None) -> list[str]:
    if not words:
        return [""]
    hang = first if other is None else other
    return textwrap.wrap(words, width, initial_indent=first, subsequent_indent=hang, break_on_hyphens=False) or [""]


# -- the page --------------------------------------------------------------------------------------


def _paragraphs(words: Iterable[str]) -> str:
    return "".join(f"<p>{escape(w)}</p>" for w in words)


def _list(heading: str, before: Sequence[str], items: Sequence[str]) -> str:
    """A section with a list; nothing where there is none."""
    if not items:
        return ""
    return f"<section><h2>{escape(heading)}</h2>{_paragraphs(before)}<ul>{''.join(items)}</ul></section>"


def _marked_html(lines: Iterable[tuple[str, str]]) -> list[str]:
    kinds = {TICK: "yes", CROSS: "no", NONE: "open"}
    return [f'<li class="{kinds[mark]}"><b>{mark}</b> {escape(words)}</li>' for mark, words in lines]


def _stops(d: Mapping[str, Any]) -> str:
    if not d["safety"]:
        return ""
    items = "".join(
        f"<li><b>{escape(_minutes(stop['minute']))}: {escape(_stop_at_end(stop['title'] + _times(times)))}</b> "
        f"{escape(_harm(stop))}</li>"
        for stop, times in _stopped(d)
    )
    return f'<section class="stops"><p><b>{escape(_stop_line(d))}</b></p><ul>{items}</ul></section>'


def _took(d: Mapping[str, Any]) -> str:
    rows = "".join(
        f'<tr><td class="n">{_figure(figure, signed=note == "signed")}</td><td>{escape(words)}</td></tr>'
        for words, figure, note in _sums(d)
    )
    return f"<section><h2>What it took, in equivalent minutes</h2><table>{rows}</table></section>"


def _steps(d: Mapping[str, Any]) -> str:
    costly, rest = _costly(d)
    if not costly:
        return f"<section><h2>Your moves</h2>{_paragraphs([rest])}</section>" if rest else ""
    dearest = max(s["cost"] for s in costly)
    rows = []
    for step in costly:
        better = f"<br>Better: <b>{escape(step['better'])}</b>" if step["better"] else ""
        bar = f'<i style="width:{100 * step["cost"] / dearest:.0f}%"></i>'
        rows.append(
            f'<tr><td class="n">{_figure(step["cost"], signed=True)}{bar}</td><td>{escape(_minutes(step["minute"]))}: '
            f'<b>{escape(step["title"])}</b>{better}<br><span class="why">{escape(_why(step))}</span></td></tr>'
        )
    table = f"<table>{''.join(rows)}</table>"
    return f"<section><h2>{escape(BETTER + WHEN)}</h2>{table}{_paragraphs([rest] if rest else [])}</section>"


def _extra(d: Mapping[str, Any]) -> str:
    extra, more = _most(d["extra"], MOST_EXTRA)
    if not extra:
        return ""
    rows = "".join(
        f'<tr><td class="n">{_figure(e["cost"], signed=True)}</td><td>{escape(_extra_words(e))}</td></tr>'
        for e in extra
    )
    rest = _paragraphs([more] if more else [])
    return f"<section><h2>{escape(_nothing(d))}</h2><table>{rows}</table>{rest}</section>"


def _suspicions(d: Mapping[str, Any]) -> str:
    items = [
        f"<li>{escape(words)}{''.join(f'<br><span class=why>{escape(m)}</span>' for m in misread)}</li>"
        for words, misread in _suspected(d)
    ]
    if items and d["brier"] is not None:
        items.append(f'<li class="why">{escape(_brier(d))}</li>')
    return _list("Your suspicions", [], items)


_PAGE = Template(
    """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>$title</title>
<style>
:root { color-scheme: light dark; --ink: #1b1b1b; --paper: #fff; --soft: #595959; --line: #c9c9c9; --bad: #a30d0d;
  --badpaper: #fdeceb; --good: #14632a; --bar: #b9730f; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #ececec; --paper: #161616; --soft: #b0b0b0; --line: #474747; --bad: #ff9a90; --badpaper: #3a1513;
    --good: #83d69b; --bar: #e0a13f; }
}
* { box-sizing: border-box; }
html { color: var(--ink); background: var(--paper); }
body { margin: 0 auto; padding: 16px; max-width: 46rem; overflow-wrap: break-word;
  font: 15px/1.4 Arial, Helvetica, "Liberation Sans", "Nimbus Sans", sans-serif; }
h1 { font-size: 1.35rem; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 1rem; margin: 1.1rem 0 .3rem; padding-bottom: .1rem; border-bottom: 1px solid var(--line); }
p { margin: .2rem 0; }
ul { margin: .2rem 0; padding: 0; list-style: none; }
li { margin: .2rem 0; padding-left: 1.3em; text-indent: -1.3em; }
table { border-collapse: collapse; width: 100%; }
td { padding: .15rem 0; vertical-align: top; }
.n { width: 3.6rem; padding-right: .7rem; text-align: right; font-weight: bold; white-space: nowrap;
  font-variant-numeric: tabular-nums; }
.n i { display: block; height: 3px; margin-left: auto; background: var(--bar); }
.sub, .why, footer { color: var(--soft); font-size: .9em; }
.stops { border: 2px solid var(--bad); background: var(--badpaper); color: var(--bad); padding: .4rem .7rem;
  margin-bottom: 1rem; }
.verdict { font-size: 1.1rem; font-weight: bold; margin-top: .6rem; }
.bad, .no b { color: var(--bad); }
.good, .yes b { color: var(--good); }
footer { margin-top: 1.2rem; border-top: 1px solid var(--line); padding-top: .3rem; }
@page { size: A4; margin: 11mm 14mm; }
@media print {
  :root { --ink: #000; --paper: #fff; --soft: #333; --line: #888; --bad: #8b0000; --badpaper: #fff; --good: #000;
    --bar: #666; }
  body { padding: 0; max-width: none; font-size: 8.4pt; line-height: 1.22; }
  h1 { font-size: 12.5pt; }
  h2 { font-size: 9.2pt; margin: .45em 0 .1em; break-after: avoid; }
  p, li { margin: .05em 0; }
  td { padding: .04em 0; }
  .stops { margin-bottom: .5em; padding: .2em .6em; }
  .verdict, footer { margin-top: .3em; }
  tr, li, .stops { break-inside: avoid; }
  .n i { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
</style>
</head>
<body>
$stops
<h1>$heading</h1>
<p class="sub">$sub</p>
$verdict
$truth
$took
$steps
$extra
$suspicions
$record
$learning
<footer>$foot</footer>
</body>
</html>
"""
)

"""A review on the screen or as text: what stands where, at 80 columns and wide. Colour only repeats what words say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from isolate.review.story import RULES, number, odds_words, share
from isolate.terminal.layout import cut, heading, text
from isolate.terminal.words import listed, minutes, small, times

if TYPE_CHECKING:
    from isolate.review.shapes import Answered, Guarded, Hindsight, Moment, NotNeeded, Review, Spent, Suspect

PARTS = {
    "story": "The story",
    "belief": "What was believed, and what each answer says",
    "firm": "How firm the verdict is",
    "readings": "What was measured",
    "rules": "Rules, cautions and gates",
    "minutes": "Minutes, by the book",
    "advice": "Advice, and what would have been cheaper",
    "trust": "The trail",
    "record": "The record",
}
"""The parts, in their order, with their headings."""
WIDE = 100
"""Columns from which on figures stand beside words instead of under them."""
MOST_SPENT = 6
"""So many rows of a kind are shown where minutes are not all that is asked for."""
MOST_WEAK, MOST_SAME = 5, 2
"""So many things that would change the repair, or only the fault, are shown where that is not all that is asked for."""
TOGETHER = 1.005
"""Probabilities that come to more than this are said to be able to."""
SPEAKS = 0.3
"""An answer of fewer bits says nothing either way."""
SHOWN = 0.05
"""Fewer bits are shown as none."""
OPEN = "Not ended: the case is open."
NO_END = "Not ended, as far as the trail is whole."
COLOURS = ("bold cyan", "bold yellow", "bold magenta", "bold green", "bold blue", "bold red")
TONES: Mapping[str, str] = {
    "gate": "bold yellow",
    "taken-back": "bold",
    "turned-down": "bold",
    "verified": "bold",
    "repair": "bold",
    "swap": "bold",
    "ended": "bold",
    "shop": "bold",
}
"""Kinds of moments that stand out."""
_UNDER = 2


def page(review: Review, width: int, only: str = "") -> Group:
    """Return a review, or one part of it by its name in :data:`PARTS`."""
    drawn: dict[str, Callable[[Review, int, bool], Iterable[RenderableType]]] = {
        "story": _story,
        "belief": _belief,
        "firm": _firm,
        "readings": _readings,
        "rules": _rules,
        "minutes": _minutes,
        "advice": _advice,
        "trust": _trust,
        "record": _record,
    }
    parts: list[RenderableType] = [heading(f"Case {review.case}", width, "Review"), *_head(review, bool(only))]
    for name, title in PARTS.items():
        if only in ("", name):
            parts += ["", heading(title, width), *drawn[name](review, width, bool(only))]
    return Group(*parts)


# -- who, what, where, how it ended ------------------------------------------------------------------


def _head(r: Review, short: bool) -> Iterator[RenderableType]:
    for back in r.came_back:
        yield text(f"{'CAME BACK' if back.returned else 'TAKEN UP AGAIN'}: {back.said}.", "bold")
    for line in r.drawn:
        yield text(line)
    channel = f", channel {r.channel}" if r.channel else ""
    engine = f"Aircraft {r.aircraft}, engine {r.position} ({(r.engine_title or r.engine).partition(',')[0]})"
    rows = [("What", f"{engine}: {r.complaint_title}{channel}.")]
    closed = f", ended {_when(r.closed)}" if r.closed else ""
    where = f" At the {r.place}." if r.place else ""
    station = f" Station: {r.station}." if r.station else ""
    rows.append(("When", f"Opened {_when(r.opened)}{closed}, in UTC.{where}{station}"))
    broken = r.trust is not None and not r.trust.whole
    end = f"{_capital(r.end)}." if r.end else NO_END if broken else OPEN
    named = [s.title for s in r.suspects if s.named]
    rows.append(("End", end + (f" Named: {listed(named)}." if named else "")))
    if r.trust is not None:
        rows.append(("Trail", trust_line(r)))
    rows += [("NOTE", note) for note in r.notes]
    rows += [("FORK", fork) for fork in r.forks]
    if r.hindsight is not None and r.hindsight.doubt:
        rows.append(("DOUBT", r.hindsight.doubt))
    if r.unmet:
        rows.append(("UNMET", r.unmet))
    if not short:
        worked = f"{minutes(r.book)} worked by the book, {minutes(r.clock)} by the clock"
        if r.isolated is not None and r.until:
            worked += f"; {minutes(r.isolated)} until {r.until} was taken up"
        rows.append(("Took", f"{worked}."))
        if r.hindsight is not None and r.hindsight.steps:
            least = f"With the fault known from the start: {minutes(r.hindsight.least)}."
            rows.append(("Least", least))
        if r.firm is not None:
            rows.append(("Firm", _firm_line(r)))
    yield _labelled(rows)


def trust_line(r: Review) -> str:
    """Return in one line whether the trail is whole, replays, and is signed."""
    if r.trust is None:
        return "not looked at"
    t = r.trust
    whole = "whole" if t.whole else "NOT WHOLE"
    again = "not replayed here" if t.not_replayed else "REPLAYS DIFFERENTLY" if t.differs else "replays the same"
    return f"{whole}; {again}; {t.signed}. {r.events} events."


def _firm_line(r: Review) -> str:
    f = r.firm
    assert f is not None
    said = f"{f.title} {share(f.chance)}"
    if f.second_title:
        said += f", {odds_words(f.odds)} against {small(f.second_title)}"
    if f.rows and not f.rows[0].same_repair:
        return f"{said}. {f.rows[0].said}"
    return f"{said}. No single thing looked at would change {'the repair' if f.repair else 'it'}."


# -- the story -----------------------------------------------------------------------------------------


def _story(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    """Yield the moments; runs of openings and their cautions are told together."""
    yield text("Time (UTC) and minutes worked, both at the end of it; event.", "dim")
    grid = _grid(5, 4, 4)
    day = ""
    for runs, some in groupby(r.story, key=lambda m: m.kind in ("access", "caution") and not m.void):
        for moments in [list(some)] if runs else [[m] for m in some]:
            first, last = moments[0], moments[-1]
            if last.time[:10] != day:
                day = last.time[:10]
                grid.add_row("", "", "", Text(day, style="bold"))
            body = _run(moments, alone) if runs else _moment(first)
            grid.add_row(
                Text(last.time[11:16]), Text(f"{last.at:.0f}"), Text(str(first.seq), style="dim"), Group(*body)
            )
    yield grid


def _moment(m: Moment) -> Iterator[RenderableType]:
    took = f" ({number(m.took)} min)" if m.took else ""
    void = "TAKEN BACK LATER: " if m.void else ""
    yield text(f"{void}{m.said}{took}", "dim" if m.kind == "rule" else TONES.get(m.kind, ""))
    for line in m.more:
        yield Padding(text(line, "dim" if line.startswith("Believed then") else ""), (0, 0, 0, _UNDER))


def _run(moments: Sequence[Moment], alone: bool) -> Iterator[RenderableType]:
    """Yield a run of openings, shuttings and cautions in a few lines; the facts where the story is all there is."""
    for verb, some in groupby((m for m in moments if m.kind == "access"), key=lambda m: m.said.partition(": ")[0]):
        crossed = list(some)
        what = [m.said.partition(": ")[2] + (f" ({number(m.took)})" if m.took else "") for m in crossed]
        took = sum(m.took for m in crossed)
        yield text(f"{verb}: {', '.join(what)}" + (f". {number(took)} min" if took and len(what) > 1 else ""))
        for m in crossed:
            for line in m.more:
                yield Padding(text(f"{m.said.partition(': ')[2]}: {line}"), (0, 0, 0, _UNDER))
    confirmed = []
    shown = []
    for m in moments:
        if m.kind != "caution":
            continue
        title = m.said.partition(": ")[2]
        facts = [line for line in m.more if alone and not line.startswith("Before: ")]
        if m.said.startswith("Caution shown"):
            shown.append(title)
        else:
            confirmed.append(f"{title} ({'; '.join(facts)})" if facts else title)
    for label, items in (("Cautions confirmed", confirmed), ("Cautions shown", shown)):
        if items:
            said = "; ".join(f"{item} [{n} times]" if n > 1 else item for item, n in Counter(items).items())
            yield Padding(text(f"{label}: {said}"), (0, 0, 0, _UNDER))


# -- belief and weights ---------------------------------------------------------------------------------


def _belief(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    if not r.suspects:
        yield text("Nobody was suspected with more than a few percent.")
        return
    for n, suspect in enumerate(r.suspects, start=1):
        at_end = "" if suspect.at_end is None else f": {share(suspect.at_end)}"
        named = f"  <- the end names it{at_end}" if suspect.named else ""
        yield Text.assemble(Text(f"{n}  ", style=COLOURS[n - 1]), text(suspect.title), Text(named, style="bold"))
    yield text(
        "In the bars each digit is a suspect's share, dots the other faults, dashes no fault at all; right: percent.",
        "dim",
    )
    if any(sum(p.chances) + p.none > TOGETHER for p in r.belief):
        yield text("They can come to more than 100% together: several may be at fault at once.", "dim")
    if any(s.at_end is not None for s in r.suspects) and any(m.kind == "repair" and not m.void for m in r.story):
        yield text("The end weighs the answers after the repair too, so that its figure can be another.", "dim")
    yield ""
    yield _chart(r, width)
    yield ""
    yield from _weights(r, width)
    yield from _not_asked(r)


def _not_asked(r: Review) -> Iterator[RenderableType]:
    """Yield what could have been asked before the deciding move was taken up, and what could not."""
    if not r.not_asked_at:
        return
    when = f"before event {r.not_asked_at}, the deciding move," if r.end else "up to now"
    yield ""
    if not r.not_asked:
        yield text(f"{_capital(when)} nothing was left to ask that could have told much.", "bold")
    else:
        yield text(f"Not asked {when.rstrip(',')}, though it could have told something:", "bold")
    for n in r.not_asked:
        over = n.expected - n.best
        dear = f"by the plan {number(over)} min dearer than what it put first" if over >= 1 else (
            "by the plan as good as what it put first"
        )  # fmt: skip
        yield _hung("-", f"{n.title}: {n.bits:.1f} bits expected, {number(n.minutes)} min; {dear}")
    by_reason: dict[str, list[str]] = {}
    for title, why in r.not_done:
        by_reason.setdefault(why, []).append(title)
    for why, titles in by_reason.items():
        yield text(f"Could not be asked ({why}), though it could have told something: {'; '.join(titles)}")


def _chart(r: Review, width: int) -> Table:
    """Return the belief after each thing said: a bar of digits, which needs no colour, and the figures."""
    across = 40 if width >= WIDE else 20
    grid = _grid(4, None, across, *[4] * len(r.suspects), 4)
    label = max(16, width - 6 - across - 1 - 5 * (len(r.suspects) + 1) - 1)
    head = [Text(str(n), style=COLOURS[n - 1]) for n in range(1, len(r.suspects) + 1)]
    grid.add_row(Text(""), Text("after", style="dim"), Text(""), *head, Text("none", style="dim"))
    for point in r.belief:
        figures = [Text(_percent(chance)) for chance in point.chances]
        grid.add_row(
            Text(str(point.seq), style="dim"),
            text(cut(point.after, label)),
            _bar(point.chances, point.none, across),
            *figures,
            Text(_percent(point.none), style="dim"),
        )
    return grid


def _bar(chances: Sequence[float], none: float, across: int) -> Text:
    """Return shares as so many digits each, dots for what is left, dashes for no fault at all."""
    # Two faults may be there at once: then the shares sum to more than one.
    whole = max(1.0, sum(chances) + none)
    line, at, had = Text(), 0.0, 0
    for n, chance in enumerate((*chances, none)):
        at += chance / whole
        cells = round(at * across) - had
        if n == len(chances):
            other = max(0, across - had - round(none / whole * across))
            line.append("." * other, style="dim")
            line.append("-" * (across - had - other), style="dim")
        else:
            line.append(str(n + 1) * cells, style=COLOURS[n])
            had += cells
    return line


def _weights(r: Review, width: int) -> Iterator[RenderableType]:
    """Yield what each answer says: in words of whom the end names, in bits of each suspect."""
    weighed = [a for a in r.answers if a.bits]
    if not weighed:
        yield text("What each answer says could not be weighed; what was answered stands in the story.")
        return
    about = [s.title for s in r.suspects if s.named] or [_last_leading(r).title]
    yield text(
        f"What each answer says of {small(listed(about))}, in words where it says something; in bits, for (+) and "
        "against (-) each suspect: by how much it changed the odds when it came. One bit doubles or halves them; they "
        "add up."
    )
    grid = _grid(5, None, *[5] * len(r.suspects), *([6] if width >= WIDE else []))
    head = [Text(str(n), style=COLOURS[n - 1]) for n in range(1, len(r.suspects) + 1)]
    doubt = [Text("doubt", style="dim")] if width >= WIDE else []
    grid.add_row(Text(""), Text(""), *head, *doubt)
    carried = [a for a in weighed if a.carried]
    telling = [a for a in carried if max(abs(b) for b in a.bits) >= SPEAKS]
    if carried:
        grid.add_row(Text(""), text(
            "Of earlier cases, as they are now: how much lower the odds at the opening would be without each, which "
            "does not add up.", "dim",
        ))  # fmt: skip
    for case, some in groupby(telling, key=lambda a: a.carried):
        grid.add_row(Text(""), text(f"Carried from case {case}:", "bold"))
        for answer in some:
            _weight(grid, answer, r, width)
    if left := len(carried) - len(telling):
        grid.add_row(Text(""), text(f"{left} more of earlier cases say nothing either way.", "dim"))
    if telling:
        grid.add_row(Text(""), text("In this case:", "bold"))
    work = {m.seq: m for m in r.story if m.kind in ("repair", "swap") and not m.void}
    answers = {a.seq: a for a in weighed if not a.carried}
    points = {p.seq: p for p in r.belief}
    void = {m.seq for m in r.story if m.void}
    sums, since = [0.0] * len(r.suspects), "From the opening"
    for seq in sorted({*work, *answers, *points}):
        point = points.get(seq)
        if seq in work:
            _sum(grid, since, sums, answers, seq)
            sums, since = [0.0] * len(r.suspects), "Since that work"
            what = f"{work[seq].said}. From here on: of what is left."
            grid.add_row(Text(str(seq), style="dim"), text(what, "bold"))
        elif seq in answers:
            _weight(grid, answers[seq], r, width)
        elif point is not None and point.bits and max(map(abs, point.bits)) >= SHOWN:
            said = f"{point.after}{' (taken back later)' if seq in void else ''}"
            grid.add_row(Text(str(seq), style="dim"), text(said), *map(_weight_of, point.bits))
        if point is not None and point.bits:
            sums = [had + bits for had, bits in zip(sums, point.bits, strict=True)]
    _sum(grid, since, sums, answers, r.events + 1)
    yield grid
    if width >= WIDE:
        yield text("doubt: bits of doubt that it took away, by what was known then; negative: added.", "dim")


def _weight(grid: Table, a: Answered, r: Review, width: int) -> None:
    condition = f" ({a.condition})" if a.condition else ""
    said = text(f"{a.title}{'' if a.title.endswith('?') else ':'} {a.said}{condition}")
    cell: RenderableType = said
    if not a.words.startswith("says nothing"):
        cell = Group(said, Padding(Text(f"-> {a.words}", style="bold"), (0, 0, 0, _UNDER)))
    if a.reading:
        cell = Group(cell, Padding(text(a.reading, "dim"), (0, 0, 0, _UNDER)))
    bits = [_weight_of(b) for b in a.bits]
    doubt = [Text("" if a.carried else _bits(a.moved), style="dim")] if width >= WIDE else []
    grid.add_row(Text(str(a.seq), style="dim"), cell, *bits, *doubt)


def _readings(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    if not r.readings:
        yield text("No reading was told with its figures.")
        return
    how = {"answered": "", "along": " (the record was read for another check)", "noted": " (noted, answers nothing)"}
    for one in r.readings:
        yield text(f"{one.seq}. {one.title}{how[one.how]}{' (taken back later)' if one.void else ''}", "bold")
        for said in (*one.lines, *([f"Answered: {one.said}."] if one.said else [])):
            yield Padding(text(said), (0, 0, 0, _UNDER))
        if alone:
            for file in one.files:
                yield Padding(text(f"{file.name}: SHA-256 {file.sha256}", "dim"), (0, 0, 0, _UNDER))


def _weight_of(bits: float) -> Text:
    return Text(_bits(bits), style="" if abs(bits) >= SPEAKS else "dim")


def _sum(grid: Table, since: str, sums: Sequence[float], answers: Iterable[int], seq: int) -> None:
    """Add what all before an event come to, where anything was answered since the last work."""
    if any(abs(total) >= SHOWN for total in sums) and any(answer < seq for answer in answers):
        grid.add_row(Text(""), text(f"{since}, in all:", "bold"), *(Text(_bits(b), style="bold") for b in sums))


def _last_leading(r: Review) -> Suspect:
    last = r.belief[-1].chances if r.belief else ()
    return r.suspects[max(range(len(last)), key=lambda i: last[i])] if last else r.suspects[0]


# -- how firm ------------------------------------------------------------------------------------------


def _firm(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    f = r.firm
    if f is None:
        yield text("There is no verdict to weigh, or no knowledge to weigh it by.")
        return
    said = f"{f.title}: {share(f.chance)}"
    if f.second_title:
        said += f"; next {small(f.second_title)}, {odds_words(f.odds)}"
    yield text(f"{said}.", "bold")
    repair = f"the repair ({small(f.repair_title)})" if f.repair else "it"
    other, same = ([row for row in f.rows if row.same_repair == kept] for kept in (False, True))
    if other:
        yield text(f"What would change {repair}, if it were wrong, the least first:")
    else:
        yield text(f"No single answer, likelihood or prior that was looked at would change {repair}.")
    most = len(f.rows) if alone else MOST_WEAK
    for row in other[:most]:
        yield _hung("-", row.said)
    if same:
        yield text("What would change which fault leads, but is put right by the same part and the same repair:")
    for row in same[: len(f.rows) if alone else MOST_SAME]:
        yield _hung("-", row.said)
    left = 0 if alone else len(other[MOST_WEAK:]) + len(same[MOST_SAME:])
    if left:
        yield text(f"{left} more: isolate review {r.case} --only firm", "dim")
    for note in f.notes:
        yield text(note, "dim")


# -- rules, cautions, gates ------------------------------------------------------------------------------


def _rules(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    held = [m for m in r.story if m.kind == "gate"]
    yield text("Held back:" if held else "Nothing was held back.", "bold")
    for m in held:
        yield _hung(str(m.seq), "; ".join((m.said, *m.more)), 5)
    fired = [f for f in r.rules if f.kind != "gate"]
    if fired:
        yield text("Rules that fired, on what, and where each comes from:", "bold")
    for one in fired:
        yield _hung(str(one.seq), f"{RULES.get(one.kind, one.kind)}: {one.says}", 5)
        yield Padding(text(f"on {'; '.join(one.matched) or 'the case as it stood'}", "dim"), (0, 0, 0, 6))
        yield Padding(text(f"rule {one.rule}; source: {'; '.join(one.sources) or 'none told'}", "dim"), (0, 0, 0, 6))
    confirmed = [c for c in r.cautions if not c.shown]
    shown = Counter(c.title for c in r.cautions if c.shown)
    if confirmed:
        yield text("Cautions confirmed, and by what:", "bold")
    if alone:
        for c in confirmed:
            yield _hung(str(c.seq), f"{c.title}, before {c.before!r}: {_facts(c)}", 5)
    else:
        by_title: dict[str, list[Guarded]] = {}
        for c in confirmed:
            by_title.setdefault(c.title, []).append(c)
        for title, some in by_title.items():
            often = f" ({times(len(some))}; the last time)" if len(some) > 1 else ""
            yield _hung(str(some[-1].seq), f"{title}{often}: {_facts(some[-1])}", 5)
    if shown:
        said = [f"{title} ({times(n)})" if n > 1 else title for title, n in shown.items()]
        yield text(f"Cautions shown, with nothing to tell: {'; '.join(said)}.")


def _facts(c: Guarded) -> str:
    return ", ".join(f"{name}: {value}" for name, value in c.facts) or "nothing told"


# -- minutes -------------------------------------------------------------------------------------------


def _minutes(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    kinds = {"check": "Checks", "repair": "Repairs", "swap": "Parts changed over", "access": "Access, there and back"}
    across = 30 if width >= WIDE else 12
    whole = sum(s.minutes for s in r.spent)
    top = max((s.minutes for s in r.spent), default=1.0)
    grid = _grid(None, 4, 6, across)
    for kind, title in kinds.items():
        rows = [s for s in r.spent if s.kind == kind]
        if not rows:
            continue
        came_to = sum(s.minutes for s in rows)
        grid.add_row(
            Text(f"{title}: {share(came_to / whole)}", style="bold"), Text(""), Text(number(came_to), style="bold")
        )
        most = len(rows) if alone else MOST_SPENT
        for s in rows[:most]:
            grid.add_row(Padding(text(s.title), (0, 0, 0, _UNDER)), _times(s), Text(number(s.minutes)),
                         Text("#" * max(1, round(s.minutes / top * across))))  # fmt: skip
        rest = rows[most:]
        if rest:
            left = sum(s.minutes for s in rest)
            grid.add_row(Padding(text(f"{len(rest)} more", "dim"), (0, 0, 0, _UNDER)), Text(""), Text(number(left)))
    grid.add_row(Text("In all", style="bold"), Text(""), Text(number(whole), style="bold"))
    yield grid


def _times(s: Spent) -> Text:
    return Text(f"{s.times} x" if s.times > 1 else "", style="dim")


# -- advice, and what would have been cheaper ---------------------------------------------------------------


def _advice(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    taken = [a for a in r.advice if a.became == "taken"]
    yield text(f"Taken as it was offered: {len(taken)} of {len(r.advice)}.")
    for a in r.advice:
        if a.became == "taken":
            continue
        how = f"turned down: {a.reason or 'no reason given'}" if a.became == "declined" else f"instead: {a.instead}"
        over = f" ({_over(a.over)})" if a.over is not None else ""
        yield _hung(str(a.seq), f"{a.title}, {how}{over}", 5)
    yield text("Cheaper, by what was known then:", "bold")
    for c in r.cheaper:
        yield _hung(str(c.seq), f"{number(c.over)} min. {c.did}. Better: {small(c.best)}. {c.why}", 5)
    if not r.cheaper:
        yield text("Nothing: every move was the one offered first, or as good by the plan's figures, and nothing was "
                   "opened or asked in vain.")  # fmt: skip
    yield text("Figures of the plan are equivalent minutes: labour, parts and waiting counted in.", "dim")
    if r.hindsight is None:
        yield text("In hindsight: nothing yet, the case is open." if not r.end else
                   "In hindsight: nobody says what was at fault.")  # fmt: skip
        return
    yield from _hindsight(r.hindsight, alone)


def _hindsight(h: Hindsight, alone: bool) -> Iterator[RenderableType]:
    if h.steps:
        yield text(f"In hindsight, with {small(listed(h.titles))} known from the start (by {h.by}):", "bold")
        grid = _grid(6, None)
        for title, took in h.steps:
            grid.add_row(Text(number(took)), text(title))
        grid.add_row(Text(number(h.least), style="bold"), text(f"in all; the case took {number(h.took)}", "bold"))
        yield grid
        if h.rest and h.took > h.least:
            yield text(f"Of the {number(h.took - h.least)} min more: {'; '.join(map(_went, h.rest))}.")
    else:
        yield text(h.none or "No hindsight: nobody says what was at fault.", "bold")
    if h.doubt:
        yield text(h.doubt, "bold")
    if h.not_needed:
        took = sum(n.minutes for n in h.not_needed)
        idle = "What in hindsight told nothing of it" if h.steps else "What could not be told"
        yield text(f"{idle}, or put nothing right ({number(took)} min together):", "bold")
    by_reason: dict[str, list[NotNeeded]] = {}
    for n in h.not_needed:
        by_reason.setdefault(n.why, []).append(n)
    for why, some in by_reason.items():
        yield text(f"{why} {number(sum(n.minutes for n in some))} min:" if len(some) > 1 else why)
        most = len(some) if alone else MOST_SPENT
        # The dearest are told where not all are; in the order in which they were done.
        told = sorted(sorted(some, key=lambda n: (-n.minutes, n.seq))[:most], key=lambda n: n.seq)
        for n in told:
            yield _hung(str(n.seq), f"{number(n.minutes)} min  {n.title}", 5)
        if len(some) > most:
            yield _hung("", f"{len(some) - most} more", 5)


# -- trail and record --------------------------------------------------------------------------------------


def _trust(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    told = r.trust.said if r.trust is not None else ("It was not looked at.",)
    for line in (*told, *r.forks):
        yield text(line)
    yield text(f"Knowledge {r.knowledge or 'not told'}.", "dim")
    yield text(f"Last event's hash {r.head}.", "dim")


def _record(r: Review, width: int, alone: bool) -> Iterator[RenderableType]:
    if not r.record:
        yield text("No record was written.")
    for line in r.record.splitlines():
        indent = len(line) - len(line.lstrip())
        yield Padding(text(line.strip()), (0, 0, 0, indent)) if line.strip() else Text("")


# -- small things ------------------------------------------------------------------------------------------


def _grid(*widths: int | None) -> Table:
    """Return a table without lines; columns of a width stand to the right, the one of None takes what is left."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    for width in widths:
        if width is None:
            grid.add_column(ratio=1, overflow="fold")
        else:
            grid.add_column(width=width, no_wrap=True, justify="left" if width > 6 else "right")
    if None not in widths:
        grid.add_column(ratio=1, overflow="fold")
    return grid


def _labelled(rows: Iterable[tuple[str, str]]) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=6, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for label, what in rows:
        grid.add_row(Text(label, style="bold"), text(what))
    return grid


def _hung(mark: str, what: str, width: int = 1) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=width, no_wrap=True, justify="right")
    grid.add_column(ratio=1, overflow="fold")
    grid.add_row(Text(mark, style="dim"), text(what))
    return grid


def _percent(chance: float) -> str:
    if chance == 0:
        return "0"
    return "<1" if chance < 0.005 else ">99" if 0.995 <= chance < 1 else f"{100 * chance:.0f}"


def _bits(bits: float) -> str:
    return "0" if abs(bits) < SHOWN else f"{bits:+.1f}"


def _went(part: tuple[str, float]) -> str:
    what, took = part
    return f"{number(abs(took))} min {'' if took > 0 else 'less '}in {what}"


def _over(over: float) -> str:
    if over >= 1:
        return f"expected to cost {number(over)} min more"
    return "as good by the plan's figures" if over > -1 else f"expected to cost {number(-over)} min less"


def _when(time: str) -> str:
    return time[:16].replace("T", " ")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]

"""Defects that came back, laid out: in short first, then their cases beside each other, parts' ways and trends."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from isolate.review.beside import day
from isolate.review.trend import LEVEL, LOOK_BACK, SHORTEST
from isolate.terminal import words
from isolate.terminal.layout import Row, heading, rows, several, text

if TYPE_CHECKING:
    from isolate.review.parts import Stay, Way
    from isolate.review.repeats import Asked, Repeat, Repeats, Visit
    from isolate.review.trend import Trend

NARROWEST = 21
"""Columns of a visit below which fewer stand beside each other."""
LABELS = 9
"""Columns of what a row is about."""
MOST_TRENDS = 6
"""Trends of part numbers that are shown where none stands out."""
LONGEST_STRIP = 60
"""Columns of a line of time."""


def page(shown: Repeats, width: int) -> Group:
    """Return all of it."""
    parts: list[RenderableType] = []
    for way in shown.ways:
        parts += [*_way(way, width), ""]
    for repeat in shown.found:
        parts += [*_repeat(repeat, width), ""]
    if not shown.found and not (shown.part and not shown.ways):
        parts.append(text("Nothing came back, as far as the cases here show."))
    starts = f" and {shown.starts:g} engine starts of its opening, where they are told" if shown.starts else ""
    parts.append(text(
        f"Looked for: cases that were opened within {shown.days:g} days of the end of the one before{starts}.", "dim"
    ))  # fmt: skip
    if shown.more:
        parts.append(text(
            f"{shown.more:,} more came back before these. --most {len(shown.found) + shown.more} shows all of them, "
            "--aircraft those of one, --since those of late."
        ))  # fmt: skip
    if shown.trends:
        parts += ["", *_trends(shown, width)]
    parts += [text(note) for note in shown.notes]
    return Group(*parts)


# -- a defect --------------------------------------------------------------------------------------


def _repeat(repeat: Repeat, width: int) -> list[RenderableType]:
    times = repeat.times
    kind = f"Came back {words.times(times)}" if times else "Opened again"
    if not times and any(visit.taken_up for visit in repeat.visits):
        kind = "Taken up again"
    engine = repeat.engine_title.partition(",")[0] or repeat.engine
    about = f"Aircraft {repeat.aircraft}, engine {repeat.position} ({engine})"
    if repeat.about == "part":
        about = f"Part S/N {repeat.part}: {', '.join(w.partition(' ')[0] for w in repeat.where)}"
        kind = f"In {len(repeat.visits)} cases, on {len(repeat.where)} engines"
    parts: list[RenderableType] = [heading(about, width, kind), rows(_short(repeat))]
    first = repeat.older
    across = _across(width, len(repeat.visits) - first)
    shown = repeat.visits[first:]
    for at in range(0, len(shown), across):
        numbers = range(first + at + 1, first + at + 1 + len(shown[at : at + across]))
        parts += ["", _beside(list(zip(numbers, shown[at : at + across], strict=True)), width)]
    for at in range(0, len(shown), across):
        some = shown[at : at + across]
        for when in ASKED:
            if any(asked.when == when for visit in some for asked in visit.asked):
                parts += ["", _asked(some, first + at + 1, width, when)]
    return parts


def _short(repeat: Repeat) -> list[Row]:
    """Return what an engineer reads first."""
    found = several("Because", [_upper(reason) + "." for reason in repeat.reasons[:4]])
    if len(repeat.reasons) > 4:
        found.append(("", f"And {len(repeat.reasons) - 4} more reasons (--json has them).", ""))
    # Of what was found later, the earlier visits that had it open come first.
    confirmed = sorted(repeat.confirmed, key=lambda c: (not c.open, -c.highest))
    found += several("Found", [c.said for c in confirmed[:4]])
    found += several("Doubt", list(repeat.doubts))
    found += several("So", list(repeat.follows))
    found += several("Again", [n.said for n in repeat.no_cure])
    found += several("Part", list(repeat.carries))
    found += several("Not done", [u.said.removeprefix("Nobody did: ") for u in repeat.unasked])
    found += several("Declined", [said for _, said in repeat.turned[:4]])
    if repeat.trend is not None:
        found.append(("Trend", repeat.trend.said, "bold"))
    found += several("Note", list(repeat.notes))
    return found


def _across(width: int, visits: int) -> int:
    return max(1, min(visits, (width - LABELS) // (NARROWEST + 1)))


def _beside(visits: Sequence[tuple[int, Visit]], width: int) -> Table:
    """Return visits beside each other, one row for each thing that is said of them."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=LABELS, overflow="fold")
    each = (width - LABELS - 1) // len(visits) - 1
    for _ in visits:
        grid.add_column(width=each, overflow="fold")
    kinds: tuple[tuple[str, Callable[[int, Visit], Iterable[str]]], ...] = (
        ("Visit", lambda number, v: (f"{number}: {day(v.opened)}", v.case)),
        ("Since", _since),
        ("Where", lambda _, v: (", ".join(filter(None, (f"{v.aircraft}-{v.position}", v.station, v.place))),)),
        ("Complaint", _complaint),
        ("Told", lambda _, v: (*_runs(v.told), *v.signs)),
        ("Done", _done),
        ("Left open", _left),
        ("Declined", lambda _, v: [f"{t.title}{_why(t.reason, t.instead)}" for t in v.turned]),
        ("Ended", lambda _, v: (f"{v.end or 'Open'}.",)),
        ("Signed", lambda _, v: (", ".join(v.signed) if v.signed else "nobody" if v.read else "",)),
    )
    for label, said in kinds:
        cells = [list(filter(None, said(number, v))) for number, v in visits]
        if any(cells):
            style = "bold" if label == "Visit" else ""
            grid.add_row(Text(label, style="bold"), *(_cell(c, style) for c in cells))
    return grid


def _cell(lines: Sequence[str], style: str = "") -> RenderableType:
    return Group(*(text(line, style) for line in lines)) if lines else text("-", "dim")


def _since(_: int, visit: Visit) -> Iterable[str]:
    if visit.since:
        yield visit.since


def _complaint(_: int, visit: Visit) -> Iterable[str]:
    about = visit.complaint_title or visit.complaint
    yield f"{about}, {visit.channel}" if visit.channel else about
    if visit.condition != "steady":
        yield f"shows {visit.condition}"


def _runs(told: Sequence[str]) -> Iterable[str]:
    """Yield what was told of starts, those of one kind counted."""
    for line in dict.fromkeys(told):
        count = told.count(line)
        yield f"{line} ({count} times)" if count > 1 else line


def _done(_: int, visit: Visit) -> Iterable[str]:
    if not visit.read:
        yield from (*visit.repairs, *(f"shop on {f}" for f in visit.findings))
        return
    if not visit.done:
        yield "no repair"
    for done in visit.done:
        yield f"{done.title}."
        parts = [f"{way}: {what}" for way, what in (("off", done.off), ("on", done.on)) if what]
        yield from parts
        if done.found:
            yield f"its end named: {done.found}"
        if done.finding:
            yield f"since: {done.finding}"


def _left(_: int, visit: Visit) -> Iterable[str]:
    if not visit.read:
        return
    for left in visit.left:
        when = "" if left.when == "end" else " before the repair"
        yield f"{left.title} {left.chance:.0%}{when}"
    if not visit.left:
        yield "nothing of 5% or more"


def _why(reason: str, instead: str) -> str:
    return f" ({reason})" if reason else f" (instead: {instead})" if instead else ""


ASKED = {
    "before": "Asked before any repair",
    "between": "Asked between repairs",
    "after": "Asked after the last repair",
}
"""When something was asked, and the heading of it: what comes after the repair proves that and is no finding."""


def _asked(visits: Sequence[Visit], first: int, width: int, when: str) -> Table:
    """Return what was asked at each visit and what was answered, one row a check; "-": not asked."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    each = max(14, (width * 2 // 3) // len(visits) - 1)
    grid.add_column(ratio=1, overflow="fold")
    for _ in visits:
        grid.add_column(width=each, overflow="fold")
    heads = [Text(f"visit {number}", style="bold") for number, _ in enumerate(visits, start=first)]
    grid.add_row(Text(ASKED[when], style="bold"), *heads)
    titles = {asked.key: asked.title for visit in visits for asked in visit.asked if asked.when == when}
    for key, title in titles.items():
        cells = [[_answer(a) for a in visit.asked if a.key == key and a.when == when] for visit in visits]
        grid.add_row(text(title), *(_cell([" / ".join(_together(said))] if said else []) for said in cells))
    return grid


def _answer(asked: Asked) -> str:
    return f"{asked.said} ({asked.condition})" if asked.condition else asked.said


def _together(said: Sequence[str]) -> Iterable[str]:
    """Yield answers in turn, the same one after itself once."""
    for at, one in enumerate(said):
        if at == 0 or said[at - 1] != one:
            yield one


# -- where a part went -----------------------------------------------------------------------------


def _way(way: Way, width: int) -> list[RenderableType]:
    parts: list[RenderableType] = [heading(_upper(way.title), width, "Where it went")]
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=24, overflow="fold")
    grid.add_column(ratio=1, overflow="fold")
    for stay in way.stays:
        since = day(stay.since) if stay.since else "not told since when"
        until = day(stay.until) if stay.until else "not told until when" if stay.left else "there still, as told"
        grid.add_row(_cell([stay.place, since, until]), _cell(list(_stay(stay)) or ["nothing more is told"]))
    parts.append(grid)
    parts += [text(said, "bold") for said in way.carries]
    parts += [text(said) for said in way.notes]
    return parts


def _stay(stay: Stay) -> Iterable[str]:
    for said in (stay.came, stay.went):
        if said:
            yield _upper(said) + "."
    ages = [f"{age:,.0f} {unit}" for age, unit in ((stay.hours, "hours"), (stay.starts, "starts")) if age is not None]
    if ages:
        yield f"Since new then: {', '.join(ages)}."
    if stay.said:
        yield f"Of it: {'; '.join(stay.said)}."
    for sat in stay.cases:
        like = ", a complaint like the one at which it came off" if sat.same else ""
        if sat.case not in (stay.case_in, stay.case_out):
            yield f"While it sat there: case {sat.case} ({day(sat.opened)}{like})."


# -- trends ----------------------------------------------------------------------------------------


def _trends(shown: Repeats, width: int) -> list[RenderableType]:
    parts: list[RenderableType] = [heading("Coming more often?", width)]
    spoken = [t for t in shown.trends if t.verdict in ("more often", "less often")]
    quiet = [t for t in shown.trends if t not in spoken]
    kept = [t for t in quiet if t.about != "part"] + [t for t in quiet if t.about == "part"][:MOST_TRENDS]
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(width=min(26, width // 4), overflow="fold")
    grid.add_column(ratio=1, overflow="fold")
    for trend in (*spoken, *kept):
        what = {"fleet": "engine type", "station": "station", "part": "part", "defect": ""}[trend.about]
        lines = [trend.said, *(f"{rate.said}." for rate in trend.rates)]
        if trend.chance is not None:
            lines.append(strip(trend, min(LONGEST_STRIP, width * 3 // 5)))
        title = trend.title.partition(",")[0]
        name = title if trend.about == "part" or not trend.name else f"{title}, {what}"
        grid.add_row(text(name, "bold"), _cell([line for line in lines if line]))
    parts.append(grid)
    if len(quiet) > len(kept):
        parts.append(text(f"{len(quiet) - len(kept)} part numbers more, none of which stands out (--json has them)."))
    later = next((t for t in shown.trends if t.about != "part" and t.since > shown.since), None)
    if all(t.about == "part" for t in shown.trends):
        parts.append(text(
            f"The cases here do not reach far enough back to say how often a defect comes back: {LOOK_BACK:.0f} days "
            f"before one could come back, and {SHORTEST:.0f} to count in."
        ))  # fmt: skip
    if later is not None:
        parts.append(text(
            f"Engine types and stations are counted from {day(later.since)}: before that the cases here do not reach "
            "back far enough for much to have come back."
        ))  # fmt: skip
    tested = sum(t.chance is not None for t in shown.trends)
    chance = f" Of {tested} tested about {tested * LEVEL:.1g} stand out by chance alone." if tested > 1 else ""
    by_starts = (
        " Of engine starts those between each engine's first and last told case count, and what came between these."
        if any(rate.unit == "starts" for trend in shown.trends for rate in trend.rates)
        else ""
    )
    parts.append(text(
        f"Window: {day(shown.since)} to {day(shown.until)}, {shown.cases:,} cases. Laplace's test, both ways; rates "
        f"with 95% intervals, by the calendar: a fleet that flies more has more. What comes of one defect (on "
        f"one engine, within {min(shown.days, LOOK_BACK):g} days) is taken together in both: one bad engine makes no "
        f"trend.{by_starts}{chance}"
    ))  # fmt: skip
    return parts


def strip(trend: Trend, width: int) -> str:
    """Return when it came, on a line from the beginning of the window to its end: how often in each part of it.

    Where a digit does not hold it, 9 is the most, and the others are in proportion.
    """
    if not trend.times or trend.window <= 0:
        return ""
    counts = [0] * width
    for time in trend.times:
        counts[min(width - 1, int(time / trend.window * width))] += 1
    most = max(counts)
    scale = 9 / most if most > 9 else 1.0
    line = "".join("." if n == 0 else str(max(1, round(n * scale))) for n in counts)
    return f"[{line}]" + (f" 9: {most}" if most > 9 else "")


def _upper(said: str) -> str:
    return said[:1].upper() + said[1:]

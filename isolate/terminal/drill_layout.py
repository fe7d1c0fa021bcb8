"""What a drill shows and where: the opening, what came of a move, the stop, where it stands, the block at the foot."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from isolate.case.ages import described
from isolate.case.events import parse_time
from isolate.case.inherit import ago, carried
from isolate.case.now import condition_now
from isolate.case.record import BLANK, start_words
from isolate.case.steps import CautionShown
from isolate.drill.drive import HEAT, suspects
from isolate.drill.phrases import ACCESS
from isolate.kb.fit import split, worded
from isolate.terminal import drill_words, words
from isolate.terminal.layout import STYLES, Row, cut, flow_items, heading, rows, several, tall, text
from isolate.terminal.words import listed, minutes, percent, plain, small

if TYPE_CHECKING:
    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.drill.drive import Came, Choice, Drive
    from isolate.terminal.keys import Bar

STOP = "bold red"
ONE_BY_ONE = 12
"""No more starts than this are written out one by one."""
MOST_OPEN = 2
"""Lines at the foot that say what is open."""
STOP_ROOM = 3
"""Lines that a stop leaves to what is typed: its prompt with two words that complete it, and one more."""


# -- the opening ----------------------------------------------------------------------------------


def opening(drive: Drive, width: int) -> RenderableType:
    """Return the first page: title, story, what is at hand and what is known."""
    return Group(
        heading(drive.scenario.title, width, "Drill"),
        *told(drive),
        text(drill_words.NOTHING_PROPOSED, "bold"),
    )


def told(drive: Drive) -> list[RenderableType]:
    """Return the story and all that was told with it."""
    chase = drive.chase
    intake, fitted = chase.intake, drive.fitted
    channel = f", channel {intake.channel}" if intake.channel else ""
    found: list[Row] = [(
        "Aircraft",
        f"{intake.aircraft}, engine {intake.position} ({fitted.profile.title}): "
        f"{fitted.complaints[intake.complaint].title}{channel}",
        "bold",
    )]
    left, now, ran = words.departure(intake.minutes_left), condition_now(intake), last_ran(drive)
    place = [words.PLACES[intake.place], *([left] if left else []), *([] if now != "steady" else [f"engine {ran}"])]
    found.append(("Place", "; ".join(place), "bold"))
    if intake.condition != "steady":
        found.append(("Shows", words.CONDITIONS[intake.condition], "bold"))
    if now != "steady":
        found.append(("Now", f"{words.NOW[now]}; engine {ran}", "bold"))
    people = [f"{p.name} ({', '.join(p.may)})" if p.may else p.name for p in intake.people]
    found.append(("Here", " · ".join(people) or "nobody is named", "bold"))
    lacking = [*intake.missing, *(f"{c.tool} (here in {minutes(c.minutes)})" for c in intake.coming)]
    if lacking:
        found.append(("Not here", " · ".join(lacking), "bold"))
    if kept := waits(drive):
        found.append(("Waits", f"{drill_words.INVENTED} {' · '.join(kept)}", "bold"))
    if intake.starts:
        found.append(("Starts", _starts(drive), "bold"))
    if intake.signs:
        found.append(("Signs", "; ".join(chase.sign_title(s) for s in intake.signs), "bold"))
    if intake.done:
        found.append(("Before", "; ".join(fitted.repair(w.key).title for w in intake.done), "bold"))
    if intake.ages:
        found.append(("Ages", "; ".join(described(fitted, age) for age in intake.ages), "bold"))
    if intake.earlier:
        some = "1 earlier case" if len(intake.earlier) == 1 else f"{len(intake.earlier)} earlier cases"
        found.append(("Earlier", f"{some} on this engine: 'earlier' tells", "bold"))
    return [text(drive.scenario.story.strip()), rows(found)]


def last_ran(drive: Drive) -> str:
    """Return when the engine last ran: in this drill, or as it was told."""
    checks, intake = drive.fitted.checks, drive.chase.intake
    for event in reversed(drive.chase.state.events):
        if event.kind == "answered" and "engine-run" in checks[event.body["check"]].entry.tags:
            return drill_words.RAN_HERE.format(minute=minute(drive, event))
    if intake.shut_down:
        return drill_words.SHUT_DOWN.format(minutes=minutes(intake.shut_down))
    return drill_words.JUST_NOW if condition_now(intake) == "hot" else drill_words.COLD


def titled(choice: Choice) -> str:
    """Return what a move is called on the screen: of what is put back, what is done to it."""
    name, channel = split(choice.key)
    way = ACCESS.get(name) if choice.kind == "close" else None
    return way.says_close.replace("{channel}", channel) if way is not None and way.says_close else choice.title


def _starts(drive: Drive) -> str:
    starts = drive.chase.intake.starts
    shown = starts[-ONE_BY_ONE:]
    older = f"{len(starts) - len(shown)} older ones, then " if len(shown) < len(starts) else "oldest first: "
    # A letter is a channel by itself; a number is one only where it is called so.
    said = (start_words(s) if s.channel.isdecimal() else start_words(s).replace("channel ", "", 1) for s in shown)
    return older + ", ".join(said)


def waits(drive: Drive) -> list[str]:
    """Return the waits that this drill's approved data gives, in words."""
    found = []
    for name, length in drive.approved().items():
        caution = drive.fitted.cautions[name]
        since = [a for a in drive.fitted.access.values() if a.name in caution.since]
        if length <= 0 or (caution.since and not since):
            continue
        if HEAT in caution.since:
            # Its time runs from when the engine last ran, whenever it was that somebody wrote that down.
            found.append(drill_words.COOLS.format(minutes=minutes(length)))
            continue
        names = dict.fromkeys((re.sub(r"\s+", " ", worded(a.entry.title, "")).strip(), a.entry.word) for a in since)
        what = " or ".join(f"'{title}: {word}'" for title, word in names)
        found.append(f"{minutes(length)} from {what}" if since else f"{minutes(length)} of rest: {caution.title}")
    return found


def earlier(drive: Drive, kit: Kit, width: int) -> RenderableType:
    """Return what earlier cases on this engine found and did; never what it makes of the suspects."""
    cases = carried(kit.model, drive.chase.intake).cases
    if not cases:
        return text(drill_words.NO_EARLIER)
    found: list[RenderableType] = [heading("earlier cases on this engine", width)]
    for case in cases:
        found.append(text(f"{ago(case.days).capitalize()}: {case.complaint}. It ended: {case.end}."))
        items = several("Found", [f"{a.title}: {a.said}" for a in case.answers])
        found.append(rows([*items, *several("Done", list(case.repairs) or ["no repair"])]))
    return Group(*found)


# -- moves ------------------------------------------------------------------------------------------


def cautions(found: Sequence[CautionShown], seen: set[str]) -> RenderableType:
    """Return the cautions of a move: in full, those that this session has shown by their titles."""
    shown: list[Row] = []
    for caution in sorted(found, key=lambda c: c.level != "warning"):
        what = caution.title if caution.name in seen else f"{caution.title}. {caution.text}"
        shown.append((words.LEVELS[caution.level], what, STYLES[caution.level]))
    return rows(shown)


def came(drive: Drive, what: Came, width: int, part: Mapping[str, str] = MappingProxyType({})) -> RenderableType:
    """Return what came of a move that was made. ``part``: what was told of the parts of a repair."""
    choice, found = what.choice, list[Row]()
    if what.kind == "refused":
        return rows([(drill_words.REFUSED, what.said, "bold")])
    if what.kind == "answered":
        if what.outcome is None:
            found.append((drill_words.ANSWERED, drill_words.COULD_NOT, "bold"))
        else:
            found += [(drill_words.ANSWERED, what.said, "bold"), ("Means", what.means, "bold")]
    elif choice.kind in ("open", "close"):
        # What was done and looked at: the lines of the crossing, the first the doing.
        found += several("Did", list(what.lines[:1]))
        found += several("Looked", list(what.lines[1:]))
    else:
        found += several("Ended" if what.kind == "ended" else "Did", [what.said] if what.said else [])
        found += several("Record", list(what.lines))
        if part:
            off, on = ((part.get(f"pn-{way}", BLANK), part.get(f"sn-{way}", BLANK)) for way in ("off", "on"))
            found.append(("Parts", f"off: P/N {off[0]} S/N {off[1]}; on: P/N {on[0]} S/N {on[1]}", "bold"))
    took = f"{minutes(what.minutes)}; " if what.minutes else ""
    found.append(("Clock", f"{took}{clock(drive)}", "bold"))
    return Group(heading(titled(choice), width), rows(found))


def clock(drive: Drive) -> str:
    """Return how late it is in the drill."""
    left = words.departure(drive.chase.minutes_left)
    return f"minute {drive.minutes:.0f}{f', {left}' if left else ''}"


def stopped(drive: Drive, event: Event, console: Console) -> RenderableType:
    """Return the page of a move that was unsafe: what would have happened, and the two ways on.

    As many of its dangers are told in full as fit above the line that is typed on, the first before all; of the others
    it is said why, and of what has no room how many reasons there are. No sentence is told twice.
    """
    width, told = console.width, _untold(list(event.body["dangers"]))
    height = console.height - len(bar(drive)(width)) - STOP_ROOM
    most = len(told)
    shapes = [(full, most - full, True) for full in range(most, 0, -1)]
    shapes += [(1, short, True) for short in range(most - 2, -1, -1)]
    shapes += [(1, 0, False), (0, 0, False)]
    for full, short, source in shapes:
        page = _stopped(drive, event, told, full, short, source, width)
        if tall(console, page) <= height:
            break
    return page


def _untold(dangers: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, Sequence[str]]]:
    """Return (harm, why, sources) of each danger without the sentences that one before it has; none that says nothing.

    Where nothing else is new, a danger adds its sources to the last one.
    """
    found: list[tuple[str, str, Sequence[str]]] = []
    seen: set[str] = set()
    for danger in dangers:
        new = []
        for text_of in (danger["harm"], danger["says"]):
            parts = [s for s in re.split(r"(?<=[.!?])\s+", text_of.strip()) if s not in seen]
            seen.update(parts)
            new.append(" ".join(parts))
        if new[0] or new[1]:
            found.append((new[0], new[1], list(danger["source"])))
        elif found:
            found[-1] = (*found[-1][:2], [*found[-1][2], *danger["source"]])
    return found


def _stopped(
    drive: Drive, event: Event, told: Sequence[tuple[str, str, Sequence[str]]], full: int, short: int, source: bool,
    width: int,
) -> RenderableType:  # fmt: skip
    """Return the page with so many dangers in full and so many more in short; ``full`` 0: the first harm alone."""
    items: list[Row] = []
    for harm, why, _ in told[: max(1, full)]:
        items += [("Harm", harm, STOP)] if harm else []
        items += [("Why", why, "bold")] if why and full else []
    besides = [why or harm for harm, why, _ in told[full : full + short]] if full else []
    left = len(told) - max(1, full) - len(besides)
    if left:
        besides.append(drill_words.MORE_REASONS.format(count=left, stand="stands" if left == 1 else "stand"))
    items += several("Besides", besides)
    names = dict.fromkeys(name for *_, by in told[: full + short] for name in by)
    if source and (by := sources(drive, list(names))):
        items.append(("Source", by, ""))
    title = _titled(drive, str(event.body["kind"]), str(event.body["move"]))
    return Group(
        Text("═" * width, style=STOP),
        Text(plain(f"{drill_words.STOPPED}: {title}"), style=STOP),
        text(drill_words.NOT_DONE, "bold"),
        rows(items),
        named(drill_words.STOP_KEYS),
        Text("═" * width, style=STOP),
    )


def sources(drive: Drive, names: Sequence[str]) -> str:
    """Return the titles of sources with their chapters."""
    known = drive.fitted.knowledge.sources
    entries = [known[name] for name in names if name in known]
    return "; ".join(f"{e.title}{f', {e.chapter}' if e.chapter else ''}" for e in entries)


def named(items: Sequence[tuple[str, str]]) -> Table:
    """Return words that may be typed, each with what it does."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=12, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for word, does in items:
        grid.add_row(text(word, "bold"), text(does))
    return grid


def moves(found: Sequence[Choice]) -> RenderableType:
    """Return moves by kind."""
    shown: list[RenderableType] = []
    for kind, title in drill_words.GROUPS.items():
        items = [titled(c) for c in found if c.kind == kind]
        if items:
            shown.append(text(f"{title}:", "bold"))
            shown += [text(f"  {item}") for item in items]
    return Group(*shown)


def help_page(width: int) -> RenderableType:
    """Return what may be typed."""
    return Group(
        heading("what you may type", width), named(drill_words.HELP), *(text(line) for line in drill_words.HELP_MORE)
    )


# -- where it stands ----------------------------------------------------------------------------------


def minute(drive: Drive, event: Event) -> float:
    """Return the minute of the drill's clock at which an event was written."""
    return (parse_time(event.time) - parse_time(drive.chase.state.opened)).total_seconds() / 60


def look(drive: Drive, width: int) -> RenderableType:
    """Return the story again, what stands open and since when, and what was found and done so far."""
    items = [(f"{at:.0f}", said) for at, said in _done(drive)]
    so_far: list[RenderableType] = [text("By its minute:", "bold"), _minutes(items)] if items else []
    return Group(
        heading(drive.scenario.title, width, "Drill"),
        *told(drive),
        heading("where it stands", width),
        rows([
            *several("Open now", standing(drive) or [words.NOTHING_OPEN]),
            *several("Clock", [f"{clock(drive)}; {spent(drive)}"]),
        ]),
        *so_far,
    )  # fmt: skip


def standing(drive: Drive) -> list[str]:
    """Return all that is open, pulled or off, each with the minute since which it is."""
    since: dict[str, float] = {}
    for event in drive.chase.state.events:
        if event.kind == "access" and event.body["state"] == "open":
            since[event.body["access"]] = minute(drive, event)
    return [f"{title}: {word}, since minute {since.get(key, 0):.0f}" for key, title, word in drive.chase.open_now()]


def _done(drive: Drive) -> list[tuple[float, str]]:
    """Return (minute, what was found, done, said) in order; ways opened and shut are left out."""
    fitted, names = drive.fitted, suspects(drive.fitted)
    made: dict[str, Callable[[Mapping[str, Any]], str]] = {
        "answered": lambda b: f"{fitted.check(b['check']).title}: "
        + (fitted.check(b["check"]).said(b["outcome"]) if b["outcome"] else "could not tell"),
        "repaired": lambda b: f"Done: {small(fitted.repair(b['repair']).title)}",
        "swapped": lambda b: f"Changed over: {small(_titled(drive, 'swap', b['key']))}",
        "inspected": lambda b: f"Independent inspection of channels {listed(list(b['channels']))}",
        "waited": lambda b: f"Waited {minutes(b['minutes'])}",
        "suspected": lambda b: f"Prime suspect: {names.get(b['suspect'], b['suspect'])}, {percent(b['sure'])} sure",
        "hinted": lambda b: f"Hint ({minutes(b['minutes'])})",
        "stopped": lambda b: f"STOPPED before: {small(_titled(drive, b['kind'], b['move']))}",
        "noted": lambda b: f"Note: {b['text']}",
    }
    return [
        (minute(drive, e), made[e.kind](e.body))
        for e in drive.chase.state.events
        if e.kind in made and not e.body.get("of_itself")
    ]


def _titled(drive: Drive, kind: str, key: str) -> str:
    return next((titled(c) for c in drive.choices if (c.kind, c.key) == (kind, key)), key)


def _minutes(items: Sequence[tuple[str, str]]) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=8, justify="right", no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for at, said in items:
        grid.add_row(text(at), text(said))
    return grid


# -- the block at the foot ----------------------------------------------------------------------------


def spent(drive: Drive) -> str:
    """Return what was spent besides the clock: stops and hints."""
    events = drive.chase.state.events
    stops = sum(e.kind == "stopped" for e in events)
    hints = [float(e.body["minutes"]) for e in events if e.kind == "hinted"]
    said = f"{len(hints)} hint{'' if len(hints) == 1 else 's'} ({minutes(sum(hints))})" if hints else "no hint"
    return f"{stops or 'no'} stop{'s' if stops > 1 else ''}, {said}"


def bar(drive: Drive, does: Sequence[str] = drill_words.FOOT) -> Bar:
    """Return the block at the foot: what is open, the clock, what was spent, what may be typed."""
    opened = _opened(drive)
    times = [f"drill clock {clock(drive)}", spent(drive)]

    def lines(width: int) -> list[tuple[str, str]]:
        return [
            *(("open", line) for line in _fitting(opened, width)),
            *(("plain", line) for line in flow_items(times, " · ", width, 2)),
            *(("keys", line) for line in flow_items(does, "  ", width, 2)),
        ]

    return lines


def _opened(drive: Drive) -> list[str]:
    """Return what is open in short, what has to be put back first; the first says so."""
    shown = sorted(drive.chase.open_now(), key=lambda item: not drive.fitted.access[item[0]].entry.lasting)
    found = [f"{plain(title).split(',')[0]}: {word}" for _, title, word in shown]
    return [f"{words.OPEN_NOW}  {found[0]}", *found[1:]] if found else [words.NOTHING_OPEN]


def _fitting(opened: Sequence[str], width: int) -> list[str]:
    """Return what is open in few lines; how many did not fit is said."""
    for count in range(len(opened), 0, -1):
        rest = f"{len(opened) - count} more ('look' lists them)"
        lines = flow_items([*opened[:count], *([rest] if count < len(opened) else [])], " · ", width, 99)
        if len(lines) <= MOST_OPEN:
            return lines
    return [cut(f" {opened[0]}", width)]

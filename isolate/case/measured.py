"""A reading: what was measured or recorded at a step, its limit from the approved data, and what it comes to.

The trail keeps what was typed, what was understood, the result with its interval and the verdict; and of a file that
was read its name and its SHA-256, so that it can be found again. A reading only proposes an outcome: whoever took it
answers the check.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.calc import TITLES, calculation
from isolate.case.intake import Refused
from isolate.kb.fit import FitCheck, Fitted, near, split
from isolate.kb.model import NOTHING, Reads
from isolate.kb.shown import plain

if TYPE_CHECKING:
    from isolate.calc.shape import Calculation, Found, Given, Input, Judged
    from isolate.case.events import Event
    from isolate.reasoning.starts import Start

# What calculates is imported where it is used: a case without a reading loads none of it.

LONGEST = 200
"""Letters of a reference to the approved data, and of what is typed for one input."""
LONGEST_LIST = 20_000
"""Letters of what is typed for an input that takes several, or a text."""
LARGEST = 100_000
"""Letters of a whole reading on the trail."""
CANNOT_TELL = "cannot-tell"
"""As :data:`isolate.calc.shape.CANNOT_TELL`, which is not loaded for it."""
BOTH = "both"
"""As :data:`isolate.reasoning.starts.BOTH`, likewise."""
CANNOT = "It cannot be told from this"
NOT_TOLD = " (taken, not told)"
SEAL = 12
"""Digits of a file's SHA-256 that are shown; all of them are on the trail."""
SHOWN = 4
"""Figures of a reading that are shown in a line; the trail has all."""
LONG_SAID, LONG_LINE, LONG_NAME = 2_000, 600, 120
"""Letters that are shown of a sentence of a reading, of a reading in a line, and of the name of its file."""
HUGE = 1e15
"""From here on a figure is told with its power of ten: it is none that anybody read."""
_DIGITS = 6
"""Significant digits of a figure on the trail; more says nothing."""
_TEXTS = ("calc", "judge", "verdict", "words", "why", "outcome", "reference")
_LISTS = ("understood", "limits", "figures", "lines", "files")
_KEYS = (*_TEXTS, *_LISTS, "given")
_MORE = ("seconds", "by")
"""What a reading of a trail may say besides."""
_FIGURE = ("name", "says", "value", "low", "high", "unit")


@dataclass(frozen=True)
class Reading:
    """A calculation done for a step. ``typed``: input → as typed; ``outcome``: of the check, "" where none follows."""

    reads: Reads
    calculation: Calculation
    typed: Mapping[str, str | Sequence[str]]
    given: Given
    found: Found
    reference: str
    outcome: str
    by: str = ""
    """Who read it, and with what; empty where that was not told."""

    @property
    def judged(self) -> Judged | None:
        """What it comes to for the step that it was taken at; None where there is nothing to hold it against."""
        return self.found.judged.get(self.reads.judge)

    @property
    def words(self) -> str:
        """The verdict in words; empty where there is none."""
        if self.judged is None:
            return ""
        if self.judged.verdict == CANNOT_TELL:
            return CANNOT
        return self.calculation.judges.get(self.reads.judge, {}).get(self.judged.verdict, self.judged.verdict)

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that it was read from."""
        names = [i.name for i in self.calculation.inputs if i.kind == "file" and i.name in self.given]
        return tuple(Path(path) for name in names for path in _several(self.given[name]))

    def along(self, reads: Reads) -> Reading:
        """Return what the same record says for another step."""
        return replace(self, reads=reads, outcome=_outcome(reads, self.found))


class Lacking(Refused):
    """An input that cannot be taken; ``of`` is its name, REFERENCE for where the limit stands, "" for several."""

    def __init__(self, message: str, of: str = "") -> None:
        super().__init__(message)
        self.of = of


REFERENCE = "(where the limit stands)"
"""What a Lacking is of that is about that; no input can be called so."""
BY = "(who read it)"
"""Likewise."""


def take(
    reads: Reads,
    typed: Mapping[str, str | Sequence[str]],
    reference: str = "",
    others: Collection[str] = (),
    by: str = "",
) -> Reading:
    """Do the calculation of a step. ``reference``: where in the approved data its limits stand, needed where any is.

    ``by``: who read it, and with what; it may be left out.

    ``others``: channels that the step is not about, as :func:`others` gives them. Raises Lacking with a sentence for
    what cannot be taken, a record of one of those among it, and OSError for a file that cannot be read.
    """
    from isolate.calc.given import read
    from isolate.calc.shape import Unfit

    one = calculation(reads.calc)
    told = {**reads.given, **{name: value for name, value in typed.items() if value not in ("", [], ())}}
    for name, value in told.items():
        wanted = one.input(name) if name in one.names else None
        long = wanted is not None and (wanted.many or wanted.kind in ("text", "file"))
        most = LONGEST_LIST if long else LONGEST
        if sum(map(len, _several(value))) > most:
            raise Lacking(f"{name}: {most:,} letters at most.", name)
    if len(reference) > LONGEST:
        raise Lacking(f"Where the limit stands: {LONGEST} letters at most.", REFERENCE)
    try:
        given = read(one, told)
        if not reference.strip() and limits(one, given):
            raise Lacking("Where in your approved data the limit stands has to be told with it.", REFERENCE)
        found = one.work(given)
    except Unfit as error:
        raise Lacking(str(error), error.of) from None
    if len(by) > LONGEST:
        raise Lacking(f"Who read it: {LONGEST} letters at most.", BY)
    outcome = _outcome(reads, found)
    reading = Reading(reads, one, told, given, found, plain(reference.strip()), outcome, plain(by.strip()))
    # A step that asks which channel was selected is there to find that another one was commanded.
    if reading.files and "channel" not in reads.asks and (seen := channel_of(reading)) in others:
        record = next((i.name for i in one.inputs if i.kind == "file" and not i.many), "")
        which = "both channels together" if seen == BOTH else f"channel {seen}"
        raise Lacking(f"This record is of {which}, which is not what this step is about.", record)
    return reading


def others(fitted: Fitted, check: FitCheck) -> frozenset[str]:
    """Return the channels that a check of one channel is not about, both together among them; none for the rest."""
    return frozenset((*fitted.channels, BOTH)) - {check.channel} if check.channel else frozenset()


def limits(one: Calculation, given: Mapping[str, Any]) -> tuple[Input, ...]:
    """Return the limits from the approved data that are among what was given."""
    return tuple(wanted for wanted in one.inputs if wanted.limit and wanted.name in given)


def _outcome(reads: Reads, found: Found) -> str:
    judged = found.judged.get(reads.judge)
    return "" if judged is None else answers(reads, judged.verdict)


def body(reading: Reading) -> dict[str, Any]:
    """Return a reading as the trail keeps it: a JSON object."""
    from isolate.calc.given import understood

    one, found, judged = reading.calculation, reading.found, reading.judged
    said_plainly = _without_paths(reading.files)
    files = [i.name for i in one.inputs if i.kind == "file" and i.name in reading.given]
    said: dict[bool, list[list[str]]] = {False: [], True: []}
    for wanted in one.inputs:
        if wanted.name in reading.given:
            ((asked, told),) = understood(replace(one, inputs=(wanted,)), reading.given)
            if wanted.name in files:
                told = ", ".join(Path(path).name for path in _several(reading.given[wanted.name]))
            # What stood in because nothing was told is nobody's reading, and is not to look like one.
            said[wanted.limit].append([plain(asked), plain(told) + ("" if wanted.name in reading.typed else NOT_TOLD)])
    kept: dict[str, Any] = {
        "calc": one.name,
        "judge": reading.reads.judge,
        # A path says where it lay on one machine, which is nobody's business elsewhere; its name and seal are kept.
        "given": {
            n: plain(v) if isinstance(v, str) else [plain(part) for part in v]
            for n, v in reading.typed.items()
            if n not in files
        },
        "understood": said[False],
        "limits": said[True],
        "figures": [_figure(figure.as_dict()) for figure in reading.found.figures],
        "verdict": judged.verdict if judged else "",
        "words": reading.words,
        "why": said_plainly(judged.why) if judged else "",
        "lines": [said_plainly(line) for line in (*found.lines, *(f"Mind: {w}" for w in found.warnings))],
        "outcome": reading.outcome,
        "reference": reading.reference,
        "files": [_sealed(path) for path in reading.files],
    }
    if judged is not None and judged.seconds is not None:
        kept["seconds"] = [round(float(s), 3) for s in judged.seconds]
    if reading.by:
        kept["by"] = reading.by
    return kept


def _without_paths(files: Iterable[Path]) -> Callable[[str], str]:
    """Return what makes a sentence plain, with files in it by their names: where they lay stays off the trail."""
    found = {str(way): path.name for path in files for way in (path, os.path.expanduser(path))}
    # The longest first: one may begin as another does.
    paths = sorted(found, key=len, reverse=True)

    def told(sentence: str) -> str:
        for path in paths:
            sentence = sentence.replace(path, found[path])
        return plain(sentence)

    return told


def _several(told: Any) -> Sequence[str]:
    return [told] if isinstance(told, str) else list(told)


def _sealed(path: Path) -> dict[str, Any]:
    seal, size = sha256(), 0
    with open(os.path.expanduser(path), "rb") as file:
        while part := file.read(1 << 20):
            seal.update(part)
            size += len(part)
    return {"name": plain(path.name)[-LONGEST:], "sha256": seal.hexdigest(), "bytes": size}


def _figure(figure: dict[str, Any]) -> dict[str, Any]:
    for name in ("value", "low", "high"):
        # An end without a limit is none, which JSON has a word for.
        value = figure[name]
        figure[name] = float(f"{value:.{_DIGITS}g}") if value is not None and isfinite(value) else None
    return figure


# -- taken onto the trail ----------------------------------------------------------------------------


def kept(
    reading: Mapping[str, Any], check: FitCheck | None = None, outcome: str | None = None, note: str = ""
) -> dict[str, Any]:
    """Return a reading, as :func:`body` gave it, once it has been looked at. ``check``: that it answers, with what.

    Raises Refused for one that is none, for one that comes to another outcome than the check has it, and for an outcome
    against what it comes to, or where it could not tell, without a note that says why.
    """
    if wrong := odd(reading):
        raise Refused(f"the reading cannot be taken: {wrong}")
    if check is not None:
        proposed = reading["outcome"]
        meant = [one for one in check.entry.reads if (one.calc, one.judge) == (reading["calc"], reading["judge"])]
        if not meant:
            raise Refused(f"{check.title}: it does not go through calc {reading['calc']}")
        if all(proposed != answers(one, reading["verdict"]) for one in meant):
            raise Refused(
                f"the reading comes to {plain(reading['verdict']) or 'nothing'!r}, "
                f"and {plain(proposed) or 'nothing'!r} does not follow from that for {check.title}"
            )
        if proposed and proposed not in check.outcomes:
            raise Refused(f"the reading comes to {proposed!r}, which {check.title} has no such answer as")
        if proposed and outcome != proposed and not note.strip():
            said = "could not tell" if outcome is None else check.said(outcome)
            raise Refused(
                f"The reading comes to: {check.said(proposed)}. To answer “{said}” all the same, say why in a note."
            )
        if reading["verdict"] == CANNOT_TELL and outcome is not None and not note.strip():
            raise Refused(
                f"The reading cannot tell. To answer “{check.said(outcome)}” all the same, say why in a note."
            )
    return dict(reading)


def answers(reads: Reads, verdict: str) -> str:
    """Return the outcome that a verdict is, "" where it answers nothing."""
    outcome = "" if verdict == CANNOT_TELL else reads.gives.get(verdict, "")
    return "" if outcome == NOTHING else outcome


def odd(reading: object) -> str:
    """Return what is wrong with the form of a reading of a trail; empty where nothing is."""
    if not isinstance(reading, Mapping):
        return "it is no object"
    if lacking := [key for key in _KEYS if key not in reading]:
        return f"it does not say {', '.join(lacking)}"
    if more := sorted(str(key) for key in reading if key not in (*_KEYS, *_MORE)):
        return f"nothing in one is called {plain(more[0])[:40]!r}"
    for key in _TEXTS:
        if not isinstance(reading[key], str):
            return f"{key} is no text"
    if reading["calc"] not in TITLES:
        return f"there is no calculation {plain(reading['calc'])[:40]!r}{near(reading['calc'][:40], TITLES)}"
    for key in _LISTS:
        if not isinstance(reading[key], list):
            return f"{key} is no list"
    pairs = [*reading["understood"], *reading["limits"]]
    if not all(isinstance(p, list) and len(p) == 2 and all(isinstance(t, str) for t in p) for p in pairs):
        return "what was understood is not in pairs of texts"
    if not all(isinstance(line, str) for line in reading["lines"]):
        return "one of its lines is no text"
    given = reading["given"]
    if not isinstance(given, Mapping) or not all(
        isinstance(v, str) or (isinstance(v, list) and all(isinstance(t, str) for t in v)) for v in given.values()
    ):
        return "what was typed is no text"
    if not all(map(_is_figure, reading["figures"])):
        return "one of its figures is none"
    if not all(map(_is_sealed, reading["files"])):
        return "one of its files has no name and SHA-256"
    seconds = reading.get("seconds", [0, 0])
    if not (isinstance(seconds, list) and len(seconds) == 2 and all(map(_is_number, seconds))):
        return "seconds are two numbers"
    if not isinstance(by := reading.get("by", ""), str) or len(by) > LONGEST:
        return f"who read it is no text of up to {LONGEST} letters"
    if reading["limits"] and not reading["reference"].strip():
        return "it does not say where in the approved data its limit stands"
    if len(reading["reference"]) > LONGEST:
        return f"where the limit stands is longer than {LONGEST} letters"
    if sum(map(len, _texts(reading))) > LARGEST:
        return f"it is longer than {LARGEST:,} letters"
    return ""


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _is_figure(one: object) -> bool:
    return (
        isinstance(one, Mapping)
        and set(one) == set(_FIGURE)
        and all(isinstance(one[name], str) for name in ("name", "says", "unit"))
        and all(one[name] is None or _is_number(one[name]) for name in ("value", "low", "high"))
    )


def _is_sealed(one: object) -> bool:
    return (
        isinstance(one, Mapping)
        and set(one) == {"name", "sha256", "bytes"}
        and isinstance(one["name"], str)
        and isinstance(seal := one["sha256"], str)
        and len(seal) == 64
        and set(seal) <= set("0123456789abcdef")
        and type(one["bytes"]) is int
    )


def _texts(value: object) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for name, more in value.items():
            yield str(name)
            yield from _texts(more)
    elif isinstance(value, list):
        for more in value:
            # A list of many empty things is long as well.
            yield ","
            yield from _texts(more)


def seal(reading: object) -> str:
    """Return the SHA-256 of the record that a reading of a trail came from; empty where it came from none.

    What it was compared with, such as good starts, follows the record in the list, and may be used again.
    """
    files = reading.get("files") if isinstance(reading, Mapping) else None
    return str(files[0]["sha256"]) if isinstance(files, list) and files and _is_sealed(files[0]) else ""


def said_before(events: Iterable[Event], void: Collection[int], check: FitCheck, reading: Mapping[str, Any]) -> str:
    """Return why a record may not answer a check: it has answered it already, or one that says the same; else empty.

    ``events``: those of the case; ``void``: the ones taken back.
    """
    record = seal(reading)
    if not record:
        return ""
    unless = {
        name
        for one in check.entry.reads
        if (one.calc, one.judge) == (reading["calc"], reading["judge"])
        for name in one.unless
    }
    for event in events:
        if event.kind != "answered" or event.seq in void or not event.body.get("outcome"):
            continue
        key = str(event.body["check"])
        if (key == check.key or split(key)[0] in unless) and seal(event.body.get("reading")) == record:
            return "this record has answered it" if key == check.key else f"this record said it at {key}"
    return ""


def also(
    fitted: Fitted, reading: Reading, check: str, barred: Collection[str] = (), channel: str = ""
) -> list[tuple[FitCheck, Reading]]:
    """Return what a record that was read for one check answers of others, each with its reading.

    ``barred``: checks that stay as they are. ``channel``: that the record is of; a check of another channel, or of any
    where it is not known, is not answered. What another of them says already is left out.
    """
    found: list[tuple[FitCheck, Reading]] = []
    for other in fitted.checks.values():
        if other.key == check or other.key in barred or other.channel not in ("", channel):
            continue
        for one in other.entry.calculations(fitted.profile.features):
            if one.along and one.calc == reading.calculation.name:
                of_it = reading.along(one)
                if of_it.outcome in other.outcomes:
                    found.append((other, of_it))
                    break
    said = {split(check)[0], *(split(other.key)[0] for other, of_it in found if not of_it.reads.unless)}
    return [(other, of_it) for other, of_it in found if not said.intersection(of_it.reads.unless)]


def channel_of(reading: Reading) -> str:
    """Return the channel that a record is of, as its calculation found it or as it was told; empty: not known."""
    start = getattr(reading.found.detail, "start", None)
    found = start.get("channel") if isinstance(start, Mapping) else getattr(reading.found.detail, "channel", "")
    found = found or reading.given.get("channel", "")
    return found if isinstance(found, str) else ""


def start_of(reading: Reading, channels: Collection[str]) -> Start | None:
    """Return the start that a record is of; None where it is of none, or whether it lit is not sure.

    ``channels``: of the engine; a channel that is none of them is not known.

    That it did not light stands in the history and weighs on every zone: P(no light | channels, engine). What its
    record shows answers a check whose rows are of failed starts: P(record | engine, no light). One times the other is
    P(no light, record | channels, engine), so a start that was told and recorded weighs once. See :func:`disagrees`
    for the one answer that says otherwise of the light itself, and ``Chase.also`` for starts made for a check.
    """
    from isolate.reasoning.starts import UNKNOWN, Start

    told = getattr(reading.found.detail, "start", None)
    if not isinstance(told, Mapping) or not isinstance(told.get("lit"), bool):
        return None
    channel, at = str(told.get("channel", "")), str(told.get("at") or "")
    return Start(
        channel if channel in (*channels, BOTH) else UNKNOWN,
        told["lit"],
        seconds=told.get("seconds") if told["lit"] else None,
        # Seconds of a record that has no clock are no date of a start.
        at=at if ":" in at or "-" in at[1:] else "",
    )


LIT = "lit"
"""The verdict of a record in which a start that was told not to have lit did light."""


def disagrees(reading: Reading) -> bool:
    """Return whether what a record answers is that it lit, against what was told of the start.

    That answer weighs what is recorded given that no light was told. So the start stays in the history as it was told:
    taken in as one that lit it would weigh twice, and the second time against what the answer says.
    """
    return reading.judged is not None and reading.judged.verdict == LIT and bool(reading.outcome)


def with_start(told: Sequence[Start], start: Start, place: int | None, lit_stands: bool = False) -> list[Start]:
    """Return the starts told with a recorded one: as the latest, or in the place of one of them, never twice.

    What was told of that one stands where the record does not say it; ``lit_stands``: whether it lit stands as well.
    """
    from isolate.reasoning.starts import UNKNOWN

    if place is None:
        return [*told, start]
    had = told[place]
    if lit_stands:
        start = replace(start, lit=had.lit)
    both = replace(
        had,
        lit=start.lit,
        channel=start.channel if start.channel != UNKNOWN else had.channel,
        seconds=start.seconds if start.lit and start.seconds is not None else None if not start.lit else had.seconds,
        lane=start.lane or had.lane,
        at=had.at or start.at,
    )
    return [*told[:place], both, *told[place + 1 :]]


def note_of(reading: Reading) -> str:
    """Return what a note says of a reading that answers nothing."""
    return f"{reading.calculation.title[:1].upper()}{reading.calculation.title[1:]}: {line(body(reading), LARGEST)}"


def told_before(
    events: Sequence[Event], void: Collection[int], fitted: Fitted, reads: Reads, key: str, since: int
) -> tuple[dict[str, str | list[str]], str]:
    """Return what was told at an earlier reading and holds at a step too, as typed, and where its limits stand.

    ``key``: the step; ``since``: seq from which on the work in hand is. Limits of the same step hold, of whichever
    channel. What was measured holds for another step of the same work on the same channel, such as a repair that begins
    with measuring, or one that was noted; a check that is done again is measured again.
    """
    one, told, reference = calculation(reads.calc), dict[str, str | list[str]](), ""
    base, channel = split(key)
    for event in events:
        reading = event.body.get("reading") if event.seq not in void else None
        if not isinstance(reading, Mapping) or reading.get("calc") != one.name or odd(reading):
            continue
        at = str(event.body.get("check") or event.body.get("about") or "")
        here = event.seq > since and split(at)[1] == channel and (at != key or event.kind == "noted")
        if not here and split(at)[0] != base:
            continue
        for name, value in reading["given"].items():
            if name in one.names and name not in reads.given and (here or one.input(name).limit):
                told[name] = value
        reference = reading["reference"] or reference
    return told, reference if any(one.input(name).limit for name in told) else ""


def behind(events: Iterable[Event], void: Collection[int]) -> dict[int, Any]:
    """Return the readings behind the answers that were not taken back, by the seq of the answer."""
    answers = (event for event in events if event.kind == "answered" and event.seq not in void)
    return {event.seq: event.body["reading"] for event in answers if "reading" in event.body}


def against(events: Sequence[Event], seq: int) -> str:
    """Return why the answer with this seq was given against its reading, or where that could not tell; else empty.

    Never raises for what an event's body says.
    """
    at = next((i for i, event in enumerate(events) if event.seq == seq), None)
    body = events[at].body if at is not None else {}
    reading, outcome = body.get("reading"), body.get("outcome")
    if at is None or not isinstance(reading, Mapping):
        return ""
    comes_to = reading.get("outcome")
    if not (outcome != comes_to if comes_to else outcome is not None and reading.get("verdict") == CANNOT_TELL):
        return ""
    for event in events[at + 1 : at + 4]:
        # It was written in one breath with the answer.
        said = event.body
        if event.kind == "noted" and said.get("about") == body.get("check") and "reading" not in said:
            return plain(str(said.get("text", "")))
    return "no reason is told"


# -- in words ----------------------------------------------------------------------------------------


def line(reading: object, most: int = LONG_LINE) -> str:
    """Return a reading of a trail in a line: what came out, beside which limit, from which file. Never raises.

    ``most``: letters of it.
    """
    try:
        assert isinstance(reading, Mapping)
        # A record has many figures; what it says at this step is in the sentence of its verdict.
        said = [_small(str(reading["why"]).rstrip(".")) if reading["files"] and reading["why"] else ""]
        said = [said[0] or _figures(reading) or _first(reading)]
        if reading["verdict"]:
            said.append(_small(str(reading["words"])))
        said += [f"limit: {_limit(reading)}"] if reading["limits"] else []
        said += _origin(reading, 1)
        return cut("; ".join(part for part in said if part), most)
    except _UNREADABLE:
        return UNREADABLE


def line_of(events: Sequence[Event], seq: int, reading: object) -> str:
    """Return the reading behind an answer in a line, and why it was answered otherwise where it was. Never raises."""
    why = against(events, seq)
    return f"{line(reading)}{f'; ANSWERED OTHERWISE, because: {why}' if why else ''}"


def lines(reading: object) -> list[str]:
    """Return a reading of a trail in a few sentences, in full: read, result, verdict, limit, file. Never raises."""
    try:
        assert isinstance(reading, Mapping)
        read = "; ".join(f"{label(asked)}: {told}" for asked, told in reading["understood"])
        said = [f"Read: {read}."] if read else []
        said += [f"Read by: {str(reading['by']).rstrip('.')}."] if reading.get("by") else []
        said += [f"Result: {text}."] if (text := _figures(reading) or _first(reading).rstrip(".")) else []
        if reading["verdict"]:
            words, why = str(reading["words"]).rstrip("."), str(reading["why"]).rstrip(".")
            said.append(f"{words}: {why}." if why else f"{words}.")
        if reading["limits"]:
            said.append(f"Limit from the approved data: {_limit(reading)}.")
        said += [f"{part[:1].upper()}{part[1:]}." for part in _origin(reading)]
        return [cut(part, LONG_SAID) for part in said]
    except _UNREADABLE:
        return [f"{UNREADABLE[:1].upper()}{UNREADABLE[1:]}."]


def cut(text: object, most: int) -> str:
    """Return told text as it is shown, with so many letters at most of what nobody reads to its end."""
    shown = plain(text)
    return shown if len(shown) <= most else f"{shown[:most]} ... ({len(shown) - most:,} letters more on the trail)"


UNREADABLE = "a reading that is not in a form that can be told"
_UNREADABLE = (AssertionError, KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError)


def _figures(reading: Mapping[str, Any]) -> str:
    said = [figured(one) for one in reading["figures"][:SHOWN]]
    more = len(reading["figures"]) - SHOWN
    return ", ".join([*said, *([f"{more} more"] if more > 0 else [])])


def figured(one: Mapping[str, Any]) -> str:
    """Return a figure of a reading in words, with its interval: ``at rest 28.1 V (28.05 to 28.15 V)``."""
    value, low, high, unit = _scaled(one["value"], one["low"], one["high"], one["unit"])
    unit = f" {unit}" if unit not in ("", "1") else ""
    # As many places as it takes to see the two ends apart.
    apart = (d for d in (4, 5, 6) if low is not None and high is not None and _told(low, d) != _told(high, d))
    digits = next(apart, 4)
    said = f"{one['says']} {_told(value, digits)}{unit}" if value is not None else str(one["says"])
    if low is not None and high is not None:
        return f"{said} ({_told(low, digits)} to {_told(high, digits)}{unit})" if low < high else said
    if low is None and high is None:
        return said if value is not None else f"{said} not known"
    end, word = (low, "more") if low is not None else (high, "less")
    assert end is not None
    return f"{said} ({_told(end, 4)}{unit} or {word})"


def _told(value: float, digits: int) -> str:
    """Return a number with so many significant digits."""
    from isolate.calc.units import figure

    return figure(value, digits) if abs(value) < HUGE else f"{value:.{digits}g}"


def _scaled(
    value: float | None, low: float | None, high: float | None, unit: str
) -> tuple[float | None, float | None, float | None, str]:
    """Return a figure in the unit that people say: ohms run from milliohms to gigohms, 3917000 of them are misread."""
    size = max((abs(v) for v in (value, low, high) if v is not None), default=0.0)
    prefix, by = next(((p, b) for p, b in (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0)) if size >= b), ("m", 1e-3))
    if unit != "Ω" or size == 0:
        return value, low, high, unit

    def scaled(v: float | None) -> float | None:
        return None if v is None else v / by

    return scaled(value), scaled(low), scaled(high), f"{prefix}Ω"


def _first(reading: Mapping[str, Any]) -> str:
    return str(next(iter(reading["lines"]), ""))


def _limit(reading: Mapping[str, Any]) -> str:
    said = "; ".join(f"{_small(label(asked))}, {told}" for asked, told in reading["limits"])
    return f"{said} ({reading['reference']})"


def _origin(reading: Mapping[str, Any], most: int = LONGEST) -> list[str]:
    files = [f"{cut(f['name'], LONG_NAME)} (SHA-256 {f['sha256'][:SEAL]})" for f in reading["files"]]
    found = [f"from {', '.join(files)}"] if files else []
    if len(files) > most:
        rest = len(files) - most
        found = [f"from {', '.join(files[:most])} beside {rest} other{'s' if rest > 1 else ''}"]
    if seconds := reading.get("seconds"):
        low, high = (f"{float(s):.2f}".rstrip("0").rstrip(".") for s in seconds)
        at = f"second {low}" if low == high else f"seconds {low} to {high}"
        found = [f"{found[0]}, {at}"] if found else [at]
    return found


def label(asked: object) -> str:
    """Return a question as a label: without what is said of the Enter key, or of how to tell several."""
    return str(asked).partition(" (Enter")[0].partition(";")[0].rstrip("?: ")


def _small(text: str) -> str:
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if len(first) > 1 and first[1:] == first[1:].lower() else text

"""A reading: what was measured or recorded at a step, its limit from the approved data, and what it comes to.

The trail keeps what was typed, what was understood, the result with its interval and the verdict; and of a file that
was read its name and its SHA-256, so that it can be found again. A reading only proposes an outcome: whoever took it
answers the check.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
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
CANNOT = "It cannot be told from this"
SEAL = 12
"""Digits of a file's SHA-256 that are shown; all of them are on the trail."""
SHOWN = 4
"""Figures of a reading that are shown in a line; the trail has all."""
_DIGITS = 6
"""Significant digits of a figure on the trail; more says nothing."""
_TEXTS = ("calc", "judge", "verdict", "words", "why", "outcome", "reference")
_LISTS = ("understood", "limits", "figures", "lines", "files")
_KEYS = (*_TEXTS, *_LISTS, "given")
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


def take(reads: Reads, typed: Mapping[str, str | Sequence[str]], reference: str = "") -> Reading:
    """Do the calculation of a step. ``reference``: where in the approved data its limits stand, needed where any is.

    Raises Lacking with a sentence for what cannot be taken, OSError for a file that cannot be read.
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
    return Reading(reads, one, told, given, found, plain(reference.strip()), _outcome(reads, found))


def limits(one: Calculation, given: Mapping[str, Any]) -> tuple[Input, ...]:
    """Return the limits from the approved data that are among what was given."""
    return tuple(wanted for wanted in one.inputs if wanted.limit and wanted.name in given)


def _outcome(reads: Reads, found: Found) -> str:
    judged = found.judged.get(reads.judge)
    return "" if judged is None else _given(reads, judged.verdict)


def body(reading: Reading) -> dict[str, Any]:
    """Return a reading as the trail keeps it: a JSON object."""
    from isolate.calc.given import understood

    one, judged = reading.calculation, reading.judged
    files = [i.name for i in one.inputs if i.kind == "file" and i.name in reading.given]
    said: dict[bool, list[list[str]]] = {False: [], True: []}
    for wanted in one.inputs:
        if wanted.name in reading.given:
            ((asked, told),) = understood(replace(one, inputs=(wanted,)), reading.given)
            if wanted.name in files:
                told = ", ".join(Path(path).name for path in _several(reading.given[wanted.name]))
            said[wanted.limit].append([plain(asked), plain(told)])
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
        "why": plain(judged.why) if judged else "",
        "lines": [plain(line) for line in (*reading.found.lines, *(f"Mind: {w}" for w in reading.found.warnings))],
        "outcome": reading.outcome,
        "reference": reading.reference,
        "files": [_sealed(path) for path in reading.files],
    }
    if judged is not None and judged.seconds is not None:
        kept["seconds"] = [round(float(s), 3) for s in judged.seconds]
    return kept


def _several(told: Any) -> Sequence[str]:
    return [told] if isinstance(told, str) else list(told)


def _sealed(path: Path) -> dict[str, Any]:
    seal, size = sha256(), 0
    with path.expanduser().open("rb") as file:
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
    if odd := _odd(reading):
        raise Refused(f"the reading cannot be taken: {odd}")
    if check is not None:
        proposed = reading["outcome"]
        meant = [one for one in check.entry.reads if (one.calc, one.judge) == (reading["calc"], reading["judge"])]
        if not meant:
            raise Refused(f"{check.title}: it does not go through calc {reading['calc']}")
        if all(proposed != _given(one, reading["verdict"]) for one in meant):
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


def _given(reads: Reads, verdict: str) -> str:
    """Return the outcome that a verdict is, "" where it answers nothing."""
    outcome = "" if verdict == CANNOT_TELL else reads.gives.get(verdict, "")
    return "" if outcome == NOTHING else outcome


def _odd(reading: object) -> str:
    """Return what is wrong with the form of a reading; empty where nothing is."""
    if not isinstance(reading, Mapping):
        return "it is no object"
    if lacking := [key for key in _KEYS if key not in reading]:
        return f"it does not say {', '.join(lacking)}"
    if more := sorted(str(key) for key in reading if key not in (*_KEYS, "seconds")):
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


def seals(reading: object) -> frozenset[str]:
    """Return the SHA-256 of each file that a reading of a trail came from."""
    files = reading.get("files") if isinstance(reading, Mapping) else None
    return frozenset(str(f["sha256"]) for f in files if _is_sealed(f)) if isinstance(files, list) else frozenset()


def said_before(events: Iterable[Event], void: Collection[int], check: FitCheck, reading: Mapping[str, Any]) -> str:
    """Return why a record may not answer a check: it has answered it already, or one that says the same; else empty.

    ``events``: those of the case; ``void``: the ones taken back.
    """
    files = seals(reading)
    if not files:
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
        if (key == check.key or split(key)[0] in unless) and files & seals(event.body.get("reading")):
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
    """
    from isolate.reasoning.starts import BOTH, UNKNOWN, Start

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


def with_start(told: Sequence[Start], start: Start, place: int | None) -> list[Start]:
    """Return the starts told with a recorded one: as the latest, or in the place of one of them, never twice.

    What was told of that one stands where the record does not say it.
    """
    from isolate.reasoning.starts import UNKNOWN

    if place is None:
        return [*told, start]
    had = told[place]
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
    return f"{reading.calculation.title[:1].upper()}{reading.calculation.title[1:]}: {line(body(reading))}"


def behind(events: Iterable[Event], void: Collection[int]) -> dict[int, Any]:
    """Return the readings behind the answers that were not taken back, by the seq of the answer."""
    answers = (event for event in events if event.kind == "answered" and event.seq not in void)
    return {event.seq: event.body["reading"] for event in answers if "reading" in event.body}


# -- in words ----------------------------------------------------------------------------------------


def line(reading: object) -> str:
    """Return a reading of a trail in a line: what came out, beside which limit, from which file. Never raises."""
    try:
        assert isinstance(reading, Mapping)
        said = [_figures(reading) or _first(reading)]
        if reading["verdict"]:
            said.append(_small(str(reading["words"])))
        said += [f"limit: {_limit(reading)}"] if reading["limits"] else []
        said += _origin(reading)
        return plain("; ".join(part for part in said if part))
    except _UNREADABLE:
        return UNREADABLE


def lines(reading: object) -> list[str]:
    """Return a reading of a trail in a few sentences, in full: read, result, verdict, limit, file. Never raises."""
    try:
        assert isinstance(reading, Mapping)
        read = "; ".join(f"{label(asked)} {told}" for asked, told in reading["understood"])
        said = [f"Read: {read}."] if read else []
        said += [f"Result: {text}."] if (text := _figures(reading) or _first(reading).rstrip(".")) else []
        if reading["verdict"]:
            words, why = str(reading["words"]).rstrip("."), str(reading["why"]).rstrip(".")
            said.append(f"{words}: {why}." if why else f"{words}.")
        if reading["limits"]:
            said.append(f"Limit from the approved data: {_limit(reading)}.")
        said += [f"{part[:1].upper()}{part[1:]}." for part in _origin(reading)]
        return [plain(part) for part in said]
    except _UNREADABLE:
        return [f"{UNREADABLE[:1].upper()}{UNREADABLE[1:]}."]


UNREADABLE = "a reading that is not in a form that can be told"
_UNREADABLE = (AssertionError, KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError)


def _figures(reading: Mapping[str, Any]) -> str:
    said = [figured(one) for one in reading["figures"][:SHOWN]]
    more = len(reading["figures"]) - SHOWN
    return ", ".join([*said, *([f"{more} more"] if more > 0 else [])])


def figured(one: Mapping[str, Any]) -> str:
    """Return a figure of a reading in words, with its interval: ``at rest 28.1 V (28.05 to 28.15 V)``."""
    from isolate.calc.units import figure

    value, low, high = one["value"], one["low"], one["high"]
    unit = f" {one['unit']}" if one["unit"] not in ("", "1") else ""
    # As many places as it takes to see the two ends apart.
    apart = (d for d in (4, 5, 6) if low is not None and high is not None and figure(low, d) != figure(high, d))
    digits = next(apart, 4)
    said = f"{one['says']} {figure(value, digits)}{unit}" if value is not None else str(one["says"])
    if low is not None and high is not None:
        return f"{said} ({figure(low, digits)} to {figure(high, digits)}{unit})" if low < high else said
    if low is None and high is None:
        return said if value is not None else f"{said} not known"
    return (
        f"{said} ({figure(low, 4)}{unit} or more)" if low is not None else f"{said} ({figure(high, 4)}{unit} or less)"
    )


def _first(reading: Mapping[str, Any]) -> str:
    return str(next(iter(reading["lines"]), ""))


def _limit(reading: Mapping[str, Any]) -> str:
    said = "; ".join(f"{_small(label(asked))}, {told}" for asked, told in reading["limits"])
    return f"{said} ({reading['reference']})"


def _origin(reading: Mapping[str, Any]) -> list[str]:
    files = [f"{f['name']} (SHA-256 {f['sha256'][:SEAL]})" for f in reading["files"]]
    found = [f"from {', '.join(files)}"] if files else []
    if seconds := reading.get("seconds"):
        low, high = (f"{float(s):.2f}".rstrip("0").rstrip(".") for s in seconds)
        at = f"second {low}" if low == high else f"seconds {low} to {high}"
        found = [f"{found[0]}, {at}"] if found else [at]
    return found


def label(asked: object) -> str:
    """Return a question as a label: without what is said of the Enter key."""
    return str(asked).partition(" (Enter")[0].rstrip("?: ")


def _small(text: str) -> str:
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if len(first) > 1 and first[1:] == first[1:].lower() else text

"""A reading of a trail worked out anew from what was typed: does it come to what the trail has?

All that a reading says is held against what comes out: verdict and its words, what was understood, the limits, figures
with their ends, sentences. What came from a file is worked anew where whoever verifies has the file, known by its
SHA-256; else only what was typed beside it is. A calculation may change with the program, so where another version
opened the case, a difference is told and is none of the trail's.

Not to be seen from here is a reading that was made up as a whole, with all that follows from it, and where in the
approved data its limit stands: nothing else on the trail depends on them. A signature covers them.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from isolate.case.events import Event
from isolate.case.measured import CANNOT, CANNOT_TELL, LARGEST, NOT_TOLD, SEAL, answers, body, line, odd, take
from isolate.case.version import VERSION
from isolate.kb.fit import Fitted
from isolate.kb.model import Reads
from isolate.kb.shown import plain

if TYPE_CHECKING:
    from isolate.calc.shape import Calculation, Input
    from isolate.review.kept_files import Files

CLOSE = 1e-4
"""Share of a figure that another build of a library may make; the last of six digits is a hundredth of it."""
OF_WIDTH = 0.02
"""Share of the width of an interval that its ends may lie apart.

Some are drawn, and numpy promises no stream of draws from one version to the next. An end that leaves out 2.5 % of
20,000 draws is off by 0.5 % of the width of a normal spread (one standard deviation), so this is four of them.
"""
ROUGH = 0.002
"""Seconds of a record, told to a thousandth."""
MOST = 300
"""So many readings of a trail are worked anew; a case has some dozens."""
_NAMED = 4
"""So many numbers of events are named in a remark."""
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)*(?:e[+-]?\d+)?)")


class Reworked(NamedTuple):
    """``differs``: sentences on readings that do not follow from what was typed. ``notes``: what else is to be said."""

    differs: tuple[str, ...]
    notes: tuple[str, ...]


def reworked(events: Sequence[Event], fitted: Fitted | None = None, files: Files | None = None) -> Reworked:
    """Work the readings of a trail anew. Nothing is raised for whatever they hold, and no file that it names is opened.

    ``fitted``: the knowledge, for what a reading answers. ``files``: where the files that readings came from may be.
    """
    return _Work(events, fitted, files).done()


class _Work:
    def __init__(self, events: Sequence[Event], fitted: Fitted | None, files: Files | None) -> None:
        self.events, self.fitted, self.files = events, fitted, files
        self.differs = list[str]()
        self.otherwise = list[str]()
        """What does not follow, and might from another version."""
        self.rounded = list[str]()
        self.of_files = list[int]()
        self.gone = list[str]()
        self.same = self.same_of_file = self.left = self.worked = 0
        self.records: dict[str, tuple[int, Mapping[str, Any]]] = {}
        """What a record said first, by its files and what was typed with them."""

    def done(self) -> Reworked:
        for event in self.events:
            if event.kind in ("answered", "noted") and "reading" in event.body:
                reading = event.body["reading"]
                # One that is none has been told already, where it was given again.
                if not odd(reading):
                    self._look(event, reading)
        return Reworked(tuple(self.differs + self._of_version()), tuple(self._notes()))

    def _look(self, event: Event, reading: Mapping[str, Any]) -> None:
        for why in (_out_of_order(reading), self._at_its_step(event, reading)):
            if why:
                self.differs.append(_of(event, why))
                return
        if self.worked >= MOST:
            self.left += 1
            return
        self.worked += 1
        again, why = self._worked(event, reading)
        why = why or _unlike_note(event, reading)
        if why:
            self.otherwise.append(_of(event, why))
        elif again is None:
            self.of_files.append(event.seq)
        elif apart := _rounded(reading, again):
            self.rounded.append(_of(event, apart))
        elif reading["files"]:
            self.same_of_file += 1
        else:
            self.same += 1

    def _worked(self, event: Event, reading: Mapping[str, Any]) -> tuple[dict[str, Any] | None, str]:
        """Return it worked anew, None where that cannot be without a file, and what is otherwise in it."""
        if why := _unlike_verdict(reading):
            return None, why
        try:
            if not reading["files"]:
                return (again := body(_taken(reading))), _unlike(reading, again)
            found, why = self._of_files(event, reading)
            return found, why or (_unlike(reading, found) if found is not None else "")
        except Exception as error:
            # It was sealed anew by somebody, who may have put in anything.
            return None, f"its reading cannot be worked out from what was typed: {str(error)[:200]}"

    def _at_its_step(self, event: Event, reading: Mapping[str, Any]) -> str:
        """Return what the step that it was taken at would not have of it; empty where there is nothing."""
        if self.fitted is None:
            return ""
        key = str(event.body.get("check" if event.kind == "answered" else "about") or "")
        step = self.fitted.checks.get(key) or self.fitted.repairs.get(key)
        entry = getattr(step, "entry", None)
        if entry is None:
            return f"its reading belongs to {_short(key)}, at which nothing is measured"
        meant = [one for one in entry.reads if (one.calc, one.judge) == (reading["calc"], reading["judge"])]
        if not meant:
            return f"its reading is of calc {reading['calc']}, which {_short(key)} does not go through"
        if all(reading["outcome"] != answers(one, reading["verdict"]) for one in meant):
            told = _short(reading["outcome"] or "nothing")
            return f"its reading comes to {_short(reading['verdict'])}, and {told} does not follow from that there"
        for one in meant:
            odds = [name for name, value in one.given.items() if reading["given"].get(name) != value]
            if not odds:
                return ""
        return (
            f"its reading has {_short(reading['given'].get(odds[0], 'nothing'))} as {odds[0]}, which the step settles"
        )

    # -- what came from a file -------------------------------------------------------------------------

    def _of_files(self, event: Event, reading: Mapping[str, Any]) -> tuple[dict[str, Any] | None, str]:
        """Return it worked anew where the files are at hand, and what is wrong with it even if they are not."""
        told, why = _told_files(reading)
        why = why or _unlike_typed(reading)
        if why or self.files is None:
            return None, why or self._unlike_record(event, reading)
        found = [(file, self.files.find(file)) for file in reading["files"]]
        for file, path in found:
            if path is None:
                other = self.files.other(file)
                there = f"there it is another one (SHA-256 {other[:SEAL]})" if other else "there is none such there"
                self.gone.append(f"Event {event.seq}: {_named(file)}; {there}.")
            elif path.stat().st_size != file["bytes"]:
                return None, f"{_named(file)} is {path.stat().st_size:,} bytes long"
        here = [(file, path) for file, path in found if path is not None]
        if len(here) < len(found):
            return None, self._unlike_record(event, reading)
        return _from_files(reading, told, here), ""

    def _unlike_record(self, event: Event, reading: Mapping[str, Any]) -> str:
        """Return where it is unlike another reading of the same record, which says the same at each step."""
        key = repr((reading["calc"], [f["sha256"] for f in reading["files"]], sorted(reading["given"].items())))
        seq, first = self.records.setdefault(key, (event.seq, reading))
        for what in ("understood", "limits", "figures", "lines"):
            if reading[what] != first[what]:
                return f"its reading is of the record of event {seq}, and the two have other {what}"
        return ""

    # -- what is said of all ---------------------------------------------------------------------------

    def _of_version(self) -> list[str]:
        return [] if self._by_another() else self.otherwise

    def _by_another(self) -> str:
        program = str(self.events[0].body.get("program", "")) if self.events else ""
        return program if program not in ("", VERSION) else ""

    def _notes(self) -> Iterator[str]:
        if self.same:
            yield f"Worked out anew from what was typed, and the same: {_count(self.same)}."
        if self.same_of_file:
            yield f"Worked out anew from the files that they came from, and the same: {_count(self.same_of_file)}."
        if self.otherwise and (program := self._by_another()):
            yield (
                f"Version {plain(program)[:20]} of this program opened the case, and this is {VERSION}: a calculation "
                f"may have changed since. {_count(len(self.otherwise))} would come out otherwise now. "
                f"{' '.join(self.otherwise[:_NAMED])}"
            )
        if self.rounded:
            yield (
                "Rounded otherwise than here, by no more than another numeric library may make of it: "
                f"{' '.join(self.rounded[:_NAMED])}{_more(len(self.rounded))}"
            )
        if self.of_files:
            where = "that were not found" if self.files is not None else "that are not on the trail"
            than = "" if self.files is not None else "; isolate review verify --files FOLDER works them anew from there"
            yield f"Read from files {where}, so taken as they stand: {_events(self.of_files)}{than}."
        if self.files is None:
            named = {f["sha256"]: _named(f) for e in self.events if e.seq in self.of_files
                     for f in e.body["reading"]["files"]}  # fmt: skip
            if named:
                yield f"These are: {'; '.join(list(named.values())[:_NAMED])}{_more(len(named))}."
        yield from self.gone[:_NAMED]
        if len(self.gone) > _NAMED:
            yield f"{len(self.gone) - _NAMED} more files of readings were not found."
        if self.files is not None and self.files.left and self.gone:
            yield "There are more files in the folder than were looked at."
        if self.left:
            yield f"After {MOST} readings the other {self.left} were not worked anew."


def _of(event: Event, why: str) -> str:
    return f"Event {event.seq} ({event.kind}): {plain(why).rstrip('.')}."


def _count(number: int) -> str:
    return f"{number} reading{'s' * (number != 1)}"


def _more(count: int) -> str:
    return f" and {count - _NAMED} more" if count > _NAMED else ""


def _events(seqs: Sequence[int]) -> str:
    many = "s" * (len(seqs) > 1)
    named = ", ".join(str(seq) for seq in seqs[:_NAMED])
    return f"the reading{many} of event{many} {named}{_more(len(seqs))}"


def _named(file: Mapping[str, Any]) -> str:
    return f"{plain(file['name'])[:80]} ({file['bytes']:,} bytes, SHA-256 {file['sha256'][:SEAL]})"


# -- one reading ---------------------------------------------------------------------------------------


def _out_of_order(reading: Mapping[str, Any]) -> str:
    """Return what no calculation gives, whatever went into it; empty where there is nothing."""
    from isolate.calc import calculation

    one = calculation(reading["calc"])
    if reading["verdict"] not in ("", CANNOT_TELL, *one.judges.get(reading["judge"], {})):
        return f"its reading comes to {_short(reading['verdict'])}, which calc {one.name} never does"
    for figure in reading["figures"]:
        ends = [figure[name] for name in ("low", "value", "high") if figure[name] is not None]
        if ends != sorted(ends):
            return f"its reading has {_short(figure['says'])} outside its own interval"
    takes = [wanted.name for wanted in _file_inputs(one)]
    if typed := [name for name in takes if name in reading["given"]]:
        return f"its reading has a path typed for {typed[0]}, which is never kept"
    if reading["files"] and not takes:
        return f"its reading names a file, and calc {one.name} reads none"
    return ""


def _taken(reading: Mapping[str, Any], more: Mapping[str, Any] | None = None) -> Any:
    # The names were looked at; of what a trail says no model is made that could refuse it in other words.
    reads = Reads.model_construct(calc=reading["calc"], judge=reading["judge"])
    return take(reads, {**reading["given"], **(more or {})}, reading["reference"])


def _unlike(reading: Mapping[str, Any], again: Mapping[str, Any]) -> str:
    """Return what comes out otherwise; empty where nothing does."""
    if again["verdict"] != reading["verdict"]:
        had, now = _short(reading["verdict"]), _short(again["verdict"])
        return f"its reading comes to {had} there; worked out from what was typed, to {now}"
    return (
        _unlike_pairs(reading, again)
        or _unlike_figures(reading["figures"], again["figures"])
        or _unlike_words(reading, again)
        or _unlike_seconds(reading.get("seconds"), again.get("seconds"))
    )


def _unlike_verdict(reading: Mapping[str, Any]) -> str:
    """Return where a verdict is worded as another, which can be told without what it came from."""
    from isolate.calc import calculation

    verdict = reading["verdict"]
    judges = calculation(reading["calc"]).judges.get(reading["judge"], {})
    words = CANNOT if verdict == CANNOT_TELL else judges.get(verdict, verdict)
    if reading["words"] != words:
        return f"its reading comes to {_short(verdict)} and is worded {_short(reading['words'])}, not {_short(words)}"
    return ""


def _unlike_pairs(reading: Mapping[str, Any], again: Mapping[str, Any]) -> str:
    for what, key in (("understood", "understood"), ("its limit", "limits")):
        if (told := [said for _, said in reading[key]]) != (anew := [said for _, said in again[key]]):
            typed = _short("; ".join(anew))
            return f"its reading has {_short('; '.join(told))} as {what}; from what was typed it is {typed}"
        for (asked, said), (asks, _) in zip(reading[key], again[key], strict=True):
            if asked != asks:
                return f"its reading has {_short(said)} as {_short(asked)}; it was told as {_short(asks)}"
    return ""


def _unlike_figures(had: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> str:
    figures = {one["name"]: one for one in now}
    for one in had:
        other, says = figures.get(one["name"]), _short(one["says"])
        if other is None:
            return f"its reading has a figure, {says}, that does not come out of it"
        if one["unit"] != other["unit"]:
            return f"its reading has {says} in {_short(one['unit'])}, not in {other['unit']}"
        width = _width(other)
        for end in ("value", "low", "high"):
            if not _alike(one[end], other[end], width):
                told = f"{one[end]} {other['unit']}"
                return f"its reading has {says} with {end} {told}; worked out from what was typed, {other[end]}"
    told_names = [one["name"] for one in had]
    if lacking := next((one["says"] for name, one in figures.items() if name not in told_names), ""):
        return f"its reading lacks a figure that comes out of it, {_short(lacking)}"
    if told_names != [one["name"] for one in now]:
        return "its reading has its figures in another order, or one of them twice"
    return ""


def _width(figure: Mapping[str, Any]) -> float:
    low, high = figure["low"], figure["high"]
    return abs(float(high) - float(low)) if None not in (low, high) else 0.0


def _alike(one: float | None, other: float | None, width: float) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= CLOSE * max(abs(one), abs(other)) + OF_WIDTH * width


def _unlike_words(reading: Mapping[str, Any], again: Mapping[str, Any]) -> str:
    had, now = (list(_sentences(one)) for one in (reading, again))
    drawn = _drawn(again["figures"])
    for (what, one), (_, other) in zip(had, now, strict=False):
        if not _alike_words(one, other, drawn):
            return (
                f"its reading says {_short(one, other)} as {what}; worked out from what was typed, {_short(other, one)}"
            )
    if len(had) != len(now):
        what, said = (had + now)[len(now)] if len(had) > len(now) else now[len(had)]
        return f"its reading {'says' if len(had) > len(now) else 'lacks'} {_short(said)}, {_more_or_less(had, now)}"
    return ""


def _more_or_less(had: Sequence[Any], now: Sequence[Any]) -> str:
    return "which does not come out of it" if len(had) > len(now) else "which comes out of it"


def _sentences(reading: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what a reading says in words, with what each is."""
    yield "the reason of its verdict", reading["why"]
    for figure in reading["figures"]:
        yield "the name of a figure", figure["says"]
    for said in reading["lines"]:
        yield "what came out", said


def _drawn(figures: Sequence[Mapping[str, Any]]) -> float:
    """Return the share of a number in words that may be drawn otherwise, by the widest of the figures' intervals."""
    wide = (_width(f) / size for f in figures if (size := max(abs(f["low"] or 0.0), abs(f["high"] or 0.0))))
    return OF_WIDTH * min(1.0, max(wide, default=0.0))


def _alike_words(one: str, other: str, drawn: float) -> bool:
    """Return whether two sentences are the same but for the last digits of figures."""
    if one == other:
        return True
    had, now = _NUMBER.split(one), _NUMBER.split(other)
    return len(had) == len(now) and all(
        _alike_number(a, b, drawn) if place % 2 else a == b for place, (a, b) in enumerate(zip(had, now, strict=True))
    )


def _alike_number(one: str, other: str, drawn: float) -> bool:
    """Return whether two numbers in words are the same but for rounding. What may be a count has to be the same."""
    if one == other:
        return True
    try:
        a, b = (float(number.replace(",", "")) for number in (one, other))
    except ValueError:
        return False
    last = max(_last(one), _last(other))
    if last >= 1 and max(abs(a), abs(b)) < 100:
        last = 0.0
    # Half a digit more than one: figures of a sentence are decimal, and these are not.
    return abs(a - b) <= 1.001 * last + drawn * max(abs(a), abs(b))


def _last(number: str) -> float:
    """Return what one in the last place of a number is."""
    digits, _, power = number.replace(",", "").partition("e")
    return float(10.0 ** (int(power or 0) - len(digits.partition(".")[2])))


def _unlike_seconds(had: Sequence[float] | None, now: Sequence[float] | None) -> str:
    if had is None and now is None:
        return ""
    if (
        had is None
        or now is None
        or any(
            abs(a - b) > ROUGH + CLOSE * abs(b) + OF_WIDTH * abs(now[1] - now[0]) for a, b in zip(had, now, strict=True)
        )
    ):
        told, anew = (" to ".join(f"{s:g}" for s in one) if one else "none" for one in (had, now))
        return f"its reading is of seconds {told} of the record; worked out anew, {anew}"
    return ""


def _rounded(reading: Mapping[str, Any], again: Mapping[str, Any]) -> str:
    """Return what is told with other last digits; empty where all is the same to the letter."""
    for (_, one), (_, other) in zip(_sentences(reading), _sentences(again), strict=True):
        if one != other:
            return f"{_short(one, other)} there, {_short(other, one)} here"
    for one, other in zip(reading["figures"], again["figures"], strict=True):
        for end in ("value", "low", "high"):
            if one[end] != other[end]:
                return f"{_short(one['says'])} with {end} {one[end]:g} there, {other[end]:g} here"
    return "its seconds" if reading.get("seconds") != again.get("seconds") else ""


def _unlike_note(event: Event, reading: Mapping[str, Any]) -> str:
    """Return where the text of a note that tells a reading tells another one; somebody's own words are theirs."""
    from isolate.calc import calculation

    if event.kind != "noted":
        return ""
    title = calculation(reading["calc"]).title
    head = f"{title[:1].upper()}{title[1:]}: "
    text, told = str(event.body.get("text", "")), f"{head}{line(reading, LARGEST)}"
    if not text.strip():
        return "its note says nothing"
    if text.startswith(head) and text != told:
        return f"its note says {_short(text, told)}; its reading, {_short(told, text)}"
    return ""


# -- from files ----------------------------------------------------------------------------------------


def _file_inputs(one: Calculation) -> list[Input]:
    return [wanted for wanted in one.inputs if wanted.kind == "file"]


def _told_files(reading: Mapping[str, Any]) -> tuple[list[Input], str]:
    """Return the input that each of its files was told for, in order, and what is wrong with them."""
    from isolate.calc import calculation

    asked = dict(reading["understood"])
    told = [wanted for wanted in _file_inputs(calculation(reading["calc"])) if plain(wanted.asks) in asked]
    over = len(reading["files"]) - len(told)
    inputs = [wanted for wanted in told for _ in range(1 + over if wanted.many else 1)]
    names = [plain(file["name"]) for file in reading["files"]]
    if len(inputs) != len(names):
        return [], f"its reading names {len(names)} files, and was told {len(inputs)}"
    for wanted in told:
        here = ", ".join(name for name, of in zip(names, inputs, strict=True) if of is wanted)
        if (said := asked[plain(wanted.asks)].removesuffix(NOT_TOLD)) != here:
            return [], f"its reading understood {_short(said)} as {wanted.name}, and names {_short(here)}"
    return inputs, ""


def _unlike_typed(reading: Mapping[str, Any]) -> str:
    """Return where what was typed beside a file is understood otherwise than it would be."""
    from isolate.calc import calculation
    from isolate.calc.given import read, said

    one = calculation(reading["calc"])
    typed = replace(one, inputs=tuple(wanted for wanted in one.inputs if wanted.kind != "file"))
    given, files = read(typed, reading["given"]), dict(reading["understood"])
    now: dict[str, list[list[str]]] = {"understood": [], "limits": []}
    for wanted in one.inputs:
        asks = plain(wanted.asks)
        if wanted.kind == "file" and asks in files:
            now["understood"].append([asks, files[asks]])
        elif wanted.name in given:
            told = plain(said(given[wanted.name])) + ("" if wanted.name in reading["given"] else NOT_TOLD)
            now["limits" if wanted.limit else "understood"].append([asks, told])
    return _unlike_pairs(reading, now)


def _from_files(
    reading: Mapping[str, Any], inputs: Sequence[Input], found: Sequence[tuple[Mapping[str, Any], Path]]
) -> dict[str, Any]:
    from isolate.review.kept_files import laid

    with tempfile.TemporaryDirectory() as folder:
        more: dict[str, Any] = {}
        for wanted, path in zip(inputs, laid(found, Path(folder)), strict=True):
            if wanted.many:
                more.setdefault(wanted.name, []).append(str(path))
            else:
                more[wanted.name] = str(path)
        again = body(_taken(reading, more))
    if again["files"] != list(reading["files"]):
        raise ValueError("its files are others now")
    return again


def _short(said: str, other: str = "") -> str:
    """Return a text in few letters; where it is long, about where it parts from the other one."""
    shown = plain(said)
    if len(shown) <= 60:
        return repr(shown)
    parts = next((i for i, (a, b) in enumerate(zip(shown, plain(other), strict=False)) if a != b), 0) if other else 0
    begin = max(0, min(parts - 20, len(shown) - 56))
    return repr(f"{'... ' if begin else ''}{shown[begin : begin + 52]}{' ...' if begin + 52 < len(shown) else ''}")

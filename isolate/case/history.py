"""A log of past starts, as it comes out of a spreadsheet or a recorder: what can be read of it, row by row.

Nothing is guessed and nothing changed without a word: rows that cannot be read are listed by their number in the sheet,
with why, and leave a gap where they stood; what was put into another form is said in one line each. Starts come out
oldest first.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import lru_cache
from itertools import pairwise
from math import isfinite
from pathlib import Path
from typing import Any, cast

from isolate.kb.model import Condition
from isolate.reasoning.starts import BOTH, NEWEST, UNKNOWN, Start

__all__ = ["COLUMNS", "BadHistory", "History", "Listed", "read", "read_file"]

LARGEST = 64_000_000
"""Bytes of a file at most."""
HOT_HOURS, COLD_HOURS = 4.0, 10.0
"""Hours since the start before: up to the first it counts as a hot turn, from the second on as cold soaked, where no
column says so and all dates and times are certain. Our judgement: a short flight and a turn, a night."""
SLOWEST = 300.0
"""Seconds to light that can be meant."""
COLDEST, HOTTEST = -90.0, 70.0
"""Degrees Celsius that can be meant."""
OLDEST, LATEST = 1950, 2200
HEADER_WITHIN = 20
"""Rows in which the header has to stand."""
JOINED = 20
"""Lines that one quoted field may run over."""

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "date": ("date", "day", "date time", "datetime", "timestamp", "start date", "date of start", "when", "datum"),
    "time": ("time", "start time", "time of day", "time of start", "clock", "hour"),
    "channel": (
        *("channel", "ch", "igniter", "ign", "ignition", "plug", "exciter", "channel used", "igniter used"),
        *("channel selected", "igniter selected", "ignition channel", "ignition system", "system"),
    ),
    "selection": ("selection", "selected", "mode", "auto", "automatic", "ignition mode", "selector"),
    "lit": (
        *("lit", "light", "lights", "light off", "lightoff", "light up", "lit off", "lit or not", "did it light"),
        *("result", "outcome", "success", "ignited", "started", "ok"),
    ),
    "seconds": (
        *("time to light", "time to light off", "time to lightoff", "light time", "light off time", "lightoff time"),
        *("light up time", "seconds to light", "seconds", "secs", "sec", "s"),
    ),
    "oat": (
        *("oat", "outside air temperature", "outside temperature", "outside air temp", "temperature", "temp"),
        "ambient",
    ),
    "heat": (
        *("hot cold", "hot or cold", "cold hot", "cold or hot", "hot", "cold", "condition", "start type"),
        "engine state",
    ),
    "lane": ("lane", "control lane", "control channel", "lane in command"),
    "aborted": ("aborted", "abort", "broken off", "cancelled", "canceled"),
}
"""What a column says → its names, in small letters with spaces for all signs; units stand in brackets."""

_YES = frozenset(
    (
        *("yes", "y", "1", "true", "t", "lit", "light", "lights", "ok", "on", "good", "normal", "success", "ignited"),
        *("started", "x", "light off", "lit off", "light up", "lightoff"),
    )
)
_NO = frozenset(
    (
        *("no", "n", "0", "false", "f", "dark", "fail", "failed", "failure", "not", "never", "not lit", "no light"),
        *("no light off", "no lightoff", "did not light", "no ignition", "not ok", "unlit"),
    )
)
_ABORTED = frozenset(("aborted", "abort", "broken off", "cancelled", "canceled", "stopped"))
_OPEN = frozenset(("", "?", "-", "--", "n/a", "na", "unknown", "not known", "none", "nil", "."))
_AUTO = frozenset(("auto", "automatic", "automatically", "normal", "alternating", "alternate"))
_FIXED = frozenset(("manual", "fixed", "by hand", "hand", "selected"))
_BOTH = frozenset((BOTH, "all", "dual", "both channels", "both igniters"))
_HEAT: Mapping[str, Condition] = {
    **dict.fromkeys(("hot", "h", "hot turn", "hot start", "quick turn", "turn", "turnaround", "warm"), "hot"),
    **dict.fromkeys(("cold", "c", "cold soak", "cold soaked", "cold start", "first of day", "soaked"), "cold"),
    **dict.fromkeys(("steady", "normal"), "steady"),
    **dict.fromkeys(("wet", "rain", "wash", "washed", "de iced"), "wet"),
    "vibrating": "vibrating",
    "sagging": "sagging",
}
_MONTHS = {"janfebmaraprmayjunjulaugsepoctnovdec"[3 * i : 3 * i + 3]: i + 1 for i in range(12)}


class BadHistory(ValueError):
    """A log of starts cannot be used at all; the message says why and what would do."""


@dataclass(frozen=True)
class Listed:
    """Something about one row of the sheet, counted from one, header included."""

    row: int
    reason: str


@dataclass(frozen=True)
class History:
    """What was read. ``unread``: rows left out. ``partly``: starts read without something. ``notes``: put into another
    form, or worth knowing, a sentence each. ``fixed``: starts whose channel a hand had selected.
    """

    starts: tuple[Start, ...]
    rows: int
    unread: tuple[Listed, ...] = ()
    partly: tuple[Listed, ...] = ()
    notes: tuple[str, ...] = ()
    fixed: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return what was read and what was not as a JSON object, without the starts."""
        return {
            "rows": self.rows,
            "starts": len(self.starts),
            "unread": [{"row": one.row, "reason": one.reason} for one in self.unread],
            "partly": [{"row": one.row, "reason": one.reason} for one in self.partly],
            "notes": list(self.notes),
            "fixed": self.fixed,
        }

    @property
    def newest(self) -> tuple[Start, ...]:
        """The newest starts, as many as are weighed and kept with a case."""
        return self.starts[-NEWEST:]

    @property
    def older(self) -> int:
        """How many starts are older than the newest that count."""
        return len(self.starts) - len(self.newest)


def read_file(path: Path, channels: Sequence[str], today: date | None = None) -> History:
    """Read a file. Raises BadHistory, OSError."""
    if path.stat().st_size > LARGEST:
        raise BadHistory(f"{path} is larger than {LARGEST // 1_000_000} MB; the newest rows of it will do")
    return read(path.read_bytes(), channels, today)


def read(data: bytes | str, channels: Sequence[str], today: date | None = None) -> History:
    """Read a log of starts: a table with a header, its cells parted by comma, semicolon, tab or bar.

    ``channels``: of the engine. ``today``: no start is later than that; None: not looked at. Raises BadHistory.
    """
    return _Reading(channels, today).read(data)


@dataclass
class _Row:
    """A row as far as it is understood."""

    number: int
    start: Start
    when: _When | None = None
    fixed: bool = False
    heat: bool = False
    moment: datetime | None = None


@dataclass(frozen=True)
class _When:
    """A date as its parts stand: ``order`` ymd, dmy, or xxy where day and month are not told apart."""

    order: str
    parts: tuple[int, int, int]
    clock: time | None = None
    short: bool = False
    serial: bool = False


class _Unread(Exception):
    """This row cannot be read; the message says why."""


class _Reading:
    def __init__(self, channels: Sequence[str], today: date | None) -> None:
        self.channels, self.today = tuple(channels), today
        self.unread: list[Listed] = []
        self.partly: list[Listed] = []
        self.notes: list[str] = []
        self.counts: Counter[str] = Counter()
        self.at: dict[str, int] = {}
        self.width = 0
        self.units: dict[str, str] = {}
        self.names: dict[str, str] = {}
        self.letters = {c.casefold(): c for c in channels}
        # A long log says the same few things over and over.
        self.lit: dict[tuple[str, str], tuple[bool, bool]] = {}
        self.chosen: dict[tuple[str, str], tuple[str, bool, bool]] = {}

    def read(self, data: bytes | str) -> History:
        text = self._decoded(data)
        records = self._records(text)
        header = self._header(records)
        rows: list[_Row] = []
        total, gap = 0, False
        for number, cells in records:
            if number <= header or not any(cell.strip() for cell in cells):
                continue
            total += 1
            try:
                row = self._row(number, cells)
            except _Unread as reason:
                self.unread.append(Listed(number, str(reason)))
                gap = True
                continue
            if gap:
                row.start = replace(row.start, gap=True)
                gap = False
            rows.append(row)
        rows = self._in_order(rows)
        self._said()
        return History(
            tuple(row.start for row in rows),
            total,
            tuple(self.unread),
            tuple(self.partly),
            tuple(self.notes),
            sum(row.fixed for row in rows),
        )

    # -- the sheet -----------------------------------------------------------------------------------

    def _decoded(self, data: bytes | str) -> str:
        if isinstance(data, str):
            return data.removeprefix("\ufeff")
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            self.notes.append("Read as UTF-16.")
            return data.decode("utf-16", errors="replace")
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            self.notes.append("It is no UTF-8; its letters are read as Latin-1.")
            return data.decode("latin-1")

    def _records(self, text: str) -> list[tuple[int, list[str]]]:
        """Return the rows with their numbers, cells not yet stripped."""
        lines = re.split(r"\r\n|\n|\r", text.replace("\0", ""))
        first = next((i for i, line in enumerate(lines) if line.strip()), None)
        if first is None:
            raise BadHistory(f"the log of starts is empty; {_wanted()}")
        told = re.fullmatch(r'"?sep=(.)"?', lines[first].strip(), re.IGNORECASE)
        within = [line for line in lines if line.strip()][:HEADER_WITHIN]

        def known(mark: str) -> int:
            return max(len(self._columns(_cells(line, mark))[0]) for line in within)

        mark = told[1] if told else max((";", "\t", ",", "|"), key=known)
        if told:
            lines[first] = ""
        self.mark = mark
        return list(self._split(lines, mark))

    def _split(self, lines: Sequence[str], mark: str) -> Iterator[tuple[int, list[str]]]:
        number, i = 0, 0
        while i < len(lines):
            line = lines[i]
            i += 1
            number += 1
            if '"' not in line:
                yield number, line.split(mark)
                continue
            ends = i
            while line.count('"') % 2 and ends < len(lines) and ends - i < JOINED:
                line += "\n" + lines[ends]
                ends += 1
            if line.count('"') % 2:
                # Nothing closes it: the lines after it are rows of their own.
                line = lines[i - 1].replace('"', "")
                self.partly.append(Listed(number, "a quotation mark is opened and not closed; it is left out"))
            else:
                i = ends
            try:
                yield number, _cells(line, mark)
            except csv.Error as error:
                self.unread.append(Listed(number, f"it is no row of a table: {error}"))

    def _header(self, records: Sequence[tuple[int, list[str]]]) -> int:
        """Find the header; return its row."""
        filled = [record for record in records if any(cell.strip() for cell in record[1])]
        for above, (number, cells) in enumerate(filled[:HEADER_WITHIN]):
            found, units = self._columns(cells)
            if "lit" in found and len(found) > 1:
                self.at, self.units, self.width = found, units, len(cells)
                self.names = {role: cells[i].strip() for role, i in found.items()}
                unused = [c.strip() for i, c in enumerate(cells) if c.strip() and i not in found.values()]
                if above:
                    self.notes.append(f"{_rows(above)} above the header not read.")
                if unused:
                    self.notes.append(f"Columns not used: {', '.join(unused)}.")
                return number
        raise BadHistory(
            "no header is found that says which column is which; "
            f"at least whether each start lit, and one more, has to be there. {_wanted()}"
        )

    def _columns(self, cells: Sequence[str]) -> tuple[dict[str, int], dict[str, str]]:
        found: dict[str, int] = {}
        units: dict[str, str] = {}
        for i, cell in enumerate(cells):
            name, unit = _named(cell)
            role = _ROLES.get(name)
            if role is not None and role not in found:
                found[role] = i
                units[role] = unit
        return found, units

    # -- one row -------------------------------------------------------------------------------------

    def _row(self, number: int, cells: Sequence[str]) -> _Row:
        if len(cells) > self.width and any(cell.strip() for cell in cells[self.width :]):
            raise _Unread(f"it has more cells than the header ({len(cells)} for {self.width}); they may have shifted")
        told = dict.fromkeys(COLUMNS, "")
        for role, i in self.at.items():
            if i < len(cells):
                told[role] = " ".join(cells[i].split())
        self.number = number
        results = told["lit"], told["aborted"]
        if results not in self.lit:
            self.lit[results] = self._lit(*results)
        lit, aborted = self.lit[results]
        chosen = told["channel"], told["selection"]
        if chosen not in self.chosen:
            self.chosen[chosen] = self._channel(*chosen)
        channel, fixed, odd = self.chosen[chosen]
        if odd:
            self.partly.append(Listed(number, f"selection not understood: {_short(told['selection'])}"))
        condition = self._condition(told["heat"]) if told["heat"] else None
        if not lit and _word(told["seconds"]) not in _OPEN:
            self.partly.append(Listed(number, "it gives a time to light though it did not light; read without it"))
        when = self._when(told["date"], told["time"])
        start = Start(
            channel,
            lit,
            condition or "steady",
            seconds=self._figure("seconds", told["seconds"], 0.0, SLOWEST) if lit else None,
            lane="" if told["lane"].casefold() in _OPEN else told["lane"].upper(),
            aborted=aborted,
            at=f"{told['date']} {told['time']}".strip(),
            oat=self._figure("oat", told["oat"], COLDEST, HOTTEST),
        )
        return _Row(number, start, when, fixed, condition is not None)

    def _lit(self, told: str, aborted: str) -> tuple[bool, bool]:
        said, off = _word(told), _word(aborted)
        if said in _ABORTED or off in _YES or off in _ABORTED:
            return False, True
        if off not in _NO and off not in _OPEN:
            raise _Unread(f"whether it was broken off is not understood: {_short(aborted)}")
        if said in _YES:
            return True, False
        if said in _NO:
            return False, False
        if said in _OPEN:
            raise _Unread("it does not say whether it lit")
        raise _Unread(f"whether it lit is not understood: {_short(told)}")

    def _channel(self, told: str, selection: str) -> tuple[str, bool, bool]:
        """Return the channel, whether a hand had selected it, and whether the selection is not understood."""
        said, chosen = self._letter(told), self._letter(selection)
        if said is None:
            raise _Unread(f"no channel of this engine is called {_short(told)}; it has {', '.join(self.channels)}")
        if chosen in (*self.channels, BOTH) and said in (UNKNOWN, chosen):
            return chosen, chosen != BOTH, False
        word = _word(selection)
        if chosen in (*self.channels, BOTH) and said != chosen:
            raise _Unread(f"its channel is {said} and what was selected {chosen}")
        return said, word in _FIXED and said in self.channels, chosen is None and word not in _FIXED

    def _letter(self, told: str) -> str | None:
        """Return the channel meant, ``unknown`` for none told, None for what is not understood."""
        word = _word(told)
        if word in _OPEN or word in _AUTO:
            return UNKNOWN
        if word in _BOTH:
            return BOTH
        bare = re.sub(r"^(?:channel|chan|ch|igniter|ign|ignition|plug|exciter)[ .]*", "", word)
        if bare in self.letters:
            return self.letters[bare]
        parts = re.split(r"\s*(?:[+&/,]|and)\s*", bare)
        if len(parts) == len(self.letters) > 1 and set(parts) == set(self.letters):
            return BOTH
        return BOTH if len(bare) > 1 and sorted(bare) == sorted(self.letters) else None

    def _condition(self, told: str) -> Condition | None:
        word, name = _word(told), _named(self.names.get("heat", ""))[0]
        if word in _OPEN:
            return None
        if name in ("hot", "cold") and word in _YES | _NO:
            # A column of its own for one of the two; what is not hot need not be cold.
            return cast(Condition, name) if word in _YES else None
        if word not in _HEAT:
            self.partly.append(Listed(self.number, f"hot or cold is not understood: {_short(told)}"))
            return None
        return _HEAT[word]

    def _figure(self, role: str, told: str, least: float, most: float) -> float | None:
        """Return a figure of a cell; what cannot be one is listed and left out."""
        if not told or _word(told) in _OPEN:
            return None
        value, changed = _figure(told, self.units.get(role, ""), role)
        self.counts.update(changed)
        if not least <= value <= most or (role == "seconds" and value == 0):
            what = "time to light" if role == "seconds" else "outside temperature"
            self.partly.append(Listed(self.number, f"{what} {_short(told)} cannot be; read without it"))
            return None
        return value

    # -- dates ---------------------------------------------------------------------------------------

    def _when(self, day: str, clock: str) -> _When | None:
        if _word(day) in _OPEN:
            return None
        found = _date(day)
        if found is None:
            self._undated(f"its date is not understood: {_short(day)}")
            return None
        when, rest = found
        at = _clock(rest or clock)
        if (rest or clock) and at is None and _word(rest or clock) not in _OPEN:
            self.partly.append(Listed(self.number, f"its time is not understood: {_short(rest or clock)}"))
        return replace(when, clock=at) if at is not None else when

    def _undated(self, reason: str) -> None:
        self.partly.append(Listed(self.number, f"{reason}; placed by its row"))

    def _in_order(self, rows: list[_Row]) -> list[_Row]:
        """Return the rows oldest first, duplicates out, hot and cold by the clock where nothing else says so."""
        certain = self._dates_certain(rows)
        for row in rows:
            # Dates that cannot be are listed as well where none of them puts anything in order.
            moment = self._moment(row)
            row.moment = moment if certain else None
        moments = [row.moment for row in rows]
        if not all(row.when is None or row.when.clock is not None for row in rows):
            # Where some have no time of day, days alone put them in order.
            moments = [None if m is None else datetime(m.year, m.month, m.day) for m in moments]
        dated = [m for m in moments if m is not None]
        rising = all(a <= b for a, b in pairwise(dated))
        if dated and not rising:
            falling = all(a >= b for a, b in pairwise(dated))
            if falling:
                rows, moments = _turned(rows), moments[::-1]
                self.notes.append("The newest start came first; turned round.")
            else:
                rows, moments = _sorted(rows, moments)
                self.notes.append("The rows were not in the order of their dates; put in that order.")
        elif not certain and any(row.when for row in rows):
            self.notes.append("The order is that of the rows, the first being the oldest.")
        elif not dated and rows:
            self.notes.append("Nothing is dated: the order is that of the rows, the first being the oldest.")
        kept = self._once(rows)
        if certain and not any(row.heat for row in kept):
            self._by_clock(kept)
        return kept

    def _dates_certain(self, rows: Sequence[_Row]) -> bool:
        """Settle day and month for the whole column; return whether dates can put the rows in order."""
        whens = [(row, row.when) for row in rows if row.when is not None]
        told = [when for _, when in whens]
        certain = True
        mixed = [w for w in told if w.order == "xxy"]
        if mixed:
            day_first = sum(w.parts[0] > 12 for w in mixed)
            month_first = sum(w.parts[1] > 12 for w in mixed)
            if day_first and not month_first:
                order = "dmy"
            elif month_first and not day_first:
                order = "mdy"
            else:
                order, certain = "", False
                why = "some say the one and some the other" if day_first else "none of them says which"
                self.notes.append(
                    f"Whether the day or the month comes first cannot be told in {_rows(len(mixed))} ({why}); those "
                    "dates are not used."
                )
            if order:
                first = "day" if order == "dmy" else "month"
                self.notes.append(f"Dates with the {first} first, by those that can be nothing else.")
            for row, when in whens:
                if when.order == "xxy":
                    row.when = replace(when, order=order) if order else None
        zoned = sum(w.clock is not None and w.clock.tzinfo is not None for w in told)
        naive = sum(w.clock is not None and w.clock.tzinfo is None for w in told)
        if zoned and naive:
            certain = False
            self.notes.append(
                f"{_rows(zoned)} with a time zone and {naive} without cannot be put in one order; order by row."
            )
        elif zoned:
            offsets = {w.clock.utcoffset() for w in told if w.clock is not None}
            if offsets != {timedelta(0)}:
                self.notes.append(f"Times of {_rows(zoned)} put into UTC, from {len(offsets)} time zone(s).")
        for name, said in (("short", "two-digit years read as 20.."), ("serial", "day numbers of a spreadsheet read")):
            if count := sum(getattr(w, name) for w in told):
                self.notes.append(f"{said[0].upper()}{said[1:]} in {_rows(count)}.")
        return certain and bool(told)

    def _moment(self, row: _Row) -> datetime | None:
        """Return when a row's start was, in UTC or as the clock there had it; what cannot be is listed."""
        when = row.when
        if when is None:
            return None
        a, b, c = when.parts
        y, m, d = {"ymd": (a, b, c), "dmy": (c, b, a), "mdy": (c, a, b)}[when.order]
        self.number = row.number
        try:
            day = date(y, m, d)
        except ValueError:
            self._undated(f"there is no such date: {_short(row.start.at)}")
            row.when = None
            return None
        late = day > (self.today + timedelta(days=1) if self.today is not None else date(LATEST, 1, 1))
        if late or day.year < OLDEST:
            self._undated(f"its date is {'yet to come' if late else 'too long ago'}: {_short(row.start.at)}")
            row.when = None
            return None
        moment = datetime.combine(day, when.clock or time())
        if moment.tzinfo is not None:
            moment = moment.astimezone(UTC).replace(tzinfo=None)
        return moment

    def _once(self, rows: Sequence[_Row]) -> list[_Row]:
        """Return the rows without those that tell the same start again."""
        seen: dict[tuple[object, str], _Row] = {}
        kept: list[_Row] = []
        gap = False
        for row in rows:
            when = row.when
            if gap:
                row.start, gap = replace(row.start, gap=True), False
            if when is None or when.clock is None:
                kept.append(row)
                continue
            key = (row.moment or row.start.at, row.start.channel)
            first = seen.setdefault(key, row)
            if first is row:
                kept.append(row)
                continue
            gap = row.start.gap
            same = (first.start.lit, first.start.aborted) == (row.start.lit, row.start.aborted)
            other = "" if same else ", with another result"
            self.unread.append(Listed(row.number, f"same time and channel as row {first.number}{other}; counted once"))
        for told in (self.unread, self.partly):
            told.sort(key=lambda one: one.row)
        return kept

    def _by_clock(self, rows: list[_Row]) -> None:
        """Tell hot turns and cold soaks by the time since the start before, where every row has its time."""
        if not all(row.moment is not None and row.when is not None and row.when.clock is not None for row in rows):
            return
        moments = [cast(datetime, row.moment) for row in rows]
        hot = cold = 0
        for i in range(1, len(rows)):
            hours = (moments[i] - moments[i - 1]) / timedelta(hours=1)
            condition: Condition = "hot" if hours <= HOT_HOURS else "cold" if hours >= COLD_HOURS else "steady"
            hot, cold = hot + (condition == "hot"), cold + (condition == "cold")
            if condition != "steady":
                rows[i].start = replace(rows[i].start, condition=condition)
        if hot or cold:
            self.notes.append(
                f"No column says hot or cold: by the time since the start before, {hot} count as hot (up to "
                f"{HOT_HOURS:g} h) and {cold} as cold ({COLD_HOURS:g} h and more)."
            )

    def _said(self) -> None:
        said = {
            "comma": "Decimal commas read as points in {} cell(s).",
            "ms": "Milliseconds read as seconds in {} cell(s).",
            "fahrenheit": "Degrees Fahrenheit put into Celsius in {} cell(s).",
        }
        self.notes += [text.format(self.counts[key]) for key, text in said.items() if self.counts[key]]
        if self.mark != ",":
            self.notes.append(f"Cells parted by {_MARKS.get(self.mark, repr(self.mark))}.")


_ROLES = {name: role for role, names in COLUMNS.items() for name in names}
_MARKS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_UNITS = ("s", "sec", "ms", "c", "f", "degc", "degf", "utc", "local", "z")
_DATE = re.compile(
    r"(?P<y1>\d{4})[-/.](?P<m1>\d{1,2})[-/.](?P<d1>\d{1,2})(?!\d)"
    r"|(?P<y2>(?:19|20)\d{2})(?P<m2>\d{2})(?P<d2>\d{2})(?!\d)"
    r"|(?P<d3>\d{1,2})[-/. ]*(?P<name3>[A-Za-z]{3,9})[-/., ]*(?P<y3>\d{4}|\d{2})(?!\d)"
    r"|(?P<name4>[A-Za-z]{3,9})[-/. ]*(?P<d4>\d{1,2})[-/., ]+(?P<y4>\d{4}|\d{2})(?!\d)"
    r"|(?P<a5>\d{1,2})(?P<sep5>[-/.])(?P<b5>\d{1,2})(?P=sep5)(?P<y5>\d{4}|\d{2})(?!\d)"
    r"|(?P<serial>[3-6]\d{4})(?![\d.,])"
)
_CLOCK = re.compile(
    r"(?:(?P<h>\d{1,2})[:.h](?P<m>\d{2})(?:[:.](?P<s>\d{2})(?:[.,]\d+)?)?|(?P<h4>\d{2})(?P<m4>\d{2}))"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?:(?P<z>z|utc|gmt)|(?P<sign>[+−-])(?P<oh>\d{2}):?(?P<om>\d{2})?)?",
    re.IGNORECASE,
)


@lru_cache(maxsize=4096)
def _date(told: str) -> tuple[_When, str] | None:
    """Return a date as it stands and what stands behind it; None for what is none."""
    found = _DATE.match(told)
    if found is None:
        return None
    g = found.groupdict()
    rest = told[found.end() :].strip().removeprefix("T").removeprefix(",").strip()
    if g["y1"]:
        return _When("ymd", (int(g["y1"]), int(g["m1"]), int(g["d1"]))), rest
    if g["y2"]:
        return _When("ymd", (int(g["y2"]), int(g["m2"]), int(g["d2"]))), rest
    if g["serial"]:
        day = date(1899, 12, 30) + timedelta(days=int(g["serial"]))
        return _When("ymd", (day.year, day.month, day.day), serial=True), rest
    year = next(g[y] for y in ("y3", "y4", "y5") if g[y])
    short = len(year) == 2
    y = int(year) + (2000 if short else 0)
    name, number = (g["name3"], g["d3"]) if g["name3"] else (g["name4"], g["d4"])
    if name:
        month = _MONTHS.get(name[:3].casefold())
        return None if month is None else (_When("ymd", (y, month, int(number)), short=short), rest)
    return _When("dmy" if g["sep5"] == "." else "xxy", (int(g["a5"]), int(g["b5"]), y), short=short), rest


@lru_cache(maxsize=4096)
def _clock(told: str) -> time | None:
    found = _CLOCK.fullmatch(told.strip())
    if found is None:
        return None
    hour, minute = int(found["h"] or found["h4"]), int(found["m"] or found["m4"])
    second = int(found["s"] or 0)
    half = (found["half"] or "").casefold().replace(".", "")
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "pm" else 0)
    zone = None
    if found["z"]:
        zone = UTC
    elif found["sign"]:
        off = timedelta(hours=int(found["oh"]), minutes=int(found["om"] or 0))
        if off > timedelta(hours=14):
            return None
        zone = timezone(-off if found["sign"] in "-−" else off)
    try:
        return time(hour, minute, second, tzinfo=zone)
    except ValueError:
        return None


@lru_cache(maxsize=4096)
def _figure(told: str, unit: str, role: str) -> tuple[float, tuple[str, ...]]:
    """Return a figure in seconds or degrees Celsius and what was changed to get it; not a number for what is none."""
    found = re.fullmatch(r"([+-−]?\s*\d*[.,]?\d+|[+-−]?\s*\d+[.,])\s*(.*)", told)
    if found is None:
        return float("nan"), ()
    changed = ("comma",) if "," in found[1] else ()
    value = float(found[1].replace(" ", "").replace(",", ".").replace("−", "-"))
    unit = found[2].strip().casefold().lstrip("°º").strip() or unit
    if role == "seconds" and unit in ("ms", "msec", "milliseconds"):
        return value / 1000, (*changed, "ms")
    if role == "oat" and unit in ("f", "fahrenheit", "deg f", "degf"):
        return (value - 32) / 1.8, (*changed, "fahrenheit")
    known = ("s", "sec", "secs", "seconds") if role == "seconds" else ("c", "celsius", "deg c", "degc", "deg")
    return (value if unit in ("", *known) and isfinite(value) else float("nan")), changed


def _cells(line: str, mark: str) -> list[str]:
    return next(csv.reader([line], delimiter=mark)) if '"' in line else line.split(mark)


@lru_cache(maxsize=4096)
def _named(cell: str) -> tuple[str, str]:
    """Return a header's name in small letters and its unit."""
    unit = re.search(r"[\[(]\s*([^\])]*)", cell)
    bare = re.sub(r"[\[(].*", "", cell)
    name = " ".join(re.findall(r"[^\W_]+", bare.casefold()))
    told = unit[1].casefold().strip().lstrip("°º").strip() if unit else ""
    # A unit may stand behind the name without brackets as well.
    last = name.rpartition(" ")
    if not told and last[0] in _ROLES and last[2] in _UNITS:
        return last[0], last[2]
    return name, told


@lru_cache(maxsize=4096)
def _word(told: str) -> str:
    return " ".join(told.casefold().replace("_", " ").replace("-", " ").split()) if len(told) > 1 else told.casefold()


def _short(told: str) -> str:
    return repr(told if len(told) <= 40 else told[:39] + "…")


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


def _wanted() -> str:
    """Return which columns are understood, in words."""
    return "columns understood: " + "; ".join(
        f"{names[0]} (also {', '.join(names[1:4])})" if len(names) > 1 else names[0] for names in COLUMNS.values()
    )


def _turned(rows: Sequence[_Row]) -> list[_Row]:
    """Return the rows the other way about; a gap before a row is then before the one that came above it."""
    found = list(reversed(rows))
    gaps = [row.start.gap for row in found]
    for i, row in enumerate(found):
        row.start = replace(row.start, gap=gaps[i - 1] if i else False)
    return found


def _sorted(rows: Sequence[_Row], moments: Sequence[datetime | None]) -> tuple[list[_Row], list[datetime | None]]:
    """Return the rows by date; one without stays behind the row that it stands behind."""
    keys, last = [], datetime.min
    for moment in moments:
        last = moment or last
        keys.append(last)
    order = sorted(range(len(rows)), key=lambda i: keys[i])
    return [rows[i] for i in order], [moments[i] for i in order]

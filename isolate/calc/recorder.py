"""A recorder's log as a table: which column is what, what could be read of it, and where its clock has gaps or jumps.

Comma, semicolon, tab or bar between cells; the header anywhere in the first rows, a row of units below it or not; any
names of columns. Nothing is guessed: what was taken for what is said, what may be two things is refused with what to
type, and cells that hold no figure are counted with their lines. Cells are read as bytes, a column at a time, because a
log may have a million rows.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from isolate.calc.shape import Unfit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Whole = NDArray[np.int64]
    Bytes = NDArray[np.uint8]

LARGEST: Final = 512_000_000
"""Bytes of a file at most."""
HEADER_WITHIN: Final = 60
"""Filled lines in which the first row of figures has to stand."""
LEAST_ROWS: Final = 20
LINES_NAMED: Final = 5
MANY_BEYOND: Final = 4
"""More different figures than so many, beyond what a unit can mean, are no recorder's sign for nothing."""
CLOCK_S: Final = 600.0
SHORTEST_S: Final = 3.0
"""A log that lasts less has its times in another unit, or holds no start."""
LONGEST_CELL: Final = 20
"""Lines that a quoted cell may run over."""
ROLES: Final = ("time", "speed", "temperature", "fuel", "ignition", "channel", "volts")
NEEDED: Final = ("time", "speed", "temperature")
SAYS: Final = {
    "time": "time",
    "speed": "shaft speed",
    "temperature": "exhaust temperature",
    "fuel": "fuel flow",
    "ignition": "ignition command",
    "channel": "ignition channel",
    "volts": "bus voltage",
}
TAKEN: Final = "Taken from the log"
"""How the note begins that says which column is which."""
WIDEST: Final = 48
"""Letters of a cell that is read as a figure."""
CHUNK: Final = 1 << 16

_SPEED = r"n|n1|n2|n3|nh|nl|ng|nc|rpm|speed|(?:shaft|core|engine|rotor|gas generator|gg|hp|lp) (?:speed|rpm)"
_HOT = (
    r"egt|itt|tgt|tit|mgt|tot|ett|t45|t4 5|t49|t5|t6|(?:exhaust|turbine|jet pipe)(?: gas)?(?: outlet| inlet)? temp\w*"
)
_IGNITION = r"ign|ignition|igniter|igniters|exciter"
_CHANNEL = r"ch|chan|channel|sel|select|selected|selection|lane|no|number|id|which|system"
_VOLTS = r"volts|voltage|vdc|v dc|dc v|dc bus|bus|dc volts|ac volts|vac|ac bus"
_TELLING: Final[Mapping[str, re.Pattern[str]]] = {
    "time": re.compile(
        r"(?:.* )?(?:time|timestamp|clock|utc|gmt|elapsed|datetime|seconds|secs)"
        r"(?: (?:s|sec|utc|gmt|of day|stamp|ms))?|t"
    ),
    "speed": re.compile(rf"(?:.* )?(?:{_SPEED})(?: (?:speed|rpm|pct|percent|actual|act|ind\w*))?"),
    "temperature": re.compile(
        rf"(?:.* )?(?:{_HOT}|exhaust temp\w*)(?: (?:ind\w*|actual|act|temp\w*|avg|c|degc|deg c))?"
    ),
    "fuel": re.compile(r"(?:.* )?(?:ff|wf|fuel flow|fuelflow|fflow|flow)(?: (?:rate|actual|act|ind\w*|kgh|pph))?|fuel"),
    "ignition": re.compile(
        rf"(?:.* )?(?:{_IGNITION})(?: [a-d1-4lr])?"
        r"(?: (?:cmd|command|commanded|on|state|status|active))?(?: [a-d1-4lr])?"
    ),
    "channel": re.compile(rf"(?:.* )?(?:{_IGNITION}) (?:{_CHANNEL})|channel|ch|igniter (?:used|selected)"),
    "volts": re.compile(rf"(?:.* )?(?:{_VOLTS})(?: (?:{_VOLTS}|volt))*"),
}
_NO_SPEED: Final = re.compile(r".*\b(?:air|ground|wind|fan|prop\w*|vertical|true|target|ref\w*|limit)\b.*")
_UNITS: Final[Mapping[str, str]] = {
    spelt.casefold(): unit
    for unit, spellings in {
        "s": "s sec secs second seconds",
        "ms": "ms msec millisecond milliseconds",
        "µs": "µs us μs",
        "min": "min minutes",
        "h": "h hr hrs",
        "%": "% pct percent %rpm %n",
        "rpm": "rpm 1/min r/min min-1",
        "°C": "°C C degC deg_C ºC celsius",
        "°F": "°F F degF deg_F ºF fahrenheit",
        "K": "K kelvin degK",
        "kg/h": "kg/h kgh kg/hr kgph",
        "lb/h": "lb/h pph lb/hr lbs/hr lbs/h lbh",
        "l/h": "l/h lph l/hr",
        "gal/h": "gal/h gph gal/hr",
        "V": "V Vdc VDC Vac volt volts",
    }.items()
    for spelt in spellings.split()
}
_NO_UNIT = frozenset(("", "-", "--", "discrete", "bool", "text", "hh:mm:ss", "hh:mm:ss.sss", "0/1", "on/off", "none"))
_ODD: Final = {
    "°C": (-100.0, 2500.0),
    "°F": (-148.0, 4532.0),
    "K": (173.0, 2773.0),
    "%": (-5.0, 200.0),
    "V": (-10.0, 1000.0),
}
"""What can be meant at most in a unit; other figures are a recorder's way to say that it has none."""
_LARGEST_MEANT: Final = 1e6
_FIGURE = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_CLOCK = re.compile(r"(?:(.*?)[T ]\s*)?(\d{1,2}):(\d{2})(?::(\d{2}))?(?:[.,:](\d+))?\s*(?:Z|UTC|[+-]\d{2}:?\d{2})?")


@dataclass(frozen=True)
class Column:
    """A column that is used. ``role``: one of ROLES; ``at``: its place, from nought; ``unit``: "" for none."""

    role: str
    name: str
    at: int
    unit: str = ""


@dataclass(frozen=True)
class Log:
    """What was read. ``time_s``: seconds from the first row, rising. ``values``: role → figures, NaN where none stood.

    ``said``: role (ignition, channel) → what stood in each row, as numbers of ``words``. ``gaps``: (from, to) in
    seconds between rows too far apart. ``breaks``: seconds at which the clock went back. ``tick_s``: how far the time
    of a row may be off, in all. ``notes``: what was taken for what; ``warnings``: what to heed.
    """

    columns: tuple[Column, ...]
    headers: tuple[str, ...]
    time_s: Floats
    values: Mapping[str, Floats]
    said: Mapping[str, Whole]
    words: Mapping[str, tuple[str, ...]]
    step_s: float
    tick_s: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()
    breaks: tuple[float, ...] = ()
    began: str = ""
    """The first row's time as it stands there."""
    day_s: float | None = None
    """Seconds of the day at the first row, where the log tells the time of day."""
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def unit(self, role: str) -> str:
        """Return the unit of a role's column, "" where it tells none."""
        return next((c.unit for c in self.columns if c.role == role), "")

    def clock(self, at_s: float) -> str:
        """Return an instant as the log would write it: the time of day, else seconds."""
        if self.day_s is None:
            return f"{at_s:.1f} s"
        tenths = round((self.day_s + at_s) * 10) % 864000
        return f"{tenths // 36000:02}:{tenths // 600 % 60:02}:{tenths // 10 % 60:02}.{tenths % 10}"


@dataclass
class _Sheet:
    """The table before its cells are read: bytes, and where the cells of each whole row begin and end."""

    data: Bytes
    begins: Whole
    """Of shape (rows, cells)."""
    ends: Whole
    lines: Whole
    headers: tuple[str, ...]
    units: tuple[str, ...]
    mark: str
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def cell(self, row: int, column: int) -> str:
        told = self.data[self.begins[row, column] : self.ends[row, column]].tobytes()
        return told.decode("utf-8", errors="replace").strip()


def header(path: str) -> tuple[str, ...]:
    """Return the names of a log's columns. Raises Unfit."""
    data, _ = _bytes(path, 1 << 18)
    return _top(data)[0]


def read_file(path: str, columns: str = "") -> Log:
    """Read a log. ``columns``: which is which, as ``time=Time, speed=N2 [%]``; "" where names tell. Raises Unfit."""
    data, notes = _bytes(path)
    try:
        return read(data, columns, notes)
    except Unfit as error:
        if found := re.match(r"line ([\d,]+): ", str(error)):
            raise Unfit(f"{path}:{found[1].replace(',', '')}: {str(error)[found.end() :]}", error.of) from None
        raise


def read(data: bytes, columns: str = "", notes: Sequence[str] = ()) -> Log:
    """Read a log from its bytes (UTF-8). Raises Unfit, a sentence that says why and what would do."""
    sheet = _sheet(data)
    sheet.notes[:0] = notes
    chosen = _told(columns, sheet) if columns.strip() else _suggested(sheet)
    return _read(sheet, chosen)


def spelled(log: Log) -> str:
    """Return which column is which as ``columns`` takes it, units that the log does not tell put in."""
    told: dict[str, list[str]] = {}
    for one in log.columns:
        own = _split_name(one.name)[1]
        unit = f"[{one.unit}]" if one.unit and not own and one.role in ("time", "speed", "temperature", "fuel") else ""
        name = one.name if log.headers.count(one.name) == 1 else f"column {one.at + 1}"
        told.setdefault(one.role, []).append(name + unit)
    return ", ".join(f"{role}={' + '.join(names)}" for role, names in told.items())


def unit_named(text: str) -> str:
    """Return a unit in our spelling: ``pph`` → ``lb/h``; "" where it is none that is known."""
    return _UNITS.get(text.strip().casefold(), "")


# -- bytes to a table ------------------------------------------------------------------------------


def _bytes(path: str, most: int | None = None) -> tuple[bytes, list[str]]:
    file = Path(os.path.expanduser(path))
    try:
        if file.is_dir():
            raise Unfit(f"{path} is a folder, not a log", "log")
        if not file.exists():
            raise Unfit(f"{path}: there is no such file", "log")
        if not file.is_file():
            raise Unfit(f"{path} is not a plain file, but a pipe, a socket or a device", "log")
        if file.stat().st_size > LARGEST:
            raise Unfit(f"{path} is larger than {LARGEST // 1_000_000} MB; cut the start out of it", "log")
        with file.open("rb") as stream:
            data = stream.read() if most is None else stream.read(most)
    except Unfit:
        raise
    except (OSError, ValueError) as error:
        raise Unfit(f"{path} could not be read: {getattr(error, 'strerror', None) or error}", "log") from None
    notes = []
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise Unfit(f"{path} is a workbook, not a table of text; save its sheet as CSV", "log")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data[: len(data) // 2 * 2].decode("utf-16", errors="replace").encode()
        notes.append("Read as UTF-16.")
    data = data.removeprefix(b"\xef\xbb\xbf")
    if data.endswith(b"\0"):
        # A recorder that lost its supply leaves a file filled up with nothing.
        whole = len(data)
        data = data.rstrip(b"\0")
        notes.append(f"The last {_count(whole - len(data), 'byte')} of the file hold nothing, and are left out.")
    if b"\0" in data[:4096]:
        raise Unfit(f"{path} holds no text but a form of its own; have the recorder's software write it as CSV", "log")
    try:
        data[: 1 << 16].decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(data[: 1 << 16]) - 4:
            data = data.decode("latin-1").encode()
            notes.append("It is no UTF-8; its letters are read as Latin-1.")
    if b"\r" in data[: 1 << 16]:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data, notes


def _top(data: bytes) -> tuple[tuple[str, ...], tuple[str, ...], int, str, bool]:
    """Return headers, units, the line the figures begin at (from nought), the mark between cells, whether quoted."""
    if not data.strip():
        raise Unfit("the log is empty", "log")
    lines = data[: 1 << 18].decode("utf-8", errors="replace").split("\n")
    told = re.fullmatch(r'"?sep=(.)"?', lines[0].strip(), re.IGNORECASE)
    filled = [(i, line) for i, line in enumerate(lines) if line.strip() and not (told and i == 0)][:HEADER_WITHIN]
    marks = (told[1],) if told else (";", "\t", ",", "|")
    quoted = b'"' in data

    def cells(line: str, mark: str) -> list[str]:
        try:
            return [c.strip() for c in next(csv.reader([line], delimiter=mark))]
        except (csv.Error, StopIteration):
            return [line]

    best: tuple[int, int, str] | None = None
    for mark in marks:
        split = [cells(line, mark) for _, line in filled]
        for k, row in enumerate(split):
            after = split[k + 1 : k + 3]
            if len(row) < 2 or not _figures(row) or any(len(a) != len(row) for a in after):
                continue
            if best is None or len(row) > best[1]:
                best = (k, len(row), mark)
            break
    if best is None:
        raise Unfit(
            "no table is found in the log: rows of figures with a comma, a semicolon, a tab or a bar between them, "
            "under a header that names the columns",
            "log",
        )
    k, width, mark = best
    above = [cells(line, mark) for _, line in filled[:k]]
    names: list[str] = []
    units = [""] * width
    # The last rows above the figures that are as wide are the header and, where it is one, the row of units.
    close = [row for row in above[-2:] if len(row) == width]
    if close:
        names = close[-1]
        if len(close) == 2 and _is_units(close[-1]):
            names, units = close
    if not any(names):
        names = [f"column {i + 1}" for i in range(width)]
    return tuple(names), tuple(_UNITS.get(u.strip("[]() ").casefold(), "") for u in units), filled[k][0], mark, quoted


def _figures(row: Sequence[str]) -> bool:
    filled = [c for c in row if c]
    like = [c for c in filled if _FIGURE.fullmatch(c) or _CLOCK.fullmatch(c)]
    return len(like) >= 2 and 2 * len(like) >= len(filled)


def _is_units(row: Sequence[str]) -> bool:
    bare = [c.strip("[]() ").casefold() for c in row]
    return sum(b in _UNITS or b in _NO_UNIT for b in bare) > len(bare) / 2 and any(b in _UNITS for b in bare)


def _sheet(data: bytes) -> _Sheet:
    import numpy as np

    headers, units, first, mark, quoted = _top(data)
    warnings: list[str] = []
    if quoted or len(mark.encode()) > 1:
        # Quoted cells may hold the mark itself: the reader of the language does it, slower.
        text = data.decode("utf-8", errors="replace")
        rows = csv.reader(text.split("\n"), delimiter=mark)
        told: list[str] = []
        line_of: list[int] = []
        try:
            for row in rows:
                begun = line_of[-1] if line_of else 0
                if rows.line_num - begun > LONGEST_CELL:
                    raise Unfit(
                        f"line {begun + 1:,}: a quotation mark opens there and is not closed within "
                        f"{LONGEST_CELL} lines, so what follows cannot be told apart; mend that line",
                        "log",
                    )
                # Lines that a cell runs over are kept, empty, so that those after it keep their numbers.
                told += [""] * (rows.line_num - begun - 1)
                told.append("\x1f".join(c.replace("\n", " ").strip() for c in row))
                line_of.append(rows.line_num)
        except csv.Error as error:
            raise Unfit(f"line {rows.line_num:,}: the log is no table: {error}", "log") from None
        data = "\n".join(told).encode()
        between = 0x1F
    else:
        between = ord(mark)
    if not data.endswith(b"\n"):
        data += b"\n"
    letters = np.frombuffer(data, dtype=np.uint8)
    stops = np.flatnonzero((letters == between) | (letters == 10))
    is_line = letters[stops] == 10
    line_ends = np.flatnonzero(is_line)
    cells = np.diff(line_ends, prepend=-1)
    begin_of_line = np.concatenate(([0], stops[line_ends[:-1]] + 1))
    empty = stops[line_ends] == begin_of_line
    number = np.arange(line_ends.size)
    width = len(headers)
    sound = (cells == width) & (number >= first) & ~empty
    odd = (number >= first) & ~sound & ~empty
    if odd.any():
        where = np.flatnonzero(odd) + 1
        more = bool((cells[odd] > width).any())
        warnings.append(
            f"{_count(where.size, 'row')} not read, with {'more or fewer' if more else 'fewer'} cells than the header: "
            f"{_lines(where)}."
        )
    kept = np.flatnonzero(sound)
    if kept.size < LEAST_ROWS:
        raise Unfit(
            f"{_count(int(kept.size), 'row')} of figures {'is' if kept.size == 1 else 'are'} no record of a start"
            + (f"; {_count(int(odd.sum()), 'row')} had other than {width} cells" if odd.any() else ""),
            "log",
        )
    ends = stops[(line_ends[kept] - width + 1)[:, None] + np.arange(width)]
    begins = np.empty_like(ends)
    begins[:, 1:] = ends[:, :-1] + 1
    begins[:, 0] = begin_of_line[kept]
    return _Sheet(letters, begins, ends, kept + 1, headers, units, mark, [], warnings)


# -- which column is which -------------------------------------------------------------------------


def _split_name(name: str) -> tuple[str, str]:
    """Return a column's name without its unit, and the unit, "" where it tells none that is known."""
    found = re.fullmatch(r"(.*?)[\s_]*[\[(]([^\])]*)[\])]\s*", name) or re.fullmatch(r"(.*?)(?:\s+|,\s*)(\S+)", name)
    if found and found[2].casefold() in _UNITS and found[1].strip():
        return found[1].strip(), _UNITS[found[2].casefold()]
    return name.strip(), ""


def _plain(name: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", name.casefold()).split())


def _column(sheet: _Sheet, role: str, at: int, unit: str = "") -> Column:
    own = _split_name(sheet.headers[at])[1] or sheet.units[at]
    return Column(role, sheet.headers[at], at, unit or own)


def _candidates(sheet: _Sheet, role: str) -> list[int]:
    found = []
    for i, told in enumerate(sheet.headers):
        bare = _plain(_split_name(told)[0])
        # EGT 1, N2 ENG 2: of several engines, lanes or probes.
        short = bare if role in ("ignition", "channel") else re.sub(r" (?:(?:eng|engine|lane) ?)?[a-d1-4lr]$", "", bare)
        telling = any(_TELLING[role].fullmatch(name) for name in (bare, short))
        if not telling or (role == "speed" and _NO_SPEED.fullmatch(bare)):
            continue
        if role == "ignition" and _TELLING["channel"].fullmatch(bare):
            continue
        found.append(i)
    return found


def _suggested(sheet: _Sheet) -> tuple[Column, ...]:
    """Return the columns by their names. Raises Unfit where a name may be two, or one that is needed is not there."""
    found: dict[str, list[int]] = {role: _candidates(sheet, role) for role in ROLES}
    doubtful = [r for r in ROLES if len(found[r]) > 1 and not (r == "ignition" and _one_a_channel(sheet, found[r]))]
    missing = [role for role in NEEDED if not found[role]]
    if doubtful or missing:
        said = [f"{SAYS[r]} may be {' or '.join(_called(sheet, i, both=True) for i in found[r])}" for r in doubtful]
        if missing:
            said.append(f"no column is named like {' or '.join(SAYS[r] for r in missing)}")
        sample = ", ".join(f"{r}={_sample(sheet, r, found[r])}" for r in ROLES if found[r] or r in NEEDED)
        raise Unfit(
            f'which column is which: {"; ".join(said)}. Tell it as columns, such as "{sample}". The log has: '
            f"{', '.join(h for h in sheet.headers if h)}",
            "columns",
        )
    return tuple(_column(sheet, role, i) for role in ROLES for i in found[role])


def _called(sheet: _Sheet, at: int, both: bool = False) -> str:
    """Return what a column is called by: its name, its place where another has that name too."""
    name = sheet.headers[at]
    if sheet.headers.count(name) == 1:
        return name
    return f"{name} (column {at + 1})" if both else f"column {at + 1}"


def _sample(sheet: _Sheet, role: str, at: Sequence[int]) -> str:
    names = [_called(sheet, i) for i in at]
    whole = role == "ignition" and len(names) > 1 and _one_a_channel(sheet, at)
    return " + ".join(names) if whole else names[0] if names else "..."


def _one_a_channel(sheet: _Sheet, at: Sequence[int]) -> bool:
    """Say whether columns are the commands of one channel each: their names differ in one letter or figure."""
    return len(set(_own_parts([sheet.headers[i] for i in at]))) == len(at) and all(
        re.fullmatch(r"[a-d1-4lr]", part) for part in _own_parts([sheet.headers[i] for i in at])
    )


def _own_parts(names: Sequence[str]) -> list[str]:
    """Return what each name has and not all of them have."""
    split = [_plain(n).split() for n in names]
    shared = set(split[0]).intersection(*split[1:]) if split else set()
    return [
        " ".join(w for w in words if w not in shared) or _plain(name) for words, name in zip(split, names, strict=True)
    ]


def _told(text: str, sheet: _Sheet) -> tuple[Column, ...]:
    roles = "|".join(ROLES)
    parts = [p.strip(" ,;") for p in re.split(rf"[,;]\s*(?=(?:{roles})\s*=)", text, flags=re.IGNORECASE)]
    found: dict[str, list[Column]] = {}
    for part in parts:
        if not part:
            continue
        role, mark, name = (p.strip() for p in part.partition("="))
        role = role.casefold()
        if not mark or role not in ROLES or not name:
            raise Unfit(
                f"columns: {part!r} does not say which column is which; it takes {', '.join(ROLES)}, "
                f'such as "time={sheet.headers[0]}, speed=..."',
                "columns",
            )
        if role in found:
            raise Unfit(f"columns: {role} is told twice", "columns")
        names = _several(name, sheet) if role == "ignition" else [name]
        found[role] = [_named(sheet, role, one) for one in names]
    for role in NEEDED:
        if role not in found:
            raise Unfit(
                f"columns: {role} ({SAYS[role]}) is not told, and without it nothing can be said of a start", "columns"
            )
    taken: dict[int, str] = {}
    for column in (c for cs in found.values() for c in cs):
        if column.at in taken and {column.role, taken[column.at]} != {"ignition", "channel"}:
            raise Unfit(f"columns: {column.name} is told for both {taken[column.at]} and {column.role}", "columns")
        taken[column.at] = column.role
    return tuple(c for role in ROLES for c in found.get(role, ()))


def _several(name: str, sheet: _Sheet) -> list[str]:
    whole = {_plain(h) for h in sheet.headers}
    return [name] if _plain(name) in whole or "+" not in name else [n.strip() for n in name.split("+") if n.strip()]


def _named(sheet: _Sheet, role: str, name: str) -> Column:
    unit = ""
    exact = [i for i, h in enumerate(sheet.headers) if h == name]
    if not exact:
        exact = [i for i, h in enumerate(sheet.headers) if h.casefold() == name.casefold()]
    if not exact:
        bare, unit = _split_name(name)
        exact = [i for i, h in enumerate(sheet.headers) if h.casefold() == bare.casefold()] or [
            i for i, h in enumerate(sheet.headers) if _split_name(h)[0].casefold() == bare.casefold()
        ]
    if not exact and (place := re.fullmatch(r"column (\d{1,4})(?:\s*\[([^\]]*)\])?", name.casefold())):
        exact = [int(place[1]) - 1] if 0 < int(place[1]) <= len(sheet.headers) else []
        unit = unit_named(place[2] or "")
    if not exact:
        raise Unfit(
            f"columns: the log has no column {name!r}; it has {', '.join(h for h in sheet.headers if h)}", "columns"
        )
    if len(exact) > 1:
        places = " and ".join(str(i + 1) for i in exact)
        raise Unfit(
            f"columns: {name!r} stands over columns {places}; tell it by its place, as {role}=column {exact[0] + 1}",
            "columns",
        )
    own = _column(sheet, role, exact[0])
    if unit and own.unit and unit != own.unit:
        raise Unfit(f"columns: {role} is told in {unit}, and the log says {own.unit} for {own.name}", "columns")
    return _column(sheet, role, exact[0], unit)


# -- cells to figures ------------------------------------------------------------------------------


def _read(sheet: _Sheet, columns: tuple[Column, ...]) -> Log:
    import numpy as np

    notes, warnings = sheet.notes, sheet.warnings
    clock = next(c for c in columns if c.role == "time")
    raw, day, unit, said = _times(sheet, clock)
    columns = tuple(Column(c.role, c.name, c.at, unit) if c is clock else c for c in columns)
    kept = np.isfinite(raw)
    if not kept.all():
        where = sheet.lines[~kept]
        warnings.append(f"{_count(where.size, 'row')} without a time that can be read, left out: {_lines(where)}.")
    if int(kept.sum()) < LEAST_ROWS:
        raise Unfit(f"{_count(int(kept.sum()), 'row')} with a time are no record of a start", "log")
    rows = np.flatnonzero(kept)
    raw = raw[rows]
    first_row = int(rows[0])
    time_s, breaks, back = _straight(raw, sheet.lines[rows])
    warnings += back
    time_s, keep, tick_s, repeated = _spread_out(time_s, sheet.lines[rows])
    warnings += repeated
    rows, time_s = rows[keep], time_s[keep]
    if rows.size < LEAST_ROWS:
        raise Unfit(f"the log has {rows.size} different times; that is no record of a start", "log")
    steps = np.diff(time_s)
    step = float(np.median(steps))
    if time_s[-1] < SHORTEST_S:
        raise Unfit(
            f"by {clock.name} the whole log lasts {time_s[-1]:.2g} s, too short for a start. Where its times are in "
            + (
                f"another unit than {clock.unit}, put that right in the log's header"
                if _column(sheet, "time", clock.at).unit
                else f'another unit, type it behind the name in columns, as "time={clock.name}[min]"'
            ),
            "columns",
        )
    wide = np.flatnonzero(steps > max(4 * step, step + 1.0))
    gaps = tuple((float(time_s[i]), float(time_s[i + 1])) for i in wide)
    if gaps:
        largest = sorted(gaps, key=lambda g: g[0] - g[1])[:LINES_NAMED]
        told = ", ".join(f"{a:.1f} to {b:.1f} s" for a, b in sorted(largest))
        warnings.append(
            f"{_count(len(gaps), 'gap')} in the log{', the longest' if len(gaps) > LINES_NAMED else ''}: {told}"
            f"{'; so long a gap may be the clock that jumped' if largest[0][1] - largest[0][0] > CLOCK_S else ''}."
        )
    values: dict[str, Any] = {}
    words: dict[str, tuple[str, ...]] = {}
    heard: dict[str, Any] = {}
    for column in columns:
        if column.role in ("speed", "temperature", "fuel", "volts"):
            values[column.role] = _figures_of(sheet, column, rows, warnings)
    _no_thousands(sheet, columns, rows)
    for role in ("ignition", "channel"):
        if several := [c for c in columns if c.role == role]:
            heard[role], words[role] = _words(sheet, several, rows)
    taken = "; ".join(
        f"{SAYS[r]} from {' and '.join(c.name for c in columns if c.role == r)}"
        + (f" in {u}" if (u := next(c.unit for c in columns if c.role == r)) else "")
        for r in ROLES
        if any(c.role == r for c in columns)
    )
    notes.append(f"{TAKEN}, {rows.size:,} rows: {taken}.")
    if said:
        notes.append(said)
    return Log(
        columns,
        sheet.headers,
        time_s,
        values,
        heard,
        words,
        step,
        tick_s,
        gaps,
        tuple(breaks),
        sheet.cell(first_row, clock.at),
        float(day) if day is not None else None,
        tuple(notes),
        tuple(warnings),
    )


def _figures_of(sheet: _Sheet, column: Column, rows: Whole, warnings: list[str]) -> Floats:
    import numpy as np

    figures = _numbers(sheet.data, sheet.begins[rows, column.at], sheet.ends[rows, column.at])
    low, high = _ODD.get(column.unit, (-_LARGEST_MEANT, _LARGEST_MEANT))
    beyond = np.isfinite(figures) & ((figures < low) | (figures > high))
    kinds = np.unique(figures[beyond])
    if kinds.size > MANY_BEYOND and beyond.sum() > 0.02 * np.isfinite(figures).sum():
        # A recorder has one or two ways to say that it has no figure; so many are another quantity or unit.
        at = int(np.flatnonzero(beyond)[0])
        raise Unfit(
            f"{column.name} is taken for {SAYS[column.role]}{f' in {column.unit}' if column.unit else ''} and holds "
            f"{_count(int(beyond.sum()), 'figure')} that cannot be, such as {sheet.cell(int(rows[at]), column.at)} in "
            f"line {sheet.lines[rows[at]]:,}: another column is the {SAYS[column.role]}, or its unit is another",
            "columns",
        )
    figures[beyond] = np.nan
    missing = ~np.isfinite(figures)
    if missing.all():
        some = rows[:: max(1, rows.size // 50)]
        seen = sorted({sheet.cell(int(r), column.at)[:WIDEST] or "nothing" for r in some})[:3]
        raise Unfit(
            f"{column.name} is told for {SAYS[column.role]} and holds no figure; there stands {', '.join(seen)}",
            "columns",
        )
    blank = sheet.begins[rows, column.at] == sheet.ends[rows, column.at]
    told = missing & ~blank
    if told.any():
        stood = sorted({sheet.cell(int(r), column.at)[:WIDEST] for r in rows[told][:200]})[:3]
        warnings.append(
            f"{column.name}: {_count(int(told.sum()), 'cell')} with no figure that can be meant "
            f"({', '.join(repr(s) for s in stood)}), left out: {_lines(sheet.lines[rows[told]])}."
        )
    # A column that is written every so many rows is mostly empty, and that is no fault.
    if 0 < float(blank.mean()) < 0.3:
        warnings.append(f"{column.name}: {_count(int(blank.sum()), 'cell')} empty.")
    return figures


def _no_thousands(sheet: _Sheet, columns: Sequence[Column], rows: Whole) -> None:
    """Refuse commas that may part thousands as well as decimals, unless another figure shows which it is."""
    if sheet.mark == ",":
        return
    doubtful = ""
    for column in columns:
        if column.role not in ("speed", "temperature", "fuel", "volts"):
            continue
        for row in rows[:: max(1, rows.size // 400)]:
            told = sheet.cell(int(row), column.at)
            if "," not in told:
                continue
            if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", told):
                doubtful = doubtful or f"{column.name}: {told}"
            elif re.fullmatch(r"[+-]?\d*,\d*", told):
                return
    if doubtful:
        raise Unfit(
            f"{doubtful} may be {doubtful.split(': ')[1].replace(',', '')} or "
            f"{doubtful.split(': ')[1].replace(',', '.')}; write the log with a decimal point",
            "log",
        )


def _numbers(data: Bytes, begins: Whole, ends: Whole) -> Floats:
    """Return the figures of cells, NaN where a cell holds none."""
    import numpy as np

    found = np.empty(begins.size)
    for at in range(0, begins.size, CHUNK):
        found[at : at + CHUNK] = _chunk(data, begins[at : at + CHUNK], ends[at : at + CHUNK])
    return found


def _chunk(data: Bytes, begins: Whole, ends: Whole) -> Floats:
    import numpy as np

    begins, ends = _trimmed(data, begins, ends)
    sizes = ends - begins
    widest = int(min(sizes.max(initial=0), WIDEST))
    whole = np.zeros(begins.size, dtype=np.int64)
    decimals = np.zeros(begins.size, dtype=np.int64)
    digits = np.zeros(begins.size, dtype=np.int64)
    pointed = np.zeros(begins.size, dtype=bool)
    minus = np.zeros(begins.size, dtype=bool)
    sound = (sizes > 0) & (sizes <= WIDEST)
    last = data.size - 1
    for k in range(widest):
        here = sizes > k
        letter = data[np.minimum(begins + k, last)]
        digit = here & (letter >= 48) & (letter <= 57)
        whole = np.where(digit & (digits < 18), whole * 10 + (letter.astype(np.int64) - 48), whole)
        digits += digit
        decimals += digit & pointed
        point = here & ((letter == 46) | (letter == 44)) & ~pointed
        pointed |= point
        sign = here & ((letter == 45) | (letter == 43)) if k == 0 else np.zeros_like(here)
        minus |= sign & (letter == 45)
        sound &= ~here | digit | point | sign
    sound &= (digits > 0) & (digits <= 17)
    found = np.where(sound, np.where(minus, -1.0, 1.0) * whole / 10.0 ** np.minimum(decimals, 22), np.nan)
    for i in np.flatnonzero(~sound & (digits > 0)):
        if sizes[i] > WIDEST:
            continue
        told = data[begins[i] : ends[i]].tobytes().decode("utf-8", errors="replace").replace("\u2212", "-")
        if _FIGURE.fullmatch(told):
            found[i] = float(told.replace(",", "."))
    found[~np.isfinite(found)] = np.nan
    return found


def _trimmed(data: Bytes, begins: Whole, ends: Whole) -> tuple[Whole, Whole]:
    import numpy as np

    begins, ends = begins.copy(), ends.copy()
    last = data.size - 1
    for _ in range(WIDEST):
        space = (begins < ends) & (data[np.minimum(begins, last)] <= 32)
        if not space.any():
            break
        begins += space
    for _ in range(WIDEST):
        space = (begins < ends) & (data[np.maximum(ends - 1, 0)] <= 32)
        if not space.any():
            break
        ends -= space
    return begins, ends


def _words(sheet: _Sheet, columns: Sequence[Column], rows: Whole) -> tuple[Whole, tuple[str, ...]]:
    """Return what stands in each row as numbers of words. Several columns, one a channel: the parts of those on."""
    import numpy as np

    read = [_texts(sheet, c.at, rows) for c in columns]
    if len(columns) == 1:
        return read[0]
    parts = _own_parts([c.name for c in columns])
    mask = np.zeros(rows.size, dtype=np.int64)
    for bit, (codes, words) in enumerate(read):
        on = np.array([is_on(w) is not False for w in words])
        mask += on[codes].astype(np.int64) << bit
    names = tuple(
        "+".join(p.upper() for b, p in enumerate(parts) if m >> b & 1) or "off" for m in range(1 << len(parts))
    )
    return mask, names


def is_on(word: str) -> bool | None:
    """Say whether a word of an ignition column is a command; None: it says nothing."""
    told = word.strip().casefold()
    if re.fullmatch(r"[+-]?0*(?:[.,]0*)?", told) and any(ch == "0" for ch in told):
        return False
    if told in ("off", "no", "false", "f", "n", "not", "idle", "none", "open", "inhibit", "inhibited", "inactive", "-"):
        return False
    if told in ("", "?", "--", "---", "n/a", "na", "nan", "#", "null", "invalid", "ncd"):
        return None
    return True


def _texts(sheet: _Sheet, at: int, rows: Whole) -> tuple[Whole, tuple[str, ...]]:
    import numpy as np

    begins, ends = _trimmed(sheet.data, sheet.begins[rows, at], sheet.ends[rows, at])
    sizes = np.minimum(ends - begins, 24)
    width = max(int(sizes.max(initial=0)), 1)
    letters = np.zeros((rows.size, width), dtype=np.uint8)
    last = sheet.data.size - 1
    for k in range(width):
        letters[:, k] = np.where(sizes > k, sheet.data[np.minimum(begins + k, last)], 0)
    whole = letters.view(f"S{width}").ravel()
    # A command changes seldom: only where it does is it looked at.
    changes = np.concatenate(([0], np.flatnonzero(whole[1:] != whole[:-1]) + 1))
    words, codes = np.unique(whole[changes], return_inverse=True)
    filled = np.repeat(codes.ravel(), np.diff(np.append(changes, rows.size)))
    return filled.astype(np.int64), tuple(w.decode("utf-8", errors="replace") for w in words.tolist())


# -- the clock -------------------------------------------------------------------------------------

_IN_SECONDS: Final = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "min": 60.0, "h": 3600.0}


def _times(sheet: _Sheet, column: Column) -> tuple[Floats, float | None, str, str]:
    """Return seconds of every row, the time of day in seconds of the first, the unit, and what was understood."""
    import numpy as np

    sample = next((c for r in range(min(200, sheet.lines.size)) if (c := sheet.cell(r, column.at))), "")
    if found := _CLOCK.fullmatch(sample):
        if found[4] is None and found[5] is None:
            raise Unfit(
                f"{column.name}: {sample!r} may be hours and minutes or minutes and seconds; "
                "a time with seconds is needed",
                "columns",
            )
        seconds = _clock_times(sheet, column, bool(found[1]), 3 if found[4] is not None else 2)
        first = seconds[np.isfinite(seconds)][:1]
        if found[4] is None:
            return seconds, None, "", f"{column.name} is read as minutes and seconds."
        return seconds, float(first[0] % 86400) if first.size else None, "", f"{column.name} is read as a clock."
    figures = _numbers(sheet.data, sheet.begins[:, column.at], sheet.ends[:, column.at])
    finite = figures[np.isfinite(figures)]
    if finite.size < LEAST_ROWS:
        if re.fullmatch(r".*\d\s*[ap]\.?m\.?", sample, re.IGNORECASE):
            raise Unfit(
                f"{column.name}: {sample!r} is a clock of twelve hours; write the log with one of 24", "columns"
            )
        raise Unfit(f"{column.name} is taken for time and holds no times; there stands {sample[:WIDEST]!r}", "columns")
    steps = np.diff(finite)
    rising = steps[steps > 0]
    step = float(np.median(rising)) if rising.size else 0.0
    size = float(np.median(np.abs(finite)))
    if step <= 0:
        if (steps < 0).any():
            raise Unfit(
                f"{column.name} goes down from row to row: the newest stands first. Put its rows in order", "log"
            )
        raise Unfit(f"{column.name} is taken for time and does not go on", "columns")
    unit = column.unit if column.unit in _IN_SECONDS else ""
    for least, factor, name in ((1e17, 1e-9, "ns"), (1e14, 1e-6, "µs"), (1e11, 1e-3, "ms"), (1e9, 1.0, "s")):
        if size >= least and (not unit or unit == name):
            seconds = (figures - finite[0]) * factor + (finite[0] * factor) % 86400
            day = float((finite[0] * factor) % 86400)
            return seconds, day, name, f"{column.name} is read as {name} since 1970, UTC."
    if not unit and 20000 < size < 80000 and step < 0.001:
        return figures * 86400, float(finite[0] % 1 * 86400), "", f"{column.name} is read as a spreadsheet's days."
    if not unit:
        if step > 5:
            raise Unfit(
                f"{column.name} goes on by {step:g} a row and tells no unit: type it behind the name in columns, "
                f"as time={column.name}[ms] or time={column.name}[s]",
                "columns",
            )
        return figures, None, "s", f"{column.name} tells no unit; it goes on by {step:g} a row and is read as seconds."
    return figures * _IN_SECONDS[unit], None, unit, ""


def _clock_times(sheet: _Sheet, column: Column, dated: bool, parts: int) -> Floats:
    """Return seconds, on past midnight, of cells such as 09:12:03.250 or 2026-11-27T09:12:03Z; NaN where not."""
    import numpy as np

    begins, ends = _trimmed(sheet.data, sheet.begins[:, column.at], sheet.ends[:, column.at])
    seconds = np.empty(begins.size)
    days = np.zeros(begins.size, dtype=np.int64)
    for at in range(0, begins.size, CHUNK):
        here = slice(at, at + CHUNK)
        seconds[here], days[here] = _clock_chunk(sheet.data, begins[here], ends[here], dated, parts)
    if dated:
        return seconds + 86400.0 * _day_numbers(days)
    known = np.flatnonzero(np.isfinite(seconds))
    # Past midnight a clock without a date goes back by nearly a day.
    back = np.diff(seconds[known]) < -43200
    on = np.zeros(known.size)
    on[1:] = np.cumsum(back)
    seconds[known] += 86400 * on
    return seconds


def _day_numbers(days: Whole) -> Floats:
    """Return a count of days for dates written as year·10⁴ + month·10², else one more at each change."""
    import numpy as np

    keys, inverse = np.unique(days, return_inverse=True)
    numbers = []
    for key in keys.tolist():
        try:
            numbers.append(date(key // 10000, key // 100 % 100, key % 100).toordinal())
        except ValueError:
            break
    if len(numbers) == len(keys):
        return np.asarray(numbers, dtype=float)[inverse.ravel()]
    return np.concatenate(([0.0], np.cumsum(days[1:] != days[:-1]).astype(float)))


def _clock_chunk(data: Bytes, begins: Whole, ends: Whole, dated: bool, parts: int) -> tuple[Floats, Whole]:
    import numpy as np

    n = begins.size
    sizes = ends - begins
    field_ = np.zeros(n, dtype=np.int64)
    done = np.zeros((n, 3))
    place = np.zeros(n, dtype=np.int64)
    tail = np.zeros(n, dtype=np.int64)
    tail_digits = np.zeros(n, dtype=np.int64)
    days = np.zeros(n, dtype=np.int64)
    in_date = np.full(n, dated)
    in_tail = np.zeros(n, dtype=bool)
    over = np.zeros(n, dtype=bool)
    sound = (sizes > 3) & (sizes <= WIDEST)
    last = data.size - 1
    for k in range(int(min(sizes.max(initial=0), WIDEST))):
        here = (sizes > k) & ~over
        letter = data[np.minimum(begins + k, last)]
        digit = here & (letter >= 48) & (letter <= 57)
        value = letter.astype(np.int64) - 48
        begun = here & in_date & ((letter == 84) | (letter == 32))
        days = np.where(begun, days * 100 + field_, days)
        part = here & in_date & ~begun & ((letter == 45) | (letter == 47) | (letter == 46))
        days = np.where(part, days * 100 + field_, days)
        colon = here & ~in_date & (letter == 58) & (place < parts - 1)
        point = here & ~in_date & ~in_tail & (place == parts - 1) & ((letter == 46) | (letter == 44) | (letter == 58))
        zone = here & ~in_date & ((letter == 90) | (letter == 43) | (letter == 45) | (letter == 85) | (letter == 32))
        zone &= place == parts - 1
        if colon.any():
            done[np.flatnonzero(colon), place[colon]] = field_[colon]
        place += colon
        field_ = np.where(colon | part | begun, 0, np.where(digit & ~in_tail, field_ * 10 + value, field_))
        tail = np.where(digit & in_tail & (tail_digits < 9), tail * 10 + value, tail)
        tail_digits += digit & in_tail & (tail_digits < 9)
        in_tail |= point
        in_date &= ~begun
        over |= zone
        sound &= ~here | digit | begun | part | colon | point | zone
    sound &= (place == parts - 1) & ~in_date
    done[np.arange(n), np.minimum(place, 2)] = field_
    seconds = done[:, 0]
    for i in range(1, parts):
        sound &= done[:, i] < 61
        seconds = seconds * 60 + done[:, i]
    return np.where(sound, seconds + tail / 10.0**tail_digits, np.nan), days


def _straight(raw: Floats, lines: Whole) -> tuple[Floats, list[float], list[str]]:
    """Return seconds from the first row on that never go back; where the clock did, and sentences on it."""
    import numpy as np

    steps = np.diff(raw)
    rising = steps[steps > 0]
    usual = float(np.median(rising)) if rising.size else 1.0
    back = np.flatnonzero(steps < 0)
    steps = np.where(steps < 0, usual, steps)
    time_s = np.concatenate(([0.0], np.cumsum(steps)))
    if not back.size:
        return raw - raw[0], [], []
    if back.size > raw.size // 20:
        if back.size > 0.9 * (raw.size - 1):
            raise Unfit("its times go down from row to row: the newest stands first. Put its rows in order", "log")
        raise Unfit(
            "its times go back again and again: it is not in the order of time, or that column is no time", "log"
        )
    told = ", ".join(f"line {lines[i + 1]:,} by {raw[i] - raw[i + 1]:,.1f} s" for i in back[:LINES_NAMED])
    said = (
        f"The clock goes back {_count(int(back.size), 'time')} ({told}). Rows are taken in the order they stand, the "
        "first one after it one step on; nothing is measured across it."
    )
    return time_s, [float(time_s[i + 1]) for i in back], [said]


def _spread_out(time_s: Floats, lines: Whole) -> tuple[Floats, NDArray[np.bool_], float, list[str]]:
    """Return times that all differ, which rows are kept, how far a time may be off, and sentences on it."""
    import numpy as np

    same = np.concatenate(([False], np.diff(time_s) <= 0))
    keep = np.ones(time_s.size, dtype=bool)
    if not same.any():
        return time_s, keep, 0.0, []
    firsts = np.flatnonzero(~same)
    runs = np.diff(np.append(firsts, time_s.size))
    if np.median(runs[1:-1] if runs.size > 4 else runs) < 2:
        where = lines[same]
        said = f"{_count(where.size, 'row')} with a time that stood already, left out: {_lines(where)}."
        return time_s, ~same, 0.0, [said]
    # The clock ticks more slowly than rows are written: those of a tick are spread over it.
    tick = float(np.median(np.diff(time_s[firsts])))
    usual = max(int(np.median(runs)), 1)
    within = np.arange(time_s.size) - np.repeat(firsts, runs)
    share = np.repeat(np.maximum(runs, usual), runs)
    # A first tick that was cut into has its rows at its end.
    if runs[0] < usual:
        within[: runs[0]] += usual - runs[0]
    spaced = time_s + tick * within / share
    said = (
        f"Its clock ticks every {tick:g} s and about {usual} rows stand in a tick; they are spread evenly over it, so "
        f"a time is good to ± {tick / 2:g} s at worst."
    )
    return spaced - spaced[0], keep, tick / usual, [said]


# -- words -----------------------------------------------------------------------------------------


def _count(number: int, of: str) -> str:
    return f"{number:,} {of}{'' if number == 1 else 's'}"


def _lines(where: Any) -> str:
    """Return line numbers in words, runs put together."""
    runs: list[tuple[int, int]] = []
    for line in where[:100_000].tolist():
        if runs and line == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], line)
        else:
            runs.append((line, line))
            if len(runs) > LINES_NAMED:
                break
    told = [f"{a:,}" if a == b else f"{a:,} to {b:,}" for a, b in runs[:LINES_NAMED]]
    more = ", and more" if len(runs) > LINES_NAMED else ""
    return (
        f"line{'' if len(told) == 1 and '–' not in told[0] and ' to ' not in told[0] else 's'} {', '.join(told)}{more}"
    )

"""A case file read whatever was done to it: what of it is whole, and where it was changed, to the byte if it shows.

A store takes in a case file only where all of it is whole. Here it is read to be judged: line by line, so that a file
may be large, and to its end, so that one break does not hide the next. What happens to files on their way, such as
other line ends or another encoding, is told apart from what somebody did to the events.
"""

from __future__ import annotations

import codecs
import io
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any, BinaryIO

from isolate.case.chain import digest, verify
from isolate.case.events import FORMAT, KINDS, ZERO, Event, EventError, canonical, from_line, parse, read_json, to_line
from isolate.kb.shown import plain as shown
from isolate.review.plain_file import opened

LARGE = 20_000_000
"""Bytes of a file above which what its events say is not kept, only their seals: it is not worked anew then."""
LONGEST = 20_000_000
"""Bytes of a line above which it is no event."""
PACE = 4_000_000
"""Bytes between two calls that say how far it has come."""
MOST_BREAKS = 100
"""Breaks that are kept, the first ones; the others are counted."""
MOST_BAD = 5_000
"""After so many lines in a row that are no whole events the rest of a file is not looked at."""
KEPT = frozenset({"opened", "closed", "handed-over", "resumed", "signed"})
"""Kinds whose bodies are kept in a large file too."""
LONGEST_TEXT = 400
"""Letters of a sentence on a line."""
MOST_MENDED = 4
"""In so many lines the one byte that was changed is looked for."""
MOST_TRIED = 400_000_000
"""Bytes that are hashed at most to find it in one line."""
_HASH = re.compile(rb'"hash":"([0-9a-f]{64})",')
_CASE = re.compile(rb'"case":"[A-Za-z0-9._-]{1,80}",')
_KEYS = frozenset({"body", "case", "hash", "kind", "prev", "seq", "time"})
_UTF16 = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}
_UNMARKED = {b'{\0"\0': "utf-16-le", b'\0{\0"': "utf-16-be"}
_PRINTABLE = bytes(range(32, 127))
_OTHER = bytes(b for b in range(256) if b not in _PRINTABLE and b != 10)


class NotATrail(ValueError):
    """A file cannot be judged as a case file: not there, empty, or something else; the message is file first."""


@dataclass(frozen=True)
class Break:
    """One place where a file is not as it was written. ``column``: byte of the line, from 1; 0: not known.

    ``seq``: the event concerned, 0 for none.
    """

    path: str
    line: int
    column: int
    seq: int
    text: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}{f':{self.column}' if self.column else ''}: {self.text}"


@dataclass(frozen=True)
class Read:
    """What a file holds. ``events``: those that can be read, as they stand in it; ``sound``: so many from the first
    one are whole, with nothing broken before them.

    ``carried``: what was done to the file on its way that leaves what the events say whole. ``newer``: that a later
    version wrote it, empty where not. ``full``: whether the events' bodies were kept. ``more``: breaks besides those
    in ``faults``, which are the first :data:`MOST_BREAKS`. ``left``: that and why the rest of it was not looked at,
    empty where all of it was.
    """

    path: str
    events: tuple[Event, ...]
    faults: tuple[Break, ...]
    sound: int
    carried: tuple[str, ...] = ()
    newer: str = ""
    full: bool = True
    more: int = 0
    left: str = ""

    @property
    def case(self) -> str:
        return shown(self.events[0].case) if self.events else ""


@dataclass(slots=True)
class _Line:
    """A line as far as it was understood. ``raw``: where it is not sound, kept for the first few."""

    number: int
    event: Event | None
    sound: bool
    text: str = ""
    column: int = 0
    raw: bytes = b""
    alien: str = ""
    """What of it this program does not know, although its seal holds."""
    cr: bool = False
    latin: bool = False
    ended: bool = True
    blank: bool = False
    made: bool = False
    """Whether its event only stands for it."""


def read(
    path: str | Path, tell: Callable[[int, int], None] | None = None, pinpoint: bool = True, shown_as: str = ""
) -> Read:
    """Read a case file whatever was done to it. ``tell(bytes so far, bytes in all)`` is called now and then.

    ``pinpoint``: look for the byte that was changed where only a seal tells that one was. Raises NotATrail.
    """
    name = shown_as or str(path)
    try:
        with opened(path) as stream:
            size = os.fstat(stream.fileno()).st_size
            return _Reader(name, size, tell, pinpoint).read(stream)
    except (OSError, ValueError) as error:
        if isinstance(error, NotATrail):
            raise
        why = (getattr(error, "strerror", None) or str(error)).lower()
        raise NotATrail(f"{name}: it could not be read: {why}.") from None


def taken(path: str | Path) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """Return the events of a case file to be taken in, and what was done to it on its way that leaves them whole.

    Whatever is whole here is taken; of the rest a store says what is wrong. Raises StoreError.
    """
    from isolate.case.store import StoreError, read_case

    try:
        return read_case(path), ()
    except StoreError as error:
        try:
            had = read(path, pinpoint=False)
        except NotATrail:
            raise error from None
        if had.faults or had.newer or not had.full or not had.carried:
            raise
        return had.events, had.carried


def read_bytes(data: bytes, name: str = "trail", pinpoint: bool = True) -> Read:
    """Read what a case file holds; as :func:`read`."""
    return _Reader(name, len(data), None, pinpoint).read(io.BytesIO(data))


class _Reader:
    def __init__(self, name: str, size: int, tell: Callable[[int, int], None] | None, pinpoint: bool) -> None:
        self.name, self.size, self.tell, self.pinpoint = name, size, tell, pinpoint
        self.full = size <= LARGE
        self.carried: list[str] = []
        self.lines: list[_Line] = []
        self.bad = 0
        self.left = ""

    def read(self, stream: BinaryIO) -> Read:
        begin = stream.read(4096)
        stream.seek(0)
        if not begin.strip():
            raise NotATrail(
                f"{self.name}: the file is empty." if self.size == len(begin) else f"{self.name}: {_OTHER_FILE}"
            )
        if begin.startswith(b"SQLite format 3\0"):
            raise NotATrail(f"{self.name}: this is a store, not a case file; give it with --store.")
        in_a_row = 0
        for number, (raw, ended) in enumerate(self._split(stream, begin), 1):
            one = self._line(number, raw, ended)
            in_a_row = 0 if one.sound else in_a_row + 1
            if not one.sound:
                # What cannot be mended is not kept: a large file may be all of that.
                self.bad += 1
                one.raw = one.raw if self.bad <= MOST_MENDED else b""
            if one.sound or self.bad <= MOST_BREAKS:
                self.lines.append(one)
            if number == 1 and self.lines[0].event is None and not _like(raw):
                raise NotATrail(
                    f"{self.name}: this is no case file; it begins with {shown(raw[:40].decode('latin-1'))!r}."
                )
            if in_a_row == MOST_BAD:
                self.left = (
                    f"The {MOST_BAD:,} lines up to line {number:,} are no whole events; the rest of the file was not "
                    "looked at."
                )
                break
        self._line_ends()
        newer = self._newer()
        self._mend()
        told_of = [one for one in self.lines if one.text]
        more = max(self.bad - MOST_BREAKS, 0) + max(len(told_of) - MOST_BREAKS, 0)
        faults = [self._break(one) for one in told_of[:MOST_BREAKS]]
        had = self._had()
        events = [one.event for one in had if one.event is not None]
        told = {at for at, one in enumerate(had) if one.text}
        for fault in verify(events, sound=[one.sound for one in had]):
            if (fault.what == "changed" and fault.at in told) or had[fault.at].made:
                continue
            faults.append(Break(self.name, had[fault.at].number, 0, fault.seq, str(fault)))
        for at, event in enumerate(events):
            if (at == 0) != (event.kind == "opened") and had[at].sound:
                text = f"Event {event.seq} is '{event.kind}': a case begins with 'opened', and only there."
                if at or event.seq == 1:
                    faults.append(Break(self.name, had[at].number, 0, event.seq, text))
        faults.sort(key=lambda fault: (fault.line, fault.column, fault.seq))
        more += max(len(faults) - MOST_BREAKS, 0)
        del faults[MOST_BREAKS:]
        first = faults[0].line if faults else len(self.lines) + 1
        sound = 0
        while sound < len(had) and had[sound].number < first and events[sound].seq == sound + 1:
            sound += 1
        kept = tuple(one.event for one in had if one.event is not None and one.sound)
        return Read(self.name, kept, tuple(faults), sound, tuple(self.carried), newer, self.full, more, self.left)

    # -- lines ------------------------------------------------------------------------------------------

    def _split(self, stream: BinaryIO, begin: bytes) -> Iterator[tuple[bytes, bool]]:
        """Yield (line, whether it has its line end) as UTF-8 wherever it can be had as that."""
        coded = _UTF16.get(begin[:2]) or _UNMARKED.get(begin[:4])
        if coded is not None:
            self.carried.append("It was saved as UTF-16 on the way; a case file is UTF-8.")
            decoded = io.TextIOWrapper(stream, encoding=coded, errors="replace", newline="\n")
            for number, line in enumerate(decoded):
                line = line.removeprefix("\ufeff") if number == 0 else line
                yield line.removesuffix("\n").encode("utf-8", "replace"), line.endswith("\n")
            return
        if begin.startswith(codecs.BOM_UTF8):
            self.carried.append("A byte order mark was put in front of it on the way.")
            stream.seek(len(codecs.BOM_UTF8))
        done = said = 0
        while raw := stream.readline(LONGEST + 2):
            done += len(raw)
            rest = raw
            while not rest.endswith(b"\n") and (rest := stream.readline(LONGEST)):
                # The rest of a line that is too long to be looked at is passed over.
                done += len(rest)
                raw = raw[: LONGEST + 1] + rest[-1:]
            if self.tell is not None and done - said >= PACE:
                said = done
                self.tell(done, self.size)
            yield raw.removesuffix(b"\n"), raw.endswith(b"\n")

    def _line(self, number: int, raw: bytes, ended: bool) -> _Line:
        cr = ended and raw.endswith(b"\r")
        found = self._event(number, raw.removesuffix(b"\r") if cr else raw)
        found.cr, found.ended = cr, ended
        if not ended:
            # A whole event is whole without its line end as well, as a store takes it in.
            if found.sound and not found.text:
                self.carried.append(
                    "Its last line has no line end: that was taken off on the way, or the file was cut off just there."
                )
            elif found.text and not raw.endswith((b"}", b"\r")):
                found.text = (
                    f"the last line is cut short: {len(raw)} bytes of it are there. The file was not copied whole."
                )
                found.column = len(raw)
        return found

    def _event(self, number: int, raw: bytes) -> _Line:
        if not raw.strip():
            return _Line(number, None, False, "an empty line was put in.", 1, blank=True)
        if len(raw) > LONGEST:
            return _Line(number, None, False, f"this line is longer than {LONGEST // 1_000_000} MB: no event is.")
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            for coded in ("cp1252", "latin-1"):
                try:
                    other = self._event(number, raw.decode(coded).encode("utf-8"))
                except UnicodeDecodeError:
                    continue
                if other.sound and not other.text:
                    return replace(other, latin=True)
            return _Line(number, None, False, "from here on it is not UTF-8 text.", error.start + 1, raw)
        try:
            thing = read_json(text)
        except EventError as error:
            at = re.search(r" \(column (\d+)\)$", str(error))
            column = len(text[: int(at[1]) - 1].encode("utf-8")) + 1 if at else 0
            said = str(error).removesuffix(at[0]) if at else str(error)
            return _Line(number, None, False, f"from here on it cannot be read: {said}.", column, raw)
        return self._judged(number, raw, thing)

    def _judged(self, number: int, raw: bytes, thing: Any) -> _Line:
        alien = ""
        try:
            event = parse(thing)
        except EventError as error:
            raised = str(error)
            made = _alien(thing)
            if made is None:
                return _Line(number, None, False, f"{raised}.", 0, raw)
            event, alien = made, raised
        try:
            written, seal = canonical(thing), _seal(thing)
        except EventError as error:
            return _Line(number, None, False, f"{error}.", 0, raw)
        if written != raw:
            column = _parts(raw, written) + 1
            same = seal == event.hash
            text = "from here on it is not as it was written" + (", though it says the same." if same else ".")
            return _Line(number, event, False, text, column, raw, alien)
        if seal != event.hash:
            text = f"Event {event.seq} was changed after it was sealed: its hash is not the one of what it says."
            return _Line(number, event, False, text, 0, raw, alien)
        if not self.full and event.kind not in KEPT:
            event = replace(event, body={})
        return _Line(number, event, True, "", 0, b"", alien)

    # -- all of them --------------------------------------------------------------------------------------

    def _line_ends(self) -> None:
        ended = [one for one in self.lines if one.ended]
        with_cr = [one for one in ended if one.cr]
        if with_cr and len(with_cr) == len(ended):
            self.carried.append("Its line ends were changed on the way (CR LF for LF).")
        elif with_cr:
            odd_cr = len(with_cr) * 2 <= len(ended)
            for one in ended:
                if one.cr == odd_cr and not one.text:
                    one.text = f"this line ends in {'CR LF' if odd_cr else 'LF'}, unlike the others."
                    one.column = 0
        latin = [one.number for one in self.lines if one.latin]
        if latin:
            which = ", ".join(map(str, latin[:5])) + (" and others" if len(latin) > 5 else "")
            self.carried.append(f"It was saved as Latin-1 on the way (line{'s' if len(latin) > 1 else ''} {which}).")

    def _newer(self) -> str:
        first = self.lines[0].event
        version = first.body.get("format", 1) if first is not None else 1
        if isinstance(version, int) and version > FORMAT:
            return f"It was written by a newer version of this program (format {version}; this one knows {FORMAT})."
        for one in self.lines:
            if one.alien and not one.text:
                one.text = f"{one.alien[:120].rstrip('.')}: put in by hand, or written by a newer version."
                if one.event is not None and one.event.kind not in KINDS:
                    one.text = (
                        f"Event {one.event.seq} is of a kind that this program does not know "
                        f"({shown(one.event.kind)[:40]}): put in, or written by a newer version of it."
                    )
        return ""

    def _mend(self) -> None:
        """For lines that are not whole, find the one byte that was changed, and stand something in for the others."""
        before: Event | None = None
        for at, one in enumerate(self.lines):
            last, before = before, one.event or before
            if one.sound or one.blank:
                continue
            after = self.lines[at + 1].event if at + 1 < len(self.lines) else None
            if one.event is not None and last is not None and one.event.prev != last.hash:
                back = replace(one.event, prev=last.hash)
                if not one.alien and digest(back) == back.hash:
                    one.text = "the hash of the event before, as it stands here, was changed after it was written."
                    one.column = _parts(one.raw, to_line(back)) + 1 if one.raw else 0
                    before = one.event = back
                    continue
            if one.raw and (one.ended or one.raw.endswith((b"}", b"\r"))):
                mended = mend(one.raw, after.prev if after is not None else "", self.pinpoint)
                if mended is not None:
                    one.text, one.column = f"{mended[1]} after it was written.", mended[0]
                    before = one.event = from_line(mended[2])
                    continue
            if one.event is None:
                before = one.event = _stand_in(last, after)
                one.made = True

    def _had(self) -> list[_Line]:
        """Return the lines that hold an event; what only stands for one gives way to those that come after it."""
        found: list[_Line] = []
        following = 0
        for one in reversed(self.lines):
            if one.event is not None and not (one.made and following and one.event.seq >= following):
                found.append(one)
                following = one.event.seq
        return found[::-1]

    def _break(self, one: _Line) -> Break:
        seq = one.event.seq if one.event is not None else 0
        text = one.text if one.text.startswith("Event ") or not seq else f"Event {seq}: {one.text}"
        return Break(self.name, one.number, one.column, seq, _short(text))


def _short(text: str) -> str:
    """Return a sentence on a line as it may be shown, whatever the line holds."""
    text = shown(text)
    return text if len(text) <= LONGEST_TEXT else f"{text[: LONGEST_TEXT - 4]} ..."


def _stand_in(before: Event | None, after: Event | None) -> Event:
    """Return what stands for a line that cannot be read, so that its neighbours are not found to lack it."""
    seq = before.seq + 1 if before is not None else 1
    near = before or after
    follows = after is not None and after.seq == seq + 1
    return Event(
        near.case if near is not None else "x",
        seq,
        "noted" if seq > 1 else "opened",
        near.time if near is not None else "2000-01-01T00:00:00.000Z",
        {},
        before.hash if before is not None else ZERO,
        after.prev if after is not None and follows else ZERO,
    )


_OTHER_FILE = "this is no case file; there is nothing but blanks at its beginning."


def _like(raw: bytes) -> bool:
    """Return whether a line that cannot be read looks as if it had been an event."""
    return b'"body"' in raw or b'"hash"' in raw or b'"prev"' in raw or raw.startswith(b'{"bod')


def _alien(thing: Any) -> Event | None:
    """Return an event of a kind or with more to it than this program knows, if its seal could hold."""
    if not isinstance(thing, dict) or _KEYS - set(thing):
        return None
    texts = [thing[name] for name in ("case", "kind", "time", "prev", "hash")]
    seq, body = thing["seq"], thing["body"]
    if (
        not all(isinstance(text, str) for text in texts)
        or not isinstance(body, dict)
        or type(seq) is not int
        or seq < 1
    ):
        return None
    try:
        if _seal(thing) != thing["hash"]:
            return None
    except EventError:
        return None
    return Event(thing["case"], seq, thing["kind"], thing["time"], body, thing["prev"], thing["hash"])


def _seal(thing: dict[str, Any]) -> str:
    return sha256(canonical({name: value for name, value in thing.items() if name != "hash"})).hexdigest()


def _parts(one: bytes, other: bytes) -> int:
    """Return how many bytes two texts have in common at their beginning."""
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if one[:middle] == other[:middle] else (low, middle - 1)
    return low


def _one_byte(had: bytes, written: bytes) -> tuple[int, str] | None:
    """Return where and how one byte was changed, if that is all that is between two texts."""
    at = _parts(had, written)
    if had == written:
        return None
    if len(had) == len(written) and had[at + 1 :] == written[at + 1 :]:
        return at + 1, f"this byte was changed ({_letter(had[at])} where {_letter(written[at])} was written)"
    if len(had) == len(written) + 1 and had[at + 1 :] == written[at:]:
        return at + 1, f"this byte was put in ({_letter(had[at])})"
    if len(had) + 1 == len(written) and had[at:] == written[at + 1 :]:
        return at + 1, f"a byte was taken out before this one ({_letter(written[at])})"
    return None


def _letter(byte: int) -> str:
    return repr(chr(byte)) if 32 <= byte < 127 else f"byte {byte:02x}"


def mend(raw: bytes, prev: str = "", search: bool = True) -> tuple[int, str, bytes] | None:
    """Return (column from 1, how, the line as it was written) where one byte of a line was changed; else None.

    ``prev``: what the next event says that this one's hash is. ``search``: also try each byte, held against the seal.
    """
    for head, tail, own in _split_at_hash(raw):
        seal = sha256(head + tail).hexdigest()
        written = head + b'"hash":"' + seal.encode() + b'",' + tail
        found = _one_byte(raw, written)
        if found is not None and _is_event(written):
            return (*found, written)
        wanted = {text for text in (own, prev) if text}
        if search and len(raw) ** 2 * len(_PRINTABLE) <= MOST_TRIED:
            for sealed in _tried(head + tail, wanted):
                for hashed in wanted:
                    if sha256(sealed).hexdigest() != hashed:
                        continue
                    cut = sealed.rfind(b'"kind":"')
                    written = sealed[:cut] + b'"hash":"' + hashed.encode() + b'",' + sealed[cut:]
                    found = _one_byte(raw, written)
                    if found is not None and _is_event(written):
                        return (*found, written)
    return _respelled(raw)


def _respelled(raw: bytes) -> tuple[int, str, bytes] | None:
    """Return the one byte by which a line that says what it was sealed for is spelled otherwise."""
    try:
        thing = read_json(raw.decode("utf-8"))
        written = canonical(thing)
    except (EventError, UnicodeDecodeError):
        return None
    found = _one_byte(raw, written)
    return (*found, written) if found is not None and _is_event(written) else None


def _split_at_hash(raw: bytes) -> Iterator[tuple[bytes, bytes, str]]:
    """Yield (before the hash, after it, the hash) of a line, the likelier way to take it first."""
    members = list(_HASH.finditer(raw))
    if members:
        last = members[-1]
        yield raw[: last.start()], raw[last.end() :], last[1].decode()
    cases, kind = list(_CASE.finditer(raw)), raw.rfind(b'"kind":"')
    if cases and kind > cases[-1].end():
        yield raw[: cases[-1].end()], raw[kind:], ""


def _tried(had: bytes, wanted: set[str]) -> Iterator[bytes]:
    """Yield the texts that differ by one byte from this one and have a hash that is wanted."""
    hashes = {bytes.fromhex(text) for text in wanted}
    if not hashes:
        return
    start = sha256()
    for at in range(len(had) + 1):
        rest, after = had[at:], had[at + 1 :]
        if at < len(had):
            trial = start.copy()
            trial.update(after)
            if trial.digest() in hashes:
                yield had[:at] + after
        for letters in (_PRINTABLE, _OTHER) if len(had) ** 2 * 256 <= MOST_TRIED else (_PRINTABLE,):
            for byte in letters:
                letter = bytes((byte,))
                trial = start.copy()
                trial.update(letter + rest)
                if trial.digest() in hashes:
                    yield had[:at] + letter + rest
                if at < len(had):
                    trial = start.copy()
                    trial.update(letter + after)
                    if trial.digest() in hashes:
                        yield had[:at] + letter + after
        start.update(had[at : at + 1])


def _is_event(line: bytes) -> bool:
    try:
        event = from_line(line)
    except EventError:
        return False
    return _seal({name: getattr(event, name) for name in _KEYS}) == event.hash

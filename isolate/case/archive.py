"""A folder of knowledge as one piece of bytes, so that a store can keep the version a case was worked with.

The form is a ZIP archive of the folder's YAML files, each under its kind; the same files give the same bytes.
"""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

from isolate.case.store import StoreError

if TYPE_CHECKING:
    from isolate.kb.load import Loaded

MOST_FILES = 2000
MOST_BYTES = 20_000_000
"""Of all files together, unpacked; the shipped knowledge is under a million."""
_NAME = re.compile(r"[a-z][a-z-]*/[A-Za-z0-9][A-Za-z0-9_ .-]{0,120}\.yaml")
_DAY = (1980, 1, 1, 0, 0, 0)


class BadArchive(StoreError):
    """What was kept is no folder of knowledge; the message says why."""


def pack(folder: Path) -> bytes:
    """Return a folder of knowledge as bytes. Raises BadArchive for one too large, OSError where it cannot be read."""
    files = sorted(p for p in folder.glob("*/*.yaml") if p.is_file() and not _hidden(p))
    if len(files) > MOST_FILES:
        raise BadArchive(f"{folder}: {len(files)} files are more than a folder of knowledge has ({MOST_FILES})")
    into, total = io.BytesIO(), 0
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in files:
            name = f"{path.parent.name}/{path.name}"
            if not _NAME.fullmatch(name):
                raise BadArchive(f"{path}: a file of this name cannot be kept; use letters, digits, dots and dashes")
            data = path.read_bytes()
            total += len(data)
            if total > MOST_BYTES:
                raise BadArchive(f"{folder}: more than {MOST_BYTES // 1_000_000} MB of knowledge cannot be kept")
            entry = zipfile.ZipInfo(name, _DAY)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED, 9)
    return into.getvalue()


def unpack(data: bytes, folder: Path) -> None:
    """Write the files of an archive into a folder, which is made. Raises BadArchive, OSError.

    Nothing is written outside of the folder, whatever the archive says, and no more than the limits here.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            names = [entry.filename for entry in entries]
            if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > MOST_BYTES:
                raise BadArchive("it holds more than a folder of knowledge")
            if bad := [name for name in names if not _NAME.fullmatch(name)]:
                raise BadArchive(f"it holds {bad[0]!r}, which is no file of knowledge")
            if len({name.casefold() for name in names}) != len(names):
                raise BadArchive("it holds two files of one name")
            folder.mkdir(parents=True, exist_ok=True)
            left = MOST_BYTES
            for entry in entries:
                with archive.open(entry) as stream:
                    found = stream.read(left + 1)  # what an entry says of its size may be untrue
                left -= len(found)
                if left < 0:
                    raise BadArchive("it holds more than a folder of knowledge")
                target = folder / entry.filename
                target.parent.mkdir(exist_ok=True)
                target.write_bytes(found)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        if isinstance(error, BadArchive):
            raise
        raise BadArchive(f"it cannot be unpacked: {error}") from None


def read_back(data: bytes, digest: str) -> Loaded:
    """Return the knowledge of an archive, seen to be the one of that digest.

    Raises BadArchive where it is another, KnowledgeError where this program cannot read it.
    """
    from isolate.kb.load import load

    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "knowledge"
        unpack(data, folder)
        loaded = load(folder)
    if loaded.knowledge.digest != digest:
        raise BadArchive(f"its digest is {loaded.knowledge.digest[:12]}, not {digest[:12]}")
    return loaded


def fault_of(data: bytes, digest: str) -> str:
    """Return why an archive is not the knowledge of that digest, or cannot be read here; empty where it is."""
    from isolate.kb.read import KnowledgeError

    try:
        read_back(data, digest)
    except (BadArchive, KnowledgeError, OSError) as error:
        return " ".join(str(error).split())[:200].rstrip(".") or type(error).__name__
    return ""


def changed_since(folder: Path, moment: float) -> bool:
    """Whether a file of the folder was written at or after a moment, seconds since the epoch."""
    return any(path.stat().st_mtime >= moment for path in (folder, *folder.glob("*"), *folder.glob("*/*.yaml")))


def _hidden(path: Path) -> bool:
    return path.name.startswith(".") or path.parent.name.startswith(".")

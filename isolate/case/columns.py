"""Which column of a recorder's log is which, told once and remembered by the names of its columns.

A file ``columns.json`` beside the settings (:mod:`isolate.case.settings`): a list of ``{"headers": [...], "columns":
"time=Time, speed=N2"}``, newest last. A log is known again by its headers, in whatever order they stand. What is
remembered is a help and no record: a file that cannot be read counts as empty, and a folder that cannot be
written to is said.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from isolate.case import settings

NAME = "columns.json"
MOST = 200
"""Logs remembered; the oldest go first."""
LARGEST = 4_000_000
"""Bytes of the file at most."""


class NotKept(OSError):
    """It could not be remembered; the message is a sentence that says why."""


def place() -> Path | None:
    """Return the file that columns are remembered in; None where there is no folder for settings."""
    file = settings.place()
    # Where the settings are nowhere, nothing is remembered.
    return None if file is None or str(file) == os.devnull or file.is_dir() else file.with_name(NAME)


def recalled(headers: Sequence[str], file: Path | None = None) -> str:
    """Return which column is which of a log with these headers, as it was told before; "" where it was not."""
    wanted = _key(headers)
    for one in reversed(_read(file or place())):
        if _key(one["headers"]) == wanted:
            return str(one["columns"])
    return ""


def remember(headers: Sequence[str], columns: str, file: Path | None = None) -> Path | None:
    """Keep which column is which; what was kept for these headers is replaced. Return the file, None for no folder.

    Raises NotKept.
    """
    file = file or place()
    if file is None or not columns.strip():
        return None
    wanted = _key(headers)
    kept = [one for one in _read(file) if _key(one["headers"]) != wanted]
    kept.append({"headers": list(headers), "columns": columns})
    _write(kept[-MOST:], file)
    return file


def forget(headers: Sequence[str], file: Path | None = None) -> bool:
    """Take out what is remembered for these headers; say whether there was any. Raises NotKept."""
    file = file or place()
    kept = _read(file)
    left = [one for one in kept if _key(one["headers"]) != _key(headers)]
    if file is None or len(left) == len(kept):
        return False
    _write(left, file)
    return True


def _key(headers: Sequence[str]) -> tuple[str, ...]:
    return tuple(sorted(" ".join(h.split()).casefold() for h in headers if h.strip()))


def _read(file: Path | None) -> list[dict[str, Any]]:
    if file is None:
        return []
    try:
        if not file.is_file() or file.stat().st_size > LARGEST:
            return []
        kept = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return [
        one
        for one in (kept if isinstance(kept, list) else [])
        if isinstance(one, dict)
        and isinstance(one.get("columns"), str)
        and isinstance(one.get("headers"), list)
        and all(isinstance(h, str) for h in one["headers"])
    ]


def _write(kept: Sequence[Any], file: Path) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        if file.exists() and not file.is_file():
            raise NotKept(f"{file}: not a plain file, so nothing is remembered in it")
        number, name = tempfile.mkstemp(prefix=".columns-", suffix=".json", dir=file.parent)
        try:
            with os.fdopen(number, "w", encoding="utf-8") as stream:
                json.dump(kept, stream, ensure_ascii=False, indent=1)
                stream.write("\n")
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(name, file)
        except BaseException:
            with suppress(OSError):
                os.unlink(name)
            raise
    except NotKept:
        raise
    except OSError as error:
        raise NotKept(f"{file}: the columns could not be remembered: {error.strerror or error}") from None

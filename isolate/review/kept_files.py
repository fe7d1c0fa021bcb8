"""The files that readings came from, looked for in a folder that the reader names, by what is in them.

A trail has of a file its name, its length and its SHA-256. What a trail names is never opened; what is opened are the
plain files of the folder that whoever verifies has named.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

MOST = 20_000
"""So many files of a folder are looked at."""
LARGEST = 1 << 30
"""Bytes of a file that is still looked at; a log of a million rows has a tenth of that."""


class Files:
    """What lies in a folder and below it. ``left``: whether there was more than is looked at."""

    def __init__(self, folder: Path) -> None:
        """List the folder. Raises OSError where it is none."""
        os.listdir(folder)
        self._sizes: dict[int, list[Path]] = {}
        self._names: dict[str, list[Path]] = {}
        self._seals: dict[Path, str] = {}
        self.left = False
        count = 0
        for place, folders, names in os.walk(folder):
            folders.sort()
            for name in sorted(names):
                if count == MOST:
                    self.left = True
                    return
                count += 1
                self._note(Path(place, name))

    def _note(self, path: Path) -> None:
        with suppress(OSError):
            told = path.stat()
            # A pipe would wait for ever.
            if stat.S_ISREG(told.st_mode) and told.st_size <= LARGEST:
                self._sizes.setdefault(told.st_size, []).append(path)
                self._names.setdefault(path.name, []).append(path)

    def find(self, file: Mapping[str, Any]) -> Path | None:
        """Return where a file of a trail is, whatever it is called now; None where it is not."""
        near = [*self._sizes.get(file["bytes"], ()), *self._names.get(file["name"], ())]
        return next((path for path in near if self._seal(path) == file["sha256"]), None)

    def other(self, file: Mapping[str, Any]) -> str:
        """Return the SHA-256 of a file that has the name and something else in it; empty where there is none."""
        return next((seal for path in self._names.get(file["name"], ()) if (seal := self._seal(path))), "")

    def _seal(self, path: Path) -> str:
        if path not in self._seals:
            self._seals[path] = ""
            with suppress(OSError), open(path, "rb") as stream:
                sealed = sha256()
                while part := stream.read(1 << 20):
                    sealed.update(part)
                self._seals[path] = sealed.hexdigest()
        return self._seals[path]


def laid(found: Sequence[tuple[Mapping[str, Any], Path]], folder: Path) -> list[Path]:
    """Lay files out under the names that they had, each in a folder of its own; return where they are.

    The same file twice is one. Raises OSError, ValueError for a name that is none of a file.
    """
    places: dict[str, Path] = {}
    for file, path in found:
        name = str(file["name"])
        if not name or name in (".", "..") or "/" in name or "\\" in name or "\0" in name:
            raise ValueError(f"{name!r} is no name of a file")
        if file["sha256"] not in places:
            place = folder / str(len(places))
            place.mkdir()
            os.symlink(path.resolve(), place / name)
            places[file["sha256"]] = place / name
    return [places[file["sha256"]] for file, _ in found]

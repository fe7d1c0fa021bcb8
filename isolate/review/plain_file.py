"""A file opened to be read only where it is a plain one: whatever else is named, nothing waits for it."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO

NOT_PLAIN = "it is not a plain file, but a pipe, a socket or a device"


def opened(path: str | Path) -> BinaryIO:
    """Return a plain file, open to be read. Raises OSError: not there, no permission, a folder, not a plain file."""
    # Without waiting: to open a pipe that nobody writes to would last for ever.
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        mode = os.fstat(number).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(21, "Is a directory", str(path))
        if not stat.S_ISREG(mode):
            raise OSError(None, NOT_PLAIN, str(path))
        return os.fdopen(number, "rb")
    except BaseException:
        os.close(number)
        raise

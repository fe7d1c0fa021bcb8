"""A session in a real pseudo-terminal: pexpect runs it, pyte is the terminal and answers what a terminal is asked."""

from __future__ import annotations

import os
import re
import sys
import time
from pathlib import Path

import pexpect
import pyte

from tests.terminal.forked import Forked, Forker

ROOT = Path(__file__).parents[2]
PATIENCE = 60.0
"""Seconds until a text that does not come is given up; never waited for when it does come."""
COLOUR = re.compile(rb"\x1b\[(?:[0-9;:]*[;:])?(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:[;:][0-9;:]*)?m")


class Terminal:
    """A terminal of some size with a session in it: Python with a command, or a driver's arguments, forked by it."""

    def __init__(
        self, *command: str, columns: int = 80, rows: int = 24, by: Forker | None = None, **environment: str
    ) -> None:
        self.screen = pyte.HistoryScreen(columns, rows, history=5000, ratio=0.001)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES", "FORCE_COLOR")}
        env = {**kept, "TERM": "xterm-256color", "LC_ALL": "C.UTF-8", "PYTHONPATH": str(ROOT), **environment}
        size = (rows, columns)
        if by is None:
            self.child = pexpect.spawn(sys.executable, [*command], dimensions=size, env=env, cwd=str(ROOT))
        else:
            self.child = Forked(by, command, env, size)
        self.child.delaybeforesend = None
        self.screen.write_process_input = lambda text: self.child.send(text)
        self._shown = self._visible = ""
        self._fresh = False

    def _look(self) -> None:
        """Put into text what is on the screen, once for all that was read since."""
        if not self._fresh:
            top = ["".join(line[c].data for c in range(self.screen.columns)) for line in self.screen.history.top]
            shown = [line.rstrip() for line in self.screen.display]
            self._shown = "\n".join((*(line.rstrip() for line in top), *shown))
            self._visible = "\n".join(shown)
            self._fresh = True

    def shown(self) -> str:
        """Return what is on the screen, with what scrolled off its top."""
        self._look()
        return self._shown

    def visible(self) -> str:
        """Return what is on the screen."""
        self._look()
        return self._visible

    def _read(self) -> bool:
        """Take in what the session wrote; False once it has ended."""
        try:
            data = self.child.read_nonblocking(65536, timeout=0.1)
        except pexpect.TIMEOUT:
            return True
        except pexpect.EOF:
            return False
        self.raw += data
        self._fresh = False
        self.stream.feed(data)
        return True

    def until(self, text: str, *foot: str) -> str:
        """Wait for a text that was not there before the last :meth:`press`, with one of ``foot`` on the screen."""
        end = time.monotonic() + PATIENCE
        going = True
        while time.monotonic() < end:
            shown = self.shown()
            if text in shown[self._mark(shown) :] and any(f in self.visible() for f in foot or ("",)):
                return shown
            if not going:
                break
            going = self._read()
        raise AssertionError(f"{text!r} (with {foot!r}) did not come; the screen was:\n{self.visible()}")

    _before = ""

    def _mark(self, shown: str) -> int:
        """Return from where the text is new: what the last press found, less the block at the foot, is old."""
        common = 0
        for old, new in zip(self._before.split("\n"), shown.split("\n"), strict=False):
            if old != new:
                break
            common += len(new) + 1
        return common

    def press(self, keys: str, text: str, *foot: str) -> str:
        """Press keys and wait for a text that follows from them."""
        self._before = self.shown()
        self.child.send(keys)
        return self.until(text, *foot)

    def type(self, line: str, text: str, *foot: str) -> str:
        """Type a line with Enter and wait for a text that follows from it."""
        return self.press(f"{line}\r", text, *foot)

    def ended(self) -> int:
        """Wait for the end of the session; return its exit status."""
        end = time.monotonic() + PATIENCE
        while self._read():
            assert time.monotonic() < end, f"the session did not end; the screen was:\n{self.visible()}"
        self.child.close()
        assert self.child.signalstatus is None, self.visible()
        return int(self.child.exitstatus)

    def colours(self) -> list[bytes]:
        """Return the codes that set a colour."""
        return COLOUR.findall(self.raw)

"""Sessions forked from a process that has everything loaded: each a process of its own, with a terminal of its own.

The process that is forked is none of the tests' own: it runs nothing else and has one thread. A session is what it is
when its driver is started afresh, less the second that Python and the knowledge take to come up.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import pty
import signal
import socket
import struct
import subprocess
import sys
import termios
import traceback
from collections.abc import Callable, Sequence
from typing import Any, NoReturn, TextIO

from pexpect import fdpexpect

STREAMS = 3
"""Standard input, output and errors."""


# -- the side that forks -----------------------------------------------------------------------------


def serve(channel: int, main: Callable[[list[str]], int]) -> NoReturn:
    """Fork ``main`` for each request that comes, until nobody is there to ask any more.

    A request is a line of JSON: ``run`` (arguments, environment, whether it gets a terminal) with three descriptors,
    answered with the process id; or ``wait`` with a process id, answered with its status once it has ended.
    """
    asked = socket.socket(fileno=channel)
    while True:
        line, given = b"", []
        while not line.endswith(b"\n"):
            data, more, _, _ = socket.recv_fds(asked, 65536, STREAMS)
            if not data:
                os._exit(0)
            line, given = line + data, [*given, *more]
        request = json.loads(line)
        if request["do"] == "wait":
            answer = os.waitpid(request["pid"], 0)[1]
        else:
            answer = os.fork()
            if not answer:
                asked.close()
                _become(main, request, given)
            for number in given:
                os.close(number)
        asked.sendall(f"{answer}\n".encode())


def _become(main: Callable[[list[str]], int], request: dict[str, Any], given: Sequence[int]) -> NoReturn:
    """Be a session, as if started afresh: its own streams, environment and terminal. Ends the process."""
    status = 1
    try:
        os.setsid()
        if request["terminal"]:
            fcntl.ioctl(given[0], termios.TIOCSCTTY, 0)
        os.environ.clear()
        os.environ.update(request["environment"])
        for number, had in enumerate(given):
            os.dup2(had, number)
            os.close(had)
        sys.stdin, sys.stdout, sys.stderr = (_fresh(n, s) for n, s in enumerate((sys.stdin, sys.stdout, sys.stderr)))
        status = main(request["arguments"])
    except SystemExit as stop:
        status = int(stop.code or 0)
    except BaseException:
        traceback.print_exc()
    finally:
        with contextlib.suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)


def _fresh(number: int, had: TextIO) -> TextIO:
    """Return a stream on standard input, output or errors as Python opens it, with nothing in its buffer."""
    if number == 0:
        return open(number, encoding=had.encoding, errors=had.errors, closefd=False)
    lines = 1 if number == 2 or os.isatty(number) else -1
    return open(number, "w", lines, encoding=had.encoding, errors=had.errors, closefd=False)


# -- the side that asks ------------------------------------------------------------------------------


class Forker:
    """Has sessions forked by a driver that serves."""

    def __init__(self, driver: str, environment: dict[str, str]) -> None:
        self._ask, theirs = socket.socketpair()
        number = theirs.fileno()
        self._process = subprocess.Popen(
            [sys.executable, driver, "--serve", str(number)],
            pass_fds=[number], stdin=subprocess.DEVNULL, env=environment, start_new_session=True,
        )  # fmt: skip
        theirs.close()

    def run(self, arguments: Sequence[str], environment: dict[str, str], streams: Sequence[int], terminal: bool) -> int:
        """Return the process id of a session with these streams."""
        asked = {"do": "run", "arguments": list(arguments), "environment": environment, "terminal": terminal}
        return self._asked(asked, streams)

    def wait(self, pid: int) -> int:
        """Return the exit status of a session once it has ended; minus the signal that ended it, if one did."""
        return os.waitstatus_to_exitcode(self._asked({"do": "wait", "pid": pid}))

    def close(self) -> None:
        self._ask.close()
        self._process.wait()

    def _asked(self, request: dict[str, Any], streams: Sequence[int] = ()) -> int:
        socket.send_fds(self._ask, [f"{json.dumps(request)}\n".encode()], streams)
        answer = b""
        while not answer.endswith(b"\n"):
            data = self._ask.recv(100)
            if not data:
                raise AssertionError("what forks the sessions has ended")
            answer += data
        return int(answer)


class Forked(fdpexpect.fdspawn):  # type: ignore[misc]
    """A session in a new pseudo-terminal, to be spoken with like one that pexpect spawned."""

    def __init__(
        self, by: Forker, arguments: Sequence[str], environment: dict[str, str], dimensions: tuple[int, int]
    ) -> None:
        self._by = by
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", *dimensions, 0, 0))
        self.pid = by.run(arguments, environment, [theirs] * STREAMS, terminal=True)
        os.close(theirs)
        super().__init__(ours)
        self.terminated = False

    def kill(self, number: int) -> None:
        """Send a signal to the session, unless it has been waited for."""
        if not self.terminated:
            os.kill(self.pid, number)

    def wait(self) -> None:
        """Wait for the end of the session; its exit status or the signal that ended it is kept."""
        if not self.terminated:
            status = self._by.wait(self.pid)
            self.exitstatus, self.signalstatus = (None, -status) if status < 0 else (status, None)
            self.terminated = True

    def close(self, force: bool = False) -> None:
        """Shut the terminal, which hangs up on whoever is still there, and wait for the end of the session."""
        if self.closed:
            return
        super().close()
        if force:
            self.kill(signal.SIGKILL)
        self.wait()

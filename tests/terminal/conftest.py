"""A case opened by hand in a pseudo-terminal, which the tests of sessions go on with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.terminal.screen import Terminal

DRIVER = str(Path(__file__).parent / "driver.py")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "cases.db"


@pytest.fixture
def terminal(store: Path) -> Iterator[Callable[..., Terminal]]:
    """Return a function that starts the driver with ``new``, ``opened`` or a case in a terminal."""
    begun: list[Terminal] = []

    def start(case: str = "new", columns: int = 80, rows: int = 24, quick: bool = False, **env: str) -> Terminal:
        command = [DRIVER, *(["--quick"] if quick else []), str(store), case]
        begun.append(Terminal(*command, columns=columns, rows=rows, **env))
        return begun[-1]

    yield start
    for one in begun:
        one.child.close(force=True)

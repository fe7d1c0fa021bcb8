"""A case opened by hand in a pseudo-terminal, which the tests of sessions go on with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from isolate.case import chase as chasing
from isolate.case import think as thinking
from isolate.case.chase import BUDGET
from tests.terminal.forked import Forker
from tests.terminal.screen import ROOT, Terminal

DRIVER = str(Path(__file__).parent / "driver.py")


def think(patch: pytest.MonkeyPatch, thought: int) -> None:
    """Think ahead in this process with so many expansions; what it is worth is for tests/case/test_plan_ahead.py."""
    patch.setattr(thinking, "THOUGHT", thought)
    patch.setattr(chasing, "THOUGHT", thought)


@pytest.fixture
def brief(monkeypatch: pytest.MonkeyPatch) -> None:
    think(monkeypatch, BUDGET + 1)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "cases.db"


@pytest.fixture(scope="session")
def forker() -> Iterator[Forker]:
    """What has the driver loaded, once for all tests of a process, and forks sessions of it."""
    env = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8", "OPENBLAS_NUM_THREADS": "1"}
    one = Forker(DRIVER, env)
    yield one
    one.close()


@pytest.fixture
def terminal(store: Path, forker: Forker) -> Iterator[Callable[..., Terminal]]:
    """Return a function that starts the driver with ``new``, ``opened`` or a case in a terminal.

    ``whole``: in a Python of its own, thinking ahead as far as the program does.
    """
    begun: list[Terminal] = []

    def start(
        case: str = "new", columns: int = 80, rows: int = 24, quick: bool = False, whole: bool = False, **env: str
    ) -> Terminal:
        told = [*(["--quick"] if quick else []), str(store), case]
        command, by = ([DRIVER, *told], None) if whole else (["--brief", *told], forker)
        begun.append(Terminal(*command, columns=columns, rows=rows, by=by, **env))
        return begun[-1]

    yield start
    for one in begun:
        one.child.close(force=True)

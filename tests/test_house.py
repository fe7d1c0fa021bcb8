"""The house keeps its directions: what imports what, and what stays unloaded until it is needed.

The order is that of DEVELOPERS.md. It is our own; no outside source stands behind it.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ORDER = ("calc", "kb", "reasoning", "case", "review", "drill", "terminal", "cli", "__main__")
"""From left to right: each may import itself and what stands before it."""
HEAVY = (
    *("alembic", "cryptography", "experta", "jinja2", "numpy", "prompt_toolkit", "pyarrow", "pydantic", "rapidfuzz"),
    *("rich", "scipy", "sqlalchemy", "yaml"),
)
IMPURE = frozenset(
    {
        *("asyncio", "datetime", "io", "multiprocessing", "os", "pathlib", "prompt_toolkit", "random", "rich"),
        *("secrets", "shutil", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "urllib"),
    }
)
"""What reasoning does without: files, clocks, chance, screens, other programs."""
READERS = frozenset({"isolate/calc/clip.py", "isolate/calc/recorder.py", "isolate/calc/removals.py"})
"""What reads a file for a calculation: a recording, a recorder's log, a list of removals."""
ONLY = {
    "experta": {"isolate/reasoning/rules.py"},
    "sqlalchemy": {"isolate/case/database.py", "isolate/case/migrations/"},
    "alembic": {"isolate/case/database.py", "isolate/case/migrations/"},
    "psycopg": {"isolate/case/database.py"},
    "sqlite3": {"isolate/case/database.py", "isolate/case/store.py"},
    "cryptography": {"isolate/review/keys.py"},
    "scipy": {"isolate/calc/", "isolate/review/"},
    "jinja2": {"isolate/review/pages.py"},
    "pyarrow": {"isolate/review/tables.py"},
    "rich": {"isolate/terminal/", "isolate/cli.py"},
    "prompt_toolkit": {"isolate/terminal/"},
    "argparse": {"isolate/cli.py", "isolate/terminal/"},
    "rapidfuzz": {"isolate/drill/said.py"},
}
"""Library → the files, or folders, that may know it."""
FILES = sorted((ROOT / "isolate").rglob("*.py"))


def label(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imported(source: str, module: str) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) of everything that a module imports, wherever in it, relative names resolved.

    ``from x import y`` yields ``x.y``, so that a sub-module taken from its package is seen. A call
    ``import_module("x")`` or ``__import__("x")`` counts as well.
    """
    package = module.split(".")[:-1]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            start = ".".join([*base, *([node.module] if node.module else [])])
            for alias in node.names:
                yield node.lineno, f"{start}.{alias.name}"
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            if name in ("import_module", "__import__") and isinstance(node.args[0].value, str):
                yield node.lineno, node.args[0].value


def module_of(file: str) -> str:
    return file.removesuffix(".py").removesuffix("/__init__").replace("/", ".") + (
        ".__init__" if file.endswith("/__init__.py") else ""
    )


def floor(name: str) -> int | None:
    """Return where in the order a dotted name stands; None for what is no part of the house, or its front door."""
    parts = name.split(".")
    if parts[0] != "isolate" or len(parts) < 2 or parts[1] not in ORDER:
        return None
    return ORDER.index(parts[1])


def wrong_ways(source: str, file: str) -> list[str]:
    """Return the imports of a file that go from left to right."""
    module = module_of(file)
    here = floor(module)
    if here is None:  # isolate/__init__.py: names only, imported when they are asked for
        return []
    found = []
    for line, name in imported(source, module):
        if name.split(".")[0] != "isolate":
            continue
        there = floor(name)
        if there is None and here < ORDER.index("cli"):
            found.append(f"{file}:{line} imports {name}: the front door is for users of the package")
        elif there is not None and there > here:
            found.append(f"{file}:{line} imports {name}: {ORDER[there]} stands to the right of {ORDER[here]}")
    return found


def strangers(source: str, file: str) -> list[str]:
    """Return the imports of libraries that this file should not know."""
    found = []
    for line, name in imported(source, module_of(file)):
        top = name.split(".")[0]
        allowed = ONLY.get(top)
        if allowed is not None and not any(file == a or (a.endswith("/") and file.startswith(a)) for a in allowed):
            found.append(f"{file}:{line} imports {top}, which is only for {', '.join(sorted(allowed))}")
        if file.startswith("isolate/reasoning/") and top in IMPURE:
            found.append(f"{file}:{line} imports {top}: reasoning has no files, no clock and no screen")
        if file.startswith("isolate/calc/") and top in IMPURE and file not in READERS:
            found.append(f"{file}:{line} imports {top}: a calculation has no files, no clock and no screen")
    return found


def test_all_parts_of_the_house_are_in_the_order() -> None:
    parts = {p.name.removesuffix(".py") for p in (ROOT / "isolate").iterdir() if p.name not in ("__init__.py", "_data")}
    assert parts - {"__pycache__", "py.typed"} == set(ORDER)


@pytest.mark.parametrize("path", FILES, ids=label)
def test_nothing_imports_from_its_right(path: Path) -> None:
    assert wrong_ways(path.read_text(encoding="utf-8"), label(path)) == []


@pytest.mark.parametrize("path", FILES, ids=label)
def test_libraries_stay_where_they_belong(path: Path) -> None:
    assert strangers(path.read_text(encoding="utf-8"), label(path)) == []


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("isolate/kb/load.py", "from isolate.reasoning.belief import Model"),
        ("isolate/kb/load.py", "def f():\n    import isolate.case.store"),
        ("isolate/reasoning/plan.py", "from isolate import case"),
        ("isolate/reasoning/plan.py", "from ..case.case import fold"),
        ("isolate/case/__init__.py", "from ..drill import scenario"),
        ("isolate/case/case.py", "if TYPE_CHECKING:\n    from isolate.terminal import live"),
        ("isolate/drill/scenario.py", "from importlib import import_module\nimport_module('isolate.terminal.live')"),
        ("isolate/terminal/live.py", "from isolate.cli import main"),
        ("isolate/case/chase.py", "from isolate import load"),
        ("isolate/case/chase.py", "import isolate"),
    ],
)
def test_a_wrong_way_is_seen(file: str, source: str) -> None:
    assert len(wrong_ways(source, file)) == 1


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("isolate/case/chase.py", "import experta"),
        ("isolate/reasoning/pose.py", "import importlib\nimportlib.import_module('experta')"),
        ("isolate/kb/load.py", "from rich.text import Text"),
        ("isolate/cli.py", "import prompt_toolkit"),
        ("isolate/reasoning/plan.py", "from time import monotonic"),
        ("isolate/reasoning/plan.py", "from pathlib import Path"),
    ],
)
def test_a_stranger_is_seen(file: str, source: str) -> None:
    assert len(strangers(source, file)) == 1


def test_a_right_way_is_left_alone() -> None:
    source = "from isolate.kb.fit import fit\nfrom isolate.reasoning import explain\nfrom . import events\nimport numpy"
    assert wrong_ways(source, "isolate/case/chase.py") == []
    assert strangers(source, "isolate/case/chase.py") == []


@pytest.mark.parametrize(
    "statement",
    [
        "import isolate",
        "import isolate.cli",
        "from isolate.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass",
    ],
)
def test_help_loads_nothing_heavy(statement: str) -> None:
    assert all(find_spec(name) for name in HEAVY), "a name here is not that of an installed library"
    code = f"import sys, json\n{statement}\nprint(json.dumps(sorted(sys.modules)))"
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    loaded = json.loads(ran.stdout.splitlines()[-1])
    assert "isolate" in loaded
    assert [name for name in HEAVY if name in loaded] == []

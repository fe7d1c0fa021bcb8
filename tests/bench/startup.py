"""How long it takes until there is something to read, beside what Python takes. Run: python -m tests.bench.startup

``help``: from spawn to exit of ``python -m isolate --help`` beside ``python -c pass``, output thrown away.
``first question``: from spawn of ``python -m isolate chase`` in a pseudo-terminal until its first question stands
there, beside a Python in the same kind of pseudo-terminal that imports numpy, rich and prompt_toolkit and prints a
word. A new store is made each time. ``import rich`` alone brings next to nothing of rich; what any of its users needs
at least is rich.console, so that is measured as well.

Each round runs all contestants of a table one after the other, the order turned from round to round, so that a change
of the machine's load falls on all of them; the first round warms caches and does not count. Printed are the medians
and the least in ms, and as ratio the median over the rounds of (isolate / the one it is compared with).
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from statistics import median

import pexpect

from tests.bench.figures import quiet, table

ROOT = Path(__file__).parents[2]
QUESTION = "fleet number"
ESCAPES = re.compile(rb"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|[@-Z\\-_])")
PATIENCE = 60.0
"""Seconds until a text that does not come is given up."""
ENVIRONMENT = {
    **{k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR")},
    "TERM": "xterm-256color",
    "LC_ALL": "C.UTF-8",
    "PYTHONPATH": str(ROOT),
}


def ran(*arguments: str) -> float:
    """Return the seconds from spawn to exit of a Python."""
    began = time.perf_counter()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, env=ENVIRONMENT, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def showed(text: str, *arguments: str) -> float:
    """Return the seconds from spawn of a Python in a pseudo-terminal until a text stands there."""
    wanted = text.encode()
    began = time.perf_counter()
    child = pexpect.spawn(sys.executable, list(arguments), dimensions=(24, 80), env=ENVIRONMENT, cwd=str(ROOT))
    seen = b""
    try:
        while wanted not in ESCAPES.sub(b"", seen):
            if time.perf_counter() - began > PATIENCE:
                raise SystemExit(f"{text!r} did not come in {PATIENCE:.0f} s; this came: {seen!r}")
            seen += child.read_nonblocking(65536, timeout=PATIENCE)
        return time.perf_counter() - began
    except pexpect.EOF:
        raise SystemExit(f"it ended without {text!r}; this came: {seen!r}") from None
    finally:
        child.close(force=True)


def question() -> float:
    with tempfile.TemporaryDirectory() as folder:
        return showed(QUESTION, "-m", "isolate", "chase", "--store", str(Path(folder) / "cases.db"))


def rounds(contestants: Mapping[str, Callable[[], float]], n: int) -> dict[str, list[float]]:
    """Return the seconds of each contestant in n rounds that count."""
    names = list(contestants)
    found: dict[str, list[float]] = {name: [] for name in names}
    for i in range(n + 1):
        turned = names[i % len(names) :] + names[: i % len(names)]
        for name in turned:
            seconds = contestants[name]()
            if i:
                found[name].append(seconds)
        print(f"\r{i}/{n}", end="", file=sys.stderr, flush=True)
    print("\r       \r", end="", file=sys.stderr)
    return found


def compared(found: Mapping[str, list[float]], subject: str) -> list[list[str]]:
    """Return the rows of a table: each contestant's median and the subject's ratio to it."""
    rows = []
    for name, seconds in found.items():
        ratios = [a / b for a, b in zip(found[subject], seconds, strict=True)]
        ratio = "" if name == subject else f"{median(ratios):.2f}"
        rows.append([name, f"{1000 * median(seconds):.0f}", f"{1000 * min(seconds):.0f}", ratio])
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=15, help="rounds (15)")
    n = max(1, parser.parse_args().n)
    print(quiet())
    found = rounds(
        {"isolate --help": lambda: ran("-m", "isolate", "--help"), "python -c pass": lambda: ran("-c", "pass")}, n
    )
    table(["help", "median ms", "least ms", "isolate / it"], compared(found, "isolate --help"))
    print()
    plain = "import numpy, rich, prompt_toolkit; print('ready')"
    usable = "import numpy, rich.console, prompt_toolkit; print('ready')"
    found = rounds(
        {
            "isolate chase": question,
            "numpy, rich, prompt_toolkit": lambda: showed("ready", "-c", plain),
            "numpy, rich.console, prompt_toolkit": lambda: showed("ready", "-c", usable),
        },
        n,
    )
    table(["first question", "median ms", "least ms", "isolate / it"], compared(found, "isolate chase"))
    print(f"{n} rounds")


if __name__ == "__main__":
    main()

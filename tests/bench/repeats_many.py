"""How long `isolate repeats` takes on very many cases. Run: python -m tests.bench.repeats_many [FILE] -n 100000

Without FILE, a store of ``tests.bench.many`` is made first (minutes). Printed are CPU seconds of each part, then the
seconds by the clock of the whole command for all cases, for one aircraft and for one part.
"""

from __future__ import annotations

import argparse
import gc
import io
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

from isolate.case.brief import Brief
from isolate.case.store import open_store
from isolate.cli import main as command
from isolate.kb.load import load
from isolate.review.parts import kinds_of, touched
from isolate.review.repeats import came_back
from isolate.review.symptoms import families
from isolate.review.trend import trends
from tests.bench.many import make

_T = TypeVar("_T")


def took(what: str, work: Callable[[], _T]) -> _T:
    began = time.process_time()
    found = work()
    print(f"{what:<42} {time.process_time() - began:6.1f} s CPU")
    return found


def parts(store: str) -> list[Brief]:
    knowledge = load().knowledge
    kinds, about = kinds_of(knowledge), families(knowledge)
    gc.disable()
    with open_store(store) as opened:
        briefs = took("cases in brief out of the store", lambda: list(opened.briefs()))
    back = took("which came back (400 days)", lambda: came_back(briefs, 400, None, about, kinds))
    few = took("which came back (10 days and 30 starts)", lambda: came_back(briefs, 10, 30, about, kinds))
    found = took("trends", lambda: trends(briefs, back, briefs[0].opened, max(b.last for b in briefs)))
    gc.enable()
    print(f"{len(briefs):,} cases; {len(back):,} and {len(few):,} came back; {len(found)} trends")
    return briefs


def whole(store: str, *argv: str) -> None:
    began, cpu = time.perf_counter(), time.process_time()
    out = io.StringIO()
    with redirect_stdout(out):
        command(["repeats", "--store", store, *argv])
    said = " ".join(("isolate repeats", *argv))
    clock = time.perf_counter() - began
    cpu = time.process_time() - cpu
    print(f"{said:<42} {clock:6.1f} s by the clock, {cpu:.1f} s CPU, {len(out.getvalue()):,} letters")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", nargs="?", help="a store of tests.bench.many; none: one is made")
    parser.add_argument("-n", type=int, default=100_000, help="cases to make (%(default)s)")
    arguments = parser.parse_args()
    with TemporaryDirectory() as folder:
        store = arguments.store or str(Path(folder) / "many.db")
        if arguments.store is None:
            make(store, arguments.n)
        briefs = parts(store)
        serial = next(t.part.serial for b in reversed(briefs) for t in touched(b, {}))
        whole(store)
        whole(store, "--aircraft", briefs[-1].aircraft)
        whole(store, "--part", serial)


if __name__ == "__main__":
    main()

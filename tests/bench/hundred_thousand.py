"""How long searches and single cases take in a store of very many cases. Run: python -m tests.bench.hundred_thousand

The cases are those of :mod:`tests.bench.many`; give a FILE that they were put into already, or it takes some minutes to
make them first. With --postgresql they are put on a server of our own. Printed are medians over several rounds in ms,
each with the store opened already; and the whole command ``isolate cases`` from spawn to exit.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from isolate.case.case import fold
from isolate.case.inherit import gather
from isolate.case.store import Store, open_store
from tests.bench.figures import quiet, table
from tests.bench.many import make
from tests.services.cluster import cluster

ROOT = Path(__file__).parents[2]


def questions(store: Store) -> dict[str, Callable[[], object]]:
    """Return what is asked → how."""
    newest = store.find(limit=1)[0]
    brief = next(b for b in store.briefs(limit=200) if b.repairs)
    part = str(brief.repairs[0].part["sn-off"])
    now = datetime(2038, 6, 1, tzinfo=UTC)
    return {
        "the newest 40 cases": lambda: store.find(limit=40),
        "how many there are": store.count,
        "open cases": lambda: store.find(ended=False),
        "one engine's cases": lambda: store.cases(aircraft="117", position="2"),
        "one part, by its serial number": lambda: store.find(part=part),
        "one month": lambda: store.find(since="2034-05-01", until="2034-05-31"),
        "a rare word, newest 40": lambda: store.find(part.lower(), limit=40),
        "two common words, newest 40": lambda: store.find("chafed hangar", limit=40),
        "a word that no case has": lambda: store.find("nonesuch", limit=40),
        "all cases": store.cases,
        "one case, its events folded": lambda: fold(store.events(newest.id)),
        "one case, its chain verified": lambda: store.faults(newest.id),
        "what earlier cases carry in": lambda: gather(store, "117", "2", newest.engine, now),
        "briefs of one engine type, a year": lambda: list(
            store.briefs(engine="orrin-t-9", since="2034-01-01", until="2034-12-31")
        ),
        "totals, forks": lambda: (store.totals(), store.forks()),
    }


def command(where: str, *arguments: str) -> float:
    began = time.perf_counter()
    line = [sys.executable, "-m", "isolate", "cases", *arguments, "--store", where]
    subprocess.run(line, cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", nargs="?", help="a file with the cases")
    parser.add_argument("-n", type=int, default=100_000, help="cases, where they have to be made (%(default)s)")
    parser.add_argument("-r", type=int, default=7, help="rounds (%(default)s)")
    parser.add_argument("--postgresql", action="store_true")
    arguments = parser.parse_args()
    print(quiet())
    with ExitStack() as stack:
        where = arguments.store
        if arguments.postgresql:
            where = stack.enter_context(cluster(syncs=True)).fresh()
        elif where is None:
            where = os.path.join(stack.enter_context(tempfile.TemporaryDirectory()), "cases.db")
        if arguments.store is None or arguments.postgresql:
            if arguments.postgresql and arguments.store is not None:
                began = time.perf_counter()
                with open_store(arguments.store) as source, open_store(where) as target:
                    source.copy_to(target)
                print(f"copied in {time.perf_counter() - began:.0f} s")
            else:
                print(f"{arguments.n} cases made in {make(where, arguments.n):.0f} s")
        began = time.perf_counter()
        with open_store(where) as store:
            opening = time.perf_counter() - began
            totals = store.totals()
            asked = questions(store)
            found: dict[str, list[float]] = {name: [] for name in asked}
            for _ in range(arguments.r + 1):
                for name, ask in asked.items():
                    began = time.perf_counter()
                    ask()
                    found[name].append(1000 * (time.perf_counter() - began))
        rows = [[name, f"{median(times[1:]):.1f}", f"{times[0]:.1f}"] for name, times in found.items()]
        rows.append(["opening the store", f"{1000 * opening:.0f}", ""])
        for name, options in (("isolate cases", ()), ("isolate cases WORD", ("chafed",))):
            times = [1000 * command(where, *options) for _ in range(3)]
            rows.append([f"{name}, the whole command", f"{median(times):.0f}", ""])
    print(f"{totals['cases']} cases, {totals['events']} events")
    table(["what", "median ms", "first ms"], rows)


if __name__ == "__main__":
    main()

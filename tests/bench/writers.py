"""Writers at once on one store, each a process of its own: is every event there that was acknowledged?

Run: python -m tests.bench.writers [-n 200] [-w 8]. Each writer appends n times to one case that all share and n times
to its own, and prints each event that it was told is kept. Then the store is read: every printed event has to be there
by its number and hash, no chain may be broken, nothing may be there that nobody wrote. SQLite in a temporary folder,
then PostgreSQL, a server of our own that waits for its disk.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from isolate.case.store import open_store
from tests.bench.figures import quiet, table
from tests.services.cluster import cluster

ROOT = Path(__file__).parents[2]
CASE = "104-2-0131-7f3a"
WRITER = """
import sys, time
from isolate.case.store import open_store
where, name, count, shared = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
when = "2030-01-31T07:00:00.000Z"
with open_store(where, patience=120) as store:
    store.append(f"own-{name}", "opened", {}, when)
    sys.stdin.readline()
    for number in range(count):
        for case in (shared, f"own-{name}"):
            began = time.perf_counter()
            items = [("noted", {"text": f"{name} {number} {'-' * (number % 900)}"})] * (1 + number % 3)
            for event in store.append_all(case, items, when):
                print(case, event.seq, event.hash, time.perf_counter() - began, flush=True)
"""


def run(where: str, writers: int, count: int) -> list[str]:
    """Return the row of a table: what was written, what of it is lost, how long one append took."""
    with open_store(where) as store:
        store.append(CASE, "opened", {}, "2030-01-31T06:00:00.000Z")
    command = [sys.executable, "-c", WRITER, where]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "cwd": ROOT, "text": True}
    running = [subprocess.Popen([*command, str(n), str(count), CASE], **pipes) for n in range(writers)]  # type: ignore[call-overload]
    began = time.perf_counter()
    for process in running:
        process.stdin.write("go\n")
        process.stdin.flush()
    with tempfile.TemporaryFile("w+") as said:
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(writers) as pool:
            for out in pool.map(lambda process: process.communicate()[0], running):
                said.write(out)
        spent = time.perf_counter() - began
        said.seek(0)
        told = [line.split() for line in said]
    if any(process.returncode for process in running):
        raise SystemExit("a writer failed")
    with open_store(where) as store:
        have, broken, total = set(), 0, 0
        for summary in store.cases():
            events = store.events(summary.id)
            broken += len(store.faults(summary.id))
            total += len(events)
            have |= {(summary.id, str(e.seq), e.hash) for e in events}
    lost = [t for t in told if tuple(t[:3]) not in have]
    opened = writers + 1
    waits = sorted(float(t[3]) for t in told)
    return [
        str(writers),
        str(len(told)),
        str(len(lost)),
        str(total - len(told) - opened),
        str(broken),
        f"{len(told) / spent:.0f}",
        f"{1000 * waits[len(waits) // 2]:.1f}",
        f"{1000 * waits[-1]:.0f}",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=200, help="appends of each writer to each of two cases (%(default)s)")
    parser.add_argument("-w", type=int, default=8, help="writers (%(default)s)")
    arguments = parser.parse_args()
    print(quiet())
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for writers in (1, arguments.w):
            rows.append(["SQLite", *run(f"{folder}/cases-{writers}.db", writers, arguments.n)])
    with cluster(syncs=True) as server:
        for writers in (1, arguments.w):
            rows.append(["PostgreSQL", *run(server.fresh(), writers, arguments.n)])
    heads = ["database", "writers", "acknowledged", "lost", "unasked", "faults", "events/s", "median ms", "longest ms"]
    table(heads, rows)


if __name__ == "__main__":
    main()

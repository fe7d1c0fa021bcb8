"""A session killed at random moments: is every answer there that it said it had?

Each session is ``isolate chase --answers`` in a process of its own, forked from one that has everything loaded, and is
sent SIGKILL at a moment drawn from the whole of its length. Then its case is read: every step that was printed has to
be in the store, in that order, the chain whole, and the case has to go on. With --postgresql the store is on a server
of our own instead of a file.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from isolate.case.store import open_store
from tests.bench.figures import quiet
from tests.services.cluster import cluster
from tests.test_cli import acknowledged, long_answers


def session(answers: Path, where: str, after: float | None) -> str:
    """Run a session, killed after so many seconds; return what it had printed."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        from isolate.cli import main

        os.close(reading)
        os.dup2(writing, 1)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        sys.stdout = os.fdopen(1, "w", buffering=1, encoding="utf-8")  # line by line, as on a terminal
        os._exit(main(["chase", "--afresh", "--answers", str(answers), "--store", where]))
    os.close(writing)
    if after is not None:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as stream:
        said = stream.read()
    os.waitpid(child, 0)
    whole = said[: said.rfind(b"\n") + 1]  # a line that the kill cut short was not said
    return whole.decode("utf-8", "replace")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=300, help="kills (%(default)s)")
    parser.add_argument("--seed", type=int, default=20300131)
    parser.add_argument("--postgresql", action="store_true")
    arguments = parser.parse_args()
    print(quiet())
    rng = random.Random(arguments.seed)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        where = stack.enter_context(cluster(syncs=True)).fresh() if arguments.postgresql else str(folder / "cases.db")
        answers = long_answers(folder)
        session(answers, where, None)  # loads what is loaded once, and makes the store
        began = time.perf_counter()
        whole = session(answers, where, None)
        length = time.perf_counter() - began
        steps = none = 0
        for number in range(arguments.n):
            said = session(answers, where, rng.uniform(0, length))
            first = said.partition("\n")[0]
            if not first.startswith("case "):
                none += 1
                continue
            steps += acknowledged_in(where, first.removeprefix("case "), said)
            if sys.stderr.isatty():
                print(f"\r{number + 1}/{arguments.n}", end="", file=sys.stderr)
        with open_store(where) as store:
            broken = sum(bool(store.faults(summary.id)) for summary in store.cases())
            cases = store.totals()["cases"]
    print(
        f"{arguments.n} kills within sessions of {length:.1f} s and {whole.count(' min    ')} lines; {none} before the "
        f"case was begun; {steps} steps acknowledged, 0 lost; {cases} cases, {broken} with a broken chain"
    )


def acknowledged_in(where: str, case: str, said: str) -> int:
    """Return how many steps were said to be done; ends the run where one of them is not in the store."""
    try:
        return acknowledged(where, case, said)  # type: ignore[arg-type]
    except AssertionError as error:
        raise SystemExit(f"case {case}: {error}") from None


if __name__ == "__main__":
    main()

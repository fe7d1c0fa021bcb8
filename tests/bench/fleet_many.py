"""Fleet figures and tables at very many cases: seconds and memory. Run: python -m tests.bench.fleet_many STORE

STORE is made by ``python -m tests.bench.many STORE -n 100000``. Each command runs in a process of its own; processor
seconds are given beside those by the clock, since the machine may have other things to do.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path


def timed(command: Sequence[str]) -> tuple[float, float, float]:
    """Run a command of isolate; return seconds by the clock, of the processor, and its memory in megabytes."""
    began = time.perf_counter()
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen([sys.executable, "-m", "isolate", *command], stdout=subprocess.DEVNULL, env=environment)
    _, status, used = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{' '.join(command)} ended with {os.waitstatus_to_exitcode(status)}")
    return time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", type=Path)
    arguments = parser.parse_args()
    at = ["--store", str(arguments.store)]
    with tempfile.TemporaryDirectory() as folder:
        runs = [["review", "fleet", *at, "--by", by] for by in ("engine", "station", "knowledge")]
        runs += [["review", "tables", f"{folder}/{kind}", *at, "--as", kind] for kind in ("csv", "json", "parquet")]
        for command in runs:
            clock, processor, memory = timed(command)
            said = " ".join(word for word in command if word not in at and not word.startswith(folder))
            print(
                f"{said}: {clock:.0f} s by the clock, {processor:.0f} s of the processor, {memory:.0f} MB", flush=True
            )


if __name__ == "__main__":
    main()

"""How fast trails are worked anew: ``python -m tests.bench.replay``; events a second of CPU on the kept trails."""

from __future__ import annotations

import time

from isolate.review.replay import replayed
from tests.worked import TRAILS, trail, versions


def main() -> None:
    known = versions()
    events = trail("taken-back")
    replayed(known, events[:3])  # the knowledge and the tables of the engine, once
    replayed(known, trail("turboprop")[:3])
    count, spent = 0, 0.0
    for path in sorted(TRAILS.glob("*.jsonl")):
        events = trail(path.stem)
        cpu, wall = time.process_time(), time.monotonic()
        found = replayed(known, events)
        cpu, wall = time.process_time() - cpu, time.monotonic() - wall
        count, spent = count + len(events), spent + cpu
        print(
            f"{path.stem:12} {len(events):4} events, {found.events} the same, {len(found.differs)} differences, "
            f"{cpu:.2f} s of CPU ({wall:.2f} s by the clock), {len(events) / cpu:.0f} events a second"
        )
    print(f"all          {count:4} events, {spent:.2f} s of CPU, {count / spent:.0f} events a second")


if __name__ == "__main__":
    main()

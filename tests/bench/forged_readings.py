"""What of a forged reading is seen: ``python -m tests.bench.forged_readings [N] [SEED]``.

A case with a reading of every calculation. N times (default 1,000) a single value of an event that has one, or its
instant, is altered, everything sealed anew and left unsigned; then it is verified, without and with the folder of the
files that readings came from. Prints by field how many alterations there were, and how many came out as a difference,
as a note, or not at all.
"""

from __future__ import annotations

import random
import re
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any

from isolate.case.chain import back_in_time
from isolate.case.chase import Kit
from isolate.case.events import Event, now_text, parse_time
from isolate.review.kept_files import Files
from isolate.review.replay import Replayed, replayed
from isolate.review.reworked import reworked
from tests.bench.figures import quiet
from tests.review.measured_case import case, folder, forged, places, value
from tests.worked import shipped_kit


def others(had: Any, way: tuple[str | int, ...], rng: random.Random) -> Iterator[Any]:
    """Yield other values for a place."""
    if way == ("time",):
        yield from (now_text(parse_time(had) + timedelta(seconds=s)) for s in (-3600, -1, 1, 3600))
    elif isinstance(had, bool):
        yield not had
    elif isinstance(had, int | float):
        yield from (had + 1, had * 1.05 + 0.001, had * 0.5, -had - 1, None, had * 1.00001)
    elif had is None:
        yield from (1.5, "x")
    elif isinstance(had, str):
        yield from {f"{had} x", had[:-1], ""} - {had}
        if had:
            at = rng.randrange(len(had))
            yield had[:at] + rng.choice([c for c in "abcxyz" if c != had[at]]) + had[at + 1 :]
        for number in list(re.finditer(r"\d", had))[:1] + list(re.finditer(r"\d", had))[-1:]:
            digit = str((int(number[0]) + 3) % 10)
            yield had[: number.start()] + digit + had[number.end() :]
    else:
        yield from ([1], ["x"]) if isinstance(had, list) else ({"x": 1},)


def main(most: int, seed: int) -> None:
    print(quiet())
    rng, events, files = random.Random(seed), case(), Files(folder())
    made = [(place, new) for place in places(events) for new in others(value(events, place), place[1], rng)]
    made = rng.sample(made, min(most, len(made)))
    for what, at in (("without files", None), ("with --files", files)):
        counts: dict[str, Counter[str]] = defaultdict(Counter)
        missed: list[str] = []
        begun = time.process_time()
        plain = replayed(kits, events, at)
        assert not plain.differs
        for place, new in made:
            seen = how(forged(events, place, new), plain, at)
            seq, way = place
            parts = [str(p) for p in way if not isinstance(p, int)]
            name = ".".join(parts[1:]) or "time"
            counts[name][seen] += 1
            if seen != "differs":
                of = events[seq - 1].body["reading"]["calc"]
                missed.append(f"{seen}: {seq} {of} {way[1:]}: {value(events, place)!r:.60} -> {new!r:.60}")
        print(f"\n{len(made)} alterations, {what}; {time.process_time() - begun:.0f} s of CPU")
        print(f"{'field':34}{'made':>6}{'differs':>9}{'noted':>7}{'not seen':>10}")
        for name, count in sorted(counts.items()):
            print(f"{name:34}{count.total():6}{count['differs']:9}{count['noted']:7}{count['not seen']:10}", flush=True)
        if "-v" in sys.argv:
            print("\n".join(missed), flush=True)


def kits(digest: str, engine: str) -> Kit:
    return shipped_kit(engine)


def how(bad: Sequence[Event], plain: Replayed, files: Files | None) -> str:
    """Return how an alteration comes out: ``differs``, ``noted`` or ``not seen``."""
    # What the readings alone show is not worked for the whole case again.
    if reworked(bad, shipped_kit().fitted, files).differs:
        return "differs"
    found = replayed(kits, bad, files)
    back = back_in_time(bad)
    return "differs" if found.differs else "noted" if found.notes != plain.notes or back else "not seen"


if __name__ == "__main__":
    told = [int(a) for a in sys.argv[1:] if a.isdigit()]
    main(*(told + [1000, 2030][len(told) :]))

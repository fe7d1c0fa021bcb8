"""How much of what can be done to a trail is found, by what, and where: ``python -m tests.bench.tamper [N] [SEALED]``.

N changes to bytes of files and to events (default 10,000, of which SEALED with all seals made anew, default 200). Cuts
at the end are counted apart: a shorter chain is whole by itself. Prints a table; nothing here is a test.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter

from isolate.case.chain import verify
from isolate.case.memory import Memory
from isolate.review import keys
from isolate.review.reading import NotATrail, read_bytes
from isolate.review.replay import replayed
from isolate.review.trust import trust
from tests.bench.tampering import BYTES, EVENTS, SEALED, in_bytes, in_events, lines, sealed
from tests.worked import trail, versions

NAMES = ("taken-back", "worn-plug", "declined")
PINPOINTED = 300
"""For so many changed bytes the byte is looked for too."""


def main(most: int, anew: int) -> None:
    rng = random.Random(2030)
    cases = {name: trail(name) for name in NAMES}
    files = {name: lines(events) for name, events in cases.items()}
    found: Counter[tuple[str, str]] = Counter()
    begun = time.process_time()
    plain = most - anew
    for number in range(plain * 6 // 10):
        how, name = BYTES[number % 3], NAMES[rng.choice((0, 0, 0, 1, 2))]
        bad, line, column = in_bytes(how, files[name], rng)
        exact = number < PINPOINTED
        found[how, "made"] += 1
        try:
            read = read_bytes(bad, pinpoint=exact)
        except NotATrail:
            found[how, "found"] += 1
            continue
        found[how, "found"] += bool(read.faults or read.carried)
        found[how, "line right"] += bool(read.faults) and read.faults[0].line == line
        if exact:
            found[how, "looked for"] += 1
            found[how, "byte right"] += bool(read.faults) and read.faults[0].column == column
    for number in range(plain - plain * 6 // 10):
        how, name = EVENTS[number % len(EVENTS)], NAMES[rng.choice((0, 0, 0, 1, 2))]
        changed, seq = in_events(how, cases[name], rng)
        read = read_bytes(lines(changed), pinpoint=False)
        found[how, "made"] += 1
        found[how, "found"] += bool(read.faults)
        found[how, "found with the store's head"] += bool(verify(changed, head=cases[name][-1].hash))
        found[how, "event right"] += any(abs(fault.seq - seq) <= (how != "body edited") for fault in read.faults)
    print(f"{plain} changes to bytes and events, {time.process_time() - begun:.0f} s of CPU", flush=True)
    for how in (*BYTES, *EVENTS):
        print(f"  {how:30}", ", ".join(f"{n} {what}" for (h, what), n in found.items() if h == how), flush=True)
    _sealed(rng, anew)
    _cut()


def _sealed(rng: random.Random, anew: int) -> None:
    """Everything from the change on sealed anew, by somebody who has no key of the one who signed."""
    kits, found = versions(), Counter[tuple[str, str]]()
    private, public = keys.make("Robin Skerry")
    del public
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "key").write_bytes(private)
        key = keys.read_private(Path(folder) / "key")
    known = {key.public: key.name}
    missed: Counter[str] = Counter()
    begun = time.process_time()
    for number in range(anew):
        events = trail(rng.choice(("taken-back", "declined")))[:46]
        log = Memory(events)
        log.append_all(events[0].case, [("signed", keys.sign(key, events))], "2030-06-01T00:00:00.000Z")
        how = SEALED[number % len(SEALED)]
        bad, seq = sealed(how, log.events(events[0].case), rng)
        found[how, "made"] += 1
        found[how, "chain"] += bool(verify(bad))
        found[how, "chain with the store's head"] += bool(verify(bad, head=log.events(events[0].case)[-1].hash))
        found[how, "signature"] += trust(kits, bad, (), known, replay=False).signed != "signed"
        again = replayed(kits, [e for e in bad if e.kind != "signed"])
        found[how, "replay"] += bool(again.differs or again.notes)
        found[how, "any"] += bool(again.differs or again.notes) or trust(kits, bad, (), known, False).signed != "signed"
        if not again.differs and not again.notes:
            missed[events[seq - 1].kind if seq <= len(events) else "signed"] += 1
    print(f"{anew} changes with all seals made anew, {time.process_time() - begun:.0f} s of CPU; found by")
    for how in SEALED:
        print(f"  {how:30}", ", ".join(f"{n} {what}" for (h, what), n in found.items() if h == how))
    print("  not by replay, by the kind of event changed:", dict(missed))


def _cut() -> None:
    """Trails cut off at their end, at each event."""
    kits, found = versions(), Counter[str]()
    for name in NAMES:
        events = trail(name)
        for count in range(1, len(events)):
            cut = events[:count]
            found["cuts"] += 1
            found["found by the chain alone"] += bool(verify(cut))
            found["found by the store's head"] += bool(verify(cut, head=events[-1].hash))
            found["of a case that had ended"] += any(e.kind == "closed" for e in events)
            found["seen to be open"] += not any(e.kind == "closed" for e in cut)
    events = trail("taken-back")
    for count in range(1, len(events)):
        found["looked at by replay"] += 1
        found["said by replay to stop short"] += bool(replayed(kits, events[:count]).notes)
    print("Cut at the end, event by event:", dict(found))


if __name__ == "__main__":
    main(*(int(a) for a in (sys.argv[1:] + ["10000", "200"][len(sys.argv) - 1 :])))

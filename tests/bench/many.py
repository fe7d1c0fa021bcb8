"""A store of very many light cases of the invented world, to measure on. Run: python -m tests.bench.many FILE -n 100000

Each case is a trail of about twelve events, whole and foldable: opened, offers, answers, mostly one repair with part
numbers, verified, closed, sometimes what the shop found. Engines wear and are repaired, parts move from one aircraft
to another, some defects come back, a few cases are open or have advice declined. What a case says is invented; the
same seed gives the same cases.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

from isolate.case.chain import verify
from isolate.case.events import FORMAT, ZERO, Event, now_text
from isolate.case.store import open_store

BEGUN = datetime(2030, 1, 1, 5, 0, tzinfo=UTC)
YEARS = 8.0
"""Over how long the cases are spread."""
FLEET = 400
"""Aircraft, each with two engines of one type."""
STATIONS = ("north pier", "south pier", "hangar one", "")
ENGINES = ("halden-hf-3", "halden-hf-5", "orrin-t-9")
FAULTS: tuple[tuple[str, str, int, int, tuple[tuple[str, str, int], ...], float], ...] = (
    (
        *("igniter-worn", "replace-igniter", 10, 20),
        (("heard-at-start/{c}", "heard", 5), ("recorded-start-read", "spark-missing", 10)),
        5.0,
    ),
    (
        *("lead-chafed", "replace-lead", 70, 50),
        (("heard-at-start/{c}", "not-heard", 5), ("lead-route-look/{c}", "chafed", 10)),
        2.0,
    ),
    (
        *("lead-open", "replace-lead", 70, 50),
        (("recorded-start-read", "spark-missing", 10), ("lead-continuity/{c}", "open", 6)),
        1.5,
    ),
    (
        *("exciter-dead", "replace-exciter", 45, 90),
        (("feeder-volts/{c}", "present", 12), ("spark-test/{c}", "silent", 5)),
        2.0,
    ),
)
"""Mode, repair, its minutes, its price, the answers that lead there (check, outcome, minutes), how often."""
COMPLAINTS = ("intermittent-no-ignite", "one-channel-silent", "no-light-off")
PEOPLE = [{"name": "the technician", "may": ["licensed"]}]


def trails(n: int, seed: int = 7) -> Iterator[tuple[Event, ...]]:
    """Yield the events of n cases, by the time of their opening."""
    from isolate.kb.load import load

    digests = (sha256(b"an earlier version").hexdigest(), load().knowledge.digest)
    rng = random.Random(seed)
    serials: dict[tuple[int, int, str, str], str] = {}
    shelf: list[tuple[str, str]] = []
    due: list[tuple[float, tuple[int, int, str, str, str]]] = []
    step = YEARS * 365.25 * 86_400 / n
    for number in range(n):
        seconds = step * (number + rng.random() * 0.5)
        if due and due[-1][0] <= seconds:
            aircraft, position, engine, channel, complaint = due.pop()[1]
        else:
            aircraft, position = 100 + rng.randrange(FLEET), rng.randrange(1, 3)
            engine = ENGINES[aircraft % 3]
            channel = rng.choice("12" if engine == "orrin-t-9" else "AB")
            complaint = rng.choice(COMPLAINTS)
        case = _Trail(number, aircraft, position, BEGUN + timedelta(seconds=seconds), rng)
        known = [f for f in FAULTS if engine != "orrin-t-9" or f[1] != "replace-exciter"]
        fault = rng.choices(known, [f[-1] for f in known])[0]
        starts = int(seconds / 86_400 * 3 + aircraft)
        case.opening(engine, complaint, channel, starts, digests[number * 2 >= n], rng.choice(STATIONS))
        _work(case, fault, engine, channel, serials, shelf, rng)
        if rng.random() < 0.06:
            again = seconds + rng.expovariate(1 / (12 * 86_400))
            due.append((again, (aircraft, position, engine, channel, complaint)))
            due.sort(reverse=True)
        yield tuple(case.events)


class _Trail:
    """A trail that is being written, sealed as :func:`isolate.case.chain.seal` does, only faster."""

    def __init__(self, number: int, aircraft: int, position: int, moment: datetime, rng: random.Random) -> None:
        self.aircraft, self.position, self.moment, self.rng = aircraft, position, moment, rng
        self.id = f"{aircraft}-{position}-{moment:%m%d}-{number:05x}"
        self.events: list[Event] = []

    def write(self, kind: str, body: Mapping[str, Any], minutes: float = 0) -> None:
        self.moment += timedelta(minutes=minutes)
        prev = self.events[-1].hash if self.events else ZERO
        thing = {
            **{"body": body, "case": self.id, "kind": kind, "prev": prev},
            **{"seq": len(self.events) + 1, "time": now_text(self.moment)},
        }
        # The names here are plain ASCII and the numbers short: for those this is canonical JSON.
        text = json.dumps(thing, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        own = sha256(text.encode()).hexdigest()
        self.events.append(Event(self.id, thing["seq"], kind, thing["time"], dict(body), prev, own))

    def opening(self, engine: str, complaint: str, channel: str, starts: int, digest: str, station: str) -> None:
        said = {"aircraft": str(self.aircraft), "position": str(self.position), "engine": engine}
        told = complaint != "no-light-off"
        intake = {
            **{**said, "complaint": complaint, "channel": channel if told else "", "operator": "Skerry Air"},
            **{"place": self.rng.choice(("gate", "hangar")), "people": PEOPLE, "engine_starts": starts},
        }
        more = {"station": station} if station else {}
        body = {**said, **more, "complaint": complaint, "intake": intake, "knowledge": digest}
        self.write("opened", {**body, "format": FORMAT, "program": "0.1.0"})

    def offer(self, kind: str, move: str, minutes: int, declined: bool) -> bool:
        """Offer a move and take it up; False where it is declined."""
        expected = minutes + self.rng.randrange(40, 300)
        other = {"kind": "check", "move": "breakers-look/A", "now": 2, "expected": expected + 5}
        figures = {"now": minutes, "expected": expected, "alternatives": [other]}
        self.write("offered", {"kind": kind, "move": move, **figures})
        if declined:
            self.write("declined", {"kind": kind, "move": move, "reason": "no time before the next leg"}, 1)
            return False
        self.write("accepted", {"kind": kind, "move": move, "expected": expected})
        return True


def _work(
    case: _Trail,
    fault: tuple[str, str, int, int, tuple[tuple[str, str, int], ...], float],
    engine: str,
    channel: str,
    serials: dict[tuple[int, int, str, str], str],
    shelf: list[tuple[str, str]],
    rng: random.Random,
) -> None:
    mode, repair, minutes, price, answers, _ = fault
    for at, (check, outcome, spent) in enumerate(answers):
        move = check.format(c=channel)
        if case.offer("check", move, spent, declined=at == 0 and rng.random() < 0.04):
            body = {"check": move, "outcome": outcome, "minutes": spent, "within": "check", "condition": "steady"}
            case.write("answered", {**body, "strength": 1, "occasion": 0, "spoils": []}, spent)
    if rng.random() < 0.01:
        case.write("left", {}, 5)
        return
    key, found, vain = f"{repair}/{channel}", [], rng.random() < 0.08
    if rng.random() < 0.9:
        case.offer("repair", key, minutes, declined=False)
        place, name = (case.aircraft, case.position, repair, channel), repair.removeprefix("replace-")
        off = serials.get(place) or f"{name[0].upper()}{rng.randrange(10**6):06d}"
        mine = [i for i, (what, _) in enumerate(shelf) if what == name]
        on = shelf.pop(mine[0])[1] if len(mine) > 20 else f"{name[0].upper()}{rng.randrange(10**6):06d}"
        serials[place] = on
        shelf.append((name, off))
        number = f"{engine[:2].upper()}-{name[:2].upper()}-300"
        part = {"pn-off": number, "sn-off": off, "pn-on": number, "sn-on": on, "hours-off": None}
        part["starts-off"] = rng.randrange(50, 3000)
        body = {"repair": key, "minutes": minutes, "parts": price, "spoils": [], "part": part}
        case.write("repaired", body, minutes)
        named = f"healthy/{channel}" if vain else f"{mode}/{channel}"
        found = [{"repair": key, "mode": named, "probability": round(rng.uniform(0.5, 0.99), 4)}]
        end, passed = "verified, fault found", {"failed": [], "outstanding": [], "remaining": 0.012, "result": "passed"}
        case.write("verified", {"channels": {}, **passed}, 25)
    else:
        end = "verified, no fault found"
    record = f"Aircraft {case.aircraft}, engine {case.position}, case {case.id}: {end}."
    case.write("closed", {"end": end, "found": found, "remaining": 0.012, "record": record}, 10)
    if found and rng.random() < 0.3:
        said = "not-confirmed" if vain or rng.random() < 0.1 else "confirmed"
        report = f"SR-{case.moment.year}-{rng.randrange(10**4):04d}"
        case.write("shop-finding", {"repair": key, "finding": said, "text": "", "report": report}, 20 * 1440)


def make(store_path: str | Path, n: int, seed: int = 7) -> float:
    """Put n cases into the store there (a file, or the address of a database); return the seconds it took."""
    began = time.perf_counter()
    with open_store(store_path) as store:
        made = trails(n, seed)
        first = [next(made) for _ in range(min(n, 200))]
        for events in first:
            if faults := verify(events):
                raise SystemExit(f"a made trail is not whole: {faults[0]}")
        store.take(first)
        store.take(made)
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", help="a file, or the address of a database")
    parser.add_argument("-n", type=int, default=100_000, help="cases (%(default)s)")
    arguments = parser.parse_args()
    print(f"{arguments.n} cases made in {make(arguments.store, arguments.n):.0f} s")


if __name__ == "__main__":
    main()

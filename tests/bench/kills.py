"""A session killed at random moments: is every answer there that it said it had?

Each session is ``isolate chase --answers`` in a process of its own, forked from one that has everything loaded, and is
sent SIGKILL at a moment drawn from the whole of its length. Then its case is read: every step that was printed has to
be in the store, in that order, the chain whole, and the case has to go on. With --postgresql the store is on a server
of our own instead of a file. With --readings the session has readings of meters and a recorded start that answers
several checks: each reading that was printed has to be there as it was printed, what the record says of other checks
all of it or none, the trail has to replay the same, and gone on with in another process' stead it has to come to the
same readings as a session that nobody killed, each of them once.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import yaml

from isolate.case.case import RECORD
from isolate.case.chase import Chase
from isolate.case.events import Event, parse_time
from isolate.case.measured import line
from isolate.case.play import Clock, OutOfAnswers, play
from isolate.case.steps import Walk
from isolate.case.store import Store, open_store
from isolate.case.written import Answers, Script, read
from isolate.review.replay import replayed
from tests.bench.figures import quiet
from tests.review import measured_case
from tests.services.cluster import cluster
from tests.test_cli import ANSWERS, acknowledged, long_answers
from tests.worked import shipped_kit


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
    parser.add_argument("--readings", action="store_true")
    arguments = parser.parse_args()
    print(quiet())
    rng = random.Random(arguments.seed)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        where = stack.enter_context(cluster(syncs=True)).fresh() if arguments.postgresql else str(folder / "cases.db")
        answers = measured_answers(folder) if arguments.readings else long_answers(folder)
        session(answers, where, None)  # loads what is loaded once, and makes the store
        began = time.perf_counter()
        whole = session(answers, where, None)
        length = time.perf_counter() - began
        steps = none = 0
        readings = Readings(answers, where, whole) if arguments.readings else None
        for number in range(arguments.n):
            said = session(answers, where, rng.uniform(0, length))
            first = said.partition("\n")[0]
            if not first.startswith("case "):
                none += 1
                continue
            if readings is not None:
                readings.see(first.removeprefix("case "), said)
            else:
                steps += acknowledged_in(where, first.removeprefix("case "), said)
            if sys.stderr.isatty():
                print(f"\r{number + 1}/{arguments.n}", end="", file=sys.stderr)
        with open_store(where) as store:
            broken = sum(bool(store.faults(summary.id)) for summary in store.cases())
            cases = store.totals()["cases"]
    if readings is not None:
        steps = readings.steps
        print(
            f"{readings.printed} readings printed, 0 lost, 0 twice; {readings.between} killed between a record's own "
            f"answer and what it says of other checks; {readings.gone_on} cases gone on with, all to the same readings"
        )
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


def measured_answers(folder: Path) -> Path:
    """Return answers for a case that goes by readings as far as it can, up to its verification."""
    for path in measured_case.folder().iterdir():
        shutil.copy(path, folder)
    fitted = shipped_kit().fitted
    written = yaml.safe_load(ANSWERS)
    written["case"] |= {"complaint": "no-light-off", "starts": [{"channel": "B", "lit": False}]}
    meter = {"reading": "0.9 Ω", "zero": "0.1 Ω", "most": "2 Ω", "where": "task 6"}
    written["readings"] = {
        "recorded-start-read": {
            **{"log": "start.csv", "good": "good.csv", "channel": "B", "along": True},
            **{"speed-least": "15 %", "volts-least": "18 V", "where": "task 3"},
        },
        "standby-read": {"volts": "90.0 V", "least": "108 V", "where": "task 5"},
        **{f"feeder-volts/{c}": {"off-load": "28.0 V", "bus-off-load": "28.1 V"} for c in "AB"},
        **{f"lead-continuity/{c}": meter for c in "AB"},
        "replace-igniter/B": {"wanted": "100 lbf·in", "handle": "12.0 in", "extension": "6.0 in", "angle": "0°"},
    }
    written["cannot"] = {key: "not now" for key in fitted.checks if key not in written["readings"]}
    written["cannot"] |= {key: "not now" for key in fitted.repairs if key != "replace-igniter/B"}
    written["answers"] = {}
    written["facts"] = {"person": "x", "time": "06:10", "tag": "T-17", "text": "seen", "count": 2, "minutes": 1}
    path = folder / "measured.yaml"
    path.write_text(yaml.safe_dump(written, allow_unicode=True), encoding="utf-8")
    return path


class Readings:
    """What of the readings of a killed session is there, and what comes of the case when it is gone on with."""

    def __init__(self, answers: Path, where: str, whole: str) -> None:
        self.answers, self.where = answers, where
        self.kit = shipped_kit()
        self.steps = self.printed = self.between = self.gone_on = 0
        with open_store(where) as store:
            self.all = held(store.events(whole.partition("\n")[0].removeprefix("case ")))
        assert sum(within == RECORD for _, within, _ in self.all) >= 2, "a record that says little tests little"

    def see(self, case: str, said: str) -> None:
        """End the run where something is lost, twice or otherwise."""
        printed = [text for text in said.splitlines() if " min    " in text]
        told = [text for text in printed if " [" in text]
        with open_store(self.where) as store:
            assert store.faults(case) == []
            events = store.events(case)
            readings = held(events)
            # Those of a repair are noted and not printed; those along are printed with the record's own.
            own = [r for r in readings if r[1] not in ("noted", RECORD)]
            assert len(own) >= len(told), (case, "lost")
            for text, (_, _, reading) in zip(told, own, strict=False):
                assert f"[{line(reading)}]" in " ".join(text.split()), (case, text)
            along = sum(within == RECORD for _, within, _ in readings)
            assert along in (0, sum(within == RECORD for _, within, _ in self.all)), (case, "by halves")
            assert along or not any("the same record:" in text for text in told), (case, "lost along")
            self.between += bool(own) and not along
            again = replayed(lambda digest, engine: self.kit, events)
            assert not again.differs and not again.not_replayed, (case, again)
            self._go_on(store, case, readings, bool(own) and not along)
        self.steps += len(printed)
        self.printed += len(told)

    def _go_on(self, store: Store, case: str, had: list[Held], between: bool) -> None:
        clock = Clock(parse_time(store.events(case)[-1].time))
        chase = Chase.resume(self.kit, store, case, clock)
        while isinstance(chase.now(), Walk):
            chase.walked(True)
        script = Script(read(self.answers, Answers, self.kit.fitted), self.kit.fitted, self.answers.parent)
        with suppress(OutOfAnswers):
            play(chase, script, clock)
        now = held(store.events(case))
        assert now[: len(had)] == had and not store.faults(case), case
        assert len({(step, within) for step, within, _ in now}) == len(now), (case, "twice")
        if not between:
            # What the record would have said of others is asked for by itself where it was lost, and answered else.
            assert sorted(now, key=str) == sorted(self.all, key=str), (case, "otherwise")
        self.gone_on += 1


Held = tuple[str, str, dict[str, Any]]


def held(events: Sequence[Event]) -> list[Held]:
    """Return the readings of a case as (step, where it came from, reading)."""
    return [
        (str(e.body.get("check") or e.body.get("about")), "noted" if e.kind == "noted" else e.body["within"],
         e.body["reading"])
        for e in events if "reading" in e.body
    ]  # fmt: skip


if __name__ == "__main__":
    main()

"""Drills: does the tool itself solve the scenarios, do they tell a good chase from a bad one, how hard are they?

Each scenario is driven to its end three ways on the same aircraft and seeds: as the tool advises, by most information
a minute, and by moves drawn at random among the safe ones that the plan offers. The random one gives nothing up: it
closes up once all stands proven, and after so many moves takes the end that the plan finds cheapest. ``over`` is what
the debrief counts beside the reference (:mod:`isolate.drill.debrief`), ``over ours`` the equivalent minutes above those
of ours on that play.

``--measure`` plays the table of difficulties anew and writes it (scenarios/measured.json).
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from isolate.case.chase import Kit
from isolate.case.memory import Memory
from isolate.case.written import read_for
from isolate.drill import author, measure, pilot
from isolate.drill.debrief import debrief
from isolate.drill.drive import Drive
from isolate.drill.scenario import Scenario, find, names
from isolate.drill.tally import wilson
from isolate.drill.trial import knowledge
from isolate.kb.load import shipped_scenarios
from isolate.kb.model import Knowledge
from isolate.reasoning.plan import Valued
from isolate.terminal.plain import kits
from tests.bench.figures import quiet, table

SEED = 1
MOST_RANDOM = 25
"""Moves after which the random mover takes the cheapest end."""
RESAMPLES = 2000
BEGUN = "2030-01-01T06:00:00.000Z"


class AtRandom:
    """Chooses any check, repair or proof that the plan offers, each as likely."""

    def __init__(self, seed: int) -> None:
        self.rng, self.made = np.random.default_rng(seed), 0

    def __call__(self, drive: Drive, moves: tuple[Valued, ...]) -> Valued:
        self.made += 1
        ends = [m for m in moves if m.kind == "end"]
        if self.made > MOST_RANDOM:
            return ends[0]
        open_to = [m for m in moves if m.kind != "end"]
        return open_to[int(self.rng.integers(len(open_to)))] if open_to else ends[0]


MOVERS: dict[str, Callable[[int], pilot.Mover]] = {
    "ours": lambda seed: pilot.ours,
    "most information": lambda seed: pilot.most_information,
    "at random": AtRandom,
}


@dataclass(frozen=True)
class Play:
    """One drive to the end. ``wrong``: why its end is wrong, empty where it is right."""

    name: str
    equivalent: float
    over: float
    wrong: str
    stops: int


def play(name: str, scenario: Scenario, kit: Kit, mover: pilot.Mover, seed: int) -> Play:
    drive = Drive.begin(kit, Memory(), "bench", name, scenario, "bench", BEGUN, seed=seed)
    try:
        deferring = scenario.defer is not None and mover is pilot.ours
        came = author.deferred(drive) if deferring else pilot.run(drive, mover)
    except pilot.Stuck as stuck:
        stops = sum(e.kind == "stopped" for e in drive.chase.state.events)
        return Play(name, float("nan"), float("nan"), f"stuck: {stuck}", stops)
    why = author.wrong(drive, came)
    stops = sum(e.kind == "stopped" for e in drive.chase.state.events)
    found = debrief(kit, drive.chase.state.events).as_dict()
    return Play(name, author.spent(drive, came, bool(why)), float(found["over"]), why, stops)


def interval(values: Sequence[float]) -> str:
    """Return a mean with the 95 % interval of resampling the scenarios."""
    drawn = np.random.default_rng(0).choice(np.asarray(values), (RESAMPLES, len(values))).mean(axis=1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return f"{statistics.fmean(values):.0f} [{low:.0f}, {high:.0f}]"


def compared(known: Knowledge, folder: Path, seeds: int, movers: Sequence[str], chosen: Sequence[str]) -> None:
    made, hardness = kits(known), measure.read(folder)
    played: dict[str, list[Play]] = {name: [] for name in movers}
    rows = []
    for name in chosen or names(folder):
        scenario, kit = read_for(find(name, folder), Scenario, made)
        for mover in movers:
            for k in range(seeds):
                seed = scenario.seed + 1000 * k
                one = play(name, scenario, kit, MOVERS[mover](seed), seed)
                played[mover].append(one)
                print(f"{name} {mover} {seed}: {one.equivalent:.0f}, over {one.over:.0f} {one.wrong}",
                      file=sys.stderr, flush=True)  # fmt: skip
        case = scenario.case
        level = hardness.level(kit.fitted, case.complaint, case.channel, scenario.truth, case.place)
        average = hardness.average.get(kit.fitted.name, 0.0)
        own = [p.equivalent for p in played["ours"][-seeds:]]
        here = statistics.fmean(own) / average if average else float("nan")
        rows.append([name, case.engine, level["name"], f"{level.get('ratio', float('nan')):.2f}", f"{here:.2f}"])
    right = [p for p in played["ours"] if not p.wrong]
    print(f"Solved by the tool itself with the right end: {len(right)} of {len(played['ours'])}")
    for one in played["ours"]:
        if one.wrong:
            print(f"  {one.name}: {one.wrong}")
    print()
    lines = []
    for mover, plays in played.items():
        ended = [i for i, p in enumerate(plays) if p.equivalent == p.equivalent]
        beside = [plays[i].equivalent - played["ours"][i].equivalent for i in ended
                  if played["ours"][i].equivalent == played["ours"][i].equivalent]  # fmt: skip
        good = sum(not p.wrong for p in plays)
        low, high = wilson(good, len(plays))
        lines.append(
            [mover, len(plays), f"{good / len(plays):.0%} [{low:.0%}, {high:.0%}]",
             interval([plays[i].equivalent for i in ended]), interval([plays[i].over for i in ended]),
             interval(beside), sum(p.stops for p in plays)]
        )  # fmt: skip
    table(["mover", "n", "right end", "equivalent min", "over (debrief)", "over ours", "stops"], lines)
    print("\nHow hard (measured: reference on such a case over its engine's average; here: on the scenario itself)")
    table(["scenario", "engine", "level", "measured", "here"], rows)


def besides(known: Knowledge, folder: Path, seed: int, plays: int) -> None:
    """Measure what the scenarios are about and the table lacks; averages stay what they are."""
    table, made = measure.read(folder), kits(known)
    rows = {about: dict(truths) for about, truths in table.rows.items()}
    for name in names(folder):
        scenario, kit = read_for(folder / f"{name}.yaml", Scenario, made)
        case = scenario.case
        if table.row(kit.fitted, case.complaint, case.channel, scenario.truth, case.place) is None:
            truth = measure.canonical(kit.fitted, case.complaint, case.channel, scenario.truth)
            found = measure.measure(kit, None, case.complaint, case.place, seed, plays, only=[truth])
            rows.setdefault((kit.fitted.name, case.complaint, case.place), {}).update(found)
            print(f"{name}: {found.get(truth, 'not among the states that are planned over')}")
    added = measure.Measured(table.knowledge, table.seed, table.plays, table.average, rows)
    (folder / measure.TABLE).write_text(measure.written(added), encoding="utf-8")


def measured(known: Knowledge, seed: int, plays: int, path: Path) -> None:
    """Play the table of difficulties anew and write it, anew after each problem, so that nothing is lost."""
    made = kits(known)
    rows: dict[tuple[str, str, str], dict[measure.Truth, measure.Row]] = {}
    begun = time.process_time()
    for kit, complaint, place in measure.problems([made(engine) for engine in known.engines]):
        rows[kit.fitted.name, complaint, place] = measure.measure(kit, None, complaint, place, seed, plays)
        spent = time.process_time() - begun
        found = measure.Measured(measure.digest(known), seed, plays, measure.averaged(rows), rows)
        path.write_text(measure.written(found), encoding="utf-8")
        print(f"{len(rows)}: {kit.fitted.name} {complaint} {place}, {spent:.0f} s", file=sys.stderr, flush=True)


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--measure", action="store_true", help="play the table of difficulties anew and write it")
    parser.add_argument(
        "--besides", action="store_true", help="add the scenarios' own truths that the table lacks, and write it"
    )
    parser.add_argument("--plays", type=int, default=measure.PLAYS, help=f"plays of each truth ({measure.PLAYS})")
    parser.add_argument("--seed", type=int, default=SEED, help="of the table")
    parser.add_argument("--to", type=Path, default=None, help="where the table is written")
    parser.add_argument("-n", type=int, default=1, help="seeds of each scenario, its own first (1)")
    parser.add_argument("--movers", nargs="*", default=list(MOVERS), choices=list(MOVERS))
    parser.add_argument("scenarios", nargs="*", help="scenarios by name; none: all")
    given = parser.parse_args(argv)
    known, folder = knowledge(None), shipped_scenarios()
    if given.besides:
        besides(known, folder, given.seed, given.plays)
        return
    if given.measure:
        measured(known, given.seed, given.plays, given.to or folder / measure.TABLE)
        if given.to is None:
            besides(known, folder, given.seed, given.plays)
        return
    print(quiet())
    movers = ["ours", *(m for m in given.movers if m != "ours")]
    compared(known, folder, max(1, given.n), movers, given.scenarios)


if __name__ == "__main__":
    main()

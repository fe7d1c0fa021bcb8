"""Faults that come and go: how many are isolated to the right part, and in what time, with activity and without.

    python -m tests.bench.intermittent [--cases 60] [--engine halden-hf-3] [--seed 1]

A case: a fault that shows two times in three or less where no condition stands out, drawn by its prior; the condition
in which it shows most; six starts in that condition, on each channel in turn, at least one of them failed; and a
technician who may do everything, at an aircraft that is in that condition one time in three and else ordinary or cold.
What is answered is drawn forwards from the model (isolate.drill.sample), what sleeps on an occasion sleeping through
it. The same cases are worked by the tool and by the same tool that takes every fault as always there.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any, cast, get_args

import numpy as np

from isolate.case.case import Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.drill.sample import Drawn
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import Fitted, fit, instance
from isolate.kb.load import load
from isolate.kb.model import HEALTHY, Condition
from isolate.reasoning.belief import Model
from isolate.reasoning.starts import Start

SLEEPS = 0.67
PEOPLE = (
    Person("the technician", ("licensed", "motoring", "engine-run")),
    Person("the second pair of eyes", ("licensed",)),
    Person("the headset"),
)


class Living(Aircraft):
    """An aircraft whose answers are drawn; it is told how it is by the chase that works it."""

    chase: Chase

    def __init__(self, model: Model, truth: str, seed: tuple[int, int]) -> None:
        super().__init__(model, [truth], people=[p.name for p in PEOPLE])
        self.drawn = Drawn(model, self.truth, np.random.default_rng((*seed, 3)))
        self.vain = 0

    def outcome(self, check: str, within: str) -> str | None:
        return self.drawn.outcome(check, self.chase.setting)

    def repaired(self, repair: str) -> None:
        before = dict(self.truth)
        super().repaired(repair)
        fit = self.fitted.repairs.get(repair)
        if fit is not None and before == self.truth and fit.entry.parts > 0:
            self.vain += 1
        self.drawn.truth = dict(self.truth)
        self.drawn.worked(set(fit.clears) if fit is not None else set())


@dataclass(frozen=True)
class Worked:
    mode: str
    end: str
    right: bool
    missed: bool
    minutes: float
    vain: int


def drawn(fitted: Fitted, model: Model, seed: tuple[int, int]) -> tuple[str, Intake]:
    """Return a hidden truth and the case as it is told."""
    rng = np.random.default_rng(seed)
    modes = [
        (instance(state, zone.channel), zone.prior[i], state, zone)
        for zone in fitted.zones.values()
        if zone.entry.kind == "ignition"
        for i, state in enumerate(zone.states)
        if state != HEALTHY and zone.active("steady")[i] <= SLEEPS and zone.lights[i] < 0.7
    ]
    p = np.array([m[1] for m in modes])
    mode, _, state, zone = modes[int(rng.choice(len(modes), p=p / p.sum()))]
    i = zone.states.index(state)
    shows = max(get_args(Condition), key=lambda c: zone.active(c)[i])
    truth = dict.fromkeys(fitted.zones, HEALTHY) | {zone.key: state}
    told: list[Start] = []
    while not any(not s.lit for s in told):
        aircraft = Drawn(model, truth, rng)
        told = [Start(c, aircraft.lights(c, shows), shows) for c in (*fitted.channels, *fitted.channels) * 2][:6]
    now = shows if rng.random() < 1 / 3 else cast(Condition, str(rng.choice(["steady", "cold"])))
    intake = Intake(
        "104", "1", fitted.name, "intermittent-no-ignite", starts=tuple(told), people=PEOPLE, place="hangar",
        condition=shows, now=now, shut_down=15.0 if now == "hot" else None,
    )
    return mode, intake


def work(engine: str, seed: int, cases: range, activity: bool) -> list[Worked]:
    fitted = fit(load().knowledge, engine)
    world = Model(fitted)
    kit = Kit(fitted)
    kit.model = Model(fitted, activity)
    found = []
    for case in cases:
        mode, intake = drawn(fitted, world, (seed, case))
        clock = Clock()
        aircraft = Living(world, mode, (seed, case))
        chase = aircraft.chase = Chase.begin(kit, Memory(), "case", intake, clock)
        done = play(chase, aircraft, clock)
        cured = all(s == HEALTHY for s in aircraft.truth.values())
        said = done.end.startswith("verified,")
        found.append(Worked(mode, done.end, cured, said and not cured, chase.state.book_minutes, aircraft.vain))
    return found


def show(title: str, found: list[Worked]) -> None:
    n = len(found)
    minutes = np.array([w.minutes for w in found])
    right = [w for w in found if w.right]
    print(f"\n{title}, {n} cases")
    print(f"  the right part found and put right  {len(right) / n:6.1%}")
    print(f"  called verified with the fault left {sum(w.missed for w in found) / n:6.1%}")
    print(f"  of those put right, without a part in vain {sum(not w.vain for w in right) / max(1, len(right)):6.1%}")
    print(f"  parts in vain a case {np.mean([w.vain for w in found]):.2f}")
    print(f"  minutes by the book: mean {minutes.mean():.0f}, median {np.median(minutes):.0f}")
    ends: dict[str, Any] = {}
    for w in found:
        ends[w.end] = ends.get(w.end, 0) + 1
    for end, count in sorted(ends.items(), key=lambda e: -e[1]):
        print(f"    {count:4d}  {end}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=60)
    parser.add_argument("--engine", default="halden-hf-3")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    told = parser.parse_args()
    both: dict[bool, list[Worked]] = {}
    with ProcessPoolExecutor(told.workers) as pool:
        pieces = [range(i, min(i + 10, told.cases)) for i in range(0, told.cases, 10)]
        jobs = {a: [pool.submit(work, told.engine, told.seed, p, a) for p in pieces] for a in (True, False)}
        for activity, blocks in jobs.items():
            both[activity] = [w for job in blocks for w in job.result()]
            show("with activity" if activity else "with activity switched off", both[activity])
    difference = np.array([a.minutes - b.minutes for a, b in zip(both[True], both[False], strict=True)])
    spread = 1.96 * difference.std(ddof=1) / len(difference) ** 0.5
    print(f"\nminutes with less without, paired: {difference.mean():+.0f} ± {spread:.0f}")


if __name__ == "__main__":
    main()

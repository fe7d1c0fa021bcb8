"""How far a state given p % is true p % of the time: cases drawn from the model, and from one that is off.

    python -m tests.bench.calibration [--cases 10000] [--perturbed 2000] [--engine halden-hf-3] [--seed 1]

A case: a complaint with its starts, a truth drawn from the belief after it, and answers to some checks on three
occasions in two conditions, drawn forwards (isolate.drill.sample). Every fault state believed at 1 % or more is a
prediction; so is the most probable state of each case. The expected calibration error is the mean distance between
what was said and what was so over ten bins, weighed by their predictions (Naeini, Cooper and Hauskrecht 2015; from
memory). ``off``: each likelihood and each activity's odds multiplied by a factor drawn log-uniformly from 1/2 to 2,
rows normalised again; truths and answers are drawn from that model and judged by the shipped one.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import get_args

import numpy as np

from isolate.case.believed import told_belief
from isolate.case.case import Intake
from isolate.drill.sample import Drawn
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.kb.model import HEALTHY, Condition
from isolate.reasoning.belief import Belief, Model, Setting
from isolate.reasoning.occasion import Makes

BINS = np.linspace(0, 1, 11)
LEAST = 0.01


class Off(Model):
    """The model with every likelihood, and every activity, off by a random factor up to ``most``."""

    def __init__(self, fitted: Fitted, rng: np.random.Generator, most: float) -> None:
        checks = {}
        for key, check in fitted.checks.items():
            given = {}
            for zone, rows in check.given.items():
                table = np.asarray(rows) * np.exp(rng.uniform(-math.log(most), math.log(most), np.shape(rows)))
                given[zone] = tuple(tuple(row / row.sum()) for row in table)
            checks[key] = replace(check, given=given)
        super().__init__(replace(fitted, checks=checks))
        size = math.log(most)
        self._odds = {zone: np.exp(rng.uniform(-size, size, len(z.states))) for zone, z in fitted.zones.items()}

    def active(self, zone: str, condition: Condition, strength: float = 1.0, makes: Makes = None) -> np.ndarray:
        sure = super().active(zone, condition, strength, makes)
        odds = sure * self._odds[zone]
        return np.where(sure >= 1.0, 1.0, odds / (odds + 1 - sure))


def intakes(fitted: Fitted) -> list[Intake]:
    """Return one case a complaint; one about a channel is about the first."""
    found = []
    for name, complaint in fitted.complaints.items():
        channel = fitted.channels[0] if complaint.asks_channel else ""
        found.append(Intake("104", "1", fitted.name, name, channel=channel))
    return found


def one(model: Model, world: Model, intake: Intake, rng: np.random.Generator) -> Iterable[tuple[float, bool, bool]]:
    """Yield (probability, whether it was so, whether it was the most probable) for one case."""
    belief = told_belief(model, intake)
    flat = belief.joint.ravel()
    at = np.unravel_index(int(np.searchsorted(np.cumsum(flat), rng.random() * float(flat.sum()))), model.shape)
    truth = {z: model.fitted.zones[z].states[i] for z, i in zip(model.zones, at, strict=True)}
    aircraft = Drawn(world, truth, rng)
    # What the complaint already says is not asked again: it was drawn with the truth.
    keys = [k for k in model.fitted.checks if k not in belief.occasion]
    functional = [k for k in keys if model.fitted.checks[k].still]
    others = [k for k in keys if not model.fitted.checks[k].functional]
    conditions = rng.choice(np.array(get_args(Condition)), 2, replace=False)
    settings = [Setting(str(c), 1.0, i) for i, c in enumerate([*conditions, conditions[0]])]  # type: ignore[arg-type]
    for setting in settings:
        for key in rng.choice(functional, 2, replace=False):
            belief = told(belief, aircraft, str(key), setting)
    for key in rng.choice(others, 4, replace=False):
        belief = told(belief, aircraft, str(key), settings[-1])
    predicted = belief.faults(LEAST)
    for rank, m in enumerate(predicted):
        yield m.probability, truth[m.zone] == m.state, rank == 0
    if belief.healthy() >= LEAST:
        yield belief.healthy(), all(s == HEALTHY for s in truth.values()), False


def told(belief: Belief, aircraft: Drawn, key: str, setting: Setting) -> Belief:
    if belief.had(key, *setting) and belief.model.fitted.check(key).repeats is None:
        return belief
    # In another condition it may be asked again; on another occasion in the same one it may not.
    if belief.model.fitted.check(key).repeats is None and belief.in_condition(key, setting):
        return belief
    return belief.answer(key, aircraft.outcome(key, setting), *setting)


def block(engine: str, seed: int, cases: range, off: float) -> list[tuple[float, bool, bool]]:
    fitted = fit(load().knowledge, engine)
    model = Model(fitted)
    all_of = intakes(fitted)
    found: list[tuple[float, bool, bool]] = []
    world: Model = model
    for case in cases:
        rng = np.random.default_rng((seed, case))
        if off > 1 and (world is model or case % 50 == 0):
            world = Off(fitted, np.random.default_rng((seed, case, 7)), off)
        found += one(model, world, all_of[case % len(all_of)], rng)
    return found


def table(found: list[tuple[float, bool, bool]]) -> tuple[list[tuple[int, float, float]], float]:
    """Return the bins as (count, mean said, share so) and the expected calibration error."""
    said, so = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    which = np.clip(np.digitize(said, BINS) - 1, 0, 9)
    rows, error = [], 0.0
    for b in range(10):
        own = which == b
        if own.any():
            rows.append((int(own.sum()), float(said[own].mean()), float(so[own].mean())))
            error += own.sum() / len(said) * abs(float(said[own].mean()) - float(so[own].mean()))
    return rows, error


def show(title: str, found: list[tuple[float, bool, bool]]) -> None:
    rows, error = table(found)
    print(f"\n{title}: {len(found)} predictions, expected calibration error {error:.4f}")
    for count, said, so in rows:
        spread = 1.96 * math.sqrt(max(so * (1 - so), 1e-9) / count)
        print(f"  {count:7d}  said {said:6.3f}  so {so:6.3f}  ± {spread:.3f}")
    top = [f for f in found if f[2]]
    _, own = table(top)
    print(
        f"  most probable fault of a case: so {np.mean([f[1] for f in top]):.3f}, said "
        f"{np.mean([f[0] for f in top]):.3f}, error {own:.4f}"
    )
    clipped = np.clip([f[0] if f[1] else 1 - f[0] for f in found], 1e-4, 1)
    print(f"  mean log loss {-np.log(clipped).mean():.4f} nats a prediction")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--perturbed", type=int, default=2000)
    parser.add_argument("--engine", default="halden-hf-3")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    told_ = parser.parse_args()
    with ProcessPoolExecutor(told_.workers) as pool:
        for cases, off in ((told_.cases, 1.0), (told_.perturbed, 2.0)):
            if not cases:
                continue
            pieces = [range(i, min(i + 250, cases)) for i in range(0, cases, 250)]
            jobs = [pool.submit(block, told_.engine, told_.seed, piece, off) for piece in pieces]
            found = [row for job in jobs for row in job.result()]
            show("drawn from the model" if off == 1 else f"each likelihood off by up to {off:g}", found)


if __name__ == "__main__":
    main()

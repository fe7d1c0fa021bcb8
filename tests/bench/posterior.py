"""Our posterior beside a reference library's, on the same network. Run: python -m tests.bench.posterior

Seven checks drawn at random from the shipped knowledge get random answers; the posterior of every zone follows. The
reference is pyAgrum's exact LazyPropagation on the explicit network of tests/published/test_posterior.py, which holds
the zones and those seven checks and nothing else.

``inference``: both have their tables already. Ours takes in the seven answers and reads every zone; theirs sets the
evidence on the network, propagates and reads every zone.
``from the entries``: both start from the knowledge entries, as fitted. Ours makes a new Model; theirs builds the
network, in Python, by enumeration, so most of its time is ours to blame, not the library's.

The least of ``-r`` repeats is taken for each seed; printed are medians over the seeds in ms, the median ratio, and the
largest difference of any probability anywhere.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable
from statistics import median

import numpy as np
import pyagrum

from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.reasoning.belief import Belief, Model
from tests.bench.figures import quiet, table
from tests.published.test_posterior import Network

ANSWERS = 7
Read = dict[str, np.ndarray]


def answers(hf3: Fitted, seed: int) -> dict[str, str]:
    """Return random answers to random checks."""
    rng = random.Random(seed)
    return {key: rng.choice(hf3.checks[key].outcomes) for key in rng.sample(sorted(hf3.checks), ANSWERS)}


def ours(model: Model, told: dict[str, str]) -> Read:
    belief = Belief.before(model)
    for key, outcome in told.items():
        belief = belief.answer(key, outcome)
    return {zone: belief.zone(zone) for zone in model.zones}


def built(hf3: Fitted, told: dict[str, str]) -> Network:
    network = Network(hf3)
    for key in told:
        name, _, channel = key.partition("/")
        network.add_check(key, hf3.knowledge.checks[name], channel, "steady")
    return network


def theirs(network: Network, told: dict[str, str]) -> Read:
    inference = pyagrum.LazyPropagation(network.net)
    inference.setEvidence(told)
    inference.makeInference()
    return {zone: np.asarray(inference.posterior(zone).toarray()) for zone in network.states}


def least(work: Callable[[], object], repeats: int) -> float:
    """Return the least ms that some work took."""
    found = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        found.append(1000 * (time.perf_counter() - began))
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("-n", type=int, default=10, help="sets of answers, seeds 0 to n-1 (10)")
    parser.add_argument("-r", type=int, default=5, help="repeats of each (5)")
    arguments = parser.parse_args()
    n, repeats = max(1, arguments.n), max(1, arguments.r)
    print(quiet())
    hf3 = fit(load().knowledge, "halden-hf-3")
    warm = Model(hf3)
    times: dict[str, list[tuple[float, float]]] = {"inference": [], "from the entries": []}
    apart = 0.0
    for seed in range(n):
        told = answers(hf3, seed)
        network = built(hf3, told)
        one, other = ours(warm, told), theirs(network, told)
        apart = max(apart, *(float(np.abs(one[zone] - other[zone]).max()) for zone in one))
        times["inference"].append(
            (least(lambda: ours(warm, told), repeats), least(lambda: theirs(network, told), repeats))  # noqa: B023
        )
        times["from the entries"].append(
            (
                least(lambda: ours(Model(hf3), told), repeats),  # noqa: B023
                least(lambda: theirs(built(hf3, told), told), 1),  # noqa: B023
            )
        )
    rows = []
    for what, found in times.items():
        a, b = median(x for x, _ in found), median(y for _, y in found)
        rows.append([what, f"{a:.2f}", f"{b:.2f}", f"{median(x / y for x, y in found):.3f}"])
    table(["posterior", "ours ms", "pyAgrum ms", "ours / pyAgrum"], rows)
    states = int(np.prod(warm.shape))
    print(f"largest difference of a probability: {apart:.1e}")
    size = f"{len(warm.zones)} zones, {states} joint states"
    print(f"{n} sets of {ANSWERS} answers; {size}; pyAgrum {pyagrum.__version__}")


if __name__ == "__main__":
    main()

"""How many starts of alternating history name what is at fault. Run: python -m tests.bench.starts_needed

Histories are sampled from the model itself: one channel of the Halden HF-3 is at fault from the first start told on,
its fault drawn by prior, the rest as it comes; each start uses the channel whose turn it is and lights as the knowledge
has it. After each start the belief is worked out from the starts alone, and counted is the first at which the channel
is at fault with 95 %. ``--most`` starts are told at most; looked at are each of the first 16, then every fourth.

Rows: the channel told at each start; told only at the newest one; not told but there, with starts missing before every
sixth; and 30 good starts on both channels before the fault came. Faults that leave at least half of their starts dark
are shown apart, since a fault that seldom shows cannot be named by starts. For lanes the driver of one control lane has
failed, and it is named with 95 %: with the lane told at each start, and with no lane told.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import replace

# One thread for numpy, said before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.kb.fit import fit  # noqa: E402
from isolate.kb.load import load  # noqa: E402
from isolate.reasoning.belief import Belief, Model  # noqa: E402
from isolate.reasoning.starts import UNKNOWN, Start  # noqa: E402
from tests.bench.figures import table  # noqa: E402

SURE = 0.95
KINDS = ("told", "newest told", "newest told, gaps", "told, 30 good before", "lane, told", "lane, not told")


def sampled(model: Model, kind: str, most: int, rng: np.random.Generator) -> tuple[list[Start], str, str, float]:
    """Return starts in full, the zone at fault, its state, and the share of its own starts that it leaves dark."""
    zones = model.fitted.zones
    lane = kind.startswith("lane")
    zone = "shared" if lane else f"channel/{rng.choice(model.fitted.channels)}"
    now = {}
    for key, one in zones.items():
        shares = np.array(one.prior)
        if key == zone:
            keep = [bool(s != "healthy" and (not lane or one.modes[s].by_lane)) for s in one.states]
            shares = np.where(keep, shares, 0.0)
        now[key] = int(rng.choice(len(shares), p=shares / shares.sum()))
    lights = {key: model.lights("steady")[key].reshape(-1) for key in zones}
    before = 30 if "before" in kind else 0
    phase, lanes, failed = int(rng.integers(2)), int(rng.integers(4)), str(rng.integers(1, 3))
    starts = []
    for i in range(before + most):
        channel = model.fitted.channels[(phase + i) % 2]
        named = "12"[(lanes + i) // 2 % 2]
        lit = 1.0
        for key, one in zones.items():
            # The faults told of come with the first start after the good ones; what else there is, was there before.
            state = now[key] if key != zone or i >= before else 0
            p = float(lights[key][state])
            if state and one.modes[one.states[state]].by_lane:
                p = max(0.0, 2 * p - one.lights[0]) if named == failed else one.lights[0]
            if one.channel in ("", channel):
                lit *= p
        starts.append(Start(channel, bool(rng.random() < lit), lane=named))
    state = zones[zone].states[now[zone]]
    dark = 1 - float(lights[zone][now[zone]])
    return starts, zone, state, dark


def told(starts: Sequence[Start], kind: str) -> tuple[Start, ...]:
    """Return starts as somebody tells them."""
    found = []
    for i, start in enumerate(starts):
        shown = start if kind == "lane, told" else replace(start, lane="")
        if kind.startswith("newest") and i + 1 < len(starts):
            shown = replace(shown, channel=UNKNOWN)
        if "gaps" in kind and i and i % 6 == 0:
            shown = replace(shown, gap=True)
        found.append(shown)
    return tuple(found)


def needed(model: Model, kind: str, most: int, rng: np.random.Generator) -> tuple[int | None, float]:
    """Return (starts with the fault until it is named, None for never; share of its own starts that it leaves dark)."""
    starts, zone, state, dark = sampled(model, kind, most, rng)
    before = len(starts) - most
    for count in [*range(1, min(most, 16) + 1), *range(20, most + 1, 4)]:
        belief = Belief.before(model).starts(told(starts[: before + count], kind))
        at = model.fitted.zones[zone].states.index(state)
        share = float(belief.zone(zone)[at]) if kind.startswith("lane") else 1 - float(belief.zone(zone)[0])
        if share >= SURE:
            return count, dark
    return None, dark


def main(arguments: Sequence[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("-n", type=int, default=100, help="histories of each kind (%(default)s)")
    parser.add_argument("--most", type=int, default=40, help="starts at most (%(default)s)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS, action="append", help="one kind; may be given again (default: each)")
    asked = parser.parse_args(arguments)
    model = Model(fit(load().knowledge, "halden-hf-3"))
    rows: list[list[object]] = []
    for kind in asked.kind or KINDS:
        rng = np.random.default_rng([asked.seed, KINDS.index(kind)])
        found = [needed(model, kind, asked.most, rng) for _ in range(asked.n)]
        groups = (("all faults", 0.0), ("half dark or more", 0.5))
        for name, least in groups if "lane" not in kind else (("its driver", 0.0),):
            # What is never named takes longer than any that is.
            counts = sorted(10**6 if first is None else first for first, dark in found if dark >= least)
            if not counts:
                continue
            shown = []
            for share in (0.25, 0.5, 0.75, 0.9):
                value = counts[int(np.ceil(share * len(counts))) - 1]
                shown.append(f"over {asked.most}" if value == 10**6 else value)
            rows.append([f"{kind}, {name}", len(counts), *shown, f"{sum(c < 10**6 for c in counts) / len(counts):.0%}"])
    table(["history, faults", "n", "25 %", "median", "75 %", "90 %", "named"], rows)


if __name__ == "__main__":
    main(sys.argv[1:])

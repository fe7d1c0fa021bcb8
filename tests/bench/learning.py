"""How well what is learnt from cases holds. Run: python -m tests.bench.learning [--parts 1 2 3 5]

Cases are drawn forward from knowledge whose true figures are known (``tests.learnt.drawn``: one faulty channel of the
Halden HF-3, a handful of checks answered on both channels, the fault replaced and confirmed), and learnt from with the
shipped knowledge.

1. *Limits*: the true rows and priors are drawn anew for each turn from what the shipped figures are said to be worth.
   Counted is how often the true figure lies within the limits given, which say 95 in 100.
2. *Nothing to find*: the shipped figures are the true ones. Counted are the rows and priors proposed to be changed.
3. *Something to find*: one row is off (a chafed lead looks good in 5 cases of 10 and not in 1.2), one prior is three
   times what is written. Counted is how often each is proposed, by the number of cases.
4. ``--chases N``: so many cases worked to their end by the tool's own advice (about 2 s each), with those same two
   figures off. The shop confirms what it sees, and misses three in ten of the faults that come and go. It shows what
   being chosen, found and confirmed does to the figures, which the limits do not know of.
5. *Who names the fault*: as 1, with the fault named truly, as where the shop names it, and by the belief of the tool
   with the shipped figures, as where the end of the case does. Counted are wrong names and what lies within the limits.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

from isolate.case.believed import SHOP_MISSES, part_states  # noqa: E402
from isolate.case.chase import Chase, Kit  # noqa: E402
from isolate.case.events import Event  # noqa: E402
from isolate.case.memory import Memory  # noqa: E402
from isolate.case.parts import finding_event  # noqa: E402
from isolate.case.play import Clock, OutOfAnswers, play  # noqa: E402
from isolate.drill.sample import Drawn  # noqa: E402
from isolate.kb.load import load  # noqa: E402
from isolate.kb.model import HEALTHY  # noqa: E402
from isolate.reasoning.belief import Setting  # noqa: E402
from isolate.review.learning import PRIORS_WORTH, Learnt, Weighed, for_the_shop, learn, worth  # noqa: E402
from tests.bench.figures import table  # noqa: E402
from tests.learnt import BEGIN, Cases, drawn, kit_with, shares_told  # noqa: E402
from tests.worked import Worked, told  # noqa: E402

CHECKS = ("lead-route-look", "spark-test", "lead-continuity", "plug-tip-look", "lead-insulation")
OFF_ROW = ("lead-route-look", "channel", 1)
OFF = {OFF_ROW: {"good": 0.5, "unclipped": 0.1, "chafed": 0.4}}
OFF_PRIOR = {"lead-chafed": 0.012}


def truly(rng: np.random.Generator) -> tuple[dict[Any, dict[str, float]], dict[str, float]]:
    """Return rows and priors drawn from what the shipped ones are said to be worth."""
    base = load().knowledge
    rows: dict[Any, dict[str, float]] = {}
    for name in CHECKS:
        check = base.checks[name]
        strength = worth(check.sure, (base.sources[s] for s in check.source))
        for given, had in check.given.items():
            for number, row in enumerate(had):
                if len(row.gives) > 1:
                    figures = rng.dirichlet([strength * p for p in row.gives.values()])
                    figures = np.maximum(figures, 1e-4) / np.maximum(figures, 1e-4).sum()
                    rows[name, given, number] = dict(zip(row.gives, figures.tolist(), strict=True))
    kit = kit_with({})
    zone = kit.fitted.zones["channel/A"]
    able = sorted(for_the_shop(kit.fitted, zone.key))
    had = shares_told(kit, able)
    new = np.maximum(rng.dirichlet(PRIORS_WORTH * had), 1e-6)
    written = [zone.modes[s].prior for s in able]
    priors = {s: float(min(0.2, p * n / h)) for s, p, n, h in zip(able, written, new, had, strict=True)}
    return rows, priors


def limits(turns: int, number: int) -> None:
    """Print how often true figures lie within their limits."""
    inside: Counter[str] = Counter()
    of: Counter[str] = Counter()
    for turn in range(turns):
        rows, priors = truly(np.random.default_rng(turn))
        kit = kit_with(rows, priors)
        found = learn(load(), Cases(drawn(kit, turn, number, CHECKS)))
        for kind, figure, truth in true_figures(kit, found, rows):
            of[kind] += 1
            inside[kind] += figure.low <= truth <= figure.high
    print(f"1. Limits, {turns} turns of {number} cases")
    shown = [(k, of[k], inside[k], f"{inside[k] / of[k]:.3f}") for k in sorted(of)]
    table(("figures", "number", "inside", "share"), shown)


def named_by(turns: int, number: int) -> None:
    """Print how often the limits hold the true figure where the fault is named truly, and where the tool names it."""
    shown = []
    for who, tool in (("named truly", None), ("named by the end", kit_with({}))):
        inside: Counter[str] = Counter()
        of: Counter[str] = Counter()
        wrong = 0
        for turn in range(turns):
            rows, priors = truly(np.random.default_rng(turn))
            kit = kit_with(rows, priors)
            cases = drawn(kit, turn, number, CHECKS, tool=tool)
            truth = drawn(kit, turn, number, CHECKS)
            wrong += sum(a[-2].body["found"] != b[-2].body["found"] for a, b in zip(cases, truth, strict=True))
            for kind, figure, true in true_figures(kit, learn(load(), Cases(cases)), rows):
                of[kind] += 1
                inside[kind] += figure.low <= true <= figure.high
        shown += [(who, f"{wrong / turns / number:.3f}", k, of[k], f"{inside[k] / of[k]:.3f}") for k in sorted(of)]
    print(f"\n5. Who names the fault, {turns} turns of {number} cases")
    table(("", "wrong fault", "figures", "number", "inside"), shown)


def true_figures(kit: Kit, found: Learnt, rows: Any) -> Iterator[tuple[str, Any, float]]:
    """Yield (kind, figure, its true value) for all that limits were given for."""
    zone = kit.fitted.zones["channel/A"]
    able = sorted(for_the_shop(kit.fitted, zone.key))
    true = dict(zip(able, shares_told(kit, able), strict=True))
    present = dict(zip(able, shares_told(kit_with({}), able), strict=True))
    for one in found.weighed:
        if one.said == "too little":
            continue
        if one.what == "likelihood":
            truth = rows[one.name, one.path[1], one.path[2]]
            mixed = one.sure < sum(f.count for f in one.figures) - 0.5
            for figure in one.figures:
                # What is next to nothing has limits of next to nothing: nothing could be counted there.
                if figure.key in truth and figure.present * one.worth >= 0.5:
                    yield "rows, in doubt" if mixed else "rows, plain", figure, truth[figure.key]
        elif one.path[1] in true:
            (figure,) = one.figures
            mode = str(one.path[1])
            yield "priors", figure, figure.present * true[mode] / present[mode]


def nothing(turns: int, number: int) -> None:
    """Print how many rows and priors are proposed to be changed where the shipped figures are true."""
    said: Counter[str] = Counter()
    kit = kit_with({})
    for turn in range(turns):
        for one in learn(load(), Cases(drawn(kit, 1000 + turn, number, CHECKS))).weighed:
            said[f"{one.what}: {one.said}"] += 1
    print(f"\n2. Nothing to find, {turns} turns of {number} cases")
    table(("", "number"), [(k, said[k]) for k in sorted(said)])
    for what in ("likelihood", "prior"):
        weighed = said[f"{what}: change"] + said[f"{what}: nothing new"]
        print(f"{what}: {said[f'{what}: change'] / max(1, weighed):.4f} of those weighed are proposed")


def _off(one: Weighed) -> str:
    if one.kind == "checks" and (one.name, *one.path[1:3]) == OFF_ROW:
        return "row"
    return "prior" if one.path[1:2] == ("lead-chafed",) else ""


def something(turns: int) -> None:
    """Print how often what is off is proposed, by the number of cases."""
    kit = kit_with(OFF, OFF_PRIOR)
    shown = []
    for number in (15, 30, 60, 120):
        hit: Counter[str] = Counter()
        for turn in range(turns):
            found = learn(load(), Cases(drawn(kit, 2000 + turn, number, CHECKS)))
            hit.update(_off(one) or f"other {one.what}" for one in found.changes if one.said == "change")
            hit["chafed"] += sum(len(one.cases) for one in found.weighed if _off(one) == "row")
        shown.append(
            (number, f"{hit['chafed'] / turns:.1f}", *(f"{hit[k] / turns:.2f}" for k in ("row", "prior")),
             f"{hit['other likelihood'] / turns:.2f}")
        )  # fmt: skip
    print(f"\n3. Something to find, {turns} turns")
    table(("cases", "of them chafed", "row proposed", "prior proposed", "other rows proposed, each turn"), shown)


class Hidden(Worked):
    """An aircraft whose answers are drawn from true figures that the tool does not have."""

    def begin(self, true: Kit, rng: np.random.Generator, clock: Clock) -> None:
        self.drawn, self.clock = Drawn(true.model, self.truth, rng), clock
        self.replaced: list[tuple[str, dict[str, str]]] = []

    def outcome(self, check: str, within: str) -> str | None:
        hour = int(self.clock().timestamp() // 3600)
        return self.drawn.outcome(check, Setting(self.condition, 1.0, hour))  # type: ignore[arg-type]

    def repaired(self, repair: str) -> None:
        self.replaced.append((repair, dict(self.truth)))
        super().repaired(repair)
        self.drawn.truth = dict(self.truth)
        if repair in self.fitted.repairs:
            self.drawn.worked(set(self.fitted.repairs[repair].clears))


def chased(number: int) -> Iterator[tuple[tuple[Event, ...], str]]:
    """Yield (events, true mode) of cases worked by the tool's own advice."""
    true, kit = kit_with(OFF, OFF_PRIOR), kit_with({})
    zone = true.fitted.zones["channel/B"]
    able = sorted(for_the_shop(true.fitted, zone.key))
    weights = shares_told(true, able)
    for i in range(number):
        rng = np.random.default_rng(5000 + i)
        mode = able[int(rng.choice(len(able), p=weights / weights.sum()))]
        clock, log, case = Clock(BEGIN + timedelta(days=i)), Memory(), f"w{i:03}"
        intake = told(complaint="weak-snap", channel="B")
        chase = Chase.begin(kit, log, case, intake, clock)
        player = Hidden(kit.model, [f"{mode}/B"])
        player.begin(true, rng, clock)
        try:
            play(chase, player, clock)
        except OutOfAnswers:
            continue
        clock.time += timedelta(days=20)
        for repair, was in {r: w for r, w in player.replaced if r in kit.fitted.repairs}.items():
            fit = kit.fitted.repairs[repair]
            if fit.entry.parts <= 0 or fit.hand_over:
                continue
            bad = any(was[z] in part_states(kit.fitted, repair, z) for z in fit.clears if was[z] != HEALTHY)
            seen = bad and not (float(true.model.active("channel/B", "steady")[zone.states.index(mode)]) < 1
                                and rng.random() < SHOP_MISSES)  # fmt: skip
            event = finding_event(log.events(case), repair, "confirmed" if seen else "not-confirmed", "", "")
            log.append_all(case, [event], clock().isoformat(timespec="milliseconds").replace("+00:00", "Z"))
        yield log.events(case), mode


def chases(number: int) -> None:
    """Print what is learnt from cases that the tool chose the checks of."""
    cases, truth = [], {}
    for events, mode in chased(number):
        cases.append(events)
        truth[events[0].case] = mode
    found = learn(load(), Cases(cases))
    print(f"\n4. {len(cases)} of {number} cases worked to their end by the tool's own advice")
    print("left out:", dict(Counter(one.why for one in found.left_out)))
    wrong = sum(1 for one in found.weighed if one.what == "prior" for c in one.cases
                if one.figures[0].count and truth[c] != one.path[1])  # fmt: skip
    print(f"confirmed: {len(found.cases)}, of them with the wrong one of the part's faults named: {wrong}")
    print("faults, true and confirmed:", dict(Counter(truth.values()).most_common(6)),
          dict(Counter(truth[c] for c in found.cases).most_common(6)))  # fmt: skip
    shown = [
        (one.title[:60], len(one.cases), f.key, f.count, f.expected, f.present, f.proposed, f"{f.low:.3g}-{f.high:.3g}")
        for one in found.weighed
        if _off(one) or one.said == "change"
        for f in one.figures
        if f.written or one.what == "prior"
    ]
    table(("row or prior", "cases", "figure", "had", "expected", "now", "proposed", "limits"), shown)
    print("said:", {said: found.of(said) for said in ("change", "nothing new", "too little")})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--turns", type=int, default=60)
    parser.add_argument("--cases", type=int, default=60)
    parser.add_argument("--parts", type=int, nargs="+", default=[1, 2, 3, 5], help="which of 1, 2, 3, 5 to run")
    parser.add_argument("--chases", type=int, default=0)
    asked = parser.parse_args()
    if 1 in asked.parts:
        limits(asked.turns, asked.cases)
    if 2 in asked.parts:
        nothing(asked.turns, asked.cases)
    if 3 in asked.parts:
        something(asked.turns)
    if 5 in asked.parts:
        named_by(asked.turns, asked.cases)
    if asked.chases:
        chases(asked.chases)


if __name__ == "__main__":
    main()

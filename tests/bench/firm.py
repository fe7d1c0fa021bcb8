"""How firm, and what if, on the kept trails: how long they take, and whether the quick search misses a figure.

Run with ``python -m tests.bench.firm``; with ``--all`` each figure of each trail is worked at its limits as well, which
takes a few minutes.
"""

from __future__ import annotations

import sys
from math import log
from time import process_time

from isolate.case.case import fold
from isolate.case.chase import Kit
from isolate.kb.load import load
from isolate.review import firm as firm_of
from isolate.review.altered import Figure, Prior, figures_of
from isolate.review.firm import firm
from isolate.review.what_if import changes, what_if
from tests.worked import TRAILS, kit_of, trail


def missed(kit: Kit, name: str) -> tuple[int, int]:
    """Return how many figures change the repair or the fault, and how many nearer than the last told are not told."""
    events = trail(name)
    judged = firm_of._judged(kit, events, [])
    assert judged is not None
    case, outlook, kin = judged.case, judged.outlook, judged.kin()
    guessing = firm_of._Guessing(case, outlook)
    asked = {key: [use.outcome for use in uses] for key, uses in firm_of._asked(case).items()}
    figures: list[Figure] = [*figures_of(kit.fitted, asked)]
    figures += [Prior(m) for m in dict.fromkeys(s for z in kit.fitted.zones.values() for s in z.states[1:])]
    some = lost = 0
    for verdict, most in ((judged.verdict.about_repair(kin), firm_of.MOST), (judged.verdict.within(kin), firm_of.FEW)):
        if not verdict.rivals:
            continue
        told, _ = firm_of._turns(guessing, verdict, most)
        had = {(turn.figure, turn.factor > 1) for turn in told}
        kinds = [(firm_of.kind_of(turn.figure), turn.factor > 1) for turn in told]
        last = max((abs(log(turn.factor)) for turn in told), default=0.0) if len(told) == most else 99.0
        for figure in figures:
            for limit in firm_of._limits(kit.fitted, figure):
                if (turn := firm_of._turn(case, verdict, outlook, figure, limit)) is None:
                    continue
                some += 1
                kind = (firm_of.kind_of(figure), limit > 1)
                near = abs(log(turn.factor)) < last - 0.02 and kinds.count(kind) < firm_of.ALIKE
                if near and (figure, limit > 1) not in had:
                    lost += 1
                    print(f"{'':12} not told: {figure} {turn.factor:.3g} to {turn.to}")
    return some, lost


def main() -> None:
    kits: dict[str, Kit] = {}
    for name in sorted(path.stem for path in TRAILS.glob("*.jsonl")):
        events = trail(name)
        state = fold(events)
        assert state.intake is not None
        kit = kits.setdefault(state.intake.engine, kit_of(state.intake.engine))
        begun = process_time()
        found = firm(kit, events)
        took = process_time() - begun
        assert found is not None
        answer = next(e for e in events if e.kind == "answered" and e.seq not in state.void)
        begun = process_time()
        on = what_if(kit, events, changes([f"{answer.seq}=unsure"], kit, events, lambda name: load().knowledge))
        print(
            f"{name:12} {len(events):4} events: firm {took:5.2f} s ({len(found.weak)} told), what if from event "
            f"{on.since} {process_time() - begun:5.2f} s of CPU",
            flush=True,
        )
        if "--all" in sys.argv:
            some, lost = missed(kit, name)
            print(f"{'':12} worked one by one: {some} figures change it; nearer than those told and not told: {lost}")


if __name__ == "__main__":
    main()

"""Whatever is done in a case, in whichever order: one that begins anew over the same events stands at the same place.

Answers, doubts, things taken back, parts changing places, conditions told, breaks and clocks that jump are thrown in at
random; the seeds are fixed, so that what fails fails again.
"""

from __future__ import annotations

import random
from dataclasses import fields
from typing import Any, get_args

import numpy as np
import pytest

from isolate.case import swaps
from isolate.case.case import Age, CaseState, Intake, Seen, fold
from isolate.case.chase import Chase, Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.steps import Ask, Confirm, Cross, Held, Mend, Offer, Report, Wait, Walk
from isolate.kb.model import Ask as FactAsk
from isolate.kb.model import Condition
from isolate.reasoning.starts import Start
from tests.case.test_chase import EVERYBODY, seen

CONDITIONS = get_args(Condition)
ACTIONS = 14


def fact(ask: FactAsk) -> Any:
    return 60 if ask.kind in ("minutes", "count") else f"{ask.name} somebody"


def start(rng: random.Random) -> Start:
    aborted = rng.random() < 0.1
    lit, seconds = not aborted and rng.random() < 0.7, rng.choice([None, 5.0, 8.0])
    channel, lane = rng.choice(["A", "B", "unknown", "both"]), rng.choice(["", "1", "2"])
    return Start(channel, lit, rng.choice(CONDITIONS), seconds if lit else None, lane, aborted, rng.random() < 0.1)


def opened(kit: Kit, rng: random.Random, clock: Clock) -> Chase:
    intake = Intake(
        "104", "2", kit.fitted.name, rng.choice(["no-light-off", "intermittent-no-ignite", "slow-light"]),
        people=EVERYBODY, place="hangar", condition=rng.choice(CONDITIONS), shut_down=rng.choice([None, -20, 10]),
        starts=tuple(start(rng) for _ in range(rng.choice([0, 12]))),
    )  # fmt: skip
    return Chase.begin(kit, Memory(), "case", intake, clock)


def told(chase: Chase, rng: random.Random) -> None:
    sign = next(name for name, entry in chase.fitted.signs.items() if not entry.asks_channel)
    changes: list[dict[str, Any]] = [
        {"now": rng.choice(CONDITIONS)},
        {"shut_down": rng.choice([None, -10, 200])},
        {"ages": [vars(Age("igniter", "A", "starts", 2000.0, 3000.0))]},
        {"signs": [vars(Seen(sign))]},
    ]
    chase.tell(**rng.choice(changes))


def odd(chase: Chase, rng: random.Random, clock: Clock) -> Chase:
    """Do something that is no step of the case."""
    what = rng.randrange(6)
    if what == 0:
        chase.take_back()
    elif what == 1 and chase.doubtable():
        chase.recheck(rng.choice(chase.doubtable()).key)
    elif what == 2:
        told(chase, rng)
    elif what == 3:
        chase.swapped(
            {"part": rng.choice(list(swaps.movable(chase.fitted))), "channel": "A", "other": rng.choice("B ")}
        )
    elif what == 4:
        clock.pass_minutes(rng.choice([-40, 70, 700]))
    else:
        clock.pass_minutes(rng.choice([1, 300]))
        return Chase.resume(chase.kit, chase.log, "case", clock)
    return chase


def do(chase: Chase, rng: random.Random, clock: Clock) -> None:
    """Do the present step."""
    step = chase.now()
    clock.pass_minutes(getattr(step, "minutes", 0))
    if isinstance(step, Offer):
        checks = [o for o in step.others if o.kind == "check"]
        move = (step.kind, step.key) if step.kind in ("check", "repair", "verify") and rng.random() < 0.6 else None
        move = move or next(((o.kind, o.key) for o in rng.sample(checks, len(checks))), None)
        if move is None:
            raise Refused("nothing but ends is left")
        chase.accept(*move)
    elif isinstance(step, Ask):
        chase.answer(rng.choice([None, *(o[0] for o in step.outcomes), step.outcomes[0][0]]))
    elif isinstance(step, Confirm):
        chase.confirm({ask.name: fact(ask) for ask in step.caution.asks})
    elif isinstance(step, Cross):
        chase.crossed()
    elif isinstance(step, Mend):
        chase.mended()
    elif isinstance(step, Wait):
        clock.pass_minutes((step.until - clock()).total_seconds() / 60)
        chase.waited()
    elif isinstance(step, Walk):
        chase.walked(rng.random() < 0.8, {ask.name: fact(ask) for ask in step.asks})
    elif isinstance(step, Report):
        chase.report({ask.name: fact(ask) for ask in step.asks})
    elif isinstance(step, Held):
        chase.decline("held")


def same(chase: Chase) -> Chase:
    """Hold a case against one that begins anew over its events."""
    events = chase.log.events("case")
    for one in fields(CaseState):
        assert getattr(fold(events), one.name) == getattr(chase.state, one.name), one.name
    anew = Chase(chase.kit, Memory(events), "case", chase.clock)
    assert anew.setting == chase.setting
    assert chase.belief.joint.sum() == pytest.approx(1, abs=1e-9) and (chase.belief.joint >= 0).all()
    assert np.allclose(np.log(anew.belief.joint), np.log(chase.belief.joint), atol=1e-6)
    assert [(t.check, t.outcome) for t in anew.belief.told] == [(t.check, t.outcome) for t in chase.belief.told]
    return anew


@pytest.mark.parametrize("seed", [3, 11])
def test_a_case_begun_anew_over_its_events_stands_at_the_same_place(kit: Kit, seed: int) -> None:
    rng, clock = random.Random(seed), Clock()
    chase = opened(kit, rng, clock)
    for _ in range(ACTIONS):
        try:
            if rng.random() < 0.35:
                chase = odd(chase, rng, clock)
                same(chase)
            else:
                do(chase, rng, clock)
        except Refused:
            continue
    anew = same(chase)
    # Decided afresh, not taken from what was decided already.
    kit.plans.clear()
    assert seen(anew) == seen(chase)

"""Opens or resumes a case at the terminal with the shipped knowledge, for the sessions of these tests.

Arguments: the store's file, then ``new``, the id of a case, ``opened`` for one that is opened already and called
trial, or ``waiting`` for one that is played to its first wait.
``--quick`` makes the clock run sixty times as fast; ``--brief`` thinks ahead, but hardly.

With ``--serve`` and the number of a socket it loads everything once, and forks a session for each request
(:mod:`tests.terminal.forked`), so that a session does not wait for Python and the knowledge to come up.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache

from isolate.case import chase as chasing
from isolate.case import think as thinking
from isolate.case.case import Intake, Person
from isolate.case.chase import BUDGET, Chase, Kit, Log
from isolate.case.memory import Memory
from isolate.case.steps import Confirm, Cross, Wait
from isolate.case.store import open_store
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.terminal import intake, live

BEGAN = datetime.now(UTC)
FACTS = {"person": "Quill", "tag": "T-17", "time": "06:10", "text": "seen", "minutes": 3, "count": 6}


def quick() -> datetime:
    """Return a time that runs sixty times as fast as the day."""
    return BEGAN + 60 * (datetime.now(UTC) - BEGAN)


def to_a_wait(chase: Chase) -> None:
    """Take up a move behind a timer and do what comes before the timer."""
    cautions = chase.fitted.knowledge.cautions
    timed = {a.key for a in chase.fitted.access.values() if any(cautions[c].wait for c in a.open.cautions)}
    ranked = chase.ranked()
    ways = {(m.kind, m.name): {ranked.posed.access[c.access] for c in m.crossings} for m in ranked.moves}
    move = next(m for m in ranked.moves if m.kind in ("check", "repair") and timed & ways[m.kind, m.name])
    chase.accept(move.kind, move.name)
    while not isinstance(step := chase.now(), Wait):
        if isinstance(step, Confirm):
            chase.confirm({a.name: FACTS[a.kind] for a in step.caution.asks})
        else:
            assert isinstance(step, Cross), step
            chase.crossed()


def begun(case: str, log: Log, kits: Callable[[str], Kit], clock: Callable[[], datetime]) -> Chase:
    """Return a case of the demo world, opened."""
    everything = ("licensed", "motoring", "engine-run")
    told = Intake(
        aircraft="117",
        position="1",
        engine="halden-hf-3",
        complaint="intermittent-no-ignite",
        place="hangar",
        people=(Person("Quill", everything), Person("Marrow"), Person("Teal")),
    )
    return Chase.begin(kits(told.engine), log, case, told, clock)


@cache
def kits(engine: str) -> Kit:
    return Kit(fit(load().knowledge, engine))


def main(arguments: list[str]) -> int:
    clock = quick if "--quick" in arguments else (lambda: datetime.now(UTC))
    if "--brief" in arguments:
        thinking.THOUGHT = chasing.THOUGHT = BUDGET + 1
    where, case = [a for a in arguments if not a.startswith("--")]
    knowledge = load().knowledge

    with open_store(where) as store:
        if case == "opened":
            chase = begun("trial", store, kits, clock)
        elif case == "waiting":
            chase = begun(case, store, kits, clock)
            to_a_wait(chase)
        elif case == "new":
            try:
                told = intake.ask(
                    lambda name: fit(knowledge, name), {name: e.title for name, e in knowledge.engines.items()}, {}
                )
            except intake.Stopped as stop:
                return 0 if stop.left else 1
            chase = Chase.begin(kits(told.engine), store, "trial", told, clock)
        else:
            engine = next(c.engine for c in store.cases() if c.id == case)
            chase = Chase.resume(kits(engine), store, case, clock)
        return live.run(chase)


def ready() -> None:
    """Load and build what every session needs; no decision is kept, so each session makes its own."""
    import isolate.case.database  # noqa: F401

    kit = kits("halden-hf-3")
    begun("trial", Memory(), kits, lambda: datetime.now(UTC)).now()
    kit.plans.clear()


if __name__ == "__main__":
    if sys.argv[1] == "--serve":
        from tests.terminal.forked import serve

        ready()
        serve(int(sys.argv[2]), main)
    else:
        sys.exit(main(sys.argv[1:]))

"""Thinks ahead while somebody works on a step: for each answer that may come, what would be offered then.

It plays the answer on a copy of the case in memory, in a thread of its own, and keeps what it decided with the kit
(:attr:`Kit.plans <isolate.case.chase.Kit>`), by all that the decision depends on. So an answer finds its offer better
thought out, or finds nothing and is answered at once; what is offered depends on the budget alone, which is on the
trail, never on how long somebody took.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from isolate.case.chase import THOUGHT, Chase
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.case.steps import Ask, Mend, Offer, Step

LEAST = 0.02
"""Answers rarer than this are not thought of ahead."""
LOOK = 1.0
"""Seconds between looks at the clock, where somebody waits and what is offered depends on the minutes left."""


class Thinker:
    """Thinks about one chase's next offers. Nothing it does shows, and nothing of it goes on the trail."""

    def __init__(self, chase: Chase) -> None:
        self.chase = chase
        self._stop = threading.Event()
        self._through = threading.Event()
        self._threads: list[threading.Thread] = []
        """Those that may not have ended yet, the last one begun at the end."""
        self._turn = threading.Lock()

    def begin(self, step: Step) -> None:
        """Begin to think of what may come after a step; what was thought of before is broken off."""
        self.stop()
        follows = self._follows(step)
        if not follows:
            return
        self._stop, self._through = threading.Event(), threading.Event()
        # It must not keep the process alive, whatever ends that; who ends a session waits for it by itself.
        thread = threading.Thread(target=self._think, args=(follows, self._stop, self._through), daemon=True)
        self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()

    def stop(self, wait: bool = False) -> None:
        """Break off; ``wait`` until all that was begun has, less than a second.

        Python ends what is still in native code when the process goes by taking its stack away, and some of that code
        answers by aborting the process, with a message of its own: so whoever goes waits first.
        """
        self._stop.set()
        if wait:
            for thread in self._threads:
                thread.join()

    def wait(self) -> None:
        """Wait until all has been thought of, as of now."""
        if self._threads:
            self._through.wait()

    def _now(self) -> tuple[float | None, tuple[tuple[str, float], ...]]:
        """Return the minutes that what is offered depends on: those left, and those until tools are here."""
        left = self.chase.minutes_left
        return None if left is None else float(round(left)), tuple(sorted(self.chase.coming().items()))

    def _follows(self, step: Step) -> list[Callable[[Chase], object]]:
        """Return what may be said to a step, the most probable first."""
        if isinstance(step, Mend):
            return [lambda chase: chase.mended()]
        if not isinstance(step, Ask) and not (isinstance(step, Offer) and step.direct):
            return []
        check = self.chase.fitted.check(step.key)
        chances = self.chase.belief.predicted(step.key, *self.chase.setting)
        likely = sorted(zip(chances.tolist(), check.outcomes, strict=True), key=lambda c: (-c[0], c[1]))
        return [_answering(outcome) for chance, outcome in likely if chance >= LEAST]

    def _think(self, follows: list[Callable[[Chase], object]], stop: threading.Event, through: threading.Event) -> None:
        events = tuple(self.chase.state.events)
        while not stop.is_set():
            thought_at = self._now()
            self._think_once(events, follows, stop)
            through.set()
            if thought_at == (None, ()):
                return
            # What was thought of holds for this minute; the next one wants it thought of anew.
            while not stop.is_set() and self._now() == thought_at:
                stop.wait(LOOK)
        through.set()

    def _think_once(
        self, events: tuple[Event, ...], follows: list[Callable[[Chase], object]], stop: threading.Event
    ) -> None:
        # One that was broken off may still be at its last expansion: they take turns at what thinkers share.
        with self._turn:
            self._say_each(events, follows, stop)

    def _say_each(
        self, events: tuple[Event, ...], follows: list[Callable[[Chase], object]], stop: threading.Event
    ) -> None:
        for say in follows:
            if stop.is_set():
                return
            try:
                copy = Chase(self.chase.kit, Memory(events), self.chase.id, self.chase.clock)
                copy.think(THOUGHT, stop.is_set, apart=True)
                say(copy)
            except Exception:
                # Whoever says it will be told what is wrong with it; a thought that fails is none, and shows nowhere.
                continue


def _answering(outcome: str) -> Callable[[Chase], object]:
    return lambda chase: chase.answer(outcome)

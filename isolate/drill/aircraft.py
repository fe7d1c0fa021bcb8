"""The aircraft of a drill: a hidden truth, the noise that the knowledge gives, and what its author scripted.

It answers any check at any time; whether the check may be made there and then is :mod:`isolate.drill.drive`'s to say.
The answers follow from the seed and from what was done to the aircraft, not from the order of the questions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

import numpy as np

from isolate.case.events import Event
from isolate.drill.sample import Seeded
from isolate.drill.simulate import Aircraft
from isolate.kb.fit import split
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Model, Setting


class Simulated(Aircraft):
    """An aircraft with a hidden truth that answers as the knowledge says, drawn from a seed.

    A scripted answer comes first, until a repair changes what its check looks at. A repair does what the knowledge
    says of it: it clears with its chance, and may bring a fault of its own. ``where`` says how it is when it is asked:
    whoever plays sets it. Raises UnknownName and ValueError like its parent.
    """

    def __init__(self, model: Model, truth: Iterable[str], seed: int, script: Mapping[str, Any] | None = None,
                 refusals: Mapping[str, str] | None = None, people: Iterable[str] = ()) -> None:  # fmt: skip
        super().__init__(model, tuple(truth), script, "steady", refusals, tuple(people))
        self.where: Callable[[], Setting] = Setting
        self._drawn = Seeded(model, self.truth, seed)
        self._done = 0

    def outcome(self, check: str, within: str) -> str | None:
        """Return what the check shows as it is now."""
        scripted = self.scripted(check)
        return self._drawn.outcome(check, self.where()) if scripted is False else scripted

    def repaired(self, repair: str) -> None:
        """Carry out a repair, or parts changed over between channels, on the truth."""
        self._done += 1
        if repair in self.fitted.repairs:
            fit = self.fitted.repair(repair)
            touched = set(fit.clears) | set(fit.disturbs)
            for zone in sorted(touched):
                states = self.fitted.zones[zone].states
                chances = self.model.transition(fit, zone)[states.index(self.truth[zone])]
                drawn = self._drawn.chance("repair", repair, self._done, zone)
                self.truth[zone] = states[min(int(np.searchsorted(np.cumsum(chances), drawn, side="right")),
                                              len(states) - 1)]  # fmt: skip
            self.unscript(touched)
        else:
            touched = self.changed_over(repair)
        self._drawn.truth = dict(self.truth)
        self._drawn.worked(touched)

    def replay(self, events: Iterable[Event]) -> None:
        """Bring the aircraft to where the trail of a drill left it."""
        now = self.where
        for event in events:
            if event.kind == "answered":
                body = event.body
                condition, strength = body.get("condition", "steady"), float(body.get("strength", 1.0))
                then = Setting(condition, strength, int(body.get("occasion", 0)))
                self.where = partial(_as, then)
                self.outcome(body["check"], "check")
            elif event.kind == "repaired":
                self.repaired(event.body["repair"])
            elif event.kind == "swapped":
                self.repaired(event.body["key"])
        self.where = now

    def faults(self) -> tuple[str, ...]:
        """Return the fault modes that are there now, by instance name."""
        return tuple(
            sorted(
                f"{state}/{channel}" if (channel := split(zone)[1]) else state
                for zone, state in self.truth.items()
                if state != HEALTHY
            )
        )


def _as(setting: Setting) -> Setting:
    return setting

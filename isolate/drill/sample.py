"""Draws what an aircraft with a hidden truth would show, as the knowledge says: answers, starts, what sleeps when.

What shows on an occasion is drawn once for each zone and stays for the occasion; a check that repeats gives the same
answer again with the share that the knowledge says. So cases drawn here are cases of the model, by another road than
the one by which it reasons: forward, one draw at a time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

import numpy as np

from isolate.kb.model import Condition
from isolate.reasoning.belief import How, Model, Setting
from isolate.reasoning.occasion import Shown


class Drawn:
    """An aircraft drawn from the model. ``truth``: zone → state; it may be changed, then :meth:`worked` is told."""

    def __init__(self, model: Model, truth: Mapping[str, str], rng: np.random.Generator) -> None:
        self.model, self.rng = model, rng
        self.truth = dict(truth)
        self._shows: dict[tuple[Any, ...], bool] = {}
        self._said: dict[tuple[Any, ...], int] = {}
        self._copies: dict[tuple[Any, ...], bool] = {}
        self._trials: Counter[tuple[Any, ...]] = Counter()
        self._era = 0

    def chance(self, *what: Any) -> float:
        """Return the next draw, from 0 up to 1. ``what``: what is drawn; here it does not matter."""
        return float(self.rng.random())

    def worked(self, zones: frozenset[str] | set[str]) -> None:
        """Say that something was done to these zones: what shows and what is said begins anew."""
        self._era += 1
        looks = self.model.fitted.checks
        self._said = {k: v for k, v in self._said.items() if not zones & set(looks[k[0]].given)}
        self._copies = {k: v for k, v in self._copies.items() if not zones & set(looks[k[0]].given)}

    def _state(self, zone: str) -> int:
        return self.model.fitted.zones[zone].states.index(self.truth[zone])

    def shows(self, zone: str, how: How, occasion: Any) -> bool:
        """Return whether a zone's fault shows on an occasion, drawn on first asking."""
        key = (zone, *how, occasion, self._era)
        if key not in self._shows:
            chance = float(self.model.showing(zone, *how)[self._state(zone)])
            self._shows[key] = self.chance("shows", *key) < chance
        return self._shows[key]

    def outcome(self, check: str, setting: Setting) -> str:
        """Return what a check shows."""
        fit = self.model.fitted.check(check)
        how = self.model.setting(check, setting.condition, setting.strength)
        condition, strength, _ = how
        shown: Shown = frozenset()
        if fit.still:
            shown = frozenset(
                (zone, self.shows(zone, how, setting.occasion)) for zone in sorted(self.model.switches(check, *how))
            )
        table = self.model.likelihood(check, condition, strength, shown)
        at = tuple(0 if n == 1 else self._state(z) for z, n in zip(self.model.zones, table.shape[1:], strict=True))
        everything: Any = (slice(None), *at)
        chances = table[everything]
        story = (check, *how, setting.occasion, self._era) if fit.functional else (check,)
        if fit.repeats is None:
            # Asked again it gives the same answer.
            return fit.outcomes[self._first(story, chances)]
        if story not in self._copies:
            self._copies[story] = self.chance("same", *story, self._era) < fit.repeats.same
        if self._copies[story]:
            return fit.outcomes[self._first(story, chances)]
        self._trials[story] += 1
        return fit.outcomes[self._draw(chances, *story, self._era, self._trials[story])]

    def _first(self, story: tuple[Any, ...], chances: Any) -> int:
        if story not in self._said:
            self._said[story] = self._draw(chances, *story, self._era)
        return self._said[story]

    def _draw(self, chances: Any, *what: Any) -> int:
        drawn = self.chance("says", *what) * float(np.sum(chances))
        return int(np.searchsorted(np.cumsum(chances), drawn, side="right"))

    def lights(self, channel: str, condition: Condition) -> bool:
        """Return whether a start on this channel (a letter or ``both``) lights; each start is drawn anew."""
        dark, rest = 1.0, 1.0
        for key, zone in self.model.fitted.zones.items():
            at = self._state(key)
            active = float(self.model.active(key, condition)[at])
            chance = active * zone.lights[at] + (1 - active) * zone.lights[0]
            if not zone.channel:
                rest *= chance
            elif channel in ("both", zone.channel):
                dark *= 1 - chance
        self._trials["lights", channel] += 1
        return self.chance("lights", channel, condition, self._trials["lights", channel]) < (1 - dark) * rest


class Seeded(Drawn):
    """Drawn from a seed, each draw by what it is for: what shows does not depend on what was asked before it.

    So two people who take two roads through one case meet the same aircraft, and one who takes a step anew meets what
    he or she met.
    """

    def __init__(self, model: Model, truth: Mapping[str, str], seed: int) -> None:
        super().__init__(model, truth, np.random.default_rng(seed))
        self.seed = seed

    def chance(self, *what: Any) -> float:
        """Return the draw for this, from 0 up to 1."""
        return int.from_bytes(sha256(repr((self.seed, what)).encode()).digest()[:7], "big") / 2**56

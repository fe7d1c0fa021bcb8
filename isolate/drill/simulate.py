"""A simulated aircraft: a hidden truth that answers checks as the knowledge says that it would.

A scripted answer comes first. Otherwise a check yields the outcome that is most probable in the present true state,
so that a drill played twice is the same twice. A repair of the faulty part cures it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Literal

from isolate.case import swaps
from isolate.kb.fit import UnknownName, near, split
from isolate.kb.model import HEALTHY, Ask, Condition
from isolate.reasoning.belief import Model
from isolate.reasoning.swap import carried
from isolate.reasoning.swap import zones as swap_zones


class Aircraft:
    """A player (see :mod:`isolate.case.play`) with a hidden truth: zone key → state.

    ``script``: check instance → outcome, or outcomes in turn (the last one stays); a script for a check ends when
    a repair changes one of the zones that it looks at. Raises UnknownName or ValueError for names that do not exist.
    """

    def __init__(
        self,
        model: Model,
        truth: Sequence[str],
        script: Mapping[str, Any] | None = None,
        condition: Condition = "steady",
        refusals: Mapping[str, str] | None = None,
        people: Sequence[str] = (),
    ) -> None:
        self.model, self.fitted, self.condition = model, model.fitted, condition
        self.truth: dict[str, str] = dict.fromkeys(self.fitted.zones, HEALTHY)
        for mode in truth:
            zone = self.fitted.mode_zone.get(mode)
            if zone is None:
                raise UnknownName(f"no fault mode is called {mode!r}{near(mode, self.fitted.mode_zone)}")
            if self.truth[zone] != HEALTHY:
                raise ValueError(f"the truth names two faults of one zone: {self.truth[zone]} and {mode}")
            self.truth[zone] = split(mode)[0]
        self.script = {check: self._outcomes(check, said) for check, said in (script or {}).items()}
        self.refusals = dict(refusals or {})
        self.people = tuple(people) or ("the technician",)
        self._asked: dict[str, int] = {}
        self._tag = 0

    def _outcomes(self, check: str, said: Any) -> list[str | None]:
        fit = self.fitted.check(check)
        outcomes = said if isinstance(said, list) else [said]
        for outcome in outcomes:
            if outcome is not None and outcome not in fit.outcomes:
                raise UnknownName(f"{check} has no answer {outcome!r}{near(str(outcome), fit.outcomes)}")
        return list(outcomes)

    def scripted(self, check: str) -> str | Literal[False] | None:
        """Return the next scripted answer to a check, None for could not tell, False where nothing is scripted."""
        scripted = self.script.get(check)
        if not scripted:
            return False
        turn = self._asked.get(check, 0)
        self._asked[check] = turn + 1
        return scripted[min(turn, len(scripted) - 1)]

    def outcome(self, check: str, within: str) -> str | None:
        """Return what the check shows now."""
        if (scripted := self.scripted(check)) is not False:
            return scripted
        table = self.model.likelihood(check, self.condition)
        at = [
            0 if length == 1 else self.fitted.zones[zone].states.index(self.truth[zone])
            for zone, length in zip(self.model.zones, table.shape[1:], strict=True)
        ]
        chances = [float(outcome[tuple(at)]) for outcome in table]
        return self.fitted.check(check).outcomes[chances.index(max(chances))]

    def refuses(self, move: str) -> str | None:
        """Return why a move cannot be done, as scripted."""
        return self.refusals.get(move)

    def fact(self, ask: Ask, caution: str) -> Any:
        """Return a fact as somebody there would tell it."""
        if ask.kind == "person":
            # Whoever inspects independently did none of the work.
            return "the inspector" if ask.name == "inspected-by" else self.people[0]
        if ask.kind == "tag":
            self._tag += 1
            return f"tag {self._tag}"
        if ask.kind in ("minutes", "count"):
            return max(2, int(ask.least or 0) + 1)
        return "now" if ask.kind == "time" else "seen"

    def part(self, repair: str) -> Mapping[str, Any]:
        """Return what is known of a part: nothing, since a drill has none; the record keeps its blanks."""
        return {}

    def defers(self, kind: str, move: str) -> Mapping[str, Any] | None:
        """Return None: a drill is worked to its end."""
        return None

    def repaired(self, repair: str) -> None:
        """Carry out a repair, or parts changed over between channels, on the truth."""
        if swaps.known(self.fitted, repair):
            self.changed_over(repair)
            return
        fit = self.fitted.repair(repair)
        for zone, states in fit.clears.items():
            if self.truth[zone] in states:
                self.truth[zone] = HEALTHY
        self.unscript(set(fit.clears))

    def changed_over(self, key: str) -> set[str]:
        """Carry parts changed over to their places; return the zones touched."""
        part, one, other = swaps.read(key)
        self.truth = carried(self.fitted, self.truth, part, one, other)
        touched = {z for channel in (one, other) for z in swap_zones(self.model, part, channel)}
        self.unscript(touched)
        return touched

    def unscript(self, touched: Collection[str]) -> None:
        """End the scripts of checks that look at what was touched."""
        self.script = {c: s for c, s in self.script.items() if not set(touched) & set(self.fitted.check(c).given)}

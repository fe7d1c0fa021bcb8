"""An independent look at what a plan offers: is what has to be open open, what has to be shut shut, and nobody near?"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from isolate.kb.fit import FitCheck, FitRepair, Fitted

FIRING = frozenset({"spark", "engine-run", "motoring"})
"""Tags of what fires an igniter or turns the engine."""
APART = frozenset({"hands-in", "high-voltage", "lead-work", "plug-work", "exciter-work", "propeller"})
"""Tags of access that puts hands where a firing or turning engine would hurt them, or leaves a lead off."""
ISOLATED = "breakers-pulled"
"""Hands go in only while this stands."""
PURGED = ("dry-motored", "drained", "heads-counted", "fuelling-stopped")
"""A spark asks for these, where the engine has them."""
TURNING = ("air-on", "ground-power-on", "dry-motored")
"""While one of these stands somebody may be turning the engine."""


class Watch:
    """Follows what is open from the crossings told, and says what a move does that nobody may do.

    It knows nothing of plans and masks: only names, what each access state needs and wants shut, and the tags of what
    is done. ``opened`` is a set of access instance names; a crossing is a name with True for opening.
    """

    def __init__(self, fitted: Fitted, verification: Sequence[str] = ()) -> None:
        self.fitted, self.verification = fitted, tuple(verification)

    def crossed(
        self, opened: frozenset[str], crossings: Iterable[tuple[str, bool]]
    ) -> tuple[frozenset[str], tuple[str, ...]]:
        """Return what is open after crossings in turn, and what was unsafe about them, a phrase each."""
        found: list[str] = []
        now = set(opened)
        for name, opening in crossings:
            found += self._crossing(now, name, opening)
            (now.add if opening else now.discard)(name)
        return frozenset(now), tuple(found)

    def made(self, opened: frozenset[str], key: str) -> tuple[frozenset[str], tuple[str, ...]]:
        """Return what is open after a check or repair is made, and what was unsafe about it."""
        return opened - set(self.what(key).spoils), tuple(self._made(opened, key))

    def closed(self, opened: frozenset[str]) -> tuple[str, ...]:
        """Return what is wrong where a case ends with these open."""
        return tuple(f"{name} is left open" for name in sorted(opened) if self.fitted.access[name].entry.lasting)

    def what(self, key: str) -> FitCheck | FitRepair:
        """Return a check or repair by instance name."""
        return self.fitted.checks.get(key) or self.fitted.repairs[key]

    def _crossing(self, now: Collection[str], name: str, opening: bool) -> Iterator[str]:
        access = self.fitted.access[name]
        if not opening:
            yield from (
                f"{name} shut while {other} still needs it"
                for other in sorted(now)
                if name in self.fitted.access[other].needs
            )
            return
        yield from (f"{name} opened without {need}" for need in access.needs if need not in now)
        yield from (f"{name} opened while {other} is open" for other in access.shut if other in now)
        yield from self.tagged(now, name, frozenset(access.entry.tags))

    def _made(self, now: Collection[str], key: str) -> Iterator[str]:
        what = self.what(key)
        yield from (f"{key} without {need}" for need in sorted(self.fitted.needed(what.needs)) if need not in now)
        yield from (f"{key} while {other} is open" for other in what.shut if other in now)
        yield from self.tagged(now, key, frozenset(what.entry.tags))

    def tagged(self, now: Collection[str], name: str, tags: frozenset[str]) -> Iterator[str]:
        """Yield what is unsafe about a step of this name and tags, for whoever is near, with all that stands open."""
        if tags & FIRING:
            for other in sorted(now):
                if other != name and APART & set(self.fitted.access[other].entry.tags):
                    yield f"{name} fires or turns while {other} is open"
            if "spark" in tags:
                missing = (p for p in PURGED if p in self.fitted.access and p not in now)
                yield from (f"{name} fires without {p}" for p in missing)
        elif "hands-in" in tags:
            if ISOLATED not in now:
                yield f"{name} puts hands in without {ISOLATED}"
            yield from (f"{name} puts hands in with {t} standing" for t in TURNING if t in now)

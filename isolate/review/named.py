"""What a trail names by key, in words: from the knowledge where that is here, else from the keys themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from isolate.case import deferral, swaps
from isolate.case.case import CLOSE_UP
from isolate.kb.fit import instance, split
from isolate.kb.model import HEALTHY
from isolate.kb.shown import plain
from isolate.reasoning.pose import ESCALATE, WATCH

if TYPE_CHECKING:
    from isolate.kb.fit import Fitted

ENDS = {
    WATCH: "Stop here: no more found, the next starts to be watched",
    ESCALATE: "Hand the chase to somebody with other means",
    CLOSE_UP: "Close up",
    deferral.DEFER: deferral.TITLE,
    "verification-outstanding": "Hand over: the verification is outstanding",
    "verification": "Verify: the proof that the complaint calls for",
}
"""What the ends and the verification are called."""


def within(title: str) -> str:
    """Return a title as it stands within a sentence: ``Lead B open`` as ``lead B open``; ``APU`` stays."""
    first = title.split(" ", 1)[0]
    return title[:1].lower() + title[1:] if first[1:] == first[1:].lower() and len(first) > 1 else title


def spelt(key: str) -> str:
    """Return what a key says by itself: ``lead-open/B`` as ``Lead open B``."""
    name, channel = split(plain(key))
    said = name.replace("-", " ")
    return f"{said[:1].upper()}{said[1:]}{f' {channel}' if channel else ''}"


class Names:
    """Titles by key. ``fitted`` None: there is no knowledge; what it does not have is spelt from its key.

    ``unknown``: the keys that had to be spelt so far, in the order they came.
    """

    def __init__(self, fitted: Fitted | None) -> None:
        self.fitted = fitted
        self._unknown: dict[str, None] = {}

    @property
    def unknown(self) -> tuple[str, ...]:
        return tuple(self._unknown)

    def _spelt(self, key: str) -> str:
        self._unknown.setdefault(plain(key))
        return spelt(key)

    def check(self, key: str) -> str:
        """Return a check's title."""
        fit = self.fitted.checks.get(key) if self.fitted else None
        return fit.title if fit is not None else self._spelt(key)

    def outcome(self, check: str, outcome: str) -> str:
        """Return an outcome in words; empty is "could not tell"."""
        if not outcome:
            return "could not tell"
        fit = self.fitted.checks.get(check) if self.fitted else None
        if fit is not None and outcome in fit.outcomes:
            return fit.said(outcome)
        return plain(outcome).replace("-", " ")

    def answer(self, check: str, outcome: str) -> str:
        """Return a check with what it gave."""
        title = self.check(check)
        return f"{title}{'' if title.endswith('?') else ':'} {self.outcome(check, outcome)}"

    def repair(self, key: str) -> str:
        """Return a repair's title."""
        fit = self.fitted.repairs.get(key) if self.fitted else None
        return fit.title if fit is not None else self._spelt(key)

    def access(self, key: str) -> str:
        """Return an access state's title."""
        fit = self.fitted.access.get(key) if self.fitted else None
        return fit.title if fit is not None else self._spelt(key)

    def mode(self, key: str) -> str:
        """Return a fault mode's title, or that nothing was wrong."""
        name, channel = split(key)
        if name == HEALTHY:
            return f"nothing wrong{f' in channel {plain(channel)}' if channel else ''}"
        zone = self.fitted.mode_zone.get(key) if self.fitted else None
        return self.fitted.zones[zone].title_of(name) if self.fitted and zone is not None else self._spelt(key)

    def caution(self, key: str) -> str:
        """Return a caution's title with its channel."""
        name, channel = split(key)
        caution = self.fitted.knowledge.cautions.get(name) if self.fitted else None
        if caution is None:
            return self._spelt(key)
        return f"{caution.title}{f', channel {plain(channel)}' if channel else ''}"

    def complaint(self, key: str) -> str:
        """Return a complaint's title."""
        found = self.fitted.complaints.get(key) if self.fitted else None
        return found.title if found is not None else self._spelt(key)

    def sign(self, key: str) -> str:
        """Return a sign's title."""
        found = self.fitted.signs.get(key) if self.fitted else None
        return found.title if found is not None else self._spelt(key)

    def engine(self, key: str) -> str:
        """Return the title of an engine type."""
        if self.fitted is not None and self.fitted.name == key:
            return self.fitted.profile.title
        return plain(key)

    def source(self, key: str) -> str:
        """Return a source's title."""
        found = self.fitted.knowledge.sources.get(key) if self.fitted else None
        return found.title if found is not None else plain(key)

    def move(self, kind: str, key: str) -> str:
        """Return a move's title."""
        if kind == "swap" or "<>" in key:
            return self.swap(key)
        if key in ENDS:
            return ENDS[key]
        if kind == "check" or (kind != "repair" and self.fitted and key in self.fitted.checks):
            return self.check(key)
        if kind == "access" or (self.fitted and key in self.fitted.access):
            return self.access(key)
        return self.repair(key)

    def swap(self, key: str) -> str:
        """Return parts that change places, as a move."""
        try:
            return plain(swaps.title(key))
        except ValueError:
            return self._spelt(key)

    def swapped(self, key: str) -> str:
        """Return parts that changed places, as something done."""
        try:
            return plain(swaps.happened(key))
        except ValueError:
            return self._spelt(key)

    def fact(self, fact: Mapping[str, Any]) -> str:
        """Return a fact that a rule matched, e.g. "answer: Spark test B: no spark"."""
        kind = plain(fact.get("fact", ""))
        given = {name: value for name, value in fact.items() if name != "fact" and value not in ("", None)}
        name, channel = str(given.pop(_NAMED.get(kind, ""), "")), str(given.pop("channel", ""))
        key = instance(name, channel)
        if kind == "answer" and name:
            said = self.answer(key if self._has("checks", key) else name, str(given.pop("outcome", "")))
            if given.get("count") == 1:
                del given["count"]
        elif kind in ("repaired", "done") and name:
            said = self.repair(key if self._has("repairs", key) else name)
        elif kind == "access" and name:
            said = f"{self.access(key if self._has('access', key) else name)}: {plain(given.pop('state', ''))}"
        elif kind == "suspect" and name:
            said = f"{self.mode(key)} {plain(given.pop('percent', '?'))}%, number {plain(given.pop('rank', '?'))}"
            given = {}
        else:
            said = " ".join(filter(None, [plain(name), f"channel {plain(channel)}" if channel else ""]))
        more = [f"{plain(slot).replace('-', ' ')} {plain(value)}" for slot, value in given.items()]
        return f"{kind}: {', '.join(filter(None, [said, *more])) or 'it stands'}"

    def _has(self, kind: str, key: str) -> bool:
        return self.fitted is not None and key in getattr(self.fitted, kind)


_NAMED = {
    "answer": "check",
    "access": "name",
    "confirmed": "caution",
    "declined": "move",
    "done": "work",
    "earlier": "repair",
    "feature": "name",
    "finding": "name",
    "pattern": "kind",
    "repaired": "repair",
    "suspect": "mode",
    "swapped": "part",
}
"""Kind of fact → the slot that names what it is about."""

"""What kinds of entries are called, and names that people get nearly right."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["SINGULAR", "UnknownName", "near"]

SINGULAR = {
    "sources": "source",
    "zones": "zone",
    "modes": "fault mode",
    "checks": "check",
    "access": "access state",
    "repairs": "repair",
    "cautions": "caution",
    "complaints": "complaint",
    "signs": "sign",
    "engines": "engine",
    "rules": "rule",
}
"""Kinds of entries in words, for one."""


class UnknownName(LookupError):
    """A name that the knowledge does not have; the message says which are near."""


def near(name: object, names: Iterable[object]) -> str:
    """Return `` (did you mean …?)`` for the closest of names, or nothing when none is close."""
    from difflib import get_close_matches

    found = get_close_matches(str(name), sorted({str(one) for one in names}), n=1, cutoff=0.6)
    return f" (did you mean {found[0]}?)" if found else ""

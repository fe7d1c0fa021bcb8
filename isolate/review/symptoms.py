"""Symptom families: complaints that may well be one defect, written up in other words the second time.

A family is read from what the knowledge says of a complaint, not from its name:

- it was found with hands or eyes on the opened engine (``found_open``): a family of its own;
- a start that did not light goes with it: it does not light, or not every time;
- else it is about one channel (``asks_channel``): something is wrong with that channel;
- else: it lights, but not as it should.

Two complaints of one family belong together where they are about the same channel, or one of them tells none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from isolate.kb.model import Complaint, Knowledge


@dataclass(frozen=True)
class Family:
    """A family of complaints: its key, and what its complaints have in common, in words."""

    key: str
    says: str


NOT_LIT = Family("not-lit", "it does not light, or not every time")
ONE_CHANNEL = Family("one-channel", "something is wrong with one channel")
BADLY = Family("lights-badly", "it lights, but not as it should")


def families(knowledge: Knowledge) -> dict[str, Family]:
    """Return complaint → its family, for the complaints that this knowledge has."""
    return {name: _family(name, entry) for name, entry in knowledge.complaints.items()}


def _family(name: str, entry: Complaint) -> Family:
    if entry.found_open:
        return Family(name, entry.title)
    if any(not start.lit for start in entry.starts):
        return NOT_LIT
    return ONE_CHANNEL if entry.asks_channel else BADLY

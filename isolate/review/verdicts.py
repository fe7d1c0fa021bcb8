"""What a case says was at fault, and what of each part that came off: by the shop, else by the end of the case.

Where two words of the shop on one part disagree, nobody has said anything of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import Literal

from isolate.case.brief import Brief, Fitted, Named

SURE = 0.5
"""The least probability at which what the end names is taken for what was at fault, where the shop said nothing."""


@dataclass(frozen=True)
class Fault:
    """A mode that was at fault until the event ``until`` put it right; without end where the case handed it over."""

    mode: str
    until: float


def verdicts(brief: Brief) -> Iterator[tuple[Fitted, tuple[Named, ...]]]:
    """Yield each repair of a case with what the end names of it.

    A repair that clears several zones is named once for each; one done twice has its share of the names each time.
    """
    for repair in dict.fromkeys(item.repair for item in brief.repairs):
        done = [item for item in brief.repairs if item.repair == repair]
        named = [n for n in brief.named if n.repair == repair]
        each, odd = divmod(len(named), len(done))
        for i, item in enumerate(done):
            yield item, tuple(named if odd else named[i * each : (i + 1) * each])


def by_the_shop(item: Fitted, named: tuple[Named, ...]) -> tuple[Named, ...]:
    """Return what the end names of a repair, with the fault that the shop named in place of the end's of that part.

    What the end names in another channel, with the same repair, stands.
    """
    if item.finding != "confirmed" or not item.mode or item.disputed:
        return named
    channel = item.mode.partition("/")[2]
    others = [n for n in named if not n.in_vain and n.mode.partition("/")[2] != channel]
    return (Named(item.repair, item.mode, 1.0), *others)


def settled(brief: Brief) -> tuple[Named, ...]:
    """Return what the end of a case names, with the shop's word in its place where the shop named a fault."""
    done = {item.repair for item in brief.repairs}
    found = [n for item, named in verdicts(brief) for n in by_the_shop(item, named)]
    return (*found, *(n for n in brief.named if n.repair not in done))


def faults(brief: Brief) -> tuple[Fault, ...]:
    """Return what was at fault, as far as it is known; none where it is not."""
    found = []
    done = {item.repair for item in brief.repairs}
    for item, named in verdicts(brief):
        if item.finding != "not-confirmed" and not item.disputed:
            confirmed = item.finding == "confirmed"
            found += [
                Fault(n.mode, item.seq)
                for n in by_the_shop(item, named)
                if not n.in_vain and (confirmed or n.probability >= SURE)
            ]
    # What is named without a repair went to somebody else.
    found += [
        Fault(n.mode, inf) for n in brief.named if n.repair not in done and not n.in_vain and n.probability >= SURE
    ]
    return tuple(found)


def in_vain(item: Fitted, named: tuple[Named, ...]) -> bool | None:
    """Return whether a part that came off was probably good; None where nobody says.

    The shop's word goes before the verdict's; where it found something else, the verdict's stands.
    """
    if item.disputed:
        return None
    if item.finding in ("confirmed", "not-confirmed"):
        return item.finding == "not-confirmed"
    return all(n.in_vain for n in named) if named else None


def cleared(item: Fitted) -> bool:
    """Return whether the shop found nothing wrong with what came off, and said nothing else of it."""
    return item.finding == "not-confirmed" and not item.disputed


def standing(brief: Brief, back: bool) -> Literal["", "cleared", "disputed", "came back"]:
    """Return why what the end of a case names does not stand; empty where it does, or names nothing.

    ``cleared``: the shop found nothing wrong with any part that the end blames; ``disputed``: its words on one
    disagree; ``came back``: the shop has confirmed nothing, and the defect came back (``back``).
    """
    blamed = [item for item, named in verdicts(brief) if any(not n.in_vain for n in named)]
    if any(item.finding == "confirmed" and not item.disputed for item in blamed):
        return ""
    if blamed and all(map(cleared, blamed)):
        return "cleared"
    if any(item.disputed for item in blamed):
        return "disputed"
    return "came back" if back and any(not n.in_vain for n in brief.named) else ""

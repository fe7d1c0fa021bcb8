"""What a case says was at fault, and what of each part that came off: by the shop, else by the end of the case."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

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


def faults(brief: Brief) -> tuple[Fault, ...]:
    """Return what was at fault, as far as it is known; none where it is not."""
    found = []
    done = {item.repair for item in brief.repairs}
    for item, named in verdicts(brief):
        if item.finding != "not-confirmed":
            confirmed = item.finding == "confirmed"
            found += [Fault(n.mode, item.seq) for n in named if not n.in_vain and (confirmed or n.probability >= SURE)]
    # What is named without a repair went to somebody else.
    found += [
        Fault(n.mode, inf) for n in brief.named if n.repair not in done and not n.in_vain and n.probability >= SURE
    ]
    return tuple(found)


def in_vain(item: Fitted, named: tuple[Named, ...]) -> bool | None:
    """Return whether a part that came off was probably good; None where nobody says.

    The shop's word goes before the verdict's; where it found something else, the verdict's stands.
    """
    if item.finding in ("confirmed", "not-confirmed"):
        return item.finding == "not-confirmed"
    return all(n.in_vain for n in named) if named else None

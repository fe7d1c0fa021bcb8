"""The same part again: where a repair would fit new what was fitted new before."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from isolate.case.believed import fresh, same_part
from isolate.case.case import Intake
from isolate.kb.fit import Fitted


@dataclass(frozen=True)
class Again:
    """A part that was fitted new before, as the repair that would fit it once more sees it.

    ``complaint``: ``same``, ``other``, or ``told`` for work told as done before, of which nobody said what for.
    ``days`` since the last time, None where not known; ``times``; ``shop``: what the shop found in the one that came
    off last, as far as it said.
    """

    repair: str
    complaint: str
    days: float | None
    times: int
    shop: str


def again(fitted: Fitted, intake: Intake, repairs: Iterable[str]) -> tuple[Again, ...]:
    """Return, for each repair of this engine that fits a part, where that part was fitted before.

    ``repairs``: those done in the case itself, by instance name; they are for the same complaint.
    """
    had: list[tuple[str, str, float | None, str]] = []
    had += [(work.key, "told", None, "") for work in fresh(intake).intake.done]
    for case in sorted(intake.earlier, key=lambda e: -e.days):
        alike = case.complaint == intake.complaint and (
            case.channel == intake.channel or not case.channel or not intake.channel
        )
        found = dict(case.findings)
        had += [
            (item.key, "same" if alike else "other", case.days, found.get(item.key, ""))
            for item in case.evidence
            if item.kind == "repair"
        ]
    had += [(key, "same", 0.0, "") for key in repairs]
    made = []
    for key in fitted.repairs:
        for complaint in ("same", "other", "told"):
            mine = [h for h in had if h[1] == complaint and same_part(fitted, key, h[0])]
            if mine:
                made.append(Again(key, complaint, mine[-1][2], len(mine), mine[-1][3]))
    return tuple(made)

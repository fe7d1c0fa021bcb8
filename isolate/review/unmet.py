"""Whether a defect that shows in one condition only was ever met in it: by a check, by the verification.

A fault that shows hot is there and unseen on a cold engine: what was checked cold neither found it nor proves that it
is gone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from isolate.kb.fit import split
from isolate.kb.model import Condition
from isolate.review.evidence import PREVAILS
from isolate.review.named import within

if TYPE_CHECKING:
    from isolate.case.case import CaseState, Evidence
    from isolate.case.chase import Kit
    from isolate.kb.fit import FitCheck, Fitted
    from isolate.review.named import Names
    from isolate.review.shapes import Answered

SO: Mapping[Condition, str] = {
    "steady": "in no condition in particular",
    "cold": "cold",
    "hot": "hot",
    "wet": "wet",
    "vibrating": "with the engine shaking",
    "sagging": "with the supply sagging",
}
"""A condition after *shows* or *done*."""
BEARS = 0.05
"""A check of which no outcome is so much likelier or less likely with a fault than without bears nothing on it."""


def unmet(kit: Kit, state: CaseState, modes: Sequence[str], names: Names, answers: Iterable[Answered]) -> str:
    """Return a sentence where the defect was not met in the condition in which it shows; empty where it was.

    ``modes``: what the end names. What was seen with the eye, and speaks strongly for it, is met in any condition:
    ``answers`` says what does. Only a case that has ended is judged.
    """
    intake = state.intake
    if intake is None or intake.condition == "steady" or not state.ended:
        return ""
    fitted, wanted = kit.fitted, intake.condition
    modes = [mode for mode in modes if mode in fitted.mode_zone]
    evidence = list(state.evidence)
    work = [i for i, item in enumerate(evidence) if item.kind != "answer"]
    last = work[-1] if work else len(evidence)
    cleared = [i for i in work if any(_clears(fitted, evidence[i].key, mode) for mode in modes)]
    first = (cleared or work or [len(evidence)])[0]
    before, after = (
        [e for e in some if (fit := _looked(fitted, e)) is not None and _bears(fitted, fit, modes)]
        for some in (evidence[:first], evidence[last + 1 :])
    )
    seen = bool(modes) and any(
        a.words.endswith("strongly for") and not fitted.checks[a.check].functional
        for a in answers
        if not a.carried and a.check in fitted.checks
    )
    checked = seen or any(_met(fitted, e, wanted) for e in before)
    proven = any(_met(fitted, e, wanted) for e in after)
    how = SO[wanted]
    what = " and ".join(within(names.mode(mode)) for mode in modes)
    done = _done(fitted, [*before, *after])
    if checked and (proven or not work):
        return ""
    if not work:
        return f"The defect shows {how}, and no check that could have shown it was done {how}{done}."
    if not checked and not proven:
        about = f"no check of {what} before the repair" if what else "no check before the repair"
        return f"The defect shows {how}: {about} and no proof after it was done {how}{done}."
    if not checked:
        about = f"no check of {what} before the repair" if what else "no check before the repair"
        return f"The defect shows {how}, and {about} was done {how}{_done(fitted, before)}; the proof after it was."
    return f"The defect shows {how}, and no proof after the repair was done {how}{_done(fitted, after)}."


def _looked(fitted: Fitted, item: Evidence) -> FitCheck | None:
    """Return the check of an answer that depends on the condition; None for anything else."""
    fit = fitted.checks.get(item.key) if item.kind == "answer" and item.outcome else None
    return fit if fit is not None and fit.functional else None


def _bears(fitted: Fitted, fit: FitCheck, modes: Sequence[str]) -> bool:
    """Return whether a check bears on any of these modes; any does where there is none."""
    for mode in modes:
        rows = fit.given.get(fitted.mode_zone[mode])
        if rows is None:
            continue
        row = rows[fitted.zones[fitted.mode_zone[mode]].states.index(split(mode)[0])]
        if any(abs(p - q) > BEARS for p, q in zip(row, rows[0], strict=True)):
            return True
    return not modes


def _met(fitted: Fitted, item: Evidence, wanted: Condition) -> bool:
    makes = fitted.checks[item.key].makes
    if makes is not None and makes[0] == wanted and makes[1] >= PREVAILS:
        return True
    return item.condition == wanted and item.strength >= PREVAILS


def _clears(fitted: Fitted, repair: str, mode: str) -> bool:
    fit = fitted.repairs.get(repair)
    return fit is not None and split(mode)[0] in fit.clears.get(fitted.mode_zone[mode], ())


def _done(fitted: Fitted, items: Sequence[Evidence]) -> str:
    """Return in which conditions these were done, as ", all were done cold"; empty for none."""
    held = dict.fromkeys(SO[e.condition if e.strength >= PREVAILS else "steady"] for e in items)
    return f"; what was done, was done {' or '.join(held)}" if held else ""

"""A reading: what was measured or recorded at a step, its limit from the approved data, and what it comes to.

The trail keeps what was typed, what was understood, the result with its interval and the verdict; and of a file that
was read its name and its SHA-256, so that it can be found again. A reading only proposes an outcome: whoever took it
answers the check.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import Any

from isolate.calc import TITLES, calculation
from isolate.calc.given import read, understood
from isolate.calc.shape import CANNOT_TELL, Calculation, Found, Given, Judged, Unfit
from isolate.case.intake import Refused
from isolate.kb.fit import FitCheck
from isolate.kb.model import Reads
from isolate.kb.shown import plain

LONGEST = 200
"""Letters of a reference to the approved data, and of what is typed for one input."""
_DIGITS = 6
"""Significant digits of a figure on the trail; more says nothing."""
_KEYS = ("calc", "judge", "given", "understood", "figures", "verdict", "why", "lines", "outcome", "reference", "files")


@dataclass(frozen=True)
class Reading:
    """A calculation done for a step. ``typed``: input → as typed; ``outcome``: of the check, "" where none follows."""

    reads: Reads
    calculation: Calculation
    typed: Mapping[str, str | Sequence[str]]
    given: Given
    found: Found
    reference: str
    outcome: str

    @property
    def judged(self) -> Judged | None:
        """What it comes to for the step that it was taken at; None where there is nothing to hold it against."""
        return self.found.judged.get(self.reads.judge)

    def along(self, reads: Reads) -> Reading:
        """Return what the same record says for another step."""
        return Reading(
            reads, self.calculation, self.typed, self.given, self.found, self.reference, _outcome(reads, self.found)
        )


def take(reads: Reads, typed: Mapping[str, str | Sequence[str]], reference: str = "") -> Reading:
    """Do the calculation of a step. ``reference``: where in the approved data its limits stand, needed where any is.

    Raises Refused with a sentence for what cannot be taken, OSError for a file that cannot be read.
    """
    one = calculation(reads.calc)
    told = {**reads.given, **{name: value for name, value in typed.items() if value not in ("", [], ())}}
    for name, value in told.items():
        if any(len(part) > LONGEST for part in ([value] if isinstance(value, str) else value)):
            raise Refused(f"{name}: {LONGEST} letters at most.")
    try:
        given = read(one, told)
        if not reference.strip() and any(wanted.limit and wanted.name in given for wanted in one.inputs):
            raise Refused("Where in your approved data the limit stands has to be told with it.")
        found = one.work(given)
    except Unfit as error:
        raise Refused(str(error)) from None
    return Reading(reads, one, told, given, found, reference.strip()[:LONGEST], _outcome(reads, found))


def _outcome(reads: Reads, found: Found) -> str:
    judged = found.judged.get(reads.judge)
    return "" if judged is None or judged.verdict == CANNOT_TELL else reads.gives.get(judged.verdict, "")


def body(reading: Reading) -> dict[str, Any]:
    """Return a reading as the trail keeps it: a JSON object."""
    one, judged = reading.calculation, reading.judged
    files = [i.name for i in one.inputs if i.kind == "file" and i.name in reading.given]
    paths = [p for name in files for p in _paths(reading.given[name])]
    kept: dict[str, Any] = {
        "calc": one.name,
        "judge": reading.reads.judge,
        # A path says where it lay on one machine, which is nobody's business elsewhere; its name and seal are kept.
        "given": {n: v if isinstance(v, str) else list(v) for n, v in reading.typed.items() if n not in files},
        "understood": [[asked, said] for asked, said in understood(one, reading.given)],
        "figures": [_figure(figure.as_dict()) for figure in reading.found.figures],
        "verdict": judged.verdict if judged else "",
        "why": judged.why if judged else "",
        "lines": [*reading.found.lines, *(f"Mind: {warning}" for warning in reading.found.warnings)],
        "outcome": reading.outcome,
        "reference": reading.reference,
        "files": [_sealed(Path(path)) for path in paths],
    }
    for asked in kept["understood"]:
        if any(wanted.asks == asked[0] and wanted.name in files for wanted in one.inputs):
            asked[1] = ", ".join(Path(p).name for p in asked[1].split(", "))
    if judged is not None and judged.seconds is not None:
        kept["seconds"] = [round(s, 3) for s in judged.seconds]
    return kept


def _paths(told: Any) -> Sequence[str]:
    return [told] if isinstance(told, str) else list(told)


def _sealed(path: Path) -> dict[str, Any]:
    seal, size = sha256(), 0
    with path.open("rb") as file:
        while part := file.read(1 << 20):
            seal.update(part)
            size += len(part)
    return {"name": path.name, "sha256": seal.hexdigest(), "bytes": size}


def _figure(figure: dict[str, Any]) -> dict[str, Any]:
    for name in ("value", "low", "high"):
        figure[name] = float(f"{figure[name]:.{_DIGITS}g}") if isfinite(figure[name]) else None
    return figure


def kept(
    reading: Mapping[str, Any], check: FitCheck | None = None, outcome: str | None = None, note: str = ""
) -> dict[str, Any]:
    """Return a reading, as :func:`body` gave it, once it has been looked at. ``check``: that it answers, with what.

    Raises Refused for one that is none, and for an outcome against what it comes to without a note that says why.
    """
    if not isinstance(reading, Mapping) or reading.get("calc") not in TITLES:
        raise Refused("a reading says which calculation it went through")
    if lacking := [key for key in _KEYS if key not in reading]:
        raise Refused(f"the reading does not say {', '.join(lacking)}")
    if check is not None:
        proposed = reading["outcome"]
        if proposed and proposed not in check.outcomes:
            raise Refused(f"the reading comes to {proposed!r}, which {check.title} has no such answer as")
        if proposed and outcome != proposed and not note.strip():
            said = "could not tell" if outcome is None else check.said(outcome)
            raise Refused(
                f"The reading comes to: {check.said(proposed)}. To answer “{said}” all the same, say why in a note."
            )
    return dict(reading)


def line(reading: Mapping[str, Any]) -> str:
    """Return a reading of a trail in a sentence or two: what was read, what came out, what it was held against."""
    said = [f"{plain(str(asked)).rstrip('?:')}: {plain(str(told))}" for asked, told in reading.get("understood", ())]
    first = next(iter(reading.get("lines", ())), "")
    parts = ["; ".join(said), plain(str(first))]
    if reading.get("reference"):
        parts.append(f"Limit from {plain(str(reading['reference']))}")
    return ". ".join(part.rstrip(".") for part in parts if part) + "."

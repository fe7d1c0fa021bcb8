"""Earlier cases on the same engine: which there are, what of them is carried into a new one, and what that changes.

What is carried is sealed in the opening of the new case, so that it can be replayed without the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import log
from typing import Any, Protocol

from isolate.case import swaps
from isolate.case.ages import asked_already
from isolate.case.believed import HALF_LIFE_DAYS, WEIGHED, fresh, known, told_belief, unaged
from isolate.case.case import CaseState, Earlier, Evidence, Intake, fold
from isolate.case.events import Event, parse_time
from isolate.case.parts import FINDINGS
from isolate.kb.fit import Fitted
from isolate.kb.model import FLOOR, HEALTHY
from isolate.reasoning.belief import Model
from isolate.reasoning.forget import share_kept

MOST_CASES = 4
"""No more earlier cases than this are carried, the newest: our judgement."""
MOST_DAYS = 400.0
"""A case that ended longer ago is not carried: less than a hundredth of it would count. Our judgement."""
OF_THE_DAY = frozenset(
    {"operator", "people", "minutes_left", "missing", "coming", "objective", "hands", "earlier", "engine_starts"}
)
"""What of an earlier intake is not carried: it says nothing of the engine; nobody's name is among what is."""
WORTH_A_WORD = 0.05
"""A repair that put right less than this of what an answer speaks of, such as a nut on the way, is not named."""
LEAST = 0.01
"""A suspect of less than this, before and after, is not shown."""


class Summed(Protocol):
    """What a list of cases says of each."""

    @property
    def id(self) -> str: ...
    @property
    def opened(self) -> str: ...
    @property
    def last(self) -> str: ...
    @property
    def aircraft(self) -> str: ...
    @property
    def position(self) -> str: ...
    @property
    def engine(self) -> str: ...
    @property
    def ended(self) -> bool: ...


class Shelf(Protocol):
    """Where cases are found: a store, or anything like it."""

    def cases(self, *, aircraft: str = "", position: str = "", engine: str = "") -> Sequence[Summed]: ...
    def events(self, case: str) -> tuple[Event, ...]: ...
    def faults(self, case: str) -> Sequence[Any]: ...


@dataclass(frozen=True)
class Gathered:
    """The earlier cases that are carried, newest last, and sentences on those that are not."""

    earlier: tuple[Earlier, ...] = ()
    notes: tuple[str, ...] = ()


# -- gathering -------------------------------------------------------------------------------------


def gather(shelf: Shelf, aircraft: str, position: str, engine: str, now: datetime) -> Gathered:
    """Return what earlier cases on this engine are carried into a case opened ``now`` (aware).

    Cases of the same aircraft, position and engine type that have ended, at most ``MOST_CASES`` within ``MOST_DAYS``
    days. Open ones, older ones, and those that cannot be read or whose trail is not whole are named and not carried.
    Raises StoreError where the shelf itself cannot be read.
    """
    found: list[Earlier] = []
    notes: list[str] = []
    older = 0
    for summary in shelf.cases(aircraft=aircraft, position=position, engine=engine):
        if not _same(summary, aircraft, position, engine):
            continue
        try:
            if parse_time(summary.opened) > now:
                continue
            if not summary.ended:
                notes.append(
                    f"Case {summary.id} on this engine is still open; nothing of it is carried. "
                    f"isolate chase --resume {summary.id} goes on with it."
                )
                continue
            if (now - parse_time(summary.last)).total_seconds() > MOST_DAYS * 86_400:
                # It ended no later than its last event: too long ago, whatever it says.
                older += 1
                continue
            faults = shelf.faults(summary.id)
            state = fold(() if faults else shelf.events(summary.id))
            if state.drill:
                continue
            case = None if faults else _carried_from(state, now)
        except Exception as error:
            # A case that came from elsewhere may hold anything; it must not keep a new one from being opened.
            why = str(error).rstrip(".") or type(error).__name__
            notes.append(f"Case {summary.id} on this engine cannot be read and is not carried: {why}.")
            continue
        if faults:
            notes.append(f"Case {summary.id} on this engine is not whole and is not carried: {faults[0]}")
        elif case is None or case.days > MOST_DAYS:
            older += 1
        else:
            found.append(case)
    found.sort(key=lambda case: (-case.days, case.case))
    older += max(0, len(found) - MOST_CASES)
    if older:
        notes.append(
            f"{older} older {'case' if older == 1 else 'cases'} on this engine not carried: the newest {MOST_CASES} "
            f"within {MOST_DAYS:.0f} days are."
        )
    return Gathered(tuple(found[-MOST_CASES:]), tuple(notes))


def earlier(shelf: Shelf, aircraft: str, position: str, engine: str, now: datetime) -> tuple[Earlier, ...]:
    """Return the earlier cases carried into a case opened now, newest last; see :func:`gather`."""
    return gather(shelf, aircraft, position, engine, now).earlier


def with_earlier(shelf: Shelf, intake: Intake, now: datetime) -> tuple[Intake, tuple[str, ...]]:
    """Return an intake with what earlier cases on its engine carry into it, and sentences on what is not carried."""
    gathered = gather(shelf, intake.aircraft, intake.position, intake.engine, now)
    return replace(intake, earlier=gathered.earlier), gathered.notes


def _same(summary: Summed, aircraft: str, position: str, engine: str) -> bool:
    pairs = ((summary.aircraft, aircraft), (summary.position, position), (summary.engine, engine))
    return all(one.strip().casefold() == other.strip().casefold() for one, other in pairs)


def _carried_from(state: CaseState, now: datetime) -> Earlier | None:
    """Return a case as it is carried; None for one that never ended or has no opening."""
    ends = [e.time for e in state.events if e.kind == "closed"]
    if state.intake is None or not ends:
        return None
    told = state.intake.as_dict()
    days = max(0.0, (now - parse_time(ends[-1])).total_seconds() / 86_400)
    return Earlier(
        case=state.id,
        days=round(days, 2),
        end=state.ended,
        complaint=state.intake.complaint,
        channel=state.intake.channel,
        told={name: said for name, said in told.items() if name not in OF_THE_DAY and said not in ("", [], None)},
        evidence=tuple(state.evidence),
        findings=tuple((str(f["repair"]), str(f["finding"])) for f in state.findings),
        closed=ends[-1],
    )


# -- saying it -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Spoken:
    """An answer of an earlier case: how much of it still counts, from 0 to 1, and why less than the rest does."""

    title: str
    said: str
    counts: float
    why: str


@dataclass(frozen=True)
class CarriedCase:
    """An earlier case as it is told. ``counts``: the share of what was known at its end that still stands."""

    case: str
    days: float
    complaint: str
    end: str
    counts: float
    answers: tuple[Spoken, ...]
    repairs: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class Shift:
    """A suspect's probability without the earlier cases and with them, before any answer of the case itself."""

    title: str
    without: float
    with_them: float


@dataclass(frozen=True)
class Carried:
    """What earlier cases bring into a case. ``left_out``: what was told again and is counted once.

    ``undated``: starts told of which nobody can say whether an earlier case has them; they are counted as new ones.
    """

    cases: tuple[CarriedCase, ...] = ()
    shifts: tuple[Shift, ...] = ()
    left_out: tuple[str, ...] = ()
    undated: int = 0

    def lines(self) -> list[str]:
        """Return all of it in plain lines, indented by two under each case."""
        if not self.cases:
            return []
        found = []
        for case in self.cases:
            found.append(f"Case {case.case}, ended {ago(case.days)}: {case.complaint}. Ended: {case.end}.")
            found.append(f"  What was known at its end counts {case.counts:.0%} now.")
            found += [f"  {a.title}: {a.said} ({a.counts:.0%}{f': {a.why}' if a.why else ''})" for a in case.answers]
            found += [f"  Done: {line}" for line in case.repairs]
            found += [f"  Not known to this knowledge any more, left out: {line}." for line in case.left_out]
        found += self.left_out
        if self.undated:
            found.append(
                f"Starts without a date such as 2030-01-31, taken as made since the last earlier case: {self.undated}."
            )
        if self.shifts:
            found.append(f"What they change, before any answer of this case: {self._shifted(self.shifts)}.")
        return found

    def short(self, most: int = 3) -> list[str]:
        """Return it in a few lines: one for each case, and what they change most."""
        if not self.cases:
            return []
        some = "1 earlier case" if len(self.cases) == 1 else f"{len(self.cases)} earlier cases"
        found = [f"Carried from {some} on this engine (the record shows all of it):"]
        for case in self.cases:
            done = "; ".join(line.partition(". ")[0] for line in case.repairs) or "no repair"
            found.append(f"  {ago(case.days)}: {case.complaint}; {done}. Counts {case.counts:.0%}.")
        if self.left_out:
            found.append("  Some was told there already; it counts once.")
        if self.undated:
            found.append(f"  Starts without a date, taken as made since: {self.undated}.")
        if self.shifts:
            found.append(f"  They change: {self._shifted(self.shifts[:most])}.")
        return found

    @staticmethod
    def _shifted(shifts: Iterable[Shift]) -> str:
        return "; ".join(f"{s.title} from {tenths(s.without)} to {tenths(s.with_them)}" for s in shifts)

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {
            "cases": [
                {
                    "case": c.case,
                    "days": c.days,
                    "complaint": c.complaint,
                    "end": c.end,
                    "counts": round(c.counts, 4),
                    "answers": [
                        {"check": a.title, "said": a.said, "counts": round(a.counts, 4), "why": a.why}
                        for a in c.answers
                    ],
                    "repairs": list(c.repairs),
                    "left_out": list(c.left_out),
                }
                for c in self.cases
            ],
            "left_out": list(self.left_out),
            "undated": self.undated,
            "changes": [
                {"suspect": s.title, "without": round(s.without, 4), "with": round(s.with_them, 4)} for s in self.shifts
            ],
        }


def carried(model: Model, intake: Intake, most: int = 5) -> Carried:
    """Return what the earlier cases of an intake bring: case by case, and how they change the suspects.

    Raises BadIntake where an earlier intake cannot be read.
    """
    if not intake.earlier:
        return Carried()
    fitted = model.fitted
    ordered = sorted(intake.earlier, key=lambda e: -e.days)
    told = fresh(intake)
    # What was read of an age that is told now is in the age; it is named apart.
    counted = unaged(fitted, ordered, told.intake.swaps, asked_already(fitted, intake.ages))
    kept = [known(fitted, case) for case in counted]
    cases = []
    for number, case in enumerate(ordered):
        after = [item for _, evidence, _ in kept[number + 1 :] for item in evidence]
        cases.append(_told_of(fitted, case, kept[number][1], after, kept[number][2]))
    left_out = []
    for case, less in zip(ordered, counted, strict=True):
        for item in case.evidence:
            if item not in less.evidence and item.key in fitted.checks:
                title = fitted.check(item.key).title
                left_out.append(f"{title}: answered in case {case.case}; the age told now says it, counted once.")
    if told.starts:
        which = "; ".join(f"{s.at} on {s.channel}" for s in told.starts[:3]) + ("; ..." if told.starts[3:] else "")
        left_out.append(f"Starts that an earlier case has already, counted there: {len(told.starts)} ({which}).")
    for name, number in told.placed:
        left_out.append(f"Starts made before the work of case {name} was done, counted there: {number}.")
    for swap in told.swaps:
        left_out.append(f"Parts changed places ({swap.key}): an earlier case has it; counted there, once.")
    for work in told.done:
        title = fitted.repairs[work.key].title if work.key in fitted.repairs else work.key
        left_out.append(f"{title}: told as done before, and an earlier case has it; counted there, once.")
    return Carried(tuple(cases), _shifts(model, intake, most), tuple(left_out), told.undated)


def _told_of(
    fitted: Fitted, case: Earlier, evidence: Sequence[Evidence], after: Sequence[Evidence], lost: Sequence[str]
) -> CarriedCase:
    share = share_kept(case.days, HALF_LIFE_DAYS)
    answers, repairs = [], []
    found = dict(case.findings)
    times = [item.key for item in evidence if item.kind == "repair"]
    for number, item in enumerate(evidence):
        if item.kind == "answer":
            counts, why = _counts(fitted, item, [*evidence[number + 1 :], *after], share)
            check = fitted.check(item.key)
            answers.append(Spoken(check.title, check.said(item.outcome), counts, why))
        elif item.kind == "repair":
            repairs.append(_repair_line(fitted, item.key, found.get(item.key, ""), times.count(item.key) == 1))
        else:
            repairs.append(swaps.happened(item.key))
    complaint = fitted.complaints[case.complaint].title if case.complaint in fitted.complaints else case.complaint
    complaint += f", channel {case.channel}" if case.channel else ""
    return CarriedCase(case.case, case.days, complaint, case.end, share, tuple(answers), tuple(repairs), tuple(lost))


def _repair_line(fitted: Fitted, key: str, finding: str, alone: bool) -> str:
    line = fitted.repair(key).title
    if finding not in FINDINGS:
        return line
    how = "taken into account" if finding in WEIGHED and alone else "shown only"
    return f"{line}. Since then {FINDINGS[finding]} ({how})"


def _counts(fitted: Fitted, item: Evidence, after: Sequence[Evidence], share: float) -> tuple[float, str]:
    """Return how much of an answer still counts, and why less than the rest of its case.

    Of all the faults that the answer speaks for or against, each by how likely it is in advance and how much it is
    moved against healthy, those count that were not put right since; so nothing counts where all of them were.
    """
    check = fitted.check(item.key)
    at = check.outcomes.index(item.outcome)
    about = {
        (zone, state): chance * abs(log(max(row[at], FLOOR) / max(rows[0][at], FLOOR)))
        for zone, rows in check.given.items()
        for state, chance, row in zip(fitted.zones[zone].states, fitted.zones[zone].prior, rows, strict=True)
        if state != HEALTHY
    }
    whole = sum(about.values())
    gone: list[str] = []
    for later in after:
        if later.kind == "swap":
            gone.append("parts changed places after it and took their faults with them")
        if later.kind != "repair":
            continue
        clears = fitted.repair(later.key).clears
        put_right = sum(about.pop((zone, state), 0.0) for zone, states in clears.items() for state in sorted(states))
        if whole and put_right / whole >= WORTH_A_WORD:
            gone.append(f"{_lower(fitted.repair(later.key).title)}, done after it")
    left = sum(about.values()) / whole if whole else 1.0
    return share * left, ", ".join(dict.fromkeys(gone))


def _shifts(model: Model, intake: Intake, most: int) -> tuple[Shift, ...]:
    without = told_belief(model, replace(intake, earlier=()))
    after = told_belief(model, intake)
    found = []
    for key, zone in model.fitted.zones.items():
        for state, p, q in zip(zone.states, without.zone(key), after.zone(key), strict=True):
            if state != HEALTHY and max(p, q) >= LEAST:
                found.append(Shift(zone.title_of(state), float(p), float(q)))
    return tuple(sorted(found, key=lambda s: (-abs(s.with_them - s.without), s.title))[:most])


def tenths(share: float) -> str:
    """Return a probability in percent and a tenth; what is neither 0 nor 1 is not shown as 0.0% or 100.0%."""
    if 0 < share < 0.0005:
        return "<0.1%"
    return ">99.9%" if 0.9995 <= share < 1 else f"{share:.1%}"


def ago(days: float) -> str:
    """Return a number of days as it is said."""
    whole = int(days)
    return "less than a day ago" if whole == 0 else "1 day ago" if whole == 1 else f"{whole} days ago"


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def record_lines(model: Model, intake: Intake) -> list[str]:
    """Return what was carried, in lines of the record; none where nothing was."""
    lines = carried(model, intake).lines()
    return ["", "Carried from earlier cases on this engine:", *(f"  {line}" for line in lines)] if lines else []

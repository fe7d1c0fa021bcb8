"""Fleet figures: how long isolating takes, what was replaced in vain, what came back, whether declining was right.

All of it comes from cases in brief (:class:`isolate.case.brief.Brief`), by engine type, station or version of the
knowledge. Only what somebody said or the trail shows is counted: a part of which neither the verdict nor the shop
says anything counts neither way, and how many such there are is told. Drills never count. The same cases give the same
figures: nothing here asks the clock.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal, get_args

from isolate.case.brief import Brief, Turned
from isolate.review.intervals import LEAST, Share, Spread, share, spread
from isolate.review.repeats import came_back, proven, starts_between, still_open
from isolate.review.symptoms import Family
from isolate.review.trend import DAY, reach, seconds
from isolate.review.verdicts import cleared, in_vain, standing, verdicts

By = Literal["engine", "station", "knowledge"]
Judged = Literal["right", "wrong", ""]
"""Whether turning advice down was right; empty: not judged."""
DAYS, STARTS = 10.0, 30.0
"""A defect that is back within so many days and so many engine starts came back: days from the end of the one case to
the opening of the next, starts from opening to opening, where they are told."""
NOT_TOLD = "not told"
NONE = share(0, 0)
VERSION = 12
"""Digits by which a version of the knowledge is called."""
KINDS = {
    "repair": "Repairs declined",
    "check": "Checks declined",
    "instead": "Something else done instead",
    "other": "Others declined",
}
"""How advice is turned down, and its heading; others are parts to change over, the verification, ways to end."""


@dataclass(frozen=True)
class InVain:
    """Parts that were probably good when they came off. ``share``: of the parts that anybody says anything of.

    ``minutes``: equivalent minutes that those in vain took in parts; ``unsaid``: parts of which neither the verdict
    nor the shop says anything; ``by_shop``: of those in vain, how many the shop found nothing wrong with.
    """

    share: Share
    minutes: float
    by_shop: int
    unsaid: int


@dataclass(frozen=True)
class CameBack:
    """Cases whose defect came back. ``share``: of those that ended verified and were watched long enough to tell.

    ``days_only``: of those that came back, how many are known by the days alone, the starts not being told;
    ``unwatched``: closed so late that what came after is not known yet; ``unproven``: ended deferred or handed over,
    so that nothing could come back; ``taken_up``: of these, how many were taken up again as soon.
    """

    share: Share
    days_only: int
    unwatched: int
    unproven: int = 0
    taken_up: int = 0


@dataclass(frozen=True)
class Declined:
    """Advice turned down one way. ``right``: the share of those judged where turning it down was right.

    ``taken``: of what was put forward alike in the same cases and taken, the share where turning it down would have
    been right by the same measure; of none where there is nothing alike.
    """

    kind: str
    title: str
    times: int
    right: Share
    unjudged: int
    taken: Share = NONE


@dataclass(frozen=True)
class Unheld:
    """Closed cases whose end names a fault that does not hold, so that it was not isolated there.

    ``cleared``: the shop found nothing wrong with the parts; ``disputed``: its words disagree; ``back``: no shop has
    confirmed it, and the defect came back in time.
    """

    cleared: int = 0
    disputed: int = 0
    back: int = 0


@dataclass(frozen=True)
class Group:
    """The figures of one engine type, station or version. Minutes are book minutes.

    ``key``: in full, empty where not told; ``first`` and ``last``: when its first and last case were opened; ``ended``:
    minutes to the end, closing up and verification included; ``unfound``: verified with no fault named, of the closed.
    ``isolated``: minutes, of the cases in which it came to that; ``never``: closed cases in which it did not;
    ``unheld``: those in which the end named a fault that did not hold. ``cleared``: parts in which the shop found
    nothing wrong, of those that it has reported on and that came off.
    """

    key: str
    name: str
    first: str
    last: str
    cases: int
    closed: int
    isolated: Spread
    ended: Spread
    in_vain: InVain
    unfound: Share
    came_back: CameBack
    declined: tuple[Declined, ...]
    taken: int
    never: int = 0
    unheld: Unheld = Unheld()
    cleared: Share = NONE


@dataclass(frozen=True)
class Fleet:
    """The figures. ``whole``: of all groups together; ``least``: cases below which a figure says too few."""

    by: By
    since: str
    until: str
    engine: str
    days: float
    starts: float
    least: int
    whole: Group
    groups: tuple[Group, ...]
    notes: tuple[str, ...]
    engine_title: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


@dataclass
class _Count:
    """What is counted of a group while the cases go by."""

    key: str = ""
    first: str = ""
    last: str = ""
    cases: int = 0
    closed: int = 0
    isolated: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    parts: int = 0
    in_vain: int = 0
    by_shop: int = 0
    minutes: float = 0.0
    unsaid: int = 0
    unfound: int = 0
    watched: int = 0
    back: int = 0
    days_only: int = 0
    unwatched: int = 0
    unproven: int = 0
    taken_up: int = 0
    judged: Counter[tuple[str, Judged]] = field(default_factory=Counter)
    judged_taken: Counter[tuple[str, Judged]] = field(default_factory=Counter)
    unheld: Counter[str] = field(default_factory=Counter)
    reported: int = 0
    cleared: int = 0
    taken: int = 0
    never: int = 0


Judge = Callable[[Brief, Turned], Judged]
"""Says whether turning advice down was right, from the trail and the knowledge."""
Taken = Callable[[Brief], Iterable[tuple[str, Judged]]]
"""Says of the advice that a case took, by kind, whether turning it down would have been right by the same measure."""


def figures(
    briefs: Iterable[Brief],
    by: By = "engine",
    *,
    since: str = "",
    until: str = "",
    engine: str = "",
    judge: Judge | None = None,
    taken: Taken | None = None,
    families: Mapping[str, Family] | None = None,
    kinds: Mapping[str, str] | None = None,
    notes: Sequence[str] = (),
    now: str = "",
) -> Fleet:
    """Return the fleet figures of cases in brief, in any order.

    ``since`` and ``until``: days (RFC 3339 dates, UTC) on which the counted cases were opened; what came back is looked
    for in all the briefs, so give those after ``until`` as well.
    ``judge``: says whether declining was right, ``taken`` the same of what was taken in the cases where something was
    declined; without them nothing is judged. ``families`` and ``kinds``: see
    :func:`isolate.review.repeats.came_back`. ``now`` (RFC 3339): nothing is taken to be watched beyond it, whatever a
    case is dated (:func:`isolate.review.trend.reach`). Raises
    ValueError for a grouping that is none, EventError for a time that is none.
    """
    if by not in get_args(By):
        raise ValueError(f"figures are by {', '.join(get_args(By))}, not {by!r}")
    counts: dict[str, _Count] = {}
    whole = _Count()
    drills = 0
    had: list[Brief] = []
    for brief in briefs:
        if brief.drill:
            drills += 1
        elif not engine or _folded(brief.engine) == _folded(engine):
            had.append(brief)
    had.sort(key=lambda b: (b.opened, b.case))
    back = _back(had, families, kinds)
    last, late = reach(had, now)
    watched = seconds(last) - DAYS * DAY if last else 0.0
    # The newest first: where only so many are judged, it is those.
    for brief in reversed(had):
        if not (since <= brief.opened[:10] and (not until or brief.opened[:10] <= until)):
            continue
        judged = [
            (turned, judge(brief, turned) if judge is not None and brief.closed else "") for turned in brief.turned
        ]
        alike = taken(brief) if taken is not None and judged and brief.closed else ()
        why = standing(brief, brief.case in back and proven(brief)) if brief.closed else ""
        key = {"engine": brief.engine, "station": brief.station, "knowledge": brief.knowledge}[by].strip()
        for count in (whole, counts.setdefault(_folded(key), _Count(key))):
            _add(count, brief, judged, why)
            count.judged_taken.update(alike)
            if brief.closed:
                _add_back(count, brief, back.get(brief.case), seconds(brief.closed) <= watched)
    told = [*notes, *([late] if late else [])]
    if drills:
        told.append(f"{drills:,} {'drill' if drills == 1 else 'drills'} left out.")
    order = sorted(counts.values(), key=(lambda c: (c.first, c.key)) if by == "knowledge" else (lambda c: c.key))
    groups = tuple(_group(count, _named(count.key, by)) for count in order)
    together = _group(whole, "all together")
    return Fleet(by, since, until, engine, DAYS, STARTS, LEAST, together, groups, tuple(told))


def _back(
    briefs: Sequence[Brief], families: Mapping[str, Family] | None, kinds: Mapping[str, str] | None
) -> dict[str, bool]:
    """Return the cases whose defect came back, or was taken up again, with whether that is known by the days alone.

    A case may bring back several earlier ones: what was found on each channel, where the next does not tell which.
    """
    by_case = {b.case: b for b in briefs}
    found: dict[str, bool] = {}
    for back in came_back(briefs, DAYS, STARTS, families, kinds):
        brief = by_case[back.case]
        for case in {reason.case for reason in back.reasons}:
            old = by_case[case]
            if not still_open(old, brief):
                found[case] = found.get(case, True) and starts_between(old, brief) is None
    return found


def _folded(text: str) -> str:
    return text.strip().casefold()


def _add(count: _Count, brief: Brief, judged: Sequence[tuple[Turned, Judged]], why: str) -> None:
    """Count a case. ``why``: why what its end names does not hold, empty where it does."""
    count.first = min(count.first or brief.opened, brief.opened)
    count.last = max(count.last, brief.opened)
    count.cases += 1
    count.taken += brief.taken
    for turned, verdict in judged:
        kind = "instead" if turned.instead else turned.kind
        count.judged[kind if kind in KINDS else "other", verdict] += 1
    if not brief.closed:
        return
    count.closed += 1
    count.ended.append(brief.book)
    if brief.isolated is None:
        count.never += 1
    elif why:
        count.unheld[why] += 1
    else:
        count.isolated.append(brief.isolated)
    count.unfound += brief.ended.startswith("verified") and all(n.in_vain for n in brief.named)
    for item, named in verdicts(brief):
        if item.price <= 0:
            continue
        if item.finding and not item.disputed:
            count.reported += 1
            count.cleared += cleared(item)
        vain = in_vain(item, named)
        if vain is None:
            count.unsaid += 1
            continue
        count.parts += 1
        if vain:
            count.in_vain += 1
            count.by_shop += item.finding == "not-confirmed"
            count.minutes += item.price


def _add_back(count: _Count, brief: Brief, back: bool | None, watched: bool) -> None:
    """Count a closed case. ``back``: None where it did not come back, else whether that is known by the days alone."""
    if not proven(brief):
        count.unproven += 1
        count.taken_up += back is not None
        return
    if not watched:
        count.unwatched += 1
        return
    count.watched += 1
    count.back += back is not None
    count.days_only += back is True


def _named(key: str, by: By) -> str:
    return (key[:VERSION] if by == "knowledge" else key) or NOT_TOLD


def _group(count: _Count, name: str) -> Group:
    return Group(
        key=count.key,
        name=name,
        first=count.first,
        last=count.last,
        cases=count.cases,
        closed=count.closed,
        isolated=_isolated(count),
        ended=spread(count.ended),
        in_vain=InVain(share(count.in_vain, count.parts), round(count.minutes, 2), count.by_shop, count.unsaid),
        unfound=share(count.unfound, count.closed),
        came_back=CameBack(
            share(count.back, count.watched), count.days_only, count.unwatched, count.unproven, count.taken_up
        ),
        declined=tuple(_declined(count, kind, title) for kind, title in KINDS.items()),
        taken=count.taken,
        never=count.never,
        unheld=Unheld(*(count.unheld[why] for why in ("cleared", "disputed", "came back"))),
        cleared=share(count.cleared, count.reported),
    )


def _isolated(count: _Count) -> Spread:
    """Return the minutes of the cases in which it was isolated; that it was not in others is said beside them."""
    found = spread(count.isolated)
    others = {
        "never isolated": count.never,
        "named a part that the shop found good": count.unheld["cleared"],
        "named a part on which two words of the shop disagree": count.unheld["disputed"],
        "named what no shop confirmed, and came back": count.unheld["came back"],
    }
    return replace(found, said="; ".join([found.said, *(f"{n:,} more {what}" for what, n in others.items() if n)]))


def _declined(count: _Count, kind: str, title: str) -> Declined:
    right, wrong, unjudged = (count.judged[kind, verdict] for verdict in ("right", "wrong", ""))
    of_taken = {verdict: count.judged_taken[kind, verdict] for verdict in get_args(Judged)}
    taken = share(of_taken["right"], of_taken["right"] + of_taken["wrong"])
    return Declined(kind, title, right + wrong + unjudged, share(right, right + wrong), unjudged, taken)

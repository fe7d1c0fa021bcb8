"""Fleet figures: how long isolating takes, what was replaced in vain, what came back, whether declining was right.

All of it comes from cases in brief (:class:`isolate.case.brief.Brief`), by engine type, station or version of the
knowledge. Only what somebody said or the trail shows is counted: a part of which neither the verdict nor the shop
says anything counts neither way, and how many such there are is told. Drills never count. The same cases give the same
figures: nothing here asks the clock.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, get_args

from isolate.case.brief import Brief, Turned
from isolate.case.events import parse_time
from isolate.review.intervals import LEAST, Share, Spread, share, spread
from isolate.review.repeats import Back, came_back
from isolate.review.symptoms import Family
from isolate.review.verdicts import in_vain, verdicts

By = Literal["engine", "station", "knowledge"]
Judged = Literal["right", "wrong", ""]
"""Whether turning advice down was right; empty: not judged."""
DAYS, STARTS = 10.0, 30.0
"""A defect that is back within so many days and so many engine starts came back."""
_NEVER = datetime(1, 1, 12, tzinfo=UTC)
NOT_TOLD = "not told"
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
    """Cases whose defect came back. ``share``: of the closed cases that were watched long enough to tell.

    ``days_only``: of those that came back, how many are known by the days alone, the starts not being told;
    ``unwatched``: closed so late that what came after is not known yet.
    """

    share: Share
    days_only: int
    unwatched: int


@dataclass(frozen=True)
class Declined:
    """Advice turned down one way. ``right``: the share of those judged where turning it down was right."""

    kind: str
    title: str
    times: int
    right: Share
    unjudged: int


@dataclass(frozen=True)
class Group:
    """The figures of one engine type, station or version. Minutes are book minutes.

    ``key``: in full, empty where not told; ``first`` and ``last``: when its first and last case were opened; ``ended``:
    minutes to the end, closing up and verification included; ``unfound``: verified with no fault named, of the closed.
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
    judged: Counter[tuple[str, Judged]] = field(default_factory=Counter)
    taken: int = 0


Judge = Callable[[Brief, Turned], Judged]
"""Says whether turning advice down was right, from the trail and the knowledge."""


def figures(
    briefs: Iterable[Brief],
    by: By = "engine",
    *,
    since: str = "",
    until: str = "",
    engine: str = "",
    judge: Judge | None = None,
    families: Mapping[str, Family] | None = None,
    kinds: Mapping[str, str] | None = None,
    notes: Sequence[str] = (),
) -> Fleet:
    """Return the fleet figures of cases in brief, in any order.

    ``since`` and ``until``: days (RFC 3339 dates, UTC) on which the counted cases were opened; what came back is looked
    for in all the briefs, so give those after ``until`` as well. ``judge``: says whether declining was right; without
    one nothing is judged. ``families`` and ``kinds``: see :func:`isolate.review.repeats.came_back`. Raises ValueError
    for a grouping that is none, EventError for a time that is none.
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
    back = {b.before: b for b in came_back(had, DAYS, STARTS, families, kinds) if not b.open_before}
    watched = max((parse_time(b.last) for b in had), default=_NEVER) - timedelta(days=DAYS)
    # The newest first: where only so many are judged, it is those.
    for brief in reversed(had):
        if not (since <= brief.opened[:10] and (not until or brief.opened[:10] <= until)):
            continue
        judged = [
            (turned, judge(brief, turned) if judge is not None and brief.closed else "") for turned in brief.turned
        ]
        key = {"engine": brief.engine, "station": brief.station, "knowledge": brief.knowledge}[by].strip()
        for count in (whole, counts.setdefault(_folded(key), _Count(key))):
            _add(count, brief, judged)
            if brief.closed:
                _add_back(count, back.get(brief.case), parse_time(brief.closed) <= watched)
    told = [*notes]
    if drills:
        told.append(f"{drills:,} {'drill' if drills == 1 else 'drills'} left out.")
    order = sorted(counts.values(), key=(lambda c: (c.first, c.key)) if by == "knowledge" else (lambda c: c.key))
    groups = tuple(_group(count, _named(count.key, by)) for count in order)
    together = _group(whole, "all together")
    return Fleet(by, since, until, engine, DAYS, STARTS, LEAST, together, groups, tuple(told))


def _folded(text: str) -> str:
    return text.strip().casefold()


def _add(count: _Count, brief: Brief, judged: Sequence[tuple[Turned, Judged]]) -> None:
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
    if brief.isolated is not None:
        count.isolated.append(brief.isolated)
    count.unfound += brief.ended.startswith("verified") and all(n.in_vain for n in brief.named)
    for item, named in verdicts(brief):
        if item.price <= 0:
            continue
        vain = in_vain(item, named)
        if vain is None:
            count.unsaid += 1
            continue
        count.parts += 1
        if vain:
            count.in_vain += 1
            count.by_shop += item.finding == "not-confirmed"
            count.minutes += item.price


def _add_back(count: _Count, back: Back | None, watched: bool) -> None:
    if not watched:
        count.unwatched += 1
        return
    count.watched += 1
    count.back += back is not None
    count.days_only += back is not None and back.starts is None


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
        isolated=spread(count.isolated),
        ended=spread(count.ended),
        in_vain=InVain(share(count.in_vain, count.parts), round(count.minutes, 2), count.by_shop, count.unsaid),
        unfound=share(count.unfound, count.closed),
        came_back=CameBack(share(count.back, count.watched), count.days_only, count.unwatched),
        declined=tuple(_declined(count, kind, title) for kind, title in KINDS.items()),
        taken=count.taken,
    )


def _declined(count: _Count, kind: str, title: str) -> Declined:
    right, wrong, unjudged = (count.judged[kind, verdict] for verdict in ("right", "wrong", ""))
    return Declined(kind, title, right + wrong + unjudged, share(right, right + wrong), unjudged)

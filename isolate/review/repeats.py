"""Defects that came back: which cases belong together and why, beside each other, and what each left open.

Which belong together is found from the cases in brief (:func:`came_back`); the trails of the groups that are shown
are read for the rest (:mod:`isolate.review.beside`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from isolate.case.inherit import MOST_DAYS, Shelf
from isolate.case.intake import Refused
from isolate.review.parts import Identity, Touch, Way, folded, kinds_of, place_named, touched, ways, words_of
from isolate.review.symptoms import Family
from isolate.review.trend import DAY, Trend, seconds

if TYPE_CHECKING:
    from isolate.case.brief import Brief
    from isolate.kb.model import Knowledge
    from isolate.review.named import Names

MOST_ASKED = 36_500.0
"""Days, the longest that may be asked for."""
MOST_STARTS = 1_000_000.0
"""Engine starts, the most that may be asked for."""
LEFT_OPEN = 0.05
"""A fault of this much at the end of a case was left open."""


# -- shapes ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reason:
    """Why a case belongs to an earlier one. ``symptom`` and ``repair``: on the same engine; ``part``: wherever it is.

    ``case``: the earlier one. ``said``: in words, e.g. "same engine, the same complaint". ``part``: the serial number
    of the part, empty where it is none.
    """

    kind: Literal["symptom", "repair", "part"]
    case: str
    said: str
    part: str = ""


@dataclass(frozen=True)
class Back:
    """A case that came back. ``before``: the earlier case that ended last of those it belongs to.

    ``days``: from the end of that one to the opening of this one, 0 where it was opened before; ``starts``: the
    engine's starts between the openings of the two, None where they are not told. ``open_before``: the earlier one had
    not ended when this one was opened, so that the defect did not come back but was opened once more; ``taken_up``: it
    had ended, but deferred or handed over: the defect was not said to be gone, and was taken up again.
    """

    case: str
    before: str
    days: float
    starts: float | None
    open_before: bool
    reasons: tuple[Reason, ...]
    taken_up: bool = False

    @property
    def returned(self) -> bool:
        """Whether the defect came back after it was verified to be gone."""
        return not self.open_before and not self.taken_up


@dataclass(frozen=True)
class Left:
    """A fault that a case left open: at its ``end`` (``chance`` then), or possible when its last ``repair`` was chosen
    and named by nothing at the end (``chance`` before that repair)."""

    mode: str
    title: str
    chance: float
    when: Literal["end", "repair"]


@dataclass(frozen=True)
class Asked:
    """A question and its answer. ``within``: check, repair or verify; ``key``: the check.

    ``when``: before any repair of the case, between two of them, or after the last; ``condition``: e.g. "cold", where
    one prevailed and the check depends on it.
    """

    seq: int
    key: str
    title: str
    said: str
    within: str
    condition: str = ""
    when: Literal["before", "between", "after"] = "before"


@dataclass(frozen=True)
class Done:
    """A repair. ``off``, ``on``: the parts by their numbers, empty where not told; ``finding``: the shop's, in words;
    ``found``: what the end of the case names of it, with its chance."""

    seq: int
    time: str
    key: str
    title: str
    off: str
    on: str
    finding: str
    found: str


@dataclass(frozen=True)
class Turned:
    """Advice that was turned down: what, and why or for what else."""

    seq: int
    move: str
    title: str
    reason: str
    instead: str


@dataclass(frozen=True)
class Visit:
    """One case of a defect. Times are RFC 3339, ``closed`` empty while it is open.

    ``days``: since the visit before ended, None for the first and where that had not; ``starts``: from its opening to
    this one's, None where not told. ``open_before``: the one before had not ended when this one was opened;
    ``taken_up``: it had ended deferred or handed over. ``before``: the case of that one; ``since``: all this in
    words. ``reasons``: why it belongs to earlier ones. ``repairs``: keys; ``findings``: "key: finding".
    From ``signs`` on all is from the trail: empty until it is read (``read``). ``signed``: names on signatures, none
    proven here.
    """

    case: str
    aircraft: str
    position: str
    engine: str
    opened: str
    closed: str
    end: str
    complaint: str
    channel: str
    condition: str
    place: str
    station: str
    days: float | None
    starts: float | None
    open_before: bool
    reasons: tuple[Reason, ...]
    repairs: tuple[str, ...]
    findings: tuple[str, ...]
    read: bool = False
    complaint_title: str = ""
    told: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
    asked: tuple[Asked, ...] = ()
    done: tuple[Done, ...] = ()
    left: tuple[Left, ...] = ()
    turned: tuple[Turned, ...] = ()
    signed: tuple[str, ...] = ()
    remaining: float | None = None
    before: str = ""
    since: str = ""
    taken_up: bool = False

    @property
    def returned(self) -> bool:
        """Whether the defect came back with it, after it was verified to be gone."""
        return self.days is not None and not self.open_before and not self.taken_up


@dataclass(frozen=True)
class Confirmed:
    """What a later case found, and how an earlier one had it.

    ``by``: who says so, "the shop" or "the end of the case". ``sure``: the chance that the later one gives it.
    ``at_end``: its chance at the end of the earlier one, 0 for under ``least``; ``highest``: the most it had there at
    any time, ``after`` what (words); ``dropped``: what took it down most from there, in words, empty for nothing.
    ``open``: it was left open (at least :data:`LEFT_OPEN`).
    """

    mode: str
    title: str
    earlier: str
    later: str
    by: Literal["the shop", "the end of the case"]
    sure: float
    at_end: float
    highest: float
    after: str
    dropped: str
    open: bool
    said: str


@dataclass(frozen=True)
class Unasked:
    """A check that no visit did and that would have told what was named earlier from what was found later.

    ``bits``: evidence to be expected from it, in the worse of the two directions, in ``condition``.
    """

    check: str
    title: str
    one: str
    other: str
    bits: float
    minutes: float
    condition: str
    said: str


@dataclass(frozen=True)
class NoCure:
    """The same repair done more than once. ``cases``: those that did it; ``parts``: what went on each time."""

    repair: str
    title: str
    cases: tuple[str, ...]
    parts: tuple[str, ...]
    said: str


@dataclass(frozen=True)
class Repeat:
    """A defect that came back, oldest visit first. ``again``: repairs (keys) done in more than one of its cases.

    ``about``: what ties its cases together: one "engine", or one "part" that was on several; ``part`` then says which.
    ``aircraft``, ``position``, ``engine``: of the last visit. ``where``: every engine that it was on, in words. The
    rest is worked out from the trails (``read``). ``turned``: (case, sentence) on declined advice that bears on it.
    ``doubts``: sentences on what a visit named and the shop did not find, or nobody confirmed and it came back.
    ``follows``: sentences on what follows from a fault that was confirmed and did not end it. ``older``: visits before
    those shown.
    """

    aircraft: str
    position: str
    engine: str
    visits: tuple[Visit, ...]
    again: tuple[str, ...]
    where: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    read: bool = False
    engine_title: str = ""
    confirmed: tuple[Confirmed, ...] = ()
    unasked: tuple[Unasked, ...] = ()
    no_cure: tuple[NoCure, ...] = ()
    turned: tuple[tuple[str, str], ...] = ()
    carries: tuple[str, ...] = ()
    trend: Trend | None = None
    notes: tuple[str, ...] = ()
    about: Literal["engine", "part"] = "engine"
    part: str = ""
    older: int = 0
    doubts: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()

    @property
    def times(self) -> int:
        """How often it came back."""
        return len(self.returns)

    @property
    def returns(self) -> tuple[Visit, ...]:
        """The visits with which it came back: opened with the one before, on the same engine, ended as verified."""
        on = {v.case: engine_of(v.aircraft, v.position, v.engine) for v in self.visits}
        return tuple(v for v in self.visits if v.returned and any(on.get(r.case) == on[v.case] for r in v.reasons))

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {**asdict(self), "times": self.times}


@dataclass(frozen=True)
class Repeats:
    """All that came back, the last one first, and sentences on cases that could not be read.

    ``found``: the groups that are shown; ``more``: how many there are besides. ``ways``: where parts went. ``trends``:
    of part numbers, engine types and stations. ``cases``: how many were looked at; ``since``, ``until``: the window.
    ``days``, ``starts``: within which they belong together. ``part``: the serial number that was asked for.
    """

    found: tuple[Repeat, ...]
    notes: tuple[str, ...]
    ways: tuple[Way, ...] = ()
    trends: tuple[Trend, ...] = ()
    cases: int = 0
    more: int = 0
    since: str = ""
    until: str = ""
    days: float = MOST_DAYS
    starts: float | None = None
    part: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {
            "repeats": [r.as_dict() for r in self.found],
            "notes": list(self.notes),
            "ways": [w.as_dict() for w in self.ways],
            "trends": [t.as_dict() for t in self.trends],
            **{name: getattr(self, name) for name in ("cases", "more", "since", "until", "days", "starts", "part")},
        }


# -- which belong together -------------------------------------------------------------------------


def checked(days: float, starts: float | None) -> None:
    """Raise Refused for a number of days or starts that is none."""
    if not (isfinite(days) and 0 < days <= MOST_ASKED):
        raise Refused(f"days are a number above 0 and no more than {MOST_ASKED:.0f}, not {days:g}")
    if starts is not None and not (isfinite(starts) and 0 < starts <= MOST_STARTS):
        raise Refused(f"starts are a number above 0 and no more than {MOST_STARTS:.0f}, not {starts:g}")


@lru_cache(maxsize=1 << 14)
def engine_of(aircraft: str, position: str, engine: str = "") -> tuple[str, str, str]:
    """Return an engine as it is compared: letters folded, without spaces around."""
    return aircraft.strip().casefold(), position.strip().casefold(), engine.strip().casefold()


def ended(brief: Brief) -> str:
    """Return when a case ended; for an open one, when something was last written to it."""
    return brief.closed or brief.last


def still_open(old: Brief, brief: Brief) -> bool:
    """Return whether a case had not ended when another one was opened."""
    return not old.ended or seconds(ended(old)) > seconds(brief.opened)


def proven(brief: Brief) -> bool:
    """Return whether a case ended with the engine verified, neither deferred nor handed over."""
    return brief.ended.startswith("verified")


def came_back(
    briefs: Iterable[Brief],
    days: float = MOST_DAYS,
    starts: float | None = None,
    families: Mapping[str, Family] | None = None,
    kinds: Mapping[str, str] | None = None,
    dated: Callable[[Brief, Brief], float | None] | None = None,
) -> tuple[Back, ...]:
    """Return the cases that came back, by the time they were opened.

    A case belongs to an earlier one that ended no more than ``days`` before it was opened, and was opened no more than
    ``starts`` engine starts before it, where these are told of both (else the days alone count), if

    - it is on the same engine with a complaint of the same family (:mod:`isolate.review.symptoms`), or
    - on the same engine, and the same repair was done in both, whatever it was called the second time, or
    - a part that came off or changed places in it was fitted or came off in the other, wherever that was, or
    - a part that came off the other one on another engine sits on this one, and the complaint is of the same family.

    Drills are left out. ``families`` and ``kinds`` come from the knowledge (``symptoms.families``, ``parts.kinds_of``);
    without them a complaint is a family of its own. ``dated(earlier, later)``: the starts between the two where the
    openings do not tell them. Takes time in proportion to the cases. Raises Refused for numbers that are none.
    """
    checked(days, starts)
    seen = _Seen(days, starts, families or {}, kinds or {}, dated)
    found = []
    for brief in sorted((b for b in briefs if not b.drill), key=lambda b: (b.opened, b.case)):
        touches = touched(brief, seen.kinds)
        back = seen.back(brief, touches)
        if back is not None:
            found.append(back)
        seen.add(brief, touches)
    return tuple(found)


_Key = tuple[str, ...]
_K = TypeVar("_K")
_NOWHERE: frozenset[_Key] = frozenset()
MOST_KEPT = 8
"""Times that a part came off or went on that are kept in mind, the latest."""


@dataclass
class _Place:
    """What is known of one engine so far: the last case by complaint and by repair, and the parts that sit there."""

    symptoms: dict[_Key, Brief] = field(default_factory=dict)
    repairs: dict[str, Brief] = field(default_factory=dict)
    sits: dict[tuple[str, str], Identity] = field(default_factory=dict)


class _Seen:
    """The cases so far, found again by what may come back: by engine, and by the serial numbers of parts."""

    def __init__(
        self,
        days: float,
        starts: float | None,
        families: Mapping[str, Family],
        kinds: Mapping[str, str],
        dated: Callable[[Brief, Brief], float | None] | None,
    ) -> None:
        self.days, self.starts, self.kinds, self.dated = days, starts, kinds, dated
        self.families = dict(families)
        self.places: dict[_Key, _Place] = {}
        self.parts: dict[str, list[tuple[Brief, Touch, _Key]]] = {}
        self.ends: dict[str, float] = {}
        """Case → when it ended, in seconds."""
        self.left: dict[str, set[_Key]] = {}
        """Serial number → engines that a part with it came off: most parts never left another one."""

    def back(self, brief: Brief, touches: Sequence[Touch]) -> Back | None:
        """Return how a case belongs to those seen so far; None where it belongs to none.

        Of several earlier ones for one reason the latest is taken: it belongs to those before it by itself.
        """
        reasons: dict[tuple[str, str, str], tuple[Brief, Reason]] = {}
        here = engine_of(brief.aircraft, brief.position)
        place = self.places.get(engine_of(brief.aircraft, brief.position, brief.engine))
        if place is not None:
            for old in self._alike(place, brief):
                if self._within(old, brief):
                    said = self._symptom(old, brief)
                    reasons["symptom", old.case, ""] = old, Reason("symptom", old.case, said)
            for repair in dict.fromkeys(r.repair for r in brief.repairs):
                same = place.repairs.get(repair)
                if same is not None and self._within(same, brief):
                    said = f"same engine, the same repair ({repair}) in both"
                    reasons["repair", same.case, repair] = same, Reason("repair", same.case, said)
        for touch in touches:
            if touch.how not in ("off", "out"):
                continue
            for old, was, there in self._touched(touch.part, here):
                if self._within(old, brief):
                    how = "fitted in the one before" if was.how in ("on", "in") else "taken off in both"
                    on = "" if there == here else f", on {old.aircraft}-{old.position} before"
                    said = f"same part, S/N {touch.part.serial}, {how}{on}"
                    reasons["part", old.case, touch.part.serial] = (
                        old,
                        Reason("part", old.case, said, touch.part.serial),
                    )
        if place is not None:
            family, home = self._family(brief).key, {here}
            for part in place.sits.values():
                if self.left.get(part.keys[0], _NOWHERE) <= home:
                    continue
                for old, _, _ in self._elsewhere(part, here):
                    if self._family(old).key == family and self._within(old, brief):
                        on = f"{old.aircraft}-{old.position}"
                        said = f"same part, S/N {part.serial}, came off {on} with a complaint like this"
                        reasons.setdefault(
                            ("part", old.case, part.serial), (old, Reason("part", old.case, said, part.serial))
                        )
        if not reasons:
            return None
        before = max((old for old, _ in reasons.values()), key=lambda b: (ended(b), b.case))
        beside = still_open(before, brief)
        order = {"symptom": 0, "repair": 1, "part": 2}
        found = sorted((r for _, r in reasons.values()), key=lambda r: (order[r.kind], r.case, r.said))
        return Back(
            brief.case,
            before.case,
            round(between(before, brief), 2),
            self._starts(before, brief),
            beside,
            tuple(found),
            not beside and not proven(before),
        )

    def add(self, brief: Brief, touches: Sequence[Touch]) -> None:
        """Keep a case for those that come after it."""
        key = engine_of(brief.aircraft, brief.position, brief.engine)
        place = self.places.setdefault(key, _Place())
        _later(place.symptoms, (self._family(brief).key, brief.channel), brief)
        for done in brief.repairs:
            _later(place.repairs, done.repair, brief)
        for touch in touches:
            kept = self.parts.setdefault(touch.part.keys[0], [])
            kept.append((brief, touch, engine_of(brief.aircraft, brief.position)))
            del kept[:-MOST_KEPT]
            if touch.how in ("off", "out"):
                self.left.setdefault(touch.part.keys[0], set()).add(kept[-1][2])
            self._sit(place, touch)

    def _sit(self, place: _Place, touch: Touch) -> None:
        spot = (touch.part.kind, touch.channel)
        if touch.how in ("on", "in"):
            place.sits[spot] = touch.part
        elif (there := place.sits.get(spot)) is not None and there.is_also(touch.part):
            del place.sits[spot]
        if touch.where:
            # The other engine of a swap, where what was written names one that has cases here.
            other = self._named(touch.where)
            if other is not None and touch.how == "out":
                other.sits[spot] = touch.part

    def _named(self, where: str) -> _Place | None:
        words = words_of(where)
        for key, place in self.places.items():
            if place_named(words, key[0], key[1]):
                return place
        return None

    def _family(self, brief: Brief) -> Family:
        found = self.families.get(brief.complaint)
        if found is None:
            found = self.families[brief.complaint] = Family(brief.complaint, brief.complaint)
        return found

    def _alike(self, place: _Place, brief: Brief) -> list[Brief]:
        family = self._family(brief).key
        if brief.channel:
            keys: Sequence[_Key] = [(family, brief.channel), (family, "")]
        else:
            keys = [key for key in place.symptoms if key[0] == family]
        return [place.symptoms[key] for key in keys if key in place.symptoms]

    def _symptom(self, old: Brief, brief: Brief) -> str:
        if (old.complaint, old.channel) == (brief.complaint, brief.channel):
            return "same engine, the same complaint"
        if old.complaint == brief.complaint:
            return "same engine, the same complaint, its channel told in one only"
        return f"same engine, complaints of one family ({self._family(brief).says})"

    def _touched(self, part: Identity, here: _Key) -> list[tuple[Brief, Touch, _Key]]:
        """Return when a part was last touched, and then when it last came off or left on another engine."""
        kept = reversed(self.parts.get(part.keys[0], ()))
        last = next((one for one in kept if one[1].part.is_also(part)), None)
        return [] if last is None else [last, *self._elsewhere(part, here)]

    def _elsewhere(self, part: Identity, here: _Key) -> list[tuple[Brief, Touch, _Key]]:
        """Return when a part last came off or left on another engine; nothing where it never did."""
        for one in reversed(self.parts.get(part.keys[0], ())):
            if one[2] != here and one[1].how in ("off", "out") and one[1].part.is_also(part):
                return [one]
        return []

    def _within(self, old: Brief, brief: Brief) -> bool:
        if old.case not in self.ends:
            self.ends[old.case] = seconds(ended(old))
        if (seconds(brief.opened) - self.ends[old.case]) / DAY > self.days:
            return False
        if self.starts is None:
            return True
        known = self._starts(old, brief)
        return known is None or known <= self.starts

    def _starts(self, old: Brief, brief: Brief) -> float | None:
        """Return the engine's starts between two cases on it; None where they are not told, or it is another engine."""
        if _place(old) != _place(brief):
            return None
        if old.starts is not None and brief.starts is not None:
            return starts_between(old, brief)
        return None if self.dated is None else self.dated(old, brief)


def _later(kept: dict[_K, Brief], key: _K, brief: Brief) -> None:
    old = kept.get(key)
    if old is None or (ended(old), old.case) <= (ended(brief), brief.case):
        kept[key] = brief


def elapsed(days: float) -> str:
    """Return days in words, to a tenth of a day: 7.5 days."""
    said = f"{days:.0f}" if days >= 100 else f"{days:.1f}".removesuffix(".0")
    return "less than 0.1 days" if days < 0.05 else f"{said} {'day' if said == '1' else 'days'}"


def between(one: Brief, other: Brief) -> float:
    """Return the days from the end of one case to the opening of the next; 0 where that was opened before the end."""
    return max(0.0, (seconds(other.opened) - seconds(ended(one))) / DAY)


def starts_between(old: Brief, brief: Brief) -> float | None:
    """Return the engine's starts from the opening of one case to that of a later one, as told there; else None."""
    if old.starts is None or brief.starts is None or _place(old) != _place(brief):
        return None
    # Fewer than before: the count was begun anew, or one of them is wrong.
    return brief.starts - old.starts if brief.starts >= old.starts else None


# -- the groups ------------------------------------------------------------------------------------


def repeats(
    shelf: Shelf,
    within: float = MOST_DAYS,
    aircraft: str = "",
    *,
    starts: float | None = None,
    engine: str = "",
    part: str = "",
    since: str = "",
    until: str = "",
    now: str = "",
    knowledge: Knowledge | None = None,
    most: int | None = None,
) -> Repeats:
    """Return the defects that came back, the last first, and how that goes.

    ``within``, ``starts``: see :func:`came_back`. ``aircraft``, ``engine``, ``part``: only those that are about it;
    with ``part``, a serial number, the ways of the parts that have it as well. ``since``, ``until``: RFC 3339; cases
    opened later are left out, and defects that last came back earlier; empty: from the first case to ``now``, or to the
    last that was written where there is none (:func:`isolate.review.trend.reach`). Trends of engine types, stations and
    part numbers are there where neither an aircraft nor a part is asked for.
    ``most``: so many are read from their trails, the others only counted; None: all. Without ``knowledge`` names stand
    for titles, and a complaint is a family of its own. Raises Refused for numbers that are none, StoreError where the
    shelf cannot be read.
    """
    from isolate.review.beside import beside
    from isolate.review.shelf import Briefs
    from isolate.review.symptoms import families
    from isolate.review.trend import reach, trend, trends

    checked(within, starts)
    if part and not folded(part):
        raise Refused(f"{part!r} is no serial number")
    named = _Named(knowledge)
    kinds = kinds_of(knowledge) if knowledge is not None else {}
    about = families(knowledge) if knowledge is not None else {}
    source = Briefs(shelf)
    briefs = [b for b in source.about(aircraft, engine, part) if not b.drill and not (until and b.opened > until)]
    by_case = {b.case: b for b in briefs}
    backs = came_back(briefs, within, starts, about, kinds, source.dated)
    first = since or min((b.opened for b in briefs), default="")
    reached, late = reach(briefs, now)
    last = until or max(now, reached)
    groups = [
        cases
        for cases in _groups(backs, by_case)
        if not (since and by_case[cases.cases[-1]].opened < since)
        and _asked_for(cases, by_case, aircraft, engine, part, kinds)
    ]
    groups.sort(key=lambda g: (by_case[g.cases[-1]].opened, g.cases[-1], g.part), reverse=True)
    by_back = {b.case: b for b in backs}
    shown = []
    for cases in groups if most is None else groups[:most]:
        group = _group(cases, by_case, by_back)
        read = beside(group, by_case, source.events, named)
        ends = tuple(said for visit in group.visits for said in source.other_ends(visit.case))
        back = [(v.opened, v.case) for v in group.returns]
        begun, end = group.visits[0].opened, group.visits[-1].opened
        # The group ends where nothing came any more: were the time since then counted, it would seem to come less.
        how = trend("defect", "", "this defect", "times that it came back", back, begun, end, to_last=True)
        carries = tuple(_carries(read, briefs, kinds, about, named))
        shown.append(replace(read, trend=how, carries=carries, notes=(*ends, *read.notes)))
    found = ways(briefs, part, kinds, about, named.titles(briefs)) if part else ()
    notes = [*source.notes, *([late] if late and not until else [])]
    if part and not found:
        notes.insert(0, _no_part(part, source.serials(part)))
    titles = {e: named(e).engine(e) for e in {b.engine for b in briefs}}
    fleet = (
        trends(briefs, backs, first, last, titles, within)
        if first and first < last and not part and not aircraft.strip()
        else ()
    )
    return Repeats(
        tuple(shown),
        tuple(notes),
        found,
        fleet,
        len(briefs),
        len(groups) - len(shown),
        first,
        last,
        within,
        starts,
        part,
    )


MOST_OFFERED = 12
"""Serial numbers that are offered where a part number was given."""


def _no_part(part: str, serials: Sequence[str]) -> str:
    said = f"No case here speaks of a part with the serial number {part}"
    if not serials:
        return f"{said}."
    more = f" and {len(serials) - MOST_OFFERED:,} more" if len(serials) > MOST_OFFERED else ""
    return f"{said}: it is a part number, of S/N {', '.join(serials[:MOST_OFFERED])}{more}. --part takes one of these."


class _Named:
    """Engine type → the titles of its knowledge, each made once."""

    def __init__(self, knowledge: Knowledge | None) -> None:
        self.knowledge = knowledge
        self.made: dict[str, Names] = {}

    def __call__(self, engine: str) -> Names:
        from isolate.kb.fit import fit
        from isolate.review.named import Names

        if engine not in self.made:
            known = self.knowledge is not None and engine in self.knowledge.engines
            self.made[engine] = Names(fit(self.knowledge, engine) if known and self.knowledge is not None else None)
        return self.made[engine]

    def titles(self, briefs: Iterable[Brief]) -> dict[str, str]:
        """Return the titles of the complaints and repairs of cases, and of what their ends name."""
        found: dict[str, str] = {}
        for b in briefs:
            found[b.complaint] = self(b.engine).complaint(b.complaint)
            found |= {n.mode: self(b.engine).mode(n.mode) for n in b.named}
            found |= {r.repair: self(b.engine).repair(r.repair) for r in b.repairs}
        return found


@dataclass(frozen=True)
class _Cases:
    """Cases that belong together, by the time of their opening; ``part``: the serial number that ties them, or none."""

    cases: tuple[str, ...]
    part: str = ""


def _groups(backs: Sequence[Back], by_case: Mapping[str, Brief]) -> list[_Cases]:
    """Return cases that belong together: on one engine for whatever reason, and by one part across engines.

    Parts go round many engines: were all that they tie together one group, it would hold the whole fleet.
    """
    engines, parts = _Joined(), _Joined()
    spelt: dict[str, str] = {}
    for back in backs:
        here = _place(by_case[back.case])
        for reason in back.reasons:
            if _place(by_case[reason.case]) == here:
                engines.join(("", back.case), ("", reason.case))
            if reason.part:
                key = folded(reason.part)
                spelt.setdefault(key, reason.part)
                parts.join((key, back.case), (key, reason.case))

    def ordered(cases: Iterable[tuple[str, str]]) -> tuple[str, ...]:
        return tuple(sorted((case for _, case in cases), key=lambda case: (by_case[case].opened, case)))

    found = [_Cases(ordered(cases)) for cases in engines.sets()]
    for cases in parts.sets():
        if len({_place(by_case[case]) for _, case in cases}) > 1:
            found.append(_Cases(ordered(cases), spelt[cases[0][0]]))
    return found


def defects(backs: Iterable[Back], by_case: Mapping[str, Brief], days: float) -> dict[str, str]:
    """Return case → the defect that it is of, by the name of one of its cases; those that are alone are not there.

    Cases that belong together are one defect where they are on one engine and no more than ``days`` apart. Were those
    of a year that belong together one, or what parts tie together across engines, it would soon be the whole fleet.
    """
    joined = _Joined()
    for back in backs:
        brief = by_case[back.case]
        for case in {reason.case for reason in back.reasons}:
            if _place(by_case[case]) == _place(brief) and between(by_case[case], brief) <= days:
                joined.join(("", back.case), ("", case))
    return {case: defect for (_, case), (_, defect) in joined.tops()}


def _place(brief: Brief) -> tuple[str, str, str]:
    return engine_of(brief.aircraft, brief.position, brief.engine)


class _Joined:
    """Sets that are joined two by two."""

    def __init__(self) -> None:
        self.up: dict[tuple[str, str], tuple[str, str]] = {}

    def _top(self, one: tuple[str, str]) -> tuple[str, str]:
        self.up.setdefault(one, one)
        while self.up[one] != one:
            self.up[one] = one = self.up[self.up[one]]
        return one

    def join(self, one: tuple[str, str], other: tuple[str, str]) -> None:
        self.up[self._top(one)] = self._top(other)

    def tops(self) -> Iterable[tuple[tuple[str, str], tuple[str, str]]]:
        """Yield each member with the one that its set goes by."""
        for one in list(self.up):
            yield one, self._top(one)

    def sets(self) -> list[list[tuple[str, str]]]:
        """Return the sets, each in the order in which its members came."""
        found: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for one in self.up:
            found.setdefault(self._top(one), []).append(one)
        return list(found.values())


def _group(together: _Cases, by_case: Mapping[str, Brief], backs: Mapping[str, Back]) -> Repeat:
    briefs, part = [by_case[case] for case in together.cases], together.part
    here = set(together.cases)
    numbers = {b.case: number for number, b in enumerate(briefs, start=1)}
    visits = tuple(_since(_visit(b, backs.get(b.case), here, by_case, part), numbers) for b in briefs)
    done = [key for visit in visits for key in dict.fromkeys(visit.repairs)]
    last = briefs[-1]
    reasons = dict.fromkeys(r.said for v in visits for r in v.reasons)
    where = dict.fromkeys(f"{b.aircraft}-{b.position} ({b.engine})" for b in briefs)
    return Repeat(
        last.aircraft, last.position, last.engine, visits,
        # Across engines the same repair is another part's: nothing was done there again.
        tuple(key for key in dict.fromkeys(done) if done.count(key) > 1) if not part else (),
        tuple(where), tuple(reasons), about="part" if part else "engine", part=part,
    )  # fmt: skip


def _visit(brief: Brief, back: Back | None, here: set[str], by_case: Mapping[str, Brief], part: str) -> Visit:
    reasons = tuple(
        r for r in (back.reasons if back else ()) if r.case in here and (not part or folded(r.part) == folded(part))
    )
    days = starts = None
    before = None
    beside = False
    if reasons and back is not None:
        before = max((by_case[r.case] for r in reasons), key=lambda b: (ended(b), b.case))
        beside = still_open(before, brief)
        days = None if beside else round(between(before, brief), 2)
        starts = back.starts if before.case == back.before else None
    return Visit(
        case=brief.case,
        aircraft=brief.aircraft,
        position=brief.position,
        engine=brief.engine,
        opened=brief.opened,
        closed=brief.closed,
        end=brief.ended,
        complaint=brief.complaint,
        channel=brief.channel,
        condition=brief.condition,
        place=brief.place,
        station=brief.station,
        days=days,
        starts=starts,
        open_before=beside,
        taken_up=before is not None and not beside and not proven(before),
        reasons=reasons,
        repairs=tuple(r.repair for r in brief.repairs),
        findings=tuple(f"{r.repair}: {r.finding}" for r in brief.repairs if r.finding),
        before=before.case if before is not None else "",
    )


def _since(visit: Visit, numbers: Mapping[str, int]) -> Visit:
    """Return a visit with what lies between it and the one before, in words."""
    if not visit.before:
        return visit
    one = f"visit {numbers[visit.before]}"
    if visit.days is None:
        return replace(visit, since=f"meanwhile: {one} had not ended")
    again = "taken up again, " if visit.taken_up else ""
    starts = f"; {visit.starts:,.0f} engine starts" if visit.starts is not None else ""
    return replace(visit, since=f"{again}{elapsed(visit.days)} from the end of {one} to this opening{starts}")


def _asked_for(
    group: _Cases, by_case: Mapping[str, Brief], aircraft: str, engine: str, part: str, kinds: Mapping[str, str]
) -> bool:
    for told, name in ((aircraft, "aircraft"), (engine, "engine")):
        wanted = told.strip().casefold()
        if wanted and wanted not in {getattr(by_case[c], name).strip().casefold() for c in group.cases}:
            return False
    if not part:
        return True
    touches = (t for case in group.cases for t in touched(by_case[case], kinds))
    return any(folded(t.part.serial) == folded(part) for t in touches)


def _carries(
    group: Repeat, briefs: Sequence[Brief], kinds: Mapping[str, str], about: Mapping[str, Family], named: _Named
) -> Iterable[str]:
    """Yield where a complaint went along with a part of the group from one engine to another."""
    serials = dict.fromkeys(r.part for v in group.visits for r in v.reasons if r.part)
    places = {(v.aircraft, v.position) for v in group.visits}
    if not serials or len(places) < 2:
        return
    mine = [b for b in briefs if (b.aircraft, b.position) in places]
    titles = named.titles(mine)
    for serial in serials:
        for way in ways(mine, serial, kinds, about, titles):
            yield from (f"{way.title[:1].upper()}{way.title[1:]}: {said}" for said in way.carries)

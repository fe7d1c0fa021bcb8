"""Which part is which: serial numbers compared, and where one part went, across swaps, engines and aircraft.

A part is known by its serial number, letters folded and without spaces or dashes; where a part number is told of both,
that has to be the same as well, else the kinds of part. "none", "unknown" and the like are no identity.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

from isolate.case.swaps import called
from isolate.review.trend import DAY, seconds

if TYPE_CHECKING:
    from isolate.case.brief import Brief
    from isolate.kb.model import Knowledge
    from isolate.review.symptoms import Family

NOT_TOLD = frozenset({"none", "unknown", "notknown", "notrecorded", "notread", "nottold", "nil", "n/a", "na", "tba"})
"""What stands where no number was read, folded."""
BEFORE = 400.0
"""Days before a part came to a place in which a complaint there speaks against its having brought it."""
HOW = Literal["off", "on", "out", "in"]
"""``off``, ``on``: at a repair; ``out``, ``in``: as it changed places with another part."""


def folded(number: object) -> str:
    """Return a serial or part number as it is compared; empty for none."""
    return _folded(str(number or ""))


@lru_cache(maxsize=1 << 17)
def _folded(number: str) -> str:
    was = ""
    while number != was:
        # What is left may fold once more: marks that come to stand beside their letter, S/N written twice.
        was, number = number, _fold_once(number)
    return number


def _fold_once(number: str) -> str:
    text = unicodedata.normalize("NFKC", number).casefold()
    text = re.sub(r"^\s*[sp]/n\b[\s:.#]*", "", text)
    text = "".join(c for c in text if not c.isspace() and unicodedata.category(c) != "Pd" and c.isprintable())
    if text in NOT_TOLD or not any(c.isalnum() for c in text) or set(text) <= {"0"}:
        return ""
    return text


def kinds_of(knowledge: Knowledge) -> dict[str, str]:
    """Return repair entry → the part that it renews, for those that renew one."""
    return {name: entry.replaces for name, entry in knowledge.repairs.items() if entry.replaces}


def kind_of(repair: str, kinds: Mapping[str, str]) -> str:
    """Return the kind of part that a repair, by its key, is about; empty where that is not known."""
    name = repair.partition("/")[0]
    return kinds.get(name) or (name.removeprefix("replace-") if name.startswith("replace-") else "")


@dataclass(frozen=True)
class Identity:
    """One part: serial and part number as they were first written, and its kind, empty where not known."""

    serial: str
    number: str = ""
    kind: str = ""

    def is_also(self, other: Identity) -> bool:
        """Return whether both name the same part."""
        (key, mine), (its_key, theirs) = self.keys, other.keys
        if not key or key != its_key:
            return False
        if mine and theirs:
            return mine == theirs
        return not (self.kind and other.kind) or self.kind == other.kind

    @cached_property
    def keys(self) -> tuple[str, str]:
        """Serial and part number as they are compared."""
        return folded(self.serial), folded(self.number)

    @property
    def said(self) -> str:
        """It in words: igniter plug P/N HI-300 S/N K207."""
        number = f" P/N {self.number}" if folded(self.number) else ""
        return f"{called(self.kind) if self.kind else 'part'}{number} S/N {self.serial}"


@dataclass(frozen=True)
class Touch:
    """A part with a number that came off, went on or changed places in a case.

    ``where``: of one that went to or came from another engine, as it was written. ``repair``: the key, empty for a
    swap. ``hours``, ``starts``: since new, as told when it came off; None where not told.
    """

    part: Identity
    how: HOW
    channel: str
    time: str
    seq: int
    repair: str = ""
    where: str = ""
    hours: float | None = None
    starts: float | None = None


def touched(brief: Brief, kinds: Mapping[str, str]) -> tuple[Touch, ...]:
    """Return what a case says of parts that have a serial number, in order."""
    found = []
    for done in brief.repairs:
        told, channel, kind = done.part, done.repair.partition("/")[2], kind_of(done.repair, kinds)
        for how in ("off", "on"):
            serial = str(told.get(f"sn-{how}") or "").strip()
            if folded(serial):
                part = Identity(serial, str(told.get(f"pn-{how}") or "").strip(), kind)
                ages = [_figure(told.get(f"{age}-off")) if how == "off" else None for age in ("hours", "starts")]
                found.append(Touch(part, how, channel, done.time, done.seq, done.repair, "", *ages))
    for swap in brief.swaps:
        kind, one, other = str(swap["part"]), str(swap["channel"]), str(swap.get("other") or "")
        where, time, seq = str(swap.get("where") or ""), str(swap["time"]), int(swap["seq"])
        first, second = (Identity(str(swap.get(n) or "").strip(), "", kind) for n in ("serial", "other_serial"))
        for part, left, came in ((first, one, other), (second, other, one)):
            if folded(part.serial):
                # The other one of two engines: it was not on this one before; the first one went there.
                if left:
                    found.append(Touch(part, "out", left, time, seq, "", "" if other else where))
                if came:
                    found.append(Touch(part, "in", came, time, seq, "", "" if other else where))
    return tuple(sorted(found, key=lambda t: (t.seq, ("off", "out", "in", "on").index(t.how))))


def _figure(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


# -- where one part went ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Sat:
    """A case that was opened on the engine while the part sat there. ``same``: its complaint is of the family of the
    case at which the part came off."""

    case: str
    opened: str
    complaint: str
    channel: str
    same: bool


@dataclass(frozen=True)
class Stay:
    """A place where a part was. Times are RFC 3339; empty: not told, or, of ``until``, still there as far as is known.

    ``aircraft``, ``position``: as the cases say, or empty where only ``place``, as somebody wrote it, is known.
    ``came``, ``went``: how, in words; ``case_in``, ``case_out``: the cases that say so. ``said``: what was found of it
    after it left. ``left``: whether it is known to have left.
    """

    place: str
    aircraft: str
    position: str
    engine: str
    channel: str
    since: str
    until: str
    left: bool
    came: str
    went: str
    case_in: str
    case_out: str
    hours: float | None
    starts: float | None
    said: tuple[str, ...] = ()
    cases: tuple[Sat, ...] = ()


@dataclass(frozen=True)
class Way:
    """Where one part went. ``carries``: sentences on a complaint that went along with it; ``notes``: on what of it may
    as well be about another part with its serial number."""

    serial: str
    number: str
    kind: str
    title: str
    stays: tuple[Stay, ...]
    carries: tuple[str, ...]
    notes: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


Seen = tuple["Brief", Touch]


def ways(
    briefs: Iterable[Brief],
    serial: str,
    kinds: Mapping[str, str] | None = None,
    families: Mapping[str, Family] | None = None,
    titles: Mapping[str, str] | None = None,
) -> tuple[Way, ...]:
    """Return where the parts with a serial number went; several where part number or kind tell them apart.

    ``briefs``: every case in which it may be, and all cases of the engines that it was on. ``titles``: mode,
    complaint or repair → its title, keys stand in for those that are not there. Drills are left out.
    """
    if not folded(serial):
        return ()
    all_ = sorted((b for b in briefs if not b.drill), key=lambda b: (b.opened, b.case))
    wanted = folded(serial)
    seen = [(b, t) for b in all_ for t in touched(b, kinds or {}) if folded(t.part.serial) == wanted]
    seen.sort(key=lambda s: (s[1].time, s[1].seq, ("off", "out", "in", "on").index(s[1].how)))
    found: list[list[Seen]] = []
    for one in seen:
        # Where a number is told of some only, those that tell it speak first.
        mine = [f for f in found if all(one[1].part.is_also(t.part) for _, t in f)]
        if mine:
            mine[0].append(one)
        else:
            found.append([one])
    return tuple(
        replace(_way(one, all_, families or {}, titles or {}), notes=tuple(dict.fromkeys(_either(one, found))))
        for one in found
    )


def _either(mine: Sequence[Seen], found: Sequence[Sequence[Seen]]) -> Iterable[str]:
    """Yield what is said of one part, or of another one, and may be about either: no part number tells them apart."""
    for group in found:
        for brief, touch in group:
            others = [o for o in found if o is not group and all(touch.part.is_also(t.part) for _, t in o)]
            serial, case = touch.part.serial, brief.case
            if others and mine is group:
                yield (
                    f"Which part with S/N {serial} case {case} is about is not certain, for it tells no part number: "
                    f"of {len(found)} that have it, it is shown with this one."
                )
            elif any(mine is other for other in others):
                yield f"What case {case} says of S/N {serial} may be about this part as well: no part number is told."


def _way(
    seen: Sequence[Seen], briefs: Sequence[Brief], families: Mapping[str, Family], titles: Mapping[str, str]
) -> Way:
    stays = _stays(seen, titles)
    stays = [_found(stay, seen, titles) for stay in _named(stays, briefs)]
    about = {b.case: _family(b, families) for b in briefs}
    came_off = {about[s.case_out] for s in stays if s.case_out}
    stays = [replace(s, cases=_sat(s, briefs, about, came_off)) for s in stays]
    parts = [t.part for _, t in seen]
    number = next((p.number for p in parts if folded(p.number)), "")
    kind = next((p.kind for p in parts if p.kind), "")
    identity = Identity(parts[0].serial, number, kind)
    shop = [
        (b.case, "disputed" if done.disputed else done.finding)
        for b, t in seen
        for done in b.repairs
        if t.how == "off" and done.seq == t.seq and done.finding
    ]
    return Way(
        parts[0].serial, number, kind, identity.said, tuple(stays), tuple(_carries(stays, briefs, about, titles, shop))
    )


def _stays(seen: Sequence[Seen], titles: Mapping[str, str]) -> list[Stay]:
    """Return the places of one part, oldest first; what nobody wrote down stays empty."""
    stays: list[Stay] = []
    for brief, touch in seen:
        on = f"{brief.aircraft}-{brief.position}"
        place = f"{on}, {touch.channel}" if touch.channel else on
        here = Stay(
            *(place, brief.aircraft, brief.position, brief.engine, touch.channel, "", "", False, "", "", "", ""),
            None,
            None,
        )
        if touch.how in ("off", "out"):
            if stays and not stays[-1].left and _same_place(stays[-1], here):
                here = stays.pop()
            elif stays and not stays[-1].left:
                stays[-1] = replace(stays[-1], left=True)
            how = f"came off ({titles.get(touch.repair, touch.repair)})" if touch.repair else "changed places"
            stays.append(
                replace(
                    here,
                    until=touch.time,
                    left=True,
                    went=f"{how} in case {brief.case}",
                    case_out=brief.case,
                    hours=touch.hours,
                    starts=touch.starts,
                )
            )
            if touch.where:
                came = f"went there from {place} in case {brief.case}"
                stays.append(
                    Stay(touch.where, "", "", "", "", touch.time, "", False, came, "", brief.case, "", None, None)
                )
            continue
        there = Stay(touch.where, "", "", "", "", "", "", False, "", "", "", "", None, None)
        if stays and not stays[-1].left:
            last = replace(stays[-1], left=True)
            if touch.where and _same_place(there, last):
                # It is written in that case where it came from: the place that it was last known at.
                went = f"went to {place} in case {brief.case}"
                last = replace(last, until=touch.time, went=went, case_out=brief.case)
            stays[-1] = last
        if touch.where and not (stays and stays[-1].until == touch.time):
            went = f"went to {place} in case {brief.case}"
            stays.append(Stay(touch.where, "", "", "", "", "", touch.time, True, "", went, "", brief.case, None, None))
        how = f"fitted ({titles.get(touch.repair, touch.repair)})" if touch.repair else "changed places"
        stays.append(replace(here, since=touch.time, came=f"{how} in case {brief.case}", case_in=brief.case))
    return stays


def _same_place(one: Stay, other: Stay) -> bool:
    if one.aircraft:
        mine, theirs = ((s.aircraft, s.position, s.channel) for s in (one, other))
        return [t.strip().casefold() for t in mine] == [t.strip().casefold() for t in theirs]
    # Written by somebody: it is the same where it names that engine, and no other channel.
    words = words_of(one.place)
    if not other.aircraft:
        return words == words_of(other.place)
    if not place_named(words, other.aircraft.strip().casefold(), other.position.strip().casefold()):
        return False
    return not other.channel or len(words) < 3 or other.channel.casefold() in words[2:]


def words_of(where: str) -> list[str]:
    """Return the words of a place as somebody wrote it, folded, without what stands between them."""
    words = "".join(c if c.isalnum() else " " for c in where.casefold()).split()
    return [w for w in words if w not in ("aircraft", "engine", "position", "channel", "no", "number", "the", "on")]


def place_named(words: Sequence[str], aircraft: str, position: str) -> bool:
    """Return whether words name an aircraft and right after it a position, all folded."""
    return bool(aircraft) and any(a == aircraft and p == position for a, p in pairwise(words))


def _named(stays: Iterable[Stay], briefs: Iterable[Brief]) -> list[Stay]:
    """Return the stays, those of which only words are known with the engine that they name, if cases are of it."""
    engines = {(b.aircraft.strip().casefold(), b.position.strip().casefold()): b for b in briefs}
    found = []
    for stay in stays:
        if not stay.aircraft:
            words = words_of(stay.place)
            for (aircraft, position), b in engines.items():
                if place_named(words, aircraft, position):
                    stay = replace(stay, aircraft=b.aircraft, position=b.position, engine=b.engine)
                    break
        found.append(stay)
    return found


def _found(stay: Stay, seen: Sequence[Seen], titles: Mapping[str, str]) -> Stay:
    """Return the stay with what was found of the part after it left: by the end of that case, and by the shop."""
    from isolate.case.parts import FINDINGS

    said = []
    for brief, touch in seen:
        if brief.case != stay.case_out or touch.how != "off" or touch.channel != stay.channel:
            continue
        named = [n for n in brief.named if n.repair == touch.repair]
        for n in named:
            if n.in_vain:
                said.append(f"nothing was wrong with it by the end of the case ({n.probability:.0%})")
            else:
                said.append(f"{titles.get(n.mode, n.mode)} by the end of the case ({n.probability:.0%})")
        done = next((r for r in brief.repairs if r.seq == touch.seq), None)
        if done is not None and done.finding:
            more = "; an earlier word of the shop says otherwise" if done.disputed else ""
            said.append(f"{FINDINGS.get(done.finding, done.finding)}{more}")
    return replace(stay, said=tuple(said))


def _family(brief: Brief, families: Mapping[str, Family]) -> str:
    family = families.get(brief.complaint)
    return brief.complaint if family is None else family.key


def _sat(stay: Stay, briefs: Iterable[Brief], about: Mapping[str, str], like: set[str]) -> tuple[Sat, ...]:
    if not stay.aircraft:
        return ()
    return tuple(
        Sat(b.case, b.opened, b.complaint, b.channel, about[b.case] in like)
        for b in briefs
        if _on(stay, b) and (stay.since or stay.case_out == b.case) and stay.since <= b.opened
        and (not stay.until or b.opened <= stay.until)
    )  # fmt: skip


def _on(stay: Stay, brief: Brief) -> bool:
    return (stay.aircraft.strip().casefold(), stay.position.strip().casefold()) == (
        brief.aircraft.strip().casefold(),
        brief.position.strip().casefold(),
    )


def _carries(
    stays: Sequence[Stay],
    briefs: Sequence[Brief],
    about: Mapping[str, str],
    titles: Mapping[str, str],
    shop: Sequence[tuple[str, str]],
) -> Iterable[str]:
    """Yield where a complaint went along with the part, and what speaks for and against. ``shop``: (case, finding)."""
    by_case = {b.case: b for b in briefs}
    for i, first in enumerate(stays):
        if not first.case_out or not first.aircraft or first.case_out not in by_case:
            continue
        out = by_case[first.case_out]
        if not _on(first, out):
            continue
        for second in stays[i + 1 :]:
            if not second.aircraft or (second.aircraft, second.position) == (first.aircraft, first.position):
                continue
            had = [sat for sat in second.cases if about[sat.case] == about[out.case]]
            if not had:
                continue
            there, here = f"{first.aircraft}-{first.position}", f"{second.aircraft}-{second.position}"
            what = titles.get(out.complaint, out.complaint)
            alike = [b for b in briefs if about[b.case] == about[out.case]]
            for_it, against = _speaks(first, second, alike, shop)
            begin = (
                f"It left {there} in case {out.case} ({what}), and {here} had a complaint like it while it sat there "
                f"(case {had[0].case})."
            )
            if against:
                also = f" What speaks for it: {'; '.join(for_it)}." if for_it else ""
                yield f"{begin} What speaks against its carrying the defect along: {'; '.join(against)}.{also}"
            else:
                yield f"{begin} It may carry the defect along: {'; '.join(for_it)}."
            break


def _speaks(
    first: Stay, second: Stay, alike: Sequence[Brief], shop: Sequence[tuple[str, str]]
) -> tuple[list[str], list[str]]:
    """Return what speaks for a part's carrying a defect from one place to the next, and what against.

    ``alike``: cases with a complaint like it, by the time of their opening; ``shop``: (case, finding) of the part.
    """
    there, here = f"{first.aircraft}-{first.position}", f"{second.aircraft}-{second.position}"
    for_it: list[str] = []
    against: list[str] = []
    for finding, side, said in (
        ("confirmed", for_it, "the shop found a fault in it"),
        ("not-confirmed", against, "the shop found nothing wrong with it"),
        ("disputed", against, "two words of the shop on it disagree"),
    ):
        cases = [case for case, found in shop if found == finding]
        if cases:
            times = {1: "", 2: " twice"}.get(len(cases), f" {len(cases)} times")
            side.append(f"{said}{times} ({'case' if len(cases) == 1 else 'cases'} {', '.join(cases)})")
    before = [b for b in alike if _on(second, b) and second.since and 0 < _days(b.opened, second.since) <= BEFORE]
    if before:
        against.append(f"{here} had it before the part came there (case {before[-1].case})")
    else:
        for_it.append(f"{here} had none like it before, as far as the cases here show")
    had = [b for b in alike if _on(first, b) and first.since and 0 < _days(b.opened, first.since) <= BEFORE]
    if had:
        against.append(f"{there} had it before the part came there (case {had[-1].case})")
    again = [b for b in alike if _on(first, b) and b.opened > first.until]
    if again:
        against.append(f"{there} had it again without the part (case {again[0].case})")
    else:
        for_it.append(f"{there} has none like it since, as far as the cases here show")
    after = [b for b in alike if _on(second, b) and second.left and second.until and b.opened > second.until]
    if after:
        against.append(f"{here} had it again without the part (case {after[0].case})")
    return for_it, against


def _days(one: str, other: str) -> float:
    return (seconds(other) - seconds(one)) / DAY

"""What a case cost: minutes by step and access, advice taken and declined, what would have been cheaper.

Cheaper *then* is told by figures that the trail has from the time, and by what served nothing: an opening that no step
used, one put back and opened anew though nothing had asked for that, a check asked again that could say nothing new.
Cheaper *in hindsight* is the way with what was at fault known from the start.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from isolate.case import swaps
from isolate.case.believed import before, part_states
from isolate.case.chase import Chase
from isolate.case.events import parse_time
from isolate.case.memory import Memory
from isolate.case.now import condition_now
from isolate.case.parts import FINDINGS
from isolate.kb.fit import split
from isolate.kb.model import HEALTHY
from isolate.kb.shown import plain
from isolate.reasoning.belief import Belief
from isolate.reasoning.explain import strength
from isolate.reasoning.plan import Planner
from isolate.review.evidence import Weighing, knows, weights_for
from isolate.review.named import Names, within
from isolate.review.shapes import Advice, CameBack, Cheaper, Hindsight, NotAsked, NotNeeded, Spent
from isolate.review.story import number, share

if TYPE_CHECKING:
    from collections.abc import Iterable

    from isolate.case.case import CaseState
    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.kb.fit import Fitted
    from isolate.kb.model import Pattern
    from isolate.reasoning.problem import Crossed

NOISE, WHOLE = 0.03, 1.0
"""What was expected to cost this share more than the best, or so many minutes, was as good: the plan's figures are no
nearer. Our judgement."""
SPEAKS = 0.3
"""An answer of fewer bits says nothing either way, as :func:`isolate.reasoning.explain.strength` puts it."""
TELLING, MOST_NOT_ASKED = 0.05, 6
"""A check that was expected to take away fewer bits of doubt is not told as not asked; of the others so many."""
DISPUTED = "disputed"
"""A shop's finding where two words of it disagree."""
SURE = 0.5
"""What the end names with less than this is not taken for what was at fault."""
_KINDS: Mapping[str, Literal["check", "repair", "swap", "access"]] = {
    "answered": "check",
    "repaired": "repair",
    "swapped": "swap",
    "access": "access",
}
_KEYS = {"answered": "check", "repaired": "repair", "swapped": "key", "access": "access"}


# -- minutes -----------------------------------------------------------------------------------------


def spent(events: Sequence[Event], names: Names) -> tuple[Spent, ...]:
    """Return the book minutes by check, repair, exchange and access, the dearest of each kind first.

    What was taken back took its minutes all the same. What took none is left out.
    """
    found: dict[tuple[str, str], tuple[int, float]] = {}
    for event in events:
        kind, minutes = _KINDS.get(event.kind), event.body.get("minutes")
        if kind is None or not isinstance(minutes, int | float) or minutes <= 0:
            continue
        key = str(event.body.get(_KEYS[event.kind], ""))
        times, came_to = found.get((kind, key), (0, 0.0))
        found[kind, key] = times + 1, came_to + float(minutes)
    titles = {"check": names.check, "repair": names.repair, "swap": names.swapped, "access": names.access}
    rows = [
        Spent(kind, plain(key), titles[kind](key), *found[kind, key])
        for kind in _KINDS.values()
        for key in (k for of, k in found if of == kind)
    ]
    order = list(_KINDS.values())
    return tuple(sorted(rows, key=lambda s: (order.index(s.kind), -s.minutes, s.key)))


# -- advice ------------------------------------------------------------------------------------------


def advice(events: Sequence[Event], names: Names, void: Collection[int]) -> tuple[Advice, ...]:
    """Return each piece of advice that somebody took, turned down, or took another move in place of.

    ``void``: events taken back since; what became of advice then is not told.
    """
    found: list[Advice] = []
    offer: Mapping[str, Any] | None = None
    for place, event in enumerate(events):
        body = event.body
        if event.kind == "offered" and isinstance(body.get("move"), str):
            offer = body
        if event.seq in void or event.kind not in ("accepted", "declined") or not isinstance(body.get("move"), str):
            continue
        move, kind = body["move"], str(body.get("kind", ""))
        expected = _figure(offer, "expected") if offer is not None else None
        if event.kind == "declined" and not body.get("of_itself"):
            asked = expected if offer is not None and offer["move"] == move else None
            found.append(
                Advice(
                    seq=event.seq,
                    move=plain(move),
                    kind=plain(kind),
                    title=names.move(kind, move),
                    became="declined",
                    reason=plain(body.get("reason", "")),
                    expected=asked,
                    over=_dearer_without(events[place + 1 :], asked),
                )
            )
        elif event.kind == "accepted" and kind != "close" and offer is not None:
            of, first = str(offer.get("kind", "")), str(offer["move"])
            if move == first:
                found.append(Advice(event.seq, plain(first), plain(of), names.move(of, first), "taken",
                                    expected=expected))  # fmt: skip
            elif "expected" in body or "deferral" in body:
                own = _figure(body, "expected")
                found.append(
                    Advice(
                        seq=event.seq,
                        move=plain(first),
                        kind=plain(of),
                        title=names.move(of, first),
                        became="instead",
                        instead=names.move(kind, move),
                        expected=expected,
                        over=None if own is None or expected is None else round(own - expected, 2),
                    )
                )
    return tuple(found)


def _dearer_without(later: Sequence[Event], expected: float | None) -> float | None:
    """Return how much more was expected once a move had been turned down, by the offer that followed at once."""
    if expected is None:
        return None
    for event in later:
        if event.kind == "offered":
            then = _figure(event.body, "expected")
            return None if then is None else round(then - expected, 2)
        if event.kind not in ("belief", "fired", "noted"):
            return None
    return None


def dearer(events: Sequence[Event], names: Names, void: Collection[int]) -> tuple[Cheaper, ...]:
    """Return the moves that were not the one offered first and were expected to cost more, by the figures of then."""
    found = []
    for one in advice(events, names, void):
        if one.became == "taken" or one.over is None or one.expected is None:
            continue
        if one.over < max(WHOLE, NOISE * one.expected):
            continue
        then = one.expected + one.over
        figures = f"As put then: about {number(one.expected)} min to the end; so, about {number(then)}."
        if one.became == "declined":
            did = f"Turned it down: {one.reason or 'no reason given'}"
            figures = f"As put then: about {number(one.expected)} min to the end; without it, about {number(then)}."
        else:
            did = one.instead
        found.append(Cheaper(one.seq, did, one.title, one.over, figures))
    return tuple(found)


# -- what served nothing -----------------------------------------------------------------------------


@dataclass
class _Stood:
    """An access state from its opening to its shutting, by seq; ``shut`` infinite where it still stands."""

    key: str
    opened: int
    shut: float = inf
    minutes: float = 0.0
    put_back: float = 0.0
    by_hand: bool = True
    shut_by_hand: bool = False
    used: bool = False


@dataclass(frozen=True)
class _Use:
    """A step that needed access states open and others shut, at ``seq``."""

    seq: int
    needs: frozenset[str]
    shut: frozenset[str] = field(default_factory=frozenset)


def for_nothing(
    kit: Kit, events: Sequence[Event], state: CaseState, names: Names, idle: Collection[int]
) -> tuple[Cheaper, ...]:
    """Return what was done for nothing, exact in minutes. ``idle``: answers, by seq, that said nothing new."""
    found = []
    for event in events:
        body = event.body
        if event.kind == "answered" and event.seq in idle and body.get("within") == "check":
            minutes = float(body.get("minutes", 0))
            if minutes >= WHOLE and event.seq not in state.void:
                did = f"Asked again: {names.check(str(body['check']))}"
                why = "It had been answered and could say nothing new."
                found.append(Cheaper(event.seq, did, "Let the answer stand", minutes, why))
    stood, uses = _stands(kit.fitted, events), _uses(kit.fitted, events)
    _mark_used(kit.fitted, stood, uses)
    ended = bool(state.ended)
    for one in stood:
        over = one.minutes + one.put_back
        if one.by_hand and not one.used and (ended or one.shut < inf) and over >= WHOLE:
            why = f"No step that came after it needed it: {number(over)} min to open it and put it back."
            found.append(Cheaper(one.opened, f"Opened: {names.access(one.key)}", "Leave it shut", over, why))
    found += _opened_anew(kit.fitted, events, stood, uses, names)
    return tuple(found)


def _stands(fitted: Fitted, events: Sequence[Event]) -> list[_Stood]:
    found: list[_Stood] = []
    now: dict[str, _Stood] = {}
    for event in events:
        body = event.body
        for key in body.get("spoils", ()) if event.kind in ("answered", "repaired", "swapped") else ():
            if key in now:
                now.pop(key).shut = event.seq
        if event.kind != "access" or body["access"] not in fitted.access:
            continue
        key, minutes = str(body["access"]), float(body.get("minutes", 0))
        if body["state"] == "shut":
            if key in now:
                one = now.pop(key)
                one.shut, one.shut_by_hand = event.seq, not (body.get("of_itself") or body.get("walked"))
                one.put_back = minutes
        elif key not in now:
            by_hand = body["state"] == "open" and not body.get("walked")
            now[key] = _Stood(key, event.seq, minutes=minutes, by_hand=by_hand)
            found.append(now[key])
    return found


def _uses(fitted: Fitted, events: Sequence[Event]) -> list[_Use]:
    found = []
    for event in events:
        body = event.body
        needs: Iterable[str] = ()
        shut: Iterable[str] = ()
        if event.kind == "answered" and body["check"] in fitted.checks:
            check = fitted.checks[body["check"]]
            needs, shut = check.needs, check.shut
        elif event.kind == "repaired" and body["repair"] in fitted.repairs:
            repair = fitted.repairs[body["repair"]]
            needs, shut = repair.needs, repair.shut
        elif event.kind == "swapped" and swaps.known(fitted, body["key"]):
            part, one, other = swaps.read(body["key"])
            both = [r for c, r in swaps.movable(fitted).get(part, {}).items() if c in (one, other)]
            needs, shut = [n for r in both for n in r.needs], [n for r in both for n in r.shut]
        elif event.kind == "inspected":
            # Whatever was open then could be looked into.
            needs = fitted.access
        else:
            continue
        wanted = fitted.needed(needs)
        torn = {s for n in wanted for s in fitted.access[n].shut} if event.kind != "inspected" else set()
        found.append(_Use(event.seq, wanted, frozenset(shut) | torn))
    return found


def _mark_used(fitted: Fitted, stood: Sequence[_Stood], uses: Sequence[_Use]) -> None:
    """Mark what a step needed, and what was needed only to open or put back what a step needed."""
    for one in stood:
        one.used = any(one.key in use.needs and one.opened < use.seq <= one.shut for use in uses)
    for upper in sorted(stood, key=lambda s: -len(fitted.needed([s.key]))):
        below = fitted.needed(fitted.access[upper.key].needs)
        for one in stood:
            served = one.opened < upper.opened <= one.shut or one.opened < upper.shut <= one.shut
            one.used = one.used or (upper.used and one.key in below and served)


def _opened_anew(
    fitted: Fitted, events: Sequence[Event], stood: Sequence[_Stood], uses: Sequence[_Use], names: Names
) -> list[Cheaper]:
    """Return what was put back and opened anew though no step between had asked for it to be shut."""
    found = []
    last: dict[str, _Stood] = {}
    away = [e.seq for e in events if e.kind in ("left", "passed-on")]
    for one in sorted(stood, key=lambda s: s.opened):
        had, last[one.key] = last.get(one.key), one
        if had is None or not (had.shut_by_hand and one.by_hand and had.used and one.used):
            continue
        if any(had.opened < seq < one.opened for seq in away):
            # Who leaves puts things back.
            continue
        below = fitted.needed([one.key])
        asked = any(below & use.shut for use in uses if had.shut < use.seq < one.opened)
        asked = asked or any(
            below & set(fitted.access[other.key].shut)
            for other in stood
            if had.shut < other.opened < one.opened and other.used
        )
        over = had.put_back + one.minutes
        if not asked and over >= WHOLE:
            why = f"Nothing done between had asked for it to be put back: {number(over)} min."
            did = f"Put back and opened again: {names.access(one.key)}"
            found.append(Cheaper(one.opened, did, "Leave it open", over, why))
    return found


# -- what was not asked ------------------------------------------------------------------------------


class _Stand(Chase):
    """A case to ask, drills as well; nothing is done in it."""

    of_drill = True


def not_asked(
    kit: Kit, events: Sequence[Event], state: CaseState, names: Names
) -> tuple[int, tuple[NotAsked, ...], tuple[tuple[str, str], ...]]:
    """Return the checks that could have told most before the deciding move was taken up, the most telling first.

    That move is the last repair taken up that the end does not take for in vain, else the end taken up, else whatever
    comes next. Returns (seq of its taking up, what was not asked, what could not be done then as (title, why)).
    """
    at = _deciding(events, state)
    then = tuple(e for e in events if e.seq < at) if at else tuple(events)
    if not then:
        return 0, (), ()
    last = parse_time(then[-1].time)
    chase = _Stand(kit, Memory(then), events[0].case, lambda: last)
    if chase.state.ended or chase.state.intake is None:
        return 0, (), ()
    ranked = chase.ranked()
    best = ranked.moves[0].expected
    had = {item.key for item in chase.state.evidence if item.kind == "answer"}
    if chase.state.move is not None:
        # What is in hand is being asked.
        had.add(chase.state.move.key)
    open_moves = [m for m in ranked.moves if m.kind == "check" and m.name not in had and m.told >= TELLING]
    found = tuple(
        NotAsked(m.name, names.check(m.name), round(m.told, 3), round(m.now, 2), round(m.expected, 2), round(best, 2))
        for m in sorted(open_moves, key=lambda m: (-m.told, m.expected, m.name))[:MOST_NOT_ASKED]
    )
    kept_off = {k: why for k, why in ranked.barred.items() if k in kit.fitted.checks and k not in had}
    bits = {key: _would_tell(chase, key) for key, why in kept_off.items() if _could_be(why)}
    not_done = tuple(
        (names.check(key), plain(kept_off[key]))
        for key in sorted(bits, key=lambda k: (-bits[k], k))[:MOST_NOT_ASKED]
        if bits[key] >= TELLING
    )
    return at or events[-1].seq, found, not_done


def _would_tell(chase: Chase, check: str) -> float:
    """Return the bits of doubt that a check would be expected to take away, over the states that are planned over."""
    belief, at = chase.belief, chase.likely()
    p = belief.joint[at]
    p = p / p.sum()
    table = belief.following(check, *chase.setting, at)
    outcomes = table @ p
    told = float((p * (table * np.log2(table)).sum(axis=0)).sum() - (outcomes * np.log2(outcomes)).sum())
    return max(0.0, told)


def _could_be(why: str) -> bool:
    """Return whether something kept a check from being done that somebody might have changed."""
    return why.startswith(("declined", "nobody here", "not at hand", "not at the", "could not tell", "takes "))


def _deciding(events: Sequence[Event], state: CaseState) -> int:
    """Return the seq of the taking up of the move that decided the case; 0 where there is none yet."""
    end = next((e.body.get("found", ()) for e in reversed(events) if e.kind == "closed"), ())
    right = {str(f["repair"]) for f in end if split(str(f["mode"]))[0] != HEALTHY}
    taken = [
        (e.seq, str(e.body["kind"]), str(e.body["move"]))
        for e in events
        if e.kind == "accepted" and e.seq not in state.void
    ]
    named = [seq for seq, kind, move in taken if kind == "repair" and move in right]
    for found in (named, *([seq for seq, kind, _ in taken if kind == of] for of in ("repair", "end", "close"))):
        if found:
            return found[-1]
    return 0


# -- in hindsight ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Truth:
    """What was at fault, who says so, and, in sentences, where the shop does not go with the end or with itself."""

    modes: tuple[str, ...]
    by: Literal["the shop", "the end of the case", "nobody"]
    doubt: str = ""


def hindsight(
    kit: Kit,
    events: Sequence[Event],
    state: CaseState,
    names: Names,
    weighed: Weighing,
    back: Sequence[CameBack] = (),
) -> Hindsight | None:
    """Return what it would have taken with the fault known from the start; None of a case that has not ended.

    Where nobody says what the fault was there is no such way, nor where only the end says so and it came back since
    (``back``): its steps are empty, and what the end says was done in vain is told all the same.
    """
    if not state.ended or state.intake is None:
        return None
    known, none = truth(kit, events, state, names), ""
    if known.by == "the end of the case" and back:
        what = " and ".join(within(names.mode(mode)) for mode in known.modes)
        none = f"No hindsight: only the end of the case says that it was {what}, and the defect came back."
        known = replace(known, modes=(), by="nobody")
    elif not known.modes:
        none = "No hindsight: " + ("what it was is not known." if known.doubt else "nobody says what was at fault.")
    steps, access = _least(kit, events, state, known.modes, names) if known.modes else ([], 0.0)
    not_needed = _not_needed(kit, events, state, known.modes, names, weighed)
    least = round(sum(minutes for _, minutes in steps), 2)
    took = round(state.book_minutes, 2)
    return Hindsight(
        truth=known.modes,
        titles=tuple(names.mode(mode) for mode in known.modes),
        by=known.by,
        steps=tuple((title, round(minutes, 2)) for title, minutes in steps),
        least=least,
        took=took,
        not_needed=not_needed,
        doubt=known.doubt,
        none=none,
        rest=_rest(events, state, took - least, access, not_needed) if steps else (),
    )


def _rest(
    events: Sequence[Event], state: CaseState, over: float, access: float, not_needed: Sequence[NotNeeded]
) -> tuple[tuple[str, float], ...]:
    """Return where the minutes over the least way went; ``access``: those of that way that go into access.

    Below zero: the least way takes more of it than the case did.
    """
    told = sum(n.minutes for n in not_needed)
    back = sum(_figure(e.body, "minutes") or 0.0 for e in events if e.seq in state.void and e.kind in _KINDS)
    crossed = sum(
        _figure(e.body, "minutes") or 0.0 for e in events if e.kind == "access" and e.seq not in state.void
    ) - access  # fmt: skip
    parts = [
        ("what told nothing of it, or put nothing right", round(told, 2)),
        ("access beyond that of the least way", round(crossed, 2)),
        ("what was taken back later", round(back, 2)),
    ]
    left = round(over - sum(minutes for _, minutes in parts), 2)
    parts.append(("checks that told something or belong to the work, and in the work itself", left))
    return tuple((what, minutes) for what, minutes in parts if minutes)


def truth(kit: Kit, events: Sequence[Event], state: CaseState, names: Names) -> Truth:
    """Return what was at fault, by the shop where it confirmed something, else by the end of the case.

    What the shop did not find, or has two words on that disagree, is not known; where it is what the end names, and
    the shop confirmed nothing else, nothing is.
    """
    shop = _shop(state, names)
    end = next((e.body.get("found", ()) for e in reversed(events) if e.kind == "closed"), ())
    by_end = [(str(f["repair"]), str(f["mode"]), float(f["probability"])) for f in end]
    confirmed: list[str] = []
    for repair, word in shop.items():
        if word.finding == "confirmed":
            mode = word.mode if word.mode in kit.fitted.mode_zone else _blamed(kit, state, repair, by_end)
            confirmed += [mode] if mode else []
    named = [
        mode
        for repair, mode, p in by_end
        if split(mode)[0] != HEALTHY and p >= SURE and mode in kit.fitted.mode_zone and repair not in shop
    ]  # fmt: skip
    doubts: list[str] = []
    lost = False
    for repair, mode, _ in by_end:
        said = _doubt(kit, state, names, shop[repair], repair, mode) if repair in shop else ""
        doubts += [said] if said and said not in doubts else []
        lost = lost or bool(said and shop[repair].finding != "confirmed")
    named_at = {repair for repair, _, _ in by_end}
    doubts += [
        _doubt(kit, state, names, word, repair, "")
        for repair, word in shop.items()
        if word.finding == DISPUTED and repair not in named_at
    ]
    modes = _one_a_zone(kit.fitted, confirmed if lost else [*confirmed, *named])
    by: Literal["the shop", "the end of the case", "nobody"] = (
        "the shop" if confirmed else "the end of the case" if modes else "nobody"
    )
    return Truth(modes, by, " ".join(doubts))


@dataclass(frozen=True)
class _Word:
    """What a shop says of the part of a repair: a finding, or :data:`DISPUTED`; the fault it named; ``said``: each."""

    finding: str
    mode: str
    text: str
    said: tuple[str, ...]


def _shop(state: CaseState, names: Names) -> dict[str, _Word]:
    """Return repair → what the shop says of its part; two words that are not alike are a dispute."""
    by_repair: dict[str, list[Mapping[str, Any]]] = {}
    for finding in state.findings:
        by_repair.setdefault(str(finding["repair"]), []).append(finding)
    found: dict[str, _Word] = {}
    for repair, words in by_repair.items():
        kinds = dict.fromkeys(str(w["finding"]) for w in words)
        modes = dict.fromkeys(str(w["mode"]) for w in words if w.get("mode"))
        texts = [str(w["text"]) for w in words if w.get("text")]
        said = []
        for word in words:
            report = f" (report {plain(word['report'])})" if word.get("report") else ""
            mode = f", {within(names.mode(str(word['mode'])))}" if word.get("mode") else ""
            text = f": “{plain(word['text']).rstrip('.')}”" if word.get("text") else ""
            said.append(f"{FINDINGS.get(str(word['finding']), plain(word['finding']))}{mode}{text}{report}")
        kind = DISPUTED if len(kinds) > 1 or len(modes) > 1 else next(iter(kinds))
        found[repair] = _Word(kind, next(iter(modes), ""), plain(texts[-1]) if texts else "", tuple(said))
    return found


def _doubt(kit: Kit, state: CaseState, names: Names, word: _Word, repair: str, mode: str) -> str:
    """Return a sentence where the shop's word does not go with what the end names; ``mode`` empty: it names nothing."""
    part = f"the part that came off at “{within(names.repair(repair))}”"
    good = split(mode)[0] == HEALTHY
    if word.finding == DISPUTED:
        twice = state.repairs.count(repair) > 1
        which = " The repair was done more than once, and nobody says which part each is about." if twice else ""
        doubt = f" So what the end names, {within(names.mode(mode))}, is in doubt." if mode and not good else ""
        return f"Two words of the shop disagree on {part}: {'; then '.join(word.said)}.{which}{doubt}"
    if word.finding == "confirmed":
        if good:
            return f"The end takes {part} for good, but the shop found the fault in it."
        if mode and word.mode in kit.fitted.mode_zone and word.mode != mode:
            return (
                f"The end names {within(names.mode(mode))}, but the shop found {within(names.mode(word.mode))} in "
                f"{part}."
            )
        return ""
    if good or not mode:
        return ""
    end = f"The verdict is in doubt: the end names {within(names.mode(mode))}, but"
    if word.finding == "not-confirmed":
        return f"{end} the shop found nothing wrong with {part}."
    text = f"something else: “{word.text.rstrip('.')}”" if word.text else "something else, and does not say what"
    return f"{end} in {part} the shop found {text}."


def _blamed(kit: Kit, state: CaseState, repair: str, by_end: Sequence[tuple[str, str, float]]) -> str | None:
    """Return the mode of the part that a shop confirmed: the one that the end names, else the likeliest of the part."""
    fitted = kit.fitted
    for of, mode, _ in by_end:
        if of == repair and split(mode)[0] != HEALTHY and mode in fitted.mode_zone:
            return mode
    if repair not in fitted.repairs or state.intake is None:
        return None
    evidence = [item for item in state.evidence if knows(fitted, item)]
    places = [i for i, item in enumerate(evidence) if item.kind == "repair" and item.key == repair]
    best: tuple[float, str] | None = None
    for zone in sorted(fitted.repairs[repair].clears) if places else ():
        in_it = part_states(fitted, repair, zone)
        chances = before(kit.model, state.intake, evidence, places[0], zone)
        for s, p in zip(fitted.zones[zone].states, chances, strict=True):
            channel = fitted.zones[zone].channel
            if s in in_it and (best is None or float(p) > best[0]):
                best = float(p), f"{s}/{channel}" if channel else s
    return None if best is None else best[1]


def _one_a_zone(fitted: Fitted, modes: Iterable[str]) -> tuple[str, ...]:
    """Return the modes, the first of each zone only: a zone is in one state."""
    found: dict[str, str] = {}
    for mode in modes:
        found.setdefault(fitted.mode_zone[mode], mode)
    return tuple(found.values())


def _least(
    kit: Kit, events: Sequence[Event], state: CaseState, modes: Sequence[str], names: Names
) -> tuple[list[tuple[str, float]], float]:
    """Return the steps, with book minutes, of the cheapest way with these faults known: closed up at its end.

    Besides: the minutes of it that go into access.
    """
    last = parse_time(events[-1].time)
    chase = _Stand(kit, Memory(events), events[0].case, lambda: last)
    fitted, poser, intake = kit.fitted, chase.poser, chase.intake
    verification = fitted.verification(intake.complaint, intake.channel)
    joint = np.zeros(kit.model.shape)
    index = [0] * len(kit.model.zones)
    for mode in modes:
        zone = fitted.mode_zone[mode]
        index[kit.model.axis[zone]] = fitted.zones[zone].states.index(split(mode)[0])
    joint[tuple(index)] = 1.0
    kinds = (fitted.checks, fitted.repairs, fitted.access)
    barred = {key for kind in kinds for key, fit in kind.items() if chase.lacking(fit.entry)}
    posed = poser.pose(replace(Belief.before(kit.model), joint=joint), verification, barred=barred)
    planner = Planner(posed.problem)
    repairs, end = planner.routes()[int(planner.group[posed.joint.index(tuple(index))])]
    opened = poser.mask(_found_open(events, fitted))
    condition = condition_now(intake)
    steps: list[tuple[str, float]] = []
    crossed_in = 0.0

    def cross(crossings: Sequence[Crossed], what: str) -> None:
        nonlocal crossed_in
        minutes, opening, shutting = 0.0, list[str](), list[str]()
        for crossed in crossings:
            access = fitted.access[poser.access[crossed.access]]
            way = access.open if crossed.opening else access.close
            if crossed.opening or access.entry.lasting:
                minutes += way.minutes + way.waits(condition)
                (opening if crossed.opening else shutting).append(access.title)
        said = [f"put back {', '.join(shutting)}"] if shutting else []
        said += [f"open or make ready {', '.join(opening)}"] if opening else []
        if said:
            steps.append((f"{what}: {'; '.join(said)}", minutes))
            crossed_in += minutes

    made = [(r.title, r.entry.minutes, r.needs, r.shut, r.spoils) for r in
            (fitted.repairs[posed.problem.repairs[i].name] for i in repairs)]  # fmt: skip
    if end < 0:
        checks = [fitted.check(key) for key in verification]
        made += [(c.title, c.minutes, c.needs, c.shut, c.spoils) for c in checks]
    for title, minutes, needs, shut, spoils in made:
        _, opened, crossings = poser.crossings.go(opened, poser.mask(needs), poser.mask(shut))
        cross(crossings, "On the way")
        opened &= ~poser.mask(spoils)
        steps.append((title, minutes))
    if end >= 0:
        steps.append((names.move("end", posed.problem.ends[end].name), 0.0))
    cross(poser.crossings.close_all(opened)[2], "Close up")
    return steps, crossed_in


def _found_open(events: Sequence[Event], fitted: Fitted) -> list[str]:
    """Return what stood open as the case was opened."""
    found = []
    for event in events[1:]:
        if event.kind != "access" or event.body.get("state") != "unknown":
            break
        found.append(str(event.body["access"]))
    return [key for key in found if key in fitted.access]


def _not_needed(
    kit: Kit, events: Sequence[Event], state: CaseState, modes: Sequence[str], names: Names, weighed: Weighing
) -> tuple[NotNeeded, ...]:
    """Return the steps that in hindsight told nothing of what was at fault, or put nothing right.

    What a gate asks about, what belongs to a verification or a repair, and what took doubt away by ruling something
    else out is none of them.
    """
    moved = {answer.seq: answer.moved for answer in weighed.answers if not answer.carried}
    found = []
    weights = weights_for(kit, state, modes) if modes else {}
    asked = _asked_by_gates(kit.fitted)
    about = " and ".join(within(names.mode(mode)) for mode in modes)
    shop = {repair: word.finding for repair, word in _shop(state, names).items()}
    end = next((e.body.get("found", ()) for e in reversed(events) if e.kind == "closed"), ())
    good = {str(f["repair"]): float(f["probability"]) for f in end if split(str(f["mode"]))[0] == HEALTHY}
    verification = kit.fitted.verification(state.intake.complaint, state.intake.channel) if state.intake else ()
    worked = False
    put_right = {str(f["repair"]) for f in end if split(str(f["mode"]))[0] != HEALTHY}
    for event in events:
        body, minutes = event.body, float(event.body.get("minutes", 0) or 0)
        if event.seq in state.void:
            continue
        worked = worked or event.kind in ("repaired", "swapped")
        if event.kind == "answered" and body.get("within") == "check" and split(str(body["check"]))[0] not in asked:
            if worked and body["check"] in verification:
                # It proves the work before it.
                continue
            bits = weights.get(event.seq)
            said = names.answer(str(body["check"]), str(body.get("outcome") or ""))
            if not body.get("outcome"):
                found.append(NotNeeded(event.seq, said, minutes, "It could not be told."))
            elif bits is not None and bits <= -SPEAKS:
                against = f"It spoke {strength(bits)} {about}, and that was at fault."
                found.append(NotNeeded(event.seq, said, minutes, against))
            elif bits is not None and bits < SPEAKS and moved.get(event.seq, 0.0) < SPEAKS:
                nothing = f"It says nothing either way of {about}, and took next to no doubt away."
                found.append(NotNeeded(event.seq, said, minutes, nothing))
        elif event.kind == "repaired":
            key = str(body["repair"])
            if shop.get(key) == "not-confirmed":
                found.append(NotNeeded(event.seq, names.repair(key), minutes, "The shop found nothing wrong with it."))
            elif shop.get(key) not in ("confirmed", DISPUTED) and key in good and key not in put_right:
                why = f"Seen from the end it put nothing right: {share(good[key])} that nothing it mends was wrong."
                found.append(NotNeeded(event.seq, names.repair(key), minutes, why))
    return tuple(found)


def _asked_by_gates(fitted: Fitted) -> set[str]:
    """Return the names of the checks that gates ask about: what is done for safety is never idle."""
    found: set[str] = set()

    def walk(pattern: Pattern) -> None:
        if pattern.fact == "answer" and isinstance(check := pattern.where.get("check"), str):
            found.add(check)
        for inner in (*([pattern.absent] if pattern.absent else []), *(pattern.any or [])):
            walk(inner)

    for rule in fitted.rules.values():
        if rule.kind == "gate":
            for pattern in rule.when:
                walk(pattern)
    return found


def _figure(body: Mapping[str, Any], name: str) -> float | None:
    value = body.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

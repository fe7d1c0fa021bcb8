"""No fault found, or not this one: what was checked, what remains, what to watch for, and what would settle it best.

All of it follows from the belief as it stands. Nothing here says that anything is in order.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, get_args

import numpy as np

from isolate.case import facts as case_facts
from isolate.case.inherit import tenths
from isolate.kb.fit import FitCheck
from isolate.kb.model import HEALTHY, Condition
from isolate.reasoning.belief import Belief, Marginal, Table

if TYPE_CHECKING:
    from isolate.case.chase import Chase

LEAST = 0.01
"""A fault less probable than this is not listed as remaining."""
HIDDEN = 0.5
"""A test passed in a condition in which a fault shows less often than this says little of that fault,"""
ELSEWHERE = 0.25
"""where in some other condition it shows more often by this much. Both are our judgement."""
TELLING = 1.5
"""A condition is named where a start fails so many times as often in it as in the mildest. Our judgement."""
SLOW = (0.05, 0.95)
"""A fault with which a start lights neither never nor nearly always also lights late: our judgement."""
MOST_STARTS = 64
HEADINGS = ("No fault was named. What can be said:", "What is not settled:")
"""Of the section in the record: where nothing was found, and where something was but the case ends unproven."""
LISTED = 8
"""So many of the faults that remain are listed one by one."""
NEW_OCCASION = 1_000_000
"""A number that no occasion of a case has: whatever settles it is done another time."""
WIDTH = 78
WHEN: Mapping[Condition, str] = {
    "steady": "in no condition in particular",
    "cold": "cold soaked",
    "hot": "hot, soon after a run",
    "wet": "wet from rain, wash or de-icing",
    "vibrating": "with the engine shaking",
    "sagging": "with the supply sagging",
}
_NOTED: Mapping[Condition, str] = {
    "cold": "the outside temperature and how long it stood",
    "hot": "the minutes since the last shutdown",
    "wet": "rain, wash or de-icing since the last start",
    "vibrating": "what shook: taxi, gusts, the other engine",
    "sagging": "the supply's voltage and what else was on",
}


@dataclass(frozen=True)
class Checked:
    """One answer. ``weak``: why it says little, empty where it does not."""

    check: str
    title: str
    said: str
    condition: Condition
    weak: str = ""


@dataclass(frozen=True)
class Remains:
    """A fault that may be left, with its probability."""

    mode: str
    title: str
    probability: float


@dataclass(frozen=True)
class Settles:
    """One observation, and what it is expected to tell of the state, in bits.

    ``minutes``: of the check alone. ``barred``: why it cannot be had now; empty where it can.
    """

    check: str
    title: str
    condition: Condition
    bits: float
    minutes: float
    barred: str = ""

    @property
    def words(self) -> str:
        where = "" if self.condition == "steady" else f", {WHEN[self.condition]}"
        return f"{self.title}{where}"


@dataclass(frozen=True)
class Unfound:
    """What stands at an end at which no fault was named.

    ``none``: the probability that nothing is at fault. ``doubt``: of the joint state, in bits. ``watch``: what to look
    at and write down at the next starts. ``settle``: the observation that tells most; None where none tells anything.
    ``unexplained``: the answers that fit the others least, where nothing known explains them.
    """

    checked: tuple[Checked, ...]
    remains: tuple[Remains, ...]
    none: float
    doubt: float
    watch: tuple[str, ...]
    settle: Settles | None
    unexplained: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


def unfound(chase: Chase) -> Unfound:
    """Return what can be said of a case in which no fault was named, as it stands."""
    belief = chase.belief
    left = belief.faults(LEAST)
    zones = chase.fitted.zones
    clash = chase.gap.clash if chase.gap.stands else ()
    return Unfound(
        checked=checked(chase, left),
        remains=tuple(Remains(m.mode, zones[m.zone].title_of(m.state), m.probability) for m in left),
        none=belief.healthy(),
        doubt=_entropy(belief.joint.ravel()),
        watch=watch(chase, left),
        settle=settle(chase),
        unexplained=tuple(case_facts.said(chase.fitted, told) for told in clash),
    )


# -- what was checked -----------------------------------------------------------------------------


def checked(chase: Chase, left: Sequence[Marginal]) -> tuple[Checked, ...]:
    """Return the answers of a case in order; one that passed while a fault that is left may have slept is weak."""
    found = []
    for item in chase.state.evidence:
        if item.kind == "answer":
            check = chase.fitted.check(item.key)
            condition, strength, _ = chase.kit.model.setting(item.key, item.condition, item.strength)
            weak = ""
            if check.functional and item.outcome == check.outcomes[0]:
                weak = slept(chase.belief, check, condition, strength, left)
            found.append(Checked(item.key, check.title, check.said(item.outcome), condition, weak))
    return tuple(found)


def slept(belief: Belief, check: FitCheck, condition: Condition, strength: float, left: Iterable[Marginal]) -> str:
    """Return why a functional check that passed in a condition says little, by the likeliest fault that may have slept.

    Empty where every fault that is left, and that this check would show, mostly shows in that condition.
    """
    model = belief.model
    for marginal in left:
        if marginal.zone not in check.given:
            continue
        zone = model.fitted.zones[marginal.zone]
        state = zone.states.index(marginal.state)
        rows = check.given[marginal.zone]
        if rows[state][0] > 0.5 * rows[zone.states.index(HEALTHY)][0]:
            # The check would pass with this fault showing as well.
            continue
        shows = float(model.active(marginal.zone, condition, strength)[state])
        best, most = max(
            ((c, float(model.active(marginal.zone, c)[state])) for c in get_args(Condition)), key=lambda x: x[1]
        )
        if shows < HIDDEN and most >= shows + ELSEWHERE:
            what = zone.title_of(marginal.state)
            return f"says little about {_small(what)}: it shows so {shows:.0%} of the time, {WHEN[best]} {most:.0%}"
    return ""


# -- what to watch --------------------------------------------------------------------------------


def watch(chase: Chase, left: Sequence[Marginal]) -> tuple[str, ...]:
    """Return what to look at and write down at the next starts, as it follows from the faults that are left."""
    belief, fitted = chase.belief, chase.fitted
    zones = fitted.zones
    found = []
    by_channel = {c: sum(m.probability for m in left if zones[m.zone].channel == c) for c in fitted.channels}
    if len(fitted.channels) > 1 and any(by_channel.values()):
        shares = ", ".join(f"{c} {p:.0%}" for c, p in by_channel.items())
        found.append(f"The channel of each start: a fault is left on {shares}.")
    if lanes := [m for m in left if zones[m.zone].modes[m.state].by_lane]:
        found.append(f"The control lane that commanded it: {_titles(chase, lanes)} fails one lane's starts only.")
    dark = [m for m in left if zones[m.zone].channel and _lights(belief, m) < 1 - HIDDEN]
    if dark and len(fitted.channels) > 1:
        found.append(
            "Whether it lit at once, or only on a second try or with both channels on: what is left on one channel "
            "hides behind the other."
        )
    slow = [m for m in left if zones[m.zone].channel and SLOW[0] < _lights(belief, m) < SLOW[1]]
    if slow:
        found.append(f"The seconds to light, by channel. One that grows slower may have: {_titles(chase, slow)}.")
    found += _conditions(chase)
    if (starts := _starts_needed(chase)) is not None:
        count, condition = starts
        where = "" if condition == "steady" else f" {WHEN[condition]},"
        found.append(
            f"About {count} starts on each channel alone,{where} all lit, would bring what is left under "
            f"{fitted.profile.remaining:.0%}."
        )
    return tuple(found)


def _lights(belief: Belief, marginal: Marginal) -> float:
    zone = belief.model.fitted.zones[marginal.zone]
    return zone.lights[zone.states.index(marginal.state)]


def failing(belief: Belief, channel: str, condition: Condition) -> float:
    """Return P(a start on this channel alone does not light in this condition)."""
    return 1 - float((belief.joint * _alone(belief, channel, condition)).sum())


def _alone(belief: Belief, channel: str, condition: Condition) -> Table:
    weight = np.ones([1] * belief.joint.ndim)
    for key, lights in belief.model.lights(condition).items():
        if belief.model.fitted.zones[key].channel in ("", channel):
            weight = weight * lights
    return np.asarray(weight)


def _worst(chase: Chase) -> Mapping[Condition, tuple[float, str]]:
    """Return the channel whose starts fail most often in each condition, with how often."""
    found: dict[Condition, tuple[float, str]] = {}
    for condition in get_args(Condition):
        chances = [(failing(chase.belief, channel, condition), channel) for channel in chase.fitted.channels]
        found[condition] = max(chances, key=lambda x: x[0])
    return found


def _conditions(chase: Chase) -> list[str]:
    worst = _worst(chase)
    mildest = min(p for p, _ in worst.values())
    found = []
    telling = [c for c in worst if c in _NOTED and worst[c][0] >= max(TELLING * mildest, LEAST)]
    for condition in sorted(telling, key=lambda c: -worst[c][0])[:2]:
        chance, channel = worst[condition]
        found.append(
            f"Starts {WHEN[condition]}: one on {channel} fails with {chance:.0%} then, {mildest:.0%} when it is "
            f"mildest. Write down {_NOTED[condition]}."
        )
    return found


def _starts_needed(chase: Chase) -> tuple[int, Condition] | None:
    """Return how many lit starts on each channel alone would do, in the condition that tells most, and which that is.

    Only the numbers 1, 2, 4 and so on are tried; None where even the last would not do, or nothing is to be shown.
    """
    limit = chase.fitted.profile.remaining
    if chase.remaining < limit:
        return None
    worst = _worst(chase)
    condition = max(worst, key=lambda c: (round(worst[c][0], 6), c == "steady"))
    each = np.ones([1] * chase.belief.joint.ndim)
    for channel in chase.fitted.channels:
        each = each * _alone(chase.belief, channel, condition)
    joint, count = chase.belief.joint, 1
    lit = each
    while count <= MOST_STARTS:
        after = joint * lit
        if 1 - float(after[(0,) * after.ndim] / after.sum()) < limit:
            return count, condition
        count, lit = 2 * count, lit * lit
    return None


# -- what would settle it -------------------------------------------------------------------------


def settle(chase: Chase) -> Settles | None:
    """Return the observation that tells most of what is left, in the condition in which it does; ties by minutes.

    Every check of the engine is weighed in every condition, those that may not be done now too: at another time, place
    or with other people they may.
    """
    found = ranking(chase)
    if not found or found[0].bits < 1e-4:
        return None
    return found[0]


def ranking(chase: Chase) -> tuple[Settles, ...]:
    """Return every observation that can still be had, the most telling first."""
    belief, barred, now = chase.belief, chase.barred(), chase.setting.condition
    marginals: dict[tuple[int, ...], Table] = {}
    found = []
    for key, check in chase.fitted.checks.items():
        why = barred.get(key, "")
        answered = why == "answered"
        conditions: Iterable[Condition] = ("steady",)
        if check.functional and check.makes is None:
            conditions = get_args(Condition)
        elif answered or why.startswith("about the"):
            # It would say the same again, or speaks of a time or a part that is gone.
            continue
        for condition in conditions:
            table = belief.following(key, condition, 1.0, NEW_OCCASION if check.functional else 0)
            bits = information(table, belief.joint, marginals)
            lacking = "" if answered else why
            if check.functional and check.makes is None and condition not in ("steady", now):
                lacking = f"it is not so now{'; ' + lacking if lacking else ''}"
            found.append(Settles(key, check.title, condition, bits, check.minutes, lacking))
    return tuple(
        sorted(
            found,
            key=lambda s: (-round(s.bits, 4), s.minutes, s.condition != now, s.condition != "steady", s.check),
        )
    )


def information(table: Table, joint: Table, marginals: dict[tuple[int, ...], Table] | None = None) -> float:
    """Return the mutual information of a check's outcome and the joint state, in bits.

    ``table``: P(outcome | joint), axes of zones not looked at of length 1. ``marginals``: kept by the caller.
    """
    idle = tuple(axis for axis, n in enumerate(table.shape[1:]) if n == 1)
    kept = {} if marginals is None else marginals
    if idle not in kept:
        kept[idle] = joint.sum(axis=idle, keepdims=True)
    rows = table.reshape(len(table), -1)
    states = kept[idle].ravel()
    inside = rows * np.log2(rows, out=np.zeros_like(rows), where=rows > 0)
    return max(0.0, float(inside.sum(axis=0) @ states) + _entropy(rows @ states))


def _entropy(chances: Table) -> float:
    positive = chances[chances > 0]
    return float(-(positive * np.log2(positive)).sum())


# -- in words -------------------------------------------------------------------------------------


def lines(found: Unfound, named: bool = False) -> list[str]:
    """Return the section of the record. ``named``: something was found, and the case ends without a proof that all is.

    What was checked stands in the record already; here only what of it says little.
    """
    out = ["", HEADINGS[named]]
    if found.unexplained:
        out += _hung("Nothing known explains these answers together; least of all: " + "; ".join(found.unexplained))
    weak = [f"{c.title}: {_small(c.said)} ({WHEN[c.condition]}) {c.weak}" for c in found.checked if c.weak]
    for line in dict.fromkeys(weak):
        # The same test passed several times is said once.
        times = f" ({weak.count(line)} times)" if weak.count(line) > 1 else ""
        out += _hung(f"Weak{times}: {line}.")
    left = "; ".join(f"{r.title} {tenths(r.probability)}" for r in found.remains[:LISTED])
    if more := found.remains[LISTED:]:
        left += f"; {len(more)} more of {LEAST:.0%} or more, together {sum(r.probability for r in more):.0%}"
    least = "Least unlikely" if found.unexplained else "Remains"
    out += _hung(f"{least}: {left + '; ' if left else ''}nothing at fault {tenths(found.none)}.")
    if found.settle is not None:
        out += _hung(f"Settles it best: {_best(found)}.")
    if found.watch:
        out.append("  To watch and write down at the next starts:")
        out += [line for item in found.watch for line in _hung(item, "    - ", "      ")]
    return out


def brief(found: Unfound) -> list[str]:
    """Return the same in at most three sentences, for a small screen."""
    left = ", ".join(f"{_small(r.title)} {r.probability:.0%}" for r in found.remains[:3])
    out = [f"Remains: {left}." if left else f"Remains: no fault of {LEAST:.0%} or more."]
    if found.settle is not None:
        out.append(f"Settles it best: {_best(found)}.")
    if found.watch:
        out.append(f"At the next starts: {found.watch[0]}")
    return out


def _best(found: Unfound) -> str:
    best = found.settle
    assert best is not None
    why = f"; not now: {best.barred}" if best.barred else ""
    return f"{best.words} ({best.bits:.2f} of {found.doubt:.2f} bits of doubt{why})"


def _hung(text: str, first: str = "  ", rest: str = "    ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def _titles(chase: Chase, marginals: Sequence[Marginal]) -> str:
    zones = chase.fitted.zones
    names = [_small(zones[m.zone].title_of(m.state)) for m in marginals[:2]]
    return " or ".join(names)


def _small(text: str) -> str:
    """Return a title as it stands within a sentence; what begins in capitals stays."""
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if first[1:] == first[1:].lower() and len(first) > 1 else text

"""The belief of a case: what earlier cases left of theirs, what was told at its opening, then its evidence in order."""

from __future__ import annotations

import re
from collections import Counter, OrderedDict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import log, prod
from threading import Lock
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from isolate.case.ages import asked_already
from isolate.case.case import Earlier, Evidence, Intake, Seen, Swap, Work
from isolate.case.swaps import known as known_swap
from isolate.kb.fit import Fitted, split
from isolate.reasoning import recorded, swap, wear
from isolate.reasoning.belief import Belief, Model
from isolate.reasoning.forget import forget, share_kept
from isolate.reasoning.starts import BOTH, UNKNOWN, Start

_T = TypeVar("_T")

_DATED = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)

HALF_LIFE_DAYS = 60.0
"""Days after which what was known of a zone counts half: parts are changed without a case, things dry out, something
new breaks. Our judgement."""
SHOP_MISSES = 0.3
"""P(a shop finds nothing wrong with a part | it has a fault), as against 1 for a good one: what comes and goes does
not show on the bench. Our judgement."""
SHOP_BLAMES = 0.05
"""P(a shop confirms a fault | the part is good), as against 1 for a bad one. Our judgement."""
READ_BACK = ("history-read", "came-back")
"""Check and outcome that say the same was written up before: of cases that are carried, the log says nothing new."""
MOST_KEPT = 4
"""So many beliefs after earlier cases are kept for each model."""
_kept: WeakKeyDictionary[Model, OrderedDict[tuple[Earlier, ...], NDArray[np.float64]]] = WeakKeyDictionary()
_turn = Lock()

TOLD = -1
"""The occasion of what complaint and signs say: it was before anybody came to look."""


def believed(model: Model, intake: Intake, evidence: Sequence[Evidence]) -> Belief:
    """Return the belief after the intake and the evidence in order."""
    return further(told_belief(model, intake, _answered(evidence)), intake, evidence)


def further(belief: Belief, intake: Intake, evidence: Sequence[Evidence]) -> Belief:
    """Return a belief after what was told at the opening once more evidence of the same case has come."""
    return through(belief, _unasked(belief.model, intake, evidence))


def heeds_answers(intake: Intake, more: Iterable[Evidence]) -> bool:
    """Return whether what counts of what was told depends on these answers.

    What signs, times to light and earlier cases say of a check is left out where the check is done in this case.
    """
    if intake.signs or any(start.seconds is not None for start in intake.starts):
        return True
    had = {item.key for case in intake.earlier for item in case.evidence}
    return any(item.key in had for item in more)


def through(belief: Belief, evidence: Sequence[Evidence]) -> Belief:
    """Return the belief after more evidence."""
    for item in evidence:
        belief = _taken(belief, item)
    return belief


def _unasked(model: Model, intake: Intake, evidence: Sequence[Evidence]) -> Sequence[Evidence]:
    """Return the evidence without answers to what an age, or the starts told, say better, whichever came first."""
    asked = _known_better(model, intake)
    return [item for item in evidence if item.kind != "answer" or item.key not in asked] if asked else evidence


def _known_better(model: Model, intake: Intake) -> frozenset[str]:
    """Return the checks whose answer is in what was told already, weighed there."""
    counted = recorded.counted(model.fitted, intake.starts)
    return asked_already(model.fitted, intake.ages).union(key for key, _ in counted)


def _answered(evidence: Sequence[Evidence]) -> frozenset[str]:
    """Return the checks that were answered before the first repair or exchange of parts."""
    found = set()
    for item in evidence:
        if item.kind != "answer":
            break
        found.add(item.key)
    return frozenset(found)


def told_belief(model: Model, intake: Intake, answered: Collection[str] = ()) -> Belief:
    """Return the belief after what was told of the defect: earlier work, starts, what complaint and signs imply.

    ``answered``: checks that were done in the case itself. Where one does not repeat, its answer stands and what a
    sign says of it is left out, whenever the sign was told.
    """
    belief = Belief.before(model)
    if intake.ages:
        belief = belief.weighed(wear.weight(model, intake.ages))
    new = fresh(intake).intake
    if intake.earlier:
        # Without an earlier case nothing is known of the parts yet, and it is all one where they were.
        earlier = unrepeated(model, new.earlier, new.swaps, answered)
        belief = inherited(belief, earlier, new.swaps, asked_already(model.fitted, intake.ages))
    return _told(belief, new, answered)


def _told(belief: Belief, intake: Intake, answered: Collection[str]) -> Belief:
    """Return a belief after what was told of the defect besides what earlier cases know of it."""
    model = belief.model
    aged = _known_better(model, intake)
    for work in intake.done:
        belief = belief.repair(work.key)
    complaint = model.fitted.complaints[intake.complaint]
    starts = as_it_shows(intake) or tuple(Start(s.channel, s.lit, intake.condition) for s in complaint.starts)
    belief = belief.starts(starts)
    for key, outcome in recorded.answers(model.fitted, starts):
        # Recorded figures stand before what people say of the same, and are not asked for again.
        if key not in answered:
            belief = belief.answer(key, outcome, intake.condition, occasion=TOLD)
    for name, outcome in complaint.answers.items():
        for check in model.fitted.checks.values():
            if check.name == name and check.channel in ("", intake.channel) and check.key not in aged:
                if intake.earlier and (name, outcome) == READ_BACK:
                    continue
                belief = belief.answer(check.key, outcome, intake.condition, occasion=TOLD)
    for seen in intake.signs:
        sign = model.fitted.signs.get(seen.sign)
        for name, outcome in sign.answers.items() if sign is not None else ():
            for check in model.fitted.checks.values():
                # Complaint and signs are one witness's story: what one has said, another does not say again.
                if check.name != name or check.channel not in ("", seen.channel) or check.key in belief.occasion:
                    continue
                if check.key in aged or (intake.earlier and (name, outcome) == READ_BACK):
                    continue
                if check.repeats is not None or check.key not in answered:
                    belief = belief.answer(check.key, outcome, intake.condition, occasion=TOLD)
    for check in model.fitted.checks.values():
        # When it shows was told by itself; whoever told it in other words has not told it twice.
        said = check.entry.shows.get(intake.condition)
        if said is not None and check.key not in {*belief.occasion, *answered}:
            belief = belief.answer(check.key, said, intake.condition, occasion=TOLD)
    return belief


def as_it_shows(intake: Intake) -> tuple[Start, ...]:
    """Return the starts told; where none was told apart, in the condition in which the defect is said to show."""
    if any(start.condition != "steady" for start in intake.starts):
        return intake.starts
    return tuple(replace(start, condition=intake.condition) for start in intake.starts)


# -- what earlier cases left -----------------------------------------------------------------------


def inherited(
    begun: Belief, earlier: Sequence[Earlier], swaps: Sequence[Swap] = (), aged: Collection[str] = ()
) -> Belief:
    """Return a belief before any evidence of its own, after what earlier cases on the same engine showed.

    Each case is taken in as it was worked: what was told of its defect, its answers, its repairs, what the shop found
    since; then the days to the end of the next, or to now, are forgotten (:func:`isolate.reasoning.forget.forget`).
    None of their answers counts as told here: each may be asked again. ``begun`` may hold more than the prior, such as
    the ages of parts as they are now; that stays. ``swaps``: parts that have changed places since the last of them.
    ``aged``: checks that ask for an age told now; what earlier cases answered to them is in that age.
    """
    model = begun.model
    ordered = unaged(model.fitted, sorted(earlier, key=lambda e: -e.days), swaps, aged)
    with _turn:
        kept = _kept.setdefault(model, OrderedDict())
        left = kept.get(ordered)
        if left is None:
            left = kept[ordered] = _left(model, ordered)
            while len(kept) > MOST_KEPT:
                kept.popitem(last=False)
        else:
            kept.move_to_end(ordered)
    for moved in swaps:
        left = replace(begun, joint=left).swapped(moved.part, moved.channel, moved.other).joint
    prior = model.prior()
    joint = left * np.divide(begun.joint, prior, out=np.ones_like(prior), where=prior > 0)
    return replace(begun, joint=joint / joint.sum())


def altered(model: Model, fitted: Fitted, checks: Collection[str]) -> Model:
    """Return the model of a profile that differs from this one's in priors and in the rows of these checks alone.

    As :meth:`isolate.reasoning.belief.Model.altered`; what earlier cases left is kept where none of it is altered.
    """
    found = model.altered(fitted, checks)
    changed = {split(key)[0] for key in checks}
    if not changed or changed & _told_of(fitted):
        return found
    with _turn:
        kept = _kept.get(model, OrderedDict())
        same = [e for e in kept if not any(split(item.key)[0] in changed for case in e for item in case.evidence)]
        if same:
            _kept[found] = OrderedDict((earlier, kept[earlier]) for earlier in same)
    return found


def _told_of(fitted: Fitted) -> set[str]:
    """Return the checks, by entry name, that what is told at an opening may answer."""
    told = {name for complaint in fitted.complaints.values() for name in complaint.answers}
    told |= {name for sign in fitted.signs.values() for name in sign.answers}
    return told | {c.name for c in fitted.checks.values() if c.entry.shows or c.entry.recorded or c.entry.age_of}


def unaged(
    fitted: Fitted, earlier: Sequence[Earlier], swaps: Sequence[Swap], aged: Collection[str]
) -> tuple[Earlier, ...]:
    """Return cases, oldest first, without what was answered of the age of a part that still sits where it sat then."""
    if not aged:
        return tuple(earlier)
    asks = {key: (fitted.checks[key].entry.age_of, fitted.checks[key].channel) for key in aged}
    gone = {(moved.part, channel) for moved in swaps for channel in (moved.channel, moved.other)}
    found = []
    for case in reversed(earlier):
        kept = []
        for item in reversed(case.evidence):
            if item.kind == "answer" and item.key in asks and asks[item.key] not in gone:
                continue
            kept.append(item)
            repair = fitted.repairs.get(item.key) if item.kind == "repair" else None
            if repair is not None and repair.entry.replaces is not None:
                gone.add((repair.entry.replaces, repair.channel))
            elif item.kind == "swap" and known_swap(fitted, item.key):
                part, one, other = swap.read(item.key)
                gone |= {(part, one), (part, other)}
        found.append(case if len(kept) == len(case.evidence) else replace(case, evidence=tuple(reversed(kept))))
    return tuple(reversed(found))


def unrepeated(
    model: Model, earlier: Sequence[Earlier], swaps: Sequence[Swap], answered: Collection[str]
) -> tuple[Earlier, ...]:
    """Return cases without the answers to checks that were done again in this one, ``answered``, on the same parts.

    A look that says the same when it is done again says so in the next case as well. Functional checks are another
    occasion, and what was worked on or moved since is another state.
    """
    fitted = model.fitted
    again = {
        k for k in answered if k in fitted.checks and not fitted.checks[k].functional and not fitted.checks[k].repeats
    }
    if not again:
        return tuple(earlier)
    touched = {
        z for moved in swaps for c in (moved.channel, moved.other) if c for z in swap.zones(model, moved.part, c)
    }
    found = []
    for case in sorted(earlier, key=lambda e: e.days):
        kept = []
        for item in reversed(case.evidence):
            if item.kind == "answer" and item.key in again and not touched & set(fitted.checks[item.key].given):
                continue
            kept.append(item)
            if item.kind == "repair" and item.key in fitted.repairs:
                touched |= set(fitted.repairs[item.key].clears)
            elif item.kind == "swap" and known_swap(fitted, item.key):
                part, one, other = swap.read(item.key)
                touched |= {z for c in (one, other) if c for z in swap.zones(model, part, c)}
        found.append(case if len(kept) == len(case.evidence) else replace(case, evidence=tuple(reversed(kept))))
    return tuple(reversed(found))


def _left(model: Model, earlier: Sequence[Earlier]) -> NDArray[np.float64]:
    """Return the joint after these cases, oldest first, as far as it still holds today."""
    belief = Belief.before(model)
    for number, case in enumerate(earlier):
        intake, evidence, _ = known(model.fitted, case)
        if intake is not None:
            told = fresh(replace(intake, earlier=tuple(earlier[:number]))).intake
            for moved in told.swaps if number else ():
                belief = belief.swapped(moved.part, moved.channel, moved.other)
            for work in told.done:
                belief = belief.repair(work.key)
            bare = replace(belief, joint=np.ones([1] * belief.joint.ndim))
            weight = _told(bare, replace(told, done=()), _answered(evidence))
            belief = replace(weight, joint=belief.joint * weight.joint)
            evidence = tuple(_unasked(model, intake, evidence))
        belief = _worked(belief, evidence, dict(case.findings))
        until = earlier[number + 1].days if number + 1 < len(earlier) else 0.0
        share = share_kept(case.days - until, HALF_LIFE_DAYS)
        belief = replace(Belief.before(model), joint=forget(belief.joint, model, dict.fromkeys(model.zones, share)))
    return belief.joint


def _worked(belief: Belief, evidence: Sequence[Evidence], found: Mapping[str, str]) -> Belief:
    """Return a belief after the evidence of an earlier case; ``found``: repair → what the shop found in its part.

    As :func:`through`, but what is answered between two repairs is gathered in tables of the zones that it looks at,
    and the joint is gone through once for each of their shapes.
    """
    times = Counter(item.key for item in evidence if item.kind == "repair")
    bare = np.ones([1] * belief.joint.ndim)
    gathered: dict[tuple[int, ...], NDArray[np.float64]] = {}

    def gather(weighed: Belief) -> None:
        shape = weighed.joint.shape
        product = weighed.joint * gathered.get(shape, 1.0)
        # Only what stands to what matters, and a long case must not run out of small numbers.
        gathered[shape] = product / product.max()

    def taken(joint: NDArray[np.float64]) -> NDArray[np.float64]:
        weight = bare
        for shape in sorted(gathered, key=lambda s: (prod(s), s)):
            weight = weight * gathered[shape]
        gathered.clear()
        joint = joint * weight
        return np.asarray(joint / joint.sum())

    joint, light = belief.joint, replace(belief, joint=bare)
    for item in evidence:
        if item.kind == "answer":
            light = _taken(light, item)
            gather(light)
        else:
            if item.kind == "repair" and times[item.key] == 1 and found.get(item.key) in WEIGHED:
                gather(_by_the_shop(light, item.key, found[item.key]))
            light = _taken(replace(light, joint=taken(joint)), item)
            joint = light.joint
        light = replace(light, joint=bare)
    return replace(light, joint=taken(joint))


WEIGHED = ("confirmed", "not-confirmed")
"""The findings of a shop that say whether the part was the matter; anything else is shown only."""


def _by_the_shop(belief: Belief, repair: str, finding: str) -> Belief:
    """Return a belief just before a repair after what the shop says of the part that came off."""
    model = belief.model
    for zone in model.fitted.repair(repair).clears:
        states = model.fitted.zones[zone].states
        in_it = part_states(model.fitted, repair, zone)
        if not in_it:
            continue
        bad, good = (1.0, SHOP_BLAMES) if finding == "confirmed" else (SHOP_MISSES, 1.0)
        belief = belief.weighed(model.along(zone, [bad if state in in_it else good for state in states]))
    return belief


def part_states(fitted: Fitted, repair: str, zone: str) -> frozenset[str]:
    """Return the states of a zone that are a fault of the part itself which this repair takes off.

    The part is the one that the repair replaces, else the one that most of what it clears belongs to. What is no fault
    of the part, such as a loose nut on it, is left out; what a new part alone does not cure, such as a burnt tip, is a
    fault of the old one all the same.
    """
    fit = fitted.repair(repair)
    parts = Counter(fitted.zones[z].modes[s].part for z, cleared in fit.clears.items() for s in sorted(cleared))
    part = fit.entry.replaces or max(sorted(parts), key=lambda p: parts[p])
    return frozenset(s for s, mode in fitted.zones[zone].modes.items() if mode.part == part and not mode.anew)


def same_part(fitted: Fitted, repair: str, other: str) -> bool:
    """Return whether two repairs, by instance name, fit the same part new: one repair, or two that replace it."""
    one, two = fitted.repairs.get(repair), fitted.repairs.get(other)
    if one is None or two is None or one.channel != two.channel or not (one.entry.parts > 0 and two.entry.parts > 0):
        return False
    return one.key == two.key or (one.entry.replaces is not None and one.entry.replaces == two.entry.replaces)


@dataclass(frozen=True)
class Fresh:
    """An intake without what its earlier cases have already; and what was left out of it, or put with them.

    ``starts``, ``done``, ``swaps``: told again. ``placed``: case → starts told in this one that were made before its
    work was done, and count there. ``undated``: starts of which nobody can say whether they were.
    """

    intake: Intake
    starts: tuple[Start, ...] = ()
    done: tuple[Work, ...] = ()
    swaps: tuple[Swap, ...] = ()
    placed: tuple[tuple[str, int], ...] = ()
    undated: int = 0


@lru_cache(maxsize=16)
def fresh(intake: Intake) -> Fresh:
    """Return an intake without what its earlier cases have already.

    A start is the same where its date, channel and result are the same; one without a date is taken as new. What a
    start tells is about what was fitted then: one made before the day on which an earlier case ended that changed
    something goes with that case. Work, or parts that changed places, told as done before are those of an earlier case
    as often as one has them.
    """
    if not intake.earlier:
        return Fresh(intake)
    earlier = sorted(intake.earlier, key=lambda e: -e.days)
    starts, old, placed = _placed(intake.starts, earlier)
    for number in range(len(earlier) - 1, 0, -1):
        before = earlier[:number]
        told = _starts_of(earlier[number])
        kept, _, _ = _placed(told, before)
        earlier[:number] = before
        if kept != told:
            earlier[number] = _with_starts(earlier[number], kept)
    worked: Counter[str] = Counter()
    for case in earlier:
        if case.told:
            had = Intake.from_dict({**case.told, "starts": []})
            # A case may have been told the same again: what it had is not added up.
            worked |= Counter([*(w.key for w in had.done), *(s.key for s in had.swaps)])
        worked += Counter(item.key for item in case.evidence if item.kind != "answer")
    done = _parted(intake.done, lambda w: w.key, worked)
    swaps = _parted(intake.swaps, lambda s: s.key, worked)
    new = replace(intake, starts=starts, done=done[0], swaps=swaps[0], earlier=tuple(earlier))
    changed = any(_changed(case) for case in earlier)
    undated = sum(not _DATED.match(s.at) for s in starts) if changed else 0
    return Fresh(new, old, done[1], swaps[1], placed, undated)


def _placed(
    starts: tuple[Start, ...], earlier: list[Earlier]
) -> tuple[tuple[Start, ...], tuple[Start, ...], tuple[tuple[str, int], ...]]:
    """Return the starts made since these cases, those that they have, and how many went with which of them.

    ``earlier``, oldest first, is changed: a case that changed something gets the starts made before the day it ended.
    """
    had: Counter[tuple[str, str, bool]] = Counter()
    for case in earlier:
        had |= Counter((s.at, s.channel, s.lit) for s in _starts_of(case) if s.at)
    left, old = _since(starts, had)
    placed = []
    for number, case in enumerate(earlier):
        if not _changed(case) or not case.told:
            continue
        # They are told oldest first, so what stands before a dated one without a date was made before it as well.
        dated = [i for i, s in enumerate(left, start=1) if _DATED.match(s.at) and s.at[:10] < case.closed[:10]]
        if dated:
            earlier[number] = _with_starts(case, (*left[: dated[-1]], *_starts_of(case)))
            placed.append((case.case, dated[-1]))
            left = left[dated[-1] :]
    return left, old, tuple(placed)


def _since(starts: Iterable[Start], had: Counter[tuple[str, str, bool]]) -> tuple[tuple[Start, ...], tuple[Start, ...]]:
    """Return the starts that are new, with a gap where others stood between them, and those that were had before."""
    new, old = list[Start](), list[Start]()
    between = False
    for start in starts:
        if had[start.at, start.channel, start.lit] > 0:
            had[start.at, start.channel, start.lit] -= 1
            old.append(start)
            between = bool(new)
        else:
            new.append(replace(start, gap=True) if between else start)
            between = False
    return tuple(new), tuple(old)


def _changed(case: Earlier) -> bool:
    return any(item.kind != "answer" for item in case.evidence)


def _starts_of(case: Earlier) -> tuple[Start, ...]:
    return Intake.from_dict(case.told).starts if case.told.get("starts") else ()


def _with_starts(case: Earlier, starts: tuple[Start, ...]) -> Earlier:
    if all(_DATED.match(s.at) for s in starts):
        starts = tuple(sorted(starts, key=lambda s: s.at))
    return replace(case, told={**case.told, "starts": [s.as_dict() for s in starts]})


def _parted(items: Iterable[_T], key: Callable[[_T], Any], had: Counter[Any]) -> tuple[tuple[_T, ...], tuple[_T, ...]]:
    """Return the items that are new and those that were had before; ``had`` counts down."""
    new, old = [], []
    for item in items:
        if had[key(item)] > 0:
            had[key(item)] -= 1
            old.append(item)
        else:
            new.append(item)
    return tuple(new), tuple(old)


def known(fitted: Fitted, case: Earlier) -> tuple[Intake | None, tuple[Evidence, ...], tuple[str, ...]]:
    """Return what of an earlier case the knowledge knows today: its intake, its evidence; and what it does not.

    The intake is None where its complaint is not known any more. Raises BadIntake where it cannot be read.
    """
    lost: list[str] = []
    evidence = []
    for item in case.evidence:
        check = fitted.checks.get(item.key)
        if item.kind == "answer" and (check is None or item.outcome not in check.outcomes):
            lost.append(f"{item.key}: {item.outcome}")
        elif (item.kind == "repair" and item.key not in fitted.repairs) or (
            item.kind == "swap" and not known_swap(fitted, item.key)
        ):
            lost.append(item.key)
        else:
            evidence.append(item)
    intake = Intake.from_dict(case.told) if case.told else None
    if intake is None or intake.complaint not in fitted.complaints:
        return None, tuple(evidence), (*([] if intake is None else [intake.complaint]), *lost)
    letters = {*fitted.channels, UNKNOWN, BOTH}

    def there(seen: Seen) -> bool:
        return seen.sign in fitted.signs and seen.channel in ("", *fitted.channels)

    lost += [s.sign for s in intake.signs if not there(s)]
    lost += [w.key for w in intake.done if w.key not in fitted.repairs]
    lost += [s.key for s in intake.swaps if not known_swap(fitted, s.key)]
    lost += [f"start on {s.channel}" for s in intake.starts if s.channel not in letters]
    intake = replace(
        intake,
        channel=intake.channel if intake.channel in fitted.channels else "",
        signs=tuple(s for s in intake.signs if there(s)),
        done=tuple(w for w in intake.done if w.key in fitted.repairs),
        starts=tuple(s for s in intake.starts if s.channel in letters),
        swaps=tuple(s for s in intake.swaps if known_swap(fitted, s.key)),
        # How old a part is belongs to the time at which it is told.
        ages=(),
    )
    return intake, tuple(evidence), tuple(lost)


# -- looking back ----------------------------------------------------------------------------------


def before(model: Model, intake: Intake, evidence: Sequence[Evidence], position: int, zone: str) -> NDArray[np.float64]:
    """Return P(zone's state just before evidence[position] | all the evidence), by filtering once for each state."""
    first, then = (_unasked(model, intake, some) for some in (evidence[:position], evidence[position:]))
    reached = through(told_belief(model, intake, _answered(evidence)), first)
    chances = reached.zone(zone)
    logs = np.full(len(chances), -np.inf)
    for i, chance in enumerate(chances):
        if chance <= 0:
            continue
        mask = np.zeros(len(chances))
        mask[i] = 1.0
        belief = reached.weighed(model.along(zone, mask))
        start = belief.log_evidence
        for item in then:
            belief = _taken(belief, item)
        logs[i] = log(chance) + belief.log_evidence - start
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def joint_before(
    model: Model,
    intake: Intake,
    evidence: Sequence[Evidence],
    position: int,
    given: tuple[int, NDArray[np.float64]] | None = None,
) -> tuple[NDArray[np.float64], float]:
    """Return P(every zone's state just before evidence[position] | all the evidence), and log P(all the evidence).

    As :func:`before` for all zones together, in one pass forward and one back. ``position`` may be the length of the
    evidence: then it is what is believed now. ``given``: (index, weight) of one thing more that was seen just before
    evidence[index], at ``position`` or later, as its likelihood over the joint.
    """
    asked = _known_better(model, intake)
    reached = _worked_on(
        told_belief(model, intake, _answered(evidence)), _unasked(model, intake, evidence[:position])
    )
    bare = np.ones([1] * reached.joint.ndim)
    steps: list[NDArray[np.float64] | Evidence] = []
    light = replace(reached, joint=bare)
    for index, item in enumerate(evidence[position:], start=position):
        if given is not None and index == given[0]:
            steps.append(given[1])
        if item.kind == "answer":
            if item.key in asked:
                continue
            light = _taken(light, item)
            steps.append(light.joint)
            light = replace(light, joint=bare)
        else:
            steps.append(item)
            light = light.changed(bare, _touched(model, item))
    weight = bare
    for step in reversed(steps):
        weight = _back(model, weight, step) if isinstance(step, Evidence) else weight * step
    joint = reached.joint * weight
    total = float(joint.sum())
    return joint / total, light.log_evidence + log(total)


def _worked_on(belief: Belief, evidence: Sequence[Evidence]) -> Belief:
    """Return the belief after more evidence, as :func:`through`, gone through the joint once for each shape."""
    light_evidence = belief.log_evidence
    bare = np.ones([1] * belief.joint.ndim)
    gathered: dict[tuple[int, ...], NDArray[np.float64]] = {}
    light = replace(belief, joint=bare)

    def taken(joint: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
        for shape in sorted(gathered, key=lambda s: (prod(s), s)):
            joint = joint * gathered[shape]
        gathered.clear()
        total = float(joint.sum())
        return joint / total, log(total)

    joint, logs = belief.joint, light_evidence
    for item in evidence:
        if item.kind == "answer":
            light = _taken(light, item)
            shape = light.joint.shape
            gathered[shape] = light.joint * gathered.get(shape, 1.0)
        else:
            joint, more = taken(joint)
            logs += more
            had = light.log_evidence
            light = replace(_taken(replace(light, joint=joint), item), log_evidence=had)
            joint = light.joint
        light = replace(light, joint=bare)
    joint, more = taken(joint)
    return replace(light, joint=joint, log_evidence=logs + more + light.log_evidence - light_evidence)


def _touched(model: Model, item: Evidence) -> frozenset[str]:
    """Return the zones that a repair, or parts that changed places, may have changed."""
    if item.kind == "repair":
        fit = model.fitted.repair(item.key)
        return frozenset({*fit.clears, *fit.disturbs})
    part, one, other = swap.read(item.key)
    return frozenset(zone for channel in (one, other) for zone in swap.zones(model, part, channel))


def _back(model: Model, weight: NDArray[np.float64], item: Evidence) -> NDArray[np.float64]:
    """Return P(what was seen since | joint before a repair or a swap) from P(it | joint after)."""
    if item.kind == "swap":
        return swap.back(model, weight, *swap.read(item.key))
    fit = model.fitted.repair(item.key)
    for zone in _touched(model, item):
        axis = model.axis[zone]
        if weight.shape[axis] > 1:
            table = model.transition(fit, zone)
            weight = np.moveaxis(np.tensordot(weight, table, axes=(axis, 1)), -1, axis)
    return weight


def _taken(belief: Belief, item: Evidence) -> Belief:
    if item.kind == "repair":
        return belief.repair(item.key)
    if item.kind == "swap":
        return belief.swapped(*swap.read(item.key))
    return belief.answer(item.key, item.outcome, item.condition, item.strength, item.occasion)

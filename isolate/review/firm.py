"""How firm a verdict is: which single answer, likelihood or prior, if it were wrong and by how much, would change it.

The verdict is what the end names as put right, judged as the end judges it: what was at fault just before the repair,
by all the answers, those after the repair among them. Without such an end it is the leading suspect as things stand.
It is changed where a fault that was less probable becomes more probable, or where its own place is more probably good.
What would change the repair goes first, and is searched for by itself: a fault that the verdict's repair puts right as
well is the same part off the aircraft.

Nothing here is an estimate in the end. An answer is put in its place, or left out, and all is believed anew. Of a
figure, what it can do at the utmost is worked with altered knowledge (:mod:`isolate.review.altered`). What is known
is linear in a figure that one answer draws on, so the factor at which the verdict changes follows from two points; it
is then worked again a little below and a little above, and searched for by halving where it does not bite there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import exp, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from isolate.case import believed
from isolate.case.believed import joint_before, told_belief
from isolate.case.case import CaseState, Evidence, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.kb.fit import Fitted, instance, split
from isolate.kb.model import HEALTHY, Condition
from isolate.kb.shown import plain
from isolate.reasoning.belief import Belief, Model
from isolate.review.altered import (
    Figure,
    Likelihood,
    Prior,
    altered,
    bounds,
    checks_of,
    figures_of,
    in_words,
    mode_in_words,
    small,
    value_of,
    zones_of,
)
from isolate.review.shapes import Firm, Weak, WeakRow
from isolate.review.story import share

LARGEST = 100.0
"""A figure that would have to be more wrong than this, either way, is not told."""
MOST = 10
"""So many answers and so many figures are told, at most."""
FEW = 5
"""So many of each are told, at most, that leave the repair as it is."""
LIKE = 1.1
"""Figures of one state whose factors are within this of the first are told in one line."""
REREAD = (
    "All of this rereads the same answers. What if (review CASE --what-if) works the case anew from the change instead "
    "and supposes what was not asked, so it may come to another end."
)
ALIKE = 3
"""So many figures of one state, made larger or made smaller, are told: they mostly do so at much the same factor."""
SHARED = 0.7
"""So much of what a figure does to verdict and rival alike is counted on before it is worked."""
SLACK = 0.02
"""So much of the verdict's own probability a figure made smaller may miss by, and is worked all the same."""
LEVEL = 0.1
"""A rival that is short of what stands for the verdict by this share of it is counted as level: what a figure gives up
goes to others, a little."""
RARE = 1e-4
"""A state rarer than this at the end is taken to have no part in answers after the verdict's repair."""
EDGE = 1.01
"""A factor is told where the verdict stands this much short of it and is changed this much beyond."""
SEARCH = 24
"""Tries to find a factor; one that one answer draws on is found at the first."""

Chances = dict[str, NDArray[np.float64]]
"""Zone → probability of each of its states."""


class Place(NamedTuple):
    """A zone's state: a fault mode, or that nothing is wrong there."""

    zone: str
    at: int


@dataclass(frozen=True)
class Outlook:
    """What is believed at the moment of the verdict. ``logs``: log P(all the evidence).

    ``belief``: None where the joint is not kept.
    """

    chances: Chances
    logs: float
    belief: Belief | None
    kept: dict[str, Mapping[str, NDArray[np.float64]]] = field(default_factory=dict)

    def of(self, place: Place) -> float:
        return float(self.chances[place.zone][place.at])

    def within(self, place: Place) -> Chances:
        """Return P(each zone's states, and this zone in this state)."""
        return {zone: table[place.at] for zone, table in self.pairs(place.zone).items()}

    def pairs(self, zone: str) -> Mapping[str, NDArray[np.float64]]:
        """Return P(this zone's state, each zone's state), shape (states of this, states of each)."""
        if zone not in self.kept:
            assert self.belief is not None
            model, joint = self.belief.model, self.belief.joint
            first = np.moveaxis(joint, model.axis[zone], 0)
            rest = [z for z in model.zones if z != zone]
            found = {zone: np.diag(self.chances[zone])}
            for i, other in enumerate(rest):
                found[other] = first.sum(axis=tuple(k + 1 for k in range(len(rest)) if k != i))
            self.kept[zone] = found
        return self.kept[zone]


@dataclass(frozen=True)
class Case:
    """A case as far as its belief goes, and the moment at which it is judged: before ``evidence[position]``."""

    kit: Kit
    state: CaseState
    evidence: tuple[Evidence, ...]
    position: int

    def outlook(self, model: Model | None = None, given: tuple[int, NDArray[np.float64]] | None = None) -> Outlook:
        """Return what is believed at that moment, by another model if there is one; ``given``: see joint_before."""
        model = model or self.kit.model
        assert self.state.intake is not None
        joint, logs = joint_before(model, self.state.intake, self.evidence, self.position, given)
        belief = replace(Belief.before(model), joint=joint)
        return Outlook({zone: belief.zone(zone) for zone in model.zones}, logs, belief)

    def with_answer(self, index: int, outcome: str | None) -> Case:
        """Return the case with another outcome of an answer, or without it."""
        if outcome is None:
            rest = (*self.evidence[:index], *self.evidence[index + 1 :])
            return replace(self, evidence=rest, position=self.position - (index < self.position))
        changed = replace(self.evidence[index], outcome=outcome)
        return replace(self, evidence=(*self.evidence[:index], changed, *self.evidence[index + 1 :]))


@dataclass(frozen=True)
class Verdict:
    """What leads, and what might: the faults that were less probable, and its own place with nothing wrong.

    ``kin``: faults that stand for the verdict as well, as what its repair puts right does. ``beside``: those that must
    not be more probable still than a rival that is told.
    """

    place: Place
    rivals: tuple[Place, ...]
    kin: tuple[Place, ...] = ()
    beside: tuple[Place, ...] = ()

    @property
    def stands(self) -> tuple[Place, ...]:
        return (self.place, *self.kin)

    def changed(self, outlook: Outlook) -> Place | None:
        """Return what is more probable than the verdict now, the most probable of it; None where it stands."""
        best = max(self.rivals, key=lambda r: (outlook.of(r), r), default=None)
        return best if best is not None and outlook.of(best) > max(map(outlook.of, self.stands)) else None

    def about_repair(self, kin: Collection[Place]) -> Verdict:
        """Return the verdict on the repair: what it puts right stands for it, and the rest are rivals."""
        return Verdict(self.place, tuple(r for r in self.rivals if r not in kin), tuple(sorted(kin)))

    def within(self, kin: Collection[Place]) -> Verdict:
        """Return the verdict on the fault among those that the same repair puts right."""
        rivals = tuple(r for r in self.rivals if r in kin)
        return Verdict(self.place, rivals, beside=tuple(r for r in self.rivals if r not in kin))


@dataclass(frozen=True)
class Judged:
    """A case with its verdict. ``repair``: that of the verdict, empty where no repair puts it right."""

    case: Case
    outlook: Outlook
    verdict: Verdict
    repair: str
    ended: bool
    others: tuple[str, ...]

    def kin(self) -> frozenset[Place]:
        """Return the other faults that the verdict's repair puts right."""
        fitted = self.case.kit.fitted
        fit = fitted.repairs.get(self.repair)
        found = fit.clears.items() if fit is not None else ()
        places = {Place(z, fitted.zones[z].states.index(s)) for z, states in found for s in states}
        return frozenset(places - {self.verdict.place})


@dataclass(frozen=True)
class Turn:
    """A figure with the factor at which the verdict changes, and what leads beyond it, with its chance there."""

    figure: Figure
    factor: float
    to: Place
    chance: float


def firm(kit: Kit, events: Sequence[Event]) -> Firm | None:
    """Return how firm the verdict of a case is; None where there are neither answers nor a verdict.

    ``kit``: of the knowledge that it is judged by. Names of the trail which that does not have are left out, and said.
    Raises BadIntake where the events do not begin with a usable opening.
    """
    notes: list[str] = []
    judged = _judged(kit, events, notes)
    if judged is None:
        return None
    case, outlook, verdict, place = judged.case, judged.outlook, judged.verdict, judged.verdict.place
    notes += _about(kit.fitted, outlook, place, judged.ended, judged.others)
    words = _Words(kit.fitted, place)
    kin = judged.kin()
    answers = sorted(_answers(case, verdict, words, kin), key=lambda w: (w.same_repair, -w.chance, w.seq, w.other))
    other, same = ([w for w in answers if w.same_repair == kept] for kept in (False, True))
    guessing = _Guessing(case, outlook)
    about_repair, within = verdict.about_repair(kin), verdict.within(kin)
    turns, more = _turns(guessing, about_repair) if about_repair.rivals else ([], False)
    alike, _ = _turns(guessing, within, FEW) if within.rivals else ([], False)
    notes += _counted(len(other), len(turns), more, bool(kin))
    parts = (
        (other[:MOST], [words.figure(turn, case, False) for turn in turns]),
        (same[:FEW], [words.figure(turn, case, True) for turn in alike]),
    )
    weak: list[Weak] = []
    rows: list[WeakRow] = []
    for read, figures in parts:
        rows += _rows(read, figures, len(weak))
        weak += [*read, *(figure.weak for figure in figures)]
    second = max(verdict.rivals, key=lambda r: (outlook.of(r), r), default=None)
    return Firm(
        verdict=words.mode(place),
        title=words.title(place),
        chance=outlook.of(place),
        second="" if second is None else words.mode(second),
        second_title="" if second is None else words.title(second),
        odds=0.0 if second is None else outlook.of(place) / max(outlook.of(second), 1e-300),
        weak=tuple(weak),
        notes=(*notes, REREAD),
        repair=judged.repair,
        repair_title=kit.fitted.repairs[judged.repair].title if judged.repair else "",
        rows=tuple(rows),
    )


def _judged(kit: Kit, events: Sequence[Event], notes: list[str]) -> Judged | None:
    """Return a case with its verdict; None where there are neither answers nor a verdict. What is left out is noted."""
    state = fold(events)
    if state.intake is None or state.intake.complaint not in kit.fitted.complaints:
        return None
    evidence = _known(kit.fitted, state.evidence, notes)
    named, others = _named(kit.fitted, events, evidence)
    if named is None and not any(item.kind == "answer" for item in evidence):
        return None
    case = Case(kit, state, evidence, len(evidence) if named is None else named[1])
    outlook = case.outlook()
    place = _leading(kit.fitted, outlook) if named is None else named[0]
    repair = _repair_of(kit.fitted, place) if named is None else named[2]
    return Judged(case, outlook, Verdict(place, _rivals(kit.fitted, outlook, place)), repair, named is not None, others)


def _repair_of(fitted: Fitted, place: Place) -> str:
    """Return the cheapest repair that puts a fault right; empty where none does."""
    state = fitted.zones[place.zone].states[place.at]
    able = [fit for fit in fitted.repairs.values() if state in fit.clears.get(place.zone, ())]
    best = min(able, key=lambda fit: (fit.entry.minutes + fit.entry.parts, fit.key), default=None)
    return "" if best is None else best.key


def reread(kit: Kit, events: Sequence[Event], other: Kit, outcomes: Mapping[int, str]) -> str:
    """Return in a sentence what would lead with the same answers, but for some that are others, by altered knowledge.

    ``other``: the kit of the altered knowledge, which has the same names; ``outcomes``: seq of an answer → the other
    outcome, empty for could not tell. As :func:`firm` judges it; empty where that judges nothing.
    """
    judged = _judged(kit, events, [])
    if judged is None:
        return ""
    state = fold([replace(e, body={**e.body, "outcome": outcomes[e.seq]}) if e.seq in outcomes else e for e in events])
    evidence = _known(kit.fitted, state.evidence, [])
    case = judged.case
    seq = case.evidence[case.position].seq if case.position < len(case.evidence) else None
    position = next((i for i, item in enumerate(evidence) if item.seq == seq), len(evidence))
    outlook = Case(other, state, evidence, position).outlook()
    place = judged.verdict.place
    words, was, now = _Words(kit.fitted, place), judged.outlook.of(place), outlook.of(place)
    to = judged.verdict.changed(outlook)
    title = small(words.title(place))
    if to is None:
        return f"With the same answers, the verdict would stand: {title} ({share(now)}; it was {share(was)})."
    part = " It is the same part, and the same repair." if to in judged.kin() else ""
    return f"With the same answers, {words.then(to, outlook.of(to))}, not {title} ({share(now)}).{part}"


def runner_up(kit: Kit, events: Sequence[Event]) -> str | None:
    """Return the fault that comes next to the verdict of :func:`firm`; None where there is no verdict, or no next."""
    judged = _judged(kit, events, [])
    if judged is None:
        return None
    faults = [rival for rival in judged.verdict.rivals if rival.at]
    best = max(faults, key=lambda r: (judged.outlook.of(r), r), default=None)
    return None if best is None else _Words(kit.fitted, judged.verdict.place).mode(best)


# -- what the verdict is ---------------------------------------------------------------------------


def _known(fitted: Fitted, evidence: Sequence[Evidence], notes: list[str]) -> tuple[Evidence, ...]:
    """Return the evidence whose names the knowledge has; what it has not is noted."""
    from isolate.case.swaps import known as known_swap

    found: list[Evidence] = []
    lost: list[Evidence] = []
    for item in evidence:
        if item.kind == "answer":
            there = item.key in fitted.checks and item.outcome in fitted.checks[item.key].outcomes
        else:
            there = item.key in fitted.repairs if item.kind == "repair" else known_swap(fitted, item.key)
        (found if there else lost).append(item)
    if lost:
        names = ", ".join(dict.fromkeys(plain(item.key) for item in lost))
        notes.append(f"Left out, since the knowledge here does not have it: {names}.")
    return tuple(found)


def _named(
    fitted: Fitted, events: Sequence[Event], evidence: Sequence[Evidence]
) -> tuple[tuple[Place, int, str] | None, tuple[str, ...]]:
    """Return the fault that the end names, with the position and key of its repair, and the titles of others it names.

    Of several the most probable.
    """
    end = next((e for e in reversed(events) if e.kind == "closed"), None)
    found = [f for f in (end.body.get("found", []) if end is not None else []) if isinstance(f, dict)]
    done = [(i, item.key) for i, item in enumerate(evidence) if item.kind == "repair"]
    named: list[tuple[float, Place, int, str]] = []
    for entry in found:
        mode, repair = str(entry.get("mode", "")), str(entry.get("repair", ""))
        zone = fitted.mode_zone.get(mode)
        at = next((i for i, key in done if key == repair), None)
        if at is not None and any(f is not entry and f.get("repair") == repair for f in found[: found.index(entry)]):
            # Done twice: each time is named in its turn.
            turn = sum(f.get("repair") == repair and _zone_of(fitted, f) == zone for f in found[: found.index(entry)])
            times = [i for i, key in done if key == repair]
            at = times[min(turn, len(times) - 1)]
        if zone is None or (at is None and repair not in fitted.repairs):
            continue
        place = Place(zone, fitted.zones[zone].states.index(split(mode)[0]))
        repair = repair if repair in fitted.repairs else ""
        named.append((float(entry.get("probability", 0)), place, len(evidence) if at is None else at, repair))
    if not named:
        return None, ()
    _, place, position, repair = max(named, key=lambda n: n[0])
    others = (fitted.zones[p.zone].title_of(fitted.zones[p.zone].states[p.at]) for _, p, *_ in named if p != place)
    return (place, position, repair), tuple(dict.fromkeys(others))


def _zone_of(fitted: Fitted, entry: dict[str, object]) -> str | None:
    mode = str(entry.get("mode", ""))
    name, channel = split(mode)
    if name != HEALTHY:
        return fitted.mode_zone.get(mode)
    return next((key for key, zone in fitted.zones.items() if zone.channel == channel), None)


def _leading(fitted: Fitted, outlook: Outlook) -> Place:
    return max(_faults(fitted), key=lambda p: (outlook.of(p), p))


def _faults(fitted: Fitted) -> Iterator[Place]:
    for key, zone in fitted.zones.items():
        for at in range(1, len(zone.states)):
            yield Place(key, at)


def _rivals(fitted: Fitted, outlook: Outlook, place: Place) -> tuple[Place, ...]:
    found = [*_faults(fitted), Place(place.zone, 0)]
    return tuple(p for p in found if p != place and outlook.of(p) <= outlook.of(place))


def _about(fitted: Fitted, outlook: Outlook, place: Place, ended: bool, others: Sequence[str]) -> Iterator[str]:
    """Yield what has to be known of the verdict that is judged."""
    titles = {p: fitted.zones[p.zone].title_of(fitted.zones[p.zone].states[p.at]) for p in _faults(fitted)}
    if not ended:
        yield "The case names no fault as put right: this is about the leading suspect as things stand."
    elif others:
        yield f"The end names {len(others) + 1} faults; this is about the most probable. Besides: {'; '.join(others)}."
    likelier = [p for p in _faults(fitted) if titles[p] not in others]
    if ended:
        likelier.append(Place(place.zone, 0))
        titles[likelier[-1]] = fitted.zones[place.zone].title_of(HEALTHY)
    above = [p for p in likelier if outlook.of(p) > outlook.of(place)]
    if above:
        best = max(above, key=lambda p: (outlook.of(p), p))
        yield (
            f"By the knowledge here “{titles[best]}” was more probable than the verdict ({share(outlook.of(best))}); "
            "what would put yet another before it is told."
        )


def _counted(answers: int, figures: int, alike: bool, kin: bool) -> Iterator[str]:
    """Yield what was tried and how much of it is told; where there is nothing at all, whoever shows it says so."""
    what = "the repair" if kin else "it"
    if not answers and figures:
        yield f"No single answer, had it been another or none, would change {what}."
    if answers > MOST:
        yield f"{answers - MOST} more answers read otherwise would change {what}; those are told that change it most."
    if not figures and answers:
        yield f"No single figure of the knowledge, {LARGEST:.0f} times larger or smaller, would change {what}."
    if alike or figures == MOST:
        yield (
            f"More figures would change {what}, each as far off as those told or further; of one fault no more than "
            f"{ALIKE} are told."
        )
    yield (
        "Tried one at a time: each answer of this case, the likelihoods that the answers draw on, the priors. Left as "
        "they are: how often a fault shows, how parts wear, how well starts light, what repairs clear."
    )


# -- answers ---------------------------------------------------------------------------------------


def _answers(case: Case, verdict: Verdict, words: _Words, kin: Collection[Place]) -> Iterator[Weak]:
    for index, item in enumerate(case.evidence):
        if item.kind != "answer":
            continue
        for outcome in (*case.kit.fitted.check(item.key).outcomes, None):
            if outcome == item.outcome:
                continue
            outlook = case.with_answer(index, outcome).outlook()
            to = verdict.changed(outlook)
            if to is not None:
                yield words.answer(item, outcome, to, outlook.of(to), to in kin)


# -- figures ---------------------------------------------------------------------------------------


def _turns(guessing: _Guessing, verdict: Verdict, most: int = MOST) -> tuple[list[Turn], bool]:
    """Return the figures that would change the verdict, the least change first, each worked and confirmed.

    At most ``most``, and :data:`ALIKE` of one state and direction; and whether there were more of one kind. They
    are worked in the order of what they might do at best, until none that is left can come before those found.
    """
    case, outlook = guessing.case, guessing.outlook
    found: list[Turn] = []
    kinds: Counter[tuple[str, bool]] = Counter()
    more = False
    for least, figure, limit in guessing.of(verdict):
        if len(found) == most and least >= abs(log(found[-1].factor)):
            break
        kind = (kind_of(figure), limit > 1)
        if kinds[kind] == ALIKE:
            more = True
            continue
        if len(found) == most:
            # Only one that comes before the last of those found is worth the search.
            worst = abs(log(found[-1].factor))
            limit = min(limit, exp(worst)) if limit > 1 else max(limit, exp(-worst))
        far = guessing.worked(figure, limit) if abs(log(limit)) >= log(EDGE) else outlook
        turn = _turn(case, verdict, outlook, figure, limit, far)
        if turn is not None:
            kinds[kind] += 1
            found = sorted([*found, turn], key=lambda t: abs(log(t.factor)))[:most]
    return found, more


def kind_of(figure: Figure) -> str:
    """Return the state that a figure is about, which others are about as well."""
    return figure.mode if isinstance(figure, Prior) else f"{figure.zone}:{figure.state}"


def _turn(
    case: Case, verdict: Verdict, outlook: Outlook, figure: Figure, limit: float, far: Outlook | None = None
) -> Turn | None:
    """Return where between one and ``limit`` times the figure the verdict changes; None where it stands all the way.

    ``far``: the outlook at the limit, where it is known.
    """
    if abs(log(limit)) < log(EDGE):
        return None
    far = far or _worked(case, figure, limit)
    if verdict.changed(far) is None:
        return None
    step = EDGE if limit > 1 else 1 / EDGE
    # Masses, not shares: those are linear in a figure that one answer draws on, and nearly so in any.
    stands, falls = (1.0, _behind(verdict, outlook, outlook)), (limit, _behind(verdict, far, outlook))
    for tries in range(SEARCH):
        (near, low), (off, high) = stands, falls
        factor = near + (off - near) * low / (low - high) if tries % 3 < 2 else (near * off) ** 0.5
        beyond = min(factor * step, limit) if limit > 1 else max(factor * step, limit)
        after = _worked(case, figure, beyond)
        to = verdict.changed(after)
        if to is None:
            stands = beyond, _behind(verdict, after, outlook)
            continue
        before = _worked(case, figure, factor / step)
        if verdict.changed(before) is None:
            beside = max(map(after.of, verdict.beside), default=0.0)
            return Turn(figure, factor, to, after.of(to)) if after.of(to) >= beside else None
        falls = factor / step, _behind(verdict, before, outlook)
    return None


def _behind(verdict: Verdict, outlook: Outlook, first: Outlook) -> float:
    """Return how far the best rival is ahead of the verdict, below zero where it is not, as masses beside the first."""
    best = max(outlook.of(rival) for rival in verdict.rivals)
    return exp(min(500.0, outlook.logs - first.logs)) * (best - max(map(outlook.of, verdict.stands)))


def _worked(case: Case, figure: Figure, factor: float) -> Outlook:
    """Return the outlook with a figure so many times as large: the case worked with altered knowledge."""
    fitted = case.kit.fitted
    changed = altered(fitted, figure, factor * value_of(fitted, figure))
    checks = checks_of(fitted, figure) if isinstance(figure, Likelihood) else ()
    return case.outlook(believed.altered(case.kit.model, changed, checks))


@dataclass(frozen=True)
class _Guess:
    """A figure that may have a part in a verdict. ``part``: of each state, as in :meth:`_Guessing.flat`.

    ``often``: how many times it counts; ``limits``: how small and how large it can be beside what it is; ``other``: it
    is another outcome of its check that was had, which gives what this one takes.
    """

    figure: Figure
    part: NDArray[np.float64]
    often: int
    limits: tuple[float, float]
    shared: float
    other: tuple[float, float] | None = None


class _Guessing:
    """Guesses what might change a verdict; what does not hang on the verdict is worked once for several."""

    def __init__(self, case: Case, outlook: Outlook) -> None:
        self.case, self.outlook = case, outlook
        self._first: dict[str, int] = {}
        for zone, chances in outlook.chances.items():
            self._first[zone] = sum(len(outlook.chances[z]) for z in self._first)
            assert len(chances) == len(case.kit.fitted.zones[zone].states)
        self._had: dict[tuple[Figure, float], Outlook] = {}
        self._all = list(self._guesses())

    def flat(self, chances: Chances) -> NDArray[np.float64]:
        """Return the chances of all zones' states, one zone after the other."""
        return np.concatenate([chances[zone] for zone in self._first])

    def at(self, places: Sequence[Place]) -> list[int]:
        return [self._first[place.zone] + place.at for place in places]

    def worked(self, figure: Figure, factor: float) -> Outlook:
        """Return the outlook with a figure at a limit of it, which several verdicts ask for; without its joint."""
        if (figure, factor) not in self._had:
            self._had[figure, factor] = replace(_worked(self.case, figure, factor), belief=None)
        return self._had[figure, factor]

    def of(self, verdict: Verdict) -> list[tuple[float, Figure, float]]:
        """Return the figures that might change it, with the logarithm of the least factor that could, and a limit.

        The limit is how many times as large, or as small, the figure can be. A figure of a state made F times as large
        makes what is believed of that state at most F times as large: exactly so where the answer is about one zone and
        the fault always shows, less otherwise. So the factor that would change the verdict then is about the least that
        could.
        """
        chances = self.flat(self.outlook.chances)
        stands, rivals = self.at(verdict.stands), self.at(verdict.rivals)
        gap = chances[stands][:, None] - chances[rivals][None, :]
        # Of what stands for the verdict besides, what is behind a rival, or as good as, is no hindrance to it.
        behind = gap <= LEVEL * chances[stands][:, None]
        behind[0] = False
        found: list[tuple[float, Figure, float]] = []
        for guess in self._all:
            for least, limit in _least(guess, gap, behind, guess.part[stands], guess.part[rivals]):
                if guess.other is None:
                    found.append((least, guess.figure, limit))
                else:
                    found.append((0.0, guess.figure, guess.other[1] if limit < 1 else guess.other[0]))
        return sorted(found, key=lambda g: (g[0], abs(g[2]), str(g[1])))

    def _guesses(self) -> Iterator[_Guess]:
        fitted, intake, outlook = self.case.kit.fitted, self.case.state.intake, self.outlook
        assert intake is not None
        asked, taken = _asked(self.case), _Parts(self.case, outlook)
        earlier = [{split(item.key)[0] for item in had.evidence if item.kind == "answer"} for had in intake.earlier]
        for figure in figures_of(fitted, {key: [outcome for outcome, *_ in had] for key, had in asked.items()}):
            uses = [
                (zone, use)
                for key in checks_of(fitted, figure)
                for use in asked.get(key, ())
                for zone in zones_of(fitted, fitted.checks[key], figure)
            ]
            check = fitted.checks[checks_of(fitted, figure)[0]]
            # What two answers draw on counts for each of them, those of earlier cases among them.
            again = 1 + sum(figure.check in had for had in earlier)
            # Where other zones or a fault's sleep have a say too, verdict and rival may be moved quite unlike.
            shared = SHARED if len(check.given) == 1 and not check.functional else 0.0
            value, limits = value_of(fitted, figure), _limits(fitted, figure)
            swing = ((1 - limits[1] * value) / (1 - value), (1 - limits[0] * value) / (1 - value))
            for own in (True, False):
                parts = [
                    self.flat(taken.of(zone, figure, use))
                    for zone, use in uses
                    if (use.outcome == figure.outcome) == own
                ]
                if parts:
                    part, often = np.max(parts, axis=0), len(parts) * again
                    # Another outcome of the same check gives what this one takes.
                    yield _Guess(figure, part, often, limits if own else swing, shared, None if own else limits)
        for mode in dict.fromkeys(state for zone in fitted.zones.values() for state in zone.states[1:]):
            zones = [Place(key, zone.states.index(mode)) for key, zone in fitted.zones.items() if mode in zone.states]
            part = np.max([self.flat(outlook.within(place)) for place in zones], axis=0)
            often = len(zones) * (1 + len(intake.earlier))
            yield _Guess(Prior(mode), part, often, _limits(fitted, Prior(mode)), SHARED)


def _limits(fitted: Fitted, figure: Figure) -> tuple[float, float]:
    value, (least, most) = value_of(fitted, figure), bounds(fitted, figure)
    return min(1.0, max(1 / LARGEST, least / value)), max(1.0, min(LARGEST, most / value))


class _Parts:
    """How much of what is believed at the moment of the verdict a zone's state has part in, at one answer."""

    def __init__(self, case: Case, outlook: Outlook) -> None:
        self.case, self.outlook = case, outlook
        self.now = replace(case, position=len(case.evidence)).outlook()
        self._kept: dict[tuple[int, Place], Chances] = {}

    def of(self, zone: str, figure: Likelihood, use: Use) -> Chances:
        """Return P(each zone's states at the verdict, and the figure had a hand in the answer), as far as it goes."""
        model = self.case.kit.model
        at = model.fitted.zones[zone].states.index(figure.state)
        found = self._within(Place(zone, at), use)
        if figure.state == HEALTHY and model.fitted.check(use.check).functional:
            # A fault that does not show answers as healthy does.
            active = model.active(zone, *model.setting(use.check, use.condition, use.strength))
            for other in np.flatnonzero(active < 1):
                if other != at:
                    hidden = self._within(Place(zone, int(other)), use)
                    found = {key: had + (1 - active[other]) * hidden[key] for key, had in found.items()}
        return found

    def _within(self, place: Place, use: Use) -> Chances:
        if use.number < self.case.position:
            return self.outlook.within(place)
        if float(self.now.chances[place.zone][place.at]) < RARE:
            return {key: np.zeros_like(chances) for key, chances in self.outlook.chances.items()}
        # All answers between two repairs are about one state.
        work = [i for i in range(use.number) if self.case.evidence[i].kind != "answer"]
        since = work[-1] + 1 if work else 0
        if (since, place) not in self._kept:
            states = len(self.outlook.chances[place.zone])
            mask = self.case.kit.model.along(place.zone, np.eye(states)[place.at])
            seen = self.case.outlook(given=(max(since, self.case.position), mask))
            share = exp(min(0.0, seen.logs - self.outlook.logs))
            self._kept[since, place] = {key: share * chances for key, chances in seen.chances.items()}
        return self._kept[since, place]


def _least(
    guess: _Guess,
    gap: NDArray[np.float64],
    behind: NDArray[np.bool_],
    own: NDArray[np.float64],
    its: NDArray[np.float64],
) -> Iterator[tuple[float, float]]:
    """Yield (logarithm of the least factor that could change the verdict, limit), up and down as may be.

    ``gap``: how far each that stands for the verdict is before each rival, (those, rivals); ``behind``: where that is
    no hindrance; ``own``, ``its``: what part the figure has in either.
    """
    down, up = guess.limits
    # Both grow and shrink together as far as both have part in it; the rest is left for what they do not share.
    more = its[None, :] - guess.shared * own[:, None]
    less = own[:, None] - guess.shared * its[None, :]
    grown = np.divide(gap, more, out=np.full_like(gap, np.inf), where=more > 0)
    shrunk = 1 + SLACK - np.divide(gap, less, out=np.full_like(gap, np.inf), where=less > 0)
    # All that stands for the verdict has to come behind: the hardest of it counts.
    best = float(np.where(behind, 0.0, grown).max(axis=0).min())
    left = float(np.where(behind, 1.0, shrunk).min(axis=0).max())
    if 1 + best <= up**guess.often:
        yield log(1 + best) / guess.often, up
    if left > 0 and left >= down**guess.often:
        yield max(0.0, -log(left)) / guess.often, down


class Use(NamedTuple):
    """An answer that was taken in; ``number``: its place in the evidence, below zero for one told at the opening."""

    outcome: str
    check: str
    condition: Condition
    strength: float
    number: int


def _asked(case: Case) -> dict[str, list[Use]]:
    """Return check instance → what it gave, told at the opening or answered."""
    found: dict[str, list[Use]] = {}
    assert case.state.intake is not None
    answered = {item.key for item in case.evidence if item.kind == "answer"}
    for told in told_belief(case.kit.model, case.state.intake, answered).told:
        found.setdefault(told.check, []).append(Use(told.outcome, told.check, told.condition, told.strength, -1))
    for i, item in enumerate(case.evidence):
        if item.kind == "answer":
            use = Use(item.outcome, item.key, item.condition, item.strength, i)
            found.setdefault(item.key, []).append(use)
    return found


# -- in words --------------------------------------------------------------------------------------


class _Words:
    """Puts what would change the verdict into sentences."""

    def __init__(self, fitted: Fitted, place: Place) -> None:
        self.fitted, self.place = fitted, place

    def mode(self, place: Place) -> str:
        zone = self.fitted.zones[place.zone]
        return instance(zone.states[place.at], zone.channel)

    def title(self, place: Place) -> str:
        zone = self.fitted.zones[place.zone]
        return zone.title_of(zone.states[place.at])

    def then(self, to: Place, chance: float) -> str:
        if to.at == 0:
            return f"it would be more likely that nothing was wrong there ({share(chance)})"
        return f"{small(self.title(to))} would lead ({share(chance)})"

    def answer(self, item: Evidence, outcome: str | None, to: Place, chance: float, same: bool) -> Weak:
        check = self.fitted.check(item.key)
        had = small(check.said(item.outcome))
        if outcome is None:
            said = f"Without the answer to “{check.title}” ({had}), {self.then(to, chance)}."
        else:
            read = small(check.said(outcome))
            said = f"If “{check.title}” had read “{read}” in place of “{had}”, {self.then(to, chance)}."
        return Weak(
            what="answer",
            seq=item.seq,
            key=item.key,
            title=check.title,
            state="",
            other=outcome or "",
            factor=None,
            to=self.mode(to),
            to_title=self.title(to),
            chance=chance,
            said=said,
            same_repair=same,
        )

    def figure(self, turn: Turn, case: Case, same: bool) -> _Figured:
        figure, value = turn.figure, value_of(self.fitted, turn.figure)
        figures = f"{_figure(turn.factor * value)}, not {_figure(value)}"
        then = self.then(turn.to, turn.chance)
        if isinstance(figure, Prior):
            state = mode_in_words(self.fitted, figure.mode)
            at, used, key, title, about, other = "", [], figure.mode, state, figure.mode, ""
            said = f"Were “{state}” {_times(turn.factor, 'common')} before any evidence ({figures}), {then}."
        else:
            used = [i for i in case.evidence if split(i.key)[0] == figure.check and i.outcome == figure.outcome]
            keys = dict.fromkeys(i.key for i in used) or dict.fromkeys(checks_of(self.fitted, figure))
            read, title, state = in_words(self.fitted, figure, tuple(keys))
            key, other = figure.check, figure.outcome
            about = f"{figure.zone}:{HEALTHY}" if figure.state == HEALTHY else figure.state
            at = f"“{read}” at “{title}”" + ("" if used else " (told at the opening)")
            said = f"Were {at} {_times(turn.factor, 'probable')} with {state} ({figures}), {then}."
        weak = Weak(
            what="prior" if isinstance(figure, Prior) else "likelihood",
            seq=used[0].seq if used else 0,
            key=key,
            title=title,
            state=about,
            other=other,
            factor=turn.factor,
            to=self.mode(turn.to),
            to_title=self.title(turn.to),
            chance=turn.chance,
            said=said,
            same_repair=same,
            told=not isinstance(figure, Prior) and not used,
        )
        return _Figured(weak, at, state, figures, then)


@dataclass(frozen=True)
class _Figured:
    """A figure that would change the verdict, and its words: ``at`` which answer, with which ``state``, to what."""

    weak: Weak
    at: str
    state: str
    figures: str
    then: str

    @property
    def factor(self) -> float:
        assert self.weak.factor is not None
        return self.weak.factor

    def like(self, other: _Figured) -> bool:
        """Return whether both say the same of one state: as much too large or too small, and the same would lead."""
        apart = self.factor / other.factor
        return (self.state, self.weak.to) == (other.state, other.weak.to) and 1 / LIKE <= apart <= LIKE


def _rows(answers: Sequence[Weak], figures: Sequence[_Figured], since: int) -> Iterator[WeakRow]:
    """Yield what would change the verdict in lines; ``since``: the place of the first answer among all of it."""
    for i, weak in enumerate(answers):
        yield WeakRow(weak.said, weak.same_repair, (since + i,))
    left = list(enumerate(figures, start=since + len(answers)))
    while left:
        first = left[0][1]
        alike = [(i, f) for i, f in left if first.like(f)]
        left = [one for one in left if one not in alike]
        said = _together([f for _, f in alike]) if len(alike) > 1 else first.weak.said
        yield WeakRow(said, first.weak.same_repair, tuple(i for i, _ in alike))


def _together(figures: Sequence[_Figured]) -> str:
    """Return figures of one state, all off by much the same factor, in a sentence."""
    prior = next((f for f in figures if f.weak.what == "prior"), None)
    rest = [f for f in figures if f is not prior]
    first = figures[0]
    often = _times(first.factor, "probable")
    if prior is not None:
        begun = f"Were “{prior.state}” {_times(prior.factor, 'common')} before any evidence ({prior.figures}), or "
        if len(rest) == 1:
            return f"{begun}{rest[0].at} {often} with it ({rest[0].figures}), {first.then}."
        begun += f"any one of these {often} with it"
    else:
        begun = f"Were any one of these {often} with {first.state}"
    return f"{begun}, {first.then}: {'; '.join(f'{f.at} ({f.figures})' for f in rest)}."


def _times(factor: float, what: str) -> str:
    return f"{_round(1 / factor)} times less {what}" if factor < 1 else f"{_round(factor)} times as {what}"


def _round(factor: float) -> str:
    return f"{factor:.2f}" if factor < 2 else f"{factor:.1f}" if factor < 9.95 else f"{factor:.0f}"


def _figure(value: float) -> str:
    return f"{value:.2g}" if value < 0.995 else f"{value:.4g}"

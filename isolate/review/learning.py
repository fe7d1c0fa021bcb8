"""What closed cases with a confirmed cause say of the priors and likelihoods that the knowledge has.

Which cases count, and what they say for certain, is for :mod:`isolate.review.confirmed`. A verdict without the shop's
word does not count, nor does one that the shop did not confirm: the mode is not credited, and what its zone was in is
taken as not known. Drills and trails that are not whole are left out.

*Likelihoods*: each answer is a draw from a row (:mod:`isolate.review.draws`), the row as it stands is worth so many
cases (:data:`WORTH`), and the posterior is worked out in full (:mod:`isolate.review.dirichlet`).

*Priors* are learnt as shares among each other of those of a zone's faults that a shop always gets to see: what the
present figures expect of the complaint, signs and starts told at each opening, against what was confirmed. A prior is
scaled by what its share is scaled by, so that one that wears stays an average over ages. How often a zone is at fault
beside the others is not learnt: what is handed over goes to no shop. So where one is proposed, the others of its zone
are scaled together to what is left, and their shares still come to one.

Proposed is only what lies outside the limits within which the cases have it. What no statistics mend is said with the
result (:data:`NOTES`).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from math import floor, log10
from typing import Any, Literal, Protocol

import numpy as np

from isolate.case.believed import part_states, told_belief
from isolate.case.brief import Brief
from isolate.case.case import Intake
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.kb.fit import Fitted, fit, split
from isolate.kb.load import Loaded
from isolate.kb.model import FLOOR, HEALTHY, Check, Knowledge, Row, Source
from isolate.reasoning.belief import Model
from isolate.review.confirmed import (
    A_DRILL,
    NO_PART,
    NO_WORD,
    NOT_KNOWN,
    NOT_READ,
    NOT_WHOLE,
    Confirmed,
    LeaveOut,
    confirmed,
)
from isolate.review.dirichlet import Share, shares
from isolate.review.draws import Draw, answers, draws
from isolate.review.yaml_change import FINEST, Change, decimals, rounded, written

Path = tuple[str | int, ...]

WORTH = {"low": 10.0, "fair": 20.0, "good": 40.0}
"""Cases that a row of likelihoods is worth as it stands, by how sure its author was of the check: our judgement."""
NOT_OURS = 5.0
"""A row whose sources are none of our own judgement is worth so many times that: our judgement."""
PRIORS_WORTH = 20.0
"""Confirmed cases that the present shares of a zone's faults are worth: our judgement."""
SLIGHT = 0.5
"""A figure that is itself worth fewer cases than this is never said to be too high."""
LEVEL = 0.95
"""The probability with which a figure lies within its limits."""
BY_CHANCE = {"likelihood": 0.016, "prior": 0.032}
"""Share of the rows and priors weighed that stand out where nothing is off: measured, ``tests.bench.learning`` 2."""
NOTES = (
    "Only faults that were found, and that a shop confirmed in the part, are counted. What its answers hid, what tests "
    "good on the bench and what is put right without a part is not among them: answers look truer, and such faults "
    "rarer, than they are.",
    "Not learnt: how often it is this zone rather than another, when a fault shows, wear, and minutes.",
)
BY_THE_END = (
    "Where the shop named no fault, which of the part's faults it was is what the end of the case names, and that goes "
    "by the present figures. On simulated cases that was the wrong fault of the right part in 24 of 100, and the "
    "limits, meant to hold the true figure in 95 of 100, held it in 77 (priors) and 94 (rows); with the right ones "
    "named in 96 and 95. The fault that the shop names is kept with: isolate cases finding CASE --mode FAULT."
)
"""Said where there are such cases: measured, ``tests.bench.learning`` 5."""

Verdict = Literal["change", "nothing new", "too little"]


class Shelf(Protocol):
    """Where cases are found: a store, or anything like it."""

    def briefs(self, *, engine: str, since: str, until: str, ended: bool) -> Iterable[Brief]: ...
    def notes(self) -> Sequence[tuple[str, str]]: ...
    def events(self, case: str) -> tuple[Event, ...]: ...
    def faults(self, case: str) -> Sequence[Any]: ...


@dataclass(frozen=True)
class LeftOut:
    """A closed case that does not count: why, and what of it in particular."""

    case: str
    why: str
    more: str = ""


@dataclass(frozen=True)
class Figure:
    """One figure: as it is, as the cases would have it, and the limits within which it lies.

    ``key``: the outcome, or ``prior``. ``proposed``: the mean as it would be written; ``written``: so, empty where
    nothing is written. ``count``: answers, or confirmed cases; ``expected``: how many the present figures expect.
    ``moves``: the present figure lies outside the limits.
    """

    key: str
    title: str
    present: float
    proposed: float
    written: str
    mean: float
    low: float
    high: float
    count: int
    expected: float
    moves: bool


@dataclass(frozen=True)
class Weighed:
    """A row of likelihoods or a prior, weighed anew.

    ``kind``, ``name``, ``path``: where it stands among the entries; ``title``: what it is about, in words. ``cases``:
    those behind it, in the order they were opened. ``along``: a prior that is written anew only because another of its
    zone is. ``sure``: how many of the draws come from it, by probability, rather
    than from a fault that did not show or from another zone; of a prior, the confirmed. ``worth``: the cases that the
    present figures are worth. ``states``: the states of its cases, with how many are of each. ``notes``: what else it
    holds for.
    """

    what: Literal["likelihood", "prior"]
    said: Verdict
    kind: str
    name: str
    path: Path
    file: str
    line: int
    title: str
    cases: tuple[str, ...]
    figures: tuple[Figure, ...]
    sure: float
    worth: float
    states: tuple[tuple[str, int], ...]
    notes: tuple[str, ...] = ()
    along: bool = False


@dataclass(frozen=True)
class Learnt:
    """What was learnt. ``closed``: cases that ended in the span; ``cases``: those that count, the first opened first.

    ``first``, ``last``: the days on which those were opened. ``again``: the day from which on a case is new once this
    has been applied; empty where none counts. ``lost``: answers whose names the knowledge does not have any more.
    ``by_shop``: cases in which the shop named the fault, where in the others the end of the case did. ``by_chance``:
    how many of the rows and priors weighed would stand out with nothing off.
    """

    closed: int
    cases: tuple[str, ...]
    first: str
    last: str
    again: str
    least: int
    weighed: tuple[Weighed, ...]
    left_out: tuple[LeftOut, ...]
    lost: int = 0
    by_shop: int = 0
    by_chance: float = 0.0
    notes: tuple[str, ...] = NOTES

    @property
    def changes(self) -> tuple[Weighed, ...]:
        """What is proposed, by file and line: what stands out, and the priors that are written anew with it."""
        return tuple(w for w in self.weighed if w.said == "change" or w.along)

    def of(self, said: Verdict) -> int:
        """Return of how many rows and priors that is said."""
        return sum(w.said == said for w in self.weighed)

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


def learn(loaded: Loaded, shelf: Shelf, since: str = "", until: str = "", engine: str = "", least: int = 5) -> Learnt:
    """Return what the cases of a shelf say of the knowledge.

    ``since``, ``until``: days as 2030-01-31 on which a case was opened, or empty. ``least``: cases below which a figure
    is said to rest on too little. Raises StoreError where the shelf itself cannot be read.
    """
    kits = _Kits(loaded.knowledge)
    found: list[Confirmed] = []
    # Whether these would count in the span, or at all, nobody can say.
    left = [LeftOut(case, NOT_READ, note.rstrip(".")) for case, note in shelf.notes()]
    for told in shelf.briefs(engine=engine, since=since, until=until, ended=True):
        try:
            found.append(_taken(kits, shelf, told))
        except LeaveOut as why:
            left.append(LeftOut(told.case, *why.args))
    found.sort(key=lambda case: (case.opened, case.case))
    rows: dict[tuple[str, int], _Row] = {}
    lost = 0
    for case in found:
        model = kits(case.intake.engine).model
        had, unknown = answers(model, case)
        lost += unknown
        for draw in draws(model, case, had):
            place = loaded.extent("checks", draw.check, "given", draw.given, draw.number, "gives")
            assert place is not None
            # One row that several checks have, by an alias, is written once.
            rows.setdefault((place.file, place.start), _Row()).add(draw)
    order = {case.case: number for number, case in enumerate(found)}
    weighed = [_weighed_row(loaded, row, order, least) for row in rows.values()]
    weighed += _priors(loaded, kits, found, least)
    days = [case.opened[:10] for case in found]
    by_shop = sum(case.by_shop == case.causes.keys() for case in found)
    return Learnt(
        closed=len(found) + len(left),
        cases=tuple(order),
        first=min(days, default=""),
        last=max(days, default=""),
        again=(date.fromisoformat(max(days)) + timedelta(days=1)).isoformat() if days else "",
        least=least,
        weighed=tuple(sorted(weighed, key=lambda w: (w.file, w.line, str(w.path)))),
        left_out=tuple(sorted(left, key=lambda one: (one.why, one.case))),
        lost=lost,
        by_shop=by_shop,
        by_chance=round(sum(BY_CHANCE[w.what] for w in weighed if w.said != "too little"), 2),
        notes=(NOTES[0], *([BY_THE_END] if by_shop < len(found) else []), *NOTES[1:]),
    )


class _Kits:
    """The kits of the engines, and the faults of their zones that a shop gets to see, each worked out once."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge, self._made = knowledge, dict[str, Kit]()
        self._shop: dict[tuple[str, str], frozenset[str]] = {}

    def __call__(self, engine: str) -> Kit:
        if engine not in self._made:
            self._made[engine] = Kit(fit(self.knowledge, engine))
        return self._made[engine]

    def for_the_shop(self, engine: str, zone: str) -> frozenset[str]:
        if (engine, zone) not in self._shop:
            self._shop[engine, zone] = for_the_shop(self(engine).fitted, zone)
        return self._shop[engine, zone]


def _taken(kits: _Kits, shelf: Shelf, told: Brief) -> Confirmed:
    """Return a case as far as it is confirmed; its trail is read only where the shop has said something."""
    if told.drill:
        raise LeaveOut(A_DRILL)
    if not any(f.finding for f in told.repairs):
        raise LeaveOut(NO_WORD if told.repairs else NO_PART)
    if told.engine not in kits.knowledge.engines:
        raise LeaveOut(NOT_KNOWN, told.engine)
    kit = kits(told.engine)
    if told.complaint not in kit.fitted.complaints:
        raise LeaveOut(NOT_KNOWN, told.complaint)
    if faults := shelf.faults(told.case):
        raise LeaveOut(NOT_WHOLE, str(faults[0]))
    try:
        return confirmed(kit, shelf.events(told.case))
    except LeaveOut:
        raise
    except Exception as error:
        # A case that came from elsewhere may hold anything; it must not keep the others from being learnt from.
        raise LeaveOut(NOT_READ, str(error).rstrip(".") or type(error).__name__) from None


# -- likelihoods -----------------------------------------------------------------------------------


@dataclass
class _Row:
    """The draws from one row, and the checks that have it: one, or several by an alias."""

    draws: list[Draw] = field(default_factory=list)
    checks: dict[str, None] = field(default_factory=dict)

    def add(self, draw: Draw) -> None:
        self.draws.append(draw)
        self.checks[draw.check] = None


def worth(sure: str, sources: Iterable[Source]) -> float:
    """Return how many cases a row of likelihoods is worth as it stands: by its check's ``sure``, and its sources."""
    ours = any(source.kind == "judgement" for source in sources)
    return WORTH[sure] * (1.0 if ours else NOT_OURS)


def as_weighed(row: Row, outcomes: Sequence[str]) -> tuple[float, ...]:
    """Return a row's figures as they are reckoned with: none below the floor, and coming to one."""
    figures = [max(FLOOR, row.gives.get(outcome, 0.0)) for outcome in outcomes]
    return tuple(figure / sum(figures) for figure in figures)


def _weighed_row(loaded: Loaded, rows: _Row, order: Mapping[str, int], least: int) -> Weighed:
    knowledge, name = loaded.knowledge, next(iter(rows.checks))
    check, first = knowledge.checks[name], rows.draws[0]
    row, outcomes = check.given[first.given][first.number], tuple(check.outcomes)
    cases = sorted({draw.case for draw in rows.draws}, key=order.__getitem__)
    strength = worth(check.sure, (knowledge.sources[source] for source in check.source))
    reckoned, enough = as_weighed(row, outcomes), len(cases) >= least
    alpha = [strength * p for p in reckoned]
    present = [row.gives.get(outcome, FLOOR) for outcome in outcomes]
    said = shares(alpha, [(d.outcome, d.other) for d in rows.draws], LEVEL, enough)
    moves = [enough and _outside(p, s, a) for s, p, a in zip(said, present, alpha, strict=True)]
    proposed = _proposed(row, outcomes, present, said, moves)
    if all(proposed.get(outcome) == row.gives.get(outcome) for outcome in outcomes):
        # What moves is less than a figure of the file can say.
        moves = [False] * len(moves)
    counts = Counter(draw.outcome for draw in rows.draws)
    expected = np.sum([draw.expects for draw in rows.draws], axis=0)
    figures = tuple(
        Figure(
            key=outcome,
            title=_wherever(check.outcomes[outcome].title),
            present=present[k],
            proposed=proposed.get(outcome, present[k]),
            written=written(proposed[outcome], FINEST) if outcome in proposed else "",
            mean=round(said[k].mean, 6),
            low=round(said[k].low, 6),
            high=round(said[k].high, 6),
            count=counts[k],
            expected=round(float(expected[k]), 2),
            moves=moves[k],
        )
        for k, outcome in enumerate(outcomes)
    )
    path = ("given", first.given, first.number, "gives")
    spot = loaded.where("checks", name, *path)
    states = Counter({draw.case: draw.state for draw in rows.draws}.values()).most_common()
    return Weighed(
        what="likelihood",
        said="change" if any(moves) else "nothing new" if enough else "too little",
        kind="checks",
        name=name,
        path=path,
        file=spot.file,
        line=spot.line,
        title=f"{_wherever(check.title)}: {_state_titles(knowledge, row, states)}",
        cases=tuple(cases),
        figures=figures,
        sure=round(sum(said[d.outcome].mean / (said[d.outcome].mean + d.other) for d in rows.draws), 2),
        worth=strength,
        states=tuple(states),
        notes=tuple(_row_notes(knowledge, rows, row, [state for state, _ in states])),
    )


def _outside(present: float, said: Share, own: float) -> bool:
    """Return whether a figure lies outside the limits that the cases leave it; ``own``: its parameter before them.

    What is known of a figure next to nothing is so lopsided that it lies above its own upper limit before there is any
    case. That such a figure is too high is not for the cases to say.
    """
    return present < said.low or (present > said.high and own >= SLIGHT)


def _proposed(
    row: Row, outcomes: Sequence[str], present: Sequence[float], said: Sequence[Share], moves: Sequence[bool]
) -> dict[str, float]:
    """Return the row as it would be written: the means, to the decimals of the file, coming to one.

    An outcome that is not written, and so is next to impossible, stays so unless the cases say otherwise.
    """
    if not any(moves):
        return dict(row.gives)
    kept = {
        outcome: said[k].mean
        for k, outcome in enumerate(outcomes)
        if outcome in row.gives or (moves[k] and said[k].mean > present[k])
    }
    digits = min(FINEST, max(2, *(decimals(figure) for figure in row.gives.values())))
    # What is written as nought may stay nought; nothing else becomes it.
    return rounded(kept, digits, [outcome for outcome in kept if row.gives.get(outcome) != 0.0])


def _state_titles(knowledge: Knowledge, row: Row, states: Sequence[tuple[str, int]]) -> str:
    if HEALTHY in row.modes:
        return "with nothing wrong there"
    titles = {m: _wherever(e.title) for zone in knowledge.zones.values() for m, e in zone.modes.items()}
    had = [state for state, _ in states if state in row.modes]
    return " or ".join(titles.get(mode, mode) for mode in had or row.modes)


def _row_notes(knowledge: Knowledge, rows: _Row, row: Row, states: Sequence[str]) -> Iterable[str]:
    """Yield what else a row holds for than its cases are of."""
    if len(rows.checks) > 1:
        yield f"The row is written once for {_listed(rows.checks)}."
    if HEALTHY not in row.modes:
        if more := [mode for mode in row.modes if mode not in states]:
            yield f"The row is for {_listed(more)} as well, of which there is no case."
        if like := [state for state in states if state not in row.modes]:
            yield f"Among the cases are {_listed(like)}, which answer by this row."
    engines = sorted({draw.engine for draw in rows.draws})
    checks: dict[str, Check] = {name: knowledge.checks[name] for name in rows.checks}
    others = [
        engine
        for engine, profile in knowledge.engines.items()
        if engine not in engines
        and any(check.on(profile.features) and name not in profile.omits.checks for name, check in checks.items())
    ]
    if others:
        yield f"All cases are of {_listed(engines)}; the row is for {_listed(others)} as well."


# -- priors ----------------------------------------------------------------------------------------


@dataclass
class _Prior:
    """A prior as it is written once: what is expected of it and what was confirmed."""

    mode: str
    title: str
    present: float
    expected: float = 0.0
    cases: list[str] = field(default_factory=list)


def _priors(loaded: Loaded, kits: _Kits, found: Sequence[Confirmed], least: int) -> list[Weighed]:
    """Return the priors of each zone in which a fault was confirmed, weighed anew."""
    zones: dict[str, list[tuple[Confirmed, str]]] = {}
    for case in found:
        # What came back is no fresh draw: what the visit before left or changed has its part in it.
        if not case.intake.earlier:
            for zone, mode in case.causes.items():
                if mode in kits.for_the_shop(case.intake.engine, zone):
                    zones.setdefault(split(zone)[0], []).append((case, zone))
    weighed = []
    for name, causes in zones.items():
        priors: dict[Path, _Prior] = {}
        told: dict[tuple[Intake, str], dict[str, float]] = {}
        for case, zone in causes:
            kit = kits(case.intake.engine)
            fitted = kit.fitted.zones[zone]
            key = _of_the_defect(case.intake), zone
            if key not in told:
                told[key] = _told_shares(kit.model, key[0], zone)
            for state, share in told[key].items():
                prior = fitted.prior[fitted.states.index(state)]
                own = state in kit.fitted.profile.priors
                place: Path = (
                    ("engines", kit.fitted.name, "priors", state) if own else ("zones", name, "modes", state, "prior")
                )
                one = priors.setdefault(place, _Prior(state, _wherever(fitted.modes[state].title), prior))
                one.expected += share
                if case.causes[zone] == state:
                    one.cases.append(case.case)
        everyone = tuple(dict.fromkeys(case.case for case, _ in causes))
        weighed += _together(
            [
                _weighed_prior(loaded, place, one, len(causes), everyone, least)
                for place, one in priors.items()
                if one.expected < len(causes) * (1 - 1e-9)
            ],
            len(causes),
        )
    return weighed


def _together(priors: Sequence[Weighed], number: int) -> list[Weighed]:
    """Return the priors of a zone with those that do not stand out scaled to what the others leave.

    ``number``: confirmed faults of the zone. Their shares, by what was told in these cases, come to one before and
    after; what is lost by writing figures short is not made up for.
    """
    moved = [p for p in priors if p.said == "change"]
    if not moved:
        return list(priors)
    had = sum(p.figures[0].expected for p in moved) / number
    new = sum(p.figures[0].expected * p.figures[0].proposed / p.figures[0].present for p in moved) / number
    scale = (1 - new) / (1 - had) if len(moved) < len(priors) else 1.0
    found, carried = [], 0
    for prior in priors:
        (figure,) = prior.figures
        if prior.said != "change" and scale > 0:
            text = _as_prior(figure.present * scale, figure.present, 3)
            if float(text) != figure.present:
                carried += 1
                figure = replace(figure, proposed=float(text), written=text)
                prior = replace(prior, figures=(figure,), along=True)
        found.append(prior)
    said = (
        f"{_others(carried)} multiplied by {scale:.2f}: all of those together stay as likely as they are."
        if carried
        else "The others of those stay as they are."
    )
    return [replace(p, notes=(*p.notes, said)) if p.said == "change" else p for p in found]


def _others(number: int) -> str:
    return "Another one of those is" if number == 1 else f"{number} others of those are"


def _as_prior(prior: float, present: float, digits: int) -> str:
    """Return a prior as fine as the present one is written, and no coarser than so many figures that count."""
    return written(min(prior, 0.99), max(decimals(present), digits - 1 - floor(log10(prior))))


def for_the_shop(fitted: Fitted, zone: str) -> frozenset[str]:
    """Return the faults of a zone that a shop gets to see whenever they are put right: whatever clears them is a part.

    Of the others some are put right on the aircraft, and what the shop says is no count of them.
    """
    by_part, without = set[str](), set[str]()
    for key, repair in fitted.repairs.items():
        cleared = repair.clears.get(zone, frozenset())
        if repair.hand_over or repair.entry.parts <= 0:
            without |= cleared
        else:
            by_part |= cleared & part_states(fitted, key, zone)
    return frozenset(by_part - without)


def _of_the_defect(intake: Intake) -> Intake:
    """Return what was told of the defect, without what was told of the day."""
    starts = tuple(replace(start, at="", oat=None) for start in intake.starts)
    return replace(
        intake,
        aircraft="",
        position="",
        operator="",
        people=(),
        missing=(),
        coming=(),
        hands=1,
        starts=starts,
        minutes_left=None,
        shut_down=None,
        engine_starts=None,
    )


def _told_shares(model: Model, intake: Intake, zone: str) -> dict[str, float]:
    """Return the share of each fault for the shop among them, by what was told at the opening alone."""
    chances = np.asarray(told_belief(model, intake).zone(zone))
    states, able = model.fitted.zones[zone].states, for_the_shop(model.fitted, zone)
    found = {state: float(chance) for state, chance in zip(states, chances, strict=True) if state in able}
    return {state: chance / sum(found.values()) for state, chance in found.items()}


def _weighed_prior(
    loaded: Loaded, place: Path, prior: _Prior, number: int, everyone: tuple[str, ...], least: int
) -> Weighed:
    """Return one prior weighed anew; ``number``: confirmed faults of the zone, ``everyone``: the cases of those."""
    kind, name, path = str(place[0]), str(place[1]), place[2:]
    share, count = prior.expected / number, len(prior.cases)
    enough = max(count, prior.expected) >= least
    alpha = (PRIORS_WORTH * share, PRIORS_WORTH * (1 - share))
    said = shares(alpha, [(0, 0.0)] * count + [(1, 0.0)] * (number - count), LEVEL, enough)[0]
    mean, low, high = (prior.present * s / share for s in (said.mean, said.low, said.high))
    text = _as_prior(mean, prior.present, 2)
    moves = enough and _outside(share, said, alpha[0]) and float(text) != prior.present
    spot = loaded.where(kind, name, *path)
    of = f" The figure is that of {name} alone." if kind == "engines" else ""
    return Weighed(
        what="prior",
        said="change" if moves else "nothing new" if enough else "too little",
        kind=kind,
        name=name,
        path=path,
        file=spot.file,
        line=spot.line,
        title=f"{HOW_OFTEN}{prior.title}",
        cases=tuple(prior.cases) or everyone,
        figures=(
            Figure(
                key="prior",
                title="prior",
                present=prior.present,
                proposed=float(text) if moves else prior.present,
                written=text if moves else "",
                mean=round(mean, 9),
                low=round(low, 9),
                high=round(high, 9),
                count=count,
                expected=round(prior.expected, 2),
                moves=moves,
            ),
        ),
        sure=float(count),
        worth=PRIORS_WORTH,
        states=((prior.mode, count),),
        notes=(f"Out of {number} confirmed faults of the same zone, of those that always go to a shop.{of}",),
    )


# -- in words, and as a difference -----------------------------------------------------------------

HOW_OFTEN = "How often it is this: "
ALONG = "scaled to what the priors of its zone that stand out leave: together they stay as likely as they are."
MOST_NAMED = 12
"""Cases named in a line; all of them are in the JSON."""


def changes(learnt: Learnt) -> list[Change]:
    """Return what is proposed as changes to the YAML, each with the lines that say why."""
    return [
        Change(
            w.kind,
            w.name,
            w.path,
            {f.key if w.what == "likelihood" else "": f.written for f in w.figures if f.written},
            (f"{w.file}:{w.line} {w.title}", *why(w)),
        )
        for w in learnt.changes
    ]


def why(weighed: Weighed) -> list[str]:
    """Return all that is behind a proposal in lines: its figures with their limits, what they rest on, its cases."""
    lines = []
    if weighed.along:
        (figure,) = weighed.figures
        return [f"{moved(figure)}, {ALONG}"]
    if weighed.what == "prior":
        (figure,) = weighed.figures
        said = f"Confirmed {_times(figure.count)}" if figure.count else "Never confirmed"
        lines.append(f"{said}; the present figures expect {figure.expected:.1f}.")
        lines.append(f"  {_moved(figure)}")
    else:
        number = sum(f.count for f in weighed.figures)
        lines.append(f"{_many(number, 'answer')} in {_many(len(weighed.cases), 'case')}:")
        lines += [
            f"  {f.title} [{f.key}]: {f.count}, expected {f.expected:.1f}: {_moved(f)}"
            for f in weighed.figures
            if f.written
        ]
    return [*lines, *behind(weighed), f"Cases: {named(weighed.cases)}"]


def behind(weighed: Weighed) -> list[str]:
    """Return in sentences what a proposal rests on, besides its figures and cases."""
    number = sum(f.count for f in weighed.figures)
    lines = [f"The present figures count as {weighed.worth:.0f} cases."]
    if weighed.what == "likelihood" and weighed.sure < number - 0.5:
        lines.insert(
            0,
            f"By probability {weighed.sure:.1f} of the {number} answers speak of this fault; the rest came while it "
            "did not show, or from elsewhere.",
        )
    return [*lines, *weighed.notes]


def _moved(figure: Figure) -> str:
    was, _, now = moved(figure).partition(" -> ")
    tail = "" if figure.moves else ", moved so that the row comes to one"
    limits = f"95 in 100: {short(figure.low)} to {short(figure.high)}"
    return f"{was} -> {now} ({limits}{tail})" if now != was else f"{was} as it is ({limits})"


def moved(figure: Figure) -> str:
    """Return a figure as it is and as it would be written."""
    return " -> ".join(f"{x:.7f}".rstrip("0").rstrip(".") for x in (figure.present, figure.proposed))


def short(figure: float) -> str:
    """Return a probability with two figures that count."""
    return f"{figure:.2f}" if figure >= 0.095 else f"{figure:.2g}" if figure >= 0.00005 else "0"


def named(cases: Sequence[str], most: int = MOST_NAMED) -> str:
    """Return cases by their ids, so many at most."""
    more = len(cases) - most
    return ", ".join(cases[:most]) + (f" and {more} more" if more > 0 else "")


def _many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _listed(words: Iterable[str]) -> str:
    found = list(words)
    return f"{', '.join(found[:-1])} and {found[-1]}" if len(found) > 1 else "".join(found)


def _wherever(title: str) -> str:
    """Return a title without a channel in it."""
    title = re.sub(r"\b([Cc])hannel \{channel\}", lambda m: "The channel" if m[1] == "C" else "the channel", title)
    return " ".join(title.replace("{channel}", "").split())

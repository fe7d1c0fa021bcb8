"""Testability figures of an engine profile: what its checks can detect and isolate, were all of them asked.

The definitions are those of MIL-STD-2165 (now MIL-HDBK-2165) and IEEE Std 1522, quoted from memory. One fault at a
time. N faults i with failure rates r(i), D of them detected; an *ambiguity group* holds the faults that all checks
together leave undistinguished.

- Fraction of faults detected, FFD: D / N; weighted, the failure rate of the detected faults over that of all.
- Fraction of faults isolated to n, FFI(n): of the *detected* faults, those in groups of at most n; weighted likewise
  by failure rate.
- Mean ambiguity group size: faults per group, the mean over groups; weighted, each group counts by its failure rate,
  which makes it the size to expect when a fault has been found.

Those standards start from a dependency matrix: this fault fails that check, or it does not. Our checks are noisy, so a
fault i is held to be *told from* j where the evidence to be expected against j, i being the truth, comes to at least
``least`` bits: what is to be expected, not what is sure each time. The evidence of a check is the Kullback-Leibler
divergence of its answers under i from those under j (the expected log-likelihood ratio, base 2); of several checks it
is the sum, since answers are independent given the fault. A fault is *detected* where it is told from no fault. With a
matrix of noughts and ones this comes back to the standards: a check that i and j answer differently gives some 13 bits
(likelihoods have a floor), one that they answer alike gives none, so two faults are told apart just where their rows
differ.

With noise "not told apart" need not carry over from i, j and j, k to i, k, so a group has to be chosen: ``own``, the
faults that remain beside i when i is the truth; or ``linked``, all that a chain of such steps connects. For a matrix of
noughts and ones both are the faults with the same row.

Priors stand in for failure rates: what is asked for is a share, and the exposure is the same for all.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck, Fitted, FitZone, instance, split
from isolate.kb.model import FLOOR, Condition, Knowledge, Place

__all__ = [
    "CLASSES",
    "LEAST",
    "Apart",
    "Count",
    "Figures",
    "Isolation",
    "Pair",
    "entries_of",
    "figures_of",
    "isolation",
]

LEAST = math.log2(10)
"""Bits of expected evidence that tell two faults apart: odds of ten to one where they were even."""

CLASSES = ("published", "practice", "memory", "judgement")
"""Classes of sources, as in :class:`~isolate.kb.model.Source`."""

Evidence = Literal["all", "one"]
"""``all``: what all checks give is added up. ``one``: a single check has to give it."""
Groups = Literal["own", "linked"]

_EXACT = 3
"""Sets of checks or repairs up to this size are found exactly; larger ones by adding what gains most."""
_SLIGHT = 0.01
"""Bits below which a check is no part of the cheapest set to tell two faults apart."""

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


# -- figures -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Isolation:
    """How finely detected faults are isolated; nan throughout where none is detected.

    ``share[k]`` and ``by_rate[k]``: fraction isolated to a group of at most ``sizes[k]``.
    """

    sizes: tuple[int, ...]
    share: tuple[float, ...]
    by_rate: tuple[float, ...]
    mean: float
    mean_by_rate: float
    largest: int


@dataclass(frozen=True)
class Pair:
    """Two faults that no one repair clears both of, so that they have to be told apart.

    ``bits``: what all checks give for telling them apart, in the worse of the two directions; ``best``: the check that
    gives most of it alone, and ``best_bits``. ``checks``: the cheapest that tell them apart, none where nothing does;
    ``minutes``: what those take from all shut to all shut, each access state opened once, waits included. ``wrong``:
    minutes that go into repairing the first with the verification after it when it is the second, and the other way
    about; None where the wrong repair is a hand-over, or there is none. ``mirrored``: how many other pairs are the same
    but for the channel.
    """

    one: str
    other: str
    bits: float
    best: str
    best_bits: float
    checks: tuple[str, ...]
    minutes: float | None
    wrong: tuple[float | None, float | None]
    mirrored: int


@dataclass(frozen=True)
class Count:
    """Entries of a kind, by the classes of the sources they cite; one that cites two classes counts in both.

    ``judged``: those that cite nothing but our judgement.
    """

    kind: str
    entries: int
    citing: Mapping[str, int]
    judged: int


@dataclass(frozen=True)
class Figures:
    """The testability figures of one engine profile; the six fields after ``title`` say what was asked.

    ``faults``, ``checks``: how many, instances counted. ``detected``: FFD, nan where there is no fault; ``undetected``:
    the rest by name. ``to_repair``: groups counted in repairs, since faults that one repair clears need no telling
    apart; ``pairs``: how many pairs need it, ``untold``: how many of these the checks do not tell apart.
    """

    engine: str
    title: str
    least: float
    evidence: Evidence
    groups: Groups
    condition: Condition
    place: Place | None
    complaint: str | None
    faults: int
    checks: int
    detected: float
    detected_by_rate: float
    undetected: tuple[str, ...]
    to_fault: Isolation
    to_repair: Isolation
    pairs: int
    untold: int
    hardest: tuple[Pair, ...]
    entries: tuple[Count, ...]


def figures_of(
    fitted: Fitted,
    *,
    least: float = LEAST,
    evidence: Evidence = "all",
    groups: Groups = "own",
    condition: Condition = "steady",
    place: Place | None = None,
    complaint: str | None = None,
    sizes: Sequence[int] = (1, 2, 3),
    hardest: int = 10,
) -> Figures:
    """Return the figures of a profile, for single faults, all its checks asked once each.

    The history of starts is no check and is left out.

    Args:
        fitted: the engine profile with what it has.
        least: bits of expected evidence that tell two faults apart, or a fault from none; above 0.
        evidence: whether all checks together have to give that, or one by itself.
        groups: what an ambiguity group is; see the module.
        condition: in which functional checks are done; they see a fault only while it shows.
        place: only checks that can be done there; None: any.
        complaint: whose verification follows a wrong repair; None: the quickest of the profile's.
        sizes: group sizes to give FFI for.
        hardest: how many of the pairs hardest to tell apart to list.

    Raises:
        UnknownName: the profile has no such complaint.
        ValueError: ``least`` is not above 0.
    """
    if least <= 0:
        raise ValueError("faults are told apart by more than 0 bits")
    if complaint is not None:
        fitted.verification(complaint)
    tables = _Tables(fitted, condition, place)
    gained = tables.bits.sum(axis=0) if evidence == "all" else tables.bits.max(axis=0, initial=0.0)
    # A sum of many terms may fall a hair short of a round threshold.
    told = gained >= least - 1e-9
    detected = told[1:, 0]
    cleared = [frozenset(r.key for r in fitted.repairs.values() if s in r.clears.get(z, ())) for z, s in tables.where]
    rates = tables.rates
    n = len(tables.faults)
    upper = [(i, j) for i in range(n) for j in range(i + 1, n) if not cleared[i] & cleared[j]]
    worse = np.minimum(gained, gained.T)[1:, 1:]
    pairs = _Pairs(tables, evidence, least, complaint)
    found = pairs.hardest(upper, worse, hardest)
    undetected = tuple(tables.faults[i] for i in range(n) if not detected[i])
    return Figures(
        engine=fitted.name,
        title=fitted.profile.title,
        least=least,
        evidence=evidence,
        groups=groups,
        condition=condition,
        place=place,
        complaint=complaint,
        faults=n,
        checks=len(tables.checks),
        detected=float(detected.mean()) if n else math.nan,
        detected_by_rate=float(rates[detected].sum() / rates.sum()) if n else math.nan,
        undetected=undetected,
        to_fault=isolation(told[1:, 1:], detected, rates, groups=groups, sizes=sizes),
        to_repair=isolation(told[1:, 1:], detected, rates, groups=groups, sizes=sizes, cleared=cleared),
        pairs=len(upper),
        untold=sum(not (told[i + 1, j + 1] and told[j + 1, i + 1]) for i, j in upper),
        hardest=found,
        entries=entries_of(fitted),
    )


def isolation(
    told: Bools,
    detected: Bools,
    rates: Floats,
    *,
    groups: Groups = "own",
    sizes: Sequence[int] = (1, 2, 3),
    cleared: Sequence[Collection[str]] | None = None,
) -> Isolation:
    """Return FFI and mean ambiguity group sizes.

    Args:
        told: shape (faults, faults); ``told[i, j]``: with i the truth, j is ruled out. The diagonal is not read.
        detected: shape (faults,). Only these count, though a fault that is not detected may be in another's group.
        rates: shape (faults,), the failure rates or anything in proportion to them.
        groups: see the module.
        sizes: group sizes to give FFI for.
        cleared: fault by fault, the repairs that clear it. With it a group counts not its faults but the repairs that
            it takes to clear all of them: the units to replace. A fault that nothing clears is a unit of its own.
    """
    beside = ~told
    np.fill_diagonal(beside, True)
    if groups == "linked":
        beside = _linked(beside)
    members = [frozenset(np.flatnonzero(row).tolist()) for row in beside]
    if cleared is None:
        size = np.array([len(group) for group in members], dtype=float)
    else:
        worked: dict[frozenset[int], int] = {}
        for group in members:
            if group not in worked:
                worked[group] = _fewest([cleared[i] for i in sorted(group)])
        size = np.array([worked[group] for group in members], dtype=float)
    # A group of n faults is met n times, once by each of them, so each stands for an nth of it.
    part = np.array([1 / len(group) for group in members])
    size, rates, part = size[detected], rates[detected], part[detected]
    if not size.size:
        nothing = tuple(math.nan for _ in sizes)
        return Isolation(tuple(sizes), nothing, nothing, math.nan, math.nan, 0)
    return Isolation(
        sizes=tuple(sizes),
        share=tuple(float((size <= n).mean()) for n in sizes),
        by_rate=tuple(float(rates[size <= n].sum() / rates.sum()) for n in sizes),
        mean=float((part * size).sum() / part.sum()),
        mean_by_rate=float((rates * size).sum() / rates.sum()),
        largest=int(size.max()),
    )


def _linked(beside: Bools) -> Bools:
    """Return for each fault all those that a chain of faults not told apart, either way, leads to."""
    n = len(beside)
    reach = beside | beside.T
    for middle in range(n):
        reach |= reach[:, middle : middle + 1] & reach[middle]
    return reach


def _fewest(cleared: Sequence[Collection[str]]) -> int:
    """Return how few repairs clear all of some faults: exactly up to ``_EXACT``, beyond that at most that many."""
    repaired = [frozenset(repairs) for repairs in cleared if repairs]
    alone = len(cleared) - len(repaired)
    for count in range(_EXACT + 1):
        if _clears(repaired, count):
            return alone + count
    count, left = 0, repaired
    while left:
        tally = [(sum(repair in repairs for repairs in left), repair) for repair in set().union(*left)]
        most = min(tally, key=lambda t: (-t[0], t[1]))[1]
        left = [repairs for repairs in left if most not in repairs]
        count += 1
    return alone + count


def _clears(repaired: Sequence[frozenset[str]], count: int) -> bool:
    """Return whether ``count`` repairs can clear all of these faults."""
    if not repaired:
        return True
    if count == 0:
        return False
    fewest = min(repaired, key=len)
    return any(_clears([repairs for repairs in repaired if repair not in repairs], count - 1) for repair in fewest)


# -- what the checks give -------------------------------------------------------------------------


class _Tables:
    """The faults of a profile, one at a time, and what each check gives for telling them apart.

    ``bits``: shape (checks, faults + 1, faults + 1); ``bits[c, i, j]`` is the expected evidence of check c against j, i
    being the truth. Index 0 is no fault.
    """

    def __init__(self, fitted: Fitted, condition: Condition, place: Place | None) -> None:
        self.fitted = fitted
        self.condition: Condition = condition
        self.where = [(zone.key, state) for zone in fitted.zones.values() for state in zone.states[1:]]
        self.faults = [instance(state, fitted.zones[zone].channel) for zone, state in self.where]
        self.rates = np.array([p for zone in fitted.zones.values() for p in zone.prior[1:]])
        self.checks = [c for c in fitted.checks.values() if c.given and (place is None or self._at(c, place))]
        n = 1 + len(self.faults)
        self.bits = np.zeros((len(self.checks), n, n))
        for index, check in enumerate(self.checks):
            answers = self._answers(check)
            logs = np.log2(answers)
            gives = (answers * logs).sum(axis=0)[:, None] - answers.T @ logs
            # Rounding must not tell apart what answers alike.
            self.bits[index] = np.where(gives > 1e-12, gives, 0.0)

    def minutes(self, opened: Iterable[str]) -> float:
        """Minutes to open these access states and put them back, each once, waits included."""
        total = 0.0
        for name in opened:
            access = self.fitted.access[name]
            total += access.open.minutes + access.open.waits(self.condition)
            if access.entry.lasting:
                total += access.close.minutes + access.close.waits(self.condition)
        return total

    def _at(self, check: FitCheck, place: Place) -> bool:
        opened = (self.fitted.access[name].entry for name in self.fitted.needed(check.needs))
        return place in check.entry.place and all(place in access.place for access in opened)

    def _answers(self, check: FitCheck) -> Floats:
        """P(outcome | no fault, then each fault alone), shape (outcomes, faults + 1)."""
        # The worst outcome that any zone yields is seen: at most k where each zone yields at most k.
        below = {key: self._rows(check, self.fitted.zones[key]).cumsum(axis=1) for key in check.given}
        sound = np.prod([table[0] for table in below.values()], axis=0)
        columns = [sound]
        for zone, state in self.where:
            if zone in below:
                others = [table[0] for key, table in below.items() if key != zone]
                own = below[zone][self.fitted.zones[zone].states.index(state)]
                columns.append(np.prod([own, *others], axis=0))
            else:
                columns.append(sound)
        answers = np.maximum(np.diff(np.array(columns).T, axis=0, prepend=0.0), FLOOR)
        return np.asarray(answers / answers.sum(axis=0))

    def _rows(self, check: FitCheck, zone: FitZone) -> Floats:
        rows = np.asarray(check.given[zone.key], dtype=float)
        if check.functional:
            shows = np.asarray(zone.active(self.condition))
            active = (shows if check.makes is None else np.maximum(shows, zone.active(*check.makes)))[:, None]
            rows = active * rows + (1 - active) * rows[0]
        return rows


class Apart:
    """What each check gives, by itself and asked once, for telling two faults of a profile from each other."""

    def __init__(self, fitted: Fitted, condition: Condition = "steady") -> None:
        self._tables = _Tables(fitted, condition, None)
        self._index = {fault: i for i, fault in enumerate(self._tables.faults, start=1)}

    def bits(self, one: str, other: str) -> dict[str, float]:
        """Return check → the evidence to be expected, in bits, in the worse of the two directions.

        ``one``, ``other``: modes such as ``lead-open/A``; empty: no fault. Raises KeyError for one that is not here.
        """
        i, j = (self._index[mode] if mode else 0 for mode in (one, other))
        gives = np.minimum(self._tables.bits[:, i, j], self._tables.bits[:, j, i])
        return {check.key: float(b) for check, b in zip(self._tables.checks, gives, strict=True)}


# -- pairs ----------------------------------------------------------------------------------------


class _Pairs:
    """Pairs of faults that have to be told apart. ``bits``, ``gives``: shape (checks, faults, faults)."""

    def __init__(self, tables: _Tables, evidence: Evidence, least: float, complaint: str | None) -> None:
        self.tables, self.least, self.complaint = tables, least, complaint
        self.bits = tables.bits[:, 1:, 1:]
        # Where one check has to give it all, what gives less gives nothing.
        self.gives = self.bits if evidence == "all" else np.where(self.bits >= least - 1e-9, least, 0.0)
        self.needs = [tables.fitted.needed(check.needs) for check in tables.checks]
        self._minutes: dict[frozenset[str], float] = {}

    def hardest(self, pairs: Iterable[tuple[int, int]], worse: Floats, count: int) -> tuple[Pair, ...]:
        """The pairs with the least bits in the worse direction, pairs that differ by the channel alone once."""
        faults = self.tables.faults
        found: dict[tuple[str, str, bool, float], list[tuple[int, int]]] = {}
        for bits, i, j in sorted((round(float(worse[i, j]), 6), i, j) for i, j in pairs):
            (a, b), (c, d) = sorted((split(faults[i]), split(faults[j])))
            found.setdefault((a, c, b == d, bits), []).append((i, j))
        ranked = sorted(found.items(), key=lambda item: (item[0][3], item[0]))[:count]
        return tuple(self._pair(*alike[0], bits, len(alike) - 1) for (*_, bits), alike in ranked)

    def _pair(self, i: int, j: int, bits: float, mirrored: int) -> Pair:
        tables = self.tables
        each = np.minimum(self.bits[:, i, j], self.bits[:, j, i])
        best = int(each.argmax()) if each.size else -1
        gives = best >= 0 and each[best] > 0
        chosen = self._cheapest(i, j)
        one, other = tables.faults[i], tables.faults[j]
        return Pair(
            one=one,
            other=other,
            bits=bits,
            best=tables.checks[best].key if gives else "",
            best_bits=float(each[best]) if gives else 0.0,
            checks=tuple(tables.checks[c].key for c in chosen),
            minutes=self._cost(chosen) if chosen else None,
            wrong=(self._wrong(i), self._wrong(j)),
            mirrored=mirrored,
        )

    def _cheapest(self, i: int, j: int) -> tuple[int, ...]:
        """The checks that take the fewest minutes to tell two faults apart both ways; none where nothing does.

        Of sets of up to ``_EXACT`` checks the quickest, though many slight ones may be quicker still; where no such set
        does it, more.
        """
        gives = np.stack([self.gives[:, i, j], self.gives[:, j, i]])
        useful = [c for c in range(gives.shape[1]) if gives[:, c].max() >= _SLIGHT]
        if (gives[:, useful].sum(axis=1) < self.least - 1e-9).any():
            useful = list(range(gives.shape[1]))
        if (gives[:, useful].sum(axis=1) < self.least - 1e-9).any():
            return ()
        best: tuple[int, ...] = ()
        least = math.inf
        alone = sorted((self._cost((c,)), c) for c in useful)

        def grow(chosen: tuple[int, ...], start: int, sums: Floats) -> None:
            nonlocal best, least
            for at in range(start, len(alone)):
                # A set costs no less than its dearest check alone.
                if alone[at][0] >= least:
                    return
                wider = (*chosen, alone[at][1])
                got = sums + gives[:, alone[at][1]]
                if (got >= self.least - 1e-9).all():
                    if (cost := self._cost(wider)) < least:
                        best, least = wider, cost
                elif len(wider) < _EXACT:
                    grow(wider, at + 1, got)

        grow((), 0, np.zeros(2))
        return tuple(sorted(best or self._adding(gives, useful)))

    def _adding(self, gives: Floats, useful: Sequence[int]) -> tuple[int, ...]:
        """Checks added one at a time, most bits that were still wanted for each minute first, less what proves idle."""
        chosen: list[int] = []
        wanted = np.full(2, self.least)
        while (wanted > 1e-9).any():
            spent = self._cost(chosen)

            def worth(c: int, spent: float = spent, wanted: Floats = wanted) -> float:
                minutes = self._cost((*chosen, c)) - spent
                return float(np.minimum(gives[:, c], np.maximum(wanted, 0)).sum()) / (minutes + 0.1)

            best = max((c for c in useful if c not in chosen), key=lambda c: (worth(c), -c))
            chosen.append(best)
            wanted = wanted - gives[:, best]
        for c in list(chosen):
            rest = [other for other in chosen if other != c]
            if rest and (gives[:, rest].sum(axis=1) >= self.least - 1e-9).all():
                chosen = rest
        return tuple(chosen)

    def _cost(self, checks: Sequence[int]) -> float:
        """Minutes that these checks take from all shut to all shut, each access state opened once."""
        opened = frozenset[str]().union(*(self.needs[c] for c in checks))
        return self._opening(opened) + sum(self.tables.checks[c].minutes for c in checks)

    def _opening(self, opened: frozenset[str]) -> float:
        if opened not in self._minutes:
            self._minutes[opened] = self.tables.minutes(opened)
        return self._minutes[opened]

    def _wrong(self, i: int) -> float | None:
        """Minutes of the quickest repair of a fault with the verification after it, in vain; None: no such repair."""
        fitted = self.tables.fitted
        zone, state = self.tables.where[i]
        channel = fitted.zones[zone].channel
        complaints = [self.complaint] if self.complaint is not None else list(fitted.complaints)
        verifying = [fitted.verification(name, channel) for name in complaints] or [()]
        costs = []
        for repair in fitted.repairs.values():
            if repair.hand_over or state not in repair.clears.get(zone, ()):
                continue
            for keys in verifying:
                checks = [fitted.checks[key] for key in keys]
                opened = self.tables.fitted.needed([*repair.needs, *(need for check in checks for need in check.needs)])
                costs.append(self._opening(opened) + repair.entry.minutes + sum(check.minutes for check in checks))
        return min(costs, default=None)


# -- entries --------------------------------------------------------------------------------------


def entries_of(fitted: Fitted) -> tuple[Count, ...]:
    """Return the entries that a profile has, by kind and by the classes of their sources; fault modes by themselves."""
    base = fitted.knowledge
    zones = {split(key)[0]: zone for key, zone in fitted.zones.items()}
    kinds: dict[str, list[Sequence[str]]] = {
        "zones": [zone.entry.source for zone in zones.values()],
        "modes": [mode.source for zone in zones.values() for mode in zone.modes.values()],
        "checks": [base.checks[name].source for name in {check.name for check in fitted.checks.values()}],
        "access": [base.access[name].source for name in {access.name for access in fitted.access.values()}],
        "repairs": [base.repairs[name].source for name in {repair.name for repair in fitted.repairs.values()}],
        "cautions": [caution.source for caution in fitted.cautions.values()],
        "complaints": [complaint.source for complaint in fitted.complaints.values()],
        "signs": [sign.source for sign in fitted.signs.values()],
        "engines": [fitted.profile.source],
        "rules": [rule.source for rule in fitted.rules.values()],
    }
    counts = [_count(kind, cited, base) for kind, cited in kinds.items()]
    cited = {name for lists in kinds.values() for names in lists for name in names}
    return (*counts, _count("sources", [[name] for name in cited], base))


def _count(kind: str, cited: Sequence[Sequence[str]], base: Knowledge) -> Count:
    classes = [{base.sources[name].kind for name in names} for names in cited]
    return Count(
        kind=kind,
        entries=len(cited),
        citing={word: sum(word in found for found in classes) for word in CLASSES},
        judged=sum(found == {"judgement"} for found in classes),
    )

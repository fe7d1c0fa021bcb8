"""When nothing known explains the answers: how improbable they are beside what the model itself would produce.

Taken alone, an answer may be rare and still make sense: a rare fault plainly seen is rare. What makes no sense are
answers that would be rare whatever state is taken for true. So the answers are measured by their *excess*: averaged
over what is believed after them, how many bits more improbable they are than that state would give on average,

    excess = sum over states of P(state | answers) * (-log2 P(answers | state) - entropy of the answers | state).

Whether an excess is high is not ours to choose: it is compared with the excesses of answers to the same checks, on the
same occasions, drawn from the model, truth first and then what it would show. The share of those that are as high is
the tail probability; it is right by construction, whatever checks were asked (a prior predictive tail: Box 1980, from
memory). A few answers are gone through exactly; for more it is found by importance sampling with a fixed seed, half of
the draws with each answer taken by itself, so that contradictions are among them; same answers, same figure.

A state here is what the zones are in together with whether each fault shows on an occasion (see
:mod:`isolate.reasoning.occasion`), so that given a state the answers are independent.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import product
from math import log, prod
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from isolate.kb.fit import FitCheck
from isolate.kb.model import Condition
from isolate.reasoning.belief import Belief, Model, Table, Told
from isolate.reasoning.occasion import At, Index, Makes, Shown, columns, run

LEVEL = 0.003
"""A tail probability below this counts as not explained. How often that is said wrongly, asked after each answer of a
case, and how often rightly: tests/bench/gap.py."""
ENOUGH = 1.5
"""Excesses under so many of their standard deviations are within what is expected; their tail is not worked out."""
KEPT = 0.999
"""Share of the probability of the states that are looked at, before the answers and after them."""
MOST_STATES = 400
"""So many states at most are looked at before the answers, and as many after them."""
LISTED = 2048
"""So many answers that there could be are gone through one by one; where there are more, they are drawn."""
FIRST_DRAWS, DRAWS = 512, 2048
"""Draws; the larger number only where the first give less than ``CLEAR``."""
CLEAR = 0.03
CLOSE, AGAIN = 3.0, 4
"""Within such a factor of the level so many times as many are drawn anew, so that chance does not settle it."""
MOST_SWITCHES = 4
"""So many zones and occasions at most for which it is told apart whether a fault shows."""
MOST_NAMED = 3
"""So many answers are named at most."""
CLASHES = 1.0
"""Bits by which two answers have to speak against each other for both to be named: our judgement."""

Answers = NDArray[np.int64]


@dataclass(frozen=True)
class Gap:
    """How well what is known explains the answers.

    ``level``: P(the model itself gives answers as strange as these, to the same questions); 1 where they are plainly
    within what is expected. ``excess``: bits beyond what is expected. ``clash``: the answers that fit the others
    least, at most three, the strangest first; named only where nothing explains them.
    """

    level: float = 1.0
    excess: float = 0.0
    clash: tuple[Told, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether nothing known explains the answers."""
        return self.level < LEVEL


@dataclass(frozen=True)
class Asked:
    """One check on one occasion, with all the outcomes it gave there: one thing drawn at a time."""

    told: tuple[Told, ...]
    table: Table
    """P(these outcomes in turn | state), shape (vectors of outcomes, states)."""
    seen: int
    """Which of the vectors was seen."""


@dataclass(frozen=True)
class Asking:
    """What was asked, over the states: ``weights`` their probability before the answers, summing to one."""

    weights: Table
    asked: tuple[Asked, ...]

    @property
    def seen(self) -> Answers:
        """What was seen, shape (1, asked)."""
        return np.array([[one.seen for one in self.asked]])


def gap(belief: Belief, answers: Sequence[Told] | None = None) -> Gap:
    """Return how well what is known explains answers that stand in a belief.

    ``answers``: those of ``belief.told`` that are to be explained; the others belong to what was told at the opening,
    which is what the truth is drawn from. None: all of them.
    """
    told = tuple(belief.told if answers is None else answers)
    if len(told) < 2:
        # One answer alone has nothing to disagree with.
        return Gap()
    asking = asked(belief, told)
    found, deviations = excess(asking, asking.seen)
    bits = float(found[0]) / log(2)
    if deviations[0] < ENOUGH:
        return Gap(excess=bits)
    if prod(len(one.table) for one in asking.asked) <= LISTED:
        level = listed(asking)
    else:
        seed = crc32(repr([(t.check, t.outcome, t.condition, t.occasion) for t in told]).encode())
        level = tail(asking, FIRST_DRAWS, seed)
        if level < CLEAR:
            level = tail(asking, DRAWS, seed)
        if LEVEL / CLOSE < level < LEVEL * CLOSE:
            level = sum(tail(asking, DRAWS, seed + again) for again in range(1, AGAIN + 1)) / AGAIN
    return Gap(level, bits, clashing(asking) if level < LEVEL else ())


def asked(belief: Belief, told: Sequence[Told], most: int = MOST_STATES, switched: int = MOST_SWITCHES) -> Asking:
    """Return what was asked, over the states that carry most of the probability before the answers or after.

    At most ``most`` joint states before and as many after, and as many again once the ``switched`` zones and occasions
    are told apart; a zone and occasion beyond those is taken as drawn anew for each answer.
    """
    model = belief.model
    groups: dict[tuple[object, ...], list[Told]] = defaultdict(list)
    for one in told:
        groups[one.check, one.condition, one.strength, one.occasion, one.era].append(one)
    before = belief.joint.copy()
    wanted = Counter(told)
    # What was told at the opening comes first: of two that are alike the later is meant.
    for one, share in reversed(belief.shares()):
        if wanted[one] > 0:
            wanted[one] -= 1
            # What is believed now already holds this answer: take it out.
            before /= share
    chosen = np.union1d(_carrying(before.ravel(), most), _carrying(belief.joint.ravel(), most))
    at = tuple(np.asarray(axis) for axis in np.unravel_index(chosen, before.shape))
    switches = _switches(model, groups.values())[:switched]
    weights = before.ravel()[chosen]
    for zone, condition, strength, makes, *_ in switches:
        shows = model.showing(zone, condition, strength, makes)[at[model.axis[zone]]]
        weights = np.stack([weights * shows, weights * (1 - shows)])
    # One stretch a setting of the switches, that of the last switch slowest.
    tables = [_table(model, members, switches, at) for members in groups.values()]
    seen = [_seen(model, members) for members in groups.values()]
    flat = weights.ravel()
    then = flat * reduce(np.multiply, (table[i] for table, i in zip(tables, seen, strict=True)))
    likely = np.union1d(_carrying(flat, most), _carrying(then, most))
    return Asking(
        flat[likely] / flat[likely].sum(),
        tuple(
            Asked(tuple(members), table[:, likely], i)
            for members, table, i in zip(groups.values(), tables, seen, strict=True)
        ),
    )


Switch = tuple[str, Condition, float, Makes, int, int]
"""Zone, then how and when it was looked at: condition, strength, what the check makes, occasion, era."""


def _switches(model: Model, groups: Iterable[Sequence[Told]]) -> list[Switch]:
    """Return what may show on one occasion and not on another, where two answers or more looked at it on one.

    Those that most answers looked at come first.
    """
    looked: Counter[Switch] = Counter()
    for members in groups:
        first = members[0]
        for zone in model.switches(first.check, *first.how):
            looked[(zone, *_when(first))] += len(members)
    return sorted((s for s in looked if looked[s] > 1), key=lambda s: (-looked[s], repr(s)))


def _when(told: Told) -> tuple[Condition, float, Makes, int, int]:
    return *told.how, told.occasion, told.era


def _vectors(fit: FitCheck, members: Sequence[Told]) -> list[tuple[int, ...]]:
    return list(product(range(len(fit.outcomes)), repeat=len(members)))


def _seen(model: Model, members: Sequence[Told]) -> int:
    fit = model.fitted.check(members[0].check)
    return _vectors(fit, members).index(tuple(fit.outcomes.index(one.outcome) for one in members))


def _table(model: Model, members: Sequence[Told], switches: Sequence[Switch], at: At) -> Table:
    """Return P(outcomes in turn | state) of one check on one occasion, shape (vectors of outcomes, settings * states).

    The settings of the switches run as :func:`asked` has them: of the last switch slowest.
    """
    first = members[0]
    fit = model.fitted.check(first.check)
    same = fit.repeats.same if fit.repeats is not None else 0.0
    own = model.switches(first.check, *first.how)
    mine = [s[0] if s[0] in own and s[1:] == _when(first) else "" for s in switches]
    known: dict[Shown, Table] = {}
    found = []
    for thrown in product((True, False), repeat=len(switches)):
        # product() runs the last one fastest.
        shown = frozenset((zone, how) for zone, how in zip(reversed(mine), thrown, strict=True) if zone)
        if shown not in known:
            table = columns(model.likelihood(first.check, first.condition, first.strength, shown), at)
            known[shown] = np.stack([run(table, vector, same) for vector in _vectors(fit, members)])
        found.append(known[shown])
    return np.concatenate(found, axis=1)


def _carrying(weights: Table, most: int) -> Index:
    """Return the likeliest states, ``most`` at most, that carry ``KEPT`` of the probability."""
    order = np.arange(len(weights))
    if most < len(weights):
        order = np.sort(np.argpartition(-weights, most)[:most])
    order = order[np.argsort(-weights[order], kind="stable")]
    enough = int(np.searchsorted(np.cumsum(weights[order]), KEPT * weights.sum()))
    return np.asarray(order[: enough + 1])


def excess(asking: Asking, answers: Answers) -> tuple[Table, Table]:
    """Return the excess of answers, shape (n, asked), in nats; and in standard deviations. Both of shape (n,)."""
    return _excess(asking, answers)[:2]


def _excess(asking: Asking, answers: Answers) -> tuple[Table, Table, Table, Table]:
    """Return also ln P(answers) and the sum of ln P(answer), each as before any of them."""
    logs = np.log(np.concatenate([one.table for one in asking.asked]))
    rows = np.concatenate([one.table for one in asking.asked])
    hits = np.zeros((len(answers), len(rows)))
    first = 0
    for i, one in enumerate(asking.asked):
        hits[np.arange(len(answers)), first + answers[:, i]] = 1.0
        first += len(one.table)
    entropy = -(rows * logs).sum(axis=0)
    variance = np.maximum(_variance(asking), 1e-9)
    found = hits @ logs
    top = found.max(axis=1, keepdims=True)
    weighed = np.exp(found - top) * asking.weights
    total = weighed.sum(axis=1)
    over = entropy + found
    mean = -(weighed * over).sum(axis=1) / total
    spread = np.sqrt(weighed @ variance / total)
    apart = hits @ np.log(rows @ asking.weights)
    return mean, mean / spread, np.log(total) + top[:, 0], apart


def _variance(asking: Asking) -> Table:
    """Return the variance of the information in the answers, state by state."""
    found = np.zeros(len(asking.weights))
    for one in asking.asked:
        logs = np.log(one.table)
        mean = (one.table * logs).sum(axis=0)
        found += (one.table * logs**2).sum(axis=0) - mean**2
    return found


def listed(asking: Asking) -> float:
    """Return P(answers with an excess as high as those seen | the model), by going through all that there could be."""
    every = np.indices([len(one.table) for one in asking.asked]).reshape(len(asking.asked), -1).T
    found, _, together, _ = _excess(asking, every)
    seen = _excess(asking, asking.seen)[0][0]
    return float(np.exp(together)[found >= seen - 1e-9].sum())


def tail(asking: Asking, draws: int, seed: int) -> float:
    """Return P(answers with an excess as high as those seen | the model), estimated from so many draws."""
    chance = np.random.default_rng(seed)
    half = draws // 2
    answers = np.concatenate([_drawn(asking, half, chance), _drawn_apart(asking, draws - half, chance)])
    found, _, together, apart = _excess(asking, answers)
    seen = _excess(asking, asking.seen)[0][0]
    # Each draw stands for as many as the model makes of it beside the half-and-half that it was drawn from.
    share = half / draws
    weights = 1 / (share + (1 - share) * np.exp(np.minimum(apart - together, 700)))
    return float((weights * (found >= seen - 1e-9)).sum() / draws)


def _drawn(asking: Asking, count: int, chance: np.random.Generator) -> Answers:
    """Draw a truth, then what it would show, so many times."""
    bounds = np.cumsum(asking.weights)
    states = np.minimum(np.searchsorted(bounds, chance.random(count) * bounds[-1]), len(bounds) - 1)
    found = np.empty((count, len(asking.asked)), dtype=np.int64)
    for i, one in enumerate(asking.asked):
        steps = np.cumsum(one.table[:, states], axis=0)
        found[:, i] = (chance.random(count) * steps[-1] > steps[:-1]).sum(axis=0)
    return found


def _drawn_apart(asking: Asking, count: int, chance: np.random.Generator) -> Answers:
    """Draw each answer as if the others had nothing to do with it."""
    found = np.empty((count, len(asking.asked)), dtype=np.int64)
    for i, one in enumerate(asking.asked):
        steps = np.cumsum(one.table @ asking.weights)
        found[:, i] = (chance.random(count)[:, None] * steps[-1] > steps[None, :-1]).sum(axis=1)
    return found


def clashing(asking: Asking) -> tuple[Told, ...]:
    """Return the answers that fit the others least, at most ``MOST_NAMED``, the strangest first.

    The first is the one most improbable given all the others, beside what was expected of it; then those that it
    speaks against most, log2 P(a) P(b) / P(a, b) in bits; where it speaks against none, the next most improbable.
    """
    seen = [one.table[one.seen] for one in asking.asked]
    after = asking.weights * reduce(np.multiply, seen)
    strange = []
    for one, row in zip(asking.asked, seen, strict=True):
        others = after / row
        chances = one.table @ others / others.sum()
        strange.append(float(-np.log2(chances[one.seen]) + (chances * np.log2(chances)).sum()))
    order = sorted(range(len(seen)), key=lambda i: (-round(strange[i], 9), asking.asked[i].told[0].check))
    first = order[0]
    against = [_against(asking.weights, seen[first], row) if i != first else 0.0 for i, row in enumerate(seen)]
    partners = sorted((i for i in order[1:] if against[i] >= CLASHES), key=lambda i: -round(against[i], 9))
    named = [first, *(partners or [i for i in order[1:] if strange[i] >= CLASHES])][:MOST_NAMED]
    if len(named) == 1 and len(order) > 1:
        named.append(order[1])
    return tuple(asking.asked[i].told[-1] for i in named)


def _against(weights: Table, one: Table, other: Table) -> float:
    """Return the bits by which two answers speak against each other: Jensen's conflict of the pair (from memory)."""
    return float(np.log2((weights @ one) * (weights @ other) / (weights @ (one * other))))

"""Shares learnt from counts: the Dirichlet distribution, also where a draw may have come from somewhere else.

The prior is a Dirichlet over outcomes, its parameters the prior figures times the cases that they are worth. A draw of
outcome k multiplies it by p_k, and the posterior is the Dirichlet with one added there; each share by itself is a Beta
(conjugate updating: Gelman, Carlin, Stern, Dunson, Vehtari, Rubin, *Bayesian Data Analysis*, 3rd ed., 2.4 and 3.4).

A draw that may as well have come from elsewhere multiplies it by p_k + b: b is what the rest would give it, in units of
what p_k = 1 would. The product of such terms is a polynomial in the shares with coefficients above zero, so the
posterior is a mixture of Dirichlets, and each share a mixture of Betas: worked out in full, with nothing drawn by lot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import lgamma, log

import numpy as np
from numpy.typing import NDArray

Logs = NDArray[np.float64]

SURELY, HARDLY = 1e-4, 300.0
"""A draw with b below the first (as a share of p_k) counts whole, one with b above the second says nothing: what is
lost is less than the last figure that is ever shown."""
SLIGHT = 1e-9
"""Parts of the mixture that weigh less than this beside its largest are left out."""
FINE = 1e-9
"""How closely the limits of a share are worked out."""


@dataclass(frozen=True)
class Share:
    """A share: its mean, and the limits between which it lies with the probability asked for, the rest split evenly."""

    mean: float
    low: float
    high: float


def shares(
    prior: Sequence[float], draws: Sequence[tuple[int, float]], level: float = 0.95, intervals: bool = True
) -> tuple[Share, ...]:
    """Return each outcome's share after the draws, in the order of the prior's parameters.

    ``draws``: (outcome by index, b), as above; b is 0 for a draw that came from here for certain. Without ``intervals``
    the limits are the mean. Raises ValueError for a parameter that is not above 0.
    """
    if any(not a > 0 for a in prior):
        raise ValueError("each parameter of a Dirichlet is above 0")
    base = np.asarray(prior, dtype=float)
    mean = base / base.sum()
    sure, terms = base.copy(), [list[float]() for _ in base]
    for outcome, other in draws:
        if other <= SURELY * mean[outcome]:
            sure[outcome] += 1
        elif other < HARDLY:
            terms[outcome].append(other)
    total = float(sure.sum())
    # By outcome: log of what m of its doubtful draws from here weigh.
    weighed = [_coefficients(bs) + _rising(a, len(bs)) for a, bs in zip(sure, terms, strict=True)]
    every = sum(len(bs) for bs in terms)
    falling = _rising(total, every)
    return tuple(
        _share(
            sure[k], total, weighed[k], _rest([w for j, w in enumerate(weighed) if j != k]), falling, level, intervals
        )
        for k in range(len(base))
    )


def _coefficients(others: Sequence[float]) -> Logs:
    """Return the logs of the coefficients of the product of (p + b) over these b, of p^0 first."""
    logs = np.zeros(1)
    for b in others:
        grown = np.full(len(logs) + 1, -np.inf)
        grown[:-1] = logs + np.log(b)
        grown[1:] = np.logaddexp(grown[1:], logs)
        logs = grown
    return logs


def _rising(a: float, most: int) -> Logs:
    """Return log of a (a+1) ... (a+m-1) for m from 0 to ``most``."""
    return np.array([lgamma(a + m) - lgamma(a) for m in range(most + 1)])


def _rest(logs: Sequence[Logs]) -> Logs:
    """Return the convolution of these, in logs."""
    found = np.zeros(1)
    for one in logs:
        if len(one) == 1:
            found = found + one[0]
            continue
        grown = np.full(len(found) + len(one) - 1, -np.inf)
        for m, weight in enumerate(one):
            grown[m : m + len(found)] = np.logaddexp(grown[m : m + len(found)], found + weight)
        found = grown
    return found


def _share(a: float, total: float, own: Logs, rest: Logs, falling: Logs, level: float, intervals: bool) -> Share:
    n = np.arange(len(rest))
    # m of this outcome's doubtful draws come from here, n of the others': a row of the mixture for each m.
    tops = [float(np.max(w + rest - falling[m : m + len(rest)])) for m, w in enumerate(own)]
    parts: list[tuple[Logs, Logs, Logs]] = []
    for m, top in enumerate(tops):
        if top > max(tops) + log(SLIGHT):
            logs = own[m] + rest - falling[m : m + len(rest)] - max(tops)
            kept = logs > log(SLIGHT)
            parts.append((np.exp(logs[kept]), np.full(int(kept.sum()), a + m), total + m + n[kept]))
    weights, here, every = (np.concatenate(some) for some in zip(*parts, strict=True))
    weights = weights / weights.sum()
    mean = float(np.sum(weights * here / every))
    if not intervals:
        return Share(mean, mean, mean)
    tail = (1 - level) / 2
    return Share(mean, *(_quantile(weights, here, every - here, q) for q in (tail, 1 - tail)))


def _quantile(weights: Logs, a: Logs, b: Logs, q: float) -> float:
    """Return the share below which this mixture of Betas has probability q."""
    from scipy.special import betainc, betaincinv

    # It lies between the least and the greatest of the parts'; halving is enough, and loads less than a solver does.
    ends = betaincinv(a, b, q)
    low, high = float(ends.min()), float(ends.max())
    while high - low > FINE:
        middle = (low + high) / 2
        if float(np.sum(weights * betainc(a, b, middle))) < q:
            low = middle
        else:
            high = middle
    return (low + high) / 2

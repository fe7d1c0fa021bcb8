"""A small rise before the main one, as where a small flame stands before it goes round: two change-points at once.

Before the first instant stands a polynomial; from it on a small rise is added, from the second on the main one, both
through the same lags (:func:`isolate.calc.start_onset.response`), since one probe sees both. Instants, lags and the
order of what stands before are tried on a grid. How likely it is that there are two rises and not one is the Bayes
factor of the two, each averaged over all that is tried (Kass and Raftery, Journal of the American Statistical
Association 90, 1995), with Schwarz's penalty for the further height, times :data:`ODDS`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from isolate.calc.start_onset import DRAWS, PROBE_S, Onset, Shape, news_of, response

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ODDS: Final = 0.2
"""One start in six, before its readings are seen. Our judgement."""
LEAST_APART_S: Final = 0.4
"""What is nearer to the main rise than this is its own beginning."""
LARGEST: Final = 0.4
"""Share of the main rise that a small one has at most."""
SHAPES: Final[tuple[Shape, ...]] = tuple(
    (p, s, twice)
    for p in PROBE_S[1:7]
    for s, twice in ((0.25, False), (0.7, False), (1.6, False), (0.25, True), (0.6, True), (1.2, True))
    if twice or s <= p
)
SHOWS, MAY_SHOW = 4.0, -2.0
"""Of :func:`by_itself`: from the one on there is a small rise, under the other there is none."""
FIRSTS, SECONDS = 36, 16
"""Instants tried for the small rise and for the main one, over all of the range and then where there is weight."""
EDGE: Final = 0.15
"""Weight at the very beginning of the range from which it is not seen to begin, but was there all along."""


class Small(NamedTuple):
    """When a small rise begins, the chance that there is one, and whether it shows by itself before the main one."""

    begins: Onset
    chance: float
    shows: bool


class _Tried(NamedTuple):
    first: Floats
    """Weight of each first instant."""
    second: Floats
    log_odds: float
    """Logarithm of the Bayes factor of two rises against one."""


def small_before(
    time_s: Floats,
    values: Floats,
    first_s: float,
    main: Onset,
    orders: Sequence[int],
    step: float,
    off: float,
    least: float = 0.0,
) -> Small | None:
    """Return when a small rise begins from an instant on and before the main one; None where there is none to see.

    ``orders``: of the polynomial before. ``step``: resolution of the values. ``off``: share of the values' range that
    the shapes may be off by. ``least``: chance under which none is returned.
    """
    import numpy as np

    seconds = np.linspace(max(main.low - 0.6, first_s), main.high + 0.6, SECONDS)
    firsts = np.linspace(first_s, max(main.high - 0.1, first_s + 0.1), FIRSTS)
    if seconds[-1] - firsts[0] < LEAST_APART_S + 0.3 or time_s.size < max(orders) + 10:
        return None
    tried = _tried(time_s, values, firsts, seconds, orders, step, off)
    if tried is None or tried.first[:2].sum() > EDGE:
        return None
    odds = ODDS * float(np.exp(min(tried.log_odds, 50.0)))
    if odds < least * (1 + odds):
        return None
    some, other = (np.flatnonzero(w > 1e-4 * w.max()) for w in (tried.first, tried.second))
    firsts = np.linspace(firsts[max(some[0] - 1, 0)], firsts[min(some[-1] + 1, FIRSTS - 1)], FIRSTS)
    seconds = np.linspace(seconds[max(other[0] - 1, 0)], seconds[min(other[-1] + 1, SECONDS - 1)], SECONDS)
    closer = _tried(time_s, values, firsts, seconds, orders, step, off)
    if closer is None:
        return None
    alone = by_itself(time_s, values, firsts, main.low, orders, step)
    if alone < MAY_SHOW:
        return None
    heap = np.concatenate(([0.0], np.cumsum((closer.first[1:] + closer.first[:-1]) / 2)))
    draws = np.interp((np.arange(DRAWS) + 0.5) / DRAWS, heap / heap[-1], firsts)
    low, value, high = (float(q) for q in np.quantile(draws, [0.025, 0.5, 0.975]))
    return Small(Onset(value, low, high, 2 * tried.log_odds, main.noise, draws), odds / (1 + odds), alone >= SHOWS)


def by_itself(
    time_s: Floats, values: Floats, firsts: Floats, until: float, orders: Sequence[int], step: float
) -> float:
    """Return by how much Schwarz's criterion prefers a small rise in the readings before the main one alone.

    Both rises together may fit better only because the shape of the main one is not among those tried; then the small
    one has no place of its own, and what stands before shows nothing of it.
    """
    import numpy as np

    early = time_s < until
    x, y = time_s[early], values[early]
    firsts = firsts[firsts < until]
    if x.size < max(orders) + 6 or not firsts.size:
        return -np.inf
    scaled = (x - x.mean()) / max(float(np.ptp(x)) / 2, 1e-9)
    since = x[:, None] - firsts[None, :]
    shaped = [response(since, *shape) for shape in SHAPES]
    plain = risen = np.inf
    for order in orders:
        basis, _ = np.linalg.qr(scaled[:, None] ** np.arange(order + 1))
        rest = y - basis @ (basis.T @ y)
        total = float(rest @ rest)
        floor = x.size * step * step / 12 + 1e-12
        n = x.size * news_of(rest)
        plain = min(plain, n * np.log(max(total, floor)) + (order + 1) * np.log(n))
        for one in shaped:
            free = one - basis @ (basis.T @ one)
            along, size = free.T @ rest, np.maximum(np.einsum("ij,ij->j", free, free), 1e-12)
            left = total - float(np.where(along > 0, along**2 / size, 0.0).max())
            # A height and an instant more.
            risen = min(risen, n * np.log(max(left, floor)) + (order + 3) * np.log(n))
    return float(plain - risen)


def _tried(
    time_s: Floats,
    values: Floats,
    firsts: Floats,
    seconds: Floats,
    orders: Sequence[int],
    step: float,
    off: float,
) -> _Tried | None:
    """Return the weights of the instants of both rises; None where no pair fits."""
    import numpy as np

    n, m = time_s.size, firsts.size
    apart = seconds[None, :] - firsts[:, None] >= LEAST_APART_S
    if not apart.any():
        return None
    since = time_s[:, None] - np.concatenate((firsts, seconds))[None, :]
    scaled = (time_s - time_s.mean()) / max(float(np.ptp(time_s)) / 2, 1e-9)
    shaped = [response(since, *shape) for shape in SHAPES]
    both = np.full((len(orders), len(SHAPES), m, seconds.size), np.inf)
    one = np.empty((len(orders), len(SHAPES), m + seconds.size))
    least, left = np.inf, values
    for k, order in enumerate(orders):
        basis, _ = np.linalg.qr(scaled[:, None] ** np.arange(order + 1))
        rest = values - basis @ (basis.T @ values)
        total = float(rest @ rest)
        for j, risen in enumerate(shaped):
            free = risen - basis @ (basis.T @ risen)
            along, size = free.T @ rest, np.maximum(np.einsum("ij,ij->j", free, free), 1e-12)
            one[k, j] = total - np.where(along > 0, along**2 / size, 0.0)
            a, b = along[:m, None], along[None, m:]
            wide, other, cross = size[:m, None], size[None, m:], free[:, :m].T @ free[:, m:]
            det = wide * other - cross**2
            fits = apart & (det > 1e-6 * wide * other)
            det = np.where(fits, det, 1.0)
            small, main = (a * other - b * cross) / det, (b * wide - a * cross) / det
            fits &= (small > 0) & (small < LARGEST * main)
            both[k, j] = np.where(fits, total - a * small - b * main, np.inf)
            at = np.unravel_index(int(np.argmin(both[k, j])), det.shape)
            if both[k, j][at] < least:
                least = float(both[k, j][at])
                left = rest - free[:, at[0]] * small[at] - free[:, m + at[1]] * main[at]
    if not np.isfinite(least):
        return None
    least = max(min(least, float(one.min())), 1e-300)
    taken = np.asarray(orders, dtype=float)[:, None, None] + 6
    extra = n * (max(0.0, step * step / 12 - least / max(n - 8, 1)) + (off * float(np.ptp(values))) ** 2)
    freed = (n - taken) * news_of(left)
    fine = -0.5 * taken * np.log(n)
    log_one = -0.5 * freed * np.log((np.maximum(one, 1e-300) + extra) / (least + extra)) + fine
    log_two = -0.5 * freed[..., None] * np.log((np.maximum(both, 1e-300) + extra) / (least + extra)) + fine[..., None]
    top = max(float(log_one.max()), float(log_two.max()))
    single, double = np.exp(log_one - top), np.exp(log_two - top)
    total_two = float(double.sum())
    if total_two <= 0:
        return None
    mean_two = total_two / (apart.sum() * both.shape[0] * both.shape[1])
    log_odds = float(np.log(mean_two / max(float(single.mean()), 1e-300)) - 0.5 * np.log(n))
    return _Tried(double.sum(axis=(0, 1, 3)) / total_two, double.sum(axis=(0, 1, 2)) / total_two, log_odds)

"""The instant at which a recorded reading begins to rise: a change-point with its interval, no threshold on noise.

What stands before is a level, a straight line or a parabola; from the instant on a rise is added that two lags shape,
one of what is measured and one of its probe: 1 − (T₁e^(−t/T₁) − T₂e^(−t/T₂))/(T₁ − T₂), or three where a flame spreads
or a valve opens and the second lag counts twice, since that begins more slowly. Instant, lags and the order of
what stands before are tried on a grid. Height and noise are not known either: with Zellner's prior on the height and
Jeffreys' on the noise a point of the grid weighs RSS^(−ν/2)·n^(−p/2). The interval holds 95 % of the weight of the
instants, summed over all else, so that what is not known of the lags widens it.

Sources: change-points by the posterior of the instant, Carlin, Gelfand and Smith, Applied Statistics 41 (1992); the
penalty for the order, Schwarz, Annals of Statistics 6 (1978); the two lags are those of any two first-order elements
one after the other. That these lags and no others are tried is our judgement, and the bench says how well it does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

DRAWS: Final = 4000
PROBE_S: Final = (0.0, 0.5, 1.0, 1.6, 2.5, 4.0, 6.5, 12.0, 30.0)
"""Lags tried for the probe, seconds."""
SOURCE_S: Final = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0)
"""Lags tried for what is measured."""
SPREAD_S: Final = (0.15, 0.35, 0.7, 1.2)
"""Lags tried twice, for a flame that spreads."""
STEP_S: Final = (0.0, 0.05, 0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8, 1.1, 1.6)
"""Lags tried for a meter that follows a step."""
TICKS: Final = 80
"""Instants tried, first over all of the range, then where there is weight."""
SLOPE: Final = 0.01
SLOPE_OFF: Final = 0.015
"""A lit engine's gas goes on rising by such a share of its first rise a second, more or less."""
SLOPES: Final = (-0.02, -0.01, 0.0, 0.007, 0.014, 0.022, 0.033, 0.045)
SURGE_S: Final = 1.0
SURGES: Final = (0.0, 0.12, 0.25, 0.5)
"""Shares that a flow may stand over its end at first, while a manifold fills, and about how long that lasts."""
COARSE: Final = (0.05, 0.025, 0.012, 0.005)
"""Each time instants are tried closer together, so much of the range is allowed for lags not yet near enough."""
FEW: Final = 2.5
"""Lags are tried closer together where fewer than so many of them carry the weight."""


Shape = tuple[float, float, bool]
"""Lags of the probe and of the source, and whether the second counts twice."""


@dataclass(frozen=True)
class Onset:
    """When a rise begins, in seconds, with the interval of 95 %.

    ``gain``: how much better the readings fit with the rise than without, as twice the log of the likelihood ratio.
    ``draws``: instants drawn from the weight, in order, for what is worked out from this one.
    ``noise``: standard deviation of the readings about the fit, in their unit.
    """

    value: float
    low: float
    high: float
    gain: float
    noise: float
    draws: Floats


def response(since_s: Any, probe_s: float, source_s: float, twice: bool = False) -> Any:
    """Return the rise to 1 so many seconds after its beginning, through two lags in seconds; 0 before it.

    ``twice``: through the lag of the source twice, as a flame that spreads has it.
    """
    import numpy as np

    since = np.maximum(np.asarray(since_s, dtype=float), 0.0)
    begun = np.asarray(since_s) >= 0
    if twice and probe_s > 0 and source_s > 0:
        if abs(probe_s - source_s) < 1e-3 * probe_s:
            source_s = 0.999 * probe_s
        first = probe_s**2 / (probe_s - source_s) ** 2
        steady = first / probe_s + (1 - first) / source_s
        return 1 - first * np.exp(-since / probe_s) - (1 - first + steady * since) * np.exp(-since / source_s)
    if probe_s < source_s:
        probe_s, source_s = source_s, probe_s
    if probe_s <= 0:
        return begun.astype(float)
    if source_s <= 0:
        return -np.expm1(-since / probe_s)
    if probe_s - source_s < 1e-6 * probe_s:
        return 1 - (1 + since / probe_s) * np.exp(-since / probe_s)
    slow, fast = probe_s * np.exp(-since / probe_s), source_s * np.exp(-since / source_s)
    return 1 - (slow - fast) / (probe_s - source_s)


def rise_shapes() -> tuple[Shape, ...]:
    """Return the lags that are tried for a temperature."""
    plain = tuple((p, s, False) for p in PROBE_S[1:] for s in SOURCE_S if s <= p)
    return plain + tuple((p, s, True) for p in PROBE_S[1:] for s in SPREAD_S)


def onset(
    time_s: Floats,
    values: Floats,
    first_s: float,
    last_s: float,
    shapes: Sequence[Shape],
    orders: Sequence[int] = (1, 2),
    step: float = 0.0,
    tick_s: float = 0.0,
    ramp: bool = False,
    off: float = 0.0,
    finer: bool = True,
    surge: bool = False,
) -> Onset | None:
    """Return when the values begin to rise between two instants; None where there are too few to say.

    ``shapes``: pairs of lags to try. ``orders``: of the polynomial before. ``step``: resolution of the values, which
    their noise cannot be less than. ``tick_s``: how far the time of a reading may be off, in all.
    ``ramp``: the rise may go on rising. ``off``: share of the rise that the shapes may be off by. ``finer``: lags
    between those of ``shapes`` are tried as well. ``surge``: the rise may stand over its end at first.
    """
    import numpy as np

    n = time_s.size
    if n < max(orders) + 4 or last_s <= first_s:
        return None
    centre, half = float(time_s.mean()), max(float(np.ptp(time_s)) / 2, 1e-9)
    bases, rests = [], []
    for order in orders:
        columns = ((time_s - centre) / half)[:, None] ** np.arange(order + 1)
        basis, _ = np.linalg.qr(columns)
        bases.append(basis)
        rests.append(values - basis @ (basis.T @ values))
    floor = step * step / 12
    ticks = np.linspace(first_s, last_s, TICKS)
    near: tuple[float, float] = (1.6, 1.0)
    about: Shape | None = None
    lone = all(source == 0 for _, source, _ in shapes)
    spread = any(twice for *_, twice in shapes)
    fitted = _fitted(time_s, ticks, shapes, orders, bases, rests, floor, ramp, surge)
    for coarse in COARSE:
        # Lags that are not near enough yet would make a wrong instant look sure: so much is allowed for them.
        summed = fitted.weight(max(coarse, off), 1.0).sum(axis=(0, 1))
        some = np.flatnonzero(summed > 1e-5 * summed.max())
        ticks = np.linspace(ticks[max(some[0] - 1, 0)], ticks[min(some[-1] + 1, TICKS - 1)], TICKS)
        by_shape = fitted.weight(off, 1.0).sum(axis=(0, 2))
        if finer and by_shape.sum() ** 2 < FEW * (by_shape**2).sum():
            best_shape = shapes[int(np.argmax(by_shape))]
            if about is not None:
                # Only where the best is no longer at an edge of what was tried are they set closer.
                inside = abs(np.log(best_shape[0] / about[0])) < 0.9 * np.log(near[0]) if about[0] > 0 else True
                near = (near[0] ** (0.5 if inside else 1.0), near[1] * 0.6)
            shapes, about = _finer(best_shape, near, lone, spread), best_shape
        fitted = _fitted(time_s, ticks, shapes, orders, bases, rests, floor, ramp, surge)
    weight, best = fitted.weight(off), (fitted.least, fitted.taken_by_best)
    summed = weight.sum(axis=(0, 1))
    without = min(float(rest @ rest) * n ** ((o + 1) / n) for rest, o in zip(rests, orders, strict=True))
    gain = n * float(np.log(max(without, n * floor, 1e-300) / max(best[0], n * floor, 1e-300)))
    noise = float(np.sqrt(max(best[0] / max(n - best[1], 1), floor)))
    heap = np.concatenate(([0.0], np.cumsum((summed[1:] + summed[:-1]) / 2)))
    heap /= heap[-1]
    draws = np.interp((np.arange(DRAWS) + 0.5) / DRAWS, heap, ticks)
    if tick_s:
        chance = np.random.default_rng(19920101)
        draws = np.sort(draws + tick_s * chance.uniform(-0.5, 0.5, DRAWS))
    low, value, high = np.quantile(draws, [0.025, 0.5, 0.975])
    return Onset(float(value), float(low), float(high), gain, noise, draws)


def _finer(shape: Shape, near: tuple[float, float], lone: bool, spread: bool) -> tuple[Shape, ...]:
    """Return pairs of lags about one, closer together: by a factor, and by a share, at most.

    ``lone``: there is one lag and no second.
    """
    # Of one lag alone there are few, so they are set closer: too few would leave out lags that carry weight.
    powers = tuple(x / 5 for x in range(-5, 6)) if lone else (-1.0, -0.5, 0.0, 0.5, 1.0)
    probes = [shape[0] * near[0] ** x for x in powers] if shape[0] > 0 else [0.0, 0.03, 0.06, 0.1]
    sources = sorted({max(0.0, shape[1] + near[1] * max(shape[1], 0.25) * x) for x in powers})
    plain = tuple((p, s, False) for p in probes for s in ([0.0] if lone else sources))
    if not spread:
        return plain
    # One lag and the same spread over two are about as late.
    twice = [s if shape[2] else 0.6 * s for s in sources if s > 0]
    once = [s if not shape[2] else 1.6 * s for s in sources]
    return tuple((p, s, False) for p in probes for s in once) + tuple((p, s, True) for p in probes for s in twice)


@dataclass(frozen=True)
class _Fitted:
    """What is left of the squares at each (order, shape, slope, instant), and what that is set against."""

    squares: Floats
    least: float
    taken: NDArray[np.int64]
    """Figures that each order takes, of shape (orders, 1, 1, 1)."""
    taken_by_best: int
    slopes: Floats
    count: int
    news: float
    """Share of the readings that are news."""
    size: float
    """Range of the readings."""
    ramp: bool
    lacking: float
    """What the noise falls short of a resolution's, squared."""

    def weight(self, off: float, news: float | None = None) -> Floats:
        """Return the weight of (order, shape, instant).

        ``off``: share of the range that shapes may be off by. ``news``: in place of what the readings themselves show.
        """
        import numpy as np

        extra = self.count * (self.lacking + (off * self.size) ** 2)
        free = (self.count - self.taken) * (self.news if news is None else news)
        logs = -0.5 * free * np.log((self.squares + extra) / (self.least + extra))
        logs = logs - 0.5 * self.taken * np.log(self.count)
        if self.ramp:
            logs = logs - 0.5 * ((self.slopes[:, None] - SLOPE) / SLOPE_OFF) ** 2
        found: Floats = np.exp(logs - logs.max()).sum(axis=2)
        return found


def _fitted(
    time_s: Floats,
    ticks: Floats,
    shapes: Sequence[Shape],
    orders: Sequence[int],
    bases: Sequence[Floats],
    rests: Sequence[Floats],
    floor: float,
    ramp: bool,
    surge: bool,
) -> _Fitted:
    import numpy as np

    n = time_s.size
    slopes = np.asarray(SLOPES if ramp else SURGES if surge else (0.0,))
    squares = np.empty((len(orders), len(shapes), slopes.size, ticks.size))
    since = time_s[:, None] - ticks[None, :]
    for j, (probe, source, twice) in enumerate(shapes):
        shape = response(since, probe, source, twice)
        ramped = _ramped(since, probe) if ramp else _surged(since, probe) if surge else shape
        for k, (basis, rest) in enumerate(zip(bases, rests, strict=True)):
            left = shape - basis @ (basis.T @ shape)
            along, size = rest @ left, np.einsum("ij,ij->j", left, left)
            if slopes.size > 1:
                more = ramped - basis @ (basis.T @ ramped)
                other, wide = rest @ more, np.einsum("ij,ij->j", more, more)
                both = np.einsum("ij,ij->j", left, more)
                along = along + slopes[:, None] * other
                size = size + 2 * slopes[:, None] * both + slopes[:, None] ** 2 * wide
            fits = (along > 0) & (size > 1e-9)
            drop = np.where(fits, along**2 / np.where(fits, size, 1.0), 0.0)
            squares[k, j] = (float(rest @ rest) - drop).reshape(slopes.size, ticks.size)
    taken = np.asarray(orders)[:, None, None, None] + 6
    squares = np.maximum(squares, 1e-300)
    k, j, m, i = (int(x) for x in np.unravel_index(int(np.argmin(squares)), squares.shape))
    least, free = float(squares[k, j, m, i]), n - int(taken[k, 0, 0, 0])
    clump = _clumped(time_s, ticks[i], shapes[j], float(slopes[m]) if ramp else 0.0, bases[k], rests[k])
    # Readings in steps leave less than their steps allow where the rest is still.
    lacking = max(0.0, floor - least / max(free, 1))
    best = int(taken[int(k), 0, 0, 0])
    return _Fitted(squares, least, taken, best, slopes, n, clump, float(np.ptp(rests[0])), ramp, lacking)


def _ramped(since_s: Any, probe_s: float) -> Any:
    """Return a rise of 1 a second through a lag."""
    import numpy as np

    return np.maximum(since_s, 0.0) - probe_s * response(since_s, probe_s, 0.0)


def _surged(since_s: Any, lag_s: float) -> Any:
    """Return what dies away from 1 within :data:`SURGE_S`, through a lag."""
    import numpy as np

    since = np.maximum(np.asarray(since_s, dtype=float), 0.0)
    begun = np.asarray(since_s) >= 0
    if lag_s <= 0:
        return begun * np.exp(-since / SURGE_S)
    if abs(lag_s - SURGE_S) < 1e-3 * SURGE_S:
        lag_s = 0.999 * SURGE_S
    return SURGE_S / (SURGE_S - lag_s) * (np.exp(-since / SURGE_S) - np.exp(-since / lag_s))


def _clumped(time_s: Floats, instant: float, shape: Shape, slope: float, basis: Floats, rest: Floats) -> float:
    """Return the share of the readings that are news beside a fit, see :func:`news_of`."""
    since = time_s - instant
    risen = response(since, *shape)
    if slope:
        risen = risen + slope * _ramped(since, shape[0])
    left = risen - basis @ (basis.T @ risen)
    size = float(left @ left)
    off = rest - left * (float(rest @ left) / size) if size > 1e-9 else rest
    return news_of(off)


def news_of(off: Floats) -> float:
    """Return the share of what is left over a fit that is news, where each takes after the one before; 1: all of it."""
    import numpy as np

    total = float(off @ off)
    if total <= 0 or off.size < 12:
        return 1.0
    like = float(off[1:] @ off[:-1]) / total + 2.0 / off.size
    # What may be chance alone is taken for none.
    if like < 1.6 / np.sqrt(off.size):
        return 1.0
    return max(0.05, (1 - like) / (1 + like))

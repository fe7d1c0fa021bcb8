"""What a trial found, in figures: means and shares with their intervals, as JSON takes them and as lines of text."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from isolate.drill.policies import HINDSIGHT, OURS, POLICIES
from isolate.drill.trial import ENDS, GAVE_UP, WRONG_ENDS, Asked, Done, Played, knowledge
from isolate.reasoning.problem import Vector

RESAMPLES = 1000
Z95 = 1.959963984540054
"""Two-sided 95 % of the normal distribution."""


def wilson(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson 1927): (lower, upper), shares of one."""
    if of == 0:
        return 0.0, 1.0
    share, z2 = count / of, Z95**2
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = Z95 / (1 + z2 / of) * math.sqrt(share * (1 - share) / of + z2 / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def report(asked: Asked, done: Sequence[Done]) -> dict[str, Any]:
    """Return all figures as JSON takes them: policy by policy, over everything and problem by problem.

    Minutes are equivalent minutes, shares fractions of one, intervals [lower, upper] of 95 %.
    """
    played: dict[str, dict[tuple[str, str, int], Played]] = {name: {} for name in asked.policies}
    kept: dict[tuple[str, str], float] = {}
    decisions: Counter[str] = Counter()
    for block, cases, share, made in done:
        kept[block.engine, block.complaint] = share
        decisions[block.policy] += made
        for one in cases:
            played[block.policy][block.engine, block.complaint, one.case] = one
    problems = sorted(kept)
    return {
        "cases": sum(len(cases) for cases in list(played.values())[:1]),
        "place": asked.place,
        "seed": asked.seed,
        "budget": asked.budget,
        "knowledge": knowledge(asked.folder).digest,
        "kept": {"least": min(kept.values()), "mean": float(np.mean(list(kept.values())))},
        "policies": {
            name: {"title": POLICIES[name], **_figures(cases, played.get(OURS)), "decisions": decisions[name]}
            for name, cases in played.items()
        },
        "engines": {
            engine: {name: _brief(_of(cases, engine)) for name, cases in played.items()} for engine in asked.engines
        },
        "problems": [
            {
                "engine": engine,
                "complaint": complaint,
                "kept": kept[engine, complaint],
                "policies": {name: _brief(_of(cases, engine, complaint)) for name, cases in played.items()},
            }
            for engine, complaint in problems
        ],
    }


def _of(cases: Mapping[tuple[str, str, int], Played], engine: str, complaint: str | None = None) -> list[Played]:
    return [p for (e, c, _), p in sorted(cases.items()) if e == engine and complaint in (None, c)]


def _brief(cases: Sequence[Played]) -> dict[str, Any]:
    minutes = np.array([p.minutes for p in cases])
    return {
        "cases": len(cases),
        "mean": _round(minutes.mean()),
        "mean_interval": _mean_interval(minutes),
        "wrong": sum(p.end in WRONG_ENDS for p in cases),
    }


def _figures(
    cases: Mapping[tuple[str, str, int], Played], ours: Mapping[tuple[str, str, int], Played] | None
) -> dict[str, Any]:
    order = sorted(cases)
    all_of = [cases[key] for key in order]
    minutes = np.array([p.minutes for p in all_of])
    ends = Counter(p.end for p in all_of)
    wrong = sum(ends[end] for end in WRONG_ENDS)
    vain = sum(p.vain > 0 for p in all_of)
    unsafe = Counter(phrase for p in all_of for phrase in p.unsafe)
    found: dict[str, Any] = {
        **_brief(all_of),
        "spread": _round(minutes.std(ddof=1)) if len(minutes) > 1 else 0.0,
        "percentiles": {str(q): _round(np.percentile(minutes, q)) for q in (5, 25, 50, 75, 95)},
        "checks": _round(sum(p.checks for p in all_of) / len(all_of)),
        "repairs": _round(sum(p.repairs for p in all_of) / len(all_of)),
        "ends": {end: ends[end] for end in ENDS if ends[end]},
        "wrong_share": _round(wrong / len(all_of), 6),
        "wrong_interval": [_round(x, 6) for x in wilson(wrong, len(all_of))],
        "gave_up_share": _round(ends[GAVE_UP] / len(all_of), 6),
        "gave_up_interval": [_round(x, 6) for x in wilson(ends[GAVE_UP], len(all_of))],
        "vain": sum(p.vain for p in all_of),
        "vain_share": _round(vain / len(all_of), 6),
        "vain_interval": [_round(x, 6) for x in wilson(vain, len(all_of))],
        "unsafe": sum(unsafe.values()),
        "unsafe_moves": dict(sorted(unsafe.items())),
    }
    if ours is not None:
        base = np.array([ours[key].minutes for key in order])
        found["to_ours"] = _round(minutes.mean() / base.mean(), 4) if base.mean() > 0 else None
        found["to_ours_interval"] = _ratio_interval(minutes, base)
    return found


def _mean_interval(minutes: Vector) -> list[float]:
    if len(minutes) < 2:
        return [_round(minutes.mean()), _round(minutes.mean())]
    half = Z95 * float(minutes.std(ddof=1)) / math.sqrt(len(minutes))
    return [_round(minutes.mean() - half), _round(minutes.mean() + half)]


def _ratio_interval(above: Vector, below: Vector) -> list[float] | None:
    """Return the 95 % interval of the ratio of means, cases resampled in pairs, seeded."""
    if below.mean() <= 0:
        return None
    rng = np.random.default_rng(0)
    ratios = np.empty(RESAMPLES)
    for k in range(RESAMPLES):
        pick = rng.integers(0, len(above), len(above))
        total = below[pick].sum()
        ratios[k] = above[pick].sum() / total if total > 0 else np.nan
    low, high = np.nanquantile(ratios, [0.025, 0.975])
    return [_round(low, 4), _round(high, 4)]


def _round(value: float, digits: int = 3) -> float:
    return round(float(value), digits)


def lines(found: Mapping[str, Any]) -> list[str]:
    """Return a report as lines of text, no wider than 80 columns."""
    policies: Mapping[str, Any] = found["policies"]
    wide = max(len(name) for name in policies)
    made = [
        f"{found['cases']} cases at the {found['place']}, {len(found['problems'])} complaints over "
        f"{', '.join(found['engines'])}; seed {found['seed']}.",
        f"Drawn from {found['kept']['mean']:.1%} of the belief on average, from {found['kept']['least']:.1%} at least.",
        "",
        *(f"{name:{wide}}  {policies[name]['title']}" for name in policies),
        "",
        "Equivalent minutes to the end, with 95 % intervals:",
        f"{'':{wide}}  {'mean':>6}  {'95 %':>13}  {'spread':>6}  {'median':>6}"
        + ("  ratio to ours" if OURS in policies else ""),
    ]
    for name, p in policies.items():
        low, high = p["mean_interval"]
        line = f"{name:{wide}}  {p['mean']:6.1f}  {f'{low:.1f}-{high:.1f}':>13}  {p['spread']:6.1f}"
        line += f"  {p['percentiles']['50']:6.1f}"
        if p.get("to_ours") is not None and p["to_ours_interval"] is not None:
            line += f"  {p['to_ours']:.3f} ({p['to_ours_interval'][0]:.3f}-{p['to_ours_interval'][1]:.3f})"
        made.append(line)
    made += [
        "",
        "Share of cases, with 95 % intervals:",
        f"{'':{wide}}  {'wrong verdict':>18}  {'given up':>18}  {'parts in vain':>18}  {'unsafe':>6}",
    ]
    for name, p in policies.items():
        if name == HINDSIGHT:
            continue
        shares = (_share(p["wrong_share"], p["wrong_interval"]), _share(p["gave_up_share"], p["gave_up_interval"]))
        vain = _share(p["vain_share"], p["vain_interval"])
        made.append(f"{name:{wide}}  {shares[0]:>18}  {shares[1]:>18}  {vain:>18}  {p['unsafe']:>6}")
    unsafe = [(name, phrase, n) for name, p in policies.items() for phrase, n in p["unsafe_moves"].items()]
    made += ["", "How cases ended:"]
    for name, p in policies.items():
        if name != HINDSIGHT:
            ended = "; ".join(f"{end} {count / p['cases']:.1%}" for end, count in p["ends"].items())
            made += textwrap.wrap(f"{name:{wide}}  {ended}", 80, subsequent_indent=" " * (wide + 2))
    made += ["", "Unsafe offers: none." if not unsafe else f"UNSAFE OFFERS, {len(unsafe)} kinds:"]
    made += [f"  {name}: {phrase} ({n} times)" for name, phrase, n in unsafe]
    return made


def _share(share: float, interval: Sequence[float]) -> str:
    return f"{share:.1%} ({interval[0]:.1%}-{interval[1]:.1%})".replace("%-", "-").replace("%)", ")")

"""A trial as a picture: what each policy costs, and how often it goes wrong. Only this module knows matplotlib."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from isolate.drill.trial import TrialError

KINDS = (".svg", ".png")
"""What a picture may be, by the end of its file's name."""
OURS, OTHER, FAINT = "#1f5a92", "#8a8f98", "#4a4f57"
MARKS = (
    ("wrong", "wrong verdict", "#b23a2f", 0.2),
    ("gave_up", "given up", "#c98a1b", 0.0),
    ("vain", "parts in vain", "#5b7f4e", -0.2),
)
"""Shares shown: key, label, colour, and how far off the row."""


def able(path: Path) -> None:
    """Raise TrialError where no such picture can be drawn here."""
    if path.suffix.lower() not in KINDS:
        raise TrialError(f"{path}: a picture is written as {' or '.join(KINDS)}")
    if find_spec("matplotlib") is None:
        raise TrialError("--picture needs the extra that brings it: pip install 'ignition-isolate[chart]'")


def draw(report: Mapping[str, Any], path: Path) -> None:
    """Write the picture of a report (:func:`isolate.drill.tally.report`). Raises TrialError and OSError.

    The same report gives the same SVG.
    """
    able(path)
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "isolate", "font.size": 9, "axes.spines.right": False}):
        figure = _figure(report)
        kind = path.suffix.lower().lstrip(".")
        figure.savefig(path, format=kind, dpi=150, metadata={"Date": None} if kind == "svg" else None)


def _figure(report: Mapping[str, Any]) -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    policies: Mapping[str, Any] = report["policies"]
    names = list(policies)
    rows = range(len(names), 0, -1)
    figure = Figure(figsize=(10, 1.7 + 0.55 * len(names)), layout="constrained")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    figure.suptitle(
        f"{report['cases']} sampled cases a policy, {', '.join(report['engines'])}, {report['place']}; "
        f"seed {report['seed']}",
        fontsize=10,
    )
    for row, name in zip(rows, names, strict=True):
        figures = policies[name]
        colour = OURS if name == "ours" else OTHER
        many = figures["percentiles"]
        left.plot([many["5"], many["95"]], [row, row], color=colour, lw=1, zorder=1)
        left.plot([many["25"], many["75"]], [row, row], color=colour, lw=8, alpha=0.45, solid_capstyle="butt", zorder=2)
        left.plot([many["50"]], [row], marker="|", ms=11, mew=1.5, color="white", zorder=3)
        low, high = figures["mean_interval"]
        left.errorbar(
            [figures["mean"]], [row], xerr=[[figures["mean"] - low], [high - figures["mean"]]],
            fmt="o", ms=5, color=FAINT, ecolor=FAINT, capsize=3, zorder=4,
        )  # fmt: skip
        left.annotate(
            f"{figures['mean']:.0f}",
            (figures["mean"], row),
            (0, 8),
            textcoords="offset points",
            ha="center",
            va="bottom",
            color=FAINT,
        )
    left.set_yticks(list(rows), [f"{name}\n{policies[name]['title']}" for name in names])
    left.set_ylim(0.4, len(names) + 0.7)
    left.set_xlim(left=0)
    left.set_xlabel(
        "equivalent minutes to the end\ndot: mean and 95 %; bar: middle half; line: 5 to 95 %; notch: median"
    )
    for key, label, colour, off in MARKS:
        at = [(row, policies[name]) for row, name in zip(rows, names, strict=True) if name != "hindsight"]
        share = [100 * p[f"{key}_share"] for _, p in at]
        ends = [[100 * x for x in p[f"{key}_interval"]] for _, p in at]
        right.barh([row + off for row, _ in at], share, height=0.18, color=colour, label=label)
        right.errorbar(
            share, [row + off for row, _ in at],
            xerr=[[s - low for s, (low, _) in zip(share, ends, strict=True)],
                  [high - s for s, (_, high) in zip(share, ends, strict=True)]],
            fmt="none", ecolor=FAINT, elinewidth=0.8, capsize=2,
        )  # fmt: skip
    unsafe = sum(p["unsafe"] for p in policies.values())
    right.set_xlabel(f"share of cases, %, with 95 %\nunsafe offers: {unsafe or 'none'}")
    right.set_xlim(left=0)
    right.tick_params(axis="y", length=0)
    right.legend(frameon=False, loc="best", fontsize=8)
    for axes in (left, right):
        axes.spines["top"].set_visible(False)
        axes.grid(axis="x", color="#e4e6ea", lw=0.6)
        axes.set_axisbelow(True)
    return figure

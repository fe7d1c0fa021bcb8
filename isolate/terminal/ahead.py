"""The plan some moves deep, as a tree on the screen: what may turn out, what is done then, how each branch ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from rich.tree import Tree

from isolate.case.ahead import together
from isolate.terminal.layout import heading, text
from isolate.terminal.words import listed, minutes, percent, roughly, small

if TYPE_CHECKING:
    from isolate.case.ahead import Leg, Plan, PlanStep, Said

LABEL = 4
"""Columns of the percentage and of the words below it."""
SAID = {
    "passed": "Every part of the verification passes",
    "failed": "Does not pass: {says}",
    "done": "When that is done",
    "held": "Held back: {says}",
}
"""How a branch is called that is no answer."""
Line = tuple[str, str, str]
"""Label, text, style of both."""


def tree(shown: Plan, width: int) -> Group:
    """Return a plan; branches that lead on alike are written together."""
    first = together(shown.root)
    root = Tree(_lines(_move(first, "next")), guide_style="dim")
    _grow(root, first)
    return Group(
        heading(f"{shown.depth} moves deep" if shown.depth > 1 else "one move deep", width, "The plan from here"),
        *(text(line) for line in _taken(shown)),
        root,
        *(text(line, "dim") for line in _foot(shown)),
    )


def _grow(into: Tree, step: PlanStep) -> None:
    for leg in step.legs:
        branch = into.add(_lines(_leg(leg)))
        if leg.step is not None:
            _grow(branch, leg.step)
    if step.rare:
        some = f"and {step.rare} more" if step.legs else f"{step.rare} branch{'es' if step.rare > 1 else ''}"
        into.add(text(f"{some}, {_share(step.rare_share)} of all{' together' if step.rare > 1 else ''}", "dim"))


def _lines(lines: Sequence[Line]) -> RenderableType:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=LABEL, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for label, says, style in lines:
        grid.add_row(Text(label, style=style), text(says, style))
    return grid


def _leg(leg: Leg) -> list[Line]:
    """Return the lines of a branch: what turned out, how often all comes to that and when, and what follows."""
    found: list[Line] = []
    for said in leg.said if leg.said[0].kind != "nothing" else ():
        # Nothing else can turn out where a thing is merely done.
        first = percent(leg.probability) if said.kind != "done" else ""
        found.append(("or" if found else first, _said(said), "" if found else "cyan"))
    so_far = [] if _same(leg.probability, leg.reach) else [f"{percent(leg.reach)} of all cases"]
    if leg.minutes > 0:
        so_far.append(f"{minutes(leg.minutes)} spent by then")
    if so_far:
        found.append(("", ", ".join(so_far), "dim"))
    if leg.step is not None:
        return [*found, *_move(leg.step, "then")]
    return [*found, _end(leg)]


def _said(said: Said) -> str:
    return SAID.get(said.kind, "{says}").replace("{says}", said.says)


def _same(one: float, other: float) -> bool:
    return percent(one) == percent(other)


def _move(step: PlanStep, label: str) -> list[Line]:
    node = step.node
    title = node.title
    if node.kind == "repair" and any(d.kind == "check" for d in node.doing):
        title = f"{title}, then verify"
    if node.kind == "end":
        title = f"{title} (that ends it)"
    costs = [minutes(node.minutes)] if node.kind not in ("end", "close") else []
    if node.expected is not None:
        costs.append(f"{roughly(node.expected)} to the end")
    found: list[Line] = [("now" if node.in_hand else label, title, "bold")]
    if node.in_hand:
        costs.insert(0, "in hand")
    if costs:
        found.append(("", ", ".join(costs), ""))
    for word, kind in (("opens", "open"), ("shuts", "close")):
        what = list(dict.fromkeys(small(d.says) for d in node.doing if d.kind == kind))
        if what:
            found.append(("", f"{word}: {' · '.join(what)}", "dim"))
    found += [("", f"{held} would come first, but is held back: {why}", "yellow") for held, why in node.past]
    return found


def _end(leg: Leg) -> Line:
    """Return how a branch ends, or what it goes on with."""
    lead = leg.lead
    shut = f"; closed up {minutes(lead.closing)} later" if lead.closing > 0 else ""
    if lead.kind == "close-up":
        return "ends", f"verified{shut}; chance of a fault left {percent(lead.remaining)}", "green"
    if lead.kind in ("hand-over", "end"):
        return "ends", f"{lead.title}{shut}", "green"
    if lead.kind == "held":
        return "then", f"cannot go on here: {lead.title}", "yellow"
    go = f", {roughly(lead.expected)} to the end" if lead.expected is not None else ""
    why = " (left out here)" if leg.left_out else ""
    return "then", f"goes on: {lead.title}{go}{why}", ""


def _share(value: float) -> str:
    """A share to a tenth of a percent; what is short of all is not shown as all, nor what is above none as none."""
    if 0.9995 <= value < 1:
        return ">99.9%"
    return "<0.1%" if 0 < value < 0.0005 else f"{100 * value:.1f}%"


def _taken(shown: Plan) -> list[str]:
    """Return what is taken to be as it was, though somebody has to look or say so first, and what timers run."""
    found = []
    if shown.walked:
        seen = listed([small(title) for _, title, _ in shown.walked])
        found.append(f"First a look at the aircraft, taken to show all as it was left: {seen}.")
    if shown.same_people:
        found.append("First who is here is told; the plan takes it to be the same people.")
    for title, left in shown.timers:
        found.append(f"Running already: {small(title)}, {minutes(left)} left; the minutes below do not count it.")
    return found


def _foot(shown: Plan) -> list[str]:
    far = f"followed {shown.depth} move{'s' if shown.depth > 1 else ''} ahead or to an end"
    if shown.covered > 1 - 1e-9:
        found = [f"All cases are {far}."]
    else:
        gathered = f"branches of less than {shown.rare:.0%} of all cases are gathered"
        found = [f"{_share(shown.covered)} of cases are {far}; {gathered}."]
    if shown.cut:
        found.append(f"It would be longer: of more than {shown.most} moves these are the most probable.")
    found.append(
        "Minutes are by the book; those to the end are an estimate, parts counted as minutes. Could not tell is on no "
        "branch: nobody knows how often; the plan is made anew then."
    )
    return found

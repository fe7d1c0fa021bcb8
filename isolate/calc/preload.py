"""What a thread compound does to the preload: the same torque pulls a slippery thread much tighter than a dry one.

To show why the state of the thread belongs to the torque. Nothing here is a reason to set another torque.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit
from isolate.calc.spread import Spread, spread
from isolate.calc.units import POUND_FORCE, Quantity, figure, unit_of

FACTORS: Final[Mapping[str, float]] = {"dry": 0.20, "oiled": 0.15, "compound": 0.12}
"""State of the thread → nut factor K, as engineering tables after Shigley and Machinery's Handbook have it."""
CALLED: Final[Mapping[str, str]] = {
    "dry": "dry",
    "oiled": "lightly oiled",
    "compound": "with an anti-seize compound",
}
NEAR: Final = 0.05
"""Factors nearer to each other than that are the same for all that anybody knows. Our judgement."""
DIAMETERS_M: Final = (0.003, 0.08)
TORQUES_NM: Final = (0.02, 3000.0)


def preload(torque_nm: Any, diameter_m: Any, nut_factor: Any) -> Any:
    """Return the preload in newtons that a torque gives: F = T / (K · D). Numbers or arrays.

    ``diameter_m``: major diameter of the thread. ``nut_factor``: K, without a unit; see :data:`FACTORS`.
    Source: T = K · D · F in Shigley, *Mechanical Engineering Design*, and Machinery's Handbook.
    """
    return torque_nm / (nut_factor * diameter_m)


@dataclass(frozen=True)
class State:
    """A thread's state: its factor K, its preload in newtons or, without a diameter, as a share of what is called."""

    called: str
    name: str
    factor: float
    force: Spread


def _factor(given: Given, which: str) -> float:
    told = given.get(f"k-{which}")
    if told is None:
        return FACTORS[given[which]]
    if not 0.05 <= told <= 0.6:
        raise Unfit(f"k-{which}: a nut factor lies between .05 and .6; {figure(told)} is none", f"k-{which}")
    return float(told)


def _work(given: Given) -> Found:
    torque, diameter, scatter = given["torque"], given.get("diameter"), given["scatter"]
    if torque.value <= 0:
        raise Unfit("torque: a torque above nought is needed", "torque")
    if not TORQUES_NM[0] <= torque.value <= TORQUES_NM[1]:
        raise Unfit(f"torque: {torque.said()} is no torque for a hand wrench; is the unit right?", "torque")
    if diameter is not None and not DIAMETERS_M[0] <= diameter.low <= diameter.high <= DIAMETERS_M[1]:
        raise Unfit(f"diameter: {diameter.said()} is no plug's thread; is the unit right?", "diameter")
    if not 0 < scatter.value < 0.7:
        raise Unfit(f"scatter: {scatter.said()} is no scatter of preload; 30 % is common", "scatter")
    found_k, called_k = _factor(given, "found"), _factor(given, "called")
    # Without a diameter the force is told as a share of the middle of what the data's own state gives.
    size: Quantity | float = diameter if diameter is not None else torque.value / called_k
    load: Quantity | float = torque if diameter is not None else torque.value
    one = Quantity("share", 1.0, scatter.value, "1")
    states = []
    for which, k in (("found", found_k), ("called", called_k)):
        force = spread(lambda t, d, u, k=k: preload(t, d, k) * u, load, size, one)
        states.append(State(which, given[which], k, force))
    found = states[0]
    ratio = called_k / found_k
    sure = Spread(ratio, *(ratio * bound / found.force.value for bound in found.force[1:]))
    beyond = _beyond(ratio, scatter.value)
    figures = [
        Figure("ratio", "preload beside the middle of what the data's state of the thread gives", *sure, ""),
        Figure("beyond", "share of plugs outside what the data's state of the thread gives", *(beyond,) * 3, ""),
    ]
    lines = []
    if diameter is not None:
        for state in states:
            figures.append(Figure(f"preload-{state.called}", f"preload, thread as {state.called}", *state.force, "N"))
            lines.append(
                f"Thread as {state.called}, {CALLED[state.name]} (K {figure(state.factor)}): about "
                f"{_force(state.force.value)}, {_force(state.force.low)} to {_force(state.force.high)}."
            )
    if abs(ratio - 1) < 5e-3:
        much = "the preload that your data counts on"
    else:
        much = f"{figure(ratio)} times the preload that your data counts on"
    lines.insert(
        0,
        f"{figure(torque.value / unit_of('torque', torque.unit).factor)} {torque.unit} gives {much} (single plugs: "
        f"{figure(sure.low)} to {figure(sure.high)} times its middle).",
    )
    if abs(ratio - 1) >= NEAR:
        lines.append(
            f"About {100 * beyond:.0f} % of plugs so fitted end up {'above' if ratio > 1 else 'below'} all that the "
            "data's state would give."
        )
    lines.append(_means(given, ratio))
    lines.append(
        "Work to the torque and the state of the thread that your data gives together; neither is changed to make up "
        "for the other. Low break-out torque on a thread with compound is low friction, not low preload."
    )
    lines.append(
        f"K is a table's figure and preload scatters by about {figure(100 * scatter.value)} % either way at one torque "
        "(common practice): this shows which way and how much, not what this plug holds."
    )
    return Found(tuple(lines), tuple(figures), {"": _judged(given, ratio)}, (), tuple(states))


def _beyond(ratio: float, scatter: float) -> float:
    """Return the share of preloads, evenly within ±scatter of ``ratio``, that lie outside ±scatter of 1 on its side."""
    low, high = ratio * (1 - scatter), ratio * (1 + scatter)
    outside = high - (1 + scatter) if ratio > 1 else (1 - scatter) - low
    return min(1.0, max(0.0, outside / (high - low)))


def _means(given: Given, ratio: float) -> str:
    found, called = given["found"], given["called"]
    if abs(ratio - 1) < NEAR:
        if found == called:
            return "The thread is as the data has it: the torque gives the preload that it is meant to."
        return "The thread is not as the data has it, though the two factors are much alike: put it right all the same."
    if ratio > 1:
        return (
            f"{_states(given)}. That overloads thread, gasket and insert, and may stretch or ruin them: clean it off "
            "as the data says and look at the insert."
        )
    seizes = ", and without compound it seizes" if called == "compound" and found != called else ""
    return f"{_states(given)}. That is too little preload: the plug may leak or back off{seizes}."


def _states(given: Given) -> str:
    found, called = given["found"], given["called"]
    if found != called:
        return f"The thread is {CALLED[found]} where the data has it {CALLED[called]}"
    return f"The thread is {CALLED[found]} as the data has it, but its factor K is not the data's"


def _judged(given: Given, ratio: float) -> Judged:
    if abs(ratio - 1) < NEAR:
        if given["found"] == given["called"]:
            return Judged("as-called", f"{CALLED[given['found']]}.")
        return Judged(CANNOT_TELL, f"{_states(given)}, and the two factors are much alike.")
    return Judged("overloads" if ratio > 1 else "underloads", f"{figure(ratio)} times the preload.")


def _force(newtons: float) -> str:
    return f"{figure(newtons / 1000)} kN ({figure(newtons / POUND_FORCE)} lbf)"


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    left, flat, middle, right = ("|", "-", "#", "|") if ascii_only else ("├", "─", "█", "┤")
    states: tuple[State, ...] = found.detail
    names = [f"  {s.called}, {s.name} " for s in states]
    margin = max(map(len, names))
    room = max(10, width - margin - 1)
    most = max(s.force.high for s in states)
    middle_of = states[1].force.value
    lines = []
    for name, state in zip(names, states, strict=True):
        at = [round(x / most * (room - 1)) for x in (state.force.low, state.force.value, state.force.high)]
        row = [" "] * room
        row[at[0] : at[2] + 1] = [left, *[flat] * (at[2] - at[0] - 1), right]
        row[at[1]] = middle
        lines.append(name.ljust(margin) + "".join(row).rstrip())
    scale = [" "] * room
    scale[0] = "0"
    scale[round(middle_of / most * (room - 1))] = "1"
    lines.append(" " * margin + "".join(scale).rstrip())
    legend = f"{middle} the middle, {left}{right} 95 of 100 plugs; 1: the middle of what the data's own state gives"
    return (*lines, *textwrap.wrap(legend, max(20, width), initial_indent="  ", subsequent_indent="  "))


CALCULATION = Calculation(
    "preload",
    "what a thread compound does to the preload that a torque gives",
    (
        Input("torque", "torque", "Torque on the plug, from your data", hint="25 N·m"),
        Input(
            "found",
            "choice",
            "State of the thread as found: dry, lightly oiled, or with an anti-seize compound",
            choices=tuple(FACTORS),
            hint="compound",
        ),
        Input(
            "called",
            "choice",
            "State of the thread that is called for with that torque",
            choices=tuple(FACTORS),
            limit=True,
            hint="dry",
        ),
        Input(
            "diameter", "length", "Major diameter of the thread, if the preload is wanted in figures", "", hint="18 mm"
        ),
        Input("k-found", "number", "Nut factor K as found, where its label gives one", "", hint="0.13"),
        Input("k-called", "number", "Nut factor K as called for, where the data gives one", "", hint="0.2"),
        Input("scatter", "share", "How far preload scatters either way at one torque", "30 %", hint="25 %"),
    ),
    _work,
    "T = K · D · F with K about .20 dry, .15 lightly oiled, .12 with an anti-seize compound: engineering tables after "
    "Shigley and Machinery's Handbook. Scatter of 30 %: common practice, from memory.",
    {
        "": {
            "as-called": "The thread is as the data has it",
            "overloads": "Overloads: slipperier than the data has it",
            "underloads": "Underloads: rougher than the data has it",
        }
    },
    _draw,
)

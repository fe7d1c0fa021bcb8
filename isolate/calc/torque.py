"""A torque wrench with an extension or crowfoot: what to set for a wanted torque, and what a setting puts on the plug.

The wrench feels the moment about its own drive, the plug the one about itself. The hand pulls square to the handle, so
both are that pull times a length along the handle: the handle's own, and the handle plus what the extension adds along
it, ``extension · cos(angle)``.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, floor, radians, sin
from typing import Any, Final

from isolate.calc.figures import spelt
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit, beside
from isolate.calc.spread import Spread, spread
from isolate.calc.units import POUND_FORCE, Quantity, figure, unit_of

LEAST_ARM: Final = 0.25
"""Of the handle: a plug nearer to the grip than that is refused, since the hand's own place then decides. Ours."""
MOST_ARM: Final = 4.0
UNTOLD_ACCURACY: Final = 0.10
"""Taken where a wrench's accuracy was not told: more than any hand wrench in calibration may be off. Our judgement."""
LOWEST_FIFTH: Final = 0.20
"""Of the top of its range: what a wrench reads below that is not relied on. Common practice."""
SHOWN: Final = ("N·m", "lbf·in", "lbf·ft")
HANDLES_M: Final = (0.04, 3.0)
EXTENSIONS_M: Final = (0.008, 2.0)
TORQUES_NM: Final = (0.02, 3000.0)
"""Outside these a hand wrench does not go, so the unit is asked after. Our judgement, and wide."""


def arm(handle_m: Any, extension_m: Any = 0.0, angle_deg: Any = 0.0) -> Any:
    """Return the effective length in metres: from the middle of the grip to the plug, along the handle.

    Numbers or arrays. ``handle_m``: from the middle of the grip to the centre of the drive. ``extension_m``: from there
    to the centre of the plug. ``angle_deg``: between the two; 0 in line and away from the hand, 90 square to the
    handle (nothing is added), 180 pointing back. L = handle + extension · cos(angle). Source: US Army TM 9-254.
    """
    if isinstance(angle_deg, int | float):
        return handle_m + extension_m * cos(radians(angle_deg))
    import numpy as np

    return handle_m + extension_m * np.cos(np.radians(angle_deg))


def setting(wanted_nm: Any, handle_m: Any, extension_m: Any = 0.0, angle_deg: Any = 0.0) -> Any:
    """Return what a wrench has to read, in newton metres, for a torque on the plug: wanted · handle / arm.

    Source: NAVEDTRA 14315 (US Navy, aviation) for the extension in line, US Army TM 9-254 at an angle.
    """
    return wanted_nm * handle_m / arm(handle_m, extension_m, angle_deg)


def on_plug(set_nm: Any, handle_m: Any, extension_m: Any = 0.0, angle_deg: Any = 0.0) -> Any:
    """Return what comes on the plug, in newton metres, where the wrench reads ``set_nm``: set · arm / handle."""
    return set_nm * arm(handle_m, extension_m, angle_deg) / handle_m


def nearest_step(value: float, step: float, least: float | None = None, most: float | None = None) -> float | None:
    """Return the step nearest to a value, of those inside the range; steps count from nought. None: there is none.

    All in one unit. Raises ValueError where ``step`` is not above nought.
    """
    if step <= 0:
        raise ValueError(f"a step of {step} is none")
    low = 1 if least is None else max(1, ceil(least / step - 1e-9))
    high = None if most is None else floor(most / step + 1e-9)
    if high is not None and high < low:
        return None
    count = max(low, floor(value / step + 0.5))
    return (count if high is None else min(high, count)) * step


@dataclass(frozen=True)
class Lever:
    """A wrench with what is on it, in metres and degrees; ``extension`` None: nothing is."""

    name: str
    handle: Quantity
    extension: Quantity | None = None
    angle: Quantity | None = None

    @property
    def readings(self) -> tuple[Quantity | float, Quantity | float, Quantity | float]:
        return self.handle, self.extension or 0.0, self.angle or 0.0

    @property
    def arm(self) -> float:
        extension = self.extension.value if self.extension else 0.0
        return float(arm(self.handle.value, extension, self.angle.value if self.angle else 0.0))


def _lever(given: Given, before: str, name: str) -> Lever | None:
    """Return the lever that was told, None where none was. Raises Unfit."""
    handle, extension, angle = (given.get(before + part) for part in ("handle", "extension", "angle"))
    if handle is None:
        if extension is not None or angle is not None:
            raise Unfit(
                f"{before}handle has to be told with an extension: from the middle of the grip to the drive",
                f"{before}handle",
            )
        return None
    _plausible(handle, HANDLES_M, f"{before}handle", "a wrench")
    if extension is None:
        if angle is not None:
            raise Unfit(f"{before}angle means nothing without {before}extension", f"{before}extension")
        return Lever(name, handle)
    if angle is None:
        raise Unfit(
            f"{before}angle has to be told with an extension: 0° in line and away from the hand, 90° square, 180° back",
            f"{before}angle",
        )
    if extension.value == 0:
        raise Unfit(f"{before}extension: leave it out where there is none", f"{before}extension")
    _plausible(extension, EXTENSIONS_M, f"{before}extension", "an extension")
    if abs(angle.value) > 180:
        raise Unfit(f"{before}angle: {angle.said()} is past 180°, straight back", f"{before}angle")
    found = Lever(name, handle, extension, angle)
    share = found.arm / handle.value
    if share < LEAST_ARM:
        where = "behind the hand" if share <= 0 else "nearly under the hand"
        raise Unfit(
            f"{before}extension: pointing back by {extension.said()} it brings the plug {where} (effective arm "
            f"{_long(found.arm, handle)}); no setting can be relied on. Turn it round, or take a longer wrench",
            f"{before}extension",
        )
    if share > MOST_ARM:
        raise Unfit(
            f"{before}extension: it makes the arm {figure(share)} times the handle; is its unit right?",
            f"{before}extension",
        )
    return found


def _plausible(quantity: Quantity, limits: tuple[float, float], name: str, what: str) -> None:
    if not limits[0] <= quantity.value <= limits[1]:
        size = "short" if quantity.value < limits[0] else "long"
        raise Unfit(f"{name}: {quantity.said()} is too {size} for {what}; is the unit right?", name)


def _wrench_unit(given: Given) -> str:
    """Return the unit that the wrench is read in, as far as it was told."""
    return str(next(given[n].unit for n in ("resolution", "most", "least", "set", "wanted") if n in given))


def _torques(given: Given) -> None:
    """Raise Unfit where a torque, a range or a band cannot be."""
    for name in ("wanted", "set", "within-from", "within-to", "least", "most", "resolution", "break-out"):
        told = given.get(name)
        if told is None or (name == "least" and told.value == 0):
            continue
        if told.value <= 0:
            raise Unfit(f"{name}: a torque above nought is needed", name)
        if told.value > TORQUES_NM[1] or (told.value < TORQUES_NM[0] and name != "resolution"):
            raise Unfit(f"{name}: {told.said()} is no torque for a hand wrench; is the unit right?", name)
    for low, high, words in (
        ("within-from", "within-to", "the band of your data"),
        ("least", "most", "the wrench's range"),
    ):
        if low in given and high in given and given[low].value >= given[high].value:
            raise Unfit(f"{high}: {words} is upside down or has no width; are both in the unit you mean?", high)
    if "resolution" in given and "most" in given and given["resolution"].value > given["most"].value / 2:
        raise Unfit("resolution: a step of more than half the range is no scale; is the unit right?", "resolution")
    accuracy = given.get("accuracy")
    if accuracy is not None and not 0 < accuracy.value <= 0.25:
        raise Unfit(f"accuracy: {accuracy.said()} is no accuracy of a torque wrench; 4 % is common", "accuracy")
    wanted = given.get("wanted")
    if wanted is not None:
        least, most = (given[n].value if n in given else None for n in ("within-from", "within-to"))
        if beside(wanted.value * (1 - 1e-9), wanted.value * (1 + 1e-9), least, most) in ("below", "above"):
            raise Unfit(
                f"wanted: {_torque(wanted.value, wanted.unit)} lies outside the band of your data "
                f"({_band(given, wanted.unit)}); is one of them in another unit?",
                "wanted",
            )


def _work(given: Given) -> Found:
    if ("wanted" in given) == ("set" in given):
        both = "wanted" in given
        raise Unfit(
            "wanted and set: tell one of them, not both; the other is worked out"
            if both
            else "wanted or set has to be told: the torque that the plug is to get, or what the wrench is set to"
        )
    _torques(given)
    turn = _lever(given, "", "turn")
    hold = _lever(given, "hold-", "hold")
    unit = _wrench_unit(given)
    lines: list[str] = []
    figures: list[Figure] = []
    warnings: list[str] = []
    # Where there is no extension the lengths cancel, so none is needed.
    lengths: tuple[Quantity | float, ...] = turn.readings if turn else (1.0, 0.0, 0.0)
    accuracy = given["accuracy"].value if "accuracy" in given else UNTOLD_ACCURACY
    feel = Quantity("share", 1.0, accuracy, "1")

    if "wanted" in given:
        set_nm = _set_for(given, lengths, unit, lines, figures)
        set_reading: Quantity | float = set_nm
    else:
        set_nm, set_reading = given["set"].value, given["set"]
        _in_range(given, set_nm, unit, "set")
        if step := given.get("resolution"):
            near = nearest_step(set_nm, step.value)
            if near is None or abs(near - set_nm) > 0.02 * step.value:
                warnings.append(
                    f"{_torque(set_nm, unit)} is no step of a scale that goes by {_torque(step.value, unit)}"
                )
    torque = spread(lambda s, f, h, e, a: on_plug(s * f, h, e, a), set_reading, feel, *lengths)
    figures.append(Figure("torque", "torque that comes on the plug", *_in(torque, unit), unit))
    for other in SHOWN:
        name = "torque-" + other.lower().replace("·", "-")
        figures.append(Figure(name, f"torque that comes on the plug, in {other}", *_in(torque, other), other))
    said = f"{_torque(torque.value, unit)} ({_between(torque, unit)}), that is {_others(torque.value, unit)}"
    if "set" in given:
        lines.append(f"With the wrench at {_torque(set_nm, unit)} the plug gets {said}.")
    else:
        lines.append(f"Set so, the plug gets {said}.")
    lines += _why(turn, set_nm, torque.value, unit)
    if "accuracy" in given:
        lines.append(f"The span is for a wrench good to {figure(100 * accuracy)} % and for the lengths as measured.")
    else:
        warnings.append(
            f"the wrench's accuracy was not told, so it is taken as {figure(100 * UNTOLD_ACCURACY)} %, more than "
            "one in calibration may be off; its certificate says"
        )
    top = given.get("most")
    if top is not None and set_nm < LOWEST_FIFTH * top.value:
        warnings.append(
            f"{_torque(set_nm, unit)} is in the lowest fifth of a wrench that goes to {_torque(top.value, unit)}; "
            "by common practice it is not relied on there: take a smaller one"
        )
    if hold is not None:
        _holding(given, turn, hold, torque, (set_reading, feel, *lengths), unit, lines, figures)
    judged = {}
    if "within-from" in given or "within-to" in given:
        judged[""] = _judge(given, torque, unit, accuracy)
    levers = tuple(lever for lever in (turn, hold) if lever is not None)
    return Found(tuple(lines), tuple(figures), judged, tuple(warnings), levers)


def _set_for(
    given: Given, lengths: tuple[Quantity | float, ...], unit: str, lines: list[str], figures: list[Figure]
) -> float:
    """Return what to set, in newton metres: on a step that the wrench has, where its steps were told."""
    wanted = given["wanted"]
    worked = spread(setting, wanted.value, *lengths)
    figures.append(Figure("setting", "setting for the wanted torque", *_in(worked, unit), unit))
    for other in SHOWN:
        name = "setting-" + other.lower().replace("·", "-")
        figures.append(Figure(name, f"setting for the wanted torque, in {other}", *_in(worked, other), other))
    _in_range(given, worked.value, unit, "wanted")
    said = f"{_torque(worked.value, unit)} ({_between(worked, unit)} as the lengths were measured)"
    if "resolution" not in given:
        lines.append(f"Set the wrench to {said}, that is {_others(worked.value, unit)}.")
        return worked.value
    step = given["resolution"]
    least, most = (given[n].value if n in given else None for n in ("least", "most"))
    found = nearest_step(worked.value, step.value, least, most)
    if found is None:
        raise Unfit("resolution: no step of it lies inside the wrench's range", "resolution")
    off = found / worked.value - 1
    if abs(off) > 0.2:
        raise Unfit(
            f"resolution: the nearest step, {_torque(found, unit)}, is {100 * abs(off):.0f} % off the "
            f"{_torque(worked.value, unit)} that is needed; take a finer wrench",
            "resolution",
        )
    figures.append(Figure("set-to", "the step to set it to", *(_per(found, unit),) * 3, unit))
    size = (
        "a step of its scale"
        if abs(off) < 5e-4
        else f"the step is {100 * abs(off):.1f} % {'above' if off > 0 else 'below'} it"
    )
    lines.append(
        f"Set the wrench to {figure(_per(found, unit), 6)} {unit}, that is {_others(found, unit)}. Worked out: {said}; "
        f"{size}."
    )
    return found


def _in_range(given: Given, set_nm: float, unit: str, name: str) -> None:
    """Raise Unfit where a setting is not on the wrench, saying which range would do."""
    low, high = given.get("least"), given.get("most")
    least, most = (q.value if q is not None else None for q in (low, high))
    side = beside(set_nm * (1 - 1e-9), set_nm * (1 + 1e-9), least, most)
    if side not in ("below", "above"):
        return
    reach = " to ".join(_torque(q.value, unit) for q in (low, high) if q is not None)
    own = f"goes {'from ' if low else 'up to '}{reach}{' up' if high is None else ''}"
    what = "the setting needed is" if name == "wanted" else "it is set to"
    raise Unfit(
        f"{name}: {what} {_torque(set_nm, unit)}, and the wrench {own}. Take one that has {_torque(set_nm, unit)} "
        f"well inside: from below it up to no more than {_torque(set_nm / LOWEST_FIFTH, unit)}",
        name,
    )


def _why(turn: Lever | None, set_nm: float, torque_nm: float, unit: str) -> list[str]:
    """Return what the result rests on: the arm, and what a hand or an angle that is off would do."""
    if turn is None or turn.extension is None or turn.angle is None:
        return ["There is no extension, so the plug gets what the wrench reads."]
    handle, extension, angle = turn.handle, turn.extension, turn.angle
    share = turn.arm / handle.value
    change = "no change" if abs(share - 1) < 5e-4 else f"{figure(share)} times the handle"
    found = [
        f"Effective arm: {_long(handle.value, handle)} + {_long(extension.value, extension)} · cos "
        f"{figure(angle.value)}° = {_long(turn.arm, handle)}, {change}."
    ]
    five = max(
        abs(on_plug(set_nm, handle.value, extension.value, angle.value + by) / torque_nm - 1) for by in (-5.0, 5.0)
    )
    if five >= 0.005:
        found.append(f"An angle 5° off would change it by {_share(five)}.")
    shifted = max(
        abs(arm(handle.value + by, extension.value, angle.value) / (handle.value + by) * handle.value / turn.arm - 1)
        for by in (-0.02, 0.02)
    )
    if shifted >= 0.0005:
        found.append(f"A hand 20 mm off the middle of the grip changes it by {_share(shifted)}: hold it there.")
    found.append(
        "That goes for a bending beam, a dial and a click wrench alike; one that feels the pull at its grip reads "
        "wrong wherever else it is held."
    )
    return found


def _holding(
    given: Given,
    turn: Lever | None,
    hold: Lever,
    torque: Spread,
    of: tuple[Quantity | float, ...],
    unit: str,
    lines: list[str],
    figures: list[Figure],
) -> None:
    """Add what the wrench on the insert has to take, tightening and loosening.

    ``of``: what the torque on the plug came from: the setting, the wrench's own share, handle, extension and angle.
    """
    needed = spread(
        lambda s, f, h, e, a, h2, e2, a2: setting(on_plug(s * f, h, e, a), h2, e2, a2), *of, *hold.readings
    )
    figures.append(Figure("hold-setting", "what the holding wrench is loaded to, tightening", *_in(needed, unit), unit))
    pull = spread(lambda s, f, h, e, a, h2, e2, a2: on_plug(s * f, h, e, a) / arm(h2, e2, a2), *of, *hold.readings)
    figures.append(Figure("hold-pull", "pull at the grip of the holding wrench, tightening", *pull, "N"))
    lines.append(
        f"Tightening: the insert is held with its adapter and takes the same {_torque(torque.value, unit)} the other "
        f"way round. Its wrench is loaded to {_torque(needed.value, unit)} ({_between(needed, unit)}; arm "
        f"{_long(hold.arm, hold.handle)}), about {figure(pull.value)} N or {figure(pull.value / POUND_FORCE)} lbf at "
        f"the grip. A click wrench there is set above {_torque(needed.high, unit)}, since it lets go when it clicks; a "
        "plain bar is better."
    )
    if turn is not None:
        # The pull is what the wrench reads over its own handle, whatever is put on it.
        by_hand = spread(lambda s, f, h: s * f / h, *of[:3])
        figures.append(Figure("turn-pull", "pull at the grip of the turning wrench", *by_hand, "N"))
    told = given.get("break-out")
    if told is None:
        lines.append(
            "Loosening: both change direction. Breaking loose may take more than was put on, and the hold has to take "
            "all of it; tell break-out, the most that your data allows, to see how much."
        )
    else:
        worst = spread(setting, told.value, *hold.readings)
        figures.append(
            Figure("hold-break-out", "what the holding wrench is loaded to, loosening", *_in(worst, unit), unit)
        )
        turning = ""
        if turn is not None:
            loosen = spread(setting, told.value, *turn.readings)
            figures.append(
                Figure("turn-break-out", "what the turning wrench reads then, loosening", *_in(loosen, unit), unit)
            )
            turning = (
                f" The turning wrench would read {_torque(loosen.value, unit)} when that is reached: stop there. A "
                "torque wrench that clicks is not for breaking loose (common practice)."
            )
        lines.append(
            f"Loosening: both change direction. At the {_torque(told.value, unit)} that your data allows, the hold is "
            f"loaded to {_torque(worst.value, unit)} and has to withstand {_torque(worst.high, unit)} at "
            f"least.{turning}"
        )
    lines.append(
        "Where the hold slips or gives, the insert turns with the plug: stop, inspect boss and locking, and work out "
        "the immersion again."
    )


def _judge(given: Given, torque: Spread, unit: str, accuracy: float) -> Judged:
    low, high = (given[n].value if n in given else None for n in ("within-from", "within-to"))
    band = _band(given, unit)
    side = beside(torque.low, torque.high, low, high)
    came = f"{_between(torque, unit)} on the plug, your data gives {band}"
    if side != "cannot-tell":
        return Judged(side, came + ".")
    if low is not None and high is not None and high - low < torque.high - torque.low:
        settle = f"the band is narrower than a wrench good to {figure(100 * accuracy)} % can hold; take a finer one"
    else:
        settle = "a setting nearer the middle of the band, a finer step or a more accurate wrench would settle it"
    return Judged(CANNOT_TELL, f"{came}; {settle}.")


def _plain(lever: Lever) -> tuple[float, float, float]:
    handle, extension, angle = (one.value if isinstance(one, Quantity) else one for one in lever.readings)
    return handle, extension, angle


def _per(nm: float, unit: str) -> float:
    return nm / unit_of("torque", unit).factor


def _in(found: Spread, unit: str) -> tuple[float, float, float]:
    return _per(found.value, unit), _per(found.low, unit), _per(found.high, unit)


def _digits(value: float) -> str:
    return figure(value, 4 if abs(value) >= 1000 else 3)


def _torque(nm: float, unit: str) -> str:
    return f"{_digits(_per(nm, unit))} {unit}"


def _between(found: Spread, unit: str) -> str:
    low, high = (figure(_per(end, unit), _enough(found)) for end in found[1:])
    return f"{low} to {high} {unit}"


def _enough(found: Spread) -> int:
    """Return how many digits tell the ends of an interval apart, five at most."""
    width = found.high - found.low
    return 3 + (width < 0.02 * found.high or found.high >= 1000) + (width < 0.002 * found.high)


def _others(nm: float, unit: str) -> str:
    return " or ".join(_torque(nm, other) for other in SHOWN if other != unit)


def _band(given: Given, unit: str) -> str:
    low, high = given.get("within-from"), given.get("within-to")
    if low is None:
        return f"no more than {_torque(high.value, unit)}" if high is not None else ""
    if high is None:
        return f"at least {_torque(low.value, unit)}"
    return f"{_digits(_per(low.value, unit))} to {_torque(high.value, unit)}"


def _long(metres: float, like: Quantity) -> str:
    return f"{figure(metres / unit_of('length', like.unit).factor)} {like.unit}"


def _share(value: float) -> str:
    return f"{figure(100 * value, 2)} %"


MOST_ROWS: Final = 5
"""Rows that an extension is drawn over at the most."""


def _draw(found: Found, width: int, ascii_only: bool) -> Sequence[str]:
    levers: tuple[Lever, ...] = found.detail or ()
    lines: list[str] = []
    for lever in levers:
        if len(levers) > 1:
            lines += ["On the plug:" if lever.name == "turn" else "On the insert, the other way round:"]
        lines += _lever_picture(lever, width, ascii_only)
    return tuple(lines)


def _lever_picture(lever: Lever, width: int, ascii_only: bool) -> list[str]:
    """Return a lever, seen from above: lengths along the handle to scale, the height only as far as there is room."""
    hand, bar, drive, nut, flat, up, right, left, corner = "v=+O-|/\\." if ascii_only else "▼═●○─│╱╲╮"
    handle, extension, angle = _plain(lever)
    scale = (max(20, width) - 5) / max(handle, lever.arm)
    at_drive, at_nut = round(handle * scale), round(lever.arm * scale)
    high = abs(extension * sin(radians(angle))) * scale / 2
    rows = min(MOST_ROWS, round(high))
    if extension and at_nut < at_drive:
        rows = max(1, rows)  # pointing back, it would lie on the handle
    squeezed = high > rows + 1
    canvas = [[" "] * (max(at_drive, at_nut) + 1) for _ in range(rows + 1)]
    canvas[rows][: at_drive + 1] = [bar] * (at_drive + 1)
    steps = max(abs(at_nut - at_drive), rows)
    slope = up if abs(at_nut - at_drive) < rows / 3 else right if at_nut > at_drive else left
    before = 0
    if rows == 1 and at_nut < at_drive:  # pointing back above the handle
        canvas[0][at_nut:] = [flat] * (at_drive - at_nut) + [corner]
        steps = 0
    for step in range(1, steps):
        x = round(at_drive + (at_nut - at_drive) * step / steps)
        y = max(at_nut < at_drive, round(rows * step / steps))
        canvas[rows - y][x] = slope if y != before else flat
        before = y
    canvas[0][at_nut] = nut if extension else canvas[0][at_nut]
    canvas[rows][at_drive] = drive if extension else nut
    canvas[rows][0] = hand
    like = lever.handle
    found = ["  " + "".join(row).rstrip() for row in canvas]
    if extension:
        found.append("  " + _measure(at_drive, f"handle {_long(handle, like)}", ascii_only))
    found.append("  " + _measure(at_nut, f"{'arm' if extension else 'handle'} {_long(lever.arm, like)}", ascii_only))
    legend = f"{hand} pull here, square to it   "
    if lever.extension is not None:
        legend += f"{drive} drive   {nut} {'plug' if lever.name == 'turn' else 'insert'}   "
        legend += f"{drive} to {nut} {_long(extension, lever.extension)} at {figure(angle)}°"
        legend += ", not to scale in height" if squeezed else ""
    else:
        legend += f"{nut} {'plug' if lever.name == 'turn' else 'insert'}"
    if ascii_only:
        legend, found = spelt(legend.replace("°", " deg")), [spelt(line) for line in found]
    return [*found, *textwrap.wrap(legend, max(20, width), initial_indent="  ", subsequent_indent="  ")]


def _measure(length: int, label: str, ascii_only: bool) -> str:
    """Return a dimension line so many columns long, its label in the middle or, where that is too long, behind it."""
    left, flat, right = ("|", "-", "|") if ascii_only else ("├", "─", "┤")
    inside = length - 1
    if len(label) + 4 <= inside:
        return left + f" {label} ".center(inside, flat) + right
    return f"{left}{flat * inside}{right} {label}"


CALCULATION = Calculation(
    "torque",
    "what to set a torque wrench to with an extension or crowfoot, and back",
    (
        Input("wanted", "torque", "Torque that the plug is to get, from your data", "", hint="100 lbf·in"),
        Input("set", "torque", "Or what the wrench is set to or reads, to find what the plug gets", "", hint="8.5 N·m"),
        Input("handle", "length", "Handle, from the middle of the grip to the centre of the drive", "", hint="12 in"),
        Input(
            "extension",
            "length",
            "Extension, from the drive to the centre of the plug; if any",
            "",
            hint="6 in",
            after="handle",
        ),
        Input(
            "angle",
            "angle",
            "Its angle to the handle: 0° in line and away from the hand, 90° square, 180° pointing back",
            "",
            hint="45°",
            after="extension",
        ),
        Input("least", "torque", "Least that the wrench can be set to", "", hint="40 lbf·in"),
        Input("most", "torque", "Most that the wrench can be set to", "", hint="200 lbf·in"),
        Input("resolution", "torque", "Step of its scale", "", hint="1 lbf·in"),
        Input("accuracy", "share", "How far off the wrench may read, from its certificate", "", hint="4 %"),
        Input("within-from", "torque", "Lowest torque allowed on the plug", "", limit=True, hint="95 lbf·in"),
        Input("within-to", "torque", "Highest torque allowed on the plug", "", limit=True, hint="110 lbf·in"),
        Input(
            "hold-handle",
            "length",
            "Where the insert is held: handle of the holding wrench, grip to drive",
            "",
            hint="10 in",
        ),
        Input(
            "hold-extension", "length", "Its extension or adapter, drive to the centre of the insert", "", hint="2 in"
        ),
        Input("hold-angle", "angle", "The angle of that to its handle", "", hint="90°", after="hold-extension"),
        Input(
            "break-out",
            "torque",
            "Most torque allowed to break the plug loose",
            "",
            limit=True,
            hint="200 lbf·in",
            after="hold-handle",
        ),
    ),
    _work,
    "T = set · (handle + extension · cos(angle)) / handle: NAVEDTRA 14315 (US Navy, aviation), US Army TM 9-254. "
    "Accuracy as in ISO 6789 (4 % for most, 6 % to 10 N·m; from memory). The lowest fifth: common practice.",
    {
        "": {
            "within": "Within what your data allows",
            "below": "Below what your data allows",
            "above": "Above what your data allows",
        }
    },
    _draw,
    shows=("wanted", "handle", "extension", "angle"),
)

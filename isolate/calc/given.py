"""From what was typed to what a calculation takes; nothing is left out without a word."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from isolate.calc import units
from isolate.calc.figures import quoted, tidy
from isolate.calc.shape import Calculation, Given, Input, Unfit

MOST = 200
"""How many readings one input takes."""
LONGEST_TEXT = 2000
_YES = frozenset(("y", "yes", "true", "1", "on"))
_NO = frozenset(("n", "no", "false", "0", "off"))

Typed = Mapping[str, str | Sequence[str]]
"""Input name → what was typed for it, or a list of that."""


def read(calculation: Calculation, typed: Typed) -> Given:
    """Return what was given by input name; defaults stand in. Raises Unfit, which names the input."""
    known = calculation.names
    if odd := [name for name in typed if name not in known]:
        raise Unfit(f"{calculation.name} does not ask for {quoted(odd[0])}; it asks for {', '.join(known)}", odd[0])
    found: dict[str, Any] = {}
    for one in calculation.inputs:
        told = typed.get(one.name)
        if told is None or blank(told):
            if one.default is None:
                source = ", from your approved data" if one.limit else ""
                raise Unfit(f"{one.name} has to be told: {one.asks}{source}{_such_as(one)}", one.name)
            if not one.default:
                continue
            # What stands in was not read off anything: it is as exact as it is written.
            found[one.name] = value(replace(one, limit="±" not in one.default), one.default)
            continue
        found[one.name] = value(one, told)
    return found


def blank(told: str | Sequence[str]) -> bool:
    """Return whether nothing was typed."""
    return not told.strip() if isinstance(told, str) else all(not part.strip() for part in told)


def value(one: Input, told: str | Sequence[str]) -> Any:
    """Return the value of an input as typed. Raises Unfit."""
    if one.many:
        items = [told] if isinstance(told, str) else list(told)
        parts = [part.strip() for item in items for part in item.split(";") if part.strip()]
        if not parts:
            raise Unfit(f"{one.name} has to be told: {one.asks}{_such_as(one)}", one.name)
        if len(parts) > MOST:
            raise Unfit(f"{one.name} takes up to {MOST} of them, not {len(parts)}", one.name)
        return tuple(_one(one, part, parts[-1]) for part in parts)
    if not isinstance(told, str):
        if len(told) != 1:
            raise Unfit(f"{one.name} is told once, not {len(told)} times", one.name)
        told = told[0]
    return _one(one, told.strip())


def _one(one: Input, told: str, last: str = "") -> Any:
    """Return one value. ``last``: the last of several, whose unit the others may share: ``1.52; 1.54 mm``."""
    if one.kind in ("file", "text"):
        if len(told) > LONGEST_TEXT:
            raise Unfit(f"{one.name}: that is {len(told)} characters long; it takes up to {LONGEST_TEXT}", one.name)
        if any(unicodedata.category(letter) in ("Cc", "Cs") and letter != "\t" for letter in told):
            better = "rename the file" if one.kind == "file" else "type it again"
            raise Unfit(f"{one.name}: {quoted(told)} has characters in it that are no text; {better}", one.name)
        return told
    try:
        if one.kind == "choice":
            return _choice(one, tidy(told))
        if one.kind == "yes":
            word = tidy(told).casefold()
            if word not in _YES | _NO:
                raise Unfit(f"{one.name}: yes or no, not {quoted(told)}", one.name)
            return word in _YES
        if one.kind == "count":
            return units.whole(told)
        if one.kind == "number":
            return units.number(told)
        try:
            return units.read(told, one.kind, exact=one.limit, beyond=one.beyond)
        except units.Unclear as error:
            if not error.unitless or told == last or not last:
                raise
            shared = units.read(last, one.kind, exact=one.limit, beyond=one.beyond)
            return units.read(f"{told} {shared.unit}", one.kind, exact=one.limit, beyond=one.beyond)
    except units.Unclear as error:
        more = "; several go with ; between them" if one.many and told.count(",") else ""
        raise Unfit(f"{one.name}: {error}{more}", one.name) from None


def _choice(one: Input, told: str) -> str:
    word = told.casefold()
    found = [c for c in one.choices if c.casefold() == word] or [
        c for c in one.choices if word and c.casefold().startswith(word)
    ]
    if len(found) > 1:
        raise Unfit(f"{one.name}: {quoted(told)} may be {' or '.join(found)}", one.name)
    if not found:
        raise Unfit(f"{one.name}: {quoted(told)} is none of {', '.join(one.choices)}", one.name)
    return found[0]


def understood(calculation: Calculation, given: Given) -> list[tuple[str, str]]:
    """Return (what was asked, what was understood) of each input that was told, in order."""
    return [(one.asks, said(given[one.name])) for one in calculation.inputs if one.name in given]


def said(told: Any) -> str:
    """Return in words what an input was understood as."""
    if isinstance(told, tuple):
        return "; ".join(said(one) for one in told)
    if isinstance(told, units.Quantity):
        return told.told()
    if isinstance(told, bool):
        return "yes" if told else "no"
    return units.figure(told, 6) if isinstance(told, float) else str(told)


def as_dict(told: Any) -> Any:
    """Return as JSON what an input was understood as; a quantity with its value in its kind's base unit."""
    if isinstance(told, tuple):
        return [as_dict(one) for one in told]
    if isinstance(told, units.Quantity):
        ends = {"value": told.value, "low": told.low, "high": told.high}
        return {
            "typed": told.typed,
            "said": told.said(),
            **{k: v if abs(v) != float("inf") else None for k, v in ends.items()},
            "unit": units.KINDS[told.kind].base,
            "bound": told.bound,
        }
    return told


def _such_as(one: Input) -> str:
    if one.kind == "choice":
        return f" ({', '.join(one.choices)})"
    return f" (such as {one.example})" if one.example else ""

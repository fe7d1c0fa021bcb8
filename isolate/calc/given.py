"""From what was typed to what a calculation takes; nothing is left out without a word."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from isolate.calc import units
from isolate.calc.shape import Calculation, Given, Input, Unfit


def read(calculation: Calculation, typed: Mapping[str, str | Sequence[str]]) -> Given:
    """Return what was given by input name; defaults stand in. Raises Unfit, which names the input."""
    known = calculation.names
    if odd := [name for name in typed if name not in known]:
        raise Unfit(f"{calculation.name} does not ask for {odd[0]!r}; it asks for {', '.join(known)}", odd[0])
    found: dict[str, Any] = {}
    for one in calculation.inputs:
        told = typed.get(one.name)
        if told is None or told == "" or told == []:
            if one.default is None:
                raise Unfit(f"{one.name} has to be told: {one.asks}{_such_as(one)}", one.name)
            if not one.default:
                continue
            told = one.default
        found[one.name] = value(one, told)
    return found


def value(one: Input, told: str | Sequence[str]) -> Any:
    """Return the value of an input as typed. Raises Unfit."""
    if one.many:
        items = [told] if isinstance(told, str) else list(told)
        return tuple(_one(one, part.strip()) for item in items for part in item.split(";") if part.strip())
    if not isinstance(told, str):
        if len(told) != 1:
            raise Unfit(f"{one.name} is told once, not {len(told)} times", one.name)
        told = told[0]
    return _one(one, told.strip())


def _one(one: Input, told: str) -> Any:
    if one.kind in ("text", "file"):
        return told
    if one.kind == "choice":
        found = [c for c in one.choices if c.casefold() == told.casefold()] or [
            c for c in one.choices if c.casefold().startswith(told.casefold()) and told
        ]
        if len(found) != 1:
            raise Unfit(f"{one.name}: {told!r} is none of {', '.join(one.choices)}", one.name)
        return found[0]
    if one.kind == "yes":
        word = told.casefold()
        if word in ("y", "yes", "true", "1"):
            return True
        if word in ("n", "no", "false", "0"):
            return False
        raise Unfit(f"{one.name}: yes or no, not {told!r}", one.name)
    try:
        if one.kind == "count":
            return units.whole(told)
        if one.kind == "number":
            return units.number(told)
        return units.read(told, one.kind)
    except units.Unclear as error:
        raise Unfit(f"{one.name}: {error}", one.name) from None


def understood(calculation: Calculation, given: Given) -> list[tuple[str, str]]:
    """Return (what was asked, what was understood) of each input that was told, in order."""
    found = []
    for one in calculation.inputs:
        if one.name in given:
            told = given[one.name]
            found.append((one.asks, ", ".join(_said(v) for v in told) if one.many else _said(told)))
    return found


def _said(told: Any) -> str:
    if isinstance(told, units.Quantity):
        return told.said()
    if isinstance(told, bool):
        return "yes" if told else "no"
    return units.figure(told, 6) if isinstance(told, float) else str(told)


def _such_as(one: Input) -> str:
    if one.kind == "choice":
        return f" ({', '.join(one.choices)})"
    return f" (such as {one.hint})" if one.hint else ""

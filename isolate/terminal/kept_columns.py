"""Which column of a recorder's log is which, put in from memory where nobody tells it, and kept once it was told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from isolate.calc.shape import Calculation, Found, Unfit

Told = Mapping[str, str | Sequence[str]]


def with_kept(one: Calculation, typed: Told) -> dict[str, str | Sequence[str]]:
    """Return what was typed, with the columns as told before for a log with these headers, where none are told."""
    told = dict(typed)
    if one.name != "start" or not (log := _only(told.get("log"))) or _only(told.get("columns")):
        return told
    from isolate.calc.recorder import header
    from isolate.case.columns import recalled

    try:
        known = recalled(header(log))
    except Unfit:
        # What is wrong with the log is said where it is read.
        return told
    return {**told, "columns": known} if known else told


def keep(one: Calculation, typed: Told, found: Found) -> str:
    """Remember the columns that were told and worked; return a sentence on it, "" where there is nothing to say."""
    if one.name != "start" or not _only(typed.get("columns")) or found.detail is None:
        return ""
    from isolate.case.columns import NotKept, recalled, remember

    detail: Any = found.detail
    try:
        if recalled(detail.headers) == detail.columns:
            return ""
        if remember(detail.headers, detail.columns) is None:
            return ""
    except NotKept as error:
        return f"{error}."
    return "Which column is which is remembered for logs with these headers; columns told anew replace it."


def _only(told: str | Sequence[str] | None) -> str:
    if told is None or isinstance(told, str):
        return (told or "").strip()
    return told[0].strip() if len(told) == 1 else ""

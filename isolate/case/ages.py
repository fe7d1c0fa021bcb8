"""How old the parts are: how it is told, what is wrong with it, and in words what it does to the priors."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Literal

from isolate.case.case import Age, BadIntake
from isolate.kb.fit import Fitted, near
from isolate.reasoning.wear import Part, Shift, parts, shifts

__all__ = ["EXAMPLES", "asked_already", "described", "effect", "faults", "merged", "read", "spoken", "told"]

EXAMPLES = "igniter:A=2900-3100 starts, lead:B=at least 9000 hours, igniter=together"
"""How ages are written."""
_SPOKEN = {"igniter": "plug"}
"""Parts that people call otherwise than the knowledge does."""
TIED = 1.05
"""A fault that is less often likelier than this for being there on the other channel is not said to be tied to it."""


# -- reading ---------------------------------------------------------------------------------------

_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:[.,]\d{1,2})?"
_AGE = re.compile(
    rf"""(?P<part>[a-z][a-z-]*?)s?
    (?:\s*:\s*(?P<channel>\w+)|\s+(?P<letter>[A-Z0-9]{{1,3}}))?
    (?:\s*=\s*|\s+)
    (?:(?P<together>\?|together|fitted\ at\ once)
      |(?P<least>at\ least|from|over|more\ than|>=?)?\s*(?P<most>at\ most|up\ to|under|less\ than|<=?)?\s*
       (?P<low>{_NUMBER})\s*(?P<plus>\+)?
       (?:\s*(?:-|–|to|\.\.)\s*(?P<high>{_NUMBER}))?
       \s*(?P<unit>[a-z]+)?
       (?:\s+since\ new)?)""",
    re.VERBOSE,
)
_UNITS: dict[str, Literal["starts", "hours"]] = {
    **dict.fromkeys(("start", "starts"), "starts"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "hours"),
}


def read(text: str) -> Age:
    """Return one age as people write it: ``igniter:A=2900-3100 starts``, ``plug A at least 3,000 starts``.

    Without a channel it is that of the same part on every channel, fitted at once; ``igniter=together`` says that and
    no more. What it names is looked over by :func:`faults`. Raises BadIntake.
    """
    said = " ".join(text.split())
    if negative := re.search(r"[=\s](-\s?\d[\d.,]*)", said):
        raise BadIntake(f"an age is from 0 up, not {negative[1]}")
    found = _AGE.fullmatch(said)
    if found is None:
        raise BadIntake(f"an age is a part, its channel, how old it is and in what, such as {EXAMPLES}; not {said!r}")
    word = found["part"]
    part = next((name for name, spoken_as in _SPOKEN.items() if spoken_as == word), word)
    channel = found["channel"] or found["letter"] or ""
    if found["together"]:
        if channel:
            raise BadIntake(f"{word} {channel}: fitted at once is said of every channel, so it names none")
        return Age(part, together=True)
    unit = _UNITS.get(found["unit"] or "")
    if unit is None:
        counted = "nothing" if found["unit"] is None else repr(found["unit"])
        raise BadIntake(f"an age is counted in starts or hours: {said!r} says {counted}")
    one_sided = [w for w in (found["least"], found["most"], found["plus"]) if w]
    if len(one_sided) > 1 or (one_sided and found["high"]):
        raise BadIntake(f"an age is a number, two of them, or one with at least or at most; not {said!r}")
    low = _number(found["low"])
    least: float | None = low
    most: float | None = low
    if found["high"]:
        most = _number(found["high"])
    elif found["most"]:
        least = None
    elif one_sided:
        most = None
    if least is not None and most is not None and least > most:
        raise BadIntake(f"an age lies between the smaller and the larger, not between {least:g} and {most:g}")
    return Age(part, channel, unit, least, most, together=not channel)


def _number(text: str) -> float:
    """A comma before three digits parts thousands; any other is a decimal one."""
    whole = re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?", text)
    return float(text.replace(",", "") if whole else text.replace(",", "."))


def told(text: str) -> tuple[Age, ...]:
    """Return the ages of a line, with semicolons or commas between them. Raises BadIntake."""
    # A comma before a digit stands within a number: no part's name begins so.
    return tuple(read(part) for part in re.split(r";|,(?!\d)", text) if part.strip())


def merged(before: Sequence[Age], after: Sequence[Age]) -> tuple[Age, ...]:
    """Return ages told with more told: what is told again of a part stands for what was told of it before."""

    def again(old: Age) -> bool:
        return any(
            new.part == old.part and (new.channel == old.channel or "" in (new.channel, old.channel)) for new in after
        )

    return (*(old for old in before if not again(old)), *after)


# -- looking over ----------------------------------------------------------------------------------


def faults(fitted: Fitted, ages: Sequence[Age]) -> Iterator[tuple[tuple[int, str], str]]:
    """Yield what is wrong with ages told for an engine, as ((number of the age, field), message)."""
    wearing = parts(fitted)
    seen: dict[tuple[str, str], Age] = {}
    for i, age in enumerate(ages):
        part = wearing.get(age.part)
        if part is None:
            yield (i, "part"), _no_part(fitted, age.part, wearing)
            continue
        for field, message in _age_faults(fitted, part, age):
            yield (i, field), message
        before = seen.get((age.part, age.channel)) or seen.get((age.part, ""))
        if before is None and not age.channel:
            before = next((other for (name, _), other in seen.items() if name == age.part), None)
        if before is not None:
            which = f" {before.channel}" if before.channel else "s of all channels" if not part.shared else ""
            differs = f", in {before.unit}" if before.known and before.unit != age.unit else ""
            yield (
                (i, "part"),
                f"the age of the {spoken(age.part)}{which} is told already{differs}: one part has one age",
            )
        seen[age.part, age.channel] = age


def _no_part(fitted: Fitted, name: str, wearing: dict[str, Part]) -> str:
    known = ", ".join(sorted(wearing)) or "none"
    if any(mode.part == name for zone in fitted.zones.values() for mode in zone.modes.values()):
        return f"what fails of a {name} does not come with its age, so its age says nothing; ages count of: {known}"
    return f"no part that wears is called {name!r}{near(name, [*wearing, *_SPOKEN.values()])}; known: {known}"


def _age_faults(fitted: Fitted, part: Part, age: Age) -> Iterator[tuple[str, str]]:
    word = spoken(part.name)
    here = ", ".join(fitted.channels)
    if age.channel and part.shared:
        yield "channel", f"there is one {word} for all channels on this engine: its age is told without a channel"
    elif age.channel and age.channel not in fitted.channels:
        yield "channel", f"no channel is called {age.channel!r}; known: {here}"
    elif age.channel and age.together:
        yield "together", f"{word} {age.channel}: fitted at once is said of every channel, so it names none"
    elif not age.channel and not part.shared and not age.together:
        yield "channel", f"which {word}: say its channel ({here}), or that those of all channels were fitted at once"
    if not age.known:
        if part.shared or not age.together:
            yield "least", f"how old is the {word}? At least, at most, or both"
        return
    if age.unit != part.unit:
        yield "unit", f"the age of a {word} is counted in {part.unit} here, not in {age.unit}"
        return
    for field, limit in (("least", age.least), ("most", age.most)):
        if limit is not None and not limit >= 0:
            yield field, f"an age is from 0 up, not {limit:g}"
            return
        elif limit is not None and limit > part.absurd:
            yield (
                field,
                f"{_count(limit)} {age.unit} are more than any {word} lives: told is the count since the {word} was "
                "new, not the engine's",
            )
            return
    if age.least is not None and age.most is not None and age.least > age.most:
        yield "least", f"an age lies between the smaller and the larger, not between {age.least:g} and {age.most:g}"


def asked_already(fitted: Fitted, ages: Sequence[Age]) -> frozenset[str]:
    """Return the checks that ask what is told: the age of a part whose age is known within limits."""
    had = {(age.part, age.channel) for age in ages if age.known}
    return frozenset(
        key
        for key, check in fitted.checks.items()
        if check.entry.age_of is not None and {(check.entry.age_of, check.channel), (check.entry.age_of, "")} & had
    )


# -- in words --------------------------------------------------------------------------------------


def spoken(part: str) -> str:
    """Return what people call a part."""
    return _SPOKEN.get(part, part)


def _count(value: float) -> str:
    return f"{value:,.0f}" if value == int(value) else f"{value:,g}"


def described(fitted: Fitted, age: Age) -> str:
    """Return an age in words: ``plug A, 2,900 to 3,100 starts since new``."""
    word = spoken(age.part)
    part = parts(fitted).get(age.part)
    if age.channel:
        word = f"{word} {age.channel}"
    elif part is not None and not part.shared:
        word = f"{word}s of all channels, fitted at once"
    if not age.known:
        return f"{word}, how long ago is not known"
    if age.most is None:
        old = f"at least {_count(age.least or 0)}"
    elif age.least is None:
        old = f"at most {_count(age.most)}"
    elif age.least == age.most:
        old = _count(age.least)
    else:
        old = f"{_count(age.least)} to {_count(age.most)}"
    return f"{word}, {old} {age.unit} since new"


def effect(fitted: Fitted, ages: Sequence[Age]) -> tuple[str, ...]:
    """Return what each age does, in a sentence or two.

    ``Plug A, 2,900 to 3,100 starts since new: worn 2.6 times, cracked 1.4 times as likely as for a plug of unknown
    age.`` Where one age holds for several zones it is also said how far a fault in one speaks for it in another.
    """
    return tuple(_effect(fitted, age) for age in ages)


def _effect(fitted: Fitted, age: Age) -> str:
    word = spoken(age.part)
    found: dict[str, Shift] = {}
    for shift in shifts(fitted, age):
        # The same fault on another channel moves alike.
        found.setdefault(_fault(fitted, shift.mode), shift)
    line = described(fitted, age)
    line = line[0].upper() + line[1:]
    if age.known:
        moved = ", ".join(f"{fault} {_times(shift)}" for fault, shift in found.items())
        line = f"{line}: {moved} as likely as for {_a(word)} of unknown age."
    else:
        line = f"{line}: each by itself is as likely to fail as before."
    tied = [(shift.tied, fault) for fault, shift in found.items() if shift.tied >= TIED]
    if tied:
        times, fault = max(tied)
        line += f" They have one age: where one is {fault}, another is {times:.1f} times as likely to be so."
    return line


def _a(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def _times(shift: Shift) -> str:
    times = (
        f"{shift.times:.0f}"
        if shift.times >= 9.95
        else f"{shift.times:.2f}"
        if shift.times < 0.095
        else f"{shift.times:.1f}"
    )
    return f"{times} times{' (held at that)' if shift.held else ''}"


def _fault(fitted: Fitted, mode: str) -> str:
    """Return a fault in a word or two: ``worn`` of an igniter, the title of one that is named otherwise."""
    zone = fitted.zones[fitted.mode_zone[mode]]
    state = mode.partition("/")[0]
    entry = zone.modes[state]
    if state.startswith(f"{entry.part}-"):
        return state.removeprefix(f"{entry.part}-").replace("-", " ")
    title = entry.title.replace(" {channel}", "")
    return title[:1].lower() + title[1:]

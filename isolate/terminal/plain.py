"""What commands print line by line, without a screen to lay it out on; light, since every command loads it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from isolate.kb.shown import plain

if TYPE_CHECKING:
    from isolate.case.chase import Chase, Kit
    from isolate.case.steps import Step
    from isolate.kb.model import Knowledge

STEP = " " * 12
"""Where the lines of a step go on."""


def kits(knowledge: Knowledge) -> Callable[[str], Kit]:
    """Return a function from engine name to its kit, each made once."""
    from isolate.case.chase import Kit
    from isolate.kb.fit import fit

    made: dict[str, Kit] = {}

    def kit(engine: str) -> Kit:
        if engine not in made:
            made[engine] = Kit(fit(knowledge, engine))
        return made[engine]

    return kit


def say(said: str, indent: str = "") -> None:
    """Print text; on a terminal, broken between words, lines after the first indented."""
    said = plain(said, lines=True)
    if sys.stdout.isatty():
        import shutil
        import textwrap

        width = max(20, shutil.get_terminal_size().columns - 1)
        said = textwrap.fill(said, width, subsequent_indent=indent, break_on_hyphens=False)
    print(said)


def text(said: str) -> None:
    """Print a text of several lines; on a terminal each broken between words, under its own indent."""
    for line in said.splitlines():
        say(line, " " * (len(line) - len(line.lstrip())) + "  ")


def print_step(chase: Chase, step: Step, said: str) -> None:
    from isolate.case.steps import Ask, Confirm, Cross, Mend, Offer

    spent = f"{chase.state.book_minutes:4.0f} min"
    if isinstance(step, Offer):
        say(f"{spent}  next: {step.title}  (about {step.expected:.0f} min to a verified, closed-up aircraft)", STEP)
        for firing in chase.news:
            if firing.kind != "gate":
                say(f"          {firing.kind}: {firing.says}", STEP)
        chase.news.clear()
    elif isinstance(step, Ask):
        say(f"{spent}    {step.title}: {said}", STEP)
        leading = ", ".join(
            f"{chase.fitted.zones[m.zone].title_of(m.state)} {m.probability:.0%}" for m in chase.belief.faults(0.05)[:3]
        )
        say(f"            suspects now: {leading or 'none above 5 %'}", STEP)
    elif isinstance(step, Confirm):
        say(f"{spent}    {step.caution.level.upper()} {step.caution.title}: {said}", STEP)
    elif isinstance(step, Cross | Mend):
        say(f"{spent}    {step.title}: {said}", STEP)
    else:
        say(f"{spent}    {step.title}: {said}", STEP)

"""What is asked when a shop's finding is added to a case: which repair, what was found, which fault, its report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from isolate.terminal import words
from isolate.terminal.keys import Bar, Face, Key, Stopped

if TYPE_CHECKING:
    from rich.console import Console

    from isolate.case.case import CaseState
    from isolate.kb.fit import Fitted


def ask(
    state: CaseState,
    repair: str | None,
    text: str,
    report: str,
    mode: str = "",
    fitted: Callable[[], Fitted | None] = lambda: None,
    console: Console | None = None,
    face: Face | None = None,
) -> tuple[str | None, str, str, str, str]:
    """Return (repair, finding, text, report, mode), asking for what is lacking. Raises Refused where nobody answers.

    ``fitted``: gives the knowledge of the engine, whose faults the shop may name; asked for only where it names one.
    """
    from rich.console import Console

    from isolate.case.intake import Refused
    from isolate.case.parts import FINDINGS, finding_event
    from isolate.terminal.keys import face as fitting
    from isolate.terminal.keys import quiet

    done = list(dict.fromkeys(state.repairs))
    if not state.ended or not done or (repair is not None and repair not in done):
        # It cannot be taken, whatever is found: say so before anything is asked.
        finding_event(state.events, repair, next(iter(FINDINGS)), text, report)
    console = console or Console(highlight=False, markup=False, emoji=False)
    face = face or fitting(console)
    try:
        with quiet(face):
            if repair is None and len(done) > 1:
                repair = _choose(console, face, "Which repair is it about", done, done)
            finding = _choose(console, face, "What did the shop say", list(FINDINGS), list(FINDINGS.values()))
            if finding == "confirmed" and not mode:
                mode = _mode(console, face, fitted(), repair or done[0])
            text = text or face.line("In words (Enter: nothing more):", _bar, words.INTERRUPT_FINDING) or ""
            report = report or face.line("Reference of the report (Enter: none):", _bar, words.INTERRUPT_FINDING) or ""
    except Stopped:
        raise Refused("nothing was added: it was not told what the shop found") from None
    return repair, finding, words.plain(text), words.plain(report), mode


def _bar(width: int) -> Sequence[tuple[str, str]]:
    return [("keys", " Ctrl-D stops; nothing is added then")]


def _choose(console: Console, face: Face, prompt: str, names: Sequence[str], says: Sequence[str]) -> str:
    from rich.text import Text

    from isolate.terminal.layout import keyed

    shown: Bar = _bar
    console.print(Text(f"{prompt}:", style="bold"))
    console.print(keyed([(str(i), said, "") for i, said in enumerate(says, 1)], console.width))
    keys = [Key(str(i), name, said) for i, (name, said) in enumerate(zip(names, says, strict=True), 1)]
    pressed = face.key(f"1-{len(names)}:", keys[:9], shown, words.INTERRUPT_FINDING)
    return names[int(pressed) - 1]


def _mode(console: Console, face: Face, fitted: Fitted | None, repair: str) -> str:
    """Return which of a part's faults the shop named; empty where it named none, or the knowledge has none."""
    from rich.text import Text

    from isolate.case.parts import shop_modes
    from isolate.kb.fit import split
    from isolate.terminal.layout import keyed

    able = shop_modes(fitted, repair) if fitted is not None else ()
    if fitted is None or not able:
        return ""
    says = [fitted.zones[fitted.mode_zone[mode]].title_of(split(mode)[0]) for mode in able]
    console.print(Text("Which fault of it did the shop name:", style="bold"))
    console.print(keyed([(str(i), said, "") for i, said in enumerate(says, 1)], console.width))
    asked = f"1-{len(able)} (Enter: it named none):" if len(able) > 1 else "1 (Enter: it named none):"
    while True:
        told = (face.line(asked, _bar, words.INTERRUPT_FINDING, able) or "").strip()
        if not told:
            return ""
        if told.isdecimal() and 1 <= int(told) <= len(able):
            return able[int(told) - 1]
        if found := [mode for mode in able if told in (mode, split(mode)[0])]:
            return found[0]
        console.print(Text(f"{words.plain(told)[:40]!r} is none of these."))

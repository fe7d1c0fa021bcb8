"""A reading taken at a step: asked for input by input, worked out, shown with its verdict, and answered or noted.

Nothing is on the trail before whoever took it has answered; Escape leaves with nothing lost.
"""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import unquote, urlsplit

from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from isolate.calc import CALLED
from isolate.calc import given as telling
from isolate.case import measured
from isolate.case.intake import Refused
from isolate.case.measured import Lacking, Reading
from isolate.case.steps import Ask, Mend, Offer, Step
from isolate.terminal import calcs, layout, words
from isolate.terminal import keys as k
from isolate.terminal.kept_columns import keep, with_kept
from isolate.terminal.keys import Choices, Face, Key, Search
from isolate.terminal.words import plain, reason

if TYPE_CHECKING:
    from isolate.calc.shape import Calculation, Input
    from isolate.case.chase import Chase
    from isolate.kb.fit import FitCheck
    from isolate.kb.model import Reads
    from isolate.reasoning.belief import Belief
    from isolate.reasoning.starts import Start

ROOM = 12
"""Columns that a question leaves at least for its answer on the same line."""
MORE, ENOUGH, LEAST, OUT = "more", ".", "<", "-"
"""What is typed for the rest of the questions, for no more of them, for the one before, to leave out what was told."""
MOST_PATHS = 40
"""So many names of files are put up to choose from."""
SPEAKS = 0.3
"""An answer of fewer bits says nothing either way."""
MOST_SAID = 6
"""Of so many suspects an answer is told what it says."""
SUSPECT = 0.01
"""From this probability on somebody is a suspect."""
FEW_LIMITS = 2
"""Limits of a calculation that are asked for without the step's naming them."""
MOST_STARTS = 8
"""So many of the starts told are put up to say which of them was recorded."""
_WORK = frozenset(("answered", "access", "repaired", "swapped", "verified", "left", "resumed", "passed-on"))
"""Events after which what was typed at a step is of another state of the aircraft, or of other people."""

_Typed = dict[str, str | Sequence[str]]


class Session(Protocol):
    """What a session at the terminal lends to this: its case, its screen, and how it asks."""

    chase: Chase
    console: Console
    face: Face
    compared: dict[tuple[str, str], str]
    """Files to compare with that were named in this session: (calculation, input) → as typed."""
    half_read: dict[tuple[str, str, str], HalfRead]
    """Readings left before they were taken: (step, calculation, what is judged) → what was typed."""

    read_by: dict[str, str]
    """Calculation → who last took such a reading in this session, and with what."""

    def say(self, what: str, style: str = "") -> None: ...
    def print(self, *parts: RenderableType) -> None: ...
    def choose(self, prompt: str, items: Sequence[tuple[str, str]]) -> str | None:
        """Return the name of one of (name, words); None for back."""

    def did(self, what: str, do: Callable[[], Any]) -> None:
        """Do something that is written to the trail."""

    def pressed(self, prompt: str, keys: Sequence[Key], digits_do: str = "answer") -> str:
        """Return a key; the one that leaves the case leaves it."""


@dataclass(frozen=True)
class HalfRead:
    """What was typed at a reading that was left; it holds until the work has gone on (``since``: its last event)."""

    typed: Mapping[str, str | Sequence[str]]
    reference: str
    since: int


class _Back(Exception):
    """The question before is wanted again."""


class _Enough(Exception):
    """What may be left out is left out."""


class _Out(Exception):
    """What was told before of this one is left out."""


class _More(Exception):
    """The rest of the questions are wanted as well."""


@dataclass
class _Told(Exception):
    """Another input was told by its name."""

    name: str
    value: str


@dataclass
class _Sheet:
    """What was told so far of one reading."""

    reads: Reads
    calculation: Calculation
    names: list[str]
    typed: _Typed = field(default_factory=dict)
    reference: str = ""
    half: bool = False
    """True where it was left half way and is taken up again."""


def measure(session: Session, step: Step) -> None:
    """Take a reading at a step, show what it comes to, and answer the step with it, note it, or leave it."""
    _Measuring(session, step).run()


class _Measuring:
    def __init__(self, session: Session, step: Step) -> None:
        self.s, self.step, self.chase = session, step, session.chase
        assert isinstance(step, Ask | Offer | Mend)
        self.key = step.key
        self.check: FitCheck | None = None if isinstance(step, Mend) else self.chase.fitted.check(step.key)
        self.answers: list[tuple[str, str]] = []
        self.names: tuple[str, ...] = ()
        if isinstance(step, Ask):
            self.answers = [(name, said) for name, said, _ in step.outcomes]
        elif self.check is not None:
            self.answers = [(name, self.check.said(name)) for name in self.check.outcomes]

    def run(self) -> None:
        from isolate.calc import calculation

        reads = self._which()
        if reads is None:
            return
        one = calculation(reads.calc)
        self.names = one.names
        sheet = self._begun(reads, one)
        self.s.print(layout.heading(CALLED[one.name], self.s.console.width, "Reading"))
        first = next((one.input(name) for name in sheet.names), None)
        self.s.say(words.RECORD if first is not None and first.kind == "file" else words.READING)
        for name, told in sheet.reads.given.items():
            self.s.say(f"{one.input(name).asks.rstrip('.?: ')}: {told}, as this step has it.")
        if sheet.typed:
            self.s.say(words.TAKEN_UP if sheet.half else words.TOLD_BEFORE)
        while True:
            reading = self._taken(sheet)
            if reading is None:
                self._left(sheet)
                return
            for wanted in one.inputs:
                if wanted.kind == "file" and wanted.many and (had := sheet.typed.get(wanted.name)):
                    self.s.compared[one.name, wanted.name] = had if isinstance(had, str) else ";".join(had)
            self._half(sheet)
            if not self._decided(reading, sheet):
                return
            # What came out is a reason to read once more: what was told stands as it is until told anew.
            sheet.names = _wanted(one, sheet.reads, self.check is not None, sheet.typed)

    def _half(self, sheet: _Sheet | None) -> None:
        """Keep what was typed for when this reading is taken up again; of None, forget it."""
        for key in [key for key in self.s.half_read if sheet is None and key[0] == self.key]:
            del self.s.half_read[key]
        if sheet is not None and sheet.typed:
            kept = HalfRead({**sheet.typed}, sheet.reference, self._since())
            self.s.half_read[self.key, sheet.calculation.name, sheet.reads.judge] = kept

    def _left(self, sheet: _Sheet) -> None:
        """Leave a reading; what was typed stands when it is taken up again."""
        self._half(sheet)
        self.s.say(words.HALF_READ if sheet.typed else words.NOTHING_READ)

    def _since(self) -> int:
        state = self.chase.state
        return max((e.seq for e in state.events if e.kind in _WORK), default=0)

    def _begun(self, reads: Reads, one: Calculation) -> _Sheet:
        """Return the sheet with what is known already: from the step, and from what was told earlier in this case."""
        check, state = self.check, self.chase.state
        if check is not None and check.channel and "channel" in reads.asks:
            # Which channel it is about is what the step is called by: it is not asked. With what it asks it stays.
            reads = reads.model_copy(update={"given": {**reads.given, "channel": check.channel}})
        half = self.s.half_read.get((self.key, one.name, reads.judge))
        if half is not None and half.since == self._since():
            names = _wanted(one, reads, check is not None, half.typed)
            return _Sheet(reads, one, names, {**half.typed}, half.reference, half=True)
        since = state.accepted if state.move is not None else state.events[-1].seq
        typed, reference = measured.told_before(state.events, state.void, self.chase.fitted, reads, self.key, since)
        for wanted in one.inputs:
            # Where files lie is no business of the trail's; which ones to compare with is known in this session.
            if wanted.kind == "file" and wanted.many and (had := self.s.compared.get((one.name, wanted.name))):
                typed[wanted.name] = had
        return _Sheet(reads, one, _wanted(one, reads, check is not None, typed), {**typed}, reference)

    def _which(self) -> Reads | None:
        """Return the calculation of the step; where there are several, it is asked for."""
        entries = self.chase.fitted.checks if self.check is not None else self.chase.fitted.repairs
        found = entries[self.key].entry.calculations(self.chase.fitted.profile.features)
        if len(found) == 1:
            return found[0]
        named = [(str(i), CALLED[one.calc]) for i, one in enumerate(found)]
        chosen = self.s.choose("Which reading?", named)
        return None if chosen is None else found[int(chosen)]

    # -- asking -----------------------------------------------------------------------------------------

    def _taken(self, sheet: _Sheet) -> Reading | None:
        """Ask for what is wanted until it can be worked out; None where it was left."""
        names, at = sheet.names, 0
        while True:
            try:
                if not self._all(sheet, names, at):
                    return None
            except _Back:
                if names is sheet.names:
                    return None
                # One that was asked again by itself: back among all of them.
                names, at = sheet.names, len(sheet.names) - 1
                continue
            # What was wrong with one input is no reason to ask again where the limits stand.
            reference = sheet.reference if names is not sheet.names and sheet.reference else self._reference(sheet)
            if reference is None:
                return None
            if reference == LEAST:
                names, at = sheet.names, len(sheet.names) - 1
                continue
            sheet.reference = reference
            try:
                typed = with_kept(sheet.calculation, sheet.typed)
                check = self.check
                others = measured.others(self.chase.fitted, check) if check is not None else ()
                reading = measured.take(sheet.reads, typed, reference, others)
                measured.body(reading)
            except Lacking as error:
                self.s.say(calcs.sentence(str(error), error.of), "bold")
                if error.of == measured.REFERENCE:
                    names, at, sheet.reference = [], 0, ""
                    continue
                known = error.of in sheet.names or error.of in sheet.typed
                # What cannot be is asked again by itself; what is wrong between several, or was not asked for, all.
                names, at = ([error.of] if known else sheet.names), 0
            except (OSError, ValueError) as error:
                self.s.say(f"{reason(error)}.", "bold")
                names, at = sheet.names, 0
            else:
                by = self._by(reading)
                if by is None:
                    return None
                if by == LEAST:
                    names, at = sheet.names, len(sheet.names) - 1
                    continue
                if kept := keep(sheet.calculation, typed, reading.found):
                    self.s.say(kept)
                return replace(reading, by=by)

    def _all(self, sheet: _Sheet, names: list[str], at: int) -> bool:
        """Ask for these inputs in turn from one on; False where it was left. Raises _Back from the first of them."""
        one, been = sheet.calculation, list(range(at))
        while at < len(names):
            wanted = one.input(names[at])
            if wanted.after and telling.blank(sheet.typed.get(wanted.after, "")):
                sheet.typed.pop(wanted.name, None)
                at += 1
                continue
            try:
                typed = self._one(sheet, wanted, f"{at + 1}/{len(names)}")
            except _Back:
                if not been:
                    raise
                at = been.pop()
                continue
            except _Enough:
                left = [n for n in names[at:] if one.input(n).default is None and n not in sheet.typed]
                if not left:
                    break
                self.s.say(f"{one.input(left[0]).asks.rstrip('.?: ')}: this has still to be told.", "bold")
                at = names.index(left[0])
                continue
            except _More:
                rest = [i.name for i in one.inputs if i.name not in (*names, *sheet.reads.given)]
                names += rest
                if names is not sheet.names:
                    sheet.names += [name for name in rest if name not in sheet.names]
                self.s.say(f"{len(rest)} more are asked for." if rest else "There is nothing more to ask for.")
                continue
            except _Told as told:
                if self._named(sheet, told) and told.name == wanted.name:
                    been.append(at)
                    at += 1
                continue
            except _Out:
                sheet.typed.pop(wanted.name, None)
                self.s.say("    = left out")
                been.append(at)
                at += 1
                continue
            if typed is None:
                return False
            sheet.typed = typed
            self._understood(sheet, wanted)
            been.append(at)
            at += 1
        return True

    def _one(self, sheet: _Sheet, wanted: Input, number: str) -> _Typed | None:
        """Ask for one input until it can be taken; None where it was left."""
        had = sheet.typed.get(wanted.name)
        before = ("; ".join(had) if not isinstance(had, str) else had) if had else ""

        def line(asked: str) -> str | None:
            if before:
                out = "" if wanted.default is None else f"; {OUT} leaves it out"
                # What an example is for is plain where there is one of its own.
                asked = f"{re.sub(r' [(](such as|several|Enter:).*', '', asked)} (Enter: {plain(before)}{out})"
            typed = self._line(f"{number} {asked}", wanted)
            if typed == OUT and before and wanted.default is not None:
                raise _Out
            if typed == LEAST:
                raise _Back
            if typed == ENOUGH:
                raise _Enough
            if typed is not None and typed.casefold() == MORE:
                raise _More
            if (other := self._other(typed or "")) is not None:
                raise other
            if typed == "" and before:
                return before
            return typed

        names = [i.name for i in sheet.calculation.inputs if i.name not in sheet.reads.given]
        keys = words.READING_KEYS.format(first=names[-1], names=", ".join(names))
        tell = partial(self.s.say, style="bold")
        return calcs.ask(sheet.calculation, sheet.typed, line, tell, [wanted.name], keys)

    def _line(self, asked: str, wanted: Input | None, names: tuple[str, ...] = ()) -> str | None:
        """Ask for a line under a question that may be long; None for Escape."""
        keys = [Key("Enter", "takes", ""), Key("<", "back", ""), Key("Esc", "leaves it", "")]
        if wanted is not None:
            keys[2:2] = [Key(".", "no more", ""), Key("more", "asks the rest", "")]
        bar = layout.bar(self.chase, keys)
        prompt = f"{asked}:"
        if cell_len(prompt) > self.s.console.width - ROOM:
            # A line that is typed on breaks anywhere; a text breaks between words.
            self.s.say(asked, "bold")
            prompt = f"{asked.partition(' ')[0]}:" if wanted is not None else ">"
        if wanted is None or wanted.kind != "file":
            choices: Choices = wanted.choices if wanted is not None else names
            return self.s.face.line(prompt, bar, words.INTERRUPT_READING, choices)
        while True:
            typed = self.s.face.line(prompt, bar, words.INTERRUPT_READING, Search(paths, row=wanted.many))
            if typed is None or typed.casefold() in ("", LEAST, "?", ENOUGH, OUT, MORE) or self._other(typed):
                return typed
            found = files(typed, wanted)
            if (odd := next(((path, why) for path in found if (why := unreadable(path))), None)) is None:
                return ";".join(map(str, found))
            self.s.say(f"{plain(str(odd[0]))}: {odd[1]}.", "bold")

    def _other(self, typed: str) -> _Told | None:
        """Return the input that was told by its name in place of an answer; None where none was."""
        found = re.fullmatch(r"([a-z][a-z0-9-]*)\s*=\s*(.*)", typed)
        return _Told(found[1], found[2]) if found and found[1] in self.names else None

    def _named(self, sheet: _Sheet, told: _Told) -> bool:
        """Take an input that was told by its name, whatever was asked; False where it cannot be taken."""
        wanted = sheet.calculation.input(told.name)
        if told.name in sheet.reads.given:
            self.s.say(f"{told.name} is settled by this step.", "bold")
            return False
        if not told.value.strip():
            sheet.typed.pop(told.name, None)
            self.s.say(f"{told.name}: left out.")
            return wanted.default is not None
        value = told.value
        if wanted.kind == "file":
            found = files(value, wanted)
            if (odd := next(((path, why) for path in found if (why := unreadable(path))), None)) is not None:
                self.s.say(f"{plain(str(odd[0]))}: {odd[1]}.", "bold")
                return False
            value = ";".join(map(str, found))
        try:
            telling.value(wanted, value)
        except ValueError as error:
            self.s.say(calcs.sentence(str(error), told.name), "bold")
            return False
        sheet.typed[told.name] = value
        self._understood(sheet, wanted, told.name)
        return True

    def _understood(self, sheet: _Sheet, wanted: Input, name: str = "") -> None:
        """Say back at once what was understood."""
        typed = sheet.typed.get(wanted.name, wanted.default or "")
        if typed and wanted.kind not in ("text", "choice", "yes", "file"):
            said = telling.said(telling.value(wanted, typed))
            self.s.say(f"    {f'{name} ' if name else ''}= {said}")
        elif wanted.kind == "file" and typed:
            told = telling.value(wanted, typed)
            self.s.say(f"    = {', '.join(plain(Path(p).name) for p in (told if wanted.many else (told,)))}")
        elif name:
            self.s.say(f"    {name} = {plain(str(typed))}")

    def _reference(self, sheet: _Sheet) -> str | None:
        """Ask where the limits stand, where any was told; ``<`` for the question before, None where it was left."""
        told = [i for i in sheet.calculation.inputs if i.limit and not telling.blank(sheet.typed.get(i.name, ""))]
        if not told:
            return ""
        asked = words.REFERENCE + (f" (Enter: {plain(sheet.reference)})" if sheet.reference else "")
        while True:
            typed = self._line(asked, None)
            if typed is None or typed == LEAST:
                return typed
            if typed or sheet.reference:
                return plain(typed) or sheet.reference
            self.s.say("A limit is worth what its source is: this has to be told.", "bold")

    def _by(self, reading: Reading) -> str | None:
        """Ask who read it and with what; Enter takes whom it was before, or who is here alone, or leaves it out."""
        here = tuple(plain(p.name) for p in self.chase.intake.people)
        had = self.s.read_by.get(reading.calculation.name, here[0] if len(here) == 1 else "")
        asked = words.RECORDED_BY if reading.files else words.READ_BY
        asked += f" (Enter: {had}; {OUT} leaves it out)" if had else " (Enter: left out)"
        while True:
            typed = self._line(asked, None, here)
            if typed is None or typed == LEAST:
                return typed
            by = "" if typed == OUT else plain(typed.strip()) or had
            if len(by) <= measured.LONGEST:
                self.s.read_by[reading.calculation.name] = by
                return by
            self.s.say(f"{measured.LONGEST} letters at most.", "bold")

    # -- what came out -----------------------------------------------------------------------------------

    def _decided(self, reading: Reading, sheet: _Sheet) -> bool:
        """Show a reading and take what is done with it; True where it is read once more."""
        proposed = next((i for i, (name, _) in enumerate(self.answers, 1) if name == reading.outcome), 0)
        left, drawn = self._show(reading, proposed)
        keys = self._keys(proposed, left, drawn)
        enter = "Enter, " if any(not key.key for key in keys) else ""
        digits = f"1-{len(self.answers)}, " if self.answers else ""
        prompt = f"{enter}{digits}or another key:" if enter or digits else "A key:"
        proposal = self._proposal(reading, proposed)
        short = f"{words.TAKES.format(number=proposed) if proposed else ''}{digits}or another key:"
        asked = prompt
        while True:
            self.s.print(*proposal)
            pressed = self.s.pressed(asked, keys)
            # After a picture only what is proposed is said again, in the prompt where there is no more room for it.
            proposal, asked = self._proposal(reading, proposed)[1 if self.answers else 0 :], prompt
            if pressed == k.MEASURE.key:
                return True
            if pressed == k.PICTURE.key:
                self.s.print(Text("\n".join(drawn)))
                said = layout.tall(self.s.console, Group(*proposal))
                if self.answers and len(drawn) + said + self._foot(keys) > self.s.console.height:
                    proposal, asked = [], short
                continue
            if pressed == k.LINES.key:
                self.s.print(*left)
                continue
            if pressed == k.BACK.key:
                self._left(sheet)
                return False
            if pressed == k.KEEP.key or (pressed == "" and self.check is None):
                self._note(reading)
                return False
            if pressed == "":
                outcome: str | None = reading.outcome
            elif pressed == k.UNSURE.key:
                outcome = None
            else:
                outcome = self.answers[int(pressed) - 1][0]
            if self._answered(reading, outcome):
                return False

    def _foot(self, keys: Sequence[Key]) -> int:
        """Return the lines of the block at the foot, and of the prompt above it."""
        return len(layout.bar(self.chase, keys)(self.s.console.width)) + 1

    def _keys(self, proposed: int, left: Sequence[object], drawn: Sequence[str]) -> list[Key]:
        keys: list[Key] = []
        if self.check is not None:
            if proposed:
                keys.append(Key("", "take", f"Enter: answer {proposed}, {self.answers[proposed - 1][1]}", ("enter",)))
            keys += [Key(str(i), name, said, (said,)) for i, (name, said) in enumerate(self.answers[:9], start=1)]
            keys += [k.UNSURE, k.KEEP]
        else:
            keys.append(Key("", "keep", "Enter: keep it as a note with this repair", ("enter",)))
        keys.append(Key(k.MEASURE.key, "again", "read once more"))
        keys += [k.LINES] * bool(left) + [k.PICTURE] * bool(drawn)
        return [*keys, Key(k.BACK.key, k.BACK.word, "leave it: nothing of it is kept"), k.LEAVE]

    def _show(self, reading: Reading, proposed: int) -> tuple[list[RenderableType], list[str]]:
        """Show what came out, verdict first; return what there was no room for: sentences, and the picture."""
        console, one, found = self.s.console, reading.calculation, reading.found
        judged = reading.judged
        parts: list[RenderableType] = [layout.heading(reading.words or "Worked out", console.width, "Reading")]
        if judged is not None and judged.why:
            parts.append(layout.text(f"{judged.why[:1].upper()}{judged.why[1:].rstrip('.')}.", "bold"))
        if judged is not None and judged.seconds is not None:
            low, high = judged.seconds
            parts.append(layout.text(f"From seconds {low:.1f} to {high:.1f} of the record."))
        lines: list[RenderableType] = [Padding(layout.text(line), (0, 0, 0, 2)) for line in found.lines]
        for what, other in found.judged.items():
            if what != reading.reads.judge and (said := one.judges.get(what, {}).get(other.verdict)):
                lines.append(Padding(layout.text(f"{said}{f': {other.why}' if other.why else ''}"), (0, 0, 0, 2)))
        heed = [layout.text(f"Mind: {warning}", "bold yellow") for warning in found.warnings]
        drawn: list[str] = []
        if one.draw is not None:
            ascii_only = not (console.encoding or "").casefold().startswith("utf")
            drawn = [plain(line) for line in one.draw(found, console.width - 1, ascii_only)]
        # Verdict, what to heed and the answers stay on the screen together; the rest is a key away.
        foot = self._foot(self._keys(proposed, [1], "p"))
        below = Group(layout.text(words.MORE_LINES.format(count=99)), *self._proposal(reading, proposed))
        spare = console.height - layout.tall(console, Group(*parts, *heed, below)) - foot
        left: list[RenderableType] = []
        for place, line in enumerate(lines):
            spare -= layout.tall(console, line)
            if console.is_terminal and spare < 0:
                left = lines[place:]
                break
            parts.append(line)
        if drawn and (not console.is_terminal or (not left and len(drawn) <= spare)):
            parts.append(Text("\n".join(drawn)))
            drawn = []
        if left:
            heed.append(layout.text(words.MORE_LINES.format(count=len(left))))
        self.s.print(*parts, *heed)
        return left, drawn

    def _proposal(self, reading: Reading, proposed: int) -> list[RenderableType]:
        """Return the answers and what is proposed; of a repair that there is nothing to answer."""
        if self.check is None:
            return [layout.text(words.AT_A_REPAIR)]
        items = [(str(i), said, "") for i, (_, said) in enumerate(self.answers, 1)]
        undecided = reading.judged is not None and reading.judged.verdict == measured.CANNOT_TELL
        said = words.UNDECIDED if undecided else words.NO_LIMIT if self._unlimited(reading) else words.UNJUDGED
        if proposed:
            said = words.PROPOSED.format(number=proposed, said=self.answers[proposed - 1][1])
        rows = layout.keyed([*items, ("u", "could not tell", "")], self.s.console.width)
        return [rows, layout.text(said, "bold")]

    @staticmethod
    def _unlimited(reading: Reading) -> bool:
        """Return whether a reading answers nothing for want of a limit."""
        limits = [i.name for i in reading.calculation.inputs if i.limit]
        return reading.judged is None and bool(reading.reads.gives) and not any(n in reading.given for n in limits)

    def _note(self, reading: Reading) -> None:
        self.s.did(
            f"a reading at {words.small(self.step.title)}",
            lambda: self.chase.note(measured.note_of(reading), self.key, measured.body(reading)),
        )
        self._half(None)
        self.s.say("Kept as a note, with the reading.")

    def _answered(self, reading: Reading, outcome: str | None) -> bool:
        """Answer the check with a reading; False where it was thought better of."""
        assert self.check is not None
        why = ""
        undecided = reading.judged is not None and reading.judged.verdict == measured.CANNOT_TELL
        if (reading.outcome and outcome != reading.outcome) or (undecided and outcome is not None):
            told = self._line("Why, against the reading (it goes on the trail)", None)
            if not told or told == LEAST:
                self.s.say("Nothing was answered.")
                return False
            why = plain(told)
        said = "could not tell" if outcome is None else self.check.said(outcome)
        kept, before = measured.body(reading), self.chase.belief
        state = self.chase.state
        if outcome is not None and (had := measured.said_before(state.events, state.void, self.check, kept)):
            self.s.say(words.SAID_BEFORE.format(had=had), "bold")
            return False
        # Asked before any of it is on the trail: whoever is cut off here finds the step, and with it the list, again.
        more: list[tuple[FitCheck, Reading]] = []
        starts: list[Start] | None = None
        if reading.files and outcome is not None:
            more = self._picked(self.chase.also(reading, self.key, measured.channel_of(reading)))
            # A start that was made for a check has been counted: the answer to that check is that start.
            start = None if self.check.entry.starts else measured.start_of(reading, self.chase.fitted.channels)
            starts = None if start is None else self._start(start, measured.disagrees(reading))
        try:
            self.s.did(f"{self.step.title}: {said}", lambda: self.chase.answer(outcome, why, kept))
        except Refused as error:
            self.s.say(str(error), "bold")
            return False
        self._half(None)
        self.s.say(f"Answered: {said}{', with the reading' if outcome is not None else ''}.")
        if reading.files and outcome is not None:
            self._record(reading, outcome, before, more, starts)
        return True

    # -- a record says more than one thing ---------------------------------------------------------------

    def _record(
        self,
        reading: Reading,
        outcome: str,
        before: Belief,
        more: Sequence[tuple[FitCheck, Reading]],
        starts: Sequence[Start] | None,
    ) -> None:
        """Take what the same record answers of other checks and the start that it is of, and say what it weighs."""
        check, chase = self.check, self.chase
        assert check is not None
        taken = [(check.key, outcome, measured.body(reading))]
        if more:
            said = [(other.key, of_it.outcome, measured.body(of_it)) for other, of_it in more]
            try:
                self.s.did(f"{len(said)} more answers from the same record", lambda: chase.record(said))
            except Refused as error:
                self.s.say(str(error), "bold")
            else:
                back = " b takes the last one back." if starts is None else ""
                self.s.say(f"Taken: {len(said)} more from the same record.{back}")
                taken += said
        if starts is not None:
            self.s.did("the recorded start", lambda: chase.tell(starts=[s.as_dict() for s in starts]))
            self.s.say("The recorded start is taken in with the starts.")
        if rows := weighed(chase, before, taken):
            self.s.print(layout.text("What this record says, for and against:", "bold"), *rows)
            # The next card would push it off the screen before it is read.
            self.s.pressed("Enter goes on:", [Key("", "on", "Enter: go on", ("enter",)), k.LEAVE])

    def _picked(self, found: Sequence[tuple[FitCheck, Reading]]) -> list[tuple[FitCheck, Reading]]:
        """Ask which of these are taken as well: all, none, or each by its digit."""
        if not found:
            return []
        out: set[int] = set()
        self.s.print(layout.text("The same record also says:", "bold"))
        while True:
            rows = []
            for i, (check, reading) in enumerate(found[:9]):
                judged = reading.judged
                span = judged.seconds if judged is not None else None
                at = f" (seconds {span[0]:.1f} to {span[1]:.1f})" if span else ""
                left = " - left out" if i in out else ""
                mark = "" if check.title.endswith("?") else ":"
                rows.append((str(i + 1), f"{check.title}{mark} {check.said(reading.outcome)}{at}{left}", ""))
            self.s.print(layout.keyed(rows, self.s.console.width))
            keys = [Key("y", "yes", "take these as well"), Key("n", "none", "none of them: each is asked by itself")]
            keys += [
                Key(str(i + 1), c.key, f"leave out, or take after all: {c.key}") for i, (c, _) in enumerate(found[:9])
            ]
            pressed = self.s.pressed("Take these too? y, n, or a digit leaves one out:", [*keys, k.LEAVE], "leaves out")
            if pressed == "n":
                return []
            if pressed == "y":
                return [one for i, one in enumerate(found[:9]) if i not in out]
            out ^= {int(pressed) - 1}

    def _start(self, start: Start, disagrees: bool) -> list[Start] | None:
        """Ask which of the starts told a record is of; return them with it, None where they stay as they are.

        ``disagrees``: the record shows a light in a start that was told not to have lit, which its answer says.
        """
        from isolate.case.record import start_words
        from isolate.reasoning.starts import UNKNOWN

        told = list(self.chase.intake.starts)
        places = list(range(len(told)))[::-1]
        if disagrees and not (places := [i for i in places if not told[i].lit]):
            return None

        def unlike(i: int) -> int:
            other = UNKNOWN not in (told[i].channel, start.channel) and told[i].channel != start.channel
            return int(other) + int(told[i].lit != start.lit and not disagrees)

        # Those that it can be come first, the latest before the others; one that it cannot well be, after *new*.
        places.sort(key=unlike)
        called = {i: "the latest told" if i == len(told) - 1 else f"number {i + 1} of {len(told)} told" for i in places}
        items = [(str(i), f"it is {called[i]}: {start_words(told[i])}") for i in places[:MOST_STARTS]]
        if not disagrees:
            fits = sum(not unlike(i) for i in places[:MOST_STARTS])
            items.insert(fits, ("new", "it is not among the starts told: add it as the latest"))
        self.s.say(f"The start that was recorded: {start_words(start)}.", "bold")
        chosen = self.s.choose("Is it among the starts told (b: leave them as they are)?", items)
        if chosen is None:
            return None
        starts = measured.with_start(told, start, None if chosen == "new" else int(chosen), disagrees)
        if starts == told:
            self.s.say("It is there as it was recorded: nothing to add.")
            return None
        return starts


def _wanted(one: Calculation, reads: Reads, judged: bool, had: Mapping[str, Any] = {}) -> list[str]:
    """Return the inputs that are asked for at once: what has to be told, limits, and what the step names."""
    rest = [i for i in one.inputs if i.name not in reads.given]
    # Without its limit there is no verdict. Of one that takes many the step names those that matter at it.
    limits = judged and bool(reads.gives) and sum(i.limit for i in rest) <= FEW_LIMITS
    names = [i.name for i in rest if i.default is None or i.name in (*reads.asks, *had) or (i.limit and limits)]
    needed = any(i.default is None or i.name in reads.asks for i in rest)
    # One that takes what there is of several things is asked for all of it.
    return names if needed else [i.name for i in rest]


def weighed(chase: Chase, before: Belief, taken: Sequence[tuple[str, str, Mapping[str, Any]]]) -> list[RenderableType]:
    """Return what each answer of a record says for and against what it looks at, in words and bits, with its seconds.

    ``before``: the belief that they came upon; what was and is next to nothing in a zone is left out.
    """
    from isolate.reasoning.explain import strength

    belief, fitted = chase.belief, chase.fitted
    looked = {zone for key, _, _ in taken for zone in fitted.check(key).given}
    suspects = {
        (fault.zone, fault.state): layout.brief(fault)
        for one in (before, belief)
        for fault in one.faults(SUSPECT)
        if fault.zone in looked
    }
    bits: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for (zone, state), name in suspects.items():
        for told, weight in belief.weights({zone: state}):
            if zone in fitted.check(told.check).given:
                bits.setdefault((told.check, told.outcome), []).append((weight, name))
    rows: list[RenderableType] = []
    for key, outcome, body in taken:
        check = fitted.check(key)
        weights = sorted((w for w in bits.get((key, outcome), []) if abs(w[0]) >= SPEAKS), key=lambda w: -abs(w[0]))
        # Much speaks against much; what a record speaks for is what somebody looks for, and comes first.
        speaks = [w for w in weights if w[0] > 0][: MOST_SAID - 2]
        speaks += [w for w in weights if w[0] < 0][: MOST_SAID - len(speaks)]
        said = [f"{strength(w)} {name} ({w:+.1f} bits)" for w, name in speaks]
        at = body.get("seconds")
        when = f" (seconds {at[0]:.1f} to {at[1]:.1f})" if at else ""
        mark = "" if check.title.endswith("?") else ":"
        rows.append(Padding(layout.text(f"{check.title}{mark} {check.said(outcome)}{when}"), (0, 0, 0, 2)))
        rows.append(Padding(layout.text("; ".join(said) or "says nothing either way of any zone", "dim"), (0, 0, 0, 4)))
    return rows


# -- files that are typed or pasted -------------------------------------------------------------------


def named(typed: str) -> Path:
    """Return the path that was typed, pasted or dropped: in quotes, with ~, with escaped spaces, as a file: address."""
    text = typed.strip()
    if text.startswith("file://"):
        return Path(unquote(urlsplit(text).path))
    if _home(text).exists():
        return _home(text)
    if len(text) > 1 and text[0] == text[-1] and text[0] in "'\"":
        return _home(text[1:-1])
    if "\\" in text and os.sep == "/":
        try:
            parts = shlex.split(text)
        except ValueError:
            parts = []
        if len(parts) == 1:
            return _home(parts[0])
    return _home(text)


def _home(path: str) -> Path:
    """Return a path with ~ spelt out; as it is where there is no such person, who would raise RuntimeError."""
    return Path(os.path.expanduser(path))


def files(typed: str, wanted: Input) -> list[Path]:
    """Return the files that were typed for an input; several with a semicolon between, where it takes several."""
    if not wanted.many or named(typed).exists():
        return [named(typed)]
    return [named(part) for part in typed.split(";") if part.strip()]


def unreadable(path: Path) -> str:
    """Return why a file cannot be read; empty where it can."""
    try:
        if path.is_dir():
            return "that is a folder; name a file in it"
        if not path.exists():
            return "there is no such file"
        if not path.is_file():
            return "that is no ordinary file"
        with path.open("rb"):
            return ""
    except (OSError, ValueError) as error:
        return (getattr(error, "strerror", None) or "it cannot be read").lower()


def paths(typed: str) -> list[tuple[str, str, str]]:
    """Return the files and folders that what was typed may be the beginning of, to complete it from."""
    text = typed.lstrip().lstrip("'\"")
    folder, _, begun = text.rpartition("/")
    place = _home(folder or ("/" if text.startswith("/") else "."))
    found = []
    try:
        with os.scandir(place) as entries:
            for entry in entries:
                if entry.name.casefold().startswith(begun.casefold()) and (begun or not entry.name.startswith(".")):
                    found.append((entry.name, entry.is_dir()))
    except (OSError, ValueError):
        return []
    before = f"{folder}/" if folder or text.startswith("/") else ""
    kinds = {True: "folder", False: ""}
    return [
        (f"{before}{name}{'/' if is_folder else ''}", plain(name), kinds[is_folder])
        for name, is_folder in sorted(found)[:MOST_PATHS]
    ]

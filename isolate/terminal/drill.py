"""A drill at the terminal: takes what the trainee types, shows what comes of it, until it ends or is left.

Nothing is proposed, and nothing that the tool believes is shown before the end.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from rich.console import Console, RenderableType
from rich.text import Text

from isolate.case import deferral
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.parts import PART, checked_part_fact
from isolate.case.store import StoreError
from isolate.drill import said as reading
from isolate.drill.drive import ASK_EVERY, HINTS, suspects
from isolate.kb.fit import split
from isolate.terminal import drill_layout as layout
from isolate.terminal import drill_words as words
from isolate.terminal import keys as k
from isolate.terminal.keys import Choices, Face, Search, Stopped
from isolate.terminal.layout import tall
from isolate.terminal.words import LONGER, NARROWEST, TOO_NARROW, listed, minutes, percent, plain, reason

if TYPE_CHECKING:
    from isolate.case.chase import Kit
    from isolate.drill.debrief import Debrief
    from isolate.drill.drive import Choice, Drive
    from isolate.drill.said import Said

MOST_MOVES = 60
"""No more moves than this are listed at once."""
ENTERS = ("Enter goes on", "anything else leaves it", "Ctrl-C leaves")
ASKED_OF_PARTS = ("pn-off", "sn-off", "pn-on", "sn-on")


def play(
    drive: Drive,
    kit: Kit,
    finish: Callable[[], Debrief | Mapping[str, Any]],
    console: Console | None = None,
    face: Face | None = None,
) -> int:
    """Play a drill until it ends or is left. Return the exit status: 0 when ended or left by choice, else 1.

    ``finish``: works out the debrief of a drill that has ended and keeps it, or returns the one that was kept.
    """
    for stream in (sys.stdout, sys.stdin):
        with suppress(AttributeError, ValueError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    console = console or Console(highlight=False, markup=False, emoji=False)
    face = face or k.face(console)
    with k.quiet(face):
        return _Session(drive, kit, finish, console, face).run()


class _Left(Exception):
    """The drill is left by choice."""


class _Session:
    def __init__(
        self,
        drive: Drive,
        kit: Kit,
        finish: Callable[[], Debrief | Mapping[str, Any]],
        console: Console,
        face: Face,
    ) -> None:
        self.drive, self.kit, self.finish, self.console, self.face = drive, kit, finish, console, face
        self.last = "the beginning of the drill"
        self.seen: set[str] = set()
        """Cautions that were shown in full in this session."""
        self.passed_over = -ASK_EVERY
        """How many answers there were when the prime suspect was last asked for without one being named."""
        self.instead = ""
        """What was typed where a move waited for Enter: it is taken next."""
        self.search = Search(self._completions)

    # -- the whole session -----------------------------------------------------------------------------

    def run(self) -> int:
        if self.console.width < NARROWEST:
            self.say(TOO_NARROW.format(width=self.console.width, least=NARROWEST), "bold")
            self._kept()
            return 1
        try:
            self._greet()
            while not self.drive.ended:
                self._step()
            return self._over()
        except (_Left, KeyboardInterrupt):
            self._kept()
            return 0
        except Stopped as stop:
            if not stop.left:
                self.say(words.INPUT_ENDED, "bold")
            self._kept()
            return 0 if stop.left else 1
        except (StoreError, OSError) as error:
            return self._unwritten(error)
        except Refused as error:
            self.say(str(error), "bold")
            return 1

    def _greet(self) -> None:
        drive = self.drive
        who = str(drive.about.get("trainee") or "")
        level = drive.about.get("level")
        hard = str(level.get("name") or "") if isinstance(level, dict) else ""
        self.say(f"Drill {drive.chase.id}{f', for {who}' if who else ''}{f', level {hard}' if hard else ''}", "bold")
        if drive.ended:
            self.say(words.ENDED_BEFORE)
        elif drive.minutes > 0 or any(e.kind in _DONE for e in drive.chase.state.events):
            self.page(layout.look(drive, self.console.width))
            self.say(words.RESUMED.format(minute=f"{drive.minutes:.0f}"), "bold")
        else:
            self.page(layout.opening(drive, self.console.width))

    def _over(self) -> int:
        from isolate.drill import debrief_page

        self.say(words.WORKING_OUT)
        debrief = self.finish()
        self.console.print()
        style, before = "", ""
        for number, line in enumerate(debrief_page.text(debrief, self.console.width)):
            if not number and line.startswith(words.STOPPED):
                style = layout.STOP
            elif not line:
                style = ""
            heads = not before and line and not line.startswith(" ")
            self.say(line, style or ("bold" if heads else ""))
            before = line
        if isinstance(self.drive.chase.log, Memory):
            self.say(words.NOT_KEPT)
            return 0
        self.console.print()
        for line in words.KEEP:
            self.say(line.format(drill=self.drive.chase.id))
        return 0

    def _kept(self) -> None:
        if isinstance(self.drive.chase.log, Memory):
            self.say(words.NOT_KEPT)
            return
        # The command stands on a line of its own, to be copied whole.
        self.say(words.KEPT.format(drill=self.drive.chase.id))
        self.say(words.RESUME.format(drill=self.drive.chase.id))

    def _unwritten(self, error: Exception) -> int:
        with suppress(OSError):
            self.say(words.NOT_WRITTEN.format(why=reason(error)), "bold")
            self.say(words.LAST_KEPT.format(last=self.last))
            self._kept()
        return 1

    # -- showing and asking ------------------------------------------------------------------------------

    def say(self, what: str, style: str = "") -> None:
        self.console.print(Text(plain(what), style=style))

    def page(self, what: RenderableType) -> None:
        """Show something that may be longer than the window."""
        self.console.print()
        self.console.print(what)
        foot = len(layout.bar(self.drive)(self.console.width))
        # The line that is typed on keeps room for completions below it.
        if self.console.is_terminal and tall(self.console, what) > self.console.height - foot - ROOM:
            self.say(LONGER)

    def ask(self, prompt: str, choices: Choices = (), foot: Sequence[str] = words.FOOT) -> str:
        """Return a line; empty for Escape."""
        told = self.face.line(prompt, layout.bar(self.drive, foot), words.INTERRUPT, choices)
        return plain(told or "").strip()

    def _goes_on(self, prompt: str, left: str) -> bool:
        """Return whether Enter was pressed, and nothing else. What was typed instead is taken next.

        ``left``: what is said where it does not go on.
        """
        told = self.face.line(prompt, layout.bar(self.drive, ENTERS), words.INTERRUPT)
        if told == "":
            return True
        self.say(left)
        self.instead = plain(told or "").strip()
        return False

    def _typed_instead(self) -> str:
        """Return what was typed instead of Enter, where it is something to be done."""
        line, self.instead = self.instead, ""
        bare = line.casefold().strip(" .!")
        if bare in words.YES:
            self.say(words.ONLY_ENTER)
        if not line or bare in words.YES | words.NO:
            return ""
        said = self._read(line)
        return line if said.kind != "unclear" or said.candidates else ""

    def _completions(self, typed: str) -> list[tuple[str, str, str]]:
        if not typed.strip():
            return []
        found = reading.completions(self.drive.choices, typed)
        return [(phrase, phrase, words.KINDS[choice.kind]) for phrase, choice in found[:MOST_MOVES]]

    # -- one line ------------------------------------------------------------------------------------------

    def _step(self) -> None:
        try:
            if self.drive.stopped is not None:
                self._stop()
            elif line := self._typed_instead() or self.ask(words.PROMPT, self.search):
                self._meant(line)
        except Refused as error:
            self.say(str(error), "bold")

    def _meant(self, line: str) -> None:
        """Do what a line means; where it is not clear, ask."""
        while line:
            said = self._read(line)
            if said.kind != "unclear":
                self._do(said)
                return
            if not said.candidates:
                self.say(said.why, "bold")
                return
            choice, line = self._which(said)
            if choice is not None:
                self._move(choice, said.channel, said.minutes, said.reference)
                return

    def _read(self, line: str) -> Said:
        return reading.understand(self.drive.choices, self.drive.fitted, line, self.drive.chase.state.open)

    def _which(self, said: Said) -> tuple[Choice | None, str]:
        """Ask which of several is meant, or whether the one is; return it, or what was typed instead."""
        asked, found = said.why, said.candidates
        while True:
            self.say(asked, "bold")
            for number, choice in enumerate(found, start=1):
                self.say(f"  {number}  {layout.titled(choice)}  ({words.KINDS[choice.kind]})")
            # What was denied is never taken for an Enter.
            one = len(found) == 1 and said.why != reading.DENIED
            bar = layout.bar(self.drive, words.ONE_FOOT if one else words.WHICH_FOOT)
            answer = self.face.line(words.ONE_PROMPT if one else words.WHICH_PROMPT, bar, words.INTERRUPT, self.search)
            told = plain(answer or "").strip()
            bare = told.casefold().strip(" .!")
            if one and answer is not None and (not bare or bare in words.YES):
                return found[0], ""
            if not bare or bare in words.NO:
                self.say(words.LEFT_UNDONE)
                return None, ""
            # Which channel is answered by its letter as well.
            channel = bare.removeprefix("channel").strip()
            on = tuple(c for c in found if channel and split(c.key)[1].casefold() == channel)
            if told.isdecimal():
                if not 1 <= int(told) <= len(found):
                    asked = words.NO_NUMBER.format(number=told)
                    if len(on) == 1:
                        return on[0], ""
                elif self._other_channel(told, found[int(told) - 1]) and (on or one):
                    asked = words.TWO_MEANINGS.format(number=told)
                else:
                    return found[int(told) - 1], ""
                continue
            if len(on) > 1:
                asked, found = said.why, on
                continue
            if on:
                return on[0], ""
            other = self._read(told)
            if other.kind != "unclear" and other.choice not in found:
                self.say(words.NOT_THAT)
            return None, told

    def _other_channel(self, told: str, choice: Choice) -> bool:
        """Return whether a number is the name of another channel than that of the move that it would pick."""
        return told in self.drive.fitted.channels and split(choice.key)[1] not in ("", told)

    def _do(self, said: Said) -> None:
        drive, width = self.drive, self.console.width
        if said.kind in ("move", "wait"):
            self._move(said.choice or drive.choice("wait", "wait"), said.channel, said.minutes, said.reference)
        elif said.kind == "suspect":
            self._suspected(said)
        elif said.kind == "hint":
            self._hint()
        elif said.kind == "again":
            self.say(words.NOT_STOPPED)
        elif said.kind == "note":
            self._note(said.text)
        elif said.kind == "look":
            self.page(layout.look(drive, width))
        elif said.kind == "earlier":
            self.page(layout.earlier(drive, self.kit, width))
        elif said.kind == "moves":
            self._moves(said)
        elif said.kind == "leave":
            raise _Left
        else:
            self.page(layout.help_page(width))

    # -- moves --------------------------------------------------------------------------------------------

    def _move(self, choice: Choice, channel: str, waited: float | None, reference: str) -> None:
        """Make a move, with what has to be read and told before it and is asked after it.

        ``channel``, ``reference``: told with a deferral; ``waited``: minutes told with a wait.
        """
        drive = self.drive
        length, told = 0.0, dict[str, str]()
        if choice.kind == "wait":
            length = self._minutes(waited)
            if not length:
                return
        elif choice.kind == "end":
            told = self._deferral(channel, reference) if choice.key == deferral.DEFER else {}
            self.say(words.ENDS.format(title=choice.title), "bold")
            if not self._goes_on(words.END_IT, words.GOES_ON):
                return
        elif found := drive.cautions(choice):
            self.page(layout.cautions(found, self.seen))
            self.seen |= {c.name for c in found}
            if not self._goes_on(words.CAUTIONS, words.LEFT_UNDONE):
                return
        if choice.kind in ("repair", "swap") and not drive.hindered(choice):
            if other := self._before_repair():
                self.say(words.LEFT_UNDONE)
                self._meant(other)
                return
            if choice.kind == "repair" and drive.fitted.repair(choice.key).entry.parts > 0:
                told = self._parts()
        came = drive.do(choice, length, told)
        self.last = plain(layout.titled(choice))
        if came.kind == "stopped":
            return
        part = told if choice.kind == "repair" and came.kind == "done" else {}
        self.console.print(layout.came(drive, came, self.console.width, part))
        if came.kind == "answered" and drive.asks_suspect() and self._answers() - self.passed_over >= ASK_EVERY:
            self._meant(self._ask_suspect(words.SUSPECT))

    def _stop(self) -> None:
        event = self.drive.stopped
        assert event is not None
        self.console.print()
        self.console.print(layout.stopped(self.drive, event, self.console))
        while True:
            told = self.ask(words.STOP_PROMPT, ("again", "leave"), ("again", "leave")).casefold().strip(" .!'")
            if told in ("again", "a"):
                self.drive.again()
                self.last = "taken up again"
                self.say(words.AGAIN, "bold")
                return
            if told in ("leave", "l", "q", "quit"):
                raise _Left
            self.say(words.STOP_EITHER)

    def _minutes(self, given: float | None) -> float:
        """Return the minutes of a wait; 0 for none."""
        while given is None:
            told = self.ask(words.WAIT, (), ("Enter waits", "Esc: no wait"))
            if not told:
                self.say(words.LEFT_UNDONE)
                return 0.0
            found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:m|min|mins|minutes?)?", told, re.ASCII)
            if found:
                given = float(found[1].replace(",", "."))
            else:
                self.say(words.NO_MINUTES, "bold")
        if given <= 0:
            self.say(words.NO_MINUTES, "bold")
        return max(0.0, given)

    def _deferral(self, channel: str, reference: str) -> dict[str, str]:
        """Ask which channel is deferred and under which reference, unless they were told."""
        channels = {c.casefold(): c for c in self.drive.fitted.channels}
        prompt = words.CHANNEL.format(channels=listed(list(channels.values()), "or"))
        while not channel:
            told = self.ask(prompt, (), ("Enter tells it", "Esc: not deferred"))
            if not told:
                raise Refused(words.LEFT_UNDONE)
            channel = channels.get(told.casefold().removeprefix("channel").strip(), "")
        if not reference:
            self.say(words.REFERENCE, "bold")
            reference = self.ask(words.REFERENCE_PROMPT, (), ("Enter tells it",))
        return {"channel": channel, **({"reference": reference} if reference else {})}

    def _parts(self) -> dict[str, str]:
        """Ask for the numbers of the parts that came off and went on; what is not told stays a blank."""
        self.say(words.PART)
        told: dict[str, str] = {}
        asks = {ask.name: ask for ask in PART}
        number = 0
        while number < len(ASKED_OF_PARTS):
            asked = asks[ASKED_OF_PARTS[number]]
            bar = layout.bar(self.drive, ("Enter tells it, or leaves a blank", "Esc: the rest blank"))
            given = self.face.line(f"{number + 1}/{len(ASKED_OF_PARTS)} {asked.prompt}", bar, words.INTERRUPT)
            if given is None:
                break
            try:
                if said := plain(given).strip():
                    told[asked.name] = checked_part_fact(asked, said)
                number += 1
            except Refused as error:
                self.say(str(error), "bold")
        return told

    # -- suspects ------------------------------------------------------------------------------------------

    def _answers(self) -> int:
        return sum(e.kind == "answered" for e in self.drive.chase.state.events)

    def _before_repair(self) -> str:
        """Ask for the prime suspect before the first repair, unless it was just told; as :meth:`_ask_suspect`."""
        events = self.drive.chase.state.events
        if any(e.kind in ("repaired", "swapped") for e in events):
            return ""
        last = next((e.kind for e in reversed(events) if e.kind in ("suspected", "answered")), "")
        if last == "suspected" or self.passed_over == self._answers():
            return ""
        return self._ask_suspect(words.SUSPECT_FIRST)

    def _ask_suspect(self, question: str) -> str:
        """Ask for the prime suspect. Return what was typed instead, where it is something else to be done."""
        self.say(question.format(example=f"lead {self.drive.fitted.channels[0]} 60"), "bold")
        while True:
            told = self.ask(words.SUSPECT_PROMPT, (), ("Enter tells it", "Enter alone: no idea", "Ctrl-C leaves"))
            said = self._read(told)
            if told and said.kind == "unclear":
                said = self._read(f"suspect {told}")
            if said.kind == "suspect":
                self._suspected(said)
                return ""
            if not told or said.kind != "unclear":
                self.passed_over = self._answers()
                return told
            self.say(said.why or words.SUSPECT_AGAIN, "bold")

    def _suspected(self, said: Said) -> None:
        sure = said.sure
        while sure is None:
            told = self.ask(words.SURE, (), ("Enter tells it", "Esc: not written down"))
            if not told:
                self.say(words.LEFT_UNDONE)
                return
            found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:%|percent)?", told, re.ASCII)
            sure = float(found[1].replace(",", ".")) / 100 if found else None
            if sure is None or sure > 1:
                sure = None
                self.say(words.NO_PERCENT, "bold")
        self.drive.suspect(said.suspect, sure)
        title = suspects(self.drive.fitted)[said.suspect]
        self.last = f"prime suspect: {title}"
        self.say(words.WRITTEN_DOWN.format(title=title, sure=percent(sure)))

    # -- what else may be typed ------------------------------------------------------------------------------

    def _hint(self) -> None:
        second = self._hinted()
        cost = minutes(HINTS[1] if second else HINTS[0])
        what = words.HINT_SECOND if second else words.HINT_FIRST.format(more=minutes(HINTS[1]))
        self.say(words.HINT.format(cost=cost, what=what))
        if not self._goes_on(words.TAKE_HINT, words.NO_HINT):
            return
        lines = self.drive.hint()
        self.last = "a hint"
        for line in lines:
            self.say(line, "bold")

    def _hinted(self) -> bool:
        """Return whether the next hint is a further one at the same step."""
        for event in reversed(self.drive.chase.state.events):
            if event.kind == "hinted":
                return True
            if event.kind in ("answered", "repaired", "swapped", "access", "inspected"):
                return False
        return False

    def _note(self, text: str) -> None:
        note = text or self.ask(words.NOTE, (), ("Enter keeps it", "Esc: no note"))
        if note:
            self.drive.note(note)
            self.last = "a note"
            self.say(words.NOTED)

    def _moves(self, said: Said) -> None:
        found, asked = said.candidates, said.text
        if not asked:
            self.say(words.MOVES_WHICH.format(count=len(self.drive.choices)))
        elif not found:
            self.say(words.NO_MOVES.format(word=asked))
        else:
            self.page(layout.moves(found[:MOST_MOVES]))
            if len(found) > MOST_MOVES:
                self.say(words.MORE_MOVES.format(count=len(found) - MOST_MOVES))


ROOM = 6
"""Lines that the prompt takes with room for completions."""
_DONE = frozenset({
    "answered", "repaired", "swapped", "inspected", "waited", "refused", "stopped", "suspected", "hinted", "noted",
})  # fmt: skip
"""Events by which one knows that a trainee was at it."""

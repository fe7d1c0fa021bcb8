"""A case worked at the terminal: shows each step, takes what is said to it, until it ends or is left."""

from __future__ import annotations

import codecs
import re
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, replace
from datetime import datetime
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.text import Text

from isolate.case import ages, deferral, handing, swaps, unfound
from isolate.case.case import BadIntake, Seen
from isolate.case.inherit import carried
from isolate.case.intake import Refused, checked_fact
from isolate.case.memory import Memory
from isolate.case.now import condition_now
from isolate.case.parts import checked_part_fact
from isolate.case.steps import Ask, Confirm, Cross, Done, Held, Here, Mend, Offer, Report, Step, Wait, Walk
from isolate.case.store import StoreError
from isolate.case.think import Thinker
from isolate.kb.model import Ask as Fact
from isolate.reasoning.wear import parts
from isolate.terminal import intake as reading
from isolate.terminal import keys as k
from isolate.terminal import layout, words
from isolate.terminal.keys import Choices, Face, Key, Search, Stopped
from isolate.terminal.words import plain, reason

if TYPE_CHECKING:
    from isolate.case.chase import Chase
    from isolate.reasoning.plan import Valued
    from isolate.terminal.measuring import HalfRead


ROOM = 8
"""Columns that a question leaves at least for its answer on the same line."""


def run(chase: Chase, console: Console | None = None, face: Face | None = None) -> int:
    """Work a chase until it ends or is left. Return the exit status: 0 when ended or left by choice, else 1."""
    codecs.register_error("spelt", _spelling)
    for stream, errors in ((sys.stdout, "spelt"), (sys.stdin, "replace")):
        with suppress(AttributeError, ValueError, OSError):
            stream.reconfigure(errors=errors)  # type: ignore[union-attr]
    console = console or Console(highlight=False, markup=False, emoji=False)
    face = face or k.face(console)
    with k.quiet(face):
        return _Session(chase, console, face).run()


def _spelling(error: UnicodeError) -> tuple[str, int]:
    """Spell out what a screen has no sign for: a lost Ω or ± would make another figure of a reading."""
    from isolate.calc.figures import spelt

    if not isinstance(error, UnicodeEncodeError):
        raise error
    return spelt(error.object[error.start : error.end].replace("─", "-")), error.end


def hand_over(chase: Chase, console: Console | None = None, face: Face | None = None) -> int:
    """Pass a case on to the next people without working it first. Return the exit status."""
    console = console or Console(highlight=False, markup=False, emoji=False)
    face = face or k.face(console)
    with k.quiet(face):
        return _Session(chase, console, face).hand_over()


class _Left(Exception):
    """The case is left by choice."""


class _PassedOn(Exception):
    """The case was passed on to the next people."""


class _Session:
    def __init__(self, chase: Chase, console: Console, face: Face) -> None:
        self.chase, self.console, self.face = chase, console, face
        self.thinker = Thinker(chase)
        self.last = "the opening of the case" if len(chase.state.evidence) == 0 else "what was told before now"
        self.interrupt = words.INTERRUPT.format(leave=k.LEAVE.key)
        self.compared: dict[tuple[str, str], str] = {}
        """Files to compare with that were named at a reading: (calculation, input) → as typed."""
        self.half_read: dict[tuple[str, str, str], HalfRead] = {}
        """Readings that were left before they were taken: by step, calculation and what is judged."""
        self.read_by: dict[str, str] = {}
        """Who last read something, and with what, by calculation."""
        self.shown: Step | None = None
        """The step whose card is on the screen."""
        self.aside = False
        """True once something else was shown after the card."""
        self.long = False
        """True where the card did not fit on the screen, so that its beginning has gone off the top."""

    # -- the whole session -----------------------------------------------------------------------------

    def run(self) -> int:
        return self._through(self._work)

    def hand_over(self) -> int:
        """Pass the case on at once; Escape or an empty line leaves it as it was."""

        def ask() -> int:
            if isinstance(self.chase.now(), Done):
                raise Refused(f"case {self.chase.id} has ended: there is nothing to hand over")
            self._hand_over()
            self.say(words.NOT_PASSED_ON, "bold")
            return 1

        return self._through(ask)

    def _work(self) -> int:
        while True:
            step = self.chase.now()
            if isinstance(step, Done):
                self._news()
                return self._done(step)
            try:
                self._step(step)
            except (Refused, BadIntake) as error:
                self.say(str(error), "bold")

    def _through(self, work: Callable[[], int]) -> int:
        """Do something with the case, whatever ends it; return the exit status."""
        if self.console.width < words.NARROWEST:
            self.say(words.TOO_NARROW.format(width=self.console.width, least=words.NARROWEST), "bold")
            self._kept()
            return 1
        try:
            self._greet()
            return work()
        except _PassedOn:
            self._kept()
            return 0
        except (_Left, KeyboardInterrupt):
            return self._leave(0)
        except Stopped as stop:
            if not stop.left:
                self.say(words.INPUT_ENDED, "bold")
            return self._leave(0 if stop.left else 1)
        except (StoreError, OSError) as error:
            return self._unwritten(error)
        finally:
            self.thinker.stop(wait=True)

    def _greet(self) -> None:
        intake, fitted = self.chase.intake, self.chase.fitted
        complaint = fitted.complaints[intake.complaint].title
        where = f", channel {intake.channel}" if intake.channel else ""
        self.print(
            layout.heading(f"case {self.chase.id}", self.console.width),
            layout.text(
                f"Aircraft {intake.aircraft}, engine {intake.position} ({fitted.profile.title}): {complaint}{where}"
            ),
        )
        for line in carried(self.chase.kit.model, intake).short():
            self.say(line)

    def _leave(self, status: int) -> int:
        opened = [f"{plain(title)} ({word})" for _, title, word in self.chase.open_now()]
        try:
            self.chase.leave()
        except (StoreError, OSError) as error:
            return self._unwritten(error)
        if opened:
            self.say(words.LEFT_OPEN.format(open=", ".join(opened)), "bold")
        self._kept()
        return status

    def _kept(self) -> None:
        if isinstance(self.chase.log, Memory):
            self.say(words.NOT_KEPT)
            return
        # The command stands on a line of its own, to be copied whole.
        self.say(words.KEPT.format(case=self.chase.id))
        self.say(words.RESUME.format(case=self.chase.id))

    def _unwritten(self, error: Exception) -> int:
        with suppress(OSError):
            self.say(words.NOT_WRITTEN.format(why=reason(error)), "bold")
            self.say(words.LAST_KEPT.format(last=self.last))
            self._kept()
        return 1

    def _done(self, step: Done) -> int:
        self.console.print()
        self.print(layout.heading(step.title, self.console.width), Text(plain(step.record, lines=True)))
        if any(heading in step.record for heading in unfound.HEADINGS):
            # The record is longer than a screen: what is left to do with it stands at its end.
            for line in unfound.brief(unfound.unfound(self.chase)):
                self.say(line, "bold")
        path = getattr(self.chase.log, "path", None)
        self.say(f"Case {self.chase.id} is kept in {path}." if path is not None else words.NOT_KEPT)
        return 0

    # -- showing ----------------------------------------------------------------------------------------

    def say(self, what: str, style: str = "") -> None:
        self.console.print(Text(plain(what), style=style))

    def print(self, *parts: RenderableType) -> None:
        for part in parts:
            self.console.print(part)

    def _news(self) -> list[layout.Row]:
        """Show what rules said since the last step; each is told once."""
        rows = layout.news(self.chase.news)
        self.chase.news.clear()
        if rows:
            self.print(layout.rows(rows))
        return rows

    def _show(self, step: Step) -> None:
        """Show a step's card unless it is there, with the news above the answers or, for want of room, first."""
        if self.shown is not None and step == _as_shown(self.shown, step):
            return
        self.aside = False
        if self.console.width < words.NARROWEST:
            self.say(words.TOO_NARROW.format(width=self.console.width, least=words.NARROWEST), "bold")
        self.long = False
        card = layout.card(self.chase, step, self.console.width)
        foot = layout.bar(self.chase, self._keys(step))(self.console.width)
        height = max(10, self.console.height - len(foot) - 2)
        rows = layout.news(self.chase.news)
        self.chase.news.clear()
        self.console.print()
        if rows:
            told = layout.rows(rows)
            full = Group(card.head, card.body, told, card.answers)
            if layout.tall(self.console, full) <= height:
                self.console.print(full)
                self.shown = step
                return
            self.console.print(told)
        shown = card.fitted(self.console, height)
        self.long = self.console.is_terminal and layout.tall(self.console, shown) > self.console.height - len(foot) - 1
        self.console.print(shown)
        self.shown = step

    # -- one step -----------------------------------------------------------------------------------------

    def _step(self, step: Step) -> None:
        if isinstance(step, Wait):
            self._wait(step)
        elif isinstance(step, Confirm):
            self._facts(step, step.caution.asks, self.chase.confirm, "confirmed")
        elif isinstance(step, Report):
            self._facts(step, step.asks, self.chase.report, "told")
        elif isinstance(step, Here):
            self._here(step)
        else:
            self._keyed(step)

    def _keys(self, step: Step) -> list[Key]:
        """Return the keys that do something at a step."""
        found: list[Key] = []
        asked: Sequence[tuple[str, str]] = ()
        if isinstance(step, Offer):
            if step.direct:
                asked = [(s.outcome, s.said) for s in step.outcomes]
            else:
                found.append(k.GO)
        elif isinstance(step, Ask):
            asked = [(name, said) for name, said, _ in step.outcomes]
        elif isinstance(step, Cross | Mend):
            found.append(k.DONE)
        elif isinstance(step, Walk):
            found += [k.STILL, k.SHUT]
        found += [Key(str(i), name, said, (said,)) for i, (name, said) in enumerate(asked[:9], start=1)]
        if asked:
            found.append(k.UNSURE)
        if layout.measures(self.chase, step):
            found.append(k.MEASURE)
        if isinstance(step, Here):
            return [k.NOTE, k.RECORD, k.HAND, k.LEAVE, k.HELP, k.AGAIN]
        found.append(k.WHY)
        if isinstance(step, Offer):
            found.append(k.ELSE)
        if not isinstance(step, Walk | Report) and not (isinstance(step, Cross | Confirm | Wait) and self._closing()):
            found.append(k.CANNOT)
        defer = [k.DEFER] if isinstance(step, Offer) else []
        return [*found, k.BACK, k.NOTE, k.TELL, k.RECORD, k.HAND, *defer, k.LEAVE, k.HELP, k.AGAIN]

    def _closing(self) -> bool:
        move = self.chase.state.move
        return move is not None and move.kind == "close"

    def _keyed(self, step: Step) -> None:
        self._show(step)
        keys = self._keys(step)
        self.thinker.begin(step)
        try:
            pressed = self.face.key(self._prompt(step, keys), keys, layout.bar(self.chase, keys), self.interrupt)
        finally:
            self.thinker.stop()
        self._act(step, pressed, keys)

    def _prompt(self, step: Step, keys: Sequence[Key]) -> str:
        """Return the prompt; once something else has come between, it says again what it is about."""
        digits = [key.key for key in keys if key.key.isdigit()]
        first = [key.key for key in keys if key in (k.GO, k.DONE, k.STILL, k.SHUT)]
        what = f"{digits[0]}-{digits[-1]}" if len(digits) > 1 else " or ".join(first)
        what = f"{what}, or another key:" if what else "A key:"
        if self.aside:
            return f"{layout.reworded(self.chase, plain(step.title))} (Enter shows it again)\n{what}"
        return f"{words.LONGER}\n{what}" if self.long else what

    def _act(self, step: Step, pressed: str, keys: Sequence[Key]) -> None:
        """Do what a key asks for."""
        chase = self.chase
        if pressed.isdigit():
            key = next(key for key in keys if key.key == pressed)
            self.did(f"{step.title}: {key.says}", lambda: chase.answer(key.word))
        elif pressed == k.UNSURE.key:
            self.did(f"{step.title}: could not tell", lambda: chase.answer(None))
        elif pressed == k.GO.key:
            if not isinstance(step, Offer) or step.kind != "end" or self._ends(step.title):
                self.did(f"{step.title}: taken up", chase.accept)
        elif pressed == k.DONE.key:
            if isinstance(step, Mend) and step.part:
                self._mended(step)
            else:
                self.did(f"{step.title}: done", chase.mended if isinstance(step, Mend) else chase.crossed)
        elif pressed in (k.STILL.key, k.SHUT.key):
            assert isinstance(step, Walk)
            still = pressed == k.STILL.key
            facts = self._all_facts(step.asks)
            if facts is not None:
                self.did(f"{step.title}: {'still so' if still else 'shut'}", lambda: chase.walked(still, facts))
        elif pressed == k.AGAIN.key:
            chase.again()
            self.shown = None
        else:
            self.aside = True
            self._aside(step, pressed, keys)

    def _aside(self, step: Step, pressed: str, keys: Sequence[Key]) -> None:
        """Do what a key asks for that does not carry the step on by itself."""
        chase = self.chase
        if pressed == k.NOTE.key:
            self._note()
        elif pressed == k.MEASURE.key:
            from isolate.terminal.measuring import measure

            measure(self, step)
        elif pressed == k.WHY.key:
            self._why(step)
        elif pressed == k.ELSE.key:
            self._else(step)
        elif pressed == k.CANNOT.key:
            self._cannot(step)
        elif pressed == k.BACK.key:
            self._back()
        elif pressed == k.TELL.key:
            self._tell()
        elif pressed == k.RECORD.key:
            from isolate.case.record import NOT_ENDED, record

            self.print(Text(plain(record(chase, NOT_ENDED), lines=True)))
        elif pressed == k.HELP.key:
            self.print(layout.help_rows(keys, chase, self.console.width))
        elif pressed == k.HAND.key:
            self._hand_over()
        elif pressed == k.DEFER.key:
            self._defer()
        elif pressed == k.LEAVE.key:
            raise _Left

    def did(self, what: str, do: Callable[[], Any]) -> None:
        """Do something that is written to the trail, and remember it as the last that was."""
        do()
        self.last = plain(what)
        self.shown = None

    # -- warnings confirmed by facts ---------------------------------------------------------------------

    def _facts(self, step: Step, asks: Sequence[Fact], tell: Callable[[dict[str, Any]], None], done: str) -> None:
        """Ask for the facts of a step and tell them all at once."""
        self._show(step)
        facts = self._all_facts(asks)
        if facts is None:
            self._menu(step, [Key("g", "go", "go on with the facts"), *self._keys(step)])
        else:
            self.did(f"{step.title}: {done}", lambda: tell(facts))

    def _all_facts(
        self, asks: Sequence[Fact], check: Callable[[Fact, Any], Any] = checked_fact
    ) -> dict[str, Any] | None:
        """Ask for each fact; None where one was left with Escape or ``?``."""
        facts: dict[str, Any] = {}
        for number, asked in enumerate(asks, start=1):
            told, fact = self._fact(asked, f"{number}/{len(asks)}", check)
            if not told:
                return None
            facts[asked.name] = fact
        return facts

    def _fact(self, asked: Fact, number: str, check: Callable[[Fact, Any], Any]) -> tuple[bool, Any]:
        """Ask for one fact until it can be taken, as (True, fact); (False, None) for Escape or ``?``."""
        bar = layout.bar(self.chase, [Key("Enter", "tells it", ""), Key("Esc", "other keys", "")])
        names = self._names() if asked.kind == "person" else ()
        prompt = plain(asked.prompt) + {"time": " (hh:mm or now)", "minutes": " (minutes)"}.get(asked.kind, "")
        line = f"{number} {prompt}"
        if cell_len(line) > self.console.width - ROOM:
            # A line that is typed on breaks anywhere; a text breaks between words.
            self.say(line, "bold")
            kind = {"time": " (hh:mm or now)", "minutes": " (minutes)", "count": " (a number)"}.get(asked.kind, "")
            line = f"{number}{kind}:"
        while True:
            told = self.face.line(line, bar, self.interrupt, names)
            if told is None or told == k.MENU:
                return False, None
            try:
                said = time_of_day(told, self.chase.clock) if asked.kind == "time" else plain(told)
                return True, check(asked, said)
            except Refused as error:
                self.say(str(error), "bold")

    def _names(self) -> list[str]:
        """Return the names told so far, to complete from."""
        found = [p.name for p in self.chase.intake.people]
        asks = {a.name for c in self.chase.fitted.knowledge.cautions.values() for a in c.asks if a.kind == "person"}
        for event in self.chase.state.events:
            if event.kind == "caution":
                found += [str(v) for name, v in event.body.get("facts", {}).items() if name in asks]
        return [plain(name) for name in dict.fromkeys(found)]

    def _menu(self, step: Step, keys: Sequence[Key]) -> None:
        self.print(layout.help_rows(keys, self.chase, self.console.width))
        pressed = self.face.key("A key:", keys, layout.bar(self.chase, keys), self.interrupt)
        if pressed != k.GO.key:
            self._act(step, pressed, keys)
        # Facts told so far are asked again: they go on the trail all at once or not at all.

    def _wait(self, step: Wait) -> None:
        self._show(step)
        keys = self._keys(step)
        pressed = self.face.wait(step.until, self.chase.clock, keys, layout.bar(self.chase, keys), self.interrupt)
        if pressed == k.OVER:
            self.say("The wait is over.", "bold")
            self.did(f"{step.title}: over", self.chase.waited)
        else:
            self._act(step, pressed, keys)

    # -- parts, people, other ends -----------------------------------------------------------------------

    def _mended(self, step: Mend) -> None:
        """Ask for the parts of a repair; Escape leaves the repair undone on the trail."""
        self.say(words.PART)
        part = self._all_facts(step.part, checked_part_fact)
        if part is not None:
            self.did(f"{step.title}: done", lambda: self.chase.mended(part))
        else:
            self.say(words.NOT_DONE)
            self.aside = True

    def _here(self, step: Here) -> None:
        """Ask who is here after the work was passed on."""
        self._show(step)
        fitted = self.chase.fitted
        bar = layout.bar(self.chase, [Key("Enter", "tells it", ""), Key("Esc", "other keys", "")])
        told = self.face.line("Who is here now:", bar, self.interrupt, reading.authorities_of(fitted))
        if told is None or told == k.MENU:
            self._menu(step, [Key("g", "go", "go on: tell who is here"), *self._keys(step)])
            return
        try:
            people = reading.people(told, fitted)
        except reading.Unclear as error:
            self.say(str(error), "bold")
            return
        self.say(reading.understood(people, fitted))
        here = [{"name": p.name, "may": list(p.may)} for p in people]
        self.did("who is here", lambda: self.chase.tell(people=here))

    def _hand_over(self) -> None:
        """Pass the case on to the next people, which ends the session."""
        facts = self._all_facts(handing.ASKS)
        if facts is None:
            return
        text = ""

        def pass_on() -> None:
            nonlocal text
            text = self.chase.pass_on(facts)

        self.did(f"passed on to {facts['to']}", pass_on)
        self.console.print()
        self.print(Text(plain(text, lines=True)))
        self.console.print()
        if not isinstance(self.chase.log, Memory):
            self.say(words.PASSED_ON.format(to=facts["to"]))
            self.say(words.SHOW_HAND_OVER.format(case=self.chase.id))
        raise _PassedOn

    def _defer(self) -> None:
        """End the case under the operator's own deferral procedure; refused before anything is asked twice."""
        chase = self.chase
        channel = self.choose(
            f"{deferral.ASKS[0].prompt}", [(c, f"channel {c}") for c in chase.fitted.channels]
        )
        if channel is None:
            return
        deferral.checked_channel(chase, channel)
        facts = self._all_facts(deferral.ASKS[1:])
        if facts is not None and self._ends(deferral.TITLE):
            self.did(f"{deferral.TITLE}: taken up", lambda: chase.defer({**facts, "channel": channel}))

    # -- what the other keys do ---------------------------------------------------------------------------

    def _line(self, prompt: str, choices: Choices = ()) -> str | None:
        bar = layout.bar(self.chase, [Key("Enter", "takes it", ""), Key("Esc", "or nothing: back", "")])
        return self.face.line(prompt, bar, self.interrupt, choices) or None

    def choose(self, prompt: str, items: Sequence[tuple[str, str]]) -> str | None:
        """Ask for one of several by digit, from the tenth on by letter; None for back. Items are (name, words)."""
        marks = _MARKS[: len(items)]
        self.print(layout.keyed([(m, says, "") for m, (_, says) in zip(marks, items, strict=True)], self.console.width))
        keys = [Key(m, name, says, (says,)) for m, (name, says) in zip(marks, items, strict=True)]
        keys.append(Key(k.BACK.key, k.BACK.word, "back, nothing changes"))
        keys.append(k.LEAVE)
        pressed = self.face.key(prompt, keys, layout.bar(self.chase, keys, "take one"), self.interrupt)
        if pressed == k.LEAVE.key:
            raise _Left
        return None if pressed == k.BACK.key else items[marks.index(pressed)][0]

    def pressed(self, prompt: str, keys: Sequence[Key], digits_do: str = "answer") -> str:
        """Return a key; the one that leaves the case leaves it."""
        pressed = self.face.key(prompt, keys, layout.bar(self.chase, keys, digits_do), self.interrupt)
        if pressed == k.LEAVE.key:
            raise _Left
        return pressed

    def _note(self) -> None:
        note = self._line("Note:")
        if note:
            self.chase.note(note)
            self.last = "a note"
            self.say("Noted.")

    def _why(self, step: Step) -> None:
        offer = step if isinstance(step, Offer) else None
        move = self.chase.state.move
        if offer is None and move is not None:
            valued = [m for m in self.chase.ranked().moves if (m.kind, m.name) == (move.kind, move.key)]
            if valued:
                offer = self.chase.offer(valued[0])
            else:
                self.say(f"In hand: {self.chase.title_of(move.kind, move.key)}.")
        if isinstance(step, Held):
            self.print(layout.rows(layout.several("Why", list(step.reasons))))
        self.print(layout.why(self.chase, offer, self.console.width))

    def _else(self, step: Step) -> None:
        assert isinstance(step, Offer)
        moves = [m for m in self.chase.ranked().moves if (m.kind, m.name) != (step.kind, step.key)]
        moves += self.chase.exchanges()
        first = 0
        height = self.console.height - len(layout.bar(self.chase, [k.MORE])(self.console.width)) - 2
        while True:
            page, found, shown = self._page(step, moves[first : first + 9], height)
            self.print(shown)
            keys = [Key(str(i), m.name, title) for i, (m, (title, *_)) in enumerate(zip(page, found, strict=True), 1)]
            if len(moves) > first + len(page):
                keys.append(k.MORE)
            keys += [Key(k.BACK.key, k.BACK.word, "back to what was offered"), k.LEAVE]
            pressed = self.face.key(
                "Take one by its digit, or b for back:" if page else "b for back:",
                keys,
                layout.bar(self.chase, keys, "take one"),
                self.interrupt,
            )
            if pressed == k.LEAVE.key:
                raise _Left
            if pressed == k.BACK.key:
                self.shown = None
                return
            if pressed == k.MORE.key:
                first += len(page)
                continue
            move, title = page[int(pressed) - 1], found[int(pressed) - 1][0]
            if move.kind != "end" or self._ends(title):
                self.did(f"{title}: taken up", partial(self.chase.accept, move.kind, move.name))
            return

    def _page(
        self, step: Offer, moves: Sequence[Valued], height: int
    ) -> tuple[Sequence[Valued], list[tuple[str, float, float, float | None]], RenderableType]:
        """Return as many of the moves as fit on the screen, three at least, with their figures and how they show."""
        while True:
            found = [(self.chase.title_of(m.kind, m.name), m.now, m.expected, m.chance) for m in moves]
            shown = layout.others(step, found, self.console.width)
            if len(moves) <= 3 or layout.tall(self.console, shown) <= height:
                return moves, found, shown
            moves = moves[:-1]

    def _ends(self, title: str) -> bool:
        """Ask whether the case is to be ended so; there is no way back from it."""
        return self._sure(words.ENDS.format(title=plain(title)))

    def _sure(self, what: str) -> bool:
        """Ask whether something is meant."""
        keys = [k.YES, k.NO, k.LEAVE]
        pressed = self.face.key(f"{what}\ny or n:", keys, layout.bar(self.chase, keys), self.interrupt)
        if pressed == k.LEAVE.key:
            raise _Left
        return pressed == k.YES.key

    def _cannot(self, step: Step) -> None:
        if isinstance(step, Held):
            reason: str | None = "; ".join(step.reasons)
        else:
            reason = self._line("Why can it not be done?")
        if reason:
            self.did(f"{step.title}: cannot be done", lambda: self.chase.decline(plain(reason)))

    def _back(self) -> None:
        last = self._last_done()
        if not last:
            self.say("There is nothing to take back.")
        elif self._sure(f"Take back {self._titled(last)}?"):
            what = ""

            def take() -> None:
                nonlocal what
                what = self.chase.take_back()

            self.did("something taken back", take)
            self.last = f"taken back: {self._titled(what)}"
            self.say(f"Taken back: {self._titled(what)}. What was confirmed for safety is asked again.", "bold")

    def _last_done(self) -> str:
        """Return what would be taken back, as take_back says it afterwards; nothing where there is nothing."""
        events = self.chase.state.events
        void = {int(e.body["seq"]) for e in events if e.kind == "corrected"}
        for event in reversed(events):
            if event.kind in _TAKEN and event.seq not in void and not event.body.get("of_itself"):
                body = event.body
                what = (
                    body.get("check") or body.get("repair") or body.get("key") or body.get("move") or body.get("access")
                )
                return f"{event.kind}: {what}"
        return ""

    def _titled(self, what: str) -> str:
        """Return what take_back says it was, with the title of what it names."""
        kind, _, key = what.partition(": ")
        fitted = self.chase.fitted
        for entries in (fitted.checks, fitted.repairs, fitted.access):
            if key in entries:
                return f"{_TAKEN.get(kind, kind)} {words.small(entries[key].title)}"
        if swaps.known(fitted, key):
            return f"{_TAKEN.get(kind, kind)} {words.small(swaps.title(key))}"
        return what

    def _condition(self) -> dict[str, Any] | None:
        """Ask how it is at the aircraft now, or in which condition the defect shows."""
        which = self.choose("Which?", [("now", "how it is at the aircraft now"), ("shows", "when the defect shows")])
        if which is None:
            return None
        named = words.NOW if which == "now" else words.CONDITIONS
        told = self.choose("Which?", list(named.items()))
        if told is None:
            return None
        if which == "shows":
            # What was told of the present stands; where nothing was, it is as it was taken so far.
            return {"condition": told, "now": condition_now(self.chase.intake)}
        changes: dict[str, Any] = {"now": told}
        if told == "hot":
            since = self._read(f"{words.SHUT_DOWN}:", reading.minutes_since)
            if since is None:
                return None
            # Kept as from the opening of the case.
            changes["shut_down"] = since - self.chase.elapsed
        return changes

    def _tell(self) -> None:
        intake, fitted = self.chase.intake, self.chase.fitted
        wearing = [ages.spoken(part) for part in parts(fitted)]
        what = self.choose(
            "What is new?",
            [
                ("people", "somebody came or went, or may do other things"),
                ("missing", "something has come, or is not at hand"),
                ("departure", "departure: a time, or another"),
                ("place", "the aircraft is elsewhere now"),
                ("condition", "hot, cold, wet, shaken: how it is now, or when it shows"),
                ("starts", "starts: more is known of them"),
                *([("signs", "something else was heard or seen with the defect")] if fitted.signs else []),
                ("done", "work done before is known now"),
                *([("afresh", "earlier cases: they were on another engine")] if intake.earlier else []),
                ("plan", "what moves are chosen by, or how many work side by side"),
                *([("ages", f"ages: how old {words.listed(wearing, 'or')} is")] if wearing else []),
                *([("swaps", "parts changed places")] if swaps.movable(fitted) else []),
                *([("doubt", words.DOUBT)] if self.chase.doubtable() else []),
                ("counted", "the engine's starts since new, by its log"),
            ],
        )
        if what is None:
            return
        if what == "swaps":
            self._changed_places()
            return
        if what == "doubt":
            self._doubt()
            return
        changes: dict[str, Any] | None = None
        if what == "people":
            now = "; ".join(f"{p.name}: {', '.join(p.may)}" if p.may else p.name for p in intake.people)
            self.say(f"Here now: {now or 'nobody'}.")
            told = self._read(
                "Everybody here (Name: licensed, motoring; Name):", lambda t: reading.people(t, fitted),
                reading.authorities_of(fitted),
            )
            if told is not None:
                self.say(reading.understood(told, fitted))
            changes = None if told is None else {"people": [{"name": p.name, "may": list(p.may)} for p in told]}
        elif what == "missing":
            coming = [f"{tool} in {words.minutes(left)}" for tool, left in self.chase.coming().items()]
            self.say(f"Not at hand now: {', '.join((*intake.missing, *coming)) or 'everything is'}.")
            changes = self._at_hand()
        elif what == "departure":
            told = self._read("Minutes from now to departure (0 to 100000, or none):", _minutes_or_none)
            if told is not None:
                # Kept as from the opening of the case.
                changes = {"minutes_left": None if told == "none" else float(told) + self.chase.elapsed}
        elif what == "place":
            told = self.choose("Which?", list(words.PLACES.items()))
            changes = None if told is None else {what: told}
        elif what == "condition":
            changes = self._condition()
        elif what == "starts":
            self.say("All that are known, oldest first; what is told here stands for what was told before.")
            told = self._read(
                "Starts, such as A no, B yes, ? no, or a .csv file:", lambda t: reading.starts_or_file(t, fitted)
            )
            if told is not None:
                for line in told[1]:
                    self.say(line)
                changes = {"starts": [s.as_dict() for s in told[0]]}
        elif what == "counted":
            if intake.engine_starts is not None:
                self.say(f"Told so far: {intake.engine_starts:,.0f} at the opening of the case.")
            told = self._read("Starts since new when the case was opened, by the engine's log:", reading.engine_starts)
            changes = None if told is None else {"engine_starts": told}
        elif what == "plan":
            standing = (intake.objective, str(intake.hands))
            named = {**words.OBJECTIVES, **words.HANDS}
            told = self.choose(
                "How is it planned?", [(n, f"{says} (as now)" if n in standing else says) for n, says in named.items()]
            )
            if told is not None:
                changes = {"hands": int(told)} if told in words.HANDS else {"objective": told}
        elif what == "signs":
            changes = self._signs()
        elif what == "ages":
            changes = self._ages()
        elif what == "afresh":
            changes = {"earlier": []}
        else:
            told = self._read("Repairs done before the case:", lambda t: reading.done(t, fitted), list(fitted.repairs))
            changes = None if told is None else {
                "done": [
                    {"repair": w.repair, "channel": w.channel}
                    for w in dict.fromkeys((*intake.done, *told))
                ]
            }
            if changes and changes["done"]:
                other = self.choose(f"{reading.OTHER_ENGINE}?", list(words.OTHER_ENGINE.items()))
                changes |= {} if other is None else {"other_engine": "" if other == "unknown" else other}
        if changes:
            self.did("something new was told", lambda: self.chase.tell(**changes))
            self.say("Taken in.")
            if what == "ages":
                for line in ages.effect(fitted, self.chase.intake.ages):
                    self.say(line)

    def _doubt(self) -> None:
        """Ask which answer is doubted; it is withdrawn and asked anew. Those that clash come first, then the latest."""
        chase = self.chase
        latest = {item.key: item for item in chase.doubtable()}
        clash = [told.check for told in chase.gap.clash]
        order = [*(key for key in clash if key in latest), *(key for key in reversed(latest) if key not in clash)]
        said = {
            key: f"{chase.fitted.check(key).title}: {chase.fitted.check(key).said(latest[key].outcome)}"
            + (f" ({words.STRANGE})" if key in clash else "")
            for key in order[: len(_MARKS)]
        }
        key = self.choose("Which is asked again?", list(said.items()))
        if key is not None:
            self.did(f"{said[key]}: doubted", lambda: chase.recheck(key))
            self.say(words.ASKED_AGAIN)

    def _signs(self) -> dict[str, Any] | None:
        """Ask what else was heard or seen; what is told is added to what was told before."""
        intake, fitted = self.chase.intake, self.chase.fitted
        self.say(f"Told so far: {'; '.join(self.chase.sign_title(s) for s in intake.signs) or 'nothing'}.")
        self.say("In words or by name, commas between; none takes back all that was told so far.")
        names = self._read(
            "Heard or seen with the defect:",
            lambda t: reading.signs(t, fitted),
            Search(lambda t: reading.found(t, fitted, ("sign",)), row=True),
        )
        if names is None:
            return None
        seen = list(intake.signs) if names else []
        for name in names:
            channel: str | None = ""
            if fitted.signs[name].asks_channel:
                self.say(f"{fitted.signs[name].title}:")
                channel = self.choose("Which channel?", [(c, f"channel {c}") for c in fitted.channels])
            if channel is None:
                return None
            seen.append(Seen(name, channel))
        return {"signs": [{"sign": s.sign, "channel": s.channel} for s in dict.fromkeys(seen)]}

    def _changed_places(self) -> None:
        """Ask which parts changed places, and tell it: since the case was opened, or before."""
        chase, fitted = self.chase, self.chase.fitted
        parts = swaps.movable(fitted)
        part = self.choose("Which part?", [(name, swaps.called(name)) for name in parts])
        if part is None:
            return
        places = [(f"{a} {b}", f"between channels {a} and {b}") for a, b in combinations(parts[part], 2)]
        places += [(c, f"that of channel {c}, with one of another engine") for c in parts[part]]
        place = self.choose("Which way?", places)
        if place is None:
            return
        one, _, other = place.partition(" ")
        said = {"part": part, "channel": one, "other": other}
        if not other:
            where = self._line("Aircraft, engine position and channel that it went to:")
            if where is None:
                self.say("Nothing was told; nothing changes.")
                return
            said["where"] = plain(where)
        when = self.choose(
            "When?", [("now", "since this case was opened"), ("before", "before this case was opened")]
        )
        numbers = None if when is None else self._all_facts(swaps.serials(part, one, other), checked_part_fact)
        if numbers is None:
            self.say("Nothing was told; nothing changes.")
            return
        swap = swaps.told(fitted, {**said, **numbers})
        if when == "now":
            self.did("parts changed places", lambda: chase.swapped(swap.as_dict()))
        else:
            had = [s.as_dict() for s in chase.intake.swaps]
            self.did("parts changed places", lambda: chase.tell(swaps=[*had, swap.as_dict()]))
        self.say("Taken in. Which part sits where:")
        for line in swaps.where_lines(chase)[2:]:
            self.say(line)

    def _ages(self) -> dict[str, Any] | None:
        """Ask how old parts are; what is told of a part stands for what was told of it before."""
        intake, fitted = self.chase.intake, self.chase.fitted
        so_far = "; ".join(ages.described(fitted, age) for age in intake.ages)
        self.say(f"Told so far: {so_far or 'nothing'}.")
        if self.chase.state.swaps:
            self.say("Parts have changed places in this case: name each by the channel that it was on at the opening.")
        units = "; ".join(f"{ages.spoken(name)}: {part.unit}" for name, part in parts(fitted).items())
        self.say(f"Since new, such as {ages.EXAMPLES}. Counted in: {units}. none takes back all that was told so far.")
        told = self._read("How old:", lambda t: reading.ages(t, fitted))
        if told is None:
            return None
        return {"ages": [asdict(age) for age in (ages.merged(intake.ages, told) if told else ())]}

    def _at_hand(self) -> dict[str, Any] | None:
        tools = reading.tools_of(self.chase.fitted)
        # A line that is typed on breaks anywhere; a text breaks between words.
        self.say(f"Of {', '.join(tools)}; what is on its way with its minutes, such as {tools[0]} in 60.")
        told = self._read(
            "Not at hand (or: everything is here):",
            lambda t: ((), ()) if t.casefold() in _EVERYTHING else reading.at_hand(t, self.chase.fitted),
            tools,
        )
        if told is None:
            return None
        missing, coming = told
        # Kept as from the opening of the case.
        later = [{"tool": c.tool, "minutes": c.minutes + self.chase.elapsed} for c in coming]
        return {"missing": list(missing), "coming": later}

    def _read(self, prompt: str, read: Callable[[str], Any], choices: Choices = ()) -> Any:
        """Ask for a line until it can be read; None for nothing told."""
        while True:
            told = self._line(prompt, choices)
            if told is None:
                self.say("Nothing was told; nothing changes.")
                return None
            try:
                return read(told)
            except reading.Unclear as error:
                self.say(str(error), "bold")


def _as_shown(shown: Step, now: Step) -> Step:
    """Return the step shown, with what only the passing of time changes as it is now."""
    return replace(shown, after=now.after) if isinstance(shown, Offer) and isinstance(now, Offer) else shown


def time_of_day(told: str, clock: Callable[[], datetime]) -> str:
    """Return a time of day as hh:mm; ``now`` is the local time. Raises Refused for what is none."""
    if not told:
        return ""
    if told.casefold() == "now":
        return f"{clock().astimezone():%H:%M}"
    found = re.fullmatch(r"([01]?\d|2[0-3])[:.h]?([0-5]\d)", told, re.ASCII)
    if found is None:
        raise Refused(f"{plain(told)!r} is no time of day: such as 14:05, or now.")
    return f"{int(found[1]):02}:{found[2]}"


_TAKEN = {
    "answered": "the answer to",
    "repaired": "the repair",
    "swapped": "that parts changed places:",
    "declined": "the refusal of",
    "access": "what was done at",
}
_MARKS = [m for m in "123456789acdefghijklmnoprstuvwxyz" if m not in (k.BACK.key, k.LEAVE.key)]
"""Keys for one of several, in order."""
_EVERYTHING = ("everything", "everything is here", "none", "nothing")


def _minutes_or_none(text: str) -> float | str | None:
    return "none" if text.casefold() == "none" else reading.minutes_left(text)

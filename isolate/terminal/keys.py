"""What is typed: single keys that act at once, lines of text, and waits. Two faces: a terminal and plain lines."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal, Protocol, TextIO

from isolate.terminal import words

if TYPE_CHECKING:
    from prompt_toolkit import PromptSession
    from rich.console import Console

OVER = "over"
"""What a wait returns when its time has run out."""
MENU = "?"
"""A line of text that asks for the keys instead."""

Fragments = list[tuple[str, str]]
Bar = Callable[[int], Sequence[tuple[str, str]]]
"""Width in columns → the lines of the block at the foot of the screen, each with its style."""


class Stopped(Exception):
    """Nobody answers any more. ``left``: by choice (Ctrl-D, Ctrl-C twice); else the input came to its end."""

    def __init__(self, why: str = "", left: bool = True) -> None:
        super().__init__(why)
        self.left = left


@dataclass(frozen=True)
class Key:
    """A key that may be pressed now: what it does in a word (typed in full where lines are read) and in full."""

    key: str
    word: str
    says: str
    also: tuple[str, ...] = field(default=())
    """Other words that mean it where lines are read."""

    def meant(self, text: str) -> bool:
        return text.casefold() in (self.key, self.word.casefold(), *(a.casefold() for a in self.also))


WHY = Key("w", "why", "why this one")
ELSE = Key("e", "else", "what else could be done", ("what else",))
CANNOT = Key("c", "cannot", "cannot do that: say why, and the plan goes round it")
BACK = Key("b", "back", "take the last answer, repair, refusal or crossing back", ("take back",))
NOTE = Key("n", "note", "add a note")
UNSURE = Key("u", "unsure", "could not tell", ("could not tell",))
LEAVE = Key("q", "leave", "leave and come back later; the case is kept", ("quit",))
TELL = Key("t", "tell", "tell something new: people, air or tools, departure, place, condition")
RECORD = Key("r", "record", "the record so far")
HELP = Key("?", "help", "this list")
GO = Key("g", "go", "go: one step at a time, with its warnings")
DONE = Key("d", "done", "done")
STILL = Key("s", "still", "it is still so", ("still so",))
SHUT = Key("x", "shut", "it is shut, in, on or put back", ("it is shut",))
YES = Key("y", "yes", "yes")
NO = Key("n", "no", "no")


class Face(Protocol):
    """Where keys come from."""

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        """Return the key pressed. Raises Stopped."""

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Sequence[str] = ()) -> str | None:
        """Return a line of text, stripped; None for Escape. Raises Stopped."""

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        """Return OVER once the clock says so, or a key pressed before. Raises Stopped."""


def face(console: Console) -> Face:
    """Return the face that fits: keys on a terminal, plain lines where input or output is none."""
    import os

    if sys.stdin.isatty() and console.is_terminal and os.environ.get("TERM", "dumb") not in ("dumb", "unknown", ""):
        return Typed()
    return Lines(sys.stdin, console)


def left_words(until: datetime, now: datetime) -> str:
    """Return the time left as ``4:05``; the last part of a second counts as one."""
    seconds = max(0, -int((now - until) / timedelta(seconds=1)))
    if until > now + timedelta(seconds=seconds):
        seconds += 1
    return f"{seconds // 60}:{seconds % 60:02}"


class Lines:
    """Plain lines, one for each key or text: for pipes, and for terminals that cannot do more."""

    def __init__(self, source: TextIO, console: Console) -> None:
        self.source, self.console = source, console
        with suppress(AttributeError, ValueError):
            source.reconfigure(errors="replace")  # type: ignore[union-attr]

    def _read(self, prompt: str) -> str:
        from rich.text import Text

        self.console.print(Text(prompt), end="")
        self.console.file.flush()
        try:
            text = self.source.readline()
        except KeyboardInterrupt:
            self.console.print()
            raise Stopped(left=True) from None
        except (OSError, ValueError):
            text = ""
        if not text:
            self.console.print()
            raise Stopped(left=False)
        if not self.source.isatty():
            # Nobody's terminal has echoed it: keep question and answer together in what is read afterwards.
            self.console.print(Text(words.plain(text).strip()))
        return text.strip()

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        self._bar(bar)
        while True:
            text = self._read(f"{prompt} ")
            for key in keys:
                if key.meant(text):
                    return key.key
            self._say(not_a_key(text, keys))

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Sequence[str] = ()) -> str | None:
        return self._read(f"{prompt} ")

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        self._bar(bar)
        while True:
            text = self._read(f"{left_words(until, clock())} to wait; an empty line waits, or a key: ")
            if text in ("", "wait"):
                try:
                    while clock() < until:
                        time.sleep(0.2)
                except KeyboardInterrupt:
                    raise Stopped(left=True) from None
                return OVER
            for key in keys:
                if key.meant(text):
                    return key.key
            self._say(not_a_key(text, keys))

    def _bar(self, bar: Bar) -> None:
        for _, text in bar(self.console.width):
            self._say(text)

    def _say(self, text: str) -> None:
        from rich.text import Text

        self.console.print(Text(text))


def not_a_key(text: str, keys: Sequence[Key]) -> str:
    """Return what to say to a key that does nothing now."""
    known = ", ".join(k.key for k in keys)
    if not text.strip():
        return f"Nothing was said. One of these goes on: {known}"
    return f"{words.plain(text)[:20]!r} does nothing here. Keys now: {known}"


class Typed:
    """Keys on a terminal, with the block at the foot of the screen."""

    def __init__(self) -> None:
        self._hint = ""

    def _session(self, bar: Bar, bindings: Any, menu: int = 0, **more: Any) -> PromptSession[str]:
        from prompt_toolkit import PromptSession
        from prompt_toolkit.application import get_app
        from prompt_toolkit.styles import Style

        def foot() -> Fragments:
            width = get_app().output.get_size().columns
            found: Fragments = []
            lines = list(bar(width))
            if self._hint:
                lines.append(("hint", self._hint))
            for number, (style, text) in enumerate(lines):
                if number:
                    found.append(("", "\n"))
                # Padded to the edge, so that the reversed line is one bar.
                found.append((f"class:{style}", text.ljust(width) if style == "open" else text))
            return found

        style = Style.from_dict(
            {
                "bottom-toolbar": "noreverse",
                "open": "reverse bold",
                "hint": "bold",
                "prompt": "bold",
                "keys": "",
                "plain": "",
            }
        )
        return PromptSession(
            key_bindings=bindings,
            bottom_toolbar=foot,
            style=style,
            reserve_space_for_menu=menu,
            refresh_interval=1.0,
            **more,
        )

    def _stops(self, bindings: Any, interrupt: str) -> None:
        """Bind Ctrl-C (says how to leave, leaves the second time) and Ctrl-D (leaves)."""
        from prompt_toolkit.keys import Keys

        once = []

        @bindings.add(Keys.ControlC, eager=True)
        @bindings.add(Keys.SIGINT, eager=True)
        def _(event: Any) -> None:
            if once:
                event.app.exit(exception=Stopped(left=True))
            once.append(True)
            self._hint = interrupt
            event.app.invalidate()

        @bindings.add(Keys.ControlD, eager=True)
        def _(event: Any) -> None:
            event.app.exit(exception=Stopped(left=True))

    def _keys(self, keys: Sequence[Key], interrupt: str) -> Any:
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys

        bindings = KeyBindings()

        @bindings.add(Keys.Any, eager=True)
        @bindings.add(Keys.Enter, eager=True)
        @bindings.add(Keys.BracketedPaste, eager=True)
        def _(event: Any) -> None:
            pressed = event.data if event.key_sequence[0].key != Keys.Enter else ""
            self._hint = not_a_key(pressed, keys)
            event.app.invalidate()

        def act(key: Key) -> Callable[[Any], None]:
            def press(event: Any) -> None:
                event.current_buffer.text = f"{key.key}  {key.word}"
                event.app.exit(result=key.key)

            return press

        for key in keys:
            for spelling in {key.key, key.key.upper()}:
                bindings.add(spelling, eager=True)(act(key))
        self._stops(bindings, interrupt)
        return bindings

    def _run(self, session: PromptSession[Any], *arguments: Any, **more: Any) -> Any:
        from prompt_toolkit.patch_stdout import patch_stdout  # noqa: F401  (loaded before raw mode is entered)

        try:
            return session.prompt(*arguments, **more)
        except KeyboardInterrupt:
            raise Stopped(left=True) from None
        except EOFError:
            raise Stopped(left=False) from None
        finally:
            self._hint = ""

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        self._forget()
        session = self._session(bar, self._keys(keys, interrupt))
        return str(self._run(session, [("class:prompt", f"{prompt} ")]))

    @staticmethod
    def _forget() -> None:
        """Drop what was typed before the question was on the screen: nobody answers what he has not read."""
        from prompt_toolkit.application import get_app_session
        from prompt_toolkit.input.typeahead import clear_typeahead

        with suppress(Exception):
            clear_typeahead(get_app_session().input)
            import termios

            termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Sequence[str] = ()) -> str | None:
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys

        bindings = KeyBindings()

        @bindings.add(Keys.Escape)
        def _(event: Any) -> None:
            event.app.exit(result=None)

        self._stops(bindings, interrupt)
        more = {"completer": _completer(choices), "complete_while_typing": True} if choices else {}
        session = self._session(bar, bindings, menu=min(5, len(choices)), **more)
        text = self._run(session, [("class:prompt", f"{prompt} ")])
        return None if text is None else str(text).strip()

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        import asyncio

        from prompt_toolkit.application import get_app

        self._forget()
        session = self._session(bar, self._keys(keys, interrupt))

        def message() -> Fragments:
            return [("class:prompt", f"{left_words(until, clock())} to wait, it ends by itself. ")]

        async def watch() -> None:
            while clock() < until:
                await asyncio.sleep(0.2)
            get_app().exit(result=OVER)

        return str(self._run(session, message, pre_run=lambda: get_app().create_background_task(watch())))


def _completer(choices: Sequence[str]) -> Any:
    """Return a completer for names in a row: it completes what stands after the last comma, colon or semicolon."""
    import re

    from prompt_toolkit.completion import Completer, Completion

    class Rows(Completer):
        def get_completions(self, document: Any, event: Any) -> Any:
            begun = re.split(r"[,;:]\s*", document.text_before_cursor)[-1].casefold()
            if not begun and not event.completion_requested:
                return
            for choice in choices:
                if begun in choice.casefold():
                    yield Completion(choice, start_position=-len(begun))

    return Rows()

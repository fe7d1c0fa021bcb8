"""What is typed: single keys that act at once, lines of text, and waits. Two faces: a terminal and plain lines."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Protocol, TextIO

from isolate.terminal import words

if TYPE_CHECKING:
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
    at_foot: bool = True
    """False: only the list of keys names it."""

    def meant(self, text: str) -> bool:
        return text.casefold() in (self.key, self.word.casefold(), *(a.casefold() for a in self.also))


WHY = Key("w", "why", "why this one")
ELSE = Key("e", "else", "what else could be done", ("what else",))
CANNOT = Key("c", "cannot", "cannot do that: say why, and the plan goes round it")
BACK = Key("b", "back", "take back the last answer, repair, refusal or step done", ("take back",))
NOTE = Key("n", "note", "add a note")
UNSURE = Key("u", "unsure", "could not tell", ("could not tell",))
LEAVE = Key("q", "leave", "leave and come back later; the case is kept", ("quit",))
TELL = Key("t", "tell", "tell something new: people, tools, departure, place, condition, starts, signs, work, ages")
HAND = Key("h", "shift", "hand over to the next shift: the case stays open", ("hand over", "hand-over"))
DEFER = Key("f", "defer", "defer it under the operator's own procedure: ends the case", at_foot=False)
RECORD = Key("r", "record", "the record so far")
HELP = Key("?", "help", "this list")
GO = Key("g", "go", "go: one step at a time, with its warnings")
DONE = Key("d", "done", "done")
AGAIN = Key("", "card", "Enter: show this step again")
STILL = Key("s", "so", "yes, it is so", ("still", "still so", "yes"))
SHUT = Key("x", "shut", "it is shut, in, on or put back", ("it is shut",))
MEASURE = Key("m", "measure", "enter a reading: held against your own data, kept with the answer", ("reading",))
KEEP = Key("k", "keep", "keep it as a note; it answers nothing", ("note",))
LINES = Key("l", "lines", "all that came out, line by line")
PICTURE = Key("p", "picture", "the picture of it")
MORE = Key("m", "more", "more of these")
YES = Key("y", "yes", "yes")
NO = Key("n", "no", "no")


@dataclass(frozen=True)
class Search:
    """What a line of text may mean, found while it is typed.

    ``find``: what is typed → (what is put in its place, title, kind). ``row``: it goes by what stands after the last
    comma, since several may be told.
    """

    find: Callable[[str], Sequence[tuple[str, str, str]]]
    row: bool = False


Choices = Sequence[str] | Search
"""Names that complete a line, or a search."""


class Face(Protocol):
    """Where keys come from."""

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        """Return the key pressed. Raises Stopped."""

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Choices = ()) -> str | None:
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


@contextmanager
def quiet(face: Face) -> Iterator[None]:
    """Keep a terminal from showing what is typed between two questions; it is dropped, see ``Typed``."""
    if not isinstance(face, Typed):
        yield
        return
    try:
        import termios
    except ImportError:
        yield
        return
    terminal = sys.stdin.fileno()
    before = termios.tcgetattr(terminal)
    silent = list(before)
    silent[3] &= ~termios.ECHO
    termios.tcsetattr(terminal, termios.TCSADRAIN, silent)
    try:
        yield
    finally:
        termios.tcsetattr(terminal, termios.TCSADRAIN, before)


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
            source.reconfigure(errors="replace")  # type: ignore[attr-defined]

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

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Choices = ()) -> str | None:
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
    known = ", ".join(k.key or "Enter" for k in keys)
    if not text.strip():
        return f"Nothing was said. One of these goes on: {known}"
    return f"{words.plain(text)[:20]!r} does nothing here. Keys now: {known}"


WITHIN_A_WORD = 0.7
"""Seconds from a key that does nothing within which a digit belongs to the same word: who types HF-3 does not mean the
third of a list."""


class Typed:
    """Keys on a terminal, with the block at the foot of the screen."""

    def __init__(self) -> None:
        self._hint = ""

    # -- what both kinds of question share

    def _foot(self, bar: Bar) -> Callable[[], Fragments]:
        """Return what draws the block at the foot."""
        from prompt_toolkit.application import get_app

        def draw() -> Fragments:
            width = get_app().output.get_size().columns
            found: Fragments = []
            for number, (style, text) in enumerate((*bar(width), *([("hint", self._hint)] if self._hint else []))):
                if number:
                    found.append(("", "\n"))
                # Padded to the edge, so that the reversed line is one bar.
                found.append((f"class:{style}", text.ljust(width) if style == "open" else text))
            return found

        return draw

    @staticmethod
    def _style() -> Any:
        from prompt_toolkit.styles import Style

        return Style.from_dict(
            {"bottom-toolbar": "noreverse", "open": "reverse bold", "hint": "bold", "prompt": "bold"}
        )

    def _stops(self, bindings: Any, interrupt: str) -> None:
        """Bind Ctrl-C (says how to leave, leaves the second time) and Ctrl-D (leaves)."""
        from prompt_toolkit.keys import Keys

        once: list[bool] = []

        def interrupted(event: Any) -> None:
            if once:
                event.app.exit(exception=Stopped(left=True))
            once.append(True)
            self._hint = interrupt
            event.app.invalidate()

        def over(event: Any) -> None:
            event.app.exit(exception=Stopped(left=True))

        for key in (Keys.ControlC, Keys.SIGINT):
            bindings.add(key, eager=True)(interrupted)
        bindings.add(Keys.ControlD, eager=True)(over)

    def _run(self, app: Any, run: Callable[[], Any]) -> Any:
        # The library's own remark on terminals that do not tell the cursor's place would read like a warning of ours.
        app.renderer.cpr_not_supported_callback = None
        try:
            return run()
        except KeyboardInterrupt:
            raise Stopped(left=True) from None
        except EOFError:
            raise Stopped(left=False) from None
        finally:
            self._hint = ""

    # -- single keys

    def key(self, prompt: str, keys: Sequence[Key], bar: Bar, interrupt: str) -> str:
        return self._pressed(lambda: prompt, keys, bar, interrupt)

    def wait(
        self, until: datetime, clock: Callable[[], datetime], keys: Sequence[Key], bar: Bar, interrupt: str
    ) -> str:
        return self._pressed(
            lambda: f"{left_words(until, clock())} to wait; it ends by itself.",
            keys,
            bar,
            interrupt,
            over=lambda: clock() >= until,
        )

    def _pressed(
        self,
        prompt: Callable[[], str],
        keys: Sequence[Key],
        bar: Bar,
        interrupt: str,
        over: Callable[[], bool] | None = None,
    ) -> str:
        """Return the key pressed, or OVER as soon as ``over`` says so."""
        import asyncio

        from prompt_toolkit.application import Application
        from prompt_toolkit.filters import is_done
        from prompt_toolkit.layout import ConditionalContainer, FormattedTextControl, HSplit, Layout, Window

        self._forget()
        chosen: list[str] = []

        def line() -> Any:
            return [("class:prompt", f"{prompt()} "), ("", " ".join(chosen))]

        bindings = self._bound(keys, chosen, interrupt)
        ask = Window(FormattedTextControl(line, focusable=True), wrap_lines=True, dont_extend_height=True)
        rest = Window()
        shown: Any = self._foot(bar)
        foot = Window(FormattedTextControl(shown), dont_extend_height=True)
        app: Application[str] = Application(
            Layout(HSplit([ask, ConditionalContainer(HSplit([rest, foot]), ~is_done)])),
            style=self._style(),
            key_bindings=bindings,
            include_default_pygments_style=False,
            refresh_interval=0.5,
        )

        async def watch() -> None:
            while over is not None and not over():
                await asyncio.sleep(0.1)
            app.exit(result=OVER)

        def start() -> None:
            if over is not None:
                app.create_background_task(watch())

        return str(self._run(app, lambda: app.run(pre_run=start)))

    def _bound(self, keys: Sequence[Key], chosen: list[str], interrupt: str) -> Any:
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys

        bindings = KeyBindings()
        word, last = "", 0.0

        def going() -> bool:
            return any(letter.isalpha() for letter in word) and time.monotonic() - last < WITHIN_A_WORD

        def stray(event: Any) -> None:
            nonlocal word, last
            pressed = event.data if event.data.isprintable() else ""
            word = f"{word if going() else ''}{pressed}"[-20:] if pressed else ""
            last = time.monotonic()
            self._hint = words.STRAY.format(key=repr(word) if word.strip() else "That key")
            event.app.invalidate()

        def act(key: Key) -> Callable[[Any], None]:
            def press(event: Any) -> None:
                if key.key.isdigit() and going():
                    stray(event)
                    return
                chosen.append(f"{key.key}  {key.says if key.key.isdigit() else key.word}" if key.key else "")
                event.app.exit(result=key.key)

            return press

        for other in (Keys.Any, Keys.Enter, Keys.BracketedPaste):
            bindings.add(other)(stray)
        for key in keys:
            for spelling in {key.key or Keys.Enter, key.key.upper() or Keys.Enter}:
                bindings.add(spelling)(act(key))
        self._stops(bindings, interrupt)
        return bindings

    @staticmethod
    def _forget() -> None:
        """Drop what was typed before the question was on the screen: nobody answers what he has not read."""
        from prompt_toolkit.application import get_app_session
        from prompt_toolkit.input.typeahead import clear_typeahead

        with suppress(Exception):
            clear_typeahead(get_app_session().input)
            import termios

            termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

    # -- lines of text

    def line(self, prompt: str, bar: Bar, interrupt: str, choices: Choices = ()) -> str | None:
        from prompt_toolkit import PromptSession
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys

        bindings = KeyBindings()

        def escape(event: Any) -> None:
            event.app.exit(result=None)

        bindings.add(Keys.Escape, eager=True)(escape)
        self._stops(bindings, interrupt)
        foot: Any = self._foot(bar)
        session: PromptSession[Any] = PromptSession(
            key_bindings=bindings,
            bottom_toolbar=foot,
            style=self._style(),
            completer=_completer(choices) if choices else None,
            complete_while_typing=True,
            reserve_space_for_menu=5 if isinstance(choices, Search) else min(5, len(choices)),
            refresh_interval=0.5,
        )
        # Escape begins the codes of other keys as well; this long it is waited for what may follow it, in seconds.
        session.app.ttimeoutlen = 0.15
        text = self._run(session.app, lambda: session.prompt([("class:prompt", f"{prompt} ")]))
        return None if text is None else str(text).strip()


def _completer(choices: Choices) -> Any:
    """Return a completer for names in a row: it completes what stands after the last comma, colon or semicolon."""
    import re

    from prompt_toolkit.completion import Completer, Completion

    if isinstance(choices, Search):
        looked = choices

        class Found(Completer):
            def get_completions(self, document: Any, event: Any) -> Any:
                typed = document.text_before_cursor
                begun = re.split(r"[,;]\s*", typed)[-1] if looked.row else typed
                for name, title, kind in looked.find(begun):
                    yield Completion(name, start_position=-len(begun), display=title, display_meta=kind)

        return Found()
    names = choices

    class Rows(Completer):
        def get_completions(self, document: Any, event: Any) -> Any:
            begun = re.split(r"[,;:]\s*", document.text_before_cursor)[-1].casefold()
            if not begun and not event.completion_requested:
                return
            for choice in names:
                if begun in choice.casefold():
                    yield Completion(choice, start_position=-len(begun))

    return Rows()

"""How a session at the terminal begins: a new case from its intake, or one taken up again."""

from __future__ import annotations

import argparse
import os
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Event
from typing import TYPE_CHECKING, Any

from isolate.terminal import intake

if TYPE_CHECKING:
    from collections.abc import Mapping

    from isolate.case.case import Seen
    from isolate.case.chase import Kit
    from isolate.case.store import Store
    from isolate.kb.fit import Fitted
    from isolate.kb.load import Loaded
    from isolate.kb.model import Knowledge


FIRST_QUESTION = 0.6
"""Seconds that the first question is given to appear."""


def now() -> datetime:
    """Return the time."""
    return datetime.now(UTC)


class _Background:
    """The knowledge, read while the first questions are answered."""

    def __init__(self, arguments: argparse.Namespace) -> None:
        self._arguments = arguments
        self._wanted = Event()
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="knowledge")
        self._loaded: Future[Loaded] = self._pool.submit(self._load)
        self._fits: dict[str, Fitted] = {}

    def _load(self) -> Loaded:
        # Two threads that import share one interpreter: let the first question be on the screen before this begins.
        self._wanted.wait(FIRST_QUESTION)
        from isolate.kb.load import load

        loaded = load(self._arguments.knowledge)
        import isolate.case.database  # noqa: F401  # slow to load, and wanted as soon as the last question is answered

        return loaded

    def _knowledge(self) -> Knowledge:
        self._wanted.set()
        return self._loaded.result().knowledge

    def engines(self) -> Mapping[str, str]:
        """Return engine profile → title. Raises KnowledgeError."""
        return {name: e.title for name, e in self._knowledge().engines.items()}

    def fitted(self, engine: str) -> Fitted:
        """Return the knowledge fitted to an engine. Raises KnowledgeError, UnknownName."""
        from isolate.kb.fit import fit

        if engine not in self._fits:
            self._fits[engine] = fit(self._knowledge(), engine)
        return self._fits[engine]

    def kit(self, engine: str) -> Kit:
        """Return the kit of an engine."""
        from isolate.case.chase import Kit

        return Kit(self.fitted(engine))

    def keep(self, store: Store) -> None:
        """Keep the knowledge in the store, so that the case can be replayed when it has moved on."""
        self._wanted.set()
        store.keep_knowledge(self._loaded.result())

    def close(self) -> None:
        self._wanted.set()
        self._pool.shutdown(wait=True)


def chase(arguments: argparse.Namespace) -> int:
    """Run ``isolate chase`` at the terminal; return its exit status."""
    from isolate.case.store import open_store

    background = _Background(arguments)
    try:
        with open_store(arguments.store, later=True) as store:
            if arguments.hand_over is not None:
                return _hand_over(arguments.hand_over, store, background)
            if arguments.resume is not None:
                return _resume(arguments.resume, store, background)
            return _new(arguments, store, background)
    finally:
        background.close()


def _new(arguments: argparse.Namespace, store: Store, background: _Background) -> int:
    given: dict[str, Any] = {
        name: getattr(arguments, name)
        for name in ("aircraft", "position", "engine", "complaint")
        if getattr(arguments, name) is not None
    }
    if arguments.by:
        given["objective"] = arguments.by
    if arguments.hands:
        given["hands"] = arguments.hands
    if arguments.starts is not None:
        if str(arguments.starts) == "-":
            from isolate.case.intake import Refused

            raise Refused("--starts takes a file: the questions that follow are answered on the input that - means")
        # Looked for before anything is asked; read once the engine and its channels are known.
        with arguments.starts.open("rb"):
            given["starts"] = arguments.starts
    if arguments.age:
        from isolate.case.ages import read

        given["ages"] = tuple(read(said) for said in arguments.age)
    if arguments.engine_starts is not None:
        given["engine_starts"] = _starts_since_new(arguments.engine_starts)
    if arguments.sign:
        given["signs"] = tuple(_sign(said) for said in arguments.sign)
    try:
        told = intake.ask(background.fitted, background.engines, given)
    except intake.Stopped as stop:
        return 0 if stop.left else 1
    from isolate.case.chain import case_id
    from isolate.case.chase import Chase
    from isolate.case.settings import opening

    case = case_id(told.aircraft, told.position, now(), os.urandom(8))
    from isolate.terminal import live

    if not arguments.afresh:
        from isolate.case.inherit import with_earlier
        from isolate.terminal.words import plain

        told, notes = with_earlier(store, told, now())
        for note in notes:
            print(plain(note))
    background.keep(store)
    return live.run(Chase.begin(background.kit(told.engine), store, case, told, now, opening()))


def _starts_since_new(said: str) -> float:
    from isolate.case.intake import Refused

    try:
        return intake.engine_starts(said)
    except intake.Unclear as error:
        raise Refused(f"--engine-starts: {error}") from None


def _sign(said: str) -> Seen:
    """Return the sign of NAME or NAME:CHANNEL; what it names is looked over once the engine is known."""
    from isolate.case.case import Seen
    from isolate.case.intake import Refused

    name, colon, channel = said.partition(":")
    if not name.strip() or (colon and not channel.strip()):
        raise Refused(f"--sign is NAME or NAME:CHANNEL, not {said!r}")
    return Seen(name.strip(), channel.strip())


def _hand_over(case: str, store: Store, background: _Background) -> int:
    from isolate.case.chase import Chase
    from isolate.terminal import live

    case, engine = _known(case, store)
    # Not taken up again: what stands is passed on as it was left.
    return live.hand_over(Chase(background.kit(engine), store, case, now))


def _resume(case: str, store: Store, background: _Background) -> int:
    from isolate.case.chase import Chase
    from isolate.terminal import live

    case, engine = _known(case, store)
    return live.run(Chase.resume(background.kit(engine), store, case, now))


def _known(case: str, store: Store) -> tuple[str, str]:
    """Return a case that is there, the latest open one for none named, and its engine. Raises Refused."""
    from isolate.case.case import fold
    from isolate.case.intake import Refused
    from isolate.kb.fit import near

    if not case:
        latest = store.find(ended=False, limit=1)
        if not latest:
            raise Refused("no case is open; isolate chase begins one, isolate cases lists them all")
        case = latest[0].id
    if "@" not in case and not store.has(case):
        known = [c.id for c in store.cases()]
        raise Refused(f"no case is called {case!r}{near(case, known)}; isolate cases lists them")
    told = fold(store.events(case)).intake
    if told is None:
        raise Refused(f"case {case} does not begin with its opening")
    return case, told.engine

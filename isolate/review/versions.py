"""The knowledge that a case was worked with, wherever it still is: shipped, given, or kept in the store.

A trail names its knowledge by a digest. Nothing is worked anew with other knowledge by mistake: what is not found here
under that digest is not here.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.kb.read import KnowledgeError

if TYPE_CHECKING:
    from isolate.case.chase import Kit
    from isolate.kb.model import Knowledge

Kits = Callable[[str, str], "Kit | None"]
"""(digest of the knowledge, engine) → its kit; None where that knowledge is not here or does not have the engine."""


class Versions:
    """Kits by digest and engine, each made once. Call it as :data:`Kits`.

    ``given``: a folder of knowledge to look in besides the shipped one. ``store``: whatever has
    ``load_knowledge(digest)``, as :class:`isolate.case.store.Store`.
    """

    def __init__(self, given: Path | None = None, store: Any = None) -> None:
        self._given, self._store = given, store
        self._knowledge: dict[str, Knowledge] = {}
        self._kits: dict[tuple[str, str], Kit | None] = {}
        self._not: dict[str, str] = {}

    def __call__(self, digest: str, engine: str) -> Kit | None:
        """Return the kit; None where :meth:`why` says why there is none. Raises KnowledgeError for a bad ``given``."""
        if (digest, engine) not in self._kits:
            self._kits[digest, engine] = self._kit(digest, engine)
        return self._kits[digest, engine]

    def knowledge(self, digest: str) -> Knowledge | None:
        """Return the knowledge of that digest, None where it is not here. Raises KnowledgeError for a bad ``given``."""
        if digest in self._not:
            return None
        if digest not in self._knowledge:
            self._look(digest)
        if digest not in self._knowledge:
            self._not.setdefault(digest, "it is not here")
        return self._knowledge.get(digest)

    def why(self, digest: str) -> str:
        """Return why there is no knowledge of that digest, once it was asked for; empty where there is."""
        return self._not.get(digest, "")

    def _kit(self, digest: str, engine: str) -> Kit | None:
        from isolate.case.chase import Kit
        from isolate.kb.fit import UnknownName, fit

        found = self.knowledge(digest)
        try:
            return None if found is None else Kit(fit(found, engine))
        except UnknownName:
            return None

    def _look(self, digest: str) -> None:
        from isolate.kb.load import load

        if not self._knowledge:
            for folder in (self._given, None) if self._given is not None else (None,):
                had = load(folder).knowledge
                self._knowledge[had.digest] = had
        if digest not in self._knowledge:
            self._from_store(digest)

    def _from_store(self, digest: str) -> None:
        from isolate.case.store import StoreError

        ask = getattr(self._store, "load_knowledge", None)
        try:
            had = None if ask is None else ask(digest)
        except KnowledgeError as error:
            first = str(error).splitlines()[0]
            self._not[digest] = f"it is kept here, but this program cannot read it any more ({first})"
        except StoreError as error:
            self._not[digest] = f"it could not be got ({str(error).rstrip('.')})"
        else:
            if had is not None:
                self._knowledge[had.knowledge.digest] = had.knowledge

"""``review verify``, ``review sign`` and ``review key``: trails proven, signatures put under them, keys made."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.case.intake import Refused
from isolate.kb.shown import plain
from isolate.terminal.plain import say

if TYPE_CHECKING:
    import argparse

    from isolate.case.events import Event
    from isolate.case.store import Store
    from isolate.review.shapes import Trust
    from isolate.review.versions import Versions

TRIES = 3
"""How often a new passphrase may be told in two ways."""
MARGIN = "  "


@dataclass(frozen=True)
class Verified:
    """What was found of one trail. ``trust``: None where it could not be judged; ``said`` says why then."""

    name: str
    case: str
    events: int
    head: str
    trust: Trust | None
    said: tuple[str, ...]

    @property
    def wrong(self) -> bool:
        from isolate.review.trust import trouble

        return self.trust is None or trouble(self.trust)

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {**asdict(self), "wrong": self.wrong}


def run(arguments: argparse.Namespace) -> int:
    """Run one of the three; return its exit status."""
    return int({"review verify": _verify, "review sign": _sign, "review key": _key}[arguments.command](arguments))


# -- verify --------------------------------------------------------------------------------------------


class _Progress:
    """One line on a terminal that says how far it is, and goes when something else is said."""

    def __init__(self) -> None:
        self._shows = sys.stderr.isatty()
        self._long = 0

    def __call__(self, said: str) -> None:
        if self._shows:
            said = plain(said)[:76]
            print(f"\r{said:<{self._long}}", end="", file=sys.stderr, flush=True)
            self._long = len(said)

    def gone(self) -> None:
        if self._long:
            print(f"\r{'':<{self._long}}\r", end="", file=sys.stderr, flush=True)
            self._long = 0


class _Lazy:
    """A store that is opened when it is asked for knowledge, and not made for that."""

    def __init__(self, stack: ExitStack, where: str | None) -> None:
        self._stack, self._where = stack, where
        self._store: Store | None = None

    def open(self) -> Store:
        from isolate.case.store import open_store

        if self._store is None:
            self._store = self._stack.enter_context(open_store(self._where))
        return self._store

    def load_knowledge(self, digest: str) -> Any:
        return None if self._store is None else self._store.load_knowledge(digest)


def _verify(arguments: argparse.Namespace) -> int:
    from isolate.case.settings import settings
    from isolate.review.keys import people
    from isolate.review.versions import Versions

    known = people(settings().people)
    progress = _Progress()
    found: list[Verified] = []
    with ExitStack() as stack:
        store = _Lazy(stack, arguments.store)
        named: list[tuple[str, Path | None]] = [(name, _as_file(name)) for name in arguments.cases]
        if arguments.store or not named or any(path is None for _, path in named):
            store.open()
        versions = Versions(arguments.knowledge, store)
        if not named:
            named = [(name, None) for name in _kept(store.open())]
            if not named and not arguments.json:
                print("No cases yet.")
                return 0
        many = len(named) > 1
        for number, (name, path) in enumerate(named, 1):
            where = f"{number} of {len(named)}: {name}" if many else name
            progress(where)
            one = _one(name, path, store, versions, known, not arguments.no_replay, progress, where)
            progress.gone()
            found.append(one)
            if not arguments.json:
                _tell(one, many)
                # Into a pipe as well: whoever follows it sees each trail when it is done.
                sys.stdout.flush()
    wrong = sum(one.wrong for one in found)
    if arguments.json:
        import json

        print(json.dumps([one.as_dict() for one in found], indent=2, ensure_ascii=False))
    elif len(found) > 1:
        _count(found)
    return 1 if wrong else 0


def _as_file(name: str) -> Path | None:
    """Return the path where a trail is named as a file: it is there, or could only be meant as one."""
    return Path(name) if Path(name).is_file() or "/" in name or name.endswith(".jsonl") else None


def _kept(store: Store) -> Iterator[str]:
    """Yield the name of every trail in the store, each end of a forked case by itself."""
    for case in store.cases():
        if case.ends == 1:
            yield case.id
        else:
            yield from (case.id if head.main else head.name for head in store.heads(case.id))


def _one(
    name: str,
    path: Path | None,
    store: _Lazy,
    versions: Versions,
    known: dict[str, str],
    replay: bool,
    progress: _Progress,
    where: str,
) -> Verified:
    from isolate.case.store import StoreError
    from isolate.review.reading import NotATrail, read
    from isolate.review.trust import trust

    if path is not None:

        def tell(done: int, size: int) -> None:
            progress(f"{where}, {done / max(size, 1):.0%} read")

        try:
            file = read(path, tell)
        except NotATrail as error:
            return Verified(name, "", 0, "", None, (str(error),))
        notes = [*file.carried, *([file.newer] if file.newer else [])]
        if file.carried and not file.faults:
            notes.append("What its events say is whole.")
        events = file.events
        progress(f"{where}, worked anew")
        judged = trust(versions, events, file.faults, known, replay and file.full, notes)
        if replay and not file.full:
            judged = _too_long(judged)
        return Verified(name, file.case, len(events), events[-1].hash if events else "", judged, judged.said)
    try:
        faults = store.open().faults(name)
        events, unread = _readable(store.open(), name)
    except StoreError as error:
        return Verified(name, name.partition("@")[0], 0, "", None, (str(error),))
    judged = trust(versions, events, faults or unread, known, replay)
    case, head = (events[0].case, events[-1].hash) if events else (name.partition("@")[0], "")
    return Verified(name, case, len(events), head, judged, judged.said)


def _readable(store: Store, name: str) -> tuple[tuple[Event, ...], list[str]]:
    """Return the events of a case; where one cannot be read any more none, and the sentence that says so."""
    from isolate.case.store import StoreError

    try:
        return store.events(name), []
    except StoreError as error:
        return (), [str(error)]


def _too_long(judged: Trust) -> Trust:
    why = "the file is too large for that; its seals and its signatures were checked"
    if judged.not_replayed == "not asked for":
        said = tuple(f"Not replayed: {why}." if s.startswith("Not replayed") else s for s in judged.said)
        return replace(judged, not_replayed=why, said=said)
    return judged


def _tell(one: Verified, many: bool) -> None:
    """Print what was found of one trail: a line where there are many and it is well, else all of it."""
    if one.trust is None:
        print(f"{'!' if many else ''}{' ' if many else ''}", end="")
        say(one.said[0], MARGIN)
        return
    head = one.name if one.case in ("", one.name.partition("@")[0]) else f"{one.name} (case {one.case})"
    if many and not one.wrong:
        say(f"{head}: {_short(one)}", MARGIN)
        return
    say(f"{'! ' if many else ''}{head}", MARGIN)
    for line in one.said:
        say(f"{MARGIN}{line}", MARGIN * 2)


def _short(one: Verified) -> str:
    found = one.trust
    assert found is not None
    again = "replayed the same" if not found.not_replayed else f"not replayed: {found.not_replayed}"
    if found.not_replayed == "not asked for":
        again = "not replayed"
    more = [s for s in one.said if "on the way" in s or "stops short" in s or "times go back" in s]
    return f"whole, {one.events} events, {again}, {found.signed}.{' ' if more else ''}{' '.join(more)}"


def _count(found: Sequence[Verified]) -> None:
    judged = [one.trust for one in found if one.trust is not None]
    wrong = sum(one.wrong for one in found)
    again = sum(t.whole and not t.differs and not t.not_replayed for t in judged)
    signed = sum(t.signed == "signed" for t in judged)
    said = f"{len(found)} trails: {sum(t.whole for t in judged)} whole, {again} replayed the same, {signed} signed"
    say(f"{said}; {f'{wrong} with something wrong, marked !' if wrong else 'nothing wrong'}.")


# -- sign ----------------------------------------------------------------------------------------------


def _sign(arguments: argparse.Namespace) -> int:
    from datetime import UTC, datetime

    from isolate.case.case import fold
    from isolate.case.events import now_text
    from isolate.case.settings import settings
    from isolate.case.store import open_store
    from isolate.review import keys

    told = settings()
    where = arguments.key or told.key
    if not where:
        raise Refused(
            "which key signs? --key FILE, or key in the settings; isolate review key NAME --out FILE makes one"
        )
    path = Path(where).expanduser()
    known = keys.people(told.people)
    with open_store(arguments.store) as store:
        faults = store.faults(arguments.case)
        if faults:
            raise Refused(f"case {arguments.case} is not whole and is not signed so. {faults[0]}")
        events = store.events(arguments.case)
        state = fold(events)
        shut = keys.is_shut(keys.read_file(path))
        about = state.intake
        assert about is not None
        how = f"ended: {state.ended}" if state.ended else "still open"
        say(f"Case {events[0].case}, aircraft {about.aircraft} engine {about.position}: {len(events)} events, {how}. "
            f"isolate review {arguments.case} shows what you sign.", MARGIN)  # fmt: skip
        key = keys.read_private(path, _passphrase(f"Passphrase of {path.name}: ") if shut else "")
        by = keys.checked_name(arguments.name or key.name) if arguments.name or key.name else ""
        if not by:
            raise Refused(f"{path}: the key does not say whose it is; --as NAME does")
        by = _signer(by, key.public, known)
        last = next((e for e in reversed(events) if e.kind != "signed"), events[-1])
        mine = [s for s in keys.signatures(events, known) if s.key == key.public and s.upto >= last.seq]
        if mine and mine[-1].state in ("good", "unknown key"):
            raise Refused(f"{by} signed it as it stands already (event {mine[-1].seq})")
        body = keys.sign(key, events, by)
        store.append_all(arguments.case, [("signed", body)], now_text(datetime.now(UTC)), after=events[-1].hash)
    how = f"ended: {state.ended}" if state.ended else "STILL OPEN: what is added from here on is not covered"
    say(f"Signed by {by}: case {events[0].case} up to event {events[-1].seq}, {how}.", MARGIN)
    say(f"Key {keys.short(key.public)}, hash of the last event signed {events[-1].hash[:16]}.", MARGIN)
    if key.public not in known:
        say(f"This key is not among the known people's: {_how_known(path)}", MARGIN)
    say("It says who read and stands for this record. It releases no aircraft.", MARGIN)
    return 0


def _signer(by: str, public: str, known: dict[str, str]) -> str:
    """Return the name that a key signs with, as it is known. Raises Refused where key and name are of two people."""
    from isolate.review import keys

    if whose := known.get(public, ""):
        if keys.alike(whose, by):
            return whose
        raise Refused(f"the key is known here as that of {whose}, so it does not sign for {by}")
    if meant := keys.known_as(by, known):
        own = ", ".join(keys.short(other) for other, name in sorted(known.items()) if name == meant)
        looks = f"{by} is" if by == meant else f"{by} reads like {meant}, who is"
        raise Refused(
            f"{looks} known here with another key ({own}; this one is {keys.short(public)}), so this key does not sign "
            f"for {by}. A new key of theirs is known once its public half is in the folder of people"
        )
    return by


def _passphrase(prompt: str) -> str:
    """Ask for a passphrase without showing it; from a pipe it is the next line. Raises Refused."""
    try:
        if sys.stdin.isatty():
            from getpass import getpass

            return getpass(prompt)
        line = sys.stdin.readline()
        if line:
            return line.rstrip("\r\n")
    except EOFError:
        pass
    raise Refused("no passphrase was given")


def _how_known(path: Path) -> str:
    return f"put {path.name}.pub into the folder that the setting people names, where cases are verified."


# -- key -----------------------------------------------------------------------------------------------


def _key(arguments: argparse.Namespace) -> int:
    from isolate.case.settings import settings
    from isolate.review import keys

    told = settings()
    if arguments.name is None:
        return _list(told.people)
    name = keys.checked_name(arguments.name)
    where = arguments.out or (Path(told.key) if told.key else None)
    if where is None:
        raise Refused("where is the private key to be kept? --out FILE")
    path = Path(where).expanduser()
    for there in (path, path.with_name(path.name + keys.PUBLIC)):
        if there.exists():
            raise Refused(f"{there} is there already and was left as it is")
    private, public = keys.make(name, "" if arguments.no_passphrase else _new_passphrase(keys.LEAST))
    beside = keys.write(path, private, public)
    say(f"Private key of {name}: {path}. It signs; keep it to yourself"
        f"{', as whoever has the file can sign as you' if arguments.no_passphrase else ' and its passphrase in mind'}.",
        MARGIN)  # fmt: skip
    say(f"Public key: {beside}, key {keys.short(keys.read_public(beside)[1])}.", MARGIN)
    say(f"To be known: {_how_known(path)}", MARGIN)
    return 0


def _new_passphrase(least: int) -> str:
    for _ in range(TRIES):
        first = _passphrase(f"New passphrase, {least} letters at least (not shown): ")
        if len(first) < least:
            print(f"isolate: a passphrase of {least} letters at least is needed", file=sys.stderr)
        elif _passphrase("The same again: ") == first:
            return first
        else:
            print("isolate: the two were not the same", file=sys.stderr)
    raise Refused("no key was made")


def _list(folder: str) -> int:
    from isolate.review import keys

    if not folder:
        say("Nobody's key is known here: the setting people (or ISOLATE_PEOPLE) names the folder with their public "
            "keys, one NAME.pub each. isolate review key NAME --out FILE makes a key.", MARGIN)  # fmt: skip
        return 0
    known = keys.people(folder)
    for public, name in sorted(known.items(), key=lambda item: (item[1].casefold(), item[0])):
        say(f"{name}: key {keys.short(public)}", MARGIN)
    if not known:
        say(f"There is no public key (NAME.pub) in {folder}.", MARGIN)
    return 0

"""``review verify``, ``review sign`` and ``review key``: trails proven, signatures put under them, keys made."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
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
    from isolate.review.kept_files import Files
    from isolate.review.shapes import Trust
    from isolate.review.versions import Versions

TRIES = 3
"""How often a new passphrase may be told in two ways."""
MARGIN = "  "
SHOWN = 8
"""Digits of the hash in the name of an end."""
MOST_ENDS = 6
"""So many other ends of a case are told one by one."""


_TOLD_OF_MANY = (
    *("on the way", "stops short", "times go back"),
    # Of readings: another version, files that were looked for.
    *("would come out otherwise", "there is none such", "it is another one"),
)
"""What is said of a trail in whose line there is otherwise only that it is well."""


@dataclass(frozen=True)
class Verified:
    """What was found of one trail. ``trust``: None where it could not be judged; ``said`` says why then.

    ``drill``: whether it is one. ``is_open``: whole, and not ended. ``fork``: its other ends in few words, empty where
    it has none. ``unlike``: where the store lists it otherwise than its events say.
    """

    name: str
    case: str
    events: int
    head: str
    trust: Trust | None
    said: tuple[str, ...]
    drill: bool = False
    is_open: bool = False
    fork: str = ""
    unlike: tuple[str, ...] = ()

    @property
    def wrong(self) -> bool:
        from isolate.review.trust import trouble

        return self.trust is None or trouble(self.trust) or bool(self.unlike)

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
            self._store = self._stack.enter_context(open_store(self._where, there=bool(self._where)))
        return self._store

    def load_knowledge(self, digest: str) -> Any:
        return None if self._store is None else self._store.load_knowledge(digest)


def _verify(arguments: argparse.Namespace) -> int:
    from isolate.case.settings import settings
    from isolate.review.keys import people
    from isolate.review.versions import Versions

    bad: list[str] = []
    known = people(settings().people, bad)
    _passed_over(bad)
    files = _files(arguments.files)
    progress = _Progress()
    found: list[Verified] = []
    with ExitStack() as stack:
        store = _Lazy(stack, arguments.store)
        named: list[tuple[str, Path | None]] = [(name, _as_file(name)) for name in arguments.cases]
        if arguments.store or not named or any(path is None for _, path in named):
            store.open()
        versions = Versions(arguments.knowledge, store)
        if not named:
            named = [(name, None) for name in store.open().ends()]
            if not named and not arguments.json:
                print("No cases yet.")
                return 1 if bad else 0
        many = len(named) > 1
        for number, (name, path) in enumerate(named, 1):
            short = name if path is not None else _end_name(name)
            where = f"{number} of {len(named)}: {short}" if many else short
            progress(where)
            one = _one(name, path, store, versions, known, not arguments.no_replay, progress, where, files)
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
    return 1 if wrong or bad else 0


def _files(folder: Path | None) -> Files | None:
    """Return what lies in the folder where files of readings are looked for. Raises Refused for one that is none."""
    from isolate.review.kept_files import Files

    try:
        return None if folder is None else Files(Path(os.path.expanduser(folder)))
    except OSError as error:
        why = error.strerror or error
        raise Refused(f"{folder}: {why}; --files names the folder where files of readings are") from None


def _passed_over(bad: Sequence[str]) -> None:
    """Say which files among the keys of known people are none; the others count all the same."""
    for one in bad:
        print(f"isolate: {plain(one)}. It was passed over; the other keys count.", file=sys.stderr)


def _as_file(name: str) -> Path | None:
    """Return the path where a trail is named as a file: it is there, or could only be meant as one."""
    return Path(name) if Path(name).is_file() or "/" in name or name.endswith(".jsonl") else None


def _end_name(name: str) -> str:
    """Return the name of one end of a case as it is shown and may be typed."""
    case, at, head = name.partition("@")
    return f"{case}{at}{head[:SHOWN]}"


def _one(
    name: str,
    path: Path | None,
    store: _Lazy,
    versions: Versions,
    known: dict[str, str],
    replay: bool,
    progress: _Progress,
    where: str,
    files: Files | None,
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
        notes = [*file.carried, *(one for one in (file.newer, file.left) if one)]
        if file.carried and not file.faults:
            notes.append("What its events say is whole.")
        events = file.events
        progress(f"{where}, worked anew")
        judged = trust(versions, events, file.faults, known, replay and file.full, notes, file.more, files)
        if replay and not file.full:
            judged = _too_long(judged)
        head = events[-1].hash if events else ""
        return Verified(name, file.case, len(events), head, judged, judged.said, *_state(judged, events))
    case = name.partition("@")[0]
    try:
        faults = store.open().faults(name)
        events, unread = _readable(store.open(), name)
        fork, others = _other_ends(store.open(), name, events, known)
        unlike = _unlike(store.open(), name)
    except StoreError as error:
        return Verified(_end_name(name), case, 0, "", None, (plain(error),))
    judged = trust(versions, events, faults or unread, known, replay, others, files=files)
    said = (*judged.said, *(f"NOT AS LISTED. {one}" for one in unlike))
    case, head = (plain(events[0].case), events[-1].hash) if events else (case, "")
    return Verified(
        _end_name(name), case, len(events), head, judged, said, *_state(judged, events), fork, tuple(unlike)
    )


def _state(judged: Trust, events: Sequence[Event]) -> tuple[bool, bool]:
    """Return whether a trail is a drill, and whether it is whole and open."""
    from isolate.review.drilled import is_drill
    from isolate.review.trust import is_open

    return is_drill(events), judged.whole and is_open(events)


def _unlike(store: Store, name: str) -> list[str]:
    """Return where what the store lists of a trail is not what its events say; none where these cannot be read."""
    from isolate.case.store import StoreError

    try:
        return [plain(one) for one in store.unlike(name)]
    except StoreError:
        return []


def _other_ends(
    store: Store, name: str, events: Sequence[Event], known: dict[str, str]
) -> tuple[str, tuple[str, ...]]:
    """Return what there is of a case besides this end of it: in few words, and a sentence for each other end.

    Raises StoreError.
    """
    from isolate.case.store import StoreError
    from isolate.review.keys import signatures
    from isolate.review.trust import is_open

    case = name.partition("@")[0]
    try:
        heads = store.heads(case)
    except StoreError:
        return "", ()
    here = events[-1].hash if events else ""
    mine = {event.seq: event.hash for event in events}
    said: list[str] = []
    signed = ended = 0
    others = [head for head in heads if head.head != here] if len(heads) > 1 else []
    for head in others:
        other, unread = _readable(store, f"{case}@{head.head}")
        if unread:
            said.append(f"It has another end, {head.name}, which cannot be read; isolate review verify says why.")
            continue
        found = signatures(other, known)
        good = list(dict.fromkeys(one.by for one in found if one.state == "good"))
        by = f"signed by {', '.join(good)}" if good else "signed, by nobody known here" if found else "unsigned"
        signed, ended = signed + bool(found), ended + (not is_open(other))
        parts = next((event.seq for event in other if mine.get(event.seq) != event.hash), len(other) + 1)
        which = ", the main one" if head.main else ""
        said.append(
            f"It has another end, {head.name}{which}: {len(other)} events, parting from this one at event {parts}, "
            f"{'open' if is_open(other) else 'ended'}, {by}. isolate review verify {head.name} judges it."
        )
    if not others:
        return "", ()
    more = len(said) - MOST_ENDS
    many = f"{len(others)} other end{'s' if len(others) > 1 else ''}"
    rest = [f"... and {more} more ends, {signed} of all signed; isolate store forks lists them."] if more > 0 else []
    return f"It has {many}, {signed} signed, {ended} ended.", (*said[:MOST_ENDS], *rest)


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
        say(f"{'! ' if many else ''}{plain(one.said[0])}", MARGIN)
        return
    head = plain(one.name if one.case in ("", one.name.partition("@")[0]) else f"{one.name} (case {one.case})")
    if many and not one.wrong:
        say(f"{head}: {_short(one)}", MARGIN)
        return
    say(f"{'! ' if many else ''}{head}", MARGIN)
    for line in one.said:
        # Whatever a trail holds, each sentence is one line.
        say(f"{MARGIN}{plain(line)}", MARGIN * 2)


def _short(one: Verified) -> str:
    from isolate.review.drilled import NOT_CHECKED

    found = one.trust
    assert found is not None
    again = "replayed the same" if not found.not_replayed else f"not replayed: {found.not_replayed}"
    if found.not_replayed == "not asked for":
        again = "not replayed"
    if one.drill:
        again = f"{NOT_CHECKED}, beliefs and rules {again}"
    still = f", open (a cut at its end does not show; last hash {one.head[:16]})" if one.is_open else ""
    more = [s for s in one.said if any(word in s for word in _TOLD_OF_MANY)]
    more += [one.fork] if one.fork else []
    return plain(f"whole, {one.events} events{still}, {again}, {found.signed}.{' ' if more else ''}{' '.join(more)}")


def _count(found: Sequence[Verified]) -> None:
    judged = [(one.trust, one.drill) for one in found if one.trust is not None]
    wrong = sum(one.wrong for one in found)
    again = sum(t.whole and not t.differs and not t.not_replayed and not drill for t, drill in judged)
    signed = sum(t.signed == "signed" for t, _ in judged)
    drills = sum(drill for _, drill in judged)
    said = f"{len(found)} trails: {sum(t.whole for t, _ in judged)} whole, {again} replayed the same, {signed} signed"
    if drills:
        said += f", {drills} drill{'s' if drills > 1 else ''} (moves, cautions and verification not checked)"
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
    path = Path(os.path.expanduser(where))
    bad: list[str] = []
    known = keys.people(told.people, bad)
    _passed_over(bad)
    with open_store(arguments.store, there=True) as store:
        faults = store.faults(arguments.case)
        if faults:
            raise Refused(f"case {arguments.case} is not whole and is not signed so. {faults[0]}")
        events = store.events(arguments.case)
        state = fold(events)
        shut = keys.is_shut(keys.read_file(path))
        if keys.read_by_others(path):
            print(
                f"isolate: others on this machine may read or change {plain(path)}, and whoever can sign with it signs "
                "as you; chmod 600 keeps it to yourself",
                file=sys.stderr,
            )
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
    path = Path(os.path.expanduser(where))
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
    bad: list[str] = []
    known = keys.people(folder, bad)
    for public, name in sorted(known.items(), key=lambda item: (item[1].casefold(), item[0])):
        say(f"{name}: key {keys.short(public)}", MARGIN)
    if not known:
        say(f"There is no public key (NAME.pub) in {folder}.", MARGIN)
    sys.stdout.flush()
    _passed_over(bad)
    return 1 if bad else 0

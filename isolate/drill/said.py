"""What a trainee typed, and what is meant by it.

A move is taken only where the words say one move whole, or nothing else at all explains them: a move chosen wrongly
could stop the drill, so what may be two is asked. A word that nobody here knows, a denial, a question or two moves in
one line are asked about too. Pure: no screen, no file, no aircraft.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import log
from typing import Literal, cast

from isolate.case.deferral import DEFER
from isolate.drill.drive import NOTHING, Choice, suspects
from isolate.drill.phrases import (
    ACCESS,
    ALL_BACK,
    ASKED,
    COMES_WITH,
    COMMANDS,
    ENDS,
    IDLE,
    KINDS,
    LAST_RAN,
    PARTS,
    REMARKS,
    SAME,
    SAYINGS,
    VERBS,
)
from isolate.kb.fit import Fitted, split
from isolate.kb.spoken import stem, words
from isolate.reasoning.pose import ESCALATE

SaidKind = Literal[
    "move", "wait", "suspect", "hint", "again", "note", "look", "earlier", "moves", "leave", "help", "unclear"
]
MOST = 5
"""So many moves are named when asking which is meant."""
HALF = 0.5
"""A move that alone explains all the words is taken where they say this share of one of its sayings, by weight."""
LONGEST = 300
"""Letters of a line that can be a move."""
NEAR = 0.5
"""A move that fits less than this share as well as the best is not named when asking which is meant."""

_DENIES = frozenset(words("not dont never no without wont cannot cant didnt doesnt havent hasnt isnt unable avoid"))
_ASKS = frozenset(words("should shall can could may must would why"))
_THINKS = frozenset(words("should think maybe perhaps might wonder suppose"))
_ASKS_ABOUT = frozenset(words("how what which when where is was were does did has have do are"))
DENIED = "Say what you do, not what you do not do."
"""What is said of a line that denies; what it names is never taken for an answer without its number."""
_WHICH = "Which do you mean?"
_THIS = "Is this what you mean?"
_ONE = "One thing at a time. Which comes first?"
_QUESTION = f"Say what you do; asking or thinking of it does nothing. {_WHICH}"
_OPPOSITE = ("un", "de", "dis", "re", "in", "non", "mis", "out", "over")
_UNITS = {"m": 1.0, "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0, "h": 60.0, "hr": 60.0, "hrs": 60.0,
          "hour": 60.0, "hours": 60.0}  # fmt: skip
_COUNTS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12, "fifteen": 15,
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60,
}  # fmt: skip
_SUSPECTS = re.compile(
    r"^\W*suspect\w*|\b((?:i|we|my|prime)\s+suspect\w*|i\s+(?:think|guess|reckon|believe|bet)|i'?d\s+(?:say|bet)|my\s+money|prime|probabl[ey]|likel[yi]\w*|sure|"
    r"certain|blame|per\s?cent)\b|%"
)
_PERCENT = re.compile(r"(?<![\w.])(\d{1,6}(?:[.,]\d{1,6})?)\s*(?:%|per\s?cent\b)")
_NUMBER = re.compile(r"(?<![\w.,])(\d{1,6}(?:[.,]\d{1,6})?)(?![\w.,]\w|\w)")
_WAITS = re.compile(
    r"^(?:please\s+|now\s+|just\s+|i\s+|we\s+|let\s+us\s+|lets\s+)*(?:wait|pause|hold\s+on)(?:s|ed|ing)?\b"
)
_HEALTHY = re.compile(
    r"\b(nothing(?:\s+is)?(?:\s+(?:wrong|at\s+fault|broken|the\s+matter|there))?|no\s+faults?(?:\s+found)?|nff|healthy|"
    r"all\s+(?:good|is\s+well))\b"
)


@dataclass(frozen=True)
class Said:
    """What a line means.

    ``kind`` move: ``choice``, with ``channel`` and the ``reference`` of a deferral where they were told; wait:
    ``choice`` and ``minutes`` (None: not told); suspect: ``suspect`` (a key of :func:`isolate.drill.drive.suspects`)
    and ``sure`` from 0 to 1 (None: not told); note: ``text``; moves: ``text``, the words asked for, and all
    ``candidates``; unclear: ``why``, and up to :data:`MOST` ``candidates``, or all that stands open where all of it is
    to be put back. Otherwise ``text`` is the line itself.
    """

    kind: SaidKind
    choice: Choice | None = None
    minutes: float | None = None
    suspect: str = ""
    sure: float | None = None
    text: str = ""
    candidates: tuple[Choice, ...] = ()
    why: str = ""
    channel: str = ""
    reference: str = ""


# -- words -------------------------------------------------------------------------------------------


_ROOTS = frozenset(SAME.values())


@lru_cache(maxsize=4096)
def _root(word: str) -> str:
    """Return what a word is here, without its endings."""
    if word in SAME:
        return SAME[word]
    found = stem(word, SAME, least=3)
    if found in _ROOTS:
        return found
    if found != word and len(found) > 3 and found[-1] == found[-2] and found[-1] not in "ls":
        found = SAME.get(found[:-1], found[:-1])
    return found.removesuffix("e") if len(found) > 3 and found not in _ROOTS else found


_IDLE_ROOTS = frozenset(IDLE) | {_root(w) for w in IDLE}
_COMES_WITH = frozenset(_root(w) for w in COMES_WITH)


@dataclass(frozen=True)
class Saying:
    """One way of saying a move: a set of words for each of its slots, and words that may come with it."""

    slots: tuple[frozenset[str], ...]
    extra: frozenset[str]

    @cached_property
    def all(self) -> frozenset[str]:
        """All its words."""
        return self.extra.union(*self.slots)


def _saying(text: str, extra: Iterable[str] = ()) -> Saying | None:
    """Read a saying of :mod:`isolate.drill.phrases`; None where nothing in it says anything."""
    slots, more, inside = [], set(extra), False
    for part in re.findall(r"[()]|[^\s()]+", text):
        if part in "()":
            inside = part == "("
            continue
        meant = {_root(w) for w in VERBS.get(part, part).split("|")}
        if inside:
            more |= meant
        elif meant := meant - _IDLE_ROOTS if len(meant) == 1 else meant:
            slots.append(frozenset(meant))
    return Saying(tuple(dict.fromkeys(slots)), frozenset(more)) if slots else None


_ELSEWHERE = frozenset(
    _root(word)
    for sayings in (*SAYINGS.values(), *(way.open + way.close for way in ACCESS.values()))
    for said in sayings
    for word in words(said)
)
"""Words that name something on some engine."""


@dataclass(frozen=True)
class Group:
    """A move with all its instances: one for each channel, or one that is shared."""

    kind: str
    name: str
    sayings: tuple[Saying, ...]
    choices: tuple[Choice, ...]

    def on(self, channels: Sequence[str]) -> tuple[Choice, ...]:
        """Return the instances that these channels, as told, may mean; none where there is no such."""
        if self.kind == "swap":
            return tuple(c for c in self.choices if set(channels) <= set(_channels_of(c)))
        if not channels or (self.kind == "end" and self.name == "deferred" and len(channels) == 1):
            return self.choices
        return tuple(c for c in self.choices if _channels_of(c) and _channels_of(c)[0] in channels)


@dataclass(frozen=True)
class Lexicon:
    """All that may be named on an engine. ``exact``: line → what it means, whole. ``spelt``: words as people write."""

    groups: tuple[Group, ...]
    exact: dict[str, tuple[Choice, ...]]
    phrases: dict[Choice, str]
    known: frozenset[str]
    spelt: tuple[str, ...]
    weight: dict[str, float]
    bags: dict[Choice, frozenset[str]]


def _channels_of(choice: Choice) -> tuple[str, ...]:
    if choice.kind == "swap":
        return tuple(choice.key.partition(":")[2].split("<>"))
    channel = split(choice.key)[1]
    return (channel,) if channel else ()


def _whole(text: str) -> str:
    return " ".join(text.casefold().split()).strip(" .!")


def _put(text: str) -> str:
    """Return a text with phrases that deny or name nothing put as one word, or left out."""
    for said, put in _PUT:
        text = said.sub(put, text)
    return text


_PUT = tuple(
    (re.compile(said, re.IGNORECASE), put)
    for said, put in (
        (r"\bnot\s+(?:an?\s+)?ignition\b,?", " "),
        (r"\bspark[\s-]+plug", "plug"),
        (r"\bno[\s-]load\b", "load"),
        (r"^\W*plug\s+in\b(?=\s+\w\w)", "connect"),
        # A dry motor is made with ignition off: it says nothing more. "Off" by itself might stop it.
        (
            r"(\bmotor\w*\b[^,;]*?)[,\s]+(?:with\s+)?(?:the\s+)?ignition\s+(?:held\s+)?(?:off|inhibited|isolated|dead)\b",
            r"\1",
        ),
        # To notice something is to see it; the warning notices are things.
        (r"\b(crew|pilots?|anybody|anyone|they|you)\s+notice\b", r"\1 see"),
        (r"\b(?:notice(?=\s+(?:any|some|what|that|when|if|how|whether)\w*)|noticed|noticing)\b", "see"),
    )
)


def _bare(title: str, choice: Choice) -> str:
    """Return a title without its channels."""
    title = _put(title)
    for channel in _channels_of(choice):
        title = re.sub(rf"\b{re.escape(channel)}(?:'s)?(?![\w'])", " ", title)
    return title


def _phrase(choice: Choice) -> str:
    """Return a good phrase for a move: what is done to which thing."""
    name, channel = split(choice.key)
    way = ACCESS.get(name)
    if choice.kind in ("open", "close") and way is not None:
        said = way.says_open if choice.kind == "open" else way.says_close
        if said:
            return said.replace("{channel}", channel)
    if choice.kind == "end" and channel:
        return f"{choice.title}, channel {channel}"
    return choice.title


def _phrases(choices: Sequence[Choice]) -> dict[Choice, str]:
    """Return choice → its phrase; no two have the same."""
    found: dict[Choice, str] = {}
    taken: set[str] = set()
    for choice in choices:
        for phrase in (_phrase(choice), choice.title, f"{choice.kind} {choice.key}"):
            if _whole(phrase) not in taken:
                break
        taken.add(_whole(phrase))
        found[choice] = phrase
    return found


def _sayings(kind: str, name: str, one: Choice, comes: frozenset[str]) -> tuple[Saying, ...]:
    """Return the sayings of a move: ours, its name and its title."""
    if kind in ("open", "close"):
        way = ACCESS.get(name)
        ours: Sequence[str] = () if way is None else way.open if kind == "open" else way.close
        lines = list(ours)
        if way is None:
            lines = [f"{' '.join(name.split('-'))} ({' '.join(words(_bare(one.title, one)))})"]
            lines[0] = f"{'open' if kind == 'open' else 'close|shut|back'} {lines[0]}"
    elif kind == "swap":
        part = one.key.partition(":")[0]
        lines = [f"{said} {part}" for said in SAYINGS["swap"]]
    else:
        lines = [*SAYINGS.get(name, ()), " ".join(words(_bare(one.title, one)))]
        if name != "inspection":
            lines.append(" ".join(name.split("-")))
        else:
            lines.remove(" ".join(words(one.title)))
        if kind == "end" and name == "done":
            lines = list(SAYINGS["done"])
    found = (_saying(line, comes) for line in lines)
    return tuple(dict.fromkeys(s for s in found if s is not None))


@lru_cache(maxsize=8)
def _lexicon(choices: tuple[Choice, ...], kinds: tuple[tuple[str, str], ...]) -> Lexicon:
    """Make what is known of these moves. ``kinds``: (check, its kind)."""
    of_check = dict(kinds)
    by_name: dict[tuple[str, str], list[Choice]] = {}
    for choice in choices:
        name = choice.key.partition(":")[0] if choice.kind == "swap" else split(choice.key)[0]
        by_name.setdefault((choice.kind, name), []).append(choice)
    groups = []
    for (kind, name), ones in by_name.items():
        comes = frozenset(map(_root, words(KINDS.get(of_check.get(name, "visual") if kind == "check" else kind, ""))))
        groups.append(Group(kind, name, _sayings(kind, name, ones[0], comes), tuple(ones)))
    phrases = _phrases(choices)
    exact: dict[str, list[Choice]] = {}
    for choice in choices:
        opening = choice.kind in ("open", "close")
        verbs = ("open",) if choice.kind == "open" else ("close", "shut", "put back") if opening else (choice.kind,)
        said = {phrases[choice], choice.title, *(f"{verb} {choice.key}" for verb in verbs)}
        if choice.kind != "close":
            said.add(choice.key)
        for one in {_whole(form) for s in said for form in (s, s.rstrip("?"))}:
            if choice not in exact.setdefault(one, []):
                exact[one].append(choice)
    for choice, phrase in phrases.items():
        exact[_whole(phrase)] = [choice]
        exact.setdefault(_whole(phrase.rstrip("?")), [choice])
    spelt: set[str] = set(IDLE) | set(COMES_WITH) | set(SAME)
    for text in (*SAYINGS.get("swap", ()), *KINDS.values(), *VERBS.values()):
        spelt |= set(words(text))
    for group in groups:
        ways = ACCESS.get(group.name) if group.kind in ("open", "close") else None
        for text in (*SAYINGS.get(group.name, ()), *((*ways.open, *ways.close) if ways else ()), group.name,
                     *(c.title for c in group.choices)):  # fmt: skip
            spelt |= set(words(text))
    having: dict[str, int] = {}
    for group in groups:
        for word in frozenset().union(*(s.all for s in group.sayings)):
            having[word] = having.get(word, 0) + 1
    weight = {word: log(1 + len(groups) / n) for word, n in having.items()}
    bags = {}
    for group in groups:
        shared = frozenset().union(*(slot for s in group.sayings for slot in s.slots))
        for choice in group.choices:
            raw = words(f"{phrases[choice]} {choice.title} {choice.key}")
            bags[choice] = frozenset(raw) | {_root(w) for w in raw} | shared
    known = frozenset(having) | _IDLE_ROOTS | _COMES_WITH
    return Lexicon(tuple(groups), {k: tuple(v) for k, v in exact.items()}, phrases, known,
                   tuple(sorted(w for w in spelt if len(w) >= 3)), weight, bags)  # fmt: skip


def _of(choices: Sequence[Choice], fitted: Fitted | None) -> Lexicon:
    kinds = () if fitted is None else tuple((c.name, c.entry.kind) for c in fitted.checks.values())
    return _lexicon(tuple(choices), tuple(dict.fromkeys(kinds)))


def _near(word: str, spelt: Sequence[str]) -> tuple[str, ...]:
    """Return the words that this may be, misspelt: all that are nearest, none where none is near."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    if not 3 <= len(word) <= 30 or word.isdecimal():
        return ()
    most = 1 if len(word) < 7 else 2
    hits = process.extract(word, spelt, scorer=OSA.distance, score_cutoff=most, limit=None)
    found = [(str(other), int(far)) for other, far, _ in hits if _slip(word, other)]
    nearest = min((far for _, far in found), default=0)
    return tuple(other for other, far in found if far == nearest)


def _slip(word: str, other: str) -> bool:
    """Return whether one word may be a slip for another: not where it says the opposite or is a short other word."""
    if len(word) == 3 or len(other) == 3:
        return sorted(word) == sorted(other) or (len(other) == 4 and word[0] == other[0])
    if len(word) == len(other) == 4 and sorted(word) != sorted(other):
        return False
    return not any(
        longer == before + shorter for longer, shorter in ((word, other), (other, word)) for before in _OPPOSITE
    )


@dataclass(frozen=True)
class Line:
    """A line taken apart. ``tokens``: of each word that says something, what it may be."""

    tokens: tuple[frozenset[str], ...]
    raw: tuple[str, ...]
    channels: tuple[str, ...]
    foreign: tuple[str, ...]
    strange: tuple[str, ...]
    mended: bool
    denied: bool
    starts: str
    thinks: bool


_BEFORE = frozenset(words("channel chan ch system sys number no nr side ign lane"))


_THINGS = frozenset(words("igniter lead exciter insert feed feeder input breaker sleeve harness"))


_FOLLOWS = frozenset(
    words(
        "out off in back on at to up down from and over for end dead alone again please first then by is with loose "
        "now tip hot warm cold"
    )
)


def _split_channels(text: str, known: Sequence[str]) -> tuple[list[str], list[str], list[str]]:
    """Return (words, channels told, channels told that are not there)."""
    shown = re.sub(r"\b([A-Za-z0-9]{1,3})['\u2019]s\b", r"\1", text)
    shown = re.sub(r"\b(channel|plug|lead|exciter|igniter|ch)([a-zA-Z]|\d{1,2})(?![\w])", _joined(known), shown)
    cased = re.findall(r"[A-Za-z0-9]+", shown.replace("'", "").replace("\u2019", ""))
    shouted = not any(w.islower() for w in cased)
    named = {c.casefold(): c for c in known}
    kept: list[str] = []
    told: list[str] = []
    foreign: list[str] = []
    for i, word in enumerate(cased):
        low = word.casefold()
        before = cased[i - 1].casefold() if i else ""
        after = cased[i + 1].casefold() if i + 1 < len(cased) else ""
        of_thing = before in _BEFORE or _root(before) in _THINGS
        is_channel = low in named
        if low == "a" and is_channel:
            linked = before in ("and", "or") and i > 1 and cased[i - 2].casefold() in named
            led = after in ("and", "or") and i + 2 < len(cased) and cased[i + 2].casefold() in named
            capital = word == "A" and not shouted and i > 0
            is_channel = of_thing or capital or linked or led or not after or (i > 0 and after in _FOLLOWS)
        elif low in ("one", "two") and before and of_thing and {"one": "1", "two": "2"}[low] in named:
            low, is_channel = {"one": "1", "two": "2"}[low], True
        if is_channel:
            if named[low] not in told:
                told.append(named[low])
            if kept and kept[-1] in ("number", "no", "nr", "on", "of"):
                kept.pop()
        elif (len(word) == 1 or word.isdecimal()) and of_thing and low not in ("a", "i", "s"):
            foreign.append(word.upper())
        else:
            if low in ("channel", "chan", "ch") and kept and kept[-1] == "on":
                kept.pop()
            kept.append(low)
    return kept, told, foreign


def _joined(known: Sequence[str]) -> Callable[[re.Match[str]], str]:
    named = {c.casefold() for c in known}

    def parted(found: re.Match[str]) -> str:
        return f"{found[1]} {found[2].upper()}" if found[2].casefold() in named else found[0]

    return parted


def _line(text: str, lexicon: Lexicon, channels: Sequence[str]) -> Line:
    kept, told, foreign = _split_channels(_put(text), channels)
    tokens, raw, strange, mended = [], [], [], False
    denied = any(w in _DENIES for w in kept)
    for word in kept:
        if word in _DENIES or word in _IDLE_ROOTS:
            continue
        found = {_root(word)}
        if not found & lexicon.known:
            spelt = _near(word, lexicon.spelt)
            if any(s in _DENIES for s in spelt):
                denied = True
            found = {_root(s) for s in spelt} & lexicon.known
            mended |= bool(found)
        if not found:
            strange.append(word)
        elif not found & _IDLE_ROOTS:
            tokens.append(frozenset(found))
            raw.append(word)
    first = words(text)[:1]
    return Line(tuple(tokens), tuple(raw), tuple(told), tuple(foreign), tuple(strange), mended, denied,
                first[0] if first else "", bool(_THINKS & set(words(text))))  # fmt: skip


# -- which move --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fit:
    """How well words say a move. ``whole``: a saying is said whole; ``hits``: words in its slots; ``share``: of it."""

    group: Group
    explained: bool
    whole: bool
    hits: int
    share: float
    score: float


def _fit(line: Line, group: Group, weight: Mapping[str, float]) -> Fit:
    best, rank = Fit(group, False, False, 0, 0.0, 0.0), (False, False, 0, 0.0)
    said = frozenset().union(*line.tokens)
    for saying in group.sayings:
        if said.isdisjoint(saying.all):
            continue
        explained = all(not token.isdisjoint(saying.all) or token & _COMES_WITH for token in line.tokens)
        there = [not said.isdisjoint(slot) for slot in saying.slots]
        hits = sum(any(not token.isdisjoint(slot) for slot in saying.slots) for token in line.tokens)
        if not hits:
            continue
        # A slot weighs what its commonest word does: what many moves are said with says little.
        sizes = [min(weight[w] for w in slot) for slot in saying.slots]
        share = sum(size for size, done in zip(sizes, there, strict=True) if done) / sum(sizes)
        heavy = [(max(weight.get(w, 0.0) for w in token), not token.isdisjoint(saying.all)) for token in line.tokens]
        within = sum(w for w, inside in heavy if inside) / (sum(w for w, _ in heavy) or 1.0)
        whole = explained and all(there)
        score = within * (0.4 + share)
        if (mine := (whole, explained, hits if whole else 0, score)) > rank:
            best, rank = Fit(group, explained, whole, hits, share, score), mine
    return best


def _instances(fits: Iterable[Fit], channels: Sequence[str]) -> tuple[Choice, ...]:
    """Return the moves of these, as far as the channels leave them, else all of theirs."""
    found: list[Choice] = []
    for fit in fits:
        found += fit.group.on(channels) or fit.group.choices
    return tuple(dict.fromkeys(found))


def _fitting(found: tuple[Choice, ...], open_now: Collection[str] | None) -> tuple[Choice, ...]:
    """Return those that can be meant as it stands: what is shut is not put back, nor what is open opened again."""
    if open_now is None or len(found) < 2:
        return found
    idle = {"open": True, "close": False}
    return tuple(c for c in found if idle.get(c.kind) != (c.key in open_now)) or found


def _unclear(text: str, why: str, candidates: Iterable[Choice] = (), minutes: float | None = None) -> Said:
    found = tuple(dict.fromkeys(candidates))[:MOST]
    if len(found) == 1:
        why = why.replace(_WHICH, _THIS)
    return Said("unclear", text=text, why=why, candidates=found, minutes=minutes)


def _move(text: str, line: Line, lexicon: Lexicon, channels: Sequence[str], open_now: Collection[str] | None) -> Said:
    fits = [_fit(line, group, lexicon.weight) for group in lexicon.groups]
    there = [f for f in fits if f.group.on(line.channels)]
    whole = [f for f in there if f.whole]
    if len(whole) > 1:
        most = max(f.hits for f in whole)
        whole = [f for f in whole if f.hits == most]
    explained = sorted((f for f in there if f.explained), key=lambda f: -f.score)
    taken: Fit | None = None
    if len(whole) == 1:
        taken = whole[0]
    elif not whole and len(explained) == 1:
        only = explained[0]
        other = [f for f in fits if f.whole and f is not only]
        if only.share >= HALF and only.group.kind != "end" and not other:
            taken = only
    near = whole or explained
    if not whole and len(near) < MOST:
        best = max((f.score for f in fits), default=0.0)
        also = (f for f in fits if f.score > 0 and f.score >= NEAR * best and f not in near)
        near = [*near, *sorted(also, key=lambda f: -f.score)]
    may = _instances([taken] if taken else near, line.channels)
    found = _fitting(may, open_now)
    if len(found) < len(may):
        # What is not open is not shut: the one left is meant. Of ways in, another than said is not gone into unasked.
        shutting = all(c.kind == "close" for c in may)
        only = next(f for f in fits if found[0] in f.group.choices)
        taken = (taken or (only if len(found) == 1 else None)) if shutting else None
    if line.foreign:
        return _unclear(text, f"No channel is called {line.foreign[0]} here: {' or '.join(channels)}.", found)
    if line.strange:
        here = _root(line.strange[0]) not in _ELSEWHERE
        why = f"{line.strange[0]!r} {'is no word that is known here' if here else 'names nothing on this engine'}."
        return _unclear(text, f"{why} {_WHICH}" if found else why, found)
    if line.denied:
        return _unclear(text, DENIED, found)
    if not found:
        return _unclear(text, "No move is near that. `moves` with a word of it lists what there is.")
    if len(apart := _fitting(_apart(text, lexicon, channels), open_now)) > 1:
        return _unclear(text, _ONE, (*found, *apart) if taken is not None or whole else (*apart, *found))
    if taken is None:
        return _unclear(text, _WHICH, found)
    if len(found) > 1:
        asks = "One channel at a time. " if len(line.channels) > 1 else ""
        return _unclear(text, f"{asks}Which channel do you mean: {' or '.join(channels)}?", found)
    others = _instances([f for f in explained if f is not taken and line.channels], line.channels)
    return _certain(text, line, lexicon, found[0], tuple(dict.fromkeys((*found, *others))))


def _apart(text: str, lexicon: Lexicon, channels: Sequence[str]) -> tuple[Choice, ...]:
    """Return the moves that the parts of a line say whole, where not all of its parts say the same."""
    parts: list[tuple[Line, list[Fit]]] = []
    split_up = _JOINS.split(text)
    for part in split_up if len(split_up) > 1 else ():
        line = _line(part, lexicon, channels)
        fits = [f for f in (_fit(line, g, lexicon.weight) for g in lexicon.groups) if f.whole] if line.tokens else []
        if fits:
            parts.append((line, fits))
    said = [frozenset((f.group.kind, f.group.name) for f in fits) for _, fits in parts]
    if len(said) < 2 or frozenset.intersection(*said):
        return ()
    return tuple(dict.fromkeys(c for line, fits in parts for c in _instances(fits, line.channels)))


_JOINS = re.compile(r"\b(?:and|then|plus)\b|[,;&+]", re.IGNORECASE)


def _certain(text: str, line: Line, lexicon: Lexicon, choice: Choice, near: Sequence[Choice]) -> Said:
    """Return the move, unless how it was said leaves a doubt. ``near``: it and others that the words may mean."""
    kind = choice.kind
    if line.starts in _ASKS or line.thinks:
        return _unclear(text, _QUESTION, near)
    if (line.starts in _ASKS_ABOUT or text.rstrip(" .!").endswith("?")) and kind != "check":
        return _unclear(text, _QUESTION, near)
    if kind == "end" and line.mended:
        return _unclear(text, "It ends the drill. Is it meant?", [choice])
    if kind == "swap" and len(line.channels) < 2 and not (
        not line.channels and any(w.endswith("s") for w in line.raw)
    ) and not any("over" in token for token in line.tokens):
        # One part is changed for a new one, two are changed over: "swap the exciter" is said of both.
        part = choice.key.partition(":")[0]
        new = [g for g in lexicon.groups if g.kind == "repair" and g.name == f"replace-{part}"]
        return _unclear(text, _WHICH, [choice, *(c for g in new for c in (g.on(line.channels) or g.choices))])
    if kind == "wait":
        return Said("wait", choice, text=text)
    return Said("move", choice, text=text, channel=line.channels[0] if len(line.channels) == 1 else "")


# -- other than moves --------------------------------------------------------------------------------


def _command(text: str) -> Said | None:
    bare = " ".join(w for w in words(text) if w not in ("please", "now", "thanks", "thank"))
    if text.strip() == "?":
        return Said("help", text=text)
    for kind in ("hint", "again", "look", "earlier", "moves", "leave", "help"):
        if bare in COMMANDS[kind]:
            return Said(kind, text="" if kind == "moves" else text)
    first = bare.partition(" ")[0]
    if first in ("note", "remark") or first == "notes":
        return Said("note", text=re.sub(r"^\W*\w+\s*[:,-]?\s*", "", text, count=1).strip())
    return None


_TAKES_TIME = ("cool-enough", "drained")
_TIMED = re.compile(r"\d\s*(?:min|m\b|h\b|hr|hour)|\b(?:min|hour)")


def _minutes(text: str) -> tuple[float | None, str]:
    """Return the minutes that a text tells, and the text without them."""
    said = re.sub(rf"\b(?:{'|'.join(_COUNTS)})\b(?=\s+(?:min|hour|h\b))", lambda m: str(_COUNTS[m[0]]), text)
    said = re.sub(r"\bhalf an hour\b", "30 min", said)
    said = re.sub(r"\b(?:a )?quarter of an hour\b", "15 min", said)
    said = re.sub(r"\b(?:an|one) hour\b", "60 min", said)
    said = re.sub(r"\b(?:a|one) minute\b", "1 min", said)
    found = re.findall(r"(?<![\w.,])(\d{1,6}(?:[.,]\d{1,3})?)\s*([a-z]*)", said)
    if not found or any(unit not in _UNITS and unit not in IDLE and unit not in ("", "until") for _, unit in found):
        return None, said
    total = sum(float(n.replace(",", ".")) * _UNITS.get(unit, 1.0) for n, unit in found)
    if len(found) > 1 and not all(unit in _UNITS for _, unit in found[:-1]):
        return None, said
    rest = re.sub(r"(?<![\w.,])\d{1,6}(?:[.,]\d{1,3})?\s*(?:hours?|hrs?|h|minutes?|mins?|m)?\b", " ", said)
    return total, rest


def _begun(text: str, lexicon: Lexicon, channels: Sequence[str], open_now: Collection[str] | None) -> Said | None:
    """Return what minutes told with something that takes its time mean: "drain 5 minutes"."""
    minutes, rest = _minutes(text.casefold()) if _TIMED.search(text.casefold()) else (None, "")
    line = _line(rest, lexicon, channels)
    if not minutes or line.strange or line.denied or line.foreign or not line.tokens:
        return None
    fits = [f for f in (_fit(line, g, lexicon.weight) for g in lexicon.groups) if f.whole]
    if len(fits) != 1 or fits[0].group.kind != "open" or fits[0].group.name not in _TAKES_TIME:
        return None
    begun = fits[0].group.choices[0]
    wait = next(c for g in lexicon.groups if g.kind == "wait" for c in g.choices)
    if open_now is not None and begun.key in open_now:
        return Said("wait", wait, minutes, text=text)
    return _unclear(text, "It is begun first, and then waited for. Which do you mean?", [begun, wait], minutes)


def _wait(
    text: str, lexicon: Lexicon, channels: Sequence[str], open_now: Collection[str] | None = None
) -> Said | None:  # fmt: skip
    choice = next((c for g in lexicon.groups if g.kind == "wait" for c in g.choices), None)
    low = " ".join(text.casefold().split())
    low = re.sub(r"^let (?=.*\bm)(.*?) (?:pass|go by)\b", r"wait \1", low)
    first = words(low)[:1]
    if first and len(first[0]) > 3 and _near(first[0], ("wait",)) and re.search(r"\d", low):
        low = f"wait{low.lstrip()[len(first[0]):]}" if low.startswith(first[0]) else low
    if choice is not None and re.fullmatch(r"wait\s+(?:nan|inf\w*|[-+]?\d[\d.,]*e[-+]?\d+)\s*(?:m\w*)?", low):
        # A number that no clock counts.
        return Said("wait", choice, text=text)
    waits = _WAITS.match(low)
    bare = re.fullmatch(r"(?:\d{1,6}(?:[.,]\d{1,3})?\s*(?:hours?|hrs?|h|minutes?|mins?|min)\s*)+[.!]?", low)
    if choice is None or not (waits or bare):
        return None
    minutes, rest = _minutes(low[waits.end() :] if waits else low)
    line = _line(rest, lexicon, channels)
    if not (line.tokens or line.strange or line.denied or line.foreign):
        return Said("wait", choice, minutes, text=text)
    lapse = re.match(r"\W*(?:more\s+)?(?:for|to|so|until|till|while|as|because)\b", rest)
    fits = [_fit(line, g, lexicon.weight) for g in lexicon.groups if g.kind == "open"]
    found = [c for f in sorted(fits, key=lambda f: -f.score) if f.explained for c in f.group.choices
             if f.group.name in _TAKES_TIME]  # fmt: skip
    joined = {"then", "and", "before", "after"} & set(words(rest))
    if minutes is not None and lapse and not found and not joined and not line.denied:
        # Why one waits changes nothing: "wait 5 min for the charge to bleed off".
        return Said("wait", choice, minutes, text=text)
    running = open_now is not None and bool(found) and all(c.key in open_now for c in found)
    if minutes is not None and running and not (joined or line.strange or line.denied):
        return Said("wait", choice, minutes, text=text)
    if minutes is None and len(found) == 1 and not line.strange:
        return Said("move", found[0], text=text)
    if minutes is None and lapse and not found:
        return _unclear(text, "Say how many minutes, such as: wait 5", [choice])
    return _unclear(text, _ONE if joined else _WHICH, [choice, *found], minutes)


def _parts(kept: Sequence[str], known: dict[str, str]) -> tuple[list[str], list[str]]:
    """Return (parts named, other words)."""
    by_word = {_root(w): part for part, said in PARTS.items() for w in said.split()}
    for key in known.keys() - {NOTHING}:
        by_word.setdefault(_root(split(key)[0].replace("-", "")), split(key)[0])
    here = {split(key)[0] for key in known}
    parts: list[str] = []
    other: list[str] = []
    for word in kept:
        part = by_word.get(_root(word))
        if part is None and word not in IDLE:
            spelt = {by_word[w] for w in _near(word, tuple(w for w in by_word if len(w) > 3))}
            part = spelt.pop() if len(spelt) == 1 else None
        if part in here and part is not None:
            if part not in parts:
                parts.append(part)
        else:
            other.append(word)
    return parts, other


def _suspicion(text: str, fitted: Fitted, lexicon: Lexicon) -> Said | None:
    """Return the suspicion that a line tells; None where it tells none."""
    known = suspects(fitted)
    low = text.casefold()
    intends = _SUSPECTS.search(low)
    percents = _PERCENT.findall(low)
    rest = _PERCENT.sub(" ", text if text.isascii() else low)
    told = [_figure(p, True) for p in percents]
    healthy = _HEALTHY.search(low)
    numeric = [c for c in fitted.channels if c.isdecimal()]
    if not told:
        numbers = list(_NUMBER.finditer(rest))
        last = numbers[-1] if numbers else None
        if last is not None and not (last[1] in numeric and not _is_sure(rest, last, numbers)):
            told = [_figure(last[1], False)]
            rest = rest[: last.start()] + " " + rest[last.end() :]
    its = re.match(r"\W*it(?:'?s|\u2019s| is)\b", low)
    if not (intends or told or its or (healthy and healthy[0] == " ".join(low.split()).strip(" .!"))):
        return None
    bare = re.sub(r"^\W*(?:my\s+)?(?:prime\s+)?suspect\w*\s*(?:is|:)?", " ", rest, flags=re.IGNORECASE)
    kept, channels, foreign = _split_channels(bare, fitted.channels)
    parts, other = _parts(kept, known)
    asked = _SUSPECTS.sub(" ", " ".join(other))
    left = [w for w in words(asked) if w not in _IDLE_ROOTS and w not in ("on", "in", "t", "d", "money", "with")]
    if healthy and not parts:
        left = [w for w in words(_HEALTHY.sub(" ", " ".join(left))) if w not in _DENIES]
        if not left or intends:
            return _sure(Said("suspect", suspect=NOTHING, text=text), told)
    if not intends and (left or not parts):
        return None
    doing = [w for w in left if w in _DOES]
    starts = re.match(r"\W*(?:my\s+)?(?:prime\s+)?suspect", low)
    if doing and not starts:
        return None if not percents else _unclear(text, "That is a suspicion or a move, not both. Say one of them.")
    if not parts:
        if starts or percents:
            said = ", ".join(dict.fromkeys(split(k)[0].replace("-", " ") for k in known))
            return _unclear(text, f"No part is named that can be at fault. Say one of: {said}.")
        return None
    if foreign:
        return _unclear(text, f"No channel is called {foreign[0]} here: {' or '.join(fitted.channels)}.")
    names = [f"{p}/{c}" if c else p for p in parts for c in (channels or [""]) if (f"{p}/{c}" if c else p) in known]
    if len(names) != 1:
        may = [k for k in known if split(k)[0] in parts and (not channels or split(k)[1] in ("", *channels))]
        titles = " or ".join(known[k] for k in names or may)
        if not titles:
            return _unclear(text, f"{' '.join(parts)} is not by channel here.")
        return _unclear(text, f"One suspect at a time: {titles}?" if len(names or may) > 1 else f"Is it {titles}?")
    return _sure(Said("suspect", suspect=names[0], text=text), told)


_DOES = frozenset(words("pull push replace change open close refit fit remove disconnect connect swap should reset"))


def _is_sure(rest: str, last: re.Match[str], numbers: list[re.Match[str]]) -> bool:
    """Return whether the last number of a line, which may be a channel, says how sure somebody is."""
    before = words(rest[: last.start()])[-1:]
    return len(numbers) > 1 and not (before and (before[0] in _BEFORE or _root(before[0]) in _THINGS))


def _figure(text: str, percent: bool) -> float:
    value = float(text.replace(",", "."))
    return value if not percent and value < 1 and re.search("[.,]", text) else value / 100


def _sure(said: Said, told: Sequence[float]) -> Said:
    if len(told) > 1:
        return _unclear(said.text, "Say once how sure you are.")
    if told and told[0] > 1:
        return _unclear(said.text, "How sure is a percentage from 0 to 100.")
    return Said("suspect", suspect=said.suspect, sure=told[0] if told else None, text=said.text)


# -- what is meant -----------------------------------------------------------------------------------


def understand(
    choices: Sequence[Choice], fitted: Fitted, text: str, open_now: Collection[str] | None = None
) -> Said:  # fmt: skip
    """Return what a line means on this engine. Never raises.

    ``open_now``: keys of the access states that stand open, where that is known; of several things to be put back
    only one of these can be meant.
    """
    lexicon = _of(choices, fitted)
    text = text.strip()
    if not words(text) and text != "?":
        return _unclear(text, "Nothing that can be read was typed." if text else "Nothing was typed.")
    if len(exact := lexicon.exact.get(_whole(text), ())) == 1:
        choice = exact[0]
        return Said("wait" if choice.kind == "wait" else "move", choice, text=text)
    if exact:
        return _unclear(text, _WHICH, exact)
    if (command := _command(text)) is not None:
        return command
    if len(text) > LONGEST:
        return _unclear(text[:LONGEST], "That is too long for one move. Say one thing at a time.")
    low = " ".join(words(text))
    if low.startswith(("moves ", "list moves ")):
        return _listed(choices, fitted, re.sub(r"^\W*(?:list\W+)?moves\W+", "", text, flags=re.IGNORECASE))
    if ALL_BACK.fullmatch(low):
        return _all_back(text, choices, open_now)
    if LAST_RAN.match(low):
        return Said("look", text=text)
    for said, why, names in ASKED:
        if said.match(low):
            line = _line(text, lexicon, fitted.channels)
            groups = (g for name in names for g in lexicon.groups if f"{g.kind} {g.name}" == name)
            found = tuple(c for g in groups for c in (g.on(line.channels) or g.choices))
            return _unclear(text, why, _fitting(found, open_now))
    if (deferral := _deferral(choices, fitted, text, open_now)) is not None:
        return deferral
    if low in ("give up", "i give up", "we give up"):
        ends = [c for c in choices if (c.kind, c.key) == ("end", ESCALATE)]
        return _unclear(text, "To stop for now, say leave. To end it by giving it to somebody else:", ends)
    for reading in (
        _begun(text, lexicon, fitted.channels, open_now),
        _wait(text, lexicon, fitted.channels, open_now),
        _suspicion(text, fitted, lexicon),
    ):
        if reading is not None:
            return reading
    line = _line(text, lexicon, fitted.channels)
    if len(words(text)) == 1 and len(low) >= 4:
        near = [kind for kind in COMMANDS if _root(low) == _root(kind) or (not line.tokens and _near(low, (kind,)))]
        if len(near) == 1:
            return Said(cast(SaidKind, near[0]), text="" if near[0] == "moves" else text)
    meant = _move(text, line, lexicon, fitted.channels, open_now)
    if REMARKS.match(low):
        named = meant.candidates if meant.choice is None else (meant.choice,)
        return _unclear(text, "A remark is kept by: note ... To find something out, name the check.", named)
    return meant


def _listed(choices: Sequence[Choice], fitted: Fitted, asked: str) -> Said:
    """Return the moves that are asked for by a kind or by their words."""
    bare = " ".join(words(asked))
    if kind := ENDS.get(bare):
        return Said("moves", text=bare, candidates=tuple(c for c in choices if c.kind == kind))
    named = re.search(r"\w\W+([A-Za-z])\W*$", asked)
    foreign = _split_channels(asked, fitted.channels)[2] or ([named[1].upper()] if named else [])
    if foreign and foreign[0] not in fitted.channels:
        return _unclear(asked, f"No channel is called {foreign[0]} here: {' or '.join(fitted.channels)}.")
    return Said("moves", text=bare, candidates=matching(choices, asked))


def _all_back(text: str, choices: Sequence[Choice], open_now: Collection[str] | None) -> Said:
    """Return what stands open, to be put back one by one."""
    if open_now is None:
        return _unclear(text, "One thing at a time. Name what is put back; `look` tells what stands open.")
    by_key = {c.key: c for c in choices if c.kind == "close"}
    found = tuple(by_key[k] for k in open_now if k in by_key)
    if not found:
        return _unclear(text, "Nothing stands open that has to be put back.")
    return Said("unclear", text=text, why="One thing at a time. This has to be put back:", candidates=found)


_DEFERS = re.compile(r"\bdefer\w*", re.IGNORECASE)
_REFERENCE = re.compile(
    r"[\s,;:(]*(?:\b(?:under|per|as|by|to|with|iaw|in\s+accordance\s+with|according\s+to|using)\b[\s.]*)*"
    r"(?:\b(?:(?P<list>MEL|CDL)(?:\s+(?:item|ref(?:erence)?|no|number|chapter))?|ref(?:erence)?|item)\b[\s.:#]*"
    r"(?P<number>[A-Z]{0,3}\d[\w./-]*)|\b(?P<bare>\d{2}-\d[\w./-]*))\)?",
    re.IGNORECASE,
)


def _deferral(
    choices: Sequence[Choice], fitted: Fitted, text: str, open_now: Collection[str] | None
) -> Said | None:  # fmt: skip
    """Return a deferral that is told with its reference; None for anything else."""
    found = _REFERENCE.search(text)
    if found is None or (not _DEFERS.search(text) and (not found["list"] or found["number"] in fitted.channels)):
        return None
    number = (found["number"] or found["bare"]).rstrip(".")
    rest = f"{text[: found.start()]} {text[found.end() :]}"
    said = understand(choices, fitted, rest if _DEFERS.search(rest) else f"defer {rest}", open_now)
    named = (said.choice, *said.candidates)
    if not any(c is not None and (c.kind, c.key) == ("end", DEFER) for c in named):
        return None
    return replace(said, text=text, reference=f"{found['list'].upper()} {number}" if found["list"] else number)


def phrase(choices: Sequence[Choice], choice: Choice) -> str:
    """Return a good phrase for a move, which means just it."""
    return _of(choices, None).phrases[choice]


# -- while it is typed -------------------------------------------------------------------------------


def completions(choices: Sequence[Choice], text: str) -> list[tuple[str, Choice]]:
    """Return (phrase, move) of all moves that what is typed so far may become; each phrase means just its move."""
    lexicon = _of(choices, None)
    low = " ".join(text.casefold().split())
    if not words(text):
        return [] if low else [(phrase, choice) for choice, phrase in lexicon.phrases.items()]
    known = list(dict.fromkeys(channel for choice in choices for channel in _channels_of(choice)))
    typed, channels, _ = _split_channels(text, known)
    open_word = not text[-1:].isspace() and bool(typed) and words(text)[-1:] == typed[-1:]
    found = []
    for place, (choice, phrase) in enumerate(lexicon.phrases.items()):
        begins = phrase.casefold().startswith(low)
        misses = 0 if begins else _misses(typed, open_word, phrase, lexicon.bags[choice])
        if misses is not None and (begins or set(channels) <= set(_channels_of(choice))):
            found.append((not begins, misses, len(words(phrase)), place, phrase, choice))
    return [(phrase, choice) for *_, phrase, choice in sorted(found, key=lambda f: f[:4])]


def _misses(typed: Sequence[str], open_word: bool, phrase: str, bag: frozenset[str]) -> int | None:
    """Return how many of the words typed so far stand only elsewhere than in the phrase; None: not this move.

    ``open_word``: the last of them may go on.
    """
    in_phrase = words(phrase)
    misses = 0
    for i, word in enumerate(typed):
        last = open_word and i == len(typed) - 1
        if word in in_phrase or (last and any(w.startswith(word) for w in in_phrase)) or word in _IDLE_ROOTS:
            continue
        if _root(word) in bag or (last and len(word) > 1 and any(w.startswith(word) for w in bag)):
            misses += 1
            continue
        return None
    return misses


def matching(choices: Sequence[Choice], text: str) -> tuple[Choice, ...]:
    """Return the moves that all of these words are said of, best first."""
    return tuple(choice for _, choice in completions(choices, text))

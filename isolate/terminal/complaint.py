"""Which complaint or sign is meant by a number, a name or the crew's own words.

Words are weighed by how much more often people say them of one complaint than of the others, as the `says` of the
knowledge have them; a word that is denied ("did not light") is another word than the same one said. Nothing here
knows the complaints: whoever finds that words are not understood adds them to `says`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from math import exp, log
from typing import TYPE_CHECKING

from isolate.kb.spoken import stem, words

if TYPE_CHECKING:
    from isolate.kb.fit import Fitted

SURE = 0.7
"""Words that point to one complaint with this share of the belief, or more, are taken for it."""
NEAR = 0.08
"""A complaint with less than this share is not named when asking which is meant."""
WHOLE = 3.0
"""Weight of a saying that is said whole, in natural units: what else it would hold, and is not said, counts too."""
EVEN = 0.25
"""Weight, in sayings, of a word that nobody has been heard to say of a complaint."""

_SEVERED = re.compile(r"[,;.:!?/]|\b(?:but|then|though|however|while)\b")
_SAME = {
    "lit": "light", "lite": "light", "lightoff": "light", "lightup": "light", "relight": "light", "relit": "light",
    "ignited": "light", "ignites": "light", "ignite": "light", "took": "take", "heard": "hear", "2": "two",
    "1st": "first", "2nd": "second", "3rd": "third", "tries": "try", "tried": "try", "attempt": "try",
    "attempts": "try", "attempted": "try", "occasionally": "occasional", "intermittently": "intermittent",
    "okay": "ok", "normally": "normal", "lately": "late", "slowly": "slow", "inoperative": "inop", "dead": "inop",
    "plug": "igniter", "igniters": "igniter", "plugs": "igniter",
}  # fmt: skip


_DENIES = frozenset(
    words(
        "no not never none nothing nil non without cannot cant wont didnt doesnt dont wouldnt couldnt isnt wasnt hasnt "
        "unable fail failed fails failing failure refused refuses lack lacks lost missing"
    )
)
_IDLE = frozenset(
    words(
        "a an the of to in on at by it its is was be been are were did do does has have had will would and or with for "
        "from this that we i he she they there off up when as engine eng crew reports report reported"
    )
)


def _stem(word: str) -> str:
    return stem(word, _SAME)


def features(text: str) -> frozenset[str]:
    """Return what a saying says: stems of its words, with ``not `` before the word that a denial reaches.

    A denial reaches the next word that carries meaning, and not past a comma or a "but".
    """
    found = set()
    for clause in _SEVERED.split(text.casefold().replace("light-off", "light").replace("-", " ")):
        denied = False
        for word in words(clause):
            if word in _DENIES:
                denied = True
            elif word not in _IDLE:
                found.add(f"not {_stem(word)}" if denied else _stem(word))
                denied = False
    return frozenset(found)


@lru_cache(maxsize=4)
def _heard(says: tuple[tuple[str, tuple[str, ...]], ...]) -> dict[str, dict[str, float]]:
    """Return feature → complaint → share of its sayings that have it."""
    found: dict[str, dict[str, float]] = {}
    for name, sayings in says:
        for saying in sayings:
            for feature in features(saying):
                shares = found.setdefault(feature, {})
                shares[name] = shares.get(name, 0.0) + 1 / len(sayings)
    return found


def likeness(said: str, fitted: Fitted) -> dict[str, float]:
    """Return complaint → share of the belief, most first, that it is what these words mean.

    Empty where next to none of the words is one that people use of any complaint.
    """
    says = tuple((name, (*c.says, c.title)) for name, c in fitted.complaints.items())
    heard = _heard(says)
    least = {name: EVEN / len(sayings) for name, sayings in says}
    mine = features(said)
    known = set()
    for feature in mine:
        if feature in heard:
            known.add(feature)
        elif spelt := get_close_matches(feature, heard, n=1, cutoff=0.84):
            known.add(spelt[0])
        elif (bare := feature.removeprefix("not ")) != feature and bare in heard:
            known.add(bare)
    if not known or 3 * len(known) <= len(mine):
        return {}
    weight = {
        name: sum(log(heard[f].get(name, 0.0) + least[name]) - log(1 + least[name]) for f in known)
        + WHOLE * max(2 * len(known & f) / (len(mine) + len(f)) for f in map(features, sayings))
        for name, sayings in says
    }
    best = max(weight.values())
    total = sum(exp(w - best) for w in weight.values())
    return {name: exp(w - best) / total for name, w in sorted(weight.items(), key=lambda item: -item[1])}


def meant(said: str, fitted: Fitted) -> tuple[str, ...]:
    """Return the complaint that the words mean, alone, or up to three that they may mean; nothing for none."""
    told = words(said)
    for name, entry in fitted.complaints.items():
        if told in ([*words(name)], *(words(s) for s in (*entry.says, entry.title))):
            return (name,)
    shares = likeness(said, fitted)
    if not shares:
        return ()
    first = next(iter(shares))
    # Taken for another defect the words would mislead the whole case: ask, rather than guess.
    if shares[first] >= SURE:
        return (first,)
    return tuple(name for name, share in shares.items() if share >= NEAR)[:3]


# -- finding by what is typed ------------------------------------------------------------------------


@dataclass(frozen=True)
class Hit:
    """A complaint or a sign that some words may mean. ``kind``: complaint or sign; ``score``: most first."""

    kind: str
    name: str
    title: str
    score: float


CLEAR = 1.25
"""The first hit is taken by itself where it scores this many times as much as the second."""
SPELT = 0.8
"""Two words of four letters or more that are this much alike are one word, misspelt."""


@lru_cache(maxsize=4)
def _words_of(says: tuple[tuple[str, str, str, tuple[str, ...]], ...]) -> tuple[frozenset[str], ...]:
    return tuple(
        frozenset(_stem(w) for text in (name, title, *sayings) for w in words(text) if w not in _IDLE)
        for _, name, title, sayings in says
    )


def search(said: str, fitted: Fitted, kinds: Sequence[str] = ("complaint", "sign")) -> tuple[Hit, ...]:
    """Return the complaints and signs that any of the words may mean, best first.

    A word counts whole, by its beginning or misspelt, wherever it stands; a rare one counts for more than one that
    many entries have. Words that no entry has are left aside.
    """
    says = tuple(
        (kind, name, entry.title, tuple(entry.says))
        for kind, entries in (("complaint", fitted.complaints), ("sign", fitted.signs))
        if kind in kinds
        for name, entry in entries.items()
    )
    known = _words_of(says)
    scores = [0.0] * len(says)
    for word in dict.fromkeys(_stem(w) for w in words(said) if w not in _IDLE):
        found = [_alike(word, vocabulary) for vocabulary in known]
        having = sum(share > 0 for share in found)
        if having:
            weight = log(1 + len(says) / having)
            scores = [score + weight * share for score, share in zip(scores, found, strict=True)]
    most = max(scores, default=0.0)
    hits = [
        Hit(kind, name, title, score)
        for (kind, name, title, _), score in zip(says, scores, strict=True)
        if score > 0 and score >= most / 2
    ]
    return tuple(sorted(hits, key=lambda hit: (-round(hit.score, 9), hit.kind)))


def _alike(word: str, vocabulary: frozenset[str]) -> float:
    """Return how well a word is one of these: 1 the word itself, less for its beginning or a misspelling."""
    if word in vocabulary:
        return 1.0
    if len(word) >= 2 and any(w.startswith(word) for w in vocabulary):
        return 0.9
    return 0.7 if len(word) >= 4 and get_close_matches(word, vocabulary, n=1, cutoff=SPELT) else 0.0


def sign_meant(said: str, fitted: Fitted) -> str:
    """Return the sign that the words surely mean, else nothing.

    It has to lead clearly, no other may explain a word that it leaves over, and it denies just what the words deny:
    "no bang" is not a bang.
    """
    told = words(said)
    for name, entry in fitted.signs.items():
        if told in ([*words(name)], *(words(s) for s in (*entry.says, entry.title))):
            return name
    hits = search(said, fitted, ("sign",))
    if not hits or (len(hits) > 1 and hits[0].score < CLEAR * hits[1].score):
        return ""
    name = hits[0].name
    return "" if _left_over(said, name, fitted) or _crossed(said, name, fitted) else name


def signs_near(said: str, fitted: Fitted) -> tuple[str, ...]:
    """Return up to three signs that the words may mean, best first."""
    hits = [hit.name for hit in search(said, fitted, ("sign",))]
    left = _left_over(said, hits[0], fitted)[:2] if hits else []
    return tuple(dict.fromkeys((*hits[:1], *left, *hits[1:])))[:3]


def _left_over(said: str, name: str, fitted: Fitted) -> list[str]:
    """Return the signs that words mean which this sign does not have."""
    left = [word for word in _meaning(said) if not _alike(word, _of_sign(name, fitted))]
    return [hit.name for hit in search(" ".join(left), fitted, ("sign",))] if left else []


def _meaning(text: str) -> list[str]:
    return [_stem(w) for w in words(text) if w not in _IDLE and w not in _DENIES]


def _of_sign(name: str, fitted: Fitted) -> frozenset[str]:
    entry = fitted.signs[name]
    return frozenset(word for text in (name, entry.title, *entry.says) for word in _meaning(text))


def _crossed(said: str, name: str, fitted: Fitted) -> bool:
    """Return whether the words deny what the sign says, or say what it only denies."""
    entry = fitted.signs[name]
    has = frozenset(f for text in (entry.title, *entry.says) for f in features(text))

    def other(feature: str) -> str:
        return feature.removeprefix("not ") if feature.startswith("not ") else f"not {feature}"

    return any(f not in has and (f.startswith("not ") or other(f) in has) for f in features(said))

"""The words of what people type, and their stems; nothing here knows what the words are about."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["stem", "words"]

_ENDINGS = ("ing", "ies", "ed", "s")


def words(text: str) -> list[str]:
    """Return the words of a text, lower-case, without their punctuation."""
    return re.findall(r"[a-z0-9]+", text.casefold().replace("'", "").replace("\u2019", ""))


def stem(word: str, same: Mapping[str, str], least: int = 4) -> str:
    """Return a word without its ending, where ``least`` letters are left, and as ``same`` calls it."""
    if word in same:
        return same[word]
    for ending in _ENDINGS:
        if word.endswith(ending) and len(word) - len(ending) >= least and not word.endswith("ss"):
            word = word[: -len(ending)]
            break
    return same.get(word, word)

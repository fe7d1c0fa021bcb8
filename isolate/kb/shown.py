"""What somebody wrote, as it may be shown: nothing in it moves the screen about or hides a word."""

from __future__ import annotations

import re
import unicodedata

_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"  # control sequences
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"  # strings
    r"|\x1b[ -/]*[0-~]"
)


def plain(text: object, lines: bool = False) -> str:
    """Return told text as it may be shown: no escape sequences, control or direction-changing characters.

    Line ends become spaces unless ``lines``.
    """
    found = []
    for letter in _SEQUENCE.sub("", str(text)):
        category = unicodedata.category(letter)
        if letter == "\n" and lines:
            found.append(letter)
        elif letter in "\n\r\t" or category in ("Zl", "Zp"):
            found.append(" ")
        elif category not in ("Cc", "Cf", "Cs", "Co"):
            found.append(letter)
    return "".join(found)

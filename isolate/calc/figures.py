"""Numbers as people type them: `1,5`, `.060`, `1 1/2`, `1 500`, `1e6`; what may be two numbers is refused.

A single comma before exactly three digits is refused (`1,500`), since half of the world reads it one way and half the
other. A point before three digits is a decimal point: `1.500 in` is what a micrometer says.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final, NamedTuple

LONGEST: Final = 80
"""Characters that a reading with its unit and its ± may have."""
NUMBER: Final = (
    r"[+-]?(?:"
    r"\d+[ -]\d+/\d+"  # 1 1/2, 1-1/2
    r"|\d+/\d+"
    r"|\d{1,3}(?: \d{3})+(?![\d])(?:[.,]\d+)*"  # 1 500,5
    r"|(?:\d+(?:[.,]\d+)*|[.,]\d+)(?:\.(?![\d.]))?(?:[eE][+-]?\d+)?"
    r")"
)
"""What looks like a number, as a pattern; :func:`worth` says whether it is one."""

_LIKE: Final = str.maketrans(
    {
        **dict.fromkeys("−‐‑‒–—﹣－", "-"),
        **dict.fromkeys("’‘′ʹ`´", "'"),
        **dict.fromkeys("”“″ʺ„", '"'),
        **dict.fromkeys("·∙⋅•‧", "·"),
        **dict.fromkeys("º˚", "°"),
        "\u2126": "Ω",
        "μ": "µ",
        "℃": "°C",
        "℉": "°F",
        "⁄": "/",
        "∕": "/",
        "…": "...",
        "＋": "+",
    }
)


SPELT: Final[dict[int, str]] = str.maketrans(
    {
        **{"Ω": "ohm", "µ": "u", "°": "deg ", "±": "+/-", "·": ".", "−": "-", "–": "-", "…": "...", "→": "->"},
        **{"“": '"', "”": '"', "’": "'", "²": "2", "½": "1/2", "≤": "<=", "≥": ">=", "×": "x", "σ": "sigma"},
    }
)
"""How our signs are spelt in ASCII; a lost Ω or µ would make another figure of it."""


def spelt(text: str) -> str:
    """Return text in ASCII alone: our signs spelt out, a question mark for others."""
    return text.translate(SPELT).encode("ascii", "replace").decode("ascii")


class Unclear(ValueError):
    """What was typed is no quantity of its kind, or may be more than one; the message is a sentence that says why.

    ``unitless``: only its unit is missing.
    """

    def __init__(self, message: str, unitless: bool = False) -> None:
        super().__init__(message)
        self.unitless = unitless


class Worth(NamedTuple):
    """What a number is worth, and what one unit of the last digit typed is worth."""

    value: float
    step: float


def quoted(text: str) -> str:
    """Return typed text as a sentence may hold it: between quotes, short, nothing in it that moves a screen."""
    shown = "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))
    mark = '"' if "'" in shown and '"' not in shown else "'"
    return f"{mark}{shown if len(shown) <= 40 else shown[:36] + ' ...'}{mark}"


def tidy(text: str) -> str:
    """Return text in one spelling: plain spaces, digits, dashes, quotes and signs. Raises Unclear."""
    if len(text) > 4 * LONGEST:
        raise Unclear(f"that is {len(text)} characters long; a reading with its unit has no more than {LONGEST}")
    found = []
    for letter in text.translate(_LIKE):
        category = unicodedata.category(letter)
        if category == "Nd":
            found.append(str(unicodedata.decimal(letter)))
        elif category == "No" and "⁄" in (parts := unicodedata.normalize("NFKC", letter)):
            found.append(f" {parts.replace('⁄', '/')}")
        elif category == "Cc" and not letter.isspace():
            raise Unclear(f"{quoted(text)} has characters in it that are no text; type it again")
        elif category in ("Zs", "Zl", "Zp", "Cc"):
            found.append(" ")
        elif 0xFF01 <= ord(letter) <= 0xFF5E:
            found.append(chr(ord(letter) - 0xFEE0))
        elif category != "Cf":  # marks that only steer how it is laid out
            found.append(letter)
    said = " ".join("".join(found).replace("''", '"').split())
    if len(said) > LONGEST:
        raise Unclear(f"that is {len(said)} characters long; a reading with its unit has no more than {LONGEST}")
    return said


def worth(token: str) -> Worth:
    """Return what a number is worth that :data:`NUMBER` found. Raises Unclear where it may be two numbers, or none."""
    sign, bare = (-1.0 if token.startswith("-") else 1.0), token.lstrip("+-")
    if "/" in bare:
        return _fraction(sign, bare)
    mantissa, _, power = bare.lower().partition("e")
    if len(power.lstrip("+-")) > 3:
        raise Unclear(f"{quoted(token)} is beyond all measure")
    whole, decimals = _decimal(mantissa, token)
    value = float(f"{whole or '0'}.{decimals or '0'}e{power or 0}")
    step = float(f"1e{int(power or 0) - len(decimals)}")
    if value == float("inf") or (value == 0 and (whole + decimals).strip("0")):
        raise Unclear(f"{quoted(token)} is beyond all measure")
    return Worth(sign * value, step)


def whole(text: str) -> int:
    """Read a whole number from nought up: `12`, `1 500`, `1,500`. Raises Unclear."""
    said = tidy(text)
    if not re.fullmatch(r"\d{1,12}|[1-9]\d{0,2}(?:([ ,.'])\d{3})(?:\1\d{3}){0,2}", said, re.ASCII):
        raise Unclear(f"{quoted(text)} is no whole number" if said else "a whole number is missing")
    return int(re.sub(r"\D", "", said))


def number(text: str) -> float:
    """Read a bare number. Raises Unclear."""
    said = tidy(text)
    if not re.fullmatch(NUMBER, said, re.ASCII):
        raise Unclear(f"{quoted(text)} is no number" if said else "a number is missing")
    return worth(said).value


def _fraction(sign: float, bare: str) -> Worth:
    whole, over, under = re.fullmatch(r"(?:(\d+)[ -])?(\d+)/(\d+)", bare, re.ASCII).groups()  # type: ignore[union-attr]
    if len(whole or "") > 6 or len(over) > 4 or len(under) > 4 or int(under) == 0:
        raise Unclear(f"{quoted(bare)} is no fraction that can be worked with")
    if whole is not None and (int(over) >= int(under) or int(whole) == 0):
        raise Unclear(f"{quoted(bare)} is not clear: type it as a decimal, or as 'from to' if it is a range")
    return Worth(sign * (int(whole or 0) + int(over) / int(under)), 1 / int(under))


def _decimal(mantissa: str, token: str) -> tuple[str, str]:
    """Return the digits before and after the decimal mark; marks and spaces between thousands are taken out."""
    spaced = " " in mantissa
    if spaced and mantissa.startswith("0"):
        raise Unclear(f"{quoted(token)} is not clear: there is a space in it")
    mantissa = mantissa.replace(" ", "").removesuffix(".")
    marks = re.findall(r"[.,]", mantissa)
    if not marks:
        return mantissa, ""
    head, _, tail = mantissa.rpartition(marks[-1])
    if len(marks) == 1:
        if marks == [","] and not spaced and re.fullmatch(r"[1-9]\d{0,2}", head, re.ASCII) and len(tail) == 3:
            raise Unclear(
                f"{head},{tail} may be {head}{tail} or {head}.{tail}: type it with a point, or without a comma"
            )
        return head, tail
    groups = re.split(r"[.,]", mantissa)
    last = marks[-1]
    all_one = len(set(marks)) == 1
    between = groups[1:] if all_one else groups[1:-1]
    regular = not spaced and re.fullmatch(r"[1-9]\d{0,2}", groups[0], re.ASCII) and all(len(g) == 3 for g in between)
    if not regular or (not all_one and (last in marks[:-1] or len(set(marks[:-1])) > 1)):
        raise Unclear(f"{quoted(token)} is not clear: it has more than one decimal mark")
    return ("".join(groups), "") if all_one else ("".join(groups[:-1]), tail)

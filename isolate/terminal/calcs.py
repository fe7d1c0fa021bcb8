"""``isolate calc WHAT``: options made from what a calculation asks for; result, uncertainty and picture printed."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any

from isolate.calc import calculation
from isolate.calc.given import read, understood
from isolate.calc.shape import CANNOT_TELL, Calculation, Found, Given, Unfit
from isolate.kb.shown import plain
from isolate.terminal.plain import say

CANNOT = "It cannot be told from this"


def run(name: str, rest: Sequence[str]) -> int:
    """Run a calculation from its command line; 0, or 1 where what came out is that nothing can be told."""
    one = calculation(name)
    parser = _parser(one)
    # argparse takes what starts with a dash for an option, negative figures among them.
    told = vars(parser.parse_args([f" {r}" if _negative(r) else r for r in rest]))
    as_json, picture = told.pop("json"), told.pop("picture", None)
    overwrite = told.pop("overwrite", False)
    given = read(one, {name.replace("_", "-"): value for name, value in told.items() if value is not None})
    found = one.work(given)
    if as_json:
        print(json.dumps(as_dict(one, given, found), indent=2, ensure_ascii=False))
    else:
        show(one, given, found)
    if picture:
        _write_picture(one, found, picture, overwrite)
    return 1 if found.warnings and not found.figures and not found.judged else 0


def _negative(word: str) -> bool:
    return len(word) > 1 and word[0] == "-" and (word[1].isdigit() or word[1] in ".,")


def _parser(one: Calculation) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=f"isolate calc {one.name}",
        description=f"{one.title[0].upper()}{one.title[1:]}.",
        epilog=f"From: {one.source} Limits come from your approved data; none is held here.",
    )
    for wanted in one.inputs:
        words = wanted.asks + (f", such as {wanted.hint}" if wanted.hint else "")
        words += {None: " (has to be told)", "": ""}.get(wanted.default, f" (default: {wanted.default})")
        shape: dict[str, Any] = {"help": words.replace("%", "%%"), "metavar": wanted.kind.upper()}
        if wanted.many:
            shape["action"] = "append"
        if wanted.kind == "file":
            parser.add_argument(wanted.name, nargs=None if wanted.default is None else "?", **shape)
        else:
            if wanted.kind == "choice":
                shape["help"] += f": {', '.join(wanted.choices)}"
            parser.add_argument(f"--{wanted.name}", dest=wanted.name, **shape)
    parser.add_argument("--json", action="store_true", help="everything, as JSON")
    if one.figure is not None:
        parser.add_argument("--picture", metavar="FILE", help="draw it there, .svg or .png")
        parser.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    return parser


def show(one: Calculation, given: Given, found: Found, width: int | None = None) -> None:
    """Print what was understood, the picture, the result with its uncertainty, and what it comes to."""
    for asked, told in understood(one, given):
        say(f"{asked}: {plain(told)}", "    ")
    print()
    if one.draw is not None:
        import shutil

        columns = width or shutil.get_terminal_size((78, 24)).columns
        ascii_only = "utf" not in (sys.stdout.encoding or "").lower()
        if drawn := one.draw(found, columns - 1, ascii_only):
            print("\n".join(drawn))
            print()
    for line in found.lines:
        say(line, "  ")
    for what, judged in found.judged.items():
        words = CANNOT if judged.verdict == CANNOT_TELL else one.judges[what][judged.verdict]
        say(f"{words}: {judged.why}" if judged.why else words, "  ")
    for warning in found.warnings:
        say(f"Mind: {warning}", "  ")


def as_dict(one: Calculation, given: Given, found: Found) -> dict[str, Any]:
    """Return a result as a JSON object."""
    return {
        "calculation": one.name,
        "understood": dict(understood(one, given)),
        "figures": [figure.as_dict() for figure in found.figures],
        "judged": {
            what or "reading": {"verdict": j.verdict, "why": j.why, "seconds": list(j.seconds) if j.seconds else None}
            for what, j in found.judged.items()
        },
        "lines": list(found.lines),
        "warnings": list(found.warnings),
        "source": one.source,
    }


def _write_picture(one: Calculation, found: Found, path: str, overwrite: bool) -> None:
    import os

    if not path.endswith((".svg", ".png")):
        raise Unfit(f"{path}: a picture's name ends in .svg or .png")
    if os.path.exists(path) and not overwrite:
        raise Unfit(f"{path}: there is a file already; --overwrite replaces it")
    assert one.figure is not None
    one.figure(found, path)
    say(f"Drawn: {path}")

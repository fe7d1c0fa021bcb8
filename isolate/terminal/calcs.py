"""``isolate calc WHAT``: options made from what a calculation asks for; result, uncertainty and picture printed.

On a terminal, what has to be told and was not is asked for (:func:`ask`, which the session uses as well).
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Literal, NoReturn

from isolate.calc import TITLES, calculation
from isolate.calc import given as telling
from isolate.calc.figures import spelt
from isolate.calc.shape import CANNOT_TELL, Calculation, Found, Given, Input, Unfit
from isolate.kb.shown import plain
from isolate.terminal.kept_columns import keep, with_kept
from isolate.terminal.plain import say

CANNOT = "It cannot be told from this"
USAGE = 2
"""Exit status where the command line itself is wrong, as argparse has it."""
NO_CHART = "needs the extra that brings it: pip install 'ignition-isolate[chart]'"
KEYS = "Enter takes what is offered or leaves it out. ? says more, < goes back, . asks no more, Ctrl-D stops."
Told = dict[str, str | Sequence[str]]
"""Input name → what was typed for it."""
Style = Literal["head", "line", "result", "verdict", "cannot", "warning"]


def run(name: str, rest: Sequence[str]) -> int:
    """Run a calculation from its command line; 0, or 1 where nothing can be told of it. Raises Unfit."""
    one = calculation(name)
    options = vars(_parser(one).parsed(_words(one, rest)))
    as_json, picture, overwrite = options.pop("json"), options.pop("picture", None), options.pop("overwrite", False)
    typed: Told = {name: told for name, told in options.items() if told not in (None, [])}
    if picture is not None:
        picture = _able(picture, overwrite, _files(one, typed))
    if not as_json and _asks(one, typed):
        if not typed:
            say(f"{one.title[0].upper()}{one.title[1:]}.")
            say(KEYS)
        for heed in one.before:
            _put("warning", f"Mind first: {heed}", "  ")
        if not typed or one.before:
            print()
        worked = work_out(one, typed, _from_terminal, lambda said: say(_for_screen(said), "  "))
        if worked is None:
            say("Stopped; nothing was worked out.")
            return 1
        typed, given, found = worked
        print()
    else:
        typed = with_kept(one, typed)
        given = telling.read(one, typed)
        found = one.work(given)
    kept = keep(one, typed, found)
    if as_json:
        print(json.dumps(as_dict(one, typed, given, found), indent=2, ensure_ascii=not _unicode(), allow_nan=False))
    else:
        show(one, given, found, typed)
        if kept:
            say(_for_screen(kept), "  ")
    if picture is not None:
        assert one.figure is not None
        try:
            one.figure(found, picture)
        except ImportError:
            # It is there, as was looked for at first, and cannot be loaded.
            raise Unfit(f"the picture was not drawn; it {NO_CHART}") from None
        print(f"Drawn: {plain(picture)}", file=sys.stderr if as_json else sys.stdout)
    told = found.figures or any(judged.verdict != CANNOT_TELL for judged in found.judged.values())
    return 1 if not told and (found.warnings or found.judged) else 0


# -- the command line -------------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in a sentence, and not its whole usage before it."""

    calculation: Calculation

    def error(self, message: str) -> NoReturn:
        said = f"{self.prog}: {plain(message)}"
        if sys.stderr is not None and sys.stderr.isatty():
            said = _broken(said, "  ")
        print(f"{said}\nWhat it takes: {self.prog} --help", file=sys.stderr)
        raise SystemExit(USAGE)

    def parsed(self, words: Sequence[str]) -> argparse.Namespace:
        """Return what was told; what is no option of it is named, with the one that is nearest."""
        told, odd = self.parse_known_args(words)
        if odd and odd[0].startswith("--"):
            name = odd[0][2:].partition("=")[0]
            one = self.calculation
            if (file := _positional(one)) is not None and name == file.name:
                self.error(f"{name} is told without an option: {self.prog} FILE")
            if name in ("picture", "overwrite"):
                # Every option that there is has been found; so this calculation draws none.
                drawn = "; what it draws in text comes with the result" if one.draw is not None else ""
                self.error(f"it draws no picture into a file{drawn}")
            near = get_close_matches(name, [*one.names, "json", *["picture"] * (one.figure is not None)], 1)
            self.error(f"there is no --{name}" + (f"; did you mean --{near[0]}?" if near else ""))
        if odd:
            self.error(f"what is {odd[0].strip()!r}? A figure goes after its option, with quotes about it")
        return told


def _positional(one: Calculation) -> Input | None:
    """Return the file that is told without an option: the first, where it has to be told or is the only one."""
    files = [wanted for wanted in one.inputs if wanted.kind == "file"]
    return files[0] if files and (files[0].default is None or len(files) == 1) else None


def _words(one: Calculation, rest: Sequence[str]) -> list[str]:
    """Return a command line with the words of one figure in one piece: ``--torque 12 ft-lb``, ``--oil -5 C``.

    argparse takes what starts with a dash for an option, negative figures among them.
    """
    alone = {"--json", "--overwrite", "--help", "-h"}
    files = {f"--{i.name}" for i in one.inputs if i.kind == "file"} | {"--picture"}
    found: list[str] = []
    first, open_ = _positional(one) is None, False
    for word in rest:
        if _negative(word):
            word = f" {word}"
        elif word.startswith("--") and word.endswith("=--"):
            # argparse loses a value that is two dashes.
            word = f"{word[:-2]} --"
        if open_ and not word.startswith("-"):
            before = found.pop()
            found.append(f"{before} {word}" if "=" in before else f"{before}={word.strip()}")
            continue
        if word.startswith("--") and word.partition("=")[0] not in alone | files:
            # The file may still follow, so its name is not taken for more of the figure.
            open_ = first
        else:
            open_ = False
            valued = bool(found) and found[-1].startswith("--") and "=" not in found[-1] and found[-1] not in alone
            first = first or not (word.startswith("-") or valued)
        found.append(word)
    return found


def _negative(word: str) -> bool:
    return len(word) > 1 and word[0] == "-" and (word[1].isdigit() or word[1] in ".,")


def _parser(one: Calculation) -> _Parser:
    parser = _Parser(
        prog=f"isolate calc {one.name}",
        description="\n\n".join(
            [f"{one.title[0].upper()}{one.title[1:]}.", *(f"Mind first: {heed}" for heed in one.before)]
        ),
        epilog=f"Such as: {example(one)}\n\nFrom: {one.source} Limits come from your approved data; none is held here.",
        formatter_class=_Help,
        allow_abbrev=False,
        add_help=False,
    )
    parser.calculation = one
    groups = {
        "has to be told": [i for i in one.inputs if i.default is None and not i.limit],
        "limits, from your approved data": [i for i in one.inputs if i.limit],
        "may be told": [i for i in one.inputs if i.default is not None and not i.limit],
    }
    for title, inputs in groups.items():
        group = parser.add_argument_group(title)
        for wanted in inputs:
            _option(group, wanted, wanted is _positional(one))
    out = parser.add_argument_group("how it comes out")
    out.add_argument("-h", "--help", action="help", help="this")
    out.add_argument("--json", action="store_true", help="everything, as JSON")
    if one.figure is not None:
        out.add_argument("--picture", metavar="FILE", action="append", help="draw it there, .svg or .png")
        out.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    return parser


class _Help(argparse.HelpFormatter):
    """Help whose last paragraphs stay apart, and whose options leave room for their words."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "\n\n".join(super(_Help, self)._fill_text(part, width, indent) for part in text.split("\n\n"))

    def _split_lines(self, text: str, width: int) -> list[str]:
        import textwrap

        return textwrap.wrap(text, width, break_on_hyphens=False)

    def add_usage(self, usage: Any, actions: Any, groups: Any, prefix: Any = None) -> None:
        """No usage in brackets: the groups below say what has to be told."""


def _option(group: Any, wanted: Input, positional: bool) -> None:
    words = _bare(wanted) + (f": {', '.join(wanted.choices)}" if wanted.choices else "")
    words += f", such as {wanted.example}" if wanted.example else ""
    words += "; of a meter >… and OL too" if wanted.beyond else ""
    words += "; several with ; between them, or told again" if wanted.many else ""
    words += f" (default: {wanted.default})" if wanted.default else ""
    if wanted.limit and wanted.default is None:
        words += " (has to be told)"
    shape: dict[str, Any] = {"help": words.replace("%", "%%"), "metavar": wanted.kind.upper()}
    if positional:
        group.add_argument(wanted.name, nargs="*" if wanted.many else "?", **shape)
    else:
        # Told twice, it is collected, so that one figure does not silently take another's place.
        group.add_argument(f"--{wanted.name}", dest=wanted.name, action="append", **shape)


def example(one: Calculation) -> str:
    """Return a command line made of the examples that stand with what has to be told, or with the first that may be."""
    told = [i for i in one.inputs if i.default is None or i.name in one.shows]
    told = told or [i for i in one.inputs if i.hint][:2]
    words = [f"isolate calc {one.name}"]
    for wanted in told:
        hint = wanted.hint or (wanted.choices[0] if wanted.choices else wanted.kind.upper())
        if " " in hint or '"' in hint or ";" in hint or "'" in hint:
            hint = f"'{hint}'" if '"' in hint else f'"{hint}"'
        words.append(hint if wanted is _positional(one) else f"--{wanted.name} {hint}")
    return " ".join(words)


def listing() -> None:
    """Print what can be worked out: a name and a line each."""
    import shutil
    import textwrap

    titles = {"starts": "what a log of past starts says: channel, lane, since when", **TITLES}
    broad = max(map(len, titles)) + 4
    width = max(shutil.get_terminal_size((78, 24)).columns - 1, broad + 16)
    say("Readings go in, a result with its uncertainty comes out. Limits are asked for, from your approved data.")
    print()
    for name, title in titles.items():
        print("\n".join(textwrap.wrap(f"  {name:{broad - 2}}{title}", width, subsequent_indent=" " * broad)))
    print()
    say("isolate calc WHAT --help says what one takes; isolate calc WHAT alone, on a terminal, asks for it.", "  ")


def unknown(name: str) -> int:
    """Say that there is no such calculation; return the exit status."""
    near = get_close_matches(name, ["starts", *TITLES], 1)
    meant = f"; did you mean {near[0]}?" if near else ""
    print(f"isolate calc: there is no {plain(name)!r}{meant}\nWhat there is: isolate calc", file=sys.stderr)
    return USAGE


# -- asking ----------------------------------------------------------------------------------------


def _bare(one: Input) -> str:
    """Return what an input asks, without what it says of Enter and without a mark at its end."""
    return re.sub(r"\s*\(Enter\b[^)]*\)", "", one.asks).rstrip(".?: ")


def question(one: Input) -> str:
    """Return what to ask for an input, with what may be typed: ``Gap to be crossed (such as 1.5 mm)``."""
    enter = found[1] if (found := re.search(r"\((Enter\b[^)]*)\)", one.asks)) else ""
    asks = _bare(one) + (", from your approved data" if one.limit and "approved data" not in one.asks else "")
    notes = []
    if one.choices:
        notes.append(" or ".join((", ".join(one.choices[:-1]), one.choices[-1])) if len(one.choices) > 1 else "")
    elif one.kind == "yes":
        notes.append("yes or no")
    elif one.example:
        notes.append(f"such as {one.example}")
    if one.many:
        notes.append("several with ; between")
    if one.default is not None:
        notes.append(enter or f"Enter: {one.default or 'left out'}")
    return f"{asks} ({'; '.join(n for n in notes if n)})" if notes else asks


def ask(
    one: Calculation,
    preset: Mapping[str, str | Sequence[str]],
    line: Callable[[str], str | None],
    tell: Callable[[str], None] = say,
    only: Sequence[str] | None = None,
    keys: str = KEYS,
) -> Told | None:
    """Ask for what is not told yet, in order; return what was typed by input name, or None where it was stopped.

    ``line`` is given a question and returns what was typed, None for no more. ``tell`` shows a sentence. Each answer
    is read at once, and asked again where it cannot be. Enter takes the default or leaves an input out, ``<`` goes
    back to the question before, ``.`` asks no more where nothing has to be told, ``?`` says more. ``only``: the names
    of the inputs to ask for. ``keys``: what ``?`` says of the keys there are.
    """
    typed: Told = dict(preset)
    wanted = [i for i in one.inputs if (i.name not in preset if only is None else i.name in only)]
    at, before = 0, list[int]()
    while at < len(wanted):
        this = wanted[at]
        if this.after and telling.blank(typed.get(this.after, "")):
            typed.pop(this.name, None)
            at += 1
            continue
        told = line(question(this))
        if told is None:
            return None
        told = told.strip()
        if told == "<":
            if before:
                at = before.pop()
            else:
                tell("This is the first question.")
            continue
        if told == "?":
            _explain(one, this, tell, keys)
            continue
        if told == ".":
            left = [i for i in wanted[at:] if i.default is None and i.name not in typed]
            if not left:
                break
            tell(f"{left[0].name} has still to be told.")
            continue
        if told:
            try:
                telling.value(this, told)
            except Unfit as error:
                tell(_sentence(error))
                continue
            typed[this.name] = told
        elif this.default is None:
            tell("This has to be told.")
            continue
        else:
            typed.pop(this.name, None)
        before.append(at)
        at += 1
    return typed


def work_out(
    one: Calculation,
    preset: Mapping[str, str | Sequence[str]],
    line: Callable[[str], str | None],
    tell: Callable[[str], None] = say,
) -> tuple[Told, Given, Found] | None:
    """Ask, read and work it out; what turns out not to fit is asked again. None where it was stopped.

    Where something was told already, only what still has to be is asked for. Raises Unfit where what does not fit is
    no single input.
    """
    missing = [i.name for i in one.inputs if i.default is None and telling.blank(preset.get(i.name, ""))]
    typed = ask(one, preset, line, tell, missing if preset else None)
    while typed is not None:
        try:
            typed = with_kept(one, typed)
            given = telling.read(one, typed)
            return typed, given, one.work(given)
        except Unfit as error:
            if error.of not in one.names:
                raise
            tell(_sentence(error))
            typed = ask(one, {k: v for k, v in typed.items() if k != error.of}, line, tell, [error.of])
    return None


def _explain(one: Calculation, this: Input, tell: Callable[[str], None], keys: str) -> None:
    """Say what is meant by a question, what it takes, what comes of leaving it out; the keys last, nearest to it."""
    from isolate.calc.units import KINDS

    if this.more:
        tell(this.more)
    takes = []
    if this.kind in KINDS:
        takes.append(f"It takes {', '.join(unit.name for unit in KINDS[this.kind].units)}.")
        if not this.limit:
            takes.append("A ± after the figure says what it may be off by: the meter's own, from its book.")
    takes += [_TAKES[this.kind]] if this.kind in _TAKES else []
    takes += ["What the meter shows beyond its range is taken as well: OL, >500."] if this.beyond else []
    takes += ["Several are told with ; between them."] if this.many else []
    if this.limit:
        takes.append("It is the figure of your approved data; none is held here.")
    if this.default is None:
        takes.append("It has to be told.")
    else:
        takes.append(f"Left out, {this.default} is taken." if this.default else "It may be left out.")
    tell(" ".join(takes))
    tell(f"Worked out by: {one.source}")
    tell(keys)


_TAKES = {
    "count": "It takes a whole number.",
    "number": "It takes a number.",
    "yes": "It takes yes or no.",
    "file": "It takes the name of a file, with its folder where it lies in another.",
}


def _sentence(error: Unfit) -> str:
    return sentence(str(error), error.of)


def sentence(said: str, of: str) -> str:
    """Return an error as a sentence of its own; the name of the input before it is known from the question."""
    said = (said.removeprefix(f"{of}: ") if of else said).rstrip(".")
    return f"{said[:1].upper()}{said[1:]}{'' if said.endswith('?') else '.'}" if said else said


def _asks(one: Calculation, typed: Mapping[str, Any]) -> bool:
    """Return whether there is somebody to ask for what was left out."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    return not typed or any(i.default is None and i.name not in typed for i in one.inputs)


def _from_terminal(asked: str) -> str | None:
    say(_for_screen(asked), "  ")
    try:
        return input("  > ")
    except EOFError:
        print()
        return None


# -- what came out ---------------------------------------------------------------------------------


def outcome(one: Calculation, found: Found) -> Iterator[tuple[Style, str]]:
    """Yield what came out, in sentences: the result, what it rests on, the verdicts, what to heed."""
    for number, line in enumerate(found.lines):
        yield ("line" if number else "result"), line
    for what, judged in found.judged.items():
        cannot = judged.verdict == CANNOT_TELL
        words = CANNOT if cannot else one.judges[what][judged.verdict]
        yield ("cannot" if cannot else "verdict"), f"{words}: {judged.why}" if judged.why else words
    for warning in found.warnings:
        yield "warning", f"Mind: {warning}"


def show(one: Calculation, given: Given, found: Found, typed: Mapping[str, Any] | None = None) -> None:
    """Print what was understood, the picture, and last, where the eye is, the result and what it comes to.

    Where that alone is taller than the screen, result and verdicts are said once more at the foot, in short.
    """
    told = [i for i in one.inputs if i.name in given and (typed is None or i.name in typed)]
    taken = [i for i in one.inputs if i.name in given and i not in told]
    for head, inputs in (("Understood", told), ("Taken, since nothing else was told", taken)):
        if inputs:
            _put("head", head)
            for wanted in inputs:
                # What an input's question explains after a colon was of use before it was answered.
                asked = _bare(wanted).partition(": ")[0]
                _put("line", f"  {asked}: {plain(telling.said(given[wanted.name]))}", "    ")
    if told or taken:
        print()
    if one.draw is not None:
        import shutil

        columns = shutil.get_terminal_size((78, 24)).columns
        if drawn := one.draw(found, columns - 1, not _unicode()):
            print("\n".join(_for_screen(line) for line in drawn))
            print()
    out = list(outcome(one, found))
    for style, line in out:
        _put(style, line, "  ")
    if _passes_the_screen(out):
        print()
        _put("head", "In short")
        for style, line in in_short(one, found):
            _put(style, line, "  ")


def in_short(one: Calculation, found: Found) -> Iterator[tuple[Style, str]]:
    """Yield the result and the verdicts, without why; of those that cannot be told how many they are."""
    yield from (("result", line) for line in found.lines[:1])
    sure = [one.judges[what][j.verdict] for what, j in found.judged.items() if j.verdict != CANNOT_TELL]
    yield from (("verdict", f"{words}.") for words in sure)
    if cannot := len(found.judged) - len(sure):
        if len(found.judged) == 1:
            yield "cannot", f"{CANNOT}; why stands above."
        else:
            yield "cannot", f"Cannot be told: {cannot} of {len(found.judged)} verdicts; why stands above."


def _passes_the_screen(out: Sequence[tuple[Style, str]]) -> bool:
    """Return whether the beginning of what is printed runs off the top of the screen."""
    if not sys.stdout.isatty():
        return False
    import shutil

    # The prompt that comes after it takes a line as well.
    lines = sum(_broken(_for_screen(line), "  ").count("\n") + 1 for _, line in out)
    return lines >= shutil.get_terminal_size().lines


def _broken(said: str, indent: str) -> str:
    """Return text broken between words for the terminal."""
    import shutil
    import textwrap

    width = max(20, shutil.get_terminal_size().columns - 1)
    return textwrap.fill(plain(said, lines=True), width, subsequent_indent=indent, break_on_hyphens=False)


_RICH = {"head": "dim", "line": "", "result": "bold", "verdict": "bold", "cannot": "bold yellow", "warning": "yellow"}


def _put(style: Style, said: str, indent: str = "") -> None:
    """Print text; on a terminal, broken between words and set off by its style."""
    said = _for_screen(said)
    if not (sys.stdout.isatty() and _RICH[style]):
        say(said, indent)
        return
    from rich.console import Console

    # Broken as elsewhere, so that styles change no line.
    text = _broken(said, indent)
    Console(highlight=False, markup=False, emoji=False, soft_wrap=True).print(text, style=_RICH[style])


def _unicode() -> bool:
    return (sys.stdout.encoding or "utf-8").casefold().startswith("utf")


def _for_screen(said: str) -> str:
    """Return text as the output takes it; what it has no sign for is spelt out, or a question mark."""
    if _unicode():
        return said
    found = []
    for letter in said:
        try:
            letter.encode(sys.stdout.encoding)
        except UnicodeEncodeError:
            letter = spelt(letter)
        found.append(letter)
    return "".join(found)


def as_dict(one: Calculation, typed: Mapping[str, Any], given: Given, found: Found) -> dict[str, Any]:
    """Return a result as a JSON object.

    ``given``: by input what was asked, whether it was told or is a default, and what was understood; quantities in the
    base unit of their kind, an end without a limit as null. ``judged``: by what is judged ("reading" for the one thing
    that most calculations judge) the verdict, its words and why.
    """
    return {
        "calculation": one.name,
        "title": one.title,
        "given": {
            i.name: {
                "asks": i.asks,
                "told": i.name in typed,
                "understood": telling.said(given[i.name]),
                "is": telling.as_dict(given[i.name]),
            }
            for i in one.inputs
            if i.name in given
        },
        "figures": [figure.as_dict() for figure in found.figures],
        "judged": {
            what or "reading": {
                "verdict": j.verdict,
                "words": CANNOT if j.verdict == CANNOT_TELL else one.judges[what][j.verdict],
                "why": j.why,
                "seconds": list(j.seconds) if j.seconds else None,
            }
            for what, j in found.judged.items()
        },
        "lines": list(found.lines),
        "warnings": list(found.warnings),
        "source": one.source,
    }


def _files(one: Calculation, typed: Mapping[str, str | Sequence[str]]) -> list[str]:
    """Return the files that a calculation reads, as typed."""
    told = (typed.get(i.name, ()) for i in one.inputs if i.kind == "file")
    parts = (part for item in told for part in ([item] if isinstance(item, str) else item))
    return [found.strip() for part in parts for found in (part, *part.split(";"))]


def _able(paths: Sequence[str], overwrite: bool, read: Sequence[str]) -> str:
    """Return where the picture goes; Unfit or StoreError where none can be written there, before the work.

    ``read``: the files that it is drawn from, which no picture replaces.
    """
    from importlib.util import find_spec
    from pathlib import Path

    from isolate.case.store import spared

    if len(paths) > 1:
        raise Unfit(f"--picture is told once, not {len(paths)} times")
    (path,) = paths
    place = Path(path)
    if place.suffix.lower() not in (".svg", ".png"):
        raise Unfit(f"{plain(path) or 'nothing'}: a picture's name ends in .svg or .png")
    if plain(path) != path:
        raise Unfit(f"{plain(path)}: a picture's name is text, without signs that move a screen")
    if not place.parent.is_dir():
        raise Unfit(f"{plain(path)}: there is no folder {plain(place.parent)}")
    if place.exists():
        if not place.is_file():
            raise Unfit(f"{plain(path)} is no plain file; a picture goes into one of its own")
        if not overwrite:
            raise Unfit(f"{plain(path)} is there already; --overwrite replaces it")
        if any(Path(one).exists() and place.samefile(one) for one in read if "\0" not in one):
            raise Unfit(f"{plain(path)} is what is read; a picture does not replace it")
    spared(place)
    if find_spec("matplotlib") is None:
        raise Unfit(f"--picture {NO_CHART}")
    return path

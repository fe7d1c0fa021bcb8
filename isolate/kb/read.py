"""Read YAML with places: plain data or a pydantic model, and each mistake in plain words with file and line.

The YAML is only composed to nodes and never constructed, so no tag in a file can make code run.
"""

from __future__ import annotations

import errno
import math
import re
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, NamedTuple, TypeVar, Union, get_args, get_origin

import yaml
from pydantic import BaseModel, ValidationError

from isolate.kb.names import near

__all__ = ["KnowledgeError", "Problem", "Spot", "read_model"]

LARGEST = 2_000_000
"""Bytes; a larger file is refused."""

DEEPEST = 40
"""Levels of nesting; no entry needs half as many."""

ALL_NUMBERS_EXACT = 2**53
"""Whole numbers beyond this have no exact form in canonical JSON."""

Way = tuple[str | int, ...]
"""Where something stands inside an entry or a file: field names, keys and list indices."""

_M = TypeVar("_M", bound=BaseModel)


# -- places and mistakes ------------------------------------------------------------------------


class Spot(NamedTuple):
    """A place in what was read. Line 0 means the file or folder as a whole."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}" if self.line else self.file


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake: a file, a line and what is wrong.

    A file of knowledge is named relative to the parent of its folder, any other as the caller named it.
    """

    file: str
    line: int
    message: str

    def __str__(self) -> str:
        return f"{Spot(self.file, self.line)}: {self.message}"


class KnowledgeError(Exception):
    """Knowledge, or another file that people write, that cannot be used: every mistake, sorted by file and line."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(set(problems)))
        super().__init__(self.problems)

    def __str__(self) -> str:
        files, count = {problem.file for problem in self.problems}, len(self.problems)
        what = files.pop() if len(files) == 1 else "the knowledge"
        head = f"{what} has {count} mistake{'s' if count != 1 else ''}:"
        return "\n".join([head, *(f"  {problem}" for problem in self.problems)])


class Report:
    """Collects problems; one line can have several, but the same one only once."""

    def __init__(self) -> None:
        self.problems: set[Problem] = set()

    def __call__(self, spot: Spot, message: str) -> None:
        self.problems.add(Problem(spot.file, spot.line, message))

    def lines(self) -> set[Spot]:
        """The places that something has been said of."""
        return {Spot(problem.file, problem.line) for problem in self.problems}


class Extent(NamedTuple):
    """Where something is written: line (from 1) and column (from 0), and its first and last letter by their number.

    ``block``: a list or a map that is written line by line, not in brackets.
    """

    file: str
    line: int
    column: int
    start: int
    end: int
    block: bool


class Written(NamedTuple):
    """An entry as it stands in its file: the line of its name, and its YAML node."""

    file: str
    line: int
    node: yaml.Node

    def follow(self, path: Iterable[str | int]) -> tuple[int, list[tuple[int, str | int]]]:
        """The line that ``path`` leads to, and which steps of it were found (with their position in it)."""
        line, node, found = self.line, self.node, []
        for position, step in enumerate(path):
            if isinstance(node, yaml.MappingNode):
                for key, value in node.value:
                    if isinstance(key, yaml.ScalarNode) and key.value == step:
                        line, node = key.start_mark.line + 1, value
                        found.append((position, step))
                        break
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
                node = node.value[step]
                line = node.start_mark.line + 1
                found.append((position, step))
        return line, found

    def spot(self, path: Iterable[str | int] = ()) -> Spot:
        """The place of what lies along ``path``, as far as the file goes."""
        return Spot(self.file, self.follow(path)[0])

    def raw(self, path: Iterable[str | int]) -> str | None:
        """The characters of the plain or quoted scalar at ``path``, if there is one."""
        node = self._at(path)
        return node.value if isinstance(node, yaml.ScalarNode) else None

    def extent(self, path: Iterable[str | int]) -> Extent | None:
        """From where to where what lies at ``path`` is written, if it is; an alias stands where its anchor does."""
        node = self._at(path)
        if node is None:
            return None
        start, end = node.start_mark, node.end_mark
        block = isinstance(node, yaml.CollectionNode) and not node.flow_style
        return Extent(self.file, start.line + 1, start.column, start.index, end.index, block)

    def _at(self, path: Iterable[str | int]) -> yaml.Node | None:
        node: Any = self.node
        for step in path:
            if isinstance(node, yaml.MappingNode):
                node = next((v for k, v in node.value if k.value == step), None)
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int):
                node = node.value[step]
        return node if isinstance(node, yaml.Node) else None


# -- one model from one file ---------------------------------------------------------------------


def read_model(path: Path, shape: type[_M]) -> tuple[_M, Callable[[Way], Spot]]:
    """Read a YAML file that is one mapping into a model; all its mistakes are told at once.

    Values are taken as strictly as in knowledge: no text for a number, no number for true or false. A number where
    text is wanted is taken, with the characters as they stand, by models with ``coerce_numbers_to_str``.

    Returns:
        The model, and a function from a way inside the file, such as ``("starts", 0, "lit")``, to its place.

    Raises:
        KnowledgeError: the file cannot be read, or does not have this shape.
    """
    label, report = str(path), Report()
    found = None
    try:
        mode = path.stat().st_mode
    except OSError as error:
        report(Spot(label, 0), plain_os_error(error, "file"))
    else:
        if stat.S_ISREG(mode):
            known = ", ".join(shape.model_fields)
            found = document(path, label, report, wants=f"needs fields, each with its value; known are {known}")
        else:
            report(Spot(label, 0), "is a folder, not a file" if stat.S_ISDIR(mode) else "is not an ordinary file")
    if found is not None:
        node, data = found
        written = Written(label, node.start_mark.line + 1, node)
        spoken_for = report.lines()
        try:
            model = _validated(shape, data, written)
        except ValidationError as error:
            for spot, message in plain_errors(error, shape, "", written):
                if spot not in spoken_for:
                    report(spot, message)
        else:
            if not report.problems:
                return model, written.spot
    raise KnowledgeError(report.problems)


def _validated(shape: type[_M], data: Any, written: Written) -> _M:
    try:
        return shape.model_validate(data, strict=True)
    except ValidationError as error:
        # In strict mode pydantic coerces nothing; in lax mode it would also take 1 and "no" for true and false.
        if not _numbers_to_text(error, shape, data, written):
            raise
    return shape.model_validate(data, strict=True)


def _numbers_to_text(error: ValidationError, shape: type[BaseModel], data: Any, written: Written) -> bool:
    """Put the written characters for numbers in ``data`` where a model wants text and takes numbers for it."""
    changed = False
    for item in error.errors(include_url=False):
        number = isinstance(item["input"], int | float) and not isinstance(item["input"], bool)
        if item["type"] != "string_type" or not number:
            continue
        path = tuple(step for _, step in written.follow(item["loc"])[1])
        owners = (_model_at(shape, path[:length]) for length in reversed(range(len(path))))
        owner = next((owner for owner in owners if owner is not None), shape)
        if owner.model_config.get("coerce_numbers_to_str"):
            holder = data
            for step in path[:-1]:
                holder = holder[step]
            holder[path[-1]] = written.raw(path)
            changed = True
    return changed


# -- from a file to nodes ------------------------------------------------------------------------


def document(
    path: Path, label: str, report: Report, wants: str, too_large: str = ""
) -> tuple[yaml.MappingNode, dict[str, Any]] | None:
    """The one mapping of a YAML file, as nodes and as plain data; None, and reported, when there is none to go on with.

    ``wants`` is said of a file that is no mapping, ``too_large`` is what to do about one that is too large.
    """
    text = _text(path, label, report, too_large)
    node = None if text is None else _compose(text, label, report)
    if text is None or node is None:
        return None
    if not isinstance(node, yaml.MappingNode):
        report(Spot(label, node.start_mark.line + 1), wants)
        return None
    try:
        data = _Converter(label, report, budget=len(text) + 10_000).value(node)
    except _TooMuchError as error:
        report(Spot(label, error.line), error.message)
        return None
    # A mapping with a tag of its own is refused, and told of, by the converter.
    return (node, data) if isinstance(data, dict) else None


def plain_os_error(error: OSError, what: str) -> str:
    """What went wrong with a file or folder (``what``), in plain words."""
    if isinstance(error, FileNotFoundError):
        return f"there is no such {what}"
    if isinstance(error, NotADirectoryError):
        return "is not a folder"
    if isinstance(error, PermissionError):
        return "may not be read: no permission"
    if error.errno == errno.ELOOP:
        return "is a link that leads back to itself"
    return f"cannot be read: {str(error.strerror or error).lower()}"


def _text(path: Path, label: str, report: Report, too_large: str) -> str | None:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        report(Spot(label, 0), plain_os_error(error, "file"))
        return None
    if len(data) > LARGEST:
        report(Spot(label, 0), f"is larger than {LARGEST // 1_000_000} MB{too_large}")
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        report(Spot(label, line), "is not UTF-8 text here: save the file as UTF-8")
        return None


_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def _compose(text: str, label: str, report: Report) -> yaml.Node | None:
    try:
        loader = _LOADER(text)
        try:
            node: yaml.Node | None = loader.get_single_node()
        finally:
            loader.dispose()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        lines = text.splitlines() or [""]
        # At the end of a file the mark can lie one line beyond it.
        number = min(mark.line + 1, len(lines)) if mark else 1
        report(Spot(label, number), _plain_yaml(error, lines[number - 1]))
        return None
    except (yaml.YAMLError, UnicodeError):
        bad = re.search("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", text)
        line = text.count("\n", 0, bad.start()) + 1 if bad else 1
        report(Spot(label, line), "holds a control character that YAML does not allow")
        return None
    except RecursionError:
        report(Spot(label, 1), "is nested too deep to be read")
        return None
    if node is None or (isinstance(node, yaml.ScalarNode) and node.value == ""):
        report(Spot(label, 1), "is empty")
        return None
    return node


def _plain_yaml(error: yaml.MarkedYAMLError, line: str) -> str:
    problem = (error.problem or "").strip()
    if "\t" in line[: len(line) - len(line.lstrip())]:
        return "is indented with a tab: YAML takes spaces only"
    if "another document" in problem:
        return "a second document begins here: one file holds one"
    if "alias" in problem:
        return "an alias (*name) has no anchor (&name) before it"
    if "nesting depth" in problem:
        return "is nested too deep to be read"
    if "mapping values" in problem:
        return "not readable: a `:` where none can stand (quote the text, or check the indent)"
    if "expected" in problem and "flow" in (error.context or ""):
        return f"not readable: {problem} (in {{}} and [], quote text that holds a brace, a bracket, a comma or a colon)"
    context = f" {error.context.strip()}" if error.context else ""
    return f"not readable as YAML: {problem}{context}"


class _TooMuchError(Exception):
    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line, self.message = line, message


_WHOLE = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?")
_EXPONENT = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)[eE][-+]?[0-9]+")
_READ_AS = {"bool": "true or false", "int": "a number", "float": "a number", "null": "nothing", "merge": "a merge"}


class _Converter:
    """Nodes to plain data. Only text, numbers, true/false, nothing, lists and maps come out."""

    def __init__(self, label: str, report: Report, budget: int) -> None:
        self.label, self.report, self.left = label, report, budget

    def complain(self, node: yaml.Node, message: str) -> None:
        self.report(Spot(self.label, node.start_mark.line + 1), message)

    def value(self, node: yaml.Node, depth: int = 0) -> Any:
        # Without aliases there are never more nodes than characters, so only an alias can use the budget up.
        self.left -= 1
        line = node.start_mark.line + 1
        if self.left < 0:
            raise _TooMuchError(line, "aliases (*name) blow this file up: write it out")
        if depth > DEEPEST:
            raise _TooMuchError(line, f"is nested more than {DEEPEST} deep, or an alias stands inside its own anchor")
        if isinstance(node, yaml.ScalarNode):
            return self.scalar(node)
        kind = _tag(node)
        if isinstance(node, yaml.SequenceNode) and kind == "seq":
            return [self.value(item, depth + 1) for item in node.value]
        if isinstance(node, yaml.MappingNode) and kind == "map":
            return self.mapping(node, depth)
        self.refuse(node)
        return None

    def mapping(self, node: yaml.MappingNode, depth: int) -> dict[str, Any]:
        data: dict[str, Any] = {}
        lines: dict[str, int] = {}
        for key, item in node.value:
            if not isinstance(key, yaml.ScalarNode):
                self.complain(key, "a list or a map cannot be a key")
                continue
            tag, name = _tag(key), key.value
            if tag == "merge":
                self.complain(key, "`<<` is not used here: write the fields out")
                continue
            if tag in _READ_AS:
                self.complain(key, f"YAML reads the key `{name}` as {_READ_AS[tag]}: put it in quotes")
            elif tag not in ("str", "timestamp", "value"):
                self.refuse(key)
            if name in data:
                self.complain(key, f"`{name}` is written twice: also on line {lines[name]}")
            else:
                lines[name] = key.start_mark.line + 1
                data[name] = self.value(item, depth + 1)
        return data

    def refuse(self, node: yaml.Node) -> None:
        tag = str(node.tag).replace("tag:yaml.org,2002:", "!!")
        self.complain(node, f"the tag {tag} is refused: only text, numbers, lists and maps are taken")

    def scalar(self, node: yaml.ScalarNode) -> str | int | float | bool | None:
        tag, text = _tag(node), node.value
        if tag in ("str", "timestamp", "value", "merge"):
            # YAML 1.1 takes 1e-4 for text; authors and their editors take it for a number.
            if not node.style and _EXPONENT.fullmatch(text):
                return self.number(node, text)
            return str(text)
        if tag == "bool" and text.lower() in ("yes", "true", "on", "no", "false", "off"):
            return text.lower() in ("yes", "true", "on")
        if tag == "null":
            return None
        if tag in ("int", "float"):
            return self.number(node, text)
        self.refuse(node)
        return None

    def number(self, node: yaml.ScalarNode, text: str) -> int | float | None:
        if _WHOLE.fullmatch(text) and _tag(node) == "int":
            if len(text) < 18 and abs(int(text)) <= ALL_NUMBERS_EXACT:
                return int(text)
            self.complain(node, f"{text[:20]} is too large a number")
        elif _DECIMAL.fullmatch(text) and not re.match(r"[-+]?0[0-9]", text):
            number = float(text)
            if math.isfinite(number):
                return number
            self.complain(node, f"{text[:20]} is too large a number")
        else:
            self.complain(node, f"{text[:20]}: write a plain decimal number, or put it in quotes if it is text")
        return None


def _tag(node: yaml.Node) -> str:
    """The short name of a standard tag; any other tag as it stands."""
    return str(node.tag).removeprefix("tag:yaml.org,2002:")


# -- what pydantic says, in plain words ----------------------------------------------------------

NO_NAME = "is no name: use lower-case letters and digits, joined by single hyphens"


def plain_errors(
    error: ValidationError, model: type[BaseModel], name: str, written: Written
) -> Iterator[tuple[Spot, str]]:
    """Each mistake with its place; ``name`` is the entry's, or empty where a file is all one model."""
    unions: dict[Way, list[tuple[Way, Any]]] = {}
    for item in error.errors(include_url=False):
        loc: Way = item["loc"]
        steps = loc[:-1] if item["type"] == "missing" or loc[-1:] == ("[key]",) else loc
        found = written.follow(steps)[1]
        path = tuple(step for _, step in found)
        foreign = next((i for i in range(len(steps)) if i not in {position for position, _ in found}), None)
        if foreign is None:
            yield written.spot(path), labelled(name, path) + _plain(item, model, path, written)
        else:
            # A step that the file does not have is the name of one alternative of a union.
            unions.setdefault(steps[:foreign], []).append((path, item))
    for start, items in unions.items():
        inside = [(path, item) for path, item in items if len(path) > len(start) or item["loc"][-1:] == ("[key]",)]
        limits = [(path, item) for path, item in items if not item["type"].endswith(("_type", "_parsing"))]
        if inside or limits:
            for path, item in inside or limits:
                yield written.spot(path), labelled(name, path) + _plain(item, model, path, written)
        else:
            yield (
                written.spot(start),
                labelled(name, start) + _no_alternative(start, [item for _, item in items], written),
            )


_UNIONS = {
    "active": "needs a number from 0 to 1, or a map of conditions with `steady` among them",
    "where": "needs a value, or one comparison such as {at-least: 2} or {one-of: [a, b]}",
}
"""Fields of knowledge, or fields with such values in them, for which more can be said than the types they take."""


def _no_alternative(start: Way, items: list[Any], written: Written) -> str:
    for step in reversed(start):
        if step in _UNIONS:
            return _UNIONS[str(step)]
    wanted = list(dict.fromkeys(filter(None, (_wanted(item["type"]) for item in items))))
    if "a number" in wanted and "a whole number" in wanted:
        wanted.remove("a whole number")
    value = items[0]["input"]
    needs = f"needs {either(wanted)}"
    if value is None:
        return f"{needs}, but nothing is written here"
    if isinstance(value, bool) and "text" in wanted:
        return f"{needs}, but YAML reads `{written.raw(start)}` as true or false: put it in quotes"
    return needs


def labelled(name: str, path: Way) -> str:
    """The start of a message: the name of an entry, if any, and where in it something stands."""
    steps = ".".join(step for step in path if isinstance(step, str) and step)
    said = ", ".join(word for word in (name, steps) if word)
    return f"{said}: " if said else ""


def _plain(item: Any, model: type[BaseModel], path: Way, written: Written) -> str:
    """One error of pydantic in plain words; ``path`` is where it stands."""
    kind, ctx, value = item["type"], item.get("ctx") or {}, item.get("input")
    if kind == "missing":
        return f"`{item['loc'][-1]}` is missing"
    if kind == "extra_forbidden":
        owner = _model_at(model, path[:-1])
        known = list(owner.model_fields) if owner else []
        hint = near(path[-1], known)
        return f"unknown field{hint}" if hint else f"unknown field; known are {', '.join(known)}"
    if kind == "literal_error":
        allowed = re.findall(r"'([^']*)'", ctx.get("expected", ""))
        shown = written.raw(path) if isinstance(value, bool) else value
        if value is None:
            return f"is empty; it can be {either(allowed)}"
        return f"`{shown}` is not known; it can be {either(allowed)}{near(shown, allowed)}"
    if kind == "string_pattern_mismatch":
        if path and path[0] == "channels":
            return f"`{value}` is no channel: use one to three capital letters or digits"
        return f"`{value}` {NO_NAME}"
    if kind == "string_type" and isinstance(value, bool | int | float):
        read = "true or false" if isinstance(value, bool) else "a number"
        return f"needs text, but YAML reads `{written.raw(path)}` as {read}: put it in quotes"
    wanted = _wanted(kind)
    if wanted:
        return f"needs {wanted}" + ("" if value is not None else ", but nothing is written here")
    if kind in _LIMITS:
        sign, limit = _LIMITS[kind]
        return f"{value:g} is out of range: must be {sign} {ctx[limit]:g}"
    if kind == "string_too_short":
        return "has an empty key" if item["loc"][-1:] == ("[key]",) else "is empty"
    if kind == "too_short":
        return f"needs at least {ctx['min_length']}, has {ctx['actual_length']}"
    if kind == "too_long":
        return f"takes at most {ctx['max_length']}"
    if kind in ("value_error", "assertion_error"):
        return str(ctx["error"])
    return "is not what is wanted here"


_WANTED = {
    "string_type": "text",
    "float_": "a number",
    "int_": "a whole number",
    "bool_": "true or false",
    "list_type": "a list",
    "dict_type": "a map: keys, and a value for each",
    "model_type": "fields, each with its value",
    "model_attributes_type": "fields, each with its value",
}
_LIMITS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


def _wanted(kind: str) -> str | None:
    return next((wanted for prefix, wanted in _WANTED.items() if kind.startswith(prefix)), None)


def either(words: list[str]) -> str:
    """``a, b or c``."""
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _model_at(model: type[BaseModel], path: Way) -> type[BaseModel] | None:
    """The model that a path leads to, by the annotations along it."""
    here: Any = model
    for step in path:
        if isinstance(here, type) and issubclass(here, BaseModel):
            if step not in here.model_fields:
                return None
            here = _bare(here.model_fields[str(step)].annotation)
        else:
            args = get_args(here)
            here = _bare(args[-1]) if args else None
    return here if isinstance(here, type) and issubclass(here, BaseModel) else None


def _bare(annotation: Any) -> Any:
    """An annotation without Annotated, and without None among its alternatives."""
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) is Union or isinstance(annotation, type(int | None)):
        return _bare(next(arg for arg in get_args(annotation) if arg is not type(None)))
    return annotation

"""Read a folder of knowledge: YAML in, one frozen :class:`~isolate.kb.model.Knowledge` out.

A folder has one sub-folder for each kind of entry, and in it any number of ``*.yaml`` files; a file has
one top key, the kind, and under it name → entry. Every mistake is found in one pass and told with
its file and line: first what cannot be read, then what has the wrong shape, then what does not fit together.

The YAML is only composed to nodes and never constructed, so no tag in a file can make code run.
"""

from __future__ import annotations

import difflib
import errno
import hashlib
import math
import os
import re
import stat
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

import rfc8785
import yaml
from pydantic import BaseModel, ValidationError
from pydantic.json_schema import models_json_schema

from isolate.kb.model import (
    FACTS,
    HEALTHY,
    KINDS,
    Access,
    Ask,
    Caution,
    Check,
    Complaint,
    Crossing,
    Disturbs,
    Knowledge,
    Mode,
    Model,
    Omits,
    Outcome,
    Pattern,
    Place,
    Profile,
    Repair,
    Rule,
    Scalar,
    Then,
    Zone,
)

__all__ = [
    "KnowledgeError",
    "Loaded",
    "Problem",
    "Spot",
    "did_you_mean",
    "load",
    "schema",
    "shipped",
    "shipped_scenarios",
]

LARGEST = 2_000_000
"""Bytes; a larger file is refused."""

DEEPEST = 40
"""Levels of nesting; no entry needs half as many."""

ALL_NUMBERS_EXACT = 2**53
"""Whole numbers beyond this have no exact form in canonical JSON."""

VERIFY = "verify"
"""The move that is no entry: verify now. A gate may block it by this name."""

Path_ = tuple[str | int, ...]
"""Where something stands inside an entry: field names, keys and list indices."""


# -- what the caller sees ------------------------------------------------------------------------


class Spot(NamedTuple):
    """A place in the knowledge. Line 0 means the file or folder as a whole."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}" if self.line else self.file


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake: a file (relative to the parent of the knowledge folder), a line and what is wrong."""

    file: str
    line: int
    message: str

    def __str__(self) -> str:
        return f"{Spot(self.file, self.line)}: {self.message}"


class KnowledgeError(Exception):
    """Knowledge that cannot be used, with every mistake found, sorted by file and line."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(set(problems)))
        super().__init__(self.problems)

    def __str__(self) -> str:
        count = len(self.problems)
        head = f"the knowledge has {count} mistake{'s' if count != 1 else ''}:"
        return "\n".join([head, *(f"  {problem}" for problem in self.problems)])


@dataclass(frozen=True)
class Loaded:
    """Knowledge that has been read and found sound, and where each part of it is written."""

    knowledge: Knowledge
    folder: Path
    _written: Mapping[tuple[str, str], _Written] = field(repr=False, compare=False)

    def where(self, kind: str, name: str, *path: str | int) -> Spot:
        """The place of an entry, or of what lies along ``path`` inside it (as far as the file goes).

        Raises:
            KeyError: there is no entry of that kind and name.
        """
        return self._written[kind, name].spot(path)


def shipped() -> Path:
    """The folder of knowledge that travels with the package: inside it, or beside it in a checkout."""
    return _travelling("knowledge")


def shipped_scenarios() -> Path:
    """The folder of drills that travels with the package: inside it, or beside it in a checkout."""
    return _travelling("scenarios")


def _travelling(name: str) -> Path:
    package = Path(__file__).resolve().parent.parent
    inside = package / "_data" / name
    return inside if inside.is_dir() else package.parent / name


def load(folder: Path | None = None) -> Loaded:
    """Read and check a folder of knowledge, the shipped one by default.

    Raises:
        KnowledgeError: anything is wrong, with all that is wrong.
    """
    top = Path(os.path.abspath(folder if folder is not None else shipped()))
    report = _Report()
    base = _read_folder(top, report)
    entries = _shape(base, report)
    _Fit(base, entries, report).check()
    if report.problems:
        raise KnowledgeError(report.problems)
    # Sorted, so that nothing depends on how the entries are spread over files.
    knowledge = Knowledge.model_validate({kind: dict(sorted(entries[kind].items())) for kind in KINDS})
    knowledge = knowledge.model_copy(update={"digest": _digest(knowledge)})
    return Loaded(knowledge=knowledge, folder=top, _written=base.written)


def did_you_mean(word: object, choices: Iterable[str]) -> str:
    """``; did you mean `x`?`` for the choice nearest to ``word``, or nothing when none is near."""
    near = difflib.get_close_matches(str(word), sorted(set(choices)), n=1, cutoff=0.6)
    return f"; did you mean `{near[0]}`?" if near else ""


def _digest(knowledge: Knowledge) -> str:
    plain = knowledge.model_dump(mode="json", exclude={"digest"})
    # Canonical JSON sorts keys, but the order of a check's outcomes (best news to worst) carries meaning.
    for check in plain["checks"].values():
        check["outcomes"] = list(check["outcomes"].items())
    return hashlib.sha256(rfc8785.dumps(plain)).hexdigest()


# -- reading -------------------------------------------------------------------------------------


class _Report:
    """Collects problems; one line can have several, but the same one only once."""

    def __init__(self) -> None:
        self.problems: set[Problem] = set()

    def __call__(self, spot: Spot, message: str) -> None:
        self.problems.add(Problem(spot.file, spot.line, message))

    def lines(self) -> set[Spot]:
        return {Spot(problem.file, problem.line) for problem in self.problems}


class _Written(NamedTuple):
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
        return Spot(self.file, self.follow(path)[0])

    def raw(self, path: Iterable[str | int]) -> str | None:
        """The characters of the plain or quoted scalar at ``path``, if there is one."""
        node: Any = self.node
        for step in path:
            if isinstance(node, yaml.MappingNode):
                node = next((v for k, v in node.value if k.value == step), None)
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int):
                node = node.value[step]
        return node.value if isinstance(node, yaml.ScalarNode) else None


@dataclass
class _Base:
    """All entries as plain data, before anybody has looked at their shape."""

    label: str
    raw: dict[str, dict[str, Any]] = field(default_factory=lambda: {kind: {} for kind in KINDS})
    written: dict[tuple[str, str], _Written] = field(default_factory=dict)
    torn: set[str] = field(default_factory=set)
    """Kinds of which a file could not be read: whether a name exists is then not known."""


def _read_folder(top: Path, report: _Report) -> _Base:
    base = _Base(label=top.name or str(top))
    for item in _listing(top, base.label, report):
        label = f"{base.label}/{item.name}"
        mode = _mode(item, label, report)
        if mode is None:
            base.torn.update({item.name} & KINDS.keys())
        elif stat.S_ISDIR(mode):
            if item.name in KINDS:
                _read_kind(item, base, report)
            else:
                known = ", ".join(KINDS)
                hint = did_you_mean(item.name, KINDS) or f"; the folders are {known}"
                report(Spot(label, 0), f"unknown folder{hint}")
        elif item.suffix.lower() in (".yaml", ".yml"):
            report(Spot(label, 0), "belongs in the folder of its kind, not here")
    if not base.written and not report.problems:
        report(Spot(base.label, 0), "no knowledge here: expected folders such as zones, checks and sources")
    return base


def _read_kind(folder: Path, base: _Base, report: _Report) -> None:
    kind = folder.name
    for item in _listing(folder, f"{base.label}/{kind}", report):
        label = f"{base.label}/{kind}/{item.name}"
        mode = _mode(item, label, report)
        if mode is None:
            base.torn.add(kind)
        elif stat.S_ISDIR(mode):
            report(Spot(label, 0), f"folders in here are not read: put the files straight into {kind}")
            base.torn.add(kind)
        elif item.suffix.lower() in (".yaml", ".yml"):
            if item.suffix != ".yaml":
                report(Spot(label, 0), "is not read: let its name end in .yaml")
                base.torn.add(kind)
            elif not stat.S_ISREG(mode):
                report(Spot(label, 0), "is not an ordinary file")
                base.torn.add(kind)
            elif not _read_file(item, label, kind, base, report):
                base.torn.add(kind)


def _listing(folder: Path, label: str, report: _Report) -> list[Path]:
    try:
        return sorted(item for item in folder.iterdir() if not item.name.startswith("."))
    except OSError as error:
        report(Spot(label, 0), _plain_error(error, "folder"))
        return []


def _mode(item: Path, label: str, report: _Report) -> int | None:
    try:
        return item.stat().st_mode
    except OSError as error:
        report(Spot(label, 0), _plain_error(error, "file"))
        return None


def _plain_error(error: OSError, what: str) -> str:
    if isinstance(error, FileNotFoundError):
        return f"there is no such {what}"
    if isinstance(error, NotADirectoryError):
        return "is not a folder"
    if isinstance(error, PermissionError):
        return "may not be read: no permission"
    if error.errno == errno.ELOOP:
        return "is a link that leads back to itself"
    return f"cannot be read: {str(error.strerror or error).lower()}"


def _read_file(path: Path, label: str, kind: str, base: _Base, report: _Report) -> bool:
    """Put the entries of one file into ``base``; False when the file as a whole was no good."""
    text = _text(path, label, report)
    if text is None:
        return False
    node = _compose(text, label, report)
    if node is None:
        return False
    first = Spot(label, node.start_mark.line + 1)
    if not isinstance(node, yaml.MappingNode):
        report(first, f"needs one top key, `{kind}:`, with the entries under it")
        return False
    converter = _Converter(label, report, budget=len(text) + 10_000)
    try:
        data = converter.value(node)
    except _TooMuchError as error:
        report(Spot(label, error.line), error.message)
        return False
    sound = True
    for key, value in node.value:
        name, spot = key.value, Spot(label, key.start_mark.line + 1)
        if name != kind:
            report(spot, f"the only top key in this folder is `{kind}`, not `{name}`")
            sound = False
        elif isinstance(value, yaml.MappingNode) and value.value:
            _take(kind, value, data[kind], label, base, report)
        else:
            report(spot, f"`{kind}` needs entries: a name, and its fields under it")
            sound = False
    return sound


def _take(kind: str, node: yaml.MappingNode, data: dict[str, Any], label: str, base: _Base, report: _Report) -> None:
    for key, value in node.value:
        name, line = key.value, key.start_mark.line + 1
        if not isinstance(name, str) or name not in data:
            continue
        earlier = base.written.get((kind, name))
        if earlier is None:
            base.written[kind, name] = _Written(label, line, value)
            base.raw[kind][name] = data[name]
        elif earlier.file != label:
            report(Spot(label, line), f"`{name}` is written twice: also at {earlier.file}:{earlier.line}")


def _text(path: Path, label: str, report: _Report) -> str | None:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        report(Spot(label, 0), _plain_error(error, "file"))
        return None
    if len(data) > LARGEST:
        report(Spot(label, 0), f"is larger than {LARGEST // 1_000_000} MB: split it")
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        report(Spot(label, line), "is not UTF-8 text here: save the file as UTF-8")
        return None


_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def _compose(text: str, label: str, report: _Report) -> yaml.Node | None:
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

    def __init__(self, label: str, report: _Report, budget: int) -> None:
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


# -- shape ---------------------------------------------------------------------------------------

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def _shape(base: _Base, report: _Report) -> dict[str, dict[str, Any]]:
    """The entries that have the right shape, by kind and name; what is wrong with the others is reported."""
    entries: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    spoken_for = report.lines()
    for kind, model in KINDS.items():
        for name, data in base.raw[kind].items():
            written = base.written[kind, name]
            if not _NAME.fullmatch(name):
                report(written.spot(), f"`{name}` {_NO_NAME}")
            try:
                entry = model.model_validate(data, strict=True)
            except ValidationError as error:
                for spot, message in _plain_errors(error, model, name, data, written):
                    # A line that could not be read has been told of already.
                    if spot not in spoken_for:
                        report(spot, message)
            else:
                entries[kind][name] = entry
    return entries


_NO_NAME = "is no name: use lower-case letters and digits, joined by single hyphens"


def _plain_errors(
    error: ValidationError, model: type[Model], name: str, data: Any, written: _Written
) -> Iterator[tuple[Spot, str]]:
    unions: dict[Path_, list[tuple[Path_, Any]]] = {}
    for item in error.errors(include_url=False):
        loc: Path_ = item["loc"]
        steps = loc[:-1] if item["type"] == "missing" or loc[-1:] == ("[key]",) else loc
        found = written.follow(steps)[1]
        path = tuple(step for _, step in found)
        foreign = next((i for i in range(len(steps)) if i not in {position for position, _ in found}), None)
        if foreign is None:
            yield written.spot(path), _label(name, path) + _plain(item, model, path, written)
        else:
            # A step that the file does not have is the name of one alternative of a union.
            unions.setdefault(steps[:foreign], []).append((path, item))
    for start, items in unions.items():
        inside = [(path, item) for path, item in items if len(path) > len(start) or item["loc"][-1:] == ("[key]",)]
        limits = [(path, item) for path, item in items if not item["type"].endswith(("_type", "_parsing"))]
        if inside or limits:
            for path, item in inside or limits:
                yield written.spot(path), _label(name, path) + _plain(item, model, path, written)
        else:
            yield written.spot(start), _label(name, start) + _UNION.get(str(start[-1]), _COMPARISON)


_UNION = {"active": "needs a number from 0 to 1, or a map of conditions with `steady` among them"}
_COMPARISON = "needs a value, or one comparison such as {at-least: 2} or {one-of: [a, b]}"


def _label(name: str, path: Path_) -> str:
    steps = ".".join(step for step in path if isinstance(step, str))
    return f"{name}, {steps}: " if steps else f"{name}: "


def _plain(item: Any, model: type[Model], path: Path_, written: _Written) -> str:
    """One error of pydantic in plain words; ``path`` is where it stands."""
    kind, ctx, value = item["type"], item.get("ctx") or {}, item.get("input")
    if kind == "missing":
        return f"`{item['loc'][-1]}` is missing"
    if kind == "extra_forbidden":
        owner = _model_at(model, path[:-1])
        known = list(owner.model_fields) if owner else []
        hint = did_you_mean(path[-1], known)
        return f"unknown field{hint}" if hint else f"unknown field; known are {', '.join(known)}"
    if kind == "literal_error":
        allowed = re.findall(r"'([^']*)'", ctx.get("expected", ""))
        shown = written.raw(path) if isinstance(value, bool) else value
        if value is None:
            return f"is empty; it can be {_either(allowed)}"
        return f"`{shown}` is not known; it can be {_either(allowed)}{did_you_mean(shown, allowed)}"
    if kind == "string_pattern_mismatch":
        if path and path[0] == "channels":
            return f"`{value}` is no channel: use one to three capital letters or digits"
        return f"`{value}` {_NO_NAME}"
    if kind == "string_type" and isinstance(value, bool | int | float):
        read = "true or false" if isinstance(value, bool) else "a number"
        return f"needs text, but YAML reads `{written.raw(path)}` as {read}: put it in quotes"
    for prefix, wanted in _WANTED.items():
        if kind.startswith(prefix):
            return f"needs {wanted}" + ("" if value is not None else ", but nothing is written here")
    if kind in _LIMITS:
        sign, limit = _LIMITS[kind]
        return f"{value:g} is out of range: must be {sign} {ctx[limit]:g}"
    if kind == "string_too_short":
        return "is empty"
    if kind == "too_short":
        return f"needs at least {ctx['min_length']}, has {ctx['actual_length']}"
    if kind == "too_long":
        return f"takes at most {ctx['max_length']}"
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


def _either(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _model_at(model: type[BaseModel], path: Path_) -> type[BaseModel] | None:
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


# -- how it fits together ------------------------------------------------------------------------

REFERENCES: dict[type[BaseModel], dict[str, str]] = {
    Zone: {"source": "sources"},
    Mode: {"source": "sources"},
    Check: {"needs": "access", "shut": "access", "spoils": "access", "cautions": "cautions", "source": "sources"},
    Crossing: {"cautions": "cautions"},
    Access: {"needs": "access", "shut": "access", "source": "sources"},
    Repair: {
        "needs": "access",
        "shut": "access",
        "spoils": "access",
        "cautions": "cautions",
        "source": "sources",
        "clears": "zones",
        "examines": "checks",
    },
    Disturbs: {"mode": "modes"},
    Caution: {"source": "sources"},
    Complaint: {"answers": "checks", "verify": "checks", "source": "sources"},
    Profile: {
        "zones": "zones",
        "access_minutes": "access",
        "check_minutes": "checks",
        "priors": "modes",
        "source": "sources",
    },
    Omits: {"modes": "modes", "checks": "checks", "access": "access", "repairs": "repairs", "rules": "rules"},
    Rule: {"source": "sources"},
    Then: {"caution": "cautions"},
}
"""Fields that hold names of other entries: model → field → what it names. In a map, the keys are the names."""

_SINGULAR = {
    "sources": "source",
    "zones": "zone",
    "modes": "fault mode",
    "checks": "check",
    "access": "access state",
    "repairs": "repair",
    "cautions": "caution",
    "rules": "rule",
}

_TEXTS: dict[type[BaseModel], tuple[str, ...]] = {
    Zone: ("title",),
    Mode: ("title", "tells"),
    Check: ("title", "purpose", "steps", "never"),
    Outcome: ("title", "means"),
    Access: ("title", "word"),
    Crossing: ("do", "checks"),
    Repair: ("title", "to", "steps", "never", "record"),
    Caution: ("title", "text"),
    Ask: ("prompt",),
    Complaint: ("title", "says"),
    Profile: ("title",),
}
"""Texts that people see, in which {channel} may stand where the entry is one a channel."""

_VARIABLE = re.compile(r"\$([a-z][a-z0-9_-]*)")
_NUMBERS = ("at-least", "at-most", "above", "below")


def _walk(value: Any, path: Path_ = ()) -> Iterator[tuple[BaseModel, Path_]]:
    """Every model inside a value, with the path to it."""
    if isinstance(value, BaseModel):
        yield value, path
        for name in type(value).model_fields:
            inner = getattr(value, name)
            if isinstance(inner, BaseModel | dict | list):
                yield from _walk(inner, (*path, name))
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _walk(inner, (*path, index))


class _Fit:
    """Checks that need more than one entry, or more than one field of one."""

    def __init__(self, base: _Base, entries: dict[str, dict[str, Any]], report: _Report) -> None:
        self.base, self.entries, self.report = base, entries, report
        # Names come from the raw data, so that an entry with a mistake of its own is still known by name.
        self.known: dict[str, set[str]] = {kind: set(base.raw[kind]) for kind in KINDS}
        self.modes: dict[str, set[str]] = {}
        for name, zone in base.raw["zones"].items():
            modes = zone.get("modes") if isinstance(zone, dict) else None
            self.modes[name] = set(modes) if isinstance(modes, dict) else set()
        self.known["modes"] = set().union(*self.modes.values())
        self.torn = base.torn | ({"modes"} if "zones" in base.torn else set())

    def say(self, kind: str, name: str, path: Path_, message: str) -> None:
        written = self.base.written[kind, name]
        self.report(written.spot(path), _label(name, path) + message)

    def check(self) -> None:
        for kind, entries in self.entries.items():
            for name, entry in entries.items():
                for model, path in _walk(entry):
                    self.references(kind, name, model, path)
                    self.placeholders(kind, name, entry, model, path)
                    self.repetitions(kind, name, model, path)
        self.zones()
        for name, check in self.entries["checks"].items():
            self.likelihoods(name, check)
            self.open_and_shut("checks", name, check)
        self.access()
        for name, repair in self.entries["repairs"].items():
            self.repair(name, repair)
            self.open_and_shut("repairs", name, repair)
        for name, caution in self.entries["cautions"].items():
            self.caution(name, caution)
        for name, complaint in self.entries["complaints"].items():
            self.complaint(name, complaint)
        for name, profile in self.entries["engines"].items():
            self.profile(name, profile)
        for name, rule in self.entries["rules"].items():
            self.rule(name, rule)

    # -- everything that holds names or texts

    def references(self, kind: str, name: str, model: BaseModel, path: Path_) -> None:
        for attribute, target in REFERENCES.get(type(model), {}).items():
            value = getattr(model, attribute)
            if value is None or target in self.torn:
                continue
            if isinstance(value, str):
                places: list[tuple[str, Path_]] = [(value, (attribute,))]
            elif isinstance(value, dict):
                places = [(key, (attribute, key)) for key in value]
            else:
                places = _numbered(value, attribute)
            for word, inner in places:
                if word not in self.known[target]:
                    self.unknown(kind, name, path + inner, target, word, self.known[target])

    def unknown(self, kind: str, name: str, path: Path_, target: str, word: str, choices: Iterable[str]) -> None:
        self.say(kind, name, path, f"no {_SINGULAR[target]} `{word}`{did_you_mean(word, choices)}")

    def placeholders(self, kind: str, name: str, entry: Any, model: BaseModel, path: Path_) -> None:
        per_channel = getattr(entry, "per", None) == "channel"
        for attribute in _TEXTS.get(type(model), ()):
            value = getattr(model, attribute)
            texts = [(value, (attribute,))] if isinstance(value, str) else _numbered(value, attribute)
            for text, inner in texts:
                for found in _braces(text):
                    if found is None:
                        self.say(kind, name, path + inner, "has a brace without its partner")
                    elif found != "channel":
                        self.say(kind, name, path + inner, f"{{{found}}} is not filled in; only {{channel}} is")
                    elif not per_channel:
                        message = "{channel} is filled in only where the entry has `per: channel`"
                        self.say(kind, name, path + inner, message)

    def repetitions(self, kind: str, name: str, model: BaseModel, path: Path_) -> None:
        for attribute in type(model).model_fields:
            value = getattr(model, attribute)
            if isinstance(value, list) and attribute not in ("modes", "steps", "never"):
                words = [item for item in value if isinstance(item, str)]
                for word, count in Counter(words).items():
                    if count > 1:
                        index = len(value) - 1 - value[::-1].index(word)
                        self.say(kind, name, (*path, attribute, index), f"`{word}` is named {count} times")

    # -- zones

    def zones(self) -> None:
        first: dict[str, str] = {}
        for name, zone in self.entries["zones"].items():
            if name == "others":
                self.say("zones", name, (), "`others` has a meaning of its own in a check's `given`: take another name")
            for mode, entry in zone.modes.items():
                path: Path_ = ("modes", mode)
                if mode == HEALTHY:
                    self.say("zones", name, path, f"every zone has the state `{HEALTHY}` already")
                if mode in first:
                    other = self.base.written["zones", first[mode]].spot(path)
                    self.say("zones", name, path, f"the zone `{first[mode]}` has a mode of this name, at {other}")
                first.setdefault(mode, name)
                if isinstance(entry.active, dict) and "steady" not in entry.active:
                    message = "`steady` is missing: it holds for conditions not listed"
                    self.say("zones", name, (*path, "active"), message)
            total = math.fsum(entry.prior for entry in zone.modes.values())
            if total >= 1:
                message = f"the priors of its modes sum to {total:.6g}: nothing is left for healthy"
                self.say("zones", name, ("modes",), message)

    # -- checks

    def likelihoods(self, name: str, check: Check) -> None:
        for zone, rows in check.given.items():
            path: Path_ = ("given", zone)
            modes = self.zone_of(name, check, zone)
            seen: dict[str, int] = {}
            for index, row in enumerate(rows):
                for place, mode in enumerate(row.modes):
                    here: Path_ = (*path, index, "modes", place)
                    if modes is not None and mode != HEALTHY and mode not in modes:
                        self.mode_elsewhere("checks", name, here, zone, mode, modes)
                    if mode in seen:
                        line = self.base.written["checks", name].spot((*path, seen[mode])).line
                        self.say("checks", name, here, f"`{mode}` has a row already, on line {line}")
                    seen.setdefault(mode, index)
                for outcome in row.gives:
                    if outcome not in check.outcomes:
                        hint = did_you_mean(outcome, check.outcomes)
                        message = f"the check has no outcome `{outcome}`{hint}"
                        self.say("checks", name, (*path, index, "gives", outcome), message)
                total = math.fsum(row.gives.values())
                if abs(total - 1) > 1e-6:
                    message = f"the likelihoods sum to {total:.6g}, not to 1"
                    self.say("checks", name, (*path, index, "gives"), message)
            if HEALTHY not in seen:
                self.say("checks", name, path, f"no row for `{HEALTHY}`")

    def zone_of(self, name: str, check: Check, zone: str) -> set[str] | None:
        """The modes that rows under this key of ``given`` may name, or None when that is not known."""
        path: Path_ = ("given", zone)
        if "zones" in self.torn:
            return None
        if zone != "others":
            if zone not in self.modes:
                choices = [*self.modes, "others"]
                self.unknown("checks", name, path, "zones", zone, choices)
                return None
            return self.modes[zone]
        raw = self.base.raw["zones"].get("channel")
        if check.per != "channel":
            self.say("checks", name, path, "`others` means the other channels, so the check needs `per: channel`")
        if raw is None:
            self.say("checks", name, path, "`others` means the other channels, but there is no zone `channel`")
            return None
        if isinstance(raw, dict) and raw.get("per") != "channel":
            self.say("checks", name, path, "`others` means the other channels, but zone `channel` is not per channel")
        return self.modes["channel"]

    def mode_elsewhere(self, kind: str, name: str, path: Path_, zone: str, mode: str, modes: Collection[str]) -> None:
        owner = next((other for other in self.modes if mode in self.modes[other]), None)
        if owner is not None:
            self.say(kind, name, path, f"`{mode}` is a mode of zone `{owner}`, not of `{zone}`")
        else:
            self.unknown(kind, name, path, "modes", mode, [*modes, HEALTHY] if kind == "checks" else modes)

    # -- access

    def access(self) -> None:
        for cycle in self.cycles():
            chain = " → ".join([*cycle, cycle[0]])
            self.say("access", cycle[0], ("needs",), f"needs itself in the end: {chain}")
        for name, entry in self.entries["access"].items():
            self.open_and_shut("access", name, entry)

    def cycles(self) -> list[list[str]]:
        """The shortest loop of needs through each access state that is in one, each loop once."""
        entries = self.entries["access"]
        found: list[list[str]] = []
        told: set[str] = set()
        for start in sorted(entries):
            came: dict[str, str] = {}
            queue = [start]
            for name in queue:
                for need in entries[name].needs:
                    if need in entries and need not in came:
                        came[need] = name
                        queue.append(need)
            if start in came and start not in told:
                loop = [came[start]]
                while loop[-1] != start:
                    loop.append(came[loop[-1]])
                found.append(loop[::-1])
                told.update(loop)
        return found

    def closure(self, needs: Iterable[str]) -> dict[str, str]:
        """All that must be open for ``needs`` to be, each with the entry of ``needs`` that first calls for it."""
        found: dict[str, str] = {}
        for root in needs:
            todo = [root]
            while todo:
                name = todo.pop()
                if name in found or name not in self.entries["access"]:
                    continue
                found[name] = root
                todo.extend(self.entries["access"][name].needs)
        return found

    def open_and_shut(self, kind: str, name: str, entry: Check | Repair | Access) -> None:
        opened = self.closure(entry.needs)
        for index, word in enumerate(entry.shut):
            if word in opened:
                root = opened[word]
                because = "" if root == word else f" (through `{root}`)"
                self.say(kind, name, ("shut", index), f"`{word}` is to be shut, but `needs` opens it{because}")
        below = [self.closure([need]) for need in entry.needs]
        for one in opened:
            for other in self.entries["access"][one].shut:
                inside = other in opened or (kind == "access" and other == name)
                # A pair that already clashes within one of the needs is told of there.
                if inside and not any(one in part and other in part for part in below):
                    index = entry.needs.index(opened[one])
                    by_way = "" if opened[one] == one else f" (through `{opened[one]}`)"
                    clash = f"needs `{one}`{by_way}, which wants `{other}` shut, "
                    clash += "and this is it" if other == name and kind == "access" else f"and `{other}` open"
                    self.say(kind, name, ("needs", index), clash)

    # -- repairs, cautions, complaints

    def repair(self, name: str, repair: Repair) -> None:
        for zone, modes in repair.clears.items():
            if "zones" in self.torn or zone not in self.modes:
                continue
            if not modes:
                self.say("repairs", name, ("clears", zone), "names no mode")
            for index, mode in enumerate(modes):
                if mode not in self.modes[zone]:
                    self.mode_elsewhere("repairs", name, ("clears", zone, index), zone, mode, self.modes[zone])
        if repair.kind == "hand-over" and not repair.to.strip():
            self.say("repairs", name, (), "`to` is missing: a hand-over says to whom")
        if repair.kind == "repair" and repair.to:
            self.say("repairs", name, ("to",), "only a hand-over says to whom; is `kind: hand-over` missing?")

    def caution(self, name: str, caution: Caution) -> None:
        asks = {ask.name: ask for ask in reversed(caution.asks)}
        for index, ask in enumerate(caution.asks):
            if asks[ask.name] is not ask:
                self.say("cautions", name, ("asks", index, "name"), f"`{ask.name}` is asked twice")
            if ask.least is not None and ask.kind not in ("minutes", "count"):
                self.say("cautions", name, ("asks", index, "least"), "holds only for minutes and counts")
        if caution.wait is not None:
            if caution.wait not in asks:
                hint = did_you_mean(caution.wait, asks)
                self.say("cautions", name, ("wait",), f"no ask `{caution.wait}` in this caution{hint}")
            elif asks[caution.wait].kind != "minutes":
                message = f"the ask `{caution.wait}` must be of kind minutes to be waited for"
                self.say("cautions", name, ("wait",), message)

    def complaint(self, name: str, complaint: Complaint) -> None:
        for check, outcome in complaint.answers.items():
            entry = self.entries["checks"].get(check)
            if entry is not None and outcome not in entry.outcomes:
                hint = did_you_mean(outcome, entry.outcomes)
                message = f"the check `{check}` has no outcome `{outcome}`{hint}"
                self.say("complaints", name, ("answers", check), message)
        letters = {letter for profile in self.entries["engines"].values() for letter in profile.channels}
        for index, told in enumerate(complaint.starts):
            words = letters | {"unknown", "both"}
            if letters and "engines" not in self.torn and told.channel not in words:
                message = f"`{told.channel}` is no channel of any engine; it can also be unknown or both"
                self.say("complaints", name, ("starts", index, "channel"), message)

    # -- engines

    def profile(self, name: str, profile: Profile) -> None:
        for place in get_args(Place):
            if place not in profile.weights:
                self.say("engines", name, ("weights",), f"`{place}` is missing")
        for zone_name in profile.zones:
            zone = self.entries["zones"].get(zone_name)
            if zone is None:
                continue
            modes = [mode for mode in zone.modes if mode not in profile.omits.modes]
            if not modes:
                index = profile.zones.index(zone_name)
                message = f"all modes of `{zone_name}` are omitted: leave the zone out"
                self.say("engines", name, ("zones", index), message)
            total = math.fsum(profile.priors.get(mode, zone.modes[mode].prior) for mode in modes)
            if total >= 1 and any(mode in profile.priors for mode in modes):
                message = f"the priors in zone `{zone_name}` sum to {total:.6g}: nothing is left for healthy"
                self.say("engines", name, ("priors",), message)

    # -- rules

    def rule(self, name: str, rule: Rule) -> None:
        bound: set[str] = set()
        for index, pattern in enumerate(rule.when):
            self.pattern(name, pattern, ("when", index))
            bound |= _binds(pattern)
        for index, pattern in enumerate(rule.when):
            for variable, path in _uses(pattern, ("when", index)):
                if variable not in bound:
                    message = f"no pattern that must stand binds `${variable}`"
                    self.say("rules", name, path, f"{message}{_variables(variable, bound)}")
        for found in _braces(rule.says):
            if found is None:
                self.say("rules", name, ("says",), "has a brace without its partner")
            elif found not in bound:
                message = f"no pattern that must stand binds `${found}`, so {{{found}}} cannot be filled in"
                self.say("rules", name, ("says",), f"{message}{_variables(found, bound)}")
        self.then(name, rule, bound)

    def pattern(self, name: str, pattern: Pattern, path: Path_) -> None:
        used = [word for word in ("fact", "absent", "any") if getattr(pattern, word) is not None]
        if len(used) != 1:
            has = " and ".join(f"`{word}`" for word in used) or "none"
            self.say("rules", name, path, f"a pattern has exactly one of `fact`, `absent` and `any`; this has {has}")
        elif pattern.where and pattern.fact is None:
            self.say("rules", name, (*path, "where"), f"belongs to a `fact`, not beside `{used[0]}`")
        if pattern.any is not None and len(pattern.any) < 2:
            self.say("rules", name, (*path, "any"), "needs at least two patterns to choose from")
        if pattern.fact is not None:
            if pattern.fact not in FACTS:
                message = f"no fact `{pattern.fact}`{did_you_mean(pattern.fact, FACTS)}"
                self.say("rules", name, (*path, "fact"), message)
            for slot, test in pattern.where.items():
                here: Path_ = (*path, "where", slot)
                slots = FACTS.get(pattern.fact)
                if slots is not None and slot not in slots:
                    hint = did_you_mean(slot, slots) or f"; it has {', '.join(slots)}"
                    self.say("rules", name, here, f"the fact `{pattern.fact}` has no slot `{slot}`{hint}")
                self.test(name, test, here)
        if pattern.absent is not None:
            self.pattern(name, pattern.absent, (*path, "absent"))
        for index, inner in enumerate(pattern.any or []):
            self.pattern(name, inner, (*path, "any", index))

    def test(self, name: str, test: Any, path: Path_) -> None:
        if not isinstance(test, dict):
            self.variable(name, test, path)
            return
        if len(test) != 1:
            self.say("rules", name, path, f"takes exactly one comparison, has {len(test)}")
        for word, value in test.items():
            here: Path_ = (*path, word)
            if word in _NUMBERS:
                if isinstance(value, bool) or not isinstance(value, int | float):
                    self.say("rules", name, here, "needs a number")
            elif word == "one-of":
                if not isinstance(value, list) or not value or not all(isinstance(v, Scalar) for v in value):
                    self.say("rules", name, here, "needs a list of values")
                else:
                    for index, item in enumerate(value):
                        self.variable(name, item, (*here, index))
            elif not isinstance(value, Scalar):
                self.say("rules", name, here, "needs one value")
            else:
                self.variable(name, value, here)

    def variable(self, name: str, value: Any, path: Path_) -> None:
        if isinstance(value, str) and value.startswith("$") and not _VARIABLE.fullmatch(value):
            self.say("rules", name, path, f"`{value}` is no variable: use $ and a lower-case name")

    def then(self, name: str, rule: Rule, bound: set[str]) -> None:
        fitting = {"finding": ("finding", "channel"), "gate": ("block",), "caution": ("caution",)}.get(rule.kind, ())
        for word in ("finding", "channel", "block", "caution"):
            if getattr(rule.then, word) is not None and word not in fitting:
                takes = f"takes {_either([f'`{w}`' for w in fitting])}" if fitting else "takes no `then`"
                self.say("rules", name, ("then", word), f"a rule of kind {rule.kind} {takes}")
        if fitting and getattr(rule.then, fitting[0]) is None:
            self.say("rules", name, ("then",), f"a rule of kind {rule.kind} needs `{fitting[0]}` here")
        channel = rule.then.channel
        if channel is not None:
            self.variable(name, channel, ("then", "channel"))
            variable = _VARIABLE.fullmatch(channel)
            if variable and variable[1] not in bound:
                message = f"no pattern that must stand binds `{channel}`{_variables(variable[1], bound)}"
                self.say("rules", name, ("then", "channel"), message)
        block = rule.then.block
        if block is not None and not self.torn & {"checks", "repairs", "access"}:
            moves = self.known["checks"] | self.known["repairs"] | self.known["access"] | {VERIFY} | self.tags()
            if block not in moves:
                message = f"no tag in use and no move is called `{block}`{did_you_mean(block, moves)}"
                self.say("rules", name, ("then", "block"), message)

    def tags(self) -> set[str]:
        found: set[str] = set()
        for kind in ("checks", "repairs", "access"):
            for data in self.base.raw[kind].values():
                tags = data.get("tags") if isinstance(data, dict) else None
                found.update(tag for tag in tags or [] if isinstance(tag, str)) if isinstance(tags, list) else None
        return found


def _numbered(items: list[str], attribute: str) -> list[tuple[str, Path_]]:
    return [(item, (attribute, index)) for index, item in enumerate(items)]


def _braces(text: str) -> Iterator[str | None]:
    """What stands between braces in a text; None for a brace without a partner."""
    if "{" not in text and "}" not in text:
        return
    yield from re.findall(r"\{([^{}]*)\}", text)
    if re.search(r"[{}]", re.sub(r"\{[^{}]*\}", "", text)):
        yield None


def _binds(pattern: Pattern) -> set[str]:
    """The variables that have a value whenever the pattern stands."""
    if pattern.any:
        return set.intersection(*(_binds(inner) for inner in pattern.any))
    if pattern.fact is None:
        return set()
    tests = (test for test in pattern.where.values() if isinstance(test, str))
    return {match[1] for match in map(_VARIABLE.fullmatch, tests) if match}


def _uses(pattern: Pattern, path: Path_, *, absent: bool = False) -> Iterator[tuple[str, Path_]]:
    """The variables that a pattern only compares with, each with its place: these need a value from elsewhere."""
    for slot, test in pattern.where.items():
        here: Path_ = (*path, "where", slot)
        for word, value in test.items() if isinstance(test, dict) else [("", test)] if absent else []:
            for item in value if isinstance(value, list) else [value]:
                match = _VARIABLE.fullmatch(item) if isinstance(item, str) else None
                if match:
                    yield match[1], (*here, word) if word else here
    if pattern.absent is not None:
        yield from _uses(pattern.absent, (*path, "absent"), absent=True)
    for index, inner in enumerate(pattern.any or []):
        yield from _uses(inner, (*path, "any", index), absent=absent)


def _variables(word: str, bound: set[str]) -> str:
    near = did_you_mean(word, bound)
    return near.replace("`", "`$", 1) if near else ""


# -- the schema for editors ----------------------------------------------------------------------

_ABOUT: dict[str, str] = {
    "sources": "Where statements come from.",
    "zones": "Parts of the aircraft, each healthy or in one fault mode.",
    "checks": "Questions put to the aircraft, its papers or its crew.",
    "access": "What is opened, pulled, disconnected or done, and put back by the end.",
    "repairs": "Moves that clear faults or hand them over.",
    "cautions": "Warnings shown before the step they belong to.",
    "complaints": "What is written up.",
    "engines": "Engine types in our world.",
    "rules": "If all of `when` stands, then.",
}


def schema(knowledge: Knowledge | None = None) -> dict[str, Any]:
    """A JSON Schema (2020-12) for every knowledge file, for editors that check and complete YAML.

    With ``knowledge`` the fields that name other entries list the names there are.
    """
    models = [(model, "validation") for model in KINDS.values()]
    pairs: list[tuple[type[BaseModel], Literal["validation", "serialization"]]] = models  # type: ignore[assignment]
    _, made = models_json_schema(pairs, ref_template="#/$defs/{model}")
    defs: dict[str, Any] = made["$defs"]
    for definition in defs.values():
        for shape in definition.get("properties", {}).values():
            _close(shape)
    defs["Pattern"]["properties"]["fact"] = {"enum": list(FACTS), "description": "The fact to match."}
    slots = sorted({slot for names in FACTS.values() for slot in names})
    defs["Pattern"]["properties"]["where"]["propertyNames"] = {"enum": slots}
    if knowledge is not None:
        _enumerate(defs, knowledge)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Knowledge",
        "description": "One file of knowledge: one top key, the kind, and under it name → entry.",
        "type": "object",
        "properties": {
            kind: {
                "type": "object",
                "description": _ABOUT[kind],
                "propertyNames": {"pattern": f"^{_NAME.pattern}$"},
                "additionalProperties": {"$ref": f"#/$defs/{model.__name__}"},
                "minProperties": 1,
            }
            for kind, model in KINDS.items()
        },
        "additionalProperties": False,
        "minProperties": 1,
        "maxProperties": 1,
        "$defs": defs,
    }


def _close(shape: dict[str, Any]) -> None:
    """Refuse keys that do not fit the pattern for names."""
    if "patternProperties" in shape:
        shape["additionalProperties"] = False


def _enumerate(defs: dict[str, Any], knowledge: Knowledge) -> None:
    names = {kind: sorted(getattr(knowledge, kind)) for kind in KINDS}
    names["modes"] = sorted(mode for zone in knowledge.zones.values() for mode in zone.modes)
    for model, references in REFERENCES.items():
        for attribute, target in references.items():
            shape = defs[model.__name__]["properties"][attribute]
            choice = {"enum": names[target]}
            if shape.get("type") == "array":
                shape["items"] = choice
            elif shape.get("type") == "object":
                shape["propertyNames"] = choice
            else:
                defs[model.__name__]["properties"][attribute] = {"description": shape.get("description", ""), **choice}
    defs["Row"]["properties"]["modes"]["items"] = {"enum": [HEALTHY, *names["modes"]]}
    defs["Check"]["properties"]["given"]["propertyNames"] = {"enum": [*names["zones"], "others"]}
    clears = defs["Repair"]["properties"]["clears"]
    clears.pop("patternProperties", None)
    clears["additionalProperties"] = {"type": "array", "items": {"enum": names["modes"]}}

"""The rule layer: facts in, firings out, by forward chaining on experta.

A :class:`RuleBook` is built once from the rules of a knowledge base and evaluated as often as
needed. The firings depend on the set of facts alone, never on their order. Rules decide what is
allowed and what follows; they know nothing of probabilities beyond the facts they are given.

This is the only module that knows experta. Three of its habits are dealt with here. Its agenda
may keep a withdrawn activation when several have the same sort key, so it gets a strategy of our
own. It takes ``True`` for ``1``, so truth values are coded before they are declared. And it fires
a rule that rests on the absence of a finding before that finding is made, so rules are put into
layers: whatever asserts a finding comes before whatever asks for its absence.
"""

from __future__ import annotations

import collections
import importlib
import itertools
import logging
import math
import re
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import Enum
from functools import cache
from typing import Any, NamedTuple

from isolate.kb.model import FACTS, Pattern, Rule, Scalar

__all__ = ["KIND_ORDER", "Fact", "Firing", "RuleBook", "RuleError", "asks", "fact"]

KIND_ORDER = ("finding", "gate", "caution", "conflict", "escalation", "verdict", "advice")
"""The kinds of rules, in the order in which their firings come."""

_ASSERTS = {"finding": "finding", "gate": "block", "caution": "caution"}
_VARIABLE = re.compile(r"\$([a-z][a-z0-9-]*)")
_BLANK = re.compile(r"\{([^{}]*)\}")


REMEMBERED = 512
"""Sets of facts whose firings a book remembers; a chase asks about the same ones again and again."""


class RuleError(ValueError):
    """A rule that cannot be compiled. The message names the rule and what is wrong with it."""


# -- facts and firings ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Fact:
    """Something that stands: a kind of ``FACTS`` and the value of each of its slots."""

    kind: str
    slots: tuple[tuple[str, Scalar], ...]

    def get(self, slot: str) -> Scalar:
        """The value of a slot, ``""`` where it has none."""
        return dict(self.slots).get(slot, "")

    def as_dict(self) -> dict[str, Scalar]:
        """The kind under ``fact``, then the slots."""
        return {"fact": self.kind, **dict(self.slots)}


def fact(kind: str, /, **slots: Scalar) -> Fact:
    """A fact with every slot of its kind in order; slots not given are ``""``.

    Underscores in slot names stand for hyphens (``minutes_left``). A whole float becomes an int,
    so that 1 and 1.0 are one value.

    Raises:
        ValueError: unknown kind or slot, or a figure that is not finite.
        TypeError: a value that is not a string, number or truth value.
    """
    if kind not in FACTS:
        raise ValueError(f"no kind of fact is called {kind!r}")
    given = {name.replace("_", "-"): value for name, value in slots.items()}
    for slot in given:
        if slot not in FACTS[kind]:
            raise ValueError(f"a fact {kind!r} has no slot {slot!r}; it has {', '.join(FACTS[kind])}")
    return Fact(kind, tuple((slot, _plain(given.get(slot, ""))) for slot in FACTS[kind]))


@dataclass(frozen=True)
class Firing:
    """One rule that fired for one set of bindings.

    ``bindings`` are those of the variables that the rule says or asserts; a variable that only joins
    conditions does not make the same sentence come twice. ``matched`` holds every fact that took part
    in a match with these bindings, sorted; facts that were found absent are not in it. ``asserted``
    pairs ``finding``, ``block`` or ``caution`` with the name, and for a finding ``channel`` with the
    letter where the rule gives one.
    """

    rule: str
    kind: str
    says: str
    bindings: tuple[tuple[str, Scalar], ...]
    matched: tuple[Fact, ...]
    asserted: tuple[tuple[str, str], ...]
    source: tuple[str, ...]

    def get(self, what: str) -> str:
        """The name asserted under ``finding``, ``block``, ``caution`` or ``channel``, else ``""``."""
        return dict(self.asserted).get(what, "")

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values only."""
        return {
            "rule": self.rule,
            "kind": self.kind,
            "says": self.says,
            "bindings": dict(self.bindings),
            "matched": [one.as_dict() for one in self.matched],
            "asserted": dict(self.asserted),
            "source": list(self.source),
        }


def _plain(value: Scalar) -> Scalar:
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value!r} is not a finite figure")
        return int(value) if value.is_integer() else value
    if not isinstance(value, (str, int)):
        raise TypeError(f"{value!r} is not a string, number or truth value")
    return value


def _order(value: Scalar) -> tuple[int, bool, float, str]:
    """Sort key over mixed scalars; distinct values have distinct keys."""
    if isinstance(value, bool):
        return (0, value, 0, "")
    if isinstance(value, str):
        return (2, False, 0, value)
    return (1, False, value, "")


def _fact_order(one: Fact) -> tuple[str, tuple[tuple[str, tuple[int, bool, float, str]], ...]]:
    return (one.kind, tuple((slot, _order(value)) for slot, value in one.slots))


def _words(value: Scalar) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).replace("-", " ") if isinstance(value, str) else str(value)


# -- from an entry to branches -------------------------------------------------------------------


class _Literal(NamedTuple):
    """A pattern on one kind of fact, asked for or asked to be absent."""

    positive: bool
    kind: str
    where: dict[str, Any]


class _Branch(NamedTuple):
    """One conjunction of a rule: what must be there, in an order that binds before it compares, then what must not."""

    positives: tuple[_Literal, ...]
    negatives: tuple[_Literal, ...]


class _Compiled(NamedTuple):
    """A rule, its branches, and the variables that it says or asserts."""

    name: str
    rule: Rule
    branches: tuple[_Branch, ...]
    variables: tuple[str, ...]


def _variable(value: Any) -> str | None:
    if not (isinstance(value, str) and value.startswith("$")):
        return None
    found = _VARIABLE.fullmatch(value)
    if not found:
        raise RuleError(f"{value!r} is not a variable: write $ and a lower-case name")
    return found[1]


def _literal(pattern: Pattern, positive: bool) -> _Literal:
    kind = pattern.fact or ""
    if kind not in FACTS:
        raise RuleError(f"no kind of fact is called {kind!r}")
    for slot, test in pattern.where.items():
        if slot not in FACTS[kind]:
            raise RuleError(f"a fact {kind!r} has no slot {slot!r}; it has {', '.join(FACTS[kind])}")
        if isinstance(test, dict):
            _check_comparison(f"{kind} {slot}", test)
        else:
            _variable(test)
    return _Literal(positive, kind, dict(pattern.where))


def _check_comparison(where: str, test: Mapping[Any, Any]) -> None:
    if not test:
        raise RuleError(f"{where}: a comparison is missing")
    for name, value in test.items():
        if name == "one-of":
            if not isinstance(value, (list, tuple)) or not value:
                raise RuleError(f"{where}: one-of takes a list of values")
            if not all(isinstance(one, (str, int, float)) and not str(one).startswith("$") for one in value):
                raise RuleError(f"{where}: one-of takes plain values, no variables")
        elif name == "is-not":
            if not isinstance(value, (str, int, float)):
                raise RuleError(f"{where}: is-not takes one plain value or a variable")
            if _variable(value) and len(test) > 1:
                raise RuleError(f"{where}: is-not with a variable stands alone")
        elif isinstance(value, bool) or not isinstance(value, (int, float)):
            raise RuleError(f"{where}: {name} takes a number")


def _alternatives(pattern: Pattern, positive: bool = True) -> list[list[_Literal]]:
    """A pattern as a disjunction of conjunctions."""
    given = [pattern.fact is not None, pattern.absent is not None, pattern.any is not None]
    if sum(given) != 1 or (pattern.where and pattern.fact is None):
        raise RuleError("a condition is one of fact (with where), absent, any")
    if pattern.absent is not None:
        if not positive:
            raise RuleError("absent inside absent: say it plainly")
        return _alternatives(pattern.absent, positive=False)
    if pattern.any is not None:
        if not pattern.any:
            raise RuleError("any needs at least one condition")
        parts = [_alternatives(one, positive) for one in pattern.any]
        if positive:
            return [branch for part in parts for branch in part]
        # None of them: each must be absent.
        return [list(itertools.chain.from_iterable(chosen)) for chosen in itertools.product(*parts)]
    return [[_literal(pattern, positive)]]


def _binds(literal: _Literal) -> set[str]:
    return {name for test in literal.where.values() if (name := _variable(test))}


def _compares(literal: _Literal) -> set[str]:
    """The variables that a pattern compares with and so needs bound before it."""
    tests = (test["is-not"] for test in literal.where.values() if isinstance(test, dict) and "is-not" in test)
    return {name for test in tests if (name := _variable(test))}


def _branch(literals: Sequence[_Literal]) -> _Branch:
    waiting = [one for one in literals if one.positive]
    negatives = [one for one in literals if not one.positive]
    ordered: list[_Literal] = []
    bound: set[str] = set()
    while waiting:
        ready = next((one for one in waiting if _compares(one) <= bound), None)
        if ready is None:
            missing = sorted(set().union(*(_compares(one) for one in waiting)) - bound)
            raise RuleError(f"is-not ${missing[0]}: no other condition binds it first")
        waiting.remove(ready)
        ordered.append(ready)
        bound |= _binds(ready)
    for one in negatives:
        if not _compares(one) <= bound:
            raise RuleError(f"is-not ${min(_compares(one) - bound)}: no condition binds it")
    return _Branch(tuple(ordered), tuple(negatives))


def asks(rule: Rule, kind: str) -> bool:
    """Say whether a rule asks for a fact of this kind, anywhere but in what must be absent."""

    def found(pattern: Pattern) -> bool:
        return pattern.fact == kind or any(found(one) for one in pattern.any or ())

    return any(found(pattern) for pattern in rule.when)


def _compile(name: str, rule: Rule) -> _Compiled:
    """Check a rule and expand it into branches.

    Raises:
        RuleError: the rule cannot mean anything.
    """
    try:
        parts = [_alternatives(pattern) for pattern in rule.when]
        branches = tuple(_branch(list(itertools.chain.from_iterable(chosen))) for chosen in itertools.product(*parts))
        bound = [set().union(*(_binds(one) for one in branch.positives)) for branch in branches]
        variables = set.intersection(*bound)
        shown = set(_BLANK.findall(rule.says))
        for blank in sorted(shown - variables):
            raise RuleError(f"says {{{blank}}}, which not every branch of its conditions binds")
        _check_then(rule, variables)
    except RuleError as error:
        raise RuleError(f"rule {name}: {error}") from None
    if rule.then.channel and (asserted := _variable(rule.then.channel)):
        shown.add(asserted)
    return _Compiled(name, rule, branches, tuple(sorted(shown)))


def _check_then(rule: Rule, variables: set[str]) -> None:
    given = {what for what in ("finding", "block", "caution") if getattr(rule.then, what) is not None}
    wanted = _ASSERTS.get(rule.kind)
    if given != ({wanted} if wanted else set()):
        raise RuleError(f"a rule of kind {rule.kind} asserts {f'one {wanted}' if wanted else 'nothing'}")
    if rule.then.channel is not None:
        if wanted != "finding":
            raise RuleError(f"a rule of kind {rule.kind} gives no channel")
        name = _variable(rule.then.channel)
        if name and name not in variables:
            raise RuleError(f"then channel ${name}, which not every branch of its conditions binds")


def _layers(rules: Sequence[_Compiled]) -> dict[str, int]:
    """The layer of each rule, from 0: findings before what asks for their absence, findings before the rest.

    Raises:
        RuleError: findings that depend on their own absence.
    """
    makers: dict[str, list[str]] = {}
    for one in rules:
        if one.rule.then.finding:
            makers.setdefault(one.rule.then.finding, []).append(one.name)
    needs: dict[str, set[tuple[str, int]]] = {}
    for one in rules:
        if not one.rule.then.finding:
            continue
        needs[one.name] = set()
        for branch in one.branches:
            for literal in (*branch.positives, *branch.negatives):
                if literal.kind != "finding":
                    continue
                asked = literal.where.get("name")
                fixed = isinstance(asked, str) and not _variable(asked)
                for made, names in makers.items():
                    if not fixed or made == asked:
                        needs[one.name].update((maker, 0 if literal.positive else 1) for maker in names)
    layer = dict.fromkeys(needs, 0)
    for _ in range(len(needs) + 1):
        raised = False
        for name, before in needs.items():
            least = max((layer[maker] + step for maker, step in before), default=0)
            if least > layer[name]:
                layer[name], raised = least, True
        if not raised:
            break
    else:
        ring = sorted(name for name, depth in layer.items() if depth == max(layer.values()))
        raise RuleError(f"rules {', '.join(ring)}: a finding depends on its own absence")
    last = max(layer.values(), default=0) + 1
    return {one.name: layer.get(one.name, last) for one in rules}


# -- experta -------------------------------------------------------------------------------------


class _Truth(Enum):
    """Truth values as experta sees them, so that true is never taken for 1."""

    YES = True
    NO = False


def _coded(value: Any) -> Any:
    if isinstance(value, bool):
        return _Truth(value)
    return _plain(value)


def _decoded(value: Any) -> Scalar:
    plain: Scalar = value.value if isinstance(value, _Truth) else value
    return plain


class _Kit(NamedTuple):
    """What is used of experta, and what is made from it once."""

    experta: Any
    facts: Mapping[str, Any]
    kinds: Mapping[Any, str]
    strategy: Any


@contextmanager
def _lent_names() -> Iterator[None]:
    """Give ``collections`` the name that frozendict 1.2 looks for, and take it back.

    Experta pins that release, which names ``collections.Mapping``; Python 3.10 dropped the alias.
    """
    if hasattr(collections, "Mapping"):
        yield
        return
    collections.Mapping = Mapping  # type: ignore[attr-defined]
    try:
        yield
    finally:
        del collections.Mapping  # type: ignore[attr-defined]


@contextmanager
def _quiet_logging() -> Iterator[None]:
    """Experta sets up the root logger when it is imported; leave that to whoever owns the screen."""
    root = logging.getLogger()
    before = list(root.handlers)
    try:
        yield
    finally:
        for handler in [one for one in root.handlers if one not in before]:
            root.removeHandler(handler)


@cache
def _kit() -> _Kit:
    with _lent_names(), _quiet_logging():
        experta = importlib.import_module("experta")
        strategies = importlib.import_module("experta.abstract")
    experta.unwatch()

    def update(self: Any, agenda: Any, added: Sequence[Any], removed: Sequence[Any]) -> None:
        # experta's own strategy looks for a withdrawn activation at three places of a sorted list
        # and misses it when more than that share a sort key.
        for one in removed:
            with suppress(ValueError):
                agenda.activations.remove(one)
        if added:
            agenda.activations.extend(added)
            agenda.activations.sort(key=lambda one: one.rule.salience)

    strategy = type("LayerStrategy", (strategies.Strategy,), {"_update_agenda": update})
    facts = {kind: type(f"Fact_{kind}", (experta.Fact,), {}) for kind in FACTS}
    return _Kit(experta, facts, {made: kind for kind, made in facts.items()}, strategy)


@cache
def _predicate(comparisons: tuple[tuple[str, Any], ...]) -> Callable[[Any], bool]:
    """One function for equal comparisons, because experta shares a node by the function's identity."""

    def holds(value: Any) -> bool:
        return all(_holds(value, name, limit) for name, limit in comparisons)

    return holds


def _holds(value: Any, name: str, limit: Any) -> bool:
    if name == "one-of":
        return value in limit
    if name == "is-not":
        return bool(value != limit)
    if not isinstance(value, (int, float)):
        return False  # a slot without a figure passes no comparison of figures
    if name == "at-least":
        return bool(value >= limit)
    if name == "at-most":
        return bool(value <= limit)
    return bool(value > limit) if name == "above" else bool(value < limit)


def _condition(kit: _Kit, literal: _Literal, bind: str) -> Any:
    slots: dict[str, Any] = {}
    for slot, test in literal.where.items():
        if isinstance(test, dict):
            name = _variable(test.get("is-not"))
            if name:
                slots[slot] = ~(getattr(kit.experta.MATCH, f"v_{name}"))
                continue
            limits = tuple(
                (key, tuple(map(_coded, value)) if key == "one-of" else _coded(value))
                for key, value in sorted(test.items())
            )
            slots[slot] = kit.experta.P(_predicate(limits))
        elif name := _variable(test):
            slots[slot] = getattr(kit.experta.MATCH, f"v_{name}")
        else:
            slots[slot] = _coded(test)
    return getattr(kit.experta.AS, bind) << kit.facts[literal.kind](**slots)


def _engine(compiled: Sequence[_Compiled]) -> Any:
    """An experta engine with one rule for each branch; it collects what fires in ``seen``."""
    kit = _kit()
    layer = _layers(compiled)
    members: dict[str, Any] = {"__strategy__": kit.strategy}
    for index, one in enumerate(compiled):
        for branch_index, branch in enumerate(one.branches):
            conditions = [_condition(kit, literal, f"f_{place}") for place, literal in enumerate(branch.positives)]
            conditions += [
                kit.experta.NOT(_condition(kit, literal, f"n_{place}"))
                for place, literal in enumerate(branch.negatives)
            ]
            if not branch.positives:
                conditions.insert(0, kit.experta.InitialFact())
            label = f"rule_{index}_{branch_index}"
            members[label] = kit.experta.Rule(*conditions, salience=-layer[one.name])(_action(kit, label, one))
    return type("RuleEngine", (kit.experta.KnowledgeEngine,), members)()


def _action(kit: _Kit, label: str, one: _Compiled) -> Callable[..., None]:
    then = one.rule.then
    variables = tuple((name, f"v_{name}") for name in one.variables)

    def act(engine: Any, **context: Any) -> None:
        bound = tuple((name, _decoded(context[key])) for name, key in variables)
        key = (one.name, tuple((name, _order(value)) for name, value in bound))
        found = engine.seen.get(key)
        if found is None:
            found = engine.seen[key] = (one, bound, {})
            if then.finding:
                channel = _filled(then.channel, bound)
                engine.declare(kit.facts["finding"](name=then.finding, channel=channel))
        found[2].update((value["__factid__"], value) for name, value in context.items() if name.startswith("f_"))

    act.__name__ = label  # unlike functions under one name, the rules stay apart in experta's eyes
    return act


def _filled(channel: str | None, bound: Iterable[tuple[str, Scalar]]) -> str:
    name = _variable(channel)
    return str(dict(bound)[name]) if name else channel or ""


# -- the book ------------------------------------------------------------------------------------


class RuleBook:
    """The rules of one knowledge base, compiled once.

    Rules are checked when the book is made; the engine is built at the first :meth:`run`, which is
    when experta is imported, and is used again by every later run. Not for several threads at once.

    Raises:
        RuleError: a rule that cannot be compiled, or findings that depend on their own absence.
    """

    def __init__(self, rules: Mapping[str, Rule]) -> None:
        self._compiled = tuple(_compile(name, rules[name]) for name in sorted(rules))
        _layers(self._compiled)
        self._wanted = _wanted(self._compiled)
        self._engine: Any = None
        self._known: OrderedDict[tuple[Any, ...], tuple[Firing, ...]] = OrderedDict()

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the rules, sorted."""
        return tuple(one.name for one in self._compiled)

    def run(self, facts: Iterable[Fact]) -> tuple[Firing, ...]:
        """Every rule that fires on these facts, once for each set of bindings.

        The result is in the order of :data:`KIND_ORDER`, then of the rules' names, then of the
        bindings, whatever the order of ``facts``; equal facts count once.

        Raises:
            ValueError, TypeError: a fact of unknown kind or with an unknown slot or value.
        """
        distinct = {_fact_order(one): one for one in map(_whole, facts) if self._matters(one)}
        given = tuple(sorted(distinct))
        if given in self._known:
            self._known.move_to_end(given)
            return self._known[given]
        fired = self._fire([distinct[key] for key in given])
        self._known[given] = fired
        if len(self._known) > REMEMBERED:
            self._known.popitem(last=False)
        return fired

    def _matters(self, one: Fact) -> bool:
        """Say whether any pattern could match a fact by its constants; experta need not see the others."""
        slots = dict(one.slots)
        return any(
            all(_holds(_coded(slots[slot]), name, limit) for slot, name, limit in tests)
            for tests in self._wanted.get(one.kind, ())
        )

    def _fire(self, facts: Sequence[Fact]) -> tuple[Firing, ...]:
        kit = _kit()
        if self._engine is None:
            self._engine = _engine(self._compiled)
        engine = self._engine
        engine.seen = {}
        try:
            engine.reset()
            engine.declare(
                *(kit.facts[one.kind](**{slot: _coded(value) for slot, value in one.slots}) for one in facts)
            )
            engine.run()
        except BaseException:
            self._engine = None  # a run broken off leaves activations behind in experta's nodes
            raise
        originals: dict[int, Fact] = {}
        fired = (_firing(kit, one, bound, matched, originals) for one, bound, matched in engine.seen.values())
        return tuple(sorted(fired, key=_firing_order))


def _wanted(compiled: Iterable[_Compiled]) -> dict[str, tuple[tuple[tuple[str, str, Any], ...], ...]]:
    """Return, for each kind of fact, the constant tests of each pattern on it as (slot, comparison, limit)."""
    found: dict[str, dict[tuple[tuple[str, str, Any], ...], None]] = {}
    for one in compiled:
        for branch in one.branches:
            for literal in (*branch.positives, *branch.negatives):
                tests: list[tuple[str, str, Any]] = []
                for slot, test in literal.where.items():
                    if isinstance(test, dict):
                        if not _variable(test.get("is-not")):
                            tests += [
                                (slot, name, tuple(map(_coded, limit)) if name == "one-of" else _coded(limit))
                                for name, limit in test.items()
                            ]
                    elif not _variable(test):
                        tests.append((slot, "one-of", (_coded(test),)))
                found.setdefault(literal.kind, {})[tuple(tests)] = None
    return {kind: tuple(patterns) for kind, patterns in found.items()}


def _whole(one: Fact) -> Fact:
    return fact(one.kind, **dict(one.slots))


def _firing(
    kit: _Kit,
    one: _Compiled,
    bound: tuple[tuple[str, Scalar], ...],
    matched: Mapping[int, Any],
    originals: dict[int, Fact],
) -> Firing:
    for number, declared in matched.items():
        if number not in originals:
            kind = kit.kinds[type(declared)]
            originals[number] = Fact(kind, tuple((slot, _decoded(declared[slot])) for slot in FACTS[kind]))
    values = dict(bound)
    then = one.rule.then
    asserted = [(what, name) for what in ("finding", "block", "caution") if (name := getattr(then, what))]
    if then.channel is not None:
        asserted.append(("channel", _filled(then.channel, bound)))
    return Firing(
        rule=one.name,
        kind=one.rule.kind,
        says=_BLANK.sub(lambda blank: _words(values[blank[1]]), one.rule.says),
        bindings=bound,
        matched=tuple(sorted((originals[number] for number in matched), key=_fact_order)),
        asserted=tuple(asserted),
        source=tuple(one.rule.source),
    )


def _firing_order(firing: Firing) -> tuple[Any, ...]:
    return (KIND_ORDER.index(firing.kind), firing.rule, tuple((name, _order(value)) for name, value in firing.bindings))

"""What sound rules still get wrong: words that nothing gives, conditions that cannot meet, two rules for one thing.

Everything here is decided from the rules and the engines alone, without a case: what is said of a rule is so
whatever a case may tell.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import permutations, product
from typing import Any, NamedTuple, get_args

from isolate.kb.check_view import Path, View, listed, literals, patterns
from isolate.kb.fit import Fitted
from isolate.kb.model import (
    VERIFY,
    Access,
    Check,
    Complaint,
    Condition,
    Knowledge,
    Mode,
    Pattern,
    Place,
    Profile,
    Repair,
    Rule,
)
from isolate.kb.names import near

__all__ = ["alive_rules", "coded", "rules_that_agree", "rules_that_fire", "values"]

# -- what can stand in a slot --------------------------------------------------------------------

Words = Mapping[tuple[str, str], Collection[Any]]
"""By fact and slot, the values that something produces. A slot that is missing can hold anything."""


class _Has(NamedTuple):
    """What all the knowledge has, or one engine of it."""

    engines: Mapping[str, Profile]
    zones: Mapping[str, Mapping[str, Mode]]
    checks: Mapping[str, Check]
    access: Mapping[str, Access]
    repairs: Mapping[str, Repair]
    cautions: Collection[str]
    complaints: Mapping[str, Complaint]
    rules: Mapping[str, Rule]


def _of_all(base: Knowledge) -> _Has:
    zones = {name: zone.modes for name, zone in base.zones.items()}
    return _Has(base.engines, zones, base.checks, base.access, base.repairs, base.cautions, base.complaints, base.rules)


def _of_engine(fitted: Fitted) -> _Has:
    return _Has(
        {fitted.name: fitted.profile},
        {key.partition("/")[0]: zone.modes for key, zone in fitted.zones.items()},
        {fitting.name: fitting.entry for fitting in fitted.checks.values()},
        {fitting.name: fitting.entry for fitting in fitted.access.values()},
        {fitting.name: fitting.entry for fitting in fitted.repairs.values()},
        fitted.cautions,
        fitted.complaints,
        fitted.rules,
    )


def _words(has: _Has) -> dict[tuple[str, str], set[Any]]:
    """By fact and slot, the values that something in the knowledge or the program produces."""
    profiles = list(has.engines.values())
    steps: list[Check | Repair | Access] = [*has.checks.values(), *has.repairs.values(), *has.access.values()]
    modes = {name: mode for zone in has.zones.values() for name, mode in zone.items()}
    moves = {*has.checks, *has.repairs, *has.access, VERIFY}
    letters = {letter for profile in profiles for letter in profile.channels} | {""}
    words: dict[tuple[str, str], set[Any]] = {
        ("case", "engine"): set(has.engines),
        ("case", "complaint"): set(has.complaints),
        ("case", "place"): set(get_args(Place)),
        ("case", "condition"): set(get_args(Condition)),
        ("case", "now"): set(get_args(Condition)),
        ("case", "selection"): {profile.selection for profile in profiles},
        ("feature", "name"): {feature for profile in profiles for feature in profile.features},
        ("person", "authority"): {word for step in steps for word in step.authority},
        ("at-hand", "item"): {word for step in steps for word in step.tools},
        ("pattern", "kind"): {
            *("alternate-fails", "one-channel-fails", "one-lane-fails", "never-alone", "all-fail", "some-fail"),
            "all-light",
        },
        ("done", "work"): {"other-engine", *has.repairs},
        ("earlier", "repair"): set(has.repairs),
        ("earlier", "complaint"): {"same", "other", "told"},
        ("earlier", "shop"): {"confirmed", "not-confirmed", "other", ""},
        ("answer", "check"): set(has.checks),
        ("answer", "outcome"): {outcome for check in has.checks.values() for outcome in check.outcomes},
        ("declined", "move"): moves,
        ("access", "name"): set(has.access),
        ("access", "state"): {"open", "shut", "unknown"},
        ("confirmed", "caution"): set(has.cautions),
        ("suspect", "mode"): set(modes),
        ("suspect", "part"): {mode.part for mode in modes.values()},
        ("suspect", "zone"): set(has.zones),
        ("surprise", "level"): {"low", "high"},
        ("repaired", "repair"): set(has.repairs),
        ("verified", "result"): {"passed", "failed"},
        ("about-to", "move"): moves,
        ("about-to", "kind"): {"check", "repair", "open", "close", "verify"},
        ("about-to", "tag"): {tag for step in steps for tag in step.tags} | {""},
        ("finding", "name"): {rule.then.finding for rule in has.rules.values()} - {None},
    }
    per_channel = ("answer", "declined", "access", "suspect", "channel-fault", "repaired", "about-to", "finding")
    for fact in (*per_channel, "earlier"):
        words[fact, "channel"] = letters
    return words


def _known(has: Iterable[_Has], words: Words, pattern: Pattern | _Atom, slot: str) -> Collection[Any] | None:
    """What the slot can hold, as far as the rest of the pattern narrows it; None when anything may stand there."""
    fact = str(pattern.fact)
    if fact == "answer" and slot == "outcome":
        name = pattern.where.get("check")
        for one in has:
            if isinstance(name, str) and name in one.checks:
                return set(one.checks[name].outcomes)
    if fact == "feature" and slot == "value":
        name = pattern.where.get("name")
        if not isinstance(name, str):
            return None
        held = [p.features[name] for one in has for p in one.engines.values() if name in p.features]
        # A feature that an engine says yes or no to can be either way; of an unknown one its name is told already.
        return {*held, *((True, False) if any(isinstance(value, bool) for value in held) else ())} or None
    return words.get((fact, slot))


# -- rules that fire -----------------------------------------------------------------------------


def rules_that_fire(view: View, alive: Mapping[str, Collection[str]]) -> None:
    """Say of each rule what in it can never be met on an engine that has the rule."""
    everything = [_of_all(view.knowledge)]
    vocabulary = _words(everything[0])
    shared: dict[tuple[str, ...], tuple[list[_Has], Words]] = {(): (everything, vocabulary)}
    judges = {engine: _judge(fitted, alive[engine]) for engine, fitted in view.fits.items()}
    for name, rule in view.knowledge.rules.items():
        having = tuple(engine for engine, fitted in view.fits.items() if name in fitted.rules)
        if having not in shared:
            has = [_of_engine(view.fits[engine]) for engine in having]
            shared[having] = has, _together([_words(one) for one in has])
        here, words = shared[having]
        told = False
        for pattern, path in patterns(rule):
            for slot, test in pattern.where.items():
                known = _known(here, words, pattern, slot)
                for word, inner, _ in literals(test):
                    if known is not None and word not in known:
                        told = True
                        elsewhere = _known(everything, vocabulary, pattern, slot)
                        message = f"nothing gives `{pattern.fact}` the {slot} `{_shown(word)}`"
                        if elsewhere is None or word in elsewhere:
                            message += " on an engine that has this rule"
                        else:
                            message += near(word, (str(item) for item in known))
                        view.say("rules", name, (*path, "where", slot, *inner), message)
        for engine in having:
            if rule.then.caution is not None and rule.then.caution not in view.fits[engine].cautions:
                message = f"shows `{rule.then.caution}`, which is not there"
                view.say("rules", name, ("then", "caution"), message, engine)
        if not told and having:
            fires = any(name in alive[engine] for engine in having)
            _say_dead(view, name, rule, {engine: judges[engine] for engine in having}, fires)


def _together(all_words: Iterable[Words]) -> Words:
    found: dict[tuple[str, str], set[Any]] = {}
    for words in all_words:
        for key, values in words.items():
            found.setdefault(key, set()).update(values)
    return found


def _shown(word: Any) -> str:
    return str(word).lower() if isinstance(word, bool) else str(word)


def _say_dead(view: View, name: str, rule: Rule, judges: Mapping[str, _Judge], fires: bool) -> None:
    branches = _branches(rule)
    if fires and len(branches) == 1:
        return
    why = {engine: [judge(branch.atoms) for branch in branches] for engine, judge in judges.items()}
    if not fires:
        for engine, reasons in why.items():
            path, text = reasons[0] or (("when",), "what it asks for never stands together")
            view.say("rules", name, path, f"can never fire: {text}", engine)
        return
    for member in sorted({member for branch in branches for member in branch.members}, key=str):
        held = [index for index, branch in enumerate(branches) if member in branch.members]
        dead = [reasons[index] for reasons in why.values() for index in held]
        if dead[0] is not None and None not in dead:
            view.say("rules", name, member, f"this alternative never stands: {dead[0][1]}")


def alive_rules(fitted: Fitted) -> frozenset[str]:
    """The rules of an engine that can fire there, as far as that shows without a case.

    What waits for a finding needs another rule that can make it; so this starts with none.
    """
    alive: set[str] = set()
    branches = {name: _branches(rule) for name, rule in fitted.rules.items()}
    has = _of_engine(fitted)
    words = _words(has)
    while True:
        judge = _judge(fitted, alive, has, words)
        more = {
            name for name in branches.keys() - alive if any(judge(branch.atoms) is None for branch in branches[name])
        }
        if not more:
            return frozenset(alive)
        alive |= more


class _Atom(NamedTuple):
    """A fact that a rule asks for, or whose absence it asks for."""

    positive: bool
    fact: str
    where: Mapping[str, Any]
    path: Path


class _Branch(NamedTuple):
    """What must stand together for a rule to fire in one way, and which alternatives that takes."""

    atoms: tuple[_Atom, ...]
    members: frozenset[Path]


def _branches(rule: Rule) -> list[_Branch]:
    parts = [_ways(pattern, ("when", index), True) for index, pattern in enumerate(rule.when)]
    return [_joined(chosen) for chosen in product(*parts)]


def _joined(branches: Iterable[_Branch]) -> _Branch:
    chosen = list(branches)
    atoms = tuple(atom for branch in chosen for atom in branch.atoms)
    return _Branch(atoms, frozenset().union(*(branch.members for branch in chosen)))


def _ways(pattern: Pattern, path: Path, positive: bool) -> list[_Branch]:
    if pattern.absent is not None:
        return _ways(pattern.absent, (*path, "absent"), False)
    if pattern.any is not None:
        places = [(*path, "any", index) for index in range(len(pattern.any))]
        parts = [_ways(inner, place, positive) for inner, place in zip(pattern.any, places, strict=True)]
        if not positive:
            # None of them: each must be absent.
            return [_joined(chosen) for chosen in product(*parts)]
        return [
            _Branch(branch.atoms, branch.members | {place})
            for part, place in zip(parts, places, strict=True)
            for branch in part
        ]
    return [_Branch((_Atom(positive, str(pattern.fact), pattern.where, path),), frozenset())]


# -- whether conditions can meet -----------------------------------------------------------------

_RANGES: Mapping[tuple[str, str], tuple[float, float]] = {
    ("suspect", "percent"): (0, 100),
    ("remaining", "percent"): (0, 100),
    ("channel-fault", "percent"): (0, 100),
    ("suspect", "rank"): (1, math.inf),
    ("start", "number"): (1, math.inf),
    ("answer", "count"): (1, math.inf),
    ("repaired", "count"): (1, math.inf),
    ("earlier", "days"): (0, math.inf),
    ("earlier", "times"): (1, math.inf),
    ("pattern", "count"): (0, math.inf),
    ("motored", "count"): (0, math.inf),
    ("surprise", "doubted"): (0, math.inf),
    ("case", "people"): (0, math.inf),
    ("case", "spent"): (0, math.inf),
}
"""Figures that a slot never leaves."""

_ONE: Mapping[str, tuple[str, ...]] = {
    "case": (),
    "remaining": (),
    "surprise": (),
    "motored": (),
    "verified": (),
    "feature": ("name",),
    "access": ("name", "channel"),
    "suspect": ("rank",),
    "channel-fault": ("channel",),
    "start": ("number",),
    "repaired": ("repair", "channel"),
    "earlier": ("repair", "channel", "complaint"),
}
"""Facts of which only one stands for the same values of these slots: all tests on it must hold together."""


@dataclass(frozen=True)
class _Values:
    """What a slot may hold: some words or any, less those ruled out, figures within limits."""

    words: frozenset[Any] | None = None
    out: frozenset[Any] = frozenset()
    low: tuple[float, bool] = (-math.inf, False)
    high: tuple[float, bool] = (math.inf, False)
    figure: bool = False

    def both(self, other: _Values) -> _Values:
        words = self.words if other.words is None else other.words
        if self.words is not None and other.words is not None:
            words = self.words & other.words
        # Of two equal limits the one that keeps the limit itself out is the closer.
        low = max(self.low, other.low)
        high = min(self.high, other.high, key=lambda limit: (limit[0], not limit[1]))
        return _Values(words, self.out | other.out, low, high, self.figure or other.figure)

    def takes(self, word: Any) -> bool:
        if word in self.out or (self.words is not None and word not in self.words):
            return False
        if not isinstance(word, int | float):
            return not self.figure
        above = word > self.low[0] if self.low[1] else word >= self.low[0]
        return above and (word < self.high[0] if self.high[1] else word <= self.high[0])

    def nothing(self) -> bool:
        if self.words is not None:
            return not any(self.takes(word) for word in self.words)
        if not self.figure:
            return False
        (low, low_out), (high, high_out) = self.low, self.high
        return low > high or (low == high and (low_out or high_out or low in self.out))

    def within(self, other: _Values) -> bool:
        """Whether all that this takes the other takes as well."""
        if self.words is not None:
            return all(other.takes(word) for word in self.words if self.takes(word))
        return self.both(other) == self


def coded(word: Any) -> Any:
    """Truth values apart from the figures 0 and 1."""
    return ("truth", word) if isinstance(word, bool) else word


def _variable(test: Any) -> str | None:
    return test[1:] if isinstance(test, str) and test.startswith("$") else None


def values(test: Any) -> _Values:
    """What a test takes; a variable, or not a variable's value, takes anything."""
    if not isinstance(test, dict):
        return _Values() if test is None or _variable(test) else _Values(words=frozenset([coded(test)]))
    found = _Values()
    for word, value in test.items():
        if word == "one-of":
            found = found.both(_Values(words=frozenset(map(coded, value))))
        elif word == "is-not":
            found = found.both(_Values() if _variable(value) else _Values(out=frozenset([coded(value)])))
        elif word in ("at-least", "above"):
            found = found.both(_Values(low=(value, word == "above"), figure=True))
        else:
            found = found.both(_Values(high=(value, word == "below"), figure=True))
    return found


_Reason = tuple[Path, str]
_Judge = Callable[[Iterable[_Atom]], _Reason | None]


def _judge(
    fitted: Fitted, alive: Collection[str], all_has: _Has | None = None, all_words: Words | None = None
) -> _Judge:
    """What says, on an engine where these rules can fire, why facts never stand together; None if they may."""
    has = [all_has or _of_engine(fitted)]
    words = dict(all_words or _words(has[0]))
    made = {fitted.rules[name].then.finding for name in alive}
    shown = {caution for cautions in _entries(fitted) for caution in cautions}
    shown |= {caution for name in alive if (caution := fitted.rules[name].then.caution) is not None}
    words["finding", "name"] = made - {None}
    words["confirmed", "caution"] = shown

    def can_hold(atom: _Atom, slot: str) -> _Values:
        known = _known(has, words, atom, slot)
        low, high = _RANGES.get((atom.fact, slot), (-math.inf, math.inf))
        within = _Values(low=(low, False), high=(high, False))
        return within if known is None else within.both(_Values(words=frozenset(map(coded, known))))

    def judge(atoms: Iterable[_Atom]) -> _Reason | None:
        wanted = [atom for atom in atoms if atom.positive]
        for atom in wanted:
            for slot, test in atom.where.items():
                if can_hold(atom, slot).both(values(test)).nothing():
                    text = f"nothing gives `{atom.fact}` the {slot} {_said(test)}"
                    return (*atom.path, "where", slot), text
        return (
            _clash(wanted, can_hold)
            or _both_ways(wanted, [atom for atom in atoms if not atom.positive])
            or _always_there(fitted, [atom for atom in atoms if not atom.positive])
        )

    return judge


def _entries(fitted: Fitted) -> Iterator[tuple[str, ...]]:
    """The cautions that the steps of an engine show, step by step."""
    yield from (check.cautions for check in fitted.checks.values())
    yield from (repair.cautions for repair in fitted.repairs.values())
    for state in fitted.access.values():
        yield state.open.cautions
        yield state.close.cautions


def _said(test: Any) -> str:
    if isinstance(test, dict):
        return " and ".join(f"{word} {_said(value)}" for word, value in test.items())
    if isinstance(test, list):
        return ", ".join(map(_said, test))
    return f"`{_shown(test)}`"


def _clash(wanted: Iterable[_Atom], can_hold: Callable[[_Atom, str], _Values]) -> _Reason | None:
    """Why facts of which there is only one, or variables, cannot be all that is asked of them."""
    ones: dict[Any, dict[str, tuple[_Values, Any]]] = {}
    places: dict[str, list[tuple[_Atom, str, dict[str, tuple[_Values, Any]]]]] = {}
    for atom in wanted:
        keys = _ONE.get(atom.fact)
        terms = None if keys is None else [atom.where.get(key) for key in keys]
        alone = terms is None or any(term is None or isinstance(term, dict) for term in terms)
        one: dict[str, tuple[_Values, Any]] = (
            {} if alone or terms is None else ones.setdefault((atom.fact, tuple(map(coded, terms))), {})
        )
        for slot, test in atom.where.items():
            before, told = one.get(slot, (can_hold(atom, slot), None))
            now = before.both(values(test))
            if now.nothing():
                text = f"one `{atom.fact}` cannot have the {slot} {_said(told)} and {_said(test)}"
                return (*atom.path, "where", slot), text
            one[slot] = now, test if _variable(test) is None else told
            name = _variable(test)
            if name:
                places.setdefault(name, []).append((atom, slot, one))
    for name, uses in places.items():
        value = _Values()
        for atom, slot, one in uses:
            value = value.both(one[slot][0])
            if value.nothing():
                slots = listed(dict.fromkeys(f"{used.fact} {word}" for used, word, _ in uses))
                return (*atom.path, "where", slot), f"nothing can be `${name}` everywhere it stands ({slots})"
    return None


def _both_ways(wanted: Iterable[_Atom], unwanted: Iterable[_Atom]) -> _Reason | None:
    """Why a fact would have to stand and be absent: whatever meets the one pattern meets the other."""
    for absent in unwanted:
        for atom in wanted:
            if atom.fact == absent.fact and all(
                slot in atom.where and _implies(atom.where[slot], test) for slot, test in absent.where.items()
            ):
                return absent.path, f"it asks for `{atom.fact}` and for its absence"
    return None


def _implies(test: Any, other: Any) -> bool:
    """Whether whatever passes the first test passes the second."""
    if test == other and type(test) is type(other):
        return True
    if _variable(other) or (isinstance(other, dict) and _variable(other.get("is-not"))):
        return False
    return values(test).within(values(other))


def _always_there(fitted: Fitted, unwanted: Iterable[_Atom]) -> _Reason | None:
    """Why something cannot be absent: the engine has it, and nothing takes it away."""
    for atom in unwanted:
        name, value = atom.where.get("name"), atom.where.get("value")
        held = fitted.profile.features.get(str(name))
        # What an engine says yes or no to can be either way; what a variable stands for is not told here.
        sure = held is not None and not isinstance(held, bool) and _variable(value) is None
        if atom.fact == "feature" and sure and values(value).takes(held):
            return atom.path, f"`{name}` is never absent"
        ends = {"engine": fitted.name, "selection": fitted.profile.selection}
        settled = atom.fact == "case" and atom.where.keys() <= ends.keys()
        if settled and all(values(test).takes(ends[slot]) for slot, test in atom.where.items()):
            return atom.path, "such a case is never absent"
    return None


# -- two rules for one thing ---------------------------------------------------------------------


def rules_that_agree(view: View) -> None:
    """Say which rules of one kind stand on the same conditions and yet say or do two things."""
    first: dict[Any, list[tuple[str, Any, Any]]] = {}
    for name, rule in view.knowledge.rules.items():
        when, says, then = _form(rule)
        # One gate blocks one thing and one caution rule shows one caution: several of them may share conditions.
        key = (rule.kind, when, then if rule.kind in ("gate", "caution") else None)
        for other, others_says, others_then in first.setdefault(key, []):
            if view.fits and not any({name, other} <= fitted.rules.keys() for fitted in view.fits.values()):
                continue
            where = f"`{other}` ({view.line('rules', other)})"
            if then != others_then:
                message = f"concludes from the conditions of {where} something else"
            elif says != others_says:
                message = f"says on the conditions of {where} something else"
            else:
                message = f"is {where} over again"
            view.say("rules", name, (), message)
            break
        first[key].append((name, says, then))


def _form(rule: Rule) -> tuple[Any, Any, Any]:
    """Conditions, sentence and effect of a rule, whatever its variables are called and its conditions' order."""
    blank: dict[Any, list[Pattern]] = {}
    for pattern in rule.when:
        blank.setdefault(_plain(pattern, lambda name: "$"), []).append(pattern)
    orders: Iterable[tuple[tuple[Pattern, ...], ...]] = product(
        *(
            permutations(blank[shape]) if len(blank[shape]) < 5 else [tuple(blank[shape])]
            for shape in sorted(blank, key=repr)
        )
    )
    forms = []
    for order in orders:
        numbers: dict[str, str] = {}

        def number(name: str, numbers: dict[str, str] = numbers) -> str:
            return numbers.setdefault(name, f"${len(numbers)}")

        when = tuple(_plain(pattern, number) for group in order for pattern in group)
        says = re.sub(r"\{([^{}]*)\}", lambda found, number=number: f"{{{number(found[1])}}}", rule.says)  # type: ignore[misc]
        channel = rule.then.channel
        channel = number(channel[1:]) if channel is not None and channel.startswith("$") else channel
        forms.append((when, " ".join(says.split()), (rule.then.finding, channel, rule.then.block, rule.then.caution)))
    return min(forms, key=repr)


def _plain(pattern: Pattern, name: Callable[[str], str]) -> Any:
    if pattern.absent is not None:
        return ("absent", _plain(pattern.absent, name))
    if pattern.any is not None:
        return ("any", *sorted((_plain(inner, name) for inner in pattern.any), key=repr))
    return ("fact", pattern.fact, *((slot, _term(test, name)) for slot, test in sorted(pattern.where.items())))


def _term(test: Any, name: Callable[[str], str]) -> str:
    if isinstance(test, dict):
        return repr(
            [(w, sorted(map(repr, v)) if isinstance(v, list) else _term(v, name)) for w, v in sorted(test.items())]
        )
    variable = _variable(test)
    return name(variable) if variable else repr(test)

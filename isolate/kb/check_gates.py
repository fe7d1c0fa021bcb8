"""Gates that nothing can lift, cautions that only come where a gate holds, and harm that is not told.

A gate is there to be lifted: by a state opened or shut, a caution confirmed, an answer, by time, or by somebody who
is here or not. Where whatever would lift it lies behind the gate itself, or is not on the engine at all, nobody can
go on.

In a drill somebody may go on in spite of a gate or a wait. Then he or she is told the harm, where it is written.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from isolate.kb.check_rules import coded, values
from isolate.kb.check_view import Step, View, above, listed, literals, patterns, steps
from isolate.kb.fit import Fitted
from isolate.kb.model import VERIFY, Pattern, Rule

__all__ = ["gates"]

_TOLD = ("case", "feature", "person", "at-hand", "start", "pattern", "done")
"""Facts that no step on the aircraft takes away (but see ``_RUNS_ON``)."""

_RUNS_ON = ("minutes-left", "spent")
"""Slots of the case that change by themselves."""

_ENGINE = {"engine", "selection"}
"""Slots of the case that an engine settles."""

_LIMITS = ("about-to", "case", "feature", "person", "at-hand", "motored", "done", "declined")
"""What a gate about a step rests on that only refuses: who is here, what is at hand, the limits of the operator."""

_GIVEN = {"answer": ("check", "check"), "repaired": ("repair", "repair")}
"""Facts that a step of some kind brings: fact → the slot that names the step, and its kind."""

_Reasons = frozenset[str]
_Node = tuple[str, str]
"""A step: its kind, and its name or key."""


def gates(view: View, alive: Mapping[str, Collection[str]]) -> None:
    """Say which gates nothing can lift on an engine, and why."""
    blocking: set[str] = set()
    for engine, fitted in view.fits.items():
        here = _engine(fitted, alive[engine])
        waits: dict[_Node, dict[_Node, str]] = {}
        for name, rule in fitted.rules.items():
            if rule.kind != "gate" or name not in alive[engine]:
                continue
            gate = _gate(here, rule)
            if not gate.blocked:
                continue
            blocking.add(name)
            if all(_fixed(pattern) for pattern in rule.when):
                message = "always stands: what it blocks can never be done"
                view.say("rules", name, ("then", "block"), message, engine)
                continue
            stuck: dict[str, list[Step]] = {}
            for step in gate.blocked:
                found = [_stands(here, gate, step, pattern) for pattern in rule.when]
                if None not in found:
                    for reason in set().union(*(reasons or () for reasons in found)):
                        stuck.setdefault(reason, []).append(step)
            for reason, held in stuck.items():
                which = "" if reason.startswith("waits") else f" for {_named(held)}"
                view.say("rules", name, ("then", "block"), f"{reason}: nothing can lift it{which}", engine)
            if not stuck:
                _await(here, gate, name, rule, waits)
        for name, node, other in _rings(here, waits):
            message = f"holds {_way(node)} until {_way(other)} is done, which waits for {_way(node)} in turn"
            view.say("rules", name, ("then", "block"), f"{message}: nothing can lift it", engine)
        _never_shown(view, here, alive[engine])
    for name, rule in view.knowledge.rules.items():
        fires = any(name in firing for firing in alive.values())
        if rule.kind == "gate" and fires and name not in blocking and rule.then.block != VERIFY:
            message = f"blocks nothing: no step that it is about is `{rule.then.block}` on an engine that has this rule"
            view.say("rules", name, ("then", "block"), message)
    _harms(view)


class _Engine(NamedTuple):
    fitted: Fitted
    steps: tuple[Step, ...]
    shown: Mapping[str, frozenset[Step]]
    """By caution, the steps before which an entry or a rule shows it."""


def _engine(fitted: Fitted, alive: Collection[str]) -> _Engine:
    found = tuple(steps(fitted))
    shown: dict[str, set[Step]] = {caution: set() for caution in fitted.cautions}
    for step in found:
        for caution in step.cautions:
            shown[caution].add(step)
    for name in alive:
        rule = fitted.rules[name]
        about = [pattern for pattern in _every(rule.when) if pattern.fact == "about-to"]
        if rule.then.caution in shown and about:
            shown[rule.then.caution].update(*(_about(pattern, found) for pattern in about))
    return _Engine(fitted, found, {caution: frozenset(before) for caution, before in shown.items()})


def _every(found: Iterable[Pattern]) -> Iterable[Pattern]:
    for pattern in found:
        if pattern.absent is None:
            yield from [pattern] if pattern.any is None else _every(pattern.any)


def _about(pattern: Pattern, among: Iterable[Step]) -> Iterator[Step]:
    """The steps that can meet a pattern on what is about to be done."""
    tests = [(slot, values(test)) for slot, test in pattern.where.items() if str(test)[:1] != "$"]
    for step in among:
        has: dict[str, Collection[str]] = {
            "move": (step.name,),
            "kind": ("check", "verify") if step.kind == "check" else (step.kind,),
            "channel": (step.channel,),
            "tag": step.tags or ("",),
        }
        if all(any(map(test.takes, has[slot])) for slot, test in tests):
            yield step


class _Gate(NamedTuple):
    """The steps that a gate blocks, those and all that lies behind them, and its variable for the step's channel."""

    blocked: tuple[Step, ...]
    held: frozenset[Step]
    channel: Any


def _gate(here: _Engine, rule: Rule) -> _Gate:
    about = [pattern for pattern in rule.when if pattern.fact == "about-to"]
    blocked: Iterable[Step] = (s for s in here.steps if rule.then.block in (s.name, *s.tags))
    for pattern in about:
        blocked = _about(pattern, blocked)
    blocked = tuple(blocked)
    # Every need of a step is among what is open for it, so one look behind the gate is enough.
    barred = {step.key for step in blocked if step.kind == "open"}
    behind = (s for s in here.steps if barred & s.open or (s.kind in ("open", "close") and s.key in barred))
    channels = [test for pattern in about if isinstance(test := pattern.where.get("channel"), str)]
    return _Gate(blocked, frozenset((*blocked, *behind)), next((test for test in channels if test[:1] == "$"), None))


def _fixed(pattern: Pattern) -> bool:
    """Whether a condition that can stand on an engine stands in every case there, whatever is done."""
    if pattern.absent is not None or pattern.any is not None:
        return False
    slots = pattern.where.keys()
    return pattern.fact == "about-to" or pattern.fact == "feature" or (pattern.fact == "case" and slots <= _ENGINE)


def _stands(here: _Engine, gate: _Gate, step: Step, pattern: Pattern) -> _Reasons | None:
    """Why nothing makes a condition fail when the step is to be taken; None if something may.

    No reason is given for what a case is told: such a gate stands on purpose, until somebody else is here.
    """
    if pattern.any is not None:
        found = [reasons for inner in pattern.any if (reasons := _stands(here, gate, step, inner)) is not None]
        return frozenset().union(*found) if found else None
    if pattern.absent is not None:
        return _never_comes(here, gate, step, pattern.absent)
    if pattern.fact == "about-to":
        # A step is held before its cautions are shown, so to be about to take it lifts nothing.
        return frozenset() if any(_about(pattern, [step])) else None
    if pattern.fact == "access":
        return _stays(here, gate, step, pattern)
    if pattern.fact == "feature" and not _has_feature(here.fitted, pattern):
        return None
    return frozenset() if pattern.fact in _TOLD and not set(_RUNS_ON) & pattern.where.keys() else None


def _never_comes(here: _Engine, gate: _Gate, step: Step, pattern: Pattern) -> _Reasons | None:
    """Why nothing brings a fact when the step is to be taken; None if something may."""
    if pattern.any is not None:
        parts = [_never_comes(here, gate, step, inner) for inner in pattern.any]
        return None if None in parts else frozenset().union(*(part or () for part in parts))
    where = pattern.where
    if pattern.fact == "confirmed":
        wanted = [caution for caution in here.shown if values(where.get("caution")).takes(caution)]
        if not all(here.shown[caution] <= gate.held for caution in wanted) or not where:
            return None
        return frozenset(
            f"waits until `{caution}` is confirmed, but "
            + ("only steps that it blocks show that caution" if here.shown[caution] else "no step shows that caution")
            for caution in wanted
        ) or frozenset([f"waits until {_words(where['caution'])} is confirmed, which is not there"])
    if pattern.fact in _GIVEN:
        slot, kind = _GIVEN[pattern.fact]
        wanted_here = values(where.get(slot))
        bring = [s for s in here.steps if s.kind == kind and wanted_here.takes(s.name)]
        told = any(map(wanted_here.takes, _told(here.fitted))) if kind == "check" else False
        if slot not in where or told or not gate.held.issuperset(bring):
            return None
        what = "only what it blocks brings" if bring else "nothing there brings"
        return frozenset([f"waits for a fact `{pattern.fact}` that {what}"])
    if pattern.fact == "access":
        return _never_so(here, gate, step, pattern)
    if pattern.fact in ("person", "at-hand"):
        slot, field = ("authority", "authority") if pattern.fact == "person" else ("item", "tools")
        if slot in where and not any(values(where[slot]).takes(word) for word in _asked(here.fitted, field)):
            return frozenset([f"asks for {_words(where[slot])}, which no step does, so nothing ever says it is there"])
    if pattern.fact == "feature" and _has_feature(here.fitted, pattern):
        return None
    return frozenset() if pattern.fact in _TOLD and not set(_RUNS_ON) & where.keys() else None


def _has_feature(fitted: Fitted, pattern: Pattern) -> bool:
    name, value = values(pattern.where.get("name")), values(pattern.where.get("value"))
    features = fitted.profile.features.items()
    return any(name.takes(word) and value.takes(coded(held)) for word, held in features)


def _told(fitted: Fitted) -> set[str]:
    """The checks that a complaint or a sign answers without a step."""
    return {check for entries in (fitted.complaints, fitted.signs) for e in entries.values() for check in e.answers}


def _asked(fitted: Fitted, field: str) -> set[str]:
    """What some step of the engine asks for, of its authorisations or its tools."""
    found = (fitted.checks, fitted.repairs, fitted.access)
    return {word for fits in found for fitting in fits.values() for word in getattr(fitting.entry, field)}


def _words(test: Any) -> str:
    return " or ".join(f"`{one.word}`" for one in literals(test)) or "something"


def _named(held: Iterable[Step]) -> str:
    found = list(dict.fromkeys(_way((step.kind, step.name)) for step in held))
    return listed(found if len(found) < 5 else [*found[:3], f"{len(found) - 3} more"])


def _way(node: _Node) -> str:
    kind, key = node
    return {"open": "opening ", "close": "shutting "}.get(kind, "") + f"`{key}`"


# -- gates on access states ----------------------------------------------------------------------


def _meant(here: _Engine, gate: _Gate, step: Step, pattern: Pattern) -> list[str] | None:
    """The instances that a pattern on access means when the step is to be taken; None where that is not told."""
    name, channel = values(pattern.where.get("name")), pattern.where.get("channel")
    found = [state for state in here.fitted.access.values() if name.takes(state.name)]
    other = channel.get("is-not") if isinstance(channel, dict) else None
    if any(isinstance(test, str) and test.startswith("$") and test != gate.channel for test in (channel, other)):
        return None
    if channel is not None and channel == gate.channel:
        return [state.key for state in found if state.channel == step.channel]
    if other is not None and other == gate.channel:
        return [state.key for state in found if state.channel != step.channel]
    return [state.key for state in found if values(channel).takes(state.channel)]


def _states(pattern: Pattern) -> set[str]:
    """Of open and shut, the states that a pattern on access takes."""
    return {state for state in ("open", "shut") if values(pattern.where.get("state")).takes(state)}


def _stays(here: _Engine, gate: _Gate, step: Step, pattern: Pattern) -> _Reasons | None:
    """Why an access state stays as a gate names it when the step is to be taken; None if something may change it."""
    states = _states(pattern)
    for key in _meant(here, gate, step, pattern) or ():
        if len(states) == 2:
            return frozenset([f"stands whether `{key}` is open or shut"])
        if "open" in states and key in step.open:
            return frozenset([f"asks for `{key}` shut, which is open at that step"])
        if "shut" in states and key in step.shut:
            return frozenset([f"asks for `{key}` open, which is shut at that step"])
    return None


def _never_so(here: _Engine, gate: _Gate, step: Step, pattern: Pattern) -> _Reasons | None:
    """Why no access state becomes what a gate waits for when the step is to be taken; None if one may."""
    meant = _meant(here, gate, step, pattern)
    if meant is None:
        return None
    if not meant:
        return frozenset([f"asks for {_words(pattern.where.get('name'))}, which is not there"])
    states = _states(pattern)
    barred = {held.key for held in gate.held if held.kind == "open"}
    reasons = set()
    for key in meant:
        if ("open" in states and key not in step.shut | barred) or ("shut" in states and key not in step.open):
            return None
        if "open" not in states:
            reasons.add(f"asks for `{key}` shut, which is open at that step")
        elif key in step.shut:
            reasons.add(f"asks for `{key}` open, which is shut at that step")
        else:
            reasons.add(f"asks for `{key}` open, and bars the way to it")
    return frozenset(reasons)


def _await(here: _Engine, gate: _Gate, name: str, rule: Rule, waits: dict[_Node, dict[_Node, str]]) -> None:
    """Note what a gate on one access state makes the steps that it blocks wait for."""
    conditions = [pattern for pattern in rule.when if pattern.fact != "about-to"]
    if len(conditions) != 1:
        return
    pattern = conditions[0].absent or conditions[0]
    states = _states(pattern)
    if pattern.fact != "access" or len(states) != 1:
        return
    # A gate that waits for a state to be absent waits for the step that ends it.
    ends = conditions[0].absent is None
    wanted = "close" if ("open" in states) == ends else "open"
    for step in gate.blocked:
        meant = _meant(here, gate, step, pattern) or []
        # Any of several would do where one must be there.
        if ends or len(meant) == 1:
            waits.setdefault((step.kind, step.key), {}).update({(wanted, key): name for key in meant})


def _rings(here: _Engine, waits: Mapping[_Node, Mapping[_Node, str]]) -> Iterable[tuple[str, _Node, _Node]]:
    """The gates, with two of their steps, that wait for each other in a ring."""
    fitted = here.fitted
    told: set[str] = set()
    for node, others in waits.items():
        for other, name in others.items():
            reached: set[_Node] = set()
            todo = [other]
            while todo:
                kind, key = one = todo.pop()
                if one in reached:
                    continue
                reached.add(one)
                todo += waits.get(one, ())
                if kind == "open":
                    todo += [("open", need) for need in fitted.access[key].needs]
                elif kind == "close":
                    todo += [("close", over) for over in above(fitted, key) - {key}]
            if node in reached and name not in told:
                told.add(name)
                yield name, node, other


# -- cautions behind a gate ----------------------------------------------------------------------


def _never_shown(view: View, here: _Engine, alive: Collection[str]) -> None:
    """Say which rules show a caution before steps that a gate holds whenever their conditions stand."""
    rules = here.fitted.rules
    gates_there = [(name, _gate(here, rules[name])) for name in sorted(alive) if rules[name].kind == "gate"]
    for name in sorted(alive):
        rule = rules[name]
        about = [pattern for pattern in rule.when if pattern.fact == "about-to"]
        if rule.kind != "caution" or not about:
            continue
        before = set(here.steps).intersection(*(_about(pattern, here.steps) for pattern in about))
        if not before:
            continue
        for other, gate in gates_there:
            asked = [pattern for pattern in rules[other].when if pattern.fact != "about-to"]
            plain = all("'$" not in repr(pattern) for pattern in asked)
            if asked and plain and before <= set(gate.blocked) and all(pattern in rule.when for pattern in asked):
                message = f"is never shown: under its conditions the gate `{other}` holds every step that it is about"
                view.say("rules", name, ("then", "caution"), message, here.fitted.name)
                break


# -- harm ----------------------------------------------------------------------------------------


def _harms(view: View) -> None:
    """Say where a drill would not tell what an unsafe move does. Knowledge that nowhere tells harm is for no drills."""
    rules, cautions = view.knowledge.rules, view.knowledge.cautions
    if not any(entry.harm for entries in (rules, cautions) for entry in entries.values()):
        return
    for name, rule in rules.items():
        facts = {pattern.fact for pattern, _ in patterns(rule)}
        if rule.kind != "gate":
            if rule.harm:
                view.say("rules", name, ("harm",), "is told of gates only, and this rule is none")
        elif "about-to" in facts and not facts <= set(_LIMITS) and not rule.harm:
            message = "holds a step until something is safe and does not say what going on does to people or the engine"
            view.say("rules", name, ("harm",), message)
    for name, caution in cautions.items():
        if caution.wait and not caution.harm:
            view.say("cautions", name, ("harm",), "has a wait and does not say what going on before it is over does")
        elif caution.harm and not caution.wait:
            view.say("cautions", name, ("harm",), "is told only where a wait is not over, and this caution has none")

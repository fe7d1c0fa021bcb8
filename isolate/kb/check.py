"""What well-formed knowledge still lacks: things that nothing uses, clears, shows or tells apart.

:mod:`isolate.kb.load` refuses what cannot be right. Here stands what an author has most likely forgotten;
each finding has the file and line of the entry that it is about, and the engines where it is so, if not on all.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, get_args

from isolate.calc import calculation
from isolate.calc import given as readings
from isolate.calc.shape import CANNOT_TELL, Calculation, Unfit
from isolate.kb.check_gates import gates
from isolate.kb.check_rules import alive_rules, coded, rules_that_agree, rules_that_fire
from isolate.kb.check_view import Path, View, listed, literals, patterns
from isolate.kb.fit import FitCheck, Fitted
from isolate.kb.load import Loaded, Problem
from isolate.kb.model import (
    HEALTHY,
    Access,
    Check,
    Complaint,
    Condition,
    Fitting,
    Model,
    Only,
    Repair,
    Rule,
    Said,
    Scalar,
    Sign,
)
from isolate.kb.names import near

__all__ = ["DANGEROUS", "WORTH", "check"]

DANGEROUS = ("spark", "high-voltage", "motoring", "engine-run", "reverser")
"""Tags of steps that can kill: each such step shows a caution of level warning before it."""

WORTH = 1.25
"""Two states are told apart by an answer that one of them gives at least so many times as often as the other."""

SELDOM = 0.01
"""An answer that neither of two states gives even so often tells nobody which of them it is."""


def check(loaded: Loaded) -> list[Problem]:
    """Everything that looks forgotten in sound knowledge, sorted by file and line; empty when nothing does."""
    view = View(loaded)
    alive = {engine: alive_rules(fitted) for engine, fitted in view.fits.items()}
    _only(view)
    _cleared(view)
    for fitted in view.fits.values():
        _told_apart(view, fitted)
        _places(view, fitted)
    _checks(view)
    _repairs(view)
    _reads(view)
    _complaints(view)
    _signs(view)
    _sayings(view)
    _unused(view)
    _cautions_shown(view, alive)
    _profiles(view)
    _warnings(view, alive)
    rules_that_fire(view, alive)
    rules_that_agree(view)
    gates(view, alive)
    return view.problems()


# -- what is only on some engines ----------------------------------------------------------------


def _only(view: View) -> None:
    """Say which features no engine has that something asks for."""
    engines = {name: profile.features for name, profile in view.knowledge.engines.items()}
    for kind, name, entry, at in _entries(view):
        if isinstance(entry, Fitting):
            _features(view, kind, name, (*at, "only"), entry.only, engines)
            there = {engine: features for engine, features in engines.items() if _could(entry.only, features)}
            for said, path in _lines(entry, at):
                _features(view, kind, name, (*path, "only"), said.only, there or engines)
            for index, reads in enumerate(getattr(entry, "reads", ())):
                _features(view, kind, name, (*at, "reads", index, "only"), reads.only, there or engines)


def _entries(view: View) -> Iterator[tuple[str, str, Model, Path]]:
    """Every entry of the knowledge, and every fault mode, with its kind, its name and its place in the entry."""
    base = view.knowledge
    for kind in ("zones", "checks", "access", "repairs", "cautions", "complaints", "signs", "engines", "rules"):
        for name, entry in getattr(base, kind).items():
            yield kind, name, entry, ()
    for name, zone in base.zones.items():
        for mode, entry in zone.modes.items():
            yield "zones", name, entry, ("modes", mode)


def _lines(entry: Model, at: Path) -> Iterator[tuple[Said, Path]]:
    """The lines of an entry that are said on some engines only, each with its place."""
    for field in type(entry).model_fields:
        value = getattr(entry, field)
        if field in ("open", "close"):
            yield from _lines(value, (*at, field))
        elif isinstance(value, list):
            yield from ((line, (*at, field, i)) for i, line in enumerate(value) if isinstance(line, Said))


def _features(
    view: View, kind: str, name: str, path: Path, only: Only, engines: Mapping[str, Mapping[str, Scalar]]
) -> None:
    if not engines:
        return
    told = False
    for feature, wanted in only.items():
        held = [features[feature] for features in engines.values() if feature in features]
        if not held:
            told = True
            hint = near(feature, {word for features in engines.values() for word in features})
            view.say(kind, name, (*path, feature), f"no engine here has the feature `{feature}`{hint}")
            continue
        for index, value in enumerate(wanted if isinstance(wanted, list) else [wanted]):
            if not _held(value, held):
                told = True
                hint = near(value, held) or f"; it is {_either(held)}"
                inner = (index,) if isinstance(wanted, list) else ()
                shown = str(value).lower() if isinstance(value, bool) else value
                message = f"no engine here has `{shown}` for `{feature}`{hint}"
                view.say(kind, name, (*path, feature, *inner), message)
    if only and not told and not any(_could(only, features) for features in engines.values()):
        view.say(kind, name, path, "no engine meets all of this at once")


def _held(value: Scalar, held: Collection[Scalar]) -> bool:
    """Whether a feature can have the value: one that an engine says yes or no to can be either way."""
    if isinstance(value, bool):
        return any(isinstance(word, bool) for word in held)
    return any(coded(word) == value for word in held)


def _could(only: Only, features: Mapping[str, Scalar]) -> bool:
    return all(
        feature in features
        and any(_held(value, [features[feature]]) for value in (wanted if isinstance(wanted, list) else [wanted]))
        for feature, wanted in only.items()
    )


def _either(held: Iterable[Scalar]) -> str:
    words = sorted({str(word).lower() if isinstance(word, bool) else str(word) for word in held})
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


# -- faults, checks and repairs ------------------------------------------------------------------


def _cleared(view: View) -> None:
    """Say which faults no repair clears."""
    base = view.knowledge
    cleared = {mode for repair in base.repairs.values() for modes in repair.clears.values() for mode in modes}
    for zone_name, entry in base.zones.items():
        for mode in entry.modes:
            if mode not in cleared:
                view.say("zones", zone_name, ("modes", mode), "no repair clears it")
    for engine, fitted in view.fits.items():
        done = {mode for repair in fitted.repairs.values() for modes in repair.clears.values() for mode in modes}
        omitted = {mode for name in fitted.profile.omits.repairs for mode in _clears(base.repairs[name])}
        for zone in fitted.zones.values():
            for mode in zone.states[1:]:
                if mode in done or mode not in cleared:
                    continue
                if mode in omitted:
                    view.say("engines", engine, ("omits", "repairs"), f"nothing is left that clears `{mode}`")
                else:
                    view.say("zones", zone.key.partition("/")[0], ("modes", mode), "no repair clears it", engine)


def _clears(repair: Repair) -> Iterator[str]:
    for modes in repair.clears.values():
        yield from modes


class _Fault(NamedTuple):
    """One fault alone on an engine: the state of one zone, everything else healthy."""

    zone: str
    mode: str
    channel: str


_Rows = tuple[tuple[float, ...], ...]
"""How often each outcome of a check is seen, under each condition that makes a difference to it."""


def _told_apart(view: View, fitted: Fitted) -> None:
    """Say which faults no check of the engine tells from others or from health, and which checks tell nothing."""
    faults = [_Fault(key, mode, zone.channel) for key, zone in fitted.zones.items() for mode in zone.states[1:]]
    clears = {
        fault: frozenset(key for key, one in fitted.repairs.items() if fault.mode in one.clears.get(fault.zone, ()))
        for fault in faults
    }
    asked = {name for rule in fitted.rules.values() for name in _answers(rule)}
    seen = {check_.key: _seen(fitted, check_) for check_ in fitted.checks.values()}
    tells: dict[tuple[int, int], bool] = {}

    def apart(one: _Rows, other: _Rows) -> bool:
        # Equal rows of a check are one object, and all of them live in `seen`.
        key = (id(one), id(other))
        if key not in tells:
            tells[key] = one is not other and _differ(one, other)
        return tells[key]

    first = fitted.channels[0]
    hidden: set[str] = set()
    for index, fault in enumerate(faults):
        rows = [(healthy, by_fault.get(fault, healthy)) for healthy, by_fault in seen.values()]
        if fault.channel in ("", first) and not any(apart(*pair) for pair in rows):
            _say_fault(view, fitted, fault, "no check tells it from health")
            hidden.add(fault.mode)
        if fault.mode in hidden:
            continue
        for other in faults[:index]:
            if other.mode in hidden or clears[fault] & clears[other] or not _worth_asking(fault, other, first, fitted):
                continue
            if not any(
                apart(by_fault.get(fault, healthy), by_fault.get(other, healthy)) for healthy, by_fault in seen.values()
            ):
                _say_fault(view, fitted, fault, f"{_rival(fault, other)}, and no repair clears both")
                break
    for check_ in fitted.checks.values():
        healthy, by_fault = seen[check_.key]
        kinds: dict[_Rows, set[frozenset[str]]] = {healthy: {frozenset()}}
        for fault in faults:
            kinds.setdefault(by_fault.get(fault, healthy), set()).add(clears[fault])
        silent = check_.name in asked or not _tells(check_.entry)
        if check_.channel in ("", first) and not silent and not _decides(kinds, apart):
            message = f"no answer is {WORTH} times as likely where one repair is called for as where another or none is"
            view.say("checks", check_.name, (), message, fitted.name)


def _say_fault(view: View, fitted: Fitted, fault: _Fault, message: str) -> None:
    view.say("zones", fault.zone.partition("/")[0], ("modes", fault.mode), message, fitted.name)


def _worth_asking(fault: _Fault, other: _Fault, first: str, fitted: Fitted) -> bool:
    """Whether a pair stands for itself: channels are alike, so one pair of two channels is enough."""
    if not fault.channel or fault.channel == other.channel:
        return fault.channel in ("", first) and other.channel in ("", first)
    states = fitted.zones[fault.zone].states
    second = fitted.channels[1]
    return (other.channel, fault.channel) == (first, second) and states.index(fault.mode) >= states.index(other.mode)


def _rival(fault: _Fault, other: _Fault) -> str:
    if fault.channel and other.channel and fault.channel != other.channel:
        if fault.mode == other.mode:
            return "no check tells which channel has it"
        return f"no check tells it from `{other.mode}` of another channel"
    return f"no check tells it from `{other.mode}`"


def _answers(rule: Rule) -> Iterator[str]:
    """The checks for whose answers a rule asks."""
    for pattern, _ in patterns(rule):
        if pattern.fact == "answer":
            yield from (one.word for one in literals(pattern.where.get("check")))


def _seen(fitted: Fitted, check_: FitCheck) -> tuple[_Rows, dict[_Fault, _Rows]]:
    """What a check shows when nothing is wrong, and with each fault that makes a difference, alone."""
    conditions: Sequence[Condition] = get_args(Condition) if check_.functional else ("steady",)
    tables = {key: [_upto(fitted, check_, key, condition) for condition in conditions] for key in check_.given}
    same: dict[_Rows, _Rows] = {}
    done: dict[tuple[str, tuple[tuple[float, ...], ...]], _Rows] = {}

    def rows(zone: str = "", state: int = 0) -> _Rows:
        key = (zone, tuple(table[state] for table in tables[zone]) if zone else ())
        if key not in done:
            done[key] = combined(zone, state)
        return done[key]

    def combined(zone: str, state: int) -> _Rows:
        found = []
        for place in range(len(conditions)):
            below = [1.0] * len(check_.outcomes)
            for key, table in tables.items():
                below = [b * share for b, share in zip(below, table[place][state if key == zone else 0], strict=True)]
            found.append(tuple(round(b - a, 9) for a, b in zip([0.0, *below], below, strict=False)))
        # Under conditions that make no difference one row is enough, and equal ones are one and the same.
        plain = tuple(dict.fromkeys(found)) if len(set(found)) == 1 else tuple(found)
        return same.setdefault(plain, plain)

    healthy = rows()
    by_fault = {}
    for key in check_.given:
        zone = fitted.zones[key]
        for index, mode in enumerate(zone.states[1:], start=1):
            by_fault[_Fault(key, mode, zone.channel)] = rows(key, index)
    return healthy, by_fault


def _upto(fitted: Fitted, check_: FitCheck, key: str, condition: Condition) -> list[tuple[float, ...]]:
    """State by state, the probability that the zone yields no worse than each outcome in turn."""
    found = []
    healthy, *_ = table = check_.given[key]
    active = fitted.zones[key].active(condition) if check_.functional else (1.0,) * len(table)
    for row, share in zip(table, active, strict=True):
        upto, total = [], 0.0
        for here, well in zip(row, healthy, strict=True):
            total += share * here + (1 - share) * well
            upto.append(total)
        found.append(tuple(upto))
    return found


def _differ(one: _Rows, other: _Rows) -> bool:
    """Whether some answer, under some condition, tells one state from another."""
    most = max(len(one), len(other))
    for a, b in zip(one * (most // len(one)), other * (most // len(other)), strict=True):
        for here, there in zip(a, b, strict=True):
            if max(here, there) >= SELDOM and max(here, there) >= WORTH * min(here, there):
                return True
    return False


def _decides(kinds: Mapping[_Rows, set[frozenset[str]]], apart: Callable[[_Rows, _Rows], bool]) -> bool:
    """Whether some answer favours what calls for one repair over what calls for another, or for none."""
    found = list(kinds.items())
    return any(
        len(repairs | others) > 1 and apart(rows, other)
        for index, (rows, repairs) in enumerate(found)
        for other, others in found[:index]
    )


def _tells(check_: Check) -> bool:
    """Whether some fault answers otherwise than healthy does, on any engine."""
    for rows in check_.given.values():
        well = next(row.gives for row in rows if HEALTHY in row.modes)
        if any(abs(row.gives.get(word, 0) - well.get(word, 0)) > 1e-9 for row in rows for word in check_.outcomes):
            return True
    return False


def _checks(view: View) -> None:
    for name, entry in view.knowledge.checks.items():
        if not _tells(entry):
            view.say("checks", name, (), "no fault answers otherwise than healthy does: the check tells nothing")
    for engine, fitted in view.fits.items():
        for kind, there in (("checks", fitted.checks), ("repairs", fitted.repairs), ("access", fitted.access)):
            for fitting in there.values():
                if fitting.entry.needs and not fitting.needs:
                    message = "none of what it needs is there, so nothing is opened or made safe before it"
                    view.say(kind, fitting.name, ("needs",), message, engine)


def _repairs(view: View) -> None:
    if not view.fits:
        return
    for name, entry in view.knowledge.repairs.items():
        if any(name == repair.name for fitted in view.fits.values() for repair in fitted.repairs.values()):
            continue
        profiles = view.knowledge.engines.values()
        there = any(entry.on(profile.features) and name not in profile.omits.repairs for profile in profiles)
        view.say("repairs", name, (), "no engine has a fault that it clears" if there else "no engine has it")


def _places(view: View, fitted: Fitted) -> None:
    """Say which steps can be done nowhere: what they need is done elsewhere."""
    for kind, there in (("checks", fitted.checks), ("repairs", fitted.repairs), ("access", fitted.access)):
        for fitting in there.values():
            place = set(fitting.entry.place)
            todo = list(fitting.needs)
            done: set[str] = set()
            while todo and place:
                key = todo.pop()
                if key in done:
                    continue
                done.add(key)
                todo += fitted.access[key].needs
                place &= set(fitted.access[key].entry.place)
                if not place:
                    message = f"can be done nowhere: it needs `{fitted.access[key].name}`, which is done elsewhere"
                    view.say(kind, fitting.name, ("place",), message, fitted.name)


# -- what is measured ----------------------------------------------------------------------------


def _reads(view: View) -> None:
    """Say where a step asks a calculation for what it does not have, or settles a limit that is not ours to hold."""
    entries: list[tuple[str, str, Check | Repair]] = [
        *(("checks", name, one) for name, one in view.knowledge.checks.items()),
        *(("repairs", name, one) for name, one in view.knowledge.repairs.items()),
    ]
    for kind, name, entry in entries:
        for index, reads in enumerate(entry.reads):
            one, path = calculation(reads.calc), ("reads", index)
            inputs = {wanted.name: wanted for wanted in one.inputs}
            for field, named in (("given", reads.given), ("asks", reads.asks)):
                for word in named:
                    if word not in inputs:
                        message = f"calc {one.name} does not ask for `{word}`{near(word, inputs)}"
                        view.say(kind, name, (*path, field), message)
            for word, told in reads.given.items():
                if word in inputs and inputs[word].limit:
                    message = f"`{word}` is a limit: it is asked from the approved data, and none is held here"
                    view.say(kind, name, (*path, "given", word), message)
                elif word in inputs and inputs[word].kind == "file":
                    message = f"`{word}` is a file: whoever takes the reading names it"
                    view.say(kind, name, (*path, "given", word), message)
                elif word in inputs:
                    try:
                        readings.value(inputs[word], told)
                    except Unfit as error:
                        view.say(kind, name, (*path, "given", word), str(error))
            if reads.along and not any(wanted.kind == "file" for wanted in one.inputs):
                message = f"calc {one.name} reads no record, so there is none to read along"
                view.say(kind, name, (*path, "along"), message)
            if reads in entry.reads[:index]:
                view.say(kind, name, path, f"calc {one.name} is named twice, in the same way")
            if not reads.gives and not reads.judge:
                continue
            judges = one.judges.get(reads.judge)
            if judges is None:
                view.say(kind, name, (*path, "judge"), _no_judge(one, reads.judge))
                continue
            for verdict in reads.gives:
                if verdict == CANNOT_TELL:
                    message = f"`{verdict}` answers nothing: the question stays open"
                    view.say(kind, name, (*path, "gives", verdict), message)
                elif verdict not in judges:
                    message = f"calc {one.name} never says `{verdict}`{near(verdict, judges)}"
                    view.say(kind, name, (*path, "gives", verdict), message)
            for verdict in judges if reads.gives else ():
                if verdict not in reads.gives:
                    view.say(kind, name, (*path, "gives"), f"does not say what `{verdict}` would answer")


def _no_judge(one: Calculation, judge: str) -> str:
    """Say that a calculation does not judge that, and what it judges."""
    if not one.judges:
        return f"calc {one.name} judges nothing: it is worked out and kept"
    named = [word for word in one.judges if word]
    if not named:
        return f"calc {one.name} judges one thing only: leave `judge` out"
    told = listed([f"`{word}`" for word in named])
    if not judge:
        return f"calc {one.name} judges several things: say which, of {told}"
    return f"calc {one.name} judges no `{judge}`{near(judge, named)}: it judges {told}"


# -- complaints and signs ------------------------------------------------------------------------


def _complaints(view: View) -> None:
    base = view.knowledge
    for name, complaint in base.complaints.items():
        having = [fitted for fitted in view.fits.values() if name in fitted.complaints]
        _answered(view, "complaints", name, complaint)
        for fitted in having:
            checks = [check_.entry for check_ in fitted.checks.values() if check_.name in complaint.verify]
            if not any(check_.starts or "spark" in check_.tags for check_ in checks):
                message = "names no start and no spark test: nothing proves the ignition"
                view.say("complaints", name, ("verify",), message, fitted.name)


def _signs(view: View) -> None:
    base = view.knowledge
    for name, sign in base.signs.items():
        _answered(view, "signs", name, sign)
        if sign.asks_channel and not any(base.checks[check_].per for check_ in sign.answers):
            message = "asks which channel, but none of the checks that it answers is per channel"
            view.say("signs", name, ("asks_channel",), message)


def _answered(view: View, kind: str, name: str, entry: Complaint | Sign) -> None:
    having = [fitted for fitted in view.fits.values() if entry.on(fitted.profile.features)]
    there = {check_.name for fitted in having for check_ in fitted.checks.values()}
    for name_of_check in entry.answers if having else ():
        if name_of_check not in there:
            message = f"no engine that has it has the check `{name_of_check}`"
            view.say(kind, name, ("answers", name_of_check), message)


def _sayings(view: View) -> None:
    """Say which wording belongs to two complaints or two signs: whoever uses it cannot be told what was meant."""
    base = view.knowledge
    first: dict[str, list[tuple[str, str, Complaint | Sign]]] = {}
    entries: list[tuple[str, str, Complaint | Sign]] = [
        *(("complaints", name, complaint) for name, complaint in base.complaints.items()),
        *(("signs", name, sign) for name, sign in base.signs.items()),
    ]
    for kind, name, entry in entries:
        for index, text in enumerate(entry.says):
            plain = " ".join(re.findall(r"\w+", text.casefold()))
            for other_kind, other, theirs in first.setdefault(plain, []):
                if other_kind == kind and other == name:
                    view.say(kind, name, ("says", index), "says the same wording twice")
                elif not view.fits or any(
                    entry.on(fitted.profile.features) and theirs.on(fitted.profile.features)
                    for fitted in view.fits.values()
                ):
                    what = {"complaints": "complaint", "signs": "sign"}[other_kind]
                    view.say(kind, name, ("says", index), f"is a wording of the {what} `{other}` too")
            first[plain].append((kind, name, entry))


# -- what nothing uses ---------------------------------------------------------------------------


def _unused(view: View) -> None:
    base = view.knowledge
    steps: list[Check | Repair | Access] = [*base.checks.values(), *base.repairs.values(), *base.access.values()]
    needed = {need for step in steps for need in step.needs}
    for rule in base.rules.values():
        for pattern, _ in patterns(rule):
            if pattern.fact == "access":
                needed.update(one.word for one in literals(pattern.where.get("name")))
    for name in base.access:
        if name not in needed:
            view.say("access", name, (), "no check, repair, access state or rule needs it")
    cited = {source for *_, entry, _ in _entries(view) for source in getattr(entry, "source", [])}
    for name in base.sources:
        if name not in cited:
            view.say("sources", name, (), "nothing cites it")


def _cautions_shown(view: View, alive: Mapping[str, Collection[str]]) -> None:
    base = view.knowledge
    steps: list[Check | Repair | Access] = [*base.checks.values(), *base.repairs.values(), *base.access.values()]
    shown = {caution for step in steps for caution in _cautions(step)}
    shown |= {caution for rule in base.rules.values() if (caution := rule.then.caution) is not None}
    on_engines = {
        caution
        for engine, fitted in view.fits.items()
        for caution in (*_before(fitted), *(fitted.rules[name].then.caution for name in alive[engine]))
        if caution in fitted.cautions
    }
    for name in base.cautions:
        if name not in shown:
            view.say("cautions", name, (), "no step and no rule shows it")
        elif view.fits and name not in on_engines:
            view.say("cautions", name, (), "no engine has both it and a step or a rule that shows it")


def _cautions(step: Check | Repair | Access) -> Iterable[str]:
    return [*step.open.cautions, *step.close.cautions] if isinstance(step, Access) else step.cautions


def _before(fitted: Fitted) -> Iterator[str]:
    """The cautions that the steps of an engine show."""
    for check_ in fitted.checks.values():
        yield from check_.cautions
    for repair in fitted.repairs.values():
        yield from repair.cautions
    for state in fitted.access.values():
        yield from (*state.open.cautions, *state.close.cautions)


# -- engines -------------------------------------------------------------------------------------


def _profiles(view: View) -> None:
    base = view.knowledge
    for name, fitted in view.fits.items():
        profile = fitted.profile
        figures: list[tuple[str, Iterable[str], Collection[str], set[str]]] = [
            ("access", profile.access_minutes, profile.omits.access, {a.name for a in fitted.access.values()}),
            ("check", profile.check_minutes, profile.omits.checks, {c.name for c in fitted.checks.values()}),
        ]
        for what, words, omitted, there in figures:
            for word in words:
                if word not in there:
                    does = "omits it" if word in omitted else "does not have it"
                    message = f"the profile {does}, so its minutes are not used"
                    view.say("engines", name, (f"{what}_minutes", word), message)
        has = {mode for zone in fitted.zones.values() for mode in zone.states[1:]}
        for mode in profile.priors:
            if mode not in has:
                message = "the profile does not have this fault, so its prior is not used"
                view.say("engines", name, ("priors", mode), message)
        could = {
            mode
            for zone in profile.zones
            for mode, entry in base.zones[zone].modes.items()
            if entry.on(profile.features)
        }
        for index, mode in enumerate(profile.omits.modes):
            if mode not in could:
                message = f"`{mode}` is in none of the profile's zones: nothing to omit"
                view.say("engines", name, ("omits", "modes", index), message)


# -- warnings before dangerous steps -------------------------------------------------------------


def _warnings(view: View, alive: Mapping[str, Collection[str]]) -> None:
    for engine, fitted in view.fits.items():
        warnings = {name for name, caution in fitted.cautions.items() if caution.level == "warning"}
        rules = [fitted.rules[name] for name in alive[engine]]
        by_rule = {tag for rule in rules if rule.then.caution in warnings for tag in _always_warned(rule)}

        for kind, name, path, all_tags, shown in _shows(fitted):
            tags = [tag for tag in all_tags if tag in DANGEROUS and tag not in by_rule]
            if tags and not warnings & set(shown):
                message = f"is tagged {listed(tags)}, but shows no caution of level warning"
                view.say(kind, name, (*path, "cautions"), message, engine)


def _shows(fitted: Fitted) -> Iterator[tuple[str, str, Path, Iterable[str], Iterable[str]]]:
    """Every step of an engine that leaves something to be put back or done: its place, its tags, its cautions."""
    for check_ in fitted.checks.values():
        yield "checks", check_.name, (), check_.entry.tags, check_.cautions
    for repair in fitted.repairs.values():
        yield "repairs", repair.name, (), repair.entry.tags, repair.cautions
    for state in fitted.access.values():
        yield "access", state.name, ("open",), state.entry.tags, state.open.cautions
        if state.entry.lasting:
            yield "access", state.name, ("close",), state.entry.tags, state.close.cautions


def _always_warned(rule: Rule) -> Iterator[str]:
    """The tags for which a rule shows its caution whatever else holds."""
    if len(rule.when) != 1 or rule.when[0].fact != "about-to":
        return
    tests = rule.when[0].where
    if any(slot != "tag" and not (isinstance(test, str) and test.startswith("$")) for slot, test in tests.items()):
        return
    for word, _, is_not in literals(tests.get("tag")):
        if isinstance(word, str) and not is_not:
            yield word

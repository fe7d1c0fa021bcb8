"""What well-formed knowledge still lacks: things that nothing uses, clears, shows or tells apart.

:mod:`isolate.kb.load` refuses what cannot be right. Here stands what an author has most likely forgotten;
each finding has the file and line of the entry that it is about.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from typing import Any, get_args

from isolate.kb.load import Loaded, Problem
from isolate.kb.model import (
    FLOOR,
    HEALTHY,
    VERIFY,
    Access,
    Check,
    Condition,
    Knowledge,
    Mode,
    Model,
    Pattern,
    Place,
    Profile,
    Repair,
    Row,
    Rule,
    Zone,
)
from isolate.kb.names import near

__all__ = ["DANGEROUS", "check"]

DANGEROUS = ("spark", "high-voltage", "motoring", "engine-run", "reverser")
"""Tags of steps that can kill: each such step shows a caution of level warning before it."""

_Path = tuple[str | int, ...]
_Say = Callable[..., None]


def check(loaded: Loaded) -> list[Problem]:
    """Everything that looks forgotten in sound knowledge, sorted by file and line; empty when nothing does."""
    problems: set[Problem] = set()

    def say(kind: str, name: str, path: _Path, message: str) -> None:
        spot = loaded.where(kind, name, *path)
        label = ".".join(step for step in path if isinstance(step, str))
        problems.add(Problem(spot.file, spot.line, f"{name}, {label}: {message}" if label else f"{name}: {message}"))

    for part in (_modes, _checks, _unused, _repairs, _complaints, _profiles, _warnings, _rules, _gates):
        part(loaded.knowledge, say)
    return sorted(problems)


# -- faults, checks and repairs ------------------------------------------------------------------


def _modes(base: Knowledge, say: _Say) -> None:
    clears: dict[str, set[str]] = {}
    for name, repair in base.repairs.items():
        for mode in (mode for modes in repair.clears.values() for mode in modes):
            clears.setdefault(mode, set()).add(name)
    for zone_name, zone in base.zones.items():
        alike: dict[Any, list[str]] = {}
        for mode in zone.modes:
            if mode not in clears:
                say("zones", zone_name, ("modes", mode), "no repair clears it")
            answers = tuple(_answers(base, zone_name, zone, mode))
            for other in alike.setdefault(answers, []):
                if not clears.get(mode, set()) & clears.get(other, set()):
                    message = f"no check tells it from `{other}`, and no repair clears both"
                    say("zones", zone_name, ("modes", mode), message)
                    break
            alike[answers].append(mode)


def _answers(base: Knowledge, zone_name: str, zone: Zone, mode: str) -> Iterator[tuple[float, ...]]:
    """The likelihoods of every check that looks at the zone, in this mode, under each condition."""
    keys = (zone_name, "others") if zone_name == "channel" else (zone_name,)
    for check_ in base.checks.values():
        for key in keys:
            if key not in check_.given:
                continue
            rows = check_.given[key]
            healthy = _row(check_, rows, HEALTHY)
            row = _row(check_, rows, mode)
            if check_.kind != "functional":
                yield tuple(round(share, 9) for share in row)
                continue
            for condition in get_args(Condition):
                active = _active(zone.modes[mode], condition)
                yield tuple(round(active * a + (1 - active) * b, 9) for a, b in zip(row, healthy, strict=True))


def _row(check_: Check, rows: list[Row], mode: str) -> list[float]:
    """The likelihood of each outcome in a mode; one without a row answers as healthy does."""
    found = next((row for row in rows if mode in row.modes), None)
    if found is None:
        found = next(row for row in rows if HEALTHY in row.modes)
    shares = [max(found.gives.get(outcome, 0.0), FLOOR) for outcome in check_.outcomes]
    total = sum(shares)
    return [share / total for share in shares]


def _active(mode: Mode, condition: str) -> float:
    if not isinstance(mode.active, dict):
        return mode.active
    shares: dict[str, float] = {str(key): value for key, value in mode.active.items()}
    return shares.get(condition, shares["steady"])


def _checks(base: Knowledge, say: _Say) -> None:
    for name, check_ in base.checks.items():
        if all(
            max(abs(a - b) for a, b in zip(_row(check_, rows, mode), _row(check_, rows, HEALTHY), strict=True)) < 1e-9
            for rows in check_.given.values()
            for mode in (mode for row in rows for mode in row.modes)
        ):
            say("checks", name, (), "no fault answers otherwise than healthy does: the check tells nothing")


def _repairs(base: Knowledge, say: _Say) -> None:
    if not base.engines:
        return
    for name, repair in base.repairs.items():
        if not any(
            name not in profile.omits.repairs and mode not in profile.omits.modes
            for profile in base.engines.values()
            for zone, modes in repair.clears.items()
            if zone in profile.zones
            for mode in modes
        ):
            say("repairs", name, (), "no engine has a fault that it clears")


def _complaints(base: Knowledge, say: _Say) -> None:
    for name, complaint in base.complaints.items():
        checks = [base.checks[check_] for check_ in complaint.verify]
        if not any(check_.starts or "spark" in check_.tags for check_ in checks):
            say("complaints", name, ("verify",), "names no start and no spark test: nothing proves the ignition")


# -- what nothing uses ---------------------------------------------------------------------------


def _unused(base: Knowledge, say: _Say) -> None:
    steps: list[Check | Repair | Access] = [*base.checks.values(), *base.repairs.values(), *base.access.values()]
    needed = {need for step in steps for need in step.needs}
    shown = {caution for step in steps for caution in _cautions(step)}
    for rule in base.rules.values():
        if rule.then.caution is not None:
            shown.add(rule.then.caution)
        for pattern, _ in _patterns(rule):
            if pattern.fact == "access":
                needed.update(word for word, _, _ in _literals(pattern.where.get("name")) if isinstance(word, str))
    for name in base.access:
        if name not in needed:
            say("access", name, (), "no check, repair, access state or rule needs it")
    for name in base.cautions:
        if name not in shown:
            say("cautions", name, (), "no step and no rule shows it")
    cited = {source for model in _cited(base) for source in getattr(model, "source", [])}
    for name in base.sources:
        if name not in cited:
            say("sources", name, (), "nothing cites it")


def _cautions(step: Check | Repair | Access) -> Iterable[str]:
    return [*step.open.cautions, *step.close.cautions] if isinstance(step, Access) else step.cautions


def _cited(base: Knowledge) -> Iterator[Model]:
    yield from base.zones.values()
    for zone in base.zones.values():
        yield from zone.modes.values()
    yield from base.checks.values()
    yield from base.access.values()
    yield from base.repairs.values()
    yield from base.cautions.values()
    yield from base.complaints.values()
    yield from base.engines.values()
    yield from base.rules.values()


# -- engines -------------------------------------------------------------------------------------


def _profiles(base: Knowledge, say: _Say) -> None:
    for name, profile in base.engines.items():
        has = _modes_of(base, profile)
        for what, figures, omitted in (
            ("access", profile.access_minutes, profile.omits.access),
            ("check", profile.check_minutes, profile.omits.checks),
        ):
            for word in figures:
                if word in omitted:
                    say("engines", name, (f"{what}_minutes", word), "the profile omits it, so its minutes are not used")
        for mode in profile.priors:
            if mode not in has:
                say("engines", name, ("priors", mode), "the profile does not have this fault, so its prior is not used")
        in_zones = {mode for zone in base.zones if zone in profile.zones for mode in base.zones[zone].modes}
        for index, mode in enumerate(profile.omits.modes):
            if mode not in in_zones:
                message = f"`{mode}` is in none of the profile's zones: nothing to omit"
                say("engines", name, ("omits", "modes", index), message)
        for mode in sorted(has):
            if any(mode in modes for repair in base.repairs.values() for modes in repair.clears.values()) and not any(
                mode in modes and repair_name not in profile.omits.repairs
                for repair_name, repair in base.repairs.items()
                for modes in repair.clears.values()
            ):
                say("engines", name, ("omits", "repairs"), f"nothing is left that clears `{mode}`")


def _modes_of(base: Knowledge, profile: Profile) -> set[str]:
    modes = {mode for zone in profile.zones for mode in base.zones[zone].modes}
    return modes - set(profile.omits.modes)


# -- warnings before dangerous steps -------------------------------------------------------------


def _warnings(base: Knowledge, say: _Say) -> None:
    warnings = {name for name, caution in base.cautions.items() if caution.level == "warning"}
    by_rule = {tag for rule in base.rules.values() if rule.then.caution in warnings for tag in _always_warned(rule)}
    cited: list[tuple[str, str, Check | Repair]] = [
        *(("checks", name, entry) for name, entry in base.checks.items()),
        *(("repairs", name, entry) for name, entry in base.repairs.items()),
    ]
    for kind, name, entry in cited:
        tags = [tag for tag in entry.tags if tag in DANGEROUS and tag not in by_rule]
        if tags and not warnings & set(entry.cautions):
            say(kind, name, ("cautions",), f"is tagged {_words(tags)}, but shows no caution of level warning")
    for name, state in base.access.items():
        tags = [tag for tag in state.tags if tag in DANGEROUS and tag not in by_rule]
        for way in ("open", "close") if state.lasting else ("open",):
            if tags and not warnings & set(getattr(state, way).cautions):
                message = f"is tagged {_words(tags)}, but shows no caution of level warning"
                say("access", name, (way, "cautions"), message)


def _always_warned(rule: Rule) -> Iterator[str]:
    """The tags for which a rule shows its caution whatever else holds."""
    if len(rule.when) != 1 or rule.when[0].fact != "about-to":
        return
    tests = rule.when[0].where
    if any(slot != "tag" and not (isinstance(test, str) and test.startswith("$")) for slot, test in tests.items()):
        return
    for word, _, is_not in _literals(tests.get("tag")):
        if isinstance(word, str) and not is_not:
            yield word


def _words(tags: list[str]) -> str:
    return " and ".join([", ".join(tags[:-1]), tags[-1]]) if len(tags) > 1 else tags[0]


# -- gates that nothing can lift -----------------------------------------------------------------

_TOLD = ("case", "feature", "person", "at-hand", "start", "pattern", "done")
"""Facts that no step on the aircraft takes away (but see ``_RUNS_ON``)."""

_RUNS_ON = ("minutes-left", "spent")
"""Slots of the case that change by themselves."""

_Way = tuple[str, str, str]
"""A step: kind of entry, name, and for an access state ``open`` or ``close``, else nothing."""


def _gates(base: Knowledge, say: _Say) -> None:
    """Report gates that wait for a caution which is shown, and so confirmed, only behind the gate itself."""
    shown = _shown(base)
    for name, rule in base.rules.items():
        block = rule.then.block
        if rule.kind != "gate" or block is None:
            continue
        held = _held(base, block)
        behind = {caution for caution, steps in shown.items() if steps <= held}
        stuck = [_stands_for_good(pattern, block, behind) for pattern in rule.when]
        if None in stuck:
            continue
        for caution in sorted(set().union(*(cautions or () for cautions in stuck))):
            message = f"waits until `{caution}` is confirmed, but only steps that it blocks show that caution"
            say("rules", name, ("then", "block"), f"{message}: nothing can lift it")


def _steps(base: Knowledge) -> dict[_Way, Check | Repair | Access]:
    found: dict[_Way, Check | Repair | Access] = {}
    found.update({("checks", name, ""): entry for name, entry in base.checks.items()})
    found.update({("repairs", name, ""): entry for name, entry in base.repairs.items()})
    for name, state in base.access.items():
        found.update({("access", name, way): state for way in ("open", "close")})
    return found


def _shown(base: Knowledge) -> dict[str, set[_Way]]:
    """By caution, the steps before which an entry or a rule shows it."""
    shown: dict[str, set[_Way]] = {}
    for step, entry in _steps(base).items():
        cautions = getattr(entry, step[2]).cautions if isinstance(entry, Access) else entry.cautions
        for caution in cautions:
            shown.setdefault(caution, set()).add(step)
    for rule in base.rules.values():
        about = [pattern for pattern, _ in _patterns(rule) if pattern.fact == "about-to"]
        if rule.then.caution is not None and about:
            shown.setdefault(rule.then.caution, set()).update(
                step
                for step, entry in _steps(base).items()
                if any(
                    _meets(pattern.where, "tag", entry.tags) and _meets(pattern.where, "move", [step[1]])
                    for pattern in about
                )
            )
    return shown


def _meets(where: Mapping[str, Any], slot: str, words: Collection[str]) -> bool:
    """Whether one of the words can stand in the slot, as far as the test names values that it takes."""
    wanted = [word for word, _, is_not in _literals(where.get(slot)) if not is_not]
    return not wanted or any(word in wanted for word in words)


def _held(base: Knowledge, block: str) -> set[_Way]:
    """The steps that a gate blocks by tag or name, and those behind an access state that it keeps shut."""
    steps = _steps(base)
    held = {step for step, entry in steps.items() if block == step[1] or block in entry.tags}
    while True:
        shut = {name for kind, name, way in held if kind == "access" and way == "open"}
        more = {
            step
            for step, entry in steps.items()
            if shut & set(entry.needs) or (step[0] == "access" and step[1] in shut)
        }
        if more <= held:
            return held
        held |= more


def _stands_for_good(pattern: Pattern, block: str, behind: set[str]) -> set[str] | None:
    """The cautions that a condition waits for in vain, if no step can make it fail; else None."""
    if pattern.any is not None:
        found = [cautions for inner in pattern.any if (cautions := _stands_for_good(inner, block, behind)) is not None]
        return set().union(*found) if found else None
    if pattern.absent is not None:
        return _never_comes(pattern.absent, behind)
    if pattern.fact == "about-to":
        # A step is held before its cautions are shown, so to be about to take it lifts nothing.
        words = {word: test for word, test in pattern.where.items() if word != "channel"}
        opening = words.get("move") == block and words.pop("kind", "open") == "open"
        return set() if words == {"tag": block} or (opening and words == {"move": block}) else None
    return set() if pattern.fact in _TOLD and not set(_RUNS_ON) & pattern.where.keys() else None


def _never_comes(pattern: Pattern, behind: set[str]) -> set[str] | None:
    """The cautions behind the gate that a fact would need, if no step can bring the fact; else None."""
    if pattern.any is not None:
        parts = [_never_comes(inner, behind) for inner in pattern.any]
        return None if None in parts else set().union(*(part or () for part in parts))
    if pattern.fact == "confirmed":
        named = {word for word, _, is_not in _literals(pattern.where.get("caution")) if not is_not}
        return named if named and named <= behind else None
    return set() if pattern.fact in _TOLD and not set(_RUNS_ON) & pattern.where.keys() else None


# -- rules that cannot fire ----------------------------------------------------------------------


def _rules(base: Knowledge, say: _Say) -> None:
    vocabulary = _vocabulary(base)
    for name, rule in base.rules.items():
        for pattern, path in _patterns(rule):
            for slot, test in pattern.where.items():
                for word, inner, _ in _literals(test):
                    known = _known(base, vocabulary, pattern, slot)
                    if known is not None and word not in known:
                        hint = near(word, (str(item) for item in known))
                        shown = str(word).lower() if isinstance(word, bool) else word
                        message = f"nothing gives `{pattern.fact}` the {slot} `{shown}`{hint}"
                        say("rules", name, (*path, "where", slot, *inner), message)


def _patterns(rule: Rule) -> Iterator[tuple[Pattern, _Path]]:
    """Every pattern of a rule that names a fact, however deep, with its place."""
    todo: list[tuple[Pattern, _Path]] = [(pattern, ("when", index)) for index, pattern in enumerate(rule.when)]
    while todo:
        pattern, path = todo.pop()
        if pattern.fact is not None:
            yield pattern, path
        if pattern.absent is not None:
            todo.append((pattern.absent, (*path, "absent")))
        todo.extend((inner, (*path, "any", index)) for index, inner in enumerate(pattern.any or []))


def _literals(test: Any) -> Iterator[tuple[Any, _Path, bool]]:
    """The values that a test compares with, each with its place inside the test and whether it is ruled out."""
    pairs: list[tuple[Any, _Path, bool]] = []
    if isinstance(test, dict):
        for word, value in test.items():
            if word == "one-of":
                pairs += [(item, (word, index), False) for index, item in enumerate(value)]
            elif word == "is-not":
                pairs.append((value, (word,), True))
    elif test is not None:
        pairs.append((test, (), False))
    yield from (pair for pair in pairs if not (isinstance(pair[0], str) and pair[0].startswith("$")))


def _known(
    base: Knowledge, vocabulary: dict[tuple[str, str], set[Any]], pattern: Pattern, slot: str
) -> set[Any] | None:
    """What the slot can hold, as far as the rest of the pattern narrows it; None when anything may stand there."""
    fact = str(pattern.fact)
    if fact == "answer" and slot == "outcome":
        check_ = pattern.where.get("check")
        if isinstance(check_, str) and check_ in base.checks:
            return set(base.checks[check_].outcomes)
    if fact == "feature" and slot == "value":
        feature = pattern.where.get("name")
        if not isinstance(feature, str):
            return None
        held = [profile.features[feature] for profile in base.engines.values() if feature in profile.features]
        # A feature that an engine says yes or no to can be either way; of an unknown one its name is told already.
        return {*held, *((True, False) if any(isinstance(value, bool) for value in held) else ())} or None
    return vocabulary.get((fact, slot))


def _vocabulary(base: Knowledge) -> dict[tuple[str, str], set[Any]]:
    """By fact and slot, the values that something in the knowledge or the program produces."""
    profiles = list(base.engines.values())
    steps: list[Check | Repair | Access] = [*base.checks.values(), *base.repairs.values(), *base.access.values()]
    modes = {name: mode for zone in base.zones.values() for name, mode in zone.modes.items()}
    moves = {*base.checks, *base.repairs, *base.access, VERIFY}
    letters = {letter for profile in profiles for letter in profile.channels} | {""}
    vocabulary: dict[tuple[str, str], set[Any]] = {
        ("case", "engine"): set(base.engines),
        ("case", "complaint"): set(base.complaints),
        ("case", "place"): set(get_args(Place)),
        ("case", "condition"): set(get_args(Condition)),
        ("case", "selection"): set(get_args(Profile.model_fields["selection"].annotation)),
        ("feature", "name"): {feature for profile in profiles for feature in profile.features},
        ("person", "authority"): {word for step in steps for word in step.authority},
        ("at-hand", "item"): {word for step in steps for word in step.tools},
        ("pattern", "kind"): {"alternate-fails", "one-channel-fails", "all-fail", "some-fail", "all-light"},
        ("answer", "check"): set(base.checks),
        ("answer", "outcome"): {outcome for check_ in base.checks.values() for outcome in check_.outcomes},
        ("declined", "move"): moves,
        ("access", "name"): set(base.access),
        ("access", "state"): {"open", "shut", "unknown"},
        ("confirmed", "caution"): set(base.cautions),
        ("suspect", "mode"): set(modes),
        ("suspect", "part"): {mode.part for mode in modes.values()},
        ("suspect", "zone"): set(base.zones),
        ("surprise", "level"): {"low", "high"},
        ("repaired", "repair"): set(base.repairs),
        ("about-to", "move"): moves,
        ("about-to", "kind"): {"check", "repair", "open", "close", "verify"},
        ("about-to", "tag"): {tag for step in steps for tag in step.tags},
        ("finding", "name"): {rule.then.finding for rule in base.rules.values()} - {None},
    }
    for fact in ("answer", "declined", "access", "suspect", "channel-fault", "repaired", "about-to", "finding"):
        vocabulary[fact, "channel"] = letters
    return vocabulary

"""What an entry says, field by field, in reading order and in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from isolate.kb.agree import REFERENCES
from isolate.kb.fit import worded
from isolate.kb.model import (
    NOTHING,
    Access,
    Ask,
    Caution,
    Check,
    Complaint,
    Crossing,
    Knowledge,
    Mode,
    Outcome,
    Pattern,
    Profile,
    Reads,
    Repair,
    Repeats,
    Row,
    Rule,
    Said,
    Sign,
    Source,
    Swaps,
    Then,
    Told,
    Wear,
    Weights,
    Zone,
)

__all__ = ["MORE", "SHOWN", "Field", "fields", "minutes", "only", "per_channel", "percent", "titled", "zone_of"]

SHOWN = "A"
"""The channel that stands in the words of an entry that there is one of for each."""

MORE: dict[tuple[type[BaseModel], str], str] = {
    (Complaint, "found_open"): "access",
    (Complaint, "verify_own"): "checks",
}
"""Fields that name entries besides those in :data:`~isolate.kb.agree.REFERENCES`."""


@dataclass(frozen=True)
class Field:
    """One thing that an entry says, as lines; several where it is a list."""

    label: str
    lines: tuple[str, ...]


def fields(base: Knowledge, kind: str, name: str, entry: BaseModel) -> tuple[Field, ...]:
    """Return all that an entry says, but for its title and its sources."""
    return tuple(_Words(base, name, entry, per_channel(base, kind, name)).fields())


# -- entries -------------------------------------------------------------------------------------


def zone_of(base: Knowledge, mode: str) -> str:
    """Return the zone that has a mode."""
    return next(name for name, zone in base.zones.items() if mode in zone.modes)


def per_channel(base: Knowledge, kind: str, name: str) -> bool:
    """Return whether there is one of an entry for each channel; a mode is as its zone is."""
    entry = base.zones[zone_of(base, name)] if kind == "modes" else getattr(base, kind)[name]
    return getattr(entry, "per", None) == "channel"


def titled(base: Knowledge, kind: str, name: str) -> str:
    """Return the title of an entry, or what it says where it has none."""
    if kind == "modes":
        title = base.zones[zone_of(base, name)].modes[name].title
    else:
        entry = getattr(base, kind)[name]
        title = entry.says if isinstance(entry, Rule) else entry.title
    return worded(title, SHOWN) if per_channel(base, kind, name) else title


# -- words -----------------------------------------------------------------------------------------


def percent(value: float) -> str:
    """Return a share in percent to three figures, as small ones are written: ``0.08%``."""
    return f"{100 * value:.3g}%"


def minutes(value: float) -> str:
    """Return minutes as they are written, without rounding."""
    return f"{value:g} min"


def _listed(items: Iterable[Any]) -> str:
    return ", ".join(_scalar(item) for item in items)


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _by_condition(value: Any, said: Callable[[float], str]) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{condition} {said(figure)}" for condition, figure in value.items())
    return said(float(value))


def only(wanted: Mapping[str, Any]) -> str:
    """Return what an engine has to have, in words: ``leads is cooled and inserts is yes``."""
    return " and ".join(
        f"{name} is {' or '.join(_scalar(v) for v in (value if isinstance(value, list) else [value]))}"
        for name, value in wanted.items()
    )


_ORDER: dict[type[BaseModel], tuple[str, ...]] = {
    Mode: ("part", "prior", "wear", "lights", "active", "flickers", "like", "anew", "by_lane", "tells", "sure", "only"),
    Zone: ("kind", "lights", "modes"),
    Check: (
        *("only", "purpose", "kind", "minutes", "needs", "shut", "spoils", "place", "authority", "tools", "people"),
        *("cautions", "steps", "never", "outcomes", "given", "makes", "shows", "starts", "recorded"),
        *("age_of", "swaps", "repeats", "reads", "sure", "tags"),
    ),
    Access: (
        *("only", "word", "needs", "shut", "lasting", "place", "authority", "tools", "people", "open", "close"),
        "tags",
    ),
    Repair: (
        *("only", "kind", "to", "clears", "success", "disturbs", "minutes", "parts", "needs", "shut", "spoils"),
        *("place", "authority", "tools", "people", "replaces", "examines", "cautions", "steps", "never", "reads"),
        *("record", "tags"),
    ),
    Caution: ("only", "level", "text", "asks", "wait", "since", "holds_while"),
    Complaint: ("only", "says", "asks_channel", "starts", "answers", "found_open", "verify_own", "verify"),
    Sign: ("only", "says", "asks_channel", "answers"),
    Profile: (
        *("channels", "selection", "features", "zones", "omits", "access_minutes", "check_minutes", "priors"),
        *("weights", "remaining"),
    ),
    Rule: ("only", "kind", "says", "when", "then"),
    Source: ("kind", "edition", "chapter", "note"),
}
"""Fields in reading order; any that a model has besides follow, but for the title, the sources and ``per``."""

_LABELS: dict[str, str] = {
    "only": "only where",
    "lights": "lights off",
    "active": "shows",
    "like": "answers like",
    "shut": "must be shut",
    "spoils": "undoes",
    "given": "answers",
    "starts": "is a start",
    "word": "when open",
    "lasting": "to put back",
    "to": "goes to",
    "disturbs": "may leave",
    "examines": "look first",
    "replaces": "a new",
    "swaps": "changes over",
    "anew": "of fitting",
    "by_lane": "by lane",
    "recorded": "from starts",
    "reads": "worked out",
    "wait": "timer runs",
    "since": "from opening",
    "holds_while": "holds while",
    "asks_channel": "ask channel",
    "age_of": "asks age of",
    "found_open": "found open",
    "verify_own": "verify first",
    "access_minutes": "access takes",
    "check_minutes": "checks take",
    "tells": "telltale",
    "authority": "authorised",
}
"""Labels of fields that are not their own best label."""


class _Words:
    """One entry's fields in plain words."""

    def __init__(self, base: Knowledge, name: str, entry: BaseModel, per: bool) -> None:
        self.base, self.name, self.entry, self.per = base, name, entry, per

    def fields(self) -> Iterator[Field]:
        entry = self.entry
        if isinstance(entry, Mode):
            zone = zone_of(self.base, self.name)
            yield Field("zone", (f"{zone}: {self.text(self.base.zones[zone].title)}",))
        known = _ORDER[type(entry)]
        rest = [name for name in type(entry).model_fields if name not in (*known, "title", "source", "per")]
        for name in (*known, *rest):
            value = getattr(entry, name)
            # What is not set says nothing; a figure that is nought does.
            if value is None or value == "" or (value is False and name != "lasting"):
                continue
            if isinstance(value, list | dict) and not value:
                continue
            if type(entry).model_fields[name].default == value and name in ("people", "place", "parts", "lasting"):
                continue
            lines = tuple(line for line in self.lines(name, value) if line)
            if lines:
                yield Field(self.label(name), lines)

    def label(self, name: str) -> str:
        if name == "starts" and isinstance(self.entry, Complaint):
            return "starts"
        return _LABELS.get(name, name.replace("_", " "))

    def text(self, said: str) -> str:
        return worded(said, SHOWN) if self.per else said

    def named(self, kind: str, name: str) -> str:
        """A name with what it stands for."""
        return f"{name}: {titled(self.base, kind, name)}"

    def lines(self, name: str, value: Any) -> Iterator[str]:
        """A field's value, in lines."""
        own = getattr(self, f"_{name}", None)
        target = REFERENCES.get(type(self.entry), {}).get(name) or MORE.get((type(self.entry), name))
        if own is not None:
            yield from own(value)
        elif target is not None and isinstance(value, str):
            yield self.named(target, value)
        elif target is not None and isinstance(value, list):
            for word in value:
                yield self.named(target, word)
        elif isinstance(value, list) and any(isinstance(item, BaseModel) or " " in str(item) for item in value):
            for item in value:
                yield self.line(item)
        elif isinstance(value, list):
            yield _listed(value)
        elif isinstance(value, dict):
            for key, item in value.items():
                yield f"{key}: {self.line(item)}"
        else:
            yield self.line(value)

    def line(self, item: Any) -> str:
        if isinstance(item, Said):
            return f"({only(item.only)}) {self.text(item.say)}"
        if isinstance(item, BaseModel):
            return ", ".join(
                f"{field.replace('_', ' ')} {self.line(value)}"
                for field in type(item).model_fields
                if (value := getattr(item, field)) not in (None, "", [], {})
            )
        if isinstance(item, dict):
            return ", ".join(f"{key} {self.line(value)}" for key, value in item.items())
        if isinstance(item, list | tuple):
            return ", ".join(self.line(value) for value in item)
        return self.text(_scalar(item))

    # Fields that say more in words of their own.

    def _only(self, value: Mapping[str, Any]) -> Iterator[str]:
        yield only(value)

    def _prior(self, value: float) -> Iterator[str]:
        yield f"{percent(value)} before anything is known (one in {round(1 / value):,})"

    def _wear(self, value: Wear) -> Iterator[str]:
        renewed = "only as it fails" if value.replaced_at is None else f"at {value.replaced_at:,.0f} while still good"
        yield (
            f"with age, counted in {value.unit}: Weibull of shape {value.shape:g} and scale {value.scale:,.0f}; "
            f"renewed {renewed}"
        )

    def _lights(self, value: float) -> Iterator[str]:
        when = "while it shows" if isinstance(self.entry, Mode) else "where nothing is wrong with it"
        yield f"{percent(value)} of starts that rely on it light off {when}"

    def _active(self, value: Any) -> Iterator[str]:
        yield "all the time" if value == 1 else f"{_by_condition(value, percent)} of the time"

    def _remaining(self, value: float) -> Iterator[str]:
        yield f"verified asks for less than {percent(value)} of a fault left"

    def _modes(self, value: Mapping[str, Mode]) -> Iterator[str]:
        for name, mode in value.items():
            yield f"{name}: {self.text(mode.title)} ({percent(mode.prior)})"

    def _minutes(self, value: float) -> Iterator[str]:
        yield minutes(value)

    def _parts(self, value: float) -> Iterator[str]:
        yield f"as dear as {minutes(value)}"

    def _success(self, value: float) -> Iterator[str]:
        yield f"{percent(value)} of what it is meant to clear"

    def _outcomes(self, value: Mapping[str, Outcome]) -> Iterator[str]:
        for name, outcome in value.items():
            yield f"{name}: {self.text(outcome.title).rstrip('.')}. {self.text(outcome.means)}"

    def _given(self, value: Mapping[str, list[Row]]) -> Iterator[str]:
        assert isinstance(self.entry, Check)
        several = len(value) > 1 or "others" in value
        for zone, rows in value.items():
            for row in rows:
                told = (outcome for outcome in self.entry.outcomes if outcome in row.gives)
                gives = ", ".join(f"{outcome} {percent(row.gives[outcome])}" for outcome in told)
                yield f"{f'{zone}, ' if several else ''}{_listed(row.modes)}: {gives}"

    def _reads(self, value: list[Reads]) -> Iterator[str]:
        for one in value:
            answers = ", ".join(
                f"{verdict} {'answers nothing' if outcome == NOTHING else f'is {outcome}'}"
                for verdict, outcome in one.gives.items()
            )
            where = f"where {only(one.only)}, " if one.only else ""
            along = "; a record read for another check answers it too" if one.along else ""
            if one.unless:
                along += f", but not beside {_listed(one.unless)}"
            judge = f" ({one.judge})" if one.judge else ""
            settled = "".join(f", {name} {told}" for name, told in one.given.items())
            asked = f", asking {_listed(one.asks)} too" if one.asks else ""
            what = f"{where}calc {one.calc}{judge}{settled}{asked}"
            yield f"{what}: {answers or 'worked out and kept, answers nothing'}{along}"

    def _repeats(self, value: Repeats) -> Iterator[str]:
        yield f"up to {value.most} times on one occasion; {percent(value.same)} of the time it only repeats itself"

    def _starts(self, value: Any) -> Iterator[str]:
        if value is True:
            yield "yes: its first outcome counts as lit"
            return
        for told in value:
            assert isinstance(told, Told)
            yield f"channel {told.channel}: {'lit' if told.lit else 'did not light'}"

    def _swaps(self, value: Swaps) -> Iterator[str]:
        end = "each is back on its own channel at the end" if value.back else "they stay where they came to"
        yield f"the {value.part} of one channel and that of the other; {end}"

    def _recorded(self, value: str) -> Iterator[str]:
        yield {
            "light-times": "recorded times to light of the channel answer it, where enough are told",
            "lanes": "recorded starts answer it, where their control lanes are told",
        }[value]

    def _by_lane(self, value: bool) -> Iterator[str]:
        yield "it fails the starts that one control lane commands"

    def _anew(self, value: bool) -> Iterator[str]:
        yield "it lies in how the part is fitted and mostly ends when the part is fitted anew"

    def _open(self, value: Crossing) -> Iterator[str]:
        yield from self.crossing(value)

    def _close(self, value: Crossing) -> Iterator[str]:
        yield from self.crossing(value)

    def crossing(self, value: Crossing) -> Iterator[str]:
        do = [value.do] if isinstance(value.do, str) else value.do
        yield " ".join(self.line(line) for line in do)
        wait = f", then {_by_condition(value.wait, minutes)} to wait" if value.wait else ""
        yield f"takes {minutes(value.minutes)}{wait}"
        for line in value.checks:
            yield f"look: {self.line(line)}"
        for name in value.cautions:
            yield f"caution {self.named('cautions', name)}"

    def _lasting(self, value: bool) -> Iterator[str]:
        yield "yes" if value else "nothing; it just ends"

    def _clears(self, value: Mapping[str, list[str]]) -> Iterator[str]:
        for modes in value.values():
            for mode in modes:
                yield self.named("modes", mode)

    def _disturbs(self, value: Any) -> Iterator[str]:
        for item in value:
            yield f"{self.named('modes', item.mode)} ({percent(item.chance)})"

    def _steps(self, value: list[Any]) -> Iterator[str]:
        for number, line in enumerate(value, start=1):
            yield f"{number}. {self.line(line)}" if len(value) > 1 else self.line(line)

    def _answers(self, value: Mapping[str, str]) -> Iterator[str]:
        for check, outcome in value.items():
            yield f"{self.named('checks', check)}: {self.base.checks[check].outcomes[outcome].title}"

    def _asks(self, value: list[Ask]) -> Iterator[str]:
        for ask in value:
            least = f", at least {ask.least:g}" if ask.least is not None else ""
            yield f"{self.text(ask.prompt)} ({ask.kind}{least})"

    def _wait(self, value: str) -> Iterator[str]:
        assert isinstance(self.entry, Caution)
        prompts = [ask.prompt for ask in self.entry.asks if ask.name == value]
        yield f"for the minutes told: {prompts[0] if prompts else value}"

    def _asks_channel(self, value: bool) -> Iterator[str]:
        yield "yes: it is about one channel"

    def _features(self, value: Mapping[str, Any]) -> Iterator[str]:
        yield _listed(f"{name} {_scalar(setting)}" for name, setting in value.items())

    def _priors(self, value: Mapping[str, float]) -> Iterator[str]:
        for mode, prior in value.items():
            yield f"{mode}: {percent(prior)}"

    def _omits(self, value: BaseModel) -> Iterator[str]:
        for kind in type(value).model_fields:
            if names := getattr(value, kind):
                yield f"{kind}: {_listed(names)}"

    def _weights(self, value: Mapping[str, Weights]) -> Iterator[str]:
        for place, weights in value.items():
            yield f"at the {place}: " + ", ".join(
                f"{name.replace('_', ' ')} {_scalar(getattr(weights, name))}" for name in Weights.model_fields
            )

    def _when(self, value: list[Pattern]) -> Iterator[str]:
        for pattern in value:
            yield _pattern(pattern)

    def _then(self, value: Then) -> Iterator[str]:
        if value.finding is not None:
            yield f"finding {value.finding}" + (f", channel {value.channel}" if value.channel else "")
        if value.block is not None:
            yield f"{value.block} may not be done"
        if value.caution is not None:
            yield f"show {self.named('cautions', value.caution)}"


_COMPARED = {
    "at-least": "at least {}",
    "at-most": "at most {}",
    "above": "above {}",
    "below": "below {}",
    "is-not": "not {}",
    "one-of": "one of {}",
}


def _pattern(pattern: Pattern) -> str:
    """A condition in words: ``answer: check spark-test, outcome silent``."""
    if pattern.absent is not None:
        return f"not: {_pattern(pattern.absent)}"
    if pattern.any is not None:
        return " or ".join(f"({_pattern(inner)})" for inner in pattern.any)
    tests = []
    for slot, test in pattern.where.items():
        if isinstance(test, dict):
            compared = (
                _COMPARED[word].format(_listed(v) if isinstance(v, list) else _scalar(v)) for word, v in test.items()
            )
            tests.append(f"{slot} {' and '.join(compared)}")
        else:
            tests.append(f"{slot} {_scalar(test)}" if test != "" else f"no {slot}")
    return f"{pattern.fact}: {', '.join(tests)}" if tests else str(pattern.fact)

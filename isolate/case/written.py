"""A case as people write it in YAML: the intake, the answers in advance, the facts and what cannot be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ConfigDict, Field

from isolate.case.case import Intake
from isolate.case.intake import Refused, faults
from isolate.case.play import OutOfAnswers
from isolate.kb.fit import Fitted, UnknownName, near
from isolate.kb.model import Ask, Condition, Minutes, Model, Place, Text
from isolate.kb.read import KnowledgeError, Problem, read_model

if TYPE_CHECKING:
    from isolate.case.chase import Kit


class _Written(Model):
    model_config = ConfigDict(frozen=True, extra="forbid", coerce_numbers_to_str=True)


class WrittenStart(_Written):
    """A start; channel: a letter, `unknown` or `both`."""

    channel: Text = "unknown"
    lit: bool
    condition: Condition | None = None


class WrittenWork(_Written):
    repair: Text
    channel: str = ""


class WrittenPerson(_Written):
    name: Text
    may: list[Text] = Field(default=[], description="Authorisations: licensed, motoring, engine-run ...")


class WrittenCase(_Written):
    """What is told when a case is opened."""

    aircraft: Text
    position: Text
    engine: Text
    complaint: Text
    channel: str = ""
    operator: str = ""
    starts: list[WrittenStart] = []
    done: list[WrittenWork] = []
    people: list[WrittenPerson] = []
    place: Place = "gate"
    condition: Condition = "steady"
    minutes_left: Minutes | None = None
    missing: list[Text] = []

    def intake(self) -> Intake:
        """Return the intake."""
        data = self.model_dump()
        for start in data["starts"]:
            start["condition"] = start["condition"] or self.condition
        return Intake.from_dict(data)


class Answers(_Written):
    """A scripted session."""

    case: WrittenCase
    answers: dict[Text, Text | list[Text | None] | None] = Field(
        default={}, description="Check instance → outcome, outcomes in turn, or null for could not tell."
    )
    facts: dict[Text, str | int | float] = Field(
        default={}, description="What confirms cautions: by the ask's name, else by its kind (person, tag, time ...)."
    )
    cannot: dict[Text, Text] = Field(default={}, description="Move → why it cannot be done.")

    def odd(self, fitted: Fitted) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Yield what else does not fit the knowledge, as (path of the field, message)."""
        yield from ()


_M = TypeVar("_M", bound=Answers)


def read(path: Path, shape: type[_M], fitted: Fitted | None = None) -> _M:
    """Read a file of answers or a scenario. Raises KnowledgeError with file and line."""
    written, spots = read_model(path, shape)
    if fitted is None:
        return written
    problems = []

    def bad(at: Iterable[str | int], message: str) -> None:
        spot = spots(tuple(at))
        problems.append(Problem(spot.file, spot.line, message))

    for check, said in written.answers.items():
        fit = fitted.checks.get(check)
        if fit is None:
            bad(("answers", check), f"no check is called {check!r}{near(check, fitted.checks)}")
            continue
        for outcome in said if isinstance(said, list) else [said]:
            if outcome is not None and outcome not in fit.outcomes:
                bad(("answers", check), f"{check} has no answer {outcome!r}{near(outcome, fit.outcomes)}")
    moves = {*fitted.checks, *fitted.repairs, *fitted.access}
    for move in written.cannot:
        if move not in moves:
            bad(("cannot", move), f"nothing is called {move!r}{near(move, moves)}")
    for at, message in faults(fitted, written.case.intake()):
        bad(("case", *at), message)
    for at, message in written.odd(fitted):
        bad(at, message)
    if problems:
        raise KnowledgeError(problems)
    return written


def read_for(path: Path, shape: type[_M], kits: Callable[[str], Kit]) -> tuple[_M, Kit]:
    """Read a file together with the kit of the engine that it names. Raises KnowledgeError with file and line."""
    written, spots = read_model(path, shape)
    try:
        kit = kits(written.case.engine)
    except UnknownName as error:
        spot = spots(("case", "engine"))
        raise KnowledgeError([Problem(spot.file, spot.line, str(error))]) from None
    return read(path, shape, kit.fitted), kit


class Script:
    """A player (see :mod:`isolate.case.play`) that answers from a file and stops where it has no answer."""

    def __init__(self, written: Answers) -> None:
        self._answers: dict[str, list[str | None]] = {
            check: list(said) if isinstance(said, list) else [said] for check, said in written.answers.items()
        }
        self._facts: Mapping[str, Any] = written.facts
        self._cannot = written.cannot

    def outcome(self, check: str, within: str) -> str | None:
        """Return the next answer to a check; the last one of several is used up like the others."""
        left = self._answers.get(check)
        if not left:
            if within == "repair":
                return None
            raise OutOfAnswers(f"there is no answer to {check}")
        return left.pop(0)

    def refuses(self, move: str) -> str | None:
        return self._cannot.get(move)

    def fact(self, ask: Ask, caution: str) -> Any:
        for name in (ask.name, ask.kind):
            if name in self._facts:
                return self._facts[name]
        kind = f"{ask.name}, of kind {ask.kind}; caution {caution}"
        raise OutOfAnswers(f"there is no fact to answer {ask.prompt!r} ({kind})")

    def repaired(self, repair: str) -> None:
        """Nothing changes: the answers are what they are."""


__all__ = ["Answers", "Refused", "Script", "WrittenCase", "read", "read_for"]

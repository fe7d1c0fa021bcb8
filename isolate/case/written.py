"""A case as people write it in YAML: the intake, the answers in advance, the facts and what cannot be done."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from pydantic import ConfigDict, Field, model_validator

from isolate.case.case import Intake
from isolate.case.intake import Refused, faults
from isolate.case.measured import CANNOT_TELL, REFERENCE, Lacking, Reading, body, kept, others, take
from isolate.case.play import Measured, OutOfAnswers
from isolate.kb.fit import Fitted, UnknownName, near
from isolate.kb.model import Ask, Condition, Minutes, Model, Place, Text
from isolate.kb.read import KnowledgeError, Problem, read_model
from isolate.reasoning.lookahead import Objective

if TYPE_CHECKING:
    from isolate.case.chase import Kit


class _Written(Model):
    model_config = ConfigDict(frozen=True, extra="forbid", coerce_numbers_to_str=True)


class WrittenStart(_Written):
    """A start; channel: a letter, `unknown` or `both`."""

    channel: Text = "unknown"
    lit: bool
    condition: Condition | None = None
    seconds: float | None = Field(default=None, gt=0, le=300, description="Time to light.")
    lane: str = Field(default="", description="The control lane that commanded it.")
    aborted: bool = Field(default=False, description="Broken off before it could light.")
    gap: bool = Field(default=False, description="An unknown number of starts is missing before this one.")
    at: str = Field(default="", description="Its date or time.")
    oat: float | None = Field(default=None, ge=-90, le=70, description="Outside air temperature, degrees Celsius.")


class WrittenSign(_Written):
    """Something heard or seen besides the complaint."""

    sign: Text
    channel: str = ""


class WrittenWork(_Written):
    repair: Text
    channel: str = ""


class WrittenPerson(_Written):
    name: Text
    may: list[Text] = Field(default=[], description="Authorisations: licensed, motoring, engine-run ...")


class WrittenComing(_Written):
    """A tool on its way; at hand so many minutes after the case was opened."""

    tool: Text
    minutes: Minutes


class WrittenAge(_Written):
    """How old a part is: since new, between limits of which either may be left out."""

    part: Text
    channel: str = ""
    unit: Literal["starts", "hours"] = Field(description="What it is counted in, as the knowledge counts this part.")
    least: float | None = Field(default=None, ge=0)
    most: float | None = Field(default=None, ge=0)
    together: bool = Field(
        default=False, description="The same part on every channel was fitted at once; then without a channel."
    )

    @model_validator(mode="after")
    def _in_order(self) -> WrittenAge:
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError(f"an age lies between the smaller and the larger: not {self.least:g} to {self.most:g}")
        return self


class WrittenSwap(_Written):
    """Parts that changed places before the case: those of two channels, or a channel's with one of another engine."""

    part: Text
    channel: Text = Field(description="The channel that it was on.")
    other: str = Field(default="", description="The other channel; left out, or `elsewhere`: another engine.")
    serial: str = ""
    other_serial: str = Field(default="", alias="other-serial", description="Of the one that came for it.")
    where: str = Field(default="", description="The aircraft, position and channel of another engine.")


class WrittenSeen(_Written):
    """An answer, or a repair done, of an earlier case: one of the two, in the order they came."""

    check: str = ""
    outcome: str = ""
    repair: str = ""
    condition: Condition = "steady"

    @model_validator(mode="after")
    def _one(self) -> WrittenSeen:
        if bool(self.check) == bool(self.repair) or bool(self.check) != bool(self.outcome):
            raise ValueError("say a check with its outcome, or a repair")
        return self


class WrittenEarlier(_Written):
    """An earlier case on the same engine."""

    case: Text
    days: float = Field(ge=0, le=10_000, description="Between its end and the opening of this one.")
    end: Text = "verified, fault found"
    complaint: Text
    channel: str = ""
    starts: list[WrittenStart] = []
    trail: list[WrittenSeen] = Field(min_length=1, description="What was answered and repaired, in order.")
    findings: dict[Text, Text] = Field(default={}, description="Repair → what the shop found in what came off.")

    def data(self, engine: dict[str, str]) -> dict[str, Any]:
        """Return it in the form of :class:`isolate.case.case.Earlier`; ``engine``: aircraft, position, engine."""
        evidence = [
            {"seq": i, "kind": "answer", "key": seen.check, "outcome": seen.outcome, "condition": seen.condition}
            if seen.check
            else {"seq": i, "kind": "repair", "key": seen.repair}
            for i, seen in enumerate(self.trail, 2)
        ]
        told = {
            **engine,
            "complaint": self.complaint,
            "channel": self.channel,
            "starts": [{**start.model_dump(), "condition": start.condition or "steady"} for start in self.starts],
        }
        return {
            **{"case": self.case, "days": self.days, "end": self.end, "complaint": self.complaint},
            **{"channel": self.channel, "told": told, "evidence": evidence},
            "findings": [{"repair": repair, "finding": said} for repair, said in self.findings.items()],
        }


class WrittenCase(_Written):
    """What is told when a case is opened."""

    aircraft: Text
    position: Text
    engine: Text
    complaint: Text
    channel: str = ""
    operator: str = ""
    starts: list[WrittenStart] = []
    signs: list[WrittenSign] = Field(default=[], description="What was heard or seen besides the complaint.")
    done: list[WrittenWork] = []
    other_engine: bool | None = Field(
        default=None, description="Was the same work done on the other engine by the same people?"
    )
    people: list[WrittenPerson] = []
    place: Place = "gate"
    condition: Condition = Field(default="steady", description="When the defect shows.")
    now: Condition | None = Field(default=None, description="How it is at the aircraft; left out: as when it shows.")
    shut_down: float | None = Field(
        default=None, ge=0, le=100_000, description="Minutes since the engine was shut down, as the case is opened."
    )
    engine_starts: float | None = Field(
        default=None, ge=0, le=1_000_000, description="The engine's starts since new at the opening, by its log."
    )
    minutes_left: Minutes | None = None
    missing: list[Text] = []
    coming: list[WrittenComing] = Field(default=[], description="What is on its way, from the opening of the case.")
    objective: Objective = Field(default="minutes", description="What the next move is chosen by.")
    ages: list[WrittenAge] = Field(default=[], description="Of parts that wear: plug, lead, exciter.")
    swaps: list[WrittenSwap] = Field(default=[], description="Parts that changed places before the case.")
    hands: Literal[1, 2] = Field(default=1, description="People who work side by side on the engine.")
    earlier: list[WrittenEarlier] = Field(default=[], description="Earlier cases on this engine, the latest first.")

    def intake(self) -> Intake:
        """Return the intake."""
        data = self.model_dump()
        apart = any(start.condition is not None for start in self.starts)
        for start in data["starts"]:
            # Where none is told apart the record says so, and isolate.case.believed takes them as the defect shows.
            start["condition"] = start["condition"] or (self.condition if apart else "steady")
        data["now"] = self.now or ""
        engine = {"aircraft": self.aircraft, "position": self.position, "engine": self.engine}
        data["earlier"] = [earlier.data(engine) for earlier in self.earlier]
        data["other_engine"] = {None: "", True: "yes", False: "no"}[self.other_engine]
        return Intake.from_dict(data)


class WrittenPart(_Written):
    """The parts that came off and went on at a repair. Hours and starts since new may be left out: not known."""

    pn_off: Text = Field(alias="pn-off")
    sn_off: Text = Field(alias="sn-off")
    hours_off: float | None = Field(default=None, alias="hours-off", ge=0)
    starts_off: float | None = Field(default=None, alias="starts-off", ge=0)
    pn_on: Text = Field(alias="pn-on")
    sn_on: Text = Field(alias="sn-on")


class WrittenReading(Model):
    """What was measured at a check or a repair: what its calculation asks for by name, as it would be typed."""

    model_config = ConfigDict(frozen=True, extra="allow", coerce_numbers_to_str=True)
    __pydantic_extra__: dict[str, Text | list[Text]] = Field(init=False)

    calc: str = Field(default="", description="The calculation, where the step has several.")
    judge: str = Field(default="", description="Which of its verdicts answers, where the step has several of it.")
    where: str = Field(default="", description="Where in the approved data the limits stand.")
    by: str = Field(default="", description="Who read it, and with what: a name, a meter and its number.")
    note: Text | None = Field(default=None, description="Why it is answered otherwise than the reading comes to.")
    along: bool = Field(default=False, description="Take what the same record says of other checks as well.")

    @property
    def typed(self) -> dict[str, str | list[str]]:
        """What is told of it, input by input."""
        return dict(self.__pydantic_extra__ or {})


class WrittenDeferral(_Written):
    """An end under the operator's own deferral procedure, once the answers to what is offered have run out."""

    channel: Text
    reference: Text
    kept_off: Text = Field(
        alias="kept-off", description="How it is made sure that the next start cannot select the channel by itself."
    )
    authorised_by: Text = Field(alias="authorised-by")


class WrittenHandOver(_Written):
    """Passing the work on to the next people, once the answers have run out."""

    by: Text
    to: Text
    loose: list[Text] = Field(default=[], description="What is half torqued, finger tight or unlocked.")
    list_by: Text = Field(alias="list-by", description="Who keeps the list of tools, caps and blanks.")
    out: int = Field(ge=0, description="How many of them are out, by the list.")

    def facts(self) -> dict[str, Any]:
        """Return the facts as they are told."""
        return {**self.model_dump(by_alias=True), "loose": ", ".join(self.loose) or "none"}


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
    parts: dict[Text, WrittenPart] = Field(
        default={}, description="Repair instance → the parts that came off and went on; blanks in the record without."
    )
    readings: dict[Text, WrittenReading | list[WrittenReading]] = Field(
        default={}, description="Check or repair instance → what was measured there, or several in turn."
    )
    defer: WrittenDeferral | None = None
    hand_over: WrittenHandOver | None = Field(default=None, alias="hand-over")

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
    for repair in written.parts:
        mended = fitted.repairs.get(repair)
        if mended is None:
            bad(("parts", repair), f"no repair is called {repair!r}{near(repair, fitted.repairs)}")
        elif mended.entry.parts == 0:
            bad(("parts", repair), f"{repair} takes no part")
    for at, message in _unread(written, fitted, path.parent):
        bad(at, message)
    if written.defer is not None and written.defer.channel not in fitted.channels:
        known = ", ".join(fitted.channels)
        bad(("defer", "channel"), f"no channel is called {written.defer.channel!r}; known: {known}")
    for at, message in faults(fitted, written.case.intake()):
        bad(("case", *at), message)
    for at, message in written.odd(fitted):
        bad(at, message)
    if problems:
        raise KnowledgeError(problems)
    return written


def _unread(written: Answers, fitted: Fitted, folder: Path) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield what is wrong with the readings, as (path of the field, message)."""
    for step, told in written.readings.items():
        entries = fitted.checks.get(step) or fitted.repairs.get(step)
        if entries is None:
            steps = {*fitted.checks, *fitted.repairs}
            yield ("readings", step), f"no check or repair is called {step!r}{near(step, steps)}"
            continue
        said = written.answers.get(step)
        answers = list(said) if isinstance(said, list) else [said] if step in written.answers else []
        for index, one in enumerate(told if isinstance(told, list) else [told]):
            at: tuple[str | int, ...] = ("readings", step, index) if isinstance(told, list) else ("readings", step)
            try:
                reading = worked_out(fitted, step, one, folder)
            except Lacking as error:
                where = "where" if error.of == REFERENCE else error.of
                yield (*at, where) if where in ("where", *one.typed) else at, str(error)
                continue
            except (Refused, OSError) as error:
                yield at, str(error)
                continue
            if step in fitted.repairs:
                continue
            try:
                kept(body(reading), fitted.checks[step], answer := _answer(answers, index, reading), one.note or "")
            except Refused as error:
                yield ("answers", step) if index < len(answers) else at, str(error)
                continue
            if answer is None and index >= len(answers) and not _cannot(reading):
                yield at, f"the reading answers nothing; say under answers what {step} gave"


def _answer(answers: list[str | None], index: int, reading: Reading) -> str | None:
    """Return the answer to a check that was measured: as told, else as the reading comes to."""
    return answers[index] if index < len(answers) else reading.outcome or None


def _cannot(reading: Reading) -> bool:
    return reading.judged is not None and reading.judged.verdict == CANNOT_TELL


def worked_out(fitted: Fitted, step: str, told: WrittenReading, folder: Path) -> Reading:
    """Return a written reading of a check or repair, worked out. ``folder``: that files are named from.

    Raises Refused, OSError for a file that cannot be read.
    """
    fit = fitted.checks.get(step) or fitted.repairs[step]
    found = fit.entry.calculations(fitted.profile.features)
    meant = [
        one for one in found if told.calc in ("", one.calc) and (not told.judge or told.judge == one.judge)
    ]
    if not found:
        raise Refused(f"nothing is worked out at {step}")
    if len(meant) != 1:
        of = ", ".join(dict.fromkeys(f"{o.calc}{f' (judge: {o.judge})' if o.judge else ''}" for o in found))
        raise Refused(f"say with calc: which of these it is: {of}" if len(meant) > 1 else f"it goes through: {of}")
    from isolate.calc import calculation

    def there(value: str) -> str:
        return str(folder / os.path.expanduser(value.strip()))

    typed = dict(told.typed)
    for wanted in calculation(meant[0].calc).inputs:
        value = typed.get(wanted.name)
        if wanted.kind == "file" and value is not None:
            several = value.split(";") if isinstance(value, str) and wanted.many else value
            typed[wanted.name] = there(several) if isinstance(several, str) else [there(one) for one in several]
    check = fitted.checks.get(step)
    if check is None:
        return take(meant[0], typed, told.where, by=told.by)
    if check.channel and "channel" in meant[0].asks:
        typed.setdefault("channel", check.channel)
    return take(meant[0], typed, told.where, others(fitted, check), told.by)


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

    def __init__(self, written: Answers, fitted: Fitted | None = None, folder: Path = Path()) -> None:
        self._readings = {
            step: list(told) if isinstance(told, list) else [told] for step, told in written.readings.items()
        }
        self._fitted, self._folder = fitted, folder
        self._answers: dict[str, list[str | None]] = {
            check: list(said) if isinstance(said, list) else [said] for check, said in written.answers.items()
        }
        self._facts: Mapping[str, Any] = written.facts
        self._cannot = written.cannot
        self._parts = {repair: part.model_dump(by_alias=True) for repair, part in written.parts.items()}
        self._defer = written.defer

    def outcome(self, check: str, within: str) -> str | None:
        """Return the next answer to a check; the last one of several is used up like the others."""
        left = self._answers.get(check)
        if not left:
            if within == "repair":
                return None
            more = "" if left is None else " left: it is asked once more"
            raise OutOfAnswers(f"there is no answer to {check}{more}")
        return left.pop(0)

    def measured(self, step: str, within: str) -> Measured | None:
        """Return what was measured at a check or a repair, and of a check its answer; None where nothing was."""
        left = self._readings.get(step)
        if not left or self._fitted is None:
            return None
        told = left.pop(0)
        reading = worked_out(self._fitted, step, told, self._folder)
        had = self._answers.get(step)
        outcome = had.pop(0) if had else reading.outcome or None
        return Measured(outcome, reading, told.note or "", told.along)

    def refuses(self, move: str) -> str | None:
        return self._cannot.get(move)

    def fact(self, ask: Ask, caution: str) -> Any:
        for name in (ask.name, ask.kind):
            if name in self._facts:
                return self._facts[name]
        kind = f"{ask.name}, of kind {ask.kind}; caution {caution}"
        raise OutOfAnswers(f"there is no fact to answer {ask.prompt!r} ({kind})")

    def part(self, repair: str) -> Mapping[str, Any]:
        return self._parts.get(repair, {})

    def defers(self, kind: str, move: str) -> Mapping[str, Any] | None:
        """Return the facts of the deferral once a check, or the way out, is offered that the file does not answer."""
        if self._defer is None or kind in ("repair", "verify") or self._answers.get(move) or move in self._cannot:
            return None
        return self._defer.model_dump(by_alias=True)

    def repaired(self, repair: str) -> None:
        """Nothing changes: the answers are what they are."""


__all__ = ["Answers", "Refused", "Script", "WrittenCase", "read", "read_for"]

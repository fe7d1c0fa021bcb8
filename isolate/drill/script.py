"""A drill as a file: a scenario, and line by line what is done, in the words that would be typed.

All lines are understood before any is played, so that a slip in the last of them leaves nothing half done. A stop ends
the script unless its next line takes the drill up again.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from isolate.case.chase import Kit
from isolate.case.deferral import DEFER
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.case.written import read_for
from isolate.drill.drive import Came, Choice, Drive, Driven, choices
from isolate.drill.said import Said, phrase, understand
from isolate.drill.scenario import Scenario, find
from isolate.kb.fit import Fitted, UnknownName
from isolate.kb.model import Model, Text
from isolate.kb.read import KnowledgeError, Problem, read_model

__all__ = ["Line", "Played", "Written", "how_left", "play", "read_script", "resolve", "scenario_of"]

MOST_TIMES = 50
"""So many times at most a line is done over."""
LONGEST_WAIT = 600.0
"""Minutes of a wait."""
_AT_A_SCREEN = ("look", "earlier", "moves", "help")

State = Literal["played", "refused", "stopped", "not played"]


class Part(Model):
    """The part that came off and the one that went on; what is left out stays a blank in the record."""

    model_config = ConfigDict(frozen=True, extra="forbid", coerce_numbers_to_str=True)

    pn_off: Text | None = Field(default=None, alias="pn-off")
    sn_off: Text | None = Field(default=None, alias="sn-off")
    hours_off: float | None = Field(default=None, alias="hours-off", ge=0)
    starts_off: float | None = Field(default=None, alias="starts-off", ge=0)
    pn_on: Text | None = Field(default=None, alias="pn-on")
    sn_on: Text | None = Field(default=None, alias="sn-on")


class Do(Model):
    """A line with more to it."""

    model_config = ConfigDict(frozen=True, extra="forbid", coerce_numbers_to_str=True)

    do: Text = Field(description="What is done, in words, as a title or as a kind and a key.")
    part: Part | None = None
    times: int = Field(default=1, ge=1, le=MOST_TIMES, description="How many times in turn.")


class Script(Model):
    """One file of moves."""

    model_config = ConfigDict(frozen=True, extra="forbid", coerce_numbers_to_str=True)

    drill: Text = Field(description="Name of a scenario, or a file, relative to this one.")
    seed: int | None = Field(default=None, ge=0, description="What the aircraft shows by chance; else the scenario's.")
    trainee: str = ""
    moves: Annotated[list[Text | Do], Field(min_length=1)]


@dataclass(frozen=True)
class Line:
    """One line to be played. ``line``: in its file; ``part``: as :func:`isolate.case.parts.checked_part` takes it."""

    line: int
    text: str
    part: Mapping[str, Any] = field(default_factory=dict)
    times: int = 1


@dataclass(frozen=True)
class Written:
    """A script as it was read. ``at``: the line that names its drill; ``seed`` None: the scenario's."""

    drill: str
    moves: tuple[Line, ...]
    seed: int | None = None
    trainee: str = ""
    at: int = 0


@dataclass(frozen=True)
class Played:
    """What became of a line. ``said``: in words, where no move came of it; ``came``: of a move."""

    line: int
    text: str
    state: State
    said: str = ""
    came: Came | None = None


def read_script(path: Path) -> Written:
    """Read a script. Raises KnowledgeError with file and line for one that has not its shape."""
    script, spots = read_model(path, Script)
    lines = []
    for i, move in enumerate(script.moves):
        at = spots(("moves", i)).line
        if isinstance(move, str):
            lines.append(Line(at, move))
        else:
            part = {} if move.part is None else move.part.model_dump(by_alias=True, exclude_none=True)
            lines.append(Line(at, move.do, part, move.times))
    return Written(script.drill, tuple(lines), script.seed, script.trainee.strip(), spots(("drill",)).line)


def scenario_of(
    written: Written, path: Path, folder: Path, kits: Callable[[str], Kit]
) -> tuple[str, Scenario, Kit]:  # fmt: skip
    """Return name, scenario and kit of a script's drill, once every line of it is understood there.

    ``path``: of the script; ``folder``: of the scenarios that go by name. Raises KnowledgeError with file and line.
    """
    try:
        found = find(written.drill, folder)
    except UnknownName as error:
        raise KnowledgeError([Problem(str(path), written.at, str(error))]) from None
    if written.drill.endswith((".yaml", ".yml")) and not found.is_absolute():
        found = path.parent / found
    if not found.exists():
        raise KnowledgeError([Problem(str(path), written.at, f"there is no scenario {found}")])
    scenario, kit = read_for(found, Scenario, kits)
    begun = Driven.begin(kit, Memory(), "script", scenario.case.intake(), Clock())
    resolve(written, path, choices(kit.fitted), kit.fitted, begun.state.open)
    return found.stem, scenario, kit


def resolve(
    written: Written, path: Path, known: Sequence[Choice], fitted: Fitted, open_now: Collection[str] = ()
) -> tuple[tuple[Line, Said], ...]:  # fmt: skip
    """Return each line with what it means. Raises KnowledgeError for all that are not clear, with file and line.

    ``open_now``: keys of the access states that stand open before the first line. What stands open at a line is taken
    from the lines before it, as if each of them were done.
    """
    found, problems, left = [], [], 0
    opened = dict.fromkeys(open_now)
    for line in written.moves:
        said = understand(known, fitted, line.text, opened)
        if said.choice is not None and said.choice.kind == "open":
            opened[said.choice.key] = None
        elif said.choice is not None and said.choice.kind == "close":
            opened.pop(said.choice.key, None)
        why = f"nothing is played after the `leave` of line {left}" if left else _odd(line, said, fitted, known)
        if why:
            problems.append(Problem(str(path), line.line, why))
        elif said.kind == "leave":
            left = line.line
        found.append((line, said))
    if problems:
        raise KnowledgeError(problems)
    return tuple(found)


def _odd(line: Line, said: Said, fitted: Fitted, known: Sequence[Choice]) -> str:
    """Return what is wrong with a line; empty for one that can be played."""
    choice = said.choice
    shown = f"{line.text[:60]!r}"
    if said.kind == "unclear":
        which = [f"`{phrase(known, c)}`" for c in said.candidates]
        one = "Write" if len(which) == 1 else "Write one of"
        return f"{shown} is not clear. {said.why}" + (f" {one} {', '.join(which)}." if which else "")
    if said.kind in _AT_A_SCREEN:
        return f"{shown} shows something at a screen and does nothing in a script: leave it out"
    if said.kind == "wait" and not (said.minutes and said.minutes <= LONGEST_WAIT):
        return f"{shown}: say how many minutes, from 1 to {LONGEST_WAIT:g}, such as `wait 5`"
    if said.kind == "suspect" and said.sure is None:
        return f"{shown}: say how sure, such as `{line.text[:40].strip()} 60%`"
    if said.kind == "note" and not said.text:
        return f"{shown}: say what is to be noted"
    if choice is not None and choice.key == DEFER and not said.channel:
        return f"{shown}: say which channel, such as `defer channel {fitted.channels[0]}`"
    if line.part and not (choice is not None and choice.kind == "repair" and fitted.repair(choice.key).entry.parts):
        return f"{shown} takes no part"
    if line.times > 1 and not (said.kind in ("move", "wait", "hint") and (choice is None or choice.kind != "end")):
        return f"{shown} is done once only"
    return ""


def play(
    drive: Drive, written: Written, path: Path, tell: Callable[[str, Came | None], None] = lambda said, came: None
) -> tuple[Played, ...]:
    """Play a script and return what became of each line, once for each time it was to be done.

    ``tell`` is called with each of them as it comes: what was said, and what came of a move. What is left unplayed
    after an end, or a stop that is not taken up again, is told as such. Raises KnowledgeError with file and line: for
    lines that are not clear, before anything is played; for one that the drill does not take, once it comes to it.
    """
    found: list[Played] = []
    over = ""
    for line, said in resolve(written, path, drive.choices, drive.fitted, drive.chase.state.open):
        if drive.ended:
            over = "the drill had ended"
        elif drive.stopped is not None and said.kind != "again":
            over = "the drill was stopped and not taken up again"
        for turn in range(line.times):
            if turn and not over and (drive.ended or drive.stopped is not None):
                made = Played(line.line, line.text, "not played", "it was to be done again, and could not be")
            elif over:
                made = Played(line.line, line.text, "not played", over)
            else:
                try:
                    made = _played(drive, line, said)
                except Refused as error:
                    raise KnowledgeError([Problem(str(path), line.line, f"{line.text[:60]!r}: {error}")]) from None
            found.append(made)
            told = f"line {line.line} not played, {made.said}: " if made.state == "not played" else ""
            after = f": {made.said}" if made.said and made.came is None and not told else ""
            tell(f"{told}{line.text}{after}", made.came)
        if said.kind == "leave":
            over = over or "the script left it"
    return tuple(found)


def _played(drive: Drive, line: Line, said: Said) -> Played:
    choice, words = said.choice, ""
    if choice is not None:
        told: dict[str, Any] = dict(line.part)
        if choice.key == DEFER:
            told = {"channel": said.channel, **({"reference": said.reference} if said.reference else {})}
        came = drive.do(choice, said.minutes or 0.0, told or None)
        state: State = came.kind if came.kind in ("refused", "stopped") else "played"
        return Played(line.line, line.text, state, came.said, came)
    if said.kind == "again":
        if drive.stopped is None:
            return Played(line.line, line.text, "refused", "nothing was stopped")
        drive.again()
    elif said.kind == "suspect":
        drive.suspect(said.suspect, said.sure or 0.0)
    elif said.kind == "hint":
        words = " ".join(drive.hint())
    elif said.kind == "note":
        drive.note(said.text)
    return Played(line.line, line.text, "played", words)


def how_left(drive: Drive) -> Literal["ended", "stopped", "left"]:
    """Return how a drill stands after its script: ended; stopped and not taken up again; or left, to be resumed."""
    return "ended" if drive.ended else "stopped" if drive.stopped is not None else "left"

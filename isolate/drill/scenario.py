"""A drill's scenario: the story, the case as it is told, the hidden truth."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pydantic import Field

from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.case.steps import Done, Found, Step
from isolate.case.written import Answers, read_for
from isolate.drill.aircraft import Simulated
from isolate.kb.fit import Fitted, UnknownName, near
from isolate.kb.model import HEALTHY, Minutes, Model, Text
from isolate.kb.read import KnowledgeError, Problem


class Point(Model):
    """Something to be learnt. ``by``: what one meets it by; a drill in which none of it came up did not teach it."""

    say: Text
    by: list[Text] = Field(default=[], description="Checks, repairs, access states (instance names), rules.")


class Scenario(Answers):
    """One file under ``scenarios/``."""

    title: Text
    story: Text
    learning: list[Text | Point] = Field(min_length=1)
    seed: int = Field(default=1, ge=0, description="What the aircraft shows by chance follows from it.")
    approved: dict[Text, Minutes] = Field(
        default={}, description="Caution with a wait → the minutes that the invented approved data of this drill gives."
    )
    topics: list[Text] = Field(
        default=[], description="What it is about besides the parts of its truth, one word each."
    )
    truth: list[Text] = Field(description="Fault modes by instance name (lead-open/A, no-fuel); empty: no fault.")
    source: list[Text] = Field(min_length=1)

    @property
    def points(self) -> tuple[Point, ...]:
        """What is to be learnt."""
        return tuple(Point(say=p) if isinstance(p, str) else p for p in self.learning)

    def odd(self, fitted: Fitted) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Yield where the truth names no fault mode, or two of one zone."""
        known = {*fitted.checks, *fitted.repairs, *fitted.access, *fitted.rules}
        for i, point in enumerate(self.learning):
            for j, name in enumerate([] if isinstance(point, str) else point.by):
                if name not in known:
                    yield ("learning", i, "by", j), f"nothing is called {name!r}{near(name, known)}"
        waits = [name for name, caution in fitted.cautions.items() if caution.wait is not None]
        for name in self.approved:
            if name not in waits:
                yield ("approved", name), f"no caution with a wait is called {name!r}{near(name, waits)}"
        taken: dict[str, str] = {}
        for i, mode in enumerate(self.truth):
            zone = fitted.mode_zone.get(mode)
            if zone is None:
                yield ("truth", i), f"no fault mode is called {mode!r}{near(mode, fitted.mode_zone)}"
            elif zone in taken:
                yield ("truth", i), f"the truth names two faults of one zone: {taken[zone]} and {mode}"
            else:
                taken[zone] = mode


def names(folder: Path) -> tuple[str, ...]:
    """Return the names of the scenarios in a folder."""
    return tuple(sorted(p.stem for p in folder.glob("*.yaml")))


def find(name: str, folder: Path) -> Path:
    """Return the file of a scenario, by its name or as a path. Raises UnknownName."""
    if name.endswith((".yaml", ".yml")):
        return Path(name)
    if name not in names(folder):
        raise UnknownName(f"no scenario is called {name!r}{near(name, names(folder))}")
    return folder / f"{name}.yaml"


@dataclass(frozen=True)
class Solved:
    """How the tool played a scenario by its own advice."""

    done: Done
    verdict: tuple[Found, ...]
    truth: tuple[str, ...]
    book_minutes: float

    @property
    def named(self) -> tuple[str, ...]:
        """The fault modes of the verdict."""
        return tuple(sorted({f.mode for f in self.verdict if f.state != HEALTHY}))

    @property
    def right(self) -> bool:
        return self.named == tuple(sorted(self.truth))


def solve(
    path: Path,
    kits: Callable[[str], Kit],
    tell: Callable[[Chase, Step, str], None] | None = None,
    seed: int | None = None,
) -> Solved:
    """Play a scenario by the tool's own advice, with the scenario's seed where none is given.

    Raises KnowledgeError for a file that cannot be used.
    """
    scenario, kit = read_for(path, Scenario, kits)
    clock = Clock()
    try:
        aircraft = Simulated(
            kit.model,
            scenario.truth,
            scenario.seed if seed is None else seed,
            scenario.answers,
            scenario.cannot,
            [p.name for p in scenario.case.people],
        )
        chase = Chase.begin(kit, Memory(), "drill", scenario.case.intake(), clock)
        aircraft.where = lambda: chase.setting
    except (UnknownName, ValueError) as error:
        raise KnowledgeError([Problem(str(path), 0, str(error))]) from None
    done = play(chase, aircraft, clock, None if tell is None else lambda step, said: tell(chase, step, said))
    return Solved(done, chase.verdict(), tuple(scenario.truth), chase.state.book_minutes)

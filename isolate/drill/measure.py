"""How hard a case is, measured: what the reference, the tool's own advice, takes on it beside its average.

The figures stand in a table, ``scenarios/measured.json``, one row for each engine, complaint, place and truth. They
come from the decision problem of the complaint as it opens (:func:`isolate.drill.trial.stand`), the truth fixed and the
answers drawn; starts, ages and people of a single case are not in them. Channels are alike, so a truth stands once
however its channels are called (:func:`canonical`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import rfc8785

from isolate.case.chase import Kit
from isolate.drill.policies import OURS, policy
from isolate.drill.trial import Draws, Tree, stand
from isolate.kb.fit import Fitted, instance, split
from isolate.kb.model import Knowledge, Place

TABLE = "measured.json"
"""The table's file, in the folder of the scenarios."""
PLAYS = 5
"""Plays of each truth, unless asked otherwise."""
SHARE, MOST = 0.88, 14
"""Of each complaint so much of the probability is measured, by so many truths at most: our judgement."""
PAIRS = 2
"""The likeliest truths of more than one fault are measured besides, so many of each complaint."""
EASY, HARD = 0.75, 1.3
"""A case that takes less than this share of its engine's average is easy, one that takes more than that hard: fixed
shares rather than thirds, so that a level means the same on every engine; our judgement."""
LEVELS = ("easy", "middle", "hard")
NOT_MEASURED = "not measured"

IDLE = frozenset(
    {
        *("title", "says", "tells", "source", "purpose", "means", "do", "steps", "never", "word", "record", "to"),
        "sure",
        *("cautions", "reads", "tags", "authority", "tools", "place", "examines", "money", "book"),
    }
)
"""Fields that no measured cost follows from: words for people, and who may do something, with what and where."""
PARTS = ("zones", "checks", "access", "repairs", "complaints", "engines")
"""Kinds of entries that costs follow from."""

Truth = tuple[str, ...]


def digest(knowledge: Knowledge) -> str:
    """Return the SHA-256 of all that measured costs follow from, so that other words keep the table."""
    plain = knowledge.model_dump(mode="json", include=set(PARTS))
    for check in plain["checks"].values():
        # The order of a check's outcomes, best news to worst, carries meaning.
        check["outcomes"] = list(check["outcomes"])
    return hashlib.sha256(rfc8785.dumps(_bare(plain))).hexdigest()


def _bare(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _bare(v) for k, v in value.items() if k not in IDLE}
    return [_bare(v) for v in value] if isinstance(value, list) else value


def canonical(fitted: Fitted, complaint: str, channel: str, truth: Collection[str]) -> Truth:
    """Return the name under which a truth stands in the table: its modes, the channels renamed, sorted.

    A complaint's own channel becomes the first; else the renaming that sorts first is taken.
    """
    channels, found = fitted.channels, []
    about = channel if fitted.complaints[complaint].asks_channel else ""
    for order in permutations(channels):
        called = dict(zip(order, channels, strict=True))
        if not about or called[about] == channels[0]:
            renamed = (instance(name, called.get(c, c)) for name, c in map(split, truth))
            found.append(tuple(sorted(renamed)))
    return min(found)


class Row(NamedTuple):
    """What the reference takes on one truth: mean equivalent minutes, its standard error, share of the complaint."""

    minutes: float
    error: float
    share: float


@dataclass(frozen=True)
class Measured:
    """The table. ``rows``: (engine, complaint, place) → truth → row; ``average``: engine → equivalent minutes."""

    knowledge: str
    seed: int
    plays: int
    average: Mapping[str, float]
    rows: Mapping[tuple[str, str, str], Mapping[Truth, Row]]

    def why_not(self, knowledge: Knowledge) -> str:
        """Return why the table does not speak of this knowledge; empty where it does."""
        if not self.rows:
            return "there is no table of measured cases here"
        if self.knowledge != digest(knowledge):
            return "the table was measured with other figures than the knowledge at hand has"
        return ""

    def rows_at(self, engine: str, complaint: str, place: str) -> Mapping[Truth, Row]:
        """Return what was measured of a complaint at a place; at any other place where it was not measured there.

        Work takes as long at one place as at another; what parts and ends weigh differs a little.
        """
        for where in (place, *sorted({at for _, _, at in self.rows} - {place})):
            if found := self.rows.get((engine, complaint, where)):
                return found
        return {}

    def row(self, fitted: Fitted, complaint: str, channel: str, truth: Collection[str], place: str) -> Row | None:
        """Return what was measured of a case, None where it was not."""
        there = self.rows_at(fitted.name, complaint, place)
        return there.get(canonical(fitted, complaint, channel, truth)) if there else None

    def level(
        self, fitted: Fitted, complaint: str, channel: str, truth: Collection[str], place: str
    ) -> dict[str, Any]:
        """Return how hard a case is: ``name`` one of :data:`LEVELS` or ``not measured``, with the figures and why.

        ``minutes``, ``average``: equivalent minutes of the reference on this case and on its engine; ``ratio``.
        """
        if why := self.why_not(fitted.knowledge):
            return {"name": NOT_MEASURED, "why": why}
        row, average = self.row(fitted, complaint, channel, truth, place), self.average.get(fitted.name)
        if row is None or not average:
            return {"name": NOT_MEASURED, "why": "so rare a truth of this complaint was not measured"}
        ratio = row.minutes / average
        return {
            "name": named(ratio),
            "minutes": row.minutes,
            "average": average,
            "ratio": round(ratio, 3),
            "why": f"the tool itself takes {row.minutes:.0f} equivalent minutes on such a case, {average:.0f} on the "
            f"average case of this engine; mean of {self.plays} plays",
        }

    def as_dict(self) -> dict[str, Any]:
        """Return it as JSON takes it: truth as its modes joined by ``+``, a row as a list of its figures."""
        rows: dict[str, dict[str, dict[str, list[float]]]] = {}
        for (engine, complaint, place), truths in self.rows.items():
            rows.setdefault(engine, {})[f"{complaint} {place}"] = {
                "+".join(truth): [row.minutes, row.error, row.share] for truth, row in truths.items()
            }
        return {"knowledge": self.knowledge, "seed": self.seed, "plays": self.plays, "average": dict(self.average),
                "rows": rows}  # fmt: skip


NONE = Measured("", 0, 0, {}, {})
"""Nothing is measured."""


def named(ratio: float) -> str:
    """Return the level of a case that takes this share of its engine's average."""
    return "easy" if ratio < EASY else "hard" if ratio > HARD else "middle"


def read(folder: Path) -> Measured:
    """Read the table of a folder of scenarios; an empty one where there is none, or none that can be read."""
    try:
        data = json.loads((folder / TABLE).read_text(encoding="utf-8"))
        rows = {}
        for engine, problems in data["rows"].items():
            for about, truths in problems.items():
                complaint, _, place = about.partition(" ")
                rows[engine, complaint, place] = {
                    tuple(filter(None, truth.split("+"))): Row(*map(float, row)) for truth, row in truths.items()
                }
        average = {name: float(figure) for name, figure in data["average"].items()}
        return Measured(str(data["knowledge"]), int(data["seed"]), int(data["plays"]), average, rows)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return NONE


# -- measuring -------------------------------------------------------------------------------------


class _Fixed(Draws):
    """The chance of one play whose truth is given."""

    def __init__(self, seed: int, engine: str, complaint: str, play: int, width: int, truth: float) -> None:
        super().__init__(seed, engine, complaint, play, width)
        self.truth = truth


def measure(
    kit: Kit, folder: str | None, complaint: str, place: Place, seed: int, plays: int = PLAYS,
    share: float = SHARE, most: int = MOST, only: Collection[Truth] | None = None,
) -> dict[Truth, Row]:  # fmt: skip
    """Play each of the likeliest truths of a complaint and return what the reference takes on each, likeliest first.

    ``only``: these truths instead, as far as the problem that is planned for has them. Plays of one truth go round
    among the names that its channels may have.
    """
    fitted = kit.fitted
    here = stand(folder, fitted.name, place, complaint)
    problem = here.posed.problem
    tree = Tree(problem, policy(OURS, here.book), here.parts, here.watch, here.deals)
    channel = fitted.channels[0] if fitted.complaints[complaint].asks_channel else ""
    upto = np.cumsum(problem.p)
    groups: dict[Truth, list[int]] = {}
    for i, label in enumerate(problem.states):
        truth = () if label == "no fault" else tuple(label.split(" + "))
        groups.setdefault(canonical(fitted, complaint, channel, truth), []).append(i)
    chances = {truth: float(problem.p[states].sum()) for truth, states in groups.items()}
    found = {}
    for truth in chosen(chances, share, most) if only is None else [t for t in only if t in groups]:
        states = groups[truth]
        minutes = []
        for k in range(plays):
            i = states[k % len(states)]
            at = float(upto[i] - problem.p[i] / 2) / float(upto[-1])
            minutes.append(tree.play(k, _Fixed(seed, fitted.name, complaint, 1000 * i + k, tree.width, at)).minutes)
        error = float(np.std(minutes, ddof=1)) / len(minutes) ** 0.5 if len(minutes) > 1 else 0.0
        found[truth] = Row(round(float(np.mean(minutes)), 1), round(error, 1), round(chances[truth], 5))
    return found


def chosen(chances: Mapping[Truth, float], share: float = SHARE, most: int = MOST) -> list[Truth]:
    """Return the truths that are measured, likeliest first."""
    ordered = sorted(chances, key=lambda truth: (-chances[truth], truth))
    found, held = [], 0.0
    for truth in ordered[:most]:
        if held >= share:
            break
        found.append(truth)
        held += chances[truth]
    pairs = [truth for truth in ordered if len(truth) > 1][:PAIRS]
    return found + [truth for truth in pairs if truth not in found]


def averaged(rows: Mapping[tuple[str, str, str], Mapping[Truth, Row]]) -> dict[str, float]:
    """Return each engine's average: every complaint and place as often, truths by their probability."""
    means: dict[str, list[float]] = {}
    for (engine, _, _), truths in rows.items():
        held = sum(row.share for row in truths.values())
        means.setdefault(engine, []).append(sum(row.minutes * row.share for row in truths.values()) / held)
    return {engine: round(float(np.mean(values)), 1) for engine, values in means.items()}


def problems(kits: Sequence[Kit]) -> Iterator[tuple[Kit, str, Place]]:
    """Yield all that there is to measure."""
    places: tuple[Place, ...] = ("gate", "hangar")
    for place in places:
        for kit in kits:
            for complaint in sorted(kit.fitted.complaints):
                yield kit, complaint, place


def written(measured: Measured) -> str:
    """Return the table as its file has it: JSON, one problem a line."""
    data = measured.as_dict()
    rows = data.pop("rows")
    lines = [f'"{name}": {json.dumps(value)},' for name, value in data.items()]
    blocks = []
    for engine, by in rows.items():
        each = (f"{json.dumps(about)}: {json.dumps(truths, separators=(',', ':'))}" for about, truths in by.items())
        blocks.append(f"{json.dumps(engine)}: {{\n" + ",\n".join(each) + "\n}")
    return "{\n" + "\n".join(lines) + '\n"rows": {\n' + ",\n".join(blocks) + "\n}\n}\n"

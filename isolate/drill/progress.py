"""How trainees come on over their drills, what each might practise next, and an instructor's class.

Costs are held to the reference by the debriefings; nothing is scored here anew. What counts:

- A drill counts for costs and right ends once it was ended and debriefed. One left in the middle is counted as that;
  its stops and hints count all the same, so that leaving hides nothing unsafe. Its cost so far is no cost over the
  reference: a dash stands there, since a drill left at once would look best.
- A scenario whose truth a trainee has been told is played again, not anew: it stays out of costs, right ends and
  suspicions, and its stops and hints count.
- Stops and hints are read from the trail, costs and suspicions from its last ``debriefed`` event.
- Trainees are told apart by the names they gave, letter case and spaces aside.

Intervals are of 95 %.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
import shlex
import shutil
import statistics
import tempfile
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal, Protocol, cast

from isolate.case.events import Event, EventError, canonical, parse_time
from isolate.case.intake import Refused
from isolate.case.store import StoreError, open_store, read_case, write_whole
from isolate.drill.measure import LEVELS
from isolate.drill.tally import Z95, wilson
from isolate.kb.fit import Fitted

MOST_MINUTES = 1e6
"""More minutes than this no drill has: a debriefing that says so is not read."""
LEAST_HALVES = 4
"""From so many drills on the first half is set beside the second."""
MOST_TREND = 60
"""A trend is taken over so many drills, the last ones."""
LEAST_SUSPICIONS, LEAST_DRILLS = 10, 5
"""From so many suspicions in so many drills on something is said of somebody's confidence: our judgement."""
BINS = 5
"""Ranges that how sure somebody was is sorted into."""
COPIES = 5
"""Tries to copy a store that is written to meanwhile."""
RECENT = 5
"""A stop in so many of the last drills comes first in what to practise next: our judgement."""
DEAR = 0.25
"""A share over the reference that is worth practising: our judgement."""
IN_A_ROW = 2
"""Right ends without a stop on one level, after which the next level is due; wrong ones, after which the one below."""
SUGGESTIONS = 3
NOBODY = "nobody named"
ENDED, LEFT = "ended", "left in the middle"
NO_FIGURE = "–"
"""Stands for the cost over the reference of a drill that did not end."""
NOT_ENDED = "not ended"
PLAYED = ("answered", "repaired", "swapped", "closed")
"""Kinds of events by which a drill goes on."""

By = Literal["drill", "trainee"]


class Listed(Protocol):
    """What a list of cases says of each, as far as it is needed here."""

    @property
    def id(self) -> str: ...


class Shelf(Protocol):
    """Where drills are found: a store, or anything like it."""

    def cases(self) -> Sequence[Listed]: ...
    def events(self, case: str) -> tuple[Event, ...]: ...
    def faults(self, case: str) -> Sequence[Any]: ...


# -- drills -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Suspicion:
    """A prime suspect as it was told: how sure (0 to 1), whether true, and what the evidence then supported."""

    sure: float
    true: bool
    supported: float | None


@dataclass(frozen=True)
class Drilled:
    """One drill. Costs in equivalent minutes, None where it has no debriefing; ``answers``: checks that were answered.

    ``mark``: tells it from any other; ``scenario``: the same for all who played the same one, whatever their seed;
    ``level``: one of LEVELS, or empty; ``again``: its truth, or this very aircraft, was known to the trainee before;
    ``missed``: what was to be learnt and did not come up; ``record_ok``: None where not judged.
    """

    id: str
    mark: str
    name: str
    title: str
    scenario: str
    trainee: str
    who: str
    begun: str
    seed: int | None
    engine: str
    complaint: str
    level: str
    topics: tuple[str, ...]
    state: str
    judged: str = NOT_ENDED
    right: bool = False
    minutes: float | None = None
    equivalent: float | None = None
    expected: float | None = None
    over: float | None = None
    chance: float | None = None
    stops: int = 0
    hints: int = 0
    suspicions: tuple[Suspicion, ...] = ()
    record_ok: bool | None = None
    missed: tuple[str, ...] = ()
    again: bool = False
    answers: int = 0

    @property
    def counts(self) -> bool:
        """True where costs and the end count: ended, and for the first time."""
        return self.state == ENDED and not self.again

    @property
    def ratio(self) -> float | None:
        """The cost over the reference as a share of what the reference expected."""
        if self.over is None or not self.expected or self.expected <= 0:
            return None
        return self.over / self.expected


@dataclass(frozen=True)
class Drills:
    """Drills by the time they were begun, and a sentence on each that was not counted, or not as it was found."""

    drills: tuple[Drilled, ...] = ()
    problems: tuple[str, ...] = ()


Where = Shelf | str | Path
"""A store, or the path of a drill's file, of a store's file, or of a folder of such files."""
Source = Where | Drills
"""A place to read drills from, or what was read already."""


def gather(places: Iterable[Where]) -> Drills:
    """Gather drills from stores, files and folders; none of them is written to.

    The same drill counts once, however often it is found, and the longest of its copies counts. What cannot be used
    becomes a sentence, and the rest is counted. Raises StoreError only where a store that is given open fails.
    """
    gathering = _Gathering()
    done: list[Drilled] = []
    for place in places:
        if isinstance(place, (str, Path)):
            gathering.path(Path(place))
        else:
            gathering.shelf(place, str(getattr(place, "path", "the store")))
    for events, label in gathering.found.values():
        try:
            done.append(_drilled(events))
        except ValueError as error:
            gathering.note(f"{label}: drill {events[0].case} was not counted: {error}.")
    return Drills(_marked(done), tuple(dict.fromkeys(gathering.problems)))


class _Gathering:
    """The trails of drills as they are found, one of each, and what is to be said of the rest."""

    def __init__(self) -> None:
        self.found: dict[str, tuple[tuple[Event, ...], str]] = {}
        self.problems: list[str] = []

    def note(self, sentence: str) -> None:
        self.problems.append(_shown(sentence))

    def path(self, path: Path) -> None:
        """Take in a file, or the files of a folder."""
        try:
            if path.is_dir():
                inside = sorted(p for p in path.iterdir() if p.suffix in (".jsonl", ".db") and not p.is_dir())
                for one in inside:
                    self.path(one)
                if not inside:
                    self.note(f"{path}: a folder without any .jsonl or .db file.")
                return
            if path.exists() and not path.is_file():
                self.note(f"{path}: not a plain file.")
                return
            is_store = path.is_file() and _begins(path).startswith(b"SQLite format 3\0")
        except (OSError, ValueError) as error:
            self.note(f"{path}: could not be read: {getattr(error, 'strerror', None) or error}.")
            return
        try:
            if is_store:
                self._copied(path)
            else:
                self._add(read_case(path), str(path))
        except StoreError as error:
            self.note(str(error))

    def _copied(self, path: Path) -> None:
        """Take in a store's file by a copy, since opening one for good writes beside it."""
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            try:
                for _ in range(COPIES):
                    before = _state(path)
                    for ending in before:
                        shutil.copyfile(path.with_name(path.name + ending), copy.with_name(copy.name + ending))
                    if _state(path) == before:
                        break
                    for ending in before:
                        copy.with_name(copy.name + ending).unlink()
                else:
                    self.note(f"{path}: it is being written to just now; read it once more when that has ended.")
                    return
            except OSError as error:
                self.note(f"{path}: could not be read: {error.strerror or error}.")
                return
            try:
                with open_store(copy) as store:
                    self.shelf(store, str(path))
            except StoreError as error:
                self.note(str(error).replace(str(copy), str(path)))

    def shelf(self, shelf: Shelf, label: str) -> None:
        """Take in all drills of a store."""
        cases = 0
        for one in shelf.cases():
            try:
                events = shelf.events(one.id)
                if not _is_drill(events):
                    cases += 1
                    continue
                faults = shelf.faults(one.id)
            except StoreError as error:
                self.note(str(error).replace(str(getattr(shelf, "path", label)), label))
                continue
            if faults:
                self.note(f"{label}: drill {one.id} is not whole and was not counted. {faults[0]}")
                continue
            self._add(events, label)
        if cases:
            which = "which are no drills" if cases > 1 else "which is no drill"
            self.note(f"{label}: {_many(cases, 'real case')} in it besides, {which}: not counted.")

    def _add(self, events: tuple[Event, ...], label: str) -> None:
        if not _is_drill(events):
            self.note(f"{label}: a real case ({events[0].case}) and not a drill: not counted.")
            return
        mark = events[0].hash
        if mark in self.found:
            other, where = self.found[mark]
            short = min(len(events), len(other))
            if events[short - 1].hash != other[short - 1].hash:
                # The chain makes one hash speak for all events before it.
                kept = label if _weight(events) > _weight(other) else where
                self.note(f"{label}: drill {events[0].case} goes on otherwise than in {where}: it was played on in two "
                          f"places. It counts once, as in {kept}.")  # fmt: skip
            if _weight(events) <= _weight(other):
                return
        self.found[mark] = (events, label)


def _state(path: Path) -> dict[str, tuple[int, int]]:
    """Return the files that make up a store, by what their names end in, with size and time: to see it change."""
    files = {ending: path.with_name(path.name + ending) for ending in ("", "-wal")}
    return {e: ((told := file.stat()).st_size, told.st_mtime_ns) for e, file in files.items() if file.is_file()}


def _begins(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(16)


def _is_drill(events: Sequence[Event]) -> bool:
    return bool(events) and "drill" in events[0].body


def _weight(events: Sequence[Event]) -> tuple[bool, int, str]:
    """Return what decides which of two copies of a drill counts."""
    return any(e.kind == "debriefed" for e in events), len(events), events[-1].hash


def _drilled(events: Sequence[Event]) -> Drilled:
    """Return what a drill's trail says. Raises ValueError, whose message is a phrase, for what cannot be used."""
    opened = events[0].body
    about = opened["drill"]
    if not isinstance(about, Mapping):
        raise ValueError("what it says of itself is no object")
    begun = about.get("begun")
    try:
        parse_time(str(begun))
    except EventError as error:
        raise ValueError(f"when it was begun cannot be read: {error}") from None
    scenario = about.get("scenario")
    scenario = scenario if isinstance(scenario, Mapping) else {}
    name = _shown(str(about.get("name") or ""))
    same = {k: v for k, v in scenario.items() if k != "seed"} or {"name": name}
    trainee = _shown(str(about.get("trainee") or "")) or NOBODY
    seed = about.get("seed")
    level = about.get("level")
    named = level.get("name") if isinstance(level, Mapping) else ""
    kinds = Counter(event.kind for event in events)
    topics = scenario.get("topics", [])
    found = Drilled(
        id=events[0].case,
        mark=events[0].hash,
        name=name,
        title=_shown(str(scenario.get("title") or name)),
        scenario=hashlib.sha256(canonical(same)).hexdigest(),
        trainee=trainee,
        who=_who(trainee),
        begun=str(begun),
        seed=seed if isinstance(seed, int) and not isinstance(seed, bool) else None,
        engine=_shown(str(opened.get("engine") or "")),
        complaint=_shown(str(opened.get("complaint") or "")),
        level=str(named) if named in LEVELS else "",
        topics=_topics(topics if isinstance(topics, list) else []),
        state=LEFT,
        stops=kinds["stopped"],
        hints=kinds["hinted"],
        again=_went_on(events),
        answers=kinds["answered"],
    )
    last = next((event.body for event in reversed(events) if event.kind == "debriefed"), None)
    return found if last is None else _debriefed(found, last)


def _debriefed(drill: Drilled, body: Mapping[str, Any]) -> Drilled:
    """Return a drill with what its debriefing says. Raises ValueError for one that cannot be used."""
    judged = _field(body, "judged", str)
    topics = _field(body, "topics", list)
    right = _field(body, "right", bool)
    told = []
    for one in _field(body, "suspicions", list):
        if not isinstance(one, Mapping):
            raise ValueError("its debriefing cannot be read (a suspicion is no object)")
        supported = None if one.get("supported") is None else _share(one, "supported")
        told.append(Suspicion(_share(one, "sure"), _field(one, "true", bool), supported))
    learning = body.get("learning")
    missed = [
        _shown(str(p.get("say")))
        for p in (learning if isinstance(learning, list) else [])
        if isinstance(p, Mapping) and p.get("met") is False
    ]
    record = body.get("record_ok")
    return replace(
        drill,
        title=_shown(str(body.get("title") or drill.title)),
        topics=_topics(topics),
        state=LEFT if judged == NOT_ENDED else ENDED,
        judged=_shown(judged),
        right=right,
        minutes=_number(body, "minutes"),
        equivalent=_number(body, "equivalent"),
        expected=_number(body, "expected"),
        over=_number(body, "over"),
        chance=_number(body, "chance", least=-MOST_MINUTES),
        suspicions=tuple(told),
        record_ok=record if isinstance(record, bool) else None,
        missed=tuple(missed),
    )


def of_debriefing(body: Mapping[str, Any]) -> Drilled:
    """Return the drill that a debriefing speaks of, without its trail. Raises ValueError for one not as agreed."""
    hints = _number(body, "hints")
    level, name = body.get("level"), _shown(str(body.get("scenario") or ""))
    named = level.get("name") if isinstance(level, Mapping) else ""
    trainee = _shown(str(body.get("trainee") or "")) or NOBODY
    seed = body.get("seed")
    drill = Drilled(
        id=_shown(str(body.get("drill") or "")),
        mark=hashlib.sha256(canonical(body)).hexdigest(),
        name=name,
        title=name,
        scenario=name,
        trainee=trainee,
        who=_who(trainee),
        begun=str(body.get("begun") or ""),
        seed=seed if isinstance(seed, int) and not isinstance(seed, bool) else None,
        engine=_shown(str(body.get("engine") or "")),
        complaint=_shown(str(body.get("complaint") or "")),
        level=str(named) if named in LEVELS else "",
        topics=(),
        state=LEFT,
        stops=len(_field(body, "safety", list)),
        hints=int(hints),
    )
    return _debriefed(drill, body)


def _field(body: Mapping[str, Any], name: str, kind: type) -> Any:
    value = body.get(name)
    if not isinstance(value, kind):
        raise ValueError(f"its debriefing cannot be read ({_shown(name)} is {'missing' if value is None else 'odd'})")
    return value


def _number(body: Mapping[str, Any], name: str, least: float = 0.0) -> float:
    value = body.get(name)
    # A sum of rounded figures may end a hair below nought.
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not least - 1e-6 <= value <= MOST_MINUTES:
        raise ValueError(f"its debriefing cannot be read ({name} is {'missing' if value is None else 'odd'})")
    return max(least, float(value))


def _share(body: Mapping[str, Any], name: str) -> float:
    value = _number(body, name)
    if value > 1 + 1e-6:
        raise ValueError(f"its debriefing cannot be read ({name} is not between 0 and 1)")
    return min(1.0, value)


def _topics(found: Iterable[object]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(t for t in (_shown(str(one)).casefold() for one in found) if t))


def _went_on(events: Sequence[Event]) -> bool:
    """True for a drill that was played on after a debriefing had told its truth."""
    debriefed = False
    for event in events:
        debriefed = debriefed or event.kind == "debriefed"
        if debriefed and event.kind in PLAYED:
            return True
    return False


def _marked(found: Iterable[Drilled]) -> tuple[Drilled, ...]:
    """Return drills in order, one spelling for each trainee, those whose truth had been told before marked."""
    spelling: dict[str, str] = {}
    told: set[tuple[str, str]] = set()
    # The same seed is the same aircraft: what was answered on it once is known, though its truth was not told.
    met: set[tuple[str, str, int | None]] = set()
    made = []
    for drill in sorted(found, key=lambda d: (parse_time(d.begun), d.mark)):
        key = drill.who, drill.scenario
        name = spelling.setdefault(drill.who, drill.trainee)
        same = (*key, drill.seed)
        made.append(replace(drill, trainee=name, again=drill.again or key in told or same in met))
        if drill.answers:
            met.add(same)
        if drill.over is not None:  # it has a debriefing, which tells the truth
            told.add(key)
    return tuple(made)


def _drills(of: Source) -> Drills:
    return of if isinstance(of, Drills) else gather([of])


def trainees(of: Source) -> tuple[str, ...]:
    """Return the names of all who have drilled, in the order of the alphabet, each as first spelled."""
    return tuple(sorted({d.trainee for d in _drills(of).drills}, key=lambda n: (_who(n), n)))


# -- figures ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Trend:
    """How the cost over the reference moves from drill to drill, as a share of the reference.

    ``drills``: how many it rests on. ``first``, ``second``: of either half (None where there are too few), with what
    the reference expected there, in equivalent minutes. ``slope``: change a drill, the median over all pairs of drills
    (Theil 1950, Sen 1968), with the exact interval that follows from Kendall's statistic; None below five drills.
    """

    drills: int
    first: float | None
    second: float | None
    expected: tuple[float, float] | None
    slope: float | None
    interval: tuple[float, float] | None
    says: str

    @property
    def word(self) -> str:
        """The trend in a word."""
        if self.interval is None:
            return "too few"
        return "falls" if self.interval[1] < 0 else "rises" if self.interval[0] > 0 else "unclear"


@dataclass(frozen=True)
class Figures:
    """The figures of some drills. Costs are means in equivalent minutes over those that count, None without any.

    ``played``: all of them; ``counted``: those that count for costs and ends; ``ratio``: all cost over the reference
    as a share of all that it expected; ``stops``, ``hints``: of all; ``stopped``: drills with a stop.
    """

    played: int
    counted: int
    again: int
    left: int
    right: int
    right_interval: tuple[float, float]
    over: float | None
    over_interval: tuple[float, float] | None
    expected: float | None
    ratio: float | None
    stops: int
    stopped: int
    hints: int
    trend: Trend


@dataclass(frozen=True)
class Bin:
    """Suspicions stated within a range of how sure. Shares of one; ``interval``: Wilson's, as if each stood alone."""

    low: float
    high: float
    suspicions: int
    stated: float
    true: int
    interval: tuple[float, float]


@dataclass(frozen=True)
class Calibration:
    """How far somebody may be trusted when sure. None where there are no suspicions.

    ``brier``: mean square of stated less true, 0 best (Brier 1950, one half of his sum over both classes);
    ``supported``: what the evidence at the time would have scored on the same suspects; ``gap``: mean stated less
    share true, above 0 for too sure, with its interval where there are enough (see :func:`calibration`).
    """

    suspicions: int
    drills: int
    brier: float | None
    supported: float | None
    gap: float | None
    gap_interval: tuple[float, float] | None
    bins: tuple[Bin, ...]
    says: str


@dataclass(frozen=True)
class Suggestion:
    """What to practise next. ``topic`` may be empty: any."""

    topic: str
    level: str
    why: str
    command: str


@dataclass(frozen=True)
class Progress:
    """How one trainee comes on. ``topics``: by name, a drill counting in each of its own."""

    trainee: str
    drills: tuple[Drilled, ...]
    all: Figures
    topics: Mapping[str, Figures]
    calibration: Calibration
    missed: tuple[str, ...]
    next: tuple[Suggestion, ...]
    problems: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


def of(source: Source, trainee: str, topics: Sequence[str] = ()) -> Progress:
    """Return how a trainee comes on. ``topics``: those that a drill can be drawn about (:func:`topics_of`).

    Raises Refused for somebody who has not drilled.
    """
    drills = _drills(source)
    mine = tuple(d for d in drills.drills if d.who == _who(_shown(trainee) or NOBODY))
    if not mine:
        known = trainees(drills)
        named = "; here are " + ", ".join(known[:8]) + ("" if len(known) <= 8 else " and more") if known else ""
        raise Refused(f"no drill of {_shown(trainee) or NOBODY} is here{named}")
    topic_names = sorted({t for d in mine for t in d.topics})
    missed = Counter(say for d in mine if d.state == ENDED for say in d.missed)
    return Progress(
        trainee=mine[0].trainee,
        drills=mine,
        all=figures(mine),
        topics={t: figures([d for d in mine if t in d.topics]) for t in topic_names},
        calibration=calibration(mine),
        missed=tuple(say for say, _ in sorted(missed.items(), key=lambda item: (-item[1], item[0]))),
        next=suggestions(mine, topics),
        problems=drills.problems,
    )


def topics_of(fitted: Fitted) -> tuple[str, ...]:
    """Return what a drill can be drawn about on an engine: the parts of its fault modes."""
    return tuple(sorted({mode.part for zone in fitted.zones.values() for mode in zone.modes.values()}))


def figures(drills: Sequence[Drilled]) -> Figures:
    """Return the figures of drills, which stand in the order they were begun."""
    counted = [d for d in drills if d.counts]
    over = [d.over for d in counted if d.over is not None]
    expected = [d.expected for d in counted if d.expected is not None]
    right = sum(d.right for d in counted)
    return Figures(
        played=len(drills),
        counted=len(counted),
        again=sum(d.again for d in drills),
        left=sum(d.state == LEFT and not d.again for d in drills),
        right=right,
        right_interval=wilson(right, len(counted)),
        over=statistics.fmean(over) if over else None,
        over_interval=mean_interval(over),
        expected=statistics.fmean(expected) if expected else None,
        ratio=_ratio(counted),
        stops=sum(d.stops for d in drills),
        stopped=sum(d.stops > 0 for d in drills),
        hints=sum(d.hints for d in drills),
        trend=trend(counted),
    )


def _ratio(drills: Sequence[Drilled]) -> float | None:
    """Return all cost over the reference as a share of all it expected: a ratio of sums, which small drills spare."""
    both = [(d.over, d.expected) for d in drills if d.over is not None and d.expected]
    expected = sum(e for _, e in both)
    return sum(o for o, _ in both) / expected if expected > 0 else None


def trend(drills: Sequence[Drilled]) -> Trend:
    """Return the trend of the cost over the reference, over drills in the order they were begun."""
    rated = [d for d in drills if d.ratio is not None][-MOST_TREND:]
    n = len(rated)
    if n < LEAST_HALVES:
        return Trend(n, None, None, None, None, None, f"No trend yet: {_many(n, 'drill')}, {LEAST_HALVES} are needed.")
    halves = rated[: n // 2], rated[n // 2 :]
    first, second = (_ratio(half) or 0.0 for half in halves)
    before, after = (statistics.fmean(d.expected or 0.0 for d in half) for half in halves)
    slope, interval = sen([d.ratio or 0.0 for d in rated])
    says = f"{_percent(first)} over in the first {len(halves[0])}, {_percent(second)} in the last {len(halves[1])}"
    if interval is None:
        says += f": too few to tell from chance ({_many(n, 'drill')})."
    else:
        found = Trend(n, first, second, None, slope, interval, "").word
        word = {"falls": "it falls", "rises": "it rises", "unclear": "this may be chance"}[found]
        says += (f": {word}. Change a drill {100 * (slope or 0):+.1f} points, 95 % from {100 * interval[0]:+.1f} to "
                 f"{100 * interval[1]:+.1f}; it rests on {_many(n, 'drill')}.")  # fmt: skip
    if max(before, after) > 1.25 * min(before, after):
        harder = "longer" if after > before else "shorter"
        says += f" The later ones were {harder}: {after:.0f} min by the reference, {before:.0f} before."
    return Trend(n, first, second, (before, after), slope, interval, says)


def sen(values: Sequence[float]) -> tuple[float | None, tuple[float, float] | None]:
    """Return the median slope a step over all pairs of equally spaced values, and its 95 % interval.

    Theil 1950, Sen 1968. The interval is exact without ties (with ties it is a little wide): a slope lies outside it
    just where Kendall's test refuses it. None for a slope of less than two values, an interval of less than five.
    """
    n = len(values)
    slopes = sorted((values[j] - values[i]) / (j - i) for i in range(n) for j in range(i + 1, n))
    if not slopes:
        return None, None
    # Ways to order m things with k pairs out of order, built up thing by thing.
    ways = [1]
    for m in range(2, n + 1):
        ways = [sum(ways[max(0, k - m + 1) : k + 1]) for k in range(m * (m - 1) // 2 + 1)]
    most, cut, tail = math.factorial(n), -1, 0
    while 40 * (tail + ways[cut + 1]) <= most:  # a tail of 2.5 %
        cut += 1
        tail += ways[cut]
    middle = statistics.median(slopes)
    return middle, None if cut < 0 else (slopes[cut], slopes[-1 - cut])


def student(freedom: int) -> float:
    """Return the two-sided 95 % quantile of Student's t, whole degrees of freedom from 1.

    By the closed sums for whole degrees of freedom, Abramowitz and Stegun, 26.7.3 and 26.7.4, halved in.
    """
    if freedom > 2000:
        return Z95
    low, high = 1.0, 13.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, freedom) < 0.95 else (low, middle)
    return high


def _within(t: float, freedom: int) -> float:
    """Return the chance that Student's t lies between -t and t."""
    angle = math.atan(t / math.sqrt(freedom))
    square, odd = math.cos(angle) ** 2, freedom % 2
    term = math.cos(angle) if odd else 1.0
    total = 0.0 if freedom == 1 else term
    for k in range(2 if odd else 1, freedom - 2, 2):
        term *= square * k / (k + 1)
        total += term
    total *= math.sin(angle)
    return 2 / math.pi * (angle + total) if odd else total


def mean_interval(values: Sequence[float]) -> tuple[float, float] | None:
    """Return the 95 % interval of a mean by Student's t; None of less than three values."""
    n = len(values)
    if n < 3:
        return None
    half = student(n - 1) * statistics.stdev(values) / math.sqrt(n)
    return statistics.fmean(values) - half, statistics.fmean(values) + half


def calibration(drills: Sequence[Drilled]) -> Calibration:
    """Return how what was stated compares with what was true, over the drills whose truth had not been told.

    Suspicions of one drill go together, so the interval of the gap is over drills: by Student's t on the ratio
    estimator of drills as clusters (Cochran, Sampling Techniques). It is never taken narrower than that of somebody
    perfectly calibrated whose suspicions of one drill are all right or all wrong together: else a dozen right at 95 %
    would pass for too modest.
    """
    clusters = [d.suspicions for d in drills if d.suspicions and not d.again]
    told = [s for cluster in clusters for s in cluster]
    n, m = len(told), len(clusters)
    if not told:
        return Calibration(0, 0, None, None, None, None, (), "No suspicion was stated: nothing can be said.")
    brier = _brier(told)
    tool = [(s.supported - s.true) ** 2 for s in told if s.supported is not None]
    stated, true = statistics.fmean(s.sure for s in told), sum(s.true for s in told) / n
    gap = stated - true
    interval = None
    if n < LEAST_SUSPICIONS or m < LEAST_DRILLS:
        says = (f"Too few to say: {_many(n, 'suspicion')} in {_many(m, 'drill')}; {LEAST_SUSPICIONS} in {LEAST_DRILLS} "
                "are needed.")  # fmt: skip
    else:
        seen = sum(sum(s.sure - s.true - gap for s in c) ** 2 for c in clusters) * m / (m - 1)
        ideal = sum(sum(math.sqrt(s.sure * (1 - s.sure)) for s in c) ** 2 for c in clusters)
        half = student(m - 1) * math.sqrt(max(seen, ideal)) / n
        interval = gap - half, gap + half
        fact = f"{_percent(stated)} sure on average, {_percent(true)} true"
        if interval[0] > 0:
            says = f"Too sure: {fact}."
        elif interval[1] < 0:
            says = f"Less sure than there was reason to be: {fact}."
        else:
            says = f"Neither too sure nor too modest, as far as can be told: {fact}."
        says += (f" Gap {100 * gap:+.0f} points, 95 % from {100 * interval[0]:+.0f} to {100 * interval[1]:+.0f}; "
                 f"{_many(n, 'suspicion')} in {_many(m, 'drill')}.")  # fmt: skip
    bins = []
    for k in range(BINS):
        # What is stated on an edge goes to the upper bin; full sureness to the last.
        within = [s for s in told if min(int(s.sure * BINS), BINS - 1) == k]
        if within:
            hits = sum(s.true for s in within)
            mean = statistics.fmean(s.sure for s in within)
            bins.append(Bin(k / BINS, (k + 1) / BINS, len(within), mean, hits, wilson(hits, len(within))))
    supported = statistics.fmean(tool) if len(tool) == n else None
    return Calibration(n, m, brier, supported, gap, interval, tuple(bins), says)


def _brier(told: Sequence[Suspicion]) -> float | None:
    return statistics.fmean((s.sure - s.true) ** 2 for s in told) if told else None


# -- what next ----------------------------------------------------------------------------------------


def suggestions(drills: Sequence[Drilled], topics: Sequence[str] = ()) -> tuple[Suggestion, ...]:
    """Return what to practise next, the first first, each topic once.

    Where the last drills had a stop, that topic, a level down; then what ended wrongly or costs most over the
    reference; then what was practised least. ``topics``: those that can be asked for; without any, those met.
    """
    known = tuple(dict.fromkeys(t.casefold() for t in topics)) or tuple(sorted({t for d in drills for t in d.topics}))
    mine = {t: [d for d in drills if t in d.topics] for t in known}
    found: dict[str, Suggestion] = {}

    def add(topic: str, level: str, why: str) -> None:
        about = f" --about {shlex.quote(topic)}" if topic else ""
        found.setdefault(topic, Suggestion(topic, level, why, f"isolate drill --random{about} --level {level}"))

    recent = list(drills[-RECENT:])
    if stops := sum(d.stops for d in recent):
        where = Counter({t: sum(d.stops for d in recent if t in d.topics) for t in known})
        topic = next((t for t, n in sorted(where.items(), key=lambda item: (-item[1], item[0])) if n), "")
        level = _below(_level(mine[topic])[0]) if topic else LEVELS[0]
        of_it = f", {where[topic]} of them with {topic}" if topic and where[topic] < stops else ""
        add(topic, level, f"Safety first: {_many(stops, 'stop')} in the last {_many(len(recent), 'drill')}{of_it}. "
                          "Once more without any.")  # fmt: skip
    for topic in sorted(known):
        counted = [d for d in mine[topic] if d.counts]
        if counted and not counted[-1].right:
            level, why = _level(mine[topic])
            add(topic, level, f"The last one ended wrongly: {counted[-1].judged}.{why}")
    dear = {t: r for t in known if len(c := [d for d in mine[t] if d.counts]) > 1 and (r := _ratio(c)) is not None}
    for topic, ratio in sorted(dear.items(), key=lambda item: (-item[1], item[0])):
        if ratio >= DEAR:
            level = _now(mine[topic])
            n = sum(d.counts for d in mine[topic])
            add(topic, level, f"Costs {_percent(ratio)} over the reference, on {_many(n, 'drill')}.")
    for topic in sorted(known, key=lambda t: (len(mine[t]), t)):
        n = len(mine[topic])
        level, why = _level(mine[topic])
        times = "Never practised yet." if n == 0 else f"Practised least: {_many(n, 'drill')}."
        add(topic, level, times + why)
    if not found:
        level, why = _level(drills)
        add("", level, f"Nothing says yet what to practise.{why}")
    return tuple(found.values())[:SUGGESTIONS]


def _now(drills: Sequence[Drilled]) -> str:
    """Return the level of the last of some drills; easy where none was measured."""
    return next((d.level for d in reversed(drills) if d.level), LEVELS[0])


def _below(level: str) -> str:
    return LEVELS[max(0, LEVELS.index(level) - 1)]


def _level(drills: Sequence[Drilled]) -> tuple[str, str]:
    """Return the level that is due after some drills, and why where it is another; the unmeasured do not count."""
    level = _now(drills)
    last = [d for d in drills if d.level == level and d.counts][-IN_A_ROW:]
    at = LEVELS.index(level)
    if len(last) == IN_A_ROW and all(d.right and not d.stops for d in last):
        if at + 1 < len(LEVELS):
            return LEVELS[at + 1], f" The last {IN_A_ROW} {level} ones ended right: a level up."
    elif len(last) == IN_A_ROW and not any(d.right for d in last) and at > 0:
        return LEVELS[at - 1], f" The last {IN_A_ROW} {level} ones ended wrongly: a level down."
    return level, ""


# -- the class ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """One trainee of a class. ``brier`` None without suspicions; ``to_median``: the ratio less the class median."""

    trainee: str
    all: Figures
    brier: float | None
    suspicions: int
    weakest: tuple[str, ...]
    to_median: float | None


@dataclass(frozen=True)
class Played:
    """A scenario that several have played, first plays that were ended only.

    ``over``: (trainee, equivalent minutes over the reference, right and without a stop); ``best``: the least of those
    that ended right without a stop, None where nobody did: what is unsafe or wrong is never best.
    """

    name: str
    title: str
    over: tuple[tuple[str, float, bool], ...]
    right: int
    median: float
    best: float | None


@dataclass(frozen=True)
class Class:
    """An instructor's class. ``median``: of each figure over the trainees that have it."""

    rows: tuple[Row, ...]
    median: Mapping[str, float | None]
    scenarios: tuple[Played, ...]
    problems: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


def class_of(source: Source) -> Class:
    """Return the class table: one row a trainee, by name, and each scenario that more than one has played."""
    drills = _drills(source)
    rows = []
    for name in trainees(drills):
        mine = [d for d in drills.drills if d.trainee == name]
        found = calibration(mine)
        rows.append(Row(name, figures(mine), found.brier, found.suspicions, _weakest(mine), None))

    def median(figure: Callable[[Row], float | None]) -> float | None:
        values = [v for v in map(figure, rows) if v is not None]
        return statistics.median(values) if values else None

    medians = {
        "right": median(lambda r: r.all.right / r.all.counted if r.all.counted else None),
        "over": median(lambda r: r.all.over),
        "ratio": median(lambda r: r.all.ratio),
        "stops": median(lambda r: r.all.stops / r.all.played),
        "hints": median(lambda r: r.all.hints / r.all.played),
        "brier": median(lambda r: r.brier),
    }
    middle = medians["ratio"]
    rows = [
        replace(r, to_median=None if r.all.ratio is None or middle is None else r.all.ratio - middle) for r in rows
    ]
    return Class(tuple(rows), medians, _compared(drills.drills), drills.problems)


def _weakest(drills: Sequence[Drilled]) -> tuple[str, ...]:
    """Return up to two topics: those with stops, then those that cost most over the reference in two drills or more."""
    found = []
    for topic in sorted({t for d in drills for t in d.topics}):
        of_it = figures([d for d in drills if topic in d.topics])
        ratio = of_it.ratio if of_it.counted > 1 else None
        if of_it.stops or (ratio is not None and ratio >= DEAR):
            found.append((-of_it.stops, -(ratio or 0.0), topic))
    return tuple(topic for _, _, topic in sorted(found)[:2])


def _compared(drills: Sequence[Drilled]) -> tuple[Played, ...]:
    by: dict[str, list[Drilled]] = {}
    for drill in drills:
        if drill.counts:
            by.setdefault(drill.scenario, []).append(drill)
    found = []
    for same in by.values():
        if len({d.who for d in same}) < 2:
            continue
        over = [(d.trainee, d.over or 0.0, d.right and not d.stops) for d in same]
        good = [cost for _, cost, fine in over if fine]
        found.append(
            Played(
                name=same[0].name,
                title=same[0].title,
                over=tuple(sorted(over, key=lambda o: (_who(o[0]), o[1]))),
                right=sum(d.right for d in same),
                median=statistics.median(cost for _, cost, _ in over),
                best=min(good, default=None),
            )
        )
    return tuple(sorted(found, key=lambda p: (p.name, p.title)))


# -- as a table for spreadsheets ----------------------------------------------------------------------


DRILL_COLUMNS = (
    *("drill", "trainee", "begun", "scenario", "title", "engine", "complaint", "topics", "level", "seed", "state"),
    *("played_again", "judged", "right", "clock_min", "equivalent_min", "expected_min", "over_min", "over_to_expected"),
    *("chance_min", "safety_stops", "hints", "suspicions", "brier", "record_ok"),
)
TRAINEE_COLUMNS = (
    *("trainee", "drills", "counted", "played_again", "left", "right", "mean_over_min", "mean_expected_min"),
    *("over_to_expected", "less_class_median", "safety_stops", "hints", "suspicions", "brier", "weakest_topics"),
)


Table = Source | Sequence[Drilled | Mapping[str, Any]]
"""What rows are made of: drills from anywhere, or debriefings as dicts."""


def csv_rows(source: Table, by: By = "drill") -> list[list[str]]:
    """Return a heading and one row a drill, or one a trainee, safe to open in a spreadsheet.

    Minutes are equivalent minutes but for ``clock_min``; an empty cell: not known, or none; a dash: it did not end.
    """
    if isinstance(source, (list, tuple)):
        drills = Drills(tuple(one if isinstance(one, Drilled) else of_debriefing(one) for one in source))
    else:
        drills = _drills(cast(Source, source))
    if by == "trainee":
        made: list[list[str]] = [list(TRAINEE_COLUMNS)]
        for row in class_of(drills).rows:
            f = row.all
            values: tuple[object, ...] = (
                *(row.trainee, f.played, f.counted, f.again, f.left, f.right, f.over, f.expected, f.ratio),
                *(row.to_median, f.stops, f.hints, row.suspicions, row.brier, "; ".join(row.weakest)),
            )
            made.append([_cell(v) for v in values])
        return made
    made = [list(DRILL_COLUMNS)]
    for d in drills.drills:
        brier = _brier(d.suspicions)
        values = (
            *(d.id, d.trainee, d.begun, d.name, d.title, d.engine, d.complaint, "; ".join(d.topics), d.level, d.seed),
            *(d.state, d.again, d.judged, d.right if d.state == ENDED else None, d.minutes, d.equivalent, d.expected),
            *(*_over(d), d.chance, d.stops, d.hints, len(d.suspicions), brier, d.record_ok),
        )
        made.append([_cell(v) for v in values])
    return made


def write_csv(path: str | Path, source: Table, by: By = "drill", *, overwrite: bool = False) -> int:
    """Write :func:`csv_rows` as UTF-8 (RFC 4180); return the number of rows below the heading. Raises StoreError.

    The file appears whole or not at all; one that is there stays unless ``overwrite``.
    """
    rows = csv_rows(source, by)
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    write_whole(Path(path), text.getvalue().encode("utf-8"), overwrite)
    return len(rows) - 1


def _over(drill: Drilled) -> tuple[object, object]:
    """Return the cost over the reference and its share, a dash each for a drill that did not end."""
    return (drill.over, drill.ratio) if drill.state == ENDED else (NO_FIGURE, NO_FIGURE)


def _cell(value: object) -> str:
    """Return a cell; text that a spreadsheet would take for a formula gets an apostrophe in front."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{round(value, 4) + 0.0:g}" if abs(value) < 1e5 else f"{value:.0f}"
    if isinstance(value, int):
        return str(value)
    text = str(value)
    # Full-width signs are formulas to some spreadsheets as well.
    return "'" + text if re.match(r"[\t\r\n]|\s*[=+\-@＝＋－＠]", text) else text


# -- in words -----------------------------------------------------------------------------------------


def lines(progress: Progress, width: int = 80) -> list[str]:
    """Return a trainee's progress as plain text, no wider than ``width`` columns."""
    f, said = progress.all, _Page(width)
    days = [d.begun[:10] for d in (progress.drills[0], progress.drills[-1])]
    when = days[0] if days[0] == days[1] else f"{days[0]} to {days[1]}"
    said.add(f"{progress.trainee}: {_many(f.played, 'drill')}, {when}")
    said.add(f"{f.counted} ended and counted, {f.left} left in the middle, {f.again} known from before.")
    said.gap()
    said.item("Safety stops", f"{f.stops}" + (f", in {_many(f.stopped, 'drill')}." if f.stops else "."))
    if f.counted:
        share = f"{f.right} of {f.counted}" + f" ({_percent(f.right / f.counted)}; 95 % {_range(f.right_interval)})."
        said.item("Right ends", share)
    if f.over is not None and f.expected is not None:
        over = f"{f.over:.0f} min a drill over the reference"
        over += f" (95 % {max(0.0, f.over_interval[0]):.0f} to {f.over_interval[1]:.0f})" if f.over_interval else ""
        over += f", which expected {f.expected:.0f}: {_percent(f.ratio)} over." if f.ratio is not None else "."
        said.item("Cost", over)
        said.item("Trend", f.trend.says)
    said.item("Hints", f"{f.hints}.")
    if progress.topics:
        said.gap()
        head = ("Topic", "drills", "right", "over min", "over", "trend", "stops", "hints")
        body = [
            (t, str(x.played), f"{x.right}/{x.counted}", _min(x.over), _percent(x.ratio), x.trend.word, str(x.stops),
             str(x.hints)) for t, x in progress.topics.items()
        ]  # fmt: skip
        said.table(head, body)
    c = progress.calibration
    said.gap()
    said.item("Sureness", c.says)
    if c.brier is not None:
        beside = f"; as sure as the evidence was: {c.supported:.2f}" if c.supported is not None else ""
        said.item("Brier score", f"{c.brier:.2f} (0 is best, always saying 50 % gives 0.25){beside}.")
        said.table(
            ("Sure", "stated", "times", "true", "share", "95 %"),
            [
                (f"{100 * b.low:.0f}-{100 * b.high:.0f} %", _percent(b.stated), str(b.suspicions), str(b.true),
                 _percent(b.true / b.suspicions), _range(b.interval)) for b in c.bins
            ],
        )  # fmt: skip
    if progress.missed:
        said.gap()
        said.item("Not met yet", "; ".join(s.rstrip(".") for s in progress.missed[:3]) + ".")
    said.gap()
    said.add("What to practise next:" if len(progress.next) == 1 else "What to practise next, most needed first:")
    for one in progress.next:
        said.add(f"{one.topic + ', ' if one.topic else ''}{one.level}. {one.why}", "  ")
        said.add(one.command, "    ")
    return said.done(progress.problems)


def class_lines(of: Class | Source, width: int = 80) -> list[str]:
    """Return the class table as plain text, no wider than ``width`` columns; its problems are for whoever prints it."""
    found = of if isinstance(of, Class) else class_of(of)
    said = _Page(width)
    if not found.rows:
        said.add("No drill was found.")
        return said.lines
    head = ("Trainee", "drills", "right", "over min", "over", "median", "stops", "hints", "Brier")
    said.table(
        head,
        [
            (r.trainee, str(r.all.played), f"{r.all.right}/{r.all.counted}", _min(r.all.over), _percent(r.all.ratio),
             "" if r.to_median is None else f"{round(100 * r.to_median):+d}", str(r.all.stops), str(r.all.hints),
             "" if r.brier is None else f"{r.brier:.2f}") for r in found.rows
        ],
    )  # fmt: skip
    if any(r.weakest for r in found.rows):
        said.gap()
        for r in found.rows:
            if r.weakest:
                said.add(f"Weakest of {r.trainee}: {', '.join(r.weakest)}.", "", "  ")
    m = found.median
    parts = [
        f"right {_percent(m['right'])}" if m["right"] is not None else "",
        f"{m['over']:.0f} min over" if m["over"] is not None else "",
        f"{_percent(m['ratio'])} over" if m["ratio"] is not None else "",
        f"{m['stops']:.1f} stops and {m['hints']:.1f} hints a drill, ended or not",
        f"Brier {m['brier']:.2f}" if m["brier"] is not None else "",
    ]
    said.gap()
    said.item("Class median", f"{', '.join(p for p in parts if p)}; {_many(len(found.rows), 'trainee')}, "
              f"{_many(sum(r.all.stops for r in found.rows), 'stop')} in all.")  # fmt: skip
    said.add("over: cost over the reference as a share of what it expected. median: points above (+) or below (-) "
             "that of the class. Few drills say little.")  # fmt: skip
    if found.scenarios:
        said.gap()
        said.table(
            ("Played by several", "plays", "right", "median over", "best over"),
            [(p.title, str(len(p.over)), str(p.right), f"{p.median:.0f} min", "" if p.best is None else
              f"{p.best:.0f} min") for p in found.scenarios],
        )  # fmt: skip
        said.add("First plays only. The best is of those that ended right without a stop.")
    return said.lines


def marks(debriefs: Sequence[Mapping[str, Any]], width: int = 80) -> list[str]:
    """Return debriefings (as dicts) beside each other, one row each in their order, as plain text."""
    said = _Page(width)
    if not debriefs:
        said.add("Nothing was marked.")
        return said.lines
    head = ("Trainee", "min", "over min", "over", "stops", "hints", "Brier", "judged", "scenario")
    body = []
    for one in map(of_debriefing, debriefs):
        brier = _brier(one.suspicions)
        over = (_min(one.over), _percent(one.ratio)) if one.state == ENDED else (NO_FIGURE, NO_FIGURE)
        body.append((one.trainee, _min(one.minutes), *over, str(one.stops), str(one.hints),
                     "" if brier is None else f"{brier:.2f}", one.judged, one.name))  # fmt: skip
    said.table(head, body, left=(0, 8, 7))
    said.add("min: by the clock. over: cost over the reference, and as a share of what it expected; a dash where the "
             "drill did not end.")  # fmt: skip
    return said.lines


class _Page:
    """Lines of text, folded to a width that counts wide letters as two columns."""

    def __init__(self, width: int) -> None:
        self.width = max(20, width)
        self.lines: list[str] = []

    def gap(self) -> None:
        self.lines.append("")

    def add(self, text: str, before: str = "", after: str = "") -> None:
        """Add text, ``before`` in front of its first line and as many blanks, or ``after``, in front of the others."""
        after = after or " " * len(before)
        line, start = before, True
        for word in _words(text, self.width - max(len(before), len(after))):
            if not start and _columns(line) + 1 + _columns(word) > self.width:
                self.lines.append(line)
                line, start = after, True
            line, start = line + ("" if start else " ") + word, False
        self.lines.append(line.rstrip())

    def item(self, name: str, text: str) -> None:
        self.add(text, f"{name:12} ", " " * 13)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[int] = (0,)) -> None:
        """Add a table. Where it is too wide for the page, columns of text (``left``) give way, the last one first."""
        cells = [list(head), *(list(r) for r in rows)]
        wide = [max(_columns(r[i]) for r in cells) for i in range(len(head))]
        gaps = 2 if sum(wide) + 2 * (len(wide) - 1) <= self.width else 1
        for i, least in (*((i, 8) for i in reversed(left)), *((i, 3) for i in reversed(left))):
            room = self.width - sum(wide) - gaps * (len(wide) - 1)
            if room < 0:
                wide[i] = max(min(wide[i], least), wide[i] + room)
        for row in cells:
            said = [_padded(cell, wide[i], i in left) for i, cell in enumerate(row)]
            self.lines.append(_cut((" " * gaps).join(said).rstrip(), self.width))

    def done(self, problems: Sequence[str]) -> list[str]:
        if problems:
            self.gap()
        for sentence in problems:
            self.add(sentence, "! ")
        return self.lines


def _words(text: str, width: int) -> list[str]:
    """Return the words of a text, none wider than the width."""
    found = []
    for word in text.split():
        while _columns(word) > width:
            piece = _cut(word, width, mark="")
            found.append(piece)
            word = word[len(piece) :]
        found.append(word)
    return found


def _columns(text: str) -> int:
    """Return the columns that a text takes on a terminal."""
    return sum(
        0 if unicodedata.category(c) in ("Mn", "Me", "Cf") else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _cut(text: str, width: int, mark: str = "…") -> str:
    if _columns(text) <= width:
        return text
    kept = text
    while kept and _columns(kept) > width - len(mark):
        kept = kept[:-1]
    return (kept or text[:1]) + mark


def _padded(text: str, width: int, left: bool) -> str:
    text = _cut(text, width)
    room = " " * (width - _columns(text))
    return text + room if left else room + text


def _shown(text: str) -> str:
    """Return told text on one line, without control, direction-changing or invisible characters.

    The joiners that some scripts are spelled with stay.
    """
    kept = []
    for letter in text:
        category = unicodedata.category(letter)
        if category in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif category not in ("Cf", "Cs", "Co") or letter in "\u200c\u200d":
            kept.append(letter)
    return " ".join("".join(kept).split())


def _who(name: str) -> str:
    """Return what tells one trainee from another: the name without letter case, extra spaces, ways to write letters."""
    name = unicodedata.normalize("NFKC", _shown(name)).casefold()
    return " ".join("".join(c for c in name if unicodedata.category(c) != "Cf").split())


def _many(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def _range(interval: tuple[float, float]) -> str:
    return f"{100 * interval[0]:.0f} to {100 * interval[1]:.0f} %"


def _min(value: float | None) -> str:
    return "" if value is None else f"{value:.0f}"

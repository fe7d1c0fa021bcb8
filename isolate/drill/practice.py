"""Endless practice: draws a case from the knowledge, each reproducible from its seed.

A complaint is taken, what people say of it, and then a truth in proportion to its probability given all that: the ages
told, the work done before, what the complaint itself answers. From the truth the starts are drawn forwards, as the
profile runs them, and when it shows; a truth whose starts do not fit the complaint is drawn anew, so that truths come
as often as they do given complaint and starts. The story says what was drawn and no more.

A level picks among truths that were measured (:mod:`isolate.drill.measure`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from weakref import WeakKeyDictionary
from zlib import crc32

import numpy as np

from isolate.case.believed import told_belief
from isolate.case.case import Intake, Work
from isolate.case.chase import Kit
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.play import Clock
from isolate.drill import measure
from isolate.drill.drive import Driven
from isolate.drill.measure import LEVELS, NONE, Measured
from isolate.drill.sample import Drawn
from isolate.drill.scenario import Scenario
from isolate.kb.fit import FitCheck, FitRepair, Fitted, UnknownName, instance, near, split, worded
from isolate.kb.model import HEALTHY, Complaint, Place
from isolate.reasoning import wear
from isolate.reasoning.belief import Model, Setting
from isolate.reasoning.starts import BOTH, ONSET, SLIP, UNKNOWN, Start, course
from isolate.reasoning.wear import Age

FLEET = ("104", "117", "230")
OPERATOR = "Skerry Air"
DRAWS = 400
"""Truths drawn for one complaint before another complaint is taken: their starts did not fit it."""
AT_GATE, AGED, WORKED, TOLD_WHEN, LOGGED, LANES_LOGGED, LEAVES = 0.6, 0.35, 0.2, 0.7, 0.75, 0.3, 0.35
"""How often it stands at the gate, an age is told, work was done before, when it shows is told, channels are logged,
control lanes are, and it has a departure: all our judgement."""
LEAST_SHARE = 0.05
"""Of a complaint's truths at least this share is as wished, where another complaint can be taken: our judgement."""
STARTS = (4, 8)
"""Least and most starts in the log."""
SHOWN_IN = 0.6
"""Share of the starts logged that were made in the condition in which the defect shows."""
TOPICS = {
    "two-faults": "two faults at once",
    "no-fault": "nothing at fault",
    "not-ignition": "a cause that is not ignition",
    "comes-and-goes": "a fault that shows part of the time",
    "shared": "what both channels share",
}
"""What a case may be about besides a part, with what it means."""
PART_NAMES = {"igniter": "igniter plug"}
HISTORY = "history-read"
"""The check that reads what was written up and done before."""
MOST_POINTS = 5
TELLING = ("conflict", "escalation", "advice")
"""Kinds of rules from which something is learnt, the most urgent first."""


def draw(
    kits: Callable[[str], Kit],
    engines: Sequence[str],
    seed: int,
    level: str | None = None,
    about: str | None = None,
    engine: str | None = None,
    complaint: str | None = None,
    measured: Measured = NONE,
) -> tuple[Scenario, dict[str, Any]]:
    """Return a case drawn from the knowledge, and how hard it is as ``measured`` has it (:meth:`Measured.level`).

    ``about``: a part of the truth, or one of :data:`TOPICS`. ``engines``: those to choose among. Where the table does
    not speak of this knowledge, a level asked for cannot be kept, and what is returned says so. The same seed and
    wishes give the same case. Raises UnknownName for names that do not exist, Refused where no such case is known.
    """
    if seed < 0:
        raise Refused(f"a seed is a whole number from 0 up, not {seed}")
    if level is not None and level not in LEVELS:
        raise UnknownName(f"no level is called {level!r}{near(level, LEVELS)}; known: {', '.join(LEVELS)}")
    if engine is not None and engine not in engines:
        raise UnknownName(f"no engine is called {engine!r}{near(engine, engines)}")
    rng = np.random.default_rng([seed, *(crc32((word or "").encode()) for word in (level, about, engine, complaint))])
    tried = [engine] if engine is not None else [engines[int(i)] for i in rng.permutation(len(engines))]
    unknown: str = ""
    # First where such truths are no rarity, else a case about fuel might be a worn plug with bad fuel besides.
    for name, least in ((name, least) for least in (LEAST_SHARE, 0.0) for name in tried):
        kit = kits(name)
        had = sorted(kit.fitted.complaints)
        if complaint is not None and complaint not in had:
            unknown = f"{name} has no complaint called {complaint!r}{near(complaint, had)}"
            continue
        if about is not None and about not in known(kit.fitted):
            unknown = f"nothing to practise is called {about!r}{near(about, known(kit.fitted))}; known: " + ", ".join(
                sorted(known(kit.fitted))
            )
            continue
        drawing = _Drawing(kit, rng, level, about, measured, 0.0 if complaint is not None else least)
        for one in [complaint] if complaint is not None else [had[int(i)] for i in rng.permutation(len(had))]:
            if (found := drawing.case(one)) is not None:
                return found
    if unknown:
        raise UnknownName(unknown)
    wishes = [w for w in (level and f"of level {level}", about and f"about {about}", complaint) if w]
    raise Refused(f"no case is known {', '.join(wishes)}" + (f" on {engine}" if engine else ""))


def known(fitted: Fitted) -> frozenset[str]:
    """Return what a case on this engine may be about: the parts of its faults, and the topics."""
    return frozenset(m.part for z in fitted.zones.values() for m in z.modes.values()) | TOPICS.keys()


def topics(fitted: Fitted, truth: Sequence[str]) -> tuple[str, ...]:
    """Return what a truth is about: its parts, sorted, then the topics that it falls under."""
    modes = [(fitted.zones[zone], split(mode)[0]) for mode in truth for zone in (fitted.mode_zone[mode],)]
    found = sorted({zone.modes[state].part for zone, state in modes})
    found += ["two-faults"] if len(truth) > 1 else ["no-fault"] if not truth else []
    found += ["not-ignition"] if any(zone.entry.kind == "other" for zone, _ in modes) else []
    goes = (zone.modes[state].active for zone, state in modes)
    found += ["comes-and-goes"] if any((min(a.values()) if isinstance(a, dict) else a) < 1 for a in goes) else []
    found += ["shared"] if any(not zone.channel and zone.entry.kind != "other" for zone, _ in modes) else []
    return tuple(found)


@dataclass
class _Drawn:
    """What was drawn of a case before its story is told."""

    complaint: str
    channel: str
    place: Place
    done: tuple[Work, ...]
    ages: tuple[Age, ...]
    truth: tuple[str, ...] = ()
    condition: str = "steady"
    now: str | None = None
    shut_down: float | None = None
    starts: tuple[Start, ...] = ()
    minutes_left: float | None = None
    people: list[dict[str, Any]] = field(default_factory=list)


_bare: WeakKeyDictionary[Model, Model] = WeakKeyDictionary()


def _without_starts(model: Model) -> Model:
    """Return a model whose complaints bring no starts of their own: those of a drawn case are drawn."""
    if model not in _bare:
        fitted = model.fitted
        complaints = {n: c.model_copy(update={"starts": []}) for n, c in fitted.complaints.items()}
        _bare[model] = Model(replace(fitted, complaints=complaints))
    return _bare[model]


class _Drawing:
    def __init__(
        self, kit: Kit, rng: np.random.Generator, level: str | None, about: str | None, measured: Measured, least: float
    ) -> None:
        self.kit, self.fitted, self.rng = kit, kit.fitted, rng
        self.about, self.measured = about, measured
        self.least = 0.0 if about == "two-faults" else least
        self.level = level if not measured.why_not(kit.fitted.knowledge) else None
        self.model = _without_starts(kit.model)

    def happens(self, chance: float) -> bool:
        return float(self.rng.random()) < chance

    def one(self, among: Sequence[Any]) -> Any:
        return among[int(self.rng.integers(len(among)))]

    def case(self, complaint: str) -> tuple[Scenario, dict[str, Any]] | None:
        """Return a case of this complaint, None where none is found that is as wished."""
        fitted, entry = self.fitted, self.fitted.complaints[complaint]
        channel = self.one(fitted.channels) if entry.asks_channel else ""
        place: Place = "gate" if self.happens(AT_GATE) else "hangar"
        done = self.worked(complaint, channel)
        ages = self.aged(entry, channel, done)
        found = _Drawn(complaint, channel, place, done, ages)
        intake = Intake("", "", fitted.name, complaint, channel, done=done, ages=ages, place=place)
        belief = told_belief(self.model, intake)
        cells, chances = self.wished(belief.joint, found)
        if not len(cells) or float(chances[-1]) < self.least:
            return None
        for _ in range(DRAWS):
            at = np.unravel_index(int(cells[int(np.searchsorted(chances, self.rng.random() * chances[-1]))]),
                                  belief.joint.shape)  # fmt: skip
            states = {k: fitted.zones[k].states[int(i)] for k, i in zip(self.model.zones, at, strict=True)}
            drawn = Drawn(self.model, states, self.rng)
            found.condition = self.condition(entry, drawn)
            found.starts = self.starts(drawn, found.condition, on_both(entry))
            if fits(entry, found.starts):
                found.truth = tuple(
                    instance(s, fitted.zones[k].channel) for k, s in states.items() if s != HEALTHY
                )
                break
        else:
            return None
        self.surroundings(found)
        level = self.measured.level(fitted, complaint, channel, found.truth, place)
        return self.told(found), level

    def wished(self, joint: Any, drawn: _Drawn) -> tuple[Any, Any]:
        """Return the cells of the joint that are as wished, and their probabilities summed up."""
        fitted, flat = self.fitted, joint.ravel()
        if self.level is not None:
            rows = self.measured.rows_at(fitted.name, drawn.complaint, drawn.place)
            average = self.measured.average[fitted.name]
            wanted = {t for t, row in rows.items() if measure.named(row.minutes / average) == self.level}
            cells = sorted({i for truth in wanted for i in self.cells(truth, drawn)})
            kept = np.array(cells, dtype=np.int64)
        else:
            kept = np.arange(flat.size)
        if self.about is not None and len(kept):
            kept = kept[self.falls_under(np.unravel_index(kept, joint.shape))]
        return kept, np.cumsum(flat[kept])

    def cells(self, truth: Sequence[str], drawn: _Drawn) -> Iterator[int]:
        """Yield the cells of the joint whose truth stands under this name in the table."""
        from itertools import permutations

        channels = self.fitted.channels
        for order in permutations(channels):
            called = dict(zip(channels, order, strict=True))
            if drawn.channel and called[channels[0]] != drawn.channel:
                continue
            at = dict.fromkeys(self.model.zones, 0)
            for mode in truth:
                name, channel = split(mode)
                zone = self.fitted.mode_zone.get(instance(name, called.get(channel, channel)))
                if zone is None:
                    break
                at[zone] = self.fitted.zones[zone].states.index(name)
            else:
                yield int(np.ravel_multi_index(tuple(at.values()), self.model.shape))

    def falls_under(self, at: Sequence[Any]) -> Any:
        """Return which of these cells are about what was wished."""
        about, zones = self.about, [self.fitted.zones[k] for k in self.model.zones]
        if about in ("two-faults", "no-fault"):
            count = sum((axis > 0).astype(int) for axis in at)
            return count > 1 if about == "two-faults" else count == 0
        found = np.zeros(len(at[0]), dtype=bool)
        for zone, axis in zip(zones, at, strict=True):
            under = [False] + [about in topics(self.fitted, [instance(s, zone.channel)]) for s in zone.states[1:]]
            found |= np.array(under)[axis]
        return found

    # -- what was before -----------------------------------------------------------------------------

    def worked(self, complaint: str, channel: str) -> tuple[Work, ...]:
        """Draw work done before the case that did not end it."""
        # Of those that renew one part the one that clears most: the plain change of the part.
        plain: dict[tuple[str, str], FitRepair] = {}
        for fit in self.fitted.repairs.values():
            if fit.entry.replaces is not None:
                had = plain.setdefault((fit.entry.replaces, fit.channel), fit)
                if _cleared(fit) > _cleared(had):
                    plain[fit.entry.replaces, fit.channel] = fit
        repairs = list(plain.values())
        if complaint == "repeat-after-plug-change":
            plugs = [r for r in repairs if r.entry.replaces == "igniter" and r.channel == channel]
            return (Work(plugs[0].name, channel),) if plugs else ()
        if not repairs or not self.happens(WORKED):
            return ()
        own = [r for r in repairs if not channel or r.channel in ("", channel)]
        repair = self.one(own)
        return (Work(repair.name, repair.channel),)

    def aged(self, entry: Complaint, channel: str, done: Sequence[Work]) -> tuple[Age, ...]:
        """Draw how old a part in service is, where that is told."""
        if not self.happens(AGED):
            return ()
        asked = {self.fitted.knowledge.checks[name].age_of for name in entry.answers}
        renewed = {self.fitted.repairs[work.key].entry.replaces for work in done}
        parts = [p for n, p in wear.parts(self.fitted).items() if n not in asked | renewed and p.worn]
        if not parts:
            return ()
        part = self.one(parts)
        ages, weights = wear.spread(part)
        step = 50 if part.unit == "starts" else 100
        age = max(float(step), step * round(float(self.rng.choice(ages, p=weights)) / step))
        on = "" if part.shared else channel or self.one(self.fitted.channels)
        return (Age(part.name, on, part.unit, age, age),)

    # -- when it shows, and the starts ---------------------------------------------------------------

    def condition(self, entry: Complaint, drawn: Drawn) -> str:
        """Draw in which condition people say that it shows."""
        for key, check in self.model.fitted.checks.items():
            if not check.entry.shows:
                continue
            means = {outcome: condition for condition, outcome in check.entry.shows.items()}
            if check.name in entry.answers:
                return means.get(entry.answers[check.name], "steady")
            outcome = drawn.outcome(key, Setting())
            return means.get(outcome, "steady") if self.happens(TOLD_WHEN) else "steady"
        return "steady"

    def starts(self, drawn: Drawn, condition: str, tried_both: bool) -> tuple[Start, ...]:
        """Draw a log of starts, oldest first, as the profile runs them; ``tried_both``: every other one on both."""
        rng, fitted = self.rng, self.fitted
        truth, states = dict(drawn.truth), []
        count = int(rng.integers(STARTS[0], STARTS[1] + 1))
        logged, lanes_logged = self.happens(LOGGED), self.happens(LANES_LOGGED)
        runs = course(self.model, ())
        lanes = ("1", "2") if fitted.profile.features.get("lanes") == "two" else ()
        first = {zone: self.onset(count) for zone, state in truth.items() if state != HEALTHY}
        phase, lane_phase = int(rng.integers(runs.phases)), int(rng.integers(max(1, runs.lane_phases)))
        lane_zone = next((z for z, s in truth.items() if s != HEALTHY and fitted.zones[z].modes[s].by_lane), "")
        failed = self.one(lanes) if lanes and lane_zone else ""
        for number in range(count):
            if number:
                phase = int(rng.integers(runs.phases)) if self.happens(SLIP) else (phase + 1) % runs.phases
                if runs.lane_phases:
                    slipped = self.happens(SLIP)
                    lane_phase = int(rng.integers(runs.lane_phases)) if slipped else (lane_phase + 1) % runs.lane_phases
            if tried_both and number % 2:
                channel = BOTH
            elif runs.selection == "alternate":
                channel = runs.channel(phase)
            elif runs.selection == "both":
                channel = BOTH
            else:
                channel = self.one(runs.channels if tried_both else (*runs.channels, BOTH))
            lane = (lanes[runs.lane(lane_phase)] if runs.lane_phases else self.one(lanes)) if lanes else ""
            here: Any = condition if condition == "steady" or self.happens(SHOWN_IN) else "steady"
            drawn.truth = {z: s if z not in first or number >= first[z] else HEALTHY for z, s in truth.items()}
            lit = self.lights(drawn, channel, here, lane_zone, failed, lane)
            written = channel if logged or (tried_both and channel == BOTH) else UNKNOWN
            states.append(Start(written, lit, here, lane=lane if lanes_logged and logged else ""))
        drawn.truth = truth
        return tuple(states)

    def onset(self, count: int) -> int:
        """Draw from which start on a fault was there, 0: from before the log."""
        stood = int(self.rng.geometric(1 / (1 + ONSET)))
        return max(0, count - stood)

    def lights(self, drawn: Drawn, channel: str, here: Any, lane_zone: str, failed: str, lane: str) -> bool:
        """Draw whether a start lights. A fault of one control lane fails the starts that this lane commands."""
        if not lane_zone or drawn.truth[lane_zone] == HEALTHY or not failed:
            return drawn.lights(channel, here)
        zone = self.fitted.zones[lane_zone]
        at = zone.states.index(drawn.truth[lane_zone])
        active = float(self.model.active(lane_zone, here)[at])
        mean, well = active * zone.lights[at] + (1 - active) * zone.lights[0], zone.lights[0]
        chance = min(1.0, max(0.0, 2 * mean - well)) if lane == failed else well
        held = drawn.truth
        drawn.truth = {**held, lane_zone: HEALTHY}
        rest = drawn.lights(channel, here)
        drawn.truth = held
        return rest and self.happens(chance / well)

    # -- how it is at the aircraft -------------------------------------------------------------------

    def surroundings(self, found: _Drawn) -> None:
        """Draw what has nothing to do with the truth."""
        if found.condition != "steady" and self.happens(0.5):
            found.now = "steady"
        if found.condition == "hot" and found.now is None:
            found.shut_down = float(self.rng.integers(1, 10) * 10)
        if found.place == "gate" and self.happens(LEAVES):
            found.minutes_left = float(self.rng.integers(6, 25) * 15)
        found.people = [
            {"name": "the technician", "may": ["licensed", "motoring", "engine-run"]},
            {"name": "the second pair of eyes", "may": ["licensed"]},
            {"name": "the headset"},
        ]
        if self.happens(0.25):
            found.people.append({"name": "the apprentice"})

    # -- the story -----------------------------------------------------------------------------------

    def told(self, found: _Drawn) -> Scenario:
        """Put what was drawn into a scenario."""
        fitted, entry = self.fitted, self.fitted.complaints[found.complaint]
        aircraft, position = self.one(FLEET), self.one(("1", "2"))
        apart = any(s.condition != "steady" for s in found.starts)
        starts = [
            {
                "channel": s.channel,
                "lit": s.lit,
                **({"lane": s.lane} if s.lane else {}),
                **({"condition": s.condition} if apart else {}),
            }
            for s in found.starts
        ]
        case: dict[str, Any] = {
            "aircraft": aircraft,
            "position": position,
            "engine": fitted.name,
            "operator": OPERATOR,
            "complaint": found.complaint,
            "place": found.place,
            "starts": starts,
            "people": found.people,
        }
        if found.channel:
            case["channel"] = found.channel
        if found.condition != "steady":
            case["condition"] = found.condition
        if found.now is not None:
            case["now"] = found.now
        if found.shut_down is not None:
            case["shut_down"] = found.shut_down
        if found.minutes_left is not None:
            case["minutes_left"] = found.minutes_left
        if found.done:
            case["done"] = [{"repair": w.repair, **({"channel": w.channel} if w.channel else {})} for w in found.done]
        if found.ages:
            case["ages"] = [
                {"part": a.part, **({"channel": a.channel} if a.channel else {}), "unit": a.unit, "least": a.least,
                 "most": a.most}
                for a in found.ages
            ]  # fmt: skip
        written: dict[str, Any] = {
            "title": f"{entry.title}: {aircraft}, engine {position}",
            "story": " ".join(story(fitted, found, aircraft, position)),
            "learning": ["placeholder"],
            "seed": int(self.rng.integers(1, 2**31)),
            "topics": list(topics(fitted, found.truth)),
            "case": case,
            "truth": sorted(found.truth),
            "answers": {},
            "source": list(entry.source),
        }
        bare = Scenario.model_validate(written)
        points, sources = learning(self.kit, bare)
        return Scenario.model_validate(
            {**written, "learning": points, "source": list(dict.fromkeys([*entry.source, *sources]))}
        )


def _cleared(repair: FitRepair) -> int:
    return sum(len(states) for states in repair.clears.values())


def told_of(scenario: Scenario) -> _Drawn:
    """Return what a scenario tells, for :func:`story`."""
    case, intake = scenario.case, scenario.case.intake()
    ages = tuple(a for a in intake.ages if a.known)
    found = _Drawn(case.complaint, case.channel, case.place, intake.done, ages, tuple(scenario.truth), case.condition)
    found.now, found.shut_down = case.now, case.shut_down
    found.starts, found.minutes_left = intake.starts, case.minutes_left
    return found


def on_both(entry: Complaint) -> bool:
    """Return whether a complaint sets starts on both channels against starts on one alone."""
    return {start.channel == BOTH for start in entry.starts} == {True, False}


def fits(entry: Complaint, starts: Sequence[Start]) -> bool:
    """Return whether a log of starts is one of which people write this up.

    A complaint brings starts of its own. Where some of those lit and some did not, both are in the log; where none
    lit, the newest did not; where all lit, it has lit. Where it sets both channels against one, those on both lit and
    of those on one at least half did not.
    """
    if on_both(entry):
        alone = [start.lit for start in starts if start.channel != BOTH]
        return all(start.lit for start in starts if start.channel == BOTH) and 2 * sum(alone) <= len(alone)
    wanted = {start.lit for start in entry.starts}
    had = {start.lit for start in starts}
    if wanted == {False}:
        failing = sum(not start.lit for start in entry.starts)
        return not any(start.lit for start in starts[-failing:])
    return wanted <= had


def story(fitted: Fitted, found: _Drawn, aircraft: str, position: str) -> Iterator[str]:
    """Yield the sentences of the story: what was drawn, and nothing of the truth."""
    entry = fitted.complaints[found.complaint]
    title = fitted.profile.title.split(",")[0]
    where = "at the gate" if found.place == "gate" else "in the hangar"
    yield f"Fleet number {aircraft} stands {where}; it is about engine {position}, {_a(title)}."
    on = f" It is about channel {found.channel}." if found.channel else ""
    yield f"The write-up says: {entry.title[0].lower() + entry.title[1:]}.{on}"
    lit = sum(start.lit for start in found.starts)
    count, dark = len(found.starts), len(found.starts) - lit
    if count == 1:
        yield f"The one start known {_ended(found.starts)}."
    elif not count:
        yield "No start is known."
    elif not dark:
        yield f"All of the last {count} starts lit."
    elif not lit:
        yield f"None of the last {count} starts lit."
    else:
        yield f"Of the last {count} starts {lit} lit and {dark} did not; the newest {_ended(found.starts)}."
    if {start.channel == BOTH for start in found.starts} == {True, False}:
        yield "Some of them were made on one channel alone and some on both."
    elif found.starts and all(start.channel == UNKNOWN for start in found.starts):
        yield "Nobody wrote down which channel was used."
    shows = {
        "cold": "It is said to come when it is cold.",
        "hot": "It is said to come when it is hot.",
        "wet": "It is said to come when it is wet.",
        "vibrating": "It is said to come after rough running or a hard landing.",
        "sagging": "It is said to come when the supply sags.",
    }
    if found.condition != "steady":
        now = "It is like that now." if found.now in (None, found.condition) else "It is not like that now."
        yield f"{shows[found.condition]} {now}"
    if found.shut_down is not None:
        yield f"The engine was shut down {_minutes(found.shut_down)} ago."
    for work in found.done:
        yield f"Done before: {_lower(fitted.repairs[work.key].title)}; the write-up came all the same."
    for age in found.ages:
        part = f"{PART_NAMES.get(age.part, age.part.replace('-', ' '))} {age.channel}".strip()
        low, high = age.least, age.most
        between = f"at least {low or 0:.0f}" if high is None else f"{low or 0:.0f} to {high:.0f}"
        told = f"{low:.0f}" if low is not None and low == high else between
        part = part if age.channel else f"the {part}"
        yield f"By its papers {part} has {told} {age.unit}."
    if found.minutes_left is not None:
        yield f"It is to leave in {_minutes(found.minutes_left)}."


def _ended(starts: Sequence[Start]) -> str:
    return "lit" if starts[-1].lit else "did not light"


def _minutes(value: float) -> str:
    return "1 minute" if round(value) == 1 else f"{value:.0f} minutes"


def _a(title: str) -> str:
    return f"{'an' if title[:1].lower() in 'aeiou' else 'a'} {title}"


def _lower(title: str) -> str:
    return title[0].lower() + title[1:]


# -- what is learnt --------------------------------------------------------------------------------


def learning(kit: Kit, scenario: Scenario) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the points that a case teaches, and the sources behind them.

    What tells each fault of the truth from its neighbours, with the check that shows it best; then what the rules say
    as it opens and once these checks have been answered as they would be.
    """
    fitted = kit.fitted
    chase = Driven.begin(kit, Memory(), "practice", scenario.case.intake(), Clock())
    points: list[dict[str, Any]] = []
    sources: list[str] = []
    barred = chase.barred()
    for mode in scenario.truth:
        zone = fitted.zones[fitted.mode_zone[mode]]
        entry = zone.modes[split(mode)[0]]
        by, outcome = telling(kit.model, mode, barred)
        points.append({"say": worded(entry.tells, zone.channel), "by": [by.key] if by else []})
        sources += entry.source
        if by is not None and by.key not in {item.key for item in chase.state.evidence}:
            body = {"check": by.key, "outcome": outcome, "minutes": 0, "spoils": [], "within": "check"}
            chase.write(("answered", {**body, **chase.setting._asdict()}))
    verification = list(chase.verification)
    if not scenario.truth:
        say = "Nothing is at fault now. That is said once each channel has been proven, with what is to be watched."
        points.append({"say": say, "by": verification})
        sources.append("our-judgement")
    elif len(scenario.truth) > 1:
        say = "Two faults at once: once the first is mended, proving each channel alone shows that something is left."
        points.append({"say": say, "by": verification})
        sources.append("our-judgement")
    elif scenario.case.done and not _renewed(fitted, scenario):
        say = "A part that was changed in vain was good. What was seen then, and what did nobody look at?"
        points.append({"say": say, "by": [k for k in (HISTORY,) if k in fitted.checks]})
        sources.append("our-judgement")
    told = [f for f in chase.firings() if f.kind in TELLING and "" not in dict(f.bindings).values()]
    for firing in sorted(told, key=lambda f: TELLING.index(f.kind)):
        if len(points) < MOST_POINTS and firing.rule not in {name for point in points for name in point["by"]}:
            points.append({"say": firing.says, "by": [firing.rule]})
            sources += firing.source
    known_sources = fitted.knowledge.sources
    return points, [name for name in dict.fromkeys(sources) if name in known_sources]


def _renewed(fitted: Fitted, scenario: Scenario) -> bool:
    """Return whether a part of the truth is one that was renewed before."""
    parts = {fitted.repairs[work.key].entry.replaces for work in scenario.case.intake().done}
    return bool(parts & set(topics(fitted, scenario.truth)))


def telling(model: Model, mode: str, barred: Any = ()) -> tuple[FitCheck | None, str]:
    """Return the check that tells a fault best from a healthy zone, minute for minute, and its likeliest outcome.

    By the bits that its answer is expected to yield for the fault. None where no check looks at it.
    """
    fitted = model.fitted
    zone = fitted.mode_zone[mode]
    at = fitted.zones[zone].states.index(split(mode)[0])
    best: tuple[float, str, str] | None = None
    for key, check in fitted.checks.items():
        rows = check.given.get(zone)
        if rows is None or key in barred or check.entry.starts:
            continue
        table = model.likelihood(key)
        index = [0] * (table.ndim - 1)
        index[model.axis[zone]] = at
        here = np.array([float(row[tuple(index)]) for row in table])
        well = np.array([float(row[(0,) * (table.ndim - 1)]) for row in table])
        bits = float(np.sum(here * np.log2(here / well)))
        # A look that shows it beats a question that hints at it: bits count for more than minutes.
        worth = bits / (20.0 + check.minutes)
        if bits > 0.5 and (best is None or (worth, key) > (best[0], best[1])):
            best = worth, key, check.outcomes[int(np.argmax(here))]
    return (None, "") if best is None else (fitted.checks[best[1]], best[2])


__all__ = ["DRAWS", "LEVELS", "TOPICS", "draw", "fits", "known", "learning", "story", "telling", "topics"]

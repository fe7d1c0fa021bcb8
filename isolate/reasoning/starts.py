"""What a start history says of the joint of the zones.

The history is a hidden chain: which channel and which control lane each start used where nobody wrote it down, and from
which start on each fault was there. It is summed over all of that, so nothing is guessed:

- *Alternation*. On a profile that alternates, one phase runs through the starts and moves on with each. After a gap in
  the history it may be anything; before any start something may be missing that nobody marked (``SLIP``). A start that
  was broken off moves it on where the profile's feature ``aborted-start-counts`` says so; where the profile says
  nothing of it, both are held possible. ``igniter-every``: the channel changes after so many starts (one, where it is
  not said).
- *Lanes*. A mode with ``by_lane`` fails the starts that one control lane commands; which lane that is, is unknown. The
  lane of a start is told, or it alternates with a phase of its own where the profile says ``lanes-alternate`` and
  ``lane-every``; else it may be either each time. The two turns slip apart from one another.
- *Onset*. A fault that is there now came at some start: it has stood for T starts, P(T = t) = (1 - q) q^t with mean
  ``ONSET``. Before it, its zone was healthy. Each zone has its own onset.

These figures, and that a chain does for it, are our judgement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from isolate.kb.model import FLOOR, Condition

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]

UNKNOWN, BOTH = "unknown", "both"
SLIP = 0.03
"""Chance that the alternation is not where the start before would have it (a start nobody wrote down, a reset)."""
ONSET = 200.0
"""Mean number of starts that a fault has stood for."""
GAP = 5.0
"""Mean number of starts missing at a gap; at least one is."""
NEWEST = 200
"""Starts weighed, newest of those told; what is older says little of what is wrong now."""
EXACT = 8
"""So many newest starts may each be a fault's first; further back only some are tried, ever fewer."""
LEAST, LOWEST = 1e-300, -500.0
"""Least likelihood, and least logarithm of what all of them are scaled by."""


MOST_KEPT = 4
"""Histories whose likelihood is kept, the last asked for."""
_KEPT: WeakKeyDictionary[Model, dict[tuple[Start, ...], Table]] = WeakKeyDictionary()


@dataclass(frozen=True)
class Start:
    """One start: the channel's letter, ``unknown`` or ``both``; whether it lit off; the condition it was made in.

    ``seconds``: time to light, where it was recorded. ``lane``: the control lane that commanded it. ``aborted``: broken
    off before it could light; it moves the alternation on where the profile says so and says nothing else. ``gap``: an
    unknown number of starts is missing before this one. ``at``: its date or time as written. ``oat``: outside air
    temperature, degrees Celsius.
    """

    channel: str
    lit: bool
    condition: Condition = "steady"
    seconds: float | None = None
    lane: str = ""
    aborted: bool = False
    gap: bool = False
    at: str = ""
    oat: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the start as a JSON object; what is not known is left out."""
        found: dict[str, Any] = {"channel": self.channel, "lit": self.lit, "condition": self.condition}
        more = {name: getattr(self, name) for name in ("seconds", "lane", "aborted", "gap", "at", "oat")}
        return found | {name: value for name, value in more.items() if value not in (None, "", False)}


@dataclass(frozen=True)
class Course:
    """How an engine's starts run: channels in turn, lanes in turn, what a start that is broken off does.

    ``igniter_every``, ``lane_every``: starts between changes; 0 for lanes whose turn nobody knows. ``steps``: chance
    that a start that was broken off moves the alternation on.
    """

    channels: tuple[str, ...]
    selection: str
    igniter_every: int
    lanes: tuple[str, ...]
    lane_every: int
    steps: float

    @property
    def phases(self) -> int:
        """Places in the igniters' turn."""
        return len(self.channels) * self.igniter_every

    @property
    def lane_phases(self) -> int:
        """Places in the lanes' turn."""
        return len(self.lanes) * self.lane_every

    def channel(self, phase: int) -> str:
        """Return the channel of a place in the igniters' turn."""
        return self.channels[phase // self.igniter_every % len(self.channels)]

    def lane(self, phase: int) -> int:
        """Return the lane, by number, of a place in the lanes' turn."""
        return phase // self.lane_every % len(self.lanes)


def course(model: Model, starts: Sequence[Start]) -> Course:
    """Return how the starts of this engine run, its lanes named as they are in these starts."""
    profile = model.fitted.profile
    features = profile.features
    told = sorted({s.lane for s in starts if s.lane})
    # A lane that never had its turn in the history is there all the same.
    lanes = tuple(told) if len(told) > 1 else (*told, *("other", "one")[: 2 - len(told)])
    counts = features.get("aborted-start-counts")
    turn = _count(features.get("lane-every")) if features.get("lanes-alternate") is True else 0
    return Course(
        model.fitted.channels,
        profile.selection,
        _count(features.get("igniter-every")) or 1,
        lanes,
        turn,
        0.5 if counts is None else float(counts is True),
    )


def _count(value: object) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) and value > 0 else 0


def weight(model: Model, starts: Sequence[Start]) -> Table:
    """Return P(the results of these starts, oldest first | joint), summed over all that is not known of them.

    Only the newest ``NEWEST`` are weighed. Read-only: it is kept, since a case asks for it at every step.
    """
    told = tuple(starts)[-NEWEST:]
    kept = _KEPT.get(model, {})
    found = kept.get(told)
    if found is None:
        found = _Chain(model, told).over_joint()
        found.setflags(write=False)
        # A new mapping each time: another thread may be reading the one before.
        _KEPT[model] = dict([*list(kept.items())[1 - MOST_KEPT :], (told, found)])
    return found


def keep_from(model: Model, other: Model) -> None:
    """Let another model have what was worked out for this one: that of starts depends on what lights, and no more."""
    if model in _KEPT:
        _KEPT[other] = _KEPT[model]


def by_lane(model: Model, starts: Sequence[Start], joint: Table) -> dict[str, float]:
    """Return, for each lane named in the starts, P(its driver failed | the starts), where the engine has such a mode.

    ``joint``: the joint before the starts.
    """
    chain = _Chain(model, tuple(starts)[-NEWEST:])
    if chain.lane_at is None or not any(s.lane for s in starts):
        return {}
    zone, state = chain.lane_at
    found = chain.run()
    inside = np.take(np.broadcast_to(joint, model.shape), [state], axis=model.axis[zone])
    scale = float(np.exp(max(found.log_scale, LOWEST)))
    shares = {
        name: scale * float((inside * chain.spread(table, lane=True)).sum()) / len(chain.course.lanes)
        for name, table in zip(chain.course.lanes, found.lanes, strict=True)
    }
    whole = float((joint * chain.over_joint(found)).sum())
    return {name: share / whole for name, share in shares.items() if any(s.lane == name for s in starts)}


def onset(model: Model, starts: Sequence[Start], joint: Table, zone: str, most: int = 6) -> Table:
    """Return when a zone's fault was first there, given the starts and that the zone is at fault.

    Shape (1 + starts weighed,): entry 0 is P(there at the first of them already), entry i is P(the start after i others
    was the first it was there at), the last is P(it came after all of them).
    ``joint``: the joint after the starts; of each zone its ``most`` likeliest states stand for it.
    """
    told = tuple(starts)[-NEWEST:]
    chain = _Chain(model, told, keep={key: _likeliest(model, joint, key, most) for key in model.zones}, dated=zone)
    table = chain.run().plain
    prior = np.ones([1] * table.ndim)
    for axis, key in enumerate(chain.keys, start=1):
        values = np.asarray(model.fitted.zones[key].prior)[chain.kept[key]]
        if key == zone:
            values = np.where(np.arange(len(values)) == 0, 0.0, values)
        prior = prior * chain.along(axis, values)
    weights = (table * prior).reshape(len(table), -1).sum(axis=1) * chain.first_there()
    return np.asarray(weights / weights.sum())


def _likeliest(model: Model, joint: Table, zone: str, most: int) -> list[int]:
    """Return healthy and the likeliest other states of a zone."""
    axis = model.axis[zone]
    shares = joint.sum(axis=tuple(i for i in range(joint.ndim) if i != axis))
    order = [int(i) for i in np.argsort(-shares, kind="stable") if i != 0]
    return [0, *sorted(order[:most])]


@dataclass(frozen=True)
class _Found:
    """Likelihoods after the last start, axes in the chain's order; one table a lane that may have failed."""

    plain: Table
    lanes: tuple[Table, ...]
    log_scale: float


class _Chain:
    """The hidden chain over one history; ``keep`` narrows zones to some of their states, ``dated`` adds onset axis 0.

    States of a zone that light alike in every condition told are one class, whose table is spread over them at the
    end. Axes: onset (length 1 unless ``dated``), zones without a channel, zones with one: long runs last.
    """

    def __init__(
        self,
        model: Model,
        starts: tuple[Start, ...],
        keep: Mapping[str, list[int]] | None = None,
        dated: str = "",
    ) -> None:
        self.model, self.starts, self.dated = model, starts, dated
        self.course = course(model, starts)
        zones = model.fitted.zones
        self.keys = sorted(model.zones, key=lambda k: bool(zones[k].channel))
        self.axis = {key: i for i, key in enumerate(self.keys, start=1)}
        self.conditions = tuple(dict.fromkeys(s.condition for s in starts))
        self.lane_at = None if dated else self._lane_state()
        self.kept: dict[str, list[int]] = {}
        self.classes: dict[str, NDArray[np.intp]] = {}
        for key in self.keys:
            self._classify(key, keep[key] if keep else list(range(len(zones[key].states))))
        self.ndim = 1 + len(self.keys)
        self._results: dict[tuple[int | None, Condition, str, bool, float | None], Table] = {}
        self.survives = [self._survival(s) for s in starts]

    def _lane_state(self) -> tuple[str, int] | None:
        """Return (zone, state) of the mode that goes by lanes, where anything is known of the lanes."""
        if not self.course.lane_every and not any(s.lane for s in self.starts):
            return None
        for key in self.keys:
            zone = self.model.fitted.zones[key]
            for i, state in enumerate(zone.states[1:], start=1):
                if zone.modes[state].by_lane:
                    return key, i
        return None

    def _classify(self, key: str, states: list[int]) -> None:
        rows: dict[tuple[float, ...], int] = {}
        kept: list[int] = []
        of = np.full(len(self.model.fitted.zones[key].states), -1, dtype=np.intp)
        for state in states:
            if self.lane_at == (key, state):
                continue
            row = tuple(round(self._light(key, state, c), 12) for c in self.conditions)
            # Dated states stay apart from healthy: theirs is the onset asked for.
            if row not in rows or self.dated:
                rows[row] = len(kept)
                kept.append(state)
            of[state] = rows[row]
        self.kept[key], self.classes[key] = kept, of

    def _light(self, key: str, state: int, condition: Condition) -> float:
        return float(self.model.lights(condition)[key].reshape(-1)[state])

    def along(self, axis: int, values: Sequence[float] | Table) -> Table:
        """Return values shaped to broadcast along one axis."""
        shape = [1] * (1 + len(self.keys))
        shape[axis] = -1
        return np.asarray(values, dtype=float).reshape(shape)

    def _survival(self, start: Start) -> float:
        """Return P(a fault of after this start's predecessor's was there at that one already | it is there now)."""
        q = 1 - 1 / (1 + ONSET)
        if not start.gap:
            return q
        p = 1 / GAP
        return q * p * q / (1 - (1 - p) * q)

    def first_there(self) -> Table:
        """Return P(the fault was first there at start i) before the results; see :func:`onset` for its entries."""
        there = 1.0
        found = []
        for survives in [1 - 1 / (1 + ONSET), *reversed(self.survives[1:])]:
            found.append(there * (1 - survives))
            there *= survives
        return np.asarray([there, *reversed(found)])

    # -- one start ---------------------------------------------------------------------------------

    def _lights(self, key: str, condition: Condition, number: int) -> Table:
        values = np.asarray([self._light(key, s, condition) for s in self.kept[key]])
        table = self.along(self.axis[key], values)
        if key != self.dated:
            return table
        there = self.along(0, [float(first <= number) for first in range(len(self.starts) + 1)])
        return np.asarray(np.where(there > 0, table, values[0]))

    def _result(self, number: int, used: str, lane_light: float | None = None) -> Table:
        """Return P(this start's result | classes) had it used the channel; ``lane_light`` for the lane's own state."""
        start = self.starts[number]
        key = (number if self.dated else None, start.condition, used, start.lit, lane_light)
        if key in self._results:
            return self._results[key]
        if self.dated and any(other[0] != number for other in self._results):
            # With an onset each start has tables of its own, and large ones: those before are not asked for again.
            self._results.clear()
        letters = self.course.channels if used == BOTH else (used,)
        dark, rest = self.along(0, [1.0]), self.along(0, [1.0])
        for zone, fit in self.model.fitted.zones.items():
            if not fit.channel:
                if lane_light is not None and self.lane_at is not None and zone == self.lane_at[0]:
                    rest = rest * lane_light
                else:
                    rest = rest * self._lights(zone, start.condition, number)
            elif fit.channel in letters:
                dark = dark * (1 - self._lights(zone, start.condition, number))
        lit = np.clip((1 - dark) * rest, FLOOR, 1 - FLOOR)
        found = np.asarray(lit if start.lit else 1 - lit)
        self._results[key] = found
        return found

    def _choice(self, number: int, lane_light: float | None = None) -> Table:
        """Return P(result) of a start whose channel does not follow a turn, averaged where it is unknown."""
        start, among = self.starts[number], self.course.channels
        if start.channel != UNKNOWN:
            return self._result(number, start.channel, lane_light)
        if self.course.selection == "both":
            return self._result(number, BOTH, lane_light)
        # A hand on a selector may have chosen one channel or both.
        found = [self._result(number, c, lane_light) for c in (*among, BOTH)]
        return np.asarray(np.mean(np.stack(np.broadcast_arrays(*found)), axis=0))

    def _lane_light(self, number: int, failed: int, phase: int) -> float:
        """Return P(lights as far as the lane's zone goes) with one lane failed, at a place in the lanes' turn."""
        assert self.lane_at is not None
        key, state = self.lane_at
        start, zone = self.starts[number], self.model.fitted.zones[key]
        mean, well = self._light(key, state, start.condition), zone.lights[0]
        lanes = self.course.lanes
        if start.lane:
            here = lanes.index(start.lane)
        elif self.course.lane_every:
            here = self.course.lane(phase)
        else:
            return mean
        # The knowledge gives the mean over the lanes: all that is missing of it is missing on the failed one.
        return min(1.0, max(0.0, len(lanes) * mean - (len(lanes) - 1) * well)) if here == failed else well

    # -- the run -----------------------------------------------------------------------------------

    def run(self) -> _Found:
        """Return the likelihoods of the whole history."""
        turn = self.course.selection == "alternate" and any(s.channel == UNKNOWN for s in self.starts)
        phases = self.course.phases if turn else 1
        lane_phases = self.course.lane_phases or 1
        if self.lane_at is None or all(s.lane for s in self.starts):
            lane_phases = 1
        shape = [len(self.starts) + 1 if self.dated else 1, *(len(self.kept[key]) for key in self.keys)]
        # One table a place in the channels' turn; for the lanes also one a lane that may have failed and a place in
        # the lanes' turn. Where no lane was told, one is like the other.
        plain = np.ones([phases, *shape])
        failing = 0
        if self.lane_at is not None:
            failing = len(self.course.lanes) if any(s.lane for s in self.starts) else 1
            shape[self.axis[self.lane_at[0]]] = 1
        lanes = np.ones([failing, phases, lane_phases, *shape])
        # How likely the lanes told are by themselves: all states share that, so it is taken out again.
        turns = np.ones(lane_phases)
        log_scale, since = 0.0, 1.0
        waiting: dict[str, Table] = {}
        marks = self._marks()
        for number, start in enumerate(self.starts):
            if number:
                since *= self.survives[number]
                redraw, lane_redraw, step = self._between(number)
                plain = _moved(plain, 0, redraw, step)
                lanes = _moved(_moved(lanes, 1, redraw, step), 2, lane_redraw, step)
                turns = _moved(turns, 0, lane_redraw, step)
                if number in marks:
                    lanes = self._mix(plain, lanes, since, waiting, turns)
                    log_scale += _rescaled(plain, lanes)
                    since = 1.0
            if turn:
                self._only_phase(number, plain, lanes)
            if lane_phases > 1 and start.lane:
                self._only_lane(number, lanes, turns)
            if start.aborted:
                continue
            if turn:
                for phase in range(phases):
                    plain[phase] *= self._result(number, self._used(number, phase))
            else:
                table = self._choice(number)
                waiting[start.channel] = waiting[start.channel] * table if start.channel in waiting else table
            for failed in range(failing):
                for phase in range(phases):
                    for place in range(lane_phases):
                        light = self._lane_light(number, failed, place)
                        lanes[failed, phase, place] *= (
                            self._result(number, self._used(number, phase), light)
                            if turn
                            else self._choice(number, light)
                        )
        lanes = self._mix(plain, lanes, since * (1 - 1 / (1 + ONSET)), waiting, turns)
        log_scale += _rescaled(plain, lanes)
        return _Found(plain.mean(axis=0), tuple(table.mean(axis=(0, 1)) / turns.mean() for table in lanes), log_scale)

    def _used(self, number: int, phase: int) -> str:
        told = self.starts[number].channel
        return self.course.channel(phase) if told == UNKNOWN else told

    def _only_phase(self, number: int, plain: Table, lanes: Table) -> None:
        """Take in that the channel was told: no place in the turn stands that has another."""
        told = self.starts[number].channel
        if told in self.course.channels:
            other = [phase for phase in range(len(plain)) if self.course.channel(phase) != told]
            plain[other] = 0.0
            lanes[:, other] = 0.0

    def _only_lane(self, number: int, lanes: Table, turns: Table) -> None:
        """Take in that the lane was told, as the channel is."""
        here = self.course.lanes.index(self.starts[number].lane)
        other = [place for place in range(len(turns)) if self.course.lane(place) != here]
        lanes[:, :, other] = 0.0
        turns[other] = 0.0

    def _between(self, number: int) -> tuple[float, float, float]:
        """Return (chance that the channels' turn begins anew before this start, the lanes', chance of a step).

        A step: that the start before moved the turns on.
        """
        before, start = self.starts[number - 1], self.starts[number]
        step = self.course.steps if before.aborted else 1.0
        if start.gap:
            return 1.0, 1.0, step
        letters = self.course.channels
        if (
            self.course.selection == "alternate"
            and self.course.igniter_every == 1
            and before.channel in letters
            and start.channel in letters
            and step in (0.0, 1.0)
        ):
            due = letters[(letters.index(before.channel) + int(step)) % len(letters)]
            if due != start.channel:
                # Something is missing here, so the lanes are anywhere.
                return SLIP, 1.0, step
        return SLIP, SLIP, step

    def _marks(self) -> set[int]:
        """Return the starts that may be a fault's first: each of the newest, ever fewer further back."""
        found, number = set(), len(self.starts) - 1
        while number > 0:
            found.add(number)
            number -= max(1, (len(self.starts) - number) // (EXACT // 2)) if len(self.starts) - number > EXACT else 1
        return found

    def _mix(self, plain: Table, lanes: Table, survives: float, waiting: dict[str, Table], turns: Table) -> Table:
        """Step over what may have come since the last mark: each zone's fault was there before, or was not yet.

        Takes in the results that are ``waiting``; changes ``plain`` and returns the lanes.
        """
        for table in waiting.values():
            plain *= table
        waiting.clear()
        besides = self.axis[self.lane_at[0]] if self.lane_at is not None else 0
        if len(lanes):
            healthy = np.take(plain, [0], axis=1 + besides)
            lanes = survives * lanes + (1 - survives) * healthy[None, :, None] * turns.reshape(-1, *[1] * self.ndim)
        for table, first, left in ((plain, 1, 0), (lanes, 3, besides)):
            for key, axis in self.axis.items():
                if axis != left and key != self.dated and table.size:
                    view = table.swapaxes(first + axis, 0)
                    view[1:] *= survives
                    view[1:] += (1 - survives) * view[:1]
        return lanes

    # -- back to the joint ---------------------------------------------------------------------------

    def spread(self, table: Table, lane: bool = False) -> Table:
        """Return a table over classes as one over the joint, zones in the model's order; see the class."""
        table = table[0]
        for axis, key in enumerate(self.keys):
            if lane and self.lane_at is not None and key == self.lane_at[0]:
                continue
            table = np.take(table, np.maximum(self.classes[key], 0), axis=axis)
        return np.moveaxis(table, range(table.ndim), [self.model.axis[key] for key in self.keys])

    def over_joint(self, found: _Found | None = None) -> Table:
        """Return the likelihood over the joint."""
        found = found or self.run()
        table = self.spread(found.plain)
        if self.lane_at is not None:
            key, state = self.lane_at
            table = np.array(table)
            axis = self.model.axis[key]
            lanes = self.spread(np.mean(np.stack(found.lanes), axis=0), lane=True)
            np.moveaxis(table, axis, 0)[state] = np.take(lanes, 0, axis=axis)
        # A whole history may be so improbable that no number holds it; what counts is how its states compare.
        return np.asarray(np.maximum(table * np.exp(max(found.log_scale, LOWEST)), LEAST))


def _mean(tables: Sequence[Table]) -> Table:
    found = tables[0]
    for table in tables[1:]:
        found = found + table
    return found / len(tables)


def _moved(tables: Table, axis: int, redraw: float, step: float) -> Table:
    """Return the tables, one a place in a turn along an axis, after the turn has moved on, or begun anew."""
    if tables.shape[axis] == 1 or not tables.size:
        return tables
    return _turned(tables, np.roll(tables, 1, axis=axis), tables.mean(axis=axis, keepdims=True), redraw, step)


def _turned(before: Table, moved: Table, anew: Table, redraw: float, step: float) -> Table:
    if redraw == 1.0:
        return np.array(np.broadcast_to(anew, before.shape))
    if step != 1.0:
        moved = step * moved + (1 - step) * before
    moved *= 1 - redraw
    moved += redraw * anew
    return moved


def _rescaled(*tables: Table) -> float:
    """Bring the tables to a largest entry of one; return the logarithm of what was taken out."""
    largest = max(float(table.max()) for table in tables if table.size)
    if not 0 < largest < 0.01:
        return 0.0
    for table in tables:
        table /= largest
    return float(np.log(largest))

"""For whoever writes scenarios: is one sound, and a draft of one from a case that was worked on a real aircraft.

What a check finds wrong is told with file and line. A draft copies no free text at all: it holds names of the
knowledge, figures, and what is put together from those.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any, Literal

from isolate.case import deferral
from isolate.case.ages import faults as age_faults
from isolate.case.believed import as_it_shows
from isolate.case.case import BadIntake, CaseState, Intake, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.facts import authorities, signed, tools
from isolate.case.intake import Refused
from isolate.case.memory import Memory
from isolate.case.now import LASTS, condition_now, strength
from isolate.case.parts import FINDINGS
from isolate.case.swaps import faults as swap_faults
from isolate.case.written import read_for
from isolate.drill import pilot, practice
from isolate.drill.debrief import came_up
from isolate.drill.drive import DONE, Came, Drive
from isolate.drill.measure import NONE, Measured, named
from isolate.drill.scenario import Scenario
from isolate.drill.watch import Watch
from isolate.kb.fit import Fitted, UnknownName, split
from isolate.kb.model import FLOOR, HEALTHY, NAME
from isolate.kb.read import KnowledgeError, Problem, read_model
from isolate.reasoning.belief import Model, Setting
from isolate.reasoning.pose import WATCH, weights

LEAST = 10 * FLOOR
"""A scripted answer that the truth gives less often than this contradicts it: our judgement."""
RARE = 0.02
"""Scripted answers that it gives less often than this are told of: one in fifty is a strange thing to teach by."""
LEAST_STARTS = 1e-3
"""Starts that the truth gives so much more rarely than what explains them best are told of: our judgement."""
TYPICAL = 0.1
"""A channel that is bad and that its functional check passes more rarely than this passed by luck: our judgement."""
OCCASIONS = 3
"""So many occasions, an hour apart, are looked at for such luck."""
BEGUN = "2030-01-01T06:00:00.000Z"
VERIFIED_NONE = "verified, no fault found"
SURE = 0.8
"""A fault found with less probability than this is asked for again in a draft: our judgement."""
ROLES = ("the technician", "the second pair of eyes", "the headset", "the fourth hand", "the fifth hand")
"""Who is there, by role, in the order of the case."""
POSITIONS = re.compile(r"[1-8]|left|right|centre", re.IGNORECASE | re.ASCII)
"""A position that names nobody and nothing."""


# -- checking one ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reached:
    """A point to be learnt. ``how``: met on the reference's way, can be met on another, cannot, or is only said.

    ``by``: the names by which it is met, or can be; for one that cannot, the reason for each.
    """

    say: str
    how: Literal["met", "can be met", "cannot be met", "only said"]
    by: tuple[str, ...] = ()


@dataclass
class Report:
    """What a scenario was found to be. Errors and warnings carry file and line."""

    path: Path
    errors: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    end: str = ""
    """How the reference ended it; empty where it was not played."""
    right: bool = False
    safe: bool = False
    minutes: float = 0.0
    """By the drill's clock."""
    equivalent: float = 0.0
    """Equivalent minutes of the reference on this scenario."""
    points: tuple[Reached, ...] = ()
    level: Mapping[str, Any] = field(default_factory=dict)
    """As :meth:`isolate.drill.measure.Measured.level` gives it, and ``here``: this scenario's own ratio."""

    @property
    def ok(self) -> bool:
        return not self.errors

    def lines(self) -> list[str]:
        """Return it as lines of text."""
        found = [str(problem) for problem in sorted(self.errors)]
        found += [f"{problem} (warning)" for problem in sorted(self.warnings)]
        if self.end:
            right = "right for the truth" if self.right else "not right for the truth"
            found.append(f"The tool itself ends it after {self.minutes:.0f} min: {self.end}; {right}.")
            found.append("Nothing unsafe on that way." if self.safe else "That way is not safe.")
        for point in self.points:
            by = f" ({', '.join(point.by)})" if point.by else ""
            found.append(f"To be learnt, {point.how}{by}: {point.say}")
        if self.level:
            found.append(_level_line(self))
        found.append("Nothing to mend." if self.ok else f"{len(self.errors)} to mend.")
        return found


def _level_line(report: Report) -> str:
    level = report.level
    said = f"How hard: {level['name']}; {level['why']}."
    if "here" in level:
        said += f" This scenario itself took {report.equivalent:.0f}, {level['here']:.2f} of that average: one play."
    return said


def check(path: Path, kits: Callable[[str], Kit], measured: Measured = NONE) -> Report:
    """Return what a scenario is found to be: whether it reads, fits its own truth, and can be solved and learnt from.

    It is played once by the tool's own advice, with the scenario's seed. ``measured``: the table of how hard cases
    are. Never raises for what is wrong with the file.
    """
    report = Report(path)
    try:
        scenario, kit = read_for(path, Scenario, kits)
        _, spots = read_model(path, Scenario)
    except KnowledgeError as error:
        report.errors += error.problems
        return report
    except OSError as error:
        report.errors.append(Problem(str(path), 0, f"it cannot be read: {error.strerror or error}"))
        return report

    def problem(message: str, *at: str | int) -> Problem:
        spot = spots(at)
        return Problem(spot.file, spot.line, message)

    for at, message in contradictions(kit.model, scenario):
        report.errors.append(problem(message, *at))
    for at, message in doubts(kit.model, scenario):
        report.warnings.append(problem(message, *at))
    try:
        fresh, drive = _begun(kit, scenario), _begun(kit, scenario)
        open_to = _open_to(drive)
        _play(drive, report, problem)
    except (Refused, UnknownName) as error:
        report.errors.append(problem(f"it cannot be begun: {error}", "case"))
        return report
    for at, message in luck(fresh, drive.chase.state.events):
        report.warnings.append(problem(message, *at))
    _judge_points(drive, scenario, open_to, report, problem)
    level = measured.level(kit.fitted, scenario.case.complaint, scenario.case.channel, scenario.truth,
                           scenario.case.place)  # fmt: skip
    average = 0.0 if measured.why_not(kit.fitted.knowledge) else measured.average.get(kit.fitted.name, 0.0)
    if average and report.end:
        ratio = report.equivalent / average
        level = {**level, "here": round(ratio, 3), "here_name": named(ratio)}
    report.level = level
    return report


def _begun(kit: Kit, scenario: Scenario) -> Drive:
    return Drive.begin(kit, Memory(), "check", "check", scenario, "the reference", BEGUN)


# -- does it fit its truth -------------------------------------------------------------------------


def contradictions(model: Model, scenario: Scenario) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield scripted answers that the truth does not give, or that are not as told, as (path of the field, message)."""
    told = {key: (outcome, by) for _, key, outcome, by in _told(model.fitted, scenario)}
    for key, said in scenario.answers.items():
        first = (said or [None])[0] if isinstance(said, list) else said
        if key in told and not model.fitted.check(key).functional and first != told[key][0]:
            answers = "could not tell" if first is None else repr(first)
            yield ("answers", key), f"{key} answers {answers}, and {told[key][1]} says {told[key][0]!r}"
    for at, key, outcome, chance in _scripted(model, scenario):
        if chance < LEAST:
            yield at, (
                f"{key} does not answer {outcome!r} with this truth ({_mode_list(scenario)}): its chance is "
                f"{chance:.2g} at most, whether the fault shows or not"
            )


def _scripted(model: Model, scenario: Scenario) -> Iterator[tuple[tuple[str | int, ...], str, str, float]]:
    """Yield each scripted answer: path of the field, check, outcome, its largest chance in the truth."""
    truth = _states(model.fitted, scenario.truth)
    for key, said in scenario.answers.items():
        for i, outcome in enumerate(said if isinstance(said, list) else [said]):
            if outcome is not None:
                at = ("answers", key, i) if isinstance(said, list) else ("answers", key)
                yield at, key, outcome, _most(model, truth, key, outcome, scenario)


def _told(fitted: Fitted, scenario: Scenario) -> Iterator[tuple[tuple[str | int, ...], str, str, str]]:
    """Yield what is told as the case is opened: path of the field, check, outcome, what tells it."""
    case = scenario.case
    for name, outcome in fitted.complaints[case.complaint].answers.items():
        for key, fit in fitted.checks.items():
            if fit.name == name and fit.channel in ("", case.channel):
                yield ("case", "complaint"), key, outcome, "the complaint"
    intake = case.intake()
    for i, sign in enumerate(intake.signs):
        for key, outcome in signed(fitted, replace(intake, signs=(sign,))):
            yield ("case", "signs", i), key, outcome, f"the sign {sign.sign}"


def doubts(model: Model, scenario: Scenario) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield what is told that the truth hardly gives: rare scripted answers, the complaint's own, signs, the starts."""
    fitted, case = model.fitted, scenario.case
    truth = _states(fitted, scenario.truth)
    told = tuple(_told(fitted, scenario))
    for at, key, outcome, chance in _scripted(model, scenario):
        # What is told at the opening has to be answered again, however rare it is.
        if LEAST <= chance < RARE and (key, outcome) not in {t[1:3] for t in told}:
            yield at, f"{key} rarely answers {outcome!r} with this truth ({_mode_list(scenario)}): {chance:.2g} at most"
    for at, key, outcome, by in told:
        chance = _most(model, truth, key, outcome, scenario)
        if chance < LEAST:
            yield at, (
                f"{by} says {outcome!r} to {key}, which this truth ({_mode_list(scenario)}) hardly gives: {chance:.2g}"
            )
    starts = as_it_shows(case.intake())
    if starts:
        table = model.starts(starts)
        cell = tuple(
            0 if n == 1 else fitted.zones[z].states.index(truth[z])
            for z, n in zip(model.zones, table.shape, strict=True)
        )
        ratio = float(table[cell]) / float(table.max())
        if ratio < LEAST_STARTS:
            yield ("case", "starts"), (
                f"these starts are hardly those of this truth ({_mode_list(scenario)}): what explains them best gives "
                f"them {1 / max(ratio, 1e-300):.3g} times as often"
            )


def luck(fresh: Drive, events: Sequence[Event]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield functional checks of the verification by which a channel that is bad passes by luck, at the seed.

    Asked of ``fresh``, a drill just begun, on some occasions an hour apart; and as it came on the reference's way,
    ``events``, up to the first repair. A fault of no channel is one of all.
    """
    fitted, aircraft, scenario = fresh.fitted, fresh.aircraft, fresh.scenario
    model, truth = fresh.chase.kit.model, _states(fresh.fitted, scenario.truth)
    bad = {split(mode)[1] for mode in scenario.truth}
    intake = fresh.chase.intake
    tried: dict[str, list[tuple[Setting, str | None]]] = {}
    for key in fresh.chase.verification:
        check = fitted.check(key)
        if not check.functional or not bad & {"", check.channel} or key in aircraft.script:
            continue
        tried[key] = []
        for occasion in range(OCCASIONS):
            here = Setting(condition_now(intake), strength(intake, occasion * LASTS), occasion)
            aircraft.where = partial(_same, here)
            tried[key].append((here, aircraft.outcome(key, "check")))
    for event in events:
        if event.kind in ("repaired", "swapped"):
            break
        if event.kind == "answered" and event.body["check"] in tried:
            body = event.body
            there = Setting(body["condition"], body["strength"], body["occasion"])
            tried[body["check"]].append((there, body["outcome"]))
    for key, shown in tried.items():
        passed = fitted.check(key).outcomes[0]
        for setting, outcome in shown:
            chance = _chance(model, truth, key, passed, setting)
            if outcome == passed and chance < TYPICAL:
                yield ("seed",), (
                    f"{key} shows {passed!r} by luck at seed {scenario.seed}, occasion {setting.occasion + 1}: with "
                    f"this truth ({_mode_list(scenario)}) its chance is {chance:.2g}; another seed tells no such story"
                )
                break


def _same(setting: Setting) -> Setting:
    return setting


def _states(fitted: Fitted, truth: Sequence[str]) -> dict[str, str]:
    states = dict.fromkeys(fitted.zones, HEALTHY)
    for mode in truth:
        states[fitted.mode_zone[mode]] = split(mode)[0]
    return states


def _mode_list(scenario: Scenario) -> str:
    return ", ".join(scenario.truth) or "no fault"


def _most(model: Model, truth: Mapping[str, str], key: str, outcome: str, scenario: Scenario) -> float:
    """Return the largest chance of an outcome in the truth: in the conditions of the case, a fault showing or not."""
    fit, case = model.fitted.check(key), scenario.case
    number = fit.outcomes.index(outcome)
    best = 0.0
    for condition in dict.fromkeys((case.now or case.condition, case.condition, "steady")):
        how = model.setting(key, condition, 1.0)
        faulty = sorted(z for z in model.switches(key, *how) if truth[z] != HEALTHY)
        for on in product((True, False), repeat=len(faulty)):
            shown = frozenset(zip(faulty, on, strict=True))
            best = max(best, _cell(model, truth, model.likelihood(key, how[0], how[1], shown), number))
    return best


def _chance(model: Model, truth: Mapping[str, str], key: str, outcome: str, setting: Setting) -> float:
    """Return the chance of an outcome in the truth and in a setting, whether a fault shows or not summed out."""
    how = model.setting(key, setting.condition, setting.strength)
    number = model.fitted.check(key).outcomes.index(outcome)
    return _cell(model, truth, model.likelihood(key, how[0], how[1]), number)


def _cell(model: Model, truth: Mapping[str, str], table: Any, number: int) -> float:
    at = tuple(
        0 if n == 1 else model.fitted.zones[z].states.index(truth[z])
        for z, n in zip(model.zones, table.shape[1:], strict=True)
    )
    everything: Any = (number, *at)
    return float(table[everything])


# -- can it be solved ------------------------------------------------------------------------------


def _play(drive: Drive, report: Report, problem: Callable[..., Problem]) -> None:
    scenario = drive.scenario
    try:
        came = pilot.run(drive) if scenario.defer is None else deferred(drive)
    except pilot.Stuck as error:
        report.errors.append(problem(f"the tool itself cannot bring it to an end: {error}", "truth"))
        return
    report.end, report.minutes = came.said, drive.minutes
    why = wrong(drive, came)
    report.right = not why
    report.equivalent = spent(drive, came, bool(why))
    found = sorted({f.mode for f in drive.chase.verdict() if f.state != HEALTHY})
    if why:
        report.errors.append(problem(f"the tool itself does not solve it: {came.said}; {why}", "truth"))
    elif found != sorted(scenario.truth) and scenario.defer is None:
        told = ", ".join(found) or "no fault"
        report.warnings.append(
            problem(f"it ends rightly ({came.said}), and the verdict names {told}: not all of the truth", "truth")
        )
    unsafe = list(unsafe_steps(drive))
    report.safe = not unsafe
    report.errors += [problem(f"no safe way was found: {phrase}", "case") for phrase in unsafe]


def wrong(drive: Drive, came: Came) -> str:
    """Return why an end is wrong for what the aircraft has now; empty where it is right.

    Right: closed up with nothing left; handed to those who clear all that is left; deferred with all that is left on
    the channel deferred.
    """
    left, key, fitted = drive.aircraft.faults(), came.choice.key, drive.fitted
    if key in fitted.repairs:
        clears = fitted.repairs[key].clears
        stays = [m for m in left if split(m)[0] not in clears.get(fitted.mode_zone[m], ())]
        if not left:
            return "nothing is left that it could be handed over for"
        return f"they do not clear {', '.join(stays)}" if stays else ""
    if key == deferral.DEFER:
        channel = drive.chase.state.deferral.get("channel", "")
        stays = [m for m in left if split(m)[1] != channel]
        return f"not on the channel deferred: {', '.join(stays)}" if stays or not left else ""
    if left:
        return f"left on the aircraft: {', '.join(left)}"
    return "" if key in (DONE, WATCH) else "nothing is left that anybody else could do"


def deferred(drive: Drive) -> Came:
    """Prove every other channel alone, close up, and end by the scenario's deferral. Raises pilot.Stuck."""
    written = drive.scenario.defer
    assert written is not None
    chase, fitted = drive.chase, drive.fitted
    for other in (c for c in fitted.channels if c != written.channel):
        for proof in deferral.proofs(chase, other):
            if proof.key not in chase.barred():
                pilot.make(drive, drive.choice("check", proof.key))
    pilot.way(drive, (), tuple(fitted.access))
    came = drive.do(drive.choice("end", deferral.DEFER), told=written.model_dump(by_alias=True))
    if came.kind != "ended":
        raise pilot.Stuck(f"its deferral is refused: {came.said or '; '.join(d.says for d in came.dangers)}")
    return came


def spent(drive: Drive, came: Came, missed: bool) -> float:
    """Return the equivalent minutes of a drill driven to its end: work, waits, parts, delay, what the end costs."""
    intake, fitted = drive.chase.intake, drive.fitted
    weighed = weights(fitted, intake.place)
    total = 0.0
    for event in drive.chase.state.events:
        if event.kind in ("access", "answered", "repaired", "swapped", "inspected"):
            total += weighed.labour * float(event.body.get("minutes", 0.0))
        elif event.kind in ("waited", "hinted"):
            total += float(event.body["minutes"])
        if event.kind == "repaired":
            total += weighed.parts * fitted.repairs[event.body["repair"]].entry.parts
    if intake.minutes_left is not None:
        total += weighed.delay * max(0.0, drive.minutes - intake.minutes_left)
    key = came.choice.key
    if key == deferral.DEFER:
        total += weighed.defer
    elif key in fitted.repairs or key == WATCH:
        total += weighed.hand_over
    elif key != DONE:
        return total + weighed.escalate
    return total + weighed.missed * missed


def unsafe_steps(drive: Drive) -> Iterator[str]:
    """Yield what was unsafe about a drill: every stop, and what the watch sees going through its trail."""
    watch = Watch(drive.fitted, drive.chase.verification)
    opened: frozenset[str] = frozenset()
    for event in drive.chase.state.events:
        body = event.body
        found: tuple[str, ...] = ()
        if event.kind == "stopped":
            yield from (danger["says"] for danger in body["dangers"])
        elif event.kind == "access":
            opening = body["state"] != "shut"
            if body.get("walked") or body.get("of_itself") or body["state"] == "unknown":
                opened = opened | {body["access"]} if opening else opened - {body["access"]}
            else:
                opened, found = watch.crossed(opened, [(body["access"], opening)])
        elif event.kind in ("answered", "repaired"):
            opened, found = watch.made(opened, body["check" if event.kind == "answered" else "repair"])
        elif event.kind == "closed":
            found = watch.closed(opened)
        yield from found


# -- is there something to learn -------------------------------------------------------------------


def _open_to(drive: Drive) -> dict[str, str]:
    """Return what cannot be done in this scenario for place, people or tools, as it begins: name → why."""
    found = dict(drive.chase.barred())
    for key in (*drive.fitted.checks, *drive.fitted.repairs, *drive.fitted.access):
        if why := drive.aircraft.refuses(key):
            found[key] = why
    return found


def _judge_points(
    drive: Drive, scenario: Scenario, barred: Mapping[str, str], report: Report, problem: Callable[..., Problem]
) -> None:
    fitted, met = drive.fitted, came_up(drive.fitted, drive.chase.state.events, report.right)
    points = []
    for i, point in enumerate(scenario.points):
        if not point.by:
            points.append(Reached(point.say, "only said"))
            continue
        if here := tuple(name for name in point.by if name in met):
            points.append(Reached(point.say, "met", here))
            continue
        why = {name: _unreachable(fitted, name, barred) for name in point.by}
        if able := tuple(name for name, reason in why.items() if not reason):
            points.append(Reached(point.say, "can be met", able))
            continue
        reasons = tuple(f"{name}: {reason}" for name, reason in why.items())
        points.append(Reached(point.say, "cannot be met", reasons))
        report.errors.append(problem(f"nothing of this can be met in this scenario: {'; '.join(reasons)}",
                                     "learning", i))  # fmt: skip
    report.points = tuple(points)


def _unreachable(fitted: Fitted, name: str, barred: Mapping[str, str]) -> str:
    """Return why a name cannot be met in a scenario, empty where it can."""
    if name in fitted.rules:
        return ""
    step = fitted.checks.get(name) or fitted.repairs.get(name) or fitted.access.get(name)
    if step is None:
        return "this engine does not have it"
    behind = [key for key in fitted.needed(step.needs) if key in barred]
    return barred.get(name) or (barred[behind[0]] if behind else "")


# -- a draft of a new one --------------------------------------------------------------------------


def new(events: Sequence[Event], name: str, kit: Kit) -> str:
    """Return a draft of a scenario from a finished case's trail, as YAML; names, aircraft and free text left out.

    ``name``: what the scenario is to be called; ``kit``: of the case's engine. Raises Refused for a case that has not
    ended, a drill, one in which nothing was found unless that was verified, and what this knowledge does not have.
    """
    import yaml

    if not re.fullmatch(NAME, name):
        raise Refused(f"{name!r} is no name for a scenario: lower-case words joined by hyphens")
    if not events or events[0].kind != "opened":
        raise Refused("this is no case: it has no beginning")
    if "drill" in events[0].body:
        raise Refused("this is a drill; a scenario is drafted from a case on a real aircraft")
    try:
        state = fold(events)
    except BadIntake as error:
        raise Refused(f"what was told as the case was opened cannot be read: {error}") from None
    if not state.ended or state.intake is None:
        raise Refused("the case has not ended yet: what was wrong is known at its end")
    fitted, intake = kit.fitted, state.intake
    if intake.engine != fitted.name:
        raise Refused(f"this knowledge is of the engine {fitted.name} and the case of another")
    if intake.complaint not in fitted.complaints:
        raise Refused("this knowledge does not have the complaint of the case any more")
    truth, asks = _truth(state, fitted)
    case, more = _case(fitted, intake)
    written: dict[str, Any] = {
        "title": "draft", "story": "draft", "learning": ["draft"], "seed": 1, "case": case, "truth": truth,
        "answers": _answers(state, fitted), "source": list(fitted.complaints[intake.complaint].source),
    }  # fmt: skip
    scenario = Scenario.model_validate(written)
    points, sources = practice.learning(kit, scenario)
    drawn = practice.told_of(scenario)
    told = " ".join(practice.story(fitted, drawn, "000", case["position"]))
    written = {
        "title": fitted.complaints[intake.complaint].title,
        "story": told,
        **{key: written[key] for key in ("seed",)},
        "topics": list(practice.topics(fitted, truth)),
        "learning": points,
        "source": list(dict.fromkeys([*written["source"], *sources])),
        "case": case,
        "truth": truth,
        "answers": written["answers"],
    }
    Scenario.model_validate(written)
    head = [
        f"A draft of the scenario {name}, from a case that was worked on an aircraft.",
        "Aircraft, names, serial and part numbers, references and remarks were left out: add none of them.",
        "Give it a title and a story that somebody would believe, and say what is to be learnt from it.",
        *(f"To be asked: {ask}" for ask in (*asks, *more)),
    ]
    body = yaml.safe_dump(written, sort_keys=False, allow_unicode=True, width=110)
    return "".join(f"# {line}\n" for line in head) + body


def _truth(state: CaseState, fitted: Fitted) -> tuple[list[str], list[str]]:
    """Return the truth as the case closed on it, and what has to be asked of whoever knows. Raises Refused."""
    closed = next((dict(e.body) for e in reversed(state.events) if e.kind == "closed"), {})
    best: dict[str, tuple[float, str]] = {}
    asks = []
    for found in closed.get("found", []):
        mode, chance = str(found["mode"]), float(found.get("probability", 0.0))
        if split(mode)[0] == HEALTHY:
            continue
        zone = fitted.mode_zone.get(mode)
        if zone is None:
            asks.append("the case found a fault that this knowledge does not have; what is its name here?")
            continue
        if zone in best and best[zone][1] != mode:
            likelier = max((chance, mode), best[zone])[1]
            asks.append(f"two faults of one zone were found in turn, and here stands {likelier}: was it there first?")
        best[zone] = max((chance, mode), best.get(zone, (0.0, "")))
        if chance < SURE:
            asks.append(f"was it {mode}? The case was {chance:.0%} sure of it")
    refuted = {str(f.get("repair")) for f in state.findings if f.get("finding") == "not-confirmed"}
    for zone, (_, mode) in best.items():
        if any(zone in fitted.repairs[r].clears for r in refuted if r in fitted.repairs):
            asks.append(f"the shop did not confirm it: was it {mode}?")
    if not best and str(closed.get("end", "")) != VERIFIED_NONE:
        if asks:
            raise Refused("what the case found is not in this knowledge")
        raise Refused("the case found nothing, and did not verify that nothing is wrong: there is no truth to drill")
    return sorted(mode for _, mode in best.values()), asks


def _answers(state: CaseState, fitted: Fitted) -> dict[str, Any]:
    """Return the checks answered, several answers in turn, as far as they speak of the aircraft as it was found."""
    found: dict[str, list[str | None]] = {}
    touched: set[str] = set()
    for event in state.events:
        body = event.body
        if event.seq in state.void:
            continue
        if event.kind == "repaired" and body["repair"] in fitted.repairs:
            repair = fitted.repairs[body["repair"]]
            touched |= {*repair.clears, *repair.disturbs}
        elif event.kind == "swapped":
            # Parts changed places: from here on the truth is another.
            touched |= set(fitted.zones)
        elif event.kind == "answered" and body["check"] in fitted.checks:
            fit, outcome = fitted.checks[body["check"]], body.get("outcome")
            if not touched & set(fit.given) and (outcome is None or outcome in fit.outcomes):
                found.setdefault(fit.key, []).append(outcome)
    return {key: said[0] if len(set(said)) == 1 else said for key, said in found.items()}


def _case(fitted: Fitted, intake: Intake) -> tuple[dict[str, Any], list[str]]:
    """Return the case as a scenario tells it, from names of the knowledge and figures alone, and what to ask."""
    asks: list[str] = []
    position = intake.position.strip()
    if not POSITIONS.fullmatch(position):
        position = "1"
        asks.append("which position is it? What the case had says more than a position")
    case: dict[str, Any] = {
        "aircraft": "000",
        "position": position,
        "engine": intake.engine,
        "complaint": intake.complaint,
        "place": intake.place,
        "condition": intake.condition,
    }
    channels = fitted.channels
    if intake.channel in channels:
        case["channel"] = intake.channel
    for key, value in (("now", intake.now), ("minutes_left", intake.minutes_left)):
        if value not in ("", None):
            case[key] = value
    if intake.shut_down is not None and intake.shut_down >= 0:
        case["shut_down"] = intake.shut_down
    if intake.hands != 1:
        case["hands"] = intake.hands
    if intake.objective != "minutes" and (intake.objective != "chance" or intake.minutes_left is not None):
        case["objective"] = intake.objective
    if starts := _starts(fitted, intake):
        case["starts"] = starts
    signs = [s for s in intake.signs if s.sign in fitted.signs and s.channel in ("", *channels)]
    if signs:
        case["signs"] = [{"sign": s.sign, **({"channel": s.channel} if s.channel else {})} for s in signs]
    done = [w for w in intake.done if w.key in fitted.repairs]
    if done:
        case["done"] = [{"repair": w.repair, **({"channel": w.channel} if w.channel else {})} for w in done]
    if intake.other_engine:
        case["other_engine"] = intake.other_engine == "yes"
    able = authorities(fitted)
    case["people"] = [
        {"name": role, **({"may": may} if (may := [m for m in person.may if m in able]) else {})}
        for role, person in zip(_roles(len(intake.people)), intake.people, strict=True)
    ] or [{"name": ROLES[0]}]
    had = tools(fitted)
    if missing := [t for t in intake.missing if t in had]:
        case["missing"] = missing
    if coming := [{"tool": c.tool, "minutes": c.minutes} for c in intake.coming if c.tool in had]:
        case["coming"] = coming
    ages = [a for a in intake.ages if not list(age_faults(fitted, (a,)))]
    if ages:
        fields = ("part", "channel", "unit", "least", "most", "together")
        case["ages"] = [{f: v for f in fields if (v := getattr(a, f)) not in ("", None, False)} for a in ages]
    bare = [replace(s, serial="", other_serial="", where="") for s in intake.swaps]
    if swaps := [s for s in bare if not list(swap_faults(fitted, s))]:
        case["swaps"] = [
            {"part": s.part, "channel": s.channel, **({"other": s.other} if s.other else {})} for s in swaps
        ]
    if earlier := [told for i, e in enumerate(intake.earlier, 1) if (told := _earlier(fitted, e, i))]:
        case["earlier"] = earlier
    return case, asks


def _roles(count: int) -> list[str]:
    return [ROLES[i] if i < len(ROLES) else f"one more of them, {i + 1}" for i in range(count)]


def _starts(fitted: Fitted, intake: Intake) -> list[dict[str, Any]]:
    """Return the starts without their dates, their lanes numbered."""
    lanes = {lane: str(i) for i, lane in enumerate(sorted({s.lane for s in intake.starts if s.lane}), 1)}
    apart = any(s.condition != "steady" for s in intake.starts)
    found = []
    for start in intake.starts:
        known = start.channel in (*fitted.channels, "both", "unknown")
        told: dict[str, Any] = {"channel": start.channel if known else "unknown", "lit": start.lit}
        if apart:
            told["condition"] = start.condition
        if start.seconds is not None and 0 < start.seconds <= 300:
            told["seconds"] = start.seconds
        if start.lane:
            told["lane"] = lanes[start.lane]
        told |= {name: True for name in ("aborted", "gap") if getattr(start, name)}
        if start.oat is not None and -90 <= start.oat <= 70:
            told["oat"] = start.oat
        found.append(told)
    return found


def _earlier(fitted: Fitted, earlier: Any, number: int) -> dict[str, Any] | None:
    """Return an earlier case by what was seen and done in it, None where nothing of that is known here."""
    trail: list[dict[str, Any]] = []
    for item in earlier.evidence:
        if item.kind == "answer" and item.key in fitted.checks and item.outcome in fitted.checks[item.key].outcomes:
            how = {} if item.condition == "steady" else {"condition": item.condition}
            trail.append({"check": item.key, "outcome": item.outcome, **how})
        elif item.kind == "repair" and item.key in fitted.repairs:
            trail.append({"repair": item.key})
    if not trail or earlier.complaint not in fitted.complaints:
        return None
    told: dict[str, Any] = {"case": f"earlier-{number}", "days": round(earlier.days), "complaint": earlier.complaint}
    if earlier.channel in fitted.channels:
        told["channel"] = earlier.channel
    told["trail"] = trail
    shop = {repair: said for repair, said in earlier.findings if repair in fitted.repairs and said in FINDINGS}
    return {**told, **({"findings": shop} if shop else {})}


__all__ = ["Reached", "Report", "check", "contradictions", "deferred", "doubts", "new", "spent", "wrong"]

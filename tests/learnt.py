"""Closed cases with a shop's word, written short: opening, answers, a repair, the end and what the shop found.

For tests and benchmarks of what is learnt from cases. The answers are drawn forward from knowledge of which the true
figures are known; everything in them is invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from isolate.case.believed import believed, part_states, told_belief
from isolate.case.brief import Brief, brief
from isolate.case.case import Evidence, Intake
from isolate.case.chain import Fault, verify
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.drill.sample import Drawn
from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import HEALTHY
from isolate.reasoning.belief import Setting
from isolate.review.learning import for_the_shop
from tests.worked import told

BEGIN = datetime(2030, 1, 2, 6, 0, tzinfo=UTC)


class Cases:
    """A shelf of cases in memory."""

    def __init__(self, cases: Iterable[Sequence[Event]]) -> None:
        self.cases = {events[0].case: tuple(events) for events in cases}

    def briefs(self, *, engine: str = "", since: str = "", until: str = "", ended: bool | None = None) -> list[Brief]:
        had = (brief(events) for events in self.cases.values())
        return [
            b
            for b in had
            if engine in ("", b.engine)
            and (since or b.opened[:10]) <= b.opened[:10] <= (until or b.opened[:10])
            and (ended is None or ended == bool(b.ended))
        ]

    def notes(self) -> list[tuple[str, str]]:
        return []

    def events(self, case: str) -> tuple[Event, ...]:
        return self.cases[case]

    def faults(self, case: str) -> list[Fault]:
        return verify(self.cases[case])


def closed(
    case: str,
    intake: Intake,
    answers: Sequence[tuple[str, str] | Mapping[str, Any]],
    found: Sequence[tuple[str, str]],
    findings: Mapping[str, str],
    when: datetime = BEGIN,
    **more: Any,
) -> tuple[Event, ...]:
    """Return a case's events. ``answers``: (check, outcome), or the body's fields; ``found``: (repair, mode instance).

    ``more``: ``remaining`` (0.01), ``verified`` (passed), ``knowledge``, ``drill``, ``end``.

    ``findings``: repair → what the shop found, and after a space the fault that it named, where it named one.
    """
    log = Memory()

    def write(kind: str, body: Mapping[str, Any], minutes: float) -> None:
        time = (when + timedelta(minutes=minutes)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        log.append_all(case, [(kind, body)], time)

    opening = {"aircraft": intake.aircraft, "position": intake.position, "engine": intake.engine}
    drill = {"drill": {}} if more.get("drill") else {}
    write("opened", {**opening, "complaint": intake.complaint, "intake": intake.as_dict(),
                     "knowledge": more.get("knowledge", "0" * 64), **drill}, 0)  # fmt: skip
    for number, answer in enumerate(answers, start=1):
        if isinstance(answer, Mapping):
            body = dict(answer)
        else:
            body = {"check": answer[0], "outcome": answer[1], "condition": intake.condition}
        write("answered", {"minutes": 5, "within": "check", **body}, 5.0 * number)
    minutes = 5.0 * len(answers) + 10
    for repair in dict.fromkeys(repair for repair, _ in found):
        write("repaired", {"repair": repair, "minutes": 10, "parts": 20}, minutes)
    write("verified", {"result": more.get("verified", "passed")}, minutes + 20)
    named = [{"repair": repair, "mode": mode, "probability": 0.97} for repair, mode in found]
    end = more.get("end", "verified, fault found")
    write("closed", {"end": end, "found": named, "remaining": more.get("remaining", 0.01), "record": ""}, minutes + 30)
    for repair, finding in findings.items():
        finding, _, mode = finding.partition(" ")
        body = {"repair": repair, "finding": finding, "text": "", "report": "", **({"mode": mode} if mode else {})}
        write("shop-finding", body, minutes + 40_000)
    return log.events(case)


def shares_told(kit: Kit, modes: Sequence[str]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the shares of faults of a channel of which a weak snap was told, among each other."""
    fitted = kit.fitted
    channel = fitted.channels[0]
    intake = told(engine=fitted.name, complaint="weak-snap", channel=channel)
    zone = fitted.zones[f"channel/{channel}"]
    chances = told_belief(kit.model, intake).zone(zone.key)
    had = np.array([chances[zone.states.index(mode)] for mode in modes])
    return had / had.sum()


def replaced(kit: Kit, zone: str, mode: str) -> str:
    """Return the repair that puts a fault right with a part, as the shop gets to see it."""
    for key, repair in kit.fitted.repairs.items():
        by_part = repair.entry.parts > 0 and mode in repair.clears.get(zone, ())
        if by_part and mode in part_states(kit.fitted, key, zone):
            return key
    raise ValueError(f"nothing that a shop sees puts {mode} right")


def drawn(
    kit: Kit,
    seed: int,
    number: int,
    checks: Sequence[str],
    modes: Sequence[str] = (),
    engine: str = "halden-hf-3",
    finding: str = "confirmed",
    tool: Kit | None = None,
) -> list[tuple[Event, ...]]:
    """Return so many cases of one faulty channel, drawn from the knowledge of the kit.

    Its fault is one that a shop always sees, or one of ``modes``, as likely as it is with what was told. Each of
    ``checks`` (names of checks per channel) is answered once on the faulty channel and once on the other; three are
    one occasion. The end names the true fault; with ``tool``, the likeliest of that part by its belief.
    """
    rng = np.random.default_rng(seed)
    fitted = kit.fitted
    channels = fitted.channels
    zone = fitted.zones[f"channel/{channels[0]}"]
    able = sorted(modes or for_the_shop(fitted, zone.key))
    weights = shares_told(kit, able)
    cases = []
    for i in range(number):
        channel = channels[int(rng.integers(len(channels)))]
        mode = able[int(rng.choice(len(able), p=weights / weights.sum()))]
        truth = dict.fromkeys(fitted.zones, HEALTHY) | {f"channel/{channel}": mode}
        aircraft = Drawn(kit.model, truth, rng)
        other = next(c for c in channels if c != channel)
        said = []
        for turn, name in enumerate(checks):
            for c in (channel, other):
                key = f"{name}/{c}"
                outcome = aircraft.outcome(key, Setting("steady", 1.0, turn // 3))
                said.append({"check": key, "outcome": outcome, "condition": "steady", "occasion": turn // 3})
        intake = told(("104", "117", "230")[i % 3], "12"[i % 2], engine, complaint="weak-snap", channel=channel)
        repair = replaced(kit, f"channel/{channel}", mode)
        if tool is not None:
            mode = _likeliest(tool, intake, said, repair, f"channel/{channel}")
        cases.append(
            closed(
                f"c{seed}-{i:03}",
                intake,
                said,
                [(repair, f"{mode}/{channel}")],
                {repair: finding},
                BEGIN + timedelta(days=i),
            )
        )
    return cases


def _likeliest(kit: Kit, intake: Intake, said: Sequence[Mapping[str, Any]], repair: str, zone: str) -> str:
    evidence = tuple(
        Evidence(i, "answer", a["check"], a["outcome"], a["condition"], 1.0, a["occasion"])
        for i, a in enumerate(said, start=1)
    )
    chances = dict(zip(kit.fitted.zones[zone].states, believed(kit.model, intake, evidence).zone(zone), strict=True))
    return max(sorted(part_states(kit.fitted, repair, zone)), key=lambda state: float(chances[state]))


def kit_with(
    rows: Mapping[tuple[str, str, int], Mapping[str, float]],
    priors: Mapping[str, float] | None = None,
    engine: str = "halden-hf-3",
) -> Kit:
    """Return a kit of the shipped knowledge with other figures.

    ``rows``: (check, key under given, number of the row) → its figures; ``priors``: mode of a channel → its prior.
    """
    knowledge = load().knowledge
    checks = dict(knowledge.checks)
    for (name, given, number), gives in rows.items():
        check = checks[name]
        had = list(check.given[given])
        had[number] = had[number].model_copy(update={"gives": dict(gives)})
        checks[name] = check.model_copy(update={"given": {**check.given, given: had}})
    channel = knowledge.zones["channel"]
    modes = {
        mode: entry.model_copy(update={"prior": (priors or {}).get(mode, entry.prior)})
        for mode, entry in channel.modes.items()
    }
    zones = {**knowledge.zones, "channel": channel.model_copy(update={"modes": modes})}
    return Kit(fit(knowledge.model_copy(update={"checks": checks, "zones": zones}), engine))

"""What a case tells the rules: the facts that stand now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from isolate.case.case import CaseState, Intake
from isolate.kb.fit import Fitted, split
from isolate.kb.model import HEALTHY, Access, Check, Repair
from isolate.reasoning.belief import Belief
from isolate.reasoning.rules import Fact, fact
from isolate.reasoning.starts import Start

OTHER_ENGINE = "other-engine"
"""The `work` of the fact ``done`` that says: the same was done on the other engine by the same people."""
SUSPECT = 0.02
"""A state less probable than this is no suspect."""
HIGH_SURPRISE = 3.0
"""Standard deviations above what the best explanation would produce: our judgement."""
CONFLICT = 1.0
"""Bits by which answers have to speak against one another before they count as disagreeing: our judgement."""


def standing(fitted: Fitted, state: CaseState, belief: Belief, minutes_left: float | None) -> list[Fact]:
    """Return the facts of a case as it stands, whatever is about to be done."""
    intake = state.intake
    assert intake is not None
    facts = [
        fact(
            "case",
            engine=fitted.name,
            complaint=intake.complaint,
            channel=intake.channel,
            place=intake.place,
            condition=intake.condition,
            selection=fitted.profile.selection,
            people=len(intake.people),
            spent=round(state.book_minutes),
            **({} if minutes_left is None else {"minutes_left": round(minutes_left)}),
        ),
        fact("remaining", percent=_percent(1 - belief.healthy())),
        fact("surprise", level="high" if disagrees(belief) else "low"),
        fact("motored", count=state.motored),
    ]
    facts += [fact("feature", name=name, value=value) for name, value in fitted.profile.features.items()]
    facts += [fact("person", authority=a) for a in sorted({a for p in intake.people for a in p.may})]
    facts += [fact("at-hand", item=item) for item in sorted(tools(fitted) - set(intake.missing))]
    facts += [fact("done", work=w.repair, channel=w.channel) for w in intake.done]
    if intake.other_engine == "yes":
        facts.append(fact("done", work=OTHER_ENGINE))
    facts += starts(intake, fitted)
    answers = {key: list(outcomes) for key, outcomes in state.answers.items()}
    for check, outcome in signed(fitted, intake):
        # What was answered in the case itself stands before what was told.
        answers.setdefault(check, [outcome])
    for check, outcomes in answers.items():
        name, channel = split(check)
        facts += [
            fact("answer", check=name, channel=channel, outcome=o, count=outcomes.count(o))
            for o in dict.fromkeys(outcomes)
        ]
    for move in state.declined:
        name, channel = split(move)
        facts.append(fact("declined", move=name, channel=channel))
    for key in fitted.access:
        name, channel = split(key)
        facts.append(fact("access", name=name, channel=channel, state=state.open.get(key, "shut")))
    facts += [fact("confirmed", caution=split(c)[0]) for c in state.confirmed]
    for repair in dict.fromkeys(state.repairs):
        name, channel = split(repair)
        facts.append(fact("repaired", repair=name, channel=channel, count=state.repairs.count(repair)))
    if state.verified:
        facts.append(fact("verified", channel="", result=state.verified))
    facts += suspects(fitted, belief)
    return facts


def disagrees(belief: Belief) -> bool:
    """Return whether the answers are improbable under their best explanation and speak against one another as well.

    A rare fault plainly seen is improbable too, but its answers hang together.
    """
    return belief.surprise() > HIGH_SURPRISE and belief.conflict() > CONFLICT


def signed(fitted: Fitted, intake: Intake) -> list[tuple[str, str]]:
    """Return what the signs told answer, as (check instance, outcome)."""
    return [
        (check.key, outcome)
        for seen in intake.signs
        for name, outcome in (fitted.signs[seen.sign].answers.items() if seen.sign in fitted.signs else ())
        for check in fitted.checks.values()
        if check.name == name and check.channel in ("", seen.channel)
    ]


def suspects(fitted: Fitted, belief: Belief) -> list[Fact]:
    """Return the suspects by rank, and each channel's probability of a fault."""
    found = []
    for rank, marginal in enumerate(belief.faults(SUSPECT), start=1):
        zone = fitted.zones[marginal.zone]
        found.append(
            fact(
                "suspect",
                mode=marginal.state,
                channel=zone.channel,
                part=zone.modes[marginal.state].part,
                zone=split(marginal.zone)[0],
                percent=_percent(marginal.probability),
                rank=rank,
            )
        )
    for key, zone in fitted.zones.items():
        if zone.channel:
            healthy = float(belief.zone(key)[zone.states.index(HEALTHY)])
            found.append(fact("channel-fault", channel=zone.channel, percent=_percent(1 - healthy)))
    return found


def starts(intake: Intake, fitted: Fitted) -> list[Fact]:
    """Return the starts told, oldest first, and the patterns they make."""
    facts = [
        fact("start", number=i, channel=s.channel, lit=s.lit) for i, s in enumerate(intake.starts, start=1)
    ]
    return facts + [
        fact("pattern", kind=kind, channel=channel, count=count)
        for kind, channel, count in patterns(intake.starts, fitted.channels)
    ]


def patterns(told: Sequence[Start], channels: Sequence[str]) -> list[tuple[str, str, int]]:
    """Return the patterns in a start history as (kind, channel, count of failures).

    ``alternate-fails``: failed and lit take turns, at least twice each way. ``one-channel-fails``: one channel has
    failed and never lit, every other known channel has lit and never failed. The others say themselves.
    """
    if not told:
        return []
    failed = [s for s in told if not s.lit]
    found: list[tuple[str, str, int]] = []
    if not failed:
        return [("all-light", "", 0)]
    if len(failed) == len(told):
        found.append(("all-fail", "", len(failed)))
    else:
        found.append(("some-fail", "", len(failed)))
    known = {c for c in channels if any(s.channel == c for s in told)}
    suspect = {c for c in known if all(not s.lit for s in told if s.channel == c)}
    lighting = {c for c in known if all(s.lit for s in told if s.channel == c)}
    one = next(iter(suspect)) if len(suspect) == 1 and len(lighting) == len(known) - 1 and lighting else ""
    if one:
        found.append(("one-channel-fails", one, len([s for s in failed if s.channel == one])))
    if len(told) >= 3 and all(a.lit != b.lit for a, b in pairwise(told)):
        found.append(("alternate-fails", one, len(failed)))
    return found


def about_to(kind: str, key: str, tags: Iterable[str]) -> list[Fact]:
    """Return what is about to be done, one fact a tag; kind: check, repair, open, close or verify."""
    name, channel = split(key)
    return [fact("about-to", move=name, kind=kind, channel=channel, tag=tag) for tag in (list(tags) or [""])]


def tools(fitted: Fitted) -> set[str]:
    """Return every tool and service that some step of this profile asks for."""
    return {tool for step in _steps(fitted) for tool in step.tools}


def authorities(fitted: Fitted) -> set[str]:
    """Return every authorisation that some step of this profile asks for."""
    return {authority for step in _steps(fitted) for authority in step.authority}


def _steps(fitted: Fitted) -> list[Check | Repair | Access]:
    kinds = (fitted.checks, fitted.repairs, fitted.access)
    return [fit.entry for kind in kinds for fit in kind.values()]


def _percent(p: float) -> float:
    return round(100 * p, 1)

"""What a case tells the rules: the facts that stand now."""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Iterable, Sequence
from threading import Lock
from weakref import WeakKeyDictionary

from isolate.case import swaps
from isolate.case.again import again
from isolate.case.case import CaseState, Evidence, Intake
from isolate.case.now import condition_now
from isolate.kb.fit import Fitted, split
from isolate.kb.model import HEALTHY, Access, Check, Repair, Scalar
from isolate.reasoning import recorded
from isolate.reasoning.belief import Belief, Model, Told
from isolate.reasoning.recorded import one_fails
from isolate.reasoning.rules import Fact, fact
from isolate.reasoning.starts import BOTH, Start
from isolate.reasoning.surprise import Gap, gap

OTHER_ENGINE = "other-engine"
"""The `work` of the fact ``done`` that says: the same was done on the other engine by the same people."""
MOST_GAPS = 256
"""So many gaps worked out are kept for each model: rules, record and screen ask for the same one."""
_gaps: WeakKeyDictionary[Model, OrderedDict[tuple[object, ...], Gap]] = WeakKeyDictionary()
_turn = Lock()
SUSPECT = 0.02
"""A state less probable than this is no suspect."""


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
            now=condition_now(intake),
            selection=fitted.profile.selection,
            people=len(intake.people),
            spent=round(state.book_minutes),
            **({} if minutes_left is None else {"minutes_left": round(minutes_left)}),
        ),
        fact("remaining", percent=_percent(1 - belief.healthy())),
        strange(fitted, state, belief),
        fact("motored", count=state.motored),
    ]
    facts += [fact("feature", name=name, value=value) for name, value in fitted.profile.features.items()]
    facts += [fact("person", authority=a) for a in sorted({a for p in intake.people for a in p.may})]
    facts += [fact("at-hand", item=item) for item in sorted(tools(fitted) - set(intake.missing))]
    facts += [fact("done", work=w.repair, channel=w.channel) for w in intake.done]
    if intake.other_engine == "yes":
        facts.append(fact("done", work=OTHER_ENGINE))
    facts += earlier(fitted, intake, state.repairs)
    facts += starts(intake, fitted)
    answers = {key: list(outcomes) for key, outcomes in state.answers.items()}
    for check, outcome in [
        *recorded.answers(fitted, intake.starts),
        *recorded.counted(fitted, intake.starts),
        *signed(fitted, intake),
    ]:
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
    facts += swapped(fitted, state)
    if state.verified:
        facts.append(fact("verified", channel="", result=state.verified))
    facts += suspects(fitted, belief)
    return facts


def earlier(fitted: Fitted, intake: Intake, repairs: Sequence[str]) -> list[Fact]:
    """Return, for each repair that fits a part, where that part was fitted new before; ``repairs``: in this case."""
    found = []
    for one in again(fitted, intake, repairs):
        name, channel = split(one.repair)
        told: dict[str, Scalar] = {"complaint": one.complaint, "times": one.times, "shop": one.shop}
        if one.days is not None:
            told["days"] = int(one.days)
        found.append(fact("earlier", repair=name, channel=channel, **told))
    return found


def swapped(fitted: Fitted, state: CaseState) -> list[Fact]:
    """Return the parts that changed places in this case, one fact for each place that one came from.

    ``to``: where it went, a channel or elsewhere; ``back``: whether each channel has its own part again.
    """
    assert state.intake is not None
    if not state.swaps:
        return []
    now = swaps.ledger(fitted, state.intake, state)
    begun = swaps.ledger(fitted, state.intake, state, 0)
    found = {}
    for item in state.evidence:
        if item.kind == "swap":
            part, one, other = swaps.read(item.key)
            for channel, to in ((one, other or swaps.ELSEWHERE), *([(other, one)] if other else [])):
                mine, there = begun.get((part, channel)), now.get((part, channel))
                back = mine is not None and there is not None and (mine.came, there.came) == (channel, channel)
                found[part, channel, to] = fact("swapped", part=part, channel=channel, to=to, back=back)
    return list(found.values())


def strange(fitted: Fitted, state: CaseState, belief: Belief) -> Fact:
    """Return whether anything known explains the answers, which fit the others least, and how many were doubted."""
    found = explained(belief, state.evidence)
    doubted = sum(1 for e in state.events if e.kind == "corrected" and e.body.get("doubted"))
    return fact(
        "surprise",
        level="high" if found.stands else "low",
        answers="; ".join(said(fitted, one) for one in found.clash),
        doubted=doubted,
    )


def said(fitted: Fitted, told: Told) -> str:
    """Return an answer in words: what was asked and what was seen."""
    check = fitted.check(told.check)
    return f"{check.title}: {check.said(told.outcome)}"


def explained(belief: Belief, evidence: Sequence[Evidence]) -> Gap:
    """Return how well what is known explains the answers of a case; what complaint and signs say is taken as given."""
    left = Counter(item.key for item in evidence if item.kind == "answer")
    found = []
    # What was told at the opening comes first.
    for told in reversed(belief.told):
        if left[told.check] > 0:
            left[told.check] -= 1
            found.append(told)
    answers = tuple(reversed(found))
    # What the others say tells two beliefs with the same answers apart.
    key = (belief.told, answers, belief.era, round(belief.healthy(), 12))
    with _turn:
        kept = _gaps.setdefault(belief.model, OrderedDict())
        had = kept.get(key)
    if had is None:
        had = gap(belief, answers)
        with _turn:
            kept[key] = had
            while len(kept) > MOST_GAPS:
                kept.popitem(last=False)
    return had


def disagrees(belief: Belief, evidence: Sequence[Evidence]) -> bool:
    """Return whether nothing known explains the answers of a case."""
    return explained(belief, evidence).stands


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
    counts = fitted.profile.features.get("aborted-start-counts")
    return facts + [
        fact("pattern", kind=kind, channel=channel, count=count)
        for kind, channel, count in patterns(
            intake.starts, fitted.channels, counts if isinstance(counts, bool) else None
        )
    ]


ALONE = 3
"""Starts that lit before it is said that a channel among them never lit one alone: our judgement."""


def patterns(
    told: Sequence[Start], channels: Sequence[str], aborted_counts: bool | None = None
) -> list[tuple[str, str, int]]:
    """Return the patterns in a start history, oldest first, as (kind, channel, count of failures).

    ``alternate-fails``: failed and lit take turns, over all of a short history or at least twice each way at its end.
    ``one-channel-fails``: since the first failure one channel has failed and never lit, every other known channel has
    lit and never failed. ``one-lane-fails``: the same of the control lanes told. ``never-alone``: so many starts lit
    and none of them on this channel alone. The others say themselves. Starts that were broken off count for nothing
    but the turn, and for that as ``aborted_counts`` says; across a gap in the history no turn is counted.
    """
    tried = [s for s in told if not s.aborted]
    if not tried:
        return []
    failed = [s for s in tried if not s.lit]
    found: list[tuple[str, str, int]] = []
    if not failed:
        found.append(("all-light", "", 0))
    elif len(failed) == len(tried):
        found.append(("all-fail", "", len(failed)))
    else:
        found.append(("some-fail", "", len(failed)))
    one = one_fails(tried, [s.channel for s in tried], channels)
    if one:
        found.append(("one-channel-fails", one, len([s for s in failed if s.channel == one])))
    lanes = [s.lane for s in tried]
    lane = one_fails(tried, lanes, sorted(set(filter(None, lanes))))
    if lane:
        found.append(("one-lane-fails", "", len([s for s in failed if s.lane == lane])))
    turns = _turns(told, aborted_counts)
    if len(turns) >= (3 if len(turns) == len(tried) else 4) and failed:
        found.append(("alternate-fails", one, len([s for s in turns if not s.lit])))
    lit = [s.channel for s in tried if s.lit and s.channel in (*channels, BOTH)]
    if len(lit) >= ALONE and len(channels) > 1:
        hidden = [c for c in channels if c not in lit and c != one]
        found += [("never-alone", c, len([s for s in failed if s.channel == c])) for c in hidden]
    return found


def _turns(told: Sequence[Start], aborted_counts: bool | None) -> list[Start]:
    """Return the newest starts, broken-off ones left out, in which failed and lit take turns."""
    found: list[Start] = []
    places = 0
    for start in reversed(told):
        if start.aborted:
            if aborted_counts is None:
                break
            places += aborted_counts
        elif not found or (start.lit != found[-1].lit) == (places % 2 == 0):
            # Right before it: the other way about; with one broken off between that moved the turn on: the same.
            found.append(start)
            places = 0
        else:
            break
        if start.gap:
            break
    return found[::-1]


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

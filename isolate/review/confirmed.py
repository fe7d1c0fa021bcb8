"""Cases with a confirmed cause: what a closed case says for certain, and why another does not count.

The shop confirmed a fault in the part that came off, and named which of that part's faults it was, whatever the end of
the case says; where it named none, the end says which it was. Up to the repair that cleared the first fault, the state
of its zone is then known, and so is that of the others where the end was verified and leaves no more doubt than the
profile allows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from isolate.case.believed import part_states
from isolate.case.brief import Brief, brief
from isolate.case.case import CaseState, Evidence, Intake, fold
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.kb.fit import Fitted, split
from isolate.kb.model import HEALTHY
from isolate.review.verdicts import settled

NO_WORD = "the shop has said nothing of the part that came off"
NO_PART = "nothing was replaced or repaired that a shop could look at"
NOT_CONFIRMED = "the shop found nothing wrong with the part"
DISPUTED = "two words of the shop on the part disagree"
OTHER = "the shop found something else in the part"
CALLED_GOOD = "the shop confirmed a part that the end of the case calls good"
NO_FAULT = "the end of the case names no fault"
TWICE = "the part was replaced twice, or two faults of one zone are named"
NOT_OF_PART = "what the end names is no fault of the part that the shop saw"
SWAPPED = "parts changed places in it"
NOT_WHOLE = "its trail is not whole"
NOT_READ = "it cannot be read"
A_DRILL = "it is a drill"
NOT_KNOWN = "the knowledge does not have its engine, complaint or fault any more"


class LeaveOut(Exception):
    """The case does not count: (why, what of it in particular)."""


@dataclass(frozen=True)
class Confirmed:
    """A case with a confirmed cause. ``causes``: zone key → its confirmed state; ``by_shop``: zones where the shop
    named it, rather than the end of the case.

    ``states``: zone key → the state it was in up to the repair that cleared the first fault; zones that are not in it
    are of unknown state. ``evidence``: what was answered and done up to there.
    """

    case: str
    opened: str
    intake: Intake
    causes: Mapping[str, str]
    states: Mapping[str, str]
    evidence: tuple[Evidence, ...]
    by_shop: frozenset[str] = frozenset()


def confirmed(kit: Kit, events: Sequence[Event]) -> Confirmed:
    """Return what a case says for certain.

    Raises LeaveOut where its cause is not confirmed, else BadIntake, KeyError, TypeError, ValueError where the events
    say nothing usable.
    """
    told, state, fitted = brief(events), fold(events), kit.fitted
    told = replace(told, named=settled(told))
    findings = {f.repair: "disputed" if f.disputed else f.finding for f in told.repairs if f.finding}
    word = {f.repair: f.mode for f in told.repairs if findings.get(f.repair) == "confirmed" and f.mode}
    named = [n for n in told.named if not n.in_vain]
    done = Counter(f.repair for f in told.repairs)
    lost = [n.mode for n in named if n.mode not in fitted.mode_zone]
    lost += [r for r in {n.repair for n in named} if r not in fitted.repairs]
    if lost:
        raise LeaveOut(NOT_KNOWN, ", ".join(lost))
    if not findings:
        raise LeaveOut(NO_WORD if told.repairs else NO_PART)
    # What the shop found no sign of does not stand beside a fault of the same zone that it named.
    sure = {fitted.mode_zone[n.mode] for n in named if word.get(n.repair) == n.mode}
    zones = Counter(
        zone
        for zone, repair in ((fitted.mode_zone[n.mode], n.repair) for n in named)
        if zone not in sure or findings.get(repair) != "not-confirmed"
    )
    causes: dict[str, str] = {}
    by_shop = set[str]()
    why = NO_WORD if named else NO_FAULT
    for one in named:
        zone, mode, said = fitted.mode_zone[one.mode], split(one.mode)[0], findings.get(one.repair, "")
        if said != "confirmed":
            why = {"not-confirmed": NOT_CONFIRMED, "other": OTHER, "disputed": DISPUTED}.get(said, why)
        elif done[one.repair] > 1 or zones[zone] > 1:
            why = TWICE
        elif mode not in part_states(fitted, one.repair, zone):
            why = NOT_OF_PART
        else:
            causes[zone] = mode
            if word.get(one.repair) == one.mode:
                by_shop.add(zone)
    right = {n.repair for n in named}
    if not causes:
        blamed = any(said == "confirmed" and repair not in right for repair, said in findings.items())
        raise LeaveOut(CALLED_GOOD if blamed else why)
    if state.swaps:
        raise LeaveOut(SWAPPED)
    assert state.intake is not None
    cut = next((i for i, e in enumerate(state.evidence) if e.kind == "repair" and e.key in right), len(state.evidence))
    states = _states(fitted, state, told, causes, set(zones), findings, cut)
    evidence = tuple(state.evidence[:cut])
    return Confirmed(state.id, state.opened, state.intake, causes, states, evidence, frozenset(by_shop))


def _states(
    fitted: Fitted,
    state: CaseState,
    told: Brief,
    causes: Mapping[str, str],
    at_fault: set[str],
    findings: Mapping[str, str],
    cut: int,
) -> dict[str, str]:
    """Return the state of each zone before the first fault was cleared, as far as the case says it."""
    in_doubt = at_fault - causes.keys()
    right = {(n.repair, fitted.mode_zone[n.mode]) for n in told.named if not n.in_vain}
    waiting = dict(causes)
    for number, item in enumerate(state.evidence):
        repair = fitted.repairs.get(item.key) if item.kind == "repair" else None
        if repair is None:
            continue
        waiting = {z: mode for z, mode in waiting.items() if (item.key, z) not in right}
        if number < cut and findings.get(item.key) == "confirmed":
            # The end calls the part good, and the shop does not.
            in_doubt |= set(repair.clears)
        # A fault that an earlier repair of this case may itself have left, or should have cured, may be younger.
        left = {
            z: {mode for mode, _ in left} | repair.clears.get(z, frozenset()) for z, left in repair.disturbs.items()
        }
        may = {**repair.clears, **left}
        in_doubt |= {z for z, mode in waiting.items() if mode in may.get(z, ())}
    states = dict(causes)
    if state.verified == "passed" and told.remaining is not None and told.remaining <= fitted.profile.remaining:
        states |= {zone: HEALTHY for zone in fitted.zones if zone not in causes}
    return {zone: mode for zone, mode in states.items() if zone not in in_doubt}

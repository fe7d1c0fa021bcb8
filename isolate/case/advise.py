"""Advice on a case without a screen: the ranked moves with their figures, the belief, the rules fired."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from isolate.case.case import BadIntake, fold
from isolate.case.chase import Chase, Kit
from isolate.case.events import Event
from isolate.case.inherit import carried
from isolate.case.memory import Memory


def advise(kits: Callable[[str], Kit], events: Sequence[Event], clock: Callable[[], datetime]) -> dict[str, Any]:
    """Return advice on a case as a JSON object; the case itself is left alone.

    ``kits``: engine name → kit. Minutes are equivalent minutes. Raises BadIntake, UnknownName, Refused.
    """
    if not events:
        raise BadIntake("the case has no events")
    state = fold(events)
    if state.intake is None:
        raise BadIntake(f"case {state.id or events[0].case} does not begin with its opening")
    kit = kits(state.intake.engine)
    chase = Chase(kit, Memory(events), events[0].case, clock)
    zones = kit.fitted.zones
    warnings = []
    if state.knowledge != kit.fitted.knowledge.digest:
        warnings.append("the case was worked with other knowledge than this")
    if state.unknown:
        warnings.append("not confirmed on the aircraft since an interruption: " + ", ".join(state.unknown))
    if state.here_due:
        warnings.append("the work was passed on, and who is here now has not been told since")
    if state.loose:
        warnings.append("passed on half torqued or unlocked: " + ", ".join(state.loose))
    belief = chase.belief
    moves = []
    plan: dict[str, Any] = {}
    if not state.ended:
        ranked, deferring = chase.ranked(), chase.deferring()
        plan = {
            "objective": chase.intake.objective,
            "budget": ranked.budget,
            "bound": round(ranked.bound, 2),
            "exact": ranked.exact,
            "together": list(ranked.together),
            "deferring": None if deferring is None else deferring.as_dict(),
        }
        for move in chase.ranked().moves:
            offer = chase.offer(move)
            moves.append(
                {
                    "move": move.name,
                    "kind": move.kind,
                    "title": offer.title,
                    "expected": round(move.expected, 2),
                    "now": round(move.now, 2),
                    "bits": round(move.told, 4),
                    **(
                        {}
                        if move.chance is None
                        else {"chance": round(move.chance, 4), "late": round(move.late or 0, 2)}
                    ),
                    "opens": [c.access for c in offer.crossings if c.opening],
                    "shuts": [c.access for c in offer.crossings if not c.opening],
                    "outcomes": [
                        {
                            "outcome": s.outcome,
                            "probability": round(s.probability, 4),
                            "suspects": [[m.mode, round(m.probability, 4)] for m, _ in s.suspects],
                        }
                        for s in offer.outcomes
                    ],
                }
            )
    return {
        "case": events[0].case,
        "state": state.ended or ("in hand: " + state.move.key if state.move else "open"),
        "warnings": warnings,
        "knowledge": kit.fitted.knowledge.digest,
        "carried": carried(kit.model, chase.intake).as_dict(),
        "open": dict(state.open),
        "book_minutes": round(state.book_minutes, 2),
        "posterior": {
            "none": round(belief.healthy(), 6),
            "faults": [
                {
                    "mode": m.mode,
                    "title": zones[m.zone].title_of(m.state),
                    "probability": round(m.probability, 6),
                }
                for m in belief.faults(0.001)
            ],
            "joint": [
                {"states": [f"{z}: {s}" for z, s in states.items()], "probability": round(p, 6)}
                for states, p in belief.joint_states(8)
            ],
            "unexplained": {
                "stands": chase.gap.stands,
                "level": round(chase.gap.level, 4),
                "bits": round(chase.gap.excess, 3),
                "answers": [{"check": told.check, "outcome": told.outcome} for told in chase.gap.clash],
            },
            "kept_in_planning": round(chase.ranked().posed.kept, 6) if not state.ended else None,
        },
        "barred": dict(chase.ranked().barred) if not state.ended else {},
        "decision": plan,
        "moves": moves,
        "rules": [f.as_dict() for f in chase.firings()],
    }

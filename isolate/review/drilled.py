"""Whether a trail is a drill's, on no real aircraft: by the shape of what a drill writes into its opening."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from isolate.case.events import Event, is_event_time

NEEDED = frozenset({"name", "trainee", "begun", "seed", "scenario"})
KNOWN = NEEDED | {"level"}
TOLD = ("title", "story", "learning", "truth", "source")
"""What every scenario says."""
NOT_CHECKED = "a drill: moves, cautions and verification not checked"


def is_drill(events: Sequence[Event]) -> bool:
    """Return whether the opening says that it is a drill, just as a drill writes it.

    Anything else under that name is no drill: it would only take the checks off a case.
    """
    if not events or events[0].kind != "opened":
        return False
    about = events[0].body.get("drill")
    if not isinstance(about, dict) or NEEDED - set(about) or set(about) - KNOWN:
        return False
    scenario, seed = about["scenario"], about["seed"]
    return (
        all(isinstance(about[name], str) for name in ("name", "trainee"))
        # A drill's clock begins when it was begun, so its opening has that time.
        and is_event_time(about["begun"])
        and about["begun"] == events[0].time
        and type(seed) is int
        and seed >= 0
        and isinstance(about.get("level", {}), dict)
        and isinstance(scenario, dict)
        and not set(TOLD) - set(scenario)
        and _of_this(scenario.get("case"), events[0].body)
    )


def _of_this(case: Any, opening: dict[str, Any]) -> bool:
    """Return whether a scenario's case is the one that was opened."""
    names = ("aircraft", "position", "engine", "complaint")
    return isinstance(case, dict) and all(str(case[name]) == opening.get(name) for name in names if name in case)

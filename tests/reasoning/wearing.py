"""A small engine whose parts wear, for the tests of ages."""

from __future__ import annotations

from typing import Any

from isolate.kb.fit import Fitted, fit
from isolate.kb.model import Knowledge

SOURCE = {"source": ["bench"]}
PLUG = {"unit": "starts", "shape": 3.0, "scale": 5000.0, "replaced_at": 3000.0}
SEIZED = {"unit": "starts", "shape": 1.5, "scale": 20000.0, "replaced_at": 3000.0}
LEAD = {"unit": "hours", "shape": 2.5, "scale": 30000.0}
BOX = {"unit": "hours", "shape": 2.0, "scale": 40000.0, "replaced_at": 20000.0}


def mode(part: str, prior: float, wear: dict[str, Any] | None = None) -> dict[str, Any]:
    worn = {} if wear is None else {"wear": wear}
    return {
        "title": f"The {part} {{channel}}",
        "part": part,
        "prior": prior,
        "lights": 0.2,
        "tells": "-",
        **worn,
        **SOURCE,
    }


def engine(box: bool = False, **priors: float) -> Fitted:
    """Two channels with plug and lead; with ``box``, one exciter box for both, which has faults in every zone."""
    channel = {
        "worn": mode("plug", 0.02, PLUG),
        "seized": mode("plug", 0.005, SEIZED),
        "wet": mode("plug", 0.03),
        "aged": mode("lead", 0.01, LEAD),
        **({"output-dead": mode("exciter", 0.008, BOX)} if box else {}),
    }
    shared = {"off": {**mode("supply", 0.02), "title": "Off"}}
    if box:
        shared["box-weak"] = {**mode("exciter", 0.01, {**BOX, "shape": 3.0}), "title": "Box weak"}
    look = {o: {"title": o, "means": o} for o in ("young", "due")}
    check = {"title": "Age", "purpose": "P", "kind": "history", "minutes": 5.0, "outcomes": look, **SOURCE}
    healthy = {"modes": ["healthy"], "gives": {"young": 0.7, "due": 0.3}}
    worn = {"modes": ["worn"], "gives": {"young": 0.2, "due": 0.8}}
    data = {
        "sources": {"bench": {"title": "B", "kind": "judgement"}},
        "zones": {
            "channel": {"title": "Channel {channel}", "per": "channel", "modes": channel, **SOURCE},
            "shared": {"title": "Shared", "modes": shared, **SOURCE},
        },
        "checks": {
            "plug-age": {**check, "per": "channel", "age_of": "plug", "given": {"channel": [healthy, worn]}},
            "look": {**check, "per": "channel", "given": {"channel": [healthy, worn]}},
        },
        "complaints": {"dark": {"title": "Dark", "says": ["dark"], "verify": ["look"], **SOURCE}},
        "engines": {
            "bench": {
                "title": "Bench",
                "channels": ["A", "B"],
                "selection": "alternate",
                "zones": ["channel", "shared"],
                "priors": priors,
                "weights": {"hangar": {"hand_over": 10.0, "escalate": 500.0, "missed": 500.0}},
                **SOURCE,
            }
        },
    }
    return fit(Knowledge.model_validate(data), "bench")

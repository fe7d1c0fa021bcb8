"""A JSON Schema of the knowledge, for editors."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from isolate.kb.agree import REFERENCES
from isolate.kb.model import FACTS, HEALTHY, KINDS, NAME, Knowledge

__all__ = ["schema"]

_ABOUT: dict[str, str] = {
    "sources": "Where statements come from.",
    "zones": "Parts of the aircraft, each healthy or in one fault mode.",
    "checks": "Questions put to the aircraft, its papers or its crew.",
    "access": "What is opened, pulled, disconnected or done, and put back by the end.",
    "repairs": "Moves that clear faults or hand them over.",
    "cautions": "Warnings shown before the step they belong to.",
    "complaints": "What is written up.",
    "signs": "What people heard or saw besides.",
    "engines": "Engine types in our world.",
    "rules": "If all of `when` stands, then.",
}


def schema(knowledge: Knowledge | None = None) -> dict[str, Any]:
    """A JSON Schema (2020-12) for every knowledge file, for editors that check and complete YAML.

    With ``knowledge`` the fields that name other entries list the names there are.
    """
    models = [(model, "validation") for model in KINDS.values()]
    pairs: list[tuple[type[BaseModel], Literal["validation", "serialization"]]] = models  # type: ignore[assignment]
    _, made = models_json_schema(pairs, ref_template="#/$defs/{model}")
    defs: dict[str, Any] = made["$defs"]
    for definition in defs.values():
        for shape in definition.get("properties", {}).values():
            _close(shape)
    defs["Pattern"]["properties"]["fact"] = {"enum": list(FACTS), "description": "The fact to match."}
    slots = sorted({slot for names in FACTS.values() for slot in names})
    defs["Pattern"]["properties"]["where"]["propertyNames"] = {"enum": slots}
    if knowledge is not None:
        _enumerate(defs, knowledge)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Knowledge",
        "description": "One file of knowledge: one top key, the kind, and under it name → entry.",
        "type": "object",
        "properties": {
            kind: {
                "type": "object",
                "description": _ABOUT[kind],
                "propertyNames": {"pattern": NAME},
                "additionalProperties": {"$ref": f"#/$defs/{model.__name__}"},
                "minProperties": 1,
            }
            for kind, model in KINDS.items()
        },
        "additionalProperties": False,
        "minProperties": 1,
        "maxProperties": 1,
        "$defs": defs,
    }


def _close(shape: dict[str, Any]) -> None:
    """Refuse keys that do not fit the pattern for names."""
    if "patternProperties" in shape:
        shape["additionalProperties"] = False


def _enumerate(defs: dict[str, Any], knowledge: Knowledge) -> None:
    names = {kind: sorted(getattr(knowledge, kind)) for kind in KINDS}
    names["modes"] = sorted(mode for zone in knowledge.zones.values() for mode in zone.modes)
    for model, references in REFERENCES.items():
        for attribute, target in references.items():
            shape = defs[model.__name__]["properties"][attribute]
            choice = {"enum": names[target]}
            if shape.get("type") == "array":
                shape["items"] = choice
            elif shape.get("type") == "object":
                shape["propertyNames"] = choice
            else:
                defs[model.__name__]["properties"][attribute] = {"description": shape.get("description", ""), **choice}
    defs["Row"]["properties"]["modes"]["items"] = {"enum": [HEALTHY, *names["modes"]]}
    defs["Check"]["properties"]["given"]["propertyNames"] = {"enum": [*names["zones"], "others"]}
    clears = defs["Repair"]["properties"]["clears"]
    clears.pop("patternProperties", None)
    clears["additionalProperties"] = {"type": "array", "items": {"enum": names["modes"]}}

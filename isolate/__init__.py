"""Rule-based fault isolation for turbine ignition.

The small public API: :func:`load` reads the knowledge, :func:`fit` makes it one engine profile's, :class:`Kit` holds
what chases on that profile share, :class:`Chase` works a case over a store, :func:`open_store` or :class:`Memory`
keeps its events, :func:`advise` ranks the next moves of a case file, :func:`play` runs a chase by script.
"""

from __future__ import annotations

from typing import Any

from isolate.case.version import VERSION as __version__

_WHERE = {
    "load": "isolate.kb.load",
    "fit": "isolate.kb.fit",
    "Kit": "isolate.case.chase",
    "Chase": "isolate.case.chase",
    "Intake": "isolate.case.case",
    "Memory": "isolate.case.memory",
    "open_store": "isolate.case.store",
    "read_case": "isolate.case.store",
    "advise": "isolate.case.advise",
    "play": "isolate.case.play",
}

__all__ = ["__version__", *sorted(_WHERE)]


def __getattr__(name: str) -> Any:
    # Imported when first asked for, so that `isolate --help` stays light.
    if name not in _WHERE:
        raise AttributeError(f"module 'isolate' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_WHERE[name]), name)

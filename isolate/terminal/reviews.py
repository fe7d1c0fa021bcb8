"""The review commands: each in a module of its own, loaded when it is called."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

WHERE = {
    "review": "reviewing",
    "review verify": "verifying",
    "review sign": "verifying",
    "review key": "verifying",
    "review learn": "learning",
    "review fleet": "fleet",
    "review tables": "fleet",
    "repeats": "repeats",
}
"""Command → the module beside this one that runs it, by its function ``run``."""


def run(arguments: argparse.Namespace) -> int:
    """Run a review command; return its exit status."""
    return int(import_module(f"isolate.terminal.{WHERE[arguments.command]}").run(arguments))

"""The store commands: where cases are kept, what came from elsewhere, where one case has two ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse


def run(arguments: argparse.Namespace) -> int:
    """Run a store command; return its exit status."""
    raise NotImplementedError(arguments.command)

"""What many tests share: the shipped knowledge, read once."""

from __future__ import annotations

import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load


@pytest.fixture(scope="session")
def hf3() -> Fitted:
    """The Halden HF-3 of the shipped knowledge."""
    return fit(load().knowledge, "halden-hf-3")


@pytest.fixture(scope="session")
def kit(hf3: Fitted) -> Kit:
    return Kit(hf3)

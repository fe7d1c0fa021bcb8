"""What many tests share: the shipped knowledge, read once."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator

# As the command line does it, and before numpy is there: the tests share the processors among themselves already, and
# tables of this size only lose by being split.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from tests.services.cluster import Cluster, cluster

# Nobody's own settings have a say here.
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="isolate-no-settings-")
for _name in ("CONFIG", "STATION", "KEY", "PEOPLE"):
    os.environ.pop(f"ISOLATE_{_name}", None)

# The same examples every time, so that a change is judged by what it changes. Examples not seen before are sought on
# purpose: ``HYPOTHESIS_PROFILE=search``, as often as there is time.
settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))


@pytest.fixture(scope="session")
def hf3() -> Fitted:
    """The Halden HF-3 of the shipped knowledge."""
    return fit(load().knowledge, "halden-hf-3")


@pytest.fixture(scope="session")
def kit(hf3: Fitted) -> Kit:
    return Kit(hf3)


@pytest.fixture(scope="session")
def served() -> Iterator[Cluster]:
    """A PostgreSQL server of our own; for tests marked ``service``."""
    with cluster() as made:
        yield made

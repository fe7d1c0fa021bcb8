"""What the knowledge says of parts that change places: taken where it fits together, refused with its line else."""

from __future__ import annotations

import pytest

from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import Swaps
from isolate.kb.page import page
from tests.kb.conftest import Base

CHECKS, REPAIRS, ZONES = "checks/all.yaml", "repairs/all.yaml", "zones/channel.yaml"
FLOW = "    kind: history\n    minutes: 3\n"


def with_swap(base: Base, swaps: str = "{part: igniter}") -> Base:
    """A base in which a check changes the plugs over, and a repair says that it replaces one."""
    base.swap(CHECKS, FLOW, f"{FLOW}    swaps: {swaps}\n")
    base.swap(REPAIRS, "    parts: 30\n", "    parts: 30\n    replaces: igniter\n")
    return base


def test_it_is_read_and_each_is_back_unless_it_says_not(base: Base) -> None:
    knowledge = load(with_swap(base).folder).knowledge
    assert knowledge.checks["fuel-flow-look"].swaps == Swaps(part="igniter", back=True)
    assert knowledge.repairs["replace-igniter"].replaces == "igniter"
    assert not knowledge.zones["channel"].modes["lead-loose"].anew
    assert fit(knowledge, "halden-hf-3").checks["fuel-flow-look"].entry.swaps is not None


def test_a_page_tells_it(base: Base) -> None:
    base.swap(ZONES, "        part: lead\n", "        part: lead\n        anew: true\n")
    loaded = load(with_swap(base, "{part: igniter, back: false}").folder)
    told = {
        name: {f.label: " ".join(f.lines) for f in page(loaded, name).fields}
        for name in ("fuel-flow-look", "replace-igniter", "lead-loose")
    }
    assert (
        told["fuel-flow-look"]["changes over"]
        == "the igniter of one channel and that of the other; they stay where they came to"
    )
    assert told["replace-igniter"]["a new"] == "igniter"
    assert "fitted anew" in told["lead-loose"]["of fitting"]


@pytest.mark.parametrize(
    ("file", "old", "new", "marker", "says"),
    [
        (CHECKS, "part: igniter", "part: ignitor", "ignitor", "has the part `ignitor` (did you mean igniter?)"),
        (CHECKS, "part: igniter", "part: fuel", "part: fuel", "no mode of a channel has the part `fuel`"),
        (CHECKS, "part: igniter", "part: lead", "part: lead", "no repair of one channel `replaces` the lead"),
        (CHECKS, "{part: igniter}", "{part: igniter, bak: true}", "bak: true", "bak"),
        (CHECKS, f"{FLOW}    swaps", f"    per: channel\n{FLOW}    swaps", "swaps:", "two channels at once"),
        (
            REPAIRS,
            "replaces: igniter",
            "replaces: lead",
            "replaces: lead",
            "no mode that it clears has the part `lead`",
        ),
        (REPAIRS, "kind: hand-over\n", "kind: hand-over\n    replaces: fuel\n", "replaces: fuel", "replaces nothing"),
        ("engines/halden-hf-3.yaml", "[A, B]", "[A, B, C]", "", "does not have just two channels"),
        ("engines/halden-hf-3.yaml", "[A, B]", "[A]", "", "does not have just two channels"),
    ],
)
def test_what_does_not_fit_together_is_refused_with_its_line(
    base: Base, file: str, old: str, new: str, marker: str, says: str
) -> None:
    with_swap(base).swap(file, old, new)
    found = [p for p in base.problems() if says in p.message]
    assert found, [p.message for p in base.problems()]
    if marker:
        assert found[0].line == base.line(file, marker)

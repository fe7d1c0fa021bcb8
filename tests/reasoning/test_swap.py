"""Parts that changed places: what the joint is afterwards, against sums over a small aircraft by direct enumeration."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.kb.fit import Fitted, fit
from isolate.kb.model import HEALTHY, Knowledge
from isolate.reasoning import swap
from isolate.reasoning.belief import Belief, Model, enumerate_states
from isolate.reasoning.swap import REMADE

PRIORS = {"plug-worn": 0.09, "plug-cracked": 0.04, "lead-open": 0.05, "nut-loose": 0.07, "seat-bad": 0.06}
PARTS = dict(zip(PRIORS, ("igniter", "igniter", "lead", "lead", "seat"), strict=True))
LIGHTS = {"plug-worn": 0.3, "plug-cracked": 0.1, "lead-open": 0.02, "nut-loose": 0.25, "seat-bad": 0.2}
NAMES = ("healthy", *PRIORS)
CHECKS = {"look": "visual", "ear": "functional"}


def tiny() -> Fitted:
    """Two channels, each with a plug, a lead and a seat, and a supply that they share."""
    source = {"source": ["bench"]}
    modes = {
        name: {
            "title": f"{name} {{channel}}", "part": PARTS[name], "prior": PRIORS[name], "lights": LIGHTS[name],
            "tells": "-", "anew": name == "nut-loose", **source,
        }
        for name in PRIORS
    }  # fmt: skip
    off = {"title": "Off", "part": "supply", "prior": 0.03, "lights": 0.05, "tells": "-", **source}
    rows = [
        {"modes": [name], "gives": {"good": 0.95 - 0.15 * i, "bad": 0.05 + 0.15 * i}} for i, name in enumerate(NAMES)
    ]

    shared = [
        {"modes": ["healthy"], "gives": {"good": 0.98, "bad": 0.02}},
        {"modes": ["off"], "gives": {"good": 0.1, "bad": 0.9}},
    ]

    def check(per: str | None, kind: str, given: dict[str, Any]) -> dict[str, Any]:
        outcomes = {o: {"title": o, "means": o} for o in ("good", "bad")}
        return {"title": "T", "purpose": "P", "per": per, "kind": kind, "minutes": 5.0, "outcomes": outcomes,
                "given": given, **source}  # fmt: skip

    repair = {"title": "R {channel}", "per": "channel", "minutes": 5.0, "clears": {"channel": ["plug-worn"]},
              "success": 0.9, "record": "R", "replaces": "igniter", **source}  # fmt: skip
    data = {
        "sources": {"bench": {"title": "B", "kind": "judgement"}},
        "zones": {
            "channel": {"title": "Channel {channel}", "per": "channel", "lights": 0.99, "modes": modes, **source},
            "shared": {"title": "Shared", "lights": 0.998, "modes": {"off": off}, **source},
        },
        "checks": {
            **{name: check("channel", kind, {"channel": rows}) for name, kind in CHECKS.items()},
            "meter": check(None, "measurement", {"shared": shared}),
        },
        "repairs": {"change": repair},
        "complaints": {"late": {"title": "Late", "says": ["late"], "verify": ["ear"], **source}},
        "engines": {
            "bench-engine": {
                "title": "Bench engine",
                "channels": ["A", "B"],
                "selection": "alternate",
                "zones": ["channel", "shared"],
                "weights": {p: {"hand_over": 10, "escalate": 500, "missed": 900} for p in ("gate", "hangar")},
                **source,
            }
        },
    }
    return fit(Knowledge.model_validate(data), "bench-engine")


@pytest.fixture(scope="module")
def model() -> Model:
    return Model(tiny())


def random_joint(model: Model, seed: int = 1) -> np.ndarray:
    """Some belief in which nothing is independent of anything."""
    joint = np.random.default_rng(seed).dirichlet(np.full(int(np.prod(model.shape)), 0.4))
    return joint.reshape(model.shape)


def apart(state: str, part: str) -> tuple[str, str]:
    """Take a channel apart: the state of the part, and that of all that stays."""
    goes = state != HEALTHY and PARTS[state] == part and state != "nut-loose"
    return (state, HEALTHY) if goes else (HEALTHY, state)


def together(of_part: str, of_place: str) -> str:
    """Put a channel together again: one state, the one that lights less."""
    if HEALTHY in (of_part, of_place):
        return of_part if of_place == HEALTHY else of_place
    return min((of_place, of_part), key=lambda s: LIGHTS[s])


def remade(state: str, part: str) -> list[tuple[str, float]]:
    if part == "lead" and state == "nut-loose":
        return [(HEALTHY, 0.9), (state, 0.1)]
    return [(state, 1.0)]


def swapped_by_hand(model: Model, joint: np.ndarray, part: str) -> np.ndarray:
    """Move the parts of the two channels state by state, as somebody with two plugs in hand would."""
    found = np.zeros_like(joint)
    names = {key: zone.states for key, zone in model.fitted.zones.items()}
    for states in enumerate_states(model):
        p = joint[tuple(names[k].index(s) for k, s in states.items())]
        for (a, pa), (b, pb) in product(remade(states["channel/A"], part), remade(states["channel/B"], part)):
            (part_a, place_a), (part_b, place_b) = apart(a, part), apart(b, part)
            after = {**states, "channel/A": together(part_b, place_a), "channel/B": together(part_a, place_b)}
            found[tuple(names[k].index(s) for k, s in after.items())] += p * pa * pb
    return found


@pytest.mark.parametrize("part", ["igniter", "lead", "seat"])
@pytest.mark.parametrize("seed", range(3))
def test_each_part_carries_its_state_to_the_other_channel(model: Model, part: str, seed: int) -> None:
    assert REMADE == 0.9
    joint = random_joint(model, seed)
    after = swap.between(model, joint, part, "A", "B")
    assert after == pytest.approx(swapped_by_hand(model, joint, part), abs=1e-15)
    assert after.sum() == pytest.approx(1.0, abs=1e-12)
    # Which channel is named first is all one.
    assert swap.between(model, joint, part, "B", "A") == pytest.approx(after, abs=1e-15)
    # Parts of another name, the places and the shared part know nothing of it.
    assert after.sum(axis=(0, 1)) == pytest.approx(joint.sum(axis=(0, 1)), abs=1e-12)


def test_a_worn_plug_is_worn_on_the_other_channel(model: Model) -> None:
    worn = NAMES.index("plug-worn")
    joint = np.zeros(model.shape)
    joint[worn, 0, 0] = 1.0
    after = swap.between(model, joint, "igniter", "A", "B")
    assert after[0, worn, 0] == 1.0
    # The leads changing places move no plug.
    assert swap.between(model, joint, "lead", "A", "B")[worn, 0, 0] == 1.0


def test_two_exchanges_are_none_but_for_faults_that_met(model: Model) -> None:
    joint = random_joint(model)
    lost = swap.merged(model, joint, "igniter", "A", "B")
    goes, stays = (
        [i for i, s in enumerate(NAMES) if s != HEALTHY and (PARTS[s] == "igniter") == one] for one in (True, False)
    )
    # Direct count: a plug's fault on one channel and another fault on the other.
    direct = sum(float(joint[a, b].sum()) + float(joint[b, a].sum()) for a in goes for b in stays)
    assert lost == pytest.approx(direct)
    assert lost > 0.05
    twice = swap.between(model, swap.between(model, joint, "igniter", "A", "B"), "igniter", "A", "B")
    meeting = {(a, b) for a, b in [*product(goes, stays), *product(stays, goes)]}
    for a, b in product(range(len(NAMES)), repeat=2):
        if (a, b) not in meeting and 0 not in (a, b):
            assert twice[a, b] == pytest.approx(joint[a, b], abs=1e-15), (NAMES[a], NAMES[b])
    assert 0.5 * np.abs(twice - joint).sum() <= lost + 1e-12
    # Without such states nothing is lost at all.
    for a, b in meeting:
        joint[a, b] = 0.0
    joint /= joint.sum()
    twice = swap.between(model, swap.between(model, joint, "igniter", "A", "B"), "igniter", "A", "B")
    assert twice == pytest.approx(joint, abs=1e-15)


def test_little_is_lost_on_a_shipped_engine_before_any_evidence(kit: Kit) -> None:
    joint = kit.model.prior()
    for part in ("igniter", "lead", "exciter"):
        # Measured: 0.0005 to 0.0007. Two faults at once are rare.
        assert 0 < swap.merged(kit.model, joint, part, "A", "B") < 0.001, part


def test_a_part_from_elsewhere_is_as_likely_bad_as_any_and_what_was_known_of_the_old_one_is_gone(model: Model) -> None:
    joint = random_joint(model, 4)
    after = swap.exchange(model, joint, "igniter", "A")
    good = 1 - PRIORS["plug-worn"] - PRIORS["plug-cracked"]
    direct = np.zeros_like(joint)
    for states in enumerate_states(model):
        index = tuple(z.states.index(states[k]) for k, z in model.fitted.zones.items())
        _, place = apart(states["channel/A"], "igniter")
        for came, p in ((HEALTHY, good), *((s, PRIORS[s]) for s in ("plug-worn", "plug-cracked"))):
            direct[NAMES.index(together(came, place)), index[1], index[2]] += joint[index] * p
    assert after == pytest.approx(direct, abs=1e-15)
    assert after.sum() == pytest.approx(1.0)
    # The other channel is as it was.
    assert after.sum(axis=0) == pytest.approx(joint.sum(axis=0), abs=1e-12)
    # A dead plug sent away leaves a healthy place and a plug of unknown state.
    dead = np.zeros(model.shape)
    dead[NAMES.index("plug-cracked"), 0, 0] = 1.0
    assert swap.exchange(model, dead, "igniter", "A")[:, 0, 0] == pytest.approx(
        [good, PRIORS["plug-worn"], PRIORS["plug-cracked"], 0, 0, 0]
    )


def test_a_loose_nut_stays_behind_and_mostly_ends(model: Model) -> None:
    joint = np.zeros(model.shape)
    loose = NAMES.index("nut-loose")
    joint[loose, 0, 0] = 1.0
    after = swap.between(model, joint, "lead", "A", "B")
    assert after[loose, 0, 0] == pytest.approx(0.1)
    assert after[0, 0, 0] == pytest.approx(0.9)
    assert after[:, loose].sum() == 0


def test_the_belief_keeps_its_evidence_and_lets_checks_be_asked_again(model: Model) -> None:
    belief = Belief.before(model)
    for check, outcome in (("look/A", "bad"), ("ear/A", "bad"), ("look/B", "good"), ("meter", "good")):
        belief = belief.answer(check, outcome)
    after = belief.swapped("igniter", "A", "B")
    assert after.joint == pytest.approx(swapped_by_hand(model, belief.joint, "igniter"), abs=1e-15)
    assert after.log_evidence == belief.log_evidence
    # What was seen of the channels speaks of the parts as they sat; the supply is as it was.
    assert [t.check for t in after.told] == ["meter"]
    assert set(after.occasion) == {"meter"}
    assert after.answer("look/A", "good").joint != pytest.approx(after.joint)
    assert belief.told != after.told, "the belief before is as it was"
    gone = belief.swapped("igniter", "A")
    assert gone.joint == pytest.approx(swap.exchange(model, belief.joint, "igniter", "A"), abs=1e-15)
    assert [t.check for t in gone.told] == ["look/B", "meter"]


def test_what_is_no_exchange_is_refused(model: Model, kit: Kit) -> None:
    joint = model.prior()
    with pytest.raises(ValueError, match="not within one"):
        swap.between(model, joint, "igniter", "A", "A")
    with pytest.raises(ValueError, match="no propeller of its own"):
        swap.between(model, joint, "propeller", "A", "B")
    with pytest.raises(ValueError, match="channel C"):
        swap.between(model, joint, "igniter", "A", "C")
    with pytest.raises(ValueError, match="no propeller of its own"):
        swap.exchange(model, joint, "propeller", "A")


def test_a_key_is_read_as_it_is_spelled() -> None:
    assert swap.spelled("lead", "B", "A") == "lead:A<>B"
    assert swap.read("lead:A<>B") == ("lead", "A", "B")
    assert swap.spelled("igniter", "2") == "igniter:2<>elsewhere"
    assert swap.read("igniter:2<>elsewhere") == ("igniter", "2", "")
    for wrong in ("lead", "lead:A", "lead:A<>", "lead:A><B", "lead:a<>b", "replace-lead/A", "lead:A<>B\n"):
        with pytest.raises(ValueError, match="changed places"):
            swap.read(wrong)


def test_what_is_known_of_a_truth_goes_with_the_part(model: Model) -> None:
    for a, b in product(NAMES, repeat=2):
        truth = {"channel/A": a, "channel/B": b, "shared": "off"}
        after = swap.carried(model.fitted, truth, "lead", "A", "B")
        one, other = (HEALTHY if s == "nut-loose" else s for s in (a, b))
        (part_a, place_a), (part_b, place_b) = apart(one, "lead"), apart(other, "lead")
        assert after == {
            "channel/A": together(part_b, place_a), "channel/B": together(part_a, place_b), "shared": "off",
        }, (a, b)  # fmt: skip

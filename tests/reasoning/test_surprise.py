"""When nothing known explains the answers: what trips it, what does not, and which answers are named.

What is compared with sources outside stands in tests/published/test_surprise.py. The cases are our own.
"""

from __future__ import annotations

import numpy as np
import pytest

from isolate.case.chase import Kit
from isolate.reasoning import surprise
from isolate.reasoning.belief import Belief
from isolate.reasoning.surprise import Gap, gap

CLASHING = [("lead-continuity/A", "open"), ("lead-wiggle/A", "steady"), ("spark-test/A", "snaps"),
            ("start-alone/A", "lights")]  # fmt: skip


def told(kit: Kit, *answers: tuple[str, str]) -> Belief:
    belief = Belief.before(kit.model)
    for check, outcome in answers:
        belief = belief.answer(check, outcome)
    return belief


def test_nothing_told_and_one_answer_are_no_gap(kit: Kit) -> None:
    assert gap(told(kit)) == Gap()
    assert gap(told(kit, ("spark-test/A", "other-channel"))) == Gap(), "one answer alone disagrees with nothing"
    assert not Gap().stands


@pytest.mark.parametrize("mode", ["exciter-fails-hot/A", "igniter-cracked/B", "supply-lost", "no-fuel", "pins-bad/A"])
def test_a_rare_fault_plainly_seen_is_no_gap(kit: Kit, mode: str) -> None:
    zone = kit.fitted.mode_zone[mode]
    state = kit.fitted.zones[zone].states.index(mode.partition("/")[0])
    at = tuple(np.array([state if key == zone else 0]) for key in kit.model.zones)
    belief = Belief.before(kit.model)
    looks = [key for key, check in kit.fitted.checks.items() if zone in check.given and len(check.given) < 3][:8]
    rare = 0.0
    for check in looks:
        shows = belief.following(check, at=at)[:, 0]
        belief = belief.answer(check, kit.fitted.checks[check].outcomes[int(shows.argmax())])
        rare = belief.log_evidence
    assert len(belief.told) >= 4
    found = gap(belief)
    assert found.level > 0.02 and found.clash == (), f"{rare}"


def test_answers_that_contradict_one_another_are_a_gap_and_the_odd_one_comes_first(kit: Kit) -> None:
    found = gap(told(kit, *CLASHING))
    assert found.stands and 0 < found.level < surprise.LEVEL
    assert found.excess > 3
    assert found.clash[0].check == "lead-continuity/A" and found.clash[0].outcome == "open"
    assert 2 <= len(found.clash) <= surprise.MOST_NAMED
    assert not gap(told(kit, *CLASHING[1:])).stands, "without the odd one the rest hang together"


def test_it_is_the_same_each_time(kit: Kit) -> None:
    belief = told(kit, *CLASHING)
    assert gap(belief) == gap(told(kit, *CLASHING))
    assert gap(belief).level > 0


def test_what_was_told_at_the_opening_is_not_what_is_to_be_explained(kit: Kit) -> None:
    belief = told(kit, *CLASHING)
    assert not gap(belief, belief.told[:1]).stands
    # The open lead taken as given, the others are still strange beside one another only a little.
    assert gap(belief, belief.told[1:]).level > gap(belief).level


def test_a_repair_ends_the_gap_of_what_it_changed(kit: Kit) -> None:
    belief = told(kit, *CLASHING).repair("replace-lead/A")
    assert not gap(belief).stands


def test_an_answer_repeated_on_one_occasion_is_one_thing(kit: Kit) -> None:
    belief = told(kit, *[("spark-test/A", "silent")] * 3, ("feeder-volts/A", "present"))
    asked = surprise.asked(belief, belief.told)
    assert [len(one.told) for one in asked.asked] == [3, 1]
    assert len(asked.asked[0].table) == len(kit.fitted.check("spark-test/A").outcomes) ** 3
    assert not gap(belief).stands

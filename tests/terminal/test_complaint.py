"""The crew's own words: taken for the complaint they mean, asked about where they may mean two, never for another.

The words are what technicians and crews write [practice]; none of them stands in the knowledge.
"""

from __future__ import annotations

import pytest

from isolate.kb.fit import Fitted
from isolate.terminal.complaint import features, likeness, meant, words

SAID = {
    "intermittent-no-ignite": (
        "did not light first start, lit on the second",
        "no light off on first attempt, second attempt ok",
        "intermittent no ignition on start",
        "lit only at the 2nd attempt",
        "first start no light up, next one fine",
        "ENG 2 NO LIGHT 1ST START. 2ND START NORMAL",
        "occasional failure to light",
        "every other start it won't light",
        "intermitent no lite off",
        "took two attempts to light up",
    ),
    "no-light-off": (
        "engine didn't light",
        "will not light at all",
        "no light-off, no temperature rise",
        "engine failed to start",
        "cranks fine, fuel flow, never lights",
        "no lightup on either start",
        "start aborted: no EGT rise",
    ),
    "one-channel-silent": (
        "left igniter inop",
        "igniter B not clicking",
        "no spark heard from igniter A",
        "only one igniter snapping",
        "channel B ignition dead",
        "no snapping from the right plug on the check",
    ),
    "slow-light": (
        "slow light up",
        "late light-off, rumble",
        "takes longer to light every day",
        "light off delayed",
        "hesitated before lighting",
    ),
    "plug-will-not-run-down": (
        "new plug will not screw in by hand",
        "igniter stops halfway in the insert",
        "plug binding in its thread",
        "can't thread the igniter in",
        "igniter cross threaded",
    ),
}
ALL = [(name, said) for name, sayings in SAID.items() for said in sayings]


@pytest.mark.parametrize(("name", "said"), ALL, ids=[said for _, said in ALL])
def test_words_are_never_taken_for_another_complaint(hf3: Fitted, name: str, said: str) -> None:
    assert name in meant(said, hf3)


def test_most_words_need_no_second_question(hf3: Fitted) -> None:
    asked = [said for name, said in ALL if meant(said, hf3) != (name,)]
    assert len(asked) <= len(ALL) / 8, asked


def test_none_of_these_words_stands_in_the_knowledge(hf3: Fitted) -> None:
    known = [words(say) for c in hf3.complaints.values() for say in c.says]
    assert not [said for _, said in ALL if words(said) in known]


def test_every_saying_and_title_of_the_knowledge_means_its_own_complaint(hf3: Fitted) -> None:
    for name, entry in hf3.complaints.items():
        for saying in (*entry.says, entry.title, name):
            assert meant(saying, hf3) == (name,), saying


@pytest.mark.parametrize("said", ["the coffee is cold", "reverser amber caution", "oil leak at the gearbox", "xyzzy"])
def test_words_about_something_else_are_taken_for_none(hf3: Fitted, said: str) -> None:
    assert len(meant(said, hf3)) != 1


@pytest.mark.parametrize(
    ("said", "has", "lacks"),
    [
        ("It did not light.", "not light", "light"),
        ("Not tried, lit", "light", "not light"),
        ("No rise but it lit late", "late", "not late"),
        ("won't light", "not light", "light"),
        ("failed to ignite", "not light", "light"),
    ],
)
def test_a_denial_reaches_the_next_word_and_no_further(said: str, has: str, lacks: str) -> None:
    assert has in features(said)
    assert lacks not in features(said)


def test_a_denial_changes_what_is_meant(hf3: Fitted) -> None:
    lit, dark = (likeness(f"{said} light", hf3) for said in ("did", "did not"))
    assert dark["no-light-off"] > 5 * lit["no-light-off"]


def test_the_shares_sum_to_one(hf3: Fitted) -> None:
    assert sum(likeness("no light", hf3).values()) == pytest.approx(1)

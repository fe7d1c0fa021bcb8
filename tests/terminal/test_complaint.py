"""The crew's own words: taken for the complaint they mean, asked about where they may mean two, never for another.

The words are what technicians and crews write [practice]; none of them stands in the knowledge.
"""

from __future__ import annotations

import pytest

from isolate.kb.fit import Fitted, fit
from isolate.kb.load import load
from isolate.terminal.complaint import features, likeness, meant, search, sign_meant, signs_near, words

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


# -- search: any word, in any order, misspelt ------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "kind", "name"),
    [
        ("wet tailpipe", "sign", "tailpipe-wet"),
        ("tailpipe wet", "sign", "tailpipe-wet"),
        ("tailpip wett", "sign", "tailpipe-wet"),
        ("bang", "sign", "bang"),
        ("loud bang it went", "sign", "bang"),
        ("torchd", "complaint", "torching"),
        ("hand by down run not will plug", "complaint", "plug-will-not-run-down"),
        ("chaffed", "sign", "lead-chafed"),
    ],
)
def test_any_word_in_any_order_finds_it(hf3: Fitted, said: str, kind: str, name: str) -> None:
    assert (kind, name) in {(hit.kind, hit.name) for hit in search(said, hf3)[:4]}


def test_complaints_and_signs_are_listed_side_by_side_best_first(hf3: Fitted) -> None:
    hits = search("wet tail pipe fuel", hf3)
    assert {hit.kind for hit in hits} == {"complaint", "sign"}
    scores = [hit.score for hit in hits]
    assert scores == sorted(scores, reverse=True) and scores[-1] >= scores[0] / 2
    assert {hit.kind for hit in search("wet tail pipe fuel", hf3, ("sign",))} == {"sign"}
    assert search("xyzzy", hf3) == () == search("", hf3)


def test_every_title_saying_and_name_of_a_sign_means_it(hf3: Fitted) -> None:
    for name, sign in hf3.signs.items():
        for saying in (*sign.says, sign.title, name):
            assert sign_meant(saying, hf3) == name, saying


@pytest.mark.parametrize(
    "said", ["no bang", "there was no bang", "no flame seen", "torched with a bang", "it rained", "wet"]
)
def test_a_sign_is_not_taken_where_it_is_denied_or_another_may_be_meant(hf3: Fitted, said: str) -> None:
    assert sign_meant(said, hf3) == ""
    assert 1 <= len(signs_near(said, hf3)) <= 3


def test_what_only_another_engine_has_is_not_found() -> None:
    kb = load().knowledge
    here = {n for n in kb.signs if n not in fit(kb, "orrin-t-9").signs}
    assert here, "some shipped sign is for one engine only"
    assert not here & {hit.name for hit in search(" ".join(kb.signs[n].title for n in here), fit(kb, "orrin-t-9"))}

"""Trials: cases sampled and played, counted, and the same whatever plays them.

Expected costs are worked out by hand beside the checks [practice: decision trees, no outside source]. The Wilson
interval is checked against a published example.
"""

from __future__ import annotations

import json
import shutil
import socket
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from isolate.cli import main
from isolate.drill import chart, tally, trial
from isolate.drill.policies import POLICIES, Book, CheapestFirst, MostInformation, MostProbableFirst, policy, told
from isolate.drill.trial import GAVE_UP, HANDED, MISSED, VERIFIED, WRONG, Asked, By, Draws, Played, Tree
from isolate.drill.watch import Watch
from isolate.kb.fit import Fitted
from isolate.kb.load import KnowledgeError, load, shipped
from isolate.kb.names import UnknownName
from isolate.reasoning.problem import (
    CheckMove,
    EndMove,
    Move,
    Position,
    Problem,
    RepairMove,
    Way,
)
from isolate.reasoning.search import Search

SHARED = "halden-hf-3", "one-channel-silent"


# -- a problem worked by hand ----------------------------------------------------------------------


def by_hand(p: tuple[float, float, float] = (0.5, 0.3, 0.2), remaining: float = 0.05) -> Problem:
    """Plug, lead, or nothing wrong. Behind the cowls (4 to open, 6 to shut) the look (10) tells them apart surely.

    The plug takes 20, the lead 40, both at the cowls; verifying takes 5 and needs nothing. Giving up costs 500; the
    desk costs 15 where nothing is wrong, else 1015. A fault left costs 1000.
    """
    return Problem(
        states=("plug", "lead", "no fault"),
        p=np.array(p),
        clear=np.array([False, False, True]),
        access=(Way("cowls", 4.0, 6.0),),
        checks=(
            CheckMove("look", 10.0, np.eye(3)[[2, 0, 1]], needs=1),
            CheckMove("glance", 1.0, np.array([[0.5, 0.5, 0.5], [0.5, 0.5, 0.5]])),
        ),
        repairs=(
            RepairMove("new-plug", 20.0, np.array([2, 1, 2]), 1.0, needs=1),
            RepairMove("new-lead", 40.0, np.array([0, 2, 2]), 1.0, needs=1),
        ),
        verify=CheckMove("verification", 5.0, np.array([[0.0, 0.0, 1.0], [1.0, 1.0, 0.0]])),
        ends=(EndMove("escalate", np.full(3, 500.0)), EndMove("desk", np.array([1015.0, 1015.0, 15.0]))),
        missed=1000.0,
        remaining=remaining,
    )


class Scripted:
    """Makes moves in turn, by how many were made; for what a policy worth its name would not do."""

    def __init__(self, *moves: Move) -> None:
        self.moves = moves

    def move(self, problem: Problem, position: Position) -> Move:
        return self.moves[len(position.asked) + sum(position.done.values()) + position.proofs]


def truths(tree: Tree, wanted: int) -> Iterator[tuple[int, Draws]]:
    """Yield cases whose truth is the wanted state."""
    for case in range(600):
        if tree.truth(Draws(1, "e", "c", case, tree.width)) == wanted:
            yield case, Draws(1, "e", "c", case, tree.width)


def costs(tree: Tree) -> dict[int, Played]:
    return {h: tree.play(*next(truths(tree, h))) for h in range(3)}


def test_the_cost_of_a_case_is_what_it_adds_up_to() -> None:
    """Opening 4, look 10, then plug 20, lead 40 or nothing, proof 5, closing 6."""
    tree = Tree(by_hand(), MostInformation())
    found = costs(tree)
    assert [found[h].minutes for h in range(3)] == [45.0, 65.0, 25.0]
    assert [found[h].end for h in range(3)] == [VERIFIED, VERIFIED, VERIFIED]
    assert [found[h].checks for h in range(3)] == [1, 1, 1]


def test_the_mean_over_many_cases_is_the_expectation() -> None:
    """0.5 * 45 + 0.3 * 65 + 0.2 * 25 = 47; 4000 cases, 4 standard errors (spread 14.0 by hand)."""
    tree = Tree(by_hand(), MostInformation())
    minutes = [tree.play(case, Draws(7, "e", "c", case, tree.width)).minutes for case in range(4000)]
    assert np.mean(minutes) == pytest.approx(47.0, abs=4 * 14.0 / 4000**0.5)
    # Each history was decided once: the start, three answers, two repairs, three proofs that end it.
    assert tree.decisions == 9


def test_a_telling_nothing_check_is_never_asked() -> None:
    for made in (MostInformation(), CheapestFirst()):
        assert made.move(by_hand(), by_hand().start()) == Move("check", "look")


def test_the_most_probable_is_repaired_unasked_and_verified() -> None:
    """The lead is bad: opening 4, plug 20, proof 5 fails, which leaves the lead: 40, proof 5, closing 6."""
    tree = Tree(by_hand(), MostProbableFirst())
    played = costs(tree)[1]
    assert (played.minutes, played.end, played.repairs, played.vain) == (80.0, VERIFIED, 2, 1)


def test_parts_in_vain_are_those_that_take_parts_and_change_nothing() -> None:
    tree = Tree(by_hand(), MostProbableFirst(), parts={"new-plug": 0.0, "new-lead": 3.0})
    assert costs(tree)[1].vain == 0


def test_hindsight_is_what_the_state_costs_when_it_is_told() -> None:
    """Plug: 4 + 20 + 5 + 6; lead: 4 + 40 + 5 + 6; nothing wrong: the verification at 5, dearer the desk at 15."""
    assert told(by_hand()) == {0: 35.0, 1: 55.0, 2: 5.0}


def test_hindsight_pays_for_repairs_that_fail() -> None:
    """Plug with success 0.5, done twice at most: 4 + 20, then in half of the cases 5 + 6 (verified and closed), else
    20 more and again in half 5 + 6, else shut (6) and given up (500): 24 + 5.5 + 0.5 * (20 + 5.5 + 0.5 * 506) = 168.75.
    The repair is verified only once it has worked, since hindsight is told.
    """
    problem = by_hand()
    weak = replace(problem.repairs[0], success=0.5, most=2)
    assert told(replace(problem, repairs=(weak, problem.repairs[1])), [0]) == {0: pytest.approx(168.75)}


def test_hindsight_is_no_less_than_what_the_search_calls_its_least() -> None:
    """Another way to the figure: isolate.reasoning.search bounds its plans by it from below."""
    problem = by_hand()
    other = Search(problem).hindsight(problem.open, problem.proven, (0,) * len(problem.repairs))
    assert all(told(problem)[h] >= other[h] - 1e-9 for h in range(3))


def test_the_book_goes_down_its_list_and_then_repairs_in_order() -> None:
    """Asked: the glance that tells nothing. Then the lead, as listed, though the plug is likelier."""
    problem = by_hand()
    book = Book(["glance"], ["new-lead", "new-plug"])
    at = problem.start()
    assert book.move(problem, at) == Move("check", "glance")
    at = problem.told(at, 1, 0)
    assert book.move(problem, at) == Move("repair", "new-lead")
    at = problem.repaired(at, 1)
    assert book.move(problem, at) == Move("verify", "verification")
    # Failed: what is left is the plug for sure.
    assert book.move(problem, problem.verified(at, 1)) == Move("repair", "new-plug")


def test_the_book_repairs_as_soon_as_one_route_is_sure() -> None:
    problem = by_hand((0.85, 0.1, 0.05))
    assert Book(["glance", "look"], ["new-lead"]).move(problem, problem.start()) == Move("repair", "new-plug")


# -- what is counted -------------------------------------------------------------------------------


def test_a_wrong_verdict_is_counted_when_it_is_forced() -> None:
    """Handed over with the plug bad: wrong. With nothing wrong: right. Escalated: given up, whatever is wrong."""
    desk = costs(Tree(by_hand(), Scripted(Move("end", "desk"))))
    assert [desk[h].end for h in range(3)] == [WRONG, WRONG, HANDED]
    assert [desk[h].minutes for h in range(3)] == [1015.0, 1015.0, 15.0]
    up = costs(Tree(by_hand(), Scripted(Move("end", "escalate"))))
    assert {up[h].end for h in range(3)} == {GAVE_UP}


def test_who_deals_with_what_comes_from_the_knowledge() -> None:
    """hand-over-fuel clears no-fuel and fuel-late (knowledge/repairs/hand-over.yaml), and nothing besides."""
    here = trial.stand(None, "halden-hf-3", "gate", "no-light-off")
    states = here.posed.problem.states
    right = {state for state, deals in zip(states, here.deals["hand-over-fuel"], strict=True) if deals}
    assert right == {"no-fuel", "fuel-late"}
    assert "no fault" in states and any(" + no-fuel" in state for state in states)


def test_a_fault_verified_away_is_counted() -> None:
    """A verification that passes half of what is bad: 5 and the 1000 of a fault left, where it does."""
    verify = CheckMove("verification", 5.0, np.array([[0.5, 0.5, 1.0], [0.5, 0.5, 0.0]]))
    problem = replace(by_hand((0.02, 0.02, 0.96)), verify=verify)
    tree = Tree(problem, Scripted(Move("verify", "verification"), Move("end", "escalate")))
    ends = {(one.end, one.minutes) for one in (tree.play(c, d) for c, d in truths(tree, 0))}
    assert ends == {(MISSED, 1005.0), (GAVE_UP, 505.0)}


def test_the_same_check_asked_first_answers_alike_under_every_policy() -> None:
    draws = Draws(3, "e", "c", 5, 4)
    later = Draws(3, "e", "c", 5, 4)
    assert draws.truth == later.truth
    assert draws.of(2, 0) == later.of(2, 0)
    # Asked in another order and once more in between.
    assert draws.of(1, 1) != draws.of(1, 0)
    assert later.of(1, 0) == draws.of(1, 0) and later.of(3, 2) == draws.of(3, 2)
    assert Draws(4, "e", "c", 5, 4).truth != draws.truth != Draws(3, "e", "c", 6, 4).truth


def test_wilson_is_as_published() -> None:
    """81 of 263 gives 0.2553 to 0.3662: Newcombe, Statistics in Medicine 17 (1998), table I [memory]."""
    assert tally.wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    low, high = tally.wilson(0, 50)
    assert low == 0 and 0 < high < 0.08


# -- the watch -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def watch(hf3: Fitted) -> Watch:
    return Watch(hf3)


def ready(watch: Watch, key: str) -> frozenset[str]:
    return frozenset(watch.fitted.needed(watch.what(key).needs))


def test_the_watch_is_content_with_what_is_ready(watch: Watch) -> None:
    for key in ("spark-test/A", "lead-insulation/A", "replace-igniter/B"):
        assert watch.made(ready(watch, key), key)[1] == ()


@pytest.mark.parametrize(
    ("key", "gone", "said"),
    [
        ("spark-test/A", "drained", "spark-test/A fires without drained"),
        ("spark-test/A", "heads-counted", "spark-test/A without heads-counted"),
        ("lead-insulation/A", "lead-off-exciter/A", "lead-insulation/A without lead-off-exciter/A"),
        ("replace-igniter/A", "breakers-pulled", "replace-igniter/A puts hands in without breakers-pulled"),
    ],
)
def test_the_watch_sees_what_is_not_open(watch: Watch, key: str, gone: str, said: str) -> None:
    assert said in watch.made(ready(watch, key) - {gone}, key)[1]


@pytest.mark.parametrize(
    ("key", "there", "said"),
    [
        ("spark-test/A", "lead-off/B", "spark-test/A fires or turns while lead-off/B is open"),
        ("start-alone/A", "reverser-open", "start-alone/A while reverser-open is open"),
        ("replace-igniter/A", "air-on", "replace-igniter/A puts hands in with air-on standing"),
    ],
)
def test_the_watch_sees_what_is_not_shut(watch: Watch, key: str, there: str, said: str) -> None:
    assert said in watch.made(ready(watch, key) | {there}, key)[1]


def test_the_watch_sees_crossings_in_a_wrong_order(watch: Watch) -> None:
    _, found = watch.crossed(frozenset(), [("lead-off/A", True)])
    assert "lead-off/A opened without input-off/A" in found
    stands = ready(watch, "lead-terminal-look/A")
    _, found = watch.crossed(stands, [("breakers-pulled", False)])
    assert "breakers-pulled shut while reverser-open still needs it" in found
    assert "lead-off/A is left open" in watch.closed(stands)


def test_a_deliberately_unsafe_move_is_counted_and_named(hf3: Fitted) -> None:
    """The shipped problem with one need struck out: the lead's terminal is looked at with the lead still on."""
    here = trial.stand(None, *SHARED[:1], "gate", SHARED[1])
    problem = here.posed.problem
    from dataclasses import replace

    index = next(i for i, c in enumerate(problem.checks) if c.name == "lead-terminal-look/A")
    torn = replace(
        problem, checks=tuple(replace(c, needs=0) if i == index else c for i, c in enumerate(problem.checks))
    )
    script = Scripted(Move("check", "lead-terminal-look/A"), Move("end", "escalate"))
    played = Tree(torn, script, here.parts, here.watch).play(0, Draws(1, "e", "c", 0, 500))
    assert "lead-terminal-look/A without lead-off/A" in played.unsafe
    whole = Tree(problem, script, here.parts, here.watch).play(0, Draws(1, "e", "c", 0, 500))
    assert whole.unsafe == ()


# -- the whole of it -------------------------------------------------------------------------------


def asked(n: int = 40, **changes: Any) -> Asked:
    given: dict[str, Any] = {"engine": SHARED[0], "complaint": SHARED[1], "policies": ("information", "hindsight")}
    return trial.ask(n, **{**given, **changes})


@pytest.fixture(scope="module")
def alone() -> dict[str, Any]:
    """The figures of a small trial, played in this process."""
    what = asked(120)
    return tally.report(what, trial.run(trial.blocks(what)))


def figures(found: dict[str, Any]) -> dict[str, Any]:
    """What must not depend on how the work was spread; how many decisions were made twice may."""
    return {**found, "policies": {k: {**v, "decisions": 0} for k, v in found["policies"].items()}}


def test_two_processes_find_what_one_finds(alone: dict[str, Any]) -> None:
    what = asked(120)
    with trial.players(2) as by:
        work = trial.blocks(what, by.workers)
        assert len(work) > len(what.policies), "one problem is split between the processes"
        assert figures(tally.report(what, trial.run(work, by))) == figures(alone)


def test_a_cluster_finds_what_one_process_finds(alone: dict[str, Any]) -> None:
    distributed = pytest.importorskip("distributed")
    what = asked(120)
    # In threads of this process, so that nobody waits for two more to come up; the messages are the same.
    with (
        distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=False,
            dashboard_address=None,
            protocol="tcp://",
            silence_logs=50,
        ) as cluster,
        trial.players(1, cluster.scheduler_address) as by,
    ):
        assert by.workers == 2
        work = trial.blocks(what, by.workers)
        assert figures(tally.report(what, trial.run(work, by))) == figures(alone)


def test_another_seed_is_another_trial(alone: dict[str, Any]) -> None:
    what = asked(40, seed=2)
    assert tally.report(what, trial.run(trial.blocks(what)))["policies"] != alone["policies"]


def test_no_policy_beats_hindsight_on_average(alone: dict[str, Any]) -> None:
    assert alone["policies"]["hindsight"]["mean"] < alone["policies"]["information"]["mean"]


@pytest.mark.parametrize("name", [n for n in POLICIES if n != "hindsight"])
def test_every_policy_comes_to_an_end_and_offers_nothing_unsafe(name: str) -> None:
    what = asked(3, policies=(name,), complaint="no-light-off")
    found = tally.report(what, trial.run(trial.blocks(what)))["policies"][name]
    assert sum(found["ends"].values()) == 3
    assert found["unsafe"] == 0 and found["unsafe_moves"] == {}


def test_complaints_come_in_turn() -> None:
    what = trial.ask(60, engine="orrin-t-9", policies=("probable",))
    sizes = [len(block.cases) for block in trial.blocks(what)]
    assert sum(sizes) == 60 and max(sizes) - min(sizes) <= 1
    few = trial.blocks(trial.ask(3, engine="orrin-t-9", policies=("probable",)))
    assert [len(block.cases) for block in few] == [1, 1, 1]


def test_a_block_is_refused_by_a_worker_with_other_knowledge() -> None:
    block = trial.blocks(asked(1))[0]
    with pytest.raises(trial.TrialError, match="other knowledge"):
        trial.play(block._replace(digest="0" * 64))


SHARE = {"type": "number", "minimum": 0, "maximum": 1}
PAIR = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
SCHEMA = {
    "type": "object",
    "required": ["cases", "place", "seed", "budget", "knowledge", "kept", "policies", "engines", "problems"],
    "additionalProperties": False,
    "properties": {
        "cases": {"type": "integer"},
        "place": {"enum": ["gate", "hangar"]},
        "seed": {"type": "integer"},
        "budget": {"type": "integer"},
        "knowledge": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
        "kept": {"type": "object", "properties": {"least": SHARE, "mean": SHARE}, "required": ["least", "mean"]},
        "engines": {"type": "object"},
        "problems": {
            "type": "array",
            "items": {"type": "object", "required": ["engine", "complaint", "kept", "policies"]},
        },
        "policies": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": [
                    *("title", "cases", "mean", "mean_interval", "spread", "percentiles", "wrong", "wrong_share"),
                    *("wrong_interval", "gave_up_share", "gave_up_interval", "vain", "vain_share", "vain_interval"),
                    *("unsafe", "unsafe_moves", "ends", "checks", "repairs", "decisions"),
                ],
                "properties": {
                    "mean": {"type": "number"},
                    "mean_interval": PAIR,
                    "wrong": {"type": "integer"},
                    "wrong_share": SHARE,
                    "wrong_interval": PAIR,
                    "gave_up_share": SHARE,
                    "vain_share": SHARE,
                    "unsafe": {"type": "integer"},
                    "to_ours": {"type": ["number", "null"]},
                },
            },
        },
    },
}


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(["kb", "trial", *arguments])
    said = capsys.readouterr()
    return status, said.out, said.err


SMALL = (
    *("-n", "4", "--engine", "halden-hf-3", "--complaint", "breaker-out", "--workers", "1"),
    *("--policy", "ours", "--policy", "probable", "--policy", "hindsight"),
)


def test_the_command_prints_writes_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to, picture = tmp_path / "t.json", tmp_path / "t.svg"
    status, out, err = run(capsys, *SMALL, "--json", str(to), "--picture", str(picture))
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "4 cases at the gate" in out and "Unsafe offers: none." in out
    found = json.loads(to.read_text())
    jsonschema.Draft202012Validator(SCHEMA).validate(found)
    assert list(found["policies"]) == ["ours", "probable", "hindsight"]
    assert found["policies"]["ours"]["to_ours"] == 1.0
    drawn = picture.read_text()
    assert drawn.startswith("<?xml") and "</svg>" in drawn
    again = tmp_path / "again.svg"
    chart.draw(found, again)
    assert again.read_text() == drawn
    chart.draw(found, tmp_path / "t.png")
    assert (tmp_path / "t.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    # What is there is not written over.
    status, _, err = run(capsys, *SMALL, "--json", str(to))
    assert status == 1 and "is there already; --overwrite replaces it" in err


@pytest.mark.parametrize("says", [b"", b"SSH-2.0-somebody\r\n"])
def test_another_service_at_the_address_is_no_scheduler(says: bytes) -> None:
    """One that says nothing before it hangs up, and one that greets in its own tongue."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            line, _ = server.accept()
            with line:
                line.sendall(says)

        thread = threading.Thread(target=answer)
        thread.start()
        with (
            pytest.raises(trial.TrialError, match="no Dask scheduler answers at 127"),
            trial.players(1, f"127.0.0.1:{server.getsockname()[1]}"),
        ):
            pass
        thread.join()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("-n", "0"), "a trial needs at least 1 case, not 0"),
        (("-n", "2", "--policy", "our"), "no policy is called 'our' (did you mean ours?)"),
        (("-n", "2", "--engine", "halden-hf3"), "no engine is called 'halden-hf3' (did you mean halden-hf-3?)"),
        (
            ("-n", "2", "--complaint", "no-light-of"),
            "no complaint is called 'no-light-of' (did you mean no-light-off?)",
        ),
        (("-n", "2", "--engine", "orrin-t-9", "--complaint", "control-message"), "orrin-t-9 does not have"),
        (("-n", "2", "--workers", "0"), "--workers takes at least 1 process, not 0"),
        (("-n", "2", "--seed", "-1"), "a seed is a whole number from 0 up, not -1"),
        (("-n", "2", "--budget", "0"), "a decision needs a budget of at least 1 expansion, not 0"),
        (("-n", "2", "--dask", "somewhere"), "is no address of a Dask scheduler"),
        (("-n", "2", "--dask", "tcp://127.0.0.1:1"), "no Dask scheduler answers at tcp://127.0.0.1:1"),
        (("-n", "2", "--dask", "tcp://127.0.0.1:1", "--workers", "2"), "with --dask the cluster has its own"),
        (("-n", "2", "--json", "/there/is/none.json"), "/there/is/none.json: there is no folder /there/is"),
        (("-n", "2", "--picture", "trial.pdf"), "trial.pdf: a picture is written as .svg or .png"),
    ],
)
def test_what_cannot_be_tried_is_told_in_a_sentence(
    arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (1, "")
    assert err.count("\n") == 1 and said in err


def test_an_unknown_policy_is_refused_by_name() -> None:
    with pytest.raises(UnknownName, match="did you mean cheapest"):
        policy("cheapst", ((), ()))


def test_a_profile_without_a_book_goes_without_that_policy(hf3: Fitted, monkeypatch: pytest.MonkeyPatch) -> None:
    known = hf3.knowledge
    profile = known.engines["halden-hf-3"].model_copy(update={"book": None})
    bare = known.model_copy(update={"engines": {**known.engines, "halden-hf-3": profile}})
    monkeypatch.setattr(trial, "knowledge", lambda folder: bare)
    assert "book" not in trial.ask(1, engine="halden-hf-3").policies
    with pytest.raises(trial.TrialError, match="halden-hf-3 has no book"):
        trial.ask(1, engine="halden-hf-3", policies=("book",))


def test_nothing_asked_is_played_here_and_now() -> None:
    assert trial.run([], By()) == []


# -- the book in the knowledge ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("box-breaker-look,", "box-breaker-lok,", "no check `box-breaker-lok` (did you mean"),
        ("box-breaker-look,", "breakers-look,", "does not have the check `breakers-look`"),
        ("reset-box-breaker, restore-supply,", "hand-over-fuel, restore-supply,", "`hand-over-fuel` hands over"),
        ("reset-box-breaker, restore-supply,", "restore-supply, restore-supply,", "`restore-supply` is named 2 times"),
    ],
)
def test_a_mistake_in_a_book_is_told_with_its_line(old: str, new: str, said: str, tmp_path: Path) -> None:
    folder = tmp_path / "knowledge"
    shutil.copytree(shipped(), folder)
    file = folder / "engines" / "orrin-t-9.yaml"
    text = file.read_text(encoding="utf-8")
    assert text.count(old) == 1
    file.write_text(text.replace(old, new), encoding="utf-8")
    line = 1 + text[: text.index(old)].count("\n")
    with pytest.raises(KnowledgeError) as told_of:
        load(folder)
    assert f"orrin-t-9.yaml:{line}: " in str(told_of.value) and said in str(told_of.value)


@pytest.mark.parametrize("engine", list(load().knowledge.engines))
def test_every_shipped_engine_has_a_book(engine: str) -> None:
    book = load().knowledge.engines[engine].book
    assert book is not None and len(book.checks) > 20 and len(book.repairs) > 10

"""``isolate review learn`` as it is called."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from rich.console import Console

from isolate.case.store import open_store
from isolate.cli import main
from isolate.kb.load import load
from isolate.review.learning import changes, learn
from isolate.review.yaml_change import sections
from isolate.terminal.learning import page
from tests.learnt import Cases, closed
from tests.review.test_learning import FOUND, intake, looks


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("learn") / "cases.db"
    cases = [
        *looks(14, 4),
        closed("n1", intake(), [("lead-route-look/B", "good")], FOUND, {"replace-lead/B": "not-confirmed"}),
        closed("n2", intake(), [("lead-route-look/B", "good")], FOUND, {}),
    ]
    with open_store(path) as kept:
        for events in cases:
            for event in events:
                kept.append_all(event.case, [(event.kind, event.body)], event.time)
    return path


def test_it_shows_each_change_with_its_cases(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "learn", "--store", str(store)]) == 0
    said = capsys.readouterr().out
    one_line = " ".join(said.split())
    assert "18 of 20 closed cases have a confirmed cause, opened 2030-01-02 to 2030-01-19." in one_line
    assert "In 0 of them the shop named the fault; in 18 it confirmed the part" in one_line
    assert "Of 3 rows and priors weighed 3 stand out; with nothing off, less than one would by chance." in one_line
    assert "With those priors" in one_line and "22 priors of the same zone scaled to what they leave" in one_line
    assert "1: the shop found nothing wrong with the part - n1" in one_line
    assert "1: the shop has said nothing of the part that came off - n2" in one_line
    assert "knowledge/checks/leads.yaml:25" in said and "0.12 0.33*" in one_line
    assert "c00, c01, c02" in said and "and 6 more" in one_line
    assert "- {modes: [lead-chafed], gives: {good: 0.12, unclipped: 0.18, chafed: 0.7}}" in one_line
    assert "This tool changes nothing" in one_line and "--since 2030-01-20" in one_line
    assert "stays with the approved data" in one_line
    assert "\x1b" not in said and max(map(len, said.splitlines())) <= 80


def test_it_writes_what_a_person_may_apply(store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, file = load().knowledge.digest, tmp_path / "learnt.patch"
    assert main(["review", "learn", "--store", str(store), "--patch", str(file)]) == 0
    assert f"patch -p1 < {file}" in capsys.readouterr().out
    text = file.read_text(encoding="utf-8")
    assert "+++ b/knowledge/checks/leads.yaml" in text and "# Cases: c00, c01" in text
    assert load().knowledge.digest == before
    assert main(["review", "learn", "--store", str(store), "--patch", str(file)]) == 1
    assert "is there already; --overwrite replaces it" in capsys.readouterr().err
    none = tmp_path / "none.patch"
    assert main(["review", "learn", "--store", str(store), "--least", "90", "--patch", str(none)]) == 0
    said = capsys.readouterr().out
    assert "No change to propose." in said and "was not written" in said and not none.exists()
    assert "too little to say, fewer than 90 cases" in " ".join(said.split())


def test_json_has_every_case_and_every_figure(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "learn", "--store", str(store), "--json", "--since", "2030-01-04"]) == 0
    had = json.loads(capsys.readouterr().out)
    assert had["first"] == "2030-01-04" and len(had["cases"]) == 16
    row = next(w for w in had["weighed"] if w["name"] == "lead-route-look" and w["said"] == "change")
    assert row["cases"] == had["cases"] and {f["key"] for f in row["figures"]} == {"good", "unclipped", "chafed"}
    assert {w["said"] for w in had["weighed"]} == {"change", "too little"}
    few = next(w for w in had["weighed"] if w["said"] == "too little")
    assert few["what"] == "prior" and few["cases"] and few["figures"][0]["expected"] < 5
    assert "+++ b/knowledge/checks/leads.yaml" in had["difference"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--since", "yesterday"], "--since takes a day such as 2030-01-31, not 'yesterday'"),
        (["--since", "2030-02-01", "--until", "2030-01-01"], "lies after --until"),
        (["--engine", "halden-hf-4"], "no engine is called 'halden-hf-4'"),
        (["--least", "0"], "--least takes a number of cases from 1 up"),
    ],
)
def test_what_cannot_be_asked_gets_a_sentence(
    store: Path, more: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", "learn", "--store", str(store), *more]) == 1
    assert said in capsys.readouterr().err


def test_an_empty_store_and_a_span_without_cases_say_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "new.db"
    assert main(["review", "learn", "--store", str(path)]) == 1
    assert "There is no store at" in capsys.readouterr().err and not path.exists(), "none is made by asking"
    open_store(path).close()
    assert main(["review", "learn", "--store", str(path)]) == 0
    assert "nothing to learn from" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("width", [40, 80, 140])
def test_it_fits_the_screen_and_colour_is_not_the_only_sign(width: int) -> None:
    learnt = learn(load(), Cases(looks(14, 4)))
    found = sections(load(), changes(learnt))
    colour, plain = io.StringIO(), io.StringIO()
    for stream, system in ((colour, "standard"), (plain, None)):
        Console(file=stream, width=width, force_terminal=True, color_system=system, highlight=False).print(  # type: ignore[arg-type]
            page(learnt, found, width)
        )
    assert "\x1b[3" in colour.getvalue()
    said = plain.getvalue()
    assert "\x1b" not in said and max(map(len, said.splitlines())) <= width
    own = [weighed for weighed in learnt.changes if not weighed.along]
    assert said.count("\n-   ") == said.count("\n+   ") == len(own) > 1
    # Those that are only scaled with another take a line each.
    assert len(found) > len(own) and said.count("(knowledge/zones/channel.yaml:") >= len(found) - len(own)
    assert "0.12" in said and "0.33" in said and "0.21 to 0.45" in " ".join(said.split())

"""Knowledge that an older program packed keeps its digest, and trails that were worked with it keep it."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from isolate.case.archive import read_back
from isolate.case.events import to_line
from isolate.case.store import open_store
from isolate.cli import main
from isolate.kb.load import load
from isolate.review.replay import replayed
from isolate.review.versions import Versions
from tests.review.read_back import NAMES
from tests.worked import TRAILS, kept, kept_folder, trail, versions

BRIEF = trail("declined")[:24]
CASE = BRIEF[0].case
NEWER = "reads"
"""A field that the program of the kept trails did not have."""


def test_knowledge_of_a_program_that_had_a_field_less_keeps_its_digest() -> None:
    """The digest to be met is the one that the older program wrote into each trail."""
    data = (TRAILS / "knowledge.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert not [n for n in archive.namelist() if f"    {NEWER}:".encode() in archive.read(n)]
    named = {str(trail(name)[0].body["knowledge"]) for name in NAMES}
    assert named == {kept().knowledge.digest} and load().knowledge.digest not in named
    assert read_back(data, named.pop()).knowledge == kept().knowledge


def test_a_trail_replays_with_the_knowledge_that_its_store_keeps(tmp_path: Path) -> None:
    digest = kept().knowledge.digest
    with open_store(str(tmp_path / "cases.db")) as store:
        store.take([BRIEF])
        away = replayed(Versions(None, store), BRIEF)
        assert not away.differs and away.not_replayed.startswith(
            "the knowledge it was worked with (digest 0649450fa8b3"
        )
        assert store.keep_knowledge(kept())
        known = Versions(None, store)
        found = replayed(known, store.events(CASE))
        assert (found.events, found.differs, found.not_replayed) == (len(BRIEF), (), "")
        # The shipped one is found as ever, and is another.
        kits = [known(name, "halden-hf-3") for name in (digest, load().knowledge.digest)]
        assert [kit is not None and kit.fitted.knowledge.digest for kit in kits] == [digest, load().knowledge.digest]
        assert digest != load().knowledge.digest


def test_a_folder_given_does_as_well_as_a_store() -> None:
    assert versions().knowledge(kept().knowledge.digest) == kept().knowledge
    assert versions().knowledge(load().knowledge.digest) == load().knowledge
    found = Versions()
    assert found.knowledge(kept().knowledge.digest) is None
    assert found.why(kept().knowledge.digest) == "it is not here"


def test_at_the_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Merged, told that its knowledge is not here, kept, and verified: the way a station goes after an update."""
    monkeypatch.setenv("ISOLATE_STORE", str(tmp_path / "cases.db"))
    monkeypatch.setenv("COLUMNS", "500")
    (tmp_path / "case.jsonl").write_bytes(b"".join(to_line(event) + b"\n" for event in BRIEF))

    def run(*words: object) -> str:
        assert main([str(word) for word in words]) == 0
        return " ".join(capsys.readouterr().out.split())

    assert "Not kept here is the knowledge 0649450fa8b3" in run("store", "merge", tmp_path / "case.jsonl")
    assert (
        "Not replayed" in (said := run("review", "verify", CASE)) and "--knowledge names a folder that has it" in said
    )
    assert "0649450fa8b3 is kept" in run("store", "knowledge", "--keep", kept_folder())
    assert "Replayed: 24 events worked out anew from its knowledge, all the same." in run("review", "verify", CASE)

"""The engine's starts since new: told with the case, by the menu, the command line or a file; repeats count by them."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from isolate.case.chase import Kit
from isolate.case.play import Clock
from isolate.case.store import open_store
from isolate.cli import main
from isolate.terminal import intake, live
from isolate.terminal.intake import Unclear
from isolate.terminal.keys import Lines
from tests.terminal.test_conditions import begun, screen, shown
from tests.test_cli import ANSWERS


def test_they_can_be_told_in_the_case(kit: Kit) -> None:
    import io

    look = screen()
    live.run(begun(kit, now="cold"), look, Lines(io.StringIO("t\nq\n"), look))
    words = "the engine's starts since new, by its log"
    key = shown(look).partition(words)[0].split()[-1]
    chase, console = begun(kit, now="cold"), screen()
    live.run(chase, console, Lines(io.StringIO(f"t\n{key}\nmany\n4210\nt\n{key}\n\nq\n"), console))
    assert chase.intake.engine_starts == 4210
    said = shown(console)
    assert "are a number, such as 4210, not 'many'" in said and "Told so far: 4,210 at the opening" in said


@pytest.mark.parametrize("typed", ["-1", "nan", "1e9", "some", ""])
def test_what_is_no_number_of_starts(typed: str) -> None:
    with pytest.raises(Unclear):
        intake.engine_starts(typed)


def test_a_file_tells_them_and_repeats_count_by_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "cases.db"

    def ran(*argv: str) -> tuple[int, str]:
        status = main([*argv, "--store", str(store)])
        return status, "".join(capsys.readouterr())

    for days, starts in ((0, 4210), (5, 4245)):
        monkeypatch.setattr("isolate.cli._now", lambda days=days: Clock()() + timedelta(days=days))
        answers = tmp_path / f"{days}.yaml"
        answers.write_text(ANSWERS.replace("  place:", f"  engine_starts: {starts}\n  place:"), encoding="utf-8")
        assert ran("chase", "--answers", str(answers))[0] == 1, "the answers run out, the case stands"
        with open_store(store) as opened:
            # Ended by hand, so that the next one comes back.
            case = max(opened.cases(), key=lambda c: c.opened).id
            opened.append(case, "closed", {"end": "x", "found": [], "remaining": 0.5, "record": ""},
                          opened.events(case)[-1].time)  # fmt: skip
    for limit, times in (("35", [35.0]), ("34", [])):
        found = json.loads(ran("repeats", "--json", "--starts", limit)[1])["repeats"]
        assert [v["starts"] for r in found for v in r["visits"][1:]] == times
    status, said = ran("chase", "--answers", str(answers), "--engine-starts", "3")
    assert status == 1 and "--engine-starts is for a new case" in said
    status, said = ran("chase", "--engine-starts", "few")
    assert status == 1 and "are a number, such as 4210, not 'few'" in said
    answers.write_text(ANSWERS.replace("  place:", "  engine_starts: -4\n  place:"), encoding="utf-8")
    status, said = ran("chase", "--answers", str(answers))
    assert status == 1 and f"{answers.name}:6:" in said

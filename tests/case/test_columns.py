"""Which column is which: told once, known again by the names of the columns, whatever befalls the file."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from isolate.case import columns
from isolate.case.columns import NotKept, forget, place, recalled, remember
from isolate.cli import main
from tests.calc.recorded import Run, recorded, written

HEADERS = ("Zeit", "Welle", "Gas")
TOLD = "time=Zeit, speed=Welle, temperature=Gas"


def test_told_once_and_known_again(tmp_path: Path) -> None:
    file = tmp_path / "there" / "columns.json"
    assert recalled(HEADERS, file) == ""
    assert remember(HEADERS, TOLD, file) == file
    assert recalled(("gas", " Zeit", "WELLE"), file) == TOLD
    assert recalled((*HEADERS, "more"), file) == ""
    remember(HEADERS, "time=Zeit, speed=Gas, temperature=Welle", file)
    assert "speed=Gas" in recalled(HEADERS, file) and len(json.loads(file.read_text())) == 1
    assert forget(HEADERS, file) and recalled(HEADERS, file) == "" and not forget(HEADERS, file)


def test_the_oldest_go_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(columns, "MOST", 3)
    file = tmp_path / "columns.json"
    for i in range(5):
        remember((f"a{i}",), f"time=a{i}", file)
    assert [recalled((f"a{i}",), file) for i in range(5)] == ["", "", "time=a2", "time=a3", "time=a4"]


@pytest.mark.parametrize("content", ["", "{", "[1, 2]", '{"a": 1}', '[{"headers": 1, "columns": "x"}]', "\xff\xfe"])
def test_a_file_that_is_none_is_written_anew(content: str, tmp_path: Path) -> None:
    file = tmp_path / "columns.json"
    file.write_text(content, encoding="latin-1")
    assert recalled(HEADERS, file) == ""
    remember(HEADERS, TOLD, file)
    assert recalled(HEADERS, file) == TOLD


def test_a_place_that_cannot_be_written_to_is_said(tmp_path: Path) -> None:
    (tmp_path / "in-the-way").write_text("")
    with pytest.raises(NotKept, match="could not be remembered"):
        remember(HEADERS, TOLD, tmp_path / "in-the-way" / "columns.json")
    (tmp_path / "columns.json").mkdir()
    with pytest.raises(NotKept, match="not a plain file"):
        remember(HEADERS, TOLD, tmp_path / "columns.json")
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".columns")] == []


def test_it_stands_beside_the_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ISOLATE_CONFIG", str(tmp_path / "mine.toml"))
    assert place() == tmp_path / "columns.json"
    monkeypatch.setenv("ISOLATE_CONFIG", "/dev/null")
    assert place() is None and remember(HEADERS, TOLD) is None


def test_many_at_once_leave_a_whole_file(tmp_path: Path) -> None:
    file = tmp_path / "columns.json"
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda i: remember((f"a{i}",), f"time=a{i}", file), range(40)))
    kept = json.loads(file.read_text())
    assert kept and all(one["columns"] == f"time={one['headers'][0]}" for one in kept)
    assert list(tmp_path.iterdir()) == [file]


def test_the_command_remembers_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    made = recorded(Run(ends_s=60), np.random.default_rng(1))
    log = str(written(made, tmp_path / "log.csv", "Zeit,Welle,Fluss,Gas,Z,K,Netz"))
    assert main(["calc", "start", log]) == 1
    assert "Tell it as columns" in capsys.readouterr().err
    assert main(["calc", "start", log, "--columns", "time=Zeit[s], speed=Welle[%], temperature=Gas[°C]"]) == 0
    assert "is remembered for logs with these headers" in capsys.readouterr().out
    assert main(["calc", "start", log]) == 0
    out = capsys.readouterr().out
    assert "speed=Welle[%]" in out and "it lit" in out and "remembered" not in out

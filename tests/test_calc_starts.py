"""``isolate calc starts``: what was read, the picture, what the log says, and that a bad log breaks nothing."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from isolate import cli
from isolate.cli import main
from isolate.kb.load import load

HEADER = "date;time;channel;lit;time to light (s);lane\n"


@pytest.fixture(scope="module", autouse=True)
def once() -> Iterator[None]:
    """The knowledge, read once for all of these."""
    loaded = load()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cli, "_load", lambda arguments: loaded)
        yield


def log(rows: list[str], folder: Path) -> str:
    file = folder / "log.csv"
    file.write_text(HEADER + "\n".join(rows), encoding="utf-8")
    return str(file)


def made(count: int, dark_from: int, lanes: bool = False) -> list[str]:
    """Starts in turn; from one on those of channel A stay dark, or those of lane 2."""
    rows = []
    for i in range(count):
        channel, lane = "AB"[i % 2], 1 + i // 2 % 2
        dark = i >= dark_from and (lane == 2 if lanes else channel == "A")
        rows.append(f"{1 + i % 28:02}.{10 + i // 28}.2026;08:00;{channel};{'no' if dark else 'yes'};;{lane}")
    return rows


def test_a_dead_channel_is_named_with_its_first_start(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calc", "starts", log(made(36, 24), tmp_path), "--engine", "halden-hf-3"]) == 0
    out = capsys.readouterr().out
    assert "36 starts read from 36 rows." in out
    assert "o.o.o.o.o.o.o.o.o.o.o.o.X.X.X.X.X.X." in out and "lane 1" in out
    assert "Every other start fails" in out and "Since the first failure channel A alone fails, 6 time(s)." in out
    said = next(line for line in out.splitlines() if line.startswith("Ignition channel A"))
    assert "at fault over 99" in said and "first there between start 24 (24.10.2026 08:00) and start 25" in said


def test_a_dead_lane_is_told_from_an_igniter(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calc", "starts", log(made(24, 8, lanes=True), tmp_path), "--engine", "halden-hf-3", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["said"]["lanes"]["2"] > 0.8 > 0.01 > found["said"]["lanes"]["1"]
    assert {z["zone"] for z in found["said"]["zones"] if z["after"] > 0.5} == {"shared"}
    assert [p["kind"] for p in found["said"]["patterns"] if "one" in p["kind"]] == ["one-lane-fails"]
    assert found["read"]["starts"] == 24 and found["read"]["unread"] == []


def test_a_channel_that_never_proved_itself_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [f"{1 + i:02}.10.2026;08:00;{'1' if i % 3 else 'both'};yes;;" for i in range(20)]
    assert main(["calc", "starts", log(rows, tmp_path), "--engine", "orrin-t-9"]) == 0
    out = capsys.readouterr().out
    assert "Channel 2 never lit one alone here (7 on both and 13 on another channel alone lit)" in out


def test_a_log_pasted_with_bad_rows(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    rows = ["01.11.2026;08:00;A;yes;4,1;", "02.11.2026;08:00;Q;yes;;", *["03.11.2026;09:00;B;what;;"] * 20]
    pasted = io.TextIOWrapper(io.BytesIO((HEADER + "\n".join(rows)).encode("latin-1")))
    monkeypatch.setattr(sys, "stdin", pasted)
    assert main(["calc", "starts", "-", "--engine", "halden-hf-5"]) == 0
    out = capsys.readouterr().out
    assert "1 start read from 22 rows." in out and "21 rows not read:" in out
    assert "row 3: no channel of this engine is called 'Q'" in out and "and 9 more" in out


@pytest.mark.parametrize(
    ("content", "engine", "said"),
    [
        (None, "halden-hf-3", "no such file"),
        ("", "halden-hf-3", "columns understood"),
        ("nothing\nhere", "halden-hf-3", "columns understood"),
        ("date,channel,lit\n2026-11-01,Q,yes", "halden-hf-3", "no start could be read"),
        ("date,channel,lit\n2026-11-01,A,yes", "halden-hf-9", "no engine is called"),
    ],
)
def test_what_cannot_be_read_is_a_sentence(
    content: str | None, engine: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "log.csv"
    if content is not None:
        file.write_text(content)
    assert main(["calc", "starts", str(file), "--engine", engine]) == 1
    captured = capsys.readouterr()
    assert said in captured.err and "Traceback" not in captured.err


def test_starts_are_for_a_new_case(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["chase", "--resume", "x", "--starts", "log.csv"]) == 1
    assert "--starts is for a new case" in capsys.readouterr().err
    assert main(["chase", "--starts", str(tmp_path / "none.csv"), "--store", str(tmp_path / "s.db")]) == 1
    assert "no such file" in capsys.readouterr().err

"""What a station sets: from a file, from the environment, and what is wrong with either. Our own form; TOML 1.0."""

from __future__ import annotations

from pathlib import Path

import pytest

from isolate.case.settings import BadSettings, Settings, opening, settings
from isolate.case.version import VERSION


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Return a folder that is the user's whole configuration."""
    for name in ("CONFIG", "STORE", "STATION", "KEY", "PEOPLE"):
        monkeypatch.delenv(f"ISOLATE_{name}", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "isolate").mkdir()
    return tmp_path


def test_nothing_is_set_where_there_is_no_file() -> None:
    assert settings() == Settings()
    assert opening() == {"program": VERSION}


def test_a_file_in_its_usual_place_is_read(bare: Path) -> None:
    (bare / "isolate" / "config.toml").write_text('store = "cases.db"\nstation = " north pier "\n', encoding="utf-8")
    assert settings() == Settings(store="cases.db", station="north pier")
    assert opening() == {"program": VERSION, "station": "north pier"}


def test_the_environment_comes_before_the_file(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (bare / "isolate" / "config.toml").write_text('store = "a.db"\nkey = "a.pem"\n', encoding="utf-8")
    monkeypatch.setenv("ISOLATE_STORE", "b.db")
    assert settings() == Settings(store="b.db", key="a.pem")


def test_a_relative_folder_of_settings_is_not_followed(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG base directory specification: "all paths must be absolute; a relative one is to be ignored" (memory)."""
    monkeypatch.setenv("HOME", str(bare / "nobody"))
    monkeypatch.chdir(bare)
    (bare / "isolate" / "config.toml").write_text('store = "a.db"\n', encoding="utf-8")
    monkeypatch.setenv("XDG_CONFIG_HOME", ".")
    assert settings() == Settings()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("store = ", "not TOML"),
        ("stor = 'a.db'", "did you mean store"),
        ("store = 5", "text in quotes"),
        (b"station = '\xff'", "not TOML"),
    ],
)
def test_what_is_wrong_is_said_with_the_file(bare: Path, text: str | bytes, says: str) -> None:
    path = bare / "isolate" / "config.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(BadSettings, match=says) as found:
        settings()
    assert str(found.value).startswith(f"{path}: ")


def test_a_file_that_is_named_has_to_be_there(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ISOLATE_CONFIG", str(bare / "none.toml"))
    with pytest.raises(BadSettings, match="there is no such file"):
        settings()

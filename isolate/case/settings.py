"""What a station sets once: where its cases are kept, its name, whose keys are known. Light: every command may ask.

A file ``config.toml`` in a folder ``isolate`` under XDG_CONFIG_HOME (else ``~/.config``), or the file that
ISOLATE_CONFIG names. A variable of the environment comes before the file::

    store = "postgresql://desk@cases.example/isolate"  # ISOLATE_STORE: a file, or the address of a database
    station = "north pier"                             # ISOLATE_STATION: told in the opening of every case
    key = "~/keys/mine.pem"                            # ISOLATE_KEY: what review sign signs with
    people = "~/keys/people"                           # ISOLATE_PEOPLE: folder of known people's public keys
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

from isolate.case.version import VERSION


class BadSettings(ValueError):
    """The settings cannot be used; the message says where and why."""


@dataclass(frozen=True)
class Settings:
    """What is set; empty where nothing is."""

    store: str = ""
    station: str = ""
    key: str = ""
    people: str = ""


def settings() -> Settings:
    """Return what is set. Raises BadSettings, file first."""
    path = place()
    known = [f.name for f in fields(Settings)]
    told: dict[str, str] = {}
    if path is not None:
        try:
            if path.exists() and not path.is_file() and not path.is_dir() and str(path) != os.devnull:
                raise BadSettings(f"{path}: not a plain file, so no settings are read from it")  # a pipe is waited for
            with open(path, "rb") as stream:
                read = tomllib.load(stream)
        except FileNotFoundError:
            if os.environ.get("ISOLATE_CONFIG"):
                raise BadSettings(f"{path}: there is no such file of settings") from None
            read = {}
        except OSError as error:
            raise BadSettings(f"{path}: the settings could not be read: {error.strerror or error}") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise BadSettings(f"{path}: the settings are not TOML: {error}") from None
        for name, value in read.items():
            if name not in known:
                from isolate.kb.names import near

                raise BadSettings(f"{path}: nothing is set by {name!r}{near(name, known)}; known: {', '.join(known)}")
            if not isinstance(value, str):
                raise BadSettings(f"{path}: {name} is a piece of text in quotes, not {value!r}")
            told[name] = value.strip()
    told |= {name: said for name in known if (said := os.environ.get(f"ISOLATE_{name.upper()}", "").strip())}
    return Settings(**told)


def opening() -> dict[str, str]:
    """Return what the opening of a case says besides the intake: by which program, at which station."""
    station = settings().station
    return {"program": VERSION, **({"station": station} if station else {})}


def place() -> Path | None:
    """Return the file of settings, there or not; None where there is no home to keep one in."""
    if given := os.environ.get("ISOLATE_CONFIG", ""):
        return Path(given)
    base = os.environ.get("XDG_CONFIG_HOME", "")
    try:
        # The XDG base directory specification says to ignore a relative one.
        return (Path(base) if os.path.isabs(base) else Path.home() / ".config") / "isolate" / "config.toml"
    except RuntimeError:
        return None

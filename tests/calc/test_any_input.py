"""Every calculation that there is, given nonsense: a sentence, or a clean result; never a traceback, never a nan.

Nought, negative, absurd, swapped units, empty, huge, several where one is asked for, no file, an empty file, noise.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from isolate.calc import TITLES, calculation, units
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit
from isolate.terminal.calcs import as_dict, outcome

ROOT = Path(__file__).parents[2]
MADE = sorted(name for name in TITLES if (ROOT / f"isolate/calc/{name}.py").is_file())
WIDTHS = (78, 40)
NONSENSE = (
    "0",
    "-1",
    "nan",
    "inf",
    "OL",
    "twelve",
    "1e999",
    "9" * 90,
    "x" * 5000,
    "\x1b[2J",
    "''",
    ";",
    "1;;2",
    "±",
    "½",
    "1,500",
)
SCALES = ("0", "-3", "1e-6", "0.001", "0.5", "1", "2 ± 5", "20", "300", "28-30", ">5", "4e4", "1e7")


def nonsense(one: Input) -> tuple[str, ...]:
    """Return what may be typed for an input that is wrong, or hard to get right."""
    if one.kind in units.KINDS:
        named = [unit.name for unit in units.KINDS[one.kind].units]
        # Each size in the first unit and in one of the others, in turn.
        mixed = (named[k % len(named)] for k in range(len(SCALES)))
        return (
            *(*NONSENSE, "5 parsecs"),
            *(f"{scale} {named[0]}" for scale in SCALES),
            *(f"{scale} {name}" for scale, name in zip(SCALES, mixed, strict=True)),
        )
    if one.kind == "choice":
        return (*NONSENSE, *one.choices)
    return (*NONSENSE, "yes", "no", "1", "7", "1000000", "0.5", "none.csv", "/")


def clean(one: Calculation, typed: Mapping[str, str | Sequence[str]], draws: bool = True) -> Found | None:
    """Return the result, every part of it looked at; None where it was refused in a sentence."""
    try:
        told = read(one, typed)
        found = one.work(told)
    except Unfit as error:
        said = str(error)
        assert said.isprintable() and 8 < len(said) < 700, said
        assert "nan" in str(typed) or not re.search(r"\bnan\b", said), said
        assert error.of in (*one.names, ""), error.of
        return None
    except OSError as error:
        assert any(i.kind == "file" for i in one.inputs), error
        return None
    tidy(one, typed, told, found)
    if draws and one.draw is not None:
        for width in WIDTHS:
            for ascii_only in (False, True):
                lines = one.draw(found, width, ascii_only)
                assert all(len(line) <= width for line in lines), "\n".join(lines)
                assert all(line.isprintable() for line in lines) and not re.search(r"\bnan\b", " ".join(lines))
                assert not ascii_only or "".join(lines).isascii(), "".join(lines)
    return found


def tidy(one: Calculation, typed: Mapping[str, str | Sequence[str]], told: Given, found: Found) -> None:
    """Assert that nothing in a result is no number, out of order, or without words."""
    assert found.lines and all(line.strip() for line in found.lines)
    said = " ".join(line for _, line in outcome(one, found))
    assert said.isprintable() and not re.search(r"\bnan\b|\binf\b|[=:(] ?None\b|\d[eE][+-]?\d\d", said), said
    for figure in found.figures:
        assert not any(math.isnan(v) for v in (figure.value, figure.low, figure.high)), figure
        assert figure.low <= figure.value <= figure.high, figure
        assert figure.name and figure.says
    for what, judged in found.judged.items():
        assert judged.verdict == CANNOT_TELL or judged.verdict in one.judges[what], judged
        assert judged.verdict != CANNOT_TELL or judged.why or found.warnings, judged
        assert judged.seconds is None or judged.seconds[0] <= judged.seconds[1]
    json.dumps(as_dict(one, typed, told, found), allow_nan=False)


@cache
def base(name: str) -> dict[str, str]:
    """Return what its own examples make of a calculation: what has to be told, then all of it that goes together."""
    one = calculation(name)
    found = {
        i.name: i.hint or (i.choices or ("yes",))[0]
        for i in one.inputs
        if (i.default is None or i.name in one.shows) and i.kind != "file"
    }
    for i in one.inputs:
        if i.default == "" and i.hint and i.kind != "file":
            tried = {**found, i.name: i.hint}
            try:
                one.work(read(one, tried))
            except (Unfit, OSError):
                continue
            found = tried
    return found


@pytest.mark.parametrize("name", MADE)
def test_its_own_examples_work(name: str) -> None:
    one = calculation(name)
    if not any(i.kind == "file" and i.default is None for i in one.inputs):
        found = clean(one, base(name))
        assert found is not None and found.lines


@pytest.mark.parametrize("name", MADE)
def test_one_wrong_thing_among_right_ones(name: str) -> None:
    one, right = calculation(name), base(name)
    drawn = 0
    for wrong in one.inputs:
        for typed in nonsense(wrong):
            found = clean(one, {**right, wrong.name: typed}, draws=drawn % 8 == 0)
            drawn += found is not None
    clean(one, {})
    for left_out in right:
        clean(one, {k: v for k, v in right.items() if k != left_out})


@pytest.mark.parametrize("name", MADE)
@given(data=st.data())
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_anything_at_all(name: str, data: st.DataObject) -> None:
    one, typed = calculation(name), dict(base(name))
    for i in data.draw(st.lists(st.sampled_from(one.inputs), max_size=5)):
        if i.kind in units.KINDS:
            scale, unit = data.draw(st.sampled_from(SCALES)), data.draw(st.sampled_from(units.KINDS[i.kind].units))
            typed[i.name] = f"{scale} {unit.name}"
        else:
            typed[i.name] = data.draw(st.sampled_from(nonsense(i)))
    clean(one, typed)


FILES = {
    "empty.csv": b"",
    "zeros.csv": b"\0" * 4096,
    "noise.wav": bytes((i * 7919 + i * i) % 256 for i in range(4096)),
    "header.wav": b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0",
    "one.csv": b"time;speed\n",
    "prose.txt": "Nothing to see here, só what\n".encode("latin-1") * 40,
    "quotes.csv": b'"a,b\n' * 100,
}


@pytest.mark.parametrize("name", [n for n in MADE if any(i.kind == "file" for i in calculation(n).inputs)])
def test_files_that_are_none(name: str, tmp_path: Path) -> None:
    one = calculation(name)
    for file, content in FILES.items():
        (tmp_path / file).write_bytes(content)
    for i in one.inputs:
        if i.kind == "file":
            for path in (*(str(tmp_path / f) for f in FILES), str(tmp_path), str(tmp_path / "none"), "", "x\0y"):
                clean(one, {**base(name), i.name: path})


@pytest.mark.parametrize(
    "wrong",
    [
        Found(()),
        Found((" ",)),
        Found(("It is nan V.",)),
        Found(("It is 1e+09 V.",)),
        Found(("Fine.",), (Figure("x", "x", math.nan, 0, 1, "V"),)),
        Found(("Fine.",), (Figure("x", "x", 2, 0, 1, "V"),)),
        Found(("Fine.",), judged={"": Judged("splendid", "")}),
        Found(("Fine.",), judged={"": Judged(CANNOT_TELL, "")}),
        Found(("Fine.",), judged={"": Judged("within", "", (2.0, 1.0))}),
    ],
)
def test_a_result_that_is_not_clean_is_seen(wrong: Found) -> None:
    one = Calculation("made", "made", (), lambda given: wrong, "nobody.", {"": {"within": "Within"}})
    with pytest.raises((AssertionError, KeyError)):
        clean(one, {})
    right = Found(("Fine.",), (Figure("x", "x", 1, 0, math.inf, "V"),), {"": Judged("within", "", (1.0, 2.0))})
    assert clean(Calculation("made", "made", (), lambda given: right, "nobody.", one.judges), {}) is right


def test_a_picture_that_is_too_wide_or_not_ascii_is_seen() -> None:
    for drawn in ("x" * 79, "Ω"):
        one = Calculation(
            "made", "made", (), lambda given: Found(("Fine.",)), "nobody.", draw=lambda f, w, a, drawn=drawn: [drawn]
        )
        with pytest.raises(AssertionError):
            clean(one, {})


@pytest.mark.parametrize("name", [n for n in MADE if any(i.kind == "file" for i in calculation(n).inputs)])
def test_a_file_that_never_ends_is_not_read(name: str, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    one = calculation(name)
    for i in one.inputs:
        if i.kind == "file":
            for path in (str(pipe), "/dev/zero"):
                with pytest.raises(Unfit):
                    one.work(read(one, {**base(name), i.name: path}))

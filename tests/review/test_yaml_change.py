"""The difference to the YAML: only the figures change, and the tools that people have take it."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path
from shutil import which

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from isolate.case.intake import Refused
from isolate.kb.load import Loaded
from isolate.kb.model import Knowledge
from isolate.kb.read import Written
from isolate.review.yaml_change import FINEST, Change, decimals, patch, rounded, sections, written

FILE = """\
# A remark at the head stays.
checks:
  ear:
    given:   &rows
      channel:
        - {modes: [a],   gives: {loud: 0.7, soft: 0.2, none: 0.10}}   # as somebody said
        - {modes: [b], gives:
            {loud: 0.25,
             none: 0.75}}
        - modes: [c]
          gives:
            loud: 0.5     # half
            none: .5      # and half
  eye:
    given: *rows
    prior: 0.0040"""


def loaded(folder: Path, text: str = FILE, newline: str = "\n") -> Loaded:
    """Return entries that are read no further than to their places."""
    path = folder / "knowledge" / "checks" / "two.yaml"
    path.parent.mkdir(parents=True)
    path.write_bytes(text.replace("\n", newline).encode("utf-8"))
    node = yaml.compose(text.replace("\n", newline), Loader=yaml.CSafeLoader)
    entries = {
        ("checks", key.value): Written("knowledge/checks/two.yaml", key.start_mark.line + 1, value)
        for key, value in node.value[0][1].value
    }
    return Loaded(Knowledge.model_construct(), folder / "knowledge", entries)


def row(name: str, number: int, *why: str, **figures: str) -> Change:
    return Change("checks", name, ("given", "channel", number, "gives"), figures, why)


def by_hand(folder: Path, text: str) -> None:
    """Apply a difference: another way than the program that makes it, and than those on the machine."""
    path = folder / "knowledge" / "checks" / "two.yaml"
    lines = path.read_bytes().decode("utf-8").split("\n")
    for part in text.split("\n@@ ")[1:]:
        head, *body = part.split("\n")
        old, at = [], int(head.split(" ")[0].removeprefix("-").partition(",")[0]) - 1
        new: list[str] = []
        for line in body:
            if line.startswith(("---", "# ")) or not line:
                break
            if line[0] in " -":
                old.append(line[1:])
            if line[0] in " +":
                new.append(line[1:])
        assert lines[at : at + len(old)] == old
        lines[at : at + len(old)] = new
    path.write_bytes("\n".join(lines).encode("utf-8"))


def by(program: str) -> Callable[[Path, str], None]:
    def apply(folder: Path, text: str) -> None:
        if which(program) is None:
            pytest.skip(f"no {program} on this machine")
        (folder / "p").write_bytes(text.encode("utf-8"))
        command = ["patch", "-p1", "-i", "p"] if program == "patch" else ["git", "apply", "p"]
        subprocess.run(command, cwd=folder, check=True, capture_output=True)

    return apply


CHANGES = [
    row("ear", 1, "b", loud="0.4", none="0.6"),
    row("ear", 0, "why it is so", "--- not a head", "@@ -1 +1 @@", loud="0.65", soft="0.25"),
    row("ear", 2, loud="0.25", none="0.7", soft="0.05"),
    Change("checks", "eye", ("prior",), {"": "0.012"}),
]


@pytest.mark.parametrize("apply", [by_hand, by("patch"), by("git")], ids=["by hand", "patch", "git"])
def test_only_the_figures_change(tmp_path: Path, apply: Callable[[Path, str], None]) -> None:
    base = loaded(tmp_path)
    found = sections(base, CHANGES)
    assert [s.line for s in found] == [6, 8, 12, 16]
    apply(tmp_path, patch(found, ["For whoever reads it"]))
    now = (tmp_path / "knowledge" / "checks" / "two.yaml").read_text(encoding="utf-8")
    assert now == (
        FILE.replace("loud: 0.7, soft: 0.2, none", "loud: 0.65, soft: 0.25, none")
        .replace("loud: 0.25", "loud: 0.4")
        .replace("none: 0.75", "none: 0.6")
        .replace("loud: 0.5     # half", "loud: 0.25     # half")
        .replace("none: .5      # and half\n", "none: 0.7      # and half\n            soft: 0.05\n")
        .replace("prior: 0.0040", "prior: 0.012")
    )


def test_files_of_another_system_keep_their_line_ends(tmp_path: Path) -> None:
    base = loaded(tmp_path, newline="\r\n")
    text = patch(sections(base, CHANGES[:2]))
    by_hand(tmp_path, text)
    now = (tmp_path / "knowledge" / "checks" / "two.yaml").read_bytes()
    assert now.count(b"\r\n") == now.count(b"\n") == FILE.count("\n") and b"loud: 0.65" in now


def test_reasons_cannot_pass_for_lines_of_the_difference(tmp_path: Path) -> None:
    change = row("ear", 0, "first\n--- a/else", "\x1b[31mred", loud="0.6", soft="0.3")
    text = patch(sections(loaded(tmp_path), [change]))
    head = text.split("--- a/knowledge")[0]
    assert all(line.startswith("# ") for line in head.splitlines()) and "\x1b" not in text


def test_a_file_that_was_changed_since_is_left_alone(tmp_path: Path) -> None:
    base = loaded(tmp_path)
    (tmp_path / "knowledge" / "checks" / "two.yaml").write_text(FILE.replace("# A remark", "# Another, longer remark"))
    with pytest.raises(Refused, match=r"two.yaml:6: the file is not the one that was read"):
        sections(base, [CHANGES[1]])


def test_what_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        sections(loaded(tmp_path), [Change("checks", "ear", ("prior",), {"": "0.1"})])


# -- figures ---------------------------------------------------------------------------------------


@given(st.lists(st.floats(1e-6, 1), min_size=2, max_size=8), st.integers(2, FINEST))
def test_rounded_figures_come_to_one_and_stay_near(figures: list[float], digits: int) -> None:
    keys = [f"k{i}" for i in range(len(figures))]
    had = dict(zip(keys, figures, strict=True))
    found = rounded(had, digits, keys)
    fine = max(decimals(f) for f in found.values())
    assert sum(round(f * 10**FINEST) for f in found.values()) == 10**FINEST
    total = sum(figures)
    # Each is at most one unit off, save that what would come to nought is kept at one unit by the largest.
    for key in keys:
        assert found[key] > 0
        assert abs(found[key] - had[key] / total) <= (len(keys) + 1) * 10.0 ** -max(digits, fine)


def test_figures_are_written_as_an_author_would() -> None:
    assert [written(f, 4) for f in (0.7, 0.25, 1.0, 0.0085, 0.12345)] == ["0.7", "0.25", "1.0", "0.0085", "0.1235"]
    assert [decimals(f) for f in (0.7, 0.25, 1.0, 0.0085)] == [1, 2, 0, 4]
    # By hand: thirds to two decimals come to one with one unit more for the first.
    assert rounded({"a": 1, "b": 1, "c": 1}, 2) == {"a": 0.34, "b": 0.33, "c": 0.33}
    assert rounded({"a": 0.999, "b": 0.001}, 2, ["a", "b"]) == {"a": 0.999, "b": 0.001}
    assert rounded({"a": 1.0, "b": 1e-9}, 2, ["b"]) == {"a": 0.9999, "b": 0.0001}

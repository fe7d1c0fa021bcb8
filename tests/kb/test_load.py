"""Reading knowledge: each mistake is told with its file, its line and plain words, all of them at once."""

from __future__ import annotations

import hashlib
import os
from dataclasses import FrozenInstanceError
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import pytest
import yaml

from isolate.kb import load as module
from isolate.kb import read as reader
from isolate.kb.load import KnowledgeError, Problem, load, shipped, shipped_scenarios
from isolate.kb.model import KINDS
from isolate.kb.schema import schema

if TYPE_CHECKING:
    from conftest import Base

CHECKS, ZONES, ACCESS = "checks/all.yaml", "zones/channel.yaml", "access/all.yaml"
REPAIRS, RULES, ENGINE = "repairs/all.yaml", "rules/all.yaml", "engines/halden-hf-3.yaml"
CAUTIONS, COMPLAINTS, SOURCES = "cautions/all.yaml", "complaints/all.yaml", "sources/all.yaml"


# -- a sound base --------------------------------------------------------------------------------


def test_a_sound_base_is_read_whole(base: Base) -> None:
    knowledge = load(base.folder).knowledge
    assert {kind: len(getattr(knowledge, kind)) for kind in KINDS} == {
        "sources": 2,
        "zones": 2,
        "checks": 3,
        "access": 3,
        "repairs": 3,
        "cautions": 2,
        "complaints": 1,
        "signs": 0,
        "engines": 1,
        "rules": 3,
    }
    assert knowledge.checks["spark-test"].given["channel"][1].gives == {"snaps": 0.2, "weak": 0.7, "silent": 0.1}
    assert list(knowledge.checks["spark-test"].outcomes) == ["snaps", "weak", "silent"]
    assert knowledge.engines["halden-hf-3"].features == {"inserts": True, "cooled-leads": False}
    # 1e-2 is text in YAML 1.1 and a number in YAML 1.2; authors mean the number.
    assert knowledge.zones["channel"].modes["lead-loose"].prior == 0.01


def test_what_is_loaded_cannot_be_changed(base: Base) -> None:
    loaded = load(base.folder)
    with pytest.raises(FrozenInstanceError):
        loaded.knowledge = None  # type: ignore[misc, assignment]


def test_where_gives_the_line_of_an_entry_and_of_what_is_in_it(base: Base) -> None:
    loaded = load(base.folder)
    assert loaded.where("checks", "nut-feel") == ("knowledge/checks/all.yaml", base.line(CHECKS, "  nut-feel:"))
    spot = loaded.where("checks", "spark-test", "given", "channel", 1, "gives", "weak")
    assert spot.line == base.line(CHECKS, "weak: 0.7")
    assert str(spot) == f"knowledge/checks/all.yaml:{spot.line}"
    # A default stands in no file: the entry's own line is the nearest.
    assert loaded.where("checks", "nut-feel", "people") == loaded.where("checks", "nut-feel")
    with pytest.raises(KeyError):
        loaded.where("checks", "no-such-check")


def test_a_problem_and_an_error_read_well() -> None:
    one, two = Problem("knowledge/zones/a.yaml", 9, "is wrong"), Problem("knowledge/zones/a.yaml", 10, "is worse")
    error = KnowledgeError([two, one, two])
    assert error.problems == (one, two)
    assert str(one) == "knowledge/zones/a.yaml:9: is wrong"
    assert str(error) == (
        "knowledge/zones/a.yaml has 2 mistakes:\n"
        "  knowledge/zones/a.yaml:9: is wrong\n"
        "  knowledge/zones/a.yaml:10: is worse"
    )
    other = Problem("knowledge/access/a.yaml", 1, "is empty")
    assert str(KnowledgeError([one, other])) == (
        "the knowledge has 2 mistakes:\n  knowledge/access/a.yaml:1: is empty\n  knowledge/zones/a.yaml:9: is wrong"
    )
    assert str(Problem("knowledge", 0, "there is no such folder")) == "knowledge: there is no such folder"


# -- the digest ----------------------------------------------------------------------------------


def test_the_digest_does_not_depend_on_how_entries_are_spread_over_files(base: Base) -> None:
    before = load(base.folder).knowledge
    checks = yaml.safe_load(base.read(CHECKS))["checks"]
    (base.folder / CHECKS).unlink()
    for number, (name, entry) in enumerate(reversed(checks.items())):
        base.write(f"checks/{number}.yaml", yaml.safe_dump({"checks": {name: entry}}, sort_keys=False))
    after = load(base.folder).knowledge
    assert after.digest == before.digest
    assert after == before
    assert list(after.checks) == list(before.checks)


def test_the_digest_is_sha_256_of_canonical_json() -> None:
    # RFC 8785: keys sorted, no blanks. The text below is written by hand from section 3.2; FIPS 180-4 names the hash.
    text = (
        '{"access":{},"cautions":{},"checks":{},"complaints":{},"engines":{},"repairs":{},"rules":{},'
        '"signs":{},"sources":{"a":{"chapter":"","edition":"","kind":"memory","note":"","title":"A"}},"zones":{}}'
    )
    knowledge = module.Knowledge.model_validate({"sources": {"a": {"title": "A", "kind": "memory"}}})
    assert module._digest(knowledge) == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize(
    ("file", "old", "new", "same"),
    [
        (CHECKS, "minutes: 6", "minutes: 6.0  # a comment", True),
        (CHECKS, "minutes: 6", "minutes: 7", False),
        (RULES, "Stored energy on {c}.", "Stored energy at {c}.", False),
        # The order of outcomes says which is the worst news, so it counts.
        (
            CHECKS,
            "      tight: {title: Tight., means: The nut holds.}\n"
            "      loose: {title: It turns., means: The nut is loose.}\n",
            "      loose: {title: It turns., means: The nut is loose.}\n"
            "      tight: {title: Tight., means: The nut holds.}\n",
            False,
        ),
    ],
)
def test_the_digest_follows_what_is_said(base: Base, file: str, old: str, new: str, same: bool) -> None:
    before = load(base.folder).knowledge.digest
    base.swap(file, old, new)
    assert (load(base.folder).knowledge.digest == before) is same


# -- files that cannot be read -------------------------------------------------------------------


def only(base: Base) -> tuple[str, int, str]:
    problems = base.problems()
    assert len(problems) == 1, "\n".join(map(str, problems))
    return problems[0].file, problems[0].line, problems[0].message


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError) as caught:
        load(tmp_path / "nowhere")
    assert str(caught.value.problems[0]) == "nowhere: there is no such folder"


def test_a_file_instead_of_a_folder(tmp_path: Path) -> None:
    (tmp_path / "knowledge").write_text("zones:")
    with pytest.raises(KnowledgeError, match="knowledge: is not a folder"):
        load(tmp_path / "knowledge")


def test_an_empty_folder(tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError, match="no knowledge here: expected folders such as zones, checks and sources"):
        load(tmp_path)


def test_an_unknown_folder(base: Base) -> None:
    (base.folder / "cheks").mkdir()
    assert only(base) == ("knowledge/cheks", 0, "unknown folder (did you mean checks?)")


def test_files_where_none_are_read(base: Base) -> None:
    base.write("stray.yaml", "zones: {}")
    base.write("checks/more.yml", "checks: {}")
    base.write("checks/deep/er.yaml", "checks: {}")
    base.write("README.md", "Notes are welcome anywhere.")
    base.write("checks/.hidden.yaml", "not read")
    assert [(p.file, p.message) for p in base.problems()] == [
        ("knowledge/checks/deep", "folders in here are not read: put the files straight into checks"),
        ("knowledge/checks/more.yml", "is not read: let its name end in .yaml"),
        ("knowledge/stray.yaml", "belongs in the folder of its kind, not here"),
    ]


@pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n"])
def test_an_empty_file(base: Base, text: str) -> None:
    base.write("checks/empty.yaml", text)
    assert only(base) == ("knowledge/checks/empty.yaml", 1, "is empty")


@pytest.mark.parametrize(
    ("data", "line", "message"),
    [
        (b"- a\n- b\n", 1, "needs one top key, `checks:`, with the entries under it"),
        (b"just text\n", 1, "needs one top key, `checks:`, with the entries under it"),
        (b"# head\ncheks:\n  a: {}\n", 2, "the only top key in this folder is `checks`, not `cheks`"),
        (b"zones:\n  a: {}\n", 1, "the only top key in this folder is `checks`, not `zones`"),
        (b"checks:\n", 1, "`checks` needs entries: a name, and its fields under it"),
        (b"checks: []\n", 1, "`checks` needs entries: a name, and its fields under it"),
        (b"checks:\n  a: 1\n  caf\xe9: 2\n", 3, "is not UTF-8 text here: save the file as UTF-8"),
        (b"\xff\xfec\x00h\x00", 1, "is not UTF-8 text here: save the file as UTF-8"),
        (b"checks:\n  a: x\x00y\n", 2, "holds a control character that YAML does not allow"),
        (b"checks:\n  a:\n\tb: 1\n", 3, "is indented with a tab: YAML takes spaces only"),
        (b"checks:\n  a: b: c\n", 2, "not readable: a `:` where none can stand (quote the text, or check the indent)"),
        (b"checks: {}\n---\nchecks: {}\n", 2, "a second document begins here: one file holds one"),
        (b"checks:\n  a: *b\n", 2, "an alias (*name) has no anchor (&name) before it"),
        (b"checks: " + b"[" * 5000, 1, "is nested too deep to be read"),
        (
            b"checks: " + b"[" * 60 + b"]" * 60,
            1,
            "is nested more than 40 deep, or an alias stands inside its own anchor",
        ),
        (b"checks: &a\n  b: *a\n", 2, "is nested more than 40 deep, or an alias stands inside its own anchor"),
    ],
)
def test_a_file_that_is_no_good_as_a_whole(base: Base, data: bytes, line: int, message: str) -> None:
    path = base.folder / "checks/bad.yaml"
    path.write_bytes(data)
    file, found_line, found = only(base)
    assert (file, found) == ("knowledge/checks/bad.yaml", message)
    # Where an alias leads round, the line is that of the anchor or of its alias.
    assert found_line == line or "alias stands" in message


def test_a_broken_brace_says_what_to_quote(base: Base) -> None:
    base.write("checks/bad.yaml", "checks:\n  a: {title: lead {channel} off, b: 1}\n")
    _, line, message = only(base)
    assert line == 2
    assert message.startswith("not readable: ")
    assert "quote text that holds a brace, a bracket, a comma or a colon" in message


def test_aliases_that_grow_without_end(base: Base) -> None:
    lines = ["checks:", "  a: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"  {chr(97 + n)}{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    base.write("checks/laughs.yaml", "\n".join(lines))
    file, _, message = only(base)
    assert (file, message) == ("knowledge/checks/laughs.yaml", "aliases (*name) blow this file up: write it out")


@pytest.mark.parametrize("text", ["!local\nchecks:\n  a: {}\n", "checks: !local\n  a: {title: x}\n"])
def test_a_tag_where_entries_should_be(base: Base, text: str) -> None:
    base.write("checks/bad.yaml", text)
    assert "the tag !local is refused: only text, numbers, lists and maps are taken" in {
        problem.message for problem in base.problems()
    }


def test_an_honest_alias_is_taken(base: Base) -> None:
    base.swap(CHECKS, "snaps: 0.1, weak: 0.1, silent: 0.8}", "snaps: 0.2, weak: 0.7, silent: 0.1}")
    written_out = load(base.folder).knowledge.digest
    base.swap(CHECKS, "- modes: [igniter-worn]\n          gives: {", "- modes: [igniter-worn]\n          gives: &w {")
    text = base.read(CHECKS).replace(
        "- modes: [lead-loose]\n          gives: {snaps: 0.2, weak: 0.7, silent: 0.1}",
        "- modes: [lead-loose]\n          gives: *w",
    )
    base.write(CHECKS, text)
    assert "*w" in text
    assert load(base.folder).knowledge.digest == written_out


def test_a_file_that_is_too_large(base: Base) -> None:
    base.write("checks/large.yaml", "#" * 2_000_001)
    assert only(base) == ("knowledge/checks/large.yaml", 0, "is larger than 2 MB: split it")


def test_a_link_that_leads_back_to_itself(base: Base) -> None:
    (base.folder / "checks/loop.yaml").symlink_to(base.folder / "checks/loop.yaml")
    assert only(base) == ("knowledge/checks/loop.yaml", 0, "is a link that leads back to itself")


def test_a_link_to_nothing(base: Base) -> None:
    (base.folder / "checks/gone.yaml").symlink_to(base.folder / "nowhere.yaml")
    assert only(base) == ("knowledge/checks/gone.yaml", 0, "there is no such file")


def test_a_file_without_permission(base: Base, monkeypatch: pytest.MonkeyPatch) -> None:
    # Whoever runs the tests may be allowed to read anything, so the refusal is played.
    opened = Path.open

    def refuse(self: Path, *args: object, **kwargs: object) -> object:
        if self.name == "all.yaml" and self.parent.name == "checks":
            raise PermissionError(13, "Permission denied")
        return opened(self, *args, **kwargs)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", refuse)
    # Which checks there are is not known then, so no reference to one is called wrong.
    assert only(base) == ("knowledge/checks/all.yaml", 0, "may not be read: no permission")


def test_a_pipe_is_not_waited_for(base: Base) -> None:
    os.mkfifo(base.folder / "checks/pipe.yaml")
    assert only(base) == ("knowledge/checks/pipe.yaml", 0, "is not an ordinary file")


# -- nothing in a file can run -------------------------------------------------------------------


@pytest.mark.parametrize(
    "value",
    [
        "!!python/object/apply:os.system ['touch {mark}']",
        "!!python/object/new:os.system ['touch {mark}']",
        "!!python/name:os.system",
        "!!python/object/apply:subprocess.check_output\n      args: [touch, {mark}]",
        "!!python/module:os",
        "!local thing",
        "!!binary aGVsbG8=",
        "!!set {{a, b}}",
    ],
)
def test_tags_are_refused_and_run_nothing(base: Base, tmp_path: Path, value: str) -> None:
    mark = tmp_path / "ran"
    base.write("sources/evil.yaml", f"sources:\n  evil:\n    title: {value.format(mark=mark)}\n    kind: memory\n")
    file, line, message = only(base)
    assert (file, line) == ("knowledge/sources/evil.yaml", 3)
    assert message.startswith("the tag !")
    assert message.endswith("is refused: only text, numbers, lists and maps are taken")
    assert not mark.exists()


# -- YAML's own surprises ------------------------------------------------------------------------


def source(text: str) -> str:
    return "sources:\n  extra:\n    title: Extra\n    kind: memory\n" + text


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        (
            source("    edition: 2019\n"),
            5,
            "extra, edition: needs text, but YAML reads `2019` as a number: put it in quotes",
        ),
        (
            source("    note: no\n"),
            5,
            "extra, note: needs text, but YAML reads `no` as true or false: put it in quotes",
        ),
        (source("    note:\n"), 5, "extra, note: needs text, but nothing is written here"),
        (source("    note: 12:30\n"), 5, "12:30: write a plain decimal number, or put it in quotes if it is text"),
        (source("    note: 0x1F\n"), 5, "0x1F: write a plain decimal number, or put it in quotes if it is text"),
        (source("    note: 017\n"), 5, "017: write a plain decimal number, or put it in quotes if it is text"),
        (source("    note: .nan\n"), 5, ".nan: write a plain decimal number, or put it in quotes if it is text"),
        (source("    note: 1e999\n"), 5, "1e999 is too large a number"),
        (source("    note: " + "9" * 5000 + "\n"), 5, "99999999999999999999 is too large a number"),
        (
            source("  off:\n    title: x\n    kind: memory\n"),
            5,
            "YAML reads the key `off` as true or false: put it in quotes",
        ),
        (
            source("  104:\n    title: x\n    kind: memory\n"),
            5,
            "YAML reads the key `104` as a number: put it in quotes",
        ),
        (source("    ? [a, b]\n    : c\n"), 5, "a list or a map cannot be a key"),
        (source("    <<: {note: x}\n"), 5, "`<<` is not used here: write the fields out"),
        (source("    title: Again\n"), 5, "`title` is written twice: also on line 3"),
    ],
)
def test_surprises_of_yaml(base: Base, text: str, line: int, message: str) -> None:
    base.write("sources/extra.yaml", text)
    assert only(base) == ("knowledge/sources/extra.yaml", line, message)


def test_a_date_is_text(base: Base) -> None:
    base.write("sources/extra.yaml", source("    edition: 2019-04-01\n"))
    assert load(base.folder).knowledge.sources["extra"].edition == "2019-04-01"


def test_a_name_written_twice_in_two_files(base: Base) -> None:
    base.write("sources/more.yaml", "sources:\n  weighed: {title: Twice, kind: memory}\n")
    first = base.line(SOURCES, "weighed:")
    assert only(base) == (
        "knowledge/sources/more.yaml",
        2,
        f"`weighed` is written twice: also at knowledge/sources/all.yaml:{first}",
    )


# -- shape ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "old", "new", "marker", "message"),
    [
        (CHECKS, "    minutes: 2\n", "", "  nut-feel:", "nut-feel: `minutes` is missing"),
        (CHECKS, "minutes: 2", "minuets: 2", "  nut-feel:", "nut-feel: `minutes` is missing"),
        (
            CHECKS,
            "minutes: 2",
            "minutes: 2\n    tagz: [a]",
            "tagz",
            "nut-feel, tagz: unknown field (did you mean tags?)",
        ),
        (
            CHECKS,
            "{title: Tight., means: The nut holds.}",
            "{title: Tight., means: The nut holds., zebra: 1}",
            "zebra",
            "nut-feel, outcomes.tight.zebra: unknown field; known are title, means",
        ),
        (
            CHECKS,
            "{title: Tight., means: The nut holds.}",
            "{title: Tight., meens: The nut holds.}",
            "meens",
            "nut-feel, outcomes.tight.meens: unknown field (did you mean means?)",
        ),
        (
            CHECKS,
            "kind: visual",
            "kind: visul",
            "visul",
            "nut-feel, kind: `visul` is not known; it can be history, visual, functional or measurement "
            "(did you mean visual?)",
        ),
        (CHECKS, "minutes: 2", "minutes: two", "minutes: two", "nut-feel, minutes: needs a number"),
        (CHECKS, "minutes: 2", "minutes: '2'", "minutes: '2'", "nut-feel, minutes: needs a number"),
        (CHECKS, "minutes: 2", "minutes: yes", "minutes: yes", "nut-feel, minutes: needs a number"),
        (
            CHECKS,
            "minutes: 2",
            "minutes: -2",
            "minutes: -2",
            "nut-feel, minutes: -2 is out of range: must be at least 0",
        ),
        (CHECKS, "minutes: 2", "minutes: 2\n    people: 1.5", "people", "nut-feel, people: needs a whole number"),
        (CHECKS, "minutes: 2", "minutes: 2\n    starts: 1", "starts", "nut-feel, starts: needs true or false"),
        (CHECKS, "minutes: 2", "minutes: 2\n    steps: look", "steps", "nut-feel, steps: needs a list"),
        (
            CHECKS,
            "minutes: 2",
            "minutes: 2\n    steps:",
            "steps",
            "nut-feel, steps: needs a list, but nothing is written here",
        ),
        (CHECKS, "purpose: Find a loose nut.", "purpose: ''", "purpose: ''", "nut-feel, purpose: is empty"),
        (
            CHECKS,
            "needs: [cowls-open]",
            "needs: [Cowls Open]",
            "Cowls",
            "nut-feel, needs: `Cowls Open` is no name: use lower-case letters and digits, joined by single hyphens",
        ),
        (
            ZONES,
            "prior: 0.02",
            "prior: 1.0",
            "prior: 1.0",
            "channel, modes.igniter-worn.prior: 1 is out of range: must be below 1",
        ),
        (
            ZONES,
            "vibrating: 0.9",
            "vibrating: 1.9",
            "1.9",
            "channel, modes.lead-loose.active.vibrating: 1.9 is out of range: must be at most 1",
        ),
        (
            ZONES,
            "vibrating: 0.9",
            "vibratin: 0.9",
            "vibratin:",
            "channel, modes.lead-loose.active.vibratin: `vibratin` is not known; it can be steady, cold, hot, wet, "
            "vibrating or sagging (did you mean vibrating?)",
        ),
        (
            ZONES,
            "lights: 0.3",
            "lights: 0.3\n        active: often",
            "often",
            "channel, modes.igniter-worn.active: needs a number from 0 to 1, or a map of conditions "
            "with `steady` among them",
        ),
        (
            ZONES,
            "lights: 0.3",
            "lights: 0.3\n        active: 1.5",
            "1.5",
            "channel, modes.igniter-worn.active: 1.5 is out of range: must be at most 1",
        ),
        (
            ENGINE,
            "channels: [A, B]",
            "channels: [A, left]",
            "left",
            "halden-hf-3, channels: `left` is no channel: use one to three capital letters or digits",
        ),
        (
            ENGINE,
            "channels: [A, B]",
            "channels: [A, B, C, D, E]",
            "E]",
            "halden-hf-3, channels: takes at most 4",
        ),
        (
            RULES,
            "{at-least: 40}",
            "{atleast: 40}",
            "atleast",
            "warn-of-energy, when.any.where.percent.atleast: `atleast` is not known; it can be at-least, at-most, "
            "above, below, one-of or is-not (did you mean at-least?)",
        ),
        (
            RULES,
            "{at-least: 40}",
            "[40]",
            "[40]",
            "warn-of-energy, when.any.where.percent: needs a value, or one comparison such as {at-least: 2} or "
            "{one-of: [a, b]}",
        ),
        (SOURCES, "  weighed:\n", "  Weighed:\n", "Weighed:", None),
        (SOURCES, "    title: Weighed by ourselves\n    kind: judgement", "    - a", "  weighed:", None),
    ],
)
def test_shape(base: Base, file: str, old: str, new: str, marker: str, message: str | None) -> None:
    base.swap(file, old, new)
    problems = base.problems()
    line = base.line(file, marker.rstrip("\n"))
    here = [problem.message for problem in problems if problem.file == f"knowledge/{file}" and problem.line == line]
    if message is not None:
        assert message in here
        # A field under a wrong name is both missing and unknown; all else is told once.
        assert len(problems) == 1 + ("minuets" in new) + ("meens" in new)
    else:
        expected = {
            "Weighed:": "`Weighed` is no name: use lower-case letters and digits, joined by single hyphens",
            "  weighed:": "weighed: needs fields, each with its value",
        }[marker]
        assert expected in here


def test_messages_hold_no_jargon(base: Base) -> None:
    """Each word below is pydantic's or Python's, and no author's."""
    base.write(
        "checks/bad.yaml",
        "checks:\n  bad:\n    title: [1]\n    kind: 7\n    minutes: {a: 1}\n    outcomes: 3\n    given: [x]\n"
        "    repeats: {most: 99, same: x}\n    place: [roof]\n    people: many\n    starts: maybe\n    source: []\n",
    )
    text = "\n".join(map(str, base.problems()))
    assert text.count("knowledge/checks/bad.yaml") == 12
    for word in ("Input", "type=", "valid", "dictionary", "Field", "str", "None", "pydantic", "instance", "Error"):
        assert word not in text.replace("string", "")


# -- how it fits together ------------------------------------------------------------------------

LOOP = """\
  first:
    title: First
    word: done
    needs: [second]
    open: {do: Do., minutes: 1}
    close: {do: Undo., minutes: 1}
    source: [weighed]
  second:
    title: Second
    word: done
    needs: [first]
    open: {do: Do., minutes: 1}
    close: {do: Undo., minutes: 1}
    source: [weighed]
"""

FIT = [
    # names of other entries
    (SOURCES, "  weighed:\n", "  weighted:\n", ZONES, "channel: ignition", None),
    (
        CHECKS,
        "[spark-near-fuel]",
        "[spark-near-fule]",
        CHECKS,
        "fule",
        "spark-test, cautions: no caution `spark-near-fule` (did you mean spark-near-fuel?)",
    ),
    (
        CHECKS,
        "needs: [notices]",
        "needs: [notice]",
        CHECKS,
        "[notice]",
        "spark-test, needs: no access state `notice` (did you mean notices?)",
    ),
    (
        CHECKS,
        "shut: [lead-off]",
        "shut: [leed-off]",
        CHECKS,
        "leed",
        "spark-test, shut: no access state `leed-off` (did you mean lead-off?)",
    ),
    (
        CHECKS,
        "shut: [lead-off]",
        "shut: [lead-off]\n    spoils: [zzz]",
        CHECKS,
        "zzz",
        "spark-test, spoils: no access state `zzz`",
    ),
    (
        ACCESS,
        "needs: [notices]",
        "needs: [notises]",
        ACCESS,
        "notises",
        "cowls-open, needs: no access state `notises` (did you mean notices?)",
    ),
    (ACCESS, "minutes: 8, cautions: [discharge]", "minutes: 8, cautions: [discharg]", ACCESS, "discharg]", None),
    (
        REPAIRS,
        "mode: lead-loose",
        "mode: lead-lose",
        REPAIRS,
        "lead-lose",
        "replace-igniter, disturbs.mode: no fault mode `lead-lose` (did you mean lead-loose?)",
    ),
    (
        REPAIRS,
        "examines: [nut-feel]",
        "examines: [nut-fell]",
        REPAIRS,
        "nut-fell",
        "replace-igniter, examines: no check `nut-fell` (did you mean nut-feel?)",
    ),
    (
        REPAIRS,
        "engine: [no-fuel]",
        "engines: [no-fuel]",
        REPAIRS,
        "engines:",
        "hand-over-fuel, clears.engines: no zone `engines` (did you mean engine?)",
    ),
    (
        REPAIRS,
        "channel: [igniter-worn]",
        "channel: [igniter-won]",
        REPAIRS,
        "igniter-won",
        "replace-igniter, clears.channel: no fault mode `igniter-won` (did you mean igniter-worn?)",
    ),
    (
        REPAIRS,
        "channel: [igniter-worn]",
        "channel: [no-fuel]",
        REPAIRS,
        "channel: [no-fuel]",
        "replace-igniter, clears.channel: `no-fuel` is a mode of zone `engine`, not of `channel`",
    ),
    (
        REPAIRS,
        "channel: [igniter-worn]",
        "channel: []",
        REPAIRS,
        "channel: []",
        "replace-igniter, clears.channel: names no mode",
    ),
    (
        REPAIRS,
        "    to: the fuel chapter\n",
        "",
        REPAIRS,
        "hand-over-fuel:",
        "hand-over-fuel: `to` is missing: a hand-over says to whom",
    ),
    (
        REPAIRS,
        "minutes: 15",
        "minutes: 15\n    to: somebody",
        REPAIRS,
        "somebody",
        "replace-igniter, to: only a hand-over says to whom; is `kind: hand-over` missing?",
    ),
    (
        COMPLAINTS,
        "{spark-test: silent}",
        "{spark-tets: silent}",
        COMPLAINTS,
        "tets",
        "one-channel-silent, answers.spark-tets: no check `spark-tets` (did you mean spark-test?)",
    ),
    (
        COMPLAINTS,
        "{spark-test: silent}",
        "{spark-test: silence}",
        COMPLAINTS,
        "silence",
        "one-channel-silent, answers.spark-test: the check `spark-test` has no outcome `silence` "
        "(did you mean silent?)",
    ),
    (
        COMPLAINTS,
        "verify: [spark-test]",
        "verify: [spark]",
        COMPLAINTS,
        "verify",
        "one-channel-silent, verify: no check `spark` (did you mean spark-test?)",
    ),
    (
        COMPLAINTS,
        "channel: A",
        "channel: C",
        COMPLAINTS,
        "channel: C",
        "one-channel-silent, starts.channel: `C` is no channel of any engine; it can also be unknown or both",
    ),
    (
        ENGINE,
        "zones: [channel, engine]",
        "zones: [chanel, engine]",
        ENGINE,
        "chanel",
        "halden-hf-3, zones: no zone `chanel` (did you mean channel?)",
    ),
    (
        ENGINE,
        "cowls-open: {open: 7}",
        "cowl-open: {open: 7}",
        ENGINE,
        "cowl-open",
        "halden-hf-3, access_minutes.cowl-open: no access state `cowl-open` (did you mean cowls-open?)",
    ),
    (
        ENGINE,
        "{nut-feel: 3}",
        "{nutfeel: 3}",
        ENGINE,
        "nutfeel",
        "halden-hf-3, check_minutes.nutfeel: no check `nutfeel` (did you mean nut-feel?)",
    ),
    (
        ENGINE,
        "{igniter-worn: 0.03}",
        "{igniter-wron: 0.03}",
        ENGINE,
        "wron",
        "halden-hf-3, priors.igniter-wron: no fault mode `igniter-wron` (did you mean igniter-worn?)",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {rules: [silent-chanel]}",
        ENGINE,
        "omits",
        "halden-hf-3, omits.rules: no rule `silent-chanel` (did you mean silent-channel?)",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {modes: [nope]}",
        ENGINE,
        "omits",
        "halden-hf-3, omits.modes: no fault mode `nope`",
    ),
    (
        RULES,
        "{caution: discharge}",
        "{caution: dischrge}",
        RULES,
        "dischrge",
        "warn-of-energy, then.caution: no caution `dischrge` (did you mean discharge?)",
    ),
    # zones
    (
        ZONES,
        "active:\n          steady: 0.5\n",
        "active:\n",
        ZONES,
        "active:",
        "channel, modes.lead-loose.active: `steady` is missing: it holds for conditions not listed",
    ),
    (
        ZONES,
        "      lead-loose:",
        "      healthy:",
        ZONES,
        "      healthy:",
        "channel, modes.healthy: every zone has the state `healthy` already",
    ),
    (
        ZONES,
        "prior: 0.02",
        "prior: 0.995",
        ZONES,
        "modes:",
        "channel, modes: the priors of its modes sum to 1.005: nothing is left for healthy",
    ),
    (
        "zones/engine.yaml",
        "  engine:\n",
        "  others:\n",
        "zones/engine.yaml",
        "  others:",
        "others: `others` has a meaning of its own in a check's `given`: take another name",
    ),
    # likelihoods
    (
        CHECKS,
        "tight: 0.05, loose: 0.95",
        "tight: 0.05, loose: 0.94",
        CHECKS,
        "0.94",
        "nut-feel, given.channel.gives: the likelihoods sum to 0.99, not to 1",
    ),
    (
        CHECKS,
        "tight: 0.05, loose: 0.95",
        "tight: 0.05, lose: 0.95",
        CHECKS,
        "lose: 0.95",
        "nut-feel, given.channel.gives.lose: the check has no outcome `lose` (did you mean loose?)",
    ),
    (
        CHECKS,
        "- modes: [healthy]\n          gives: {tight: 0.98",
        "- modes: [igniter-worn]\n          gives: {tight: 0.98",
        CHECKS,
        None,
        "nut-feel, given.channel: no row for `healthy`",
    ),
    (
        CHECKS,
        "- modes: [igniter-worn]",
        "- modes: [igniter-worm]",
        CHECKS,
        "worm",
        "spark-test, given.channel.modes: no fault mode `igniter-worm` (did you mean igniter-worn?)",
    ),
    (
        CHECKS,
        "- modes: [igniter-worn]",
        "- modes: [igniter-worn, no-fuel]",
        CHECKS,
        "worn, no-fuel",
        "spark-test, given.channel.modes: `no-fuel` is a mode of zone `engine`, not of `channel`",
    ),
    (CHECKS, "- modes: [igniter-worn]", "- modes: [igniter-worn, healthy]", CHECKS, "worn, healthy", None),
    (
        CHECKS,
        "      engine:\n",
        "      enigne:\n",
        CHECKS,
        "enigne",
        "fuel-flow-look, given.enigne: no zone `enigne` (did you mean engine?)",
    ),
    (
        CHECKS,
        "      engine:\n",
        "      others:\n        - modes: [healthy]\n          gives: {flow: 1}\n      engine:\n",
        CHECKS,
        None,
        "fuel-flow-look, given.others: `others` means the other channels, so the check needs `per: channel`",
    ),
    # access
    (
        ACCESS,
        "access:\n",
        "access:\n" + LOOP,
        ACCESS,
        "needs: [second]",
        "first, needs: needs itself in the end: first → second → first",
    ),
    (
        ACCESS,
        "needs: [notices]",
        "needs: [notices, cowls-open]",
        ACCESS,
        "notices, cowls-open",
        "cowls-open, needs: needs itself in the end: cowls-open → cowls-open",
    ),
    (
        CHECKS,
        "needs: [notices]",
        "needs: [lead-off]",
        CHECKS,
        "shut:",
        "spark-test, shut: `lead-off` is to be shut, but `needs` opens it",
    ),
    (
        CHECKS,
        "shut: [lead-off]",
        "shut: [notices]",
        CHECKS,
        "shut:",
        "spark-test, shut: `notices` is to be shut, but `needs` opens it",
    ),
    (
        REPAIRS,
        "needs: [lead-off]",
        "needs: [lead-off]\n    shut: [notices]",
        REPAIRS,
        "shut",
        "replace-igniter, shut: `notices` is to be shut, but `needs` opens it (through `lead-off`)",
    ),
    (
        ACCESS,
        "word: up\n",
        "word: up\n    shut: [lead-off]\n",
        ACCESS,
        "needs: [cowls-open]",
        "lead-off, needs: needs `notices` (through `cowls-open`), which wants `lead-off` shut, and this is it",
    ),
    (
        ACCESS,
        "word: up\n",
        "word: up\n    shut: [cowls-open]\n",
        ACCESS,
        "needs: [notices]",
        "cowls-open, needs: needs `notices`, which wants `cowls-open` shut, and this is it",
    ),
    # placeholders
    (
        CHECKS,
        "Spark test of channel {channel}",
        "Spark test of channel {chanel}",
        CHECKS,
        "{chanel}",
        "spark-test, title: {chanel} is not filled in; only {channel} is",
    ),
    (
        CHECKS,
        "Look up the fuel flow of the start",
        "'Look up {channel}'",
        CHECKS,
        "Look up {",
        "fuel-flow-look, title: {channel} is filled in only where the entry has `per: channel`",
    ),
    (
        ACCESS,
        "Take the lead of channel {channel} off.",
        "Take the lead of channel {channel off.",
        ACCESS,
        "{channel off",
        "lead-off, open.do: has a brace without its partner",
    ),
    (
        REPAIRS,
        "Lead nut {channel} tightened.",
        "Lead nut {c} tightened.",
        REPAIRS,
        "{c}",
        "tighten-nut, record: {c} is not filled in; only {channel} is",
    ),
    # cautions
    (
        CAUTIONS,
        "wait: since-off",
        "wait: sinceoff",
        CAUTIONS,
        "sinceoff",
        "discharge, wait: no ask `sinceoff` in this caution (did you mean since-off?)",
    ),
    (
        CAUTIONS,
        "wait: since-off",
        "wait: who",
        CAUTIONS,
        "wait: who",
        "discharge, wait: the ask `who` must be of kind minutes to be waited for",
    ),
    (
        CAUTIONS,
        "name: who",
        "name: since-off",
        CAUTIONS,
        "Who took",
        "discharge, asks.name: `since-off` is asked twice",
    ),
    (
        CAUTIONS,
        "kind: person",
        "kind: person, least: 2",
        CAUTIONS,
        "least: 2",
        "discharge, asks.least: holds only for minutes and counts",
    ),
    (
        CAUTIONS,
        "wait: since-off",
        "wait: since-off\n    since: [leadoff]",
        CAUTIONS,
        "since: [leadoff]",
        "discharge, since: no access state `leadoff` (did you mean lead-off?)",
    ),
    (
        CAUTIONS,
        "wait: since-off",
        "since: [lead-off]",
        CAUTIONS,
        "since: [lead-off]",
        "discharge, since: says from when a timer runs, but there is no `wait`",
    ),
    (
        CAUTIONS,
        "wait: since-off",
        "wait: since-off\n    holds_while: [notices, cowl-open]",
        CAUTIONS,
        "holds_while",
        "discharge, holds_while: no access state `cowl-open` (did you mean cowls-open?)",
    ),
    # engines
    (
        ENGINE,
        "{igniter-worn: 0.03}",
        "{igniter-worn: 0.995}",
        ENGINE,
        "priors",
        "halden-hf-3, priors: the priors in zone `channel` sum to 1.005: nothing is left for healthy",
    ),
    (
        ENGINE,
        "      hangar: {hand_over: 20, escalate: 60, missed: 240}\n",
        "",
        ENGINE,
        "weights",
        "halden-hf-3, weights: `hangar` is missing",
    ),
    (
        ENGINE,
        "channels: [A, B]",
        "channels: [A, A]",
        ENGINE,
        "channels",
        "halden-hf-3, channels: `A` is named 2 times",
    ),
    (
        ENGINE,
        "selection: alternate",
        "selection: alternate\n    omits: {modes: [no-fuel]}",
        ENGINE,
        "zones:",
        "halden-hf-3, zones: all modes of `engine` are omitted: leave the zone out",
    ),
    # rules
    (
        RULES,
        "- fact: answer",
        "- fact: anser",
        RULES,
        "anser",
        "silent-channel, when.fact: no fact `anser` (did you mean answer?)",
    ),
    (
        RULES,
        "outcome: silent,",
        "outcom: silent,",
        RULES,
        "outcom:",
        "silent-channel, when.where.outcom: the fact `answer` has no slot `outcom` (did you mean outcome?)",
    ),
    (
        RULES,
        "name: inserts",
        "xyz: inserts",
        RULES,
        "xyz",
        "warn-of-energy, when.where.xyz: the fact `feature` has no slot `xyz`; it has name, value",
    ),
    (
        RULES,
        "{at-least: 40}",
        "{at-least: many}",
        RULES,
        "many",
        "warn-of-energy, when.any.where.percent.at-least: needs a number",
    ),
    (
        RULES,
        "{at-least: 40}",
        "{at-least: 40, below: 60}",
        RULES,
        "below",
        "warn-of-energy, when.any.where.percent: takes exactly one comparison, has 2",
    ),
    (
        RULES,
        "{one-of: [lead-loose, igniter-worn]}",
        "{one-of: lead-loose}",
        RULES,
        "one-of",
        "warn-of-energy, when.any.where.mode.one-of: needs a list of values",
    ),
    (
        RULES,
        "{one-of: [lead-loose, igniter-worn]}",
        "{is-not: [lead-loose]}",
        RULES,
        "is-not",
        "warn-of-energy, when.any.where.mode.is-not: needs one value",
    ),
    (
        RULES,
        "{one-of: [lead-loose, igniter-worn]}",
        "{is-not: $z}",
        RULES,
        "$z",
        "warn-of-energy, when.any.where.mode.is-not: no pattern that must stand binds `$z`",
    ),
    (
        RULES,
        "{name: inserts, value: true}",
        "{name: inserts, value: $}",
        RULES,
        "$}",
        "warn-of-energy, when.where.value: `$` is no variable: use $ and a lower-case name",
    ),
    (
        RULES,
        "Channel {c} is silent",
        "Channel {cc} is silent",
        RULES,
        "{cc}",
        "silent-channel, says: no pattern that must stand binds `$cc`, so {cc} cannot be filled in (did you mean $c?)",
    ),
    (RULES, "Channel {c} is silent", "Channel {c is silent", RULES, "{c is", None),
    (
        RULES,
        "{move: nut-feel, channel: $c}",
        "{move: nut-feel, channel: $d}",
        RULES,
        "$d",
        "silent-channel, when.absent.where.channel: no pattern that must stand binds `$d`",
    ),
    (
        RULES,
        "{name: channel-silent, channel: $c}",
        "{name: channel-silent}",
        RULES,
        "says: Stored",
        "warn-of-energy, says: no pattern that must stand binds `$c`, so {c} cannot be filled in",
    ),
    (
        RULES,
        "then: {finding: channel-silent, channel: $c}",
        "then: {finding: channel-silent, channel: $x}",
        RULES,
        "$x",
        "silent-channel, then.channel: no pattern that must stand binds `$x`",
    ),
    (
        RULES,
        "then: {finding: channel-silent, channel: $c}",
        "then: {block: spark}",
        RULES,
        None,
        "silent-channel, then: a rule of kind finding needs `finding` here",
    ),
    (
        RULES,
        "then: {block: spark}",
        "then: {block: sparks}",
        RULES,
        "sparks",
        "no-spark-unlicensed, then.block: no tag in use and no move is called `sparks` (did you mean spark?)",
    ),
    (
        RULES,
        "then: {block: spark}",
        "then: {block: spark, caution: discharge}",
        RULES,
        "block",
        "no-spark-unlicensed, then.caution: a rule of kind gate takes `block`",
    ),
    (
        RULES,
        "kind: gate",
        "kind: advice",
        RULES,
        "then: {block",
        "no-spark-unlicensed, then.block: a rule of kind advice takes no `then`",
    ),
    (
        RULES,
        "    then: {caution: discharge}\n",
        "",
        RULES,
        "warn-of-energy:",
        "warn-of-energy, then: a rule of kind caution needs `caution` here",
    ),
    (
        RULES,
        "- fact: feature\n",
        "- any: []\n        fact: feature\n",
        RULES,
        None,
        "warn-of-energy, when: a pattern has exactly one of `fact`, `absent` and `any`; this has `fact` and `any`",
    ),
    (
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- where: {name: inserts}",
        RULES,
        "- where",
        "warn-of-energy, when: a pattern has exactly one of `fact`, `absent` and `any`; this has none",
    ),
    (
        RULES,
        "- fact: feature\n        where: {name: inserts, value: true}",
        "- absent:\n          any:\n            - absent: {fact: finding}\n            - fact: surprise",
        RULES,
        "- absent: {fact: finding}",
        "warn-of-energy, when.absent.any.absent: stands inside another `absent`: say it plainly",
    ),
    (
        RULES,
        "{name: inserts, value: true}",
        "{name: $in_serts, value: true}",
        RULES,
        "$in_serts",
        "warn-of-energy, when.where.name: `$in_serts` is no variable: use $ and a lower-case name",
    ),
]


@pytest.mark.parametrize(("file", "old", "new", "at", "marker", "message"), FIT)
def test_fit(base: Base, file: str, old: str, new: str, at: str, marker: str | None, message: str | None) -> None:
    base.swap(file, old, new)
    problems = base.problems()
    assert all(problem.line > 0 for problem in problems)
    if message is not None:
        found = [problem for problem in problems if problem.message == message]
        assert len(found) == 1, "\n".join(map(str, problems))
        assert found[0].file == f"knowledge/{at}"
        if marker is not None:
            assert found[0].line == base.line(at, marker)
    else:
        expected = {
            "weighted": "no source `weighed` (did you mean weighted?)",
            "discharg]": "cowls-open, open.cautions: no caution `discharg` (did you mean discharge?)",
            "worn, healthy": f"`healthy` has a row already, on line {base.line(CHECKS, 'snaps: 0.97') - 1}",
            "{c is": "silent-channel, says: has a brace without its partner",
        }
        wanted = next(text for mark, text in expected.items() if mark in new)
        assert any(problem.message.endswith(wanted) for problem in problems), "\n".join(map(str, problems))


def test_a_mode_of_the_same_name_in_two_zones(base: Base) -> None:
    base.swap("zones/engine.yaml", "      no-fuel:", "      lead-loose:")
    line = base.line(ZONES, "      lead-loose:")
    (problem,) = [p for p in base.problems() if p.file == "knowledge/zones/engine.yaml"]
    assert problem.line == base.line("zones/engine.yaml", "lead-loose:")
    assert problem.message == (
        f"engine, modes.lead-loose: the zone `channel` has a mode of this name, at knowledge/zones/channel.yaml:{line}"
    )


def test_others_without_channels(base: Base) -> None:
    base.swap(ZONES, "    per: channel\n", "")
    line = base.line(CHECKS, "      others:")
    message = "spark-test, given.others: `others` means the other channels, but zone `channel` is not per channel"
    assert Problem("knowledge/checks/all.yaml", line, message) in base.problems()


def test_a_clash_is_told_once_where_it_arises(base: Base) -> None:
    """Cowls need notices, which want cowls shut: all that needs cowls clashes too, but only cowls are told of."""
    base.swap(ACCESS, "word: up\n", "word: up\n    shut: [cowls-open]\n")
    assert len(base.problems()) == 1


# -- all at once ---------------------------------------------------------------------------------


def test_mistakes_of_every_sort_are_told_together_and_in_order(base: Base) -> None:
    base.write("checks/torn.yaml", "checks:\n  a: [\n")
    base.write("zones/engine.yaml", base.read("zones/engine.yaml").replace("prior: 0.01", "prior: 7"))
    base.swap(ACCESS, "needs: [notices]", "needs: [notises]")
    base.swap(ENGINE, "zones: [channel, engine]", "zones: [chanel, engine]")
    base.swap(RULES, "- fact: answer", "- fact: anser")
    base.swap(CAUTIONS, "level: warning\n    asks", "levl: warning\n    asks")
    problems = base.problems()
    assert problems == sorted(problems)
    assert [problem.file.removeprefix("knowledge/") for problem in problems] == [
        ACCESS,
        CAUTIONS,
        CAUTIONS,
        "checks/torn.yaml",
        ENGINE,
        RULES,
        "zones/engine.yaml",
    ]


def test_an_entry_with_a_mistake_is_still_known_by_name(base: Base) -> None:
    """One wrong field must not make every reference to its entry look wrong."""
    base.swap(ACCESS, "minutes: 8, cautions", "minutes: -8, cautions")
    assert [problem.message for problem in base.problems()] == [
        "cowls-open, open.minutes: -8 is out of range: must be at least 0"
    ]


def test_names_are_not_called_unknown_when_a_file_of_their_kind_is_torn(base: Base) -> None:
    base.write(SOURCES, "sources: {")
    assert [problem.file for problem in base.problems()] == ["knowledge/sources/all.yaml"]


def test_long_chains_of_needs_break_nothing(base: Base) -> None:
    entry = (
        "    title: T\n    word: done\n    source: [weighed]\n"
        "    open: {do: Do., minutes: 1}\n    close: {do: Undo., minutes: 1}\n"
    )
    links = [f"  link-{n}:\n    needs: [link-{n + 1}]\n{entry}" for n in range(300)] + [f"  link-300:\n{entry}"]
    base.write("access/chain.yaml", "access:\n" + "".join(links))
    assert len(load(base.folder).knowledge.access) == 304


# -- the pure-Python reader ----------------------------------------------------------------------


def test_without_the_c_reader_the_same_is_read(base: Base, monkeypatch: pytest.MonkeyPatch) -> None:
    before = load(base.folder).knowledge.digest
    monkeypatch.setattr(reader, "_LOADER", yaml.SafeLoader)
    assert load(base.folder).knowledge.digest == before
    base.write("checks/bad.yaml", "checks: " + "[" * 5000)
    assert only(base) == ("knowledge/checks/bad.yaml", 1, "is nested too deep to be read")
    base.write("checks/bad.yaml", "checks:\n  a:\n\tb: 1\n")
    assert only(base)[1:] == (3, "is indented with a tab: YAML takes spaces only")
    base.write("checks/bad.yaml", "checks:\n  a: x\x00y\n")
    assert only(base)[1:] == (2, "holds a control character that YAML does not allow")


# -- the schema ----------------------------------------------------------------------------------


def test_the_schema_takes_what_the_reader_takes(base: Base) -> None:
    """Checked with jsonschema, an implementation of JSON Schema 2020-12 that is not ours."""
    knowledge = load(base.folder).knowledge
    for made in (schema(), schema(knowledge)):
        jsonschema.Draft202012Validator.check_schema(made)
        validator = jsonschema.Draft202012Validator(made)
        for path in base.folder.rglob("*.yaml"):
            data = yaml.safe_load(path.read_text(encoding="utf-8").replace("1e-2", "0.01"))
            assert list(validator.iter_errors(data)) == [], path.name


@pytest.mark.parametrize(
    ("file", "old", "new", "bare"),
    [
        (CHECKS, "checks:\n", "cheks:\n", True),
        (CHECKS, "minutes: 2", "minuets: 2", True),
        (CHECKS, "kind: visual", "kind: visul", True),
        (CHECKS, "      tight: {title", "      Tight One: {title", True),
        (RULES, "- fact: answer", "- fact: anser", True),
        (CHECKS, "needs: [notices]", "needs: [notice]", False),
        (CHECKS, "- modes: [igniter-worn]", "- modes: [igniter-worm]", False),
        (CHECKS, "      engine:\n", "      enigne:\n", False),
        (REPAIRS, "mode: lead-loose", "mode: lead-lose", False),
        (REPAIRS, "channel: [igniter-worn]", "channel: [igniter-won]", False),
        (RULES, "{caution: discharge}", "{caution: dischrge}", False),
        (CAUTIONS, "wait: since-off", "wait: since-off\n    since: [leadoff]", False),
        (CAUTIONS, "wait: since-off", "wait: since-off\n    holds_while: [cowl-open]", False),
        (ENGINE, "cowls-open: {open: 7}", "cowl-open: {open: 7}", False),
        (COMPLAINTS, "{spark-test: silent}", "{spark-tets: silent}", False),
        (SOURCES, "kind: practice", "kind: practise", True),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(base: Base, file: str, old: str, new: str, bare: bool) -> None:
    """``bare``: already without known names."""
    knowledge = load(base.folder).knowledge
    base.swap(file, old, new)
    data = yaml.safe_load(base.read(file))
    assert jsonschema.Draft202012Validator(schema(knowledge)).is_valid(data) is False
    assert jsonschema.Draft202012Validator(schema()).is_valid(data) is not bare


def test_the_schema_says_what_fields_mean() -> None:
    made = schema()
    assert set(made["properties"]) == set(KINDS)
    assert all(part["description"] for part in made["properties"].values())
    assert "several zones" in made["$defs"]["Check"]["properties"]["given"]["description"]


# -- what travels with the package ---------------------------------------------------------------


def test_the_folders_that_travel_with_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "isolate"
    (package / "kb").mkdir(parents=True)
    monkeypatch.setattr(module, "__file__", str(package / "kb" / "load.py"))
    assert shipped() == tmp_path / "knowledge"
    assert shipped_scenarios() == tmp_path / "scenarios"
    (package / "_data" / "knowledge").mkdir(parents=True)
    (package / "_data" / "scenarios").mkdir()
    assert shipped() == package / "_data" / "knowledge"
    assert shipped_scenarios() == package / "_data" / "scenarios"


def test_the_shipped_knowledge_is_sound() -> None:
    knowledge = load().knowledge
    assert "halden-hf-3" in knowledge.engines
    assert len(knowledge.digest) == 64


def test_the_shipped_knowledge_is_read_once_until_a_file_of_it_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shutil import copytree

    from isolate.kb import load as loading

    mine = tmp_path / "mine"
    copytree(loading.shipped(), mine)
    monkeypatch.setattr(loading, "shipped", lambda: mine)
    monkeypatch.setattr(loading, "_kept", {})
    first = loading.load()
    assert loading.load() is first
    file = mine / "zones" / "engine.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("prior: ", "prior:  ") + "\n# changed\n", encoding="utf-8")
    second = loading.load()
    assert second is not first and second.knowledge.digest == first.knowledge.digest
    (mine / "zones" / "more.yaml").write_text("zones: {no}\n", encoding="utf-8")
    with pytest.raises(KnowledgeError):
        loading.load()
    with pytest.raises(KnowledgeError):
        loading.load()

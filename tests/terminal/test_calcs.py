"""``isolate calc WHAT``: the command line, what is asked on a terminal, what is shown, JSON, and the exit status."""

from __future__ import annotations

import io
import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from isolate import cli
from isolate.calc import TITLES, calculation
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Calculation, Figure, Found, Given, Input, Judged, Unfit
from isolate.calc.units import Quantity
from isolate.case.intake import Refused
from isolate.case.written import WrittenReading, worked_out
from isolate.terminal import calcs, measuring
from tests.terminal.screen import Terminal
from tests.worked import shipped_kit


def worked(given: Given) -> Found:
    """Volts and ohms make amperes; beside a limit where one is told."""
    volts: Quantity = given["volts"]
    ohms: tuple[Quantity, ...] = given["ohms"]
    if volts.value < 0:
        raise Unfit("volts: the meter's leads are the wrong way round", "volts")
    if given.get("words") == "both":
        raise Unfit("these two contradict each other")
    if given.get("words") == "nothing":
        return Found(("Nothing can be said.",), warnings=("there is nothing in it",))
    amps = volts.value / ohms[0].value
    judged = {}
    if "most" in given:
        most = given["most"].value
        near = abs(amps - most) < 0.1
        judged[""] = Judged(CANNOT_TELL if near else "above" if amps > most else "within", "a finer meter settles it")
    return Found(
        (f"It draws {amps:.3g} A.", "Worked out by Ohm's law, with Ω and µ in it."),
        (Figure("current", "current", amps, amps - 0.1, amps + 0.1, "A"),),
        judged,
        ("it was read cold",) if "oil" in given else (),
    )


MADE = Calculation(
    "made",
    "what it draws",
    (
        Input("volts", "voltage", "Volts at the pin", hint="28 V"),
        Input("ohms", "resistance", "Resistance", many=True, hint="9 Ω"),
        Input("oil", "temperature", "How warm the oil is (Enter: not read)", default=""),
        Input("most", "current", "The most that it may draw", default="", limit=True),
        Input("why", "text", "Why it is that", default="", after="most"),
        Input("words", "text", "Anything else", default=""),
        Input("side", "choice", "Which side", default="left", choices=("left", "right")),
    ),
    worked,
    "Ohm's law.",
    judges={"": {"within": "Within the limit of your data", "above": "Above it"}},
    draw=lambda found, width, ascii_only: ["#" * width if ascii_only else "█" * width],
    figure=lambda found, path: Path(path).write_text("drawn"),  # type: ignore[arg-type,return-value]
)
FILED = Calculation(
    "filed",
    "what a file says",
    (Input("log", "file", "The log"), Input("most", "current", "The most", default="", limit=True)),
    lambda given: Found((given["log"],), (Figure("x", "x", 1, 1, 1, ""),)),
    "nobody.",
)


@pytest.fixture(autouse=True)
def made(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calcs, "calculation", {"made": MADE, "filed": FILED}.__getitem__)
    monkeypatch.setenv("COLUMNS", "80")


def ran(capsys: pytest.CaptureFixture[str], *words: str, name: str = "made") -> tuple[int, str, str]:
    """Return the exit status, what was printed, and what was printed as an error."""
    try:
        status = calcs.run(name, words)
    except SystemExit as ended:
        status = int(str(ended.code))
    return status, *capsys.readouterr()


SURE = ("--volts", "28 V", "--ohms", "9 Ω")


def test_what_was_understood_comes_first_and_the_result_last(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = ran(capsys, *SURE, "--most", "2 A", "--oil", "-5C")
    assert (status, err) == (0, "")
    assert out.splitlines() == [
        "Understood",
        "  Volts at the pin: 28 ± 0.5 V",
        "  Resistance: 9 ± 0.5 Ω",
        "  How warm the oil is: -5 ± 0.5 °C",
        "  The most that it may draw: 2 A",
        "Taken, since nothing else was told",
        "  Which side: left",
        "",
        "█" * 79,
        "",
        "It draws 3.11 A.",
        "Worked out by Ohm's law, with Ω and µ in it.",
        "Above it: a finer meter settles it",
        "Mind: it was read cold",
    ]


@pytest.mark.parametrize(
    "words",
    [
        ("--volts", "28 V", "--ohms", "9 Ω", "--oil", "-5 C"),
        ("--volts", "28", "V", "--ohms", "9", "Ω", "--oil", "-5", "C"),
        ("--volts=28 V", "--ohms=9 Ω", "--oil=-5 C"),
        ("--volts=28", "V", "--ohms", "9Ω", "--oil=-5", "C"),
        ("--oil", "−5C", "--volts", "28V", "--ohms", "9 Ω"),
        ("--oil", "-5C", "--volts", "28V", "--ohms", "9 Ω"),
    ],
)
def test_a_figure_may_stand_in_several_words_and_be_negative(
    words: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = ran(capsys, *words, "--json")
    given = json.loads(out)["given"]
    assert status == 0 and given["oil"]["is"]["value"] == -5 and given["volts"]["is"]["value"] == 28


def test_several_are_told_with_semicolons_or_again(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = ran(capsys, "--volts", "28 V", "--ohms", "9; 10 Ω", "--ohms", "11 Ω", "--json")
    assert [one["value"] for one in json.loads(out)["given"]["ohms"]["is"]] == [9, 10, 11]


def test_json_has_a_shape_that_stays(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = ran(capsys, *SURE, "--most", "2 A", "--json")
    found = json.loads(out)
    assert list(found) == ["calculation", "title", "given", "figures", "judged", "lines", "warnings", "source"]
    assert found["figures"][0]["name"] == "current" and found["figures"][0]["unit"] == "A"
    assert found["judged"] == {
        "reading": {"verdict": "above", "words": "Above it", "why": "a finer meter settles it", "seconds": None}
    }
    assert found["given"]["side"] == {"asks": "Which side", "told": False, "understood": "left", "is": "left"}
    assert found["given"]["most"]["told"] and found["given"]["most"]["is"]["said"] == "2 ± 0 A"


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (SURE, 0),
        ((*SURE, "--most", "3.1 A"), 0),  # the verdict cannot be told, but there is a figure
        ((*SURE, "--words", "nothing"), 1),
        ((*SURE, "--voltz", "3"), 2),
        (("stray", *SURE), 2),
    ],
)
def test_exit_status(words: Sequence[str], status: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert ran(capsys, *words)[0] == status


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--volts", "28 V"), "ohms has to be told: Resistance (such as 9 Ω)"),
        (("--volts", "28 V", "--volts", "27 V", "--ohms", "9 Ω"), "volts is told once, not 2 times"),
        (("--volts", "28", "--ohms", "9 Ω"), "volts: the unit is missing"),
        (("--volts", "-28 V", "--ohms", "9 Ω"), "the wrong way round"),
        ((*SURE, "--words", "both"), "contradict"),
        ((*SURE, "--side", "up"), "none of left, right"),
    ],
)
def test_bad_input_is_a_sentence(words: Sequence[str], said: str) -> None:
    with pytest.raises(Unfit) as caught:
        calcs.run("made", words)
    assert said in str(caught.value)


def test_an_option_that_is_not_there_is_named_with_its_neighbour(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, err = ran(capsys, *SURE, "--ohmz", "3")
    assert out == "" and "there is no --ohmz; did you mean --ohms?" in err and len(err.splitlines()) == 2
    assert "what is 'stray'?" in ran(capsys, "stray", *SURE)[2]
    assert "expected" in ran(capsys, "--volts")[2]


def test_help_has_groups_an_example_and_the_source(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = ran(capsys, "--help")
    assert status == 0 and max(map(len, out.splitlines())) <= 80
    assert out.index("has to be told") < out.index("limits, from your approved data") < out.index("may be told")
    assert 'isolate calc made --volts "28 V" --ohms "9 Ω"' in out and "From: Ohm's law." in out
    assert "(Enter" not in out


def test_a_file_is_told_without_an_option(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("a b.csv",), ("a b.csv", "--most", "2 A"), ("--most=2A", "a b.csv"), ("--most", "2 A", "a b.csv")):
        status, out, err = ran(capsys, *words, "--json", name="filed")
        assert (status, err) == (0, "") and json.loads(out)["lines"] == ["a b.csv"], words
    for words in (("x.csv", "--most", "2", "A", "--json"), ("--json", "x.csv", "--most", "2", "A")):
        assert json.loads(ran(capsys, *words, name="filed")[1])["given"]["most"]["told"]
    with pytest.raises(Unfit, match="log has to be told"):
        calcs.run("filed", [])


def test_an_output_without_our_signs_loses_no_meaning(monkeypatch: pytest.MonkeyPatch) -> None:
    out = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(out, encoding="ascii", write_through=True))
    assert calcs.run("made", ["--volts", "28 V", "--ohms", "30 mΩ"]) == 0
    said = out.getvalue().decode("ascii")
    assert (
        "30 +/- 0.5 mohm (milliohm)" in said and "with ohm and u in it" in said and "#####" in said and "?" not in said
    )


def test_a_picture_is_refused_before_anything_is_worked_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    there = tmp_path / "there.svg"
    there.write_text("mine")
    for path, words in (
        (tmp_path / "x.gif", ".svg or .png"),
        (tmp_path / "no" / "x.svg", "there is no folder"),
        (there, "--overwrite replaces it"),
    ):
        with pytest.raises(Unfit, match=words):
            calcs.run("made", [*SURE, "--picture", str(path)])
    assert there.read_text() == "mine" and capsys.readouterr().out == ""
    status, out, err = ran(capsys, *SURE, "--json", "--picture", str(there), "--overwrite")
    assert status == 0 and json.loads(out) and there.read_text() == "drawn" and "Drawn" in err


def test_a_picture_of_what_draws_none_is_refused_in_plain_words(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = ran(capsys, "x.csv", "--picture", "x.svg", name="filed")
    assert (status, out) == (2, "") and "isolate calc filed: it draws no picture into a file\n" in err
    assert "did you mean" not in ran(capsys, "x.csv", "--overwrite", name="filed")[2]
    # Nor is it offered for a slip of the pen.
    assert "picture" not in ran(capsys, "x.csv", "--pictur", "x.svg", name="filed")[2]
    for name in TITLES:
        one = calculation(name)
        if one.figure is None and one.draw is not None:
            with pytest.raises(SystemExit):
                calcs._parser(one).parsed(["--picture=x.svg"])
            assert "what it draws in text comes with the result" in capsys.readouterr().err


# -- asking ----------------------------------------------------------------------------------------


class Person:
    """Types what is planned, and keeps what was asked and told."""

    def __init__(self, *plan: str | None) -> None:
        self.plan, self.asked, self.told = list(plan), list[str](), list[str]()

    def line(self, asked: str) -> str | None:
        self.asked.append(asked)
        return self.plan.pop(0)


def test_it_asks_in_order_and_again_where_it_cannot_read() -> None:
    one = Person("28", "28 V", "", "9 Ω; 10 Ω", "", "3 A", "because", "", "r")
    typed = calcs.ask(MADE, {}, one.line, one.told.append)
    assert typed == {"volts": "28 V", "ohms": "9 Ω; 10 Ω", "most": "3 A", "why": "because", "side": "r"}
    assert one.told == ["The unit is missing; voltage takes V, mV, kV, µV.", "This has to be told."]
    assert one.asked[0] == one.asked[1] == "Volts at the pin (such as 28 V)"
    assert one.asked[4:] == [
        "How warm the oil is (Enter: not read)",
        "The most that it may draw, from your approved data (Enter: left out)",
        "Why it is that (Enter: left out)",
        "Anything else (Enter: left out)",
        "Which side (left or right; Enter: left)",
    ]


def test_it_does_not_ask_for_what_is_known_or_hangs_on_what_was_left_out() -> None:
    one = Person("", "", "")
    assert calcs.ask(MADE, {"volts": "28 V", "ohms": "9 Ω", "oil": "5 C"}, one.line, one.told.append) == {
        **{"volts": "28 V", "ohms": "9 Ω", "oil": "5 C"}
    }
    assert [a.split(" (")[0].split(",")[0] for a in one.asked] == [
        *("The most that it may draw", "Anything else", "Which side")
    ]


def test_back_more_enough_and_stop() -> None:
    one = Person("<", "27 V", "?", "<", "28 V", ".", "9 Ω", ".")
    assert calcs.ask(MADE, {}, one.line, one.told.append) == {"volts": "28 V", "ohms": "9 Ω"}
    assert one.told[0] == "This is the first question." and one.told[-1] == "ohms has still to be told."
    assert any("Ohm's law" in t for t in one.told)
    assert calcs.ask(MADE, {}, Person("28 V", None).line) is None


def test_a_question_mark_says_what_is_meant_before_where_it_comes_from() -> None:
    one = Person("?", "28 V", "?", "9 Ω", "?", "", "?", "", ".")
    calcs.ask(MADE, {}, one.line, one.told.append, keys="the keys")
    volts, ohms, oil, most = (one.told[i : i + 3] for i in (0, 3, 6, 9))
    assert volts[0].startswith("It takes V, mV") and "It has to be told." in volts[0] and "±" in volts[0]
    assert volts[1:] == ["Worked out by: Ohm's law.", "the keys"]
    assert "; between them" in ohms[0] and "It may be left out." in oil[0]
    assert "of your approved data; none is held here" in most[0] and "±" not in most[0]
    meant = replace(MADE, inputs=(Input("air", "choice", "Air", "dry", choices=("dry", "wet"), more="Wet: seen."),))
    one = Person("?", "")
    calcs.ask(meant, {}, one.line, one.told.append)
    assert one.told[:2] == ["Wet: seen.", "Left out, dry is taken."]


def test_no_example_passes_for_a_limit() -> None:
    for name in TITLES:
        for wanted in calculation(name).inputs:
            if wanted.limit or "from your data" in wanted.asks:
                assert not re.search(r"\(.*\d", calcs.question(wanted)), (name, calcs.question(wanted))
    assert "(such as … V)" in calcs.question(calculation("volts").input("least"))
    assert "(such as 28.1 V)" in calcs.question(calculation("volts").input("volts"))


def test_an_error_is_a_sentence_with_one_mark_at_its_end() -> None:
    for said, of, whole in (
        ("volts: 281 V? is the unit right?", "volts", "281 V? is the unit right?"),
        ("volts: the unit is missing", "volts", "The unit is missing."),
        ("these two contradict.", "", "These two contradict."),
        ("", "volts", ""),
    ):
        assert calcs.sentence(said, of) == whole


def test_what_does_not_fit_in_the_end_is_asked_again_alone() -> None:
    one = Person("-28 V", "9 Ω", ".", "28 V")
    done = calcs.work_out(MADE, {}, one.line, one.told.append)
    assert done is not None and done[0] == {"volts": "28 V", "ohms": "9 Ω"} and done[2].figures
    assert one.told == ["The meter's leads are the wrong way round."]
    assert one.asked[-1] == one.asked[0]
    with pytest.raises(Unfit, match="contradict"):
        calcs.work_out(MADE, {**dict(zip(("volts", "ohms"), ("28 V", "9 Ω"), strict=True)), "words": "both"}, one.line)


# -- the whole command ------------------------------------------------------------------------------


def test_alone_it_lists_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["calc"], ["calc", "--help"]):
        assert cli.main(words) == 0
        out = capsys.readouterr().out
        assert all(f"  {name} " in out for name in ("starts", *TITLES)) and max(map(len, out.splitlines())) < 110


def test_what_is_not_there_is_named_with_its_neighbour(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["calc", "torqe", "--x", "3"]) == 2
    assert "there is no 'torqe'; did you mean torque?" in capsys.readouterr().err


def test_bad_input_to_the_whole_command_is_one_line_and_status_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["calc", "gap", "--gap", "1.5"]) == 1
    assert capsys.readouterr().err.splitlines()[-1].startswith("isolate: ")


@pytest.mark.parametrize("columns", [80, 40])
def test_on_a_terminal_it_asks_and_keeps_to_its_width(columns: int) -> None:
    one = Terminal("-m", "isolate", "calc", "volts", columns=columns)
    try:
        one.until("Volts at rest", ">")
        one.press("28\r", "unit is missing")
        one.until("Volts at rest", ">")
        one.press("28.1 V\r", "Volts while something")
        one.press("\r", "The least that your")
        one.press("24 V\r", "The most that it")
        one.press("\r", "Within what your data")
        shown = one.shown()
        assert "Volts at rest: 28.1 ± 0.05 V" in shown
        assert b"\x1b[1m" in one.raw  # the result stands out
    finally:
        one.child.close()


def test_what_to_heed_comes_before_the_first_question() -> None:
    for name in ("feeder", "lead", "insulation", "exciter"):
        assert calculation(name).before, name
    one = Terminal("-m", "isolate", "calc", "lead")
    try:
        one.until("What the meter reads", ">")
        shown = one.shown()
        assert shown.index("Mind first: It is read dead") < shown.index("What the meter reads, end to end")
    finally:
        one.child.close()


def test_of_a_result_taller_than_the_screen_the_end_says_it_in_short(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def tall(given: Given) -> Found:
        judged = {"": Judged("above", "so"), "b": Judged(CANNOT_TELL, "for this"), "c": Judged(CANNOT_TELL, "for that")}
        return Found(("It is 3 A.", *(f"line {i}" for i in range(rows))), judged=judged, warnings=("heed",))

    monkeypatch.setattr(calcs, "calculation", lambda name: replace(MADE, work=tall, draw=None))
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("LINES", "24")
    rows = 18
    out = ran(capsys, *SURE)[1]
    assert out.count("It is 3 A.") == 1, "23 lines and a prompt: all of it is on the screen"
    rows = 19
    out = ran(capsys, *SURE)[1]
    assert re.sub(r"\x1b\[[0-9;]*m", "", out).splitlines()[-5:] == [
        "",
        "In short",
        "It is 3 A.",
        "Above it.",
        "Cannot be told: 2 of 3 verdicts; why stands above.",
    ]


# -- attacked --------------------------------------------------------------------------------------


def test_two_dashes_are_no_figure(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("--volts=--",), ("--volts", "28 V", "--ohms=--")):
        with pytest.raises((Unfit, SystemExit)) as stopped:
            calcs.run("made", words)
        said = str(stopped.value) + capsys.readouterr().err
        assert "Traceback" not in said and re.search(r"figure with a unit|expected one argument|has to be told", said)


def test_a_picture_replaces_nothing_that_is_read_or_no_file(tmp_path: Path) -> None:
    log, pipe, link = tmp_path / "log.csv", tmp_path / "pipe.svg", tmp_path / "link.svg"
    log.write_text("a,b\n")
    os.mkfifo(pipe)
    link.symlink_to(log)
    for paths, words in (
        ([""], "ends in .svg or .png"),
        (["a.svg", "b.svg"], "told once, not 2 times"),
        ([str(pipe)], "no plain file"),
        ([str(link)], "is what is read"),
        ([str(tmp_path / "a\x1b[2J.svg")], "without signs that move a screen"),
    ):
        with pytest.raises(Unfit, match=words):
            calcs._able(paths, True, calcs._files(calculation("start"), {"log": str(log), "good": [f"x;{log}"]}))
    assert calcs._able([str(tmp_path / "new.svg")], False, [str(log)]) and log.read_text() == "a,b\n"


def test_a_library_of_pictures_that_cannot_be_loaded_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(found: Found, path: str) -> None:
        raise ImportError("no font")

    monkeypatch.setattr(calcs, "calculation", lambda name: replace(MADE, figure=broken))
    with pytest.raises(Unfit, match="picture was not drawn; it needs the extra"):
        calcs.run("made", [*SURE, "--picture", str(tmp_path / "x.svg")])


@pytest.mark.parametrize("words", [["calc"], ["calc", "volts", "--volts", "28.1 V", "--least", "24 V"]])
def test_closed_ends_and_a_full_disk_are_no_traceback(words: list[str]) -> None:
    told = [sys.executable, "-m", "isolate", *words]
    line = " ".join(map(shlex.quote, told))
    for ends, status in ((">&- 2>&- <&-", 0), ("<&-", 0), (">/dev/full", 1)):
        done = subprocess.run(["sh", "-c", f"{line} {ends}"], capture_output=True, text=True, check=False)
        assert done.returncode == status and "Traceback" not in done.stderr and "should not" not in done.stderr, ends


def test_a_home_of_nobody_is_a_name_like_any_other(tmp_path: Path) -> None:
    odd = "~nobody-of-that-name/x.csv"
    assert measuring.unreadable(measuring.named(odd)) == "there is no such file" and not measuring.paths(odd)
    for name in (n for n in TITLES if any(i.kind == "file" for i in calculation(n).inputs)):
        one = calculation(name)
        file = next(i.name for i in one.inputs if i.kind == "file")
        with pytest.raises((Unfit, OSError)):
            one.work(read(one, {file: odd}))
    told = WrittenReading.model_validate({"calc": "start", "log": odd})
    with pytest.raises((Refused, OSError), match="no such file"):
        worked_out(shipped_kit().fitted, "recorded-start-read", told, tmp_path)


def test_the_file_told_by_its_name_is_pointed_to_its_place(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = ran(capsys, "--log", "x.csv", name="filed")
    assert status == 2 and "log is told without an option: isolate calc filed FILE" in err

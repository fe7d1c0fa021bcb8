"""The command line: parse, call, print. Everything heavy is imported where it is used."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.calc import TITLES as CALCULATIONS
from isolate.kb.shown import plain as _plain
from isolate.terminal.plain import kits as _kits
from isolate.terminal.plain import print_step as _print_step
from isolate.terminal.plain import say as _say
from isolate.terminal.plain import text as _text

if TYPE_CHECKING:
    from isolate.kb.fit import Fitted
    from isolate.kb.load import Loaded

STOPPED = 130
"""Exit status after Ctrl-C, as shells have it."""
PLACES = ("gate", "hangar")
CONDITIONS = ("steady", "cold", "hot", "wet", "vibrating", "sagging")
"""As the knowledge has them; written out, so that parsing a command line does not load it."""


WORDS = {
    "drill": ("check", "class", "debrief", "export", "mark", "new", "progress"),
    "review": ("fleet", "key", "learn", "sign", "tables", "verify"),
}
"""Words after a command that are commands of their own, and no name of a scenario or a case."""
CASES = ("list", "export", "import", "show", "finding")
"""What may follow ``cases``; anything else there is searched for."""


class Failure(Exception):
    """A sentence for the user; the command exits with status 1."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; return its exit status."""
    # The tables are small: a second thread of the numeric library only spins beside the first.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _opened()
    parser = _parser()
    words = _joined(sys.argv[1:] if argv is None else argv)
    # What a calculation asks for stands with the calculation, and is read only where it is called.
    if words[:1] == ["calc"] and (len(words) == 1 or words[1] in ("-h", "--help") or words[1] not in _CALC):
        arguments = argparse.Namespace(run=_calc_alone, rest=list(words[1:]))
    else:
        summing = len(words) > 1 and words[0] == "calc" and words[1] in CALCULATIONS
        arguments = parser.parse_args(words[:2] if summing else words)
        arguments.rest = list(words[2:])
    if arguments.run is None:
        parser.print_help()
        return 2
    try:
        return int(arguments.run(arguments) or 0)
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # Whoever read our output has gone; say nothing more to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except Exception as error:
        sentence = _sentence(error)
        if sentence is None:
            if os.environ.get("ISOLATE_DEBUG"):
                raise
            sentence = (
                f"something went wrong that should not ({type(error).__name__}: {error}). Nothing that was "
                "acknowledged is lost. With ISOLATE_DEBUG=1 the same command shows where."
            )
        _complain(f"isolate: {_plain(sentence, lines=True)}")
        return 1


def _opened() -> None:
    """Open what was closed before it came to us, so that a file of ours does not take its place."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def _complain(sentence: str) -> None:
    """Print an error; on a terminal, one of a single line is broken between words."""
    try:
        sentence.encode(sys.stderr.encoding or "ascii")
    except UnicodeEncodeError:
        # A lost Ω or µ would make another figure of it.
        from isolate.calc.figures import SPELT

        sentence = sentence.translate(SPELT)
    if sys.stderr.isatty() and "\n" not in sentence:
        import shutil
        import textwrap

        width = max(20, shutil.get_terminal_size().columns - 1)
        sentence = textwrap.fill(sentence, width, break_on_hyphens=False, break_long_words=False)
    print(sentence, file=sys.stderr)


def _sentence(error: Exception) -> str | None:
    """Return what to tell the user of an error that is his or hers to know, None for one that is ours."""
    expected: list[type[BaseException]] = [Failure, OSError]
    for module, names in (
        ("isolate.calc.shape", ("Unfit",)),
        ("isolate.kb.read", ("KnowledgeError",)),
        ("isolate.kb.fit", ("UnknownName",)),
        ("isolate.case.store", ("StoreError",)),
        ("isolate.case.events", ("EventError",)),
        ("isolate.case.case", ("BadIntake",)),
        ("isolate.case.history", ("BadHistory",)),
        ("isolate.case.settings", ("BadSettings",)),
        ("isolate.case.intake", ("Refused",)),
        ("isolate.case.play", ("OutOfAnswers",)),
        ("isolate.reasoning.rules", ("RuleError",)),
        ("isolate.drill.trial", ("TrialError",)),
        ("isolate.review.keys", ("BadKey",)),
        ("isolate.review.reading", ("NotATrail",)),
    ):
        loaded = sys.modules.get(module)
        expected += [getattr(loaded, name) for name in names if loaded is not None]
    if not isinstance(error, tuple(expected)):
        return None
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror.lower()}" if error.filename else error.strerror
    return str(error)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="isolate",
        description="Fault isolation for turbine ignition: the next cheapest check, and a trail of why.",
        epilog="It advises licensed people who work to their approved data. It never releases an aircraft.",
    )
    parser.set_defaults(run=None)
    parser.add_argument("--version", action="version", version=f"isolate {_version()}")
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--knowledge", type=Path, metavar="FOLDER", help="knowledge to use instead of the shipped one")
    stored = argparse.ArgumentParser(add_help=False)
    stored.add_argument(
        "--store",
        metavar="FILE",
        help="where cases are kept: a file, or postgresql://user@server/name (else ISOLATE_STORE, else the settings, "
        "else your data folder)",
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    chase = commands.add_parser("chase", parents=[common, stored], help="work a defect, check by check")
    chase.add_argument("--resume", nargs="?", const="", metavar="CASE", help="go on with a case (the latest open one)")
    chase.add_argument(
        "--hand-over", nargs="?", const="", metavar="CASE", help="pass a case on to the next shift (latest open one)"
    )
    chase.add_argument("--answers", type=Path, metavar="FILE", help="run a scripted session from a file")
    chase.add_argument("--aircraft", help="fleet number")
    chase.add_argument("--position", help="engine position")
    chase.add_argument("--engine", help="engine type")
    chase.add_argument("--complaint", help="complaint by name")
    chase.add_argument(
        "--sign", action="append", metavar="NAME[:CHANNEL]", help="what else was heard or seen; may be given again"
    )
    chase.add_argument(
        "--starts", type=Path, metavar="FILE", help="past starts from a table, such as a CSV; calc starts shows it"
    )
    chase.add_argument(
        "--by",
        choices=("minutes", "chance", "cost"),
        help="choose moves by fewest minutes, by the best chance by departure, or by labour and parts",
    )
    chase.add_argument(
        "--age",
        action="append",
        metavar="PART[:CHANNEL]=AGE",
        help="how old a part is, e.g. 'igniter:A=2900-3100 starts', or igniter=together; may be given again",
    )
    chase.add_argument("--engine-starts", metavar="N", help="the engine's starts since new, by its log")
    chase.add_argument("--hands", type=int, choices=(1, 2), help="people who work side by side on the engine")
    chase.add_argument(
        "--afresh", action="store_true", help="carry nothing from earlier cases: another engine hangs there now"
    )
    chase.set_defaults(run=_chase)

    cases = commands.add_parser("cases", parents=[stored], help="list and search cases, move one as a file")
    cases.epilog = "isolate cases WORD ... searches; the options of that: isolate cases list --help."
    cases.set_defaults(run=_cases_list)
    moves = cases.add_subparsers(metavar="WHAT")
    listing = moves.add_parser("list", parents=[stored], help="list them, the last written to first, or search them")
    listing.add_argument("words", nargs="*", metavar="WORD", help="only cases that all of these words stand in")
    listing.add_argument("--aircraft", default="", help="fleet number")
    listing.add_argument("--position", default="", help="engine position")
    listing.add_argument("--engine", default="", metavar="TYPE", help="engine type")
    listing.add_argument("--complaint", default="", metavar="NAME", help="complaint by name")
    listing.add_argument("--part", default="", metavar="NUMBER", help="a part's serial number")
    listing.add_argument("--open", action="store_true", help="only cases that have not ended")
    listing.add_argument("--since", default="", metavar="DATE", help="opened from that day on, e.g. 2030-01-31")
    listing.add_argument("--until", default="", metavar="DATE", help="opened up to that day")
    listing.add_argument("--limit", type=int, default=40, metavar="N", help="no more than these (default: %(default)s)")
    listing.add_argument("--all", action="store_true", help="all of them")
    listing.set_defaults(run=_cases_list)
    export = moves.add_parser("export", parents=[stored], help="write a case to a file of JSON lines")
    export.add_argument("case")
    export.add_argument("file", nargs="?", type=Path, help="default: CASE.jsonl here")
    export.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    export.set_defaults(run=_cases_export)
    take = moves.add_parser("import", parents=[stored], help="take a case in from a file")
    take.add_argument("file", type=Path)
    take.set_defaults(run=_cases_import)

    show = moves.add_parser("show", parents=[common, stored], help="print a case's record as it stands")
    show.add_argument("case")
    show.add_argument("--hand-over", action="store_true", help="what was last passed on to the next shift")
    show.set_defaults(run=_cases_show)
    finding = moves.add_parser(
        "finding", parents=[common, stored], help="add what the shop found to a case that has ended"
    )
    finding.add_argument("case")
    finding.add_argument("--repair", metavar="KEY", help="the repair at which the part came off")
    finding.add_argument("--finding", metavar="WHAT", help="confirmed, not-confirmed or other; none: it is asked")
    finding.add_argument("--mode", default="", metavar="FAULT", help="which fault of the part the shop named, if any")
    finding.add_argument("--text", default="", help="what was found, in words")
    finding.add_argument("--report", default="", metavar="REF", help="the shop report's reference")
    finding.set_defaults(run=_cases_finding)

    _review_parsers(commands, common, stored)
    _store_parsers(commands, stored)

    following = commands.add_parser("next", parents=[common], help="rank the next moves of a case file")
    following.add_argument("file", type=Path, metavar="CASE.jsonl")
    following.add_argument("--json", action="store_true", help="everything, as JSON")
    following.add_argument(
        "--depth", type=int, metavar="N", help="the plan N moves ahead instead, branch by branch (1 to 6)"
    )
    following.set_defaults(run=_next)

    _drill_parsers(commands, common, stored)

    calc = commands.add_parser("calc", help="work something out by itself, without a case: readings to evidence")
    sums = calc.add_subparsers(metavar="WHAT", required=True)
    log = sums.add_parser("starts", parents=[common], help="what a log of past starts says: channel, lane, since when")
    log.add_argument("file", metavar="FILE", help="a table with a header, such as a CSV; - reads what is pasted")
    log.add_argument("--engine", required=True, metavar="TYPE", help="engine type")
    log.add_argument("--json", action="store_true", help="everything, as JSON")
    log.set_defaults(run=_calc_starts)
    for name, title in CALCULATIONS.items():
        sums.add_parser(name, help=title, add_help=False).set_defaults(run=_calc, calculation=name)

    kb = commands.add_parser("kb", help="look after the knowledge")
    about = kb.add_subparsers(metavar="WHAT", required=True)
    check = about.add_parser("check", parents=[common], help="find mistakes in the knowledge")
    check.set_defaults(run=_kb_check)
    entry = about.add_parser("page", parents=[common], help="one entry with everything that refers to it")
    entry.add_argument("name", metavar="NAME", help="its name; with its kind where two have it: check/NAME")
    entry.set_defaults(run=_kb_page)
    figures = about.add_parser("figures", parents=[common], help="how many faults the checks detect and tell apart")
    figures.add_argument("--engine", metavar="TYPE", help="one engine type; none: each")
    figures.set_defaults(run=_kb_figures)
    paper = about.add_parser("sheet", parents=[common], help="a plan as HTML for paper, for the day the laptop is flat")
    paper.add_argument("--engine", required=True, metavar="TYPE", help="engine type")
    paper.add_argument("--complaint", required=True, metavar="NAME", help="complaint by name")
    paper.add_argument("--channel", default="", help="channel, where the complaint is about one")
    paper.add_argument("--place", choices=PLACES, default=PLACES[0], help="where it is worked (default: %(default)s)")
    paper.add_argument("--condition", choices=CONDITIONS, default=CONDITIONS[0], help="default: %(default)s")
    paper.add_argument("--pages", type=int, default=2, metavar="N", help="no more than this (default: %(default)s)")
    paper.add_argument("--out", type=Path, metavar="FILE", help="where to write it; else it is printed here")
    paper.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    paper.set_defaults(run=_kb_sheet)
    trial = about.add_parser(
        "trial", parents=[common], help="play sampled cases and count what each way of going on costs"
    )
    trial.add_argument("-n", type=int, required=True, metavar="N", dest="cases", help="cases of each engine")
    trial.add_argument("--engine", metavar="NAME", help="one engine type; none: each")
    trial.add_argument("--complaint", metavar="NAME", help="one complaint; none: each in turn")
    trial.add_argument(
        "--policy",
        action="append",
        default=[],
        metavar="NAME",
        help="ours, information, cheapest, probable, book or hindsight; may be given again (default: each)",
    )
    trial.add_argument("--place", choices=PLACES, default=PLACES[0], help="where it is worked (default: %(default)s)")
    trial.add_argument("--seed", type=int, default=1, metavar="S", help="of the draws (default: %(default)s)")
    trial.add_argument("--workers", type=int, metavar="W", help="processes (default: one a processor)")
    trial.add_argument("--dask", metavar="ADDRESS", help="play on the Dask cluster whose scheduler is there instead")
    trial.add_argument("--json", type=Path, metavar="FILE", help="write all figures there, as JSON")
    trial.add_argument("--picture", type=Path, metavar="FILE", help="draw them there, .svg or .png")
    trial.add_argument(
        "--budget", type=int, default=1, metavar="B", help="expansions that ours spends on a decision (%(default)s)"
    )
    trial.add_argument("--overwrite", action="store_true", help="replace files that are there")
    trial.set_defaults(run=_kb_trial)
    shape = about.add_parser("schema", parents=[common], help="print JSON Schema for an editor")
    shape.add_argument("--plain", action="store_true", help="without the names that the knowledge has now")
    shape.set_defaults(run=_kb_schema)
    return parser


def _drill_parsers(commands: Any, common: argparse.ArgumentParser, stored: argparse.ArgumentParser) -> None:
    """Add ``drill``, which takes a scenario's name, and the commands beside it, each told by a word after ``drill``."""
    kept = argparse.ArgumentParser(add_help=False)
    kept.add_argument(
        "--drills", metavar="FILE", help="where drills are kept (else ISOLATE_DRILLS, else your data folder)"
    )
    found = argparse.ArgumentParser(add_help=False)
    found.add_argument("--scenarios", type=Path, metavar="FOLDER", help="scenarios to use instead of the shipped ones")
    out = argparse.ArgumentParser(add_help=False)
    out.add_argument("--overwrite", action="store_true", help="replace a file that is there")

    def command(name: str, *parents: argparse.ArgumentParser, text: str) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = commands.add_parser(name, parents=parents, help=text)
        parser.set_defaults(run=_drill, command=name)
        return parser

    drill = command("drill", common, kept, found, text="practise on a simulated aircraft; you name every move")
    drill.epilog = "Besides: " + ", ".join(f"isolate drill {word}" for word in WORDS["drill"]) + "."
    drill.add_argument("name", nargs="?", help="a scenario's name or file; none: list them")
    drill.add_argument("--random", action="store_true", help="a case drawn from the knowledge, another each time")
    drill.add_argument("--level", choices=("easy", "middle", "hard"), help="with --random: how hard, as measured")
    drill.add_argument("--about", metavar="PART", help="with --random: what it is about, e.g. lead")
    drill.add_argument("--engine", metavar="TYPE", help="with --random: engine type")
    drill.add_argument("--seed", type=int, metavar="S", help="of what the aircraft shows; with --random of the case")
    drill.add_argument("--as", dest="trainee", metavar="NAME", help="who practises (else ISOLATE_TRAINEE)")
    drill.add_argument("--resume", nargs="?", const="", metavar="DRILL", help="go on with a drill (the latest)")
    drill.add_argument("--script", type=Path, metavar="FILE", help="play a drill from a file of moves, and debrief it")
    drill.add_argument("--solve", action="store_true", help="let the tool play it by its own advice")

    check = command("drill check", common, found, text="whether a scenario can be solved, safely, and how hard it is")
    check.add_argument("names", nargs="*", metavar="NAME", help="a scenario's name or file; none: each shipped one")
    new = command("drill new", common, stored, out, text="write a scenario from a finished case, without names")
    new.add_argument("case", metavar="CASE", help="its id")
    new.add_argument("--out", type=Path, metavar="FILE", help="where to write it; else it is printed here")
    debrief = command("drill debrief", common, kept, out, text="what a drill cost beside the reference, step by step")
    debrief.add_argument("drill", nargs="?", metavar="DRILL", help="its id; none: the latest")
    debrief.add_argument("--html", type=Path, metavar="FILE", help="write it there as a page")
    debrief.add_argument("--text", type=Path, metavar="FILE", help="write it there as text")
    debrief.add_argument("--json", action="store_true", help="print it as JSON")
    debrief.add_argument("--unfinished", action="store_true", help="of a drill that has not ended: it tells the truth")
    progress = command("drill progress", common, kept, text="how a trainee gets on, and what to practise next")
    progress.add_argument("trainee", nargs="?", metavar="NAME", help="who (else ISOLATE_TRAINEE)")
    many = command("drill class", kept, out, text="many trainees beside each other, from files that they bring")
    many.add_argument("files", nargs="*", metavar="FILE", help="exported drills or drill stores; none: your own")
    many.add_argument("--csv", type=Path, metavar="FILE", help="write one row a drill there")
    mark = command("drill mark", common, found, kept, out, text="play and mark many files of moves")
    mark.add_argument("files", nargs="+", type=Path, metavar="FILE", help="files of moves")
    mark.add_argument("--csv", type=Path, metavar="FILE", help="write one row a file there")
    export = command("drill export", kept, out, text="write a drill to a file of JSON lines")
    export.add_argument("drill", metavar="DRILL", help="its id")
    export.add_argument("file", nargs="?", type=Path, metavar="FILE", help="where to (else DRILL.jsonl)")


def _review_parsers(commands: Any, common: argparse.ArgumentParser, stored: argparse.ArgumentParser) -> None:
    """Add ``review``, which takes a case, the commands beside it, and ``repeats``."""
    out = argparse.ArgumentParser(add_help=False)
    out.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    span = argparse.ArgumentParser(add_help=False)
    span.add_argument("--since", metavar="DATE", help="cases opened from that day on, e.g. 2030-01-31")
    span.add_argument("--until", metavar="DATE", help="cases opened up to that day")
    span.add_argument("--engine", default="", metavar="TYPE", help="engine type; none: each")

    def command(name: str, *parents: argparse.ArgumentParser, text: str) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = commands.add_parser(name, parents=parents, help=text)
        parser.set_defaults(run=_review, command=name)
        return parser

    review = command(
        "review", common, stored, out, text="read one case: what was known, asked, done, and how firm it is"
    )
    review.epilog = "Besides: " + ", ".join(f"isolate review {word}" for word in WORDS["review"]) + "."
    review.add_argument("case", metavar="CASE", help="its id, CASE@HEAD for one end of a forked one, or a case file")
    review.add_argument(
        "--what-if",
        action="append",
        default=[],
        metavar="CHANGE",
        help="work it again with one thing changed: SEQ=OUTCOME (an answer), CHECK:OUTCOME:STATE=P (a likelihood), "
        "MODE=P (a prior), knowledge=FOLDER or knowledge=DIGEST; may be given again",
    )
    review.add_argument(
        "--only",
        metavar="PART",
        help="one part of it: story, belief, firm, readings, rules, minutes, advice, trust, record",
    )
    review.add_argument("--html", type=Path, metavar="FILE", help="write it there as a page")
    review.add_argument("--text", type=Path, metavar="FILE", help="write it there as text")
    review.add_argument("--json", action="store_true", help="print it as JSON")
    review.add_argument("--prov", type=Path, metavar="FILE", help="write where everything came from, as W3C PROV-JSON")

    verify = command("review verify", common, stored, text="prove trails unbroken, replay them, check who signed")
    verify.add_argument("cases", nargs="*", metavar="CASE", help="ids or case files; none: every case kept here")
    verify.add_argument("--no-replay", action="store_true", help="chain and signatures only")
    verify.add_argument(
        "--files", type=Path, metavar="FOLDER", help="where clips, logs and lists that readings came from are now"
    )
    verify.add_argument("--json", action="store_true", help="everything, as JSON")
    sign = command("review sign", stored, text="put your signature under a case as it stands")
    sign.add_argument("case", metavar="CASE", help="its id")
    sign.add_argument("--key", metavar="FILE", help="your private key (else ISOLATE_KEY, else the settings)")
    sign.add_argument("--as", dest="name", metavar="NAME", help="who signs (else as the key says)")
    key = command("review key", text="make a key to sign with, or list whose are known")
    key.add_argument("name", nargs="?", metavar="NAME", help="whose key to make; none: list the known ones")
    key.add_argument("--out", type=Path, metavar="FILE", help="where to write the private key")
    key.add_argument("--no-passphrase", action="store_true", help="leave the private key open; guard the file then")
    learn = command("review learn", common, stored, out, span, text="what closed cases say of priors and likelihoods")
    learn.add_argument(
        "--least", type=int, default=5, metavar="N", help="cases below which it says too little (%(default)s)"
    )
    learn.add_argument(
        "--patch", type=Path, metavar="FILE", help="write the difference to the YAML there, to be applied by hand"
    )
    learn.add_argument("--json", action="store_true", help="everything, as JSON")
    fleet = command(
        "review fleet", common, stored, out, span, text="time to isolate, parts in vain, repeats, advice declined"
    )
    fleet.add_argument(
        "--by", choices=("engine", "station", "knowledge"), default="engine", help="default: %(default)s"
    )
    fleet.add_argument("--html", type=Path, metavar="FILE", help="write it there as a page")
    fleet.add_argument("--json", action="store_true", help="everything, as JSON")
    tables = command(
        "review tables", common, stored, out, span, text="cases, events, answers and parts as tables for other tools"
    )
    tables.add_argument("folder", type=Path, metavar="FOLDER", help="where to write them")
    tables.add_argument(
        "--as", dest="kind", choices=("csv", "json", "parquet"), default="csv", help="default: %(default)s"
    )

    back = command("repeats", common, stored, out, span, text="defects that came back, side by side, with their trend")
    back.add_argument("--aircraft", default="", help="fleet number; none: all")
    back.add_argument(
        "--days", type=float, default=400.0, metavar="N", help="no more between two cases (default: %(default)g)"
    )
    back.add_argument(
        "--starts", type=float, metavar="N", help="no more engine starts between two cases, where they are told"
    )
    back.add_argument("--part", default="", metavar="NUMBER", help="where one part went, by its serial number")
    back.add_argument(
        "--most", type=int, default=5, metavar="N", help="how many defects to show, the latest first (%(default)s)"
    )
    back.add_argument("--html", type=Path, metavar="FILE", help="write them there as a page")
    back.add_argument("--json", action="store_true", help="everything, as JSON")


def _store_parsers(commands: Any, stored: argparse.ArgumentParser) -> None:
    """Add ``store``: where cases are kept, and how they come together."""
    store = commands.add_parser("store", parents=[stored], help="where cases are kept; bring cases home, move house")
    store.set_defaults(run=_store, command="show")
    what = store.add_subparsers(metavar="WHAT")

    def command(name: str, text: str) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = what.add_parser(name, parents=[stored], help=text)
        parser.set_defaults(run=_store, command=name)
        return parser

    command("show", "where it is, what it holds, what is forked")
    merge = command("merge", "take in case files and other stores, in any order; twice changes nothing")
    merge.add_argument("files", nargs="+", type=Path, metavar="FILE", help="case files, stores, or folders of them")
    copy = command("copy", "copy everything to another store, such as a PostgreSQL one")
    copy.add_argument("to", metavar="STORE", help="a file, or the address of a database")
    command("forks", "cases with more than one end, and where they part")
    command("rebuild", "make the lists that searches use again, from the events")
    kept = command("knowledge", "the versions of the knowledge that cases here were worked with")
    kept.add_argument("--keep", type=Path, metavar="FOLDER", help="keep this one as well, for trails from elsewhere")


def _joined(argv: Sequence[str]) -> list[str]:
    """Return the arguments with a word after a command that is a command of its own joined to it.

    ``cases`` with none of its words is ``cases list``, so that it can be followed by what is searched for.
    """
    if argv[:1] == ["cases"] and not {*CASES, "-h", "--help"} & set(argv[1:]):
        return ["cases", "list", *argv[1:]]
    if len(argv) > 1 and argv[1] in WORDS.get(argv[0], ()):
        return [" ".join(argv[:2]), *argv[2:]]
    return list(argv)


def _version() -> str:
    from isolate import __version__

    return __version__


# -- what several commands need ------------------------------------------------------------------


def _load(arguments: argparse.Namespace) -> Loaded:
    from isolate.kb.load import load

    return load(arguments.knowledge)


def _now() -> Any:
    from datetime import datetime

    return datetime.now(UTC)


# -- chase -----------------------------------------------------------------------------------------


def _chase(arguments: argparse.Namespace) -> int:
    if arguments.hand_over is not None and (arguments.resume is not None or arguments.answers is not None):
        raise Failure("--hand-over passes a case on as it stands; it goes with neither --resume nor --answers")
    if arguments.sign and (arguments.resume or arguments.hand_over or arguments.answers is not None):
        raise Failure("--sign is for a new case; in a file they stand as signs: under case:, in a case t tells them")
    again = arguments.resume is not None or arguments.hand_over is not None or arguments.answers is not None
    if again and arguments.starts is not None:
        raise Failure("--starts is for a new case; in a file they stand as starts: under case:, in a case t tells them")
    if again and arguments.age:
        raise Failure("--age is for a new case; in a file they stand as ages: under case:, in a case t tells them")
    if again and arguments.engine_starts is not None:
        raise Failure(
            "--engine-starts is for a new case; in a file they stand as engine_starts: under case:, in a case t tells "
            "them"
        )
    if again and (arguments.by or arguments.hands):
        raise Failure("--by and --hands are for a new case; in a file they stand under case:, in a case t tells them")
    if arguments.afresh and (arguments.resume is not None or arguments.hand_over is not None):
        raise Failure("--afresh is for a new case; in a case t tells that the earlier ones were on another engine")
    if arguments.answers is not None:
        return _chase_script(arguments)
    from isolate.terminal.start import chase

    return chase(arguments)


def _chase_script(arguments: argparse.Namespace) -> int:
    from isolate.case import inherit
    from isolate.case.chase import Chase
    from isolate.case.intake import Refused
    from isolate.case.play import Clock, OutOfAnswers, play
    from isolate.case.settings import opening
    from isolate.case.store import open_store
    from isolate.case.written import Answers, Script, read_for

    if arguments.resume is not None:
        raise Failure("--answers opens a case of its own; it does not go with --resume")
    loaded = _load(arguments)
    written, kit = read_for(arguments.answers, Answers, _kits(loaded.knowledge))
    with open_store(arguments.store) as store:
        intake = written.case.intake()
        notes: tuple[str, ...] = ()
        if not arguments.afresh:
            intake, notes = inherit.with_earlier(store, intake, _now())
        # A file answers at once: the minutes, waits among them, pass by the book, and the trail says so.
        clock = Clock(_now())
        store.keep_knowledge(loaded)
        chase = Chase.begin(kit, store, new_case(intake), intake, clock, opening())
        chase.note("Played from a file of answers: times are by the book, nobody waited or looked at an aircraft.")
        print(f"case {chase.id}")
        for line in (*notes, *inherit.carried(kit.model, intake).short()):
            _say(line, "  ")
        try:
            done = play(
                chase,
                Script(written, kit.fitted, arguments.answers.parent),
                clock,
                lambda step, said: _print_step(chase, step, said),
            )
        except (OutOfAnswers, Refused) as error:
            if isinstance(error, OutOfAnswers) and written.hand_over is not None:
                print()
                print(chase.pass_on(written.hand_over.facts()))
                print(f"\nThe case stands as far as it came: isolate chase --resume {chase.id}")
                return 0
            chase.leave()
            raise Failure(
                f"{arguments.answers}: {str(error).rstrip('.')}. The case stands as far as it came: isolate chase "
                f"--resume {chase.id}"
            ) from None
        print()
        print(done.record)
    return 0


def new_case(intake: Any) -> str:
    """Return an id for a new case."""
    from isolate.case.chain import case_id

    return case_id(intake.aircraft, intake.position, _now(), os.urandom(8))


# -- cases -----------------------------------------------------------------------------------------


def _cases_list(arguments: argparse.Namespace) -> int:
    from isolate.terminal import stores

    return stores.cases(arguments)


def _cases_export(arguments: argparse.Namespace) -> int:
    from isolate.case.store import open_store

    path = arguments.file or Path(f"{arguments.case}.jsonl")
    with open_store(arguments.store, there=True) as store:
        store.export_case(arguments.case, path, overwrite=arguments.overwrite)
    print(f"{arguments.case} is in {path}")
    return 0


def _cases_import(arguments: argparse.Namespace) -> int:
    from isolate.case.store import open_store
    from isolate.review.reading import taken as read

    events, carried = read(arguments.file)
    if "drill" in events[0].body:
        raise Failure(f"{arguments.file} is a drill, and no case of a real aircraft; isolate drill class reads it")
    from isolate.terminal.stores import taken

    with open_store(arguments.store) as store:
        for line in (*carried, *taken(store, store.take([events], str(arguments.file))[0])):
            _say(line)
    return 0


def _cases_show(arguments: argparse.Namespace) -> int:
    from isolate.case.case import fold
    from isolate.case.parts import finding_lines
    from isolate.case.store import open_store

    with open_store(arguments.store, there=True) as store:
        state = fold(store.events(arguments.case))
        if arguments.hand_over:
            if state.passed_on is None:
                raise Failure(
                    f"case {arguments.case} was never passed on; isolate chase --hand-over {arguments.case} does it"
                )
            _text(state.passed_on["text"])
            return 0
        if state.ended:
            _text("\n".join([state.record, *finding_lines(state)]))
            return 0
        from isolate.case.chase import Chase
        from isolate.case.record import NOT_ENDED, record

        if state.intake is None:
            raise Failure(f"case {arguments.case} does not begin with its opening")
        kit = _kits(_load(arguments).knowledge)(state.intake.engine)
        _text(record(Chase(kit, store, arguments.case, _now), NOT_ENDED))
    return 0


def _cases_finding(arguments: argparse.Namespace) -> int:
    from isolate.case.case import fold
    from isolate.case.events import now_text
    from isolate.case.parts import finding_event, finding_lines
    from isolate.case.store import open_store

    with open_store(arguments.store, there=True) as store:
        events = store.events(arguments.case)
        repair, finding, text, report = arguments.repair, arguments.finding, arguments.text, arguments.report
        mode, state = arguments.mode.strip(), fold(events)

        def fitted() -> Fitted | None:
            from isolate.kb.fit import fit

            knowledge, engine = _load(arguments).knowledge, state.intake.engine if state.intake else ""
            return fit(knowledge, engine) if engine in knowledge.engines else None

        if finding is None:
            from isolate.terminal.finding import ask

            repair, finding, text, report, mode = ask(state, repair, text, report, mode, fitted)
        event = finding_event(events, repair, finding, text, report, mode, fitted() if mode else None)
        store.append_all(arguments.case, [event], now_text(_now()), after=events[-1].hash)
        print("\n".join(finding_lines(fold(store.events(arguments.case)))[1:]))
    return 0


# -- review, repeats, store --------------------------------------------------------------------------


def _review(arguments: argparse.Namespace) -> int:
    from isolate.terminal import reviews

    return reviews.run(arguments)


def _store(arguments: argparse.Namespace) -> int:
    from isolate.terminal import stores

    return stores.run(arguments)


# -- next ------------------------------------------------------------------------------------------


def _next(arguments: argparse.Namespace) -> int:
    from isolate.case.advise import advise
    from isolate.review.reading import taken

    if arguments.depth is not None:
        from isolate.case.ahead import as_dict, checked_depth, of_case

        checked_depth(arguments.depth)
    events, _ = taken(arguments.file)
    kits = _kits(_load(arguments).knowledge)
    advice = advise(kits, events, _now)
    ahead = None
    if arguments.depth is not None:
        from rich.console import Console

        # Shown on a terminal alone, beside what is printed, and gone when it is done.
        with Console(stderr=True).status("Looking ahead") as status:
            ahead = of_case(
                kits, events, _now(), arguments.depth, lambda moves: status.update(f"Looking ahead: {moves} moves")
            )
        advice["plan"] = None if ahead is None else as_dict(ahead)
    if arguments.json:
        import json

        print(json.dumps(advice, indent=2, ensure_ascii=False))
        return 0
    print(f"case {advice['case']}: {advice['state']}")
    for warning in advice["warnings"]:
        print(f"note: {warning}")
    if ahead is not None:
        from isolate.terminal.ahead import tree

        console = Console(highlight=False)
        console.print(tree(ahead, console.width))
        return 0
    if arguments.depth is not None:
        print("The case has ended: no move is ahead of it.")
        return 0
    for number, move in enumerate(advice["moves"][:8], start=1):
        figures = f"{move['now']:.0f} min now, about {move['expected']:.0f} in all"
        _say(f"{number:2}. {move['title']} [{move['move']}]: {figures}", "    ")
    _say("suspects: " + ", ".join(f"{s['title']} {s['probability']:.0%}" for s in advice["posterior"]["faults"][:5]))
    return 0


# -- drill -----------------------------------------------------------------------------------------


def _drill(arguments: argparse.Namespace) -> int:
    from isolate.terminal import drills

    return drills.run(arguments)


# -- calc ------------------------------------------------------------------------------------------


_CALC = ("starts", *CALCULATIONS)


def _calc_alone(arguments: argparse.Namespace) -> int:
    """List what can be worked out, or say that there is no such calculation."""
    from isolate.terminal import calcs

    words = arguments.rest
    if words and words[0] not in ("-h", "--help"):
        return calcs.unknown(words[0])
    calcs.listing()
    return 0


def _calc(arguments: argparse.Namespace) -> int:
    from isolate.terminal.calcs import run

    return run(arguments.calculation, arguments.rest)


def _calc_starts(arguments: argparse.Namespace) -> int:
    from datetime import date

    from isolate.case import history, start_log

    model = _kits(_load(arguments).knowledge)(arguments.engine).model
    channels, today = model.fitted.channels, date.today()
    if arguments.file == "-":
        if sys.stdin.isatty():
            print("Paste the table, then Ctrl-D on a line of its own.", file=sys.stderr)
        read = history.read(sys.stdin.buffer.read(), channels, today)
    else:
        read = history.read_file(Path(arguments.file), channels, today)
    if arguments.json:
        import json

        found = start_log.said(model, read).as_dict() if read.starts else None
        print(json.dumps({"read": read.as_dict(), "said": found}, indent=2, ensure_ascii=False))
        return 0 if read.starts else 1
    for line in start_log.read_lines(read):
        _say(line, "    ")
    if not read.starts:
        raise Failure("no start could be read, so nothing can be said of them")
    from rich.console import Console

    from isolate.terminal.history import BARS, PLAIN_BARS, picture

    console = Console(highlight=False)
    bars = BARS if "utf" in console.encoding.lower() else PLAIN_BARS
    print()
    console.print(picture(read.newest, channels, console.width, read.older + 1, bars))
    print()
    for line in start_log.lines(start_log.said(model, read)):
        _say(line, "  ")
    return 0


# -- kb --------------------------------------------------------------------------------------------


def _kb_check(arguments: argparse.Namespace) -> int:
    from isolate.kb.check import check

    loaded = _load(arguments)
    problems = check(loaded)
    for problem in problems:
        print(problem)
    if problems:
        print(f"{len(problems)} to mend.")
        return 1
    kb = loaded.knowledge
    modes = sum(len(z.modes) for z in kb.zones.values())
    print(
        f"Nothing to mend: {modes} fault modes, {len(kb.checks)} checks, {len(kb.access)} access states, "
        f"{len(kb.repairs)} repairs, {len(kb.rules)} rules, {len(kb.cautions)} cautions, "
        f"{len(kb.complaints)} complaints, {len(kb.signs)} signs, {len(kb.engines)} engines, "
        f"{len(kb.sources)} sources. Its digest: {kb.digest[:12]}"
    )
    return 0


def _kb_page(arguments: argparse.Namespace) -> int:
    from rich.console import Console

    from isolate.kb.page import page
    from isolate.terminal import tables

    console = Console(highlight=False)
    console.print(tables.page(page(_load(arguments), arguments.name), console.width))
    return 0


def _kb_figures(arguments: argparse.Namespace) -> int:
    from rich.console import Console

    from isolate.kb.figures import figures_of
    from isolate.kb.fit import fit
    from isolate.terminal import tables

    console, base = Console(highlight=False), _load(arguments).knowledge
    for engine in [arguments.engine] if arguments.engine else base.engines:
        fitted = fit(base, engine)
        console.print(tables.figures(figures_of(fitted), console.width, figures_of(fitted, evidence="one")))
    return 0


def _kb_sheet(arguments: argparse.Namespace) -> int:
    from datetime import date

    from isolate.case.sheet_page import printed

    out: Path | None = arguments.out
    if out is not None and out.exists() and not arguments.overwrite:
        raise Failure(f"{out} is there already; --overwrite replaces it")
    if out is not None:
        from isolate.case.store import spared

        spared(out)
    html = printed(
        _kits(_load(arguments).knowledge)(arguments.engine),
        arguments.complaint,
        date.today(),
        arguments.pages,
        arguments.channel,
        arguments.place,
        arguments.condition,
    )
    # Letters as numbers where a terminal or an old editor might not know them.
    html = html.encode("ascii", "xmlcharrefreplace").decode("ascii")
    if out is None:
        print(html, end="")
        return 0
    out.write_text(html, encoding="ascii")
    _say(f"{out}: {html.count('<section ')} pages. Print it at 100 % on A4 or US Letter.")
    return 0


def _kb_trial(arguments: argparse.Namespace) -> int:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from isolate.drill import chart, tally, trial

    if arguments.workers is not None and arguments.workers < 1:
        raise Failure(f"--workers takes at least 1 process, not {arguments.workers}")
    if arguments.dask is not None and arguments.workers is not None:
        raise Failure("--workers is for this machine; with --dask the cluster has its own")
    if arguments.picture is not None:
        chart.able(arguments.picture)
    for path in (arguments.json, arguments.picture):
        # Said before the cases are played, not after.
        if path is not None and not path.parent.is_dir():
            raise Failure(f"{path}: there is no folder {path.parent}")
        if path is not None and path.exists() and not arguments.overwrite:
            raise Failure(f"{path} is there already; --overwrite replaces it")
        if path is not None:
            from isolate.case.store import spared

            spared(path)
        if path is not None and not os.access(path if path.exists() else path.parent, os.W_OK):
            raise Failure(f"{path}: it cannot be written there")
    asked = trial.ask(
        arguments.cases,
        arguments.engine,
        arguments.complaint,
        arguments.policy,
        arguments.place,
        arguments.seed,
        arguments.budget,
        arguments.knowledge,
    )
    columns = TextColumn("cases"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    workers = arguments.workers or trial.processors()
    with trial.players(workers, arguments.dask) as by:
        work = trial.blocks(asked, by.workers)
        with Progress(*columns, console=Console(stderr=True), disable=not sys.stderr.isatty(), transient=True) as bar:
            task = bar.add_task("cases", total=len(asked.policies) * len(asked.engines) * asked.cases)
            done = trial.run(work, by, lambda one: bar.advance(task, len(one.played)))
    found = tally.report(asked, done)
    print("\n".join(tally.lines(found)))
    if arguments.json is not None:
        import json

        arguments.json.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")
    if arguments.picture is not None:
        chart.draw(found, arguments.picture)
    return 0


def _kb_schema(arguments: argparse.Namespace) -> int:
    import json

    from isolate.kb.schema import schema

    print(json.dumps(schema(None if arguments.plain else _load(arguments).knowledge), indent=2))
    return 0

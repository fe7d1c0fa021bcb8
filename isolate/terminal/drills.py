"""The drill commands: play one, by hand or from a file; mark many; debriefs, progress, a class; what authors need."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from isolate.case.intake import Refused
from isolate.case.store import Store, open_store, spared
from isolate.terminal.plain import kits, print_step, say

if TYPE_CHECKING:
    import argparse

    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.drill.debrief import Debrief
    from isolate.drill.drive import Drive
    from isolate.drill.scenario import Scenario

STORE = ("ISOLATE_DRILLS", "drills.db")
"""The variable and the file that say where drills are kept."""


def run(arguments: argparse.Namespace) -> int:
    """Run a drill command; return its exit status."""
    which = sys.modules[__name__]
    command = arguments.command.partition(" ")[2]
    return int(getattr(which, f"_{command or 'drill'}")(arguments))


def _store(arguments: argparse.Namespace, new: bool = False) -> Store:
    """Open the store of drills; ``new``: to begin one, so that it is made where there is none.

    Raises Refused where there is none to read, and where the store is one of real cases.
    """
    if not new:
        where = arguments.drills or os.environ.get(STORE[0])
        if where and not Path(os.path.expanduser(where)).exists():
            raise Refused(f"{where}: there are no drills; isolate drill lists the scenarios")
    store = open_store(arguments.drills, named=STORE)
    for case in store.cases()[:1]:
        if "drill" not in store.events(case.id)[0].body:
            store.close()
            raise Refused(f"{store.path} keeps cases of real aircraft; drills are kept in a file of their own")
    return store


def _folder(arguments: argparse.Namespace) -> Path:
    from isolate.kb.load import shipped_scenarios

    folder: Path = arguments.scenarios or shipped_scenarios()
    if not folder.is_dir():
        raise Refused(f"{folder}: there is no such folder of scenarios")
    return folder


def _kits(arguments: argparse.Namespace) -> Callable[[str], Kit]:
    from isolate.kb.load import load

    return kits(load(arguments.knowledge).knowledge)


def _trainee(arguments: argparse.Namespace) -> str:
    """Return who practises: as told, else the variable, else whoever is logged in."""
    told = (arguments.trainee or os.environ.get("ISOLATE_TRAINEE", "")).strip()
    if told:
        return str(told)
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "trainee"


def _now() -> str:
    from datetime import UTC, datetime

    from isolate.case.events import now_text

    return now_text(datetime.now(UTC))


# -- playing ---------------------------------------------------------------------------------------


def _drill(arguments: argparse.Namespace) -> int:
    from isolate.case.written import read

    chosen = [arguments.name is not None, arguments.random, arguments.resume is not None, arguments.script is not None]
    if sum(chosen) > 1:
        raise Refused("a drill is one scenario, or --random, or --resume, or --script: say one of them")
    for name, told in (("--level", arguments.level), ("--about", arguments.about), ("--engine", arguments.engine)):
        if told is not None and not arguments.random:
            raise Refused(f"{name} says what --random draws")
    if arguments.solve and arguments.name is None:
        raise Refused("--solve plays a scenario: name one")
    if arguments.script is not None:
        return _script(arguments)
    if arguments.resume is not None:
        return _resume(arguments)
    if arguments.random:
        return _random(arguments)
    if arguments.name is None:
        return _list(arguments)
    from isolate.drill.scenario import Scenario, find

    path = find(arguments.name, _folder(arguments))
    if arguments.solve:
        return _solve(arguments, path)
    scenario = read(path, Scenario)
    kit = _kits(arguments)(scenario.case.engine)
    return _play(arguments, kit, path.stem, read(path, Scenario, kit.fitted), arguments.seed, None)


def _list(arguments: argparse.Namespace) -> int:
    """List the scenarios, the easiest first; those that were not measured last."""
    from isolate.case.written import read
    from isolate.drill.measure import read as read_table
    from isolate.drill.scenario import Scenario, names
    from isolate.kb.fit import Fitted, fit
    from isolate.kb.load import load

    folder, knowledge = _folder(arguments), load(arguments.knowledge).knowledge
    table, fits = read_table(folder), dict[str, Fitted]()
    rows = []
    for name in names(folder):
        scenario = read(folder / f"{name}.yaml", Scenario)
        case = scenario.case
        if case.engine not in fits:
            fits[case.engine] = fit(knowledge, case.engine)
        level = table.level(fits[case.engine], case.complaint, case.channel, scenario.truth, case.place)
        rows.append((level.get("ratio", float("inf")), name, case.engine, level["name"], scenario.title))
    for _, name, engine, level, title in sorted(rows):
        say(f"{name:20} {engine:12} {level:13} {title}", " " * 48)
    return 0


def _solve(arguments: argparse.Namespace, path: Path) -> int:
    from isolate.case.written import read
    from isolate.drill.scenario import Scenario, solve

    scenario = read(path, Scenario)
    print(scenario.title)
    say(scenario.story)
    print()
    made = _kits(arguments)
    solved = solve(path, made, print_step, arguments.seed)
    fitted = made(scenario.case.engine).fitted
    print()
    print(f"End: {solved.done.end}; {solved.book_minutes:.0f} min by the book.")
    for found in solved.verdict:
        print(f"Verdict: {found.title} ({found.probability:.0%}), {fitted.repairs[found.repair].title}")
    print(f"Truth:   {', '.join(solved.truth) or 'no fault'}")
    print("The verdict is the truth." if solved.right else "THE VERDICT IS NOT THE TRUTH.")
    return 0 if solved.right else 1


def _random(arguments: argparse.Namespace) -> int:
    from isolate.drill.measure import read
    from isolate.drill.practice import draw
    from isolate.kb.load import load

    seed = arguments.seed if arguments.seed is not None else int.from_bytes(os.urandom(3), "big")
    made, engines = _kits(arguments), tuple(load(arguments.knowledge).knowledge.engines)
    table = read(_folder(arguments))
    scenario, level = draw(
        made, engines, seed, arguments.level, arguments.about, arguments.engine, measured=table
    )
    return _play(arguments, made(scenario.case.engine), f"random-{seed}", scenario, None, level)


def _play(
    arguments: argparse.Namespace, kit: Kit, name: str, scenario: Scenario, seed: int | None, level: Any
) -> int:
    from isolate.drill.drive import Drive

    _needs_terminal()
    with _store(arguments, new=True) as store:
        drive = Drive.begin(kit, store, _id(name), name, scenario, _trainee(arguments), _now(), seed, level)
        return _at_the_terminal(store, kit, drive)


def _resume(arguments: argparse.Namespace) -> int:
    from isolate.drill.drive import Drive, told

    _needs_terminal()
    with _store(arguments) as store:
        drill = arguments.resume
        if not drill:
            drill = next((case.id for case in store.cases() if not case.ended), None)
            if drill is None:
                raise Refused("there is no drill to go on with; isolate drill lists the scenarios")
        events = store.events(drill)
        _, scenario = told(events)
        kit = _kits(arguments)(scenario.case.engine)
        if not _same_knowledge(kit, events):
            say("The knowledge has changed since this drill was begun: the aircraft may answer otherwise.")
        if any(e.kind == "debriefed" for e in events):
            say("It was debriefed already: what is wrong was told, so it counts no more.")
        return _at_the_terminal(store, kit, Drive.resume(kit, store, drill))


def _needs_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Refused("a drill is played at a terminal; --script FILE plays one from a file of moves")


def _at_the_terminal(store: Store, kit: Kit, drive: Drive) -> int:
    from isolate.terminal.drill import play

    return play(drive, kit, lambda: _debriefed(store, kit, drive.chase.id))


def _id(name: str) -> str:
    return f"{name[:60]}-{os.urandom(4).hex()}"


def _debriefed(store: Store, kit: Kit, drill: str) -> Debrief:
    """Return the debrief of a drill and keep it on its trail, where it was begun with the knowledge at hand."""
    from isolate.drill.debrief import debrief
    from isolate.drill.drive import known

    events = store.events(drill)
    known(kit.fitted, events)
    made = debrief(kit, events)
    body = made.as_dict()
    if not _same_knowledge(kit, events):
        print("isolate: this drill was begun with other knowledge; this debrief is not kept", file=sys.stderr)
    elif not any(e.kind == "debriefed" and e.body == body for e in events[-1:]):
        store.append(drill, "debriefed", body, events[-1].time, after=events[-1].hash)
    return made


def _same_knowledge(kit: Kit, events: Sequence[Event]) -> bool:
    return bool(events[0].body.get("knowledge") == kit.fitted.knowledge.digest)


# -- from files ------------------------------------------------------------------------------------


def _script(arguments: argparse.Namespace) -> int:
    from isolate.drill.debrief_page import text

    with _store(arguments, new=True) as store:
        made = _played(arguments, store, arguments.script, _kits(arguments), aloud=True)
    print()
    for line in text(made, _width()):
        print(line)
    return 0 if made.right and not made.safety else 1


def _played(
    arguments: argparse.Namespace, store: Store, path: Path, made: Callable[[str], Kit], aloud: bool
) -> Debrief:
    """Play a file of moves and return its debrief. Raises KnowledgeError with file and line."""
    from isolate.drill.drive import Drive
    from isolate.drill.script import play, read_script, scenario_of

    written = read_script(path)
    name, scenario, kit = scenario_of(written, path, _folder(arguments), made)
    trainee = written.trainee or getattr(arguments, "trainee", None) or path.stem
    drive = Drive.begin(kit, store, _id(name), name, scenario, trainee, _now(), written.seed)
    play(drive, written, path, _aloud(drive) if aloud else lambda said, came: None)
    return _debriefed(store, kit, drive.chase.id)


def _aloud(drive: Drive) -> Callable[[str, Any], None]:
    def tell(said: str, came: Any) -> None:
        what = "" if came is None else came.said or came.kind
        say(f"{drive.minutes:4.0f} min  {said}: {what}".rstrip(": "), " " * 10)
        for danger in () if came is None else came.dangers:
            say(f"          STOPPED. {danger.says} {danger.harm}", " " * 10)

    return tell


def _mark(arguments: argparse.Namespace) -> int:
    """Play many files of moves; a file that cannot be played says why, and the others are marked."""
    from isolate.drill.progress import marks, write_csv
    from isolate.kb.fit import UnknownName
    from isolate.kb.read import KnowledgeError

    _free(arguments.csv, arguments.overwrite)
    made, found, failed = _kits(arguments), [], 0
    with _store(arguments, new=True) as store:
        for path in arguments.files:
            try:
                found.append(_played(arguments, store, path, made, aloud=False).as_dict())
            except (KnowledgeError, UnknownName, Refused, OSError) as error:
                failed += 1
                print(f"isolate: {_said(error, path)}", file=sys.stderr)
    for line in marks(found, _width()):
        print(line)
    if arguments.csv is not None:
        write_csv(arguments.csv, found, overwrite=arguments.overwrite)
        print(f"{arguments.csv}: {len(found)} rows")
    return 1 if failed else 0


def _said(error: Exception, path: Path) -> str:
    text = error.strerror.lower() if isinstance(error, OSError) and error.strerror else str(error)
    return text if str(path) in text else f"{path}: {text}"


# -- looking back ----------------------------------------------------------------------------------


def _debrief(arguments: argparse.Namespace) -> int:
    from isolate.drill.debrief_page import page, text
    from isolate.drill.drive import told

    for path in (arguments.html, arguments.text):
        _free(path, arguments.overwrite)
    with _store(arguments) as store:
        drill = arguments.drill or next((case.id for case in store.cases()), None)
        if drill is None:
            raise Refused("there is no drill yet; isolate drill lists the scenarios")
        events = store.events(drill)
        _, scenario = told(events)
        over = any(e.kind in ("closed", "debriefed") for e in events)
        if not (over or arguments.unfinished):
            raise Refused(
                f"{drill} has not ended, and its debrief tells what is wrong with the aircraft: "
                f"isolate drill --resume {drill} goes on, --unfinished debriefs it as it is"
            )
        made = _debriefed(store, _kits(arguments)(scenario.case.engine), drill)
    if arguments.html is not None:
        arguments.html.write_text(page(made), encoding="utf-8")
        print(f"{arguments.html}: the debrief of {drill}")
    if arguments.text is not None:
        arguments.text.write_text("\n".join(text(made, 80)) + "\n", encoding="utf-8")
        print(f"{arguments.text}: the debrief of {drill}")
    if arguments.json:
        import json

        print(json.dumps(made.as_dict(), indent=2, ensure_ascii=False))
    elif arguments.html is None and arguments.text is None:
        for line in text(made, _width()):
            print(line)
    return 0


def _progress(arguments: argparse.Namespace) -> int:
    from isolate.drill.progress import lines, of, topics_of
    from isolate.kb.fit import fit
    from isolate.kb.load import load

    knowledge = load(arguments.knowledge).knowledge
    topics = sorted({topic for engine in knowledge.engines for topic in topics_of(fit(knowledge, engine))})
    with _store(arguments) as store:
        found = of(store, _trainee(arguments), topics)
    for line in lines(found, _width()):
        print(line)
    return 0


def _class(arguments: argparse.Namespace) -> int:
    from isolate.drill.progress import class_lines, gather, write_csv

    _free(arguments.csv, arguments.overwrite)
    if arguments.files:
        gathered = gather(arguments.files)
    else:
        with _store(arguments) as store:
            gathered = gather([store.path or store])
    for sentence in gathered.problems:
        print(f"isolate: {sentence}", file=sys.stderr)
    for line in class_lines(gathered, _width()):
        print(line)
    if arguments.csv is not None:
        write_csv(arguments.csv, gathered.drills, overwrite=arguments.overwrite)
        print(f"{arguments.csv}: {len(gathered.drills)} rows")
    return 1 if gathered.problems else 0


def _export(arguments: argparse.Namespace) -> int:
    path = arguments.file or Path(f"{arguments.drill}.jsonl")
    with _store(arguments) as store:
        store.export_case(arguments.drill, path, overwrite=arguments.overwrite)
    print(f"{arguments.drill} is in {path}")
    return 0


# -- authors ---------------------------------------------------------------------------------------


def _check(arguments: argparse.Namespace) -> int:
    from isolate.drill.author import check
    from isolate.drill.measure import read
    from isolate.drill.scenario import find, names
    from isolate.kb.fit import UnknownName
    from isolate.kb.read import KnowledgeError

    folder, made, bad = _folder(arguments), _kits(arguments), 0
    for name in arguments.names or names(folder):
        try:
            report = check(find(name, folder), made, read(folder))
        except (KnowledgeError, UnknownName, Refused, OSError) as error:
            bad += 1
            print(f"isolate: {_said(error, Path(name)) if isinstance(error, OSError) else error}", file=sys.stderr)
            continue
        bad += not report.ok
        print(f"{report.path}:")
        for line in report.lines():
            say(f"  {line}", "      ")
    return 1 if bad else 0


def _new(arguments: argparse.Namespace) -> int:
    from isolate.drill.author import new

    _free(arguments.out, arguments.overwrite)
    with open_store(arguments.store) as store:
        events = store.events(arguments.case)
    about = events[0].body
    engine = str(about.get("engine", ""))
    name = arguments.out.stem if arguments.out is not None else f"{about.get('complaint', 'case')}-to-name"
    written = new(events, name, _kits(arguments)(engine))
    if arguments.out is None:
        print(written, end="")
        return 0
    arguments.out.write_text(written, encoding="utf-8")
    say(f"{arguments.out}: read it before you give it to anybody, then isolate drill check {arguments.out}")
    return 0


# -- what they share -------------------------------------------------------------------------------


def _free(path: Path | None, overwrite: bool) -> None:
    """Raise Refused where a file is there that may not be replaced, before anything is done for it."""
    if path is not None and path.exists() and not overwrite:
        raise Refused(f"{path} is there already; --overwrite replaces it")
    if path is not None:
        spared(path)


def _width() -> int:
    import shutil

    return max(40, min(100, shutil.get_terminal_size().columns - 1)) if sys.stdout.isatty() else 80



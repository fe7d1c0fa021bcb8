"""What is asked when a case is opened. The first questions need no knowledge, so that it may load meanwhile."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast, get_args

from isolate.kb.spoken import words as spoken
from isolate.terminal import words
from isolate.terminal.complaint import meant, search, sign_meant, signs_near
from isolate.terminal.keys import Bar, Choices, Face, Key, Search, Stopped, quiet
from isolate.terminal.words import listed, plain

if TYPE_CHECKING:
    from rich.console import Console

    from isolate.case.case import Age, Coming, Intake, Person, Seen, Work
    from isolate.kb.fit import Fitted
    from isolate.reasoning.starts import Start

__all__ = ["Stopped", "ages", "ask", "done", "minutes_left", "missing", "people", "signs", "starts"]

_T = TypeVar("_T")
LONGEST = 60
"""Letters of an aircraft's or a person's name."""


class Unclear(ValueError):
    """What was typed cannot be taken; the message says why and what would do."""


def ask(
    fitted_by_engine: Callable[[str], Fitted],
    engines: Mapping[str, str] | Callable[[], Mapping[str, str]],
    given: Mapping[str, Any],
    console: Console | None = None,
    face: Face | None = None,
) -> Intake:
    """Ask what ``given`` (fields of an Intake) lacks and return the intake.

    ``engines``: profile name → title, or what returns it; like ``fitted_by_engine`` it is not touched before the
    aircraft and the position are told. Raises Stopped, after saying that there is no case.
    """
    from rich.console import Console

    from isolate.terminal.keys import face as fitting

    console = console or Console(highlight=False, markup=False, emoji=False)
    face = face or fitting(console)
    asking = _Asking(console, face)
    try:
        if console.width < words.NARROWEST:
            asking.say(words.TOO_NARROW.format(width=console.width, least=words.NARROWEST), "bold")
            raise Stopped(left=False)
        with quiet(face):
            return _all(asking, fitted_by_engine, engines, given)
    except (Stopped, KeyboardInterrupt) as stop:
        asking.say(words.NO_CASE)
        raise Stopped(words.NO_CASE, left=getattr(stop, "left", True)) from None


class _Asking:
    """Puts questions, and takes no answer that its reader does not."""

    def __init__(self, console: Console, face: Face) -> None:
        self.console, self.face = console, face
        self.about: list[str] = []
        self.noted: dict[str, None] = {}
        """Signs told where the complaint was asked for."""

    def say(self, what: str, style: str = "") -> None:
        from rich.text import Text

        self.console.print(Text(plain(what), style=style))

    def _bar(self, enter: bool = True) -> Bar:
        known = ", ".join(self.about)

        def short(line: str, width: int) -> str:
            return line if len(line) < width else f"{line[: width - 2]}…"

        def lines(width: int) -> list[tuple[str, str]]:
            return [
                ("open", short(" no case yet: it begins with the last of these questions", width)),
                ("plain", short(f" so far: {known}" if known else " nothing told yet", width)),
                ("keys", short(" Enter takes the answer  Ctrl-D stops" if enter else " Ctrl-D stops", width)),
            ]

        return lines

    def line(self, prompt: str, read: Callable[[str], _T], choices: Choices = (), hint: str = "") -> _T:
        """Ask until ``read`` takes the answer; it raises Unclear for one that will not do."""
        if hint:
            self.say(hint, "dim")
        while True:
            told = self.face.line(f"{prompt}:", self._bar(), words.INTERRUPT_INTAKE, choices)
            try:
                return read("" if told is None else told)
            except Unclear as error:
                self.say(str(error), "bold")

    def choose(self, prompt: str, named: Mapping[str, str], usual: str = "") -> str:
        """Ask for one of a few by its digit; Enter takes the ``usual`` one, where there is one."""
        from isolate.terminal.layout import keyed

        names = list(named)
        self.say(f"{prompt}:", "bold")
        self.console.print(keyed([(str(i), named[n], "") for i, n in enumerate(names, 1)], self.console.width))
        keys = [Key(str(i), name, named[name]) for i, name in enumerate(names, start=1)]
        which = f"1-{len(names)}"
        if usual:
            keys.append(Key("", usual, named[usual]))
            which += f" (Enter: {names.index(usual) + 1})"
        pressed = self.face.key(f"{which}:", keys, self._bar(bool(usual)), words.INTERRUPT_INTAKE)
        return names[int(pressed) - 1] if pressed else usual


def _all(
    asking: _Asking,
    fitted_by_engine: Callable[[str], Fitted],
    engines: Mapping[str, str] | Callable[[], Mapping[str, str]],
    given: Mapping[str, Any],
) -> Intake:
    told = {name: value for name, value in given.items() if value is not None}

    def lacking(name: str) -> bool:
        return name not in told

    if lacking("aircraft"):
        told["aircraft"] = asking.line("Aircraft, fleet number", lambda t: _name(t, "which aircraft it is"))
    asking.about.append(f"aircraft {plain(told['aircraft'])}")
    if lacking("position"):
        told["position"] = asking.line("Engine position", lambda t: _name(t, "which engine it is"))
    asking.about.append(f"engine {plain(told['position'])}")

    from isolate.case.case import Intake

    known = engines() if callable(engines) else engines
    if lacking("engine") or told["engine"] not in known:
        if "engine" in told:
            asking.say(f"No engine type is called {plain(told['engine'])!r}.", "bold")
        told["engine"] = next(iter(known)) if len(known) == 1 else asking.choose("Engine type", known)
    asking.about.append(plain(known[told["engine"]]).split(",")[0])
    fitted = fitted_by_engine(told["engine"])
    if lacking("complaint") or told["complaint"] not in fitted.complaints:
        if "complaint" in told:
            asking.say(f"No complaint is called {plain(told['complaint'])!r}.", "bold")
        told["complaint"] = _complaint(asking, fitted)
    complaint = fitted.complaints[told["complaint"]]
    asking.about.append(complaint.title)
    if complaint.asks_channel and lacking("channel"):
        told["channel"] = asking.choose("Which channel", {c: f"channel {c}" for c in fitted.channels})
    told["signs"] = _signs(asking, fitted, told.get("signs"))
    if "ages" in told:
        told["ages"] = _ages(asking, fitted, told["ages"])
    if isinstance(told.get("starts"), Path):
        told |= _given_file(asking, told.pop("starts"), fitted)
    if lacking("starts"):
        told["starts"], read = asking.line(
            "Recent starts, oldest first", lambda t: starts_or_file(t, fitted),
            hint=f"Did it light? Such as: {_starts_example(fitted)}. ?: channel not known. Behind it, where known: "
            "hot, cold, wet, 4.5s, aborted; gap: some missing. Or the name of a .csv file. Blank: nothing is known.",
        )
        for line in read:
            asking.say(line)
    if lacking("done"):
        told["done"] = asking.line(
            "Already done about it", lambda t: done(t, fitted), choices=list(fitted.repairs),
            hint="Repairs by name, commas between. Blank: nothing.",
        )
    if told["done"] and lacking("other_engine"):
        other = asking.choose(OTHER_ENGINE, words.OTHER_ENGINE, "unknown")
        told["other_engine"] = "" if other == "unknown" else other
    if lacking("people"):
        told["people"] = asking.line(
            "Who is here", lambda t: people(t, fitted), choices=authorities_of(fitted), hint=_people_hint(fitted)
        )
        asking.say(understood(told["people"], fitted))
    if lacking("place"):
        told["place"] = asking.choose("Where", words.PLACES)
    if lacking("condition"):
        told["condition"] = asking.choose("When it shows", words.CONDITIONS, next(iter(words.CONDITIONS)))
    if told["condition"] != "steady" and lacking("now"):
        told["now"] = asking.choose("How it is at the aircraft now", words.NOW, next(iter(words.NOW)))
        if told["now"] == "hot" and lacking("shut_down"):
            told["shut_down"] = asking.line(words.SHUT_DOWN, minutes_since)
    if lacking("minutes_left"):
        if told.get("objective") == "chance":
            told["minutes_left"] = asking.line("Minutes to departure", minutes_to_departure)
        else:
            told["minutes_left"] = asking.line("Minutes to departure (blank: nobody waits)", minutes_left)
    if lacking("missing"):
        told["missing"], told["coming"] = asking.line(
            "What is not at hand", lambda t: at_hand(t, fitted), choices=tools_of(fitted),
            hint=f"Of {', '.join(tools_of(fitted))}; commas between; what is on its way with its minutes, such as "
            f"{tools_of(fitted)[0]} in 60. Blank: everything is at hand.",
        )
    return Intake(**told)


# -- readers: text → what it says; each raises Unclear --------------------------------------------------


def _name(text: str, what: str) -> str:
    name = plain(text).strip()
    if not name:
        raise Unclear(f"It has to be told {what}.")
    if len(name) > LONGEST:
        raise Unclear(f"That is too long a name: {LONGEST} letters at most.")
    return name


def _complaint(asking: _Asking, fitted: Fitted) -> str:
    from isolate.terminal.layout import keyed

    def listing() -> None:
        titles = [(str(i), c.title, "") for i, c in enumerate(fitted.complaints.values(), start=1)]
        asking.console.print(keyed(titles, asking.console.width))

    few = len(fitted.complaints) <= FEW
    asking.say(f"What is written up? {'A number, or the' if few else 'The'} crew's own words:", "bold")
    if few:
        listing()
    else:
        asking.say(f"? lists all {len(fitted.complaints)}. Any of the words will do, in any order.", "dim")

    def read(text: str) -> str:
        if text.strip() == "?":
            listing()
            raise Unclear("A number of these, or the crew's own words.")
        try:
            return complaint(text, fitted)
        except Unclear as error:
            words_told = bool(spoken(text)) and not text.strip().isdecimal()
            if not (words_told and (sign := sign_meant(text, fitted))):
                near = signs_near(text, fitted) if words_told else ()
                also = f" As heard or seen: {listed([fitted.signs[s].title for s in near], 'or')}." if near else ""
                raise Unclear(f"{error}{also}") from None
            asking.noted[sign] = None
            raise Unclear(f"Noted as heard or seen: {fitted.signs[sign].title}. And what is written up?") from None

    name = asking.line("Complaint", read, choices=Search(lambda text: found(text, fitted)))
    asking.say(f"Taken as: {fitted.complaints[name].title}")
    return name


FEW = 9
"""No more complaints than this are listed before they are asked for."""
OTHER_ENGINE = "Was the same done on the other engine by the same people"
BACK = "back"
KIND = {"complaint": "written up", "sign": "heard or seen"}


def found(text: str, fitted: Fitted, kinds: Sequence[str] = ("complaint", "sign")) -> list[tuple[str, str, str]]:
    """Return what may be meant by what is typed so far, as (name, title, kind in words)."""
    return [(hit.name, plain(hit.title), KIND[hit.kind]) for hit in search(text, fitted, kinds)[:8]]


def _signs(asking: _Asking, fitted: Fitted, given: Sequence[Seen] | None) -> tuple[Seen, ...]:
    """Ask what else was heard or seen until nothing more is told; what was given is looked over first."""
    from isolate.case.case import Seen
    from isolate.case.intake import sign_faults

    told: dict[Seen, None] = {}

    def take(name: str, channel: str = "") -> None:
        sign = fitted.signs[name]
        if sign.asks_channel and not channel:
            asking.say(f"{sign.title}:")
            channel = asking.choose("Which channel", {c: f"channel {c}" for c in fitted.channels})
        told[Seen(name, channel)] = None
        asking.say(f"Taken as: {sign.title}{f', channel {channel}' if channel else ''}")

    wrong = False
    for seen in given or ():
        problems = [text for field, text in sign_faults(fitted, seen)]
        if seen.sign in fitted.signs and not seen.channel and fitted.signs[seen.sign].asks_channel:
            take(seen.sign)
        elif problems:
            wrong = True
            asking.say(f"{problems[0][0].upper()}{problems[0][1:]}.", "bold")
        else:
            take(seen.sign, seen.channel)
    for name in asking.noted:
        take(name)
    if not fitted.signs or (given is not None and not wrong):
        return tuple(told)
    hint = "In words or by name, commas between; ? lists them, back drops the last. Enter: nothing more."
    while True:
        names = asking.line(
            "Anything else heard or seen", lambda text: _sign_names(text, fitted),
            choices=Search(lambda text: found(text, fitted, ("sign",)), row=True), hint=hint,
        )
        hint = ""
        if names == [BACK]:
            if told:
                dropped = told.popitem()[0]
                asking.say(f"Not taken: {fitted.signs[dropped.sign].title}")
            continue
        if names is None:
            from isolate.terminal.layout import keyed

            titles = [(str(i), sign.title, "") for i, sign in enumerate(fitted.signs.values(), start=1)]
            asking.console.print(keyed(titles, asking.console.width))
            continue
        if not names:
            return tuple(told)
        for name in names:
            take(name)


def _ages(asking: _Asking, fitted: Fitted, given: Sequence[Age]) -> tuple[Age, ...]:
    """Look over the ages given, ask again for those that will not do, and say what each does."""
    from isolate.case.ages import EXAMPLES, effect, faults, merged

    wrong = {i: message for (i, _), message in reversed(list(faults(fitted, given)))}
    found = tuple(age for i, age in enumerate(given) if i not in wrong)
    if wrong:
        for message in reversed(wrong.values()):
            asking.say(f"{message[0].upper()}{message[1:]}.", "bold")
        hint = f"Such as: {EXAMPLES}. Blank: nothing is known."
        found = merged(found, asking.line("How old it is", lambda t: ages(t, fitted), hint=hint))
    for line in effect(fitted, found):
        asking.say(line)
    return found


def _sign_names(text: str, fitted: Fitted) -> list[str] | None:
    """Return the names of the signs told, BACK for dropping the last; None for the question which there are."""
    if text.strip().casefold() == BACK:
        return [BACK]
    return None if text.strip() == "?" else signs(text, fitted)


def complaint(text: str, fitted: Fitted) -> str:
    """Return the complaint meant by a number, a name, or words like those that people use."""
    names = list(fitted.complaints)
    said = text.strip()
    if said.isdecimal():
        if 1 <= int(said) <= len(names):
            return names[int(said) - 1]
        raise Unclear(f"There is no number {said}: 1 to {len(names)}, or the crew's own words.")
    if said in fitted.complaints:
        return said
    if not spoken(said):
        raise Unclear("It has to be told what is wrong: a number, or the crew's own words.")
    near = meant(said, fitted)
    if len(near) == 1:
        return near[0]
    if not near:
        raise Unclear("Those words are near none of these. Take the nearest by its number.")
    which = listed([f"{names.index(n) + 1} ({fitted.complaints[n].title})" for n in near], "or")
    raise Unclear(f"That may be {which}. Which number?")


def signs(text: str, fitted: Fitted) -> list[str]:
    """Return the signs meant by numbers, names or words, with commas between; nothing for nothing told."""
    if not _told(text).strip():
        return []
    if not text.strip().isdecimal() and (whole := sign_meant(text, fitted)) and not re.search(r"[,;]", text):
        return [whole]
    names = list(fitted.signs)
    meant: dict[str, None] = {}
    for part in re.split(r"[,;]", text):
        said = part.strip()
        if not said:
            continue
        if said.isdecimal():
            if not 1 <= int(said) <= len(names):
                raise Unclear(f"There is no number {said}: 1 to {len(names)}, or words.")
            meant[names[int(said) - 1]] = None
            continue
        if sure := sign_meant(said, fitted):
            meant[sure] = None
            continue
        near = signs_near(said, fitted)
        if not near:
            raise Unclear(f"{plain(said)!r} is near none of what is known here; what else was seen goes into a note.")
        which = listed([f"{names.index(n) + 1} ({fitted.signs[n].title})" for n in near], "or")
        raise Unclear(f"{plain(said)!r} may be {which}. Which number, if it is one?")
    return list(meant)


LIT = ("yes", "y", "lit", "lights", "ok", "on")
ABORTED = ("aborted", "abort")
DARK = ("no", "n", "dark", "failed", "fail", "not", "didn't", "didnt", "never")


def _starts_example(fitted: Fitted) -> str:
    a, b = fitted.channels[0], fitted.channels[-1]
    return f"{a} no, {b} yes, ? no" if a != b else f"{a} no, {a} yes"


def starts(text: str, fitted: Fitted) -> tuple[Start, ...]:
    """Return starts from ``A no, B yes, ? no``: channel, whether it lit, and the condition where it is told.

    ``aborted`` stands for yes or no; ``4.5s`` is a time to light, ``lane1`` the control lane, ``gap`` starts missing.
    """
    from isolate.kb.model import Condition
    from isolate.reasoning.starts import BOTH, UNKNOWN, Start

    channels = {c.casefold(): c for c in fitted.channels} | {"?": UNKNOWN, UNKNOWN: UNKNOWN, BOTH: BOTH}
    found: list[Start] = []
    more: dict[str, Any] = {}
    """What else is told of the start in hand; a gap may stand by itself before it."""

    def take(part: str, channel: str | None, lit: bool | None, condition: str) -> None:
        if lit is None:
            raise Unclear(f"Did {plain(part).strip()!r} light, yes or no? Such as: {_starts_example(fitted)}")
        start = Start(channel or UNKNOWN, lit, **more)
        found.append(replace(start, condition=cast(Condition, condition)) if condition else start)
        more.clear()

    # A comma between digits is a decimal one.
    for part in re.split(r"[;]|,(?!\d+\s?s\b)", _told(text)):
        if not part.strip():
            continue
        before = len(found)
        channel: str | None = None
        lit: bool | None = None
        condition = ""
        for word in part.casefold().split():
            if word in channels:
                if channel is not None:
                    # A comma was left out: what stands here is one start after another.
                    take(part, channel, lit, condition)
                    lit, condition = None, ""
                channel = channels[word]
            elif word in LIT or word in DARK or word in ABORTED:
                if lit is not None:
                    take(part, channel, lit, condition)
                    channel, condition = None, ""
                lit = word in LIT
                if word in ABORTED:
                    more["aborted"] = True
            elif word in get_args(Condition):
                condition = word
            elif word == "gap":
                more["gap"] = True
            elif time := re.fullmatch(r"(\d{1,3}(?:[.,]\d+)?)s", word):
                more["seconds"] = float(time[1].replace(",", "."))
            elif lane := re.fullmatch(r"lane(\w{1,3})", word):
                more["lane"] = lane[1].upper()
            elif word not in ("channel", "did", "light", "start"):
                raise Unclear(
                    f"{plain(word)!r} is not understood in {plain(part).strip()!r}. A start is a channel "
                    f"({', '.join(fitted.channels)}, ? or both) and yes or no, such as: {_starts_example(fitted)}"
                )
        if channel is None and lit is None and more == {"gap": True}:
            continue
        if channel is None and len(found) > before:
            raise Unclear(f"Commas go between the starts in {plain(part).strip()!r}, as in: {_starts_example(fitted)}")
        take(part, channel, lit, condition)
    if len(found) > 60:
        raise Unclear("That is more than 60 starts; the last 60 will do, or a .csv file with all of them.")
    return tuple(found)


TABLES = (".csv", ".tsv", ".txt")
"""How the name of a file with a table ends."""


def starts_or_file(text: str, fitted: Fitted) -> tuple[tuple[Start, ...], list[str]]:
    """Return starts as typed, or of the file that is named, and in lines what was taken."""
    name = plain(text).strip().strip("'\"")
    if name.casefold().endswith(TABLES):
        return _file(Path(os.path.expanduser(name)), fitted)
    found = starts(text, fitted)
    return found, [f"Taken as: {started(found)}."] if found else []


def _given_file(asking: _Asking, path: Path, fitted: Fitted) -> dict[str, tuple[Start, ...]]:
    """Return the starts of a file given on the command line; nothing, after saying why, where it will not do."""
    try:
        found, read = _file(path, fitted)
    except Unclear as error:
        asking.say(str(error), "bold")
        return {}
    for line in read:
        asking.say(line)
    return {"starts": found}


def _file(path: Path, fitted: Fitted) -> tuple[tuple[Start, ...], list[str]]:
    """Return the starts of a file and in lines what was read and what was not."""
    from datetime import date

    from isolate.case.history import BadHistory, read_file
    from isolate.case.start_log import read_lines

    try:
        history = read_file(path, fitted.channels, date.today())
    except BadHistory as error:
        raise Unclear(f"{path}: {error}.") from None
    except OSError as error:
        raise Unclear(f"{path}: {(error.strerror or 'it cannot be read').lower()}.") from None
    if not history.starts:
        raise Unclear(" ".join([f"{path}: no start could be read.", *read_lines(history)[1:]]))
    return history.newest, read_lines(history)


def started(found: Sequence[Start]) -> str:
    """Return starts in words."""
    from isolate.case.record import start_words

    return ", ".join(map(start_words, found))


NONE = ("none", "nothing", "unknown", "not known", "-")
"""Words that say that there is nothing to tell, as a blank does."""


def _told(text: str) -> str:
    return "" if text.strip().casefold() in NONE else text


def _among(
    text: str, names: Sequence[str], what: str, also: Mapping[str, str] | None = None, spaced: bool = False
) -> list[str]:
    """Return the names in a row of them; ``also`` maps other spellings, lower-case, to names.

    ``spaced``: no more than spaces need stand between them.
    """
    from isolate.kb.fit import near

    spellings = {name.casefold(): name for name in names} | dict(also or {})

    def known(said: str) -> str | None:
        return spellings.get(said.casefold()) or spellings.get(said.casefold().replace(" ", "-"))

    found: dict[str, None] = {}
    for part in re.split(r"[,;]", _told(text)):
        left = part.split()
        while left:
            # The longest run of words that is a name; all the words that are left where names do not stand in a row.
            for count in range(len(left), 0 if spaced else len(left) - 1, -1):
                if name := known(" ".join(left[:count])):
                    break
            else:
                said = left[0] if spaced else " ".join(left)
                raise Unclear(f"No {what} is called {plain(said)!r}{near(said.casefold(), names)}.")
            found[name] = None
            left = left[count:]
    return list(found)


def done(text: str, fitted: Fitted) -> tuple[Work, ...]:
    """Return repairs done before, from their names or titles with commas between."""
    from isolate.case.case import Work
    from isolate.kb.fit import split

    titles = {" ".join(r.title.casefold().replace(",", "").split()): key for key, r in fitted.repairs.items()}
    return tuple(Work(*split(key)) for key in _among(text, list(fitted.repairs), "repair", titles))


def authorities_of(fitted: Fitted) -> list[str]:
    from isolate.case.facts import authorities

    return sorted(authorities(fitted))


def tools_of(fitted: Fitted) -> list[str]:
    from isolate.case.facts import tools

    return sorted(tools(fitted))


def _people_hint(fitted: Fitted) -> str:
    known = authorities_of(fitted)
    return (
        f"Name, colon, what he or she may do ({', '.join(known)}, or all); a semicolon between people; a name "
        f"alone helps. Such as: Quill: all; Marrow: {known[0]}; Teal"
    )


EVERY = ("all", "everything", "any")


def understood(found: Sequence[Person], fitted: Fitted) -> str:
    """Return in words who may do what, and what nobody here may do."""
    said = [f"{p.name} ({', '.join(p.may)})" if p.may else f"{p.name} (helps)" for p in found]
    nobody = [a for a in authorities_of(fitted) if not any(a in p.may for p in found)]
    lacking = f" Nobody here holds {listed(nobody, 'or')}: what needs that is not offered." if nobody else ""
    alone = " One person alone neither motors, nor fires, nor works on a reverser." if len(found) == 1 else ""
    return f"Here: {', '.join(said)}.{lacking}{alone}"


def people(text: str, fitted: Fitted) -> tuple[Person, ...]:
    """Return people from ``Name: licensed motoring; Name``. Somebody has to be there."""
    from isolate.case.case import Person

    known = authorities_of(fitted)
    found: dict[str, Person] = {}
    # A comma before another name with its colon does for a semicolon.
    for part in re.split(r";|,(?=[^,;:]*:)", text):
        if not part.strip():
            continue
        name, _, may = part.partition(":")
        name = _name(name, "who may do that")
        if not may and "," in name:
            raise Unclear("A colon goes between a name and what he or she may do, a semicolon between people.")
        if may.strip().casefold() in EVERY:
            held = known
        else:
            try:
                held = _among(may.replace(" and ", ","), known, "authorisation", spaced=True)
            except Unclear as error:
                raise Unclear(f"{error} They are {listed(known)}; a semicolon goes between people.") from None
        if name in found:
            raise Unclear(f"{name} is told twice.")
        found[name] = Person(name, tuple(held))
    if not found:
        raise Unclear("Somebody has to be here: a name at least.")
    if len(found) > 30:
        raise Unclear("30 people at most.")
    return tuple(found.values())


def ages(text: str, fitted: Fitted) -> tuple[Age, ...]:
    """Return how old the parts are: ``igniter:A=2900-3100 starts, lead B at least 9000 hours``."""
    from isolate.case.ages import faults, told
    from isolate.case.case import BadIntake

    try:
        found = told(_told(text))
    except BadIntake as error:
        raise Unclear(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    for _, message in faults(fitted, found):
        raise Unclear(f"{message[0].upper()}{message[1:]}.")
    return found


def minutes_since(text: str) -> float:
    """Return minutes since something; a blank is just now."""
    said = plain(text).strip()
    if not said:
        return 0.0
    try:
        found = float(said.replace(",", "."))
    except ValueError:
        raise Unclear(f"Minutes are a number, such as 40, not {said!r}.") from None
    if not 0 <= found <= 100_000:
        raise Unclear(f"From 0 to 100,000 minutes, not {said}.")
    return found


def engine_starts(text: str) -> float:
    """Return an engine's starts since new, as its log counts them."""
    said = plain(text).strip()
    try:
        found = float(said)
    except ValueError:
        raise Unclear(f"Starts since new are a number, such as 4210, not {said!r}.") from None
    if not 0 <= found <= 1_000_000:
        raise Unclear(f"From 0 to 1,000,000 starts since new, not {said}.")
    return found


def minutes_left(text: str) -> float | None:
    """Return minutes to departure, None for nothing told."""
    if not _told(text).strip():
        return None
    try:
        value = float(re.sub(r"\s*m(?:in(?:utes?|s)?)?\.?$", "", text.strip(), flags=re.IGNORECASE).replace(",", "."))
    except ValueError:
        raise Unclear(f"Minutes are a number such as 45, not {plain(text)!r}.") from None
    if not 0 <= value <= 100_000:
        raise Unclear(f"Minutes from 0 to 100000, not {plain(text)}.")
    return value


def minutes_to_departure(text: str) -> float:
    """Return minutes to departure where moves are chosen by the chance of being done by then."""
    value = minutes_left(text)
    if value is None:
        raise Unclear("The best chance of being done by departure needs the minutes to it, such as 45.")
    return value


def at_hand(text: str, fitted: Fitted) -> tuple[tuple[str, ...], tuple[Coming, ...]]:
    """Return what is not at hand, and what of it is on its way: ``borescope in 60`` is here in an hour."""
    from isolate.case.case import Coming

    missed: list[str] = []
    coming: list[Coming] = []
    # A comma before a digit is a decimal one: no tool's name begins so.
    for part in filter(None, (p.strip() for p in re.split(r";|,(?!\d)", text))):
        found = re.fullmatch(r"(.+?)\s+in\s+(\d+(?:[.,]\d+)?)\s*(?:m(?:in(?:utes?|s)?)?\.?)?", part, re.IGNORECASE)
        if found is None:
            if late := re.match(r"(.+?)\s+in(?:\s|$)", part, re.IGNORECASE):
                tool = missing(late[1], fitted)[-1]
                raise Unclear(f"In how many minutes is it here? Minutes from 0 up, such as: {tool} in 60.")
            missed.append(part)
            continue
        minutes = minutes_left(found[2])
        assert minutes is not None
        coming += [Coming(tool, minutes) for tool in missing(found[1], fitted)]
    return missing(", ".join(missed), fitted) if missed else (), tuple(coming)


def missing(text: str, fitted: Fitted) -> tuple[str, ...]:
    """Return the tools and services that are not at hand."""
    return tuple(_among(text, tools_of(fitted), "tool or service", spaced=True))

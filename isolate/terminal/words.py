"""The words on the screen, and how figures and told text are put into words. Nothing here prints."""

from __future__ import annotations

import math
from collections.abc import Sequence

from isolate.kb.shown import plain as plain

NARROWEST = 40
"""Columns that the screen needs."""

TOO_NARROW = (
    "This window is {width} columns wide; at least {least} are needed to show a step with its warnings. "
    "Make it wider and go on."
)
LONGER = "Longer than the window: it begins further up."
NOTHING_OPEN = "nothing open, pulled or off"
OPEN_NOW = "OPEN NOW"
UNKNOWN = "UNKNOWN, go and look"
LOOSE = "half torqued or unlocked"

KEPT = "Case {case} is kept. Go on with it:"
RESUME = "  isolate chase --resume {case}"
NOT_KEPT = "This was worked in memory only; nothing of it is kept."
LEFT_OPEN = "Left as it stands: {open}. Say so to whoever comes next; going on begins with a look at each."
INPUT_ENDED = "The input ended before the case did."
PASSED_ON = "Passed on to {to}; the case stays open. For paper:"
SHOW_HAND_OVER = "  isolate cases show {case} --hand-over"
NOT_PASSED_ON = "Nothing was passed on; the case is as it was."
PART = "For the record, from the parts' own labels and tags. Esc leaves the repair not done."
NOT_DONE = "The repair stands as not done yet."
DOUBT = "an answer told earlier is doubted: it is asked again"
STRANGE = "fits the others least"
ASKED_AGAIN = "Withdrawn, and asked again. What was confirmed for safety is asked again as well."
NO_CASE = "Stopped before all was told: no case was opened and nothing is kept."
STRAY = "{key} does nothing here; the keys above do."
INTERRUPT = "Ctrl-C again, or {leave}, leaves; the case is kept."
INTERRUPT_READING = "Ctrl-C again leaves; this reading is lost."
INTERRUPT_INTAKE = "Ctrl-C again leaves; there is no case yet, so nothing would be kept."
INTERRUPT_FINDING = "Ctrl-C again leaves; nothing is added."
NOT_WRITTEN = "What you just did could not be written to the case: {why}"
LAST_KEPT = "The last thing acknowledged: {last}. All up to there is on disk."

READING = "As you would write it: 28.1 V, 1,5 mm, 30 MΩ ± 5 %. ? says more, < goes back, name=value tells another one."
RECORD = (
    "The file's name, typed, pasted or dropped here. ? says more, < goes back, name=value tells another one."
)
TOLD_BEFORE = "What was told before in this case stands after Enter: it is taken by Enter alone."
NOTHING_READ = "Left: nothing of this reading is kept."
HALF_READ = "Left: nothing of this reading is on the record. m goes on with what was typed, until you leave the case."
TAKEN_UP = "What you typed before you left it stands after Enter: it is taken by Enter alone."
READING_KEYS = (
    "Enter takes what stands after Enter, or leaves it out. < goes back, . asks no more, more asks the rest, Esc "
    "leaves it. Told by name at any question, as in {first}=…: {names}."
)
REFERENCE = "Where the limits stand in your approved data (document, page or task)"
READ_BY = "Who read it, and with which meter"
RECORDED_BY = "Who recorded it, and with what"
MORE_LINES = "{count} more lines: l shows them."
PROPOSED = "This is answer {number}: {said}. Enter takes it; another answer asks why."
UNDECIDED = "It cannot be told from this: m reads again, u is could not tell; another answer asks why."
UNJUDGED = "By itself this reading answers nothing here: answer by a digit, or k keeps it as a note."
NO_LIMIT = "Without a limit of your data it proposes no answer: m tells it, a digit answers, k keeps it as a note."
TAKES = "Enter takes answer {number}, "
SAID_BEFORE = "Against counting twice: {had} already. k keeps it as a note."
AT_A_REPAIR = "It answers nothing: Enter keeps it as a note with this repair."

ENDS = "{title}: that ends this case, once all is closed up."
LEVELS = {"warning": "WARNING", "caution": "CAUTION"}
NEWS = {
    "finding": "Finding",
    "advice": "Advice",
    "conflict": "CONFLICT",
    "escalation": "ESCALATE",
    "verdict": "Verdict",
}
"""Kinds of rules whose firing is told; gates and cautions are met at their steps."""

CONDITIONS = {
    "steady": "shows all the time, or no condition stands out",
    "cold": "cold soaked",
    "hot": "hot, soon after a run",
    "wet": "wet: rain, wash or de-icing",
    "vibrating": "when the engine shakes or the harness moves",
    "sagging": "when the supply sags: weak battery, ground power, other loads",
}
NOW = {
    "steady": "ordinary: nothing of the kind",
    "cold": "cold soaked",
    "hot": "hot, shut down not long ago",
    "wet": "wet",
    "vibrating": "shaking",
    "sagging": "on a supply that sags",
}
"""How it is at the aircraft while it is worked."""
DONE = {
    "steady": "at rest",
    "cold": "cold",
    "hot": "hot",
    "wet": "wet",
    "vibrating": "while it shakes",
    "sagging": "with the supply sagging",
}
"""A condition after *done* or *shows*."""
SHUT_DOWN = "Minutes since the engine was shut down (blank: just now)"
OTHER_ENGINE = {"yes": "yes", "no": "no", "unknown": "not known"}
PLACES = {"gate": "at the gate, the aircraft is wanted", "hangar": "in the hangar"}
OBJECTIVES = {
    "minutes": "fewest expected minutes, parts and delay weighed in",
    "chance": "the best chance of being done by departure",
    "cost": "cheapest in labour and parts, however long it lasts",
}
HANDS = {"1": "one person works on the engine", "2": "two work side by side"}

HELP = (
    "A digit answers at once, without Enter. Nothing on the trail is ever rubbed out: what is taken back stays "
    "there, marked as taken back.",
    "Warnings with questions are passed by telling the facts, never by a key. Taking an answer back, leaving or going "
    "on later never makes anything safe again: it is unknown until somebody has looked.",
    "By the clock: since the case was opened. By the book: what the knowledge gives for the steps done. In all: the "
    "minutes still to go, averaged over what may turn out, with each part counted as minutes as well. It is for "
    "comparing steps, not for promising a time.",
    "Minutes and percentages are estimates from the knowledge. The approved data, the local rules and licensed people "
    "decide; nothing here releases an aircraft.",
)

def reason(error: Exception) -> str:
    """Return why something failed, with the file where there is one."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror} ({error.filename})" if error.filename else error.strerror
    return str(error)


def times(count: int) -> str:
    """Return a count as an adverb."""
    return {0: "no time", 1: "once", 2: "twice"}.get(count, f"{count} times")


def minutes(value: float) -> str:
    """Return minutes in words: ``less than 1 min``, ``52 min``, ``3 h 20 min``."""
    if 0 < value < 0.75:
        return "less than 1 min"
    whole = round(value)
    if abs(whole) < 180:
        return f"{whole} min"
    hours, rest = divmod(abs(whole), 60)
    return f"{'-' if whole < 0 else ''}{hours} h" + (f" {rest} min" if rest else "")


def roughly(value: float) -> str:
    """Return expected minutes in words, no finer than an estimate is: to 5 min below 3 h, to 10 min above."""
    if value < 7.5:
        return minutes(value)
    step = 5 if value < 180 else 10
    return f"about {minutes(step * round(value / step))}"


def percent(value: float) -> str:
    """Return a probability in whole percent; what is neither 0 nor 1 is not shown as 0 % or 100 %."""
    if 0 < value < 0.005:
        return "<1%"
    if 0.995 <= value < 1:
        return ">99%"
    return f"{100 * value:.0f}%"


def estimated(value: float) -> str:
    """Return a probability that is an estimate in whole percent; it is never shown as 0 % or 100 %."""
    return percent(min(max(value, 1e-9), 1 - 1e-9))


def at_least(value: float) -> str:
    """Return a lower bound on minutes in words, rounded down as coarsely as the estimate beside it is rounded."""
    if value < 7.5:
        return minutes(value)
    step = 5 if value < 180 else 10
    return minutes(step * math.floor(value / step))


def small(text: str) -> str:
    """Return a title as it stands within a sentence: ``Lead B open`` as ``lead B open``; ``APU`` stays."""
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if first[1:] == first[1:].lower() and len(first) > 1 else text


def departure(left: float | None) -> str:
    """Return the minutes to departure in words; nothing when nobody waits."""
    if left is None:
        return ""
    if left < 0:
        return f"departure was {minutes(-left)} ago"
    return f"{minutes(left)} to departure"


def listed(items: Sequence[str], last: str = "and") -> str:
    """Return items in a row: ``a, b and c``."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"

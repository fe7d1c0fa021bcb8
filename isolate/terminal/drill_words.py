"""The words of a drill on the screen. Nothing here prints."""

from __future__ import annotations

PROMPT = "Do:"
NOTHING_PROPOSED = "Nothing is proposed. Type what you do; Tab completes; 'help' says more."
INVENTED = "by approved data (invented, as all of this is):"
RAN_HERE = "last ran at minute {minute:.0f} of this drill"
SHUT_DOWN = "shut down {minutes} before this begins"
JUST_NOW = "shut down just now"
COLD = "taken as cold"
COOLS = "{minutes} after the engine last ran, before it is touched"
RESUMED = "Taken up where it was left, at minute {minute} of its clock. 'look' shows all of it."
ENDED_BEFORE = "This drill has ended; what came of it:"

CAUTIONS = "Enter goes on; anything else leaves it undone:"
LEFT_UNDONE = "Left undone. It costs nothing."
ONLY_ENTER = "Only Enter alone goes on."
NO = frozenset({"no", "n", "nope", "not now", "stop", "cancel", "leave it", "skip", "none"})
YES = frozenset({"yes", "y", "ok", "okay", "go on", "yes please"})
STOPPED = "STOPPED"
MORE_REASONS = "{count} more that {stand} against it"
NOT_DONE = "It was not done, and nothing happened. On a real aircraft:"
STOP_KEYS = (
    ("again", "take it up again from just before it, to do it another way"),
    ("leave", "leave the drill; it waits here"),
)
STOP_PROMPT = "STOPPED. Type again or leave:"
STOP_EITHER = "It stands still until it is taken up again."
AGAIN = "Taken up again from just before it. The stop stays on the trail."
NOT_STOPPED = "Nothing was stopped, so there is nothing to take up again. What was done is done."
REFUSED = "Not done"

SUSPECT = "Who is your prime suspect now, and how sure are you? Such as {example}; Enter: no idea."
SUSPECT_FIRST = "Before anything is repaired: who is your prime suspect, and how sure are you? Such as {example}; "\
    "Enter: no idea."
SUSPECT_PROMPT = "Suspect:"
SUSPECT_AGAIN = "A part, its channel where it has one, and a percentage; or: nothing wrong 20."
SURE = "How sure, in percent (0 to 100):"
NO_PERCENT = "How sure is a number from 0 to 100."
WRITTEN_DOWN = "Written down: {title}, {sure} sure."

PART = "For the record. In a drill any number will do, or Enter leaves a blank; Esc leaves all the rest blank."
CHANNEL = "Which channel is deferred ({channels}):"
REFERENCE = "Under which reference of the operator's deferral procedure? Enter leaves a blank in the record."
REFERENCE_PROMPT = "Reference:"
WAIT = "How many minutes do you wait:"
NO_MINUTES = "A wait is a number of minutes, such as 5."
ENDS = "{title}: that ends the drill; there is no way back."
END_IT = "Enter ends it; anything else goes on:"
GOES_ON = "It goes on."
HINT = "A hint costs {cost}, on top of the clock; {what}."
TAKE_HINT = "Enter takes it; anything else does without:"
HINT_FIRST = "this one says what kind of thing comes next, a second one here names it ({more})"
HINT_SECOND = "this one names what the tool would do"
NO_HINT = "No hint; nothing was counted."
NOTE = "Note:"
NOTED = "Noted."

WHICH_PROMPT = "Its number, or say it otherwise:"
WHICH_FOOT = ("a number picks it", "Esc: none of them", "leave")
ONE_PROMPT = "Enter: this one; or say it otherwise:"
ONE_FOOT = ("Enter or a number picks it", "Esc: not this", "leave")
NOT_THAT = "What was asked about is left undone."
NO_NUMBER = "There is no number {number} in the list."
TWO_MEANINGS = "{number} is a number in the list and a channel as well. Say it in words."
MOVES_WHICH = "There are {count} moves. Name one of their words, such as: moves lead"
NO_MOVES = "Nothing that may be done has {word!r} in its name."
MORE_MOVES = "and {count} more; a second word narrows it"

ANSWERED = "Found"
COULD_NOT = "Could not tell. It is no evidence."
NO_EARLIER = "There is no earlier case on this engine."

WORKING_OUT = "It is over. Working out what each step cost ..."
KEPT = "Drill {drill} is kept as it stands, its clock with it. Go on with it:"
KEEP = (
    "As a page to print, and as a file to hand in:",
    "  isolate drill debrief {drill} --html debrief.html",
    "  isolate drill export {drill}",
)
RESUME = "  isolate drill --resume {drill}"
NOT_KEPT = "This was played in memory only; nothing of it is kept."
INTERRUPT = "Ctrl-C again, or 'leave', leaves; the drill is kept as it stands."
INPUT_ENDED = "The input ended before the drill did."
NOT_WRITTEN = "What you just did could not be written to the drill: {why}"
LAST_KEPT = "The last thing acknowledged: {last}. All up to there is on disk."

FOOT = ("Enter does it", "Tab completes", "help", "hint", "look", "leave")
KINDS = {
    "open": "open",
    "close": "put back",
    "check": "check",
    "repair": "repair",
    "swap": "change over",
    "inspect": "people",
    "wait": "time",
    "end": "ends it",
}
"""What kind of move it is, beside its completion."""
GROUPS = {
    "open": "Open, pull, take off, get ready",
    "close": "Put back",
    "check": "Check, ask, read",
    "repair": "Repair",
    "swap": "Change over between channels",
    "inspect": "Have it inspected",
    "wait": "Let time pass",
    "end": "End it",
}
HELP = (
    ("what you do", "in your own words: pull the breakers · listen to channel A · take plug A out · wait 5"),
    ("moves WORD", "list what may be done that has this word in its name: moves lead"),
    ("look", "the story again, what stands open and since when, what was found so far"),
    ("earlier", "what earlier cases on this engine found and did"),
    ("suspect", "write down your prime suspect and how sure you are: suspect lead A 60"),
    ("hint", "a hint; it says first what it costs"),
    ("note TEXT", "keep a remark"),
    ("done", "end it: found, mended, proven and closed up; or name another end: moves end"),
    ("leave", "leave; the drill is kept as it stands"),
)
HELP_MORE = (
    "You decide, and the aircraft answers. What cannot be done there and then is refused, with the reason, and costs "
    "nothing. What is unsafe is stopped before it happens, and said plainly; it is never done.",
    "The clock moves only with what you do. Beside its minutes, hints and parts count at the end, and so do stops. "
    "At the end each step is set against the best that could have been done on what was known then.",
    "Ways in are opened, shut and put back by name, one by one, and each channel is proven before it is over.",
)

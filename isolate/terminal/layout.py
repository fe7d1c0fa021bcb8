"""What stands where on the screen: the cards of the steps, the answers to "why", the block at the foot.

Cards are rich renderables made of plain text; what is shown of told text goes through :func:`words.plain`, and
nothing is ever read as markup. Colour only ever repeats what a word says already.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from isolate.case.steps import (
    Ask,
    CautionShown,
    Confirm,
    Cross,
    CrossingShown,
    Held,
    Here,
    Mend,
    Offer,
    Report,
    Step,
    Wait,
    Walk,
)
from isolate.terminal import words
from isolate.terminal.words import at_least, estimated, minutes, percent, plain, roughly, small

if TYPE_CHECKING:
    from isolate.case.chase import Chase
    from isolate.kb.model import Check, Repair
    from isolate.reasoning.belief import Marginal
    from isolate.reasoning.explain import Hidden
    from isolate.reasoning.rules import Firing
    from isolate.terminal.keys import Bar, Key

LABEL = 8
"""Columns of the labels at the left of a card."""
STYLES = {"warning": "bold red", "caution": "bold yellow"}
Row = tuple[str, str, str]
"""Label, text, style of the label."""


def text(what: object, style: str = "") -> Text:
    """Return told text as it is shown."""
    return Text(plain(what), style=style)


def heading(what: str, width: int, kind: str = "") -> RenderableType:
    """Return a heading over the whole width; ``kind`` says what sort of step it is."""
    title = Text(f"{kind}: " if kind else "", style="bold")
    title.append(plain(what), style="bold")
    if cell_len(title.plain) <= width - 8:
        title = Text.assemble("── ", title, " ", ("─" * (width - cell_len(title.plain) - 4), "dim"))
    return title


def rows(items: Iterable[Row]) -> Table:
    """Return labelled texts, each hanging from its label."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=LABEL, no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for label, what, style in items:
        grid.add_row(Text(label, style=style), text(what))
    return grid


def numbered(items: Sequence[str]) -> list[str]:
    return [f"{i}. {item}" for i, item in enumerate(items, start=1)] if len(items) > 1 else list(items)


def several(label: str, items: Sequence[str], style: str = "bold") -> list[Row]:
    """Return rows of which the first carries the label."""
    return [(label if i == 0 else "", item, style) for i, item in enumerate(items)]


def keyed(items: Sequence[tuple[str, str, str]], width: int) -> Table:
    """Return (key, words, what they would mean) in rows; the meaning on the same line where all fit."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=3, justify="right", no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for key, said, means in items:
        line = text(said, "bold")
        meaning = Text(f"→ {plain(means)}", style="dim") if means else Text()
        if not means or cell_len(line.plain) + cell_len(meaning.plain) + 1 <= width - 4:
            grid.add_row(Text(key, style="bold"), Text.assemble(line, " " if means else "", meaning))
        else:
            grid.add_row(Text(key, style="bold"), Group(line, Padding(meaning, (0, 0, 0, 2))))
    return grid


# -- cards -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Card:
    """A step as it is shown: heading, body, and what may be answered, nearest the prompt.

    ``spare`` holds shorter bodies, used in turn where the card would not fit on the screen.
    """

    head: RenderableType
    body: RenderableType
    answers: RenderableType
    spare: tuple[RenderableType, ...] = ()
    spare_answers: RenderableType | None = None

    def fitted(self, console: Console, height: int) -> Group:
        """Return the fullest form that takes no more than ``height`` lines, else the shortest."""
        forms = [Group(self.head, body, self.answers) for body in (self.body, *self.spare)]
        if self.spare_answers is not None:
            forms.append(Group(self.head, (self.spare or (self.body,))[-1], self.spare_answers))
        for form in forms:
            if tall(console, form) <= height:
                return form
        return forms[-1]


def tall(console: Console, what: RenderableType) -> int:
    """Return how many lines something takes."""
    return len(console.render_lines(what, pad=False))


def card(chase: Chase, step: Step, width: int) -> Card:
    """Return the card of a step."""
    if isinstance(step, Offer):
        return _offer(chase, step, width)
    if isinstance(step, Ask):
        return _ask(chase, step, width)
    if isinstance(step, Cross):
        return _cross(chase, step, width)
    if isinstance(step, Mend):
        return _mend(chase, step, width)
    if isinstance(step, Confirm | Wait):
        return _warned(chase, step, width)
    if isinstance(step, Walk):
        return _walk(chase, step, width)
    if isinstance(step, Here):
        return _here(chase, step, width)
    if isinstance(step, Report):
        body = rows([("Why", step.text, "bold")])
        says = text("Told by the facts below, from the aircraft and not from memory. Esc shows the other keys.")
        return Card(heading(step.title, width, "To be told"), body, says)
    assert isinstance(step, Held), step
    body = rows(several("Why", list(step.reasons)))
    return Card(heading(reworded(chase, step.title), width, "On hold"), body, keyed(_plain_keys((
        ("c", "it cannot be done: the plan goes round it"),
        ("t", "something has changed: tell it"),
        ("q", "leave and come back later"))), width))


def _here(chase: Chase, step: Here, width: int) -> Card:
    passed = chase.state.passed_on or {}
    body = rows([
        ("Why", f"{passed.get('by')} passed the work on to {passed.get('to')}. Who is here now, and what each may do, "
                "is told anew; what the others held does not count.", "bold"),
        ("Then", "Each thing that was open, pulled, off or half torqued is walked, one by one.", "bold"),
    ])
    says = text("Name, colon, what he or she may do; a semicolon between people. Esc shows the other keys.")
    return Card(heading(step.title, width, "Taking over"), body, says)


def _walk(chase: Chase, step: Walk, width: int) -> Card:
    since = "passed-on" if step.asks else unknown_since(chase, step)
    why = {
        "resumed": "Work was interrupted since it was last known. Nobody counts on it until it is seen.",
        "corrected": "It was taken back, which moves nothing at the aircraft. Nobody counts on it until it is seen.",
        "passed-on": "The work was passed on. Nobody counts on it until somebody named has seen it.",
        "access": "The complaint says that this is how it was found. Nobody counts on it until it is seen.",
    }[since]
    still = "" if since == "access" else " still"
    body = rows([
        ("Why", why, "bold"),
        ("How", f"Go and look at the aircraft. Is it{still} so: {step.word}?", "bold"),
        ("Never", "Do not reach in to find out. Hands stay out until all of it is known.", "bold"),
    ])
    gone = "no: shut, in, on or put back" if step.access else "no: torqued and locked"
    named = "; then who saw it" if step.asks else ""
    return Card(heading(step.title, width, "Go and look"), body, keyed(_plain_keys((
        ("s", f"yes,{still} so: {step.word}{named}"), ("x", f"{gone}{named}"))), width))


def unknown_since(chase: Chase, step: Walk) -> str:
    """Return the kind of event since which nobody knows how an access state stands."""
    for event in reversed(chase.state.events):
        if event.kind == "resumed":
            return "resumed"
        if event.kind == "corrected" and event.body.get("what") == "access":
            return "corrected"
        if event.kind == "access" and event.body["access"] == step.access:
            break
    return "access"


def _plain_keys(items: Iterable[tuple[str, str]]) -> list[tuple[str, str, str]]:
    return [(key, says, "") for key, says in items]


def tells(chase: Chase, check: str) -> str:
    """Return what a check tells apart, in words; nothing when no suspect moves."""
    from isolate.reasoning.explain import parted

    up, down = (
        " · ".join(brief(m) for m in found) for found in parted(chase.belief, check, chase.setting)
    )
    if up and down:
        return f"{up}  apart from  {down}"
    return f"for or against {up or down}" if up or down else ""


def sleeping(chase: Chase, check: str) -> list[Row]:
    """Return what a pass says little about as it is now, and what would bring the condition in which it shows."""
    from isolate.reasoning.explain import hidden

    found = hidden(chase.belief, check, chase.setting, most=1)
    if not found:
        return []
    model, setting = chase.kit.model, chase.setting
    condition, strength, makes = model.setting(check, setting.condition, setting.strength)
    if makes is not None and makes[1] >= HALF:
        condition, strength = makes
    here = words.DONE[condition if strength >= HALF else "steady"]
    said = []
    for then in dict.fromkeys(h.condition for h in found):
        suspects = [
            f"{brief(h.suspect)} ({percent(h.suspect.probability)}), now {tenths(h.now)} and then {tenths(h.then)}"
            for h in found
            if h.condition == then
        ]
        said.append(f"Passing {here} says little about what shows {words.DONE[then]}: {' · '.join(suspects)}")
    return [("Asleep?", f"{'. '.join(said)}.{_brought(chase, check, found)}", "bold")]


HALF = 0.5
"""A condition that prevails less than this is not what the screen says it is done in."""


def tenths(share: float) -> str:
    """Return how often something shows, as times in ten."""
    times = round(10 * share)
    return "hardly ever" if times == 0 else "always" if times == 10 else f"{times} times in 10"


def _brought(chase: Chase, check: str, found: Sequence[Hidden]) -> str:
    """Return which check brings such a condition with it and tells most of such a suspect."""
    fitted, barred = chase.fitted, chase.barred()
    shows: dict[str, float] = {}
    for key, fit in fitted.checks.items():
        if fit.makes is None or key == check or key in barred:
            continue
        for h in found:
            if h.condition == fit.makes[0] and (rows := fit.given.get(h.suspect.zone)):
                at = fitted.zones[h.suspect.zone].states.index(h.suspect.state)
                apart = sum(abs(p - q) for p, q in zip(rows[at], rows[0], strict=True))
                shows[fit.title] = max(shows.get(fit.title, 0.0), apart)
    best = max(shows, key=lambda title: shows[title], default="")
    return f" To bring it: {best}." if best and shows[best] > 0 else ""


def again(chase: Chase, check: str) -> list[Row]:
    """Return what further tries of a check on this occasion would add, and where to stop."""
    from isolate.reasoning.explain import tries

    found = tries(chase.belief, check, chase.likely(), chase.setting)
    if found is None or not found.bits:
        return []
    if found.had:
        first = found.bits[0]
        if found.worth:
            return [("Again", f"Try {found.had + 1} here still adds {first:.2f} bit after {found.had}.", "bold")]
        return [(
            "Again",
            f"Tried {words.times(found.had)} here: one more adds {first:.2f} bit. Stop, and change the condition or "
            "the check.",
            "bold",
        )]
    if len(found.bits) < 2 or found.bits[0] <= 0:
        return []
    share = [b / found.bits[0] for b in found.bits]
    said = [f"a second try after a pass adds {percent(share[1])} of what the first says"]
    if len(share) > 2:
        said.append(f"number {len(share)} {percent(share[-1])}")
    stop = "one is enough" if found.worth == 1 else f"{found.worth} are enough"
    return [("Again", f"On one occasion {', '.join(said)}: {stop}.", "bold")]


def costs(step: Offer, objective: str = "minutes") -> str:
    """Return a move's figures in a sentence; ``objective``: what moves are chosen by."""
    if step.kind == "end":
        return f"{minutes(step.now)} to close up; in all {roughly(step.expected)}, with what follows elsewhere"
    what = ", labour and parts," if objective == "cost" else ""
    found = f"{minutes(step.now)} now; in all {roughly(step.expected)}{what} to verified and closed up"
    if step.exact:
        return f"{found}: the least there is"
    # A bound that comes out above the estimate says that the estimate is too low.
    if 0 < step.bound <= step.expected:
        found += f"; no plan can beat {at_least(step.bound)}"
    return found


def waiting(chase: Chase, step: Offer) -> list[Row]:
    """Return what somebody who waits for the aircraft has to know, and what has to come first."""
    found: list[Row] = []
    for tool, wait in step.after:
        found.append(("First", f"{tool} is on its way: {minutes(wait)}, counted in", "bold"))
    left = chase.minutes_left
    if left is not None and step.chance is not None:
        said = f"{estimated(step.chance)}: the chance that this plan is done by departure"
        found.append(("In time", said if left > 0 else "no: departure is past", "bold"))
    if (other := step.deferring) is not None and other.cheaper:
        found.append((
            "Deferral",
            f"With the delay weighed in, going on comes to {roughly(other.going_on)}, deferring channel "
            f"{other.channel} to {roughly(other.cost)}; {percent(other.likely)} that all else proves good. For the "
            "licensed person, by your operator's own procedure: key f.",
            "bold",
        ))
    return found


def also(step: Offer, hands: int) -> list[Row]:
    """Return what is worth doing before anything is shut, by the second person where two work side by side."""
    if not step.together:
        return []
    who = "the second person meanwhile, or both after it" if hands > 1 else "worth doing while it stands open"
    return [("With it", f"{who}: {' · '.join(step.together)}", "bold")]


def ways(crossings: Sequence[CrossingShown]) -> list[Row]:
    """Return what has to be opened and shut first, each with its minutes."""
    found: list[Row] = []
    opened = [f"{small(c.title)}: {c.word}, {minutes(c.minutes)}" for c in crossings if c.opening]
    shut = [f"{small(c.title)}, {minutes(c.minutes)}" for c in crossings if not c.opening]
    if shut:
        found.append(("Shuts", " · ".join(shut), "bold"))
    if opened:
        found.append(("Opens", " · ".join(opened), "bold"))
    return found


def warnings(cautions: Sequence[CautionShown], full: bool = True) -> list[Row]:
    """Return cautions with their level in words; titles only unless ``full``."""
    found: list[Row] = []
    for caution in sorted(cautions, key=lambda c: c.level != "warning"):
        shown = f"{caution.title}. {caution.text}" if full else caution.title
        if not full and caution.asks:
            shown += " (asked before the step)"
        found.append((words.LEVELS[caution.level], shown, STYLES[caution.level]))
    return found


def _brief(cautions: Sequence[CautionShown], more: str = "(in full before the step)") -> list[Row]:
    """Return the titles of cautions, those of a level in one row."""
    found: list[Row] = []
    for level, word in words.LEVELS.items():
        titles = [c.title for c in cautions if c.level == level]
        if titles:
            found.append((word, f"{' · '.join(titles)} {more}", STYLES[level]))
    return found


def doubt(chase: Chase) -> list[Row]:
    """Return why the case goes on although its verification has passed; nothing where it has not."""
    if chase.state.verified != "passed":
        return []
    asked = chase.fitted.profile.remaining
    return [(
        "Passed",
        f"Verified, but {percent(chase.remaining)} is left that a fault is there still; the case closes by itself "
        f"at less than {percent(asked)}.",
        "bold",
    )]


def _offer(chase: Chase, step: Offer, width: int) -> Card:
    passed = doubt(chase)
    purpose = PROVEN if step.kind == "verify" and not step.how else step.purpose
    top: list[Row] = [("Purpose", purpose, "bold")]
    if step.kind == "check" and (told := tells(chase, step.key)):
        top.append(("Tells", told, "bold"))
    if step.kind == "check":
        top += [*sleeping(chase, step.key), *again(chase, step.key)]
    if step.kind == "repair":
        top.append(("Clears", f"{percent(step.cleared)}: the chance that a fault it clears is there", "bold"))
    top.append(("Costs", costs(step, chase.intake.objective), "bold"))
    top += [*waiting(chase, step), *passed, *ways(step.crossings)]
    more = also(step, chase.intake.hands)
    how = several("How", numbered(step.how))
    never = several("Never", step.never)
    if step.direct and step.outcomes:
        body = rows([*top, *more, *how, *never, *warnings(step.cautions)])
        full = [(str(i), s.said, s.means) for i, s in enumerate(step.outcomes, start=1)]
        rest = [("u", "could not tell", ""), *_measure(chase, step)]
        return Card(
            heading(step.title, width, "Next"),
            body,
            keyed([*full, *rest], width),
            spare=(
                rows([*top, *how, *never, *warnings(step.cautions)]),
                rows([*top[1:], *how, *never, *warnings(step.cautions)]),
            ),
            spare_answers=keyed([*((k, said, "") for k, said, _ in full), *rest], width),
        )
    answers = [("", f"{s.said} ({percent(s.probability)})", s.means) for s in step.outcomes]
    go = ("g", GO_WORDS[step.kind], "")
    rest = [*top, *_brief(step.cautions)]
    return Card(
        heading(step.title, width, "Next"),
        rows([*top, *more, *how, *never, *warnings(step.cautions, full=False)]),
        keyed([*answers, go], width),
        # The steps and warnings are all shown again when it comes to them.
        spare=(rows([*top, *how, *_brief(step.cautions)]), rows(rest), rows(rest[1:])),
        spare_answers=keyed([*((k, said, "") for k, said, _ in answers), go], width),
    )


PROVEN = "Each channel was proven by itself since the last repair. Going on writes that down as the verification."
GO_WORDS = {
    "check": "go: what has to be opened first, one step at a time, each with its warnings",
    "repair": "go: one step at a time, each with its warnings",
    "verify": "go: one step at a time, each with its warnings",
    "end": "go: close up, then the record for whoever takes it over",
}


def measures(chase: Chase, step: Step) -> frozenset[str]:
    """Return the calculations that what is measured at a step goes through, where it may be told now; else none."""
    if isinstance(step, Ask) or (isinstance(step, Offer) and step.kind == "check" and step.direct and step.outcomes):
        entry: Check | Repair = chase.fitted.check(step.key).entry
    elif isinstance(step, Mend) and step.key in chase.fitted.repairs:
        entry = chase.fitted.repair(step.key).entry
    else:
        return frozenset()
    return frozenset(one.calc for one in entry.calculations(chase.fitted.profile.features))


def _measure(chase: Chase, step: Step) -> list[tuple[str, str, str]]:
    found = measures(chase, step)
    return [("m", measure_words(found), "")] if found else []


def measure_words(calculations: frozenset[str]) -> str:
    """Return what the key for a reading does at a step that goes through these calculations."""
    return _MEASURES.get(next(iter(calculations)), MEASURE) if len(calculations) == 1 else MEASURE


MEASURE = "measure: enter what you read, with its limit from your data"
_MEASURES = {
    "torque": "measure: work out what to set the wrench to",
    "spacer": "measure: work out depth and spacers from what you measured",
    "start": "measure: read a recorder's log of the start",
    "sparks": "measure: read a recording of the spark test",
}


def _ask(chase: Chase, step: Ask, width: int) -> Card:
    kind = {"check": "Check", "verify": "Verify", "repair": "Look at the part"}.get(step.within, "Check")
    top: list[Row] = [("Purpose", step.purpose, "bold")]
    if step.within == "check" and (told := tells(chase, step.key)):
        top.append(("Tells", told, "bold"))
    top.append(("Takes", minutes(step.minutes), "bold"))
    rest = [*several("How", numbered(step.how)), *several("Never", step.never)]
    unasked = [c for c in step.cautions if not c.asks]
    # Next to the answers: on a small screen what stands above scrolls off first. A check taken from the list of others,
    # or done once more, comes here without having been offered.
    worth = [*sleeping(chase, step.key), *(again(chase, step.key) if step.within == "check" else [])]
    last = [*_confirmed([c for c in step.cautions if c.asks]), *worth]
    body = rows([*top, *rest, *warnings(unasked), *last])
    full = [(str(i), said, means) for i, (_, said, means) in enumerate(step.outcomes, start=1)]
    others = [("u", "could not tell", ""), *_measure(chase, step)]
    return Card(
        heading(step.title, width, kind),
        body,
        keyed([*full, *others], width),
        spare=(
            rows([*top[1:], *rest, *warnings(unasked), *last]),
            rows([*top, *rest, *_seen(chase, unasked), *last]),
            rows([*top[1:], *rest, *_seen(chase, unasked), *last]),
        ),
        spare_answers=keyed([*((k, said, "") for k, said, _ in full), *others], width),
    )


def _seen(chase: Chase, cautions: Sequence[CautionShown]) -> list[Row]:
    """Return cautions in full, save those that were shown in full at a step before: of these the titles."""
    fresh = [c for c in cautions if c.key not in chase.state.confirmed]
    return [*warnings(fresh), *_brief([c for c in cautions if c not in fresh], "(shown before)")]


def _confirmed(cautions: Sequence[CautionShown]) -> list[Row]:
    """Return what was confirmed by facts just before, as a reminder, one row a level."""
    return _brief(cautions, "(confirmed)")


def goal(chase: Chase, step: Cross) -> str:
    """Return what a crossing leads to, in words; what is put back says so in the heading's kind."""
    access = chase.fitted.access[step.access]
    return f"{access.title}: {access.entry.word}" if step.opening else access.title


def reworded(chase: Chase, before: str) -> str:
    """Return a step's title as it is said here: much of what is opened is pulled, hung or counted instead."""
    if before.startswith("Open: "):
        title = before.removeprefix("Open: ")
        found = (f"{title}: {a.entry.word}" for a in chase.fitted.access.values() if a.title == title)
        return next(found, title)
    return before.replace("Close: ", "Put back: ", 1)


def _cross(chase: Chase, step: Cross, width: int) -> Card:
    kind = "Close up" if step.closing_up else "Set up" if step.opening else "Put back"
    if step.of > 1:
        kind += f", {step.of} to go"
    unasked = [c for c in step.cautions if not c.asks]
    asked = [c for c in step.cautions if c.asks]
    took = minutes(step.minutes) + (f", and {minutes(step.wait)} to wait" if step.wait else "")
    bodies = [
        rows([
            ("Takes", took, "bold"),
            *told,
            *_confirmed(asked),
            ("Do", step.do, "bold"),
            *several("Look", step.looks),
        ])
        for told in (warnings(unasked), _seen(chase, unasked))
    ]
    done = keyed(_plain_keys((("d", "done, and looked at"),)), width)
    return Card(heading(goal(chase, step), width, kind), bodies[0], done, spare=(bodies[1],))


def _mend(chase: Chase, step: Mend, width: int) -> Card:
    unasked = [c for c in step.cautions if not c.asks]
    asked = [c for c in step.cautions if c.asks]
    bodies = [
        rows([
            ("Takes", minutes(step.minutes), "bold"),
            *told,
            *_confirmed(asked),
            *several("How", numbered(step.how)),
            *several("Never", step.never),
            ("Record", step.record, "bold"),
        ])
        for told in (warnings(unasked), _seen(chase, unasked))
    ]
    done = keyed([("d", "done", ""), *_measure(chase, step)], width)
    return Card(heading(step.title, width, "Repair"), bodies[0], done, spare=(bodies[1],))


def _warned(chase: Chase, step: Confirm | Wait, width: int) -> Card:
    caution = step.caution
    body = rows([
        (words.LEVELS[caution.level], caution.text, STYLES[caution.level]),
        ("Before", reworded(chase, step.before), "bold"),
    ])
    if isinstance(step, Wait):
        until = f"until {step.until.astimezone():%H:%M:%S}"
        says: RenderableType = text(f"The time runs {until}. It may be left, not passed.")
    else:
        says = text("Confirmed by the facts below, from the aircraft and not from memory. Esc shows the other keys.")
    return Card(heading(caution.title, width, words.LEVELS[caution.level]), body, says)


# -- answers to questions ----------------------------------------------------------------------------


def named(chase: Chase, marginal: Marginal) -> str:
    """Return a suspect in words."""
    return chase.fitted.zones[marginal.zone].title_of(marginal.state)


def brief(marginal: Marginal) -> str:
    """Return a suspect in as few words as will do: ``igniter worn B``."""
    state, _, channel = marginal.mode.partition("/")
    return f"{state.replace('-', ' ')} {channel}".strip()


def why(chase: Chase, offer: Offer | None, width: int) -> Group:
    """Return why this move: its outcomes, the evidence on the leading suspect, and what else was considered."""
    from isolate.reasoning.explain import weighed

    parts: list[RenderableType] = []
    if offer is not None:
        parts.append(heading(offer.title, width, "Why"))
        if offer.outcomes:
            parts.append(Text("What each answer would do to the suspects:", style="bold"))
            items = []
            for shift in offer.outcomes:
                moved = ", ".join(
                    f"{small(named(chase, m))} {percent(was)} → {percent(m.probability)}" for m, was in shift.suspects
                )
                items.append((percent(shift.probability), shift.said, moved or "no suspect of weight left"))
            parts.append(_figures(items))
            parts.append(text(f"On average it removes {offer.bits:.2f} bits of doubt over what to repair."))
        elif offer.kind == "repair":
            parts.append(text(f"A fault that it clears is there with {percent(offer.cleared)}. {offer.purpose}"))
        else:
            parts.append(text(offer.purpose))
    if chase.gap.stands:
        parts.append(unexplained(chase))
    elif offer is not None and offer.kind == "end":
        from isolate.case import unfound

        parts += [text(line) for line in unfound.brief(unfound.unfound(chase))]
    leading = chase.belief.faults(0.01)
    if leading:
        first = leading[0]
        zone = chase.fitted.zones[first.zone]
        parts.append(Text(f"Why {small(named(chase, first))} leads, at {percent(first.probability)}:", style="bold"))
        read = readings(chase)
        weights = [
            (w.words, f"{w.title}: {w.said}", f"{w.bits:+.2f} bits", read.get((w.check, w.said), ""))
            for w in weighed(chase.belief, {first.zone: first.state})
        ]
        if chase.intake.starts:
            weights.append(("told", "the starts told at the opening are weighed in as well", "", ""))
        if weights:
            parts.append(_weights(weights, width))
        parts.append(rows([("Telltale", zone.modes[first.state].tells, "bold")]))
    parts.append(text(f"No fault at all: {percent(chase.belief.healthy())}."))
    if offer is not None and offer.others:
        parts.append(Text("Considered as well, and why not:", style="bold"))
        items = [
            (minutes(o.now), o.title, f"{dearer(o.expected - offer.expected)} in all{in_time(o.chance)}")
            for o in offer.others[:5]
        ]
        parts.append(_figures(items))
    return Group(*parts)


def readings(chase: Chase) -> dict[tuple[str, str], str]:
    """Return what was measured for an answer, in a line, by (check, what was said); the last where there are more."""
    from isolate.case import measured

    events = chase.state.events
    read = measured.behind(events, chase.state.void)
    return {
        (item.key, chase.fitted.check(item.key).said(item.outcome)): measured.line_of(events, item.seq, read[item.seq])
        for item in chase.state.evidence
        if item.seq in read
    }


def unexplained(chase: Chase) -> RenderableType:
    """Return that nothing known explains the answers, how improbable they are, and which fit the others least."""
    from isolate.case.facts import said as in_words

    gap = chase.gap
    # No finer than the draws that it was found by.
    rare = max(1, round(1 / max(gap.level, 5e-4)))
    one = "about one" if gap.level > 5e-4 else "hardly one"
    said = [in_words(chase.fitted, told) for told in gap.clash]
    return rows([
        ("Gap", f"None of what is known explains these answers together: of {rare:,} cases that it does explain, {one} "
                "would look so strange. The percentages below are of what is known, which does not fit.", "bold"),
        *several("Doubt", said),
        ("Then", "t, an answer is doubted: it is asked again. Or hand it over; no part is named to please.", "bold"),
    ])


def dearer(difference: float) -> str:
    """Return how one move compares with the move offered."""
    if abs(difference) < 0.5:
        return "the same"
    which = "dearer" if difference > 0 else "cheaper"
    return f"{which} by less than 5 min" if abs(difference) < 5 else f"{which} by {roughly(abs(difference))}"


def _figures(items: Iterable[tuple[str, str, str]]) -> Table:
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=LABEL, justify="right", no_wrap=True)
    grid.add_column(ratio=1, overflow="fold")
    for figure, what, more in items:
        line = text(what)
        if more:
            line.append("\n  ")
            line.append(plain(more), style="dim")
        grid.add_row(text(figure), line)
    return grid


def _weights(items: Iterable[tuple[str, ...]], width: int) -> Table:
    """Return weights of evidence, (how strongly, what, figure) each, with what was measured for it where it was."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    # Wide enough for the longest of the words that weigh evidence, behind their two columns of indent.
    grid.add_column(width=26 if width >= 60 else 16, overflow="fold")
    grid.add_column(ratio=1, overflow="fold")
    for strength, what, figure, *more in items:
        line = text(what)
        if figure:
            line.append(f"  {figure}", style="dim")
        for read in filter(None, more):
            line.append(f"\n  {plain(read)}", style="dim")
        grid.add_row(text(f"  {strength}", "bold"), line)
    return grid


def in_time(chance: float | None) -> str:
    """Return the chance of being done in time, behind other figures; nothing where nobody waits."""
    return "" if chance is None else f"; in time {estimated(chance)}"


def others(offer: Offer, found: Sequence[tuple[str, float, float, float | None]], width: int) -> Group:
    """Return the other moves, (title, minutes now, minutes in all, chance of being done in time), numbered."""
    items = [
        (str(i), title, f"{minutes(now)} now; {dearer(expected - offer.expected)} in all{in_time(chance)}")
        for i, (title, now, expected, chance) in enumerate(found, start=1)
    ]
    return Group(
        heading(offer.title, width, "Instead of"),
        keyed(items, width) if items else text("Nothing else may be done now."),
    )


def news(firings: Sequence[Firing]) -> list[Row]:
    """Return what rules have to say, one row each, the same sentence once."""
    found: dict[Row, None] = {}
    for firing in firings:
        if firing.kind in words.NEWS:
            loud = firing.kind in ("conflict", "escalation", "verdict")
            found[(words.NEWS[firing.kind], firing.says, "bold" if loud else "")] = None
    return list(found)


# -- the block at the foot -----------------------------------------------------------------------------


def bar(chase: Chase, keys: Sequence[Key], digits_do: str = "answer") -> Bar:
    """Return the block at the foot: what is open now, minutes, leading suspects, keys. Only the clock moves in it."""
    opened = _opened(chase)
    suspects = [f"{brief(m)} {percent(m.probability)}" for m in chase.belief.faults(0.02)[:4]]
    if chase.belief.healthy() >= 0.02:
        suspects.append(f"no fault {percent(chase.belief.healthy())}")
    led = [f"suspects  {suspects[0]}", *suspects[1:]] if suspects else ["no suspect above 2%"]
    book = f"{minutes(chase.state.book_minutes)} by the book"
    digits = [k.key for k in keys if k.key.isdigit()]
    shown = [f"{digits[0]}-{digits[-1]} {digits_do}" if len(digits) > 1 else f"1 {digits_do}"] if digits else []
    named = [f"{k.key} {k.word}" for k in keys if k.key and k.at_foot and not k.key.isdigit()]
    # The way out and the list of keys stay side by side, wherever the lines break.
    shown += [*named[:-2], "  ".join(named[-2:])] if named[-1:] == ["? help"] else named

    def lines(width: int) -> list[tuple[str, str]]:
        times = [f"{minutes(max(0.0, chase.elapsed))} by the clock", book]
        times += [left for left in (words.departure(chase.minutes_left),) if left]
        found = [("open", line) for line in _state(opened, width)]
        found += [("plain", line) for line in flow_items(times, ", ", width, 2)]
        found += [("plain", line) for line in flow_items(led, " · ", width, 1)]
        found += [("keys", line) for line in flow_items(shown, "  ", width, 3)]
        return found

    return lines


def cut(line: str, width: int) -> str:
    """Return a line that is no wider than ``width`` columns; what was cut off shows as an ellipsis."""
    return line if cell_len(line) <= width else set_cell_size(line, max(0, width - 1)).rstrip() + "…"


def _opened(chase: Chase) -> list[str]:
    """Return what is open, pulled or off now, what is unknown first, what only holds for a while last.

    The first says so; what follows a comma in a title is left off.
    """
    unknown: list[str] = []
    lasting: list[str] = []
    for what, state in chase.state.loose.items():
        word = words.UNKNOWN if state == "unknown" else words.LOOSE
        (unknown if state == "unknown" else lasting).append(f"{plain(what)}: {word}")
    passing: list[str] = []
    for key, title, word in chase.open_now():
        shown = f"{plain(title).split(',')[0]}: {words.UNKNOWN if word == 'unknown' else word}"
        lasts = chase.fitted.access[key].entry.lasting
        (unknown if word == "unknown" else lasting if lasts else passing).append(shown)
    opened = [*unknown, *lasting]
    # Heads that were counted are nothing that stands open.
    return [f"{words.OPEN_NOW}  {opened[0]}" if opened else words.NOTHING_OPEN, *opened[1:], *passing]


def _state(opened: Sequence[str], width: int) -> list[str]:
    """Return what is open now in at most three lines; how many did not fit is said, never left out in silence."""
    for count in range(len(opened), 0, -1):
        rest = f"{len(opened) - count} more (? lists them)"
        items = [*opened[:count], *([rest] if count < len(opened) else [])]
        lines = flow_items(items, " · ", width, 99)
        if len(lines) <= 3:
            break
    return lines


def flow_items(items: Sequence[str], between: str, width: int, most: int) -> list[str]:
    """Return items in at most ``most`` lines, none broken; those without room are left off."""
    found = [""]
    for item in items:
        grown = f"{found[-1]}{between}{item}" if found[-1] else f" {item}"
        if cell_len(grown) <= width or not found[-1]:
            found[-1] = grown
        elif len(found) < most:
            found.append(f" {item}")
        else:
            break
    return [cut(line, width) for line in found]


def help_rows(keys: Sequence[Key], chase: Chase, width: int) -> Group:
    """Return what the keys do now, and what is open in full."""
    items = [(k.key, k.says, "") for k in keys]
    opened = [f"{plain(title)}: {words.UNKNOWN if word == 'unknown' else word}" for _, title, word in chase.open_now()]
    for what, how in chase.state.loose.items():
        opened.append(f"{what}: {words.UNKNOWN if how == 'unknown' else words.LOOSE}")
    return Group(
        heading("what the keys do now", width),
        keyed(items, width),
        rows(several("Open now", opened or [words.NOTHING_OPEN])),
        *(text(line) for line in words.HELP),
    )



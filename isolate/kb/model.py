"""The shapes of what is known: one frozen model for each kind of entry in ``knowledge/``.

An entry is what an author writes; :mod:`isolate.kb.fit` turns the entries into what one engine
profile has (channel entries written once become one instance a channel). Minutes are minutes,
probabilities lie in [0, 1], a share is a fraction of one. Names are lower-case words joined by
hyphens and are unique within their kind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

HEALTHY = "healthy"
"""The state every zone has besides its fault modes."""

NOTHING = "nothing"
"""What a verdict of a reading answers where no outcome of the check follows from it."""

VERIFY = "verify"
"""The move that is no entry: verify now. A gate may block it by this name."""

FLOOR = 1e-4
"""No likelihood is ever taken as less than this: evidence makes a state unlikely, never impossible."""

NAME = r"^[a-z0-9]+(-[a-z0-9]+)*$"
"""The pattern of a name."""

Name = Annotated[str, StringConstraints(pattern=NAME)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Share = Annotated[float, Field(ge=0, le=1)]
Chance = Annotated[float, Field(gt=0, lt=1)]
Minutes = Annotated[float, Field(ge=0, le=10_000)]
Place = Literal["gate", "hangar"]
Condition = Literal["steady", "cold", "hot", "wet", "vibrating", "sagging"]
Sure = Literal["low", "fair", "good"]
Scalar = str | int | float | bool


class Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Source(Model):
    """Where a statement comes from. ``judgement`` marks figures that we weighed ourselves."""

    title: Text
    kind: Literal["published", "practice", "memory", "judgement"]
    edition: str = ""
    chapter: str = ""
    note: str = ""


class Sourced(Model):
    source: list[Name] = Field(min_length=1, description="Names of entries under sources.")


Only = dict[Name, Scalar | Annotated[list[Scalar], Field(min_length=1)]]
"""Features that an engine must have for something to be there: feature → its value, or any of several."""


class Said(Model):
    """A line that is said on some engines only."""

    only: Only = Field(min_length=1)
    say: Text


Line = Text | Said


class Fitting(Model):
    """What is there only on engines whose features say so."""

    only: Only = Field(default={}, description="Features an engine must have for this to exist; all of them.")

    def on(self, features: Mapping[str, Scalar]) -> bool:
        """Return whether an engine of these features has it."""
        return has(self.only, features)


def has(only: Only, features: Mapping[str, Scalar]) -> bool:
    """Return whether features meet all of ``only``; a feature that an engine does not name meets nothing."""
    return all(
        name in features and features[name] in (wanted if isinstance(wanted, list) else [wanted])
        for name, wanted in only.items()
    )


def lines(said: Sequence[str | Said], features: Mapping[str, Scalar]) -> tuple[str, ...]:
    """Return what of these lines is said on an engine of these features."""
    there = (line for line in said if isinstance(line, str) or has(line.only, features))
    return tuple(line if isinstance(line, str) else line.say for line in there)


# -- zones ---------------------------------------------------------------------------------------


class Wear(Model):
    """How a fault comes on as its part ages: the hazard of a Weibull life, weighed by us and no maker's limit.

    Modes of one part count in one unit and are renewed at one age: the part has one age.
    """

    unit: Literal["starts", "hours"] = Field(description="What the part's age is counted in.")
    shape: float = Field(ge=1, le=10, description="1: as likely at any age; the larger, the more it waits for old age.")
    scale: float = Field(gt=0, le=1e7, description="The age that about 37 % of parts pass before this fault.")
    replaced_at: float | None = Field(
        default=None, gt=0, le=1e7, description="The age at which a part still good is renewed; none: only as it fails."
    )


class Mode(Sourced, Fitting):
    """One way a zone can be at fault."""

    title: Text = Field(description="Plain words; {channel} stands for the channel's letter.")
    part: Name = Field(description="The part at fault, e.g. igniter, insert, lead, exciter, feeder.")
    prior: Chance = Field(description="Probability before any evidence, complaint included.")
    lights: Share = Field(
        description="Probability that a start which relies on this zone lights off while the fault is active."
    )
    active: dict[Condition, Share] | Share = Field(
        default=1.0,
        description="Probability that the fault shows, by condition; one figure for all, or `steady` and the rest.",
    )
    flickers: bool = Field(
        default=False,
        description=(
            "True: it comes and goes within the minute, so each test is drawn anew; else it shows or does not for an "
            "hour together."
        ),
    )
    like: Name | None = Field(
        default=None,
        description="A mode of the same zone: where a check has no row for this one, it answers as that one does.",
    )
    anew: bool = Field(
        default=False,
        description=(
            "True for a fault in how the part is fitted (a loose nut): it does not go along when parts change places, "
            "and mostly ends with it, since the part is fitted anew."
        ),
    )
    wear: Wear | None = Field(
        default=None, description="How it depends on the age of its part; `prior` is its average over unknown ages."
    )
    by_lane: bool = Field(
        default=False,
        description=(
            "True for a fault that fails the starts which one control lane commands; `lights` is the mean over lanes."
        ),
    )
    tells: Text = Field(description="What tells this fault from its neighbours, in a sentence.")
    sure: Sure = "fair"


class Zone(Sourced):
    """A part of the aircraft that is in exactly one state: healthy, or one of its modes."""

    title: Text
    per: Literal["channel"] | None = Field(default=None, description="`channel`: one instance for each channel.")
    lights: Share = Field(
        default=0.995, description="Probability that a start lights off as far as this zone goes, healthy."
    )
    kind: Literal["ignition", "other"] = Field(
        default="ignition", description="`other`: a cause that only looks like ignition; the tool hands over."
    )
    modes: dict[Name, Mode] = Field(min_length=1)


# -- checks --------------------------------------------------------------------------------------


class Outcome(Model):
    title: Text = Field(description="The answer in plain words, as the technician would say it.")
    means: Text = Field(description="What this answer would point to, in a sentence.")


class Row(Model):
    """The likelihood of each outcome in these modes; outcomes left out get the floor."""

    modes: list[Name] = Field(min_length=1)
    gives: dict[Name, Share] = Field(min_length=1)


class Repeats(Model):
    """The same check again on one occasion: with share ``same`` it repeats itself, else it is a fresh trial."""

    most: int = Field(ge=2, le=10)
    same: Share


class Swaps(Model):
    """A check in whose course the parts of the two channels change places."""

    part: Name = Field(description="The part, as the modes name it: igniter, lead, exciter.")
    back: bool = Field(
        default=True,
        description="Each is back on its own channel at the end; false: they stay where they came to.",
    )


class Reads(Fitting):
    """A calculation that a reading taken at this step goes through, and what its verdicts answer.

    The limit it is held against is asked of whoever takes it, from the approved data.
    """

    calc: Name = Field(description="The calculation, as `isolate calc` has it.")
    judge: str = Field(default="", description="Which of its verdicts answers, where it gives several.")
    given: dict[Name, Text] = Field(default={}, description="What it asks for and this step settles, as typed.")
    asks: list[Name] = Field(default=[], description="What it need not be told and is asked here all the same.")
    gives: dict[Name, Name] = Field(
        default={},
        description=(
            "Verdict → the outcome of this check that it is, or `nothing`; none at all: it is worked out and kept."
        ),
    )
    along: bool = Field(
        default=False,
        description="True: a record read for another check answers this one too, wherever the work stands.",
    )
    unless: list[Name] = Field(
        default=[], description="Checks whose answer from the same record says it already: then not this one as well."
    )


class Cited(Fitting):
    """What steps on the aircraft have in common."""

    title: Text
    per: Literal["channel"] | None = None
    steps: list[Line] = Field(default=[], description="How it is done, in order. No maker's limit values.")
    never: list[Line] = Field(default=[], description="What not to do.")
    cautions: list[Name] = Field(default=[], description="Shown, and confirmed where they ask for it, before the step.")
    tags: list[Name] = Field(
        default=[], description="Words rules may match: spark, motoring, hands-in, high-voltage ..."
    )
    place: list[Place] = Field(default=["gate", "hangar"], min_length=1)
    authority: list[Name] = Field(default=[], description="Authorisations that somebody present must hold.")
    tools: list[Name] = Field(default=[], description="Tools and services needed that may not be at hand, e.g. air.")
    people: int = Field(default=1, ge=1, le=6)
    reads: list[Reads] = Field(default=[], description="Calculations for what is measured or recorded at it.")
    source: list[Name] = Field(min_length=1)

    def calculations(self, features: Mapping[str, Scalar]) -> tuple[Reads, ...]:
        """Return what is worked out at it on an engine of these features."""
        return tuple(one for one in self.reads if one.on(features))


class Check(Cited):
    """A question put to the aircraft, its papers or its crew."""

    purpose: Text
    kind: Literal["history", "visual", "functional", "measurement"] = Field(
        description="Only a functional check depends on whether an intermittent fault is active."
    )
    minutes: Minutes
    needs: list[Name] = Field(default=[], description="Access states that must be open.")
    shut: list[Name] = Field(default=[], description="Access states that must be shut.")
    spoils: list[Name] = Field(
        default=[], description="Access states that this undoes, e.g. a start undoes a dry motor."
    )
    outcomes: dict[Name, Outcome] = Field(min_length=2, description="From the best news to the worst.")
    given: dict[Name, list[Row]] = Field(
        min_length=1,
        description=(
            "Likelihoods by zone; modes not listed answer as healthy does. With several zones the worst "
            "outcome that any of them yields is seen. In a check per channel, `channel` is that channel and "
            "`others` each other channel; else `channel` is each channel."
        ),
    )
    makes: dict[Condition, Share] = Field(
        default={},
        max_length=1,
        description=(
            "For a functional check that brings its own condition, e.g. `hot: 0.9` for one on a warmed exciter: the "
            "condition, and how far it prevails. What is in the aircraft's air then does not matter."
        ),
    )
    shows: dict[Condition, Name] = Field(
        default={},
        description=(
            "For a check that asks when the defect shows: the condition told at the opening of a case → the outcome "
            "that it is. It is not asked then."
        ),
    )
    starts: bool = Field(default=False, description="True for an engine start: its first outcome counts as lit.")
    recorded: Literal["light-times", "lanes"] | None = Field(
        default=None,
        description=(
            "What of recorded starts answers it, its first outcome or its last: `light-times`, a channel's times to "
            "light, like the other's or longer; `lanes`, failures that follow an igniter or a control lane."
        ),
    )
    age_of: Name | None = Field(
        default=None, description="The part whose age it asks for: not asked where that age has been told."
    )
    swaps: Swaps | None = Field(default=None, description="For a check that changes parts over between the channels.")
    repeats: Repeats | None = None
    sure: Sure = "fair"


# -- access --------------------------------------------------------------------------------------


class Crossing(Model):
    """Opening or shutting an access state."""

    do: Text | Annotated[list[Line], Field(min_length=1)] = Field(description="A text, or lines to be joined.")
    minutes: Minutes
    wait: Minutes | dict[Condition, Minutes] = Field(
        default=0.0,
        description=(
            "Minutes that must pass before it counts; elapsed, not labour. One figure, or `steady` and the rest by "
            "condition."
        ),
    )
    cautions: list[Name] = []
    checks: list[Line] = Field(default=[], description="What is looked at, by a second look, as part of it.")

    def waits(self, condition: Condition) -> float:
        """Return the minutes to wait in this condition."""
        if isinstance(self.wait, dict):
            return float(self.wait.get(condition, self.wait.get("steady", 0)))
        return float(self.wait)


class Access(Fitting):
    """Something that is open, pulled, disconnected or done, and must be put back by the end."""

    title: Text
    per: Literal["channel"] | None = None
    word: Text = Field(description="How the screen says it: open, pulled and tagged, off, done.")
    open: Crossing
    close: Crossing
    needs: list[Name] = Field(default=[], description="Must be open, and stay so, while this is.")
    shut: list[Name] = Field(default=[], description="Must be shut while this is opened.")
    lasting: bool = Field(default=True, description="False: nothing to put back, it just ends (a dry motor done).")
    tags: list[Name] = []
    place: list[Place] = ["gate", "hangar"]
    authority: list[Name] = []
    tools: list[Name] = []
    people: int = Field(default=1, ge=1, le=6)
    source: list[Name] = Field(min_length=1)


# -- repairs -------------------------------------------------------------------------------------


class Disturbs(Model):
    """A fault that the repair may leave behind."""

    mode: Name
    chance: Chance


class Repair(Cited):
    """A move that clears faults, or hands them to whoever clears them."""

    kind: Literal["repair", "hand-over"] = "repair"
    to: str = Field(default="", description="For a hand-over: whom or which chapter of the work it goes to.")
    minutes: Minutes
    parts: Minutes = Field(default=0, description="What the part costs, in equivalent minutes.")
    needs: list[Name] = []
    shut: list[Name] = []
    spoils: list[Name] = []
    clears: dict[Name, list[Name]] = Field(min_length=1, description="By zone, the modes it clears.")
    success: Chance = Field(description="Probability that it clears a state it is meant to clear.")
    disturbs: list[Disturbs] = []
    examines: list[Name] = Field(default=[], description="Checks done on the part as it comes off, before the repair.")
    replaces: Name | None = Field(
        default=None, description="The part, as the modes name it, that comes off for good while another goes on."
    )
    record: Text = Field(description="A line for the record, with ____ for part numbers and references.")


# -- cautions ------------------------------------------------------------------------------------


class Ask(Model):
    """A fact that confirms a caution."""

    name: Name
    prompt: Text
    kind: Literal["person", "tag", "time", "text", "minutes", "count"] = "text"
    least: float | None = Field(default=None, description="For minutes and counts: no smaller figure is taken.")


class Caution(Sourced, Fitting):
    """A warning shown before the step it belongs to."""

    title: Text
    text: Text
    level: Literal["warning", "caution"] = Field(description="warning: it can kill or maim; caution: it can damage.")
    asks: list[Ask] = Field(default=[], description="With asks it is confirmed by fact, not by a key.")
    wait: Name | None = Field(default=None, description="The ask (kind minutes) that says how long the timer runs.")
    since: list[Name] = Field(
        default=[], description="The access states from whose opening the timer runs, the last opened of them."
    )
    holds_while: list[Name] = Field(
        default=[],
        description=(
            "Once confirmed it need not be asked again while all of these stay open; none: asked for each move."
        ),
    )
    harm: Text | None = Field(default=None, description="Told in a drill: what going on before its wait is over does.")


# -- complaints ----------------------------------------------------------------------------------


class Told(Model):
    """A start as a complaint implies it. Channel: a letter, `unknown` or `both`."""

    channel: str = "unknown"
    lit: bool


class Complaint(Sourced, Fitting):
    """What is written up, mapped to evidence and to what its verification calls for."""

    title: Text
    says: list[Text] = Field(min_length=1, description="The wording that people use.")
    starts: list[Told] = Field(default=[], description="Stands in when no starts are told.")
    answers: dict[Name, Name] = Field(default={}, description="Checks that the write-up already answers.")
    found_open: list[Name] = Field(
        default=[], description="Access states that stand open when it is found; walked before anything else."
    )
    asks_channel: bool = Field(default=False, description="The complaint is about one channel: ask which.")
    verify_own: list[Name] = Field(
        default=[], description="Checks per channel that come first, on its own channel only."
    )
    verify: list[Name] = Field(min_length=1, description="Checks that verify it, per channel where they are so.")


class Sign(Sourced, Fitting):
    """What people heard or saw besides the complaint, mapped to answers."""

    title: Text
    says: list[Text] = Field(min_length=1, description="The wording that people use.")
    answers: dict[Name, Name] = Field(min_length=1, description="Checks that it answers, with the outcome.")
    asks_channel: bool = Field(default=False, description="It is about one channel: ask which.")


# -- engine profiles -----------------------------------------------------------------------------


class Cost(Model):
    open: Minutes | None = None
    close: Minutes | None = None


class Weights(Model):
    """Equivalent minutes at a place."""

    labour: float = Field(default=1.0, gt=0, le=100, description="Weight of a minute's work.")
    parts: float = Field(default=1.0, ge=0, le=100, description="Weight of a repair's `parts`.")
    hand_over: Minutes = Field(description="Cost of a right hand-over.")
    escalate: Minutes = Field(description="Cost of giving the chase to somebody else unsolved.")
    missed: Minutes = Field(description="Cost of a fault left behind, or of a wrong hand-over.")
    delay: float = Field(default=2.0, ge=0, le=100, description="Cost of each minute after the departure told.")
    defer: Minutes = Field(default=240, description="Cost of carrying a defect on under the operator's own procedure.")


class Money(Model):
    """What an equivalent minute is worth, for those who think in money; no decision depends on it."""

    minute: float = Field(gt=0, le=1000)
    unit: Text


class Omits(Model):
    """What a profile does not have."""

    modes: list[Name] = []
    checks: list[Name] = []
    access: list[Name] = []
    repairs: list[Name] = []
    rules: list[Name] = []


class Book(Model):
    """A fixed order, as a chart on paper would have it; trials hold the plan against it, a chase does not follow it.

    Names without channel: what is there once a channel is meant for each channel in turn.
    """

    checks: list[Name] = Field(min_length=1, description="Asked in this order.")
    repairs: list[Name] = Field(min_length=1, description="Done in this order once the checks are at their end.")


class Profile(Sourced):
    """An engine type in our world: what it has of all that is known."""

    title: Text
    channels: list[Annotated[str, StringConstraints(pattern=r"^[A-Z0-9]{1,3}$")]] = Field(min_length=1, max_length=4)
    selection: Literal["alternate", "both", "by-hand"] = Field(description="How a start chooses its channel.")
    features: dict[Name, Scalar] = Field(default={}, description="What rules may ask of it, e.g. inserts: true.")
    zones: list[Name] = Field(min_length=1)
    omits: Omits = Omits()
    access_minutes: dict[Name, Cost] = {}
    check_minutes: dict[Name, Minutes] = {}
    priors: dict[Name, Chance] = {}
    weights: dict[Place, Weights]
    money: Money | None = None
    remaining: Chance = Field(default=0.05, description="Verified asks for less than this probability of a fault left.")
    book: Book | None = Field(default=None, description="A fixed order to hold the plan against in trials.")


# -- rules ---------------------------------------------------------------------------------------

Test = Scalar | dict[Literal["at-least", "at-most", "above", "below", "one-of", "is-not"], Any]
"""What a slot must be: a value, ``$name`` to bind or match a variable, or one comparison."""

FACTS: dict[str, tuple[str, ...]] = {
    "case": (
        *("engine", "complaint", "channel", "place", "condition", "now", "selection", "minutes-left", "people"),
        "spent",
    ),
    "feature": ("name", "value"),
    "person": ("authority",),
    "at-hand": ("item",),
    "start": ("number", "channel", "lit"),
    "pattern": ("kind", "channel", "count"),
    "done": ("work", "channel"),
    "earlier": ("repair", "channel", "complaint", "days", "times", "shop"),
    "answer": ("check", "channel", "outcome", "count"),
    "declined": ("move", "channel"),
    "access": ("name", "channel", "state"),
    "confirmed": ("caution",),
    "suspect": ("mode", "channel", "part", "zone", "percent", "rank"),
    "remaining": ("percent",),
    "channel-fault": ("channel", "percent"),
    "surprise": ("level", "answers", "doubted"),
    "repaired": ("repair", "channel", "count"),
    "swapped": ("part", "channel", "to", "back"),
    "verified": ("channel", "result"),
    "motored": ("count",),
    "about-to": ("move", "kind", "channel", "tag"),
    "finding": ("name", "channel"),
}
"""The facts that rules may match, with their slots; ``finding`` is what rules assert for each other.

``pattern`` kinds: alternate-fails, one-channel-fails, one-lane-fails, never-alone, all-fail, some-fail, all-light.
``case.condition``: when the defect shows; ``case.now``: how it is at the aircraft. ``access`` states: open, shut,
unknown. ``surprise`` levels: low, high; ``answers``: those that fit the others least, in words; ``doubted``: how many
were asked again. ``about-to`` kinds: check, repair, open, close, verify; a move with
several tags is several facts. ``channel`` is the letter, or "" where the entry is not per channel.
``earlier``: the part that this repair fits was fitted new before, on this channel: for the same complaint (in an
earlier case or in this one), another one, or as told (``told``) of work before the case; ``days`` since the last time,
"" where not known; ``shop``: what the shop found in the one that came off then: confirmed, not-confirmed, other or "".
"""


class Pattern(Model):
    """One condition: a fact with tests on its slots, or the absence of one, or any of several."""

    fact: str | None = None
    where: dict[str, Test] = {}
    absent: Pattern | None = Field(default=None, description="True when no such fact stands.")
    any: list[Pattern] | None = Field(default=None, description="True when one of these stands.")


class Then(Model):
    """What a rule asserts. Which fields fit follows from the rule's kind."""

    finding: Name | None = None
    channel: str | None = Field(default=None, description="For a finding: a letter or a `$variable`.")
    block: Name | None = Field(default=None, description="For a gate: the tag or the move that may not be offered.")
    caution: Name | None = Field(default=None, description="For a caution: the caution to show.")


class Rule(Sourced, Fitting):
    """If all of ``when`` stands, then. Kinds as the design sorts them."""

    kind: Literal["finding", "gate", "caution", "conflict", "escalation", "verdict", "advice"]
    says: Text = Field(description="The plain sentence shown; {variables} are filled in.")
    when: list[Pattern] = Field(min_length=1)
    then: Then = Then()
    harm: Text | None = Field(
        default=None,
        description="Of a gate: what going on in spite of it does to people or the engine, told in a drill.",
    )


# -- all of it -----------------------------------------------------------------------------------


class Knowledge(Model):
    """Everything under ``knowledge/``, read and checked."""

    sources: dict[Name, Source] = {}
    zones: dict[Name, Zone] = {}
    checks: dict[Name, Check] = {}
    access: dict[Name, Access] = {}
    repairs: dict[Name, Repair] = {}
    cautions: dict[Name, Caution] = {}
    complaints: dict[Name, Complaint] = {}
    signs: dict[Name, Sign] = {}
    engines: dict[Name, Profile] = {}
    rules: dict[Name, Rule] = {}
    digest: str = Field(default="", description="SHA-256 over the canonical JSON of the rest, outcomes as pairs.")


KINDS: dict[str, type[Model]] = {
    "sources": Source,
    "zones": Zone,
    "checks": Check,
    "access": Access,
    "repairs": Repair,
    "cautions": Caution,
    "complaints": Complaint,
    "signs": Sign,
    "engines": Profile,
    "rules": Rule,
}
"""Kind of entry → its model; the kinds are also the folders of ``knowledge/``."""

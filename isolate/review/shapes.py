"""What a review of one case holds: the shapes that the timeline, the what-if, the report and the exports share.

Minutes are book minutes (the knowledge's figures) unless a name says clock. Probabilities run from 0 to 1, weights of
evidence are in bits: positive for, negative against.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

MomentKind = Literal[
    "opened", "told", "asked", "answered", "turned-down", "caution", "gate", "access", "repair", "swap", "verified",
    "taken-back", "remark", "people", "rule", "ended", "shop", "signed",
]  # fmt: skip
"""What a moment of the story is about; each has a mark of its own on paper, besides its words."""


@dataclass(frozen=True)
class Moment:
    """One thing that happened. ``said``: one line; ``more``: lines under it; ``void``: taken back since.

    ``at``: minutes worked up to it; ``took``: what it took; ``clock``: minutes by the clock since the opening.
    """

    seq: int
    time: str
    kind: MomentKind
    said: str
    more: tuple[str, ...] = ()
    at: float = 0.0
    took: float = 0.0
    clock: float = 0.0
    void: bool = False


@dataclass(frozen=True)
class Point:
    """The belief after something was said. ``after``: what that was; ``chances``: in the order of the suspects.

    ``none``: P(no fault at all); ``unexplained``: bits by which the answers surprise what is known.
    """

    seq: int
    at: float
    after: str
    chances: tuple[float, ...]
    none: float
    unexplained: float = 0.0
    bits: tuple[float, ...] = ()
    """Change of the log odds of each suspect since the point before; none at the opening and where work was done."""


@dataclass(frozen=True)
class Suspect:
    """A fault mode that was ever among the leading ones, its title, and whether the end names it.

    ``at_end``: its probability as the end has it, which weighs the answers after the repair too; None where it is not
    named, or not told.
    """

    mode: str
    title: str
    named: bool
    at_end: float | None = None


@dataclass(frozen=True)
class Answered:
    """An answer and what it says of each suspect, in the order of the suspects, in bits.

    ``bits``: how it changed the log odds of each against the rest when it came, all before it being known; they add up
    to the change from the opening, or from the last work. Of a carried answer: how much lower the log odds at the
    opening would be now without it; those do not add up.
    ``moved``: bits of doubt that it took away (negative: added). ``words``: what it says of the one that the end names.
    """

    seq: int
    check: str
    title: str
    outcome: str
    said: str
    condition: str
    bits: tuple[float, ...]
    moved: float
    words: str
    carried: str = ""
    """The earlier case that it comes from; empty for one of this case."""
    reading: str = ""
    """What was measured for it, in a line; empty where nothing was."""


@dataclass(frozen=True)
class ReadFigure:
    """A result of a reading with its 95 % interval; None for an end without a limit, or what is no number."""

    says: str
    value: float | None
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True)
class ReadFile:
    """A file that a reading came from, by its name then and the SHA-256 of what was in it."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Measured:
    """A reading: what was measured or recorded at a step. ``about``: the check or repair.

    ``how``: it answered the check, answered it along with another that the record was read for, or was only noted.
    ``limits``: (what was asked, as understood) from the approved data, where they stand in ``reference``.
    ``seconds``: of the record, from and to, where it comes from a stretch of it.
    ``lines``: all of it in sentences. One that is not in a form that can be told has nothing but those.
    """

    seq: int
    time: str
    about: str
    title: str
    how: Literal["answered", "along", "noted"]
    said: str
    """What was answered, in words; empty where nothing was."""
    lines: tuple[str, ...]
    void: bool = False
    calculation: str = ""
    verdict: str = ""
    words: str = ""
    why: str = ""
    outcome: str = ""
    read: tuple[tuple[str, str], ...] = ()
    figures: tuple[ReadFigure, ...] = ()
    limits: tuple[tuple[str, str], ...] = ()
    reference: str = ""
    files: tuple[ReadFile, ...] = ()
    seconds: tuple[float, float] | None = None


@dataclass(frozen=True)
class NotAsked:
    """A check that was not done before the verdict was acted on, and what it could have told then.

    ``bits``: of doubt that it was expected to take away. ``minutes``: with the way to it from what stood open then.
    ``expected``: minutes to the end with it, as the plan put it then; ``best``: with the move that it put first.
    """

    check: str
    title: str
    bits: float
    minutes: float
    expected: float
    best: float


@dataclass(frozen=True)
class Fired:
    """A rule that fired: its kind (finding, gate, caution, conflict, escalation, verdict, advice), what and on what."""

    seq: int
    rule: str
    kind: str
    says: str
    matched: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Guarded:
    """A caution that was confirmed: before what, and by which facts; ``shown``: shown only, with nothing to tell."""

    seq: int
    time: str
    caution: str
    title: str
    before: str
    facts: tuple[tuple[str, str], ...]
    shown: bool


@dataclass(frozen=True)
class Spent:
    """Minutes by step or by access: how often, and what they came to."""

    kind: Literal["check", "repair", "swap", "access"]
    key: str
    title: str
    times: int
    minutes: float


@dataclass(frozen=True)
class Advice:
    """One piece of advice and what became of it. ``expected``: minutes to the end as it was put, None where not told.

    ``over``: what was taken up instead was expected to cost so much more (then); None where that is not known.
    """

    seq: int
    move: str
    kind: str
    title: str
    became: Literal["taken", "declined", "instead"]
    reason: str = ""
    instead: str = ""
    expected: float | None = None
    over: float | None = None


@dataclass(frozen=True)
class Cheaper:
    """A move made where another was expected to cost less, by what was known then."""

    seq: int
    did: str
    best: str
    over: float
    why: str


@dataclass(frozen=True)
class NotNeeded:
    """A step that in hindsight told nothing of what was at fault, or put nothing right."""

    seq: int
    title: str
    minutes: float
    why: str


@dataclass(frozen=True)
class Hindsight:
    """What it would have taken with the fault known from the start. ``by``: who says what the fault was.

    ``steps``: (title, minutes) of that way, closing up included; ``least``: their sum; ``took``: what the case took.
    ``by`` nobody: there is no such way, and ``none`` says why. ``doubt``: where shop and end disagree, or two words of
    the shop, in sentences; empty where they do not. ``rest``: (what for, minutes), where the minutes beyond ``least``
    went; they sum to ``took`` less ``least``.
    """

    truth: tuple[str, ...]
    titles: tuple[str, ...]
    by: Literal["the shop", "the end of the case", "nobody"]
    steps: tuple[tuple[str, float], ...]
    least: float
    took: float
    not_needed: tuple[NotNeeded, ...]
    doubt: str = ""
    none: str = ""
    rest: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class CameBack:
    """A later case on the same engine in which the defect came back. ``days``: from the end of this one to its opening.

    ``returned``: this one had been verified; else it ended deferred or handed over, and was taken up again.
    ``why``: what ties it to this one, or to one between. ``truth``, ``titles``: the modes that were at fault in it, as
    ``by`` has it; empty where nobody says. ``said``: all of it in one sentence.
    """

    case: str
    opened: str
    days: float
    why: tuple[str, ...]
    truth: tuple[str, ...]
    titles: tuple[str, ...]
    by: Literal["the shop", "the end of the case", "nobody"]
    said: str
    returned: bool = True


@dataclass(frozen=True)
class Weak:
    """One thing that would change the verdict if it were wrong.

    ``what`` "answer": with the outcome ``other`` in its place, ``to`` leads with ``chance``; "likelihood" or "prior":
    with the figure of ``state`` off by ``factor`` (above 1: times as large, below: smaller).
    ``same_repair``: the verdict's repair puts right what would lead as well. ``told``: the figure is about an answer
    told at the opening, which no event has (``seq`` 0).
    """

    what: Literal["answer", "likelihood", "prior"]
    seq: int
    key: str
    title: str
    state: str
    other: str
    factor: float | None
    to: str
    to_title: str
    chance: float
    said: str
    same_repair: bool = False
    told: bool = False


@dataclass(frozen=True)
class WeakRow:
    """What would change the verdict, in one line: figures of one state that would have to be off alike go together.

    ``of``: places in ``Firm.weak``.
    """

    said: str
    same_repair: bool
    of: tuple[int, ...]


@dataclass(frozen=True)
class Firm:
    """How firm the verdict is. ``odds``: of it to ``second``.

    ``weak``: what would change the repair first, then what the same repair puts right; of each the least change first.
    ``repair``: the one meant, empty where none is known. ``rows``: the same in lines to read.
    """

    verdict: str
    title: str
    chance: float
    second: str
    second_title: str
    odds: float
    weak: tuple[Weak, ...]
    notes: tuple[str, ...] = ()
    repair: str = ""
    repair_title: str = ""
    rows: tuple[WeakRow, ...] = ()


@dataclass(frozen=True)
class Signature:
    """A signature. ``state``: what may be said of it."""

    seq: int
    upto: int
    by: str
    key: str
    state: Literal["good", "unknown key", "wrong", "other name"]
    said: str


@dataclass(frozen=True)
class Trust:
    """Whether the trail is whole, replays, and who signed it.

    ``faults``: where it is broken, in sentences; ``replayed``: events worked out anew and found the same; ``differs``:
    sentences on where they were not; ``not_replayed``: why it was not replayed, empty where it was. ``signed``: one
    word for all of it.
    """

    whole: bool
    faults: tuple[str, ...]
    replayed: int
    differs: tuple[str, ...]
    not_replayed: str
    signed: Literal["unsigned", "signed", "signed, then written to", "signed by an unknown key", "wrongly signed"]
    signatures: tuple[Signature, ...]
    said: tuple[str, ...]
    """All of it in a few sentences."""


@dataclass(frozen=True)
class Review:
    """One case, reviewed. ``forks``: other ends of the same case, in sentences; ``notes``: what could not be worked."""

    case: str
    head: str
    aircraft: str
    position: str
    engine: str
    complaint: str
    complaint_title: str
    channel: str
    operator: str
    station: str
    place: str
    condition: str
    opened: str
    closed: str
    end: str
    knowledge: str
    program: str
    events: int
    book: float
    clock: float
    isolated: float | None
    story: tuple[Moment, ...]
    suspects: tuple[Suspect, ...]
    belief: tuple[Point, ...]
    answers: tuple[Answered, ...]
    rules: tuple[Fired, ...]
    cautions: tuple[Guarded, ...]
    spent: tuple[Spent, ...]
    advice: tuple[Advice, ...]
    cheaper: tuple[Cheaper, ...]
    hindsight: Hindsight | None
    firm: Firm | None
    trust: Trust | None
    record: str
    forks: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    engine_title: str = ""
    not_asked: tuple[NotAsked, ...] = ()
    not_asked_at: int = 0
    """The event before which they were not asked: the taking up of the deciding move; of an open case, the last one."""
    not_done: tuple[tuple[str, str], ...] = ()
    """Checks that could not be done then, as (title, why): turned down, nobody authorised, not at hand."""
    came_back: tuple[CameBack, ...] = ()
    """Where it was looked for: later cases of the same engine in which the defect came back, the first one first."""
    drawn: tuple[str, ...] = ()
    """What follows from that, in sentences."""
    unmet: str = ""
    """Where the defect shows in a condition in which it was not checked, or not verified: a sentence on that."""
    readings: tuple[Measured, ...] = ()
    """What was measured or recorded, in the order in which it was told."""
    until: str = ""
    """Up to the taking up of what ``isolated`` counts, in words; empty where that is in doubt or there is none."""

    def as_dict(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)

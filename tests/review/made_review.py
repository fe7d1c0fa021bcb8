"""A review with all its parts filled in, made by hand: an invented case on an invented engine, for tests of the pages.

Nothing here was worked out by the tool, so that a page can be looked at without it.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from types import UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from isolate.review.shapes import (
    Advice,
    Answered,
    CameBack,
    Cheaper,
    Fired,
    Firm,
    Guarded,
    Hindsight,
    Moment,
    NotAsked,
    NotNeeded,
    Point,
    Review,
    Signature,
    Spent,
    Suspect,
    Trust,
    Weak,
    WeakRow,
)

_T = TypeVar("_T")
NASTY = (
    "<script>document.title='ran'</script>",
    '"><img src=x onerror="document.title=\'ran\'">',
    "</style><style>*{display:none}",
    "</pre></script><!--",
    "=SUM(A1:A9)",
    "\x1b[31mred\x1b[0m \x9b2J",
    "{{ 7*7 }} {% raw %} {# gone #}",
    "abc\u202edcba\u202c \u200f",
    "javascript:alert(1)",
    "W" * 300,
    "Ærøskøbing Ελένη Наталья 北京 أمينة שרה ไทย",
    "&lt;b&gt; &amp;amp; &#x27;",
    "url(http://example.invalid/x)",
)
"""What somebody may have written in a note."""

_SUSPECTS = (
    Suspect("exciter-fails-hot/B", "Exciter channel B fails when it is hot", True, 0.97),
    Suspect("igniter-worn/B", "Igniter plug worn, channel B", False),
    Suspect("lead-open/B", "Ignition lead B open", False),
    Suspect("lead-chafed/B", "Ignition lead B chafed through to its braid, in a clip or beside it", False),
    Suspect("exciter-dead/B", "Exciter channel B dead", False),
    Suspect("feeder-resistive/B", "Feeder of channel B resistive", False),
)
_POINTS = (
    (2, 0.0, "the complaint", (0.30, 0.26, 0.14, 0.10, 0.09, 0.05), 0.01, 0.0),
    (9, 5.0, "Time to light, as told: as usual", (0.38, 0.18, 0.16, 0.11, 0.09, 0.04), 0.01, 0.1),
    (13, 7.0, "Circuit breakers of channel B: all in", (0.40, 0.19, 0.16, 0.10, 0.08, 0.03), 0.01, 0.1),
    (22, 17.0, "Start as recorded: a spark is missing", (0.52, 0.12, 0.15, 0.08, 0.07, 0.02), 0.0, 0.2),
    (42, 49.0, "Supply at the exciter's input: there", (0.61, 0.12, 0.11, 0.08, 0.06, 0.0), 0.0, 0.1),
    (63, 78.0, "Lead B at the exciter's end: clean", (0.92, 0.03, 0.02, 0.01, 0.01, 0.0), 0.0, -0.2),
    (68, 123.0, "Exciter B replaced: exciter fails hot B is cleared", (0.03, 0.03, 0.02, 0.01, 0.0, 0.0), 0.90, -0.3),
    (94, 168.0, "Channel B fired alone: snaps", (0.02, 0.01, 0.01, 0.01, 0.0, 0.0), 0.95, -0.5),
)
_MOVES = {
    9: (0.8, -1.1, 0.3, 0.2, 0.0, -0.4),
    13: (0.04, 0.04, 0.04, 0.04, 0.04, -0.02),
    22: (0.7, -0.7, 0.0, -0.4, -0.2, -0.6),
    42: (0.2, 0.2, 0.1, 0.1, 0.1, -6.7),
    63: (0.4, 0.1, -2.2, -3.4, 0.1, 0.0),
    94: (-2.6, -1.8, -4.1, -1.0, -5.0, -0.2),
}
"""Event of a point → bits by which it moved each suspect; those at answers are the answers'."""


def made_review() -> Review:
    """Return the review."""
    return Review(
        case="104-2-20300118-060000-abcd",
        head="9f2c4b1a77e05d3388aa10d2b6c4f0e19f2c4b1a77e05d3388aa10d2b6c4f0e1",
        aircraft="104",
        position="2",
        engine="halden-hf-3",
        complaint="intermittent-no-ignite",
        complaint_title="Now and then no light-off",
        channel="B",
        operator="Skerry Air",
        station="Skerry base",
        place="hangar",
        condition="hot",
        opened="2030-01-18T06:00:00.000Z",
        closed="2030-01-19T10:31:00.000Z",
        end="verified, fault found",
        knowledge="4be1c0ffee" * 6 + "4be1",
        program="0.1.0",
        events=143,
        book=236.5,
        clock=271.0,
        isolated=78.0,
        story=_story(),
        suspects=_SUSPECTS,
        belief=tuple(Point(*row, bits=_MOVES.get(row[0], ())) for row in _POINTS),
        answers=_answers(),
        rules=(
            Fired(
                3,
                "alternate-starts-fail",
                "finding",
                "Every other start fails: one channel.",
                ("a", "b"),
                ("our-judgement",),
            ),
            Fired(
                37,
                "input-first",
                "gate",
                "The lead stays on until the input is off.",
                ("input-off/B: shut",),
                ("faa-amt-ch4",),
            ),
            Fired(
                134,
                "verified",
                "verdict",
                "Verified: what the complaint calls for was done and passed.",
                ("passed",),
                (),
            ),
        ),
        cautions=(
            Guarded(
                39,
                "2030-01-18T06:49:00.000Z",
                "ignition-energy/B",
                "Energy at the lead can kill",
                "Measure the supply",
                (("input off at", "06:49"), ("minutes waited", "2")),
                False,
            ),
            Guarded(
                66,
                "2030-01-18T08:13:00.000Z",
                "torque-approved-data/B",
                "Torque is the approved data's",
                "Replace exciter B",
                (),
                True,
            ),
        ),
        spent=(
            Spent("check", "light-time-told", "Time to light, as told", 1, 5.0),
            Spent("check", "feeder-volts/B", "Supply at the exciter's input", 1, 12.0),
            Spent("repair", "replace-exciter/B", "Replace exciter B", 1, 45.0),
            Spent("access", "cowls-open", "Fan cowls", 2, 20.0),
            Spent("access", "breakers-pulled", "Ignition circuit breakers, every supply", 3, 15.0),
        ),
        advice=(
            Advice(7, "light-time-told", "check", "Time to light, as told", "taken", expected=363.07),
            Advice(15, "finding-told/B", "check", "What an earlier finding said", "taken", expected=433.8),
            Advice(
                44,
                "input-connector-look/B",
                "check",
                "Look into the input connector",
                "instead",
                "",
                "Listen at a start, channel B",
                424.3,
                6.1,
            ),
            Advice(
                57,
                "replace-lead/B",
                "repair",
                "Replace ignition lead B",
                "declined",
                "no lead in store until Thursday",
                "",
                486.4,
            ),
        ),
        cheaper=(
            Cheaper(48, "Listen at a start, channel B", "Look into the input connector", 6.1, "It was open already."),
        ),
        hindsight=Hindsight(
            ("exciter-fails-hot/B",),
            ("Exciter channel B fails when it is hot",),
            "the shop",
            (("Open: breakers, cowls, input", 25.0), ("Replace exciter B", 45.0), ("Verify and close up", 88.0)),
            158.0,
            236.5,
            (NotNeeded(13, "Circuit breakers of channel B", 2.0, "It told nothing of the exciter."),),
            rest=(("steps that told nothing of it", 60.5), ("finding it out", 18.0)),
        ),
        firm=Firm(
            "exciter-fails-hot/B",
            "Exciter channel B fails when it is hot",
            0.919,
            "lead-open/B",
            "Ignition lead B open",
            41.3,
            (
                Weak(
                    "answer",
                    63,
                    "lead-exciter-end-look/B",
                    "Lead B at the exciter's end",
                    "",
                    "tracked",
                    None,
                    "lead-tracked/B",
                    "Ignition lead B tracked",
                    0.61,
                    "If 'Lead B at the exciter's end' had read tracked, Ignition lead B tracked would lead (61%)",
                ),
                Weak(
                    "likelihood",
                    0,
                    "recorded-start-read",
                    "Start as recorded",
                    "igniter-worn/B",
                    "spark-missing",
                    9.5,
                    "igniter-worn/B",
                    "Igniter plug worn, channel B",
                    0.43,
                    "A worn plug would have to miss as often as 0.95",
                ),
                Weak(
                    "prior",
                    0,
                    "exciter-fails-hot/B",
                    "Exciter channel B fails when it is hot",
                    "",
                    "",
                    1 / 40,
                    "lead-open/B",
                    "Ignition lead B open",
                    0.40,
                    "It would have to be forty times as rare",
                    True,
                ),
                Weak(
                    "likelihood",
                    0,
                    "fails-when-told",
                    "When does it fail?",
                    "exciter-fails-hot/B",
                    "hot",
                    1 / 40,
                    "lead-open/B",
                    "Ignition lead B open",
                    0.40,
                    "Hot would have to be forty times less probable",
                    True,
                    True,
                ),
            ),
            ("Activity and wear figures were not tried.",),
            "replace-exciter/B",
            "Replace exciter B",
            (
                WeakRow("Had the lead read tracked, Ignition lead B tracked would lead (61%)", False, (0,)),
                WeakRow("A worn plug would have to miss as often as 0.95", False, (1,)),
                WeakRow("2 figures of one fault would have to be off by 40", True, (2, 3)),
            ),
        ),
        trust=Trust(
            True,
            (),
            143,
            (),
            "",
            "signed",
            (Signature(142, 141, "A. Technician", "ab12cd34", "good", "Signed by A. Technician, up to event 141."),),
            (
                "The chain of 143 events is whole.",
                "Worked again, all of it came out the same.",
                "Signed by A. Technician.",
            ),
        ),
        record="Aircraft 104, engine 2, case 104-2.\n  Exciter B replaced, S/N XK311, i.a.w. ____.\nSigned ____",
        forks=(),
        engine_title="Halden HF-3",
        not_asked=(NotAsked("breakers-look/A", "Circuit breakers of channel A", 0.4, 2.0, 430.4, 426.0),),
        not_asked_at=58,
        not_done=(("Lead wiggled on a meter", "turned down"), ("Supply with a clamp", "not at hand")),
        came_back=(
            CameBack(
                "104-2-0208-9abc",
                "2030-02-08T06:00:00.000Z",
                19.8,
                ("the same symptom",),
                ("lead-chafed/B",),
                ("Ignition lead B chafed",),
                "the shop",
                "104-2-0208-9abc, opened 2030-02-08, 19.8 days after this one ended: lead B chafed (the shop says so)",
            ),
        ),
        drawn=("The exciter was confirmed by the shop, and the defect came back: there was a second fault.",),
        unmet="The defect shows hot, and it was verified cold only.",
        until="replacing exciter B",
        notes=("The knowledge has changed since; this was worked with the recorded one.",),
    )


def _story() -> tuple[Moment, ...]:
    day, next_day = "2030-01-18T", "2030-01-19T"
    return (
        Moment(
            1, f"{day}06:00:00.000Z", "opened", "Opened: Now and then no light-off, channel B", ("it shows when hot",)
        ),
        Moment(6, f"{day}06:01:00.000Z", "told", "Told: minutes since the engine was shut down: 40"),
        Moment(9, f"{day}06:05:00.000Z", "answered", "Time to light, as told: as usual", (), 5.0, 5.0, 5.0),
        Moment(
            13,
            f"{day}06:07:00.000Z",
            "answered",
            "Circuit breakers of channel B: one out",
            (),
            7.0,
            2.0,
            7.0,
            void=True,
        ),
        Moment(14, f"{day}06:08:00.000Z", "taken-back", "Event 13 taken back: misread", (), 7.0, 0.0, 8.0),
        Moment(
            24,
            f"{day}06:24:00.000Z",
            "asked",
            "Supply at the exciter's input, as offered",
            ("expected 473 min to the end",),
            17.0,
        ),
        Moment(
            25, f"{day}06:25:00.000Z", "access", "Ignition circuit breakers, every supply: open", (), 22.0, 5.0, 25.0
        ),
        Moment(
            37,
            f"{day}06:44:00.000Z",
            "gate",
            "Held back: the lead stays on until the input is off",
            (),
            37.0,
            0.0,
            44.0,
        ),
        Moment(
            39, f"{day}06:49:00.000Z", "caution", "Energy at the lead can kill", ("minutes waited: 2",), 37.0, 0.0, 49.0
        ),
        Moment(42, f"{day}07:03:00.000Z", "answered", "Supply at the exciter's input: there", (), 49.0, 12.0, 63.0),
        Moment(50, f"{day}07:05:00.000Z", "people", "Passed on to the next shift", (), 49.0, 0.0, 65.0),
        Moment(51, f"{day}07:06:00.000Z", "remark", "Smell of hot varnish at the exciter", (), 49.0, 0.0, 66.0),
        Moment(
            57,
            f"{day}07:18:00.000Z",
            "turned-down",
            "Declined: Replace ignition lead B",
            ("no lead in store until Thursday",),
            78.0,
        ),
        Moment(61, f"{day}07:22:00.000Z", "rule", "Never fire an open lead", (), 78.0),
        Moment(
            67,
            f"{day}08:13:00.000Z",
            "repair",
            "Exciter B replaced",
            ("off S/N XK207, on S/N XK311",),
            123.0,
            45.0,
            133.0,
        ),
        Moment(94, f"{next_day}08:58:00.000Z", "answered", "Channel B fired alone: snaps", (), 168.0, 5.0, 220.0),
        Moment(133, f"{next_day}10:26:00.000Z", "verified", "Verified: passed", (), 214.0, 0.0, 265.0),
        Moment(142, f"{next_day}10:30:00.000Z", "signed", "Signed by A. Technician", (), 236.5, 0.0, 270.0),
        Moment(143, f"{next_day}10:31:00.000Z", "ended", "Verified, fault found", (), 236.5, 0.0, 271.0),
        Moment(144, "2030-02-08T10:00:00.000Z", "shop", "The shop confirms it: exciter B", ("SR-2030-7",), 236.5),
    )


def _answers() -> tuple[Answered, ...]:
    return (
        Answered(
            31,
            "lead-megger/B",
            "Insulation of lead B",
            "good",
            "good",
            "",
            (0.1, 0.1, 0.0, -1.5, 0.1, 0.1),
            0.0,
            "slightly for Exciter channel B fails when it is hot",
            "104-2-20300110",
        ),
        Answered(
            9,
            "light-time-told",
            "Time to light, as told",
            "usual",
            "as usual",
            "cold",
            (0.8, -1.1, 0.3, 0.2, 0.0, -0.4),
            0.21,
            "clearly for Exciter channel B fails when it is hot",
        ),
        Answered(
            13,
            "breakers-look/B",
            "Circuit breakers of channel B",
            "all-in",
            "all in",
            "",
            (0.04, 0.04, 0.04, 0.04, 0.04, -0.02),
            0.01,
            "says nothing either way",
        ),
        Answered(
            42,
            "feeder-volts/B",
            "Supply at the exciter's input",
            "present",
            "there",
            "cold",
            (0.2, 0.2, 0.1, 0.1, 0.1, -6.7),
            0.33,
            "says nothing either way",
        ),
        Answered(
            63,
            "lead-exciter-end-look/B",
            "Lead B at the exciter's end",
            "clean",
            "clean",
            "",
            (0.4, 0.1, -2.2, -3.4, 0.1, 0.0),
            0.62,
            "slightly for Exciter channel B fails when it is hot",
        ),
        Answered(
            94,
            "spark-test/B",
            "Channel B fired alone",
            "snaps",
            "snaps",
            "cold",
            (-2.6, -1.8, -4.1, -1.0, -5.0, -0.2),
            -0.05,
            "after the repair: it sparks now",
        ),
    )


def everywhere(value: _T, words: str) -> _T:
    """Return a shape with these words wherever it holds any: in names, notes and times, but not in its fixed words."""
    hints = get_type_hints(type(value))
    return replace(value, **{f.name: _put(getattr(value, f.name), hints[f.name], words) for f in fields(value)})


def _put(value: Any, hint: Any, words: str) -> Any:
    if get_origin(hint) is Literal:
        return value
    if isinstance(value, str):
        return words
    if isinstance(value, tuple):
        inner = [h for h in get_args(hint) if h is not Ellipsis]
        return tuple(_put(v, inner[min(i, len(inner) - 1)], words) for i, v in enumerate(value))
    return everywhere(value, words) if is_dataclass(value) and not isinstance(value, type) else value


def filled(shape: type[_T], flag: bool = True) -> _T:
    """Return a shape with something in each of its fields: words, two of what it holds several of, this flag."""
    hints = get_type_hints(shape)
    return shape(**{f.name: _made(hints[f.name], flag) for f in fields(shape)})  # type: ignore[arg-type]


def _made(hint: Any, flag: bool) -> Any:
    args = get_args(hint)
    if get_origin(hint) is Literal:
        return args[0]
    if get_origin(hint) in (Union, UnionType):
        return _made(next(a for a in args if a is not type(None)), flag)
    if get_origin(hint) is tuple:
        return (_made(args[0], flag),) * 2 if Ellipsis in args else tuple(_made(a, flag) for a in args)
    if is_dataclass(hint):
        return filled(hint, flag)  # type: ignore[type-var]
    return {str: "words", int: 2, float: 0.5, bool: flag}[hint]


def grown(moments: int) -> Review:
    """Return the review with so many moments, half as many points and a third as many answers."""
    made = made_review()
    story = tuple(replace(made.story[i % 13 + 1], seq=i + 1, at=float(i), void=False) for i in range(moments))
    belief = tuple(replace(made.belief[i % 6], seq=2 * i + 1, at=2.0 * i) for i in range(moments // 2))
    answers = tuple(replace(made.answers[i % 5], seq=3 * i + 1) for i in range(moments // 3))
    return replace(made, story=story, belief=belief, answers=answers, events=moments, book=float(moments))

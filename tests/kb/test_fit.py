"""What an engine has of all that is known: entries and lines for some engines only, modes that answer like others."""

from __future__ import annotations

from textwrap import dedent
from typing import TYPE_CHECKING

import pytest

from isolate.kb.fit import fit
from isolate.kb.load import load
from isolate.kb.model import FLOOR, has

if TYPE_CHECKING:
    from conftest import Base

CHECKS, ZONES, ACCESS, ENGINE = "checks/all.yaml", "zones/channel.yaml", "access/all.yaml", "engines/halden-hf-3.yaml"
COOLED = ("cooled-leads: false}", "cooled-leads: true}")


@pytest.mark.parametrize(
    ("only", "there"),
    [
        ({}, True),
        ({"leads": "cooled"}, True),
        ({"leads": ["bare", "cooled"]}, True),
        ({"leads": "bare"}, False),
        ({"leads": "cooled", "inserts": True}, True),
        ({"leads": "cooled", "inserts": False}, False),
        # A feature that the engine does not name meets nothing, not even false.
        ({"propeller": False}, False),
    ],
)
def test_only_asks_for_all_of_its_features(only: dict[str, object], there: bool) -> None:
    assert has(only, {"leads": "cooled", "inserts": True}) is there  # type: ignore[arg-type]


def only(base: Base, file: str, marker: str, indent: int) -> None:
    """Put ``only`` for cooled leads as the first field of the entry that ``marker`` names."""
    base.swap(file, f"{marker}\n", f"{marker}\n{' ' * indent}only: {{cooled-leads: true}}\n")


def test_entries_are_there_only_on_the_engines_they_name(base: Base) -> None:
    only(base, CHECKS, "  nut-feel:", 4)
    only(base, ZONES, "      lead-loose:", 8)
    only(base, ACCESS, "  cowls-open:", 4)
    only(base, "repairs/all.yaml", "  tighten-nut:", 4)
    only(base, "rules/all.yaml", "  silent-channel:", 4)
    only(base, "cautions/all.yaml", "  discharge:", 4)
    only(base, "complaints/all.yaml", "  one-channel-silent:", 4)

    bare = fit(load(base.folder).knowledge, "halden-hf-3")
    assert "nut-feel/A" not in bare.checks
    assert "lead-loose" not in bare.zones["channel/A"].modes
    assert "cowls-open" not in bare.access
    assert "tighten-nut/A" not in bare.repairs
    assert "silent-channel" not in bare.rules
    assert "discharge" not in bare.cautions
    assert not bare.complaints
    # What is not there is not needed, shown, examined or disturbed.
    lead = bare.access["lead-off/A"]
    assert lead.needs == () and lead.open.cautions == ()
    assert bare.repairs["replace-igniter/A"].examines == ()
    assert not bare.repairs["replace-igniter/A"].disturbs

    base.swap(ENGINE, *COOLED)
    cooled = fit(load(base.folder).knowledge, "halden-hf-3")
    assert "nut-feel/A" in cooled.checks and "lead-loose" in cooled.zones["channel/A"].modes
    assert cooled.access["lead-off/A"].needs == ("cowls-open",)
    assert cooled.access["lead-off/A"].open.cautions == ("discharge",)
    assert cooled.repairs["replace-igniter/A"].disturbs == {"channel/A": (("lead-loose", 0.01),)}
    assert "silent-channel" in cooled.rules and "one-channel-silent" in cooled.complaints


def test_lines_are_said_only_on_the_engines_they_name(base: Base) -> None:
    base.swap(
        ACCESS,
        "open: {do: Open them., minutes: 8, cautions: [discharge]}",
        'open: {do: [Open them., {only: {cooled-leads: true}, say: Mind the duct.}], minutes: 8, '
        'checks: [{only: {cooled-leads: false}, say: Rods seen.}]}',
    )
    base.swap(
        CHECKS,
        "    purpose: Find a loose nut.",
        "    purpose: Find a loose nut.\n    steps: [Feel it., {only: {cooled-leads: true}, say: Sleeve first.}]",
    )
    bare = fit(load(base.folder).knowledge, "halden-hf-3")
    assert bare.access["cowls-open"].open.do == "Open them."
    assert bare.access["cowls-open"].open.checks == ("Rods seen.",)
    assert bare.checks["nut-feel/B"].steps == ("Feel it.",)
    base.swap(ENGINE, *COOLED)
    cooled = fit(load(base.folder).knowledge, "halden-hf-3")
    assert cooled.access["cowls-open"].open.do == "Open them. Mind the duct."
    assert cooled.access["cowls-open"].open.checks == ()
    assert cooled.checks["nut-feel/B"].steps == ("Feel it.", "Sleeve first.")


def test_a_wait_by_condition(base: Base) -> None:
    base.swap(ACCESS, "minutes: 4, wait: 5,", "minutes: 4, wait: {steady: 5, hot: 40},")
    access = fit(load(base.folder).knowledge, "halden-hf-3").access["lead-off/A"]
    assert (access.open.waits("steady"), access.open.waits("wet"), access.open.waits("hot")) == (5, 5, 40)
    assert access.close.waits("hot") == 0


LIKE = """\
      lead-torn:
        title: lead {channel} torn
        part: lead
        prior: 0.001
        lights: 0.1
        like: lead-loose
        tells: It hangs.
        source: [weighed]
"""


def test_a_mode_answers_like_another_where_a_check_has_no_row_for_it(base: Base) -> None:
    base.write(ZONES, base.read(ZONES) + LIKE)
    base.swap(
        CHECKS,
        "          gives: {tight: 0.05, loose: 0.95}\n",
        "          gives: {tight: 0.05, loose: 0.95}\n        - modes: [lead-torn]\n          gives: {tight: 1}\n",
    )
    fitted = fit(load(base.folder).knowledge, "halden-hf-3")
    states = fitted.zones["channel/A"].states
    loose, torn = states.index("lead-loose"), states.index("lead-torn")
    spark = fitted.checks["spark-test/A"].given["channel/A"]
    assert spark[torn] == spark[loose] != spark[0]
    feel = fitted.checks["nut-feel/A"].given["channel/A"]
    assert feel[torn] != feel[loose] and feel[torn][1] == pytest.approx(FLOOR, rel=1e-3)


def test_the_mode_it_is_like_need_not_be_on_the_engine(base: Base) -> None:
    base.write(ZONES, base.read(ZONES) + LIKE)
    only(base, ZONES, "      lead-loose:", 8)
    fitted = fit(load(base.folder).knowledge, "halden-hf-3")
    assert fitted.zones["channel/A"].states == ("healthy", "igniter-worn", "lead-torn")
    row = fitted.checks["spark-test/A"].given["channel/A"][2]
    assert row == pytest.approx((0.1, 0.1, 0.8))


def test_a_sign_is_there_when_it_answers_a_check_of_the_engine(base: Base) -> None:
    base.write(
        "signs/all.yaml",
        dedent("""\
            signs:
              dry-tailpipe:
                title: A dry tailpipe
                says: [nothing came out]
                answers: {fuel-flow-look: no-flow}
                source: [weighed]
            """),
    )
    assert set(fit(load(base.folder).knowledge, "halden-hf-3").signs) == {"dry-tailpipe"}
    only(base, CHECKS, "  fuel-flow-look:", 4)
    assert not fit(load(base.folder).knowledge, "halden-hf-3").signs


@pytest.mark.parametrize(
    ("like", "message"),
    [
        ("lead-losse", "no fault mode `lead-losse` (did you mean lead-loose?)"),
        ("no-fuel", "`no-fuel` is a mode of zone `engine`, not of `channel`"),
        ("lead-torn", "is like itself in the end: lead-torn → lead-torn"),
    ],
)
def test_a_like_that_leads_nowhere(base: Base, like: str, message: str) -> None:
    base.write(ZONES, base.read(ZONES) + LIKE.replace("like: lead-loose", f"like: {like}"))
    (problem,) = base.problems()
    assert problem.message.endswith(message), problem.message
    assert problem.line == base.line(ZONES, f"like: {like}")


def test_likes_in_a_circle(base: Base) -> None:
    base.write(ZONES, base.read(ZONES) + LIKE)
    base.swap(ZONES, "        prior: 1e-2", "        prior: 1e-2\n        like: lead-torn")
    (problem,) = base.problems()
    assert "is like itself in the end: lead-loose → lead-torn → lead-loose" in problem.message


@pytest.mark.parametrize(
    ("answers", "message"),
    [
        ("{fuel-flow-look: no-flwo}", "the check `fuel-flow-look` has no outcome `no-flwo` (did you mean no-flow?)"),
        ("{fuel-flow-lok: flow}", "no check `fuel-flow-lok` (did you mean fuel-flow-look?)"),
        ("{spark-test: silent}", "`spark-test` is asked per channel: say `asks_channel: true`"),
    ],
)
def test_a_sign_that_answers_what_is_not_there(base: Base, answers: str, message: str) -> None:
    text = "signs:\n  quiet:\n    title: Quiet\n    says: [nothing]\n"
    base.write("signs/all.yaml", f"{text}    answers: {answers}\n    source: [weighed]\n")
    (problem,) = base.problems()
    assert problem.message.endswith(message), problem.message
    assert (problem.file, problem.line) == ("knowledge/signs/all.yaml", 5)


def test_a_wait_without_steady(base: Base) -> None:
    base.swap(ACCESS, "minutes: 4, wait: 5,", "minutes: 4, wait: {hot: 40},")
    (problem,) = base.problems()
    assert "`steady` is missing" in problem.message and problem.line == base.line(ACCESS, "wait: {hot: 40}")

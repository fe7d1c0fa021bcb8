"""Cards and the block at the foot at every width: no line longer than the window, nothing lost, nothing as markup."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console, Group
from rich.text import Text

from isolate.case.case import Intake, Person
from isolate.case.chase import Chase, Kit
from isolate.case.memory import Memory
from isolate.case.play import Clock, play
from isolate.case.steps import Ask, CautionShown, Confirm, Cross, Held, Mend, Offer, Step, Wait, Walk
from isolate.kb.model import Ask as Fact
from isolate.reasoning.explain import strength
from isolate.reasoning.starts import Start
from isolate.terminal import keys as k
from isolate.terminal import layout, words

WIDTHS = (40, 47, 60, 80, 100, 133, 200)


class Plain:
    """Answers each check with one of its outcomes, by turns the best and the worst, and tells every fact."""

    def __init__(self, chase: Chase, worst: bool) -> None:
        self.chase, self.worst = chase, worst

    def outcome(self, check: str, within: str) -> str:
        outcomes = self.chase.fitted.check(check).outcomes
        return outcomes[-1] if self.worst and within == "check" else outcomes[0]

    def refuses(self, move: str) -> str | None:
        return None

    def fact(self, ask: Fact, caution: str) -> object:
        numbers = {"count": max(2, int(ask.least or 0)), "minutes": max(2.0, ask.least or 0)}
        return numbers.get(ask.kind, "Teal" if ask.name == "inspected-by" else "Quill [bold]and[/bold] Marrow")

    def part(self, repair: str) -> dict[str, object]:
        return {}

    def defers(self, kind: str, move: str) -> None:
        return None

    def repaired(self, repair: str) -> None:
        pass


def opened(kit: Kit, clock: Clock) -> Chase:
    told = Intake(
        aircraft="104",
        position="2",
        engine=kit.fitted.name,
        complaint="intermittent-no-ignite",
        starts=tuple(Start(c, lit) for c, lit in (("A", True), ("B", False)) * 3),
        people=(Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow"), Person("Teal")),
        place="hangar",
        minutes_left=90,
    )
    return Chase.begin(kit, Memory(), "trial", told, clock)


ENOUGH = 45
"""Steps of each case that are looked at."""


class Enough(Exception):
    """So many steps were seen."""


@pytest.fixture(scope="module")
def seen(kit: Kit) -> list[tuple[Chase, Step]]:
    """Steps of the kinds that two cases come to, one begun with a check and one with a repair, each with its chase."""
    found: dict[tuple[type, str], tuple[Chase, Step]] = {}
    for kind in ("check", "repair"):
        clock = Clock()
        chase = opened(kit, clock)
        move = next(m for m in chase.ranked().moves if m.kind == kind and m.crossings)
        chase.accept(move.kind, move.name)
        count = 0

        def keep(step: Step, said: str, chase: Chase = chase, clock: Clock = clock) -> None:
            nonlocal count
            if (about := (type(step), step.title)) not in found:
                there = Chase(kit, Memory(chase.log.events(chase.id)), chase.id, Clock(clock.time))
                found[about] = there, step
            count += 1
            if count >= ENOUGH:
                raise Enough

        with suppress(Enough):
            play(chase, Plain(chase, worst=True), clock, keep)
    return list(found.values())


def lines(what: object, width: int) -> list[str]:
    console = Console(width=width, height=24, file=io.StringIO(), color_system=None, highlight=False, markup=False)
    console.print(what)
    return console.file.getvalue().splitlines()  # type: ignore[attr-defined]


def fits(what: object, width: int) -> list[str]:
    found = lines(what, width)
    for line in found:
        assert cell_len(line) <= width, line
    return found


def parts(chase: Chase, step: Step, width: int) -> Iterator[object]:
    card = layout.card(chase, step, width)
    yield Group(card.head, card.body, card.answers)
    yield card.fitted(Console(width=width, file=io.StringIO()), 18)
    offer = step if isinstance(step, Offer) else None
    yield layout.why(chase, offer, width)
    if offer is not None:
        yield layout.others(offer, [(o.title, o.now, o.expected, o.chance) for o in offer.others], width)
    yield layout.help_rows([k.WHY, k.CANNOT, k.TELL, k.LEAVE], chase, width)


def test_every_kind_of_step_was_met(seen: list[tuple[Chase, Step]]) -> None:
    assert {Offer, Confirm, Cross, Ask, Mend} <= {type(step) for _, step in seen}


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_window(seen: list[tuple[Chase, Step]], width: int) -> None:
    for chase, step in seen:
        for part in parts(chase, step, width):
            assert fits(part, width)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_block_at_the_foot_fits_and_stays_small(seen: list[tuple[Chase, Step]], width: int) -> None:
    keys = [k.Key("1", "a", "a"), k.Key("2", "b", "b"), k.UNSURE, k.WHY, k.ELSE, k.CANNOT, k.BACK, k.NOTE, k.TELL]
    keys += [k.RECORD, k.LEAVE, k.HELP]
    for chase, _ in seen:
        block = layout.bar(chase, keys)(width)
        assert all(cell_len(text) <= width for _, text in block)
        assert len(block) <= (9 if width < 60 else 8 if width < 80 else 7)
        shown = " ".join(text for _, text in block)
        # What only holds for a while, heads counted or a dry motor, is nothing that stands open.
        stands = any(w == "unknown" or chase.fitted.access[key].entry.lasting for key, _, w in chase.open_now())
        assert (words.OPEN_NOW in shown) == stands
        assert (words.NOTHING_OPEN in shown) != stands
        assert "by the clock" in shown and "by the book" in shown
        if width >= 60:
            assert "q leave" in shown


@pytest.mark.parametrize("width", WIDTHS)
def test_no_word_of_a_step_is_lost_by_wrapping(seen: list[tuple[Chase, Step]], width: int) -> None:
    for chase, step in seen:
        if not isinstance(step, Ask | Mend):
            continue
        card = layout.card(chase, step, width)
        shown = "".join("".join(fits(card.fitted(Console(width=width, file=io.StringIO()), 1), width)).split())
        for text in (*step.how, *step.never, *(c.title for c in step.cautions)):
            # Labels stand before first lines only, so each text is whole once spaces are taken out.
            assert "".join(text.split()) in shown


def test_cautions_of_a_step_say_what_they_are_in_words(seen: list[tuple[Chase, Step]]) -> None:
    met = set()
    for chase, step in seen:
        shown = "\n".join(lines(layout.card(chase, step, 80).fitted(Console(width=80, file=io.StringIO()), 1), 80))
        for caution in (step.caution,) if isinstance(step, Confirm | Wait) else getattr(step, "cautions", ()):
            assert words.LEVELS[caution.level] in shown
            assert "".join(caution.title.split()) in "".join(shown.split())
            met.add(caution.level)
    assert "warning" in met


def test_cards_fit_on_one_screen_of_80_by_24(seen: list[tuple[Chase, Step]]) -> None:
    console = Console(width=80, height=24, file=io.StringIO())
    long = []
    for chase, step in seen:
        tall = layout.tall(console, layout.card(chase, step, 80).fitted(console, 18))
        if isinstance(step, Ask | Mend) or (isinstance(step, Offer) and step.direct):
            # What must be read before it is done is never cut: a few checks take more, with the answers at the end.
            long += [step.title] if tall > 18 else []
        else:
            assert tall <= 18, step.title
    assert len(long) <= len(seen) / 5, long


def test_the_answers_come_last(seen: list[tuple[Chase, Step]]) -> None:
    for chase, step in seen:
        if isinstance(step, Ask):
            shown = lines(layout.card(chase, step, 80).fitted(Console(width=80, file=io.StringIO()), 18), 80)
            found = layout.measures(chase, step)
            last = ["u could not tell", *([f"m {layout.measure_words(found)}"] if found else [])]
            assert [" ".join(line.split()) for line in shown[-len(last) :]] == last


def test_every_outcome_has_its_own_digit(seen: list[tuple[Chase, Step]]) -> None:
    for chase, step in seen:
        if isinstance(step, Ask):
            shown = lines(layout.card(chase, step, 200).answers, 200)
            heads = [line.split()[0] for line in shown if not line.startswith("     ")]
            more = ["m"] if layout.measures(chase, step) else []
            assert heads == [*(str(i + 1) for i in range(len(step.outcomes))), "u", *more]


def test_rare_steps_show_what_they_are_about(seen: list[tuple[Chase, Step]]) -> None:
    chase, _ = seen[0]
    for width in WIDTHS:
        walk = "\n".join(fits(Group(*_all(layout.card(chase, Walk("Leads", "lead-off/A", "off"), width))), width))
        assert "Leads" in walk and "off" in walk
        held = Held("Fire it", "spark-test/A", ("Vapour first.", "No air."))
        shown = "\n".join(fits(Group(*_all(layout.card(chase, held, width))), width))
        assert "Vapour first." in shown and "No air." in shown
        caution = CautionShown("wait", "wait", "Wait", "It holds its charge.", "warning", ())
        wait = layout.card(chase, Wait("Wait", caution, chase.clock(), "Lead off"), width)
        assert "not passed" in " ".join("\n".join(fits(Group(*_all(wait)), width)).split())


def test_a_look_says_since_when_nobody_knows(kit: Kit) -> None:
    def why(chase: Chase) -> str:
        step = chase.now()
        assert isinstance(step, Walk)
        return " ".join("\n".join(fits(Group(*_all(layout.card(chase, step, 80))), 80)).split())

    clock, log = Clock(), Memory()
    told = Intake(
        aircraft="104",
        position="2",
        engine=kit.fitted.name,
        complaint="plug-will-not-run-down",
        channel="A",
        people=(Person("Quill", ("licensed", "motoring", "engine-run")), Person("Marrow")),
        place="hangar",
    )
    chase = Chase.begin(kit, log, "trial", told, clock)
    assert "how it was found" in why(chase) and "still" not in why(chase)
    chase = Chase.resume(kit, log, "trial", clock)
    assert "interrupted" in why(chase) and "still so" in why(chase)
    chase.walked(True)
    chase.take_back()
    while "taken back" not in why(chase):
        chase.walked(True)
    assert "moves nothing at the aircraft" in why(chase)


def test_a_passed_verification_that_leaves_doubt_says_why_it_goes_on(kit: Kit) -> None:
    chase = opened(kit, Clock())
    assert layout.doubt(chase) == []
    chase.state.verified = "passed"
    ((label, said, _),) = layout.doubt(chase)
    assert label == "Passed"
    assert words.percent(chase.remaining) in said and words.percent(chase.fitted.profile.remaining) in said
    offer = chase.now()
    assert isinstance(offer, Offer)
    shown = " ".join("\n".join(lines(layout.card(chase, offer, 80).fitted(Console(width=80), 1), 80)).split())
    assert "is left that a fault is there still" in shown


def _all(card: layout.Card) -> tuple[object, object, object]:
    return card.head, card.body, card.answers


def test_told_text_is_neither_markup_nor_control() -> None:
    nasty = "[red]x[/red] \x1b[31mred\x1b[0m \x1b]0;title\x07 \x9b5m a\rb\nc \u202eabc\u2066 \x00\x08"
    shown = words.plain(nasty)
    assert shown.startswith("[red]x[/red] red ")
    assert all(c.isprintable() for c in shown) and "title" not in shown and "\u202e" not in shown
    assert "[red]x[/red]" in lines(layout.text(nasty), 80)[0]
    assert "[red]x[/red]" in lines(layout.rows([("Note", nasty, "bold")]), 80)[0]
    assert words.plain("one\ntwo\x1b[2J", lines=True) == "one\ntwo"


def test_an_endless_word_is_folded_not_cut() -> None:
    long = "x" * 500
    for width in WIDTHS:
        shown = fits(layout.rows([("Note", long, "")]), width)
        assert "".join(shown).count("x") == 500


def test_wide_letters_count_as_two_columns() -> None:
    for width in WIDTHS:
        for text in (layout.cut("点火" * 100, width), *layout.flow_items(["点火 " * 9] * 9, " · ", width, 3)):
            assert cell_len(text) <= width


def test_news_is_told_once_a_sentence_and_gates_not_at_all(kit: Kit) -> None:
    chase = opened(kit, Clock())
    assert {f.kind for f in chase.news}
    rows = layout.news([*chase.news, *chase.news])
    assert len(rows) == len({text for _, text, _ in rows})
    gate = replace(chase.news[0], kind="gate")
    assert layout.news([gate]) == []


@pytest.mark.parametrize(
    ("value", "said"),
    [(0, "0 min"), (0.4, "less than 1 min"), (52.4, "52 min"), (200, "3 h 20 min"), (240, "4 h"), (-5, "-5 min")],
)
def test_minutes_in_words(value: float, said: str) -> None:
    assert words.minutes(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.4, "less than 1 min"), (4.2, "4 min"), (83, "about 85 min"), (176, "about 175 min"), (344, "about 5 h 40 min")],
)
def test_an_estimate_is_no_finer_than_it_is(value: float, said: str) -> None:
    assert words.roughly(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.2, "the same"), (3, "dearer by less than 5 min"), (-3, "cheaper by less than 5 min"),
     (16, "dearer by about 15 min")],
)  # fmt: skip
def test_moves_are_compared_no_finer_than_they_are_known(value: float, said: str) -> None:
    assert layout.dearer(value) == said


def test_weights_of_evidence_stay_on_one_line() -> None:
    items = [(strength(bits), "Fire channel A alone", "") for bits in (0.0, 1.0, -2.0, 5.0, -9.0)]
    shown = fits(layout._weights(items, 80), 80)
    assert len(shown) == len(items)
    assert all(strength(bits) in " ".join(shown) for bits in (0.0, 1.0, -2.0, 5.0, -9.0))


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0%"), (0.001, "<1%"), (0.42, "42%"), (0.999, ">99%"), (1.0, "100%")]
)
def test_percent_is_never_rounded_to_certainty(value: float, said: str) -> None:
    assert words.percent(value) == said


def test_departure_in_words() -> None:
    assert words.departure(None) == ""
    assert words.departure(12) == "12 min to departure"
    assert words.departure(-3) == "departure was 3 min ago"


def test_small_keeps_what_is_written_in_capitals() -> None:
    assert words.small("Lead B open") == "lead B open"
    assert words.small("APU off") == "APU off"
    assert words.small("A plug") == "A plug"
    assert Text(words.small("")).plain == ""


def test_a_verification_already_done_says_that_it_is(kit: Kit) -> None:
    chase = opened(kit, Clock())
    verify = next(m for m in chase.ranked().moves if m.kind == "verify")
    todo, done = chase.offer(verify), replace(chase.offer(verify), how=())
    shown = [" ".join("\n".join(fits(Group(*_all(layout.card(chase, o, 80))), 80)).split()) for o in (todo, done)]
    assert layout.PROVEN not in shown[0] and layout.PROVEN in shown[1]

"""What the terminal says of belief, weights and firmness: figures that add up, and words for what they leave out."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from io import StringIO

import pytest
from rich.console import Console

from isolate.review.review import review
from isolate.review.shapes import Review
from isolate.terminal.review_layout import page
from tests.review.read_back import kits, read_back
from tests.worked import trail


@cache
def judged(name: str) -> Review:
    return review(kits, trail(name), without=["not asked", "record"])


def printed(r: Review, only: str, width: int = 80) -> str:
    out = StringIO()
    console = Console(file=out, width=width, color_system=None, highlight=False, markup=False, emoji=False)
    console.print(page(r, width, only))
    said = out.getvalue()
    assert max(len(line.rstrip()) for line in said.splitlines()) <= width
    return said


def flat(said: str) -> str:
    return " ".join(said.split())


@pytest.mark.parametrize("name", ["wet-lead", "taken-back", "turboprop"])
def test_the_bits_of_a_stretch_are_summed_under_it(name: str) -> None:
    """The rows printed come to the sum printed, as far as one decimal each can tell."""
    made = read_back(name)
    figures = re.compile(rf"((?:\s+(?:[+-]\d+\.\d|0)){{{len(made.suspects)}}})$")
    rows, sums = list[list[float]](), 0
    part = printed(made, "belief", 120 if len(made.suspects) > 4 else 80).partition("What each answer says")[2]
    part = part.partition("In this case:")[2] or part
    for line in part.splitlines():
        body = line.rstrip()
        # Wide, doubt has a column of its own, which sums have not.
        wide = re.search(rf"((?:\s+(?:[+-]\d+\.\d|0)){{{len(made.suspects) + 1}}})$", body)
        found = figures.search(body)
        if found is None:
            continue
        numbers = [float(n) for n in (wide if wide is not None else found)[1].split()][: len(made.suspects)]
        if ", in all:" in body:
            sums += 1
            for had, total in zip(zip(*rows, strict=True), numbers, strict=True):
                assert sum(had) == pytest.approx(total, abs=0.05 * (len(had) + 1))
            rows.clear()
        elif "From here on" in body:
            rows.clear()
        else:
            rows.append(numbers)
    assert sums >= 1 + any(m.kind == "repair" for m in made.story)


def test_the_end_s_own_figure_and_more_than_a_hundred_are_explained() -> None:
    said = printed(read_back("hot-exciter"), "belief")
    assert "<- the end names it: 92%" in said
    assert "The end weighs the answers after the repair too" in flat(said)
    assert "several may be at fault at once" not in said, "there they come to no more than 100%"
    assert "several may be at fault at once" in flat(printed(read_back("turboprop"), "belief"))
    open_case = printed(read_back("taken-back"), "belief")
    assert "The end weighs" not in open_case and "the end names it" not in open_case


def test_carried_answers_say_that_they_do_not_add_up() -> None:
    said = flat(printed(read_back("came-back"), "belief"))
    assert "how much lower the odds at the opening would be without each, which does not add up" in said
    assert "earlier cases, as they are now" not in flat(printed(read_back("hot-exciter"), "belief"))


def test_what_was_taken_back_stands_in_the_table_with_its_undoing() -> None:
    said = flat(printed(read_back("taken-back"), "belief"))
    assert "(taken back later)" in said and "19 Taken back:" in said


def test_what_changes_the_repair_stands_first_and_apart() -> None:
    made = judged("hot-exciter")
    assert made.firm is not None
    said = flat(printed(made, "firm"))
    first = said.index("What would change the repair (replace exciter B), if it were wrong")
    then = said.index("is put right by the same part and the same repair")
    for row in made.firm.rows:
        assert (said.index(flat(row.said)) > then) == row.same_repair and said.index(flat(row.said)) > first
    assert "(told at the opening)" in said and "--what-if" in said
    head = flat(printed(made, ""))
    assert f"{made.firm.rows[0].said}" in head.partition("The story")[0]
    assert f"{len(made.firm.rows) - 4} more: isolate review" in head


def test_where_nothing_changes_the_repair_the_head_says_so() -> None:
    made = judged("hot-exciter")
    assert made.firm is not None
    rows = tuple(row for row in made.firm.rows if row.same_repair)
    only = replace(made, firm=replace(made.firm, rows=rows))
    assert "No single thing looked at would change the repair." in flat(printed(only, "")).partition("The story")[0]
    assert "No single answer, likelihood or prior that was looked at would change the repair (" in flat(
        printed(only, "firm")
    )

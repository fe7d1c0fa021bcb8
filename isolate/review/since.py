"""What came of a case since: the later cases of its engine in which the defect came back, and what follows from that.

Which those are is found from the cases in brief, as :mod:`isolate.review.repeats` has it; what was at fault in them
from their trails.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from isolate.case.brief import Brief, brief
from isolate.case.case import BadIntake, fold
from isolate.kb.fit import UnknownName
from isolate.kb.shown import plain
from isolate.review import cost
from isolate.review.named import Names, within
from isolate.review.parts import kinds_of
from isolate.review.repeats import between, came_back, elapsed, engine_of, proven
from isolate.review.shapes import CameBack
from isolate.review.shelf import Briefs
from isolate.review.symptoms import families

if TYPE_CHECKING:
    from isolate.case.chase import Kit
    from isolate.case.events import Event
    from isolate.case.store import Store
    from isolate.review.cost import Truth

NOT_READ = (BadIntake, UnknownName, AssertionError, AttributeError, IndexError, KeyError, TypeError, ValueError)
"""What a body that is not in the form expected raises: of such a later case only its brief is told."""


def since(store: Store, events: Sequence[Event], kits: Callable[[str], Kit]) -> tuple[CameBack, ...]:
    """Return the later cases of the engine in which the defect of a case that has ended came back, the first one first.

    They may have come back from one another: plug, exciter, lead. A case that had not ended, or a drill, has none.
    Raises StoreError where the store cannot be read.
    """
    try:
        mine = brief(events)
    except NOT_READ:
        return ()
    if not mine.ended or not mine.closed or mine.drill:
        return ()
    kit = None
    with suppress(UnknownName, KeyError, ValueError):
        # Without it a complaint is a family of its own, and names are spelt from their keys.
        kit = kits(mine.engine)
    place = engine_of(mine.aircraft, mine.position, mine.engine)
    others = [
        b
        for b in store.briefs(aircraft=mine.aircraft.strip(), position=mine.position.strip())
        if b.case != mine.case and not b.drill and engine_of(b.aircraft, b.position, b.engine) == place
    ]
    by_case = {b.case: b for b in (mine, *others)}
    knowledge = kit.fitted.knowledge if kit is not None else None
    about, kinds = (families(knowledge), kinds_of(knowledge)) if knowledge is not None else ({}, {})
    backs = {b.case: b for b in came_back(by_case.values(), families=about, kinds=kinds, dated=Briefs(store).dated)}
    together = {mine.case}
    found = []
    for back in sorted(backs.values(), key=lambda b: (by_case[b.case].opened, b.case)):
        later = by_case[back.case]
        ties = [r for r in back.reasons if r.case in together]
        if ties and later.opened >= mine.closed:
            together.add(back.case)
            symptoms = [r.said for r in ties if r.kind == "symptom"] or [r.said for r in ties]
            found.append((later, tuple(symptoms), any(r.kind == "symptom" for r in ties)))
    again = {r.case for b in backs.values() for r in b.reasons if r.case != b.case}
    return tuple(_told(store, kit, mine, *one, one[0].case in again) for one in found)


def _told(
    store: Store, kit: Kit | None, mine: Brief, later: Brief, why: tuple[str, ...], alike: bool, again: bool
) -> CameBack:
    from isolate.case.store import StoreError

    days = between(mine, later)
    when = f"opened {plain(later.opened)[:10]}, {elapsed(days)} after this one ended"
    known: Truth | None = None
    names = Names(kit.fitted if kit is not None else None)
    if kit is not None and later.ended:
        with suppress(StoreError, *NOT_READ):
            trail = store.events(later.case)
            known = cost.truth(kit, trail, fold(trail), names)
    modes = known.modes if known is not None else ()
    titles = tuple(names.mode(mode) for mode in modes)
    what = " and ".join(map(within, titles))
    if not later.ended:
        found = "it is still open"
    elif known is not None and known.by == "the shop":
        found = f"{what} (the shop confirmed it)"
    elif known is not None and known.by == "the end of the case":
        found = f"{what} (by its end; nobody confirmed it{', and it came back again' if again else ''})"
    else:
        named = [within(names.mode(n.mode)) for n in later.named if not n.in_vain]
        doubt = known is not None and known.doubt
        found = f"its end names {' and '.join(named)}" if named else f"it ended: {plain(later.ended)}"
        found += ", and the shop's word puts that in doubt" if named and doubt else ""
    tie = "" if alike else f" ({'; '.join(map(plain, why))})"
    return CameBack(
        case=later.case,
        opened=later.opened,
        days=round(days, 2),
        why=why,
        truth=modes,
        titles=titles,
        by=known.by if known is not None else "nobody",
        said=f"{plain(later.case)}, {when}{tie}: {found}",
        returned=proven(mine),
    )


def drawn(
    truth: Sequence[str], by: str, named: Sequence[str], doubt: bool, back: Sequence[CameBack], names: Names
) -> tuple[str, ...]:
    """Return what follows from that a defect came back, in sentences; ``back``: in which cases, one at least.

    ``truth``, ``by``: what was at fault in this case, and who says so; ``named``: what its end names; ``doubt``:
    whether the shop's word puts that in doubt.
    """
    first = back[0]
    if truth and by == "the shop":
        what = " and ".join(within(names.mode(mode)) for mode in truth)
        put = f"The shop confirmed {what}, which was put right, and {elapsed(first.days)} later the defect was there"
        if set(truth) & set(first.truth):
            return (f"{put} with the same fault: something brings it about again, or the repair did not hold.",)
        return (f"{put} again: there was a second fault besides, or something that wears or spoils the part.",)
    if named:
        what = " and ".join(within(names.mode(mode)) for mode in named)
        end = f"What the end of this case names, {what}, the shop puts in doubt" if doubt else (
            f"Nobody confirmed {what}, which the end of this case names"
        )  # fmt: skip
        return (f"{end}, and the defect came back: it was not that, or not that alone, or it was not put right.",)
    return ()

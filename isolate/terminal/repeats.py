"""``isolate repeats``: defects that came back, where one part went, and whether it comes more often."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from isolate.case.store import Store
    from isolate.kb.model import Knowledge


def run(arguments: argparse.Namespace) -> int:
    """Run ``repeats``; return its exit status."""
    from rich.console import Console

    from isolate.case.events import now_text
    from isolate.case.intake import Refused
    from isolate.case.store import open_store, write_whole
    from isolate.kb.load import load
    from isolate.review.repeats import repeats

    if arguments.most is not None and arguments.most < 1:
        raise Refused(f"--most takes a number of defects from 1 up, not {arguments.most}")
    if arguments.html is not None and arguments.html.exists() and not arguments.overwrite:
        raise Refused(f"{arguments.html} is there already; --overwrite replaces it")
    since, until = _day("--since", arguments.since), _day("--until", arguments.until, last=True)
    if since and until and since > until:
        raise Refused(f"--since {arguments.since} lies after --until {arguments.until}")
    knowledge = load(arguments.knowledge).knowledge
    # Shown on a terminal alone, beside what is printed, and gone when it is done.
    looking = Console(stderr=True).status("Looking through the cases")
    with open_store(arguments.store, there=True) as store, looking, no_sweeping():
        _known(store, knowledge, arguments.aircraft.strip(), arguments.engine.strip())
        found = repeats(
            store,
            arguments.days,
            arguments.aircraft,
            starts=arguments.starts,
            engine=arguments.engine,
            part=arguments.part,
            since=since,
            until=until,
            now=now_text(datetime.now(UTC)),
            knowledge=knowledge,
            most=arguments.most,
        )
    if arguments.html is not None:
        from isolate.review.pages import repeats_page

        write_whole(arguments.html, repeats_page(found).encode("utf-8"), arguments.overwrite)
        if not arguments.json:
            print(f"{arguments.html} is written")
            return 0
    if arguments.json:
        import json

        print(json.dumps(found.as_dict(), indent=2, ensure_ascii=False))
        return 0
    from isolate.terminal.repeats_layout import page

    console = Console(highlight=False)
    console.print(page(found, console.width))
    return 0


def _known(store: Store, knowledge: Knowledge, aircraft: str, engine: str) -> None:
    """Raise Refused for an aircraft or an engine type that no case is of: nothing came back there is no news then."""
    from isolate.case.intake import Refused
    from isolate.kb.names import near

    if engine and next(iter(store.briefs(engine=engine, limit=1)), None) is None:
        names = sorted(knowledge.engines)
        if engine.casefold() in map(str.casefold, names):
            raise Refused(f"no case here is of engine type {engine}")
        names = sorted({*names, *(case.engine for case in store.cases())})
        raise Refused(f"no engine type is called {engine!r}{near(engine, names)}; there are {', '.join(names)}")
    if aircraft and next(iter(store.briefs(aircraft=aircraft, limit=1)), None) is None:
        flown = {case.aircraft for case in store.cases()}
        raise Refused(f"no case here is of aircraft {aircraft!r}{near(aircraft, flown)}")


@contextmanager
def no_sweeping() -> Iterator[None]:
    """Leave out the search for reference cycles: cases in brief hold none, and in very many it takes long."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _day(option: str, told: str | None, last: bool = False) -> str:
    """Return the beginning, or the end, of a day as the trail writes times (UTC). Raises Refused."""
    from isolate.case.intake import Refused

    if not told:
        return ""
    try:
        day = date.fromisoformat(told.strip())
    except ValueError:
        raise Refused(f"{option} is a day such as 2030-01-31, not {told!r}") from None
    return f"{day.isoformat()}T{'23:59:59.999' if last else '00:00:00.000'}Z"

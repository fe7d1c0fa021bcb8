"""Where everything in a case came from, as W3C PROV-JSON (member submission of 24 April 2013).

Every event is an entity (``case:event-7``), a member of the trail and derived from the event it is sealed to. What was
done is an activity: the opening, each move from its taking up to its end, each thing said in between, and each run of
reasoning, which uses what was said since the one before and the knowledge, and generates the rules that fired, the
belief and the offer. An offer is the plan of the move that took it up. Parts are entities; as they sat on the engine
they are entities of their own, ended or begun by the repair. What was taken back is invalidated.

A trail seldom says who of the people present did a step: those are associated that it names, else the people together.
Attributes are in the namespace ``urn:isolate:``. Nothing here needs the knowledge, and text is given as it was told.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from isolate.case.events import KINDS, Event
from isolate.case.measured import line
from isolate.kb.shown import plain
from isolate.reasoning.swap import ELSEWHERE

if TYPE_CHECKING:
    from isolate.review.shapes import Review

REASONED = ("fired", "belief", "offered")
"""Kinds of events that the program writes by itself."""
WITHIN = ("caution", "access", "answered", "declined", "repaired", "swapped", "verified", "loose", "inspected")
"""Kinds of events that belong to the move in hand, where there is one."""
WORDS = ("check", "repair", "key", "move", "access", "caution", "rule", "end", "result", "what", "to", "reason", "text")
"""Of a body, what an event is about: the first of them that is there."""
SAID = (
    "outcome", "state", "finding", "mode", "reason", "says", "end", "result", "kind", "condition", "within", "report",
)  # fmt: skip
"""Of a body, texts that are kept as attributes."""
ABOUT = ("aircraft", "position", "engine", "complaint")
"""Of the opening, what the trail is about."""
FIGURES = ("minutes", "parts", "expected", "now", "bits", "none", "remaining", "level")
"""Of a body, numbers that are kept as attributes."""
LONGEST = 200
"""Letters of a label."""


def prov_json(events: Sequence[Event], review: Review | None = None) -> str:
    """Return the provenance of a case as PROV-JSON text, always the same for the same events.

    ``review``: where there is one, what it says of each moment labels the events, and the trail says whether it is
    whole and signed. Raises ValueError for no events at all.
    """
    if not events:
        raise ValueError("a case without an event has no provenance")
    return json.dumps(_Document(events, review).written(), indent=1, ensure_ascii=False) + "\n"


class _Document:
    def __init__(self, events: Sequence[Event], review: Review | None) -> None:
        # In a broken trail two may have one number; the first is told of, the others are counted.
        firsts: dict[int, Event] = {}
        for event in events:
            firsts.setdefault(event.seq, event)
        self._events = list(firsts.values())
        self._left_out = len(events) - len(self._events)
        self._review = review
        self._case = events[0].case
        self._said = {moment.seq: moment.said for moment in review.story} if review is not None else {}
        self._records: dict[str, dict[str, dict[str, Any]]] = {}
        self._times: dict[str, list[str]] = {}
        """Activity → the times of what it wrote."""
        self._people: dict[str, str] = {}
        """Name as it is compared → agent."""
        self._invalid: set[str] = set()
        self._off: dict[str, str] = {}
        """Repair → the part that came off."""
        self._associated: set[tuple[str, str, str]] = set()

    def written(self) -> dict[str, Any]:
        self._agents()
        self._trail()
        self._activities()
        for activity, times in self._times.items():
            self._records["activity"][activity] |= {"prov:startTime": min(times), "prov:endTime": max(times)}
        prefix = {"isolate": "urn:isolate:", "case": f"urn:isolate:case:{quote(self._case, safe='')}:"}
        return {"prefix": prefix, **self._records}

    # -- writing ---------------------------------------------------------------------------------------

    def _put(self, kind: str, name: str, **said: Any) -> str:
        """Add an entity, activity or agent, unless it is there; return its name."""
        self._records.setdefault(kind, {}).setdefault(name, _attributes(said))
        return name

    def _relate(self, kind: str, **said: Any) -> None:
        """Add a relation; each has a blank name of its own."""
        had = self._records.setdefault(kind, {})
        had[f"_:{kind}{len(had) + 1}"] = _attributes(said)

    def _generate(self, entity: str, activity: str, event: Event) -> None:
        self._relate("wasGeneratedBy", prov_entity=entity, prov_activity=activity, prov_time=event.time)
        self._times.setdefault(activity, []).append(event.time)

    def _use(self, activity: str, entity: str) -> None:
        self._relate("used", prov_activity=activity, prov_entity=entity)

    def _associate(self, activity: str, agent: str, role: str, plan: str = "") -> None:
        if (activity, agent, role) in self._associated:
            return
        self._associated.add((activity, agent, role))
        more = {"prov_plan": plan} if plan else {}
        self._relate("wasAssociatedWith", prov_activity=activity, prov_agent=agent, prov_role=role, **more)

    # -- who -------------------------------------------------------------------------------------------

    def _agents(self) -> None:
        opening = self._events[0].body if self._events[0].kind == "opened" else {}
        program = _text(opening, "program")
        self._program = self._put(
            "agent",
            f"isolate:program-{quote(program or 'version-not-told', safe='')}",
            prov_type=_name("prov:SoftwareAgent"),
            prov_label=f"isolate {program or '(its version was not told)'}",
        )
        self._crew = self._put(
            "agent",
            "case:people",
            prov_type=_name("prov:Organization"),
            prov_label="the people at the aircraft, together",
        )
        if station := _text(opening, "station"):
            name = f"isolate:station-{quote(station, safe='')}"
            self._put("agent", name, prov_type=_name("prov:Organization"), prov_label=f"station {_label(station)}")
            self._relate("actedOnBehalfOf", prov_delegate=self._crew, prov_responsible=name)
        for event in self._events:
            told = event.body.get("intake") if event.kind == "opened" else event.body.get("changes")
            for person in _list(told, "people"):
                if name := _text(person, "name"):
                    self._person(name, ", ".join(str(may) for may in _list(person, "may")))

    def _person(self, name: str, may: str = "") -> str:
        key = name.strip().casefold()
        if key not in self._people:
            self._people[key] = agent = f"isolate:person-{quote(key, safe='')}"
            more = {"isolate_may": may} if may else {}
            self._put("agent", agent, prov_type=_name("prov:Person"), prov_label=_label(name), **more)
            self._relate("actedOnBehalfOf", prov_delegate=agent, prov_responsible=self._crew)
        return self._people[key]

    def _named(self, event: Event) -> Iterator[tuple[str, str]]:
        """Yield (agent, role) of each person that an event names as having a part in it."""
        if by := _text(event.body, "by"):
            yield self._person(by), event.kind
        facts = event.body.get("facts")
        for fact, value in facts.items() if isinstance(facts, Mapping) else ():
            if isinstance(value, str) and (agent := self._people.get(value.strip().casefold())):
                yield agent, str(fact)

    # -- what ------------------------------------------------------------------------------------------

    def _trail(self) -> None:
        first, last = self._events[0], self._events[-1]
        more: dict[str, Any] = {}
        if self._review is not None and self._review.trust is not None:
            trust = self._review.trust
            more = {"isolate_whole": trust.whole, "isolate_signatures": trust.signed}
        trail = self._put(
            "entity",
            "case:trail",
            prov_type=_name("prov:Collection"),
            prov_label=f"the trail of case {self._case}",
            isolate_head=last.hash,
            isolate_events=len(self._events),
            **({"isolate_left_out": self._left_out} if self._left_out else {}),
            **{
                f"isolate_{n}": v
                for n in ("aircraft", "position", "engine", "complaint")
                if (v := _text(first.body, n))
            },
            **more,
        )
        before: Event | None = None
        for event in self._events:
            entity = self._put("entity", _entity(event), **self._event(event))
            self._relate("hadMember", prov_collection=trail, prov_entity=entity)
            if before is not None:
                sealed = {"prov_type": _name("isolate:sealed-to")}
                self._relate("wasDerivedFrom", prov_generatedEntity=entity, prov_usedEntity=_entity(before), **sealed)
            before = event

    def _event(self, event: Event) -> dict[str, Any]:
        body = event.body
        about = next((f"{event.kind}: {body[n]}" for n in WORDS if isinstance(body.get(n), str)), event.kind)
        found: dict[str, Any] = {
            "prov_type": _name("prov:Plan") if event.kind == "offered" else _name(f"isolate:{event.kind}"),
            "prov_label": _label(self._said.get(event.seq, about)),
            "isolate_event": event.kind,
            "isolate_meaning": KINDS.get(event.kind, event.kind),
            "isolate_seq": event.seq,
            "isolate_sha256": event.hash,
        }
        found |= {f"isolate_{name}": _text(body, name) for name in (*WORDS, *SAID) if _text(body, name)}
        for name in FIGURES:
            value = body.get(name)
            if isinstance(value, int | float) and not isinstance(value, bool):
                found[f"isolate_{name}"] = float(value)
        leading = [f"{f[0]} {f[1]}" for f in _list(body, "faults") if isinstance(f, list) and len(f) == 2]
        if leading:
            found["isolate_suspects"] = "; ".join(leading)
        named = [
            f"{_text(f, 'repair')} {_text(f, 'mode')} {f.get('probability')}"
            for f in _list(body, "found")
            if isinstance(f, Mapping)
        ]
        if named:
            found["isolate_found"] = "; ".join(named)
        return found

    # -- what was done ---------------------------------------------------------------------------------

    def _activities(self) -> None:
        in_hand = run = offer = belief = ""
        fresh: list[str] = []
        """What was said since the last run of reasoning."""
        seen = {event.seq: event for event in self._events}
        for event in self._events:
            entity = _entity(event)
            if event.kind in REASONED:
                if not run:
                    run = self._reasoning(event, fresh)
                    reads, fresh = [e for e in fresh if e not in self._invalid], []
                self._generate(entity, run, event)
                for read in reads if event.kind != "offered" or not belief else ():
                    self._derive(entity, read)
                if event.kind == "belief":
                    belief = entity
                elif event.kind == "offered":
                    offer = entity
                    if belief:
                        self._derive(entity, belief)
                self._relate("wasAttributedTo", prov_entity=entity, prov_agent=self._program)
                continue
            run = ""
            fresh.append(entity)
            if event.kind == "accepted":
                in_hand = self._move(event, offer)
                activity = in_hand
            elif in_hand and event.kind in WITHIN:
                activity = in_hand
            else:
                activity = self._done(event)
            self._generate(entity, activity, event)
            had = list(self._named(event))
            for agent, role in had:
                self._associate(activity, agent, role)
            for agent in dict.fromkeys(agent for agent, _ in had):
                self._relate("wasAttributedTo", prov_entity=entity, prov_agent=agent)
            if event.kind in ("answered", "noted") and "reading" in event.body:
                self._reading(event, activity)
            if event.kind in ("repaired", "swapped"):
                self._parts(event, activity)
            elif event.kind == "corrected":
                self._taken_back(event, activity, seen)
            elif event.kind == "closed":
                self._record(event, activity)

    def _derive(self, entity: str, source: str) -> None:
        self._relate("wasDerivedFrom", prov_generatedEntity=entity, prov_usedEntity=source)

    def _reasoning(self, event: Event, fresh: Sequence[str]) -> str:
        run = self._put("activity", f"case:reasoning-{event.seq}", prov_type=_name("isolate:reasoning"))
        self._associate(run, self._program, "program")
        self._use(run, self._knowledge())
        for entity in fresh:
            if entity not in self._invalid:
                self._use(run, entity)
        return run

    def _knowledge(self) -> str:
        digest = _text(self._events[0].body, "knowledge")
        return self._put(
            "entity",
            f"isolate:knowledge-{quote(digest or 'not-told', safe='')}",
            prov_type=_name("isolate:knowledge"),
            prov_label=f"knowledge {digest[:12] or '(its version was not told)'}",
        )

    def _move(self, event: Event, offer: str) -> str:
        kind, move = _text(event.body, "kind"), _text(event.body, "move")
        activity = self._put(
            "activity",
            f"case:move-{event.seq}",
            prov_type=_name(f"isolate:{quote(kind or 'move', safe='')}"),
            prov_label=_label(f"{kind} {move}"),
        )
        if offer:
            self._use(activity, offer)
        self._associate(activity, self._crew, "at the aircraft", offer)
        return activity

    def _done(self, event: Event) -> str:
        """Add something that was said or done by itself; return its name."""
        activity = self._put("activity", f"case:act-{event.seq}", prov_type=_name(f"isolate:{event.kind}"))
        if event.kind == "opened":
            self._use(activity, self._knowledge())
            for earlier in _list(event.body.get("intake"), "earlier"):
                if name := _text(earlier, "case"):
                    label = f"the trail of case {name}, earlier"
                    at = f"isolate:case:{quote(name, safe='')}:trail"
                    self._use(activity, self._put("entity", at, prov_type=_name("prov:Collection"), prov_label=label))
        if event.kind == "closed":
            # The program writes the end; what it says was found is worked out, not told.
            self._associate(activity, self._program, "program")
        elif event.kind == "shop-finding":
            shop = self._put("agent", "isolate:shop", prov_type=_name("prov:Organization"), prov_label="the shop")
            self._associate(activity, shop, "shop")
            if part := self._off.get(_text(event.body, "repair")):
                self._use(activity, part)
        elif event.kind == "signed":
            of = event.body.get("seq")
            upto = next((e for e in reversed(self._events) if e.seq == of and e.seq < event.seq), None)
            if upto is not None and _entity(upto) not in self._invalid:
                self._use(activity, _entity(upto))
        else:
            self._associate(activity, self._crew, "at the aircraft")
        return activity

    def _parts(self, event: Event, activity: str) -> None:
        """Add the parts that came off and went on: what sat there ends, what sits there now begins."""
        opening = self._events[0].body
        here = f"aircraft {_text(opening, 'aircraft')}, engine {_text(opening, 'position')}"
        repair = ""
        if event.kind == "repaired":
            told, repair = event.body.get("part"), _text(event.body, "repair")
            both = [(_part(told, "off"), "off", here), (_part(told, "on"), "on", here)]
        else:
            swap = event.body.get("swap")
            part, channel, other = (_text(swap, name) for name in ("part", "channel", "other"))
            there = other or _text(swap, "where") or ELSEWHERE
            had, came = _text(swap, "serial"), _text(swap, "other_serial")
            if other:
                there = f"{here}, {other}"
            both = [((part, had), "off", f"{here}, {channel}"), ((part, came), "on", f"{here}, {channel}")]
            both += [((part, came), "off-other", there), ((part, had), "on-other", there)]
        for (number, serial), how, where in both:
            if not number and not serial:
                continue
            # Without a serial number it is a part of its own: nobody can say that it is another one.
            which = serial or f"{self._case}.{event.seq}.{how}"
            part = self._put(
                "entity",
                f"isolate:part-{quote(number or '-', safe='')}-{quote(which, safe='')}",
                prov_type=_name("isolate:part"),
                prov_label=_label(f"part {number} S/N {serial or 'not told'}"),
            )
            sat = self._put(
                "entity",
                f"{_entity(event)}-{how}",
                prov_type=_name("isolate:part-as-fitted"),
                prov_label=_label(f"{number} S/N {serial or 'not told'} as fitted to {where}"),
            )
            self._relate("specializationOf", prov_specificEntity=sat, prov_generalEntity=part)
            if how.startswith("off"):
                self._relate("wasInvalidatedBy", prov_entity=sat, prov_activity=activity, prov_time=event.time)
                self._off[repair] = part
            else:
                self._use(activity, part)
                self._generate(sat, activity, event)

    def _reading(self, event: Event, activity: str) -> None:
        """Add what was measured, and the files that it came from, by what is in them."""
        reading = event.body["reading"]
        said = {name: text for name in ("calc", "verdict", "words", "why", "outcome", "reference", "by") if (
            text := plain(_text(reading, name))
        )}
        pairs = {
            name: "; ".join(f"{p[0]}: {p[1]}" for p in _list(reading, name) if isinstance(p, list) and len(p) == 2)
            for name in ("understood", "limits")
        }
        figures = "; ".join(
            f"{_text(f, 'says')} {f.get('value')} ({f.get('low')} to {f.get('high')}) {_text(f, 'unit')}".rstrip()
            for f in _list(reading, "figures")
            if isinstance(f, Mapping)
        )
        seconds = " to ".join(f"{s:g}" if isinstance(s, int | float) else str(s) for s in _list(reading, "seconds"))
        more = {name: plain(text) for name, text in {**pairs, "figures": figures, "seconds": seconds}.items()}
        entity = self._put(
            "entity",
            f"{_entity(event)}-reading",
            prov_type=_name("isolate:reading"),
            prov_label=_label(line(reading)),
            **{f"isolate_{name}": text for name, text in {**said, **more}.items() if text},
        )
        self._generate(entity, activity, event)
        self._derive(_entity(event), entity)
        for file in _list(reading, "files"):
            seal = _text(file, "sha256")
            if not seal:
                continue
            source = self._put(
                "entity",
                f"isolate:file-{quote(seal, safe='')}",
                prov_type=_name("isolate:file"),
                prov_label=_label(_text(file, "name") or "a file"),
                isolate_sha256=seal,
            )
            self._use(activity, source)
            self._derive(entity, source)

    def _taken_back(self, event: Event, activity: str, seen: Mapping[int, Event]) -> None:
        of = event.body.get("seq")
        undone = seen.get(of) if isinstance(of, int) else None
        if undone is None or undone.seq >= event.seq or _entity(undone) in self._invalid:
            return
        entity = _entity(undone)
        self._invalid.add(entity)
        self._relate("wasInvalidatedBy", prov_entity=entity, prov_activity=activity, prov_time=event.time)

    def _record(self, event: Event, activity: str) -> None:
        if not (record := _text(event.body, "record")):
            return
        entity = self._put(
            "entity",
            f"{_entity(event)}-record",
            prov_type=_name("isolate:record"),
            prov_label=f"the record of case {self._case}",
            prov_value=record,
        )
        self._generate(entity, activity, event)
        self._derive(entity, _entity(event))


def _entity(event: Event) -> str:
    return f"case:event-{event.seq}"


def _name(qualified: str) -> dict[str, str]:
    return {"$": qualified, "type": "prov:QUALIFIED_NAME"}


def _attributes(said: Mapping[str, Any]) -> dict[str, Any]:
    """Return attributes by their qualified names; ``prov_label`` stands for ``prov:label``. Floats are typed."""
    found = {}
    for name, value in said.items():
        prefix, _, local = name.partition("_")
        number = isinstance(value, float)
        found[f"{prefix}:{local}"] = {"$": repr(value), "type": "xsd:double"} if number else value
    return found


def _label(text: str) -> str:
    text = plain(text)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"


def _text(body: Any, name: str) -> str:
    value = body.get(name) if isinstance(body, Mapping) else None
    return value if isinstance(value, str) else ""


def _list(body: Any, name: str) -> list[Any]:
    value = body.get(name) if isinstance(body, Mapping) else None
    return value if isinstance(value, list) else []


def _part(told: Any, how: str) -> tuple[str, str]:
    serial = _text(told, f"sn-{how}").strip()
    return _text(told, f"pn-{how}").strip(), "" if serial.casefold() in ("none", "unknown", "-") else serial

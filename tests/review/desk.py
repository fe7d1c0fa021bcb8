"""A small knowledge on which a case is run on in milliseconds: two channels, three faults each, noisy checks.

Everything in it is invented for the tests; the figures stand for nothing.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from isolate.case.case import Intake
from isolate.case.chase import Kit
from isolate.case.events import Event
from isolate.kb.fit import fit
from isolate.kb.load import load
from tests.worked import told, work

ENGINE = "halden-hf-3"
FILES = {
    "sources/all.yaml": "sources:\n  made: {title: Made up for this test, kind: judgement}\n",
    "zones/all.yaml": """\
zones:
  channel:
    title: ignition channel {channel}
    per: channel
    source: [made]
    modes:
      lead-open:
        {title: 'lead {channel} open', part: lead, prior: 0.05, lights: 0.05, tells: Silent., source: [made]}
      igniter-worn:
        {title: 'igniter {channel} worn', part: igniter, prior: 0.09, lights: 0.3, tells: Weak., source: [made]}
      exciter-dead:
        {title: 'exciter {channel} dead', part: exciter, prior: 0.04, lights: 0.05, tells: Silent., source: [made]}
""",
    "checks/all.yaml": """\
checks:
  heard:
    title: Was channel {channel} heard?
    purpose: To be told.
    per: channel
    kind: measurement
    minutes: 3
    source: [made]
    outcomes:
      heard: {title: It was heard, means: It fires.}
      silent: {title: Nobody heard it, means: It does not.}
    given:
      channel:
        - {modes: [healthy], gives: {heard: 0.97, silent: 0.03}}
        - {modes: [igniter-worn], gives: {heard: 0.7, silent: 0.3}}
        - {modes: [lead-open], gives: {heard: 0.05, silent: 0.95}}
        - {modes: [exciter-dead], gives: {heard: 0.03, silent: 0.97}}
  look:
    title: Look at igniter {channel}
    purpose: To see.
    per: channel
    kind: measurement
    minutes: 6
    needs: [cowl]
    source: [made]
    outcomes:
      good: {title: As good as new, means: Not the igniter.}
      worn: {title: Worn, means: The igniter.}
    given:
      channel:
        - {modes: [healthy], gives: {good: 0.94, worn: 0.06}}
        - {modes: [igniter-worn], gives: {good: 0.12, worn: 0.88}}
  meter:
    title: Measure lead {channel}
    purpose: To tell lead from exciter.
    per: channel
    kind: measurement
    minutes: 5
    needs: [cowl]
    cautions: [energy]
    source: [made]
    outcomes:
      whole: {title: It is whole, means: Not the lead.}
      open: {title: It is open, means: The lead.}
    given:
      channel:
        - {modes: [healthy], gives: {whole: 0.98, open: 0.02}}
        - {modes: [lead-open], gives: {whole: 0.04, open: 0.96}}
  fire:
    title: Fire channel {channel}
    purpose: To prove.
    per: channel
    kind: measurement
    minutes: 4
    source: [made]
    outcomes:
      snaps: {title: It snaps, means: Good.}
      silent: {title: It is silent, means: Bad.}
    given:
      channel:
        - {modes: [healthy], gives: {snaps: 0.99, silent: 0.01}}
        - {modes: [lead-open, exciter-dead], gives: {snaps: 0.02, silent: 0.98}}
        - {modes: [igniter-worn], gives: {snaps: 0.3, silent: 0.7}}
""",
    "access/all.yaml": """\
access:
  cowl:
    title: Cowl
    word: open
    open: {do: Open it., minutes: 10}
    close: {do: Shut it., minutes: 5}
    source: [made]
""",
    "cautions/all.yaml": """\
cautions:
  energy:
    title: Stored energy
    text: It can kill.
    level: warning
    asks: [{name: since, prompt: Minutes since it was off, kind: minutes, least: 1}]
    source: [made]
""",
    "repairs/all.yaml": "repairs:\n"
    + "".join(
        f"""\
  {name}:
    title: {title} {{channel}}
    per: channel
    minutes: {minutes}
    parts: {parts}
    needs: [cowl]
    clears: {{channel: [{mode}]}}
    replaces: {name.removeprefix("renew-")}
    success: 0.98
    record: Done.
    source: [made]
"""
        for name, title, mode, minutes, parts in (
            ("renew-lead", "Renew lead", "lead-open", 20, 20),
            ("renew-igniter", "Renew igniter", "igniter-worn", 15, 15),
            ("renew-exciter", "Renew exciter", "exciter-dead", 30, 40),
        )
    ),
    "complaints/all.yaml": """\
complaints:
  weak: {title: It lights late, says: [late], starts: [{channel: B, lit: false}], verify: [fire], source: [made]}
""",
    f"engines/{ENGINE}.yaml": f"""\
engines:
  {ENGINE}:
    title: Halden HF-3
    channels: [A, B]
    selection: by-hand
    zones: [channel]
    weights:
      gate: {{hand_over: 15, escalate: 300, missed: 400}}
      hangar: {{hand_over: 15, escalate: 300, missed: 400}}
    source: [made]
""",
}


def write(folder: Path, old: str = "", new: str = "") -> Path:
    """Write the knowledge into a folder; ``old`` in it replaced by ``new``."""
    for name, said in FILES.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(said.replace(old, new) if old else said, encoding="utf-8")
    return folder


def kit_in(folder: Path) -> Kit:
    return Kit(fit(load(folder).knowledge, ENGINE))


def intake(**more: Any) -> Intake:
    return told(engine=ENGINE, complaint="weak", **{"people": [{"name": "the technician"}], **more})


def case(kit: Kit, *truth: str, **more: Any) -> tuple[Event, ...]:
    """Work a case on it by the tool's own advice; ``more``: as :func:`tests.worked.work` has it."""
    return work(kit, truth, intake(), "104-2-desk", datetime(2030, 1, 10, 6, 0, tzinfo=UTC), **more)

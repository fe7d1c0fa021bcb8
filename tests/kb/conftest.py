"""A small sound base of knowledge that the tests write out, then spoil one line at a time."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

import pytest

from isolate.kb.load import KnowledgeError, Problem, load

FILES = {
    "sources/all.yaml": """\
        sources:
          shop-practice:
            title: Common practice of the trade
            kind: practice
            edition: "2019"
          weighed:
            title: Weighed by ourselves
            kind: judgement
        """,
    "zones/channel.yaml": """\
        zones:
          channel:
            title: ignition channel {channel}
            per: channel
            source: [weighed]
            modes:
              igniter-worn:
                title: igniter {channel} worn
                part: igniter
                prior: 0.02
                lights: 0.3
                tells: It still snaps, but weakly.
                source: [shop-practice]
              lead-loose:
                title: lead {channel} loose at its nut
                part: lead
                prior: 1e-2
                lights: 0.1
                active:
                  steady: 0.5
                  vibrating: 0.9
                tells: The nut turns by hand.
                source: [weighed]
        """,
    "zones/engine.yaml": """\
        zones:
          engine:
            title: the engine besides ignition
            kind: other
            source: [weighed]
            modes:
              no-fuel:
                title: no fuel
                part: fuel
                prior: 0.01
                lights: 0.0
                tells: No fuel flow.
                source: [weighed]
        """,
    "checks/all.yaml": """\
        checks:
          spark-test:
            title: Spark test of channel {channel}
            per: channel
            purpose: Hear whether channel {channel} fires.
            kind: functional
            minutes: 6
            tags: [spark]
            cautions: [spark-near-fuel]
            authority: [licensed]
            needs: [notices]
            shut: [lead-off]
            source: [shop-practice]
            outcomes:
              snaps: {title: It snaps., means: The channel fires.}
              weak: {title: It is weak., means: Little energy arrives.}
              silent: {title: Silence., means: Nothing arrives.}
            given:
              channel:
                - modes: [healthy]
                  gives: {snaps: 0.97, weak: 0.02, silent: 0.01}
                - modes: [igniter-worn]
                  gives: {snaps: 0.2, weak: 0.7, silent: 0.1}
                - modes: [lead-loose]
                  gives: {snaps: 0.1, weak: 0.1, silent: 0.8}
              others:
                - modes: [healthy]
                  gives: {snaps: 1}
          nut-feel:
            title: Feel the lead nut of channel {channel}
            per: channel
            purpose: Find a loose nut.
            kind: visual
            minutes: 2
            needs: [cowls-open]
            source: [shop-practice]
            outcomes:
              tight: {title: Tight., means: The nut holds.}
              loose: {title: It turns., means: The nut is loose.}
            given:
              channel:
                - modes: [healthy]
                  gives: {tight: 0.98, loose: 0.02}
                - modes: [lead-loose]
                  gives: {tight: 0.05, loose: 0.95}
          fuel-flow-look:
            title: Look up the fuel flow of the start
            purpose: Tell fuel from ignition.
            kind: history
            minutes: 3
            source: [weighed]
            outcomes:
              flow: {title: There was flow., means: Fuel came.}
              no-flow: {title: There was none., means: No fuel came.}
            given:
              engine:
                - modes: [healthy]
                  gives: {flow: 0.99, no-flow: 0.01}
                - modes: [no-fuel]
                  gives: {flow: 0.01, no-flow: 0.99}
        """,
    "access/all.yaml": """\
        access:
          notices:
            title: Warning notices in the flight deck
            word: up
            open: {do: Put them up., minutes: 2}
            close: {do: Take them down., minutes: 1}
            source: [shop-practice]
          cowls-open:
            title: Fan cowls
            word: open
            needs: [notices]
            open: {do: Open them., minutes: 8, cautions: [discharge]}
            close: {do: Close and latch them., minutes: 10}
            source: [shop-practice]
          lead-off:
            title: Lead {channel} off at the igniter
            per: channel
            word: "off"
            needs: [cowls-open]
            tags: [high-voltage]
            open: {do: 'Take the lead of channel {channel} off.', minutes: 4, wait: 5, cautions: [discharge]}
            close: {do: 'Put the lead of channel {channel} on.', minutes: 5, cautions: [discharge]}
            source: [shop-practice]
        """,
    "cautions/all.yaml": """\
        cautions:
          discharge:
            title: Stored energy
            text: The energy at the lead can kill.
            level: warning
            asks:
              - {name: since-off, prompt: Minutes since the input came off, kind: minutes, least: 1}
              - {name: who, prompt: Who took it off, kind: person}
            wait: since-off
            source: [shop-practice]
          spark-near-fuel:
            title: Fuel vapour
            text: A spark lights fuel vapour.
            level: warning
            source: [shop-practice]
        """,
    "repairs/all.yaml": """\
        repairs:
          replace-igniter:
            title: Replace igniter {channel}
            per: channel
            minutes: 15
            parts: 30
            needs: [lead-off]
            clears:
              channel: [igniter-worn]
            success: 0.95
            disturbs:
              - {mode: lead-loose, chance: 0.01}
            examines: [nut-feel]
            record: Igniter {channel} replaced, off ____ on ____.
            source: [shop-practice]
          tighten-nut:
            title: Tighten the lead nut of channel {channel}
            per: channel
            minutes: 5
            needs: [cowls-open]
            clears:
              channel: [lead-loose]
            success: 0.9
            record: Lead nut {channel} tightened.
            source: [shop-practice]
          hand-over-fuel:
            title: Hand over to fuel
            kind: hand-over
            to: the fuel chapter
            minutes: 5
            clears:
              engine: [no-fuel]
            success: 0.9
            record: Handed over.
            source: [weighed]
        """,
    "complaints/all.yaml": """\
        complaints:
          one-channel-silent:
            title: One channel is silent
            says: [no snap on one side]
            answers: {spark-test: silent}
            starts:
              - {channel: A, lit: false}
            asks_channel: true
            verify: [spark-test]
            source: [shop-practice]
        """,
    "engines/halden-hf-3.yaml": """\
        engines:
          halden-hf-3:
            title: Halden HF-3
            channels: [A, B]
            selection: alternate
            features: {inserts: true, cooled-leads: false}
            zones: [channel, engine]
            access_minutes:
              cowls-open: {open: 7}
            check_minutes: {nut-feel: 3}
            priors: {igniter-worn: 0.03}
            weights:
              gate: {hand_over: 30, escalate: 90, missed: 240}
              hangar: {hand_over: 20, escalate: 60, missed: 240}
            source: [weighed]
        """,
    "rules/all.yaml": """\
        rules:
          silent-channel:
            kind: finding
            says: Channel {c} is silent, {n} times over.
            when:
              - fact: answer
                where: {check: spark-test, channel: $c, outcome: silent, count: $n}
              - absent:
                  fact: declined
                  where: {move: nut-feel, channel: $c}
            then: {finding: channel-silent, channel: $c}
            source: [shop-practice]
          no-spark-unlicensed:
            kind: gate
            says: A spark test asks for a licensed person.
            when:
              - absent:
                  fact: person
                  where: {authority: licensed}
            then: {block: spark}
            source: [shop-practice]
          warn-of-energy:
            kind: caution
            says: Stored energy on {c}.
            when:
              - any:
                  - fact: finding
                    where: {name: channel-silent, channel: $c}
                  - fact: suspect
                    where:
                      mode: {one-of: [lead-loose, igniter-worn]}
                      channel: $c
                      percent: {at-least: 40}
              - fact: feature
                where: {name: inserts, value: true}
            then: {caution: discharge}
            source: [shop-practice]
        """,
}


class Base:
    """The base on disk, with ways to spoil it and to read what is said about it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for file, text in FILES.items():
            self.write(file, dedent(text))

    def write(self, file: str, text: str) -> None:
        path = self.folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def read(self, file: str) -> str:
        return (self.folder / file).read_text(encoding="utf-8")

    def swap(self, file: str, old: str, new: str) -> None:
        """Put ``new`` for the one place where ``old`` stands."""
        text = self.read(file)
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file}"
        self.write(file, text.replace(old, new))

    def line(self, file: str, marker: str) -> int:
        """The number of the one line that holds ``marker``."""
        found = [number for number, line in enumerate(self.read(file).splitlines(), 1) if marker in line]
        assert len(found) == 1, f"{marker!r} stands on lines {found} of {file}"
        return found[0]

    def problems(self) -> list[Problem]:
        with pytest.raises(KnowledgeError) as caught:
            load(self.folder)
        return list(caught.value.problems)


@pytest.fixture
def base(tmp_path: Path) -> Base:
    return Base(tmp_path / "knowledge")

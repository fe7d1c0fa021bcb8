"""How well discharges are found in noise, and what is found where there are none. Run: python -m tests.bench.sparks

Clips are made by tests/calc/clips.py, which says how signal to noise is reckoned: energy of a click in its first 10 ms
over that of the noise in 10 ms, both above 500 Hz. Every clip has one of four kinds of click, early echoes, a period
between 0.35 and 1.6 s, intervals scattered by 1 to 4 %, and one beat in twenty missed.

``hit``: share of discharges found within 25 ms, of all clips; ``false``: reported ones a minute that are none;
``beat``: share of clips with a beat found, and in how many of those it is plain enough for a pace to be told; ``rate``:
median error of the rate where it is; ``covered``: share of the 95 % intervals of the rate that hold the true one (the
period that the clip was made with); ``slow``, ``scatter``, ``lost``, ``ratio``: the same for slowing (none), for
scatter, where it is told, for the number of beats missing between first and last, and for the pace beside the next
clip's; ``missed``: share of missed beats that were reported as such; ``wrongly``: share of heard clips in which more
beats are said to be surely missing than are; ``time``: seconds of work a minute of clip.

Then clips with no discharge: noise alone, clanks up to 2.5 a second, and somebody walking by (the one regular sound).
Then held-out sounds of tests/calc/clips_too.py: in how many clips a beat is found, in how many of those something in
the sound speaks against a discharge. Steps and relays show why a beat is never judged on its sound alone.
Then clips as a phone keeps them (tests/calc/clips_phone.py, a third generator): an even exciter at 0.5 to 6 a second,
scattered by 1 to 8 %; and exciters that lost their pace, of which so many are found to have, in how many the count is
right to one and the interval holds the true mean rate; ``false``: even ones and empty ones found so.
Then what is all of one kind but comes by chance or in runs (tests/calc/clips_chance.py, a fourth generator, at 20 to
0 dB): how many are taken for an exciter off its pace, beside exciters that are and such as only have gaps.
Then even exciters of that generator at 15 to -9 dB: a beat, told its pace, its interval of the rate, a wrong pace (a
tenth off), gaps counted, their interval, and more said to be surely missing than are; and the ratio of pairs of them.
Then the intervals by themselves, from instants, where thousands cost nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from isolate.calc.spark_count import Counted, count, plain
from isolate.calc.spark_hearing import hear
from isolate.calc.spark_pace import Pace, pace
from isolate.calc.spark_sound import LASTS, sound
from isolate.calc.spark_uneven import LEAST, uneven
from isolate.calc.sparks import PLAIN, ratio
from tests.bench.figures import table
from tests.calc import clips, clips_chance, clips_phone, clips_too

DECIBELS = (20, 10, 5, 0, -5, -10)
NEAR = 0.025


def heard_in(made: clips.Made) -> tuple[Counted, float]:
    begun = time.perf_counter()
    found = count(hear([made.samples.astype(np.float32)], made.rate))
    return found, time.perf_counter() - begun


def row(kind: str, snr: float, many: int, seconds: float) -> list[str]:
    """Return a line of the table for a kind of noise at a ratio."""
    hits = true = false = beats = lost = lost_found = wrongly = 0
    covered, slow, scatter, lost_held, errors, took = [], [], [], [], [], 0.0
    paces: list[tuple[float, Pace]] = []
    for seed in range(many):
        chance = np.random.default_rng([clips.NOISES.index(kind), int(snr) + 100, seed])
        period, jitter = float(np.exp(chance.uniform(np.log(0.35), np.log(1.6)))), float(chance.uniform(0.01, 0.04))
        every = clips.beats(seconds, period, chance, jitter=jitter)
        keep = chance.random(every.size) > 0.05
        keep[[0, -1]] = True
        instants, missing = every[keep], every[~keep]
        made = clips.clip(instants, snr, kind, seconds, chance, sound=clips.CLICKS[seed % 4])
        found, spent = heard_in(made)
        took += spent
        true += instants.size
        lost += missing.size
        if not found.trains:
            continue
        beats += 1
        train = found.trains[0]
        gap = np.abs(train.heard[:, None] - instants[None, :])
        hits += int((gap.min(axis=0) < NEAR).sum())
        false += int((gap.min(axis=1) >= NEAR).sum())
        lost_at = np.array([t for t, _ in train.lost] or [-9.0])
        lost_found += int(sum(np.abs(lost_at - t).min() < 0.1 * period for t in missing))
        wrongly += int(train.missed.low > missing.size)
        inside = (missing > train.instants[0] - NEAR) & (missing < train.instants[-1] + NEAR)
        # What a pause holds is told with the pause.
        for low, high, _ in train.pauses:
            inside &= (missing < low) | (missing > high)
        within = int(inside.sum())
        if not train.faint:
            lost_held.append(train.missed.low <= within <= train.missed.high)
        if train.pace is not None:
            paces.append((period, train.pace))
            errors.append(abs(train.pace.rate.value * period - 1))
            covered.append(train.pace.rate.low <= 1 / period <= train.pace.rate.high)
            slow.append(train.pace.slowing.low <= 0 <= train.pace.slowing.high)
            if plain(found, train) >= PLAIN:
                scatter.append(train.pace.scatter.low <= jitter <= train.pace.scatter.high)

    ratios = []
    for (mine, one), (its, other) in pairwise(paces):
        found_ratio = ratio(one, other)
        ratios.append(found_ratio.low <= its / mine <= found_ratio.high)

    def mean(of: Sequence[bool]) -> str:
        return f"{np.mean(of):.2f}" if of else "-"

    return [
        kind, f"{snr:+d}", f"{hits / true:.3f}", f"{false / (many * seconds / 60):.2f}", f"{beats}/{many} {len(paces)}",
        f"{100 * np.median(errors):.2f} %" if errors else "-", mean(covered), mean(slow), mean(scatter),
        mean(lost_held), mean(ratios), f"{lost_found}/{lost}", f"{wrongly}/{beats}",
        f"{took / (many * seconds / 60):.1f}",
    ]  # fmt: skip


def nothing(kind: str, seed: int, seconds: float) -> clips.Made:
    """Return a clip with no discharge in it."""
    chance = np.random.default_rng([7, seed])
    made = clips.clip(
        np.zeros(0), 10, "fan" if kind == "steps" else kind, seconds, chance, clanking=chance.uniform(0.3, 2.5)
    )
    if kind == "steps":
        made = clips.walked(made, chance)
    return made


def held_out(kind: str, many: int) -> str:
    """Return in how many clips of a sound a beat is found, and in how many its sound speaks against a discharge."""
    found = lasts = turns = 0
    for seed in range(many):
        chance = np.random.default_rng([21, seed])
        samples, _ = clips_too.made(kind, float(chance.uniform(6, 15)), 15, chance)
        heard = hear([samples.astype(np.float32)], clips_too.RATE)
        counted = count(heard)
        if counted.trains:
            one = sound(heard, counted.trains[0])
            found, lasts, turns = found + 1, lasts + (one.lasts > LASTS), turns + bool(one.turns)
    return f"{found} of {many}, {lasts}, {turns}"


def phone_kept(snr: float, many: int, seconds: float) -> list[str]:
    """Return a line for clips as a phone keeps them."""
    beat, held, errors, false = 0, [], [], 0
    for seed in range(many):
        chance = np.random.default_rng([51, int(snr) + 100, seed])
        pace, scatter = float(np.exp(chance.uniform(np.log(0.5), np.log(6)))), float(chance.uniform(0.01, 0.08))
        made = clips_phone.kept(clips_phone.even(seconds, pace, scatter, chance), snr, seconds, chance)
        heard = hear([made.samples.astype(np.float32)], made.rate)
        counted = count(heard)
        beat += bool(counted.trains)
        false += uneven(heard, counted, LASTS) is not None
        if counted.trains and (told := counted.trains[0].pace) is not None:
            errors.append(abs(told.rate.value / pace - 1))
            held.append(told.rate.low <= pace <= told.rate.high)
    return [
        f"{snr:+.0f}", f"{beat}/{many} {len(held)}", f"{100 * np.median(errors):.2f} %" if errors else "-",
        f"{np.mean(held):.2f}" if held else "-", f"{false}",
    ]  # fmt: skip


def lost_pace(kind: str, snr: float, many: int, seconds: float) -> list[str]:
    """Return a line for exciters that keep no pace."""
    found = right = held = 0
    for seed in range(many):
        chance = np.random.default_rng([52, int(snr) + 100, seed])
        pace = float(np.exp(chance.uniform(np.log(0.8), np.log(5))))
        made = clips_phone.kept(clips_phone.uneven(seconds, pace, kind, chance), snr, seconds, chance)
        heard = hear([made.samples.astype(np.float32)], made.rate)
        one = uneven(heard, count(heard), LASTS)
        if one is not None:
            mean = 1 / (0.08 + max(1 / pace - 0.08, 0.02)) if kind == "random" else pace
            found += 1
            right += abs(one.instants.size - made.instants.size) <= 1
            held += one.rate.low <= mean <= one.rate.high
    return [kind, f"{snr:+.0f}", f"{found}/{many}", f"{right}/{found}", f"{held}/{found}"]


def by_chance(kind: str, many: int) -> str:
    """Return how many clips of sounds that come by chance, or of exciters, are taken for an exciter off its pace."""
    found = enough = 0
    for seed in range(many):
        chance = np.random.default_rng([61, sum(map(ord, kind)), seed])
        rate, seconds = int(chance.choice([32_000, 44_100, 48_000])), float(chance.uniform(12, 20))
        sounds = {**clips_chance.BY_CHANCE, **clips_chance.EXCITERS}[kind](seconds, rate, chance)
        samples = clips_chance.recorded(sounds, (20, 15, 10, 5, 0)[seed % 5], seconds, rate, chance)
        heard = hear([samples.astype(np.float32)], rate)
        counted = count(heard)
        enough += counted.loud.size >= LEAST
        found += uneven(heard, counted, LASTS) is not None
    return f"{found} of {many}, {enough} of them with {LEAST} or more that stand out"


def faint(snr: float, many: int) -> tuple[list[str], list[tuple[float, Pace]]]:
    """Return a line for even exciters of clips_chance, and the true and the found pace of each that is told one."""
    beat = counted = lost = wrongly = 0
    paces: list[tuple[float, Pace]] = []
    for seed in range(many):
        chance = np.random.default_rng([62, int(snr) + 100, seed])
        rate, seconds = int(chance.choice([32_000, 44_100, 48_000])), float(chance.uniform(15, 30))
        a_second, scatter = float(np.exp(chance.uniform(np.log(0.6), np.log(5)))), float(chance.uniform(0.005, 0.05))
        every = clips_phone.even(seconds, a_second, scatter, chance)
        keep = chance.random(every.size) >= chance.choice([0, 0, 0.05, 0.1])
        keep[[0, -1]] = True
        sounds = clips_chance.discharges(every[keep], rate, chance)
        samples = clips_chance.recorded(sounds, snr, seconds, rate, chance)
        found = count(hear([samples.astype(np.float32)], rate))
        beat += bool(found.trains)
        if not found.trains:
            continue
        train, missing = found.trains[0], every[~keep]
        if train.pace is not None:
            paces.append((a_second, train.pace))
        if not train.faint:
            inside = (missing > train.instants[0] - NEAR) & (missing < train.instants[-1] + NEAR)
            for low, high, _ in train.pauses:
                inside &= (missing < low) | (missing > high)
            counted += 1
            lost += train.missed.low <= int(inside.sum()) <= train.missed.high
            wrongly += train.missed.low > missing.size
    held = sum(p.rate.low <= true <= p.rate.high for true, p in paces)
    wrong = sum(abs(p.rate.value / true - 1) > 0.1 for true, p in paces)
    told = (len(paces), held, wrong, counted, lost, wrongly)
    return [f"{snr:+.0f}", f"{beat}/{many}", *map(str, told)], paces


def intervals(many: int) -> list[list[str]]:
    """Return how often the intervals hold the truth, from instants alone."""
    rows = []
    for beats in (6, 10, 20, 60):
        for wander in (True, False):
            for jitter, drift in ((0.01, 0.0), (0.05, 0.0), (0.05, 0.15)):
                held = np.zeros(3)
                for seed in range(many):
                    chance = np.random.default_rng([beats, int(wander), seed])
                    stop = 0.4 + 0.8 * (1 + drift / 2) * (beats + 1)
                    made = clips.beats(99, 0.8, chance, jitter=jitter, drift=drift, wander=wander, stop=stop)[:beats]
                    found = pace(made, np.arange(made.size))
                    assert found is not None

                    def at(when: float, drift: float = drift, stop: float = stop) -> float:
                        return 0.8 * (1 + drift * (when - 0.4 - 0.4) / (stop - 0.4))

                    first, last = at(made[0]), at(made[-1])
                    truth = (1 / at((made[0] + made[-1]) / 2), jitter, 1 - first / last)
                    held += [
                        i.low <= t <= i.high
                        for i, t in zip((found.rate, found.scatter, found.slowing), truth, strict=True)
                    ]
                how = "anew" if wander else "clock"
                rows.append([str(beats), how, f"{jitter:.0%}", f"{drift:.0%}", *(f"{h / many:.3f}" for h in held)])
    return rows


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--clips", type=int, default=12, help="clips a line")
    parser.add_argument("--empty", type=int, default=40, help="clips without a discharge, of each kind")
    parser.add_argument("--trains", type=int, default=1000, help="trains of instants a line")
    parser.add_argument("--seconds", type=float, default=25.0)
    told = parser.parse_args(argv)
    head = [
        "noise",
        "dB",
        "hit",
        "false/min",
        "beat",
        "rate error",
        "covered",
        "slow",
        "scatter",
        "lost",
        "ratio",
        "missed",
        "wrongly",
        "time",
    ]
    rows = []
    for kind in clips.NOISES:
        for snr in DECIBELS:
            rows.append(row(kind, snr, told.clips, told.seconds))
            print("  ".join(rows[-1]), flush=True)
    print()
    table(head, rows)
    print("\nno discharge in it: clips in which a beat was found")
    for kind in (*clips.NOISES, "steps"):
        found = [heard_in(nothing(kind, seed, told.seconds))[0] for seed in range(told.empty)]
        print(f"  {kind:8} {sum(bool(f.trains) for f in found)} of {told.empty}", flush=True)
    print("\nheld-out sounds, 6 to 15 dB over their first 10 ms: a beat found, of which it lasts, of which in turns")
    for kind in (*clips_too.SPARKS, *clips_too.LIKE, *clips_too.STEPS, *clips_too.OTHERS):
        print(f"  {kind:8} {held_out(kind, told.empty)}", flush=True)
    print("\nas a phone keeps them: even exciters, then such as lost their pace")
    kept = [phone_kept(snr, told.empty, told.seconds) for snr in (20, 10, 0, -5)]
    table(["dB", "beat", "rate error", "covered", "false"], kept)
    lost = [lost_pace(k, snr, told.clips, told.seconds) for k in ("loose", "random", "fits") for snr in (20, 10, 5)]
    table(["kind", "dB", "found", "count right", "held"], lost)
    print("\ntaken for an exciter off its pace")
    for kind in (*clips_chance.BY_CHANCE, *clips_chance.EXCITERS):
        print(f"  {kind:8} {by_chance(kind, told.empty)}", flush=True)
    lines = [faint(snr, told.empty) for snr in (15, 5, 0, -3, -6, -9)]
    table(["dB", "beat", "paced", "held", "wrong", "counted", "held", "wrongly"], [line for line, _ in lines])
    paces = [one for _, some in lines for one in some]
    mixed = [paces[i] for i in np.random.default_rng(63).permutation(len(paces))]
    pairs = list(zip(mixed[::2], mixed[1::2], strict=False))
    ratios = [(true / its, ratio(one, other)) for (true, one), (its, other) in pairs]
    print(f"ratio of pairs held: {sum(r.low <= true <= r.high for true, r in ratios)} of {len(ratios)}")
    print("\nintervals from instants: share that hold the truth")
    table(["beats", "each", "scatter", "drift", "rate", "scatter", "slowing"], intervals(told.trains))


if __name__ == "__main__":
    main()

"""Discharges counted in clips with known instants; tests/calc/clips.py, which makes them, shares nothing with us."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.calc import spark_count, sparks
from isolate.calc.given import read
from isolate.calc.shape import CANNOT_TELL, Found, Unfit
from isolate.calc.spark_count import Counted, count
from isolate.calc.spark_hearing import hear
from isolate.calc.spark_pace import missing, pace
from isolate.calc.spark_sound import LASTS
from isolate.calc.spark_train import best, chance_level, weigh
from isolate.calc.spark_uneven import (
    FITS_BEAT,
    UNEVEN,
    Kind,
    charged_anew,
    fits_a_beat,
    mean_rate,
    of_one_kind,
    plainly_heard,
    uneven,
)
from isolate.terminal.calcs import as_dict
from tests.calc import clips, clips_chance, clips_phone, clips_too


@pytest.fixture(autouse=True)
def heard_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a recording that a test asks about several times be listened to once."""
    monkeypatch.setattr(sparks, "_listen", functools.cache(sparks._listen))


def listened(made: clips.Made) -> Counted:
    return count(hear([made.samples.astype(np.float32)], made.rate))


def put(folder: Path, made: clips.Made | np.ndarray, name: str = "clip", **form: object) -> str:
    samples = made.samples if isinstance(made, clips.Made) else made
    rate = made.rate if isinstance(made, clips.Made) else clips.RATE
    path = folder / f"{name}.wav"
    path.write_bytes(clips.wav(samples, rate, **form))  # type: ignore[arg-type]
    return str(path)


def found(**typed: str) -> Found:
    told = {name.replace("_", "-").rstrip("-"): value for name, value in typed.items()}
    return sparks.CALCULATION.work(read(sparks.CALCULATION, told))


def sure(**typed: str) -> Found:
    """Return what is found where somebody heard each beat begin and end with its selection."""
    also = {"other_with_selection": "yes"} if "other" in typed else {}
    return found(with_selection="yes", **also, **typed)


def verdict(one: Found, what: str = "") -> str:
    return one.judged[what].verdict


def figure(one: Found, name: str) -> tuple[float, float, float]:
    return next((f.value, f.low, f.high) for f in one.figures if f.name == name)


def even(
    seed: int = 1, period: float = 0.7, seconds: float = 20, snr: float = 8, kind: str = "apu", **more: object
) -> clips.Made:
    chance = np.random.default_rng(seed)
    return clips.clip(clips.beats(seconds, period, chance), snr, kind, seconds, chance, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "sound", "snr", "rate", "share"),
    [
        ("white", "crack", 20, 44_100, 0.97),
        ("wind", "dull", 5, 44_100, 0.95),
        ("fan", "ring", 0, 48_000, 0.95),
        ("apu", "pulse", 0, 16_000, 0.95),
        ("speech", "ring", -5, 44_100, 0.85),
        ("clanks", "crack", 0, 44_100, 0.95),
    ],
)
def test_discharges_are_found_in_every_noise(kind: str, sound: str, snr: float, rate: int, share: float) -> None:
    made = even(3, kind=kind, sound=sound, snr=snr, rate=rate, seconds=14)
    counted = listened(made)
    assert counted.trains
    heard = counted.trains[0].heard
    apart = np.abs(heard[:, None] - made.instants[None, :])
    assert (apart.min(axis=0) < 0.025).mean() >= share
    assert (apart.min(axis=1) >= 0.025).mean() <= 1 - share


def test_a_train_is_found_under_what_the_ear_would_take() -> None:
    # No single click stands out, and yet their pace is known: that is what following a beat is for.
    made = even(0, 0.5, 30, -10, "white", sound="pulse")
    counted = listened(made)
    assert counted.loud.size < 0.8 * made.instants.size
    assert counted.trains[0].pace is not None
    assert counted.trains[0].pace.rate.value == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize("kind", clips.NOISES)
def test_nothing_is_found_where_nothing_is(kind: str) -> None:
    chance = np.random.default_rng([5, 0])
    assert not listened(clips.clip(np.zeros(0), 10, kind, 15, chance, clanking=1.5)).trains


def test_missed_beats_are_named_with_their_seconds(tmp_path: Path) -> None:
    chance = np.random.default_rng(4)
    every = clips.beats(24, 0.7, chance)
    gone = [9, 10, 22]
    made = clips.clip(np.delete(every, gone), 10, "apu", 24, chance, sound="ring")
    one = sure(clip=put(tmp_path, made))
    assert verdict(one) == "gaps"
    value, low, high = figure(one, "missed")
    assert value == 3
    assert low >= 2
    assert high <= 4
    lost = [at for at, sure in one.detail.counted.trains[0].lost if sure > 0.9]
    assert np.abs(np.array(lost) - every[gone]).max() < 0.1
    first, last = one.judged[""].seconds
    assert first == pytest.approx(every[9], abs=0.1)
    assert last == pytest.approx(every[22], abs=0.1)


def test_a_bang_at_the_place_of_a_beat_does_not_break_the_train() -> None:
    made = even(6, kind="clanks", clanking=2.0, seconds=14)
    train = listened(made).trains[0]
    assert train.missed.low == 0
    assert (np.abs(train.heard[:, None] - made.instants).min(axis=0) < 0.025).mean() > 0.95


def test_slowing_is_seen(tmp_path: Path) -> None:
    chance = np.random.default_rng(7)
    made = clips.clip(clips.beats(24, 0.6, chance, drift=0.4), 8, "fan", 24, chance)
    one = sure(clip=put(tmp_path, made))
    assert verdict(one) == "slow"
    value, low, high = figure(one, "slowing")
    # From 0.6 s to about 0.84 s less what the last step had still to go: the rate falls by some 27 %.
    assert low < 0.27 < high or abs(value - 0.27) < 0.02
    assert any("slows by" in line for line in one.lines)


def test_two_channels_are_told_apart_by_their_pace(tmp_path: Path) -> None:
    chance = np.random.default_rng(8)
    first, second = clips.beats(28, 0.7, chance), clips.beats(28, 0.93, chance)
    made = clips.clip(first, 12, "apu", 28, chance, more=((second, -5.0, "ring"),))
    one = sure(clip=put(tmp_path, made))
    rates = sorted((figure(one, "rate"), figure(one, "second-rate")))
    for (value, low, high), period in zip(rates, (0.93, 0.7), strict=True):
        assert value == pytest.approx(1 / period, rel=0.03)
        assert low < value < high
    assert verdict(one) == CANNOT_TELL
    assert "fire one channel alone" in one.judged[""].why


def test_an_echo_off_a_wall_is_no_second_channel(tmp_path: Path) -> None:
    made = even(9, snr=15, slap=0.14, seconds=14)
    one = sure(clip=put(tmp_path, made), rate_least="1 /s", rate_most="2 /s")
    assert verdict(one) == "even"
    assert any("an echo" in line for line in one.lines)


def test_where_the_firing_begins_and_ends(tmp_path: Path) -> None:
    chance = np.random.default_rng(10)
    inner = clips.beats(24, 0.5, chance, start=6, stop=14)
    one = found(clip=put(tmp_path, clips.clip(inner, 10, "wind", 24, chance)))
    first, last = one.judged[""].seconds
    assert first == pytest.approx(inner[0], abs=0.05)
    assert last == pytest.approx(inner[-1], abs=0.05)
    assert any("Nothing more of it in the last" in line for line in one.lines)


def test_the_pace_beside_the_data_and_the_other_channel(tmp_path: Path) -> None:
    this, fast = put(tmp_path, even(11, 0.5, 8)), put(tmp_path, even(12, 0.3, 6), "fast")
    alike = put(tmp_path, even(13, 0.49, 8), "alike")
    alone = sure(clip=this)
    assert verdict(alone) == CANNOT_TELL
    assert "nothing to hold its pace against" in alone.judged[""].why
    assert verdict(sure(clip=this, other=alike, apart="15 %")) == "even"
    assert verdict(sure(clip=this, other=fast)) == "slow"
    assert verdict(sure(clip=fast, other=this)) == CANNOT_TELL
    told = sure(clip=this, rate_least="1.6 /s", rate_most="3 /s")
    assert (verdict(told), verdict(told, "rate")) == ("even", "within")
    told = sure(clip=this, rate_least="2.6 /s")
    assert (verdict(told), verdict(told, "rate")) == ("slow", "slow")
    told = sure(clip=this, rate_most="80 /min")
    assert (verdict(told), verdict(told, "rate")) == (CANNOT_TELL, "fast")
    near = f"{figure(alone, 'rate')[0]:.3f} /s"
    assert verdict(sure(clip=this, rate_least=near), "rate") == CANNOT_TELL
    # Somebody has to vouch for the other channel's beat as well, or it is nothing to compare with.
    for word in ({}, {"other_with_selection": "no"}):
        one = found(clip=this, other=fast, with_selection="yes", **word)
        assert verdict(one) == CANNOT_TELL
        assert "nothing to compare with" in one.judged[""].why
        assert verdict(found(clip=this, other=fast, with_selection="yes", rate_least="1.6 /s", **word)) == "even"


@pytest.mark.parametrize("kind", ["heels", "relay", "snap"])
def test_a_beat_is_no_discharge_until_somebody_says_so(tmp_path: Path, kind: str) -> None:
    # A relay sounds as a discharge does, and heels are as even: nothing in the recording tells them apart.
    samples, _ = clips_too.made(kind, 12, 8, np.random.default_rng([3, 1]), period=0.5)
    path = put(tmp_path, samples)
    for word, said in (({}, "sound alone does not tell"), ({"with_selection": "no"}, "something else")):
        one = found(clip=path, rate_least="1 /s", rate_most="3 /s", **word)
        assert figure(one, "rate")[0] == pytest.approx(2, rel=0.05)
        assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, CANNOT_TELL)
        assert said in one.judged[""].why or kind == "heels"
    told = sure(clip=path, rate_least="1 /s", rate_most="3 /s")
    assert verdict(told) == ("even" if kind != "heels" else CANNOT_TELL)
    assert any("end to end" in w for w in told.warnings)


def test_what_takes_turns_is_not_judged_whatever_is_said(tmp_path: Path) -> None:
    # Two channels of one pace, half a period apart: one beat of twice the pace, every other one softer.
    chance = np.random.default_rng(26)
    first = clips.beats(12, 0.9, chance, jitter=0.01, wander=False)
    second = first + 0.45 + 0.005 * chance.normal(size=first.size)
    made = clips.clip(first, 12, "apu", 12, chance, more=((second, -3.0, "ring"),))
    one = sure(clip=put(tmp_path, made), rate_least="1 /s")
    assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, CANNOT_TELL)
    assert "two things in turn" in one.judged[""].why or "two beats" in one.judged[""].why
    assert any("No highest rate" in w for w in one.warnings)


def test_what_lasts_is_not_judged_whatever_is_said(tmp_path: Path) -> None:
    samples, _ = clips_too.made("hammer", 15, 8, np.random.default_rng([4, 4]), period=0.5)
    one = sure(clip=put(tmp_path, samples), rate_least="1 /s", rate_most="3 /s")
    assert one.figures
    assert verdict(one) == CANNOT_TELL
    assert "lasts too long" in one.judged[""].why


def drawn(kind: str, snr: int, seed: int) -> tuple[Counted, float, np.ndarray]:
    """Return what is heard in a clip drawn at random, its period and the beats missing in it."""
    chance = np.random.default_rng([31, clips.NOISES.index(kind), snr + 100, seed])
    period, jitter = float(np.exp(chance.uniform(np.log(0.35), np.log(1.6)))), float(chance.uniform(0.01, 0.04))
    every = clips.beats(25, period, chance, jitter=jitter)
    keep = chance.random(every.size) > 0.05
    keep[[0, -1]] = True
    made = clips.clip(every[keep], snr, kind, 25, chance, sound=clips.CLICKS[seed % 4])
    return listened(made), period, every[~keep]


def test_every_other_beat_is_not_taken_for_the_beat() -> None:
    # This one was followed at half its pace, 14 of 27: slow, by a slip of ours.
    counted, period, _ = drawn("white", 0, 5)
    assert counted.trains[0].period == pytest.approx(period, rel=0.05)


def test_a_bang_where_a_beat_is_missing_leaves_room_for_that() -> None:
    # A clank stands where the one beat is missing: "none is missing" was said of this one.
    counted, _, gone = drawn("clanks", 5, 11)
    train = counted.trains[0]
    assert ((gone > train.instants[0]) & (gone < train.instants[-1])).sum() == 1
    assert train.missed.high >= 1


def test_a_twofold_pace_is_asked_about(tmp_path: Path) -> None:
    this, other = put(tmp_path, even(27, 0.4, 8, 12)), put(tmp_path, even(28, 0.8, 12, 12), "other")
    one = sure(clip=this, other=other)
    assert verdict(one) == CANNOT_TELL
    assert "twice as fast as the other" in one.judged[""].why


def losing_its_pace(kind: str, seed: int, seconds: float = 12, pace: float = 3, snr: float = 12) -> clips_phone.Kept:
    chance = np.random.default_rng([41, seed])
    return clips_phone.kept(clips_phone.uneven(seconds, pace, kind, chance), snr, seconds, chance)


@pytest.mark.parametrize("kind", ["loose", "random"])
def test_discharges_at_no_even_pace_are_a_finding(tmp_path: Path, kind: str) -> None:
    made = losing_its_pace(kind, 1)
    path = put(tmp_path, made.samples)
    one = sure(clip=path, rate_least="1 /s")
    assert verdict(one) == "irregular"
    # As many as there are is as many as there should be; evenly they are not.
    assert verdict(one, "rate") == CANNOT_TELL
    many, _, most = figure(one, "heard")
    assert many <= made.instants.size <= most + 1
    assert many >= 0.95 * made.instants.size
    (heard,) = one.detail.beats
    assert np.abs(np.array(heard)[:, None] - made.instants).min(axis=1).max() < 0.02
    value, low, high = figure(one, "rate")
    assert low < value < high
    assert value == pytest.approx((made.instants.size - 1) / np.ptp(made.instants), rel=0.05)
    first, last = one.judged[""].seconds
    assert (first, last) == (heard[0], heard[-1])
    assert "no even pace" in one.lines[0]
    for width in (40, 78):
        lines = sparks.draw(one, width, True)
        assert max(map(len, lines)) <= width
        assert sum(line.count("^") for line in lines[:-1]) >= 0.6 * many


def test_no_even_pace_needs_somebodys_word_too(tmp_path: Path) -> None:
    path = put(tmp_path, losing_its_pace("loose", 2, 9).samples)
    for word, said in (({}, "sound alone does not tell"), ({"with_selection": "no"}, "something else")):
        one = found(clip=path, rate_least="9 /s", **word)
        assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, CANNOT_TELL)
        assert said in one.judged[""].why
    assert verdict(sure(clip=path, rate_least="9 /s"), "rate") == "slow"
    sparks.figure_of(one, str(tmp_path / "a.png"))
    assert (tmp_path / "a.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize("kind", ["clanks", "speech"])
def test_tools_and_talk_are_no_discharges_that_lost_their_pace(tmp_path: Path, kind: str) -> None:
    chance = np.random.default_rng(43)
    made = clips.clip(np.zeros(0), 20, kind, 12, chance, clanking=4)
    assert listened(made).loud.size >= 15
    assert verdict(sure(clip=put(tmp_path, made))) == CANNOT_TELL


@pytest.mark.parametrize(("kind", "seed"), [("rain", 2), ("typing", 2), ("chatter", 5), ("hammer", 2)])
def test_what_comes_by_chance_or_in_runs_is_no_lost_pace(tmp_path: Path, kind: str, seed: int) -> None:
    # All of one sound, plainly heard and at no even pace, and the careless word with it.
    chance = np.random.default_rng([47, seed])
    sounds = clips_chance.BY_CHANCE[kind](12, 32_000, chance)
    samples = clips_chance.recorded(sounds, 15, 12, 32_000, chance)
    heard = hear([samples.astype(np.float32)], 32_000)
    counted = count(heard)
    kind_of_it = of_one_kind(heard, counted.loud)
    assert kind_of_it is not None
    assert plainly_heard(kind_of_it, LASTS)
    assert uneven(heard, counted, LASTS) is None
    one = sure(clip=put(tmp_path, clips.Made(samples, np.zeros(0), 32_000)))
    assert verdict(one) == CANNOT_TELL


def test_chance_gives_waits_that_no_charging_makes() -> None:
    # From instants alone, all of one sound: Poisson's are taken for an exciter's seldom, gamma's mostly.
    def taken(waits: np.ndarray) -> bool:
        at = np.concatenate([[0.0], np.cumsum(waits)])
        return charged_anew(Kind(at, 0, 9.0, 1.0, 0.1, 1.0, 0.05), waits)

    chance = np.random.default_rng(48)
    poisson = [taken(0.06 + chance.exponential(0.44, 40)) for _ in range(300)]
    gamma = [taken(np.maximum(chance.gamma(5, 0.1, 40), 0.06)) for _ in range(300)]
    assert np.mean(poisson) < 0.3
    assert np.mean(gamma) > 0.9
    # Blows at an even pace with rests between, whatever they sound like.
    assert not any(taken(np.where(np.arange(40) % 8, 0.4 + 0.02 * chance.normal(size=40), 1.5)) for _ in range(50))


def test_a_beat_that_is_lost_on_the_way_is_not_called_even(tmp_path: Path) -> None:
    chance = np.random.default_rng(44)
    first = clips_phone.even(7, 3, 0.02, chance)
    then = 7 + clips_phone.uneven(6, 3, "loose", chance, start=0.0)
    made = clips_phone.kept(np.concatenate([first, then]), 15, 13, chance, apart_db=3)
    one = sure(clip=put(tmp_path, made.samples), rate_least="1 /s", rate_most="5 /s")
    assert one.detail.counted.trains
    assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, CANNOT_TELL)
    assert "lie off the beat" in one.judged[""].why


def test_a_beat_with_gaps_is_no_lost_pace_and_a_lost_one_no_beat() -> None:
    # From instants alone: scattered by up to 8 %, whole or with three in ten missed; then those without a pace.
    beats, lost = [], []
    for seed in range(200):
        chance = np.random.default_rng([45, seed])
        pace, scatter = float(np.exp(chance.uniform(np.log(0.8), np.log(6)))), float(chance.uniform(0.01, 0.08))
        at = clips_phone.even(25, pace, scatter, chance)
        at = at[chance.random(at.size) > (0.0, 0.3)[seed % 2]]
        beats.append(fits_a_beat(np.diff(at)))
        waits = np.diff(clips_phone.uneven(25, pace, ("loose", "random")[seed % 2], chance))
        lost.append(fits_a_beat(waits))
        assert float((np.abs(np.diff(waits)) / (waits[1:] + waits[:-1])).mean()) * 2 > UNEVEN or waits.size < 20
    assert (np.array(beats) > FITS_BEAT).mean() > 0.99
    assert (np.array(lost) <= FITS_BEAT).mean() > 0.9


def test_the_mean_rate_of_uneven_waits_holds_the_true_one() -> None:
    held = []
    for seed in range(600):
        chance = np.random.default_rng([46, seed])
        at = clips_phone.uneven(25, 2.0, "loose", chance)
        rate = mean_rate(np.diff(at))
        held.append(rate.low <= 2.0 <= rate.high)
    assert 0.93 <= np.mean(held) <= 0.97


def test_silence_is_a_finding_only_beside_a_recording_that_snaps(tmp_path: Path) -> None:
    chance = np.random.default_rng(14)
    quiet = put(tmp_path, clips.clip(np.zeros(0), 10, "apu", 8, chance), "quiet")
    drowned = put(tmp_path, clips.clip(np.zeros(0), 10, "apu", 8, chance, level=0.2), "drowned")
    snaps = put(tmp_path, even(15, 0.4, seconds=8, snr=10), "snaps")
    spoilt = put(tmp_path, np.sign(np.sin(2 * np.pi * 440 * np.arange(8 * clips.RATE) / clips.RATE)), "spoilt")
    alone = found(clip=quiet)
    assert verdict(alone) == CANNOT_TELL
    assert "no proof of silence" in alone.judged[""].why
    vouched = {"other": snaps, "other_with_selection": "yes"}
    assert verdict(found(clip=quiet, **vouched)) == "nothing-to-count"
    assert verdict(found(clip=quiet, with_selection="no", **vouched)) == "nothing-to-count"
    # Somebody heard it, the phone did not.
    assert verdict(found(clip=quiet, with_selection="yes", **vouched)) == CANNOT_TELL
    # What the other recording holds may be steps.
    assert verdict(found(clip=quiet, other=snaps)) == CANNOT_TELL
    assert verdict(found(clip=quiet, other=snaps, other_with_selection="no")) == CANNOT_TELL
    assert verdict(found(clip=drowned, **vouched)) == CANNOT_TELL
    assert verdict(found(clip=quiet, other=quiet, other_with_selection="yes")) == CANNOT_TELL
    cut = found(clip=spoilt, **vouched)
    assert verdict(cut) == CANNOT_TELL
    assert "cut off" in cut.judged[""].why


def soft() -> tuple[clips.Made, float]:
    """Return a clip of a beat 5 dB under white noise, one in twenty missing, and its period in seconds."""
    chance = np.random.default_rng([31, 0, 95, 100])
    period, jitter = float(np.exp(chance.uniform(np.log(0.35), np.log(1.6)))), float(chance.uniform(0.01, 0.04))
    every = clips.beats(25, period, chance, jitter=jitter)
    keep = chance.random(every.size) > 0.05
    keep[[0, -1]] = True
    return clips.clip(every[keep], -5, "white", 25, chance, sound=clips.CLICKS[0]), period


def test_a_soft_beat_is_timed_where_what_lies_between_tells(tmp_path: Path) -> None:
    # First followed at half its pace, 13 of 27, since few of its beats stand out; what lies halfway gives it away.
    made, period = soft()
    one = sure(clip=put(tmp_path, made), rate_least="0.5 /s", rate_most="3 /s")
    value, low, high = figure(one, "rate")
    assert low < 1 / period < high
    assert value == pytest.approx(1 / period, rel=0.02)
    # Its gaps are not counted, so it is not called even.
    assert {f.name for f in one.figures} == {"rate", "slowing"}
    assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, "within")
    assert any("too faint to tell whether beats are missing" in line for line in one.lines)


def test_a_faint_beat_is_not_timed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Where what lies between leaves it open whether it is every other one, that is no rate to tell.
    monkeypatch.setattr(spark_count, "_beats_between", lambda *_: "open")
    made, _ = soft()
    one = sure(clip=put(tmp_path, made), rate_least="1 /s", rate_most="2 /s")
    assert not one.figures
    assert (verdict(one), verdict(one, "rate")) == (CANNOT_TELL, CANNOT_TELL)
    assert any("too faint" in line for line in one.lines)


def test_what_packing_left_out_makes_no_beat_missing() -> None:
    # Nothing is kept above 9 kHz, and what is cut off at the top splashes into that: 11 of 38 were "missing".
    chance = np.random.default_rng(50)
    made = clips_phone.kept(clips_phone.even(10, 4, 0.02, chance), 12, 10, chance)
    samples = np.clip(made.samples * 0.8 / np.quantile(np.abs(made.samples), 0.9997), -1, 1)
    heard = hear([(np.round(samples * 32767) / 32768).astype(np.float32)], made.rate)
    assert heard.edges[-1] < 13_000
    train = count(heard).trains[0]
    assert train.missed.high <= 1
    assert train.heard.size >= made.instants.size - 1


def chance_even(snr: float, seed: int, cut_hertz: float, scatter: float = 0.03) -> tuple[Counted, np.ndarray]:
    """Return what is heard of an even exciter with nothing missing, and its instants."""
    chance = np.random.default_rng([49, seed])
    instants = clips_phone.even(16, 3, scatter, chance)
    sounds = clips_chance.discharges(instants, 44_100, chance)
    samples = clips_chance.recorded(sounds, snr, 16, 44_100, chance, cut_hertz)
    return count(hear([samples.astype(np.float32)], 44_100)), instants


def test_what_splashes_over_a_filter_makes_no_beat_missing() -> None:
    # A filter leaves more above its pitch than rounding does, and what is cut off at the top splashes over it.
    counted, instants = chance_even(0, 6, 9000)
    train = counted.trains[0]
    assert not train.faint
    assert train.missed.high <= 1
    assert train.heard.size >= instants.size - 1


def test_gaps_are_not_counted_where_many_beats_do_not_stand_out() -> None:
    # Its evidence is strong, and yet beats were "surely missing" in it.
    counted, _ = chance_even(-6, 29, 0)
    train = counted.trains[0]
    assert train.evidence > spark_count.FAINT
    assert spark_count.plain(counted, train) < spark_count.COUNTABLE
    assert train.faint
    assert train.pace is not None
    assert train.pace.rate.low < 3 < train.pace.rate.high


def test_a_beat_far_out_of_step_is_not_missing(tmp_path: Path) -> None:
    # One came 7 % early and the next late: it lay beside its place, and the place was "surely missing".
    chance = np.random.default_rng(51)
    instants = 0.5 + 1.05 * np.arange(20) + 0.01 * chance.normal(size=20)
    instants[12] -= 0.085
    sounds = clips_chance.discharges(instants, 32_000, chance)
    samples = clips_chance.recorded(sounds, 15, 21, 32_000, chance, 0)
    one = sure(clip=put(tmp_path, clips.Made(samples, instants, 32_000)), rate_least="0.5 /s", rate_most="2 /s")
    assert verdict(one) != "gaps"
    assert figure(one, "missed")[1] == 0


def test_too_few_are_not_judged(tmp_path: Path) -> None:
    chance = np.random.default_rng(16)
    made = clips.clip(np.array([1.0, 1.7, 2.4]), 15, "apu", 4, chance)
    assert verdict(found(clip=put(tmp_path, made))) == CANNOT_TELL


def test_stereo_takes_the_clearer_channel(tmp_path: Path) -> None:
    good = even(17, 0.4, seconds=8).samples
    noise = 0.02 * np.random.default_rng(1).normal(size=good.size)
    one = found(clip=put(tmp_path, np.stack([noise, good], axis=1)))
    assert one.figures
    assert any("number 2 was used" in line for line in one.lines)
    same = found(clip=put(tmp_path, np.stack([good, good], axis=1), "same"))
    assert any("hold the same" in line for line in same.lines)
    # A beat each in the file's two channels is two beats.
    also = even(29, 0.6, seconds=8).samples
    two = sure(clip=put(tmp_path, np.stack([good, also], axis=1), "two"), rate_least="1 /s", rate_most="4 /s")
    assert verdict(two) == CANNOT_TELL
    assert "two things beat" in two.judged[""].why


@pytest.mark.parametrize("form", [{"bits": 8}, {"bits": 24}, {"bits": 32, "floating": True}])
def test_every_form_of_samples_gives_the_same_rate(tmp_path: Path, form: dict[str, object]) -> None:
    made = even(18, seconds=12, snr=12, level=0.05)
    assert figure(found(clip=put(tmp_path, made, **form)), "rate")[0] == pytest.approx(1 / 0.7, rel=0.03)


def test_clipped_is_said_and_an_offset_does_no_harm(tmp_path: Path) -> None:
    made = even(19, seconds=12, snr=10)
    loud = np.clip(made.samples * 30, -1, 1)
    one = found(clip=put(tmp_path, loud))
    assert any("clipped" in w for w in one.warnings)
    offset = found(clip=put(tmp_path, made.samples * 0.5 + 0.3, "offset"))
    assert figure(offset, "rate")[0] == pytest.approx(1 / 0.7, rel=0.03)
    assert not any("clipped" in w for w in offset.warnings)


def test_a_gain_that_falls_when_it_is_loud_does_no_harm() -> None:
    made = even(20, snr=10, agc=True, seconds=12)
    assert listened(made).trains[0].missed.high <= 1


@pytest.mark.parametrize(
    ("samples", "typed", "of", "said"),
    [
        (np.full(220, 0.1), {}, "clip", "too short"),
        (np.zeros(44_100 * 5), {}, "clip", "no sound at all"),
        (np.full(44_100 * 5, 0.3), {}, "clip", "no sound at all"),
        (np.zeros(44_100 * 5), {"from_": "9 s"}, "from", "is over"),
        (np.zeros(44_100 * 5), {"from_": "3 s", "to": "2 s"}, "to", "before"),
        (np.zeros(44_100 * 5), {"rate_least": "3 /s", "rate_most": "1 /s"}, "rate-least", "more than"),
        (np.zeros(44_100 * 5), {"apart": "80 %"}, "apart", "50 %"),
    ],
)
def test_what_cannot_be_worked_with_is_a_sentence(
    tmp_path: Path, samples: np.ndarray, typed: dict[str, str], of: str, said: str
) -> None:
    with pytest.raises(Unfit, match=said) as told:
        found(clip=put(tmp_path, samples), **typed)
    assert told.value.of == of


def test_an_hour_is_cut_by_the_user_and_only_that_is_read(tmp_path: Path) -> None:
    rate = 8000
    made = even(21, 0.5, 20, 15, "white", rate=rate)
    # Eight bits a sample, 128 is nought: the test's own bytes amid an hour of them, under the header for so many.
    head = bytearray(clips.wav(made.samples, rate, 8))
    body, head = bytes(head[44:]), head[:44]
    head[40:44] = (3600 * rate).to_bytes(4, "little")
    path = str(tmp_path / "hour.wav")
    long = b"\x80" * (1000 * rate) + body + b"\x80" * (2580 * rate)
    Path(path).write_bytes(bytes(head) + long)
    assert len(long) == 3600 * rate
    with pytest.raises(Unfit, match="say where the test begins and ends"):
        found(clip=path)
    one = found(clip=path, from_="1000 s", to="1020 s")
    assert one.judged[""].seconds[0] == pytest.approx(1000 + made.instants[0], abs=0.1)


def test_noughts_between_clicks_are_no_trouble() -> None:
    # A recorder with a gate: nothing at all between the clicks.
    made = even(22, seconds=12, snr=25)
    gated = np.where(np.abs(made.samples) > 0.08, made.samples, 0)
    assert listened(clips.Made(gated, made.instants, made.rate)).trains


def test_the_picture_keeps_to_its_width_and_marks_what_is_there(tmp_path: Path) -> None:
    chance = np.random.default_rng(23)
    made = clips.clip(np.delete(clips.beats(15, 0.7, chance), 8), 15, "apu", 15, chance)
    one = found(clip=put(tmp_path, made))
    for width in (40, 78, 119):
        for ascii_only in (True, False):
            lines = sparks.draw(one, width, ascii_only)
            assert max(map(len, lines)) <= width
            assert not ascii_only or all(line.isascii() for line in lines)
            marks = "".join(lines[:-1])
            assert marks.count("^" if ascii_only else "▲") == one.detail.counted.trains[0].present.sum()
            assert "x missing" in lines[-1]


def test_pictures_are_written_the_same_each_time(tmp_path: Path) -> None:
    one = found(clip=put(tmp_path, even(24, 0.4, seconds=7)))
    for name in ("a.svg", "b.svg", "c.png"):
        sparks.figure_of(one, str(tmp_path / name))
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "c.png").read_bytes()[:4] == b"\x89PNG"
    with pytest.raises(Unfit):
        sparks.figure_of(one, str(tmp_path / "nowhere" / "a.svg"))


def test_all_of_it_goes_into_json(tmp_path: Path) -> None:
    typed = {"clip": put(tmp_path, even(25, seconds=12))}
    told = read(sparks.CALCULATION, typed)
    one = sparks.CALCULATION.work(told)
    assert json.loads(json.dumps(as_dict(sparks.CALCULATION, typed, told, one)))["figures"]


def test_verdicts_are_those_of_the_count_in_knowledge() -> None:
    import yaml

    path = Path(__file__).parents[2] / "knowledge" / "checks" / "ear-and-starts.yaml"
    count = yaml.safe_load(path.read_text(encoding="utf-8"))["checks"]["spark-count"]
    # No even pace is no outcome of the count: it is heard at the spark test.
    assert set(sparks.CALCULATION.judges[""]) == {*count["outcomes"], "irregular"}
    assert count["reads"][0]["gives"]["irregular"] == "nothing"


@settings(max_examples=20, deadline=None)
@given(st.integers(3, 400), st.integers(0, 2**32 - 1))
def test_evidence_is_proper_whatever_the_recording(bins: int, seed: int) -> None:
    # A likelihood ratio has mean one where there is nothing: over the bins of a recording it does by construction.
    chance = np.random.default_rng(seed)
    sums = np.exp(chance.normal(size=(2, bins)) * chance.uniform(0.1, 3))
    weights = weigh(sums)
    for row in weights:
        mean = float(np.exp(row).mean())
        # Fewer than five peaks have no ranks to speak of: all of it speaks against, and none of it for.
        few = bool((row == row[0]).all()) and row[0] < 0
        assert few or mean == pytest.approx(1, abs=0.02)


def test_chance_paths_stay_under_the_level() -> None:
    over = []
    for seed in range(12):
        weights = weigh(1 + np.random.default_rng(seed).gamma(2, size=(3, 1000)))
        track = best(weights, 0.006)
        assert track is not None
        over.append(track.evidence - chance_level(3, 0.006, 1000))
    # Bound: exp(-3) = 5 % of clips at most go over 3.
    assert max(over) < 3


@pytest.mark.parametrize("wander", [True, False])
def test_intervals_of_the_rate_hold_the_rate(wander: bool) -> None:
    held = np.zeros(3)
    for seed in range(200):
        chance = np.random.default_rng(seed)
        made = clips.beats(99, 0.8, chance, jitter=0.03, wander=wander, stop=0.4 + 0.8 * 24)[:22]
        one = pace(made, np.arange(made.size))
        assert one is not None
        truth = (1 / 0.8, 0.03, 0.0)
        held += [i.low <= t <= i.high for i, t in zip((one.rate, one.scatter, one.slowing), truth, strict=True)]
    # 95 %, with what 200 tries may be off by; wider where a clock sets each discharge (see the bench).
    assert (held / 200 >= 0.9).all()
    assert not wander or (held / 200 <= 0.99).all()


def test_missing_beats_add_up_as_coins_do() -> None:
    one = missing(np.array([1.0, 1.0, 0.0, 0.0]))
    assert one == (2, 2, 2)
    assert missing(np.full(40, 1.0)) == (0, 0, 0)
    unsure = missing(np.full(20, 0.5))
    # scipy.stats.binom.ppf([0.025, 0.5, 0.975], 20, 0.5), a reference library.
    from scipy.stats import binom

    assert [unsure.low, unsure.value, unsure.high] == binom.ppf([0.025, 0.5, 0.975], 20, 0.5).tolist()


def test_too_few_steps_give_no_pace() -> None:
    assert pace(np.arange(4.0), np.arange(4)) is None

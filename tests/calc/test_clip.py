"""Files: what is read, what is refused and how it is said. Bytes are laid out by the form's own description."""

from __future__ import annotations

import struct
import wave
from pathlib import Path

import numpy as np
import pytest

from isolate.calc import clip
from isolate.calc.shape import Unfit
from tests.calc.clips import wav

RATE = 8000
TONE = 0.5 * np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE)


def put(folder: Path, content: bytes, name: str = "clip.wav") -> str:
    path = folder / name
    path.write_bytes(content)
    return str(path)


def read(path: str) -> np.ndarray:
    return np.concatenate(list(clip.blocks(clip.opened(path))))


@pytest.mark.parametrize(
    ("bits", "floating", "extensible", "step"),
    [(8, False, False, 1 / 120), (16, False, False, 1e-4), (24, False, False, 1e-6), (24, False, True, 1e-6),
     (32, False, False, 1e-6), (32, True, False, 1e-6), (64, True, True, 1e-6)],
)  # fmt: skip
def test_every_plain_form_gives_the_samples_back(
    tmp_path: Path, bits: int, floating: bool, extensible: bool, step: float
) -> None:
    two = np.stack([TONE, -0.3 * TONE], axis=1)
    path = put(tmp_path, wav(two, RATE, bits, floating, extensible))
    held = clip.opened(path)
    assert (held.rate, held.channels, held.bits, held.frames, held.notes) == (RATE, 2, bits, RATE, ())
    assert np.abs(read(path) - two).max() <= step


def test_it_reads_what_the_standard_library_writes(tmp_path: Path) -> None:
    # Python's own wave module, independent of ours.
    path = str(tmp_path / "there.wav")
    with wave.open(path, "wb") as file:
        file.setparams((1, 2, 44_100, 0, "NONE", ""))
        file.writeframes((TONE * 32767).astype("<i2").tobytes())
    assert np.abs(read(path)[:, 0] - TONE).max() < 1e-4
    assert clip.opened(path).rate == 44_100


def test_part_of_it_is_read_in_blocks(tmp_path: Path) -> None:
    long = np.tile(TONE, 25)
    held = clip.opened(put(tmp_path, wav(long, RATE)))
    pieces = list(clip.blocks(held, 3 * RATE, 24 * RATE))
    assert [len(p) for p in pieces] == [10 * RATE, 10 * RATE, RATE]
    assert np.abs(np.concatenate(pieces)[:, 0] - long[3 * RATE : 24 * RATE]).max() < 1e-4


def test_odd_chunks_are_passed_over(tmp_path: Path) -> None:
    whole = wav(TONE, RATE)
    odd = b"LIST" + struct.pack("<I", 5) + b"INFOx" + b"\0"
    path = put(tmp_path, whole[:12] + odd + whole[12:36] + b"JUNK" + struct.pack("<I", 3) + b"abc\0" + whole[36:])
    assert np.abs(read(path)[:, 0] - TONE).max() < 1e-4


def test_a_file_cut_short_is_used_and_said(tmp_path: Path) -> None:
    path = put(tmp_path, wav(TONE, RATE)[: 44 + 2 * 3000 + 1])
    held = clip.opened(path)
    assert held.frames == 3000
    assert "cut short" in held.notes[0]
    assert len(read(path)) == 3000


@pytest.mark.parametrize("long", [0, 0xFFFFFFFF])
def test_a_recorder_that_never_wrote_the_length(tmp_path: Path, long: int) -> None:
    whole = bytearray(wav(TONE, RATE))
    whole[40:44] = struct.pack("<I", long)
    held = clip.opened(put(tmp_path, bytes(whole)))
    assert held.frames == RATE
    assert held.notes == ()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"ID3\x04\0\0" + bytes(200), "MP3"),
        (b"\xff\xfb\x90\x64" + bytes(200), "MP3"),
        (b"\xff\xf1\x50\x80" + bytes(200), "AAC"),
        (b"\0\0\0\x20ftypM4A " + bytes(200), "M4A"),
        (b"OggS" + bytes(200), "Ogg"),
        (b"fLaC" + bytes(200), "FLAC"),
        (b"#!AMR\n" + bytes(200), "AMR"),
        (b"BW64" + bytes(200), "BW64"),
        (b"riff\x2e\x91\xcf\x11" + bytes(200), "W64"),
        (b"RIFF\0\0\0\0WAVE" + b"JUNK\0\0\0\0" * 10_001, "more parts"),
        (b"RIFX" + bytes(200), "other way round"),
        (b"RIFF\x10\0\0\0AVI " + bytes(200), "something else"),
        (b"a few words of text, and no sound", "no recording"),
        (b"RIFF", "something else"),
        (b"RIFF\x04\0\0\0WAVE", "word on its form"),
        (wav(TONE[:0], RATE), "without any sound"),
        (wav(TONE, RATE)[:36], "without any sound"),
        (wav(TONE, 4000), "4000 samples a second"),
    ],
)
def test_what_cannot_be_read_is_named(tmp_path: Path, content: bytes, said: str) -> None:
    with pytest.raises(Unfit, match=said) as told:
        clip.opened(put(tmp_path, content))
    assert told.value.of == "clip"
    if said in ("MP3", "M4A", "AAC", "Ogg", "FLAC", "AMR"):
        assert "export it as WAV" in str(told.value)


@pytest.mark.parametrize(("tag", "said"), [(0x55, "MP3"), (2, "ADPCM"), (7, "µ-law"), (999, "number 999")])
def test_packed_sound_in_a_wav_is_named(tmp_path: Path, tag: int, said: str) -> None:
    whole = bytearray(wav(TONE, RATE))
    whole[20:22] = struct.pack("<H", tag)
    with pytest.raises(Unfit, match=said):
        clip.opened(put(tmp_path, bytes(whole)))


@pytest.mark.parametrize(
    ("at", "value"), [(22, struct.pack("<H", 0)), (22, struct.pack("<H", 900)), (34, struct.pack("<H", 0)),
                      (34, struct.pack("<H", 13)), (24, struct.pack("<I", 0)), (32, struct.pack("<H", 5))]
)  # fmt: skip
def test_a_header_that_lies_is_refused(tmp_path: Path, at: int, value: bytes) -> None:
    whole = bytearray(wav(TONE, RATE))
    whole[at : at + len(value)] = value
    try:
        held = clip.opened(put(tmp_path, bytes(whole)))
    except Unfit:
        return
    # A sample of 13 bits sits in two bytes: that is no lie.
    assert at == 34 and value == struct.pack("<H", 13) and held.bits == 16


def test_no_file_a_folder_and_a_name_that_cannot_be(tmp_path: Path) -> None:
    for path in (str(tmp_path / "none.wav"), str(tmp_path), "a\0b"):
        with pytest.raises(Unfit):
            clip.opened(path)


def test_floats_that_are_no_numbers_read_as_nought(tmp_path: Path) -> None:
    odd = np.array([0.5, np.nan, np.inf, -np.inf, 0.25])
    assert read(put(tmp_path, wav(odd, RATE, 32, True)))[:, 0].tolist() == [0.5, 0, 1, -1, 0.25]


def test_floats_on_another_scale_are_not_cut(tmp_path: Path) -> None:
    # As some editors write them: on the scale of sixteen bits.
    path = put(tmp_path, wav(TONE * 32767, RATE, 32, True))
    assert np.abs(read(path)[:, 0] - TONE * 32767).max() < 0.01


def test_any_bytes_give_a_sentence_or_samples(tmp_path: Path) -> None:
    whole = wav(TONE[:400], RATE)
    chance = np.random.default_rng(1)
    for _ in range(300):
        spoilt = bytearray(whole)
        for at in chance.integers(0, 60, 4):
            spoilt[at] = chance.integers(256)
        try:
            found = read(put(tmp_path, bytes(spoilt[: chance.integers(1, len(spoilt))])))
        except Unfit as error:
            assert str(error)
        else:
            assert np.isfinite(found).all()

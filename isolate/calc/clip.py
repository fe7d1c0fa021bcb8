"""A recording from a phone, read: RIFF/WAVE with plain samples, in blocks, whatever its header says of itself.

Form: Microsoft and IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991), with the extensible
header that came later. Packed kinds (what phones make of themselves) are named and refused, with how to get a WAV.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from isolate.calc.shape import Unfit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LEAST_RATE: Final = 8000
MOST_RATE: Final = 384_000
MOST_CHANNELS: Final = 8
BLOCK_SECONDS: Final = 10.0
MOST_SIZE: Final = 1e10
MOST_PARTS: Final = 10_000
"""Chunks of a file that are gone through before the sound has to come."""
HOW: Final = (
    "save it as WAV (uncompressed, PCM): in the phone's recorder choose WAV, lossless or uncompressed before "
    "recording, or open the file in any sound editor and export it as WAV"
)
PLAIN, FLOATING, EXTENSIBLE = 1, 3, 0xFFFE
PACKED: Final = {
    0x0002: "ADPCM",
    0x0006: "A-law",
    0x0007: "µ-law",
    0x0011: "ADPCM",
    0x0031: "GSM",
    0x0050: "MPEG",
    0x0055: "MP3",
    0x00FF: "AAC",
}
"""What else a WAV header may say it holds."""


@dataclass(frozen=True)
class Clip:
    """What a file holds. ``frames``: samples a channel that are there, whatever the header says.

    ``notes``: what was odd about it, in sentences.
    """

    path: str
    rate: int
    channels: int
    bits: int
    floating: bool
    start: int
    frames: int
    notes: tuple[str, ...] = field(default=())

    @property
    def seconds(self) -> float:
        return self.frames / self.rate


def opened(path: str, of: str = "clip") -> Clip:
    """Return what a WAV file holds. Raises Unfit, about the input ``of``, for anything else."""
    try:
        size = os.path.getsize(path)
        if not Path(path).is_file():
            raise Unfit(f"{path}: that is no file", of)
        with open(path, "rb") as file:
            return _read_header(path, file, size, of)
    except (OSError, ValueError) as error:
        if isinstance(error, Unfit):
            raise
        raise Unfit(f"{path}: {getattr(error, 'strerror', None) or error}", of) from None


def blocks(clip: Clip, first: int = 0, last: int | None = None, of: str = "clip") -> Iterator[NDArray[np.float32]]:
    """Yield the samples from one to another, shape (n, channels), between -1 and 1, a few seconds at a time.

    Floating samples may go beyond, where the file's own scale is another.
    What is no number in a floating file reads as nought. Raises Unfit where the file cannot be read any more.
    """
    import numpy as np

    size = clip.channels * clip.bits // 8
    at, stop = first, clip.frames if last is None else min(last, clip.frames)
    step = int(BLOCK_SECONDS * clip.rate)
    try:
        with open(clip.path, "rb") as file:
            file.seek(clip.start + at * size)
            while at < stop:
                raw = file.read(min(step, stop - at) * size)
                many = len(raw) // size
                if not many:
                    return
                yield np.ascontiguousarray(_samples(clip, raw[: many * size]).reshape(many, clip.channels))
                at += many
    except OSError as error:
        raise Unfit(f"{clip.path}: {error.strerror or error}", of) from None


def _samples(clip: Clip, raw: bytes) -> NDArray[np.float32]:
    import numpy as np

    if clip.floating:
        found = np.frombuffer(raw, dtype=f"<f{clip.bits // 8}").astype(np.float32)
        # What is no number, or past all bounds, is noise of the file, not of the ramp. Some editors write floats on the
        # scale of sixteen bits or more: nothing that is counted depends on the scale.
        held = np.float32(MOST_SIZE)
        return np.clip(np.nan_to_num(found, nan=0.0, posinf=1.0, neginf=-1.0), -held, held).astype(np.float32)
    if clip.bits == 8:
        return (np.frombuffer(raw, dtype="u1").astype(np.float32) - np.float32(128)) / np.float32(128)
    if clip.bits == 24:
        parts = np.frombuffer(raw, dtype="u1").reshape(-1, 3).astype(np.int32)
        whole = (parts[:, 0] << 8) | (parts[:, 1] << 16) | (parts[:, 2] << 24)
        return (whole >> 8).astype(np.float32) / np.float32(2**23)
    kind = {16: "<i2", 32: "<i4"}[clip.bits]
    return np.asarray(np.frombuffer(raw, dtype=kind) / 2.0 ** (clip.bits - 1), dtype=np.float32)


def _read_header(path: str, file: BinaryIO, size: int, of: str) -> Clip:
    head = file.read(12)
    if size == 0:
        raise Unfit(f"{path}: the file is empty", of)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        kind = _kind(head + file.read(1024))
        said = f"it holds {kind}" if kind else "it is no recording that can be read here"
        named = ", though its name says WAV" if kind and path.lower().endswith(".wav") else ""
        raise Unfit(f"{path}: {said}{named}; {HOW}", of)
    about, data, notes, parts = None, None, list[str](), 0
    while len(title := file.read(8)) == 8:
        parts += 1
        if parts > MOST_PARTS:
            raise Unfit(f"{path}: a WAV of more parts than any recorder makes; {HOW}", of)
        name, long = title[:4], struct.unpack("<I", title[4:])[0]
        here = file.tell()
        if name == b"fmt " and about is None:
            about = file.read(min(long, 64))
        elif name == b"data":
            there = max(0, size - here)
            if long > there or long in (0, 0xFFFFFFFF):
                if long > there and long != 0xFFFFFFFF:
                    # Said, and no more: a recorder that was stopped hard leaves such a file.
                    notes.append("The file is cut short: its header promises more than is there. That was used.")
                long = there
            data = (here, long)
            if about is not None:
                break
        # A chunk of odd length is followed by one byte that counts for nothing.
        file.seek(here + long + long % 2)
        if file.tell() >= size:
            break
    if about is None or len(about) < 16:
        raise Unfit(f"{path}: a WAV without a word on its form, so that it cannot be read; {HOW}", of)
    if data is None:
        raise Unfit(f"{path}: a WAV without any sound in it", of)
    return _made(path, about, data, notes, of)


def _made(path: str, about: bytes, data: tuple[int, int], notes: list[str], of: str) -> Clip:
    tag, channels, rate, _, align, bits = struct.unpack("<HHIIHH", about[:16])
    if tag == EXTENSIBLE and len(about) >= 26:
        tag = struct.unpack("<H", about[24:26])[0]
    if tag not in (PLAIN, FLOATING):
        held = PACKED.get(tag, f"a packed kind (number {tag})")
        raise Unfit(f"{path}: a WAV with {held} in it, not plain samples; {HOW}", of)
    if not 1 <= channels <= MOST_CHANNELS:
        raise Unfit(f"{path}: its header says {channels} channels; one to {MOST_CHANNELS} can be read", of)
    if rate < LEAST_RATE or rate > MOST_RATE:
        more = ". A click needs its high notes: record with a higher rate" if 1000 <= rate < LEAST_RATE else ""
        raise Unfit(
            f"{path}: its header says {rate} samples a second; from {LEAST_RATE} up to {MOST_RATE} can be read{more}",
            of,
        )
    # Samples of 20 bits, say, sit in three bytes, at the upper end.
    stored = bits if align % channels or align == 0 else 8 * align // channels
    if stored not in ((32, 64) if tag == FLOATING else (8, 16, 24, 32)) or bits > stored or bits == 0:
        raise Unfit(f"{path}: its header says {bits} bits a sample in {align} bytes; that cannot be read; {HOW}", of)
    frames = data[1] // (channels * stored // 8)
    if not frames:
        raise Unfit(f"{path}: a WAV without any sound in it", of)
    return Clip(path, rate, channels, stored, tag == FLOATING, data[0], frames, tuple(notes))


def _kind(head: bytes) -> str:
    """Return what a file is by its first bytes, "" where they say nothing."""
    if head[4:8] == b"ftyp":
        return "M4A, MP4 or 3GP sound (packed, as phones record)"
    for start, kind in (
        (b"ID3", "MP3"),
        (b"OggS", "Ogg sound"),
        (b"fLaC", "FLAC"),
        (b"#!AMR", "AMR, a phone's own packed kind"),
        (b"caff", "a CAF recording"),
        (b"FORM", "an AIFF recording"),
        (b".snd", "an AU recording"),
        (b"RF64", "an RF64 recording, the long form of WAV"),
        (b"BW64", "a BW64 recording, the long form of WAV"),
        (b"riff", "a W64 recording, another long form of WAV"),
        (b"RIFX", "a WAV with its bytes the other way round"),
        (b"wvpk", "a packed recording"),
        (b"\x1aE\xdf\xa3", "WebM or Matroska"),
        (b"\x30\x26\xb2\x75", "Windows Media sound"),
        (b"RIFF", "something else than sound in a RIFF file"),
        (b"PK\x03\x04", "a ZIP archive"),
        (b"%PDF", "a PDF"),
    ):
        if head.startswith(start):
            return kind
    # An MPEG frame begins with eleven bits set; layer and version tell AAC from MP3.
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0:
        return "AAC" if head[1] & 0x06 == 0 else "MP3"
    return ""

"""Bytes of a sound file to what the recogniser takes: 16 kHz, mono, 16-bit samples.

The header is checked before anything is decoded, and decoding stops at the limit whatever the header says, so a small
file cannot unpack into hours of sound.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from capture.speech.errors import (
    ClipEmpty,
    ClipFormatUnsupported,
    ClipIsMp4,
    ClipIsWebm,
    ClipLayoutUnknown,
    ClipNotDecoded,
    ClipNotFinite,
    ClipTooLarge,
    ClipTooLong,
    ClipTooShort,
    NoSoundFile,
)

RATE = 16_000
"""Sample rate of the recogniser, Hz."""

MAX_SECONDS = 60.0
"""Longest clip, s: a reading takes two to ten seconds; a minute leaves room for three readings and a pause."""

MAX_BYTES = 16_000_000
"""Largest file, bytes: a minute of 48 kHz stereo 16-bit WAV is 11.5 MB. The server takes in what this says."""

MIN_SECONDS = 0.1
"""Shortest clip, s: no word is shorter."""

_RATES = range(8_000, 192_001)  # telephones to studio recorders
_MAX_CHANNELS = 8  # no microphone of the trade gives more; every channel costs memory
_FORMATS = frozenset({"WAV", "WAVEX", "RF64", "FLAC", "OGG", "MP3"})
_BLOCK = 65_536  # frames decoded at a time


@dataclass(frozen=True)
class Clip:
    """A decoded clip.

    Attributes:
        pcm: 16 kHz mono samples, signed 16 bit, little endian.
        duration_s: Length, s.
        source_rate: Sample rate of the file, Hz.
        channels: Channels of the file.
    """

    pcm: bytes
    duration_s: float
    source_rate: int
    channels: int


def load_clip(data: bytes) -> Clip:
    """Decode a clip.

    Args:
        data: A WAV, FLAC, Ogg (Opus or Vorbis) or MP3 file.

    Raises:
        MediaError: "clip_empty", "clip_too_large", "clip_type", "clip_damaged", "clip_too_long", "clip_too_short" or
            "clip_format"; the message says what to do.
    """
    _check_outside(data)
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            _check_header(file.format, file.samplerate, file.channels, file.frames)
            rate, channels = int(file.samplerate), int(file.channels)
            pcm, frames = _lowered(_mono_blocks(file), rate)
    except soundfile.LibsndfileError as error:
        raise ClipNotDecoded(cause=str(error)) from None
    seconds = frames / rate
    if seconds < MIN_SECONDS:
        raise ClipTooShort(seconds=seconds)
    return Clip(pcm, seconds, rate, channels)


def _mono_blocks(file: Any) -> Iterator[npt.NDArray[np.float32]]:
    """Decode a file block by block to one channel, so that eight of them at 192 kHz need no more memory than one."""
    total = 0
    limit = int(MAX_SECONDS * file.samplerate)
    while len(block := file.read(_BLOCK, dtype="float32", always_2d=True)):
        total += len(block)
        if total > limit:
            raise ClipTooLong(seconds=total / file.samplerate, most=MAX_SECONDS)
        mono = block.mean(axis=1) if block.shape[1] > 1 else block[:, 0]
        if not np.isfinite(mono).all():
            raise ClipNotFinite()
        yield mono


def _lowered(blocks: Iterable[npt.NDArray[np.float32]], rate: int) -> tuple[bytes, int]:
    """Resample blocks of one channel to 16 kHz as they come; returns the samples, and how many came in."""
    import soxr

    stream = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")
    pcm, frames = bytearray(), 0
    for block in blocks:
        frames += len(block)
        pcm += to_pcm(block if stream is None else stream.resample_chunk(block))
    if stream is not None:
        pcm += to_pcm(stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    return bytes(pcm), frames


def resampled(samples: npt.NDArray[np.float32], rate: int) -> npt.NDArray[np.float32]:
    """Resample mono samples to 16 kHz; telephone clips at 8 kHz are raised, since the recogniser only lowers."""
    if rate == RATE:
        return samples
    import soxr

    return np.asarray(soxr.resample(samples, rate, RATE), dtype=np.float32)


def to_pcm(samples: npt.NDArray[np.float32]) -> bytes:
    """Convert samples in -1..1 to signed 16 bit, clipped."""
    return (np.clip(samples, -1.0, 1.0) * 32767.0).round().astype("<i2").tobytes()


def _check_outside(data: bytes) -> None:
    """Refuse by size and first bytes."""
    if not data:
        raise ClipEmpty()
    if len(data) > MAX_BYTES:
        raise ClipTooLarge(most=MAX_BYTES // 10**6)
    if data[4:8] == b"ftyp":
        raise ClipIsMp4()
    if data.startswith(b"\x1a\x45\xdf\xa3"):
        raise ClipIsWebm()
    known = data.startswith((b"RIFF", b"RF64", b"fLaC", b"OggS", b"ID3")) or (data[0] == 0xFF and data[1:2] >= b"\xe0")
    if not known:
        raise NoSoundFile()


def _check_header(kind: str, rate: int, channels: int, frames: int) -> None:
    if kind not in _FORMATS:
        raise ClipLayoutUnknown(layout=kind)
    if rate not in _RATES or not 1 <= channels <= _MAX_CHANNELS:
        raise ClipFormatUnsupported(rate=rate, channels=channels)
    if frames > MAX_SECONDS * rate:
        raise ClipTooLong(seconds=frames / rate, most=MAX_SECONDS)

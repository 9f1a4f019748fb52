"""Sound files to what the recogniser takes: 16 kHz, mono, 16-bit samples.

Of a clip the header is checked before anything is decoded, and decoding stops at the limit whatever the header says,
so a small file cannot unpack into hours of sound. A recording of any length is decoded as it is heard.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from capture.speech.decoder import SoundReader
from capture.speech.errors import ClipEmpty, ClipTooLarge, ClipTooLong, ClipTooShort

RATE = 16_000
"""Sample rate of the recogniser, Hz."""

MAX_SECONDS = 60.0
"""Longest clip, s: a reading takes two to ten seconds; a minute leaves room for three readings and a pause."""

MAX_BYTES = 16_000_000
"""Largest file, bytes: a minute of 48 kHz stereo 16-bit WAV is 11.5 MB. The server takes in what this says."""

ROUNDING_S = 0.1
"""What a clip may be longer than the limit, s: coders fill up their last frame."""

MIN_SECONDS = 0.1
"""Shortest clip, s: no word is shorter."""


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
        data: A sound file of any kind in `capture.speech.sound_types`.

    Raises:
        MediaError: "clip_empty", "clip_too_large", "clip_type", "clip_damaged", "clip_too_long", "clip_too_short" or
            "clip_format"; the message says what to do.
    """
    if not data:
        raise ClipEmpty()
    if len(data) > MAX_BYTES:
        raise ClipTooLarge(most=MAX_BYTES // 10**6)
    with closing(SoundReader(io.BytesIO(data))) as reader:
        told = reader.header
        reader.check()
        if told.duration_s is not None and told.duration_s > MAX_SECONDS + ROUNDING_S:
            raise ClipTooLong(seconds=told.duration_s, most=MAX_SECONDS)
        lowered = _Lowered()
        pcm = b"".join(lowered.pieces(_within_limit(reader.blocks())))
    if lowered.seconds < MIN_SECONDS:
        raise ClipTooShort(seconds=lowered.seconds)
    return Clip(pcm, lowered.seconds, lowered.rate, told.channels)


class Recording:
    """A sound file of any length, decoded as it is heard; a few seconds of it are held at a time.

    Attributes:
        duration_s: Its length by its header, s; None where it does not say.
        tags: What it says of itself in words, by tag.
    """

    def __init__(self, file: BinaryIO) -> None:
        """Open it; `file` must stay open as long as it is read.

        Raises:
            MediaError: "clip_empty", "clip_type", "clip_damaged" or "clip_format"; the message says what to do.
        """
        if not file.read(1):
            raise ClipEmpty()
        file.seek(0)
        self._reader = SoundReader(file)
        self._reader.check()
        self.duration_s = self._reader.header.duration_s
        self.tags = self._reader.tags

    def blocks(self) -> Iterator[bytes]:
        """Yield its samples at 16 kHz.

        Raises:
            MediaError: "clip_damaged", "clip_format" or "clip_too_short".
        """
        lowered = _Lowered()
        with closing(self._reader):
            yield from lowered.pieces(self._reader.blocks())
        if lowered.seconds < MIN_SECONDS:
            raise ClipTooShort(seconds=lowered.seconds)


def _within_limit(
    blocks: Iterable[tuple[npt.NDArray[np.float32], int]],
) -> Iterator[tuple[npt.NDArray[np.float32], int]]:
    """Pass blocks on up to the limit of a clip."""
    total = 0
    for block, rate in blocks:
        total += len(block)
        if total > (MAX_SECONDS + ROUNDING_S) * rate:
            raise ClipTooLong(seconds=total / rate, most=MAX_SECONDS)
        yield block, rate


class _Lowered:
    """Blocks of one channel on their way to 16 kHz.

    Attributes:
        rate: Sample rate that they came with, Hz.
    """

    def __init__(self) -> None:
        self.rate = 0
        self._frames = 0

    @property
    def seconds(self) -> float:
        """How much came so far, s."""
        return self._frames / self.rate if self.rate else 0.0

    def pieces(self, blocks: Iterable[tuple[npt.NDArray[np.float32], int]]) -> Iterator[bytes]:
        """Resample blocks as they come."""
        import soxr

        stream = None
        for block, rate in blocks:
            if not self.rate:
                self.rate = rate
                stream = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")
            self._frames += len(block)
            yield to_pcm(block if stream is None else stream.resample_chunk(block))
        if stream is not None:
            yield to_pcm(stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))


def resampled(samples: npt.NDArray[np.float32], rate: int) -> npt.NDArray[np.float32]:
    """Resample mono samples to 16 kHz; telephone clips at 8 kHz are raised, since the recogniser only lowers."""
    if rate == RATE:
        return samples
    import soxr

    return np.asarray(soxr.resample(samples, rate, RATE), dtype=np.float32)


def to_pcm(samples: npt.NDArray[np.float32]) -> bytes:
    """Convert samples in -1..1 to signed 16 bit, clipped."""
    return (np.clip(samples, -1.0, 1.0) * 32767.0).round().astype("<i2").tobytes()

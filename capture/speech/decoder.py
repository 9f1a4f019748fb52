"""Sound files to samples of one channel, a block at a time, by PyAV.

Nothing about a file is believed but its first bytes: they choose the one reader that may look at it, so that no play
list or other file that names further files is ever followed, and the coding must be one of a closed list. What is held
at a time is one packet and one block, however long the file is.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from capture.speech.errors import (
    ClipCodingUnknown,
    ClipCutShort,
    ClipFormatUnsupported,
    ClipNotDecoded,
    ClipNotFinite,
    ClipWithoutSound,
    NoSoundFile,
)
from capture.speech.sound_types import HEAD, SoundType, sound_type

_RATES = range(8_000, 192_001)  # telephones to studio recorders
_MAX_CHANNELS = 8  # no microphone of the trade gives more; every channel costs memory
_PCM = ("s16le", "s24le", "s32le", "u8", "f32le", "f64le", "alaw", "mulaw", "s16be", "s24be", "s32be", "f32be")
_CODINGS = frozenset(
    {"aac", "mp3float", "mp3", "opus", "vorbis", "flac", "alac", "amrnb", "amrwb", "adpcm_ima_wav"}
    | {f"pcm_{form}" for form in _PCM}
)
_BLOCK = 16_384  # samples gathered before they go on: small packets would cost more in calls than in sound
_CUT_S = 0.5  # by how much a whole file may be shorter than its header says: padding of the coders


@dataclass(frozen=True)
class SoundHeader:
    """What a file's header says.

    Attributes:
        rate: Sample rate, Hz; 0 where only decoding tells.
        channels: Channels; 0 where only decoding tells.
        duration_s: Length, s; None where it is not said.
        coding: Name of the coding.
    """

    rate: int
    channels: int
    duration_s: float | None
    coding: str


class SoundReader:
    """One sound file being decoded.

    Attributes:
        header: What its header says.
    """

    def __init__(self, file: BinaryIO, *, decode: bool = True) -> None:
        """Open a file and read its header.

        Args:
            file: The file, at its beginning; it must stay open as long as the reader.
            decode: It will be decoded; without, no decoder is ever started, so the header may lack what only one knows.

        Raises:
            MediaError: "clip_type", "clip_damaged" or "clip_format"; the message says what to do.
        """
        import av

        head = file.read(HEAD)
        found = sound_type(head)
        if found is None:
            raise NoSoundFile()
        file.seek(0)
        self._type: SoundType = found
        allowed = ",".join(sorted(_CODINGS)) if decode else "none"
        try:
            self._container: Any = av.open(file, format=found.container, options={"codec_whitelist": allowed})
        except (av.FFmpegError, ValueError, OverflowError, MemoryError) as error:
            raise ClipNotDecoded(cause=_why(error)) from None
        try:
            self.header = self._read_header()
        except BaseException:
            self._container.close()
            raise

    def _read_header(self) -> SoundHeader:
        streams = self._container.streams.audio
        if not streams:
            raise ClipWithoutSound()
        self._stream = stream = streams[0]
        context = stream.codec_context
        if context is None or context.name not in _CODINGS:
            raise ClipCodingUnknown(coding=stream.codec.name if context is None else context.name)
        context.thread_count = 1  # a recognising process has one core, and threads would have memory of their own
        rate, channels = int(context.sample_rate or 0), int(context.channels or 0)
        told = self._container.duration
        seconds = None if told is None or told < 0 else told / 1_000_000
        return SoundHeader(rate, channels, seconds, str(context.name))

    @property
    def tags(self) -> dict[str, str]:
        """What the file says of itself in words, by tag: "creation_time", "date", ..."""
        return {**self._stream.metadata, **self._container.metadata}

    def check(self) -> None:
        """Refuse a rate or number of channels that the header gives and nobody can record.

        Raises:
            ClipFormatUnsupported: It is so.
        """
        if not self.header.rate:
            raise ClipNotDecoded(cause="there is no sound in it")
        _check_format(self.header.rate, self.header.channels)

    def blocks(self) -> Iterator[tuple[npt.NDArray[np.float32], int]]:
        """Decode; yields blocks of one channel, the mean of all, in -1..1, each with its sample rate, Hz.

        Raises:
            MediaError: "clip_damaged" or "clip_format".
        """
        import av

        gathered: list[npt.NDArray[np.float32]] = []
        waiting, samples, rate = 0, 0, 0
        try:
            for frame in self._container.decode(self._stream):
                _check_format(frame.sample_rate, frame.layout.nb_channels)
                if rate and frame.sample_rate != rate:
                    raise ClipNotDecoded(cause="its sample rate changes on the way")
                rate = int(frame.sample_rate)
                gathered.append(_one_channel(frame))
                waiting += len(gathered[-1])
                samples += len(gathered[-1])
                if waiting >= _BLOCK:
                    yield np.concatenate(gathered), rate
                    gathered, waiting = [], 0
        except (av.FFmpegError, ValueError, OverflowError, MemoryError) as error:
            raise ClipNotDecoded(cause=_why(error)) from None
        if gathered:
            yield np.concatenate(gathered), rate
        if not samples:
            raise ClipNotDecoded(cause="there is no sound in it")
        promised = self.header.duration_s
        if self._type.exact and promised is not None and samples / rate < promised - _CUT_S:
            raise ClipCutShort(seconds=samples / rate, promised=promised)

    def close(self) -> None:
        """Free the decoder; the file stays open."""
        self._container.close()


def read_header(data: bytes) -> SoundHeader:
    """Read what a sound file says of itself, without decoding any of it.

    Raises:
        MediaError: See `SoundReader`.
    """
    with closing(SoundReader(io.BytesIO(data), decode=False)) as reader:
        return reader.header


def _check_format(rate: int, channels: int) -> None:
    if rate not in _RATES or not 1 <= channels <= _MAX_CHANNELS:
        raise ClipFormatUnsupported(rate=rate, channels=channels)


def _one_channel(frame: Any) -> npt.NDArray[np.float32]:
    """Give the samples of one frame as the mean of its channels, in -1..1."""
    packed = frame.to_ndarray()
    shaped = packed if frame.format.is_planar else packed.reshape(-1, frame.layout.nb_channels).T
    if shaped.dtype == np.uint8:
        shaped = shaped.astype(np.float32) - 128.0
        scale = 128.0
    else:
        scale = 1.0 if shaped.dtype.kind == "f" else -float(np.iinfo(shaped.dtype).min)
    mono = np.asarray(shaped.mean(axis=0, dtype=np.float64) / scale, dtype=np.float32)
    if not np.isfinite(mono).all():
        raise ClipNotFinite()
    return mono


def _why(error: Exception) -> str:
    """Say in the decoder's own words what is wrong, without numbers and addresses of its own."""
    return str(getattr(error, "strerror", None) or error or type(error).__name__)

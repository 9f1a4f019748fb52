"""Bytes of a sound file to what the recogniser takes: 16 kHz, mono, 16-bit samples.

The header is checked before anything is decoded, and decoding stops at the limit whatever the header says, so a small
file cannot unpack into hours of sound.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capture.errors import MediaError

RATE = 16_000
"""Sample rate of the recogniser, Hz."""

MAX_SECONDS = 60.0
"""Longest clip, s: a reading takes two to ten seconds; a minute leaves room for three readings and a pause."""

MAX_BYTES = 8 * 1024 * 1024
"""Largest file: a minute of 48 kHz mono 16-bit WAV is 5.8 MB."""

MIN_SECONDS = 0.1
"""Shortest clip, s: no word is shorter."""

_RATES = range(8_000, 192_001)  # telephones to studio recorders
_MAX_CHANNELS = 8  # no microphone of the trade gives more; every channel costs memory
_FORMATS = frozenset({"WAV", "WAVEX", "RF64", "FLAC", "OGG", "MP3"})
_BLOCK = 65_536  # frames decoded at a time
_ADVICE = "Record WAV, FLAC, Ogg (Opus or Vorbis) or MP3."


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
    samples, rate, channels = _decode(data)
    mono = samples.mean(axis=1) if channels > 1 else samples[:, 0]
    if not np.isfinite(mono).all():
        raise MediaError("clip_damaged", "The clip holds values that are no sound. Record it again.")
    seconds = len(mono) / rate
    if seconds < MIN_SECONDS:
        raise MediaError("clip_too_short", f"The clip is only {seconds:.2f} s long. Hold the button while you speak.")
    return Clip(to_pcm(resampled(mono, rate)), seconds, rate, channels)


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
        raise MediaError("clip_empty", "The clip is empty. Record it again.")
    if len(data) > MAX_BYTES:
        raise MediaError(
            "clip_too_large", f"The clip is over {MAX_BYTES // 1024 // 1024} MB. Record one reading at a time."
        )
    if data[4:8] == b"ftyp":
        raise MediaError("clip_type", f"This is an MP4 or M4A clip, which cannot be read here. {_ADVICE}")
    if data.startswith(b"\x1a\x45\xdf\xa3"):
        raise MediaError("clip_type", f"This is a WebM clip, which cannot be read here. {_ADVICE}")
    known = data.startswith((b"RIFF", b"RF64", b"fLaC", b"OggS", b"ID3")) or (data[0] == 0xFF and data[1:2] >= b"\xe0")
    if not known:
        raise MediaError("clip_type", f"This is no sound file that can be read here. {_ADVICE}")


def _decode(data: bytes) -> tuple[npt.NDArray[np.float32], int, int]:
    """Decode to samples by frame and channel, the rate in Hz, and the number of channels."""
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            _check_header(file.format, file.samplerate, file.channels, file.frames)
            limit = int(MAX_SECONDS * file.samplerate)
            blocks, total = [], 0
            while len(block := file.read(_BLOCK, dtype="float32", always_2d=True)):
                total += len(block)
                if total > limit:
                    raise _too_long(total / file.samplerate)
                blocks.append(block)
            rate, channels = int(file.samplerate), int(file.channels)
    except soundfile.LibsndfileError as error:
        raise MediaError("clip_damaged", f"The clip cannot be decoded ({error}). Record it again. {_ADVICE}") from None
    samples = np.concatenate(blocks) if blocks else np.zeros((0, channels), dtype=np.float32)
    return samples, rate, channels


def _check_header(kind: str, rate: int, channels: int, frames: int) -> None:
    if kind not in _FORMATS:
        raise MediaError("clip_type", f"A {kind} clip cannot be read here. {_ADVICE}")
    if rate not in _RATES or not 1 <= channels <= _MAX_CHANNELS:
        raise MediaError(
            "clip_format", f"{rate} Hz with {channels} channels cannot be read. Record 16 to 48 kHz, mono."
        )
    if frames > MAX_SECONDS * rate:
        raise _too_long(frames / rate)


def _too_long(seconds: float) -> MediaError:
    return MediaError(
        "clip_too_long",
        f"The clip is at least {seconds:.0f} s long; {MAX_SECONDS:.0f} s is the limit. Say one reading at a time.",
    )

"""Makes the sound files that phones and recorders write, by the encoders that come with PyAV."""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import soundfile
import soxr

CLIPS = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"
DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Kind:
    """One kind of file: its media type, the container and the encoder as FFmpeg calls them, and the sample rate, Hz."""

    media_type: str
    container: str
    encoder: str
    rate: int


KINDS = {
    "m4a": Kind("audio/mp4", "ipod", "aac", 44_100),
    "m4a, lossless": Kind("audio/mp4", "ipod", "alac", 48_000),
    "mp4": Kind("audio/mp4", "mp4", "aac", 48_000),
    "3gp, amr": Kind("audio/3gpp", "3gp", "libopencore_amrnb", 8_000),
    "3gp, aac": Kind("audio/3gpp", "3gp", "aac", 16_000),
    "amr": Kind("audio/amr", "amr", "libopencore_amrnb", 8_000),
    "aac": Kind("audio/aac", "adts", "aac", 44_100),
    "mp3": Kind("audio/mpeg", "mp3", "libmp3lame", 44_100),
    "ogg, opus": Kind("audio/ogg", "ogg", "libopus", 48_000),
    "webm": Kind("audio/webm", "webm", "libopus", 48_000),
    "wav": Kind("audio/wav", "wav", "pcm_s16le", 48_000),
    "flac": Kind("audio/flac", "flac", "flac", 48_000),
}
"""What phones, messengers and browsers record. AMR-WB, for which PyAV has no encoder, is `data/c02.awb`: the demo's
clip c02 by Debian's libvo-amrwbenc 0.1.3 (Apache-2.0) at 23.85 kbit/s."""


def clip(name: str) -> npt.NDArray[np.float32]:
    """Read a clip of the demo, 16 kHz."""
    return np.asarray(soundfile.read(CLIPS / name, dtype="float32")[0], dtype=np.float32)


def written(samples: npt.NDArray[np.float32], kind: str, *, rate: int = 16_000) -> bytes:
    """Encode one channel of samples in -1..1 as one of `KINDS`."""
    told = KINDS[kind]
    resampled = np.asarray(soxr.resample(samples, rate, told.rate), dtype=np.float32)
    out = io.BytesIO()
    with av.open(out, "w", format=told.container) as file:
        stream: Any = file.add_stream(told.encoder, rate=told.rate, layout="mono")
        size = stream.codec_context.frame_size or 1024
        for at in range(0, len(resampled), size):
            frame = av.AudioFrame.from_ndarray(resampled[None, at : at + size], format="flt", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = told.rate, at, Fraction(1, told.rate)
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return out.getvalue()


def film(sound: str | None) -> bytes:
    """Encode half a second of film as MP4, silent or with sound of a coding."""
    out = io.BytesIO()
    with av.open(out, "w", format="mp4") as file:
        pictures: Any = file.add_stream("mpeg4", rate=10, width=64, height=48, pix_fmt="yuv420p")
        heard: Any = None if sound is None else file.add_stream(sound, rate=48_000, layout="mono")
        for at in range(5):
            picture = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 40 * at, np.uint8), format="rgb24")
            picture.pts, picture.time_base = at, Fraction(1, 10)
            file.mux(pictures.encode(picture))
        file.mux(pictures.encode(None))
        if heard is not None:
            size = heard.codec_context.frame_size or 1024
            for at in range(0, 24_000, size):
                tone = np.sin(np.arange(at, at + size, dtype=np.float32) / 20)[None]
                frame = av.AudioFrame.from_ndarray(tone, format="flt", layout="mono")
                frame.sample_rate, frame.pts, frame.time_base = 48_000, at, Fraction(1, 48_000)
                file.mux(heard.encode(frame))
            file.mux(heard.encode(None))
    return out.getvalue()


def claiming(count: int) -> bytes:
    """Make an M4A file whose table of samples claims so many of one byte each (ISO/IEC 14496-12, 8.7.3: "stsz")."""
    data = bytearray(written(np.zeros(16_000, np.float32), "m4a"))
    at = data.index(b"stsz") + 8  # past the name, version and flags: size of each sample, number of samples
    data[at : at + 8] = (1).to_bytes(4, "big") + count.to_bytes(4, "big")
    at = data.index(b"stsc") + 12  # the first run of chunks: its number, samples in each chunk
    data[at + 4 : at + 8] = count.to_bytes(4, "big")
    return bytes(data)

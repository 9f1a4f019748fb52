"""Samples to a sound file: what was heard live is kept as FLAC, which loses nothing."""

from __future__ import annotations

import io

import numpy as np

from capture.speech.audio import RATE

_PIECE = 4096  # samples of a frame of FLAC, as its own encoder takes them at this rate


def flac(pcm: bytes) -> bytes:
    """Encode 16 kHz mono samples, signed 16 bit, as a FLAC file, lossless; half a sample at the end is dropped."""
    import av

    samples = np.frombuffer(pcm[: len(pcm) // 2 * 2], dtype="<i2")
    out = io.BytesIO()
    with av.open(out, "w", format="flac") as file:
        stream = file.add_stream("flac", rate=RATE, layout="mono", format="s16")
        for at in range(0, len(samples), _PIECE):
            frame = av.AudioFrame.from_ndarray(samples[None, at : at + _PIECE], format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, at
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return out.getvalue()

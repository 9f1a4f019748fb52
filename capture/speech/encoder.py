"""Samples to a sound file: what was heard live is kept as FLAC, which loses nothing."""

from __future__ import annotations

import io

import numpy as np

from capture.speech.audio import RATE

CUT_FROM = "OHMTRAIL_CUT_FROM"
"""Name of the comment in a FLAC file that says which recording it was cut from."""

_PIECE = 4096  # samples of a frame of FLAC, as its own encoder takes them at this rate


def flac(pcm: bytes, cut_from: str = "") -> bytes:
    """Encode 16 kHz mono samples, signed 16 bit, as a FLAC file, lossless; half a sample at the end is dropped.

    Args:
        pcm: The samples.
        cut_from: SHA-256 of the recording that they were cut from, kept in the file; empty for an original.
    """
    import av

    samples = np.frombuffer(pcm[: len(pcm) // 2 * 2], dtype="<i2")
    out = io.BytesIO()
    with av.open(out, "w", format="flac") as file:
        if cut_from:
            file.metadata[CUT_FROM] = cut_from
        stream = file.add_stream("flac", rate=RATE, layout="mono", format="s16")
        for at in range(0, len(samples), _PIECE):
            frame = av.AudioFrame.from_ndarray(samples[None, at : at + _PIECE], format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, at
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return out.getvalue()

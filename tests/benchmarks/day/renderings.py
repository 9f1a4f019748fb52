"""The afternoon's memos as other recorders would have kept them: more noise, a room's echo, a dull microphone."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from capture.speech.audio import RATE, Recording
from fixtures.afternoon.make_memos import SNR_DB, encode, shop_noise
from tests.benchmarks.day.score import AFTERNOON

Samples = NDArray[np.float64]

MEASURED = 77
"""Seed of the noise that the rules were looked at with."""


@dataclass(frozen=True)
class Rendering:
    """One way in which the memos may have been recorded.

    Attributes:
        snr_db: By how much the voice lies above the noise, dB; the fixture's own 24 at most.
        seed: Of the noise.
        room_s: How long the room echoes (to -60 dB), s; 0 for none.
        dull_hz: Above this the microphone hears less, 6 dB an octave; 0 for an even one.
    """

    snr_db: float
    seed: int = MEASURED
    room_s: float = 0.0
    dull_hz: float = 0.0

    @property
    def name(self) -> str:
        """How it is called in the table."""
        room = f", room {self.room_s:g} s" if self.room_s else ""
        dull = f", dull above {self.dull_hz:g} Hz" if self.dull_hz else ""
        return f"{self.snr_db:g} dB, seed {self.seed}{room}{dull}"

    @property
    def is_recorded(self) -> bool:
        """Whether it is the fixture as it is."""
        return self.snr_db >= SNR_DB and not self.room_s and not self.dull_hz


SHOWN = (Rendering(SNR_DB), Rendering(20), Rendering(10), Rendering(5))
"""What the rules were looked at with."""

KEPT_APART = (
    Rendering(20, 1001), Rendering(10, 1001), Rendering(20, 1002), Rendering(10, 1002), Rendering(20, 1003, 0.35),
    Rendering(5, 1001), Rendering(10, 1003), Rendering(20, 1004, 0.0, 900), Rendering(5, 1002),
    Rendering(15, 1005), Rendering(15, 1006, 0.35), Rendering(10, 1007, 0.0, 900),
)  # fmt: skip
"""What no rule was looked at with."""


def rendered(folder: Path, how: Rendering) -> Path:
    """Copy the afternoon, its memos rendered so."""
    folder.mkdir()
    truth = json.loads((AFTERNOON / "truth.json").read_text("utf-8"))
    memos = {one["file"] for one in truth["memos"]}
    for number, path in enumerate(sorted((AFTERNOON / "files").iterdir())):
        if path.name not in memos or how.is_recorded:
            shutil.copy2(path, folder / path.name)
            continue
        with path.open("rb") as file:
            pcm = np.frombuffer(b"".join(Recording(file).blocks()), "<i2").astype(np.float64)
        _write(folder / path.name, spoilt(pcm, how, number), path)
    return folder


def spoilt(pcm: Samples, how: Rendering, number: int) -> Samples:
    """Render samples; `number` tells the recordings of one afternoon apart."""
    quiet = float(np.median([pcm[at : at + RATE // 4].std() for at in range(0, len(pcm) - RATE, RATE // 4)]))
    extra = quiet * np.sqrt(max(0.0, 10 ** ((SNR_DB - how.snr_db) / 10) - 1))
    seed = how.seed if how.seed == MEASURED else how.seed + 10_000 * number
    out = _echoed(pcm, how.room_s, seed) + extra * shop_noise(len(pcm), seed)
    return _dulled(out, how.dull_hz)


def _echoed(pcm: Samples, room_s: float, seed: int) -> Samples:
    """Add a room: noise that falls by 60 dB in the time given, half as strong as what comes straight."""
    if not room_s:
        return pcm
    count = int(room_s * RATE)
    tail = np.random.default_rng(seed).normal(size=count) * 10 ** (-3 * np.arange(count) / count)
    tail[: RATE // 100] = 0
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    size = 1 << (len(pcm) + count).bit_length()
    return np.asarray(np.fft.irfft(np.fft.rfft(pcm, size) * np.fft.rfft(tail, size), size)[: len(pcm)], np.float64)


def _dulled(pcm: Samples, dull_hz: float) -> Samples:
    if not dull_hz:
        return pcm
    spectrum = np.fft.rfft(pcm)
    spectrum /= np.sqrt(1 + (np.fft.rfftfreq(len(pcm), 1 / RATE) / dull_hz) ** 2)
    return np.asarray(np.fft.irfft(spectrum, len(pcm)), np.float64)


def _write(path: Path, samples: Samples, like: Path) -> None:
    with av.open(str(like)) as file:
        tags = {**file.streams.audio[0].metadata, **file.metadata}
    began = dt.datetime.fromisoformat(tags.get("creation_time") or tags["CREATION_TIME"])
    encode(np.clip(samples, -32768, 32767).astype(np.int16), path, began)

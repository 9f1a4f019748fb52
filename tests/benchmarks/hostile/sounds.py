"""Sounds that hold no speech, or too much of it, in every layout that is taken in."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from tests.capture.speech import recordings

Samples = npt.NDArray[np.float64]

SECONDS = 59
CLIPS = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"


def _time(rate: int) -> Samples:
    return np.arange(SECONDS * rate) / rate


def _noise(level: float) -> Callable[[int], Samples]:
    return lambda rate: np.asarray(np.random.default_rng(1).normal(0, level, SECONDS * rate))


def _pulses(every_s: float) -> Callable[[int], Samples]:
    def make(rate: int) -> Samples:
        return np.where(np.arange(SECONDS * rate) % int(every_s * rate) < rate // 800, 0.6, 0.0)

    return make


def _tone(hertz: float, kind: Callable[[Samples], Samples] = np.sin) -> Callable[[int], Samples]:
    return lambda rate: np.asarray(0.25 * kind(np.sin(2 * np.pi * hertz * _time(rate))))


def _syllables(rate: int) -> Samples:
    """Make a buzz that swells four times a second, as vowels do."""
    at = _time(rate)
    return np.asarray(0.25 * np.sign(np.sin(2 * np.pi * 130 * at)) * (1 + np.sin(2 * np.pi * 4 * at)) / 2)


def _sweep(rate: int) -> Samples:
    at = _time(rate)
    return 0.25 * np.sin(2 * np.pi * (100 + 50 * (at % 3)) * at)


def _brown(rate: int) -> Samples:
    walk = np.cumsum(np.random.default_rng(2).normal(0, 1, SECONDS * rate))
    return np.asarray(0.2 * (walk - walk.mean()) / np.abs(walk - walk.mean()).max())


def _speech(gap_s: float, *, backwards: bool = False) -> Callable[[int], Samples]:
    """Join the demo's clips, with gaps between."""

    def make(rate: int) -> Samples:
        said, length = [], 0
        for path in sorted(CLIPS.iterdir()) * 9:
            samples, own = soundfile.read(path)
            at = np.arange(0, len(samples), own / rate)
            said += [np.interp(at, np.arange(len(samples)), samples), np.zeros(int(gap_s * rate))]
            length += len(said[-2]) + len(said[-1])
            if length >= SECONDS * rate:
                break
        joined = np.concatenate(said)[: SECONDS * rate]
        return joined[::-1] if backwards else joined

    return make


KINDS: dict[str, Callable[[int], Samples]] = {
    "digital silence": lambda rate: np.zeros(SECONDS * rate),
    "constant": lambda rate: np.full(SECONDS * rate, 0.5),
    "noise at -81 dB": _noise(3 / 32768),
    "noise at -50 dB": _noise(100 / 32768),
    "noise at -21 dB": _noise(0.09),
    "noise at full scale": _noise(1.0),
    "brown noise": _brown,
    "tone of 440 Hz": _tone(440),
    "square of 100 Hz": _tone(100, np.sign),
    "mains hum": _tone(50),
    "clicks, 4 a second": _pulses(0.25),
    "clicks, 1 a second": _pulses(1.0),
    "clicks, every 4.9 s": _pulses(4.9),
    "syllables of a buzz": _syllables,
    "sweep": _sweep,
    "speech without a gap": _speech(0.0),
    "speech with gaps of 0.4 s": _speech(0.4),
    "speech with gaps of 2 s": _speech(2.0),
    "speech backwards": _speech(0.0, backwards=True),
}

LAYOUTS: dict[str, tuple[str, str | None, int, int]] = {
    "FLAC 16 kHz": ("FLAC", "PCM_16", 16_000, 1),
    "FLAC 192 kHz, 8 channels": ("FLAC", "PCM_16", 192_000, 8),
    "WAV 8 kHz": ("WAV", "ULAW", 8_000, 1),
    "Ogg 48 kHz": ("OGG", "OPUS", 48_000, 1),
    "MP3 44.1 kHz": ("MP3", None, 44_100, 1),
}


PHONES = ("m4a", "amr", "3gp, aac", "webm")
"""Layouts of `tests.capture.speech.recordings`."""

_CLAIMS = (10**6, 10**7, 10**8, 10**9)


def phoned(kind: str, layout: str) -> bytes:
    """Write one kind of sound as a phone does."""
    return recordings.written(KINDS[kind](16_000).astype(np.float32), layout)


def encoded(samples: Samples, layout: str) -> bytes:
    """Write samples in one layout, a second at a time: many channels would not fit otherwise."""
    form, subtype, rate, channels = LAYOUTS[layout]
    out = io.BytesIO()
    with soundfile.SoundFile(out, "w", rate, channels, subtype, format=form) as file:
        for start in range(0, len(samples), rate):
            part = np.clip(samples[start : start + rate], -1, 1)
            file.write(np.repeat(part[:, None], channels, axis=1).astype(np.float32))
    return out.getvalue()


def written(kind: str, layout: str) -> bytes:
    """Write one kind of sound in one layout."""
    return encoded(KINDS[kind](LAYOUTS[layout][2]), layout)


def sounds() -> dict[str, Callable[[], bytes]]:
    """List every kind in every layout."""
    made: dict[str, Callable[[], bytes]] = {
        f"{kind}, {layout}": partial(written, kind, layout) for layout in LAYOUTS for kind in KINDS
    }
    made |= {f"{kind}, {layout}": partial(phoned, kind, layout) for layout in PHONES for kind in KINDS}
    made |= {f"a table that claims {count:,} samples, m4a": partial(recordings.claiming, count) for count in _CLAIMS}
    return made

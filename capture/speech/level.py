"""How loud the speech of a clip is over the noise around it, from frame energies alone."""

from __future__ import annotations

import numpy as np

from capture.speech.audio import RATE

FRAME = RATE // 50
"""Samples of a frame: 20 ms, shorter than a syllable."""

MAX_OVER_NOISE_DB = 60.0
"""Largest ratio reported, dB: beyond it a room and a microphone add no trouble."""

_LOUD, _QUIET = 95, 10  # percentiles of the frames: the vowels, and the gaps
_VOWEL = 90  # percentile of a word's frames: its vowels


class LevelMeter:
    """Takes samples as they come and tells speech over noise at any time."""

    def __init__(self) -> None:
        """Begin with nothing heard."""
        self._rest = np.zeros(0, dtype="<i2")
        self._levels: list[np.ndarray[tuple[int, ...], np.dtype[np.float64]]] = []

    def add(self, pcm: bytes) -> None:
        """Take 16 kHz mono samples, signed 16 bit, little endian; an even number of bytes."""
        samples = np.concatenate([self._rest, np.frombuffer(pcm, dtype="<i2")])
        whole = len(samples) // FRAME * FRAME
        self._rest = samples[whole:]
        frames = samples[:whole].reshape(-1, FRAME).astype(np.float64)
        self._levels.append(10 * np.log10((frames**2).mean(axis=1) + 1.0))  # + 1: digital silence has no log

    def over_noise(self) -> float:
        """Measure from the quiet frames to the loud ones, dB, 0 to `MAX_OVER_NOISE_DB`; 0 before a whole frame."""
        levels = np.concatenate(self._levels) if self._levels else np.zeros(0)
        if not len(levels):
            return 0.0
        loud, low = np.percentile(levels, [_LOUD, _QUIET])
        return float(min(max(loud - low, 0.0), MAX_OVER_NOISE_DB))

    def between(self, start_s: float, end_s: float) -> float:
        """Measure how loud the louder part of a word is, dB of the smallest sample; 0 where nothing was taken.

        Args:
            start_s: Where it begins, s from the first sample.
            end_s: Where it ends.
        """
        levels = np.concatenate(self._levels) if self._levels else np.zeros(0)
        first = int(start_s * RATE / FRAME)
        word = levels[first : max(first + 1, int(np.ceil(end_s * RATE / FRAME)))]
        return float(np.percentile(word, _VOWEL)) if len(word) else 0.0

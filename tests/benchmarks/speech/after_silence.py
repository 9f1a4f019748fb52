"""A vocabulary phrase after three seconds of silence or noise: does the wait cost a word?

Each clip is heard with and without the wait before it, whole (as a file) and live and hands-free, where an utterance
ends when the recogniser says so and the next begins. Words are lost when the wait makes more errors than without.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from capture.speech.audio import RATE
from capture.speech.recogniser import SpeechModel
from capture.speech.stream import Listener
from fixtures.training.speech_model.clips import Clip
from fixtures.training.speech_model.conditions import around, loudness, samples, shop_noise
from fixtures.training.speech_model.measure import edits
from tests.benchmarks.speech.engines import chunks
from tests.benchmarks.speech.run import loaded

WAIT_S = 3.0


@dataclass(frozen=True)
class Lost:
    """Clips heard, words said, words lost to the wait, and the clips in which that was."""

    clips: int = 0
    words: int = 0
    lost: int = 0
    examples: tuple[str, ...] = ()

    def __add__(self, other: Lost) -> Lost:
        return Lost(
            self.clips + other.clips,
            self.words + other.words,
            self.lost + other.lost,
            self.examples + other.examples,
        )


@dataclass(frozen=True)
class Task:
    """One clip of the held-out voices, by number."""

    number: int
    model: Path | None = None


def measure(task: Task) -> dict[str, Lost]:
    """Count lost words of one clip, by kind of wait and way of hearing."""
    speech, clip = _model(task.model), loaded("said-kokoro")[task.number]
    said = " ".join(clip.words).replace("_", " ").split()
    table: dict[str, Lost] = {}
    for wait in ("silence", "digital zero", "noise at 10 dB"):
        with_wait, without = _sounds(clip, wait, task.number)
        for way, hear in (("whole", _whole), ("live, hands-free", _live)):
            heard = hear(with_wait, speech)
            wrong = edits(said, heard)
            usual = hear(without, speech) if wrong else said
            more = max(0, wrong - edits(said, usual))
            example = (f"{' '.join(usual)} → {' '.join(heard)}",) if more else ()
            table[f"{wait}, {way}"] = Lost(1, len(said), more, example)
    return table


@cache
def _model(path: Path | None) -> SpeechModel:
    return SpeechModel(path)


def _sounds(clip: Clip, wait: str, seed: int) -> tuple[bytes, bytes]:
    """Make the clip with the wait, and the very same without it."""
    rng = np.random.default_rng([3, seed])
    sound, length = around(clip.samples, rng), int(WAIT_S * RATE)
    if wait == "noise at 10 dB":
        noise = shop_noise(rng, length + len(sound))
        level = loudness(sound) * 10 ** (-10 / 20)
        long = np.concatenate([np.zeros(length), sound]) + noise * level
        return samples(long), samples(long[length:])
    before = np.zeros(length) if wait == "digital zero" else rng.normal(0, 3, length)
    return samples(np.concatenate([before, sound])), samples(sound)


def _whole(pcm: bytes, model: SpeechModel) -> list[str]:
    return model.hear(pcm).text.replace("[unk]", "").split()


def _live(pcm: bytes, model: SpeechModel) -> list[str]:
    words: list[str] = []
    listener = Listener(model)
    for piece in chunks(pcm):
        listener.accept(piece)
        if listener.ended:
            words += listener.finish().heard.text.split()
            listener = Listener(model)
    words += listener.finish().heard.text.split()
    return [word for word in words if word != "[unk]"]

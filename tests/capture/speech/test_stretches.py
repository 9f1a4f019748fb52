"""What a stretch of sound may cost: no stretch grows without end, and silence is decoded once, not twice."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from capture.speech.audio import RATE, load_clip
from capture.speech.hearing import RecogniserStream, quiet
from capture.speech.recogniser import SpeechModel

CLIP = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"


class Counting:
    """Stands in for the engine: says when a pause was found, and notes how long each stretch became."""

    def __init__(self, *, words: str = "", pause_after: float | None = None) -> None:
        self.words = words
        self.pause_after = pause_after
        self.fed = 0.0
        self.stretches: list[float] = []
        self.stretch = 0.0

    def AcceptWaveform(self, pcm: bytes) -> bool:  # noqa: N802 - the engine's own name
        self.stretch += len(pcm) / 2 / RATE
        self.fed += len(pcm) / 2 / RATE
        return self.pause_after is not None and self.stretch >= self.pause_after

    def PartialResult(self) -> str:  # noqa: N802
        return json.dumps({"partial": self.words})

    def Result(self) -> str:  # noqa: N802
        self.stretches.append(self.stretch)
        self.stretch = 0.0
        return json.dumps({"text": ""})

    FinalResult = Result


@pytest.mark.parametrize("size", [3200, 16_000, 59 * 2 * RATE])
def test_silence_is_let_go_every_few_seconds_and_decoded_once(size: int) -> None:
    first, others = Counting(pause_after=5.0), Counting()
    stream = RecogniserStream(first, others)
    pcm = bytes(59 * 2 * RATE)
    for at in range(0, len(pcm), size):
        stream.accept(pcm[at : at + size])
    stream.finish()
    assert max(first.stretches) <= 10.5
    assert others.fed <= 11


def test_noise_without_a_pause_is_cut(speech: SpeechModel) -> None:
    first, others = Counting(words="[unk]"), Counting()
    RecogniserStream(first, others).accept(bytes(59 * 2 * RATE))
    assert max(first.stretches) <= 30.5
    assert max(others.stretches) <= 30.5


def test_a_short_clip_is_heard_as_one_whatever_pauses_are_in_it() -> None:
    first = Counting(words="one", pause_after=0.5)
    stream = RecogniserStream(first)
    stream.accept(bytes(9 * 2 * RATE))
    assert len(first.stretches) == 1, "only the end of what came at once"


def test_ten_minutes_of_a_quiet_room_keep_no_sound() -> None:
    stream = RecogniserStream(Counting(pause_after=5.0), Counting())
    block = quiet(0.1)
    for _ in range(6_000):
        stream.accept(block)
    assert len(stream._behind) < 11 * 2 * RATE
    assert not stream.ended


@pytest.mark.parametrize("seconds", [4.7, 5.1, 12.0, 31.3])
def test_words_after_a_long_silence_are_heard_with_their_own_times(speech: SpeechModel, seconds: float) -> None:
    pcm = load_clip(sorted(CLIP.iterdir())[10].read_bytes()).pcm
    alone, after = speech.hear(pcm), speech.hear(quiet(seconds) + pcm)
    assert after.text == alone.text
    for one, other in zip(after.words, alone.words, strict=True):
        assert one.start - seconds == pytest.approx(other.start, abs=0.1)
        assert one.confidence == pytest.approx(other.confidence, abs=0.1)
    assert after.alternatives[0].text == alone.alternatives[0].text


def test_words_on_both_sides_of_a_long_pause_are_heard(speech: SpeechModel) -> None:
    first, second = (load_clip(sorted(CLIP.iterdir())[number].read_bytes()).pcm for number in (10, 11))
    noise = np.random.default_rng(3).normal(0, 20, 20 * RATE).round().astype("<i2").tobytes()
    heard = speech.hear(first + noise + second)
    assert heard.text == f"{speech.hear(first).text} {speech.hear(second).text}"

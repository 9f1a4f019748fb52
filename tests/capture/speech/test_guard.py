"""Hearing must not get worse unseen: 52 fixed clips by voices that no training heard, clean and at 10 dB of shop noise.

`fixtures.training.speech_model.guard` wrote them. The floors stand a few clips below what was measured when they were
set (the numbers beside them), since vosk rounds otherwise on other processors; a floor is raised when a better model
ships.
"""

from __future__ import annotations

import pytest

from capture.speech.recogniser import SpeechModel
from fixtures.training.speech_model.clips import Clip
from fixtures.training.speech_model.conditions import condition
from fixtures.training.speech_model.guard import TAKEN, read
from tests.benchmarks.speech.engines import Ours
from tests.benchmarks.speech.score import Score, score


class Loaded(Ours):
    """Our engine with a model that is loaded already."""

    def __init__(self, model: SpeechModel) -> None:
        self.model = model


@pytest.fixture(scope="module")
def guard() -> list[Clip]:
    return read()


def heard(guard: list[Clip], speech: SpeechModel, source: str, noise: str) -> list[Score]:
    told = [clip for clip in guard if clip.name.startswith(source)]
    assert len(told) == TAKEN[source]
    hearer = Loaded(speech)
    return [
        score("ours", noise, clip, hearer.hear(condition(noise, clip.samples, clip.samples, number)))
        for number, clip in enumerate(told)
    ]


FLOORS = [
    ("said-kokoro", "clean", 24, 1),  # measured 25 of 26, one wrong unasked: thirteen taken for fifteen
    ("said-kokoro", "10 dB", 22, 2),  # measured 24 of 26, none wrong unasked
    ("said-flite", "clean", 6, 2),  # measured 7 of 13; 10 by the model before, which had not learnt from real people
    ("said-espeak", "clean", 7, 1),  # measured 8 of 13, none wrong unasked
]


@pytest.mark.parametrize(("source", "noise", "floor", "unasked"), FLOORS)
def test_values_are_heard(
    guard: list[Clip], speech: SpeechModel, source: str, noise: str, floor: int, unasked: int
) -> None:
    scores = heard(guard, speech, source, noise)
    misheard = [f"{one.words} -> {one.text}" for one in scores if not one.value]
    assert sum(one.value for one in scores) >= floor, misheard
    assert sum(one.wrong for one in scores) <= unasked, misheard
    assert not any(one.confused for one in scores), misheard

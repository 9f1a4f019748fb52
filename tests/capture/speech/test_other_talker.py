"""Words much quieter than the rest may be somebody else's: then nothing is taken without a question."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from capture.reading import Command, Context, Doubt, Heard, Word
from capture.speech.confidence import ConfidenceModel
from capture.speech.features import FEATURES
from capture.speech.level import LevelMeter
from capture.speech.other_talker import QUIETER_DB, may_be_another_talkers
from capture.speech.recogniser import SpeechModel
from capture.speech.understand import understand
from fixtures.training.speech_model.answers import silently_wrong
from fixtures.training.speech_model.conditions import around, mixed, samples
from fixtures.training.speech_model.guard import read
from grading.terms.quantity import QuantityKind

IR = Context(kind=QuantityKind.INSULATION_RESISTANCE)
CERTAIN = ConfidenceModel(weights=(0.0,) * len(FEATURES), bias=9.0)


def said(*words: tuple[str, float], seconds: float = 0.3) -> Heard:
    """Make a hearing of words with their levels, dB."""
    made = tuple(Word(word, at * seconds, (at + 1) * seconds, 1.0) for at, (word, _) in enumerate(words))
    return Heard(" ".join(word for word, _ in words), made, (), 9.0, 40.0, levels_db=tuple(level for _, level in words))


def test_a_level_is_that_of_a_tone_between_two_times() -> None:
    """A sine of amplitude a has the power a²/2; the second one is a tenth as high, so 20 dB below."""
    at = np.arange(16_000) / 16_000
    tones = [height * np.sin(2 * np.pi * 440 * at) for height in (10_000, 1_000)]
    meter = LevelMeter()
    pcm = np.concatenate(tones).astype("<i2").tobytes()
    for begin in range(0, len(pcm), 1234):
        meter.add(pcm[begin : begin + 1234])
    assert meter.between(0.1, 0.9) == pytest.approx(10 * math.log10(10_000**2 / 2), abs=0.1)
    assert meter.between(0.1, 0.9) - meter.between(1.1, 1.9) == pytest.approx(20, abs=0.1)
    assert meter.between(7.0, 8.0) == LevelMeter().between(0.0, 1.0) == 0.0


def test_a_quiet_word_may_be_another_talkers_but_not_a_short_one_nor_the_unit_at_the_end() -> None:
    loud, quiet = 70.0, 70.0 - QUIETER_DB - 1
    assert may_be_another_talkers(said(("picture", quiet), ("fourteen", loud), ("meg", loud)))
    assert not may_be_another_talkers(said(("fourteen", loud), ("meg", quiet)))
    assert not may_be_another_talkers(said(("lead", loud), ("to", quiet), ("ground", loud), seconds=0.15))
    assert not may_be_another_talkers(said(("uh", quiet), ("fourteen", loud), ("meg", loud)))
    assert not may_be_another_talkers(said(("fourteen", loud), ("meg", loud - QUIETER_DB + 1), ("again", loud)))
    assert not may_be_another_talkers(Heard("fourteen meg", said(("fourteen", loud), ("meg", quiet)).words))


def test_what_may_be_another_talkers_is_asked_about_and_never_acts() -> None:
    reading = understand(
        said(("five", 70.0), ("meg", 70.0), ("after", 70.0), ("ten", 70.0), ("minutes", 50.0)), IR, CERTAIN
    )
    assert reading.readings
    assert reading.doubts == (Doubt.LOW_CONFIDENCE,)
    alike = said(("confirm", 70.0), ("confirm", 69.0))
    assert understand(alike, IR, CERTAIN).command is Command.CONFIRM
    assert understand(said(("confirm", 70.0), ("confirm", 50.0)), IR, CERTAIN).command is None


def test_beside_a_second_talker_fifteen_decibel_down_nothing_wrong_is_taken(speech: SpeechModel) -> None:
    """The outside source is the truth that the fixed clips were made from; the other says the seventh after it."""
    told = [clip for clip in read() if clip.name.startswith("said-kokoro")]
    wrong = {"with levels": 0, "without": 0}
    for number, clip in enumerate(told):
        other = told[(number + 7) % len(told)].samples.astype(np.float64)
        sound = around(clip.samples, np.random.default_rng(number))
        heard = speech.hear(samples(mixed(sound, other, 15)))
        assert len(heard.levels_db) == len(heard.words)
        for name, one in (("with levels", heard), ("without", replace(heard, levels_db=()))):
            taken = understand(one, None, speech.confidence_model)
            wrong[name] += silently_wrong(taken, clip.words, clip.truth)
    assert wrong["with levels"] == 0 < wrong["without"]

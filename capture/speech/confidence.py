"""How likely an utterance was understood rightly, and what follows from it: take it, ask about it, or leave it.

The coefficients of a logistic regression lie beside the model they were fitted for (`calibration.json`, written by
`fixtures.training.speech_model.calibrate`). A model without them is judged by rules: the less sure of its least sure
word and of the meaning.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from capture.reading import Doubt, Utterance
from capture.speech.candidates import Beliefs, least_sure
from capture.speech.errors import CoefficientsUnusable
from capture.speech.features import NAMES, signs
from capture.speech.model_files import default_model_path

FILE = "calibration.json"
"""Name of the coefficients in a model's directory."""

SURE_WORD = 0.6
"""By rules: a reading with a less sure word is asked about."""

SURE_MEANING = 0.7
"""By rules: a reading on which less of the belief lies is asked about, a command is not taken."""

LEAST = 0.35
"""By rules: below this nothing is taken as heard, not even to be asked about: talk or noise."""

SAME_MEANING = 0.95
"""By rules: where this share of the belief means one thing, and other wordings account for the unsure word, it is
unsure of its form only ("confirm" or "confirmed") and counts as sure as the meaning."""


@dataclass(frozen=True)
class HearingVerdict:
    """What is to be done with an utterance.

    Attributes:
        confidence: Chance that it was understood rightly, 0..1.
        sure: It needs no question on account of its hearing; a command may act.
        heard: It is good enough to be offered at all.
    """

    confidence: float
    sure: bool
    heard: bool


@dataclass(frozen=True)
class Judge:
    """Judges by rules.

    Attributes:
        weights: Weight of each sign, by name; empty for the rules.
        bias: Added to the weighted signs.
        sure_reading: Chance from which a reading is not asked about.
        sure_command: Chance from which a command, axis, test point or test voltage is taken: these act at once.
        least: Chance below which a reading is not even offered.
    """

    weights: tuple[float, ...] = ()
    bias: float = 0.0
    sure_reading: float = 0.0
    sure_command: float = 0.0
    least: float = 0.0

    def judge(self, utterance: Utterance, found: Beliefs) -> HearingVerdict:
        """Judge one utterance.

        Args:
            utterance: What its words mean.
            found: Where the belief lies.
        """
        if not self.weights:
            return _by_rules(utterance, found)
        chance = probability(self.weights, self.bias, signs(utterance, found))
        enough = self.sure_reading if utterance.readings else self.sure_command
        return HearingVerdict(chance, chance >= enough, chance >= self.least)


def probability(weights: tuple[float, ...], bias: float, found: tuple[float, ...]) -> float:
    """The logistic function of weighted signs."""
    total = bias + sum(weight * sign for weight, sign in zip(weights, found, strict=True))
    return 1 / (1 + math.exp(-min(max(total, -30.0), 30.0)))


def _by_rules(utterance: Utterance, found: Beliefs) -> HearingVerdict:
    word = least_sure(utterance.heard.words)
    if found.meaning >= SAME_MEANING and found.wording <= word + 0.1:
        word = found.meaning
    confidence = min(word, found.meaning)
    if utterance.readings:
        talk = Doubt.UNKNOWN_WORDS in utterance.doubts and confidence < SURE_WORD
        sure = word >= SURE_WORD and found.meaning >= SURE_MEANING
        return HearingVerdict(confidence, sure, confidence >= LEAST and not talk)
    return HearingVerdict(confidence, confidence >= SURE_MEANING, heard=True)


def load_judge(model: Path) -> Judge:
    """The judge of a model: by its coefficients, or by rules where it has none.

    Args:
        model: The model's directory.

    Raises:
        ModelError: "model_damaged": the coefficients are there and cannot be used.
    """
    file = model / FILE
    if not file.is_file():
        return Judge()
    try:
        return _from_data(json.loads(file.read_text("utf-8")))
    except (ValueError, KeyError, TypeError) as error:
        raise CoefficientsUnusable(file=file, cause=str(error)) from None


def _from_data(data: Mapping[str, Any]) -> Judge:
    if tuple(data["weights"]) != NAMES:
        raise ValueError("it was made for other signs")
    numbers = [*data["weights"].values(), data["bias"], *data["thresholds"].values()]
    if not all(isinstance(number, int | float) and math.isfinite(number) for number in numbers):
        raise ValueError("it holds values that are no numbers")
    return Judge(tuple(data["weights"].values()), data["bias"], **data["thresholds"])


@cache
def shipped_judge() -> Judge:
    """The judge of the default model, read once."""
    return load_judge(default_model_path())

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

from capture.errors import ModelError
from capture.reading import Doubt, Utterance
from capture.speech.candidates import Ranking, least_confidence
from capture.speech.features import FEATURES, features
from capture.speech.model_files import default_model_path

FILE = "calibration.json"
"""Name of the coefficients in a model's directory."""

ACCEPTED_WORD = 0.6
"""By rules: a reading with a less sure word is asked about."""

ACCEPTED_MEANING = 0.7
"""By rules: a reading on which less of the belief lies is asked about, a command is not taken."""

MIN_OFFERED = 0.35
"""By rules: below this nothing is taken as heard, not even to be asked about: talk or noise."""

DOMINANT_MEANING = 0.95
"""By rules: where this share of the belief means one thing, and other wordings account for the unsure word, it is
unsure of its form only ("confirm" or "confirmed") and counts as sure as the meaning."""


@dataclass(frozen=True)
class HearingConfidence:
    """What is to be done with an utterance.

    Attributes:
        confidence: Chance that it was understood rightly, 0..1.
        accepted: It needs no question on account of its hearing; a command may act.
        offered: It is good enough to be offered at all.
    """

    confidence: float
    accepted: bool
    offered: bool


@dataclass(frozen=True)
class ConfidenceModel:
    """Judges by rules.

    Attributes:
        weights: Weight of each sign, by name; empty for the rules.
        bias: Added to the weighted signs.
        accept_reading: Chance from which a reading is not asked about.
        accept_command: Chance from which a command, axis, test point or test voltage is taken: these act at once.
        least: Chance below which a reading is not even offered.
    """

    weights: tuple[float, ...] = ()
    bias: float = 0.0
    accept_reading: float = 0.0
    accept_command: float = 0.0
    offer: float = 0.0

    def assess(self, utterance: Utterance, found: Ranking) -> HearingConfidence:
        """Judge one utterance.

        Args:
            utterance: What its words mean.
            found: Where the belief lies.
        """
        if not self.weights:
            return _by_rules(utterance, found)
        chance = probability(self.weights, self.bias, features(utterance, found))
        enough = self.accept_reading if utterance.readings else self.accept_command
        return HearingConfidence(chance, chance >= enough, chance >= self.offer)


def probability(weights: tuple[float, ...], bias: float, found: tuple[float, ...]) -> float:
    """Give the probability that this head is right, 0..1."""
    total = bias + sum(weight * sign for weight, sign in zip(weights, found, strict=True))
    return 1 / (1 + math.exp(-min(max(total, -30.0), 30.0)))


def _by_rules(utterance: Utterance, found: Ranking) -> HearingConfidence:
    word = least_confidence(utterance.heard.words)
    if found.meaning >= DOMINANT_MEANING and found.wording <= word + 0.1:
        word = found.meaning
    confidence = min(word, found.meaning)
    if utterance.readings:
        talk = Doubt.UNKNOWN_WORDS in utterance.doubts and confidence < ACCEPTED_WORD
        accepted = word >= ACCEPTED_WORD and found.meaning >= ACCEPTED_MEANING
        return HearingConfidence(confidence, accepted, confidence >= MIN_OFFERED and not talk)
    return HearingConfidence(confidence, confidence >= ACCEPTED_MEANING, offered=True)


def load_confidence_model(model: Path) -> ConfidenceModel:
    """Load the confidence model of a speech model: its coefficients, or the rules where it has none.

    Args:
        model: The model's directory.

    Raises:
        ModelError: "model_damaged": the coefficients are there and cannot be used.
    """
    file = model / FILE
    if not file.is_file():
        return ConfidenceModel()
    try:
        return _from_data(json.loads(file.read_text("utf-8")))
    except (ValueError, KeyError, TypeError) as error:
        raise ModelError(
            "model_damaged", f"{file} cannot be used ({error}). Copy the model again, or remove that file."
        ) from None


def _from_data(data: Mapping[str, Any]) -> ConfidenceModel:
    if tuple(data["weights"]) != FEATURES:
        raise ValueError("it was made for other signs")
    numbers = [*data["weights"].values(), data["bias"], *data["thresholds"].values()]
    if not all(isinstance(number, int | float) and math.isfinite(number) for number in numbers):
        raise ValueError("it holds values that are no numbers")
    return ConfidenceModel(tuple(data["weights"].values()), data["bias"], **data["thresholds"])


@cache
def shipped_confidence_model() -> ConfidenceModel:
    """Load the confidence model of the default speech model, once."""
    return load_confidence_model(default_model_path())

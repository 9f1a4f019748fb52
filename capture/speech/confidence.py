"""The probability that an utterance was understood rightly, and what follows: accept it, ask about it, or drop it.

The coefficients of a logistic regression lie beside the model they were fitted for (`calibration.json`, written by
`fixtures.training.speech_model.calibrate`). A model without them goes by rules: its confidence is the lesser of the
least word confidence and the meaning's posterior.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from capture.language.numbers import TWINS
from capture.reading import Doubt, Utterance
from capture.speech.candidates import DOUBT_COST, Ranking, least_confidence
from capture.speech.errors import CoefficientsUnusable
from capture.speech.features import FEATURES, JUDGED_FEATURES, features
from capture.speech.model_files import default_model_path
from capture.speech.second_opinion.judge import Weights

FILE = "calibration.json"
"""Name of the coefficients in a model's directory."""

ACCEPTED_WORD = 0.6
"""By rules: a reading with a word of less confidence is asked about (program's rule)."""

ACCEPTED_MEANING = 0.7
"""By rules: a reading whose meaning has a smaller posterior is asked about, a command is not taken (program's rule)."""

MIN_OFFERED = 0.35
"""By rules: below this nothing is offered, not even to be asked about: it is talk or noise (program's rule)."""

MOST_BEHIND = 2.5
"""By rules: what lies further behind the second engine's own transcript, in log probability a token, is talk. Of
readings set aside 5 % lie further, of talk taken for a reading 90 %."""

DOMINANT_MEANING = 0.95
"""By rules: where one meaning has this posterior, and other wordings account for the doubtful word, only its form is in
doubt ("confirm" or "confirmed"), and the word counts with the posterior of the meaning."""


BACKED = 0.5
"""A command, place or setting that both engines hear alike acts where one engine alone holds it for at least this
likely, though it would not act by that one. Of 288 such lines set aside 280 act instead of 276, at 5 dB of voices kept
apart 29 of 35 instead of 27, and no wrong one more."""


@dataclass(frozen=True)
class HearingConfidence:
    """What is to be done with an utterance, and why.

    Attributes:
        confidence: Probability that it was understood rightly, 0..1.
        accepted: It needs no question on account of its hearing; a command may act.
        offered: It is likely enough to be offered at all.
    """

    confidence: float
    accepted: bool
    offered: bool


@dataclass(frozen=True)
class ConfidenceModel:
    """A logistic regression with thresholds; without weights, the rules.

    Attributes:
        weights: Weight of each feature, in the order of `FEATURES`; empty for the rules.
        bias: Added to the weighted features.
        accept_reading: Probability from which a reading is not asked about.
        accept_command: Probability from which a command, axis, test point or test voltage is taken: these act at once.
        offer: Probability below which a reading is not even offered.
        doubt_cost: What a doubt about its words costs an alternative; see `capture.speech.candidates`.
        judged: The model for utterances that a second engine was asked about; None for this one.
    """

    weights: tuple[float, ...] = ()
    bias: float = 0.0
    accept_reading: float = 0.0
    accept_command: float = 0.0
    offer: float = 0.0
    doubt_cost: float = DOUBT_COST
    judged: ConfidenceModel | None = None

    def assess(self, utterance: Utterance, found: Ranking) -> HearingConfidence:
        """Give the confidence in one utterance, and what is to be done with it.

        Args:
            utterance: What its words mean.
            found: How its candidates rank.
        """
        if not self.weights:
            return _by_rules(utterance, found)
        if found.opinion is not None and self.judged is not None:
            judged = self.judged.assess(utterance, found)
            alone = self.assess(utterance, replace(found, opinion=None))
            if not utterance.readings:
                # What acts at once is taken as it was with one engine, unless the second one hears something else; and,
                # as in noise, where both hear the same and one alone is not against it.
                backed = alone.accepted or (found.opinion.agree and alone.confidence >= BACKED)
                return replace(judged, accepted=judged.accepted and backed)
            if not any(word.word in TWINS for word in utterance.heard.words):
                return judged
            # The second engine does not tell -teen from -ty: its word counts against such a reading, never for it.
            return min(judged, alone, key=lambda one: (one.offered, one.accepted, one.confidence))
        likely = probability(self.weights, self.bias, features(utterance, found)[: len(self.weights)])
        enough = self.accept_reading if utterance.readings else self.accept_command
        # A value that the two engines disagree on is for a person to decide, however sure the sum of both looks.
        disagree = bool(utterance.readings) and found.opinion is not None and not found.opinion.agree
        return HearingConfidence(likely, likely >= enough and not disagree, likely >= self.offer)


def probability(weights: tuple[float, ...], bias: float, found: tuple[float, ...]) -> float:
    """Give the probability that this head is right, 0..1."""
    total = bias + sum(weight * feature for weight, feature in zip(weights, found, strict=True))
    # Within ±30 exp() cannot overflow, and beyond it the probability is 0 or 1 to twelve places anyway.
    return 1 / (1 + math.exp(-min(max(total, -30.0), 30.0)))


def _by_rules(utterance: Utterance, found: Ranking) -> HearingConfidence:
    word = least_confidence(utterance.heard.words)
    if found.meaning >= DOMINANT_MEANING and found.wording <= word + 0.1:
        word = found.meaning
    confidence = min(word, found.meaning)
    if found.opinion is not None and found.opinion.behind > MOST_BEHIND:
        return HearingConfidence(min(confidence, MIN_OFFERED), accepted=False, offered=False)
    if utterance.readings:
        # Unknown words around a doubtful reading are talk that happened to hold a number.
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
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise CoefficientsUnusable(file=file, cause=str(error)) from None


def load_weights(model: Path) -> Weights:
    """Load how a second engine's score is put together with that of a speech model: as fitted for it, or the usual way.

    Args:
        model: The model's directory.

    Raises:
        ModelError: "model_damaged": the coefficients are there and cannot be used.
    """
    file = model / FILE
    try:
        told = json.loads(file.read_text("utf-8")).get("second_opinion") if file.is_file() else None
        names = ("weight", "own_cost", "apart_cost")
        return Weights() if told is None else Weights(*(float(told[name]) for name in names))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise CoefficientsUnusable(file=file, cause=str(error)) from None


def _from_data(data: Mapping[str, Any]) -> ConfidenceModel:
    judged = data.get("second_opinion", {}).get("confidence")
    return replace(_fitted(data, FEATURES), judged=None if judged is None else _fitted(judged, JUDGED_FEATURES))


def _fitted(data: Mapping[str, Any], names: tuple[str, ...]) -> ConfidenceModel:
    if tuple(data["weights"]) != names:
        raise ValueError("it was made for other features")
    numbers = [*data["weights"].values(), data["bias"], *data["thresholds"].values()]
    if not all(isinstance(number, int | float) and math.isfinite(number) for number in numbers):
        raise ValueError("it holds values that are no numbers")
    return ConfidenceModel(tuple(data["weights"].values()), data["bias"], **data["thresholds"])


@cache
def shipped_confidence_model() -> ConfidenceModel:
    """Load the confidence model of the default speech model, once."""
    return load_confidence_model(default_model_path())

"""How likely digits, point and unit of one display are right: measured, instead of what the networks say of themselves.

A network that says 0.98 is not right 98 times of 100. So rendered photos with known content were read
(`python -m fixtures.training.display_model gather`), and for each of the three heads a logistic regression on ramps
(pieces of a feature) was fitted from the features to whether the head was right (`fit`). The coefficients lie in
`models/calibration.json` with the seeds, the networks that they belong to and the thresholds. More confidence in a
mark never makes a head less likely to be right: the fit allows no such coefficient (`features.DIRECTIONS`).
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from capture.display.errors import CalibrationIncomplete, CalibrationNotLoaded
from capture.display.features import DisplayLooks, asked_features, features
from capture.display.second_opinion.opinion import PrintSeen
from grading.terms.quantity import UNITS

FILE = Path(__file__).parent / "models" / "calibration.json"
HEADS = ("value", "dot", "unit")
"""What is rated apart: digits with sign, points, unit."""
ASKED = "asked"
"""Digits and points together, where a second reader was asked; fitted on top, so that nothing changes without one."""


@dataclass(frozen=True)
class ConfidenceHead:
    """The regression of one head.

    Attributes:
        ramps: Feature, low, high, weight: log odds for each unit that the feature lies above `low`, up to `high`.
        bias: Log odds with all ramps at 0.
        threshold: Probability from which the head is accepted; "value" and "dot" share one, for their product.
    """

    ramps: tuple[tuple[str, float, float, float], ...]
    bias: float
    threshold: float

    def probability(self, values: dict[str, float]) -> float:
        """Give the probability that this head is right, 0..1.

        Raises:
            KeyError: A feature is missing.
        """
        odds = self.bias + sum(
            weight * (min(max(values[name], low), high) - low) for name, low, high, weight in self.ramps
        )
        return 1.0 / (1.0 + math.exp(-min(max(odds, -30.0), 30.0)))


@lru_cache(maxsize=4)
def calibration(path: Path = FILE) -> dict[str, ConfidenceHead]:
    """Load the regressions by head; each file is read once.

    Raises:
        EngineError: The file is missing or damaged.
    """
    try:
        data: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        heads = {
            name: ConfidenceHead(
                tuple((str(name), float(low), float(high), float(w)) for name, low, high, w in one["ramps"]),
                float(one["bias"]),
                float(one["threshold"]),
            )
            for name, one in data["heads"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise CalibrationNotLoaded(file=path.name) from error
    if set(heads) not in (set(HEADS), {*HEADS, ASKED}):
        raise CalibrationIncomplete(file=path.name)
    return heads


def probabilities(evidence: DisplayLooks) -> dict[str, float]:
    """Give the probabilities that "value" (digits and sign), "dot" and "unit" are right, 0..1; all 0 without a string.

    Raises:
        EngineError: The calibration is missing or damaged.
    """
    if not evidence.fields.text:
        return dict.fromkeys(HEADS, 0.0)
    heads, values = calibration(), features(evidence)
    found = {name: heads[name].probability(values[name]) for name in HEADS}
    if evidence.fields.unit not in UNITS:
        found["unit"] = 0.0  # "unit_other" and "unreadable" are no unit that could be right
    return found


def asked_probability(evidence: DisplayLooks, opinion: PrintSeen, own: float) -> float:
    """Give the probability that digits and points are right, 0..1, with what a second reader says; 0 where not known.

    Args:
        evidence: What our own reader sees.
        opinion: What the second one reads.
        own: Joint probability of digits and points by our own reader alone.

    Raises:
        EngineError: The calibration is missing or damaged.
    """
    head = calibration().get(ASKED)
    return 0.0 if head is None else head.probability(asked_features(evidence, opinion, own))

"""Decides over one display: accept its reading, or refuse it with a reason that a person can act on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.display import geometry, printed, refusal
from capture.display.fields import Fields
from capture.display.strings import parse_main
from capture.reading import DisplayReading, Doubt
from grading.quantity import UNITS, Qualifier, Quantity

VALUE_SURE, DOT_SURE, UNIT_SURE, LEGIBLE = 0.80, 0.65, 0.66, 0.35
"""Certainty needed for digits, point, unit and legibility; fitted on rendered photos (see MODEL_CARD.md)."""
LEAST_SHARE = 0.17
"""The main digits of a display take at least this share of its height; smaller ones belong to a field beside it."""
RIVAL = 0.87
"""Another nameless number of at least this share of the main one's height makes it unclear which one counts."""


@dataclass(frozen=True)
class Evidence:
    """What all looks at one display gave.

    Attributes:
        fields: The marks of all looks together, arranged.
        texts: The main string of each look by itself.
        units: The main unit of each look by itself.
        legible: Mean legibility of the looks, 0..1.
        canvas: The straightened display.
        share: Height of the main digits as a share of the display's.
        digit_px: Height of the main digits in the photo, px; None without digits.
        cut: Part of the display lies outside the picture.
        quad: Corners in the photo.
    """

    fields: Fields
    texts: tuple[str, ...]
    units: tuple[str | None, ...]
    legible: float
    canvas: NDArray[np.uint8]
    share: float
    digit_px: float | None
    cut: bool
    quad: geometry.Quad


def judge(evidence: Evidence) -> DisplayReading:
    """Accept or refuse."""
    fields = evidence.fields
    known = fields.unit if fields.unit in UNITS else None
    quantity = parse_main(fields.text, known) if "?" not in fields.text else None
    confidence = _confidence(evidence)
    reason, doubts = _verdict(evidence, quantity, confidence)
    if (
        reason in (refusal.UNIT_UNSURE, refusal.TOO_SMALL)
        and known is None
        and quantity is not None
        and fields.box is not None
    ):
        suggested = printed.unit_beside(evidence.canvas, fields.box)
        quantity = replace(quantity, unit=suggested)
        doubts = (Doubt.UNIT_UNSURE if suggested else Doubt.UNIT_MISSING,)
    return DisplayReading(
        text=fields.text,
        quantity=quantity or Quantity(None, known, Qualifier.NONE),
        secondary=fields.small | dict.fromkeys(sorted(fields.flags), "on"),
        confidence=confidence,
        accepted=not reason,
        reason=reason,
        quad=tuple((float(x), float(y)) for x, y in evidence.quad),
        doubts=doubts,
    )


def _confidence(evidence: Evidence) -> dict[str, float]:
    """Certainty of digits, point and unit, 0..1: of the marks together, less where the looks differ."""
    fields = evidence.fields
    digits = fields.text.replace(".", "")
    same = float(np.mean([text.replace(".", "") == digits for text in evidence.texts]))
    units = float(np.mean([unit == fields.unit for unit in evidence.units]))
    return {
        "value": round(float(fields.value_sure) * (0.6 + 0.4 * same), 3),
        "dot": round(float(fields.dot_sure), 3),
        "unit": round(float(fields.unit_sure) * (0.6 + 0.4 * units), 3) if fields.unit in UNITS else 0.0,
    }


def _verdict(
    evidence: Evidence, quantity: Quantity | None, confidence: dict[str, float]
) -> tuple[str, tuple[Doubt, ...]]:
    """Reason for refusing ("" to accept) and doubts; the first that holds."""
    text, digit_px = evidence.fields.text, evidence.digit_px
    hint = refusal.cause(evidence.canvas, digit_px, evidence.fields.box)
    vague = hint == refusal.UNREADABLE
    unit = None if quantity is None else quantity.unit
    small = digit_px is not None and digit_px < 2.5 * refusal.LEAST_DIGIT  # units are about a third as high
    valued = quantity is not None and quantity.qualifier is not Qualifier.NONE
    checks = (
        (evidence.cut, refusal.CUT_OFF, Doubt.VALUE_MISSING),
        (not text, refusal.NO_VALUE if vague else hint, Doubt.VALUE_MISSING),
        (digit_px is not None and digit_px < refusal.LEAST_DIGIT, refusal.TOO_SMALL, Doubt.LOW_CONFIDENCE),
        (evidence.share < LEAST_SHARE, refusal.NO_VALUE if vague else hint, Doubt.VALUE_MISSING),
        ("?" in text, hint, Doubt.DIGITS_AMBIGUOUS),
        (quantity is None, refusal.NOT_A_NUMBER.format(text=text.replace("¿", "?")), Doubt.VALUE_MISSING),
        (
            confidence["value"] < VALUE_SURE or evidence.legible < LEGIBLE,
            refusal.DIGITS_UNSURE if vague else hint,
            Doubt.DIGITS_AMBIGUOUS,
        ),
        (_glare(evidence), refusal.GLARE, Doubt.DIGITS_AMBIGUOUS),
        (evidence.fields.rival > RIVAL, refusal.TWO_VALUES, Doubt.VALUE_MISSING),
        (confidence["dot"] < DOT_SURE or _point_missing(text), refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
        (valued and unit is None, refusal.TOO_SMALL if small else refusal.UNIT_UNSURE, Doubt.UNIT_MISSING),
        (valued and confidence["unit"] < UNIT_SURE, refusal.UNIT_UNSURE, Doubt.UNIT_UNSURE),
    )
    for holds, reason, doubt in checks:
        if holds:
            return reason, (doubt,)
    return "", _remaining_doubts(quantity)


def _glare(evidence: Evidence) -> bool:
    fields = evidence.fields
    return fields.box is not None and refusal.glare_beside(evidence.canvas, fields.box, fields.height)


def _point_missing(text: str) -> bool:
    """A whole number with a zero in front is shown by no meter: a point was lost (07 for 0.7)."""
    digits = text.lstrip("<>-")
    return len(digits) > 1 and digits.isdigit() and digits[0] == "0"


def _remaining_doubts(quantity: Quantity | None) -> tuple[Doubt, ...]:
    """What must be asked even about a clear reading."""
    doubts: tuple[Doubt, ...] = ()
    if quantity is None or quantity.unit is None:
        return doubts
    if quantity.qualifier is Qualifier.ABOVE and quantity.digits is None:
        doubts = (Doubt.RANGE_END_UNKNOWN,)
    below_nothing = quantity.value is not None and quantity.value < 0
    if below_nothing and UNITS[quantity.unit].dimension in ("resistance", "capacitance", "ratio"):
        doubts = (*doubts, Doubt.IMPLAUSIBLE)
    return doubts

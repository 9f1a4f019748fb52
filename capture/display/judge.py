"""Decides over one display: accept its reading, or refuse it with a reason that a person can act on.

Digits and point must be sure. A unit that is missing or unsure only raises a doubt, which a person settles by saying
the unit; a doubt of any kind blocks a bare "confirm".
"""

from __future__ import annotations

from dataclasses import replace

from capture.display import printed, refusal
from capture.display.certainty import Evidence, calibration, probabilities, second
from capture.display.fields import Fields
from capture.display.strings import parse_main
from capture.reading import DisplayReading, Doubt
from grading.quantity import UNITS, Qualifier, Quantity

LEAST_SHARE = 0.17
"""The main digits of a display take at least this share of its height; smaller ones belong to a field beside it."""
RIVAL = 0.87
"""Another nameless number of at least this share of the main one's height makes it unclear which one counts."""
LEGIBLE = 0.35
"""Mean legibility of the looks below which nothing that the finder found is accepted, however sure the digits seem.

Where a person marked the display it is known to be one (200 rendered crops: one more right, none wrong)."""
BESIDE = 0.35
"""A number of this share of the main one's height is no small field but a value of its own."""
COUNTER = 5
"""Counters with this many digits or more may show zeros in front of a whole number."""
LIKELY_UNIT = 0.5
"""A unit likelier than this, but not sure, is proposed and asked about; a less likely one is not even proposed."""


def judge(evidence: Evidence) -> DisplayReading:
    """Accept or refuse.

    Raises:
        EngineError: The calibration is missing or damaged.
    """
    fields = evidence.fields
    confidence = probabilities(evidence)
    known = fields.unit if fields.unit in UNITS and confidence["unit"] >= LIKELY_UNIT else None
    quantity = parse_main(fields.text, known) if "?" not in fields.text else None
    heads = calibration()
    reason, doubts = verdict(
        evidence,
        quantity,
        digits_sure=confidence["value"] >= heads["value"].threshold,
        point_sure=confidence["dot"] >= heads["dot"].threshold,
    )
    if not reason and quantity is not None:
        quantity, doubts = _settled_unit(evidence, quantity, confidence["unit"])
    return DisplayReading(
        text=fields.text,
        quantity=quantity or Quantity(None, known, Qualifier.NONE),
        secondary=fields.small | dict.fromkeys(sorted(fields.flags), "on"),
        confidence={name: round(value, 3) for name, value in confidence.items()},
        accepted=not reason,
        reason=reason,
        quad=tuple((float(x), float(y)) for x, y in evidence.quad),
        doubts=doubts,
    )


def verdict(
    evidence: Evidence, quantity: Quantity | None, *, digits_sure: bool, point_sure: bool
) -> tuple[str, tuple[Doubt, ...]]:
    """Reason for refusing ("" to accept) and the doubt that goes with it; the first that holds.

    Args:
        evidence: What was seen.
        quantity: What the main string means; None if it is no reading.
        digits_sure: Digits and sign are likely enough.
        point_sure: The point is likely enough.
    """
    text, digit_px = evidence.fields.text, evidence.digit_px
    hint = refusal.cause(evidence.canvas, digit_px, evidence.fields.box)
    vague = hint == refusal.UNREADABLE
    checks = (
        (evidence.cut, refusal.CUT_OFF, Doubt.VALUE_MISSING),
        (not text, refusal.NO_VALUE if vague else hint, Doubt.VALUE_MISSING),
        (digit_px is not None and digit_px < refusal.LEAST_DIGIT, refusal.TOO_SMALL, Doubt.LOW_CONFIDENCE),
        (evidence.share < LEAST_SHARE, refusal.NO_VALUE if vague else hint, Doubt.VALUE_MISSING),
        ("?" in text, hint, Doubt.DIGITS_AMBIGUOUS),
        (quantity is None, refusal.NOT_A_NUMBER.format(text=text.replace("¿", "?")), Doubt.VALUE_MISSING),
        (
            not evidence.marked and evidence.legible < LEGIBLE,
            refusal.DIGITS_UNSURE if vague else hint,
            Doubt.LOW_CONFIDENCE,
        ),
        (not digits_sure, refusal.DIGITS_UNSURE if vague else hint, Doubt.DIGITS_AMBIGUOUS),
        (_glare(evidence), refusal.GLARE, Doubt.DIGITS_AMBIGUOUS),
        (
            evidence.fields.rival > RIVAL or _humidity_alone(evidence.fields),
            refusal.TWO_VALUES,
            Doubt.VALUE_MISSING,
        ),
        (not point_sure and _point_counts(quantity), refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
        (_point_missing(text), refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
    )
    for holds, reason, doubt in checks:
        if holds:
            return reason, (doubt,)
    return "", ()


def _settled_unit(evidence: Evidence, quantity: Quantity, sure: float) -> tuple[Quantity, tuple[Doubt, ...]]:
    """The accepted reading with what must still be asked; print beside the digits may suggest a unit."""
    if quantity.qualifier is Qualifier.NONE:
        return quantity, ()
    doubts: tuple[Doubt, ...] = ()
    if quantity.unit is None:
        box = evidence.fields.box
        suggested = None if box is None else printed.unit_beside(evidence.canvas, box)
        quantity = replace(quantity, unit=suggested)
        doubts = (Doubt.UNIT_UNSURE if suggested else Doubt.UNIT_MISSING,)
    elif sure < calibration()["unit"].threshold:
        doubts = (Doubt.UNIT_UNSURE,)
    return quantity, (*doubts, *_remaining_doubts(quantity))


def _glare(evidence: Evidence) -> bool:
    fields = evidence.fields
    return fields.box is not None and refusal.glare_beside(evidence.canvas, fields.box, fields.height)


def _humidity_alone(fields: Fields) -> bool:
    """A humidity beside a number that was not understood: the temperature, which is the main value there."""
    return fields.unit == "%" and second(fields) > BESIDE


def _point_counts(quantity: Quantity | None) -> bool:
    """Whether a point changes anything: not in "OL", not in dashes."""
    return quantity is not None and quantity.digits is not None


def _point_missing(text: str) -> bool:
    """A whole number with a zero in front is shown by no meter, but by counters of many digits: 07 was 0.7."""
    digits = text.lstrip("<>-")
    return 1 < len(digits) < COUNTER and digits.isdigit() and digits[0] == "0"


def _remaining_doubts(quantity: Quantity) -> tuple[Doubt, ...]:
    """What must be asked even about a clear reading."""
    doubts: tuple[Doubt, ...] = ()
    if quantity.qualifier is Qualifier.ABOVE and quantity.digits is None:
        doubts = (Doubt.RANGE_END_UNKNOWN,)
    below_nothing = quantity.value is not None and quantity.value < 0
    if quantity.unit is None or not below_nothing:
        return doubts
    if UNITS[quantity.unit].dimension in ("resistance", "capacitance", "ratio"):
        doubts = (*doubts, Doubt.IMPLAUSIBLE)
    return doubts

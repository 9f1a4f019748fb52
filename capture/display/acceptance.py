"""Decides over one display: accept its reading, or refuse it with a reason that a person can act on.

Digits and point must reach a threshold. A unit that is missing or doubtful only raises a doubt, which a person settles
by saying the unit; a doubt of any kind blocks a bare "confirm".
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from capture.display import printed, refusal
from capture.display.confidence import calibration, probabilities
from capture.display.features import DisplayLooks, second, stray
from capture.display.fields import Fields
from capture.display.second_opinion.recogniser import SecondReader
from capture.display.spacing import pitch, widest_step
from capture.display.strings import is_time, parse_main
from capture.reading import DisplayReading, Doubt
from grading.terms.quantity import UNITS, Qualifier, Quantity

RIVAL = 0.87
"""Another number above this share of the main one's height makes it unclear which one counts."""
BESIDE = 0.35
"""A number above this share of the main one's height is no small field but a value of its own; practice, no source."""
LONG, GAP = 5, 0.25
"""Digits of a row that is long enough to tell, and how unevenly they may stand (`spacing.pitch`); practice, no source.
What the rule of gaps stops on rendered photos is counted in calibration.json ("rules", "gap")."""
WIDE_STEP = 1.9
"""Where one step from character to character is this many times the others, there is room for one more character;
practice, no source."""
COUNTER = 5
"""Counters with this many digits or more may show zeros in front of a whole number."""
HOPELESS = 0.02
"""Joint probability of digits and point below which no second reader is asked; practice, no source."""
LIKELY_UNIT = 0.5
"""A unit likelier than this, but below its threshold, is proposed and asked about; others are not proposed."""


@dataclass(frozen=True)
class RefusalRule:
    """One reason to refuse a display.

    Attributes:
        name: Of the rule, for counting.
        holds: It speaks against this display.
        reason: For the person.
        doubt: That goes with it.
    """

    name: str
    holds: bool
    reason: str
    doubt: Doubt


def decide(evidence: DisplayLooks, second: SecondReader | None = None) -> DisplayReading:
    """Accept or refuse.

    Args:
        evidence: What was seen.
        second: A second reader, who is asked where the confidence is neither enough nor hopeless; None to do without.

    Raises:
        EngineError: The calibration is missing or damaged, or the second reader fails.
    """
    fields = evidence.fields
    confidence = probabilities(evidence)
    known = fields.unit if fields.unit in UNITS and confidence["unit"] >= LIKELY_UNIT else None
    quantity = parse_main(fields.text, known) if "?" not in fields.text else None
    digits, point = confident_in(confidence, quantity)
    if second is not None and _worth_asking(confidence, quantity) and not refusal_of(
        evidence, quantity, digits_confident=True, point_confident=True
    )[0]:  # fmt: skip
        assert evidence.line is not None
        confidence = probabilities(evidence, second.judge(evidence.line, fields.text))
        digits, point = confident_in(confidence, quantity, "value_asked")
    reason, doubts = refusal_of(evidence, quantity, digits_confident=digits, point_confident=point)
    if not reason and quantity is not None:
        quantity, doubts = _settled_unit(evidence, quantity, confidence["unit"])
    return DisplayReading(
        text=fields.text,
        quantity=quantity or Quantity(None, known, Qualifier.NONE),
        secondary=fields.small | dict.fromkeys(sorted(fields.annunciators), "on"),
        confidence={name: round(value, 3) for name, value in confidence.items()},
        accepted=not reason,
        reason=reason,
        quad=tuple((float(x), float(y)) for x, y in evidence.quad),
        doubts=doubts,
    )


def refusal_of(
    evidence: DisplayLooks, quantity: Quantity | None, *, digits_confident: bool, point_confident: bool
) -> tuple[str, tuple[Doubt, ...]]:
    """Give the reason for refusing ("" to accept) and the doubt that goes with it, of the first rule that holds.

    Args:
        evidence: What was seen.
        quantity: What the main string means; None if it is no reading.
        digits_confident: Digits and sign are likely enough.
        point_confident: The point is likely enough.
    """
    for rule in rules(evidence, quantity, digits_confident=digits_confident, point_confident=point_confident):
        if rule.holds:
            return rule.reason, (rule.doubt,)
    return "", ()


def _worth_asking(confidence: dict[str, float], quantity: Quantity | None) -> bool:
    """Tell whether a second opinion could settle it: a number that is neither accepted already nor hopeless."""
    if quantity is None or not _point_counts(quantity) or "value_asked" not in calibration():
        return False
    return HOPELESS <= confidence["value"] * confidence["dot"] < calibration()["value"].threshold


def confident_in(
    confidence: dict[str, float], quantity: Quantity | None, head: str = "value"
) -> tuple[bool, bool]:
    """Tell whether digits, and point, are confident: together they must reach the threshold that both heads share.

    Where they are not, the less likely of the two is to blame. A point that changes nothing (in "OL") does not count.

    Args:
        confidence: As `confidence.probabilities` gives it.
        quantity: What the main string means.
        head: Whose threshold counts: "value", or "value_asked" with a second opinion.
    """
    value, dot = confidence["value"], confidence["dot"] if _point_counts(quantity) else 1.0
    if value * dot >= calibration()[head].threshold:
        return True, True
    return value > dot, value <= dot


def rules(
    evidence: DisplayLooks, quantity: Quantity | None, *, digits_confident: bool = True, point_confident: bool = True
) -> tuple[RefusalRule, ...]:
    """List every rule with whether it holds, in the order in which they are asked; arguments as for `refusal_of`.

    What each rule alone keeps from being accepted, wrong and right ones, is counted in calibration.json ("rules") by
    `python -m fixtures.training.display_model fit`. A rule that stops more right readings than wrong ones becomes a
    feature that the confidence weighs, as glare, things lying over the digits, small share and poor legibility did.
    """
    text, digit_px = evidence.fields.text, evidence.digit_px
    hint = refusal.cause(evidence.canvas, digit_px, evidence.fields.box)
    vague = hint == refusal.UNREADABLE
    unsure = refusal.DIGITS_UNSURE if vague else hint
    no_value = refusal.NO_VALUE if vague else hint
    small = digit_px is not None and digit_px < refusal.MIN_DIGIT_PX
    # Which of two numbers of one size is the reading, only a person can know.
    two = second(evidence.fields) > RIVAL or _humidity_alone(evidence.fields)
    no_point = not point_confident and _point_counts(quantity)
    not_a_number = refusal.NOT_A_NUMBER.format(text=text.replace("¿", "?"))
    return (
        # The first that holds gives the reason, so causes come before effects: a cut or tiny string is doubtful too.
        RefusalRule("cut", evidence.cut, refusal.CUT_OFF, Doubt.VALUE_MISSING),
        RefusalRule("empty", not text, no_value, Doubt.VALUE_MISSING),
        RefusalRule("small", small, refusal.TOO_SMALL, Doubt.LOW_CONFIDENCE),
        RefusalRule("unreadable", "?" in text, hint, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("no_number", quantity is None, not_a_number, Doubt.VALUE_MISSING),
        RefusalRule("digits", not digits_confident, unsure, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("two", two, refusal.TWO_VALUES, Doubt.VALUE_MISSING),
        RefusalRule("gap", _has_gap(evidence.fields), refusal.GAP, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("point", no_point, refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
        RefusalRule("zero", _point_missing(text), refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
    )


def _settled_unit(evidence: DisplayLooks, quantity: Quantity, confidence: float) -> tuple[Quantity, tuple[Doubt, ...]]:
    """Settle the unit of an accepted reading, and what must still be asked; print beside the digits may suggest one."""
    if quantity.qualifier is Qualifier.NONE:
        return quantity, ()
    if is_time(evidence.fields.text):  # the seconds might be minutes: the value itself is asked for, not a unit
        return quantity, (Doubt.DIGITS_AMBIGUOUS,)
    doubts: tuple[Doubt, ...] = ()
    if quantity.unit is None:
        box = evidence.fields.box
        suggested = None if box is None else printed.unit_beside(evidence.canvas, box)
        quantity = replace(quantity, unit=suggested)
        doubts = (Doubt.UNIT_UNSURE if suggested else Doubt.UNIT_MISSING,)
    elif confidence < calibration()["unit"].threshold:
        doubts = (Doubt.UNIT_UNSURE,)
    return quantity, (*doubts, *_remaining_doubts(quantity))


def _has_gap(fields: Fields) -> bool:
    """Tell whether the row has a gap: two numbers side by side, or a missed digit. A colon leaves one by itself."""
    digits = sum(c.isdigit() for c in fields.text)
    uneven = (digits >= LONG and pitch(fields) > GAP) or widest_step(fields) > WIDE_STEP
    return uneven and not is_time(fields.text)


def _humidity_alone(fields: Fields) -> bool:
    """Tell whether this is a humidity beside a number not understood: a temperature would be the main value there."""
    return fields.unit == "%" and second(fields) > BESIDE


def _point_counts(quantity: Quantity | None) -> bool:
    """Tell whether a point changes anything: not in "OL", not in dashes."""
    return quantity is not None and quantity.digits is not None


def _point_missing(text: str) -> bool:
    """Tell whether a point must have been lost, or stands where hardly any meter has one and a speck is likelier.

    No meter shows a whole number with a zero in front (only counters of many digits do): 07 was 0.7. A point before or
    behind all digits is more often a speck, half a colon, or a number that goes on. Practice, no source.
    """
    digits = text.lstrip("<>-")
    if stray(text):
        return True
    return 1 < len(digits) < COUNTER and digits.isdigit() and digits[0] == "0"


def _remaining_doubts(quantity: Quantity) -> tuple[Doubt, ...]:
    """List what must be asked even about a clear reading."""
    doubts: tuple[Doubt, ...] = ()
    if quantity.qualifier is Qualifier.ABOVE and quantity.digits is None:
        doubts = (Doubt.RANGE_END_UNKNOWN,)
    below_nothing = quantity.value is not None and quantity.value < 0
    if quantity.unit is None or not below_nothing:
        return doubts
    if UNITS[quantity.unit].dimension in ("resistance", "capacitance", "ratio"):
        doubts = (*doubts, Doubt.IMPLAUSIBLE)
    return doubts

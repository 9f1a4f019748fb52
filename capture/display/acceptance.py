"""Decides over one display: accept its reading, or refuse it with a reason that a person can act on.

Digits and point must reach a threshold. A unit that is missing or doubtful only raises a doubt, which a person settles
by saying the unit; a doubt of any kind blocks a bare "confirm".
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from capture.display import printed, refusal
from capture.display.confidence import ASKED, asked_probability, calibration, probabilities
from capture.display.features import DisplayLooks, ink_beside, second
from capture.display.fields import Fields, mark_confidence
from capture.display.glyphs import CLASSES
from capture.display.leading import BESIDE, can_be_temperature, is_unclear
from capture.display.second_opinion.opinion import OTHER, PrintSeen, Rivals, Says, UnitSeen, rivals, says, unit_at
from capture.display.spacing import pitch, widest_step
from capture.display.strings import is_time, on_its_head, parse_main
from capture.reading import DisplayReading, Doubt, LeftOpen
from grading.terms.quantity import UNITS, Qualifier, Quantity

MIN_SHARE = 0.1
"""The main digits of a display take at least this share of its height; smaller ones belong to a field beside it. How
unlikely a small share is above that is for the fitted confidence to say (feature "thin")."""
LONG, GAP = 5, 0.25
"""Digits of a row that is long enough to tell, and how unevenly they may stand (`spacing.pitch`); practice, no source.
What the rule of gaps stops on rendered photos is counted in calibration.json ("rules", "gap")."""
WIDE_STEP = 1.9
"""Where one step from character to character is this many times the others, there is room for one more character;
practice, no source."""
COUNTER = 5
"""Counters with this many digits or more may show zeros in front of a whole number."""
HOPELESS = 0.02
"""Joint probability of digits and points by our own reader below which no second one helps; practice, no source."""
INK_BESIDE = 0.6
"""Contrast beside the row, as a share of its own, from which agreement of two readers does not count: a digit may be
hidden there. Set between readings that were right and those with a finger drawn over a digit; practice, no source."""
COVERED = 0.8
"""Likelihood that something lies over a place of the row from which a reading is refused; see DEVELOPERS.md."""
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


LEAST_SEEN = 0.02
"""Likelihood below which a unit is not named among those that may be seen; practice, no source."""
_RULE_OF = {LeftOpen.NUMBER: "two", LeftOpen.POINT: "zero"}


def decide(
    evidence: DisplayLooks, opinion: PrintSeen | None = None, told: Collection[LeftOpen] = frozenset()
) -> DisplayReading:
    """Accept or refuse.

    Args:
        evidence: What our own reader sees.
        opinion: What a second reader reads on the display; None where it was not asked.
        told: What the visit tells, so that it need not be seen: that this number counts, that its point is right.

    Raises:
        EngineError: The calibration is missing or damaged.
    """
    fields = evidence.fields
    confidence = probabilities(evidence)
    known = fields.unit if fields.unit in UNITS and confidence["unit"] >= LIKELY_UNIT else None
    quantity = parse_main(fields.text, known) if "?" not in fields.text else None
    if LeftOpen.POINT in told:
        digits, point = confidence["value"] >= calibration()["value"].threshold, True
    else:
        digits, point = confident_in(confidence, quantity)
    set_aside = {_RULE_OF[one] for one in told}
    reason, doubts = refusal_of(evidence, quantity, digits_confident=digits, point_confident=point, set_aside=set_aside)
    seen = None if opinion is None else unit_at(opinion, fields)
    # Agreement speaks for digits, never for a point.
    if reason and point and opinion is not None and quantity is not None and agreed(opinion, evidence):
        joint = {} if digits else _with_second(evidence, opinion, quantity, confidence)
        if joint is not None:
            confidence |= joint
            reason, doubts = refusal_of(
                evidence, quantity, digits_confident=True, point_confident=True, opinion=opinion, set_aside=set_aside
            )
    if seen is not None and seen.clear and fields.unit not in UNITS:
        confidence |= {"unit": seen.score}  # of the second reader, where ours sees none
    if quantity is not None and not reason:
        quantity, doubts = _settled_unit(evidence, quantity, confidence["unit"], seen)
    elif quantity is not None and quantity.unit is None and seen is not None and seen.clear:
        quantity = parse_main(fields.text, seen.code) or quantity
    return DisplayReading(
        text=fields.text,
        quantity=quantity or Quantity(None, known, Qualifier.NONE),
        secondary=fields.small | dict.fromkeys(sorted(fields.annunciators), "on"),
        confidence={name: round(value, 3) for name, value in confidence.items()},
        accepted=not reason,
        reason=reason,
        quad=tuple((float(x), float(y)) for x, y in evidence.quad),
        doubts=doubts,
        units_seen=units_seen(fields, seen),
    )


def units_seen(fields: Fields, print_says: UnitSeen | None) -> tuple[tuple[str, float], ...]:
    """List what the unit beside the main string may be, however weakly seen, by UCUM code or "other", likeliest first.

    Args:
        fields: What our own reader sees.
        print_says: The unit that a second reader saw there; None for none.
    """
    found: dict[str, float] = {}
    mark = next((m for m in fields.used if m.group == 2), None)
    if mark is not None and mark.probabilities:
        there = mark_confidence(mark) / max(mark.confidence, 1e-6)
        for name, share in zip(CLASSES, mark.probabilities, strict=True):
            code = name if name in UNITS else OTHER
            found[code] = found.get(code, 0.0) + there * share
    elif mark is not None:
        found[mark.name if mark.name in UNITS else OTHER] = mark_confidence(mark)
    if print_says is not None:
        found[print_says.code] = max(found.get(print_says.code, 0.0), print_says.score)
    likeliest = sorted(found.items(), key=lambda one: -one[1])
    return tuple((code, round(float(share), 3)) for code, share in likeliest if share >= LEAST_SEEN)


def agreed(opinion: PrintSeen, evidence: DisplayLooks) -> bool:
    """Tell whether the second reader reads our number, as `says_same`, and nothing beside it may hide a part.

    It must read it in our own row, not only in a line that it found itself: of 71 readings of pictures that would pass
    otherwise, 6 stood in such a line alone, and 4 of these were wrong; of the 65 others 1. Nor does agreement prove
    the point, which both lose where it is faint ("225" for 2.25): where that is the likelier mistake it does not count.
    What hides a whole digit hides it from both: of 14 readings of demo photos with a finger drawn over a digit on which
    both agreed, 9 were wrong, each with ink of at least 0.9 beside it. And both read a display on its head the same.
    """
    fields = evidence.fields
    if says(opinion, fields)[1] is not Says.AGREED or not says_same(opinion, fields):
        return False
    upright = not _may_stand_on_its_head(fields) or unit_at(opinion, fields) is not None
    return upright and max(ink_beside(evidence)) < INK_BESIDE


def _may_stand_on_its_head(fields: Fields) -> bool:
    """Tell whether the row is another reading the other way up, and no point, unit or sign shows which is right."""
    if "." in fields.text or fields.annunciators or any(mark.group == 2 for mark in fields.used):
        return False
    other = on_its_head(fields.text)
    return other not in ("", fields.text) and parse_main(other, None) is not None


def says_same(opinion: PrintSeen, fields: Fields) -> bool:
    """Tell whether the second reader reads our number, and nowhere another in its place.

    What only one of the two reads, a sign, a point, a digit, is never enough: they must write the same.
    """
    said = says(opinion, fields)
    return Says.AGREED in said and Says.OPPOSED not in said


def _with_second(
    evidence: DisplayLooks, opinion: PrintSeen, quantity: Quantity, confidence: dict[str, float]
) -> dict[str, float] | None:
    """Give the confidence in digits and point where a second reader reads the same; None where that is not enough."""
    head = calibration().get(ASKED)
    pointed = _point_counts(quantity)
    own = confidence["value"] * (confidence["dot"] if pointed else 1.0)
    if head is None or own < HOPELESS:
        return None
    joint = asked_probability(evidence, opinion, own)
    if joint < head.threshold:
        return None
    share = joint**0.5 if pointed else joint  # the two were judged together
    return {"value": share} | ({"dot": share} if pointed else {})


def refusal_of(
    evidence: DisplayLooks,
    quantity: Quantity | None,
    *,
    digits_confident: bool,
    point_confident: bool,
    opinion: PrintSeen | None = None,
    set_aside: Collection[str] = frozenset(),
) -> tuple[str, tuple[Doubt, ...]]:
    """Give the reason for refusing ("" to accept) and the doubt that goes with it, of the first rule that holds.

    Args:
        evidence: What was seen.
        quantity: What the main string means; None if it is no reading.
        digits_confident: Digits and sign are likely enough.
        point_confident: The point is likely enough.
        opinion: Of a second reader that reads the same: the units that it reads tell numbers apart, and it sees
            numbers that ours does not; None to judge by our own reader alone.
        set_aside: Names of rules that do not count.
    """
    for rule in rules(evidence, quantity, digits_confident=digits_confident, point_confident=point_confident):
        if rule.name in set_aside:
            continue
        holds = rule.holds
        if opinion is not None and rule.name == "two":
            holds = _two_beside(holds, evidence.fields, opinion)
        if holds:
            return rule.reason, (rule.doubt,)
    return "", ()


def confident_in(confidence: dict[str, float], quantity: Quantity | None) -> tuple[bool, bool]:
    """Tell whether digits, and point, are confident: together they must reach the threshold that both heads share.

    Where they are not, the less likely of the two is to blame. A point that changes nothing (in "OL") does not count.
    """
    value, dot = confidence["value"], confidence["dot"] if _point_counts(quantity) else 1.0
    if value * dot >= calibration()["value"].threshold:
        return True, True
    return value > dot, value <= dot


def rules(
    evidence: DisplayLooks, quantity: Quantity | None, *, digits_confident: bool = True, point_confident: bool = True
) -> tuple[RefusalRule, ...]:
    """List every rule with whether it holds, in the order in which they are asked; arguments as for `refusal_of`.

    What each rule alone keeps from being accepted, wrong and right ones, is counted in calibration.json ("rules") by
    `python -m fixtures.training.display_model fit`. A rule that stops right readings only is to be narrowed, as those
    of share, legibility and edge were, and the confidence left to weigh the same features. Glare that hides a digit
    stays however the count stands: it is rare, and the confidence does not see what is hidden. A backlit ground near
    white is none: of 200 real photos of a backlit tester the rule stopped 61 that were read rightly, and none that was
    read wrong. A mean legibility below 0.12 was a rule too: it stopped 14 right readings and no wrong one.
    """
    text, digit_px = evidence.fields.text, evidence.digit_px
    hint = refusal.cause(evidence.canvas, digit_px, evidence.fields.box)
    vague = hint == refusal.UNREADABLE
    unsure = refusal.DIGITS_UNSURE if vague else hint
    no_value = refusal.NO_VALUE if vague else hint
    small = digit_px is not None and digit_px < refusal.MIN_DIGIT_PX
    # Which of two numbers of one size is the reading, only a person can know.
    two = is_unclear(evidence.fields) or _humidity_alone(evidence.fields)
    no_point = not point_confident and _point_counts(quantity)
    not_a_number = refusal.NOT_A_NUMBER.format(text=text.replace("¿", "?"))
    return (
        # The first that holds gives the reason, so causes come before effects: a cut or tiny string is doubtful too.
        RefusalRule("cut", evidence.cut, refusal.CUT_OFF, Doubt.VALUE_MISSING),
        RefusalRule("empty", not text, no_value, Doubt.VALUE_MISSING),
        RefusalRule("small", small, refusal.TOO_SMALL, Doubt.LOW_CONFIDENCE),
        RefusalRule("share", evidence.share < MIN_SHARE, no_value, Doubt.VALUE_MISSING),
        RefusalRule("unreadable", "?" in text, hint, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("glare", hidden_by_glare(evidence), refusal.GLARE, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("covered", evidence.hidden >= COVERED, refusal.COVERED, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("no_number", quantity is None, not_a_number, Doubt.VALUE_MISSING),
        RefusalRule("digits", not digits_confident, unsure, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("two", two, refusal.TWO_VALUES, Doubt.VALUE_MISSING),
        RefusalRule("gap", _has_gap(evidence.fields), refusal.GAP, Doubt.DIGITS_AMBIGUOUS),
        RefusalRule("point", no_point, refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
        RefusalRule("zero", _point_missing(text), refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
    )


def _settled_unit(
    evidence: DisplayLooks, quantity: Quantity, confidence: float, printed_unit: UnitSeen | None
) -> tuple[Quantity, tuple[Doubt, ...]]:
    """Settle the unit of an accepted reading, and what must still be asked."""
    if quantity.qualifier is Qualifier.NONE:
        return quantity, ()
    if is_time(evidence.fields.text):  # the seconds might be minutes: the value itself is asked for, not a unit
        return quantity, (Doubt.DIGITS_AMBIGUOUS,)
    quantity, doubts = _unit_of(evidence, quantity, confidence, printed_unit)
    return quantity, (*doubts, *_remaining_doubts(quantity))


def _unit_of(
    evidence: DisplayLooks, quantity: Quantity, confidence: float, seen: UnitSeen | None
) -> tuple[Quantity, tuple[Doubt, ...]]:
    """Choose the unit: what both readers see is settled, what one sees well too, what they see differently is asked."""
    own = evidence.fields.unit if evidence.fields.unit in UNITS else None
    if own is None and "humidity" in evidence.fields.small and can_be_temperature(evidence.fields.text):
        return replace(quantity, unit="Cel"), (Doubt.UNIT_UNSURE,)  # whatever print there is around; asked about
    sure = own is not None and confidence >= calibration()["unit"].threshold
    if seen is None or (seen.code == OTHER and sure):
        return _unit_alone(evidence, quantity, sure=sure)
    if seen.code == OTHER:
        return quantity, (Doubt.UNIT_UNSURE if quantity.unit else Doubt.UNIT_MISSING,)
    backed = seen.code == own and (seen.exact or confidence >= LIKELY_UNIT)
    if backed or (seen.clear and own is None):
        return replace(quantity, unit=seen.code), ()
    if sure:
        return quantity, (Doubt.UNIT_UNSURE,) if seen.clear else ()
    return (quantity if quantity.unit is not None else replace(quantity, unit=seen.code)), (Doubt.UNIT_UNSURE,)


def _unit_alone(evidence: DisplayLooks, quantity: Quantity, *, sure: bool) -> tuple[Quantity, tuple[Doubt, ...]]:
    """Settle the unit by our own reader; print beside the digits may suggest one."""
    if quantity.unit is not None:
        return quantity, () if sure else (Doubt.UNIT_UNSURE,)
    box = evidence.fields.box
    suggested = None if box is None else printed.unit_beside(evidence.canvas, box)
    return replace(quantity, unit=suggested), (Doubt.UNIT_UNSURE if suggested else Doubt.UNIT_MISSING,)


def hidden_by_glare(evidence: DisplayLooks) -> bool:
    """Tell whether a reflection may hide characters of the main string."""
    fields = evidence.fields
    if fields.box is None or refusal.bright_ground(evidence.canvas, fields.box, fields.height):
        return False
    return refusal.glare_beside(evidence.canvas, fields.box, fields.height)


def _has_gap(fields: Fields) -> bool:
    """Tell whether the row has a gap: two numbers side by side, or a missed digit. A colon leaves one by itself."""
    digits = sum(c.isdigit() for c in fields.text)
    uneven = (digits >= LONG and pitch(fields) > GAP) or widest_step(fields) > WIDE_STEP
    return uneven and not is_time(fields.text)


def _humidity_alone(fields: Fields) -> bool:
    """Tell whether this is a humidity beside a number not understood: a temperature would be the main value there."""
    return fields.unit == "%" and second(fields) > BESIDE


def _two_beside(held: bool, fields: Fields, opinion: PrintSeen) -> bool:
    """Tell whether two numbers of one size are shown that nothing tells apart, with what a second reader reads.

    Our own reader may see a rival that the units in print tell apart; print may show one that ours did not see.
    """
    beside = rivals(opinion, fields)
    return (held and beside is not Rivals.TOLD) or beside is Rivals.UNCLEAR


def _point_counts(quantity: Quantity | None) -> bool:
    """Tell whether a point changes anything: not in "OL", not in dashes."""
    return quantity is not None and quantity.digits is not None


def _point_missing(text: str) -> bool:
    """Tell whether a point must have been lost, or stands where hardly any meter has one and a speck is likelier.

    No meter shows a whole number with a zero in front (only counters of many digits do): 07 was 0.7. A point before or
    behind all digits is more often a speck, half a colon, or a number that goes on. Practice, no source.
    """
    digits = text.lstrip("<>-")
    bare = digits.strip(".")
    if bare != digits and bare.replace(".", "").isdigit():
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

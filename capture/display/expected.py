"""What an instrument's profile and the expected quantity tell of a display beyond what was seen of it.

Nothing here makes digits surer. A unit is settled only where the instrument shows such digits in one unit alone and
nothing seen beside them says another; a point only where it can stand in one place; a number only where every other
one is read and cannot be the one expected. In any other case the question stays.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal

from capture.carrying import can_carry
from capture.display.profile import Profile
from capture.display.strings import bare, parse_main
from capture.reading import DisplayReading, Doubt
from grading.terms.quantity import DIMENSION_OF_KIND, UNITS, Qualifier, Quantity, QuantityKind

OTHER = "other"
"""A unit that is none of ours, in `DisplayReading.units_seen`."""
SEEN_WELL = 0.8
"""Confidence in a unit from which an instrument that shows such digits in no other unit settles it; practice."""
CONTRADICTS = 0.3
"""Likelihood from which another unit seen beside the number speaks against the one by the profile; practice."""
POINT_SEEN = 0.5
"""Confidence in a point from which the one place that the profile leaves it settles it; else it is asked; practice."""


def possible_units(
    quantity: Quantity, profile: Profile, volts: Decimal | None, kind: QuantityKind | None
) -> tuple[str, ...]:
    """Give the units in which the instrument shows these digits, or this end of a range, in such a measurement.

    Args:
        quantity: As read; its unit does not count.
        profile: What the instrument can show.
        volts: Test voltage selected, V; None if unknown.
        kind: What was to be measured; None if unknown.
    """
    if quantity.digits is None:
        return ()
    if quantity.qualifier is Qualifier.ABOVE:
        ends = [over for over in profile.overs if over.end == quantity.digits and over.unit and over.at(volts)]
        units = tuple(dict.fromkeys(over.unit for over in ends if over.unit))
    elif quantity.qualifier is Qualifier.EQUAL:
        units = profile.units_for(quantity.digits, volts)
    else:
        return ()
    return tuple(unit for unit in units if of_kind(unit, kind))


def of_kind(unit: str | None, kind: QuantityKind | None) -> bool:
    """Tell whether a measurement of this kind can be shown in this unit; unknown ones may be any."""
    if kind is None or unit not in UNITS:
        return True
    return UNITS[unit].dimension == DIMENSION_OF_KIND[kind] and can_carry(kind, Quantity("1", unit))


def agreed_unit(display: DisplayReading, possible: Sequence[str]) -> str | None:
    """Give the one unit that is possible where nothing seen contradicts it; None otherwise."""
    if len(possible) != 1 or contradicted(display, possible[0]):
        return None
    return possible[0]


def contradicted(display: DisplayReading, unit: str) -> bool:
    """Tell whether another unit was seen beside the number, however weakly it was seen."""
    if display.quantity.unit not in (None, unit):
        return True
    likely = dict(display.units_seen)
    return any(share >= CONTRADICTS and share > likely.get(unit, 0.0) for code, share in likely.items() if code != unit)


def seen_well(display: DisplayReading, unit: str) -> bool:
    """Tell whether the display itself shows this unit likely enough; one merely suggested by print is not."""
    return display.quantity.unit == unit and display.confidence.get("unit", 0.0) >= SEEN_WELL


def placed_point(
    display: DisplayReading, profile: Profile, volts: Decimal | None, kind: QuantityKind | None
) -> DisplayReading | None:
    """Put the point where alone the instrument can show it among these digits; None where that is not one place.

    Args:
        display: As it would be read if the point stood as seen.
        profile: What the instrument can show.
        volts: Test voltage selected, V; None if unknown.
        kind: What was to be measured; None if unknown: then nothing is placed.

    Returns:
        The reading, with the doubt DOT_UNSURE unless the point was seen in that very place, likelier than not.
    """
    quantity = display.quantity
    if kind is None or quantity.digits is None or quantity.qualifier is not Qualifier.EQUAL:
        return None
    sign, digits = ("-", quantity.digits[1:]) if quantity.digits.startswith("-") else ("", quantity.digits)
    digits = bare(digits)
    places = {digits, *(f"{digits[:i]}.{digits[i:]}" for i in range(1, len(digits)))}

    def shown(text: str) -> bool:
        found = Quantity(sign + text, quantity.unit)
        units = possible_units(found, profile, volts, kind)
        return bool(units) and (quantity.unit is None or quantity.unit in units)

    fitting = [text for text in sorted(places) if shown(text)]
    if len(fitting) != 1:
        return None
    text = sign + fitting[0]
    if text == quantity.digits and display.confidence.get("dot", 0.0) >= POINT_SEEN:
        return display
    placed = parse_main(text, quantity.unit)
    if placed is None:
        return None
    return replace(display, text=text, quantity=placed, doubts=(*display.doubts, Doubt.DOT_UNSURE))


def chosen_number(
    display: DisplayReading,
    numbers: Sequence[DisplayReading],
    kind: QuantityKind | None,
    check: Callable[[DisplayReading], DisplayReading],
) -> DisplayReading | None:
    """Choose the number that counts among several of about one size; None where more than one, or none, can.

    Args:
        display: As refused.
        numbers: Each number as it would be read if it counted.
        kind: What was to be measured; None if unknown: then nothing is chosen.
        check: Holds one against the instrument's profile.

    Returns:
        The number, where every other one was read and is of another quantity, or such that the instrument cannot show
        it as one of this kind.
    """
    if kind is None:
        return None
    found = [check(one) for one in numbers]
    fitting = [one for one in found if not _told_off(one, kind)]
    if len(fitting) != 1 or not fitting[0].accepted or not of_kind(fitting[0].quantity.unit, kind):
        return None
    chosen = fitting[0]
    if chosen.quantity.unit is None or Doubt.UNIT_MISSING in chosen.doubts:
        return None  # of a number that nobody named, the unit must be known at least
    others = {f"number_{i}": one.text for i, one in enumerate((o for o in found if o is not chosen), 2)}
    return replace(chosen, secondary=others | chosen.secondary, quad=display.quad)


def _told_off(one: DisplayReading, kind: QuantityKind) -> bool:
    """Tell whether a number was read and cannot be the one expected."""
    if one.doubts == (Doubt.IMPLAUSIBLE,) and not one.accepted:
        return True  # the instrument cannot show it
    sure = one.accepted and Doubt.UNIT_UNSURE not in one.doubts and not one.unit_by_profile
    return sure and one.quantity.unit is not None and not of_kind(one.quantity.unit, kind)

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
TOLD_OFF, LITTLE = 0.7, 0.1
"""Likelihood of units of other quantities beside a number from which, and of units of the expected one below which, it
cannot be the number expected; practice, no source."""
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


def agreed_unit(
    display: DisplayReading, profile: Profile, volts: Decimal | None, kind: QuantityKind | None
) -> str | None:
    """Give the unit that profile and sight agree on; None where a person must be asked.

    It is the only one in which the instrument shows these digits in such a measurement, and nothing seen contradicts
    it. Beyond that it must be seen well; or, where `kind` is known, be seen at all, or the display must show that the
    instrument stands in that very measurement, or it must have no other unit at all: 34.7 ohms taken for 34.7 megohms
    would make sound what is shorted. That no other unit fits the digits is not enough: so 19 of 94 strings of an
    insulation tester's own, drawn at random, would be settled rightly, and 178 of 2,497 others wrongly
    (`python -m tests.benchmarks.display.units`).

    Args:
        display: As read, accepted.
        profile: What the instrument can show.
        volts: Test voltage selected, V; None if unknown.
        kind: What was to be measured; None if unknown.
    """
    quantity = display.quantity
    possible = possible_units(quantity, profile, volts, kind)
    if len(possible) != 1 or contradicted(display, possible[0]):
        return None
    if seen_well(display, possible[0]):
        return possible[0]
    if kind is None:
        return None
    alone = {one.unit for one in profile.ranges} == {possible[0]}
    faint = dict(display.units_seen).get(possible[0], 0.0) >= CONTRADICTS
    measuring = kind is QuantityKind.INSULATION_RESISTANCE and any(
        name in display.secondary for name in ("test_voltage", "set_voltage", "hv")
    )
    return possible[0] if alone or faint or measuring else None


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
        The number, its unit seen, where every other one has a unit of another quantity, or was read as what the
        instrument cannot show.
    """
    if kind is None:
        return None
    found = [check(one) for one in numbers]
    fitting = [one for one in found if not _told_off(one, kind)]
    if (
        len({(one.text, one.quantity.unit, one.accepted) for one in fitting}) != 1
        or not fitting[0].accepted
        or not of_kind(fitting[0].quantity.unit, kind)
    ):
        return None
    chosen = fitting[0]
    if chosen.quantity.unit is None or Doubt.UNIT_MISSING in chosen.doubts:
        return None  # of a number that nobody named, the unit must be known at least
    return replace(chosen, quad=display.quad)


def _told_off(one: DisplayReading, kind: QuantityKind) -> bool:
    """Tell whether a number cannot be the one expected: by its unit, read or not, or since no such can be shown."""
    if one.doubts == (Doubt.IMPLAUSIBLE,) and not one.accepted:
        return True
    same = sum(share for code, share in one.units_seen if code != OTHER and of_kind(code, kind))
    other = sum(share for _, share in one.units_seen) - same
    return other >= TOLD_OFF and same < LITTLE

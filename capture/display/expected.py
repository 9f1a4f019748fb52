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
from capture.display.fields import name_by_unit
from capture.display.leading import can_be_humidity, can_be_temperature
from capture.display.profile import Profile
from capture.display.strings import bare, parse_main
from capture.reading import DisplayReading, Doubt
from grading.terms.quantity import DIMENSION_OF_KIND, UNITS, Qualifier, Quantity, QuantityKind

OTHER = "other"
"""A unit that is none of ours, in `DisplayReading.units_seen`."""
CLIMATE = ("Cel", "%")
"""Units on the display of a room thermometer."""
SEEN_WELL = 0.8
"""Confidence in a unit from which an instrument that shows such digits in no other unit settles it; practice."""
CONTRADICTS = 0.3
"""Likelihood from which another unit seen beside the number speaks against the one by the profile; practice."""
TOLD_OFF, LITTLE = 0.7, 0.1
"""Likelihood of units of other quantities beside a number from which, and of units of the expected one below which, it
cannot be the number expected; practice, no source."""
LIKELIER = 0.5
"""Likelihood from which a unit may choose a number that is then asked about; practice, no source."""
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
        display: As refused, or as accepted with another number as the main one.
        numbers: Each number as it would be read if it counted.
        kind: What was to be measured; None if unknown: then nothing is chosen.
        check: Holds one against the instrument's profile, if there is one.

    Returns:
        The number, its unit seen, where every other one has a unit of another quantity, or was read as what the
        instrument cannot show. With a doubt where only one of two units was seen, or the place alone tells
        (`_of_climate`, `_likeliest`).
    """
    if kind is None:
        return None
    found = [check(one) for one in numbers]
    fitting = [one for one in found if not _told_off(one, kind)]
    if len({(one.text, one.quantity.unit, one.accepted) for one in fitting}) != 1 or not fitting[0].accepted:
        chosen = None
    else:
        chosen = fitting[0] if of_kind(fitting[0].quantity.unit, kind) else None
    # Of a number that nobody named, the unit must be known at least.
    if chosen is None or chosen.quantity.unit is None or Doubt.UNIT_MISSING in chosen.doubts:
        chosen = _of_climate(found, kind) or _likeliest(found, kind)
    if chosen is None:
        return None
    beside = {name: text for name, text in _named(found, chosen).items() if name not in display.secondary}
    kept = {name: text for name, text in display.secondary.items() if text != chosen.text}
    return replace(chosen, quad=display.quad, secondary=chosen.secondary | kept | beside)


def _named(numbers: Sequence[DisplayReading], chosen: DisplayReading) -> dict[str, str]:
    """Name the numbers that do not count by their units, where both were read well."""
    return {
        name_by_unit(one.quantity.unit): one.text
        for one in numbers
        if one.accepted and one.text != chosen.text and one.quantity.unit is not None and not one.doubts
    }


def _of_climate(numbers: Sequence[DisplayReading], kind: QuantityKind) -> DisplayReading | None:
    """Choose between the two numbers of a room's display where the unit of one, or of none, was seen; always asked.

    A clear unit at one of two tells what the other is, if it can be that at all. Without any, a number with one decimal
    place beside a whole one between 0 and 100 is the temperature.
    """
    if kind not in (QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY):
        return None
    both = list({one.text: one for one in numbers if _clear(one) in (None, OTHER, *CLIMATE)}.values())
    if len(both) != 2 or not all(one.accepted for one in both):
        return None
    warm = _warm_of(both)
    if warm is None:
        return None
    damp = both[1 - both.index(warm)]
    if not can_be_temperature(warm.text) or not can_be_humidity(damp.text):
        return None
    chosen, unit = (warm, "Cel") if kind is QuantityKind.TEMPERATURE else (damp, "%")
    doubts = tuple(d for d in chosen.doubts if d is not Doubt.UNIT_MISSING and d is not Doubt.UNIT_UNSURE)
    return replace(chosen, quantity=replace(chosen.quantity, unit=unit), doubts=(*doubts, Doubt.UNIT_UNSURE))


def _likeliest(numbers: Sequence[DisplayReading], kind: QuantityKind) -> DisplayReading | None:
    """Choose the number whose unit is likeliest of the quantity expected, where no other's is; always asked.

    Beside it stand numbers likelier of another quantity, or a single one without any unit. Of two numbers of which one
    is of another quantity and the other shows no unit, that other one, whose unit is then asked for.
    """
    every = list({one.text: one for one in numbers}.values())
    likely = [_clear(one, LIKELIER) for one in every]
    own = [one for one, unit in zip(every, likely, strict=True) if unit in UNITS and of_kind(unit, kind)]
    bare = [one for one, unit in zip(every, likely, strict=True) if unit is None]
    if any(not one.accepted or sum(share for _, share in one.units_seen) >= CONTRADICTS for one in bare):
        return None  # what was not read, or has a unit that was not made out, may be of the same quantity
    if len(own) == 1 and own[0].accepted and (not bare or len(every) == 2):
        return replace(own[0], doubts=tuple(dict.fromkeys((*own[0].doubts, Doubt.LOW_CONFIDENCE))))
    if not own and len(every) == 2 and len(bare) == 1 and Doubt.UNIT_MISSING in bare[0].doubts:
        return bare[0]
    return None


def _warm_of(both: Sequence[DisplayReading]) -> DisplayReading | None:
    """Tell which of two numbers is the temperature; None where nothing does, or both have a clear unit of their own."""
    told = [_clear(one) for one in both]
    if OTHER in told and "Cel" in told:
        return both[told.index("Cel")]  # the reader takes "%RH" for a unit that is none of ours
    if told == [None, None]:
        placed = [len(one.text.partition(".")[2]) for one in both]
        return both[placed.index(1)] if sorted(placed) == [0, 1] else None
    if None not in told or OTHER in told:
        return None
    seen = 1 - told.index(None)
    return both[seen] if told[seen] == "Cel" else both[1 - seen]


def _clear(one: DisplayReading, least: float = TOLD_OFF) -> str | None:
    """Give the likeliest unit beside a number (`OTHER`: none of ours); None where none is likely enough."""
    code, share = max(one.units_seen, key=lambda unit: unit[1], default=("", 0.0))
    return code if share >= least else None


def _told_off(one: DisplayReading, kind: QuantityKind) -> bool:
    """Tell whether a number cannot be the one expected: by its unit, read or not, or since no such can be shown."""
    if one.doubts == (Doubt.IMPLAUSIBLE,) and not one.accepted:
        return True
    same = sum(share for code, share in one.units_seen if code != OTHER and of_kind(code, kind))
    other = sum(share for _, share in one.units_seen) - same
    return other >= TOLD_OFF and same < LITTLE

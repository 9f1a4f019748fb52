"""Whether two readings say the same, of the same test point, and what voice and photo of one reading give together."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from capture.reading import Reading
from grading.terms.quantity import Qualifier, Quantity, UnitError, unit
from grading.terms.terminals import is_general, to_earth

VOLTAGE_TOLERANCE = Decimal("0.05")
"""Built voltages heard and seen may differ by this share, since the display is live (program's rule)."""


def same_value(first: Quantity, second: Quantity) -> bool:
    """Tell whether two quantities say the same: qualifier and converted value equal ("0.8 Ohm" and "0.80 Ohm" do).

    A missing unit on one side is taken from the other; missing digits equal only missing digits.
    """
    if first.qualifier is not second.qualifier:
        return False
    if first.value is None or second.value is None:
        return first.value is None and second.value is None
    code = first.unit or second.unit
    if code is None or None in (first.unit, second.unit):
        return first.value == second.value
    try:
        return first.in_unit(code) == second.in_unit(code)
    except UnitError:
        return False


def same_dimension(first: Quantity, second: Quantity) -> bool:
    """Tell whether two quantities can be of one kind; an unknown unit can be of any."""
    if first.unit is None or second.unit is None:
        return True
    return unit(first.unit).dimension == unit(second.unit).dimension


def same_place(first: Reading, second: Reading) -> bool:
    """Tell whether two readings can be of one test point: no field that both know differs."""
    pairs = (
        (first.axis, second.axis),
        (first.section, second.section),
        (first.kind, second.kind),
    )
    same = all(one is None or other is None or one == other for one, other in pairs)
    points = (first.terminals, second.terminals)
    return same and (points[0] is None or points[1] is None or _same_point(points[0], points[1]))


def _same_point(first: str, second: str) -> bool:
    """Tell whether two test points can be one: "lead-ground" and "lead-lead" name no lead and stand for any."""
    general = is_general(first) or is_general(second)
    return first == second or (general and to_earth(first) == to_earth(second))


def finer_point(first: str | None, second: str | None) -> str | None:
    """Choose, of two names of one test point, the one that names its leads; the first of equals."""
    return second if second is not None and (first is None or is_general(first)) else first


def finer_quantity(first: Quantity, second: Quantity) -> Quantity:
    """Choose, of two quantities that say the same, the one with more digits, with the unit that either knows."""
    if first.digits is None or second.digits is None:
        return first if first.digits is not None or first.unit is not None else second
    if None not in (first.unit, second.unit) and first.unit != second.unit:
        return first  # "820 kOhm" seen, "0.82 MOhm" heard: the display's own form stays
    best = max((first, second), key=lambda quantity: len(quantity.digits or ""))
    return replace(best, unit=first.unit or second.unit)


def says_same(photo: Quantity, voice: Quantity) -> bool:
    """Tell whether a display shows what a person said, "open" and over range taken as one."""
    over = (Qualifier.OPEN, Qualifier.ABOVE)
    if photo.qualifier in over and voice.qualifier in over and None in (photo.digits, voice.digits):
        return True  # "open" said before a display that shows "OL" or "> 4000 MΩ"
    return same_value(photo, voice)


def combine(voice: Reading, photo: Reading) -> tuple[Reading, bool]:
    """Put voice and photo of one reading together.

    Returns:
        The combined reading (with the photo's digits where they are finer, with the voice's place), and whether both
        agree. Where they disagree, the value is the voice's until a person chooses.
    """
    agree = says_same(photo.quantity, voice.quantity)
    volts = (voice.test_voltage_built, photo.test_voltage_built)
    if volts[0] is not None and volts[1] is not None:
        agree = agree and abs(volts[0] - volts[1]) <= VOLTAGE_TOLERANCE * max(volts[0], volts[1])
    quantity = finer_quantity(photo.quantity, voice.quantity) if agree else voice.quantity
    built = photo.test_voltage_built if agree and photo.test_voltage_built is not None else volts[0] or volts[1]
    reading = Reading(
        kind=voice.kind or photo.kind,
        quantity=quantity,
        axis=voice.axis or photo.axis,
        section=voice.section or photo.section,
        terminals=finer_point(voice.terminals, photo.terminals),
        test_voltage_set=voice.test_voltage_set or photo.test_voltage_set,
        test_voltage_built=built,
        elapsed_s=photo.elapsed_s if photo.elapsed_s is not None else voice.elapsed_s,
    )
    return reading, agree


APART = Decimal(2)
"""Readings of one point differ by less than this factor from one minute to the next (program's rule, no source)."""


def same_test(first: Reading, second: Reading) -> bool:
    """Tell whether two readings are of one test: the same named leads, at one voltage and time as far as both know."""
    if first.terminals is None or first.terminals != second.terminals or is_general(first.terminals):
        return False
    pairs = ((first.test_voltage_set, second.test_voltage_set), (first.elapsed_s, second.elapsed_s))
    apart = any(None not in pair and pair[0] != pair[1] for pair in pairs)
    return same_place(first, second) and not apart


def contradict(first: Reading, second: Reading) -> bool:
    """Tell whether two readings of one test point, at one voltage and time, cannot both be true.

    Args:
        first: A reading.
        second: Another one.
    """
    if None in (first.kind, first.terminals, second.terminals) or not same_place(first, second):
        return False
    if first.kind is not second.kind or first.terminals != second.terminals:
        return False
    pairs = ((first.test_voltage_set, second.test_voltage_set), (first.elapsed_s, second.elapsed_s))
    if any(None not in pair and pair[0] != pair[1] for pair in pairs):
        return False
    one, other = _range(first.quantity), _range(second.quantity)
    return one is not None and other is not None and (one[1] < other[0] or other[1] < one[0])


def _range(quantity: Quantity) -> tuple[Decimal, Decimal] | None:
    """Give between which values a quantity may lie, in the base unit; None where that cannot be told."""
    if quantity.value is None or quantity.unit is None:
        return None
    value = quantity.value * unit(quantity.unit).factor
    if quantity.qualifier is Qualifier.ABOVE:
        return value, Decimal("Infinity")
    if quantity.qualifier is Qualifier.BELOW:
        return Decimal(0), value
    return (value / APART, value * APART) if quantity.qualifier is Qualifier.EQUAL else None

"""Which numbers instruments show: a value read from a display has the digits that some display has.

The formats are those of the instruments that ship (`capture/display/instruments/`: ranges, counts and resolutions by
class, common practice, no source). A technician may leave out zeros at the end ("two gig" for 2.00 GΩ), never add a
digit that the display does not have.
"""

from __future__ import annotations

from functools import cache

from capture.display.profile import Range
from capture.display.profile_files import shipped
from grading.terms.quantity import Quantity


@cache
def _ranges(unit: str | None) -> tuple[Range, ...]:
    found = (one for profile in shipped().values() for one in profile.ranges)
    return tuple(dict.fromkeys(one for one in found if unit in (None, one.unit)))


def is_shown(quantity: Quantity) -> bool:
    """Tell whether some instrument shows this number, zeros at the end left out or not.

    A unit that no instrument here measures says nothing, and neither does a value without digits.

    Args:
        quantity: As understood; without a unit, any will do.
    """
    ranges = _ranges(quantity.unit)
    if quantity.digits is None or not ranges:
        return True
    whole, _, after = quantity.digits.partition(".")
    return any(_fits(one, whole, after) for one in ranges)


def _fits(one: Range, whole: str, after: str) -> bool:
    if len(after) > one.decimals:
        return False
    padded = after.ljust(one.decimals, "0")
    return one.fits(f"{whole}.{padded}" if padded else whole)

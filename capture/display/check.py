"""Holds readings against the instrument's profile: refuses what it cannot show, asks about what it seldom shows."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal, InvalidOperation

from capture.display.profile import Possibility, Profile
from capture.reading import DisplayReading, Doubt, Seen
from grading.terms.quantity import Qualifier, Quantity

IMPOSSIBLE = "{title} cannot show {shown}: {why}. Take it again straight on, or type the value."


def checked(display: DisplayReading, profile: Profile, voltage: Decimal | None = None) -> DisplayReading:
    """Check a reading against what the instrument can show.

    Args:
        display: As read. One that was refused stays refused.
        profile: What the instrument can show.
        voltage: Test voltage selected, V; None to take the one that the display shows, if it shows one.

    Returns:
        The same reading; or refused, with the reason; or with the doubt UNUSUAL. A unit that is missing is filled in
        where the digits can have only one, and stays asked about. A doubtful one that was seen well is settled where
        it is the only one possible; one that the instrument does not show with such digits is asked about.
    """
    if not display.accepted or display.quantity.qualifier is Qualifier.NONE:
        return display
    volts = voltage if voltage is not None else _shown(display.secondary.get("set_voltage"))
    quantity, doubts = display.quantity, display.doubts
    # A learnt profile knows only what was confirmed so far, so it may not rule out other units.
    if quantity.unit is None and quantity.digits is not None and not profile.learnt:
        units = profile.units_for(quantity.digits, volts)
        if len(units) == 1 and quantity.qualifier is Qualifier.EQUAL:
            quantity = replace(quantity, unit=units[0])
            doubts = (*(d for d in doubts if d is not Doubt.UNIT_MISSING), Doubt.UNIT_UNSURE)
    elif _agrees(quantity, profile, volts) and _seen_well(display):
        # What was seen is the one unit in which this instrument shows such digits: nothing to ask.
        doubts = tuple(d for d in doubts if d is not Doubt.UNIT_UNSURE)
    possibility, why = profile.possibility(quantity, volts)
    if possibility is Possibility.IMPOSSIBLE and Doubt.UNIT_UNSURE in doubts:
        # Profile and sight contradict each other over a unit that was barely seen: that is asked, not refused.
        possible = () if quantity.digits is None else profile.units_for(quantity.digits, volts)
        if possible:
            quantity = replace(quantity, unit=possible[0] if len(possible) == 1 else None)
            left = tuple(d for d in doubts if d is not Doubt.UNIT_UNSURE)
            doubts = (*left, Doubt.UNIT_UNSURE if quantity.unit else Doubt.UNIT_MISSING)
            possibility, why = profile.possibility(quantity, volts)
    if possibility is Possibility.IMPOSSIBLE:
        reason = IMPOSSIBLE.format(title=profile.title, shown=_as_read(display), why=why)
        return replace(display, accepted=False, reason=reason, doubts=(Doubt.IMPLAUSIBLE,))
    if possibility is Possibility.UNLIKELY:
        doubts = (*doubts, Doubt.UNUSUAL)
    return replace(display, quantity=quantity, doubts=tuple(dict.fromkeys(doubts)))


SEEN_WELL = 0.8
"""Confidence in a unit from which an instrument that shows such digits in no other unit settles it; practice."""


def _agrees(quantity: Quantity, profile: Profile, volts: Decimal | None) -> bool:
    """Tell whether the unit seen is the only one in which the instrument shows these digits."""
    if quantity.digits is None or profile.learnt or quantity.qualifier is not Qualifier.EQUAL:
        return False
    return profile.units_for(quantity.digits, volts) == (quantity.unit,)


def _seen_well(display: DisplayReading) -> bool:
    """Tell whether the display itself shows the unit likely enough; a unit merely suggested by print is not."""
    return display.confidence.get("unit", 0.0) >= SEEN_WELL


def all_checked(seen: Seen, profile: Profile, voltage: Decimal | None = None) -> Seen:
    """Check every display of a photo; what is accepted comes first."""
    displays = sorted(
        (checked(display, profile, voltage) for display in seen.displays), key=lambda display: not display.accepted
    )
    if not displays:
        return seen
    return Seen(tuple(displays), "" if displays[0].accepted else displays[0].reason)


def _as_read(display: DisplayReading) -> str:
    quantity = display.quantity
    return display.text if quantity.digits is None else quantity.display()


def _shown(text: str | None) -> Decimal | None:
    try:
        number = Decimal(text or "")
    except InvalidOperation:
        return None
    return number if number.is_finite() and number > 0 else None

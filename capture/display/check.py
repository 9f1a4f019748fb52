"""Holds readings against the instrument's profile: refuses what it cannot show, asks about what it seldom shows."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal, InvalidOperation

from capture.display.profile import Possibility, Profile
from capture.reading import DisplayReading, Doubt, Seen
from grading.terms.quantity import Qualifier

IMPOSSIBLE = "{title} cannot show {shown}: {why}. Take it again straight on, or type the value."


def checked(display: DisplayReading, profile: Profile, voltage: Decimal | None = None) -> DisplayReading:
    """Check a reading against what the instrument can show.

    Args:
        display: As read. One that was refused stays refused.
        profile: What the instrument can show.
        voltage: Test voltage selected, V; None to take the one that the display shows, if it shows one.

    Returns:
        The same reading; or refused, with the reason; or with the doubt UNUSUAL. A unit that is missing is filled in
        where the digits can have only one, and stays asked about.
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
    possibility, why = profile.possibility(quantity, volts)
    if possibility is Possibility.IMPOSSIBLE:
        reason = IMPOSSIBLE.format(title=profile.title, shown=_as_read(display), why=why)
        return replace(display, accepted=False, reason=reason, doubts=(Doubt.IMPLAUSIBLE,))
    if possibility is Possibility.UNLIKELY:
        doubts = (*doubts, Doubt.UNUSUAL)
    return replace(display, quantity=quantity, doubts=tuple(dict.fromkeys(doubts)))


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

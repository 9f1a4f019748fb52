"""Holds readings against the instrument's profile: refuses what it cannot show, asks about what it seldom shows.

Where a visit knows more than the picture, it settles what the picture leaves open: the unit where the instrument shows
such digits in one only, the point where it can stand in one place only, and which of several numbers counts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal, InvalidOperation

from capture.display.expected import agreed_unit, chosen_number, of_kind, placed_point, possible_units, seen_well
from capture.display.profile import Possibility, Profile
from capture.reading import DisplayReading, Doubt, LeftOpen, Seen
from grading.terms.quantity import Qualifier, QuantityKind

IMPOSSIBLE = "{title} cannot show {shown}: {why}. Take it again straight on, or type the value."


def checked(
    display: DisplayReading, profile: Profile, voltage: Decimal | None = None, kind: QuantityKind | None = None
) -> DisplayReading:
    """Check a reading against what the instrument can show.

    Args:
        display: As read. One that was refused stays refused, unless only that was left open which the profile and
            `kind` tell: the place of the point, or which of several numbers counts.
        profile: What the instrument can show.
        voltage: Test voltage selected, V; None to take the one that the display shows, if it shows one.
        kind: What was to be measured; None where the visit does not say.

    Returns:
        The same reading; or refused, with the reason; or with the doubt UNUSUAL. A unit in doubt that was seen well is
        settled where the digits can have only one. One that is missing or barely seen may be settled so as well, where
        `kind` is known (`expected.agreed_unit`; `unit_by_profile` is then set); else it is offered and asked about.
    """
    if not display.accepted:
        return _settled(display, profile, voltage, kind)
    if display.quantity.qualifier is Qualifier.NONE:
        return display
    volts = voltage if voltage is not None else _shown(display.secondary.get("set_voltage"))
    display = _with_unit(display, profile, volts, kind)
    quantity, doubts = display.quantity, display.doubts
    possibility, why = profile.possibility(quantity, volts)
    if possibility is Possibility.IMPOSSIBLE and Doubt.UNIT_UNSURE in doubts:
        # Profile and sight contradict each other over a unit that was barely seen: that is asked, not refused.
        possible = possible_units(quantity, profile, volts, kind)
        if possible:
            quantity = replace(quantity, unit=possible[0] if len(possible) == 1 else None)
            left = tuple(d for d in doubts if d is not Doubt.UNIT_UNSURE)
            doubts = (*left, Doubt.UNIT_UNSURE if quantity.unit else Doubt.UNIT_MISSING)
            possibility, why = profile.possibility(quantity, volts)
    if possibility is Possibility.IMPOSSIBLE:
        reason = IMPOSSIBLE.format(title=profile.title, shown=_as_read(display), why=why)
        return replace(display, accepted=False, reason=reason, doubts=(Doubt.IMPLAUSIBLE,), unit_by_profile=False)
    if possibility is Possibility.UNLIKELY:
        doubts = (*doubts, Doubt.UNUSUAL)
        if display.unit_by_profile:  # a unit that nobody saw, on digits that are seldom shown so: asked
            doubts = (*doubts, Doubt.UNIT_UNSURE)
    return replace(display, quantity=quantity, doubts=tuple(dict.fromkeys(doubts)))


def _with_unit(
    display: DisplayReading, profile: Profile, volts: Decimal | None, kind: QuantityKind | None
) -> DisplayReading:
    """Settle a unit that is missing or in doubt, by the profile and by what was seen."""
    unit_doubts = {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE}
    # A learnt profile knows only what was confirmed so far, so it may not rule out other units.
    if profile.learnt or not unit_doubts & set(display.doubts):
        return display
    possible = possible_units(display.quantity, profile, volts, kind)
    settled = agreed_unit(display, profile, volts, kind)
    left = tuple(d for d in display.doubts if d not in unit_doubts)
    if settled is not None:
        by_profile = not seen_well(display, settled)
        quantity = replace(display.quantity, unit=settled)
        return replace(display, quantity=quantity, doubts=left, unit_by_profile=by_profile)
    if display.quantity.unit is None and len(possible) == 1:  # offered, and asked about
        return replace(display, quantity=replace(display.quantity, unit=possible[0]), doubts=(*left, Doubt.UNIT_UNSURE))
    return display


def _settled(
    display: DisplayReading, profile: Profile, voltage: Decimal | None, kind: QuantityKind | None
) -> DisplayReading:
    """Accept a refused reading where profile and expected quantity tell what the picture leaves open."""
    if profile.learnt:
        return display
    numbers = [one.reading for one in display.alternatives if one.open is LeftOpen.NUMBER]
    if numbers:
        return chosen_number(display, numbers, kind, lambda one: checked(one, profile, voltage, kind)) or display
    pointed = next((one.reading for one in display.alternatives if one.open is LeftOpen.POINT), None)
    if pointed is None:
        return display
    volts = voltage if voltage is not None else _shown(display.secondary.get("set_voltage"))
    placed = placed_point(pointed, profile, volts, kind)
    if placed is None:
        return display
    found = checked(placed, profile, voltage, kind)
    return found if found.accepted else display


def number_expected(display: DisplayReading, kind: QuantityKind | None) -> DisplayReading:
    """Take the number of the quantity expected, where units alone tell it apart from others of about its size.

    Args:
        display: As read: refused since several numbers are of one size, or accepted with one of them as the main one.
        kind: What was to be measured; None where the visit does not say.

    Returns:
        The number that counts; the same reading where nothing tells, or its unit is of that quantity already.
    """
    numbers = [one.reading for one in display.alternatives if one.open is LeftOpen.NUMBER]
    unit = display.quantity.unit
    if not numbers or (display.accepted and (unit is None or of_kind(unit, kind))):
        return display
    return chosen_number(display, numbers, kind, lambda one: one) or display


def each_expected(seen: Seen, kind: QuantityKind | None) -> Seen:
    """Take the number of the quantity expected on every display of a photo; what is accepted comes first."""
    return each_checked(seen, lambda display: number_expected(display, kind))


def all_checked(seen: Seen, profile: Profile, voltage: Decimal | None = None, kind: QuantityKind | None = None) -> Seen:
    """Check every display of a photo, each by the number that is expected; what is accepted comes first."""

    def check(display: DisplayReading) -> DisplayReading:
        if display.accepted:
            return checked(number_expected(display, kind), profile, voltage, kind)
        found = checked(display, profile, voltage, kind)
        if found.accepted or (chosen := number_expected(display, kind)) is display:
            return found
        return checked(chosen, profile, voltage, kind)

    return each_checked(seen, check)


def each_checked(seen: Seen, check: Callable[[DisplayReading], DisplayReading]) -> Seen:
    """Check every display of a photo in some way; what is accepted comes first."""
    displays = sorted(map(check, seen.displays), key=lambda display: not display.accepted)
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

"""What a display shows, as a reading at the place where the conversation stands."""

from __future__ import annotations

import re
from decimal import Decimal

from capture.carrying import can_carry
from capture.reading import Context, DisplayReading, Reading
from grading.terms.quantity import DIMENSION_OF_KIND, Quantity, QuantityKind, unit

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_CLOCK = re.compile(r"(\d+):(\d{2})")


def _shown_number(text: str | None) -> Decimal | None:
    match = _NUMBER.search(text or "")
    return Decimal(match[0]) if match else None


def _shown_seconds(text: str | None) -> Decimal | None:
    clock = _CLOCK.search(text or "")
    return Decimal(int(clock[1]) * 60 + int(clock[2])) if clock else _shown_number(text)


def _kind_shown(quantity: Quantity, voltage: Decimal | None, context: Context) -> QuantityKind | None:
    dimension = None if quantity.unit is None else unit(quantity.unit).dimension
    if voltage is not None and dimension in (None, "resistance"):
        return QuantityKind.INSULATION_RESISTANCE
    if dimension is None or (context.kind is not None and DIMENSION_OF_KIND[context.kind] == dimension):
        return context.kind if can_carry(context.kind, quantity) else None
    if dimension == "resistance":
        return None
    return next((kind for kind, name in DIMENSION_OF_KIND.items() if name == dimension), None)


def reading_seen(display: DisplayReading, context: Context) -> Reading:
    """Make the reading that a display shows, at the place where the conversation stands."""
    built = _shown_number(display.secondary.get("test_voltage"))
    kind = _kind_shown(display.quantity, built, context)
    insulation = kind is QuantityKind.INSULATION_RESISTANCE
    return Reading(
        kind=kind,
        quantity=display.quantity,
        axis=context.axis,
        section=context.section,
        terminals=context.terminals,
        test_voltage_set=context.test_voltage_set if insulation else None,
        test_voltage_built=built if insulation else None,
        elapsed_s=_shown_seconds(display.secondary.get("elapsed")),
    )

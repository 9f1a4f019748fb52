"""What a reading lacks before it can stand in a record, and the usual test point of each quantity."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from capture.language.kinds import plausible
from capture.reading import Doubt, Reading
from grading.terms.quantity import DIMENSION_OF_KIND, Qualifier, QuantityKind, unit

AMBIENT_KINDS = frozenset({QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY, QuantityKind.TIME})
"""What may be measured without an axis or section: the air of the shop."""

_DEFAULT_TERMINALS = {
    QuantityKind.INSULATION_RESISTANCE: "lead-ground",
    QuantityKind.RESISTANCE_TO_GROUND: "lead-ground",
    QuantityKind.WINDING_RESISTANCE: "lead-lead",
}
_NEEDS_DIGITS = frozenset({Qualifier.EQUAL})

STRUCTURAL = frozenset(
    {
        Doubt.VALUE_MISSING,
        Doubt.UNIT_MISSING,
        Doubt.AXIS_MISSING,
        Doubt.SECTION_MISSING,
        Doubt.QUANTITY_MISSING,
    }
)
"""Doubts that are found anew for every value."""


def dimension_problem(reading: Reading) -> str | None:
    """Say why the unit cannot belong to the quantity (volts for a resistance, say); None where it can."""
    if reading.kind is None or reading.quantity.unit is None:
        return None
    wanted, got = DIMENSION_OF_KIND[reading.kind], unit(reading.quantity.unit)
    if got.dimension == wanted:
        return None
    return f"{got.symbol} is a unit of {got.dimension}, but {reading.kind.value.replace('_', ' ')} needs {wanted}."


def fits(reading: Reading) -> bool:
    """Tell whether the unit can belong to the quantity."""
    return dimension_problem(reading) is None


def completed(
    reading: Reading,
    doubts: Iterable[Doubt],
    axes: Iterable[str],
    *,
    range_end_known: bool,
    chosen: bool = False,
) -> tuple[Reading, tuple[Doubt, ...]]:
    """Fill in what goes without saying, and give the doubts that hold for the value.

    Args:
        reading: The value.
        doubts: What was doubted as it was understood.
        axes: Names of the job's axes.
        range_end_known: The instrument's range ends at a known value, so that "over range" says how much.
        chosen: A person chose exactly this value, so it is not asked about for being unlikely.

    Returns:
        The reading with its usual test point where none was said, and the doubts: what is missing now, and what was
        doubted and is not settled by it.
    """
    whole = with_default_terminals(reading)
    found = [doubt for doubt in missing(whole, axes) if doubt is not Doubt.RANGE_END_UNKNOWN or not range_end_known]
    if not chosen and not plausible(whole):
        found.append(Doubt.IMPLAUSIBLE)
    kept = [doubt for doubt in doubts if doubt is not Doubt.IMPLAUSIBLE and not _given(doubt, whole, range_end_known)]
    return whole, tuple(dict.fromkeys([*found, *kept]))


def _given(doubt: Doubt, reading: Reading, range_end_known: bool) -> bool:
    """Tell whether what a doubt asked for is there by now."""
    if doubt is Doubt.RANGE_END_UNKNOWN:
        return range_end_known or not needs_range_end(reading) or reading.quantity.digits is not None
    if doubt is Doubt.BUILT_VOLTAGE_UNKNOWN:
        return reading.test_voltage_built is not None
    if doubt is Doubt.VALUE_MISSING:
        return reading.quantity.digits is not None
    return doubt in STRUCTURAL


def with_default_terminals(reading: Reading) -> Reading:
    """Fill the usual test point of a quantity where none was said; the read-back names it."""
    if reading.terminals is None and reading.kind in _DEFAULT_TERMINALS:
        return replace(reading, terminals=_DEFAULT_TERMINALS[reading.kind])
    return reading


def needs_range_end(reading: Reading) -> bool:
    """Tell whether "over range" says nothing without the range's end: for insulation, whose limits lie near it.

    A winding or core that reads over range on any ohmmeter is open, and an ohmmeter never passes insulation.
    """
    return reading.kind in (None, QuantityKind.INSULATION_RESISTANCE)


def missing(reading: Reading, axes: Iterable[str]) -> tuple[Doubt, ...]:
    """List what a record would lack; each blocks a bare confirmation.

    Args:
        reading: The reading.
        axes: Names of the job's axes; any other name counts as missing.
    """
    quantity, doubts = reading.quantity, []
    if quantity.digits is None and quantity.qualifier in _NEEDS_DIGITS:
        doubts.append(Doubt.VALUE_MISSING)
    if quantity.digits is None and quantity.qualifier is Qualifier.ABOVE and needs_range_end(reading):
        doubts.append(Doubt.RANGE_END_UNKNOWN)
    if quantity.digits is not None and quantity.unit is None:
        doubts.append(Doubt.UNIT_MISSING)
    if quantity.qualifier is Qualifier.COLLAPSED and reading.test_voltage_built is None:
        doubts.append(Doubt.BUILT_VOLTAGE_UNKNOWN)
    if reading.kind is None:
        doubts.append(Doubt.QUANTITY_MISSING)
    if reading.kind not in AMBIENT_KINDS:
        if reading.axis not in set(axes):
            doubts.append(Doubt.AXIS_MISSING)
        if reading.section is None:
            doubts.append(Doubt.SECTION_MISSING)
    elif reading.axis not in set(axes) and (reading.axis is not None or reading.section is not None):
        # A winding's temperature without its axis would stand for the air of the shop.
        doubts.append(Doubt.AXIS_MISSING)
    return tuple(doubts)

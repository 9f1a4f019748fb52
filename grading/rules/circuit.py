"""A lead-to-lead or core reading as a circuit: open or closed, less the meter's leads, and its resolution."""

from __future__ import annotations

from decimal import Decimal

from grading.case import Case, in_ohm
from grading.measurement import Circumstance, InstrumentKind
from grading.reading import BoundedReading, Shape
from grading.terms.quantity import unit
from grading.winding import lead_compensated


def compensated(case: Case, reading: BoundedReading) -> Decimal:
    """Give the value less the meter's lead resistance, ohm, unless the meter was zeroed or measures with four wires."""
    value = reading.value or Decimal(0)
    instrument = case.instruments.get(reading.measurement.instrument_id or "")
    if instrument is None or instrument.lead_resistance_ohm is None or reading.noted(Circumstance.LEADS_ZEROED):
        return value
    if instrument.kind is InstrumentKind.MILLIOHMMETER:
        return value
    return lead_compensated(value, instrument.lead_resistance_ohm)


def is_open(case: Case, reading: BoundedReading) -> bool:
    """Tell whether a lead-to-lead or core reading shows no circuit: over range from 1 kΩ up, or 1 kΩ and more."""
    bar = in_ohm(case.limit("winding.open_circuit"))
    if reading.shape is Shape.OVER:
        unknown_end = reading.interval.low == 0
        return unknown_end or reading.interval.low >= bar
    return reading.shape is Shape.POINT and reading.interval.low >= bar


def count_ohm(reading: BoundedReading) -> Decimal:
    """Give one count of the last digit shown, ohm."""
    quantity = reading.measurement.quantity
    return (quantity.resolution or Decimal(0)) * unit(quantity.unit or "Ohm").factor

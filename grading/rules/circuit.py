"""A lead-to-lead or core reading as a circuit: open or closed, less the meter's leads, and its resolution."""

from __future__ import annotations

from decimal import Decimal

from grading.case import Case, in_ohm
from grading.measurement import InstrumentKind
from grading.reading import BoundedReading, Shape
from grading.steps import ReasonKind
from grading.terms.circumstance import Circumstance
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


def is_open(case: Case, reading: BoundedReading, bound: str = "winding.open_circuit") -> bool:
    """Tell whether a reading from end to end shows no circuit: over range from the bound up, or as much and more."""
    bar = in_ohm(case.limit(bound))
    if reading.shape is Shape.OVER:
        unknown_end = reading.interval.low == 0
        return unknown_end or reading.interval.low >= bar
    return reading.shape is Shape.POINT and reading.interval.low >= bar


def count_ohm(reading: BoundedReading) -> Decimal:
    """Give one count of the last digit shown, ohm."""
    return reading.measurement.quantity.digit_in_base


def by_counts(reading: BoundedReading) -> Decimal:
    """Give the part of a value's error that does not grow with it, ohm: counts of the data sheet, or half a digit."""
    half = count_ohm(reading) / 2
    percent = reading.basis.percent
    if reading.half_width is None or reading.value is None or percent is None:
        return half
    if reading.basis.kind is not ReasonKind.DATA_SHEET:
        return half
    counts = reading.half_width - reading.value * percent / 100
    return counts if counts > half else half

"""From a measurement to bounds: what the true value can be, given the qualifier and the instrument.

A point reading becomes value ± accuracy, an over-range reading [range end, ∞], a below-range reading [0, value], and
a collapsed test voltage [0, 1000 Ω/V times the voltage selected]. What was assumed on the way is said in `basis`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from grading.finding import Limit
from grading.interval import INFINITY, Interval
from grading.limits import LIMITS
from grading.measurement import Circumstance, Instrument, InstrumentKind, Measurement
from grading.terms.quantity import Qualifier, QuantityKind, UnitError, unit
from grading.terms.section import Section
from grading.uncertainty import expanded_uncertainty, half_width, standard_uncertainty
from grading.voltage import (
    collapse_bound,
    collapse_estimate,
    implied_current_ma,
    is_collapsed,
)
from grading.words import number, ohms, span

Limits = Mapping[str, Limit]
"""The limits in force, by id."""


class Shape(StrEnum):
    """What kind of statement a reading makes."""

    POINT = "point"
    OVER = "over"
    UNDER = "under"
    COLLAPSED = "collapsed"
    UNEXPLAINED = "unexplained"  # voltage not built, yet hardly any current: charging, misread or weak tester
    NONE = "none"


@dataclass(frozen=True)
class BoundedReading:
    """A measurement with its bounds.

    Attributes:
        measurement: The record.
        shape: What kind of statement it makes.
        interval: All true values it leaves possible, ohm.
        value: The point value, ohm; None for bounds.
        half_width: Largest error of the point value, ohm.
        basis: Where the error comes from, in words; for `Shape.NONE` why there is no value.
        estimate: Of a collapsed reading, from the voltage left and the tester's current, in words; else "".
    """

    measurement: Measurement
    shape: Shape
    interval: Interval
    value: Decimal | None = None
    half_width: Decimal | None = None
    basis: str = ""
    estimate: str = ""

    @property
    def id(self) -> str:
        """The record id."""
        return self.measurement.record_id

    @property
    def section(self) -> Section | None:
        """Part of the axis."""
        return self.measurement.section

    @property
    def voltage(self) -> Decimal | None:
        """Test voltage on the terminals, V: built where known, else selected."""
        built = self.measurement.test_voltage_built
        return self.measurement.test_voltage_set if built is None else built

    @property
    def standard_uncertainty(self) -> Decimal | None:
        """Of the point value, ohm."""
        return None if self.half_width is None else standard_uncertainty(self.half_width)

    @property
    def expanded_uncertainty(self) -> Decimal | None:
        """U (k = 2) of the point value, ohm."""
        known = self.standard_uncertainty
        return None if known is None else expanded_uncertainty(known)

    def noted(self, circumstance: Circumstance) -> bool:
        """Whether a circumstance was noted beside the measurement."""
        return circumstance in self.measurement.circumstances


UNKNOWN = Interval(Decimal(0), INFINITY)
RESISTANCE_KINDS = frozenset(
    {
        QuantityKind.INSULATION_RESISTANCE,
        QuantityKind.WINDING_RESISTANCE,
        QuantityKind.RESISTANCE_TO_GROUND,
        QuantityKind.CONTINUITY,
    }
)


def bound(measurement: Measurement, instrument: Instrument | None, limits: Limits = LIMITS) -> BoundedReading:
    """Bounds of one resistance measurement.

    Args:
        measurement: Of a resistance kind.
        instrument: The one that made it, or None where it is not on record.
        limits: Limits in force.

    Returns:
        The reading; `Shape.NONE` with a reason where there is no usable value. Never raises.
    """
    qualifier = measurement.quantity.qualifier
    value, problem = _ohms(measurement)
    if problem:
        return BoundedReading(measurement, Shape.NONE, UNKNOWN, basis=problem)
    if _collapsed(measurement, limits):
        return _collapse(measurement, instrument, value, limits)
    if qualifier in (Qualifier.ABOVE, Qualifier.OPEN):
        return _over(measurement, instrument, value)
    if qualifier in (Qualifier.BELOW, Qualifier.SHORT):
        return _under(measurement, instrument, value, limits)
    if value is None:
        return BoundedReading(measurement, Shape.NONE, UNKNOWN, basis="no digits were recorded")
    width, basis = _accuracy(measurement, instrument, value, limits)
    return BoundedReading(measurement, Shape.POINT, Interval.around(value, width), value, width, basis)


def _ohms(measurement: Measurement) -> tuple[Decimal | None, str]:
    """The digits in ohm, or why there is no usable value."""
    quantity = measurement.quantity
    if quantity.qualifier is Qualifier.NONE:
        return None, "the display showed no valid value"
    if quantity.digits is None:
        return None, ""
    try:
        value = quantity.in_unit("Ohm")
    except UnitError as error:
        return None, str(error)
    if value is not None and value < 0:
        return None, "a resistance cannot be negative; read it again"
    return value, ""


def _collapsed(measurement: Measurement, limits: Limits) -> bool:
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        return False
    if measurement.quantity.qualifier is Qualifier.COLLAPSED:
        return True
    set_voltage, built = measurement.test_voltage_set, measurement.test_voltage_built
    return (
        set_voltage is not None and built is not None and is_collapsed(set_voltage, built, limits["tester.built"].value)
    )


def _collapse(
    measurement: Measurement, instrument: Instrument | None, value: Decimal | None, limits: Limits
) -> BoundedReading:
    built = measurement.test_voltage_built
    open_end = measurement.quantity.qualifier is Qualifier.OPEN
    least = limits["tester.current_unexplained"].value
    little = value is not None and built is not None and implied_current_ma(built, value) < least
    if Circumstance.UNSTEADY in measurement.circumstances:
        return BoundedReading(measurement, Shape.UNEXPLAINED, UNKNOWN, value, basis="the voltage was still rising")
    if open_end or little:
        basis = "hardly any current flowed although the voltage was not built: charging, misread or a weak tester"
        return BoundedReading(measurement, Shape.UNEXPLAINED, UNKNOWN, value, basis=basis)
    basis = "a tester of IEC 61557-2 holds its voltage down to 1000 Ω/V"
    bounds = collapse_bound(measurement.test_voltage_set)
    estimate = _estimate(built, value, None if instrument is None else instrument.current_limit_ma, limits)
    return BoundedReading(measurement, Shape.COLLAPSED, bounds, value, basis=basis, estimate=estimate)


def _estimate(built: Decimal | None, value: Decimal | None, limit_ma: Decimal | None, limits: Limits) -> str:
    """What the voltage left says about the resistance, and whether a value shown with it fits the tester's current."""
    if not built:
        return ""
    if limit_ma is None:
        low, high = limits["tester.current_least"].value, limits["tester.current_most"].value
        found = collapse_estimate(built, low, high)
        text = f"estimated {span(found)} from the 1 to 15 mA that a tester drives"
    else:
        found = collapse_estimate(built, limit_ma, limit_ma)
        text = f"estimated {ohms(found.low)} from the tester's {number(limit_ma)} mA"
        low = high = limit_ma
    if value is None:
        return text
    current = implied_current_ma(built, value)
    factor = limits["tester.current_fit"].value
    fits = low / factor <= current <= high * factor
    return f"{text}; the value shown means {number(current)} mA, which {'fits' if fits else 'does not fit'}"


def _over(measurement: Measurement, instrument: Instrument | None, value: Decimal | None) -> BoundedReading:
    if value is None:
        value = _range_end(measurement, instrument)
    if value is None:
        basis = "over range, but the end of the range is not on record: greater than how much?"
        return BoundedReading(measurement, Shape.OVER, UNKNOWN, basis=basis)
    return BoundedReading(measurement, Shape.OVER, Interval.at_least(value), basis="over range: a lower bound")


def _range_end(measurement: Measurement, instrument: Instrument | None) -> Decimal | None:
    if instrument is None or not instrument.range_end:
        return None
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        return instrument.range_end.get(0)
    by_voltage = {volts: end for volts, end in instrument.range_end.items() if volts > 0}
    selected = measurement.test_voltage_set
    exact = None if selected is None else by_voltage.get(int(selected))
    return exact if exact is not None else min(by_voltage.values(), default=None)


def _under(
    measurement: Measurement, instrument: Instrument | None, value: Decimal | None, limits: Limits
) -> BoundedReading:
    basis = "below range: an upper bound"
    if value is None and instrument is not None:
        value = _finest(measurement, instrument)
    if value is None:
        insulation = measurement.kind is QuantityKind.INSULATION_RESISTANCE
        coarse = limits["tester.resolution_insulation" if insulation else "tester.resolution_ohm"]
        value = coarse.value * unit(coarse.unit).factor
        basis = "below range; the meter's resolution is not on record, so a coarse one is assumed (house rule)"
    return BoundedReading(measurement, Shape.UNDER, Interval.at_most(value), basis=basis)


def _accuracy(
    measurement: Measurement, instrument: Instrument | None, value: Decimal, limits: Limits
) -> tuple[Decimal, str]:
    quantity = measurement.quantity
    digit = (quantity.resolution or Decimal(0)) * unit(quantity.unit or "Ohm").factor
    insulation = measurement.kind is QuantityKind.INSULATION_RESISTANCE
    percent, counts = _data_sheet(instrument, insulation)
    if instrument is not None and (percent is not None or counts is not None):
        finest = _finest(measurement, instrument)
        count = digit if finest is None else min(digit, max(finest, value / limits["tester.fewest_counts"].value))
        # Fewer digits recorded than the display has, as in "half a meg": half of the last one given is rounding.
        rounding = digit / 2 if digit > count else Decimal(0)
        width = half_width(value, percent or Decimal(0), counts or Decimal(0), count) + rounding
        sheet = f"the data sheet of {instrument.name or instrument.id}"
        return width, f"±({percent or 0} % + {counts or 0} counts) by {sheet}"
    if insulation:
        error = limits["tester.operating_error"].value
        width = max(half_width(value, error, Decimal(0), digit), digit)
        return width, f"±{error} %, the most that IEC 61557-2 allows, since no accuracy is on record"
    width = half_width(value, limits["tester.ohm_error"].value, limits["tester.ohm_counts"].value, digit)
    return width, "±(1 % + 5 counts) assumed, since no accuracy is on record (house rule)"


def _finest(measurement: Measurement, instrument: Instrument) -> Decimal | None:
    """The instrument's own resolution where it speaks of the function that was used."""
    insulation = measurement.kind is QuantityKind.INSULATION_RESISTANCE
    tester = instrument.kind is InstrumentKind.INSULATION_TESTER
    return instrument.resolution_ohm if insulation is tester else None


def _data_sheet(instrument: Instrument | None, insulation: bool) -> tuple[Decimal | None, Decimal | None]:
    if instrument is None:
        return None, None
    own = (instrument.ohm_accuracy_percent, instrument.ohm_accuracy_counts)
    if not insulation and own != (None, None):
        return own
    return instrument.accuracy_percent, instrument.accuracy_counts

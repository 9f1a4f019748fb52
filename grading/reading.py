"""From a measurement to bounds: what the true value can be, given the qualifier and the instrument.

A point reading becomes value ± accuracy, an over-range reading [range end, ∞], a below-range reading [0, value], and
a collapsed test voltage [0, 1000 Ω/V times the voltage selected]. What was assumed on the way is kept in `basis`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple

from grading.details import CollapseEstimate
from grading.facts import MeasuredValue, Place
from grading.interval import INFINITY, ZERO, Interval
from grading.limit import Limit
from grading.limits import LIMITS
from grading.measurement import Instrument, InstrumentKind, Measurement
from grading.steps import Reason, ReasonKind
from grading.terms.circumstance import Circumstance
from grading.terms.component import between
from grading.terms.quantity import Qualifier, QuantityKind, UnitError, unit
from grading.terms.terminals import point, to_earth
from grading.uncertainty import expanded_uncertainty, half_width, standard_uncertainty
from grading.voltage import (
    collapse_bound,
    collapse_estimate,
    implied_current_ma,
    is_collapsed,
)

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


class Bounds(NamedTuple):
    """What a measurement says of a resistance.

    Attributes:
        shape: What kind of statement it makes.
        interval: All true values it leaves possible, ohm.
        basis: Where the bounds come from; for `Shape.NONE` why there is no value.
        value: The point value, ohm; None for bounds.
        half_width: Largest error of the point value, ohm.
        estimate: Of a collapsed reading, from the voltage left and the tester's current; else None.
    """

    shape: Shape
    interval: Interval
    basis: Reason
    value: Decimal | None = None
    half_width: Decimal | None = None
    estimate: CollapseEstimate | None = None


class BoundedReading:
    """A measurement with its bounds (as in `Bounds`), and what rules ask of it again and again.

    Attributes:
        measurement: The record.
        bounds: What it says of the resistance.
        doubt: Why the value can be lower than shown, so that it proves no pass; else None. Its lower bound says so too.
        early: Whether it is known not to be a one-minute value (or, by shop rule, not known to be one).
        id: The record id.
        kind: What was measured.
        section: Part of the axis.
        component: The component it was taken on.
        voltage: Test voltage on the terminals, V: built where known, else selected.
        point: The test point, under whatever names.
        to_earth: Whether one end of it is earth.
        power: Whether it is of the circuit that the drive feeds, and of that alone.
        place: Where it was taken.
        cited: What a finding cites of it.
        standard_uncertainty: Of the point value, ohm; None for bounds.
    """

    __slots__ = (
        *("measurement", "bounds", "shape", "interval", "basis", "value", "half_width", "estimate", "doubt", "early"),
        *("id", "kind", "section", "component", "voltage", "point", "to_earth", "power", "place", "cited"),
        "standard_uncertainty",
    )

    def __init__(
        self, measurement: Measurement, bounds: Bounds, doubt: Reason | None = None, *, early: bool = False
    ) -> None:
        """Collect what is asked of a measurement once."""
        terminals, built = measurement.terminals, measurement.test_voltage_built
        self.measurement: Final = measurement
        self.bounds: Final = bounds
        shape, interval, basis, value, half_width, estimate = bounds
        self.shape: Final = shape
        self.interval: Final = interval
        self.basis: Final = basis
        self.value: Final = value
        self.half_width: Final = half_width
        self.estimate: Final = estimate
        self.doubt: Final = doubt
        self.early: Final = early
        self.id: Final = measurement.record_id
        self.kind: Final = measurement.kind
        self.section: Final = measurement.section
        self.component: Final = measurement.part
        self.voltage: Final = measurement.test_voltage_set if built is None else built
        self.point: Final = point(terminals)
        self.to_earth: Final = to_earth(terminals)
        self.power: Final = self.component.power and not between(terminals)
        self.place: Final = Place(measurement.axis, self.section, terminals, measurement.position)
        self.cited: Final = MeasuredValue(
            self.id,
            self.section,
            terminals,
            measurement.quantity,
            measurement.test_voltage_set,
            built,
            measurement.elapsed_s,
        )
        self.standard_uncertainty: Final = None if half_width is None else standard_uncertainty(half_width)

    def lowered(self, doubt: Reason, low: Decimal = ZERO) -> BoundedReading:
        """Give the reading with a lower bound, ohm, and the reason for it; never raised."""
        interval = Interval(min(low, self.interval.low), self.interval.high)
        return BoundedReading(self.measurement, self.bounds._replace(interval=interval), doubt, early=self.early)

    @property
    def expanded_uncertainty(self) -> Decimal | None:
        """U (k = 2) of the point value, ohm."""
        known = self.standard_uncertainty
        return None if known is None else expanded_uncertainty(known)

    def noted(self, circumstance: Circumstance) -> bool:
        """Tell whether a circumstance was noted beside the measurement."""
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


def bound(
    measurement: Measurement,
    instrument: Instrument | None,
    limits: Limits = LIMITS,
    *,
    require_time: bool = False,
) -> BoundedReading:
    """Put bounds on one resistance measurement.

    Args:
        measurement: Of a resistance kind.
        instrument: The one that made it, or None where it is not on record.
        limits: Limits in force.
        require_time: A value without a time under voltage counts as early.

    Returns:
        The reading; `Shape.NONE` with a reason where there is no usable value. Never raises.
    """
    elapsed = measurement.elapsed_s
    early = require_time if elapsed is None else elapsed < limits["insulation.time"].value
    return BoundedReading(measurement, _bounds(measurement, instrument, limits), early=early)


def _bounds(measurement: Measurement, instrument: Instrument | None, limits: Limits) -> Bounds:
    qualifier = measurement.quantity.qualifier
    value, problem = _ohms(measurement)
    if problem is not None:
        return Bounds(Shape.NONE, UNKNOWN, problem)
    if _collapsed(measurement, limits):
        return _collapse(measurement, instrument, value, limits)
    if qualifier in (Qualifier.ABOVE, Qualifier.OPEN):
        return _over(measurement, instrument, value)
    if qualifier in (Qualifier.BELOW, Qualifier.SHORT):
        return _under(measurement, instrument, value, limits)
    return _point(measurement, instrument, value, limits)


def _point(measurement: Measurement, instrument: Instrument | None, value: Decimal | None, limits: Limits) -> Bounds:
    if value is None:
        return Bounds(Shape.NONE, UNKNOWN, Reason(ReasonKind.NO_DIGITS))
    if value == 0:
        return _zero(measurement, instrument)
    width, basis = _accuracy(measurement, instrument, value, limits)
    return Bounds(Shape.POINT, Interval.around(value, width), basis, value, width)


def _zero(measurement: Measurement, instrument: Instrument | None) -> Bounds:
    """Bound a display of zero: half of the last digit given, and the counts of the data sheet at its own resolution."""
    _, counts = _data_sheet(instrument, measurement.kind is QuantityKind.INSULATION_RESISTANCE)
    least = None if instrument is None else finest(measurement, instrument)
    width = _digit(measurement) / 2 + (counts or Decimal(0)) * (least or Decimal(0))
    reason = Reason(ReasonKind.BELOW_RANGE)
    return Bounds(Shape.POINT, Interval.at_most(width), reason, Decimal(0), width)


def _digit(measurement: Measurement) -> Decimal:
    """Give one count of the last digit shown, ohm."""
    return measurement.quantity.digit_in_base


def _ohms(measurement: Measurement) -> tuple[Decimal | None, Reason | None]:
    """Give the digits in ohm, or why there is no usable value."""
    quantity = measurement.quantity
    if quantity.qualifier is Qualifier.NONE:
        return None, Reason(ReasonKind.INVALID_DISPLAY)
    if quantity.digits is None:
        return None, None
    if quantity.unit is None:
        return None, Reason(ReasonKind.NO_UNIT)
    try:
        value = quantity.in_unit("Ohm")
    except UnitError:
        return None, Reason(ReasonKind.WRONG_UNIT, unit=quantity.unit)
    return (None, Reason(ReasonKind.NEGATIVE)) if value is not None and value < 0 else (value, None)


def _collapsed(measurement: Measurement, limits: Limits) -> bool:
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        return False
    if measurement.quantity.qualifier is Qualifier.COLLAPSED:
        return True
    set_voltage, built = measurement.test_voltage_set, measurement.test_voltage_built
    return (
        set_voltage is not None
        and built is not None
        and is_collapsed(set_voltage, built, _value(limits, "tester.built"))
    )


def _value(limits: Limits, name: str) -> Decimal:
    return limits[name].value


def _collapse(measurement: Measurement, instrument: Instrument | None, value: Decimal | None, limits: Limits) -> Bounds:
    built = measurement.test_voltage_built
    open_end = measurement.quantity.qualifier is Qualifier.OPEN
    bounds = collapse_bound(measurement.test_voltage_set)
    least = _value(limits, "tester.current_unexplained")
    little = value is not None and built is not None and implied_current_ma(built, value) < least
    # A value below the load that a tester must hold explains the collapse by itself, however little it drives.
    explained = value is not None and value <= bounds.high and not _over_range(measurement)
    if Circumstance.UNSTEADY in measurement.circumstances:
        reason = Reason(ReasonKind.VOLTAGE_RISING)
        return Bounds(Shape.UNEXPLAINED, UNKNOWN, reason, value)
    if open_end or (little and not explained):
        reason = Reason(ReasonKind.HARDLY_ANY_CURRENT)
        return Bounds(Shape.UNEXPLAINED, UNKNOWN, reason, value)
    own = None if instrument is None else instrument.current_limit_ma
    estimate = _estimate(built, value, own, limits)
    if not explained and not _proves(built, instrument, limits):
        reason = Reason(ReasonKind.COMPLIANCE_NOT_STATED, limit=limits["tester.full_voltage_load"])
        return Bounds(Shape.UNEXPLAINED, UNKNOWN, reason, value, estimate=estimate)
    reason = Reason(ReasonKind.FULL_VOLTAGE_LOAD, limit=limits["tester.full_voltage_load"])
    return Bounds(Shape.COLLAPSED, bounds, reason, value, estimate=estimate)


def _over_range(measurement: Measurement) -> bool:
    return measurement.quantity.qualifier in (Qualifier.ABOVE, Qualifier.OPEN)


def _proves(built: Decimal | None, instrument: Instrument | None, limits: Limits) -> bool:
    """Tell whether a voltage not built proves a low resistance.

    It does on a tester that states IEC 61557-2. One that states its own current gives way above U/I; one that states
    nothing is taken to drive as little as explains a collapse at all. Either proves it where the resistance that it
    points at is below the floor of a machine. A voltage that came up by nothing that was noted is taken as none.
    """
    if built is None or (instrument is not None and instrument.iec_61557_2):
        return True
    own = None if instrument is None else instrument.current_limit_ma
    drives = _value(limits, "tester.current_unexplained") if own is None else own / _value(limits, "tester.current_fit")
    if drives <= 0:
        return False
    floor = limits["insulation.machine"]
    return collapse_estimate(built, drives, drives).high <= floor.value * unit(floor.unit).factor


def _estimate(
    built: Decimal | None, value: Decimal | None, limit_ma: Decimal | None, limits: Limits
) -> CollapseEstimate | None:
    """Estimate the resistance from the voltage left, and tell whether a value shown with it fits the current."""
    if not built:
        return None
    least = _value(limits, "tester.current_least") if limit_ma is None else limit_ma
    most = _value(limits, "tester.current_most") if limit_ma is None else limit_ma
    found = CollapseEstimate(collapse_estimate(built, least, most), least, most, limit_ma is not None)
    if value is None:
        return found
    current, factor = implied_current_ma(built, value), _value(limits, "tester.current_fit")
    return replace(found, implied_ma=current, fits=least / factor <= current <= most * factor)


def _over(measurement: Measurement, instrument: Instrument | None, value: Decimal | None) -> Bounds:
    if value is None:
        value = _range_end(measurement, instrument)
    if value is None:
        return Bounds(Shape.OVER, UNKNOWN, Reason(ReasonKind.RANGE_END_UNKNOWN))
    return Bounds(Shape.OVER, Interval.at_least(value), Reason(ReasonKind.OVER_RANGE))


def _range_end(measurement: Measurement, instrument: Instrument | None) -> Decimal | None:
    if instrument is None or not instrument.range_end:
        return None
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        return instrument.range_end.get(0)
    by_voltage = {volts: end for volts, end in instrument.range_end.items() if volts > 0}
    selected = measurement.test_voltage_set
    exact = None if selected is None else by_voltage.get(int(selected))
    return exact if exact is not None else min(by_voltage.values(), default=None)


def _under(measurement: Measurement, instrument: Instrument | None, value: Decimal | None, limits: Limits) -> Bounds:
    reason = Reason(ReasonKind.BELOW_RANGE)
    if value is None and instrument is not None:
        value = finest(measurement, instrument)
    if value is None:
        insulation = measurement.kind is QuantityKind.INSULATION_RESISTANCE
        coarse = limits["tester.resolution_insulation" if insulation else "tester.resolution_ohm"]
        value = coarse.value * unit(coarse.unit).factor
        reason = Reason(ReasonKind.RESOLUTION_UNKNOWN, limit=coarse)
    return Bounds(Shape.UNDER, Interval.at_most(value), reason)


def _accuracy(
    measurement: Measurement, instrument: Instrument | None, value: Decimal, limits: Limits
) -> tuple[Decimal, Reason]:
    digit = _digit(measurement)
    insulation = measurement.kind is QuantityKind.INSULATION_RESISTANCE
    percent, counts = _data_sheet(instrument, insulation)
    if instrument is not None and (percent is not None or counts is not None):
        count = _count(digit, value, finest(measurement, instrument), limits)
        # Fewer digits recorded than the display has, as in "half a meg": half of the last one given is rounding.
        rounding = digit / 2 if digit > count else ZERO
        percent, counts = percent or ZERO, counts or ZERO
        name = instrument.name or instrument.id
        reason = Reason(ReasonKind.DATA_SHEET, percent=percent, counts=counts, instrument=name)
        return half_width(value, percent, counts, count) + rounding, reason
    if insulation:
        limit = limits["tester.operating_error"]
        width = max(half_width(value, limit.value, Decimal(0), digit), digit)
        return width, Reason(ReasonKind.STANDARD_ERROR, limit=limit)
    percent, counts = _value(limits, "tester.ohm_error"), _value(limits, "tester.ohm_counts")
    reason = Reason(ReasonKind.ASSUMED_ERROR, limit=limits["tester.ohm_error"], percent=percent, counts=counts)
    return half_width(value, percent, counts, digit), reason


def _count(digit: Decimal, value: Decimal, least: Decimal | None, limits: Limits) -> Decimal:
    """Give one count of the display, ohm: as the digits say, unless fewer were recorded than it has."""
    if least is None or digit <= least:
        return digit
    shown = value / _value(limits, "tester.fewest_counts")
    return min(digit, max(least, shown))


def finest(measurement: Measurement, instrument: Instrument) -> Decimal | None:
    """Give the instrument's own resolution where it speaks of the function that was used."""
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

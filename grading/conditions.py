"""Temperature and humidity when a reading was taken: its own, or the axis's default, and which of the two.

A reading's own is what stands beside it, else what was measured on the axis within the limit of time around it.
Without either, the axis's value stands in: the one measured on it, where there is only one or one is nearest in time,
else the one described. A default is always said to be one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.limit import Limit
from grading.measurement import AxisContext, Measurement
from grading.terms.lazy import lazy
from grading.terms.quantity import Qualifier, QuantityKind, UnitError
from grading.terms.record import record
from grading.terms.section import Section

AGE = "conditions.age"
"""The limit on the time between a reading and a temperature that counts as its own."""


@record
class Conditions:
    """What held when a reading was taken.

    Attributes:
        winding_c: Winding temperature, °C; None where not known.
        air_c: Air temperature, °C; None where not known.
        humidity_percent: Relative humidity, %; None where not known.
        own: Fields among these that are the reading's own and not the axis's default.
    """

    winding_c: Decimal | None = None
    air_c: Decimal | None = None
    humidity_percent: Decimal | None = None
    own: frozenset[str] = frozenset()


@record
class _Taken:
    value: Decimal
    at: dt.datetime | None


@dataclass(frozen=True)
class Surroundings:
    """Everything known of temperature and humidity about one axis."""

    context: AxisContext
    winding: tuple[_Taken, ...]
    air: tuple[_Taken, ...]
    humidity: tuple[_Taken, ...]
    age: dt.timedelta

    def of(self, measurement: Measurement) -> Conditions:
        """Give what held when a reading was taken."""
        if self._same_for_all and measurement.winding_c is measurement.air_c is measurement.humidity_percent is None:
            return self._default
        return self._of(measurement)

    @lazy
    def _same_for_all(self) -> bool:
        """Whether nothing was measured, so that every reading without its own has the same."""
        return not (self.winding or self.air or self.humidity)

    @lazy
    def _default(self) -> Conditions:
        return Conditions(self.context.winding_c, self.context.air_c, self.context.humidity_percent)

    def _of(self, measurement: Measurement) -> Conditions:
        at = measurement.at
        found = {
            "winding_c": self._find(measurement.winding_c, self.winding, at, self.context.winding_c),
            "air_c": self._find(measurement.air_c, self.air, at, self.context.air_c),
            "humidity_percent": self._find(
                measurement.humidity_percent, self.humidity, at, self.context.humidity_percent
            ),
        }
        values = {name: value for name, (value, _) in found.items()}
        return Conditions(**values, own=frozenset(name for name, (_, own) in found.items() if own))

    def _find(
        self, noted: Decimal | None, taken: tuple[_Taken, ...], at: dt.datetime | None, described: Decimal | None
    ) -> tuple[Decimal | None, bool]:
        """Give a value and whether it is the reading's own."""
        if noted is not None:
            return noted, True
        timed = [] if at is None else [(abs(one.at - at), one.value) for one in taken if one.at is not None]
        if timed:
            apart, value = min(timed)
            return value, apart <= self.age
        values = {one.value for one in taken}
        if not values:
            return described, False
        # Several without a time: which of them held is not known.
        return (next(iter(values)), False) if len(values) == 1 else (None, False)


def surroundings(
    measurements: Iterable[Measurement], context: AxisContext, limits: Mapping[str, Limit]
) -> Surroundings:
    """Collect temperature and humidity about one axis.

    Args:
        measurements: Its readings; a temperature of the motor alone is the winding's, any other the air's.
        context: What is described of it.
        limits: Limits in force.
    """
    winding: list[_Taken] = []
    air: list[_Taken] = []
    humidity: list[_Taken] = []
    for measurement in measurements:
        found = _value(measurement)
        if found is None:
            continue
        if measurement.kind is QuantityKind.HUMIDITY:
            humidity.append(found)
        else:
            (winding if measurement.section is Section.MOTOR_ALONE else air).append(found)
    age = dt.timedelta(minutes=float(limits[AGE].value))
    return Surroundings(context, tuple(winding), tuple(air), tuple(humidity), age)


_UNITS = {QuantityKind.TEMPERATURE: "Cel", QuantityKind.HUMIDITY: "%"}


def _value(measurement: Measurement) -> _Taken | None:
    if measurement.kind not in _UNITS or measurement.quantity.qualifier is not Qualifier.EQUAL:
        return None
    try:
        value = measurement.quantity.in_unit(_UNITS[measurement.kind])
    except UnitError:
        return None
    return None if value is None else _Taken(value, measurement.at)

"""Limits on what is entered: what a value can be at all, and beyond what it is asked about (part of `grading.limits`).

What cannot be is left out; what can be but seldom is, becomes a question. None of these judges an axis.
"""

from __future__ import annotations

from decimal import Decimal

from grading.limit import COMMON_PRACTICE, HOUSE_RULE, Direction, Limit, SourceStatus

_HOUSE = (HOUSE_RULE, SourceStatus.HOUSE_RULE)
_PRACTICE = (COMMON_PRACTICE, SourceStatus.COMMON_PRACTICE)


def _least(
    name: str, quantity: str, condition: str, value: str, unit: str, origin: tuple[str, SourceStatus] = _HOUSE
) -> Limit:
    source, status = origin
    return Limit(name, quantity, condition, Decimal(value), unit, source, "", status)


def _most(
    name: str, quantity: str, condition: str, value: str, unit: str, origin: tuple[str, SourceStatus] = _HOUSE
) -> Limit:
    source, status = origin
    return Limit(name, quantity, condition, Decimal(value), unit, source, "", status, Direction.AT_MOST)


ENTRY_LIMITS: tuple[Limit, ...] = (
    _least("possible.coldest", "a temperature", "colder than any place on earth", "-100", "Cel"),
    _most("possible.hottest", "a temperature", "no winding survives it", "1000", "Cel"),
    _most("possible.humidity", "relative humidity", "by its definition", "100", "%"),
    _least("possible.smallest", "any size but zero", "in the unit of its field", "1e-12", "1"),
    _most("possible.largest", "any size", "in the unit of its field", "1e18", "1"),
    _least("possible.earliest", "a year", "before there were electric machines", "1800", "1"),
    _most("conditions.age", "time between a reading and a temperature or humidity", "up to this it is the reading's"
          " own, beyond it only the axis's default", "30", "min"),
    _most("possible.latest", "a year", "too far ahead for a date that was meant", "2200", "1"),
    # Beyond these a value is asked about.
    _least("plausible.winding_least", "resistance of a winding", "a servo or spindle motor", "0.0001", "Ohm"),
    _most("plausible.winding_most", "resistance of a winding", "a servo or spindle motor", "100", "Ohm"),
    _least("plausible.brake_least", "resistance of a brake coil", "any holding brake: 24 V coils have 15 to 60 Ω",
           "5", "Ohm", _PRACTICE),
    _most("plausible.same_digits", "deviation of two readings from a thousand times each other", "within it their units"
          " alone may differ", "10", "%"),
    _most("plausible.finer_digits", "resolution of an insulation tester over the last digit given", "from this on it"
          " cannot have been shown", "100", "1"),
    _least("plausible.power_servo", "rated power", "a servo motor of a machine tool", "10", "W", _PRACTICE),
    _least("plausible.power_spindle", "rated power", "a spindle motor", "200", "W", _PRACTICE),
    _least("plausible.power_share", "rated power over rated voltage times current", "whatever the power factor",
           "2", "%"),
    _most("plausible.power_most", "rated power", "any motor of a machine tool", "500000", "W", _PRACTICE),
    _most("plausible.warm", "temperature of the air, or of a winding where the air's is not known", "in °C; above,"
          " °F may be meant", "50", "Cel", _PRACTICE),
    _least("plausible.room_least", "temperature of a workshop", "what a value in °F comes to", "0", "Cel", _PRACTICE),
    _most("plausible.room_most", "temperature of a workshop", "what a value in °F comes to", "40", "Cel", _PRACTICE),
)  # fmt: skip
"""Rows of the table of limits that speak of entries."""

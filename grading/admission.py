"""What can be at all: readings, axis and instruments without the values that no instrument or nameplate can give.

Whatever grading computes with has passed here, so that no formula meets a value outside its range: a field that cannot
be is left out and named (`grading.entries.LeftOutValue`), and a reading with such a field is left out whole.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from enum import StrEnum
from operator import attrgetter
from typing import Any

from grading.entries import Impossible, LeftOutValue, Subject
from grading.limit import Limit
from grading.limits import LIMITS
from grading.measurement import AxisContext, CarrierUse, Instrument, Measurement, Visit

Limits = Mapping[str, Limit]
Why = tuple[Impossible, Limit | None]


class Domain(StrEnum):
    """Which values a field can have."""

    POSITIVE = "positive"
    NOT_NEGATIVE = "not_negative"
    CELSIUS = "celsius"
    HUMIDITY = "humidity"
    YEAR = "year"
    TIME = "time"


READING: Mapping[str, Domain] = {
    "test_voltage_set": Domain.NOT_NEGATIVE,
    "test_voltage_built": Domain.NOT_NEGATIVE,
    "elapsed_s": Domain.NOT_NEGATIVE,
    "at": Domain.TIME,
    "winding_c": Domain.CELSIUS,
    "air_c": Domain.CELSIUS,
    "humidity_percent": Domain.HUMIDITY,
}
AXIS: Mapping[str, Domain] = {
    "rated_voltage": Domain.POSITIVE,
    "rated_current": Domain.POSITIVE,
    "rated_power_w": Domain.POSITIVE,
    "made_year": Domain.YEAR,
    "winding_c": Domain.CELSIUS,
    "winding_c_uncertainty": Domain.NOT_NEGATIVE,
    "air_c": Domain.CELSIUS,
    "humidity_percent": Domain.HUMIDITY,
    "nameplate_resistance_ohm": Domain.POSITIVE,
    "nameplate_c": Domain.CELSIUS,
    "cable_length_m": Domain.NOT_NEGATIVE,
    "core_mm2": Domain.POSITIVE,
    "maker_test_voltage": Domain.POSITIVE,
}
INSTRUMENT: Mapping[str, Domain] = {
    "accuracy_percent": Domain.NOT_NEGATIVE,
    "accuracy_counts": Domain.NOT_NEGATIVE,
    "ohm_accuracy_percent": Domain.NOT_NEGATIVE,
    "ohm_accuracy_counts": Domain.NOT_NEGATIVE,
    "resolution_ohm": Domain.POSITIVE,
    "current_limit_ma": Domain.POSITIVE,
    "lead_resistance_ohm": Domain.NOT_NEGATIVE,
}
"""Fields that hold numbers, and which values they can have; all others hold words, dates or flags."""


@dataclass(frozen=True)
class Admitted:
    """What is left to compute with.

    Attributes:
        measurements: The readings whose every field can be.
        context: The axis, impossible fields unknown.
        instruments: The instruments, impossible fields unknown.
        history: Earlier visits by time, oldest first; those without a time that can be left out.
        refused: What was left out.
    """

    measurements: tuple[Measurement, ...]
    context: AxisContext
    instruments: Mapping[str, Instrument]
    history: tuple[Visit, ...]
    refused: tuple[LeftOutValue, ...]


def admit(
    measurements: Iterable[Measurement],
    context: AxisContext,
    instruments: Mapping[str, Instrument],
    history: Sequence[Visit] = (),
    limits: Limits = LIMITS,
) -> Admitted:
    """Leave out what cannot be.

    Args:
        measurements: Readings of one axis.
        context: The axis.
        instruments: By id; only those that the readings name are looked at.
        history: Earlier visits, whose own readings are admitted when they are compared.
        limits: Limits in force.
    """
    refused: list[LeftOutValue] = []
    least, most = limits["possible.smallest"].value, limits["possible.largest"].value
    kept = tuple([m for m in measurements if _plain(m, least, most) or not _bad(m, limits, refused)])
    sound, wrong = admit_context(context, limits)
    used = dict(instruments)
    for name in dict.fromkeys(m.instrument_id for m in kept):
        if name in used:
            used[name] = _instrument(used[name], limits, refused)
    visits = []
    for visit in history:
        why = why_not(visit.at, Domain.TIME, limits)
        if why is None:
            visits.append(visit)
        else:
            refused.append(LeftOutValue(Subject.VISIT, context.axis, "at", visit.at.isoformat(), *why))
    visits.sort(key=lambda visit: visit.at)
    return Admitted(kept, sound, used, tuple(visits), (*wrong, *refused))


def admit_context(context: AxisContext, limits: Limits = LIMITS) -> tuple[AxisContext, tuple[LeftOutValue, ...]]:
    """Give what is known of an axis without the fields that cannot be, and those fields."""
    wrong = tuple(_wrong(context, AXIS, Subject.AXIS, context.axis, limits))
    changes: dict[str, Any] = {one.field: _DEFAULTS[one.field] for one in wrong}
    if context.carrier is not None:
        carrier = {f.name: Domain.POSITIVE for f in fields(CarrierUse)}
        worn = tuple(_wrong(context.carrier, carrier, Subject.AXIS, context.axis, limits))
        wrong += worn
        changes |= {"carrier": None} if worn else {}
    return (replace(context, **changes), wrong) if changes else (context, wrong)


_DEFAULTS: Mapping[str, Any] = {f.name: f.default for f in fields(AxisContext) if f.name in AXIS}


_SIZES = attrgetter(*(name for name, domain in READING.items() if domain is Domain.NOT_NEGATIVE))
_OTHERS = attrgetter(*(name for name, domain in READING.items() if domain is not Domain.NOT_NEGATIVE))

_NONE = (None,) * sum(domain is not Domain.NOT_NEGATIVE for domain in READING.values())


def _plain(measurement: Measurement, least: Decimal, most: Decimal) -> bool:
    """Tell at a glance that a reading can be, as nearly every one can: voltages and time of a usual size, no more."""
    for value in _SIZES(measurement):
        if value is not None and not (value.is_finite() and least <= value <= most):
            return False
    return _OTHERS(measurement) == _NONE


def _bad(measurement: Measurement, limits: Limits, refused: list[LeftOutValue]) -> bool:
    wrong = tuple(_wrong(measurement, READING, Subject.READING, measurement.record_id, limits))
    refused.extend(wrong)
    return bool(wrong)


def _instrument(instrument: Instrument, limits: Limits, refused: list[LeftOutValue]) -> Instrument:
    wrong = list(_wrong(instrument, INSTRUMENT, Subject.INSTRUMENT, instrument.id, limits))
    changes: dict[str, Any] = {one.field: None for one in wrong}
    for volts, end in instrument.range_end.items():
        why = why_not(end, Domain.POSITIVE, limits)
        if why is not None:
            wrong.append(LeftOutValue(Subject.INSTRUMENT, instrument.id, "range_end", str(end), *why))
            kept = changes.setdefault("range_end", dict(instrument.range_end))
            del kept[volts]
    refused.extend(wrong)
    return replace(instrument, **changes) if changes else instrument


def _wrong(
    entry: object, domains: Mapping[str, Domain], subject: Subject, name: str, limits: Limits
) -> Iterator[LeftOutValue]:
    for field, domain in domains.items():
        value = getattr(entry, field)
        why = None if value is None else why_not(value, domain, limits)
        if why is not None:
            yield LeftOutValue(subject, name, field, str(value), *why)


def why_not(value: Decimal | int | dt.datetime, domain: Domain, limits: Limits = LIMITS) -> Why | None:
    """Say why a value cannot be, with the bound that it lies beyond; None where it can be.

    Args:
        value: A number in the unit of its field, a year, or a time.
        domain: Which values the field can have.
        limits: Limits in force.

    Example (by definition, relative humidity is at most 100 %):
        >>> why_not(Decimal(101), Domain.HUMIDITY)[0].value
        'above'
    """
    if isinstance(value, dt.datetime):
        found = Impossible.NO_TIME_ZONE if value.utcoffset() is None else None
        return (found, None) if found else _beyond(value.year, limits, "possible.earliest", "possible.latest")
    if isinstance(value, Decimal) and not value.is_finite():
        return Impossible.NO_NUMBER, None
    if domain in _SPANS:
        return _beyond(value, limits, *_SPANS[domain])
    return _size(value, domain, limits)


_SPANS: Mapping[Domain, tuple[str, str]] = {
    Domain.YEAR: ("possible.earliest", "possible.latest"),
    Domain.CELSIUS: ("possible.coldest", "possible.hottest"),
}


def _size(value: Decimal | int, domain: Domain, limits: Limits) -> Why | None:
    if value < 0:
        return Impossible.NEGATIVE, None
    if value == 0:
        return (Impossible.NOT_ABOVE_ZERO, None) if domain is Domain.POSITIVE else None
    most = "possible.humidity" if domain is Domain.HUMIDITY else "possible.largest"
    return _beyond(value, limits, "possible.smallest", most)


def _beyond(value: Decimal | int, limits: Limits, least: str, most: str) -> Why | None:
    if value < limits[least].value:
        return Impossible.BELOW, limits[least]
    return (Impossible.ABOVE, limits[most]) if value > limits[most].value else None

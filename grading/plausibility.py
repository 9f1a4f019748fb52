"""Plausibility: what can be but seldom is becomes a question, and is not used until somebody has answered it.

Asked about are the slips that a careful reader of the sheet would see: milliohms for megohms and the reverse, kilowatts
for watts, degrees Fahrenheit for Celsius, a value that the instrument cannot show, a motor kind that nobody chose.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from grading.entries import Question, QuestionCode
from grading.limit import Limit
from grading.measurement import AxisContext, Instrument, InstrumentKind, Measurement, MotorKind
from grading.reading import RESISTANCE_KINDS, finest
from grading.slips import little_for_brake, thousandfold, undrivable
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, Quantity, QuantityKind, unit
from grading.terms.section import Section

Limits = Mapping[str, Limit]
KILO = Decimal(1000)
ROOT_3 = Decimal(3).sqrt()
"""Apparent power of three phases over line voltage times current."""
FAHRENHEIT_ZERO_C, FAHRENHEIT_PER_C = Decimal(32), Decimal("1.8")
"""Degrees Fahrenheit at 0 °C, and for each degree Celsius (by definition)."""
_SMALLER = {"TOhm": "GOhm", "GOhm": "MOhm", "MOhm": "kOhm", "kOhm": "Ohm", "Ohm": "mOhm"}
_LARGER = {small: large for large, small in _SMALLER.items()}
_TINY = ("mOhm", "uOhm")
_LOW = ("kOhm", "Ohm", *_TINY)
"""Units that may be a slip for a larger one; digits finer than the display's in its own unit are only rounded."""
_FROM_EARTH = (QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND)


@dataclass(frozen=True)
class Plausible:
    """What is left to compute with until the questions are answered.

    Attributes:
        measurements: Readings that nothing is asked about; where it is their temperature alone, without that.
        context: The axis without what is asked about; the motor kind stays as guessed.
        questions: What is asked.
        left_out: Readings that are asked about, each with how many of the kept ones came before it.
    """

    measurements: tuple[Measurement, ...]
    context: AxisContext
    questions: tuple[Question, ...]
    left_out: tuple[tuple[int, Measurement], ...] = ()


def ask(
    measurements: Iterable[Measurement], context: AxisContext, instruments: Mapping[str, Instrument], limits: Limits
) -> Plausible:
    """Find what must be asked about one axis.

    Args:
        measurements: Its readings, without values that cannot be (`grading.admission`).
        context: What is known of it, likewise.
        instruments: By id.
        limits: Limits in force.
    """
    given = tuple(measurements)
    warm = limits["plausible.warm"].value
    cool = frozenset(id(m) for m in given if _is_air(m) and (celsius := _celsius(m)) is not None and celsius <= warm)
    questions = [*_about_axis(context, bool(cool), limits)]
    unsure = {question.field for question in questions} - {"motor_kind"}
    changes: dict[str, Any] = dict.fromkeys(unsure)
    kept: list[Measurement] = []
    left_out: list[tuple[int, Measurement]] = []
    alone = [[*_about_reading(m, context, cool, instruments.get(m.instrument_id or ""), limits)] for m in given]
    # What is asked about by itself makes nothing beside it doubtful.
    beside = thousandfold([m for m, asked in zip(given, alone, strict=True) if not asked], limits)
    for measurement, asked in zip(given, alone, strict=True):
        if not asked and id(measurement) in beside:
            asked.append(beside[id(measurement)])
        if not asked:
            kept.append(measurement)
            continue
        questions += asked
        fields = {question.field for question in asked}
        if "quantity" in fields:
            left_out.append((len(kept), measurement))
        else:
            kept.append(_without(measurement, fields))
    known = replace(context, **changes) if changes else context
    return Plausible(tuple(kept), known, tuple(questions), tuple(left_out))


def _without(measurement: Measurement, fields: Iterable[str]) -> Measurement:
    for field in fields:
        measurement = replace(measurement, winding_c=None) if field == "winding_c" else replace(measurement, air_c=None)
    return measurement


def _about_axis(context: AxisContext, cool: bool, limits: Limits) -> Iterator[Question]:
    axis, checked = context.axis, context.checked
    if not context.motor_chosen and "motor_kind" not in checked:
        kinds = tuple(kind.value for kind in MotorKind)
        yield Question(QuestionCode.MOTOR_KIND, axis, None, "motor_kind", "", kinds)
    if "rated_power_w" not in checked:
        yield from _power(context, limits)
    for field, value in (("winding_c", context.winding_c), ("air_c", context.air_c)):
        air = None if field == "air_c" else context.air_c
        if value is not None and field not in checked and _may_be_fahrenheit(value, air, cool, limits):
            yield _fahrenheit(axis, None, field, value, limits)


def _power(context: AxisContext, limits: Limits) -> Iterator[Question]:
    power = context.rated_power_w
    if power is None:
        return
    most = limits["plausible.power_most"]
    given, axis = f"{power} W", context.axis
    if power > most.value:
        meant = (f"{(power / KILO).normalize():f} W",)
        yield Question(QuestionCode.WATT_FOR_KILOWATT, axis, None, "rated_power_w", given, meant, most)
        return
    spindle = context.motor_kind is MotorKind.SPINDLE and context.motor_chosen
    least = limits["plausible.power_spindle" if spindle else "plausible.power_servo"]
    beyond = least if power < least.value else None
    if beyond is None and context.rated_voltage is not None and context.rated_current is not None:
        phases = Decimal(1) if context.motor_kind is MotorKind.DC_SERVO else ROOT_3
        share = limits["plausible.power_share"]
        rated = phases * context.rated_voltage * context.rated_current
        beyond = share if power * 100 < share.value * rated else None
    if beyond is not None:
        meant = (f"{(power * KILO).normalize():f} W",)
        yield Question(QuestionCode.KILOWATT_FOR_WATT, axis, None, "rated_power_w", given, meant, beyond)


def _may_be_fahrenheit(value: Decimal, air: Decimal | None, cool: bool, limits: Limits) -> bool:
    """Tell whether a temperature is high for °C and just a workshop's in °F; a warm winding in cool air is none.

    Args:
        value: The temperature as recorded, °C.
        air: Of the air about it, °C, where that is on record.
        cool: Whether cool air was measured beside it, where `air` is None.
        limits: Limits in force.
    """
    warm, celsius = limits["plausible.warm"].value, in_celsius(value)
    room = limits["plausible.room_least"].value <= celsius <= limits["plausible.room_most"].value
    if value <= warm or not room:
        return False
    return not (cool if air is None else air <= warm)


def in_celsius(fahrenheit: Decimal) -> Decimal:
    """Convert °F to °C: (F - 32)/1.8, by definition.

    Example (77 °F is 25 °C):
        >>> in_celsius(Decimal(77))
        Decimal('25')
    """
    return (fahrenheit - FAHRENHEIT_ZERO_C) / FAHRENHEIT_PER_C


def _fahrenheit(axis: str, record_id: str | None, field: str, value: Decimal, limits: Limits) -> Question:
    meant = (f"{round(in_celsius(value), 1)} °C",)
    return Question(QuestionCode.FAHRENHEIT, axis, record_id, field, f"{value} °C", meant, limits["plausible.warm"])


def _is_air(measurement: Measurement) -> bool:
    return measurement.kind is QuantityKind.TEMPERATURE and measurement.section is not Section.MOTOR_ALONE


def _celsius(measurement: Measurement) -> Decimal | None:
    if measurement.quantity.qualifier is not Qualifier.EQUAL or measurement.quantity.unit != "Cel":
        return None
    return measurement.quantity.value


def _about_reading(
    measurement: Measurement,
    context: AxisContext,
    cool: frozenset[int],
    instrument: Instrument | None,
    limits: Limits,
) -> Iterator[Question]:
    """Ask about one reading; `cool` are the ids of those that measured cool air."""
    if Circumstance.CHECKED in measurement.circumstances:
        return
    axis, record = context.axis, measurement.record_id
    for field, value in (("winding_c", measurement.winding_c), ("air_c", measurement.air_c)):
        air = None if field == "air_c" else measurement.air_c if measurement.air_c is not None else context.air_c
        if value is not None and field not in context.checked and _may_be_fahrenheit(value, air, bool(cool), limits):
            yield _fahrenheit(axis, record, field, value, limits)
    if measurement.kind is QuantityKind.TEMPERATURE:
        taken, air = _celsius(measurement), None if _is_air(measurement) else context.air_c
        others = len(cool) > (id(measurement) in cool)
        if taken is not None and _may_be_fahrenheit(taken, air, others, limits):
            yield _fahrenheit(axis, record, "quantity", taken, limits)
    elif measurement.kind in RESISTANCE_KINDS:
        yield from _resistance(measurement, instrument, limits)


def _resistance(measurement: Measurement, instrument: Instrument | None, limits: Limits) -> Iterator[Question]:
    quantity = measurement.quantity
    value = quantity.in_base
    if value is None or value < 0 or unit(quantity.unit or "Ohm").dimension != "resistance":
        return
    milliohms = instrument is not None and instrument.kind is InstrumentKind.MILLIOHMMETER
    shows_milliohms = milliohms and measurement.kind is not QuantityKind.INSULATION_RESISTANCE
    if measurement.kind in _FROM_EARTH and quantity.unit in _TINY and not shows_milliohms:
        yield _question(measurement, QuestionCode.MILLI_FOR_MEGA, (_as(quantity, "MOhm"),))
        return
    if quantity.qualifier is not Qualifier.EQUAL:
        return
    if measurement.kind is QuantityKind.INSULATION_RESISTANCE:
        question = undrivable(measurement, value, limits)
    else:
        question = little_for_brake(measurement, value, limits)
    if question is not None:
        yield question
        return
    if measurement.kind not in _FROM_EARTH and quantity.unit == "MOhm" and _may_show_milliohms(instrument):
        least, most = limits["plausible.winding_least"], limits["plausible.winding_most"]
        milli = value * unit("mOhm").factor / unit("MOhm").factor
        if least.value <= milli <= most.value:
            yield _question(measurement, QuestionCode.MEGA_FOR_MILLI, (_as(quantity, "mOhm"),), most)
            return
    if instrument is not None:
        yield from _shown(measurement, instrument, value, limits)


def _may_show_milliohms(instrument: Instrument | None) -> bool:
    """Tell whether a meter can show a thousandth of an ohm; with one that cannot, megohms are an open circuit."""
    return instrument is None or instrument.kind in (InstrumentKind.MILLIOHMMETER, InstrumentKind.OTHER)


def _shown(measurement: Measurement, instrument: Instrument, value: Decimal, limits: Limits) -> Iterator[Question]:
    """Ask about what the instrument's range and resolution cannot show."""
    quantity, end, least = measurement.quantity, _end(measurement, instrument), finest(measurement, instrument)
    if end is not None and value > end:
        shown = _in_unit_of(quantity, end)
        meant = (f"{Qualifier.ABOVE.value} {shown}", *_other(quantity, _SMALLER, least, end))
        yield _question(measurement, QuestionCode.BEYOND_RANGE, meant, shown=shown)
    elif least is not None and (
        (quantity.unit in _LOW and 0 < value < least) or _too_fine(measurement, least, limits["plausible.finer_digits"])
    ):
        meant = _other(quantity, _LARGER, least, end)
        yield _question(measurement, QuestionCode.BELOW_RESOLUTION, meant, shown=_in_unit_of(quantity, least))


def _too_fine(measurement: Measurement, least: Decimal, limit: Limit) -> bool:
    """Tell whether a meter is said to have shown digits that it does not have, not merely a zero more.

    What an ohmmeter shows is a multiple of its finest count; insulation testers are recorded less exactly.
    """
    quantity = measurement.quantity
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        value = quantity.in_base
        return value is not None and quantity.digit_in_base < least and value % least != 0
    return 0 < quantity.digit_in_base * limit.value <= least


def _end(measurement: Measurement, instrument: Instrument) -> Decimal | None:
    """Give the end of the range in use, ohm; where its test voltage is not on record, the farthest that is."""
    if measurement.kind is not QuantityKind.INSULATION_RESISTANCE:
        return instrument.range_end.get(0)
    selected = measurement.test_voltage_set
    exact = None if selected is None else instrument.range_end.get(int(selected))
    return exact or max((end for volts, end in instrument.range_end.items() if volts > 0), default=None)


def _question(
    measurement: Measurement, code: QuestionCode, meant: tuple[str, ...], limit: Limit | None = None, shown: str = ""
) -> Question:
    given = measurement.quantity.display()
    return Question(code, measurement.axis, measurement.record_id, "quantity", given, meant, limit, shown)


def _as(quantity: Quantity, code: str) -> str:
    """Write the same digits with another unit."""
    return replace(quantity, unit=code).display()


def _in_unit_of(quantity: Quantity, ohms: Decimal) -> str:
    code = quantity.unit or "Ohm"
    return f"{(ohms / unit(code).factor).normalize():f} {unit(code).symbol}"


def _other(
    quantity: Quantity, units: Mapping[str, str], least: Decimal | None, most: Decimal | None
) -> tuple[str, ...]:
    """Give the same digits with the next unit, where the instrument can show that."""
    code = units.get(quantity.unit or "")
    value = None if code is None else replace(quantity, unit=code).in_unit("Ohm")
    if code is None or value is None or (least is not None and value < least) or (most is not None and value > most):
        return ()
    return (_as(quantity, code),)

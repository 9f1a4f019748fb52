"""Which of several numbers on a display leads: a temperature beside a humidity, a resistance beside another quantity.

What leads is the main value; where units tell nothing apart, `acceptance` refuses.
"""

from __future__ import annotations

from dataclasses import replace

from capture.display.fields import Fields, SmallField, arranged, name_by_unit
from capture.display.marks import Mark
from capture.display.strings import is_time, parse_main
from grading.terms.quantity import UNITS, Qualifier

ALIKE = 0.87
"""Two numbers are of one size where the lower is above this share of the higher; practice, no source."""
SAME = 0.8
"""The same for two numbers of one quantity, of which the lower may be seen more aslant; practice, no source."""
SEEN_WELL = 0.8
"""Confidence in the main number's unit from which it may lead; practice, no source."""
BESIDE = 0.35
"""A number above this share of the main one's height is no small field but a value of its own; practice, no source."""
COLDEST, HOTTEST = -40, 60
"""What a room thermometer shows at all, °C; practice, no source."""


def arrange(marks: list[Mark]) -> Fields:
    """Arrange the marks of one view, or of several brought together, with the number that leads as the main one."""
    fields = arranged(marks)
    unit = "s" if is_time(fields.text) else fields.unit
    own = {id(m) for m in fields.used}
    if unit == "unit_other" and "temperature" in fields.small and can_be_humidity(fields.text):
        others = arranged([m for m in marks if id(m) not in own])
        return _with_foreign(others, fields) if others.unit == "Cel" else fields
    if unit not in UNITS:
        return fields
    if fields.unit == "%" and (others := arranged([m for m in marks if id(m) not in own])).text:
        # a room thermometer: the temperature is the main value, the humidity stands beside it, whichever is the larger
        damp, warm = can_be_humidity(fields.text), can_be_temperature(others.text)
        if damp and warm and others.unit == "Cel" and "temperature" in fields.small:
            return _with_beside(others, fields, "humidity", nameless=False)
        if damp and _is_temperature(others, fields):
            return _with_beside(others, fields, "humidity", nameless=True)
    ohms = [one for one in fields.seen if one.unit is not None and UNITS[one.unit].dimension == "resistance"]
    if UNITS[unit].dimension != "resistance" and any(one.height > ALIKE * fields.height for one in ohms):
        others = arranged([m for m in marks if id(m) not in own])
        if others.unit in UNITS and UNITS[others.unit].dimension == "resistance":
            name = {"V": "test_voltage", "s": "elapsed"}.get(unit) or name_by_unit(unit)
            return _with_beside(others, replace(fields, unit=unit), name, nameless=True)
    return fields


def _with_beside(main: Fields, beside: Fields, name: str, *, nameless: bool) -> Fields:
    """Put what was taken for the main number beside the one that leads; `nameless` numbers stay a doubt, or do not."""
    sure = min(beside.value_confidence, beside.dot_confidence)
    one = SmallField(name, beside.text, sure, beside.box or (0, 0, 0, 0), beside.unit, beside.height)
    seen = [*(s for s in main.seen if s.name != name), one]
    found = replace(main, small=main.small | {name: beside.text}, seen=seen)
    return found if nameless else replace(found, rival=0.0, nameless=[])


def _with_foreign(main: Fields, beside: Fields) -> Fields:
    """Put a number whose unit is none of ours ("%RH") beside the temperature that leads."""
    rival = max(main.rival, beside.height / max(main.height, 1.0))
    nameless = [*main.nameless, beside.box or (0.0, 0.0, 0.0, 0.0)]
    return replace(main, rival=rival, nameless=nameless, foreign=[*main.foreign, beside.text])


def _is_temperature(fields: Fields, damp: Fields) -> bool:
    """Tell whether a number without a unit, alone beside a humidity, can only be the temperature of the room."""
    alone = len(damp.nameless) == 1 and not fields.nameless and fields.height > BESIDE * damp.height
    return alone and fields.unit is None and _unit_at_row(damp) and can_be_temperature(fields.text)


def _unit_at_row(fields: Fields) -> bool:
    """Tell whether the unit stands directly at the right of the main row: elsewhere it may be another number's."""
    unit = next((mark for mark in fields.used if mark.group == 2), None)
    row = [mark for mark in fields.chars if mark.group == 0]
    if unit is None or not row:
        return False
    across, down = unit.left - row[-1].right, abs(unit.y - row[-1].y)
    return -0.4 * fields.height < across < 1.3 * fields.height and down < 0.8 * fields.height


def can_be_temperature(text: str) -> bool:
    """Tell whether a room thermometer can show this: at most one decimal place, between `COLDEST` and `HOTTEST`."""
    return _between(text, COLDEST, HOTTEST)


def can_be_humidity(text: str) -> bool:
    """Tell whether a room's display can show this as humidity: at most one decimal place, between 0 and 100."""
    return not text.startswith("-") and _between(text, 0, 100)


def _between(text: str, least: int, most: int) -> bool:
    quantity = parse_main(text, None) if "?" not in text and "¿" not in text else None
    if quantity is None or quantity.value is None or quantity.qualifier is not Qualifier.EQUAL or quantity.unit:
        return False
    return least <= quantity.value <= most and len(text.partition(".")[2]) <= 1


def is_unclear(fields: Fields) -> bool:
    """Tell whether another number of about the main one's size may count as well.

    That is one without a unit of ours, one of the same quantity, and one of another where neither leads (volts and
    amperes). Beside a temperature a number with a unit that is none of ours ("%RH") is none, if it can be the humidity.
    """
    room = fields.unit == "Cel" and fields.unit_confidence >= SEEN_WELL and all(map(can_be_humidity, fields.foreign))
    beside = [one for one in fields.seen if one.text != "on" and not _leads(fields, one)]
    least = {id(one): (SAME if _same_quantity(fields, one) else ALIKE) * fields.height for one in beside}
    return (fields.rival > ALIKE and not room) or any(one.height > least[id(one)] for one in beside)


def _same_quantity(fields: Fields, other: SmallField) -> bool:
    known = fields.unit in UNITS and other.unit in UNITS
    return known and UNITS[str(fields.unit)].dimension == UNITS[str(other.unit)].dimension


def _leads(fields: Fields, other: SmallField) -> bool:
    """Tell whether the main number's unit, seen well, makes it the main one beside another number with its unit.

    Beside a humidity a number without a unit may be the temperature; its unit is asked about.
    """
    if fields.unit is None and other.unit == "%":
        return can_be_temperature(fields.text)
    if fields.unit not in UNITS or fields.unit_confidence < SEEN_WELL or other.unit not in UNITS:
        return False
    own, beside = UNITS[fields.unit].dimension, UNITS[other.unit].dimension
    if _same_quantity(fields, other):
        return False
    return own == "resistance" or beside == "time" or (fields.unit == "Cel" and other.unit == "%")

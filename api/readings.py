"""Readings as rows and as plain data, what is missing in one, and whether two of them say the same."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import Any

from api.errors import BadInput
from api.tables import ReadingColumns
from capture.reading import Context, DisplayReading, Doubt, Reading
from grading.quantity import DIMENSION_OF_KIND, Qualifier, Quantity, QuantityKind, Section, UnitError, unit
from grading.terminals import to_earth

AMBIENT_KINDS = frozenset({QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY, QuantityKind.TIME})
"""What may be measured without an axis or section: the air of the shop."""

_DEFAULT_TERMINALS = {
    QuantityKind.INSULATION_RESISTANCE: "lead-ground",
    QuantityKind.RESISTANCE_TO_GROUND: "lead-ground",
    QuantityKind.WINDING_RESISTANCE: "lead-lead",
}
_GENERAL = frozenset({"lead-ground", "lead-lead"})
_NEEDS_DIGITS = frozenset({Qualifier.EQUAL})


def columns_of(reading: Reading) -> dict[str, str | None]:
    """A reading as the columns of `ReadingColumns`."""
    return reading.to_json()


def reading_of(row: ReadingColumns) -> Reading:
    """The reading in a proposal's or record's columns."""
    return reading_from_json({name: getattr(row, name) for name in ReadingColumns.model_fields})


def _decimal(value: object, name: str, top: int) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        number = Decimal(str(value))
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite() or not 0 <= number <= top:
        raise BadInput("bad_number", f"{name} is {value!r}.", f"Give a plain number from 0 to {top}.")
    return number


def _member(enum: Any, value: object, name: str) -> Any:
    if value is None or value == "":
        return None
    try:
        return enum(value)
    except ValueError:
        raise BadInput(
            f"bad_{name}", f"{value!r} is no {name}.", f"Use one of {', '.join(member.value for member in enum)}."
        ) from None


def reading_from_json(data: dict[str, Any], *, check: bool = True) -> Reading:
    """Build a reading from plain data (the keys of `Reading.to_json`, absent ones meaning unknown).

    Args:
        data: Plain data.
        check: Refuse a unit that does not fit the quantity.

    Raises:
        BadInput: A value is of the wrong kind, or the unit does not fit the quantity.
    """
    unknown = set(data) - set(ReadingColumns.model_fields)
    if unknown:
        raise BadInput("bad_field", f"Unknown field {sorted(unknown)[0]!r}.", "Remove it.")
    kind: QuantityKind | None = _member(QuantityKind, data.get("quantity"), "quantity")
    digits, code = data.get("value") or None, data.get("unit") or None
    try:
        quantity = Quantity(
            None if digits is None else str(digits).strip(),
            code,
            _member(Qualifier, data.get("qualifier"), "qualifier") or Qualifier.EQUAL,
        )
    except (ValueError, UnitError) as error:
        raise BadInput("bad_value", str(error), "Give the digits as the display shows them, and the unit.") from None
    axis, terminals = data.get("axis") or None, data.get("terminals") or None
    reading = Reading(
        kind=kind,
        quantity=quantity,
        axis=None if axis is None else str(axis).strip().upper(),
        section=_member(Section, data.get("section"), "section"),
        terminals=None if terminals is None else str(terminals).strip(),
        test_voltage_set=_decimal(data.get("test_voltage_set"), "The test voltage", 20_000),
        test_voltage_built=_decimal(data.get("test_voltage_built"), "The built voltage", 20_000),
        elapsed_s=_decimal(data.get("elapsed_s"), "The elapsed time", 86_400),
    )
    if check:
        check_dimension(reading)
    return reading


def fits(reading: Reading) -> bool:
    """Whether the unit can belong to the quantity."""
    try:
        check_dimension(reading)
    except BadInput:
        return False
    return True


def check_dimension(reading: Reading) -> None:
    """Refuse a unit that cannot belong to the quantity.

    Raises:
        BadInput: E.g. volts for a resistance.
    """
    if reading.kind is None or reading.quantity.unit is None:
        return
    wanted, got = DIMENSION_OF_KIND[reading.kind], unit(reading.quantity.unit)
    if got.dimension != wanted:
        raise BadInput(
            "unit_does_not_fit",
            f"{got.symbol} is a unit of {got.dimension}, but {reading.kind.value.replace('_', ' ')} needs {wanted}.",
            "Say or type the reading again with its unit.",
        )


def with_default_terminals(reading: Reading) -> Reading:
    """Fill the usual test point of a quantity where none was said; the read-back names it."""
    if reading.terminals is None and reading.kind in _DEFAULT_TERMINALS:
        return replace(reading, terminals=_DEFAULT_TERMINALS[reading.kind])
    return reading


def needs_range_end(reading: Reading) -> bool:
    """Whether "over range" says nothing until the range's end is known: for insulation, whose limits lie near it.

    A winding or core that reads over range on any ohmmeter is open, and an ohmmeter never passes insulation.
    """
    return reading.kind in (None, QuantityKind.INSULATION_RESISTANCE)


def missing(reading: Reading, axes: Iterable[str]) -> tuple[Doubt, ...]:
    """What a record would lack; each blocks a bare confirmation.

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
    elif reading.axis is not None and reading.axis not in set(axes):
        doubts.append(Doubt.AXIS_MISSING)
    return tuple(doubts)


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


def same_value(first: Quantity, second: Quantity) -> bool:
    """Whether two quantities say the same: qualifier and value equal after conversion ("0.8 Ohm" and "0.80 Ohm" do).

    A missing unit on one side is taken from the other; missing digits equal only missing digits.
    """
    if first.qualifier is not second.qualifier:
        return False
    if first.value is None or second.value is None:
        return first.value is None and second.value is None
    code = first.unit or second.unit
    if code is None or None in (first.unit, second.unit):
        return first.value == second.value
    try:
        return first.in_unit(code) == second.in_unit(code)
    except UnitError:
        return False


def same_place(first: Reading, second: Reading) -> bool:
    """Whether two readings can be of one test point: no field that both know differs."""
    pairs = (
        (first.axis, second.axis),
        (first.section, second.section),
        (first.kind, second.kind),
    )
    same = all(one is None or other is None or one == other for one, other in pairs)
    points = (first.terminals, second.terminals)
    return same and (points[0] is None or points[1] is None or _same_point(points[0], points[1]))


def _same_point(first: str, second: str) -> bool:
    """Whether two test points can be one: "lead-ground" and "lead-lead" name no lead and stand for any."""
    general = _GENERAL & {first, second}
    return first == second or (bool(general) and to_earth(first) == to_earth(second))


def finer_point(first: str | None, second: str | None) -> str | None:
    """Of two names of one test point, the one that names its leads; the first of equals."""
    return second if second is not None and (first is None or first in _GENERAL) else first


def same_dimension(first: Quantity, second: Quantity) -> bool:
    """Whether two quantities can be of one kind; an unknown unit can be of any."""
    if first.unit is None or second.unit is None:
        return True
    return unit(first.unit).dimension == unit(second.unit).dimension


_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_CLOCK = re.compile(r"(\d+):(\d{2})")


def _shown_number(text: str | None) -> Decimal | None:
    match = _NUMBER.search(text or "")
    return Decimal(match[0]) if match else None


def _shown_seconds(text: str | None) -> Decimal | None:
    clock = _CLOCK.search(text or "")
    return Decimal(int(clock[1]) * 60 + int(clock[2])) if clock else _shown_number(text)


def _kind_shown(quantity: Quantity, voltage: Decimal | None, context: Context) -> QuantityKind | None:
    dimension = None if quantity.unit is None else unit(quantity.unit).dimension
    if voltage is not None and dimension in (None, "resistance"):
        return QuantityKind.INSULATION_RESISTANCE
    if dimension is None or (context.kind is not None and DIMENSION_OF_KIND[context.kind] == dimension):
        return context.kind
    if dimension == "resistance":
        return None
    return next((kind for kind, name in DIMENSION_OF_KIND.items() if name == dimension), None)


def reading_seen(display: DisplayReading, context: Context) -> Reading:
    """The reading that a display shows, at the place that the conversation stands at."""
    built = _shown_number(display.secondary.get("test_voltage"))
    kind = _kind_shown(display.quantity, built, context)
    insulation = kind is QuantityKind.INSULATION_RESISTANCE
    return Reading(
        kind=kind,
        quantity=display.quantity,
        axis=context.axis,
        section=context.section,
        terminals=context.terminals,
        test_voltage_set=context.test_voltage_set if insulation else None,
        test_voltage_built=built if insulation else None,
        elapsed_s=_shown_seconds(display.secondary.get("elapsed")),
    )


def context_to_json(context: Context) -> dict[str, Any]:
    """A context as plain data."""
    return {
        "kind": None if context.kind is None else context.kind.value,
        "axis": context.axis,
        "section": None if context.section is None else context.section.value,
        "terminals": context.terminals,
        "test_voltage_set": None if context.test_voltage_set is None else format(context.test_voltage_set, "f"),
        "last": None if context.last is None else context.last.to_json(),
        "voltage_next": context.voltage_next,
    }


def context_from_json(data: dict[str, Any]) -> Context:
    """The context that `context_to_json` wrote."""
    last = data.get("last")
    return Context(
        kind=_member(QuantityKind, data.get("kind"), "quantity"),
        axis=data.get("axis"),
        section=_member(Section, data.get("section"), "section"),
        terminals=data.get("terminals"),
        test_voltage_set=_decimal(data.get("test_voltage_set"), "The test voltage", 20_000),
        last=None if last is None else reading_from_json(last, check=False),
        voltage_next=bool(data.get("voltage_next", False)),
    )

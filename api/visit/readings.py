"""Readings as rows and as plain data, and back; what a person types is checked here."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, TypedDict

from api.ledger.canonical import JsonObject
from api.ledger.columns import ReadingColumns
from api.visit.errors import BadField, BadNumber, BadValue, BadWord, UnitDoesNotFit
from capture.completeness import dimension_problem
from capture.language.typed import plain_number
from capture.reading import Context, Reading
from grading.terms.quantity import Qualifier, Quantity, QuantityKind, UnitError
from grading.terms.section import Section


class ReadingFields(TypedDict, total=False):
    """Fields of a reading as a person types them: those of `Reading.to_json`, and what is noted beside it."""

    kind: str | None
    value: str | None
    unit: str | None
    qualifier: str | None
    axis: str | None
    section: str | None
    terminals: str | None
    test_voltage_set: str | None
    test_voltage_built: str | None
    elapsed_s: str | None
    position: str | None
    circumstances: list[str] | None


NOTE_FIELDS = ("position", "circumstances")
"""Fields of `ReadingFields` that are noted beside a reading (`api.visit.notes`)."""


def reading_fields(fields: ReadingFields) -> dict[str, object]:
    """Give the fields that belong to the reading itself, without those noted beside it."""
    return {name: value for name, value in fields.items() if name not in NOTE_FIELDS}


def reading_of(row: ReadingColumns) -> Reading:
    """Decode the reading in a proposal's or record's columns."""
    return reading_from_json({name: getattr(row, name) for name in ReadingColumns.model_fields})


def _decimal(value: object, name: str, top: int) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        number = Decimal(plain_number(str(value)))
    except (InvalidOperation, ValueError):
        number = Decimal("NaN")
    if not number.is_finite() or not 0 <= number <= top:
        raise BadNumber(name=name, value=value, top=top)
    return number


def _member(enum: Any, value: object, name: str) -> Any:
    if value is None or value == "":
        return None
    try:
        return enum(value)
    except ValueError:
        raise BadWord(field=name, value=value, known=tuple(member.value for member in enum)) from None


def reading_from_json(data: Mapping[str, object], *, check: bool = True) -> Reading:
    """Build a reading from plain data (the keys of `Reading.to_json`, absent ones meaning unknown).

    Args:
        data: Plain data.
        check: Refuse a unit that does not fit the quantity.

    Raises:
        BadInput: A value is of the wrong kind, or the unit does not fit the quantity.
    """
    if "quantity" in data:  # what the kind was called before, in rows and clients of then
        data = {"kind": data["quantity"], **{name: value for name, value in data.items() if name != "quantity"}}
    unknown = set(data) - set(ReadingColumns.model_fields)
    if unknown:
        raise BadField(field=sorted(unknown)[0])
    kind: QuantityKind | None = _member(QuantityKind, data.get("kind"), "quantity")
    digits, code = data.get("value") or None, data.get("unit") or None
    try:
        quantity = Quantity(
            None if digits is None else plain_number(str(digits)),
            None if code is None else str(code),
            _member(Qualifier, data.get("qualifier"), "qualifier") or Qualifier.EQUAL,
        )
    except (ValueError, UnitError) as error:
        raise BadValue(cause=str(error)) from None
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


def context_to_json(context: Context) -> JsonObject:
    """Give a context as plain data."""
    return {
        "kind": None if context.kind is None else context.kind.value,
        "axis": context.axis,
        "section": None if context.section is None else context.section.value,
        "terminals": context.terminals,
        "test_voltage_set": None if context.test_voltage_set is None else format(context.test_voltage_set, "f"),
        "last": None if context.last is None else {**context.last.to_json()},
        "voltage_next": context.voltage_next,
    }


def context_from_json(data: Mapping[str, Any]) -> Context:
    """Read the context that `context_to_json` wrote."""
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


def check_dimension(reading: Reading) -> None:
    """Refuse a unit that cannot belong to the quantity.

    Raises:
        UnitDoesNotFit: E.g. volts for a resistance.
    """
    problem = dimension_problem(reading)
    if problem is not None:
        raise UnitDoesNotFit(problem=problem)

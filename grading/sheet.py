"""Readings typed by hand, as CSV or JSON text: rows in, measurements and what is known of each axis out.

A bad row is named with its line and the reason, and the good rows are still there. One row is one reading. What is
known of an axis or an instrument may stand in the same row, in any row of that axis; it need not be repeated.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, TypeVar

from grading.measurement import (
    AxisContext,
    Circumstance,
    Instrument,
    InstrumentKind,
    InsulationSystem,
    Measurement,
    MotorKind,
)
from grading.sheet_columns import (
    AT_EXAMPLE,
    COLUMNS,
    CONTEXT,
    HOLDS,
    MAX_ROWS,
    QUANTITIES,
    REQUIRED,
    SECTIONS,
    SIGNS,
    SYMBOLS,
    WORDS,
)
from grading.terms.quantity import (
    DIMENSION_OF_KIND,
    UNITS,
    Qualifier,
    Quantity,
    QuantityKind,
    UnitError,
    parse_digits,
    unit,
)
from grading.terms.section import Section

_E = TypeVar("_E", bound=StrEnum)


class SheetError(ValueError):
    """The text is no sheet at all: no header, no rows, or no JSON."""


@dataclass(frozen=True)
class Problem:
    """A row that was left out.

    Attributes:
        line: Line of the text (CSV) or number of the reading (JSON), from 1.
        reason: What is wrong and what to write instead.
    """

    line: int
    reason: str


@dataclass
class Sheet:
    """What a text holds.

    Attributes:
        measurements: Good rows, in order.
        contexts: What the rows say of each axis.
        instruments: What the rows say of each instrument.
        problems: Bad rows, in order.
        ignored: Columns that are not known.
        record_ids: Ids taken so far.
    """

    measurements: list[Measurement] = field(default_factory=list)
    contexts: dict[str, AxisContext] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    ignored: tuple[str, ...] = ()
    record_ids: set[str] = field(default_factory=set)


def read_sheet(text: str, *, as_json: bool = False) -> Sheet:
    """Read a sheet.

    Args:
        text: CSV (comma, semicolon or tab, with a header line) or JSON (a list of objects, or an object with that
            list under "readings").
        as_json: Which of the two.

    Raises:
        SheetError: The text cannot be taken apart into rows.
    """
    sheet = Sheet()
    for line, row in _json_rows(text, sheet) if as_json else _csv_rows(text, sheet):
        try:
            _take(sheet, line, row)
        except ValueError as error:
            sheet.problems.append(Problem(line, str(error)))
    return sheet


def _csv_rows(text: str, sheet: Sheet) -> Iterator[tuple[int, dict[str, str]]]:
    body = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    first = body.split("\n", 1)[0]
    if not first.strip():
        raise SheetError(f"The first line must name the columns: {', '.join(REQUIRED)} and others as needed.")
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(body), delimiter=delimiter)
    try:
        names = [name.strip().lower().replace(" ", "_") for name in next(reader)]
    except csv.Error as error:
        raise SheetError(f"The first line cannot be read as CSV: {error}.") from None
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        raise SheetError(f"Columns missing: {', '.join(missing)}. The first line must name them.")
    doubled = sorted({name for name in names if name and names.count(name) > 1})
    if doubled:
        raise SheetError(f"Columns named twice: {', '.join(doubled)}. Keep one of each.")
    sheet.ignored = tuple(name for name in names if name and name not in COLUMNS)
    rows = 0
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            rows += 1
            _check_count(rows)
            if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
                text_row = f"This row has {len(cells)} cells, the header {len(names)}; quote a cell that holds a comma."
                sheet.problems.append(Problem(reader.line_num, text_row))
                continue
            yield reader.line_num, {n: c.strip() for n, c in zip(names, cells, strict=False) if c.strip()}
    except csv.Error as error:
        raise SheetError(f"Line {reader.line_num} cannot be read as CSV: {error}.") from None


def _json_rows(text: str, sheet: Sheet) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        # Numbers keep their digits: 0.80 stays "0.80".
        data = json.loads(text.removeprefix("\ufeff"), parse_float=str, parse_int=str, parse_constant=str)
    except (json.JSONDecodeError, RecursionError) as error:
        raise SheetError(f"This is no JSON: {error}.") from None
    rows = data.get("readings") if isinstance(data, dict) else data
    if not isinstance(rows, list):
        raise SheetError('Give a list of readings, or an object with that list under "readings".')
    _check_count(len(rows))
    ignored: dict[str, None] = {}
    for number, row in enumerate(rows, 1):
        if not isinstance(row, dict):
            sheet.problems.append(Problem(number, "This reading is no object with columns as its keys."))
            continue
        ignored |= dict.fromkeys(key for key in row if key not in COLUMNS)
        yield number, {key: str(value).strip() for key, value in row.items() if value is not None}
    sheet.ignored = tuple(ignored)


def _check_count(rows: int) -> None:
    if rows > MAX_ROWS:
        raise SheetError(f"More than {MAX_ROWS} rows; split the file.")


def _take(sheet: Sheet, line: int, row: Mapping[str, str]) -> None:
    for name in REQUIRED:
        if not row.get(name):
            raise ValueError(f"Column {name} is empty; it must hold {HOLDS[name]}.")
    measurement = _measurement(line, row)
    if measurement.record_id in sheet.record_ids:
        raise ValueError(f"Record {measurement.record_id} stands here twice; number the readings apart.")
    context = _context(sheet.contexts.get(measurement.axis), row, measurement)
    instrument = _instrument(sheet, row)
    sheet.contexts[measurement.axis] = context
    if instrument is not None:
        sheet.instruments[instrument.id] = instrument
    sheet.measurements.append(measurement)
    sheet.record_ids.add(measurement.record_id)


def _measurement(line: int, row: Mapping[str, str]) -> Measurement:
    kind = _choice(row["quantity"], QUANTITIES, QuantityKind, "quantity")
    section = _choice(row["section"], SECTIONS, Section, "section") if row.get("section") else None
    if section is None and DIMENSION_OF_KIND[kind] == "resistance":
        raise ValueError("Column section is empty; say cabinet, motor or cable.")
    lead_to_lead = kind in (QuantityKind.WINDING_RESISTANCE, QuantityKind.CONTINUITY)
    return Measurement(
        record_id=row.get("record") or f"line {line}",
        axis=row["axis"].upper(),
        section=section,
        kind=kind,
        terminals=row.get("terminals") or ("lead-lead" if lead_to_lead else "lead-ground"),
        quantity=_quantity(row, kind),
        test_voltage_set=_volts(row, "test_voltage"),
        test_voltage_built=_volts(row, "built_voltage"),
        elapsed_s=_volts(row, "seconds"),
        at=_time(row.get("at")),
        instrument_id=_instrument_id(row),
        position=row.get("position"),
        circumstances=frozenset(_choice(word, {}, Circumstance, "noted") for word in row.get("noted", "").split()),
    )


def _quantity(row: Mapping[str, str], kind: QuantityKind) -> Quantity:
    raw = row["value"].replace(" ", "")
    word = WORDS.get(raw.lower())
    code = _unit(row.get("unit"), kind) if row.get("unit") else None
    if word is not None:
        return Quantity(None, code, word)
    qualifier = SIGNS.get(raw[:1], Qualifier.EQUAL)
    digits = raw.removeprefix(">").removeprefix("<")
    if "," in digits:
        raise ValueError(f"Value {raw!r} holds a comma; write a decimal point and no thousands separator.")
    parse_digits(digits)
    if code is None:
        raise ValueError("Column unit is empty; a number without its unit is no reading.")
    return Quantity(digits, code, qualifier)


def _unit(text: str | None, kind: QuantityKind) -> str:
    plain = (text or "").replace("\u2126", "\u03a9")
    code = SYMBOLS.get(plain, plain)
    wanted = DIMENSION_OF_KIND[kind]
    known = unit(code)
    if known.dimension != wanted:
        fitting = ", ".join(c for c, u in UNITS.items() if u.dimension == wanted)
        raise UnitError(f"{code} does not fit {kind.value.replace('_', ' ')}; use one of {fitting}.")
    return code


def _choice(text: str, words: Mapping[str, _E], members: type[_E], column: str) -> _E:
    plain = text.strip().lower().replace("_", " ")
    by_word = {**{m.value.replace("_", " "): m for m in members}, **words}
    if plain in by_word:
        return by_word[plain]
    known = dict.fromkeys([*words, *(m.value for m in members)])
    raise ValueError(f"{text!r} in column {column} is not known; use one of {', '.join(known)}.")


def _number(row: Mapping[str, str], column: str) -> Decimal | None:
    text = row.get(column)
    if text is None:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite():
        raise ValueError(f"{text!r} in column {column} is no number; it must hold {HOLDS[column]}.")
    return value


def _volts(row: Mapping[str, str], column: str) -> Decimal | None:
    value = _number(row, column)
    if value is not None and value < 0:
        raise ValueError(f"{value} in column {column} must not be negative.")
    return value


def _time(text: str | None) -> dt.datetime | None:
    if text is None:
        return None
    try:
        found = dt.datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} in column at is no date or time; write {AT_EXAMPLE}.") from None
    return found if found.tzinfo else found.replace(tzinfo=dt.UTC)


def _context(known: AxisContext | None, row: Mapping[str, str], measurement: Measurement) -> AxisContext:
    context = AxisContext(measurement.axis, MotorKind.AC_SERVO) if known is None else known
    changes: dict[str, Any] = {name: _number(row, column) for column, name in CONTEXT.items() if column in row}
    if "motor" in row:
        changes["motor_kind"] = _choice(row["motor"], {}, MotorKind, "motor")
    if "insulation_system" in row:
        changes["insulation_system"] = _choice(row["insulation_system"], {}, InsulationSystem, "insulation_system")
    if measurement.quantity.qualifier is Qualifier.EQUAL:
        if measurement.kind is QuantityKind.TEMPERATURE:
            name = "winding_c" if measurement.section is Section.MOTOR_ALONE else "air_c"
            changes[name] = measurement.quantity.in_unit("Cel")
        elif measurement.kind is QuantityKind.HUMIDITY:
            changes["humidity_percent"] = measurement.quantity.in_unit("%")
    return replace(context, **changes)


def _instrument(sheet: Sheet, row: Mapping[str, str]) -> Instrument | None:
    name = _instrument_id(row)
    if name is None:
        return None
    known = sheet.instruments.get(name, Instrument(name, InstrumentKind.OTHER))
    changes: dict[str, Any] = {c: _volts(row, c) for c in ("accuracy_percent", "accuracy_counts") if c in row}
    end = _volts(row, "range_end")
    if end is not None:
        changes["range_end"] = {**known.range_end, **_range_end(row, end)}
    if "calibration_due" in row:
        changes["calibration_due"] = _date(row["calibration_due"])
    return replace(known, **changes)


def _instrument_id(row: Mapping[str, str]) -> str | None:
    """Give the instrument's number; a row that only describes one speaks of the unnamed one."""
    told = {"accuracy_percent", "accuracy_counts", "range_end", "calibration_due"} & set(row)
    return row.get("instrument") or ("unnamed" if told else None)


def _range_end(row: Mapping[str, str], end: Decimal) -> dict[int, Decimal]:
    volts = _volts(row, "test_voltage")
    return {0 if volts is None else int(volts): end * UNITS["MOhm"].factor}


def _date(text: str) -> dt.date:
    read: Callable[[str], dt.date] = dt.date.fromisoformat
    try:
        return read(text)
    except ValueError:
        raise ValueError(f"{text!r} in column calibration_due is no date; write 2027-03-31.") from None

"""Readings typed by hand, as CSV or JSON text: rows in, measurements and what is known of each axis out.

A bad row is named with its line and the reason, and the good rows are still there. One row is one reading. What is
known of an axis or an instrument may stand in the same row, in any row of that axis; it need not be repeated. Nothing
depends on the order of the rows: what two rows say differently is named and used from neither.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, field

from grading.entries import LeftOutRow
from grading.measurement import AxisContext, Instrument, Measurement, Visit
from grading.sheet_cells import (
    Row,
    read_choice,
    read_date,
    read_number,
    read_quantity,
    read_time,
)
from grading.sheet_columns import COLUMNS, HOLDS, MAX_ROWS, QUANTITIES, REQUIRED, SECTIONS
from grading.sheet_facts import Facts, Taken, told_instrument
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import DIMENSION_OF_KIND, QuantityKind
from grading.terms.section import Section


class SheetError(ValueError):
    """The text is no sheet at all: no header, no rows, or no JSON."""


@dataclass
class Sheet:
    """What a text holds.

    Attributes:
        measurements: Good rows of the newest visit, in order.
        contexts: What the rows say of each axis at the newest visit.
        instruments: What the rows say of each instrument.
        history: Earlier visits by axis, oldest first.
        problems: Rows left out, and values that contradict another row, by line.
        ignored: Columns that are not known.
        rows: How many good rows there are, those of earlier visits too.
    """

    measurements: list[Measurement] = field(default_factory=list)
    contexts: dict[str, AxisContext] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    history: dict[str, list[Visit]] = field(default_factory=dict)
    problems: list[LeftOutRow] = field(default_factory=list)
    ignored: tuple[str, ...] = ()
    rows: int = 0


def read_sheet(text: str, *, as_json: bool = False) -> Sheet:
    """Read a sheet.

    Args:
        text: CSV (comma, semicolon or tab, with a header line) or JSON (a list of objects, or an object with that
            list under "readings").
        as_json: Which of the two.

    Raises:
        SheetError: The text cannot be taken apart into rows.
    """
    sheet, facts = Sheet(), Facts()
    ids: set[str] = set()
    for line, row in _json_rows(text, sheet) if as_json else _csv_rows(text, sheet):
        try:
            taken = _take(line, row)
            if taken.measurement.record_id in ids:
                raise ValueError(f"Record {taken.measurement.record_id} stands here twice; number the readings apart.")
            facts.add(taken)
        except ValueError as error:
            sheet.problems.append(LeftOutRow(line, str(error), _axis(row)))
        else:
            ids.add(taken.measurement.record_id)
    _collect(sheet, facts)
    return sheet


def _collect(sheet: Sheet, facts: Facts) -> None:
    """Put together what the rows say: the newest visit as it stands, the earlier ones as history."""
    sheet.problems += facts.without_visit()
    newest = facts.newest
    sheet.rows = len(facts.taken)
    sheet.measurements = [taken.measurement for taken in facts.taken if taken.visit == newest]
    sheet.contexts = {axis: facts.context(axis, newest) for axis in facts.axes_at(newest)}
    sheet.instruments = facts.instruments()
    for axis, visit in facts.earlier():
        sheet.history.setdefault(axis, []).append(visit)
    sheet.problems += facts.contradictions
    sheet.problems.sort(key=lambda row: row.line)


def _axis(row: Row) -> str | None:
    return row["axis"].upper() if row.get("axis") else None


def _csv_rows(text: str, sheet: Sheet) -> Iterator[tuple[int, Row]]:
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
            row = {n: c.strip() for n, c in zip(names, cells, strict=False) if c.strip()}
            if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
                reason = f"This row has {len(cells)} cells, the header {len(names)}; quote a cell that holds a comma."
                sheet.problems.append(LeftOutRow(reader.line_num, reason, _axis(row)))
                continue
            yield reader.line_num, row
    except csv.Error as error:
        raise SheetError(f"Line {reader.line_num} cannot be read as CSV: {error}.") from None


def _json_rows(text: str, sheet: Sheet) -> Iterator[tuple[int, Row]]:
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
            reason = "This reading is no object with columns as its keys."
            sheet.problems.append(LeftOutRow(number, reason))
            continue
        ignored |= dict.fromkeys(key for key in row if key not in COLUMNS)
        # A cell is empty where it holds nothing but spaces, as in CSV.
        yield number, {key: text for key, value in row.items() if value is not None and (text := str(value).strip())}
    sheet.ignored = tuple(ignored)


def _check_count(rows: int) -> None:
    if rows > MAX_ROWS:
        raise SheetError(f"More than {MAX_ROWS} rows; split the file.")


def _take(line: int, row: Row) -> Taken:
    for name in REQUIRED:
        if not row.get(name):
            raise ValueError(f"Column {name} is empty; it must hold {HOLDS[name]}.")
    visit = read_date(row, "visit")
    return Taken(line, row, _measurement(line, row, visit), visit)


def _measurement(line: int, row: Row, visit: dt.date | None) -> Measurement:
    kind = read_choice(row["quantity"], QUANTITIES, QuantityKind, "quantity")
    section = read_choice(row["section"], SECTIONS, Section, "section") if row.get("section") else None
    if section is None and DIMENSION_OF_KIND[kind] == "resistance":
        raise ValueError("Column section is empty; say cabinet, motor or cable.")
    lead_to_lead = kind in (QuantityKind.WINDING_RESISTANCE, QuantityKind.CONTINUITY)
    # What was done before a visit makes its readings the first ones after it.
    noted = [*row.get("noted", "").split(), *((Circumstance.AFTER_CLEANING.value,) if "done_before" in row else ())]
    return Measurement(
        record_id=row.get("record") or f"line {line}",
        axis=row["axis"].upper(),
        section=section,
        kind=kind,
        terminals=row.get("terminals") or ("lead-lead" if lead_to_lead else "lead-ground"),
        quantity=read_quantity(row, kind),
        test_voltage_set=read_number(row, "test_voltage"),
        test_voltage_built=read_number(row, "built_voltage"),
        elapsed_s=read_number(row, "seconds"),
        at=_taken_at(row, visit),
        instrument_id=told_instrument(row),
        position=row.get("position"),
        circumstances=frozenset(read_choice(word, {}, Circumstance, "noted") for word in noted),
        winding_c=read_number(row, "winding_temperature"),
        air_c=read_number(row, "air_temperature"),
        humidity_percent=read_number(row, "air_humidity"),
    )


def _taken_at(row: Row, visit: dt.date | None) -> dt.datetime | None:
    """Give the time of a row: its own, or the day of its visit."""
    at = read_time(row.get("at"))
    if visit is None:
        return at
    if at is None:
        return dt.datetime.combine(visit, dt.time(), dt.UTC)
    if abs(at.date() - visit) > dt.timedelta(1):
        raise ValueError(f"Column at is on {at.date()}, column visit says {visit}; write the day of the visit.")
    return at
